"""Where things stand in a TOML file: the line and column of every key and value.

The standard library's ``tomllib`` reads the meaning and refuses what is not TOML. It does not say
where a key stood, so this module walks over text that tomllib has already accepted and notes
places only. It never decides what a value means.
"""

from __future__ import annotations

import bisect
import re
from dataclasses import dataclass, field

from scaler.problems import Place

KeyPath = tuple[str | int, ...]

_KEY = re.compile(r"""[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'""")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_STRING = re.compile(
    r'''"""(?:[^"\\]|\\.|"{1,2}(?!"))*"{3,5}|\'\'\'(?:[^']|'{1,2}(?!'))*'{3,5}'''
    r"""|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'""",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}#\n\r]+")


@dataclass(frozen=True)
class Source:
    """A file's text and, found when first asked for, the places of its keys and values."""

    file: str
    text: str = field(repr=False)

    @property
    def _starts(self) -> list[int]:
        starts = self.__dict__.get("_line_starts")
        if starts is None:
            starts = [0, *(m.end() for m in re.finditer("\n", self.text))]
            self.__dict__["_line_starts"] = starts
        return starts

    @property
    def index(self) -> dict[KeyPath, tuple[int, int, int]]:
        """For each key path: offset of the key, offset of its value, end of its value."""
        found = self.__dict__.get("_index")
        if found is None:
            found = _Walk(self.text).run()
            self.__dict__["_index"] = found
        return found

    def place_at(self, offset: int) -> Place:
        """The line and column of a character offset."""
        line = bisect.bisect_right(self._starts, offset)
        return Place(self.file, line, offset - self._starts[line - 1] + 1)

    def place(self, path: KeyPath) -> Place:
        """The place of a key; of the nearest enclosing one where the key itself is not found."""
        for length in range(len(path), 0, -1):
            entry = self.index.get(path[:length])
            if entry:
                return self.place_at(entry[0])
        return Place(self.file, 1)

    def value_span(self, path: KeyPath) -> tuple[Place, str, tuple[int, int]] | None:
        """Place, text of the line and span in it of a value that stands on one line."""
        entry = self.index.get(path)
        if entry is None:
            return None
        place = self.place_at(entry[1])
        line = self.line(place.line)
        start = place.column - 1
        return place, line, (start, min(len(line), start + entry[2] - entry[1]))

    def line(self, number: int) -> str:
        """The text of a line, counted from 1; '' beyond the end."""
        if not 1 <= number <= len(self._starts):
            return ""
        start = self._starts[number - 1]
        end = self.text.find("\n", start)
        return self.text[start : len(self.text) if end < 0 else end].rstrip("\r")


class _Walk:
    """One pass over TOML text that is known to be well formed."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.found: dict[KeyPath, tuple[int, int, int]] = {}
        self.lists: dict[KeyPath, int] = {}

    def run(self) -> dict[KeyPath, tuple[int, int, int]]:
        text, pos = self.text, 0
        table: KeyPath = ()
        while True:
            pos = self._skip(pos)
            if pos >= len(text):
                return self.found
            if text[pos] == "[":
                double = text.startswith("[[", pos)
                start = pos
                keys, pos = self._keys(pos + (2 if double else 1))
                pos = self._space(pos) + (2 if double else 1)
                table = self._table(keys, double)
                self.found.setdefault(table, (start, start, pos))
            else:
                pos = self._pair(table, pos)

    def _table(self, keys: list[tuple[str, int]], double: bool) -> KeyPath:
        path: KeyPath = ()
        for number, (key, offset) in enumerate(keys):
            path = (*path, key)
            last = number == len(keys) - 1
            self.found.setdefault(path, (offset, offset, offset + len(key)))
            if last and double:
                self.lists[path] = self.lists.get(path, -1) + 1
            if path in self.lists:
                path = (*path, self.lists[path])
        return path

    def _pair(self, table: KeyPath, pos: int) -> int:
        keys, pos = self._keys(pos)
        pos = self._space(self._space(pos) + 1)
        path = table
        for key, offset in keys[:-1]:
            path = (*path, key)
            self.found.setdefault(path, (offset, offset, offset + len(key)))
        path = (*path, keys[-1][0])
        start = pos
        end = self._value(path, pos)
        self.found[path] = (keys[-1][1], start, end)
        return end

    def _value(self, path: KeyPath, pos: int) -> int:
        text, head = self.text, self.text[pos]
        if head == "[":
            pos, number = self._skip(pos + 1), 0
            while text[pos] != "]":
                start = pos
                pos = self._value((*path, number), pos)
                self.found[(*path, number)] = (start, start, pos)
                number += 1
                pos = self._skip(pos)
                if text[pos] == ",":
                    pos = self._skip(pos + 1)
            return pos + 1
        if head == "{":
            pos = self._skip(pos + 1)
            while text[pos] != "}":
                pos = self._skip(self._pair(path, pos))
                if text[pos] == ",":
                    pos = self._skip(pos + 1)
            return pos + 1
        match = _STRING.match(text, pos) if head in "\"'" else _SCALAR.match(text, pos)
        if match is None:  # pragma: no cover - tomllib has accepted the text
            return pos + 1
        return pos + len(match.group().rstrip())

    def _keys(self, pos: int) -> tuple[list[tuple[str, int]], int]:
        keys: list[tuple[str, int]] = []
        while True:
            pos = self._space(pos)
            match = _KEY.match(self.text, pos)
            if match is None:  # pragma: no cover - tomllib has accepted the text
                return keys or [("", pos)], pos + 1
            keys.append((_plain(match.group()), pos))
            pos = self._space(match.end())
            if not self.text.startswith(".", pos):
                return keys, pos
            pos += 1

    def _skip(self, pos: int) -> int:
        match = _BLANK.match(self.text, pos)
        return match.end() if match else pos

    def _space(self, pos: int) -> int:
        match = _SPACE.match(self.text, pos)
        return match.end() if match else pos


def _plain(key: str) -> str:
    if key[0] == "'":
        return key[1:-1]
    if key[0] == '"':
        import tomllib

        return next(iter(tomllib.loads(f"{key} = 0")))
    return key
