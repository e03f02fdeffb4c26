"""Ends of the rules by which sizes are solved for; found by faults that no other test noticed.

Every expectation is worked out by hand in its docstring, or from a closed form beside it.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from fractions import Fraction as F

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scaler.expressions import Linear, parse_expression
from scaler.expressions.intervals import Interval
from scaler.expressions.values import linear
from scaler.settling import linear_systems, solve
from scaler.settling.linear_systems import smallest_disagreement, solve_linear
from scaler.settling.solve import (
    Solution,
    SolveError,
    Value,
    middle,
    solve_block,
    value_of,
    within,
)

Bound = tuple[F | None, F | None]


def solved(
    *texts: str,
    unknowns: tuple[str, ...] = ("a.x",),
    known: Mapping[str, Value] | None = None,
    bounds: Mapping[str, Bound] | None = None,
    guesses: Mapping[str, F] | None = None,
) -> Solution:
    """Equations, each = 0, solved."""
    nodes = [parse_expression(text) for text in texts]
    return solve_block(nodes, unknowns, known or {}, F(1), bounds or {}, guesses or {})


def root(text: str, bound: Bound = (None, None), known: Mapping[str, Value] | None = None) -> Value:
    """The one root of an equation for a.x."""
    bounds = {} if bound == (None, None) else {"a.x": bound}
    return solved(text, known=known, bounds=bounds).values["a.x"]


def refusal(*texts: str, **more: object) -> SolveError:
    """What cannot be solved."""
    with pytest.raises(SolveError) as caught:
        solved(*texts, **more)  # type: ignore[arg-type]
    return caught.value


# ----------------------------------------------------------------------------- inside the bounds


@given(st.integers(-3, 3), *(st.one_of(st.none(), st.integers(-3, 3)) for _ in range(2)))
def test_within(value: int, low: int | None, high: int | None) -> None:
    """Ends included; no end bounds nothing."""
    allowed = [n for n in range(-3, 4) if low is None or n >= low]
    allowed = [n for n in allowed if high is None or n <= high]
    bounds = None if low is None else F(low), None if high is None else F(high)
    assert within(F(value), bounds) == (value in allowed)


def test_roots_on_the_very_bounds() -> None:
    """(x - 2)(x - 3) between 2 and 2.5 is 2, between 2.5 and 3 is 3."""
    text = "(a.x - 2) * (a.x - 3)"
    assert root(text, (F(2), F(5, 2))) == 2
    assert root(text, (F(5, 2), F(3))) == 3


def test_nought_is_not_above_nought() -> None:
    """x (x - 3) without bounds is 3, with them nought where they reach it; what is above nought may
    be less than one: x² = 1/4."""
    assert root("a.x * (a.x - 3)") == 3
    assert root("a.x * (a.x - 3)", (F(0), F(1))) == 0
    assert root("a.x^2 - 1/4") == F(1, 2)


def test_the_one_of_several_roots_is_told() -> None:
    """x² = 16 has two roots, one above nought; x³ = 8 has one real root and tells nothing more."""
    found = solved("a.x^2 - 16")
    assert found.how == "root of a polynomial of degree 2; the one root of 2 above zero"
    found = solved("a.x^2 - 16", bounds={"a.x": (F(-9), F(0))})
    assert found.how.endswith("; the one root of 2 between its bounds")
    assert solved("a.x^3 - 8").how == "root of a polynomial of degree 3"


# ------------------------------------------------------------------------- what is said to write


@pytest.mark.parametrize(
    ("text", "bound", "between"),
    [
        # (x - 5/2)(x - 8): half the gap is 2.75, so from -0.25, or the bound, to 2.5 + 1.375
        ("(a.x - 2.5) * (a.x - 8)", (None, None), "0.00 mm to 3.88 mm"),
        ("(a.x - 2.5) * (a.x - 8)", (F(2), None), "2.00 mm to 3.88 mm"),
        ("(a.x - 2.5) * (a.x - 8)", (F(2), F(10)), "2.00 mm to 3.88 mm"),
        ("(a.x - 2.5) * (a.x - 8)", (F(-1), F(10)), "-0.25 mm to 3.88 mm"),
        ("(a.x - 2.5) * (a.x - 8)", (None, F(10)), "-0.25 mm to 3.88 mm"),
        # (x + 5)(x - 3) up to 10: half the gap is 4, so from -9 to -3, and not from nought
        ("(a.x + 5) * (a.x - 3)", (None, F(10)), "-9.00 mm to -3.00 mm"),
        # half the gap is 0.018: half of that is less than a hundredth
        ("(a.x - 3) * (a.x - 3.036)", (None, None), "2.982 mm to 3.009 mm"),
        # half the gap is 0.02: half of that is a hundredth
        ("(a.x - 3) * (a.x - 3.04)", (None, None), "2.98 mm to 3.01 mm"),
        # never more than twelve places
        (
            "(a.x - 3) * (a.x - 3.00000000000001)",
            (None, None),
            "3.000000000000 mm to 3.000000000000 mm",
        ),
    ],
)
def test_bounds_that_tell_the_first_root(text: str, bound: Bound, between: str) -> None:
    """Half the gap below it, a quarter above it, not beyond the bounds that it has; no size that
    has none is below nought."""
    bounds = {} if bound == (None, None) else {"a.x": bound}
    assert refusal(text, bounds=bounds).advice == f'say which is meant: between = "{between}"'


# --------------------------------------------------------------------- where a root is looked for


def test_how_far_below_nought() -> None:
    """To four times the largest known (here 1) below the upper bound, or nought if that is less:
    √(x + 6) = 1.2 at -4.56, which is within 4 of -1 and not of nought."""
    known = {"a.k": F(1), "a.m": F(1, 5)}
    text = "sqrt(a.x + a.k + a.k + a.k + a.k + a.k + a.k) - a.k - a.m"
    found = root(text, (None, F(-1)), known)
    assert float(middle(found)) == pytest.approx(-4.56, rel=1e-12)
    assert (
        "between -4.000 and 0.500"
        in refusal(text, known=known, bounds={"a.x": (None, F(1, 2))}).problem
    )


def test_how_far_above_the_lower_bound() -> None:
    """Four times the largest known above it, or above nought if it is less: √x = 2.4 at 5.76,
    within 3 to 7; √x = 1.9 at 3.61, within -3 to 4, where x is below nought in part."""
    known = {"a.k": F(1), "a.m": F(2, 5), "a.n": F(9, 10)}
    found = root("sqrt(a.x) - a.k - a.k - a.m", (F(3), None), known)
    assert float(middle(found)) == pytest.approx(5.76, rel=1e-12)
    found = root("sqrt(a.x) - a.k - a.n", (F(-3), None), known)
    assert float(middle(found)) == pytest.approx(3.61, rel=1e-12)


def test_a_guess_widens_the_search() -> None:
    """√x = 3 at 9, beyond four times 1 and within four times a guess of 3."""
    text, known = "sqrt(a.x) - a.k - a.k - a.k", {"a.k": F(1)}
    assert "between 0.000 and 4.000" in refusal(text, known=known).problem
    assert solved(text, known=known, guesses={"a.x": F(3)}).values["a.x"] == 9


# -------------------------------------------------------------------------------- polynomials


def test_roots_are_enclosed_closely() -> None:
    """√2 to within 10^-45: its square less 2 changes sign between the ends."""
    found = root("a.x^2 - 2")
    assert isinstance(found, Interval)
    assert found.lower**2 < 2 < found.upper**2
    assert found.upper - found.lower <= F(1, 10**45)


def test_a_root_cancelled_away_is_none() -> None:
    """(x - 2)² / (x - 2) has no value at 2, nor (√x)² at -4, though what is left of them, x - 2 and
    x, has; (√x)² = 4 at 4."""
    assert "no value of a.x" in refusal("(a.x - 2)^2 / (a.x - 2)").problem
    below = {"a.x": (F(-9), F(0))}
    assert "no value of a.x" in refusal("sqrt(a.x)^2 + 4", bounds=below).problem
    assert root("sqrt(a.x)^2 - 4") == 4


def test_a_root_of_the_denominator_among_others() -> None:
    """(x - 1)(x - 3)(x - 5) / (x - 3) at 1 and 5: the middle one has no value."""
    text = "(a.x - 1) * (a.x - 3) * (a.x - 5) / (a.x^2 - 9)"
    assert "2 solutions: 1.000, 5.000" in refusal(text).problem


@pytest.mark.parametrize(
    ("power", "way"), [(24, "polynomial of degree 24"), (25, "by interval arithmetic")]
)
def test_polynomials_up_to_a_degree(power: int, way: str) -> None:
    """x^n = 1 at 1, up to the 24th degree by its polynomial."""
    found = solved(f"a.x^{power} - 1")
    assert found.values["a.x"] == 1
    assert way in found.how


def test_coefficients_that_are_no_fractions() -> None:
    """x² = √2 at the fourth root of 2, x² + cos 50° = 1: searched between the ends."""
    found = solved("a.x^2 - sqrt(2)")
    assert float(middle(found.values["a.x"])) == pytest.approx(2**0.25, rel=1e-12)
    assert "by interval arithmetic" in found.how


def test_what_the_unknown_drops_out_of() -> None:
    """x² - x² = 3 says nothing of x, nor x² - x² = 0, nor sin x = sin x: at once, without a search;
    (x + 1)² - x² = 9 does, as it is 2 x + 1 = 9."""
    for text in ("a.x^2 - a.x^2 - 3", "a.x^2 - a.x^2", "sin(a.x) - sin(a.x)"):
        found = refusal(text)
        assert found.problem == "a.x drops out of its own statement"
        assert (found.kind, found.names, found.missing) == ("open", ("a.x",), 1)
    assert root("(a.x + 1)^2 - a.x^2 - 9") == 4


def test_a_denominator_that_is_no_polynomial() -> None:
    """(x² - 9) / sin x degrees has 3; so has (x² - 9) / x, which is a polynomial's."""
    found = solved("(a.x^2 - 9) / sin(a.x)", bounds={"a.x": (F(1), F(80))})
    assert found.values["a.x"] == 3
    assert "by interval arithmetic" in found.how
    assert "of degree 2" in solved("(a.x^2 - 9) / a.x").how


