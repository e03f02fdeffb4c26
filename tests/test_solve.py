"""Solving against sympy, numpy, mpmath and worked examples; roots and proofs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from fractions import Fraction as F

import mpmath
import numpy as np
import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st

from scaler.expressions import Linear, evaluate, gradient, parse_expression
from scaler.expressions.intervals import Interval
from scaler.settling.linear_systems import smallest_disagreement, solve_linear
from scaler.settling.roots import proved, roots_between, simplest_between
from scaler.settling.solve import Solution, SolveError, Value, middle, solve_block, value_of

ONE = F(1)
NOTHING: dict[str, tuple[F | None, F | None]] = {}


def solved(
    texts: str | list[str],
    unknowns: str | list[str],
    values: Mapping[str, object] | None = None,
    bounds: Mapping[str, tuple[object, object]] | None = None,
) -> Solution:
    """Equations written as text, each = 0, solved for the unknowns."""
    texts = [texts] if isinstance(texts, str) else texts
    unknowns = [unknowns] if isinstance(unknowns, str) else unknowns
    known = {n: v if isinstance(v, Interval) else F(str(v)) for n, v in (values or {}).items()}
    between = {
        name: tuple(None if end is None else F(str(end)) for end in ends)
        for name, ends in (bounds or {}).items()
    }
    return solve_block(
        [parse_expression(text) for text in texts],
        unknowns,
        known,
        ONE,
        between,  # type: ignore[arg-type]
        {},
    )


def holds(value: Value, exact: sympy.Expr) -> bool:
    """Whether a value is, or encloses closely, what sympy says exactly."""
    if isinstance(value, F):
        return bool(sympy.simplify(sympy.Rational(value.numerator, value.denominator) - exact) == 0)
    with mpmath.workdps(90):
        near = mpmath.mpf(str(sympy.N(exact, 90)))
        low, high = (
            mpmath.mpf(end.numerator) / end.denominator for end in (value.lower, value.upper)
        )
        return bool(low - mpmath.mpf(10) ** -70 <= near <= high + mpmath.mpf(10) ** -70)


# --- linear systems

rows = st.lists(st.integers(-4, 4), min_size=4, max_size=4)
wide = st.lists(st.tuples(rows, st.integers(-9, 9)), min_size=1, max_size=5)


def as_forms(system: list[tuple[list[int], int]]) -> list[Linear]:
    """Rows of coefficients and a constant as forms in x0 … x3."""
    return [Linear(F(c), {f"x{n}": F(a) for n, a in enumerate(row) if a}) for row, c in system]


@settings(max_examples=300)
@given(wide)
def test_linear_systems_come_out_as_sympy_says(system: list[tuple[list[int], int]]) -> None:
    """Solutions, what stays open and whether they contradict, for 1 to 5 equations in 4 unknowns."""
    names = [f"x{n}" for n in range(4)]
    found = solve_linear(as_forms(system), names, {})
    left = sympy.Matrix([row for row, _ in system])
    right = sympy.Matrix([-c for _, c in system])
    contradictory = left.rank() < left.row_join(right).rank()
    assert (found.disagreement is not None) == contradictory
    if contradictory:
        return
    symbols = sympy.symbols("x0:4")
    answer = next(iter(sympy.linsolve((left, right), *symbols)))
    fixed = {n: a for n, a in zip(names, answer, strict=True) if not a.free_symbols}
    # a variable that linsolve keeps as its own parameter is open; others may hang on it
    assert set(found.open_unknowns) == set(names) - set(fixed)
    assert found.missing == 4 - left.rank()
    for name, value in fixed.items():
        assert not found.forms[name].coefficients
        assert found.forms[name].constant == F(int(value.p), int(value.q))


@given(st.integers(2, 12), st.integers(0, 2**32 - 1))
def test_square_systems_come_out_as_numpy_says(size: int, seed: int) -> None:
    """Up to twelve unknowns against numpy's LU solution, and exactly against the equations."""
    dice = np.random.default_rng(seed)
    left = dice.integers(-9, 10, (size, size))
    right = dice.integers(-50, 51, size)
    if abs(np.linalg.det(left)) < 1:
        return
    names = [f"x{n}" for n in range(size)]
    forms = [
        Linear(
            F(-int(right[i])), {n: F(int(left[i, j])) for j, n in enumerate(names) if left[i, j]}
        )
        for i in range(size)
    ]
    found = solve_linear(forms, names, {})
    values = {n: found.forms[n].constant for n in names}
    assert all(form.at(values) == 0 for form in forms)
    theirs = np.linalg.solve(left.astype(float), right.astype(float))
    assert np.allclose([float(values[n]) for n in names], theirs, rtol=1e-6, atol=1e-6)


