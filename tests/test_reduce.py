"""The reduction of a model: published gauges and dimensions, exactness, departures, notes."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction as F
from pathlib import Path

import pytest

import scaler
from scaler.records import Model, Stage
from scaler.settling.reduce import Reduction, reduce
from scaler.settling.solve import middle

INCH = F("25.4")


def model_of(folder: Path, body: str, scale: str = '"1:8"') -> Model:
    """A model of one part ``p`` at a scale."""
    text = f'[model]\ntitle = "test"\nscale = {scale}\n[part.p]\n{body}'
    (folder / "model.toml").write_text(text, encoding="utf-8")
    return scaler.load(folder)


def exact(folder: Path, full: str, scale: str) -> F:
    """One size reduced, exactly [mm]."""
    body = f"size.gauge = {{ full = '''{full}''', kind = \"length\" }}\n"
    line = reduce(model_of(folder, body, scale), "exact").line("p.gauge")
    assert line.exact is not None
    return middle(line.exact)


def printed(value: F, figure: str) -> str:
    """A value rounded as a figure is printed."""
    number = Decimal(value.numerator) / Decimal(value.denominator)
    return str(number.quantize(Decimal(figure), rounding=ROUND_HALF_UP))


@pytest.mark.parametrize(
    ("full", "scale", "figure", "unit"),
    [
        # wiki.bluegoldfishdesign.com, model railway scales: P4, exact at 4 mm : 1 ft
        ("4 ft 8 1/2 in", '"4 mm : 1 ft"', "18.83", "mm"),
        # railwayscenics.com, scales and gauges: 2 mm scale
        ("4 ft 8 1/2 in", '"2 mm : 1 ft"', "9.42", "mm"),
        # trainweb.org/seaboard, scale and gauge: HO, N and TT at their ratios, narrow gauges
        ("4 ft 8 1/2 in", '"1:87.1"', "0.649", "in"),
        ("4 ft 8 1/2 in", '"1:160"', "0.353", "in"),
        ("4 ft 8 1/2 in", '"1:120"', "0.471", "in"),
        ("3 ft", '"1:87.1"', "0.413", "in"),
        ("2 ft", '"1:87.1"', "0.276", "in"),
        ("3 ft", '"1:64"', "0.563", "in"),
        ("3 ft", '"1:48"', "0.750", "in"),
        # forum.gl5.org, thread on the scale of 5 in. gauge: 1 1/16 in. to the foot gives 5.003
        ("4 ft 8 1/2 in", '"1 1/16 in : 1 ft"', "5.003", "in"),
        # and by the two gauges 5 in. exactly
        ("4 ft 8 1/2 in", '{ full = "4 ft 8 1/2 in", model = "5 in" }', "5.000", "in"),
    ],
)
def test_published_gauges(tmp_path: Path, full: str, scale: str, figure: str, unit: str) -> None:
    """Full-size gauges reduced as scale societies and pages print them (second-hand)."""
    value = exact(tmp_path, full, scale)
    assert printed(value / (INCH if unit == "in" else 1), figure) == figure


def test_a_worked_reduction_is_exact(tmp_path: Path) -> None:
    """56 1/2 in. at 17/16 in. to the foot: 56.5 × 17/192 × 25.4 mm, as a fraction (arithmetic)."""
    assert exact(tmp_path, "4' 8 1/2\"", '"1 1/16 in : 1 ft"') == F(113, 2) * F(17, 192) * INCH
    assert exact(tmp_path, "1435 mm", '"1:87"') == F(1435, 87)


def test_an_earlier_models_sheet_is_carried_over(tmp_path: Path) -> None:
    """A 3 1/2 in. gauge design (3/4 in. to the foot) taken to 5 in. gauge (1 1/16): × 17/12.

    Source: the factor as given in the same thread on 5 in. gauge (second-hand).
    """
    (tmp_path / "model.toml").write_text(
        """
[model]
scale = "1 1/16 in : 1 ft"
[drawing.old]
unit = "in"
scale = "3/4 in : 1 ft"
[part.p]
drawing = "old"
size.pin = { full = "3/8", kind = "external" }
"""
    )
    line = reduce(scaler.load(tmp_path), "exact").line("p.pin")
    assert line.exact == F(3, 8) * INCH * F(17, 12)
    assert line.full == F(3, 8) * INCH * 16  # full size always means the prototype


BODY = """
size.bar = { full = "50.5 mm", kind = "external", rule = "turned step 0.1 mm" }
size.far = { full = "400 mm", kind = "length", rule = "milled step 1 mm reach 0.1 mm" }
size.odd = { full = "401.2 mm", kind = "length", rule = "milled step 1 mm reach 0.1 mm" }
size.teeth = { full = "24" }
size.sum = { equals = "p.bar + p.far" }
"""


def test_departures_and_limits(tmp_path: Path) -> None:
    """Chosen less exact, in mm and per cent; limits as ends, not as deviations."""
    found = reduce(model_of(tmp_path, BODY))
    bar = found.line("p.bar")
    assert bar.exact == F("6.3125") and bar.chosen == F("6.3")
    assert bar.departure == F("-0.0125")
    rows = {row["id"]: row for row in found.as_dict()["sizes"]}
    assert rows["p.bar"]["departure_percent"] == round(-0.0125 / 6.3125 * 100, 4)
    assert rows["p.bar"]["limits_mm_rational"] == ["629/100", "631/100"]
    assert rows["p.sum"]["chosen_mm_rational"] == "563/10"
    assert rows["p.teeth"]["chosen_mm"] == 24 and rows["p.teeth"]["unit"] == "count"
    with pytest.raises(KeyError):
        _ = rows["p.none"]


def test_beyond_reach_is_noted(tmp_path: Path) -> None:
    """50.15 mm to whole millimetres is 0.15 off where 0.1 is allowed; 50 exactly is no note."""
    found = reduce(model_of(tmp_path, BODY))
    notes = [note for note in found.notes if note.code == "reach"]
    assert [note.headline.split(":")[0] for note in notes] == ["p.odd"]
    assert notes[0].place is not None and notes[0].place.line == 8
    assert "-0.150 mm" in notes[0].headline


def test_exact_twins_are_the_same_number(tmp_path: Path) -> None:
    """Each length for scripts has its exact twin; the two agree, and None goes with None."""
    found: Reduction = reduce(model_of(tmp_path, BODY))
    for row in found.as_dict()["sizes"]:
        for key in ("full_mm", "exact_mm", "chosen_mm", "departure_mm", "made_mm"):
            twin = row[f"{key}_rational"]
            assert (row[key] is None) == (twin is None)
            if twin is not None:
                assert float(F(twin)) == row[key]


def test_frames_have_a_row_a_size(tmp_path: Path) -> None:
    """The pandas frame is the same table."""
    frame = reduce(model_of(tmp_path, BODY)).frame()
    assert list(frame["id"]) == ["p.bar", "p.far", "p.odd", "p.teeth", "p.sum"]
    assert frame.set_index("id").loc["p.bar", "chosen_mm"] == 6.3


def test_stages_share_the_exact_size(tmp_path: Path) -> None:
    """Exact, rounded and chosen are three views of one drawing."""
    model = model_of(tmp_path, BODY)
    lines = {stage: reduce(model, stage).line("p.bar") for stage in Stage}
    assert {line.exact for line in lines.values()} == {F("6.3125")}
    assert lines[Stage.EXACT].chosen == F("6.3125") and lines[Stage.EXACT].limits is None
    assert lines[Stage.ROUNDED].chosen == F("6.3")
