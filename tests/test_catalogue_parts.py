"""The bought-parts tables: form, physical rules over every row, formulae, published values."""

from __future__ import annotations

from collections.abc import Callable
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from itertools import pairwise

import pytest

from scaler import catalogue
from scaler.catalogue import Row, Table

F = Fraction

# table -> the columns it is sorted by, first the most important
ORDER: dict[str, tuple[str, ...]] = {
    "parts_washers": ("thread_mm",),
    "parts_washers_ba": ("thread_in",),
    "parts_cap_screws": ("thread_mm",),
    "parts_cap_screws_inch": ("thread_in", "threads_per_inch_count"),
    "parts_counterbores": ("thread_mm",),
    "parts_grub_screws": ("thread_mm",),
    "parts_studs": ("thread_mm",),
    "parts_rivets": ("diameter_mm",),
    "parts_rivets_inch": ("diameter_in",),
    "parts_split_pins": ("diameter_mm",),
    "parts_split_pins_inch": ("diameter_in",),
    "parts_taper_pins": ("nominal_mm", "length_mm"),
    "parts_taper_pins_inch": ("nominal_in", "length_in"),
    "parts_dowels": ("diameter_mm",),
    "parts_dowels_inch": ("diameter_in",),
    "parts_spring_pins": ("diameter_mm",),
    "parts_keys": ("width_mm",),
    "parts_keys_inch": ("width_in",),
    "parts_circlips_external": ("diameter_mm",),
    "parts_circlips_internal": ("diameter_mm",),
    "parts_e_clips": ("groove_diameter_mm",),
    "parts_o_rings": ("section_mm", "bore_mm"),
    "parts_o_ring_grooves": ("section_mm",),
    "parts_bearings": ("bore_mm", "outside_mm"),
    "parts_bearings_inch": ("bore_in", "outside_in"),
    "parts_shims": (),
}


def rows(name: str) -> tuple[Row, ...]:
    """All rows of a shipped table."""
    return catalogue.table(name).rows


def row(name: str, designation: str) -> Row:
    """The row of that designation; fails the test where there is none."""
    found = catalogue.table(name).find(designation)
    assert found is not None, f"{name} has no {designation}"
    return found


def values(name: str, designation: str, *columns: str) -> list[Fraction | None]:
    """Exact values of some columns of a row, None where blank."""
    found = row(name, designation)
    return [found.number(c) if found.text(c) else None for c in columns]


def fractions(*texts: str) -> list[Fraction]:
    """Exact numbers as published: decimals or fractions."""
    return [catalogue.parse_number(text) for text in texts]


def lines(text: str) -> list[list[str]]:
    """Words of lines that a semicolon ends."""
    return [line.split() for line in text.split(";")]


def rounded(value: Fraction, places: int) -> Fraction:
    """A positive value rounded half up to so many decimals, as printed tables are."""
    step = Decimal(1).scaleb(-places)
    exact = Decimal(value.numerator) / Decimal(value.denominator)
    return Fraction(exact.quantize(step, ROUND_HALF_UP))


def number_columns(table: Table) -> list[str]:
    """Names of the columns that hold numbers."""
    return [
        c.name
        for c in table.columns.values()
        if c.type in ("number", "integer") or c.exact == "fraction"
    ]


def test_every_parts_table_is_listed_here() -> None:
    """A new parts table must be given its checks."""
    assert {n for n in catalogue.names() if n.startswith("parts_")} == set(ORDER)


@pytest.mark.parametrize("name", ORDER)
def test_form(name: str) -> None:
    """Cells parse, required ones are filled, designations differ, sources and marks are known."""
    table = catalogue.table(name)
    known = {r["key"] for r in catalogue.table("sources").rows}
    assert next(iter(table.columns)) == "designation"
    assert list(table.columns)[-2:] == ["source", "place"]
    assert len({r["designation"] for r in table.rows}) == len(table.rows) > 0
    units = ("_mm", "_in", "_count")
    assert all(c.endswith(units) for c in number_columns(table))
    for r in table.rows:
        assert r["source"] in known, r
        assert r["place"], r
        for column in table.columns.values():
            assert r.text(column.name) or not column.required, (r, column.name)
        for column_name in number_columns(table):
            if r.text(column_name) and not column_name.endswith(("_lower_mm", "_upper_mm")):
                assert r.number(column_name) > 0 or column_name == "shaft_over_mm", (r, column_name)
        marked = r.text("from_memory") if "from_memory" in table.columns else ""
        assert set(filter(None, marked.split(";"))) <= set(table.columns), r


