"""Lengths: every way of writing them, every refusal, and print that rounds as the trade does."""

from __future__ import annotations

import pickle
import subprocess
import sys
from fractions import Fraction
from time import perf_counter

import pint
import pytest
import scipy.constants
from hypothesis import example, given
from hypothesis import strategies as st

from scaler.measures.angles import parse_angle
from scaler.measures.lengths import (
    INCH_MM,
    UNIT_MM,
    LengthError,
    format_decimal,
    format_exact,
    format_feet_inches,
    format_inch,
    format_mm,
    nearest_fraction,
    parse_length,
    round_half_away,
)

THIN, HAIR, NARROW, FIXED = "\u2009", "\u200a", "\u202f", "\u00a0"


def inches(whole: int, over: int = 0, under: int = 1) -> Fraction:
    """A length in mm from inches, made apart from the code under test."""
    return (whole + Fraction(over, under)) * 254 / 10


# ------------------------------------------------------------------------------ what is read

READ = [
    # feet and inches, with words and with every mark
    ("4ft 8 1/2in", inches(56, 1, 2), "4 ft 8 1/2 in"),
    ("4 ft. 8½ in.", inches(56, 1, 2), "4 ft 8 1/2 in"),
    ("4 foot, 8 inches", inches(56), "4 ft 8 in"),
    ("4' 8½\"", inches(56, 1, 2), "4 ft 8 1/2 in"),
    ("4'-8 1/2\"", inches(56, 1, 2), "4 ft 8 1/2 in"),
    ("4' - 8 1/2\"", inches(56, 1, 2), "4 ft 8 1/2 in"),
    ("4′ 8½″", inches(56, 1, 2), "4 ft 8 1/2 in"),
    ("4’ 8½”", inches(56, 1, 2), "4 ft 8 1/2 in"),
    ("4‘ 8½“", inches(56, 1, 2), "4 ft 8 1/2 in"),
    ("4´ 8½´´", inches(56, 1, 2), "4 ft 8 1/2 in"),
    ("4' 8''", inches(56), "4 ft 8 in"),
    ("4′ 8′′", inches(56), "4 ft 8 in"),
    ("4' 8", inches(56), "4 ft 8 in"),
    ("4' 8 1/2", inches(56, 1, 2), "4 ft 8 1/2 in"),
    ("4'8.5\"", inches(56, 1, 2), "4 ft 8.5 in"),
    ("4'-7 3/16\"", inches(55, 3, 16), "4 ft 7 3/16 in"),
    ("4'-7-3/16\"", inches(55, 3, 16), "4 ft 7 3/16 in"),
    ("4' 7.3/16", inches(55, 3, 16), "4 ft 7 3/16 in"),
    ("0' 11\"", inches(11), "0 ft 11 in"),
    ("25 ft", inches(300), "25 ft"),
    ("4½ ft", inches(54), "4 1/2 ft"),
    # inches
    ('1 3/8"', inches(1, 3, 8), "1 3/8 in"),
    ("1-3/8 in", inches(1, 3, 8), "1 3/8 in"),
    ("1–3/8 in", inches(1, 3, 8), "1 3/8 in"),
    ("8 4/8 in", inches(8, 1, 2), "8 1/2 in"),
    ("3⁄8 in", inches(0, 3, 8), "3/8 in"),
    ("3∕8 in", inches(0, 3, 8), "3/8 in"),
    ('⅝"', inches(0, 5, 8), "5/8 in"),
    ("2 ⅞ IN", inches(2, 7, 8), "2 7/8 in"),
    ("9/8 in", inches(1, 1, 8), "1 1/8 in"),
    ("2.13/16 in", inches(2, 13, 16), "2 13/16 in"),
    (".5 in", inches(0, 1, 2), "0.5 in"),
    ("0.500 in", inches(0, 1, 2), "0.500 in"),
    ("0,125 in", inches(0, 1, 8), "0.125 in"),
    ("0 in", Fraction(0), "0 in"),
    # metric and small units
    ("12.7 mm", Fraction(127, 10), "12.7 mm"),
    ("12,7 mm", Fraction(127, 10), "12.7 mm"),
    ("12,75mm", Fraction(51, 4), "12.75 mm"),
    ("1250,125 mm", Fraction(10001, 8), "1250.125 mm"),
    ("1 1/2 mm", Fraction(3, 2), "1 1/2 mm"),
    ("3.5 cm", Fraction(35), "3.5 cm"),
    ("1.435 m", Fraction(1435), "1.435 m"),
    ("1 metre", Fraction(1000), "1 m"),
    ("1000 m", Fraction(1_000_000), "1000 m"),
    ("1.5 thou", Fraction(381, 10000), "1.5 thou"),
    ("10 thou", Fraction(127, 500), "10 thou"),
    ("12 µm", Fraction(3, 250), "12 µm"),
    ("12 μm", Fraction(3, 250), "12 µm"),
    ("12 um", Fraction(3, 250), "12 µm"),
    ("0.001 µm", Fraction(1, 1_000_000), "0.001 µm"),
    # blanks of all kinds
    ("  1 3/8 in\t", inches(1, 3, 8), "1 3/8 in"),
    (f"1{FIXED}3/8{THIN}in", inches(1, 3, 8), "1 3/8 in"),
    (f"4{NARROW}ft{HAIR}8{FIXED}½ in", inches(56, 1, 2), "4 ft 8 1/2 in"),
    ("3 / 8 in", inches(0, 3, 8), "3/8 in"),
]


