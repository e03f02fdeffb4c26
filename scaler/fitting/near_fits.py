"""Published fits near a window of clearance: the preferred fits of ISO 286 and those of the trade.

Each is shown with its limits at the diameter, its source, and by how much it oversteps the window.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from scaler.records import Bounds

ZERO = Fraction(0)
THOUSAND = 1000


@dataclass(frozen=True, slots=True)
class NearFit:
    """A published fit near the window wanted. Clearances in mm; ``excess`` 0 inside the window."""

    name: str
    set: str
    basis: str
    window: Bounds
    excess: Fraction
    source: str
    note: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values."""
        from scaler.report import twin, twins

        return {
            "name": self.name,
            "set": self.set,
            "basis": self.basis or None,
            **twins("clearance_mm", self.window),
            **twin("excess_mm", self.excess),
            "source": self.source,
            "note": self.note or None,
        }


def near_iso(wanted: Bounds, size: Fraction, count: int = 3) -> tuple[NearFit, ...]:
    """The preferred fits of ISO 286 that overstep a window least, best first [mm].

    None where the size lies beyond the standard's tables.
    """
    from scaler.trade import iso286

    lower, upper = (None if end is None else end * THOUSAND for end in wanted)
    try:
        found = iso286.nearest_fits(lower, upper, size, count)
    except iso286.Iso286Error:
        return ()
    return tuple(
        NearFit(
            fit.limits.designation,
            "ISO 286 preferred fits",
            fit.basis,
            (fit.limits.clearance_min_um / THOUSAND, fit.limits.clearance_max_um / THOUSAND),
            fit.excess_um / THOUSAND,
            fit.limits.hole.source,
            "first choice" if fit.first_choice else "",
        )
        for fit in found
    )


def near_trade(
    wanted: Bounds, size: Fraction, count: int = 3, words: str = ""
) -> tuple[NearFit, ...]:
    """Fits of the trade that overstep a window least, ``count`` of each published set [mm].

    A set of grades (one that knows a push fit) is searched whole; of a set of uses (a gland, a
    gudgeon pin) only those that ``words`` of the pair name. A set is left out where its sizes do
    not reach the diameter.
    """
    from scaler.trade.trade_fits import UnknownFit, find_trade_fit, fit_names, fit_sets

    result: list[NearFit] = []
    for name in fit_sets():
        grades = "push" in fit_names(name)
        found = []
        for fit_name in fit_names(name):
            if not grades and not _named_by(fit_name, words):
                continue
            try:
                fit = find_trade_fit(fit_name, size, name)
            except UnknownFit:
                continue
            window = (fit.clearance_min_mm, fit.clearance_max_mm)
            found.append(
                NearFit(fit.name, fit.set, "", window, excess(window, wanted), fit.source, fit.note)
            )
        # of equally good ones the one whose middle is nearest the middle wanted
        found.sort(key=lambda fit: (fit.excess, _off_middle(fit.window, wanted)))
        result += found[:count]
    return tuple(result)


_SMALL_WORDS = frozenset(("in", "on", "or", "with", "of", "the", "full", "size", "long"))


def _named_by(fit: str, words: str) -> bool:
    """Whether at least half of the words of a use stand in the words of a pair."""

    def plain(text: str) -> set[str]:
        found = re.findall(r"[a-z]+", text.lower())
        return {word.removesuffix("s") for word in found if word not in _SMALL_WORDS}

    use = plain(fit)
    return 2 * len(use & plain(words)) >= len(use)


def excess(window: tuple[Fraction, Fraction], wanted: Bounds) -> Fraction:
    """By how much a window oversteps the one wanted, both ends together [mm]; 0 inside it."""
    low, high = wanted
    over = ZERO
    if low is not None:
        over += max(ZERO, low - window[0])
    if high is not None:
        over += max(ZERO, window[1] - high)
    return over


def _off_middle(window: Bounds, wanted: Sequence[Fraction | None]) -> Fraction:
    ends = [end for end in wanted if end is not None]
    inside = [end for end in window if end is not None]
    return abs(sum(ends, ZERO) / len(ends) - sum(inside, ZERO) / len(inside))
