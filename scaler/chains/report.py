"""Chains as dicts for scripts and as text for the command line. Rounding happens here only."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import Any

from scaler.chains.expressions import effective
from scaler.chains.records import Chain, Contributor, MonteCarlo
from scaler.expressions.intervals import Value
from scaler.measures.lengths import format_mm
from scaler.problems import as_dict as problem_dict
from scaler.records import Bounds
from scaler.report import length_text, number, rational, text_table, twin, twins, window_text
from scaler.settling.solve import middle


def contributor_dict(item: Contributor) -> dict[str, Any]:
    """One size of a chain for scripts: mm, or degrees for an angle."""
    given = item.given
    return {
        "size": item.name,
        "kind": given.kind,
        **twin("sensitivity", item.sensitivity),
        "formula": item.formula or None,
        **twin("basic", given.value),
        **twins("limits", item.limits),
        **twin("tolerance", given.tolerance),
        "limits_from": given.source or None,
        "process": given.process or None,
        "reading": given.reading,
        **twin("reach", item.reach),
        **twin("share_worst_case", item.share_worst_case),
        **twin("share_variance", item.share_variance),
        "origin": given.origin_text or None,
        **twin("uncertainty", given.origin),
        **twin("uncertainty_effect", item.origin_effect),
    }


def monte_carlo_dict(found: MonteCarlo) -> dict[str, Any]:
    """The random draws for scripts; a figure that there is none of is null."""

    def plain(value: float | None) -> float | None:
        return value if value is not None and math.isfinite(value) else None

    return {
        "draws": found.draws,
        "seed": found.seed,
        "distribution": found.distribution,
        "mean": plain(found.mean),
        "sd": plain(found.sd),
        "mean_standard_error": plain(found.mean_standard_error),
        "lowest": plain(found.lowest),
        "highest": plain(found.highest),
        "percentiles": [
            {"percent": percent, "value": plain(value)} for percent, value in found.percentiles
        ],
        "chance_inside": plain(found.chance),
        "chance_standard_error": plain(found.chance_standard_error),
        "below": found.below,
        "above": found.above,
        "negative": found.negative,
        "negative_sizes": [{"size": n, "draws": count} for n, count in found.negative_sizes],
        "without_value": found.without_value,
    }


def chain_dict(chain: Chain) -> dict[str, Any]:
    """A chain for scripts. Figures are in ``unit``; each has its exact twin, null if irrational."""
    low, high = chain.root_sum_square
    first = chain.tighten_first
    return {
        "id": chain.id,
        "what": chain.what,
        "title": chain.title or None,
        "text": chain.expression,
        "unit": chain.unit,
        "basis": chain.basis,
        "refused": chain.refused,
        "linear": chain.linear,
        **twins("wanted", chain.wanted),
        **twin("basic", chain.basic),
        **twin("mean", chain.mean),
        **twins("worst_case", chain.worst_case),
        **twins("worst_case_made", chain.worst_case_made),
        "root_sum_square": [number(low), number(high)],
        "root_sum_square_rational": [rational(low), rational(high)],
        **twin("standard_deviation", chain.standard_deviation),
        **twin("capability", chain.capability),
        **twin("mean_shift", chain.mean_shift),
        "verdict": str(chain.verdict) if chain.verdict else None,
        "contributors": [contributor_dict(item) for item in chain.contributors],
        "cancelled": list(chain.cancelled),
        "monte_carlo": monte_carlo_dict(chain.monte_carlo) if chain.monte_carlo else None,
        "tighten_first": None
        if first is None
        else {
            "size": first.size,
            **twin("tolerance", first.tolerance),
            **twin("needed", first.needed),
            "enough": first.enough,
            **twin("share_variance", first.share_variance),
        },
        "could_be_relaxed": [
            {
                "size": item.size,
                **twin("tolerance", item.tolerance),
                **twin("by_worst_case", item.worst_case),
                **twin("by_root_sum_square", item.root_sum_square),
            }
            for item in chain.could_be_relaxed
        ],
        "measure_again": [
            {
                "size": item.size,
                "origin": item.origin,
                **twin("uncertainty", item.uncertainty),
                **twin("effect", item.effect),
                **twin("share", item.share),
                "settles": item.settles,
                "worth_it": item.worth_it,
            }
            for item in chain.measure_again
        ],
        "notes": [problem_dict(note) for note in chain.notes],
        "file": chain.place.file if chain.place else None,
        "line": chain.place.line if chain.place else None,
    }


# --- text


def chain_text(chain: Chain, units: str = "mm") -> str:
    """A chain as text: the window and what was found, a table of the sizes, and what to do."""
    asked, units = units, units if chain.unit == "mm" else "mm"
    head = f"{chain.title} ({chain.id})" if chain.title else chain.id
    lines = [head]
    if chain.expression and chain.expression != chain.id:
        lines.append(f"  {chain.expression}")
    lines += [f"  {note.headline}" for note in chain.notes if note.code == "refused"]
    if chain.basic is None:
        lines += [f"  {note.headline}" for note in chain.notes if note.code != "refused"]
        return "\n".join(lines)
    unit = {"mm": " in" if units == "in" else " mm", "deg": "°"}.get(chain.unit, f" {chain.unit}")
    unit = unit.rstrip()

    def named(text: str) -> str:
        return text.replace(" (", " mm (") if units == "both" else text + unit

    def figure(value: Value) -> str:
        return named(length_text(value, units, 4))

    def span(bounds: tuple[Value | None, Value | None]) -> str:
        ends: Bounds = tuple(None if b is None else middle(b) for b in bounds)  # type: ignore[assignment]
        return "-" if ends == (None, None) else named(window_text(ends, units, 4))

    lines.append(f"  wanted           {span(chain.wanted)}")
    verdict = f"   {chain.verdict}" if chain.verdict else ""
    lines.append(f"  basic sizes      {figure(chain.basic)}")
    lines.append(f"  worst case       {span(chain.worst_case)}{verdict}  ({chain.basis})")
    if chain.worst_case_made != chain.worst_case:
        lines.append(f"    made only      {span(chain.worst_case_made)}  (origins taken as right)")
    if chain.root_sum_square[0] is not None:
        lines.append(f"  root sum square  {span(chain.root_sum_square)}  ({_convention(chain)})")
    if chain.monte_carlo is not None:
        lines += _drawn(chain.monte_carlo, figure)
    if chain.contributors:
        lines += ["", _table(chain, units, asked)]
    if chain.cancelled:
        lines.append(f"no effect, on both sides: {', '.join(chain.cancelled)}")
    lines += _advice(chain, asked, figure)
    lines += [f"note: {note.headline}" for note in chain.notes]
    return "\n".join(lines)


def chains_text(chains: Iterable[Chain], units: str = "mm") -> str:
    """Many chains as one table: what is wanted, what was found in three ways, the verdict."""
    rows = []
    for chain in chains:
        shown = units if chain.unit == "mm" else "mm"
        low, high = chain.root_sum_square
        square: Bounds = (None, None)
        if low is not None and high is not None:
            square = (middle(low), middle(high))
        drawn = chain.monte_carlo
        chance = "-" if drawn is None or drawn.chance is None else f"{drawn.chance * 100:.2f} %"
        rows.append(
            (
                chain.id,
                window_text(chain.wanted, shown),
                window_text(chain.worst_case, shown),
                window_text(square, shown),
                chance,
                str(chain.verdict or "-"),
                chain.contributors[0].name if chain.contributors else "-",
            )
        )
    headings = (
        "chain",
        "wanted",
        "worst case",
        "root sum square",
        "go together",
        "verdict",
        "most from",
    )
    return text_table(headings, rows, (4,))


def _convention(chain: Chain) -> str:
    text = f"limits are 3 standard deviations at capability {float(chain.capability):g}"
    if chain.mean_shift:
        text += f", means wander {float(chain.mean_shift):g} of them"
    return text


def _drawn(found: MonteCarlo, figure: Callable[[Value], str]) -> list[str]:
    mean, deviation = (
        figure(Fraction(value)) if math.isfinite(value) else "-" for value in (found.mean, found.sd)
    )
    figures = f"mean {mean}, standard deviation {deviation}"
    asked = f"{found.draws:,} {found.distribution}, seed {found.seed}"
    lines = [f"  random draws     {figures}  ({asked})"]
    if found.chance is not None and found.chance_standard_error is not None:
        lines.append(f"  goes together    {_chance(found)}")
    return lines


def _chance(found: MonteCarlo) -> str:
    assert found.chance is not None and found.chance_standard_error is not None
    if found.chance == 1.0:
        # none of n failed: at 95 % fewer than 3 in n do (the rule of three)
        return f"all of {found.draws:,} draws; fewer than 3 in {found.draws:,} fail (95 %)"
    where = [f"{found.below:,} below" if found.below else "", f"{found.above:,} above"]
    if not found.above:
        where.pop()
    if found.without_value:
        where.append(f"{found.without_value:,} without a value")
    said = ", ".join(part for part in where if part)
    error = max(found.chance_standard_error * 100, 0.001)
    return f"{found.chance * 100:.3f} % ± {error:.3f} % of the draws" + (
        f" ({said})" if said else ""
    )


def _table(chain: Chain, units: str, asked: str) -> str:
    """The sizes of a chain; ``units`` are those of the chain, ``asked`` those of lengths in it."""
    rows = []
    per_mm = 1.0 if units != "in" else 1 / 25.4  # a length that moves the chain moves it as much
    for item in chain.contributors:
        low, high = item.limits
        angle = item.given.kind == "angle"
        shown = _units(item.given.kind, asked)
        moves = per_mm * (25.4 if shown == "in" else 1)
        rows.append(
            (
                item.name,
                "-"
                if item.sensitivity is None
                else f"{float(effective(item.sensitivity)) * moves:+.4g}",
                f"{length_text(low, shown, 3)} to {length_text(high, shown, 3)}"
                + ("°" if angle else ""),
                format_mm(item.reach, 4) if units != "in" else length_text(item.reach, "in", 4),
                f"{float(item.share_worst_case) * 100:.1f} %",
                f"{float(item.share_variance) * 100:.1f} %",
                item.given.source + (f"; {item.given.origin_text}" if item.given.origin else ""),
            )
        )
    headings = ("size", "moves it", "limits", "±", "of worst case", "of variance", "limits from")
    return text_table(headings, rows, (1, 3, 4, 5))


def _units(kind: str, asked: str) -> str:
    """The units that a size is shown in: the figure of an angle is not a length."""
    return "mm" if kind in ("angle", "count", "teeth") else asked


def _advice(chain: Chain, asked: str, figure: Callable[[Value], str]) -> list[str]:
    lines = []
    kinds = {item.name: item.given.kind for item in chain.contributors}
    first = chain.tighten_first
    if first is not None and chain.wanted != (None, None):
        units = _units(kinds.get(first.size, ""), asked)
        if first.needed is not None:
            end = f": {length_text(first.needed, units, 4)} would do"
        elif first.enough:
            end = "; nothing needs it now"
        else:
            end = ", but it alone will not do"
        lines.append(
            f"tighten first: {first.size}, tolerance {length_text(first.tolerance, units, 4)}{end}"
        )
    for item in chain.could_be_relaxed:
        parts = []
        units = _units(kinds.get(item.size, ""), asked)
        if item.worst_case:
            parts.append(f"{length_text(item.worst_case, units, 4)} more by the worst case")
        if item.root_sum_square:
            more = length_text(item.root_sum_square, units, 4)
            parts.append(f"{more} more by root sum square")
        lines.append(f"could be relaxed: {item.size}, {', '.join(parts)}")
    for again in chain.measure_again:
        why = "it would settle the question" if again.settles else "not needed for this chain"
        if again.worth_it and not again.settles:
            why = f"it is {float(again.share) * 100:.0f} % of the worst case"
        effect = figure(again.effect)
        lines.append(f"measure again: {again.size} ({again.origin}), ± {effect} here; {why}")
    return lines
