"""Windows that change with the diameter: ISO 286 pairs and trade classes, and branches cut where
limits or windows change along them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import cache

from scaler.checking.statements import Statement
from scaler.expressions import Add, Node
from scaler.records import Pair
from scaler.substitution.compiled import Compiled
from scaler.substitution.options import Branch, deviations, rebased, split
from scaler.trade import iso286

WindowEnd = Callable[[Fraction], Fraction]
"""What an end of a window adds to a row, at a size [mm]."""
FAR = Fraction(10**6)
FINEST = Fraction(1, 10**6)
"""How closely the size is found at which a window changes [mm]."""
Windows = tuple[str, WindowEnd, WindowEnd]
"""The size whose diameter counts, and both ends."""


def split_branches(result: Compiled) -> None:
    """Cuts branches up where limits or windows change along them."""
    wants: dict[str, tuple[bool, list[Callable[[Fraction], Fraction]]]] = {}
    for row in result.rows:
        for name, part in row.parts.items():
            if part.spreads or part.cuts or part.windows:
                spreads, windows = wants.get(name, (False, []))
                wants[name] = (
                    spreads or bool(part.spreads or part.cuts),
                    [*windows, *part.windows],
                )
    for name, (spreads, windows) in wants.items():
        variable = result.variables[name]
        if variable.fixed or not any(b.moves for b in variable.branches):
            continue
        found: list[Branch] = []
        for branch in variable.branches:
            if branch.free:
                anything = not (variable.solved or variable.stepped or branch.follow is not None)
                found += split_free(branch, windows) if anything else [branch]
                continue
            bent = [w for w in windows if not straight(branch, w)]

            def signature(k: int, b: Branch = branch, bends: list[WindowEnd] = bent) -> object:
                value = b.value(k)
                limits = (
                    deviations(result.model, variable.size, b, k)  # noqa: B023
                    if spreads and variable.limits is None  # noqa: B023
                    else None
                )
                return limits, tuple(w(value) for w in bends)

            found += split(branch, signature)
        variable.branches = found


def split_free(branch: Branch, windows: list[WindowEnd], budget: int = 64) -> list[Branch]:
    """A branch with any value, cut up where windows change by steps along it."""
    ends = Fraction(branch.low), Fraction(branch.high)
    points = [ends[0] + (ends[1] - ends[0]) * Fraction(n, 8) for n in range(9)]

    def is_line(window: WindowEnd) -> bool:
        at = [window(branch.value(k)) for k in points]
        return all(at[n] - at[n - 1] == at[1] - at[0] for n in range(2, 9))

    bent = [window for window in windows if not is_line(window)]
    if not bent:
        return [branch]

    def signature(k: Fraction) -> tuple[Fraction, ...]:
        return tuple(window(branch.value(k)) for window in bent)

    pieces: list[Branch] = []
    low, top = ends
    while low <= top:
        first = signature(low)
        if len(pieces) + 1 >= budget or signature(top) == first:
            pieces.append(replace(branch, low=low))
            break
        good, bad = low, top
        while bad - good > FINEST / branch.step:
            middle = (good + bad) / 2
            if signature(middle) == first:
                good = middle
            else:
                bad = middle
        edge = (branch.value((good + bad) / 2)).limit_denominator(1000)
        at_edge = (edge - branch.base) / branch.step
        if good < at_edge < bad and signature(at_edge) == first:
            good = at_edge  # the step is at a round size, which belongs to the lower side
        pieces.append(replace(branch, low=low, high=good))
        low = bad
    return [rebased(piece) for piece in pieces]


def straight(branch: Branch, window: Callable[[Fraction], Fraction]) -> bool:
    """Whether a window is a straight line over a branch (seen at both ends and in the middle)."""
    if branch.free or not branch.moves:
        return True
    low, high = int(branch.low), int(branch.high)
    between = (low + high) // 2
    first, last = window(branch.value(low)), window(branch.value(high))
    want = first + (last - first) * Fraction(between - low, high - low)
    return window(branch.value(between)) == want


def outer_side(pair: Pair, item: Statement) -> Node:
    """The outer side of a pair, for the copy that the statement is about."""
    node = item.node
    return node.terms[0] if isinstance(node, Add) else pair.outer


@cache
def _window_at(
    iso: str, trade: str, trade_set: str, size: Fraction
) -> tuple[Fraction | None, Fraction | None]:
    if iso:
        try:
            fit = iso286.fit(iso, size)
        except iso286.Iso286Error:
            return None, None
        return fit.clearance_min_um / Fraction(1000), fit.clearance_max_um / Fraction(1000)
    from scaler.trade.trade_fits import UnknownFit, find_trade_fit

    try:
        found = find_trade_fit(trade, size, trade_set or None)
    except UnknownFit:
        return None, None
    return found.clearance_min_mm, found.clearance_max_mm


def named_window(pair: Pair, size: Fraction) -> tuple[Fraction | None, Fraction | None]:
    """The window of an ISO pair or a trade class at a diameter [mm]."""
    return _window_at(pair.fit.iso, pair.fit.trade, pair.fit.trade_set, size)
