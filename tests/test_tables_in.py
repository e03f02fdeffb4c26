"""Sizes out of people's own tables: mapping, spreadsheet faults by cell, round trip, DXF."""

from __future__ import annotations

import csv
import datetime
import io
import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

import scaler
from scaler import examples
from scaler.cli import common, desk_commands
from scaler.desk.table_cells import column_letters, number_text
from scaler.desk.tables_in import (
    SizesIn,
    fractions_meant,
    plain_name,
    read_sizes,
    size_columns,
    sizes_of_table,
)
from scaler.desk.tables_read import from_frame
from scaler.problems import InputError, Problem

F = Fraction


def table(tmp_path: Path, text: str, name: str = "own.csv") -> Path:
    """A CSV file of that text."""
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def faults(path: Path, **options: Any) -> tuple[Problem, ...]:
    """The problems of a table that cannot be used."""
    with pytest.raises(InputError) as caught:
        read_sizes(path, **options)
    return caught.value.problems


def full_of(found: SizesIn) -> dict[str, str]:
    """Size to its text."""
    return {row.id: row.cells.get("full", "") for row in found.rows}


# ------------------------------------------------------------------------------------ mapping


def test_own_columns_are_mapped(tmp_path: Path) -> None:
    """A person's headings, free names and a unit in the heading; unused columns are named."""
    path = table(
        tmp_path,
        "My engine\n\nPart,Dimension,Size (in),Colour\n"
        "Coupling Rod,Length between centres,5 ft,red\nCoupling Rod,Eye,4 1/2,\n",
    )
    found = read_sizes(path, {"part": "Part", "size": "Dimension", "full": "Size (in)"})
    assert full_of(found) == {
        "coupling_rod.length_between_centres": "5 ft",
        "coupling_rod.eye": "4 1/2 in",
    }
    assert found.rows[0].cells["title"] == "Length between centres"
    assert [note.headline for note in found.notes] == ["column D 'Colour' is not used"]


def test_the_result_is_read_by_a_model(tmp_path: Path) -> None:
    """What comes out stands in for the part tables of a model, size for size."""
    path = table(
        tmp_path, "part,size,full,kind\npin,diameter,1 3/8,external\npin,length,4.25,length\n"
    )
    found = read_sizes(path, unit="in")
    (tmp_path / "sizes.csv").write_text(found.csv(), encoding="utf-8")
    (tmp_path / "model.toml").write_text(
        '[model]\nscale = "1:8"\ninclude = ["sizes.csv"]\n[part.pin]\nmaterial = "steel"\n',
        encoding="utf-8",
    )
    model = scaler.load(tmp_path)
    assert model.sizes["pin.diameter"].full == F(11, 8) * F(127, 5)
    assert model.sizes["pin.length"].full == F(17, 4) * F(127, 5)


@pytest.mark.parametrize(
    ("heading", "text"),
    [("Length (mm)", "12 mm"), ("full_in", "12 in"), ("Dim [thou]", "12 thou"),
     ("Size inches", "12 in"), ("Size", "12"), ("main", "12")],
)  # fmt: skip
def test_unit_of_the_heading(tmp_path: Path, heading: str, text: str) -> None:
    """A heading's unit goes to bare numbers; a heading without one gives none."""
    path = table(tmp_path, f"part,size,{heading}\npin,length,12\n")
    assert full_of(read_sizes(path, {"full": heading})) == {"pin.length": text}


def test_semicolons_and_decimal_commas(tmp_path: Path) -> None:
    """A table as many a spreadsheet saves it where the comma is the decimal mark."""
    path = table(tmp_path, "part;size;full\npin;length;12,7\n")
    assert full_of(read_sizes(path, unit="mm")) == {"pin.length": "12,7 mm"}


def test_part_by_option_and_filled_down(tmp_path: Path) -> None:
    """One part for all rows, or the part above for an empty cell, only where asked for."""
    one = table(tmp_path, "size,full\nbore,1 in\n")
    assert full_of(read_sizes(one, part="cylinder")) == {"cylinder.bore": "1 in"}
    down = table(tmp_path, "part,size,full\npin,length,1 in\n,diameter,2 in\n", "down.csv")
    assert faults(down)[0].headline == "cell B3: the row names no part"
    assert full_of(read_sizes(down, fill_down=True)) == {
        "pin.length": "1 in", "pin.diameter": "2 in",
    }  # fmt: skip


