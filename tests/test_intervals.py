"""Intervals hold what they say: against mpmath, published tables and the exact arithmetic itself."""

from __future__ import annotations

import math
from fractions import Fraction

import mpmath
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from scaler.expressions import interval_angles as angles
from scaler.expressions import intervals
from scaler.expressions.intervals import DomainError, Interval, Value, at_most, lower, upper

CONTEXT = mpmath.mp.clone()
CONTEXT.dps = 150
SLACK = Fraction(1, 10**120)

fractions = st.fractions(-50, 50, max_denominator=1000)
positive = st.fractions(Fraction(1, 10**6), 10**6, max_denominator=10**9)


def between(low: Fraction | int, high: Fraction | int) -> Interval:
    """The interval with these ends."""
    return Interval(Fraction(low), Fraction(high))


@st.composite
def intervals_of(draw: st.DrawFn, ends: st.SearchStrategy[Fraction] = fractions) -> Interval:
    """Any interval, points included."""
    first, second = draw(ends), draw(ends)
    return Interval(min(first, second), max(first, second))


@st.composite
def inside(draw: st.DrawFn) -> tuple[Interval, Fraction]:
    """An interval and a number in it."""
    interval = draw(intervals_of())
    return interval, interval.lower + interval.width * draw(st.fractions(0, 1, max_denominator=50))


def exact(value: mpmath.mpf) -> Fraction:
    """The fraction that a binary number of mpmath's is, exactly."""
    sign, mantissa, exponent, _ = value._mpf_
    number = Fraction(int(mantissa)) * Fraction(2) ** int(exponent)
    return -number if sign else number


def big(value: Fraction) -> mpmath.mpf:
    """The value at 150 figures."""
    return CONTEXT.mpf(value.numerator) / value.denominator


def assert_encloses(
    found: Value, oracle: mpmath.mpf, width: Fraction = Fraction(1, 10**50)
) -> None:
    """The enclosure holds the oracle's value and is narrow, as a part of that value."""
    true = exact(oracle)
    slack = SLACK * max(abs(true), SLACK)
    assert lower(found) - slack <= true <= upper(found) + slack
    assert upper(found) - lower(found) <= width * abs(true)


# --- the interval itself ---------------------------------------------------------------------


def test_ends_are_exact_and_the_right_way_round() -> None:
    """Floats and swapped ends are refused, whole numbers taken."""
    assert isinstance(between(1, 2).lower, Fraction)
    with pytest.raises(ValueError, match="above the upper end"):
        Interval(Fraction(2), Fraction(1))
    with pytest.raises(TypeError, match="exact ends"):
        Interval(0.5, Fraction(1))  # type: ignore[arg-type]


def test_width_midpoint_magnitude() -> None:
    """The plain measures of an interval."""
    found = between(-3, 1)
    assert [found.width, found.midpoint, found.magnitude] == [4, -1, 3]


@pytest.mark.parametrize(
    ("left", "right", "product"),
    [  # rows of minimal_mul_test, libieeep1788_elem.itl, open test data for IEEE 1788 (copy)
        ((1, 5), (-5, -1), (-25, -1)),
        ((1, 5), (-5, 3), (-25, 15)),
        ((1, 5), (1, 3), (1, 15)),
        ((-1, 5), (-5, -1), (-25, 5)),
        ((-1, 5), (-5, 3), (-25, 15)),
        ((-10, 2), (-5, 3), (-30, 50)),
        ((-1, 5), (-1, 10), (-10, 50)),
        ((-2, 2), (-5, 3), (-10, 10)),
        ((-1, 5), (1, 3), (-3, 15)),
        ((-10, -5), (-5, -1), (5, 50)),
        ((-10, -5), (-5, 3), (-30, 50)),
        ((-10, -5), (1, 3), (-30, -5)),
    ],
)
def test_products_of_the_1788_test_data(
    left: tuple[int, int], right: tuple[int, int], product: tuple[int, int]
) -> None:
    """Every case of signs of a product."""
    assert between(*left) * between(*right) == between(*product)
    assert between(*right) * between(*left) == between(*product)


