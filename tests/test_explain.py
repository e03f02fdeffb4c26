"""Why a number is what it is, what hangs on it, and which choice a conflict goes back to."""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import pytest

import scaler
from scaler.checking.conflicts import CheckResult, check
from scaler.checking.explaining import Explanation, explain
from scaler.problems import InputError
from scaler.reading.loading import load
from scaler.records import Model
from scaler.settling.reduce import reduce
from scaler.tables import warnings_text

TEXT = """
[model]
title = "test"
scale = "1:8"
shop = "shop.csv"
shop_only = true
[drawing.sheet]
title = "Pump, sheet 2"
unit = "in"
[part.pump]
drawing = "sheet"
size.bar = { full = "2", kind = "external", rule = "ground bar" }
size.seat = { kind = "external", rule = "follows pump.bar" }
size.collar = { equals = "pump.seat + '3 mm'" }
size.length = { full = "12", rule = "milled step 0.5 mm" }
size.left = { full = "4", rule = "milled step 0.5 mm" }
size.right = { kind = "length" }
size.eye = { full = "2 1/4", kind = "internal", rule = "bored step 0.1 mm" }
size.apart = { full = "1", rule = "milled" }
[condition.adds_up]
keep = "pump.left + pump.right == pump.length"
[condition.collar_clears]
keep = "pump.length - 4*pump.collar >= '1 mm'"
basis = "basic size"
[pair.bar_in_eye]
inner = "pump.seat"
outer = "pump.eye"
fit = "0.5 to 0.9 mm"
basis = "basic size"
"""
SHOP = "family,size\nground bar,6 mm\nground bar,8 mm\n"


def model_of(folder: Path, choices: str = "", text: str = TEXT) -> Model:
    """The pump, with choices if any."""
    (folder / "model.toml").write_text(text, encoding="utf-8")
    (folder / "shop.csv").write_text(SHOP, encoding="utf-8")
    if choices:
        head = "time,action,size,value,method,row,note\n"
        (folder / "choices.csv").write_text(head + choices, encoding="utf-8")
    return scaler.load(folder)


def line_of(text: str) -> int:
    """The line on which a text stands in the model file."""
    return TEXT[: TEXT.index(text)].count("\n") + 1


def steps(told: Explanation) -> dict[str, str]:
    """The steps by what they are."""
    return {step.what: step.text for step in told.steps}


def test_the_steps_from_the_drawing_to_the_shop(tmp_path: Path) -> None:
    """2 in. on sheet 2 is 50.8 mm, at 1:8 6.35 mm, and 6 mm bar is nearer than 8."""
    told = explain(model_of(tmp_path), "pump.bar")
    found = steps(told)
    assert "Pump, sheet 2" in found["read"] and "2 in" in found["read"]
    assert found["full size"].startswith("50.800 mm")
    assert found["scale"].endswith("× 1/8")
    assert found["exact"].startswith("6.35")
    assert found["rule"] == "ground bar"
    assert found["chosen"].startswith("6.000 mm") and "ground bar" in found["chosen"]
    assert "6 mm" in found["row"] and "shop.csv, line 2" in found["row"]
    # −0.35 mm is −5.51 % and 2.8 mm full size
    assert "-0.350 mm" in found["departure"] and "-5.51 %" in found["departure"]
    assert "-2.80 mm" in found["departure"]
    assert "h9" in found["limits"] and "-0.030" in found["limits"]  # ISO 286-2, 3 to 6 mm
    assert list(found) == [
        "read",
        "full size",
        "scale",
        "exact",
        "rule",
        "chosen",
        "row",
        "departure",
        "limits",
    ]
    place = told.steps[0].place
    assert place is not None and place.line == line_of("size.bar")


def test_what_hangs_on_a_size(tmp_path: Path) -> None:
    """The bar makes the seat, the seat the collar; the pair and a condition hang on them."""
    told = explain(model_of(tmp_path), "pump.bar")
    assert told.makes == ("pump.seat", "pump.collar")
    assert [f.statement.id for f in told.findings] == ["bar_in_eye", "collar_clears"]
    apart = explain(model_of(tmp_path), "pump.apart")
    assert apart.makes == () and apart.findings == ()
    length = explain(model_of(tmp_path), "pump.length")
    assert length.makes == ("pump.right",)  # solved from the condition that names both


def test_a_solved_size_names_its_condition(tmp_path: Path) -> None:
    """Neither drawn nor defined: it comes from a statement with a file and a line."""
    told = explain(model_of(tmp_path), "pump.right")
    step = next(s for s in told.steps if s.what == "solved from")
    assert step.text.startswith("adds_up: ") and step.place is not None
    assert step.place.line == line_of("[condition.adds_up]")
    assert told.line.chosen == F("38.0") - F("12.5")
    assert told.line.exact == F("38.1") - F("12.7")


def test_a_choice_is_named_with_its_line(tmp_path: Path) -> None:
    """Who chose it, where, and what was written beside it."""
    log = "2026-01-01T00:00:00Z,choose,pump.bar,8 mm,,,the only one on the rack\n"
    told = explain(model_of(tmp_path, log), "pump.bar")
    step = next(s for s in told.steps if s.what == "chosen")
    assert step.text.endswith("by choice: the only one on the rack")
    assert step.place is not None and str(step.place) == "choices.csv, line 2"


