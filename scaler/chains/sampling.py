"""Random draws of a chain: seeded, vectorised, in pieces that stay small however many there are.

How a size is drawn, about the middle of its limits, with T its tolerance and C the capability:

* ``normal``: standard deviation T ÷ (6 C); about 27 in 10,000 lie outside the limits at C = 1
* ``uniform``: anywhere within T ÷ C; never outside the limits at C = 1 or more
* ``triangular``: the same, but likelier towards the middle
* ``measured``: drawn again and again from readings that were taken; limits do not matter then

A size that is named twice is drawn once. An uncertain origin is a draw of its own, in the same way,
its ± being the half width (or 3 standard deviations). A mean shift moves every mean at once, each
by so many standard deviations T ÷ (6 C), towards the nearer end of the window (upward where there
is none). Sizes are drawn in an order of their own (alphabetical, those that have to be looked at
one by one last) from numpy's PCG64, so the same seed gives the same draws however the expression is
written.

References: JCGM 101:2008 (GUM Supplement 1), clause 7, for drawing and for the percentiles; the
standard error of a proportion is √(p(1−p)/n).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from scaler.chains.expressions import effective
from scaler.chains.records import Given, MonteCarlo
from scaler.chains.stack import Convention, Stack
from scaler.expressions import compile_float
from scaler.problems import InputError, Problem, did_you_mean
from scaler.progress import told
from scaler.records import Kind

if TYPE_CHECKING:
    import numpy
    from numpy.typing import NDArray

    Array = NDArray[numpy.float64]

DISTRIBUTIONS = ("normal", "uniform", "triangular", "measured")
MOST_DRAWS = 100_000_000
PIECE = 1 << 15
"""Draws made at a time: small enough to stay in the processor's own store."""

BARS = 60
PERCENTS = (0.135, 2.5, 50.0, 97.5, 99.865)
"""The percentiles kept: the middle, 95 % and 99.73 % (± 3 standard deviations if normal)."""

SURE = 8.0
"""A normal draw this many standard deviations out is never met with."""

EDGE = 1e-12


@dataclass(frozen=True)
class Draws:
    """What is asked of the random draws: how many, from which seed, how each size is drawn."""

    draws: int = 100_000
    seed: int = 1
    distribution: str = "normal"
    by_size: Mapping[str, str] = field(default_factory=dict)
    measured: Mapping[str, Sequence[float]] = field(default_factory=dict)

    def of(self, name: str) -> str:
        """The distribution of one size: its own, else measured where it has readings, else all's."""
        found = self.by_size.get(name)
        if found is not None:
            return found
        if name in self.measured:
            return "measured"
        return "normal" if self.distribution == "measured" else self.distribution


def check_draws(asked: Draws) -> None:
    """Raises InputError for a number of draws, a seed, a distribution or readings that cannot be."""
    problems = []
    if isinstance(asked.draws, bool) or not isinstance(asked.draws, int):
        problems.append(_wrong("draws", asked.draws, "a whole number"))
    elif not 2 <= asked.draws <= MOST_DRAWS:
        problems.append(_wrong("draws", asked.draws, f"2 to {MOST_DRAWS}"))
    if isinstance(asked.seed, bool) or not isinstance(asked.seed, int) or asked.seed < 0:
        problems.append(_wrong("seed", asked.seed, "a whole number from 0"))
    for name in (asked.distribution, *asked.by_size.values()):
        if name not in DISTRIBUTIONS:
            problems.append(
                Problem(
                    "unknown-distribution",
                    f"'{name}' is no distribution that draws can be made from",
                    read=str(name),
                    expected=", ".join(DISTRIBUTIONS),
                    advice=did_you_mean(str(name), DISTRIBUTIONS),
                )
            )
    for name, readings in asked.measured.items():
        if len(readings) < 2 or not all(math.isfinite(value) for value in readings):
            problems.append(_wrong(f"readings of {name}", len(readings), "two or more readings"))
    for name, way in asked.by_size.items():
        if way == "measured" and name not in asked.measured:
            problems.append(_wrong(f"readings of {name}", "none", "two or more readings"))
    if problems:
        raise InputError(problems)


def _wrong(what: str, read: object, expected: str) -> Problem:
    return Problem("draws", f"{what} cannot be used", read=str(read), expected=expected)


@dataclass(frozen=True, slots=True)
class _Size:
    """One size as it is drawn. Plain floats: nothing here is shown as exact."""

    name: str
    mean: float
    half: float
    origin: float
    way: str
    copies: int
    readings: tuple[float, ...]
    may_be_negative: bool


def sampler(asked: Draws) -> Callable[[Stack], MonteCarlo]:
    """The function that makes these draws of a stack. Raises InputError as :func:`check_draws`."""
    check_draws(asked)
    return lambda stack: _simulate(stack, asked)


