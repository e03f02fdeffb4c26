"""Reading, reducing and checking models of growing size, as ratios in one run.

    python bench_check.py [SIZES …]

Each size runs in a process of its own, so that its peak of memory is its own; times are processor
seconds of that process, the least of several runs, ours and the reference in turn.

Reference: a bare read of the same files (tomllib and csv) and the same pairs and conditions as
numpy arithmetic over arrays of the same sizes. It keeps no line numbers, refuses nothing, reads no
length, fit or rule, looks at no name and no unit, and counts in floats. Bounds: a whole check (read, reduce,
settle, check, with every verdict and the exit status) at most 3 times the reference at 20,000
sizes; ten times the sizes at most twelve times the time and the memory; under 1 GiB.

``in full`` is what comes on top where every record, figure and word is asked for, as JSON needs.
``change`` is one size drawn otherwise on the bench (``scaler.Workbench``), with all that hangs on it
judged anew; bound: 1/50 of a check of the loaded model at 20,000 sizes. ``process`` is the whole of
``scaler check MODEL --format json``.
"""

from __future__ import annotations

import csv
import gc
import json
import random
import resource
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy
from make_model import make
from rows import row

import scaler

DEFAULT = [100, 1_000, 10_000, 20_000, 100_000]
CHANGES = 40


def bare(folder: Path) -> None:
    """A bare read and a numpy evaluation of the same statements."""
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


def seconds(function: Callable[[], object]) -> float:
    """Processor seconds of one call."""
    start = time.process_time()
    function()
    return time.process_time() - start


def ours(folder: Path) -> dict[str, float]:
    """Processor seconds to load, to check, and to have everything in full."""
    start = time.process_time()
    model = scaler.load(folder)
    loaded = time.process_time()
    result = scaler.check(model)
    result.status(strict=True)
    checked = time.process_time()
    result.as_dict()
    return {
        "load": loaded - start,
        "check": checked - loaded,
        "full": time.process_time() - checked,
    }


def change(folder: Path) -> dict[str, float]:
    """Processor seconds of one size drawn otherwise, and of a check of the same loaded model."""
    model = scaler.load(folder)
    check = min(seconds(lambda: scaler.check(model).status()) for _ in range(3))
    bench = scaler.Workbench(model)
    gc.collect()  # what the measurements before have left behind is none of a change's time
    chance = random.Random(3)
    names = [name for name, size in model.sizes.items() if size.full is not None]
    bench.redraw(names[0], Fraction(100))  # what is only worked out once is worked out now
    spent = []
    for _ in range(CHANGES):
        name = chance.choice(names)
        full = model.sizes[name].full or Fraction(1)
        spent.append(seconds(lambda n=name, f=full: bench.redraw(n, f * Fraction(101, 100))))
    return {"change": sum(spent) / CHANGES, "slowest": max(spent), "loaded": check}


def process(folder: Path) -> float:
    """Processor seconds of the whole command, its output thrown away."""
    code = "from scaler.cli.main import main; main()"
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(
        [sys.executable, "-c", code, "check", str(folder), "--format", "json"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        check=False,
    )
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def one(count: int) -> dict[str, float]:
    """All figures of a model of so many sizes."""
    with tempfile.TemporaryDirectory() as name:
        folder = make(Path(name), count)
        ours(make(Path(name) / "warm", 100))
        turns = 5 if count <= 20_000 else 2
        found: dict[str, float] = {}
        for _ in range(turns):
            new = {"bare": seconds(lambda: bare(folder)), **ours(folder)}
            new["whole"] = new["load"] + new["check"]
            for key, value in new.items():
                found[key] = min(value, found.get(key, value))
        found["peak"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        if count <= 20_000:
            found |= change(folder)
            found["process"] = min(process(folder) for _ in range(2))
        return found


def main() -> None:
    """Prints one line a size."""
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(one(int(sys.argv[2]))))
        return
    counts = [int(item) for item in sys.argv[1:]] or DEFAULT
    found: dict[int, dict[str, float]] = {}
    print(
        " sizes  bare s  load s  check s  whole/bare  in full s  peak MiB  growth of time, memory"
    )
    for count in counts:
        done = subprocess.run(
            [sys.executable, __file__, "--one", str(count)],
            capture_output=True,
            text=True,
            check=True,
        )
        new = found[count] = json.loads(done.stdout)
        growth, tenth = "-", found.get(count // 10)
        if tenth is not None:
            growth = (
                f"{new['whole'] / tenth['whole']:.1f}, {new['peak'] / tenth['peak']:.1f} for 10"
            )
        print(
            f"{count:6d} {new['bare']:7.3f} {new['load']:7.3f} {new['check']:8.3f} "
            f"{new['whole'] / new['bare']:11.2f} {new['full']:10.3f} {new['peak']:9.0f}  {growth}",
            flush=True,
        )
        bound = 3 if count == 20_000 else None
        what = f"load and check, {count:,} sizes"
        row(what, new["whole"], new["bare"], "bare read and numpy", bound)
        if tenth is not None:
            less = f"{count // 10:,} sizes"
            row(f"time at {count:,} sizes", new["whole"], tenth["whole"], less, 12)
            row(f"memory at {count:,} sizes", new["peak"], tenth["peak"], less, 12, "MiB")
        if count == 20_000:
            row(f"memory, {count:,} sizes", new["peak"], 1024, "limit", 1, "MiB")
    for count, new in found.items():
        if "change" in new:
            what = f"one change, {count:,} sizes"
            bound = 1 / 50 if count == 20_000 else None
            row(what, new["change"], new["loaded"], "whole check", bound)
            print(
                f"{count:6d} sizes: one change {new['change'] * 1e3:.2f} ms "
                f"= 1/{new['loaded'] / new['change']:.0f} of a check (slowest "
                f"1/{new['loaded'] / new['slowest']:.0f}); process with JSON {new['process']:.2f} s"
            )


if __name__ == "__main__":
    main()
