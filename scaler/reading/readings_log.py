"""The log of readings: what stands of it after all lines have been read in order.

A log grows long, and nearly every line of it is as the tool itself writes it. One quick pass reads
such a log; where any line is odd, every cell is looked at and marked by the ordinary reader of the
logs, which is the only judge of what counts. A line that cannot be used is reported with its
place, and the rest is kept.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from scaler.problems import Place, Problem
from scaler.reading import logs
from scaler.reading.csv_text import LONGEST_CELL, parse_csv
from scaler.reading.grammar import signed_reader
from scaler.reading.logs import READING_COLUMNS as COLUMNS
from scaler.reading.toml_lines import Source
from scaler.records import Part, Reading, Size

_PLAIN = re.compile(r"(\d{1,6})(?:\.(\d{1,9}))? ?(mm|in|thou)", re.ASCII).fullmatch
_ALL_PLAIN = re.compile(
    r"(?:(?=[0.]*[1-9])\d{1,6}(?:\.\d{1,9})? ?(?:mm|in|thou)\n)*+", re.ASCII
).fullmatch
_UNITS = {"mm": Fraction(1), "in": Fraction(127, 5), "thou": Fraction(127, 5000)}
_ODD = ("\n#", "\r", ', "', "\t")
"""What the quick pass leaves to the ordinary one: remarks, other line ends, blanks before a quote."""
Standing = dict[tuple[str, str], list[Reading]]
_Cells = tuple[int, str, str, str, str]
"""Of a row: its line, value, instrument, note and time."""


def value_of(text: str, size: Size) -> Fraction:
    """A value as a log or a command gives it: a length with its unit, an angle, a count.

    Raises GrammarError, with what is wrong and the cure.
    """
    plain = _PLAIN(text) if size.kind.is_length else None  # much the most usual form
    if plain is not None:
        whole, part, unit = plain.groups("")
        value = Fraction(int(whole + part), 10 ** len(part))
        return value if unit == "mm" else value * _UNITS[unit]
    return signed_reader(size.kind)(text)


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
    table, found = parse_csv(source)
    problems = [replace(item, severity="warning") for item in found]
    standing = logs.reading_histories(table, sizes, parts, problems) if table is not None else {}
    problems.sort(key=lambda problem: (problem.place or Place("", 0)).line)
    return standing, tuple(problems)


def plain_readings(
    source: Source, sizes: Mapping[str, Size], parts: Mapping[str, Part]
) -> dict[tuple[str, str], Reading] | None:
    """The standing readings in one pass that keeps no more than those; None where a line is odd."""
    text = source.text
    head = ",".join(COLUMNS) + "\n"
    if not text.startswith(head) or not text.endswith("\n") or any(odd in text for odd in _ODD):
        return None
    if max(map(len, text.split("\n"))) > LONGEST_CELL:
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
    for name, copy in {**last, **history}:
        part = sizes.get(name)
        if part is None or (copy and copy not in parts[part.part].copies):
            return None
    for key, rows in history.items():
        last.pop(key, None)
        if rows:
            last[key] = rows[-1]
    return _standing(source.file, last, sizes)


def _standing(
    file: str,
    last: Mapping[tuple[str, str], _Cells],
    sizes: Mapping[str, Size],
) -> dict[tuple[str, str], Reading] | None:
    """The readings of these rows; None where one cannot be used as it stands."""
    found = {}
    for (name, copy), (line, text, instrument, note, time) in last.items():
        try:
            value = value_of(text, sizes[name])
        except ValueError:
            return None
        said = instrument.strip(), note.strip(), time.strip()
        found[name, copy] = Reading(name, copy, value, *said, Place(file, line))
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