# -------------------------------------------------------------------------------------- faults


def test_unknown_columns_are_named_with_the_nearest(tmp_path: Path) -> None:
    """A heading that is not there, a column of ours that is not there."""
    path = table(tmp_path, "Part,Dimension,Size\npin,length,1 in\n")
    (found,) = faults(path, mapping={"part": "Prat", "size": "Dimension", "full": "Size"})
    assert found.headline == "no column is headed 'Prat'" and "'Part'" in found.advice
    with pytest.raises(InputError, match="'prat' is no column of a table of sizes"):
        read_sizes(path, {"prat": "Part"})
    (far,) = faults(path, mapping={"part": "Part", "size": "Dimension", "full": "Shown on it"})
    assert far.expected == "Part, Dimension, Size" and far.advice == ""  # the list stands once
    (missing, _) = faults(path)
    assert missing.advice == "did you mean 'Part'?"
    assert missing.code == "missing-column" and missing.place is not None
    assert missing.place.line == 1


@pytest.mark.parametrize(
    ("text", "meant"),
    [("5-Aug", "5/8"), ("05/08/2026", "5/8"), ("2026-08-05", "5/8"), ("2026-08-05 00:00:00", "5/8"),
     ("Mar-16", "3/16"), ("1-Feb", "1/2"), ("Jan-32", "1/32")],
)  # fmt: skip
def test_a_date_where_a_size_was_meant(tmp_path: Path, text: str, meant: str) -> None:
    """The cell, the date, and the fraction that the spreadsheet took for one."""
    path = table(tmp_path, f"part,size,full\npin,length,1 in\npin,diameter,{text}\n")
    (found,) = faults(path)
    assert found.headline.startswith("cell C3: a date")
    assert f"{meant} was probably meant" in found.headline
    assert found.place is not None and (found.place.line, found.place.column) == (3, 3)


@pytest.mark.parametrize(
    "text", ["5/8", "1-3/8 in", "5-8 in", "12.7 mm", "4' 8 1/2\"", "2.13/16 in"]
)
def test_sizes_are_not_taken_for_dates(tmp_path: Path, text: str) -> None:
    """Fractions and old habits of writing them are sizes or bad sizes, never dates."""
    quoted = text.replace('"', '""')
    path = table(tmp_path, f'part,size,full\npin,length,"{quoted}"\n')
    try:
        read_sizes(path, unit="in")
    except InputError as error:
        assert "a date" not in str(error)


@given(st.sampled_from([2, 4, 8, 16, 32, 64]), st.integers(1, 31))
def test_every_fraction_a_spreadsheet_spoils_is_offered(bottom: int, top: int) -> None:
    """Day/month, month/day, or month/year with the first of the month, as spreadsheets read them."""
    if top % 2 == 0 or top >= bottom:
        return
    dates = []
    if top <= 12 and bottom <= 28:
        dates.append(datetime.date(2026, top, bottom))
    if bottom <= 12:
        dates.append(datetime.date(2026, bottom, min(top, 28)) if top <= 28 else None)
    if top <= 12 and bottom in (32, 64):
        dates.append(datetime.date(1900 + bottom if bottom > 29 else 2000 + bottom, top, 1))
    for date in dates:
        if date is not None:
            assert f"{top}/{bottom}" in fractions_meant(date)


def test_all_faults_in_one_go(tmp_path: Path) -> None:
    """Unreadable sizes, doubles, error cells: each by its cell."""
    path = table(
        tmp_path,
        "part,size,full\npin,length,1 3/8 inn\npin,bore,#DIV/0!\npin,edge,1 in\npin,edge,2 in\n"
        ",lost,1 in\npin,,3 in\n",
    )
    said = [found.headline for found in faults(path)]
    assert said[0].startswith("cell C2: no size can be read")
    assert said[1] == "cell C3: the spreadsheet's own error where a size was meant"
    assert said[2] == "cell B5: pin.edge stands twice; first in row 4"
    assert said[3] == "cell B6: the row names no part"
    assert said[4] == "cell A7: the row names no size"


def test_not_a_table(tmp_path: Path) -> None:
    """An empty file, a file that is no text, none at all, an old workbook."""
    for name, data, words in (
        ("empty.csv", b"", "the table is empty"),
        ("latin.csv", "part,size,full\npin,länge,1 in".encode("latin-1"), "not UTF-8"),
        ("old.xls", b"x", ".csv or .xlsx"),
        ("quote.csv", b'part,size,full\npin,"length,1 in\n', "cannot be read"),
    ):
        path = tmp_path / name
        path.write_bytes(data)
        assert words in str(InputError(faults(path)))
    assert "cannot be read" in str(InputError(faults(tmp_path / "none.csv")))


