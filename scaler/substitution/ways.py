"""Ways out of a conflict: the fewest and cheapest changes that make a choice possible again.

One elastic programme holds every change that may be made, each behind a yes-or-no: another row, a
size cut to suit, a wider reach, another catalogue, a looser fit, another basis, a made part made
again, an option that the builder declared. It is solved for the least made work lost, then the
fewest requirements given up, then the least departure and price; sets found are barred and the
next looked for. Curves stand in it as lines at the point last found. Each set is then made on the
records and the whole model is chosen and checked afresh: only what that confirms is shown.

Where a component has several conflicts, the ways out of one are looked for with what the others
rest on set aside, and those of all together with nothing set aside.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.checking import cautions
from scaler.checking.conflicts import check
from scaler.problems import InputError
from scaler.records import Choice, Model, Stage
from scaler.settling.settle import Settlement, reach_of, settle
from scaler.substitution.aside import Aside
from scaler.substitution.candidates import tangent
from scaler.substitution.changes import Change, looser_classes
from scaler.substitution.compile import compile_model, is_closed
from scaler.substitution.compiled import Compiled
from scaler.substitution.elastic import Elastic, elastic_piece, slack_of
from scaler.substitution.options import ZERO
from scaler.substitution.outcome import Picks
from scaler.substitution.parts import Component, components
from scaler.substitution.programme import COST_SCALE, INFINITY, Programme
from scaler.substitution.records import WayOut
from scaler.substitution.solver import Clock
from scaler.substitution.verify import choices_of, part_of, unheld

if TYPE_CHECKING:
    from scaler.substitution.task import Task

LOST = 1000.0
"""A made part lost counts for so many requirements given up."""
SMALL = 0.01
"""An option counts for so much of a requirement: fewer are better, other things being equal."""
MOST_CHANGES = 4
MOST_AGAIN = 2
MOST_OPTIONS = 2
AGAIN = 6
"""How often lines through curves are laid anew for one set of changes."""
KINDS = {
    "reach": "wider reaches (up to three times)",
    "recut": "cutting sizes to suit",
    "row": "rows that the shop does not have",
    "forbid": "rows that are forbidden",
    "catalogue": "other catalogues",
    "loosen": "looser fits (up to twice their width at either end)",
    "basis": "another basis",
    "remake": "making made sizes again",
    "option": "declared options",
}


Bar = tuple[frozenset[str], bool]
"""A set of changes looked at; True: a way out, so that no set with all of it is one."""


@dataclass
class Ways:
    """The search for ways out of the conflicts of one component.

    ``piece`` is what the component makes of the model; ``aside`` is what other conflicts of it rest
    on and is set aside, ``elsewhere`` what those of other components rest on, which an option may
    reach into.
    """

    task: Task
    part: Component
    piece: Model
    clock: Clock
    most: int
    aside: Aside
    elsewhere: Aside
    kept: Model = field(init=False)
    whole: Model = field(init=False)
    both: Aside = field(init=False)

    def run(self) -> tuple[tuple[WayOut, ...], str]:
        """Ways out, best first, and in words what was tried."""
        self.both = self.aside | self.elsewhere
        self.whole = self.both.of(self.task.model)
        self.kept = self.aside.of(self.piece)
        elastic = elastic_piece(
            self.task.exact, self.task.options, self.task.model, self.kept, self.aside.loose
        )
        tried = tried_text(elastic)
        merged = merge(elastic.compiled, components(elastic.compiled))
        found: list[WayOut] = []
        bars: list[Bar] = []
        for _ in range(4 * self.most):
            point = self.next_set(elastic, merged, bars)
            if point is None or self.clock.over:
                break
            programme, values, chosen = point
            picks = programme.read(values)
            changes = [elastic.makers[item](programme, values, picks) for item in sorted(chosen)]
            way = self.proved(elastic.compiled, changes)
            bars.append((chosen, way is not None))
            if way is not None and all(way.changes != other.changes for other in found):
                found.append(way)
            if len(found) >= self.most:
                break
        found.sort(key=lambda way: (len(way.lost), len(way.gives_up), way.cost, way.changes))
        if self.clock.over:
            tried += "; time ran out"
        return tuple(found), tried

    # --- sets of changes

    def next_set(
        self, elastic: Elastic, merged: Component, bars: list[Bar]
    ) -> tuple[Programme, list[float], frozenset[str]] | None:
        """The next best set: the programme that gave it, its point, and what it gives up; none that
        holds a way out found before. None where there are no more."""
        point: Picks | None = None
        last: tuple[Programme, list[float], frozenset[str]] | None = None
        for _ in range(AGAIN if merged.curves else 1):
            if self.clock.over:
                return last
            found = self.solved(elastic, merged, bars, point)
            if found is None:
                return last
            programme, values, chosen = found
            if chosen:
                last = found
            again = programme.read(values)
            if again == point:
                break
            point = again
        return last

    def solved(
        self,
        elastic: Elastic,
        merged: Component,
        bars: list[Bar],
        point: Picks | None,
    ) -> tuple[Programme, list[float], frozenset[str]] | None:
        """One solution of the elastic programme, with lines through its curves at a point."""
        curved = []
        for curve in merged.curves:
            for row in tangent(merged, curve, point):
                row.slack = slack_of(elastic, row)
                curved.append(row)
        programme = Programme(replace(merged, rows=[*merged.rows, *curved]), elastic.caps)
        if not programme.items:
            return None
        items = programme.items
        for item, sizes in elastic.together.items():
            for name in sizes if item in items else ():
                branches = merged.variable(name).branches
                with_it = [
                    (pick, 1.0)
                    for branch, pick in zip(branches, programme.picks[name], strict=True)
                    if item in branch.items
                ]
                programme.row(0.0, 0.0, [*with_it, (items[item], -1.0)])
        weights = {}
        for item, column in items.items():
            plain = SMALL if item in elastic.prices else 1.0
            weights[column] = LOST if item in elastic.lost else plain
        sorts = {
            MOST_CHANGES: [c for i, c in items.items() if i not in elastic.lost],
            MOST_AGAIN: [c for i, c in items.items() if i in elastic.lost],
        }
        for most, columns in sorts.items():
            programme.row(-INFINITY, float(most), [(column, 1.0) for column in columns])
        offered = [(c, 1.0) for i, c in items.items() if i in elastic.prices]
        programme.row(-INFINITY, float(MOST_OPTIONS), offered)
        for bar, done in bars:
            terms = [(items[item], 1.0) for item in bar if item in items]
            others = [] if done else [(c, -1.0) for i, c in items.items() if i not in bar]
            programme.row(-INFINITY, len(terms) - 1.0, [*terms, *others])
        departure = list(programme.cost)
        programme.cost = [weights.get(c, 0.0) for c in range(len(departure))]
        solver = self.task.solver()
        solver.load(programme)
        answer = solver.run(self.clock.left)
        if answer.values is None:
            return None
        count = sum(weight for c, weight in weights.items() if answer.values[c] > 0.5)
        solver.add_row(-INFINITY, count + SMALL / 2, weights)
        for column in programme.slacks.values():
            departure[column] = 10 * COST_SCALE
        for item, price in elastic.prices.items():
            if item in items:
                departure[items[item]] += float(price) * COST_SCALE
        solver.change_cost(departure)
        best = solver.run(self.clock.left)
        values = best.values if best.values is not None else answer.values
        chosen = [i for i, c in items.items() if values[c] > 0.5]
        really = frozenset(used(programme, values, chosen))
        if any(really == bar for bar, _ in bars):
            return None
        return programme, values, really

    # --- proof

    def proved(self, compiled: Compiled, changes: list[Change]) -> WayOut | None:
        """The changes as a way out, if with them the whole model is confirmed, but for what is set
        aside and what other components lack; needless ones dropped."""
        solved = self.works(changes)
        for change in changes if solved is None else ():
            for other in change.otherwise:
                instead = [other if each is change else each for each in changes]
                solved = self.works(instead)
                if solved is not None:
                    changes = instead
                    break
            if solved is not None:
                break
        if solved is None:
            return None
        for change in list(changes):
            rest = [other for other in changes if other is not change]
            better = self.works(rest) if rest else None
            if better is not None:
                changes, solved = rest, better
        for change in [each for each in changes if each.kind == "looser fit"]:
            for named in looser_classes(self.kept, compiled, change):
                instead = [named if each is change else each for each in changes]
                better = self.works(instead)
                if better is not None:
                    changes, solved = instead, better
                    break
        cost = self.confirmed(changes, solved[1])
        if cost is None:
            return None
        touched = {name for change in changes for name in change.about}
        return WayOut(
            tuple(change.text for change in changes),
            tuple(change.gives_up for change in changes if change.gives_up),
            tuple(dict.fromkeys(name for change in changes for name in change.lost)),
            cost + solved[0] + sum((change.price for change in changes), ZERO),
            tuple(change.kind for change in changes),
            caution_texts(self.task.model, touched),
            edited(self.task.model, changes),
            tuple(changes),
            tuple(change.write for change in changes),
            sum((change.price for change in changes), ZERO),
        )

    def touched(self, changes: Iterable[Change]) -> list[Component]:
        """The other components that changes reach into: an option may give sizes of several."""
        mine = set(self.piece.sizes)
        about = {name for c in changes if c.kind == "option" for name in c.about} - mine
        keys = {
            key
            for change in changes
            if change.kind == "option"
            for option in self.task.model.options.values()
            if option.thickens and option.thickens in change.about
            for key in option.within
        }
        found = []
        for other in self.task.parts:
            if other is not self.part and (
                about & set(other.names) or keys & {key.partition("@")[0] for key in other.keys}
            ):
                found.append(other)
        return found

    def works(self, changes: list[Change]) -> tuple[Fraction, dict[str, Choice]] | None:
        """Cost and choices of the best of the piece with the changes made; None where there is
        none."""
        others = self.touched(changes)
        piece = self.kept
        if others:
            sizes = [*piece.sizes, *(name for part in others for name in part.names)]
            keys = [*self.part.keys, *(key for part in others for key in part.keys)]
            piece = part_of(self.whole, self.task.exact, sizes, keys)
        return self.solved_piece(edited(piece, changes), self.exact(changes))

    def solved_piece(
        self, piece: Model, exact: Settlement | None
    ) -> tuple[Fraction, dict[str, Choice]] | None:
        """Cost and choices of the best of a piece of a model; None where nothing holds."""
        from scaler.substitution.task import Task as FreshTask

        clock = Clock(max(0.5, self.clock.left))
        try:
            fresh = FreshTask(piece, clock, levels=False, exact=exact, loose=self.both.loose)
            fresh.kept_solver = self.task.solver()
            fresh.solve()
        except InputError:
            return None
        if fresh.status not in ("optimal", "feasible"):
            return None
        cost = sum((o.cost for o in fresh.outcomes), ZERO) + fresh.fixed_cost()
        return cost, choices_of(fresh.compiled, fresh.picks())

    def exact(self, changes: Iterable[Change]) -> Settlement | None:
        """The sizes at exact scale; to be worked out anew where an option brings another."""
        return None if any(c.kind == "option" for c in changes) else self.task.exact

    def confirmed(self, changes: list[Change], choices: dict[str, Choice]) -> Fraction | None:
        """The check of the whole model with the changes made and these choices; the cost of all
        that is outside the piece. None where it does not confirm them."""
        task = self.task
        others = self.touched(changes)
        whole = (self.both if others else self.aside).of_sizes(edited(task.model, changes))
        mine = {*self.piece.sizes, *(name for part in others for name in part.names), *choices}
        kept = {k: c for k, c in task.chosen.choices.items() if k not in mine}
        for name in mine:
            if name in whole.choices and is_closed(whole.sizes[name.partition("@")[0]]):
                kept[name] = whole.choices[name]
        try:
            checked = check(replace(whole, choices={**kept, **choices}))
            exact = self.exact(changes) or settle(whole, Stage.EXACT)
            fresh = compile_model(whole, exact)
        except InputError:
            return None
        elsewhere = set(self.both.dropped)
        total = self.outside_cost(mine)
        for other, outcome in zip(task.parts, task.outcomes, strict=True):
            if other is self.part or other in others:
                continue
            total += outcome.cost
            if not outcome.picks:
                elsewhere |= set(other.keys)
        if any(key not in elsewhere for key in unheld(fresh, checked.findings)):
            return None
        return total

    def outside_cost(self, mine: set[str]) -> Fraction:
        """What sizes that are no longer open, outside the piece, cost."""
        total = ZERO
        for name, variable in self.task.compiled.variables.items():
            if name in mine or not variable.fixed or variable.exact is None:
                continue
            unit = variable.size.weight / reach_of(variable.size, None, variable.exact)
            total += unit * abs(variable.branches[0].base - variable.exact)
        return total


def tried_text(elastic: Elastic) -> str:
    """What was looked at, in words."""
    counts: dict[str, int] = {}
    for item in elastic.makers:
        kind = item.partition(" ")[0]
        counts[kind] = counts.get(kind, 0) + 1
    listed = ", ".join(f"{text} ({counts[kind]})" for kind, text in KINDS.items() if kind in counts)
    most = f"up to {MOST_CHANGES} together and {MOST_AGAIN} made parts"
    return f"tried, {most}: {listed or 'nothing that may be given up'}"


def used(programme: Programme, values: list[float], chosen: Iterable[str]) -> list[str]:
    """The items that a point really uses."""
    needed = set()
    for name, picks in programme.picks.items():
        for branch, pick in zip(programme.component.variable(name).branches, picks, strict=True):
            if branch.items and (pick < 0 or values[pick] > 0.5):
                needed |= set(branch.items)
    for key, column in programme.slacks.items():
        if values[column] > 1e-7:
            needed.add(key.rpartition(" ")[0])
    return [item for item in chosen if item in needed]


def merge(compiled: Compiled, parts: list[Component]) -> Component:
    """Several components as one."""
    merged = Component(compiled, [], [])
    for part in parts:
        merged.names += part.names
        merged.rows += part.rows
        merged.curves += part.curves
        merged.costs += part.costs
        merged.links += part.links
        merged.keys += part.keys
    return merged


def edited(model: Model, changes: Iterable[Change]) -> Model:
    """The model with all changes made."""
    for change in changes:
        model = change.edit(model)
    return model


def caution_texts(model: Model, touched: Iterable[str]) -> tuple[str, ...]:
    """Cautions on the parts and sizes that the changes touch."""
    about = set(touched)
    parts = {name.partition(".")[0] for name in about}
    return tuple(
        f"{caution.about}: {caution.headline}. {caution.text}"
        for caution in cautions.of_model(model)
        if caution.about in parts or caution.about in about
    )
