"""Python's search for unused cycles of objects, put off while very many records are made."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager

MOST_OWED = 2_000_000
"""Objects that may have been made without a search before one is made up for."""
_owed = 0


@contextmanager
def put_off() -> Iterator[None]:
    """No such search inside the block, and none of all that was made in it just after; as it was
    afterwards.

    A model's records hold no cycles, and a check holds few for very many objects; the search looks
    at all of them again and again while they are made, and once more after that: a third of the
    time of a check of 20,000 sizes. What is made is put with what has been searched before. So
    that nothing piles up, all is searched once in a while, when very many objects have been made.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            _keep()
            gc.enable()


def _keep() -> None:
    """Counts the new objects as searched, or searches all where too many were not."""
    global _owed
    _owed += gc.get_count()[0]
    if _owed > MOST_OWED:
        _owed = 0
        gc.collect()
    elif not gc.get_freeze_count():  # else someone else has set objects aside, who wants them so
        gc.freeze()
        gc.unfreeze()
