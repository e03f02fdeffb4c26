"""What can be had for a method: rows of the shop list and of the catalogues, sorted by size."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import lcm
from typing import Literal

from scaler import catalogue
from scaler.measures.lengths import format_decimal
from scaler.records import Method, Model, ShopRow


@dataclass(frozen=True, slots=True)
class Candidate:
    """One row that can serve: its size [mm], name, table and source; tolerance class if it has one."""

    value: Fraction
    designation: str
    table: str
    source: str
    place: str
    shop: bool
    tolerance: str = ""
    material: str = ""


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
        row.text("source"),
    )


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
            if any(c in table.columns and item.text(c) not in v for c, v in row.filters):
                continue
            value = item.mm(row.column)
            if value is not None and value > 0:
                found.append(
                    Candidate(
                        value,
                        item.text("designation"),
                        table_name,
                        item.text("source"),
                        item.text("place"),
                        False,
                        _tolerance(item) if row.row_limits else "",
                        item.text("material") if "material" in table.columns else "",
                    )
                )
    return tuple(found)


def _tolerance(item: catalogue.Row) -> str:
    """The tolerance a row is supplied to: its class, or its deviations; '' where it gives none."""
    columns = item.table.columns
    if "tolerance" in columns and item.text("tolerance"):
        return item.text("tolerance")
    for lower, upper in (("lower_mm", "upper_mm"), ("lower_in", "upper_in")):
        if lower in columns and item.text(lower) and item.text(upper):
            base = lower[:-3], upper[:-3]
            low, high = item.mm(base[0]), item.mm(base[1])
            if low is not None and high is not None:
                return f"{_signed(low)} mm {_signed(high)} mm"
    return ""


def _signed(value: Fraction) -> str:
    return f"{'-' if value < 0 else '+'}{format_decimal(abs(value), 6)}"


def _of_material(candidates: Sequence[Candidate], material: str) -> Sequence[Candidate]:
    """Those of the part's material; all where it names none of theirs (cut from what there is)."""
    wanted = set(material.lower().replace(",", " ").split())
    if not wanted:
        return candidates
    fitting = [
        item
        for item in candidates
        if not item.material
        or set(item.material.split()) <= wanted
        or wanted <= set(item.material.split())
    ]
    return fitting or candidates


def _shop_candidate(row: ShopRow) -> Candidate | None:
    source = f"shop list, {row.place}"
    if row.family == "thread":
        from scaler.trade.threads import UnknownThread, find_thread

        try:
            thread = find_thread(row.designation)
        except UnknownThread:
            return None
        return Candidate(thread.major_mm, thread.designation, "shop", source, "", True)
    if row.size is None:
        return None
    return Candidate(row.size, row.designation, "shop", source, "", True)


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


class Rows:
    """Candidates of a model's methods, each list made once and sorted by size."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._lists: dict[tuple[str, str], tuple[Candidate, ...]] = {}

    def of(self, method: Method, material: str = "") -> tuple[Candidate, ...]:
        """All rows that serve a method, by size; the shop's first among equals.

        Stock rows are those of the part's material, where the tables hold it.
        """
        found = self._lists.get((method.name, material))
        if found is None:
            row = method_row(method.name)
            family = row.family if row else ""
            candidates = [
                candidate
                for item in self._model.shop
                if item.family == family and (candidate := _shop_candidate(item)) is not None
            ]
            if not self._model.shop_only:
                candidates += _of_material(_from_catalogue(method.name), material)
            # stable: of equal sizes the shop's own, then the catalogue's order
            candidates.sort(key=lambda item: (item.value, not item.shop))
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
