"""What a model prefers, and what it forbids: which rows a word means, and how they then rank.

A word is ``metric`` or ``inch`` (the unit that a row's table prints it in), ``shelf`` (what is on
the shop list), the name of a table, a row's designation, or a size such as ``7/32 in``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

from scaler.measures.lengths import LengthError, parse_length
from scaler.records import Wish

if TYPE_CHECKING:
    from scaler.settling.rows import Candidate

SHELF = "shelf"
UNITS = ("metric", "inch")
MOST_WORDS = 8
"""Words of one ``prefer``: each counts for more than all after it together."""


@lru_cache(maxsize=4096)
def squeezed(text: str) -> str:
    """A name without regard to capitals, blanks and points: ``2 B.A.`` is ``2ba``."""
    return "".join(text.lower().split()).rstrip(".").replace("b.a", "ba")


@lru_cache(maxsize=1024)
def size_of(word: str) -> Fraction | None:
    """The size that a word states [mm]; None where it states none."""
    try:
        return parse_length(word, None).mm
    except LengthError:
        return None


def means(word: str, row: Candidate) -> bool:
    """Whether a word means a row. A size does not mean a thread: its name does."""
    if word == SHELF:
        return row.shop
    if word in UNITS:
        return row.unit == word
    if word == row.table or squeezed(word) == squeezed(row.designation):
        return True
    return not row.table.startswith("threads_") and size_of(word) == row.value


def first_that_means(wishes: Iterable[Wish], row: Candidate) -> Wish | None:
    """The first of the wishes that means a row."""
    return next((wish for wish in wishes if means(wish.word, row)), None)


def standing(prefer: Sequence[Wish], row: Candidate) -> tuple[int, int]:
    """Where a row stands by what is preferred, less is better: (not on the shelf, rank).

    What is on the shelf comes first, unless the words put something before it.
    """
    off_shelf = int(not row.shop)
    if any(wish.word == SHELF for wish in prefer[1:]):
        off_shelf = 0
    rank = 0
    for wish in prefer:
        rank = 2 * rank + int(not means(wish.word, row))
    return off_shelf, rank
