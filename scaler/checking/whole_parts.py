"""Sums of sizes in whole numbers: exact, and many times faster than in fractions.

All sizes of a model are whole numbers of some small part of a millimetre: the largest that goes
into each of them. Sums of them are then sums of plain integers. A sum may bring a denominator of
its own (half a size, limits finer than that part); the part is then cut up further for that sum.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from math import gcd, lcm

from scaler.expressions.intervals import Value
from scaler.expressions.values import MINUS_ONE, ONE

USUAL = 10**6
"""Parts of a millimetre that limits as written hardly ever go beyond."""
LONGEST = 1024
"""Binary digits of the common denominator beyond which nothing is gained."""


class WholeParts:
    """The exact sizes of a model as whole numbers of one small part of a millimetre.

    Attributes: ``parts``, how many of them a millimetre has; ``sizes``, each size that has an exact
    figure; ``ends``, the least and greatest of those whose limits have been noted.
    """

    def __init__(self, values: Mapping[str, Value]) -> None:
        exact = {name: v for name, v in values.items() if type(v) is Fraction}
        self.parts = lcm(USUAL, *{value.denominator for value in exact.values()})
        if self.parts.bit_length() > LONGEST:
            exact = {}
        parts = self.parts
        self.sizes = {
            name: value.numerator * (parts // value.denominator) for name, value in exact.items()
        }
        self.ends: dict[str, tuple[int, int]] = {}

    def note(self, name: str, lower: Fraction, upper: Fraction) -> bool:
        """Notes a size's deviations; False where they are no whole numbers of parts."""
        if self.parts % lower.denominator or self.parts % upper.denominator:
            return False
        size = self.sizes[name]
        self.ends[name] = (
            size + lower.numerator * (self.parts // lower.denominator),
            size + upper.numerator * (self.parts // upper.denominator),
        )
        return True

    def basic(self, constant: Fraction, factors: Mapping[str, Fraction]) -> tuple[int, int]:
        """constant + Σ factor·size at basic sizes: how many parts, and how many of those make a
        millimetre. Raises KeyError for a size without an exact figure."""
        cut = self._cut(factors, constant)
        unit, sizes = cut * self.parts, self.sizes
        total = constant.numerator * (unit // constant.denominator)
        for name, factor in factors.items():
            if factor is ONE:
                total += cut * sizes[name]
            elif factor is MINUS_ONE:
                total -= cut * sizes[name]
            else:
                total += factor.numerator * (cut // factor.denominator) * sizes[name]
        return total, unit

    def worst(
        self, low: Fraction, high: Fraction, factors: Mapping[str, Fraction]
    ) -> tuple[int, int, int]:
        """The least of low + Σ factor·size and the greatest of high + Σ factor·size, every size
        anywhere in the limits noted, in parts, and how many of those make a millimetre.

        Raises KeyError for a size whose limits were not noted.
        """
        cut = self._cut(factors, low, high)
        unit, ends = cut * self.parts, self.ends
        least = low.numerator * (unit // low.denominator)
        most = least if high is low else high.numerator * (unit // high.denominator)
        for name, factor in factors.items():
            down, up = ends[name]
            if factor is ONE or factor is MINUS_ONE:
                times = cut if factor is ONE else -cut
            else:
                times = factor.numerator * (cut // factor.denominator)
            if times > 0:
                least, most = least + times * down, most + times * up
            else:
                least, most = least + times * up, most + times * down
        return least, most, unit

    def _cut(self, factors: Mapping[str, Fraction], *constants: Fraction) -> int:
        """Into how many a part is cut up, so that a sum comes out whole."""
        cut = 1
        for factor in factors.values():
            if factor is not ONE and factor is not MINUS_ONE and factor.denominator != 1:
                cut = lcm(cut, factor.denominator)
        for constant in constants:
            below = constant.denominator
            if below != 1 and (cut * self.parts) % below:
                cut = lcm(cut, below // gcd(below, self.parts))
        return cut


def lies_within(
    least: int, most: int, unit: int, lower: Fraction | None, upper: Fraction | None
) -> bool:
    """Whether all from the least to the most, in parts, lies between two bounds [mm].

    >>> lies_within(3, 5, 10, Fraction(3, 10), Fraction(2, 5))
    False
    """
    return (lower is None or least * lower.denominator >= lower.numerator * unit) and (
        upper is None or most * upper.denominator <= upper.numerator * unit
    )
