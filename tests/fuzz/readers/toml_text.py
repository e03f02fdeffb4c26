"""The text of one TOML file: what tomllib reads, where each key and value stands, where it stopped."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator

from readers import example, text_of, wrong_cases
from scaler.problems import Problem, render_full, render_line
from scaler.reading.toml_lines import Source
from scaler.reading.toml_plain import read_plain
from scaler.reading.toml_text import parse_toml

LONGEST = 1500
INPUTS = 100_000
WORDS = (
    "[part.", "[model]", "]", "[[", "]]", "{", "}", "=", '"', "'", '"""', "'''", "\\", "\n", ".", ",", "#", "1",
    "true", "1979-05-27T07:32:00Z", "07:32:00", "inf", "nan", "-0", "1_000", "0x", "1e5", "\\u0000",
    "\\U0010ffff", "\ufeff", "\r\n", "\t", "size.bore", "keep", "а",
)  # fmt: skip


def read(data: bytes) -> object:
    """A file as plain data or a problem; and the place of each of its keys and values."""
    source = Source("fuzz.toml", text_of(data).replace("\r\n", "\n").replace("\r", "\n"))
    plain = read_plain(source.text, str)
    if plain is not None:
        said = tomllib.loads(source.text, parse_float=str)
        assert plain[0] == said, "the quick reader reads something else"
    found = parse_toml(source)
    if isinstance(found, Problem):
        return render_full(found), render_line(found)
    done: list[object] = []
    for key, value in found.data.items():
        done += [source.mark_key((key,)), source.mark_value((key,))]
        if isinstance(value, dict):
            for inner in value:
                done += [source.mark_key((key, inner)), source.mark_value((key, inner))]
        elif isinstance(value, list):
            done += [source.mark_value((key, number)) for number in range(len(value))]
    return done


def seeds() -> Iterator[bytes]:
    """The shipped models' files and the cases of bad input."""
    for data in (*example("pattern_d").values(), *example("starter").values()):
        yield data[:LONGEST]
    for files, _ in wrong_cases():
        for name, data in files.items():
            if name.endswith(".toml"):
                yield data
