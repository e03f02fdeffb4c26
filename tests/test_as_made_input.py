"""Readings that cannot be meant are refused, with what to do; good ones in any unit are taken."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from scaler.as_made.measuring import Workbench, measured
from scaler.problems import InputError
from scaler.reading.loading import load
from scaler.records import Model, State

DEMO = Path(__file__).parent.parent / "scaler" / "examples" / "pattern_d"


@pytest.fixture(scope="module")
def demo() -> Model:
    """The shipped example."""
    return load(DEMO)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("15.82", Fraction("15.82")),  # bare: the workshop's unit
        ("15.82 mm", Fraction("15.82")),
        ("5/8 in", Fraction("15.875")),  # 25.4 mm to the inch, exact
        ("0.6225 in", Fraction("15.8115")),
        ("622.5 thou", Fraction("15.8115")),
        ('5/8"', Fraction("15.875")),
    ],
)
def test_readings_in_any_unit(demo: Model, text: str, value: Fraction) -> None:
    """Whatever the instrument is graduated in."""
    assert measured(demo, "axle.journal", text).after == value


@pytest.mark.parametrize(
    ("size", "value", "copy", "instrument", "code", "word"),
    [
        ("axel.journal", "15.8", "", "", "unknown-size", "did you mean 'axle.journal'"),
        ("axle.jurnal", "15.8", "", "", "unknown-size", "did you mean 'axle.journal'"),
        ("piston.diameter", "35.2", "lft", "", "unknown-copy", "did you mean 'left'"),
        ("axle.journal", "15.8", "left", "", "unknown-copy", "leave the copy out"),
        ("axle.journal", "15.8", "", "micromter", "unknown-instrument", "'micrometer'"),
        ("axle.journal", "0.623", "", "", "unit", "did you mean inches"),
        ("axle.journal", "15.82 in", "", "", "unit", "did you mean millimetres"),
        ("axle.journal", "fifteen", "", "", "cannot-read", "reading of axle.journal"),
        ("axle.journal", "-15.8", "", "", "not-a-size", "above nothing"),
        ("axle.journal", "0", "", "", "not-a-size", "above nothing"),
        ("slide_bar.width", "10.6", "", "", "blank", "more than it ever was"),
        ("boiler.barrel_outside", "100", "", "", "", "no figure is given"),
    ],
)
def test_readings_that_cannot_be_meant(
    demo: Model, size: str, value: str, copy: str, instrument: str, code: str, word: str
) -> None:
    """Unknown names, wrong unit, nothing there, more than there was, a pressure part."""
    if size.startswith("boiler"):
        size = next(name for name in demo.sizes if name.startswith("boiler."))
        code = "refused"
    with pytest.raises(InputError) as caught:
        measured(demo, size, value, copy, instrument)
    (problem,) = caught.value.problems
    assert problem.code == code
    assert word in str(caught.value)


def test_a_wrong_unit_names_the_right_command(demo: Model) -> None:
    """25.4 out: what was read, what was expected, what to write."""
    with pytest.raises(InputError) as caught:
        measured(demo, "axle.journal", "0.623")
    text = str(caught.value)
    assert "15.82 mm" in text and "write 0.623 in" in text and "--sure" in text


def test_sure_takes_it_all_the_same(demo: Model) -> None:
    """A person who is sure is believed."""
    assert measured(demo, "axle.journal", "0.623", sure=True).after == Fraction("0.623")


def test_a_scrapped_part_takes_no_reading(demo: Model) -> None:
    """Neither by the part's state nor by the size's."""
    part = replace(demo.parts["axle"], state=State.SCRAPPED)
    with pytest.raises(InputError, match="marked scrapped"):
        measured(replace(demo, parts={**demo.parts, "axle": part}), "axle.journal", "15.8")
    size = replace(demo.sizes["axle.journal"], state=State.SCRAPPED)
    with pytest.raises(InputError, match=r"wheels\.toml, line"):
        measured(replace(demo, sizes={**demo.sizes, size.id: size}), "axle.journal", "15.8")


def test_metal_does_not_go_back_on(demo: Model) -> None:
    """A second reading that is larger by more than both instruments' doubt is questioned."""
    bench = Workbench(demo)
    bench.measure("axle.journal", "15.80", remedies=False)
    bench.measure("axle.journal", "15.803", remedies=False)  # within ± 0.002 twice
    bench.measure("axle.journal", "15.78", remedies=False)
    with pytest.raises(InputError, match="metal only comes off") as caught:
        bench.measure("axle.journal", "15.80", remedies=False)
    assert "--undo" in str(caught.value)
    bench.measure("cylinder.bore", "35.30", remedies=False)
    bench.measure("cylinder.bore", "35.32", remedies=False)
    with pytest.raises(InputError, match=r"no less than 35\.32 mm"):
        bench.measure("cylinder.bore", "35.30", remedies=False)
    bench.measure("cylinder.bore", "35.30", remedies=False, sure=True)


def test_a_copy_after_the_sign(demo: Model) -> None:
    """part.size@copy names the copy as --copy does."""
    change = measured(demo, "piston.diameter@left", "35.21")
    assert (change.size.id, change.copy, change.name) == (
        "piston.diameter",
        "left",
        "piston.diameter@left",
    )
