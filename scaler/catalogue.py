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
import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache, cached_property
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scaler.problems import UNSEEN, InputError, Place, Problem, shorten, unseen_name

if TYPE_CHECKING:
    import pandas

Value = Fraction | int | str | bool | None
_PACKAGE = "scaler.catalogues"
_TYPES = ("string", "number", "integer", "boolean")
OWN_MOST_BYTES = 8 * 1024 * 1024
"""Bytes that a file of a user's own tables may have."""
OWN_MOST_ROWS = 50_000


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

    __slots__ = ("_cells", "line", "table")

    def __init__(self, table: Table, line: int, cells: list[str]) -> None:
        self.table, self.line, self._cells = table, line, cells

    def __getitem__(self, name: str) -> Value:
        return _value(self._cells[self.table.place[name]], self.table.columns[name])

    def __iter__(self) -> Iterator[str]:
        return iter(self.table.columns)

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
        return f"<{self.table.name} line {self.line}: {self._cells[0] if self._cells else ''}>"

    def text(self, name: str) -> str:
        """The cell as printed in the table, '' where it is blank."""
        return self._cells[self.table.place[name]]

    def number(self, name: str) -> Fraction:
        """The cell as an exact number. Raises ValueError where it is blank or not a number."""
        value = self[name]
        if isinstance(value, (Fraction, int)) and not isinstance(value, bool):
            return Fraction(value)
        raise ValueError(f"{self.table.name}, line {self.line}: {name} holds no number")

    def mm(self, base: str) -> Fraction | None:
        """The length in ``base_mm``, else ``base_in`` × 25.4, exact [mm]; None where blank."""
        for name, factor in ((f"{base}_mm", Fraction(1)), (f"{base}_in", Fraction(127, 5))):
            at = self.table.place.get(name)
            if at is not None and self._cells[at]:
                return self.number(name) * factor
        return None

    def named(self, column: str) -> Row | None:
        """The row of another table that a cell names, as the table's description says
        (``foreignKeys``); None where it names none."""
        other = self.table.keys.get(column)
        if other is None or not self._cells[self.table.place[column]]:
            return None
        return table(other).find(self.text(column))

    def holder(self, base: str) -> Row | None:
        """The row that gives a length: this one or, where its table has no such column, one that
        it names; None where none gives it."""
        if base in self.table.own_lengths:
            return self if self.mm(base) is not None else None
        for column in self.table.keys:
            other = self.named(column)
            found = other.holder(base) if other is not None else None
            if found is not None:
                return found
        return None


@dataclass(frozen=True)
class Table:
    """A whole table: rows in file order, columns as described, title and file name.

    ``keys`` holds, by column, the table whose rows the cells of that column name.
    """

    name: str
    title: str
    path: str
    columns: Mapping[str, Column]
    place: Mapping[str, int] = field(repr=False)
    rows: tuple[Row, ...] = field(repr=False, default=())
    keys: Mapping[str, str] = field(repr=False, default_factory=dict)

    @cached_property
    def own_lengths(self) -> frozenset[str]:
        """Its columns of lengths, without their unit."""
        return frozenset(name[:-3] for name in self.columns if name.endswith(("_mm", "_in")))

    def lengths(self) -> frozenset[str]:
        """The lengths that its rows can give: its own, and those of the rows that they name."""
        found = self.own_lengths
        for other in self.keys.values():
            found |= table(other).lengths()
        return found

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

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))

    def find(self, designation: str) -> Row | None:
        """The row of exactly that designation, or None."""
        return self._index.get(designation)

    @property
    def _index(self) -> dict[str, Row]:
        index = self.__dict__.get("_by_designation")
        if index is None:
            index = {row.text("designation"): row for row in self.rows}
            self.__dict__["_by_designation"] = index
        return index


_NUMBER = re.compile(
    r"(?P<decimal>[+-]?(?:\d{1,40}(?:\.\d{0,40})?|\.\d{1,40})(?:[eE][+-]?\d{1,2})?)"
    r"|(?P<sign>[+-]?)(?:(?P<whole>\d{1,40})\s+)?(?P<fraction>\d{1,40}/\d{1,40})",
    re.ASCII,
)


