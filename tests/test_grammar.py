"""The short phrases of a model file: what is written comes back exactly, and nothing else is read."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaler import catalogue
from scaler.expressions import Name
from scaler.problems import Place
from scaler.reading.grammar import (
    GrammarError,
    families,
    find_method,
    method_names,
    parse_basis,
    parse_fit,
    parse_limits,
    parse_method,
    parse_window,
    plain_number,
    signed_angle,
    signed_length,
    taper,
    value_reader,
    whole_number,
    width_reader,
)
from scaler.records import Basis, BasisKind, Kind

HERE = Place("model.toml", 1)
INCH = F(127, 5)  # 25.4 mm, Federal Register 1 July 1959 (second-hand)
MICRONS = st.integers(0, 5_000_000)
SIXTY_FOURTHS = st.integers(1, 64 * 12)


def mm(microns: int) -> str:
    """A length in mm as a drawing writes it, to 0.001 mm; signed where it is negative."""
    sign = "-" if microns < 0 else ""
    whole, rest = divmod(abs(microns), 1000)
    return f"{sign}{whole}.{rest:03d}"


def inches(sixty_fourths: int) -> str:
    """A length in inches and 64ths as a drawing writes it."""
    whole, rest = divmod(sixty_fourths, 64)
    if not rest:
        return f"{whole}"
    part = F(rest, 64)
    return f"{whole} {part}" if whole else f"{part}"


# -------------------------------------------------------------------------------------- limits


@given(MICRONS, st.sampled_from(["±", "+/-", "+-", "± "]))
def test_plus_minus(width: int, sign: str) -> None:
    """± a length is as much below as above."""
    found = parse_limits(f"{sign}{mm(width)} mm")
    assert (found.lower, found.upper) == (-F(width, 1000), F(width, 1000))
    assert parse_window(f"{sign}{mm(width)} mm") == (found.lower, found.upper)


@given(MICRONS, MICRONS, st.booleans(), st.booleans(), st.sampled_from(["-", "−"]))
def test_two_deviations(above: int, below: int, turned: bool, unit_once: bool, minus: str) -> None:
    """Two signed deviations, in either order, the unit once or twice, with either minus sign."""
    first, second = f"+{mm(above)}", f"{minus}{mm(below)}"
    if turned:
        first, second = second, first
    text = f"{first}{'' if unit_once else ' mm'} {second} mm"
    found = parse_limits(text)
    assert (found.lower, found.upper) == (-F(below, 1000), F(above, 1000))


@given(SIXTY_FOURTHS)
def test_limits_in_inches(width: int) -> None:
    """Deviations in inch fractions are exact."""
    found = parse_limits(f"±{inches(width)} in")
    assert found.upper == F(width, 64) * INCH == -(found.lower or 0)


@pytest.mark.parametrize(
    "text", ["0 +0.1 mm", "+0.1 0 mm", "+0.1 mm 0", "0 mm +0.1 mm", "+0.1 -0 mm"]
)
def test_nothing_needs_no_unit(text: str) -> None:
    """A plain 0 may stand without a unit."""
    found = parse_limits(text)
    assert (found.lower, found.upper) == (F(0), F(1, 10))


@pytest.mark.parametrize("text", ["H7", "h9", "js12", "JS6", "zc11", " g6 "])
def test_tolerance_class(text: str) -> None:
    """A tolerance class of ISO 286 stands for itself."""
    found = parse_limits(text)
    assert (found.tolerance_class, found.lower, found.upper) == (text.strip(), None, None)


@given(st.integers(0, 3600))
def test_limits_of_angles(minutes: int) -> None:
    """Limits of an angle are read in degrees."""
    found = parse_limits(f"±{minutes // 60}° {minutes % 60}'", signed_angle)
    assert found.upper == F(minutes, 60)


# ------------------------------------------------------------------------------ windows and fits


@given(st.integers(-(10**6), 10**6), st.integers(-(10**6), 10**6), st.booleans())
def test_window(one: int, other: int, unit_once: bool) -> None:
    """Both bounds come back; the wrong way round they are refused."""
    lower, upper = sorted((one, other))
    unit = "" if unit_once else " mm"
    assert parse_window(f"{mm(lower)}{unit} to {mm(upper)} mm") == (F(lower, 1000), F(upper, 1000))
    if lower < upper:
        with pytest.raises(GrammarError, match="wrong way round"):
            parse_window(f"{mm(upper)}{unit} to {mm(lower)} mm")


@given(st.integers(-(10**6), 10**6))
def test_one_bound(bound: int) -> None:
    """A bound on one side leaves the other open."""
    assert parse_window(f"at least {mm(bound)} mm") == (F(bound, 1000), None)
    assert parse_window(f"at most {mm(bound)} mm") == (None, F(bound, 1000))


@given(MICRONS, MICRONS)
def test_clearance_and_interference(one: int, other: int) -> None:
    """Interference is clearance with its sign changed, and its bounds changed over."""
    less, more = sorted((one, other))
    window = f"{mm(less)} to {mm(more)} mm"
    clear, tight, bare = (
        parse_fit(f"{word}{window}") for word in ("clearance ", "interference ", "")
    )
    assert (clear.lower, clear.upper) == (bare.lower, bare.upper) == (F(less, 1000), F(more, 1000))
    assert (tight.lower, tight.upper) == (-F(more, 1000), -F(less, 1000))


def test_open_interference() -> None:
    """At least so much interference is at most so little clearance."""
    fit = parse_fit("interference at least 0.01 mm")
    assert (fit.lower, fit.upper) == (None, F(-1, 100))
    fit = parse_fit("interference at most 0.02 mm")
    assert (fit.lower, fit.upper) == (F(-1, 50), None)


@pytest.mark.parametrize("text", ["H7/g6", " H7 / g6 ", "H7-g6", "H7 -g6"])
def test_iso_fit(text: str) -> None:
    """A fit as ISO 286-1 writes it, hole first (second-hand); the dash is an older habit."""
    assert parse_fit(text).iso == "H7/g6"


@pytest.mark.parametrize("row", catalogue.table("trade_fits").rows, ids=lambda row: row.text("fit"))
def test_trade_fit(row: catalogue.Row) -> None:
    """Every fit of the trade in the catalogue can be written by its name."""
    fit = parse_fit(row.text("fit"))
    assert fit.trade == row.text("fit") and fit.lower is fit.upper is None


# ---------------------------------------------------------------------------- bases and methods

WORDS = st.from_regex(r"[a-z][a-z0-9_]{0,8}", fullmatch=True)


@given(WORDS, WORDS, st.one_of(st.none(), WORDS), st.sampled_from(["", "lapped", "ground"]))
def test_last_cut(part: str, size: str, copy: str | None, by: str) -> None:
    """A basis written out reads back as the same basis."""
    name = f"{part}.{size}" + (f"@{copy}" if copy else "")
    basis = Basis(BasisKind.LAST_CUT, name, by)
    assert parse_basis(str(basis)) == basis
    assert parse_basis(f"  {str(basis).replace(' ', '  ')} ") == basis


@pytest.mark.parametrize("kind", [BasisKind.BOTH_LIMITS, BasisKind.BASIC_SIZE])
def test_other_bases(kind: BasisKind) -> None:
    """The other bases by their names."""
    assert parse_basis(str(kind)) == Basis(kind)


@pytest.mark.parametrize("name", method_names())
def test_every_method(name: str) -> None:
    """Every name of the methods table is read, and what is read reads back as itself."""
    text = {"follows": "follows axle.journal", "given": "given 12 mm"}.get(name, name)
    known = name not in ("follows", "given", "standard")
    linked = known and find_method(name)["way"] == "link"
    method = parse_method(f"{text} of bolt.thread" if linked else text, HERE)
    text += " of bolt.thread" if linked else ""
    assert method.text == text and parse_method(method.text, HERE) == method
    if known:
        row = find_method(name)
        way = "follow" if linked else row["way"]
        assert (method.name, method.way) == (row["designation"], way)
        assert method.step == (F(row["step_mm"]) if row["step_mm"] else None)


@given(
    st.integers(1, 5000),
    st.integers(1, 5000),
    st.integers(0, 100),
    st.sampled_from(["", "up", "down", "nearest"]),
    st.permutations(["step", "reach", "limits"]),
)
def test_options(step: int, reach: int, limits: int, way: str, order: list[str]) -> None:
    """Options come back, whatever order they stand in."""
    said = {
        "step": f"step {mm(step)} mm",
        "reach": f"reach {mm(reach)} mm",
        "limits": f"limits ±{mm(limits)} mm",
    }
    text = " ".join(["turned", *(said[option] for option in order), way]).strip()
    method = parse_method(text, HERE)
    assert (method.name, method.step, method.reach) == ("turned", F(step, 1000), F(reach, 1000))
    assert method.limits is not None and method.limits.upper == F(limits, 1000)
    assert method.direction == (way or "nearest")
    assert parse_method(method.text, HERE) == method


def test_follows_and_given() -> None:
    """What a size follows is an expression; what is given is of the size's kind."""
    assert parse_method("follows axle.journal", HERE).argument == Name("axle.journal")
    assert parse_method("given 1/2 in", HERE).value == F(127, 10)
    assert parse_method("given 30 deg", HERE, signed_angle).value == 30
    assert parse_method("given 24", HERE, whole_number).value == 24