@pytest.mark.parametrize(
    ("left", "right", "quotient"),
    [  # rows of minimal_div_test, libieeep1788_elem.itl, open test data for IEEE 1788 (copy)
        ((-30, -15), (-5, -3), (3, 10)),
        ((-30, -15), (3, 5), (-10, -3)),
        ((-30, 15), (-5, -3), (-5, 10)),
        ((-30, 15), (3, 5), (-10, 5)),
    ],
)
def test_quotients_of_the_1788_test_data(
    left: tuple[int, int], right: tuple[int, int], quotient: tuple[int, int]
) -> None:
    """Every case of signs of a quotient."""
    assert between(*left) / between(*right) == between(*quotient)


def test_division_by_an_interval_that_holds_zero_is_refused() -> None:
    """Zero inside, at either end, or alone."""
    for ends in ((-1, 1), (0, 1), (-1, 0), (0, 0)):
        with pytest.raises(ZeroDivisionError):
            between(1, 2) / between(*ends)
    with pytest.raises(ZeroDivisionError):
        between(1, 2) / 0


@given(inside(), inside())
def test_arithmetic_holds_every_result(
    one: tuple[Interval, Fraction], two: tuple[Interval, Fraction]
) -> None:
    """For any numbers in two intervals the result lies in the interval of results."""
    (left, a), (right, b) = one, two
    assert (left + right).contains(a + b)
    assert (left - right).contains(a - b)
    assert (left * right).contains(a * b)
    assert (left + b).contains(a + b) and (b + left).contains(a + b)
    assert (left - b).contains(a - b) and (b - left).contains(b - a)
    assert (left * b).contains(a * b) and (b * left).contains(a * b)
    assert (-left).contains(-a) and abs(left).contains(abs(a))
    if not right.contains(0):
        assert (left / right).contains(a / b) and (a / right).contains(a / b)
    if b:
        assert (left / b).contains(a / b)
    assert (
        upper(intervals.least([left, right])) >= min(a, b) >= lower(intervals.least([left, right]))
    )
    assert upper(intervals.greatest([left, b])) >= max(a, b) >= lower(intervals.greatest([left, b]))


@given(intervals_of(), intervals_of())
def test_sums_and_products_are_as_narrow_as_can_be(left: Interval, right: Interval) -> None:
    """Both ends of a sum, difference and product are reached."""
    corners = [(a, b) for a in (left.lower, left.upper) for b in (right.lower, right.upper)]
    for result, values in (
        (left + right, [a + b for a, b in corners]),
        (left - right, [a - b for a, b in corners]),
        (left * right, [a * b for a, b in corners]),
    ):
        assert (result.lower, result.upper) == (min(values), max(values))


@given(inside(), st.integers(-6, 6))
def test_whole_powers(one: tuple[Interval, Fraction], exponent: int) -> None:
    """Powers hold every result, and even ones start at zero where the base holds it."""
    interval, value = one
    assume(exponent >= 0 or not interval.contains(0))
    assert (interval**exponent).contains(value**exponent)
    if exponent > 0 and exponent % 2 == 0 and interval.contains(0):
        assert (interval**exponent).lower == 0


@given(intervals_of(st.fractions(-10, 10, max_denominator=10**80)), st.integers(20, 200))
def test_rounding_goes_outward_and_stays_near(interval: Interval, bits: int) -> None:
    """Rounded ends hold the interval, and are off by less than 2^(1-bits) of themselves."""
    found = interval.rounded(bits)
    assert found.contains(interval)
    for before, after in ((interval.lower, found.lower), (interval.upper, found.upper)):
        assert abs(before - after) <= abs(before) * Fraction(2, 2**bits)


def test_at_most_tells_only_what_is_certain() -> None:
    """Yes, no, and cannot be told; touching ends are enough for yes."""
    assert at_most(Fraction(1), Fraction(1)) is True
    assert at_most(between(0, 1), between(1, 2)) is True
    assert at_most(between(2, 3), between(0, 1)) is False
    assert at_most(between(1, 3), between(0, 1)) is None
    assert at_most(between(0, 2), Fraction(1)) is None


