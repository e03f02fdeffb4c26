"""Slots before they are cut: cutter and passes, corner, reach."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction as F
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import scaler
from scaler.checking.workability import Workability, WorkFinding, workability
from scaler.checking.workability_slots import passes
from scaler.records import Verdict

HEAD = """
[model]
title = "Loom (invented)"
scale = "1:1"
{more}
[drawing.sheet]
unit = "mm"
"""

Look = Callable[..., dict[str, WorkFinding]]


def made(
    folder: Path, parts: str, shop: str = "", overrules: Mapping[str, str] | None = None
) -> Workability:
    """What is found for the parts given; ``shop`` lists family,size lines and shuts the rest out."""
    more = 'shop = "shelf.csv"\nshop_only = true' if shop else ""
    (folder / "model.toml").write_text(HEAD.format(more=more) + parts, encoding="utf-8")
    if shop:
        (folder / "shelf.csv").write_text("family,size\n" + shop, encoding="utf-8")
    return workability(scaler.load(folder), overrules=overrules)


@pytest.fixture
def look(tmp_path: Path) -> Look:
    """Findings by name."""

    def found(parts: str, shop: str = "") -> dict[str, WorkFinding]:
        return {finding.id: finding for finding in made(tmp_path, parts, shop)}

    return found


def part(sizes: str, material: str = "mild steel", name: str = "plate") -> str:
    """A part of that material with its sizes."""
    return f'[part.{name}]\nmaterial = "{material}"\n{sizes}\n'


# ------------------------------------------------------------------------------------------ slots

MILL = '"milled step 0.05 mm"'


def test_the_nearest_cutter_below_a_slot_and_its_passes(look: Look) -> None:
    """Slot of 6.2 mm: the 6 mm cutter in two passes (common practice), corners of 3 mm."""
    found = look(
        part(f'size.slot = {{ full = "6.2 mm", rule = {MILL} }}'),
        "slot drill,4 mm\nslot drill,6 mm\nslot drill,8 mm\n",
    )["slot_cutter.plate.slot"]
    assert found.verdict is Verdict.HOLDS
    assert found.note.startswith("6 mm slot drill, 2 passes")
    assert "3.00 mm radius" in found.note
    assert (found.found, found.wanted) == (F("6.2"), F(4))


def test_a_slot_narrower_than_every_cutter_fails(look: Look) -> None:
    """No cutter goes through a slot narrower than itself; the source is told."""
    found = look(
        part(f'size.slot = {{ full = "1.8 mm", rule = {MILL} }}'),
        "slot drill,2 mm\nslot drill,6 mm\n",
    )["slot_cutter.plate.slot"]
    assert found.verdict is Verdict.FAILS and found.fails
    assert found.source == "common practice"
    assert found.margin[1] is not None and found.margin[1] < 0


def test_a_cutter_of_the_slots_own_width_cuts_over(look: Look) -> None:
    """Slot drilled to its row: one pass, with the word of warning and the smaller cutter."""
    found = look(
        part('size.slot = { full = "6 mm", rule = "slot drilled" }'),
        "slot drill,5 mm\nslot drill,6 mm\n",
    )["slot_cutter.plate.slot"]
    assert "one pass" in found.note and "cuts over" in found.note
    assert "5 mm slot drill in two passes" in found.note


def test_no_cutter_in_the_shop_list_is_doubtful_not_held(look: Look) -> None:
    """What is not known is not held."""
    found = look(part(f'size.slot = {{ full = "6 mm", rule = {MILL} }}'), "drill,3 mm\n")
    assert found["slot_cutter.plate.slot"].verdict is Verdict.DOUBTFUL
    assert "no slot drill or end mill" in found["slot_cutter.plate.slot"].note


def test_turned_and_ground_grooves_are_left_alone(look: Look) -> None:
    """Only slots that a cutter opens are looked at."""
    found = look(
        part(
            'size.groove = { full = "1 mm", rule = "ground step 0.01 mm" }\n'
            'size.slot = { full = "5 mm", kind = "slot", rule = "filed step 0.1 mm" }'
        )
    )
    assert not [name for name in found if name.startswith("slot_cutter")]


@pytest.mark.parametrize(
    ("radius", "verdict"),
    [("2 mm", Verdict.HOLDS), ("0.8 mm", Verdict.FAILS)],
)
def test_the_corner_a_cutter_leaves(look: Look, radius: str, verdict: Verdict) -> None:
    """Machining guides (copies): an inside corner has the cutter's radius at least. Cutters of 2
    and 6 mm: a corner of 2 mm holds (with 2 mm), one of 0.8 fails."""
    found = look(
        part(
            f'size.pocket = {{ full = "20 mm", kind = "slot", rule = {MILL} }}\n'
            f'size.pocket_corner_radius = {{ full = "{radius}", rule = {MILL} }}'
        ),
        "slot drill,2 mm\nslot drill,6 mm\n",
    )["corner_radius.plate.pocket_corner_radius"]
    assert found.verdict is verdict
    if verdict is Verdict.HOLDS:
        assert found.note == "cut it with 2 mm slot drill at most"


def test_an_outside_corner_radius_is_not_taken_for_a_slots(look: Look) -> None:
    """A plate's own corner_radius with no slot, or with two, belongs to none of them."""
    text = f'size.corner_radius = {{ full = "0.5 mm", rule = {MILL} }}'
    assert not look(part(text))
    two = look(
        part(
            text + f'\nsize.left_slot = {{ full = "8 mm", rule = {MILL} }}'
            f'\nsize.right_slot = {{ full = "8 mm", rule = {MILL} }}'
        )
    )
    assert not [name for name in two if name.startswith("corner_radius")]


