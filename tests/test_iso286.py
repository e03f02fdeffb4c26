"""ISO 286 against published limits, its own rules and its formulae.

What was read, and how far it can be trusted:
- tests/published/iso286_2_limit_deviations.csv holds limit deviations of ISO 286-2:2010, second
  hand. Copy ``first``: the national edition GB/T 1800.2-2020, as taken out of its PDF by somebody
  else. In that copy the JS figures had lost their decimal commas and a few cells their sign; those
  are left out. Its rows of V, X, Y, Z, ZA had slipped by half a row and were put together again.
  Table numbers of holes are those of the copy where it shows them (2, 3, 4, 6, 8, 11 to 15), the
  others follow the standard's order; those of shafts (17 to 32) are from memory.
- Copy ``second``: a public table of selected classes over 3 up to 400 mm. Three of its cells are
  slips and are tested apart.
- Neither copy is the one that the catalogue's tables were entered from.
"""

import csv
import timeit
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaler import catalogue
from scaler.trade import iso286, iso286_formulae
from scaler.trade.iso286 import (
    GRADES,
    Iso286Error,
    deviations,
    fit,
    parse_fit_designation,
    tolerance,
)

PUBLISHED = Path(__file__).parent / "published" / "iso286_2_limit_deviations.csv"
TABLES = ("grades", "shafts", "holes", "delta", "exceptions", "preferred_fits")
SHAFTS = iso286.classes("shaft")
HOLES = iso286.classes("hole")
ENDS = [int(row.number("up_to_mm")) for row in catalogue.table("iso286_shafts").rows]


def limits(tolerance_class: str, size: Fraction | int) -> tuple[Fraction | int, Fraction | int]:
    """Lower and upper deviation [µm]."""
    found = deviations(tolerance_class, size)
    return found.lower_um, found.upper_um


