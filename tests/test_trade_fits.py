"""Fits of the trade against worked examples, old tables and an American standard."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaler import catalogue
from scaler.trade.trade_fits import (
    INCH_MM,
    THOU_MM,
    TradeFit,
    UnknownFit,
    find_trade_fit,
    fit_names,
    fit_sets,
)

HANDBOOK = "model engineer's handbook"
TABLE = "workshop limit table"


def thou(fit: TradeFit) -> tuple[Fraction, Fraction]:
    """The window in thou, tightest first."""
    return fit.clearance_min_mm / THOU_MM, fit.clearance_max_mm / THOU_MM


def at_inches(name: str, inches: str, set: str | None = None) -> TradeFit:
    """A fit at a diameter in inches."""
    return find_trade_fit(name, catalogue.parse_number(inches) * INCH_MM, set)


def refused(name: str, inches: str = "1", set: str | None = None) -> UnknownFit:
    """The refusal of a fit."""
    with pytest.raises(UnknownFit) as caught:
        at_inches(name, inches, set)
    assert caught.value.reason
    assert caught.value.reason in str(caught.value)
    return caught.value


# ------------------------------------------------------------------------------ published figures


def test_the_two_worked_examples_of_the_handbook_page() -> None:
    """Page transcribing the handbook: push on 1 in., shaft 0.9995; shrink on 1 in., shaft 1.002."""
    assert thou(at_inches("push", "1"))[0] == Fraction("0.5")
    assert thou(at_inches("shrink", "1"))[0] == -2


# The eleven lines of the handbook as transcribed: shaft less hole, thou, constant and per inch.
LINES = {
    "shrink": ("0.5", "1.5"),
    "force": ("0.5", "0.75"),
    "drive": ("0.3", "0.45"),
    "push": ("-0.15", "-0.35"),
    "slide": ("-0.3", "-0.45"),
    "precision running": ("-0.5", "-0.65"),
    "close running": ("-0.6", "-0.8"),
    "normal running": ("-1.0", "-1.5"),
    "easy running": ("-1.5", "-2.25"),
    "small clearance": ("-2.0", "-3.0"),
    "large clearance": ("-3.0", "-5.0"),
}


@pytest.mark.parametrize("name", LINES)
@pytest.mark.parametrize("inches", ["1/8", "1/2", "1", "2 1/2"])
def test_handbook_lines(name: str, inches: str) -> None:
    """The tight end is the printed line, constant and so much per inch, at any diameter."""
    constant, per_inch = map(Fraction, LINES[name])
    fit = at_inches(name, inches)
    assert fit.set == HANDBOOK
    assert thou(fit)[0] == -(constant + per_inch * catalogue.parse_number(inches))


# Machinery's Handbook, 27th ed., table 11, ANSI B4.1-1967 (R1999), force and shrink fits, read in a
# copy: interference limits in thou of FN 1 (light drive), FN 2 (medium drive), FN 4 (force, shrink).
ANSI = {
    "1/2": (("0.1", "0.8"), ("0.5", "1.6"), ("0.7", "1.8")),
    "1": (("0.3", "1.2"), ("0.6", "1.9"), ("1.0", "2.3")),
    "2 1/4": (("0.6", "1.8"), ("0.8", "2.7"), ("2.3", "4.2")),
}


@pytest.mark.parametrize("inches", ANSI)
def test_interference_lies_within_ansi_b4_1(inches: str) -> None:
    """Drive in FN 1, force in FN 2, shrink in FN 4, all by the handbook's lines."""
    for name, (low, high) in zip(("drive", "force", "shrink"), ANSI[inches], strict=True):
        interference = -thou(at_inches(name, inches, HANDBOOK))[0]
        assert Fraction(low) <= interference <= Fraction(high), name


# Shafts and holes, table of allowances, hole basis (club page): high and low limit of the shaft.
LIMITS = [
    ("force", "1/2", "1.0", "0.5"),
    ("force", "3/4", "2.0", "1.5"),
    ("force", "5", "10.0", "8.0"),
    ("drive", "1/4", "0.5", "0.2"),
    ("drive", "1", "1.0", "0.7"),
    ("push", "1/2", "-0.2", "-0.7"),
    ("push", "2 1/16", "-0.5", "-1.0"),
    ("running", "1/2", "-1.0", "-2.0"),
    ("running", "9/16", "-1.2", "-2.7"),
    ("running", "2", "-1.7", "-3.5"),
    ("running", "5", "-3.0", "-5.7"),
]


