"""Copies that differ: which meet which, choices of one copy, and how they are shown.

That parts made to suit each other are marked and kept together is common practice.
"""

from __future__ import annotations

import csv
import json
import random
from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from scaler.as_made.bench import Bench, Edits
from scaler.as_made.measuring import Workbench
from scaler.checking.check import Checker
from scaler.checking.conflicts import check
from scaler.checking.explaining import explain
from scaler.cli.model_commands import check as check_command
from scaler.cli.model_commands import reduce as reduce_command
from scaler.problems import InputError, Place
from scaler.reading.loading import load
from scaler.records import Choice, Model, Reading, Verdict
from scaler.settling.reduce import reduce
from scaler.substitution.substitute import substitute
from scaler.substitution.write import undo_choices, write_choices

MODEL = """
[model]
title = "Pump of three cylinders"
scale = "1:1"
work = "mm"

[part.block]
material = "cast iron"
copies = {outer}
service = "none"
size.bore = {{ full = "20 mm", kind = "internal", rule = ["bored step 0.01 mm"] }}

[part.piston]
material = "bronze"
copies = {inner}
service = "none"
size.diameter = {{ full = "19.95 mm", kind = "external", rule = ["turned step 0.01 mm"] }}

[pair.piston_in_bore]
inner = "piston.diameter"
outer = "block.bore"
fit = "clearance 0.02 to 0.08 mm"
basis = "{basis}"
{meets}
"""
NUMBERS = ("no_1", "no_2", "no_3")
LETTERS = ("a", "b", "c")


def model_of(
    folder: Path,
    outer: Iterable[str] = NUMBERS,
    inner: Iterable[str] = LETTERS,
    meets: str = "",
    basis: str = "both limits",
) -> Model:
    """The pump, with the names of its copies and what the pair says of them."""
    text = MODEL.format(
        outer=json.dumps(list(outer)),
        inner=json.dumps(list(inner)),
        meets=f'meets = "{meets}"' if meets else "",
        basis=basis,
    )
    (folder / "model.toml").write_text(text, encoding="utf-8")
    return load(folder)


def read(model: Model, size: str, values: Mapping[str, str | Fraction]) -> Model:
    """The model with readings of some copies."""
    place = Place("readings.csv", 2)
    more = {
        (size, copy): Reading(size, copy, Fraction(value), "", "", "", place)
        for copy, value in values.items()
    }
    return replace(model, readings={**model.readings, **more})


def choose(model: Model, choices: Mapping[str, str]) -> Model:
    """The model with recorded choices."""
    place = Place("choices.csv", 2)
    more = {n: Choice(n, Fraction(v), "", "", "", "", place) for n, v in choices.items()}
    return replace(model, choices={**model.choices, **more})


def clearances(model: Model) -> dict[str, Fraction]:
    """The clearance of every statement."""
    return {f.statement.id: f.basic for f in Checker(model).findings}  # type: ignore[misc]


BORES = {"no_1": "20.00", "no_2": "20.04", "no_3": "20.10"}
PISTONS = {"a": "20.05", "b": "19.95", "c": "19.99"}


# --------------------------------------------------------------------------- who meets whom


def test_copies_of_one_name_meet(tmp_path: Path) -> None:
    """Like names meet where nothing is said."""
    model = model_of(tmp_path, ("left", "right"), ("left", "right"))
    model = read(model, "block.bore", {"left": "20.10", "right": "20.00"})
    model = read(model, "piston.diameter", {"left": "20.06"})
    assert clearances(model) == {
        "piston_in_bore@left": Fraction("0.04"),
        "piston_in_bore@right": Fraction("0.05"),
    }


def test_the_pair_says_who_meets_whom(tmp_path: Path) -> None:
    """Crosswise, also where the names are alike; the findings say so."""
    model = model_of(
        tmp_path, ("left", "right"), ("left", "right"), "left with right, right with left"
    )
    model = read(model, "block.bore", {"left": "20.10", "right": "20.00"})
    model = read(model, "piston.diameter", {"left": "19.95", "right": "20.04"})
    assert clearances(model) == {
        "piston_in_bore@left": Fraction("0.05"),
        "piston_in_bore@right": Fraction("0.06"),
    }
    finding = Checker(model).findings[0]
    assert dict(finding.statement.at) == {"piston": "left", "block": "right"}
    assert finding.statement.met == "piston left, block right"


