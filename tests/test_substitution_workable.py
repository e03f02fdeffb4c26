"""Checks of workability bind the choice of a substitution, where a choice can meet them."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import scaler

HEAD = '[model]\nscale = "1:1"\nwork = "mm"\n[drawing.s]\nunit = "mm"\n'
PLATE = (
    '[part.plate]\nmaterial = "mild steel"\nservice = "none"\n'
    'size.hole = {{ full = "6", kind = "internal", rule = "bored" }}\n'
    'size.hole_to_edge = {{ full = "7", kind = "position", rule = "coordinate drilled"{more} }}\n'
)


def chosen(folder: Path, more: str, tail: str = "") -> scaler.Substitution:
    """The substitution of a plate whose hole is drawn 7 mm from its edge (1.5 × 6 = 9 mm wanted)."""
    text = HEAD + PLATE.format(more=more) + tail
    (folder / "model.toml").write_text(text, encoding="utf-8")
    return scaler.substitute(scaler.load(folder))


def values(result: scaler.Substitution) -> dict[str, Fraction]:
    """The chosen sizes by name."""
    return {choice.size: choice.value for choice in result.choices}


def test_edge_distance_moves_the_hole_where_its_reach_allows(tmp_path: Path) -> None:
    """1.5 diameters from the edge (common practice): hole and place together meet it, exactly."""
    result = chosen(tmp_path, ', reach = "3 mm"')
    got = values(result)
    assert got["plate.hole_to_edge"] >= Fraction(3, 2) * got["plate.hole"]
    assert result.status == "optimal"
    assert not any(item.fails for item in result.check.workability)
    assert any("bind the choice: edge_distance" in note for note in result.notes)
    assert not any("workability" in f.statement.id for f in result.check.findings)


def test_a_check_that_no_choice_can_meet_is_said_and_listed(tmp_path: Path) -> None:
    """Within 0.5 mm of 7 mm nothing is 9 mm: the nearest stands, the check fails, a note says so."""
    result = chosen(tmp_path, "")
    assert values(result)["plate.hole_to_edge"] == 7
    assert any(item.fails for item in result.check.workability)
    assert any("no choice meets" in note for note in result.notes)
    assert result.exit_status() == 1


def test_an_overruled_check_does_not_bind(tmp_path: Path) -> None:
    """With a reason given the hole stays where it is drawn."""
    tail = '[overrule]\nedge_distance = "a boss stands there"\n'
    result = chosen(tmp_path, ', reach = "3 mm"', tail)
    assert values(result)["plate.hole_to_edge"] == 7
    assert result.exit_status() == 0


def test_one_check_that_cannot_be_met_takes_nothing_from_another(tmp_path: Path) -> None:
    """Two plates, only one of which can move its hole: that one does, the other is listed."""
    tail = PLATE.replace("[part.plate]", "[part.cover]").format(more="")
    result = chosen(tmp_path, ', reach = "3 mm"', tail)
    got = values(result)
    assert got["plate.hole_to_edge"] >= Fraction(3, 2) * got["plate.hole"]
    assert got["cover.hole_to_edge"] == 7
    failing = [item.id for item in result.check.workability if item.fails]
    assert failing == ["edge_distance.cover.hole_to_edge"]
    assert any("bind the choice: edge_distance.plate" in note for note in result.notes)
    assert any("no choice meets" in note and "cover" in note for note in result.notes)
