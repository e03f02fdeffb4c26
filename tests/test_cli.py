"""The commands: what they print, in each format, and how they end."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from scaler.cli.main import COMMANDS, cli

EXAMPLES = Path(__file__).parent.parent / "scaler" / "examples"
DEMO = str(EXAMPLES / "pattern_d")
STARTER = str(EXAMPLES / "starter")


def run(*args: str) -> Result:
    """One call of the command line; an exception that is not an exit fails the test."""
    result = CliRunner().invoke(cli, list(args))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def answer(*args: str) -> Any:
    """The JSON answer of one call."""
    return json.loads(run(*args, "--format", "json").stdout)


def test_help_lists_every_command() -> None:
    """--help names all commands and the exit statuses."""
    result = run("--help")
    assert result.exit_code == 0
    assert all(name in result.stdout for name in COMMANDS)
    assert "Exit status" in result.stdout


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_has_help(name: str) -> None:
    """Each command's own help can be asked for."""
    result = run(name, "--help")
    assert result.exit_code == 0
    assert "Usage" in result.stdout


def test_an_unknown_command_names_the_nearest() -> None:
    """A misspelt command ends with status 2 and a hint."""
    result = run("chekc", DEMO)
    assert result.exit_code == 2
    assert "did you mean 'check'?" in result.stderr


def test_start_writes_a_model_that_runs(tmp_path: Path) -> None:
    """The starter model can be reduced and checked, and nothing is ever overwritten."""
    folder = tmp_path / "mine"
    assert run("start", str(folder)).exit_code == 0
    assert sorted(path.name for path in folder.iterdir()) == ["model.toml", "shelf.csv"]
    assert run("reduce", str(folder)).exit_code == 0
    assert run("check", str(folder)).exit_code in (0, 1)
    again = run("start", str(folder))
    assert again.exit_code == 2
    assert "nothing was written" in again.stderr


def test_start_in_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    """A file where the folder should be is a message, not a traceback."""
    blocked = tmp_path / "file"
    blocked.write_text("here")
    result = run("start", str(blocked / "inside"))
    assert result.exit_code == 2
    assert "cannot be written" in result.stderr


def test_demo_shows_the_three_stages(tmp_path: Path) -> None:
    """16 fail at exact scale, 29 with each size rounded alone, none as chosen (of 41 statements)."""
    result = run("demo", str(tmp_path / "d"))
    assert result.exit_code == 0
    assert "99 sizes drawn full size" in result.stdout
    assert "41 pairs and conditions at exact scale, basic sizes: 25 holds" in result.stdout
    assert "rounded alone, basic sizes: 12 holds, 7 tight, 10 loose, 12 fails" in result.stdout
    assert (tmp_path / "d" / "model.toml").is_file()
    assert run("check", str(tmp_path / "d")).exit_code == 0
    stages = answer("demo")["stages"]
    failing = {
        name: sum(
            row["verdict"] in ("tight", "loose", "fails")
            for row in stage["pairs"] + stage["conditions"]
        )
        for name, stage in stages.items()
    }
    assert failing == {"exact": 16, "rounded": 29, "chosen": 0}


def test_reduce_in_every_format() -> None:
    """Table, Markdown, CSV and JSON hold the same sizes."""
    data = answer("reduce", DEMO)
    table = run("reduce", DEMO).stdout
    markdown = run("reduce", DEMO, "--format", "markdown").stdout
    rows = list(csv.DictReader(io.StringIO(run("reduce", DEMO, "--format", "csv").stdout)))
    ids = [size["id"] for size in data["sizes"]]
    assert len(ids) == len(rows) == 100
    assert [row["id"] for row in rows] == ids
    assert all(name in table and name in markdown for name in ids)
    for size, row in zip(data["sizes"], rows, strict=True):
        assert (row["exact_mm_rational"] or None) == size["exact_mm_rational"]