@pytest.mark.parametrize("name", [n for n, by in ORDER.items() if by])
def test_order(name: str) -> None:
    """Rows come sorted by size."""
    keys = [tuple(r.number(c) for c in ORDER[name]) for r in rows(name)]
    assert keys == sorted(keys)


# ------------------------------------------------------------------ physical rules, every row
RULES: dict[str, Callable[[Row], bool]] = {
    "parts_washers": lambda r: (
        r.number("thread_mm") < r.number("bore_mm") < r.number("thread_mm") * F(6, 5) + 1
        and r.number("outside_mm") > r.number("bore_mm") * F(3, 2)
        and r.number("thickness_mm") < r.number("outside_mm") / 5
        and r.number("thickness_max_mm" if r.text("thickness_max_mm") else "thickness_mm")
        >= r.number("thickness_mm")
    ),
    "parts_washers_ba": lambda r: (
        r.number("thread_in") < r.number("bore_in") < r.number("outside_in")
        and abs(r.number("outside_in") - 2 * r.number("thread_in")) < F(1, 64)
    ),
    "parts_cap_screws": lambda r: (
        r.number("thread_mm") < r.number("head_diameter_mm") < r.number("head_diameter_knurled_mm")
        and r.number("key_mm") < r.number("thread_mm")
        and r.number("socket_depth_mm") < r.number("head_height_mm")
    ),
    "parts_cap_screws_inch": lambda r: (
        r.number("thread_in") < r.number("head_diameter_in")
        and r.number("key_in") < r.number("thread_in")
        and r.number("socket_depth_in") < r.number("head_height_in")
    ),
    "parts_counterbores": lambda r: r.number("depth_mm") > r.number("head_height_mm"),
    "parts_grub_screws": lambda r: (
        r.number("key_mm") < r.number("flat_point_mm") < r.number("thread_mm")
        and r.number("cup_point_mm") < r.number("thread_mm")
        and r.number("dog_short_mm") < r.number("dog_long_mm")
        and r.number("thread_mm") - F(5, 4) * r.number("pitch_mm") > r.number("key_mm")
    ),
    "parts_studs": lambda r: (
        F(4, 5) <= r.number("metal_end_mm") / r.number("thread_mm") <= 2
        and r.number("nut_end_mm") < r.number("nut_end_long_mm")
    ),
    "parts_split_pins": lambda r: (
        r.number("wire_mm") < r.number("diameter_mm") < r.number("eye_mm")
        and r.number("diameter_mm") * 2 < r.number("shaft_to_mm")
    ),
    "parts_dowels": lambda r: (
        r.number("chamfer_mm") < r.number("length_min_mm") < r.number("length_max_mm")
    ),
    "parts_dowels_inch": lambda r: (
        r.number("diameter_in")
        < r.number("lower_in")
        < r.number("ground_in")
        < r.number("upper_in")
    ),
    # the wall leaves the slot: outside less two walls is the inside, within the tolerance
    "parts_spring_pins": lambda r: (
        r.number("diameter_mm") < r.number("free_mm")
        and 0 <= r.number("free_mm") - r.number("inside_mm") - 2 * r.number("wall_mm") <= F(1, 5)
        and r.number("inside_mm") + 2 * r.number("wall_mm") > F(9, 10) * r.number("diameter_mm")
    ),
    "parts_keys": lambda r: (
        r.number("shaft_over_mm") < r.number("shaft_to_mm")
        and r.number("shaft_depth_mm") > r.number("height_mm") / 2
        and r.number("shaft_depth_mm") < r.number("height_mm")
        and r.number("width_mm") < r.number("shaft_to_mm") / 2
    ),
    "parts_e_clips": lambda r: (
        r.number("groove_diameter_mm") < r.number("shaft_min_mm") < r.number("shaft_max_mm")
        and r.number("shaft_max_mm") < r.number("outside_mm")
    ),
    "parts_bearings": lambda r: (
        r.number("bore_mm") < r.number("outside_mm")
        and r.number("width_mm") <= r.number("width_shielded_mm")
        and r.number("width_mm") < r.number("outside_mm") - r.number("bore_mm")
    ),
    "parts_bearings_inch": lambda r: (
        r.number("bore_in") < r.number("outside_in")
        and r.number("width_in") <= r.number("width_shielded_in")
        and r.number("width_in") <= r.number("outside_in") - r.number("bore_in")
    ),
    "parts_shims": lambda r: bool(r.text("thickness_mm")) != bool(r.text("thickness_in")),
}


@pytest.mark.parametrize("name", RULES)
def test_physical_rule(name: str) -> None:
    """Every row could be made and would go together."""
    assert [r["designation"] for r in rows(name) if not RULES[name](r)] == []


