"""The best choice for one component, by the least effort that proves it."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from scaler.substitution.boxes import Verify
from scaler.substitution.candidates import verified
from scaler.substitution.options import ZERO
from scaler.substitution.outcome import Outcome, Picks, exact_cost, order_of
from scaler.substitution.parts import Component, best_alone, filter_single, row_holds
from scaler.substitution.solver import Clock, Solver
from scaler.substitution.solving import by_solver


def search(
    component: Component,
    clock: Clock,
    solver: Callable[[], Solver],
    *,
    used: set[str] | None = None,
    slack: Fraction = ZERO,
    levels: bool = True,
    verify: Verify | None = None,
) -> Outcome:
    """The best picks of a component.

    Parameters: solver : gives the solver, when it is needed; used : sections and tools in use
        already (not counted as new); slack : cost that the lower levels may spend; levels : False stops after the cost; verify : exact check of
        candidates, needed where the rows do not say all.
    """
    used = used if used is not None else set()
    if not filter_single(component):
        return Outcome("impossible", {}, ZERO, ZERO, "alone")
    if not component.names:
        return Outcome("optimal", {}, exact_cost(component, {}), ZERO, "alone")
    if not component.rows and not component.curves and not component.links and not component.costs:
        found: Outcome | None = alone(component, used, slack)
    else:
        found = nearest(component, used) if slack == 0 else None
    trusted = component.exact or verify is None
    if found is not None and (trusted or not verify(component, found.picks)):  # type: ignore[misc]
        return found
    if component.exact:
        return by_solver(component, component.rows, solver(), clock, used, slack, levels)
    return verified(component, solver(), clock, used, slack, levels, verify)


def alone(component: Component, used: set[str], slack: Fraction) -> Outcome:
    """Sizes that nothing links: the nearest row or step of each."""
    picks: Picks = {}
    for name in component.names:
        best = best_alone(component.variable(name), used, slack)
        if best is None:
            return Outcome("impossible", {}, ZERO, ZERO, "alone")
        picks[name] = best[0]
    cost = exact_cost(component, picks)
    return Outcome("optimal", picks, cost, cost, "alone", order_of(component, picks, used))


def nearest(component: Component, used: set[str]) -> Outcome | None:
    """Each size's own best, where that already satisfies every row and nothing ties with it."""
    compiled = component.compiled
    if component.curves or component.links or component.costs:
        return None
    picks: Picks = {}
    for name in component.names:
        variable = compiled.variables[name]
        if (
            variable.stepped
            or variable.solved
            or any(b.free or b.follow is not None for b in variable.branches)
        ):
            return None
        best = best_alone(variable, used)
        if best is None or not best[1]:
            return None
        picks[name] = best[0]
    if not all(row_holds(compiled, row, picks) for row in component.rows):
        return None
    cost = exact_cost(component, picks)
    return Outcome("optimal", picks, cost, cost, "nearest", order_of(component, picks, used))