def test_hull_and_intersection() -> None:
    """The least that holds both, and what both share."""
    assert between(0, 2).hull(between(5, 6)) == between(0, 6) == between(0, 1).hull(Fraction(6))
    assert between(0, 2).intersection(between(1, 6)) == between(1, 2)
    with pytest.raises(ValueError, match="above the upper end"):
        between(0, 1).intersection(between(2, 3))


# --- roots and powers ------------------------------------------------------------------------


@given(st.integers(0, 10**40), st.integers(1, 64))
def test_whole_roots(number: int, degree: int) -> None:
    """The root's power is not above the number, the next one's is."""
    found = intervals.whole_root(number, degree)
    assert found**degree <= number < (found + 1) ** degree


@given(positive, st.integers(2, 12))
def test_roots_of_powers_are_exact(value: Fraction, degree: int) -> None:
    """A root that is rational comes out exactly."""
    assert intervals.root(value**degree, degree) == value


@given(positive, st.integers(2, 12))
def test_roots_against_mpmath(value: Fraction, degree: int) -> None:
    """mpmath's root at 150 figures lies inside, and the enclosure is narrow."""
    assert_encloses(intervals.root(value, degree), CONTEXT.root(big(value), degree))


@given(positive, st.integers(-12, 12), st.integers(1, 12))
def test_rational_powers_against_mpmath(value: Fraction, top: int, degree: int) -> None:
    """mpmath's power at 150 figures lies inside, and the enclosure is narrow."""
    found = intervals.power(value, Fraction(top, degree))
    assert_encloses(found, CONTEXT.power(big(value), CONTEXT.mpf(top) / degree))


def test_roots_of_negative_numbers_are_refused() -> None:
    """Also for odd roots; only a rounding's breadth around zero is let pass."""
    for value in (Fraction(-1), between(-1, 2), between(-3, -2)):
        with pytest.raises(DomainError, match="root of a negative number"):
            intervals.root(value)
    with pytest.raises(DomainError):
        intervals.power(Fraction(-8), Fraction(1, 3))
    tiny = Fraction(1, 2**100)
    assert lower(intervals.root(between(-tiny, tiny))) == 0
    assert intervals.root(between(0, 4)) == between(0, 2)


# --- angles ----------------------------------------------------------------------------------


def test_pi_against_mpmath() -> None:
    """π at several precisions."""
    for bits in (8, 64, 192, 400):
        found = angles.pi(bits)
        assert found.contains(exact(+CONTEXT.pi)) and found.width <= Fraction(4, 2**bits)


@pytest.mark.parametrize(
    ("degrees", "sine", "cosine"),
    [  # DLMF, table 4.17.1 (from memory): the rational entries
        (0, "0", "1"),
        (30, "1/2", None),
        (60, None, "1/2"),
        (90, "1", "0"),
        (120, None, "-1/2"),
        (150, "1/2", None),
        (180, "0", "-1"),
        (210, "-1/2", None),
        (270, "-1", "0"),
        (330, "-1/2", None),
        (360, "0", "1"),
        (-30, "-1/2", None),
        (750, "1/2", None),
    ],
)
def test_rational_sines_are_exact(degrees: int, sine: str | None, cosine: str | None) -> None:
    """Exact where Niven's theorem allows it, and an interval where it does not."""
    for found, known in (
        (angles.sin(Fraction(degrees)), sine),
        (angles.cos(Fraction(degrees)), cosine),
    ):
        if known is None:
            assert isinstance(found, Interval)
        else:
            assert found == Fraction(known)


