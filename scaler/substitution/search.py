"""The best choice for one component, by the least effort that proves it."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from scaler.substitution.at_once import at_once
from scaler.substitution.boxes import Verify
from scaler.substitution.growing import Growing
from scaler.substitution.options import ZERO
from scaler.substitution.outcome import Outcome, exact_cost
from scaler.substitution.parts import Component, filter_single
from scaler.substitution.solver import Clock, Solver

MANY = 40
"""Components of more sizes than this are chosen for in pieces."""


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
        already (not counted as new); slack : cost that the lower levels may spend; levels : False
        stops after the cost; verify : exact check of candidates, needed where the rows do not say
        all.
    Notes: a component of many sizes is chosen for in pieces that grow (see
        :mod:`scaler.substitution.growing`): as good and as well proved, but how few sections and
        tools it takes is settled piece by piece.
    """
    used = used if used is not None else set()
    if not filter_single(component):
        return Outcome("impossible", {}, ZERO, ZERO, "alone")
    if not component.names:
        return Outcome("optimal", {}, exact_cost(component, {}), ZERO, "alone")

    if len(component.names) <= MANY:
        return at_once(component, clock, solver, used, slack, levels, verify)
    return Growing(component, clock, solver, used, slack, levels, verify).run()
