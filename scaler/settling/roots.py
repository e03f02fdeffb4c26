"""All roots of one equation between two bounds, and proof of a solution of several.

Both rest on interval arithmetic: a piece of the range is left out only where the equation certainly
has no root, and a root counts only where it is certainly there. Nothing is sampled.

References: interval bisection, the interval Newton operator and Krawczyk's operator as in Moore,
Kearfott and Cloud, Introduction to Interval Analysis, SIAM 2009, chapters 8 and 9 (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from scaler.expressions import EvaluationError, Node, evaluate, gradient
from scaler.expressions.intervals import Interval, Value, as_interval, lower, upper

ZERO, ONE = Fraction(0), Fraction(1)
MOST_PIECES = 4000
"""Pieces of the range that are looked at before the search is given up."""
FINEST = Fraction(1, 2**30)
"""Roots nearer together than this part of the range are not told apart."""
CLOSE = Fraction(1, 10**30)
"""A root is enclosed at least as closely as this part of its size, where the knowns allow it."""
_BITS = 256


@dataclass(frozen=True, slots=True)
class Roots:
    """Roots found, each exact or enclosed, in rising order, and pieces that could not be decided."""

    found: tuple[Value, ...]
    undecided: tuple[Interval, ...]


class _Search:
    def __init__(
        self,
        node: Node,
        unknown: str,
        values: Mapping[str, Value],
        ratio: Fraction,
        width: Fraction,
    ) -> None:
        self.node, self.unknown, self.ratio = node, unknown, ratio
        self.values = values
        self.finest = width * FINEST
        self.found: list[Value] = []
        self.undecided: list[Interval] = []

    def at(self, point: Fraction) -> Value | None:
        """The equation's value at a point; None where it has none."""
        try:
            return evaluate(self.node, {**self.values, self.unknown: point}, self.ratio)
        except EvaluationError:
            return None

    def over(self, piece: Interval) -> tuple[Value, Value | None] | None:
        """Value and slope over a piece; None where the equation has no value in part of it."""
        try:
            value, slopes = gradient(self.node, {**self.values, self.unknown: piece}, self.ratio)
        except EvaluationError:
            return None
        return value, slopes.get(self.unknown, ZERO)

    def keep(self, root: Value) -> None:
        if not any(lower(root) <= upper(r) and lower(r) <= upper(root) for r in self.found):
            self.found.append(root)

    def piece(self, piece: Interval) -> bool:
        """Deals with a piece; False where it must be cut."""
        seen = self.over(piece)
        if seen is None:
            if piece.width < self.finest * 2**24 and self.barren(piece):
                return True
        elif lower(seen[0]) == upper(seen[0]) == 0:
            self.undecided.append(piece)  # zero all the way
            return True
        for end in (piece.lower, piece.upper):
            if self.at(end) == ZERO:
                self.keep(end)
        if seen is not None:
            value, slope = seen
            if lower(value) > 0 or upper(value) < 0:
                return True
            if slope is not None and (lower(slope) > 0 or upper(slope) < 0):
                self.crossing(piece, slope)
                return True
        if piece.width > self.finest:
            return False
        if not any(piece.contains(r) for r in self.found if isinstance(r, Fraction)):
            exact = self.simple(piece)
            if exact is not None:
                self.keep(exact)
            elif seen is not None:  # else: the edge of where the equation has a value
                self.undecided.append(piece)
        return True

    def barren(self, piece: Interval) -> bool:
        """Whether the equation has no value at five points of a piece (then it is taken to have
        none in it)."""
        steps = (piece.lower + piece.width * n / 4 for n in range(5))
        return all(self.at(point) is None for point in steps)

    def crossing(self, piece: Interval, slope: Value) -> None:
        """The root in a piece where the equation rises or falls all the way, if there is one."""
        first, last = self.at(piece.lower), self.at(piece.upper)
        if first is None or last is None or first == ZERO or last == ZERO:
            return
        below, above = (first, last) if lower(slope) > 0 else (last, first)
        if lower(below) > 0 or upper(above) < 0:
            return
        root = self.newton(piece)
        exact = self.simple(root)
        self.keep(root if exact is None else exact)

    def newton(self, piece: Interval) -> Interval:
        """The piece drawn together about its only root: m − f(m) / f'(piece), again and again."""
        for _ in range(200):
            size = max(abs(piece.lower), abs(piece.upper))
            if piece.width <= CLOSE * size:
                break
            seen = self.over(piece)
            middle = piece.midpoint
            value = self.at(middle)
            if seen is None or value is None or seen[1] is None:
                break
            slope = as_interval(seen[1])
            if slope.lower <= 0 <= slope.upper:
                break
            step = as_interval(value) / slope
            moved = Interval(middle - step.upper, middle - step.lower).rounded(_BITS)
            if moved.lower > piece.upper or moved.upper < piece.lower:
                break  # the root lies on the very end of the piece, within the knowns' width
            closer = piece.intersection(moved)
            if closer.width > piece.width * Fraction(9, 10):
                break
            piece = closer
        return piece

    def simple(self, piece: Interval) -> Fraction | None:
        """The simplest fraction of a piece where it solves the equation exactly."""
        point = simplest_between(piece.lower, piece.upper)
        return point if self.at(point) == ZERO else None


