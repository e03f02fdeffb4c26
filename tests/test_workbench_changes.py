"""Sizes drawn or chosen otherwise on the bench: what a check of the whole model then says.

Outside reference: none is needed; a whole check of the changed model is the judge.
"""

from __future__ import annotations

import random
from fractions import Fraction

import pytest

from scaler.as_made.making_order import making_order
from scaler.as_made.measuring import Workbench
from scaler.checking.check import Checker
from scaler.checking.conflicts import check
from scaler.examples import load
from scaler.problems import InputError


@pytest.mark.parametrize("name", ["pattern_d", "starter"])
def test_changes_one_after_the_other(name: str) -> None:
    """After each of forty changes at random, all findings and sizes are those of a whole check."""
    chance = random.Random(11)
    bench = Workbench(load(name))
    shut = Checker(bench.model).refused
    sizes = [s for s in bench.model.sizes.values() if s.full is not None and s.part not in shut]
    for turn in range(40):
        size = chance.choice(sizes)
        assert size.full is not None
        before = bench.bench.value(size.id)
        if turn % 3:
            change = bench.redraw(size.id, size.full * Fraction(chance.randint(90, 110), 100))
        elif turn % 2:
            now = bench.bench.value(size.id)
            change = bench.choose(size.id, None if now is None else now + Fraction(1, 10))
        else:
            change = bench.choose(size.id, None)
        assert (change.before, change.after) == (before, bench.bench.value(size.id))
        if turn % 8 == 7:
            whole = Checker(bench.model)
            assert bench.findings == whole.findings
            assert bench.bench.values == whole.values


def test_a_full_size_as_text_takes_the_sheets_unit() -> None:
    """9 on a sheet in inches, at 1 1/2 in to the foot: 9 × 25.4 / 8 mm."""
    bench = Workbench(load("starter"))
    change = bench.redraw("roller.diameter", "8")
    assert change.after == Fraction(127, 5)
    assert bench.model.sizes["roller.diameter"].full == Fraction(1016, 5)
    assert bench.model.sizes["roller.diameter"].drawn_as == "8 in"


def test_only_what_hangs_on_a_size_is_touched() -> None:
    """Findings that do not name the size are the very same objects as before."""
    bench = Workbench(load("pattern_d"))
    before = {(f.statement.what, f.statement.id): f for f in bench.findings}
    change = bench.choose("cylinder.length", "64 mm")
    reached = set(bench.bench.changed.keys)
    kept = [f for f in bench.findings if (f.statement.what, f.statement.id) not in reached]
    assert change.after == 64
    assert len(kept) > 10
    assert all(before[f.statement.what, f.statement.id] is f for f in kept)


@pytest.mark.parametrize(
    ("size", "full", "said"),
    [
        ("roller.diametre", "8", "there is no size"),
        ("roller.diameter", "8 parsecs", "read"),
        ("roller.diameter", "0 in", "a size of nothing"),
        ("shaft.length", "8 in", "is not drawn"),
    ],
)
def test_what_cannot_be_meant_is_refused(size: str, full: str, said: str) -> None:
    """With what was read and what to do, and nothing is changed."""
    bench = Workbench(load("starter"))
    before = bench.model
    with pytest.raises(InputError, match=said):
        bench.redraw(size, full)
    assert bench.model is before


@pytest.mark.parametrize("value", ["28.6 mm", 28.6, Fraction(143, 5), "143/5 mm"])
def test_a_figure_is_text_or_any_number(value: str | float | Fraction) -> None:
    """28.6 is 143/5 exactly, whichever way a script has it."""
    bench = Workbench(load("starter"))
    assert bench.choose("roller.diameter", value).after == Fraction(143, 5)
    assert bench.measure("roller.diameter", value, "no_1", remedies=False).after == Fraction(143, 5)
    again = Workbench(load("starter")).redraw("crank.throw", 240)
    assert again.after == 30, "240 mm at one eighth"
    with pytest.raises(InputError, match="no number"):
        bench.choose("roller.diameter", float("nan"))


def test_a_finding_by_its_name() -> None:
    """The same finding of the bench and of a whole check; a name that is none is a KeyError."""
    model = load("starter")
    one = Workbench(model).finding("roller_end_play")
    assert one == check(model).finding("roller_end_play")
    assert one.statement.id == "roller_end_play"
    for holder in (Workbench(model), check(model)):
        with pytest.raises(KeyError):
            holder.finding("roller_end")


def test_an_unknown_part_of_the_making_order_is_named() -> None:
    """With the nearest name."""
    with pytest.raises(InputError, match="roller"):
        making_order(load("starter"), part="rollr")