@pytest.mark.parametrize(
    ("degrees", "surd"),
    [  # a public table of sines in surds, by steps of 3 and 5 5/8 degrees (copy); 45, 60 from memory
        (15, lambda r: (r(6) - r(2)) / 4),
        (18, lambda r: (r(5) - 1) / 4),
        (22.5, lambda r: r(2 - r(2)) / 2),
        (36, lambda r: r(10 - 2 * r(5)) / 4),
        (45, lambda r: r(2) / 2),
        (54, lambda r: (r(5) + 1) / 4),
        (60, lambda r: r(3) / 2),
        (67.5, lambda r: r(2 + r(2)) / 2),
        (75, lambda r: (r(6) + r(2)) / 4),
    ],
)
def test_sines_in_surds(degrees: float, surd: object) -> None:
    """Sines that are known in roots, by our own roots: both enclosures must meet."""

    def root(value: Value | int) -> Value:
        return intervals.root(value if isinstance(value, Interval) else Fraction(value))

    expected = surd(root)  # type: ignore[operator]
    found = angles.sin(Fraction(degrees))
    assert lower(found) <= upper(expected) and lower(expected) <= upper(found)
    assert upper(found) - lower(expected) < Fraction(1, 10**50)


degrees = st.one_of(
    st.fractions(-1000, 1000, max_denominator=10**6),
    st.fractions(-1, 1, max_denominator=10**30),
    st.builds(lambda turn, rest: 45 * turn + rest, st.integers(-20, 20),
              st.fractions(-Fraction(1, 10**12), Fraction(1, 10**12), max_denominator=10**40)),
)  # fmt: skip


@given(degrees)
def test_sine_cosine_tangent_against_mpmath(angle: Fraction) -> None:
    """mpmath at 150 figures lies inside, to 50 figures of the value, also next to its zeros."""
    radians = big(angle) * CONTEXT.pi / 180
    for ours, theirs, pole in (
        (angles.sin, CONTEXT.sin, None),
        (angles.cos, CONTEXT.cos, None),
        (angles.tan, CONTEXT.tan, 90),
    ):
        if pole is None or angle % 180 != pole:
            found = ours(angle)
            if isinstance(found, Interval):
                assert_encloses(found, theirs(radians))
            else:
                assert abs(found - exact(theirs(radians))) < SLACK


numbers = st.one_of(
    st.fractions(-1, 1, max_denominator=10**6),
    st.builds(lambda sign, rest: sign * (1 - rest), st.sampled_from([-1, 1]),
              st.fractions(0, Fraction(1, 10**9), max_denominator=10**30)),
)  # fmt: skip


@given(numbers)
def test_inverse_sine_and_cosine_against_mpmath(value: Fraction) -> None:
    """mpmath at 150 figures lies inside, to 50 figures of the value, also next to ±1."""
    for ours, theirs in ((angles.asin, CONTEXT.asin), (angles.acos, CONTEXT.acos)):
        found, oracle = ours(value), theirs(big(value)) * 180 / CONTEXT.pi
        if isinstance(found, Interval):
            assert_encloses(found, oracle)
        else:
            assert abs(found - exact(oracle)) < Fraction(1, 10**70)


@given(st.one_of(numbers, st.fractions(-(10**9), 10**9), st.fractions(-1, 1)))
def test_inverse_tangent_against_mpmath(value: Fraction) -> None:
    """mpmath at 150 figures lies inside, to 50 figures of the value."""
    found, oracle = angles.atan(value), CONTEXT.atan(big(value)) * 180 / CONTEXT.pi
    if isinstance(found, Interval):
        assert_encloses(found, oracle)
    else:
        assert abs(found - exact(oracle)) < SLACK


@given(st.fractions(0, 90, max_denominator=10**4))
def test_inverses_lead_back(angle: Fraction) -> None:
    """asin sin, acos cos and atan tan enclose the angle they started from."""
    for there, back in ((angles.sin, angles.asin), (angles.cos, angles.acos)):
        found = back(there(angle))
        assert lower(found) <= angle <= upper(found)
        assert upper(found) - lower(found) < Fraction(1, 10**20)
    if angle < 90:
        found = angles.atan(angles.tan(angle))
        assert lower(found) <= angle <= upper(found)