def test_one_copy_may_meet_several(tmp_path: Path) -> None:
    """Two wheels on one axle, as it were: then the names are those of the side that is many."""
    model = model_of(tmp_path, NUMBERS, ("x", "y"), "x with no_1, x with no_3, y with no_2")
    model = read(model, "block.bore", BORES)
    model = read(model, "piston.diameter", {"x": "19.96", "y": "20.00"})
    assert clearances(model) == {
        "piston_in_bore@no_1": Fraction("0.04"),
        "piston_in_bore@no_3": Fraction("0.14"),
        "piston_in_bore@no_2": Fraction("0.04"),
    }


def test_a_copy_left_out_stands_against_the_planned_other(tmp_path: Path) -> None:
    """A copy that meets none is looked at with the other as planned."""
    model = model_of(tmp_path, meets="a with no_1")
    model = read(model, "block.bore", BORES)
    found = clearances(model)
    assert found["piston_in_bore@a"] == Fraction("0.05")
    assert found["piston_in_bore@no_3"] == Fraction("20.10") - Fraction("19.95")


@pytest.mark.parametrize("meets", ["", "best match"])
def test_left_open_they_are_matched_as_they_fit_best(tmp_path: Path, meets: str) -> None:
    """Names that have nothing in common, or a pair that leaves it open: largest with largest."""
    model = read(model_of(tmp_path, meets=meets), "block.bore", BORES)
    model = read(model, "piston.diameter", PISTONS)
    checker = Checker(model)
    met = {f.statement.at["piston"]: f.statement.at["block"] for f in checker.findings}
    assert met == {"a": "no_3", "b": "no_1", "c": "no_2"}
    assert {f.basic for f in checker.findings} == {Fraction("0.05")}
    assert all(f.verdict is Verdict.HOLDS for f in checker.findings)


@pytest.mark.parametrize("seed", range(30))
def test_no_other_match_is_better(tmp_path: Path, seed: int) -> None:
    """Against every permutation: as many as can lie in the fit, and then the greatest distance from
    its middle is the least there is (brute force)."""
    chance = random.Random(seed)
    inner = [f"i{n}" for n in range(chance.choice([2, 3, 4]))]
    outer = [f"o{n}" for n in range(chance.choice([2, 3, 4, 5]))]
    model = model_of(tmp_path, outer, inner)
    planned = {"block.bore": Fraction(20), "piston.diameter": Fraction("19.95")}
    sizes: dict[str, dict[str, Fraction]] = {}
    for size, copies in (("block.bore", outer), ("piston.diameter", inner)):
        some = [copy for copy in copies if chance.random() < 0.8]
        values = {copy: planned[size] + Fraction(chance.randint(-9, 9), 100) for copy in some}
        model = read(model, size, values)
        sizes[size] = {copy: values.get(copy, planned[size]) for copy in copies}
    if not model.readings:
        return

    def off(one: str, other: str) -> Fraction:
        return abs(sizes["block.bore"][other] - sizes["piston.diameter"][one] - Fraction("0.05"))

    few, many = (inner, outer) if len(inner) <= len(outer) else (outer, inner)

    def judged(met: Iterable[tuple[str, str]]) -> tuple[int, Fraction]:
        distances = [off(*pair) for pair in met]
        return sum(1 for one in distances if one > Fraction("0.03")), max(distances)

    best = min(
        judged((a, b) if few is inner else (b, a) for a, b in zip(few, order, strict=True))
        for order in permutations(many, len(few))
    )
    at = [f.statement.at for f in Checker(model).findings]
    met = [(item["piston"], item["block"]) for item in at if len(item) == 2]
    assert len(met) == len(few)
    assert len({one for one, _ in met}) == len({other for _, other in met}) == len(few)
    assert judged(met) == best


@pytest.mark.parametrize(
    ("meets", "word"),
    [
        ("a with no_9", "no copy 'no_9'"),
        ("z with no_1", "no copy 'z'"),
        ("a with no_1, a with no_1", "named more than once"),
        ("a with no_1, a with no_2, b with no_1", "named more than once"),
        ("a and no_1", "two copies that meet"),
        ("a with no_1,b with no_2", "two copies that meet"),
        ("best", "two copies that meet"),
    ],
)
def test_what_cannot_meet_is_refused(tmp_path: Path, meets: str, word: str) -> None:
    """At its place, with what is wrong."""
    with pytest.raises(InputError) as caught:
        model_of(tmp_path, meets=meets)
    (problem,) = caught.value.problems
    assert word in problem.headline
    assert problem.place is not None and problem.place.file == "model.toml"