# ----------------------------------------------------------------------------------- workbooks


def workbook(path: Path, rows: list[list[Any]], merged: str = "") -> Path:
    """A workbook written by openpyxl."""
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    page = book.active
    page.title = "Frames"
    for row in rows:
        page.append(row)
    if merged:
        page.merge_cells(merged)
    book.save(path)
    return path


def test_workbook_cells(tmp_path: Path) -> None:
    """Numbers as the sheet shows them, text as typed, dates and merged cells by their address."""
    path = workbook(
        tmp_path / "frames.xlsx",
        [["part", "size", "full"], ["frame", "length", 12.5], ["frame", "slot", "10 1/2"],
         ["frame", "step", 0.1 + 0.2]],
    )  # fmt: skip
    assert full_of(read_sizes(path, unit="in")) == {
        "frame.length": "12.5 in", "frame.slot": "10 1/2 in", "frame.step": "0.3 in",
    }  # fmt: skip
    spoilt = workbook(
        tmp_path / "spoilt.xlsx",
        [["part", "size", "full"], ["frame", "length", datetime.datetime(2026, 8, 5)],
         ["frame", "depth", "=B1*2"], ["axle", "seat", "1 in"], ["", "journal", "2 in"]],
        "A4:A5",
    )  # fmt: skip
    said = [found.headline for found in faults(spoilt)]
    assert said[0] == (
        "cell C2: a date (05 August 2026) where a size was meant: 5/8 was probably meant"
    )
    assert said[1] == "cell C3: a formula without a stored value where a size was meant"
    assert said[2] == "cell A4 (merged A4:A5): a merged cell in the column of a part"
    assert sum("merged cell" in text for text in said) == 1  # the block is told of once


def test_a_merged_block_that_begins_in_another_column(tmp_path: Path) -> None:
    """A block from a column of the builder's own into the sizes: told of at its first size."""
    path = workbook(
        tmp_path / "m.xlsx",
        [
            ["part", "size", "own", "full"],
            ["axle", "seat", "x", "1 in"],
            ["axle", "end", "", "2 in"],
        ],
        "C2:D3",
    )
    (found,) = faults(path)
    assert found.headline == "cell D2 (merged C2:D3): a merged cell in the column of a size"


def test_merged_parts_may_go_down(tmp_path: Path) -> None:
    """A part merged over its rows is read where going down was asked for."""
    path = workbook(
        tmp_path / "m.xlsx",
        [["part", "size", "full"], ["axle", "seat", "1 in"], ["", "journal", "2 in"]],
        "A2:A3",
    )
    assert full_of(read_sizes(path, fill_down=True)) == {
        "axle.seat": "1 in", "axle.journal": "2 in",
    }  # fmt: skip


def test_sheets(tmp_path: Path) -> None:
    """The first sheet, one by name, and a name that is not there."""
    path = workbook(tmp_path / "s.xlsx", [["part", "size", "full"], ["a", "b", "1 in"]])
    (none,) = faults(path, sheet="Wheels")
    assert none.headline == "there is no sheet 'Wheels' in s.xlsx" and none.place is None
    assert none.advice == "" and "Frames" in none.expected
    assert full_of(read_sizes(path, sheet="Frames")) == {"a.b": "1 in"}
    (found,) = faults(path, sheet="Frame")
    assert "no sheet 'Frame'" in found.headline and "'Frames'" in found.advice
    broken = tmp_path / "b.xlsx"
    broken.write_bytes(b"PK\x03\x04 not a workbook")
    assert faults(broken)[0].code == "not-workbook"