def simplest_between(low: Fraction, high: Fraction) -> Fraction:
    """The fraction of smallest denominator from low to high (continued fractions).

    >>> simplest_between(Fraction("0.3333"), Fraction("0.3334"))
    Fraction(1, 3)
    """
    if low <= 0 <= high:
        return ZERO
    if high < 0:
        return -simplest_between(-high, -low)
    parts: list[int] = []
    while True:
        whole = low.numerator // low.denominator
        if whole == low or whole + 1 <= high:
            found = Fraction(whole if whole == low else whole + 1)
            break
        parts.append(whole)
        low, high = 1 / (high - whole), 1 / (low - whole)
    for whole in reversed(parts):
        found = whole + 1 / found
    return found


def roots_between(
    node: Node,
    unknown: str,
    values: Mapping[str, Value],
    ratio: Fraction,
    low: Fraction,
    high: Fraction,
) -> Roots:
    """Every root of node = 0 in the unknown from low to high.

    Parameters: values : the other names, exact or enclosed.
    Returns: Roots; what lies nearer together than 2^-30 of the range counts as one. A piece where
        the equation touches zero, or nearly does, without a simple fraction that solves it exactly
        is undecided, as is all that is left when :data:`MOST_PIECES` have been looked at.
    """
    search = _Search(node, unknown, values, ratio, high - low)
    stack, looked = [Interval(low, high)], 0
    while stack:
        piece = stack.pop()
        looked += 1
        if looked > MOST_PIECES:
            search.undecided += [piece, *stack]
            break
        if not search.piece(piece):
            middle = piece.midpoint
            stack += [Interval(middle, piece.upper), Interval(piece.lower, middle)]
    # a touching root that is exact settles the pieces beside it
    near = 2 * search.finest
    exact = [r for r in search.found if isinstance(r, Fraction)]
    undecided = [
        piece
        for piece in search.undecided
        if piece.width > near
        or not any(piece.lower - near <= r <= piece.upper + near for r in exact)
    ]
    return Roots(tuple(sorted(search.found, key=lower)), _joined(undecided))


def _joined(pieces: Sequence[Interval]) -> tuple[Interval, ...]:
    joined: list[Interval] = []
    for piece in sorted(pieces, key=lambda item: item.lower):
        if joined and piece.lower <= joined[-1].upper:
            joined[-1] = joined[-1].hull(piece)
        else:
            joined.append(piece)
    return tuple(joined)


