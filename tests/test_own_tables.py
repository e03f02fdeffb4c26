"""The user's own tables: added without Python, refused by name, line and column."""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import pytest

from scaler import catalogue
from scaler.problems import InputError, Place
from scaler.reading.grammar import parse_method
from scaler.settling import rows
from scaler.trade import trade_fits

FIELDS = [
    {"name": "designation", "type": "string", "description": "name"},
    {"name": "diameter_mm", "type": "number", "description": "diameter", "unit": "mm"},
    {"name": "source", "type": "string", "description": "source"},
    {"name": "place", "type": "string", "description": "place"},
]
GOOD = "designation,diameter_mm,source,place\nodd bar 7.3,7.3,common practice,my rack\n"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An own folder of tables, empty so far; what was cached is forgotten before and after."""
    own = tmp_path / "tables"
    own.mkdir()
    monkeypatch.setenv("SCALER_TABLES", str(own))

    def forget() -> None:
        catalogue.forget()
        rows._from_catalogue.cache_clear()
        trade_fits._index.cache_clear()

    forget()
    yield own
    monkeypatch.undo()
    forget()


def describe(folder: Path, text: str = GOOD, **more: object) -> None:
    """Writes one table and its description."""
    resource = {"name": "my_bar", "path": "my_bar.csv", "schema": {"fields": FIELDS}, **more}
    (folder / "datapackage.json").write_text(json.dumps({"resources": [resource]}))
    (folder / "my_bar.csv").write_text(text)
    catalogue.forget()


def test_a_table_is_added_without_python(folder: Path) -> None:
    """It is listed, read exactly, and a method that it serves finds its rows."""
    describe(folder, serves=["ground bar"])
    assert "my_bar" in catalogue.names()
    assert catalogue.table("my_bar").rows[0]["diameter_mm"] == Fraction(73, 10)
    method = parse_method("ground bar", Place("t", 1))
    found = rows._from_catalogue(method.name)
    assert any(item.designation == "odd bar 7.3" for item in found)


def test_without_a_folder_there_are_only_the_shipped_tables(folder: Path) -> None:
    """An own folder that holds no description adds nothing."""
    assert "my_bar" not in catalogue.names()


@pytest.mark.parametrize(
    ("text", "line", "column", "words"),
    [
        (
            "designation,diameter_mm,source,place\na,seven,common practice,\n",
            2,
            2,
            "holds no number",
        ),
        ("designation,diameter_mm,source,place\na,7,,\n", 2, 3, "source is blank"),
        ("designation,diameter_mm,source,place\na,7,x\n", 2, 1, "3 cells read, 4 expected"),
        ("designation,d,source,place\na,7,x,y\n", 1, 1, "headings"),
        ("designation,diameter_mm,source,place\na,1/0,x,\n", 2, 2, "holds no number"),
    ],
)
def test_a_malformed_table_is_refused_by_line_and_column(
    folder: Path, text: str, line: int, column: int, words: str
) -> None:
    """File, line and column of what cannot be used."""
    describe(folder, text)
    with pytest.raises(InputError) as caught:
        catalogue.table("my_bar")
    problem = caught.value.problems[0]
    assert problem.place is not None
    assert problem.place.file.endswith("my_bar.csv")
    assert (problem.place.line, problem.place.column) == (line, column)
    assert words in problem.headline


@pytest.mark.parametrize(
    "text",
    [
        "{",
        "[]",
        "{}",
        '{"resources": [{"name": "x"}]}',
        '{"resources": [{"name": "x", "path": "../x.csv", "schema": {"fields": []}}]}',
        json.dumps(
            {
                "resources": [
                    {"name": "drills_metric", "path": "x.csv", "schema": {"fields": FIELDS}}
                ]
            }
        ),
    ],
)
def test_a_malformed_description_is_refused(folder: Path, text: str) -> None:
    """Not JSON, no resources, no schema, outside the folder, or a shipped table's name."""
    (folder / "datapackage.json").write_text(text)
    with pytest.raises(InputError) as caught:
        catalogue.names()
    assert "datapackage.json" in str(caught.value)


def test_a_table_that_is_not_there(folder: Path) -> None:
    """A described table without its file."""
    describe(folder)
    (folder / "my_bar.csv").unlink()
    with pytest.raises(InputError, match="cannot be read"):
        catalogue.table("my_bar")


def test_the_command_line_says_it_without_a_traceback(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Any command that needs the tables ends with 2 and the message."""
    from scaler.cli.main import main

    (folder / "datapackage.json").write_text("{")
    with pytest.raises(SystemExit) as caught:
        main(["lookup", "drill", "No. 30"])
    assert caught.value.code == 2
    assert "not JSON" in capsys.readouterr().err


def test_own_trade_fits_are_found(folder: Path) -> None:
    """A table that serves trade fits, in the form of the shipped one, adds a fit by name."""
    shipped = catalogue.table("trade_fits")
    fields = [
        {"name": c.name, "type": c.type, "description": c.description}
        for c in shipped.columns.values()
    ]
    cells = dict.fromkeys(shipped.columns, "")
    cells |= {
        "designation": "mine: snug", "set": "mine", "fit": "snug", "kind": "clearance",
        "tightest_constant_thou": "0.2", "tightest_per_inch_thou": "0",
        "loosest_constant_thou": "0.5", "loosest_per_inch_thou": "0", "source": "common practice",
    }  # fmt: skip
    text = ",".join(shipped.columns) + "\n" + ",".join(cells.values()) + "\n"
    describe(folder, text, serves=["trade fits"], schema={"fields": fields})
    fit = trade_fits.find_trade_fit("snug", Fraction(10))
    assert fit.clearance_min_mm == Fraction("0.2") * Fraction("0.0254")
    assert fit.set == "mine"


def test_the_users_own_shop_list_is_read_with_every_model(folder: Path, tmp_path: Path) -> None:
    """shop.csv beside the own tables: its rows come with the model's; a fault names the file."""
    import scaler

    model = tmp_path / "m"
    model.mkdir()
    (model / "model.toml").write_text('[model]\nscale = "1:8"\n', encoding="utf-8")
    (tmp_path / "shop.csv").write_text("family,size\nreamer,7.3 mm\n", encoding="utf-8")
    assert [row.size for row in scaler.load(model).shop] == [Fraction("7.3")]
    (tmp_path / "shop.csv").write_text("family,size\nreamer,seven\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        scaler.load(model)
    place = caught.value.problems[0].place
    assert place is not None
    assert (place.file, place.line) == (str(tmp_path / "shop.csv"), 2)
