"""Springs, nuts, keys, frames, gears: what their cards draw, what is bought, and with which tools.

The model is ``tests/cases/winch.toml``, invented for this, at 1:12. Sizes and stock are worked out
by hand beside each check. That a spring is wound of wire, a nut and a key are bought or made by
themselves, a keyway in a shaft is cut by a slot drill and one in a hub by a slotting tool, and a
square is milled after the shaft is turned is common practice.
"""

from __future__ import annotations

import re
import shutil
from fractions import Fraction
from pathlib import Path

import pytest

import scaler
from scaler.cards.cards import Card, card_pages, make_cards
from scaler.cards.page_report import report_page
from scaler.cards.sketch import Shape, shape_of
from scaler.cards.tools import tool_name
from scaler.checking.cautions import Caution
from scaler.desk.materials_list import MaterialsList
from scaler.examples import write_out
from scaler.tables import cautions_text

F = Fraction
WINCH = Path(__file__).parent / "cases" / "winch.toml"


@pytest.fixture(scope="module")
def winch(tmp_path_factory: pytest.TempPathFactory) -> scaler.CheckResult:
    """The winch, checked as chosen; a 4 mm ground bar of no stated material is on the shelf."""
    folder = tmp_path_factory.mktemp("winch")
    shutil.copy(WINCH, folder / "model.toml")
    (folder / "shelf.csv").write_text("family,size,quantity\nground bar,4 mm,1 m\n", "utf-8")
    return scaler.check(scaler.load(folder))


@pytest.fixture(scope="module")
def cards(winch: scaler.CheckResult) -> dict[str, Card]:
    """Its cards by part."""
    return {card.name: card for card in make_cards(winch)}


@pytest.fixture(scope="module")
def listed(winch: scaler.CheckResult) -> MaterialsList:
    """What it is made of."""
    return scaler.materials(winch.reduction)


def shape(card: Card) -> Shape | None:
    """The form that a card's sketch has."""
    return shape_of([item.line for item in card.sizes], {})


def test_a_spring_is_wound_of_wire(cards: dict[str, Card], listed: MaterialsList) -> None:
    """4.8 mm at 1:12 is 0.4 mm wire; it is drawn as a coil of nine turns, not as a stepped bar."""
    blank = cards["pawl_spring"].blank
    assert blank is not None and blank.section is not None
    assert (blank.section.form, dict(blank.section.measures)) == ("wire", {"diameter": F("0.4")})
    assert any("coiled" in note for note in blank.notes) and blank.sawn is None
    found = shape(cards["pawl_spring"])
    assert found is not None and found.form == "coil"
    turns = found.one("turns")
    assert turns is not None and turns.value == 9
    picture = card_pages((cards["pawl_spring"],), "A4")["pawl_spring.html"]
    assert "A spring seen from the side" in picture
    assert "wire" in {line.section.form for line in listed.lines if line.section is not None}


def test_holes_in_a_frame_are_no_eyes_of_a_rod(cards: dict[str, Card]) -> None:
    """A frame 116.5 mm high with holes 31.25 mm apart: a plate with two holes, cut from sheet."""
    found = shape(cards["frame"])
    assert found is not None and found.form == "plate"
    assert len(found.roles["hole"]) == 2 and found.one("between") is not None
    assert not found.roles["point"]  # from hole to hole, not from an edge
    blank = cards["frame"].blank
    assert blank is not None and not any("eye" in note for note in blank.notes)


def test_the_bar_of_a_rod_holds_its_eyes(cards: dict[str, Card]) -> None:
    """Eyes of radius 2.5 mm are 5 across, and 1 mm a side to clean up: 7; long 27 + 5 + 2 ends."""
    found = shape(cards["brake_link"])
    assert found is not None and found.form == "rod"
    blank = cards["brake_link"].blank
    assert blank is not None
    assert dict(blank.wanted) == {"thickness": F(4), "width": F(7)}  # 2 mm and 1 a side
    assert (blank.finished, blank.sawn) == (F(32), F(34))
    assert blank.section is not None and dict(blank.section.measures)["width"] >= 7


