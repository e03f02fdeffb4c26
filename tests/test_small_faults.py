"""Ends of rules that nothing else looks at: each was found by a fault that no other test noticed.

Where a figure stands for the trade its source is named; the rest follows from a definition in the
docstring of what is tested.
"""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from scaler import parse_length, parse_scale
from scaler.expressions import values
from scaler.expressions.intervals import Interval, _round_down, absolute, root, whole_root
from scaler.expressions.nodes import Length
from scaler.expressions.values import LONGEST_EXACT, SMALLEST, _short, shown, tidy
from scaler.measures.angles import parse_angle
from scaler.measures.lengths import format_decimal
from scaler.measures.number_text import LengthError, nearest_word, quoted
from scaler.measures.scales import ScaleError, scales_on_gauge
from scaler.trade import iso286
from scaler.trade.iso286_formulae import (
    Comparison,
    _deviation_step_um,
    _grade_step_um,
    tolerance_unit_um_approx,
)
from scaler.trade.iso286_tables import _runs, neighbours, step_of
from scaler.trade.trade_fits import TradeFit, UnknownFit, find_trade_fit

ONE = Length(F(1))


# ------------------------------------------------------------------------------ lengths, scales


def test_noughts_of_a_wire_gauge() -> None:
    """00 SWG is 2/0 SWG, 0.348 in (BS 3737 table of SWG, from memory)."""
    assert parse_length("00 SWG").mm == parse_length("2/0 SWG").mm == F("0.348") * F("25.4")


def test_a_single_nought_is_a_gauge_of_its_own() -> None:
    """0 SWG is 0.324 in, 50 SWG the last of the table (BS 3737, from memory)."""
    assert parse_length("0 SWG").mm == F("0.324") * F("25.4")


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("4'8\"", F(56) * F("25.4")),  # 56 in
        ("4''", 4 * F("25.4")),
        ("4 ft.8 in", (48 + F("0.8")) * F("25.4")),  # the point belongs to the figure
        ("4 ft. 8 in.", F(56) * F("25.4")),
    ],
)
def test_where_a_unit_ends(text: str, mm: F) -> None:
    """A mark is one sign or two, a word may have its point; 25.4 mm to the inch, 12 to the foot."""
    assert parse_length(text).mm == mm


@pytest.mark.parametrize(
    ("text", "start", "end", "said"),
    [
        ("4 in.x", 5, 6, "x"),
        ("30° rest", 2, 3, "read an angle"),
        ("4 ft 8 in 3 mm", 10, 14, "read more after the inches"),
        ("8 in 4 ft 2 in", 5, 9, "read inches before feet"),
        ("SWG", 0, 3, "50 SWG to 7/0 SWG"),
        ("99 SWG", 0, 2, "50 SWG to 7/0 SWG"),
        ("SWG 99 ", 4, 6, "50 SWG to 7/0 SWG"),
    ],
)
def test_what_a_refusal_points_at(text: str, start: int, end: int, said: str) -> None:
    """The characters from ``start`` to ``end``, counted from nought, and why."""
    with pytest.raises(LengthError) as caught:
        parse_length(text)
    assert text[caught.value.start : caught.value.end] == text[start:end]
    assert (caught.value.start, caught.value.end) == (start, end) and said in str(caught.value)


def test_decimals_end_at_thirty() -> None:
    """30 can be printed, 31 not."""
    assert format_decimal(1, 30) == "1." + 30 * "0"
    with pytest.raises(ValueError, match="0 to 30"):
        format_decimal(1, 31)


def test_an_angle_may_end_after_degrees_or_minutes() -> None:
    """What is not written counts nothing."""
    assert parse_angle("7°") == 7
    assert parse_angle("7° 30'") == F(15, 2)


def test_full_size_is_not_enlarged() -> None:
    """1 : 1 is no model larger than full size."""
    assert parse_scale("1:1").read_as == "1 : 1"


def test_a_fraction_of_full_size() -> None:
    """2/5 full size is 1 : 2.5."""
    found = parse_scale("2/5 full size")
    assert (found.ratio, found.read_as) == (F(2, 5), "1 : 2.5")


