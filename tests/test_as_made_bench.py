"""The bench that works out only what hangs on a size: the same as a check of the whole model."""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scaler.as_made.append_log import append_rows
from scaler.as_made.bench import Bench, Edits, Index
from scaler.as_made.measuring import Workbench
from scaler.checking.check import Checker
from scaler.problems import Place
from scaler.reading.loading import load
from scaler.reading.logs import READING_COLUMNS as COLUMNS
from scaler.records import Basis, BasisKind, Choice, Model, Reading

DEMO = Path(__file__).parent.parent / "scaler" / "examples" / "pattern_d"
PLACE = Place("readings.csv", 2)

TANGLE = """
[model]
title = "A tangle"
scale = "1:8"
work = "mm"

[part.bed]
material = "cast iron"
copies = ["near", "far"]
count = 2
service = "none"
size.length = { full = "1600 mm", kind = "length", rule = "milled" }
size.slot = { full = "160 mm", kind = "slot", rule = "milled step 0.01 mm" }
size.rest = { kind = "length" }
size.middle = { kind = "length", equals = "bed.length / 2 - bed.slot" }
size.slope = { kind = "length", equals = "sqrt(bed.length^2 + bed.slot^2)" }

[part.block]
material = "steel"
copies = ["near", "far"]
count = 2
service = "none"
size.width = { full = "159 mm", kind = "external", rule = "milled step 0.01 mm" }
size.bore = { full = "96 mm", kind = "internal", rule = "bored step 0.01 mm" }
size.height = { full = "200 mm", kind = "length", rule = ["follows bed.slot * 10", "milled step 0.01 mm"] }

[part.pin]
material = "steel"
service = "none"
size.rim = { full = "96 mm", kind = "external", rule = "turned step 0.01 mm" }
size.hole = { full = "40 mm", kind = "internal", rule = "bored step 0.01 mm" }

[part.spindle]
material = "steel"
service = "none"
size.rim = { full = "40 mm", kind = "external", rule = "turned step 0.01 mm" }

[pair.block_in_slot]
inner = "block.width"
outer = "bed.slot"
fit = "clearance 0.05 to 0.20 mm"

[pair.pin_in_block]
inner = "pin.rim"
outer = "block.bore"
fit = "H7/g6"

[pair.spindle_in_pin]
inner = "spindle.rim"
outer = "pin.hole"
fit = "close running"

[condition.rest_fills_the_bed]
keep = "bed.rest + bed.slot + block.bore == bed.length"

[condition.slope_is_long_enough]
keep = "bed.slope - bed.length >= '0.9 mm'"

[condition.middle_clears]
keep = "bed.middle - block.height / 4 >= '10 mm'"

[condition.two_beds]
keep = "-'0.1 mm' <= bed.slot@near - bed.slot@far <= '0.1 mm'"
"""


@pytest.fixture(scope="module")
def tangle(tmp_path_factory: pytest.TempPathFactory) -> Model:
    """A small model with everything in it: copies, definitions, a size solved for, a root, an ISO
    and a trade fit, unstated bases, a follower."""
    folder = tmp_path_factory.mktemp("tangle")
    (folder / "model.toml").write_text(TANGLE, encoding="utf-8")
    return load(folder)


@pytest.fixture(scope="module")
def demo() -> Model:
    """The shipped example."""
    return load(DEMO)


def same(bench: Bench) -> None:
    """The bench against a check of the whole model as it stands."""
    whole = Checker(bench.model)
    assert bench.findings == whole.findings
    assert bench.values == whole.values
    assert {n: bench.settled(n) for n in whole.settlement.results} == dict(whole.settlement.results)


def walk(model: Model, seed: int, steps: int) -> None:
    """Random readings, choices and take-backs, checked after every one."""
    chance = random.Random(seed)
    bench = Bench.opened(model)
    sizes = [size for size in model.sizes if bench.value(size) is not None]
    for step in range(steps):
        size = chance.choice(sizes)
        copy = chance.choice(("", *bench.copies(size)))
        now = bench.value(size, copy)
        assert now is not None
        value = now + Fraction(chance.randint(-30, 30), 200)
        place = Place("readings.csv", step + 2)
        dice = chance.random()
        if dice < 0.6:
            edits = Edits(readings={(size, copy): Reading(size, copy, value, "", "", "", place)})
        elif dice < 0.8:
            edits = Edits(readings={(size, copy): None})
        elif dice < 0.95:
            edits = Edits(choices={size: Choice(size, value, "", "", "", "", place)})
        else:
            edits = Edits(choices={size: None})
        bench = bench.after(edits)
        same(bench)


