"""Reading, reducing and checking models of growing size, as ratios in one run.

    python tests/benchmarks/bench_check.py [SIZES …]

Reference: a bare read of the same files (tomllib and csv) plus the same pairs and conditions as
numpy arithmetic over arrays of the same sizes. Also prints the growth from each size to the next,
and the peak memory of the process.
"""

from __future__ import annotations

import csv
import resource
import sys
import tempfile
import time
import tomllib
from pathlib import Path

import numpy
from make_model import make

import scaler


def bare(folder: Path) -> float:
    """Seconds of a bare read and a numpy evaluation of the same statements."""
    start = time.perf_counter()
    for name in ("model.toml", "parts.toml", "fits.toml"):
        tomllib.loads((folder / name).read_text(encoding="utf-8"))
    with (folder / "sizes.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    parts = 2 * len(rows) // 10
    sizes = numpy.arange(parts * 10, dtype=float).reshape(parts, 10) / 8 * 25.4
    low, high = sizes - 0.01, sizes + 0.01
    for one, other in ((1, 0), (2, 3)):
        clearance = sizes[:, one] - sizes[:, other]
        least, most = low[:, one] - high[:, other], high[:, one] - low[:, other]
        numpy.sum((clearance > 0) & (least > 0) & (most < 1))
    total = sizes[:, 4] + sizes[:, 5] + sizes[:, 6]
    numpy.sum((total > 1) & (low[:, 4:7].sum(axis=1) > 1))
    numpy.sum(sizes[1:, 4] + sizes[:-1, 6] > 1)
    return time.perf_counter() - start


def ours(folder: Path) -> tuple[float, float, float]:
    """Seconds to load, to reduce, to check."""
    start = time.perf_counter()
    model = scaler.load(folder)
    loaded = time.perf_counter()
    scaler.reduce(model)
    reduced = time.perf_counter()
    scaler.check(model)
    return loaded - start, reduced - loaded, time.perf_counter() - reduced


def main() -> None:
    """Prints one line a size."""
    counts = [int(item) for item in sys.argv[1:]] or [200, 2000, 20000]
    scaler.load  # noqa: B018 - import now
    before: tuple[int, float] | None = None
    print("sizes  load s  reduce s  check s  bare s  whole check/bare  growth  peak MiB")
    for count in counts:
        with tempfile.TemporaryDirectory() as name:
            folder = make(Path(name), count)
            base = min(bare(folder) for _ in range(3))
            load, reduce, check = min((ours(folder) for _ in range(2)), key=sum)
        whole = load + check
        growth = f"{whole / before[1]:.1f} for {count / before[0]:.0f}" if before else "-"
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{count:6d} {load:7.2f} {reduce:9.2f} {check:8.2f} {base:7.3f} {whole / base:17.1f}"
            f"  {growth}  {peak:.0f}"
        )
        before = (count, whole)


if __name__ == "__main__":
    main()
