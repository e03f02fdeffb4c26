"""Thread forms, look-up and choice, checked against standards' formulae and published figures."""

from __future__ import annotations

import math
import subprocess
import sys
from fractions import Fraction

import mpmath
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scaler.trade import thread_forms as forms
from scaler.trade.thread_text import Unread, plain, read_thread
from scaler.trade.threads import (
    SERIES,
    Choice,
    Thread,
    UnknownThread,
    all_threads,
    choose_thread,
    find_thread,
    scaled_want,
    strength_ratio,
)

FORMS = (forms.ISO_METRIC, forms.UNIFIED, forms.WHITWORTH, forms.BA, forms.CYCLE)
MM = Fraction(127, 5)
EVERY = all_threads()


# -- constants and forms --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("held", "exact"),
    [
        (forms.SQRT_3, lambda: mpmath.sqrt(3)),
        (forms.PI, lambda: +mpmath.pi),
        (forms.COT_27_5, lambda: mpmath.cot(mpmath.radians(mpmath.mpf("27.5")))),
        (forms.COT_23_75, lambda: mpmath.cot(mpmath.radians(mpmath.mpf("23.75")))),
    ],
)
def test_constants_are_within_their_stated_bound(held: Fraction, exact: object) -> None:
    """Each to 1e-40, against mpmath (a general-purpose library)."""
    with mpmath.workdps(60):
        off = abs(mpmath.mpf(held.numerator) / held.denominator - exact())  # type: ignore[operator]
        assert off < mpmath.mpf(10) ** -40


# Proportions as printed, per unit of pitch: ISO 68-1 (d2 0.649519, D1 1.082532, d3 1.226869, in
# copies); ASME B1.1 UNR depth 0.595392 (from memory); BS 84 H 0.960491, depth 0.640327 (copy);
# BS 93 H 1.13634, depth 0.6 (copy); BS 811 depth 0.5327 (copy)
@pytest.mark.parametrize(
    ("form", "height", "effective", "minor", "internal"),
    [
        (forms.ISO_METRIC, "0.866025", "0.649519", "1.226869", "1.082532"),
        (forms.UNIFIED, "0.866025", "0.649519", "1.190785", "1.082532"),
        (forms.WHITWORTH, "0.960491", "0.640327", "1.280655", "1.280655"),
        (forms.BA, "1.136336", "0.600000", "1.200000", "1.200000"),
        (forms.CYCLE, "0.866025", "0.532692", "1.065384", "1.065384"),
    ],
    ids=lambda value: getattr(value, "name", None),
)
def test_form_proportions_as_published(
    form: forms.ThreadForm, height: str, effective: str, minor: str, internal: str
) -> None:
    """Six decimals of the proportions that the standards print."""
    found = (form.sharp_height, form.effective_loss, form.minor_loss, form.minor_internal_loss)
    for value, printed in zip(found, (height, effective, minor, internal), strict=True):
        assert abs(value - Fraction(printed)) <= Fraction(1, 10**6)


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.name)
def test_angle_and_height_belong_together(form: forms.ThreadForm) -> None:
    """Tangent of the half angle is P / 2H."""
    half = math.radians(float(form.included_angle_deg) / 2)
    assert float(form.flank_tangent) == pytest.approx(math.tan(half), abs=1e-15)


def test_unified_stress_area_constant() -> None:
    """D - 0.9743/n (ASME B1.1)."""
    assert abs(forms.UNIFIED.stress_loss - Fraction("0.9743")) < Fraction(1, 20000)


# Lead angles at the effective diameter, Machinery's Handbook, basic dimensions of UNC, from memory
@pytest.mark.parametrize(
    ("designation", "degrees", "minutes"),
    [("1/4-20 UNC", 4, 11), ("3/8-16 UNC", 3, 24), ("1/2-13 UNC", 3, 7), ("1-8 UNC", 2, 29)],
)
def test_lead_angle_as_published(designation: str, degrees: int, minutes: int) -> None:
    """To a minute of arc."""
    found = find_thread(designation).helix_deg
    assert abs(found - degrees - Fraction(minutes, 60)) <= Fraction(1, 60)


