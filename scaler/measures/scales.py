"""Scales: a model length over the full-size length, kept exact, however it was stated.

A scale may be written as a ratio (``1 : 12``), as so much to the foot (``1 1/16 in : 1 ft``,
``7 mm/ft``), by two track gauges (``5 in on 4 ft 8 1/2 in gauge``) or by a name of the trade
(``16 mm scale``). The ratio, the handy so-much-to-the-foot near it and the error the track gauge
would then have are three facts; all are kept. Nothing is guessed: a name that stands for several
scales is refused with the choice.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache

from scaler import catalogue
from scaler.measures.lengths import (
    LengthError,
    format_decimal,
    format_feet_inches,
    nearest_fraction,
    parse_length,
)
from scaler.measures.number_text import mixed, quoted, scan_number

FOOT_MM = Fraction(3048, 10)
INCH_MM = Fraction(254, 10)
LARGEST = Fraction(10)
SMALLEST = Fraction(1, 10_000)
LONGEST_TEXT = 120
HANDY_REACH = Fraction(3, 100)
KNOWN_FORMS = '"1 : 12", "1 1/2 in : 1 ft", "5 in on 4 ft 8 1/2 in gauge" or the name of a scale'


class ScaleError(ValueError):
    """A scale that cannot be read, with the place in the text and the cure.

    Attributes
    ----------
    text : str, what was read
    start, end : int, the part of the text that is at fault (end is one past it)
    problem : str, what is wrong
    expected : str, what is known
    advice : str, what to write instead
    """

    def __init__(
        self,
        text: str,
        start: int,
        end: int,
        problem: str,
        expected: str = KNOWN_FORMS,
        advice: str = "",
    ) -> None:
        super().__init__(text, start, end, problem, expected, advice)
        self.text, self.start, self.end = text, start, end
        self.problem, self.expected, self.advice = problem, expected, advice

    def __str__(self) -> str:
        return "; ".join(part for part in (self.problem, self.expected, self.advice) if part)


@dataclass(frozen=True, slots=True)
class HandyScale:
    """A so-much-to-the-foot near a scale, and what it would do to the track gauge.

    Attributes
    ----------
    text : str, ``1 1/16 in : 1 ft``
    ratio : Fraction, model over full size
    departure : Fraction, this ratio over the exact one, less 1
    gauge_mm : Fraction or None, the track gauge it would give [mm]; None where no gauge was stated
    gauge_error_mm : Fraction or None, that gauge less the model's own [mm]
    """

    text: str
    ratio: Fraction
    departure: Fraction
    gauge_mm: Fraction | None
    gauge_error_mm: Fraction | None


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale as an exact ratio, with how it was stated.

    Attributes
    ----------
    ratio : Fraction, model length over full-size length
    text : str, as it was written
    how : str, ``ratio``, ``so much to the foot``, ``two gauges`` or ``named``
    read_as : str, the same in normal form; a rounded figure is marked ``nearly``
    note : str, anything the reader should know; often empty
    full_gauge_mm, model_gauge_mm : Fraction or None, both gauges where the scale came from them
    """

    ratio: Fraction
    text: str
    how: str
    read_as: str
    note: str = ""
    full_gauge_mm: Fraction | None = None
    model_gauge_mm: Fraction | None = None

    @property
    def denominator(self) -> Fraction:
        """Full size over model: 12 for 1 : 12."""
        return 1 / self.ratio

    @property
    def per_foot_mm(self) -> Fraction:
        """Model millimetres to a full-size foot, exact [mm]."""
        return self.ratio * FOOT_MM

    @property
    def per_foot_in(self) -> str:
        """Model inches to a full-size foot as text, in 64ths where they are exact.

        >>> parse_scale("1:16").per_foot_in, parse_scale("1:87").per_foot_in
        ('3/4 in', '0.138 in nearly')
        """
        inches = self.ratio * 12
        if (inches * 64).denominator == 1:
            return f"{mixed(inches)} in"
        return _nearly(inches, " in")

    def handy(self) -> HandyScale:
        """The nearest so-much-to-the-foot that the trade uses, and the gauge it would give.

        Scales of the catalogue stated to the foot come first; where none lies within 3 % it is the
        nearest 1/16 in. to the foot (1/64 in. below half an inch).

        >>> parse_scale("5 in on 4 ft 8 1/2 in gauge").handy().text
        '1 1/16 in : 1 ft'
        """
        text, ratio = min(_to_the_foot(), key=lambda item: (abs(item[1] / self.ratio - 1), item[0]))
        if abs(ratio / self.ratio - 1) > HANDY_REACH:
            inches = self.ratio * 12
            parts = 16 if inches >= Fraction(1, 2) else 64
            near = nearest_fraction(inches * INCH_MM, parts).inch or Fraction(1, 64)
            text, ratio = f"{mixed(near)} in : 1 ft", near / 12
        gauge = None if self.full_gauge_mm is None else self.full_gauge_mm * ratio
        own = self.model_gauge_mm
        error = None if gauge is None or own is None else gauge - own
        return HandyScale(text, ratio, ratio / self.ratio - 1, gauge, error)


