"""How long chains take, against bare numpy doing the same sums in the same run.

    python tests/benchmarks/bench_chains.py

Prints ratios, best of several goes each, turn and turn about. Bounds that were set: random draws of
a 50-size chain at most 1.2 times bare numpy, 10,000,000 draws under 300 MiB of the process; worst
case and root sum square of 10,000 pairs at most 3 times the numpy expression.
"""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Callable
from fractions import Fraction

import numpy
from rows import row

from scaler.chains.chain import Given, chain_of
from scaler.chains.many import ManyChains

SIZES = 50


def best(*functions: Callable[[], object], goes: int = 5) -> list[float]:
    """The least time of each function [s], measured in turns."""
    least = [float("inf")] * len(functions)
    for _ in range(goes):
        for number, function in enumerate(functions):
            start = time.perf_counter()
            function()
            least[number] = min(least[number], time.perf_counter() - start)
    return least


def _chain(draws: int, distribution: str = "normal", root: bool = False) -> object:
    """The chain whose draws are timed."""
    names = [f"part_{n:02}.length" for n in range(SIZES)]
    given = Given(Fraction(10), Fraction(-1, 100), Fraction(1, 100))
    text = " + ".join(f"{n % 3 + 1} * {name}" for n, name in enumerate(names))
    if root:
        text = "sqrt(" + " + ".join(f"{name}^2" for name in names) + ")"
    return chain_of(
        text,
        dict.fromkeys(names, given),
        wanted=(Fraction(0), Fraction(2000)),
        draws=draws,
        distribution=distribution,
    )


def _bare(draws: int, distribution: str = "normal", root: bool = False) -> float:
    """The same draws and figures with numpy alone, as anyone would write them."""
    rng = numpy.random.default_rng(1)
    total = numpy.zeros(draws)
    for n in range(SIZES):
        if distribution == "normal":
            size = rng.normal(10.0, 0.02 / 6, draws)
        elif distribution == "uniform":
            size = rng.uniform(9.99, 10.01, draws)
        else:
            size = rng.triangular(9.99, 10.0, 10.01, draws)
        total = total + (size**2 if root else (n % 3 + 1) * size)
    if root:
        total = numpy.sqrt(total)
    inside = ((total >= 0) & (total <= 2000)).mean()
    ends = numpy.percentile(total, [0.135, 2.5, 50, 97.5, 99.865])
    return float(total.mean() + total.std() + inside + ends.sum())


def draws() -> None:
    """Random draws of a chain of 50 sizes."""
    for distribution in ("normal", "uniform", "triangular"):
        none, ours, bare = best(
            lambda d=distribution: _chain(0, d),
            lambda d=distribution: _chain(1_000_000, d),
            lambda d=distribution: _bare(1_000_000, d),
            goes=3,
        )
        print(
            f"1,000,000 {distribution:10} draws of {SIZES} sizes: {ours:.3f} s "
            f"(of it {none:.3f} s exact figures), bare numpy {bare:.3f} s, ratio {ours / bare:.2f}"
        )
        row(f"1,000,000 {distribution} draws, {SIZES} sizes", ours, bare, "bare numpy", 1.2)
    exact, ours, bare = best(
        lambda: _chain(2, root=True),
        lambda: _chain(1_000_000, root=True),
        lambda: _bare(1_000_000, root=True),
        goes=2,
    )
    print(
        f"1,000,000 normal     draws, root of {SIZES} squares: {ours - exact:.3f} s, "
        f"bare numpy {bare:.3f} s, ratio {(ours - exact) / bare:.2f} "
        f"(certified figures beside them {exact:.3f} s)"
    )
    row(f"1,000,000 draws, root of {SIZES} squares", ours - exact, bare, "bare numpy", 1.2)


def pairs() -> None:
    """Worst case and root sum square of 10,000 pairs."""
    count = 10_000
    forms = [{f"p{n}.outer": Fraction(1), f"p{n}.inner": Fraction(-1)} for n in range(count)]
    start = time.perf_counter()
    many = ManyChains([f"pair_{n}" for n in range(count)], [Fraction(0)] * count, forms)
    built = time.perf_counter() - start
    rng = numpy.random.default_rng(2)
    middles, halves = rng.uniform(5, 50, 2 * count), rng.uniform(0.002, 0.02, 2 * count)
    place = {name: n for n, name in enumerate(many.sizes)}
    outer = numpy.array([place[f"p{n}.outer"] for n in range(count)])
    inner = numpy.array([place[f"p{n}.inner"] for n in range(count)])

    def bare() -> object:
        middle = middles[outer] - middles[inner]
        reach = halves[outer] + halves[inner]
        square = numpy.sqrt(halves[outer] ** 2 + halves[inner] ** 2)
        return middle, middle - reach, middle + reach, middle - square, middle + square

    x, y, s, t = middles[outer], middles[inner], halves[outer], halves[inner]

    def barest() -> object:
        middle = x - y
        reach = s + t
        square = numpy.sqrt(s**2 + t**2)
        return middle, middle - reach, middle + reach, middle - square, middle + square

    ours, plain, least = best(lambda: many.bounds(middles, halves), bare, barest, goes=300)
    print(
        f"worst case and root sum square of {count:,} pairs: {ours * 1e6:.0f} µs, numpy expression "
        f"{plain * 1e6:.0f} µs, ratio {ours / plain:.2f}; against columns laid out beforehand "
        f"{least * 1e6:.0f} µs, ratio {ours / least:.2f} (put in order once in {built:.2f} s)"
    )
    row(f"bounds of {count:,} pairs", ours * 1e6, plain * 1e6, "numpy expression", 3, "µs")


def memory() -> None:
    """The greatest memory of this process after 10,000,000 draws."""
    _chain(10_000_000)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    mib = peak / 1024 if sys.platform != "darwin" else peak / 1024**2
    row(f"memory, 10,000,000 draws of {SIZES} sizes", mib, 300, "limit", 1, "MiB")


if __name__ == "__main__":
    memory()
    draws()
    pairs()
