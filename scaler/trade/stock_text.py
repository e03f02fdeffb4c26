"""Reading a piece of stock as people ask for it: ``1/2 in square brass``, ``flat 10 x 3``.

Reads text only and knows no table: it says which section the words name, which sizes, and what
narrows the choice. Every character must be accounted for; whatever cannot be read is a reason,
never dropped. A bare fraction is inches; another bare number takes the unit of those beside it,
else it is inches beside a fraction and millimetres alone.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from scaler.measures.lengths import LengthError, parse_length
from scaler.problems import suggest

FRACTIONS = "½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅐⅛⅜⅝⅞⅑⅒"
QUOTES = "\"″”“'′’"
SPLIT_MARKS = "/⁄" + FRACTIONS
SECTIONS: dict[str, tuple[str, ...]] = {
    "round": ("diameter",),
    "square": ("across_flats",),
    "hexagon": ("across_flats",),
    "flat": ("width", "thickness"),
    "sheet": ("thickness",),
    "strip": ("width", "thickness"),
    "angle": ("leg_a", "leg_b", "thickness"),
    "tube": ("outside", "wall"),
    "wire": ("diameter",),
}
"""The dimensions of each section, greatest first, as the columns of its tables name them."""

_FORM_WORDS = {
    word: form
    for form, words in {
        "round": "round rounds",
        "square": "square squares sq",
        "hexagon": "hexagon hexagons hex hexagonal",
        "flat": "flat flats",
        "sheet": "sheet sheets plate plates",
        "strip": "strip strips",
        "angle": "angle angles",
        "tube": "tube tubes tubing pipe pipes",
        "wire": "wire wires",
    }.items()
    for word in words.split()
}
_FILLERS = {
    "bar",
    "bars",
    "section",
    "stock",
    "of",
    "the",
    "a",
    "in",
    "dia",
    "diam",
    "diameter",
    "across",
    "flats",
    "af",
    "thick",
    "thickness",
    "wall",
    "od",
    "outside",
    "outer",
    "by",
    "x",
    "size",
    "gauge",
    "finish",
    "and",
    "metal",
    "no",
}
_MARKS = {
    "bore": "bore",
    "inside": "bore",
    "id": "bore",
    "inner": "bore",
    "wide": "width",
    "width": "width",
    "metric": "metric",
    "imperial": "inch",
}
_STEELS = (
    "mild steel",
    "silver steel",
    "key steel",
    "tool steel",
    "spring steel",
    "stainless steel",
)
_MATERIALS: dict[str, tuple[str, ...]] = {
    name: (name,)
    for name in (
        *_STEELS,
        "bronze",
        "gunmetal",
        "brass",
        "copper",
        "nickel silver",
        "aluminium",
        "cast iron",
    )
} | {
    "bright mild steel": ("mild steel",),
    "bms": ("mild steel",),
    "steel": _STEELS,
    "stainless": ("stainless steel",),
    "gauge plate": ("tool steel",),
    "ground flat stock": ("tool steel",),
    "piano wire": ("spring steel",),
    "music wire": ("spring steel",),
    "phosphor bronze": ("bronze",),
    "gun metal": ("gunmetal",),
    "german silver": ("nickel silver",),
    "aluminum": ("aluminium",),
}
_IMPLIED = {
    "silver steel": "round",
    "key steel": "square",
    "gauge plate": "flat",
    "rod": "round",
    "ground flat stock": "flat",
    "ground bar": "round",
    "piano wire": "wire",
    "music wire": "wire",
}
_FINISHES: dict[str, tuple[str, ...]] = {
    "bright": ("drawn", "turned", "ground"),
    "drawn": ("drawn",),
    "ground": ("ground",),
    "turned": ("turned",),
    "black": ("black", "hot rolled"),
    "cast": ("cast",),
    "extruded": ("extruded",),
    "hot rolled": ("hot rolled",),
    "cold rolled": ("cold rolled",),
    "rolled": ("rolled",),
    "precision": ("ground",),
    "ground bar": ("ground",),
    "rod": (),
}
_PHRASES = re.compile(
    r"\b(?:" + "|".join(sorted((*_MATERIALS, *_FINISHES), key=len, reverse=True)) + r")\b"
)
_STRAY = re.compile(r"(?:^|\s)(?:\.\s+|,)\d+|(?<!\d)-\d+|\d-\d+(?![\d/⁄])")
_CROSS = re.compile(rf"(?<=[\d{FRACTIONS}{QUOTES}mnhg])\s*[x×*]\s*(?=[\d.{FRACTIONS}])")
_NUMBER = (
    rf"(?:\d+(?:[ -]\d+[/⁄]\d+|[/⁄]\d+|[.,]\d+| ?[{FRACTIONS}])?|\.\d+|[{FRACTIONS}])"
    rf"(?:\s*(?:(?:mm|cm|m|ins?|inch|inches|thou|ft)(?![a-z])|[{QUOTES}]{{1,2}}))?"
)
_GAUGE_WORD = r"(?:s\.?\s?w\.?\s?g|a\.?w\.?g|b\.?w\.?g|b\.?g|b\.?\s*(?:&|and)\s*s)\.?(?![a-z])"
_TOKEN = re.compile(
    rf"(?P<gauge>(?:(?<![a-z])no\.?\s?|#\s?)?(?:\d+/0|\d+)\s*{_GAUGE_WORD})|(?P<size>{_NUMBER})|(?P<word>[^\W\d_]+)|(?P<rest>\S)"
)


class Unread(Exception):
    """A text that names no stock; the one argument is the reason in words."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What a text asks for: section, sizes [mm], gauges as written, and what narrows the choice.

    `marks` holds ``bore`` where the text speaks of the inside, ``width`` where of the width;
    `finishes` one group of words for each finish named, any word of a group will do; `system` is
    metric, inch or ''.
    """

    form: str
    sizes: tuple[Fraction, ...]
    gauges: tuple[str, ...]
    materials: tuple[str, ...]
    finishes: tuple[tuple[str, ...], ...]
    system: str
    marks: frozenset[str]


def read_stock(plain: str) -> Asked:
    """The stock that a text names; the text in small letters, single blanks, not too long.

    Raises
    ------
    Unread
        For a word that is not known, a size that cannot be read, no section or more than one,
        more than one material.

    Examples
    --------
    >>> asked = read_stock("1/2 in square brass")
    >>> asked.form, asked.sizes, asked.materials
    ('square', (Fraction(127, 10),), ('brass',))
    """
    plain = _CROSS.sub(" x ", plain.replace("a/f", "af").replace("o/d", "od"))
    phrases = _PHRASES.findall(plain)
    materials = {_MATERIALS[phrase] for phrase in phrases if phrase in _MATERIALS}
    if len(materials) > 1:
        raise Unread("two materials in one text")
    tokens: list[str] = []
    gauges: list[str] = []
    forms: set[str] = set()
    marks: set[str] = set()
    rest = _PHRASES.sub(" a", plain)  # "a" says nothing; what stood beside the phrase stays beside
    stray = _STRAY.search(rest)
    if stray:
        raise Unread(f"read {stray[0].strip()!r}: is the mark before the figure part of it?")
    for match in _TOKEN.finditer(rest):
        word = match[0]
        if match["gauge"]:
            gauges.append(word)
        elif match["size"]:
            tokens.append(word)
        elif word in _FORM_WORDS:
            forms.add(_FORM_WORDS[word])
        elif word in _MARKS:
            marks.add(_MARKS[word])
        elif word not in _FILLERS and word not in ",;:.()-×*":
            meant = suggest(word, (*_FORM_WORDS, *_MARKS), "")
            raise Unread(
                f"read {word!r}, which is no section, material or finish known here"
                + (f"; {meant}" if meant else "")
            )
    if len(forms) > 1:
        forms.discard("round")
    sizes = _sizes(tokens)
    implied = [_IMPLIED[phrase] for phrase in phrases if phrase in _IMPLIED]
    if not forms and implied:
        oblong = implied[0] == "square" and len(set(sizes)) == 2
        forms = {"flat" if oblong else implied[0]}
    if len(forms) != 1:
        raise Unread(f"one section is needed of {', '.join(SECTIONS)}")
    systems = sorted(marks & {"metric", "inch"})
    return Asked(
        forms.pop(),
        sizes,
        tuple(gauges),
        materials.pop() if materials else (),
        tuple(_FINISHES[phrase] for phrase in phrases if _FINISHES.get(phrase)),
        systems[0] if len(systems) == 1 else "",
        frozenset(marks),
    )


def _sizes(tokens: list[str]) -> tuple[Fraction, ...]:
    split = [any(ch in token for ch in SPLIT_MARKS) for token in tokens]
    units = [
        next((unit for unit in ("mm", "cm", "thou", "ft", "in", "m") if unit in token), "")
        or ("in" if any(ch in QUOTES for ch in token) else "")
        for token in tokens
    ]
    sizes = []
    for at, token in enumerate(tokens):
        beside = [unit for unit in (*units[at:], *reversed(units[:at])) if unit]
        unit = "in" if split[at] or (not beside and any(split)) else (beside or ["mm"])[0]
        try:
            sizes.append(parse_length(token, unit).mm)
        except LengthError as error:
            raise Unread(str(error)) from None
    return tuple(sizes)


def dimensions(asked: Asked, gauges_mm: tuple[Fraction, ...]) -> tuple[tuple[str, Fraction], ...]:
    """Names and sizes [mm] of the dimensions asked for, greatest first, gauges among them.

    Raises
    ------
    Unread
        Where there are more or fewer sizes than the section has.
    """
    names = SECTIONS[asked.form]
    sizes = sorted((*asked.sizes, *gauges_mm), reverse=True)
    if "bore" in asked.marks and asked.form == "tube":
        names = ("bore", "wall")
    if asked.form in ("flat", "strip") and len(sizes) == 1:
        names = ("width",) if "width" in asked.marks else ("thickness",)
    if asked.form == "angle" and len(sizes) == 2:
        sizes = [sizes[0], *sizes]
    if asked.form == "square" and len(sizes) == 2 and sizes[0] == sizes[1]:
        sizes = sizes[:1]
    if not (3 if asked.form == "angle" else 1) <= len(sizes) <= len(names):
        wanted = ", ".join(name.replace("_", " ") for name in names)
        raise Unread(f"{len(sizes)} sizes read; {asked.form} has {wanted}")
    return tuple(zip(names, sizes, strict=False))
