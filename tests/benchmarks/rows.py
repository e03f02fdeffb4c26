"""The one form in which every benchmark says what it measured, and the table made of it.

A script calls :func:`row` for each figure with a promise. It prints a line, and when ``run.py``
started the script, also hands the record on through the file that ``SCALER_BENCHMARK_ROWS`` names.
"""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

HANDED_ON = "SCALER_BENCHMARK_ROWS"
HEAD = "| what | ours | reference | ratio | bound | met |\n|---|---|---|---|---|---|\n"


@dataclass(frozen=True, slots=True)
class Row:
    """One figure beside its reference, both in the same unit and of the same run."""

    name: str
    """The script."""
    what: str
    ours: float
    reference: float
    against: str
    """What the reference is."""
    unit: str
    bound: float | None
    """The greatest ratio promised; None where nothing was."""

    @property
    def ratio(self) -> float:
        """Ours as a multiple of the reference."""
        return self.ours / self.reference

    @property
    def met(self) -> bool | None:
        """Whether the ratio is within its bound; None without one."""
        return None if self.bound is None else self.ratio <= self.bound

    def line(self) -> str:
        """The row of the table."""
        met = {None: "-", True: "yes", False: "**no**"}[self.met]
        bound = "-" if self.bound is None else figure(self.bound)
        return (
            f"| {self.what} | {figure(self.ours)} {self.unit} | {self.against}: "
            f"{figure(self.reference)} {self.unit} | {figure(self.ratio)} | {bound} | {met} |\n"
        )


def figure(value: float) -> str:
    """Three figures, without powers of ten."""
    return f"{value:.0f}" if value >= 100 else f"{float(f'{value:.3g}'):f}".rstrip("0").rstrip(".")


def row(
    what: str, ours: float, reference: float, against: str, bound: float | None, unit: str = "s"
) -> None:
    """Prints one figure beside its reference and hands it on to the runner."""
    found = Row(Path(sys.argv[0]).stem, what, ours, reference, against, unit, bound)
    print(found.line(), end="", flush=True)
    if path := os.environ.get(HANDED_ON):
        with open(path, "a", encoding="utf-8") as file:
            file.write(json.dumps(asdict(found)) + "\n")


def read(path: Path) -> list[Row]:
    """The records that scripts handed on, in their order."""
    return [Row(**json.loads(line)) for line in path.read_text(encoding="utf-8").splitlines()]


def table(rows: Iterable[Row], remark: str) -> str:
    """The table in Markdown, a remark above it."""
    return f"{remark}\n\n{HEAD}" + "".join(item.line() for item in rows)