def rescale(earlier: Scale, ours: Scale) -> Fraction:
    """Factor from the sizes of an earlier model's drawing to ours; it may exceed 1.

    >>> rescale(parse_scale("3/4 in : 1 ft"), parse_scale("1 1/16 in : 1 ft"))
    Fraction(17, 12)
    """
    return ours.ratio / earlier.ratio


def scale_from_gauges(full_text: str, model_text: str) -> Scale:
    """The exact scale at which a full-size track gauge becomes the model's.

    Raises ScaleError where either gauge cannot be read, or where the model's gauge is not the
    smaller one.

    >>> scale_from_gauges("3 ft", "5 in").read_as
    '1 : 7.2 (5 in on 3 ft gauge)'
    """
    model_text, full_text = model_text.strip(), full_text.strip()
    text = f"{model_text} on {full_text} gauge"
    return _from_gauges(text, model_text, 0, full_text, len(model_text) + 4)


def parse_scale(text: str) -> Scale:
    """A scale from text: ratio, so much to the foot, two gauges, or a name of the trade.

    An enlargement must say so (``2 : 1 enlarged``), since ``12:1`` is more often a slip for
    ``1:12``. Raises ScaleError for text that is no scale, is zero or negative, lies beyond
    10 : 1 or 1 : 10,000, or is a name that stands for several scales.

    >>> parse_scale("1 1/2 in to the foot").denominator
    Fraction(8, 1)
    >>> parse_scale("16 mm scale").read_as
    '16 mm : 1 ft (1 : 19.05), 16 mm scale'
    """
    if len(text) > LONGEST_TEXT:
        raise ScaleError(text, LONGEST_TEXT, len(text), f"read {len(text)} characters")
    clean = text.strip()
    if not clean:
        raise ScaleError(text, 0, len(text), "read nothing")
    at = text.index(clean)
    size = re.fullmatch(r"(full|life|half|third|quarter)[ -]?size", clean, re.IGNORECASE)
    if size:
        ratio = Fraction(1, _SIZES[size[1].lower()])
        return Scale(ratio, text, "ratio", f"{size[1].lower()} size ({_ratio_text(ratio)})")
    named = _named(text, clean, at)
    if named is not None:
        return named
    said = re.search(r"\s*,?\s*\(?enlarge(?:d|ment)\)?$", clean, re.IGNORECASE)
    body = clean[: said.start()] if said else clean
    for reader in (_ratio, _to_foot, _two_gauges):
        scale = reader(text, body, at)
        if scale is not None:
            return _bounded(scale, at, at + len(clean), said=said is not None)
    raise _unknown(text, clean, at)


# ------------------------------------------------------------------------- the readings of a text

