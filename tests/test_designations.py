"""Drills, gauges and stock by their trade names; the rows nearest to a size; refusals."""

from __future__ import annotations

import subprocess
import sys
import time
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaler import catalogue
from scaler.trade.designations import (
    FAMILIES,
    LONGEST,
    StockMatch,
    UnknownDesignation,
    find_drill,
    find_gauge,
    find_stock,
    neighbours,
)
from scaler.trade.stock_text import SECTIONS, Unread, read_stock

INCH = Fraction(127, 5)

# -------------------------------------------------------------------------------------- drills


@pytest.mark.parametrize(
    ("text", "designation", "series", "inch"),
    [  # sizes: ASME B94.11M (second-hand); fractions and millimetres by their own value
        ("#30", "No. 30", "number", "0.1285"),
        ("No 30", "No. 30", "number", "0.1285"),
        ("No. 30", "No. 30", "number", "0.1285"),
        ("no.30", "No. 30", "number", "0.1285"),
        ("number 30 drill", "No. 30", "number", "0.1285"),
        ("№ 30", "No. 30", "number", "0.1285"),
        ("30#", "No. 30", "number", "0.1285"),
        ("#07", "No. 7", "number", "0.2010"),
        ("No. 1", "No. 1", "number", "0.2280"),
        ("No. 97", "No. 97", "number", "0.0059"),
        ("letter F", "letter F", "letter", "0.257"),
        ("F", "letter F", "letter", "0.257"),
        ("f drill", "letter F", "letter", "0.257"),
        ("letter Z", "letter Z", "letter", "0.413"),
        ("A", "letter A", "letter", "0.234"),
        ("13/32", "13/32 in", "inch", "13/32"),
        ('13/32"', "13/32 in", "inch", "13/32"),
        ("3/8 in drill", "3/8 in", "inch", "3/8"),
        ("½", "1/2 in", "inch", "1/2"),
        ("1 1/32", "1 1/32 in", "inch", "33/32"),
        ("0.25 in", "1/4 in", "inch", "1/4"),
        ("0.1285 in", "No. 30", "number", "0.1285"),
        ("0.257 in", "letter F", "letter", "0.257"),
    ],
)
def test_drills_by_name(text: str, designation: str, series: str, inch: str) -> None:
    """Numbers, letters and inch fractions as people write them."""
    found = find_drill(text)
    assert (found.designation, found.series) == (designation, series)
    assert found.diameter_inch == Fraction(inch)
    assert found.diameter_mm == Fraction(inch) * INCH
    assert found.source and found.place


@pytest.mark.parametrize(
    ("text", "mm"),
    [("10.2", "10.2"), ("10.2 mm", "10.2"), ("10,2 mm", "10.2"), ("3.3", "3.3"), ("0.98", "0.98"),
     ("⌀ 6 mm", "6"), ("6mm twist drill", "6"), ("12", "12")],
)  # fmt: skip
def test_metric_drills(text: str, mm: str) -> None:
    """Millimetres with the unit or without, with a point or a comma."""
    found = find_drill(text)
    assert (found.series, found.diameter_mm) == ("metric", Fraction(mm))
    assert found.designation == f"{mm} mm"


def test_a_bare_whole_number_is_millimetres_and_says_so() -> None:
    """``10`` is 10 mm; the note points to No. 10, which is 0.1935 in (ASME B94.11M)."""
    found = find_drill("10")
    assert found.designation == "10 mm"
    assert "No. 10" in found.note
    assert find_drill("10 mm").note == ""
    assert find_drill("No. 10").diameter_inch == Fraction("0.1935")


@pytest.mark.parametrize(
    ("text", "word", "near"),
    [
        ("No. 98", "No. 1 to No. 97", "No. 97"),
        ("No. 0", "No. 1 to No. 97", "No. 1"),
        ("13/33", "10.0061 mm", "10 mm"),
        ("0.1285", "smallest is No. 97", "No. 97"),
        ("40 mm", "largest is 1 1/2 in", "1 1/2 in"),
        ("2.97", "no drill of 2.97 mm", "2.95 mm"),
    ],
)
def test_unknown_drills_name_the_nearest(text: str, word: str, near: str) -> None:
    """A refusal says why, and what is near; beyond the end it names the end."""
    with pytest.raises(UnknownDesignation) as caught:
        find_drill(text)
    assert word in caught.value.reason
    assert caught.value.nearest[0] == near
    assert caught.value.text == text
    assert near in str(caught.value)


