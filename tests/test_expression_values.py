"""What expressions come to: against mpmath, sympy, numpy, published figures and each other."""

from __future__ import annotations

import operator
import random
import time
from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any

import mpmath
import numpy
import pytest
import sympy
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from scaler.expressions import (
    Add,
    Angle,
    Div,
    EvaluationError,
    FullLength,
    Function,
    Length,
    Linear,
    Mul,
    Name,
    Neg,
    Node,
    Number,
    Pi,
    Power,
    children,
    compile_float,
    derivatives,
    enclose,
    evaluate,
    gradient,
    linear,
    names,
    parse_expression,
    sensitivities,
    to_sympy,
)
from scaler.expressions.intervals import Interval, Value, as_interval, lower, upper

CONTEXT = mpmath.mp.clone()
CONTEXT.dps = 100
RATIO = Fraction(1, 8)
NAMES = ("a.x", "b.y", "c.z")
CRANK = "crank.throw * cos(crank.turn) + sqrt(rod.length^2 - (crank.throw * sin(crank.turn))^2)"


def big(value: Fraction) -> Any:
    """The value at 100 figures."""
    return CONTEXT.mpf(value.numerator) / value.denominator


def exact(value: Any) -> Fraction:
    """The fraction that a binary number of mpmath's is, exactly."""
    sign, mantissa, exponent, _ = CONTEXT.mpf(value)._mpf_
    number = Fraction(int(mantissa)) * Fraction(2) ** int(exponent)
    return -number if sign else number


def between(low: Fraction | int, high: Fraction | int) -> Interval:
    """The interval with these ends."""
    return Interval(Fraction(low), Fraction(high))


class NoValue(Exception):
    """The oracle finds no real value, or is so near an edge that it cannot say."""


def by_mpmath(node: Node, values: Mapping[str, Any]) -> Any:
    """The value by mpmath at 100 figures, the slow and plain way."""
    parts = [by_mpmath(part, values) for part in children(node)]
    near = CONTEXT.mpf(10) ** -40
    match node:
        case Number(value=value) | Length(mm=value) | Angle(degrees=value):
            return big(value)
        case FullLength(mm=value):
            return big(value * RATIO)
        case Pi():
            return +CONTEXT.pi
        case Name(name=name):
            return values[name]
        case Add():
            return CONTEXT.fsum(parts)
        case Mul():
            return CONTEXT.fprod(parts)
        case Neg():
            return -parts[0]
        case Div():
            if abs(parts[1]) < near:
                raise NoValue
            return parts[0] / parts[1]
        case Power(exponent=exponent):
            if abs(parts[0]) < near or (parts[0] < 0 and exponent.denominator > 1):
                raise NoValue
            if abs(CONTEXT.log10(abs(parts[0])) * float(exponent)) > 500:
                raise NoValue
            return CONTEXT.power(parts[0], big(exponent))
    assert isinstance(node, Function)
    argument: Any = parts[0]
    if node.name in ("sin", "cos", "tan"):
        if node.name == "tan" and abs(CONTEXT.cos(CONTEXT.radians(argument))) < near:
            raise NoValue
        return getattr(CONTEXT, node.name)(CONTEXT.radians(argument))
    if node.name in ("asin", "acos"):
        if abs(argument) > 1 - near:
            raise NoValue
        return CONTEXT.degrees(getattr(CONTEXT, node.name)(argument))
    if node.name == "atan":
        return CONTEXT.degrees(CONTEXT.atan(argument))
    if node.name == "sqrt":
        if argument < near:
            raise NoValue
        return CONTEXT.sqrt(argument)
    if node.name == "abs":
        return abs(argument)
    return min(parts) if node.name == "min" else max(parts)


def trees(leaves: list[str], functions: list[str]) -> st.SearchStrategy[str]:
    """Texts of expressions from leaves and functions of one value."""
    return st.recursive(
        st.sampled_from(leaves),
        lambda inner: st.one_of(
            st.builds("({} {} {})".format, inner, st.sampled_from("+-*/"), inner),
            st.builds("-{}".format, inner),
            st.builds("({})^{}".format, inner, st.sampled_from(["2", "3", "-1", "(1/2)", "-(2/3)"])),
            st.builds("{}({})".format, st.sampled_from(functions), inner),
            st.builds("{}({}, {})".format, st.sampled_from(["min", "max"]), inner, inner),
        ),
        max_leaves=8,
    )  # fmt: skip