_SIZES = {"full": 1, "life": 1, "half": 2, "third": 3, "quarter": 4}
_BARE = r"[-−+±]?[^A-Za-z:∶='\"′″]+?"
_RATIO = re.compile(
    rf"(?P<model>{_BARE})\s*(?:[:∶]|\bto\b|\bin\b)\s*(?P<full>{_BARE})(?:\s+scale)?", re.IGNORECASE
)
_STROKE = re.compile(
    r"(?:(?P<model>[-−]?[0-9]{1,9})\s*[/⁄∕]\s*)?(?P<full>[0-9]{1,9}(?:[.,][0-9]{1,9})?)"
    r"(?:st|nd|rd|th)?(?P<word>\s+(?:scale|full[ -]?size))?",
    re.IGNORECASE,
)
_FOOT = r"(?:(?:the|an?|one|1)\s*)?(?:foot|ft\.?)|1\s*['′’]"
_TO_FOOT = re.compile(
    rf"(?P<left>.+?)\s*(?:[:∶=/⁄∕]|\bto\b|\bper\b)\s*(?:{_FOOT})(?:\s+scale)?", re.IGNORECASE
)
_UNIT_SCALE = re.compile(r"(?P<left>.+?(?:\bin\.?|inch|\"|″|mm))\s*scale", re.IGNORECASE)
_LENGTHS = re.compile(r"(?P<left>[^:∶=]+?)\s*[:∶=]\s*(?P<right>[^:∶=]+)")
_TWO = re.compile(
    r"(?P<model>.+?)\s*(?:(?:track\s+)?gauge\s+)?\b(?:on|for)\b\s*(?P<full>.+?)"
    r"(?:\s*(?:track\s+)?gauge)?",
    re.IGNORECASE,
)


def _ratio(text: str, body: str, at: int) -> Scale | None:
    """A plain ratio: ``1 : 7.2``, ``1 to 12``, ``1/12``, ``12th scale``."""
    found = _RATIO.fullmatch(body)
    if found:
        model = _number(text, found["model"], at)
        full = _number(text, found["full"], at + found.start("full"))
        return Scale(model / full, text, "ratio", _ratio_text(model / full))
    found = _STROKE.fullmatch(body)
    if not found or not (found["model"] or found["word"]):
        return None
    model = _number(text, found["model"] or "1", at)
    full = _number(text, found["full"], at + found.start("full"))
    if model != 1 and not found["word"]:
        raise ScaleError(
            text,
            at,
            at + len(body),
            f"read {quoted(body)}, a ratio or so much of an inch to the foot",
            "one of the two",
            f'write "{model} : {full}" or "{body} in : 1 ft"',
        )
    inch = model == 1 and full in (2, 4, 8, 16, 32) and not found["word"]
    note = f"read as one to {full}, not as 1/{full} in to the foot" if inch else ""
    return Scale(model / full, text, "ratio", _ratio_text(model / full), note)


def _to_foot(text: str, body: str, at: int) -> Scale | None:
    """So much to the foot, or any two lengths: ``7 mm/ft``, ``1/2 in scale``, ``3 in : 2 ft``."""
    found = _TO_FOOT.fullmatch(body) or _UNIT_SCALE.fullmatch(body)
    if found:
        model, left, note = _length(text, found["left"], at)
        full, right = FOOT_MM, "1 ft"
    else:
        found = _LENGTHS.fullmatch(body)
        if not found:
            return None
        model, left, note = _length(text, found["left"], at)
        full, right, more = _length(text, found["right"], at + found.start("right"))
        note = "; ".join(filter(None, (note, more)))
    how = "so much to the foot" if full == FOOT_MM else "ratio"
    return Scale(model / full, text, how, f"{left} : {right} ({_ratio_text(model / full)})", note)


def _two_gauges(text: str, body: str, at: int) -> Scale | None:
    """Two track gauges, the model's first: ``5 in on 4 ft 8 1/2 in gauge``."""
    found = _TWO.fullmatch(body)
    if not found:
        return None
    return _from_gauges(text, found["model"], at, found["full"], at + found.start("full"))


def _from_gauges(text: str, model_text: str, at: int, full_text: str, full_at: int) -> Scale:
    model, model_name, note = _gauge(text, model_text, at)
    full, full_name, more = _gauge(text, full_text, full_at)
    if model >= full:
        raise ScaleError(
            text,
            at,
            full_at + len(full_text),
            f"read {model_name} on {full_name}, no smaller than full size",
            "the model's track gauge first, then the larger full-size one",
            f'write "{full_name} on {model_name} gauge"' if model > full else 'write "full size"',
        )
    read_as = f"{_ratio_text(model / full)} ({model_name} on {full_name} gauge)"
    note = "; ".join(filter(None, (note, more)))
    scale = Scale(model / full, text, "two gauges", read_as, note, full, model)
    return _bounded(scale, at, full_at + len(full_text), said=False)


