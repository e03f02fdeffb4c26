"""The materials list: sections, lengths, weights, tools, and the files for ordering."""

from __future__ import annotations

import csv
import io
import json
import math
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

import scaler
from scaler import catalogue, examples
from scaler.cards.stock import (
    NO_LENGTH,
    Allowances,
    Section,
    Stock,
    sold_lengths,
    stock_material,
)
from scaler.cli import desk_commands
from scaler.desk.materials_list import MaterialsList, area_mm2, density_of, materials, weight_of
from scaler.desk.materials_tables import csv_text, grids, heading_words, left_open, sheets
from scaler.reading.shelf import shelf_lengths

F = Fraction


def listed_of(tmp_path: Path, body: str, shop: str = "", **head: str) -> MaterialsList:
    """The list of a model of one file, with a shop list where one is given."""
    lines = ['[model]\ntitle = "Yard pump (invented)"\nscale = "1:1"']
    lines += [f"{name} = {value}" for name, value in head.items()]
    if shop:
        lines.append('shop = "shelf.csv"')
        (tmp_path / "shelf.csv").write_text(shop, encoding="utf-8")
    text = "\n".join(lines) + '\n[drawing.s]\nunit = "mm"\n' + body
    (tmp_path / "model.toml").write_text(text, encoding="utf-8")
    return materials(scaler.reduce(scaler.load(tmp_path)))


PIN = (
    '[part.pin]\nmaterial = "silver steel"\ndrawing = "s"\ncount = {count}\n'
    'size.diameter = {{ full = "6", rule = "ground bar" }}\n'
    'size.length = {{ full = "{length}", rule = "turned" }}\n'
)


def section(form: str, **measures: str) -> Section:
    """A section by its measures."""
    return Section(form, "", tuple((n, F(v)) for n, v in measures.items()), "", "")


# ----------------------------------------------------------------------------------- weights


@pytest.mark.parametrize(
    ("found", "density", "kg_per_m"),
    [
        # Worked examples of a stockist's page on the theoretical weight of steel bar (read as a
        # copy): W = 0.006165 d², 0.00785 a², 0.00785 b d, 0.006798 s²; kg a metre.
        (section("round", diameter="100"), 7850, "61.65"),
        (section("square", across_flats="20"), 7850, "3.14"),
        (section("flat", thickness="5", width="40"), 7850, "1.57"),
        (section("hexagon", across_flats="50"), 7850, "17"),
        # Weights of bar a metre, a second page (copy): 6, 8, 10, 12, 16, 20 mm.
        (section("round", diameter="6"), 7850, "0.222"),
        (section("round", diameter="8"), 7850, "0.395"),
        (section("round", diameter="12"), 7850, "0.888"),
        (section("round", diameter="16"), 7850, "1.58"),
        (section("round", diameter="20"), 7850, "2.47"),
        # Copper tube to EN 1057, weights a metre of a page (copy); 8900 kg/m3.
        (section("tube", outside="8", wall="1.5"), 8900, "0.27"),
        (section("tube", outside="10", wall="1"), 8900, "0.25"),
        (section("tube", outside="12", wall="1.5"), 8900, "0.44"),
        (section("tube", outside="15", wall="1"), 8900, "0.39"),
        (section("tube", outside="16", wall="2"), 8900, "0.78"),
    ],
)
def test_kilogrammes_a_metre(found: Section, density: int, kg_per_m: str) -> None:
    """Area times density is the printed weight to its last figure."""
    area = area_mm2(found)
    assert area is not None
    places = len(kg_per_m.partition(".")[2])
    assert f"{float(area) * density * 1e-6:.{places}f}" == kg_per_m


@given(st.fractions(min_value=F(1, 10), max_value=F(300)))
def test_areas_against_floats(size: Fraction) -> None:
    """π and √3 to the last digit a float has."""
    plain = float(size)
    round_ = area_mm2(Section("round", "", (("diameter", size),), "", ""))
    hexagon = area_mm2(Section("hexagon", "", (("across_flats", size),), "", ""))
    assert round_ is not None and hexagon is not None
    assert float(round_) == pytest.approx(math.pi * plain**2 / 4, rel=1e-14)
    assert float(hexagon) == pytest.approx(math.sqrt(3) / 2 * plain**2, rel=1e-14)