LEAVES = [*NAMES, "2", "0.3", "7", "'1/8 in'", "full('3 in')", "'50 deg'", "pi"]
expressions = trees(LEAVES, ["sqrt", "sin", "cos", "tan", "asin", "acos", "atan", "abs"])
smooth = trees(
    [*NAMES, "2", "0.3", "'1/8 in'"], ["sqrt", "sin", "cos", "tan", "asin", "acos", "atan", "abs"]
)
points = st.fixed_dictionaries({name: st.fractions(-20, 20, max_denominator=64) for name in NAMES})
straight = st.recursive(
    st.sampled_from([*NAMES, "2", "0.3", "'1/8 in'", "full('3 in')"]),
    lambda inner: st.one_of(
        st.builds("({} {} {})".format, inner, st.sampled_from("+-"), inner),
        st.builds("-{}".format, inner),
        st.builds("{} * {}".format, st.sampled_from(["2", "-0.5", "(1/3)", "sqrt(9/4)"]), inner),
        st.builds("{} / {}".format, inner, st.sampled_from(["7", "sin('30 deg')", "max(2, 3)"])),
        st.builds("({})^1".format, inner),
    ),
    max_leaves=10,
)  # fmt: skip


# --- values ----------------------------------------------------------------------------------


@given(expressions, points)
def test_values_against_mpmath(written: str, values: dict[str, Fraction]) -> None:
    """mpmath's value at 100 figures lies in ours; both find no value in the same places."""
    node = parse_expression(written)
    try:
        oracle = by_mpmath(node, {name: big(value) for name, value in values.items()})
    except NoValue:
        return
    assume(abs(oracle) < CONTEXT.mpf(10) ** 300)
    try:
        found = evaluate(node, values, RATIO)
    except EvaluationError as error:
        assert "more than can be worked with" in str(error)
        return
    slack = Fraction(1, 10**60) * max(abs(exact(oracle)), Fraction(1))
    assert lower(found) - slack <= exact(oracle) <= upper(found) + slack
    assert upper(found) - lower(found) <= Fraction(1, 10**40) * max(abs(exact(oracle)), Fraction(1))


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("1/3 + 1/6", "1/2"),
        ("0.1 + 0.2", "3/10"),
        ("2^-3", "1/8"),
        ("(4/9)^(3/2)", "8/27"),
        ("sqrt('3 mm'^2 + '4 mm'^2)", "5"),
        ("sqrt(2) * 0", "0"),
        ("sin('30 deg') + cos('60 deg') + tan('45 deg')", "2"),
        ("asin(1/2) + acos(1/2) + atan(1)", "135"),
        ("full('1 in') + '1 in'", "28.575"),
        ("min(3, 1/2, 2) + max(-1, -2) + abs(-5)", "4.5"),
        ("-3^2", "-9"),
        ("min(sqrt(2), 1)", "1"),
    ],
)
def test_exact_values(written: str, value: str) -> None:
    """Rational values come out exactly."""
    assert evaluate(parse_expression(written), {}, RATIO) == Fraction(value)


def test_irrational_values_are_narrow_intervals() -> None:
    """The width is at most 10^-40 of the value, also when much of it cancels."""
    for written in ("sqrt(2)", "sin('1 deg')", "sqrt(10^12 + 1) - 10^6", "pi - 355/113"):
        found = evaluate(parse_expression(written), {}, RATIO)
        assert isinstance(found, Interval)
        assert 0 < found.width <= Fraction(1, 10**40) * abs(found.midpoint)


def test_what_cancels_to_nothing_is_an_interval_around_zero() -> None:
    """A difference of equal roots cannot be told from zero, and is nearer to it than 10^-200."""
    found = evaluate(parse_expression("sqrt(8) - 2 * sqrt(2)"), {}, RATIO)
    assert isinstance(found, Interval)
    assert found.contains(0) and found.width < Fraction(1, 10**200)


def test_values_known_between_two_ends() -> None:
    """Intervals can be put in for names."""
    node = parse_expression("2 * a.x - b.y")
    values: dict[str, Value] = {"a.x": between(1, 2), "b.y": Fraction(1)}
    assert evaluate(node, values, RATIO) == between(1, 3)