@pytest.mark.parametrize(
    ("scale", "handy"),
    [("1:18", "11/16 in : 1 ft"), ("1:13", "15/16 in : 1 ft"), ("1:3000", "1/64 in : 1 ft")],
)
def test_handy_scale_by_the_sixteenth(scale: str, handy: str) -> None:
    """The nearest 1/16 in. to the foot down to half an inch, and never less than 1/64 (arithmetic:
    12/18 in. = 0.667, 12/13 in. = 0.923)."""
    assert parse_scale(scale).handy().text == handy


@pytest.mark.parametrize(
    ("scale", "handy", "ratio"),
    [
        ("1 : 5", "2 3/8 in : 1 ft", F(19, 96)),  # 2.4 in: 38.4 sixteenths, so 38
        ("1 : 29", "13/32 in : 1 ft", F(13, 384)),  # 0.4138 in: 26.48 sixty-fourths, so 26
    ],
)
def test_handy_scale_where_the_trade_has_none(scale: str, handy: str, ratio: F) -> None:
    """To the sixteenth of an inch, below half an inch to the sixty-fourth; 12 in to the foot."""
    found = parse_scale(scale).handy()
    assert (found.text, found.ratio) == (handy, ratio)
    assert found.departure == ratio / parse_scale(scale).ratio - 1
    assert found.gauge_mm is None and found.gauge_error_mm is None


def test_the_gauge_that_a_handy_scale_gives() -> None:
    """4 ft 8 1/2 in is 1435.1 mm; times 17/192 (1 1/16 in to the foot), against 5 in, 127 mm."""
    found = parse_scale("5 in on 4 ft 8 1/2 in gauge").handy()
    assert found.gauge_mm == F("1435.1") * F(17, 192)
    assert found.gauge_error_mm == F("1435.1") * F(17, 192) - 127


@pytest.mark.parametrize("text", ["1 : 7.2", "1 : 1", "1 : 2.5"])
def test_a_ratio_is_shown_as_one_to_so_much(text: str) -> None:
    """As it was written, where it was written so."""
    assert parse_scale(text).read_as == text


@pytest.mark.parametrize("full", [1, 2, 3, 4, 8, 9, 12, 16, 17, 32, 33, 64])
def test_a_stroke_that_may_mean_inches_is_said(full: int) -> None:
    """1/8 is also an eighth of an inch to the foot; an inch is divided by twos to 32 here."""
    said = f"not as 1/{full} in to the foot" in parse_scale(f"1/{full}").note
    assert said is (full in (2, 4, 8, 16, 32))
    assert parse_scale(f"1/{full}").ratio == F(1, full)


def test_the_ends_of_scales_and_of_their_texts() -> None:
    """1 : 10,000 is read and 1 : 10,001 not; 120 characters are read and 121 not."""
    assert parse_scale("1 : 10000").ratio == F(1, 10_000)
    assert parse_scale("1 : 8".ljust(120)).ratio == F(1, 8)
    for text in ("1 : 10001", "1 : 8".ljust(121)):
        with pytest.raises(ScaleError):
            parse_scale(text)


def test_ten_times_full_size_is_the_largest() -> None:
    """A model ten times full size may be said, eleven times not."""
    assert parse_scale("10 : 1 enlarged").ratio == 10
    with pytest.raises(ScaleError):
        parse_scale("11 : 1 enlarged")


def test_scales_of_a_gauge_lie_within_half_a_millimetre() -> None:
    """16.5 mm is 00 and H0 (NMRA and common practice); 17 mm is half a millimetre off."""
    assert {"00", "H0"} <= set(scales_on_gauge(F("16.5")))
    assert scales_on_gauge(F(17)) == scales_on_gauge(F(16)) == scales_on_gauge(F("16.5"))
    assert "00" not in scales_on_gauge(F("17.01")) + scales_on_gauge(F("15.99"))


def test_ends_of_figures_and_of_texts() -> None:
    """57 in is 1447.8 mm; three figures before a comma may be thousands, four cannot."""
    assert parse_length("4 ft 9 in").mm == 57 * F("25.4")
    assert parse_length("1234,250 mm").mm == F("1234.25")
    assert parse_length("5 mm".ljust(200)).mm == 5
    for text in ("123,250 mm", "5 mm".ljust(201)):
        with pytest.raises(LengthError):
            parse_length(text)