@pytest.mark.parametrize(("depth", "verdict"), [("6 mm", Verdict.HOLDS), ("30 mm", Verdict.FAILS)])
def test_the_cutter_reaches_the_depth(look: Look, depth: str, verdict: Verdict) -> None:
    """A 4 mm cutter: flutes 7 mm (slot drill) or 11 mm (end mill) in the tables, from memory."""
    found = look(
        part(
            f'size.slot = {{ full = "4 mm", rule = {MILL} }}\n'
            f'size.slot_depth = {{ full = "{depth}", rule = {MILL} }}'
        ),
        "slot drill,4 mm\nend mill,4 mm\n",
    )["cutter_reach.plate.slot"]
    assert found.verdict is verdict
    assert found.found == 11 and found.text.startswith("the flutes of 4 mm end mill")


def test_the_corner_decides_which_cutter_must_reach(look: Look) -> None:
    """Corners of 2 mm want the 4 mm cutter (flutes 7), though a 6 mm one (flutes 8) would reach."""
    text = (
        f'size.pocket = {{ full = "20 mm", kind = "slot", rule = {MILL} }}\n'
        f'size.pocket_depth = {{ full = "7.5 mm", rule = {MILL} }}\n'
    )
    corner = f'size.pocket_corner_radius = {{ full = "2 mm", rule = {MILL} }}'
    shelf = "slot drill,4 mm\nslot drill,6 mm\n"
    sharp = look(part(text + corner), shelf)["cutter_reach.plate.pocket"]
    assert (sharp.found, sharp.verdict) == (F(7), Verdict.FAILS)
    assert look(part(text), shelf)["cutter_reach.plate.pocket"].found == 8


def test_a_catalogue_cutter_brings_its_own_flute_length(look: Look) -> None:
    """Without a shop list the row itself tells: 4 mm slot drill, flutes 7 mm."""
    found = look(
        part(
            'size.slot = { full = "4 mm", rule = "slot drilled" }\n'
            f'size.slot_depth = {{ full = "30 mm", rule = {MILL} }}'
        )
    )["cutter_reach.plate.slot"]
    assert (found.found, found.verdict) == (F(7), Verdict.FAILS)


def test_a_slot_through_a_plate_goes_as_deep_as_the_plate(look: Look) -> None:
    """Without a depth a plate's slot is taken to go right through, and that is said."""
    found = look(
        part(
            f'size.slot = {{ full = "4 mm", rule = {MILL} }}\n'
            'size.thickness = { full = "20 mm", kind = "external", rule = "plate" }'
        ),
        "slot drill,4 mm\nplate,20 mm\n",
    )["cutter_reach.plate.slot"]
    assert (found.found, found.wanted) == (F(7), F(20)) and found.fails
    assert "right through the plate" in found.note


def test_a_cutter_without_a_flute_length_is_doubtful(look: Look) -> None:
    """The tables give 1 mm cutters no flute length: blank is not nought, and not enough."""
    found = look(
        part(
            f'size.slot = {{ full = "1 mm", rule = {MILL} }}\n'
            f'size.slot_depth = {{ full = "1 mm", rule = {MILL} }}'
        ),
        "slot drill,1 mm\n",
    )["cutter_reach.plate.slot"]
    assert found.verdict is Verdict.DOUBTFUL and "no flute length" in found.note


@given(
    st.fractions(min_value=F(1, 10), max_value=100, max_denominator=100),
    st.fractions(min_value=F(1, 10), max_value=100, max_denominator=100),
)
def test_passes_open_the_slot_and_one_less_does_not(slot: F, cutter: F) -> None:
    """So many passes of the cutter are as wide as the slot; one less is not."""
    if cutter > slot:
        with pytest.raises(ValueError, match="not wider"):
            passes(slot, cutter)
        return
    count = passes(slot, cutter)
    assert (count - 1) * cutter < slot <= count * cutter
    assert (count == 1) is (slot == cutter)
