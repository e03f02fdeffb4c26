"""Raw entries of a model's files: named fields with places, checked against the schema.

TOML tables and CSV rows come out as the same entries, so that the same facts give the same model
whichever way they were written.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files as resources
from typing import Any

from scaler.files import CsvFile, Gathered, Number, TomlFile
from scaler.problems import Place, Problem, did_you_mean
from scaler.toml_lines import KeyPath, Source

_NAME = re.compile(r"^[a-z][a-z0-9_]*$")


@dataclass(frozen=True, slots=True)
class Entry:
    """One table of a model file: what it is, its name, its fields, and where they stand."""

    what: str
    name: str
    fields: dict[str, Any]
    source: Source
    path: KeyPath
    line: int = 0
    part: str = ""
    bare: bool = False

    def place(self, key: str | None = None) -> Place:
        """Where a field stands; the entry itself without a key."""
        if self.line:
            return Place(self.source.file, self.line)
        if key is None or self.bare:
            return self.source.place(self.path)
        return self.source.place((*self.path, key))

    def mark(self, key: str | None) -> tuple[Place, str, tuple[int, int] | None]:
        """Place, line of text and span in it of a field's value."""
        if self.line:
            text = self.source.line(self.line)
            value = str(self.fields.get(key or "", ""))
            start = text.find(value) if value else -1
            span = (start, start + len(value)) if start >= 0 else None
            place = Place(self.source.file, self.line, start + 1 if start >= 0 else 1)
            return place, text, span
        path = self.path if key is None or self.bare else (*self.path, key)
        found = self.source.value_span(path) if key is not None else None
        if found is None:
            place = self.place(key)
            return place, self.source.line(place.line), None
        return found


@dataclass
class Entries:
    """All entries of a model by what they are, in the order of the files."""

    model: Entry | None = None
    drawings: list[Entry] = field(default_factory=list)
    parts: list[Entry] = field(default_factory=list)
    sizes: list[Entry] = field(default_factory=list)
    pairs: list[Entry] = field(default_factory=list)
    conditions: list[Entry] = field(default_factory=list)
    rules: dict[str, Entry] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    def fail(
        self,
        entry: Entry,
        key: str | None,
        code: str,
        headline: str,
        *,
        read: str = "",
        expected: str = "",
        advice: str = "",
        inner: tuple[int, int] | None = None,
        warning: bool = False,
    ) -> None:
        """Notes a problem at a field of an entry; ``inner`` is a span inside the field's text."""
        place, excerpt, span = entry.mark(key)
        if inner and span:
            offset = span[0] + (1 if excerpt[span[0] : span[0] + 1] in "\"'" else 0)
            if excerpt[span[0] : span[0] + 3] not in ('"""', "'''"):
                span = (offset + inner[0], offset + max(inner[1], inner[0] + 1))
        self.problems.append(
            Problem(
                code,
                headline,
                place,
                read,
                expected,
                advice,
                excerpt,
                span,
                "warning" if warning else "error",
            )
        )


@cache
def schema() -> dict[str, Any]:
    """The JSON Schema of the model files, as published with the package."""
    text = resources("scaler").joinpath("model.schema.json").read_text(encoding="utf-8")
    result: dict[str, Any] = json.loads(text)
    return result


def collect(gathered: Gathered) -> Entries:
    """Entries of all files, each field of a kind that the schema allows. Problems are collected."""
    entries = Entries()
    seen: dict[tuple[str, str], Entry] = {}
    for document in gathered.tomls:
        _toml(entries, document, seen)
    for table in gathered.size_tables:
        _csv(entries, table)
    return entries


_LISTS = {"drawing": "drawings", "part": "parts", "pair": "pairs", "condition": "conditions"}


