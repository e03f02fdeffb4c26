"""What a person at the bench reads of a twin whose copies were measured: figures, words and units."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction as F
from html import unescape
from pathlib import Path

import pytest

import scaler
from scaler.as_made.making_order import making_order
from scaler.cards.cards import card_pages, make_cards
from scaler.cards.page_report import report_page
from scaler.fitting.press_pairs import pressed_pair
from scaler.problems import InputError
from scaler.substitution.sweep import Sweep, SweepPoint
from scaler.substitution.text import sweep_grid
from scaler.tables import explanation_text, findings_grid

TWIN = """
[model]
title = "Twin (invented)"
scale = "1:10"
[drawing.sheet]
unit = "mm"
[part.barrel]
material = "cast iron"
copies = ["left", "right"]
size.bore = { full = "371", kind = "internal", rule = "bored step 0.1 mm" }
[part.piston]
material = "cast iron"
copies = ["left", "right"]
size.diameter = { full = "370.4", kind = "external", rule = "turned step 0.01 mm" }
[part.rod]
material = "mild steel"
size.diameter = { full = "65", kind = "external", rule = "turned step 0.01 mm" }
size.length = { full = "1450", rule = "turned step 0.1 mm" }
[part.crosshead]
material = "gunmetal"
size.bore = { full = "64.9", kind = "internal", rule = "bored step 0.01 mm" }
[part.rocker]
size.throw = { full = "265", kind = "radius", rule = "milled step 0.1 mm" }
size.centres = { full = "1323", kind = "position", rule = "milled step 0.1 mm" }
[pair.piston_in_barrel]
inner = "piston.diameter"
outer = "barrel.bore"
fit = "clearance 0.03 to 0.06 mm"
basis = "last cut piston.diameter"
[pair.rod_in_crosshead]
inner = "rod.diameter"
outer = "crosshead.bore"
fit = "interference 0.001 to 0.030 mm"
basis = "last cut rod.diameter"
[condition.leans]
keep = "asin(rocker.throw / rocker.centres) <= LIMIT"
"""
READINGS = (
    "time,action,size,copy,value,instrument,note\n"
    "2026-01-01T00:00:00Z,reading,barrel.bore,left,37.15 mm,micrometer,\n"
    "2026-01-01T00:00:01Z,reading,barrel.bore,right,37.02 mm,micrometer,\n"
)


def twin(folder: Path, limit: str = "'12 deg'", extra: str = "") -> scaler.CheckResult:
    """The twin with both barrels measured, checked."""
    text = TWIN.replace("LIMIT", limit) + extra
    (folder / "model.toml").write_text(text, encoding="utf-8")
    (folder / "readings.csv").write_text(READINGS, encoding="utf-8")
    return scaler.check(scaler.load(folder))


# A turned last cut takes 0.01 mm and a micrometer is good to ± 0.002 (methods and instruments
# tables, common practice): aims keep 0.005 + 0.002 = 0.007 mm from either end of the fit, by hand.
SAFE = {"left": (F("37.097"), F("37.113")), "right": (F("36.967"), F("36.983"))}


def test_the_card_gives_each_copy_its_own_aim(tmp_path: Path) -> None:
    """One aim for both would leave the right piston larger than its barrel."""
    page = unescape(card_pages(make_cards(twin(tmp_path)))["piston.html"])
    said = re.search(r"As they read, aim at: ([^<]*)\. ", page)
    assert said is not None
    for told, (copy, (low, high)) in zip(said[1].split("; "), SAFE.items(), strict=True):
        name, _, figure = told.partition(", ")
        assert name == copy and low <= F(figure.split()[0]) <= high


def test_the_next_cut_is_aimed_inside_its_room(tmp_path: Path) -> None:
    """Wherever in its tolerance the cut comes out, the fit holds: not at the window's very edge."""
    order = making_order(twin(tmp_path).model, part="piston")
    found = {
        step.target.copy: step.target
        for step in order.steps
        if step.target is not None and step.target.size == "piston.diameter"
    }
    for copy, (low, high) in SAFE.items():
        aim = found[copy].aim
        assert aim is not None and low <= aim <= high