def test_no_weight_without_area_or_density() -> None:
    """A plate, a flat of one known side, a material that nobody knows: no figure."""
    assert area_mm2(section("plate", thickness="3")) is None
    assert area_mm2(section("flat", thickness="3")) is None
    assert weight_of(section("round", diameter="5"), F(100), "unobtainium") is None


def test_density_is_the_materials_table_s() -> None:
    """The figure and its source are those of the table, under the name it was found by."""
    row = catalogue.table("materials").find("bearing bronze")
    assert row is not None
    assert density_of("bronze") == (
        row.number("density_kg_m3"), "bearing bronze", row.text("density_source"),
    )  # fmt: skip


def test_weight_of_a_pin(tmp_path: Path) -> None:
    """Two pins of 6 mm, 40 long and a millimetre to face each end: π/4 · 36 · 84 · 7850."""
    listed = listed_of(tmp_path, PIN.format(count=2, length=40))
    (line,) = listed.lines
    assert line.weight is not None
    assert float(line.weight.kg) == pytest.approx(math.pi / 4 * 36 * 84 * 7850e-9, rel=1e-12)
    assert line.weight.material == "silver steel"


# ------------------------------------------------------------------------------------- stock


def test_as_supplied_or_the_next_bar_up(tmp_path: Path) -> None:
    """Ground bar is used as it is; a turned bronze part takes the next bar over size + 1.5 mm."""
    listed = listed_of(
        tmp_path,
        PIN.format(count=1, length=40) + '[part.bush]\nmaterial = "bronze"\ndrawing = "s"\n'
        'size.outside = { full = "14", rule = "turned" }\n'
        'size.bore = { full = "8", rule = "reamed" }\nsize.length = { full = "10", rule = "turned" }\n',
    )
    pin, bush = listed.lines
    assert pin.section is not None and pin.section.measures == (("diameter", F(6)),)
    assert "silver steel" in pin.section.designation
    assert bush.section is not None
    ((_, chosen),) = bush.section.measures
    sizes = sorted(
        row.number("diameter_mm")
        for row in catalogue.table("stock_round_metric").rows
        if row.text("material") == "bronze"
    )
    drawn = [size for size in sizes if size >= F("15.5")]
    assert chosen == drawn[0] == 16
    assert bush.blank.sawn == 12


def test_an_inch_shop_takes_inch_bars(tmp_path: Path) -> None:
    """The bars sold in the person's own system come first."""
    body = (
        '[part.bush]\nmaterial = "bronze"\ndrawing = "s"\n'
        'size.outside = { full = "14", rule = "turned" }\nsize.length = { full = "10", rule = "turned" }\n'
    )
    listed = listed_of(tmp_path, body, work='"in"')
    (line,) = listed.lines
    assert line.section is not None and line.section.designation.endswith(" in")
    assert dict(line.section.measures)["diameter"] >= F("15.5")


def test_blocks_and_plates(tmp_path: Path) -> None:
    """A block takes a flat that cleans up a millimetre a face; a plate its outline."""
    listed = listed_of(
        tmp_path,
        '[part.block]\nmaterial = "mild steel"\ndrawing = "s"\n'
        'size.width = { full = "22", kind = "external", rule = "milled" }\n'
        'size.thickness = { full = "8", kind = "external", rule = "milled" }\n'
        'size.length = { full = "60", rule = "milled" }\n'
        '[part.plate]\nmaterial = "mild steel"\ndrawing = "s"\n'
        'size.thickness = { full = "3", kind = "external", rule = "plate" }\n'
        'size.width = { full = "40", kind = "length", rule = "milled" }\n'
        'size.length = { full = "100", rule = "milled" }\n',
    )
    block, plate = listed.lines
    assert block.blank.wanted == (("thickness", 10), ("width", 24))
    assert block.section is not None
    measures = dict(block.section.measures)
    assert measures["thickness"] >= 10 and measures["width"] >= 24
    assert block.blank.sawn == 62
    assert plate.section is not None and plate.section.form == "plate"
    assert plate.blank.outline == (102, 42)
    # 10.2 × 4.2 × 0.3 cm of steel at 7.85 g/cm³ (the density of the materials table)
    assert plate.weight is not None and float(plate.weight.kg) == pytest.approx(0.1008882, abs=1e-7)
    (order,) = [item for item in listed.orders if item.section.form == "plate"]
    assert order.area == 102 * 42 and order.plan is None and order.needed == 0
    assert "not worked out" in order.note


