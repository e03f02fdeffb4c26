"""Figures as the pages print them: the person's own unit first, the other beside it.

Millimetres to 0.01, or 0.001 where the size or its limits need it; inches to 0.001, or 0.0001 where
the limits are closer than 0.05 mm. Rounding is for print only; the exact value stands in the page as
an attribute of its figure.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

from scaler.measures.lengths import format_decimal, nearest_fraction
from scaler.records import Bounds, Kind
from scaler.settling.solve import Value, middle

if TYPE_CHECKING:
    from scaler.cards.as_read import ToMake
    from scaler.settling.reduce import SizeLine

INCH = Fraction(127, 5)
FINE = Fraction(1, 20)
HUNDRED = Fraction(100)


@dataclass(frozen=True, slots=True)
class Figure:
    """One size as printed: figure and unit both ways, limits (largest, smallest) both ways.

    ``fraction`` is the nearest 64th with its error in thou, '' where the size is no length.
    """

    own: str
    own_unit: str
    other: str
    other_unit: str
    own_limits: tuple[str, str] | None
    other_limits: tuple[str, str] | None
    fraction: str


@lru_cache(maxsize=16384)
def mm_text(value: Fraction, places: int) -> str:
    """A length in mm."""
    return format_decimal(value, places)


@lru_cache(maxsize=16384)
def inch_text(value: Fraction, places: int) -> str:
    """A length [mm] in inches."""
    return format_decimal(value / INCH, places)


def _whole(value: Fraction) -> bool:
    return HUNDRED.numerator % value.denominator == 0


def limits_of(line: SizeLine) -> tuple[Fraction, Fraction] | None:
    """The smallest and the largest that will do [mm]; None where a size has no limits."""
    if line.limits is None or line.chosen is None or not line.size.kind.is_length:
        return None
    if line.limits.lower == 0 == line.limits.upper:
        return None
    basic = middle(line.chosen)
    return basic + line.limits.lower, basic + line.limits.upper


def figure(line: SizeLine, own_unit: str) -> Figure:
    """How a size is printed for a workshop that thinks in ``own_unit`` (mm or in)."""
    assert line.chosen is not None
    return _figure(middle(line.chosen), line.size.kind, limits_of(line), own_unit)


def figure_of(line: SizeLine, one: ToMake, own_unit: str) -> Figure:
    """How one figure of a card's row is printed: with where it may lie to suit what was read, else
    with the size's limits about it; what is made has none."""
    if one.value is None:
        return Figure("nothing serves", "", "", "", None, None, "")
    limits = limits_of(line)
    if one.made:
        limits = None
    elif one.window is not None and None not in one.window:
        low, high = one.window
        limits = None if low is None or high is None else (low, high)
    elif limits is not None and line.chosen is not None:
        off = one.value - middle(line.chosen)
        limits = limits[0] + off, limits[1] + off
    return _figure(one.value, line.size.kind, limits, own_unit)


@lru_cache(maxsize=4096)
def _figure(
    value: Fraction, kind: Kind, limits: tuple[Fraction, Fraction] | None, own_unit: str
) -> Figure:
    """Cards and report print the same sizes: each is worked out once."""
    if not kind.is_length:
        text = format_decimal(value, 3).rstrip("0").rstrip(".")
        unit = "°" if kind is Kind.ANGLE else ("teeth" if kind is Kind.TEETH else "")
        return Figure(text, unit, "", "", None, None, "")
    fine = limits is not None and limits[1] - limits[0] < FINE
    exact = _whole(value) and (limits is None or (_whole(limits[0]) and _whole(limits[1])))
    mm_places, inch_places = (2 if exact else 3), (4 if fine else 3)
    mm, inch = mm_text(value, mm_places), inch_text(value, inch_places)
    mm_limits = inch_limits = None
    if limits is not None:
        low, high = limits
        mm_limits = mm_text(high, mm_places), mm_text(low, mm_places)
        inch_limits = inch_text(high, inch_places), inch_text(low, inch_places)
    near = _fraction(value)
    if own_unit == "in":
        return Figure(inch, "in", mm, "mm", inch_limits, mm_limits, near)
    return Figure(mm, "mm", inch, "in", mm_limits, inch_limits, near)