@pytest.mark.parametrize(("name", "inches", "high", "low"), LIMITS)
def test_limit_table(name: str, inches: str, high: str, low: str) -> None:
    """First, last and middle columns, and the size at which one column ends."""
    fit = at_inches(name, inches, TABLE)
    assert thou(fit) == (-Fraction(high), -Fraction(low))


def test_shrunk_tyre() -> None:
    """Applied Science for Metal-Workers, 453: a 68 in. tyre is turned 68/1000 in. small."""
    assert thou(at_inches("shrunk tyre", "68"))[1] == -68


@pytest.mark.parametrize(
    ("centre", "allowance"),
    [("38", "40"), ("44", "47"), ("50", "53"), ("56", "60"), ("62", "66"), ("66", "70")],
)
def test_shrunk_tyre_holds_the_old_table(centre: str, allowance: str) -> None:
    """Turning and Boring (1914), shrinkage of driving-wheel tyres by centre diameter [thou]."""
    low, high = thou(at_inches("shrunk tyre", centre))
    assert low <= -Fraction(allowance) <= high


def test_pressed_wheel() -> None:
    """Interference-fit page: 1/2 thou per inch suffices; 3/4 in. with 1/2 thou was pressed."""
    low, high = thou(at_inches("pressed wheel", "3/4"))
    assert high == -Fraction("0.375")
    assert low <= -Fraction("0.5") <= high


def test_silver_solder_gap_lies_in_both_published_ranges() -> None:
    """0.05 to 0.20 mm, and 0.001 to 0.005 in., each between faces (two suppliers' pages)."""
    fit = find_trade_fit("silver soldered", Fraction(20))
    for half in (fit.clearance_min_mm / 2, fit.clearance_max_mm / 2):
        assert Fraction("0.05") <= half <= Fraction("0.20")
        assert Fraction("0.0254") <= half <= Fraction("0.127")
    assert "Not for pressure parts" in fit.note


def test_retaining_compound_gap() -> None:
    """Bearing supplier's page: 0.002 to 0.005 in."""
    assert thou(at_inches("retaining compound", "1")) == (2, 5)


def test_figures_of_builders_stay_near_the_size_reported() -> None:
    """1 to 2 thou was reported on a 1/2 in. bore, not on a 2 in. one."""
    assert thou(at_inches("piston with O-ring", "1/2")) == (1, 2)
    assert thou(at_inches("piston with iron rings", "1 1/2")) == (10, 20)
    assert "end at 5/8 in" in refused("piston with O-ring", "2").reason
    assert "begin above 1 1/4 in" in refused("piston with iron rings", "1").reason


# -------------------------------------------------------------------------------- how it is asked


@pytest.mark.parametrize(
    ("asked", "name"),
    [
        ("push", "push"),
        ("Push fit", "push"),
        ("normal run", "normal running"),
        ("close-running", "close running"),
        ("driving fit", "drive"),
        ("press fit", "pressed wheel"),
        ("silver solder", "silver soldered"),
        ("running", "running"),
    ],
)
def test_names_and_aliases(asked: str, name: str) -> None:
    """A fit is found by its name, with or without the word fit, or by what the trade calls it."""
    assert at_inches(asked, "1").name == name


def test_every_name_is_found_in_its_set() -> None:
    """Each row is reached by name and set at a size it holds; screwed says why not."""
    for row in catalogue.table("trade_fits").rows:
        size = row.mm("up_to") or INCH_MM
        if row.text("fit") == "screwed":
            with pytest.raises(UnknownFit, match="thread"):
                find_trade_fit("screwed", size)
            continue
        fit = find_trade_fit(row.text("fit"), size, row.text("set"))
        assert (fit.name, fit.set) == (row.text("fit"), row.text("set"))
        assert fit.kind == row.text("kind")
        assert (fit.source, fit.place) == (row.text("source"), row.text("place"))


def test_the_set_decides() -> None:
    """Force at 1 in.: 1.25 thou by the handbook, 1.5 to 2 by the table; both say whose they are."""
    assert thou(at_inches("force", "1"))[0] == Fraction("-1.25")
    assert thou(at_inches("force", "1", TABLE)) == (-2, -Fraction("1.5"))
    assert at_inches("force", "1", "Workshop Limit Table").set == TABLE
    assert fit_sets()[0] == HANDBOOK
    assert fit_names(HANDBOOK) == tuple(LINES)


