"""The command on fits: tables, JSON with exact twins, options, errors and exit status."""

from __future__ import annotations

import csv
import io
import json
from fractions import Fraction as F
from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import scaler
from scaler.cli.fit_commands import fits as command
from scaler.fitting.fit_report import Wanted, fits, read_celsius, read_pairs
from scaler.problems import InputError

EXAMPLE = str(files("scaler.examples") / "pattern_d")


def run(*args: str) -> Result:
    """The command on the shipped example."""
    return CliRunner().invoke(command, [EXAMPLE, *args])


# ---------------------------------------------------------------------------------------- tables


def test_all_pairs_are_listed_with_the_side_to_make_first() -> None:
    """One line a pair, nothing tight or loose, exit status 0."""
    result = run()
    assert result.exit_code == 0
    model = scaler.load(Path(EXAMPLE))
    for name in model.pairs:
        assert name in result.output
    assert "cut last" in result.output and "Press fits" in result.output
    assert "Hot" not in result.output.splitlines()
    assert "no approval" in result.output


def test_one_pair_shows_both_published_sets() -> None:
    """Advice in words, ISO on both bases and the trade's grades."""
    result = run("journal_in_bush")
    assert result.exit_code == 0
    assert "Published fits near journal_in_bush" in result.output
    assert "ISO 286 preferred fits, shaft basis" in result.output
    assert "model engineer's handbook" in result.output and "workshop limit table" in result.output
    assert "wheel_on_axle" not in result.output


def test_hot_shows_cold_beside_it_and_decides_the_exit_status() -> None:
    """A bronze piston at 150 °C in an iron cylinder is tight: exit status 1."""
    result = run("piston_in_bore", "--hot", "piston=150", "--hot", "cylinder=120")
    assert result.exit_code == 1
    assert "tight" in result.output and "0.092 to 0.108" in result.output
    assert "heat and fumes" in result.output
    assert run("piston_in_bore", "--celsius", "20").exit_code == 0


def test_strict_counts_what_is_doubtful() -> None:
    """The journal's window at 120 °C only just overlaps: doubtful."""
    args = ("journal_in_bush", "--celsius", "120")
    assert run(*args).exit_code == 0
    assert run(*args, "--strict").exit_code == 1


def test_markdown_and_inches() -> None:
    """The same as a page, in the other unit."""
    result = run("wheel_on_axle", "--format", "markdown", "--units", "in")
    assert result.exit_code == 0
    assert "| verdict" in result.output and "## Press fits" in result.output


# ------------------------------------------------------------------------------------------ JSON


def test_json_has_exact_twins_and_everything_of_a_pair() -> None:
    """Numbers in mm, each with its rational; hot and press as nested objects."""
    result = run("wheel_on_axle", "--celsius", "80", "--format", "json")
    assert result.exit_code == 0
    answer = json.loads(result.output)
    assert answer["scale"]["ratio_rational"] == "5/36"
    (pair,) = answer["pairs"]
    assert pair["basis"] == "hole" and pair["last"] == "axle.wheel_seat" and pair["agrees"] is True
    for key in ("wanted_mm", "found_mm"):
        assert pair[key] == [float(F(text)) for text in pair[f"{key}_rational"]]
    press = pair["press"]
    assert press["pressure_n_mm2"] == [float(F(t)) for t in press["pressure_n_mm2_rational"]]
    assert press["axial_n"][0] < press["axial_n"][1]
    assert press["friction_source"]
    hot = pair["hot"]
    alphas = F("11.4"), F("11.7")  # µm/(m K): cast iron and mild steel of the materials table
    shift = (F(15) * alphas[0] - F("15.01") * alphas[1]) * 60 / 1_000_000
    assert F(hot["shift_mm_rational"]) == shift
    headlines = {caution["headline"] for caution in answer["cautions"]}
    assert {"safety part", "no approval", "a guide only"} <= headlines


def test_csv_is_one_flat_row_a_pair(tmp_path: Path) -> None:
    """Written to a file, with a heading and as many rows as pairs."""
    out = tmp_path / "fits.csv"
    result = run("--format", "csv", "--celsius", "60", "--out", str(out))
    assert result.exit_code in (0, 1) and result.output == ""
    rows = list(csv.DictReader(io.StringIO(out.read_text(encoding="utf-8"))))
    assert len(rows) == len(scaler.load(Path(EXAMPLE)).pairs)
    wheel = next(row for row in rows if row["id"] == "wheel_on_axle")
    assert wheel["press_pressure_n_mm2_min"] and wheel["hot_mm_min"] and wheel["nearest_iso"]


