"""The picture of a sweep: departure and conflicts over the scale (matplotlib, when asked for)."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from scaler.problems import InputError, Problem

if TYPE_CHECKING:
    from scaler.substitution.sweep import Sweep


def draw_sweep(found: Sweep, path: str | Path) -> Path:
    """Draws cost as a line and conflicts as bars under it, as PNG or SVG by the file's ending.

    Raises: InputError where matplotlib is not installed, the ending is another, or the file cannot
    be written.
    """
    target = Path(path)
    if target.suffix.lower() not in (".png", ".svg"):
        raise InputError(
            [
                Problem(
                    "picture",
                    f"{target.name}: pictures are PNG or SVG",
                    read=target.suffix,
                    expected=".png or .svg",
                    advice="give the file one of these endings",
                )
            ]
        )
    try:
        from matplotlib.figure import Figure
    except ImportError:
        raise InputError(
            [
                Problem(
                    "no-matplotlib",
                    "pictures need matplotlib, which is not installed",
                    expected="the extra 'pictures'",
                    advice="python -m pip install 'workshop-scaler[pictures]'",
                )
            ]
        ) from None
    points = [point for point in found.points if point.status != "unusable"]
    across = [float(1 / point.ratio) for point in points]
    figure = Figure(figsize=(7.5, 5), layout="constrained")
    upper, lower = figure.subplots(2, 1, sharex=True, height_ratios=[3, 1])
    upper.plot(across, [float(point.cost) for point in points], "o-", color="#333333")
    upper.set_ylabel("departure cost")
    upper.set_title(found.model.title)
    lower.bar(across, [point.conflicts for point in points], width=0.3, color="#999999")
    lower.set_ylabel("conflicts")
    lower.set_xlabel("full size : model")
    for axes in (upper, lower):
        axes.spines[["top", "right"]].set_visible(False)
    try:
        figure.savefig(target, dpi=130)
    except OSError as error:
        raise InputError(
            [Problem("picture", f"{target}: cannot be written ({error.strerror or error})")]
        ) from None
    return target
