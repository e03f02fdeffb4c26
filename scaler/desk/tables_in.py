"""Sizes out of a person's own tables: their column names, our form; every fault with its cell.

``read_sizes`` takes a CSV file or a workbook and a mapping of columns, and gives rows in the form
that a model includes (``part,size,full,kind,rule,…``). A table that ``reduce --format csv`` wrote is
known by its columns and read back exactly: the drawn sizes as drawn, edited ones as edited, and
edited choices as lines for the choices file. Nothing is guessed: a date where a size was meant, a
merged cell, a formula without a value, a size that stands twice are all named.
"""

from __future__ import annotations

import datetime
import json
import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from scaler.desk.table_cells import Cell, column_letters
from scaler.desk.tables_read import Table, problem, read_table
from scaler.measures.angles import parse_angle
from scaler.measures.lengths import LengthError, parse_length
from scaler.problems import InputError, Place, Problem, did_you_mean, shorten, suggest
from scaler.reading.drawn import is_bare, thread_length

if TYPE_CHECKING:
    import pandas

UNITS = ("mm", "cm", "m", "in", "ft", "thou")
_REDUCED = ("id", "full_mm_rational", "chosen_mm_rational")


@cache
def size_columns() -> tuple[str, ...]:
    """The columns of a table of sizes: part, size, and all that a size may say."""
    text = files("scaler").joinpath("model.schema.json").read_text(encoding="utf-8")
    properties = json.loads(text)["$defs"]["size"]["properties"]
    return ("part", "size", *properties)


@dataclass(frozen=True, slots=True)
class SizeRow:
    """One size in our form: column name to text, and the place it was read from."""

    cells: Mapping[str, str]
    place: Place
    address: str

    @property
    def id(self) -> str:
        """``part.size``."""
        return f"{self.cells['part']}.{self.cells['size']}"


@dataclass(frozen=True, slots=True)
class SizesIn:
    """The sizes read, notes worth a look, and choices that were edited (size, value in mm)."""

    rows: tuple[SizeRow, ...]
    notes: tuple[Problem, ...]
    choices: tuple[tuple[str, str], ...] = ()

    def columns(self) -> tuple[str, ...]:
        """The columns that any row fills, in the form's order."""
        used = {name for row in self.rows for name, text in row.cells.items() if text}
        return tuple(n for n in size_columns() if n in used or n in ("part", "size"))

    def csv(self) -> str:
        """The table as a model includes it."""
        from scaler.report import csv_table

        names = self.columns()
        return csv_table(names, ([row.cells.get(n, "") for n in names] for row in self.rows))

    def choices_csv(self) -> str:
        """Lines for the choices file of a model."""
        from scaler.report import csv_table

        headings = ("time", "action", "size", "value", "method", "row", "note")
        lines = (["", "choose", s, v, "", "", "edited in a table"] for s, v in self.choices)
        return csv_table(headings, lines)

    def frame(self) -> pandas.DataFrame:
        """A pandas frame: one row a size, columns as in the form, all text."""
        import pandas

        names = list(self.columns())
        return pandas.DataFrame(
            [[row.cells.get(n, "") for n in names] for row in self.rows], columns=names
        )

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))


@dataclass
class Reader:
    """A table on its way to sizes: what was read so far, and every fault found."""

    table: Table
    mapping: Mapping[str, str]
    unit: str | None
    part: str
    fill_down: bool
    problems: list[Problem] = field(default_factory=list)
    notes: list[Problem] = field(default_factory=list)
    seen: dict[tuple[str, str], SizeRow] = field(default_factory=dict)
    named: dict[tuple[str, str], str] = field(default_factory=dict)
    choices: list[tuple[str, str]] = field(default_factory=list)