def published() -> Iterator[tuple[str, str, str, int, Fraction, Fraction]]:
    """Class, table, copy, end of the range [mm], lower and upper deviation [µm]."""
    with PUBLISHED.open(newline="", encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            for cell in row["limits"].split():
                end, pair = cell.split(":")
                lower, upper = (Fraction(text) for text in pair.split("/"))
                yield row["class"], row["table"], row["copy"], int(end), lower, upper


CELLS = list(published())
CLASSES = sorted({(cell[0], cell[1], cell[2]) for cell in CELLS})


# ---------------------------------------------------------------- published limits


@pytest.mark.parametrize(("name", "table", "copy"), CLASSES)
def test_published_limits(name: str, table: str, copy: str) -> None:
    """Every limit read of ISO 286-2:2010 (second-hand, see above) comes out to the last digit."""
    for _, _, _, end, lower, upper in (one for one in CELLS if one[::2][:2] == (name, copy)):
        assert (end, lower, upper) == (end, *limits(name, end)), (name, table)


def test_published_limits_are_many() -> None:
    """The published sample spans every sub-range and every letter, as a hole or as a shaft.

    The letters that are missing on one side are read on the other, and mirrored below.
    """
    assert len(CELLS) > 3400
    letters = {cell[0].rstrip("0123456789") for cell in CELLS}
    assert set(HOLES) - letters == {"ZB", "ZC"}
    assert set(SHAFTS) - letters == {"b", "c", "cd", "ef", "fg", "t", "v", "x"}
    assert {cell[3] for cell in CELLS} == set(ENDS)


@pytest.mark.parametrize(
    ("name", "size", "slip", "right"),
    [
        # second copy against: F6 of the first copy (+43/+68) mirrored; IT6 is 25
        ("f6", 180, (-48, -43), (-68, -43)),
        # second copy against: E7 of the first copy
        ("E7", 400, (125, 185), (125, 182)),
        # second copy against: K6 of the first copy
        ("K6", 10, (-6, 2), (-7, 2)),
    ],
)
def test_slips_of_the_second_copy(
    name: str, size: int, slip: tuple[int, int], right: tuple[int, int]
) -> None:
    """The three cells in which the second copy is wrong."""
    assert limits(name, size) == right != slip


@pytest.mark.parametrize(
    ("name", "size", "side", "value"),
    [
        # ISO 286-2:1988/Cor.1:2006 (public copy): figures corrected there, by page and table
        ("A13", 355, "upper_um", 2090),  # page 8, Table 2
        ("E8", 120, "upper_um", 126),  # page 9, Table 3
        ("R10", 30, "upper_um", -28),  # page 17, Table 11
        ("f9", 315, "lower_um", -186),  # page 26, Table 20
    ],
)
def test_corrigendum_of_part_2(name: str, size: int, side: str, value: int) -> None:
    """What the corrigendum of Part 2 put right is right here."""
    assert getattr(deviations(name, size), side) == value


@pytest.mark.parametrize(
    ("hole", "shaft", "size", "expected"),
    [
        # worked examples 3.2 and 3.3 of a machine-design textbook (public copy of its figures)
        ("H7", "s6", 20, (0, 21, 35, 48)),
        ("H7", "s6", 50, (0, 25, 43, 59)),
    ],
)
def test_worked_examples(
    hole: str, shaft: str, size: int, expected: tuple[int, int, int, int]
) -> None:
    """Valve seat in housing and hub, both H7/s6."""
    assert (*limits(hole, size), *limits(shaft, size)) == expected


# Preferred fits at 25 mm, [µm]. ISO 286-2:2010, Tables 2 to 32, range over 18 to 30 (24 to 30):
# H7, H8, F8, G7, K7, N7, P7, S7, U7, g6, h6, k6, n6, p6, s6 are in the copies above; h7, d9, c11,
# D9, C11, f7 and u6 follow from grade and fundamental deviation there.
PREFERRED_AT_25 = [
    ("H11/c11", 0, 130, -240, -110, 110, 370, "clearance"),
    ("H9/d9", 0, 52, -117, -65, 65, 169, "clearance"),
    ("H8/f7", 0, 33, -41, -20, 20, 74, "clearance"),
    ("H7/g6", 0, 21, -20, -7, 7, 41, "clearance"),
    ("H7/h6", 0, 21, -13, 0, 0, 34, "clearance"),
    ("H7/k6", 0, 21, 2, 15, -15, 19, "transition"),
    ("H7/n6", 0, 21, 15, 28, -28, 6, "transition"),
    ("H7/p6", 0, 21, 22, 35, -35, -1, "interference"),
    ("H7/s6", 0, 21, 35, 48, -48, -14, "interference"),
    ("H7/u6", 0, 21, 48, 61, -61, -27, "interference"),
    ("C11/h11", 110, 240, -130, 0, 110, 370, "clearance"),
    ("D9/h9", 65, 117, -52, 0, 65, 169, "clearance"),
    ("F8/h7", 20, 53, -21, 0, 20, 74, "clearance"),
    ("G7/h6", 7, 28, -13, 0, 7, 41, "clearance"),
    ("K7/h6", -15, 6, -13, 0, -15, 19, "transition"),
    ("N7/h6", -28, -7, -13, 0, -28, 6, "transition"),
    ("P7/h6", -35, -14, -13, 0, -35, -1, "interference"),
    ("S7/h6", -48, -27, -13, 0, -48, -14, "interference"),
    ("U7/h6", -61, -40, -13, 0, -61, -27, "interference"),
]


@pytest.mark.parametrize("row", PREFERRED_AT_25, ids=lambda row: str(row[0]))
def test_preferred_fits_at_25(row: tuple[str, int, int, int, int, int, int, str]) -> None:
    """Limits, clearance and kind of the usual fits at 25 mm."""
    text, *figures, kind = row
    found = fit(text, 25)
    assert figures == [
        found.hole.lower_um,
        found.hole.upper_um,
        found.shaft.lower_um,
        found.shaft.upper_um,
        found.clearance_min_um,
        found.clearance_max_um,
    ]
    assert (found.kind, found.designation) == (kind, text)
    assert found.hole.lower_mm == found.hole.lower_um / 1000
    assert found.width_um == found.hole.tolerance_um + found.shaft.tolerance_um


@pytest.mark.parametrize(
    ("grade", "size", "expected"),
    [
        # ISO 286-1:2010, Table 1 (second-hand: three copies agree)
        ("IT01", 3, "0.3"), ("IT0", 10, "0.6"), ("IT1", 180, "3.5"), ("IT2", 6, "1.5"),
        ("IT3", 30, "4"), ("IT4", 50, "7"), ("IT5", 80, "13"), (6, 120, "22"), (7, 25, "21"),
        ("8", 250, "72"), ("9", 315, "130"), ("IT10", 400, "230"), ("it11", 500, "400"),
        (12, 630, "700"), (13, 800, "1250"), (14, 1000, "2300"), (15, 1250, "4200"),
        (16, 1600, "7800"), (17, 2000, "15000"), (18, 3150, "33000"), (14, 2, "250"),
        # copies differ, settled in the table's note: IT15 over 30 to 50, IT01 and IT0 over 400
        # to 500 (formula: 3.9 and 5.9), IT5 over 2500 (JS5 there is ±48 in ISO 286-2, Table 7)
        (15, 50, "1000"), ("01", 500, "4"), ("0", 500, "6"), (5, 3150, "96"),
    ],
)  # fmt: skip
def test_grades(grade: str | int, size: int, expected: str) -> None:
    """Standard tolerances of Table 1."""
    assert tolerance(grade, size) == Fraction(expected)


@pytest.mark.parametrize(
    ("name", "size", "half"),
    [
        # ISO 286-2:2010, Table 7 (second-hand): halves are printed, also in grades 7 to 11, where
        # the 1988 edition let them be rounded to whole micrometres
        ("JS7", 10, "7.5"), ("JS7", 30, "10.5"), ("JS9", 18, "21.5"), ("JS9", 250, "57.5"),
        ("js10", 250, "92.5"), ("js11", 3150, "675"), ("JS1", 30, "0.75"), ("js01", 3, "0.15"),
        ("JS12", 120, "175"), ("JS18", 80, "2300"),
    ],
)  # fmt: skip
def test_js_is_half_the_tolerance(name: str, size: int, half: str) -> None:
    """JS and js are plus and minus half the tolerance, not rounded."""
    assert limits(name, size) == (-Fraction(half), Fraction(half))


# ---------------------------------------------------------------- the standard's exceptions


@pytest.mark.parametrize(
    ("name", "size", "expected"),
    [
        # M6 over 250 to 315: -9, not -20 + 9 = -11 (ISO 286-1:2010, Table 2, footnote; two copies)
        ("M6", 251, (-41, -9)), ("M6", 315, (-41, -9)), ("M6", 250, (-37, -8)),
        ("M6", 316, (-46, -10)), ("M5", 315, (-36, -13)), ("M7", 315, (-52, 0)),
        # K7 and S6 over 18 to 30, the standard's own examples of Δ (from memory; in the copies too)
        ("K7", 20, (-15, 6)), ("S6", 20, (-44, -31)),
        # k: grades 4 to 7 against the others (ISO 286-1:2010, Table 5; ISO 286-2 k3, k8)
        ("k3", 25, (0, 4)), ("k4", 25, (2, 8)), ("k7", 25, (2, 23)), ("k8", 25, (0, 33)),
        ("k13", 25, (0, 330)), ("k7", 600, (0, 70)),
        # N: zero above grade 8 over 3 to 500, -4 to 3 mm, and as M and K no Δ above 500
        ("N9", 25, (-52, 0)), ("N11", 3, (-64, -4)), ("N9", 600, (-219, -44)), ("K7", 600, (-70, 0)),
        ("N8", 25, (-36, -3)),
        # to 3 mm: no Δ
        ("K7", 3, (-10, 0)), ("M8", 3, (-16, -2)), ("P7", 3, (-16, -6)), ("ZC7", 3, (-70, -60)),
        ("K9", 3, (-25, 0)), ("K10", 2, (-40, 0)),
        # P to ZC: Δ to grade 7, none from grade 8
        ("P7", 25, (-35, -14)), ("P8", 25, (-55, -22)), ("ZC7", 500, (-2640, -2577)),
        # J and j, tabulated
        ("J6", 3, (-4, 2)), ("J8", 500, (-31, 66)), ("J7", 6, (-6, 6)), ("j5", 3, (-2, 2)),
        ("j6", 400, (-18, 18)), ("j7", 500, (-32, 31)), ("j8", 3, (-6, 8)),
        # sub-ranges: each side of one
        ("s6", 50, (43, 59)), ("s6", 65, (53, 72)), ("s6", 66, (59, 78)), ("c11", 40, (-280, -120)),
        ("c11", 41, (-290, -130)), ("r6", 225, (80, 109)), ("r6", 226, (84, 113)),
        # small and in-between letters (ISO 286-2:2010, Tables 3 to 5)
        ("CD10", 10, (56, 114)), ("ef6", 6, (-22, -14)), ("fg7", 3, (-14, -4)),
        # where t, v, y begin
        ("t6", Fraction("24.001"), (41, 54)), ("v6", 15, (39, 50)), ("y6", 19, (63, 76)),
        # just above 1 mm
        ("a11", Fraction("1.001"), (-330, -270)), ("B9", 2, (140, 165)), ("N9", 2, (-29, -4)),
        ("h14", 2, (-250, 0)), ("H13", 1, (0, 140)), ("N8", 1, (-18, -4)),
    ],
)  # fmt: skip
def test_exceptions(name: str, size: Fraction | int, expected: tuple[int, int]) -> None:
    """Special values, Δ, small sizes, sub-ranges and the ends of letters."""
    assert limits(name, size) == expected


@pytest.mark.parametrize(
    ("name", "size", "said"),
    [
        ("t6", 24, "t6 is given for sizes above 24 up to 3150 mm; nearest shaft classes here: s6, u6"),
        ("V7", 14, "V7 is given for sizes above 14 up to 500 mm"),
        ("y6", 18, "y6 is given for sizes above 18 up to 500 mm"),
        ("cd8", 51, "cd8 is given for sizes up to 50 mm"),
        ("EF6", 80, "EF6 is given for sizes up to 50 mm"),
        ("j8", 10, "j8 is given for sizes up to 3 mm; j is given here for grades 5 to 7"),
        ("j4", 10, "j is given here for grades 5 to 7"),
        ("J9", 10, "J is given here for grades 6 to 8; nearest hole classes here: JS9, M9"),
        ("J6", 501, "J6 is given for sizes up to 500 mm; nearest hole classes here: JS6, K6"),
        ("K9", 10, "K9 is given for sizes up to 3 mm; K is given here for grades 3 to 8"),
        ("K9", 600, "K is given here for grades 1 to 8"),
        ("N2", 10, "N is given here for grades 3 to 18"),
        ("P01", 10, "P01 is given for sizes up to 3 mm; P is given here for grades 3 to 18"),
        ("b7", 700, "b7 is given for sizes above 1 up to 500 mm; nearest shaft classes here: d7"),
        ("a9", 1, "a9 is not to be used for sizes up to 1 mm"),
        ("B8", Fraction(1, 2), "B8 is not to be used for sizes up to 1 mm"),
        ("N9", 1, "N9 is not to be used for sizes up to 1 mm"),
        ("H14", 1, "H14 is not to be used for sizes up to 1 mm"),
        ("js18", Fraction("0.8"), "take a grade finer than 14"),
        ("h01", 501, "grade 01 is not given for sizes over 500 to 630 mm"),
        ("H7", 0, "its tables start above 0 mm"),
        ("H7", Fraction(-3), "its tables start above 0 mm"),
        ("H7", Fraction("3150.001"), "which end at 3150 mm"),
        ("H7", Fraction(10000, 3), "10000/3 mm (about 3333.333333 mm) is beyond the tables"),
    ],
)  # fmt: skip
def test_classes_that_do_not_exist(name: str, size: Fraction | int, said: str) -> None:
    """Each refusal says which sizes or grades there are; nothing is clamped."""
    with pytest.raises(Iso286Error) as caught:
        deviations(name, size)
    assert said in str(caught.value)
    assert caught.value.text and caught.value.problem and caught.value.advice
    assert caught.value.expected


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("H", "no tolerance class"), ("7", "no tolerance class"), ("", "no tolerance class"),
        ("H7g6", "no tolerance class"), ("H100", "no tolerance class"), ("H7.5", "no tolerance"),
        ("H19", "no grade 19"), ("H00", "no grade 00"), ("h07", "no grade 07"),
        ("Js9", 'write "JS9" for a hole, "js9" for a shaft'), ("zC7", "mixes small and capital"),
        ("I7", 'no deviation "I"'), ("l6", 'no deviation "l"'), ("O7", 'no deviation "O"'),
        ("q6", 'no deviation "q"'), ("w6", 'no deviation "w"'), ("ab6", 'no deviation "ab"'),
    ],
)  # fmt: skip
def test_texts_that_are_no_class(name: str, said: str) -> None:
    """A text that is no class of ISO 286 is refused with what to write."""
    with pytest.raises(Iso286Error) as caught:
        deviations(name, 25)
    assert said in str(caught.value)


