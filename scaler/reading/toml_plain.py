"""TOML as model files mostly write it, read in one pass with the place of every entry.

Most lines of a model are a heading, a name with text, or a size in braces, each on one line. Text
made of such lines alone is read here, line by line, at a fraction of what ``tomllib`` takes, and
line and column come with it. Anything else, and anything that might be wrong, is left to tomllib:
what this module gives is what tomllib would have given, or nothing (a test holds it to that).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from typing import Any

Places = dict[tuple[str, ...], tuple[int, int]]
"""Line and column, from 1, of the key that each entry (table, or name below one) begins with."""

MOST_INSIDE = 8
"""Brackets, and points in names, of a value that is still looked at by itself."""
_KEY = r"[A-Za-z0-9_-]++"
_TEXT = r"""(?:"[^"\\\n]*+"|'[^'\n]*+')"""
_PAIR = rf"{_KEY}[ \t]*+=[ \t]*+{_TEXT}"
_LINE = re.compile(
    rf"""[ \t]*+(?:
        \[({_KEY})(?:\.({_KEY}))?\]
        |({_KEY})(?:\.({_KEY}))?[ \t]*+=[ \t]*+(?:
            ({_TEXT})
            |\{{[ \t]*+((?:{_PAIR}[ \t]*+,[ \t]*+)*+{_PAIR})[ \t]*+\}}
            |([^\s\#].*+)
        )
    )?+[ \t]*+(?:\#.*+)?\n""",
    re.VERBOSE,
)
_PAIRS = re.compile(rf"({_KEY})[ \t]*+=[ \t]*+({_TEXT})")
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")


def read_plain(
    text: str, number: Callable[[str], Any]
) -> tuple[dict[str, dict[str, Any]], Places] | None:
    """The data of a TOML text and the places of its entries; None where it is not plain enough.

    Parameters: text : lines ended by ``\\n``; number : makes a value of a number with a point.
    """
    if _CONTROL.search(text):
        return None
    if text[-1:] != "\n":
        text += "\n"
    plain, match = _Plain(number), _LINE.match
    at, line, end = 0, 0, len(text)
    while at < end:
        found = match(text, at)
        if found is None:
            return None
        at, line, last = found.end(), line + 1, found.lastindex
        if last is not None and not (
            plain.heading(found, line) if last <= 2 else plain.pair(found, line)
        ):
            return None
    return plain.data, plain.places


class _Plain:
    """What has been read so far, and the table that lines now belong to."""

    def __init__(self, number: Callable[[str], Any]) -> None:
        self.number = number
        self.data: dict[str, dict[str, Any]] = {}
        self.places: Places = {}
        self.headed: set[str] = set()
        self.path: tuple[str, ...] = ()
        self.table: dict[str, Any] = {}
        self.dotted: dict[str, dict[str, Any]] = {}

    def heading(self, found: re.Match[str], line: int) -> bool:
        """``[first]`` or ``[first.second]``; False where it stood before."""
        first, second = found.group(1, 2)
        column = 1 - found.start()
        self.dotted = {}
        if second is None:
            if first in self.headed:
                return False
            self.headed.add(first)
            self.path = (first,)
            self.table = self.data.setdefault(first, {})
            self.places[self.path] = line, found.start(1) + column
            return True
        outer = self.data.get(first)
        if outer is None:
            outer = self.data[first] = {}
            self.places[(first,)] = line, found.start(1) + column
        if second in outer:
            return False
        self.path = (first, second)
        self.table = outer[second] = {}
        self.places[self.path] = line, found.start(2) + column
        return True

    def pair(self, found: re.Match[str], line: int) -> bool:
        """``key = value`` or ``key.name = value``; False where that cannot be told or stands twice."""
        key, name, text, inside, other = found.group(3, 4, 5, 6, 7)
        value: Any
        if text is not None:
            value = text[1:-1]
        elif inside is not None:
            pairs = _PAIRS.findall(inside)
            value = {inner: quoted[1:-1] for inner, quoted in pairs}
            if len(value) != len(pairs):
                return False
        else:
            value = self.other(other)
            if value is None:
                return False
        holder = self.table
        if name is not None:
            known = self.dotted.get(key)
            if known is None:
                if key in holder:
                    return False
                known = holder[key] = self.dotted[key] = {}
            holder = known
            self.places[(*self.path, key, name)] = line, found.start(4) - found.start() + 1
        else:
            name = key
            if len(self.path) == 1:
                self.places[self.path[0], key] = line, found.start(3) - found.start() + 1
        if name in holder:
            return False
        holder[name] = value
        return bool(self.path)  # what stands before the first heading is left to tomllib

    def other(self, text: str) -> Any:
        """A value of any other form, by tomllib; None where it is not whole on its line."""
        if text.count("[") + text.count("{") + text.count(".") > MOST_INSIDE:
            return None
        try:
            return tomllib.loads(f"x = {text}\n", parse_float=self.number)["x"]
        except (ValueError, RecursionError):
            return None
