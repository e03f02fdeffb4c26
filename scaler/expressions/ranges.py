"""Between which ends an expression stays while its names vary, and how much each name moves it.

The derivatives are worked forward through the tree together with the values, in exact numbers or
intervals (the chain rule, no differences); :func:`~scaler.expressions.bridges.derivatives` gives the
same derivatives as sympy formulas.

References: natural extension, mean value form and the monotonicity test as in Moore, Kearfott and
Cloud, Introduction to Interval Analysis, SIAM 2009, chapters 5, 6 and 11 (from memory).
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping
from fractions import Fraction
from typing import assert_never

from scaler.expressions import interval_angles as angles
from scaler.expressions.intervals import (
    BITS,
    ONE,
    ZERO,
    DomainError,
    Interval,
    Value,
    as_interval,
    hull,
    lower,
    power,
    root,
    upper,
)
from scaler.expressions.nodes import (
    Add,
    Angle,
    Div,
    EvaluationError,
    FullLength,
    Function,
    Length,
    Mul,
    Name,
    Neg,
    Node,
    Number,
    Pi,
    Power,
    names,
)
from scaler.expressions.values import called, evaluate, fail, linear, raised, reason, tidy, value_at

Slopes = dict[str, Value | None]
"""The derivative by each name; None where it has no bound. A name that is not there has none."""

MOST_BOXES = 256
CLOSE_ENOUGH = Fraction(1, 10**9)


def _plus(left: Value | None, right: Value | None) -> Value | None:
    return None if left is None or right is None else left + right


def _times(slopes: Slopes, factor: Value | None) -> Slopes:
    """All slopes times a factor, None being a factor without a bound."""
    if factor is None:
        return dict.fromkeys(slopes, None)
    return {n: None if s is None else _short(s * factor) for n, s in slopes.items()}


def _short(value: Value) -> Value:
    """The value, rounded outward if it is an interval grown long."""
    return value.rounded() if isinstance(value, Interval) else value


def _sum(all_slopes: list[Slopes]) -> Slopes:
    total: Slopes = {}
    for slopes in all_slopes:
        for name, slope in slopes.items():
            total[name] = _plus(total[name], slope) if name in total else slope
    return total


class _Forward:
    """Values and slopes, for one set of boxes."""

    __slots__ = ("boxes", "ratio")

    def __init__(self, boxes: Mapping[str, Value], ratio: Fraction) -> None:
        self.boxes, self.ratio = boxes, ratio

    def of(self, node: Node) -> tuple[Value, Slopes]:
        match node:
            case Name(name=name):
                if name not in self.boxes:
                    fail(node, "has no value", self.boxes)
                return self.boxes[name], {name: ONE}
            case Number() | Length() | Angle() | FullLength() | Pi():
                return value_at(node, self.boxes, self.ratio), {}
            case Neg(value=inner):
                value, slopes = self.of(inner)
                return -value, _times(slopes, -ONE)
            case Add(terms=terms):
                found = [self.of(term) for term in terms]
                total: Value = ZERO
                for value, _ in found:
                    total = total + value
                return tidy(total, node, self.boxes), _sum([slopes for _, slopes in found])
            case Mul(factors=factors):
                value, slopes = self.of(factors[0])
                for factor in factors[1:]:
                    other, other_slopes = self.of(factor)
                    slopes = _sum([_times(slopes, other), _times(other_slopes, value)])
                    value = tidy(value * other, node, self.boxes)
                return value, slopes
            case Div(numerator=numerator, denominator=denominator):
                return self.quotient(node, self.of(numerator), self.of(denominator))
            case Power(base=base, exponent=exponent):
                inner_value, slopes = self.of(base)
                value = raised(node, inner_value, self.boxes)
                return value, _times(slopes, _power_slope(inner_value, exponent)) if slopes else {}
            case Function(args=args):
                return self.function(node, [self.of(arg) for arg in args])
        assert_never(node)

    def quotient(
        self, node: Div, above: tuple[Value, Slopes], below: tuple[Value, Slopes]
    ) -> tuple[Value, Slopes]:
        try:
            value = tidy(above[0] / below[0], node, self.boxes)
            turned = _times(below[1], -value)
            return value, _times(_sum([above[1], turned]), ONE / below[0])
        except ZeroDivisionError as error:
            fail(node, reason(error), self.boxes)

    def function(self, node: Function, args: list[tuple[Value, Slopes]]) -> tuple[Value, Slopes]:
        value = called(node, [arg for arg, _ in args], self.boxes, BITS)
        if node.name in ("min", "max"):
            reached = [
                slopes
                for arg, slopes in args
                if (
                    lower(arg) <= upper(value) if node.name == "min" else upper(arg) >= lower(value)
                )
            ]
            known = {name: None for slopes in reached for name in slopes}
            return value, {name: _any_of([s.get(name, ZERO) for s in reached]) for name in known}
        argument, slopes = args[0]
        return value, _times(slopes, _slope(node.name, argument, value)) if slopes else {}


def _any_of(slopes: list[Value | None]) -> Value | None:
    found = [slope for slope in slopes if slope is not None]
    if len(found) < len(slopes):
        return None
    return found[0] if all(slope == found[0] for slope in found) else hull(*found)


def _power_slope(base: Value, exponent: Fraction) -> Value | None:
    """exponent × base^(exponent − 1); None where that has no bound."""
    try:
        return exponent if exponent == 1 else _short(exponent * power(base, exponent - 1))
    except ArithmeticError:
        return None


def _slope(name: str, argument: Value, value: Value) -> Value | None:
    """The derivative of a function of one value; None where it has no bound there."""
    try:
        match name:
            case "sqrt":
                return ONE / (2 * value)
            case "abs":
                if lower(argument) > 0:
                    return ONE
                return -ONE if upper(argument) < 0 else Interval(-ONE, ONE)
            case "sin":
                return angles.cos(argument) * angles.degree()
            case "cos":
                return -angles.sin(argument) * angles.degree()
            case "tan":
                return (1 + _square(value)) * angles.degree()
            case "atan":
                return ONE / ((1 + _square(argument)) * angles.degree())
        slope = ONE / (root(1 - _square(argument)) * angles.degree())
        return slope if name == "asin" else -slope
    except (ZeroDivisionError, DomainError):
        return None


def _square(value: Value) -> Value:
    return value**2 if isinstance(value, Interval) else value * value


def gradient(
    node: Node, boxes: Mapping[str, Value], ratio: Fraction
) -> tuple[Value, dict[str, Value | None]]:
    """The value of an expression over a box, and its derivative by each name that counts.

    Parameters: boxes : the value or interval of each name; ratio : the scale, model : full size
    Returns: the natural interval extension, and certified derivatives by name: exact, an interval,
        or None where there is no bound (a root at zero). At a corner of abs, min or max a
        derivative is the interval between those on either side. A name without effect may be left
        out.
    Raises: EvaluationError, as :func:`~scaler.expressions.values.evaluate`
    """
    return _Forward(boxes, ratio).of(node)


def sensitivities(node: Node, values: Mapping[str, Value], ratio: Fraction) -> dict[str, Value]:
    """How far the value moves for each unit that a name moves: d(value)/d(name), by name.

    Exact where the expression is made of exact steps, else certified intervals; for angles, per
    degree. Every name of the expression is there, in order of first appearance. At a corner of
    abs, min or max the interval between the derivatives on either side is given.

    Raises: EvaluationError, also where a sensitivity has no bound (a root at zero).

    >>> from scaler.expressions.parsing import parse_expression
    >>> sensitivities(parse_expression("a.x * b.y"), {"a.x": Fraction(2), "b.y": Fraction(5)},
    ...               Fraction(1))
    {'a.x': Fraction(5, 1), 'b.y': Fraction(2, 1)}
    """
    _, slopes = gradient(node, values, ratio)
    found: dict[str, Value] = {}
    for name in names(node):
        slope = slopes.get(name, ZERO)
        if slope is None:
            fail(node, f"changes without bound for the least change of {name}", values)
        found[name] = slope
    return found


_Box = dict[str, Interval]


def enclose(
    node: Node, boxes: Mapping[str, Interval], ratio: Fraction, most_boxes: int = MOST_BOXES
) -> Interval:
    """Two ends between which the expression certainly stays while its names vary over their boxes.

    Parameters
    ----------
    node : Node
    boxes : mapping of each name to the interval it varies in
    ratio : Fraction, the scale, model : full size
    most_boxes : int, how many smaller boxes may be looked at for each of the two ends

    Returns
    -------
    Interval. How tight it is: a linear expression exactly; where the derivatives show that each
    name moves the value one way only, exactly or to some 50 figures (the ends are values at
    corners); otherwise the box is cut up, and the ends lie beyond the true extremes by less than
    10^-9 of the first rough range, or, where ``most_boxes`` did not suffice, by however much is
    left. The true range is always inside.

    Raises
    ------
    EvaluationError
        The expression has no value somewhere in the box, or that could not be ruled out.

    Examples
    --------
    >>> from scaler.expressions.parsing import parse_expression
    >>> found = enclose(parse_expression("a.x * (10 - a.x)"), {"a.x": Interval(2, 6)}, Fraction(1))
    >>> found.lower, 25 <= found.upper < 25 + Fraction(1, 10**8)
    (Fraction(16, 1), True)
    """
    straight = linear(node, ratio)
    needed = names(node)
    for name in needed:
        if name not in boxes:
            fail(Name(name), "has no value", {})
    if straight is not None:
        total = as_interval(straight.constant)
        for name, coefficient in straight.coefficients.items():
            total = total + boxes[name] * coefficient
        return total
    box = {name: boxes[name] for name in needed}
    least = _Search(node, ratio, most_boxes).least(box)
    greatest = -_Search(Neg(node), ratio, most_boxes).least(box)
    return Interval(min(least, greatest), max(least, greatest))


class _Search:
    """A bound below everything an expression takes over a box, by cutting the box up."""

    __slots__ = ("error", "most_boxes", "node", "ratio", "sampled", "span")

    def __init__(self, node: Node, ratio: Fraction, most_boxes: int) -> None:
        self.node, self.ratio, self.most_boxes = node, ratio, most_boxes
        self.sampled: Fraction | None = None
        self.span = ZERO
        self.error: EvaluationError | None = None

    def least(self, box: _Box) -> Fraction:
        """A certified lower bound. Raises EvaluationError."""
        # Each entry: the bound (boxes without one first), a running number, the box, where to cut.
        first = self.bound(box)
        queue = [(first[0] is not None, first[0] or ZERO, 0, first[1], first[2])]
        counted = 1
        while True:
            bounded, low, _, box, cut = queue[0]
            if cut is None or counted + 2 > self.most_boxes:
                break
            if (
                bounded
                and self.sampled is not None
                and (self.sampled - low <= CLOSE_ENOUGH * self.span)
            ):
                break
            heapq.heappop(queue)
            for half in _halves(box, cut):
                counted += 1
                bound, rest, next_cut = self.bound(half)
                if bound is not None and bounded:
                    bound = max(bound, low)
                entry = (bound is not None, bound or ZERO, counted, rest, next_cut)
                heapq.heappush(queue, entry)
        bounded, low, *_ = queue[0]
        if not bounded and self.error is not None:
            raise self.error
        return low

    def bound(self, box: _Box) -> tuple[Fraction | None, _Box, str | None]:
        """A lower bound over a box or None, the part of it where the least lies, where to cut it.

        Names that move the value one way only are put at the end where it is least, as long as any
        are found; then the natural extension and the mean value form are both lower bounds.
        """
        while True:
            try:
                value, slopes = _Forward(box, self.ratio).of(self.node)
            except EvaluationError as error:
                self.error = self.error or error
                self.sample(box)
                return None, box, _widest(box, {})
            wide = [name for name, side in box.items() if side.lower < side.upper]
            settled = {name: _end(box[name], slopes.get(name, ZERO)) for name in wide}
            fixed = {n: Interval(end, end) for n, end in settled.items() if end is not None}
            if not fixed:
                break
            box = {**box, **fixed}
        if not wide:
            corner = evaluate(self.node, {n: side.lower for n, side in box.items()}, self.ratio)
            self.note(corner)
            return lower(corner), box, None
        if not self.span:
            self.span = as_interval(value).width
        middle = self.sample(box)
        low = lower(value)
        spread = ZERO
        for name in wide:
            slope = slopes[name]
            if slope is None:
                return low, box, _widest(box, slopes)
            spread += as_interval(slope).magnitude * box[name].width / 2
        return max(low, lower(middle) - spread), box, _widest(box, slopes)

    def sample(self, box: _Box) -> Value:
        """The value in the middle. Raises EvaluationError where there is none."""
        middle = value_at(self.node, {n: side.midpoint for n, side in box.items()}, self.ratio)
        self.note(middle)
        return middle

    def note(self, value: Value) -> None:
        if self.sampled is None or upper(value) < self.sampled:
            self.sampled = upper(value)


def _end(side: Interval, slope: Value | None) -> Fraction | None:
    """The end of a side where the value is least, if it moves one way only along that side."""
    if slope is None:
        return None
    if lower(slope) >= 0:
        return side.lower
    return side.upper if upper(slope) <= 0 else None


def _widest(box: _Box, slopes: Mapping[str, Value | None]) -> str | None:
    """The side along which the value may vary most; None where all sides are points."""

    def reach(name: str) -> tuple[bool, Fraction]:
        slope = slopes.get(name) if slopes else ONE
        if slope is None:
            return True, box[name].width
        return False, as_interval(slope).magnitude * box[name].width

    wide = [name for name, side in box.items() if side.lower < side.upper]
    return max(wide, key=reach, default=None)


def _halves(box: _Box, name: str) -> tuple[_Box, _Box]:
    side = box[name]
    middle = side.midpoint
    return (
        {**box, name: Interval(side.lower, middle)},
        {**box, name: Interval(middle, side.upper)},
    )
