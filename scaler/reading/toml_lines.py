"""Where things stand in a TOML file: the line and column of every key and value.

The standard library's ``tomllib`` reads the meaning and refuses what is not TOML. It does not say
where a key stood, so this module walks over text that tomllib has already accepted and notes
places only. It never decides what a value means.
"""

from __future__ import annotations

import bisect
import re
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import islice

from scaler.problems import Mark, Place, clip

KeyPath = tuple[str | int, ...]
Spans = tuple[int, int, int]
"""Offset of a key, offset of its value, end of its value."""

_KEY = re.compile(r"""[A-Za-z0-9_-]+|"(?:[^"\\\n]++|\\.)*+"|'[^'\n]*+'""")
_BLANK = re.compile(r"(?:[ \t\n]++|#[^\n]*+)*+")
_SPACE = re.compile(r"[ \t]*+")
_DOT = re.compile(r"[ \t]*+\.[ \t]*+")
_PLAIN_PAIR = re.compile(r"([A-Za-z0-9_-]++)[ \t]*+=[ \t]*+")
_STRING = re.compile(
    r'''"""(?:[^"\\]++|\\.|"{1,2}(?!"))*+"{3,5}|\'\'\'(?:[^']++|'{1,2}(?!'))*+'{3,5}'''
    r"""|"(?:[^"\\\n]++|\\.)*+"|'[^'\n]*+'""",
    re.DOTALL,
)
_SCALAR = re.compile(r"[^,\]}#\n]+")


@dataclass(frozen=True)
class Source:
    """A file's text (lines ended by ``\\n``) and, found when first asked for, places in it."""

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
    def index(self) -> dict[KeyPath, Spans]:
        """Offsets of key and value for each key path of a TOML text that tomllib accepts."""
        found = self.__dict__.get("_index")
        if found is None:
            found = Walk(self.text).run()
            self.__dict__["_index"] = found
        return found

    def know(self, places: Mapping[tuple[str, ...], tuple[int, int]]) -> None:
        """Keeps line and column of key paths that are known without a walk over the text."""
        self.__dict__["_places"] = places

    def offset(self, line: int) -> int:
        """The offset at which a line begins, counted from 1; the end of the text beyond it."""
        return self._starts[line - 1] if 1 <= line <= len(self._starts) else len(self.text)

    def place_at(self, offset: int) -> Place:
        """The line and column of a character offset."""
        line = bisect.bisect_right(self._starts, offset)
        return Place(self.file, line, offset - self._starts[line - 1] + 1)

    def place(self, path: KeyPath) -> Place:
        """The place of a key; of the nearest enclosing one where the key itself is not found."""
        known = self.__dict__.get("_places")
        if known is not None and path in known:
            return Place(self.file, *known[path])
        for length in range(len(path), 0, -1):
            entry = self.index.get(path[:length])
            if entry:
                return self.place_at(entry[0])
        return Place(self.file, 1)

    def line(self, number: int) -> str:
        """The text of a line, counted from 1; '' beyond the end."""
        if not 1 <= number <= len(self._starts):
            return ""
        start = self._starts[number - 1]
        end = self.text.find("\n", start)
        return self.text[start : len(self.text) if end < 0 else end]

    def mark_at(self, start: int, end: int) -> Mark:
        """The mark of a stretch of text: its first line, or what is left of that if it is long."""
        place = self.place_at(start)
        excerpt, span = clip(
            self.line(place.line), place.column - 1, place.column - 1 + end - start
        )
        return Mark(place, excerpt, (span[0], max(span[0], min(span[1], len(excerpt)))))

    def mark_key(self, path: KeyPath) -> Mark:
        """The mark of a key; of the nearest enclosing one where the key itself is not found."""
        for length in range(len(path), 0, -1):
            entry = self.index.get(path[:length])
            if entry is not None:
                return self.mark_key_at(entry[0])
        return Mark(Place(self.file, 1), clip(self.line(1), 0, 0)[0])

    def mark_key_at(self, offset: int) -> Mark:
        """The mark of the key that stands at an offset."""
        match = _KEY.match(self.text, offset)
        return self.mark_at(offset, match.end() if match else offset + 1)

    def mark_value(self, path: KeyPath, inner: tuple[int, int] | None = None) -> Mark | None:
        """The mark of a key's value, or of a span inside it; None where there is no such key.

        ``inner`` counts in the text that the value stands for; where that is not written out as it
        is (escapes, several lines), the whole value is marked.
        """
        found = self._value_span(path)
        if found is None:
            return None
        start, end = found
        if inner is not None:
            quote = _opening(self.text, start)
            body = self.text[start + quote : end - quote]
            if quote and "\n" not in body and not (self.text[start] == '"' and "\\" in body):
                first = min(max(0, inner[0]), len(body))
                last = max(min(inner[1], len(body)), first + 1)
                start, end = start + quote + first, start + quote + last
        return self.mark_at(start, end)

    def _value_span(self, path: KeyPath) -> tuple[int, int] | None:
        """Offsets of a value; the elements of a list are looked for when asked for."""
        entry = self.index.get(path)
        if entry is not None:
            return entry[1], entry[2]
        if path and isinstance(path[-1], int):
            around = self._value_span(path[:-1])
            if around is not None and self.text.startswith("[", around[0]):
                spans = Walk(self.text).elements(path[:-1], around[0])
                return next(islice(spans, path[-1], None), None)
        return None