def test_washer_holes_are_larger_than_the_screw() -> None:
    """Trap: the BOLTS copy of DIN 125 prints a 10 mm hole for M10; the other copies 10.5."""
    assert values("parts_washers", "M10 ISO 7089", "bore_mm") == [F("10.5")]


# ------------------------------------------------------------------ published values
# table, designation with {} for the first word, columns, then lines of a word and its values
PUBLISHED: list[tuple[str, str, str, str]] = [
    (  # DIN 125-A (ISO 7089 kept its sizes): washer.blt of the open-source BOLTS archive
        "parts_washers",
        "{} ISO 7089",
        "bore_mm outside_mm thickness_mm",
        """M1.6 1.7 4 0.3; M2 2.2 5 0.3; M2.5 2.7 6 0.5; M3 3.2 7 0.5; M4 4.3 9 0.8; M5 5.3 10 1;
        M6 6.4 12 1.6; M8 8.4 16 1.6; M12 13 24 2.5; M16 17 30 3; M20 21 37 3; M24 25 44 4""",
    ),
    (  # DIN 912 on a fastener seller's web page: b, t min, s, k max, d1 (head)
        "parts_cap_screws",
        "{} cap screw",
        "thread_length_mm socket_depth_mm key_mm head_height_mm head_diameter_mm",
        """M2 16 1 1.5 2 3.8; M3 18 1.3 2.5 3 5.5; M4 20 2 3 4 7; M5 22 2.5 4 5 8.5;
        M6 24 3 5 6 10; M8 28 4 6 8 13; M10 32 5 8 10 16; M12 36 6 10 12 18; M14 40 7 12 14 21;
        M16 44 8 14 16 24; M20 52 10 17 20 30; M24 60 12 19 24 36""",
    ),
    (  # DIN 913 and DIN 916 on the same page: flat point, t min, s; cup point
        "parts_grub_screws",
        "{} grub screw",
        "flat_point_mm socket_depth_mm key_mm cup_point_mm",
        """M2 1 0.8 0.9 1; M2.5 1.5 1.2 1.3 1.2; M3 2 1.2 1.5 1.4; M4 2.5 1.5 2 2;
        M5 3.5 2 2.5 2.5; M6 4 2 3 3; M8 5.5 3 4 5; M10 7 4 5 6; M12 8.5 4.8 6 8; M16 12 6.4 8 10""",
    ),
    (  # DIN 939, a fastener seller's dimension sheet: metal end, nut end to 125 and to 200
        "parts_studs",
        "{} DIN 939",
        "metal_end_mm nut_end_mm nut_end_long_mm",
        """M8 10 22 28; M10 12 26 32; M12 15 30 36; M14 18 34 40; M16 20 38 44; M18 22 42 48;
        M20 25 46 52; M22 28 50 56; M24 30 54 60""",
    ),
    (  # ASME B18.3, the copy typed again: head diameter, key, socket depth
        "parts_cap_screws_inch",
        "No. {} cap screw",
        "head_diameter_in key_in socket_depth_in",
        """0_x_80 0.096 0.050 0.025; 1_x_72 0.118 1/16 0.031; 2_x_56 0.140 5/64 0.038;
        3_x_48 0.161 5/64 0.044; 4_x_40 0.183 3/32 0.051; 5_x_40 0.205 3/32 0.057;
        6_x_32 0.226 7/64 0.064; 8_x_32 0.270 9/64 0.077; 10_x_32 0.312 5/32 0.090""",
    ),
    (  # ISO 8752, the copy typed again: free outside, inside, wall
        "parts_spring_pins",
        "{} mm spring pin",
        "free_mm inside_mm wall_mm",
        """1 1.25 0.8 0.2; 1.5 1.75 1.1 0.3; 2 2.35 1.5 0.4; 2.5 2.85 1.8 0.5; 3 3.4 2.1 0.6;
        3.5 3.9 2.3 0.75; 4 4.5 2.8 0.8; 5 5.5 3.4 1; 6 6.55 4 1.2; 8 8.65 5.5 1.5""",
    ),
    (  # ISO 8734, the copy typed again: diameter, chamfer
        "parts_dowels",
        "{} ISO 8734",
        "diameter_mm chamfer_mm",
        """1 1 0.2; 1.5 1.5 0.3; 2 2 0.35; 2.5 2.5 0.4; 3 3 0.5; 4 4 0.63; 5 5 0.8; 6 6 1.2;
        8 8 1.6; 10 10 2; 12 12 2.5; 16 16 3; 20 20 3.5""",
    ),
    (  # BS 4620:1970 table 6, a rivet maker's web page: head, depth, setting allowance
        "parts_rivets",
        "{} mm countersunk rivet",
        "head_diameter_mm head_height_mm forming_allowance_mm",
        """1 2 0.5 0.67; 1.2 2.4 0.6 0.80; 1.6 3.2 0.8 1.07; 2 4 1 1.33; 2.5 5 1.3 1.67;
        3 6 1.5 2.00; 3.5 7 1.8 2.33; 4 8 2 2.67; 5 10 2.5 3.34; 6 12 3 4.00""",
    ),
    (  # DIN 6885-1 extract and a web page citing BS 4235-1:1972: shafts over and up to
        "parts_keys",
        "{} key",
        "shaft_over_mm shaft_to_mm",
        "2_x_2 6 8; 4_x_4 10 12; 16_x_10 50 58",
    ),
    (  # web page citing BS 46: Part 1: 1958: shafts over and up to, in eighths of an inch
        "parts_keys_inch",
        "{} key",
        "shaft_over_in shaft_to_in",
        "5/16_square 1 10/8; 5/16_x_1/4 1 10/8; 5/8_x_7/16 2 20/8",
    ),
    (  # second copy, din471def.csv of the FreeCAD Fasteners tables: s, groove
        "parts_circlips_external",
        "{} mm external circlip",
        "thickness_mm groove_diameter_mm",
        """3 0.4 2.8; 5 0.6 4.8; 6 0.7 5.7; 8 0.8 7.6; 10 1 9.6; 12 1 11.5; 15 1 14.3; 20 1.2 19;
        24 1.2 22.9; 25 1.2 23.9; 30 1.5 28.6; 35 1.5 33; 40 1.75 37.5; 48 1.75 45.5; 50 2 47""",
    ),
    (  # second copy, din472def.csv of the same
        "parts_circlips_internal",
        "{} mm internal circlip",
        "thickness_mm groove_diameter_mm",
        """8 0.8 8.4; 10 1 10.4; 12 1 12.5; 13 1 13.6; 16 1 16.8; 19 1 20; 22 1 23; 24 1.2 25.2;
        26 1.2 27.2; 30 1.2 31.4; 32 1.2 33.7; 35 1.5 37; 40 1.75 42.5; 47 1.75 49.5; 52 2 55""",
    ),
    (  # DIN 6799 by its own sizes, from memory: shaft range
        "parts_e_clips",
        "{} mm E-clip",
        "shaft_min_mm shaft_max_mm",
        "1.9 2.5 3; 2.3 3 4; 3.2 4 5; 4 5 7; 5 6 8; 6 7 9; 7 8 11; 8 9 12; 9 10 14; 10 11 15",
    ),
    (  # DIN 625-1, the open-source BOLTS archive; another copy prints 22 outside for 16002
        "parts_bearings",
        "{}",
        "bore_mm outside_mm width_mm",
        """625 5 16 5; 626 6 19 6; 627 7 22 7; 608 8 22 7; 609 9 24 7; 629 9 26 8; 6000 10 26 8;
        16100 10 28 8; 6200 10 30 9; 6300 10 35 11; 6001 12 28 8; 6201 12 32 10; 16002 15 32 8;
        6002 15 32 9; 6203 17 40 12; 6204 20 47 14; 6305 25 62 17""",
    ),
    (  # a supply catalogue's pages of single bearings, greatest sizes to the nearest thou
        "parts_bearings_inch",
        "{}",
        "bore_in outside_in width_in",
        "R4 0.250 0.625 0.196",
    ),
]


