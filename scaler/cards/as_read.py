"""What a card says of a size once something has been read: what was made, and what the rest must
become."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.records import Bounds, Part, Reading
from scaler.settling.solve import middle

if TYPE_CHECKING:
    from scaler.as_made.targets import Target
    from scaler.checking.conflicts import CheckResult
    from scaler.settling.reduce import SizeLine


@dataclass(frozen=True, slots=True)
class ToMake:
    """One figure of a card's row [mm]: of these copies (none: of all alike).

    ``value`` is what was made or what it is to be made to, None where nothing serves any more;
    ``window`` where it may lie, None where the limits of the size say so.
    """

    copies: tuple[str, ...]
    value: Fraction | None
    made: bool
    window: Bounds | None = None


def targets_of(result: CheckResult) -> dict[tuple[str, str], Target]:
    """What sizes that are cut last must become to suit what was read, by size and copy: the same
    as ``next`` and ``measure`` say. Nothing where nothing was read."""
    model = result.model
    if not model.readings:
        return {}
    from scaler.as_made.bench import Bench
    from scaler.as_made.measuring import planned_values
    from scaler.as_made.room import of_copy
    from scaler.as_made.targets import targets
    from scaler.as_made.ways import ways_out
    from scaler.expressions import names

    bench = Bench.opened(model, checker=result.checker)
    near = [
        finding
        for finding in bench.findings
        if any(bench.is_read(*of_copy(n, finding.statement)) for n in names(finding.statement.node))
    ]
    broken = [finding for finding in near if finding.fails]
    ways = ways_out(bench, broken, planned_values(bench, broken)) if broken else ()
    return {(found.size, found.copy): found for found in targets(bench, ways, near)}


def to_make(
    part: Part,
    line: SizeLine,
    readings: Mapping[str, Reading],
    apart: Mapping[str, SizeLine],
    becomes: Mapping[str, Target],
) -> tuple[ToMake, ...]:
    """The figures of a row: one where all copies are alike, else one for each that differs.

    Parameters: readings : by copy ('' : of all); apart : copies that are chosen by themselves;
        becomes : what it must become, by copy.
    """
    assert line.chosen is not None
    planned = middle(line.chosen)
    found: list[ToMake] = []
    for copy in part.copies or ("",):
        reading = readings.get(copy) or readings.get("")
        target = becomes.get(copy) or becomes.get("")
        if reading is not None:
            one = ToMake((copy,), reading.value, True)
        elif line.made is not None:
            one = ToMake((copy,), line.made, True)
        elif target is not None:
            one = ToMake((copy,), target.value, False, (target.lower, target.upper))
        elif copy in apart:
            chosen = apart[copy].chosen
            one = ToMake((copy,), None if chosen is None else middle(chosen), False)
        else:
            one = ToMake((copy,), planned, False)
        alike = next((n for n, o in enumerate(found) if _alike(o, one)), None)
        if alike is None:
            found.append(one)
        else:
            before = found[alike]
            found[alike] = ToMake((*before.copies, copy), one.value, one.made, one.window)
    if len(found) == 1:
        return (ToMake((), found[0].value, found[0].made, found[0].window),)
    return tuple(sorted(found, key=lambda item: item.made))


def _alike(one: ToMake, other: ToMake) -> bool:
    return (one.value, one.made, one.window) == (other.value, other.made, other.window)
