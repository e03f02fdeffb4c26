"""Sine, cosine, tangent and their inverses, in degrees, exact or certified.

Angles are exact in degrees, so the turn, the quadrant and the places where a sine has its top, or
a tangent its pole, are found exactly. By Niven's theorem the only rational sines of rational
degrees are 0, ±1/2 and ±1, and the only rational tangents 0 and ±1: these come out exact. All else
is summed from the power series in whole numbers with a counted error, and rounded outward.

References: the series and Machin's formula for π, as in Abramowitz and Stegun, Handbook of
Mathematical Functions, 4.3.65, 4.3.66, 4.4.42 (numbers from memory); Niven, Irrational Numbers,
1956, corollary 3.12 (from memory). The tests compare with mpmath, which this module does not use.
"""

from __future__ import annotations

import math
from fractions import Fraction
from functools import lru_cache

from scaler.expressions.intervals import (
    BITS,
    EDGE,
    ONE,
    ZERO,
    DomainError,
    Interval,
    Value,
    as_interval,
    hull,
    lower,
    root,
    settled,
    upper,
)

_HALF = Fraction(1, 2)
_INVERSE_SINES = {ZERO: 0, _HALF: 30, ONE: 90, -_HALF: -30, -ONE: -90}


def _inverse_tangent_of_unit(number: int, bits: int) -> tuple[int, int]:
    """atan(1/number) × 2^bits in whole numbers, and a bound of the error.

    Each term is cut off by less than 1.5 units; the terms alternate and fall, so what is left out
    is less than the first term left out, which is below 1 unit.
    """
    term = (1 << bits) // number
    total, square, count = term, number * number, 1
    while term:
        term //= square
        total += -(term // (2 * count + 1)) if count % 2 else term // (2 * count + 1)
        count += 1
    return total, 2 * count + 2


@lru_cache(maxsize=64)
def pi(bits: int = BITS) -> Interval:
    """π, certified to ``bits`` binary digits, by Machin's formula 16 atan 1/5 − 4 atan 1/239."""
    guard = 16 + bits.bit_length()
    fifth, fifth_error = _inverse_tangent_of_unit(5, bits + guard)
    other, other_error = _inverse_tangent_of_unit(239, bits + guard)
    total, error = 16 * fifth - 4 * other, 16 * fifth_error + 4 * other_error
    return Interval(
        Fraction((total - error) >> guard, 1 << bits),
        Fraction(((total + error) >> guard) + 1, 1 << bits),
    )


@lru_cache(maxsize=64)
def degree(bits: int = BITS) -> Interval:
    """One degree in radians, π ÷ 180, certified."""
    return (pi(bits + 8) / 180).rounded(bits + 8)


def _series(angle: Fraction, bits: int, cosine: bool) -> Interval:
    """Sine or cosine of an angle above 0 and up to 45 [degrees], certified to ``bits`` digits.

    With u = 2^-work: the angle in radians is taken to within 1.5 u and its square to within 3 u; as
    it is below 0.79 each term of either series is then within 3 u, and the terms alternate and
    fall, so that the sum is within 3 u a term and 8 u for what is left out.
    """
    small = max(0, angle.denominator.bit_length() - angle.numerator.bit_length() + 8)
    work = (bits + 32 + (0 if cosine else small) + 63) // 64 * 64
    half_turn = pi(work + 8).lower
    x = (angle.numerator * half_turn.numerator << work) // (
        180 * angle.denominator * half_turn.denominator
    )
    square = x * x >> work
    term = 1 << work if cosine else x
    total, count, step = 0, 0, 1 if cosine else 2
    while term:
        total += -term if count % 2 else term
        term = (term * square >> work) // (step * (step + 1))
        count, step = count + 1, step + 2
    error = 3 * count + 8
    return Interval(Fraction(total - error, 1 << work), Fraction(total + error, 1 << work))


def _exact_sine(angle: Fraction, bits: int) -> Value:
    """Sine of an exact angle [degrees]."""
    turned = angle % 360
    negative = turned >= 180
    if negative:
        turned -= 180
    if turned > 90:
        turned = 180 - turned
    found: Value
    if turned == 0:
        return ZERO
    if turned == 30:
        found = _HALF
    elif turned == 90:
        found = ONE
    elif turned > 45:
        found = _series(90 - turned, bits, cosine=True)
    else:
        found = _series(turned, bits, cosine=False)
    return -found if negative else found


def _holds(angle: Interval, first: int, step: int) -> bool:
    """Whether first + a whole number of steps lies in the interval [degrees]."""
    return first + math.ceil((angle.lower - first) / step) * step <= angle.upper


def sin(angle: Value, bits: int = BITS) -> Value:
    """Sine of an angle [degrees], with its tops and bottoms inside an interval.

    >>> sin(Fraction(210)), sin(Interval(80, 100)).upper
    (Fraction(-1, 2), Fraction(1, 1))
    """
    if not isinstance(angle, Interval):
        return _exact_sine(angle, bits)
    if angle.width >= 360:
        return Interval(-ONE, ONE)
    found = hull(_exact_sine(angle.lower, bits), _exact_sine(angle.upper, bits))
    top = ONE if _holds(angle, 90, 360) else min(found.upper, ONE)
    bottom = -ONE if _holds(angle, 270, 360) else max(found.lower, -ONE)
    return settled(Interval(bottom, top))


def cos(angle: Value, bits: int = BITS) -> Value:
    """Cosine of an angle [degrees]: the sine of the angle and 90 more."""
    return sin(angle + 90, bits)


