"""The check of an entry's fields against the schema: what is known, and in which form."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from scaler.problems import UNSEEN, shorten, suggest, unseen_name
from scaler.reading import shapes
from scaler.reading.entries import Entries, Entry
from scaler.reading.toml_lines import KeyPath


def checked(entries: Entries, entry: Entry) -> Entry:
    """The entry with the fields that are known and of the right kind; the others are reported."""
    shape = shapes.shape(entry.what)
    wrong: set[str] = set()
    for key, value in entry.fields.items():
        rule = shape.fields.get(key)
        if rule is None:
            wrong.add(key)
            _unknown_key(entries, entry, (key,), shape.fields)
        elif type(value) is str and (rule.plain or value in rule.one_of) and value.isprintable():
            continue
        elif not allowed(entries, entry, (key,), rule, value):
            wrong.add(key)
    for key in shape.required:
        if key not in entry.fields:
            _missing(entries, entry, None, key, shape.fields[key])
    if not wrong:
        return entry
    fields = {key: value for key, value in entry.fields.items() if key not in wrong}
    return replace(entry, fields=fields, wrong=frozenset(wrong))


_HOW = {
    "string": 'put it in quotes: {} = "…"',
    "number": "write the figure without quotes: {} = 2",
    "integer": "write the figure without quotes: {} = 2",
    "boolean": "write it without quotes: {} = true",
    "array": 'write a list: {} = ["…", "…"]',
    "object": "write a table: {} = {{ … }}",
}


def _where(entry: Entry) -> str:
    if entry.what == "size":
        return f"size {entry.part}.{entry.name}"
    if entry.what in ("model", "rule"):
        return "[model]" if entry.what == "model" else "[rules]"
    return f"[{entry.what}.{entry.name}]"


def _unknown_key(
    entries: Entries, entry: Entry, key: tuple[str, ...], known: Mapping[str, object]
) -> None:
    mark = entry.source.mark_key((*entry.path, *key)) if entry.table is None else entry.mark(key)
    around = f"{key[0]} of " if len(key) > 1 else ""
    entries.fail(
        entry,
        key,
        "unknown-key",
        f"'{shorten(key[-1], 60)}' is not known in {around}{_where(entry)}",
        expected=", ".join(known),
        advice=suggest(key[-1], known, "take it out, or put it into title, why or note"),
        mark=mark,
    )


def _missing(
    entries: Entries, entry: Entry, key: str | None, missing: str, rule: shapes.Field
) -> None:
    around = f"{key} of " if key else ""
    entries.fail(
        entry,
        key,
        "missing-key",
        f"{around}{_where(entry)} has no '{missing}'",
        read="",
        expected=f"{missing} = … ({rule.description})",
        advice=f"write {missing} = … into it",
    )


def allowed(
    entries: Entries, entry: Entry, key: tuple[str, ...], rule: shapes.Field, value: Any
) -> bool:
    """Whether a value has one of the forms that its field may take; what is wrong is reported."""
    kind = shapes.kind_of(value)
    label = f"{key[-1]} of {_where(entry)}" if entry.what != "rule" else f"the rule {key[-1]}"
    form = next(
        (f for f in rule.forms if f.type == kind or (f.type == "number" and kind == "integer")),
        None,
    )
    if form is None:
        expected = f"{rule.words} ({rule.description})" if rule.description else rule.words
        headline = f"{label} cannot be {shapes.called(value)}"
        _wrong(entries, entry, key, headline, expected, _HOW[rule.forms[0].type].format(key[-1]))
    elif shapes.too_long(value):
        headline = f"{label}: a number of very many digits"
        expected = f"at most {shapes.LONGEST_NUMBER} digits"
        _wrong(entries, entry, key, headline, expected, "look at the number again")
    elif form.enum and value not in form.enum:
        entries.fail(
            entry,
            key,
            "not-known",
            f"{label}: '{shorten(value, 60)}' is not known",
            read=value,
            expected=", ".join(form.enum),
            advice=suggest(value, form.enum, "write one of these"),
        )
    elif form.minimum is not None and value < form.minimum:
        headline = f"{label} is {value}"
        _wrong(entries, entry, key, headline, f"{form.minimum} or more", "look at the figure again")
    elif form.type == "array":
        return _items(entries, entry, key, form, label, value)
    elif form.fields is not None:
        return _inner(entries, entry, key, form, value)
    elif kind == "string":
        return seen(entries, entry, key, label, value)
    else:
        return True
    return False


def seen(entries: Entries, entry: Entry, key: KeyPath, label: str, text: str) -> bool:
    """Whether all of a text shows as it is; a character that does something else is reported."""
    odd = None if text.isprintable() else UNSEEN.search(text)
    if odd is None:
        return True
    headline = f"{label} holds {unseen_name(odd.group())}"
    _wrong(entries, entry, key, headline, "plain text", "take it out of the text")
    return False


def _wrong(
    entries: Entries, entry: Entry, key: KeyPath, headline: str, expected: str, advice: str
) -> None:
    entries.fail(entry, key, "type", headline, expected=expected, advice=advice)


def _items(
    entries: Entries,
    entry: Entry,
    key: tuple[str, ...],
    form: shapes.Form,
    label: str,
    value: list[Any],
) -> bool:
    good = True
    for number, item in enumerate(value):
        if shapes.kind_of(item) != "string":
            headline = f"{label}: one of the list is {shapes.called(item)}"
            advice = "put each item of the list in quotes"
            _wrong(entries, entry, (*key, number), headline, "text in quotes", advice)
        elif form.item is not None and not form.item.fullmatch(item):
            headline = f"{label}: '{shorten(item, 60)}' cannot be a name"
            entries.fail(
                entry,
                (*key, number),
                "name",
                headline,
                expected="lower-case letters, digits and _",
                advice="write left, right or no_1",
            )
        elif seen(entries, entry, (*key, number), label, item):
            continue
        good = False
        if number > 100:
            break  # enough has been said
    return good


def _inner(
    entries: Entries, entry: Entry, key: tuple[str, ...], form: shapes.Form, value: dict[str, Any]
) -> bool:
    fields = form.fields or {}
    good = True
    for name, item in value.items():
        if name not in fields:
            good = False
            _unknown_key(entries, entry, (*key, name), fields)
        else:
            good &= allowed(entries, entry, (*key, name), fields[name], item)
    for name in form.required:
        if name not in value:
            good = False
            _missing(entries, entry, key[0], name, fields[name])
    return good