@pytest.mark.parametrize(("name", "named", "columns", "text"), PUBLISHED)
def test_published_values(name: str, named: str, columns: str, text: str) -> None:
    """The rows have the values of a second copy or another table of the standard."""
    for first, *sizes in lines(text):
        found = values(name, named.format(first.replace("_", " ")), *columns.split())
        assert found == fractions(*sizes), first


def test_dash_sizes() -> None:
    """O-rings: the millimetres are the inch sizes of AS 568 (from memory) to two decimals."""
    for number, bore, section in lines(
        "004 0.070 0.070; 006 0.114 0.070; 008 0.176 0.070; 010 0.239 0.070; 012 0.364 0.070;"
        "014 0.489 0.070; 016 0.614 0.070; 018 0.739 0.070; 020 0.864 0.070; 110 0.362 0.103;"
        "112 0.487 0.103; 116 0.737 0.103; 210 0.734 0.139"
    ):
        expected = [rounded(F(x) * F("25.4"), 2) for x in (bore, section)]
        assert values("parts_o_rings", f"ISO 3601-{number}", "bore_mm", "section_mm") == expected


def test_inch_taper_pin_numbers() -> None:
    """ASME B18.8.2-2000 table 1 (scan): commercial limits are +0.0013 and -0.0007 of basic."""
    for number, high, low in lines(
        "7/0 0.0638 0.0618; 6/0 0.0793 0.0773; 5/0 0.0953 0.0933; 4/0 0.1103 0.1083;"
        "3/0 0.1263 0.1243; 2/0 0.1423 0.1403; 0 0.1573 0.1553; 2 0.1943 0.1923;"
        "3 0.2203 0.2183; 4 0.2513 0.2493; 5 0.2903 0.2883"
    ):
        sizes = {r["nominal_in"] for r in rows("parts_taper_pins_inch") if r["number"] == number}
        assert sizes == {F(high) - F("0.0013")} == {F(low) + F("0.0007")}


