"""Last cuts worked out by hand: what follows what, windows, overlaps, ranges and aims, to the end.

Each test spells its arithmetic out. Readings: slip gauges ± 0.001, micrometer ± 0.002, vernier
± 0.02 mm; widths of last cuts: turned 0.01, ground 0.004, lapped 0.002 mm (instruments and methods
tables, common practice). By these small cases most faults put in by ``tests/mutation`` are seen.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest
from cut_models import BOXES_IN_FRAMES

import scaler
from scaler.checking.check import Checker
from scaler.checking.last_cut import Cuts, NoRange, Window, aim_at

HEAD = '[model]\ntitle = "test"\nscale = "1:1"\n'
READ = "time,action,size,copy,value,instrument,note\n"


def cuts(folder: Path, body: str, *readings: str) -> Cuts:
    """The last cuts of a model; each reading is ``size,copy,value,instrument``."""
    (folder / "model.toml").write_text(HEAD + body, encoding="utf-8")
    if readings:
        text = READ + "".join(f"2026-01-01T00:00:00Z,reading,{line},\n" for line in readings)
        (folder / "readings.csv").write_text(text, encoding="utf-8")
    return Checker(scaler.load(folder)).cuts


def size(name: str, full: str, limits: str = "", tool: str = "") -> str:
    """A size as a line of a part."""
    more = f', limits = "{limits} mm"' if limits else ""
    more += f', instrument = "{tool}"' if tool else ""
    return f'size.{name} = {{ full = "{full} mm", rule = []{more} }}\n'


def keep(name: str, text: str, last: str) -> str:
    """A condition on a last cut."""
    return f'[condition.{name}]\nkeep = "{text}"\nbasis = "last cut {last}"\n'


# --- one after another

CHAIN = (
    "[part.p]\n"
    + size("a", "10", "±0.02", "micrometer")
    + "".join(size(name, "10", tool="slip gauges") for name in "bcd")
    + keep("b", "-'0.02 mm' <= p.b - p.a <= '0.02 mm'", "p.b by turned")
    + keep("c", "-'0.02 mm' <= p.c - p.b <= '0.02 mm'", "p.c by ground")
    + keep("d", "-'0.02 mm' <= p.d - p.c + p.a - '10 mm' <= '0.02 mm'", "p.d by lapped")
)


@pytest.mark.parametrize("order", ["abcd", "dcba", "cadb"])
def test_how_many_cuts_come_before(tmp_path: Path, order: str) -> None:
    """b is cut to a, c to b, d to c and a: none, one, two, three; in whatever order one asks."""
    found = cuts(tmp_path, CHAIN)
    depths = {name: found.depth(f"p.{name}") for name in order}
    assert depths == {"a": 0, "b": 1, "c": 2, "d": 3}
    assert found.served_from("p.d") == ["p.a", "p.c"]
    assert {name: found.depth(f"p.{name}") for name in order} == depths


def test_what_is_made_is_waited_for_no_more(tmp_path: Path) -> None:
    """With a read, b hangs on nothing and is the first all the same; with c read, d hangs on a
    alone."""
    found = cuts(tmp_path, CHAIN, "p.a,,10 mm,micrometer")
    assert [found.depth(f"p.{name}") for name in "abcd"] == [0, 1, 2, 3]
    assert found.served_from("p.b") == []
    found = cuts(tmp_path, CHAIN, "p.c,,10 mm,slip gauges")
    assert [found.depth(f"p.{name}") for name in "abcd"] == [0, 1, 0, 1]
    assert found.served_from("p.d") == ["p.a"]
    assert not found.is_open("p.c")
    assert found.is_open("p.d")


def test_a_ring_is_told_from_its_first_name(tmp_path: Path) -> None:
    """a is cut to what b defines, b to c's, c to a's; d stands outside and is not named."""
    body = "[part.p]\n" + "".join(size(name, "10") for name in "abcd")
    body += "".join(f"size.of_{name} = {{ equals = \"p.{name} + '1 mm'\" }}\n" for name in "abc")
    for last, other in ("ab", "bc", "ca", "dc"):
        body += keep(last, f"'0.9 mm' <= p.of_{other} - p.{last} <= '1.1 mm'", f"p.{last}")
    found = cuts(tmp_path, body)
    for name in "dcba":
        with pytest.raises(NoRange, match=r"definitions: p\.a > p\.b > p\.c > p\.a$"):
            found.depth(f"p.{name}")


def test_a_refused_part_stops_no_other(tmp_path: Path) -> None:
    """A pressure part has no figure: its statement leaves no window, the next one does."""
    body = '[part.shell]\nservice = "pressure"\n' + size("bore", "10")
    body += "[part.p]\n" + size("x", "10") + size("y", "10", "±0.01")
    body += keep("first", "'0 mm' <= shell.bore - p.x <= '1 mm'", "p.x")
    body += keep("second", "-'0.1 mm' <= p.y - p.x <= '0.1 mm'", "p.x")
    assert [item.id for item in cuts(tmp_path, body).statements("p.x")] == ["second"]


# --- windows

LEVER = "[part.p]\n" + size("x", "5") + size("y", "10", "±0.1", "vernier")


@pytest.mark.parametrize(
    ("text", "lower", "upper", "track"),
    [
        # 2 y − 4 x + 3 from 1 to 5: 4 x from 2 y + 3 − 5 to 2 y + 3 − 1
        ("'1 mm' <= 2*p.y - 4*p.x + '3 mm' <= '5 mm'", F("4.5"), F("5.5"), F("0.5")),
        # x/2 + 3 y from 31 to 33: x from 62 − 6 y to 66 − 6 y
        ("'31 mm' <= p.x / 2 + 3*p.y <= '33 mm'", F(2), F(6), F(-6)),
        # y − x at least 4, at most 6; x + y at least 14
        ("p.y - p.x >= '4 mm'", None, F(6), F(1)),
        ("p.y - p.x <= '6 mm'", F(4), None, F(1)),
        ("p.x + p.y >= '14 mm'", F(4), None, F(-1)),
    ],
)
def test_the_window_that_a_statement_leaves(
    tmp_path: Path, text: str, lower: F | None, upper: F | None, track: F
) -> None:
    """Ends at y = 10, how x moves with y, and y's reading of ± 0.02 carried to x; with y read as
    10 its share is of what stands, and nothing moves."""
    body = LEVER + keep("c", text, "p.x")
    worth = abs(track) * F("0.02")
    (window,) = cuts(tmp_path, body).windows("p.x")
    assert window == Window("c", lower, upper, {"p.y": track}, worth)
    (window,) = cuts(tmp_path, body, "p.y,,10 mm,micrometer").windows("p.x")
    assert window == Window("c", lower, upper, {}, worth / 10, worth / 10)


def test_own_limits_stand_as_one_more_window(tmp_path: Path) -> None:
    """10 + 0.03 and − 0.01, where they are stated, and only for what is cut last."""
    body = "[part.p]\n" + size("x", "10", "+0.03 -0.01") + size("y", "10", "±0.01", "micrometer")
    body += keep("c", "p.y - p.x >= -'0.1 mm'", "p.x")
    found = cuts(tmp_path, body)
    own = Window("p.x:limits", F("9.99"), F("10.03"), {}, F(0))
    assert found.with_own("p.x") == (*found.windows("p.x"), own)
    assert found.with_own("p.y") == ()
    assert found.follows("p.x") is None  # two windows: it is kept between them


def test_the_finest_cut_asked_for(tmp_path: Path) -> None:
    """Ground and lapped are asked for: lapped. Where none is asked for, the rule's."""
    body = (
        "[part.p]\n" + size("y", "10", "±0.01") + 'size.x = { full = "10 mm", rule = "turned" }\n'
    )
    body += 'size.z = { full = "10 mm", rule = "turned" }\n'
    for name, last in (("c", "p.x by ground"), ("d", "p.x by lapped"), ("e", "p.z"), ("f", "p.x")):
        body += keep(name, f"-'0.1 mm' <= p.y - {last[:3]} <= '0.1 mm'", last)
    found = cuts(tmp_path, body)
    assert found.tolerance("p.x") == (F("0.002"), "lapped")
    assert found.tolerance("p.z") == (F("0.01"), "turned")
    assert found.straight("p.x")
    assert len(found.windows("p.x")) == 3


