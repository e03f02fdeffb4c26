"""Last cuts, case by case: aims, copies, own limits, slopes, and what is not promised."""

from __future__ import annotations

import itertools
import math
from fractions import Fraction as F
from pathlib import Path

import pytest
from cut_models import BOXES_IN_FRAMES

import scaler
from scaler.checking.check import Checker, Finding
from scaler.checking.last_cut import NoRange, range_of
from scaler.records import Model, Stage

HEAD = '[model]\ntitle = "test"\nscale = "1:1"\n'


def model_of(folder: Path, body: str, readings: str = "") -> Model:
    """A model whose text is a head and this."""
    (folder / "model.toml").write_text(HEAD + body, encoding="utf-8")
    if readings:
        text = "time,action,size,copy,value,instrument,note\n" + readings
        (folder / "readings.csv").write_text(text, encoding="utf-8")
    return scaler.load(folder)


def found(model: Model) -> dict[str, Finding]:
    """All findings by the statement's name."""
    return {f.statement.id: f for f in Checker(model).findings}


READ = "2026-01-01T00:00:00Z,reading,"
SHAFT = """
[part.p]
size.hole = {{ full = "10.05 mm", kind = "internal", rule = [], limits = "+0.02 -0.02 mm" }}
size.pin = {{ full = "{pin} mm", kind = "external", rule = "turned step 0.005 mm"{more} }}
[pair.runs]
inner = "p.pin"
outer = "p.hole"
fit = "{fit} mm"
basis = "last cut p.pin{by}"
"""


def shaft(folder: Path, fit: str, pin: str = "10", more: str = "", by: str = "") -> Finding:
    """A pin cut last to a hole of 10.05 ± 0.02 (bore gauge ± 0.003, turned cut 0.01)."""
    return found(model_of(folder, SHAFT.format(fit=fit, pin=pin, more=more, by=by)))["runs"]


def test_only_the_cut_and_the_readings_count(tmp_path: Path) -> None:
    """The hole may be 0.02 either way; the window found is 0.05 ± (0.005 + 0.003)."""
    finding = shaft(tmp_path, "0.03 to 0.07")
    assert finding.verdict == "holds"
    assert finding.found == (F("0.042"), F("0.058"))
    assert finding.aim is not None
    assert (finding.aim.size, finding.aim.target, finding.aim.margin, finding.aim.by) == (
        "p.pin",
        F(10),
        F("0.008"),
        "turned",
    )


def test_the_aim_is_shifted_no_more_than_it_must(tmp_path: Path) -> None:
    """Basic 0.05 at the edge of 0.045 to 0.07: aimed at 0.053, which leaves 0.008 to the edge."""
    finding = shaft(tmp_path, "0.045 to 0.07")
    assert finding.verdict == "holds" and finding.basic == F("0.05")
    assert finding.aim is not None and finding.aim.target == F("9.997")
    assert finding.found == (F("0.045"), F("0.061"))
    other = shaft(tmp_path, "0.03 to 0.055")
    assert other.aim is not None and other.aim.target == F("10.003")


def test_a_window_as_narrow_as_the_cut_is_not_promised(tmp_path: Path) -> None:
    """Needed: 0.01 + 2 × 0.003 = 0.016, and more than that; lapped, 0.008."""
    assert shaft(tmp_path, "0.042 to 0.058").verdict == "doubtful"
    finding = shaft(tmp_path, "0.043 to 0.057")
    assert finding.verdict == "doubtful" and str(finding.cause) == "limits"
    assert "0.0140 mm wide at worst" in finding.note and "more than 0.0160 mm" in finding.note
    assert shaft(tmp_path, "0.0419 to 0.058").verdict == "holds"
    lapped = shaft(tmp_path, "0.045 to 0.055", by=" by lapped")
    assert lapped.verdict == "holds" and lapped.found == (F("0.046"), F("0.054"))


def test_the_cut_that_would_leave_room_is_named_and_does(tmp_path: Path) -> None:
    """The widest last cut of the methods table that fits in: 0.014 − 0.006 leaves 0.008, so ground
    (0.004); 0.0081 − 0.006 leaves 0.0021, so lapped (0.002); 0.008 leaves no process at all."""
    for fit, named in (("0.043 to 0.057", "ground"), ("0.046 to 0.0541", "lapped")):
        note = shaft(tmp_path, fit).note
        assert f"basis = 'last cut p.pin by {named}' would leave room" in note
        assert shaft(tmp_path, fit, by=f" by {named}").verdict == "holds"
    note = shaft(tmp_path, "0.046 to 0.054").note
    assert "no process here cuts so closely" in note and "would leave room" not in note