@pytest.mark.parametrize(
    "text", ["", "  ", "drill", "AA", "letter", "#", "No.", "10 x 3", "ä", "F5", "30 30", "-3"]
)
def test_texts_that_name_no_drill(text: str) -> None:
    """Nothing is dropped and nothing guessed."""
    with pytest.raises(UnknownDesignation):
        find_drill(text)


@pytest.mark.parametrize(
    "table", ["drills_number", "drills_letter", "drills_inch", "drills_metric"]
)
def test_every_drill_is_found_by_its_own_name(table: str) -> None:
    """Each designation of the table, in small letters and without blanks, leads to its row."""
    for row in catalogue.table(table).rows:
        name = row.text("designation")
        assert find_drill(name).row == row
        if " 1/" not in name and table != "drills_inch":
            assert find_drill(name.lower().replace(" ", "")).row == row


@pytest.mark.parametrize(
    ("text", "mm"),
    [(".5", "0.5"), ("dia.5 mm", "0.5"), ("dia. 5 mm", "5"), ("5.", "5"), ("5 mm.", "5")],
)
def test_a_point_is_never_lost(text: str, mm: str) -> None:
    """The trap: a point taken for a full stop makes a drill ten times as thick."""
    assert find_drill(text).diameter_mm == Fraction(mm)


@pytest.mark.parametrize(
    "text", ["1.6 swg", "1,6 swg", "1/6 swg", ".16 swg", "-16 swg", "16-18 swg"]
)
def test_no_mark_in_a_gauge_number_is_lost(text: str) -> None:
    """The trap: 1.6 read as 16. Each is refused."""
    with pytest.raises(UnknownDesignation):
        find_gauge(text)


@pytest.mark.parametrize(
    "text",
    [
        "round brass ,5 mm",
        "round brass . 5 mm",
        "round brass -5 mm",
        "flat brass 10-3",
        "round brass 5-6 mm",
    ],
)
def test_no_mark_before_a_size_of_stock_is_lost(text: str) -> None:
    """A comma, point or hyphen that may belong to the figure is refused, not dropped."""
    with pytest.raises(UnknownDesignation, match="part of it"):
        find_stock(text)


# -------------------------------------------------------------------------------------- gauges


@pytest.mark.parametrize(
    ("text", "designation", "inch"),
    [  # SWG and BWG: reprints of the Order of 1883 and after; AWG: ASTM B258; BG: Order of 1914
        ("16swg", "16 SWG", "0.064"),
        ("16 S.W.G.", "16 SWG", "0.064"),
        ("SWG 16", "16 SWG", "0.064"),
        ("No. 16 SWG", "16 SWG", "0.064"),
        ("#16 s.w.g", "16 SWG", "0.064"),
        ("16 standard wire gauge", "16 SWG", "0.064"),
        ("016 swg", "16 SWG", "0.064"),
        ("7/0 SWG", "7/0 SWG", "0.5"),
        ("0000000 SWG", "7/0 SWG", "0.5"),
        ("0 swg", "0 SWG", "0.324"),
        ("1/0 swg", "0 SWG", "0.324"),
        ("50 SWG", "50 SWG", "0.001"),
        ("28 SWG", "28 SWG", "0.0148"),
        ("20 BWG", "20 BWG", "0.035"),
        ("22 Birmingham wire gauge", "22 BWG", "0.028"),
        ("20 BG", "20 BG", "0.0392"),
        ("22 Birmingham sheet", "22 BG", "0.03125"),
    ],
)
def test_gauges_by_name(text: str, designation: str, inch: str) -> None:
    """The same gauge however it is dotted, spaced or turned round."""
    found = find_gauge(text)
    assert found.designation == designation
    assert found.thickness_inch == Fraction(inch)
    assert found.thickness_mm == Fraction(inch) * INCH


@pytest.mark.parametrize(
    "text",
    ["18 AWG", "18 B&S", "18 b. & s.", "B & S 18", "18 brown and sharpe", "18 American wire gauge"],
)
def test_american_gauge_under_both_names(text: str) -> None:
    """18 AWG is 0.0403 in (ASTM B258 by formula, printed so in every table)."""
    found = find_gauge(text)
    assert found.designation == "18 AWG"
    assert round(float(found.thickness_inch), 4) == 0.0403


