"""The published wheel and track standard that a model runs to."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from scaler import catalogue
from scaler.records import Model


@dataclass(frozen=True, slots=True)
class StandardRow:
    """One dimension of a wheel and track standard: bounds [mm] and where they were read."""

    designation: str
    dimension: str
    lower: Fraction | None
    upper: Fraction | None
    source: str
    place: str


def standards() -> tuple[str, ...]:
    """Names of the wheel and track standards in the catalogue."""
    rows = catalogue.table("wheel_standards").rows
    return tuple(dict.fromkeys(row.text("standard") for row in rows))


def gauges(standard: str) -> tuple[str, ...]:
    """Track gauges that a standard gives, as it writes them."""
    rows = catalogue.table("wheel_standards").rows
    found = (row.text("track_gauge") for row in rows if row.text("standard") == standard)
    return tuple(dict.fromkeys(found))


def dimensions(standard: str, gauge: str) -> dict[str, StandardRow]:
    """The dimensions that a standard gives for a gauge, by name; empty where it gives none."""
    found = {}
    for row in catalogue.table("wheel_standards").rows:
        if row.text("standard") == standard and row.text("track_gauge") == gauge:
            found[row.text("dimension")] = StandardRow(
                row.text("designation"),
                row.text("dimension"),
                row.mm("lower"),
                row.mm("upper"),
                row.text("source"),
                row.text("place"),
            )
    return found


def of_model(model: Model) -> dict[str, StandardRow]:
    """The dimensions of the standard that the model names; empty where it names none."""
    return dimensions(model.track, model.track_gauge) if model.track else {}