# --------------------------------------------------------------------------------------- options


def test_press_options_go_before_what_is_drawn() -> None:
    """Hub, bore and length with their units; a bare number takes the workshop's."""
    result = run(
        "wheel_on_axle", "--hub", "1 in", "--bore", "3", "--length", "12 mm", "--shrunk",
        "--format", "json",
    )  # fmt: skip
    press = json.loads(result.output)["pairs"][0]["press"]
    assert (press["hub_outside_mm"], press["shaft_bore_mm"], press["length_mm"]) == (
        25.4,
        3.0,
        12.0,
    )
    assert press["friction"] == [0.1, 0.16]  # DIN 7190-1, steel and cast iron, put together hot


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["wheel_on_axel"], "wheel_on_axle"),
        (["--hot", "piston"], "part=value"),
        (["--hot", "pistn=90"], "piston"),
        (["--celsius", "warm"], "no temperature"),
        (["--celsius", "1e3"], "no temperature"),
        (["--celsius", "-300"], "lies outside"),
        (["wheel_on_axle", "--celsius", "9", "--material", "wheel=cheese"], "cheese"),
        (["wheel_on_axle", "--hub", "3 furlongs"], "furlongs"),
        (["wheel_on_axle", "--hub", "10 mm"], "leaves no metal"),
    ],
)
def test_what_cannot_be_used_ends_with_status_2(args: list[str], words: str) -> None:
    """A message that says what was read, and nothing worked out."""
    result = run(*args)
    assert result.exit_code == 2
    assert words in result.output
    assert "Traceback" not in result.output


def test_an_unknown_material_stops_one_pair_and_notes_it_among_all(tmp_path: Path) -> None:
    """Asked for by name it is an error; in the list of all it is a note on that pair."""
    (tmp_path / "model.toml").write_text(
        """
[model]
title = "Chaff cutter (invented)"
scale = "1:2"
[drawing.sheet]
unit = "mm"
[part.bush]
material = "moonstone"
size.bore = { full = "20 mm", rule = "reamed" }
[part.pin]
material = "silver steel"
size.diameter = { full = "19.9 mm", kind = "external", rule = "turned step 0.01 mm" }
[pair.pin_in_bush]
inner = "pin.diameter"
outer = "bush.bore"
fit = "clearance 0.02 to 0.08 mm"
""",
        encoding="utf-8",
    )
    runner = CliRunner()
    one = runner.invoke(command, [str(tmp_path), "pin_in_bush", "--celsius", "90"])
    assert one.exit_code == 2 and "moonstone" in one.output and "model.toml, line" in one.output
    every = runner.invoke(command, [str(tmp_path), "--celsius", "90"])
    assert every.exit_code == 0
    assert "'moonstone' is no material of the catalogue" in every.output
    named = runner.invoke(
        command, [str(tmp_path), "pin_in_bush", "--celsius", "90", "--material", "bush=bronze"]
    )
    assert named.exit_code == 0 and "bearing bronze" in named.output


# ------------------------------------------------------------------------------------ the library


def test_from_python_it_is_the_same() -> None:
    """The command and the function give one answer; a frame has a row a pair."""
    model = scaler.load(Path(EXAMPLE))
    report = fits(model, "wheel_on_axle", Wanted(celsius=F(80)))
    answer = json.loads(run("wheel_on_axle", "--celsius", "80", "--format", "json").output)
    assert json.loads(json.dumps(report.as_dict())) == answer
    assert list(report.frame()["id"]) == ["wheel_on_axle"]
    assert report.status() == 0


@pytest.mark.parametrize(
    ("text", "value"),
    [("90", F(90)), ("-18 °C", F(-18)), ("−18", F(-18)), ("21.5C", F("21.5")), ("0", F(0))],
)
def test_temperatures_as_they_are_written(text: str, value: F) -> None:
    """Exact, with or without the degree sign."""
    assert read_celsius(text) == value


@pytest.mark.parametrize("text", ["", "90 F", "1/0", "nan", "inf", "9" * 60, "1_0", "--5"])
def test_what_is_no_temperature_is_refused(text: str) -> None:
    """Never a guess."""
    with pytest.raises(InputError):
        read_celsius(text)


def test_all_wrong_options_are_told_in_one_go() -> None:
    """Two of three are wrong: both are named."""
    with pytest.raises(InputError) as caught:
        read_pairs(["axle=90", "wheel", "=4"], "--hot")
    assert len(caught.value.problems) == 2