PLATE = (
    '[part.plate]\nmaterial = "mild steel"\ndrawing = "s"\ncount = {count}\n'
    'size.thickness = {{ full = "3", kind = "external", rule = "plate" }}\n'
    'size.width = {{ full = "40", kind = "length", rule = "milled" }}\n'
    'size.length = {{ full = "100", rule = "milled" }}\n'
)


@pytest.mark.parametrize(
    ("quantity", "count", "said"),
    [
        ("300 x 200 mm", 2, ""),
        ("2 off 42 x 102 mm", 2, ""),
        ("100 x 200 mm", 1, ""),
        ("101 x 100 mm", 1, "larger than every piece on the shelf"),
        ("102 x 42 mm", 2, "more than all the pieces on the shelf together"),
    ],
)
def test_sheet_on_the_shelf(tmp_path: Path, quantity: str, count: int, said: str) -> None:
    """What cannot come out of the pieces on the shelf is said; nothing more is promised."""
    shop = f"family,size,designation,quantity,note\nplate,3 mm,,{quantity},mild steel\n"
    listed = listed_of(tmp_path, PLATE.format(count=count), shop)
    (order,) = listed.orders
    assert order.section.owned
    rest = order.note.removeprefix("how the pieces lie on the sheet is not worked out")
    assert said in rest if said else rest == ""


def test_a_quantity_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    """A length without a unit that is known is not left out without a word; a count is none."""
    shop = "family,size,designation,quantity,note\nground bar,6 mm,,{},\nreamer,6 mm,,1 off,\n"
    wrong = listed_of(tmp_path, PIN.format(count=1, length=40), shop.format("2 off 330 mn"))
    (note,) = [n for n in wrong.model.notes if n.code == "shop-list"]
    assert note.place is not None and note.place.line == 2 and "2 off 330 mn" in note.headline
    good = listed_of(tmp_path, PIN.format(count=1, length=40), shop.format("2 off 330 mm"))
    assert not [n for n in good.model.notes if n.code == "shop-list"]
    assert good.model.shop[0].lengths == ((330, 2),)


def test_a_disc_s_thickness_is_its_length(tmp_path: Path) -> None:
    """A turned ring of 60 × 12: 12 long and 1 mm to face at each end; its thickness is no diameter."""
    listed = listed_of(
        tmp_path,
        '[part.ring]\nmaterial = "mild steel"\ndrawing = "s"\n'
        'size.diameter = { full = "60", rule = "turned" }\n'
        'size.thickness = { full = "12", kind = "external", rule = "turned" }\n',
    )
    (line,) = listed.lines
    assert (line.blank.finished, line.blank.sawn) == (12, 14)


def test_what_has_no_length_is_said_once(tmp_path: Path) -> None:
    """Two pins without a length: one line names both, no row of bars is without a figure."""
    body = PIN.format(count=1, length=40)
    bare = "\n".join(x for x in body.splitlines() if not x.startswith("size.length"))
    listed = listed_of(tmp_path, bare + "\n" + bare.replace("part.pin", "part.rod"))
    assert left_open(listed).count(NO_LENGTH) == 1
    assert "pin, rod" in left_open(listed)
    shown = dict(grids(listed, "mm"))
    assert shown["Bars and sheet"].rows == ()
    assert not any(NO_LENGTH in cell for row in shown["Cutting list"].rows for cell in row)