@pytest.mark.parametrize("text", ["16", "16 gauge", "16 g", "No. 16", "16 zwg", "16 birmingham"])
def test_a_gauge_without_its_name_is_refused(text: str) -> None:
    """The trap: 16 is four thicknesses; the refusal lists all of them."""
    with pytest.raises(UnknownDesignation) as caught:
        find_gauge(text)
    assert caught.value.nearest == ("16 SWG", "16 AWG", "16 BWG", "16 BG")


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("51 SWG", ("7/0 SWG", "50 SWG")),
        ("8/0 SWG", ("7/0 SWG", "50 SWG")),
        ("57 AWG", ("6/0 AWG", "56 AWG")),
        ("37 BWG", ("5/0 BWG", "36 BWG")),
        ("41 BG", ("15/0 BG", "40 BG")),
    ],
)
def test_beyond_the_end_of_a_gauge(text: str, span: tuple[str, str]) -> None:
    """No clamping: the refusal names both ends."""
    with pytest.raises(UnknownDesignation) as caught:
        find_gauge(text)
    assert caught.value.nearest == span
    assert all(end in caught.value.reason for end in span)


@pytest.mark.parametrize("table", FAMILIES["gauges"])
def test_every_gauge_is_found_by_its_own_name(table: str) -> None:
    """Each designation leads to its row, dotted and run together too."""
    for row in catalogue.table(table).rows:
        name = row.text("designation")
        number, letters = name.split()
        for text in (name, name.lower().replace(" ", ""), f"{number} {'.'.join(letters)}."):
            assert find_gauge(text).row == row


# --------------------------------------------------------------------------------------- stock


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("round bar, steel, 12.7 mm", "round bar, mild steel, bright drawn, 1/2 in"),
        ("round, 12,7 mm", "round bar, mild steel, bright drawn, 1/2 in"),
        ("1/2 in square brass", "square bar, brass, drawn, 1/2 in"),
        ('brass 1/2" sq.', "square bar, brass, drawn, 1/2 in"),
        ("brass sheet no.16 swg", "sheet, brass, rolled, 16 SWG"),
        ("steel,12 mm round", "round bar, mild steel, bright drawn, 12 mm"),
        ("round brass dia.5 in", "round bar, brass, drawn, 1/2 in"),
        ("1-1/2 in round brass", "round bar, brass, drawn, 1 1/2 in"),
        ("flat 10 x 3", "flat, mild steel, bright drawn, 10 x 3 mm"),
        ("flat 3 x 10 mm", "flat, mild steel, bright drawn, 10 x 3 mm"),
        ("flat steel 10mmx3mm", "flat, mild steel, bright drawn, 10 x 3 mm"),
        ("bms flat 1 x 1/4", "flat, mild steel, bright drawn, 1 x 1/4 in"),
        ("1/4 x 1 in bright mild steel flat", "flat, mild steel, bright drawn, 1 x 1/4 in"),
        ("tube copper 1/4 in 22 swg", "tube, copper, drawn, 1/4 in x 22 SWG"),
        ("brass tube 3/8 x 20swg", "tube, brass, drawn, 3/8 in x 20 SWG"),
        ("tube brass 5 mm bore", "tube, brass, drawn, 6 x 0.5 mm"),
        ("silver steel 6 mm", "round bar, silver steel, ground, 6 mm"),
        ("ground bar 8", "round bar, mild steel, ground, 8 mm"),
        ("key steel 4", "square bar, key steel, bright drawn, 4 mm"),
        ("key steel 8 x 7", "flat, key steel, bright drawn, 8 x 7 mm"),
        ("gauge plate 1/8 x 1", "flat, tool steel, ground, 1 x 1/8 in"),
        ("hex brass 10mm", "hexagon bar, brass, drawn, 10 mm"),
        ("3/8 a/f hexagon steel", "hexagon bar, mild steel, bright drawn, 3/8 in"),
        ("brass rod 1/8", "round bar, brass, drawn, 1/8 in"),
        ("angle brass 1/4 x 1/16", "angle, brass, extruded, 1/4 x 1/4 x 1/16 in"),
        ("angle 20 x 20 x 3 brass", "angle, brass, extruded, 20 x 20 x 3 mm"),
        ("sheet brass 16 SWG", "sheet, brass, rolled, 16 SWG"),
        ("plate, steel, 3 mm, hot rolled", "sheet, mild steel, hot rolled, 3 mm"),
        ("strip spring steel 10 x 0.5", "strip, spring steel, rolled, 10 x 0.5 mm"),
        ("piano wire 18 swg", "wire, spring steel, drawn, 18 SWG"),
        ("20 mm round cast iron", "round bar, cast iron, cast, 20 mm"),
        ('stainless round ground 1/4"', "round bar, stainless steel, ground, 1/4 in"),
        ("round mild steel black 20 mm", "round bar, mild steel, black, 20 mm"),
    ],
)
def test_stock_by_what_is_asked(text: str, first: str) -> None:
    """Words in any order, sizes in either unit; the nearest row comes first and fits exactly."""
    match = find_stock(text)[0]
    assert match.designation == first
    assert match.departure_mm == 0


