"""The commands at the bench: measure and next, and what the other commands make of readings."""

from __future__ import annotations

import csv
import io
import json
import os
import random
import shutil
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result

from scaler.cli.bench_commands import measure, next_
from scaler.cli.model_commands import check, explain, reduce
from scaler.reading.loading import load

DEMO = Path(__file__).parent.parent / "scaler" / "examples" / "pattern_d"
COMMANDS: dict[str, click.Command] = {
    "measure": measure,
    "next": next_,
    "check": check,
    "explain": explain,
    "reduce": reduce,
}


@pytest.fixture
def engine(tmp_path: Path) -> Path:
    """A copy of the shipped example that may be written to."""
    folder = tmp_path / "engine"
    shutil.copytree(DEMO, folder)
    return folder


def run(name: str, *args: object) -> Result:
    """One call of a command; an exception that is not an exit fails the test."""
    result = CliRunner().invoke(COMMANDS[name], [str(item) for item in args])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def answer(name: str, *args: object) -> Any:
    """The JSON answer of one call."""
    return json.loads(run(name, *args, "--format", "json").stdout)


def log(folder: Path) -> list[dict[str, str]]:
    """The rows of the log of readings."""
    with (folder / "readings.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_a_reading_is_recorded_and_told(engine: Path) -> None:
    """The value as given, UTC time, instrument and note; exit status 1 as something is tight."""
    result = run(
        "measure", engine, "horn_cheek.thickness", "4.02", "--with", "micrometer", "--note", "both"
    )
    assert result.exit_code == 1
    assert "axlebox_in_horns: holds -> tight" in result.stdout
    assert "1. mill axlebox.width to 28.96 mm" in result.stdout
    (row,) = log(engine)
    assert row["time"].endswith("Z") and len(row["time"]) == 20
    assert (row["action"], row["size"], row["copy"]) == ("reading", "horn_cheek.thickness", "")
    assert (row["value"], row["instrument"], row["note"]) == ("4.02 mm", "micrometer", "both")


def test_a_correction_is_a_new_line(engine: Path) -> None:
    """--undo takes the last reading back by a line of its own; the one before stands again."""
    run("measure", engine, "piston.diameter", "35.21", "--copy", "left")
    run("measure", engine, "piston.diameter", "35.20", "--copy", "left")
    before = (engine / "readings.csv").read_bytes()
    result = run("measure", engine, "piston.diameter", "--copy", "left", "--undo")
    assert result.exit_code == 0
    assert "is taken back; the one before stands" in result.stdout
    assert "35.200 mm -> 35.210 mm as made" in result.stdout
    assert (engine / "readings.csv").read_bytes().startswith(before)
    assert [row["action"] for row in log(engine)] == ["reading", "reading", "undo"]
    result = run("measure", engine, "piston.diameter@left", "--undo")
    assert "reading taken back; 35.200 mm again" in result.stdout
    result = run("measure", engine, "piston.diameter@left", "--undo")
    assert result.exit_code == 2
    assert "no reading of piston.diameter left stands" in result.stderr


def test_a_reading_refused_leaves_no_trace(engine: Path) -> None:
    """Exit status 2, the message, and nothing in the folder."""
    before = sorted(path.name for path in engine.iterdir())
    for args in (
        ("axle.jurnal", "15.8"),
        ("axle.journal", "0.623"),
        ("piston.diameter", "35.2", "--copy", "lft"),
        ("axle.journal", "15.8", "--with", "eye"),
    ):
        result = run("measure", engine, *args)
        assert result.exit_code == 2
        assert "nothing was worked out" in result.stderr
    assert sorted(path.name for path in engine.iterdir()) == before
    assert run("measure", engine, "axle.journal").exit_code == 2
    assert run("measure", engine, "axle.journal", "15.8", "--undo").exit_code == 2


def test_trying_records_nothing(engine: Path) -> None:
    """--try shows what a reading would change."""
    result = run("measure", engine, "wheelset.back_to_back", "118.9", "--try")
    assert "set wheelset.back_to_back again: 119.1 mm" in result.stdout
    assert "Nothing was recorded." in result.stdout
    assert not (engine / "readings.csv").exists()


def test_the_answer_for_scripts(engine: Path) -> None:
    """Stable keys, lengths in mm with their exact twins."""
    found = answer("measure", engine, "cylinder.bore", "1.3945 in", "--copy", "left")
    assert found["size"] == "cylinder.bore@left"
    assert found["after_mm_rational"] == "354203/10000"
    assert found["reading"]["file"] == "readings.csv" and found["reading"]["line"] == 2
    assert found["recorded"] is True
    assert {item["id"] for item in found["verdicts"]} >= {"piston_in_bore@left"}
    must = {item["size"]: item["must_become_mm"] for item in found["must_become"]}
    assert must["piston.diameter@left"] == pytest.approx(35.32)
    way = found["ways_out"][0]
    assert {"text", "changes", "gives_up", "cost", "work_lost", "promised"} <= set(way)
    assert {"size", "to_mm", "to_mm_rational", "from_mm"} <= set(way["changes"][0])
    rows = list(
        csv.DictReader(
            io.StringIO(
                run("measure", engine, "stretcher.length", "104.02", "--format", "csv").stdout
            )
        )
    )
    assert {row["id"] for row in rows} == {"axle_side_play"}


def test_markdown_and_other_units(engine: Path) -> None:
    """In inches where asked; as a block of text in Markdown."""
    result = run(
        "measure", engine, "axle.journal", "15.82", "--units", "in", "--format", "markdown"
    )
    assert result.stdout.startswith("```\n") and "0.6228 in" in result.stdout


def test_a_torn_line_is_mended_and_told(engine: Path) -> None:
    """What a crash left is taken out of the log, kept beside it and reported."""
    run("measure", engine, "axle.journal", "15.82")
    with (engine / "readings.csv").open("a", encoding="utf-8") as file:
        file.write("2026-11-02T19:30:00Z,reading,axle.jour")
    result = run("measure", engine, "stretcher.length", "104.02")
    assert result.exit_code == 0
    assert "cut short" in result.stderr and "readings.csv.torn" in result.stderr
    assert [row["size"] for row in log(engine)] == ["axle.journal", "stretcher.length"]
    assert "axle.jour" in (engine / "readings.csv.torn").read_text(encoding="utf-8")


def test_a_log_edited_by_hand_with_a_broken_line(engine: Path) -> None:
    """The line is reported with file and line, the rest is kept, and measuring goes on."""
    run("measure", engine, "axle.journal", "15.82")
    run("measure", engine, "stretcher.length", "104.02")
    path = engine / "readings.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("15.82 mm", "15,82"), encoding="utf-8")
    result = run("check", engine)
    assert "readings.csv, line 2" in result.stdout + result.stderr
    assert run("measure", engine, "wheel.bore@no_1", "15.00").exit_code == 0
    sizes = {item["id"]: item for item in answer("reduce", engine)["sizes"]}
    assert sizes["stretcher.length"]["made_mm"] == 104.02


def test_the_next_part(engine: Path) -> None:
    """Without a size: the part to make next, each size with its figure and the reason."""
    result = run("next", engine)
    assert result.exit_code == 0
    assert "next: frame, Frame plate" in result.stdout
    assert (
        "37.040 to 37.080" in result.stdout and "axlebox.width is cut to suit it" in result.stdout
    )
    listed = run("next", engine, "--all")
    assert listed.stdout.count("\n") > 95
    found = answer("next", engine, "axlebox")
    assert {step["part"] for step in found["next"]} == {"axlebox"}
    assert len(found["order"]) == 95
    refused = run("next", engine, "boiler")
    assert refused.exit_code == 2 and "no figure is given" in refused.stderr


def test_the_cuts_that_are_left(engine: Path) -> None:
    """From a present reading to the target, about the centre line, cut by cut."""
    run("measure", engine, "horn_cheek.thickness", "4.02")
    result = run("next", engine, "axlebox.width", "--now", "30 mm", "--about-centre")
    assert "1.0400 to come off equally about the centre line, 0.5200 deep on each face" in (
        result.stdout
    )
    found = answer(
        "next",
        engine,
        "axlebox.width",
        "--now",
        "30 mm",
        "--about-centre",
        "--passes",
        "0.3, 0.1 mm",
    )
    passes = found["passes"]["passes"]
    assert [item["cut_mm"] for item in passes] == [0.21, 0.21, 0.1] * 2
    assert passes[-1]["reading_mm"] == 28.96
    bar = answer("next", engine, "axle.journal", "--now", "5/8 in", "--dial", "diameter")
    assert bar["passes"]["present_mm"] == 15.875  # 5/8 in. exactly
    assert bar["passes"]["faces"] == "on the diameter"


@pytest.mark.parametrize(
    ("args", "word"),
    [
        (("axle.journal", "--now", "15.7"), "metal only comes off"),
        (("axle.journal", "--now", "15.83"), "takes no less than"),
        (("axle.journal", "--now", "16", "--passes", "0.5, 0.001 mm"), "thinner than the tool"),
        (("axle.jurnal", "--now", "16"), "did you mean 'axle.journal'"),
        (("axle.journal", "--now", "sixteen"), "reading of axle.journal"),
        (("--now", "16"), "--now needs the SIZE"),
    ],
)
def test_cuts_that_cannot_be_taken(engine: Path, args: tuple[str, ...], word: str) -> None:
    """Said in words, exit status 2."""
    if args[0] == "--now":
        args = ("--now", "16")
    result = run("next", engine, *args)
    assert result.exit_code == 2
    assert word in result.stderr


def test_explain_shows_the_readings(engine: Path) -> None:
    """A reading, and those of copies, stand in the chain of reasons with their lines."""
    run("measure", engine, "piston.diameter", "35.21", "--copy", "left", "--with", "micrometer")
    run("measure", engine, "axle.journal", "15.82", "--with", "vernier", "--note", "cold")
    result = run("explain", engine, "axle.journal")
    assert "15.82 mm ± 0.02 mm, read with vernier" in result.stdout
    assert "cold" in result.stdout and "readings.csv, line 3" in result.stdout
    result = run("explain", engine, "piston.diameter")
    assert "reading, left" in result.stdout and "readings.csv, line 2" in result.stdout
    plain = run("explain", engine, "axle.journal", "--as-drawn")
    assert "read with vernier" not in plain.stdout


def test_check_as_drawn_leaves_readings_out(engine: Path) -> None:
    """--as-drawn gives what it gave before anything was measured, also for copies."""
    before = answer("check", engine)
    run("measure", engine, "horn_cheek.thickness", "4.02", "--with", "rule")
    run("measure", engine, "cylinder.bore", "35.42", "--copy", "left")
    after = answer("check", engine)
    assert after["status"] == 1 and before["status"] == 0
    drawn = answer("check", engine, "--as-drawn")
    for key in ("pairs", "conditions", "counts", "status"):
        assert drawn[key] == before[key]


def test_measuring_and_next_start_fast() -> None:
    """Neither command imports pandas, numpy, sympy, pint or networkx."""
    code = (
        "import sys, io, contextlib\n"
        "from scaler.cli.bench_commands import measure, next_\n"
        "with contextlib.redirect_stdout(io.StringIO()):\n"
        "    for command, args in ((measure, [FOLDER, 'axle.journal', '15.82', '--try']),\n"
        "                          (next_, [FOLDER, 'axle.journal', '--now', '16 mm'])):\n"
        "        try: command.main(args, prog_name='x')\n"
        "        except SystemExit: pass\n"
        "heavy = {'numpy', 'pandas', 'sympy', 'pint', 'networkx', 'scipy', 'matplotlib'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    ).replace("FOLDER", repr(str(DEMO)))
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=120
    )
    assert done.stdout.strip().splitlines()[-1] == "[]"


# --------------------------------------------------------------- terminals, crashes, full disks

COMMAND = "import sys; from scaler.cli.main import main; sys.exit(main())"


def begin(*args: object) -> subprocess.Popen[bytes]:
    """The command in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-c", COMMAND, *map(str, args)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
def test_the_command_killed_at_any_moment(engine: Path) -> None:
    """Whenever it is killed: a reading that was told is there, whole; none is half there; and the
    next one is taken as if nothing had been."""
    chance = random.Random(20261102)
    started = time.monotonic()
    whole = begin("measure", engine, "axle.wheel_seat_length", "18.5")
    whole.communicate(timeout=120)
    took = time.monotonic() - started
    assert whole.returncode == 0
    told = {"18.5 mm"}
    for number in range(14):
        value = f"18.{500 - number - 1} mm"
        process = begin("measure", engine, "axle.wheel_seat_length", value, "--sure")
        time.sleep(took * chance.uniform(0.3, 1.1))
        process.kill()
        out, _ = process.communicate(timeout=120)
        if b"as made" in out:
            told.add(value)
        model = load(engine)
        assert not [n for n in model.notes if n.place and n.place.file == "readings.csv"]
    last = begin("measure", engine, "axle.wheel_seat_length", "18.48")
    out, _ = last.communicate(timeout=120)
    assert last.returncode == 0 and b"18.480" in out
    found = [row["value"] for row in log(engine)]
    assert told <= set(found) and found[-1] == "18.48 mm"
    assert len(found) == len(set(found))


def test_two_terminals_at_once(engine: Path) -> None:
    """Readings from two terminals at the same moment are both kept."""
    values = [f"18.{n} mm" for n in (50, 49, 48)]
    for value in values:
        pair = [
            begin("measure", engine, "axle.wheel_seat_length", value),
            begin("measure", engine, "hornstay.thickness", value.replace("18.", "3.9"), "--sure"),
        ]
        for process in pair:
            process.communicate(timeout=120)
            assert process.returncode in (0, 1)
    found = [(row["size"], row["value"]) for row in log(engine)]
    for value in values:
        assert ("axle.wheel_seat_length", value) in found
        assert ("hornstay.thickness", value.replace("18.", "3.9")) in found
    assert len(found) == 6


def test_a_full_disk_is_told_and_nothing_is_recorded(
    engine: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The device takes half a line and no more: exit status 2, the log as it was."""
    from scaler.as_made import append_log

    run("measure", engine, "axle.wheel_seat_length", "18.5")
    before = (engine / "readings.csv").read_bytes()
    real = os.write
    monkeypatch.setattr(append_log.os, "write", lambda handle, data: real(handle, data[:20]))
    result = run("measure", engine, "axle.wheel_seat_length", "18.49")
    monkeypatch.undo()
    assert result.exit_code == 2 and "nothing was recorded" in result.output
    assert (engine / "readings.csv").read_bytes() == before


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("290", "10 times that"),
        ("2900", "100 times that"),
        ("2.9 mm", "a 10th of that"),
        ("0.29 mm", "a 100th of that"),
    ],
)
def test_a_slipped_point_is_asked_about(engine: Path, value: str, said: str) -> None:
    """The slips of the pencil; nothing is recorded but with --sure (common practice).
    The axlebox is to be 29 mm wide."""
    refused = run("measure", engine, "axlebox.width", value)
    assert refused.exit_code == 2
    assert f"{said}: has the point slipped?" in refused.output
    assert not (engine / "readings.csv").exists()
    run("measure", engine, "axlebox.width", value, "--sure")
    assert [row["size"] for row in log(engine)] == ["axlebox.width"]


def test_a_conflict_names_the_reading_and_its_line(engine: Path) -> None:
    """What takes part in a conflict is the figure that counts: the reading, where one stands."""
    run("measure", engine, "horn_cheek.thickness", "4.02", "--with", "micrometer")
    found = run("check", engine).stdout
    assert "horn_cheek.thickness is 4.02, as made (readings.csv, line 2)" in found
    assert "horn_cheek.thickness is 4 (" not in found
