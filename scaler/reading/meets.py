"""The short phrase by which a pair says which copies of its two sides go together."""

from __future__ import annotations

import re

from scaler.problems import shorten
from scaler.reading.grammar import LONGEST_METHOD, GrammarError, phrase

_COPY = re.compile(r"[a-z0-9_]+")


def parse_meets(text: str) -> tuple[tuple[str, str], ...] | None:
    """Which copies meet: ``left with no_1``; None for ``best match``. Raises GrammarError.

    >>> parse_meets("left with no_2, right with no_1")
    (('left', 'no_2'), ('right', 'no_1'))
    """
    example = "write left with no_1, right with no_2, or best match"
    body = phrase(text, "copies that meet", example, LONGEST_METHOD)
    if body == "best match":
        return None
    found = [tuple(item.split(" with ")) for item in body.split(", ")]
    for item in found:
        if len(item) != 2 or not all(_COPY.fullmatch(name) for name in item):
            said = " with ".join(item)
            raise GrammarError(
                said,
                f"'{shorten(said, 60)}' where two copies that meet were looked for",
                "a copy of the inner side, with, a copy of the outer side",
                example,
            )
    return tuple((item[0], item[1]) for item in found)
