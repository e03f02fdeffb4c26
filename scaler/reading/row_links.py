"""The phrase by which a size takes a column of another size's row: ``tapping hole of bolt.thread``."""

from __future__ import annotations

import re

from scaler.expressions import Name, Node
from scaler.problems import shorten
from scaler.reading.grammar import GrammarError, methods

_LEADER = re.compile(r"[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*")
_COLUMN = re.compile(r"(?:[A-Za-z][A-Za-z0-9-]*)(?: [a-z0-9]+)*")


def linked(name: str, leader: str, *, plain: bool) -> tuple[str, str, Node]:
    """Name, column and size named of a method such as ``tapping hole of bolt.thread``.

    Parameters: plain : it stands without a step and without up or down.
    Raises: GrammarError.
    """
    if not _LEADER.fullmatch(leader):
        raise GrammarError(
            leader,
            f"'{shorten(leader, 60)}' where the size whose row counts was looked for",
            "a name part.size",
            "write tapping hole of bolt.thread",
        )
    if not plain:
        raise GrammarError(
            name,
            f"'{shorten(name, 60)}' is what the row gives, neither cut to a step nor rounded",
            "at most a reach and limits after it",
            "leave the step, up or down out",
        )
    row = methods().get(name)
    if row is not None and row.text("size_column"):
        return row.text("designation"), row.text("size_column"), Name(leader)
    if row is not None or not _COLUMN.fullmatch(name):
        raise GrammarError(
            name,
            f"'{shorten(name, 60)}' is no column of a row",
            "what the other size's row gives",
            "write tapping hole, across flats or another column of its table",
        )
    return name, name.lower().replace(" ", "_").replace("-", "_"), Name(leader)
