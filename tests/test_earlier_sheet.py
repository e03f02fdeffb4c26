"""Sizes read from the sheet of an earlier, smaller model: what is called full size is full size."""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import pytest

import scaler
from scaler.report import full_size_text
from scaler.tables import sizes_grid

MODEL = """
[model]
title = "Pump from an older sheet (invented)"
scale = "1 1/4 in : 1 ft"
[drawing.old]
unit = "{unit}"
scale = "3/4 in : 1 ft"
[part.pump]
size.bore = {{ full = "{bore}", kind = "internal", rule = "bored step 0.1 mm" }}
size.swing = {{ full = "25 deg", kind = "angle" }}
[part.spare]
size.bore = {{ full = "{bore}", kind = "internal", rule = "bored step 0.1 mm" }}
"""


@pytest.mark.parametrize(
    ("unit", "bore", "said"),
    [
        ("in", "7/8", "1 ft 2 in (sheet 7/8 in)"),  # 7/8 in × 16 = 14 in, by hand
        ("in", "0.333", "5.3280 in (sheet 0.333 in)"),  # no whole 64ths: 0.333 × 16
        ("mm", "22", "352.000 mm (sheet 22 mm)"),
    ],
)
def test_the_sheets_figure_is_not_shown_as_full_size(
    tmp_path: Path, unit: str, bore: str, said: str
) -> None:
    """3/4 in to the foot is 1:16: the sheet's figure times 16 is full size."""
    (tmp_path / "model.toml").write_text(MODEL.format(unit=unit, bore=bore), encoding="utf-8")
    model = scaler.load(tmp_path)
    assert full_size_text(model.sizes["pump.bore"]) == said
    assert full_size_text(model.sizes["spare.bore"]) == said  # with the same fields
    assert full_size_text(model.sizes["pump.swing"]) == "25 deg"  # an angle has no scale
    grid = sizes_grid(scaler.reduce(model), "mm")
    assert grid.rows[0][grid.headings.index("full size")] == said


def test_explain_shows_the_way_from_the_sheet(tmp_path: Path) -> None:
    """(1 1/4) / (3/4) = 5/3: the model is larger than the sheet's; 7/8 in × 5/3 = 889/24 mm."""
    (tmp_path / "model.toml").write_text(MODEL.format(unit="in", bore="7/8"), encoding="utf-8")
    found = scaler.explain(scaler.load(tmp_path), "pump.bore")
    steps = {step.what: step.text for step in found.steps}
    assert steps["scale"].endswith("× 5/48; from the sheet × 5/3")
    assert str(F(7, 8) * F(127, 5) * F(5, 3)) in steps["exact"]


def test_each_figure_of_a_difference_has_its_sign(tmp_path: Path) -> None:
    """In both units the inch has the sign of the millimetre: 37.0 - 889/24 = -1/24 mm."""
    (tmp_path / "model.toml").write_text(MODEL.format(unit="in", bore="7/8"), encoding="utf-8")
    grid = sizes_grid(scaler.reduce(scaler.load(tmp_path)), "both")
    assert grid.rows[0][grid.headings.index("departure")] == "-0.042 (-0.0016 in)"