def test_what_is_sold_as_it_is(cards: dict[str, Card], listed: MaterialsList) -> None:
    """A nut, a key and a bearing are named by their rows, on the card and in the list alike."""
    bought = {part.part: dict(part.sizes) for part in listed.bought}
    assert set(bought) == {"pawl_nut", "drum_key", "bearing"}
    assert bought["pawl_nut"]["flats"] == "5.5 mm, of M3"  # ISO 272: 5.5 across flats for M3
    pages = card_pages(tuple(cards.values()), "A4")
    for part, row in (
        ("pawl_nut", "M3"),
        ("drum_key", "2 x 2 key"),
        ("bearing", "606"),  # ISO 15: 6 × 17 × 6, from memory
    ):
        assert cards[part].blank is None
        assert f"<b>Make or buy:</b> {row}." in pages[f"{part}.html"]
        assert "Stock:" not in pages[f"{part}.html"]


def test_every_part_is_somewhere_on_the_list(
    winch: scaler.CheckResult, listed: MaterialsList
) -> None:
    """No part of the model is left out of both the cutting list and the bought parts."""
    there = {line.part for line in listed.lines} | {part.part for part in listed.bought}
    assert there == set(winch.model.parts)


def test_a_bar_that_a_size_takes_from_the_shelf_counts(listed: MaterialsList) -> None:
    """The shelf does not say what its 4 mm bar is of; the pin takes it, so it is sawn from it."""
    (pin,) = (line for line in listed.lines if line.part == "pawl_pin")
    assert pin.section is not None and pin.section.owned
    assert dict(pin.section.measures) == {"diameter": F(4)}


def test_a_shaft_with_a_throw_is_no_disc(cards: dict[str, Card]) -> None:
    """A throw of 16.67 mm reaches outside a shaft of 7 mm: no pin can stand on its face."""
    found = shape(cards["crankshaft"])
    assert found is not None and found.form == "shaft"


@pytest.mark.parametrize(
    ("part", "tools"),
    [
        ("drum_shaft", ["turning tool", "milling cutter", "slot drill 2 mm"]),
        ("wheel", ["gear cutter module 1 No. 7", "slotting tool"]),
        ("collar", ["tapping drill 1.6 mm", "tap M2"]),
    ],
)
def test_tools_in_the_order_of_use(part: str, tools: list[str], cards: dict[str, Card]) -> None:
    """The square after the turning; keyways in shaft and hub; a grub screw's hole is tapped.

    Cutter No. 7 of the module set is for 55 to 134 teeth (DIN 3972 sets, from memory); the tapping
    drill of M2 is 1.6 mm (ISO 2306:1972, from memory).
    """
    named = [tool_name(use) for use in cards[part].tools]
    at = [named.index(tool) for tool in tools]
    assert at == sorted(at)
    assert "die M2" not in named


def test_the_report_names_rows_and_counts_in_words(winch: scaler.CheckResult) -> None:
    """What was chosen is named by its row; teeth are a number, not a length; no software is named."""
    page = report_page(winch, paper="A4")
    assert "on its step of 1 mm" not in page and "sympy" not in page
    wheel = page[page.index('id="part-wheel"') :]
    teeth = wheel[wheel.index(">teeth<") : wheel.index(">module<")]
    assert '<td class="f">60</td>' in teeth and "a whole number" in teeth
    assert "details:not([open])" in page  # what is folded in is not printed as a heading alone