def read_sizes(
    path: Path,
    mapping: Mapping[str, str] | None = None,
    *,
    unit: str | None = None,
    part: str = "",
    sheet: str | None = None,
    fill_down: bool = False,
) -> SizesIn:
    """Sizes out of a CSV file or a workbook.

    Parameters: mapping : our column name to theirs (``{"part": "Part", "full": "Dim (in)"}``);
        columns named as ours need none; unit : of bare numbers (mm, cm, m, in, ft, thou), else
        taken from the heading where it says one; part : the part of every row, where no column
        names it; sheet : of a workbook; fill_down : an empty part means the part above.
    Raises: InputError with every fault found, each with its cell.
    """
    mapping = dict(mapping or {})
    _check_mapping(mapping)
    table = read_table(path, tuple(mapping.values()), sheet)
    return sizes_of_table(table, mapping, unit=unit, part=part, fill_down=fill_down)


def sizes_of_table(
    table: Table,
    mapping: Mapping[str, str] | None = None,
    *,
    unit: str | None = None,
    part: str = "",
    fill_down: bool = False,
) -> SizesIn:
    """Sizes out of a table already read (see :mod:`scaler.desk.tables_read`). As ``read_sizes``.

    Raises InputError with every fault found.
    """
    mapping = dict(mapping or {})
    _check_mapping(mapping)
    if unit is not None and unit not in UNITS:
        raise InputError(
            [Problem("unit", f"'{shorten(unit)}' is no unit here", read=unit,
                     expected=", ".join(UNITS), advice=did_you_mean(unit, UNITS))]
        )  # fmt: skip
    reader = Reader(table, mapping, unit, part, fill_down)
    if not mapping and all(name in table.headings for name in _REDUCED):
        from scaler.desk.tables_back import read_reduced

        read_reduced(reader)
    else:
        _read_own(reader)
    if reader.problems:
        raise InputError(reader.problems)
    return SizesIn(tuple(reader.seen.values()), tuple(reader.notes), tuple(reader.choices))


def _check_mapping(mapping: Mapping[str, str]) -> None:
    known = size_columns()
    wrong = [name for name in mapping if name not in known]
    if wrong:
        raise InputError(
            Problem("unknown-column", f"'{shorten(name)}' is no column of a table of sizes",
                    read=name, expected=", ".join(known), advice=did_you_mean(name, known))
            for name in wrong
        )  # fmt: skip


# ------------------------------------------------------------------------ a person's own table


def _read_own(reader: Reader) -> None:
    table = reader.table
    columns: dict[str, int] = {}
    for name in size_columns():
        heading = reader.mapping.get(name, name)
        if heading in table.headings:
            columns[name] = table.headings[heading]
        elif name in reader.mapping:
            reader.problems.append(
                Problem("unknown-column", f"no column is headed '{shorten(heading)}'",
                        Place(table.file, table.heading_row), heading,
                        ", ".join(table.headings), suggest(heading, table.headings, ""))
            )  # fmt: skip
    for name in ("part", "size"):
        given = name in columns or name in reader.mapping or (name == "part" and reader.part)
        if not given:
            own = f"name the column that holds it: {name}=YOUR HEADING"
            near = suggest(name, table.headings, own)
            option = ", or the part of all rows" if name == "part" else ""
            reader.problems.append(
                Problem("missing-column", f"no column gives the {name}",
                        Place(table.file, table.heading_row), ", ".join(table.headings),
                        f"a column headed '{name}', or mapped to it{option}", near)
            )  # fmt: skip
    if reader.problems:
        return
    used = set(columns.values())
    for heading, column in table.headings.items():
        if column not in used:
            reader.notes.append(
                Problem("unused-column", f"column {column_letters(column)} '{shorten(heading)}' "
                        "is not used", Place(table.file, table.heading_row, column), heading,
                        advice=f"map it if it is meant: note={heading}", severity="warning")
            )  # fmt: skip
    unit = reader.unit or _unit_of_heading(table, columns.get("full"))
    above = reader.part
    for row in table.rows:
        above = _own_row(reader, row, columns, unit, above)


_HEADED = re.compile(
    r"(?:[(\[]\s*|_|\s)(mm|cm|m|in|inch|inches|ft|feet|thou)\.?\s*[)\]]?$", re.IGNORECASE
)


def _unit_of_heading(table: Table, column: int | None) -> str | None:
    """The unit that a heading says: ``Length (mm)``, ``full_in``; None where it says none."""
    heading = next((name for name, at in table.headings.items() if at == column), "")
    match = _HEADED.search(heading)
    if not match:
        return None
    word = match[1].lower()
    return {"inch": "in", "inches": "in", "feet": "ft"}.get(word, word)