# --- sums over sizes that follow


def test_a_sum_follows_what_is_cut(tmp_path: Path) -> None:
    """b = a ± (0.005 + 0.002), c = b ± (0.002 + 0.001), d = c − a + 10 ± (0.001 + 0.003), as the
    readings of both count; a = 10 ± 0.02. Sums of them, the last cut put in first."""
    found = cuts(tmp_path, CHAIN)
    one, two = F("0.007"), F("0.003")
    assert found.untied(F(0), {"p.b": F(1)}) == (-one, one, {"p.a": F(1)})
    # 2 b − 2 a: a cancels, and is not left over
    assert found.untied(F(5), {"p.b": F(2), "p.a": F(-2)}) == (5 - 2 * one, 5 + 2 * one, {})
    assert found.untied(F(0), {"p.a": F(3), "p.b": F(-1)}) == (-one, one, {"p.a": F(2)})
    # c − b is the second cut's alone, whichever is named first
    for factors in ({"p.c": F(1), "p.b": F(-1)}, {"p.b": F(-1), "p.c": F(1)}):
        assert found.untied(F(0), factors) == (-two, two, {})
    # d + a = c + 10 and so b + 10
    low, high, left = found.untied(F(0), {"p.a": F(1), "p.d": F(1), "p.c": F(0)})
    assert (low, high, left) == (F("9.986"), F("10.014"), {"p.a": F(1)})
    assert found.span(F(1), {"p.b": F(-2)}) == (F("-19.054"), F("-18.946"))
    assert found.span(F(1), {"p.a": F(-2), "p.b": F(1)}) == (F("-9.027"), F("-8.973"))
    assert found.range_of("p.a") == (F("-0.02"), F("0.02"))
    assert found.range_of("p.c") == (F("-0.03"), F("0.03"))


