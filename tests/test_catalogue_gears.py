"""The gear and taper tables: form, tiling, the cone formula, and published values."""

from __future__ import annotations

import math
import re
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

import scaler
from scaler import catalogue
from scaler.catalogue import Row

F = Fraction

ORDER = {
    "gears_cutters": (),
    "gears_modules": ("module_mm",),
    "gears_diametral_pitches": ("diametral_pitch_per_in",),
    "gears_morse_tapers": ("large_in",),
    "gears_tapers": ("one_in_ratio",),
}


def rows(name: str) -> tuple[Row, ...]:
    """All rows of a shipped table."""
    return catalogue.table(name).rows


def row(name: str, designation: str) -> Row:
    """The row of that designation; fails the test where there is none."""
    found = catalogue.table(name).find(designation)
    assert found is not None, f"{name} has no {designation}"
    return found


def numbers(text: str) -> list[Fraction]:
    """Exact numbers of a line, blanks between."""
    return [F(word) for word in text.split()]


def test_every_gears_table_is_listed_here() -> None:
    """A new table of gears or tapers must be given its checks."""
    assert {n for n in catalogue.names() if n.startswith("gears_")} == set(ORDER)


@pytest.mark.parametrize("name", ORDER)
def test_form(name: str) -> None:
    """Cells parse, required ones are filled, designations differ, sources are known, sorted."""
    table = catalogue.table(name)
    known = {r["key"] for r in catalogue.table("sources").rows}
    assert next(iter(table.columns)) == "designation"
    assert list(table.columns)[-2:] == ["source", "place"]
    assert len({r["designation"] for r in table.rows}) == len(table.rows) > 0
    for r in table.rows:
        assert r["source"] in known, r
        for column in table.columns.values():
            assert r.text(column.name) or not column.required, (r, column.name)
            numeric = column.type in ("number", "integer") or column.exact == "fraction"
            if numeric and r.text(column.name):
                assert r.number(column.name) > 0, (r, column.name)
    keys = [tuple(r.number(c) for c in ORDER[name]) for r in table.rows]
    assert keys == sorted(keys)


# ------------------------------------------------------------------ cutters
def cutters(which: str) -> list[Row]:
    """The cutters of one set, fewest teeth first."""
    return [r for r in rows("gears_cutters") if r["set"] == which]


@pytest.mark.parametrize("which", ["diametral pitch, eight", "module, eight"])
def test_eight_cutters_serve_every_gear_from_twelve_teeth_to_a_rack(which: str) -> None:
    """No number of teeth is missed or served twice, and the last has no end."""
    found = cutters(which)
    assert len(found) == 8
    assert found[0]["teeth_min_count"] == 12
    for a, b in pairwise(found):
        assert a.number("teeth_max_count") + 1 == b.number("teeth_min_count")
    assert found[-1]["teeth_max_count"] is None


def test_module_cutters_are_numbered_the_other_way() -> None:
    """Trap: No. 1 cuts a rack by diametral pitch, and twelve teeth by module."""
    by_pitch = {r.text("number"): r for r in cutters("diametral pitch, eight")}
    for r in cutters("module, eight"):
        twin = by_pitch[str(9 - int(r.text("number")))]
        assert (r["teeth_min_count"], r["teeth_max_count"]) == (
            twin["teeth_min_count"],
            twin["teeth_max_count"],
        )


def test_half_numbers_are_the_upper_part_of_a_range() -> None:
    """No. 1 1/2 to 7 1/2 end where the next whole number's range ends."""
    whole = {r.text("number"): r for r in cutters("diametral pitch, eight")}
    halves = cutters("diametral pitch, half numbers")
    assert len(halves) == 7
    for r in halves:
        after = whole[str(int(r.text("number").split()[0]) + 1)]
        assert r["teeth_max_count"] == after["teeth_max_count"]
        assert r.number("teeth_min_count") > after.number("teeth_min_count")


# Modern Machine-Shop Practice, table of eight cutters: number, from, to, true for
@pytest.mark.parametrize(
    ("number", "low", "high", "true"),
    [
        (1, 135, None, 200),
        (2, 55, 134, 68),
        (3, 35, 54, 40),
        (4, 26, 34, 29),
        (5, 21, 25, 22),
        (6, 17, 20, 18),
        (7, 14, 16, 16),
        (8, 12, 13, 13),  # the copy prints 14 for the end, which is also the start of No. 7
    ],
)
def test_cutter_ranges(number: int, low: int, high: int | None, true: int) -> None:
    """The ranges as printed, and the number of teeth the old set was true for."""
    r = row("gears_cutters", f"DP No. {number}")
    found = (r["teeth_min_count"], r["teeth_max_count"], r["true_teeth_count"])
    assert found == (low, high, true)