@pytest.mark.parametrize("grade", ["IT19", "x", "", "IT", "-1", 19, "02"])
def test_grades_that_do_not_exist(grade: str | int) -> None:
    """An unknown grade is refused, naming the first and the last."""
    with pytest.raises(Iso286Error, match=r"01 \(finest\) to 18"):
        tolerance(grade, 25)


def test_grades_at_the_ends_of_the_tables() -> None:
    """IT01 and IT0 end at 500 mm, IT14 to IT18 start above 1 mm."""
    assert tolerance("01", 500) == 4
    with pytest.raises(Iso286Error, match="take grade 1 or coarser"):
        tolerance("0", 501)
    assert tolerance(13, 1) == 140
    with pytest.raises(Iso286Error, match="finer than 14"):
        tolerance(14, 1)


def test_floats_are_refused() -> None:
    """A basic size is exact; a float is an error of the caller."""
    with pytest.raises(TypeError, match="exact"):
        deviations("H7", 25.0)  # type: ignore[arg-type]


# ---------------------------------------------------------------- rules that hold all over


def steps() -> Iterator[int]:
    """A size in every sub-range, the ends of it being checked elsewhere."""
    yield from (1, *ENDS)


def test_ranges_are_above_up_to() -> None:
    """At the end of a range its own value holds, just above it the next one's."""
    rows = catalogue.table("iso286_shafts").rows
    for row, following in pairwise(rows):
        end = row.number("up_to_mm")
        assert limits("u7", end)[0] == row.number("u_um")
        assert limits("u7", end + Fraction(1, 10**9))[0] == following.number("u_um")
    assert deviations("H7", 18).range_ == "over 10 to 18"
    assert deviations("s6", 18).range_ == "over 10 to 18"
    assert deviations("x6", 18).range_ == "over 14 to 18"
    assert deviations("h6", 2).range_ == "up to 3"


