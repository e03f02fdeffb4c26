"""A component, or a piece of one, chosen for with all its statements at once."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from scaler.substitution.boxes import Verify
from scaler.substitution.candidates import verified
from scaler.substitution.options import ZERO
from scaler.substitution.outcome import Outcome, Picks, exact_cost, order_of
from scaler.substitution.parts import Component, best_alone, row_holds
from scaler.substitution.solver import Clock, Solver
from scaler.substitution.solving import by_solver


def at_once(
    component: Component,
    clock: Clock,
    solver: Callable[[], Solver],
    used: set[str],
    slack: Fraction,
    levels: bool,
    verify: Verify | None,
    known: Outcome | None = None,
) -> Outcome:
    """The best picks, as for :func:`scaler.substitution.search.search`.

    ``known``: what came of it before without the levels below the cost, proved best.
    """
    if not component.rows and not component.curves and not component.links and not component.costs:
        found: Outcome | None = alone(component, used, slack)
    else:
        found = nearest(component, used) if slack == 0 else None
    trusted = component.exact or verify is None
    if found is not None and (trusted or not verify(component, found.picks)):  # type: ignore[misc]
        return found
    if component.exact:
        rows = component.rows
        return by_solver(component, rows, solver(), clock, used, slack, levels, known=known)
    return verified(component, solver(), clock, used, slack, levels, verify)


def alone(component: Component, used: set[str], slack: Fraction) -> Outcome:
    """Sizes that nothing links: the nearest row or step of each."""
    picks: Picks = {}
    nearest_picks: Picks = {}
    for name in component.names:
        best = best_alone(component.variable(name), used, slack)
        least = best_alone(component.variable(name), used) if slack else best
        if best is None or least is None:
            return Outcome("impossible", {}, ZERO, ZERO, "alone")
        picks[name], nearest_picks[name] = best[0], least[0]
    cost, bound = exact_cost(component, picks), exact_cost(component, nearest_picks)
    return Outcome("optimal", picks, cost, bound, "alone", order_of(component, picks, used))


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
