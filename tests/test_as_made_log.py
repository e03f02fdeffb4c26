"""The fast reader of readings: the same as the ordinary one, and no line of it lost."""

from __future__ import annotations

import csv
import io
import random
from fractions import Fraction
from pathlib import Path

import pytest

from scaler.as_made.append_log import append_rows
from scaler.as_made.log import COLUMNS, histories, read_readings, value_of
from scaler.measures.lengths import parse_length
from scaler.reading.loading import load
from scaler.reading.toml_lines import Source
from scaler.records import Model

DEMO = Path(__file__).parent.parent / "scaler" / "examples" / "pattern_d"


@pytest.fixture(scope="module")
def demo() -> Model:
    """The shipped example."""
    return load(DEMO)


def log_text(rows: list[list[str]]) -> str:
    """A log of these rows."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(rows)
    return out.getvalue()


def row(
    size: str, value: str, copy: str = "", action: str = "reading", note: str = ""
) -> list[str]:
    """One row of a log."""
    return ["2026-11-02T19:30:00Z", action, size, copy, value, "micrometer", note]


def plainly(rows: list[list[str]]) -> dict[tuple[str, str], Fraction]:
    """What stands, worked out line by line with a list a size: the reference."""
    history: dict[tuple[str, str], list[Fraction]] = {}
    for _, action, size, copy, value, _, _ in rows:
        stack = history.setdefault((size, copy), [])
        if action == "reading":
            stack.append(parse_length(value).mm)
        elif stack:
            stack.pop()
    return {key: stack[-1] for key, stack in history.items() if stack}


@pytest.mark.parametrize("seed", range(20))
def test_what_stands_after_any_log(demo: Model, seed: int) -> None:
    """Random logs with undos, copies, several units and awkward notes, against plain stacks."""
    chance = random.Random(seed)
    sizes = [("piston.diameter", "left"), ("piston.diameter", "right"), ("axle.journal", "")]
    rows = []
    depth: dict[tuple[str, str], int] = {}
    for _ in range(chance.randint(1, 60)):
        key = chance.choice(sizes)
        undo = seed % 2 == 1 and depth.get(key, 0) > 0 and chance.random() < 0.4
        depth[key] = depth.get(key, 0) + (-1 if undo else 1)
        value = chance.choice(["15.82 mm", "5/8 in", "622.8 thou", "0.62in", "15 mm"])
        note = chance.choice(["", "a, b", 'the "good" one', "# not a comment"])
        rows.append(row(key[0], "" if undo else value, key[1], "undo" if undo else "reading", note))
    source = Source("readings.csv", log_text(rows))
    found, problems = read_readings(source, demo.sizes, demo.parts)
    assert {key: reading.value for key, reading in found.items()} == plainly(rows)
    assert problems == ()
    for reading in found.values():
        cells = rows[reading.place.line - 2]
        assert (reading.size, reading.copy, reading.note) == (cells[2], cells[3], cells[6])
    stacks, _ = histories(source, demo.sizes, demo.parts)
    assert {key: stack[-1] for key, stack in stacks.items()} == found


@pytest.mark.parametrize(
    ("bad", "word"),
    [
        (row("axle.jurnal", "15.8 mm"), "no size 'axle.jurnal'"),
        (row("piston.diameter", "35 mm", "middle"), "no copy 'middle'"),
        (row("axle.journal", "15.8 furlongs"), "furlongs"),
        (row("axle.journal", "15.8"), "unit"),
        (row("axle.journal", "15.8 mm", action="measured"), "'measured' is no action"),
        ([*row("axle.journal", "15.8 mm"), "more"], "8 cells"),
        (row("axle_key.width", "", action="undo"), "no reading of axle_key.width stands"),
    ],
)
def test_a_bad_line_costs_only_itself(demo: Model, bad: list[str], word: str) -> None:
    """A line that cannot be used is named with file and line; the readings before and after stand."""
    rows = [row("axle.journal", "15.82 mm"), bad, row("wheel.bore", "15.01 mm", "no_1")]
    found, problems = read_readings(Source("readings.csv", log_text(rows)), demo.sizes, demo.parts)
    assert set(found) == {("axle.journal", ""), ("wheel.bore", "no_1")}
    (problem,) = problems
    assert str(problem.place) == "readings.csv, line 3"
    assert problem.severity == "warning"
    assert word in problem.headline or word in problem.read


def test_a_bad_line_that_was_overtaken_is_named_too(demo: Model) -> None:
    """Also where a later reading of the size stands."""
    rows = [row("axle.journal", "fifteen"), row("axle.journal", "15.82 mm")]
    found, problems = read_readings(Source("readings.csv", log_text(rows)), demo.sizes, demo.parts)
    assert found["axle.journal", ""].value == Fraction("15.82")
    assert [str(problem.place) for problem in problems] == ["readings.csv, line 2"]


def test_the_model_keeps_the_rest_of_a_log_with_a_bad_line(tmp_path: Path) -> None:
    """Loading the model: the line is reported as a note with its place, the others count."""
    for file in DEMO.iterdir():
        if file.is_file():
            (tmp_path / file.name).write_bytes(file.read_bytes())
    rows = [
        row("axle.journal", "15.82 mm"),
        row("axle.jurnal", "1 mm"),
        row("stretcher.length", "104.02 mm"),
    ]
    (tmp_path / "readings.csv").write_text(log_text(rows), encoding="utf-8")
    model = load(tmp_path)
    assert set(model.readings) == {("axle.journal", ""), ("stretcher.length", "")}
    assert any(note.place and str(note.place) == "readings.csv, line 3" for note in model.notes)


def test_a_log_with_a_torn_last_line(demo: Model) -> None:
    """A last line cut short is named and does not count, even where its value could be read."""
    text = log_text([row("axle.journal", "15.82 mm")]) + "2026,reading,axle.journal,,15 m"
    found, problems = read_readings(Source("readings.csv", text), demo.sizes, demo.parts)
    assert found["axle.journal", ""].value == Fraction("15.82")
    assert [problem.code for problem in problems] == ["torn-line"]
    assert str(problems[0].place) == "readings.csv, line 3"


@pytest.mark.parametrize(
    "text", ["15.82 mm", "15.82mm", "5/8 in", "0.625 in", "622.8 thou", "1 1/2 in", "12 mm"]
)
def test_values_in_any_unit(demo: Model, text: str) -> None:
    """The quick way and the drawing's own reader of lengths agree."""
    assert value_of(text, demo.sizes["axle.journal"]) == parse_length(text).mm


def test_a_long_log_written_by_the_tool_itself(demo: Model, tmp_path: Path) -> None:
    """What append_rows writes is what the reader reads, line for line."""
    path = tmp_path / "readings.csv"
    for number in range(40):
        cells = dict(zip(COLUMNS, row("axle.journal", f"{15 + number / 100:.2f} mm"), strict=True))
        append_rows(path, COLUMNS, [cells])
    found, problems = read_readings(
        Source("readings.csv", path.read_text(encoding="utf-8")), demo.sizes, demo.parts
    )
    assert problems == ()
    assert found["axle.journal", ""].value == Fraction("15.39")
    assert found["axle.journal", ""].place.line == 41
