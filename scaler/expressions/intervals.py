"""Certified intervals: two exact ends between which a value is known to lie.

A value that is known exactly is a :class:`fractions.Fraction`; one that cannot be (a root, a sine)
is an :class:`Interval` of two fractions, rounded outward. Sums, differences, products, quotients
and whole powers of intervals are exact; roots come from whole-number roots (``math.isqrt``, Newton
for the others). Sine, cosine, tangent and their inverses are in :mod:`scaler.expressions.interval_angles`.

Nothing here goes through floating point, so no result hangs on how a machine or a library rounds.

References: interval arithmetic as in IEEE Std 1788-2015 (from memory), the common intervals only:
bounded, not empty. Division by an interval that holds zero is refused, not extended.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

BITS = 192
"""Working precision of rounded ends, in binary digits: 2^-192 is about 1.6 × 10^-58."""

EDGE = Fraction(1, 2**64)
"""An enclosure narrower than this that straddles the edge of a function's domain is cut there."""

ZERO, ONE = Fraction(0), Fraction(1)


class DomainError(ArithmeticError):
    """A function was asked for outside the values it is defined for."""


@dataclass(frozen=True, slots=True)
class Interval:
    """All numbers from ``lower`` to ``upper``, both included, both exact.

    Raises TypeError where an end is not an int or a Fraction, ValueError where they are the wrong
    way round.

    >>> Interval(1, 2) - Interval(0, Fraction(1, 2))
    Interval(lower=Fraction(1, 2), upper=Fraction(2, 1))
    """

    lower: Fraction
    upper: Fraction

    def __post_init__(self) -> None:
        for name in ("lower", "upper"):
            end = getattr(self, name)
            if type(end) is not Fraction:
                if not isinstance(end, (int, Fraction)):
                    raise TypeError(f"an interval needs exact ends, not {end!r}")
                object.__setattr__(self, name, Fraction(end))
        if self.lower > self.upper:
            raise ValueError(f"the lower end {self.lower} is above the upper end {self.upper}")

    @property
    def width(self) -> Fraction:
        """Upper less lower."""
        return self.upper - self.lower

    @property
    def midpoint(self) -> Fraction:
        """Half way between the ends."""
        return (self.lower + self.upper) / 2

    @property
    def magnitude(self) -> Fraction:
        """The greatest absolute value in the interval."""
        return max(abs(self.lower), abs(self.upper))

    def contains(self, other: Value | int) -> bool:
        """True where the number, or every number of the other interval, lies in this one."""
        if isinstance(other, Interval):
            return self.lower <= other.lower and other.upper <= self.upper
        return self.lower <= other <= self.upper

    def intersection(self, other: Interval) -> Interval:
        """What both have in common. Raises ValueError where that is nothing."""
        return Interval(max(self.lower, other.lower), min(self.upper, other.upper))

    def hull(self, other: Value) -> Interval:
        """The smallest interval that holds both."""
        return Interval(min(self.lower, lower(other)), max(self.upper, upper(other)))

    def rounded(self, bits: int = BITS) -> Interval:
        """The ends rounded outward to ``bits`` binary digits, where they are longer than that."""
        return Interval(_round_down(self.lower, bits), -_round_down(-self.upper, bits))

    def __neg__(self) -> Interval:
        return Interval(-self.upper, -self.lower)

    def __pos__(self) -> Interval:
        return self

    def __abs__(self) -> Interval:
        return Interval(max(self.lower, -self.upper, ZERO), self.magnitude)

    def __add__(self, other: Value | int) -> Interval:
        if isinstance(other, Interval):
            return Interval(self.lower + other.lower, self.upper + other.upper)
        if isinstance(other, (Fraction, int)):
            return Interval(self.lower + other, self.upper + other)
        return NotImplemented

    __radd__ = __add__

    def __sub__(self, other: Value | int) -> Interval:
        if isinstance(other, Interval):
            return Interval(self.lower - other.upper, self.upper - other.lower)
        if isinstance(other, (Fraction, int)):
            return Interval(self.lower - other, self.upper - other)
        return NotImplemented

    def __rsub__(self, other: Fraction | int) -> Interval:
        return -self + other

    def __mul__(self, other: Value | int) -> Interval:
        if isinstance(other, Interval):
            if self.lower >= 0 and other.lower >= 0:
                return Interval(self.lower * other.lower, self.upper * other.upper)
            ends = [a * b for a in (self.lower, self.upper) for b in (other.lower, other.upper)]
            return Interval(min(ends), max(ends))
        if isinstance(other, (Fraction, int)):
            first, second = self.lower * other, self.upper * other
            return Interval(min(first, second), max(first, second))
        return NotImplemented

    __rmul__ = __mul__

    def inverse(self) -> Interval:
        """1 ÷ self. Raises ZeroDivisionError where the interval holds zero."""
        if self.lower <= 0 <= self.upper:
            raise ZeroDivisionError(f"division by an interval that holds zero: {self}")
        return Interval(1 / self.upper, 1 / self.lower)

    def __truediv__(self, other: Value | int) -> Interval:
        if isinstance(other, Interval):
            return self * other.inverse()
        if isinstance(other, (Fraction, int)):
            return self * (ONE / other)
        return NotImplemented

    def __rtruediv__(self, other: Fraction | int) -> Interval:
        return self.inverse() * other

    def __pow__(self, exponent: int) -> Interval:
        """A whole power, exact. An even power of an interval that holds zero starts at zero."""
        if not isinstance(exponent, int):
            return NotImplemented
        if exponent < 0:
            return self.inverse() ** -exponent
        if exponent == 0:
            return Interval(ONE, ONE)
        base = abs(self) if exponent % 2 == 0 else self
        return Interval(base.lower**exponent, base.upper**exponent)


