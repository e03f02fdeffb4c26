"""The levels below the cost: they decide between choices that cost the same."""

from __future__ import annotations

from fractions import Fraction

from scaler.substitution.outcome import (
    Outcome,
    exact_cost,
    fixed_cost,
    least_order,
    order_of,
    order_offset,
)
from scaler.substitution.programme import COST_SCALE, INFINITY, Programme
from scaler.substitution.solver import Clock, Solver

LARGE = 12
"""Components of more sizes than this keep the cost as objective in the lower levels."""


class Levels:
    """The levels below the cost, one after the other, for a programme that the solver holds.

    A small programme gets the cost reached as a row and the level as its objective. In a large one
    that row would be slow to work with: the cost stays the objective and the level is added to it
    at a tiny weight; what comes out counts only if its exact cost is no more than was reached.
    """

    def __init__(
        self,
        programme: Programme,
        solver: Solver,
        clock: Clock,
        used: set[str],
        slack: Fraction,
        best: Outcome,
        values: list[float],
    ) -> None:
        self.programme, self.solver, self.clock, self.used = programme, solver, clock, used
        self.component, self.best, self.values = programme.component, best, values
        self.allowed = best.cost + slack
        self.large = not slack and len(self.component.names) > LARGE
        for column in programme.covered:
            solver.bound_column(column, 0.0, 1.0)
        terms = {c: v for c, v in enumerate(programme.cost) if v}
        if terms and not self.large:
            top = float(self.allowed - fixed_cost(self.component)) * COST_SCALE
            solver.add_row(-INFINITY, top + 1e-6 + 1e-9 * abs(top), terms)

    def run(self) -> bool:
        """All levels; stops, and says False, where one is not proved in time."""
        least = least_order(self.component)
        for level in range(3):
            objective = self.programme.order_cost(level)
            if self.best.levels[level] > least[level] and not self.improve(objective, 1e-3):
                return False
            reached = self.best.levels[level] - order_offset(self.component, level)
            terms = {c: v for c, v in enumerate(objective) if v}
            if terms:
                self.solver.add_row(-INFINITY, reached + 0.5, terms)
        return self.sections() and self.improve(self.programme.nearness_cost(), 1e-4)

    def improve(self, objective: list[float], weight: float) -> bool:
        """One level improved as far as it goes; False where that was not proved in time."""
        cost = objective
        if self.large:
            cost = [weight * value for value in objective]
            for column, value in enumerate(self.programme.cost):
                cost[column] += value
        columns = self.solver.columns
        self.solver.change_cost(cost + [0.0] * (columns - len(cost)))
        start = self.values if self.large and len(self.values) == columns else None
        found = self.solver.run(self.clock.left, start)
        if found.status != "optimal" or found.values is None:
            return False
        self.accept(found.values)
        return True

    def accept(self, values: list[float]) -> None:
        """Takes over a point that is no worse in what has been reached so far."""
        picks = self.programme.read(values[: len(self.programme.cost)])
        if picks == self.best.picks:
            return
        cost = exact_cost(self.component, picks)
        levels = order_of(self.component, picks, self.used)
        if cost <= self.allowed and levels <= self.best.levels:
            self.best.picks, self.best.cost, self.best.levels = picks, cost, levels
            self.values = values

    def sections(self) -> bool:
        """Fewest different sections and tools, where one could serve several sizes; False where
        that was not proved in time."""
        programme, solver = self.programme, self.solver
        wanted: dict[str, list[int]] = {}
        sizes: dict[str, set[str]] = {}
        for name in self.component.names:
            branches = self.component.variable(name).branches
            for branch, pick in zip(branches, programme.picks[name], strict=True):
                if branch.row is not None and branch.section not in self.used:
                    wanted.setdefault(branch.section, []).append(pick)
                    sizes.setdefault(branch.section, set()).add(name)
        if self.best.levels[3] <= 1 or not any(len(item) > 1 for item in sizes.values()):
            return True
        base = solver.columns
        for number, picks in enumerate(wanted.values()):
            solver.add_column(1.0 if -1 in picks else 0.0, 1.0, False)
            for pick in picks:
                if pick >= 0:
                    solver.add_row(0.0, INFINITY, {base + number: 1.0, pick: -1.0})
        count = len(wanted)
        good = self.improve([0.0] * base + [1.0] * count, 1e-3)
        terms = {base + number: 1.0 for number in range(count)}
        solver.add_row(-INFINITY, self.best.levels[3] + 0.5, terms)
        return good
