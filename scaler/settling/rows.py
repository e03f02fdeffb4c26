"""What can be had for a method: rows of the shop list and of the catalogues, sorted by size."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache, cached_property, lru_cache
from math import lcm
from typing import Any, Literal, TypeVar

from scaler import catalogue
from scaler.measures.lengths import format_decimal
from scaler.records import Method, Model, ShopRow, Size
from scaler.settling.wishes import first_that_means, standing

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Candidate:
    """One row that can serve: its size [mm], name, table and source; tolerance class if it has one.

    ``table`` is ``shop`` for a row of the shop list that names no row of a catalogue; ``unit`` is
    metric or inch as the row is printed, '' where that is not known.
    """

    value: Fraction
    designation: str
    table: str
    source: str
    place: str
    shop: bool
    tolerance: str = ""
    material: str = ""
    unit: str = ""

    @property
    def key(self) -> tuple[str, str]:
        """The catalogue's row that it is: table and designation."""
        return self.table, self.designation


HEXAGON = frozenset(("across flats", "small across flats"))
"""Methods by which a size is the hexagon of a thread's nut or head."""


@dataclass(frozen=True, slots=True)
class MethodRow:
    """A row of the methods table, read once."""

    name: str
    family: str
    tables: tuple[str, ...]
    column: str
    filters: tuple[tuple[str, tuple[str, ...]], ...]
    kinds: tuple[str, ...]
    step: Fraction | None
    limits: str
    row_limits: bool
    last_cut: Fraction | None
    last_cut_step: Fraction | None
    as_supplied: bool
    source: str


@cache
def method_row(name: str) -> MethodRow | None:
    """The methods-table row by its designation; None for follows, given and standard."""
    row = catalogue.table("methods").find(name)
    if row is None:
        return None

    def number(column: str) -> Fraction | None:
        return row.number(column) if row.text(column) else None

    return MethodRow(
        name,
        row.text("family"),
        tuple(item.strip() for item in row.text("tables").split(";") if item.strip()),
        row.text("size_column"),
        tuple(_filter(item) for item in row.text("filters").split(";") if item.strip()),
        tuple(item.strip() for item in row.text("kinds").split(";")),
        number("step_mm"),
        row.text("limits"),
        row.text("row_limits") == "yes",
        number("last_cut_mm"),
        number("last_cut_step_mm"),
        row.text("as_supplied") == "yes",
        row.text("source"),
    )


def as_supplied(size: Size) -> bool:
    """Whether a size is that of a thing never cut to suit another, such as a bearing, unless its
    rule has a cut of its own."""
    rows = (method_row(method.name) for method in size.rule)
    own = any(method.way == "cut" for method in size.rule)
    return not own and any(row is not None and row.as_supplied for row in rows)


def _filter(text: str) -> tuple[str, tuple[str, ...]]:
    column, _, values = text.partition("=")
    return column.strip(), tuple(value.strip() for value in values.split("|"))


@cache
def _from_catalogue(name: str) -> tuple[Candidate, ...]:
    row = method_row(name)
    if row is None:
        return ()
    found = []
    for table_name in (*row.tables, *catalogue.serving(name)):
        table = catalogue.table(table_name)
        for item in table.rows:
            candidate = _candidate(row, item) if _passes(row, item) else None
            if candidate is not None:
                found.append(candidate)
    return tuple(found)


def _passes(row: MethodRow, item: catalogue.Row) -> bool:
    """Whether a catalogue's row is one of those that a method takes."""
    columns = item.table.columns
    return not any(c in columns and item.text(c) not in v for c, v in row.filters)


def _candidate(row: MethodRow, item: catalogue.Row) -> Candidate | None:
    """A catalogue's row as a method takes it; None where it gives no size."""
    value = item.mm(row.column)
    if value is None or value <= 0:
        return None
    columns = item.table.columns
    return Candidate(
        value,
        item.text("designation"),
        item.table.name,
        item.text("source"),
        item.text("place"),
        False,
        _tolerance(item) if row.row_limits else "",
        item.text("material") if "material" in columns else "",
        _unit(item, row.column),
    )


def _unit(item: catalogue.Row, column: str) -> str:
    """The unit that a row prints a length in."""
    name = f"{column}_mm"
    return "metric" if name in item.table.columns and item.text(name) else "inch"