def test_an_unknown_size_gets_the_nearest_name(tmp_path: Path) -> None:
    """A slip of the pen is answered with what it may have meant."""
    with pytest.raises(InputError, match=r"did you mean 'pump\.collar'"):
        explain(model_of(tmp_path), "pump.colar")


def conflict_of(result: CheckResult, name: str) -> tuple[str, tuple[str, ...], list[str]]:
    """Text, path and members of a conflict."""
    found = next(c for c in result.conflicts if c.finding.statement.id == name)
    return found.text, found.path, [f"{m.text} | {m.place}" for m in found.members]


def test_a_conflict_names_the_choice_and_the_path(tmp_path: Path) -> None:
    """8 mm bar in a 7.1 mm eye: tight by what was chosen, through the seat that follows it."""
    log = "2026-01-01T00:00:00Z,choose,pump.bar,8 mm,,,\n"
    result = check(model_of(tmp_path, log))
    text, path, members = conflict_of(result, "bar_in_eye")
    assert path == ("pump.bar", "pump.seat", "pair bar_in_eye")
    assert "path: pump.bar > pump.seat > pair bar_in_eye" in text
    assert "(tight)" in text and "rounding moves it " in text
    assert (
        members[0]
        == f"pair bar_in_eye wants 0.500 to 0.900 mm | model.toml, line {line_of('[pair.bar_in_eye]')}"
    )
    # exact 6.35 in 7.144: 0.79, inside; 8 in 7.1: −0.9
    assert result.findings[0].basic == F("-0.9")
    finding = result.findings[0]
    assert finding.shares[0] == ("pump.seat", F("-1.65"))


def test_a_remedy_is_looked_at_on_the_whole_model(tmp_path: Path) -> None:
    """With 6 mm bar the pair is loose, and the condition on the collar that failed holds."""
    big = check(model_of(tmp_path, "2026-01-01T00:00:00Z,choose,pump.bar,8 mm,,,\n"))
    verdicts = {f.statement.id: str(f.verdict) for f in big.findings}
    assert verdicts == {"bar_in_eye": "tight", "adds_up": "holds", "collar_clears": "fails"}
    (tmp_path / "choices.csv").unlink()
    small = check(model_of(tmp_path))
    verdicts = {f.statement.id: str(f.verdict) for f in small.findings}
    assert verdicts == {"bar_in_eye": "loose", "adds_up": "holds", "collar_clears": "holds"}
    text, path, _ = conflict_of(small, "bar_in_eye")
    assert path == ("pump.bar", "pump.seat", "pair bar_in_eye") and "(loose)" in text


def test_a_choice_behind_a_conflict_is_placed_in_the_log(tmp_path: Path) -> None:
    """The eye chosen too large: the member stands at its line of the choices."""
    log = "2026-01-01T00:00:00Z,choose,pump.eye,7.4 mm,,,\n"
    _, _, members = conflict_of(check(model_of(tmp_path, log)), "bar_in_eye")
    assert "pump.eye is 7.4 (bored) | choices.csv, line 2" in members


def test_what_does_not_scale_says_so(tmp_path: Path) -> None:
    """A fit that the exact sizes miss already is no matter of rounding."""
    text = TEXT.replace('fit = "0.5 to 0.9 mm"', 'fit = "0.02 to 0.05 mm"')
    told, _, _ = conflict_of(check(model_of(tmp_path, text=text)), "bar_in_eye")
    assert "it fails at exact scale already" in told


def test_a_place_and_a_reading_stand_once(tmp_path: Path) -> None:
    """What was read is said again only where it was taken to mean more than is written; the line of
    a choice stands in its brackets alone."""
    (tmp_path / "model.toml").write_text(
        '[model]\ntitle = "Barrow (invented)"\nscale = "1:8"\n[drawing.s]\nunit = "in"\n'
        '[part.leg]\ndrawing = "s"\nsize.plain = { full = "3 in", rule = "turned" }\n'
        'size.bare = { full = "3", kind = "external", rule = "turned" }\n',
        encoding="utf-8",
    )
    (tmp_path / "choices.csv").write_text(
        "time,action,size,value,method,row,note\n,choose,leg.bare,9.6 mm,turned,,to hand\n",
        encoding="utf-8",
    )
    model = load(tmp_path)
    plain = {step.what: step.text for step in explain(model, "leg.plain").steps}
    bare = {step.what: step for step in explain(model, "leg.bare").steps}
    assert plain["read"] == "3 in on s"
    assert bare["read"].text == "3 on s, read as 3 in"
    assert bare["chosen"].text.endswith("turned, by choice: to hand")
    assert str(bare["chosen"].place) == "choices.csv, line 2"


def test_what_is_said_of_several_sizes_is_said_once(tmp_path: Path) -> None:
    """Three sizes of a spring: one note that names all three, at the line of the first."""
    (tmp_path / "model.toml").write_text(
        '[model]\ntitle = "Barrow (invented)"\nscale = "1:8"\n[drawing.s]\nunit = "in"\n'
        '[part.spring]\ndrawing = "s"\nsize.wire = { full = "1", kind = "external", rule = "turned" }\n'
        'size.outside = { full = "8", rule = "turned" }\n'
        'size.length = { full = "12", rule = "turned" }\n',
        encoding="utf-8",
    )
    said = warnings_text(reduce(load(tmp_path)).notes)
    assert said.count("a spring does not scale") == 1
    assert said.startswith("* spring.wire, spring.outside, spring.length: a spring does not scale")
    assert "(model.toml, line 8)" in said
