"""Fits by the names of the trade, as windows of clearance that depend on the diameter.

Clearance is hole less shaft; interference is negative clearance. More than one published set is
in use and they do not agree, so a found fit always says whose it is. A window is a constant plus
so much for each inch of diameter, or constants by ranges of size, as its set prints it. Beyond the
last size of a set the search refuses and names the end.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from scaler import catalogue

INCH_MM = Fraction(254, 10)
THOU_MM = Fraction(254, 10_000)


class UnknownFit(LookupError):
    """A fit that the catalogue cannot give.

    Attributes
    ----------
    text : str, what was asked for
    reason : str, why it cannot be given
    nearest : tuple of str, known names near it
    beyond : bool, whether the fit is known and only the diameter lies outside its sizes
    """

    def __init__(
        self, text: str, reason: str, nearest: tuple[str, ...] = (), *, beyond: bool = False
    ) -> None:
        self.text, self.reason, self.nearest, self.beyond = text, reason, nearest, beyond
        hint = f"; known are {', '.join(nearest)}" if nearest else ""
        super().__init__(f"{reason}{hint}")


@dataclass(frozen=True, slots=True)
class TradeFit:
    """A fit of the trade at one diameter.

    Attributes
    ----------
    name : str, the fit, or both fits of a window that runs from one to another
    set : str, the published set it is taken from
    clearance_min_mm, clearance_max_mm : Fraction, hole less shaft, tightest and loosest [mm];
        negative is interference
    source, place : str, key into the sources and where it was read
    note : str, remarks that go with the figure
    """

    name: str
    set: str
    clearance_min_mm: Fraction
    clearance_max_mm: Fraction
    source: str
    place: str
    note: str

    @property
    def kind(self) -> str:
        """``clearance``, ``interference`` or ``transition``, by the signs of the window."""
        if self.clearance_min_mm >= 0:
            return "clearance"
        return "interference" if self.clearance_max_mm <= 0 else "transition"


def fit_sets() -> tuple[str, ...]:
    """Names of the sets, the usual one first."""
    return tuple(dict.fromkeys(row.text("set") for row in _rows()))


def fit_names(set: str | None = None) -> tuple[str, ...]:
    """Names of all trade fits, or of one set, in the order of the catalogue (tightest first)."""
    return tuple(
        dict.fromkeys(row.text("fit") for row in _rows() if set in (None, row.text("set")))
    )


def find_trade_fit(name: str, diameter_mm: Fraction, set: str | None = None) -> TradeFit:
    """The window of clearance of a fit of the trade at a diameter.

    Parameters
    ----------
    name : str, a trade name such as ``close running``, or two of one set joined by *to*
        (``normal run to easy run``: from the line of the first to the line of the second)
    diameter_mm : Fraction, nominal diameter [mm], more than 0 and within the set's sizes
    set : str, the set to take it from; without it the first set that knows the name

    Returns
    -------
    TradeFit, exact

    Raises
    ------
    UnknownFit
        for an unknown name or set, a diameter that is not positive or lies outside the set's sizes,
        a fit with no window of its own, or two fits named in the wrong order

    Notes
    -----
    In a set of lines (one line a class) a window of two classes ends at the second's line; in a
    set of ranges it ends at the second's loose limit.

    Examples
    --------
    >>> fit = find_trade_fit("push", Fraction(254, 10))
    >>> fit.clearance_min_mm / THOU_MM, fit.set
    (Fraction(1, 2), "model engineer's handbook")

    References
    ----------
    The sources are named in the table ``trade_fits``, row by row.
    """
    diameter = Fraction(diameter_mm)
    wanted = _set(name, set)
    if diameter <= 0:
        raise UnknownFit(name, "a diameter must be more than nothing")
    if _find(name, wanted):
        return _single(name, diameter, wanted)
    for one, other in _halves(name):
        if _find(one, wanted) or _find(other, wanted):
            return _between(name, one, other, diameter, wanted)
    raise _unknown(name, wanted)


def _single(name: str, diameter: Fraction, set: str | None) -> TradeFit:
    row = _row(name, diameter, set)
    low, high = _window(row, diameter)
    return TradeFit(
        row.text("fit"),
        row.text("set"),
        low,
        high,
        row.text("source"),
        row.text("place"),
        row.text("note"),
    )


def _between(text: str, one: str, other: str, diameter: Fraction, set: str | None) -> TradeFit:
    for half in (one, other):
        if not _find(half, set):
            raise _unknown(half, set)
    shared = [s for s in fit_sets() if _find(one, s) and _find(other, s) and set in (None, s)]
    if not shared:
        raise UnknownFit(text, f"no one set has both {one} and {other}", fit_sets())
    first, second = _row(one, diameter, shared[0]), _row(other, diameter, shared[0])
    low, loose = _window(first, diameter)
    tight, high = _window(second, diameter)
    if low > tight or loose > high or first.text("fit") == second.text("fit"):
        raise UnknownFit(text, f"{one} is not tighter than {other}; name the tighter fit first")
    lines = bool(second["line"])
    end = "to the line of the second" if lines else "to the loose limit of the second"
    return TradeFit(
        f"{first.text('fit')} to {second.text('fit')}",
        first.text("set"),
        low,
        tight if lines else high,
        first.text("source"),
        first.text("place"),
        f"From the tight end of the first {end}.",
    )


def _row(name: str, diameter: Fraction, set: str | None) -> catalogue.Row:
    """The row of a name that holds a diameter, in the first set that knows the name."""
    found = _find(name, set)
    rows = [row for row in found if row.text("set") == found[0].text("set")]
    for row in rows:
        above, up_to = row.mm("above"), row.mm("up_to")
        if (above is None or diameter > above) and (up_to is None or diameter <= up_to):
            if not any(row.text(f"tightest_constant_{u}") for u in ("thou", "mm")):
                raise UnknownFit(name, f"{row.text('fit')} has no window: {row.text('note')}")
            return row
    lowest, highest = rows[0], rows[-1]
    below = (least := lowest.mm("above")) is not None and diameter <= least
    row, end = (lowest, "above") if below else (highest, "up_to")
    where = "begin above" if below else "end at"
    raise UnknownFit(
        name,
        f"{row.text('fit')} in the {row.text('set')} set: its sizes {where} {_end(row, end)}; "
        f"{_decimal(diameter)} mm lies beyond them",
        beyond=True,
    )


def _window(row: catalogue.Row, diameter: Fraction) -> tuple[Fraction, Fraction]:
    ends = []
    for end in ("tightest", "loosest"):
        constant = row.mm(f"{end}_constant")
        if constant is None:
            thou = row.number(f"{end}_constant_thou")
            thou += row.number(f"{end}_per_inch_thou") * diameter / INCH_MM
            constant = thou * THOU_MM
        ends.append(constant)
    return ends[0], ends[1]


def _find(name: str, set: str | None) -> tuple[catalogue.Row, ...]:
    rows = _index().get(_key(name), ())
    return tuple(row for row in rows if set in (None, row.text("set")))


def _halves(name: str) -> list[tuple[str, str]]:
    parts = re.split(r"\s+(?:to|and)\s+|\s*[-–—]\s*|\s*/\s*", name.strip())
    if not all(parts):
        return []
    return [(" ".join(parts[:cut]), " ".join(parts[cut:])) for cut in range(1, len(parts))]


def _set(name: str, set: str | None) -> str | None:
    if set is None:
        return None
    for known in fit_sets():
        if _key(known) == _key(set):
            return known
    raise UnknownFit(name, f"no set of fits is called “{set}”", fit_sets())


def _unknown(name: str, set: str | None) -> UnknownFit:
    where = f" in the {set} set" if set else ""
    others = dict.fromkeys(row.text("set") for row in _find(name, None))
    if set and others:
        return UnknownFit(name, f"“{name}” is not{where}; it is in {', '.join(others)}")
    names = [row_name for row_name in _index() if _find(row_name, set)]
    near: dict[str, None] = {}
    for key in difflib.get_close_matches(_key(name), names, n=len(names), cutoff=0.5):
        near.update((row.text("fit"), None) for row in _find(key, set))
    nearest = tuple(near)[:4] or fit_names(set or fit_sets()[0])
    return UnknownFit(name, f"no fit of the trade is called “{name}”{where}", nearest)


def _rows() -> tuple[catalogue.Row, ...]:
    """The shipped fits, then those of the user's own tables that serve "trade fits"."""
    tables = ("trade_fits", *catalogue.serving("trade fits"))
    return tuple(row for name in tables for row in catalogue.table(name).rows)


@cache
def _index() -> dict[str, tuple[catalogue.Row, ...]]:
    """Names and aliases in comparing form, each with its rows in the order of the catalogue."""
    index: dict[str, tuple[catalogue.Row, ...]] = {}
    for row in _rows():
        names = [row.text("fit"), *row.text("aliases").split(";")]
        for key in dict.fromkeys(_key(name) for name in names if name.strip()):
            index[key] = (*index.get(key, ()), row)
    return index


def _key(name: str) -> str:
    text = re.sub(r"[\s,_-]+", " ", name.lower().replace("’", "'")).strip()
    return re.sub(r" fit$", "", text)


def _end(row: catalogue.Row, end: str) -> str:
    inches = row.text(f"{end}_in")
    return f"{inches} in" if inches else f"{row.text(f'{end}_mm')} mm"


def _decimal(value: Fraction) -> str:
    return f"{float(value):.3f}".rstrip("0").rstrip(".")
