"""Linear statements in whole numbers: exact, and many times faster than in fractions.

All sizes of a model, and their limits, are whole numbers of some small part of a millimetre: the
least that all their denominators divide. Sums of them are then sums of plain integers. What does
not fit (a root, limits finer than that part, a statement that is not linear, a size that is cut
last) is left to the general way of :mod:`scaler.checking.check`, which says the same of what does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from scaler.expressions import Linear
from scaler.expressions.intervals import Value

FINEST = 10**6
"""Parts of a millimetre that limits as written hardly ever go beyond."""
LONGEST = 1024
"""Binary digits of the common denominator beyond which nothing is gained."""


@dataclass(frozen=True, slots=True)
class WholeWindow:
    """A linear form at basic sizes and in the worst case of all limits, in ``unit`` parts a mm."""

    basic: int
    low: int
    high: int
    unit: int

    def mm(self, count: int) -> Fraction:
        """So many parts [mm]."""
        return Fraction(count, self.unit)

    def within(self, low: int, high: int, lower: Fraction | None, upper: Fraction | None) -> bool:
        """Whether what goes from low to high lies between two bounds [mm]."""
        return (lower is None or low * lower.denominator >= lower.numerator * self.unit) and (
            upper is None or high * upper.denominator <= upper.numerator * self.unit
        )


class WholeParts:
    """The sizes of a model as whole numbers of one small part of a millimetre.

    Attributes: ``parts``, how many of them a millimetre has; ``sizes``, each size that has an exact
    figure; ``ends``, the least and greatest of those whose limits have been asked for.
    """

    def __init__(self, values: Mapping[str, Value]) -> None:
        exact = {name: v for name, v in values.items() if type(v) is Fraction}
        self.parts = lcm(FINEST, *{value.denominator for value in exact.values()})
        if self.parts.bit_length() > LONGEST:
            exact = {}
        parts = self.parts
        self.sizes = {
            name: value.numerator * (parts // value.denominator) for name, value in exact.items()
        }
        self.ends: dict[str, tuple[int, int]] = {}

    def limit(self, name: str, lower: Fraction, upper: Fraction) -> bool:
        """Notes how far a size may lie from its basic size; False where that is no whole number."""
        if self.parts % lower.denominator or self.parts % upper.denominator:
            return False
        size = self.sizes[name]
        self.ends[name] = (
            size + lower.numerator * (self.parts // lower.denominator),
            size + upper.numerator * (self.parts // upper.denominator),
        )
        return True

    def at_basic(self, form: Linear) -> WholeWindow | None:
        """A form at basic sizes; None where it does not come to whole numbers."""
        unit = self._unit(form)
        if unit is None:
            return None
        constant, sizes = form.constant, self.sizes
        total = constant.numerator * (unit * self.parts // constant.denominator)
        for name, factor in form.coefficients.items():
            if name not in sizes:
                return None
            total += factor.numerator * (unit // factor.denominator) * sizes[name]
        return WholeWindow(total, total, total, unit * self.parts)

    def within_limits(self, form: Linear) -> WholeWindow | None:
        """A form at basic sizes and with every size anywhere in the limits noted before; None where
        one of them is not known, or it does not come to whole numbers."""
        unit = self._unit(form)
        if unit is None:
            return None
        constant, sizes, ends = form.constant, self.sizes, self.ends
        basic = low = high = constant.numerator * (unit * self.parts // constant.denominator)
        for name, factor in form.coefficients.items():
            span = ends.get(name)
            if span is None:
                return None
            times = factor.numerator * (unit // factor.denominator)
            basic += times * sizes[name]
            if times > 0:
                low, high = low + times * span[0], high + times * span[1]
            else:
                low, high = low + times * span[1], high + times * span[0]
        return WholeWindow(basic, low, high, unit * self.parts)

    def _unit(self, form: Linear) -> int | None:
        """The common denominator of a form's factors; None where its constant has another one."""
        unit = 1
        for factor in form.coefficients.values():
            if factor.denominator != 1:
                unit = lcm(unit, factor.denominator)
        return unit if (unit * self.parts) % form.constant.denominator == 0 else None
