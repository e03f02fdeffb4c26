"""The basis 'last cut': one size is cut last, to the measured others.

Only the tolerance of that cut and the uncertainty of the readings count. A size that is cut last
may serve several statements: then, for every value that the other sizes may have within their own
limits, the windows that the statements leave it must still overlap by more than the tolerance of
the cut plus twice the uncertainty of the readings. Each of these overlaps is linear in the other
sizes, so its least value is exact.

What is promised, and why it holds. A statement lower <= c·x + rest <= upper leaves x a window whose
ends l and h move with the other sizes. The errors of the readings put the believed ends at l + a
and h + b, where l and h may belong to two statements. A cut at the middle of what is believed to be
left comes out at x = ((l + a) + (h + b))/2 + d, with d within half the tolerance T of the cut: so
x − l = (h − l)/2 + (a + b)/2 + d, and h − x likewise. Neither is below zero as long as
h − l >= T + |a + b|, and |a + b| is at most the uncertainty carried to x from the one statement and
from the other: for a single statement, twice its uncertainty. Where a size has been read before,
its reading stands and the window with it, and its error counts twice on one side: the larger of the
two is taken twice. Any aim that keeps T/2 and a window's own uncertainty off both its ends does as
well.

How far a size that is cut last may lie, for other statements that it stands in: the tool aims at
the clearance as planned, shifted as little as keeps the cut inside the window, and the size follows
the others as they come out. Where it serves several statements it lies somewhere inside all their
windows.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.checking.statements import NOWHERE, At, Statement
from scaler.expressions import names
from scaler.expressions.intervals import lower, upper
from scaler.expressions.values import MINUS_ONE, ONE, times
from scaler.records import BasisKind, Deviations
from scaler.settling.limits import last_cut_tolerance, uncertainty, unknown
from scaler.settling.solve import middle

if TYPE_CHECKING:
    from scaler.checking.check import Checker

ZERO = Fraction(0)
Range = tuple[Fraction, Fraction]
_INVERSES = {ONE: MINUS_ONE, MINUS_ONE: ONE}
"""The usual factors' −1 / factor, as the figures that sums are quick with."""


class NoRange(ValueError):
    """How far a size may lie is not bounded; str() says why."""


@dataclass(frozen=True, slots=True)
class Window:
    """What one statement leaves a size x [mm]: lower + Σ k·off <= x <= upper + Σ k·off.

    ``name`` is the statement's, or says that these are the size's own limits; ``lower`` and
    ``upper`` hold at basic sizes, and the others may be off these; ``tracks`` holds the k, how far
    x moves with each other size not made yet; ``worth`` is the uncertainty of all the others'
    readings, carried to x, and ``made_worth`` the part of it from sizes that have been read already.
    """

    name: str
    lower: Fraction | None
    upper: Fraction | None
    tracks: Mapping[str, Fraction]
    worth: Fraction
    made_worth: Fraction = ZERO


@dataclass(frozen=True, slots=True)
class Follows:
    """A size that serves one statement: rest + Σ k·other, within ± margin."""

    rest: Fraction
    tracks: Mapping[str, Fraction]
    margin: Fraction


