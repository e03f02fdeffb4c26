"""Limits and fits of ISO 286: deviations of a class, tolerance of a grade, fits and advice.

``deviations("H7", 25)``, ``tolerance("IT7", 25)``, ``fit("H7/g6", 25)``. Classes and their figures
are looked up in :mod:`scaler.trade.iso286_deviations`; this module makes fits of them. Clearance is hole
less shaft, in micrometres; a negative clearance is interference. All figures are exact.

References: ISO 286-1:2010 and ISO 286-2:2010, read in copies (see ``sources.csv``).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from typing import Literal, NamedTuple

from scaler import catalogue
from scaler.trade.iso286_deviations import Deviations, deviations, deviations_at, tolerance
from scaler.trade.iso286_tables import (
    GRADES,
    Iso286Error,
    Side,
    classes,
    exists,
    exists_at,
    split_class,
    step_of,
)

__all__ = [
    "GRADES",
    "Deviations",
    "FitDesignation",
    "FitKind",
    "FitLimits",
    "Iso286Error",
    "PreferredFit",
    "Side",
    "classes",
    "classes_within",
    "deviations",
    "exists",
    "fit",
    "nearest_fits",
    "parse_fit_designation",
    "split_class",
    "tolerance",
]

FitKind = Literal["clearance", "transition", "interference"]
_CLASS = r"[A-Za-z]{1,2}\s?\d{1,2}"
_DESIGNATION = re.compile(rf"(?P<size>.*?)\s*(?P<first>{_CLASS})\s*[/\-–—−]\s*(?P<second>{_CLASS})")
_ONE_CLASS = re.compile(rf".*?({_CLASS})\s*[/\-–—−]?\s*")
_SIZE = re.compile(
    r"(?:(?:[øØ⌀∅]|dia\.?|diameter)\s*)?"
    r"(?:(?P<whole>\d+)[\s-]+)?(?P<number>\d+\s*/\s*\d+|\d*\.\d+|\d+\.?)\s*"
    r"(?P<unit>mm|in|ins|in\.|inch|inches|[\"″”]|''|)",
    re.IGNORECASE,
)
_INCH_MM = Fraction(127, 5)
_LONGEST_TEXT = 80
_VULGAR = {
    "¼": " 1/4",
    "½": " 1/2",
    "¾": " 3/4",
    "⅛": " 1/8",
    "⅜": " 3/8",
    "⅝": " 5/8",
    "⅞": " 7/8",
}


@dataclass(frozen=True, slots=True)
class FitLimits:
    """A hole and a shaft of one basic size. Clearance = hole − shaft [µm]; negative: interference.

    ``kind`` is ``clearance`` where the least clearance is not below zero, ``interference`` where
    the greatest is not above zero, else ``transition`` (ISO 286-1:2010, 3.3.4 to 3.3.6, from
    memory).
    """

    hole: Deviations
    shaft: Deviations
    clearance_min_um: Fraction
    clearance_max_um: Fraction
    kind: FitKind

    @property
    def designation(self) -> str:
        """The fit as it is written, hole first: ``H7/g6``."""
        return f"{self.hole.class_}/{self.shaft.class_}"

    @property
    def width_um(self) -> Fraction:
        """Greatest less least clearance [µm]: the sum of the two tolerances."""
        return self.clearance_max_um - self.clearance_min_um


class FitDesignation(NamedTuple):
    """A fit as written: basic size [mm, exact] or None, hole class, shaft class."""

    basic_size_mm: Fraction | None
    hole: str
    shaft: str


@dataclass(frozen=True, slots=True)
class PreferredFit:
    """A fit that ISO 286-1 recommends, at one basic size.

    ``basis`` is ``hole`` (an H hole) or ``shaft`` (an h shaft); ``first_choice``: the standard's
    first choice for economy; ``excess_um`` [µm] is by how much its limits overstep the window asked
    for, 0 inside it.
    """

    limits: FitLimits
    basis: Side
    first_choice: bool
    excess_um: Fraction


def fit(text: str, basic_size_mm: Fraction | int | None = None) -> FitLimits:
    """Limits of a fit.

    Parameters: text : such as ``H7/g6`` or ``25 H7/g6``. basic_size_mm : exact [mm], not needed
    where the text gives it.
    Returns: FitLimits, exact [µm].
    Raises: Iso286Error where the text cannot be read, gives two holes or two shafts, no basic size
    is known or two differ, or a class does not exist at the size.

    >>> found = fit("25 H7/g6")
    >>> str(found.clearance_min_um), str(found.clearance_max_um), found.kind
    ('7', '41', 'clearance')
    """
    designation = parse_fit_designation(text)
    written = designation.basic_size_mm
    size = written if basic_size_mm is None else basic_size_mm
    if size is None:
        raise Iso286Error(
            text,
            f'"{text}" gives no basic size',
            "a basic size in mm",
            f'write the size before the classes: "25 {designation.hole}/{designation.shaft}"',
        )
    if written is not None and written != size:
        raise Iso286Error(
            text,
            f'"{text}" is written for {float(written):g} mm, but {float(size):g} mm was asked for',
            f"a basic size of {float(written):g} mm",
            "give one basic size only",
        )
    return _fit(designation.hole, designation.shaft, step_of(size))


@cache
def _fit(hole_class: str, shaft_class: str, step: int) -> FitLimits:
    hole, shaft = deviations_at(hole_class, step), deviations_at(shaft_class, step)
    least, greatest = hole.lower_um - shaft.upper_um, hole.upper_um - shaft.lower_um
    kind: FitKind = "transition"
    if least >= 0:
        kind = "clearance"
    elif greatest <= 0:
        kind = "interference"
    return FitLimits(hole, shaft, least, greatest, kind)


@lru_cache(maxsize=2048)
def parse_fit_designation(text: str) -> FitDesignation:
    """Basic size [mm] or None, hole class and shaft class of a fit as written.

    Reads ``25 H7/g6``, ``25H7-g6``, ``ø25 H7/g6``, ``1 in H7/g6``, ``1 1/2" H7/g6``, ``H7/g6``; a
    size without a unit is in mm, as in the standard. Whether the classes exist at the size is not
    asked here. Raises Iso286Error, saying what was read and what to write instead.

    >>> size, hole, shaft = parse_fit_designation("1 in H7/g6")
    >>> str(size), hole, shaft
    ('127/5', 'H7', 'g6')
    """
    match = _DESIGNATION.fullmatch(text.strip()) if len(text) <= _LONGEST_TEXT else None
    if match is None:
        raise _unreadable(text[:_LONGEST_TEXT])
    first, second = (_plain_class(match.group(name)) for name in ("first", "second"))
    one, other = (split_class(class_)[2] for class_ in (first, second))
    if one == other:
        side, letters = (
            ("holes", "capital letters") if one == "hole" else ("shafts", "small letters")
        )
        raise Iso286Error(
            text,
            f'"{text}": {first} and {second} are both {side} ({letters})',
            "one hole (capital letter) and one shaft (small letter)",
            f'write "{first.upper()}/{second.lower()}" if {first} is the hole',
        )
    hole, shaft = (first, second) if one == "hole" else (second, first)
    size = match.group("size").strip()
    return FitDesignation(_size_mm(size, text) if size else None, hole, shaft)


def _plain_class(text: str) -> str:
    return "".join(text.split())


def _unreadable(text: str) -> Iso286Error:
    one = _ONE_CLASS.fullmatch(text.strip())
    if one is not None:
        found = _plain_class(one.group(1))
        _, _, side = split_class(found)
        other, example = ("shaft", f"{found}/g6") if side == "hole" else ("hole", f"H7/{found}")
        return Iso286Error(
            text,
            f'"{text}" gives the {side} class {found} but no {other} class',
            "a hole class and a shaft class",
            f'write both: "{example}"',
        )
    return Iso286Error(
        text,
        f'"{text}" is no fit that can be read',
        "a hole class, a stroke and a shaft class, with or without a basic size before them",
        'write "25 H7/g6" or "H7/g6"',
    )


def _size_mm(size: str, text: str) -> Fraction:
    spelt = "".join(_VULGAR.get(letter, letter) for letter in size).strip()
    match = _SIZE.fullmatch(spelt)
    problem = "is no basic size that can be read"
    if match is not None:
        whole, number = match.group("whole"), "".join(match.group("number").split())
        if "/" in number and int(number.split("/")[1]) == 0:
            problem = "divides by nought"
        elif whole is None or "/" in number:
            value = Fraction(number.rstrip(".")) + Fraction(whole or 0)
            return value if match.group("unit").lower() in ("", "mm") else value * _INCH_MM
    raise Iso286Error(
        text,
        f'"{text}": "{size}" {problem}',
        "a number, then mm or in (no unit: mm)",
        'write the size as "25", "25.4 mm" or "1 1/2 in", with a point as the decimal sign',
    )


@cache
def _preferred() -> tuple[catalogue.Row, ...]:
    """The preferred fits, each pair once, hole basis first."""
    seen: dict[tuple[str, str], catalogue.Row] = {}
    for row in catalogue.table("iso286_preferred_fits").rows:
        seen.setdefault((row.text("hole"), row.text("shaft")), row)
    return tuple(seen.values())


def _candidates(
    min_um: Fraction | int | None, max_um: Fraction | int | None, basic_size_mm: Fraction | int
) -> Iterator[PreferredFit]:
    if min_um is not None and max_um is not None and min_um > max_um:
        raise Iso286Error(
            f"{min_um} to {max_um} µm",
            f"the least clearance wanted ({float(min_um):g} µm) is more than the greatest "
            f"({float(max_um):g} µm)",
            "a least clearance not above the greatest; interference is negative",
            "change the two round",
        )
    step = step_of(basic_size_mm)
    for row in _preferred():
        hole, shaft = row.text("hole"), row.text("shaft")
        if not (exists_at(hole, step) and exists_at(shaft, step)):
            continue
        limits = _fit(hole, shaft, step)
        excess = Fraction(0)
        if min_um is not None:
            excess += max(Fraction(0), min_um - limits.clearance_min_um)
        if max_um is not None:
            excess += max(Fraction(0), limits.clearance_max_um - max_um)
        basis: Side = "hole" if row.text("basis") == "hole" else "shaft"
        yield PreferredFit(limits, basis, row.text("choice") == "first", excess)


def classes_within(
    min_um: Fraction | int | None, max_um: Fraction | int | None, basic_size_mm: Fraction | int
) -> tuple[PreferredFit, ...]:
    """Preferred fits of ISO 286-1 whose clearance lies inside a window at a basic size.

    Parameters: min_um, max_um : least and greatest clearance wanted [µm], negative for
    interference, None where that end is open. basic_size_mm : exact [mm].
    Returns: the fits, first choices before the rest, hole basis before shaft basis, then the widest
    tolerances (the easiest to make) first; empty where none lies inside.
    Raises: Iso286Error for a window turned round or a size beyond the tables.

    >>> [found.limits.designation for found in classes_within(5, 45, 25)][:2]
    ['H7/g6', 'G7/h6']
    """
    inside = [one for one in _candidates(min_um, max_um, basic_size_mm) if not one.excess_um]
    inside.sort(key=lambda one: (not one.first_choice, one.basis, -one.limits.width_um))
    return tuple(inside)


def nearest_fits(
    min_um: Fraction | int | None,
    max_um: Fraction | int | None,
    basic_size_mm: Fraction | int,
    count: int = 3,
) -> tuple[PreferredFit, ...]:
    """The preferred fits that overstep a window least [µm], best first; same terms and errors as
    :func:`classes_within`. ``excess_um`` tells by how much each oversteps it.
    """
    found = sorted(
        _candidates(min_um, max_um, basic_size_mm),
        key=lambda one: (one.excess_um, not one.first_choice, one.basis, -one.limits.width_um),
    )
    return tuple(found[:count])
