"""Sheets of a workbook, cell by cell, read as a stream; first looked over for what no sheet needs.

A workbook is packed XML from anyone: before openpyxl builds anything of it, one pass counts what it
unpacks to and refuses declared entities, and rows, columns, merged blocks and numbers of elements
beyond bounds, so that a small file cannot take the memory or the hour of the machine.
"""

from __future__ import annotations

import datetime
import io
import re
import warnings
from collections.abc import Iterator
from importlib import import_module
from typing import Any
from xml.parsers import expat
from zipfile import ZipFile

from scaler.desk.table_cells import (
    MAX_BYTES,
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_ROWS,
    Cell,
    Grid,
    address_of,
    number_text,
)
from scaler.problems import InputError, Place, Problem, listed, shorten, suggest

MAX_UNPACKED = 2 * MAX_BYTES
MAX_ELEMENTS = 3_000_000
MAX_OTHER_ELEMENTS = 200_000
"""Elements outside sheets and their texts: styles, links, names."""
_BLOCK = re.compile(r"\$?([A-Z]{1,7})\$?([0-9]{1,9})(?::\$?([A-Z]{1,7})\$?([0-9]{1,9}))?")
_Block = tuple[int, int, int, int]
"""First row, first column, last row, last column."""


class _TooLarge(Exception):
    """More of something than is read; the text says of what."""


def read_workbook(name: str, data: bytes, sheet: str | None) -> tuple[Grid, str]:
    """The cells of a sheet (the first where None), and its title. Raises InputError."""
    try:
        openpyxl = import_module("openpyxl")
    except ImportError:
        raise InputError(
            [
                Problem(
                    "no-reader",
                    f"{name}: workbooks need openpyxl",
                    Place(name, 1),
                    advice="install the extra 'xlsx', or save the sheet as CSV (UTF-8)",
                )
            ]
        ) from None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of features that are not looked at
            merged = _look_over(data)
            shown = openpyxl.load_workbook(
                io.BytesIO(data), read_only=True, data_only=True, keep_links=False
            )
            written = openpyxl.load_workbook(io.BytesIO(data), read_only=True, keep_links=False)
            title = _title(name, list(shown.sheetnames), sheet)
            grid = _grid(shown[title], written[title])
            blocks = merged.get(str(shown[title]._worksheet_path).lstrip("/"), [])
    except InputError:
        raise
    except _TooLarge as error:
        raise InputError(
            [
                Problem(
                    "too-large",
                    f"{name}: {error}",
                    Place(name, 1),
                    expected=f"at most {MAX_ROWS} rows, {MAX_COLUMNS} columns, {MAX_CELLS} cells",
                    advice="copy the table that is wanted into a workbook of its own",
                )
            ]
        ) from None
    except Exception as error:  # noqa: BLE001 - the library raises whatever a broken file leads to
        raise InputError(
            [
                Problem(
                    "not-workbook",
                    f"{name}: cannot be read as a workbook ({type(error).__name__})",
                    Place(name, 1),
                    expected="a workbook in .xlsx form",
                    advice="open it in a spreadsheet and save it as .xlsx",
                )
            ]
        ) from None
    _put_merged(grid, blocks)
    return grid, title


def _title(name: str, names: list[str], sheet: str | None) -> str:
    if sheet is None and names:
        return names[0]
    if sheet is None or sheet not in names:
        raise InputError(
            [
                Problem(
                    "no-sheet",
                    f"there is no sheet '{shorten(sheet or '')}' in {name}",
                    None,
                    sheet or "",
                    listed(names, 20),
                    suggest(sheet or "", names, ""),
                )
            ]
        )
    return sheet


# ---------------------------------------------------------------------------- the look over it


def _look_over(data: bytes) -> dict[str, list[_Block]]:
    """The merged blocks of each part. Raises _TooLarge, and whatever a broken file leads to."""
    merged: dict[str, list[_Block]] = {}
    with ZipFile(io.BytesIO(data)) as packed:
        size = sum(entry.file_size for entry in packed.infolist())
        if size > MAX_UNPACKED:  # no more than it says is ever unpacked of an entry
            raise _TooLarge(f"it unpacks to {size >> 20} MiB")
        left = MAX_ELEMENTS
        for entry in packed.infolist():
            if entry.filename.lower().endswith((".xml", ".rels")):
                part = _Part(entry.filename)
                with packed.open(entry) as stream:
                    part.read(stream)
                left -= part.elements
                if left < 0:
                    raise _TooLarge("more elements than are read")
                merged[entry.filename.lstrip("/")] = part.merged
    return merged