# ---------------------------------------------------------------------------- what is linear


def test_values_of_what_is_known() -> None:
    """A name alone is what it is, exact or not; a sum of exact ones is exact, else enclosed."""
    near = Interval(F(1), F(2))
    values: dict[str, Value] = {"a.x": F(3), "a.y": near}
    assert value_of(parse_expression("a.x"), values, F(1)) == F(3)
    assert value_of(parse_expression("a.x + 1"), values, F(1)) == F(4)
    assert value_of(parse_expression("a.y"), values, F(1)) == near
    found = value_of(parse_expression("a.x + a.y"), values, F(1))
    assert isinstance(found, Interval) and (found.lower, found.upper) == (4, 5)


def test_as_many_as_may_hang_together(monkeypatch: pytest.MonkeyPatch) -> None:
    """With at most two of either kind: two are solved, three refused."""
    monkeypatch.setattr(solve, "MOST_TOGETHER", 2)
    monkeypatch.setattr(solve, "MOST_IN_RING", 2)
    names = ("a.x", "a.y", "a.z")
    for text, value in (("2 * {} - 3", F(3, 2)), ("{}^2 - 4", F(2))):
        texts = [text.format(name) for name in names]
        assert set(solved(*texts[:2], unknowns=names[:2]).values.values()) == {value}
        assert refusal(*texts, unknowns=names).expected == "at most 2"