def parse_number(text: str) -> Fraction:
    """An exact number from a table cell: decimal, fraction or whole number and fraction.

    Raises ValueError for anything else, a fraction of nought and a number of absurd size included.

    >>> parse_number("1 3/8"), parse_number("0.079")
    (Fraction(11, 8), Fraction(79, 1000))
    """
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        raise ValueError(f"not a number: {text[:60]!r}")
    if found["decimal"]:
        return Fraction(found["decimal"])
    try:
        value = Fraction(found["fraction"]) + int(found["whole"] or 0)
    except ZeroDivisionError:
        raise ValueError(f"a fraction of nought: {text!r}") from None
    return -value if found["sign"] == "-" else value


def _value(text: str, column: Column) -> Value:
    text = text.strip()
    if not text:
        return None
    if column.type == "integer":
        number = parse_number(text)
        if number.denominator != 1:
            raise ValueError(f"not a whole number: {text!r}")
        return int(number)
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
    shipped = {resource["name"]: resource for resource in _package()["resources"]}
    return shipped | _own_resources(frozenset(shipped))


def own_folder() -> Path:
    """The user's own folder of tables: ``SCALER_TABLES``, else ``scaler/tables`` among the user's
    configuration files. It need not be there."""
    named = os.environ.get("SCALER_TABLES")
    if named:
        return Path(named)
    base = os.environ.get("XDG_CONFIG_HOME") or os.environ.get("APPDATA")
    return (Path(base) if base else Path.home() / ".config") / "scaler" / "tables"


def _fault(file: Path, line: int, column: int, headline: str, read: str, advice: str) -> InputError:
    return InputError(
        [
            Problem(
                "own-table",
                headline,
                Place(str(file), line, column),
                read,
                "a table described as in the shipped data package",
                advice,
            )
        ]
    )


def _wanted(holder: object, key: str, kind: type, otherwise: Any = None) -> Any:
    """What a JSON object holds under a key. Raises TypeError where it is none of that kind."""
    found = holder.get(key, otherwise) if isinstance(holder, dict) else None
    if not isinstance(found, kind):
        called = {"str": "text", "list": "a list in [ ]"}.get(kind.__name__, "an object in { }")
        raise TypeError(f"'{key}' must be {called}")
    return found


def _usable(item: object) -> None:
    """Raises ValueError or TypeError where a resource lacks what every table needs, or leaves its folder."""
    name, path = _wanted(item, "name", str), _wanted(item, "path", str)
    _wanted(item, "title", str, "")
    serves = _wanted(item, "serves", list, [])
    if not all(isinstance(method, str) for method in serves):
        raise ValueError(f"'serves' of table {name} must be a list of names")
    fields = []
    schema = _wanted(item, "schema", dict)
    for column in _wanted(schema, "fields", list):
        fields.append(_wanted(column, "name", str))
        for key in ("unit", "description", "exact"):
            _wanted(column, key, str, "")
        if _wanted(column, "type", str, "string") not in _TYPES:
            raise ValueError(f"the type of column {fields[-1]} must be {', '.join(_TYPES)}")
        _wanted(column, "constraints", dict, {})
    if fields[:1] != ["designation"] or "source" not in fields:
        raise ValueError(f"table {name} needs the columns designation and source")
    if len(set(fields)) < len(fields):
        raise ValueError(f"two columns of table {name} have one name")
    if "\0" in path or ".." in Path(path).parts or Path(path).is_absolute():
        raise ValueError(f"table {name} lies outside the folder")
    for key in _wanted(schema, "foreignKeys", list, []):
        named = _wanted(key, "fields", str), _wanted(_wanted(key, "reference", dict), "fields", str)
        _wanted(key["reference"], "resource", str)
        if named[0] not in fields or named[1] != "designation":
            raise ValueError(
                f"table {name}: a foreign key names one column of its own "
                "and the designation of another table"
            )


