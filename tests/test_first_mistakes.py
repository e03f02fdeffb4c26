"""Mistakes of someone's first evening with the tool: each is one message, with the cure.

The model is the starter. Threads' outside diameters: M16 is 16 mm (ISO 261), 2 BA 4.7 mm (BS 93),
1/4 x 40 ME a quarter of an inch (the name says it).
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner
from openpyxl import Workbook

import scaler
from scaler.cli.main import cli
from scaler.examples import write_out
from scaler.lookup import look_up
from scaler.problems import Problem, nearest

F = Fraction
Change = Callable[[str], str]


@pytest.fixture
def mill(tmp_path: Path) -> Path:
    """The starter model in a folder of its own."""
    folder = tmp_path / "mill"
    write_out("starter", folder)
    return folder


def change(folder: Path, *pairs: tuple[str, str]) -> None:
    """Puts new words for old ones in the model file."""
    file = folder / "model.toml"
    text = file.read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    file.write_text(text, encoding="utf-8")


def problems(path: Path) -> tuple[Problem, ...]:
    """What is said of a model that cannot be used."""
    with pytest.raises(scaler.InputError) as caught:
        scaler.check(scaler.load(path))
    return caught.value.problems


@pytest.mark.parametrize(
    ("drawn", "full", "read"),
    [
        ("M16", F(16), "M16 = 16 mm"),
        ("2 BA", F("4.7"), "2 BA = 4.7 mm"),
        ("1/4 x 40 ME", F("6.35"), "1/4 x 40 ME = 6.35 mm"),
        ("5/8", F("15.875"), "5/8 in"),
        ("16 mm", F(16), "16 mm"),
    ],
)
def test_a_thread_may_be_drawn_by_its_name(mill: Path, drawn: str, full: F, read: str) -> None:
    """Its outside diameter is the full size; a length is read as before."""
    change(mill, ('full = "5/8"', f'full = "{drawn}"'))
    size = scaler.load(mill).sizes["crank.pin_thread"]
    assert (size.full, size.drawn_as) == (full, read)


def test_the_name_of_a_thread_is_no_length_of_anything_else(mill: Path) -> None:
    """A bore of M16 is refused, also where a thread is drawn so."""
    change(
        mill, ('full = "5/8"', 'full = "M16"'), ('bore     = { full = "2"', 'bore = { full = "M16"')
    )
    (only,) = problems(mill)
    assert only.headline.startswith("full size of roller.bore")


def test_a_thread_that_is_not_known_is_answered_with_the_nearest(mill: Path) -> None:
    """M17 has no coarse pitch in ISO 261; M16 is its neighbour."""
    change(mill, ('full = "5/8"', 'full = "M17"'))
    (only,) = problems(mill)
    assert only.place is not None and only.place.line == 64
    assert "'M16'" in only.advice and "the name of a thread" in only.expected


def test_a_sheet_without_its_unit_is_said_once(mill: Path) -> None:
    """Thirteen bare numbers are one mistake, in the sheet's heading."""
    change(mill, ('unit = "in"', "# no unit"))
    (only,) = problems(mill)
    assert only.place is not None and only.place.line == 11
    assert "states no unit" in only.headline and "12 more" in only.headline
    assert 'unit = "in"' in only.advice


def test_a_part_that_only_a_table_names_is_said_once(mill: Path) -> None:
    """Two rows and a pair that name it are one mistake."""
    (mill / "more.csv").write_text(
        "part,size,full\npin,diameter,2 in\npin,length,3 in\n", encoding="utf-8"
    )
    change(mill, ('shop = "shelf.csv"', 'shop = "shelf.csv"\ninclude = "more.csv"'),
           ('inner = "shaft.crank_end"', 'inner = "pin.diameter"'))  # fmt: skip
    (only,) = problems(mill)
    assert str(only.place) == "more.csv, line 2" and "[part.pin]" in only.advice


def test_a_name_with_capitals_is_said_once(mill: Path) -> None:
    """What names the part in small letters is not blamed as well."""
    change(mill, ("[part.crank]", "[part.Crank]"))
    (only,) = problems(mill)
    assert only.advice == "write crank, and put the free wording into title"


def test_a_condition_that_cannot_be_read_takes_no_option_along(mill: Path) -> None:
    """The option that names it is not blamed as well."""
    change(mill, ("'0.2 mm' <=", "0.2 mm <="))
    (only,) = problems(mill)
    assert "'3 mm'" in only.advice


def test_a_table_is_no_model(mill: Path) -> None:
    """The shop list in place of the folder."""
    (only,) = problems(mill / "shelf.csv")
    assert "is no model" in only.headline and "sizes-in" in only.advice