@settings(max_examples=300)
@given(st.lists(st.tuples(rows, st.integers(-3, 3)), min_size=2, max_size=7))
def test_a_disagreement_is_minimal(system: list[tuple[list[int], int]]) -> None:
    """By sympy: the members contradict each other, and without any one of them they do not; no
    smaller set of the system contradicts itself."""
    names = [f"x{n}" for n in range(4)]
    found = smallest_disagreement(as_forms(system), names, {})

    def consistent(members: tuple[int, ...]) -> bool:
        if not members:
            return True
        left = sympy.Matrix([system[n][0] for n in members])
        right = sympy.Matrix([-system[n][1] for n in members])
        return bool(left.rank() == left.row_join(right).rank())

    if found is None:
        assert consistent(tuple(range(len(system))))
        return
    assert not consistent(found.members)
    for member in found.members:
        assert consistent(tuple(n for n in found.members if n != member))
    if len(found.members) > 2:
        pairs = [(i, j) for i in range(len(system)) for j in range(i)]
        assert all(consistent(pair) for pair in pairs)
    assert found.off != 0


def test_known_sizes_stay_in_the_form() -> None:
    """Each unknown is also given as a form in the sizes it was solved from."""
    found = solved(
        ["x.x + y.y - a.a", "x.x - y.y - b.b"], ["x.x", "y.y"], {"a.a": 10, "b.b": "2.5"}
    )
    assert found.values == {"x.x": F("6.25"), "y.y": F("3.75")}
    assert dict(found.forms["x.x"].coefficients) == {"a.a": F(1, 2), "b.b": F(1, 2)}


def test_a_known_interval_is_carried_through_a_linear_ring() -> None:
    """What is only enclosed goes in as an interval and comes out as one."""
    root = value_of(parse_expression("sqrt(2)"), {}, ONE)
    found = solved(["x.x + y.y - a.a", "x.x - y.y"], ["x.x", "y.y"], {"a.a": root})
    assert holds(found.values["x.x"], sympy.sqrt(2) / 2)


def test_statements_that_repeat_each_other_leave_sizes_open() -> None:
    """Told which, and how many must be given."""
    with pytest.raises(SolveError) as caught:
        solved(["x.x + y.y - 5", "2*x.x + 2*y.y - 10"], ["x.x", "y.y"])
    assert caught.value.kind == "open"
    assert caught.value.names == ("x.x", "y.y") and caught.value.missing == 1
    with pytest.raises(SolveError) as caught:
        solved(["x.x + y.y - 5", "2*x.x + 2*y.y - 11"], ["x.x", "y.y"])
    assert caught.value.kind == "contradiction"
    with pytest.raises(SolveError, match="drops out"):
        solved("x.x - x.x + a.a - 3", "x.x", {"a.a": 3})


# --- one unknown


@settings(max_examples=60)
@given(st.lists(st.integers(1, 12), min_size=1, max_size=4, unique=True), st.integers(1, 3))
def test_every_rational_root_is_found(roots: list[int], below: int) -> None:
    """A polynomial with known roots: all of them are named, or the one between the bounds taken."""
    text = " * ".join(f"(x.x - {root}/{below})" for root in roots)
    ordered = sorted(F(root, below) for root in roots)
    if len(roots) == 1:
        assert solved(text, "x.x").values["x.x"] == ordered[0]
        return
    with pytest.raises(SolveError, match=f"{len(roots)} solutions") as caught:
        solved(text, "x.x")
    for root in ordered:
        assert f"{float(root):.3f}" in caught.value.problem
    assert "between" in caught.value.advice
    margin = F(1, 4 * below)
    for root in ordered:
        found = solved(text, "x.x", bounds={"x.x": (root - margin, root + margin)})
        assert found.values["x.x"] == root


@settings(max_examples=60)
@given(st.lists(st.integers(-9, 9), min_size=3, max_size=6))
def test_real_roots_are_those_of_sympy(coefficients: list[int]) -> None:
    """Irrational roots are enclosed: the interval holds the exact one, and none is missed."""
    if coefficients[0] == 0:
        coefficients[0] = 1
    text = "0"
    for coefficient in coefficients:  # Horner's form
        text = f"({text}) * x.x + ({coefficient})"
    symbol = sympy.Symbol("x")
    exact = sympy.real_roots(sympy.Poly(coefficients, symbol))
    distinct = sorted(set(exact), key=lambda r: float(r))
    try:
        found = solved(text, "x.x", bounds={"x.x": (-20, 20)}).values["x.x"]
    except SolveError as error:
        assert f"{len(distinct)} solutions" in error.problem or not distinct
        return
    assert len(distinct) == 1
    assert holds(found, distinct[0])


