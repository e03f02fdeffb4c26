"""Cards of every ordinary form: what is drawn, what it is sawn from, and what a bought part says.

The model is ``tests/cases/press.toml``, invented for this. Proportions, sides and stock are worked
out by hand beside each check.
"""

from __future__ import annotations

import re
import shutil
from fractions import Fraction
from pathlib import Path

import pytest

import scaler
from scaler.cards.cards import Card, card_pages, make_cards
from scaler.cards.page_html import css_text
from scaler.cards.sketch import Shape, exact_label, shape_of
from scaler.cards.sketch_draw import draw

F = Fraction
PRESS = Path(__file__).parent / "cases" / "press.toml"


@pytest.fixture(scope="module")
def press(tmp_path_factory: pytest.TempPathFactory) -> scaler.CheckResult:
    """The press, checked as chosen."""
    folder = tmp_path_factory.mktemp("press")
    shutil.copy(PRESS, folder / "model.toml")
    return scaler.check(scaler.load(folder))


@pytest.fixture(scope="module")
def cards(press: scaler.CheckResult) -> dict[str, Card]:
    """Its cards by part."""
    return {card.name: card for card in make_cards(press)}


@pytest.fixture(scope="module")
def pages(cards: dict[str, Card]) -> dict[str, str]:
    """Its pages on A4."""
    return card_pages(tuple(cards.values()), "A4")


def shape(card: Card) -> Shape:
    """The form that a card's sketch has."""
    lines = [item.line for item in card.sizes]
    labels = {item.line.size.id: exact_label(item.letter, "") for item in card.sizes}
    found = shape_of(lines, labels)
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("part", "form"),
    [
        ("base", "block"),
        ("screw_shaft", "shaft"),
        ("bush", "bush"),
        ("flange", "disc"),
        ("link", "rod"),
        ("side_plate", "plate"),
        ("cap", "face"),
        ("pin", "shaft"),
    ],
)
def test_every_form_is_recognised_and_drawn(
    part: str, form: str, cards: dict[str, Card], pages: dict[str, str]
) -> None:
    """The sketch is of the form, and each of its labels is a letter of the table and its figure."""
    found = shape(cards[part])
    assert found.form == form
    page = pages[f"{part}.html"]
    sketch = page[page.index("<svg") : page.index("</svg>")]
    labels = re.findall(r"<text[^>]*>([a-z]) ([^<]+)</text>", sketch)
    assert len(labels) >= 2
    made = dict(re.findall(r'<span class="key">([a-z])</span></th>.*?<b>([^<]+)</b>', page))
    for letter, value in labels:
        assert made[letter] == value


@pytest.mark.parametrize(
    ("part", "roles"),
    [
        ("flange", {"thickness", "bore", "circle", "count", "hole", "outside"}),
        ("cap", {"side", "thickness", "bore", "circle", "count", "hole"}),
        ("link", {"centres", "eye", "bore", "thickness", "depth"}),
        ("side_plate", {"along", "deep", "thickness", "point", "hole"}),
    ],
)
def test_nothing_that_can_be_drawn_is_left_out(
    part: str, roles: set[str], cards: dict[str, Card]
) -> None:
    """Every role that the part's sizes give is in the sketch; a turned thickness is no diameter."""
    found = shape(cards[part])
    assert {role for role, features in found.roles.items() if features} == roles


def rects(picture: str) -> list[tuple[float, float]]:
    """Width and height of the outlined rectangles of a picture."""
    return [
        (float(w), float(h))
        for w, h in re.findall(r'<rect class="w"[^>]* width="([\d.]+)" height="([\d.]+)"', picture)
    ]