def _opening(text: str, start: int) -> int:
    """How many quotes open the string at an offset; 0 where there is no string."""
    if text.startswith(('"""', "'''"), start):
        return 3
    return 1 if text.startswith(('"', "'"), start) else 0


class Walk:
    """One pass over TOML text that tomllib has accepted."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.found: dict[KeyPath, Spans] = {}
        self.lists: dict[KeyPath, int] = {}
        self.implied: set[KeyPath] = set()
        self.again: list[tuple[KeyPath, int, int]] = []
        self.statement = 0

    def repeated(self) -> tuple[KeyPath, int, int] | None:
        """Path, first and second offset of a name of the last statement that stood before.

        For text of which tomllib refuses the last statement; None where no name is repeated.
        """
        with suppress(ValueError, IndexError, RecursionError):  # the text ends inside a statement
            self.run()
        return next((item for item in self.again if item[2] >= self.statement), None)

    def run(self) -> dict[KeyPath, Spans]:
        """The places of all keys: a table's own heading counts before where it is only implied."""
        text, end, pos = self.text, len(self.text), 0
        table: KeyPath = ()
        while True:
            pos = self._skip(pos)
            if pos >= end:
                return self.found
            self.statement = pos
            if text[pos] == "[":
                double = 2 if text.startswith("[[", pos) else 1
                start = pos
                keys, pos = self._keys(pos + double)
                pos = self._space(pos) + double
                table = self._table(keys, double == 2, start, pos)
            else:
                pos = self._pair(table, pos)

    def _table(self, keys: list[tuple[str, int]], double: bool, start: int, end: int) -> KeyPath:
        path: KeyPath = ()
        for number, (key, offset) in enumerate(keys):
            path = (*path, key)
            last = number == len(keys) - 1
            if last and not double and path in self.found:
                self.again.append((path, self.found[path][0], offset))
            if last and (path not in self.found or path in self.implied):
                self.found[path] = (offset, start, end)
                self.implied.discard(path)
            elif path not in self.found:
                self.found[path] = (offset, start, end)
                self.implied.add(path)
            if last and double:
                self.lists[path] = self.lists.get(path, -1) + 1
            if path in self.lists:
                path = (*path, self.lists[path])
                self.found.setdefault(path, (offset, start, end))
        return path

    def _pair(self, table: KeyPath, pos: int) -> int:
        match = _PLAIN_PAIR.match(self.text, pos)
        if match is not None:  # much the most usual sort
            path = (*table, match.group(1))
            start = match.end()
        else:
            keys, start = self._keys(pos)
            start = self._space(self._space(start) + 1)
            path = table
            for key, offset in keys[:-1]:
                path = (*path, key)
                if path not in self.found:
                    self.found[path] = (offset, offset, offset + len(key))
                    self.implied.add(path)
            path = (*path, keys[-1][0])
            pos = keys[-1][1]
        if path in self.found:
            self.again.append((path, self.found[path][0], pos))
        end = self._value(path, start)
        self.found[path] = (pos, start, end)
        return end

    def _value(self, path: KeyPath, pos: int) -> int:
        text = self.text
        head = text[pos]
        if head in "\"'":
            match = _STRING.match(text, pos)
            return match.end() if match else len(text)
        if head == "[":
            for number, (start, end) in enumerate(self.elements(path, pos)):
                pos = end - 1
                if text[start] in "[{":  # the others are looked for when asked for
                    self.found[*path, number] = (start, start, end)
            return self._skip(self._comma(pos + 1)) + 1
        if head == "{":
            pos = self._skip(pos + 1)
            while text[pos] != "}":
                pos = self._skip(self._pair(path, pos))
                if text[pos] == ",":
                    pos = self._skip(pos + 1)
            return pos + 1
        match = _SCALAR.match(text, pos)
        end = pos + len(match.group().rstrip()) if match else len(text)
        if end == pos:  # text that tomllib has not come to: nothing here can be passed over
            raise ValueError("not TOML")
        return end

    def elements(self, path: KeyPath, pos: int) -> Iterator[tuple[int, int]]:
        """Start and end of each element of the list that opens at an offset."""
        pos, number = self._skip(pos + 1), 0
        while self.text[pos] != "]":
            end = self._value((*path, number), pos)
            yield pos, end
            number += 1
            pos = self._skip(self._comma(end))

    def _comma(self, pos: int) -> int:
        pos = self._skip(pos)
        return pos + 1 if self.text[pos] == "," else pos

    def _keys(self, pos: int) -> tuple[list[tuple[str, int]], int]:
        keys: list[tuple[str, int]] = []
        pos = self._space(pos)
        while True:
            match = _KEY.match(self.text, pos)
            if match is None:
                raise ValueError("not TOML")  # tomllib has accepted the text before
            keys.append((plain_key(match.group()), pos))
            dot = _DOT.match(self.text, match.end())
            if dot is None:
                return keys, match.end()
            pos = dot.end()

    def _skip(self, pos: int) -> int:
        match = _BLANK.match(self.text, pos)
        return match.end() if match else pos

    def _space(self, pos: int) -> int:
        match = _SPACE.match(self.text, pos)
        return match.end() if match else pos


def plain_key(key: str) -> str:
    """A key without its quotes and escapes.

    >>> plain_key('"a b"'), plain_key("axle")
    ('a b', 'axle')
    """
    if key[0] == "'":
        return key[1:-1]
    if key[0] == '"':
        import tomllib

        return next(iter(tomllib.loads(f"{key} = 0")))
    return key
