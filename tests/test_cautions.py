"""Cautions follow what is known of a part, and none is dropped where the part may hold pressure, lift
or carry people.

The names are made up; which parts are safety parts is common practice.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from scaler import catalogue
from scaler.checking import cautions
from scaler.reading.loading import load

HEAD = '[model]\ntitle="t"\nscale="1:8"\n[drawing.s]\nunit="mm"\n'
BORE = 'size.bore={full="48",kind="internal",rule="reamed"}\n'
TEETH = 'size.teeth={full="40",kind="teeth"}\n'


def kinds(
    folder: Path, part: str, service: str = "", title: str = "", sizes: str = BORE
) -> set[str]:
    """The kinds of caution that a part of this name gets."""
    text = HEAD + f"[part.{part}]\n"
    text += f'service="{service}"\n' if service else ""
    text += f'title="{title}"\n' if title else ""
    (folder / "model.toml").write_text(text + sizes, encoding="utf-8")
    model = load(folder)
    found = cautions.of_model(model)
    assert {c.kind for c in cautions.of_parts(model, (part,))} == {
        c.kind for c in found if c.about == part
    }
    return {caution.kind for caution in found}


@pytest.mark.parametrize("part", ["gear_wheel", "spur_wheel", "worm_wheel", "change_wheels"])
def test_a_gear_wheel_is_no_wheel_of_the_track(tmp_path: Path, part: str) -> None:
    """It may drive a winch: asked, where its service is not stated; said so, where it lifts or
    carries people; nothing, where it is stated to do neither."""
    assert kinds(tmp_path, part) == {"gear"}
    assert kinds(tmp_path, part, "none") == set()
    assert kinds(tmp_path, part, "lifting") == {"gear", "lifting"}
    assert kinds(tmp_path, part, "carrying people") == {"gear", "carrying people"}


def test_teeth_make_a_wheel_a_gear(tmp_path: Path) -> None:
    """By its kind of size, whatever it is called; a title counts as the name does."""
    assert kinds(tmp_path, "second_wheel", sizes=BORE + TEETH) == {"gear"}
    assert kinds(tmp_path, "second_wheel", "none", sizes=BORE + TEETH) == set()
    assert kinds(tmp_path, "second_wheel", "none", "Bevel wheel") == set()


@pytest.mark.parametrize("service", ["", "none", "carrying people", "lifting"])
@pytest.mark.parametrize("part", ["wheel", "driving_wheel", "bogie_wheel", "brake_gear_wheel"])
def test_a_wheel_keeps_its_caution(tmp_path: Path, part: str, service: str) -> None:
    """Whatever its service is: it holds the model to the track. So does what works the brake, its
    gear wheel too."""
    assert "safety part" in kinds(tmp_path, part, service)


def test_a_cover_that_holds_no_pressure_says_so(tmp_path: Path) -> None:
    """A bearing's or a gear case's cover with its service stated as none gets no caution; with
    nothing stated, or as the cover of anything else, it keeps it."""
    for part in ("bearing_cover", "axlebox_cover", "gear_case_cover", "dust_cover"):
        assert kinds(tmp_path, part, "none") == set()
        assert kinds(tmp_path, part) == {"pressure joint"}
    assert kinds(tmp_path, "end_cover", "none", "Cover of the main bearing") == set()
    for part in ("cylinder_cover", "rear_cover", "valve_chest_cover", "cover", "cover_stud"):
        assert kinds(tmp_path, part, "none") == {"pressure joint"}
    assert kinds(tmp_path, "bearing_gland", "none") == {"pressure joint"}


def test_a_pressure_part_is_refused_whatever_it_is_called(tmp_path: Path) -> None:
    """Its stated service goes before every word of its name."""
    for part in ("bearing_cover", "gear_wheel", "boiler"):
        assert kinds(tmp_path, part, "pressure") == {"pressure"}


def test_every_word_names_texts_that_there_are() -> None:
    """Each row's text, and the one in its place, is a row of the texts."""
    texts = {row.text("designation") for row in catalogue.table("caution_texts").rows}
    for row in catalogue.table("cautions").rows:
        assert row.text("text") in texts
        assert row.text("instead") in texts | {""}
