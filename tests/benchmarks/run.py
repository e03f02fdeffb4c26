"""Runs every benchmark, prints each ratio beside its bound, and writes ``table.md`` here.

    python tests/benchmarks/run.py [NAME …]

With names, only the scripts whose name has one of them in it; their rows are printed and nothing is
written. ``python tests/tour.py --write`` then puts the table into the README. Exit status 0 when
all scripts gave their figures, met or not; 1 when one of them broke off.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import tempfile
import time
from importlib.metadata import version
from pathlib import Path

from rows import HANDED_ON, read, table

HERE = Path(__file__).parent
WORDS: dict[str, list[list[str]]] = {
    "bench_check": [["200", "2000", "20000"]],
    "bench_substitute": [["2000", "20000"], ["connected", "20000"], ["change", "20000"]],
}
"""How often a script is run, and with which words; once and without any if it is not here."""

LIBRARIES = ("click", "highspy", "networkx", "numpy", "pandas", "pint", "sympy")


def remark() -> str:
    """When and with what it was measured."""
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    return (
        f"Measured on {time.strftime('%Y-%m-%d')}, Python {platform.python_version()}, "
        f"{os.cpu_count()} cores, {libraries}. Only the ratios mean anything elsewhere."
    )


def main(names: list[str]) -> int:
    """Runs what is asked for."""
    broken = []
    with tempfile.TemporaryDirectory() as folder:
        handed_on = Path(folder) / "rows.jsonl"
        handed_on.touch()
        for script in sorted(HERE.glob("bench_*.py")):
            if names and not any(name in script.stem for name in names):
                continue
            for words in WORDS.get(script.stem, [[]]):
                print("==", script.stem, *words, flush=True)
                before = handed_on.stat().st_size
                subprocess.run(
                    [sys.executable, str(script), *words],
                    env={**os.environ, HANDED_ON: str(handed_on)},
                    check=False,
                )
                if handed_on.stat().st_size == before:
                    broken.append(" ".join((script.stem, *words)))
        rows = read(handed_on)
    kept = [item for item in rows if item.met]
    missed = [item for item in rows if item.met is False]
    print(f"{len(rows)} figures: {len(kept)} within their bounds, {len(missed)} not")
    for item in missed:
        print("not met:", item.line(), end="")
    for name in broken:
        print("gave no figures:", name)
    if not names and not broken:
        (HERE / "table.md").write_text(table(rows, remark()), encoding="utf-8")
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