@pytest.mark.parametrize(("units", "shown", "hidden"), [("mm", " mm", " in"), ("in", " in", " mm")])
def test_lengths_are_in_the_unit_asked_for(
    tmp_path: Path, units: str, shown: str, hidden: str
) -> None:
    """Sawn lengths and the plan in mm or in inches: 42 mm is 1.654 in (25.4 mm to the inch)."""
    listed = listed_of(tmp_path, PIN.format(count=3, length=40))
    tables_shown = dict(grids(listed, units))
    cells = [row[3] for row in tables_shown["Cutting list"].rows]
    assert cells == ["42 mm" if units == "mm" else "1.654 in"]
    plan = " ".join(row[2] for row in tables_shown["Bars and sheet"].rows)
    assert shown in plan and hidden not in plan


def test_nothing_is_guessed(tmp_path: Path) -> None:
    """A part with a bore only has no stock; an arm with a thread is no turned part."""
    listed = listed_of(
        tmp_path,
        '[part.body]\nmaterial = "cast iron"\ndrawing = "s"\n'
        'size.bore = { full = "30", rule = "bored" }\n'
        '[part.crank]\nmaterial = "mild steel"\ndrawing = "s"\n'
        'size.throw = { full = "30", rule = "coordinate drilled" }\n'
        'size.pin_thread = { full = "5", rule = "metric thread" }\n',
    )
    for line in listed.lines:
        assert line.section is None and line.weight is None
        assert "too few outside sizes" in line.blank.notes[0]


def test_materials_are_not_mixed() -> None:
    """A bronze bush is not cut from steel, a gunmetal box first from gunmetal."""
    assert stock_material("bronze")[0] == "bronze"
    assert stock_material("gunmetal")[0] == "gunmetal"
    assert not any("steel" in name for name in stock_material("phosphor bronze"))
    assert stock_material("bog oak") == ()


def test_the_shelf_is_used_where_its_material_fits(tmp_path: Path) -> None:
    """Brass on the shelf is no use for steel; a bar that names nothing is taken as steel."""
    body = PIN.format(count=3, length=40)
    shop = "family,size,designation,quantity,note\nground bar,6 mm,,{},{}\n"
    own = listed_of(tmp_path, body, shop.format("2 off 330 mm", "silver steel"))
    assert own.lines[0].section is not None and own.lines[0].section.owned
    assert own.orders[0].plan is not None and own.orders[0].plan.bought == 0
    brass = listed_of(tmp_path, body, shop.format("2 off 330 mm", "brass"))
    assert brass.lines[0].section is not None and not brass.lines[0].section.owned
    silent = listed_of(tmp_path, body, shop.format("", ""))
    assert silent.lines[0].section is not None and silent.lines[0].section.owned
    assert "does not say how long" in silent.orders[0].note


@pytest.mark.parametrize(
    ("text", "lengths"),
    [
        ("2 off 330 mm", ((F(330), 2),)),
        ("1 off 13 in", ((F(13) * F(127, 5), 1),)),
        ("1 m", ((F(1000), 1),)),
        ("3 x 300 mm; 1 m", ((F(300), 3), (F(1000), 1))),
        ("1", ()),
        ("200 x 300", ()),
        ("plenty", ()),
        ("", ()),
    ],
)
def test_lengths_on_the_shelf(text: str, lengths: tuple[tuple[Fraction, int], ...]) -> None:
    """What a quantity says of lengths; nothing where it says none."""
    assert shelf_lengths(text) == lengths


def test_every_length_sold_in_the_catalogues_is_read() -> None:
    """Each cell gives a length, or says that it is cut, coiled or sold as strip."""
    for name in catalogue.names():
        table = catalogue.table(name)
        if "lengths_sold" in table.columns:
            for row in table.rows:
                text = row.text("lengths_sold")
                assert sold_lengths(text) or text in ("cut to length", "coil") or "strip" in text


# -------------------------------------------------------------------------------------- plans