@given(st.fractions(min_value="1/10", max_value=100), st.fractions(min_value="1/100", max_value=6))
def test_helix_angle_agrees_with_mpmath(effective: Fraction, pitch: Fraction) -> None:
    """Within 1e-30 degrees of an independent arctangent; steep ones are refused."""
    if pitch > effective * Fraction(3, 2):
        with pytest.raises(ValueError):
            forms.helix_angle(effective, pitch * 2)
        return
    found = forms.helix_angle(effective, pitch)
    with mpmath.workdps(50):
        slope = mpmath.mpf(pitch.numerator) / pitch.denominator
        slope /= mpmath.pi * mpmath.mpf(effective.numerator) / effective.denominator
        exact = mpmath.degrees(mpmath.atan(slope))
        assert abs(mpmath.mpf(found.numerator) / found.denominator - exact) < mpmath.mpf(10) ** -30


@given(
    st.sampled_from(FORMS),
    st.fractions(min_value=1, max_value=50),
    st.fractions(min_value="1/10", max_value="7/10"),
    st.fractions(min_value=0, max_value=100),
)
def test_percent_and_drill_are_inverses(
    form: forms.ThreadForm, major: Fraction, pitch: Fraction, percent: Fraction
) -> None:
    """A drill for a percentage leaves exactly that percentage; more thread, smaller drill."""
    drill = forms.drill_for_percent(form, major, pitch, percent)
    assert forms.percent_of_thread(form, major, pitch, drill) == percent
    assert drill >= forms.drill_for_percent(form, major, pitch, Fraction(100))


@given(
    st.sampled_from(FORMS),
    st.fractions(min_value=1, max_value=50),
    st.fractions(min_value="1/10", max_value="7/10"),
)
def test_diameters_keep_their_order(
    form: forms.ThreadForm, major: Fraction, pitch: Fraction
) -> None:
    """Core <= internal minor < effective < major; core area < stress area < area of the blank."""
    minor = forms.minor_diameter(form, major, pitch)
    internal = forms.minor_internal_diameter(form, major, pitch)
    assert 0 < minor <= internal < forms.effective_diameter(form, major, pitch) < major
    area = forms.stress_area(form, major, pitch)
    assert forms.circle_area(minor) < area < forms.circle_area(major)


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.name)
def test_impossible_threads_are_refused(form: forms.ThreadForm) -> None:
    """No core, no pitch, no diameter."""
    for major, pitch in (("1", "1"), ("0", "1"), ("1", "0"), ("-1", "1")):
        with pytest.raises(ValueError):
            forms.effective_diameter(form, Fraction(major), Fraction(pitch))
    with pytest.raises(ValueError, match="between 0 and 100"):
        forms.drill_for_percent(form, Fraction(6), Fraction(1), Fraction(101))
    with pytest.raises(ValueError):
        forms.percent_of_thread(form, Fraction(6), Fraction(1), Fraction(0))
    with pytest.raises(ValueError):
        forms.thread_depth(form, Fraction(0))


@pytest.mark.parametrize("designation", ["1/4-20 UNC", "1/2-13 UNC", "10-32 UNF", "M6", "M12"])
def test_strip_areas_follow_asme(designation: str) -> None:
    """ASME B1.1 appendix B formulae (copy), written out with 0.57735, at basic sizes, per mm."""
    thread = find_thread(designation)
    major, pitch = float(thread.major_mm), float(thread.pitch_mm)
    effective = major - 0.649519 * pitch
    internal = major - 1.082532 * pitch
    screw = math.pi / pitch * internal * (pitch / 2 + 0.57735 * (effective - internal))
    nut = math.pi / pitch * major * (pitch / 2 + 0.57735 * (major - effective))
    one = Fraction(1)
    args = (thread.form, thread.major_mm, thread.pitch_mm, one)
    assert float(forms.screw_strip_area(*args)) == pytest.approx(screw, rel=1e-5)
    assert float(forms.nut_strip_area(*args)) == pytest.approx(nut, rel=1e-5)