@pytest.mark.parametrize(("text", "mm", "normal"), READ)
def test_reads_each_way_of_writing(text: str, mm: Fraction, normal: str) -> None:
    """Each form is read exactly, and echoed in its normal form."""
    length = parse_length(text)
    assert (mm, normal, text) == (length.mm, length.normal, length.text)


@pytest.mark.parametrize(("text", "mm", "normal"), READ)
def test_normal_form_reads_back(text: str, mm: Fraction, normal: str) -> None:
    """The normal form is a way of writing the same length, and is its own normal form."""
    again = parse_length(normal)
    assert (mm, normal) == (again.mm, again.normal)


# Faults reported of other readers of feet and inches (workshop notes on public parsers).
@pytest.mark.parametrize(
    ("text", "expected_in"),
    [("5' 3/4\"", "60.75"), ("60 ft 1 in", "721"), ("10 3/8 in", "10.375"), ("5'' ", "5")],
)
def test_known_faults_of_other_readers(text: str, expected_in: str) -> None:
    """Feet before a bare fraction, feet of two figures and whole inches are not lost."""
    assert Fraction(expected_in) == parse_length(text).mm / Fraction(254, 10)


@pytest.mark.parametrize(
    ("text", "unit", "mm"),
    [
        ("7/8", "in", inches(0, 7, 8)),
        ("7/8", "inches", inches(0, 7, 8)),
        ("2.13/16", "in", inches(2, 13, 16)),
        ("12.7", "mm", Fraction(127, 10)),
        ("3", "ft", inches(36)),
        ("10", "thou", Fraction(254, 1000)),
        ("1/2", "m", Fraction(500)),
        ("2", "cm", Fraction(20)),
        ("12 mm", "in", Fraction(12)),
        ("4' 8", "mm", inches(56)),
    ],
)
def test_unit_of_bare_numbers(text: str, unit: str, mm: Fraction) -> None:
    """A bare number takes the unit given; a unit in the text, or feet before it, goes first."""
    assert mm == parse_length(text, unit).mm


def test_dot_before_a_fraction_is_noted() -> None:
    """The old habit is read in inches and noted; nothing else carries a note."""
    assert "2 13/16" in parse_length("2.13/16 in").note
    assert parse_length("4' 7.3/16").note
    assert parse_length("2 13/16 in").note == ""


# ------------------------------------------------------------------- against published values


def test_yard_of_1959() -> None:
    """36 in are the international yard."""
    # Federal Register, 1 July 1959, "Refinement of values for the yard and the pound" (second-
    # hand, a dictionary of units): 1 international yard = 0.9144 metre exactly.
    assert Fraction(9144, 10) == parse_length("36 in").mm == parse_length("3 ft").mm