def _named(text: str, clean: str, at: int) -> Scale | None:
    """A scale by its name in the catalogue; None for a name that is not in it."""
    rows = _names().get(_key(clean), ())
    if not rows:
        return None
    if len({_row_ratio(row) for row in rows}) > 1:
        names = [f'"{row.text("designation")}" ({row.text("statement")})' for row in rows]
        raise ScaleError(
            text,
            at,
            at + len(clean),
            f"read {quoted(clean)}, the name of more than one scale",
            ", ".join(names),
            "write one of them",
        )
    row = rows[0]
    ratio, statement, name = _row_ratio(row), row.text("statement"), row.text("designation")
    shown = statement if statement.startswith("1 :") else f"{statement} ({_ratio_text(ratio)})"
    read_as = name if name.startswith(statement) else f"{shown}, {name}"
    return Scale(ratio, text, "named", read_as, row.text("note"))


# ---------------------------------------------------------------------------------- refusals


def _bounded(scale: Scale, start: int, end: int, *, said: bool) -> Scale:
    ratio, shown = scale.ratio, _ratio_text(scale.ratio)
    other = _ratio_text(1 / ratio)
    if ratio > LARGEST or ratio < SMALLEST:
        raise ScaleError(
            scale.text,
            start,
            end,
            f"read {shown}, beyond anything that is built",
            "a scale from 10 : 1 to 1 : 10000, the model's side first",
            f'write "{other}" if that is meant' if LARGEST < ratio <= 1 / SMALLEST else "",
        )
    if ratio > 1 and not said:
        raise ScaleError(
            scale.text,
            start,
            end,
            f"read {shown}, a model larger than full size",
            "the model's side first, as in 1 : 12",
            f'write "{other}", or "{shown} enlarged" if that is meant',
        )
    return replace(scale, read_as=f"{scale.read_as} enlarged") if ratio > 1 else scale


def _unknown(text: str, clean: str, at: int) -> ScaleError:
    end = at + len(clean)
    gauge = re.fullmatch(r"(?P<size>.+?)\s*(?:track\s+)?gauge", clean, re.IGNORECASE)
    try:
        length = parse_length(gauge["size"] if gauge else clean)
    except LengthError:
        pass
    else:
        if not gauge:
            return ScaleError(
                text,
                at,
                end,
                f"read {quoted(clean)}, a length alone",
                advice=f'write "{length.normal} : 1 ft" if that is meant',
            )
        near = ", ".join(f'"{name}"' for name in scales_on_gauge(length.mm))
        return ScaleError(
            text,
            at,
            end,
            f"read {length.normal} gauge; a track gauge alone fixes no scale",
            f"a scale, such as {near}" if near else "a scale",
            f'write it, or what it stands for: "{length.normal} on 4 ft 8 1/2 in gauge"',
        )
    try:
        number = scan_number(clean, 0)
    except LengthError:
        number = None
    if number is not None and number.end == len(clean):
        forms = f'"1 : {number.normal}", "{number.normal} in : 1 ft" or "{number.normal} mm : 1 ft"'
        return ScaleError(text, at, end, f"read {quoted(clean)} alone", advice=f"write {forms}")
    near = " or ".join(f'"{name}"' for name in nearest_names(clean))
    advice = f"write {near} if that is meant" if near else ""
    return ScaleError(text, at, end, f"read {quoted(clean)}, no scale that is known", advice=advice)


def scales_on_gauge(gauge_mm: Fraction) -> tuple[str, ...]:
    """Names of the catalogue's scales usually run on a track gauge [mm], within 0.5 mm of it.

    >>> scales_on_gauge(Fraction("18.2"))
    ('EM',)
    """
    return tuple(
        row.text("designation")
        for row in catalogue.table("named_scales").rows
        if (size := row.mm("track_gauge")) is not None and abs(size - gauge_mm) <= Fraction(1, 2)
    )


def nearest_names(text: str, count: int = 4) -> tuple[str, ...]:
    """Designations of the named scales whose spelling is nearest to a text, best first.

    >>> nearest_names("16 mm skale", 1)
    ('16 mm scale',)
    """
    keys = difflib.get_close_matches(_key(text), list(_names()), n=2 * count, cutoff=0.6)
    found: dict[str, None] = {}
    for key in keys:
        found.update((row.text("designation"), None) for row in _names()[key])
    return tuple(found)[:count]


# ---------------------------------------------------------------------------------- the catalogue