def test_stock_is_nearest_first_with_the_departure_that_matters() -> None:
    """Of a tube with the wrong wall the wall's departure is given, not the outside's nought."""
    found = find_stock("tube copper 1/4 in 22 swg", 3)
    assert [match.dimension for match in found] == ["outside", "wall", "wall"]
    # 22, 24 and 20 SWG: 0.028, 0.022 and 0.036 in (BS 3737:1964, second-hand)
    assert [match.departure_mm / INCH for match in found] == [
        0, Fraction("-0.006"), Fraction("0.008"),
    ]  # fmt: skip
    assert found[1].sizes[0] == ("outside", Fraction("6.35"), Fraction(0))


def test_mild_steel_comes_before_other_steels_at_one_size() -> None:
    """``steel`` means any, mild steel first; a named steel means that one only."""
    materials = [m.row.text("material") for m in find_stock("round steel 10 mm", 5)]
    assert materials == ["mild steel"] * 3 + ["silver steel", "stainless steel"]
    named = find_stock("round silver steel 10 mm", 50)
    assert {match.row.text("material") for match in named} == {"silver steel"}


def test_one_system_only_when_asked() -> None:
    """``metric`` and ``imperial`` keep to their own tables."""
    assert find_stock("round brass 12.7 mm metric", 1)[0].departure_mm == Fraction("0.3")
    assert find_stock("round brass 12 mm imperial", 1)[0].designation.endswith("15/32 in")


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("titanium round 5", "titanium"),
        ("round", "0 sizes"),
        ("12.7 mm", "one section"),
        ("bar 12 mm", "one section"),
        ("square brass tube 5 mm", "one section"),
        ("round brass copper 5", "two materials"),
        ("round brass 1/2 in 1/4 in", "2 sizes"),
        ("round gunmetal ground 10 mm", "no such round"),
        ("round steel 500 mm", "ends at 101.6 mm"),
        ("round silver steel 0.9 mm", "begins at 1 mm"),
        ("tube copper 1/4 in 60 swg", "SWG goes from 7/0 SWG to 50 SWG"),
        ("round steel 1,250", "1,250"),
        ("round steel 5 km", "km"),
        ("round steel 10 mm $", "$"),
        ("angle brass 1/4", "1 sizes"),
    ],
)
def test_stock_refusals_say_why(text: str, reason: str) -> None:
    """Unknown words, missing sections and sizes beyond the ends are refused, never clamped."""
    with pytest.raises(UnknownDesignation) as caught:
        find_stock(text)
    assert reason in caught.value.reason
    assert caught.value.text == text


@pytest.mark.parametrize("form", SECTIONS)
def test_every_row_of_stock_is_found_by_its_own_name(form: str) -> None:
    """The designation of each row, read back, gives that row with no departure.

    Rows with a bracket in their name (a hexagon for 2 BA) are asked for without it.
    """
    for system in ("metric", "inch"):
        for row in catalogue.table(f"stock_{form}_{system}").rows[::7]:
            name = row.text("designation").split(" (")[0]
            exact = [m.row for m in find_stock(f"{name} {'imperial' if system == 'inch' else system}", 40)
                     if not any(departure for *_, departure in m.sizes)]  # fmt: skip
            assert row in exact, name


def test_the_reader_of_stock_knows_no_table() -> None:
    """The text alone gives section, sizes in mm and gauges as written."""
    asked = read_stock("tube copper 1/4 in 22 swg")
    assert (asked.form, asked.sizes, asked.gauges) == ("tube", (Fraction("6.35"),), ("22 swg",))
    with pytest.raises(Unread, match="one section"):
        read_stock("copper")


# ---------------------------------------------------------------------------------- neighbours


def _all(family: str, base: str) -> list[tuple[Fraction, str]]:
    found = []
    for table in FAMILIES[family]:
        for row in catalogue.table(table).rows:
            size = row.mm(base)
            assert size is not None
            found.append((size, row.text("designation")))
    return found


