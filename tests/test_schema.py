"""The published JSON Schema of the model files, against the jsonschema package and the reader.

The jsonschema package is the independent judge: what it accepts the reader must find no fault of
shape with, and what it refuses the reader must refuse, at a place.
"""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Callable, Iterator
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema  # type: ignore[import-untyped]
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import scaler
from scaler.problems import InputError, Problem
from scaler.reading import shapes

EXAMPLES = sorted(Path(str(files("scaler").joinpath("examples"))).glob("*/*.toml"))
OF_SHAPE = {"unknown-key", "type", "not-known", "missing-key", "name", "condition"}
"""Codes of what the schema can see; 'double' is left to tomllib and to other files."""


@cache
def validator() -> jsonschema.Draft202012Validator:
    """The judge."""
    schema = shapes.schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


def test_schema_is_one() -> None:
    """The schema is a valid one of its draft, and describes every key."""
    validator()
    for what, definition in shapes.schema()["$defs"].items():
        assert definition["additionalProperties"] is False, what
        for key, rule in definition["properties"].items():
            assert rule.get("description"), f"{what}.{key}"


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_examples_are_accepted(path: Path) -> None:
    """Every file of the shipped examples is accepted."""
    validator().validate(tomllib.loads(path.read_text(encoding="utf-8")))


def test_every_key_is_read() -> None:
    """The reader knows the keys of the schema, and no others."""
    for what, definition in shapes.schema()["$defs"].items():
        shape = shapes.shape(what)
        assert list(shape.fields) == list(definition["properties"])
        assert list(shape.required) == definition.get("required", [])
        for rule in shape.fields.values():
            assert rule.forms and rule.words


# ------------------------------------------------------------------- documents good and bad

GOOD: dict[str, Any] = {
    "model": {
        "title": "Bench engine",
        "scale": {"full": "3 ft", "model": "5 in"},
        "work": "mm",
        "prototype_gauge": "3 ft",
        "governs": "ratio",
        "track": {"standard": "IBLS", "gauge": "5 in"},
        "limits": "ISO 2768-m",
        "include": [],
        "shop": [],
        "shop_only": False,
        "prefer": ["metric", "shelf"],
        "forbid": "inch",
    },
    "drawing": {"sheet_1": {"unit": "in", "scale": "1:1", "issue": "B", "title": "Motion"}},
    "rules": {"own": ["turned", "bored"], "other": "turned; bored"},
    "part": {
        "axle": {
            "title": "Axle",
            "material": "steel",
            "count": 2,
            "service": "none",
            "state": "not made",
            "copies": ["left", "no_2"],
            "drawing": "sheet_1",
            "prefer": "shelf; inch",
            "forbid": [],
            "size": {
                "pin": {
                    "full": "72 mm",
                    "rule": "turned",
                    "lock": "10 mm",
                    "prefer": "none",
                    "forbid": ["metric"],
                },
                "length": "5",
                "width": 5,
                "depth": 5.5,
                "journal": {
                    "full": "4 3/8",
                    "kind": "external",
                    "rule": ["turned step 0.1 mm", "own"],
                    "limits": "±0.01 mm",
                    "reach": "1 mm",
                    "weight": 2,
                    "standard": "flange thickness",
                    "datum": "end",
                    "state": "not made",
                    "instrument": "micrometer",
                    "drawing": "sheet_1",
                    "uncertainty": "1/32 in",
                    "origin": "scaled",
                    "title": "A1",
                    "note": "none",
                },
                "seat": {"equals": "axle.journal - '1 mm'", "between": "1 mm to 20 mm"},
                "collar": {"made": "12 mm", "kind": "external", "weight": "1/2"},
            },
        },
        "bush": {"size": {"bore": "4 13/32 in"}},
    },
    "pair": {
        "running": {
            "inner": "axle.journal",
            "outer": "bush.bore",
            "fit": "close running",
            "set": "model engineer's handbook",
            "basis": "both limits",
            "meets": "best match",
            "must": True,
            "title": "Axle in its bush",
            "why": "it turns",
            "source": "invented",
        }
    },
    "condition": {
        "room": {
            "keep": "axle.length == axle.width",
            "within": "±5 mm",
            "basis": "both limits",
            "must": False,
            "title": "Room",
            "why": "swarf",
            "source": "invented",
        },
        "gauge": {"of": "axle.length", "standard": "back to back"},
    },
    "option": {
        "washer": {
            "title": "Washer on the axle",
            "thickness": ["0.1 mm", "shim"],
            "thickens": "axle.length",
            "in": ["room"],
            "count": 2,
            "limits": "±0.01 mm",
            "price": 0.5,
            "use": "0.1 mm",
            "why": "play",
        },
        "casting": {"gives": {"axle": {"length": "14 mm"}}, "price": "1/2", "use": False},
    },
}