def test_a_sum_over_what_has_been_read(tmp_path: Path) -> None:
    """a read as 10.004 by micrometer: that leaves b 9.984 to 10.024, in which 10 is aimed at, ± 0.005;
    what the reading was off no longer moves b."""
    found = cuts(tmp_path, CHAIN, "p.a,,10.004 mm,micrometer")
    assert found.untied(F(0), {"p.b": F(1)}) == (F("9.995"), F("10.005"), {})
    assert found.range_of("p.b") == (F("-0.005"), F("0.005"))


def test_no_limits_no_sum(tmp_path: Path) -> None:
    """The general limits end somewhere: beyond them nothing is known, unless nothing hangs on it."""
    body = "[part.p]\n" + size("a", "9000") + size("b", "9000")
    found = cuts(tmp_path, body)
    with pytest.raises(NoRange, match=r"^p\.a has no limits \(none: "):
        found.span(F(0), {"p.a": F(1)})
    assert found.span(F(3), {"p.a": F(0)}) == (3, 3)


# --- several windows at once


def between(first: str, second: str, full: str = "10", limit: str = "0.005") -> str:
    """x in two windows, to y0 = 10.05 and y1 of a size, by slip gauges, turned last."""
    body = "[part.p]\n" + size("x", full) + size("y0", "10.05", f"±{limit}", "slip gauges")
    body += size("y1", second.partition(" ")[0], f"±{limit}", "slip gauges")
    body += keep("c0", first, "p.x by turned")
    return body + keep("c1", second.partition(" ")[2], "p.x by turned")


BOTH = "'0.03 mm' <= p.y{n} - p.x <= '0.07 mm'"
LEAST = "p.y{n} - p.x >= '0.03 mm'"
MOST = "p.y{n} - p.x <= '0.07 mm'"


