"""The same facts give the same model, in whatever form and order they are written."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Iterable
from fractions import Fraction as F
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import scaler
from scaler.problems import InputError, Place, Problem
from scaler.records import BasisKind, Kind, State

EXAMPLE = Path(str(files("scaler").joinpath("examples", "pattern_d")))


def write(folder: Path, texts: dict[str, str]) -> Path:
    """A model folder with these files."""
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def problems(folder: Path) -> tuple[Problem, ...]:
    """What is wrong with a model that must not be readable."""
    with pytest.raises(InputError) as caught:
        scaler.load(folder)
    return caught.value.problems


def facts(record: Any) -> Any:
    """A record without places and files: what it says, not where it was said."""
    if isinstance(record, Place):
        return None
    if dataclasses.is_dataclass(record) and not isinstance(record, type):
        return type(record).__name__, {
            field.name: facts(getattr(record, field.name))
            for field in dataclasses.fields(record)
            if field.name not in ("sources", "folder", "start", "end")
        }
    if isinstance(record, dict):
        return {key: facts(value) for key, value in record.items()}
    if isinstance(record, tuple):
        return [facts(item) for item in record]
    return record


# --------------------------------------------------------------------- the same facts in any form

HEAD = {
    "title": "Bench pump",
    "scale": "1:8",
    "work": "in",
    "limits": "ISO 2768-f",
    "track": {"standard": "IBLS", "gauge": "5 in"},
}
DRAWINGS = {"sheet_1": {"unit": "in"}, "sheet_2": {"unit": "mm", "scale": "1:4"}}
RULES = {"fine": ["turned step 0.01 mm", "ground"], "rough": "turned; milled"}
PARTS: dict[str, dict[str, Any]] = {
    "plunger": {"title": "Plunger", "material": "bronze", "drawing": "sheet_1", "service": "none"},
    "barrel": {"count": 2, "copies": ["left", "right"], "drawing": "sheet_1"},
    "lever": {"drawing": "sheet_2", "state": "part made"},
}
SIZES: dict[tuple[str, str], dict[str, str]] = {
    ("plunger", "diameter"): {"full": "2 1/4", "rule": "fine", "limits": "h9", "title": "A1"},
    ("plunger", "stroke"): {"full": "6"},
    ("plunger", "groove"): {"full": '5/16"', "kind": "slot", "reach": "0.2 mm", "weight": "2"},
    ("barrel", "bore"): {"full": "2 1/4", "limits": "0 +0.02 mm", "made": "7.15 mm"},
    ("barrel", "depth"): {"full": "8", "kind": "length", "datum": "flange", "note": "cored"},
    ("barrel", "flange_thickness"): {"full": "7/8", "standard": "flange thickness"},
    ("lever", "arm"): {"full": "120", "kind": "position", "uncertainty": "0.5 mm"},
    ("lever", "tilt_angle"): {"full": "7.5 deg", "limits": "±0.5 deg"},
    ("lever", "pin_count"): {"full": "3"},
    ("lever", "pin_hole"): {"equals": "lever.arm / 10", "between": "1 mm to 5 mm"},
    ("lever", "eye"): {"rule": "follows lever.pin_hole + '2 mm'", "kind": "internal"},
}
PAIRS: dict[str, dict[str, Any]] = {
    "plunger_in_barrel": {
        "inner": "plunger.diameter",
        "outer": "barrel.bore",
        "fit": "close running",
        "why": "it pumps",
    },
    "groove_and_pin": {
        "inner": "lever.pin_hole",
        "outer": "plunger.groove",
        "fit": "clearance at least 0",
    },
    "ring_one": {"inner": "plunger.diameter", "outer": "plunger.stroke", "fit": "at least 1 mm"},
    "ring_two": {"inner": "plunger.stroke", "outer": "plunger.diameter", "fit": "at most 1 mm"},
    "lever_in_groove": {"inner": "lever.eye", "outer": "plunger.groove", "fit": "at most 9 mm"},
}
CONDITIONS: dict[str, dict[str, Any]] = {
    "stroke_clears": {"keep": "barrel.depth - plunger.stroke >= '0.8 mm'", "must": True},
    "even": {"keep": "lever.arm == lever.arm", "within": "±0.02 mm", "basis": "both limits"},
    "play": {"of": "barrel.depth", "standard": "back to back"},
}


def quoted(text: object) -> str:
    """A value in TOML."""
    if isinstance(text, bool):
        return str(text).lower()
    if isinstance(text, dict):
        return "{ " + ", ".join(f"{k} = {quoted(v)}" for k, v in text.items()) + " }"
    if isinstance(text, list):
        return "[" + ", ".join(map(quoted, text)) + "]"
    if isinstance(text, int):
        return str(text)
    return f"'{text}'" if "'" not in str(text) else f'"{text}"'


def table(heading: str, fields: dict[str, Any]) -> str:
    """A table of its own, one line a fact."""
    return f"[{heading}]\n" + "".join(f"{k} = {quoted(v)}\n" for k, v in fields.items()) + "\n"


def size_text(part: str, size: str, fields: dict[str, str], style: str) -> str:
    """One size as a table of its own, inline or dotted."""
    heading = f"part.{part}.size.{size}"
    if style == "table":
        return table(heading, fields)
    if style == "bare" and set(fields) == {"full"}:
        return f"{heading} = {quoted(fields['full'])}\n"
    if style == "dotted":
        return "".join(f"{heading}.{k} = {quoted(v)}\n" for k, v in fields.items())
    return f"{heading} = {quoted(fields)}\n"


def csv_text(sizes: Iterable[tuple[str, str]], delimiter: str) -> str:
    """Sizes as a table of a spreadsheet."""
    columns = sorted({key for name in sizes for key in SIZES[name]})

    def cell(text: str) -> str:
        if delimiter in text or '"' in text or "\n" in text:
            return '"' + text.replace('"', '""') + '"'
        return text

    rows = [["part", "size", *columns]]
    rows += [[*name, *(SIZES[name].get(key, "") for key in columns)] for name in sizes]
    return "\n".join(delimiter.join(map(cell, row)) for row in rows) + "\n"


@st.composite
def folders(draw: Any) -> dict[str, str]:
    """The files of a model folder that say the facts above, in a random form and order."""
    names = draw(st.permutations(list(SIZES)))
    in_csv = draw(st.integers(0, len(names)))
    tables, loose = names[:in_csv], names[in_csv:]
    headed = [table(f"drawing.{name}", fields) for name, fields in DRAWINGS.items()]
    headed += [table(f"part.{name}", fields) for name, fields in PARTS.items()]
    headed += [table(f"pair.{name}", fields) for name, fields in PAIRS.items()]
    headed += [table(f"condition.{name}", fields) for name, fields in CONDITIONS.items()]
    headed += [table("rules", RULES)]
    dotted: list[tuple[str, str]] = []
    for part, size in loose:
        style = draw(st.sampled_from(["table", "bare", "dotted", "inline"]))
        text = size_text(part, size, SIZES[part, size], style)
        if style == "table":
            headed.append(text)
        else:
            dotted.append((part, text))
    count = draw(st.integers(1, 3))
    held: list[list[str]] = [[] for _ in range(count)]
    parts_in: dict[str, int] = {}
    for item in draw(st.permutations(headed)):
        held[draw(st.integers(0, count - 1))].append(item)
    # dotted sizes stand at the head of a file that says nothing else of their part
    for part, text in dotted:
        number = parts_in.setdefault(part, count + len(parts_in))
        while len(held) <= number:
            held.append([])
        held[number].append(text)
    texts = {
        f"part_{number}.toml": "".join(lines) or "# none\n" for number, lines in enumerate(held)
    }
    half = draw(st.integers(0, len(tables)))
    for name, rows in (("one.csv", tables[:half]), ("two.csv", tables[half:])):
        texts[name] = csv_text(rows, draw(st.sampled_from([",", ";", "\t"])))
    head = HEAD | {"include": draw(st.permutations(list(texts)))}
    return {"model.toml": table("model", head), **texts}


@settings(max_examples=40)
@given(folders())
def test_same_facts_same_model(
    tmp_path_factory: pytest.TempPathFactory, texts: dict[str, str]
) -> None:
    """Inline, table, dotted, CSV, one file or several, in any order: one model."""
    plain = {"model.toml": table("model", HEAD)}
    plain["model.toml"] += "".join(table(f"drawing.{n}", f) for n, f in DRAWINGS.items())
    plain["model.toml"] += table("rules", RULES)
    for name, fields in PARTS.items():
        sizes = {size: f for (part, size), f in SIZES.items() if part == name}
        plain["model.toml"] += table(f"part.{name}", {**fields, "size": sizes})
    plain["model.toml"] += "".join(table(f"pair.{n}", f) for n, f in PAIRS.items())
    plain["model.toml"] += "".join(table(f"condition.{n}", f) for n, f in CONDITIONS.items())
    wanted = scaler.load(write(tmp_path_factory.mktemp("plain"), plain))
    found = scaler.load(write(tmp_path_factory.mktemp("other"), texts))
    assert set(found.sizes) == {".".join(name) for name in SIZES} == set(wanted.sizes)
    assert facts(found) == facts(wanted)


def test_unstated_bases_do_not_hang_on_the_order(tmp_path: Path) -> None:
    """Of two unstated last cuts that would form a ring the first by name is kept."""
    for order in (["ring_one", "ring_two"], ["ring_two", "ring_one"]):
        text = table("model", {"scale": "1:8"})
        text += "[part.plunger.size]\ndiameter = '2 in'\nstroke = '6 in'\n"
        text += "".join(table(f"pair.{name}", PAIRS[name]) for name in order)
        pairs = scaler.load(write(tmp_path, {"model.toml": text})).pairs
        assert str(pairs["ring_one"].basis) == "last cut plunger.diameter"
        assert pairs["ring_two"].basis.kind is BasisKind.BOTH_LIMITS
        assert not pairs["ring_one"].basis.stated and not pairs["ring_two"].basis.stated


def test_records_of_the_facts(tmp_path: Path) -> None:
    """The facts above as records, worked out by hand."""
    text = table("model", HEAD)
    text += "".join(table(f"drawing.{n}", f) for n, f in DRAWINGS.items()) + table("rules", RULES)
    text += "".join(table(f"part.{n}", f) for n, f in PARTS.items())
    text += "".join(table(f"pair.{n}", f) for n, f in PAIRS.items())
    text += "".join(table(f"condition.{n}", f) for n, f in CONDITIONS.items())
    model = scaler.load(
        write(
            tmp_path,
            {
                "model.toml": text.replace("[model]\n", "[model]\ninclude = 'sizes.csv'\n"),
                "sizes.csv": csv_text(SIZES, ","),
            },
        )
    )
    diameter, groove = model.sizes["plunger.diameter"], model.sizes["plunger.groove"]
    assert (diameter.full, diameter.kind) == (F(9, 4) * F(127, 5), Kind.EXTERNAL)
    assert [m.text for m in diameter.rule] == ["turned step 0.01 mm", "ground"]
    assert diameter.limits is not None and diameter.limits.tolerance_class == "h9"
    assert (groove.full, groove.reach, groove.weight) == (F(5, 16) * F(127, 5), F(1, 5), F(2))
    assert model.sizes["barrel.bore"].made == F("7.15")
    assert model.sizes["barrel.bore"].state is State.MADE
    assert model.sizes["lever.eye"].state is State.PART_MADE
    arm = model.sizes["lever.arm"]  # drawn 120 mm on a sheet of 1 : 4, so 480 mm full size
    assert (arm.full, arm.uncertainty, arm.origin) == (F(480), F(1, 2), "scaled off a print")
    angle = model.sizes["lever.tilt_angle"]
    assert angle.full == F(15, 2) and angle.limits is not None and angle.limits.upper == F(1, 2)
    assert model.sizes["lever.pin_hole"].between == (F(1), F(5))
    assert model.sizes["plunger.diameter"].place == Place("sizes.csv", 2)
    assert model.conditions["play"].must and model.conditions["play"].lower is not None
    assert "barrel.flange_thickness:standard" in model.conditions
    assert model.work_unit == "in" and model.general_limits == "ISO 2768-f"


def test_twenty_thousand_sizes(tmp_path: Path) -> None:
    """20,000 sizes load in a few seconds, from TOML or from CSV, and are the same."""
    head = "[model]\nscale = '1:8'\n[drawing.sheet_1]\nunit = 'in'\n"
    rows, lines = ["part,size,full,kind,rule,title"], [head]
    for part in range(2000):
        lines.append(f"[part.p{part}]\ntitle = 'Part {part}'\n")
        for size in range(10):
            full = f"{size + 1} {part % 63 + 1}/64 in"
            rows.append(f"p{part},s{size},{full},external,turned step 0.1 mm,A{part}")
    parts = "".join(lines)
    one, two = tmp_path / "one", tmp_path / "two"
    one.mkdir()
    two.mkdir()
    write(one, {"model.toml": parts.replace("'1:8'\n", "'1:8'\ninclude = 'sizes.csv'\n", 1)})
    write(one, {"sizes.csv": "\n".join(rows) + "\n"})
    text = head
    cells = [row.split(",") for row in rows[1:]]
    for part in range(2000):
        text += f"[part.p{part}]\ntitle = 'Part {part}'\n"
        for _, name, full, kind, rule, title in cells[part * 10 : part * 10 + 10]:
            text += (
                f"size.{name} = {{ full = '{full}', kind = '{kind}', rule = '{rule}', "
                f"title = '{title}' }}\n"
            )
    write(two, {"model.toml": text})
    started = time.process_time()
    from_csv = scaler.load(one)
    between = time.process_time()
    from_toml = scaler.load(two)
    ended = time.process_time()
    assert len(from_csv.sizes) == len(from_toml.sizes) == 20_000
    assert between - started < 6 and ended - between < 6  # about 1 s each on a quiet machine
    assert facts(from_csv.sizes["p1999.s9"]) == facts(from_toml.sizes["p1999.s9"])
