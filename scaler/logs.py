"""The tool's own append-only files beside the drawing: choices and readings; and the shop list.

Each line of a log is one event. The last one for a size counts; an undo takes the last one back.
A broken line is reported with its place and the rest is kept.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from scaler.files import CsvFile
from scaler.grammar import GrammarError, signed_length
from scaler.problems import Place, Problem, did_you_mean
from scaler.records import Choice, Kind, Part, Reading, ShopRow, Size

CHOICE_COLUMNS = ("time", "action", "size", "value", "method", "row", "note")
READING_COLUMNS = ("time", "action", "size", "copy", "value", "instrument", "note")
SHOP_COLUMNS = ("family", "size", "designation", "quantity", "place", "note")


def _columns(table: CsvFile, expected: tuple[str, ...], needed: tuple[str, ...]) -> Problem | None:
    for name in needed:
        if name not in table.headings:
            return Problem(
                "missing-column",
                f"the table has no column '{name}'",
                Place(table.source.file, 1),
                ", ".join(table.headings),
                ", ".join(expected),
                "add the column",
                table.source.line(1),
            )
    return None


def _broken(
    table: CsvFile, line: int, headline: str, read: str, expected: str, advice: str
) -> Problem:
    text = table.source.line(line)
    start = text.find(read) if read else -1
    span = (start, start + len(read)) if start >= 0 else None
    return Problem(
        "log-line", headline, Place(table.source.file, line), read, expected, advice, text, span
    )


def _value(text: str, size: Size) -> Fraction:
    if size.kind in (Kind.COUNT, Kind.TEETH):
        if not text.isdigit():
            raise GrammarError(text, "no whole number", "a count", "write 24")
        return Fraction(int(text))
    if size.kind in (Kind.ANGLE, Kind.TAPER):
        from scaler.lengths import parse_angle

        return parse_angle(text)
    return signed_length(text)


def choices(
    table: CsvFile | None, sizes: Mapping[str, Size], problems: list[Problem]
) -> dict[str, Choice]:
    """The choices that stand after all lines of the choices file have been read in order."""
    if table is None:
        return {}
    wrong = _columns(table, CHOICE_COLUMNS, ("action", "size", "value"))
    if wrong:
        problems.append(wrong)
        return {}
    standing: dict[str, list[Choice]] = {}
    for line, cells in table.rows:
        size = sizes.get(cells["size"])
        if size is None:
            problems.append(
                _broken(
                    table,
                    line,
                    f"there is no size '{cells['size'][:60]}'",
                    cells["size"],
                    "a size of this model",
                    did_you_mean(cells["size"], sizes),
                )
            )
            continue
        history = standing.setdefault(size.id, [])
        if cells["action"] == "undo":
            if history:
                history.pop()
        elif cells["action"] == "choose":
            try:
                value = _value(cells["value"], size)
            except ValueError as error:
                problems.append(_unread(table, line, cells["value"], error))
                continue
            history.append(
                Choice(
                    size.id,
                    value,
                    cells.get("method", ""),
                    cells.get("row", ""),
                    cells.get("note", ""),
                    cells.get("time", ""),
                    Place(table.source.file, line),
                )
            )
        else:
            problems.append(
                _broken(
                    table,
                    line,
                    f"'{cells['action'][:40]}' is no action",
                    cells["action"],
                    "choose or undo",
                    "mend the line",
                )
            )
    return {name: history[-1] for name, history in standing.items() if history}


def readings(
    table: CsvFile | None,
    sizes: Mapping[str, Size],
    parts: Mapping[str, Part],
    problems: list[Problem],
) -> dict[tuple[str, str], Reading]:
    """The readings that stand, by size and copy ('' where the part has no named copies)."""
    if table is None:
        return {}
    wrong = _columns(table, READING_COLUMNS, ("action", "size", "value"))
    if wrong:
        problems.append(wrong)
        return {}
    standing: dict[tuple[str, str], list[Reading]] = {}
    for line, cells in table.rows:
        size = sizes.get(cells["size"])
        copy = cells.get("copy", "")
        if size is None:
            problems.append(
                _broken(
                    table,
                    line,
                    f"there is no size '{cells['size'][:60]}'",
                    cells["size"],
                    "a size of this model",
                    did_you_mean(cells["size"], sizes),
                )
            )
            continue
        if copy and copy not in parts[size.part].copies:
            problems.append(
                _broken(
                    table,
                    line,
                    f"{size.part} has no copy '{copy[:40]}'",
                    copy,
                    ", ".join(parts[size.part].copies) or "no copy",
                    "mend the line",
                )
            )
            continue
        history = standing.setdefault((size.id, copy), [])
        if cells["action"] == "undo":
            if history:
                history.pop()
        elif cells["action"] == "reading":
            try:
                value = _value(cells["value"], size)
            except ValueError as error:
                problems.append(_unread(table, line, cells["value"], error))
                continue
            history.append(
                Reading(
                    size.id,
                    copy,
                    value,
                    cells.get("instrument", ""),
                    cells.get("note", ""),
                    cells.get("time", ""),
                    Place(table.source.file, line),
                )
            )
        else:
            problems.append(
                _broken(
                    table,
                    line,
                    f"'{cells['action'][:40]}' is no action",
                    cells["action"],
                    "reading or undo",
                    "mend the line",
                )
            )
    return {key: history[-1] for key, history in standing.items() if history}


def shop_rows(table: CsvFile, problems: list[Problem]) -> list[ShopRow]:
    """Rows of a shop list: family and size, with designation, quantity, place and note if given."""
    wrong = _columns(table, SHOP_COLUMNS, ("family", "size"))
    if wrong:
        problems.append(wrong)
        return []
    rows = []
    for line, cells in table.rows:
        place = Place(table.source.file, line)
        value: Fraction | None = None
        family = cells["family"]
        if family != "thread":
            try:
                value = signed_length(cells["size"])
            except GrammarError as error:
                problems.append(_unread(table, line, cells["size"], error))
                continue
        name = cells.get("designation", "") or cells["size"]
        rows.append(ShopRow(family, name, value, cells.get("note", ""), place))
    return rows


def _unread(table: CsvFile, line: int, text: str, error: ValueError) -> Problem:
    return _broken(
        table,
        line,
        getattr(error, "problem", str(error)),
        text,
        getattr(error, "expected", ""),
        getattr(error, "advice", ""),
    )
