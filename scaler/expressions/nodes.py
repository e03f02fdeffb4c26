"""The small immutable trees that expressions in model files become, and how to write them out.

A node compares and hashes by its meaning only: the place it was read from (``start``, ``end``, in
characters of the text given to the parser; −1 where it was made by hand) and the way a length was
written do not count.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from typing import assert_never


@dataclass(frozen=True, slots=True, kw_only=True)
class _Placed:
    start: int = field(default=-1, compare=False, repr=False)
    end: int = field(default=-1, compare=False, repr=False)
    _names: tuple[str, ...] | None = field(default=None, init=False, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Number(_Placed):
    """A plain number, exact."""

    value: Fraction


@dataclass(frozen=True, slots=True)
class Pi(_Placed):
    """The ratio of a circle's circumference to its diameter."""


@dataclass(frozen=True, slots=True)
class Length(_Placed):
    """A model length [mm], with the text it was written as."""

    mm: Fraction
    written: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class FullLength(_Placed):
    """A full-size length [mm], which counts times the scale ratio."""

    mm: Fraction
    written: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Angle(_Placed):
    """An angle [degrees], with the text it was written as."""

    degrees: Fraction
    written: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Name(_Placed):
    """A size by its name, ``part.size`` or ``part.size@copy``."""

    name: str


@dataclass(frozen=True, slots=True)
class Add(_Placed):
    """A sum of two or more terms; one that is taken away is a Neg."""

    terms: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Mul(_Placed):
    """A product of two or more factors."""

    factors: tuple[Node, ...]


@dataclass(frozen=True, slots=True)
class Div(_Placed):
    """A quotient."""

    numerator: Node
    denominator: Node


@dataclass(frozen=True, slots=True)
class Neg(_Placed):
    """A value with its sign changed."""

    value: Node


@dataclass(frozen=True, slots=True)
class Power(_Placed):
    """A rational power."""

    base: Node
    exponent: Fraction


@dataclass(frozen=True, slots=True)
class Function(_Placed):
    """A function of one value; for ``min`` and ``max`` of one or more."""

    name: str
    args: tuple[Node, ...]


Node = Number | Pi | Length | FullLength | Angle | Name | Add | Mul | Div | Neg | Power | Function