def _towards(stack: Stack) -> float:
    """Which way the means shift: +1 up, −1 down."""
    about = stack.about
    centre = stack.mean if isinstance(stack.mean, Fraction) else stack.mean.midpoint
    if about.lower is None:
        return 1.0
    if about.upper is None:
        return -1.0
    return 1.0 if about.upper - centre <= centre - about.lower else -1.0


def _sizes(stack: Stack, asked: Draws) -> list[_Size]:
    convention: Convention = stack.convention
    towards = _towards(stack)
    found = []
    for name in sorted(stack.givens):
        given: Given = stack.givens[name]
        slope = effective(stack.slopes[name])
        readings = tuple(float(value) for value in asked.measured.get(name, ()))
        way = asked.of(name)
        mean = float(given.middle)
        half = float(3 * convention.sigma(given))
        if way == "measured":
            half = 0.0
        elif slope:
            mean += math.copysign(float(convention.shift(given)), slope) * towards
        origin = float(given.origin)
        count = convention.apart(slope, given) if stack.body.coefficients is not None else 1
        spread = (half + origin) * (SURE / 3 if way == "normal" else 1.0)
        positive = _is_positive(given, mean)
        lowest = min(readings) if way == "measured" else mean - spread
        found.append(
            _Size(name, mean, half, origin, way, count, readings, positive and lowest < 0.0)
        )
    return found


def _is_positive(given: Given, mean: float) -> bool:
    """Whether a size cannot be negative: all but positions and angles, unless it is already."""
    return mean > 0.0 and given.kind not in (Kind.POSITION.value, Kind.ANGLE.value)


def _simulate(stack: Stack, asked: Draws) -> MonteCarlo:
    import numpy

    sizes = _sizes(stack, asked)
    rng = numpy.random.Generator(numpy.random.PCG64(asked.seed))
    plain = stack.mean if isinstance(stack.mean, Fraction) else stack.mean.midpoint
    centre = float(plain)
    values = numpy.empty(asked.draws)
    negative = numpy.zeros(len(sizes), dtype=numpy.int64)
    if stack.body.coefficients is None:
        bad, count = _general(stack, sizes, values, rng, negative, centre)
    else:
        bad, count = _straight(stack, sizes, values, rng, negative, centre)
    return _summary(stack, asked, sizes, values, centre, negative, bad, count)


def _fill(size: _Size, buffer: Array, spare: Array, rng: Any) -> None:
    """Deviations of one size from its mean, as making leaves it, into ``buffer``."""
    import numpy

    if size.way == "measured":
        readings = numpy.asarray(size.readings)
        buffer[:] = readings[rng.integers(0, len(readings), size=len(buffer))]
        buffer -= size.mean
        return
    _spread(size.way, size.half, buffer, spare, rng)


def _spread(way: str, half: float, buffer: Array, spare: Array, rng: Any) -> None:
    if half == 0.0:
        buffer[:] = 0.0
    elif way == "normal":
        rng.standard_normal(out=buffer)
        buffer *= half / 3.0
    else:
        rng.random(out=buffer)
        if way == "triangular":
            rng.random(out=spare)
            buffer += spare
            buffer -= 1.0
            buffer *= half
        else:
            buffer *= 2.0 * half
            buffer -= half


def _straight(
    stack: Stack, sizes: list[_Size], values: Array, rng: Any, negative: Any, centre: float
) -> tuple[int, int]:
    """Linear chains: one size after the other is added up, so only two pieces are ever held.

    ``values`` comes out as deviations from the centre. Returns how many draws held a negative size,
    and how many had no value (none).
    """
    import numpy

    factors = stack.body.coefficients
    assert factors is not None
    mean = float(stack.body.constant) + math.fsum(float(factors[s.name]) * s.mean for s in sizes)
    raw: list[tuple[str, float]] = []
    offset = mean - centre
    for size in sizes:
        if size.way != "measured" and not size.may_be_negative:
            factor = float(factors[size.name]) / size.copies
            for half in (*([size.half] * size.copies), size.origin * size.copies):
                if half:
                    raw.append((size.way, factor * half))
    whole = [(n, s) for n, s in enumerate(sizes) if s.way == "measured" or s.may_be_negative]
    offset -= math.fsum(scale for way, scale in raw if way != "normal")
    buffers, spares = numpy.empty(PIECE), numpy.empty(PIECE)
    bad = 0
    for start in told(range(0, len(values), PIECE), "lots of draws"):
        view = values[start : start + PIECE]
        buffer, spare = buffers[: len(view)], spares[: len(view)]
        view[:] = offset
        for way, scale in raw:
            if way == "normal":
                rng.standard_normal(out=buffer)
                buffer *= scale / 3.0
            else:
                rng.random(out=buffer)
                if way == "triangular":
                    rng.random(out=spare)
                    buffer += spare
                    buffer *= scale
                else:
                    buffer *= 2.0 * scale
            view += buffer
        if whole:
            bad += _one_by_one(whole, factors, view, buffer, spare, rng, negative)
    return bad, 0


