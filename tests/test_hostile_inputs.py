"""Numbers that are none, packed emptiness, and text that means to run somewhere else.

What a spreadsheet takes for a formula follows the list of the OWASP page 'CSV Injection'; sizes that
unpack, and cells far out, follow the limits of ECMA-376 (1,048,576 rows, 16,384 columns): both from
memory. The rest is common practice.
"""

from __future__ import annotations

import csv
import io
import json
import resource
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

import scaler
from scaler import catalogue
from scaler.cli.main import cli
from scaler.desk.scale_off_read import read_segments
from scaler.desk.tables_in import read_sizes
from scaler.expressions.nodes import EvaluationError, ExpressionError
from scaler.expressions.parsing import parse_comparison, parse_expression
from scaler.expressions.values import evaluate
from scaler.lookup import KINDS, Options, look_up
from scaler.measures.angles import parse_angle
from scaler.measures.lengths import LengthError, parse_length
from scaler.measures.quantities import QuantityError, scale_quantity
from scaler.measures.scales import ScaleError, parse_scale
from scaler.problems import InputError, render_full
from scaler.reading.grammar import GrammarError, parse_limits, parse_window, taper

NO_NUMBERS = (
    "1e999999", "1e9999999999999", "-1e999999", "1e-999999", "nan", "NaN", "-nan", "sNaN", "inf",
    "Infinity", "-inf", "1/0", "0/0", "-1/0", "1979-05-27", "07:32:00", "0x10", "1_000", "5-Aug",
    "٣/٤", "१२", "１２e９", "9" * 5000, "1." + "0" * 5000, "1/" + "3" * 5000, "½½", "--1", "1e",
)  # fmt: skip


