"""Checks of workability that the builder overrules, with a reason, in the model's own file."""

from __future__ import annotations

from pathlib import Path

import pytest

import scaler

HEAD = '[model]\nscale = "1:1"\nwork = "mm"\n[drawing.s]\nunit = "mm"\n'
PLATE = (
    '[part.plate]\nmaterial = "mild steel"\nservice = "none"\n'
    'size.hole = { full = "6", kind = "internal", rule = "bored" }\n'
    'size.hole_to_edge = { full = "7", kind = "position", rule = "coordinate drilled" }\n'
)


def load(folder: Path, more: str) -> scaler.Model:
    """A plate whose hole stands 7 mm from its edge, 1.5 × 6 = 9 mm being wanted."""
    (folder / "model.toml").write_text(HEAD + PLATE + more, encoding="utf-8")
    return scaler.load(folder)


def test_a_check_fails_until_it_is_overruled(tmp_path: Path) -> None:
    """Edge distance of 1.5 diameters (common practice); with a reason it no longer counts."""
    result = scaler.check(load(tmp_path, ""))
    failing = [item for item in result.workability if item.fails]
    assert [item.id for item in failing] == ["edge_distance.plate.hole_to_edge"]
    assert result.status() == 1
    for name in ("edge_distance.plate.hole_to_edge", "edge_distance.plate", "edge_distance"):
        result = scaler.check(load(tmp_path, f'[overrule]\n{name} = "a boss stands there"\n'))
        assert result.status() == 0
        assert "a boss stands there" in [item.overruled for item in result.workability]


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('edge_distance.plate = ""', "gives no reason"),
        ("edge_distance.plate = 3", "gives no reason"),
        ('edge_distanse.plate = "because"', "names no check"),
    ],
)
def test_a_wrong_overrule_is_named_with_its_line(tmp_path: Path, line: str, words: str) -> None:
    """No reason, or no such check: file and line."""
    with pytest.raises(scaler.InputError) as caught:
        scaler.check(load(tmp_path, f"[overrule]\n{line}\n"))
    problem = caught.value.problems[0]
    assert words in problem.headline
    assert problem.place is not None
    assert problem.place.line == 12
