"""A person's own catalogue tables: the description (JSON) and the CSV files that it names."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator

from readers import folder, joined, parted
from scaler import catalogue
from scaler.problems import InputError, render_full

LONGEST = 2000
INPUTS = 40_000
WORDS = (
    '"resources"', '"name"', '"path"', '"schema"', '"fields"', '"type"', '"string"', '"number"', '"integer"',
    '"boolean"', '"exact"', '"fraction"', '"constraints"', '"required"', '"serves"', '"ground bar"', "[", "]",
    "{", "}", ":", ",", "null", "true", "NaN", "Infinity", "1e999999", "1/0", "designation", "source", "mine",
    "builder", "diameter_mm", "=== bars.csv\n", "=== datapackage.json\n", "\n", '"', "1 3/8", "../", "\\u0000",
    "trade fits", '"unit"', '"title"', "\u2028",
)  # fmt: skip


def read(data: bytes) -> object:
    """All tables that an own description names, each cell of them, and what they serve."""
    place = folder() / "tables"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    for name, content in parted(data):
        if name in ("datapackage.json", "bars.csv", "fits.csv"):
            (place / name).write_bytes(content)
    before = os.environ.get("SCALER_TABLES")
    os.environ["SCALER_TABLES"] = str(place)
    # only what depends on the person's own tables is forgotten: the shipped ones are slow to read
    forgotten = (catalogue._resources, catalogue.serving, catalogue.table)
    for cached in forgotten:
        cached.cache_clear()
    try:
        done: list[object] = []
        for name in catalogue.names():
            if "folder" in catalogue._resources()[name]:
                table = catalogue.table(name)
                done += [[row[column] for column in table.columns] for row in table.rows]
        return [*done, catalogue.serving("ground bar"), catalogue.serving("trade fits")]
    except InputError as error:
        return [render_full(problem) for problem in error.problems]
    finally:
        for cached in forgotten:
            cached.cache_clear()
        if before is None:
            del os.environ["SCALER_TABLES"]
        else:
            os.environ["SCALER_TABLES"] = before


PACKAGE = b"""{"resources": [{"name": "my_bars", "title": "Bars", "path": "bars.csv",
"serves": ["ground bar"], "schema": {"fields": [{"name": "designation", "type": "string"},
{"name": "diameter_mm", "type": "number", "constraints": {"required": true}},
{"name": "diameter_in", "type": "string", "exact": "fraction"},
{"name": "count", "type": "integer"}, {"name": "kept", "type": "boolean"},
{"name": "source", "type": "string"}, {"name": "place", "type": "string"}]}}]}"""
BARS = b"""designation,diameter_mm,diameter_in,count,kept,source,place
1/4,6.35,1/4,3,yes,builder,my drawer
1 3/8,,1 3/8,,no,builder,rack
"""


def seeds() -> Iterator[bytes]:
    """A good description with a good table, and ones with each sort of fault."""
    yield joined({"datapackage.json": PACKAGE, "bars.csv": BARS})
    yield joined({"datapackage.json": PACKAGE, "bars.csv": BARS.replace(b",,1 3/8", b",34,1 3/8")})
    yield joined({"datapackage.json": PACKAGE})
    for old, new in (
        (b"6.35", b"1/0"), (b"6.35", b"1e9"), (b"6.35", b"nan"), (b"bars.csv", b"../x.csv"),
        (b'["ground bar"]', b"5"), (b'"my_bars"', b"[]"), (b"{\"required\": true}", b"[]"),
        (b"my_bars", b"drills_metric"), (b'{"resources":', b'[{"resources":'), (b",my drawer", b""),
        (b'"string"', b"7"), (b'"bars.csv"', b"12"),
    ):  # fmt: skip
        yield joined(
            {"datapackage.json": PACKAGE.replace(old, new), "bars.csv": BARS.replace(old, new)}
        )