def test_families() -> None:
    """The families of stock and tools are those of the methods table, each once."""
    assert len(set(families())) == len(families()) > 5
    assert "thread" in families() and "" not in families()


# --------------------------------------------------------------------------------------- values


@given(st.integers(1, 10**6), st.integers(1, 10**6))
def test_tapers(one: int, many: int) -> None:
    """A taper as one in so many, in any of its spellings."""
    for text in (f"{one}:{many}", f"{one} in {many}", f"{one} : {many}"):
        assert taper(text) == F(one, many)
    assert taper("0.02") == F(1, 50) and taper("1/48") == F(1, 48)


@given(st.integers(0, 10**11), st.integers(0, 999), st.integers(1, 999))
def test_plain_numbers(whole: int, above: int, below: int) -> None:
    """Numbers without a unit: whole, decimal and fraction."""
    assert plain_number(str(whole)) == whole
    assert plain_number(f"{whole % 10**6}.{above:03d}") == whole % 10**6 + F(above, 1000)
    assert plain_number(f"{above}/{below}") == F(above, below)
    assert plain_number(f"{whole % 1000} {above}/{below}") == whole % 1000 + F(above, below)


NO_NUMBERS = ["", " ", "1e9", "1e999999999", "nan", "inf", "1/0", "--1", "1_000", "0x10", "٣"]
NO_NUMBERS += ["1 2", "1.2.3", "½½", "9" * 13, "1." + "9" * 13]


