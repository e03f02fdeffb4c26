"""Branch and bound over boxes of sizes, for components whose rows do not say all.

A curve (a requirement that is no line) is kept, over a box of sizes, by lines that leave out
nothing that satisfies it: at two corners of the box, with the certified ends of its slopes over the
box. So what the solver proves impossible or dearer over a box is so for the curve as well. The
point that the solver gives is put to the exact check; where it fails, the box is cut in two across
the size that counts most, and lines over smaller boxes lie closer. A point that fails for another
reason is barred, and with it every point that has the same in all that the failing statement rests
on.

Reference: Falk and Soland, An algorithm for separable nonconvex programming problems, Management
Science 15 (1969), for branch and bound over boxes; Moore, Interval Analysis, Prentice-Hall 1966,
for the mean value form (both from memory).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from heapq import heappop, heappush

from scaler.expressions import EvaluationError, enclose, gradient, names
from scaler.expressions.intervals import Interval, lower, upper
from scaler.records import BasisKind
from scaler.settling.solve import middle
from scaler.substitution.compiled import Compiled, Variable
from scaler.substitution.forms import Curve, Row
from scaler.substitution.options import ZERO, Branch
from scaler.substitution.outcome import Outcome, Picks
from scaler.substitution.parts import Component
from scaler.substitution.solver import Clock, Solver
from scaler.substitution.solving import by_solver

Verify = Callable[[Component, Picks], list[str]]
"""The statements that do not hold with these picks, by the exact check."""
Box = Mapping[str, tuple[Fraction, Fraction]]
MOST_BOXES = 400
"""Boxes looked at in one component before the search stops with what it has."""
NEWTON = 5
"""Steps towards a curve's window for a size that may have any value."""
FINE = 10**9
AIM = Fraction(1)
"""How far the aim of a last cut may be off the basic size [mm], as last cuts have it."""
HAIR = Fraction(1, 10**6)
"""By how much lines are set back [mm], so that no rounding cuts off what just holds."""
MANY = 4000
"""A size with more values than this is cut up as if it could have any."""


