"""Ways out of a conflict: the fewest and cheapest changes that make a choice possible again.

One elastic programme holds every change that may be made, each behind a yes-or-no: another row, a
size cut to suit, a wider reach, a looser fit, another basis, a made part made again. It is solved
for the least made work lost, then the fewest requirements given up, then the least departure;
sets found are barred and the next looked for. Each is then made on the records and the whole model
is chosen and checked afresh: only what that confirms is shown.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.checking import cautions
from scaler.checking.conflicts import check
from scaler.problems import InputError
from scaler.records import Choice, Model
from scaler.settling.settle import reach_of
from scaler.substitution.changes import Change
from scaler.substitution.compile import compile_model, is_closed
from scaler.substitution.compiled import Compiled
from scaler.substitution.elastic import Elastic, elastic_piece
from scaler.substitution.options import ZERO
from scaler.substitution.parts import Component, components
from scaler.substitution.programme import COST_SCALE, INFINITY, Programme
from scaler.substitution.records import WayOut
from scaler.substitution.solver import Clock
from scaler.substitution.verify import choices_of, unheld

if TYPE_CHECKING:
    from scaler.substitution.task import Task

LOST = 1000.0
"""A made part lost counts for so many requirements given up."""
MOST_CHANGES = 4
MOST_AGAIN = 2


def ways_out_of(
    task: Task, part: Component, piece: Model, clock: Clock, most: int
) -> tuple[tuple[WayOut, ...], str]:
    """Ways out of the conflicts of one component, best first, and in words what was tried."""
    elastic = elastic_piece(task.exact, task.options, piece)
    tried = tried_text(elastic)
    found: list[WayOut] = []
    for changes in sets_of_changes(task, elastic, clock, most):
        way = proved(task, part, piece, changes, clock)
        if way is not None and all(way.changes != other.changes for other in found):
            found.append(way)
        if len(found) >= most or clock.over:
            break
    found.sort(key=lambda way: (len(way.lost), len(way.gives_up), way.cost, way.changes))
    if clock.over:
        tried += "; time ran out"
    return tuple(found), tried


def tried_text(elastic: Elastic) -> str:
    """What was looked at, in words."""
    kinds = {
        "row": "rows of other catalogues",
        "forbid": "rows that are forbidden",
        "recut": "cutting sizes to suit",
        "reach": "wider reaches (up to three times)",
        "loosen": "looser fits (up to twice their width at either end)",
        "basis": "another basis",
        "remake": "making made sizes again",
    }
    counts: dict[str, int] = {}
    for item in elastic.makers:
        counts[item.partition(" ")[0]] = counts.get(item.partition(" ")[0], 0) + 1
    listed = ", ".join(f"{kinds[kind]} ({count})" for kind, count in counts.items())
    return f"tried, up to {MOST_CHANGES} together and {MOST_AGAIN} made parts: {listed or 'nothing that may be given up'}"


# --- sets of changes


def sets_of_changes(
    task: Task, elastic: Elastic, clock: Clock, most: int
) -> Iterable[list[Change]]:
    """Sets of changes, best first, none holding another."""
    merged = merge(elastic.compiled, components(elastic.compiled))
    barred: list[frozenset[str]] = []
    for _ in range(4 * most):
        if clock.over:
            return
        programme = Programme(merged, elastic.caps)
        if not programme.items:
            return
        weights = {
            column: (LOST if item in elastic.lost else 1.0)
            for item, column in programme.items.items()
        }
        given = [(c, 1.0) for i, c in programme.items.items() if i not in elastic.lost]
        again = [(c, 1.0) for i, c in programme.items.items() if i in elastic.lost]
        programme.row(-INFINITY, float(MOST_CHANGES), given)
        programme.row(-INFINITY, float(MOST_AGAIN), again)
        for bar in barred:
            terms = [(programme.items[item], 1.0) for item in bar if item in programme.items]
            programme.row(-INFINITY, len(terms) - 1.0, terms)
        departure = list(programme.cost)
        programme.cost = [weights.get(c, 0.0) for c in range(len(departure))]
        solver = task.solver()
        solver.load(programme)
        answer = solver.run(clock.left)
        if answer.values is None:
            return
        count = round(sum(weights[c] for c in weights if answer.values[c] > 0.5))
        solver.add_row(-INFINITY, count + 0.5, weights)
        for column in programme.slacks.values():
            departure[column] = 10 * COST_SCALE
        solver.change_cost(departure)
        best = solver.run(clock.left)
        values = best.values if best.values is not None else answer.values
        chosen = frozenset(i for i, c in programme.items.items() if values[c] > 0.5)
        chosen = frozenset(used(programme, values, chosen))
        if not chosen or chosen in barred:
            return
        barred.append(chosen)
        picks = programme.read(values)
        yield [elastic.makers[item](programme, values, picks) for item in sorted(chosen)]


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
        merged.costs += part.costs
        merged.links += part.links
        merged.keys += part.keys
    return merged


# --- proof


def proved(
    task: Task, part: Component, piece: Model, changes: list[Change], clock: Clock
) -> WayOut | None:
    """The changes as a way out, if with them the whole model is confirmed; needless ones dropped."""
    if not works(task, piece, changes, clock):
        return None
    for change in list(changes):
        rest = [other for other in changes if other is not change]
        if rest and len(changes) > 1 and works(task, piece, rest, clock):
            changes = rest
    solved = works(task, piece, changes, clock)
    if solved is None:
        return None
    piece_cost, choices = solved
    whole = edited(task.model, changes)
    mine = set(piece.sizes)
    kept = {k: c for k, c in task.chosen.choices.items() if k not in mine}
    for name in mine:
        if name in whole.choices and is_closed(whole.sizes[name]):
            kept[name] = whole.choices[name]
    try:
        checked = check(replace(whole, choices={**kept, **choices}))
    except InputError:
        return None
    elsewhere = {
        key
        for other, outcome in zip(task.parts, task.outcomes, strict=True)
        if other is not part and not outcome.picks
        for key in other.keys
    }
    fresh = compile_model(whole, task.exact)
    if any(key not in elsewhere for key in unheld(fresh, checked.findings)):
        return None
    others_cost = outside_cost(task, piece)
    for other, outcome in zip(task.parts, task.outcomes, strict=True):
        others_cost += ZERO if other is part else outcome.cost
    touched = {name for change in changes for name in change.about}
    return WayOut(
        tuple(change.text for change in changes),
        tuple(change.gives_up for change in changes if change.gives_up),
        tuple(change.lost for change in changes if change.lost),
        piece_cost + others_cost,
        tuple(change.kind for change in changes),
        caution_texts(task.model, touched),
        whole,
        tuple(changes),
    )


def outside_cost(task: Task, piece: Model) -> Fraction:
    """What sizes that are no longer open, outside a piece, cost."""
    total = ZERO
    for name, variable in task.compiled.variables.items():
        if name in piece.sizes or not variable.fixed or variable.exact is None:
            continue
        unit = variable.size.weight / reach_of(variable.size, None, variable.exact)
        total += unit * abs(variable.branches[0].base - variable.exact)
    return total


def edited(model: Model, changes: Iterable[Change]) -> Model:
    """The model with all changes made."""
    for change in changes:
        model = change.edit(model)
    return model


def works(
    task: Task, piece: Model, changes: list[Change], clock: Clock
) -> tuple[Fraction, dict[str, Choice]] | None:
    """Cost and choices of the best of a piece with the changes made; None where there is none."""
    from scaler.substitution.task import Task as FreshTask

    try:
        fresh = FreshTask(
            edited(piece, changes), Clock(max(0.5, clock.left)), levels=False, exact=task.exact
        )
        fresh.kept_solver = task.solver()
        fresh.solve()
    except InputError:
        return None
    if fresh.status not in ("optimal", "feasible"):
        return None
    cost = sum((o.cost for o in fresh.outcomes), ZERO) + fresh.fixed_cost()
    return cost, choices_of(fresh.compiled, fresh.picks())


def caution_texts(model: Model, touched: Iterable[str]) -> tuple[str, ...]:
    """Cautions on the parts and sizes that the changes touch."""
    names = set(touched)
    parts = {name.partition(".")[0] for name in names}
    return tuple(
        f"{caution.about}: {caution.headline}. {caution.text}"
        for caution in cautions.of_model(model)
        if caution.about in parts or caution.about in names
    )