def _own_row(
    reader: Reader,
    row: Mapping[int, Cell],
    columns: Mapping[str, int],
    unit: str | None,
    above: str,
) -> str:
    """Reads one row; gives the part for the rows below it."""
    cells: dict[str, str] = {}
    marks: dict[str, Cell] = {}
    good = True
    for name, column in columns.items():
        cell = row.get(column)
        if cell is None:
            continue
        if cell.sort == "merged" and name == "part" and reader.fill_down:
            cell = Cell(cell.text, "text", cell.row, cell.column, cell.address)
        if cell.sort in ("date", "merged", "error", "formula"):
            good = fault(reader, cell, name) and good
            continue
        if cell.text:
            cells[name], marks[name] = cell.text, cell
    if not cells and good:
        return above
    first = next(iter(row.values()))
    if not cells.get("part"):
        if not (above and (reader.part or reader.fill_down)):
            if good:
                add(reader, first, "the row names no part", "", "a part in every row",
                     "write it in, or let the part above go on down (--fill-down)")  # fmt: skip
            return above
        cells["part"] = above
    above = cells["part"]
    if not cells.get("size"):
        if good:
            add(reader, first, "the row names no size", "", "a name for the size", "write it in")
        return above
    if good:
        _keep(reader, cells, marks, first, unit)
    return above


def fault(reader: Reader, cell: Cell, name: str) -> bool:
    """Reports a cell that a spreadsheet has spoilt. Dates in free text are let through. False."""
    if cell.sort == "date":
        meant = fractions_meant(cell.date) if cell.date else ()
        said = f" ({cell.date:%d %B %Y})" if cell.date else ""
        likely = f": {' or '.join(meant)} was probably meant" if meant else ""
        add(reader, cell, f"a date{said} where {_what(name)} was meant{likely}", cell.text,
             "the size as text, such as 5/8 in",
             "format the column as text before typing, or write the fraction with its unit")  # fmt: skip
    elif cell.sort == "merged":
        block = cell.address.partition(" ")[2]
        down = ", or let the part above go on down (--fill-down)" if name == "part" else ""
        if not any(block in found.headline for found in reader.problems):  # told of once
            add(reader, cell, f"a merged cell in the column of {_what(name)}", cell.text,
                 "one cell a row",
                 f"take the merge out and write the value in every row{down}")  # fmt: skip
    elif cell.sort == "error":
        add(reader, cell, f"the spreadsheet's own error where {_what(name)} was meant", cell.text,
             "a value", "mend the formula")  # fmt: skip
    else:
        add(reader, cell, f"a formula without a stored value where {_what(name)} was meant",
             cell.text, "a value", "open the file in a spreadsheet and save it once more")  # fmt: skip
    return False


def fractions_meant(date: datetime.date) -> tuple[str, ...]:
    """Inch fractions that a spreadsheet may have turned into this date.

    >>> fractions_meant(datetime.date(2026, 8, 5)), fractions_meant(datetime.date(2016, 3, 1))
    (('5/8',), ('3/16',))
    """
    pairs = [(date.day, date.month), (date.month, date.day)]
    if date.day == 1:
        pairs.append((date.month, date.year % 100))
    found = []
    for top, bottom in pairs:
        text = f"{top}/{bottom}"
        if bottom in (2, 4, 8, 16, 32, 64) and 0 < top < bottom and top % 2 and text not in found:
            found.append(text)
    return tuple(found)


def _what(name: str) -> str:
    return {"full": "a size", "part": "a part", "size": "a name"}.get(name, name)


def add(reader: Reader, cell: Cell, headline: str, read: str, expected: str, advice: str) -> None:
    """Keeps the fault of a cell; of a merged cell, with its address."""
    table = reader.table
    found = problem(table.file, cell.row, cell.column, headline, read, expected, advice)
    if cell.sort == "merged":
        found = Problem(found.code, f"cell {cell.address}: {headline}", found.place, found.read,
                        expected, advice)  # fmt: skip
    reader.problems.append(found)