def test_the_table_and_the_answer_for_scripts_say_who_meets(tmp_path: Path) -> None:
    """In words beside the name, and as copies by part."""
    model_of(tmp_path, meets="a with no_3, b with no_1, c with no_2")
    head = "time,action,size,copy,value,instrument,note\n"
    rows = [f"t,reading,block.bore,{copy},{value} mm,," for copy, value in BORES.items()]
    (tmp_path / "readings.csv").write_text(head + "\n".join(rows) + "\n", encoding="utf-8")
    text = CliRunner().invoke(check_command, [str(tmp_path)]).stdout
    assert "piston_in_bore@a (piston a, block no_3)" in text
    answer = json.loads(
        CliRunner().invoke(check_command, [str(tmp_path), "--format", "json"]).stdout
    )
    by_id = {row["id"]: row["copies"] for row in answer["pairs"]}
    assert by_id["piston_in_bore@a"] == {"piston": "a", "block": "no_3"}


# ------------------------------------------------------------------------- choices of copies


def test_a_choice_of_one_copy_counts_for_that_copy(tmp_path: Path) -> None:
    """It is settled, limited and judged by itself; the others go by the choice for all."""
    model = model_of(tmp_path, ("left", "right"), ("left", "right"))
    model = choose(model, {"piston.diameter": "19.95", "piston.diameter@left": "19.99"})
    checker = Checker(model)
    assert clearances(model) == {
        "piston_in_bore@left": Fraction("0.01"),
        "piston_in_bore@right": Fraction("0.05"),
    }
    assert checker.limits("piston.diameter@left") == checker.limits("piston.diameter")
    assert not checker.is_made("piston.diameter@left")
    assert {f.statement.id: f.verdict for f in checker.findings}["piston_in_bore@left"] is (
        Verdict.TIGHT
    )


def test_a_reading_comes_before_a_choice(tmp_path: Path) -> None:
    """Of the copy, and of all copies; left out as drawn."""
    model = choose(
        model_of(tmp_path, ("left", "right"), ("left", "right")), {"piston.diameter@left": "19.99"}
    )
    one = read(model, "piston.diameter", {"left": "19.94"})
    assert Checker(one).values["piston.diameter@left"] == Fraction("19.94")
    every = read(model, "piston.diameter", {"": "19.93"})
    assert clearances(every) == {"piston_in_bore": Fraction("0.07")}
    drawn = Checker(one, as_drawn=True)
    assert drawn.values["piston.diameter@left"] == Fraction("19.99")