FUNCTIONS = ("sqrt", "sin", "cos", "tan", "asin", "acos", "atan", "min", "max", "abs")
"""The functions that can be written; ``full`` and ``pi`` are words of their own."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """``left relation right``, and for a chain of three the second relation and third value.

    ``relation`` is ``<=``, ``>=`` or ``==``; both relations of a chain are the same. ``text`` is
    what was read.
    """

    left: Node
    relation: str
    right: Node
    third: tuple[str, Node] | None = None
    text: str = field(default="", compare=False)

    @property
    def sides(self) -> tuple[Node, ...]:
        """The two or three values compared, from the left."""
        return (self.left, self.right, *(self.third[1:] if self.third else ()))


class ExpressionError(ValueError):
    """An expression that cannot be used; ``str()`` is the whole of it on one line.

    Attributes: ``text`` as read (cut short where it was far too long), ``start`` and ``end`` of the
    offending characters in it, ``problem``, ``expected`` and ``advice``.
    """

    def __init__(
        self, text: str, start: int, end: int, problem: str, expected: str = "", advice: str = ""
    ) -> None:
        super().__init__(text, start, end, problem, expected, advice)
        self.text, self.start, self.end = text, start, end
        self.problem, self.expected, self.advice = problem, expected, advice

    def __str__(self) -> str:
        expected = f"expected {self.expected}" if self.expected else ""
        return "; ".join(item for item in (self.problem, expected, self.advice) if item)


class EvaluationError(ValueError):
    """A value that cannot be worked out; ``str()`` is the whole of it on one line.

    Attributes: ``part``, the text of the part that has no value; ``problem``; ``values``, what the
    names in that part stood for, as text, by name.
    """

    def __init__(self, part: str, problem: str, values: tuple[tuple[str, str], ...] = ()) -> None:
        super().__init__(part, problem, values)
        self.part, self.problem, self.values = part, problem, values

    def __str__(self) -> str:
        where = ", ".join(f"{name} = {value}" for name, value in self.values)
        return f"{self.part}: {self.problem}" + (f", with {where}" if where else "")


def children(node: Node) -> tuple[Node, ...]:
    """The parts a node is made of, from the left; () for a number, a length, an angle, a name."""
    match node:
        case Add(terms=parts) | Mul(factors=parts) | Function(args=parts):
            return parts
        case Div(numerator=first, denominator=second):
            return (first, second)
        case Neg(value=inner) | Power(base=inner):
            return (inner,)
        case Number() | Pi() | Length() | FullLength() | Angle() | Name():
            return ()
    assert_never(node)


def walk(node: Node) -> Iterator[Node]:
    """The node and all below it, each before its parts, from the left."""
    stack = [node]
    while stack:
        item = stack.pop()
        yield item
        stack.extend(reversed(children(item)))


def names(node: Node | Comparison) -> tuple[str, ...]:
    """The names in an expression or a comparison, each once, in order of first appearance."""
    if isinstance(node, Name):
        return (node.name,)
    if isinstance(node, Comparison):
        return tuple(dict.fromkeys(name for side in node.sides for name in names(side)))
    if node._names is None:  # found once: a node never changes
        found: dict[str, None] = {}
        stack: list[Node] = [node]
        while stack:
            item = stack.pop()
            if type(item) is Name:
                found[item.name] = None
            elif item._names is not None:
                found.update(dict.fromkeys(item._names))
            else:
                stack.extend(reversed(children(item)))
        object.__setattr__(node, "_names", tuple(found))
    return node._names or ()


def rename(node: Node, new_name: Callable[[str], str]) -> Node:
    """The same tree with every name replaced by what ``new_name`` gives for it."""
    place = {"start": node.start, "end": node.end}
    match node:
        case Name(name=name):
            return Name(new_name(name), **place)
        case Add(terms=parts):
            return Add(tuple(rename(part, new_name) for part in parts), **place)
        case Mul(factors=parts):
            return Mul(tuple(rename(part, new_name) for part in parts), **place)
        case Function(name=name, args=parts):
            return Function(name, tuple(rename(part, new_name) for part in parts), **place)
        case Div(numerator=first, denominator=second):
            return Div(rename(first, new_name), rename(second, new_name), **place)
        case Neg(value=inner):
            return Neg(rename(inner, new_name), **place)
        case Power(base=inner, exponent=exponent):
            return Power(rename(inner, new_name), exponent, **place)
        case _:
            return node


def decimal_text(value: Fraction) -> str | None:
    """The number in decimals, exactly; None where no decimals end it.

    >>> decimal_text(Fraction(-3, 40)), decimal_text(Fraction(1, 3))
    ('-0.075', None)
    """
    rest, twos, fives = value.denominator, 0, 0
    while rest % 2 == 0:
        rest, twos = rest // 2, twos + 1
    while rest % 5 == 0:
        rest, fives = rest // 5, fives + 1
    if rest != 1:
        return None
    places = max(twos, fives)
    digits = str(abs(value.numerator) * 10**places // value.denominator).rjust(places + 1, "0")
    sign = "-" if value < 0 else ""
    return sign + (f"{digits[:-places]}.{digits[-places:]}" if places else digits)


def fraction_text(value: Fraction) -> str:
    """The number exactly: decimals where they end, else a fraction."""
    return decimal_text(value) or f"{value.numerator}/{value.denominator}"


def _quoted(written: str, value: Fraction, unit: str) -> str:
    body = written or f"{fraction_text(value)} {unit}"
    return f"'{body}'" if "'" not in body else f'"{body}"'


def _in_brackets(node: Node, *kinds: type) -> str:
    return f"({text(node)})" if isinstance(node, kinds) else text(node)


def _is_signed(node: Node) -> bool:
    """Whether a hand-made number is written with a sign or as a fraction, so needs brackets."""
    return isinstance(node, Number) and (node.value < 0 or decimal_text(node.value) is None)


def text(node: Node) -> str:
    """The expression written out plainly; what is read back from it is the same tree.

    Lengths and angles are written as they were read, or in mm and degrees where they were made by
    hand. Hand-made negative or unending numbers come back as a Neg or a Div of the same value.

    >>> text(Div(Add((Name("pump.bore"), Neg(Number(Fraction(1, 2))))), Number(Fraction(2))))
    '(pump.bore - 0.5) / 2'
    """
    match node:
        case Number(value=value):
            return f"({fraction_text(value)})" if _is_signed(node) else fraction_text(value)
        case Pi():
            return "pi"
        case Length(mm=value, written=written):
            return _quoted(written, value, "mm")
        case FullLength(mm=value, written=written):
            return f"full({_quoted(written, value, 'mm')})"
        case Angle(degrees=value, written=written):
            return _quoted(written, value, "deg")
        case Name(name=name):
            return name
        case Add(terms=terms):
            pieces = [_in_brackets(terms[0], Add)]
            for term in terms[1:]:
                minus = isinstance(term, Neg)
                inner = term.value if isinstance(term, Neg) else term
                pieces.append(f" {'-' if minus else '+'} {_in_brackets(inner, Add)}")
            return "".join(pieces)
        case Mul(factors=factors):
            first = _in_brackets(factors[0], Add, Mul)
            return " * ".join([first, *(_in_brackets(f, Add, Mul, Div) for f in factors[1:])])
        case Div(numerator=numerator, denominator=denominator):
            return f"{_in_brackets(numerator, Add)} / {_in_brackets(denominator, Add, Mul, Div)}"
        case Neg(value=inner):
            return f"-{_in_brackets(inner, Add, Mul, Div)}"
        case Power(base=base, exponent=exponent):
            whole = exponent.denominator == 1
            power = str(exponent) if whole else f"({exponent})"
            return f"{_in_brackets(base, Add, Mul, Div, Neg, Power)}^{power}"
        case Function(name=name, args=args):
            return f"{name}({', '.join(map(text, args))})"
    assert_never(node)


def comparison_text(comparison: Comparison) -> str:
    """The comparison written out plainly."""
    first = f"{text(comparison.left)} {comparison.relation} {text(comparison.right)}"
    if comparison.third is None:
        return first
    relation, last = comparison.third
    return f"{first} {relation} {text(last)}"