class _Part:
    """One part of a workbook, passed over once."""

    def __init__(self, name: str) -> None:
        table = re.search(r"(?i)sheets?/|sharedstrings", name)
        self.most = MAX_ELEMENTS if table else MAX_OTHER_ELEMENTS
        self.elements = self.cells = self.in_row = 0
        self.merged: list[_Block] = []
        self.merged_cells = 0

    def read(self, stream: Any) -> None:
        parser = expat.ParserCreate()
        parser.StartElementHandler = self.element
        parser.StartDoctypeDeclHandler = self.declared
        parser.ParseFile(stream)

    def declared(self, *_: object) -> None:
        raise ValueError("a workbook declares no entities")

    def element(self, name: str, attributes: dict[str, str]) -> None:
        self.elements += 1
        if self.elements > self.most:
            raise _TooLarge("more elements than are read")
        local = name.rpartition(":")[2]
        if local == "c":
            self.cells += 1
            self.in_row += 1
            if self.cells > MAX_CELLS or self.in_row > MAX_COLUMNS:
                raise _TooLarge("more rows or columns than are read")
            self.block(attributes.get("r", ""))
        elif local == "row":
            self.in_row = 0
            row = attributes.get("r", "")
            if row.isdecimal() and (len(row) > 9 or int(row) > MAX_ROWS):
                raise _TooLarge("more rows or columns than are read")
        elif local == "mergeCell":
            block = self.block(attributes.get("ref", ""))
            if block is not None:
                self.merged_cells += (block[2] - block[0] + 1) * (block[3] - block[1] + 1)
                if self.merged_cells > MAX_CELLS:
                    raise _TooLarge("merged blocks of more cells than are read")
                self.merged.append(block)

    def block(self, text: str) -> _Block | None:
        """Rows and columns of a reference such as B2 or A1:C4."""
        found = _BLOCK.fullmatch(text)
        if found is None:
            return None
        left, top, right, bottom = found.groups()
        block = int(top), _column(left), int(bottom or top), _column(right or left)
        if max(block[0], block[2]) > MAX_ROWS or max(block[1], block[3]) > MAX_COLUMNS:
            raise _TooLarge("more rows or columns than are read")
        return block


def _column(letters: str) -> int:
    """The number of a column: A is 1, AB is 28."""
    number = 0
    for letter in letters:
        number = 26 * number + ord(letter) - 64
    return number


# ------------------------------------------------------------------------------------- cells


def _grid(shown: Any, written: Any) -> Grid:
    """The cells of a sheet; a formula without a stored value is told from an empty cell."""
    grid: Grid = {}
    for page in (shown, written):
        page.reset_dimensions()  # what the file says of its size may be wrong
    for row, (values, formulas) in enumerate(
        zip(shown.iter_rows(), written.iter_rows(), strict=False), 1
    ):
        for made in _row(row, values, formulas):
            grid.setdefault(row, {})[made.column] = made
    return grid


def _row(row: int, values: Any, formulas: Any) -> Iterator[Cell]:
    for column, (cell, formula) in enumerate(zip(values, formulas, strict=False), 1):
        value, address = cell.value, address_of(row, column)
        if value is None:
            if isinstance(formula.value, str) and formula.value.startswith("="):
                yield Cell(formula.value, "formula", row, column, address)
        elif isinstance(value, (datetime.datetime, datetime.date)):
            date = value.date() if isinstance(value, datetime.datetime) else value
            yield Cell(date.isoformat(), "date", row, column, address, date)
        elif isinstance(value, (datetime.time, datetime.timedelta)):
            yield Cell(str(value), "date", row, column, address)
        elif isinstance(value, bool):
            yield Cell("yes" if value else "no", "text", row, column, address)
        elif isinstance(value, (int, float)):
            yield Cell(number_text(value), "number", row, column, address)
        elif text := str(value).strip():
            sort = "error" if cell.data_type == "e" else "text"
            yield Cell(text, sort, row, column, address)  # type: ignore[arg-type]


def _put_merged(grid: Grid, blocks: list[_Block]) -> None:
    """Marks the cells of merged blocks, each with the block it lies in."""
    for top, left, bottom, right in blocks:
        said = f"{address_of(top, left)}:{address_of(bottom, right)}"
        for row in range(top, bottom + 1):
            for column in range(left, right + 1):
                old = grid.get(row, {}).get(column)
                grid.setdefault(row, {})[column] = Cell(
                    old.text if old else "",
                    "merged",
                    row,
                    column,
                    f"{address_of(row, column)} (merged {said})",
                )
