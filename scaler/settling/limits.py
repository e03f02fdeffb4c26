"""The limits of a size: its own, its row's, its process's, or the model's general ones."""

from __future__ import annotations

from fractions import Fraction
from functools import cache, lru_cache

from scaler import catalogue
from scaler.reading.grammar import parse_limits
from scaler.records import Deviations, Kind, LimitSpec, Model, Size
from scaler.settling.rows import method_row
from scaler.settling.settle import Settled
from scaler.settling.solve import middle
from scaler.trade import iso286

ZERO = Fraction(0)
LEAST_GENERAL = Fraction(1, 2)
"""The first range of ISO 2768-1 is from 0.5 mm, the others are over their lower end."""


@cache
def _instruments() -> dict[str, tuple[tuple[str, ...], Fraction, str]]:
    found = {}
    for row in catalogue.table("instruments").rows:
        entry = (
            tuple(kind.strip() for kind in row.text("kinds").split(";")),
            row.number("uncertainty_mm"),
            row.text("designation"),
        )
        for name in (row.text("designation"), *row.text("aliases").split(";")):
            if name.strip():
                found[name.strip()] = entry
    return found


def instrument_names() -> tuple[str, ...]:
    """All names by which readings may call an instrument."""
    return tuple(_instruments())


@cache
def _default_instrument(kind: Kind) -> tuple[str, Fraction]:
    for kinds, uncertainty, name in _instruments().values():
        if kind.value in kinds:
            return name, uncertainty
    return "none", ZERO


def uncertainty(size: Size, instrument: str = "") -> tuple[str, Fraction]:
    """Instrument and uncertainty ± [mm] of a careful reading of this size.

    The instrument named (in the reading, else in the size), else the first of the instruments
    table that reads this kind.
    """
    name = instrument or size.instrument
    if name in _instruments():
        _, value, designation = _instruments()[name]
        return designation, value
    return _default_instrument(size.kind)


@lru_cache(maxsize=65536)
def _class_limits(tolerance_class: str, basic: Fraction) -> tuple[Fraction, Fraction] | str:
    try:
        found = iso286.deviations(tolerance_class, basic)
    except iso286.Iso286Error as error:
        return str(error)
    return found.lower_mm, found.upper_mm


def from_spec(spec: LimitSpec, basic: Fraction, source: str) -> Deviations | None:
    """Deviations of limits as written; None where an ISO class has no value at that size."""
    if not spec.tolerance_class:
        return Deviations(spec.lower or ZERO, spec.upper or ZERO, source)
    found = _class_limits(spec.tolerance_class, basic)
    if isinstance(found, str):
        return None
    return Deviations(found[0], found[1], f"{source}, ISO 286 {spec.tolerance_class}")


@cache
def _general(name: str) -> tuple[tuple[Fraction, Fraction, Fraction], ...]:
    return tuple(
        (row.number("above_mm"), row.number("up_to_mm"), row.number("limit_mm"))
        for row in catalogue.table("general_limits").rows
        if row.text("class") == name
    )


def general_classes() -> tuple[str, ...]:
    """Names of the general tolerances in the catalogue."""
    rows = catalogue.table("general_limits").rows
    return tuple(dict.fromkeys(row.text("class") for row in rows))


def general(name: str, basic: Fraction) -> Deviations | None:
    """The general tolerance of a class at a size; None outside its table."""
    for above, up_to, limit in _general(name):
        if (above < basic or above == basic == LEAST_GENERAL) and basic <= up_to:
            return Deviations(-limit, limit, name)
    return None


