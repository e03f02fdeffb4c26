"""Fits at another temperature than 20 °C: a pair cold and hot, each part by its own material.

The window found for a pair on its basis is moved by what each of its sizes grows. The arithmetic
is exact (see :mod:`scaler.fitting.material_figures`); the coefficients are means, so all of it is a guide.
Shrink fits are in :mod:`scaler.fitting.shrink_fits`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from scaler.checking.cautions import Caution
from scaler.fitting.material_figures import (
    MEAN_FROM,
    MEAN_TO,
    REFERENCE,
    Material,
    TemperatureError,
    UnknownMaterial,
    expand,
    find_material,
    growth,
    in_range,
)
from scaler.fitting.shrink_fits import GUIDE, HEAT, SEASONS, Shrink, shrink_temperature
from scaler.problems import InputError, Problem, nearest, shorten
from scaler.records import BasisKind, Bounds, Model, Stage, Verdict

if TYPE_CHECKING:
    from scaler.checking.check import Checker, Finding
    from scaler.checking.statements import At
    from scaler.expressions.intervals import Interval
    from scaler.settling.solve import Value

__all__ = [
    "REFERENCE",
    "HotFit",
    "Material",
    "Shrink",
    "TemperatureError",
    "UnknownMaterial",
    "at_copy",
    "at_temperature",
    "expand",
    "find_material",
    "growth",
    "hot_fit",
    "known_parts",
    "pair_findings",
    "shrink_temperature",
]

ZERO = Fraction(0)

TOO_HOT_TO_TOUCH = Fraction(60)
"""Above this a part burns the hand that takes it up [°C]: common practice."""


@dataclass(frozen=True, slots=True)
class HotFit:
    """A pair at 20 °C and at other temperatures. Clearance = outer − inner [mm].

    ``cold`` and ``hot`` are the windows found on the pair's basis, the hot one moved by the
    expansion; ``shift`` is hot less cold at basic sizes. All None where a pressure part takes
    part.
    """

    pair: str
    title: str
    temperatures: Mapping[str, Fraction]
    materials: Mapping[str, Material]
    wanted: Bounds
    cold_basic: Value | None
    cold: Bounds
    cold_verdict: Verdict
    hot_basic: Value | None
    hot: Bounds
    hot_verdict: Verdict
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]

    @property
    def shift(self) -> Fraction | None:
        """By how much the clearance changes at basic sizes [mm]; negative: it closes."""
        from scaler.settling.solve import middle

        if self.cold_basic is None or self.hot_basic is None:
            return None
        return middle(self.hot_basic) - middle(self.cold_basic)

    @property
    def closes(self) -> bool:
        """True where there is clearance cold, and none is left hot in the worst case."""
        low, hot = self.cold[0], self.hot[0]
        return low is not None and hot is not None and low > 0 >= hot

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values; lengths in mm, each with its exact twin."""
        from scaler.report import caution_dict, twin, twins

        return {
            "id": self.pair,
            "title": self.title or None,
            "temperatures_c": {part: float(value) for part, value in self.temperatures.items()},
            "materials": {
                part: {
                    "material": item.name,
                    "expansion_um_per_m_k": float(item.expansion or 0),
                    "source": item.expansion_source,
                    "read_as": item.read_as or None,
                }
                for part, item in self.materials.items()
            },
            **twins("wanted_mm", self.wanted),
            **twin("cold_basic_mm", self.cold_basic),
            **twins("cold_mm", self.cold),
            "cold_verdict": str(self.cold_verdict),
            **twin("hot_basic_mm", self.hot_basic),
            **twins("hot_mm", self.hot),
            "hot_verdict": str(self.hot_verdict),
            **twin("shift_mm", self.shift),
            "closes": self.closes,
            "notes": list(self.notes),
            "cautions": [caution_dict(caution) for caution in self.cautions],
        }


