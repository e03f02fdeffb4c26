"""The next best choices, and what each requirement costs."""

from __future__ import annotations

import heapq
from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.problems import InputError
from scaler.records import Model
from scaler.substitution.compile import compile_model
from scaler.substitution.options import ZERO, cost_of
from scaler.substitution.outcome import Outcome, Picks, exact_cost
from scaler.substitution.parts import Component, components, nearest_step
from scaler.substitution.programme import Programme
from scaler.substitution.records import Alternative, Price, SizeChoice
from scaler.substitution.search import search
from scaler.substitution.solver import Clock
from scaler.substitution.solving import forbid, signature
from scaler.substitution.verify import failing, part_of

if TYPE_CHECKING:
    from scaler.substitution.task import Task

TRIES = 8
"""Candidates for one next best choice that may fail the exact check before it is given up."""


class Ladder:
    """The choices of one component in order of cost, each different in a row or a method."""

    def __init__(self, task: Task, part: Component, outcome: Outcome, clock: Clock) -> None:
        self.task, self.part, self.clock = task, part, clock
        self.found: list[tuple[Fraction, Picks]] = [(outcome.cost, outcome.picks)]
        self.barred: list[Picks] = []
        self.ended = False

    def at(self, number: int) -> tuple[Fraction, Picks] | None:
        """The choice of that place in the order (0 the best); None where there are no more."""
        while len(self.found) <= number and not self.ended:
            more = self.next()
            if more is None:
                self.ended = True
            else:
                self.found.append(more)
        return self.found[number] if number < len(self.found) else None

    def next(self) -> tuple[Fraction, Picks] | None:
        """The next dearer picks of the component with their cost; None where there are no more."""
        part = self.part
        if not part.rows and not part.curves and not part.links and len(part.names) == 1:
            return self.next_alone()
        if part.curves:
            return None
        for _ in range(TRIES):
            if self.clock.over:
                return None
            programme = Programme(part)
            for _, picks in self.found:
                forbid(programme, picks, rows_only=True)
            for picks in self.barred:
                forbid(programme, picks)
            solver = self.task.solver()
            solver.load(programme)
            answer = solver.run(self.clock.left)
            if answer.status != "optimal" or answer.values is None:
                return None
            picks = programme.read(answer.values)
            if not failing(part, picks):
                return exact_cost(part, picks), picks
            self.barred.append(picks)
        return None

    def next_alone(self) -> tuple[Fraction, Picks] | None:
        """The next best branch of a size that nothing hangs on."""
        name = self.part.names[0]
        variable = self.part.variable(name)
        taken = {signature(variable.branches[p[name][0]]) for _, p in self.found}
        rated = []
        at = variable.exact if variable.exact is not None else variable.at
        for place, branch in enumerate(variable.branches):
            if signature(branch) not in taken:
                k = nearest_step(branch, at)
                rated.append((cost_of(branch, variable.exact, k), branch.order, place, k))
        if not rated:
            return None
        cost, _, place, k = min(rated)
        return cost, {name: (place, k)}


