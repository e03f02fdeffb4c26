"""Ways of cutting made as they are wanted, where there are too many to list.

A linear programme over the ways known so far gives each length a price; a knapsack finds the way
of cutting whose pieces are worth more than its bar, and it joins. When there is none left, the
value of the programme is a bound that no plan can come under.

References: Gilmore and Gomory, Operations Research 9 (1961), 849-859, and 11 (1963), 863-888
(method from memory; code our own). Knapsack: depth-first with the bound of the best price by length.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any

ROUNDS = 500
LOOKS = 2_000_000

Column = tuple[int, tuple[int, ...]]


@contextmanager
def _hushed() -> Iterator[None]:
    """What a library prints to the standard output by itself is let go while this lasts."""
    with suppress(OSError, ValueError):
        sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:  # there is no standard output to keep clean
        yield
        return
    try:
        with open(os.devnull, "wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def new_programme(seconds: float = 0.0) -> Any:
    """An empty programme for HiGHS that prints nothing and always takes the same path."""
    import highspy

    with _hushed():  # the first one of a process prints who made it
        make: Any = highspy.Highs
        highs = make()
    highs.silent()
    highs.setOptionValue("threads", 1)
    highs.setOptionValue("random_seed", 0)
    if seconds:
        highs.setOptionValue("mip_rel_gap", 0.0)
        highs.setOptionValue("mip_abs_gap", 0.999)  # every objective here is a whole number
        highs.setOptionValue("time_limit", seconds)
    return highs


def generate(
    lengths: Sequence[int],
    wanted: Sequence[int],
    bars: Sequence[int],
    have: Sequence[int | None],
    costs: Sequence[int],
) -> tuple[list[Column], float | None]:
    """Ways of cutting that a best plan may need, and the bound on its cost (float).

    The bound is None where the bars do not reach for all pieces, or the search was cut short.
    """
    columns = _first(lengths, wanted, bars)
    known = set(columns)
    penalty = float(sum(wanted) * (max(costs) + 1))
    bound: float | None = None
    for _ in range(ROUNDS):
        value, prices, shares, lacking = _relaxed(columns, wanted, bars, have, costs, penalty)
        fresh: list[Column] = []
        sure = True
        for number, bar in enumerate(bars):
            worth, counts, complete = _knapsack(lengths, wanted, bar, prices)
            sure = sure and complete
            spare = costs[number] - shares.get(number, 0.0)
            column = (number, counts)
            if worth > spare + 1e-7 * max(1.0, abs(spare)) and column not in known:
                fresh.append(column)
        if not fresh:
            bound = value if sure and lacking < 1e-6 else None
            break
        columns += fresh
        known.update(fresh)
    return columns, bound


def _first(lengths: Sequence[int], wanted: Sequence[int], bars: Sequence[int]) -> list[Column]:
    """To begin with: each length alone on each bar, and each bar filled longest first."""
    found: list[Column] = []
    for number, bar in enumerate(bars):
        for start in range(len(lengths)):
            for alone in (True, False):
                counts, room = [0] * len(lengths), bar
                for at in [start] if alone else range(start, len(lengths)):
                    counts[at] = min(room // lengths[at], wanted[at])
                    room -= counts[at] * lengths[at]
                if any(counts):
                    found.append((number, tuple(counts)))
    return list(dict.fromkeys(found))


def _relaxed(
    columns: Sequence[Column],
    wanted: Sequence[int],
    bars: Sequence[int],
    have: Sequence[int | None],
    costs: Sequence[int],
    penalty: float,
) -> tuple[float, list[float], dict[int, float], float]:
    """The linear programme: its value, the price of each length, of each limited bar, what lacks."""
    import highspy
    import numpy

    highs = new_programme()
    infinite = highspy.kHighsInf
    nothing = numpy.array([], dtype=numpy.int32), numpy.array([], dtype=numpy.float64)
    for want in wanted:
        highs.addRow(float(want), infinite, 0, *nothing)
    row_of = {}
    for number in range(len(bars)):
        if have[number] is not None:
            row_of[number] = highs.getNumRow()
            highs.addRow(-infinite, float(have[number] or 0), 0, *nothing)
    for bar, counts in columns:
        entries = {at: float(count) for at, count in enumerate(counts) if count}
        if bar in row_of:
            entries[row_of[bar]] = 1.0
        rows = numpy.fromiter(entries, dtype=numpy.int32)
        values = numpy.fromiter(entries.values(), dtype=numpy.float64)
        highs.addCol(float(costs[bar]), 0.0, infinite, len(entries), rows, values)
    for at in range(len(wanted)):
        row, one = numpy.array([at], dtype=numpy.int32), numpy.array([1.0])
        highs.addCol(penalty, 0.0, infinite, 1, row, one)
    highs.run()
    solution = highs.getSolution()
    duals = list(solution.row_dual)
    lacking = sum(solution.col_value[len(columns) :])
    shares = {number: duals[row] for number, row in row_of.items()}
    return float(highs.getInfo().objective_function_value), duals[: len(wanted)], shares, lacking


def _knapsack(
    lengths: Sequence[int], wanted: Sequence[int], bar: int, prices: Sequence[float]
) -> tuple[float, tuple[int, ...], bool]:
    """The pieces worth most that fit a bar, and whether the search was complete."""
    order = [at for at in range(len(lengths)) if prices[at] > 1e-12]
    order.sort(key=lambda at: (-prices[at] / lengths[at], at))
    best, best_counts = 0.0, [0] * len(lengths)
    counts = [0] * len(lengths)
    looks = 0

    def search(depth: int, room: int, worth: float) -> bool:
        nonlocal best, best_counts, looks
        looks += 1
        if looks > LOOKS:
            return False
        if worth > best + 1e-12:
            best, best_counts = worth, list(counts)
        if depth == len(order):
            return True
        at = order[depth]
        if worth + room * prices[at] / lengths[at] <= best + 1e-12:
            return True
        for count in range(min(room // lengths[at], wanted[at]), -1, -1):
            counts[at] = count
            left = room - count * lengths[at]
            if not search(depth + 1, left, worth + count * prices[at]):
                return False
        counts[at] = 0
        return True

    complete = search(0, bar, 0.0)
    return best, tuple(best_counts), complete
