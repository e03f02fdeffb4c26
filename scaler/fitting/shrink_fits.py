"""Shrink fits: to what temperature the outer part is heated, or the inner cooled, to go together.

References: ΔT = (interference + clearance) / (α × bore), as engineering pages on shrink fits give
it; the bore itself is expanded here, so the figures are exact. A guide only.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from scaler.checking.cautions import Caution
from scaler.fitting.material_figures import (
    COLDEST,
    HOTTEST,
    MEAN_TO,
    REFERENCE,
    Material,
    TemperatureError,
    expand,
    find_material,
)

# the highest temperature at which a part is commonly warmed for fitting [°C], and what happens
# beyond it: common practice, a guide only
HEAT_LIMITS: Mapping[str, tuple[Fraction, str]] = {
    "steel": (Fraction(250), "hardened or tempered steel loses its temper, and it scales"),
    "stainless steel": (Fraction(300), "it discolours"),
    "cast iron": (Fraction(300), "an uneven heat cracks castings"),
    "brass": (Fraction(250), "hard-drawn metal softens"),
    "bronze": (Fraction(250), "hard-drawn metal softens; leaded bronze sweats"),
    "copper": (Fraction(200), "hard-drawn copper softens"),
    "nickel silver": (Fraction(250), "hard-drawn metal softens"),
    "aluminium": (Fraction(150), "heat-treated alloys lose strength for good"),
    "white metal": (Fraction(120), "it softens and runs"),
    "lead": (Fraction(120), "it softens"),
    "solder": (Fraction(100), "it softens and runs"),
    "plastic": (Fraction(80), "it softens, and some give off poisonous fumes"),
}

FREEZER, DRY_ICE = Fraction(-18), Fraction("-78.5")
"""What a household freezer and solid carbon dioxide reach [°C]: common practice."""

GUIDE = Caution(
    "expansion",
    "guide",
    "a guide only",
    "Coefficients are means of a kind of alloy, no part is at one temperature throughout, and a "
    "pressed-in bush follows the part that holds it. Try the fit, or the assembly, before you rely "
    "on the figure.",
)
HEAT = Caution(
    "heat",
    "heat",
    "heat and fumes",
    "Hot metal looks like cold metal: mark it, wear gloves that are made for it, and keep water "
    "and oil away. Oil, paint, plating, plastic and retaining compound give off fumes when they "
    "are heated, plating and some plastics poisonous ones: clean the part first and ventilate. "
    "Heat evenly. Never heat a closed vessel, and never a part that holds pressure.",
)
COLD = Caution(
    "cold",
    "heat",
    "cold burns",
    "Solid carbon dioxide burns the skin and its gas stifles in a closed room or car. Liquid "
    "nitrogen is for those who are trained and equipped for it.",
)
SEASONS = Caution(
    "seasons",
    "guide",
    "measure at one temperature",
    "Sizes hold at 20 °C. In a cold shed or a hot summer measure both parts at the same "
    "temperature, and let them lie side by side beforehand: two materials do not grow alike.",
)


@dataclass(frozen=True, slots=True)
class Shrink:
    """Temperatures at which a shrink fit goes together. Lengths in mm, temperatures in °C.

    ``heat_outer`` : the outer part alone heated, the inner at ``inner_celsius``; ``cool_inner`` :
    the inner part alone cooled, the outer at 20 °C; None where absolute zero is not cold enough.
    """

    bore: Fraction
    interference: Fraction
    clearance: Fraction
    outer: Material
    inner: Material
    inner_celsius: Fraction
    heat_outer: Fraction
    cool_inner: Fraction | None
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values, each figure with its exact twin."""
        from scaler.report import caution_dict, twin

        return {
            **twin("bore_mm", self.bore),
            **twin("interference_mm", self.interference),
            **twin("clearance_mm", self.clearance),
            "outer": self.outer.name,
            "inner": self.inner.name,
            **twin("inner_at_c", self.inner_celsius),
            **twin("heat_outer_c", self.heat_outer),
            **twin("cool_inner_c", self.cool_inner),
            "notes": list(self.notes),
            "cautions": [caution_dict(caution) for caution in self.cautions],
        }


def shrink_temperature(
    outer: str,
    inner: str,
    bore: Fraction,
    interference: Fraction,
    clearance: Fraction | None = None,
    *,
    inner_celsius: Fraction = REFERENCE,
) -> Shrink:
    """To what temperature the outer part must be heated, or the inner cooled, to go together.

    Parameters: outer, inner : materials. bore : of the outer part at 20 °C [mm]. interference :
        of the inner part over the bore at 20 °C, more than 0 [mm]. clearance : wanted while they
        go together [mm]; without it a thousandth of the bore (common practice). inner_celsius :
        temperature of the inner part while the outer is heated [°C].
    Returns: Shrink, exact: the hot bore is the inner part's diameter and the clearance.
    Raises: UnknownMaterial; TemperatureError for sizes that are not positive, or where not even
        1000 °C would open the bore so far.

    >>> shrink_temperature("mild steel", "mild steel", Fraction(50), Fraction("0.05")).heat_outer
    Fraction(22340, 117)
    """
    clearance = bore / 1000 if clearance is None else clearance
    if bore <= 0 or interference <= 0 or clearance < 0:
        raise TemperatureError(
            "a shrink fit needs a bore and an interference of more than nothing, and a clearance "
            "not below nothing",
            "sizes in mm, interference as a positive figure",
        )
    hub, shaft = find_material(outer), find_material(inner)
    diameter = bore + interference
    wanted = expand(diameter, shaft, inner_celsius) + clearance
    heat = REFERENCE + (wanted / bore - 1) / hub.per_kelvin()
    if heat > HOTTEST:
        raise TemperatureError(
            f"not even {int(HOTTEST)} °C opens a bore of {hub.name} by "
            f"{float(wanted - bore):.3f} mm",
            "less interference or less clearance",
        )
    cool: Fraction | None = REFERENCE - (interference + clearance) / (diameter * shaft.per_kelvin())
    if cool is not None and cool <= COLDEST:
        cool = None
    notes = [item.read_as for item in (hub, shaft) if item.read_as]
    notes += _shrink_notes(hub, shaft, heat, cool)
    return Shrink(
        bore, interference, clearance, hub, shaft, inner_celsius, heat, cool,
        tuple(dict.fromkeys(notes)), (GUIDE, HEAT, SEASONS, *((COLD,) if cool is not None else ())),
    )  # fmt: skip


def _shrink_notes(
    hub: Material, shaft: Material, heat: Fraction, cool: Fraction | None
) -> Iterable[str]:
    limit = HEAT_LIMITS.get(hub.family)
    if limit is not None and heat > limit[0]:
        yield (
            f"{float(heat):.0f} °C is more than the {float(limit[0]):g} °C to which {hub.family} "
            f"is commonly warmed: beyond it {limit[1]} (common practice)"
        )
    if heat > MEAN_TO:
        yield "the coefficient is a mean near 20 to 100 °C: hotter, the bore opens a little more"
    if cool is None:
        yield f"cooling {shaft.name} alone cannot do it: absolute zero is not cold enough"
    elif cool < DRY_ICE:
        yield "colder than solid carbon dioxide: not for a home workshop; heat the outer part"
    elif cool < FREEZER:
        yield "colder than a household freezer: it needs solid carbon dioxide"