@pytest.mark.parametrize(
    ("written", "part", "says"),
    [
        ("1 / (a.x - b.y)", "1 / (a.x - b.y)", "divides by zero, with a.x = 2.5, b.y = 2.5"),
        ("3 + sqrt(a.x - 3)", "sqrt(a.x - 3)", "root of a negative number, with a.x = 2.5"),
        ("(a.x - 3)^(1/3)", "(a.x - 3)^(1/3)", "root of a negative number"),
        ("(a.x - b.y)^-2", "(a.x - b.y)^-2", "divides by zero"),
        ("2 * asin(a.x)", "asin(a.x)", "sine or cosine beyond 1, with a.x = 2.5"),
        ("tan('90 deg')", "tan('90 deg')", "tangent of a right angle"),
        ("c.z + 1", "c.z", "has no value"),
        ("1 + (a.x^64)^64", "(a.x^64)^64", "more than can be worked with"),
        ("1 / (sqrt(8) - 2*sqrt(2))", "1 / (sqrt(8) - 2 * sqrt(2))", "divides by zero"),
    ],
)
def test_values_that_do_not_exist(written: str, part: str, says: str) -> None:
    """The part without a value is named, with what its names stood for."""
    with pytest.raises(EvaluationError) as caught:
        evaluate(parse_expression(written), {"a.x": Fraction(5, 2), "b.y": Fraction(5, 2)}, RATIO)
    assert caught.value.part == part
    assert says in str(caught.value)


def test_values_in_messages_are_short() -> None:
    """Exact where short, about twelve figures where not, and never thousands of digits."""
    node = parse_expression("1 / (a.x - a.x)")
    for value, says in (
        (Fraction(1, 3), "a.x = 1/3"),
        (Fraction(10**30, 7), "a.x = about 1.42857142857e+29"),
        (Fraction(1, 2**2000), "a.x = nearly 0"),
        (Fraction(2**2000), "a.x = some 2001 binary digits"),
        (between(1, 2), "a.x = 1 to 2"),
        (Interval(Fraction(1), 1 + Fraction(1, 10**20)), "a.x = about 1"),
    ):
        with pytest.raises(EvaluationError) as caught:
            evaluate(node, {"a.x": value}, RATIO)
        assert str(caught.value).endswith(f"divides by zero, with {says}")


def test_huge_and_tiny_values_take_no_time() -> None:
    """Powers of powers are given up or rounded, not worked out to millions of digits."""
    started = time.perf_counter()
    node = parse_expression("((((a.x^64)^64)^64)^64)^64")
    with pytest.raises(EvaluationError, match="more than can be worked with"):
        evaluate(node, {"a.x": Fraction(101, 100)}, RATIO)
    assert evaluate(node, {"a.x": Fraction(1)}, RATIO) == 1
    tiny = evaluate(node, {"a.x": Fraction(99, 100)}, RATIO)
    assert lower(tiny) >= 0 and upper(tiny) < Fraction(1, 10**200)
    deeper = Power(Power(Power(node, Fraction(64)), Fraction(64)), Fraction(64))
    tiny = evaluate(deeper, {"a.x": Fraction(99, 100)}, RATIO)
    assert lower(tiny) == 0 and upper(tiny) < Fraction(1, 10**200)
    near = evaluate(node, {"a.x": 1 + Fraction(1, 10**12)}, RATIO)
    oracle = CONTEXT.power(1 + CONTEXT.mpf(10) ** -12, 64**5)
    assert lower(near) <= exact(oracle) <= upper(near)
    assert linear(parse_expression("(((1.01^64)^64)^60)*a.x"), RATIO) is None
    assert time.perf_counter() - started < 1


# --- linear forms ----------------------------------------------------------------------------


@given(straight, points)
def test_linear_agrees_with_evaluation(written: str, values: dict[str, Fraction]) -> None:
    """What is made of sums and constant factors is linear, exactly."""
    node = parse_expression(written)
    found = linear(node, RATIO)
    assert found is not None
    assert found.at(values) == evaluate(node, values, RATIO)
    assert all(found.coefficients.values())


@given(expressions, points)
def test_linear_is_right_whenever_it_answers(written: str, values: dict[str, Fraction]) -> None:
    """An answer for any expression is its value everywhere."""
    node = parse_expression(written)
    try:
        found = linear(node, RATIO)
        value = evaluate(node, values, RATIO)
    except EvaluationError:
        return
    if found is not None:
        assert lower(value) <= found.at(values) <= upper(value)