def test_engagement_grows_with_a_bigger_hole_and_a_weaker_nut() -> None:
    """More length is wanted with less thread, and in softer metal; a nut of 0.8 D serves steel.

    Common practice: an ordinary nut, about 0.8 to 0.9 D, breaks the bolt before it strips.
    """
    thread = find_thread("M6")
    basic = thread.engagement_for_core()
    assert Fraction(4, 10) < basic / thread.major_mm < Fraction(9, 10)
    assert thread.engagement_for_core(hole_mm=thread.drill_for(Fraction(50))) > basic
    assert thread.engagement_for_core(Fraction(1, 3)) > 2 * basic
    for bad in (Fraction(0), Fraction(-1)):
        with pytest.raises(ValueError):
            thread.engagement_for_core(bad)
    with pytest.raises(ValueError, match="no thread"):
        thread.engagement_for_core(hole_mm=Fraction(6))
    with pytest.raises(ValueError, match="no engagement"):
        forms.nut_strip_area(thread.form, thread.major_mm, thread.pitch_mm, Fraction(0))


# -- look-up --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "designation"),
    [
        ("2BA", "2 BA"),
        ("2 B.A.", "2 BA"),
        ("No 2 BA", "2 BA"),
        ("No. 2 BA", "2 BA"),
        ("BA 2", "2 BA"),
        ("0 ba", "0 BA"),
        ("British Association 4", "4 BA"),
        ("M3", "M3"),
        ("m3", "M3"),
        ("M 3", "M3"),
        ("M3x0.5", "M3"),
        ("M3 × 0,5", "M3"),
        ("M2,5", "M2.5"),
        ("M8-1.25", "M8"),
        ("M6-6g", "M6"),
        ("M8x1-6H", "M8 x 1"),
        ("M6 x 0.75", "M6 x 0.75"),
        ("M6 fine", "M6 x 0.75"),
        ("M10 coarse", "M10"),
        ("6 mm x 1", "M6"),
        ("1/4-40 ME", "1/4 x 40 ME"),
        ("1/4 x 40", "1/4 x 40 ME"),
        ("1/4 in ME 40", "1/4 x 40 ME"),
        ("40 tpi 1/4 M.E.", "1/4 x 40 ME"),
        ("1/4x40me", "1/4 x 40 ME"),
        ("1/2inx40 ME", "1/2 x 40 ME"),
        ("model engineer 1/4 x 32", "1/4 x 32 ME"),
        ("¼ x 40", "1/4 x 40 ME"),
        ("3/16 x 40", "3/16 x 40 ME"),
        ('1/4" BSF', "1/4 BSF"),
        ("1/4” BSF", "1/4 BSF"),
        ("1/4 B.S.F.", "1/4 BSF"),
        ("0.25 in BSF", "1/4 BSF"),
        ("3/8 Whit", "3/8 BSW"),
        ("3/8 Whitworth", "3/8 BSW"),
        ("1/4 BSW", "1/4 BSW"),
        ("1½ BSW", "1 1/2 BSW"),
        ("1.1/4 BSW", "1 1/4 BSW"),
        ("1-1/4 BSW", "1 1/4 BSW"),
        ("G 1/8", "G 1/8"),
        ("1/8 BSP", "G 1/8"),
        ("G1/8A", "G 1/8"),
        ("1 3/4 BSPP", "G 1 3/4"),
        ("1/4-20 UNC", "1/4-20 UNC"),
        ("1/4-20 UNC-2A", "1/4-20 UNC"),
        ("1/4-20", "1/4-20 UNC"),
        ("1-1/4-7", "1 1/4-7 UNC"),
        ("2 1/4 UNC", "2 1/4-4.5 UNC"),
        ("#4-40", "4-40 UNC"),
        ("4-40 UNC", "4-40 UNC"),
        ("4-40", "4-40 UNC"),
        ("No. 6 UNC", "6-32 UNC"),
        ("6 UNC", "6-32 UNC"),
        ("10-32", "10-32 UNF"),
        ("1 in UNC", "1-8 UNC"),
        ("1-64", "1-64 UNC"),
        ("12-32", "12-32 UNEF"),
        ("1/4 fine", "1/4-28 UNF"),
        ("3/8 x 26 brass", "3/8 x 26 brass"),
        ("3/8 BSB", "3/8 x 26 brass"),
        ("3/8 26 tpi brass", "3/8 x 26 brass"),
        ("3/8 cycle", "3/8 x 26 cycle"),
        ("7/16 x 26 ME", "7/16 x 26 ME"),
        ("5/16 x 32", "5/16 x 32 ME"),
        ("5/16-32", "5/16-32 UNEF"),
    ],
)
def test_threads_are_found_as_people_write_them(text: str, designation: str) -> None:
    """Usual ways of writing."""
    assert find_thread(text).designation == designation


