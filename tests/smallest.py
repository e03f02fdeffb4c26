"""Every conflict that any test of the suite comes across is looked at afresh: its members cannot
all hold, and without any one of them the rest can, with sizes that the exact check confirms."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

import pytest

from scaler.records import Model
from scaler.substitution import conflicts
from scaler.substitution.compile import compile_model
from scaler.substitution.outcome import Picks
from scaler.substitution.parts import Component, filter_single
from scaler.substitution.programme import Programme
from scaler.substitution.records import SubstitutionConflict
from scaler.substitution.solver import Clock
from scaler.substitution.task import Task
from scaler.substitution.verify import failing

HAIR = Fraction(2, 10**5)


@dataclass
class Witness(conflicts.Oracle):
    """Says that something can hold only with sizes in hand for which the exact check says so."""

    unconfirmed: list[str] = field(default_factory=list)

    def possible(self, part: Component, checked: Model) -> bool:
        """Whether a component leaves a choice; what the solver gives is put to the check."""
        if not part.exact:
            return super().possible(part, checked)
        if not filter_single(part):
            return False
        if not part.names:
            return True
        solver = self.solver()
        failed: list[str] = []
        for trial in (part, inside(part)):
            programme = Programme(trial)
            for columns in programme.far.values():
                for column in columns:
                    if column >= 0:  # a freed size stays as near to scale as it can
                        programme.cost[column] = 1.0
            solver.load(programme)
            answer = solver.run(60)
            if answer.values is None:
                assert answer.status == "infeasible"
                if trial is part:
                    return False
                break
            picks = programme.read(answer.values)
            for digits in (5, 8):
                failed = failing(part, rounded(part, picks, digits), checked)
                if not failed:
                    return True
        self.unconfirmed += failed
        return True


def rounded(part: Component, picks: Picks, digits: int) -> Picks:
    """The picks with freed sizes kept to so many places."""
    found: Picks = {}
    for name, (place, k) in picks.items():
        branch = part.variable(name).branches[place]
        if branch.free:
            value = Fraction(round(branch.value(k) * 10**digits), 10**digits)
            k = (value - branch.base) / branch.step
        found[name] = place, k
    return found


def inside(part: Component) -> Component:
    """The component with rows about freed sizes drawn in by a hair, as the solver is no finer."""
    free = {n for n in part.names if any(b.free for b in part.variable(n).branches)}
    rows = []
    for row in part.rows:
        width = 1 if row.lower is None or row.upper is None else row.upper - row.lower
        if free & set(row.parts) and width > 4 * HAIR:
            row = replace(
                row,
                lower=None if row.lower is None else row.lower + HAIR,
                upper=None if row.upper is None else row.upper - HAIR,
            )
        rows.append(row)
    return replace(part, rows=rows)


def assert_smallest(task: Task, conflict: SubstitutionConflict) -> None:
    """The members of a conflict cannot all hold; without any one of them the rest can."""
    compiled = compile_model(task.model, task.exact)
    items = conflicts.statements_of(compiled, task.model)
    witness = Witness(task.model, task.exact, items, task.solver, Clock(600))
    members = list(conflict.keys)
    assert members and not witness.holds(members), conflict.text
    for member in members:
        witness.unconfirmed.clear()
        assert witness.holds([key for key in members if key != member]), (member, conflict.text)
        assert not witness.unconfirmed, (member, witness.unconfirmed)
    assert not witness.unsure


@pytest.fixture(autouse=True)
def every_conflict_is_smallest(monkeypatch: pytest.MonkeyPatch) -> None:
    """Looks at every conflict that a test comes across."""
    plain = conflicts.conflicts_of

    def looked_at(task: Task, *args: Any, **more: Any) -> Any:
        result = plain(task, *args, **more)
        for conflict in result[0]:
            if conflict.reduced:
                assert_smallest(task, conflict)
        return result

    monkeypatch.setattr(conflicts, "conflicts_of", looked_at)
