"""Scales: reading them, refusing them, and reducing published full-size figures with them."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaler import catalogue
from scaler.measures.lengths import parse_length
from scaler.measures.scales import (
    Scale,
    ScaleError,
    nearest_names,
    parse_scale,
    rescale,
    scale_from_gauges,
    scales_on_gauge,
)

INCH = Fraction(254, 10)
STANDARD_MM = Fraction("1435.1")


def refused(text: str) -> ScaleError:
    """The refusal of a text, with its span checked against the text."""
    with pytest.raises(ScaleError) as caught:
        parse_scale(text)
    error = caught.value
    assert error.text == text
    assert 0 <= error.start <= error.end <= len(text)
    assert error.problem and error.expected
    return error


# ------------------------------------------------------------------------------------ reading


@pytest.mark.parametrize(
    ("text", "denominator"),
    [
        ("1:12", "12"),
        ("1 : 7.2", "36/5"),
        ("1:7,2", "36/5"),
        ("1/12", "12"),
        ("1/72", "72"),
        ("2 : 24", "12"),
        ("1 to 12", "12"),
        ("1 : 11 19/64", "723/64"),
        ("12th scale", "12"),
        ("1/12 full size", "12"),
        ("full size", "1"),
        ("half size", "2"),
        ("1:1", "1"),
    ],
)
def test_ratios(text: str, denominator: str) -> None:
    """A ratio is read exactly, whichever mark stands between."""
    scale = parse_scale(text)
    assert scale.denominator == Fraction(denominator)
    assert scale.how == "ratio"
    assert scale.text == text


@pytest.mark.parametrize(
    ("text", "ratio", "shown"),
    [
        ("1 1/16 in : 1 ft", "17/192", "1 1/16 in : 1 ft (1 : 11.294 nearly)"),
        ("1 1/2 in to the foot", "1/8", "1 1/2 in : 1 ft (1 : 8)"),
        ('1 1/2" to the foot', "1/8", "1 1/2 in : 1 ft (1 : 8)"),
        ("1½ in per foot", "1/8", "1 1/2 in : 1 ft (1 : 8)"),
        ("7 mm/ft", "35/1524", "7 mm : 1 ft (1 : 43.543 nearly)"),
        ("16 mm to 1 ft", "20/381", "16 mm : 1 ft (1 : 19.05)"),
        ("1/2\" = 1'", "1/24", "1/2 in : 1 ft (1 : 24)"),
        ("3/4 in/ft", "1/16", "3/4 in : 1 ft (1 : 16)"),
        ("5/8 in scale", "5/96", "5/8 in : 1 ft (1 : 19.2)"),
    ],
)
def test_so_much_to_the_foot(text: str, ratio: str, shown: str) -> None:
    """So much to the foot, in inches or millimetres; the normal form gives the ratio too."""
    scale = parse_scale(text)
    assert scale.ratio == Fraction(ratio)
    assert scale.how == "so much to the foot"
    assert scale.read_as == shown


def test_two_lengths_make_a_ratio() -> None:
    """Any two lengths do: 3 in for 2 ft is 1 : 8."""
    scale = parse_scale("3 in : 2 ft")
    assert (scale.denominator, scale.how) == (8, "ratio")


@pytest.mark.parametrize(
    "text",
    [
        "5 in on 4 ft 8 1/2 in gauge",
        "5 in gauge on 4ft 8 1/2in gauge",
        "5in on 4' 8 1/2\" gauge",
        "5 in on standard gauge",
        "5 in for 4 ft 8 1/2 in",
    ],
)
def test_two_gauges(text: str) -> None:
    """Model gauge on full-size gauge: 56.5/5 = 11.3 (forum thread on the scale for 5 in. gauge)."""
    scale = parse_scale(text)
    assert scale.denominator == Fraction("11.3")
    assert scale.how == "two gauges"
    assert scale.read_as == "1 : 11.3 (5 in on 4 ft 8 1/2 in gauge)"
    assert scale.full_gauge_mm == STANDARD_MM
    assert scale.model_gauge_mm == 127


def test_gauges_given_apart_or_together_are_the_same() -> None:
    """scale_from_gauges and the written form agree, but for the text."""
    apart = scale_from_gauges("3 ft", " 5 in ")
    together = parse_scale("5 in on 3 ft gauge")
    assert apart == together
    assert apart.read_as == "1 : 7.2 (5 in on 3 ft gauge)"


def test_gauges_by_name() -> None:
    """Metre gauge and standard gauge are words for sizes."""
    assert parse_scale("45 mm on metre gauge").ratio == Fraction(45, 1000)
    assert scale_from_gauges("cape gauge", "89 mm").ratio == Fraction(890, 10668)


@pytest.mark.parametrize(
    ("text", "denominator"),
    [
        ("00", "76.2"),
        ("OO", "76.2"),
        ("oo", "76.2"),
        ("H0", "87"),
        ("S", "64"),
        ("0 British", "304.8/7"),
        ("16 mm scale", "19.05"),
        ("gauge 1 (10 mm)", "30.48"),
        ("7/8 in scale", "96/7"),
        ('7/8" scale', "96/7"),
        ("7/8 inch scale", "96/7"),
        ("4 1/2 in scale, road", "8/3"),
        ("quarter scale", "4"),
        ("1 : 96, marine", "96"),
    ],
)
def test_names_of_the_trade(text: str, denominator: str) -> None:
    """Named scales come from the catalogue, whichever way the letters and inch marks are put."""
    above, _, below = denominator.partition("/")
    scale = parse_scale(text)
    assert scale.denominator == Fraction(above) / Fraction(below or 1)
    assert scale.how == "named"


def test_every_catalogue_name_reads_as_itself() -> None:
    """Each designation is found, with the ratio of its row; each alias too, or refused by name."""
    for row in catalogue.table("named_scales").rows:
        ratio = row.number("ratio_model") / row.number("ratio_full")
        scale = parse_scale(row.text("designation"))
        assert (scale.ratio, scale.how) == (ratio, "named"), row
        for alias in filter(None, map(str.strip, row.text("aliases").split(";"))):
            try:
                assert parse_scale(alias).ratio == ratio, alias
            except ScaleError as error:
                assert row.text("designation") in error.expected, alias


def test_a_name_for_several_scales_is_refused_with_the_choice() -> None:
    """Gauge 1 is built to 10 mm and to 3/8 in. (1 : 32); 0 to 7 mm, 1 : 45 and 1 : 48."""
    error = refused("gauge 1")
    assert "gauge 1 (10 mm)" in error.expected and "3/8 in scale" in error.expected
    error = refused("0")
    for name in ("0 British", "0 continental", "O (NMRA)"):
        assert name in error.expected


# ----------------------------------------------------------------------------------- refusing


@pytest.mark.parametrize(
    ("text", "span", "word"),
    [
        ("0:12", "0", "zero"),
        ("1:0", "0", "zero"),
        ("-1:12", "-1", "negative"),
        ("1:-12", "-12", "negative"),
        ("1:20000", "1:20000", "1 : 20000"),
        ("11:1 enlarged", "11:1 enlarged", "11 : 1"),
        ("0 mm : 1 ft", "0 mm", "more than 0"),
        ("-7 mm : 1 ft", "-", "-"),
        ("1.5 : 1 ft", "1.5", "no unit"),
        ("7 mm : 304.8", "304.8", "no unit"),
        ("5 inn on 3 ft", "inn", "inn"),
        ("1:1,200", "1,200", "thousands"),
        ("1:12:3", "1:12:3", "no scale"),
        ("1:1/0", "1/0", "divided by 0"),
        ("  wibble ", "wibble", "no scale"),
        ("2 in", "2 in", "length alone"),
        ("12", "12", "alone"),
    ],
)
def test_refusals_point_at_the_fault(text: str, span: str, word: str) -> None:
    """The part of the text at fault is marked, and the reason named."""
    error = refused(text)
    assert text[error.start : error.end] == span
    assert word in str(error)


@pytest.mark.parametrize("text", ["", "   ", "x" * 121, "1" * 119 + ":1"])
def test_empty_long_and_absurd(text: str) -> None:
    """Nothing, too much, or a number beyond all sense."""
    refused(text)


def test_an_enlargement_must_be_said() -> None:
    """12:1 is a slip for 1:12; 2 : 1 enlarged is meant."""
    assert '"1 : 12"' in refused("12:1").advice
    assert '"1 : 2"' in refused("2:1").advice
    assert "enlarged" in refused("2:1").advice
    scale = parse_scale("2:1 enlarged")
    assert (scale.ratio, scale.read_as) == (2, "2 : 1 enlarged")


def test_three_quarters_could_be_two_scales() -> None:
    """3/4 in. to the foot is 1 : 16, 3 : 4 is not; the text alone does not say which."""
    error = refused("3/4")
    assert '"3 : 4"' in error.advice and '"3/4 in : 1 ft"' in error.advice
    assert parse_scale("1/4").denominator == 4
    assert "not as 1/4 in to the foot" in parse_scale("1/4").note
    assert parse_scale("1/12").note == ""


def test_gauges_the_wrong_way_round() -> None:
    """The larger gauge on the smaller is refused, with the two turned about."""
    assert '"5 in on 3 ft gauge"' in refused("3 ft on 5 in gauge").advice
    refused("5 in on 5 in gauge")
    with pytest.raises(ScaleError):
        scale_from_gauges("5 in", "3 ft")


def test_a_gauge_alone_is_no_scale() -> None:
    """5 in. gauge carries several scales; those known on it are named."""
    error = refused("5 in gauge")
    assert "1 1/16 in scale" in error.expected
    assert "on 4 ft 8 1/2 in gauge" in error.advice
    assert "1 1/16 in scale" in scales_on_gauge(Fraction(127))
    assert scales_on_gauge(Fraction(1000)) == ()


def test_near_misses_name_what_was_near() -> None:
    """A slip of the pen gets the nearest names."""
    assert '"16 mm scale"' in refused("16 mm skale").advice
    assert "gauge 1 (10 mm)" in refused("guage 1").advice
    assert nearest_names("qqqqqq") == ()


# ------------------------------------------------------------------------------------ properties


def test_to_the_foot_of_a_scale() -> None:
    """1 : 16 is 3/4 in. and 19.05 mm to the foot; 1 : 87 is 0.138 in. (NMRA RP-4, HO: .138)."""
    scale = parse_scale("1:16")
    assert (scale.per_foot_in, scale.per_foot_mm) == ("3/4 in", Fraction("19.05"))
    assert parse_scale("1:87.1").per_foot_in == "0.138 in nearly"
    assert parse_scale("1.6 in : 1 ft").per_foot_in == "1.6 in"


@pytest.mark.parametrize(
    ("model", "handy", "gauge_in"),
    [
        # forum thread on 5 in.: 11.3 exactly, drawn 1 1/16 in/ft (1 : 11.294), gauge comes 5.003
        ("5 in", "1 1/16 in : 1 ft", "5.003"),
        # the same: 3 1/2 in. is 0.743 exactly but drawn 3/4
        ("3 1/2 in", "3/4 in : 1 ft", "3.531"),
        # scaled-prototype row of the IBLS typed copy, 1 1/2 in. scale: 7.062
        ("7 1/4 in", "1 1/2 in : 1 ft", "7.0625"),
    ],
)
def test_handy_scale_and_the_gauge_it_gives(model: str, handy: str, gauge_in: str) -> None:
    """Exact ratio, drawn so-much-to-the-foot and gauge error are three facts."""
    scale = scale_from_gauges("4 ft 8 1/2 in", model)
    found = scale.handy()
    assert found.text == handy
    assert found.gauge_mm is not None and found.gauge_error_mm is not None
    assert abs(found.gauge_mm / INCH - Fraction(gauge_in)) <= Fraction(1, 2000)
    assert found.gauge_error_mm == found.gauge_mm - parse_length(model).mm
    assert found.departure == found.ratio / scale.ratio - 1


def test_handy_beyond_the_named_scales() -> None:
    """Where the trade has no name near, the nearest 1/16 in. to the foot; no gauge, no error."""
    assert scale_from_gauges("3 ft", "5 in").handy().text == "1 11/16 in : 1 ft"
    found = parse_scale("1:87").handy()
    assert (found.text, found.gauge_mm, found.gauge_error_mm) == ("3.5 mm : 1 ft", None, None)
    assert parse_scale("1:5000").handy().ratio > 0


def test_rescaling_an_earlier_model() -> None:
    """3/4 in. drawings for 1 1/16 in.: × 17/12, more than 1 (forum thread on 5 in. gauge)."""
    earlier, ours = parse_scale("3/4 in : 1 ft"), parse_scale("1 1/16 in : 1 ft")
    assert rescale(earlier, ours) == Fraction(17, 12)
    assert rescale(ours, earlier) == Fraction(12, 17)
    # NEM 010:2011, 3.5: a drawing at 1:45 for a model at 1:87, factor 45/87 = 0.517
    factor = rescale(parse_scale("1:45"), parse_scale("1:87"))
    assert factor == Fraction(45, 87) and round(float(factor), 3) == 0.517


@given(st.integers(1, 9999), st.integers(1, 9999))
def test_any_ratio_is_exact(model: int, full: int) -> None:
    """model : full is model/full, or refused; a reduction never is unless absurd."""
    ratio = Fraction(model, full)
    try:
        scale = parse_scale(f"{model} : {full}")
    except ScaleError:
        assert ratio > 1 or ratio < Fraction(1, 10_000)
    else:
        assert scale.ratio == ratio <= 1
        assert scale.denominator * scale.ratio == 1
        assert scale.per_foot_mm == ratio * Fraction("304.8")


@given(st.integers(1, 4000), st.integers(1, 4000), st.integers(1, 4000))
def test_rescaling_goes_there_and_back(one: int, two: int, three: int) -> None:
    """a to b to c is a to c; there and back is 1."""
    a, b, c = (Scale(Fraction(1, n), f"1:{n}", "ratio", f"1 : {n}") for n in (one, two, three))
    assert rescale(a, b) * rescale(b, c) == rescale(a, c)
    assert rescale(a, b) * rescale(b, a) == 1


@given(st.integers(1, 640), st.integers(641, 6400))
def test_read_as_of_gauges_reads_back(model: int, full: int) -> None:
    """The normal form in brackets is itself a scale, and the same one."""
    scale = scale_from_gauges(f"{full} mm", f"{model} mm")
    again = parse_scale(scale.read_as.partition("(")[2].rstrip(")"))
    assert again.ratio == scale.ratio == Fraction(model, full)


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    """No text does anything but give a scale or a ScaleError."""
    try:
        scale = parse_scale(text)
    except ScaleError as error:
        assert 0 <= error.start <= error.end <= len(text)
    else:
        assert Fraction(1, 10_000) <= scale.ratio <= 10


@given(st.text(alphabet="0123456789 :/.,-'\"inftmgauesclo½", max_size=30))
def test_texts_of_the_right_letters_are_read_or_refused(text: str) -> None:
    """The same with the letters that scales are made of."""
    try:
        assert parse_scale(text).ratio > 0
    except ScaleError as error:
        assert 0 <= error.start <= error.end <= len(text)


# --------------------------------------------------------------- published reductions of full size


def reduced(full_mm: Fraction, scale: str) -> Fraction:
    """A full-size length at a scale [mm]."""
    return full_mm * parse_scale(scale).ratio


def standard_bounds(designation: str) -> tuple[Fraction, Fraction]:
    """Lower and upper bound of a row of the wheel standards [mm]."""
    row = catalogue.table("wheel_standards").find(designation)
    assert row is not None
    low, high = row.mm("lower"), row.mm("upper")
    assert low is not None and high is not None
    return low, high


def test_standard_gauge_at_1_to_87_is_16_5_mm() -> None:
    """NEM 010:2011, H0: 16.5 mm; within NMRA S-3.2's 0.649 to 0.672 in."""
    found = reduced(STANDARD_MM, "H0")
    assert abs(found - Fraction("16.5")) < Fraction("0.01")
    low, high = standard_bounds("NMRA S-3.2 and S-4.2 HO: track gauge")
    assert low < found < high


