"""Cuts: what is left, from which face, in which passes, and what to read after each."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaler import catalogue
from scaler.as_made.passes import (
    Cuts,
    Dial,
    Faces,
    PassError,
    PassPlan,
    cuts_of,
    plan_passes,
    processes,
)
from scaler.measures.lengths import parse_length

TURNED = cuts_of("turned")


def mm(text: str) -> Fraction:
    """A length as text [mm]."""
    return parse_length(text, "mm").mm


def cuts_in(plan: PassPlan) -> list[tuple[str, Fraction, Fraction]]:
    """What, depth and reading after each pass."""
    return [(item.what, item.cut, item.reading) for item in plan.passes]


def test_a_cut_takes_twice_its_depth_off_a_diameter() -> None:
    """Depth 0.100 in. reduces a diameter by 0.200 in.

    Army TC 9-524, Fundamentals of Machine Tools, on depth of cut (second-hand: read in a copy).
    """
    cuts = Cuts("", mm("0.2 in"), mm("0.1 in"), mm("0.1 in"), mm("0.001 in"), "")
    plan = plan_passes(mm("2 in"), mm("1.8 in"), cuts)
    assert cuts_in(plan) == [("finishing", mm("0.1 in"), mm("1.8 in"))]


def test_a_dial_reading_diameters_shows_twice_the_depth() -> None:
    """A diameter-reading collar moved 0.150 in. gives a cut 0.075 in. deep.

    A machining course's question on collars (second-hand); TC 9-524 names both sorts of collar.
    """
    cuts = Cuts("", mm("0.2 in"), mm("0.075 in"), mm("0.1 in"), mm("0.001 in"), "")
    plan = plan_passes(mm("1 in"), mm("0.85 in"), cuts, dial=Dial(on="diameter"))
    (only,) = plan.passes
    assert (only.figure, only.cut) == (mm("0.15 in"), mm("0.075 in"))


def test_five_eighths_bar_to_a_journal() -> None:
    """5/8 in. bar is 15.875 mm (25.4 mm to the inch, exact: Yard and Pound Act 1959 agreement)."""
    bar = mm("5/8 in")
    assert bar == Fraction("15.875")
    plan = plan_passes(bar, mm("15.82"), TURNED)
    assert plan.left == Fraction("0.055")
    assert cuts_in(plan) == [("finishing", Fraction("0.0275"), Fraction("15.82"))]


def test_the_finishing_cut_is_about_a_tenth() -> None:
    """Common practice: finish with about 0.1 mm (4 thou), after roughing cuts all alike."""
    plan = plan_passes(mm("20"), mm("16"), TURNED)
    assert plan.passes[-1].what == "finishing"
    assert plan.passes[-1].cut == Fraction(1, 10)
    roughing = [item.cut for item in plan.passes[:-1]]
    assert len(set(roughing)) == 1 and roughing[0] == Fraction("1.9") / 4


def test_equal_cuts_from_both_faces() -> None:
    """Common practice: a part symmetrical about its centre line loses the same from each face."""
    plan = plan_passes(mm("30"), mm("28.96"), cuts_of("milled"), faces=Faces.TWO)
    assert plan.each_face == Fraction("0.52")
    for face in (1, 2):
        assert sum(item.cut for item in plan.passes if item.face == face) == Fraction("0.52")
    readings = [item.reading for item in plan.passes]
    assert readings[len(readings) // 2 - 1] == mm("29.48")
    assert readings[-1] == mm("28.96")


def test_figures_from_the_centre_line() -> None:
    """With the readout's nought on the centre line each face ends half the size away from it."""
    dial = Dial(zero_at="centre")
    plan = plan_passes(mm("30"), mm("28.96"), cuts_of("milled"), faces=Faces.TWO, dial=dial)
    last = {item.face: item.figure for item in plan.passes}
    assert last == {1: mm("14.48"), 2: -mm("14.48")}


def test_figures_from_a_stated_nought_that_falls() -> None:
    """A dial set to 2.50 at the surface and falling: the figures go down with the depth."""
    dial = Dial(zero=mm("2.5"), rises=False)
    plan = plan_passes(mm("12"), mm("10.6"), TURNED, dial=dial)
    gone = Fraction(0)
    for item in plan.passes:
        gone += item.cut
        assert item.figure == mm("2.5") - gone
    assert gone == Fraction("0.7")


