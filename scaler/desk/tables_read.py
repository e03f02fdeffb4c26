"""Tables out of files: CSV, workbook or pandas frame, cell by cell, each with its address.

A cell keeps what it shows: numbers as their decimal text, dates as dates, so that a size that the
spreadsheet turned into a date is not taken for a size.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from scaler.desk.table_cells import (
    MAX_BYTES,
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_ROWS,
    Cell,
    Grid,
    Sort,
    address_of,
    number_text,
)
from scaler.desk.workbooks import read_workbook
from scaler.problems import InputError, Place, Problem, shorten

if TYPE_CHECKING:
    import pandas

HEADING_ROWS = 30
"""Rows looked through for the headings."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table: file, sheet, the row of the headings, headings with their column, and the rows."""

    file: str
    sheet: str
    heading_row: int
    headings: Mapping[str, int]
    rows: tuple[Mapping[int, Cell], ...]

    def place(self, cell: Cell) -> Place:
        """The place of a cell: row as line, column as column."""
        return Place(self.file, cell.row, cell.column)


def problem(
    file: str, row: int, column: int, headline: str, read: str, expected: str, advice: str
) -> Problem:
    """A problem of a cell, by its address."""
    return Problem(
        "cell", f"cell {address_of(row, column)}: {headline}", Place(file, row, column),
        shorten(read), expected, advice,
    )  # fmt: skip


def read_table(path: Path, wanted: Sequence[str] = (), sheet: str | None = None) -> Table:
    """The table of a CSV file or a workbook.

    Parameters: wanted : headings that the row of headings must hold (to find it under a title);
        sheet : which sheet of a workbook, the first where None.
    Raises: InputError naming file and cell where it cannot be read.
    """
    name = path.name
    try:
        if path.stat().st_size > MAX_BYTES:
            raise InputError([Problem("too-large", f"{name}: larger than {MAX_BYTES >> 20} MiB")])
        data = path.read_bytes()
    except OSError as error:
        raise InputError(
            [
                Problem(
                    "unreadable",
                    f"{shorten(str(path))}: cannot be read ({error.strerror or error})",
                    advice="see that the file is there and may be read",
                )
            ]
        ) from None
    if path.suffix.lower() in (".xlsx", ".xlsm"):
        grid, title = read_workbook(name, data, sheet)
    elif path.suffix.lower() in (".xls", ".ods", ".numbers"):
        raise InputError(
            [
                Problem(
                    "format",
                    f"{name}: this kind of workbook is not read",
                    Place(name, 1),
                    path.suffix,
                    ".csv or .xlsx",
                    "save it as .xlsx or as CSV (UTF-8)",
                )
            ]
        )
    else:
        grid, title = _csv(name, data), ""
    return _table(name, title, grid, wanted)


def _csv(name: str, data: bytes) -> Grid:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(
            [
                Problem(
                    "not-text",
                    "this is not UTF-8 text",
                    Place(name, line),
                    f"byte 0x{data[error.start]:02x}",
                    "plain text in UTF-8",
                    "save the table as 'CSV UTF-8'",
                )
            ]
        ) from None
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    head = next((line for line in text.split("\n") if line.strip()), "")
    delimiter = max(",;\t", key=head.count)
    grid: Grid = {}
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    line, count = 1, 0
    try:
        for cells in reader:
            count += len(cells)
            if len(grid) >= MAX_ROWS or len(cells) > MAX_COLUMNS or count > MAX_CELLS:
                raise InputError(
                    [Problem("too-large", f"{name}: more rows or columns than are read")]
                )
            for column, content in enumerate(cells, 1):
                shown = content.strip()
                if shown[:1] == "'" and shown[1:2] in ("=", "+", "-", "@"):
                    shown = shown[1:]  # how a tame CSV writes words that begin like a formula
                if shown:
                    sort: Sort = "date" if _looks_like_date(shown) else "text"
                    if shown.startswith("#") and shown.rstrip("!?").isupper():
                        sort = "error"
                    cell = Cell(shown, sort, line, column, address_of(line, column), _date(shown))
                    grid.setdefault(line, {})[column] = cell
            line = reader.line_num + 1
    except csv.Error as error:
        raise InputError(
            [
                Problem(
                    "table",
                    f"a row that cannot be read ({error})",
                    Place(name, line),
                    expected="one cell a column, separated as in the headings",
                    advice="mend the row; a cell that holds the separator goes in double quotes",
                )
            ]
        ) from None
    return grid