@pytest.mark.parametrize(
    ("written", "constant", "coefficients"),
    [
        ("a.x - a.x", "0", {}),
        ("a.x + 2*(b.y - a.x/2)", "0", {"b.y": "2"}),
        ("(a.x - 2*'1 mm')/2 + full('8 in')", "24.4", {"a.x": "1/2"}),
        ("(a.x - a.x + 2) * b.y", "0", {"b.y": "2"}),
        ("b.y / sqrt(4) * abs(-3)", "0", {"b.y": "3/2"}),
        ("sqrt(a.x - a.x + 9)", "3", {}),
        ("0 * a.x", "0", {}),
        ("max(1, 2) + a.x^1", "2", {"a.x": "1"}),
    ],
)
def test_linear_forms(written: str, constant: str, coefficients: dict[str, str]) -> None:
    """Constant and coefficients; what cancels is gone."""
    expected = Linear(Fraction(constant), {n: Fraction(c) for n, c in coefficients.items()})
    found = linear(parse_expression(written), RATIO)
    assert found == expected
    assert hash(found) == hash(expected)


@pytest.mark.parametrize(
    "written",
    ["a.x * b.y", "1 / a.x", "a.x^2", "sqrt(2) * a.x", "pi * a.x", "abs(a.x)", "max(a.x, a.x)",
     "sin(a.x)", "sin('20 deg')", "a.x * a.x / a.x", "sqrt(a.x)"],
)  # fmt: skip
def test_not_linear(written: str) -> None:
    """None where it is not linear, or not with rational coefficients."""
    assert linear(parse_expression(written), RATIO) is None


def test_a_constant_part_without_a_value_is_an_error() -> None:
    """Division by a constant that is zero."""
    with pytest.raises(EvaluationError, match="divides by zero"):
        linear(parse_expression("a.x / (2 - 2)"), RATIO)


# --- sensitivities ---------------------------------------------------------------------------


@given(smooth, points)
@settings(max_examples=60)
def test_sensitivities_against_a_central_difference(
    written: str, values: dict[str, Fraction]
) -> None:
    """The derivative by each name against (f(x + h) − f(x − h)) ÷ 2h in mpmath."""
    node = parse_expression(written)
    try:
        found = sensitivities(node, values, RATIO)
    except EvaluationError:
        return
    step = CONTEXT.mpf(10) ** -25
    for name, slope in found.items():
        sides = []
        try:
            for sign in (1, 0, -1):
                at = {n: big(v) + (sign * step if n == name else 0) for n, v in values.items()}
                sides.append(by_mpmath(node, at))
        except NoValue:
            return
        bend = abs(sides[0] - 2 * sides[1] + sides[2]) / step  # a corner of min or max
        assume(bend < CONTEXT.mpf(10) ** -15)
        oracle = exact((sides[0] - sides[2]) / (2 * step))
        slack = Fraction(1, 10**15) * max(Fraction(1), abs(oracle))
        assert lower(slope) - slack <= oracle <= upper(slope) + slack


@given(smooth, points)
@settings(max_examples=40, deadline=None)
def test_sensitivities_and_values_against_sympy(written: str, values: dict[str, Fraction]) -> None:
    """Our value and derivatives against sympy's, evaluated by sympy to 30 figures."""
    assume("min" not in written and "max" not in written)
    node = parse_expression(written)
    try:
        slopes = sensitivities(node, values, RATIO)
        value = evaluate(node, values, RATIO)
    except EvaluationError:
        return
    symbols = {name: sympy.Symbol(name, real=True) for name in NAMES}
    at = {symbols[n]: sympy.Rational(v.numerator, v.denominator) for n, v in values.items()}
    pairs = [(value, to_sympy(node, symbols, RATIO))]
    pairs += [
        (slopes[name], formula) for name, formula in derivatives(node, symbols, RATIO).items()
    ]
    for ours, formula in pairs:
        theirs = formula.subs(at).evalf(30, maxn=200)
        if not theirs.is_Float and not theirs.is_Rational:
            continue  # sympy met an edge (0/0, an imaginary part of rounding)
        oracle = exact(theirs._to_mpmath(120))
        slack = Fraction(1, 10**20) * max(Fraction(1), abs(oracle))
        assert lower(ours) - slack <= oracle <= upper(ours) + slack


