"""The best choice for a large component, in pieces that grow where their choices break a statement.

Every size starts as a piece of its own and takes its best. A statement that these choices break
joins the pieces that it touches, and the joined piece is chosen for anew, under all statements that
lie within it. Statements between pieces are left out meanwhile. Leaving out can only make a choice
cheaper, so the pieces' least costs never add up to more than the least cost of the whole; and as
soon as no statement is broken they add up to just that, and the choice is proved best. Most
statements hold without being asked for, so that pieces stay small.

A piece that nothing can meet makes the whole impossible, and is told apart from the rest. A piece
that is not proved best in its share of the time stops growing. What is then still broken is
mended: the sizes around it are chosen anew with all others held, wider and wider until it can be
done; and after that, with the time left, for less cost. The bound stays that of the pieces.

Reference: leaving restrictions out and adding those that are broken is as old as Dantzig, Fulkerson
and Johnson, Solution of a large-scale traveling-salesman problem, Operations Research 2 (1954)
(from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from fractions import Fraction

from scaler.expressions import names as names_of
from scaler.substitution.at_once import at_once
from scaler.substitution.boxes import Verify
from scaler.substitution.compiled import Compiled, CostLine, Link, Variable
from scaler.substitution.forms import Curve, Row
from scaler.substitution.options import ZERO
from scaler.substitution.outcome import Outcome, Picks, exact_cost, order_of, sections_of, total
from scaler.substitution.parts import Component, row_holds
from scaler.substitution.solver import Clock, Solver

LEAST = 2.0
"""Seconds that a piece may take at least."""
SMALL = 16
"""Pieces of up to so many sizes are joined and chosen for also when the time is up: that takes
milliseconds, and without it there would be nothing to show."""
FIRST, WIDEST = 24, 400
"""Sizes around a broken statement that are chosen anew at first; and at most, when the time is up
or for less cost."""
LATE = "which of equally good choices it is was not settled in time"
NONE = "time ran out before a choice was found that holds"


@dataclass(slots=True)
class Piece:
    """Sizes chosen for together, and what came of it; ``full``: nothing is left open by the cost."""

    names: list[str]
    outcome: Outcome
    full: bool


class Growing:
    """One component in work."""

    def __init__(
        self,
        component: Component,
        clock: Clock,
        solver: Callable[[], Solver],
        used: set[str],
        slack: Fraction = ZERO,
        levels: bool = True,
        verify: Verify | None = None,
    ) -> None:
        """As for :func:`scaler.substitution.search.search`."""
        self.component, self.compiled = component, component.compiled
        self.clock, self.solver, self.verify = clock, solver, verify
        self.used, self.slack, self.levels = used, slack, levels
        self.place = {name: number for number, name in enumerate(component.names)}
        self.rows: dict[str, list[Row]] = {}
        for row in component.rows:
            self.rows.setdefault(row.statement, []).append(row)
        self.about: dict[str, list[str]] = {
            key: self.open_names(n for row in rows for n in (*row.parts, row.when))
            for key, rows in self.rows.items()
        }
        self.curves: dict[str, list[Curve]] = {}
        for curve in component.curves:
            self.curves.setdefault(curve.statement, []).append(curve)
            known = self.about.get(curve.statement, [])
            self.about[curve.statement] = self.open_names((*known, *names_of(curve.node)))
        self.keys_of: dict[str, list[str]] = {name: [] for name in component.names}
        for key, named in self.about.items():
            for name in named:
                self.keys_of[name].append(key)
        self.costs: dict[str, list[CostLine]] = {}
        for line in component.costs:
            for name in self.open_names(line.form.factors)[:1]:
                self.costs.setdefault(name, []).append(line)
        self.links: dict[str, list[Link]] = {}
        for link in component.links:
            self.links.setdefault(link.other, []).append(link)
        self.parent = {name: name for name in component.names}
        self.members = {name: [name] for name in component.names}
        for named in self.together():
            self.join(named)
        self.atom = {n: tuple(members) for members in self.members.values() for n in members}
        self.near = set(used)
        self.pieces: dict[str, Piece] = {}
        self.picks: Picks = {}

    def open_names(self, named: Iterable[str]) -> list[str]:
        """Those of the names that are sizes of the component, each once."""
        return [name for name in dict.fromkeys(named) if name in self.place]

    def together(self) -> Iterable[list[str]]:
        """Sizes that are never parted: by what is no plain row between chosen sizes."""
        for key, named in self.about.items():
            plain = key not in self.curves and key not in self.compiled.approximate
            if not plain or any(row.when for row in self.rows[key]) or any(map(self.bound, named)):
                yield named
        for line in self.component.costs:
            yield self.open_names(line.form.factors)
        for link in self.component.links:
            yield self.open_names((link.other, link.one))

    def bound(self, name: str) -> bool:
        """Whether a size is worked out rather than chosen."""
        variable = self.compiled.variables[name]
        free = any(branch.free for branch in variable.branches)
        return variable.stepped or variable.solved or free

    def find(self, name: str) -> str:
        """The size that stands for the piece of a size."""
        while self.parent[name] != name:
            self.parent[name] = self.parent[self.parent[name]]
            name = self.parent[name]
        return name

    def join(self, named: list[str]) -> None:
        """Makes one piece of all that the sizes belong to."""
        for other in named[1:]:
            one, two = self.find(named[0]), self.find(other)
            if one != two:
                if len(self.members[one]) < len(self.members[two]):
                    one, two = two, one
                self.parent[two] = one
                self.members[one] += self.members.pop(two)

    # --- growing

    def run(self) -> Outcome:
        """The best picks of the component, or the best found with its bound."""
        for root in list(self.members):
            self.solve(root, [])
        self.grow(set(self.rows))
        none = [piece for piece in self.pieces.values() if piece.outcome.status == "impossible"]
        if none:
            cores = tuple(self.part(self.compiled, piece.names) for piece in none)
            return Outcome("impossible", {}, ZERO, ZERO, none[0].outcome.how, cores=cores)
        if not self.proved():
            return self.mended()
        found = self.outcome("optimal", self.bound_of())
        if self.levels and not self.finish():
            found.notes.append(LATE)
            return found
        return self.outcome("optimal", self.bound_of())

    def proved(self) -> bool:
        """Whether no statement is broken and every piece is proved best."""
        best = all(piece.outcome.status == "optimal" for piece in self.pieces.values())
        return best and not any(map(self.broken, self.rows))

    def broken(self, key: str) -> bool:
        """Whether the rows of a statement do not hold with the picks so far."""
        rows = self.rows[key]
        if any(row.when for row in rows) or key in self.compiled.approximate:
            return any(name not in self.picks for name in self.about[key])
        return not all(row_holds(self.compiled, row, self.picks) for row in rows)

    def grow(self, asked: set[str]) -> None:
        """Joins pieces at broken statements until none is broken that may still join any."""
        while asked:
            now: list[tuple[str, list[Piece]]] = []
            taken: set[str] = set()
            later: set[str] = set()
            for key in (key for key in self.rows if key in asked):
                roots = dict.fromkeys(map(self.find, self.about[key]))
                pieces = [self.pieces[root] for root in roots]
                if len(pieces) < 2 or any(p.outcome.status != "optimal" for p in pieces):
                    continue
                if self.late(pieces) or not self.broken(key):
                    continue
                if taken.isdisjoint(roots):
                    taken.update(roots)
                    now.append((key, pieces))
                else:  # by its turn it may hold
                    later.add(key)
            asked = later
            for key, pieces in now:
                if self.late(pieces):
                    continue
                for root in dict.fromkeys(map(self.find, self.about[key])):
                    del self.pieces[root]
                self.join(self.about[key])
                root = self.find(self.about[key][0])
                self.solve(root, pieces)
                asked.update(k for name in self.members[root] for k in self.keys_of[name])

    def late(self, pieces: list[Piece]) -> bool:
        """Whether there is no time for what some pieces are joined to."""
        return self.clock.over and sum(len(piece.names) for piece in pieces) > SMALL

    def solve(self, root: str, before: list[Piece], full: bool = False) -> None:
        """Chooses for one piece; ``before``: what it was joined from, or what came of it before it
        got the levels below the cost (``full``)."""
        names = sorted(self.members[root], key=self.place.__getitem__)
        part = self.part(self.compiled, names)
        share = Fraction(len(names), len(self.place))
        slack = self.slack * share if full else ZERO
        clock = Clock(max(LEAST, self.clock.left * max(1 / 4, float(share))))
        outcome = at_once(
            part,
            clock,
            self.solver,
            self.near,
            slack,
            full,
            self.verify,
            before[0].outcome if full else None,
        )
        outcome.bound = max(outcome.bound, total(piece.outcome.bound for piece in before))
        settled = full or not self.levels or (outcome.how != "solver" and not self.slack)
        self.pieces[root] = Piece(names, outcome, settled)
        self.picks.update(outcome.picks)
        self.near |= sections_of(part, outcome.picks)

    def part(self, compiled: Compiled, names: list[str], across: bool = False) -> Component:
        """The sizes with the statements that lie within them; ``across``: all that touch them."""
        mine = set(names)
        keys = dict.fromkeys(key for name in names for key in self.keys_of[name])
        if not across:
            keys = {key: None for key in keys if mine.issuperset(self.about[key])}
        return Component(
            compiled,
            names,
            [row for key in keys for row in self.rows.get(key, ())],
            [curve for key in keys for curve in self.curves.get(key, ())],
            [line for name in names for line in self.costs.get(name, ())],
            [link for name in names for link in self.links.get(name, ())],
            list(keys),
        )

    def finish(self) -> bool:
        """The levels below the cost for the pieces that lack them; False where time runs out."""
        while not self.clock.over:
            lacking = [root for root, piece in self.pieces.items() if not piece.full]
            if not lacking:
                return self.proved()
            touched: set[str] = set()
            for root in lacking:
                if self.clock.over:
                    return False
                self.solve(root, [self.pieces[root]], full=True)
                touched.update(k for name in self.members[root] for k in self.keys_of[name])
            self.grow(touched)
        return False

    # --- mending

    def mended(self) -> Outcome:
        """A choice that holds, near what the pieces would like; then a cheaper one, in the time."""
        bound = self.bound_of()
        bare = [p.names for p in self.pieces.values() if p.names and not p.outcome.picks]
        for name in (name for names in bare for name in names if name not in self.picks):
            self.picks[name] = (0, self.compiled.variables[name].branches[0].low)
        spots = [*bare, *(self.about[key] for key in self.rows if self.broken(key))]
        for number, spot in enumerate(spots):
            wide, forced = FIRST, number < len(bare)
            while forced or any(self.broken(k) for n in spot for k in self.keys_of[n]):
                if self.again(self.around(spot, wide), Clock(max(LEAST, self.clock.left / 4))):
                    break
                if wide >= len(self.place) or (self.clock.over and wide >= WIDEST):
                    return Outcome("unknown", {}, ZERO, bound, "solver", notes=[NONE])
                wide *= 2
        best, wide = self.outcome("feasible", bound), 2 * FIRST
        while wide <= WIDEST and best.cost > bound:
            for spot in spots:
                if self.clock.over:
                    return best
                self.again(self.around(spot, wide), Clock(self.clock.left / 4), cheaper=True)
            best = self.outcome("feasible", bound)
            wide *= 2
        best.status = "optimal" if best.cost <= bound else "feasible"
        return best

    def around(self, named: Iterable[str], count: int) -> list[str]:
        """Sizes around some, about so many, along the statements; those never parted together."""
        found: dict[str, None] = {}
        queue = list(named)
        for name in queue:
            if name in found:
                continue
            found.update(dict.fromkeys(self.atom[name]))
            if len(found) < count:
                queue += [
                    n for one in self.atom[name] for k in self.keys_of[one] for n in self.about[k]
                ]
        return sorted(found, key=self.place.__getitem__)

    def again(self, names: list[str], clock: Clock, cheaper: bool = False) -> bool:
        """Chooses anew for some sizes with all others held; False where that cannot be.

        ``cheaper``: only what costs less is taken over.
        """
        known = self.compiled.variables
        keys = dict.fromkeys(key for name in names for key in self.keys_of[name])
        near = dict.fromkeys(n for key in keys for row in self.rows.get(key, ()) for n in row.parts)
        mine = set(names)
        outside = {n: self.picks[n] for n in near if n in self.place and n not in mine}
        held = {n: self.held(known[n]) if n in outside else known[n] for n in (*near, *names)}
        part = self.part(replace(self.compiled, variables=held), names, across=True)

        def checked(component: Component, picks: Picks) -> list[str]:
            assert self.verify is not None
            return self.verify(replace(component, compiled=self.compiled), {**outside, **picks})

        verify = checked if self.verify is not None else None
        outcome = at_once(part, clock, self.solver, self.near, ZERO, False, verify)
        if not outcome.picks:
            return False
        before = {name: self.picks[name] for name in names}
        if not cheaper or outcome.cost < exact_cost(part, before):
            self.picks.update(outcome.picks)
        return True

    def held(self, variable: Variable) -> Variable:
        """A size that stays as it was picked."""
        place, k = self.picks[variable.name]
        branch = variable.branches[place]
        limits = self.compiled.deviation(variable.name, branch)
        value = branch.value(k)
        fixed = replace(branch, base=value, step=ZERO, low=0, high=0, deviations=limits)
        return replace(variable, branches=[fixed], fixed=True)

    # --- results

    def bound_of(self) -> Fraction:
        """What no choice can cost less than."""
        return total(piece.outcome.bound for piece in self.pieces.values())

    def outcome(self, status: str, bound: Fraction) -> Outcome:
        """What has been picked, as what came of the component."""
        picks = {name: self.picks[name] for name in self.component.names}
        cost = exact_cost(self.component, picks)
        hard = any(piece.outcome.how == "solver" for piece in self.pieces.values())
        found = Outcome(
            status,
            picks,
            cost,
            min(bound, cost),
            "solver" if hard else "nearest",
            order_of(self.component, picks, self.used),
        )
        largest = max(len(piece.names) for piece in self.pieces.values())
        found.notes.append(
            f"{len(picks)} linked sizes, chosen in {len(self.pieces)} pieces of up to {largest}"
        )
        return found
