"""Entries of a model's files: named fields, where they stand, and the problems found in them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from scaler.problems import Mark, Place, Problem, shorten
from scaler.quick import record
from scaler.reading.csv_text import CsvFile
from scaler.reading.toml_lines import KeyPath, Source

Key = str | KeyPath | None
"""A field of an entry, a path below it (a field and the number of a list's item), or the entry."""


@record
class Entry:
    """One table of a model file: what it is, its name, its fields, and where they stand.

    ``wrong`` names the fields that were there and could not be used.
    """

    what: str
    name: str
    fields: Mapping[str, Any]
    source: Source
    path: KeyPath = ()
    table: CsvFile | None = None
    line: int = 0
    part: str = ""
    bare: bool = False
    wrong: frozenset[str] = frozenset()

    def place(self) -> Place:
        """Where the entry stands."""
        if self.table is not None:
            return Place(self.source.file, self.line)
        return self.source.place(self.path)

    def place_of(self, key: Key) -> Place:
        """Where a field stands; the entry where it has no such field."""
        if self.table is not None:
            return Place(self.source.file, self.line)
        return self.source.place(self._path(key))

    def mark(self, key: Key = None, inner: tuple[int, int] | None = None) -> Mark:
        """Place of a field's value (or of a span inside it), the text round it, and its span."""
        if self.table is not None:
            column = str(key[0]) if isinstance(key, tuple) else key
            found = self.table.mark(self.line, column)
            return _within(found, inner, str(self.fields.get(column or "", "")))
        path = self._path(key)
        if key is None:
            return self.source.mark_key(path)
        return self.source.mark_value(path, inner) or self.source.mark_key(path)

    def mark_key(self, key: str) -> Mark:
        """Place of a field's name."""
        if self.table is not None:
            return self.table.mark_heading(key)
        return self.source.mark_key(self._path(key))

    def _path(self, key: Key) -> KeyPath:
        if key is None:
            return self.path
        keys = key if isinstance(key, tuple) else (key,)
        return (*self.path, *(keys[1:] if self.bare else keys))


def _within(mark: Mark, inner: tuple[int, int] | None, text: str) -> Mark:
    """A span inside the cell that a mark covers, where the cell is written out as it is."""
    if inner is None or mark.span is None or mark.excerpt[slice(*mark.span)] != text:
        return mark
    start = mark.span[0] + min(inner[0], len(text))
    end = max(start + 1, mark.span[0] + min(inner[1], len(text)))
    column = mark.place.column + start - mark.span[0]
    return Mark(replace(mark.place, column=column), mark.excerpt, (start, end))


@dataclass
class Entries:
    """All entries of a model by what they are, in the order of the files.

    ``lost`` holds what and name of entries that are there and cannot be used; ``complete`` is False
    where whole files or tables could not be read, so that a name not found may stand there.
    """

    model: Entry | None = None
    drawings: dict[str, Entry] = field(default_factory=dict)
    parts: dict[str, Entry] = field(default_factory=dict)
    sizes: list[Entry] = field(default_factory=list)
    pairs: dict[str, Entry] = field(default_factory=dict)
    conditions: dict[str, Entry] = field(default_factory=dict)
    options: dict[str, Entry] = field(default_factory=dict)
    rules: dict[str, Entry] = field(default_factory=dict)
    overrules: dict[str, Entry] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    lost: set[tuple[str, str]] = field(default_factory=set)
    complete: bool = True

    def fail(
        self,
        entry: Entry,
        key: Key,
        code: str,
        headline: str,
        *,
        read: str | None = None,
        expected: str = "",
        advice: str = "",
        inner: tuple[int, int] | None = None,
        mark: Mark | None = None,
        warning: bool = False,
    ) -> None:
        """Notes a problem at a field of an entry.

        ``inner`` is a span inside the field's text; without ``read`` what was read is the text
        that is marked.
        """
        mark = mark or entry.mark(key, inner)
        if code != "type":  # what matters is the text, not that it stands in quotes
            mark = mark.unquoted()
        if read is None:
            read = mark.excerpt[slice(*mark.span)] if mark.span else ""
        self.problems.append(
            Problem(
                code,
                headline,
                mark.place,
                shorten(read, 200),
                expected,
                advice,
                mark.excerpt,
                mark.span,
                "warning" if warning else "error",
            )
        )

    def double(self, entry: Entry, first: Entry) -> None:
        """Notes that a name stands twice."""
        second_model = entry.what == "model"
        label = "the table [model]" if second_model else f"{entry.what} '{_named(entry)}'"
        self.fail(
            entry,
            None,
            "double",
            f"{label} stands twice; first in {first.place()}",
            read=entry.name if entry.table is None else _named(entry),
            expected="one [model], in the first file" if second_model else "each name once",
            advice=f"move its lines into {first.source.file}"
            if second_model
            else "rename one or take it out",
        )


def _named(entry: Entry) -> str:
    return f"{entry.part}.{entry.name}" if entry.what == "size" else entry.name
