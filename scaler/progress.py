"""How far long work has got, told to whoever listens.

Work that may take more than a second goes through its steps with :func:`told`. Nothing is shown here: the command line listens with :func:`listening` and shows
it; from Python nobody listens unless asked to.

>>> said = []
>>> with listening(lambda what, done, whole: said.append((what, done, whole))):
...     total = sum(told([3, 4], "figures"))
>>> said
[('figures', 0, 2), ('figures', 1, 2), ('figures', 2, 2)]
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

T = TypeVar("T")
Listener = Callable[[str, int, int], None]

_listener: ContextVar[Listener | None] = ContextVar("listener", default=None)


@contextmanager
def listening(listener: Listener | None) -> Iterator[None]:
    """While this lasts ``listener(what, done, whole)`` hears of every step; None: nobody does."""
    token = _listener.set(listener)
    try:
        yield
    finally:
        _listener.reset(token)


def told(items: Collection[T], what: str) -> Iterator[T]:
    """The items one by one; the listener hears of each that is done.

    While they are worked on, steps inside their steps are not told: only the outermost count.
    """
    listener = _listener.get()
    if listener is None:
        yield from items
        return
    whole = len(items)
    _listener.set(None)
    try:
        listener(what, 0, whole)
        for done, item in enumerate(items, 1):
            yield item
            listener(what, done, whole)
    finally:
        _listener.set(listener)