@cache
def _names() -> dict[str, tuple[catalogue.Row, ...]]:
    """Every name and alias in comparing form, with its rows; a row's own name wins over aliases."""
    own: dict[str, tuple[catalogue.Row, ...]] = {}
    other: dict[str, tuple[catalogue.Row, ...]] = {}
    for row in catalogue.table("named_scales").rows:
        own[_key(row.text("designation"))] = (row,)
        for alias in _aliases(row):
            other[_key(alias)] = (*other.get(_key(alias), ()), row)
    return {**other, **own}


@cache
def _gauge_words() -> dict[str, catalogue.Row]:
    """Track gauges that have a name in words, such as ``standard gauge``, in comparing form."""
    words: dict[str, catalogue.Row] = {}
    for row in catalogue.table("track_gauges").rows:
        for name in (row.text("designation"), *_aliases(row)):
            if name[0].isalpha():
                words[_key(name).removesuffix(" gauge")] = row
    return words


@cache
def _to_the_foot() -> tuple[tuple[str, Fraction], ...]:
    rows = catalogue.table("named_scales").rows
    stated = {row.text("statement"): _row_ratio(row) for row in rows}
    return tuple(item for item in stated.items() if item[0].endswith(": 1 ft"))


def _row_ratio(row: catalogue.Row) -> Fraction:
    return row.number("ratio_model") / row.number("ratio_full")


def _aliases(row: catalogue.Row) -> list[str]:
    return [alias for alias in map(str.strip, row.text("aliases").split(";")) if alias]


def _key(text: str) -> str:
    """A name for comparing: small letters, ``in`` for inch marks, single blanks."""
    text = re.sub(r"[\"″]|\binch(?:es)?\b|\bin\.", " in ", text.lower())
    text = re.sub(r"\s*:\s*", ":", text.replace("-", " "))
    text = re.sub(r"(?<=[0-9])(?=[a-z])", " ", text)
    return " ".join(text.split())


# ------------------------------------------------------------------------- numbers and lengths


def _number(text: str, part: str, at: int) -> Fraction:
    """A bare number greater than 0, exact; whatever else is refused."""
    bare = part.strip()
    at += part.index(bare)
    problem = f"read {quoted(bare)}, no number"
    if bare[:1] in "-−":
        problem = f"read {quoted(bare)}; a scale cannot be negative"
    else:
        try:
            number = scan_number(bare, 0)
        except LengthError as error:
            raise ScaleError(
                text, at + error.start, at + error.end, error.problem, error.expected, error.advice
            ) from error
        if number.end == len(bare):
            if number.value:
                return number.value
            problem = f"read {quoted(bare)}; a scale cannot be zero"
    raise ScaleError(text, at, at + len(bare), problem)


def _length(text: str, part: str, at: int) -> tuple[Fraction, str, str]:
    """A length greater than 0: exact [mm], its normal form, a note."""
    bare = part.strip()
    at += part.index(bare)
    try:
        length = parse_length(bare)
    except LengthError as error:
        raise ScaleError(
            text, at + error.start, at + error.end, error.problem, error.expected, error.advice
        ) from error
    if length.mm <= 0:
        raise ScaleError(text, at, at + len(bare), f"read {quoted(bare)}; more than 0 is wanted")
    return length.mm, length.normal, length.note


def _gauge(text: str, part: str, at: int) -> tuple[Fraction, str, str]:
    """A track gauge by size or by name: exact [mm], its normal form, a note."""
    row = _gauge_words().get(re.sub(r"^the ", "", _key(part)).removesuffix(" gauge"))
    size = row.mm("track_gauge") if row else None
    if row is None or size is None:
        return _length(text, part, at)
    inches = row.text("track_gauge_in")
    name = format_feet_inches(size) if inches else f"{row.text('track_gauge_mm')} mm"
    return size, name, ""


def _nearly(value: Fraction, unit: str = "", places: int = 3) -> str:
    """A decimal rounded for print, marked ``nearly`` where it is not exact."""
    text = format_decimal(value, places).rstrip("0").rstrip(".")
    return f"{text}{unit}" if Fraction(text) == value else f"{text}{unit} nearly"


def _ratio_text(ratio: Fraction) -> str:
    if ratio > 1:
        return f"{_nearly(ratio)} : 1"
    return f"1 : {_nearly(1 / ratio)}"