def test_exact_inverses() -> None:
    """The rational angles of rational sines, cosines and tangents."""
    half = Fraction(1, 2)
    assert [angles.asin(Fraction(x)) for x in (-1, -half, 0, half, 1)] == [-90, -30, 0, 30, 90]
    assert [angles.acos(Fraction(x)) for x in (-1, -half, 0, half, 1)] == [180, 120, 90, 60, 0]
    assert [angles.atan(Fraction(x)) for x in (-1, 0, 1)] == [-45, 0, 45]


@given(st.fractions(-800, 800, max_denominator=100), st.fractions(0, 500, max_denominator=100),
       st.fractions(0, 1, max_denominator=30))  # fmt: skip
def test_sine_of_an_interval_holds_its_tops(
    start: Fraction, width: Fraction, part: Fraction
) -> None:
    """Every sine and cosine inside is enclosed, tops and bottoms are exact."""
    interval = Interval(start, start + width)
    angle = start + width * part
    for function, top in ((angles.sin, 90), (angles.cos, 0)):
        found, point = function(interval), function(angle)
        assert lower(found) <= upper(point) and lower(point) <= upper(found)
        turns = math.floor((interval.upper - top) / 360) * 360 + top
        assert (upper(found) == 1) == (turns >= interval.lower)


def test_sine_over_eighty_to_a_hundred() -> None:
    """The top at 90 degrees is reached, the bottom is the sine of either end."""
    found = angles.sin(between(80, 100))
    assert upper(found) == 1
    assert lower(found) == lower(angles.sin(Fraction(80)))
    assert angles.sin(between(0, 360)) == angles.cos(between(5, 400)) == between(-1, 1)


def test_tangent_refuses_its_poles() -> None:
    """A right angle, alone, at an end or inside."""
    for angle in (Fraction(90), Fraction(-90), Fraction(450), between(80, 100), between(90, 91)):
        with pytest.raises(DomainError, match="right angle"):
            angles.tan(angle)
    found = angles.tan(between(-45, 45))
    assert found == between(-1, 1)


def test_inverse_sines_beyond_one_are_refused() -> None:
    """Beyond 1, and an interval that reaches beyond by more than a rounding."""
    for value in (Fraction(11, 10), between(Fraction(1, 2), 2), between(2, 3), Fraction(-2)):
        for function in (angles.asin, angles.acos):
            with pytest.raises(DomainError):
                function(value)
    tiny = Fraction(1, 2**100)
    assert upper(angles.asin(between(1 - tiny, 1 + tiny))) == 90
    assert angles.asin(between(-1, 1)) == between(-90, 90)
    assert angles.acos(between(-1, 1)) == between(0, 180)


# C of 'pitch circle chordal distance calculation', a coupling maker's sheet (copy, second-hand):
# T = D × C for 3 holes to 30, to five figures
CHORDS = """0.86603 0.70711 0.58779 0.50000 0.43388 0.38268 0.34202 0.30902 0.28173 0.25882 0.23932
0.22252 0.20791 0.19509 0.18375 0.17365 0.16459 0.15643 0.14904 0.14231 0.13617 0.13053 0.12533
0.12054 0.11609 0.11196 0.10812 0.10453"""


@pytest.mark.parametrize(("holes", "constant"), list(enumerate(CHORDS.split(), start=3)))
def test_chordal_distances(holes: int, constant: str) -> None:
    """The chord between neighbouring holes of a pitch circle of 1 is the sine of half the step."""
    found = angles.sin(Fraction(180, holes))
    middle = (lower(found) + upper(found)) / 2
    assert abs(middle - Fraction(constant)) <= Fraction(1, 200_000)


def test_sine_bar_setting() -> None:
    """A 5 in sine bar at 34° 25' stands on 2.826 in."""
    # Handbook of Machining and Metalworking Calculations, chapter 4, sine bar procedures (copy)
    found = 5 * angles.sin(34 + Fraction(25, 60))
    assert abs(lower(found) - Fraction("2.826")) <= Fraction(1, 2000)