def test_a_workbook_is_no_text(mill: Path) -> None:
    """Saved as a workbook, whatever it is called."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["family", "size"])
    book.save(mill / "shelf.csv")
    (only,) = problems(mill)
    assert only.read == "a workbook or another packed file" and "CSV UTF-8" in only.advice


def test_the_shop_may_call_a_family_as_rules_do(mill: Path) -> None:
    """Silver steel is ground bar, in a rule and on the shelf; steel spelt wrong is answered so."""
    (mill / "shelf.csv").write_text("family,size\nsilver steel,6 mm\n", encoding="utf-8")
    (row,) = scaler.load(mill).shop
    assert (row.family, row.size) == ("ground bar", 6)
    (mill / "shelf.csv").write_text("family,size\nsilver stel,6 mm\n", encoding="utf-8")
    (only,) = problems(mill)
    assert only.advice == "did you mean 'silver steel'?"


def test_a_part_where_a_size_is_asked_for(mill: Path) -> None:
    """Its sizes are named; the same words for every command."""
    for command in (["explain", "bush"], ["measure", "bush", "9 mm"]):
        result = CliRunner().invoke(cli, [command[0], str(mill), *command[1:]])
        assert result.exit_code == 2
        assert "'bush' is a part" in result.output
        assert "bush.outside, bush.bore, bush.length" in result.output


@pytest.mark.parametrize(("text", "code"), [("6,36", 1), ("6.36", 1), ("1,250", 2)])
def test_a_bare_reading_may_have_a_decimal_comma(mill: Path, text: str, code: int) -> None:
    """As on a drawing; what may be a thousand or a decimal is asked about."""
    result = CliRunner().invoke(cli, ["measure", str(mill), "shaft.journal", text, "--try"])
    assert result.exit_code == code
    assert ("6.350 mm -> 6.360 mm" in result.output) == (code == 1)
    assert ("thousands or decimals" in result.output) == (code == 2)


def test_a_forbidden_series_is_answered_with_another(mill: Path) -> None:
    """Turning is no way to get a thread."""
    change(mill, ('rule = "metric thread"', 'rule = "ME thread", forbid = "inch"'))
    (only,) = problems(mill)
    assert "metric thread" in only.advice and "turned" not in only.advice


def test_the_words_within_a_name_count_first() -> None:
    """A spring wire is a wire, whatever else is spelt like it."""
    assert nearest("spring wire", ["wire", "spring pin", "O-ring bore"]) == ("wire",)
    assert nearest("M3 thread", ["ME thread", "thread", "BA thread"]) == ("thread",)
    assert "did you mean 'round'" in look_up("stock", "rond bar 6 mm")["error"]


def test_methods_can_be_listed() -> None:
    """All of them by name, those of a word, and what a column of another's row is called."""
    run = CliRunner()
    every = run.invoke(cli, ["lookup", "methods"])
    assert every.exit_code == 0 and "ground bar" in every.output
    assert "tapping hole of part.size" in every.output
    threads = run.invoke(cli, ["lookup", "methods", "thread"])
    assert "BA thread" in threads.output and "ground bar" not in threads.output
    assert run.invoke(cli, ["lookup", "methods", "zzz"]).exit_code == 2


def test_the_end_of_a_sweep_is_named(mill: Path) -> None:
    """Which of the two scales could not be read."""
    result = CliRunner().invoke(cli, ["sweep", str(mill), "--from", "1:8", "--to", "12"])
    assert result.exit_code == 2 and "--to: " in result.output


def test_a_spreadsheet_may_name_threads_too(tmp_path: Path) -> None:
    """Headings of one's own, semicolons, decimal commas; the thread is read by its name."""
    (tmp_path / "own.csv").write_text(
        'Part;Feature;Drawing;How\nRatchet;Bore;"1 1/4""";reamed\nRatchet;Thread;3/8 BSW;BSW thread\n'
        "Ratchet;Thread 2;7/16;BSW thread\nRatchet;Thread 3;3/8 BSX;\n",
        encoding="utf-8",
    )
    maps = ["part=Part", "size=Feature", "full=Drawing", "rule=How"]
    given = [word for pair in maps for word in ("--map", pair)]
    result = CliRunner().invoke(
        cli, ["sizes-in", str(tmp_path / "own.csv"), *given, "--unit", "in"]
    )
    assert result.exit_code == 2  # 3/8 BSX names none
    assert "line 5: cell C5" in result.output and "'3/8 BSW'" in result.output
    text = (tmp_path / "own.csv").read_text("utf-8").replace("Ratchet;Thread 3;3/8 BSX;\n", "")
    (tmp_path / "own.csv").write_text(text, encoding="utf-8")
    result = CliRunner().invoke(
        cli, ["sizes-in", str(tmp_path / "own.csv"), *given, "--unit", "in"]
    )
    assert result.exit_code == 0
    assert (
        "ratchet,thread,3/8 BSW," in result.output and "ratchet,thread_2,7/16 in," in result.output
    )


