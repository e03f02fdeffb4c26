"""Loading all catalogues and looking for neighbours, as ratios to bare libraries in one run.

    python tests/benchmarks/bench_catalogues.py

References: ``pandas.read_csv`` over the same files; ``numpy.searchsorted`` over the same columns.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from fractions import Fraction
from importlib.resources import files

import numpy
import pandas
from rows import row

from scaler import catalogue
from scaler.trade.designations import FAMILIES, neighbours


def median(function: Callable[[], object], runs: int = 7) -> float:
    """Median seconds of one call."""
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def load_ours() -> int:
    """All tables through our reader, nothing cached, every row there."""
    catalogue._package.cache_clear()
    catalogue._resources.cache_clear()
    catalogue.table.cache_clear()
    return sum(len(catalogue.table(name).rows) for name in catalogue.names())


def load_pandas() -> int:
    """The same files through a bare pandas read."""
    root = files("scaler.catalogues")
    return sum(
        len(pandas.read_csv(str(root.joinpath(r["path"]))))
        for r in catalogue._package()["resources"]
    )


def main() -> None:
    """Prints the table of ratios."""
    load_pandas(), load_ours()
    ours, theirs = median(load_ours), median(load_pandas)
    row(f"all {len(catalogue.names())} tables, uncached", ours, theirs, "pandas.read_csv", None)
    families = [
        name
        for name in ("drills", "reamers", "slot drills", "round bar", "flats")
        if name in FAMILIES
    ]
    sizes = [Fraction(n, 7) for n in range(20, 170)]
    neighbours(Fraction(10), families)
    columns = [
        numpy.sort(
            numpy.array(
                [float(item.size_mm) for item in neighbours(Fraction(10), family, 10_000).all()]
            )
        )
        for family in families
    ]
    near = median(lambda: [neighbours(size, families) for size in sizes])
    floats = [float(size) for size in sizes]

    def bare() -> list[tuple[float, float]]:
        found = []
        for size in floats:
            for column in columns:
                at = int(numpy.searchsorted(column, size))
                found.append((column[max(0, at - 1)], column[min(at, len(column) - 1)]))
        return found

    base = median(bare)
    what = f"neighbours in {len(families)} families"
    row(what, near, base, "numpy.searchsorted on floats", None)


if __name__ == "__main__":
    main()
