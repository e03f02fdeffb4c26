"""What each size that is not made yet must become, now that others are."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from scaler.as_made.bench import Bench, base
from scaler.as_made.move import cut_of, figure
from scaler.as_made.room import Room, of_copy, room
from scaler.as_made.ways import Way
from scaler.checking.check import Aim, Finding
from scaler.expressions import names


@dataclass(frozen=True, slots=True)
class Target:
    """What a size (of a copy) must become [mm].

    ``planned`` is its planned size, ``value`` what it must become (None where nothing serves any
    more), ``aim`` the figure to aim the cut at, ``lower`` and ``upper`` where it may lie for the
    statements that it serves, with the others as they are.
    """

    size: str
    copy: str
    planned: Fraction
    value: Fraction | None
    aim: Fraction | None
    lower: Fraction | None
    upper: Fraction | None
    process: str
    serves: tuple[str, ...]
    text: str

    @property
    def name(self) -> str:
        """The size, with its copy."""
        return f"{self.size}@{self.copy}" if self.copy else self.size

    @property
    def changed(self) -> bool:
        """Whether it must become something else than was planned."""
        return self.value != self.planned

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts."""
        from scaler.report import twin, twins

        return {
            "size": self.name,
            **twin("planned_mm", self.planned),
            **twin("must_become_mm", self.value),
            **twin("aim_mm", self.aim),
            **twins("anywhere_mm", (self.lower, self.upper)),
            "process": self.process,
            "serves": list(self.serves),
            "changed": self.changed,
            "text": self.text,
        }


def targets(bench: Bench, ways: Sequence[Way], findings: Iterable[Finding]) -> tuple[Target, ...]:
    """The sizes still to be cut to suit the others, of the statements given.

    Parameters: ways : the ways out found for what fails, best first; findings : what to look at.
    """
    found: dict[tuple[str, str], Target] = {}
    for finding in findings:
        last = finding.statement.basis.last
        if not last:
            continue
        size, copy = of_copy(last, finding.statement)
        if (size, copy) not in found and not bench.is_made(size, copy):
            made = target(bench, size, copy, ways)
            if made is not None:
                found[size, copy] = made
    return tuple(found.values())


def target(bench: Bench, size: str, copy: str = "", ways: Sequence[Way] = ()) -> Target | None:
    """What one size must become; None for one without a figure."""
    planned = bench.value(size, copy)
    if planned is None:
        return None
    record = bench.model.sizes[size]
    serves = [f for f in _served(bench, size, copy)]
    ids = tuple(finding.statement.id for finding in serves)
    value: Fraction | None = planned
    process = cut_of(record)[0]
    if any(finding.fails for finding in serves):
        moves = [
            move
            for way in ways
            if way.only_open and set(way.mends) & set(ids)
            for move in way.moves
            if (move.size, move.copy) == (size, copy)
        ]
        value = moves[0].after if moves else None
    space = room(bench, size, copy, ids)
    aims = [f.aim for f in serves if f.aim is not None and base(f.aim.size) == size]
    aim = _aim(value, aims, planned, space)
    name = f"{size}@{copy}" if copy else size
    if value is None:
        text = f"{name}: nothing it could be cut to serves {', '.join(ids)}"
    else:
        text = f"{name} to {figure(record, value, bench.model.units)}"
        if aim is not None and aim != value:
            text += f", the cut aimed at {figure(record, aim, bench.model.units)}"
    return Target(size, copy, planned, value, aim, space.lower, space.upper, process, ids, text)


def _aim(
    value: Fraction | None, aims: Sequence[Aim], planned: Fraction, space: Room
) -> Fraction | None:
    """Where to aim the cut so that it lands in the room wherever in its tolerance it comes out."""
    if value is None or not aims:
        return value
    if value == planned:
        return aims[0].target
    margin = max(aim.margin for aim in aims)
    low = None if space.lower is None else space.lower + margin
    high = None if space.upper is None else space.upper - margin
    if low is not None and high is not None and low > high:
        return aims[0].target
    if low is not None and value < low:
        return low
    return high if high is not None and value > high else value


def _served(bench: Bench, size: str, copy: str) -> list[Finding]:
    """The statements that a size is cut last for (those of its copy, where it has one)."""
    found = []
    for key in bench.index.named_in.get(size, ()):
        for finding in bench.found.get(key, ()):
            item = finding.statement
            if copy and item.copy_of(size.partition(".")[0]) not in ("", copy):
                continue
            if base(item.basis.last) == size and any(base(n) == size for n in names(item.node)):
                found.append(finding)
    return found
