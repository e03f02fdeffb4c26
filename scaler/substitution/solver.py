"""The mixed-integer solver, HiGHS, behind a narrow door; its floats never leave this package.

Reference: Huangfu and Hall, Parallelizing the dual revised simplex method, Math. Prog. Comp. 10
(2018), and the package ``highspy``.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scaler.substitution.programme import Programme


@dataclass(frozen=True, slots=True)
class Answer:
    """What a run gave: ``optimal``, ``infeasible``, ``limit`` (time), and the best point if any."""

    status: str
    values: list[float] | None
    objective: float
    bound: float


class Clock:
    """Seconds left of what was allowed."""

    def __init__(self, seconds: float) -> None:
        self.end = time.monotonic() + seconds

    @property
    def left(self) -> float:
        """Seconds left, never below nothing."""
        return max(0.0, self.end - time.monotonic())

    @property
    def over(self) -> bool:
        """True when the time is up."""
        return self.left <= 0


class Solver:
    """One instance of HiGHS, used for one programme after the other.

    One thread, a fixed seed and no gap: the same programme gives the same answer on every run.
    """

    def __init__(self) -> None:
        import highspy

        class Quiet(highspy.Highs):
            """The solver without its greeting on the screen."""

            def __init__(self) -> None:
                super(highspy.Highs, self).__init__()

        self.highs: Any = Quiet()
        self.status: Any = highspy.HighsModelStatus
        for name, value in (
            ("output_flag", False),
            ("threads", 1),
            ("parallel", "off"),
            ("random_seed", 0),
            ("mip_rel_gap", 0.0),
            ("mip_abs_gap", 1e-7),
            ("mip_feasibility_tolerance", 1e-7),
        ):
            self.highs.setOptionValue(name, value)
        self.runs = 0
        self.nothing: Answer | None = None
        self.seconds = 0.0

    def load(self, programme: Programme) -> None:
        """Takes a programme over, with its first objective."""
        from numpy import array, float64, int32

        self.load_arrays(
            array(programme.cost, float64),
            array(programme.lower, float64),
            array(programme.upper, float64),
            array(programme.row_lower, float64),
            array(programme.row_upper, float64),
            array(programme.starts, int32),
            array(programme.indices, int32),
            array(programme.values, float64),
            array(programme.whole, int32),
        )

    def load_arrays(self, *arrays: Any) -> None:
        """Takes over a programme as arrays: cost, bounds of columns and rows, rows, which whole."""
        cost, row_lower, values = arrays[0], arrays[3], arrays[7]
        self.nothing = None
        if not len(cost):  # nothing to choose: rows are sums of nothing
            good = bool((row_lower <= 0).all() and (arrays[4] >= 0).all())
            far = 0.0 if good else float("inf")
            self.nothing = Answer(
                "optimal" if good else "infeasible", [] if good else None, 0.0, far
            )
            return
        rowwise, least, offset = 2, 1, 0.0
        self.highs.passModel(
            len(cost), len(row_lower), len(values), rowwise, least, offset, *arrays
        )

    def run(self, seconds: float, start: list[float] | None = None) -> Answer:
        """Solves what is loaded, for at most so many seconds."""
        from numpy import array, float64

        highs = self.highs
        if self.nothing is not None:
            return self.nothing
        highs.setOptionValue("time_limit", highs.getRunTime() + max(seconds, 0.01))
        if start is not None:
            from numpy import arange, int32

            highs.setSolution(len(start), arange(len(start), dtype=int32), array(start, float64))
        began = time.perf_counter()
        highs.run()
        self.seconds += time.perf_counter() - began
        self.runs += 1
        status = highs.getModelStatus()
        info = highs.getInfo()
        if status == self.status.kOptimal:
            values = list(highs.getSolution().col_value)
            objective = info.objective_function_value
            return Answer("optimal", values, objective, objective)
        if status in (self.status.kInfeasible, self.status.kUnboundedOrInfeasible):
            return Answer("infeasible", None, 0.0, float("inf"))
        point: list[float] | None = None
        if info.primal_solution_status == 2:
            point = list(highs.getSolution().col_value)
        return Answer("limit", point, info.objective_function_value, info.mip_dual_bound)

    @property
    def columns(self) -> int:
        """How many columns the programme that is loaded has by now."""
        return int(self.highs.getNumCol())

    def change_cost(self, cost: list[float]) -> None:
        """Another objective for the programme that is loaded."""
        from numpy import arange, array, float64, int32

        count = len(cost)
        self.highs.changeColsCost(count, arange(count, dtype=int32), array(cost, float64))

    def add_row(self, lower: float, upper: float, terms: dict[int, float]) -> None:
        """One more row for the programme that is loaded."""
        from numpy import array, float64, int32

        self.highs.addRow(
            lower,
            upper,
            len(terms),
            array(list(terms), int32),
            array(list(terms.values()), float64),
        )

    def add_column(self, lower: float, upper: float, whole: bool) -> None:
        """One more column, in no row yet."""
        from numpy import array, float64, int32

        self.highs.addCol(0.0, lower, upper, 0, array([], int32), array([], float64))
        if whole:
            import highspy

            count = self.highs.getNumCol()
            self.highs.changeColIntegrality(count - 1, highspy.HighsVarType.kInteger)

    def bound_column(self, column: int, lower: float, upper: float) -> None:
        """Other bounds for a column of the programme that is loaded."""
        self.highs.changeColBounds(column, lower, upper)
