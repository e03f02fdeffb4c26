"""Catalogues: tables of what can be had, read exactly, each row with its source.

A catalogue is one CSV file under ``scaler.catalogues``, described in that folder's
``datapackage.json`` (Frictionless Data Package, the open standard for described tables). Numbers
are kept as the text that was printed and turned into exact fractions when asked for; a pandas
frame is there for those who want one.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas

Value = Fraction | int | str | bool | None
_PACKAGE = "scaler.catalogues"


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table: its name, type, unit and meaning, as the data package states them."""

    name: str
    type: str
    unit: str
    description: str
    required: bool
    exact: str


class Row(Mapping[str, Value]):
    """One row of a table. ``row["pitch_mm"]`` is exact; ``row.text("pitch_mm")`` is as printed.

    Numbers come out as :class:`fractions.Fraction` (or int for an integer column), blank cells as
    None, all else as text. Raises KeyError for a column that the table does not have.
    """

    __slots__ = ("_cells", "_values", "line", "table")

    def __init__(self, table: Table, line: int, cells: dict[str, str]) -> None:
        self.table, self.line, self._cells = table, line, cells
        self._values: dict[str, Value] = {}

    def __getitem__(self, name: str) -> Value:
        if name not in self._values:
            self._values[name] = _value(self._cells[name], self.table.columns[name])
        return self._values[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._cells)

    def __len__(self) -> int:
        return len(self._cells)

    def __hash__(self) -> int:
        return hash((self.table.name, self.line))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Row) and (self.table.name, self.line) == (
            other.table.name,
            other.line,
        )

    def __repr__(self) -> str:
        return f"<{self.table.name} line {self.line}: {self._cells.get('designation', '')}>"

    def text(self, name: str) -> str:
        """The cell as printed in the table, '' where it is blank."""
        return self._cells[name]

    def number(self, name: str) -> Fraction:
        """The cell as an exact number. Raises ValueError where it is blank or not a number."""
        value = self[name]
        if isinstance(value, (Fraction, int)) and not isinstance(value, bool):
            return Fraction(value)
        raise ValueError(f"{self.table.name}, line {self.line}: {name} holds no number")

    def mm(self, base: str) -> Fraction | None:
        """The length in ``base_mm``, else ``base_in`` × 25.4, exact [mm]; None where blank."""
        for name, factor in ((f"{base}_mm", Fraction(1)), (f"{base}_in", Fraction(127, 5))):
            if self._cells.get(name):
                return self.number(name) * factor
        return None


@dataclass(frozen=True)
class Table:
    """A whole table: rows in file order, columns as described, title and file name."""

    name: str
    title: str
    path: str
    columns: Mapping[str, Column]
    rows: tuple[Row, ...] = field(repr=False, default=())

    def frame(self) -> pandas.DataFrame:
        """The table as a pandas frame: one row a row, numbers as floats, columns as in the file."""
        import pandas

        data: dict[str, list[Any]] = {
            name: [
                float(row[name]) if isinstance(row[name], Fraction) else row[name]  # type: ignore[arg-type]
                for row in self.rows
            ]
            for name in self.columns
        }
        return pandas.DataFrame(data)

    def find(self, designation: str) -> Row | None:
        """The row of exactly that designation, or None."""
        return self._index.get(designation)

    @property
    def _index(self) -> dict[str, Row]:
        index = self.__dict__.get("_by_designation")
        if index is None:
            index = {row._cells.get("designation", ""): row for row in self.rows}
            self.__dict__["_by_designation"] = index
        return index


def parse_number(text: str) -> Fraction:
    """An exact number from a table cell: decimal, fraction or whole number and fraction.

    Raises ValueError for anything else.

    >>> parse_number("1 3/8"), parse_number("0.079")
    (Fraction(11, 8), Fraction(79, 1000))
    """
    parts = text.split()
    if len(parts) == 2 and "/" in parts[1] and "." not in parts[1]:
        return Fraction(parts[0]) + Fraction(parts[1])
    if len(parts) != 1:
        raise ValueError(f"not a number: {text!r}")
    return Fraction(parts[0])


def _value(text: str, column: Column) -> Value:
    text = text.strip()
    if not text:
        return None
    if column.type == "integer":
        return int(text)
    if column.type == "boolean":
        return text.lower() in ("true", "yes", "1")
    if column.type == "number" or column.exact == "fraction":
        return parse_number(text)
    return text


@cache
def _package() -> dict[str, Any]:
    text = files(_PACKAGE).joinpath("datapackage.json").read_text(encoding="utf-8")
    package: dict[str, Any] = json.loads(text)
    return package


@cache
def _resources() -> dict[str, dict[str, Any]]:
    return {resource["name"]: resource for resource in _package()["resources"]}


def names() -> tuple[str, ...]:
    """Names of all shipped tables, in the order of the data package."""
    return tuple(_resources())


def read(text: str, name: str, path: str, schema: Mapping[str, Any], title: str = "") -> Table:
    """A table from CSV text and its Frictionless table schema (pure: reads no file).

    Raises ValueError naming table and line where a row has more or fewer cells than the heading,
    or where heading and schema disagree.
    """
    columns = {
        item["name"]: Column(
            item["name"],
            item.get("type", "string"),
            item.get("unit", ""),
            item.get("description", ""),
            bool(item.get("constraints", {}).get("required", False)),
            item.get("exact", ""),
        )
        for item in schema["fields"]
    }
    reader = csv.reader(io.StringIO(text, newline=""))
    heading = next(reader, [])
    if heading != list(columns):
        raise ValueError(
            f"{path}, line 1: the headings {heading} are not those of the data package"
        )
    table = Table(name, title or name, path, columns)
    rows = []
    for cells in reader:
        if len(cells) != len(heading):
            raise ValueError(
                f"{path}, line {reader.line_num}: {len(cells)} cells read, {len(heading)} expected"
            )
        rows.append(Row(table, reader.line_num, dict(zip(heading, cells, strict=True))))
    object.__setattr__(table, "rows", tuple(rows))
    return table


@cache
def table(name: str) -> Table:
    """A shipped table by its name. Raises KeyError for a name that is not shipped."""
    resource = _resources()[name]
    path = resource["path"]
    text = files(_PACKAGE).joinpath(*path.split("/")).read_text(encoding="utf-8")
    return read(text, name, path, resource["schema"], resource.get("title", ""))