def test_a_basic_size_outside_its_window_is_outside_whatever_the_basis(tmp_path: Path) -> None:
    """Tight and loose are of the basic sizes."""
    assert shaft(tmp_path, "0.06 to 0.1").verdict == "tight"
    assert shaft(tmp_path, "0.01 to 0.04").verdict == "loose"


def test_a_one_sided_window(tmp_path: Path) -> None:
    """At least 0.045: the aim keeps off that side; at least 0.01: it stays where it was."""
    finding = shaft(tmp_path, "at least 0.045")
    assert finding.verdict == "holds"
    assert finding.aim is not None and finding.aim.target == F("9.997")
    plain = shaft(tmp_path, "at least 0.01")
    assert plain.aim is not None and plain.aim.target == F(10)


def test_its_own_limits_are_a_window_too(tmp_path: Path) -> None:
    """A pin that may be 10 ± 0.01 cannot follow a hole of ± 0.02 all the way; one of ± 0.03 can."""
    narrow = shaft(tmp_path, "0.03 to 0.07", more=', limits = "±0.01 mm"')
    assert narrow.verdict == "doubtful" and "with p.pin:limits" in narrow.note
    wide = shaft(tmp_path, "0.03 to 0.07", more=', limits = "±0.03 mm"')
    assert wide.verdict == "holds"


def test_made_is_judged_by_the_readings(tmp_path: Path) -> None:
    """Both read: 10.06 less 10.01, ± (0.003 + 0.002); nothing is left to aim at."""
    body = SHAFT.format(fit="0.03 to 0.07", pin="10", more="", by="")
    readings = f"{READ}p.hole,,10.06 mm,bore gauge,\n{READ}p.pin,,10.01 mm,micrometer,\n"
    finding = found(model_of(tmp_path, body, readings))["runs"]
    assert finding.aim is None and finding.found == (F("0.045"), F("0.055"))
    assert finding.note == "p.pin is made: judged by the readings"
    assert finding.verdict == "holds"
    tight = found(model_of(tmp_path, body, readings.replace("10.01", "10.027")))["runs"]
    assert tight.verdict == "doubtful"  # 0.033 less the guard band is 0.028


def test_the_finest_cut_that_is_asked_for_counts_for_all(tmp_path: Path) -> None:
    """One cut: where one statement has it lapped, it is lapped for the others too."""
    body = SHAFT.format(fit="0.03 to 0.07", pin="10", more="", by="")
    body += """
[condition.again]
keep = "'0.044 mm' <= p.hole - p.pin <= '0.056 mm'"
basis = "last cut p.pin by lapped"
"""
    results = found(model_of(tmp_path, body))
    assert results["runs"].verdict == results["again"].verdict == "holds"
    assert results["runs"].aim == results["again"].aim
    assert results["runs"].found == (F("0.046"), F("0.054"))


def test_windows_that_part_when_the_others_stray(tmp_path: Path) -> None:
    """One pin in two holes: each alone would do, both only while the holes stay alike."""
    body = """
[part.p]
size.one = {{ full = "10.05 mm", kind = "internal", rule = [], limits = "±{limit} mm" }}
size.two = {{ full = "10.05 mm", kind = "internal", rule = [], limits = "±{limit} mm" }}
size.pin = {{ full = "10 mm", kind = "external", rule = "turned" }}
[pair.first]
inner = "p.pin"
outer = "p.one"
fit = "0.03 to 0.07 mm"
basis = "last cut p.pin"
[pair.second]
inner = "p.pin"
outer = "p.two"
fit = "0.03 to 0.07 mm"
basis = "last cut p.pin"
"""
    # 0.04 wide, apart by twice the limit at worst, 0.016 needed
    for limit, verdict in (("0.011", "holds"), ("0.012", "doubtful"), ("0.03", "doubtful")):
        results = found(model_of(tmp_path, body.format(limit=limit)))
        assert {str(f.verdict) for f in results.values()} == {verdict}
    assert "with second" in results["first"].note
    assert "short by 0.0200 mm at worst" in results["first"].note


