"""Sentences in the unit that the workshop works in: conflicts, ways out, workability, what to do.

The models are made up; an inch is 25.4 mm by definition (ISO 31-1, from memory).
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest
from click.testing import CliRunner

from scaler.as_made.measuring import Workbench
from scaler.as_made.text import change_text
from scaler.as_made.whole_model import WholeModel
from scaler.checking.conflicts import check
from scaler.cli.main import cli
from scaler.measures.lengths import parse_length
from scaler.measures.spoken import said, said_short, window_said
from scaler.reading.loading import load
from scaler.records import Model
from scaler.substitution.substitute import substitute
from scaler.substitution.text import conflicts_text

TEXT = """
[model]
title = "Windlass (invented)"
scale = "1:8"
work = "UNIT"
[drawing.sheet]
unit = "in"
[part.pin]
service = "none"
size.diameter = { full = "2.004", kind = "external", rule = "turned step 0.004 in", limits = "±0.0001 in", reach = "0.01 in" }
[part.drum]
service = "none"
size.bore = { full = "2.012", kind = "internal", rule = "bored step 0.004 in", limits = "±0.0001 in", reach = "0.01 in" }
size.outside = { full = "2.1", kind = "external", rule = "turned step 0.004 in" }
[pair.running]
inner = "pin.diameter"
outer = "drum.bore"
fit = "clearance 0.0011 in to 0.0019234 in"
basis = "both limits"
"""
MM, INCH = re.compile(r"\d mm\b"), re.compile(r"\d in\b")
BOTH = re.compile(r"([0-9.]+) mm \(([0-9.]+) in\)")


def model_of(folder: Path, unit: str, more: str = "") -> Model:
    """The windlass of a workshop that works in that unit."""
    folder.mkdir(exist_ok=True)
    (folder / "model.toml").write_text(TEXT.replace("UNIT", unit) + more, encoding="utf-8")
    return load(folder)


def texts(model: Model) -> list[str]:
    """All sentences on what fails: of a check, its ways out, of a substitution, of a reading."""
    result = check(model, ways_out=3)
    found = [member.text for c in result.conflicts for member in c.members]
    found += [conflict.text for conflict in result.conflicts]
    found += [text for c in result.conflicts for way in c.ways_out for text in way.changes]
    found += [finding.text + finding.note for finding in result.workability]
    best = substitute(model, prices=False)
    assert best.status == "impossible"
    for conflict in best.conflicts:
        found += [conflict.text, *(text for way in conflict.ways_out for text in way.changes)]
        found += [text for way in conflict.ways_out for text in way.write]
    assert conflicts_text(best)
    change = Workbench(model).measure("drum.bore", "0.2541 in", propose=WholeModel(), sure=True)
    assert change.ways
    found += [way.text for way in change.ways] + [target.text for target in change.targets]
    return found


def test_an_inch_workshop_reads_inches(tmp_path: Path) -> None:
    """No millimetre in any sentence, and inches in most; one in millimetres is the other way
    about, but for the steps that the file writes in inches."""
    said_in = texts(model_of(tmp_path / "in", "in"))
    assert not [text for text in said_in if MM.search(text)]
    assert sum(bool(INCH.search(text)) for text in said_in) > len(said_in) / 2
    said_mm = [re.sub(r"step [0-9.]+ in", "", t) for t in texts(model_of(tmp_path / "mm", "mm"))]
    assert not [text for text in said_mm if INCH.search(text)]
    assert sum(bool(MM.search(text)) for text in said_mm) > len(said_mm) / 2


def test_both_say_the_same_length_twice(tmp_path: Path) -> None:
    """Each figure in mm beside its inches: within half of the last place of either."""
    model = replace(model_of(tmp_path, "in"), shown_in="both")
    pairs = [found for text in texts(model) for found in BOTH.findall(text)]
    assert len(pairs) > 10
    for mm, inch in pairs:
        half = [F(1, 2 * 10 ** len(text.partition(".")[2])) for text in (mm, inch)]
        assert abs(F(mm) - F(inch) * F("25.4")) <= half[0] + half[1] * F("25.4")


def test_a_line_to_write_is_in_inches_and_serves(tmp_path: Path) -> None:
    """The fit loosened, in tenths of a thou: written into the file, a choice holds; the bound in
    the file that nobody would write (0.0019234 in) comes in to a tenth."""
    model = model_of(tmp_path / "a", "in")
    lines = 0
    for conflict in substitute(model, prices=False).conflicts:
        for way in conflict.ways_out:
            if way.kinds != ("looser fit",):
                continue
            lines += 1
            (line,) = way.write
            fit = line.partition(" under")[0].removeprefix('fit = "').removesuffix('"')
            for end in fit.split(" to "):
                figure = parse_length(end.lstrip("-")).mm / F("25.4")
                assert end.endswith(" in") and (figure * 10000).denominator == 1
            assert "0.0019234" not in fit
            text = TEXT.replace("clearance 0.0011 in to 0.0019234 in", fit).replace("UNIT", "in")
            (tmp_path / "b").mkdir(exist_ok=True)
            (tmp_path / "b" / "model.toml").write_text(text, encoding="utf-8")
            assert substitute(load(tmp_path / "b"), prices=False).status == "optimal"
    assert lines


@pytest.mark.parametrize(
    "command",
    [
        ["check", "--ways-out"],
        ["substitute"],
        ["measure", "drum.bore", "0.2541 in", "--try", "--sure"],
    ],
)
def test_units_asked_for_reach_the_sentences(tmp_path: Path, command: list[str]) -> None:
    """``--units`` turns tables and sentences alike; without it the workshop's own stands."""
    folder = tmp_path / "m"
    model_of(folder, "in")
    name, *more = command
    arguments = [name, str(folder), *more]
    plain = CliRunner().invoke(cli, arguments).stdout
    turned = CliRunner().invoke(cli, [*arguments, "--units", "mm"]).stdout
    both = CliRunner().invoke(cli, [*arguments, "--units", "both"]).stdout
    assert not MM.search(plain) and INCH.search(plain)
    assert MM.search(turned)
    assert len(BOTH.findall(both)) > 2