def _toml(entries: Entries, document: TomlFile, seen: dict[tuple[str, str], Entry]) -> None:
    source, known = document.source, schema()["properties"]
    for what, table in document.data.items():
        top = Entry("file", what, {what: table}, source, (), 0)
        if what not in known:
            entries.fail(
                top,
                None if isinstance(table, dict) else what,
                "unknown-key",
                f"'{what}' is not a table of a model file",
                read=what,
                expected=", ".join(known),
                advice=did_you_mean(what, known),
            )
            _relocate(entries, source.place((what,)), source)
            continue
        if not isinstance(table, dict):
            entries.fail(
                top,
                what,
                "type",
                f"'{what}' must be a table",
                read=str(table),
                expected=f"[{what}] and lines under it",
            )
            continue
        if what == "model":
            entry = Entry("model", "model", table, source, ("model",))
            if entries.model is not None:
                _double(entries, entry, entries.model)
            elif _check(entries, entry, schema()["$defs"]["model"]):
                entries.model = entry
            continue
        for name, item in table.items():
            entry = Entry(what, name, {}, source, (what, name))
            if not _NAME.match(name):
                _bad_name(entries, entry)
                continue
            if what == "rules":
                if _typed(entries, top, what, item, known["rules"]["additionalProperties"], name):
                    rule = Entry("rule", name, {name: item}, source, ("rules",))
                    if name in entries.rules:
                        _double(entries, rule, entries.rules[name])
                    entries.rules.setdefault(name, rule)
                continue
            if not isinstance(item, dict):
                entries.fail(
                    Entry(what, name, {name: item}, source, (what,)),
                    name,
                    "type",
                    f"'{what}.{name}' must be a table",
                    read=str(item),
                    expected=f"[{what}.{name}] and lines under it",
                )
                continue
            entry = Entry(what, name, item, source, (what, name))
            if (what, name) in seen and (
                what != "part" or (set(item) - {"size"} and set(seen[what, name].fields) - {"size"})
            ):
                _double(entries, entry, seen[what, name])
                continue
            _check(entries, entry, schema()["$defs"][what])
            if (what, name) not in seen or set(item) - {"size"}:
                seen[what, name] = entry
                getattr(entries, _LISTS[what]).append(entry)
            if what == "part":
                _sizes(entries, entry)


def _relocate(entries: Entries, place: Place, source: Source) -> None:
    """Puts the place of the last problem right where its entry had none."""
    last = entries.problems.pop()
    entries.problems.append(
        Problem(
            last.code,
            last.headline,
            place,
            last.read,
            last.expected,
            last.advice,
            source.line(place.line),
            last.span,
            last.severity,
        )
    )


def _sizes(entries: Entries, part: Entry) -> None:
    sizes = part.fields.get("size", {})
    if not isinstance(sizes, dict):
        return
    definition = schema()["$defs"]["size"]
    for name, item in sizes.items():
        path = (*part.path, "size", name)
        bare = not isinstance(item, dict)
        fields = {"full": item} if bare else item
        entry = Entry("size", name, fields, part.source, path, part=part.name, bare=bare)
        if not _NAME.match(name):
            _bad_name(entries, entry)
        elif _check(entries, entry, definition):
            entries.sizes.append(entry)


def _csv(entries: Entries, table: CsvFile) -> None:
    properties = schema()["$defs"]["size"]["properties"]
    known = ("part", "size", *properties)
    for heading in table.headings:
        if heading not in known:
            entries.problems.append(
                Problem(
                    "unknown-column",
                    f"'{heading}' is no column of a table of sizes",
                    Place(table.source.file, 1),
                    heading,
                    ", ".join(known),
                    did_you_mean(heading, known),
                    table.source.line(1),
                )
            )
    for needed in ("part", "size"):
        if needed not in table.headings:
            entries.problems.append(
                Problem(
                    "missing-column",
                    f"the table has no column '{needed}'",
                    Place(table.source.file, 1),
                    ", ".join(table.headings),
                    "columns part, size and what is known of each size",
                    "add the column",
                    table.source.line(1),
                )
            )
            return
    for line, cells in table.rows:
        fields = {k: v for k, v in cells.items() if k in properties and v != ""}
        entry = Entry("size", cells["size"], fields, table.source, (), line, cells["part"])
        for key in ("part", "size"):
            if not _NAME.match(cells[key]):
                _bad_name(entries, Entry("size", cells[key], cells, table.source, (), line), key)
                break
        else:
            if _check(entries, entry, schema()["$defs"]["size"]):
                entries.sizes.append(entry)