def test_words_of_twelve_letters_are_looked_for() -> None:
    """One letter too many; nothing is looked for with more than twelve."""
    assert nearest_word("millimetresx", ("millimetres",)) == "millimetres"
    assert nearest_word("millimetresxy", ("millimetres", "millimetresx")) is None


def test_a_gauge_by_its_name_in_words() -> None:
    """Standard gauge is 4 ft 8 1/2 in, 1435.1 mm as first built (from memory)."""
    assert parse_scale("5 in on standard gauge").full_gauge_mm in (F("1435.1"), F(1435))


def test_the_nearest_word_of_three_letters_has_one_wrong() -> None:
    """One wrong letter in words of up to three, two in longer ones."""
    assert nearest_word("abc", ("abd",)) == "abd"
    assert nearest_word("abc", ("ade",)) is None
    assert nearest_word("abcd", ("abef",)) == "abef"


def test_a_quotation_is_cut_after_its_longest() -> None:
    """As long as that it stands whole."""
    assert quoted("abcd", 4) == '"abcd"'
    assert quoted("abcde", 4) == '"abcd…"'


# --------------------------------------------------------------------------------------- ISO 286


@pytest.mark.parametrize(("fit", "most"), [("2 H4/m5", 1), ("5 H5/m5", 1)])
def test_one_micron_of_clearance_at_most_is_a_transition(fit: str, most: int) -> None:
    """2 H4: 0 to +3, m5: +2 to +6; 5 H5: 0 to +5, m5: +4 to +9 (ISO 286-2 tables, from memory)."""
    found = iso286.fit(fit)
    assert (found.clearance_max_um, found.kind) == (most, "transition")


def test_the_longest_text_of_a_fit() -> None:
    """Blanks count: 80 characters are read, 81 are not."""
    text = "25 H7/g6"
    assert iso286.parse_fit_designation(text.ljust(80)) == iso286.parse_fit_designation(text)
    with pytest.raises(iso286.Iso286Error):
        iso286.parse_fit_designation(text.ljust(81))


def test_the_widest_of_equal_fits_comes_first() -> None:
    """Among fits that overstep a window alike, the widest tolerances are the easiest to make."""
    found = iso286.nearest_fits(None, None, 25, count=100)
    keys = [(one.excess_um, not one.first_choice, one.basis) for one in found]
    for (one, key), (other, following) in zip(
        zip(found, keys, strict=True), list(zip(found, keys, strict=True))[1:], strict=False
    ):
        if key == following:
            assert one.limits.width_um >= other.limits.width_um
    assert len({one.limits.width_um for one in found}) > 3


def test_runs_of_grades_in_words() -> None:
    """Three in a row are a run, two stand by themselves."""
    assert _runs(["5", "6", "7", "9", "10"]) == "5 to 7, 9, 10"


GRADE_STEPS = (  # ISO 286-1:1988, annex A, rounding of the standard tolerances (from memory)
    ("7", 100, (100, 1), (101, 5), (200, 5), (201, 10), (500, 10), (501, 10)),
    ("7", 501, (60, 1), (61, 2), (100, 2), (101, 5), (200, 5), (201, 10), (500, 10), (501, 20)),
    ("7", 501, (1000, 20), (1001, 50), (2000, 50), (2001, 100), (5000, 100), (5001, 200)),
    ("4", 500, (0.99, 0.1), (1, 0.5), (4.9, 0.5), (5, 1), (9, 1)),
    ("4", 501, (0.99, 1)),
    ("12", 500, (1000, 10), (1001, 50), (2000, 50), (2001, 100)),
    ("16", 500, (1000, 10), (1001, 50)),
    ("17", 500, (10_000, 100), (15_000, 500)),
    ("11", 500, (100, 1), (101, 5)),
)


@pytest.mark.parametrize("line", GRADE_STEPS, ids=lambda line: f"IT{line[0]} at {line[1]}")
def test_steps_of_tolerances(line: tuple[str, float, tuple[float, float]]) -> None:
    """Each end of the rule for rounding, from both sides."""
    grade, mean, *ends = line
    for value, step in ends:
        assert _grade_step_um(value, grade, mean) == step, value


