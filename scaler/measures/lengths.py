"""Lengths as drawings write them: text to exact fractions of a millimetre, and back to print.

Everything here is :class:`fractions.Fraction`; no float is made on the way in or out. One inch is
25.4 mm exactly (the yard of 0.9144 m agreed by six countries on 1 July 1959).

What is read: millimetres, centimetres, metres, micrometres, inches, feet and thou; decimals with
a point or a comma; fractions with a stroke or as one character; feet and inches with words or with
any of the marks that typing and typesetting leave behind; ``1-3/8 in`` and ``2.13/16 in`` (old
habits for 1 3/8 and 2 13/16); wire gauges and drills (``16 SWG``, ``No. 30 drill``,
``letter F drill``) from the shipped tables. A number after feet is in inches.

What is refused, each time with what to write instead: a number whose unit nobody has stated,
``1,250`` (a comma for thousands, or a decimal comma?), ``4-8 1/2 in`` without a mark on the feet,
12 in and more after feet, a fraction of 1 and more after a whole number, ``mil``, exponents,
negative lengths, anything above 1 km, or below a millionth of a millimetre and not 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from scaler.measures.number_text import (
    HYPHENS,
    LONGEST_TEXT,
    LengthError,
    Number,
    check_size,
    holds,
    mixed,
    nearest_word,
    not_a_number,
    number_starts,
    quoted,
    scan_number,
    shown,
    skip_blanks,
    word_end,
)

__all__ = [
    "INCH_MM",
    "UNIT_MM",
    "Length",
    "LengthError",
    "Nearest",
    "format_decimal",
    "format_exact",
    "format_feet_inches",
    "format_inch",
    "format_mm",
    "nearest_fraction",
    "parse_length",
    "round_half_away",
]

INCH_MM = Fraction(127, 5)
UNIT_MM = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": INCH_MM,
    "ft": 12 * INCH_MM,
    "thou": INCH_MM / 1000,
    "µm": Fraction(1, 1000),
}
"""Millimetres in one of each unit, exact, under the name that the normal form uses."""

LARGEST_MM = Fraction(1_000_000)
SMALLEST_MM = Fraction(1, 1_000_000)
FEET_MARKS = "'′’‘ʹʼ´`＇"
INCH_MARKS = '"″”“ʺ˝＂'
DEGREE_MARKS = "°º"
KNOWN_UNITS = "mm, cm, m, in, ft or thou"

LENGTH_WORDS = {
    word: unit
    for unit, words in {
        "mm": "mm mms millimetre millimetres millimeter millimeters",
        "cm": "cm cms centimetre centimetres centimeter centimeters",
        "m": "m metre metres meter meters",
        "in": "in ins inch inches",
        "ft": "ft foot feet",
        "thou": "thou thous",
        "µm": "µm μm um micron microns micrometre micrometres micrometer micrometers",
    }.items()
    for word in words.split()
}


@dataclass(frozen=True, slots=True)
class Length:
    """A length as read: exact [mm], the text, its normal form and any habit that was allowed for.

    The normal form of a measured length reads back to the same length; that of a gauge or a drill
    states what the table gives (``16 SWG = 0.064 in``).
    """

    mm: Fraction
    text: str
    normal: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Nearest:
    """The nearest inch fraction: exact [in], as text, and fraction minus value [mm]."""

    inch: Fraction
    text: str
    error_mm: Fraction


@dataclass(frozen=True, slots=True)
class _Part:
    """A number and the unit after it; unit None where none stands there."""

    number: Number
    unit: str | None
    start: int
    end: int


# ------------------------------------------------------------------------------------- lengths


def parse_length(text: str, unit: str | None = None) -> Length:
    """The length that a drawing's text gives, exact.

    Parameters
    ----------
    text : str
        As written, e.g. ``4 ft 8 1/2 in``, ``12,7 mm``, ``16 SWG``.
    unit : str or None
        Unit of a bare number: mm, cm, m, in, ft, thou (or µm). None: a bare number is refused.

    Raises
    ------
    LengthError
        Where the text cannot be read, or can be read in two ways.

    Examples
    --------
    >>> parse_length("4ft 8 1/2in").mm
    Fraction(14351, 10)
    >>> parse_length("2.13/16", unit="in").normal
    '2 13/16 in'

    References
    ----------
    Inch: Federal Register, 1 July 1959, "Refinement of values for the yard and the pound"
    (second-hand). Forms of writing: common practice.
    """
    check_size(text)
    bare = LENGTH_WORDS.get(unit.strip().lower()) if unit is not None else None
    if unit is not None and bare is None:
        raise LengthError(
            unit[:LONGEST_TEXT],
            0,
            len(unit[:LONGEST_TEXT]),
            f"read the unit {quoted(unit)} for bare numbers",
            KNOWN_UNITS,
            'write for example "in"',
        )
    length = _from_table(text) or _from_parts(text, _parts(text), bare)
    if length.mm > LARGEST_MM or 0 < length.mm < SMALLEST_MM:
        raise LengthError(
            text,
            0,
            len(text),
            f"read {quoted(text)}",
            "a length up to 1 km, and not below 0.000001 mm unless it is 0",
            "look at the number and its unit again",
        )
    return length


def _parts(text: str) -> list[_Part]:
    parts: list[_Part] = []
    at = skip_blanks(text, 0)
    while at < len(text):
        number = scan_number(text, at)
        part = _unit(text, number, skip_blanks(text, number.end))
        parts.append(part)
        at = skip_blanks(text, part.end)
        if part.unit is None and at < len(text):
            raise _left_over(text, number, at)
        if part.unit == "ft" and holds(text, at, HYPHENS + ","):
            at = skip_blanks(text, at + 1)
            if at == len(text):
                raise not_a_number(text, at)
    return parts


def _unit(text: str, number: Number, at: int) -> _Part:
    """The number with the unit that stands at `at`, if any."""
    if holds(text, at, FEET_MARKS):
        twice = holds(text, at + 1, FEET_MARKS)
        return _Part(number, "in" if twice else "ft", at, at + 1 + twice)
    if holds(text, at, INCH_MARKS):
        return _Part(number, "in", at, at + 1)
    end = word_end(text, at)
    if end == at or text[at] in DEGREE_MARKS:
        return _Part(number, None, number.end, number.end)
    word = text[at:end].lower()
    if word not in LENGTH_WORDS:
        raise _unknown_unit(text, at, end)
    if holds(text, end, ".") and not number_starts(text, end + 1):
        end += 1
    return _Part(number, LENGTH_WORDS[word], at, end)


def _unknown_unit(text: str, at: int, end: int) -> LengthError:
    word = text[at:end].lower()
    if word in ("mil", "mils"):
        return LengthError(
            text,
            at,
            end,
            f"read {quoted(text[at:end])}: a thousandth of an inch to some, a millimetre to others",
            KNOWN_UNITS,
            f"write {quoted(text[:at] + 'thou' + text[end:])} "
            f"or {quoted(text[:at] + 'mm' + text[end:])}, as meant",
        )
    if word in ("g", "ga", "gauge"):
        problem, advice = f"read {quoted(text[at:end])}", quoted(text[:at] + "SWG" + text[end:])
        advice = f"write {advice} if that gauge is meant"
        return LengthError(text, at, end, problem, "the name of the gauge", advice)
    near = nearest_word(word, tuple(LENGTH_WORDS))
    advice = (
        f"write {quoted(text[:at] + LENGTH_WORDS[near] + text[end:])}" if near else "give its unit"
    )
    return LengthError(text, at, end, f"read {quoted(text[at:end])}", KNOWN_UNITS, advice)


def _left_over(text: str, number: Number, at: int) -> LengthError:
    """The refusal of a number without a unit and more text after it."""
    digits = text[number.start : number.end]
    if text[at] in HYPHENS and number_starts(text, skip_blanks(text, at + 1)):
        return LengthError(
            text,
            number.start,
            at + 1,
            f"read {quoted(text)}: feet and inches, a range, or a sum?",
            "one number, or feet and inches with a mark on the feet",
            f"""write {shown(digits[:20])}' and then the inches if that is meant""",
        )
    if number_starts(text, at):
        return LengthError(
            text,
            number.start,
            at + 1,
            f"read {quoted(text[number.start : at + 6])}: two numbers, no unit between",
            "one number, or feet and inches with their units",
            """write for example 4' 8 1/2" or 1250 mm""",
        )
    if text[at] in DEGREE_MARKS:
        return LengthError(
            text, at, at + 1, "read an angle", "a length", 'write for example "7/8 in"'
        )
    if text[at] == ":":
        return LengthError(
            text,
            number.start,
            len(text),
            f"read {quoted(text)}: a ratio",
            "a length",
            'write for example "7/8 in"',
        )
    return not_a_number(text, at)