def test_pieces_of_one_section_are_packed_together(tmp_path: Path) -> None:
    """Two parts of one bar make one order, and the plan serves every piece exactly once."""
    body = PIN.format(count=4, length=58)
    body += PIN.format(count=6, length=98).replace("part.pin", "part.rod")
    listed = listed_of(tmp_path, body)
    (order,) = listed.orders
    assert order.plan is not None and order.plan.status == "optimal" and order.plan.fewest
    served = {}
    for cut in order.plan.cuts:
        for length, label in cut.pieces:
            served[label, length] = served.get((label, length), 0) + cut.times
    assert served == {("pin", F(60)): 4, ("rod", F(100)): 6}
    assert order.needed == 4 * 60 + 6 * 100 + 9 * 2  # nine cuts between ten pieces
    # 330 mm bars: three of 100 fill one (304), four of 60 and one more take the rest: 858 mm
    # cannot come out of two bars of 330, and three bars (990) are less than any other lengths sold
    assert (order.plan.bought, order.plan.bars) == (990, 3)


def test_too_long_for_every_bar(tmp_path: Path) -> None:
    """A pin of four metres is named, in the list and by the exit status."""
    listed = listed_of(tmp_path, PIN.format(count=1, length=4000))
    ((order, piece),) = listed.unmet
    assert piece.length == 4002 and order.section.form == "round"
    done = CliRunner().invoke(desk_commands.materials, [str(tmp_path)])
    assert done.exit_code == 1 and "too long or too many: 1 × 4002 mm pin" in done.output


def test_kerf_and_facing_can_be_set(tmp_path: Path) -> None:
    """The options reach the plan."""
    listed_of(tmp_path, PIN.format(count=2, length=40))
    done = CliRunner().invoke(
        desk_commands.materials,
        [str(tmp_path), "--kerf", "1/16 in", "--facing", "0.5 mm", "--format", "json"],
    )
    found = json.loads(done.output)
    assert found["kerf_mm"] == 1.5875 and found["kerf_mm_rational"] == "127/80"
    assert found["cutting_list"][0]["sawn_mm_rational"] == "41"
    assert found["orders"][0]["needed_mm"] == 2 * 41 + 1.5875
    bad = CliRunner().invoke(desk_commands.materials, [str(tmp_path), "--kerf", "thin"])
    assert bad.exit_code == 2 and "--kerf" in bad.output


# ------------------------------------------------------------------------------ tools, bought


def test_tools_of_the_starter() -> None:
    """What the starter's shelf has and lacks."""
    listed = materials(scaler.reduce(examples.load("starter")))
    by_name = {(line.use.family, line.use.designation): line for line in listed.tools}
    assert by_name["reamer", "1/4 in"].use.on_shelf is True
    lacking = {line.use.designation for line in listed.lacking()}
    assert lacking == {"3/16 in H7"}
    drill = by_name["drill", "6.1 mm"]
    assert drill.use.on_shelf is None and "names none" in drill.status
    assert set(drill.parts) == {"bush", "roller"}


def test_bought_made_and_refused_parts(tmp_path: Path) -> None:
    """Bought parts are listed to buy, studs to make or buy, made parts and boilers not at all."""
    listed = listed_of(
        tmp_path,
        '[part.bearing]\nstate = "bought"\ndrawing = "s"\ncount = 2\n'
        'size.bore = { full = "10", made = "10 mm", state = "bought", kind = "internal" }\n'
        '[part.stud]\nmaterial = "steel"\ndrawing = "s"\nservice = "none"\ncount = 8\n'
        'size.thread = { full = "3", rule = "metric thread" }\n'
        '[part.old]\nstate = "made"\nmaterial = "steel"\ndrawing = "s"\n'
        'size.diameter = { full = "10", made = "10.02 mm", rule = "turned" }\n'
        '[part.boiler]\nservice = "pressure"\ndrawing = "s"\n'
        'size.outside = { full = "123.25", kind = "external", rule = "turned" }\n',
    )
    assert [(b.part, b.what, b.count) for b in listed.bought] == [
        ("bearing", "buy", 2), ("stud", "make or buy", 8),
    ]  # fmt: skip
    assert listed.lines == () and [c.about for c in listed.refused] == ["boiler"]
    assert "123" not in json.dumps(listed.as_dict()) and "123" not in csv_text(listed)