def test_without_openpyxl_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The extra is optional."""
    import sys

    path = tmp_path / "s.xlsx"
    path.write_bytes(b"PK")
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    assert "extra 'xlsx'" in faults(path)[0].advice


def test_a_pandas_frame() -> None:
    """A frame with numbers, text, a missing value and a date goes the same way."""
    import pandas

    frame = pandas.DataFrame(
        {
            "Part": ["pin", "pin", "pin"],
            "Dim": ["length", "bore", "step"],
            "Size": [12.7, "5/8 in", None],
        }
    )
    found = sizes_of_table(
        from_frame(frame), {"part": "Part", "size": "Dim", "full": "Size"}, unit="mm"
    )
    assert full_of(found) == {"pin.length": "12.7 mm", "pin.bore": "5/8 in", "pin.step": ""}
    assert list(found.frame()["full"]) == ["12.7 mm", "5/8 in", ""]
    frame.loc[2, "Size"] = pandas.Timestamp("2026-08-05")
    with pytest.raises(InputError, match="cell C4: a date"):
        sizes_of_table(from_frame(frame), {"part": "Part", "size": "Dim", "full": "Size"})


@given(st.floats(min_value=1e-6, max_value=1e6))
def test_numbers_keep_fifteen_figures(value: float) -> None:
    """A workbook's number comes out as the decimal that a spreadsheet shows, never with an e."""
    text = number_text(value)
    assert "e" not in text.lower()
    assert float(text) == pytest.approx(value, rel=1e-14)


@given(st.integers(1, 20_000))
def test_column_letters_count_in_26s(column: int) -> None:
    """A, B … Z, AA: read back as a number they are the column."""
    value = 0
    for letter in column_letters(column):
        value = value * 26 + ord(letter) - 64
    assert value == column


@given(st.text(max_size=40))
def test_plain_names_are_names(text: str) -> None:
    """Whatever was written, the name is lower-case words joined by _, or nothing."""
    name = plain_name(text)
    assert name == "" or (
        name[0].isalpha() and set(name) <= set("abcdefghijklmnopqrstuvwxyz0123456789_")
    )
    assert plain_name(name) == name


# ---------------------------------------------------------------------------------- round trip


def reduced_csv(folder: Path) -> list[dict[str, str]]:
    """What ``reduce --format csv`` writes, as rows."""
    reduction = scaler.reduce(scaler.load(folder))
    return list(csv.DictReader(io.StringIO(common.csv(reduction.as_dict()["sizes"]))))


