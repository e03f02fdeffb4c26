"""The log of readings: the quick pass is the same as the ordinary one, and no line of it is lost."""

from __future__ import annotations

import csv
import io
import random
from fractions import Fraction
from pathlib import Path

import pytest

from scaler.as_made.append_log import append_rows
from scaler.measures.lengths import parse_length
from scaler.reading.loading import load
from scaler.reading.logs import READING_COLUMNS as COLUMNS
from scaler.reading.readings_log import histories, plain_readings, read_readings, value_of
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
        (row("axle.journal", "0 mm"), "nothing or less"),
        (row("piston.diameter@middle", "35 mm"), "no copy 'middle'"),
        (["2026", "reading", "axle.journal"], "breaks off: 3 cells of 7"),
        (row("axle_key.width", "", action="undo"), "nothing stands for axle_key.width"),
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
    assert ["breaks off" in problem.headline for problem in problems] == [True]
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


# ------------------------------------------------------------------- by hand, and at random


def edited(lines: list[str]) -> Source:
    """A log of these lines under its headings."""
    return Source("readings.csv", "\n".join([",".join(COLUMNS), *lines]) + "\n")


def test_remarks_and_empty_lines_are_passed_over(demo: Model) -> None:
    """What a person writes between the lines does no harm, and lines keep their numbers."""
    line = "2026,reading,axle.journal,,15.8{} mm,micrometer,"
    lines = [line.format(0), "# bought on Saturday", line.format(1), "", line.format(2)]
    stacks, problems = histories(edited(lines), demo.sizes, demo.parts)
    found = stacks["axle.journal", ""]
    assert [reading.place.line for reading in found] == [2, 4, 6]
    assert [reading.value for reading in found] == [Fraction(f"15.8{n}") for n in range(3)]
    assert problems == ()


def test_an_open_quote_costs_one_line(demo: Model) -> None:
    """A quote that is never closed does not swallow the lines after it."""
    good = "2026,reading,axle.journal,,15.8{} mm,micrometer,"
    lines = [good.format(0), '2026,reading,axle.journal,,"15.82 mm,micrometer,', good.format(3)]
    found, problems = read_readings(edited(lines), demo.sizes, demo.parts)
    assert found["axle.journal", ""].value == Fraction("15.83")
    assert [str(problem.place) for problem in problems] == ["readings.csv, line 3"]


def test_a_log_without_headings_is_named(demo: Model) -> None:
    """A table that lacks a column gives no readings, and the model is refused rather than taken
    without what was measured."""
    source = Source("readings.csv", "a,b\n1,2\n")
    found, problems = read_readings(source, demo.sizes, demo.parts)
    assert not found
    assert any("action" in problem.headline for problem in problems)
    assert any(problem.severity == "error" for problem in problems)


def test_a_copy_may_stand_with_the_size(demo: Model) -> None:
    """``part.size@left`` in the column of the size is the same as left in the column of the copy."""
    rows = [row("piston.diameter@left", "35.2 mm"), row("piston.diameter", "35.3 mm", "left")]
    one, problems = read_readings(
        Source("readings.csv", log_text(rows[:1])), demo.sizes, demo.parts
    )
    assert set(one) == {("piston.diameter", "left")} and problems == ()
    both, _ = histories(Source("readings.csv", log_text(rows)), demo.sizes, demo.parts)
    assert [r.value for r in both["piston.diameter", "left"]] == [
        Fraction("35.2"),
        Fraction("35.3"),
    ]


ODD = [
    "15.82", "15,82 mm", "0 mm", "0.000 mm", "-3 mm", "15.82 furlongs", "fifteen", "", "30 deg",
    "15.82  mm", " 15.82 mm", "5/8 in", "15.82\tmm", "1e3 mm", "9999999 mm",
]  # fmt: skip
NAMES = [
    "axle.journal", "axle.jurnal", "piston.diameter", "piston.diameter@left", " axle.journal", "",
    "piston.diameter@middle", "Axle.journal", "boiler_barrel.outside",
]  # fmt: skip
NOTES = [
    "",
    "a, b",
    'the "good" one',
    "# no remark",
    "  blanks ",
    "\u00e9",
    "x" * 3000,
    "@",
    "undo",
]


def any_line(chance: random.Random) -> str:
    """A line of a log: good for the most part, now and then odd in one way or another."""
    cells = row("axle.journal", f"15.{chance.randint(10, 99)} mm")
    if chance.random() < 0.5:
        cells[2], cells[3] = "piston.diameter", chance.choice(["left", "right", "", "middle"])
    if chance.random() < 0.15:
        cells[1], cells[4] = "undo", chance.choice(["", "", "15 mm"])
    for place, odd in ((1, ["Reading", "", " reading"]), (2, NAMES), (4, ODD), (6, NOTES)):
        if chance.random() < 0.04:
            cells[place] = chance.choice(odd)
    out = io.StringIO()
    csv.writer(out, lineterminator="").writerow(cells)
    line = out.getvalue()
    what = chance.random()
    if what < 0.01:
        line = line[: chance.randrange(len(line) + 1)]
    elif what < 0.02:
        line = chance.choice(["", "   ", "# a remark", ",,,,,,", line + ",", line + ",more", "\r"])
    elif what < 0.03:
        at = chance.randrange(len(line) + 1)
        line = (
            line[:at]
            + chance.choice([",", '"', ' "', "#", "@", "\t", "\x0b", "\u2028"])
            + line[at:]
        )
    return line


@pytest.mark.parametrize("block", range(8))
def test_the_quick_pass_agrees_with_the_ordinary_one(demo: Model, block: int) -> None:
    """Logs with every sort of odd line: where the quick pass answers, the ordinary one says the
    same of every reading, and has nothing to report."""
    answered = 0
    for seed in range(250):
        chance = random.Random(1000 * block + seed)
        count = chance.choice([1, 2, 3, 5, 20])
        text = ",".join(COLUMNS) + "\n" + "".join(any_line(chance) + "\n" for _ in range(count))
        if chance.random() < 0.05:
            text = text[: chance.randrange(len(text))]
        source = Source("readings.csv", text)
        quick = plain_readings(source, demo.sizes, demo.parts)
        if quick is not None:
            answered += 1
            stacks, problems = histories(source, demo.sizes, demo.parts)
            assert {key: stack[-1] for key, stack in stacks.items()} == quick, text
            assert problems == (), text
    assert answered > 40  # the quick pass did answer