_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_NAMED = re.compile(
    r"^(\d{1,2}|[a-z]{3,9})[-/ .](\d{1,4}|[a-z]{3,9})(?:[-/ .](\d{2,4}))?$", re.IGNORECASE
)
_FULL = re.compile(
    r"^(?:(\d{4})-(\d{1,2})-(\d{1,2})|(\d{1,2})[/.](\d{1,2})[/.](\d{4}))(?:[ T].*)?$"
)


def _month(word: str) -> int:
    low = word.lower()
    return next((n for n, name in enumerate(_MONTHS, 1) if low.startswith(name)), 0)


def _date(text: str) -> datetime.date | None:
    """The date that a text of a CSV is, None where it is none."""
    full = _FULL.match(text)
    try:
        if full:
            if full[1]:
                return datetime.date(int(full[1]), int(full[2]), int(full[3]))
            return datetime.date(int(full[6]), int(full[5]), int(full[4]))
        named = _NAMED.match(text)
        if not named:
            return None
        first, second, third = named[1], named[2], named[3]
        if first.isdigit() and _month(second):
            year = int(third) if third else 2000
            return datetime.date(_century(year), _month(second), int(first))
        if _month(first) and second.isdigit():
            number = int(second)
            if third is None and number > 31:
                return datetime.date(_century(number), _month(first), 1)
            if third is None:  # Aug-05 may be the 5th, or 2005: the day is kept, both are offered
                return datetime.date(_century(number), _month(first), 1)
            return datetime.date(_century(int(third)), _month(first), number)
    except ValueError:
        return None
    return None


def _century(year: int) -> int:
    return year if year > 99 else 2000 + year


def _looks_like_date(text: str) -> bool:
    return _date(text) is not None


def from_frame(frame: pandas.DataFrame, name: str = "table") -> Table:
    """A table from a pandas frame: its columns are the headings, its first row is row 2."""
    import pandas

    grid: Grid = {1: {}}
    for column, heading in enumerate(frame.columns, 1):
        grid[1][column] = Cell(str(heading), "text", 1, column, address_of(1, column))
    for row, values in enumerate(frame.itertuples(index=False, name=None), 2):
        for column, value in enumerate(values, 1):
            address = address_of(row, column)
            if pandas.isna(value):
                continue
            if isinstance(value, datetime.date):
                date = value.date() if isinstance(value, datetime.datetime) else value
                cell = Cell(date.isoformat(), "date", row, column, address, date)
            elif isinstance(value, (int, float)) and not isinstance(value, bool):
                cell = Cell(number_text(value), "number", row, column, address)
            else:
                cell = Cell(str(value).strip(), "text", row, column, address)
            if cell.text:
                grid.setdefault(row, {})[column] = cell
    return _table(name, "", grid, ())


def _table(name: str, sheet: str, grid: Grid, wanted: Sequence[str]) -> Table:
    filled = sorted(row for row, cells in grid.items() if any(c.text for c in cells.values()))
    if not filled:
        raise InputError(
            [
                Problem(
                    "empty",
                    f"{name}: the table is empty",
                    Place(name, 1),
                    expected="a row of headings, and rows under it",
                    advice="write the headings in the first row",
                )
            ]
        )
    head = filled[0]
    need = {word for word in wanted if word}
    for row in filled[:HEADING_ROWS]:
        if need and need <= {cell.text for cell in grid[row].values()}:
            head = row
            break
    headings: dict[str, int] = {}
    problems = []
    for column, cell in sorted(grid[head].items()):
        if not cell.text:
            continue
        if cell.sort == "merged":
            problems.append(
                problem(name, head, column, "a heading in merged cells", cell.text,
                        "one heading a column", "take the merge out")
            )  # fmt: skip
        elif cell.text in headings:
            problems.append(
                problem(name, head, column, f"two columns are headed '{shorten(cell.text)}'",
                        cell.text, "each heading once", "rename one of them")
            )  # fmt: skip
        else:
            headings[cell.text] = column
    if problems:
        raise InputError(problems)
    rows = tuple(grid[row] for row in filled if row > head)
    return Table(name, sheet, head, headings, rows)