def test_the_advice_names_bounds_that_work() -> None:
    """What is said to write, written, gives the root that it was said to mean."""
    with pytest.raises(SolveError) as caught:
        solved("(x.x - 2) * (x.x - 3)", "x.x")
    window = caught.value.advice.split('"')[1]
    low, high = (F(end.split()[0]) for end in window.split(" to "))
    assert solved("(x.x - 2) * (x.x - 3)", "x.x", bounds={"x.x": (low, high)}).values["x.x"] == 2


def test_double_roots_count_once() -> None:
    """(x − 2)² has one solution, (x² − 2)² one above zero."""
    assert solved("(x.x - 2)^2", "x.x").values["x.x"] == 2
    assert holds(solved("(x.x^2 - 2)^2", "x.x").values["x.x"], sympy.sqrt(2))
    assert solved("a.a * sin(x.x) - b.b", "x.x", {"a.a": 8, "b.b": 8}, {"x.x": (0, 180)}).values[
        "x.x"
    ] == F(90)


@given(st.integers(2, 12), st.integers(1, 11), st.integers(1, 9))
def test_pythagoras_is_exact(m: int, n: int, k: int) -> None:
    """Euclid's triples (Elements X, lemma 1 to proposition 29): the third side as a fraction."""
    if n >= m:
        return
    a, b, c = F(k * (m * m - n * n), 7), F(2 * k * m * n, 7), F(k * (m * m + n * n), 7)
    for text in ("x.x^2 + a.a^2 - c.c^2", "sqrt(x.x^2 + a.a^2) - c.c"):
        assert solved(text, "x.x", {"a.a": a, "c.c": c}).values["x.x"] == b
    assert solved("x.x^2 - a.a^2 - b.b^2", "x.x", {"a.a": a, "b.b": b}).values["x.x"] == c


def test_three_four_five() -> None:
    """The oldest of them, and an irrational one beside it."""
    assert solved("x.x^2 + a.a^2 - b.b^2", "x.x", {"a.a": 4, "b.b": 5}).values["x.x"] == 3
    found = solved("x.x^2 + a.a^2 - b.b^2", "x.x", {"a.a": 1, "b.b": 3}).values["x.x"]
    assert isinstance(found, Interval) and holds(found, 2 * sympy.sqrt(2))
    assert found.width < F(1, 10**40)


def test_slider_crank_of_a_course() -> None:
    """Crank 10 in., rod 20 in., crank at 45°: the rod's angle 159.295°, the slider's speed 9.744
    in/s at 1 rad/s.

    Source: lecture sheet 'Slider-crank analysis' (fourbar-mathcad), results on the sheet; read in a
    copy of its text. The rod's angle there is measured from the crank's side (180° less ours).
    """
    sizes = {"crank.throw": 10, "rod.length": 20, "crank.angle": 45}
    angle = solved(
        "crank.throw * sin(crank.angle) - rod.length * sin(rod.lean)",
        "rod.lean",
        sizes,
        {"rod.lean": (0, 90)},
    ).values["rod.lean"]
    assert f"{180 - float(middle(angle)):.3f}" == "159.295"
    # closed form of the same: asin(sqrt(2) / 4)
    assert holds(angle, sympy.asin(sympy.sqrt(2) / 4) * 180 / sympy.pi)
    position = parse_expression(
        "crank.throw * cos(crank.angle) + sqrt(rod.length^2 - (crank.throw * sin(crank.angle))^2)"
    )
    slope = gradient(position, {n: F(v) for n, v in sizes.items()}, ONE)[1]["crank.angle"]
    assert slope is not None
    assert f"{-float(middle(slope)) * 180 / math.pi:.3f}" == "9.744"


def test_trigonometric_equation_with_two_answers() -> None:
    """30° and 150° have one sine; the bounds choose."""
    given_sizes = {"a.a": 10, "b.b": 5}
    with pytest.raises(SolveError, match=r"2 solutions: 30\.000, 150\.000"):
        solved("a.a * sin(x.x) - b.b", "x.x", given_sizes, {"x.x": (0, 180)})
    found = solved("a.a * sin(x.x) - b.b", "x.x", given_sizes, {"x.x": (90, 180)})
    assert found.values["x.x"] == F(150)


@settings(max_examples=40)
@given(st.integers(1, 89), st.integers(3, 60))
def test_transcendental_roots_are_those_of_mpmath(angle: int, radius: int) -> None:
    """Height of a circular segment → its half angle, against mpmath's search."""
    with mpmath.workdps(30):
        height = radius * (1 - mpmath.cos(mpmath.radians(angle)))
        text = mpmath.nstr(height, 12)
        wanted = mpmath.degrees(mpmath.acos(1 - mpmath.mpf(text) / radius))
    found = solved(
        "a.r * (1 - cos(x.x)) - a.h", "x.x", {"a.r": radius, "a.h": text}, {"x.x": (0, 180)}
    ).values["x.x"]
    assert abs(float(middle(found)) - float(wanted)) < 1e-9