@pytest.mark.parametrize(
    ("leg", "thickness", "kg_per_m"), [(20, 3, "0.882"), (25, 3, "1.12"), (30, 3, "1.36")]
)
def test_weight_of_angle_a_metre(leg: int, thickness: int, kg_per_m: str) -> None:
    """EN 10056-1 equal angles (from memory), which count the root and toe radii; ours are sharp."""
    area = area_mm2(section("angle", leg_a=str(leg), leg_b=str(leg), thickness=str(thickness)))
    assert area == thickness * (2 * leg - thickness)
    assert float(area) * 7850 / 10**6 == pytest.approx(float(kg_per_m), rel=0.02)


FRAME = (
    '[part.bearer]\ncount = 6\nmaterial = "{material}"\ndrawing = "s"\n'
    'size.leg = {{ full = "8.1", rule = "angle leg" }}\n'
    'size.thickness = {{ full = "0.9", kind = "external", rule = "angle thickness" }}\n'
    'size.length = {{ full = "163.5", rule = "milled" }}\n'
)


def test_angle_is_chosen_sawn_and_weighed(tmp_path: Path) -> None:
    """Leg and thickness are one row of brass angle, which has 8 x 8 x 1 mm; six pieces of it are
    8.47 × 15 mm² × 0.1655 m × 6 = 0.126 kg, worked by hand."""
    listed = listed_of(tmp_path, FRAME.format(material="brass"))
    ((group),) = listed.model.row_groups
    assert group == ("bearer.leg", "bearer.thickness")
    (line,) = listed.lines
    assert line.section is not None and line.section.designation.endswith("8 x 8 x 1 mm")
    assert dict(line.section.measures) == {"leg_a": 8, "leg_b": 8, "thickness": 1}
    assert line.weight is not None and float(line.weight.kg) == pytest.approx(0.126, abs=0.0005)
    assert line.blank.sawn == F("165.5") and listed.orders[0].plan is not None
    own = (
        'family,size,designation,quantity\nangle,8 mm,"angle, brass, extruded, 8 x 8 x 1 mm",2 m\n'
    )
    (tmp_path / "own").mkdir()
    shelf = listed_of(tmp_path / "own", FRAME.format(material="brass"), own)
    (line,) = shelf.lines
    assert line.section is not None and line.section.owned
    plan = shelf.orders[0].plan
    assert plan is not None and plan.bought == 0


def test_a_rivet_is_a_row_and_bought(tmp_path: Path) -> None:
    """1.6 mm snap head: 1.75 D across is 2.8 mm (BS 4620:1970, copy). The list says how wide the
    head is and does not call it by the shank."""
    listed = listed_of(
        tmp_path,
        '[part.rivet]\ncount = 120\ndrawing = "s"\n'
        'size.diameter = { full = "1.68", rule = "rivet" }\n'
        'size.head = { full = "2.83", kind = "external", rule = "head diameter of rivet.diameter" }\n',
    )
    (bought,) = listed.bought
    assert bought.count == 120
    assert bought.sizes == (("diameter", "1.6 mm snap rivet"), ("head", "2.8 mm"))


BOLTED = (
    '[part.bolt]\ncount = 32\ndrawing = "s"\n'
    'size.thread = { full = "3", rule = "metric thread" }\n'
    '[part.bracket]\nmaterial = "mild steel"\ndrawing = "s"\n'
    'size.tapped = { kind = "internal", rule = "tapping hole of bolt.thread" }\n'
    'size.thickness = { full = "3", kind = "external", rule = "plate" }\n'
)


def test_a_bolt_stays_on_the_list_once_its_thread_is_chosen(tmp_path: Path) -> None:
    """A line of choices.csv for the thread makes no assembly of the bolt (common practice)."""
    plain = listed_of(tmp_path, BOLTED)
    (tmp_path / "choices.csv").write_text(
        "time,action,size,value,method,row,note\n,choose,bolt.thread,,metric thread,M3,\n",
        encoding="utf-8",
    )
    chosen = materials(scaler.reduce(scaler.load(tmp_path)))
    assert [(b.part, b.count) for b in plain.bought] == [("bolt", 32)]
    assert chosen.bought == plain.bought


