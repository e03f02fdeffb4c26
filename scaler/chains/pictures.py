"""Pictures of chains: bars of the contributors, the histogram of the draws, tolerance zones.

matplotlib is an extra (``pip install workshop-scaler[pictures]``) and imported only here. Files are
PNG or SVG by their ending, written whole or not at all; the same chain gives the same file.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from scaler.chains.expressions import body_of, put_in
from scaler.chains.records import Chain
from scaler.problems import InputError, Problem, did_you_mean
from scaler.records import Model
from scaler.settling.solve import middle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMATS = (".png", ".svg")
METAL, OTHER, WANTED, LINE = "#4c6a7d", "#b3873f", "#7d9a5b", "#333333"
MOST_BARS = 30


def draw_contributors(chain: Chain, path: str | Path) -> Path:
    """Bars of what every size does to a chain: ± on the closing dimension, and share of variance.

    Parameters: path : a file ending in .png or .svg
    Returns: the path written.
    Raises: InputError: no matplotlib, another ending, a chain without figures, a folder that is not
        there.
    """
    _must_draw(chain, path)
    shown = chain.contributors[:MOST_BARS]
    figure = _figure(8.0, 1.8 + 0.32 * max(1, len(shown)))
    left, right = figure.subplots(1, 2, sharey=True)
    rows = list(range(len(shown)))
    origins = [float(item.origin_effect) for item in shown]
    made = [float(item.reach - item.origin_effect) for item in shown]
    left.barh(rows, made, color=METAL, label="limits")
    if any(origins):
        left.barh(rows, origins, left=made, color=OTHER, label="uncertain origin")
        left.legend(fontsize=8, frameon=False)
    left.set_yticks(rows, [item.name for item in shown], fontsize=8)
    left.invert_yaxis()
    left.set_xlabel(f"± on the closing dimension [{chain.unit or 'number'}]", fontsize=8)
    right.barh(rows, [100 * float(item.share_variance) for item in shown], color=METAL)
    right.set_xlabel("share of the variance [%]", fontsize=8)
    left_out = len(chain.contributors) - len(shown)
    more = f"the {len(shown)} greatest of {len(chain.contributors)} sizes" if left_out else ""
    figure.suptitle(_title(chain, more), fontsize=10)
    _plain(left, right)
    return _save(figure, path)


def draw_histogram(chain: Chain, path: str | Path) -> Path:
    """The histogram of a chain's random draws, with its window, worst case and root sum square.

    Raises: InputError as :func:`draw_contributors`, and for a chain worked out without draws.
    """
    _must_draw(chain, path)
    drawn = chain.monte_carlo
    if drawn is None or not drawn.counts:
        raise InputError(
            [
                Problem(
                    "no-draws",
                    f"{chain.id} was worked out without random draws",
                    expected="a chain with draws",
                    advice="ask for some, 100000 for instance",
                )
            ]
        )
    figure = _figure(8.0, 4.0)
    axes = figure.subplots()
    axes.stairs(drawn.counts, drawn.edges, fill=True, color=METAL)
    top = max(drawn.counts) * 1.12
    low, high = (None if end is None else float(end) for end in chain.wanted)
    lines = [(low, WANTED, "wanted", "-"), (high, WANTED, "", "-")]
    lines += [
        (None if end is None else float(end), LINE, "" if n else "worst case", ":")
        for n, end in enumerate(chain.worst_case)
    ]
    lines += [
        (None if end is None else float(middle(end)), OTHER, "" if n else "root sum square", "--")
        for n, end in enumerate(chain.root_sum_square)
    ]
    for value, colour, label, style in lines:
        if value is not None:
            axes.axvline(value, color=colour, linestyle=style, linewidth=1.4, label=label or None)
    axes.set_ylim(0, top)
    axes.set_xlabel(f"closing dimension [{chain.unit or 'number'}]", fontsize=8)
    axes.set_ylabel(f"draws of {drawn.draws:,}", fontsize=8)
    axes.legend(fontsize=8, loc="best", framealpha=1.0, edgecolor="none")
    chance = "" if drawn.chance is None else f"{100 * drawn.chance:.2f} % inside"
    figure.suptitle(_title(chain, chance), fontsize=10)
    _plain(axes)
    return _save(figure, path)


def draw_zones(model: Model, pair: str, path: str | Path, *, as_drawn: bool = False) -> Path:
    """The tolerance zones of a pair: outer and inner limits about the outer's basic size.

    Either side may be a sum of sizes; its zone is then the worst case of the sum. Limits are those
    that count on the pair's basis (a last cut shows the zone of the cut).

    Raises: InputError: no such pair (with the nearest), a pressure part, and as
        :func:`draw_contributors`.
    """
    zones = pair_zones(model, pair, as_drawn=as_drawn)
    _must_write(path)
    figure = _figure(6.0, 4.2)
    axes = figure.subplots()
    for place, zone in enumerate(zones):
        low, high = (float(end * 1000) for end in zone.deviations)
        colour = METAL if place == 0 else OTHER
        axes.bar(place, high - low or 0.2, 0.55, bottom=low, color=colour, edgecolor=LINE)
        axes.annotate(f"{high:+.1f}", (place, high), (0, 3), **_note("bottom"))
        axes.annotate(f"{low:+.1f}", (place, low), (0, -3), **_note("top"))
    axes.axhline(0.0, color=LINE, linewidth=1.0)
    axes.set_xlim(-0.6, 1.6)
    ends = [0.0, *(float(end * 1000) for zone in zones for end in zone.deviations)]
    spare = 0.15 * (max(ends) - min(ends)) or 1.0
    axes.set_ylim(min(ends) - spare, max(ends) + spare)
    axes.set_xticks([0, 1], [zone.text for zone in zones], fontsize=8)
    axes.set_ylabel("deviation [µm]", fontsize=8)
    basic = float(zones[0].basic)
    figure.suptitle(f"{pair}: zones about {basic:.3f} mm", fontsize=10)
    _plain(axes)
    return _save(figure, path)


class Zone:
    """One side of a pair: what it is, its basic size [mm], and its limits as deviations from the
    basic size of the outer side [mm]."""

    __slots__ = ("basic", "deviations", "text")

    def __init__(self, text: str, basic: Fraction, deviations: tuple[Fraction, Fraction]) -> None:
        self.text, self.basic, self.deviations = text, basic, deviations


def pair_zones(model: Model, pair: str, *, as_drawn: bool = False) -> tuple[Zone, Zone]:
    """The tolerance zones of a pair, outer and inner. Raises InputError as :func:`draw_zones`."""
    from scaler.chains.sizes import asked_for, givens_of, takes_refused
    from scaler.checking.check import Checker
    from scaler.expressions import Neg
    from scaler.settling.solve import value_of

    name = pair.partition("@")[0]
    if name not in model.pairs:
        raise InputError(
            [
                Problem(
                    "unknown-pair",
                    f"there is no pair '{pair}'",
                    read=pair,
                    expected="the name of a pair",
                    advice=did_you_mean(name, model.pairs),
                )
            ]
        )
    checker = Checker(model, as_drawn=as_drawn)
    statement = asked_for(checker, pair).statement
    if takes_refused(checker, statement.node):
        raise InputError(
            [
                Problem(
                    "refused",
                    f"{pair}: a pressure part takes part, and no figure is given",
                    statement.place,
                    advice="follow the code that applies where you are; ask the inspecting body",
                )
            ]
        )
    basic = checker.basic(statement, checker.values)
    if basic is None:
        raise InputError([Problem("no-figures", f"{pair} has no figures", statement.place)])
    outer, inner = statement.node.terms  # type: ignore[union-attr]
    assert isinstance(inner, Neg)
    ratio = model.ratio
    whole = body_of(put_in(checker, statement.node), ratio)
    givens, _ = givens_of(checker, statement, whole, basic, "stated")
    zones = []
    zero = middle(value_of(outer, checker.values, ratio))
    for side, text in ((outer, statement.outer), (inner.value, statement.inner)):
        body = body_of(put_in(checker, side), ratio)
        boxes = {
            size: given.made_box
            for size, given in (*givens.items(), *_more(checker, body.names, givens))
        }
        low, high = body.worst(boxes)
        zones.append(
            Zone(text, middle(value_of(side, checker.values, ratio)), (low - zero, high - zero))
        )
    return zones[0], zones[1]


def _more(checker: Any, named: Sequence[str], known: Any) -> list[tuple[str, Any]]:
    """Sizes that stand on both sides and cancel in the pair, but not in one side of it."""
    from scaler.chains.sizes import limits_given

    return [(name, limits_given(checker, name)) for name in named if name not in known]


def _note(side: str) -> dict[str, Any]:
    return {"textcoords": "offset points", "ha": "center", "va": side, "fontsize": 8}


def _must_draw(chain: Chain, path: str | Path) -> None:
    if chain.basic is None:
        why = "a pressure part takes part" if chain.refused else "it has no value"
        raise InputError([Problem("no-figures", f"{chain.id} cannot be drawn: {why}", chain.place)])
    _must_write(path)


def _must_write(path: str | Path) -> None:
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


def _figure(width: float, height: float) -> Figure:
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


def _title(chain: Chain, more: str) -> str:
    head = chain.title or chain.id
    return f"{head} ({more})" if more else head


def _plain(*axes: Axes) -> None:
    for one in axes:
        one.tick_params(labelsize=8)
        for side in ("top", "right"):
            one.spines[side].set_visible(False)


def _save(figure: Figure, path: str | Path) -> Path:
    """Writes beside the place first, then puts the whole file there."""
    import matplotlib

    place = Path(path)
    kind = place.suffix.lower()[1:]
    metadata: dict[str, Any] = {"Date": None} if kind == "svg" else {"Software": None}
    handle, spare = tempfile.mkstemp(dir=place.parent, suffix=f".{kind}")
    os.close(handle)
    try:
        with matplotlib.rc_context({"svg.hashsalt": "workshop", "svg.fonttype": "none"}):
            figure.savefig(spare, format=kind, dpi=130, metadata=metadata)
        os.chmod(spare, 0o644)
        os.replace(spare, place)
    except BaseException:
        with suppress(OSError):
            os.unlink(spare)
        raise
    return place