@contextmanager
def bounded(seconds: float = 2.0, mib: float = 300.0) -> Iterator[None]:
    """What stands inside takes no more process time and adds no more to the greatest memory."""
    before, started = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, time.process_time()
    yield
    assert time.process_time() - started < seconds
    assert (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024 < mib


def model(path: Path, more: str = "", **files: str) -> Path:
    """A model folder with a part; ``__`` in a name stands for its point."""
    (path / "model.toml").write_text(
        '[model]\ntitle = "t"\nscale = "1:8"\ninclude = ["rows.csv"]\nshop = "shelf.csv"\n'
        '[part.axle]\nmaterial = "steel"\nsize.journal = { full = "2 in", rule = "turned" }\n'
        + more,
        encoding="utf-8",
    )
    for name, text in {
        "rows__csv": "part,size,full\n",
        "shelf__csv": "family,size\n",
        **files,
    }.items():
        (path / name.replace("__", ".")).write_text(text, encoding="utf-8")
    return path


# ---------------------------------------------------------------------------------- numbers

TEXTS: dict[str, tuple[Callable[[str], object], type[Exception]]] = {
    "length": (lambda t: parse_length(f"{t} mm"), LengthError),
    "bare length": (lambda t: parse_length(t, "mm"), LengthError),
    "angle": (lambda t: parse_angle(f"{t} deg"), LengthError),
    "scale": (lambda t: parse_scale(f"1:{t}"), ScaleError),
    "two gauges": (lambda t: parse_scale(f"{t} mm on 4 ft 8 1/2 in gauge"), ScaleError),
    "quantity": (lambda t: scale_quantity(f"{t} lb", Fraction(1, 8)), QuantityError),
    "expression": (lambda t: parse_expression(f"a.x * {t}"), ExpressionError),
    "quoted length": (lambda t: parse_comparison(f"a.x <= '{t} mm'"), ExpressionError),
    "limits": (lambda t: parse_limits(f"+{t} mm / 0 mm"), GrammarError),
    "window": (lambda t: parse_window(f"{t} mm to {t} mm"), GrammarError),
    "taper": (taper, GrammarError),
    "table cell": (catalogue.parse_number, ValueError),
}


@pytest.mark.parametrize("text", NO_NUMBERS, ids=lambda text: text[:20])
@pytest.mark.parametrize("name", TEXTS)
def test_what_is_no_number(name: str, text: str) -> None:
    """Refused in an instant, in a short message, by every reader of numbers; never guessed at."""
    reader, error = TEXTS[name]
    if name == "expression" and text in ("1979-05-27", "0/0", "1/0", "-1/0", "--1"):
        node = parse_expression(f"a.x * {text}")  # a difference, a quotient, a sign of its own
        if text.endswith("/0"):
            with pytest.raises(EvaluationError):
                evaluate(node, {"a.x": Fraction(1)}, Fraction(1))
        return
    with bounded(), pytest.raises(error) as caught:
        reader(text)
    assert type(caught.value) is error
    assert len(str(caught.value)) < 700


@pytest.mark.parametrize("text", NO_NUMBERS, ids=lambda text: text[:20])
def test_what_is_no_number_in_files(tmp_path: Path, text: str) -> None:
    """The same in a model, its tables and logs, a print's points, and a person's own table."""
    model(
        tmp_path, f"[part.bush]\nsize.bore = \"{text} mm\"\nsize.length = {{ full = '{text}' }}\n"
    )
    with bounded(), pytest.raises(InputError) as caught:
        scaler.load(tmp_path)
    assert {problem.place.line for problem in caught.value.problems if problem.place} == {10, 11}
    model(
        tmp_path,
        rows__csv=f"part,size,full\naxle,length,{text} mm\n",
        shelf__csv=f"family,size\nround bar,{text} mm\n",
        readings__csv="time,action,size,copy,value,instrument,note\n"
        f"t,reading,axle.journal,,{text} mm,,\n",
        choices__csv=f"time,action,size,value,method,row,note\nt,choose,axle.journal,{text} mm,,,\n",
    )
    with bounded(), pytest.raises(InputError) as caught:
        scaler.load(tmp_path)
    assert {p.place.file for p in caught.value.problems if p.place} == {"rows.csv", "shelf.csv"}
    model(tmp_path)
    notes = scaler.load(tmp_path).notes
    assert {note.place.file for note in notes if note.place} == {"readings.csv", "choices.csv"}
    points = tmp_path / "points.csv"
    points.write_text(f"name,x1,y1,x2,y2,known\na.x,0,0,{text},0,1 ft\n", encoding="utf-8")
    with bounded(), pytest.raises(InputError):
        read_segments(points, "mm")
    table = tmp_path / "table.csv"
    table.write_text(f"part,size,full\naxle,journal,{text}\n", encoding="utf-8")
    with bounded(), pytest.raises(InputError):
        read_sizes(table, unit="mm")


@pytest.mark.parametrize(
    "value", ["nan", "inf", "-inf", "1979-05-27", "07:32:00", "1e999999", "1e400"]
)
def test_bare_values_of_a_model_file(tmp_path: Path, value: str) -> None:
    """TOML's own nan, inf, dates and floats of any size, where a size, a weight or a count stands."""
    for line in (f"size.a = {value}", f"size.a = {{ full = {value} }}", f"count = {value}",
                 f'size.a = {{ full = "1 in", weight = {value} }}'):  # fmt: skip
        model(tmp_path, f"[part.bush]\n{line}\n")
        with bounded(), pytest.raises(InputError) as caught:
            scaler.load(tmp_path)
        assert [p.place.line for p in caught.value.problems if p.place] == [10]


def test_expression_bombs(tmp_path: Path) -> None:
    """Towers of powers, nests and doublings are refused, or end in a reason, within a second."""
    doubled = "a.x"
    while len(doubled) < 1500:
        doubled = f"({doubled} * {doubled})"
    for text in (
        "9^9^9^9", "(((a.x^64)^64)^64)^64", "2^1e9", "a.x^99999999999", "(" * 5000 + "a.x" + ")" * 5000,
        "-" * 5000 + "a.x", "sqrt(" * 300 + "a.x" + ")" * 300, doubled, "a.x" + " + a.x" * 5000,
        "1" + "0" * 1900, "max(" + "a.x, " * 700 + "a.x)", "a.x / 0", "a.x / (1 - 1)", "0^-1",
    ):  # fmt: skip
        keep = text.replace("a.x", "axle.journal")
        model(tmp_path, f'[condition.c]\nkeep = "{keep} >= \'1 mm\'"\nwhy = "w"\n')
        with bounded():
            try:
                found = scaler.check(scaler.load(tmp_path))
            except InputError as error:
                assert all(problem.place for problem in error.problems)
                assert len(str(error)) < 3000
            else:
                assert len(found.as_dict()["conditions"]) == 1


@pytest.mark.parametrize("kind", KINDS)
def test_look_ups_of_odd_text(kind: str) -> None:
    """An answer or a reason for every odd text, quickly, with no error of Python's in it."""
    for text in (
        *NO_NUMBERS,
        "",
        " ",
        "\0",
        "М3",
        "Ⅿ3",
        "M\u200b3",
        "2\u00a0BA",
        "\u202eBA 2",
        "x" * 10**6,
    ):
        with bounded():
            answer = look_up(kind, text, Options(scale="1:8"))
        assert "Error" not in str(answer.get("error", ""))
        assert len(json.dumps(answer)) < 20_000


# ------------------------------------------------------------------------------- workbooks

SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">{}<sheetData>'
    '<row r="1"><c r="A1" t="str"><v>part</v></c><c r="B1" t="str"><v>size</v></c>'
    '<c r="C1" t="str"><v>full</v></c></row>{}</sheetData>{}</worksheet>'
)