@pytest.mark.parametrize("seed", range(3))
def test_the_example_after_any_readings(demo: Model, seed: int) -> None:
    """The shipped example: random readings of all its sizes and copies."""
    walk(demo, seed, 25)


@settings(max_examples=25)
@given(seed=st.integers(0, 2**32 - 1))
def test_a_tangle_after_any_readings(tangle: Model, seed: int) -> None:
    """Definitions, solved sizes, roots, copies and named fits: always what the whole check says."""
    walk(tangle, seed, 8)


def test_only_what_hangs_on_the_size_is_looked_at(demo: Model) -> None:
    """A cheek's thickness reaches one pair; a coupling rod's reaches what it is part of."""
    bench = Bench.opened(demo)
    reading = Reading("horn_cheek.thickness", "", Fraction("4.01"), "", "", "", PLACE)
    after = bench.after(Edits(readings={("horn_cheek.thickness", ""): reading}))
    assert after.changed.keys == (("pair", "axlebox_in_horns"),)
    rod = Reading("coupling_rod.thickness", "", Fraction("5.97"), "", "", "", PLACE)
    after = bench.after(Edits(readings={("coupling_rod.thickness", ""): rod}))
    assert {name for _, name in after.changed.keys} == {
        "lateral_chain",
        "crosshead_clears_rod",
        "bush_on_journal",
    }
    untouched = [key for key in bench.found if key not in after.changed.keys]
    assert all(after.found[key] is bench.found[key] for key in untouched)


def test_a_changed_statement_is_looked_at_anew(demo: Model) -> None:
    """Another basis for a pair: the same as the model with that basis."""
    bench = Bench.opened(demo)
    pair = demo.pairs["axlebox_in_horns"]
    after = bench.after(Edits(pairs={pair.id: replace(pair, basis=Basis(BasisKind.BOTH_LIMITS))}))
    same(after)
    assert after.finding("axlebox_in_horns") != bench.finding("axlebox_in_horns")


def test_a_bench_does_not_change(demo: Model) -> None:
    """Looking at a reading leaves the bench it was put on as it was."""
    bench = Bench.opened(demo)
    before = dict(bench.found), dict(bench.values), bench.model
    reading = Reading("cylinder.bore", "left", Fraction("35.42"), "", "", "", PLACE)
    bench.after(Edits(readings={("cylinder.bore", "left"): reading}))
    assert (dict(bench.found), dict(bench.values), bench.model) == before


def test_undoing_leads_back(tangle: Model) -> None:
    """A reading put in and taken out again leaves the findings as they were."""
    bench = Workbench(tangle)
    before = bench.findings
    bench.measure("block.bore", "12.01 mm", "near", remedies=False)
    assert bench.findings != before
    bench.put("block.bore", "near", None, remedies=False)
    assert bench.findings == before


def test_bases_not_stated_follow_the_readings(tmp_path: Path) -> None:
    """What a pair without a basis is kept by, once one side is read: as a fresh load says."""
    (tmp_path / "model.toml").write_text(TANGLE, encoding="utf-8")
    plain = load(tmp_path)
    bench = Workbench(plain)
    assert plain.pairs["block_in_slot"].basis.last == "block.width"
    for size, value in (("block.width", "19.88 mm"), ("pin.rim", "11.98 mm")):
        bench.measure(size, value, remedies=False)
        append_rows(
            tmp_path / "readings.csv",
            COLUMNS,
            [{"time": "", "action": "reading", "size": size, "value": value}],
        )
        again = load(tmp_path)
        assert again.pairs == bench.model.pairs
        assert bench.findings == Checker(again).findings
    assert bench.model.pairs["block_in_slot"].basis.last == "bed.slot"


def test_an_index_serves_every_state_of_its_model(demo: Model) -> None:
    """The index names what names what, whatever has been read."""
    index = Index(demo)
    one = Bench.opened(demo, index)
    reading = Reading("wheel.bore", "no_2", Fraction("15.01"), "", "", "", PLACE)
    two = Bench.opened(replace(demo, readings={("wheel.bore", "no_2"): reading}), index)
    assert one.after(Edits(readings=two.model.readings)).findings == two.findings
