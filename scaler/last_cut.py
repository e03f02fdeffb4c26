"""The basis 'last cut': one size is cut last, to the measured others.

Only the tolerance of that cut and the uncertainty of the readings count. A size that is cut last
may serve several statements: then, for every value that the other sizes may have within their own
limits, the windows that the statements leave it must still overlap by more than the tolerance of
the cut plus twice the uncertainty of the readings. Each of these overlaps is linear in the other
sizes, so its least value is exact.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.expressions import EvaluationError, gradient
from scaler.intervals import Interval
from scaler.limits import last_cut_tolerance, uncertainty
from scaler.records import BasisKind, Bounds
from scaler.solve import Value, middle

if TYPE_CHECKING:
    from scaler.check import Aim, Checker, Statement

ZERO = Fraction(0)
Range = tuple[Fraction, Fraction]


@dataclass(frozen=True, slots=True)
class Window:
    """What one statement leaves a size x: lower − others·k <= x <= upper − others·k [mm].

    ``lower`` and ``upper`` hold at basic sizes; ``tracks`` says how far x moves with each other
    size; ``worth`` is the uncertainty of the others' readings, carried to x.
    """

    statement: Statement
    lower: Fraction | None
    upper: Fraction | None
    tracks: Mapping[str, Fraction]
    worth: Fraction


def windows(checker: Checker, last: str) -> tuple[Window, ...]:
    """The windows that all statements with this last cut leave it (linear ones)."""
    cache: dict[str, tuple[Window, ...]] = checker.__dict__.setdefault("_windows", {})
    if last not in cache:
        served = checker.__dict__.get("_served")
        if served is None:
            served = {}
            for item in checker.statements:
                if item.basis.kind is BasisKind.LAST_CUT:
                    served.setdefault(item.basis.last, []).append(item)
            checker.__dict__["_served"] = served
        found = [_window(checker, item, last) for item in served.get(last, ())]
        cache[last] = tuple(item for item in found if item is not None)
    return cache[last]


def _window(checker: Checker, statement: Statement, last: str) -> Window | None:
    form = checker.expanded(statement.node)
    if form is None or last not in form.coefficients:
        return None
    if any(name not in checker.values for name in form.coefficients):
        return None
    factor = form.coefficients[last]
    rest = form.constant
    tracks: dict[str, Fraction] = {}
    worth = ZERO
    for name, coefficient in form.coefficients.items():
        if name == last:
            continue
        rest += coefficient * middle(checker.values[name])
        tracks[name] = -coefficient / factor
        identity, _, copy = name.partition("@")
        size = checker.model.sizes[identity]
        reading = checker.model.readings.get((identity, copy))
        instrument = reading.instrument if reading else ""
        worth += abs(coefficient / factor) * uncertainty(size, instrument)[1]
    ends = [
        None if bound is None else (bound - rest) / factor
        for bound in (statement.lower, statement.upper)
    ]
    if factor < 0:
        ends.reverse()
    return Window(statement, ends[0], ends[1], tracks, worth)


def range_of(checker: Checker, name: str) -> Range:
    """How far a size may lie from its basic size [mm]: its limits, or what its last cut makes of it.

    A size that is cut last follows the others as they come out; its range is theirs, carried over,
    and the tolerance of the cut and the readings. Correlation with the others is not used, so the
    range is never too narrow.
    """
    ranges: dict[str, Range] = checker.__dict__.setdefault("_ranges", {})
    if name not in ranges:
        limits = checker.limits(name)
        ranges[name] = (limits.lower, limits.upper)
        settled = checker.settlement.results.get(name)
        if settled is not None and not settled.made:
            found = windows(checker, name)
            if found:
                ranges[name] = _tracked(checker, name, found)
    return ranges[name]


def _spread(checker: Checker, tracks: Mapping[str, Fraction]) -> Range:
    low = high = ZERO
    for other, factor in tracks.items():
        down, up = range_of(checker, other)
        ends = (factor * down, factor * up)
        low, high = low + min(ends), high + max(ends)
    return low, high


def _tracked(checker: Checker, name: str, found: tuple[Window, ...]) -> Range:
    basic = middle(checker.values[name])
    tolerance = _tolerance(checker, name, found)
    if len(found) == 1:
        low, high = _spread(checker, found[0].tracks)
        margin = tolerance / 2 + found[0].worth
        shift = aim_at(basic, found, tolerance) - basic
        return shift + low - margin, shift + high + margin
    lows, highs = [], []
    for window in found:
        low, high = _spread(checker, window.tracks)
        if window.lower is not None:
            lows.append(window.lower - basic + low)
        if window.upper is not None:
            highs.append(window.upper - basic + high)
    limits = checker.limits(name)
    return max(lows, default=limits.lower), min(highs, default=limits.upper)


def _tolerance(checker: Checker, name: str, found: tuple[Window, ...]) -> Fraction:
    by = next((w.statement.basis.by for w in found if w.statement.basis.by), "")
    size = checker.model.sizes[name.partition("@")[0]]
    return last_cut_tolerance(checker.model, size, checker.settlement.results[size.id], by)[0]


def aim_at(basic: Fraction, found: tuple[Window, ...], tolerance: Fraction) -> Fraction:
    """The target nearest to the basic size that keeps the cut inside every window (at basic sizes
    of the others); the middle of what is left where no target does."""
    lows = [w.lower + tolerance / 2 + w.worth for w in found if w.lower is not None]
    highs = [w.upper - tolerance / 2 - w.worth for w in found if w.upper is not None]
    low, high = max(lows, default=None), min(highs, default=None)
    if low is not None and high is not None and low > high:
        return (low + high) / 2
    if low is not None and basic < low:
        return low
    return high if high is not None and basic > high else basic


def least_overlap(checker: Checker, one: Window, other: Window) -> Fraction | None:
    """The least of (one's upper − other's lower) for all values of the other sizes in their limits."""
    if one.upper is None or other.lower is None:
        return None
    gap = one.upper - other.lower
    for name in dict.fromkeys((*one.tracks, *other.tracks)):
        factor = one.tracks.get(name, ZERO) - other.tracks.get(name, ZERO)
        if factor:
            down, up = range_of(checker, name)
            gap += min(factor * down, factor * up)
    return gap


def last_cut(
    checker: Checker, statement: Statement, basic: Value
) -> tuple[Bounds, Aim | None, str]:
    """Window found when one size is cut last to the measured others, its aim, and a note."""
    from scaler.check import Aim

    last = statement.basis.last
    settled = checker.settlement.results.get(last)
    if (
        settled is None
        or settled.made
        or any(
            f"{last}@{copy}" in checker.values
            for copy in checker.model.parts[checker.model.sizes[last].part].copies
        )
    ):
        return checker.both_limits(statement), None, f"{last} is made: judged by the readings"
    size = checker.model.sizes[last]
    tolerance, by = last_cut_tolerance(checker.model, size, settled, statement.basis.by)
    found = windows(checker, last)
    mine = next((w for w in found if w.statement.id == statement.id), None)
    if mine is None:
        return _nonlinear(checker, statement, basic, tolerance, by)
    wide = _tolerance(checker, last, found)
    tolerance = min(tolerance, wide)
    target = aim_at(middle(checker.values[last]), found, tolerance)
    margin = tolerance / 2 + mine.worth
    factor = checker.expanded(statement.node).coefficients[last]  # type: ignore[union-attr]
    shifted = middle(basic) + factor * (target - middle(checker.values[last]))
    ends = (shifted - abs(factor) * margin, shifted + abs(factor) * margin)
    note = ""
    for other in found:
        for upper, lower in ((mine, other), (other, mine)):
            gap = least_overlap(checker, upper, lower)
            need = tolerance + upper.worth + lower.worth
            if gap is not None and gap <= need:
                whose = "" if other is mine else f" with {other.statement.id}"
                note = (
                    f"not promised: the window left for {last}{whose} is {_um(gap)} wide at worst, "
                    f"and the last cut ({by}) with the readings needs more than {_um(need)}"
                )
    return ends, Aim(last, target, margin, by), note


def _nonlinear(
    checker: Checker, statement: Statement, basic: Value, tolerance: Fraction, by: str
) -> tuple[Bounds, Aim | None, str]:
    """A statement that is not linear: the greatest slopes over the limits carry the tolerances."""
    from scaler.check import Aim

    last = statement.basis.last
    try:
        slopes = gradient(statement.node, checker.boxes(statement.node), checker.model.ratio)[1]
    except EvaluationError as error:
        return (None, None), None, f"not promised: {error}"
    spread = ZERO
    for name, slope in slopes.items():
        if slope is None:
            return (None, None), None, "not promised: the statement is too steep at these sizes"
        steep = slope.magnitude if isinstance(slope, Interval) else abs(slope)
        if name == last:
            spread += steep * tolerance / 2
        else:
            size = checker.model.sizes[name.partition("@")[0]]
            spread += steep * uncertainty(size)[1]
    centre = middle(basic)
    note = ""
    if len(windows(checker, last)) > 0:
        note = f"not promised: {last} also serves linear statements; the overlap was not proved"
    aim = Aim(last, middle(checker.values[last]), spread, by)
    return (centre - spread, centre + spread), aim, note


def _um(value: Fraction) -> str:
    return f"{float(value):.4f} mm"
