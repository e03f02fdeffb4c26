"""Choosing again for all that is left, where single changes do not mend what a reading broke.

A row of distance pieces is closed by arithmetic that can be done by hand: what one came out too
thick by, the others must give up, each within its reach. That the part not yet made is altered
before a made one is touched is common practice.
"""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from fractions import Fraction
from html import unescape
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from scaler.as_made.bench import Key, base
from scaler.as_made.measuring import Change, Workbench, record, remedies
from scaler.as_made.whole_model import WholeModel
from scaler.cards.page_report import report_page
from scaler.checking.check import Checker, Finding
from scaler.checking.conflicts import check
from scaler.cli.bench_commands import measure
from scaler.cli.model_commands import check as check_command
from scaler.reading.loading import load
from scaler.records import Model, Verdict

DEMO = Path(__file__).parent.parent / "scaler" / "examples" / "pattern_d"
PIECES = "abcdef"
PIECE = """
[part.{name}]
service = "none"
size.length = {{ full = "10 mm", kind = "length", rule = ["milled step 0.05 mm"], reach = "0.1 mm", limits = "± 0.005 mm" }}
"""
ROW = """
[model]
title = "Six distance pieces in a frame"
scale = "1:1"
work = "mm"

[part.frame]
service = "none"
state = "locked"
size.gap = {{ full = "60.1 mm", kind = "slot", rule = ["milled step 0.05 mm"], state = "made", made = "60.1 mm" }}
{pieces}
[pair.stack]
inner = "{sum}"
outer = "frame.gap"
fit = "clearance 0.05 to 0.2 mm"
basis = "both limits"
"""


@pytest.fixture
def row(tmp_path: Path) -> Model:
    """Six pieces of 10 mm in a gap of 60.1, each within 0.1 of its drawn length."""
    pieces = "".join(PIECE.format(name=name) for name in PIECES)
    text = ROW.format(pieces=pieces, sum=" + ".join(f"{name}.length" for name in PIECES))
    (tmp_path / "model.toml").write_text(text, encoding="utf-8")
    return load(tmp_path)


def measured(model: Model, value: str, whole: WholeModel | None = None) -> Change:
    """Piece a read as so much, the whole model asked."""
    return Workbench(model).measure("a.length", value, propose=whole or WholeModel(), sure=True)


def test_five_sizes_give_a_little_each(row: Model) -> None:
    """0.5 too thick: the five others give 0.1 each, which no four of them could."""
    plain = Workbench(row).measure("a.length", "10.5 mm", sure=True)
    assert not any(way.only_open and not way.gives_up for way in plain.ways)
    assert [f.statement.id for f in plain.lost] == []  # a reach given up would do
    change = measured(row, "10.5 mm")
    best = change.ways[0]
    assert best.only_open and not best.gives_up and not best.doubtful
    assert {move.name: move.after for move in best.moves} == dict.fromkeys(
        (f"{name}.length" for name in "bcdef"), Fraction("9.9")
    )
    after = Checker(best.edits.on(change.model))
    assert [f.verdict for f in after.findings] == [Verdict.HOLDS]
    assert change.why_not == ()


def test_that_nothing_serves_is_proved(row: Model) -> None:
    """0.7 too thick: five times 0.1 is not enough. Said, and true by trying every length."""
    change = measured(row, "10.7 mm")
    assert len(change.why_not) == 1 and "cannot all be kept" in change.why_not[0]
    for name in PIECES:
        assert f"{name}.length" in change.why_not[0]
    steps = [Fraction(n, 20) for n in range(198, 203)]
    least = min(sum(lengths, Fraction("10.7")) for lengths in product(steps, repeat=5))
    assert Fraction("60.1") - least < Fraction("0.05")
    assert not any(way.only_open and not way.gives_up for way in change.ways)
    lossless = [way for way in change.ways if "depart" in way.text]
    assert lossless and all(way.gives_up for way in lossless)
    for way in change.ways:
        checker = Checker(way.edits.on(change.model))
        left = {f.statement.id for f in checker.findings if f.fails}
        assert left <= set(way.accepts)