def test_existing_classes_have_their_tolerance() -> None:
    """For every class at every step: upper less lower is the grade, and exists() agrees."""
    count = 0
    for size in steps():
        for letter in (*HOLES, *SHAFTS):
            for grade in GRADES:
                name = f"{letter}{grade}"
                if iso286.exists(name, size):
                    found = deviations(name, size)
                    assert found.tolerance_um == tolerance(grade, size)
                    assert found.side == ("hole" if letter in HOLES else "shaft")
                    count += 1
                else:
                    with pytest.raises(Iso286Error):
                        deviations(name, size)
    assert count > 30_000


def test_holes_mirror_shafts() -> None:
    """General rule (ISO 286-1): A to H are a to h mirrored, all grades; P to ZC above grade 7 too."""
    for size in steps():
        for letter in SHAFTS:
            for grade in ("5", "8", "12"):
                shaft, hole = f"{letter}{grade}", f"{letter.upper()}{grade}"
                early = letter <= "h" or letter == "js"
                late = letter >= "p" and grade != "5"
                if (early or late) and iso286.exists(shaft, size):
                    lower, upper = limits(shaft, size)
                    assert limits(hole, size) == (-upper, -lower), (hole, size)


def test_special_rule_for_fits() -> None:
    """Special rule (ISO 286-1): over 3 to 500 mm H n / p (n-1) and P n / h (n-1) are one fit.

    So for K, M, N to grade 8 and P to ZC to grade 7, save M6 over 250 to 315 mm.
    """
    for size in steps():
        for letter in SHAFTS:
            last = 8 if letter in ("k", "m", "n") else 7
            if letter < "k" or not 3 < size <= 500:
                continue
            for number in range(4, last + 1):
                if letter == "k" and not 4 <= number - 1 <= 7:
                    continue  # k has another value there
                hole = f"{letter.upper()}{number}"
                if not iso286.exists(hole, size) or (hole == "M6" and 250 < size <= 315):
                    continue
                by_hole = fit(f"H{number}/{letter}{number - 1}", size)
                by_shaft = fit(f"{hole}/h{number - 1}", size)
                assert (by_hole.clearance_min_um, by_hole.clearance_max_um) == (
                    by_shaft.clearance_min_um,
                    by_shaft.clearance_max_um,
                ), (hole, size)