def test_a_rods_whole_length_is_not_the_length_of_its_seat(tmp_path: Path) -> None:
    """The rod runs on beyond the crosshead: no force is given until the seat's length is known."""
    (press,) = pressed_pair(twin(tmp_path).model, "rod_in_crosshead")
    assert press.tight is not None and press.tight.axial is None
    assert any("length of the fit is not drawn" in note for note in press.notes)
    seat = 'size.length = { full = "200", rule = "milled step 0.1 mm" }\n[part.rocker]'
    text = TWIN.replace("[part.rocker]", seat)
    (tmp_path / "model.toml").write_text(text.replace("LIMIT", "'12 deg'"), encoding="utf-8")
    (press,) = pressed_pair(scaler.load(tmp_path), "rod_in_crosshead")
    assert press.tight is not None and press.tight.axial is not None
    assert "length of the fit: crosshead.length" in press.notes  # 20 mm, the rod is 145


def test_degrees_bear_their_sign(tmp_path: Path) -> None:
    """asin(26.5/132.3) is 11.555° (a pocket calculator: common practice)."""
    result = twin(tmp_path)
    rows = {row[1]: row for row in findings_grid(result.findings, "mm").rows}
    assert rows["leans"][2:4] == ("<= 12.000°", "11.555°")
    page = unescape(card_pages(make_cards(result))["rocker.html"])
    assert "at most 12°; comes to 11.555°" in page


def test_an_angle_against_a_number_is_told_how_an_angle_is_written(tmp_path: Path) -> None:
    """The cure names degrees, not a length."""
    with pytest.raises(InputError) as caught:
        twin(tmp_path, "12")
    (problem,) = caught.value.problems
    assert "compares an angle with a number" in problem.headline
    assert problem.advice == "an angle is quoted with its unit, '12 deg'"


def test_explain_shows_the_figure_that_fails(tmp_path: Path) -> None:
    """37.15 - 37.04 = 0.11: the basic sizes fail, though the last cut can still bring it right."""
    text = explanation_text(scaler.explain(twin(tmp_path).model, "barrel.bore@left"), "mm")
    line = next(one for one in text.splitlines() if "piston_in_barrel@left" in one)
    assert "loose" in line and "wanted 0.030 to 0.060, is 0.110 at basic sizes" in line


@pytest.mark.parametrize(("material", "warned"), [('material = "bronze"\n', False), ("", True)])
def test_a_bearing_made_of_bronze_is_no_rolling_bearing(
    tmp_path: Path, material: str, warned: bool
) -> None:
    """A plain bearing is made; one of no stated material may be a rolling one, bought."""
    extra = f"[part.main_bearing]\n{material}"
    extra += 'size.outside = { full = "198", kind = "external", rule = "turned step 0.1 mm" }\n'
    notes = twin(tmp_path, extra=extra).reduction.notes
    assert any("rolling bearings" in note.headline for note in notes) is warned


def test_a_sweep_names_whole_conflicts(tmp_path: Path) -> None:
    """No name is cut off in the middle; what is left out is counted."""
    names = tuple(f"a_rather_long_name_of_a_pair_{n}, another_one_{n}" for n in range(4))
    point = SweepPoint(F(1, 8), "1 : 8", "impossible", F(1), 4, 0, 9, names)
    (row,) = sweep_grid(Sweep(twin(tmp_path).model, (point,))).rows
    assert row[-1] == f"{names[0]}; {names[1]}; and 2 more"