@pytest.mark.parametrize("text", NO_NUMBERS)
def test_no_plain_numbers(text: str) -> None:
    """What is no plain number is refused, and at once."""
    for read in (plain_number, taper, whole_number):
        with pytest.raises(GrammarError):
            read(text)


@pytest.mark.parametrize("kind", list(Kind))
def test_values_by_kind(kind: Kind) -> None:
    """A value is read in the unit of its kind; faces cannot be at nothing or less."""
    text, value = {
        Kind.ANGLE: ("7 1/2 deg", F(15, 2)),
        Kind.TAPER: ("1:48", F(1, 48)),
        Kind.TEETH: ("24", F(24)),
        Kind.COUNT: ("24", F(24)),
    }.get(kind, ("1/2 in", F(127, 10)))
    assert value_reader(kind)(text) == value_reader(kind, signed=True)(text) == value
    if kind is Kind.POSITION:
        assert value_reader(kind)("-3 mm") == -3
    elif kind is not Kind.ANGLE:
        with pytest.raises(GrammarError):
            value_reader(kind)(f"-{text}")
    if kind.is_length:
        with pytest.raises(GrammarError):
            value_reader(kind)("24")
        assert width_reader(kind)("0") == 0
        with pytest.raises(GrammarError):
            width_reader(kind)("-1 mm")


# ------------------------------------------------------------------------------------- refusals

READERS: tuple[Callable[[str], object], ...] = (
    signed_length,
    signed_angle,
    plain_number,
    whole_number,
    taper,
    parse_limits,
    parse_window,
    parse_fit,
    parse_basis,
    lambda text: parse_method(text, HERE),
    *(value_reader(kind) for kind in Kind),
    *(width_reader(kind) for kind in Kind),
)
PIECES = [
    "0.1",
    "mm",
    "±",
    "+",
    "-",
    "−",
    "to",
    "in",
    "H7",
    "g6",
    "/",
    "at least",
    "last cut",
    "by",
]
PIECES += [
    "turned",
    "step",
    "reach",
    "limits",
    "up",
    "follows",
    "given",
    "axle.journal",
    "(",
    "1:8",
]
PIECES += ["interference", "clearance", "deg", "°", "'", '"', "½", " ", "\n", ";", "1/0", "9" * 50]
ANYTHING = st.one_of(
    st.text(max_size=20), st.lists(st.sampled_from(PIECES), max_size=7).map(" ".join)
)


@given(ANYTHING)
def test_nothing_but_grammar_errors(text: str) -> None:
    """Whatever the text, a reader gives a value or says in words what is wrong and what to do."""
    for read in READERS:
        try:
            read(text)
        except GrammarError as error:
            assert error.problem and error.expected
            if error.start is not None and error.end is not None:
                assert 0 <= error.start <= error.end <= len(error.text)


@pytest.mark.parametrize("read", READERS)
def test_very_long_texts(read: Callable[[str], object]) -> None:
    """Very long texts are refused at once, and the message does not repeat them."""
    for text in (
        "9" * 100_000,
        " " * 100_000,
        "a" * 100_000,
        "+0.1 " * 20_000,
        "turned up " * 9999,
    ):
        with pytest.raises(GrammarError) as caught:
            read(text)
        assert len(caught.value.problem) < 300


def test_limits_are_read_once() -> None:
    """The same text gives the same record, whichever reader of values it goes with."""
    texts = ["±1 mm", "H7", "0 +0.1 mm"]
    for one, other in itertools.product(texts, texts):
        assert (parse_limits(one) == parse_limits(other)) == (one == other)


def test_methods_with_a_comma_between_are_told_how_they_stand() -> None:
    """A rule typed into one cell of a spreadsheet with commas; a single wrong name is no list."""
    with pytest.raises(GrammarError) as found:
        parse_method("reamed, bored step 0.01 mm", None)
    assert 'a list, ["reamed", "bored"]' in found.value.advice
    assert "with semicolons between them, reamed; bored" in found.value.advice
    with pytest.raises(GrammarError) as found:
        parse_method("beamed, bored", None)
    assert "semicolons" not in found.value.advice