def test_o_ring_squeeze() -> None:
    """The squeeze printed with the ISO 3601-2 glands is that of the thinnest and thickest ring."""
    for size, *printed in lines(  # per cent, static least and greatest, dynamic least and greatest
        "1.02 19 37 11 28; 1.27 17 34 11 26; 1.52 18 33 14 25; 1.78 18 32 15 25; 2.62 14 25 10 18;"
        "3.53 14 23 9 17"
    ):
        r = row("parts_o_ring_grooves", f"{size} section, ISO 3601-2")
        limit = F("0.10") if size == "3.53" else F("0.08")
        for kind, (least, greatest) in (("static", printed[:2]), ("dynamic", printed[2:])):
            thin, thick = F(size) - limit, F(size) + limit
            low = (thin - r.number(f"{kind}_depth_max_mm")) / thin * 100
            high = (thick - r.number(f"{kind}_depth_min_mm")) / thick * 100
            assert abs(low - int(least)) < 2
            assert abs(high - int(greatest)) < 2


def test_snap_rivets_differ_from_din_660_only_where_said() -> None:
    """DIN 660 / ISO 1051 (a fastener seller's page): 0.1 mm apart at 3 and 3.5 mm, else the same."""
    for size, head, height in lines(
        "1 1.8 0.6; 1.2 2.1 0.7; 1.6 2.8 1; 2 3.5 1.2; 2.5 4.4 1.5; 3 5.2 1.8; 3.5 6.2 2.1;"
        "4 7 2.4; 5 8.8 3; 6 10.5 3.6"
    ):
        found = row("parts_rivets", f"{size} mm snap rivet")
        difference = abs(found.number("head_diameter_mm") - F(head))
        assert difference <= F(1, 10)
        assert bool(difference) == ("DIN 660" in found.text("note"))
        assert found["head_height_mm"] == F(height)


# ------------------------------------------------------------------ screws
def test_cap_screw_formulae() -> None:
    """ISO 4762: the head is as high as the screw is thick; thread length 2 d + 12."""
    for r in rows("parts_cap_screws"):
        assert r["head_height_mm"] == r["thread_mm"]
        assert 0 <= 2 * r.number("thread_mm") + 12 - r.number("thread_length_mm") < F(1, 2)


def test_counterbores_clear_the_heads() -> None:
    """Every listed cap screw drops into its counterbore, knurled heads too."""
    screws = {r["thread"]: r for r in rows("parts_cap_screws")}
    for r in rows("parts_counterbores"):
        screw = screws[r["thread"]]
        gap = r.number("diameter_mm") - screw.number("head_diameter_knurled_mm")
        assert F(1, 5) < gap < 4
        assert r["head_height_mm"] == screw["head_height_mm"]


def test_inch_cap_screw_numbers() -> None:
    """ASME B1.1: size N is 0.060 in and 0.013 in a number; ASME B18.3: head height is the size."""
    for r in rows("parts_cap_screws_inch"):
        name = r.text("thread").split(" x ")[0]
        numbered = name.startswith("No. ")
        size = F("0.060") + F("0.013") * int(name[4:]) if numbered else F(name)
        assert r["thread_in"] == size
        assert abs(r.number("head_height_in") - size) < F("0.0006")


def test_grub_screw_long_dog_of_m3() -> None:
    """Trap: one copy prints 1.2 for the long dog of M3, less than its neighbours allow."""
    long_dog = [r.number("dog_long_mm") for r in rows("parts_grub_screws")]
    assert long_dog == sorted(long_dog)
    assert values("parts_grub_screws", "M3 grub screw", "dog_long_mm") == [F("1.5")]


