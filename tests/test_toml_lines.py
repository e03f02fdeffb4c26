"""Places of keys and values in TOML text, against what the standard library reads from it.

tomllib is the independent reader: whatever way a document is written, the key paths found must be
those of the data it gives, each place must point at its key, and each value's text must read back
as its value.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scaler.problems import Problem
from scaler.reading.toml_lines import KeyPath, Source, plain_key
from scaler.reading.toml_text import TomlFile, parse_toml

# ---------------------------------------------------------------- random documents, many styles

BARE = re.compile(r"[A-Za-z0-9_-]+")
KEYS = st.one_of(
    st.sampled_from(["a", "b", "size", "bore", "part", "x-1", "3", "A_b"]),
    st.sampled_from(["", "a b", "a.b", "ä", "'", '"', "#", "=", "]", "}", "\\", "\t", "é\u0301"]),
    st.text(min_size=0, max_size=4),
).filter(lambda key: not any("\ud800" <= c <= "\udfff" for c in key))
STRINGS = st.one_of(
    st.sampled_from(["", "7/8 in", '7/8"', "a = 1", "[x]", "# no", "}", "'''", '"""', "a\nb", ","]),
    st.text(max_size=8).filter(lambda t: not any("\ud800" <= c <= "\udfff" for c in t)),
)
SCALARS = st.one_of(
    STRINGS,
    st.integers(-(10**12), 10**12),
    st.booleans(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.dates(),
    st.times().map(lambda t: t.replace(microsecond=0)),
)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEYS, inner, max_size=3)),
    max_leaves=6,
)
TABLES = st.recursive(
    st.dictionaries(KEYS, VALUES, max_size=3),
    lambda inner: st.dictionaries(KEYS, st.one_of(VALUES, inner), max_size=4),
    max_leaves=4,
)


def escaped(text: str) -> str:
    """Text with everything escaped that a TOML string in double quotes may not hold."""
    found = ""
    for c in text:
        if c in '"\\' or ord(c) < 32 or ord(c) == 127:
            found += f"\\u{ord(c):04x}"
        else:
            found += c
    return found


class Writer:
    """Writes data as TOML, taking one of the ways to write each thing as the draw says."""

    def __init__(self, draw: Any) -> None:
        self.draw = draw

    def pick(self, *ways: str) -> str:
        return str(self.draw(st.sampled_from(ways)))

    def blank(self) -> str:
        return self.pick("", " ", "\t ")

    def rest(self) -> str:
        """The end of a line: a remark, or blank lines, or nothing."""
        return self.pick("\n", " # a remark: [x] = 'y\n", "\n\n", "\n# [no.table]\n", "\t\n")

    def key(self, key: str) -> str:
        ways = [f'"{escaped(key)}"']
        if BARE.fullmatch(key):
            ways += [key, key]
        if "'" not in key and not re.search("[\x00-\x08\x0a-\x1f\x7f]", key):
            ways.append(f"'{key}'")
        return self.pick(*ways)

    def keys(self, *keys: str) -> str:
        return f"{self.blank()}.{self.blank()}".join(self.key(key) for key in keys)

    def text(self, text: str, *, one_line: bool) -> str:
        plain = not re.search("[\x00-\x08\x0a-\x1f\x7f]", text)
        ways = [f'"{escaped(text)}"']
        if plain and "'" not in text:
            ways.append(f"'{text}'")
        if plain and "'''" not in text and not text.endswith("'"):
            ways.append(f"'''{text}'''")
        if not one_line:
            body = escaped(text).replace("\\u0022", '"').replace("\\u000a", "\n")
            if '""' not in body and not body.endswith('"'):
                ways += [
                    f'"""{body}"""',
                    f'"""\n{body}"""',
                    f'"""\\\n  {body}"""' * (body.strip() == body),
                ]
        return self.pick(*(way for way in ways if way))

    def value(self, value: object, *, one_line: bool) -> str:
        if isinstance(value, str):
            return self.text(value, one_line=one_line)
        if isinstance(value, bool):
            return str(value).lower()
        if isinstance(value, list):
            return self.list(value, one_line=one_line)
        if isinstance(value, dict):
            inner = [f"{self.pair((key,), item, one_line=True)}" for key, item in value.items()]
            return (
                "{"
                + self.blank()
                + f"{self.blank()},{self.blank()}".join(inner)
                + self.blank()
                + "}"
            )
        return str(value) if isinstance(value, (int, float)) else value.isoformat()  # type: ignore[attr-defined]

    def list(self, items: list[object], *, one_line: bool) -> str:
        def gap() -> str:
            return self.blank() if one_line else self.pick("", " ", "\n  ", " # ] no\n")

        text = "[" + gap()
        for number, item in enumerate(items):
            last = number == len(items) - 1
            text += self.value(item, one_line=one_line) + gap()
            text += "," if not last or self.draw(st.booleans()) else ""
            text += gap()
        return text + "]"

    def pair(self, keys: tuple[str, ...], value: object, *, one_line: bool = False) -> str:
        return (
            f"{self.keys(*keys)}{self.blank()}={self.blank()}{self.value(value, one_line=one_line)}"
        )

    def document(self, data: dict[str, Any]) -> str:
        return self.pick("", "# first\n", "\n") + self.table(data, ())

    def table(self, data: dict[str, Any], path: tuple[str, ...]) -> str:
        """A table's own lines first, then those of its tables, as TOML has it."""
        head, tail = "", ""
        for key, value in data.items():
            lists = isinstance(value, list) and value and all(isinstance(i, dict) for i in value)
            if isinstance(value, dict):
                way = (
                    self.pick("inline", "headed", "dotted")
                    if value
                    else self.pick("inline", "headed")
                )
            else:
                way = "headed list" if lists and self.draw(st.booleans()) else "plain"
            if way in ("plain", "inline"):
                head += self.blank() + self.pair((key,), value) + self.rest()
            elif way == "dotted":
                for inner, item in value.items():
                    head += self.pair((key, inner), item) + self.rest()
            elif way == "headed":
                tail += f"{self.blank()}[{self.blank()}{self.keys(*path, key)}{self.blank()}]{self.rest()}"
                tail += self.table(value, (*path, key))
            else:
                for item in value:
                    tail += f"[[{self.keys(*path, key)}{self.blank()}]]{self.rest()}"
                    tail += self.table(item, (*path, key))
        return head + tail


