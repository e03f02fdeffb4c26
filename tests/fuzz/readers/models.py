"""Whole model folders: several TOML files, CSV stand-ins, a shop list, choices and readings.

An input holds the files one after another, each after a line ``=== name``. What can be read is also
reduced and checked.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator

import scaler
from readers import example, folder, joined, parted, wrong_cases
from scaler.problems import InputError, render_full, render_line
from scaler.report import csv_table, text_table

LONGEST = 4096
INPUTS = 40_000
NAMES = ("model.toml", "parts.toml", "more.toml", "more.csv", "drawer.csv", "shelf.csv",
         "choices.csv", "readings.csv")  # fmt: skip
WORDS = (
    "[part.", "[pair.", "[condition.", "[drawing.", "[model]", "[rules]", "[overrule]", "[chain.", "size.",
    "full = ", "kind = ", "rule = ", "limits = ", "keep = ", "why = ", "inner = ", "outer = ", "fit = ",
    "basis = ", "include = ", "shop = ", "copies = ", "count = ", "material = ", "service = ", "state = ",
    "scale = ", "title = ", "track = ", "governs = ", '"1:8"', '"external"', '"internal"', '"slot"', '"depth"',
    '"position"', '"thread"', '"teeth"', '"angle"', '"pressure"', '"lifting"', '"made"', '"bought"', '"reamed"',
    '"turned"', '"H7/g6"', '"2 BA"', '"close running"', '"both limits"', "axle.journal", "bush.bore", "on = ",
    "equation = ", "reach = ", "weight = ", "must = true", "from = ", "at = ", "\n", "=== ", "a.x", "'1 mm'",
    "choose", "undo", "reading", "[option.", "[model.track]", "1e999999", "nan", "true", "{ ", " }",
)  # fmt: skip


def read(data: bytes) -> object:
    """A model folder into records, its sizes and its verdicts; else its problems, rendered."""
    place = folder() / "model"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    for name, content in parted(data):
        if name in NAMES:
            (place / name).write_bytes(content)
    try:
        model = scaler.load(place)
    except InputError as error:
        return _told(error)
    try:
        checked = scaler.check(model)
    except InputError as error:
        return _told(error)
    return len(model.sizes), str(checked.as_dict())[:10], csv_table, text_table


def _told(error: InputError) -> list[str]:
    return [render_full(p) + render_line(p) for p in error.problems]


def seeds() -> Iterator[bytes]:
    """The starter, and the cases of bad input."""
    starter = {name: data for name, data in example("starter").items() if name in NAMES}
    yield joined(starter)
    for files, _ in wrong_cases():
        yield joined({name: data for name, data in files.items() if name in NAMES})
    yield joined(
        {
            "model.toml": b'[model]\ntitle = "t"\nscale = "1:8"\ninclude = ["more.csv"]\n[part.axle]\n'
            b'size.journal = "1 in"\n[part.bush]\nsize.bore = "1 in"\n'
            b'[pair.p]\ninner = "axle.journal"\nouter = "bush.bore"\nfit = "close running"\n'
            b'[condition.c]\nkeep = "bush.bore - axle.journal >= 0"\nwhy = "w"\n',
            "more.csv": b"part,size,full,kind,rule\nbush,length,2 in,length,turned\n",
            "readings.csv": b"time,action,size,copy,value,instrument,note\n"
            b"t,reading,axle.journal,,3.1 mm,micrometer,\n",
            "choices.csv": b"time,action,size,value,method,row,note\nt,choose,bush.bore,3.2 mm,,,\n",
        }
    )
