"""What the sizes of a part tell together: the eyes of a rod, a coil of wire, a thing sold as it is."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.cards.stock import ACROSS_WORDS, form_of_row, is_round, value_mm
from scaler.records import Kind
from scaler.settling.rows import HEXAGON, method_row

if TYPE_CHECKING:
    from scaler.settling.reduce import SizeLine

EYE_NAMES = ("eye_outside", "eye_diameter", "end_diameter", "boss_diameter", "eye_width")
BOUGHT = ("bearing", "key", "cap screw", "dowel", "taper pin", "O-ring", "rivet")
"""Families of rows that are whole parts, as they are sold."""


def sold_as_it_is(lines: Sequence[SizeLine]) -> bool:
    """Whether a part is a row of a table of bought parts, or a nut: the hexagon of a thread."""
    for line in lines:
        table = method_row(line.settled.method) if line.settled and line.settled.row else None
        if table is not None and table.family in BOUGHT:
            return True
    came = [line.settled for line in lines if line.settled is not None]
    return any(settled.method in HEXAGON for settled in came) and all(
        settled.row is not None for settled in came
    )


def rod_centres(lines: Sequence[SizeLine]) -> list[SizeLine]:
    """The size between the eyes of a rod; none where a side over all is longer than that.

    Centres of holes in a frame are no more than two places on it.
    """
    found = [line for line in lines if line.size.name.endswith(("centres", "centers"))][:1]
    across = [
        value_mm(line)
        for line in lines
        if line.size.kind in (Kind.EXTERNAL, Kind.LENGTH)
        and set(line.size.name.split("_")) & (ACROSS_WORDS - {"thickness"})
    ]
    return [line for line in found if all(side <= value_mm(line) for side in across)]


def eye_mm(lines: Sequence[SizeLine]) -> Fraction | None:
    """How far the eyes of a rod are across [mm]: drawn so, or by their radius."""
    named = {line.size.name: value_mm(line) for line in lines if line.size.kind.is_length}
    across = [named[name] for name in EYE_NAMES if name in named]
    across += [2 * named[name] for name in ("eye_radius", "end_radius") if name in named]
    return max(across, default=None)


def coil_of(lines: Sequence[SizeLine]) -> tuple[SizeLine, ...] | None:
    """The wire of a coiled spring and the diameter of its coils; None where there are not both."""
    wire = [line for line in lines if form_of_row(line) == "wire"]
    coils = [
        line
        for line in lines
        if line not in wire
        and line.size.kind in (Kind.EXTERNAL, Kind.INTERNAL)
        and (is_round(line) or set(line.size.name.split("_")) & {"inside", "coil", "mean"})
    ]
    return (wire[0], coils[0]) if wire and coils else None
