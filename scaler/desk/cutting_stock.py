"""One-dimensional cutting: pieces out of lengths of bar, the least bar first, then the fewest bars.

The pieces of one section are cut from lengths that the shop has (free, so many of each) and lengths
that are sold (paid for by their length, as many as are wanted). Each saw cut takes a kerf; a piece
that ends with the bar needs no cut. All ways of cutting a length are listed where there are not too
many of them, and a whole-number programme (HiGHS) picks the best set; where there are too many, ways
are made as they are wanted (column generation) and the bound that comes with them says how far the
answer can be from the best. The answer is put together and counted again in exact numbers.

References: P. C. Gilmore and R. E. Gomory, A linear programming approach to the cutting-stock
problem, Operations Research 9 (1961), 849-859, and Part II, 11 (1963), 863-888: patterns and column
generation (method from memory; code our own).
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Literal

MOST_PATTERNS = 30_000
"""Ways of cutting listed in full; above that they are generated."""
MOST_LOOKS = 400_000
MOST_PIECES = 20_000
SECONDS = 10.0
"""Time for one programme; after it the best found is given with its bound."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A length wanted [mm], how many, and what for."""

    length: Fraction
    count: int
    label: str = ""


@dataclass(frozen=True, slots=True)
class Bar:
    """A length that can be cut up [mm]: how many there are (None: as many as wanted), and whose."""

    length: Fraction
    count: int | None = None
    owned: bool = False
    label: str = ""


@dataclass(frozen=True, slots=True)
class Cut:
    """One way of cutting one bar, so many times: the pieces in order, and what is left [mm]."""

    bar: Bar
    times: int
    pieces: tuple[tuple[Fraction, str], ...]
    kerf: Fraction

    @property
    def left(self) -> Fraction:
        """What is left of the bar after the last cut [mm], 0 where the last piece ends with it."""
        used = sum((length for length, _ in self.pieces), Fraction(0))
        left = self.bar.length - used - self.kerf * (len(self.pieces) - 1)
        return max(Fraction(0), left - self.kerf)


@dataclass(frozen=True, slots=True)
class CutPlan:
    """The plan: cuts, pieces that no bar can give, and how sure it is that no plan is better.

    ``bought`` is the length of bar bought [mm], ``bars`` the number of bars cut into, ``bound`` a
    length [mm] below which no plan can come. ``status`` is ``optimal`` where no plan buys less,
    ``fewest`` says whether it is proved too that none that buys as little cuts into fewer bars.
    """

    cuts: tuple[Cut, ...]
    unmet: tuple[Piece, ...]
    bought: Fraction
    bars: int
    bound: Fraction
    status: Literal["optimal", "best found"]
    fewest: bool = True

    @property
    def left(self) -> Fraction:
        """All offcuts together [mm]."""
        return sum((cut.left * cut.times for cut in self.cuts), Fraction(0))


@dataclass(frozen=True, slots=True)
class _Problem:
    """The same in whole numbers: lengths and kerf in one unit, pieces of one length put together."""

    lengths: tuple[int, ...]
    wanted: tuple[int, ...]
    bars: tuple[int, ...]
    have: tuple[int | None, ...]
    costs: tuple[int, ...]

    @property
    def limited(self) -> bool:
        """Whether the bars are so few that something may have to go without."""
        return not any(
            have is None and bar >= self.lengths[0]
            for bar, have in zip(self.bars, self.have, strict=True)
        )


@dataclass(frozen=True, slots=True)
class _Pattern:
    bar: int
    counts: tuple[int, ...]


def plan_cuts(pieces: Iterable[Piece], bars: Iterable[Bar], kerf: Fraction) -> CutPlan:
    """The plan with the least bar bought, and of those the one with the fewest bars.

    Parameters: pieces : lengths wanted [mm]; bars : lengths to be had [mm]; kerf : what a saw cut
        takes [mm].
    Returns: CutPlan. Pieces longer than any bar, and those that the bars do not reach for, stand
        in ``unmet``.
    Raises: ValueError for a length that is not above 0, a kerf below 0, a count below 1, or more
        than 20 000 pieces.

    >>> plan = plan_cuts([Piece(Fraction(100), 5)], [Bar(Fraction(330))], Fraction(2))
    >>> plan.bars, plan.bought, plan.status
    (2, Fraction(660, 1), 'optimal')
    """
    wanted, stock = tuple(pieces), _merged(bars)
    _check(wanted, stock, kerf)
    longest = max((bar.length for bar in stock), default=Fraction(0))
    too_long = [piece for piece in wanted if piece.length > longest]
    rest = [piece for piece in wanted if piece.length <= longest]
    if not rest:
        return CutPlan((), tuple(too_long), Fraction(0), 0, Fraction(0), "optimal")
    problem, unit = _whole(rest, stock, kerf)
    served = _solve(problem)
    cuts, missed = _dress(served.patterns, rest, stock, kerf)
    bought = sum((c.bar.length * c.times for c in cuts if not c.bar.owned), Fraction(0))
    number = sum(cut.times for cut in cuts)
    bound = min(Fraction(served.bound) / unit, bought)
    status: Literal["optimal", "best found"] = "optimal" if served.least else "best found"
    return CutPlan(cuts, (*too_long, *missed), bought, number, bound, status, served.fewest)


