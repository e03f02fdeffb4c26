"""The tool's own logs, as they may come back: readings and choices of the starter model."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from readers import text_of
from scaler import examples
from scaler.problems import Problem, render_full
from scaler.reading import logs, readings_log
from scaler.reading.csv_text import parse_csv
from scaler.reading.toml_lines import Source
from scaler.records import Model

LONGEST = 800
INPUTS = 80_000
WORDS = (
    "time,action,size,copy,value,instrument,note", "time,action,size,value,method,row,note", "reading", "undo",
    "choose", ",", ";", "\n", '"', '""', "mm", "in", "thou", "plunger.diameter", "barrel.bore", "micrometer", "#",
    "1e999999", "nan", "-1 mm", "1/0 mm", "5 mm", "\ufeff", "turned", "reamed", "30 deg", "\u2028", "\x1c",
)  # fmt: skip


@cache
def model() -> Model:
    """The model whose logs are read."""
    return examples.load("starter")


def read(data: bytes) -> object:
    """The readings and the choices that stand; the quick way must agree with the thorough one."""
    text = text_of(data).replace("\r\n", "\n").replace("\r", "\n")
    source, known = Source("readings.csv", text), model()
    problems: list[Problem] = []
    standing, found = readings_log.histories(source, known.sizes, known.parts)
    problems += found
    quick = readings_log.plain_readings(source, known.sizes, known.parts)
    if quick is not None:
        assert quick == {key: rows[-1] for key, rows in standing.items()}
    readings_log.read_readings(source, known.sizes, known.parts)
    table, found_too = parse_csv(source)
    problems += found_too
    chosen = logs.choices(table, known.sizes, known.parts, problems)
    return chosen, [render_full(problem) for problem in problems]


def seeds() -> Iterator[bytes]:
    """Logs of readings and of choices, whole and torn."""
    sizes = list(model().sizes)
    head = "time,action,size,copy,value,instrument,note\n"
    rows = [f"2026-11-02T19:30:00Z,reading,{name},,15.82 mm,micrometer,n\n" for name in sizes[:4]]
    yield (head + "".join(rows)).encode()
    yield (head + rows[0] + rows[0].replace("reading", "undo")).encode()
    yield (head + rows[0][:40]).encode()
    yield (head.replace(",", ";") + rows[0].replace(",", ";")).encode()
    head = "time,action,size,value,method,row,note\n"
    rows = [f"2026-11-02T19:30:00Z,choose,{name},5 mm,turned,,n\n" for name in sizes[:4]]
    yield (head + "".join(rows)).encode()
    yield (head + rows[0] + rows[0].replace("choose", "undo")).encode()
    yield (head + "# remark\n\n" + rows[0].replace("5 mm", '"5 ""mm"')).encode()