def test_studs() -> None:
    """Nut end 2 d + 6, over 125 long 2 d + 12; metal end 1 d, about 1.25 d and 2 d by standard."""
    for r in rows("parts_studs"):
        d = r.number("thread_mm")
        assert (r["nut_end_mm"], r["nut_end_long_mm"]) == (2 * d + 6, 2 * d + 12)
        ratio = {"DIN 938": F(1), "DIN 939": F(5, 4), "DIN 835": F(2)}[r.text("standard")]
        assert abs(r.number("metal_end_mm") - ratio * d) <= F(1, 2)


# ------------------------------------------------------------------ rivets
def cap_allowance(diameter: Fraction, head: Fraction, height: Fraction) -> Fraction:
    """Length of shank as bulky as a spherical cap of that diameter and height."""
    return F(2, 3) * height * (3 * (head / 2) ** 2 + height**2) / diameter**2


def countersunk_allowance(diameter: Fraction, head: Fraction, height: Fraction) -> Fraction:
    """Shank as bulky as a cone frustum, less the part of the shank inside it."""
    ring = head**2 + head * diameter + diameter**2
    return height * ring / (3 * diameter**2) - height


def test_cap_volume_gives_the_published_setting_allowance() -> None:
    """BS 275:1927 plate 2, fig. 3 (a rivet maker's web table): heads 1.6 D by 0.7 D, S = 1.125 D."""
    for size, printed in (("1/2", "0.563"), ("5/8", "0.703"), ("3/4", "0.844"), ("1", "1.125")):
        d = F(size)
        assert abs(cap_allowance(d, F("1.6") * d, F("0.7") * d) - F(printed)) <= F("0.001")


def test_rivet_proportions_and_allowances() -> None:
    """BS 4620: snap 1.75 D by 0.6 D, countersunk 2 D by 0.5 D. BS 641: snap 1.75 D by 0.75 D."""
    for name, u, high, places in (
        ("parts_rivets", "mm", F(3, 5), 1),
        ("parts_rivets_inch", "in", F(3, 4), 9),
    ):
        for r in rows(name):
            d = r.number(f"diameter_{u}")
            snap = r["head"] == "snap"
            head = d * (F(7, 4) if snap else 2)
            height = d * (high if snap else F(1, 2))
            assert abs(r.number(f"head_diameter_{u}") - head) <= F(1, 10**places), r
            assert abs(r.number(f"head_height_{u}") - height) <= F(1, 10**places), r
            rule = cap_allowance if snap else countersunk_allowance
            slack = F("0.007") if u == "mm" else F("0.00005")
            assert abs(r.number(f"forming_allowance_{u}") - rule(d, head, height)) <= slack, r


# ------------------------------------------------------------------ pins
def test_split_pin_eyes() -> None:
    """ISO 1234 copy, mean eye: greatest and least eye average to it where the copy is sound."""
    copy = {"0.6": "0.95", "0.8": "1.3", "1": "1.7", "3.2": "5.45", "4": "6.95", "5": "8.6"}
    for size, mean in copy.items():
        (eye,) = values("parts_split_pins", f"{size} mm split pin", "eye_mm")
        assert eye is not None
        assert F(5, 100) <= eye - F(mean) < eye / 10
    # trap: the copy prints the eye of the next size for 1.2, 1.6 and 2 mm (2.6, 3.4, 4.3)
    for size, wrong in (("1.2", "2.6"), ("1.6", "3.4"), ("2", "4.3")):
        (eye,) = values("parts_split_pins", f"{size} mm split pin", "eye_mm")
        assert eye is not None
        assert eye < F(wrong)


def test_split_pin_bolt_ranges_join() -> None:
    """Each bolt diameter up to the last has one pin."""
    found = rows("parts_split_pins")
    assert found[0]["shaft_over_mm"] is None
    for a, b in pairwise(found):
        assert a["shaft_to_mm"] == b["shaft_over_mm"]


def test_metric_taper_pins() -> None:
    """ISO 2339: 1 in 50, and the nominal diameter is the small end."""
    for r in rows("parts_taper_pins"):
        assert r["small_mm"] == r["nominal_mm"]
        assert r.number("small_mm") == r.number("large_mm") - r.number("length_mm") / 50
    assert values("parts_taper_pins", "5 x 30 taper pin", "small_mm", "large_mm") == [5, F("5.6")]