def _check(pieces: Sequence[Piece], bars: Sequence[Bar], kerf: Fraction) -> None:
    if kerf < 0:
        raise ValueError(f"a kerf of {kerf} mm")
    for piece in pieces:
        if piece.length <= 0 or piece.count < 1:
            raise ValueError(f"{piece.count} pieces of {piece.length} mm")
    for bar in bars:
        if bar.length <= 0 or (bar.count is not None and bar.count < 1):
            raise ValueError(f"{bar.count} bars of {bar.length} mm")
    if sum(piece.count for piece in pieces) > MOST_PIECES:
        raise ValueError(f"more than {MOST_PIECES} pieces of one section")


def _merged(bars: Iterable[Bar]) -> tuple[Bar, ...]:
    """Bars of one length and owner put together, the owned and the longer first."""
    found: dict[tuple[bool, Fraction], Bar] = {}
    for bar in bars:
        key = (bar.owned, bar.length)
        other = found.get(key)
        if other is None:
            found[key] = bar
        elif other.count is not None:
            count = None if bar.count is None else other.count + bar.count
            found[key] = Bar(bar.length, count, bar.owned, other.label or bar.label)
    return tuple(sorted(found.values(), key=lambda bar: (not bar.owned, -bar.length)))


def _whole(pieces: Sequence[Piece], bars: Sequence[Bar], kerf: Fraction) -> tuple[_Problem, int]:
    """The problem in whole numbers, and how many of its units make a millimetre.

    A piece with its kerf fits a bar with one kerf more: so a last piece needs no cut.
    """
    demand: dict[Fraction, int] = {}
    for piece in pieces:
        demand[piece.length] = demand.get(piece.length, 0) + piece.count
    lengths = sorted(demand, reverse=True)
    unit = math.lcm(
        kerf.denominator, *(x.denominator for x in lengths), *(b.length.denominator for b in bars)
    )
    return (
        _Problem(
            tuple(int((length + kerf) * unit) for length in lengths),
            tuple(demand[length] for length in lengths),
            tuple(int((bar.length + kerf) * unit) for bar in bars),
            tuple(bar.count for bar in bars),
            tuple(0 if bar.owned else int(bar.length * unit) for bar in bars),
        ),
        unit,
    )