@pytest.mark.parametrize(
    ("written", "slope"),
    [  # derivatives of the elementary functions per degree, DLMF 4.20 and 4.24 (from memory)
        ("sqrt(a.x)", lambda x, d: 1 / (2 * CONTEXT.sqrt(x))),
        ("sin(a.x)", lambda x, d: CONTEXT.cos(x * d) * d),
        ("cos(a.x)", lambda x, d: -CONTEXT.sin(x * d) * d),
        ("tan(a.x)", lambda x, d: d / CONTEXT.cos(x * d) ** 2),
        ("asin(a.x)", lambda x, d: 1 / (d * CONTEXT.sqrt(1 - x**2))),
        ("acos(a.x)", lambda x, d: -1 / (d * CONTEXT.sqrt(1 - x**2))),
        ("atan(a.x)", lambda x, d: 1 / (d * (1 + x**2))),
        ("a.x^(2/3)", lambda x, d: 2 / (3 * CONTEXT.cbrt(x))),
        ("a.x^-2", lambda x, d: -2 / x**3),
        ("3 / a.x", lambda x, d: -3 / x**2),
        ("abs(-a.x)", lambda x, d: x / x),
    ],
)
def test_derivative_of_each_function(written: str, slope: Callable[[Any, Any], Any]) -> None:
    """The derivative of each function at a third, by its formula in mpmath."""
    found = sensitivities(parse_expression(written), {"a.x": Fraction(1, 3)}, RATIO)["a.x"]
    oracle = exact(slope(CONTEXT.mpf(1) / 3, CONTEXT.pi / 180))
    slack = Fraction(1, 10**45) * abs(oracle)
    assert abs(lower(found) - oracle) < slack and abs(upper(found) - oracle) < slack


def test_exact_sensitivities() -> None:
    """Exact where the steps are."""
    values = {"a.x": Fraction(3), "b.y": Fraction(4), "c.z": Fraction(60)}
    for written, expected in (
        ("2*a.x - b.y/3", {"a.x": Fraction(2), "b.y": Fraction(-1, 3)}),
        ("a.x^2 * b.y", {"a.x": Fraction(24), "b.y": Fraction(9)}),
        ("sqrt(a.x^2 + b.y^2)", {"a.x": Fraction(3, 5), "b.y": Fraction(4, 5)}),
        ("a.x * cos(c.z) - a.x / 2", {"a.x": Fraction(0)}),
        ("max(a.x, b.y) - abs(a.x - b.y)", {"a.x": Fraction(1), "b.y": Fraction(0)}),
        ("min(a.x, 5)", {"a.x": Fraction(1)}),
        ("min(5, b.y + a.x)", {"b.y": Fraction(0), "a.x": Fraction(0)}),
    ):
        found = sensitivities(parse_expression(written), values, RATIO)
        known = {name: slope for name, slope in found.items() if name != "c.z"}
        assert known == expected and list(known) == list(expected)


def test_at_a_corner_both_sides_are_given() -> None:
    """abs at zero, and max where two are equal."""
    values = {"a.x": Fraction(1), "b.y": Fraction(1)}
    assert sensitivities(parse_expression("abs(a.x - b.y)"), values, RATIO) == {
        "a.x": between(-1, 1),
        "b.y": between(-1, 1),
    }
    assert sensitivities(parse_expression("max(2*a.x, b.y + 1)"), values, RATIO) == {
        "a.x": between(0, 2),
        "b.y": between(0, 1),
    }


def test_a_sensitivity_without_bound_is_refused() -> None:
    """A root at zero moves without bound."""
    with pytest.raises(EvaluationError, match=r"without bound for the least change of a\.x"):
        sensitivities(parse_expression("sqrt(a.x)"), {"a.x": Fraction(0)}, RATIO)
    for written in ("asin(a.x)", "max(asin(a.x), 0)", "asin(a.x) + a.x", "2 * acos(a.x) / 3"):
        found = gradient(parse_expression(written), {"a.x": Fraction(1)}, RATIO)
        assert found[1] == {"a.x": None}
    for written in ("1 / (a.x - 1)", "a.x * z.z"):
        with pytest.raises(EvaluationError, match=r"divides by zero|z\.z: has no value"):
            gradient(parse_expression(written), {"a.x": Fraction(1)}, RATIO)


# --- ranges ----------------------------------------------------------------------------------


