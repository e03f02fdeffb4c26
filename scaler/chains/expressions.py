"""The expression of a chain: brought to one form, whatever datum its sizes are given from.

A size that stands on both sides cancels, exactly, before anything is worked out; what is linear
becomes one sum with one coefficient a size. So ``(a + d) - (b + d)`` and ``a - b`` are the same
chain, and ``x - x`` is nought.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.expressions import (
    Add,
    Div,
    Function,
    Mul,
    Name,
    Neg,
    Node,
    Number,
    Power,
    derivatives,
    enclose,
    evaluate,
    gradient,
    linear,
    names,
)
from scaler.expressions.intervals import Interval, Value, lower, upper
from scaler.problems import Problem

if TYPE_CHECKING:
    import sympy

    from scaler.checking.check import Checker

ZERO, ONE = Fraction(0), Fraction(1)
MOST_BOXES = 256
"""Into how many smaller boxes an enclosure may be cut to make it finer."""

NARROW = Fraction(1, 10**9)
"""A sensitivity known less closely than this stands at a corner of abs, min or max."""


@dataclass(frozen=True, slots=True)
class Body:
    """An expression in one form: its tree, and constant and coefficients where it is linear."""

    node: Node
    ratio: Fraction
    constant: Fraction
    coefficients: Mapping[str, Fraction] | None
    cancelled: tuple[str, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The sizes that have an effect, in alphabetical order, so that none depends on the text."""
        found = names(self.node) if self.coefficients is None else self.coefficients
        return tuple(sorted(found))

    def at(self, values: Mapping[str, Fraction]) -> Value:
        """The value at exact sizes. Raises EvaluationError."""
        if self.coefficients is not None:
            return self.constant + sum((c * values[n] for n, c in self.coefficients.items()), ZERO)
        return evaluate(self.node, values, self.ratio)

    def worst(
        self, boxes: Mapping[str, Interval], most_boxes: int = MOST_BOXES
    ) -> tuple[Fraction, Fraction]:
        """The ends of all that the expression may be: exact if linear, else a certified enclosure.

        Raises EvaluationError where it has no value somewhere in the boxes.
        """
        if self.coefficients is None:
            named = {name: boxes[name] for name in names(self.node)}
            found = enclose(self.node, named, self.ratio, most_boxes)
            return found.lower, found.upper
        low = high = self.constant
        for name, factor in self.coefficients.items():
            box = boxes[name]
            ends = (factor * box.lower, factor * box.upper)
            low, high = low + min(ends), high + max(ends)
        return low, high

    def slopes(self, values: Mapping[str, Fraction]) -> dict[str, Value | None]:
        """d(closing)/d(size) of each size at exact sizes; None where one has no bound."""
        if self.coefficients is not None:
            return dict(self.coefficients)
        found = gradient(self.node, values, self.ratio)[1]
        return {name: found.get(name, ZERO) for name in self.names}


def body_of(node: Node, ratio: Fraction) -> Body:
    """The one form of an expression. Raises EvaluationError where a constant has no value (1/0)."""
    before = names(node)
    node = canonical(node, ratio)
    form = linear(node, ratio)
    kept = names(node) if form is None else form.coefficients
    return Body(
        node,
        ratio,
        ZERO if form is None else form.constant,
        None if form is None else dict(form.coefficients),
        tuple(sorted(name for name in before if name not in kept)),
    )


def canonical(node: Node, ratio: Fraction) -> Node:
    """The same expression with like terms put together, names in alphabetical order."""
    form = linear(node, ratio)
    if form is not None:
        return _sum_of(form.constant, form.coefficients)
    match node:
        case Add() | Neg():
            return _collected(node, ratio)
        case Mul(factors=parts):
            return Mul(tuple(canonical(part, ratio) for part in parts))
        case Div(numerator=above, denominator=below):
            return Div(canonical(above, ratio), canonical(below, ratio))
        case Power(base=base, exponent=exponent):
            return Power(canonical(base, ratio), exponent)
        case Function(name=name, args=args):
            return Function(name, tuple(canonical(arg, ratio) for arg in args))
    return node


