"""Cutting bars: the published instances, exhaustive search on small ones, and the saw's kerf."""

from __future__ import annotations

import itertools
import subprocess
import sys
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scaler.desk import cutting_stock
from scaler.desk.cutting_stock import Bar, CutPlan, Piece, plan_cuts

F = Fraction

# The worked example of the encyclopaedia article "Cutting stock problem" (copies read at two places):
# 5600 mm rolls, 13 widths; 308 patterns; the least is 73 rolls, waste 0.401 %.
ROLLS = {
    1380: 22, 1520: 25, 1560: 12, 1710: 14, 1820: 18, 1880: 18, 1930: 20, 2000: 10, 2050: 12,
    2100: 14, 2140: 16, 2150: 18, 2200: 20,
}  # fmt: skip

# Chvátal, Linear Programming (1983), ch. 13; data read in a copy of the example in an open model
# library (widths 45, 36, 31, 14 out of 100; 97, 610, 395, 211 wanted); the result of 453 rolls
# (programme without whole numbers 452.25) from memory.
FINALS = {45: 97, 36: 610, 31: 395, 14: 211}


def exactly_served(plan: CutPlan, pieces: list[Piece], kerf: Fraction) -> None:
    """Every piece once, every bar long enough, no bar used more often than there are."""
    given_out: dict[tuple[Fraction, str], int] = {}
    for cut in plan.cuts:
        used = sum((length for length, _ in cut.pieces), F(0)) + kerf * (len(cut.pieces) - 1)
        assert used <= cut.bar.length
        assert cut.left == max(F(0), cut.bar.length - used - kerf)
        for piece in cut.pieces:
            given_out[piece] = given_out.get(piece, 0) + cut.times
    for missed in plan.unmet:
        key = (missed.length, missed.label)
        given_out[key] = given_out.get(key, 0) + missed.count
    wanted: dict[tuple[Fraction, str], int] = {}
    for asked in pieces:
        key = (asked.length, asked.label)
        wanted[key] = wanted.get(key, 0) + asked.count
    assert given_out == wanted
    for bar in {cut.bar for cut in plan.cuts}:
        times = sum(cut.times for cut in plan.cuts if cut.bar == bar)
        assert bar.count is None or times <= bar.count


def test_rolls_of_5600_need_73() -> None:
    """The published least number of rolls, and the published waste."""
    pieces = [Piece(F(length), count, str(length)) for length, count in ROLLS.items()]
    plan = plan_cuts(pieces, [Bar(F(5600))], F(0))
    assert (plan.bars, plan.status, plan.unmet) == (73, "optimal", ())
    waste = 1 - F(407160, 73 * 5600)  # the article gives the total as 407160 mm
    assert round(float(waste) * 100, 3) == 0.401
    exactly_served(plan, pieces, F(0))


def test_rolls_of_5600_have_308_patterns() -> None:
    """The article counts 308 patterns: all that a listed one holds, with room left over or not."""
    pieces = [Piece(F(length), 99, str(length)) for length in ROLLS]
    problem, _ = cutting_stock._whole(pieces, [Bar(F(5600))], F(0))
    patterns = cutting_stock._patterns(problem)
    assert patterns is not None
    held = {
        counts
        for pattern in patterns
        for counts in itertools.product(*(range(count + 1) for count in pattern.counts))
        if any(counts)
    }
    assert len(held) == 308


def test_finals_out_of_raws_need_453() -> None:
    """Chvátal's example."""
    pieces = [Piece(F(length), count, str(length)) for length, count in FINALS.items()]
    plan = plan_cuts(pieces, [Bar(F(100))], F(0))
    assert (plan.bars, plan.status) == (453, "optimal")
    exactly_served(plan, pieces, F(0))