def test_a_cutter_is_true_within_its_range() -> None:
    """Of every row that states it."""
    for r in rows("gears_cutters"):
        if r.text("true_teeth_count"):
            true = r.number("true_teeth_count")
            assert r.number("teeth_min_count") <= true
            assert r["teeth_max_count"] is None or true <= r.number("teeth_max_count")


# ------------------------------------------------------------------ pitches
def test_modules() -> None:
    """Two public lists of ISO 54: standard ones from 0.3 to 10 (with 0.7), and all from 1 to 7."""
    preferred = {r["module_mm"] for r in rows("gears_modules") if r["choice"] == 1}
    first_list = numbers("0.3 0.4 0.5 0.6 0.8 1 1.25 1.5 2 2.5 3 4 5 6 8 10")
    assert set(first_list) <= preferred
    both = numbers("1 1.125 1.25 1.375 1.5 1.75 2 2.25 2.5 2.75 3 3.5 4 4.5 5 5.5 6 6.5 7")
    found = [r.number("module_mm") for r in rows("gears_modules")]
    assert [m for m in found if 1 <= m <= 7] == both
    assert row("gears_modules", "module 6.5")["choice"] == 3


def test_preferred_modules_step_evenly() -> None:
    """Preferred numbers: each preferred module from 1 up is 1.2 to 1.34 times the one before."""
    sizes = [r.number("module_mm") for r in rows("gears_modules") if r["choice"] == 1]
    steps = [b / a for a, b in pairwise([s for s in sizes if s >= 1])]
    assert all(F(6, 5) <= step <= F(4, 3) for step in steps)


def test_diametral_pitches() -> None:
    """ANSI B6.1 and B6.7 preferred pitches, from memory."""
    preferred = [
        r["diametral_pitch_per_in"] for r in rows("gears_diametral_pitches") if r["choice"] == 1
    ]
    assert preferred == numbers("2 2.5 3 4 6 8 10 12 16 20 24 32 40 48 64 80 96 120")


def test_module_of_a_diametral_pitch() -> None:
    """Module x diametral pitch = 25.4, by the definitions of ISO 54 and ANSI B6.1."""
    for r in rows("gears_diametral_pitches"):
        assert r.mm("module") * r.number("diametral_pitch_per_in") == F("25.4"), r


# ------------------------------------------------------------------ Morse tapers
def test_morse_taper_from_its_ends_and_length() -> None:
    """ASME B5.10: taper per foot is 12 (A - D) / P, to the five places printed."""
    for r in rows("gears_morse_tapers"):
        drop = r.number("large_in") - r.number("small_in")
        per_foot = 12 * drop / r.number("plug_depth_in")
        assert abs(per_foot - r.number("taper_per_foot_in")) < F("0.00001"), r
        if r.text("shank_length_in"):
            assert r.number("plug_depth_in") < r.number("shank_length_in")
            assert r.number("plug_depth_in") < r.number("socket_depth_in")


def test_morse_taper_in_both_units() -> None:
    """ISO 296 states the gauge line in millimetres: the inches to the nearest 0.001 mm."""
    for r in rows("gears_morse_tapers"):
        if r.text("large_mm"):
            assert abs(r.number("large_in") * F("25.4") - r.number("large_mm")) <= F("0.0006")


# two further web tables of standard tapers: ends, length to 0.01, taper per foot to four places
@pytest.mark.parametrize(
    ("number", "large", "small", "length", "taper"),
    [
        ("0", "0.3561", "0.2520", "2.00", "0.6246"),
        ("1", "0.4750", "0.3690", "2.13", "0.5986"),
        ("2", "0.7000", "0.5720", "2.56", "0.5994"),
        ("3", "0.9380", "0.7780", "3.19", "0.6024"),
        ("4", "1.2310", "1.0200", "4.06", "0.6233"),
        ("4 1/2", "1.5000", "1.2660", "4.50", "0.6240"),
        ("5", "1.7480", "1.4750", "5.19", "0.6315"),
        ("6", "2.4940", "2.1160", "7.25", "0.6257"),
        ("7", "3.2700", "2.7500", "10.00", "0.6240"),
    ],
)
def test_morse_tapers_agree_with_a_second_copy(
    number: str, large: str, small: str, length: str, taper: str
) -> None:
    """Trap: a third chart takes 1.7813 for the plug of No. 0, from the wrong lengths."""
    r = row("gears_morse_tapers", f"Morse taper {number}")
    assert (r["large_in"], r["small_in"]) == (F(large), F(small))
    assert abs(r.number("plug_depth_in") - F(length)) <= F("0.005")
    assert abs(r.number("taper_per_foot_in") - F(taper)) <= F("0.00005")