def alternatives_of(task: Task, count: int, clock: Clock) -> tuple[Alternative, ...]:
    """The next best whole choices, each different in a row or a method; fewer where time runs out.

    Components are independent, so the next best whole is a sum of next best parts: they are taken
    off a heap in order of cost.
    """
    ladders = [
        Ladder(task, part, outcome, clock)
        for part, outcome in zip(task.parts, task.outcomes, strict=True)
    ]
    steps: list[tuple[Fraction, int]] = []
    for number, ladder in enumerate(ladders):
        second = ladder.at(1)
        if second is not None:
            steps.append((second[0] - ladder.found[0][0], number))
    steps.sort()
    open_ladders = [number for _, number in steps[: count + 1]]
    best = task.fixed_cost() + sum((o.cost for o in task.outcomes), ZERO)
    heap: list[tuple[Fraction, tuple[tuple[int, int], ...]]] = []
    seen: set[tuple[tuple[int, int], ...]] = {()}

    def push(combination: dict[int, int]) -> None:
        key = tuple(sorted(combination.items()))
        if key in seen:
            return
        seen.add(key)
        more = ZERO
        for number, place in key:
            found = ladders[number].at(place)
            if found is None:
                return
            more += found[0] - ladders[number].found[0][0]
        heapq.heappush(heap, (more, key))

    for number in open_ladders:
        push({number: 1})
    result: list[Alternative] = []
    while heap and len(result) < count:
        more, key = heapq.heappop(heap)
        combination = dict(key)
        changes = [
            change for number, place in key for change in differences(ladders[number], place, task)
        ]
        result.append(Alternative(best + more, more, tuple(changes)))
        for number in open_ladders:
            push({**combination, number: combination.get(number, 0) + 1})
    return tuple(result)


def differences(ladder: Ladder, place: int, task: Task) -> Iterable[SizeChoice]:
    """The sizes in which a choice differs from the best, in words."""
    from scaler.substitution.task import size_choice

    best = ladder.found[0][1]
    found = ladder.at(place)
    assert found is not None
    for name, pick in found[1].items():
        if pick != best.get(name):
            choice = size_choice(task.compiled, name, pick)
            if choice is not None:
                variable = task.compiled.variables[name]
                old, k = best[name]
                yield replace(choice, before=variable.branches[old].value(k))


def prices_of(task: Task, clock: Clock) -> tuple[Price, ...]:
    """What each pair, condition and standard costs: the cost with it less the cost without it.

    Only those that cost something are given, the dearest first.
    """
    found: list[Price] = []
    for part, outcome in zip(task.parts, task.outcomes, strict=True):
        keys = [k for k in part.keys if k.startswith(("pair ", "condition "))]
        if not keys or not outcome.picks or clock.over:
            continue
        piece = part_of(task.model, task.exact, part.names, part.keys)
        free = best_cost(task, without(piece, keys), part, clock)
        if free is not None and free[0] >= outcome.cost:
            continue
        for key in keys:
            if clock.over:
                break
            cheaper = best_cost(task, without(piece, [key]), part, clock)
            if cheaper is not None and cheaper[0] < outcome.cost:
                statement = task.compiled.statements[key]
                text = statement.title or statement.text
                exact = cheaper[1] and outcome.status == "optimal"
                found.append(Price(key, text, outcome.cost - cheaper[0], exact))
    return tuple(sorted(found, key=lambda item: (-item.price, item.statement)))


def without(piece: Model, keys: Iterable[str]) -> Model:
    """A piece of a model without some statements; a standard goes from its size too."""
    pairs, conditions = dict(piece.pairs), dict(piece.conditions)
    sizes = dict(piece.sizes)
    for key in keys:
        what, _, name = key.partition(" ")
        name = name.partition("@")[0]
        if what == "pair":
            pairs.pop(name, None)
            continue
        conditions.pop(name, None)
        if name.endswith(":standard"):
            identity = name.removesuffix(":standard")
            if identity in sizes:
                sizes[identity] = replace(sizes[identity], standard="")
    return replace(piece, pairs=pairs, conditions=conditions, sizes=sizes)


def best_cost(
    task: Task, piece: Model, part: Component, clock: Clock
) -> tuple[Fraction, bool] | None:
    """Least cost of the sizes of a component under a piece's statements, and whether proved."""
    try:
        compiled = compile_model(piece, task.exact)
    except InputError:
        return None
    mine = set(part.names)
    total, proved = ZERO, True
    for other in components(compiled):
        if not mine & set(other.names):
            continue
        outcome = search(other, clock, task.solver, levels=False, verify=failing)
        if not outcome.picks and other.names:
            return None
        total += outcome.cost
        proved &= outcome.status == "optimal"
    return total, proved
