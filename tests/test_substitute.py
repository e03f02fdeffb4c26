"""Whole-model substitution from end to end: the example, the contract, the log, time, sweeps."""

from __future__ import annotations

import csv
import json
import shutil
import threading
from fractions import Fraction
from pathlib import Path

import pytest
from test_substitution_search import chain_text

from scaler.checking.conflicts import check
from scaler.reading.loading import load
from scaler.records import Model, State, Verdict
from scaler.settling.settle import exact_size, reach_of
from scaler.settling.solve import middle
from scaler.substitution.compile import compile_model
from scaler.substitution.substitute import substitute
from scaler.substitution.sweep import sweep
from scaler.substitution.verify import departure_cost
from scaler.substitution.write import undo_choices, write_choices

HERE = Path(__file__).parent
EXAMPLE = HERE.parent / "scaler" / "examples" / "pattern_d"


@pytest.fixture(scope="module")
def example() -> Model:
    """The shipped example."""
    return load(EXAMPLE)


def test_example_holds_and_is_no_dearer_than_its_shipped_choices(example: Model) -> None:
    """All pairs and conditions hold; the departure is no more than the set shipped with it."""
    result = substitute(example)
    assert result.status == "optimal" and result.gap == 0
    assert all(f.verdict is Verdict.HOLDS for f in result.check.findings)
    compiled = compile_model(example)
    shipped = departure_cost(compiled.model, check(example).reduction.settlement)
    assert result.cost == departure_cost(compiled.model, result.check.reduction.settlement)
    assert result.cost <= shipped


def test_every_choice_is_on_its_row_or_step_and_within_reach(example: Model) -> None:
    """Nothing chosen lies beyond its reach, save where the track standard bounds it; no part that
    holds pressure gets a figure."""
    result = substitute(example, prices=False)
    for line in result.check.reduction.lines:
        if line.refused:
            assert line.chosen is None
            continue
        exact = exact_size(line.size, example.ratio)
        if exact is None or line.size.standard or line.chosen is None:
            continue
        assert line.settled is not None
        reach = reach_of(line.size, line.settled.by, exact)
        assert abs(middle(line.chosen) - exact) <= reach
    codes = {note.code for note in result.check.reduction.notes}
    assert "choice-not-obtainable" not in codes
    assert not any(choice.size.startswith(("boiler.", "dome_cover.")) for choice in result.choices)


def test_same_answer_on_every_run_and_in_every_order_of_the_files(example: Model) -> None:
    """Run again, and with the recorded choices gone: the same rows and steps."""
    from dataclasses import replace

    first = substitute(example, prices=False)
    again = substitute(example, prices=False)
    bare = substitute(replace(example, choices={}), prices=False)
    assert first.choices == again.choices
    assert [(c.size, c.value, c.method, c.row) for c in first.choices] == [
        (c.size, c.value, c.method, c.row) for c in bare.choices
    ]
    assert [level.reached for level in first.levels] == [level.reached for level in bare.levels]


def test_keys_for_scripts(example: Model) -> None:
    """The keys that scripts may count on, as plain JSON."""
    result = substitute(example, alternatives=2)
    plain = json.loads(json.dumps(result.as_dict()))
    assert {
        "model",
        "scale",
        "sizes",
        "pairs",
        "conditions",
        "conflicts",
        "cautions",
        "status",
        "gap",
        "cost",
        "alternatives",
    } <= set(plain)
    assert plain["status"] == "optimal" and plain["gap"] == 0 and plain["exit"] == 0
    assert plain["cost"] == pytest.approx(float(result.cost))
    assert len(plain["alternatives"]) == 2
    assert plain["conflicts"] == []
    size = next(row for row in plain["sizes"] if row["id"] == "piston_rod.diameter")
    assert size["chosen_mm_rational"] and size["row"]
    assert plain["levels"][0]["name"] == "cost"
    frame = result.frame()
    assert len(frame) == len(result.choices)
    assert {"size", "chosen_mm", "departure_mm", "method", "row", "why"} <= set(frame.columns)
    assert "<table" in result._repr_html_()


def test_alternatives_differ_in_a_row_or_method_and_rise_in_cost(example: Model) -> None:
    """Each alternative, made into a model, is confirmed by the check at the cost it states."""
    from dataclasses import replace

    from scaler.problems import Place
    from scaler.records import Choice

    result = substitute(example, alternatives=6, prices=False)
    costs = [item.cost for item in result.alternatives]
    assert len(costs) == 6 and costs == sorted(costs) and costs[0] >= result.cost
    best = {c.size: (c.method.partition(" step")[0], c.row) for c in result.choices}
    seen = set()
    compiled = compile_model(example)
    for item in result.alternatives:
        assert item.more == item.cost - result.cost
        differing = {
            c.size for c in item.changes if (c.method.partition(" step")[0], c.row) != best[c.size]
        }
        assert differing
        seen.add(tuple(sorted((c.size, c.value, c.row) for c in item.changes)))
        choices = dict(result.model.choices)
        for c in item.changes:
            choices[c.size] = Choice(c.size, c.value, c.method, c.row, "", "", Place("test", 1))
        other = check(replace(result.model, choices=choices))
        assert not other.failures()
        assert departure_cost(compiled.model, other.reduction.settlement) == item.cost
    assert len(seen) == 6