def _from_parts(text: str, parts: list[_Part], bare: str | None) -> Length:
    first, last = parts[0], parts[-1]
    number = first.number
    if len(parts) == 1:
        unit = first.unit or bare
        if unit is None:
            read = shown(text[number.start : number.end])
            raise LengthError(
                text,
                number.start,
                number.end,
                f'read "{read}" and no unit',
                KNOWN_UNITS,
                f'write "{read} in" or "{read} mm", or state the unit of the drawing',
            )
        if number.note and unit != "in":
            raise _dot_elsewhere(text, number)
        return Length(number.value * UNIT_MM[unit], text, f"{number.normal} {unit}", number.note)
    units = [part.unit or "in" for part in parts]
    inches = last.number
    if units != ["ft", "in"]:
        raise _bad_order(text, parts, units)
    if number.value.denominator != 1:
        raise LengthError(
            text,
            number.start,
            first.end,
            f"read {quoted(text[number.start : first.end])} before inches",
            "whole feet before inches",
            "write it all in feet or all in inches",
        )
    if inches.value >= 12:
        whole = quoted(_feet_inches(number.value * 12 + inches.value))
        raise LengthError(
            text,
            inches.start,
            inches.end,
            f"read {quoted(inches.normal)} inches after feet",
            "less than 12 in after feet",
            f"write {whole} if that is meant, or look again",
        )
    mm = number.value * UNIT_MM["ft"] + inches.value * INCH_MM
    return Length(mm, text, f"{number.value} ft {inches.normal} in", inches.note)