def column_of(row: Candidate | None, method: Method) -> Candidate | None:
    """What a row of a catalogue gives in another of its columns, or in that of a row that it names.

    None where it is no row of a catalogue or gives nothing there.
    """
    if row is None or row.table not in catalogue.names():
        return None
    item = catalogue.table(row.table).find(row.designation)
    holder = item.holder(method.column) if item is not None else None
    value = holder.mm(method.column) if holder is not None else None
    if holder is None or value is None or value <= 0:
        return None
    own = f"{method.column.partition('_')[0]}_source"
    source = holder.text(own) if own in holder.table.columns else ""
    return replace(
        row,
        value=value,
        source=source or holder.text("source"),
        place=holder.text("place") if not source else "",
        tolerance="",
        unit=_unit(holder, method.column),
    )


def _tolerance(item: catalogue.Row) -> str:
    """The tolerance a row is supplied to: its class, or its deviations; '' where it gives none."""
    columns = item.table.columns
    if "tolerance" in columns and item.text("tolerance"):
        return item.text("tolerance")
    low, high = item.mm("lower"), item.mm("upper")
    return "" if low is None or high is None else f"{_signed(low)} mm {_signed(high)} mm"


def _signed(value: Fraction) -> str:
    return f"{'-' if value < 0 else '+'}{format_decimal(abs(value), 6)}"


def _of_material(candidates: Sequence[Candidate], material: str) -> Sequence[Candidate]:
    """Those of the part's material; all where it names none of theirs (cut from what there is)."""
    wanted = set(material.lower().replace(",", " ").split())
    if not wanted:
        return candidates

    def fits(item: Candidate) -> bool:
        words = set(item.material.split())  # none where it names no material: then it fits
        return words <= wanted or wanted <= words

    fitting = [item for item in candidates if fits(item)]
    return fitting or candidates


@cache
def _main_columns() -> dict[str, str]:
    """The column that the size of a shop list's row is in, by family: that of its first method."""
    found: dict[str, str] = {}
    for item in catalogue.table("methods").rows:
        if item.text("family"):
            found.setdefault(item.text("family"), item.text("size_column"))
    return found


def named_row(family: str, designation: str) -> Candidate | None:
    """The catalogue's row that a row of a shop list names, with the size that the family goes by."""
    for item in catalogue.table("methods").rows:
        if item.text("family") == family:
            row = method_row(item.text("designation"))
            found = _listed(row, designation) if row is not None else None
            if found is not None:
                return found
    return None


def _listed(row: MethodRow, designation: str) -> Candidate | None:
    for table_name in (*row.tables, *catalogue.serving(row.name)):
        item = catalogue.table(table_name).find(designation)
        if item is not None and _passes(row, item):
            return _candidate(row, item)
    return None


def _shop_candidate(item: ShopRow, row: MethodRow) -> Candidate | None:
    """A row of the shop list as a method takes it.

    One that names a row of a catalogue has all its columns; one that states a size alone is that
    size, in the column that its family goes by, and has no other.
    """
    source = f"shop list, {item.place}"
    if row.family == item.family == "thread":
        from scaler.trade.threads import UnknownThread, find_thread, table_of

        try:
            thread = find_thread(item.designation)
        except UnknownThread:
            return None
        table = table_of(thread)
        if row.name != row.family and table not in row.tables:
            return None  # a thread of another series
        unit = _unit(catalogue.table(table).rows[0], "major")
        return Candidate(thread.major_mm, thread.designation, table, source, "", True, unit=unit)
    main = _main_columns().get(item.family)
    if row.family != item.family and row.column == main:
        return None
    if item.designation != item.written:
        found = _listed(row, item.designation)
        if found is not None:
            return replace(found, source=source, place="", shop=True)
    if item.size is None or row.column != main:
        return None
    unit = "inch" if item.written.endswith(("in", '"')) else ""
    unit = "metric" if item.written.endswith("mm") else unit
    return Candidate(item.size, item.designation, "shop", source, "", True, unit=unit)