def to_toml(data: dict[str, Any]) -> str:
    """A document in TOML, tables within the second level inline."""

    def value(item: object) -> str:
        if isinstance(item, dict):
            return "{" + ", ".join(f"{json.dumps(k)} = {value(v)}" for k, v in item.items()) + "}"
        if isinstance(item, list):
            return "[" + ", ".join(map(value, item)) + "]"
        return json.dumps(item) if not isinstance(item, Raw) else item

    lines = []
    for key, table in data.items():
        if isinstance(table, dict):
            lines.append(f"[{json.dumps(key)}]")
            lines += [f"{json.dumps(k)} = {value(v)}" for k, v in table.items()]
        else:
            lines.insert(0, f"{json.dumps(key)} = {value(table)}")
    return "\n".join(lines) + "\n"


def verdict(folder: Path, text: str) -> tuple[Problem, ...]:
    """What the reader finds wrong with the shape of a model of one file."""
    (folder / "model.toml").write_text(text, encoding="utf-8")
    try:
        scaler.load(folder)
    except InputError as error:
        for problem in error.problems:
            assert problem.headline and problem.advice and problem.place, problem
        return tuple(problem for problem in error.problems if problem.code in OF_SHAPE)
    return ()


def agree(folder: Path, data: dict[str, Any]) -> None:
    """Reader and judge agree on whether a document has the shape of a model file."""
    text = to_toml(data)
    problems = verdict(folder, text)
    errors = list(validator().iter_errors(json.loads(json.dumps(tomllib.loads(text), default=str))))
    assert bool(problems) == bool(errors), (problems, [error.message for error in errors])


def test_good_document(tmp_path: Path) -> None:
    """The document that the others are made from is good, and uses every key but one of a kind."""
    agree(tmp_path, GOOD)
    assert verdict(tmp_path, to_toml(GOOD)) == ()
    used = set(GOOD["model"]) | set(GOOD["pair"]["running"]) | set(GOOD["condition"]["room"])
    used |= set(GOOD["condition"]["gauge"]) | set(GOOD["part"]["axle"])
    used |= set(GOOD["option"]["washer"]) | set(GOOD["option"]["casting"])
    for size in GOOD["part"]["axle"]["size"].values():
        used |= set(size) if isinstance(size, dict) else set()
    for what in ("model", "pair", "condition", "option", "part", "size"):
        assert set(shapes.shape(what).fields) <= used | {"full"}, what


