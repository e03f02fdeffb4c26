"""Full-size sizes from points measured on a print, with their uncertainty.

A print is not to its scale: paper shrinks, and not the same both ways; a scanner adds its own. Some
distances on it are known because they are dimensioned. From these the scales along x and along y are
fitted by least squares, and every other distance follows with a prediction interval:

    known = √((a Δx)² + (b Δy)²)

a and b in millimetres full size to one unit of the print. Where all known distances lie along the
axes this is two straight lines through nought; otherwise it is solved by repeated linearisation
(Gauss–Newton). A turn of the print on the scanner is taken out first, where asked for, from the
lines that lie nearly level or upright.

References: see :mod:`scaler.desk.least_squares`; prediction interval ± t s √(1 + h). Outliers: externally
studentised residual against Student's t shared out over all known distances (Bonferroni, α = 5 %),
as in Draper and Smith (method from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from scaler.desk.least_squares import Fit, Undetermined, solve, t_value
from scaler.desk.scale_off_read import Segment, read_segments
from scaler.desk.tables_in import SizeRow, SizesIn, plain_name
from scaler.problems import InputError, Place, Problem, shorten

if TYPE_CHECKING:
    import pandas

__all__ = ["Derived", "Known", "ScaleOff", "Segment", "read_segments", "rounded", "scale_off"]

SHARE = 0.95
NORMAL_95 = 1.959963984540054
"""Half the width that holds 95 % of a normal distribution, in standard deviations."""
NEAR_AXIS_DEG = 10.0
TELLS = math.sin(math.radians(10)) ** 2
"""The least share of a known distance along an axis for it to tell that axis's scale."""
ROUNDS = 60


@dataclass(frozen=True, slots=True)
class Known:
    """A known distance after the fit [mm]: what it is, what the fit gives, and how far that is off."""

    segment: Segment
    fitted: float
    residual: float
    studentised: float | None
    outlier: bool


@dataclass(frozen=True, slots=True)
class Derived:
    """A distance scaled off [mm] with its uncertainty: ± half the 95 % prediction interval."""

    segment: Segment
    size: float
    uncertainty: float