def test_what_drops_out_of_its_own_statement() -> None:
    """A size that no statement has is left open; x + y = 5 said twice leaves one of two to be given;
    with y = 2 said as y - z + z it is z that nothing fixes."""
    alone = refusal("a.x - a.x + a.k - 3", known={"a.k": F(3)})
    assert (alone.kind, alone.names, alone.missing) == ("open", ("a.x",), 1)
    assert "drops out" in alone.problem
    assert solved("a.x - 3", "2 * a.x - 6").values == {"a.x": 3}
    twice = refusal("a.x - a.x", "a.x - a.x")
    assert (twice.advice, twice.names, twice.missing) == ("give a.x", ("a.x",), 1)
    both = refusal("a.x + a.y - 5", "2 * a.x + 2 * a.y - 10", unknowns=("a.x", "a.y"))
    assert both.advice == "give 1 of a.x, a.y"
    one = refusal(
        "a.x + a.y - 5",
        "a.y - 2 - (a.y - 2)",
        "a.y - 2 - a.z + a.z",
        unknowns=("a.x", "a.y", "a.z"),
    )
    assert (one.advice, one.missing) == ("give a.z", 1)


# --------------------------------------------------------------------------------------- rings


def test_where_searches_begin() -> None:
    """Five places for each size, no two of them alike and none below nought, whatever is known: the
    first at the guess or the mean of the knowns (4 and 8; ten without any), the others from a fifth
    of it to four times; no two sizes at one place; all inside the bounds where there are two."""
    names = [f"a.x{n}" for n in range(30)]
    bounds: dict[str, Bound] = {
        names[1]: (F(100), F(140)),
        names[2]: (F(100), None),
        names[3]: (None, F(1)),
    }
    for known, mean in (([F(4), F(8)], 6), ([], 10)):
        starts = list(solve._starts(names, known, bounds, {names[4]: F(151, 3)}))
        assert len(starts) == 5
        assert all(len(set(start)) == 30 and min(start) > 0 for start in starts)
        places = [set(column) for column in zip(*starts, strict=True)]
        assert {len(column) for column in places} == {5}
        assert starts[0][0] == mean and starts[0][4] == F(151, 3)
        assert (min(places[4]), max(places[4])) == (F(151, 15), F(604, 3))
        assert 100 < min(places[1]) < max(places[1]) < 140


