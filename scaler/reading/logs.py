"""The tool's own append-only files beside the drawing: choices and readings; and the shop list.

Each line of a log is one event. The last one for a size counts; an undo takes the last one back.
A broken line is reported as a note with its place, and the rest is kept: what was measured is not
lost because one line was torn. A shop list is written by hand, and its faults are errors.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import Literal, TypeVar

from scaler.problems import Known, Place, Problem, copy_meant, listed, shorten, suggest
from scaler.reading.collecting import columns, missing_column
from scaler.reading.csv_text import CsvFile, CsvRow
from scaler.reading.grammar import GrammarError, families, methods, value_reader
from scaler.reading.shelf import STOCK, Lengths, Sheets, shelf_lengths, shelf_sheets, unread
from scaler.records import Choice, Kind, Part, Reading, ShopRow, Size
from scaler.settling.rows import named_row

CHOICE_COLUMNS = ("time", "action", "size", "value", "method", "row", "note")
READING_COLUMNS = ("time", "action", "size", "copy", "value", "instrument", "note")
SHOP_COLUMNS = ("family", "size", "designation", "quantity", "place", "note")

Event = TypeVar("Event")
_Make = Callable[[CsvRow, Size, str], Event | None]
"""What a row says of a size and copy; None where it says nothing that can be used."""


@dataclass
class _Table:
    """A table being read, and where its problems go."""

    table: CsvFile
    problems: list[Problem]
    severity: Literal["error", "warning"]

    def has(self, known: tuple[str, ...], needed: tuple[str, ...]) -> bool:
        """Whether the table has the columns that it needs; unknown ones are noted."""
        start = len(self.problems)
        columns(self.problems, self.table, known)
        for number in range(start, len(self.problems)):
            self.problems[number] = replace(self.problems[number], severity=self.severity)
        for name in needed:
            if name not in self.table.headings:
                missing_column(self.problems, self.table, name, listed(known))
                return False
        return True

    def fail(
        self, line: int, column: str, headline: str, read: str, expected: str, advice: str
    ) -> None:
        mark = self.table.mark(line, column)
        self.problems.append(
            Problem(
                "log-line" if self.severity == "warning" else "shop-list",
                headline,
                mark.place,
                shorten(read, 200),
                expected,
                advice,
                mark.excerpt,
                mark.span,
                self.severity,
            )
        )

    def unread(self, line: int, column: str, text: str, error: GrammarError) -> None:
        self.fail(
            line,
            column,
            f"the {column} cannot be used: {error.problem}",
            text,
            error.expected,
            error.advice or "mend the line",
        )


def _events(
    log: _Table,
    sizes: Mapping[str, Size],
    parts: Mapping[str, Part],
    action: str,
    noun: str,
    make: _Make[Event],
) -> dict[tuple[str, str], list[Event]]:
    """What has not been taken back after all lines, by size and copy, oldest first.

    A copy stands in a column of its own, or after the size: ``part.size@left``.
    """
    known = Known(sizes, "see whether the size was renamed; a line of its own can take this back")
    standing: dict[tuple[str, str], list[Event]] = {}
    for row in log.table.rows:
        cells = row.cells
        if row.count < len(log.table.headings):
            log.fail(
                row.line,
                "",
                f"the line breaks off: {row.count} cells of {len(log.table.headings)}",
                log.table.source.line(row.line),
                "a whole line",
                "mend the line or take it out; it has not been used",
            )
            continue
        name, _, copy = cells["size"].partition("@")
        copy = copy or cells.get("copy", "")
        size = sizes.get(name)
        if size is None:
            log.fail(
                row.line,
                "size",
                f"there is no size '{shorten(name, 60)}'",
                cells["size"],
                "a size of this model",
                known.advice(name),
            )
            continue
        copies = parts[size.part].copies
        if copy and copy not in copies:
            log.fail(
                row.line,
                "copy" if cells.get("copy") == copy else "size",
                f"{size.part} has no copy '{shorten(copy, 40)}'",
                copy,
                ", ".join(copies) or "no copy: the part names none",
                copy_meant(copy, size.part, copies, parts[size.part].count),
            )
            continue
        if cells["action"] not in (action, "undo"):
            log.fail(
                row.line,
                "action",
                f"'{shorten(cells['action'], 40)}' is no action",
                cells["action"],
                f"{action} or undo",
                suggest(cells["action"], (action, "undo"), "mend the line"),
            )
            continue
        event = make(row, size, copy)
        if event is None:
            continue
        history = standing.setdefault((size.id, copy), [])
        if cells["action"] != "undo":
            history.append(event)
        elif history:
            history.pop()
        else:
            log.fail(
                row.line,
                "action",
                f"nothing stands for {size.id} that could be taken back",
                cells["action"],
                f"an undo after {noun}",
                "take the line out",
            )
    return {key: history for key, history in standing.items() if history}


def choices(
    table: CsvFile | None,
    sizes: Mapping[str, Size],
    parts: Mapping[str, Part],
    problems: list[Problem],
) -> dict[str, Choice]:
    """The choices that stand after all lines of the choices file have been read in order, by size
    (``part.size@copy`` where one copy is chosen by itself)."""
    log = _Table(table, problems, "warning") if table is not None else None
    if log is None or not log.has(CHOICE_COLUMNS, ("action", "size", "value")):
        return {}

    def make(row: CsvRow, size: Size, copy: str) -> Choice | None:
        cells = row.cells
        value = Fraction(0)
        if cells["action"] != "undo":
            try:
                value = value_reader(size.kind, signed=True)(cells["value"])
            except GrammarError as error:
                log.unread(row.line, "value", cells["value"], error)
                return None
        place = Place(log.table.source.file, row.line)
        method, chosen, note, time = (
            cells.get(name, "") for name in ("method", "row", "note", "time")
        )
        name = f"{size.id}@{copy}" if copy else size.id
        return Choice(name, value, method, chosen, note, time, place)

    found = _events(log, sizes, parts, "choose", "a choice", make)
    standing = {history[-1].size: history[-1] for history in found.values()}
    for choice in standing.values():
        _named_in_rule(log, choice, sizes[choice.size.partition("@")[0]])
    return standing


def _named_in_rule(log: _Table, choice: Choice, size: Size) -> None:
    """Says so where the rule of a size does not name the method of its choice."""
    rule = {name: method.name for method in size.rule for name in (method.name, method.text)}
    if not choice.method or not rule or choice.method in rule:
        return
    log.fail(
        choice.place.line,
        "method",
        f"the rule of {size.id} does not name '{shorten(choice.method, 60)}'; the choice is taken "
        "by whichever method of the rule gives that size",
        choice.method,
        ", ".join(dict.fromkeys(rule.values())),
        suggest(choice.method, rule, "give the method of the rule, or choose anew"),
    )


def reading_histories(
    table: CsvFile,
    sizes: Mapping[str, Size],
    parts: Mapping[str, Part],
    problems: list[Problem],
) -> dict[tuple[str, str], list[Reading]]:
    """The readings that have not been taken back, by size and copy ('' where the part has no named
    copies), oldest first."""
    log = _Table(table, problems, "warning")
    if not log.has(READING_COLUMNS, ("action", "size", "value")):
        return {}

    def make(row: CsvRow, size: Size, copy: str) -> Reading | None:
        cells = row.cells
        value = Fraction(0)
        if cells["action"] != "undo":
            try:
                value = value_reader(size.kind)(cells["value"])
            except GrammarError as error:
                log.unread(row.line, "value", cells["value"], error)
                return None
        place = Place(log.table.source.file, row.line)
        instrument, note, time = (cells.get(name, "") for name in ("instrument", "note", "time"))
        return Reading(size.id, copy, value, instrument, note, time, place)

    return _events(log, sizes, parts, "reading", "a reading", make)


def shop_rows(table: CsvFile, problems: list[Problem]) -> list[ShopRow]:
    """Rows of a shop list: family and size, with designation, quantity, place and note if given."""
    shop = _Table(table, problems, "error")
    if not shop.has(SHOP_COLUMNS, ("family", "size")):
        return []
    return list(_shop_rows(shop))


@lru_cache(maxsize=1)
def family_names() -> Mapping[str, str]:
    """By every name that a shop list may call a family, the family: its own, or a method's."""
    found = {name: row.text("family") for name, row in methods().items() if row.text("family")}
    return {**found, **{family: family for family in families()}}