def test_no_change_can_be_spared(row: Model) -> None:
    """Where two pieces suffice, two are changed: whatever else the best choice would have been."""
    model = replace(row, sizes={**row.sizes})
    change = measured(model, "10.2 mm", WholeModel(last_resort=False))
    for way in change.ways:
        if len(way.moves) < 2 or not way.only_open:
            continue
        for spared in way.moves:
            fewer = {n: c for n, c in way.edits.choices.items() if n != spared.name}
            rest = replace(way.edits, choices=fewer)
            assert any(f.fails for f in Checker(rest.on(change.model)).findings)


def test_it_is_not_asked_where_a_single_change_serves(row: Model) -> None:
    """The programme is a last resort: a piece 0.06 too thick is mended by another alone."""

    class Counted(WholeModel):
        calls = 0

        def __call__(self, model: Model, ids: tuple[str, ...]) -> Any:
            Counted.calls += 1
            return super().__call__(model, ids)

    change = measured(row, "10.1 mm", Counted())
    assert change.ways and Counted.calls == 0
    measured(row, "10.5 mm", Counted())
    assert Counted.calls == 1


@pytest.mark.parametrize(
    "reading",
    [
        "cylinder.bore 35.42",
        "wheelset.back_to_back 118.9",
        "gland_bush.bore 6.43",
        "wheel.bore 15.03",
    ],
)
def test_every_proposal_keeps_its_promise(reading: str) -> None:
    """The example's events: what is promised is what a check of the whole model then finds."""
    model = load(DEMO)
    before = {f.statement.id for f in Checker(model).findings if f.fails}
    change = Workbench(model).measure(*reading.split(), propose=WholeModel(last_resort=False))
    for way in change.ways:
        checker = Checker(way.edits.on(change.model))
        found = {f.statement.id: f.verdict for f in checker.findings}
        for name, verdict in way.promised:
            assert found[name] is verdict, (way.text, name)
        failing = {f.statement.id for f in checker.findings if f.fails}
        mended = {f.statement.id for f in change.broken} - set(way.mends)
        assert failing <= before | set(way.accepts) | mended, way.text


# -------------------------------------------------------------------- the same from a check


@pytest.mark.parametrize(
    "readings",
    [
        ["cylinder.bore 35.42 mm"],
        ["wheel.bore 15.03 mm"],
        ["gland_bush.bore 6.43 mm"],
        ["axle.journal 15.2 mm", "horn_cheek.thickness 4.02 mm"],
    ],
)
def test_check_and_report_say_what_measure_says(engine: Path, readings: list[str]) -> None:
    """The ways out of each conflict on what is made are the first of those that measure shows for
    it alone, word for word, in a check, in its JSON and on the page of the report."""
    for text in readings:
        model, (size, value) = load(engine), text.split(" ", 1)
        record(model, Workbench(model).read(size, value, sure=True), value)
    model = load(engine)
    bench = Workbench(model).bench
    conflicts = check(model, ways_out=3).conflicts
    assert conflicts
    looked_at = 0
    for conflict in conflicts:
        finding = conflict.finding
        if not any(bench.is_read(size) for size in bench.index.names_of[key_of(finding)]):
            continue
        looked_at += 1
        shown = [way.text for way in remedies(bench, [finding])]
        assert ["; ".join(way.changes) for way in conflict.ways_out] == shown[:3]
        for way in conflict.ways_out:
            assert way.model is not None
            after = check(way.model)
            failing = {f.statement.id for f in after.findings if f.fails}
            accepted = "accept" in way.changes[0] or "leave" in way.changes[0]
            assert accepted or finding.statement.id not in failing
            assert way.left == len(failing - {finding.statement.id})
    assert looked_at
    page = unescape(report_page(check(model, ways_out=3)))
    for conflict in conflicts:
        for way in conflict.ways_out:
            assert all(change in page for change in way.changes)