@given(expressions, points, st.data())
@settings(max_examples=60, deadline=None)
def test_enclosures_hold_every_value(
    written: str, start: dict[str, Fraction], data: st.DataObject
) -> None:
    """Whatever values the names have inside their boxes, the value lies inside."""
    node = parse_expression(written)
    width = st.fractions(0, 5, max_denominator=10)
    boxes = {name: Interval(value, value + data.draw(width)) for name, value in start.items()}
    try:
        found = enclose(node, boxes, RATIO, most_boxes=16)
    except EvaluationError:
        return
    part = st.fractions(0, 1, max_denominator=16)
    for _ in range(6):
        values = {name: box.lower + box.width * data.draw(part) for name, box in boxes.items()}
        value = evaluate(node, values, RATIO)
        assert found.lower <= upper(value) and lower(value) <= found.upper


@given(straight, points)
def test_linear_enclosures_are_exact(written: str, start: dict[str, Fraction]) -> None:
    """The ends of a linear expression are values at corners of the box."""
    node = parse_expression(written)
    form = linear(node, RATIO)
    assert form is not None
    boxes = {name: Interval(value, value + 1) for name, value in start.items()}
    found = enclose(node, boxes, RATIO)
    rising = {name: form.coefficients.get(name, 0) > 0 for name in NAMES}
    top = {n: box.upper if rising[n] else box.lower for n, box in boxes.items()}
    bottom = {n: box.lower if rising[n] else box.upper for n, box in boxes.items()}
    assert found == Interval(form.at(bottom), form.at(top))


@pytest.mark.parametrize(
    ("written", "boxes", "least", "most"),
    [  # ranges worked out by hand from where the derivatives vanish
        ("a.x^2 - a.x", {"a.x": (0, 1)}, "-1/4", "0"),
        ("a.x * (10 - a.x)", {"a.x": (2, 6)}, "16", "25"),
        ("a.x^2 - a.x*b.y + b.y^2 - a.x", {"a.x": (-5, 5), "b.y": (-5, 5)}, "-1/3", "80"),
        ("a.x / (1 + a.x^2)", {"a.x": (-2, 3)}, "-1/2", "1/2"),
        ("a.x - 2 * a.x", {"a.x": (1, 2)}, "-2", "-1"),
        ("a.x * a.x", {"a.x": (-2, 1)}, "0", "4"),
        ("abs(a.x - b.y)", {"a.x": (0, 2), "b.y": (1, 3)}, "0", "3"),
        ("max(a.x, 3 - a.x)", {"a.x": (0, 3)}, "3/2", "3"),
        ("sin(a.x) + cos(a.x - 90)", {"a.x": (0, 180)}, "0", "2"),
        ("sqrt(a.x^2 + b.y^2)", {"a.x": (3, 5), "b.y": (4, 12)}, "5", "13"),
        ("a.x^3 - 3*a.x", {"a.x": (-2, 2)}, "-2", "2"),
        ("sqrt(a.x) - a.x", {"a.x": (0, 1)}, "0", "1/4"),
        ("a.x^(1/2) * (1 - a.x)^2", {"a.x": (0, 1)}, "0", "0.28621670111997307"),
        ("(a.x + b.y) / (a.x - b.y)", {"a.x": (5, 7), "b.y": (1, 3)}, "4/3", "4"),
    ],
)
def test_enclosures_are_tight(
    written: str, boxes: dict[str, tuple[int, int]], least: str, most: str
) -> None:
    """The known range lies inside, and the ends are beyond it by less than 10^-8 of it."""
    found = enclose(
        parse_expression(written), {n: between(*ends) for n, ends in boxes.items()}, RATIO
    )
    true = Interval(Fraction(least), Fraction(most))
    assert found.contains(true)
    assert found.width - true.width <= true.width / 10**8


def test_an_enclosure_finds_its_way_past_repeated_names() -> None:
    """The plain extension would divide by an interval that holds zero; cut up it does not."""
    node = parse_expression("1 / (a.x^2 - a.x + 1)")
    found = enclose(node, {"a.x": between(0, 2)}, RATIO)
    assert found.contains(Interval(Fraction(1, 3), Fraction(4, 3)))
    assert found.width < 1 + Fraction(1, 10**6)