def _dot_elsewhere(text: str, number: Number) -> LengthError:
    return LengthError(
        text,
        number.start,
        number.end,
        f"read {quoted(text[number.start : number.end])}",
        "a dot before a fraction in inches only",
        f"write {quoted(number.normal)} if that is meant",
    )


def _bad_order(text: str, parts: list[_Part], units: list[str]) -> LengthError:
    second = parts[1]
    advice = 'write one number and unit, or feet and then inches: "4 ft 8 1/2 in"'
    if units[0] == units[1]:
        problem = f"read {units[0]} twice"
    elif units[:2] == ["in", "ft"]:
        problem = "read inches before feet"
    elif units[:2] == ["ft", "in"]:
        second, problem = parts[2], "read more after the inches"
    else:
        problem = f"read {units[0]} and then {second.unit or 'a number without a unit'}"
    return LengthError(
        text, second.number.start, second.end, problem, "one unit, or feet and then inches", advice
    )


# ---------------------------------------------------------------------------- gauges and drills


def _from_table(text: str) -> Length | None:
    """The size of a wire gauge or a drill named in the text; None where it names neither."""
    bare = "".join(ch for ch in text if not ch.isspace() and ch != ".").lower()
    if bare.startswith("swg") or bare.endswith("swg"):
        number = bare.removesuffix("swg") if bare.endswith("swg") else bare.removeprefix("swg")
        if len(number) > 1 and not number.strip("0"):
            number = f"{len(number)}/0"
        return _row(text, "gauge_swg", f"{number} SWG", "thickness", "")
    named = bare.endswith(("drill", "drills"))
    bare = bare.removesuffix("s").removesuffix("drill") if named else bare
    for mark in ("number", "no", "#", "№"):
        name = bare.removeprefix(mark)
        if name != bare and name.isdigit():
            return _drill(text, named, "drills_number", f"No. {name}")
    name = bare.removeprefix("letter")
    if len(name) == 1 and "a" <= name <= "z" and (named or name != bare):
        return _drill(text, named, "drills_letter", f"letter {name.upper()}")
    if not named:
        return None
    raise LengthError(
        text,
        0,
        len(text),
        f"read {quoted(text)}",
        'a number or letter drill, such as "No. 30 drill" or "letter F drill"',
        "write a drill of another series by its size alone",
    )