def test_departure_in_steps() -> None:
    """Off by half a micron either way, in steps of a quarter: two."""
    for formula in (9.5, 10.5):
        assert Comparison("", "", 10, formula, 10, 0.25).departure_steps == 2


DEVIATION_STEPS = (  # ISO 286-1:1988, annex A, rounding of the deviations (from memory)
    ("g", (45, 1), (46, 5), (60, 5), (61, 5), (100, 5), (101, 10), (200, 10), (300, 10)),
    ("g", (500, 10), (501, 20), (560, 20), (600, 20), (800, 20), (1000, 20), (1001, 50)),
    ("a", (2000, 50), (2001, 100)),
    ("k", (45, 1), (46, 1), (60, 1), (61, 1), (100, 1), (101, 2), (200, 2), (201, 2), (300, 2)),
    ("zc", (301, 5), (500, 5), (501, 5), (560, 5), (561, 10), (600, 10), (601, 10), (800, 10)),
    ("zc", (801, 20), (1000, 20), (1001, 50), (2000, 50), (2001, 100)),
)


@pytest.mark.parametrize("line", DEVIATION_STEPS, ids=lambda line: f"{line[0]} {line[1][0]}")
def test_steps_of_deviations(line: tuple[str, tuple[float, float]]) -> None:
    """Each end of the rule for rounding, from both sides; a to g, and k to zc."""
    letter, *ends = line
    for value, step in ends:
        assert _deviation_step_um(value, letter) == step, value


def test_units_of_tolerance_meet_at_500() -> None:
    """i = 0.45 ∛D + 0.001 D up to and with 500 mm, I = 0.004 D + 2.1 above (ISO 286-1:1988)."""
    assert tolerance_unit_um_approx(500) == pytest.approx(0.45 * 500 ** (1 / 3) + 0.5, rel=1e-12)
    assert tolerance_unit_um_approx(500.5) == pytest.approx(0.004 * 500.5 + 2.1, rel=1e-12)


def test_neighbours_reach_the_first_letter() -> None:
    """a9 and c9 stand beside b9 at 25 mm (ISO 286-2 tables, from memory)."""
    assert neighbours("b", "9", step_of(25)) == ["a9", "c9"]


# -------------------------------------------------------------------------------- fits of the trade


@pytest.mark.parametrize(
    ("least", "most", "kind"),
    [
        (0, 1, "clearance"),
        (-1, 0, "interference"),
        (-1, 1, "transition"),
        (0, 0, "clearance"),
    ],
)
def test_kinds_of_trade_fits(least: int, most: int, kind: str) -> None:
    """Size for size at one end still is one or the other (as in ISO 286-1:2010, from memory)."""
    assert TradeFit("x", "y", F(least), F(most), "", "", "").kind == kind


@pytest.mark.parametrize(
    ("fit", "least", "most"),
    [
        # constants and so much to the inch of the table's own rows, at 1/2 in
        ("silver soldered bush to retaining compound", "2", "5"),  # both begin at 2 thou
        ("pressed wheel, full size to shrunk tyre", "-1", "-0.5"),  # both end at -1 thou an inch
    ],
)
def test_two_fits_may_share_an_end(fit: str, least: str, most: str) -> None:
    """The first need not be tighter at both ends. [thou]"""
    found = find_trade_fit(fit, F(127, 10))
    thou = F(254, 10_000)
    assert found.clearance_min_mm == F(least) * thou
    assert found.clearance_max_mm == F(most) * thou


def test_the_end_of_a_table_is_not_in_it() -> None:
    """Soft soldered joints begin above 6 mm (the table's own row)."""
    assert find_trade_fit("soft soldered", F(6001, 1000)).name == "soft soldered"
    with pytest.raises(UnknownFit, match="begin above 6 mm"):
        find_trade_fit("soft soldered", F(6))