@dataclass
class Search:
    """A search over boxes: what is known so far, and what is still open."""

    component: Component
    solver: Solver
    clock: Clock
    used: set[str]
    verify: Verify
    first_only: bool = False
    most: int = MOST_BOXES
    best: Outcome | None = None
    bars: list[Picks] = field(default_factory=list)
    looked: int = 0
    unsure: Fraction | None = None
    """The least bound of a box that had to be left open."""
    all: Box = field(default_factory=dict)
    attainable: dict[str, list[Fraction] | None] = field(default_factory=dict)

    def run(self) -> Outcome:
        """The best choice and how far it is proved; with ``first_only`` the first that holds.

        Status ``impossible`` where it is proved that nothing holds, ``unknown`` where nothing was
        found and that is not proved.
        """
        self.all = self.whole()
        self.attainable = {name: values_of(self.component.variable(name)) for name in self.curved()}
        heap: list[tuple[Fraction, int, Box]] = [(ZERO, 0, self.all)]
        count = 1
        while heap:
            bound, _, box = heap[0]
            if self.best is not None and (self.first_only or bound >= self.best.cost):
                break
            if self.looked >= self.most or self.clock.over:
                return self.ended(bound)
            heappop(heap)
            for smaller, at_least in self.look(box, bound):
                heappush(heap, (at_least, count, smaller))
                count += 1
        if self.unsure is not None and not (self.first_only and self.best):
            return self.ended(self.unsure)
        if self.best is None:
            return Outcome("impossible", {}, ZERO, ZERO, "solver", tried=self.looked)
        self.best.status, self.best.bound = "optimal", self.best.cost
        return self.best

    def ended(self, bound: Fraction) -> Outcome:
        """What there is when the search stops before its end."""
        if self.unsure is not None:
            bound = min(bound, self.unsure)
        if self.best is None:
            return Outcome("unknown", {}, ZERO, bound, "solver", tried=self.looked)
        if bound >= self.best.cost:
            self.best.status, self.best.bound = "optimal", self.best.cost
        else:
            self.best.status, self.best.bound = "feasible", bound
        return self.best

    def look(self, box: Box, bound: Fraction) -> Iterable[tuple[Box, Fraction]]:
        """One box: what is left of it to look at, each with the least that it can cost."""
        if self.empty(box):
            return
        self.looked += 1
        rows = [*self.component.rows, *edges_of(box, self.all)]
        for curve in self.component.curves:
            rows += lines(self.component.compiled, curve, box)
        found = by_solver(
            self.component, rows, self.solver, self.clock, self.used, ZERO, False, self.bars
        )
        if found.status == "impossible":
            return
        bound = max(bound, found.bound)
        if not found.picks:
            yield box, bound
            return
        if self.best is not None and bound >= self.best.cost:
            return
        wrong = self.verify(self.component, found.picks)
        if wrong and self.first_only:
            better = self.polished(found.picks, wrong)
            if better is not None:
                found.picks, wrong = better, []
        if not wrong:
            if self.best is None or found.cost < self.best.cost:
                self.best = found
            if found.status == "optimal" or self.first_only:
                return
            yield box, bound
            return
        barred = self.bar(found.picks, wrong)
        halves = self.halves(box, found.picks, wrong)
        if halves:
            for half in halves:
                yield half, bound
        elif barred:
            yield box, bound
        else:  # a size that may have any value: no finer box tells more
            self.unsure = bound if self.unsure is None else min(self.unsure, bound)

    # --- boxes

    def curved(self) -> list[str]:
        """The sizes of the component that curves name."""
        mine = set(self.component.names)
        found = (n for curve in self.component.curves for n in names(curve.node))
        return [name for name in dict.fromkeys(found) if name in mine]

    def whole(self) -> Box:
        """The box of all that may be chosen."""
        return {name: ends_of(self.component.variable(name)) for name in self.curved()}

    def empty(self, box: Box) -> bool:
        """Whether some curve stays outside its window all over a box."""
        compiled = self.component.compiled
        for curve in self.component.curves:
            at = moved(boxed(compiled, [curve], box), shifts(compiled, curve))
            try:
                found = enclose(curve.node, at, compiled.model.ratio, 2)
            except EvaluationError:
                continue
            if (curve.lower is not None and found.upper < curve.lower - curve.margin) or (
                curve.upper is not None and found.lower > curve.upper + curve.margin
            ):
                return True
        return False

    def halves(self, box: Box, picks: Picks, wrong: Iterable[str]) -> list[Box]:
        """The box cut in two across the size that counts most in the curves that failed."""
        compiled = self.component.compiled
        failed = set(wrong)
        best: tuple[Fraction, str] | None = None
        curves = [c for c in self.component.curves if c.statement in failed]
        for curve in curves or self.component.curves:
            at = boxed(compiled, [curve], box)
            try:
                slopes = gradient(curve.node, at, compiled.model.ratio)[1]
            except EvaluationError:
                slopes = {}
            for name in names(curve.node):
                if name not in box or not self.wide(name, *box[name]):
                    continue
                slope = slopes.get(name)
                steep = Fraction(1) if slope is None else upper(slope) - lower(slope) + HAIR
                low, high = box[name]
                weight = steep * (high - low)
                if best is None or weight > best[0]:
                    best = weight, name
        if best is None:
            return []
        name = best[1]
        low, high = box[name]
        place, k = picks[name]
        at_point = self.component.variable(name).branches[place].value(k)
        middle = (low + high) / 2
        if low < at_point < high:  # nearer the point that failed, where the lines lie furthest off
            middle = (middle + at_point) / 2
        below, above = self.around(name, low, high, middle)
        return [{**box, name: (low, below)}, {**box, name: (above, high)}]

    def wide(self, name: str, low: Fraction, high: Fraction) -> bool:
        """Whether a size has more than one value between two ends."""
        values = self.attainable[name]
        if values is None:
            return high - low > HAIR
        return bisect_right(values, high) - bisect_left(values, low) > 1

    def around(
        self, name: str, low: Fraction, high: Fraction, at: Fraction
    ) -> tuple[Fraction, Fraction]:
        """The values on either side of a cut between two ends."""
        values = self.attainable[name]
        if values is None:
            return at, at
        first, last = bisect_left(values, low), bisect_right(values, high) - 1
        cut = min(max(bisect_right(values, at) - 1, first), last - 1)
        return values[cut], values[cut + 1]

    # --- points that fail

    def polished(self, picks: Picks, wrong: Iterable[str]) -> Picks | None:
        """A point that holds, near one that fails, with another value for a size that may have any;
        the solver's own values are no finer than its tolerance. None where none was found."""
        compiled = self.component.compiled
        failed = set(wrong)
        for curve in self.component.curves:
            if curve.statement not in failed or (curve.lower is None and curve.upper is None):
                continue
            ends = [end for end in (curve.lower, curve.upper) if end is not None]
            aim = sum(ends, ZERO) / len(ends)
            for name in names(curve.node):
                variable = self.component.compiled.variables[name]
                if name not in picks or not variable.branches[picks[name][0]].free:
                    continue
                near = dict(picks)
                for _ in range(NEWTON):
                    at = {n: value_at(compiled, near, n) for n in names(curve.node)}
                    try:
                        value, slopes = gradient(curve.node, at, compiled.model.ratio)
                    except EvaluationError:
                        break
                    slope = slopes.get(name)
                    if slope is None or not middle(slope):
                        break
                    place, k = near[name]
                    branch = variable.branches[place]
                    k += (aim - middle(value)) / middle(slope) / branch.step
                    k = Fraction(k).limit_denominator(10**15)
                    near[name] = place, min(max(k, Fraction(branch.low)), Fraction(branch.high))
                if not self.verify(self.component, near):
                    return near
        return None

    def bar(self, picks: Picks, wrong: Iterable[str]) -> bool:
        """Bars the picks of all that the failing statements rest on; False where one of them may
        have any value, so that there is nothing to bar."""
        rests = rests_on(self.component.compiled, next(iter(wrong)))
        barred: Picks = {}
        for name in self.component.names:
            if rests and name not in rests:
                continue
            variable = self.component.variable(name)
            if variable.solved or variable.stepped:
                continue  # worked out from the others
            branch = variable.branches[picks[name][0]]
            if branch.free and branch.follow is None:
                return False
            barred[name] = picks[name]
        if barred:
            self.bars.append(barred)
        return bool(barred)


