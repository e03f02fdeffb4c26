"""Shop lists: a table of what is on the shelf."""

from __future__ import annotations

from collections.abc import Iterator

from readers import example, text_of
from scaler.problems import Problem, render_full
from scaler.reading.csv_text import parse_csv
from scaler.reading.logs import shop_rows
from scaler.reading.toml_lines import Source

LONGEST = 800
INPUTS = 80_000
WORDS = (
    "family", "size", "designation", "quantity", "place", "note", ",", ";", "\t", "\n", '"', '""', "#", "thread",
    "drill", "reamer", "round bar", "2 BA", "M3", "1/4 in", "6 mm", "nan", "1e999999", "=cmd", "\ufeff", "1/0",
)  # fmt: skip


def read(data: bytes) -> object:
    """The rows of a shop list, and its problems, rendered."""
    text = text_of(data).replace("\r\n", "\n").replace("\r", "\n")
    table, problems = parse_csv(Source("shop.csv", text))
    rows: list[object] = []
    if table is not None:
        found: list[Problem] = []
        rows += shop_rows(table, found)
        problems = [*problems, *found]
    return rows, [render_full(problem) for problem in problems]


def seeds() -> Iterator[bytes]:
    """The shipped shop lists and small ones."""
    yield example("starter")["shelf.csv"]
    yield example("pattern_d")["drawer.csv"][:LONGEST]
    for text in (
        "family,size,designation,quantity,place,note\nthread,2 BA,,3,drawer,\n",
        "family;size\nround bar;1/4 in\ndrill;No. 30\n",
        'family\tsize\nreamer\t"1/4 in"\n# remark\n\n',
        'family,size,note\nround bar,"1/4""",x\n',
    ):
        yield text.encode()