@st.composite
def documents(draw: Any) -> str:
    """The text of a random TOML document."""
    return Writer(draw).document(draw(TABLES))


def paths(data: object, path: KeyPath = ()) -> Iterator[tuple[KeyPath, object]]:
    """Every key path of data that tomllib read, with its value; of lists only the tables' keys."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield (*path, key), value
            yield from paths(value, (*path, key))
    elif isinstance(data, list):
        for number, value in enumerate(data):
            yield from paths(value, (*path, number))


# ---------------------------------------------------------------------------------- properties


@settings(max_examples=120)
@given(documents())
def test_paths_are_those_that_tomllib_reads(text: str) -> None:
    """The key paths found are exactly those of the data; each place points at its key."""
    data = tomllib.loads(text)
    source = Source("f.toml", text)
    read = dict(paths(data))
    keys = {path for path in source.index if isinstance(path[-1], str)}
    assert keys == set(read)
    for path in keys:
        offset = source.index[path][0]
        written = re.match(r"""[A-Za-z0-9_-]+|"(?:[^"\\]|\\.)*"|'[^']*'""", text[offset:])
        assert written is not None, path
        assert plain_key(written.group()) == path[-1]
        place = source.place(path)
        line = text.split("\n")[place.line - 1]
        assert line[place.column - 1 :].startswith(written.group())


@settings(max_examples=100)
@given(documents())
def test_values_read_back(text: str) -> None:
    """The text marked as a value is that value's, for every key and for every item of a list."""
    data = tomllib.loads(text)
    source = Source("f.toml", text)
    for path, value in paths(data):
        _, start, end = source.index[path]
        if isinstance(value, dict) != (text[start] == "{"):
            continue  # a heading, or a table of dotted keys: these have no text of their own
        if _is_written_out(text[start:end]):
            assert tomllib.loads(f"x = {text[start:end]}")["x"] == value
        if isinstance(value, list) and text[start - 1 : start] != "[" and value:
            for number, item in enumerate(value):
                mark = source.mark_value((*path, number))
                assert mark is not None and mark.span is not None
                shown = mark.excerpt[slice(*mark.span)]
                headed = isinstance(item, dict) and shown.startswith("[")
                if not headed and "\n" not in shown and _reads(shown):
                    assert tomllib.loads(f"x = {shown}")["x"] == item


def _is_written_out(text: str) -> bool:
    """Whether a text can be a value by itself."""
    return bool(text) and text[0] in "\"'{+-0123456789tf" and _reads(text)


def _reads(text: str) -> bool:
    try:
        tomllib.loads(f"x = {text}")
    except tomllib.TOMLDecodeError:
        return False
    return True


