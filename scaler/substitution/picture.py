"""The picture of a sweep: departure and conflicts over the scale (matplotlib, when asked for)."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import TYPE_CHECKING

from scaler import charts

if TYPE_CHECKING:
    from scaler.substitution.sweep import Sweep, SweepPoint


def draw_sweep(found: Sweep, path: str | Path) -> Path:
    """Draws cost over the scale, and the conflicts under it, as PNG or SVG by the file's ending.

    A filled mark stands where everything can hold, a hollow square where something cannot: its cost
    is that of the rest, and is not to be compared. Scales that could not be worked out are crosses
    on the axis.

    Raises: InputError where matplotlib is not installed, the ending is another, or the file cannot
    be written.
    """
    charts.must_write(path)
    figure = charts.figure(8.0, 5.0)
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=[3, 1])
    kinds = (
        ("everything holds", [p for p in found.points if not p.conflicts and _usable(p)], "o"),
        ("something cannot hold: cost of the rest", [p for p in found.points if p.conflicts], "s"),
    )
    usable = [p for p in found.points if _usable(p)]
    across = {id(p): float(1 / p.ratio) for p in found.points}
    upper.plot(
        [across[id(p)] for p in usable], [float(p.cost) for p in usable], ":", color="#999999"
    )
    for label, points, mark in kinds:
        if points:
            upper.plot(
                [across[id(p)] for p in points],
                [float(p.cost) for p in points],
                mark,
                color=charts.LINE,
                markerfacecolor=charts.LINE if mark == "o" else "white",
                markersize=8,
                label=label,
            )
    lost = [p for p in found.points if not _usable(p)]
    if lost:
        upper.plot(
            [across[id(p)] for p in lost],
            [0.0] * len(lost),
            "x",
            color=charts.LINE,
            label="cannot be worked out",
        )
    upper.set_ylim(0, float(max((p.cost for p in usable), default=0)) * 1.12 or 1.0)
    upper.set_ylabel("departure cost", fontsize=charts.TEXT)
    places = sorted(across.values())
    gap = min((b - a for a, b in itertools.pairwise(places)), default=1.0)
    lower.bar(
        [across[id(p)] for p in usable],
        [p.conflicts for p in usable],
        width=gap * 0.5,
        color="#999999",
        edgecolor=charts.LINE,
    )
    lower.set_ylabel("conflicts", fontsize=charts.TEXT)
    lower.set_xlabel("full size : model", fontsize=charts.TEXT)
    lower.yaxis.get_major_locator().set_params(integer=True)
    lower.set_ylim(0, max([1, *(p.conflicts for p in usable)]) * 1.15)
    if len(places) <= 12:
        lower.set_xticks(places, [f"{place:g}" for place in places])
    figure.suptitle(found.model.title, fontsize=charts.TEXT + 2)
    if usable or lost:
        figure.legend(fontsize=charts.TEXT, loc="outside lower center", ncols=3, frameon=False)
    charts.plain(upper, lower)
    return charts.save(figure, path)


def _usable(point: SweepPoint) -> bool:
    return point.status != "unusable"