@given(
    st.fractions(min_value=0, max_value=60, max_denominator=640),
    st.sampled_from(["drills", "reamers", "slot drills", "round bar"]),
    st.integers(min_value=0, max_value=4),
)
def test_neighbours_are_those_a_plain_search_finds(size: Fraction, family: str, count: int) -> None:
    """Bisection over several tables agrees with looking at every row."""
    near = neighbours(size, family, count)
    every = _all(family, "diameter")
    below = sorted((have for have, _ in every if have < size), reverse=True)[:count]
    above = sorted(have for have, _ in every if have > size)[:count]
    assert [row.size_mm for row in near.below] == below
    assert [row.size_mm for row in near.above] == above
    assert len(near.equal) == sum(have == size for have, _ in every)
    for row in near.all():
        assert row.departure_mm == row.size_mm - size
        assert (row.size_mm, row.designation) in every


def test_neighbours_across_metric_and_inch() -> None:
    """The trap of mixed catalogues: between 3.2 and 3.3 mm lies No. 30, 0.1285 in."""
    near = neighbours(Fraction("3.25"), "drills", 2)
    assert [row.designation for row in near.below] == ["3.2 mm", "1/8 in"]
    assert [row.designation for row in near.above] == ["No. 30", "3.3 mm"]
    assert near.below[0].departure_mm == Fraction("-0.05")


def test_neighbours_beyond_the_ends_are_empty() -> None:
    """Below the smallest there is nothing below: no row is put in its place."""
    assert neighbours(Fraction("0.1"), "drills").below == ()
    assert neighbours(Fraction(1000), "drills").above == ()
    assert neighbours(Fraction(1000), "drills").below[0].designation == "1 1/2 in"


def test_neighbours_of_some_rows_only() -> None:
    """A finish or a material narrows the rows; another dimension can be compared."""
    near = neighbours(
        Fraction("15.5"), "round bar", where={"finish": "ground", "material": "silver steel"}
    )
    assert {row.row.text("material") for row in near.all()} == {"silver steel"}
    assert (near.below[0].size_mm, near.above[0].size_mm) == (
        Fraction("15.08125"),
        Fraction("15.875"),
    )
    bores = neighbours(Fraction(5), "tube", base="bore", where={"material": "brass"})
    assert bores.equal and all(row.row.text("material") == "brass" for row in bores.equal)
    with pytest.raises(KeyError):
        neighbours(Fraction(5), "no such table")


def test_every_family_has_its_tables() -> None:
    """Each table of each family exists and has the dimension that neighbours compares."""
    for name, tables in FAMILIES.items():
        assert neighbours(Fraction(5), name, 1).all(), name
        for table in tables:
            assert catalogue.table(table).rows


# ------------------------------------------------------------------------------- any text at all

_ALPHABET = st.sampled_from(list("0123456789/.,xX ×-#&\"'½⅞№abcdefgimnorstuw²٣\t\x00ßİ"))
_PHRASES = (
    "round square hex flat tube angle sheet brass steel silver copper bms ground 1/2 10 mm in swg "
    "awg 16 1/0 No. # letter F drill x 22 bore , 3/8 gauge"
)
_WORDS = st.sampled_from(_PHRASES.split())


@given(st.one_of(st.text(max_size=200), st.text(_ALPHABET, max_size=60),
                 st.lists(_WORDS, max_size=9).map(" ".join)))  # fmt: skip
def test_any_text_is_answered_or_refused(text: str) -> None:
    """Whatever is typed gives an answer or an UnknownDesignation with its reason, never a crash."""
    for find in (find_drill, find_gauge, find_stock):
        try:
            found = find(text)
        except UnknownDesignation as error:
            assert error.reason
            assert len(error.text) <= LONGEST
        else:
            if isinstance(found, tuple):
                assert all(isinstance(match, StockMatch) for match in found)
                totals = [sum(abs(item[2]) for item in match.sizes) for match in found]
                assert totals == sorted(totals)
            else:
                assert found.row.text("designation") == found.designation


@pytest.mark.parametrize(
    "text",
    [
        "9" * 10**6,
        "1/" * 60,
        "x" * 120,
        " " * 10**6,
        "10x" * 40,
        "((((" * 30,
        "steel " * 20,
        "0/0 swg",
        "1/0",
        "9" * 119,
    ],
)
def test_hostile_texts_are_quick(text: str) -> None:
    """Long and awkward texts are refused within a fifth of a second each."""
    for find in (find_drill, find_gauge, find_stock):
        start = time.perf_counter()
        with pytest.raises(UnknownDesignation):
            find(text)
        assert time.perf_counter() - start < 0.2


def test_no_heavy_package_is_loaded() -> None:
    """Looking something up needs none of the large libraries."""
    code = (
        "import sys; from scaler.trade.designations import find_stock; find_stock('round brass 5');"
        "print([m for m in ('pandas','pint','sympy','numpy','networkx','scipy') if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