def _own_text(path: Path) -> str:
    """The text of one of the user's own files. Raises InputError."""
    try:
        with path.open("rb") as file:
            data = file.read(OWN_MOST_BYTES + 1)
        text = data.decode("utf-8-sig")
    except OSError as error:
        raise _fault(
            path, 1, 1, f"the file cannot be read: {error.strerror or error}", "", "mend the file"
        ) from None
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _fault(
            path, line, 1, "this is not UTF-8 text", "", "save the file as UTF-8 text"
        ) from None
    if len(data) > OWN_MOST_BYTES:
        raise _fault(
            path, 1, 1, f"larger than {OWN_MOST_BYTES >> 20} MiB", "", "part it into several tables"
        )
    odd = UNSEEN.search(text)
    if odd is not None:
        line = text.count("\n", 0, odd.start()) + 1
        raise _fault(path, line, 1, f"the file holds {unseen_name(odd.group())}", "", "take it out")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _own_resources(shipped: frozenset[str]) -> dict[str, dict[str, Any]]:
    """The user's own resources by name, each marked with its folder. Raises InputError."""
    folder = own_folder()
    package = folder / "datapackage.json"
    if not package.is_file():
        return {}
    text = _own_text(package)
    try:
        resources = _wanted(json.loads(text), "resources", list)
        for item in resources:
            _usable(item)
        found = {item["name"]: {**item, "folder": str(folder)} for item in resources}
    except json.JSONDecodeError as error:
        raise _fault(
            package,
            error.lineno,
            error.colno,
            f"this is not JSON: {error.msg}",
            "",
            "mend the file",
        ) from None
    except (TypeError, ValueError, RecursionError) as error:
        raise _fault(
            package, 1, 1, "the description of your own tables cannot be used", shorten(str(error)),
            "each resource needs name, path and schema with its fields; see DEVELOPERS.md",
        ) from None  # fmt: skip
    for name in found:
        if name in shipped:
            raise _fault(
                package,
                1,
                1,
                f"'{name}' is the name of a shipped table",
                name,
                "choose another name",
            )
    for name, item in found.items():
        for key in item["schema"].get("foreignKeys", ()):
            other = key["reference"]["resource"]
            if other not in shipped and other not in found:
                advice = "name a table of yours or a shipped one"
                headline = f"{name} names rows of '{other}', and there is no such table"
                raise _fault(package, 1, 1, headline, other, advice)
    return found


@cache
def serving(method: str) -> tuple[str, ...]:
    """The user's own tables that say they serve a method (``"serves": ["ground bar"]``)."""
    return tuple(name for name, item in _resources().items() if method in item.get("serves", ()))


def forget() -> None:
    """Forgets all that was read, so that changed tables are read anew."""
    for cached in (_package, _resources, serving, table):
        cached.cache_clear()


def names() -> tuple[str, ...]:
    """Names of all tables: the shipped ones in the order of the data package, then the user's."""
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
    keys = {
        key["fields"]: key["reference"]["resource"]
        for key in schema.get("foreignKeys", ())
        if key["reference"]["fields"] == "designation"
    }
    places = {name: n for n, name in enumerate(columns)}
    table = Table(name, title or name, path, columns, places, keys=keys)
    rows, width = [], len(heading)
    for cells in reader:
        if len(cells) != width:
            raise ValueError(
                f"{path}, line {reader.line_num}: {len(cells)} cells read, {width} expected"
            )
        rows.append(Row(table, reader.line_num, cells))
    object.__setattr__(table, "rows", tuple(rows))
    return table


@cache
def table(name: str) -> Table:
    """A table by its name, shipped or the user's own.

    Raises KeyError for a name that is not there; InputError for a user's table that is malformed,
    naming table, line and column.
    """
    resource = _resources()[name]
    path = resource["path"]
    if "folder" in resource:
        return _own_table(resource)
    text = files(_PACKAGE).joinpath(*path.split("/")).read_text(encoding="utf-8")
    return read(text, name, path, resource["schema"], resource.get("title", ""))


def _own_table(resource: Mapping[str, Any]) -> Table:
    """A user's table with every cell looked at: type, required, and the source given."""
    path = Path(resource["folder"]) / resource["path"]
    text = _own_text(path)
    try:
        found = read(text, resource["name"], resource["path"], resource["schema"])
    except csv.Error as error:
        raise _fault(
            path, 1, 1, f"the table cannot be read: {error}", "", "mend the file"
        ) from None
    except ValueError as error:
        line = re.search(r"line (\d+)", str(error))
        raise _fault(
            path, int(line.group(1)) if line else 1, 1, str(error).partition(": ")[2], "",
            "as many cells as headings, and the headings of the description",
        ) from None  # fmt: skip
    if len(found.rows) > OWN_MOST_ROWS:
        raise _fault(
            path, OWN_MOST_ROWS + 1, 1, f"more than {OWN_MOST_ROWS} rows", "", "leave some out"
        )
    for row in found.rows:
        for number, (name, column) in enumerate(found.columns.items(), 1):
            cell = row.text(name)
            if not cell and (column.required or name in ("designation", "source")):
                raise _fault(path, row.line, number, f"{name} is blank", cell, "fill the cell in")
            try:
                row[name]
            except ValueError:
                raise _fault(
                    path, row.line, number, f"{name} holds no number", cell,
                    "write a decimal, or a fraction where the column is described as one",
                ) from None  # fmt: skip
    return found