# A printed table of inch fractions, their decimals and mm (public conversion chart that cites
# Machinery's Handbook, 29th edition, pp. 28-30; second-hand). Printed to 4 and 6 decimals.
PRINTED = [
    ("1/64", "0.015625", "0.3969"),
    ("1/32", "0.031250", "0.7937"),
    ("3/64", "0.046875", "1.1906"),
    ("1/16", "0.062500", "1.5875"),
    ("7/64", "0.109375", "2.7781"),
    ("1/8", "0.125000", "3.1750"),
    ("3/16", "0.187500", "4.7625"),
    ("15/64", "0.234375", "5.9531"),
    ("1/4", "0.250000", "6.3500"),
    ("5/16", "0.312500", "7.9375"),
    ("3/8", "0.375000", "9.5250"),
    ("27/64", "0.421875", "10.7156"),
    ("1/2", "0.500000", "12.7000"),
    ("37/64", "0.578125", "14.6844"),
    ("5/8", "0.625000", "15.8750"),
    ("3/4", "0.750000", "19.0500"),
    ("13/16", "0.812500", "20.6375"),
    ("7/8", "0.875000", "22.2250"),
    ("31/32", "0.968750", "24.6062"),
    ("63/64", "0.984375", "25.0031"),
    ("1", "1.000000", "25.4000"),
]


@pytest.mark.parametrize(("fraction", "decimal", "mm"), PRINTED)
def test_printed_table_of_fractions(fraction: str, decimal: str, mm: str) -> None:
    """Fractions of an inch agree with a printed table, to its last figure."""
    length = parse_length(fraction, "in").mm
    assert decimal == format_inch(length, 6)
    assert abs(Fraction(mm) - length) <= Fraction(1, 20000)
    assert fraction == nearest_fraction(Fraction(mm)).text


# The same chart, rows printed in full: 1/64 in = 0.396875 mm … (second-hand).
@pytest.mark.parametrize(
    ("fraction", "mm"),
    [("1/64", "0.396875"), ("1/32", "0.79375"), ("3/64", "1.190625"), ("5/64", "1.984375")],
)
def test_printed_table_in_full(fraction: str, mm: str) -> None:
    """Rows printed with all their figures agree exactly."""
    assert Fraction(mm) == parse_length(f"{fraction} in").mm


def test_pint_agrees_on_plain_units() -> None:
    """pint (exact registry) and we agree on every unit that we read; it is never asked here."""
    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction)
    ours = {"in": "inch", "ft": "foot", "µm": "micrometer", "mm": "millimeter", "m": "meter"}
    for unit, mm in UNIT_MM.items():
        theirs = registry.Quantity(Fraction(1), ours.get(unit, unit)).to("millimeter").magnitude
        assert theirs == mm == parse_length(f"1 {unit}").mm


def test_scipy_agrees_on_inch_foot_and_thousandth() -> None:
    """scipy.constants holds the same inch, foot and thousandth of an inch [m]."""
    pairs = (
        ("1 in", scipy.constants.inch),
        ("1 ft", scipy.constants.foot),
        ("1 thou", scipy.constants.mil),
    )
    for text, metres in pairs:
        assert metres == pytest.approx(float(parse_length(text).mm / 1000), rel=1e-14)


# ------------------------------------------------------------------------- gauges and drills


@pytest.mark.parametrize(
    ("text", "size_in", "normal"),
    [
        # BS 3737:1964 (copy): gauges 16, 4/0 and both ends of the table.
        ("16 SWG", "0.064", "16 SWG = 0.064 in"),
        ("16swg", "0.064", "16 SWG = 0.064 in"),
        ("16 s.w.g.", "0.064", "16 SWG = 0.064 in"),
        ("SWG 16", "0.064", "16 SWG = 0.064 in"),
        ("4/0 SWG", "0.400", "4/0 SWG = 0.400 in"),
        ("0000 SWG", "0.400", "4/0 SWG = 0.400 in"),
        ("7/0 SWG", "0.500", "7/0 SWG = 0.500 in"),
        ("50 SWG", "0.001", "50 SWG = 0.0010 in"),
        # ASME B94.11M (copy): drills No. 30, No. 1, letters A, F and Z.
        ("No. 30 drill", "0.1285", "No. 30 drill = 0.1285 in"),
        ("no 30 drill", "0.1285", "No. 30 drill = 0.1285 in"),
        ("number 30 drill", "0.1285", "No. 30 drill = 0.1285 in"),
        ("#30 drill", "0.1285", "No. 30 drill = 0.1285 in"),
        ("№ 30 drill", "0.1285", "No. 30 drill = 0.1285 in"),
        ("No. 1 drill", "0.2280", "No. 1 drill = 0.2280 in"),
        ("letter F drill", "0.257", "letter F drill = 0.257 in"),
        ("F drill", "0.257", "letter F drill = 0.257 in"),
        ("letter a drill", "0.234", "letter A drill = 0.234 in"),
        ("letter Z drill", "0.413", "letter Z drill = 0.413 in"),
    ],
)
def test_gauges_and_drills(text: str, size_in: str, normal: str) -> None:
    """A gauge or drill gives the size of its table, and says so."""
    length = parse_length(text)
    assert (Fraction(size_in) * Fraction(254, 10), normal) == (length.mm, length.normal)