def test_inch_taper_pins() -> None:
    """ASME B18.8.2: nominal is the large end; small end = large - 0.02083 x length."""
    for r in rows("parts_taper_pins_inch"):
        assert r["large_in"] == r["nominal_in"]
        drop = r.number("large_in") - r.number("small_in")
        assert drop == F("0.02083") * r.number("length_in")
        # 1/4 in to the foot is 1 in 48; trap: one web page prints the factor as 0.2083
        assert abs(drop - r.number("length_in") / 48) < F("0.00002")


def test_taper_pin_2_0_is_not_7_0() -> None:
    """Trap: a web calculator's table prints 0.0625 for No. 2/0."""
    assert values("parts_taper_pins_inch", "No. 2/0 x 1 taper pin", "large_in") == [F("0.141")]


def test_inch_dowels() -> None:
    """From memory of ASME B18.8.2: 0.0002 in over nominal, 0.0001 in each way."""
    for r in rows("parts_dowels_inch"):
        for column, over in (("lower_in", 1), ("ground_in", 2), ("upper_in", 3)):
            assert r[column] == rounded(r.number("diameter_in") + F(over, 10000), 4)


# ------------------------------------------------------------------ keys
def test_metric_keys() -> None:
    """ISO/R 773: shaft and hub depths leave 0.2 mm over a 2 and 3 mm key, 0.3 over larger."""
    found = rows("parts_keys")
    for r in found:
        clearance = r.number("shaft_depth_mm") + r.number("hub_depth_mm") - r.number("height_mm")
        assert clearance == (F(1, 5) if r.number("width_mm") <= 3 else F(3, 10))
    for a, b in pairwise(found):
        assert a["shaft_to_mm"] == b["shaft_over_mm"]


def test_inch_keys() -> None:
    """BS 46-1: a quarter of the shaft, never bottoming; ranges of the square keys join."""
    square = [r for r in rows("parts_keys_inch") if r["shape"] == "square"]
    for r in square:
        assert r["height_in"] == r["width_in"]
        assert r.number("thickness_max_in") > r.number("width_in")
        room = r.number("shaft_depth_min_in") + r.number("hub_depth_min_in")
        assert 0 < room - r.number("thickness_max_in") < F("0.010")
        assert r.number("shaft_to_in") / 4 == r.number("width_in")
        for part in ("shaft", "hub"):
            depths = [r.number(f"{part}_depth_{end}_in") for end in ("min", "max")]
            assert depths[1] - depths[0] == F("0.006")
    for a, b in pairwise(square):
        assert a["shaft_to_in"] == b["shaft_over_in"]


# ------------------------------------------------------------------ circlips
@pytest.mark.parametrize("side", [1, -1])
def test_circlip_grooves(side: int) -> None:
    """DIN 471/472: groove inside the shaft or outside the bore; edge 3 t; room for the ring."""
    name = "parts_circlips_external" if side == 1 else "parts_circlips_internal"
    for r in rows(name):
        depth = side * (r.number("diameter_mm") - r.number("groove_diameter_mm")) / 2
        assert depth == r.number("groove_depth_mm") > 0, r
        assert r["edge_mm"] == rounded(3 * depth, 1), r
        thickness = r.number("thickness_mm")
        play = r.number("groove_width_mm") - thickness
        assert play == (F(1, 10) if thickness < 2 else F(3, 20)), r
        assert thickness < r.number("diameter_mm") / 5, r


@pytest.mark.parametrize("side", [1, -1])
def test_circlip_groove_limits_are_iso_286(side: int) -> None:
    """h10, h11 or h12 on shafts, H11 or H12 in bores, by the ISO 286 grades to two decimals."""
    name = "parts_circlips_external" if side == 1 else "parts_circlips_internal"
    grades = catalogue.table("iso286_grades").rows
    for r in rows(name):
        size = r.number("groove_diameter_mm")
        grade = 10 if side == 1 and size <= 10 else 11 if size < 22 + (side == -1) * 2 else 12
        band = next(g for g in grades if g.number("above_mm") < size <= g.number("up_to_mm"))
        tolerance = band.number(f"it{grade}_um") / 1000
        printed = r.number("groove_upper_mm") - r.number("groove_lower_mm")
        assert printed in (tolerance, rounded(tolerance, 2)), r
        near, far = ("groove_upper_mm", "groove_lower_mm")[::side]
        assert r[near] == 0
        assert side * r.number(far) < 0


def test_circlip_misprints_are_not_repeated() -> None:
    """Traps: 48 mm ring of 2 mm, 52 mm shaft groove 49.5, 28 mm bore groove 20.4."""
    assert values("parts_circlips_external", "48 mm external circlip", "thickness_mm") == [
        F("1.75")
    ]
    grooves = ("parts_circlips_external", "52 mm external circlip", "groove_diameter_mm")
    assert values(*grooves) == [49]
    grooves = ("parts_circlips_internal", "28 mm internal circlip", "groove_diameter_mm")
    assert values(*grooves) == [F("29.4")]