def _one_by_one(
    sizes: list[tuple[int, _Size]],
    factors: Mapping[str, Fraction],
    view: Array,
    buffer: Array,
    spare: Array,
    rng: Any,
    negative: Any,
) -> int:
    """Sizes that are drawn from readings, or may come out negative: each draw is looked at."""
    import numpy

    found = numpy.zeros(len(view), dtype=bool)
    common = numpy.empty_like(view)
    for number, size in sizes:
        factor = float(factors[size.name]) / size.copies
        origin = size.origin if size.way != "measured" else 0.0
        if origin:
            _spread(size.way, origin, common, spare, rng)
        for _ in range(size.copies):
            _fill(size, buffer, spare, rng)
            if origin:
                buffer += common
            if size.may_be_negative:
                below = buffer < -size.mean
                negative[number] += int(below.sum())
                found |= below
            buffer *= factor
            view += buffer
    return int(found.sum())


def _general(
    stack: Stack, sizes: list[_Size], values: Array, rng: Any, negative: Any, centre: float
) -> tuple[int, int]:
    """Chains that are not linear: the compiled expression on pieces of all sizes."""
    import numpy

    piece = max(1024, PIECE // (1 + len(sizes) // 8))
    arrays = numpy.empty((len(sizes), piece))
    spares, origins = numpy.empty(piece), numpy.empty(piece)
    run = compile_float(stack.body.node, [size.name for size in sizes], stack.body.ratio)
    bad = lost = 0
    for start in told(range(0, len(values), piece), "lots of draws"):
        view = values[start : start + piece]
        rows = arrays[:, : len(view)]
        found = numpy.zeros(len(view), dtype=bool)
        for number, size in enumerate(sizes):
            row = rows[number]
            spare = spares[: len(view)]
            _fill(size, row, spare, rng)
            if size.origin and size.way != "measured":
                _spread(size.way, size.origin, origins[: len(view)], spare, rng)
                row += origins[: len(view)]
            row += size.mean
            if size.may_be_negative:
                below = row < 0.0
                negative[number] += int(below.sum())
                found |= below
        bad += int(found.sum())
        numpy.subtract(run(*rows), centre, out=view)
        wrong = ~numpy.isfinite(view)
        lost += int(wrong.sum())
        view[wrong] = numpy.nan
    return bad, lost


def _summary(
    stack: Stack,
    asked: Draws,
    sizes: list[_Size],
    values: Array,
    centre: float,
    negative: Any,
    bad: int,
    lost: int,
) -> MonteCarlo:
    import numpy

    values.sort()  # draws without a value go to the end
    valid = values[: len(values) - lost]
    count = len(valid)
    way = asked.distribution if not asked.by_size else "as stated for each size"
    if count < 2:
        nan = float("nan")
        return MonteCarlo(
            asked.draws, asked.seed, way, nan, nan, nan, nan, nan, (), 0.0, 0.0, 0, 0, bad, (), lost
        )
    total = float(valid.sum())
    square = float(numpy.dot(valid, valid))
    sd = math.sqrt(max(0.0, (square - total * total / count) / (count - 1)))
    low, high = stack.about.lower, stack.about.upper
    below = above = 0
    if low is not None:
        below = int(numpy.searchsorted(valid, float(low) - centre - EDGE, side="left"))
    if high is not None:
        above = count - int(numpy.searchsorted(valid, float(high) - centre + EDGE, side="right"))
    chance = error = None
    exact = low is not None and low == high and valid[-1] - valid[0] > 2 * EDGE
    if stack.has_window and not exact:  # what varies is never exactly one value
        chance = (count - below - above) / asked.draws
        error = math.sqrt(chance * (1.0 - chance) / asked.draws)
    first, last = float(valid[0]), float(valid[-1])
    edges = numpy.linspace(first, last if last > first else first + EDGE, BARS + 1)
    places = numpy.searchsorted(valid, edges[1:-1], side="left")
    counts = numpy.diff(numpy.concatenate(([0], places, [count])))
    return MonteCarlo(
        draws=asked.draws,
        seed=asked.seed,
        distribution=way,
        mean=centre + total / count,
        sd=sd,
        mean_standard_error=sd / math.sqrt(count),
        lowest=centre + first,
        highest=centre + last,
        percentiles=tuple((percent, centre + _quantile(valid, percent)) for percent in PERCENTS),
        chance=chance,
        chance_standard_error=error,
        below=below,
        above=above,
        negative=bad,
        negative_sizes=tuple(
            (size.name, int(n)) for size, n in zip(sizes, negative, strict=True) if n
        ),
        without_value=lost,
        edges=tuple(float(edge) + centre for edge in edges),
        counts=tuple(int(n) for n in counts),
    )


def _quantile(values: Array, percent: float) -> float:
    """A percentile of sorted values, between neighbours in proportion."""
    place = (len(values) - 1) * percent / 100.0
    at = min(int(place), len(values) - 2)
    return float(values[at] + (place - at) * (values[at + 1] - values[at]))