def test_what_has_no_solution_is_refused() -> None:
    """A sine above one, a side longer than its hypotenuse, a touch that misses."""
    with pytest.raises(SolveError, match=r"no value of x\.x"):
        solved("a.a * sin(x.x) - b.b", "x.x", {"a.a": 10, "b.b": 11}, {"x.x": (0, 180)})
    with pytest.raises(SolveError, match="roots: none"):
        solved("x.x^2 + a.a^2 - b.b^2", "x.x", {"a.a": 5, "b.b": 4})
    with pytest.raises(SolveError, match=r"no value of x\.x between its bounds"):
        solved("x.x^2 - 9", "x.x", bounds={"x.x": (4, 8)})


def test_what_cannot_be_decided_is_refused() -> None:
    """A whole range of answers is not one answer."""
    with pytest.raises(SolveError, match="cannot be decided"):
        solved("max(x.x, 3) - 3", "x.x")


def test_no_root_is_missed_between_two_close_ones() -> None:
    """Two roots a hundredth apart in a range of two hundred: sampling would pass over them."""
    node = parse_expression("cos('1 deg' * x.x * 0) * (x.x - 100) * (x.x - 100.01) * sqrt(x.x)")
    found = roots_between(node, "x.x", {}, ONE, F(1), F(200))
    assert list(found.found) == [F(100), F("100.01")] and not found.undecided


def test_simplest_between() -> None:
    """22/7 is the simplest fraction within a hundredth of π (Archimedes, Measurement of a Circle)."""
    pi = F("3.14159265358979")
    assert simplest_between(pi - F(1, 100), pi + F(1, 100)) == F(22, 7)
    assert simplest_between(-pi - F(1, 100), -pi + F(1, 100)) == -F(22, 7)


# --- rings


def test_two_circles_meet() -> None:
    """A ring of two: centres 6 apart, radii 5 and 5; the point above the line is (3, 4)."""
    found = solved(
        ["x.x^2 + x.y^2 - a.a^2", "(x.x - a.d)^2 + x.y^2 - a.a^2"],
        ["x.x", "x.y"],
        {"a.a": 5, "a.d": 6},
    )
    assert found.values == {"x.x": F(3), "x.y": F(4)}


def test_a_triangle_by_its_three_sides() -> None:
    """Sides 5, 4 and 6: the angles on 6 by the law of cosines, acos 3/4 and acos 9/16 (closed form
    worked by sympy)."""
    found = solved(
        ["a.a*cos(x.x) + a.b*cos(x.y) - a.c", "a.a*sin(x.x) - a.b*sin(x.y)"],
        ["x.x", "x.y"],
        {"a.a": 5, "a.b": 4, "a.c": 6},
        {"x.x": (1, 90), "x.y": (1, 90)},
    )
    assert holds(found.values["x.x"], sympy.acos(sympy.Rational(3, 4)) * 180 / sympy.pi)
    assert holds(found.values["x.y"], sympy.acos(sympy.Rational(9, 16)) * 180 / sympy.pi)


def test_a_ring_with_two_solutions_names_both() -> None:
    """Sum 7 and product 12: 3 and 4, either way round; bounds choose."""
    ring = ["x.x + x.y - 7", "x.x * x.y - 12"]
    with pytest.raises(SolveError, match="more than one solution"):
        solved(ring, ["x.x", "x.y"])
    found = solved(ring, ["x.x", "x.y"], bounds={"x.x": (0, 3.5)})
    assert found.values == {"x.x": F(3), "x.y": F(4)}


def test_a_ring_without_a_solution_is_refused() -> None:
    """Sum 7 and product 13 is beyond any two lengths (the greatest product is 12.25)."""
    with pytest.raises(SolveError, match="ring of statements"):
        solved(["x.x + x.y - 7", "x.x * x.y - 13"], ["x.x", "x.y"])


def test_only_a_proved_solution_counts() -> None:
    """Krawczyk's test holds at a solution and not beside one; the enclosure holds it."""
    nodes = [parse_expression(t) for t in ("x.x^2 + x.y^2 - 4", "x.x - x.y")]
    near = {"x.x": F("1.4142135623730950488"), "x.y": F("1.4142135623730950488")}
    found = proved(nodes, ["x.x", "x.y"], near, {}, ONE)
    assert found is not None and holds(found["x.x"], sympy.sqrt(2))
    off = {"x.x": F("1.42"), "x.y": F("1.42")}
    assert proved(nodes, ["x.x", "x.y"], off, {}, ONE) is None
    for value in found.values():
        assert isinstance(value, Interval)
    boxes: dict[str, Value] = dict(found)
    assert all(
        value.contains(0)
        for node in nodes
        if isinstance(value := evaluate(node, boxes, ONE), Interval)
    )