def _patterns(problem: _Problem) -> list[_Pattern] | None:
    """Every way of cutting each bar that leaves no room for another wanted piece; None: too many."""
    found: list[_Pattern] = []
    lengths, wanted = problem.lengths, problem.wanted
    last = len(lengths) - 1
    looks = 0

    def fill(bar: int, at: int, room: int, counts: list[int]) -> bool:
        nonlocal looks
        looks += 1
        most = min(room // lengths[at], wanted[at])
        if at == last:
            full = (*counts, most)
            room -= most * lengths[at]
            maximal = all(
                room < length or count == want
                for length, count, want in zip(lengths, full, wanted, strict=True)
            )
            if maximal and any(full):
                found.append(_Pattern(bar, full))
            return len(found) <= MOST_PATTERNS and looks <= MOST_LOOKS
        for count in range(most, -1, -1):
            counts.append(count)
            going = fill(bar, at + 1, room - count * lengths[at], counts)
            counts.pop()
            if not going:
                return False
        return True

    complete = all(fill(number, 0, bar, []) for number, bar in enumerate(problem.bars))
    return found if complete else None


@dataclass(frozen=True, slots=True)
class _Served:
    """Patterns and how often; the bound on what is bought; what was proved."""

    patterns: tuple[tuple[_Pattern, int], ...]
    bound: int
    least: bool
    fewest: bool
    lacking: int


def _solve(problem: _Problem) -> _Served:
    patterns = _patterns(problem)
    if patterns is not None:
        return _programme(problem, patterns)
    from scaler.desk.cutting_columns import generate

    columns, relaxed = generate(
        problem.lengths, problem.wanted, problem.bars, problem.have, problem.costs
    )
    served = _programme(problem, [_Pattern(bar, counts) for bar, counts in columns])
    if relaxed is None or served.lacking:
        return replace(served, least=False, fewest=False, bound=0)
    cost = sum(problem.costs[pattern.bar] * times for pattern, times in served.patterns)
    step = math.gcd(*problem.costs) or 1
    lowest = -(-math.ceil(relaxed - 1e-6 * max(1.0, relaxed)) // step) * step
    # among patterns made for the price no plan with fewer bars need be: that is not promised,
    # but where one bar length is sold and none is owned, fewest bars and least length are the same
    same = len(problem.bars) == 1
    return replace(
        served, least=cost <= lowest, fewest=same and cost <= lowest, bound=min(lowest, cost)
    )


def _programme(problem: _Problem, patterns: Sequence[_Pattern]) -> _Served:
    """In order: least left out (by length), least bought, fewest bars, shortest bars."""
    step = math.gcd(*problem.costs) or 1
    costs = [problem.costs[pattern.bar] // step for pattern in patterns]
    lacking: int | None = None
    proved = True
    if problem.limited:
        short = _highs(problem, patterns, None, None)
        lacking, proved = short.value, short.proved
    first = _highs(problem, patterns, costs, lacking)
    if not first.times:  # nothing can be promised without any plan at all
        raise ArithmeticError("no plan was found in the time allowed")
    times, fewest = _fewest(problem, patterns, first, lacking, step)
    served = tuple((p, n) for p, n in zip(patterns, times, strict=True) if n)
    return _Served(
        served,
        math.ceil(first.bound - 1e-6) * step,
        proved and first.proved,
        proved and first.proved and fewest,
        lacking or 0,
    )


def _fewest(
    problem: _Problem, patterns: Sequence[_Pattern], first: _Answer, lacking: int | None, step: int
) -> tuple[tuple[int, ...], bool]:
    """Of all plans that buy as little, one with the fewest bars, then the shortest; and if proved.

    The sets of bars that cost no more and are long enough together are tried in that order.
    """
    used = [0] * len(problem.bars)
    for pattern, count in zip(patterns, first.times, strict=True):
        used[pattern.bar] += count
    room = sum(length * n for length, n in zip(problem.lengths, problem.wanted, strict=True))
    room -= (lacking or 0) * math.gcd(*problem.lengths)
    sets = _bar_sets(problem, first.value * step, room, sum(used))
    if sets is None:
        return first.times, False
    given_up = time.monotonic() + SECONDS
    sure = True
    for chosen in sets:
        if chosen == tuple(used):
            return first.times, sure
        held = replace(problem, have=chosen)
        kept = [n for n, pattern in enumerate(patterns) if chosen[pattern.bar]]
        answer = _highs(held, [patterns[n] for n in kept], [0] * len(kept), lacking, SECONDS / 4)
        if answer.times:
            times = [0] * len(patterns)
            for at, count in zip(kept, answer.times, strict=True):
                times[at] = count
            return tuple(times), sure
        sure = sure and answer.impossible
        if time.monotonic() > given_up:
            return first.times, False
    return first.times, sure


def _bar_sets(problem: _Problem, cost: int, room: int, most: int) -> list[tuple[int, ...]] | None:
    """How many of each bar: all sets of at most so many bars, so dear, and long enough together.

    Sorted by number of bars, then by length; None where there are too many to look at.
    """
    found: list[tuple[int, ...]] = []
    looks = 0

    def choose(at: int, counts: list[int], cost: int, room: int, most: int) -> bool:
        nonlocal looks
        looks += 1
        if at == len(problem.bars):
            if room <= 0:
                found.append(tuple(counts))
            return looks <= MOST_LOOKS and len(found) <= MOST_PATTERNS
        price, have = problem.costs[at], problem.have[at]
        limit = min(most, cost // price if price else most, most if have is None else have)
        for count in range(limit + 1):
            counts.append(count)
            going = choose(
                at + 1, counts, cost - count * price, room - count * problem.bars[at], most - count
            )
            counts.pop()
            if not going:
                return False
        return True

    if not choose(0, [], cost, room, most):
        return None
    found.sort(
        key=lambda counts: (
            sum(counts),
            sum(n * bar for n, bar in zip(counts, problem.bars, strict=True)),
        )
    )
    return found


@dataclass(frozen=True, slots=True)
class _Answer:
    value: int
    times: tuple[int, ...]
    bound: float
    proved: bool
    impossible: bool = False


def _highs(
    problem: _Problem,
    patterns: Sequence[_Pattern],
    objective: Sequence[int] | None,
    lacking: int | None,
    seconds: float = SECONDS,
) -> _Answer:
    """One programme in whole numbers: how often each pattern is cut.

    Without an objective the length of what is left out is made least; ``lacking`` is what may be
    left out, None where nothing may.
    """
    import highspy
    import numpy

    from scaler.desk.cutting_columns import new_programme

    highs = new_programme(seconds)
    infinite = highspy.kHighsInf
    nothing = numpy.array([], dtype=numpy.int32), numpy.array([], dtype=numpy.float64)
    wanted = problem.wanted
    scale = math.gcd(*problem.lengths)
    weights = [length // scale for length in problem.lengths]
    for want in wanted:
        highs.addRow(float(want), infinite, 0, *nothing)
    row_of = {}
    for number, have in enumerate(problem.have):
        if have is not None:
            row_of[number] = highs.getNumRow()
            highs.addRow(-infinite, float(have), 0, *nothing)
    lack_row = highs.getNumRow()
    if lacking is not None:
        highs.addRow(-infinite, float(lacking), 0, *nothing)

    def column(cost: float, most: float, entries: dict[int, int]) -> None:
        rows = numpy.fromiter(entries, dtype=numpy.int32)
        values = numpy.fromiter(entries.values(), dtype=numpy.float64)
        highs.addCol(cost, 0.0, most, len(entries), rows, values)

    for number, pattern in enumerate(patterns):
        entries = {at: count for at, count in enumerate(pattern.counts) if count}
        if pattern.bar in row_of:
            entries[row_of[pattern.bar]] = 1
        column(float(objective[number]) if objective else 0.0, infinite, entries)
    if objective is None or lacking is not None:
        for at, want in enumerate(wanted):
            entries = {at: 1} if lacking is None else {at: 1, lack_row: weights[at]}
            column(float(weights[at]) if objective is None else 0.0, float(want), entries)
    count = highs.getNumCol()
    kinds = numpy.full(count, int(highspy.HighsVarType.kInteger), dtype=numpy.uint8)
    highs.changeColsIntegrality(count, numpy.arange(count, dtype=numpy.int32), kinds)
    highs.run()
    info = highs.getInfo()
    if info.primal_solution_status != 2:  # none that is possible, or none in the time allowed
        none = highs.getModelStatus() == highspy.HighsModelStatus.kInfeasible
        return _Answer(0, (), 0.0, False, none)
    found = [round(x) for x in highs.getSolution().col_value[:count]]
    times, left_out = tuple(found[: len(patterns)]), found[len(patterns) :]
    if objective is None:
        value = sum(w * n for w, n in zip(weights, left_out, strict=True))
    else:
        value = sum(c * n for c, n in zip(objective, times, strict=True))
    bound = float(info.mip_dual_bound)
    optimal = highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
    return _Answer(value, times, bound, optimal and math.ceil(bound - 1e-6) >= value)


def _dress(
    served: Sequence[tuple[_Pattern, int]],
    pieces: Sequence[Piece],
    bars: Sequence[Bar],
    kerf: Fraction,
) -> tuple[tuple[Cut, ...], list[Piece]]:
    """Patterns with the pieces' labels put in, one bar after another; like bars put together.

    A pattern that would give more than is wanted is cut short. Every bar is checked exactly.
    """
    lengths = sorted({piece.length for piece in pieces}, reverse=True)
    queues: dict[Fraction, list[list[Any]]] = {length: [] for length in lengths}
    for piece in pieces:
        queues[piece.length].append([piece.label, piece.count])
    cuts: list[Cut] = []
    ordered = sorted(served, key=lambda item: (item[0].bar, [-count for count in item[0].counts]))
    for pattern, times in ordered:
        for _ in range(times):
            taken: list[tuple[Fraction, str]] = []
            for length, count in zip(lengths, pattern.counts, strict=True):
                for _ in range(count):
                    label = _next(queues[length])
                    if label is not None:
                        taken.append((length, label))
            if not taken:
                continue
            cut = Cut(bars[pattern.bar], 1, tuple(taken), kerf)
            used = sum((x for x, _ in taken), Fraction(0)) + kerf * (len(taken) - 1)
            if used > cut.bar.length:  # never: the programme's rows are whole numbers
                raise ArithmeticError("a plan that does not fit its bar")
            if cuts and cuts[-1].bar == cut.bar and cuts[-1].pieces == cut.pieces:
                cuts[-1] = Cut(cut.bar, cuts[-1].times + 1, cut.pieces, kerf)
            else:
                cuts.append(cut)
    missed = [
        Piece(length, count, label)
        for length in lengths
        for label, count in queues[length]
        if count
    ]
    return tuple(cuts), missed


def _next(queue: list[list[Any]]) -> str | None:
    """The label of the next piece of a length that is still wanted, None where all are served."""
    for entry in queue:
        if entry[1]:
            entry[1] -= 1
            return str(entry[0])
    return None
