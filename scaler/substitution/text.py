"""A substitution as a person reads it: what to make, what it costs, conflicts and ways out."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from scaler.report import length_text, signed_text
from scaler.tables import Grid

if TYPE_CHECKING:
    from scaler.substitution.records import SizeChoice, Substitution, WayOut
    from scaler.substitution.sweep import Sweep


def status_text(result: Substitution) -> str:
    """One or two lines: how good the choice is, and its cost."""
    if result.status == "impossible":
        return "no choice of rows and steps can hold everything"
    if result.status == "unknown":
        return "no choice was found in the time and tries allowed; allow more with --seconds"
    cost = f"cost {float(result.cost):.3f} (a size at the end of its reach counts 1 × its weight)"
    if result.status == "optimal":
        return f"the best choice for the whole model, proved; {cost}"
    return f"the best found in the time allowed, within {float(result.gap or 0):.3%} of the best; {cost}"


def choices_grid(result: Substitution, units: str, *, changed: bool = False) -> Grid:
    """Every size chosen, or only those that differ from what stood before."""
    chosen = [c for c in result.choices if not changed or c.before is None or c.changed]
    rows = tuple(
        (
            choice.size,
            "-" if choice.before is None else length_text(choice.before, units, 3),
            length_text(choice.value, units, 3),
            "-" if choice.departure is None else _signed(choice, units),
            f"{float(choice.cost):.3f}",
            choice.how,
        )
        for choice in chosen
    )
    headings = ("size", "before", "chosen", "departure", "cost", "how")
    return Grid(headings, rows, (1, 2, 3, 4))


def _signed(choice: SizeChoice, units: str) -> str:
    assert choice.departure is not None
    return signed_text(choice.departure, units)


def levels_text(result: Substitution) -> str:
    """What was reached in each level of the order of preference."""
    return "\n".join(
        f"* {level.name}: {float(level.reached):g} ({level.meaning})" for level in result.levels
    )


def conflicts_text(result: Substitution) -> str:
    """Each smallest conflict with its statements and the ways out in order; then those of several
    at once."""
    blocks = []
    many = len(result.conflicts) > 1
    for number, conflict in enumerate(result.conflicts, 1):
        lines = [f"* {f'conflict {number}: ' if many else ''}{conflict.lead}:"]
        lines += [f"    {member.text} ({member.place})" for member in conflict.members]
        lines += ways_lines(conflict.ways_out, conflict.tried)
        blocks.append("\n".join(lines))
    for item in result.together:
        *others, last = item.conflicts
        named = f"{', '.join(map(str, others))} and {last}"
        lines = [f"* conflicts {named} all at once:", *ways_lines(item.ways_out, item.tried)]
        blocks.append("\n".join(lines))
    return "\n".join(blocks)


def ways_lines(ways: Sequence[WayOut], tried: str) -> list[str]:
    """Ways out, one after the other, in lines."""
    lines = []
    for number, way in enumerate(ways, 1):
        lines.append(f"  way out {number}: {'; '.join(way.changes)}")
        if way.gives_up:
            lines.append(f"    gives up: {'; '.join(way.gives_up)}")
        if way.lost:
            lines.append(f"    to be made again: {', '.join(way.lost)}")
        for text in way.write:
            if text:
                lines.append(f"    write: {text}")
        if way.left:
            plural = "conflict remains" if way.left == 1 else "conflicts remain"
            lines.append(f"    after this, {way.left} {plural}")
        aside = way.left and not {"choice", "as made"} & set(way.kinds)
        cost = f"cost of the {'rest of the' if aside else 'whole'} model then"
        price = f", of which {float(way.price):g} for options" if way.price else ""
        lines.append(f"    {cost}: {float(way.cost):.3f}{price}")
        lines += [f"    caution: {caution}" for caution in way.cautions]
    if not ways and tried:
        lines.append("  no way out among what was tried")
    if tried:
        lines.append(f"  {tried}")
    return lines


def alternatives_text(result: Substitution, units: str) -> str:
    """The next best choices: what each costs more, and where it differs."""
    lines = []
    for number, item in enumerate(result.alternatives, 1):
        lines.append(f"{number}. {float(item.more):+.4f}: {_changes(item.changes, units)}")
    return "\n".join(lines)


def _changes(changes: Sequence[SizeChoice], units: str) -> str:
    return "; ".join(f"{c.size} {length_text(c.value, units, 3)} ({c.how})" for c in changes)


def prices_text(result: Substitution) -> str:
    """How much closer to scale the model would be without each requirement that binds."""
    ranked = sorted(result.prices, key=lambda item: (-item.price, item.statement))
    return "\n".join(
        f"* {item.statement}: {float(item.price):.3f}{'' if item.exact else ' at least'}"
        for item in ranked
        if item.price
    )


def _first(names: Sequence[str], at_most: int = 2) -> str:
    """The first few conflicts, each by its names, and how many more there are."""
    more = len(names) - at_most
    return "; ".join(names[:at_most]) + (f"; and {more} more" if more > 0 else "")


def sweep_grid(found: Sweep) -> Grid:
    """One line a scale: what the best choice costs, and what stands in the way."""
    rows = tuple(
        (
            point.text,
            point.status,
            f"{float(point.cost):.3f}" if point.status != "unusable" else "-",
            str(point.conflicts),
            str(point.rounded_alone),
            _first(point.about),
        )
        for point in found.points
    )
    headings = ("scale", "choice", "cost", "conflicts", "rounded alone fails", "in the way")
    return Grid(headings, rows, (2, 3, 4))
