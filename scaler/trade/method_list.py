"""The methods that rules may name, as a list to look at."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from scaler import catalogue

_FROM = {
    "cut": "cut to a step",
    "row": "the shop list and tables of",
    "thread": "threads",
    "link": "the row of another size",
}


def methods(words: Sequence[str] = ()) -> list[dict[str, Any]]:
    """The methods that a rule may name, with the kinds of size each makes and where it comes from.

    ``words`` keeps those whose name, other names or family hold one of them. A ``link`` is written
    with the size whose row it takes: ``tapping hole of bolt.thread``.
    """
    found = []
    for row in catalogue.table("methods").rows:
        names = f"{row.text('designation')}; {row.text('aliases')}; {row.text('family')}".lower()
        if words and not any(word.lower() in names for word in words):
            continue
        way, family = row.text("way"), row.text("family")
        name = row.text("designation")
        found.append(
            {
                "method": f"{name} of part.size" if way == "link" else name,
                "also": row.text("aliases").replace(";", ", "),
                "makes": row.text("kinds").replace(";", ", "),
                "from": f"{_FROM[way]} {family}" if way == "row" else _FROM[way],
                "note": row.text("note"),
                "source": row.text("source"),
            }
        )
    return found