def _sum_of(constant: Fraction, coefficients: Mapping[str, Fraction]) -> Node:
    terms: list[Node] = []
    for name in sorted(coefficients):
        factor = coefficients[name]
        size: Node = Name(name)
        part = size if abs(factor) == 1 else Mul((Number(abs(factor)), size))
        terms.append(Neg(part) if factor < 0 else part)
    if constant or not terms:
        terms.append(Number(constant))
    return terms[0] if len(terms) == 1 else Add(tuple(terms))


def _collected(node: Node, ratio: Fraction) -> Node:
    """A sum with its terms collected: linear ones in one, equal ones counted, opposite ones gone."""
    straight: list[Node] = []
    counted: dict[Node, int] = {}
    stack: list[tuple[Node, int]] = [(node, 1)]
    while stack:
        item, sign = stack.pop()
        if isinstance(item, Add):
            stack += [(term, sign) for term in reversed(item.terms)]
        elif isinstance(item, Neg):
            stack.append((item.value, -sign))
        elif linear(item, ratio) is not None:
            straight.append(item if sign > 0 else Neg(item))
        else:
            plain = canonical(item, ratio)
            counted[plain] = counted.get(plain, 0) + sign
    terms: list[Node] = []
    for term, count in counted.items():
        if count:
            part = term if abs(count) == 1 else Mul((Number(Fraction(abs(count))), term))
            terms.append(part if count > 0 else Neg(part))
    if straight:
        form = linear(Add(tuple(straight)) if len(straight) > 1 else straight[0], ratio)
        assert form is not None
        if form.constant or form.coefficients or not terms:
            terms.append(_sum_of(form.constant, form.coefficients))
    if not terms:
        return Number(ZERO)
    return terms[0] if len(terms) == 1 else Add(tuple(terms))


def in_made_sizes(checker: Checker, node: Node) -> Node:
    """A chain's expression in sizes that are made: definitions put in, one sum where it is linear.

    Raises EvaluationError where the result has more than 20,000 parts.
    """
    form = checker.expanded(node)
    if form is not None:
        return _sum_of(form.constant, form.coefficients)
    return checker.inlined(node)


def effective(slope: Value | None) -> Fraction:
    """A sensitivity as one exact number: at a corner of abs, min or max the steeper side."""
    if slope is None:
        return ZERO
    if isinstance(slope, Fraction):
        return slope
    if slope.width <= NARROW * max(ONE, slope.magnitude):
        return slope.midpoint
    return slope.upper if abs(slope.upper) >= abs(slope.lower) else slope.lower


def usable(slope: Value) -> Value:
    """A sensitivity for sums of squares: as certified, at a corner the steeper side."""
    if isinstance(slope, Interval) and slope.width > NARROW * max(ONE, slope.magnitude):
        return effective(slope)
    return slope


def formulas(
    body: Body, values: Mapping[str, Fraction], slopes: Mapping[str, Value | None]
) -> tuple[dict[str, str], list[Problem]]:
    """The sympy derivative by each size as text, and a warning for each that is not the same.

    The derivatives worked forward through the tree are those that are used; sympy's are worked out
    in another way altogether, and compared with them to 12 figures at the middle of the limits.
    """
    import sympy

    symbols: dict[str, sympy.Symbol] = {
        name: sympy.Symbol(name, real=True) for name in names(body.node)
    }
    texts: dict[str, str] = {}
    problems: list[Problem] = []
    at = {
        symbols[name]: sympy.Float(sympy.Rational(value.numerator, value.denominator), 40)
        for name, value in values.items()
        if name in symbols
    }
    for name, formula in derivatives(body.node, symbols, body.ratio).items():
        texts[name] = str(formula)
        slope = slopes.get(name)
        if slope is None or upper(slope) - lower(slope) > NARROW * max(ONE, abs(effective(slope))):
            continue  # at a corner, or without bound: sympy's formula has no one value there
        number = sympy.N(formula.xreplace(at), 30)
        if not number.is_Float and not number.is_Rational:
            continue  # no plain number there
        off = abs(Fraction(str(number)) - effective(slope))
        if off > Fraction(1, 10**12) * max(ONE, abs(effective(slope))):
            problems.append(
                Problem(
                    "sensitivity-disagrees",
                    f"two ways of working out the sensitivity to {name} disagree: "
                    f"{float(effective(slope)):.9g} and {float(number):.9g}",
                    severity="warning",
                    advice="do not rely on the shares of this chain",
                )
            )
    return texts, problems