@pytest.mark.parametrize(
    ("text", "span", "advice"),
    [
        ("51 SWG", "51", "from the table"),
        ("8/0 SWG", "8/0", "from the table"),
        ("No. 999 drill", "999", "from the table"),
        ("swg", "swg", "from the table"),
        ("No. 30", "No. 30", '"No. 30 drill"'),
        ("#30", "#30", '"No. 30 drill"'),
        ("letter F", "letter F", '"letter F drill"'),
        ("3.3 mm drill", "3.3 mm drill", "by its size alone"),
        ("30 drill", "30 drill", "by its size alone"),
        ("16 gauge", "gauge", '"16 SWG"'),
    ],
)
def test_unknown_gauges_and_drills(text: str, span: str, advice: str) -> None:
    """Beyond a table's end, or with a half-named drill, the text is refused with advice."""
    error = refusal(text)
    assert span == text[error.start : error.end]
    assert advice in error.advice.replace("one of those", "from the table")


# ---------------------------------------------------------------------------- what is refused


def refusal(text: str, unit: str | None = None) -> LengthError:
    """The refusal of a text; fails where it is read."""
    with pytest.raises(LengthError) as caught:
        parse_length(text, unit)
    return caught.value


REFUSED = [
    # text, offending characters, part of what was read, part of the advice
    ("7/8", "7/8", "no unit", '"7/8 in"'),
    ("12.7", "12.7", "no unit", '"12.7 mm"'),
    ("1/2/3", "1/2/", "one stroke too many", ""),
    ("1 1/2/3 in", "1 1/2/", "one stroke too many", ""),
    ("½/2 in", "½/", "one stroke too many", ""),
    ("5'' 3'", "3'", "inches before feet", "feet and then inches"),
    ("5 in 3 ft", "3 ft", "inches before feet", "feet and then inches"),
    ("5' 3'", "3'", "ft twice", ""),
    ("5 in 3 in", "3 in", "in twice", ""),
    ("1 m 20 mm", "20 mm", "m and then mm", ""),
    ("4 ft 300 mm", "300 mm", "ft and then mm", ""),
    ("4' 3\" 2", "2", "more after the inches", ""),
    ("5' 14\"", "14", '"14" inches after feet', '"6 ft 2 in"'),
    ("5' 12\"", "12", "after feet", '"6 ft"'),
    ("4.5 ft 3 in", "4.5 ft", "before inches", ""),
    ("1 9/8 in", "9/8", '"9/8" after the whole number 1', '"2 1/8"'),
    ("1 8/8 in", "8/8", "after the whole number", '"2"'),
    ("1/0 in", "1/0", "divided by 0", ""),
    ("3/ in", "3/", "no figures after the stroke", ""),
    ("5. in", "5.", "no figures after the point", ""),
    ("5, in", "5,", "no figures after the comma", ""),
    ("-5 mm", "-", '"-"', "sign"),
    ("−5 mm", "−", '"−"', "sign"),
    ("+5 mm", "+", '"+"', "sign"),
    ("±0.1 mm", "±", '"±"', "sign"),
    ("1001 m", "1001 m", "1001 m", ""),
    ("0.0000001 mm", "0.0000001 mm", "0.0000001 mm", ""),
    ("1 3/8 inn", "inn", '"inn"', '"1 3/8 in"'),
    ("5 milimetre", "milimetre", '"milimetre"', '"5 mm"'),
    ("5 fot", "fot", '"fot"', '"5 ft"'),
    ("5em", "em", '"em"', ""),
    ("5 furlongs", "furlongs", '"furlongs"', "unit"),
    ("10 mil", "mil", '"mil"', '"10 thou"'),
    ("nan", "nan", '"nan"', ""),
    ("inf mm", "inf", '"inf"', ""),
    ("1e3 mm", "1e3", "power of ten", '"1000"'),
    ("1.5E-3 m", "1.5E-3", "power of ten", '"0.001"'),
    ("", "", "nothing", ""),
    (" \t", " \t", "nothing", ""),
    ("1,250 mm", "1,250", "thousands or decimals", '"1250" or "1.250"'),
    ("12,700 mm", "12,700", "thousands or decimals", '"12700" or "12.700"'),
    ("1,250.5 mm", "1,250.", "two numbers", ""),
    ("1.250,5 mm", "1.250,", "two numbers", ""),
    ("1,250,000 mm", "1,250,", "two numbers", ""),
    ("1.2.3 mm", "1.2.", "two numbers", ""),
    ("1 250 mm", "1 2", "two numbers", "1250 mm"),
    ("4-8 1/2 in", "4-", "feet and inches, a range", "4' "),
    ("4-7-3/16", "4-", "feet and inches, a range", "4' "),
    ("1 - 3/8 in", "1 -", "a range, or a sum", ""),
    ("2.5/9 in", "2.5/9", "a decimal and a fraction", '"2 5/9"'),
    ("2.17/16 in", "2.17/16", "a decimal and a fraction", '"3 1/16"'),
    ("2.05/16 in", "2.05/16", "a decimal and a fraction", ""),
    ("2,13/16 in", "2,13/16", "a decimal and a fraction", '"2 13/16"'),
    ("1.5/8 mm", "1.5/8", '"1.5/8"', '"1 5/8"'),
    ("٣ mm", "٣", "another script", ""),
    ("３ mm", "３", "another script", ""),
    ("3² mm", "²", "raised", ""),
    ("1:16", "1:16", "a ratio", ""),
    ("7°", "°", "an angle", ""),
    ("7º", "º", "an angle", ""),
    ("4 ft -", "-", "breaks off", ""),
    ("Ø12 mm", "Ø", '"Ø"', ""),
    ("about 3 in", "about", '"about"', ""),
    ("3 in * 2", "*", '"*"', ""),
]