@pytest.mark.parametrize(
    ("side", "other", "full", "limit", "low", "high"),
    [
        # y0 = 10.05 leaves 9.98 to 10.02 and y1 = 10.06 leaves 9.99 to 10.03, both ± 0.005: x is
        # kept above the higher of the lower ends and below the lower of the upper ones
        (BOTH, "10.06", "10", "0.005", "9.985", "10.025"),
        # y1 = 10.10 leaves 10.03 to 10.07: no room. The middle of 10.02 and 10.03 is 10.025 ± 0.005,
        # read to ± (0.001 + 0.001)/2 and cut to ± 0.005: 0.011 either way
        (BOTH, "10.10", "10", "0.005", "10.014", "10.036"),
        # ± 0.02 leaves too little at worst, and the ends themselves reach further than the middle
        (BOTH, "10.06", "10", "0.02", "9.97", "10.04"),
        # above 9.98 and 9.99 ± 0.005 only: at most half a cut over 10, or over the higher end as
        # read (+ 0.001), clear of it by 0.001 + 0.005, and 0.005 over that: 9.995 + 0.012
        (MOST, "10.06", "10", "0.005", "9.985", "10.007"),
        (MOST, "10.06", "10.02", "0.005", "9.985", "10.025"),
        # below 10.02 and 10.03 ± 0.005 only: half a cut under 10, or 0.012 under 10.015
        (LEAST, "10.06", "10", "0.005", "9.995", "10.025"),
        (LEAST, "10.06", "10.01", "0.005", "10.003", "10.025"),
    ],
)
def test_where_a_size_lies_that_serves_two(
    tmp_path: Path, side: str, other: str, full: str, limit: str, low: str, high: str
) -> None:
    """Both windows at once, or what is left between them."""
    body = between(side.format(n=0), f"{other} {side.format(n=1)}", full, limit)
    found = cuts(tmp_path, body)
    assert found.follows("p.x") is None
    lies = found.range_of("p.x")
    assert lies == (F(low) - F(full), F(high) - F(full))
    # a sum takes the size anywhere there: 1 − 2 x
    assert found.span(F(1), {"p.x": F(-2)}) == (1 - 2 * F(high), 1 - 2 * F(low))


def test_a_sum_over_one_in_a_range_and_one_that_follows(tmp_path: Path) -> None:
    """x lies from 9.985 to 10.025 (as above), w = y0 − 0.05 ± (0.005 + 0.001): x + 2 w − 2 y0."""
    body = between(BOTH.format(n=0), f"10.06 {BOTH.format(n=1)}")
    body = body.replace("[part.p]\n", "[part.p]\n" + size("w", "10"), 1)
    body += keep("c2", "'0.03 mm' <= p.y0 - p.w <= '0.07 mm'", "p.w by turned")
    found = cuts(tmp_path, body)
    for names in (("p.x", "p.w", "p.y0"), ("p.w", "p.y0", "p.x")):
        factors = {"p.x": F(1), "p.w": F(2), "p.y0": F(-2)}
        low, high, left = found.untied(F(0), {name: factors[name] for name in names})
        assert (low, high, left) == (F("9.985") - F("0.112"), F("10.025") - F("0.088"), {})


def test_the_middle_between_two_windows(tmp_path: Path) -> None:
    """Of 9.99 and 10.02, half of how either moves: y0 counts half, y1 half; what has been read moves
    nothing and is read no more."""
    body = between(BOTH.format(n=0), f"10.06 {BOTH.format(n=1)}")
    found = cuts(tmp_path, body)
    first, second = found.windows("p.x")
    half = F("0.005") + F("0.001") + F("0.005")
    assert found.between(second, first, F("0.01"), {}) == (F("10.005") - half, F("10.005") + half)
    assert found.overlap(first, second) == F("0.02")
    assert found.overlap(second, first) == F("0.04")
    assert found.overlap(first, first) == F("0.04")
    half = F("0.0025") + F("0.0005") + F("0.005")
    for read in ("p.y1,,10.06 mm,vernier", "p.y0,,10.05 mm,vernier"):
        found = cuts(tmp_path, body, read)
        first, second = found.windows("p.x")
        middle = found.between(second, first, F("0.01"), {})
        assert middle == (F("10.005") - half, F("10.005") + half)
        assert found.overlap(first, second) == F("0.025")


