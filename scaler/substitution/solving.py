"""One run of the solver on one component: the best picks by its rows, and choices cut off."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from scaler.substitution.forms import Row
from scaler.substitution.levels import Levels
from scaler.substitution.options import ZERO, Branch
from scaler.substitution.outcome import Outcome, Picks, exact_cost, fixed_cost, order_of
from scaler.substitution.parts import Component
from scaler.substitution.programme import COST_SCALE, INFINITY, Programme
from scaler.substitution.solver import Clock, Solver


def by_solver(
    component: Component,
    rows: list[Row],
    solver: Solver,
    clock: Clock,
    used: set[str],
    slack: Fraction,
    levels: bool,
    bars: list[Picks] | None = None,
    known: Outcome | None = None,
) -> Outcome:
    """The best picks by the solver: cost, then the order of branches, then nearness.

    ``bars``: choices cut off; ``known``: a choice whose cost is proved least already.
    """
    programme = Programme(replace_rows(component, rows))
    for bar in bars or ():
        forbid(programme, bar)
    solver.load(programme)
    for column in programme.covered:
        solver.bound_column(column, 0.0, 0.0)
    if known is not None:
        order = order_of(component, known.picks, used)
        best = replace(known, levels=order, notes=list(known.notes))
        return lower(programme, solver, clock, used, slack, best, [])
    answer = solver.run(clock.left)
    if answer.status == "infeasible":
        return Outcome("impossible", {}, ZERO, ZERO, "solver")
    if answer.values is None:
        bound = Fraction(max(answer.bound, 0.0) / COST_SCALE) if answer.bound > 0 else ZERO
        return Outcome("unknown", {}, ZERO, bound, "solver", notes=["time ran out"])
    picks = programme.read(answer.values)
    cost = exact_cost(component, picks)
    if answer.status == "limit":
        offset = fixed_cost(component)
        bound = min(cost, max(Fraction(max(answer.bound, 0.0) / COST_SCALE) + offset, ZERO))
        return Outcome("feasible", picks, cost, bound, "solver", order_of(component, picks, used))
    best = Outcome("optimal", picks, cost, cost, "solver", order_of(component, picks, used))
    return lower(programme, solver, clock, used, slack, best, answer.values) if levels else best


def lower(
    programme: Programme,
    solver: Solver,
    clock: Clock,
    used: set[str],
    slack: Fraction,
    best: Outcome,
    values: list[float],
) -> Outcome:
    """The levels below the cost, by a programme that the solver holds."""
    if not Levels(programme, solver, clock, used, slack, best, values).run():
        best.notes.append("which of equally good choices it is was not settled in time")
    return best


def replace_rows(component: Component, rows: list[Row]) -> Component:
    """The component with other rows."""
    return component if rows is component.rows else replace(component, rows=rows)


def forbid(programme: Programme, bar: Picks, rows_only: bool = False) -> None:
    """A choice cut off: at least one branch must differ, or one cut by a step at least.

    ``rows_only``: a row or a method must differ (see :func:`signature`).
    """
    terms: dict[int, float] = {}
    least = 1.0
    for name, (place, k) in bar.items():
        if name not in programme.picks:
            continue
        variable = programme.component.variable(name)
        picks, steps = programme.picks[name], programme.steps[name]
        if rows_only:
            same = signature(variable.branches[place])
            for branch, pick in zip(variable.branches, picks, strict=True):
                if pick >= 0 and signature(branch) != same:
                    terms[pick] = 1.0
            continue
        if picks[place] >= 0:
            terms[picks[place]] = terms.get(picks[place], 0.0) - 1.0
            least -= 1.0
        step, branch = steps[place], variable.branches[place]
        if step >= 0 and not branch.free:
            low, high = programme.lower[step], programme.upper[step]
            below = programme.column(0.0, 0.0, 1.0, True)
            above = programme.column(0.0, 0.0, 1.0, True)
            big = high - low + 2
            programme.row(-INFINITY, float(k) - 1 + big, ((step, 1.0), (below, big)))
            programme.row(float(k) + 1 - big, INFINITY, ((step, 1.0), (above, -big)))
            terms[below] = terms[above] = 1.0
    programme.row(least, INFINITY, terms.items())


def signature(branch: Branch) -> tuple[str, str, str]:
    """What tells two choices apart: method and row (two steps of one method are the same)."""
    if branch.follow is not None:
        return "follows", "", ""
    row = branch.row
    return branch.method.name, row.table if row else "", row.designation if row else ""