@pytest.mark.parametrize(("text", "span", "problem", "advice"), REFUSED)
def test_refusals(text: str, span: str, problem: str, advice: str) -> None:
    """Each refusal marks the offending characters, says what was read and what to write."""
    error = refusal(text)
    assert span == text[error.start : error.end]
    assert problem in error.problem
    assert advice in error.advice
    assert error.expected
    assert text == error.text
    assert error.problem in str(error) and error.advice in str(error)


def test_unknown_unit_for_bare_numbers() -> None:
    """A unit that is not known for bare numbers is refused, whatever the text."""
    error = refusal("5", "cubit")
    assert (error.text, "cubit") == ("cubit", error.text[error.start : error.end])


def test_long_text_is_cut_and_quick() -> None:
    """10,000 characters are refused at once and never echoed; 200 awkward ones are quick too."""
    for text in ("9" * 10_000, "1/" * 5_000, "4' " * 3_000, "½" * 10_000, " " * 10_000 + "x"):
        assert len(str(refusal(text))) < 300
        assert len(refusal(text).text) <= 200
    shapes = ("9" * 200, "1/" * 100, "1 " * 100, "4'-" * 66, "½" * 200, "1." * 100, "a" * 200)
    for text in ("9" * 10_000, *shapes):
        spent = []
        for _ in range(5):
            started = perf_counter()
            with pytest.raises(LengthError):
                parse_length(text, "mm")
            spent.append(perf_counter() - started)
        assert min(spent) < 0.005, text[:10]


def test_refusal_is_one_line_and_survives_pickling() -> None:
    """Line ends and control characters never reach the message; the record can be passed on."""
    error = refusal("5 mm\n\x1b[31mred\u2028")
    assert str(error).isprintable()
    copy = pickle.loads(pickle.dumps(error))
    assert (str(error), error.start, error.end) == (str(copy), copy.start, copy.end)


@given(st.text(max_size=40))
@example("swg")
@example("drill")
@example("\u00bd'")
@example("İ drill")
def test_any_text_is_read_or_refused(text: str) -> None:
    """Any text at all gives a length or a LengthError whose span lies in the text."""
    try:
        length = parse_length(text)
    except LengthError as error:
        assert 0 <= error.start <= error.end <= len(error.text)
        assert str(error).isprintable() and len(str(error)) < 500
    else:
        assert length.mm >= 0