@pytest.mark.parametrize("stage", ["exact", "rounded", "chosen"])
def test_reduce_and_check_say_the_same(stage: str) -> None:
    """A script reads sizes, pairs, conditions and conflicts of either."""
    reduced, checked = (
        json.loads(run(name, DEMO, "--as", stage, "--format", "json").stdout)
        for name in ("reduce", "check")
    )
    assert not set(reduced) - set(checked)
    for key in ("sizes", "pairs", "conditions", "conflicts"):
        assert reduced[key] == checked[key]


def test_every_key_of_an_answer_is_listed(tmp_path: Path) -> None:
    """In DEVELOPERS.md, for check and substitute, with conflicts, ways out and a copy as made."""
    listed = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    listed = listed[listed.index("## JSON") : listed.index("## Adding a table")]
    folder = str(tmp_path / "mill")
    run("start", folder)
    run("measure", folder, "roller.length", "57.32 mm", "--copy", "no_1")
    asked = [
        ("check", folder, "--ways-out"),
        ("substitute", folder, "--alternatives", "1"),
        ("lookup", "drill", "No. 300"),
    ]
    missing = set()

    def look(value: object) -> None:
        if isinstance(value, dict):
            for key, inner in value.items():
                if key not in ("copies", "counts", "handy"):
                    look(inner)
                if not key.endswith("_rational") and f"`{key}`" not in listed:
                    missing.add(key)
        elif isinstance(value, list):
            for inner in value:
                look(inner)

    for command in asked:
        look(json.loads(run(*command, "--format", "json").stdout))
    assert missing == set()


def test_an_unknown_command_is_answered() -> None:
    """With the nearest one, or with where they are listed."""
    assert "did you mean 'reduce'?" in run("reduc").stderr
    far = run("allocate")
    assert (far.exit_code, "scaler --help lists them" in far.stderr) == (2, True)


def test_json_lengths_have_exact_twins() -> None:
    """Each length is a number in mm with a twin that holds the exact value as text."""
    size = next(s for s in answer("reduce", DEMO)["sizes"] if s["id"] == "axle.journal")
    assert size["full_mm_rational"] == "889/8"  # 4 3/8 in × 25.4
    assert Fraction(size["exact_mm_rational"]) == Fraction(889, 8) * Fraction(5, 36)
    assert size["exact_mm"] == float(Fraction(size["exact_mm_rational"]))
    assert size["limits_mm"] == [15.81, 15.83]
    assert set(size) >= {
        "id", "kind", "full_mm", "exact_mm", "chosen_mm", "departure_mm", "rule", "method",
        "row", "limits_mm", "state", "made_mm",
    }  # fmt: skip


def test_check_contract_and_exit_status() -> None:
    """The keys of the contract; 0 where nothing fails, 1 where something does."""
    data = answer("check", DEMO)
    assert set(data) >= {"model", "scale", "sizes", "pairs", "conditions", "conflicts", "cautions"}
    assert set(data["pairs"][0]) >= {
        "id", "inner", "outer", "basis", "wanted_mm", "found_mm", "basic_mm", "verdict", "cause",
    }  # fmt: skip
    assert set(data["conditions"][0]) >= {
        "id", "text", "basis", "wanted", "found", "basic", "verdict", "cause",
    }  # fmt: skip
    assert run("check", DEMO).exit_code == 0
    assert run("check", DEMO, "--as", "rounded").exit_code == 1
    conflict = answer("check", DEMO, "--as", "rounded")["conflicts"][0]
    assert set(conflict) >= {"members", "text", "ways_out"}
    assert set(conflict["members"][0]) == {"text", "file", "line"}


