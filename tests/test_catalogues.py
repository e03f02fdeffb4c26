"""All catalogues: the data package describes every table, and every cell is what it says."""

from __future__ import annotations

import csv
import json
import re
from importlib.resources import files
from pathlib import Path

import jsonschema
import pytest

from scaler import catalogue
from scaler.reading.files import Number
from scaler.settling.rows import method_row

ROOT = Path(__file__).parent.parent / "catalogues"
PACKAGE = json.loads((ROOT / "datapackage.json").read_text(encoding="utf-8"))
UNITS = (
    "_mm",
    "_in",
    "_um",
    "_thou",
    "_deg",
    "_percent",
    "_mm2",
    "_mm3",
    "_kg_m3",
    "_tpi",
    "_count",
)

# The form of a tabular data package: Frictionless Data, Tabular Data Package and Table Schema
# specifications, version 1 (specs.frictionlessdata.io); the parts that our tables use.
PROFILE = {
    "type": "object",
    "required": ["name", "resources", "profile"],
    "properties": {
        "profile": {"const": "tabular-data-package"},
        "resources": {
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "required": ["name", "path", "profile", "schema"],
                "properties": {
                    "name": {"type": "string", "pattern": "^([-a-z0-9._/])+$"},
                    "path": {"type": "string", "pattern": r"^(?=^[^./~])(^((?!\.{2}).)*$).*$"},
                    "profile": {"const": "tabular-data-resource"},
                    "encoding": {"const": "utf-8"},
                    "schema": {
                        "type": "object",
                        "required": ["fields"],
                        "properties": {
                            "primaryKey": {"type": ["string", "array"]},
                            "fields": {
                                "type": "array",
                                "minItems": 1,
                                "items": {
                                    "type": "object",
                                    "required": ["name", "type", "description"],
                                    "properties": {
                                        "type": {
                                            "enum": ["string", "number", "integer", "boolean"]
                                        },
                                        "constraints": {
                                            "type": "object",
                                            "properties": {
                                                "required": {"type": "boolean"},
                                                "unique": {"type": "boolean"},
                                                "enum": {"type": "array"},
                                            },
                                        },
                                    },
                                },
                            },
                        },
                    },
                },
            },
        },
    },
}


def test_the_data_package_has_the_form_of_the_standard() -> None:
    """The description is a tabular data package."""
    jsonschema.validate(PACKAGE, PROFILE)


def test_every_table_is_described_and_every_description_has_its_table() -> None:
    """No CSV without a resource, no resource without its CSV, no name twice."""
    described = [resource["path"] for resource in PACKAGE["resources"]]
    assert sorted(described) == sorted(str(path.relative_to(ROOT)) for path in ROOT.rglob("*.csv"))
    names = [resource["name"] for resource in PACKAGE["resources"]]
    assert len(set(names)) == len(names)


def test_folders_are_one_deep_and_packaged() -> None:
    """The wheel takes tables at most one folder deep; deeper ones would be left behind."""
    for resource in PACKAGE["resources"]:
        assert resource["path"].count("/") <= 1


def _keys() -> set[str]:
    return {row.text("key") for row in catalogue.table("sources").rows}


@pytest.mark.parametrize("name", catalogue.names())
def test_cells_are_what_the_schema_says(name: str) -> None:
    """Types, required and unique cells, enumerations, bounds; a known source on every row."""
    table = catalogue.table(name)
    resource = next(item for item in PACKAGE["resources"] if item["name"] == name)
    fields = {field["name"]: field for field in resource["schema"]["fields"]}
    keys = _keys()
    assert table.rows, name
    for row in table.rows:
        for column, field in fields.items():
            rules = field.get("constraints", {})
            text = row.text(column)
            where = f"{name}, line {row.line}, {column}"
            assert text == text.strip(), where
            if rules.get("required"):
                assert text != "", where
            value = row[column]
            if value is None:
                continue
            if rules.get("enum") and text:
                assert text in [str(item) for item in rules["enum"]], where
            if "minimum" in rules and not isinstance(value, (str, bool)):
                assert value >= rules["minimum"], where
            if "maximum" in rules and not isinstance(value, (str, bool)):
                assert value <= rules["maximum"], where
        if "source" in fields:
            assert row.text("source") in keys, f"{name}, line {row.line}: {row.text('source')}"
    for column, field in fields.items():
        if field.get("constraints", {}).get("unique"):
            texts = [row.text(column) for row in table.rows if row.text(column)]
            assert len(set(texts)) == len(texts), f"{name}: {column} is not unique"


