"""Components whose rows do not say all that a check will ask: candidates checked one by one."""

from __future__ import annotations

from fractions import Fraction

from scaler.expressions import EvaluationError, gradient, names
from scaler.settling.solve import middle
from scaler.substitution.boxes import Search, Verify
from scaler.substitution.forms import Curve, Row
from scaler.substitution.options import ZERO
from scaler.substitution.outcome import Outcome, Picks
from scaler.substitution.parts import Component
from scaler.substitution.solver import Clock, Solver
from scaler.substitution.solving import by_solver

LINES = 14
"""How many points lines are laid through curves at."""


def verified(
    component: Component,
    solver: Solver,
    clock: Clock,
    used: set[str],
    slack: Fraction,
    levels: bool,
    verify: Verify | None,
) -> Outcome:
    """The best choice whose exact check confirms it.

    Where there are curves, lines through them at points tried in turn find a first choice quickly.
    Then all that might be cheaper is looked at, box by box: when nothing of it holds, the choice is
    proved best; where that takes too many boxes it is the best found.
    """
    assert verify is not None
    first = by_solver(component, component.rows, solver, clock, used, slack, levels)
    if first.status in ("impossible", "unknown"):
        return first
    if not verify(component, first.picks):
        return first
    search = Search(component, solver, clock, used, verify)
    if component.curves:
        search.best = by_lines(component, solver, clock, used, verify)
    found = search.run()
    found.bound = max(found.bound, min(first.bound, found.cost)) if found.picks else first.bound
    if found.status == "impossible":
        found.notes.append(f"nothing holds when checked exactly: {search.looked} boxes looked at")
    elif found.status != "optimal":
        found.notes.append(
            "best found: not all that might cost less was looked at"
            if found.picks
            else f"nothing that holds was found in {search.looked} boxes, and not all was looked at"
        )
    return found


def by_lines(
    component: Component,
    solver: Solver,
    clock: Clock,
    used: set[str],
    verify: Verify,
) -> Outcome | None:
    """A choice that holds, found by lines through the curves; None where none was found."""
    best: Outcome | None = None
    point: Picks | None = None
    own: list[Picks] = []
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
        if not verify(component, candidate.picks):
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