def test_strict_counts_doubtful_as_failing(tmp_path: Path) -> None:
    """A doubtful pair ends with 0, and with 1 where --strict asks for it."""
    (tmp_path / "model.toml").write_text(
        '[model]\nscale = "1:10"\n[part.a]\nsize.pin = { full = "100 mm", kind = "external", '
        'rule = "turned", limits = "±0.1 mm" }\nsize.bore = { full = "101 mm", rule = "bored", '
        'limits = "±0.1 mm" }\n[pair.p]\ninner = "a.pin"\nouter = "a.bore"\n'
        'fit = "0.05 to 0.15 mm"\nbasis = "both limits"\n',
        encoding="utf-8",
    )
    assert run("check", str(tmp_path)).exit_code == 0
    assert run("check", str(tmp_path), "--strict").exit_code == 1


def test_side_by_side_has_all_stages() -> None:
    """--side-by-side shows each statement three ways, and as JSON each stage in full."""
    text = run("check", DEMO, "--side-by-side").stdout
    assert text.count("pairs and conditions") == 3
    assert set(answer("check", DEMO, "--side-by-side")["stages"]) == {"exact", "rounded", "chosen"}
    rows = list(
        csv.DictReader(io.StringIO(run("check", DEMO, "--side-by-side", "--format", "csv").stdout))
    )
    assert len(rows) == 3 * 41


def test_explain_gives_the_way_and_what_hangs_on_it() -> None:
    """The chain from the drawing to the choice, with places, and the pairs behind it."""
    text = run("explain", DEMO, "axle.journal").stdout
    for word in ("4 3/8", "5/36", "15.4340", "ground bar", "choices.csv, line", "journal"):
        assert word in text
    data = answer("explain", DEMO, "axle.journal")
    assert [row["id"] for row in data["hangs_on_it"]] == ["journal_in_bush"]
    assert run("explain", DEMO, "axle.journal", "--format", "markdown").stdout.startswith("```")
    assert "what" in run("explain", DEMO, "axle.journal", "--format", "csv").stdout


def test_explain_an_unknown_size_names_the_nearest() -> None:
    """A misspelt size is refused with the nearest known one."""
    result = run("explain", DEMO, "axle.jounral")
    assert result.exit_code == 2
    assert "did you mean 'axle.journal'" in result.stderr


def test_refused_parts_have_no_figure_in_any_output() -> None:
    """A boiler's sizes are null in JSON, '-' in tables, and never explained with a figure."""
    for size in answer("reduce", DEMO)["sizes"]:
        if size["id"].startswith(("boiler.", "dome_cover.")):
            assert size["refused"]
            figures = [v for k, v in size.items() if "mm" in k or k in ("drawn", "note", "why")]
            assert all(v is None or v == [None, None] for v in figures)
    text = run("explain", DEMO, "boiler.plate_thickness").stdout
    assert "no figure" in text
    assert "7/16" not in text
    assert "11.1" not in text


@pytest.mark.parametrize("units", ["mm", "in", "both"])
def test_units(units: str) -> None:
    """Tables in mm, in inches with the nearest 64th, or in both."""
    text = run("reduce", DEMO, "--units", units).stdout
    assert ("64ths" in text) == (units == "in")
    assert (" in)" in text) == (units == "both") or units != "both"


def test_out_writes_the_file_whole(tmp_path: Path) -> None:
    """--out writes what the screen would show; a folder that is not there is a message."""
    target = tmp_path / "sizes.csv"
    assert run("reduce", DEMO, "--format", "csv", "--out", str(target)).exit_code == 0
    assert target.read_text() == run("reduce", DEMO, "--format", "csv").stdout
    assert [path.name for path in tmp_path.iterdir()] == ["sizes.csv"]
    result = run("reduce", DEMO, "--out", str(tmp_path / "no" / "file"))
    assert result.exit_code == 2
    assert "cannot be written" in result.stderr