def test_each_copy_is_cut_to_its_own(tmp_path: Path) -> None:
    """Two gaps read 0.05 apart: each box to its own gap; the one spacer cannot suit both."""
    readings = (
        f"{READ}frame.gap,left,20.08 mm,slip gauges,\n{READ}frame.gap,right,20.13 mm,slip gauges,\n"
    )
    results = found(model_of(tmp_path, BOXES_IN_FRAMES, readings))
    left, right = results["box_in_frame@left"], results["box_in_frame@right"]
    assert left.verdict == right.verdict == "holds"
    assert left.aim is not None and right.aim is not None
    # as near 20 as leaves 0.07 (0.13) and 0.006 (half the cut and the reading) clear
    assert (left.aim.target, right.aim.target) == (F(20), F("20.006"))
    for name in ("spacer_in_frame@left", "spacer_in_frame@right"):
        assert results[name].verdict == "doubtful" and "not promised" in results[name].note
    low, high = range_of(Checker(scaler.load(tmp_path)), "box.width")
    assert low <= F("-0.005") and high >= F("0.011")


def test_one_box_made_the_other_still_to_cut(tmp_path: Path) -> None:
    """The left box has been read and is judged by its reading; the right one is still a last cut."""
    results = found(
        model_of(tmp_path, BOXES_IN_FRAMES, f"{READ}box.width,left,20.02 mm,micrometer,\n")
    )
    left, right = results["box_in_frame@left"], results["box_in_frame@right"]
    assert left.aim is None and left.basic == F("0.08")
    assert left.verdict == "doubtful"  # the gap may be 0.01 smaller
    assert right.aim is not None and right.verdict == "holds"


def test_a_ring_through_definitions_is_not_promised(tmp_path: Path) -> None:
    """Each is cut last to what the other defines: no order of making them exists."""
    body = """
[part.p]
size.a = { full = "10 mm", rule = "milled" }
size.b = { full = "10 mm", rule = "milled" }
size.of_a = { equals = "p.a + '1 mm'" }
size.of_b = { equals = "p.b + '1 mm'" }
[condition.one]
keep = "'0.9 mm' <= p.of_b - p.a <= '1.1 mm'"
basis = "last cut p.a"
[condition.two]
keep = "'0.9 mm' <= p.of_a - p.b <= '1.1 mm'"
basis = "last cut p.b"
[condition.over]
keep = "p.a + p.b <= '30 mm'"
basis = "both limits"
"""
    model = model_of(tmp_path, body)
    for finding in found(model).values():
        assert finding.verdict == "doubtful"
        assert "form a ring through definitions: p.a > p.b > p.a" in finding.note
    with pytest.raises(NoRange):
        range_of(Checker(model), "p.a")


def test_a_worst_case_counts_on_the_aim(tmp_path: Path) -> None:
    """What stands over a size that is cut last is told so, and takes the cut for its limits: the
    pin follows the hole, so hole less pin and a collar of ± 0.02 makes 0.05 ± (0.008 + 0.02)."""
    body = SHAFT.format(fit="0.03 to 0.07", pin="10", more="", by="")
    body += """
[part.q]
size.collar = { full = "5 mm", kind = "length", rule = "milled" }
[condition.over]
keep = "p.hole - p.pin + q.collar >= '5 mm'"
basis = "both limits"
"""
    over = found(model_of(tmp_path, body))["over"]
    assert over.found == (F("5.022"), F("5.078"))
    assert over.note == "counts on the last cut of p.pin as it is aimed"


def test_rounded_and_exact_look_at_basic_sizes_only(tmp_path: Path) -> None:
    """No basis but the chosen stage's."""
    model = model_of(tmp_path, SHAFT.format(fit="0.03 to 0.07", pin="10", more="", by=""))
    for stage in (Stage.EXACT, Stage.ROUNDED):
        (finding,) = Checker(model, stage).findings
        assert finding.found == (F("0.05"), F("0.05")) and finding.aim is None


# --- statements that are not linear

SLOPED = """
[part.p]
size.rise = {{ full = "30 mm", rule = [], limits = "±0.1 mm" }}
size.run = {{ full = "40 mm", rule = "milled step 0.005 mm" }}
size.strut = {{ full = "50 mm", rule = [], limits = "±0.05 mm" }}
[condition.closes]
keep = "-'{slack} mm' <= sqrt(p.rise^2 + p.run^2) - p.strut <= '{slack} mm'"
basis = "last cut p.run"
"""