@given(st.text(alphabet="0123456789/.,'\"½⅜- ftinmcohu°e", max_size=14))
def test_length_like_text_reads_back_from_its_normal_form(text: str) -> None:
    """Whatever is read of the characters that lengths are made of reads back the same."""
    try:
        length = parse_length(text, "in")
    except LengthError as error:
        assert 0 <= error.start < max(error.end, 1) <= max(len(text), 1)
    else:
        assert length.mm == parse_length(length.normal).mm


# -------------------------------------------------------------------------------------- laws

sixty_fourths = st.integers(0, 12 * 64 * 3000)


@given(st.integers(0, 3000), st.integers(0, 11), st.integers(1, 63), st.sampled_from([2, 8, 64]))
def test_feet_inches_and_fraction_in_every_dress(
    feet: int, whole: int, over: int, under: int
) -> None:
    """One length in many dresses is one value, worked out apart."""
    over %= under
    expected = (12 * feet + whole + Fraction(over, under)) * Fraction(254, 10)
    tail = f"{whole} {over}/{under}"
    for text in (
        f"{feet} ft {tail} in",
        f"{feet}'-{tail}\"",
        f"{feet}’{whole}-{over}/{under}”",
        f"{feet}′{FIXED}{whole}{THIN}{over}⁄{under}″",
        f"{feet}foot {tail}",
    ):
        assert expected == parse_length(text).mm


@given(sixty_fourths)
def test_feet_and_inches_print_reads_back(count: int) -> None:
    """Whole sixty-fourths survive print as feet, inches and fraction."""
    mm = Fraction(count, 64) * INCH_MM
    assert mm == parse_length(format_feet_inches(mm)).mm
    assert mm == parse_length(nearest_fraction(mm).text, "in").mm


@given(st.integers(0, 10**9), st.integers(0, 3))
def test_decimals_print_reads_back(steps: int, places: int) -> None:
    """A decimal of so many places survives print of as many."""
    mm = Fraction(steps, 10 ** (places + 3))
    assert mm == parse_length(format_mm(mm, places + 3) + " mm").mm


@given(st.fractions())
def test_exact_text_reads_back(value: Fraction) -> None:
    """The exact text is what Fraction() reads, sign included."""
    assert value == Fraction(format_exact(value))


@given(st.fractions(), st.integers(0, 6))
def test_rounding_is_to_the_nearest_and_away_from_zero(value: Fraction, places: int) -> None:
    """Print is within half a step; at exactly half it goes away from zero; the sign only flips."""
    printed = Fraction(format_decimal(value, places))
    step = Fraction(1, 10**places)
    assert abs(printed - value) <= step / 2
    if abs(printed - value) == step / 2:
        assert abs(printed) > abs(value)
    assert -printed == Fraction(format_decimal(-value, places))


@given(st.fractions(), st.fractions())
def test_print_keeps_order(one: Fraction, other: Fraction) -> None:
    """A greater length never prints as a smaller one."""
    low, high = sorted((one, other))
    assert Fraction(format_mm(low)) <= Fraction(format_mm(high))
    assert nearest_fraction(low).inch <= nearest_fraction(high).inch


@given(st.fractions(), st.sampled_from([1, 2, 8, 16, 64, 100]))
def test_nearest_fraction_states_its_error(value: Fraction, under: int) -> None:
    """The error is fraction minus value, and never above half a division."""
    nearest = nearest_fraction(value, under)
    assert nearest.error_mm == nearest.inch * INCH_MM - value
    assert abs(nearest.error_mm) <= INCH_MM / (2 * under)
    assert (nearest.inch * under).denominator == 1


@pytest.mark.parametrize(
    ("value", "places", "printed"),
    [
        (Fraction(25, 1000), 2, "0.03"),
        (Fraction(-25, 1000), 2, "-0.03"),
        (Fraction(-1, 1000), 2, "0.00"),
        (Fraction(127, 10), 2, "12.70"),
        (Fraction(5, 2), 0, "3"),
        (Fraction(-5, 2), 0, "-3"),
        (Fraction(2, 3), 4, "0.6667"),
        (12, 3, "12.000"),
    ],
)
def test_printed_decimals(value: Fraction | int, places: int, printed: str) -> None:
    """Halves away from zero, an ASCII minus, and never a minus before nothing."""
    assert printed == format_mm(value, places)