def value_at(compiled: Compiled, picks: Picks, name: str) -> Fraction:
    """The value that a size has with these picks [mm]."""
    branches = compiled.variables[name].branches
    place, k = picks.get(name, (0, branches[0].low))
    return branches[place].value(k)


def rests_on(compiled: Compiled, key: str) -> set[str]:
    """All sizes that the verdict on a statement rests on: those that it names, those that these
    are worked out from, and those that share a last cut with them. Empty where that is not known.
    """
    statement = compiled.statements.get(key)
    if statement is None:
        return set()
    last: dict[str, list[str]] = {}
    for item in compiled.statements.values():
        if item.basis.kind is BasisKind.LAST_CUT:
            last.setdefault(item.basis.last.partition("@")[0], []).extend(names(item.node))
    seen: set[str] = set()
    stack = list(names(statement.node))
    while stack:
        name = stack.pop()
        for plain in {name, name.partition("@")[0]}:
            if plain in seen:
                continue
            seen.add(plain)
            stack += last.get(plain, [])
            for known in (plain, f"{plain}:definition"):
                if known in compiled.definitions:
                    stack += names(compiled.definitions[known])
    return seen


def ends_of(variable: Variable) -> tuple[Fraction, Fraction]:
    """The least and the greatest value that a size may have [mm]."""
    ends = [end for branch in variable.branches for end in branch.ends]
    return min(ends), max(ends)


def values_of(variable: Variable) -> list[Fraction] | None:
    """All values that a size may have, in order; None where it may have any, or very many."""
    total = 0
    for branch in variable.branches:
        if branch.free and branch.moves:
            return None
        total += int(branch.high) - int(branch.low) + 1
    if total > MANY:
        return None
    return sorted({v for branch in variable.branches for v in steps_of(branch)})


def steps_of(branch: Branch) -> Iterable[Fraction]:
    """The values of a branch with whole steps."""
    if not branch.moves:
        return [branch.value(branch.low)]
    return [branch.value(k) for k in range(int(branch.low), int(branch.high) + 1)]


def edges_of(box: Box, whole: Box) -> list[Row]:
    """The ends of a box as rows."""
    found = []
    for name, (low, high) in box.items():
        if (low, high) != whole[name]:
            row = Row("box", {}, ZERO, low - HAIR, high + HAIR)
            row.part(name).factor = Fraction(1)
            found.append(row)
    return found


def boxed(compiled: Compiled, curves: Iterable[Curve], box: Box) -> dict[str, Interval]:
    """The interval of every size that curves name: of the box, or of what is fixed."""
    found: dict[str, Interval] = {}
    for curve in curves:
        for name in names(curve.node):
            if name in box:
                found[name] = Interval(*box[name])
            elif name not in found:
                found[name] = Interval(*ends_of(compiled.variables[name]))
    return found