@pytest.mark.parametrize(("long", "across"), [("1", "5"), ("4", "4"), ("6", "3"), ("12", "4")])
def test_a_plain_pin_keeps_its_proportions(tmp_path: Path, long: str, across: str) -> None:
    """A turned part with all its lengths is drawn as long as it is."""
    (tmp_path / "model.toml").write_text(
        '[model]\ntitle = "Pin (invented)"\nscale = "1:1"\n[drawing.s]\nunit = "in"\n'
        '[part.pin]\nmaterial = "brass"\ndrawing = "s"\n'
        f'size.diameter = {{ full = "{across}", rule = "turned" }}\n'
        f'size.length = {{ full = "{long}", rule = "turned" }}\n',
        encoding="utf-8",
    )
    (card,) = make_cards(scaler.check(scaler.load(tmp_path)))
    found = shape(card)
    ((wide, high),) = rects(draw(found, "p", "a pin", 190.0, 4.2))
    assert wide / high == pytest.approx(float(F(long) / F(across)), rel=0.02)


def test_a_bought_part_says_so(pages: dict[str, str]) -> None:
    """A bought pin: no stock, no tools, measure it; a stud of a thread alone: make or buy."""
    pin = pages["pin.html"]
    assert "<b>Bought:</b> not made here: measure what came" in pin
    assert "Stock:" not in pin and "Tools, in order" not in pin
    assert "Mates with" in pin  # what it must fit is still wanted
    assert "<b>Make or buy:</b>" in pages["cap_stud.html"]
    assert "Bought:" not in pages["base.html"]


def test_what_is_sawn(cards: dict[str, Card], pages: dict[str, str]) -> None:
    """20 × 8 in at 1:4 is 127 × 50.8 mm, with 1 mm a side: 129 × 52.8; a flange of 4.75 + 2."""
    side, flange, link = (cards[name].blank for name in ("side_plate", "flange", "link"))
    assert side is not None and side.outline == (129, F("52.8"))
    assert "saw <b>129.00 × 52.80 mm (5.079 × 2.079 in)</b>; 2 wanted" in pages["side_plate.html"]
    assert flange is not None and (flange.finished, flange.sawn) == (F("4.75"), F("6.75"))
    assert link is not None and link.sawn == F("88.9") + F("19.05") + 2
    assert "the eyes, 19.05 mm across, do not come out of a bar so narrow" in link.notes


def test_a_length_that_is_not_in_the_model_is_said_quietly(tmp_path: Path) -> None:
    """Once, in the strip of the stock, and nowhere as a fault."""
    (tmp_path / "model.toml").write_text(
        '[model]\ntitle = "Pin (invented)"\nscale = "1:1"\n[drawing.s]\nunit = "in"\n'
        '[part.pin]\nmaterial = "brass"\ndrawing = "s"\n'
        'size.diameter = { full = "1/2", rule = "turned" }\n',
        encoding="utf-8",
    )
    cards = make_cards(scaler.check(scaler.load(tmp_path)))
    page = card_pages(cards)["pin.html"]
    assert page.count("from the drawing") == 1


def test_each_sheet_carries_the_name_of_its_part(
    cards: dict[str, Card], pages: dict[str, str]
) -> None:
    """A second sheet can be put back with its first: the name stands at the foot of both."""
    every = pages["all.html"]
    for at, card in enumerate(cards.values(), 1):
        said = css_text(f"{card.title}; {card.model.title}")
        assert f'@page c{at}{{@bottom-left{{content:"{said}"' in every
        assert f".card:nth-of-type({at}){{page:c{at}}}" in every
        assert f'content:"{said}"' in pages[f"{card.name}.html"]


@pytest.mark.parametrize("text", ['a";}b{', "</style>", "x\ny", "Ø 12 \\ é", "plain words"])
def test_a_name_cannot_get_out_of_the_style_sheet(text: str) -> None:
    """Nothing but letters, figures, spaces and escapes; read back by CSS's own rule.

    A backslash, hexadecimal figures and one space stand for a character (CSS Syntax Module
    Level 3, "Consume an escaped code point").
    """
    safe = css_text(text)
    assert not set(safe) & set('";{}<>\n')
    assert re.sub(r"\\([0-9a-f]+) ", lambda m: chr(int(m[1], 16)), safe) == text