def test_a_slanting_last_cut_is_never_broken(tmp_path: Path) -> None:
    """The run of a strut's triangle is cut last to the measured rise and strut: at every corner of
    sizes, readings and cut, in double precision, the gap stays in what was found.
    """
    model = model_of(tmp_path, SLOPED.format(slack="0.06"))
    checker = Checker(model)
    (finding,) = checker.findings
    assert finding.verdict == "holds"
    low, high = (float(end) for end in finding.found if end is not None)
    aim = (low + high) / 2
    down, up = (float(end) for end in range_of(checker, "p.run"))
    worth = 0.002  # micrometer, the first of the instruments table that reads a length
    gaps, runs = [], []
    for s, t, d, e, c in itertools.product((-1, 1), repeat=5):
        rise, strut = 30 + 0.1 * s, 50 + 0.05 * t
        read_rise, read_strut = rise + worth * d, strut + worth * e
        run = math.sqrt((read_strut + aim) ** 2 - read_rise**2) + 0.005 * c
        gaps.append(math.hypot(rise, run) - strut)
        runs.append(run - 40)
    assert low <= min(gaps) and max(gaps) <= high
    assert down <= min(runs) and max(runs) <= up
    # and not much wider than it need be
    assert high - low < 1.1 * (max(gaps) - min(gaps)) and up - down < 1.1 * (max(runs) - min(runs))


def test_a_slanting_window_too_narrow(tmp_path: Path) -> None:
    """0.002 either way is less than the cut alone makes (0.8 × 0.005)."""
    (finding,) = found(model_of(tmp_path, SLOPED.format(slack="0.002"))).values()
    assert finding.verdict == "doubtful" and "needs more than" in finding.note


def test_a_slanting_cut_and_its_own_limits(tmp_path: Path) -> None:
    """The others drive the run some 0.14 either way: more than ± 0.1, less than ± 0.2."""
    for limit, verdict in (("0.1", "doubtful"), ("0.2", "holds")):
        body = SLOPED.format(slack="0.06").replace(
            'full = "40 mm",', f'full = "40 mm", limits = "±{limit} mm",'
        )
        (finding,) = found(model_of(tmp_path, body)).values()
        assert finding.verdict == verdict
        assert finding.note.startswith("not promised: the others") == (verdict == "doubtful")


def test_a_slope_and_another_statement_are_not_proved_together(tmp_path: Path) -> None:
    """Then neither is promised."""
    body = SLOPED.format(slack="0.06")
    body += """
[condition.clear]
keep = "p.run - p.rise >= '9 mm'"
basis = "last cut p.run"
[condition.over]
keep = "p.run <= '41 mm'"
basis = "both limits"
"""
    results = found(model_of(tmp_path, body))
    assert {name: str(f.verdict) for name, f in results.items()} == dict.fromkeys(
        ("closes", "clear", "over"), "doubtful"
    )
    assert all(f.note.startswith("not promised") for f in results.values())


def test_a_size_that_hardly_moves_its_statement(tmp_path: Path) -> None:
    """At a dead centre the crank's angle does nothing: no cut of it can be relied on."""
    body = """
[part.p]
size.throw = { full = "10 mm", rule = "milled" }
size.lean = { full = "0.001 deg", kind = "angle", limits = "±0.1 deg" }
size.far = { full = "10 mm", rule = "milled" }
[condition.reaches]
keep = "-'0.1 mm' <= p.throw * cos(p.lean) - p.far <= '0.1 mm'"
basis = "last cut p.lean"
"""
    (finding,) = found(model_of(tmp_path, body)).values()
    assert finding.verdict == "doubtful" and finding.note.startswith("not promised")


def test_a_copy_with_a_choice_of_its_own_is_told_what_it_lacks(tmp_path: Path) -> None:
    """One copy chosen by itself, its last cut too coarse for both that it serves: said, no fault."""
    body = """
[part.ram]
copies = ["left", "right"]
size.diameter = { full = "6.5 mm", kind = "external", rule = "turned step 0.01 mm" }
[part.sleeve]
copies = ["left", "right"]
size.bore = { full = "6.5 mm", kind = "internal", rule = "bored step 0.01 mm" }
[pair.ram_in_sleeve]
inner = "ram.diameter"
outer = "sleeve.bore"
fit = "clearance 0.020 to 0.026 mm"
basis = "last cut ram.diameter"
"""
    (tmp_path / "choices.csv").write_text(
        "time,action,size,value,method,row,note\n"
        "2026-01-01T00:00:00Z,choose,ram.diameter@left,6.48 mm,turned step 0.01 mm,,\n",
        encoding="utf-8",
    )
    finding = found(model_of(tmp_path, body))["ram_in_sleeve@left"]
    assert finding.statement.basis.last == "ram.diameter@left"
    # the fit leaves 0.006 mm; a turned cut takes 0.01 and the readings ± 0.003 either way, and
    # lapping 0.002 (methods and instruments tables, common practice)
    assert finding.note.startswith("not promised: the window left for ram.diameter@left")