def plain_name(text: str) -> str:
    """A free name as a name of ours: lower-case words joined by ``_``.

    >>> plain_name("Coupling rod, No. 2"), plain_name("Ø bore")
    ('coupling_rod_no_2', 'o_bore')
    """
    text = text.replace("Ø", "O").replace("ø", "o").replace("⌀", "")
    flat = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode().lower()
    words = re.findall(r"[a-z0-9]+", flat)
    name = "_".join(words)
    return f"n_{name}" if name[:1].isdigit() else name


def _keep(
    reader: Reader,
    cells: dict[str, str],
    marks: Mapping[str, Cell],
    first: Cell,
    unit: str | None,
) -> None:
    """Checks one size and keeps it."""
    for name in ("part", "size"):
        given = cells[name]
        ours = plain_name(given)
        mark = marks.get(name, first)
        if not ours:
            add(reader, mark, f"'{shorten(given)}' gives no name", given,
                 "letters and figures", "write a plain name")  # fmt: skip
            return
        if ours != given:
            if name == "size":
                cells.setdefault("title", given)
            other = reader.named.setdefault((name, ours), given)
            if other != given and plain_name(other) == ours:
                reader.notes.append(
                    Problem("name", f"'{shorten(given)}' and '{shorten(other)}' are both {ours}",
                            reader.table.place(mark), given, severity="warning")
                )  # fmt: skip
            cells[name] = ours
    mark = marks.get("full", first)
    if cells.get("full"):
        kind = cells.get("kind", "") or ("thread" if _is_thread(cells["size"]) else "")
        fitted = _full(cells["full"], kind, unit)
        if isinstance(fitted, _Unread):
            add(reader, mark, f"no size can be read ({fitted.problem})", cells["full"],
                 fitted.expected, fitted.advice)  # fmt: skip
            return
        cells["full"] = fitted
    row = SizeRow(dict(cells), reader.table.place(first), first.address)
    key = (cells["part"], cells["size"])
    if key in reader.seen:
        add(reader, marks.get("size", first), f"{row.id} stands twice; first in row "
             f"{reader.seen[key].place.line}", row.id, "each size once",
             "rename one or take it out")  # fmt: skip
        return
    reader.seen[key] = row


def _is_thread(name: str) -> bool:
    from scaler.reading.defaults import kind_of
    from scaler.records import Kind

    return kind_of(name) is Kind.THREAD


@dataclass(frozen=True, slots=True)
class _Unread:
    """Why a size could not be read."""

    problem: str
    expected: str
    advice: str


def _why(error: ValueError) -> _Unread:
    return _Unread(
        getattr(error, "problem", "") or str(error),
        getattr(error, "expected", ""),
        getattr(error, "advice", ""),
    )


def _full(text: str, kind: str, unit: str | None) -> str | _Unread:
    """The text of a size as it will be written: with the unit put to a bare number."""
    if kind in ("angle", "taper"):
        try:
            parse_angle(text)
        except ValueError as error:
            return _why(error)
        return text
    if kind in ("count", "teeth"):
        return text if text.isdigit() else _Unread("no whole number", "a count", "write 24")
    if kind == "thread" and not is_bare(text):
        try:
            thread_length(text)
        except ValueError as error:
            return _why(error)
        return text
    try:
        parse_length(text)
        return text
    except LengthError:  # a bare number, or nothing that can be read
        try:
            parse_length(text, unit or "mm")
        except LengthError as error:
            return _why(error)
    # without a unit the drawing's will serve, or the model will ask for it
    return text if unit is None else f"{text} {unit}"


def mapping_of(pairs: Iterable[str]) -> dict[str, str]:
    """``part=Part`` and the like as a mapping. Raises InputError for one without ``=``."""
    found: dict[str, str] = {}
    for pair in pairs:
        name, sign, heading = pair.partition("=")
        if not sign or not name.strip() or not heading.strip():
            raise InputError(
                [Problem("map", f"'{shorten(pair)}' maps nothing", read=pair,
                         expected="our column = your heading",
                         advice="write --map part=Part --map full='Size (in)'")]
            )  # fmt: skip
        found[name.strip()] = heading.strip()
    return found