def _bad_name(entries: Entries, entry: Entry, key: str | None = None) -> None:
    entries.fail(
        entry,
        key,
        "name",
        f"'{entry.name[:60]}' cannot be a name",
        read=entry.name,
        expected="lower-case letters, digits and _, a letter first",
        advice="put the free wording into title",
    )


def _double(entries: Entries, entry: Entry, first: Entry) -> None:
    what = entry.what if entry.what == "model" else f"{entry.what} '{entry.name}'"
    entries.fail(
        entry,
        None,
        "double",
        f"{what} stands twice; first at {first.place()}",
        read=entry.name,
        expected="each name once",
        advice="rename one or take it out",
    )


def _check(entries: Entries, entry: Entry, definition: dict[str, Any]) -> bool:
    """Whether all fields are known and of the right type. What is not is reported."""
    good = True
    properties = definition["properties"]
    for key, value in entry.fields.items():
        if key not in properties:
            good = False
            entries.fail(
                entry,
                key,
                "unknown-key",
                f"'{key}' is not known in {_where(entry)}",
                read=key,
                expected=", ".join(properties),
                advice=did_you_mean(key, properties),
            )
        elif not _typed(entries, entry, key, value, properties[key]):
            good = False
    for key in definition.get("required", ()):
        if key not in entry.fields:
            good = False
            entries.fail(
                entry,
                None,
                "missing-key",
                f"{_where(entry)} has no '{key}'",
                expected=f"{key} = … ({properties[key].get('description', '')})",
                advice="add the line",
            )
    return good


def _where(entry: Entry) -> str:
    if entry.what == "size":
        return f"size {entry.part}.{entry.name}"
    return "[model]" if entry.what == "model" else f"[{entry.what}.{entry.name}]"


_JSON: dict[str, Callable[[Any], bool]] = {
    "string": lambda v: isinstance(v, str) and not isinstance(v, Number),
    "number": lambda v: isinstance(v, Number) or (isinstance(v, int) and not isinstance(v, bool)),
    "integer": lambda v: isinstance(v, int) and not isinstance(v, bool),
    "boolean": lambda v: isinstance(v, bool),
    "array": lambda v: isinstance(v, list),
    "object": lambda v: isinstance(v, dict),
}
_WORDS = {
    "string": "text in quotes",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "array": "a list in square brackets",
    "object": "a table",
}


def _alternatives(rule: dict[str, Any]) -> Iterator[dict[str, Any]]:
    if "$ref" in rule:
        yield schema()["$defs"][rule["$ref"].rsplit("/", 1)[1]]
    for item in rule.get("oneOf", ()):
        yield from _alternatives(item)
    types = rule.get("type", ())
    for name in [types] if isinstance(types, str) else types:
        yield {**rule, "type": name}


def _typed(
    entries: Entries, entry: Entry, key: str, value: Any, rule: dict[str, Any], label: str = ""
) -> bool:
    options = [option for option in _alternatives(rule) if option.get("type") in _JSON]
    for option in options:
        if entry.line and option["type"] in ("integer", "boolean", "array"):
            return True  # a CSV cell is text; its own reader looks at it
        if not _JSON[option["type"]](value):
            continue
        if option["type"] == "array":
            items = option.get("items", {})
            if not all(isinstance(item, str) for item in value):
                break
            pattern = items.get("pattern")
            if pattern and not all(re.match(pattern, item) for item in value):
                break
        if option["type"] == "integer" and value < option.get("minimum", value):
            break
        allowed = option.get("enum")
        if allowed and value not in allowed:
            entries.fail(
                entry,
                key,
                "not-known",
                f"'{str(value)[:60]}' is not known for {label or key}",
                read=str(value),
                expected=", ".join(allowed),
                advice=did_you_mean(str(value), allowed),
            )
            return False
        return True
    expected = " or ".join(dict.fromkeys(_WORDS[option["type"]] for option in options))
    entries.fail(
        entry,
        key,
        "type",
        f"{label or key} cannot be {_said(value)}",
        read=str(value),
        expected=expected,
        advice=rule.get("description", ""),
    )
    return False


def _said(value: Any) -> str:
    for name, test in _JSON.items():
        if test(value):
            return _WORDS[name]
    return f"a {type(value).__name__}"
