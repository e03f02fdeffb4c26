"""A last cut to a statement that is not linear: a slide in a slope, a rod in a triangle.

The size cut last, x, is solved for from the readings so that the statement comes to what was
planned (shifted as little as keeps it inside its window). Where x then lies, whatever the others
are, is proved by the interval Newton operator; the slopes over all that carry the tolerance of the
cut and the uncertainty of the readings to the statement.

References: interval Newton operator as in Moore, Kearfott and Cloud, Introduction to Interval
Analysis, SIAM 2009, chapter 8 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.checking.last_cut import NoRange, Range
from scaler.checking.statements import Statement
from scaler.expressions import EvaluationError, Node, enclose, gradient
from scaler.expressions.intervals import Interval, as_interval
from scaler.records import Bounds
from scaler.settling.limits import uncertainty
from scaler.settling.solve import Value, middle

if TYPE_CHECKING:
    from scaler.checking.check import Aim
    from scaler.checking.last_cut import Cuts

ZERO = Fraction(0)
FINENESS = 10**9
"""What is found is kept to this part of a millimetre, to the safe side."""
_ROUNDS = 24


@dataclass(frozen=True, slots=True)
class _Cut:
    """Where x may lie when the statement is cut to a value, and how far it then comes off it."""

    x: Interval
    spread: Fraction
    target: Fraction


class _Problem:
    """One statement with its last cut: the boxes of the other sizes, true and as read."""

    def __init__(self, cuts: Cuts, statement: Statement, last: str, copy: str) -> None:
        checker = cuts.checker
        self.last, self.ratio = last, checker.model.ratio
        at = {**cuts.met(last, copy), **statement.at}
        self.node: Node = checker.inlined(statement.node)
        self.basic: dict[str, Value] = {}
        self.read: dict[str, Interval] = {}
        self.true: dict[str, Interval] = {}
        self.worth: dict[str, Fraction] = {}
        for name in checker.sizes_of(statement.node):
            value = middle(checker.values[name])
            self.basic[name] = value
            if name == last:
                continue
            identity, _, own = name.partition("@")
            reading = checker.readings.get((identity, own))
            size = checker.model.sizes[identity]
            worth = uncertainty(size, reading.instrument if reading else "")[1]
            low, high = cuts.range_of(name, cuts.of_copy(name, at))
            self.worth[name] = worth
            self.true[name] = Interval(value + low, value + high)
            made = checker.is_made(name)
            self.read[name] = (
                Interval(value, value)
                if made
                else Interval(value + low - worth, value + high + worth)
            )
        self.tolerance = cuts.tolerance(last, copy)[0]

    def slopes(self, x: Interval) -> Mapping[str, Value | None]:
        boxes: dict[str, Value] = {n: self.true[n].hull(self.read[n]) for n in self.true}
        return gradient(self.node, {**boxes, self.last: x}, self.ratio)[1]

    def cut_to(self, value: Fraction) -> _Cut:
        """Raises NoRange, EvaluationError."""
        start = middle(self.basic[self.last])
        point = Interval(start, start)
        off = enclose(self.node, {**self.read, self.last: point}, self.ratio) - value
        half = self.tolerance / 2
        x = Interval(start - half, start + half)
        for _ in range(_ROUNDS):
            slope = self.slopes(Interval(x.lower - half, x.upper + half))
            steep = slope.get(self.last)
            if steep is None or as_interval(steep).contains(0):
                raise NoRange(f"{self.last} hardly moves the statement at these sizes")
            step = off / as_interval(steep)
            new = Interval(start - step.upper, start - step.lower).rounded()
            if x.contains(new):
                spread = as_interval(steep).magnitude * half
                for name, worth in self.worth.items():
                    side = slope.get(name, ZERO)
                    if side is None:
                        raise NoRange(f"{name} moves the statement without bound")
                    spread += as_interval(side).magnitude * worth
                spread = Fraction(-(-spread * FINENESS // 1), FINENESS)  # rounded up
                return _Cut(
                    Interval(new.lower - half, new.upper + half), spread, self.target(value)
                )
            wider = x.hull(new)
            margin = wider.width / 8
            x = Interval(wider.lower - margin, wider.upper + margin).rounded(64)
        raise NoRange(f"where {self.last} comes to lie could not be bounded")

    def target(self, value: Fraction) -> Fraction:
        """The size that gives the value at basic sizes of the others, to a millionth."""
        x = middle(self.basic[self.last])
        for _ in range(8):
            at, slopes = gradient(self.node, {**self.basic, self.last: x}, self.ratio)
            slope = slopes.get(self.last)
            if slope is None or not middle(slope):
                break
            step = (middle(at) - value) / middle(slope)
            if abs(step) < Fraction(1, 10**9):
                break
            x = (x - step).limit_denominator(10**12)
        return x


def _solved(cuts: Cuts, statement: Statement, last: str, copy: str) -> tuple[_Cut, Fraction]:
    """The cut, and the value that it is made to: the planned one, or the nearest that is safe."""
    problem = _Problem(cuts, statement, last, copy)
    planned = middle(cuts.checker.basic_of(statement))
    lower, upper = statement.lower, statement.upper
    value = planned
    for _ in range(6):  # the spread hangs a little on the value
        cut = problem.cut_to(value)
        before = value
        if lower is not None and upper is not None and upper - lower < 2 * cut.spread:
            value = (lower + upper) / 2
        elif lower is not None and value < lower + cut.spread:
            value = lower + cut.spread
        elif upper is not None and value > upper - cut.spread:
            value = upper - cut.spread
        if value == before:
            break
    return cut, before


def nonlinear_cut(
    cuts: Cuts, statement: Statement, basic: Value, copy: str
) -> tuple[Bounds, Aim | None, str]:
    """Window found, aim and note of a statement that is not linear in the size cut last.

    Raises NoRange.
    """
    from scaler.checking.check import Aim

    last = cuts.last_of(statement)[0]
    identity = last.partition("@")[0]
    if len(cuts.statements(last, copy)) > 1:
        return (None, None), None, f"not promised: {last} serves more than this one statement"
    try:
        cut, value = _solved(cuts, statement, last, copy)
    except EvaluationError as error:
        return (None, None), None, f"not promised: {error}"
    by = cuts.tolerance(last, copy)[1]
    ends = (value - cut.spread, value + cut.spread)
    note = ""
    width = None
    if statement.lower is not None and statement.upper is not None:
        width = statement.upper - statement.lower
    if width is not None and width <= 2 * cut.spread:
        note = (
            f"not promised: the window is {float(width):.4f} wide, and the last cut ({by}) with the "
            f"readings needs more than {float(2 * cut.spread):.4f}"
        )
    if not note and cuts.checker.model.sizes[identity].limits is not None:
        limits, at = cuts.checker.limits(last), middle(cuts.checker.values[last])
        if cut.x.lower < at + limits.lower or cut.x.upper > at + limits.upper:
            note = f"not promised: the others may drive {last} out of its own limits"
    half = cuts.tolerance(last, copy)[0] / 2
    return ends, Aim(last, cut.target, half, by), note


def range_of_cut(cuts: Cuts, name: str, copy: str) -> Range:
    """How far a size cut last to a nonlinear statement may lie from its basic size. Raises NoRange."""
    served = cuts.statements(name, copy)
    if len(served) > 1:
        raise NoRange(f"{name} is cut last to several statements that are not all linear")
    try:
        cut, _ = _solved(cuts, served[0], name, copy)
    except EvaluationError as error:
        raise NoRange(str(error)) from None
    basic = middle(cuts.checker.values[name])
    return cut.x.lower - basic, cut.x.upper - basic
