"""Statements as linear rows over sizes, with what limits and last cuts add to them.

A row says ``lower <= constant + parts <= upper`` where each part belongs to one size and depends on
the branch chosen for it: factor × value, plus the limits that the branch brings (in the worst
case), plus the tolerance of its last cut.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from scaler.expressions import (
    Add,
    Div,
    EvaluationError,
    Function,
    Mul,
    Neg,
    Node,
    Power,
    linear,
)
from scaler.substitution.options import Branch, Deviation

ZERO = Fraction(0)


@dataclass(slots=True)
class Part:
    """What one size adds to a row: ``factor`` × value, and what depends on its branch.

    ``spreads`` are factors on its deviations (the worst end is taken), ``cuts`` are (process,
    factor) pairs on the tolerance of its last cut, ``windows`` adds a function of the size itself
    (the window of a fit that changes with the diameter).
    """

    factor: Fraction = ZERO
    spreads: list[Fraction] = field(default_factory=list)
    cuts: list[tuple[str, Fraction]] = field(default_factory=list)
    windows: list[Callable[[Fraction], Fraction]] = field(default_factory=list)


@dataclass(slots=True)
class Row:
    """One linear requirement; ``statement`` is the key of what it comes from.

    ``side`` is ``low`` or ``high`` where limits count (spreads pull the sum down or push it up).
    ``strict``: the bounds themselves do not hold. ``when``: only if that size takes its branch
    that follows another size. ``slack``: names of what might be given up to relax it.
    """

    statement: str
    parts: dict[str, Part]
    constant: Fraction = ZERO
    lower: Fraction | None = None
    upper: Fraction | None = None
    side: str = ""
    strict: bool = False
    when: str = ""
    slack: tuple[str, ...] = ()

    def part(self, name: str) -> Part:
        """The part of a size, made when first asked for."""
        found = self.parts.get(name)
        if found is None:
            found = self.parts[name] = Part()
        return found


@dataclass(slots=True)
class Curve:
    """A requirement that is no line: kept by linear rows at points that are tried in turn.

    ``margin`` is what the bounds have been drawn in by, as an estimate, to steer the search.
    """

    statement: str
    node: Node
    lower: Fraction | None
    upper: Fraction | None
    worst: bool
    margin: Fraction = ZERO


@dataclass(frozen=True, slots=True)
class Form:
    """Constant and coefficients."""

    constant: Fraction
    factors: Mapping[str, Fraction]

    def scaled(self, factor: Fraction) -> Form:
        """The form times a number."""
        return Form(
            self.constant * factor, {name: value * factor for name, value in self.factors.items()}
        )

    def plus(self, other: Form, factor: Fraction = Fraction(1)) -> Form:
        """The form and ``factor`` times another."""
        factors = dict(self.factors)
        for name, value in other.factors.items():
            factors[name] = factors.get(name, ZERO) + factor * value
        return Form(
            self.constant + factor * other.constant,
            {name: value for name, value in factors.items() if value},
        )


def branch_part(
    part: Part,
    branch: Branch,
    side: str,
    deviation: Callable[[Branch], Deviation],
    tolerance: Callable[[Branch, str], Fraction],
) -> tuple[Fraction, Fraction]:
    """What a branch adds to a row: (amount at k = 0, amount for each step)."""
    amount, slope = part.factor * branch.base, part.factor * branch.step
    if part.spreads:
        down, up = deviation(branch)
        for factor in part.spreads:
            one, other = factor * down, factor * up
            amount += min(one, other) if side == "low" else max(one, other)
    for by, factor in part.cuts:
        amount += factor * tolerance(branch, by)
    for window in part.windows:
        at = window(branch.base)
        amount += at
        if branch.low < branch.high:
            k = branch.high or branch.low
            slope += (window(branch.value(k)) - at) / k
    return amount, slope


Bound = Fraction | None
Piece = tuple[Node, Bound, Bound]


def pieces(
    node: Node, lower: Bound, upper: Bound, ratio: Fraction, sign: Callable[[Node], int]
) -> Iterator[Piece]:
    """The same requirement as several simpler ones that must all hold, as far as that goes.

    A quotient by something of one sign is multiplied through; a product by a constant divided
    through; an absolute value that may not exceed something is two lines; least and greatest of
    several are several; a root or an even power of something positive is undone. ``sign(node)`` is
    1 or -1 where an expression keeps that sign over all sizes that may be chosen, else 0. What
    cannot be simplified comes back as it is.
    """
    if lower is None and upper is None:
        return
    try:
        straight = linear(node, ratio)
    except EvaluationError:
        straight = None
    if straight is not None:
        yield node, lower, upper
        return
    match node:
        case Neg(value=inner):
            yield from pieces(inner, _minus(upper), _minus(lower), ratio, sign)
            return
        case Mul(factors=factors):
            fixed, rest = Fraction(1), []
            for item in factors:
                form = linear(item, ratio)
                if form is not None and not form.coefficients:
                    fixed *= form.constant
                else:
                    rest.append(item)
            if fixed and rest and (fixed != 1 or len(rest) < len(factors)):
                low, high = _over(lower, upper, fixed)
                inner = rest[0] if len(rest) == 1 else Mul(tuple(rest))
                yield from pieces(inner, low, high, ratio, sign)
                return
        case Div(numerator=above, denominator=below):
            form = linear(below, ratio)
            if form is not None and not form.coefficients and form.constant:
                low, high = _over(lower, upper, 1 / form.constant)
                yield from pieces(above, low, high, ratio, sign)
                return
            which = sign(below)
            if which:
                for bound, is_lower in ((lower, True), (upper, False)):
                    if bound is not None:
                        rest_node = Add((above, Neg(_times(below, bound))))
                        least = is_lower == (which > 0)
                        yield from pieces(
                            rest_node,
                            ZERO if least else None,
                            None if least else ZERO,
                            ratio,
                            sign,
                        )
                return
        case Add(terms=terms):
            bent = [item for item in terms if linear(item, ratio) is None]
            if len(bent) == 1 and len(terms) > 1:
                others: Node = Add(tuple(item for item in terms if item is not bent[0]))
                form = linear(others, ratio)
                if form is not None and not form.coefficients:
                    low = None if lower is None else lower - form.constant
                    high = None if upper is None else upper - form.constant
                    yield from pieces(bent[0], low, high, ratio, sign)
                    return
                if isinstance(bent[0], Function) and bent[0].name == "abs" and lower is None:
                    inner = bent[0].args[0]
                    for way in (inner, Neg(inner)):
                        yield from pieces(Add((way, others)), None, upper, ratio, sign)
                    return
        case Function(name="abs", args=(inner,)):
            which = sign(inner)
            if which:
                yield from pieces(inner if which > 0 else Neg(inner), lower, upper, ratio, sign)
                return
            if lower is None or lower <= 0:
                if upper is not None:
                    yield from pieces(inner, -upper, upper, ratio, sign)
                return
        case Function(name="min", args=args) if upper is None:
            for item in args:
                yield from pieces(item, lower, None, ratio, sign)
            return
        case Function(name="max", args=args) if lower is None:
            for item in args:
                yield from pieces(item, None, upper, ratio, sign)
            return
        case Function(name="sqrt", args=(inner,)) if (lower is None or lower >= 0) and (
            upper is None or upper >= 0
        ):
            low = None if lower is None else lower * lower
            yield from pieces(inner, low, None if upper is None else upper * upper, ratio, sign)
            return
        case Power(base=inner, exponent=exponent) if exponent == 2 and sign(inner) > 0:
            low, high = _root(lower), _root(upper)
            if (lower is None or low is not None) and (upper is None or high is not None):
                yield from pieces(inner, low, high, ratio, sign)
                return
    yield node, lower, upper


def _minus(value: Bound) -> Bound:
    return None if value is None else -value


def _over(lower: Bound, upper: Bound, factor: Fraction) -> tuple[Bound, Bound]:
    low = None if lower is None else lower / factor
    high = None if upper is None else upper / factor
    return (low, high) if factor > 0 else (high, low)


def _times(node: Node, factor: Fraction) -> Node:
    from scaler.expressions import Number

    return Mul((Number(factor), node))


def _root(value: Bound) -> Bound:
    """The exact root of a square, None where it is none."""
    if value is None or value < 0:
        return None
    from math import isqrt

    above, below = isqrt(value.numerator), isqrt(value.denominator)
    exact = above * above == value.numerator and below * below == value.denominator
    return Fraction(above, below) if exact else None