def test_prices_are_what_going_without_saves(example: Model) -> None:
    """The price of a pair is the cost with it less the cost of a model without it."""
    from dataclasses import replace

    result = substitute(example)
    assert result.prices
    assert list(result.prices) == sorted(result.prices, key=lambda p: (-p.price, p.statement))
    for price in result.prices[:6]:
        what, _, name = price.statement.partition(" ")
        if name.endswith(":standard"):
            continue
        if what == "pair":
            rest = {k: v for k, v in example.pairs.items() if k != name}
            without = replace(example, pairs=rest)
        else:
            kept = {k: v for k, v in example.conditions.items() if k != name}
            without = replace(example, conditions=kept)
        assert substitute(without, prices=False).cost == result.cost - price.price


def test_time_limit_gives_the_best_so_far_with_its_gap(tmp_path: Path) -> None:
    """A chain of 80 sizes in a fraction of a second: a choice that holds, and an honest gap."""
    text, shop = chain_text(1, 80)
    (tmp_path / "model.toml").write_text(text, encoding="utf-8")
    (tmp_path / "shop.csv").write_text(shop, encoding="utf-8")
    model = load(tmp_path)
    best = substitute(model, seconds=60, levels=False, prices=False)
    assert best.status == "optimal"
    for seconds in (0.02, 0.2, 0.6):
        result = substitute(model, seconds=seconds, prices=False)
        assert result.status in ("optimal", "feasible", "unknown")
        assert result.bound <= best.cost
        if result.status == "unknown":
            assert result.gap is None and result.exit_status() == 1
            continue
        assert not result.check.failures()
        assert result.cost >= best.cost
        assert result.gap is not None
        assert result.gap >= (result.cost - best.cost) / result.cost


def test_writing_appends_and_undo_appends(tmp_path: Path) -> None:
    """The person's lines stay byte for byte; what is written is read back and confirmed; undo adds
    lines that take the choices back."""
    folder = tmp_path / "model"
    shutil.copytree(EXAMPLE, folder)
    log = folder / "choices.csv"
    before = log.read_bytes()
    result = substitute(load(folder), prices=False)
    count = write_choices(result, folder)
    after = log.read_bytes()
    assert after.startswith(before) and count == after.count(b"\n") - before.count(b"\n")
    assert next(csv.reader([after.decode().splitlines()[0]])) == [
        "time",
        "action",
        "size",
        "value",
        "method",
        "row",
        "note",
    ]
    again = load(folder)
    assert check(again).counts() == result.check.counts()
    values = check(again).reduction.settlement.values
    assert all(values[choice.size] == choice.value for choice in result.choices)
    assert write_choices(substitute(again, prices=False), folder) == 0
    assert log.read_bytes() == after
    undone = undo_choices([choice.size for choice in result.choices], folder)
    assert undone == len(result.choices)
    assert log.read_bytes().startswith(after)
    assert log.read_bytes().count(b"undo,") == undone


def test_writing_makes_the_log_and_survives_two_writers(tmp_path: Path) -> None:
    """Without a log one is made; the second of two writers finds all recorded and adds nothing."""
    folder = tmp_path / "model"
    shutil.copytree(EXAMPLE, folder)
    (folder / "choices.csv").unlink()
    result = substitute(load(folder), prices=False)
    threads = [threading.Thread(target=write_choices, args=(result, folder)) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    lines = (folder / "choices.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 1 + len(result.choices)
    assert not check(load(folder)).failures()


def test_nothing_is_recorded_of_an_impossible_model(tmp_path: Path) -> None:
    """No choice, no line."""
    (tmp_path / "model.toml").write_text(
        '[model]\ntitle="t"\nscale="1:8"\n[drawing.s]\nunit="mm"\n[part.a]\nservice="none"\n'
        'size.x={full="9000",kind="external",rule="ground bar"}\n',
        encoding="utf-8",
    )
    result = substitute(load(tmp_path))
    assert result.status == "impossible" and result.exit_status() == 1
    with pytest.raises(ValueError, match="impossible"):
        write_choices(result, tmp_path)
    assert not (tmp_path / "choices.csv").exists()


def test_locked_and_made_sizes_stay(example: Model) -> None:
    """Locked at their recorded choice, sizes stay, and the rest is chosen round them."""
    from dataclasses import replace

    sizes = dict(example.sizes)
    for name in ("axle.journal", "wheel.tyre_width", "piston_rod.diameter"):
        sizes[name] = replace(sizes[name], state=State.LOCKED)
    model = replace(example, sizes=sizes)
    result = substitute(model, prices=False)
    assert result.status == "optimal"
    values = result.check.reduction.settlement.values
    assert values["axle.journal"] == Fraction("15.82")
    assert values["wheel.tyre_width"] == Fraction("16.5")
    assert values["piston_rod.diameter"] == Fraction("6.35")
    assert not result.check.failures()
    assert result.cost >= substitute(example, prices=False).cost


def test_sweep_over_scales(example: Model) -> None:
    """Evenly spaced in full size over model; the best few; as a frame; the middle one is the
    model's own scale and costs what the substitution costs."""
    found = sweep(example, "1:6.2", "1:8.2", 5)
    assert [p.text for p in found.points] == [
        "1 : 6.2",
        "1 : 6.7",
        "1 : 7.2",
        "1 : 7.7",
        "1 : 8.2",
    ]
    own = found.points[2]
    assert own.ratio == example.ratio and own.status == "optimal" and own.conflicts == 0
    assert own.cost == substitute(example, prices=False).cost
    assert own.rounded_alone == 29  # of the scenario's table: naive rounding fails 29
    best = found.best(2)
    assert best[0] == own
    frame = found.frame()
    assert list(frame["scale"]) == [p.text for p in found.points]
    assert json.dumps(found.as_dict())
    with pytest.raises(ValueError, match="at least one step"):
        sweep(example, "1:6", "1:8", 0)
    with pytest.raises(ValueError, match="no scale"):
        sweep(example, Fraction(-1), "1:8", 2)