def test_a_lathe_readout_in_diameters_shows_the_work() -> None:
    """Nought on the centre, counting diameters: the readout shows what the work will read."""
    dial = Dial(zero_at="centre", on="diameter")
    plan = plan_passes(mm("20"), mm("16"), TURNED, dial=dial)
    assert all(item.figure == item.reading for item in plan.passes)


def test_a_bore_grows() -> None:
    """Boring: readings rise; the wrong way is refused."""
    plan = plan_passes(mm("14.6"), mm("15.02"), cuts_of("bored"), grows=True)
    readings = [item.reading for item in plan.passes]
    assert readings == sorted(readings) and readings[-1] == mm("15.02")
    with pytest.raises(PassError, match="metal only comes off"):
        plan_passes(mm("15.02"), mm("15.00"), cuts_of("bored"), grows=True)


def test_metal_that_is_off_stays_off() -> None:
    """A shaft under its target is refused; one at its target needs no cut."""
    with pytest.raises(PassError, match="past 16 mm already"):
        plan_passes(mm("15.9"), mm("16"), TURNED)
    assert plan_passes(mm("16"), mm("16"), TURNED).passes == ()


def test_less_than_the_tool_takes_is_refused() -> None:
    """A hundredth on the diameter is no cut for a turning tool: lap it (common practice)."""
    with pytest.raises(PassError, match=r"no less than 0\.02 mm") as caught:
        plan_passes(mm("16.01"), mm("16"), TURNED)
    assert "lapped" in caught.value.advice
    lapped = plan_passes(mm("16.01"), mm("16"), cuts_of("lapped"))
    assert lapped.passes[-1].reading == 16


@pytest.mark.parametrize(
    ("roughing", "finishing", "word"),
    [
        ("0.03", (), "no room"),
        ("0.5", ("0.01",), "thinner than the tool takes"),
        ("0.5", ("0.4",), "too heavy"),
        ("0.1", ("0.2",), "heavier than the roughing"),
    ],
)
def test_cuts_at_odds_are_refused(roughing: str, finishing: tuple[str, ...], word: str) -> None:
    """Cuts that no tool can take, or that would not hold size, are named."""
    with pytest.raises(PassError, match=word):
        plan_passes(
            mm("20"),
            mm("16"),
            TURNED,
            roughing=mm(roughing),
            finishing=[mm(text) for text in finishing],
        )


def test_the_users_own_cuts_are_kept() -> None:
    """Two finishing cuts of one's own come last, as they were given."""
    plan = plan_passes(
        mm("20"), mm("16"), TURNED, roughing=mm("0.4"), finishing=[mm("0.2"), mm("0.05")]
    )
    assert [item.cut for item in plan.passes[-2:]] == [mm("0.2"), mm("0.05")]
    assert max(item.cut for item in plan.passes) <= mm("0.4")


def test_an_unknown_process_names_the_known_ones() -> None:
    """Processes come from the table of cuts."""
    with pytest.raises(PassError, match="turned"):
        cuts_of("whittled")
    methods = {row.text("designation") for row in catalogue.table("methods").rows}
    assert set(processes()) <= methods


@pytest.mark.parametrize("process", processes())
def test_every_row_of_the_table_makes_sense(process: str) -> None:
    """Thinnest < finishing <= heaviest finish <= roughing, and room to divide."""
    cuts = cuts_of(process)
    assert 0 < cuts.least < cuts.finishing <= cuts.heaviest_finish <= cuts.roughing
    assert cuts.roughing >= 2 * cuts.least
    assert cuts.heaviest_finish >= 2 * cuts.least
    assert cuts.source == "common practice"


hundredths = st.integers(1, 4000).map(lambda n: Fraction(n, 200))


