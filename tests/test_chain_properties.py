"""Laws that hold for every chain, and many chains at once against the exact ones."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scaler.chains.chain import Given, chain_of
from scaler.chains.many import ManyChains, many_chains
from scaler.chains.records import Chain
from scaler.expressions.intervals import lower, upper
from scaler.problems import InputError
from scaler.records import Verdict

NAMES = [f"part_{n}.size" for n in range(6)]
hundredths = st.integers(0, 200).map(lambda n: F(n, 100))


@st.composite
def sizes(draw: st.DrawFn, least: int = 5) -> dict[str, Given]:
    """Some sizes with limits that need not be symmetrical, some from uncertain origins."""
    found = {}
    for name in NAMES:
        down, up = draw(hundredths), draw(hundredths)
        found[name] = Given(
            F(draw(st.integers(least, 60))),
            min(-down, up),
            max(-down, up),
            origin=draw(st.sampled_from([F(0), F(0), F(1, 10)])),
        )
    return found


@st.composite
def sums(draw: st.DrawFn) -> str:
    """A sum of multiples of sizes, some of them named twice."""
    terms = draw(
        st.lists(st.tuples(st.integers(-3, 3), st.sampled_from(NAMES)), min_size=1, max_size=7)
    )
    return " + ".join(
        f"({factor}) * {name}" if factor < 0 else f"{factor} * {name}" for factor, name in terms
    ).replace("(-", "(0-")


MONOTONE = (
    "{0} * {1} / {2}",
    "sqrt({0}^2 + {1}^2) - {2}",
    "{0} + {1} * ({2} + {3})",
    "{0}^2 / ({1} + {2})",
    "max({0}, {1}) + {2}",
)


@st.composite
def bent(draw: st.DrawFn) -> str:
    """An expression that each size moves one way only."""
    return draw(st.sampled_from(MONOTONE)).format(*NAMES)


def ends(found: Chain) -> tuple[F, F]:
    """The worst case of a chain that has one."""
    low, high = found.worst_case
    assert low is not None and high is not None
    return low, high


@settings(max_examples=60)
@given(sums(), sizes(), st.sampled_from(["uniform", "triangular"]))
def test_bounded_draws_stay_inside_the_worst_case(
    text: str, known: dict[str, Given], distribution: str
) -> None:
    """No bounded draw of a sum lies outside the worst case (but for the last float)."""
    found = chain_of(text, known, distribution=distribution, draws=500)
    low, high = ends(found)
    assert found.monte_carlo is not None
    assert found.monte_carlo.lowest >= float(low) - 1e-9
    assert found.monte_carlo.highest <= float(high) + 1e-9


@settings(max_examples=40)
@given(bent(), sizes())
def test_bounded_draws_stay_inside_a_bent_worst_case(text: str, known: dict[str, Given]) -> None:
    """The same for chains that are not linear, monotone in every size."""
    found = chain_of(text, known, distribution="uniform", draws=500)
    low, high = ends(found)
    assert found.monte_carlo is not None
    assert found.monte_carlo.lowest >= float(low) - 1e-9
    assert found.monte_carlo.highest <= float(high) + 1e-9


@settings(max_examples=80)
@given(sums(), sizes())
def test_root_sum_square_never_exceeds_the_worst_case(text: str, known: dict[str, Given]) -> None:
    """Without a mean shift and at capability 1, for sums exactly."""
    found = chain_of(text, known, draws=0)
    low, high = found.root_sum_square
    assert low is not None and high is not None
    assert upper(low) >= ends(found)[0] - F(1, 10**30)
    assert lower(high) <= ends(found)[1] + F(1, 10**30)


@settings(max_examples=80)
@given(st.one_of(sums(), bent()), sizes())
def test_anything_less_itself_is_nought(text: str, known: dict[str, Given]) -> None:
    """e − e is exactly nought for every expression e."""
    found = chain_of(f"({text}) - ({text})", known, draws=2)
    assert found.basic == 0 or abs(upper(found.basic)) < F(1, 10**30)  # type: ignore[arg-type]
    assert found.worst_case == (0, 0)
    assert found.root_sum_square == (0, 0)
    assert found.contributors == ()


@settings(max_examples=60)
@given(sums(), sizes(), hundredths, hundredths)
def test_the_datum_does_not_matter(text: str, known: dict[str, Given], down: F, up: F) -> None:
    """A datum added and taken away changes nothing: bounds, shares, draws, verdict, advice."""
    moved = {**known, "datum.face": Given(F(13), -down, up, kind="position")}
    middle = chain_of(text, known, draws=0).mean
    assert isinstance(middle, F)
    window = (middle - 2, middle + 2)
    plain = chain_of(text, known, wanted=window, draws=50)
    other = chain_of(f"datum.face + {text} - datum.face", moved, wanted=window, draws=50)
    assert "datum.face" in other.cancelled
    same = replace(other, expression=plain.expression, cancelled=plain.cancelled, node=plain.node)
    assert same == plain


@settings(max_examples=40)
@given(sums(), sizes(), st.randoms(use_true_random=False))
def test_the_order_of_the_terms_does_not_matter(
    text: str, known: dict[str, Given], random: object
) -> None:
    """Terms in another order give the same draws and the same bounds."""
    terms = text.split(" + ")
    random.shuffle(terms)  # type: ignore[attr-defined]
    first = chain_of(text, known, draws=50)
    other = chain_of(" + ".join(terms), known, draws=50)
    assert first.monte_carlo == other.monte_carlo
    assert first.worst_case == other.worst_case


@settings(max_examples=40)
@given(sums(), sizes(), st.integers(1, 300))
def test_what_is_relaxed_still_holds(text: str, known: dict[str, Given], room: int) -> None:
    """Each tolerance relaxed by what is said, alone: on the window by the worst case, exactly."""
    plain = chain_of(text, known, draws=0)
    low, high = ends(plain)
    window = (low - F(room, 100), high + F(room + 7, 100))
    found = chain_of(text, known, wanted=window, draws=0)
    for item in found.could_be_relaxed:
        half = item.worst_case / 2
        size = known[item.size]
        wide = replace(size, lower=size.lower - half, upper=size.upper + half)
        again = chain_of(text, {**known, item.size: wide}, wanted=window, draws=0)
        reached = ends(again)
        assert min(reached[0] - window[0], window[1] - reached[1]) == 0
        half = item.root_sum_square / 2
        wide = replace(size, lower=size.lower - half, upper=size.upper + half)
        square = chain_of(text, {**known, item.size: wide}, draws=0).root_sum_square
        assert lower(square[0]) >= window[0] and upper(square[1]) <= window[1]  # type: ignore[arg-type]


@settings(max_examples=40)
@given(sums(), sizes(), st.integers(1, 100))
def test_the_tolerance_to_tighten_does_it(text: str, known: dict[str, Given], out: int) -> None:
    """Tightened to what it would need, alone, the worst case lies on the window."""
    plain = chain_of(text, known, draws=0)
    low, high = ends(plain)
    if low == high:
        return
    window = (low + (high - low) * F(out, 1000), high)
    found = chain_of(text, known, wanted=window, draws=0)
    first = found.tighten_first
    if first is None or first.needed is None:
        return
    size = known[first.size]
    centre = (size.lower + size.upper) / 2
    tight = replace(size, lower=centre - first.needed / 2, upper=centre + first.needed / 2)
    again = chain_of(text, {**known, first.size: tight}, wanted=window, draws=0)
    assert ends(again)[0] == window[0]


@settings(max_examples=30)
@given(st.lists(sums(), min_size=1, max_size=8), sizes())
def test_many_chains_at_once_are_those_one_by_one(
    texts: list[str], known: dict[str, Given]
) -> None:
    """The quick look at many chains agrees with the exact one at each, to floating point."""
    plain = {name: replace(given_, origin=F(0)) for name, given_ in known.items()}
    found = [chain_of(text, plain, name=f"c{n}", draws=0) for n, text in enumerate(texts)]
    many = many_chains(found)
    middles = [float(plain[name].middle) for name in many.sizes]
    halves = [float(plain[name].tolerance / 2) for name in many.sizes]
    bounds = many.bounds(middles, halves)
    for place, one in enumerate(found):
        assert many.names[place] == one.id
        low, high = ends(one)
        assert bounds.worst_low_approx[place] == pytest.approx(float(low), abs=1e-9)
        assert bounds.worst_high_approx[place] == pytest.approx(float(high), abs=1e-9)
        left, right = one.root_sum_square
        assert bounds.square_low_approx[place] == pytest.approx(float(lower(left)), abs=1e-6)  # type: ignore[arg-type]
        assert bounds.square_high_approx[place] == pytest.approx(float(upper(right)), abs=1e-6)  # type: ignore[arg-type]


def test_many_chains_against_plain_numpy() -> None:
    """Ten thousand pairs against the expression anyone would write."""
    count = 10_000
    rng = numpy.random.default_rng(3)
    forms = [{f"p{n}.outer": 1, f"p{n}.inner": -1} for n in range(count)]
    many = ManyChains([str(n) for n in range(count)], [0] * count, forms)
    middles, halves = rng.uniform(5, 50, 2 * count), rng.uniform(0.002, 0.02, 2 * count)
    place = {name: n for n, name in enumerate(many.sizes)}
    outer = [place[f"p{n}.outer"] for n in range(count)]
    inner = [place[f"p{n}.inner"] for n in range(count)]
    bounds = many.bounds(middles, halves)
    basic = middles[outer] - middles[inner]
    numpy.testing.assert_allclose(bounds.middle_approx, basic, atol=1e-12)
    numpy.testing.assert_allclose(
        bounds.worst_high_approx, basic + halves[outer] + halves[inner], atol=1e-12
    )
    numpy.testing.assert_allclose(
        bounds.square_low_approx, basic - numpy.hypot(halves[outer], halves[inner]), atol=1e-12
    )
    assert list(many.frame(middles, halves)["chain"][:2]) == ["0", "1"]
    with pytest.raises(ValueError, match="20000 middles"):
        many.bounds(middles[:-1], halves)


def test_no_linear_chain_is_said_so() -> None:
    """Chains that are not linear are no good for the quick look."""
    found = chain_of("a.x * a.x", {"a.x": Given(F(2), F("-0.1"), F("0.1"))}, draws=0)
    with pytest.raises(InputError, match="none of these chains is linear"):
        many_chains([found])


def test_pieces_do_not_show_in_the_draws() -> None:
    """More draws than one piece holds: count, histogram and percentiles are of all of them."""
    known = {"a.x": Given(F(10), F("-0.3"), F("0.3")), "b.x": Given(F(4), F("-0.3"), F("0.3"))}
    for text in ("a.x - b.x", "a.x * b.x"):
        drawn = chain_of(text, known, draws=150_001).monte_carlo
        assert drawn is not None
        assert sum(drawn.counts) == drawn.draws == 150_001
        assert len(drawn.edges) == len(drawn.counts) + 1
        values = [value for _, value in drawn.percentiles]
        assert values == sorted(values)
        assert drawn.lowest <= values[0] and values[-1] <= drawn.highest


def test_verdicts_are_by_basic_sizes_then_limits() -> None:
    """Holds, doubtful and fails at the edges of a window."""
    known = {"a.x": Given(F(10), F("-0.1"), F("0.1"))}
    for window, verdict in (
        ((F("9.9"), F("10.1")), Verdict.HOLDS),
        ((F("9.91"), None), Verdict.DOUBTFUL),
        ((F("10.01"), None), Verdict.FAILS),
        ((None, F("10.1")), Verdict.HOLDS),
    ):
        assert chain_of("a.x", known, wanted=window, draws=0).verdict is verdict
    assert chain_of("a.x", known, draws=0).verdict is None