@pytest.mark.parametrize(
    ("worth", "made", "need"),
    [
        # both as read at the cut: once each
        (("0.004", "0.002"), ("0", "0"), "0.016"),
        # what has been read before counts twice, the larger of the two: 0.001 + 0.001 + 2 × 0.003
        (("0.004", "0.002"), ("0.003", "0.001"), "0.018"),
        (("0.004", "0.002"), ("0.001", "0.002"), "0.017"),
        (("0.004", "0.002"), ("0.004", "0"), "0.02"),
    ],
)
def test_what_a_cut_needs_between_two_windows(
    tmp_path: Path, worth: tuple[str, str], made: tuple[str, str], need: str
) -> None:
    """0.01 for the cut and the readings on both ends; as much as that is not enough, more is."""
    found = cuts(tmp_path, LEVER)
    for gap, lacks in ((F(need), True), (F(need) + F(1, 10**6), False)):
        one = Window("one", None, gap, {}, F(worth[0]), F(made[0]))
        other = Window("other", F(0), None, {}, F(worth[1]), F(made[1]))
        expected = (gap, F(need)) if lacks else None
        assert found.lacking(one, other, F("0.01"), {}) == expected
        assert found.lacking(other, one, F("0.01"), {}) is None  # no ends on those sides


@pytest.mark.parametrize(
    ("basic", "windows", "aim"),
    [
        # half of 0.01 and the reading's 0.002 off either end: from 9.987 to 10.013
        ("10", (("9.98", "10.02", "0.002"),), "10"),
        ("9.9", (("9.98", "10.02", "0.002"),), "9.987"),
        ("10.2", (("9.98", "10.02", "0.002"),), "10.013"),
        # exactly room: 9.98 + 0.009 is 9.995 − 0.006; not their middle, 9.9875
        ("10", (("9.98", None, "0.004"), (None, "9.995", "0.001")), "9.989"),
        # no room between 9.989 and 9.984: the middle of the ends as they are, 9.98 and 9.99,
        # whatever lies further out
        ("10", (("9.98", "10.5", "0.004"), ("9.95", "9.99", "0.001")), "9.985"),
        # one end only, and none
        ("10", (("9.999", None, "0.002"), ("9.9", None, "0.001")), "10.006"),
        ("10", ((None, "10.001", "0.002"), (None, "10.5", "0.001")), "9.994"),
        ("10", (), "10"),
    ],
)
def test_the_aim_by_hand(
    basic: str, windows: tuple[tuple[str | None, str | None, str], ...], aim: str
) -> None:
    """Nearest to the basic size inside every window, else the middle of what is left."""
    found = [
        Window("", None if low is None else F(low), None if up is None else F(up), {}, F(worth))
        for low, up, worth in windows
    ]
    assert aim_at(F(basic), found, F("0.01")) == F(aim)


# --- copies


def test_copies_each_in_its_own_range(tmp_path: Path) -> None:
    """Gaps read 20.08 and 20.13 by slip gauges; a milled cut takes 0.01. The left box stays at 20
    ± 0.005; the right one keeps off 20.13 − 0.13 by 0.006, so 20.006 ± 0.005. The box by itself
    lies in both; a sum for one copy takes that one."""
    gaps = ("frame.gap,left,20.08 mm,slip gauges", "frame.gap,right,20.13 mm,slip gauges")
    found = cuts(tmp_path, BOXES_IN_FRAMES, *gaps)
    assert found.copies("box.width") == ["left", "right"]
    assert found.copies("frame.gap") == [""]
    assert found.copies("spacer.width") == [""]
    ids = ["box_in_frame@left", "box_in_frame@right"]
    assert [item.id for item in found.statements("box.width")] == ids
    assert [item.id for item in found.statements("box.width", "right")] == ids[1:]
    assert [item.id for item in found.statements("spacer.width", "right")] == [
        "spacer_in_frame@left",
        "spacer_in_frame@right",
    ]
    assert found.met("box.width", "left") == {"": "left", "box": "left", "frame": "left"}
    assert found.met("spacer.width", "") == {"": ""}  # it meets both
    left, right = (F("-0.005"), F("0.005")), (F("0.001"), F("0.011"))
    assert found.range_of("box.width", "left") == left
    assert found.range_of("box.width", "right") == right
    assert found.range_of("box.width") == (left[0], right[1])
    one = {"box.width": F(1)}
    assert found.span(F(-20), one) == (left[0], right[1])
    assert found.span(F(-20), one, {"box": "right"}) == right
    assert found.span(F(-20), one, {"": "left"}) == left
    assert found.span(F(-20), one, {"": "right", "box": "left"}) == left
    assert found.of_copy("box.width", {"box": "third"}) == ""
    assert found.of_copy("spacer.width", {"": "left"}) == ""


