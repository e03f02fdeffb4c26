"""Shared-out tolerances as dicts for scripts and as text for the command line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from scaler.measures.lengths import format_mm
from scaler.problems import as_dict as problem_dict
from scaler.report import text_table, twin, twins, window_text
from scaler.settling.solve import Value, middle

if TYPE_CHECKING:
    from scaler.chains.allocation import Allocation


def allocation_dict(found: Allocation) -> dict[str, Any]:
    """Shared-out tolerances for scripts: mm (or degrees) with exact twins, costs in minutes."""
    return {
        "chain": found.chain.id,
        "by": found.by,
        "how": found.how,
        "unit": found.chain.unit,
        **twins("wanted", found.wanted),
        "allotted": [
            {
                "size": item.size,
                "process": item.process or None,
                **twin("before", item.before),
                **twin("tolerance", item.tolerance),
                **twins("limits", item.limits),
                **twin("cost_before", item.cost_before),
                **twin("cost", item.cost),
                "at_end": item.at_end or None,
            }
            for item in found.allotted
        ],
        "kept": list(found.kept),
        **twin("cost_before", found.cost_before),
        **twin("cost", found.cost),
        **twins("worst_case", found.chain.worst_case),
        "root_sum_square": [
            None if end is None else float(middle(end)) for end in found.chain.root_sum_square
        ],
        "notes": [problem_dict(note) for note in found.notes],
    }


def allocation_text(found: Allocation) -> str:
    """Shared-out tolerances as text: a table of the sizes, then what the chain comes to."""

    def cost(value: Value | None) -> str:
        return "-" if value is None else format_mm(middle(value), 1)

    ends = {"": "", "finest": "the finest it holds", "coarsest": "the coarsest it is used for"}
    rows = [
        (
            item.size,
            item.process or "-",
            format_mm(item.before, 4),
            format_mm(item.tolerance, 4),
            f"{format_mm(item.limits[0], 4)} to {format_mm(item.limits[1], 4)}",
            cost(item.cost_before),
            cost(item.cost),
            ends[item.at_end],
        )
        for item in found.allotted
    ]
    headings = ("size", "process", "before", "tolerance", "limits", "cost", "then", "")
    low, high = found.chain.root_sum_square
    square = "-"
    if low is not None and high is not None:
        square = window_text((middle(low), middle(high)), "mm", 4)
    window = window_text(found.wanted, "mm", 4)
    lines = [
        f"{found.chain.id}: closing limits {window}, shared out by {found.by} ({found.how})",
        text_table(headings, rows, (2, 3, 5, 6)),
        f"worst case {window_text(found.chain.worst_case, 'mm', 4)}; root sum square {square}",
    ]
    if found.cost:
        lines.append(
            f"cost {cost(found.cost_before)} before, {cost(found.cost)} then (minutes, rough)"
        )
    if found.kept:
        lines.append(f"keep their limits: {', '.join(found.kept)}")
    lines += [f"note: {note.headline}" for note in found.notes]
    return "\n".join(lines)
