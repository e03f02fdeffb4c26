"""Definitions put into an expression, for the names that they define."""

from __future__ import annotations

from collections.abc import Callable

from scaler.expressions import (
    Add,
    Div,
    EvaluationError,
    Function,
    Mul,
    Name,
    Neg,
    Node,
    Power,
    text,
)

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

    return replaced(node, 0)