@pytest.mark.parametrize(("wanted", "raw", "least"), [(ROLLS, 5600, 73), (FINALS, 100, 453)])
def test_generated_patterns_find_the_same(
    wanted: dict[int, int], raw: int, least: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Column generation instead of a full list comes to the published numbers, proved."""
    monkeypatch.setattr(cutting_stock, "MOST_PATTERNS", 3)
    pieces = [Piece(F(length), count, str(length)) for length, count in wanted.items()]
    plan = plan_cuts(pieces, [Bar(F(raw))], F(0))
    assert (plan.bars, plan.status) == (least, "optimal")
    exactly_served(plan, pieces, F(0))


def test_relaxed_bound_is_the_published_one() -> None:
    """Without whole numbers Chvátal's example comes to 452.25 rolls (from memory)."""
    from scaler.desk.cutting_columns import generate

    lengths = tuple(FINALS)
    _, bound = generate(lengths, tuple(FINALS.values()), (100,), (None,), (1,))
    assert bound == pytest.approx(452.25, abs=1e-7)


def best_by_search(
    pieces: list[Fraction], bars: list[Bar], kerf: Fraction
) -> tuple[Fraction, int] | None:
    """(bought, bars) of the best plan, every assignment tried; None where nothing serves all."""
    best: tuple[Fraction, int] | None = None

    def place(at: int, rooms: list[tuple[Bar, Fraction]]) -> None:
        nonlocal best
        bought = sum((bar.length for bar, _ in rooms if not bar.owned), F(0))
        if best is not None and (bought, len(rooms)) >= best:
            return
        if at == len(pieces):
            best = (bought, len(rooms))
            return
        need = pieces[at] + kerf
        for number, (bar, room) in enumerate(rooms):
            if need <= room:
                place(at + 1, [*rooms[:number], (bar, room - need), *rooms[number + 1 :]])
        for bar in bars:
            used = sum(1 for other, _ in rooms if other is bar)
            if need <= bar.length + kerf and (bar.count is None or used < bar.count):
                place(at + 1, [*rooms, (bar, bar.length + kerf - need)])

    place(0, [])
    return best


lengths = st.integers(5, 60).map(F)


@settings(max_examples=40, deadline=None)
@given(
    st.lists(lengths, min_size=1, max_size=6),
    st.lists(
        st.builds(
            Bar, st.integers(30, 90).map(F), st.one_of(st.none(), st.integers(1, 2)), st.booleans()
        ),
        min_size=1,
        max_size=3,
    ),
    st.sampled_from([F(0), F(1), F(5, 2)]),
)
def test_against_every_assignment(wanted: list[Fraction], bars: list[Bar], kerf: Fraction) -> None:
    """Small instances: what is bought and how many bars are those of exhaustive search."""
    merged = list(cutting_stock._merged(bars))
    pieces = [Piece(length, 1, str(number)) for number, length in enumerate(wanted)]
    plan = plan_cuts(pieces, bars, kerf)
    exactly_served(plan, pieces, kerf)
    assert plan.status == "optimal" and plan.fewest
    best = best_by_search(sorted(wanted, reverse=True), merged, kerf)
    if best is None:
        assert plan.unmet
    else:
        assert not plan.unmet
        assert (plan.bought, plan.bars) == best
        assert plan.bound <= plan.bought


@settings(max_examples=30, deadline=None)
@given(st.lists(lengths, min_size=2, max_size=5), st.integers(1, 3))
def test_what_is_left_out_is_least(wanted: list[Fraction], count: int) -> None:
    """Where the bars do not reach, the length left out is the least that any choice leaves."""
    bar = Bar(F(60), count, True)
    pieces = [Piece(length, 1, str(number)) for number, length in enumerate(wanted)]
    plan = plan_cuts(pieces, [bar], F(0))
    left_out = sum((piece.length * piece.count for piece in plan.unmet), F(0))
    least = min(
        sum((wanted[n] for n in range(len(wanted)) if n not in chosen), F(0))
        for size in range(len(wanted) + 1)
        for chosen in itertools.combinations(range(len(wanted)), size)
        if size == 0
        or best_by_search(sorted((wanted[n] for n in chosen), reverse=True), [bar], F(0))
    )
    assert left_out == least


def test_order_of_the_pieces_does_not_matter() -> None:
    """The same pieces in another order give the same number of bars and the same length."""
    pieces = [Piece(F(n * 7 % 53 + 11), 1 + n % 3, str(n)) for n in range(12)]
    bars = [Bar(F(100)), Bar(F(160)), Bar(F(90), 2, True)]
    one = plan_cuts(pieces, bars, F(2))
    other = plan_cuts(pieces[::-1], bars[::-1], F(2))
    assert (one.bought, one.bars, one.left) == (other.bought, other.bars, other.left)


def test_a_last_piece_needs_no_cut() -> None:
    """Three pieces of 100 and two cuts of 2 make a bar of 304; a bar of 303 holds only two."""
    fits = plan_cuts([Piece(F(100), 3)], [Bar(F(304))], F(2))
    misses = plan_cuts([Piece(F(100), 3)], [Bar(F(303))], F(2))
    assert (fits.bars, misses.bars) == (1, 2)
    assert fits.left == 0


def test_the_shop_s_own_lengths_go_first() -> None:
    """An offcut that serves is used before anything is bought."""
    plan = plan_cuts([Piece(F(80), 3)], [Bar(F(330)), Bar(F(250), 1, True)], F(2))
    assert plan.bought == 0
    assert [cut.bar.owned for cut in plan.cuts] == [True]
    more = plan_cuts([Piece(F(80), 6)], [Bar(F(330)), Bar(F(250), 1, True)], F(2))
    assert (more.bought, [cut.bar.owned for cut in more.cuts]) == (330, [True, False])


def test_of_two_offcuts_the_shorter_is_cut() -> None:
    """With nothing to buy either way the shorter of the shop's bars is used up."""
    bars = [Bar(F(900), 1, True), Bar(F(120), 1, True)]
    plan = plan_cuts([Piece(F(100), 1)], bars, F(2))
    assert [cut.bar.length for cut in plan.cuts] == [120]


def test_exact_fractions() -> None:
    """Inch lengths are not rounded: three of 4 1/3 in with 1/16 in kerf just fit 13 1/8 in."""
    inch = F(127, 5)
    three = [Piece(F(13, 3) * inch, 3)]
    assert plan_cuts(three, [Bar(F(105, 8) * inch)], inch / 16).bars == 1
    assert plan_cuts(three, [Bar(F(105, 8) * inch - F(1, 10**9))], inch / 16).bars == 2


def test_too_long_for_any_bar() -> None:
    """A piece that no bar can give is named, and the rest is planned."""
    plan = plan_cuts([Piece(F(700), 2, "beam"), Piece(F(50), 1)], [Bar(F(600))], F(2))
    assert [(piece.label, piece.count) for piece in plan.unmet] == [("beam", 2)]
    assert plan.bars == 1


def test_nothing_to_cut() -> None:
    """No pieces, no bars."""
    plan = plan_cuts([], [], F(2))
    assert (plan.cuts, plan.unmet, plan.bars, plan.status) == ((), (), 0, "optimal")


@pytest.mark.parametrize(
    ("pieces", "bars", "kerf"),
    [
        ([Piece(F(0), 1)], [Bar(F(1))], F(0)),
        ([Piece(F(1), 0)], [Bar(F(1))], F(0)),
        ([Piece(F(1), 1)], [Bar(F(0))], F(0)),
        ([Piece(F(1), 1)], [Bar(F(1), 0)], F(0)),
        ([Piece(F(1), 1)], [Bar(F(1))], F(-1)),
        ([Piece(F(1), 20_001)], [Bar(F(1))], F(0)),
    ],
)
def test_refused(pieces: list[Piece], bars: list[Bar], kerf: Fraction) -> None:
    """Lengths, counts and kerfs that mean nothing."""
    with pytest.raises(ValueError):
        plan_cuts(pieces, bars, kerf)


def test_nothing_is_printed() -> None:
    """The solver's own greeting does not get into the output of a command."""
    code = (
        "from fractions import Fraction as F\n"
        "from scaler.desk.cutting_stock import *\n"
        "print(plan_cuts([Piece(F(100), 5)], [Bar(F(330))], F(2)).bars)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "2\n"