def test_delta_is_the_difference_of_two_grades() -> None:
    """Δ = IT n − IT (n−1) (ISO 286-1), over 3 mm; 0 to 3 mm."""
    for row in catalogue.table("iso286_delta").rows:
        end = row.number("up_to_mm")
        for number in range(3, 9):
            expected = tolerance(number, end) - tolerance(number - 1, end) if end > 3 else 0
            assert row.number(f"delta_it{number}_um") == expected


def test_letters_run_from_loose_to_tight() -> None:
    """At one size and grade shafts only get larger from a to zc, holes smaller from A to ZC."""
    for size in steps():
        for letters, grade, sign in ((SHAFTS, "7", 1), (HOLES, "9", -1)):
            order = [one for one in letters if one.lower() not in ("js", "j", "k", "h")]
            found = [
                deviations(one + grade, size).lower_um * sign
                for one in order
                if iso286.exists(one + grade, size)
            ]
            if sign == -1:  # above grade 8 N is zero, between M and P: out of order by design
                found = [
                    deviations(one + grade, size).lower_um * sign
                    for one in order
                    if one != "N" and iso286.exists(one + grade, size)
                ]
            assert found == sorted(found), (grade, size)


def test_tables_grow_with_size_and_grade() -> None:
    """Tolerances never fall with size and always grow with grade; deviations never shrink."""
    grades = catalogue.table("iso286_grades").rows
    for row in grades:
        values = [row.number(f"it{one}_um") for one in GRADES if row.text(f"it{one}_um")]
        assert values == sorted(set(values))
    for table in ("grades", "shafts", "holes"):
        rows = catalogue.table(f"iso286_{table}").rows
        for name in catalogue.table(f"iso286_{table}").columns:
            if not name.endswith("_um") or name in ("K_over_8_um", "N_over_8_um", "k_other_um"):
                continue
            if name in ("k4_to_k7_um", "K_to_8_um"):
                rows_here = [row for row in rows if row.number("up_to_mm") <= 500]
            else:
                rows_here = list(rows)
            values = [abs(row.number(name)) for row in rows_here if row.text(name)]
            assert values == sorted(values), name