@pytest.mark.parametrize(
    ("written", "says"),
    [("1 / a.x", "divides by zero"), ("sqrt(a.x)", "root of a negative"),
     ("1 / (a.x - b.y)", "divides by zero"), ("asin(2*a.x)", "beyond 1"),
     ("tan(90 * a.x)", "right angle"), ("z.z + a.x", "has no value"),
     ("sqrt(z.z)", "has no value")],
)  # fmt: skip
def test_enclosures_refuse_a_box_without_values(written: str, says: str) -> None:
    """A box that reaches where there is no value."""
    boxes = {"a.x": between(-1, 1), "b.y": between(0, 3)}
    with pytest.raises(EvaluationError, match=says):
        enclose(parse_expression(written), boxes, RATIO)


def test_a_box_of_no_width_is_a_value() -> None:
    """Points give what evaluation gives."""
    node, values = parse_expression("sqrt(a.x) * b.y"), {"a.x": Fraction(2), "b.y": Fraction(3)}
    boxes = {name: Interval(value, value) for name, value in values.items()}
    assert enclose(node, boxes, RATIO) == as_interval(evaluate(node, values, RATIO))


# --- the trade's own figures -----------------------------------------------------------------


def test_slider_crank_against_geometry() -> None:
    """The cross-head's place is where a circle about the crank pin cuts the line of stroke."""
    # x = r cos A + sqrt(l^2 - r^2 sin^2 A), piston position with respect to crank angle (copy of
    # an encyclopaedia's formula); the dead centres and the quarter are plain geometry
    node = parse_expression(CRANK)
    throw, rod = Fraction(20), Fraction(101)
    at = {"crank.throw": throw, "rod.length": rod}
    for turn, place in ((0, 121), (180, 81), (360, 121)):
        assert evaluate(node, {**at, "crank.turn": Fraction(turn)}, RATIO) == place
    quarter = evaluate(node, {**at, "crank.turn": Fraction(90)}, RATIO)
    assert lower(quarter) ** 2 <= rod**2 - throw**2 <= upper(quarter) ** 2
    at = {"crank.throw": Fraction(20), "rod.length": Fraction(29)}
    assert evaluate(node, {**at, "crank.turn": Fraction(90)}, RATIO) == 21  # 20, 21, 29
    for degrees in (17, 60, 133):
        found = evaluate(node, {**at, "crank.turn": Fraction(degrees)}, RATIO)
        angle = CONTEXT.radians(degrees)
        pin = (20 * CONTEXT.cos(angle), 20 * CONTEXT.sin(angle))
        away = big(as_interval(found).midpoint) - pin[0]
        assert abs(CONTEXT.hypot(away, pin[1]) - 29) < CONTEXT.mpf(10) ** -50


def test_slider_crank_stroke_is_twice_the_throw() -> None:
    """Over half a turn the enclosure is the stroke."""
    boxes = {"crank.throw": between(20, 20), "rod.length": between(90, 90),
             "crank.turn": between(0, 180)}  # fmt: skip
    found = enclose(parse_expression(CRANK), boxes, RATIO)
    assert found.contains(between(70, 110))
    assert found.width - 40 < Fraction(1, 10**6)


def test_chord_of_a_pitch_circle() -> None:
    """Seven holes on 100 mm are 43.388 mm apart."""
    # 'pitch circle chordal distance calculation', a coupling maker's sheet, 7 holes: C = 0.43388 (copy)
    node = parse_expression("flange.pitch_circle * sin('180 deg' / flange.holes)")
    found = evaluate(
        node, {"flange.pitch_circle": Fraction(100), "flange.holes": Fraction(7)}, RATIO
    )
    assert abs(lower(found) - Fraction("43.388")) < Fraction(1, 2000)


# --- bridges ---------------------------------------------------------------------------------


@given(expressions, st.integers(0, 10**6))
@settings(max_examples=60)
def test_compiled_floats_agree_with_exact_values(written: str, seed: int) -> None:
    """The quick path against the exact one, on arrays."""
    node = parse_expression(written)
    source = random.Random(seed)
    columns = {name: [Fraction(source.randint(-600, 600), 32) for _ in range(4)] for name in NAMES}
    found = compile_float(node, NAMES, RATIO)(
        *(numpy.array([float(v) for v in c]) for c in columns.values())
    )
    assert found.shape == (4,) and found.dtype == numpy.float64
    for place in range(4):
        values = {name: column[place] for name, column in columns.items()}
        try:
            oracle = by_mpmath(node, {name: big(value) for name, value in values.items()})
            exact_value = evaluate(node, values, RATIO)
        except (NoValue, EvaluationError):
            continue
        if not 1e-6 < abs(oracle) < 1e12 or not _is_tame(node, values):
            continue
        middle = float(as_interval(exact_value).midpoint)
        assert found[place] == pytest.approx(middle, rel=1e-6)