def limits_of(model: Model, size: Size, settled: Settled, copy: str = "") -> Deviations:
    """Deviations of a settled size [mm], with their source, in the order design gives:

    the reading's uncertainty where it (or the copy named) is made; the size's own limits; its
    method's stated limits; the chosen row as supplied or as the tool leaves it; the process; the
    model's general tolerances. Counts, and angles without limits, have none.
    """
    if size.kind in (Kind.COUNT, Kind.TEETH):
        return Deviations(ZERO, ZERO, "a count")
    basic = abs(middle(settled.value))
    if settled.made:
        reading = model.readings.get((size.id, copy))
        name, worth = uncertainty(size, reading.instrument if reading else "")
        return Deviations(-worth, worth, f"read with {name}")
    if size.limits is not None:
        own = from_spec(size.limits, basic, "the size's own")
        if own is not None:
            return own
    method = settled.by or next((m for m in size.rule if settled.method in (m.name, m.text)), None)
    if method is not None and method.limits is not None:
        stated = from_spec(method.limits, basic, "its rule")
        if stated is not None:
            return stated
    if settled.row is not None and settled.row.tolerance:
        supplied = from_spec(
            parse_limits(settled.row.tolerance), basic, f"{settled.row.table} as supplied"
        )
        if supplied is not None:
            return supplied
    table = method_row(settled.method)
    if table is not None and table.limits:
        process = from_spec(parse_limits(table.limits), basic, f"{table.name} ({table.source})")
        if process is not None:
            return process
    if not size.kind.is_length:
        return Deviations(ZERO, ZERO, "none stated")
    fallback = general(model.general_limits, basic)
    if fallback is not None:
        return fallback
    return Deviations(ZERO, ZERO, f"none: {model.general_limits} gives none at this size")


class LimitsOf:
    """The limits of the sizes of one model, worked out once for all that are settled alike."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self._known: dict[tuple[object, ...], tuple[Deviations, object]] = {}

    def __call__(self, size: Size, settled: Settled, copy: str = "") -> Deviations:
        """Deviations of a settled size [mm] with their source, as :func:`limits_of` gives them."""
        if settled.made:
            return limits_of(self.model, size, settled, copy)
        key = (id(settled), id(size.limits), id(size.rule), id(size.kind))
        found = self._known.get(key)
        if found is None:  # the objects that the key stands for are kept, so that none is made anew
            held = (settled, size.limits, size.rule)
            found = self._known[key] = limits_of(self.model, size, settled), held
        return found[0]


def unknown(limits: Deviations) -> bool:
    """Whether a size that must have limits has none (then nothing can be promised of it)."""
    return limits.source.startswith("none: ")


def last_cut_tolerance(model: Model, size: Size, settled: Settled, by: str) -> tuple[Fraction, str]:
    """Width of tolerance of a careful last cut [mm] and the process it is taken from.

    The process stated (``by``: its last cut, else its limits); else the first of the method chosen
    and those of the rule that gives one; else the width of the size's limits.
    """
    asked = method_row(by) if by else None
    if asked is not None and asked.last_cut is None and asked.limits:
        stated = from_spec(parse_limits(asked.limits), abs(middle(settled.value)), asked.name)
        if stated is not None:
            return stated.tolerance, asked.name
    for name in (by, settled.method, *(method.name for method in size.rule)):
        row = method_row(name) if name else None
        if row is not None and row.last_cut is not None:
            return row.last_cut, row.name
    found = limits_of(model, size, settled)
    return found.tolerance, found.source


@cache
def _last_cuts() -> tuple[tuple[Fraction, str, tuple[str, ...]], ...]:
    rows = (method_row(row.text("designation")) for row in catalogue.table("methods").rows)
    found = [
        (r.last_cut, r.name, r.kinds) for r in rows if r is not None and r.last_cut is not None
    ]
    return tuple(sorted(found, key=lambda item: -item[0]))


def coarsest_cut(kind: Kind, room: Fraction) -> tuple[str, Fraction] | None:
    """The process of the widest last cut that is narrower than ``room`` [mm], and its tolerance.

    None where no process of the methods table makes this kind so closely.

    >>> coarsest_cut(Kind.EXTERNAL, Fraction(3, 1000))
    ('lapped', Fraction(1, 500))
    """
    for tolerance, name, kinds in _last_cuts():
        if tolerance < room and kind.value in kinds:
            return name, tolerance
    return None