def test_a_copy_with_a_value_of_its_own_is_a_size_by_itself(tmp_path: Path) -> None:
    """The left box is chosen by itself: it is cut last as ``box.width@left``, the right one as the
    right copy of the size."""
    (tmp_path / "choices.csv").write_text(
        "time,action,size,value,method,row,note\n"
        "2026-01-01T00:00:00Z,choose,box.width@left,20 mm,milled,,\n",
        encoding="utf-8",
    )
    found = cuts(tmp_path, BOXES_IN_FRAMES)
    last = {item.id: found.last_of(item) for item in found.checker.statements[:2]}
    assert last == {
        "box_in_frame@left": ("box.width@left", ""),
        "box_in_frame@right": ("box.width", "right"),
    }
    assert found.is_open("box.width@left")
    own = cuts(
        tmp_path, BOXES_IN_FRAMES.replace('"milled" }', '"milled", limits = "±0.02 mm" }', 1)
    )
    assert own.with_own("box.width@left")[1:] == (
        Window("box.width@left:limits", F("19.98"), F("20.02"), {}, F(0)),
    )


# --- what is said


def test_the_worst_lack_is_the_one_told(tmp_path: Path) -> None:
    """9.98 to 10.02 by itself has room. Over 10.015 ± 0.001 by slip gauges leaves 0.004 of the
    0.011 needed, 0.007 short; over 9.999 ± 0.001 by vernier leaves 0.02 of 0.03, 0.01 short; over
    10.019 ± 0.001 nothing of 0.03."""
    for leaves, gap in (("0.051", "0.0200"), ("0.031", "0.0000"), ("0.03", "short")):
        body = "[part.p]\n" + size("x", "10") + size("ya", "10.05", "±0.001", "slip gauges")
        body += size("yb", "10.05", "±0.001", "vernier")
        body += keep("wide", "'9.98 mm' <= p.x <= '10.02 mm'", "p.x by turned")
        body += keep("a", "p.ya - p.x <= '0.035 mm'", "p.x by turned")
        body += keep("b", f"p.yb - p.x <= '{leaves} mm'", "p.x by turned")
        finding = cuts(tmp_path, body).checker.findings[0]
        wide = "short by 0.0010 mm" if gap == "short" else f"{gap} mm wide"
        said = f"not promised: the window left for p.x with b is {wide} at worst, and the last cut"
        assert finding.note.startswith(f"{said} (turned) with the readings needs more than 0.0300 ")


def test_a_lack_on_the_other_side(tmp_path: Path) -> None:
    """9.98 to 10.02, and below 9.985 ± 0.001: 0.004 of the 0.011 needed."""
    body = "[part.p]\n" + size("x", "10") + size("y", "10.05", "±0.001", "slip gauges")
    body += keep("wide", "'9.98 mm' <= p.x <= '10.02 mm'", "p.x by turned")
    body += keep("below", "p.y - p.x >= '0.065 mm'", "p.x by turned")
    finding = cuts(tmp_path, body).checker.findings[0]
    assert "left for p.x with below is 0.0040 mm wide at worst" in finding.note
    assert "needs more than 0.0110 mm" in finding.note


def test_a_statement_of_no_model_joins_the_windows(tmp_path: Path) -> None:
    """9.98 to 10.02, and 10.006 to 10.03 besides: the nearest that leaves half of 0.01 is 10.011."""
    body = "[part.p]\n" + size("x", "10")
    body += keep("c", "'9.98 mm' <= p.x <= '10.02 mm'", "p.x by turned")
    checker = cuts(tmp_path, body).checker
    asked = replace(checker.statements[0], id="asked", lower=F("10.006"), upper=F("10.03"))
    (bounds, aim, note) = checker.on_basis(asked, F(10))
    assert aim is not None
    assert (bounds, aim.target, note) == ((F("10.006"), F("10.016")), F("10.011"), "")