@pytest.mark.parametrize("name", [n for n in catalogue.names() if n != "sources"])
def test_every_table_has_designation_source_and_units(name: str) -> None:
    """A designation first, a source on every row, and the unit in every numeric heading."""
    resource = next(item for item in PACKAGE["resources"] if item["name"] == name)
    headings = [field["name"] for field in resource["schema"]["fields"]]
    assert headings[0] == "designation"
    assert "source" in headings
    for field in resource["schema"]["fields"]:
        if field["type"] == "number":
            unit = field.get("unit", "")
            named = field["name"].endswith(UNITS) or re.search(
                r"_(per|to|of)_|ratio|number|factor|ppm|um_m|gpa|poisson", field["name"].lower()
            )
            assert unit or named, f"{name}: {field['name']} names no unit"


def test_files_are_plain_utf8_with_unix_lines() -> None:
    """UTF-8 without a byte order mark, LF, no blank line, as many cells as headings."""
    for path in ROOT.rglob("*.csv"):
        data = path.read_bytes()
        assert not data.startswith(b"\xef\xbb\xbf") and b"\r" not in data, path
        rows = list(csv.reader(data.decode("utf-8").splitlines(), strict=True))
        assert all(len(row) == len(rows[0]) for row in rows), path


def test_methods_name_tables_columns_and_filters_that_exist() -> None:
    """Every method's tables are shipped, hold its size column, and its filters leave rows."""
    from scaler.problems import Place
    from scaler.reading.grammar import parse_method
    from scaler.settling.rows import _from_catalogue

    for row in catalogue.table("methods").rows:
        method = method_row(row.text("designation"))
        assert method is not None
        for name in method.tables:
            table = catalogue.table(name)
            assert {f"{method.column}_mm", f"{method.column}_in"} & set(table.columns), name
        if method.tables:
            assert _from_catalogue(method.name), method.name
        text = method.name + (" of a.b" if row.text("way") == "link" else "")
        assert parse_method(text, Place("t", 1)).name == method.name


def test_a_frame_is_what_pandas_reads_from_the_file() -> None:
    """The pandas frame of a table has the file's rows, columns and figures."""
    import pandas

    table = catalogue.table("drills_number")
    plain = pandas.read_csv(ROOT / table.path)
    frame = table.frame()
    assert list(frame.columns) == list(plain.columns)
    assert len(frame) == len(plain)
    assert frame["diameter_in"].tolist() == plain["diameter_in"].tolist()


def test_reading_refuses_a_malformed_table_by_name_and_line() -> None:
    """Too many cells and other headings than described are named with table and line."""
    schema = {"fields": [{"name": "designation", "type": "string"}]}
    with pytest.raises(ValueError, match=r"own\.csv, line 3: 2 cells read, 1 expected"):
        catalogue.read("designation\na\nb,c\n", "own", "own.csv", schema)
    with pytest.raises(ValueError, match=r"own\.csv, line 1"):
        catalogue.read("name\na\n", "own", "own.csv", schema)


def test_numbers_are_read_exactly() -> None:
    """Decimals and fractions come out as exact fractions, never through a float."""
    from fractions import Fraction

    assert catalogue.parse_number("0.1") == Fraction(1, 10)
    assert catalogue.parse_number("1 3/8") == Fraction(11, 8)
    with pytest.raises(ValueError, match="not a number"):
        catalogue.parse_number("1 2 3")
    assert str(Number("1.50")) == "1.50"


def test_the_tables_come_with_the_package() -> None:
    """The installed package finds its tables (editable or not)."""
    assert files("scaler.catalogues").joinpath("datapackage.json").is_file()
