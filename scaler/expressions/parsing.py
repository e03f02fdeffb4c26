"""Reading expressions: text to a small tree of ours, or an error that says what to write instead.

The tokens that :mod:`scaler.expressions.tokens` cuts are read by descent; nothing in a text is ever
run. What is accepted, and the bounds, are set out in :mod:`scaler.expressions`.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from typing import NoReturn

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
    children,
)
from scaler.expressions.plain_sums import plain_sides
from scaler.expressions.tokens import END, OPERAND, check_text, cut
from scaler.measures.angles import parse_angle
from scaler.measures.lengths import LengthError, parse_length
from scaler.problems import shorten

DEEPEST = 50
MOST_NODES = 500
LARGEST_NUMBER = 10**12
MOST_DIGITS = 40
LARGEST_POWER = 64

_RELATIONS = ("<=", ">=", "==")
_ANGLE_MARK = re.compile(r"[°º]|[0-9 ]deg", re.IGNORECASE)


def parse_expression(text: str) -> Node:
    """The tree of an expression.

    Parameters: text : str, as written in a model file
    Returns: Node ; the same object for the same text while it is remembered
    Raises: ExpressionError, with the place of the first thing that cannot be read

    >>> parse_expression("barrel.bore / 2")
    Div(numerator=Name(name='barrel.bore'), denominator=Number(value=Fraction(2, 1)))
    """
    check_text(text)
    return _expression(text)


def parse_comparison(text: str) -> Comparison:
    """The two or three values of ``a <= b``, ``a >= b``, ``a == b`` or ``a <= b <= c``.

    Raises: ExpressionError, also where there is nothing to compare, or a chain changes direction

    >>> parse_comparison("0 <= pump.lift <= '3 mm'").third
    ('<=', Length(mm=Fraction(3, 1), written='3 mm'))
    """
    check_text(text)
    return _comparison(text)


@lru_cache(maxsize=4096)
def _expression(text: str) -> Node:
    plain = plain_sides(text)
    if plain is not None and not plain[1]:
        return plain[0][0]
    parser = _Parser(text)
    node = parser.sum()
    parser.finish()
    return parser.checked(node)


@lru_cache(maxsize=4096)
def _comparison(text: str) -> Comparison:
    plain = plain_sides(text)
    if plain is not None:
        found, between = plain
        if len(found) == 2 or (len(found) == 3 and between[0] == between[1]):
            last = (between[1], found[2]) if len(found) == 3 else None
            return Comparison(found[0], between[0], found[1], last, text)
    parser = _Parser(text)
    sides = [parser.sum()]
    relations: list[str] = []
    while parser.kind in _RELATIONS:
        relation, start, end = parser.kind, parser.token[2], parser.token[3]
        if len(sides) == 3:
            parser.fail(
                "more than three values in one comparison",
                start,
                end,
                advice="write two conditions",
            )
        if relations and relation != relations[0]:
            parser.fail(
                f"'{relations[0]}' and '{relation}' in one comparison",
                start,
                end,
                f"'{relations[0]}' both times",
                "or write two conditions",
            )
        parser.advance()
        relations.append(relation)
        sides.append(parser.sum())
    parser.finish()
    if not relations:
        parser.fail("nothing is compared", 0, len(text), "<=, >= or == between two values")
    for side in sides:
        parser.checked(side)
    third = (relations[1], sides[2]) if len(sides) == 3 else None
    return Comparison(sides[0], relations[0], sides[1], third, text)


class _Parser:
    """One text on its way to a tree: the tokens, and the one that is next."""

    __slots__ = ("at", "count", "depth", "done", "kind", "text", "token", "tokens")

    def __init__(self, text: str) -> None:
        self.text, self.depth, self.count, self.done, self.at = text, 0, 0, 0, -1
        self.tokens = cut(text)
        self.token, self.kind = self.tokens[0], ""
        self.advance()

    # --- tokens -------------------------------------------------------------------------------

    def advance(self) -> None:
        """Go on to the next token."""
        self.done = self.tokens[self.at][3] if self.at >= 0 else 0
        self.at += 1
        self.token = self.tokens[self.at]
        self.kind = self.token[0]

    def fail(
        self, problem: str, start: int, end: int, expected: str = "", advice: str = ""
    ) -> NoReturn:
        raise ExpressionError(self.text, start, end, problem, expected, advice)

    def _count(self) -> None:
        self.count += 1
        if self.count > MOST_NODES:
            self.fail(
                "the expression has too many parts",
                0,
                len(self.text),
                f"{MOST_NODES} at most",
                "split it into sizes or conditions of their own",
            )

    def _deeper(self) -> None:
        self.depth += 1
        if self.depth > DEEPEST:
            self._too_deep(self.token[2])

    def _too_deep(self, at: int) -> NoReturn:
        self.fail(
            "too many parts inside each other",
            at,
            at + 1,
            f"{DEEPEST} deep at most",
            "split it into sizes of their own",
        )

    def checked(self, node: Node) -> Node:
        """The tree itself, once it is known not to be too deep."""
        if self.count > DEEPEST:
            level, depth = [node], 0
            while level:
                depth += 1
                if depth > DEEPEST:
                    self._too_deep(level[0].start)
                level = [part for item in level for part in children(item)]
        return node

    def finish(self, closing: str = "") -> None:
        """Fail unless the text, or the bracket, ends here."""
        kind, word, start, end = self.token
        if kind == (closing or END):
            return
        shown = f"'{shorten(word, 40)}'" if word else "the end"
        if kind in _RELATIONS:
            advice = "a comparison stands on its own, outside all brackets"
            self.fail(f"{shown} cannot stand here", start, end, "one value", advice)
        if kind == END:
            self.fail("a bracket is never closed", start, end, f"'{closing}'")
        if kind == ")":
            self.fail("a bracket is closed that was never opened", start, end)
        if kind == ",":
            advice = "write numbers with a point, 1.5"
            self.fail("a comma cannot stand here", start, end, "", advice)
        if kind == "^":
            self.fail("two powers in a row", start, end, "", "put the first power in brackets")
        both = self.text[self.done - 1 : self.done].isdigit() and kind == "number"
        advice = (
            "write 1 + 1/2, or a length in quotes, '1 1/2 in'" if both else "write * to multiply"
        )
        self.fail(f"an operation is missing before {shown}", start, end, "+, -, * or /", advice)

    # --- grammar ------------------------------------------------------------------------------

    def sum(self) -> Node:
        """product (('+' | '-') product)*"""
        start, first = self.token[2], self.product()
        if self.kind not in ("+", "-"):
            return first
        terms = [first]
        while self.kind in ("+", "-"):
            sign, place = self.kind, self.token[2]
            self.advance()
            term = self.product()
            if sign == "-":
                self._count()
                term = Neg(term, start=place, end=self.done)
            terms.append(term)
        self._count()
        return Add(tuple(terms), start=start, end=self.done)

    def product(self) -> Node:
        """unary (('*' | '/') unary)*"""
        start, factors = self.token[2], [self.unary()]
        while self.kind in ("*", "/"):
            operator, end = self.kind, self.done
            self.advance()
            if operator == "*":
                factors.append(self.unary())
                continue
            numerator = self._joined(factors, start, end)
            denominator = self.unary()
            self._count()
            factors = [Div(numerator, denominator, start=start, end=self.done)]
        return self._joined(factors, start, self.done)

    def _joined(self, factors: list[Node], start: int, end: int) -> Node:
        if len(factors) == 1:
            return factors[0]
        self._count()
        return Mul(tuple(factors), start=start, end=end)

    def unary(self) -> Node:
        """('-' | '+') unary | operand ('^' exponent)?"""
        kind, _, start, _ = self.token
        if kind in ("-", "+"):
            self._deeper()
            self.advance()
            node = self.unary()
            self.depth -= 1
            if kind == "-":
                self._count()
                node = Neg(node, start=start, end=self.done)
            return node
        node = self.operand()
        if self.kind != "^":
            return node
        self.advance()
        exponent = self.exponent()
        self._count()
        return Power(node, exponent, start=start, end=self.done)

    def operand(self) -> Node:
        """A number, a name, a quoted length or angle, a function, or a bracket."""
        kind, word, start, end = self.token
        if kind != "(":
            self._count()
        if kind == "name":
            self.advance()
            return Name(word, start=start, end=end)
        if kind == "number":
            self.advance()
            return Number(self._number(word, start, end), start=start, end=end)
        if kind == "quoted":
            self.advance()
            return self._quantity(word, start, end)
        if kind == "(":
            self._deeper()
            self.advance()
            node = self.sum()
            self.finish(")")
            self.advance()
            self.depth -= 1
            return node
        if kind == "pi":
            self.advance()
            return Pi(start=start, end=end)
        if kind == "function":
            return self._function(word, start, end)
        shown = f"'{word}' stands where a value should" if word else "a value is missing at the end"
        if kind == ")":
            shown = "a value is missing before ')'"
        self.fail(shown, start, end, OPERAND)

    def _number(self, word: str, start: int, end: int) -> Fraction:
        if len(word) - ("." in word) > MOST_DIGITS:
            self.fail("a number too long to be meant", start, end, f"{MOST_DIGITS} digits at most")
        value = Fraction(word)
        if value > LARGEST_NUMBER:
            self.fail(f"{word} is too large", start, end, "a million million at most")
        return value

    def _quantity(self, word: str, start: int, end: int) -> Node:
        written = word[1:-1]
        try:
            if _ANGLE_MARK.search(written):
                return Angle(parse_angle(written), written, start=start, end=end)
            return Length(parse_length(written).mm, written, start=start, end=end)
        except LengthError as error:
            left = min(start + 1 + error.start, end - 1)
            right = max(left + 1, min(start + 1 + error.end, end - 1))
            raise ExpressionError(
                self.text, left, right, error.problem, error.expected, error.advice
            ) from None

    def _function(self, name: str, start: int, end: int) -> Node:
        self.advance()
        if self.kind != "(":
            self.fail(f"'{name}' without its brackets", start, end, f"'(' after {name}")
        self._deeper()
        self.advance()
        if name == "full":
            return self._full(start)
        args = [self.sum()]
        while self.kind == "," and name in ("min", "max"):
            self.advance()
            args.append(self.sum())
        if self.kind == ",":
            self.fail(
                f"{name} takes one value",
                self.token[2],
                self.token[3],
                "')'",
                "write numbers with a point, 1.5",
            )
        self.finish(")")
        self.advance()
        self.depth -= 1
        return Function(name, tuple(args), start=start, end=self.done)

    def _full(self, start: int) -> Node:
        kind, word, place, end = self.token
        example = "write for example full('1/32 in')"
        if kind != "quoted":
            self.fail(
                "full() takes a length in quotes and nothing else",
                place,
                end,
                "a full-size length in quotes",
                example,
            )
        self.advance()
        node = self._quantity(word, place, end)
        if not isinstance(node, Length):
            self.fail(
                "an angle is the same at every scale", place, end, "a length", "leave full() away"
            )
        self.finish(")")
        self.advance()
        self.depth -= 1
        return FullLength(node.mm, node.written, start=start, end=self.done)

    def exponent(self) -> Fraction:
        """('-' | '+')? (number | '(' sum of numbers ')'), within bounds, exact."""
        start, sign = self.token[2], 1
        if self.kind in ("-", "+"):
            sign = -1 if self.kind == "-" else 1
            self.advance()
        if self.kind not in ("number", "("):
            self.fail(
                "the power is not a plain number",
                start,
                self.token[3] or start,
                "a whole number, or a fraction in brackets, ^(1/2)",
            )
        count = self.count
        value = sign * self._constant(self.operand())
        self.count = count
        if self.kind == "^":
            self.finish()
        if value == 0 or abs(value.numerator) > LARGEST_POWER or value.denominator > LARGEST_POWER:
            self.fail(
                f"a power of {shorten(str(value), 40)}",
                start,
                self.done,
                f"whole numbers up to {LARGEST_POWER}, and fractions of them, not 0",
            )
        return value

    def _constant(self, node: Node) -> Fraction:
        match node:
            case Number(value=value):
                return value
            case Neg(value=inner):
                return -self._constant(inner)
            case Add(terms=terms):
                return sum(map(self._constant, terms), Fraction(0))
            case Div(numerator=numerator, denominator=denominator):
                below = self._constant(denominator)
                if below:
                    return self._constant(numerator) / below
                self.fail("division by zero in a power", denominator.start, denominator.end)
            case Mul(factors=factors):
                value = Fraction(1)
                for factor in factors:
                    value *= self._constant(factor)
                return value
        self.fail(
            "the power is not a plain number",
            node.start,
            node.end,
            "a whole number, or a fraction in brackets, ^(1/2)",
        )
