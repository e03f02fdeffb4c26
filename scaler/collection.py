"""Python's search for unused cycles of objects, put off while very many records are made."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def put_off() -> Iterator[None]:
    """No such search inside the block; as it was afterwards.

    A model's records hold no cycles, and the search looks at all of them again and again while
    they are made: a fifth of the time of reading one of 20,000 sizes.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()
