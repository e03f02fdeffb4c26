"""Lengths in sentences, in the unit that the workshop thinks in: mm, in, or both.

Texts are made in ``Model.units``: the unit of the workshop, or the one asked for. What is written
into a model file, what a table calls a tool by, and JSON figures are none of this.
"""

from __future__ import annotations

from fractions import Fraction

from scaler.measures.lengths import format_inch, format_mm

Bounds = tuple[Fraction | None, Fraction | None]
INCH = Fraction(127, 5)


def said(value: Fraction, units: str = "mm", places: int = 3) -> str:
    """A length with its unit; inches to a tenth of a thou where millimetres go to 0.001.

    >>> said(Fraction(127, 20)), said(Fraction(127, 20), "in"), said(Fraction(127, 20), "both", 2)
    ('6.350 mm', '0.2500 in', '6.35 mm (0.250 in)')
    """
    mm, inch = f"{format_mm(value, places)} mm", f"{format_inch(value, _inch_places(places))} in"
    if units == "both":
        return f"{mm} ({inch})"
    return inch if units == "in" else mm


def said_short(value: Fraction, units: str = "mm", places: int = 4) -> str:
    """The same with no more places than it has.

    >>> said_short(Fraction("28.96")), said_short(Fraction(127, 10), "in")
    ('28.96 mm', '0.5 in')
    """
    mm, inch = f"{_short(value, places)} mm", f"{_short(value / INCH, places)} in"
    if units == "both":
        return f"{mm} ({inch})"
    return inch if units == "in" else mm


def window_said(bounds: Bounds, units: str = "mm", places: int = 3) -> str:
    """A window of lengths with its unit.

    >>> window_said((Fraction("0.02"), Fraction("0.035")), "in")
    '0.0008 to 0.0014 in'
    >>> window_said((None, Fraction("1.6")), "both")
    '<= 1.600 mm (<= 0.0630 in)'
    """
    mm = f"{plain_window(bounds, places)} mm"
    scaled = (
        None if bounds[0] is None else bounds[0] / INCH,
        None if bounds[1] is None else bounds[1] / INCH,
    )
    inch = f"{plain_window(scaled, _inch_places(places))} in"
    if units == "both":
        return f"{mm} ({inch})"
    return inch if units == "in" else mm


def plain_window(bounds: Bounds, places: int = 3) -> str:
    """A window of plain figures, without a unit."""
    lower, upper = (None if end is None else format_mm(end, places) for end in bounds)
    if lower is None or upper is None:
        return "-" if lower == upper else (f"<= {upper}" if lower is None else f">= {lower}")
    return lower if bounds[0] == bounds[1] else f"{lower} to {upper}"


def _short(value: Fraction, places: int) -> str:
    text = format_mm(value, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _inch_places(places: int) -> int:
    return 3 if places <= 2 else 4