def test_workability_is_said_in_inches(tmp_path: Path) -> None:
    """A wall of at least half a millimetre is 0.020 in."""
    more = '[part.bush]\nservice = "none"\nmaterial = "bronze"\n'
    more += 'size.bore = { full = "2", kind = "internal", rule = "bored step 0.001 in" }\n'
    more += 'size.outside = { full = "2.1", kind = "external", rule = "turned step 0.001 in" }\n'
    (tmp_path / "a").mkdir()
    found = [f.text for f in check(model_of(tmp_path / "a", "in", more)).workability if f.fails]
    assert any("a wall of at least 0.020 in" in text for text in found)
    found = [f.text for f in check(model_of(tmp_path / "a", "mm", more)).workability if f.fails]
    assert any("a wall of at least 0.5 mm" in text for text in found)


def test_lengths_are_said_as_they_are() -> None:
    """25.4 mm to the inch; a sign stands; a window open at one end."""
    assert said(F("25.4"), "in") == "1.0000 in" and said(F("-0.0254"), "in") == "-0.0010 in"
    assert said_short(F(100)) == "100 mm" and said_short(F(254), "in") == "10 in"
    assert window_said((None, F("25.4")), "in") == "<= 1.0000 in"
    assert window_said((F("25.4"), F("25.4")), "both") == "25.400 mm (1.0000 in)"


def test_a_reading_is_said_in_both(tmp_path: Path) -> None:
    """The change in words names the figure twice where both are asked for."""
    model = replace(model_of(tmp_path, "mm"), shown_in="both")
    change = Workbench(model).measure("drum.bore", "0.2541 in", propose=WholeModel(), sure=True)
    assert BOTH.search("\n".join(way.text for way in change.ways))
    assert "in)" in change_text(change, model.units)
