"""Pictures of chains: bars of the contributors, the histogram of the draws, tolerance zones.

Everything is told apart by hatching and dashes as well as by colour, so that a grey print says the
same (see :mod:`scaler.charts` for how pictures are written).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

from scaler import charts
from scaler.chains.expressions import body_of, in_made_sizes
from scaler.chains.records import Chain, MonteCarlo
from scaler.charts import LINE, METAL, OTHER, WANTED
from scaler.problems import InputError, Problem, did_you_mean
from scaler.records import Model
from scaler.settling.solve import middle

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
    figure = charts.figure(8.0, 1.8 + 0.32 * max(1, len(shown)))
    left, right = figure.subplots(1, 2, sharey=True)
    rows = list(range(len(shown)))
    origins = [float(item.origin_effect) for item in shown]
    made = [float(item.reach - item.origin_effect) for item in shown]
    whole = [one + other for one, other in zip(made, origins, strict=True)]
    left.barh(rows, made, color=METAL, label="limits")
    charts.beside(left, whole, [f"{value:.4f}" for value in whole])
    if any(origins):
        left.barh(
            rows, origins, left=made, color=OTHER, hatch=charts.HATCH, label="uncertain origin"
        )
        left.legend(fontsize=charts.TEXT, frameon=False)
    left.set_yticks(rows, [item.name for item in shown], fontsize=charts.TEXT)
    left.invert_yaxis()
    left.set_xlabel(f"± on the closing dimension [{chain.unit or 'number'}]", fontsize=charts.TEXT)
    shares = [100 * float(item.share_variance) for item in shown]
    right.barh(rows, shares, color=METAL)
    charts.beside(right, shares, [f"{share:.1f} %" for share in shares])
    right.set_xlabel("share of the variance [%]", fontsize=charts.TEXT)
    left_out = len(chain.contributors) - len(shown)
    more = f"the {len(shown)} greatest of {len(chain.contributors)} sizes" if left_out else ""
    figure.suptitle(_title(chain, more), fontsize=charts.TEXT + 2)
    charts.plain(left, right)
    return charts.save(figure, path)


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
    figure = charts.figure(8.0, 4.0)
    axes = figure.subplots()
    axes.stairs(drawn.counts, drawn.edges, fill=True, color=METAL)
    top = max(drawn.counts) * 1.12
    low, high = (None if end is None else float(end) for end in chain.wanted)
    lines = [(end, WANTED, "wanted", "-", 3.0) for end in (low, high)]
    lines += [
        (None if end is None else float(end), LINE, "worst case", ":", 1.6)
        for end in chain.worst_case
    ]
    lines += [
        (None if end is None else float(middle(end)), LINE, "root sum square", "--", 1.2)
        for end in chain.root_sum_square
    ]
    told: set[str] = set()
    for value, colour, label, style, width in lines:
        if value is not None:
            name = None if label in told else label
            told.add(label)
            axes.axvline(value, color=colour, linestyle=style, linewidth=width, label=name)
    axes.set_ylim(0, top)
    axes.set_xlabel(f"closing dimension [{chain.unit or 'number'}]", fontsize=charts.TEXT)
    axes.set_ylabel(f"draws of {drawn.draws:,}", fontsize=charts.TEXT)
    figure.legend(fontsize=charts.TEXT, loc="outside lower center", ncols=3, frameon=False)
    figure.suptitle(_title(chain, _inside(drawn)), fontsize=charts.TEXT + 2)
    charts.plain(axes)
    return charts.save(figure, path)


def _inside(drawn: MonteCarlo) -> str:
    """How many draws lie inside the window, never rounded up to all of them."""
    if drawn.chance is None:
        return ""
    outside = drawn.draws - round(drawn.chance * drawn.draws)
    if not outside:
        return f"all of {drawn.draws:,} draws inside"
    if drawn.chance > 0.999:
        return f"{outside:,} of {drawn.draws:,} draws outside"
    return f"{100 * drawn.chance:.2f} % inside"


def draw_zones(model: Model, pair: str, path: str | Path, *, as_drawn: bool = False) -> Path:
    """The tolerance zones of a pair: outer and inner limits about the outer's basic size.

    Either side may be a sum of sizes; its zone is then the worst case of the sum. Limits are those
    that count on the pair's basis (a last cut shows the zone of the cut).

    Raises: InputError: no such pair (with the nearest), a pressure part, and as
        :func:`draw_contributors`.
    """
    zones = pair_zones(model, pair, as_drawn=as_drawn)
    charts.must_write(path)
    figure = charts.figure(6.0, 4.2)
    axes = figure.subplots()
    for place, zone in enumerate(zones):
        low, high = (float(end * 1000) for end in zone.deviations)
        axes.bar(
            place,
            high - low or 0.2,
            0.55,
            bottom=low,
            color=OTHER if place else METAL,
            edgecolor=LINE,
            hatch=charts.HATCH if place else None,
        )
        axes.annotate(f"{high:+.1f}", (place, high), (0, 3), **_note("bottom"))
        axes.annotate(f"{low:+.1f}", (place, low), (0, -3), **_note("top"))
    axes.axhline(0.0, color=LINE, linewidth=1.0)
    axes.set_xlim(-0.6, 1.6)
    ends = [0.0, *(float(end * 1000) for zone in zones for end in zone.deviations)]
    spare = 0.15 * (max(ends) - min(ends)) or 1.0
    axes.set_ylim(min(ends) - spare, max(ends) + spare)
    axes.set_xticks([0, 1], [zone.text for zone in zones], fontsize=charts.TEXT)
    axes.set_ylabel("deviation [µm]", fontsize=charts.TEXT)
    basic = float(zones[0].basic)
    figure.suptitle(f"{pair}: zones about {basic:.3f} mm", fontsize=charts.TEXT + 2)
    charts.plain(axes)
    return charts.save(figure, path)


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
    whole = body_of(in_made_sizes(checker, statement.node), ratio)
    givens, _ = givens_of(checker, statement, whole, basic, "stated")
    zones = []
    zero = middle(value_of(outer, checker.values, ratio))
    for side, text in ((outer, statement.outer), (inner.value, statement.inner)):
        body = body_of(in_made_sizes(checker, side), ratio)
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
    return {"textcoords": "offset points", "ha": "center", "va": side, "fontsize": charts.TEXT}


def _must_draw(chain: Chain, path: str | Path) -> None:
    if chain.basic is None:
        why = "a pressure part takes part" if chain.refused else "it has no value"
        raise InputError([Problem("no-figures", f"{chain.id} cannot be drawn: {why}", chain.place)])
    charts.must_write(path)


def _title(chain: Chain, more: str) -> str:
    head = chain.title or chain.id
    return f"{head} ({more})" if more else head
