"""Figures of ISO 286 tolerance classes: limit deviations and standard tolerances, exact.

This module only puts the tables' figures together; :mod:`scaler.trade.iso286_tables` knows which class
exists where, and :mod:`scaler.trade.iso286` has the public names. Deviations are in micrometres as
:class:`fractions.Fraction`, sizes in millimetres. Nothing is clamped.

Notes: js and JS are ±IT/2 exactly, halves kept. The 1988 edition let grades 7 to 11 be rounded to
whole micrometres (the odd tolerance replaced by the even one below); the tables of the 2010 edition
print the halves (read in two copies), and so does this module.

References: ISO 286-1:2010, Tables 1 to 5, read in copies.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Literal

from scaler import catalogue
from scaler.trade.iso286_tables import (
    GRADES,
    Iso286Error,
    Side,
    column_of,
    covers,
    neighbours,
    no_class,
    split_class,
    step_of,
    tables_of,
)

_MICROMETRE = Fraction(1, 1000)
_Found = tuple[Fraction, Literal["lower", "upper"], str, str]


@dataclass(frozen=True, slots=True)
class Deviations:
    """Limit deviations of one tolerance class in one range of sizes.

    ``lower_um`` and ``upper_um`` [µm], ``lower_mm`` and ``upper_mm`` [mm]; ``range_`` is the range
    of sizes that the figures hold for; ``source`` is a key of the sources table.
    """

    lower_um: Fraction
    upper_um: Fraction
    lower_mm: Fraction
    upper_mm: Fraction
    class_: str
    side: Side
    range_: str
    source: str
    place: str

    @property
    def tolerance_um(self) -> Fraction:
        """Upper less lower deviation [µm]."""
        return self.upper_um - self.lower_um


def deviations(tolerance_class: str, basic_size_mm: Fraction | int) -> Deviations:
    """Limit deviations of a tolerance class at a basic size.

    Parameters: tolerance_class : such as ``H7``, ``g6``, ``JS9``; capitals are holes, small
    letters shafts. basic_size_mm : exact, [mm], above 0 up to and including 3150.
    Returns: Deviations, exact [µm] and [mm].
    Raises: Iso286Error where the class cannot be read, or the standard gives it no value at this
    size, or the size lies beyond the tables.
    Notes: the tables are followed, with the exceptions that they print: k differs for grades 4 to
    7; holes K, M, N to grade 8 and P to ZC to grade 7 take the Δ of their grade; M6 above 250 up to
    315 mm is −9 µm. Δ is given for grades 3 to 8 only, so these holes have no finer grade.
    References: ISO 286-1:2010, Tables 1 to 5 (read in copies).

    >>> found = deviations("H7", 25)
    >>> str(found.lower_um), str(found.upper_um), found.range_
    ('0', '21', 'over 18 to 30')
    """
    return deviations_at(tolerance_class, step_of(basic_size_mm))


@cache
def deviations_at(tolerance_class: str, step: int) -> Deviations:
    """The same for a step of sizes, as :func:`scaler.trade.iso286_tables.step_of` gives it."""
    letter, grade, side = split_class(tolerance_class)
    name = f"{letter}{grade}"
    width, width_place = _width(name, grade, step)
    tables = tables_of()
    source, place = tables.grades[tables.main[step]].text("source"), width_place
    table = tables.holes if side == "hole" else tables.shafts
    row = table[tables.sub[step]]
    _refuse_unused(name, letter, grade, step)
    if letter in ("js", "JS"):
        half = width / 2
        lower, upper, range_ = -half, half, tables.grades[tables.main[step]].text("designation")
    else:
        value, anchor, column, extra = _fundamental(letter, grade, step)
        if anchor == "lower":
            lower, upper = value, value + width
        else:
            lower, upper = value - width, value
        range_ = _shown_range(table, column, step)
        place = f"{place}; {row.text('place')}, {letter}{extra}"
    return Deviations(
        lower,
        upper,
        lower * _MICROMETRE,
        upper * _MICROMETRE,
        name,
        side,
        range_,
        source,
        place,
    )


def _shown_range(table: tuple[catalogue.Row, ...], column: str, step: int) -> str:
    """The whole range where all its sub-ranges have one value, else the sub-range."""
    tables = tables_of()
    main, row = tables.grades[tables.main[step]], table[tables.sub[step]]
    above, up_to = main.number("above_mm"), main.number("up_to_mm")
    values = {
        other.text(column)
        for other in table
        if above <= other.number("above_mm") and other.number("up_to_mm") <= up_to
    }
    return (main if len(values) == 1 else row).text("designation")


def tolerance(grade: str | int, basic_size_mm: Fraction | int) -> Fraction:
    """Standard tolerance of a grade at a basic size. [µm], exact

    ``grade`` is ``7``, ``"7"`` or ``"IT7"``; the two finest are written ``"01"`` and ``"0"``.
    Raises Iso286Error for an unknown grade, for IT01 and IT0 above 500 mm, for IT14 to IT18 up to
    1 mm, and for a size beyond the tables.

    >>> str(tolerance("IT7", 25))
    '21'
    """
    text = str(grade).strip().upper().removeprefix("IT").strip()
    if text not in GRADES:
        raise Iso286Error(
            str(grade),
            f'"{grade}" is no tolerance grade of ISO 286',
            "a grade of 01, 0, 1 to 18",
            'write a grade from 01 (finest) to 18 (coarsest), as "IT7" or 7',
        )
    step = step_of(basic_size_mm)
    _refuse_unused(f"IT{text}", "", text, step)
    return _width(f"IT{text}", text, step)[0]


def _width(text: str, grade: str, step: int) -> tuple[Fraction, str]:
    """Tolerance of a grade at a step [µm], and its place in the standard."""
    row = tables_of().grades[tables_of().main[step]]
    value = row[f"it{grade}_um"]
    if value is None:
        have = [one for one in GRADES if row.text(f"it{one}_um")]
        raise Iso286Error(
            text,
            f"grade {grade} is not given for sizes {row.text('designation')} mm",
            f"grades {have[0]} to {have[-1]} at this size",
            f"grades {GRADES[0]} and {GRADES[1]} end at 500 mm; "
            f"take grade {have[0]} or coarser here",
        )
    return row.number(f"it{grade}_um"), f"{row.text('place')}, IT{grade}"


def _refuse_unused(text: str, letter: str, grade: str, step: int) -> None:
    """Raise where an exception row says that the class is not to be used at this size."""
    for row in tables_of().exceptions:
        if row.text("rule") == "not used" and covers(row, letter, grade, step):
            end = row.text("up_to_mm")
            raise Iso286Error(
                text,
                f"{text} is not to be used for sizes up to {end} mm ({row.text('source')}, "
                f"{row.text('place')})",
                f"{text} above {end} mm",
                "nearest classes here: " + ", ".join(neighbours(letter, grade, step))
                if row.text("letter")
                else f"take a grade finer than {row.text('grade_from')} at sizes up to {end} mm",
            )


def _fundamental(letter: str, grade: str, step: int) -> _Found:
    """Fundamental deviation [µm], which limit it is, its column, and a note for the place."""
    tables = tables_of()
    number = GRADES.index(grade) - 1  # grade 7 is 7, grade 0 is 0, grade 01 is −1
    column = column_of(letter, number)
    if column is None:
        raise no_class(letter, grade, step)
    hole = letter.isupper()
    row = (tables.holes if hole else tables.shafts)[tables.sub[step]]
    if row[column] is None:
        raise no_class(letter, grade, step)
    value = row.number(column)
    small = letter.lower()
    if not hole:
        return value, "upper" if small <= "h" else "lower", column, ""
    if small <= "h":
        return value, "lower", column, ""
    for own in tables.exceptions:
        if own.text("rule") == "upper deviation" and covers(own, letter, grade, step):
            return own.number("value_um"), "upper", column, f" ({own.text('place')})"
    last_with_delta = 8 if small in ("k", "m", "n") else 7
    if small == "j" or number > last_with_delta:
        return value, "upper", column, ""
    main = tables.main[step]
    if main == 0 or main >= len(tables.delta):  # no Δ up to 3 mm and above 500 mm
        return value, "upper", column, ""
    if number < 3:
        raise no_class(letter, grade, step)
    added = tables.delta[main].number(f"delta_it{number}_um")
    return value + added, "upper", column, f" with Δ of IT{number}"