def test_words_of_refusals() -> None:
    """The half that is not known is named; a set only where one was asked for."""
    with pytest.raises(
        UnknownFit, match=r"^no fit of the trade is called “nonsense”; known are"
    ) as one:
        find_trade_fit("push to nonsense", F(25))
    assert one.value.nearest
    with pytest.raises(UnknownFit, match="“qqqq” in the engine practice set; known are"):
        find_trade_fit("qqqq", F(25), set="engine practice")
    with pytest.raises(UnknownFit, match=r"more than nothing$"):
        find_trade_fit("push", F(0))


# ----------------------------------------------------------------------------- values, intervals


def test_roots_of_very_large_numbers() -> None:
    """Certified from both sides, to so many binary digits."""
    value = F(2**3001)
    found = root(value, 2, 64)
    assert isinstance(found, Interval)
    assert found.lower**2 < value < found.upper**2
    assert 0 < found.width * 2**63 < found.lower


def test_what_has_no_whole_root() -> None:
    """A number below 0, and a degree below 1; each by itself."""
    for number, degree in ((-1, 2), (4, 0)):
        with pytest.raises(ValueError, match="degree >= 1"):
            whole_root(number, degree)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (Interval(1 - F(1, 2 * 10**12), 1 + F(1, 2 * 10**12)), "1"),
        (F(2**40 - 1), "1099511627775"),
        (F(2**40), "about 1.09951162778e+12"),
        (F(2) ** 999 - 1, f"about {float(2**999):.12g}"),
        (F(2) ** 999, "some 1000 binary digits"),
        (1 / F(2) ** 999, "nearly 0"),
    ],
    ids=str,
)
def test_values_in_messages(value: F | Interval, text: str) -> None:
    """Exact below 2^40, else about, else how long or that it is nearly nothing."""
    assert shown(value) == text


def test_a_wide_interval_shows_its_ends() -> None:
    """Wider than 10⁻¹² of its middle: both."""
    assert " to " in shown(Interval(1 - F(1, 10**12), 1 + F(1, 10**12)))


def test_long_fractions_become_intervals() -> None:
    """What counts is numerator and denominator together; the enclosure holds the value."""
    value = F(2**5000 + 1, 3**3100)
    assert value.numerator.bit_length() < LONGEST_EXACT > value.denominator.bit_length()
    found = tidy(value, ONE, {})
    assert isinstance(found, Interval)
    assert found.lower < value < found.upper


@pytest.mark.parametrize(
    ("lower", "upper", "least", "most"),
    [
        (-F(1), SMALLEST / 2, -F(1), SMALLEST),
        (-F(1), -SMALLEST / 2, -F(1), F(0)),
        (-F(1), -SMALLEST, -F(1), -SMALLEST),
        (-F(1), SMALLEST, -F(1), SMALLEST),
        (SMALLEST / 2, F(1), F(0), F(1)),
        (-SMALLEST / 2, F(1), -SMALLEST, F(1)),
        (SMALLEST, F(1), SMALLEST, F(1)),
        (-SMALLEST, F(1), -SMALLEST, F(1)),
    ],
)
def test_tiny_ends_go_outward(lower: F, upper: F, least: F, most: F) -> None:
    """An end nearer to 0 than the smallest goes to the next of 0 and ± the smallest, outward."""
    found = tidy(Interval(lower, upper), ONE, {})
    assert isinstance(found, Interval)
    assert (found.lower, found.upper) == (least, most)


def test_a_point_without_its_sign_is_a_number() -> None:
    """An interval of no width is the exact number."""
    assert absolute(Interval(F(-2), F(-2))) == F(2)
    assert isinstance(absolute(Interval(F(-2), F(-2))), F)


def test_numbers_of_twice_the_digits_stay() -> None:
    """3^5 has eight binary digits, 3^6 ten; 1/729 to four of them is 11/8192 (11.2 of 8192)."""
    assert _round_down(F(1, 243), 4) == F(1, 243)
    assert _round_down(F(1, 729), 4) == F(11, 8192)


def test_a_form_is_dropped_for_any_long_number() -> None:
    """Also for one that stands after a plain 0 or 1."""
    assert _short((values._ZERO, {"a.x": values.ONE})) is not None
    assert _short((values._ZERO, {"a.x": F(2) ** LONGEST_EXACT})) is None
