"""Press and shrink fits: pressure, forces and stresses by the thick-cylinder equations. A guide.

Two smooth round parts of one length, elastic, at one temperature: the hub's bore is smaller than
the shaft by the interference, and the pressure between them follows from how both give way
(Lamé's thick cylinders in plane stress). Diameters, not radii, all through. The pressure, the
stresses and the change of the free diameters are exact in rationals; forces hold π and are rounded
outward.

With d the common diameter, D the outside of the hub, b the bore of the shaft (0: solid) and δ the
interference on diameter::

    p = δ / (d (Ch / Eh + Cs / Es)),  Ch = (D² + d²)/(D² − d²) + νh,  Cs = (d² + b²)/(d² − b²) − νs

References: Shigley's Mechanical Engineering Design, 9th edition, equations 7-39 to 7-47 (page 399
read in a copy); the same equations stand in most texts on machine design.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from scaler import catalogue
from scaler.checking.cautions import Caution
from scaler.expressions.interval_angles import pi
from scaler.fitting.material_figures import Material, UnknownMaterial, find_material

ZERO = Fraction(0)
Range = tuple[Fraction, Fraction]

GUIDE = Caution(
    "press fit",
    "guide",
    "a guide only",
    "Thick-cylinder theory takes both parts as round, smooth, elastic and of one length. Rough "
    "faces lose some of the interference, friction differs from one assembly to the next, ends and "
    "spokes concentrate the stress, and where a part yields the figures end. Try the fit on scrap.",
)
PRESS = Caution(
    "press fit",
    "press",
    "pressing",
    "Parts under a press can burst or fly out, castings above all: guard, press squarely, and "
    "stand aside.",
)
SAFETY = Caution(
    "press fit",
    "safety part",
    "no approval",
    "Wheel seats, axles, crank pins, brakes and couplings are safety parts: no figure here approves "
    "the fit or lets people be carried on it. Have it judged by the inspecting body, and key or pin "
    "it where their code asks for that.",
)


class PressFitError(ValueError):
    """Sizes or figures that make no press fit. Attributes: problem, expected, advice."""

    def __init__(self, problem: str, expected: str = "", advice: str = "") -> None:
        self.problem, self.expected, self.advice = problem, expected, advice
        super().__init__(problem)


@dataclass(frozen=True, slots=True)
class Elastic:
    """What a material gives way by: modulus [GPa] and Poisson's ratio, with their source."""

    name: str
    modulus: Fraction
    poisson: Fraction
    source: str = ""

    @property
    def modulus_n_mm2(self) -> Fraction:
        """Modulus [N/mm²]."""
        return self.modulus * 1000


def elastic(material: Material | str) -> Elastic:
    """The elastic figures of a material of the catalogue.

    Raises UnknownMaterial for an unknown one, or one whose modulus or ratio the table lacks.
    """
    item = find_material(material) if isinstance(material, str) else material
    if item.modulus is None or item.poisson is None:
        lacking = "modulus" if item.modulus is None else "Poisson's ratio"
        raise UnknownMaterial(item.name, f"the materials table gives no {lacking} for {item.name}")
    return Elastic(
        item.name,
        item.modulus,
        item.poisson,
        f"modulus {item.modulus_source}; ratio {item.poisson_source}",
    )


@dataclass(frozen=True, slots=True)
class Friction:
    """A range of the coefficient of friction, with where it was read."""

    low: Fraction
    high: Fraction
    text: str
    source: str
    place: str = ""


def friction_of(inner_family: str, outer_family: str, how: str = "pressed") -> Friction:
    """The range of friction of two materials' families, from the table ``press_friction``.

    Parameters: families as in the materials table, in either order; how : ``pressed`` or
    ``shrunk``. Where a pair of families is not in the table, its row for any two metals.
    Raises: PressFitError for another way of assembling.
    """
    rows = [row for row in catalogue.table("press_friction").rows if row.text("how") == how]
    if not rows:
        raise PressFitError(f"'{how}' is no way to assemble a fit", "pressed or shrunk")
    asked = {_metal(inner_family), _metal(outer_family)}
    # the narrow rows first; the row of any two metals closes each list
    for row in rows:
        if {row.text("inner"), row.text("outer")} in (asked, {"any"}):
            return Friction(
                row.number("friction_min"),
                row.number("friction_max"),
                row.text("designation"),
                row.text("source"),
                row.text("place"),
            )
    raise PressFitError(f"no friction is given for {inner_family} in {outer_family}")


def _metal(family: str) -> str:
    if family == "stainless steel":
        return "steel"
    return "brass or bronze" if family in ("brass", "bronze", "nickel silver", "copper") else family