def written(path: Path, rows: list[dict[str, str]]) -> Path:
    """Rows as a CSV file."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return path


def saved(path: Path, rows: list[dict[str, str]]) -> Path:
    """Rows as a workbook, as a spreadsheet saves them: what looks like a number is one."""
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    book.active.append(list(rows[0]))
    for row in rows:
        cells: list[str | float | None] = []
        for text in row.values():
            try:
                cells.append(float(text))
            except ValueError:
                cells.append(text or None)
        book.active.append(cells)
    book.save(path)
    return path


@pytest.mark.parametrize("form", ["csv", "xlsx"])
@pytest.mark.parametrize("name", ["pattern_d", "starter"])
def test_reduced_table_comes_back_exactly(name: str, form: str, tmp_path: Path) -> None:
    """Reduced, written, read back and put in place of the sizes: the same model, size for size."""
    folder = tmp_path / "m"
    examples.write_out(name, folder)
    model = scaler.load(folder)
    write = saved if form == "xlsx" else written
    found = read_sizes(write(tmp_path / f"reduced.{form}", reduced_csv(folder)))
    assert found.choices == ()
    refused = {c.about for c in scaler.reduce(model).cautions if c.refused}
    wanted = {s.id: s for s in model.sizes.values() if s.part not in refused}
    assert {row.id for row in found.rows} == set(wanted)
    parts = "\n".join(
        f'[part.{part.name}]\nmaterial = "{part.material}"\nservice = "none"\n'
        f"copies = {json.dumps(list(part.copies))}"
        for part in model.parts.values()
    )
    again = tmp_path / "again"
    again.mkdir()
    (again / "sizes.csv").write_text(found.csv(), encoding="utf-8")
    (again / "model.toml").write_text(
        f'[model]\nscale = {{ full = "3 ft 0 in", model = "5 in" }}\ninclude = ["sizes.csv"]\n'
        f'track = {{ standard = "IBLS", gauge = "5 in" }}\n{parts}\n'
        "[condition.shaft]\nkeep = \"shaft.length == '1 mm'\"\n"
        * (name == "starter")
        or f'[model]\nscale = {{ full = "3 ft 0 in", model = "5 in" }}\ninclude = ["sizes.csv"]\n'
        f'track = {{ standard = "IBLS", gauge = "5 in" }}\n{parts}\n',
        encoding="utf-8",
    )
    back = scaler.load(again)
    for identity, size in wanted.items():
        assert back.sizes[identity].full == size.full
        assert back.sizes[identity].kind == size.kind
        assert [m.text for m in back.sizes[identity].rule] == [m.text for m in size.rule]
        assert back.sizes[identity].title == size.title


def test_edits_come_back(tmp_path: Path) -> None:
    """An edited full size, an edited drawn text, an edited choice: each as edited, others exact."""
    folder = tmp_path / "m"
    examples.write_out("pattern_d", folder)
    rows = reduced_csv(folder)
    by_id = {row["id"]: row for row in rows}
    by_id["axle.journal"]["full_mm"] = "112.5"
    by_id["axle.wheel_seat"]["drawn"] = "4 5/16 in"
    by_id["wheel.bore"]["chosen_mm"] = "14.95"
    found = read_sizes(written(tmp_path / "edited.csv", rows))
    texts = full_of(found)
    assert texts["axle.journal"] == "112.5 mm"
    assert texts["axle.wheel_seat"] == "4 5/16 in"
    assert texts["frame.thickness"] == by_id["frame.thickness"]["drawn"]
    assert found.choices == (("wheel.bore", "14.95 mm"),)
    assert "wheel.bore: the chosen size was edited to 14.95 mm" in found.notes[-1].headline or any(
        "14.95" in note.headline for note in found.notes
    )
    (line,) = list(csv.DictReader(io.StringIO(found.choices_csv())))
    assert (line["action"], line["size"], line["value"]) == ("choose", "wheel.bore", "14.95 mm")


def test_numbers_too_large_to_hold(tmp_path: Path) -> None:
    """An exponent of nine figures in a reduced table is no number, and nothing hangs."""
    head = "id,kind,unit,drawn,full_mm,full_mm_rational,chosen_mm,chosen_mm_rational\n"
    path = table(tmp_path, head + "pin.d,length,mm,,1e999999999,1/3,5,5e999999999\n")
    assert full_of(read_sizes(path)) == {"pin.d": "1/3 mm"}


def test_workbook_that_unpacks_to_too_much(tmp_path: Path) -> None:
    """A small file that unpacks to hundreds of megabytes is refused before it is read."""
    import zipfile

    pytest.importorskip("openpyxl")
    path = tmp_path / "big.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("xl/worksheets/sheet1.xml", b"\0" * (300 << 20))
    assert "unpacks to 300 MiB" in str(InputError(faults(path)))


def test_refused_sizes_do_not_come_back(tmp_path: Path) -> None:
    """Pressure parts have no figure in the table, and none is made up."""
    folder = tmp_path / "m"
    examples.write_out("pattern_d", folder)
    found = read_sizes(written(tmp_path / "r.csv", reduced_csv(folder)))
    assert not any(row.id.startswith("boiler.") for row in found.rows)
    assert sum("has no figure" in note.headline for note in found.notes) == 5


# ------------------------------------------------------------------------------------- command


def test_command_writes_the_table(tmp_path: Path) -> None:
    """sizes-in with a mapping: the table on the screen or in a file, notes on the error stream."""
    path = table(tmp_path, "Part,Dim,Size\nPin,Length,12.7\n")
    arguments = [str(path), "--map", "part=Part", "--map", "size=Dim", "--map", "full=Size"]
    done = CliRunner().invoke(desk_commands.sizes_in, [*arguments, "--unit", "mm"])
    assert done.exit_code == 0
    assert done.stdout == "part,size,full,title\npin,length,12.7 mm,Length\n"
    out = tmp_path / "sizes.csv"
    done = CliRunner().invoke(
        desk_commands.sizes_in, [*arguments, "--unit", "mm", "--out", str(out)]
    )
    assert out.read_text(encoding="utf-8") == "part,size,full,title\npin,length,12.7 mm,Length\n"
    bad = CliRunner().invoke(desk_commands.sizes_in, [str(path), "--map", "part"])
    assert bad.exit_code == 2 and "maps nothing" in bad.output


def test_command_names_every_cell(tmp_path: Path) -> None:
    """Exit status 2 and each cell; for scripts as JSON too."""
    path = table(tmp_path, "part,size,full\npin,length,5-Aug\npin,bore,inch\n")
    done = CliRunner().invoke(desk_commands.sizes_in, [str(path), "--format", "json"])
    assert done.exit_code == 2
    assert [p["line"] for p in json.loads(done.stdout)["problems"]] == [2, 3]
    assert "cell C2" in done.stderr and "cell C3" in done.stderr


def test_columns_are_those_of_the_form() -> None:
    """The form's own columns, part and size first."""
    assert size_columns()[:2] == ("part", "size")
    assert {"full", "kind", "rule", "datum", "uncertainty"} <= set(size_columns())