@pytest.mark.parametrize("thread", EVERY, ids=lambda thread: thread.designation)
def test_designations_and_aliases_lead_to_their_own_row(thread: Thread) -> None:
    """Every designation and every alias in the tables is read back."""
    for name in (thread.designation, *thread.aliases, thread.designation.upper()):
        found = find_thread(name)
        assert (found.series, found.designation) == (thread.series, thread.designation), name


@pytest.mark.parametrize(
    ("text", "several"),
    [
        ("1/4-26", ("1/4 x 26 brass", "1/4 BSF", "1/4 x 26 cycle")),
        ("3/8 x 26", ("3/8 x 26 brass", "3/8 x 26 cycle")),
        ("1/4 ME", ("1/4 x 32 ME", "1/4 x 40 ME")),
        ("1 UNC", ("1-64 UNC", "1-8 UNC")),
        ("#10", ("10 BA", "10-24 UNC", "10-32 UNF")),
        ("M8 fine", ("M8 x 1", "M8 x 0.75")),
        ("1/4 UN", ("1/4-20 UNC", "1/4-28 UNF", "1/4-32 UNEF")),
    ],
)
def test_several_matches_are_listed(text: str, several: tuple[str, ...]) -> None:
    """A text that fits more than one thread names them all and is not guessed at."""
    with pytest.raises(UnknownThread, match="several") as caught:
        find_thread(text)
    assert caught.value.nearest == several
    assert caught.value.text == text


@pytest.mark.parametrize(
    ("text", "reason", "nearest"),
    [
        ("26 BA", "no thread of BA has that size", "16 BA"),
        ("M3.2", "no thread of metric coarse has that size", "M3"),
        ("M6x10", "a screw's length is left out", "M6"),
        ("M3x0.5x10", "length of the screw", None),
        ("1/4 x 39 ME", "no thread of ME has that pitch on that size", "1/4 x 40 ME"),
        ("6x1", "a metric size is written with an M", None),
        ("1/4 in", "without its series", "1/4 x 40 ME"),
        ("R 1/8", "taper pipe threads", "G 1/8"),
        ("1/8 BSPT", "taper pipe threads", "G 1/8"),
        ("1/4 BSX", '"bsx" names no series', "1/4 BSW"),
        ("2 BA BSF", "different series", None),
        ("2BA x", "stops before a number", "2 BA"),
        ("00 BA", "no size 00", None),
        ("1/0 BSW", "no fraction", None),
        ("M3²", "no part of a thread's name", None),
        ("1/4 in M", "cannot be in inches", None),
        ("40 tpi", "without a diameter", None),
        ("in 1/4 BSW", "before any number", None),
        ("1/4 in mm BSW", "marked both", None),
        ("1/4 x 40 in", "must be a pitch", None),
        ("M6 x 0", "exceed 0", None),
        ("/", "no fraction", None),
        ("", "no size can be read", None),
        ("BA", "no size can be read", None),
        ("٣BA", "no part of a thread's name", None),
        ("9" * 81, "at most 80", None),
        ("1234567890123 BA", "longer than any size", None),
    ],
)
def test_unknown_threads_say_why(text: str, reason: str, nearest: str | None) -> None:
    """The reason in words, and the nearest known where there is one worth naming."""
    with pytest.raises(UnknownThread) as caught:
        find_thread(text)
    assert reason in caught.value.reason
    assert nearest is None or nearest in caught.value.nearest
    assert isinstance(caught.value, LookupError) and repr(text) in str(caught.value)


def test_a_reading_by_custom_says_what_else_it_could_be() -> None:
    """1/4-20 is read as Unified; the note names the Whitworth thread of that pitch."""
    assert any("1/4 BSW" in note for note in find_thread("1/4-20").notes)
    assert not any("1/4 BSW" in note for note in find_thread("1/4-20 UNC").notes)


@settings(max_examples=400)
@given(st.text(max_size=90))
def test_any_text_gives_a_thread_or_unknown(text: str) -> None:
    """No other error for any text whatever."""
    try:
        assert isinstance(find_thread(text), Thread)
    except UnknownThread as unknown:
        assert unknown.reason