Value = Fraction | Interval
"""A number as it is known: exactly, or between two ends."""


def lower(value: Value) -> Fraction:
    """The lower end of an interval; an exact value itself."""
    return value.lower if isinstance(value, Interval) else value


def upper(value: Value) -> Fraction:
    """The upper end of an interval; an exact value itself."""
    return value.upper if isinstance(value, Interval) else value


def as_interval(value: Value | int) -> Interval:
    """The value as an interval, an exact one as an interval of no width."""
    return value if isinstance(value, Interval) else Interval(Fraction(value), Fraction(value))


def settled(value: Value) -> Value:
    """An interval of no width as the exact number it is; anything else as it came."""
    if isinstance(value, Interval) and value.lower == value.upper:
        return value.lower
    return value


def hull(*values: Value) -> Interval:
    """The smallest interval that holds all the values given (at least one)."""
    return Interval(min(map(lower, values)), max(map(upper, values)))


def at_most(left: Value, right: Value) -> bool | None:
    """Whether left <= right: True or False where that is certain, None where it cannot be told.

    >>> at_most(Fraction(1), Interval(1, 2)), at_most(Fraction(3), Interval(2, 4)) is None
    (True, True)
    """
    if upper(left) <= lower(right):
        return True
    if lower(left) > upper(right):
        return False
    return None


def absolute(value: Value) -> Value:
    """The value without its sign."""
    return settled(abs(value)) if isinstance(value, Interval) else abs(value)


def least(values: Sequence[Value]) -> Value:
    """The least of the values, exact where it can be."""
    return settled(Interval(min(map(lower, values)), min(map(upper, values))))


def greatest(values: Sequence[Value]) -> Value:
    """The greatest of the values, exact where it can be."""
    return settled(Interval(max(map(lower, values)), max(map(upper, values))))


def _round_down(value: Fraction, bits: int) -> Fraction:
    """The greatest number of ``bits`` binary digits that is not above the value."""
    numerator, denominator = value.numerator, value.denominator
    if numerator.bit_length() <= 2 * bits and denominator.bit_length() <= 2 * bits:
        return value
    shift = bits - numerator.bit_length() + denominator.bit_length()
    return _units(value, shift) * Fraction(2) ** -shift


def _units(value: Fraction, shift: int) -> int:
    """How many whole 2^-shift there are in a value: value × 2^shift, rounded down."""
    if shift >= 0:
        return (value.numerator << shift) // value.denominator
    return value.numerator // (value.denominator << -shift)


def whole_root(number: int, degree: int) -> int:
    """The greatest whole number whose power ``degree`` is not above ``number`` (>= 0).

    Newton's method on whole numbers from above, which falls until it is there. Raises ValueError for
    a number below 0 or a degree below 1.

    >>> whole_root(26, 3), whole_root(27, 3)
    (2, 3)
    """
    if number < 0 or degree < 1:
        raise ValueError("a whole root needs a number >= 0 and a degree >= 1")
    if degree == 1 or number < 2:
        return number
    if degree == 2:
        return math.isqrt(number)
    guess = 1 << -(-number.bit_length() // degree)
    while True:
        better = ((degree - 1) * guess + number // guess ** (degree - 1)) // degree
        if better >= guess:
            return guess
        guess = better


def root(value: Value, degree: int = 2, bits: int = BITS) -> Value:
    """The root of a value >= 0: exact where it is rational, else certified to ``bits`` digits.

    Parameters: value : number or interval; degree : int >= 1, 2 for the square root
    Raises: DomainError for a negative value (an enclosure narrower than :data:`EDGE` that straddles
        zero is cut off at zero)

    >>> root(Fraction(9, 16))
    Fraction(3, 4)
    >>> root(Fraction(2)).contains(Fraction("1.41421356237309504880168872420969807857"))
    False
    """
    if isinstance(value, Interval):
        if value.upper < 0 or (value.lower < 0 and value.width >= EDGE):
            raise DomainError("root of a negative number")
        first = root(max(value.lower, ZERO), degree, bits)
        second = root(value.upper, degree, bits)
        return settled(Interval(lower(first), upper(second)))
    if value < 0:
        raise DomainError("root of a negative number")
    numerator, denominator = value.numerator, value.denominator
    above, below = whole_root(numerator, degree), whole_root(denominator, degree)
    if above**degree == numerator and below**degree == denominator:
        return Fraction(above, below)
    # the root of a whole number of at least degree × bits binary digits
    shift = bits + 1 - (numerator.bit_length() - denominator.bit_length()) // degree
    found, unit = whole_root(_units(value, degree * shift), degree), Fraction(2) ** -shift
    return Interval(found * unit, (found + 1) * unit)


def power(value: Value, exponent: Fraction, bits: int = BITS) -> Value:
    """The value to a rational power, exact where it can be.

    Raises: DomainError for a negative value and an exponent that is not whole; ZeroDivisionError
        for zero, or an interval that holds it, and a negative exponent.

    >>> power(Fraction(27, 8), Fraction(-2, 3))
    Fraction(4, 9)
    """
    top, degree = exponent.numerator, exponent.denominator
    if degree != 1:
        value = root(value, degree, bits + abs(top).bit_length())
    if isinstance(value, Interval):
        return settled((value**top).rounded(bits + 8))
    return value**top
