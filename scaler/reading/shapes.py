"""What the published JSON Schema of the model files allows, made ready for checking field by field.

The schema (``model.schema.json``) is the only description of tables and keys; the reader takes its
keys, types, allowed words and help from it.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files as resources
from typing import Any

from scaler.reading.toml_text import Number

LONGEST_NUMBER = 40
"""Characters of a number that stands without quotes."""
LONGEST_NAME = 100
"""Characters of the name of a part, size, pair, condition, option, rule or drawing."""
_NAME = re.compile(r"[a-z][a-z0-9_]*")
_WORDS = {
    "string": "text in quotes",
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "array": "a list in square brackets",
    "object": "a table",
}


@dataclass(frozen=True, slots=True)
class Form:
    """One form that a value may take."""

    type: str
    enum: tuple[str, ...]
    minimum: int | None
    item: re.Pattern[str] | None
    fields: Mapping[str, Field] | None
    required: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Field:
    """The forms that a field may take, in words what they are, and what the field is for.

    ``plain`` where any text will do, else ``one_of`` holds the texts that will.
    """

    forms: tuple[Form, ...]
    words: str
    description: str
    plain: bool
    one_of: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Shape:
    """The fields of one sort of table."""

    fields: Mapping[str, Field]
    required: tuple[str, ...]


@cache
def schema() -> dict[str, Any]:
    """The JSON Schema of the model files, as published with the package."""
    text = resources("scaler").joinpath("model.schema.json").read_text(encoding="utf-8")
    result: dict[str, Any] = json.loads(text)
    return result


@cache
def tables() -> tuple[str, ...]:
    """The tables that a model file may hold."""
    return tuple(schema()["properties"])


@cache
def shape(what: str) -> Shape:
    """The shape of a model, drawing, part, size, pair, condition or option."""
    definition = schema()["$defs"][what]
    fields = {key: _field(rule) for key, rule in definition["properties"].items()}
    return Shape(fields, tuple(definition.get("required", ())))


@cache
def rule_field() -> Field:
    """What a line of [rules] may hold."""
    return _field(schema()["properties"]["rules"]["additionalProperties"])


def _field(rule: Mapping[str, Any]) -> Field:
    forms = tuple(_forms(rule))
    words = " or ".join(dict.fromkeys(_WORDS[form.type] for form in forms))
    plain = any(form.type == "string" and not form.enum for form in forms)
    one_of = frozenset(word for form in forms if form.type == "string" for word in form.enum)
    return Field(forms, words, rule.get("description", ""), plain, one_of)


def _forms(rule: Mapping[str, Any]) -> Iterator[Form]:
    if "$ref" in rule:
        rule = schema()["$defs"][rule["$ref"].rsplit("/", 1)[1]]
    for other in rule.get("oneOf", ()):
        yield from _forms(other)
    types = rule.get("type", ())
    for name in [types] if isinstance(types, str) else types:
        pattern = rule.get("items", {}).get("pattern")
        inner = rule.get("properties")
        yield Form(
            name,
            tuple(rule.get("enum", ())),
            rule.get("minimum"),
            re.compile(pattern) if pattern else None,
            None if inner is None else {key: _field(value) for key, value in inner.items()},
            tuple(rule.get("required", ())),
        )


def kind_of(value: object) -> str:
    """The JSON type of a value that tomllib read; '' for dates and times, which have none."""
    if isinstance(value, str):
        return "number" if isinstance(value, Number) else "string"
    if isinstance(value, bool):
        return "boolean"
    if isinstance(value, int):
        return "integer"
    if isinstance(value, list):
        return "array"
    return "object" if isinstance(value, dict) else ""


def called(value: object) -> str:
    """What a value is, in words: text in quotes, a number, a date …"""
    return _WORDS.get(kind_of(value), "a date or time of day")


def too_long(value: object) -> bool:
    """Whether a number without quotes has more digits than any drawing needs."""
    if isinstance(value, Number):
        return len(value) > LONGEST_NUMBER
    return isinstance(value, int) and abs(value) >= 10**LONGEST_NUMBER


@lru_cache(maxsize=16384)
def is_name(text: str) -> bool:
    """Whether a text can name a part, size, pair, condition, option, rule or drawing."""
    return len(text) <= LONGEST_NAME and _NAME.fullmatch(text) is not None