def _shop_rows(shop: _Table) -> Iterator[ShopRow]:
    known = Known(family_names(), "write one of these")
    for row in shop.table.rows:
        cells, place = row.cells, Place(shop.table.source.file, row.line)
        family = family_names().get(cells["family"], cells["family"])
        size, value = cells["size"], None
        name, written = cells.get("designation", "") or size, size
        if family not in families():
            shop.fail(
                row.line,
                "family",
                f"there is no family '{shorten(family, 60)}' of stock or tools",
                family,
                listed(families()),
                known.advice(family),
            )
            continue
        if family == "thread":
            from scaler.trade.threads import UnknownThread, find_thread

            try:
                find_thread(name)
            except UnknownThread as error:
                near = ", ".join(error.nearest)
                column = "designation" if cells.get("designation") else "size"
                shop.fail(
                    row.line,
                    column,
                    f"'{shorten(name, 60)}': {error.reason}",
                    name,
                    "a thread of the tables",
                    f"nearest known: {near}" if near else "write it as M3, 2 BA or 1/4 x 32 ME",
                )
                continue
        else:
            listed_as = named_row(family, name) if cells.get("designation") or not size else None
            try:
                value = value_reader(Kind.EXTERNAL)(size) if size else None
            except GrammarError as error:
                listed_as, value = named_row(family, name), None
                if listed_as is None:
                    shop.unread(row.line, "size", size, error)
                    continue
            if value is None and listed_as is None:
                shop.fail(
                    row.line,
                    "size",
                    f"nothing says what size this {family} is",
                    name,
                    "a size, or a designation as a catalogue writes it",
                    "write its size",
                )
                continue
            if value is not None and listed_as is not None and value != listed_as.value:
                shop.fail(
                    row.line,
                    "size",
                    f"the size is not that of '{shorten(name, 60)}'",
                    size,
                    f"{float(listed_as.value):g} mm, as {listed_as.table} has it",
                    "mend the one that is wrong, or call it otherwise",
                )
                continue
            if listed_as is not None:
                name, value = listed_as.designation, listed_as.value
                written = size if size != name else ""
        quantity = cells.get("quantity", "")
        lengths, sheets = _on_shelf(shop, row.line, family, quantity)
        yield ShopRow(family, name, value, cells.get("note", ""), place, lengths, sheets, written)


def _on_shelf(shop: _Table, line: int, family: str, quantity: str) -> tuple[Lengths, Sheets]:
    """What a quantity says of lengths and sheets; a length that cannot be read is told."""
    if family not in STOCK or not quantity:
        return (), ()
    sheet = family == "plate"
    wrong = unread(quantity, sheet=sheet)
    if wrong:
        shop.fail(
            line,
            "quantity",
            f"quantity: '{shorten(wrong, 60)}' is no length that can be read",
            quantity,
            "how many and how long: 2 off 330 mm; 1 m (a sheet: 300 x 200 mm)",
            "correct it, or leave the cell empty: nothing is counted from it",
        )
        shop.problems[-1] = replace(shop.problems[-1], severity="warning")
    return ((), shelf_sheets(quantity)) if sheet else (shelf_lengths(quantity), ())
