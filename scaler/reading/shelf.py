"""How much of a row the shop has: lengths of bar, pieces of sheet, as a shop list's ``quantity``.

``2 off 330 mm; 1 m`` is two lengths and one; ``200 x 300 mm`` is a piece of sheet; ``1`` or
``plenty`` says nothing of lengths. What looks like a length and cannot be read is told to the
builder, for a bar left out of the plan without a word is bought twice.
"""

from __future__ import annotations

import re
from fractions import Fraction

from scaler.measures.lengths import LengthError, parse_length

Lengths = tuple[tuple[Fraction, int], ...]
Sheets = tuple[tuple[Fraction, Fraction, int], ...]

STOCK = frozenset(
    ("ground bar", "round bar", "square bar", "hexagon bar", "key steel", "flat thickness",
     "flat width", "plate", "strip", "angle", "tube", "wire")
)  # fmt: skip
"""Families of the shop list that are sold by the length or the sheet."""

_COUNTED = re.compile(r"^\s*(\d{1,4})\s*(?:off|of|x|×)\s+(.+)$", re.IGNORECASE)
_SHEET = re.compile(r"^\s*(?:(\d{1,4})\s*(?:off|of)\s+)?(\S.*?)\s*[x×]\s*(\S.*)$", re.IGNORECASE)
_SPLIT = re.compile(r"[;,+]| and ")


def shelf_lengths(text: str) -> Lengths:
    """Lengths on the shelf [mm] and how many; nothing where none is told.

    >>> shelf_lengths("2 off 330 mm; 1 m")
    ((Fraction(330, 1), 2), (Fraction(1000, 1), 1))
    """
    found = []
    for item in _SPLIT.split(text):
        match = _COUNTED.match(item)
        count, length = (int(match[1]), match[2]) if match else (1, item)
        mm = _mm(length)
        if mm is not None and count:
            found.append((mm, count))
    return tuple(found)


def shelf_sheets(text: str) -> Sheets:
    """Pieces of sheet on the shelf: the longer side, the shorter [mm], and how many.

    A unit after the second side goes for both.

    >>> shelf_sheets("2 off 300 x 200 mm")
    ((Fraction(300, 1), Fraction(200, 1), 2),)
    """
    found = []
    for item in _SPLIT.split(text):
        match = _SHEET.match(item)
        if match is None:
            continue
        unit = re.sub(r"^[\d\s./]*", "", match[3])
        one, other = _mm(match[2]) or _mm(f"{match[2]} {unit}"), _mm(match[3])
        if one is not None and other is not None:
            found.append((max(one, other), min(one, other), int(match[1] or 1)))
    return tuple(found)


def unread(text: str, *, sheet: bool = False) -> str:
    """The first piece of a quantity that looks like a length and is none, '' where all is well.

    With ``sheet`` two sides are expected.

    >>> unread("2 off 330 mn"), unread("1"), unread("plenty")
    ('2 off 330 mn', '', '')
    """
    for item in _SPLIT.split(text):
        if re.fullmatch(r"\s*\d*\s*", item) or not any(c.isdigit() for c in item):
            continue
        if not (shelf_sheets(item) if sheet else shelf_lengths(item)):
            return item.strip()
    return ""


def _mm(text: str) -> Fraction | None:
    try:
        mm = parse_length(text.strip()).mm
    except LengthError:
        return None
    return mm if mm > 0 else None