@settings(max_examples=400)
@given(st.text("0123456789/.,x-# MBAESWFGUNC\"'½×m ", max_size=24))
def test_thread_like_text_gives_a_thread_or_unknown(text: str) -> None:
    """The same for text made of the signs that threads are written with."""
    try:
        assert isinstance(find_thread(text), Thread)
    except UnknownThread as unknown:
        assert unknown.reason


def test_reader_accounts_for_every_character() -> None:
    """A stray letter or number is refused, not dropped."""
    for text in ("2 BA q", "M6 x 1 x 2", "1/4 x 40 ME 7", "2 BA 3/8 5", "M6;", "q M6"):
        with pytest.raises(Unread):
            read_thread(text)
    assert plain(" 1½″  Whit ") == '1 1/2" whit'


# -- fields of the contract -----------------------------------------------------------------------


def test_two_ba_in_full() -> None:
    """BS 93 (copy): 0.81, 4.7, 4.215, 3.73 mm; drill 4.0 mm and clearance 4.9 mm (a drill page)."""
    thread = find_thread("2 BA")
    assert thread.series == "BA"
    assert thread.pitch_mm == Fraction("0.81")
    assert thread.threads_per_inch == MM / Fraction("0.81")
    assert (thread.major_mm, thread.effective_mm) == (Fraction("4.7"), Fraction("4.215"))
    assert thread.minor_mm == thread.minor_internal_mm == Fraction("3.73")
    assert thread.depth_mm == Fraction("0.485")
    assert thread.tapping_drill_mm == 4 and thread.tapping_drill_name == "4 mm"
    assert thread.tapping_percent == Fraction("72.0")
    assert thread.clearance_medium_mm == Fraction("4.9")
    assert thread.across_flats_mm == Fraction("0.324") * MM
    assert thread.small_across_flats_mm == Fraction("0.282") * MM
    assert thread.source == "BS 93:1951 (copy)" and "2 BA" in thread.place


def test_quarter_by_forty_in_full() -> None:
    """1/4 x 40 ME: 0.025 in pitch, 0.016 in depth (BS 84 form), core 0.218 in."""
    thread = find_thread("1/4 x 40 ME")
    assert thread.pitch_mm == MM / 40 and thread.threads_per_inch == 40
    assert thread.major_mm == Fraction("6.35")
    assert thread.minor_mm == Fraction("0.2180") * MM
    assert thread.across_flats_mm is None


def test_m14_hexagon_is_the_iso_one() -> None:
    """21 mm (ISO 4032); the note tells of 22 mm in DIN."""
    thread = find_thread("M14")
    assert thread.across_flats_mm == 21
    assert any("22 mm" in note for note in thread.notes)


@pytest.mark.parametrize("thread", EVERY, ids=lambda thread: thread.designation)
def test_every_thread_is_exact_and_consistent(thread: Thread) -> None:
    """Fields are Fractions; percent and drill agree with the methods."""
    for name in ("major_mm", "effective_mm", "minor_mm", "pitch_mm", "tapping_drill_mm"):
        assert isinstance(getattr(thread, name), Fraction)
    percent = thread.percent_with(thread.tapping_drill_mm)
    assert abs(percent - thread.tapping_percent) <= Fraction(1, 20)
    assert thread.drill_for(percent) == thread.tapping_drill_mm
    assert thread.core_area_mm2 < thread.stress_area_mm2
    assert thread.pitch_mm * thread.threads_per_inch == MM
    assert thread.source and thread.place


def test_all_threads_lists_series_in_the_order_asked() -> None:
    """Series by series; an unknown one is refused with the known ones named."""
    listed = all_threads(["BA", "ME"])
    assert [thread.series for thread in listed] == ["BA"] * 26 + ["ME"] * 18
    assert {thread.series for thread in EVERY} == set(SERIES)
    with pytest.raises(ValueError, match="known: metric coarse"):
        all_threads(["Acme"])


# -- choosing -------------------------------------------------------------------------------------


def names(choices: tuple[Choice, ...]) -> list[str]:
    """Designations of choices, in order."""
    return [choice.thread.designation for choice in choices]


def test_choice_by_diameter_is_nearest() -> None:
    """A 1 in bolt at 1 1/2 in to the foot is 3.175 mm: 5 BA, then 4 or 6 BA."""
    choices = choose_thread("diameter", Fraction("3.175"), ["BA"])
    assert names(choices)[:3] == ["5 BA", "6 BA", "4 BA"]
    assert choices[0].departure == Fraction("0.025")


