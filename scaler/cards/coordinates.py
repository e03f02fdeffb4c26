"""Readout coordinates of a part: holes from their datum, holes on a circle as x and y.

Every position keeps the datum it was given; coordinates from different datums are never added up,
for the drawing does not say which way they run. Two positions named alike with ``_x`` and ``_y``
make one point. A pitch circle and a count give its holes; the first lies on the x axis unless an
angle says otherwise. Values on a circle are enclosed in intervals and rounded at the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.cards.stock import value_mm
from scaler.expressions import interval_angles
from scaler.records import Kind
from scaler.settling.solve import Value, middle

if TYPE_CHECKING:
    from scaler.settling.reduce import SizeLine

CIRCLE_WORDS = ("pitch_circle", "stud_circle", "bolt_circle", "hole_circle", "circle", "pcd")
MOST_HOLES = 200


@dataclass(frozen=True, slots=True)
class Point:
    """One position: its name, x and y from the datum [mm] (None: not given), and what is there."""

    name: str
    x: Value | None
    y: Value | None
    what: str = ""


@dataclass(frozen=True, slots=True)
class Coordinates:
    """Positions from one datum, and a note."""

    datum: str
    points: tuple[Point, ...]
    note: str = ""


def coordinates_of(lines: Sequence[SizeLine]) -> tuple[Coordinates, ...]:
    """The tables of a part: one a datum, then one a pitch circle."""
    live = [line for line in lines if not line.refused and line.chosen is not None]
    circles = [line for line in live if _is_circle(line)]
    by_datum: dict[str, dict[str, list[Value | None]]] = {}
    for line in live:
        if line.size.kind is not Kind.POSITION or line in circles:
            continue
        name, axis = line.size.name, 0
        if name.endswith(("_x", "_y")):
            axis = 1 if name.endswith("_y") else 0
            name = name[:-2]
        points = by_datum.setdefault(line.size.datum, {})
        points.setdefault(name, [None, None])[axis] = line.chosen
    found = [
        Coordinates(
            datum or "the datum that the drawing names",
            tuple(
                Point(_words(name), x, y)
                for name, (x, y) in sorted(points.items(), key=lambda item: _first(item[1]))
            ),
        )
        for datum, points in by_datum.items()
        if datum or _stands_alone(points)
    ]
    return (*found, *(_circle(line, live) for line in circles))


def _stands_alone(points: dict[str, list[Value | None]]) -> bool:
    """Whether positions without a datum are worth a table: those between two holes are not."""
    return any(not name.endswith(("centres", "centers")) for name in points)


def _first(values: Sequence[Value | None]) -> Fraction:
    known = [middle(value) for value in values if value is not None]
    return known[0] if known else Fraction(0)


def _words(name: str) -> str:
    return name.replace("_", " ")


def _is_circle(line: SizeLine) -> bool:
    return line.size.kind in (Kind.POSITION, Kind.RADIUS, Kind.EXTERNAL, Kind.LENGTH) and any(
        line.size.name == word or line.size.name.endswith(f"_{word}") for word in CIRCLE_WORDS
    )


def _stem(line: SizeLine) -> str:
    """What a circle is named after: ``cover`` of ``cover_stud_circle``, '' of a plain one."""
    stem = line.size.name
    for word in CIRCLE_WORDS:
        stem = stem.removesuffix(word).rstrip("_")
    return stem


def count_of(circle: SizeLine, lines: Sequence[SizeLine]) -> SizeLine | None:
    """The size that counts the holes of a circle: named like it, else the part's only count."""
    stem = _stem(circle)
    counts = [other for other in lines if other.size.kind is Kind.COUNT]
    named = [other for other in counts if stem and stem in other.size.name.split("_")]
    chosen = named or (counts if len(counts) == 1 else [])
    return chosen[0] if chosen else None


def _circle(line: SizeLine, lines: Sequence[SizeLine]) -> Coordinates:
    """Holes on one pitch circle: as many as the part's count says."""
    stem = _stem(line)
    counted = count_of(line, lines)
    holes = [
        other
        for other in lines
        if other.size.kind in (Kind.INTERNAL, Kind.THREAD) and (not stem or stem in other.size.name)
    ]
    what = holes[0].size.id if holes else ""
    radius = value_mm(line) if line.size.kind is Kind.RADIUS else value_mm(line) / 2
    datum = f"the centre of the {_words(line.size.name)}"
    if counted is None:
        note = "how many holes is not in the model: a size of the kind count gives their x and y"
        return Coordinates(datum, (), note)
    count = int(value_mm(counted))
    if not 1 <= count <= MOST_HOLES:
        return Coordinates(datum, (), f"{count} holes: 1 to {MOST_HOLES} are worked out")
    start = _start(stem, lines)
    points = []
    for number in range(count):
        angle = start + Fraction(360 * number, count)
        points.append(
            Point(
                f"hole {number + 1}",
                radius * interval_angles.cos(angle),
                radius * interval_angles.sin(angle),
                what,
            )
        )
    note = "" if start else "the first hole on the x axis, then round against the clock"
    if start:
        note = f"the first hole {float(start):g}° from the x axis, then round against the clock"
    return Coordinates(datum, tuple(points), note)


def _start(stem: str, lines: Sequence[SizeLine]) -> Fraction:
    """The angle of the first hole [degrees]: a size of the kind angle named like the circle."""
    for line in lines:
        words = line.size.name.split("_")
        if line.size.kind is Kind.ANGLE and ((stem and stem in words) or "first" in words):
            return value_mm(line)
    return Fraction(0)
