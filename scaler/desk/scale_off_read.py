"""The table of points measured on a print: ``name,x1,y1,x2,y2[,known]``, every fault with its cell."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from scaler.desk.table_cells import Cell
from scaler.desk.tables_read import Table, read_table
from scaler.measures.lengths import LengthError, parse_length
from scaler.problems import InputError, Place, Problem, did_you_mean, shorten

_NUMBER = re.compile(r"^[+-]?\d{1,12}(?:[.,]\d{0,12})?$", re.ASCII)
COLUMNS = ("name", "x1", "y1", "x2", "y2")


@dataclass(frozen=True, slots=True)
class Segment:
    """One line of the table: name, Δx and Δy as measured, the known size [mm] or None, its place."""

    name: str
    dx: Fraction
    dy: Fraction
    known: Fraction | None
    known_text: str
    place: Place


def read_segments(path: Path, unit: str | None = None) -> tuple[Segment, ...]:
    """The lines of a table ``name,x1,y1,x2,y2[,known]``.

    Parameters: unit : of known sizes that are bare numbers.
    Raises: InputError with every fault, each with its cell.
    """
    table = read_table(path, COLUMNS)
    problems: list[Problem] = []
    for name in COLUMNS:
        if name not in table.headings:
            problems.append(
                Problem("missing-column", f"the table has no column '{name}'",
                        Place(table.file, table.heading_row), ", ".join(table.headings),
                        "name, x1, y1, x2, y2 and known", did_you_mean(name, table.headings))
            )  # fmt: skip
    if problems:
        raise InputError(problems)
    segments = []
    names: dict[str, Place] = {}
    for row in table.rows:
        segment = _segment(table, row, unit, problems)
        if segment is None:
            continue
        if segment.name in names:
            problems.append(
                Problem("double", f"'{shorten(segment.name)}' stands twice; first at "
                        f"{names[segment.name]}", segment.place, segment.name, "each name once",
                        "rename one: a second reading is a name of its own")
            )  # fmt: skip
        names.setdefault(segment.name, segment.place)
        segments.append(segment)
    if problems:
        raise InputError(problems)
    return tuple(segments)


def _segment(
    table: Table, row: Mapping[int, Cell], unit: str | None, problems: list[Problem]
) -> Segment | None:
    first = next(iter(row.values()))
    place = Place(table.file, first.row)
    values: list[Fraction] = []
    name_cell = row.get(table.headings["name"])
    before = len(problems)
    if name_cell is None:
        problems.append(
            Problem("no-name", "the row has no name", place, expected="part.size",
                    advice="name what was measured")
        )  # fmt: skip
    for column in COLUMNS[1:]:
        cell = row.get(table.headings[column])
        text = cell.text if cell else ""
        if _NUMBER.match(text):
            values.append(Fraction(text.replace(",", ".")))
        else:
            problems.append(
                Problem("not-a-number", f"{column} is no number",
                        Place(table.file, first.row, table.headings[column]),
                        cell.text if cell else "", "a coordinate on the print",
                        "measure it again")
            )  # fmt: skip
    known, said = _known(table, row, unit, problems)
    if len(problems) > before or name_cell is None:
        return None
    dx, dy = values[2] - values[0], values[3] - values[1]
    if dx == 0 == dy:
        problems.append(
            Problem("no-length", f"{shorten(name_cell.text)}: both ends are the same point", place,
                    expected="two points", advice="measure the other end")
        )  # fmt: skip
        return None
    return Segment(name_cell.text, dx, dy, known, said, place)


def _known(
    table: Table, row: Mapping[int, Cell], unit: str | None, problems: list[Problem]
) -> tuple[Fraction | None, str]:
    at = table.headings.get("known")
    cell = row.get(at) if at is not None else None
    if cell is None:
        return None, ""
    place = Place(table.file, cell.row, cell.column)
    if cell.sort == "date":
        problems.append(
            Problem("date", "a date where the known size was meant", place, cell.text,
                    "a size such as 5/8 in", "write the fraction with its unit")
        )  # fmt: skip
        return None, ""
    try:
        length = parse_length(cell.text, unit)
    except LengthError as error:
        problems.append(
            Problem("length", f"the known size cannot be read ({error.problem})", place, cell.text,
                    error.expected, error.advice)
        )  # fmt: skip
        return None, ""
    if length.mm <= 0:
        problems.append(
            Problem("length", "a known size of nought", place, cell.text, "a size above 0",
                    "leave the cell empty where the size is not known")
        )  # fmt: skip
        return None, ""
    return length.mm, cell.text