def test_a_thread_by_name_comes_back_from_a_reduced_table(mill: Path) -> None:
    """On a sheet of an earlier model 2 BA is not the full size: the name comes back, not 37.6 mm.

    The same of a gauge: 16 SWG is 0.064 in (BS 3737), and 0.512 in full size on that sheet.
    """
    change(mill, ('full = "1", kind', 'full = "16 SWG", kind'), ('full = "5/8"', 'full = "2 BA"'),
           ('unit = "in" ', 'unit = "in"\nscale = "1:8" '))  # fmt: skip
    size = scaler.load(mill).sizes["crank.pin_thread"]
    assert size.full == F("4.7") * 8
    run = CliRunner()
    out = mill / "sizes.csv"
    run.invoke(cli, ["reduce", str(mill), "--format", "csv", "--out", str(out)])
    result = run.invoke(cli, ["sizes-in", str(out)])
    assert "side_plate,thickness,16 SWG,external," in result.output
    (row,) = (line for line in result.output.splitlines() if line.startswith("crank,pin_thread"))
    assert row.startswith("crank,pin_thread,2 BA,thread,")


@pytest.mark.parametrize(
    ("units", "words"),
    [("mm", "lengths in mm\n"), ("in", "lengths in inches\n"), ("both", "inches in brackets\n")],
)
@pytest.mark.parametrize("command", ["reduce", "check", "substitute", "fits"])
def test_every_table_says_its_unit(mill: Path, command: str, units: str, words: str) -> None:
    """A sheet of figures on the bench tells what they are in."""
    result = CliRunner().invoke(cli, [command, str(mill), "--units", units])
    assert result.exit_code in (0, 1)
    assert result.output.split("\n", 2)[1].endswith(words.strip())
    assert result.output.split("\n", 2)[1].startswith("scale 1 1/2 in : 1 ft (1 : 8); ")


def test_what_hangs_together_with_a_conflict_is_told_to_wait(tmp_path: Path) -> None:
    """A collar that no reamer fits stops the choice for the shaft, and so for its bush."""
    (tmp_path / "model.toml").write_text(
        '[model]\nscale = "1:10"\n[part.shaft]\nmaterial = "silver steel"\n'
        'size.journal = { full = "60 mm", rule = ["ground bar", "turned step 0.1 mm"] }\n'
        '[part.bush]\nsize.bore = { full = "60 mm", rule = ["reamed", "bored step 0.01 mm"] }\n'
        '[part.collar]\nsize.bore = { full = "60 mm", rule = "reamed" }\n'
        '[pair.shaft_in_bush]\ninner = "shaft.journal"\nouter = "bush.bore"\n'
        'fit = "close run"\nbasis = "last cut bush.bore"\n'
        '[pair.collar_on_shaft]\ninner = "shaft.journal"\nouter = "collar.bore"\n'
        'fit = "clearance 0.006 to 0.008 mm"\n',
        encoding="utf-8",
    )
    bush, collar = scaler.check(scaler.load(tmp_path), ways_out=2).conflicts
    assert not bush.ways_out and "mend collar_on_shaft first" in bush.tried
    assert collar.ways_out and "first" not in collar.tried


def test_an_equality_that_a_step_cannot_meet_says_what_to_write(tmp_path: Path) -> None:
    """38 × 0.84667 mm is 32.173; on a step of 0.1 mm it is 32.2 and never exact: half a step will do."""
    text = (
        '[model]\nscale = "1:12"\n[part.frame]\n'
        'size.centres = { kind = "position", rule = "coordinate drilled step 0.1 mm" }\n'
        '[part.a]\nsize.teeth = { full = "15", kind = "teeth" }\n'
        'size.module = { full = "10 mm", kind = "length", rule = "gear module" }\n'
        '[part.b]\nsize.teeth = { full = "61", kind = "teeth" }\n[condition.mesh]\n'
        'keep = "frame.centres == (a.teeth + b.teeth) * a.module / 2"\n'
    )
    (tmp_path / "model.toml").write_text(text, encoding="utf-8")
    (conflict,) = scaler.check(scaler.load(tmp_path)).conflicts
    assert "cut to a step of 0.1 mm" in conflict.text
    within = 'within = "±0.05 mm"'
    assert within in conflict.text
    (tmp_path / "model.toml").write_text(f"{text}{within}\n", encoding="utf-8")
    assert not scaler.check(scaler.load(tmp_path)).conflicts


@pytest.mark.parametrize(
    ("method", "said"),
    [("reamd", "did you mean 'reamed'?"), ("knurled", "give the method of the rule")],
)
def test_a_choice_by_a_method_that_the_rule_does_not_name(
    mill: Path, method: str, said: str
) -> None:
    """It still counts, by the row that gives the size, and the line is named."""
    (mill / "choices.csv").write_text(
        "time,action,size,value,method,row,note\n"
        f",choose,bush.bore,6.35 mm,{method},,\n,choose,shaft.journal,6.35 mm,ground bar,,\n",
        encoding="utf-8",
    )
    model = scaler.load(mill)
    (problem,) = model.notes
    assert f"does not name '{method}'" in problem.headline and said in problem.advice
    assert problem.place.line == 2 and problem.read == method
    assert model.choices["bush.bore"].value == F("6.35")
