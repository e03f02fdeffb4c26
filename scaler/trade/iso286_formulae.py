"""The formulae behind the ISO 286 tables, as a cross-check of the tables (never a source of limits).

ISO 286-1 derives its tables from the formulae below and then rounds them, not always by its own
rules; the printed tables are what counts. So the results here are floats, marked ``_approx``, for
comparing only: :func:`compare_grades` and :func:`compare_deviations` give one record a cell.

Up to about 18 mm the printed deviations of u to zc are larger than their formulae, and up to 3 mm
nearly every figure is a convention; the comparison shows it.

References: ISO 286-1:1988, the annex with the formulae and the rules for rounding (from memory;
the 2010 edition prints tables only).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

from scaler import catalogue
from scaler.trade.iso286_tables import GRADES

_MULTIPLES = {
    "5": 7,
    "6": 10,
    "7": 16,
    "8": 25,
    "9": 40,
    "10": 64,
    "11": 100,
    "12": 160,
    "13": 250,
    "14": 400,
    "15": 640,
    "16": 1000,
    "17": 1600,
    "18": 2500,
}
_FINE_MULTIPLES_ABOVE_500 = {"1": 2.0, "2": 2.7, "3": 3.7, "4": 5.0}
_FINEST = {"01": (0.3, 0.008), "0": (0.5, 0.012), "1": (0.8, 0.020)}


@dataclass(frozen=True, slots=True)
class Comparison:
    """One cell of a table beside its formula [µm]: as printed, as computed, computed and rounded.

    ``step_um`` is the multiple that the standard's rounding rule would round this value to.
    """

    range_: str
    name: str
    printed_um: float
    formula_um_approx: float
    rounded_um: float
    step_um: float

    @property
    def agrees(self) -> bool:
        """Whether the rounded formula is exactly what is printed."""
        return self.rounded_um == self.printed_um

    @property
    def departure_steps(self) -> float:
        """How many rounding steps the unrounded formula lies off the printed figure."""
        return abs(self.formula_um_approx - self.printed_um) / self.step_um


def mean_size_mm_approx(above_mm: float, up_to_mm: float) -> float:
    """Geometric mean of the ends of a range [mm]; for sizes up to 3 mm that of 1 and 3.

    >>> round(mean_size_mm_approx(18, 30), 2)
    23.24
    """
    return math.sqrt((above_mm or 1.0) * up_to_mm)


def tolerance_unit_um_approx(mean_mm: float) -> float:
    """Tolerance unit of ISO 286-1 [µm]: i up to 500 mm, I above, of a mean size [mm].

    Notes: i = 0.45 ∛D + 0.001 D; I = 0.004 D + 2.1, D in mm.

    >>> round(tolerance_unit_um_approx(mean_size_mm_approx(18, 30)), 3)
    1.307
    """
    if mean_mm <= 500:
        return float(0.45 * mean_mm ** (1 / 3) + 0.001 * mean_mm)
    return 0.004 * mean_mm + 2.1


def tolerance_um_approx(grade: str, mean_mm: float) -> float:
    """Standard tolerance of a grade ("01" to "18") before rounding [µm], of a mean size [mm].

    Notes: grades 2 to 4 up to 500 mm are in about geometric progression between grades 1 and 5.
    Raises KeyError for another grade, and for 01 and 0 above 500 mm, which the standard leaves out.
    """
    unit = tolerance_unit_um_approx(mean_mm)
    if grade in _MULTIPLES:
        return _MULTIPLES[grade] * unit
    if mean_mm > 500:
        return _FINE_MULTIPLES_ABOVE_500[grade] * unit
    if grade in _FINEST:
        constant, slope = _FINEST[grade]
        return constant + slope * mean_mm
    first = tolerance_um_approx("1", mean_mm)
    ratio = (tolerance_um_approx("5", mean_mm) / first) ** 0.25
    return float(first * ratio ** ({"2": 1, "3": 2, "4": 3}[grade]))


def _grade_step_um(value: float, grade: str, mean_mm: float) -> float:
    """The multiple to round a tolerance to [µm]."""
    if GRADES.index(grade) < GRADES.index("5") and mean_mm <= 500:
        return 0.1 if value < 1 else 0.5 if value < 5 else 1.0
    if GRADES.index(grade) > GRADES.index("11"):  # ten times the grade five below
        return 10 * _grade_step_um(value / 10, str(int(grade) - 5), mean_mm)
    small = ((100, 1), (200, 5))
    large = ((60, 1), (100, 2), (200, 5), (500, 10), (1000, 20), (2000, 50), (5000, 100))
    for end, step in small if mean_mm <= 500 else large:
        if value <= end:
            return float(step)
    return 10.0 if mean_mm <= 500 else 200.0


def compare_grades() -> Iterator[Comparison]:
    """Every cell of the table of grades beside its formula."""
    for row in catalogue.table("iso286_grades").rows:
        mean = mean_size_mm_approx(float(row.number("above_mm")), float(row.number("up_to_mm")))
        for grade in GRADES:
            if row.text(f"it{grade}_um"):
                printed = float(row.number(f"it{grade}_um"))
                value = tolerance_um_approx(grade, mean)
                step = _grade_step_um(value, grade, mean)
                rounded = round(round(value / step) * step, 6)
                yield Comparison(
                    row.text("designation"), f"IT{grade}", printed, value, rounded, step
                )


def _printed_tolerance(grade: str, mean_mm: float) -> float:
    for row in catalogue.table("iso286_grades").rows:
        if mean_mm <= float(row.number("up_to_mm")):
            return float(row.number(f"it{grade}_um"))
    raise ValueError(f"no grade {grade} at {mean_mm} mm")


def _above_it(grade: str, slope: float, mean_mm: float) -> float:
    return _printed_tolerance(grade, mean_mm) + slope * mean_mm


# Size of the fundamental deviation [µm, without sign] of a mean size D [mm]: (from, to, formula).
# A letter that is missing here has no formula (j), or is a geometric mean of two others. a and b are
# not used up to 1 mm, and have one figure for the rest of the first range.
_DEVIATIONS: dict[str, tuple[tuple[float, float, Callable[[float], float]], ...]] = {
    "a": ((0, 120, lambda d: 265 + 1.3 * d), (120, 500, lambda d: 3.5 * d)),
    "b": ((0, 160, lambda d: 140 + 0.85 * d), (160, 500, lambda d: 1.8 * d)),
    "c": ((0, 40, lambda d: 52 * d**0.2), (40, 500, lambda d: 95 + 0.8 * d)),
    "d": ((0, 3150, lambda d: 16 * d**0.44),),
    "e": ((0, 3150, lambda d: 11 * d**0.41),),
    "f": ((0, 3150, lambda d: 5.5 * d**0.41),),
    "g": ((0, 3150, lambda d: 2.5 * d**0.34),),
    "k": ((0, 500, lambda d: 0.6 * d ** (1 / 3)),),
    "m": (
        (0, 500, lambda d: _printed_tolerance("7", d) - _printed_tolerance("6", d)),
        (500, 3150, lambda d: 0.024 * d + 12.6),
    ),
    "n": ((0, 500, lambda d: 5 * d**0.34), (500, 3150, lambda d: 0.04 * d + 21)),
    "p": ((0, 500, partial(_printed_tolerance, "7")), (500, 3150, lambda d: 0.072 * d + 37.8)),
    "s": ((0, 50, partial(_printed_tolerance, "8")), (50, 3150, partial(_above_it, "7", 0.4))),
    "t": ((24, 3150, partial(_above_it, "7", 0.63)),),
    "u": ((0, 3150, partial(_above_it, "7", 1.0)),),
    "v": ((14, 500, partial(_above_it, "7", 1.25)),),
    "x": ((0, 500, partial(_above_it, "7", 1.6)),),
    "y": ((18, 500, partial(_above_it, "7", 2.0)),),
    "z": ((0, 500, partial(_above_it, "7", 2.5)),),
    "za": ((0, 500, partial(_above_it, "8", 3.15)),),
    "zb": ((0, 500, partial(_above_it, "9", 4.0)),),
    "zc": ((0, 500, partial(_above_it, "10", 5.0)),),
}
_MEANS = {"cd": ("c", "d"), "ef": ("e", "f"), "fg": ("f", "g"), "r": ("p", "s")}
#: What the rules for p and s leave open: so many µm may be added to the formula.
OPEN_ADDITION_UM = {"p": (0.0, 5.0), "s": (1.0, 4.0)}


def deviation_um_approx(letter: str, above_mm: float, up_to_mm: float) -> float | None:
    """Size of a shaft's fundamental deviation before rounding [µm], without its sign.

    Parameters: letter : a to zc. above_mm, up_to_mm : ends of the range or sub-range [mm].
    Returns: None where the standard has no formula of the size there (j and js at any; cd, ef, fg
    and r are geometric means of their neighbours' printed figures).
    Notes: letters whose table has one figure for a whole range use the range, the others the
    sub-range.

    >>> round(deviation_um_approx("g", 18, 30), 1)  # printed: 7
    7.3
    """
    mean = mean_size_mm_approx(above_mm, up_to_mm)
    for start, end, formula in _DEVIATIONS.get(letter, ()):
        if start <= above_mm < end:
            return formula(mean)
    return None


def _deviation_step_um(value: float, letter: str) -> float:
    """The multiple to round a fundamental deviation to [µm]: a to g, else k to zc."""
    table = ((45, 1, 1), (100, 5, 1), (300, 10, 2), (500, 10, 5))
    more = ((560, 20, 5), (800, 20, 10), (1000, 20, 20), (2000, 50, 50))
    for end, early, late in (*table, *more):
        if value <= end:
            return float(early if letter < "k" else late)
    return 100.0


def compare_deviations() -> Iterator[Comparison]:
    """Every fundamental deviation of the table of shafts that has a formula, beside it."""
    grades = catalogue.table("iso286_grades").rows
    for row in catalogue.table("iso286_shafts").rows:
        above, up_to = float(row.number("above_mm")), float(row.number("up_to_mm"))
        main = next(one for one in grades if up_to <= float(one.number("up_to_mm")))
        whole = float(main.number("above_mm")), float(main.number("up_to_mm"))
        for letter in (*_DEVIATIONS, *_MEANS):
            column = "k4_to_k7_um" if letter == "k" else f"{letter}_um"
            if not row.text(column):
                continue
            ends = whole if letter in _WHOLE_RANGE else (above, up_to)
            value = deviation_um_approx(letter, *ends)
            if letter in _MEANS:
                one, other = (abs(float(row.number(f"{name}_um"))) for name in _MEANS[letter])
                value = math.sqrt(one * other)
            if value is None:
                continue
            printed = abs(float(row.number(column)))
            step = _deviation_step_um(value, letter)
            rounded = round(value / step) * step
            yield Comparison(row.text("designation"), letter, printed, value, rounded, step)


_WHOLE_RANGE = frozenset(("d", "e", "f", "g", "k", "m", "n", "p"))