def test_check_no_longer_says_no_way_out_where_measure_has_some(tmp_path: Path) -> None:
    """Both sides made and the fit one that must be kept: only making anew or shimming is left, which
    choosing again knows nothing of. Measured last or checked afterwards, the words are the same."""
    pieces = "".join(PIECE.format(name=name) for name in PIECES)
    text = ROW.format(pieces=pieces, sum=" + ".join(f"{name}.length" for name in PIECES))
    (tmp_path / "model.toml").write_text(f"{text}must = true\n", encoding="utf-8")
    for name in PIECES:
        model = load(tmp_path)
        change = Workbench(model).measure(f"{name}.length", "10.1 mm", propose=WholeModel())
        assert change.reading is not None
        record(model, change.reading, "10.1 mm")
    result = CliRunner().invoke(check_command, [str(tmp_path), "--ways-out", "--format", "json"])
    (conflict,) = json.loads(result.stdout)["conflicts"]
    assert change.ways and conflict["ways_out"]
    assert ["; ".join(way["changes"]) for way in conflict["ways_out"]] == [
        way.text for way in change.ways[:3]
    ]


# ------------------------------------------------------------------------- the exit status


def status(folder: Path, *args: str) -> int:
    """The exit status of one measure."""
    result = CliRunner().invoke(measure, [str(folder), *args])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code


@pytest.fixture
def engine(tmp_path: Path) -> Path:
    """A copy of the shipped example that may be written to."""
    folder = tmp_path / "engine"
    shutil.copytree(DEMO, folder)
    return folder


@pytest.mark.parametrize(
    "readings",
    [
        ["horn_cheek.thickness 4.00"],
        ["horn_cheek.thickness 4.02"],
        ["horn_cheek.thickness 4.02", "axlebox.width 28.96"],
        ["frame.bolt_hole_to_edge 5.0"],  # no pair: only the checks of workability mind
        ["gland_bush.bore 6.38", "valve_spindle.diameter 3.0"],
        ["cover_stud.thread 3.0"],
    ],
)
@pytest.mark.parametrize("strict", [False, True])
def test_the_status_is_that_of_check(engine: Path, readings: list[str], strict: bool) -> None:
    """Whatever was read, measure ends as check then does."""
    more = ["--strict"] if strict else []
    for text in readings:
        size, value = text.split()
        mine = status(engine, size, value, "--sure", *more)
        checked = CliRunner().invoke(check_command, [str(engine), "--quiet", *more]).exit_code
        assert mine == checked == load_status(engine, strict)


def key_of(finding: Finding) -> Key:
    """The statement that a finding is of."""
    return finding.statement.what, base(finding.statement.id)


def load_status(folder: Path, strict: bool) -> int:
    """The status of a check from Python."""
    return check(load(folder)).status(strict=strict)


WORKED = """
[model]
title = "Bracket"
scale = "1:1"
work = "mm"

[part.bracket]
material = "mild steel"
service = "none"
size.bolt_hole = { full = "4 mm", kind = "internal", rule = "drilled" }
size.bolt_hole_to_edge = { full = "8 mm", kind = "position", rule = "milled step 0.1 mm" }
"""


def test_a_reading_that_leaves_too_little_metal_fails_as_check_says(tmp_path: Path) -> None:
    """No pair and no condition: a hole too near its edge makes both end with 1 and say so."""
    (tmp_path / "model.toml").write_text(WORKED, encoding="utf-8")
    assert check(load(tmp_path)).status() == 0
    result = CliRunner().invoke(
        measure, [str(tmp_path), "bracket.bolt_hole_to_edge", "3 mm", "--sure", "--format", "json"]
    )
    answer = json.loads(result.stdout)
    assert result.exit_code == answer["status"] == check(load(tmp_path)).status() == 1
    assert answer["workability"] and all(row["verdict"] != "holds" for row in answer["workability"])
    text = CliRunner().invoke(measure, [str(tmp_path), "bracket.bolt_hole_to_edge", "--undo"])
    assert text.exit_code == 0


def test_input_that_cannot_be_used_ends_with_2(engine: Path) -> None:
    """As everywhere: unknown size, unknown copy, a wrong unit, no model."""
    assert status(engine, "axel.journal", "15") == 2
    assert status(engine, "cylinder.bore", "35", "--copy", "middle") == 2
    assert status(engine, "axle.journal", "0.62") == 2
    assert status(engine / "none", "axle.journal", "15") == 2