def test_choices_of_copies_in_the_log(tmp_path: Path) -> None:
    """``part.size@copy`` in the column of the size; taken back copy by copy; a copy that is not
    there is named with its line, and the rest kept."""
    model_of(tmp_path, ("left", "right"), ("left", "right"))
    rows = [
        "time,action,size,value,method,row,note",
        "t,choose,piston.diameter@left,19.99 mm,turned,,",
        "t,choose,piston.diameter@left,19.98 mm,turned,,",
        "t,choose,piston.diameter@middle,19.97 mm,turned,,",
        "t,choose,piston.diameter@right,19.96 mm,turned,,",
        "t,undo,piston.diameter@left,,,,",
    ]
    (tmp_path / "choices.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    model = load(tmp_path)
    assert {name: choice.value for name, choice in model.choices.items()} == {
        "piston.diameter@left": Fraction("19.99"),
        "piston.diameter@right": Fraction("19.96"),
    }
    noted = [note for note in model.notes if note.place and note.place.line == 4]
    assert noted and "no copy 'middle'" in noted[0].headline
    assert undo_choices(["piston.diameter@left"], tmp_path) == 1
    assert set(load(tmp_path).choices) == {"piston.diameter@right"}


def test_each_copy_is_aimed_at_by_its_own_last_cut(tmp_path: Path) -> None:
    """The aim of a last cut starts from the copy's own choice."""
    model = model_of(
        tmp_path, ("left", "right"), ("left", "right"), basis="last cut piston.diameter"
    )
    model = read(model, "block.bore", {"left": "20.10", "right": "20.00"})
    model = choose(model, {"piston.diameter@left": "20.05"})
    found = {f.statement.id: f for f in Checker(model).findings}
    aims = {name: (f.aim.size, f.aim.target) for name, f in found.items() if f.aim is not None}
    assert aims == {
        "piston_in_bore@left": ("piston.diameter@left", Fraction("20.05")),
        "piston_in_bore@right": ("piston.diameter", Fraction("19.95")),
    }
    assert all(f.verdict is Verdict.HOLDS for f in found.values())


def test_substitution_parts_copies_only_where_it_must(tmp_path: Path) -> None:
    """Alike while one size serves all; by themselves where no size does; alternatives of the
    statement's own arithmetic: 20.10 − 0.02 and − 0.08."""
    model = model_of(
        tmp_path, ("left", "right"), ("left", "right"), basis="last cut piston.diameter"
    )
    near = substitute(read(model, "block.bore", {"left": "20.01", "right": "20.00"}))
    assert near.status == "optimal"
    assert "piston.diameter@left" not in {choice.size for choice in near.choices}
    far = read(model, "block.bore", {"left": "20.10", "right": "19.98"})
    result = substitute(far)
    assert result.status == "optimal"
    chosen = {choice.size: choice.value for choice in result.choices}
    assert Fraction("20.02") <= chosen["piston.diameter@left"] <= Fraction("20.08")
    assert Fraction("19.90") <= chosen["piston.diameter@right"] <= Fraction("19.96")
    assert all(f.verdict is Verdict.HOLDS for f in result.check.findings)
    # nothing nearer to scale holds for either copy, by trying every step between
    for copy, bore in (("left", Fraction("20.10")), ("right", Fraction("19.98"))):
        mine = chosen[f"piston.diameter@{copy}"]
        off = abs(mine - Fraction("19.95"))
        for k in range(1900, 2101):
            value = Fraction(k, 100)
            inside = Fraction("0.02") <= bore - value <= Fraction("0.08")
            assert not inside or abs(value - Fraction("19.95")) >= off


def test_what_is_chosen_by_copies_is_written_and_read_back(tmp_path: Path) -> None:
    """The choices file holds a line a copy; a second writing adds nothing; a check goes by it."""
    model_of(tmp_path, ("left", "right"), ("left", "right"), basis="last cut piston.diameter")
    head = "time,action,size,copy,value,instrument,note\n"
    rows = ["t,reading,block.bore,left,20.1 mm,,", "t,reading,block.bore,right,19.98 mm,,"]
    (tmp_path / "readings.csv").write_text(head + "\n".join(rows) + "\n", encoding="utf-8")
    assert write_choices(substitute(load(tmp_path)), tmp_path) >= 3
    with (tmp_path / "choices.csv").open(newline="", encoding="utf-8") as file:
        written = {row["size"] for row in csv.DictReader(file)}
    assert {"piston.diameter@left", "piston.diameter@right"} <= written
    again = load(tmp_path)
    assert check(again).status() == 0
    assert write_choices(substitute(again), tmp_path) == 0


def test_a_locked_copy_stays_as_it_was_chosen(tmp_path: Path) -> None:
    """Recorded choices of locked sizes are facts, copy by copy."""
    model = model_of(tmp_path, ("left", "right"), ("left", "right"))
    size = model.sizes["piston.diameter"]
    locked = replace(size, state=type(size.state)("locked"))
    model = replace(model, sizes={**model.sizes, size.id: locked})
    model = choose(model, {"piston.diameter": "19.95", "piston.diameter@left": "19.93"})
    result = substitute(model)
    assert result.status == "optimal"
    assert {"piston.diameter@left", "piston.diameter"} <= set(result.model.choices)
    assert result.model.choices["piston.diameter@left"].value == Fraction("19.93")
    bore = {c.size: c.value for c in result.choices}["block.bore"]
    for piston in (Fraction("19.93"), Fraction("19.95")):
        assert Fraction("0.02") <= bore - piston <= Fraction("0.08")


def test_explain_tells_of_one_copy(tmp_path: Path) -> None:
    """The chain of reasons of a copy ends in its own choice, with file and line."""
    model = choose(
        model_of(tmp_path, ("left", "right"), ("left", "right")), {"piston.diameter@left": "19.99"}
    )
    told = explain(model, "piston.diameter@left")
    step = next(step for step in told.steps if step.what == "chosen, left")
    assert "19.990 mm" in step.text and str(step.place) == "choices.csv, line 2"
    assert [f.statement.id for f in told.findings] == ["piston_in_bore@left"]
    both = explain(model, "piston.diameter")
    assert {step.what for step in both.steps} >= {"chosen", "chosen, left"}
    with pytest.raises(InputError, match="no copy 'lft'"):
        explain(model, "piston.diameter@lft")


# ------------------------------------------------------------------------------------ shown


def test_reduce_lists_the_copies_that_differ(tmp_path: Path) -> None:
    """Text, JSON, CSV and frame: a line a copy after its size, read ones and chosen ones."""
    model = model_of(tmp_path, ("left", "right"), ("left", "right"))
    model = read(model, "block.bore", {"left": "20.10"})
    model = choose(model, {"piston.diameter@right": "19.96"})
    reduction = reduce(model)
    answer: dict[str, Any] = reduction.as_dict()
    ids = [row["id"] for row in answer["sizes"]]
    assert ids == [
        "block.bore",
        "block.bore@left",
        "piston.diameter",
        "piston.diameter@right",
    ]
    rows = {row["id"]: row for row in answer["sizes"]}
    assert rows["block.bore@left"]["made_mm"] == 20.1
    assert rows["block.bore@left"]["state"] == "made"
    assert rows["block.bore"]["made_mm"] is None
    assert rows["piston.diameter@right"]["chosen_mm_rational"] == "499/25"
    assert rows["piston.diameter@right"]["departure_mm"] == 0.01
    assert list(reduction.frame()["id"]) == ids
    assert reduction.line("block.bore@left").made == Fraction("20.1")
    assert [row["id"] for row in reduce(model, as_drawn=True).as_dict()["sizes"]] == [
        "block.bore",
        "piston.diameter",
        "piston.diameter@right",
    ]


def test_reduce_prints_the_copies(tmp_path: Path) -> None:
    """In the table of the command as well."""
    model_of(tmp_path, ("left", "right"), ("left", "right"))
    (tmp_path / "readings.csv").write_text(
        "time,action,size,copy,value,instrument,note\nt,reading,block.bore,left,20.1 mm,,\n",
        encoding="utf-8",
    )
    text = CliRunner().invoke(reduce_command, [str(tmp_path)]).stdout
    line = next(line for line in text.splitlines() if line.startswith("block.bore@left"))
    assert "20.100" in line and "measured" in line


# --------------------------------------------------------------------------- on the bench


@pytest.mark.parametrize("seed", range(12))
def test_the_bench_says_what_a_whole_check_says(tmp_path: Path, seed: int) -> None:
    """Readings and choices of copies put in and taken out at random, with every sort of meeting."""
    chance = random.Random(seed)
    meets = chance.choice(["", "best match", "a with no_2, b with no_3, c with no_1"])
    basis = chance.choice(["both limits", "last cut piston.diameter", "last cut block.bore"])
    bench = Bench.opened(model_of(tmp_path, meets=meets, basis=basis))
    for step in range(20):
        size, copies = chance.choice([("block.bore", NUMBERS), ("piston.diameter", LETTERS)])
        copy = chance.choice(["", *copies])
        value = Fraction(chance.randint(1985, 2010), 100)
        place = Place("readings.csv", step + 2)
        what = chance.random()
        if what < 0.5:
            edits = Edits(readings={(size, copy): Reading(size, copy, value, "", "", "", place)})
        elif what < 0.7:
            edits = Edits(readings={(size, copy): None})
        else:
            name = f"{size}@{copy}" if copy else size
            new = Choice(name, value, "", "", "", "", place)
            edits = Edits(choices={name: new if what < 0.9 else None})
        bench = bench.after(edits)
        whole = Checker(bench.model)
        assert bench.findings == whole.findings
        assert {n: v for n, v in bench.values.items() if v is not None} == whole.values
        assert bench.workability == check(bench.model).workability


# --------------------------------------------------------------- sizes worked out from others

WORKED_OUT = """
[model]
title = "Two crank webs"
scale = "1:1"
work = "mm"

[part.web]
material = "mild steel"
copies = ["left", "right"]
service = "none"
size.thickness = { full = "8 mm", kind = "external", rule = ["milled step 0.05 mm"] }
size.boss = { full = "3 mm", kind = "external", rule = ["turned step 0.05 mm"] }
size.overall = { equals = "web.thickness + web.boss", kind = "length" }
size.twice = { equals = "2*web.overall", kind = "length" }

[part.frame]
material = "mild steel"
copies = ["left", "right"]
service = "none"
size.gap = { full = "11.1 mm", kind = "slot", rule = ["milled step 0.05 mm"] }

[pair.web_in_frame]
inner = "web.overall"
outer = "frame.gap"
fit = "clearance 0.05 to 0.2 mm"
basis = "basic size"

[condition.both]
keep = "web.twice <= '22.1 mm'"
basis = "basic size"
"""


def test_a_size_worked_out_from_copies_differs_with_them(tmp_path: Path) -> None:
    """A thick web makes its own overall width larger, and that of the other not."""
    (tmp_path / "model.toml").write_text(WORKED_OUT, encoding="utf-8")
    model = read(load(tmp_path), "web.thickness", {"left": "8.10"})
    checker = Checker(model)
    assert checker.values["web.overall@left"] == Fraction("11.1")
    assert checker.values["web.twice@left"] == Fraction("22.2")
    assert "web.overall@right" not in checker.values
    found = {f.statement.id: (f.basic, f.verdict) for f in checker.findings}
    assert found["web_in_frame@left"] == (Fraction(0), Verdict.TIGHT)
    assert found["web_in_frame@right"] == (Fraction("0.1"), Verdict.HOLDS)
    assert found["both@left"][1] is Verdict.FAILS and found["both@right"][1] is Verdict.HOLDS


def test_the_choice_of_the_rest_minds_what_copies_make(tmp_path: Path) -> None:
    """The boss of the thick web is turned down; by the arithmetic of the two windows."""
    (tmp_path / "model.toml").write_text(WORKED_OUT, encoding="utf-8")
    model = read(load(tmp_path), "web.thickness", {"left": "8.10", "right": "7.80"})
    result = substitute(model)
    assert result.status == "optimal"
    assert all(f.verdict is Verdict.HOLDS for f in result.check.findings)
    values = Checker(result.model).values
    for copy, thick in (("left", Fraction("8.10")), ("right", Fraction("7.80"))):
        boss = values.get(f"web.boss@{copy}", values["web.boss"])
        gap = values.get(f"frame.gap@{copy}", values["frame.gap"])
        assert isinstance(boss, Fraction) and isinstance(gap, Fraction)
        assert values[f"web.overall@{copy}"] == thick + boss
        assert Fraction("0.05") <= gap - thick - boss <= Fraction("0.2")
        assert 2 * (thick + boss) <= Fraction("22.1")


@pytest.mark.parametrize("seed", range(6))
def test_the_bench_follows_what_copies_make(tmp_path: Path, seed: int) -> None:
    """Readings and choices of makers at random: always what a check of the whole model says."""
    (tmp_path / "model.toml").write_text(WORKED_OUT, encoding="utf-8")
    chance = random.Random(seed)
    bench = Bench.opened(load(tmp_path))
    for step in range(15):
        size = chance.choice(["web.thickness", "web.boss", "web.overall", "frame.gap"])
        copy = chance.choice(["", "left", "right"])
        now = bench.value(size, copy)
        assert now is not None
        value = now + Fraction(chance.randint(-4, 4), 20)
        place = Place("readings.csv", step + 2)
        new = Reading(size, copy, value, "", "", "", place) if chance.random() < 0.7 else None
        bench = bench.after(Edits(readings={(size, copy): new}))
        whole = Checker(bench.model)
        assert {n: v for n, v in bench.values.items() if v is not None} == whole.values
        assert bench.findings == whole.findings


def test_a_better_match_is_pointed_out(tmp_path: Path) -> None:
    """Left and right swapped would both hold: said, with the words for the pair; by arithmetic,
    20.10 − 20.05 and 20.00 − 19.95."""
    model = model_of(tmp_path, ("left", "right"), ("left", "right"))
    model = read(model, "block.bore", {"left": "20.10", "right": "20.00"})
    model = read(model, "piston.diameter", {"left": "19.95"})
    change = Workbench(model).measure("piston.diameter", "20.05", "right")
    (note,) = [note for note in change.notes if "nothing need be cut" in note]
    assert 'meets = "left with right, right with left"' in note
    said = model_of(
        tmp_path, ("left", "right"), ("left", "right"), "left with right, right with left"
    )
    after = replace(said, readings=change.model.readings)
    assert all(f.verdict is Verdict.HOLDS for f in Checker(after).findings)
