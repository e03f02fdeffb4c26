"""Checks of workability that a choice would fail, made to bind it where some choice can meet them.

What is broken is added as conditions at basic sizes and chosen for again, component by component:
one that no choice can meet takes nothing from the others.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from scaler.expressions import Length, names
from scaler.problems import InputError
from scaler.records import Basis, BasisKind, Condition, Model
from scaler.settling.put_in import put_in
from scaler.substitution.options import ZERO
from scaler.substitution.records import Substitution
from scaler.substitution.solver import Clock
from scaler.substitution.task import Known, Task
from scaler.substitution.verify import part_of

if TYPE_CHECKING:
    from scaler.checking.workability import WorkFinding

ROUNDS = 4
"""How often the choice is made anew with the checks of workability that it broke."""


def workable(
    model: Model, task: Task, result: Substitution, clock: Clock
) -> tuple[Task, Substitution]:
    """Chooses again with the checks of workability that the choice would fail as conditions.

    Where no choice can meet one as well, its component stays as it was, the check lists it as
    failing, and a note says so.
    """
    from scaler.checking.workability import workability

    minded = model
    unmet: dict[str, None] = {}
    for _ in range(ROUNDS):
        broken = {
            f"workability:{finding.id}": condition_of(finding)
            for finding in workability(result.model, checker=task.checked)
            if finding.fails
        }
        fresh = {n: c for n, c in broken.items() if n not in minded.conditions and n not in unmet}
        met, known = attainable(minded, task, fresh, clock)
        unmet.update(dict.fromkeys(name for name in fresh if name not in met))
        if not met:
            break
        wider = replace(minded, conditions={**minded.conditions, **met})
        again = Task(wider, clock, task.slack, task.levels, before=task, known=known)
        again.solve()
        found = again.result()
        if found.status not in ("optimal", "feasible"):
            unmet.update(dict.fromkeys(met))
            break
        minded, task = wider, again
        plain = replace(found.model, conditions=model.conditions)
        result = replace(found, model=plain, original=model)
    notes = list(result.notes)
    bound = [name for name in minded.conditions if name not in model.conditions]
    if bound:
        notes.append(f"{len(bound)} checks of workability bind the choice: {listed(bound)}")
    if unmet:
        notes.append(f"no choice meets these checks of workability as well: {listed(unmet)}")
    return task, replace(result, notes=tuple(notes))


def listed(keys: Mapping[str, None] | list[str]) -> str:
    """Checks by their own names."""
    return ", ".join(key.partition(":")[2] for key in keys)


def attainable(
    model: Model, task: Task, fresh: Mapping[str, Condition], clock: Clock
) -> tuple[dict[str, Condition], Known]:
    """Those of the conditions that the components they touch can meet, and the choices by which."""
    home = {name: number for number, part in enumerate(task.parts) for name in part.names}
    parent = list(range(len(task.parts)))

    def find(number: int) -> int:
        while parent[number] != number:
            number = parent[number]
        return number

    touched: dict[str, int] = {}
    for name, condition in fresh.items():
        plain = put_in(condition.expression, task.compiled.definitions.get)
        about = dict.fromkeys(name.partition("@")[0] for name in names(plain))
        numbers = [find(home[n]) for n in about if n in home]
        for number in numbers[1:]:
            parent[find(number)] = find(numbers[0])
        if numbers:
            touched[name] = numbers[0]
    groups: dict[int, list[str]] = {}
    for name, number in touched.items():
        groups.setdefault(find(number), []).append(name)
    members: dict[int, list[int]] = {}
    for number in range(len(task.parts)):
        members.setdefault(find(number), []).append(number)
    met: dict[str, Condition] = {}
    known: Known = {}
    for root, wanted in groups.items():
        asked = {name: fresh[name] for name in wanted}
        wider = replace(model, conditions={**model.conditions, **asked})
        parts = [task.parts[number] for number in members[root]]
        keys = [key for part in parts for key in part.keys]
        piece = part_of(
            wider,
            task.exact,
            [name for part in parts for name in part.names],
            [*keys, *(f"condition {name}" for name in wanted)],
        )
        allowed = Clock(max(0.1, clock.left / 4))
        trial = Task(piece, allowed, ZERO, task.levels, before=task)
        try:
            trial.solve()
        except InputError:
            continue
        if trial.status in ("optimal", "feasible"):
            met.update(asked)
            if not task.slack:
                known.update(trial.proved())
    return met, known


def condition_of(finding: WorkFinding) -> Condition:
    """A check of workability as a condition at basic sizes."""
    item = finding.statement
    return Condition(
        id=f"workability:{finding.id}",
        title=item.title,
        expression=item.node,
        text=item.text,
        lower=None if item.lower is None else Length(item.lower),
        upper=None if item.upper is None else Length(item.upper),
        equality=False,
        dimension="length",
        basis=Basis(BasisKind.BASIC_SIZE),
        why="workability",
        source=finding.source,
        must=False,
        place=finding.place,
    )