@dataclass(frozen=True)
class ScaleOff:
    """The whole answer. Scales are mm full size to a unit of the print; ``turn_deg`` was taken out.

    ``deviation`` [mm] is the residual standard deviation, or the one that ``reading`` stands for
    where no degree of freedom is left; ``factor`` is Student's t for 95 %.
    """

    file: str
    scale_x: float
    scale_y: float
    error_x: float | None
    error_y: float | None
    one_scale: bool
    turn_deg: float
    deviation: float
    freedom: int
    factor: float
    known: tuple[Known, ...]
    derived: tuple[Derived, ...]
    notes: tuple[Problem, ...]

    @property
    def outliers(self) -> tuple[Known, ...]:
        """Known distances that do not go with the rest."""
        return tuple(item for item in self.known if item.outlier)

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts; lengths in mm."""
        from scaler.problems import as_dict

        return {
            "file": self.file,
            "scale_x_mm_per_unit": self.scale_x,
            "scale_y_mm_per_unit": self.scale_y,
            "scale_x_error": self.error_x,
            "scale_y_error": self.error_y,
            "one_scale": self.one_scale,
            "turn_deg": self.turn_deg,
            "deviation_mm": self.deviation,
            "degrees_of_freedom": self.freedom,
            "t_95": self.factor,
            "known": [
                {
                    "name": item.segment.name,
                    "known_mm": None if item.segment.known is None else float(item.segment.known),
                    "fitted_mm": item.fitted,
                    "residual_mm": item.residual,
                    "studentised": None
                    if item.studentised is None or math.isinf(item.studentised)
                    else item.studentised,
                    "outlier": item.outlier,
                    "file": item.segment.place.file,
                    "line": item.segment.place.line,
                }
                for item in self.known
            ],
            "sizes": [
                {
                    "name": item.segment.name,
                    "full_mm": item.size,
                    "uncertainty_mm": item.uncertainty,
                    "file": item.segment.place.file,
                    "line": item.segment.place.line,
                }
                for item in self.derived
            ],
            "notes": [as_dict(note) for note in self.notes],
        }

    def frame(self) -> pandas.DataFrame:
        """A pandas frame of the sizes scaled off: name, full_mm, uncertainty_mm, file, line."""
        import pandas

        return pandas.DataFrame(self.as_dict()["sizes"])

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))

    def sizes(self, part: str = "") -> SizesIn:
        """The sizes as rows that a model includes, each with its uncertainty.

        Parameters: part : of names that are not ``part.size``.
        Raises: InputError for a name that says no part where none is given, or that comes twice.
        """
        rows: list[SizeRow] = []
        problems = []
        seen: dict[tuple[str, str], Place] = {}
        for item in self.derived:
            own, dot, size = item.segment.name.partition(".")
            if not dot:
                own, size = part, item.segment.name
            key = (plain_name(own), plain_name(size))
            if not all(key):
                problems.append(
                    Problem("no-part", f"'{shorten(item.segment.name)}' does not say of which part",
                            item.segment.place, item.segment.name, "part.size",
                            "write part.size, or give the part of all rows")
                )  # fmt: skip
                continue
            if key in seen:
                problems.append(
                    Problem("double", f"{'.'.join(key)} comes twice; first at {seen[key]}",
                            item.segment.place, item.segment.name, "each name once", "rename one")
                )  # fmt: skip
                continue
            seen[key] = item.segment.place
            size_text, uncertainty = rounded(item.size, item.uncertainty)
            cells = {
                "part": key[0],
                "size": key[1],
                "full": f"{size_text} mm",
                "uncertainty": f"{uncertainty} mm",
                "origin": "scaled off a print",
                "note": f"{self.freedom} degrees of freedom, 95 %; {self.file}, "
                f"line {item.segment.place.line}",
            }
            rows.append(SizeRow(cells, item.segment.place, item.segment.name))
        if problems:
            raise InputError(problems)
        return SizesIn(tuple(rows), self.notes)

    def picture(self) -> str:
        """The residuals of the known distances as an SVG file of its own."""
        from scaler.cards.pictures import residuals

        marks = [
            (item.segment.name, float(item.segment.known or 0), item.residual, item.outlier)
            for item in self.known
        ]
        told = "; ".join(f"{name} {value:+.3g} mm" for name, _, value, _ in marks)
        return residuals(marks, self.deviation, "Residuals of the known distances", "mm", told)


def rounded(size: float, uncertainty: float) -> tuple[str, str]:
    """A size and its uncertainty for print: two figures of the uncertainty, rounded up, both alike.

    >>> rounded(1234.5678, 1.2345), rounded(25.4, 0.0301)
    (('1234.6', '1.3'), ('25.400', '0.031'))
    """
    if not uncertainty > 0:
        return f"{size:.3f}", "0.001"
    places = 1 - math.floor(math.log10(uncertainty))
    step = 10.0**-places
    up = math.ceil(uncertainty / step - 1e-9) * step
    places = max(places, 0)
    return f"{size:.{places}f}", f"{max(up, 10.0**-places):.{places}f}"


# ------------------------------------------------------------------------------------ fitting


def scale_off(
    segments: Sequence[Segment],
    *,
    one_scale: bool = False,
    turn_deg: float | None = 0.0,
    reading: float | None = None,
    file: str = "",
) -> ScaleOff:
    """The scales of a print from its known distances, and every other distance with its uncertainty.

    Parameters: one_scale : the same scale along x and y; turn_deg : how far the print lies turned
        (degrees, against the clock), None: found from the lines that lie nearly level or upright;
        reading : how closely a point is placed on the print, ± in its units (two standard
        deviations), used where the known distances leave nothing to judge by.
    Raises: InputError where the known distances do not fix the scales, naming the lines.
    """
    turn = _turn(segments) if turn_deg is None else turn_deg
    file = file or (segments[0].place.file if segments else "")
    known = [segment for segment in segments if segment.known is not None]
    _enough(known, segments, one_scale, reading)
    sides = {segment.name: _sides(segment, turn) for segment in segments}
    if not one_scale:
        _both_ways(known, sides)
    a, b, fit = _fit(known, sides, one_scale)
    if fit.freedom >= 1:
        deviation = fit.deviation or 0.0
        factor = t_value(SHARE, fit.freedom)
    else:
        assert reading is not None
        deviation, factor = reading / 2 * math.sqrt(2) * (a + b) / 2, NORMAL_95
    errors = [deviation * math.sqrt(row[at]) for at, row in enumerate(fit.inverse)]
    notes = _notes(a, b, segments, one_scale)
    checked = _known_after(known, sides, fit, a, b)
    for item in checked:
        if item.outlier:
            notes.append(
                Problem("outlier", f"{item.segment.name}: known {item.segment.known_text}, the rest "
                        f"say {item.fitted:.2f} mm ({item.residual:+.2f} mm)", item.segment.place,
                        item.segment.known_text, "a known size that goes with the others",
                        "measure it again, or look whether the drawing is wrong; without its known "
                        "size it is scaled off like the rest", severity="warning")
            )  # fmt: skip
    derived = []
    for segment in segments:
        if segment.known is not None:
            continue
        size = _length(sides[segment.name], a, b)
        row = _gradient(sides[segment.name], a, b, one_scale)
        spread = deviation * math.sqrt(1 + float(fit.hat(row)))
        derived.append(Derived(segment, size, factor * spread))
    error_y = errors[0] if one_scale else errors[1]
    return ScaleOff(
        file, a, b, errors[0], error_y, one_scale, turn, deviation, fit.freedom, factor,
        tuple(checked), tuple(derived), tuple(notes),
    )  # fmt: skip


Sides = tuple[Fraction, Fraction]


def _sides(segment: Segment, turn_deg: float) -> Sides:
    """Δx and Δy of a segment with the turn taken out."""
    if not turn_deg:
        return segment.dx, segment.dy
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    c_exact, s_exact = Fraction(c), Fraction(s)
    return segment.dx * c_exact + segment.dy * s_exact, segment.dy * c_exact - segment.dx * s_exact


def _turn(segments: Sequence[Segment]) -> float:
    """How far the lines that lie nearly level or upright are turned [degrees].

    The turn that makes the sum of their squares across their own axis least, in closed form.
    Raises InputError where there is no such line.
    """
    cross = along = 0.0
    found = False
    for segment in segments:
        dx, dy = float(segment.dx), float(segment.dy)
        if abs(dy) > abs(dx):
            dx, dy = dy, -dx
        if (
            abs(math.degrees(math.atan2(dy, dx) if dx > 0 else math.atan2(-dy, -dx)))
            <= NEAR_AXIS_DEG
        ):
            found = True
            cross += 2 * dx * dy
            along += dx * dx - dy * dy
    if not found:
        place = segments[0].place if segments else None
        raise InputError(
            [Problem("no-turn", "no line lies within 10° of level or upright: the turn of the print "
                     "cannot be found", place, expected="a line that is level on the drawing",
                     advice="give the turn in degrees, or none")]
        )  # fmt: skip
    return math.degrees(math.atan2(cross, along) / 2)


def _enough(
    known: Sequence[Segment], segments: Sequence[Segment], one_scale: bool, reading: float | None
) -> None:
    """Refuses tables whose known distances are too few."""
    first = known[0].place if known else (segments[0].place if segments else None)
    lines = ", ".join(f"{item.name} (line {item.place.line})" for item in known)
    if len(known) < 2:
        said = f"only one distance is known: {lines}" if known else "no distance is known"
        raise InputError(
            [Problem("too-few-known", said, first, expected="two known distances or more",
                     advice="write the dimensions that the print gives into the column 'known'")]
        )  # fmt: skip
    parameters = 1 if one_scale else 2
    if len(known) <= parameters and not reading:
        raise InputError(
            [Problem("nothing-to-judge-by", "two known distances for two scales leave nothing to "
                     f"judge the fit by: {lines}", first,
                     expected="a third known distance",
                     advice="give one more, or one scale for both ways, or how closely points are "
                     "placed (reading)")]
        )  # fmt: skip


def _both_ways(known: Sequence[Segment], sides: Mapping[str, Sides]) -> None:
    """Refuses known distances that all run one way where two scales are wanted."""
    shares = []
    for segment in known:
        dx, dy = sides[segment.name]
        shares.append(float(dy * dy / (dx * dx + dy * dy)))
    for axis, told in (("y", max(shares)), ("x", 1 - min(shares))):
        if told < TELLS:
            other = "x" if axis == "y" else "y"
            lines = ", ".join(f"{s.name} (line {s.place.line})" for s in known)
            raise InputError(
                [Problem("one-way", f"all known distances run along {other}, so nothing tells the "
                         f"scale along {axis}: {lines}", known[0].place,
                         expected=f"a known distance along {axis}",
                         advice="give one, or take one scale for both ways")]
            )  # fmt: skip


def _length(sides: Sides, a: float, b: float) -> float:
    return math.hypot(a * float(sides[0]), b * float(sides[1]))


def _gradient(sides: Sides, a: float, b: float, one_scale: bool) -> list[Fraction]:
    """How a distance moves with the scales, at these scales."""
    dx, dy = float(sides[0]), float(sides[1])
    if one_scale:
        return [Fraction(math.hypot(dx, dy))]
    length = math.hypot(a * dx, b * dy)
    return [Fraction(a * dx * dx / length), Fraction(b * dy * dy / length)]


def _fit(
    known: Sequence[Segment], sides: Mapping[str, Sides], one_scale: bool
) -> tuple[float, float, Fit]:
    """The scales: a start from the squares, then repeated linearisation until nothing moves."""
    values = [segment.known or Fraction(0) for segment in known]
    measured = [sides[segment.name] for segment in known]
    try:
        if one_scale:
            fit = solve([_gradient(s, 1.0, 1.0, True) for s in measured], values)
            scale = float(fit.parameters[0])
            return scale, scale, fit
        start = solve([[dx * dx, dy * dy] for dx, dy in measured], [v * v for v in values])
        overall = math.sqrt(
            float(sum((v * v for v in values), Fraction(0)))
            / float(sum((dx * dx + dy * dy for dx, dy in measured), Fraction(0)))
        )
        a, b = (
            math.sqrt(float(p)) if p > 0 and math.sqrt(float(p)) > overall / 4 else overall
            for p in start.parameters
        )
        for _ in range(ROUNDS):
            rows = [_gradient(s, a, b, False) for s in measured]
            left = [v - Fraction(_length(s, a, b)) for v, s in zip(values, measured, strict=True)]
            fit = solve(rows, left)
            step_a, step_b = float(fit.parameters[0]), float(fit.parameters[1])
            a, b = max(a + step_a, a / 4), max(b + step_b, b / 4)
            if abs(step_a) <= 1e-14 * a and abs(step_b) <= 1e-14 * b:
                break
        rows = [_gradient(s, a, b, False) for s in measured]
        left = [v - Fraction(_length(s, a, b)) for v, s in zip(values, measured, strict=True)]
        return a, b, solve(rows, left)
    except Undetermined:
        lines = ", ".join(f"{s.name} (line {s.place.line})" for s in known)
        raise InputError(
            [Problem("undetermined", f"the known distances do not fix the scales: {lines}",
                     known[0].place, expected="known distances along x and along y",
                     advice="give one along the other axis")]
        ) from None  # fmt: skip


def _known_after(
    known: Sequence[Segment], sides: Mapping[str, Sides], fit: Fit, a: float, b: float
) -> list[Known]:
    limit = t_value(1 - (1 - SHARE) / len(known), fit.freedom - 1) if fit.freedom > 1 else math.inf
    found = []
    for segment, t in zip(known, fit.studentised, strict=True):
        fitted = _length(sides[segment.name], a, b)
        residual = float(segment.known or 0) - fitted
        real = abs(residual) > 1e-9 * fitted
        found.append(Known(segment, fitted, residual, t, t is not None and abs(t) > limit and real))
    return found


def _notes(a: float, b: float, segments: Sequence[Segment], one_scale: bool) -> list[Problem]:
    notes = []
    ratio = max(a, b) / min(a, b)
    if ratio > 1.05 and not one_scale:
        notes.append(
            Problem("unequal", f"the scales along x and y differ by {100 * (ratio - 1):.1f} %: more "
                    "than paper does", segments[0].place, expected="a few per cent at most",
                    advice="look whether x and y are in one unit and the known sizes are right",
                    severity="warning")
        )  # fmt: skip
    return notes