def test_a_window_of_two_lines() -> None:
    """Normal run to easy run: from the first line to the second (handbook figures, 16 mm)."""
    fit = find_trade_fit("normal run to easy run", Fraction(16))
    inches = Fraction(16) / INCH_MM
    assert thou(fit) == (1 + Fraction("1.5") * inches, Fraction("1.5") + Fraction("2.25") * inches)
    assert fit.name == "normal running to easy running"
    assert find_trade_fit("normal run – easy run", Fraction(16)) == fit


def test_a_window_of_two_fits_of_a_table() -> None:
    """In a set of ranges the window ends at the second's loose limit."""
    assert thou(at_inches("push to running", "1/2", TABLE)) == (Fraction("0.2"), 2)


def test_two_fits_are_refused_where_they_make_no_window() -> None:
    """Wrong order, the same twice, fits of different sets, one unknown."""
    assert "tighter" in refused("easy run to normal run").reason
    assert "tighter" in refused("push to push").reason
    assert "no one set" in refused("close running to running").reason
    assert "wobbly" in refused("normal run to wobbly").reason


def test_refusals() -> None:
    """Unknown name or set, no diameter, beyond a table's end, a fit without a window."""
    assert "push" in refused("pusch").nearest
    assert refused("zzzz").nearest == fit_names(HANDBOOK)
    assert refused("push", set="no such set").nearest == fit_sets()
    assert TABLE in refused("running", set=HANDBOOK).reason
    assert "more than nothing" in refused("push", "0").reason
    assert "end at 5 in" in refused("force", "5 1/64", TABLE).reason
    assert "thread" in refused("screwed").reason
    with pytest.raises(UnknownFit, match="begin above 6 mm"):
        find_trade_fit("soft soldered", Fraction(5))
    with pytest.raises(UnknownFit, match="end at 54 mm"):
        find_trade_fit("soft soldered", Fraction(55))
    with pytest.raises(LookupError):
        find_trade_fit("push", Fraction(-1))
    assert refused("force", "6", TABLE).beyond
    assert not refused("pusch").beyond


def test_column_ends_belong_to_the_column_below() -> None:
    """1/2 in. is read in the first column, anything over it in the second."""
    assert thou(at_inches("drive", "1/2", TABLE))[0] == -Fraction("0.5")
    assert thou(at_inches("drive", "33/64", TABLE))[0] == -1


# ------------------------------------------------------------------------------------------- laws

DIAMETERS = st.fractions(min_value=Fraction(1, 10), max_value=Fraction(127), max_denominator=1000)


@given(DIAMETERS, DIAMETERS, st.sampled_from(sorted(LINES)))
def test_more_diameter_more_of_it(one: Fraction, other: Fraction, name: str) -> None:
    """By the handbook both interference and clearance grow with the diameter."""
    small, large = sorted((one, other))
    a, b = find_trade_fit(name, small, HANDBOOK), find_trade_fit(name, large, HANDBOOK)
    assert abs(a.clearance_min_mm) <= abs(b.clearance_min_mm)
    assert abs(a.clearance_max_mm) <= abs(b.clearance_max_mm)


@given(DIAMETERS)
def test_the_order_of_tightness_is_the_order_of_the_names(diameter: Fraction) -> None:
    """Shrink, force, drive, push, slide … each looser than the last, at every diameter."""
    for set in (HANDBOOK, TABLE):
        fits = [find_trade_fit(name, diameter, set) for name in fit_names(set)]
        low = [fit.clearance_min_mm for fit in fits]
        high = [fit.clearance_max_mm for fit in fits]
        assert low == sorted(low) and high == sorted(high)
        assert all(fit.clearance_min_mm < fit.clearance_max_mm for fit in fits)


@given(DIAMETERS)
def test_interference_grips_and_clearance_does_not(diameter: Fraction) -> None:
    """The sign of every handbook window: three that grip, eight that do not."""
    kinds = [find_trade_fit(name, diameter).kind for name in fit_names(HANDBOOK)]
    assert kinds == ["interference"] * 3 + ["clearance"] * 8


def test_the_two_sets_agree_at_half_an_inch_and_part_at_one() -> None:
    """Within 0.3 thou at 1/2 in.; at 1 in. the table presses harder (forces compared as printed)."""
    for name in ("force", "drive", "push"):
        ours, table = thou(at_inches(name, "1/2"))[0], thou(at_inches(name, "1/2", TABLE))[0]
        assert abs(ours - table) <= Fraction("0.3"), name
    assert thou(at_inches("force", "1", TABLE))[0] < thou(at_inches("force", "1"))[0]