@dataclass(frozen=True, slots=True)
class PressFit:
    """A press fit at one interference. Lengths in mm, stresses in N/mm², forces in N, torque N mm.

    ``axial`` and ``torque`` are what friction holds, least and greatest, for the range given; the
    force to press the parts together reaches ``axial`` at full depth. None where no length is
    known. Hoop stresses: tension positive.
    """

    diameter: Fraction
    interference: Fraction
    hub_outside: Fraction
    shaft_bore: Fraction
    length: Fraction | None
    hub: Elastic
    shaft: Elastic
    friction: Friction
    pressure: Fraction
    hub_hoop: Fraction
    shaft_hoop: Fraction
    axial: Range | None
    torque: Range | None
    bore_closure: Fraction
    hub_growth: Fraction

    @property
    def shaft_bore_hoop(self) -> Fraction | None:
        """Hoop stress at the bore of a hollow shaft [N/mm²]; None for a solid one."""
        if not self.shaft_bore:
            return None
        d, b = self.diameter**2, self.shaft_bore**2
        return -2 * self.pressure * d / (d - b)


def press_fit(
    diameter: Fraction,
    interference: Fraction,
    hub_outside: Fraction,
    hub: Elastic,
    shaft: Elastic,
    friction: Friction,
    *,
    shaft_bore: Fraction = ZERO,
    length: Fraction | None = None,
) -> PressFit:
    """Pressure, forces, stresses and closing-in of a press or shrink fit.

    Parameters: diameter : common to both parts; interference : on diameter, positive; hub_outside
        : outside of the hub; shaft_bore : bore of the shaft, 0 where it is solid; length : of the
        fit, None where it is not known [mm]; hub, shaft : Elastic; friction : range.
    Returns: PressFit.
    Raises: PressFitError for sizes that make no two rings round one another, an interference not
        above nothing, a length, modulus or friction that is not positive.

    >>> steel = Elastic("steel", Fraction(210), Fraction("0.3"))
    >>> dry = Friction(Fraction("0.15"), Fraction("0.15"), "dry", "example")
    >>> fit = press_fit(Fraction(100), Fraction("0.1"), Fraction(150), steel, steel, dry)
    >>> round(float(fit.pressure), 1)
    58.3
    """
    _checked(diameter, interference, hub_outside, shaft_bore, length, (hub, shaft), friction)
    outside, common, inside = hub_outside**2, diameter**2, shaft_bore**2
    hub_factor = (outside + common) / (outside - common)
    shaft_factor = (common + inside) / (common - inside)
    give = (hub_factor + hub.poisson) / hub.modulus_n_mm2
    give += (shaft_factor - shaft.poisson) / shaft.modulus_n_mm2
    pressure = interference / (diameter * give)
    axial = torque = None
    if length is not None:
        turn = pi()
        grip = pressure * diameter * length
        axial = (grip * friction.low * turn.lower, grip * friction.high * turn.upper)
        torque = (axial[0] * diameter / 2, axial[1] * diameter / 2)
    closure = 2 * pressure * common * shaft_bore
    closure /= shaft.modulus_n_mm2 * (common - inside)
    hub_growth = 2 * pressure * common * hub_outside
    hub_growth /= hub.modulus_n_mm2 * (outside - common)
    return PressFit(
        diameter, interference, hub_outside, shaft_bore, length, hub, shaft, friction, pressure,
        pressure * hub_factor, -pressure * shaft_factor, axial, torque, closure, hub_growth,
    )  # fmt: skip


def _checked(
    diameter: Fraction,
    interference: Fraction,
    hub_outside: Fraction,
    shaft_bore: Fraction,
    length: Fraction | None,
    materials: Iterable[Elastic],
    friction: Friction,
) -> None:
    def say(problem: str, expected: str) -> None:
        raise PressFitError(problem, expected, "measure the parts, or look at the drawing again")

    if interference <= 0:
        say(
            f"an interference of {float(interference):g} mm presses nothing",
            "the shaft larger than the bore",
        )
    if not 0 <= shaft_bore < diameter < hub_outside:
        say(
            f"a shaft of {float(diameter):g} mm with a bore of {float(shaft_bore):g} mm in a hub "
            f"of {float(hub_outside):g} mm outside leaves no metal",
            "bore less than shaft less than hub",
        )
    if interference * 20 > diameter:
        say(
            f"an interference of {float(interference):g} mm on {float(diameter):g} mm is no fit: "
            "metals yield long before",
            "at most a twentieth of the diameter",
        )
    if length is not None and length <= 0:
        say("a fit needs a length", "more than 0 mm")
    for item in materials:
        if item.modulus <= 0 or not 0 <= item.poisson <= Fraction(1, 2):
            say(f"{item.name}: modulus or Poisson's ratio cannot be", "modulus > 0, ratio 0 to 0.5")
    if not 0 < friction.low <= friction.high:
        say("the range of friction is not one", "two figures above 0, the smaller first")