class Cuts:
    """The last cuts of one check: who serves what, what is left to each, how far each may lie."""

    def __init__(self, checker: Checker) -> None:
        self.checker = checker
        self.served: dict[str, list[tuple[str, Statement]]] = {}
        for item in checker.statements:
            if item.basis.kind is BasisKind.LAST_CUT:
                if any(name not in checker.values for name in names(item.node)):
                    continue  # a pressure part takes part: it is refused
                identity, copy = self.last_of(item)
                if self.is_open(identity):
                    self.served.setdefault(identity, []).append((copy, item))
        self._windows: dict[tuple[str, str], tuple[Window, ...]] = {}
        self._ranges: dict[tuple[str, str], Range] = {}
        self._follows: dict[tuple[str, str], Follows | None] = {}
        self._depths: dict[str, int] = {}
        self._ends: dict[str, Range] = {}

    def last_of(self, statement: Statement) -> tuple[str, str]:
        """The size that a statement is cut last to, and which copy of it ('' where it has none).

        A copy with a value of its own (``size@copy``) counts as a size by itself.
        """
        last = statement.basis.last
        return last, "" if "@" in last else statement.copy_of(last.partition(".")[0])

    def is_open(self, identity: str) -> bool:
        """Whether a size (or a copy with a value of its own) is still to be cut."""
        return not self.checker.is_made(identity)

    def met(self, identity: str, copy: str) -> At:
        """Which copies of other parts a copy of a size meets in all that it serves."""
        found: dict[str, set[str]] = {}
        for item in self.statements(identity, copy):
            for part, own in item.at.items():
                found.setdefault(part, set()).add(own)
        return {"": copy, **{part: own.pop() for part, own in found.items() if len(own) == 1}}

    def statements(self, identity: str, copy: str = "") -> list[Statement]:
        """What a size serves; with a copy, what that copy of it serves."""
        found = self.served.get(identity, [])
        return [item for own, item in found if not copy or own in ("", copy)]

    def copies(self, identity: str) -> list[str]:
        """The copies of a size that serve statements of their own; [''] where none does."""
        found = dict.fromkeys(own for own, _ in self.served.get(identity, []) if own)
        return list(found) or [""]

    def windows(self, identity: str, copy: str = "") -> tuple[Window, ...]:
        """The windows of all linear statements that a size serves."""
        key = identity, copy
        if key not in self._windows:
            found = (self.window(item, identity) for item in self.statements(*key))
            self._windows[key] = tuple(item for item in found if item is not None)
        return self._windows[key]

    def window(self, statement: Statement, last: str) -> Window | None:
        """What a statement leaves its last cut; None where it is not linear, or has no figure."""
        checker = self.checker
        form = checker.form_of(statement)
        if form is None or last not in form.coefficients:
            return None
        factor = form.coefficients[last]
        inverse = _INVERSES.get(factor) or -1 / factor
        rest = form.constant
        tracks: dict[str, Fraction] = {}
        worth = made_worth = ZERO
        for name, coefficient in form.coefficients.items():
            if name == last:
                continue
            rest += times(coefficient, middle(checker.values[name]))
            identity, _, copy = name.partition("@")
            reading = checker.readings.get((identity, copy))
            size = checker.model.sizes[identity]
            tracked = times(inverse, coefficient)
            read = abs(tracked) * uncertainty(size, reading.instrument if reading else "")[1]
            worth += read
            if checker.is_made(name):
                made_worth += read
            else:
                tracks[name] = tracked
        ends = [
            None if bound is None else times(inverse, rest - bound)
            for bound in (statement.lower, statement.upper)
        ]
        if factor < 0:
            ends.reverse()
        return Window(statement.id, ends[0], ends[1], tracks, worth, made_worth)

    def with_own(self, identity: str, copy: str = "") -> tuple[Window, ...]:
        """The windows, and the size's own limits where it states them as one more."""
        found = self.windows(identity, copy)
        size = self.checker.model.sizes[identity.partition("@")[0]]
        if size.limits is None or not found:
            return found
        limits = self.checker.limits(identity)
        basic = middle(self.checker.values[identity])
        low, high = basic + limits.lower, basic + limits.upper
        return (*found, Window(f"{identity}:limits", low, high, {}, ZERO))

    def tolerance(self, identity: str, copy: str = "") -> tuple[Fraction, str]:
        """The tolerance of the last cut of a size [mm], the finest that a statement asks for."""
        checker = self.checker
        asked = {item.basis.by for item in self.statements(identity, copy)} - {""}
        size = checker.model.sizes[identity.partition("@")[0]]
        settled = checker.settlement.of(identity)
        return min(
            last_cut_tolerance(checker.model, size, settled, by) for by in sorted(asked) or [""]
        )

    def straight(self, identity: str, copy: str = "") -> bool:
        """Whether all that a size serves is linear."""
        return len(self.windows(identity, copy)) == len(self.statements(identity, copy))

    def follows(self, name: str, copy: str = "") -> Follows | None:
        """How a size follows the others that it is cut to; None where it serves not just one."""
        key = name, copy
        if key not in self._follows:
            found = self.with_own(name, copy)
            self._follows[key] = None
            if len(found) == 1 and len(self.statements(name, copy)) == 1:
                tolerance = self.tolerance(name, copy)[0]
                basic = middle(self.checker.values[name])
                aim = aim_at(basic, found, tolerance)
                margin = tolerance / 2 + found[0].worth - found[0].made_worth
                rest = aim
                for other, tracked in found[0].tracks.items():
                    rest -= times(tracked, middle(self.checker.values[other]))
                self._follows[key] = Follows(rest, found[0].tracks, margin)
        return self._follows[key]

    def of_copy(self, name: str, at: At) -> str:
        """The copy of a size that a statement on some copies takes, or '' for the plain one."""
        copy = at.get(name.partition(".")[0], at.get("", ""))
        return copy if copy in self.copies(name) else ""

    def span(self, constant: Fraction, factors: Mapping[str, Fraction], at: At = NOWHERE) -> Range:
        """The range of constant + Σ factor·size, every size anywhere that it may be.

        Exact where no size is cut last to several statements; else certainly not too narrow.
        Raises NoRange.
        """
        low, high, left = self.untied(constant, factors, at)
        for name, factor in left.items():
            ends = [factor * end for end in self.ends(name)]
            low, high = low + min(ends), high + max(ends)
        return low, high

    def untied(
        self, constant: Fraction, factors: Mapping[str, Fraction], at: At = NOWHERE
    ) -> tuple[Fraction, Fraction, dict[str, Fraction]]:
        """The same sum without the sizes that are cut last: they follow the others, or lie in a
        range of their own. The least and greatest constant, and the factors that are left.

        Raises NoRange.
        """
        checker = self.checker
        left = {name: factor for name, factor in factors.items() if factor}
        low = high = constant
        while cut := [name for name in left if name in self.served]:
            name = max(cut, key=self.depth)
            factor = left.pop(name)
            own = self.of_copy(name, at)
            follows = self.follows(name, own)
            if follows is None:
                down, up = self.range_of(name, own)
                basic = factor * middle(checker.values[name])
                ends = (basic + factor * down, basic + factor * up)
                low, high = low + min(ends), high + max(ends)
                continue
            start = times(factor, follows.rest)
            for other, tracked in follows.tracks.items():
                moved = times(factor, tracked)
                left[other] = left[other] + moved if other in left else moved
                if not left[other]:
                    del left[other]
            width = abs(factor) * follows.margin
            low, high = low + (start - width), high + (start + width)
        return low, high, left

    def ends(self, name: str) -> Range:
        """The least and the greatest size within limits. Raises NoRange where there are none."""
        if name not in self._ends:
            value, limits = self.checker.values[name], self.limited(name)
            self._ends[name] = (lower(value) + limits.lower, upper(value) + limits.upper)
        return self._ends[name]

    def limited(self, name: str) -> Deviations:
        """The limits of a size. Raises NoRange where there are none."""
        limits = self.checker.limits(name)
        if unknown(limits):
            raise NoRange(f"{name} has no limits ({limits.source}): state them")
        return limits

    def depth(self, name: str) -> int:
        """How many last cuts come one after the other up to this size; 0 for one that is not one.

        Raises NoRange where last cuts form a ring (through definitions: a plain one is refused when
        the model is read).
        """
        if name not in self.served:
            return 0
        path = [name] if name not in self._depths else []
        waiting = [iter(self.served_from(name))] if path else []
        while path:
            other = next(waiting[-1], None)
            if other is None:
                done = path.pop()
                waiting.pop()
                depths = (self._depths.get(item, 0) for item in self.served_from(done))
                self._depths[done] = 1 + max(depths, default=0)
            elif other in path:
                around = path[path.index(other) :]
                first = around.index(min(around))
                around = around[first:] + around[:first]
                ring = " > ".join((*around, around[0]))
                raise NoRange(f"its last cuts form a ring through definitions: {ring}")
            elif other in self.served and other not in self._depths:
                path.append(other)
                waiting.append(iter(self.served_from(other)))
        return self._depths[name]

    def served_from(self, name: str) -> list[str]:
        """The other sizes that a size is cut last to, directly."""
        found = {other for item in self.statements(name) for other in self.made_from(item)}
        return sorted(found - {name})

    def made_from(self, statement: Statement) -> Iterable[str]:
        """The sizes that a statement comes down to, definitions put in."""
        form = self.checker.form_of(statement)
        named = form.coefficients if form is not None else self.checker.sizes_of(statement.node)
        return [name for name in named if not self.checker.is_made(name)]

    def range_of(self, name: str, copy: str = "") -> Range:
        """How far a size may lie from its basic size [mm]. Raises NoRange."""
        key = name, copy
        if key not in self._ranges:
            self._ranges[key] = self.find_range(name, copy)
        return self._ranges[key]

    def find_range(self, name: str, copy: str) -> Range:
        """The least and the greatest that a cut may come out at, worked out anew. [mm]"""
        if not self.depth(name):
            limits = self.checker.limits(name)
            return limits.lower, limits.upper
        own = self.copies(name)
        if not copy and len(own) > 1:
            ranges = [self.range_of(name, item) for item in own]
            return min(low for low, _ in ranges), max(high for _, high in ranges)
        if not self.straight(name, copy):
            from scaler.checking.nonlinear_cut import range_of_cut

            return range_of_cut(self, name, copy)
        basic = middle(self.checker.values[name])
        if self.follows(name, copy) is not None:
            low, high = self.span(ZERO, {name: Fraction(1)}, self.met(name, copy))
            return low - basic, high - basic
        return self.inside_all(name, copy, basic)

    def inside_all(self, name: str, copy: str, basic: Fraction) -> Range:
        """Where a size lies that is cut into several windows: as near its planned size as they
        allow, or in the middle of what they leave where that is too little for the cut."""
        found, tolerance = self.with_own(name, copy), self.tolerance(name, copy)[0]
        at = self.met(name, copy)
        lows, highs, raised, lowered = [], [], [], []
        for one in found:
            most = 2 * one.worth + tolerance
            if one.lower is not None:
                low, high = self.end_span(one.lower, one.tracks, at)
                raised.append(high + most)
                for other in found:
                    if self.lacking(other, one, tolerance, at) is not None:
                        low = min(low, self.between(one, other, tolerance, at)[0])
                lows.append(low)
            if one.upper is not None:
                low, high = self.end_span(one.upper, one.tracks, at)
                lowered.append(low - most)
                for other in found:
                    if self.lacking(one, other, tolerance, at) is not None:
                        high = max(high, self.between(other, one, tolerance, at)[1])
                highs.append(high)
        half = tolerance / 2
        low = max(lows) if lows else min(basic - half, *lowered)
        high = min(highs) if highs else max(basic + half, *raised)
        return low - basic, high - basic

    def end_span(self, end: Fraction, tracks: Mapping[str, Fraction], at: At) -> Range:
        """The range of an end of a window, moving with the other sizes."""
        values = self.checker.values
        at_basic = sum((factor * middle(values[n]) for n, factor in tracks.items()), ZERO)
        return self.span(end - at_basic, tracks, at)

    def between(self, low: Window, high: Window, tolerance: Fraction, at: At) -> Range:
        """The range of a cut at the middle between the lower end of one window and the upper end
        of another, as the readings show them."""
        assert low.lower is not None and high.upper is not None
        tracks = {
            name: (low.tracks.get(name, ZERO) + high.tracks.get(name, ZERO)) / 2
            for name in dict.fromkeys((*low.tracks, *high.tracks))
        }
        least, most = self.end_span((low.lower + high.upper) / 2, tracks, at)
        worth = (low.worth - low.made_worth + high.worth - high.made_worth) / 2
        return least - worth - tolerance / 2, most + worth + tolerance / 2

    def overlap(self, one: Window, other: Window, at: At = NOWHERE) -> Fraction | None:
        """The least of (one's upper − other's lower) over all values of the other sizes."""
        if one.upper is None or other.lower is None:
            return None
        if one is other:  # both ends move together
            return one.upper - other.lower
        tracks = {
            name: one.tracks.get(name, ZERO) - other.tracks.get(name, ZERO)
            for name in dict.fromkeys((*one.tracks, *other.tracks))
        }
        return self.end_span(one.upper - other.lower, tracks, at)[0]

    def lacking(
        self, one: Window, other: Window, tolerance: Fraction, at: At
    ) -> tuple[Fraction, Fraction] | None:
        """Overlap and what the cut and the readings need, where the overlap is not more than that."""
        gap = self.overlap(one, other, at)
        if gap is None:
            return None
        need = tolerance + one.worth + other.worth + abs(one.made_worth - other.made_worth)
        return (gap, need) if gap <= need else None


def range_of(checker: Checker, name: str) -> Range:
    """How far a size may lie from its basic size [mm]: its limits, or what its last cut makes of it.

    Raises NoRange where that is not bounded.
    """
    return checker.cuts.range_of(name)


def aim_at(basic: Fraction, found: Sequence[Window], tolerance: Fraction) -> Fraction:
    """The target nearest to the basic size that keeps the cut inside every window (at basic sizes
    of the others); the middle of what the windows leave where no target does."""
    half = tolerance / 2
    lows, highs = [], []
    for window in found:
        kept = half + window.worth
        if window.lower is not None:
            lows.append(window.lower + kept)
        if window.upper is not None:
            highs.append(window.upper - kept)
    if lows and highs and max(lows) > min(highs):
        low = max(window.lower for window in found if window.lower is not None)
        high = min(window.upper for window in found if window.upper is not None)
        return (low + high) / 2
    return min([max([basic, *lows]), *highs])