def _drill(text: str, named: bool, table: str, designation: str) -> Length:
    if not named:
        raise LengthError(
            text,
            0,
            len(text),
            f"read {quoted(text)}",
            "a number and its unit",
            f'write "{shown(designation)} drill" if a drill is meant',
        )
    return _row(text, table, designation, "diameter", " drill")


def _row(text: str, table: str, designation: str, base: str, what: str) -> Length:
    from scaler import catalogue

    rows = catalogue.table(table)
    row = rows.find(designation)
    if row is None:
        first, last = (rows.rows[place].text("designation") for place in (0, -1))
        figures = [place for place, ch in enumerate(text) if ch.isdigit()] or [0, len(text) - 1]
        raise LengthError(
            text,
            figures[0],
            figures[-1] + 1,
            f"read {quoted(text)}",
            f"a size from {first} to {last} that the table lists",
            "write one of those, or the size itself in mm or in",
        )
    mm, size = row.mm(base), row.text(f"{base}_in")
    assert mm is not None, "every gauge and drill of the tables has its size"
    return Length(mm, text, f"{designation}{what} = {size} in")


# ------------------------------------------------------------------------------------ printing


def _exact(value: Fraction | int) -> Fraction:
    if isinstance(value, Fraction):
        return value
    if not isinstance(value, int):
        raise TypeError(f"an exact number is wanted, not {type(value).__name__}")
    return Fraction(value)


def round_half_away(value: Fraction | int) -> int:
    """The nearest whole number, halves away from zero (as print in this trade rounds)."""
    value = _exact(value)
    whole = (2 * abs(value.numerator) + value.denominator) // (2 * value.denominator)
    return -whole if value < 0 else whole


def format_decimal(value: Fraction | int, places: int) -> str:
    """The number with so many decimals, halves rounded away from zero; never ``-0``.

    Raises ValueError for `places` outside 0 to 30.
    """
    if not 0 <= places <= 30:
        raise ValueError(f"{places} decimals; 0 to 30 can be printed")
    steps = round_half_away(_exact(value) * 10**places)
    figures = str(abs(steps)).rjust(places + 1, "0")
    point = len(figures) - places
    return "-" * (steps < 0) + figures[:point] + ("." + figures[point:] if places else "")


def format_mm(value_mm: Fraction | int, places: int = 2) -> str:
    """The length in mm without the unit, halves rounded away from zero: ``12.70``."""
    return format_decimal(value_mm, places)


def format_inch(value_mm: Fraction | int, places: int = 3) -> str:
    """The length [mm] in decimal inches without the unit, halves away from zero: ``0.500``."""
    return format_decimal(_exact(value_mm) / INCH_MM, places)


def nearest_fraction(value_mm: Fraction | int, denominator: int = 64) -> Nearest:
    """The nearest inch fraction to a length [mm]; of two equally near, the one away from zero.

    Raises ValueError for a denominator below 1.

    >>> nearest_fraction(parse_length("4.578 in").mm).text
    '4 37/64'
    """
    if denominator < 1:
        raise ValueError(f"{denominator} is no denominator; 1 or more is")
    value_mm = _exact(value_mm)
    inch = Fraction(round_half_away(value_mm / INCH_MM * denominator), denominator)
    return Nearest(inch, mixed(inch), inch * INCH_MM - value_mm)


def format_feet_inches(value_mm: Fraction | int, denominator: int = 64) -> str:
    """The length [mm] to the nearest 1/64 in (or other) as feet, inches and fraction.

    Exact where the length is a whole number of those fractions; halves go away from zero.

    >>> format_feet_inches(Fraction(14351, 10))
    '4 ft 8 1/2 in'
    """
    return _feet_inches(nearest_fraction(value_mm, denominator).inch)


def _feet_inches(inch: Fraction) -> str:
    feet, rest = divmod(abs(inch), 12)
    parts = [f"{feet} ft"] if feet else []
    if rest or not feet:
        parts.append(f"{mixed(rest)} in")
    return "-" * (inch < 0) + " ".join(parts)


def format_exact(value: Fraction | int) -> str:
    """The exact value [mm, or whatever it was in] as text that ``Fraction()`` reads back: ``127/36``."""
    return str(_exact(value))