def leaves(data: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Paths of all keys of a document."""
    if isinstance(data, dict):
        for key, value in data.items():
            yield (*path, key)
            yield from leaves(value, (*path, key))
    elif isinstance(data, list):
        for number, value in enumerate(data):
            yield (*path, number)
            yield from leaves(value, (*path, number))


LEAVES = list(leaves(GOOD))


class Raw(str):
    """TOML text as it is."""


OTHERS: list[Any] = [0, -1, 1.5, True, "", "something", [], ["turned"], [1], {}, [[]], Raw("inf")]
DATES = [Raw("1979-05-27"), Raw("07:32:00"), Raw("1979-05-27T07:32:00Z")]


def changed(path: tuple[Any, ...], change: Callable[[Any, Any], None]) -> dict[str, Any]:
    """The good document with one thing changed."""
    data = copy.deepcopy(GOOD)
    holder = data
    for key in path[:-1]:
        holder = holder[key]
    change(holder, path[-1])
    return data


def replaced(path: tuple[Any, ...], other: Any) -> dict[str, Any]:
    """The good document with one value replaced."""
    return changed(path, lambda holder, key: holder.__setitem__(key, other))


def test_each_key_gone(tmp_path: Path) -> None:
    """Each key taken out, one at a time."""
    for path in LEAVES:
        agree(tmp_path, changed(path, lambda holder, key: holder.pop(key)))


def test_each_key_renamed(tmp_path: Path) -> None:
    """Each key with a letter more: a name of the person's own may change, a key may not."""
    for path in LEAVES:
        if isinstance(path[-1], str):
            data = changed(path, lambda holder, key: holder.update({f"{key}x": holder.pop(key)}))
            agree(tmp_path, data)


@pytest.mark.parametrize("turn", range(4))
def test_each_value_of_another_type(tmp_path: Path, turn: int) -> None:
    """Each value replaced by others, four for each value."""
    for number, path in enumerate(LEAVES):
        agree(tmp_path, replaced(path, OTHERS[(number + 3 * turn) % len(OTHERS)]))


def test_dates_and_times(tmp_path: Path) -> None:
    """TOML's dates and times, which JSON does not have, stand nowhere in a model file."""
    for number, path in enumerate(LEAVES):
        assert verdict(tmp_path, to_toml(replaced(path, DATES[number % 3]))), path


@pytest.mark.parametrize("name", ["Axle", "1st", "a b", "a.b", "_a", "ä", "", "a" * 101, "a-b"])
def test_names(tmp_path: Path, name: str) -> None:
    """Names that are none, in each place where names stand."""
    for path in (p for p in LEAVES if len(p) == 2 and p[0] != "model"):
        data = changed(path, lambda holder, key: holder.update({name: holder.pop(key)}))
        agree(tmp_path, data)
        assert verdict(tmp_path, to_toml(data))
    for inner in (p for p in LEAVES if len(p) == 4 and p[2] == "size"):
        data = changed(inner, lambda holder, key: holder.update({name: holder.pop(key)}))
        agree(tmp_path, data)


def test_unknown_keys(tmp_path: Path) -> None:
    """A key more in each table."""
    for path in ((), *LEAVES):
        holder: Any = GOOD
        for key in path:
            holder = holder[key]
        if isinstance(holder, dict):
            data = changed((*path, "colour_of_it"), lambda table, key: table.update({key: "red"}))
            agree(tmp_path, data)


# ------------------------------------------------------------------------- changed examples


@cache
def example() -> dict[str, str]:
    """The files of the larger shipped example."""
    return {path.name: path.read_text(encoding="utf-8") for path in EXAMPLES[0].parent.iterdir()}


@settings(max_examples=40)
@given(st.data())
def test_examples_changed_at_random(tmp_path_factory: pytest.TempPathFactory, data: Any) -> None:
    """One value of an example of another type, gone, or renamed: a message or a model, no crash."""
    name = data.draw(st.sampled_from(sorted(n for n in example() if n.endswith(".toml"))))
    document = tomllib.loads(example()[name])
    for _ in range(data.draw(st.integers(1, 3))):
        path = data.draw(st.sampled_from(list(leaves(document))))
        holder: Any = document
        for key in path[:-1]:
            holder = holder[key]
        match data.draw(st.sampled_from(["type", "gone", "name"])):
            case "type":
                holder[path[-1]] = data.draw(st.sampled_from([*OTHERS, *DATES]))
            case "gone":
                del holder[path[-1]]
            case _ if isinstance(holder, dict):
                fresh = data.draw(st.sampled_from(["title", "full", "x", "Y", "", "part", "size"]))
                holder[fresh] = holder.pop(path[-1])
        if not document:
            break
    folder = tmp_path_factory.mktemp("changed", numbered=True)
    for other, text in example().items():
        (folder / other).write_text(to_toml(document) if other == name else text, encoding="utf-8")
    try:
        model = scaler.load(folder)
    except InputError as error:
        for problem in error.problems:
            assert problem.place is not None and problem.place.line >= 1
            assert problem.headline and problem.expected and problem.advice, problem
    else:
        assert model.sizes