def test_a_ring_between_bounds_is_looked_for_there() -> None:
    """√x + √y = 20 and x - y = 40: x = 121, y = 81 (11 + 9 = 20). Searches that begin outside what
    has a value find nothing; those between the bounds do. Neither has a guess."""
    ring = "sqrt(a.x) + sqrt(a.y) - 20", "a.x - a.y - 40"
    found = solved(
        *ring, unknowns=("a.x", "a.y"), bounds={"a.x": (F(100), F(140)), "a.y": (F(60), F(90))}
    )
    assert found.values == {"a.x": 121, "a.y": 81}


def test_a_guess_is_where_a_search_begins() -> None:
    """sin x = 1/2 and y = x²/60 at 30° and 15, and at 150° and 375: a search that begins about 10
    comes on the first, one that begins at 140 on the second as well."""
    ring = "sin(a.x) - 1/2", "a.y - a.x * a.x / 60"
    assert solved(*ring, unknowns=("a.x", "a.y")).values == {"a.x": 30, "a.y": 15}
    said = refusal(*ring, unknowns=("a.x", "a.y"), guesses={"a.x": F(140)}).problem
    assert "a.x = 150.000, a.y = 375.000" in said


def test_a_later_search_finds_what_the_first_does_not() -> None:
    """sin x = 1/2 between 200° and 400° at 390°: of searches at 250, 225, 275, 210 and 380 the first
    goes to 8.6°, and so to 30, the last to 389.6 (by tangents, x - tan x + 1/2 cos x in degrees)."""
    ring = "sin(a.x) - 1/2", "a.y - a.x * a.x / 60"
    found = solved(*ring, unknowns=("a.x", "a.y"), bounds={"a.x": (F(200), F(400))})
    assert found.values == {"a.x": 390, "a.y": 2535}


def test_a_ring_whose_solutions_lie_outside() -> None:
    """3 and 4 are not below 1; nothing was near and unproved."""
    bounds = {"a.x": (F(0), F(1))}
    found = refusal("a.x + a.y - 7", "a.x * a.y - 12", unknowns=("a.x", "a.y"), bounds=bounds)
    assert (
        found.problem == "no sizes between the bounds satisfy the ring of statements for a.x, a.y"
    )


def test_a_ring_with_a_corner() -> None:
    """|x - 5| + y = 3 and x y = 12: beyond 5, x = 4 + 2 = 6 and y = 2; before it, x = y + 2, so that
    y² + 2 y = 12 and y = √13 - 1. The bounds choose the first."""
    ring = "abs(a.x - 5) + a.y - 3", "a.x * a.y - 12"
    bounds = {"a.x": (F(11, 2), F(9)), "a.y": (F(1), F(3))}
    assert solved(*ring, unknowns=("a.x", "a.y"), bounds=bounds).values == {"a.x": 6, "a.y": 2}


def test_two_solutions_of_a_ring_are_listed_once_each() -> None:
    """x + y = 7 and x y = 12: 3 and 4 either way round, both below, whichever search comes on them."""
    ring = "a.x + a.y - 7", "a.x * a.y - 12"
    said = refusal(*ring, unknowns=("a.x", "a.y")).problem.partition(": ")[2]
    assert sorted(said.split("; ")) == ["a.x = 3.000, a.y = 4.000", "a.x = 4.000, a.y = 3.000"]


# ------------------------------------------------------------------------------ linear systems


def forms(*texts: str) -> list[Linear]:
    """Equations, each = 0, as linear forms."""
    found = [linear(parse_expression(text), F(1)) for text in texts]
    return [form for form in found if form is not None]