def test_a_tapping_hole_needs_its_tap_too(tmp_path: Path) -> None:
    """M3: drill 2.5 mm (ISO 2306, from memory), and the tap after it; with no shop list none is
    said to name anything."""
    listed = listed_of(tmp_path, BOLTED)
    own = {
        (line.use.family, line.use.designation) for line in listed.tools if "bracket" in line.parts
    }
    assert own == {("drill", "2.5 mm"), ("tap", "M3")}
    assert {line.status for line in listed.tools} == {"no shop list"}
    taps = listed_of(tmp_path, BOLTED, "family,size,designation\nthread,,M3\n").tools
    assert {line.status for line in taps if line.use.family in ("tap", "die")} == {"on the shelf"}


# -------------------------------------------------------------------------------------- files


def test_csv_holds_every_list() -> None:
    """One row a line of each list, under one heading."""
    listed = materials(scaler.reduce(examples.load("pattern_d")))
    rows = list(csv.DictReader(io.StringIO(csv_text(listed))))
    for title, _, items in sheets(listed):
        assert sum(1 for row in rows if row["list"] == title) == len(items)
    assert {row["off"] for row in rows if row["part"] == "Cover stud"} == {"48"}


def test_workbook_is_read_back(tmp_path: Path) -> None:
    """The workbook holds the same cells as the lists; words that begin with = stay words."""
    openpyxl = pytest.importorskip("openpyxl")
    listed = listed_of(
        tmp_path, PIN.format(count=2, length=40).replace("[part.pin]", '[part.pin]\ntitle = "=1+1"')
    )
    done = CliRunner().invoke(
        desk_commands.materials, [str(tmp_path), "--xlsx", str(tmp_path / "order.xlsx")]
    )
    assert done.exit_code == 0, done.output
    book = openpyxl.load_workbook(tmp_path / "order.xlsx")
    for title, names, rows in sheets(listed):
        page = book[title]
        assert [cell.value for cell in page[1]] == [heading_words(name) for name in names]
        assert page.print_title_rows == "$1:$1" and page.page_setup.orientation == "landscape"
        for number, row in enumerate(rows, 2):
            read = [cell.value for cell in page[number]]
            plain = ["no plan buys less" if value == "optimal" else value for value in row]
            assert read == [value if value != "" else None for value in plain]
            for cell, name in zip(page[number], names, strict=True):
                assert cell.number_format == {"mm": "0.00", "kg": "0.000"}.get(
                    name.rpartition("_")[2], "General"
                )
    assert book["Cutting list"]["A2"].data_type == "s"
    assert not list(tmp_path.glob(".order*"))


def test_without_openpyxl_it_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The extra is optional; the command names it and ends with status 2."""
    import sys

    listed_of(tmp_path, PIN.format(count=2, length=40))
    monkeypatch.setitem(sys.modules, "openpyxl", None)
    done = CliRunner().invoke(
        desk_commands.materials, [str(tmp_path), "--xlsx", str(tmp_path / "order.xlsx")]
    )
    assert done.exit_code == 2 and "extra 'xlsx'" in done.output
    assert not (tmp_path / "order.xlsx").exists()


def test_all_formats_of_the_command() -> None:
    """Table, Markdown, CSV and JSON of the shipped engine, without a fault."""
    folder = Path(examples.__file__).parent / "pattern_d"
    for format_ in ("table", "markdown", "csv", "json"):
        for units in ("mm", "in", "both"):
            done = CliRunner().invoke(
                desk_commands.materials, [str(folder), "--format", format_, "--units", units]
            )
            assert done.exit_code == 0, done.output
            assert "Slide bar" in done.output


def test_allowances_by_default_are_common_practice() -> None:
    """2 mm kerf, 1 mm an end, 1.5 mm on the diameter."""
    model = examples.load("starter")
    assert Stock(model).allowances == Allowances(F(2), F(1), F(1, 10), F(3, 2), F(3), F(1))
