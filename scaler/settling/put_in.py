"""Definitions put into an expression, for the names that they define."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from scaler.expressions import (
    Add,
    Div,
    EvaluationError,
    Function,
    Linear,
    Mul,
    Name,
    Neg,
    Node,
    Power,
    linear,
    text,
    walk,
)

ZERO = Fraction(0)

MOST_PARTS = 20_000
DEEPEST = 40
"""How many definitions may stand inside each other."""


def put_in(node: Node, definition: Callable[[str], Node | None]) -> Node:
    """The expression with every name that has a definition replaced by it, all the way down.

    Parameters: definition : of a name; None where the name stays.
    Raises: EvaluationError where the result has more than 20,000 parts, or definitions stand more
        than 40 deep inside each other.

    >>> from scaler.expressions import parse_expression
    >>> made = {"a.x": parse_expression("b.y + 1")}
    >>> text(put_in(parse_expression("2 * a.x"), made.get))
    '2 * (b.y + 1)'
    """
    known: dict[str, Node] = {}
    parts = 0

    def named(name: Name, depth: int) -> Node:
        inner = definition(name.name)
        if inner is None:
            return name
        if depth >= DEEPEST:
            raise EvaluationError(text(node)[:80], "has too many definitions inside each other")
        if name.name not in known:
            known[name.name] = replaced(inner, depth + 1)
        return known[name.name]

    def replaced(part: Node, depth: int) -> Node:
        nonlocal parts
        parts += 1
        if parts > MOST_PARTS:
            raise EvaluationError(text(node)[:80], f"comes to more than {MOST_PARTS} parts")
        match part:
            case Name():
                return named(part, depth)
            case Add(terms=items):
                return Add(tuple(replaced(item, depth) for item in items))
            case Mul(factors=items):
                return Mul(tuple(replaced(item, depth) for item in items))
            case Function(name=name, args=items):
                return Function(name, tuple(replaced(item, depth) for item in items))
            case Div(numerator=first, denominator=second):
                return Div(replaced(first, depth), replaced(second, depth))
            case Neg(value=inner):
                return Neg(replaced(inner, depth))
            case Power(base=inner, exponent=exponent):
                return Power(replaced(inner, depth), exponent)
            case _:
                return part

    result = replaced(node, 0)
    if known:  # what stands in several places was put together once
        for number, _ in enumerate(walk(result)):
            if number >= MOST_PARTS:
                raise EvaluationError(text(node)[:80], f"comes to more than {MOST_PARTS} parts")
    return result


class Lines:
    """Linear forms with definitions put in, each definition worked out once.

    Parameters: ratio : of the model; definition : of a name; None where the name stays.
    """

    def __init__(self, ratio: Fraction, definition: Callable[[str], Node | None]) -> None:
        self.ratio, self.definition = ratio, definition
        self._known: dict[str, Linear | None] = {}

    def of(self, node: Node) -> Linear | None:
        """The linear form of an expression; None where it, or what is put in, is not linear, or
        definitions stand inside each other in a ring. Raises EvaluationError for constant parts
        without a value.

        >>> from scaler.expressions import parse_expression
        >>> made = {"a.x": parse_expression("2 * b.y - b.z")}
        >>> found = Lines(Fraction(1), made.get).of(parse_expression("a.x + b.z"))
        >>> dict(found.coefficients)
        {'b.y': Fraction(2, 1)}
        """
        form = linear(node, self.ratio)
        return None if form is None else self.put(form)

    def put(self, form: Linear) -> Linear | None:
        """A linear form with definitions put in; None where that is none."""
        waiting = [name for name in form.coefficients if self.definition(name) is not None]
        if not waiting:
            return form
        below: dict[str, Linear | None] = {}
        while waiting:  # definitions of definitions first, without recursion
            name = waiting[-1]
            if name in self._known:
                waiting.pop()
                continue
            if name not in below:
                below[name] = self._linear(name)
                inner = below[name]
                needed = () if inner is None else inner.coefficients
                more = [
                    n for n in needed if n not in self._known and self.definition(n) is not None
                ]
                if any(n in below for n in more):  # a ring
                    self._known[name] = None
                waiting += [n for n in more if n not in below]
                continue
            found = below[name]
            self._known[name] = None if found is None else self._put(found)
            waiting.pop()
        return self._put(form)

    def _linear(self, name: str) -> Linear | None:
        node = self.definition(name)
        try:
            return None if node is None else linear(node, self.ratio)
        except EvaluationError:
            return None

    def _put(self, form: Linear) -> Linear | None:
        constant, factors = form.constant, dict(form.coefficients)
        for name, factor in form.coefficients.items():
            if self.definition(name) is None:
                continue
            inner = self._known.get(name)
            if inner is None:
                return None
            del factors[name]
            if inner.constant:
                constant += factor * inner.constant
            for other, value in inner.coefficients.items():
                part = value if factor == 1 else factor * value
                factors[other] = factors[other] + part if other in factors else part
        return Linear(constant, {name: value for name, value in factors.items() if value})