class Ladder:
    """Sizes in order, in which exact lookups are fast: each is a whole number of one small part."""

    def __init__(self, values: Sequence[Fraction]) -> None:
        self._parts = lcm(*(value.denominator for value in values))
        self._steps = [value.numerator * (self._parts // value.denominator) for value in values]

    def up_to(self, value: Fraction) -> int:
        """How many of the sizes are not above a value.

        >>> Ladder([Fraction(1, 2), Fraction(2), Fraction(2)]).up_to(Fraction(2))
        3
        """
        return bisect_right(self._steps, value.numerator * self._parts // value.denominator)

    def below(self, value: Fraction) -> int:
        """How many of the sizes are below a value."""
        return bisect_left(self._steps, -(-value.numerator * self._parts // value.denominator))


class Kept:
    """What has been made of the tables and one shop list, for all models that have that list."""

    def __init__(self) -> None:
        self.methods = catalogue.table("methods")
        self.lists: dict[tuple[str, str], tuple[Candidate, ...]] = {}
        self._others: dict[type, Any] = {}

    def of(self, kind: type[T]) -> T:
        """The one object of a class that is kept beside the lists, made when first asked for."""
        found: T | None = self._others.get(kind)
        if found is None:
            found = self._others[kind] = kind()
        return found


@lru_cache(maxsize=8)
def _kept(shop: tuple[ShopRow, ...], shop_only: bool, tables: int) -> Kept:
    return Kept()


def kept(model: Model) -> Kept:
    """What is kept for a model's shop list; it begins anew when the tables have been read anew."""
    return _kept(model.shop, model.shop_only, id(catalogue.table("methods")))


class Rows:
    """Candidates of a model's methods, each list made once and sorted by size."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._wished: dict[
            tuple[str, str, tuple[str, ...], tuple[str, ...], tuple[str, ...]],
            tuple[Candidate, ...],
        ] = {}

    @cached_property
    def _lists(self) -> dict[tuple[str, str], tuple[Candidate, ...]]:
        return kept(self._model).lists

    @cached_property
    def needed(self) -> dict[str, tuple[Size, ...]]:
        """By size, the others that take a column of its row and can be got by nothing else."""
        found: dict[str, tuple[Size, ...]] = {}
        for size in self._model.sizes.values():
            if len(size.rule) == 1 and size.rule[0].column and size.equals is None:
                leader = size.rule[0].leader
                found[leader] = (*found.get(leader, ()), size)
        return found

    def of_size(self, size: Size, method: Method) -> tuple[Candidate, ...]:
        """The rows that serve a method of a size, by value: without those that are forbidden it or
        lack what other sizes must take from them, of equal values those that it prefers first."""
        material = self._model.parts[size.part].material
        needed = self.needed.get(size.id, ())
        if not size.forbid and not size.prefer and not needed:
            return self.of(method, material)
        forbid, prefer = ((w.word for w in wishes) for wishes in (size.forbid, size.prefer))
        columns = tuple(dict.fromkeys(other.rule[0].column for other in needed))
        key = method.name, material, tuple(forbid), tuple(prefer), columns
        found = self._wished.get(key)
        if found is None:
            rows = [
                row
                for row in self.of(method, material)
                if not first_that_means(size.forbid, row)
                and all(column_of(row, other.rule[0]) is not None for other in needed)
            ]
            rows.sort(key=lambda row: (row.value, *standing(size.prefer, row)))
            found = self._wished[key] = tuple(rows)
        return found

    def of(self, method: Method, material: str = "") -> tuple[Candidate, ...]:
        """All rows that serve a method, by size; the shop's first among equals.

        Stock rows are those of the part's material, where the tables hold it.
        """
        found = self._lists.get((method.name, material))
        if found is None:
            row = method_row(method.name)
            candidates = [
                candidate
                for item in self._model.shop
                if row is not None and (candidate := _shop_candidate(item, row)) is not None
            ]
            if not self._model.shop_only:
                owned = {item.key for item in candidates}
                every = [r for r in _from_catalogue(method.name) if r.key not in owned]
                candidates += _of_material(every, material)
            # stable: of equal sizes the shop's own, then the catalogue's order
            candidates.sort(key=lambda item: item.value)
            found = self._lists[method.name, material] = tuple(candidates)
        return found


def pick(
    candidates: Sequence[Candidate],
    target: Fraction,
    direction: Literal["nearest", "up", "down"] = "nearest",
) -> Candidate | None:
    """The row nearest to a size, or the next not below (up) or not above (down); None if none.

    Of two rows equally near the smaller is taken; of equal sizes the first in the list.

    >>> rows = [Candidate(Fraction(v), str(v), "t", "", "", False) for v in (10, 12)]
    >>> pick(rows, Fraction(11)).designation
    '10'
    """
    at = bisect_left(candidates, target, key=lambda item: item.value)
    above = candidates[at] if at < len(candidates) else None
    below = None
    if at:
        value = candidates[at - 1].value
        below = candidates[bisect_left(candidates, value, key=lambda item: item.value)]
    if above is not None and above.value == target:
        return above
    if direction == "up":
        return above
    if direction == "down":
        return below
    if below is None or above is None:
        return above or below
    return below if target - below.value <= above.value - target else above
