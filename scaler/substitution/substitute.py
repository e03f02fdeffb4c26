"""Whole-model substitution: a row or a step for every size at once, so that everything still fits.

Rounding each size alone breaks fits. Here a mixed-integer programme chooses a method and row for
each size, and a value on its step for each size cut to size, so that every pair and condition holds
on its basis and the departure from scale is least. Independent components are solved one by one;
what comes out is put back through the exact check before it is shown.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from scaler.collection import put_off
from scaler.records import Model
from scaler.substitution.own_copies import parted
from scaler.substitution.records import Substitution
from scaler.substitution.solver import Clock
from scaler.substitution.task import Task
from scaler.substitution.workable import workable

__all__ = ["Substitution", "substitute"]


SMALL = 400
"""Models of up to so many sizes get the prices of their requirements unasked."""
GRACE = 0.5
"""Conflicts and ways out may take this much longer than the time allowed for the choice."""


def substitute(
    model: Model,
    *,
    seconds: float = 60,
    alternatives: int = 0,
    slack: Fraction | int = 0,
    prices: bool | None = None,
    ways_out: int = 6,
    levels: bool = True,
) -> Substitution:
    """The best choice of rows and steps for a whole model.

    Parameters
    ----------
    model : Model; its recorded choices are not binding, except those of sizes that are locked,
        bought or made
    seconds : how long the search may take; then the best so far is given, with its gap
    alternatives : how many of the next best choices to give, each different in a row or a method
    slack : departure cost (see Notes) that earlier methods, the shop's own rows, preferred
        catalogues and fewer sections and tools may cost; shared among the independent components
        by their drawn sizes. None by default: they only decide between equals
    prices : whether to work out what each binding requirement costs; None: for small models
    ways_out : how many ways out of a conflict to give, at most; 0 for none
    levels : False leaves out everything after the cost (quicker; which of equals is then open)

    Returns
    -------
    Substitution, confirmed by the exact check.

    Raises
    ------
    InputError where sizes are left open or statements contradict each other at exact size.

    Notes
    -----
    Cost of a drawn size: weight × |departure| ÷ reach. A size's reach is a hard bound, unless a
    track standard bounds the size: the bounds then stand in its place. Reached in this order: least
    cost; earliest methods; rows the shop has; preferred catalogues (the workshop's unit, then the
    method's first table); fewest different sections and tools; nearest sizes, the earlier in the
    files the nearer; catalogue order. Sizes of one part that take their rows from different columns
    of the same catalogue tables (outside, wall and bore of a tube) take them from one row. Copies
    are alike where they can be; where copies that were read leave no such choice, those that go
    with them are chosen one by one.
    """
    clock = Clock(seconds)
    with put_off():  # the most memory held is the same: tests/benchmarks, at 20,000 sizes
        task, result = best_of(Task(model, clock, Fraction(slack), levels))
    late = Clock(clock.left + GRACE * seconds)
    if result.status == "impossible":
        from scaler.substitution.conflicts import conflicts_of

        found, together = conflicts_of(task, late, ways_out)
        result = replace(result, conflicts=found, together=together)
    else:
        wants_prices = prices if prices is not None else len(model.sizes) <= SMALL
        if alternatives and result.status in ("optimal", "feasible"):
            from scaler.substitution.alternatives import alternatives_of

            result = replace(result, alternatives=alternatives_of(task, alternatives, late))
        if wants_prices and result.status in ("optimal", "feasible"):
            from scaler.substitution.alternatives import prices_of

            result = replace(result, prices=prices_of(task, late))
    return result


def best_of(task: Task) -> tuple[Task, Substitution]:
    """The best choice of a task's model, with the checks of workability that some choice can meet;
    and the task that it came of."""
    task.solve()
    model = apart = task.model
    if task.status == "impossible":  # copies need not be alike where what they meet is not
        apart = parted(model, task.compiled, task.stuck())
        if apart is not model:
            task = Task(apart, task.clock, task.slack, task.levels, before=task, used=task.outside)
            task.solve()
    result = task.result()
    if result.status in ("optimal", "feasible"):
        task, result = workable(apart, task, result, task.clock)
    if apart is not model:
        result = replace(
            result,
            original=model,
            choices=tuple(
                choice if choice.size in model.choices else replace(choice, before=None)
                for choice in result.choices
            ),
        )
    return task, result