@pytest.mark.parametrize(
    ("scale", "full", "printed"),
    [
        ("4 mm : 1 ft", "4 ft 8 1/2 in", "18.83"),  # P4 (forum threads on gauges)
        ("2 mm : 1 ft", "4 ft 8 1/2 in", "9.42"),  # 2 mm scale, from memory
        ("16 mm scale", "2 ft", "32"),  # 16 mm scale page: 2 ft gauge on 32 mm
        ("1:32", "4 ft 8 1/2 in", "44.85"),  # NMRA S-3.2, No. 1: 1.766 in., 44.85 mm
        ("1:64", "4 ft 8 1/2 in", "22.42"),  # NMRA S-3.2, S: 0.883 in., 22.42 mm
        ("3/16 in scale", "4 ft 8 1/2 in", "22.42"),  # the same by its inches
        ("1:20.3", "4 ft 8 1/2 in", "70.64"),  # NMRA S-3.1, Proto:20.3: 70.64 mm
        ("1:48", "4 ft 8 1/2 in", "29.90"),  # NMRA S-3.1, Proto:48: 29.90 mm
        ("1:160", "4 ft 8 1/2 in", "8.97"),  # NMRA RP-3, N Fine: 8.97 mm
    ],
)
def test_gauges_reduce_to_the_published_ones(scale: str, full: str, printed: str) -> None:
    """Full-size gauge × scale is the published exact gauge, to 0.06 mm (they round to 0.001 in.)."""
    assert abs(reduced(parse_length(full).mm, scale) - Fraction(printed)) <= Fraction("0.06")