# ----------------------------------------------------------------------------------------- DXF


def drawing(path: Path, units: int = 4) -> Path:
    """A drawing with five dimensions, made by ezdxf: the reference library for the format."""
    ezdxf = pytest.importorskip("ezdxf")
    document = ezdxf.new("R2010", setup=True)
    document.header["$INSUNITS"] = units
    space = document.modelspace()
    plain = {"dimlfac": 1.0}
    space.add_linear_dim(base=(0, -10), p1=(0, 0), p2=(37.5, 0), override=plain).render()
    space.add_linear_dim(base=(0, -20), p1=(0, 0), p2=(16, 0), text='5/8"', override=plain).render()
    space.add_linear_dim(
        base=(0, -30), p1=(0, 0), p2=(20, 0), text='3/4" REF', override=plain
    ).render()
    space.add_diameter_dim(center=(0, 0), radius=6.25, angle=45, override=plain).render()
    space.add_radius_dim(center=(0, 0), radius=3.5, angle=30, override=plain).render()
    space.add_angular_dim_2l(base=(0, 5), line1=((0, 0), (10, 0)), line2=((0, 0), (0, 10))).render()
    document.saveas(path)
    return path


def test_dimensions_of_a_drawing(tmp_path: Path) -> None:
    """Measured values, text written over them, and what is left out."""
    from scaler.desk.tables_dxf import read_dxf

    found = read_dxf(drawing(tmp_path / "frame.dxf"), "frame")
    texts = full_of(found)
    assert texts == {
        "frame.d1": "37.5 mm", "frame.d2": '5/8"', "frame.d3": '3/4"', "frame.d4": "12.5 mm",
        "frame.d5": "3.5 mm",
    }  # fmt: skip
    kinds = [row.cells["kind"] for row in found.rows]
    assert kinds == ["length", "length", "length", "external", "radius"]
    assert "measures 16 mm" in found.rows[1].cells["note"]
    said = [note.headline for note in found.notes]
    assert any('d3: the text says 3/4", the line measures 20 mm' in text for text in said)
    assert any('d2: the text says 5/8", the line measures 16 mm' in text for text in said)
    assert any("is an angle" in text for text in said)


def test_length_factor_of_the_style(tmp_path: Path) -> None:
    """A drawing at half size whose style doubles what it measures: the doubled size is meant."""
    ezdxf = pytest.importorskip("ezdxf")
    from scaler.desk.tables_dxf import read_dxf

    document = ezdxf.new("R2010", setup=True)
    document.header["$INSUNITS"] = 4
    space = document.modelspace()
    space.add_linear_dim(base=(0, -10), p1=(0, 0), p2=(10, 0), override={"dimlfac": 2.0}).render()
    document.saveas(tmp_path / "half.dxf")
    assert full_of(read_dxf(tmp_path / "half.dxf", "frame")) == {"frame.d1": "20 mm"}


def test_units_of_a_drawing(tmp_path: Path) -> None:
    """Inches by the header, by option, and a drawing that says none."""
    from scaler.desk.tables_dxf import read_dxf

    inches = read_dxf(drawing(tmp_path / "in.dxf", 1), "frame")
    assert full_of(inches)["frame.d1"] == "37.5 in"
    silent = drawing(tmp_path / "no.dxf", 0)
    with pytest.raises(InputError, match="does not say what unit"):
        read_dxf(silent, "frame")
    assert full_of(read_dxf(silent, "frame", "mm"))["frame.d1"] == "37.5 mm"


def test_no_drawing(tmp_path: Path) -> None:
    """A file that is no DXF; the command without a part."""
    pytest.importorskip("ezdxf")
    from scaler.desk.tables_dxf import read_dxf

    path = table(tmp_path, "hello", "x.dxf")
    with pytest.raises(InputError, match="cannot be read as a DXF drawing"):
        read_dxf(path, "frame", "mm")
    with pytest.raises(InputError, match="No such file"):
        read_dxf(tmp_path / "none.dxf", "frame", "mm")
    done = CliRunner().invoke(desk_commands.sizes_in, [str(path)])
    assert done.exit_code == 2 and "--part" in done.output