@given(
    left=hundredths,
    process=st.sampled_from(["turned", "bored", "milled", "filed", "ground"]),
    faces=st.sampled_from(list(Faces)),
    step=st.sampled_from([None, Fraction(1, 100), Fraction(1, 50), Fraction(254, 10000)]),
    on=st.sampled_from(["depth", "diameter"]),
)
def test_laws_of_the_cuts(
    left: Fraction, process: str, faces: Faces, step: Fraction | None, on: str
) -> None:
    """Depths add up exactly; none is thinner than the tool takes or heavier than asked; the last
    reading is the target; roughing comes before finishing."""
    cuts = cuts_of(process)
    grows = process == "bored"
    target = Fraction(40)
    present = target - left if grows else target + left
    dial = Dial(step=step, on="diameter" if on == "diameter" else "depth")
    depth = left if faces is Faces.ONE else left / 2
    if depth < cuts.least:
        with pytest.raises(PassError):
            plan_passes(present, target, cuts, grows=grows, faces=faces, dial=dial)
        return
    if depth / cuts.roughing > 200:
        return
    plan = plan_passes(present, target, cuts, grows=grows, faces=faces, dial=dial)
    for face in {item.face for item in plan.passes}:
        mine = [item for item in plan.passes if item.face == face]
        assert sum(item.cut for item in mine) == depth
        assert all(item.cut >= cuts.least for item in mine[-1:])
        assert all(item.cut > 0 for item in mine)
        assert max(item.cut for item in mine) <= cuts.roughing
        assert mine[-1].what == "finishing" and mine[-1].cut <= cuts.heaviest_finish
        kinds = [item.what for item in mine]
        assert kinds == sorted(kinds, reverse=True)
        if step is None:
            assert all(item.cut >= cuts.least for item in mine)
    assert plan.passes[-1].reading == target


def test_the_plan_for_scripts() -> None:
    """Lengths come with their exact twins."""
    answer = plan_passes(mm("16"), mm("15.4"), TURNED).as_dict()
    assert answer["left_mm_rational"] == "3/5"
    assert answer["passes"][0]["reading_mm"] == 15.6


@pytest.mark.parametrize("process", ["lapped", "ground", "reamed", "hand reamed", "opened to suit"])
@given(left=hundredths)
def test_a_fine_process_takes_only_the_last(process: str, left: Fraction) -> None:
    """Turning or boring brings the work near; lapping, grinding or the reamer takes what was left
    for it, and the whole adds up. (That a lap or a reamer is left a little is common practice.)"""
    last, first = cuts_of(process), cuts_of("bored" if "reamed" in process else "turned")
    grows = "reamed" in process
    target = Fraction(20)
    present = target - left if grows else target + left
    depth = left / 2
    if present <= 0 or depth < last.least:
        return
    plan = plan_passes(present, target, last, grows=grows, first=first)
    fine = [item for item in plan.passes if item.process == process]
    coarse = [item for item in plan.passes if item.process == first.process]
    assert sum(item.cut for item in plan.passes) == depth
    assert plan.passes[-1].reading == target and plan.passes[-1] is fine[-1]
    assert fine[-1].cut <= last.heaviest_finish
    if coarse:
        assert sum(item.cut for item in fine) == last.leave
        assert all(item.cut >= first.least for item in coarse)
        assert coarse[-1].cut <= first.heaviest_finish
    else:
        assert depth < last.leave + first.least
    assert len(fine) <= depth / last.roughing + 2


def test_a_reamer_is_left_a_fifth_on_the_diameter() -> None:
    """A 10 mm hole from 9 mm: bored to 9.8, then one pass of the reamer. (0.1 to 0.3 mm for holes of
    this size: common practice.)"""
    plan = plan_passes(mm("9"), mm("10"), cuts_of("reamed"), grows=True, first=cuts_of("bored"))
    assert [item.process for item in plan.passes][-2:] == ["bored", "reamed"]
    assert plan.passes[-2].reading == mm("9.8") and plan.passes[-1].reading == 10
    assert plan.passes[-1].by_hand


def test_every_fine_process_has_one_before_it() -> None:
    """What is left for a process is no less than it must take, and is never turned or milled."""
    for name in processes():
        cuts = cuts_of(name)
        assert cuts.leave == 0 or cuts.leave >= cuts.least
        assert (cuts.leave == 0) is (name in ("turned", "bored", "milled", "slotted"))