def test_problems_are_shown_with_their_line_and_status_2(tmp_path: Path) -> None:
    """A model with a mistake ends with 2, the line and the cure; as JSON too; never a traceback."""
    (tmp_path / "model.toml").write_text(
        '[model]\nscale = "1:8"\n[part.a]\nsize.bore = { full = "1 3/8 inn" }\n', encoding="utf-8"
    )
    result = run("check", str(tmp_path))
    assert result.exit_code == 2
    assert "model.toml, line 4" in result.stderr
    assert "inn" in result.stderr
    assert "1 problem; nothing was worked out" in result.stderr
    problems = json.loads(run("check", str(tmp_path), "--format", "json").stdout)["problems"]
    assert problems[0]["line"] == 4
    assert problems[0]["file"] == "model.toml"


def test_problems_one_a_line_for_editors(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SCALER_PROBLEMS=line gives file:line:column: text."""
    monkeypatch.setenv("SCALER_PROBLEMS", "line")
    (tmp_path / "model.toml").write_text('[model]\nscale = "1:0"\n', encoding="utf-8")
    result = run("check", str(tmp_path))
    assert result.stderr.startswith("model.toml:2:")


def test_no_such_model() -> None:
    """A folder that is not there is named."""
    result = run("check", "/nowhere/at/all")
    assert result.exit_code == 2
    assert "no such folder or file" in result.stderr


def test_cells_that_a_spreadsheet_would_run_are_tamed() -> None:
    """Text that begins with = + - @ gets an apostrophe in CSV; figures stay figures."""
    from scaler.report import csv_table

    text = csv_table(["a", "b"], [["=1+1", "-0.5"], ["@x", "+0.1"]])
    assert text == "a,b\n'=1+1,-0.5\n'@x,+0.1\n"


def test_quiet_shows_nothing_and_keeps_the_status() -> None:
    """--quiet leaves only the exit status."""
    result = run("check", DEMO, "--as", "rounded", "--quiet")
    assert (result.exit_code, result.stdout) == (1, "")


def test_watch_checks_again_after_a_save(tmp_path: Path) -> None:
    """One call at once, another when a file has changed, also after an input that cannot be used."""
    from scaler.cli.watching import watch_model

    run("start", str(tmp_path / "m"))
    first = tmp_path / "m" / "model.toml"
    good = first.read_text(encoding="utf-8")
    calls: list[int] = []

    def once() -> int:
        calls.append(len(calls))
        if len(calls) == 1:
            first.write_text(good + "\nbroken", encoding="utf-8")
            return 0
        if len(calls) == 2:
            first.write_text(good, encoding="utf-8")
            raise SystemExit(2)
        return 1

    watch_model(tmp_path / "m", once, rounds=3, interval=0.01)
    assert calls == [0, 1, 2]


def test_colour_only_where_it_is_wanted(monkeypatch: pytest.MonkeyPatch) -> None:
    """Verdicts are coloured on a terminal, and never with NO_COLOR or into a pipe."""
    import sys

    from scaler.cli import common

    assert not common.wants_colour()
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert common.wants_colour()
    monkeypatch.setenv("NO_COLOR", "1")
    assert not common.wants_colour()
    assert "\x1b[31mtight" in common.coloured("tight    a_pair  0.1")
    assert "\x1b" not in common.coloured("how tight it is")


@pytest.mark.parametrize(
    ("words", "offered"),
    [("scaler ch", {"check", "chain"}), ("scaler check --qu", {"--quiet"})],
)
def test_completion_in_the_shell(words: str, offered: set[str], tmp_path: Path) -> None:
    """What the README's line for the shell asks the command for."""
    answer = subprocess.run(
        [sys.executable, "-c", "from scaler.cli.main import cli; cli(prog_name='scaler')"],
        env={
            **os.environ,
            "_SCALER_COMPLETE": "bash_complete",
            "COMP_WORDS": words,
            "COMP_CWORD": str(len(words.split()) - 1),
        },
        cwd=tmp_path,  # away from the sources
        capture_output=True,
        text=True,
        check=False,
    )
    assert {line.partition(",")[2] for line in answer.stdout.splitlines()} == offered
