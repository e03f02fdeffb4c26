"""CSV tables of a model folder: headings and rows with the line of each, every fault with its place.

Comma, semicolon or tab separate the cells, whichever the headings use. Lines that begin with ``#``
and blank ones are left out. A row that cannot be read is reported and the rest is kept.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass

from scaler.problems import Mark, Place, Problem, clip, shorten
from scaler.reading.toml_lines import Source

LONGEST_CELL = 2000
"""Characters of a cell."""
LONGEST_ROW = 1000
"""Lines that a row with line ends inside quotes may go on for."""


@dataclass(frozen=True, slots=True)
class CsvRow:
    """One row: the line it begins on, its cells by heading, and how many cells it has."""

    line: int
    cells: dict[str, str]
    count: int


@dataclass(frozen=True, slots=True)
class CsvFile:
    """A CSV file: its source, the line of its headings, the headings, and the rows."""

    source: Source
    heading_line: int
    headings: tuple[str, ...]
    rows: tuple[CsvRow, ...]
    delimiter: str = ","

    def mark(self, line: int, column: str | None = None) -> Mark:
        """Where a cell of the row that begins on a line stands; the whole line without a column."""
        place = Place(self.source.file, line)
        if column not in self.headings:
            return Mark(place, clip(self.source.line(line), 0, 0)[0])
        number = self.headings.index(column)
        spans = _spans(self.source.text, self.source.offset(line), self.delimiter)
        for at, (start, end) in enumerate(spans):
            if at == number:
                return self.source.mark_at(start, max(end, start + 1))
        return Mark(place, clip(self.source.line(line), 0, 0)[0])

    def mark_heading(self, heading: str) -> Mark:
        """Where a heading stands."""
        return self.mark(self.heading_line, heading)


_QUOTED = re.compile(r' *+"((?:[^"]++|"")*+)"')


def _spans(text: str, pos: int, delimiter: str) -> Iterator[tuple[int, int]]:
    """Start and end of each cell of the row that begins at an offset, without quotes and blanks."""
    plain = re.compile(rf"[^{re.escape(delimiter)}\n]*")
    while True:
        quoted = _QUOTED.match(text, pos)
        if quoted:
            yield quoted.span(1)
            pos = quoted.end()
        rest = plain.match(text, pos)
        assert rest is not None  # it matches nothing, too
        if not quoted:
            cell = rest.group()
            start = rest.start() + len(cell) - len(cell.lstrip())
            yield start, start + len(cell.strip())
        pos = rest.end()
        if not text.startswith(delimiter, pos):
            return
        pos += 1


def parse_csv(source: Source) -> tuple[CsvFile | None, list[Problem]]:
    """Headings and rows, and what is wrong with the table; None where it has no usable headings."""
    lines = source.text.split("\n")
    first = next((n for n, line in enumerate(lines) if not _left_out(line)), None)
    if first is None:
        empty = Problem(
            "empty",
            "the file is empty",
            Place(source.file, 1),
            expected="a line of headings, and rows",
            advice="write the headings in the first line",
        )
        return None, [empty]
    delimiter = max(",;\t", key=lines[first].count)
    problems: list[Problem] = []
    records = _records(source, lines, first, delimiter, problems)
    line, cells = next(records, (first + 1, []))
    headings = tuple(cell.strip() for cell in cells)
    table = CsvFile(source, line, headings, (), delimiter)
    if problems or not any(headings):  # no guess which row is meant for headings
        return None, problems or [_row_problem(table, line, "no headings", "a line of headings")]
    double = next((h for n, h in enumerate(headings) if h and h in headings[:n]), None)
    if double is not None:
        headline = f"two columns are called '{shorten(double, 40)}'"
        return None, [_row_problem(table, line, headline, "each heading once")]
    rows = []
    for line, cells in records:
        row = _row(table, line, cells, problems)
        if row is not None:
            rows.append(row)
    return CsvFile(source, table.heading_line, headings, tuple(rows), delimiter), problems


def _left_out(line: str) -> bool:
    return line[:1] == "#" or not line.strip()


def _records(
    source: Source, lines: list[str], at: int, delimiter: str, problems: list[Problem]
) -> Iterator[tuple[int, list[str]]]:
    """Cells of each row with the line it begins on; after a bad one it goes on with the next line."""
    while at < len(lines):
        text = lines[at]
        if _left_out(text):
            at += 1
        elif '"' not in text:
            at += 1
            yield at, text.split(delimiter)
        else:
            following = range(at, min(at + LONGEST_ROW, len(lines)))
            reader = csv.reader(
                (f"{lines[number]}\n" for number in following),
                delimiter=delimiter,
                strict=True,
                skipinitialspace=True,
            )
            try:
                cells = next(reader)
            except (csv.Error, StopIteration) as error:
                at += 1
                problems.append(_unread(source, at, str(error), delimiter))
                continue
            at += reader.line_num
            yield at - reader.line_num + 1, cells


def _unread(source: Source, line: int, error: str, delimiter: str) -> Problem:
    headline = "a row whose quotes do not close"
    if "expected after" in error:
        headline = "a row with something after a closing quote"
    excerpt = source.line(line)
    at = max(0, excerpt.find('"'))
    mark = source.mark_at(source.offset(line) + at, source.offset(line) + at + 1)
    return Problem(
        "table",
        headline,
        mark.place,
        read=shorten(excerpt[at:], 60),
        expected="quotes round a whole cell, and each quote inside it written twice",
        advice='close the quotes; a quote or inch mark inside them is written twice: "7/8"""',
        excerpt=mark.excerpt,
        span=mark.span,
    )


def _row(table: CsvFile, line: int, cells: list[str], problems: list[Problem]) -> CsvRow | None:
    headings = table.headings
    cells = list(map(str.strip, cells))
    if not any(cells):
        return None
    while len(cells) > len(headings) and not cells[-1]:
        cells.pop()  # spreadsheets write blank cells at the end
    if len(cells) > len(headings):
        headline = f"{len(cells)} cells where the heading has {len(headings)}"
        problems.append(_row_problem(table, line, headline, f"{len(headings)} cells"))
        return None
    if max(map(len, cells)) > LONGEST_CELL:
        headline = f"a cell of more than {LONGEST_CELL} characters"
        problems.append(_row_problem(table, line, headline, "short text"))
        return None
    count = len(cells)
    if count < len(headings):
        cells += [""] * (len(headings) - count)
    found = dict(zip(headings, cells, strict=True))
    if "" in found and any(
        cell for cell, heading in zip(cells, headings, strict=True) if not heading
    ):
        headline = "a cell that has no heading"
        problems.append(_row_problem(table, line, headline, "a heading over each column"))
        return None
    return CsvRow(line, found, count)


def _row_problem(table: CsvFile, line: int, headline: str, expected: str) -> Problem:
    mark = table.mark(line)
    separator = {",": "comma", ";": "semicolon", "\t": "tab"}[table.delimiter]
    return Problem(
        "table",
        headline,
        mark.place,
        read=shorten(table.source.line(line), 60),
        expected=expected,
        advice=f"mend the row; a cell that holds a {separator} goes in double quotes",
        excerpt=mark.excerpt,
    )
