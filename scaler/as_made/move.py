"""What a change to one size is, what a repair is, and what both rest on: processes, words, work."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from scaler import catalogue
from scaler.as_made.bench import Bench, Edits
from scaler.checking import cautions
from scaler.measures.lengths import format_mm
from scaler.measures.spoken import INCH, said_short
from scaler.problems import Place
from scaler.records import Bounds, Choice, Kind, Method, Size
from scaler.settling.rows import method_row
from scaler.settling.settle import exact_size, reach_of

ZERO = Fraction(0)
TRIAL = Place("to be made", 0)
_BY_KIND = {
    Kind.EXTERNAL: "turned",
    Kind.INTERNAL: "bored",
    Kind.POSITION: "coordinate drilled",
    Kind.RADIUS: "coordinate drilled",
}
_FLAT = ("thickness", "width", "height", "depth", "length")
"""Words in the name of an outside size that is flat, and so milled where nothing is stated."""
VERBS = {
    "turned": "turn",
    "bored": "bore",
    "milled": "mill",
    "slotted": "mill",
    "ground": "grind",
    "lapped": "lap",
    "filed": "file",
    "opened to suit": "open",
    "reamed": "ream",
    "hand reamed": "ream",
    "drilled": "drill",
    "slot drilled": "slot drill",
    "end milled": "mill",
    "coordinate drilled": "place",
    "marked out": "place",
}


@dataclass(frozen=True, slots=True)
class Repair:
    """A row of the repairs table: a way to save a part, where it serves, and what it costs."""

    name: str
    kinds: tuple[str, ...]
    words: tuple[str, ...]
    unless: tuple[str, ...]
    unless_part: tuple[str, ...]
    not_on: tuple[str, ...]
    least: Fraction
    effort: int
    text: str
    note: str
    source: str


@dataclass(frozen=True)
class Move:
    """One change: which size becomes what, how, what it costs in work and what it gives up.

    ``span`` is where the size may lie for all that holds now and for what is to be mended;
    ``accepts`` names a statement that is left as it is; ``in_turn`` says that the size was to be
    cut last anyhow, ``beyond`` that it departs from scale by more than its reach. ``option`` names
    what the builder is willing to add, at its ``price``.
    """

    size: str
    copy: str
    before: Fraction
    after: Fraction
    how: str
    text: str
    edits: Edits
    effort: int = 0
    remade: int = 0
    repaired: int = 0
    gives_up: tuple[str, ...] = ()
    accepts: str = ""
    harmless: bool = False
    in_turn: bool = False
    beyond: bool = False
    span: Bounds = (None, None)
    note: str = ""
    option: str = ""
    price: Fraction = ZERO

    @property
    def name(self) -> str:
        """The size, with its copy."""
        return f"{self.size}@{self.copy}" if self.copy else self.size

    @property
    def loses_work(self) -> bool:
        """Whether something already made is worked on again or made anew."""
        return bool(self.remade or self.repaired)


@cache
def repairs() -> Mapping[str, Repair]:
    """The ways to save a part, by name, in the order the trade tries them."""

    def listed(text: str) -> tuple[str, ...]:
        return tuple(item.strip() for item in text.split(";") if item.strip())

    rows = sorted(catalogue.table("repairs").rows, key=lambda row: row.number("effort_count"))
    return {
        row.text("designation"): Repair(
            row.text("designation"),
            listed(row.text("kinds")),
            listed(row.text("words")),
            listed(row.text("unless_words")),
            listed(row.text("unless_part")),
            listed(row.text("not_on")),
            row.number("least_mm") if row.text("least_mm") else ZERO,
            int(row.number("effort_count")),
            row.text("text"),
            row.text("note"),
            row.text("source"),
        )
        for row in rows
    }


def mm(value: Fraction) -> str:
    """A length for a sentence: no more places than it has, at most four.

    >>> mm(Fraction("28.96")), mm(Fraction(12))
    ('28.96', '12')
    """
    return format_mm(value, 4).rstrip("0").rstrip(".")


def figure(size: Size, value: Fraction, units: str) -> str:
    """A value with its unit: a length in mm, in or both."""
    if size.kind is Kind.ANGLE:
        return f"{mm(value)}°"
    return said_short(value, units) if size.kind.is_length else mm(value)


def plain_figure(size: Size, value: Fraction, units: str) -> str:
    """A value beside one that bears its unit, or both of them."""
    return mm(value / INCH) if units == "in" and size.kind.is_length else mm(value)


def cut_of(size: Size) -> tuple[str, Fraction, bool]:
    """The finest cut that a size may have: process, step [mm], and whether its rule has it."""
    best: tuple[str, Fraction] | None = None
    for method in size.rule:
        step = _step(method)
        if method.way == "cut" and step is not None and (best is None or step < best[1]):
            best = method.name, step
    if best is not None:
        return *best, True
    name = usual_cut(size)
    table = method_row(name)
    step = table.last_cut_step if table else None
    return name, step or Fraction(1, 200), False


def usual_cut(size: Size) -> str:
    """The process that cuts a size of its kind, where nothing is stated."""
    flat = any(cautions.says(size.name, word) for word in _FLAT)
    return "milled" if flat else _BY_KIND.get(size.kind, "milled")


def _step(method: Method) -> Fraction | None:
    table = method_row(method.name)
    steps = [s for s in (method.step, table.last_cut_step if table else None) if s]
    return min(steps, default=None)


def chosen(
    bench: Bench, size: str, copy: str, value: Fraction, method: str, row: str = ""
) -> Edits:
    """The edits that plan a size, or one copy of it by itself."""
    name = f"{size}@{copy}" if copy else size
    return Edits(choices={name: Choice(name, value, method, row, "", "", TRIAL)})


def given_up(
    bench: Bench, size: Size, value: Fraction, method: str, widened: bool
) -> tuple[str, ...]:
    """What a size gives up to come to a value: its rule, its reach."""
    given = []
    if widened and size.rule:
        given.append(f"the rule of {size.id}")
    exact = exact_size(size, bench.model.ratio)
    if exact is not None and not size.standard:
        own = next((m for m in size.rule if method in (m.name, m.text)), None)
        if abs(value - exact) > reach_of(size, own, exact):
            given.append(f"the reach of {size.id}")
    return tuple(given)


def classes(bench: Bench, part: str) -> tuple[str, ...]:
    """The cautions that a part carries (safety part, pressure joint, …)."""
    return tuple(caution.kind for caution in cautions.of_parts(bench.model, (part,)))


def pieces(bench: Bench, part: str, copy: str) -> int:
    """How much work is in a part: its pieces (one, of a copy) times its sizes."""
    count = 1 if copy else bench.model.parts[part].count
    return count * max(1, len(bench.index.sizes_of[part]))
