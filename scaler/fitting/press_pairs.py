"""The pairs of a model as press fits: what is found among the two parts' sizes, and what is not.

The equations are in :mod:`scaler.fitting.press_fits`. Everything taken for granted stands in the notes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from scaler.checking.cautions import Caution
from scaler.fitting.material_figures import Material, UnknownMaterial, find_material
from scaler.fitting.press_fits import (
    GUIDE,
    PRESS,
    SAFETY,
    ZERO,
    Friction,
    PressFit,
    PressFitError,
    Range,
    elastic,
    friction_of,
    press_fit,
)
from scaler.fitting.temperature import at_copy, pair_findings
from scaler.problems import InputError, Problem
from scaler.records import Bounds, Kind, Model, Stage, Verdict

if TYPE_CHECKING:
    from scaler.checking.check import Checker, Finding


@dataclass(frozen=True, slots=True)
class PressedPair:
    """A pair of a model as a press fit, at the least and the greatest interference found.

    ``loose`` is None where the least interference is none at all. ``notes`` says what was taken
    for granted.
    """

    pair: str
    title: str
    interference: Bounds
    loose: PressFit | None
    tight: PressFit | None
    bush_bore: str
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values; bounds [least, greatest] over interference and friction."""
        from scaler.report import caution_dict, twin, twins

        def ends(of: str) -> Bounds:
            values = [None if fit is None else getattr(fit, of) for fit in (self.loose, self.tight)]
            return ZERO if self.loose is None else values[0], values[1]

        tight = self.tight
        found: dict[str, Any] = {
            "id": self.pair,
            "title": self.title or None,
            **twins("interference_mm", self.interference),
            **twins("pressure_n_mm2", ends("pressure")),
            **twins("hub_hoop_n_mm2", ends("hub_hoop")),
            **twins("shaft_hoop_n_mm2", ends("shaft_hoop")),
            **twins("bore_closure_mm", ends("bore_closure")),
            **twins("hub_growth_mm", ends("hub_growth")),
            "axial_n": None,
            "torque_n_mm": None,
            "bush_bore": self.bush_bore or None,
            "notes": list(self.notes),
            "cautions": [caution_dict(caution) for caution in self.cautions],
        }
        if tight is not None:
            found |= {
                **twin("diameter_mm", tight.diameter),
                **twin("hub_outside_mm", tight.hub_outside),
                **twin("shaft_bore_mm", tight.shaft_bore),
                **twin("length_mm", tight.length),
                "hub": tight.hub.name,
                "shaft": tight.shaft.name,
                "friction": [float(tight.friction.low), float(tight.friction.high)],
                "friction_source": tight.friction.source,
            }
            if tight.axial is not None and tight.torque is not None:
                least = self.loose
                found["axial_n"] = [
                    float(least.axial[0]) if least and least.axial else 0.0,
                    float(tight.axial[1]),
                ]
                found["torque_n_mm"] = [
                    float(least.torque[0]) if least and least.torque else 0.0,
                    float(tight.torque[1]),
                ]
        return found


def pressed_pair(
    model: Model,
    pair: str,
    *,
    hub_outside: Fraction | None = None,
    shaft_bore: Fraction | None = None,
    length: Fraction | None = None,
    friction: Range | None = None,
    how: str = "pressed",
    materials: Mapping[str, str] | None = None,
    checker: Checker | None = None,
) -> tuple[PressedPair, ...]:
    """The press fit that a pair amounts to, one a copy where copies differ.

    What is not given is looked for among the sizes of the two parts: the hub's outside
    (``outside``, ``boss_diameter`` … of the outer part), a bush's bore (``bore`` of the inner), the
    length (``…_length`` of the seat, ``length`` of a bush). An outside that is not drawn is taken
    as twice the bore (common practice), a bore that is not drawn as none; each is noted. Lengths in
    mm.
    Raises: InputError for an unknown pair or material; PressFitError for a pair with no
    interference in it.
    """
    from scaler.checking.check import Checker as MakeChecker

    checker = checker or MakeChecker(model, Stage.CHOSEN)
    given = Given(hub_outside, shaft_bore, length, friction, how, materials or {})
    return tuple(press_of(checker, found, given) for found in pair_findings(checker, pair))


@dataclass(frozen=True, slots=True)
class Given:
    """What is given for a press fit in place of what the model's sizes tell. Lengths in mm."""

    hub_outside: Fraction | None
    shaft_bore: Fraction | None
    length: Fraction | None
    friction: Range | None
    how: str
    materials: Mapping[str, str]


def has_interference(finding: Finding) -> bool:
    """Whether the window found for a pair has interference in it."""
    return finding.found[0] is not None and finding.found[0] < 0