def lines(compiled: Compiled, curve: Curve, box: Box) -> list[Row]:
    """Lines that every point of a box satisfies at which a curve lies inside its window.

    f(x) = f(c) + Σ g (x − c) with each slope g somewhere between its ends over the box; at a corner
    c no x − c changes its sign, so that the greatest and the least of the sum are lines. On both
    limits the window is kept wherever within their limits the sizes come out: at the basic sizes,
    where the limits lie about them, and then what the limits take from it at the least is counted
    too; a size whose limits lie to one side may come out anywhere within them.
    """
    ratio = compiled.model.ratio
    moves = shifts(compiled, curve)
    plain = boxed(compiled, [curve], box)
    at = moved(plain, moves)
    spreads = spreads_of(compiled, curve, at, moves)
    try:
        slopes = gradient(curve.node, at, ratio)[1]
    except EvaluationError:
        return []
    if any(slope is None for slope in slopes.values()):
        return []
    found = []
    for low_corner in (True, False):
        corner = {name: i.lower if low_corner else i.upper for name, i in plain.items()}
        try:
            value = gradient(curve.node, corner, ratio)[0]
        except EvaluationError:
            continue
        for is_lower, bound in ((True, curve.lower), (False, curve.upper)):
            if bound is None:
                continue
            row = Row(curve.statement, {})
            if is_lower:  # the most that it can come to must reach the bound
                row.constant, row.lower = upward(upper(value)), bound - curve.margin - HAIR
            else:
                row.constant, row.upper = downward(lower(value)), bound + curve.margin + HAIR
            for name, slope in slopes.items():
                assert slope is not None
                greatest = is_lower == low_corner
                factor = upward(upper(slope)) if greatest else downward(lower(slope))
                if factor:
                    row.part(name).factor = factor
                    row.constant -= factor * corner[name]
                if name in moves:  # it may come out off its basic size, one way or the other
                    ends = [
                        end * move
                        for end in (upward(upper(slope)), downward(lower(slope)))
                        for move in moves[name]
                    ]
                    row.constant += max(ends) if is_lower else min(ends)
            for name, factor in spreads.items():
                row.side = "low" if is_lower else "high"
                row.part(name).spreads = [factor]
            found.append(row)
    return found


def shifts(compiled: Compiled, curve: Curve) -> dict[str, tuple[Fraction, Fraction]]:
    """How far off its basic size each size of a curve on both limits may have to be looked at: one
    whose limits lie to one side of it, and one that is cut last, which goes to its aim."""
    if not curve.worst:
        return {}
    last = {item.basis.last.partition("@")[0] for item in compiled.statements.values()}
    found = {}
    for name in names(curve.node):
        if name.partition("@")[0] in last:
            found[name] = -AIM, AIM
            continue
        variable = compiled.variables[name]
        ends = [compiled.deviation(name, branch) for branch in variable.branches]
        if any(down > 0 or up < 0 for down, up in ends):
            found[name] = min(ZERO, *(down for down, _ in ends)), max(ZERO, *(u for _, u in ends))
    return found


def moved(
    at: Mapping[str, Interval], moves: Mapping[str, tuple[Fraction, Fraction]]
) -> dict[str, Interval]:
    """Intervals with what sizes may be off them added at either end."""
    found = dict(at)
    for name, (down, up) in moves.items():
        found[name] = Interval(at[name].lower + down, at[name].upper + up)
    return found


def spreads_of(
    compiled: Compiled,
    curve: Curve,
    at: Mapping[str, Interval],
    moves: Mapping[str, tuple[Fraction, Fraction]],
) -> dict[str, Fraction]:
    """Factors on the limits of sizes that move a curve by at least as much, all over a box: the
    flattest slope of each size that moves it one way only, and whose limits lie about it."""
    if not curve.worst or curve.statement in compiled.doubtful:
        return {}
    wider = dict(at)
    limits = [name for name in at if name not in moves]
    for name in limits:
        variable = compiled.variables[name]
        ends = [compiled.deviation(name, branch) for branch in variable.branches]
        down, up = min(end[0] for end in ends), max(end[1] for end in ends)
        wider[name] = Interval(at[name].lower + down, at[name].upper + up)
    try:
        slopes = gradient(curve.node, wider, compiled.model.ratio)[1]
    except EvaluationError:
        return {}
    found = {}
    for name in limits:
        slope = slopes.get(name)
        if slope is None:
            continue
        flat = ZERO
        if lower(slope) > 0:
            flat = downward(lower(slope))
        elif upper(slope) < 0:
            flat = upward(upper(slope))
        if flat:
            found[name] = flat
    return found


def upward(value: Fraction) -> Fraction:
    """A number kept to nine places, rounded up."""
    return Fraction(-((-value * FINE).__floor__()), FINE)


def downward(value: Fraction) -> Fraction:
    """A number kept to nine places, rounded down."""
    return -upward(-value)