@lru_cache(maxsize=16384)
def _fraction(value: Fraction) -> str:
    """The size as the nearest 64th of an inch and thou: ``5/8 in``, ``39/64 − 1.2 thou``."""
    if value <= 0:
        return ""
    near = nearest_fraction(value, 64)
    error = near.error_mm / INCH * 1000
    if near.inch == 0:
        return ""
    off = format_decimal(abs(error), 1)
    if off == "0.0":
        return f"{near.text} in"
    return f"{near.text} {'−' if error > 0 else '+'} {off} thou"


def length_pair(value: Value, own_unit: str, places: int = 2) -> str:
    """A length in the person's unit with the other in brackets: ``16.00 mm (0.630 in)``."""
    plain = middle(value)
    mm, inch = f"{mm_text(plain, places)} mm", f"{inch_text(plain, places + 1)} in"
    return f"{inch} ({mm})" if own_unit == "in" else f"{mm} ({inch})"


def outline_pair(sides: tuple[Fraction, Fraction], own_unit: str) -> str:
    """Two sides in the person's unit, the other in brackets: ``80.00 × 40.00 mm (…)``."""
    mm = " × ".join(mm_text(side, 2) for side in sides) + " mm"
    inch = " × ".join(inch_text(side, 3) for side in sides) + " in"
    return f"{inch} ({mm})" if own_unit == "in" else f"{mm} ({inch})"


def window(bounds: Bounds, own_unit: str) -> str:
    """A clearance wanted, in words: interference is named and printed as a positive figure.

    >>> window((Fraction(-1, 50), Fraction(-1, 100)), "mm")
    'interference 0.010 to 0.020 mm'
    """
    low, high = bounds
    if low is None and high is None:
        return "not known"

    def text(value: Fraction) -> str:
        return inch_text(value, 4) if own_unit == "in" else mm_text(value, 3)

    unit = own_unit
    if low is not None and high is not None:
        if low >= 0:
            return f"clearance {text(low)} to {text(high)} {unit}"
        if high <= 0:
            return f"interference {text(-high)} to {text(-low)} {unit}"
        return f"from {text(-low)} interference to {text(high)} clearance {unit}"
    if low is not None:
        return (
            f"clearance at least {text(low)} {unit}"
            if low >= 0
            else (f"interference at most {text(-low)} {unit}")
        )
    assert high is not None
    return (
        f"clearance at most {text(high)} {unit}"
        if high >= 0
        else (f"interference at least {text(-high)} {unit}")
    )


def span(bounds: Bounds, own_unit: str, dimension: str = "length") -> str:
    """The bounds of a condition: ``-0.03 to 0.03 mm``, ``at least 3.00 mm``, ``at least 1.5``."""
    low, high = bounds

    def text(value: Fraction) -> str:
        if dimension != "length":
            return format_decimal(value, 3).rstrip("0").rstrip(".").replace("-", "−")
        shown = inch_text(value, 4) if own_unit == "in" else mm_text(value, 3)
        return shown.replace("-", "−")

    unit = {"length": f" {own_unit}", "angle": "°"}.get(dimension, "")
    if low is not None and high is not None:
        return f"{text(low)}{unit}" if low == high else f"{text(low)} to {text(high)}{unit}"
    if low is not None:
        return f"at least {text(low)}{unit}"
    if high is not None:
        return f"at most {text(high)}{unit}"
    return "not known"


@lru_cache(maxsize=4096)
def size_words(text: str) -> str:
    """Names of sizes in an expression, in words.

    >>> size_words("frame.horn_slot - 2*cheek.thickness")
    'frame horn slot − 2 × cheek thickness'
    """
    words = re.sub(r"(?<=[a-z0-9_])\.(?=[a-z])", " ", text).replace("_", " ").replace("@", " ")
    words = words.replace(" - ", " − ").replace("*", " × ").replace("/", " ÷ ")
    return " ".join(words.split())