def pair_findings(checker: Checker, pair: str) -> tuple[Finding, ...]:
    """The findings of a pair by its name, one a copy where copies differ, or of ``name@copy``.

    Raises InputError for an unknown one, naming the nearest.
    """
    found = tuple(
        finding
        for finding in checker.findings
        if finding.statement.what == "pair"
        and pair in (finding.statement.id, finding.statement.id.partition("@")[0])
    )
    if not found:
        known = [f.statement.id for f in checker.findings if f.statement.what == "pair"]
        near = nearest(pair, known)
        raise InputError(
            [
                Problem(
                    "unknown-pair",
                    f"there is no pair '{shorten(pair)}'",
                    read=pair,
                    expected="a pair of the model" + (f": {', '.join(near)}" if near else ""),
                    advice="check lists them all",
                )
            ]
        )
    return found


def at_copy(checker: Checker, name: str, at: At) -> str:
    """The name of a copy's own value of a size, where it has one; else the size's."""
    own = f"{name}@{at.get(name.partition('.')[0], '')}"
    return own if "@" not in name and own in checker.values else name


def at_temperature(
    model: Model,
    pair: str,
    celsius: Fraction | int = REFERENCE,
    parts: Mapping[str, Fraction] | None = None,
    *,
    materials: Mapping[str, str] | None = None,
    checker: Checker | None = None,
) -> HotFit:
    """A pair's clearance at 20 °C and hot.

    Parameters: pair : name, or ``name@copy`` where copies have readings of their own. celsius :
        temperature of all its parts [°C]. parts : other temperatures by part [°C]. materials :
        material by part, in place of what the model says. checker : one made before, else the
        model as chosen.
    Returns: HotFit, exact for linear pairs: with both limits the window of all limits hot; with a
        last cut the cold window moved by the expansion of what the sizes may be, outward.
    Raises: InputError for an unknown pair, part or material, and for a pair of several copies
        named without one; TemperatureError outside −273.15 to 1000 °C.
    """
    from scaler.checking.check import Checker as MakeChecker

    checker = checker or MakeChecker(model, Stage.CHOSEN)
    found = pair_findings(checker, pair)
    if len(found) > 1:
        names = ", ".join(finding.statement.id for finding in found)
        raise InputError(
            [
                Problem(
                    "copies-differ",
                    f"the copies of pair '{pair}' differ",
                    found[0].statement.place,
                    read=pair,
                    expected=names,
                    advice="name one of them",
                )
            ]
        )
    return hot_fit(checker, found[0], Fraction(celsius), parts, materials=materials)


def hot_fit(
    checker: Checker,
    finding: Finding,
    celsius: Fraction,
    parts: Mapping[str, Fraction] | None = None,
    *,
    materials: Mapping[str, str] | None = None,
) -> HotFit:
    """The same as :func:`at_temperature` [°C, mm], of a finding already made."""
    from scaler.expressions import names

    model, item = checker.model, finding.statement
    named = list(dict.fromkeys(name.partition(".")[0] for name in names(item.node)))
    parts, materials = parts or {}, materials or {}
    known_parts(model, (*parts, *materials))
    temperatures = {part: parts.get(part, celsius) for part in named}
    for value in temperatures.values():
        in_range(value)
    wanted: Bounds = (item.lower, item.upper)
    if finding.verdict is Verdict.REFUSED or finding.basic is None:
        return HotFit(
            item.id, item.title, temperatures, {}, wanted, finding.basic, finding.found,
            finding.verdict, None, (None, None), finding.verdict, (finding.note,), (),
        )  # fmt: skip
    used = {part: _material_of(model, part, materials.get(part, "")) for part in named}
    factors = {part: growth(used[part], temperatures[part]) for part in named}
    basic, hot = _hot_window(checker, finding, factors)
    return HotFit(
        item.id,
        item.title,
        temperatures,
        used,
        wanted,
        finding.basic,
        finding.found,
        finding.verdict,
        basic,
        hot,
        _verdict(basic, hot, wanted),
        tuple(_notes(used, temperatures)),
        (GUIDE, *((HEAT,) if max(temperatures.values()) > TOO_HOT_TO_TOUCH else ()), SEASONS),
    )