def test_choice_by_looks_compares_hexagons() -> None:
    """5/8 BSF, 1.010 in across flats, at 1:8: 3.207 mm, the small hexagon of M2 (3.2 mm)."""
    want = scaled_want("looks", find_thread("5/8 BSF"), Fraction(1, 8))
    assert want == Fraction("1.010") * MM / 8
    best = choose_thread("looks", want, ["metric coarse", "BA"])[0]
    assert best.found == Fraction("3.2")
    assert abs(best.departure) < Fraction(1, 100)


def test_choice_by_strength_is_never_weaker_if_it_can_be_helped() -> None:
    """The least stress area that is enough comes first; what falls short comes last."""
    want = find_thread("M4").stress_area_mm2
    choices = choose_thread("strength", want, ["BA"], limit=26)
    assert choices[0].thread.designation == "3 BA"
    enough = [choice.departure >= 0 for choice in choices]
    assert enough == sorted(enough, reverse=True) and not all(enough)
    ratio = choices[0].stress_ratio
    assert ratio is not None and ratio >= 1
    assert choose_thread("diameter", Fraction(4), ["BA"])[0].stress_ratio is None


def test_earlier_series_wins_a_tie() -> None:
    """M6 and 0 BA are both 6 mm: whichever series is preferred."""
    for series, first in ((["BA", "metric coarse"], "0 BA"), (["metric coarse", "BA"], "M6")):
        assert choose_thread("diameter", Fraction(6), series)[0].thread.designation == first


@given(st.fractions(min_value="1/5", max_value=30))
def test_first_choice_by_diameter_is_the_nearest_of_all(wanted: Fraction) -> None:
    """No other thread of the series lies nearer."""
    best = choose_thread("diameter", wanted, ["metric coarse"])[0]
    least = min(abs(thread.major_mm - wanted) for thread in all_threads(["metric coarse"]))
    assert abs(best.departure) == least


def test_choosing_refuses_nonsense() -> None:
    """No size, no way of choosing, no scale, no hexagon."""
    with pytest.raises(ValueError):
        choose_thread("diameter", Fraction(0), ["BA"])
    with pytest.raises(ValueError, match="diameter, looks or strength"):
        choose_thread("price", Fraction(1), ["BA"])  # type: ignore[arg-type]
    with pytest.raises(ValueError):
        scaled_want("diameter", find_thread("M6"), Fraction(0))
    with pytest.raises(ValueError, match="no hexagon"):
        scaled_want("looks", find_thread("1/4 x 40 ME"), Fraction(1, 8))
    assert choose_thread("looks", Fraction(5), ["ME"]) == ()


def test_scaled_strength_goes_with_the_square() -> None:
    """Area at half scale is a quarter."""
    full = find_thread("1 BSW")
    assert scaled_want("strength", full, Fraction(1, 2)) == full.stress_area_mm2 / 4
    assert scaled_want("diameter", full, Fraction(1, 2)) == Fraction("12.7")


def test_strength_ratio_of_a_thread_with_itself_is_one() -> None:
    """And the ratio turned round is its inverse."""
    m4, ba4 = find_thread("M4"), find_thread("4 BA")
    assert strength_ratio(m4, m4) == (1, 1)
    there, back = strength_ratio(m4, ba4), strength_ratio(ba4, m4)
    assert there[0] * back[0] == there[1] * back[1] == 1
    assert there[0] > 1


# -- speed and lightness --------------------------------------------------------------------------


def test_look_up_brings_in_no_heavy_library() -> None:
    """A look-up in a fresh interpreter loads neither pandas, numpy, sympy, pint nor networkx."""
    code = (
        "import sys; from scaler.trade.threads import find_thread; find_thread('2 BA');"
        "print([m for m in ('pandas','numpy','sympy','pint','networkx') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_reading_takes_linear_time() -> None:
    """Long odd text is refused at once, whatever it repeats."""
    for text in ("1/" * 5000, "M" * 10000, "1 " * 5000, "b. a." * 3000, "x" * 100000):
        with pytest.raises(UnknownThread, match="at most 80"):
            find_thread(text)
