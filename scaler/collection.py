"""Python's search for unused cycles of objects, put off while very many records are made."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def put_off(*, no_cycles: bool = False) -> Iterator[None]:
    """No such search inside the block; as it was afterwards.

    A model's records hold no cycles, and the search looks at all of them again and again while
    they are made: a fifth of the time of reading one of 20,000 sizes.

    Parameters: no_cycles : what is made in the block holds none; it is then put with what has been
        searched before, and spared the one search that would follow the block (a tenth of the time
        of reading). A search of everything looks at it as at all else.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            if no_cycles and not gc.get_freeze_count():  # what others have set aside stays aside
                gc.freeze()
                gc.unfreeze()
            gc.enable()