@given(
    st.fractions(min_value=Fraction(1, 1000), max_value=3150, max_denominator=10_000),
    st.sampled_from(("H7/g6", "H8/f7", "H7/k6", "H7/s6", "F8/h7", "P7/h6", "JS7/h6", "H9/d9")),
)
def test_clearance_is_hole_less_shaft(size: Fraction, text: str) -> None:
    """Clearance limits follow from the four deviations, and the kind from the clearance."""
    found = fit(text, size)
    assert found.clearance_min_um == found.hole.lower_um - found.shaft.upper_um
    assert found.clearance_max_um == found.hole.upper_um - found.shaft.lower_um
    kind = {
        (True, True): "clearance",
        (False, True): "transition",
        (False, False): "interference",
    }[(found.clearance_min_um >= 0, found.clearance_max_um > 0)]
    assert found.kind == kind
    assert fit(f"{size} {text}") == found


# ---------------------------------------------------------------- tables


def test_tables_are_whole() -> None:
    """Each table: rows, unique designations, known sources, a place, ranges without gaps."""
    sources = {row.text("key") for row in catalogue.table("sources").rows}
    for name in TABLES:
        table = catalogue.table(f"iso286_{name}")
        assert len({row.text("designation") for row in table.rows}) == len(table.rows) > 0
        assert list(table.columns)[-2:] == ["source", "place"]
        for row in table.rows:
            assert row.text("source") in sources and row.text("place")
            for column in table.columns:
                row[column]  # every cell reads as its type
    for name, end in (("grades", 3150), ("shafts", 3150), ("holes", 3150), ("delta", 500)):
        rows = catalogue.table(f"iso286_{name}").rows
        assert rows[0].number("above_mm") == 0 and rows[-1].number("up_to_mm") == end
        for row, following in pairwise(rows):
            assert row.number("up_to_mm") == following.number("above_mm")


def test_settled_differences_are_noted() -> None:
    """Where the copies differ the note says so (IT15 over 30 to 50, ef over 18 to 30, IT5)."""
    grades = catalogue.table("iso286_grades")
    assert "IT15" in grades.rows[5].text("note") and "98" in grades.rows[-1].text("note")
    row = catalogue.table("iso286_shafts").find("over 18 to 24")
    assert row is not None and "28.3" in row.text("note")
    assert row.number("ef_um") == -28


def test_preferred_fits_are_classes() -> None:
    """Preferred fits are hole/shaft pairs of existing classes, hole basis with H, shaft with h."""
    for row in catalogue.table("iso286_preferred_fits").rows:
        basis, hole, shaft = (row.text(one) for one in ("basis", "hole", "shaft"))
        assert (hole if basis == "hole" else shaft).lower().startswith("h")
        assert iso286.exists(hole, 100) and iso286.exists(shaft, 100)
        assert row.text("designation") == f"{hole}/{shaft} {basis} basis"


# ---------------------------------------------------------------- formulae


def test_grades_against_their_formulae() -> None:
    """ISO 286-1's formulae (from memory), rounded by its rules, agree in 3 cells of 4.

    Slack: grade 5 and coarser within 10 % above 3 mm and 14 % to 3 mm, finer ones 27 %: the
    standard smoothed its tables by hand. Rounding to whole micrometres alone misses about 4 in 10
    of IT5 to IT11 up to 500 mm, which is why the tables are data.
    """
    cells = list(iso286_formulae.compare_grades())
    assert len(cells) == 404
    assert sum(cell.agrees for cell in cells) >= 300
    for cell in cells:
        fine = cell.name in ("IT01", "IT0", "IT1", "IT2", "IT3", "IT4")
        slack = 0.27 if fine else 0.14 if cell.range_ == "up to 3" else 0.10
        assert abs(cell.formula_um_approx - cell.printed_um) <= slack * cell.printed_um, cell
    middle = [
        cell
        for cell in cells[: 13 * len(GRADES)]
        if cell.name in {f"IT{number}" for number in range(5, 12)}
    ]
    missed = sum(round(cell.formula_um_approx) != cell.printed_um for cell in middle)
    assert len(middle) == 91 and 0.35 < missed / len(middle) < 0.45