def workbook(
    path: Path, dimension: str = "", rows: str = "", after: str = "", head: str = ""
) -> Path:
    """A workbook whose sheet holds the headings and what is given."""
    openpyxl = pytest.importorskip("openpyxl")
    plain = io.BytesIO()
    openpyxl.Workbook().save(plain)
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            data = old.read(name)
            if name == "xl/worksheets/sheet1.xml":
                data = (head + SHEET.format(dimension, rows, after)).encode()
            new.writestr(name, data)
    return path


ROW = '<row r="2"><c r="A2" t="str"><v>axle</v></c><c r="B2" t="str"><v>d</v></c><c r="C2"><v>3</v></c></row>'


def test_a_sheet_that_says_the_wrong_size_of_itself(tmp_path: Path) -> None:
    """What the file says of its size is not believed, in either direction."""
    for dimension in ('<dimension ref="A1"/>', '<dimension ref="A1:XFD1048576"/>', ""):
        with bounded(5):
            found = read_sizes(workbook(tmp_path / "b.xlsx", dimension, ROW), unit="mm")
        assert [row.cells["full"] for row in found.rows] == ["3 mm"]


@pytest.mark.parametrize(
    ("rows", "after", "said"),
    [
        (ROW + '<row r="1048576"><c r="A1048576"><v>1</v></c></row>', "", "more rows or columns"),
        (ROW.replace("C2", "XFD2"), "", "more rows or columns"),
        (ROW, '<mergeCells><mergeCell ref="A1:XFD1048576"/></mergeCells>', "more rows or columns"),
        (ROW, "<mergeCells>" + '<mergeCell ref="D3:SF50000"/>' * 30 + "</mergeCells>", "merged blocks"),
        (ROW + '<row r="3">' + "<c/>" * 600 + "</row>", "", "more rows or columns"),
        ("<row>" + "<c/>" * 400 + "</row>", "<row/>" * 3_100_000, "more elements"),
    ],
    ids=["last row", "last column", "one merged block", "many merged blocks", "wide row", "elements"],
)  # fmt: skip
def test_workbooks_that_would_fill_the_memory(
    tmp_path: Path, rows: str, after: str, said: str
) -> None:
    """A small file that stands for billions of cells is refused before any of them is made."""
    path = workbook(tmp_path / "b.xlsx", "", rows, after)
    assert path.stat().st_size < 200_000
    with bounded(8, 200), pytest.raises(InputError, match=said) as caught:
        read_sizes(path, unit="mm")
    assert all(problem.advice for problem in caught.value.problems)


def test_a_link_over_the_whole_sheet_is_not_followed(tmp_path: Path) -> None:
    """A reference of a link or a filter costs nothing, however far it reaches."""
    after = (
        '<autoFilter ref="A1:XFD1048576"/><hyperlinks><hyperlink ref="A1:XFD1048576"/></hyperlinks>'
    )
    with bounded(5, 200):
        found = read_sizes(workbook(tmp_path / "b.xlsx", "", ROW, after), unit="mm")
    assert len(found.rows) == 1


def test_declared_entities_are_refused(tmp_path: Path) -> None:
    """Entities that double each other, and ones that name another file."""
    lines = "".join(f'<!ENTITY a{n} "{f"&a{n - 1};" * 10}">' for n in range(1, 10))
    for head in (f'<!DOCTYPE x [<!ENTITY a0 "ha">{lines}]>',
                 '<!DOCTYPE x [<!ENTITY a9 SYSTEM "file:///etc/passwd">]>'):  # fmt: skip
        rows = ROW.replace("axle", "&a9;")
        path = workbook(tmp_path / "b.xlsx", "", rows, "", head)
        with (
            bounded(5, 100),
            pytest.raises(InputError, match="cannot be read as a workbook") as caught,
        ):
            read_sizes(path, unit="mm")
        assert "root" not in str(caught.value)