@pytest.mark.parametrize(("full", "told"), [("6.5", True), ("64", False)])
def test_a_size_in_the_wrong_unit_is_not_taken_for_a_running_clearance(
    tmp_path: Path, full: str, told: bool
) -> None:
    """6.5 for 65: the rod lies 5.8 mm from its bore and each may depart 0.65 and 0.5 mm at most
    (10 % or 0.5 mm); 64 for 65 may be mended by choices, and is told how clearances are set."""
    twin(tmp_path)
    path = tmp_path / "model.toml"
    text = path.read_text(encoding="utf-8").replace('full = "65"', f'full = "{full}"')
    path.write_text(text, encoding="utf-8")
    conflicts = scaler.check(scaler.load(tmp_path)).conflicts
    said = next(c.text for c in conflicts if c.finding.statement.id == "rod_in_crosshead")
    assert ("read them and their units again" in said) is told
    assert ("set the clearance afresh" in said) is not told
    if told:
        assert f"rod.diameter {full} mm" in said


@pytest.mark.parametrize(("throw", "noted"), [("40", True), ("4", False)])
def test_a_crank_does_not_come_out_of_the_bar_of_its_journal(
    tmp_path: Path, throw: str, noted: bool
) -> None:
    """A throw of 40 mm reaches outside a bar of 13 mm; an eccentric of 4 mm lies within it."""
    (tmp_path / "model.toml").write_text(
        '[model]\ntitle = "Crank (invented)"\nscale = "1:1"\n[drawing.s]\nunit = "mm"\n'
        '[part.crank]\nmaterial = "mild steel"\ndrawing = "s"\n'
        'size.journal = { full = "13", kind = "external", rule = "turned" }\n'
        f'size.throw = {{ full = "{throw}", kind = "radius", rule = "milled" }}\n',
        encoding="utf-8",
    )
    (card,) = make_cards(scaler.check(scaler.load(tmp_path)))
    assert card.blank is not None
    assert any("throw reaches outside" in note for note in card.blank.notes) is noted


def test_a_size_behind_a_pressure_part_is_not_called_one(tmp_path: Path) -> None:
    """It gets no figure either, but the reason is the right one."""
    extra = (
        '[part.receiver]\nservice = "pressure"\nsize.length = { full = "300" }\n'
        "[part.strap]\nsize.length = { equals = \"receiver.length + '2 mm'\" }\n"
    )
    model = twin(tmp_path, extra=extra).model
    for name, said in (
        ("receiver.length", "no figure is given for a pressure part"),
        ("strap.length", "it is worked out from a size of a pressure part"),
    ):
        (step,) = scaler.explain(model, name).steps
        assert step.what == "refused" and said in step.text


def test_a_conflict_names_the_copy_that_was_measured(tmp_path: Path) -> None:
    """37.15 - 37.04 = 0.11: the figures named make up the clearance found, each in its own line."""
    result = twin(tmp_path)
    conflict = next(
        c for c in result.conflicts if c.finding.statement.id == "piston_in_barrel@left"
    )
    said = {member.text: str(member.place) for member in conflict.members}
    assert said["barrel.bore@left is 37.15, as made"] == "readings.csv, line 2"
    page = unescape(report_page(result))
    assert "0.110 mm at basic sizes" in page


# ------------------------------------------------------------- what was made, on the cards

MAKE = re.compile(
    r'<tr data-size="([^"]+)" data-exact="([^"]*)">.*?<td class="make">(.*?)</td><td>(.*?)</td>',
    re.DOTALL,
)
FIGURE = re.compile(r'<b>([^<]*)</b> <span class="u">[^<]*</span></span><span>(.*?)</span></span>')


