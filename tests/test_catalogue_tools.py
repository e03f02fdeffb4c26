"""Drills, reamers, cutters: the tables' form, their rules, and figures published elsewhere."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from scaler import catalogue
from scaler.trade import iso286

TABLES = (
    "drills_metric",
    "drills_inch",
    "drills_number",
    "drills_letter",
    "reamers_metric",
    "reamers_inch",
    "slot_drills_metric",
    "slot_drills_inch",
    "end_mills_metric",
    "end_mills_inch",
    "slitting_saws",
    "countersinks",
    "centre_drills_metric",
    "centre_drills_inch",
    "counterbores",
)
UNITS = {
    "mm": "mm", "in": "in", "deg": "deg", "count": "", "percent": "%", "thou": "thou", "um": "µm",
}  # fmt: skip


def _sizes(name: str, base: str = "diameter") -> list[Fraction]:
    sizes = [row.mm(base) for row in catalogue.table(name).rows]
    return [size for size in sizes if size is not None]


def _inches(name: str, designation: str) -> Fraction:
    row = catalogue.table(name).find(designation)
    assert row is not None, designation
    size = row.mm("diameter")
    assert size is not None
    return size / Fraction(127, 5)


# --------------------------------------------------------------------------------- every table


@pytest.mark.parametrize("name", TABLES)
def test_every_cell_reads_as_its_column_says(name: str) -> None:
    """Numbers are exact fractions, required cells are filled, designations are unique."""
    table = catalogue.table(name)
    first, *_, source, place = table.columns
    assert (first, source, place) == ("designation", "source", "place")
    sources = {row.text("key") for row in catalogue.table("sources").rows}
    for row in table.rows:
        for column in table.columns.values():
            value = row[column.name]
            assert value is not None or not column.required, (row, column.name)
            if value is not None and (column.type == "number" or column.exact == "fraction"):
                assert isinstance(value, Fraction) and value > 0, (row, column.name)
        assert row.text("source") in sources
    names = [row.text("designation") for row in table.rows]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("name", TABLES)
def test_headings_end_in_their_unit(name: str) -> None:
    """A heading that ends in a unit has that unit described, and no other has one."""
    for column in catalogue.table(name).columns.values():
        unit = UNITS.get(column.name.rsplit("_", 1)[-1])
        assert column.unit == (unit or "")


@pytest.mark.parametrize("name", TABLES)
def test_rows_rise_in_size(name: str) -> None:
    """The rows stand in order of their main size."""
    sizes = _sizes(name, "thickness" if name == "slitting_saws" else "diameter")
    assert len(sizes) == len(catalogue.table(name).rows)
    assert sizes == sorted(sizes)


@pytest.mark.parametrize(
    "name", [name for name in TABLES if name[:5] in ("drill", "reame", "slot_", "end_m")]
)
def test_tolerance_classes_exist_for_the_size(name: str) -> None:
    """Every class given is one that ISO 286 has at that size (scaler.trade.iso286, tested on its own)."""
    for row in catalogue.table(name).rows:
        size = row.mm("diameter")
        assert size is not None
        # ISO 286 has no grade above 13 at 1 mm and below: the thinnest end mill has none.
        assert row.text("tolerance") or size == 1, row
        assert not row.text("tolerance") or iso286.exists(row.text("tolerance"), size), row


# -------------------------------------------------------------------------------------- drills

# A public listing of number drills, read apart from the table (second-hand, ASME B94.11M): No. 80
# to No. 1, inches.
LISTING = """
80 0.0135 79 0.0145 78 0.0160 77 0.0180 76 0.0200 75 0.0210 74 0.0225 73 0.0240 72 0.0250 71 0.0260
70 0.0280 69 0.0292 68 0.0310 67 0.0320 66 0.0330 65 0.0350 64 0.0360 63 0.0370 62 0.0380 61 0.0390
60 0.0400 59 0.0410 58 0.0420 57 0.0430 56 0.0465 55 0.0520 54 0.0550 53 0.0595 52 0.0635 51 0.0670
50 0.0700 49 0.0730 48 0.0760 47 0.0785 46 0.0810 45 0.0820 44 0.0860 43 0.0890 42 0.0935 41 0.0960
40 0.0980 39 0.0995 38 0.1015 37 0.1040 36 0.1065 35 0.1100 34 0.1110 33 0.1130 32 0.1160 31 0.1200
30 0.1285 29 0.1360 28 0.1405 27 0.1440 26 0.1470 25 0.1495 24 0.1520 23 0.1540 22 0.1570 21 0.1590
20 0.1610 19 0.1660 18 0.1695 17 0.1730 16 0.1770 15 0.1800 14 0.1820 13 0.1850 12 0.1890 11 0.1910
10 0.1935 9 0.1960 8 0.1990 7 0.2010 6 0.2040 5 0.2055 4 0.2090 3 0.2130 2 0.2210 1 0.2280
"""

# A public-domain table of drills and threads, version 2 of 2007-02-12 (second-hand): exact
# millimetres of No. 97 to No. 53.
EXACT_MM = """
97 0.14986 96 0.16002 95 0.17018 94 0.18034 93 0.19050 92 0.20066 91 0.21082 90 0.22098 89 0.23114
88 0.24130 87 0.25400 86 0.26670 85 0.27940 84 0.29210 83 0.30480 82 0.31750 81 0.33020 80 0.34290
79 0.36830 78 0.40640 77 0.45720 76 0.50800 75 0.53340 74 0.57150 73 0.60960 72 0.63500 71 0.66040
70 0.71120 69 0.74168 68 0.78740 67 0.81280 66 0.83820 65 0.88900 64 0.91440 63 0.93980 62 0.96520
61 0.99060 60 1.01600 59 1.04140 58 1.06680 57 1.09220 56 1.18110 55 1.32080 54 1.39700 53 1.51130
"""

# The same public listing: letters, inches (second-hand, ASME B94.11M).
LETTERS = """
A 0.234 B 0.238 C 0.242 D 0.246 E 0.250 F 0.257 G 0.261 H 0.266 I 0.272 J 0.277 K 0.281 L 0.290
M 0.295 N 0.302 O 0.316 P 0.323 Q 0.332 R 0.339 S 0.348 T 0.358 U 0.368 V 0.377 W 0.386 X 0.397
Y 0.404 Z 0.413
"""


def _pairs(text: str) -> list[tuple[str, Fraction]]:
    words = text.split()
    return [(name, Fraction(size)) for name, size in zip(words[::2], words[1::2], strict=True)]


def test_number_drills_against_a_second_listing() -> None:
    """No. 1 to No. 80, all of them, as another public listing has them."""
    pairs = _pairs(LISTING)
    assert len(pairs) == 80
    for name, inch in pairs:
        assert inch == _inches("drills_number", f"No. {name}"), name


def test_number_drills_against_exact_millimetres() -> None:
    """No. 53 to No. 97 as a public-domain table of 2007 has them in millimetres."""
    pairs = _pairs(EXACT_MM)
    assert len(pairs) == 45
    for name, mm in pairs:
        assert mm == _inches("drills_number", f"No. {name}") * Fraction(127, 5), name


def test_letter_drills_against_a_second_listing() -> None:
    """A to Z, all of them, as another public listing has them."""
    pairs = _pairs(LETTERS)
    assert len(pairs) == len(catalogue.table("drills_letter").rows) == 26
    for name, inch in pairs:
        assert inch == _inches("drills_letter", f"letter {name}"), name


def test_number_and_letter_drills_are_out_of_step() -> None:
    """The trap: no formula gives them; steps grow and shrink from one number to the next."""
    sizes = _sizes("drills_number")
    steps = [after - before for before, after in pairwise(sizes)]
    assert any(after < before for before, after in pairwise(steps))
    assert any(after > before for before, after in pairwise(steps))
    # Letter E is 1/4 in exactly, and letters begin above No. 1 (ASME B94.11M, second-hand).
    assert _inches("drills_letter", "letter E") == Fraction(1, 4)
    assert min(_sizes("drills_letter")) > max(_sizes("drills_number"))


def test_a_number_drill_is_not_the_wire_of_that_number() -> None:
    """The trap: No. 30 drill is 0.1285 in, 30 SWG is 0.0124 in (BS 3737, second-hand)."""
    swg = catalogue.table("gauge_swg").find("30 SWG")
    assert swg is not None
    assert Fraction("0.0124") == swg["thickness_in"]
    assert Fraction("0.1285") == _inches("drills_number", "No. 30")


def test_number_drills_follow_the_steel_wire_gauge_loosely() -> None:
    """They descend from the steel wire gauge and stay within 0.004 in of it, No. 1 to No. 80.

    Steel wire gauge: `fluids.piping.SSWG_inch` (package registry); that the drills descend from
    it: public copies of an encyclopaedia article on drill sizes.
    """
    fluids = pytest.importorskip("fluids.piping")
    for number, inch in enumerate(fluids.SSWG_inch, 1):
        drill = _inches("drills_number", f"No. {number}")
        assert abs(drill - Fraction(str(inch))) <= Fraction("0.004"), number


def test_metric_drills_follow_the_rule_of_steps() -> None:
    """BS 328 (rule as public copies give it): which steps exist in which range, up to 25 mm."""
    sizes = {size for size in _sizes("drills_metric") if size <= 25}
    wanted = {
        Fraction(10 * n + extra, 100) for n in range(2, 10) for extra in (0, 2, 5, 8)
    }  # 0.2 to 0.98
    wanted |= {Fraction(10 * n + extra, 100) for n in range(10, 30) for extra in (0, 5)}
    wanted |= {Fraction(n, 10) for n in range(30, 140)}
    wanted |= {Fraction(n, 4) for n in range(56, 101)}
    assert sizes == wanted
    assert len(wanted) == 227


@pytest.mark.parametrize(
    "size", ["0.2", "0.98", "1", "2.95", "3", "3.3", "10.2", "13", "13.9", "14.25", "25"]
)
def test_usual_metric_drills_are_there(size: str) -> None:
    """Sizes of BS 328 that any set or shop has, with those at the changes of step."""
    assert Fraction(size) in _sizes("drills_metric")


@pytest.mark.parametrize("size", ["0.1", "0.21", "2.97", "3.05", "13.95", "14.1", "33"])
def test_sizes_outside_the_steps_are_not_there(size: str) -> None:
    """BS 328 has no such size; 3.05 is the usual mistake, the half tenths end at 2.95."""
    assert Fraction(size) not in _sizes("drills_metric")


def test_fraction_drills_are_all_the_64ths() -> None:
    """ASME B94.11M: 1/64 to 1 in by 64ths, none left out."""
    inches = [size / Fraction(127, 5) for size in _sizes("drills_inch")]
    assert [Fraction(n, 64) for n in range(1, 65)] == [inch for inch in inches if inch <= 1]
    assert _inches("drills_inch", "13/32 in") == Fraction(13, 32)


@pytest.mark.parametrize(
    ("size", "flute"),
    [  # a tool shop's public list of jobber drills to DIN 338 (second-hand)
        ("1", "12"), ("3.2", "36"), ("7", "69"), ("8", "75"), ("8.5", "75"), ("9", "81"),
        ("9.5", "81"), ("9.8", "87"), ("10", "87"), ("12", "101"), ("16", "120"),
    ],
)  # fmt: skip
def test_jobber_flutes(size: str, flute: str) -> None:
    """Flute lengths of the jobber series at the sizes a public list gives."""
    row = catalogue.table("drills_metric").find(f"{size} mm")
    assert row is not None
    assert Fraction(flute) == row["flute_length_mm"]


@pytest.mark.parametrize("name", ["drills_metric", "drills_inch", "drills_number", "drills_letter"])
def test_flutes_never_shorten_as_drills_grow(name: str) -> None:
    """A thicker drill of the series has flutes as long or longer, and longer than itself."""
    lengths = [
        (row.mm("diameter"), row["flute_length_mm"])
        for row in catalogue.table(name).rows
        if row["flute_length_mm"] is not None
    ]
    flutes = [flute for _, flute in lengths]
    assert flutes == sorted(flutes)
    assert all(flute > 4 * size for size, flute in lengths)  # type: ignore[operator]


# ------------------------------------------------------------------------------------- reamers


@pytest.mark.parametrize("name", ["reamers_metric", "reamers_inch"])
def test_hand_reamers_leave_h8_and_machine_reamers_h7(name: str) -> None:
    """As sold in Britain (one builders' forum; trade practice)."""
    for row in catalogue.table(name).rows:
        assert row.text("tolerance") == {"hand": "H8", "machine": "H7"}[row.text("kind")]
        assert row.text("tolerance") in row.text("designation")


@pytest.mark.parametrize(
    ("name", "sizes"),
    [
        ("reamers_metric", "3 4 5 6 7 8 9 10 11 12 13 14 15 16 18 20 22 25"),
        ("reamers_inch", "1/16 3/32 1/8 5/32 3/16 7/32 1/4 5/16 3/8 7/16 1/2 9/16 5/8 3/4 7/8 1"),
    ],
)
@pytest.mark.parametrize("kind", ["hand", "machine"])
def test_usual_reamers_are_there(name: str, sizes: str, kind: str) -> None:
    """Sizes of ISO 236-1 and ISO 521 that a shop keeps (from memory, common practice)."""
    unit = Fraction(127, 5) if name.endswith("inch") else Fraction(1)
    held = {row.mm("diameter") for row in catalogue.table(name).rows if row["kind"] == kind}
    assert {Fraction(size) * unit for size in sizes.split()} <= held


def test_hand_reamers_are_longer_than_machine_reamers() -> None:
    """At one size the hand reamer has the longer edges, for its taper lead (ISO 236-1, ISO 521)."""
    edges: dict[str, dict[str, Fraction]] = {"hand": {}, "machine": {}}
    for row in catalogue.table("reamers_metric").rows:
        if row["cutting_length_mm"] is not None:
            edges[row.text("kind")][row.text("diameter_mm")] = row.number("cutting_length_mm")
    both = edges["hand"].keys() & edges["machine"].keys()
    assert len(both) >= 15
    assert all(edges["hand"][size] > edges["machine"][size] for size in both)


# ------------------------------------------------------------------------------------- cutters


@pytest.mark.parametrize("name", ["slot_drills_metric", "slot_drills_inch"])
def test_slot_drills_have_two_edges_and_class_e8(name: str) -> None:
    """A slot drill has two edges and class e8 (a cutter maker's public data sheet, DIN 844)."""
    for row in catalogue.table(name).rows:
        assert row["teeth_count"] == 2
        assert row.text("tolerance") == "e8"


def test_usual_cutters_are_there() -> None:
    """Slot drills and end mills of every whole millimetre to 16 and the usual fractions."""
    for name in ("slot_drills_metric", "end_mills_metric"):
        assert {Fraction(n) for n in range(2, 17)} <= set(_sizes(name))
    for name in ("slot_drills_inch", "end_mills_inch"):
        usual = {Fraction(n, 16) * Fraction(127, 5) for n in range(1, 17)}
        assert usual <= set(_sizes(name))


def test_flutes_of_a_slot_drill_are_shorter_than_those_of_an_end_mill() -> None:
    """DIN 327 short against ISO 1641-1 standard, at every size both give (from memory)."""
    slot, end = (
        {row.text("diameter_mm"): row["flute_length_mm"] for row in catalogue.table(name).rows}
        for name in ("slot_drills_metric", "end_mills_metric")
    )
    both = [size for size in slot if slot[size] is not None and end.get(size) is not None]
    assert len(both) >= 15
    assert all(slot[size] < end[size] for size in both)  # type: ignore[operator]


# Socket cap screws: pilot and counterbore, a tool maker's public user guide, page 33 (second-hand).
COUNTERBORES = (
    ("M3", "3.4", "6"), ("M3.5", "3.9", "6.5"), ("M4", "4.5", "8"), ("M5", "5.5", "10"),
    ("M6", "6.6", "11"), ("M8", "9", "15"), ("M10", "11", "18"), ("M12", "14", "20"),
)  # fmt: skip
# Greatest head of a DIN 912 cap screw, a fastener maker's public table (second-hand). [mm]
HEADS = {"M3": "5.5", "M4": "7", "M5": "8.5", "M6": "10", "M8": "13", "M10": "16", "M12": "18"}


@pytest.mark.parametrize(("screw", "pilot", "diameter"), COUNTERBORES)
def test_counterbores(screw: str, pilot: str, diameter: str) -> None:
    """Pilot and counterbore as published, and wide enough for the head of the screw."""
    row = catalogue.table("counterbores").find(f"counterbore for {screw} cap screw")
    assert row is not None
    assert (Fraction(pilot), Fraction(diameter)) == (row["pilot_diameter_mm"], row["diameter_mm"])
    assert row.number("pilot_diameter_mm") < row.number("diameter_mm")
    assert Fraction(HEADS.get(screw, "0")) < row.number("diameter_mm")


# American centre drills: pilot, body and length, two public listings (second-hand); in one of them
# No. 1 is 1 1/8 in long, in the other 1 1/4 in.
CENTRE_DRILLS = (
    ("00", "1/40", "1/8", "9/8"), ("0", "1/32", "1/8", "9/8"), ("1", "3/64", "1/8", "5/4"),
    ("2", "5/64", "3/16", "15/8"), ("3", "7/64", "1/4", "2"), ("4", "1/8", "5/16", "17/8"),
    ("5", "3/16", "7/16", "11/4"), ("6", "7/32", "1/2", "3"), ("7", "1/4", "5/8", "13/4"),
    ("8", "5/16", "3/4", "7/2"),
)  # fmt: skip


@pytest.mark.parametrize(("number", "pilot", "body", "length"), CENTRE_DRILLS)
def test_american_centre_drills(number: str, pilot: str, body: str, length: str) -> None:
    """Sizes 00 to 8 as two public listings have them."""
    row = catalogue.table("centre_drills_inch").find(f"centre drill No. {number} (American)")
    assert row is not None
    found = tuple(row[name] for name in ("diameter_in", "body_diameter_in", "overall_length_in"))
    assert (Fraction(pilot), Fraction(body), Fraction(length)) == found


def test_metric_centre_drills_step_as_preferred_numbers() -> None:
    """ISO 866: pilots are preferred numbers R10 (ISO 3), bodies the pilot times 2 to 3.2."""
    renard = {"1", "1.25", "1.6", "2", "2.5", "3.15", "4", "5", "6.3", "8", "10"}
    rows = catalogue.table("centre_drills_metric").rows
    assert renard == {row.text("diameter_mm") for row in rows}
    for row in rows:
        ratio = row.number("body_diameter_mm") / row.number("diameter_mm")
        assert Fraction(2) < ratio < Fraction("3.2")
        assert row.number("pilot_length_mm") > row.number("diameter_mm")


@pytest.mark.parametrize("name", ["centre_drills_metric", "centre_drills_inch"])
def test_centre_drills_are_thinner_than_their_bodies(name: str) -> None:
    """The pilot is thinner than the body, the angle 60 degrees."""
    for row in catalogue.table(name).rows:
        pilot, body = row.mm("diameter"), row.mm("body_diameter")
        assert pilot is not None and body is not None and pilot < body
        assert row["angle_deg"] == 60


def test_countersinks_and_saws_can_exist() -> None:
    """The small end is smaller than the great one, the bore of a saw than the saw."""
    for row in catalogue.table("countersinks").rows:
        small = row["small_diameter_mm"]
        assert small is None or small < row.number("diameter_mm")  # type: ignore[operator]
        assert row["angle_deg"] in (60, 90)
    for row in catalogue.table("slitting_saws").rows:
        assert row.number("bore_mm") * 2 < row.number("diameter_mm") * Fraction(3, 4)
        assert row.number("thickness_mm") * 8 <= row.number("diameter_mm")