def test_what_is_forgiven() -> None:
    """x = 1, x = 2 and y = 3: the second is passed over, and y is found all the same."""
    system = forms("a.x - 1", "a.x - 2", "a.y - 3")
    assert solve_linear(system, ["a.x", "a.y"], {}).disagreement is not None
    found = solve_linear(system, ["a.x", "a.y"], {}, forgive=True)
    assert found.disagreement is None
    assert (found.forms["a.x"].constant, found.forms["a.y"].constant) == (1, 3)


@pytest.mark.parametrize(
    ("k", "off"),
    [("1.5", "-0.5"), ("0.5", "0.5"), ("1", None), ("1 to 2", None), ("2 to 3", "-1.5")],
)
def test_by_how_much_the_last_is_off(k: str, off: str | None) -> None:
    """x = 1, so that x - k = 0 is off by 1 - k, of the middle of k where that is enclosed; ends that
    touch do not disagree."""
    low, _, high = k.partition(" to ")
    known: Value = Interval(F(low), F(high)) if high else F(low)
    found = solve_linear(forms("a.x - 1", "a.x - a.k"), ["a.x"], {"a.k": known}).disagreement
    assert (found and found.off) == (None if off is None else F(off))


def consistent(system: list[tuple[list[int], int]]) -> bool:
    """Whether rows of coefficients and a constant, each = 0, have a solution: by elimination, column
    after column, of a full matrix."""
    left = [[F(value) for value in (*row, constant)] for row, constant in system]
    for column in range(len(system[0][0]) if system else 0):
        pivot = next((row for row in left if row[column]), None)
        if pivot is not None:
            left = [
                [a - b * row[column] / pivot[column] for a, b in zip(row, pivot, strict=True)]
                for row in left
                if row is not pivot
            ]
    return not any(row[-1] for row in left)


small = st.tuples(st.lists(st.integers(-1, 1), min_size=3, max_size=3), st.integers(-1, 1))


@settings(max_examples=150)
@given(st.lists(small, min_size=1, max_size=5))
def test_no_fewer_members_disagree(system: list[tuple[list[int], int]]) -> None:
    """By trying all subsets: one with the fewest members, or none where all can hold."""
    made = [Linear(F(c), {f"a.x{n}": F(a) for n, a in enumerate(row) if a}) for row, c in system]
    found = smallest_disagreement(made, ["a.x0", "a.x1", "a.x2"], {})
    sizes = [
        count
        for count in range(1, len(system) + 1)
        if any(not consistent(list(some)) for some in itertools.combinations(system, count))
    ]
    assert (None if found is None else len(found.members)) == (sizes[0] if sizes else None)
    if found is not None:
        assert not consistent([system[n] for n in found.members])


def test_how_many_subsets_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    """x = y, y = 1, x = 2 disagree, and z = 1, z = 2, the last of ten pairs: with nine tries the
    first three are what is found, with ten the pair."""
    system = forms("a.x - a.y", "a.y - 1", "a.x - 2", "a.z - 1", "a.z - 2")
    system = [system[n] for n in (1, 2, 0, 3, 4)]
    names = ["a.x", "a.y", "a.z"]
    for tries, members in ((9, (0, 1, 2)), (10, (3, 4))):
        monkeypatch.setattr(linear_systems, "MOST_SUBSETS", tries)
        found = smallest_disagreement(system, names, {})
        assert found is not None and found.members == members


def test_what_disagrees_leaves_nothing_else_said() -> None:
    """No forms, nothing open, nothing missing."""
    found = solve_linear(forms("a.x - 1", "a.x - 2"), ["a.x", "a.y"], {})
    assert (found.forms, found.open_unknowns, found.missing) == ({}, (), 0)


def test_what_cancels_on_the_way_is_not_open() -> None:
    """x + z = 3, y - x - z = 1 and no more: y = 4, though x and z are open; one of them must be
    given. With z = 2 known, x = 1."""
    system = forms("a.x + a.z - 3", "a.y - a.x - a.z - 1")
    found = solve_linear(system, ["a.x", "a.y", "a.z"], {})
    assert found.forms["a.y"] == Linear(F(4), {})
    assert (found.open_unknowns, found.missing) == (("a.x", "a.z"), 1)
    found = solve_linear(system, ["a.x", "a.y"], {"a.z": F(2)})
    assert found.forms["a.x"] == Linear(F(3), {"a.z": F(-1)})
    assert found.forms["a.y"] == Linear(F(4), {})
