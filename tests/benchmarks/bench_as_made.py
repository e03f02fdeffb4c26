"""Measuring one size in a large model, and reading a long log, as ratios in one run.

    python tests/benchmarks/bench_as_made.py [SIZES [READINGS]]

References: a check of the whole model with that reading, pairs, conditions and workability, as
measuring keeps them all; a bare ``csv`` read of the same log. Bounds: 1/50 of the whole check for
what hangs on the size; 2 × the bare read. The search for ways out comes on top where something
breaks.
"""

from __future__ import annotations

import csv
import io
import random
import sys
import tempfile
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

from make_model import make
from rows import row

import scaler
from scaler.as_made.making_order import making_order
from scaler.as_made.measuring import Workbench
from scaler.checking.check import Checker
from scaler.checking.workability import workability
from scaler.reading.logs import READING_COLUMNS as COLUMNS
from scaler.reading.readings_log import read_readings
from scaler.reading.toml_lines import Source
from scaler.records import Model


def least(function: Callable[[], object], runs: int) -> float:
    """The least processor seconds of several calls: the machine may be busy with others."""
    best = float("inf")
    for _ in range(runs):
        start = time.process_time()
        function()
        best = min(best, time.process_time() - start)
    return best


def measuring(model: Model, runs: int) -> None:
    """One reading after the other on the bench, against a whole check after each."""
    start = time.process_time()
    bench = Workbench(model)
    opened = time.process_time() - start
    chance = random.Random(3)
    sizes = [s for s in model.sizes if s.endswith((".diameter", ".front", ".slot", ".tongue"))]
    quiet, broken = [], []
    for _ in range(runs):
        size = chance.choice(sizes)
        now = bench.bench.value(size)
        assert now is not None
        off = chance.choice([Fraction(0), Fraction(1, 500), Fraction(1, 5)])
        start = time.process_time()
        change = bench.measure(size, f"{float(now + off):.6f} mm", sure=True)
        spent = time.process_time() - start
        (broken if change.broken else quiet).append(spent)

    def check_all() -> None:
        checker = Checker(bench.model)
        assert checker.findings
        workability(bench.model, checker=checker).status()

    whole = least(check_all, 1)
    same = bench.findings == Checker(bench.model).findings
    print(f"{len(model.sizes)} sizes, {len(bench.findings)} statements; opened in {opened:.2f} s")
    print(f"whole check {whole:.3f} s; the same findings: {same}")
    for name, spent in (("nothing broken", quiet), ("broken, with ways out", broken)):
        if spent:
            mean, most = sum(spent) / len(spent), max(spent)
            print(
                f"  {name}: {len(spent)} readings, mean {mean * 1e3:.1f} ms = 1/{whole / mean:.0f} "
                f"of the check, slowest {most * 1e3:.1f} ms = 1/{whole / most:.0f}"
            )
            what = f"one reading, {name}, slowest of {len(spent)}"
            row(what, most, whole, f"whole check of {len(model.sizes):,} sizes", 1 / 50)
    start = time.process_time()
    order = making_order(bench.bench)
    spent = time.process_time() - start
    print(
        f"  order of making: {len(order.steps)} sizes in {spent:.2f} s = {spent / whole:.2f} checks"
    )


def long_log(model: Model, count: int, undos: float) -> str:
    """A log of readings of the model's sizes, some of them taken back."""
    chance = random.Random(5)
    sizes = [size for size in model.sizes][:4000]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    standing: dict[str, int] = {}
    for _ in range(count):
        size = chance.choice(sizes)
        undo = chance.random() < undos and standing.get(size, 0) > 0
        standing[size] = standing.get(size, 0) + (-1 if undo else 1)
        value = "" if undo else f"{chance.randint(1000, 99999) / 1000} mm"
        action = "undo" if undo else "reading"
        note = "after roughing, still warm"
        writer.writerow(["2026-11-02T19:30:00Z", action, size, "", value, "micrometer", note])
    return out.getvalue()


def reading(model: Model, count: int) -> None:
    """The log's readings that stand, against a bare csv pass."""
    for undos in (0.0, 0.02):
        text = long_log(model, count, undos)
        bare = least(lambda t=text: list(csv.reader(io.StringIO(t, newline=""))), 7)
        source = Source("readings.csv", text)
        ours = least(lambda s=source: read_readings(s, model.sizes, model.parts), 7)
        print(
            f"log of {count} lines, {undos:.0%} taken back: {ours * 1e3:.0f} ms = "
            f"{ours / bare:.2f} × a bare csv read ({bare * 1e3:.0f} ms)"
        )
        row(f"log of {count:,} lines, {undos:.0%} taken back", ours, bare, "bare csv read", 2)


def main() -> None:
    """Prints the ratios."""
    sizes = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    lines = int(sys.argv[2]) if len(sys.argv) > 2 else 100_000
    with tempfile.TemporaryDirectory() as folder:
        model = scaler.load(make(Path(folder) / "model", sizes))
        measuring(model, 60)
        reading(model, lines)


if __name__ == "__main__":
    main()
