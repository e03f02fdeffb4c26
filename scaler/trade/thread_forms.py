"""Screw-thread geometry: the forms, and what follows from a major diameter and a pitch.

Pure arithmetic on exact fractions; reads no table. Lengths are in mm, areas in mm², angles in
degrees. The three roots that the forms need are held as fractions of 40 decimals (:data:`SQRT_3`,
:data:`COT_27_5`, :data:`COT_23_75`) and so is :data:`PI`; each is within 1e-40 of the true number,
so a diameter worked out here is within 1e-37 mm for any thread under 1 m across. Nothing is rounded
before it is printed.

References
----------
ISO 68-1:1998 (metric form), ISO 724:1993 (its basic sizes), ISO 898-1:2013, 9.1.6.1 (stress area);
ASME B1.1-2003 (Unified form, stress area, lengths of engagement); BS 84:2007 (Whitworth form);
BS 93:2008 (BA form); BS 811:1950 (cycle form). All second-hand: read in copies.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

SQRT_3 = Fraction("1.7320508075688772935274463415058723669428")
COT_27_5 = Fraction("1.9209821269711658477931107837058964583960")
COT_23_75 = Fraction("2.2726728789266801860945584285176358040356")
PI = Fraction("3.1415926535897932384626433832795028841972")

_DIGITS = 10**40


@dataclass(frozen=True, slots=True)
class ThreadForm:
    """A thread form: what every diameter loses for each unit of pitch.

    Attributes
    ----------
    name : str
        Short name of the form.
    included_angle_deg : Fraction
        Angle between the flanks. [degrees]
    sharp_height : Fraction
        Height of the sharp triangle, H/P. [-]
    effective_loss : Fraction
        (major - effective) / P. [-]
    minor_loss : Fraction
        (major - external minor) / P, the core of the screw. [-]
    minor_internal_loss : Fraction
        (major - internal minor) / P, the least hole in the nut. [-]
    full_depth : Fraction
        The depth on one side, over P, that counts as 100 % of full thread. [-]
    convention : str
        That depth in words.
    stress_loss : Fraction
        (major - diameter of the stress area) / P. [-]
    stress_rule : str
        Where the stress area comes from.
    source : str
        Key into the sources table.
    """

    name: str
    included_angle_deg: Fraction
    sharp_height: Fraction
    effective_loss: Fraction
    minor_loss: Fraction
    minor_internal_loss: Fraction
    full_depth: Fraction
    convention: str
    stress_loss: Fraction
    stress_rule: str
    source: str

    @property
    def flank_tangent(self) -> Fraction:
        """Tangent of half the included angle: P / (2 H). [-]"""
        return 1 / (2 * self.sharp_height)


_H60 = SQRT_3 / 2
_H55 = COT_27_5 / 2
_H_BA = COT_23_75 / 2
_MEAN_OF_TWO = "common practice: the circle midway between the effective and minor diameters"
_THREE_QUARTERS = (
    "of 2 x 0.6495 P, three quarters of the sharp height on each side (common practice)"
)

ISO_METRIC = ThreadForm(
    name="ISO metric",
    included_angle_deg=Fraction(60),
    sharp_height=_H60,
    effective_loss=_H60 * Fraction(3, 4),
    minor_loss=_H60 * Fraction(17, 12),
    minor_internal_loss=_H60 * Fraction(5, 4),
    full_depth=_H60 * Fraction(3, 4),
    convention=_THREE_QUARTERS,
    stress_loss=_H60 * (Fraction(3, 4) + Fraction(17, 12)) / 2,
    stress_rule="ISO 898-1: the circle midway between d2 and d3",
    source="ISO 68-1:1998 (copy)",
)
UNIFIED = ThreadForm(
    name="Unified",
    included_angle_deg=Fraction(60),
    sharp_height=_H60,
    effective_loss=_H60 * Fraction(3, 4),
    minor_loss=_H60 * Fraction(11, 8),
    minor_internal_loss=_H60 * Fraction(5, 4),
    full_depth=_H60 * Fraction(3, 4),
    convention=_THREE_QUARTERS,
    stress_loss=SQRT_3 * Fraction(9, 16),
    stress_rule="ASME B1.1: the circle of diameter D - 0.9743/n",
    source="ASME B1.1-2003 (copy)",
)
WHITWORTH = ThreadForm(
    name="Whitworth",
    included_angle_deg=Fraction(55),
    sharp_height=_H55,
    effective_loss=_H55 * Fraction(2, 3),
    minor_loss=_H55 * Fraction(4, 3),
    minor_internal_loss=_H55 * Fraction(4, 3),
    full_depth=_H55 * Fraction(2, 3),
    convention="of 2 x 0.6403 P, the full depth of the Whitworth form on each side",
    stress_loss=_H55,
    stress_rule=_MEAN_OF_TWO,
    source="BS 84:2007 (copy)",
)
BA = ThreadForm(
    name="BA",
    included_angle_deg=Fraction(95, 2),
    sharp_height=_H_BA,
    effective_loss=Fraction(3, 5),
    minor_loss=Fraction(6, 5),
    minor_internal_loss=Fraction(6, 5),
    full_depth=Fraction(3, 5),
    convention="of 2 x 0.6 P, the full depth of the BA form on each side",
    stress_loss=Fraction(9, 10),
    stress_rule=_MEAN_OF_TWO,
    source="BS 93:1951 (copy)",
)
CYCLE = ThreadForm(
    name="cycle",
    included_angle_deg=Fraction(60),
    sharp_height=_H60,
    effective_loss=_H60 - Fraction(1, 3),
    minor_loss=2 * (_H60 - Fraction(1, 3)),
    minor_internal_loss=2 * (_H60 - Fraction(1, 3)),
    full_depth=_H60 - Fraction(1, 3),
    convention="of 2 x 0.5327 P, the full depth of the cycle form on each side",
    stress_loss=(_H60 - Fraction(1, 3)) * Fraction(3, 2),
    stress_rule=_MEAN_OF_TWO,
    source="BS 811:1950 (copy)",
)


def _checked(form: ThreadForm, major_mm: Fraction, pitch_mm: Fraction) -> None:
    if pitch_mm <= 0 or major_mm <= 0:
        raise ValueError(f"a thread of {major_mm} mm by {pitch_mm} mm pitch: both must exceed 0")
    if form.minor_loss * pitch_mm >= major_mm:
        raise ValueError(
            f"a thread of {major_mm} mm by {pitch_mm} mm pitch has no core left in the "
            f"{form.name} form"
        )


def effective_diameter(form: ThreadForm, major_mm: Fraction, pitch_mm: Fraction) -> Fraction:
    """Effective (pitch) diameter, basic. [mm]

    Raises ValueError where major or pitch is not positive or the pitch leaves no core.

    >>> round(float(effective_diameter(ISO_METRIC, Fraction(6), Fraction(1))), 3)
    5.35
    """
    _checked(form, major_mm, pitch_mm)
    return major_mm - form.effective_loss * pitch_mm


def minor_diameter(form: ThreadForm, major_mm: Fraction, pitch_mm: Fraction) -> Fraction:
    """Minor (core) diameter of the screw. [mm]

    ISO metric: d3, the rounded root, major - 17/12 H. Unified: the UNR root, major - 11/8 H.
    The other forms: as deep as the nut's thread. Raises ValueError as `effective_diameter` does.

    >>> round(float(minor_diameter(ISO_METRIC, Fraction(6), Fraction(1))), 3)
    4.773
    """
    _checked(form, major_mm, pitch_mm)
    return major_mm - form.minor_loss * pitch_mm


def minor_internal_diameter(form: ThreadForm, major_mm: Fraction, pitch_mm: Fraction) -> Fraction:
    """Minor diameter of the nut, the least hole, basic. [mm]

    Raises ValueError as `effective_diameter` does.

    >>> round(float(minor_internal_diameter(ISO_METRIC, Fraction(6), Fraction(1))), 3)
    4.917
    """
    _checked(form, major_mm, pitch_mm)
    return major_mm - form.minor_internal_loss * pitch_mm


def thread_depth(form: ThreadForm, pitch_mm: Fraction) -> Fraction:
    """Depth of the screw's thread on one side. [mm] Raises ValueError where pitch is not positive.

    >>> thread_depth(BA, Fraction(1))
    Fraction(3, 5)
    """
    if pitch_mm <= 0:
        raise ValueError(f"a pitch of {pitch_mm} mm: it must exceed 0")
    return form.minor_loss * pitch_mm / 2


def circle_area(diameter_mm: Fraction) -> Fraction:
    """Area of a circle. [mm²]"""
    return PI * diameter_mm * diameter_mm / 4


def stress_area(form: ThreadForm, major_mm: Fraction, pitch_mm: Fraction) -> Fraction:
    """The area that a screw's tensile strength is reckoned on. [mm²]

    ISO 898-1 for metric, ASME B1.1 for Unified; for the other forms the circle midway between
    effective and minor diameters, common practice. Raises ValueError as `effective_diameter` does.

    >>> round(float(stress_area(ISO_METRIC, Fraction(6), Fraction(1))), 1)
    20.1
    """
    _checked(form, major_mm, pitch_mm)
    return circle_area(major_mm - form.stress_loss * pitch_mm)


def _arctangent(x: Fraction) -> Fraction:
    """Arctangent of 0 <= x <= 1/2, to within 1e-35. [radians]"""
    square, power, total, odd = x * x, x, Fraction(0), 1
    while power > Fraction(1, _DIGITS):
        total += power / odd if odd % 4 == 1 else -power / odd
        power = Fraction(round(power * square * _DIGITS), _DIGITS)
        odd += 2
    return total


def helix_angle(effective_mm: Fraction, pitch_mm: Fraction) -> Fraction:
    """Helix (lead) angle of a single-start thread at the effective diameter. [degrees]

    arctan(P / (pi d2)), to within 1e-32 degrees. Raises ValueError where either is not positive or
    where the angle exceeds 26 degrees, which no thread here comes near.

    >>> round(float(helix_angle(Fraction("5.35"), Fraction(1))), 3)
    3.405
    """
    if effective_mm <= 0 or pitch_mm <= 0:
        raise ValueError("effective diameter and pitch must exceed 0")
    slope = pitch_mm / (PI * effective_mm)
    if slope > Fraction(1, 2):
        raise ValueError("a helix steeper than 1 in 2 is no fastening thread")
    slope = Fraction(round(slope * _DIGITS), _DIGITS)
    return _arctangent(slope) * 180 / PI


def percent_of_thread(
    form: ThreadForm, major_mm: Fraction, pitch_mm: Fraction, drill_mm: Fraction
) -> Fraction:
    """How much of the full thread a tapping drill leaves, in the form's convention. [%]

    100 x (major - drill) / (2 x full depth). More than 100 means that the hole is smaller than
    the convention's full thread; 0 or less that it takes the thread away. Raises ValueError where
    major, pitch or drill is not positive.

    >>> round(float(percent_of_thread(BA, Fraction("4.7"), Fraction("0.81"), Fraction(4))), 1)
    72.0
    """
    if min(major_mm, pitch_mm, drill_mm) <= 0:
        raise ValueError("major diameter, pitch and drill must exceed 0")
    return 100 * (major_mm - drill_mm) / (2 * form.full_depth * pitch_mm)


def drill_for_percent(
    form: ThreadForm, major_mm: Fraction, pitch_mm: Fraction, percent: Fraction
) -> Fraction:
    """The hole that leaves so much of the full thread, exact. [mm]

    Raises ValueError where percent is outside 0 to 100, or major or pitch not positive.

    >>> drill_for_percent(BA, Fraction(6), Fraction(1), Fraction(75))
    Fraction(51, 10)
    """
    if not 0 <= percent <= 100:
        raise ValueError(f"{percent} % of full thread: it must lie between 0 and 100")
    if min(major_mm, pitch_mm) <= 0:
        raise ValueError("major diameter and pitch must exceed 0")
    return major_mm - 2 * form.full_depth * pitch_mm * percent / 100


def screw_strip_area(
    form: ThreadForm,
    major_mm: Fraction,
    pitch_mm: Fraction,
    engagement_mm: Fraction,
    hole_mm: Fraction | None = None,
) -> Fraction:
    """Area over which the screw's own threads would shear. [mm²]

    At basic sizes: pi K (L/P) [P/2 + (d2 - K) tan(half angle)], K being the hole in the nut
    (`hole_mm`, the tapping drill; the basic minor diameter where None, and never less than that).
    A comparison between threads, not a strength. Raises ValueError where the hole reaches the major
    diameter or the engagement is not positive.

    References: ASME B1.1-2003, appendix B, formula for AS of external threads (copy), which takes
    the extreme limits in place of the basic sizes.
    """
    least = minor_internal_diameter(form, major_mm, pitch_mm)
    hole = least if hole_mm is None else max(hole_mm, least)
    if hole >= major_mm or engagement_mm <= 0:
        raise ValueError("the hole leaves no thread, or there is no engagement")
    across = effective_diameter(form, major_mm, pitch_mm) - hole
    width = pitch_mm / 2 + form.flank_tangent * across
    return max(Fraction(0), PI * hole * engagement_mm / pitch_mm * width)


def nut_strip_area(
    form: ThreadForm, major_mm: Fraction, pitch_mm: Fraction, engagement_mm: Fraction
) -> Fraction:
    """Area over which the tapped threads would shear, at the screw's major diameter. [mm²]

    pi D (L/P) [P/2 + (D - D2) tan(half angle)] at basic sizes. Raises ValueError where the
    engagement is not positive. References: as `screw_strip_area`, AS of internal threads.
    """
    if engagement_mm <= 0:
        raise ValueError("there is no engagement")
    across = major_mm - effective_diameter(form, major_mm, pitch_mm)
    width = pitch_mm / 2 + form.flank_tangent * across
    return PI * major_mm * engagement_mm / pitch_mm * width


def engagement_for_core(
    form: ThreadForm,
    major_mm: Fraction,
    pitch_mm: Fraction,
    nut_to_screw: Fraction = Fraction(1),
    hole_mm: Fraction | None = None,
) -> Fraction:
    """Length of engagement at which the core would break before either thread strips. [mm]

    Shear strength is taken as half the tensile strength, as in ASME B1.1, so twice the stress area
    is wanted in strip area; `nut_to_screw` is the tensile strength of the tapped metal over that of
    the screw. A geometrical comparison at basic sizes, with no margin. Raises ValueError where
    `nut_to_screw` is not positive.

    References: ASME B1.1-2003, appendix B, length of engagement LE (copy).
    """
    if nut_to_screw <= 0:
        raise ValueError("the ratio of strengths must exceed 0")
    wanted = 2 * stress_area(form, major_mm, pitch_mm)
    one = Fraction(1)
    by_screw = wanted / screw_strip_area(form, major_mm, pitch_mm, one, hole_mm)
    by_nut = wanted / (nut_strip_area(form, major_mm, pitch_mm, one) * nut_to_screw)
    return max(by_screw, by_nut)