def test_deviations_against_their_formulae() -> None:
    """The formulae of the fundamental deviations (from memory) over the whole table of shafts.

    Over 18 mm within 6 % (c to 40 mm: 14 %; k: half a micrometre; p and s up to 500 mm: the
    standard adds 0 to 5 and 1 to 4 µm by choice). To 18 mm the printed figures of u to zc are
    larger, by up to 45 %; to 3 mm m, n and p are conventions.
    """
    cells = list(iso286_formulae.compare_deviations())
    assert len(cells) == 738
    assert sum(cell.agrees for cell in cells) >= 500
    for cell in cells:
        end = int(cell.range_.split()[-1])
        off = cell.printed_um - cell.formula_um_approx
        if cell.name == "k":
            assert abs(off) <= 0.75, cell
        elif end <= 3:
            assert abs(off) <= max(4, 0.45 * cell.printed_um), cell
        elif cell.name in iso286_formulae.OPEN_ADDITION_UM and end <= 500:
            assert -1 <= off <= iso286_formulae.OPEN_ADDITION_UM[cell.name][1], cell
        elif cell.name == "c" and end <= 40:
            assert abs(off) <= 0.14 * cell.printed_um, cell
        elif end <= 18 and cell.name in ("u", "x", "z", "za", "zb", "zc"):
            assert -1 <= off <= 0.36 * cell.printed_um, cell
        else:
            slack = 0.08 if (cell.name, end) == ("t", 30) else 0.06
            assert abs(off) <= slack * cell.printed_um, cell


def test_formulae_have_ends() -> None:
    """t, v, y have no formula below where their tables begin, j none at all."""
    for letter, above, up_to in (("t", 18, 24), ("v", 10, 14), ("y", 14, 18), ("j", 18, 30)):
        assert iso286_formulae.deviation_um_approx(letter, above, up_to) is None
    with pytest.raises(KeyError):
        iso286_formulae.tolerance_um_approx("01", 600)


# ---------------------------------------------------------------- fits as written


@pytest.mark.parametrize(
    ("text", "size", "hole", "shaft"),
    [
        ("25 H7/g6", "25", "H7", "g6"),
        ("25H7-g6", "25", "H7", "g6"),
        ("ø25 H7/g6", "25", "H7", "g6"),
        ("Ø 25.4mm H7/g6", "127/5", "H7", "g6"),
        ("dia 25 H7/g6", "25", "H7", "g6"),
        ("1 in H7/g6", "127/5", "H7", "g6"),
        ('1 1/2" H8/f7', "381/10", "H8", "f7"),
        ("1-1/2 in H8/f7", "381/10", "H8", "f7"),
        ("1½ in H8/f7", "381/10", "H8", "f7"),
        ("3/8in H8/f7", "381/40", "H8", "f7"),
        (".75 inch H8 – f7", "381/20", "H8", "f7"),
        ("H7/g6", None, "H7", "g6"),
        ("  JS7 / h6 ", None, "JS7", "h6"),
        ("12 H 7/g 6", "12", "H7", "g6"),
        ("25 g6/H7", "25", "H7", "g6"),
        ("40 ZA8/h7", "40", "ZA8", "h7"),
        ("40 H01/h0", "40", "H01", "h0"),
    ],
)
def test_fits_read(text: str, size: str | None, hole: str, shaft: str) -> None:
    """Fits as people write them; a size without a unit is in mm (ISO 286-1), 1 in is 25.4 mm."""
    found = parse_fit_designation(text)
    assert found == (None if size is None else Fraction(size), hole, shaft)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("25 H7/G6", "H7 and G6 are both holes (capital letters)"),
        ("25 g6/h6", "g6 and h6 are both shafts (small letters)"),
        ("25 H7", 'the hole class H7 but no shaft class; write both: "H7/g6"'),
        ("25 g6", 'the shaft class g6 but no hole class; write both: "H7/g6"'),
        ("running fit", "no fit that can be read"),
        ("", "no fit that can be read"),
        ("25,4 H7/g6", "with a point as the decimal sign"),
        ("25 cm H7/g6", '"25 cm" is no basic size'),
        ("1/0 in H7/g6", "divides by nought"),
        ("-3 H7/g6", '"-3" is no basic size'),
        ("25 Js7/h6", "mixes small and capital"),
        ("25 H19/h6", "no grade 19"),
        ("25 H7/w6", 'no deviation "w"'),
        ("9" * 5000 + " H7/g6", "no fit that can be read"),
    ],
)
def test_fits_not_read(text: str, said: str) -> None:
    """A fit that cannot be read says what was read and what to write."""
    with pytest.raises(Iso286Error) as caught:
        parse_fit_designation(text)
    assert said in str(caught.value)
    assert len(str(caught.value)) < 500


