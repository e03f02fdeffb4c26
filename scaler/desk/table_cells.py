"""What a table is made of once it is read: cells with their address, whatever file they came from."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass
from typing import Literal

MAX_BYTES = 32 * 1024 * 1024
MAX_ROWS = 100_000
MAX_COLUMNS = 500
MAX_CELLS = 500_000

Sort = Literal["text", "number", "date", "error", "formula", "blank", "merged"]


@dataclass(frozen=True, slots=True)
class Cell:
    """One cell: what it shows, what sort it is, its row and column from 1, and its address."""

    text: str
    sort: Sort
    row: int
    column: int
    address: str
    date: datetime.date | None = None


Grid = dict[int, dict[int, Cell]]


def column_letters(column: int) -> str:
    """The letters of a column: 1 is A, 27 is AA.

    >>> column_letters(1), column_letters(28)
    ('A', 'AB')
    """
    text = ""
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(65 + rest) + text
    return text


def address_of(row: int, column: int) -> str:
    """A cell's address.

    >>> address_of(4, 28)
    'AB4'
    """
    return f"{column_letters(column)}{row}"


def number_text(value: float) -> str:
    """A workbook's number as its decimal text: 15 figures, as spreadsheets show and keep them.

    >>> number_text(0.1 + 0.2), number_text(12.0), number_text(0.625)
    ('0.3', '12', '0.625')
    """
    if isinstance(value, int):
        return str(value) if value.bit_length() < 1024 else "a number out of all bounds"
    if not math.isfinite(value):
        return "no number"
    from decimal import Decimal

    text = format(Decimal(repr(float(format(value, ".15g")))), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