@settings(max_examples=80)
@given(documents(), st.data())
def test_cut_documents_stop_with_a_place(text: str, data: st.DataObject) -> None:
    """A document cut anywhere is read, or stops at a place that is in it."""
    cut = text[: data.draw(st.integers(0, len(text)))]
    found = parse_toml(Source("f.toml", cut))
    if isinstance(found, TomlFile):
        assert set(Source("f.toml", cut).index) >= {path for path, _ in paths(found.data)}
        return
    assert isinstance(found, Problem) and found.place is not None
    lines = cut.split("\n")
    assert 1 <= found.place.line <= len(lines)
    assert 1 <= found.place.column <= len(lines[found.place.line - 1]) + 1
    assert found.headline and found.expected and found.advice


@given(st.lists(st.text(max_size=6), max_size=8), st.data())
def test_lines_and_offsets(lines: list[str], data: st.DataObject) -> None:
    """Line and column of an offset, against counting line ends."""
    text = "\n".join(line.replace("\n", "").replace("\r", "") for line in lines)
    source = Source("f", text)
    offset = data.draw(st.integers(0, len(text)))
    place = source.place_at(offset)
    assert place.line == text.count("\n", 0, offset) + 1
    assert place.column == offset - (text.rfind("\n", 0, offset) + 1) + 1
    assert source.offset(place.line) + place.column - 1 == offset
    assert source.line(place.line) == text.split("\n")[place.line - 1]
    assert source.line(0) == source.line(text.count("\n") + 2) == ""


# -------------------------------------------------------------------------------------- examples


@pytest.mark.parametrize(
    ("text", "path", "line", "column", "value"),
    [
        ("[part.axle]\nsize.bore = '5 mm'\n", ("part", "axle"), 1, 7, "[part.axle]"),
        ("[part.axle]\nsize.bore = '5 mm'\n", ("part", "axle", "size", "bore"), 2, 6, "'5 mm'"),
        ("[part.axle.size.bore]\n[part.axle]\n", ("part", "axle"), 2, 7, "[part.axle]"),
        ("[part.axle.size.bore]\n[part.axle]\n", ("part",), 1, 2, "[part.axle.size.bore]"),
        ("a = [1,\n  'x', # two\n  3]\n", ("a", 1), 2, 3, "'x'"),
        ("a = [1,\n  'x', # two\n  3]\n", ("a", 2), 3, 3, "3"),
        ("a = '''x\ny''' # z\nb = 2\n", ("b",), 3, 1, "2"),
        ("[[a]]\nb = 1\n[[a]]\nb = 2\n", ("a", 1, "b"), 4, 1, "2"),
        ("a = { b = 1, 'c d' = { e = 'x}' } }", ("a", "c d", "e"), 1, 24, "'x}'"),
        ("a = [{ b = [] }, { b = [ { c = 1 } ] }]", ("a", 1, "b", 0, "c"), 1, 28, "1"),
    ],
)
def test_places(text: str, path: KeyPath, line: int, column: int, value: str) -> None:
    """Places counted by hand."""
    source = Source("f.toml", text)
    if isinstance(path[-1], str):
        assert (source.place(path).line, source.place(path).column) == (line, column)
        assert text[slice(*source.index[path][1:])] == value
    else:
        mark = source.mark_value(path)
        assert mark is not None and (mark.place.line, mark.place.column) == (line, column)
        assert mark.span is not None and mark.excerpt[slice(*mark.span)] == value


def test_a_key_that_is_not_there() -> None:
    """The nearest table stands in for a key that is not there, the first line for everything."""
    source = Source("f.toml", "\n[part.axle]\ntitle = 'x'\n")
    assert source.place(("part", "axle", "size", "bore")) == source.place(("part", "axle"))
    assert source.place(("part", "axle")).line == 2
    assert source.place(("pair",)).line == 1
    assert source.mark_value(("part", "axle", "size")) is None
    assert source.mark_value(("part", "axle", "title", 3)) is None
    assert source.mark_key(("pair",)).place.line == 1


@pytest.mark.parametrize(
    ("text", "inner", "shown"),
    [
        ("a = 'one two'", (4, 7), "two"),
        ('a = "one two"', (4, 7), "two"),
        ("a = '''one two'''", (4, 7), "two"),
        ('a = "o\\u006e two"', (4, 7), '"o\\u006e two"'),  # escapes: the whole value
        ("a = '''one\ntwo'''", (4, 7), "'''one"),
        ("a = 'one two'", (4, 99), "two"),
        ("a = 'one two'", (99, 100), "'"),
        ("a = 12", (0, 1), "12"),
    ],
)
def test_spans_inside_values(text: str, inner: tuple[int, int], shown: str) -> None:
    """A span inside a text is marked where the text is written out; else the whole value."""
    mark = Source("f.toml", text).mark_value(("a",), inner)
    assert mark is not None and mark.span is not None
    assert mark.excerpt[slice(*mark.span)] == shown
    assert text.split("\n")[mark.place.line - 1][mark.place.column - 1 :].startswith(shown)
