"""The form of record of the benchmarks, on invented figures; the figures themselves are not tested."""

from __future__ import annotations

import ast
import importlib.util
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent / "benchmarks"
SPEC = importlib.util.spec_from_file_location("benchmark_rows", FOLDER / "rows.py")
assert SPEC is not None
assert SPEC.loader is not None
rows = importlib.util.module_from_spec(SPEC)
sys.modules["benchmark_rows"] = rows
SPEC.loader.exec_module(rows)


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.00012345, "0.000123"), (0.6, "0.6"), (10.0, "10"), (99.96, "100"), (1024.0, "1024")],
)
def test_three_figures(value: float, text: str) -> None:
    """Three figures in plain notation, no noughts left hanging."""
    assert rows.figure(value) == text


@pytest.mark.parametrize(
    ("ours", "bound", "met", "end"),
    [
        (3.0, 1.5, True, "| 1.5 | 1.5 | yes |\n"),
        (3.02, 1.5, False, "| 1.51 | 1.5 | **no** |\n"),
        (3.0, None, None, "| 1.5 | - | - |\n"),
    ],
)
def test_met_and_not_met(ours: float, bound: float | None, met: bool | None, end: str) -> None:
    """At the bound it is kept, past it not, and without one nothing is claimed."""
    found = rows.Row("bench_x", "a thing", ours, 2.0, "a bare read", "s", bound)
    assert found.met is met
    assert found.line() == f"| a thing | {rows.figure(ours)} s | a bare read: 2 s {end}"


def test_what_a_script_says_reaches_the_table(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line printed, one record handed on, the same line in the table."""
    handed_on = tmp_path / "rows.jsonl"
    monkeypatch.setenv(rows.HANDED_ON, str(handed_on))
    monkeypatch.setattr(sys, "argv", ["somewhere/bench_y.py"])
    rows.row("memory", 200.0, 300.0, "limit", 1, "MiB")
    rows.row("time", 2.0, 1.0, "bare", 1.5)
    printed = capsys.readouterr().out
    found = rows.read(handed_on)
    assert [(item.name, item.met) for item in found] == [("bench_y", True), ("bench_y", False)]
    assert rows.table(found, "A remark.") == "A remark.\n\n" + rows.HEAD + printed


def test_every_benchmark_gives_rows() -> None:
    """Each script that the runner finds calls for the common form at least once."""
    scripts = sorted(FOLDER.glob("bench_*.py"))
    assert scripts
    for path in scripts:
        calls = [
            node
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "row"
        ]
        assert calls, path.name
