"""The words of ``prefer`` and ``forbid`` as they stand in a model's files."""

from __future__ import annotations

from scaler.problems import shorten
from scaler.reading.context import Context, label
from scaler.reading.entries import Entry, Key
from scaler.records import Wish
from scaler.settling.wishes import MOST_WORDS, SHELF

LONGEST_WORD = 100
MUST = " must"
"""After a word of ``forbid``: no way out may lift it."""
NONE = "none"
"""Alone under ``forbid`` or ``prefer``: nothing, whatever the levels above say."""


def wishes_of(context: Context, entry: Entry, key: str) -> tuple[Wish, ...]:
    """The words of one field, each with its place; what cannot be a word is reported."""
    value = entry.fields[key]
    items: list[tuple[Key, str]] = (
        [((key, n), item) for n, item in enumerate(value)]
        if isinstance(value, list)
        else [(key, item) for item in str(value).split(";")]
    )
    found = []
    for where, text in items:
        word = " ".join(text.split())
        must = key == "forbid" and word.endswith(MUST)
        found.append(Wish(word.removesuffix(MUST) if must else word, entry.place_of(where), must))
    words = [wish.word for wish in found]
    fault = advice = ""
    if key == "prefer" and len(found) > MOST_WORDS:
        fault, advice = f"{len(found)} words", "keep those that matter most"
    elif any(len(word) > LONGEST_WORD for word in words):
        fault, advice = "a very long word", "write a row, a size, a table, metric or inch"
    elif value and not all(words):
        fault, advice = "an empty word", "take the blank one out"
    elif NONE in words and len(words) > 1:
        fault, advice = f"'{NONE}' beside other words", f"write '{NONE}' alone, or the other words"
    elif key == "forbid" and SHELF in words:
        fault, advice = "the shop list itself", "take the row out of the list, or name it here"
    if fault:
        context.entries.fail(
            entry,
            key,
            "wish",
            f"{key} of {label(entry)}: {shorten(fault, 60)}",
            expected=f"up to {MOST_WORDS} rows, sizes, tables, metric, inch"
            + (" or shelf" if key == "prefer" else ""),
            advice=advice,
        )
        return ()
    return () if words == [NONE] else tuple(wish for wish in found if wish.word)