def made_rows(folder: Path, readings: str) -> dict[str, tuple[list[tuple[str, str]], str, str]]:
    """Of each size of the twin's cards: the bold figures with what stands under them, the limits,
    and the exact value of the first."""
    (folder / "model.toml").write_text(TWIN.replace("LIMIT", "'12 deg'"), encoding="utf-8")
    head = "time,action,size,copy,value,instrument,note\n"
    (folder / "readings.csv").write_text(head + readings, encoding="utf-8")
    pages = card_pages(make_cards(scaler.check(scaler.load(folder))))
    found = {}
    for name in ("barrel", "piston", "rod", "crosshead"):
        for identity, exact, make, limits in MAKE.findall(unescape(pages[f"{name}.html"])):
            found[identity] = (FIGURE.findall(make), limits, exact)
    return found


def reading(size: str, copy: str, value: str) -> str:
    """A line of the log."""
    return f"2026-01-01T00:00:00Z,reading,{size},{copy},{value} mm,micrometer,\n"


def test_a_card_shows_what_was_made_and_what_the_rest_must_become(tmp_path: Path) -> None:
    """Left barrel read at 37.22: its card has that and the plan for the right one; the left piston
    must come to 37.16 to 37.19 (37.22 less 0.06, less 0.03), the right one stays as planned."""
    plain = made_rows(tmp_path, "")
    assert [text for text, _ in plain["barrel.bore"][0]] == ["37.10"]
    rows = made_rows(tmp_path, reading("barrel.bore", "left", "37.22"))
    (right, left), limits, exact = rows["barrel.bore"]
    assert right[0] == "37.10" and ">right<" in right[1] and "made" not in right[1]
    assert left[0] == "37.22" and "left, as made" in left[1]
    assert F(exact) == F("37.1") and "37.22" not in limits
    (left, right), limits, exact = rows["piston.diameter"]
    assert F("37.16") <= F(exact) <= F("37.19") and F(left[0]) == F(exact) and ">left<" in left[1]
    assert right[0] == plain["piston.diameter"][0][0][0] and ">right<" in right[1]
    assert re.findall(r'class="lr">([0-9.]+)<', limits)[:2] == ["37.19", "37.16"]
    assert rows["rod.diameter"] == plain["rod.diameter"]


def test_a_card_says_the_same_as_next(tmp_path: Path) -> None:
    """Both barrels read, and the whole crosshead: one target a copy, and one for the rod."""
    rows = made_rows(
        tmp_path,
        reading("barrel.bore", "left", "37.22")
        + reading("barrel.bore", "right", "37.15")
        + reading("crosshead.bore", "", "6.53"),
    )
    model = scaler.load(tmp_path)
    for size, copies in (("piston.diameter", ("left", "right")), ("rod.diameter", ("",))):
        order = making_order(model, part=size.partition(".")[0])
        steps = {s.target.copy: s.target for s in order.steps if s.target and s.size == size}
        shown = rows[size][0]
        assert len(shown) == len(copies)
        for copy, (text, _) in zip(copies, shown, strict=True):
            value = steps[copy].value
            assert value is not None and F(text) == value
    assert [text for text, _ in rows["barrel.bore"][0]] == ["37.22", "37.15"]
    ((text, under),) = rows["crosshead.bore"][0]
    assert text == "6.53" and "as made" in under and not rows["crosshead.bore"][1]


def test_a_size_that_nothing_can_suit_has_no_figure(tmp_path: Path) -> None:
    """Where next says that nothing serves, no figure stands in bold that would spoil the piston."""
    made_rows(tmp_path, reading("barrel.bore", "left", "37.22"))
    (card,) = make_cards(scaler.check(scaler.load(tmp_path)), ["piston"])
    (item,) = card.sizes
    left, right = item.to_make
    assert left.copies == ("left",) and left.value is not None
    spoilt = replace(item, to_make=(replace(left, value=None), right))
    page = unescape(card_pages([replace(card, sizes=(spoilt,))])["piston.html"])
    ((_, exact, make, limits),) = MAKE.findall(page)
    assert exact == "" and limits == "to suit, below"
    (text, under), (other, _) = FIGURE.findall(make)
    assert text == "nothing serves" and "left" in under and "ways out" in under
    assert other == "37.04"