def tan(angle: Value, bits: int = BITS) -> Value:
    """Tangent of an angle [degrees]. Raises DomainError at 90, 270 … or an interval holding one.

    >>> tan(Fraction(-45))
    Fraction(-1, 1)
    """
    if isinstance(angle, Interval):
        if _holds(angle, 90, 180):
            raise DomainError("tangent of a right angle")
        return settled(Interval(lower(tan(angle.lower, bits)), upper(tan(angle.upper, bits))))
    turned = angle % 180
    if turned == 90:
        raise DomainError("tangent of a right angle")
    if turned in (0, 45, 135):
        return {0: ZERO, 45: ONE, 135: -ONE}[int(turned)]
    sine, cosine = _exact_sine(angle, bits + 4), _exact_sine(angle + 90, bits + 4)
    return as_interval(sine / cosine).rounded(bits + 4)


def _small_inverse_tangent(x: Value, bits: int) -> Interval:
    """atan x [radians] for |x| below 2^-20, in whole numbers of 2^-work.

    The slope of atan is 1 at most, so half the width of x carries over as it is; each term is cut
    off by less than 2 units, and the terms alternate and fall to less than one unit.
    """
    low, high = lower(x), upper(x)
    size = max(abs(low), abs(high))
    work = bits + max(0, size.denominator.bit_length() - size.numerator.bit_length())
    first = (low.numerator << work) // low.denominator
    last = -((-high.numerator << work) // high.denominator)
    middle = (first + last) // 2
    square, term, total, count = middle * middle >> work, middle, middle, 1
    while term not in (0, -1):
        term = term * square >> work
        part = term // (2 * count + 1)
        total += -part if count % 2 else part
        count += 1
    error = max(last - middle, middle - first) + 2 * count + 2
    return Interval(Fraction(total - error, 1 << work), Fraction(total + error, 1 << work))


def _inverse_tangent(x: Value, bits: int) -> Value:
    """atan of an exact number, or of a narrow enclosure above zero [degrees].

    A first guess g in floating point is only a guess: atan x = g + atan((x cos g − sin g) ÷
    (cos g + x sin g)), which holds for every g, puts it right with a certified rest.
    """
    if upper(x) < 0:
        return -_inverse_tangent(-x, bits)
    if isinstance(x, Fraction) and x in (0, 1):
        return 45 * x
    if lower(x) > 1:
        return 90 - _inverse_tangent(1 / x, bits)
    work = bits + 16
    if upper(x) < Fraction(1, 2**20):
        return (_small_inverse_tangent(x, work) / degree(work)).rounded(work)
    guess = Fraction(math.degrees(math.atan(lower(x))))
    sine, cosine = _exact_sine(guess, work), _exact_sine(guess + 90, work)
    rest = _small_inverse_tangent((x * cosine - sine) / (cosine + x * sine), work)
    return (rest / degree(work) + guess).rounded(work)


def atan(x: Value, bits: int = BITS) -> Value:
    """The angle from −90 to 90 [degrees] whose tangent is x.

    >>> atan(Fraction(1))
    Fraction(45, 1)
    """
    if isinstance(x, Interval):
        first, second = _inverse_tangent(x.lower, bits), _inverse_tangent(x.upper, bits)
        return settled(Interval(lower(first), upper(second)))
    return _inverse_tangent(x, bits)


def _cut_to_one(x: Value) -> Value:
    """x cut to −1 … 1 where it is an enclosure narrower than EDGE; DomainError where it is not."""
    if isinstance(x, Interval):
        if (x.lower >= -1 and x.upper <= 1) or (x.width < EDGE and x.lower <= 1 and x.upper >= -1):
            return Interval(max(x.lower, -ONE), min(x.upper, ONE))
    elif -1 <= x <= 1:
        return x
    raise DomainError("angle of a sine or cosine beyond 1")


def _inverse_sine(x: Fraction, bits: int) -> Value:
    if x in _INVERSE_SINES:
        return Fraction(_INVERSE_SINES[x])
    other = root(1 - x * x, 2, bits + 16)
    if x * x <= _HALF:
        return _inverse_tangent(x / other, bits)
    angle = _inverse_tangent(other / abs(x), bits)
    return 90 - angle if x > 0 else angle - 90


def asin(x: Value, bits: int = BITS) -> Value:
    """The angle from −90 to 90 [degrees] whose sine is x. Raises DomainError beyond ±1.

    >>> asin(Fraction(-1, 2))
    Fraction(-30, 1)
    """
    x = _cut_to_one(x)
    if isinstance(x, Interval):
        first, second = _inverse_sine(x.lower, bits), _inverse_sine(x.upper, bits)
        return settled(Interval(lower(first), upper(second)))
    return _inverse_sine(x, bits)


def _inverse_cosine(x: Fraction, bits: int) -> Value:
    if x in _INVERSE_SINES:
        return Fraction(90 - _INVERSE_SINES[x])
    return 2 * _inverse_tangent(root((1 - x) / (1 + x), 2, bits + 16), bits)


def acos(x: Value, bits: int = BITS) -> Value:
    """The angle from 0 to 180 [degrees] whose cosine is x. Raises DomainError beyond ±1.

    >>> acos(Fraction(1, 2))
    Fraction(60, 1)
    """
    x = _cut_to_one(x)
    if isinstance(x, Interval):
        first, second = _inverse_cosine(x.upper, bits), _inverse_cosine(x.lower, bits)
        return settled(Interval(lower(first), upper(second)))
    return _inverse_cosine(x, bits)