def press_of(checker: Checker, finding: Finding, given: Given) -> PressedPair:
    """The same as :func:`pressed_pair`, of a finding already made. Raises PressFitError likewise."""
    from scaler.expressions import Name

    model, item = checker.model, finding.statement
    pair = model.pairs[item.id.partition("@")[0]]
    if finding.verdict is Verdict.REFUSED:
        return PressedPair(item.id, item.title, (None, None), None, None, "", (finding.note,), ())
    low, high = finding.found
    if low is None or low >= 0:
        raise PressFitError(
            f"{item.id} has no interference: nothing is pressed",
            "a pair whose inner side comes out larger than its outer side",
            "at_temperature tells how its clearance changes",
        )
    if not isinstance(pair.inner, Name) or not isinstance(pair.outer, Name):
        raise PressFitError(
            f"{item.id}: one side is a sum of sizes, not a round seat",
            "one diameter in another",
        )
    inner, outer = (at_copy(checker, one.name, item.at) for one in (pair.inner, pair.outer))
    notes: list[str] = []
    diameter = _value(checker, outer)
    outside = given.hub_outside or _hub_outside(checker, outer, diameter, notes)
    bore_name, bore = "", given.shaft_bore
    if bore is None:
        bore_name, bore = _bush_bore(checker, inner, diameter, notes)
    length = given.length or _length(checker, inner, outer, bore, notes)
    stuff = {name: _material(model, name, given) for name in (inner, outer)}
    notes += [stuff[name].read_as for name in (outer, inner) if stuff[name].read_as]
    friction = friction_of(stuff[inner].family, stuff[outer].family, given.how)
    if given.friction is not None:
        friction = Friction(*given.friction, "given", "given")
    tight = press_fit(
        diameter, -low, outside, elastic(stuff[outer]), elastic(stuff[inner]), friction,
        shaft_bore=bore, length=length,
    )  # fmt: skip
    loose = None
    if high is not None and high < 0:
        loose = press_fit(
            diameter, -high, outside, tight.hub, tight.shaft, friction,
            shaft_bore=bore, length=length,
        )  # fmt: skip
    else:
        notes.append("at the loose end nothing is left to hold: the fit may come out with no grip")
    if bore:
        notes.append(
            f"{bore_name or 'the bore'} closes in by up to {float(tight.bore_closure):.4f} mm: "
            "ream or bore it after pressing"
        )
    return PressedPair(
        item.id,
        item.title,
        (None if high is None else max(ZERO, -high), -low),
        loose,
        tight,
        bore_name,
        tuple(dict.fromkeys(notes)),
        _cautions(model, inner, outer),
    )


def _cautions(model: Model, inner: str, outer: str) -> tuple[Caution, ...]:
    """The guide's words always; the safety parts' words always, named where the model knows one."""
    from scaler.checking import cautions

    parts = {inner.partition(".")[0], outer.partition(".")[0]}
    known = [
        caution
        for caution in cautions.of_model(model)
        if caution.about.partition(".")[0] in parts and caution.kind != SAFETY.kind
    ]
    return (replace(SAFETY, about=", ".join(sorted(parts))), GUIDE, PRESS, *known)


def _value(checker: Checker, name: str) -> Fraction:
    from scaler.settling.solve import middle

    return middle(checker.values[name])


def _material(model: Model, size: str, given: Given) -> Material:
    part = model.parts[size.partition(".")[0]]
    text = given.materials.get(part.name, "") or part.material
    try:
        material = find_material(text)
        elastic(material)
    except UnknownMaterial as error:
        raise InputError(
            [
                Problem(
                    "unknown-material",
                    f"{part.name}: {error.reason}",
                    part.place,
                    read=text,
                    expected="a material of the catalogue with modulus and Poisson's ratio"
                    + (f"; the nearest: {', '.join(error.nearest)}" if error.nearest else ""),
                    advice="write the material of the part",
                )
            ]
        ) from error
    return material


_OUTSIDES = ("boss_diameter", "boss", "hub_diameter", "outside", "diameter", "eye_outside", "width")
_BUSH_OUTSIDES = ("outside", "diameter", "od")


def _word(size: str) -> str:
    """The size's own name, without its part and copy."""
    return size.partition("@")[0].partition(".")[2]


def _others(checker: Checker, size: str) -> Mapping[str, str]:
    """Sizes of the same part by their names, those with a value only."""
    part, (identity, _, copy) = size.partition(".")[0], size.partition("@")
    return {
        item.name: at_copy(checker, item.id, {part: copy})
        for item in checker.model.sizes.values()
        if item.part == part and item.id != identity and item.id in checker.values
    }


def _hub_outside(checker: Checker, outer: str, diameter: Fraction, notes: list[str]) -> Fraction:
    others = _others(checker, outer)
    name = _word(outer)
    wanted = [name.replace("bore", word) for word in ("outside", "diameter") if "bore" in name]
    for word in (*wanted, *_OUTSIDES):
        found = others.get(word)
        if found and checker.model.sizes[found.partition("@")[0]].kind in (
            Kind.EXTERNAL,
            Kind.LENGTH,
        ):
            value = _value(checker, found)
            if value > diameter:
                notes.append(f"outside of the hub: {found}")
                return value
    notes.append(
        "the outside of the hub is not drawn: taken as twice its bore (common practice); give it "
        "where the wall is thinner"
    )
    return 2 * diameter


def _bush_bore(
    checker: Checker, inner: str, diameter: Fraction, notes: list[str]
) -> tuple[str, Fraction]:
    others = _others(checker, inner)
    found = others.get("bore")
    if found and _word(inner) in _BUSH_OUTSIDES:
        value = _value(checker, found)
        if 0 < value < diameter:
            return found, value
    notes.append("no bore is drawn in the inner part: taken as solid")
    return "", ZERO


def _length(
    checker: Checker, inner: str, outer: str, bore: Fraction, notes: list[str]
) -> Fraction | None:
    """How long the two hold each other: the seat's own length, or the shorter of the two parts'.

    A rod or pin runs on beyond its seat, so that its whole length alone says nothing.
    """
    lengths = []
    for size in (inner, outer):
        others, name = _others(checker, size), _word(size)
        seat = others.get(f"{name}_length")
        if seat is not None:
            lengths = [(_value(checker, seat), seat)]
            break
        whole = others.get("length")
        if whole is not None and name in (*_BUSH_OUTSIDES, "bore"):
            lengths.append((_value(checker, whole), whole))
    solid = not bore and [name for _, name in lengths] == [_others(checker, inner).get("length")]
    if not lengths or solid:
        notes.append("the length of the fit is not drawn: no force is given")
        return None
    value, name = min(lengths)
    notes.append(f"length of the fit: {name}")
    return value