def test_fit_needs_one_size() -> None:
    """The size comes from the text or beside it; two that differ are an error."""
    assert fit("25 H7/g6") == fit("H7/g6", 25) == fit("25 H7/g6", 25)
    assert fit("1 in H7/g6").clearance_max_um == 41
    with pytest.raises(Iso286Error, match="gives no basic size"):
        fit("H7/g6")
    with pytest.raises(Iso286Error, match="written for 25 mm, but 30 mm"):
        fit("25 H7/g6", 30)
    with pytest.raises(Iso286Error, match="no t6 for sizes over 18 to 24 mm"):
        fit("20 H7/t6")
    with pytest.raises(Iso286Error, match="end at 3150 mm"):
        fit("4000 H7/g6")


# ---------------------------------------------------------------- letters and advice


def test_letters() -> None:
    """28 letters a side (ISO 286-1:2010: a to zc with cd, ef, fg, js, za, zb, zc)."""
    assert len(SHAFTS) == len(HOLES) == 28
    assert [one.upper() for one in SHAFTS] == list(HOLES)
    assert iso286.classes() == HOLES + SHAFTS
    at_20 = iso286.classes("shaft", 20)
    assert "t" not in at_20 and "y" in at_20 and "v" in at_20
    # ISO 286-1:2010, Tables 4 and 5, above 500 mm
    assert " ".join(iso286.classes("shaft", 600)) == "d e f g h js k m n p r s t u"
    assert "a" not in iso286.classes("shaft", 1) and "A" not in iso286.classes("hole", 1)


def test_classes_within() -> None:
    """Fits inside a window, first choices first; each really lies inside."""
    found = iso286.classes_within(5, 45, 25)
    assert [one.limits.designation for one in found[:2]] == ["H7/g6", "G7/h6"]
    assert all(one.first_choice for one in found[:2]) and not found[2].first_choice
    assert [one.basis for one in found[:2]] == ["hole", "shaft"]
    for one in found:
        assert one.limits.clearance_min_um >= 5 and one.limits.clearance_max_um <= 45
        assert one.excess_um == 0
    designations = [one.limits.designation for one in iso286.classes_within(None, None, 25)]
    assert len(designations) == len(set(designations))
    assert "H7/t6" in designations
    assert "H7/t6" not in [
        one.limits.designation for one in iso286.classes_within(None, None, 20)
    ]  # t starts above 24 mm
    assert iso286.classes_within(0, 1, 25) == ()
    press = iso286.classes_within(None, -1, 25)
    assert {one.limits.kind for one in press} == {"interference"}
    assert press[0].limits.designation == "H7/p6"
    with pytest.raises(Iso286Error, match="more than the greatest"):
        iso286.classes_within(10, 5, 25)
    with pytest.raises(Iso286Error, match="end at 3150 mm"):
        iso286.classes_within(0, 5, 4000)


def test_nearest_fits() -> None:
    """Where no fit lies inside, those that overstep least, with by how much."""
    found = iso286.nearest_fits(0, 20, 25)
    assert len(found) == 3
    # H6/h5 at 25 mm: 0 to 13 + 9 = 22 (ISO 286-1:2010, Table 1)
    assert found[0].limits.designation == "H6/h5" and found[0].excess_um == 2
    assert iso286.nearest_fits(5, 45, 25, 1)[0].limits.designation == "H7/g6"


def test_source_and_place_are_told() -> None:
    """Each result names its source and the tables it was read from."""
    found = deviations("K7", 20)
    assert found.source == "ISO 286-1:2010 (copy)"
    assert "Table 1, IT7" in found.place and "K with Δ of IT7" in found.place
    assert "footnote" in deviations("M6", 300).place
    assert deviations("js7", 20).place == "Table 1, IT7"


def test_looking_up_is_quick() -> None:
    """After the first time a look-up takes less than 20 µs (best of several runs)."""
    size = Fraction("25.4")
    fit("H7/g6", size)
    for call in (lambda: deviations("H7", size), lambda: fit("H7/g6", size)):
        assert min(timeit.repeat(call, number=1000, repeat=5)) / 1000 < 20e-6