def test_packed_emptiness(tmp_path: Path) -> None:
    """Parts that unpack to hundreds of megabytes, alone or together, and packings that are broken."""
    for parts in (1, 40):
        path = tmp_path / "b.xlsx"
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
            for number in range(parts):
                packed.writestr(f"xl/p{number}.xml", b" " * ((400 << 20) // parts))
        assert path.stat().st_size < 1 << 20
        with bounded(5, 150), pytest.raises(InputError, match="unpacks to 400 MiB"):
            read_sizes(path, unit="mm")
    data = bytearray(workbook(tmp_path / "b.xlsx", "", ROW).read_bytes())
    for at in range(0, len(data), 97):  # one wrong byte anywhere
        (tmp_path / "c.xlsx").write_bytes(data[:at] + bytes([data[at] ^ 0x55]) + data[at + 1 :])
        try:
            read_sizes(tmp_path / "c.xlsx", unit="mm")
        except InputError as error:
            assert error.problems[0].headline


# ----------------------------------------------------------------------- tables of very many rows


def test_tables_of_very_many_rows(tmp_path: Path) -> None:
    """Tables beyond the bounds are refused by each reader, and not read to their end."""
    rows = "a,b,1 mm\n" * 1_000_000  # beyond every bound, as a billion would be
    model(tmp_path, rows__csv="part,size,full\n" + rows)
    with bounded(5), pytest.raises(InputError, match="too large"):
        scaler.load(tmp_path)
    (tmp_path / "t.csv").write_text("part,size,full\n" + rows)
    with bounded(10), pytest.raises(InputError, match="more rows or columns"):
        read_sizes(tmp_path / "t.csv", unit="mm")
    (tmp_path / "t.csv").write_text("part,size,full\n" + ("1," * 499 + "1\n") * 9000)
    with bounded(10), pytest.raises(InputError, match="more rows or columns"):
        read_sizes(tmp_path / "t.csv", unit="mm")
    with bounded(10), pytest.raises(InputError):
        read_segments(tmp_path / "t.csv", "mm")


def own(folder: Path, package: object, table: bytes = b"") -> None:
    """A person's own tables, as they stand on the disk."""
    folder.mkdir(parents=True, exist_ok=True)
    text = package if isinstance(package, str) else json.dumps(package)
    (folder / "datapackage.json").write_text(text)
    (folder / "bars.csv").write_bytes(table)
    catalogue.forget()


FIELDS = [{"name": "designation"}, {"name": "diameter_mm", "type": "number"}, {"name": "source"}]
GOOD = {"name": "my_bars", "path": "bars.csv", "schema": {"fields": FIELDS}}


@pytest.fixture
def tables(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An empty folder for a person's own tables."""
    monkeypatch.setenv("SCALER_TABLES", str(tmp_path / "own"))
    catalogue.forget()
    yield tmp_path / "own"
    monkeypatch.undo()
    catalogue.forget()


@pytest.mark.parametrize(
    "package",
    [
        "[" * 100_000, "{", "5", '"x"', "[]", "{}", '{"resources": 5}', '{"resources": [5]}',
        '{"resources": [{"name": ' + "9" * 5000 + "}]}", "\x1b", '{"resources": null}',
        *({"resources": [{**GOOD, key: value}]} for key, value in (
            ("name", []), ("name", 5), ("path", 7), ("path", "../x.csv"), ("path", "/etc/passwd"),
            ("path", "a\0b"), ("title", 5), ("serves", 5), ("serves", [5]), ("serves", "x"),
            ("schema", []), ("schema", {"fields": {}}), ("schema", {"fields": [5]}),
            ("schema", {"fields": [{"name": []}]}), ("schema", {"fields": []}),
            ("schema", {"fields": [*FIELDS, {"name": "a", "constraints": []}]}),
            ("schema", {"fields": [*FIELDS, {"name": "a", "type": "decimal"}]}),
            ("schema", {"fields": [*FIELDS, {"name": "a", "exact": 5}]}),
            ("schema", {"fields": [*FIELDS, FIELDS[1]]}),
        )),
    ],
    ids=lambda package: str(package)[:60].replace("\x1b", "esc"),
)  # fmt: skip
def test_descriptions_that_describe_nothing(tables: Path, package: object) -> None:
    """Every wrong sort of thing in a description is refused by file, with what to do."""
    own(tables, package)
    with bounded(), pytest.raises(InputError) as caught:
        catalogue.names()
    (problem,) = caught.value.problems
    assert problem.place is not None and problem.place.file.endswith("datapackage.json")
    assert problem.advice and len(render_full(problem)) < 1500


@pytest.mark.parametrize(
    "table",
    [
        b"", b"\xff", b"a\0b", b"designation,diameter_mm,source\nx,1e999999,builder\n",
        b"designation,diameter_mm,source\nx,nan,builder\n", b"designation,diameter_mm,source\nx,1/0,builder\n",
        b"designation,diameter_mm,source\nx," + b"9" * 200_000 + b",builder\n",
        b'designation,diameter_mm,source\nx,"5,builder\n', b"designation,diameter_mm,source\nx,\x1b[2J,builder\n",
        b"designation,diameter_mm,source\n" + b"x,5,builder\n" * 60_000,
        b"designation,diameter_mm,source\n" + b"x,5,builder\n" * 800_000,
        b"designation,diameter_mm,source\n" + b"x" * 300_000 + b",5,builder\n",
    ],
    ids=["empty", "no UTF-8", "NUL", "power of ten", "nan", "nought", "long number", "open quote",
         "escape code", "many rows", "large", "long cell"],
)  # fmt: skip
def test_own_tables_that_cannot_be_used(tables: Path, table: bytes) -> None:
    """Each fault of a table names file and line, in time and memory."""
    own(tables, {"resources": [GOOD]}, table)
    with bounded(3), pytest.raises(InputError) as caught:
        catalogue.table("my_bars")
    (problem,) = caught.value.problems
    assert problem.place is not None and problem.place.file.endswith("bars.csv")
    assert problem.headline and problem.advice and len(render_full(problem)) < 1500


# -------------------------------------------------------------- text that means to run elsewhere

RUNS = ("=HYPERLINK(1)", "+1+cmd", "-2+3", "@SUM(1)", "＝1+1", "＋1", "－1+1", "＠x")


def test_formulas_in_every_table(tmp_path: Path) -> None:
    """No cell of any CSV or workbook that a command writes begins a formula."""
    openpyxl = pytest.importorskip("openpyxl")
    for number, text in enumerate(RUNS):
        folder = tmp_path / str(number)
        folder.mkdir()
        model(
            folder,
            f'title = "{text}"\nsize.length = {{ full = "9 in", rule = "turned", title = "{text}", '
            f'note = "{text}" }}\n[part.bush]\nmaterial = "{text} bronze"\ntitle = "{text}"\n'
            f'size.bore = {{ full = "2 1/64 in", rule = "bored", note = "{text}" }}\n'
            f'[pair.p]\ninner = "axle.journal"\nouter = "bush.bore"\nfit = "close running"\n'
            f'why = "{text}"\ntitle = "{text}"\n[condition.c]\nkeep = "axle.length >= axle.journal"\n'
            f'why = "{text}"\n',
            readings__csv="time,action,size,copy,value,instrument,note\n"
            f'"{text}",reading,axle.length,,28.5 mm,"{text}","{text}"\n',
        )
        seen = 0
        for words in (
            ["reduce", "--format", "csv"], ["check", "--format", "csv"], ["materials", "--format", "csv"],
            ["explain", "axle.length", "--format", "csv"], ["fits", "--format", "csv"],
            ["next", "--format", "csv"], ["substitute", "--format", "csv"],
        ):  # fmt: skip
            result = CliRunner().invoke(cli, [words[0], str(folder), *words[1:]])
            assert result.exit_code in (0, 1), result.output
            for row in csv.reader(io.StringIO(result.stdout)):
                for cell in row:
                    seen += text in cell
                    if cell[:1] in "=+-@＝＋－＠" and cell:
                        float(cell)  # a number with its sign is one
        assert seen > 2
        book = folder / "order.xlsx"
        assert CliRunner().invoke(
            cli, ["materials", str(folder), "--xlsx", str(book)]
        ).exit_code in (0, 1)
        for sheet in openpyxl.load_workbook(book):
            assert not [c for row in sheet.iter_rows() for c in row if c.data_type == "f"]


ODD = ("\\u001b[2J", "\\u0007", "\\u009b31m", "\\u202e", "\\u2066", "\\u2028", "\\u007f", "\\u0000")


@pytest.mark.parametrize("odd", ODD)
def test_characters_that_do_something(tmp_path: Path, odd: str) -> None:
    """Escape codes, turned writing and odd line ends are refused wherever a model holds text."""
    for line in (
        f'[part.bush]\ntitle = "a{odd}"\n', f'[part.bush]\nmaterial = "{odd}b"\n',
        f'[part.bush]\nsize.bore = {{ full = "1 in", note = "{odd}" }}\n', f'[overrule]\na = "x{odd}"\n',
        f'[condition.c]\nkeep = "axle.journal >= 0"\nwhy = "{odd}"\n', f'[drawing.s]\nissue = "{odd}"\n',
        f'[part.bush]\nsize.bore = {{ full = "1 in", rule = ["turned{odd}"] }}\n',
    ):  # fmt: skip
        model(tmp_path, line)
        with pytest.raises(InputError) as caught:
            scaler.load(tmp_path)
        shown = "".join(render_full(problem) for problem in caught.value.problems)
        assert shown.replace("\n", "").isprintable()
        assert "control character" in shown or "cannot be read" in shown or "no method" in shown


def test_a_terminal_gets_no_orders(tmp_path: Path) -> None:
    """What a table brings along is shown as it is written, not done, where a terminal shows it."""
    pty = pytest.importorskip("pty")
    import os

    table = tmp_path / "t.csv"
    table.write_text("part,size,full,note\naxle,d,1 in,\x1b[2J\x07x\n")
    main, side = pty.openpty()
    script = "from scaler.cli.main import main; main()"
    done = subprocess.Popen(
        [sys.executable, "-c", script, "sizes-in", str(table)], stdout=side, stderr=side
    )
    os.close(side)
    shown = b""
    with pytest.raises(OSError, match="5"):  # how a terminal that was let go of ends
        while piece := os.read(main, 4096):
            shown += piece
    assert done.wait(timeout=60) == 0
    os.close(main)
    assert b"\x1b" not in shown and b"\x07" not in shown
    assert b"\\x1b[2J\\x07x" in shown


@pytest.mark.parametrize(
    ("words", "option"),
    [
        (["substitute", "m", "--slack"], "--slack"), (["substitute", "m", "--seconds"], "--seconds"),
        (["scale-off", "p.csv", "--reading"], "--reading"), (["scale-off", "p.csv", "--turn"], ""),
    ],
)  # fmt: skip
@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1e400", "much", "1e300"])
def test_options_that_are_no_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], option: str, value: str
) -> None:
    """nan and inf are no numbers for an option either; a message, and status 2."""
    monkeypatch.chdir(tmp_path)
    Path("m").mkdir()
    model(Path("m"))
    Path("p.csv").write_text("name,x1,y1,x2,y2,known\na.x,0,0,100,0,1 ft\nb.y,0,0,0,50,6 in\n")
    result = CliRunner().invoke(cli, [*words, value])
    assert result.exit_code == 2
    assert isinstance(result.exception, SystemExit)
    assert "Error" in result.stderr and option in result.stderr


@pytest.mark.skipif(sys.platform != "linux", reason="names of any bytes are Linux's own")
def test_a_folder_whose_name_is_no_text(tmp_path: Path) -> None:
    """A folder named by bytes that are no UTF-8, which gives an untitled model its name."""
    folder = tmp_path / "m\udcff"
    folder.mkdir()
    text = (model(folder) / "model.toml").read_text().replace('title = "t"\n', "")
    (folder / "model.toml").write_text(text)
    for words in (["check", str(folder)], ["report", str(folder), "--out", str(folder / "r\udcfe.html")],
                  ["cards", str(folder), "--out", str(tmp_path / "pages")],
                  ["materials", str(folder), "--xlsx", str(tmp_path / "o.xlsx")],
                  ["start", str(tmp_path / "n\udcff")]):  # fmt: skip
        done = subprocess.run(
            [sys.executable, "-c", "from scaler.cli.main import main; main()", *words],
            capture_output=True, timeout=120, check=False, cwd=tmp_path,
        )  # fmt: skip
        assert done.returncode in (0, 1), done.stderr
        assert b"Traceback" not in done.stderr
    assert "\\udcff" in (folder / "r\udcfe.html").read_text()