def proved(
    equations: Sequence[Node],
    unknowns: Sequence[str],
    point: Mapping[str, Fraction],
    values: Mapping[str, Value],
    ratio: Fraction,
) -> dict[str, Value] | None:
    """A solution of as many equations as unknowns near a point: exact, or proved and enclosed.

    Returns: values by name: fractions where simple ones beside the point solve every equation
        exactly, else intervals that hold exactly one solution; None where neither can be shown.
    """
    simple = {n: point[n].limit_denominator(10**6) for n in unknowns}
    if all(abs(simple[n] - point[n]) < Fraction(1, 10**9) for n in unknowns) and all(
        _exactly_zero(equation, {**values, **simple}, ratio) for equation in equations
    ):
        return dict(simple)
    for exponent in (20, 14, 9):
        box = _krawczyk(equations, unknowns, point, values, ratio, Fraction(1, 10**exponent))
        if box is not None:
            return dict(box)
    return None


def _exactly_zero(equation: Node, values: Mapping[str, Value], ratio: Fraction) -> bool:
    try:
        return evaluate(equation, values, ratio) == ZERO
    except EvaluationError:
        return False


def _krawczyk(
    equations: Sequence[Node],
    unknowns: Sequence[str],
    point: Mapping[str, Fraction],
    values: Mapping[str, Value],
    ratio: Fraction,
    radius: Fraction,
) -> dict[str, Interval] | None:
    """K(X) = y − C f(y) + (1 − C J(X)) (X − y); inside X, it holds the one solution of X."""
    box = {n: Interval(point[n] - radius, point[n] + radius) for n in unknowns}
    good = False
    for _ in range(4):
        centre = {n: box[n].midpoint.limit_denominator(10**60) for n in unknowns}
        try:
            at = [as_interval(evaluate(e, {**values, **centre}, ratio)) for e in equations]
            slopes = [gradient(e, {**values, **box}, ratio)[1] for e in equations]
        except EvaluationError:
            break
        if any(slope is None for row in slopes for slope in row.values()):
            break
        jacobian = [[as_interval(row.get(n) or ZERO) for n in unknowns] for row in slopes]
        inverse = _inverse([[side.midpoint for side in row] for row in jacobian])
        if inverse is None:
            break
        moved = {}
        for i, name in enumerate(unknowns):
            total = Interval(centre[name], centre[name])
            for k, value in enumerate(at):
                total = total - value * inverse[i][k]
            for j, other in enumerate(unknowns):
                factor = as_interval(ONE if i == j else ZERO)
                for k in range(len(at)):
                    factor = factor - jacobian[k][j] * inverse[i][k]
                total = total + factor * (box[other] - centre[other])
            moved[name] = total.rounded(_BITS)
        inside = all(
            box[n].lower < moved[n].lower and moved[n].upper < box[n].upper for n in unknowns
        )
        if not (inside or good):
            return None
        good = True
        if any(moved[n].lower > box[n].upper or moved[n].upper < box[n].lower for n in unknowns):
            break
        box = {n: moved[n].intersection(box[n]) for n in unknowns}
    return box if good else None


def _inverse(matrix: Sequence[Sequence[Fraction]]) -> list[list[Fraction]] | None:
    """An inverse good to some twenty figures (it need not be exact); None where there is none."""
    size = len(matrix)
    rows = [
        [_short(value) for value in row] + [ONE if i == j else ZERO for j in range(size)]
        for i, row in enumerate(matrix)
    ]
    for column in range(size):
        pivot = max(range(column, size), key=lambda r: abs(rows[r][column]))
        if rows[pivot][column] == 0:
            return None
        rows[column], rows[pivot] = rows[pivot], rows[column]
        lead = rows[column][column]
        rows[column] = [_short(value / lead) for value in rows[column]]
        for r in range(size):
            factor = rows[r][column]
            if r != column and factor:
                pairs = zip(rows[r], rows[column], strict=True)
                rows[r] = [_short(one - factor * two) for one, two in pairs]
    return [row[size:] for row in rows]


def _short(value: Fraction) -> Fraction:
    """A fraction cut to some thirty figures."""
    if value.denominator.bit_length() <= 128:
        return value
    shift = max(0, 100 - max(0, value.numerator.bit_length() - value.denominator.bit_length()))
    return Fraction((value.numerator << shift) // value.denominator, 1 << shift)