@pytest.mark.parametrize(
    ("name", "track", "error"),
    [
        ("0 British", "32", "0.96"),  # 7 mm on 32 mm: 32.96 wanted
        ("00", "16.5", "2.33"),  # 4 mm on 16.5: 18.83 wanted
        ("gauge 1 (10 mm)", "45", "2.08"),  # 10 mm on 45: 47.08 wanted
    ],
)
def test_trade_scales_whose_track_is_too_narrow(name: str, track: str, error: str) -> None:
    """Known misfits of scale and gauge stay visible (arithmetic; gauges from NEM 010:2011)."""
    short = reduced(STANDARD_MM, name) - Fraction(track)
    assert abs(short - Fraction(error)) < Fraction("0.01")


def test_3_5_mm_to_the_foot_is_1_to_87_1() -> None:
    """NMRA S-3.2:2010 gives HO as 1:87.1, and OO as 1:76.2."""
    assert abs(parse_scale("3.5 mm/ft").denominator - Fraction("87.1")) < Fraction("0.05")
    assert parse_scale("4 mm/ft").denominator == Fraction("76.2")


# IBLS typed copy, rows "12 in. prototype" and "scaled prototype" for 3/4, 1 and 1 1/2 in. to the
# foot: track gauge, tyre, flange thickness, flange height, contour radius, backs, wheel check.
FULL = ("56.50", "5.50", "1.156", "1.125", ".688", "53.38", "54.53")
SCALED = {
    "3/4 in scale": ("3.531", ".344", ".072", ".070", ".043", "3.336", "3.408"),
    "1 in scale": ("4.708", ".458", ".096", ".094", ".057", "4.448", "4.544"),
    "1 1/2 in scale": ("7.062", ".688", ".144", ".141", ".086", "6.672", "6.816"),
}


@pytest.mark.parametrize("scale", SCALED)
def test_a_full_size_wheel_set_reduces_to_the_printed_one(scale: str) -> None:
    """Seven sizes of a full-size wheel set at three scales, to the printed 0.001 in."""
    for full, printed in zip(FULL, SCALED[scale], strict=True):
        found = reduced(Fraction(full) * INCH, scale) / INCH
        assert abs(found - Fraction(printed)) <= Fraction("0.00061"), (full, printed)


def test_only_the_tyre_follows_the_scale() -> None:
    """IBLS wheels are not full size reduced: flanges and backs depart, each in its own way."""
    backs = standard_bounds("IBLS 7 1/4 in: back to back")
    assert reduced(Fraction("53.38") * INCH, "1 1/2 in scale") < backs[0]
    row = catalogue.table("wheel_standards").find("IBLS 7 1/4 in: flange depth")
    assert row is not None
    deepest = row.mm("upper")
    assert deepest is not None
    assert reduced(Fraction("1.125") * INCH, "1 1/2 in scale") < deepest