def _is_tame(node: Node, values: Mapping[str, Fraction]) -> bool:
    """Whether a change of 10^-12 in the names and in each part's value stays a small change."""
    for part in children(node):
        if not _is_tame(part, values):
            return False
    moved = {name: value * (1 + Fraction(1, 10**11)) for name, value in values.items()}
    try:
        before = as_interval(evaluate(node, values, RATIO)).midpoint
        after = as_interval(evaluate(node, moved, RATIO)).midpoint
    except EvaluationError:
        return False
    return Fraction(1, 10**6) < abs(before) < 10**6 and abs(after - before) < abs(before) / 10**8


def test_compiled_floats_broadcast_and_do_not_warn() -> None:
    """Single numbers and arrays mix; constants fill the shape; no value is nan, in silence."""
    run = compile_float(parse_expression("sqrt(a.x) / b.y"), ("a.x", "b.y"), RATIO)
    found = run(numpy.array([4.0, -1.0, 1.0]), 0.5)
    assert found[0] == 4 and numpy.isnan(found[1]) and found[2] == 2
    assert run(1.0, 0.0).shape == () and numpy.isinf(run(1.0, 0.0))
    constant = compile_float(parse_expression("full('8 mm')"), ("a.x",), RATIO)
    assert constant(numpy.zeros((2, 3))).tolist() == [[1.0] * 3] * 2
    given_array = numpy.array([1.0])
    compile_float(parse_expression("a.x"), ("a.x",), RATIO)(given_array)[0] = 5
    assert given_array[0] == 1
    with pytest.raises(KeyError):
        compile_float(parse_expression("z.z"), ("a.x",), RATIO)
    with pytest.raises(TypeError, match="2 arrays are needed"):
        run(1.0)


def test_sympy_objects_are_exact() -> None:
    """Rationals stay rationals, degrees become parts of pi, each function its sympy twin."""
    x, y = sympy.symbols("x y", real=True)
    symbols = {"a.x": x, "b.y": y}
    cases: dict[str, Callable[[], Any]] = {
        "0.1 * a.x": lambda: x / 10,
        "a.x - full('1 in')": lambda: x - sympy.Rational(127, 40),
        "sin(a.x) / tan('60 deg')": lambda: sympy.sin(sympy.pi * x / 180) / sympy.sqrt(3),
        "atan(a.x / b.y)": lambda: sympy.atan(x / y) * 180 / sympy.pi,
        "min(a.x, b.y) * abs(a.x)": lambda: sympy.Min(x, y) * sympy.Abs(x),
        "max(a.x, 2)^-1 - pi": lambda: 1 / sympy.Max(x, 2) - sympy.pi,
        "-sqrt(a.x^2 + 1)": lambda: -sympy.sqrt(x**2 + 1),
        "acos(1/2) + asin('1 mm') + cos('60 deg')": lambda: 150 + sympy.Rational(1, 2),
        "a.x^(2/3)": lambda: x ** sympy.Rational(2, 3),
    }
    for written, expected in cases.items():
        found = to_sympy(parse_expression(written), symbols, RATIO)
        assert operator.eq(sympy.simplify(found - expected()), 0)
        assert not found.atoms(sympy.Float)


# --- speed -----------------------------------------------------------------------------------


def test_ten_thousand_short_expressions_in_seconds() -> None:
    """Reading is about a second for ten thousand on a small machine; allow for a busy one."""
    texts = [f"barrel.depth_{n} - plunger.stroke / 2 + '0.8 mm'" for n in range(10_000)]
    started = time.perf_counter()
    for written in texts:
        parse_expression(written)
    assert time.perf_counter() - started < 5


def test_short_expressions_are_worked_out_in_microseconds() -> None:
    """linear() and evaluate() take tens of microseconds; allow for a busy machine."""
    node = parse_expression("barrel.depth - plunger.stroke / 2 - '0.8 mm'")
    values = dict.fromkeys(names(node), Fraction(123, 10))
    started = time.perf_counter()
    for _ in range(1000):
        linear(node, RATIO)
        evaluate(node, values, RATIO)
    assert time.perf_counter() - started < 0.5