def _hot_window(
    checker: Checker, finding: Finding, factors: Mapping[str, Fraction]
) -> tuple[Value, Bounds]:
    from scaler.checking.last_cut import NoRange
    from scaler.expressions import EvaluationError, enclose, linear, names
    from scaler.expressions.intervals import Interval
    from scaler.settling.solve import middle, value_of

    item, ratio = finding.statement, checker.model.ratio

    def factor(name: str) -> Fraction:
        return factors[name.partition(".")[0]]

    hot_values: dict[str, Value] = {
        name: checker.values[name] * factor(name) for name in names(item.node)
    }
    basic = value_of(item.node, hot_values, ratio)
    form = linear(item.node, ratio)
    try:
        if item.basis.kind is BasisKind.BASIC_SIZE:
            boxes = {
                name: Interval(middle(value), middle(value))
                for name, value in checker.values.items()
                if name in hot_values
            }
        else:
            boxes = {name: _box(checker, name, item.at) for name in names(item.node)}
        if form is None:  # not linear: the worst case of all limits, hot
            scaled = {name: box * factor(name) for name, box in boxes.items()}
            found = enclose(item.node, scaled, ratio)
            return basic, (found.lower, found.upper)
    except (NoRange, EvaluationError):
        return basic, (None, None)
    results = any(checker.is_result(name) for name in form.coefficients)
    if item.basis.kind is BasisKind.BOTH_LIMITS and not results:
        total = Interval(form.constant, form.constant)
        for name, coefficient in form.coefficients.items():
            total = total + boxes[name] * (coefficient * factor(name))
        return basic, (total.lower, total.upper)
    moved = Interval(ZERO, ZERO)
    for name, coefficient in form.coefficients.items():
        moved = moved + boxes[name] * (coefficient * (factor(name) - 1))
    low, high = finding.found
    return basic, (
        None if low is None else low + moved.lower,
        None if high is None else high + moved.upper,
    )


def _box(checker: Checker, name: str, at: At) -> Interval:
    """All values that a size may have within its limits; of a result, those its sizes give it."""
    from scaler.expressions import Name, enclose

    node = checker.inlined(Name(name))
    return enclose(node, checker.boxes(node, at), checker.model.ratio)


def _verdict(basic: Value, found: Bounds, wanted: Bounds) -> Verdict:
    from scaler.settling.solve import middle

    centre, (lower, upper), (low, high) = middle(basic), wanted, found
    if lower is None and upper is None:
        return Verdict.DOUBTFUL
    if lower is not None and centre < lower:
        return Verdict.TIGHT
    if upper is not None and centre > upper:
        return Verdict.LOOSE
    inside = (lower is None or (low is not None and low >= lower)) and (
        upper is None or (high is not None and high <= upper)
    )
    return Verdict.HOLDS if inside else Verdict.DOUBTFUL


def known_parts(model: Model, named: Iterable[str]) -> None:
    """Raises InputError for names that are no parts of the model, naming the nearest."""
    problems = []
    for part in named:
        if part not in model.parts:
            near = nearest(part, model.parts)
            problems.append(
                Problem(
                    "unknown-part",
                    f"there is no part '{shorten(part)}'",
                    read=part,
                    expected="a part of the model" + (f": {', '.join(near)}" if near else ""),
                    advice="write the part's name as the model has it",
                )
            )
    if problems:
        raise InputError(problems)


def _material_of(model: Model, name: str, instead: str) -> Material:
    part = model.parts[name]
    text = instead or part.material
    try:
        material = find_material(text)
        material.per_kelvin()
    except UnknownMaterial as error:
        near = ", ".join(error.nearest)
        raise InputError(
            [
                Problem(
                    "unknown-material",
                    f"{name}: {error.reason}",
                    part.place,
                    read=text,
                    expected=f"a material of the catalogue; the nearest: {near}"
                    if near
                    else "a material of the catalogue with its expansion",
                    advice=f'write material = "{error.nearest[0] if near else "mild steel"}"'
                    " for the part",
                )
            ]
        ) from error
    return material


def _notes(used: Mapping[str, Material], temperatures: Mapping[str, Fraction]) -> Iterable[str]:
    yield from dict.fromkeys(item.read_as for item in used.values() if item.read_as)
    for part, value in temperatures.items():
        if not MEAN_FROM <= value <= MEAN_TO:
            yield (
                f"{part} at {float(value):g} °C: the coefficient is a mean near 20 to 100 °C, and "
                "most metals expand more as they get hotter"
            )
    for part, item in used.items():
        if item.expansion_source == "from memory":
            yield f"{part}: the expansion of {item.name} is from memory"