def test_an_equality_on_a_card_is_its_sum(tmp_path: Path) -> None:
    """0.000 mm of what? The card gives the equation, and how far out it is where it does not hold."""
    (tmp_path / "model.toml").write_text(
        '[model]\nscale = "1:1"\n[part.rod]\nmaterial = "brass"\nsize.length = {}\n'
        'size.head = "4 mm"\nsize.shank = "9 mm"\n[condition.over_all]\n'
        'keep = "rod.length == rod.head + rod.shank"\n[condition.even]\n'
        'keep = "rod.shank == 2 * rod.head"\n',
        encoding="utf-8",
    )
    cards = make_cards(scaler.check(scaler.load(tmp_path)))
    page = card_pages(tuple(cards), "A4")["rod.html"]
    assert "rod length = rod head + rod shank. " in page
    assert "rod shank = 2 × rod head; it is 1.000 mm out. " in page
    assert "comes to 0.000 mm" not in page


def test_what_varies_has_no_chance_of_one_exact_value(tmp_path: Path) -> None:
    """A sum that is to be exactly so, judged at basic sizes: no chance is given, not a chance of 0."""
    (tmp_path / "model.toml").write_text(
        '[model]\nscale = "1:1"\n[part.rod]\nsize.head = "4 mm"\nsize.shank = "8 mm"\n'
        '[condition.even]\nkeep = "rod.shank == 2 * rod.head"\n',
        encoding="utf-8",
    )
    chain = scaler.chain(scaler.load(tmp_path), "even")
    assert chain.monte_carlo is not None and chain.monte_carlo.chance is None


def test_a_recorded_choice_names_its_row_in_the_report(tmp_path: Path) -> None:
    """A thread is M2 and a bar 1/4 in whichever way it was chosen."""
    folder = tmp_path / "mill"
    write_out("starter", folder)
    scaler.write_choices(scaler.substitute(scaler.load(folder)))
    page = report_page(scaler.check(scaler.load(folder)), paper="A4")
    assert "<td>metric thread, M2<br>" in page and "<td>reamed, 3/8 in<br>" in page


def test_a_size_cut_last_has_no_limits_beside_its_aim(tmp_path: Path) -> None:
    """The process's own limits about the basic size say otherwise than the aim: one of them goes."""
    folder = tmp_path / "mill"
    write_out("starter", folder)
    page = card_pages(tuple(make_cards(scaler.check(scaler.load(folder)))), "A4")["bush.html"]
    rows = dict(re.findall(r'<tr data-size="bush\.([a-z]+)"(.*?)</tr>', page, re.DOTALL))
    assert set(rows) == {"outside", "bore", "length"}
    for name in ("outside", "bore"):
        assert "cut last" in rows[name]
        assert "<td>to suit, below</td>" in rows[name] and "lims" not in rows[name]
    assert "lims" in rows["length"] and "to suit" not in rows["length"]


def test_what_comes_with_a_row_is_not_cut(winch: scaler.CheckResult) -> None:
    """The flats and height of a nut are read as it comes; a keyway is cut, a nut is not."""
    kinds = {step.size: step.kind for step in scaler.making_order(winch.model).steps}
    assert kinds["pawl_nut.flats"] == kinds["pawl_nut.height"] == "as supplied"
    assert kinds["drum_shaft.keyway_width"] == "cut to size"


def test_a_caution_names_a_part_once() -> None:
    """Two pressed bushes in one frame: the frame is named once."""
    one = Caution("bush, frame", "fit", "no approval", "Have it judged.", False)
    other = Caution("pin, frame", "fit", "no approval", "Have it judged.", False)
    assert cautions_text((one, other)) == "* no approval: bush, frame, pin. Have it judged."


def test_rounding_is_told_by_what_it_does_to_the_fit(tmp_path: Path) -> None:
    """A shaft 0.038 mm too large takes 0.038 mm off the clearance: the sign belongs to the fit."""
    folder = tmp_path / "mill"
    write_out("starter", folder)
    conflicts = scaler.check(scaler.load(folder)).conflicts
    (text,) = (c.text for c in conflicts if c.text.startswith("crank_on_shaft"))
    assert "rounding moves it -0.038 by shaft.crank_end" in text
