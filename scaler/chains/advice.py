"""What to do about a chain: tighten first, what could be relaxed for nothing, what to measure again.

For linear chains the answers are exact. For others they are found by a few tries, each certified by
the worst case of the whole chain, so that a tolerance is never relaxed too far.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from scaler.chains.expressions import effective
from scaler.chains.records import Contributor, MeasureAgain, Relaxed, Tighten
from scaler.chains.stack import Stack, middle_of
from scaler.expressions import EvaluationError
from scaler.expressions.intervals import Value, lower, root, upper

ZERO = Fraction(0)
TENTH = Fraction(1, 10)
GRAIN = Fraction(1, 10**9)
"""Growth by the root sum square is rounded down to this [mm], so that it is never too much."""

TRIES = 6
FEW_BOXES = 24
"""Enclosures of a try are less fine than those shown; they stay certified."""

MOST_GROWTH = 20
"""A tolerance in a chain that is not linear is looked at up to so many times wider."""


def tighten_first(stack: Stack, contributors: tuple[Contributor, ...]) -> Tighten | None:
    """The process tolerance that brings the most variance, and what it alone would need.

    Only what making brings counts: an uncertain origin is not mended by finer work.
    """
    brought = {
        c.name: middle_of(stack.variance_of(c.name)[0])
        for c in contributors
        if c.sensitivity is not None and not c.given.reading
    }
    open_ones = [c for c in contributors if brought.get(c.name)]
    if not open_ones:
        return None
    first = max(open_ones, key=lambda c: (brought[c.name], c.reach, c.name))
    now = first.given.tolerance
    if not stack.has_window or stack.inside(stack.worst):
        return Tighten(first.name, now, None, True, first.share_variance)
    least = _largest(stack, first, -now, ZERO)
    needed = None if least is None else now + least
    return Tighten(first.name, now, needed or None, bool(needed), first.share_variance)


def could_be_relaxed(stack: Stack, contributors: tuple[Contributor, ...]) -> tuple[Relaxed, ...]:
    """Every process tolerance that could grow alone, the one with most room first."""
    if not stack.has_window:
        return ()
    found = []
    inside = stack.inside(stack.worst)
    for item in contributors:
        if item.given.reading or not item.given.tolerance or not effective(item.sensitivity):
            continue
        worst = ZERO
        if inside:
            most = MOST_GROWTH * item.given.tolerance
            worst = max(ZERO, _largest(stack, item, ZERO, most) or ZERO)
        square = _square_growth(stack, item) if stack.statistical else ZERO
        if worst or square:
            found.append(Relaxed(item.name, item.given.tolerance, worst, square))
    return tuple(sorted(found, key=lambda r: (-r.worst_case, -r.root_sum_square, r.size)))


def _largest(stack: Stack, item: Contributor, low: Fraction, high: Fraction) -> Fraction | None:
    """The largest growth of one tolerance, from ``low`` up, that keeps the worst case inside.

    Exact for linear chains, for which ``high`` is no bound. None where not even ``low`` will do.
    """
    if stack.body.coefficients is not None:
        growth = 2 * stack.slack(stack.worst) / abs(stack.body.coefficients[item.name])
        return growth if growth >= low else None

    def room(growth: Fraction) -> Fraction | None:
        try:
            return stack.slack(stack.worst_with({item.name: growth}, most_boxes=FEW_BOXES))
        except EvaluationError:
            return None

    return _search(room, low, high, abs(effective(item.sensitivity)))


def _search(
    room: Callable[[Fraction], Fraction | None], low: Fraction, high: Fraction, steep: Fraction
) -> Fraction | None:
    """The largest growth found with room left, between two ends, by the rule of false position.

    Only growths that were tried and found to leave room count.
    """
    left = room(low)
    if left is None or left < 0:
        return None
    good, good_room, whole = low, left, left
    bad: Fraction | None = None
    bad_room: Fraction | None = None
    step = 2 * left / steep if steep else high - low
    for _ in range(TRIES):
        if bad is None:
            trial = min(high, good + step)
        elif bad_room is None:
            trial = (good + bad) / 2
        else:
            trial = good + (bad - good) * good_room / (good_room - bad_room) * Fraction(999, 1000)
        trial = Fraction(round(trial * 10**9), 10**9)
        if trial <= good or (bad is not None and trial >= bad):
            break
        left = room(trial)
        if left is not None and left >= 0:
            if bad is None:
                gained = good_room - left
                step = (trial - good) * left / gained if gained > 0 else high - trial
            good, good_room = trial, left
            if good >= high or left * 1000 <= whole:
                break
        else:
            bad, bad_room = trial, left
    return good


def _square_growth(stack: Stack, item: Contributor) -> Fraction:
    """How much one tolerance could grow with the root sum square still inside the window.

    With D the room to the nearer end less the other shifts, R the variance of all else, w the
    weight of the size and m = |s|·k: 9·(R + w·σ²) = (D − m·σ)², solved for σ.
    """
    convention = stack.convention
    slope = effective(item.sensitivity)
    steep, own = abs(slope), convention.sigma(item.given)
    made, _ = stack.variance_of(item.name)
    rest = stack.all_variance - middle_of(made)
    weight = steep**2 / convention.apart(slope, item.given)
    sigma, shift = stack.deviation
    mean = middle_of(stack.mean)
    room = stack.slack((mean, mean))
    left = room - (middle_of(shift) - steep * convention.shift(item.given))
    if left < 0 or room < 3 * upper(sigma) + upper(shift):
        return ZERO
    per = steep * convention.mean_shift
    square = 9 * weight - per**2
    if square == 0:
        most: Value = (left**2 - 9 * rest) / (2 * left * per)
    else:
        inner = (left * per) ** 2 - square * (9 * rest - left**2)
        if inner < 0:
            return ZERO
        most = (root(inner) - left * per) / square
    growth = 6 * convention.capability * (lower(most) - own)
    return max(ZERO, (growth // GRAIN) * GRAIN)


def measure_again(stack: Stack, contributors: tuple[Contributor, ...]) -> tuple[MeasureAgain, ...]:
    """The uncertain origins: those that settle the question first, then by their effect."""
    found = []
    now = not stack.has_window or stack.inside(stack.worst)
    whole = sum((item.reach for item in contributors), ZERO)
    for item in contributors:
        if not item.given.origin:
            continue
        settles = not now and stack.inside(stack.worst_with({}, item.name))
        share = item.origin_effect / whole if whole else ZERO
        found.append(
            MeasureAgain(
                item.name,
                item.given.origin_text,
                item.given.origin,
                item.origin_effect,
                share,
                settles,
                settles or share >= TENTH,
            )
        )
    return tuple(sorted(found, key=lambda m: (not m.settles, -m.effect, m.size)))
