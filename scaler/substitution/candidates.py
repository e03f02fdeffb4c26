"""Components whose rows do not say all that a check will ask: candidates checked one by one."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from scaler.expressions import EvaluationError, gradient, names
from scaler.settling.solve import middle
from scaler.substitution.forms import Curve, Row
from scaler.substitution.options import ZERO
from scaler.substitution.outcome import Outcome, Picks
from scaler.substitution.parts import Component
from scaler.substitution.solver import Clock, Solver
from scaler.substitution.solving import by_solver

Verify = Callable[[Component, Picks], list[str]]
"""The statements that do not hold with these picks, by the exact check."""
ROUNDS = 60
"""How many candidates are verified, at most, where the rows of a component do not say all."""
LINES = 14
"""How many points lines are laid through curves at."""
NONE_HELD = "none of {} candidates held when checked exactly"


def verified(
    component: Component,
    solver: Solver,
    clock: Clock,
    used: set[str],
    slack: Fraction,
    levels: bool,
    verify: Verify | None,
) -> Outcome:
    """Candidates checked exactly one by one, the cheapest first; those that fail are cut off.

    Where there are curves, lines through them at points tried in turn find a first choice quickly.
    Then all that is cheaper by the rows alone is looked at: when nothing of it holds, the choice is
    proved best; where that takes too many candidates it is the best found.
    """
    assert verify is not None
    first = by_solver(component, component.rows, solver, clock, used, slack, levels)
    if first.status in ("impossible", "unknown"):
        return first
    if not verify(component, first.picks):
        return first
    bars = [first.picks]
    best = by_lines(component, solver, clock, used, verify, bars) if component.curves else None
    bound, tried = first.bound, 1
    while tried < ROUNDS and not clock.over:
        tried += 1
        candidate = by_solver(component, component.rows, solver, clock, used, ZERO, False, bars)
        if candidate.status == "unknown":
            break
        if candidate.status == "impossible" or (best and candidate.bound >= best.cost):
            if best is not None:
                best.status, best.bound = "optimal", best.cost
                return best
            if candidate.status == "impossible":
                note = NONE_HELD.format(tried)
                return Outcome("impossible", {}, ZERO, bound, "solver", notes=[note])
        bound = max(bound, candidate.bound)
        if not verify(component, candidate.picks):
            if candidate.status == "optimal" and (best is None or candidate.cost <= best.cost):
                return candidate
            if best is None or candidate.cost < best.cost:
                best = candidate
        bars.append(candidate.picks)
    if best is None:
        return Outcome("unknown", {}, ZERO, bound, "solver", notes=[NONE_HELD.format(tried)])
    best.status, best.bound = "feasible", min(bound, best.cost)
    best.notes.append("best found: not all that might cost less was looked at")
    return best


def by_lines(
    component: Component,
    solver: Solver,
    clock: Clock,
    used: set[str],
    verify: Verify,
    bars: list[Picks],
) -> Outcome | None:
    """A choice that holds, found by lines through the curves; candidates that fail are added to
    ``bars``. None where none was found."""
    best: Outcome | None = None
    point: Picks | None = None
    own = list(bars)
    for _ in range(LINES):
        if clock.over:
            break
        lines = [row for curve in component.curves for row in tangent(component, curve, point)]
        rows = [*component.rows, *lines]
        candidate = by_solver(component, rows, solver, clock, used, ZERO, False, own)
        if not candidate.picks or (best is not None and candidate.cost >= best.cost):
            if point is None or best is not None:
                break
            point = None  # back to lines at the exact sizes, with what failed cut off
            continue
        point = candidate.picks
        own.append(candidate.picks)
        if verify(component, candidate.picks):
            bars.append(candidate.picks)
        else:
            best = candidate
    return best


def tangent(component: Component, curve: Curve, point: Picks | None) -> list[Row]:
    """A curve's statement as lines at a point (the exact sizes, or a candidate)."""
    compiled = component.compiled
    at: dict[str, Fraction] = {}
    for name in names(curve.node):
        variable = compiled.variables[name]
        if variable.fixed:
            at[name] = variable.branches[0].base
        elif point is not None and name in point:
            place, k = point[name]
            at[name] = variable.branches[place].value(k)
        else:
            at[name] = variable.exact if variable.exact is not None else variable.at
    try:
        value, slopes = gradient(curve.node, at, compiled.model.ratio)
    except EvaluationError:
        return []
    found = []
    ends = [("low", curve.lower, None), ("high", None, curve.upper)]
    for side, lower, upper in ends:
        if lower is None and upper is None:
            continue
        row = Row(curve.statement, {}, short(middle(value)), lower, upper)
        row.side = side if curve.worst else ""
        for name, slope in slopes.items():
            if slope is None:
                continue
            factor = short(middle(slope))
            if not factor:
                continue
            row.part(name).factor = factor
            row.constant -= factor * at[name]
            if curve.worst:
                row.part(name).spreads = [factor]
        found.append(row)
    return found


def short(value: Fraction) -> Fraction:
    """A number kept to nine places: slopes and tangent values only steer the search."""
    return Fraction(round(value * 10**9), 10**9)
