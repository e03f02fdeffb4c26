"""Linear equations in fractions: solved, found open, or found to contradict each other.

Gaussian elimination on sparse rows, the shortest row and its rarest unknown first, so that a long
chain or ring does not fill up. Each row remembers which equations it is made of. The equations that
give a pivot are independent, so one that is left without unknowns is one combination of them and of
no others: where its right-hand side does not agree, those equations and itself disagree, and
without any one of them the rest do not.

References: the choice of pivots is Markowitz's, The elimination form of the inverse and its
application to linear programming, Management Science 3 (1957), in its simplest form (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from heapq import heapify, heappop, heappush
from itertools import combinations

from scaler.expressions import Linear
from scaler.expressions.intervals import Interval, Value, lower, upper

ZERO, ONE = Fraction(0), Fraction(1)
MOST_SUBSETS = 4000
"""Subsets that are tried when a smaller disagreeing set is looked for."""
Row = dict[str, Fraction]


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Equations (by number) that cannot all hold, and by how much the last is off if the others do."""

    members: tuple[int, ...]
    off: Fraction


@dataclass(frozen=True, slots=True)
class LinearSolution:
    """``forms``: each unknown found, as a form in the known names; ``open_unknowns``: those that
    are not fixed, of which ``missing`` must be given; ``disagreement``: the first one found."""

    forms: Mapping[str, Linear]
    open_unknowns: tuple[str, ...]
    missing: int
    disagreement: Disagreement | None


def at(form: Linear, values: Mapping[str, Value]) -> Value:
    """A form's value: exact where all its names are, else an interval."""
    total: Value = form.constant
    for name, factor in form.coefficients.items():
        total = total + values[name] * factor
    return total


def _add(row: Row, other: Mapping[str, Fraction], factor: Fraction) -> None:
    for name, value in other.items():
        total = row.get(name, ZERO) + factor * value
        if total:
            row[name] = total
        else:
            row.pop(name, None)


def solve_linear(
    forms: Sequence[Linear],
    unknowns: Sequence[str],
    values: Mapping[str, Value],
    *,
    forgive: bool = False,
) -> LinearSolution:
    """Solves forms = 0 for the unknowns; there may be more forms than unknowns, or fewer.

    Parameters: values : of all other names in the forms, exact or enclosed; they decide only
        whether an equation that gives no pivot agrees; forgive : go on without one that does not.
    Notes: exact numbers grow with the length of a ring; one of 500 takes seconds. There is no
        bound here: :mod:`scaler.settling.solve` has one.
    """
    order = {name: number for number, name in enumerate(unknowns)}
    system = [_Equation(form, order, str(index)) for index, form in enumerate(forms)]
    used_in: dict[str, set[int]] = {name: set() for name in unknowns}
    for index, equation in enumerate(system):
        for name in equation.row:
            used_in[name].add(index)
    waiting = [(len(equation.row), index) for index, equation in enumerate(system)]
    heapify(waiting)
    pivots: dict[str, _Equation] = {}
    done: set[int] = set()
    while waiting:
        length, index = heappop(waiting)
        equation = system[index]
        if index in done or length != len(equation.row):
            continue
        done.add(index)
        if not equation.row:
            off = at(Linear(equation.rest.pop("", ZERO), equation.rest), values)
            if not forgive and (lower(off) > 0 or upper(off) < 0):
                members = tuple(sorted(map(int, equation.made)))
                worth = off.midpoint if isinstance(off, Interval) else off
                worth /= equation.made[str(members[-1])]
                return LinearSolution({}, (), 0, Disagreement(members, worth))
            continue
        pivot = min(equation.row, key=lambda name: (len(used_in[name]), order[name]))
        for name in equation.row:
            used_in[name].discard(index)
        for other in sorted(used_in.pop(pivot)):
            changed = system[other]
            before = set(changed.row)
            changed.take(equation, -changed.row[pivot] / equation.row[pivot])
            for name in before - changed.row.keys() - {pivot}:
                used_in[name].discard(other)
            for name in changed.row.keys() - before:
                used_in[name].add(other)
            heappush(waiting, (len(changed.row), other))
        pivots[pivot] = equation
    return _put_back(unknowns, pivots)


class _Equation:
    """One equation under way: its unknowns, its known names with "" for the constant, and which
    equations it is made of."""

    __slots__ = ("made", "rest", "row")

    def __init__(self, form: Linear, order: Mapping[str, int], name: str) -> None:
        self.row: Row = {n: c for n, c in form.coefficients.items() if n in order}
        self.rest: Row = {n: c for n, c in form.coefficients.items() if n not in order}
        self.rest[""] = form.constant
        self.made: Row = {name: ONE}

    def take(self, other: _Equation, factor: Fraction) -> None:
        """Adds a multiple of another."""
        _add(self.row, other.row, factor)
        _add(self.rest, other.rest, factor)
        _add(self.made, other.made, factor)


def _put_back(unknowns: Sequence[str], pivots: dict[str, _Equation]) -> LinearSolution:
    """The unknowns in the known names, last pivot first. Those in which one without a pivot is left
    are open (it may cancel on the way)."""
    found: dict[str, Linear] = {}
    loose = [name for name in unknowns if name not in pivots]
    for name, equation in reversed(pivots.items()):
        total: Row = dict(equation.rest)
        for other, factor in equation.row.items():
            if other in found:
                _add(total, found[other].coefficients, factor)
                _add(total, {"": found[other].constant}, factor)
            elif other != name:
                _add(total, {other: ONE}, factor)
        by = -1 / equation.row[name]
        constant = total.pop("", ZERO) * by
        found[name] = Linear(constant, {n: c * by for n, c in total.items()})
    free = set(loose)
    forms = {name: form for name, form in found.items() if not free & form.coefficients.keys()}
    opened = tuple(name for name in unknowns if name not in forms)
    return LinearSolution(forms, opened, len(loose), None)


def smallest_disagreement(
    forms: Sequence[Linear], unknowns: Sequence[str], values: Mapping[str, Value]
) -> Disagreement | None:
    """A set of equations that cannot all hold and of which none can be spared; None if all can.

    Of all such sets one with the fewest members, as far as :data:`MOST_SUBSETS` tries reach.
    """
    best = solve_linear(forms, unknowns, values).disagreement
    if best is None:
        return None
    tries = 0
    for count in range(2, len(best.members)):  # one that cannot hold by itself is found first
        for chosen in combinations(range(len(forms)), count):
            tries += 1
            if tries > MOST_SUBSETS:
                return best
            part = solve_linear([forms[n] for n in chosen], unknowns, values).disagreement
            if part is not None:
                return Disagreement(tuple(chosen[n] for n in part.members), part.off)
    return best
