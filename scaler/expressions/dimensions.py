"""Whether an expression makes sense: a length, an area, a number or an angle, or a muddle of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import NoReturn, assert_never

from scaler.expressions.nodes import (
    Add,
    Angle,
    Comparison,
    Div,
    ExpressionError,
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
    comparison_text,
    text,
)

_WORDS = {0: "number", 1: "length", 2: "area", 3: "volume", -1: "number per length"}


@dataclass(frozen=True, slots=True)
class Dimension:
    """The power of length in a value, or that it is an angle (then ``length`` is 0)."""

    length: Fraction = Fraction(0)
    angle: bool = False

    def describe(self) -> str:
        """The dimension in words, without an article.

        >>> AREA.describe(), Dimension(Fraction(1, 2)).describe()
        ('area', 'length to the power 1/2')
        """
        if self.angle:
            return "angle"
        if self.length.denominator == 1 and int(self.length) in _WORDS:
            return _WORDS[int(self.length)]
        return f"length to the power {self.length}"


NUMBER = Dimension()
LENGTH = Dimension(Fraction(1))
AREA = Dimension(Fraction(2))
ANGLE = Dimension(angle=True)

DimensionOf = Callable[[str], Dimension]


class DimensionError(ExpressionError):
    """Values of different kinds brought together.

    ``parts`` holds the text of the two parts that differ, or of the one part that is out of place;
    ``text``, ``start`` and ``end`` are as in ExpressionError, the place being that of the last.
    """

    def __init__(
        self,
        text: str,
        start: int,
        end: int,
        problem: str,
        expected: str = "",
        advice: str = "",
        parts: tuple[str, ...] = (),
    ) -> None:
        super().__init__(text, start, end, problem, expected, advice)
        self.args = (text, start, end, problem, expected, advice, parts)
        self.parts = parts


def _a(kind: Dimension | None) -> str:
    word = (kind or NUMBER).describe()
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word}"


class _Finder:
    """Finds dimensions below one root; ``source`` is the text the nodes' places refer to."""

    __slots__ = ("dimension_of", "root", "source")

    def __init__(self, dimension_of: DimensionOf, source: str, root: Node | Comparison) -> None:
        self.dimension_of, self.source, self.root = dimension_of, source, root

    def fail(self, problem: str, expected: str, advice: str, *parts: Node) -> NoReturn:
        last, written = parts[-1], tuple(map(text, parts))
        if self.source and 0 <= last.start < last.end <= len(self.source):
            source, start, end = self.source, last.start, last.end
        else:
            source = (
                comparison_text(self.root) if isinstance(self.root, Comparison) else text(self.root)
            )
            start = max(source.rfind(written[-1]), 0)
            end = min(start + len(written[-1]), len(source))
        raise DimensionError(source, start, end, problem, expected, advice, written)

    def of(self, node: Node) -> Dimension | None:
        """The dimension of a node; None for a plain 0, which may stand for any."""
        match node:
            case Number(value=value):
                return NUMBER if value else None
            case Name(name=name):
                return self.dimension_of(name)
            case Length() | FullLength():
                return LENGTH
            case Angle():
                return ANGLE
            case Pi():
                return NUMBER
            case Neg(value=inner):
                return self.of(inner)
            case Add(terms=terms):
                return self.alike(terms, "adds")
            case Mul(factors=factors):
                return self.product(factors)
            case Div(numerator=numerator, denominator=denominator):
                return self.quotient(numerator, denominator)
            case Power(base=base, exponent=exponent):
                return self.power(base, exponent)
            case Function(name=name, args=args):
                return self.function(name, args)
        assert_never(node)

    def alike(self, parts: tuple[Node, ...], verb: str) -> Dimension | None:
        """The dimension that all parts share."""
        found: Dimension | None = None
        first = parts[0]
        for part in parts:
            kind = self.of(part)
            if kind is None or kind == found:
                continue
            if found is None:
                found, first = kind, part
                continue
            inner, phrase = part, f"{verb} {_a(found)} to {_a(kind)}"
            if verb == "adds" and isinstance(part, Neg):
                inner, phrase = part.value, f"takes {_a(kind)} from {_a(found)}"
            elif verb == "compares":
                phrase = f"compares {_a(found)} with {_a(kind)}"
            advice = f"{text(first)} is {_a(found)}, {text(inner)} is {_a(kind)}"
            for item, own, other in ((inner, kind, found), (first, found, kind)):
                if isinstance(item, Number) and own == NUMBER:
                    unit = {LENGTH: "mm", ANGLE: "deg"}.get(other)
                    advice += f"; write '{text(item)} {unit}' if that is meant" if unit else ""
            self.fail(phrase, "values of one kind", advice, first, inner)
        return found

    def product(self, factors: tuple[Node, ...]) -> Dimension:
        found, first = NUMBER, factors[0]
        for factor in factors:
            kind = self.of(factor) or NUMBER
            if NUMBER not in (kind, found) and (kind.angle or found.angle):
                self.fail(
                    f"multiplies {_a(found)} by {_a(kind)}",
                    "angles times plain numbers only",
                    "divide the angle by '1 deg' first",
                    first,
                    factor,
                )
            if kind != NUMBER:
                found, first = (
                    Dimension(found.length + kind.length, found.angle or kind.angle),
                    factor,
                )
        return found

    def quotient(self, numerator: Node, denominator: Node) -> Dimension | None:
        above, below = self.of(numerator), self.of(denominator) or NUMBER
        if above is None:
            return None
        if below.angle and above.angle:
            return NUMBER
        if below.angle or (above.angle and below != NUMBER):
            self.fail(
                f"divides {_a(above)} by {_a(below)}",
                "an angle divided by a number or an angle",
                "divide the angle by '1 deg' first",
                numerator,
                denominator,
            )
        return Dimension(above.length - below.length, above.angle)

    def power(self, base: Node, exponent: Fraction) -> Dimension:
        kind = self.of(base) or NUMBER
        if kind.angle and exponent != 1:
            self.fail(
                "raises an angle to a power",
                "a number or a length",
                "divide the angle by '1 deg' first",
                base,
            )
        return Dimension(kind.length * exponent, kind.angle)

    def function(self, name: str, args: tuple[Node, ...]) -> Dimension | None:
        if name in ("min", "max", "abs"):
            return self.alike(args, "compares")
        if name == "sqrt":
            return self.power(args[0], Fraction(1, 2))
        kind = self.of(args[0])
        if name in ("sin", "cos", "tan"):
            if kind not in (ANGLE, None):
                self.fail(
                    f"takes the {name} of {_a(kind)}",
                    "an angle",
                    "write an angle in degrees with its unit, '30 deg'",
                    args[0],
                )
            return NUMBER
        if kind not in (NUMBER, None):
            self.fail(
                f"takes the {name} of {_a(kind)}",
                "a number",
                "divide by another value of the same kind first",
                args[0],
            )
        return ANGLE


def dimension(node: Node, dimension_of: DimensionOf, source: str = "") -> Dimension:
    """The dimension of an expression.

    Parameters
    ----------
    node : Node
    dimension_of : callable giving the Dimension of a named size; what it raises passes through
    source : str, the text the node was read from; with it errors point into that text, without it
        into the expression as :func:`~scaler.expressions.nodes.text` writes it

    Raises
    ------
    DimensionError
        A length added to a number, a sine of a length, and so on. A plain 0 fits everywhere.

    Examples
    --------
    >>> from scaler.expressions.parsing import parse_expression
    >>> dimension(parse_expression("sqrt(a.x^2 + a.y^2)"), lambda name: LENGTH).describe()
    'length'
    """
    return _Finder(dimension_of, source, node).of(node) or NUMBER


def comparison_dimension(comparison: Comparison, dimension_of: DimensionOf) -> Dimension:
    """The dimension that all sides of a comparison share. Raises DimensionError."""
    finder = _Finder(dimension_of, comparison.text, comparison)
    return finder.alike(comparison.sides, "compares") or NUMBER
