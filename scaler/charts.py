"""What all pictures by matplotlib share: the figure, its colours and hatching, and the file.

matplotlib is an extra (``pip install workshop-scaler[pictures]``) and imported only here. Files are
PNG or SVG by their ending, written whole or not at all; the same figures give the same file.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scaler.problems import InputError, Problem
from scaler.writing import unwritable, write_whole

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMATS = (".png", ".svg")
METAL, OTHER, WANTED, LINE = "#4c6a7d", "#e0c48f", "#3f5f1e", "#333333"
HATCH = "////"
"""Goes with the lighter of two fillings, which a grey print would show nearly alike."""
TEXT = 9
"""Points of the lettering."""


def must_write(path: str | Path) -> None:
    """Raises InputError for a picture of another form, or in a folder that is not there."""
    place = Path(path)
    if place.suffix.lower() not in FORMATS:
        raise InputError(
            [
                Problem(
                    "picture-format",
                    f"a picture cannot be written as '{place.name}'",
                    read=place.suffix or "no ending",
                    expected=".png or .svg",
                )
            ]
        )
    if not place.parent.is_dir():
        raise InputError(
            [
                Problem(
                    "no-folder",
                    f"there is no folder '{place.parent}' to put a picture in",
                    read=str(place),
                    expected="a folder that is there",
                )
            ]
        )


def figure(width: float, height: float) -> Figure:
    """An empty figure [inches]. Raises InputError where matplotlib is not installed."""
    try:
        from matplotlib.figure import Figure
    except ImportError:
        raise InputError(
            [
                Problem(
                    "no-pictures",
                    "pictures need matplotlib, which is not installed",
                    expected="the extra 'pictures'",
                    advice="pip install 'workshop-scaler[pictures]'",
                )
            ]
        ) from None
    return Figure(figsize=(width, height), layout="constrained")


def beside(axes: Axes, values: Sequence[float], words: Sequence[str]) -> None:
    """Words at the ends of level bars, with room for them."""
    axes.set_xlim(0, (max(values, default=0.0) or 1.0) * 1.25)
    for at, (value, said) in enumerate(zip(values, words, strict=True)):
        axes.annotate(
            said, (value, at), (3, 0), textcoords="offset points", va="center", fontsize=TEXT
        )


def plain(*axes: Axes) -> None:
    """Axes without a frame, lettered alike."""
    for one in axes:
        one.tick_params(labelsize=TEXT)
        for side in ("top", "right"):
            one.spines[side].set_visible(False)


def save(figure: Figure, path: str | Path) -> Path:
    """The picture into its file, whole. Raises InputError where it cannot be written."""
    import matplotlib

    place = Path(path)
    kind = place.suffix.lower()[1:]
    metadata: dict[str, Any] = (
        {"Date": None, "Creator": None} if kind == "svg" else {"Software": None}
    )
    drawn = io.BytesIO()
    with matplotlib.rc_context({"svg.hashsalt": "workshop", "svg.fonttype": "none"}):
        figure.savefig(drawn, format=kind, dpi=130, metadata=metadata)
    try:
        write_whole(place, drawn.getvalue())
    except OSError as error:
        raise unwritable(place, error) from None
    return place