# ISO 296 taper ratios, from memory: 1 in so much
@pytest.mark.parametrize(
    ("number", "ratio"),
    [
        (0, "19.212"),
        (1, "20.047"),
        (2, "20.020"),
        (3, "19.922"),
        (4, "19.254"),
        (5, "19.002"),
        (6, "19.180"),
    ],
)
def test_morse_taper_ratios(number: int, ratio: str) -> None:
    """Twelve inches over the taper per foot."""
    r = row("gears_morse_tapers", f"Morse taper {number}")
    assert abs(12 / r.number("taper_per_foot_in") - F(ratio)) < F("0.001")


# ------------------------------------------------------------------ conical tapers
def seconds(text: str) -> int:
    """Whole seconds of an angle printed in degrees, minutes and seconds."""
    match = re.fullmatch(r"(\d+) (\d+)'(\d+)\"", text)
    assert match is not None, text
    degrees, minutes, rest = (int(part) for part in match.groups())
    return 3600 * degrees + 60 * minutes + rest


def test_cone_angles() -> None:
    """The whole angle is twice the arctangent of half the taper: to six places, and as printed."""
    for r in rows("gears_tapers"):
        angle = math.degrees(2 * math.atan(1 / (2 * float(r.number("one_in_ratio")))))
        if r.text("designation").startswith("1:"):
            assert abs(angle - float(r.number("angle_deg"))) < 6e-7, r
            assert r.text("designation") == "1:" + r.text("one_in_ratio")
            if r.text("angle_printed"):
                slip = 1.01 if r["designation"] == "1:200" else 0.51
                assert abs(3600 * angle - seconds(r.text("angle_printed"))) < slip, r
        else:  # series of angles: here the ratio is what is rounded
            assert abs(angle - float(r.number("angle_deg"))) < 0.1, r


def test_angles_fall_as_ratios_grow() -> None:
    """Blunt cones first."""
    angles = [r.number("angle_deg") for r in rows("gears_tapers")]
    assert angles == sorted(angles, reverse=True)


def test_inch_tapers_have_their_ratio() -> None:
    """So much to the foot is twelve inches over it: 1/4 pins, 3/4 pipe threads, 1/8 keys, 1/2."""
    uses = {
        "1:48": (F(1, 4), "pins"),
        "1:16": (F(3, 4), "pipe"),
        "1:96": (F(1, 8), "keys"),
        "1:24": (F(1, 2), "shanks"),
    }
    for name, (per_foot, word) in uses.items():
        r = row("gears_tapers", name)
        assert r["one_in_ratio"] == 12 / per_foot
        assert word in r.text("use")


def test_metric_and_inch_taper_pins_are_not_the_same() -> None:
    """Trap: 1 in 50 and 1 in 48 differ by 0.042 in a foot of length, 0.0008 in on 1 in."""
    metric, inch = (row("gears_tapers", name).number("one_in_ratio") for name in ("1:50", "1:48"))
    assert 1 / inch - 1 / metric == F(1, 1200)


# ------------------------------------------------------------------ a wheel of a model
WHEEL = """
[model]
title = "One wheel (invented)"
scale = "1:12"
work = "mm"
{wish}
[part.wheel]
material = "brass"
size.teeth = {{ full = "40" }}
size.module = {{ full = "1/2 in" }}
size.pitch_diameter = {{ equals = "wheel.teeth * wheel.module", kind = "external" }}
"""


@pytest.mark.parametrize(
    ("wish", "cutter", "pitch_diameter"),
    [
        ("", "24 DP", F(40, 24) * F("25.4")),
        ('forbid = ["gears_diametral_pitches"]', "module 1", F(40)),
        ('forbid = "inch"', "module 1", F(40)),
    ],
)
def test_a_module_is_a_cutter_and_settles_the_diameter(
    wish: str, cutter: str, pitch_diameter: F, tmp_path: Path
) -> None:
    """ANSI B6.1: teeth / diametral pitch inches; ISO 54: teeth x module. The count is kept."""
    (tmp_path / "model.toml").write_text(WHEEL.format(wish=wish), encoding="utf-8")
    reduction = scaler.reduce(scaler.load(tmp_path))
    module = reduction.line("wheel.module").settled
    assert module is not None and module.row is not None
    assert module.row.designation == cutter
    assert reduction.line("wheel.teeth").chosen == 40
    assert reduction.line("wheel.pitch_diameter").chosen == pitch_diameter