def test_printed_inches() -> None:
    """Decimal inches, sixty-fourths and feet of ordinary lengths."""
    assert format_inch(Fraction(127, 10)) == "0.500"
    assert nearest_fraction(parse_length("4.578 in").mm).text == "4 37/64"
    assert nearest_fraction(Fraction(0)).text == "0"
    assert nearest_fraction(inches(1, 1, 128)).text == "1 1/64"
    assert nearest_fraction(-inches(1, 1, 128)).text == "-1 1/64"
    assert format_feet_inches(inches(11, 127, 128)) == "1 ft"
    assert format_feet_inches(inches(56, 1, 2)) == "4 ft 8 1/2 in"
    assert format_feet_inches(-inches(12)) == "-1 ft"
    assert format_feet_inches(0) == "0 in"


def test_floats_and_bad_places_are_refused() -> None:
    """No float slips in, no denominator of 0, no wild number of decimals."""
    for function in (format_mm, format_inch, format_exact, format_feet_inches, round_half_away):
        with pytest.raises(TypeError, match="exact number"):
            function(0.5)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="denominator"):
        nearest_fraction(1, 0)
    with pytest.raises(ValueError, match="decimals"):
        format_mm(1, -1)


# ------------------------------------------------------------------------------------ angles


@pytest.mark.parametrize(
    ("text", "degrees"),
    [
        ("7.5°", "15/2"),
        ("7,5 °", "15/2"),
        ("7° 30'", "15/2"),
        ("7°30′", "15/2"),
        ("7º 30’", "15/2"),
        ("7 deg 30 min", "15/2"),
        ("7 deg. 30 min.", "15/2"),
        ("7 1/2 degrees", "15/2"),
        ("7½°", "15/2"),
        ("7° 30' 15\"", "1801/240"),
        ("7° 30' 15''", "1801/240"),
        ("27° 30′ 0″", "55/2"),
        ("0°", "0"),
        ("360°", "360"),
    ],
)
def test_angles(text: str, degrees: str) -> None:
    """Degrees, minutes and seconds, in marks or words, exact."""
    assert Fraction(degrees) == parse_angle(text)


@pytest.mark.parametrize(
    ("text", "span", "problem"),
    [
        ("1:16", "1", "a taper?"),
        ("1 in 16", "1", "a taper?"),
        ("45", "45", "no deg"),
        ("30'", "30", "no deg"),
        ("7° 30", "30", "no min"),
        ("7.5° 30'", "30'", "after 7 1/2"),
        ("7° 30.5' 10\"", '10"', "after 30 1/2"),
        ("7° 60'", "60'", "after 7"),
        ("7° 30' 60\"", '60"', "after 30"),
        ("361°", "361°", "361"),
        ("7° 30' 15\" 2", "2", "at the end"),
        ("-3°", "-", '"-"'),
        ("1 rad", "1", "no deg"),
        ("", "", "nothing"),
    ],
)
def test_refused_angles(text: str, span: str, problem: str) -> None:
    """Tapers, bare numbers, minutes of 60 and angles beyond a turn are refused."""
    with pytest.raises(LengthError) as caught:
        parse_angle(text)
    assert span == text[caught.value.start : caught.value.end]
    assert problem in caught.value.problem


@given(st.text(alphabet="0123456789.° '\"degminsc½:", max_size=14) | st.text(max_size=20))
def test_any_text_is_an_angle_or_refused(text: str) -> None:
    """Any text gives an angle from 0 to 360 degrees or a LengthError."""
    try:
        assert 0 <= parse_angle(text) <= 360
    except LengthError as error:
        assert 0 <= error.start <= error.end <= len(error.text)


@given(st.integers(0, 359), st.integers(0, 59), st.integers(0, 59))
def test_degrees_minutes_seconds(degrees: int, minutes: int, seconds: int) -> None:
    """60 minutes to the degree, 60 seconds to the minute."""
    expected = degrees + Fraction(minutes, 60) + Fraction(seconds, 3600)
    assert expected == parse_angle(f"{degrees}° {minutes}' {seconds}\"")


# ----------------------------------------------------------------------------------- start-up


def test_reading_lengths_loads_nothing_heavy() -> None:
    """Neither pint nor the catalogues are loaded to read a length."""
    code = (
        "import sys; from scaler.measures.lengths import parse_length; parse_length('4 ft 8 1/2 in');"
        "print([m for m in ('pint', 'numpy', 'pandas', 'scaler.catalogue') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
