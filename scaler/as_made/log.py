"""The log of readings, read fast: every line is looked at, only the standing ones are worked out.

A line that says nothing that can be used is reported with its place and left out; the rest is kept.
Of a value only its form is looked at until it is the last one of its size and copy.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from fractions import Fraction

from scaler.as_made.append_log import LogTable, read_table
from scaler.measures.lengths import parse_angle
from scaler.problems import Place, Problem, did_you_mean, shorten
from scaler.reading.grammar import GrammarError, signed_length
from scaler.reading.toml_lines import Source
from scaler.records import Kind, Part, Reading, Size

COLUMNS = ("time", "action", "size", "copy", "value", "instrument", "note")
NEEDED = ("action", "size", "value")
_PLAIN = re.compile(r"(\d{1,6})(?:\.(\d{1,9}))? ?(mm|in|thou)", re.ASCII).fullmatch
_ALL_PLAIN = re.compile(r"(?:(?:\d{1,6}(?:\.\d{1,9})? ?(?:mm|in|thou))?\n)*+", re.ASCII).fullmatch
_UNITS = {"mm": Fraction(1), "in": Fraction(127, 5), "thou": Fraction(127, 5000)}
_MOST_SEARCHED = 50
_CELLS = ("value", "instrument", "note", "time")
Standing = dict[tuple[str, str], list[Reading]]


def value_of(text: str, size: Size) -> Fraction:
    """A value as a log or a command gives it: a length with its unit, an angle, a count.

    Raises ValueError (of the lengths, the angles or the grammar), with what is wrong and the cure.
    """
    if size.kind in (Kind.COUNT, Kind.TEETH):
        if not (text.isascii() and text.isdigit()):
            raise GrammarError(text, "no whole number", "a count", "write 24")
        return Fraction(int(text))
    if size.kind in (Kind.ANGLE, Kind.TAPER):
        return parse_angle(text)
    plain = _PLAIN(text)  # much the most usual form
    if plain is not None:
        whole, part, unit = plain.groups("")
        value = Fraction(int(whole + part), 10 ** len(part))
        return value if unit == "mm" else value * _UNITS[unit]
    return signed_length(text)


def read_readings(
    source: Source, sizes: Mapping[str, Size], parts: Mapping[str, Part]
) -> tuple[dict[tuple[str, str], Reading], tuple[Problem, ...]]:
    """The readings that stand after all lines of a log, by size and copy; warnings on the others."""
    quick = plain_readings(source, sizes, parts)
    if quick is not None:
        return quick, ()
    standing, problems = histories(source, sizes, parts)
    return {key: found[-1] for key, found in standing.items()}, problems


def histories(
    source: Source, sizes: Mapping[str, Size], parts: Mapping[str, Part]
) -> tuple[Standing, tuple[Problem, ...]]:
    """All readings of each size and copy that have not been taken back, oldest first; warnings."""
    table = read_table(source, NEEDED)
    problems = list(table.problems)
    kept = _sorted_out(table, sizes, parts, problems) if table.rows else {}
    at = [table.headings.index(n) if n in table.headings else -1 for n in _CELLS]
    found: Standing = {}
    for (identity, copy), rows in kept.items():
        size = sizes[identity]
        listed = []
        for row in rows:
            value, tool, note, time = ("" if n < 0 else table.rows[row][n] for n in at)
            try:
                cells = table.lines[row], value, tool, note, time
                listed.append(_reading(source.file, cells, size, copy))
            except ValueError as error:
                problems.append(_unread(table, row, value, error))
        if listed:
            found[identity, copy] = listed
    problems.sort(key=lambda problem: (problem.place or Place("", 0)).line)
    return found, tuple(problems)


_Cells = tuple[int, str, str, str, str]
"""Of a row: its line, value, instrument, note and time."""


def plain_readings(
    source: Source, sizes: Mapping[str, Size], parts: Mapping[str, Part]
) -> dict[tuple[str, str], Reading] | None:
    """The standing readings in one pass that keeps no more than those; None where a line is odd."""
    text = source.text
    head = ",".join(COLUMNS) + "\n"
    if not text.startswith(head) or not text.endswith("\n"):
        return None
    undone = _undone(text)
    last: dict[tuple[str, str], _Cells] = {}
    history: dict[tuple[str, str], list[_Cells]] = {key: [] for key in undone}
    values: list[str] = []
    reader = csv.reader(io.StringIO(text[len(head) :], newline=""), strict=True)
    line = 1
    try:
        for line, (time, action, size, copy, value, instrument, note) in enumerate(reader, 2):
            if action != "reading":
                if action != "undo":
                    return None
                history[size, copy].pop()
                continue
            values.append(value)
            row = line, value, instrument, note, time
            last[size, copy] = row
            if undone and (size, copy) in undone:
                history[size, copy].append(row)
    except (csv.Error, ValueError, LookupError):
        return None
    if reader.line_num != line - 1 or not _ALL_PLAIN("\n".join([*values, ""])):
        return None
    for key, rows in history.items():
        last.pop(key, None)
        if rows:
            last[key] = rows[-1]
    found = {}
    for (name, copy), cells in last.items():
        part = sizes.get(name)
        if part is None or (copy and copy not in parts[part.part].copies):
            return None
        try:
            found[name, copy] = _reading(source.file, cells, part, copy)
        except ValueError:
            return None
    return found


def _undone(text: str) -> set[tuple[str, str]]:
    """The sizes and copies of which something is taken back."""
    lines = []
    at = text.find(",undo,")
    while at >= 0:
        end = text.find("\n", at)
        lines.append(text[text.rfind("\n", 0, at) + 1 : end])
        at = text.find(",undo,", end)
    return {(row[2], row[3]) for row in csv.reader(lines) if len(row) == len(COLUMNS)}


def _sorted_out(
    table: LogTable,
    sizes: Mapping[str, Size],
    parts: Mapping[str, Part],
    problems: list[Problem],
) -> dict[tuple[str, str], list[int]]:
    """The rows of each size and copy that stand, in order; the others are reported."""
    columns = {name: n for n, name in enumerate(table.headings)}
    action_at, size_at, value_at = columns["action"], columns["size"], columns["value"]
    copy_at = columns.get("copy")
    kept: dict[tuple[str, str], list[int]] = {}
    searched: dict[str, str] = {}
    for number, cells in enumerate(table.rows):
        name = cells[size_at]
        key = name, ("" if copy_at is None else cells[copy_at])
        rows = kept.get(key)
        if rows is None:
            key = name.strip(), key[1].strip()
            why = None if key in kept else _wrong(key, sizes, parts, searched)
            if why is not None:
                problems.append(_broken(table, number, *why))
                continue
            rows = kept.setdefault(key, [])
        action = cells[action_at]
        if action == "reading":
            value = cells[value_at]
            if not _PLAIN(value):
                try:
                    value_of(value.strip(), sizes[key[0]])
                except ValueError as error:
                    problems.append(_unread(table, number, value, error))
                    continue
            rows.append(number)
        elif action == "undo" and rows:
            rows.pop()
        elif action == "undo":
            problems.append(
                _broken(
                    table,
                    number,
                    f"no reading of {key[0]} stands that could be taken back",
                    action,
                    "an undo after a reading",
                    "take the line out",
                )
            )
        else:
            problems.append(
                _broken(
                    table,
                    number,
                    f"'{shorten(action, 40)}' is no action",
                    action,
                    "reading or undo",
                    "mend the line",
                )
            )
    return kept


def _wrong(
    key: tuple[str, str],
    sizes: Mapping[str, Size],
    parts: Mapping[str, Part],
    searched: dict[str, str],
) -> tuple[str, str, str, str] | None:
    """What is wrong with a size and copy: headline, what was read, what was expected, advice."""
    name, copy = key
    size = sizes.get(name)
    if size is None:
        if name not in searched:
            most = len(searched) >= _MOST_SEARCHED
            searched[name] = "" if most else did_you_mean(name[:80], sizes)
        headline = f"there is no size '{shorten(name, 60)}'"
        return headline, name, "a size of this model", searched[name]
    copies = parts[size.part].copies if copy else ()
    if copy and copy not in copies:
        return (
            f"{size.part} has no copy '{shorten(copy, 40)}'",
            copy,
            ", ".join(copies) or "no copy",
            did_you_mean(copy, copies),
        )
    return None


def _reading(file: str, cells: _Cells, size: Size, copy: str) -> Reading:
    """The reading of a row. Raises ValueError for a value that cannot be read."""
    line, value, instrument, note, time = cells
    return Reading(
        size.id,
        copy,
        value_of(value.strip(), size),
        instrument.strip(),
        note.strip(),
        time.strip(),
        Place(file, line),
    )


def _unread(table: LogTable, row: int, text: str, error: ValueError) -> Problem:
    return _broken(
        table,
        row,
        getattr(error, "problem", str(error)),
        text,
        getattr(error, "expected", ""),
        getattr(error, "advice", ""),
    )


def _broken(
    table: LogTable, row: int, headline: str, read: str, expected: str, advice: str
) -> Problem:
    text = table.source.line(table.lines[row])
    start = text.find(read) if read else -1
    return Problem(
        "log-line",
        f"{headline}; the line does not count",
        Place(table.source.file, table.lines[row]),
        shorten(read),
        expected,
        advice,
        text,
        (start, start + len(read)) if start >= 0 else None,
        severity="warning",
    )