# ------------------------------------------------------------------ O-rings
def test_bs_4518_codes() -> None:
    """BS 4518: four figures of bore and two of section, tenths of a millimetre."""
    metric = [r for r in rows("parts_o_rings") if r["standard"] == "BS 4518"]
    assert len(metric) > 50
    for r in metric:
        bore, section = r.text("designation").split()[-1].split("-")
        assert (r["bore_mm"], r["section_mm"]) == (F(int(bore), 10), F(int(section), 10))


def test_o_ring_grooves() -> None:
    """Squeezed, not crushed: depth under the section, room for the rubber, less squeeze moving."""
    pi_upper = F(355, 113)
    for r in rows("parts_o_ring_grooves"):
        section = r.number("section_mm")
        for kind in ("static", "dynamic"):
            low, high = (r.number(f"{kind}_depth_{end}_mm") for end in ("min", "max"))
            assert F(3, 5) * section < low <= high < section
            width = r.number(f"{kind}_width_mm")
            assert pi_upper / 4 * section**2 < low * width * F(11, 10)
            assert width > section
        assert r.number("static_depth_min_mm") <= r.number("dynamic_depth_min_mm")


# ------------------------------------------------------------------ bearings
def test_bearing_numbers_say_their_bore() -> None:
    """Last figure the bore; four or five figures: 00 10, 01 12, 02 15, 03 17, then five-folds."""
    special = {"00": 10, "01": 12, "02": 15, "03": 17}
    for r in rows("parts_bearings"):
        name = r.text("designation")
        if name.startswith("MR"):
            assert name[2:] == f"{r['outside_mm']}{r['bore_mm']}"
        elif len(name) == 3:
            assert r["bore_mm"] == int(name[-1])
        else:
            assert r["bore_mm"] == special.get(name[-2:], 5 * int(name[-2:]))


def test_bearing_series_grow() -> None:
    """ISO 15: at one bore the outside grows through diameter series 8, 9, 0, 2, 3."""
    order = ["18", "19", "10", "02", "03"]
    by_bore: dict[Fraction, list[tuple[int, Fraction, Fraction]]] = {}
    for r in rows("parts_bearings"):
        if r["series"] in order:
            item = (order.index(r.text("series")), r.number("outside_mm"), r.number("width_mm"))
            by_bore.setdefault(r.number("bore_mm"), []).append(item)
    for found in by_bore.values():
        found.sort()
        assert all(a[1] < b[1] and a[2] <= b[2] for a, b in pairwise(found))
    for series in order:  # and within a series with the bore
        sizes = [r.number("outside_mm") for r in rows("parts_bearings") if r["series"] == series]
        assert sizes == sorted(set(sizes))


def test_shims_are_sorted_by_their_true_thickness() -> None:
    """Metric and inch stock in one list."""
    sizes = [r.mm("thickness") for r in rows("parts_shims")]
    assert all(a is not None and b is not None and a <= b for a, b in pairwise(sizes))


# where each catalogue is meant to begin and end; a search beyond must find nothing
ENDS = {
    "parts_washers": ("M1 BS 4320 A", "M24 ISO 7092"),
    "parts_cap_screws": ("M1.6 cap screw", "M24 cap screw"),
    "parts_grub_screws": ("M1.6 grub screw", "M16 grub screw"),
    "parts_rivets_inch": ("1/32 in countersunk rivet", "1/4 in snap rivet"),
    "parts_taper_pins": ("0.6 x 2 taper pin", "10 x 60 taper pin"),
    "parts_taper_pins_inch": ("No. 7/0 x 1/4 taper pin", "No. 7 x 3 1/4 taper pin"),
    "parts_keys": ("2 x 2 key", "16 x 10 key"),
    "parts_circlips_external": ("3 mm external circlip", "60 mm external circlip"),
    "parts_circlips_internal": ("8 mm internal circlip", "62 mm internal circlip"),
    "parts_bearings": ("681", "6305"),
    "parts_bearings_inch": ("R133", "R16"),
    "parts_shims": ("0.01 mm shim", "0.050 in shim"),
}


@pytest.mark.parametrize("name", ENDS)
def test_ends(name: str) -> None:
    """The smallest and the largest row are the ones the model engineer's sizes ask for."""
    found = rows(name)
    assert (found[0]["designation"], found[-1]["designation"]) == ENDS[name]
