"""Start-up of whole processes, as ratios to importing libraries in the same minute.

    python tests/benchmarks/bench_startup.py

References: ``python -c "import click"``, and importing pint, sympy, networkx, pandas and click
together. Medians of runs in turn. All run compiled, as what is installed does: everything is
compiled into a folder of the benchmark's own before the first measured run, even where Python is
told to write no compiled files.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from rows import row

import scaler

DEMO = str(Path(scaler.__file__).parent / "examples" / "pattern_d")
RUNS = 9
CASES = {
    "--help": (["--help"], "click", 1.3),
    "--version": (["--version"], "click", 1.3),
    "lookup length": (["lookup", "length", "4ft 8 1/2in", "--scale", "1:12"], "all", 0.3),
    "lookup thread": (["lookup", "thread", "2 BA"], "all", 0.3),
    "lookup fit": (["lookup", "fit", "25 H7/g6"], "all", 0.3),
    "lookup stock": (["lookup", "stock", "round bar, steel, 12.7 mm"], "all", 0.3),
    "check (demo)": (["check", DEMO], "all", 0.6),
    "reduce (demo)": (["reduce", DEMO], "all", 0.6),
}
NAMES = {"click": "click", "all": "pint, sympy, networkx, pandas and click"}


def seconds(command: list[str], compiled: str) -> float:
    """Wall seconds of one process, its output thrown away."""
    environment = {**os.environ, "PYTHONPYCACHEPREFIX": compiled}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    start = time.perf_counter()
    subprocess.run(
        command,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        check=False,
    )
    return time.perf_counter() - start


def main() -> None:
    """Prints the table."""
    with tempfile.TemporaryDirectory() as compiled:
        measure(compiled)


def measure(compiled: str) -> None:
    """Prints the table, what is compiled kept in a folder."""
    python = sys.executable
    references = {
        "click": [python, "-c", "import click"],
        "all": [python, "-c", "import pint, sympy, networkx, pandas, click"],
    }
    start = "from scaler.cli.main import main; main()"
    for name, (args, reference, bound) in CASES.items():
        mine = [python, "-c", start, *args]
        seconds(mine, compiled)
        seconds(references[reference], compiled)
        ours, theirs = [], []
        for _ in range(RUNS):
            ours.append(seconds(mine, compiled))
            theirs.append(seconds(references[reference], compiled))
        one, other = statistics.median(ours), statistics.median(theirs)
        row(f"scaler {name}", one, other, f"importing {NAMES[reference]}", bound)


if __name__ == "__main__":
    main()
