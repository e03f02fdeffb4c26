"""What a check asks of sizes and says of statements, branch by branch, worked out by hand.

Readings: micrometer ± 0.002 mm, the first instrument of a length (instruments table, common
practice). By these small cases most faults put in by ``tests/mutation`` are seen.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest

import scaler
from scaler.checking.check import Checker, Finding
from scaler.checking.last_cut import NoRange
from scaler.checking.statements import Statement
from scaler.expressions import parse_expression, text
from scaler.expressions.intervals import Interval
from scaler.records import Cause, Stage, Verdict

HEAD = '[model]\ntitle = "test"\nscale = "1:1"\n'
READ = "time,action,size,copy,value,instrument,note\n"


def checker(folder: Path, body: str, *readings: str, stage: Stage = Stage.CHOSEN) -> Checker:
    """The check of a model; each reading is ``size,copy,value``."""
    (folder / "model.toml").write_text(HEAD + body, encoding="utf-8")
    if readings:
        said = READ + "".join(f"2026-01-01T00:00:00Z,reading,{line},,\n" for line in readings)
        (folder / "readings.csv").write_text(said, encoding="utf-8")
    return Checker(scaler.load(folder), stage)


def size(name: str, full: str, limits: str = "") -> str:
    """A size as a line of a part, rounded by nothing."""
    more = f', limits = "{limits} mm"' if limits else ""
    return f'size.{name} = {{ full = "{full} mm", rule = []{more} }}\n'


def keep(name: str, said: str, basis: str = "both limits") -> str:
    """A condition."""
    return f'[condition.{name}]\nkeep = "{said}"\nbasis = "{basis}"\n'


def of(looked: Checker) -> dict[str, Finding]:
    """Each finding by the statement's name; the quick verdict is the same."""
    assert looked.verdicts == tuple(f.verdict for f in looked.findings)
    return {f.statement.id: f for f in looked.findings}


# --- sizes that are only the outcome of others

OUTCOMES = (
    "[part.p]\n"
    + size("x", "3")
    + size("y", "4")
    + size("z", "5")
    + """
size.sum = { equals = "p.x + p.y" }
size.twice = { equals = "2 * p.sum" }
size.cut = { equals = "p.x + p.y", rule = "milled step 0.1 mm" }
size.kept = { equals = "p.x + p.y", limits = "±0.1 mm" }
size.last = { equals = "p.x + p.y" }
size.root = { equals = "sqrt(p.x^2 + p.y^2)" }
"""
    + keep("ends", "'0 mm' <= p.last - p.z <= '9 mm'", "last cut p.last")
    + keep("over", "p.twice - p.x + p.z >= '1 mm'")
)


def test_which_sizes_are_only_outcomes(tmp_path: Path) -> None:
    """Defined, without a process or limits of its own, and no last cut."""
    looked = checker(tmp_path, OUTCOMES)
    outcomes = {name for name in looked.model.sizes if looked.is_result(name)}
    assert outcomes == {"p.sum", "p.twice", "p.root"}
    assert looked.definition("p.sum") == looked.model.sizes["p.sum"].equals
    assert looked.definition("p.cut") is None
    assert looked.definition("p.x") is None


def test_what_a_statement_comes_down_to(tmp_path: Path) -> None:
    """2 (x + y) − x + z is x + 2 y + z in sizes that are made; each name once, in their order."""
    looked = checker(tmp_path, OUTCOMES)
    over = looked.statements[1]
    plain, form = looked.plain_form(over), looked.form_of(over)
    assert plain is not None
    assert form is not None
    assert dict(plain.coefficients) == {"p.twice": F(1), "p.x": F(-1), "p.z": F(1)}
    assert dict(form.coefficients) == {"p.x": F(1), "p.y": F(2), "p.z": F(1)}
    assert looked.sizes_of(over.node) == ("p.x", "p.y", "p.z")
    assert looked.sizes_of(parse_expression("p.y + p.sum + p.x + p.cut")) == (
        "p.y",
        "p.x",
        "p.cut",
    )
    assert text(looked.inlined(parse_expression("p.sum + p.cut"))) == "(p.x + p.y) + p.cut"
    expanded = looked.expanded(parse_expression("p.sum - p.x"))
    assert expanded is not None
    assert dict(expanded.coefficients) == {"p.y": F(1)}
    # another statement of that name is another
    other = replace(over, node=parse_expression("p.x"))
    assert looked.form_of(other) == looked.plain_form(other)
    assert looked.form_of(over) == form
    assert looked.form_of(replace(over, node=parse_expression("p.root"))) is None


def test_what_has_been_made(tmp_path: Path) -> None:
    """A size read, a copy read; a copy that is only chosen is not made."""
    body = '[part.f]\ncopies = ["left", "right"]\n' + size("gap", "6") + size("lip", "1")
    body += 'size.half = { equals = "f.gap / 2" }\n'
    for readings, made, copies in (
        ((), False, False),
        (("f.lip,,1.01 mm",), True, False),
        (("f.gap,left,6.02 mm",), True, True),
    ):
        looked = checker(tmp_path, body, *readings)
        assert (looked.any_made, looked.copies_read) == (made, copies)
    # half of what was read, for that copy; the other's is as planned
    assert looked.is_result("f.half@left")
    assert not looked.is_made("f.half@left")
    assert looked.is_made("f.gap@left")
    assert looked.values["f.half@left"] == F("3.01")
    assert looked.limits("f.gap@left").upper == F("0.002")
    (tmp_path / "readings.csv").unlink()
    (tmp_path / "choices.csv").write_text(
        "time,action,size,value,method,row,note\n"
        "2026-01-01T00:00:00Z,choose,f.gap@left,6.02 mm,,,\n",
        encoding="utf-8",
    )
    looked = checker(tmp_path, body)
    assert (looked.any_made, looked.copies_read) == (False, True)


def test_a_named_fit_of_one_copy_is_judged_at_the_planned_size(tmp_path: Path) -> None:
    """18 mm H7/g6 is 0.006 to 0.035 (ISO 286-2: H7 +0.018, g6 −0.006 −0.017, second-hand); that
    copy read at 18.004 does not put it into the next range of sizes (0.007 to 0.041)."""
    body = """
[part.f]
copies = ["left", "right"]
size.eye = { full = "18 mm", kind = "internal", rule = "reamed" }
[part.p]
size.pin = { full = "18 mm", kind = "external", rule = "turned", limits = "g6" }
[pair.runs]
inner = "p.pin"
outer = "f.eye@left"
fit = "H7/g6"
"""
    (statement,) = checker(tmp_path, body, "f.eye,left,18.004 mm").statements
    assert (statement.lower, statement.upper) == (F("0.006"), F("0.035"))


def test_exact_and_planned_sizes_beside(tmp_path: Path) -> None:
    """Read 9.9, planned 10 by its step, exactly 10.03."""
    body = '[part.p]\nsize.x = { full = "10.03 mm", rule = "milled step 0.1 mm" }\n'
    looked = checker(tmp_path, body, "p.x,,9.9 mm")
    values = [v.values["p.x"] for v in (looked.settlement, looked.planned, looked.exact)]
    assert values == [F("9.9"), F(10), F("10.03")]
    exact = checker(tmp_path, body, stage=Stage.EXACT)
    assert exact.exact is exact.settlement
    assert not looked.model.readings.keys() - looked.readings.keys()
    assert not Checker(looked.model, as_drawn=True).readings


# --- verdicts

CURVED = """
[part.p]
size.a = { full = "3 mm", rule = [], limits = "±0.01 mm" }
size.b = { full = "4 mm", rule = [], limits = "±0.01 mm" }
size.pin = { full = "4.9 mm", rule = [], limits = "±0.01 mm" }
"""


@pytest.mark.parametrize(
    ("fit", "verdict"),
    [
        # √(3² + 4²) − 4.9 = 0.1; moved by 0.6 and 0.8 of 0.01, and by 0.01: ± 0.024
        ("0.075 to 0.125", "holds"),
        ("0.077 to 0.125", "doubtful"),
        ("0.075 to 0.123", "doubtful"),
        ("0.11 to 0.2", "tight"),
        ("0 to 0.09", "loose"),
        ("at least 0.11", "tight"),
        ("at least 0.077", "doubtful"),
        ("at least 0.075", "holds"),
        ("at most 0.09", "loose"),
        ("at most 0.123", "doubtful"),
        ("at most 0.125", "holds"),
    ],
)
def test_a_pair_that_is_not_linear(tmp_path: Path, fit: str, verdict: str) -> None:
    """Judged like any other, by the range that it certainly lies in."""
    body = CURVED + '[pair.slides]\ninner = "p.pin"\nouter = "sqrt(p.a^2 + p.b^2)"\n'
    body += f'fit = "{fit} mm"\nbasis = "both limits"\n'
    (finding,) = of(checker(tmp_path, body)).values()
    assert str(finding.verdict) == verdict
    assert finding.fails == (verdict in ("tight", "loose"))
    low, high = finding.found
    assert low is not None
    assert high is not None
    assert F("0.075") < low < F("0.0765")
    assert F("0.1235") < high < F("0.125")


def test_an_irrational_edge_is_not_decided(tmp_path: Path) -> None:
    """√2 against √2: no digits tell them apart, at basic sizes or at the limits."""
    body = "[part.p]\n" + size("a", "2", "±0")
    body += keep("least", "sqrt(p.a * '1 mm') >= sqrt('2 mm' * '1 mm')", "basic size")
    body += keep("most", "sqrt(p.a * '1 mm') <= sqrt('2 mm' * '1 mm')")
    for finding in of(checker(tmp_path, body)).values():
        assert finding.verdict is Verdict.DOUBTFUL
        assert finding.cause is Cause.LIMITS


def test_nothing_to_judge(tmp_path: Path) -> None:
    """A named fit ends at 3150 mm (ISO 286-1): the pair has no window then, and is told so."""
    body = "[part.p]\n" + size("pin", "4000") + size("eye", "4000")
    body += '[pair.runs]\ninner = "p.pin"\nouter = "p.eye"\nfit = "H7/g6"\n'
    (finding,) = of(checker(tmp_path, body)).values()
    assert (finding.verdict, finding.cause) == (Verdict.DOUBTFUL, None)
    assert (finding.basic, finding.found) == (F(0), (None, None))
    assert finding.note.startswith("no window: ")


def test_readings_that_leave_no_figure_decide_nothing(tmp_path: Path) -> None:
    """√(a − b) with both read: 0.001 apart, and either ± 0.002, so that it may have no value."""
    body = "[part.p]\n" + size("a", "10") + size("b", "9")
    body += keep("root", "sqrt((p.a - p.b) * '1 mm') >= '1 mm'")
    looked = checker(tmp_path, body, "p.a,,10.001 mm", "p.b,,10 mm")
    (finding,) = of(looked).values()
    assert (finding.verdict, finding.found) == (Verdict.DOUBTFUL, (None, None))
    assert finding.note == "the readings cannot decide"
    # 0.02 apart it has one, and at most √0.024 (0.155): it fails
    looked = checker(tmp_path, body, "p.a,,10.02 mm", "p.b,,10 mm")
    (finding,) = of(looked).values()
    assert finding.verdict is Verdict.FAILS


def test_no_figure_from_a_pressure_part(tmp_path: Path) -> None:
    """Refused, named itself or in a definition; what it does not enter is judged."""
    body = '[part.shell]\nservice = "pressure"\n' + size("bore", "10")
    body += "[part.p]\n" + size("x", "9") + "size.ring = { equals = \"shell.bore - '1 mm'\" }\n"
    body += keep("bore", "shell.bore - p.x >= '0 mm'") + keep("ring", "p.ring >= '0 mm'")
    body += keep("own", "p.x >= '0 mm'")
    found = of(checker(tmp_path, body))
    verdicts = [str(found[name].verdict) for name in ("bore", "ring", "own")]
    assert verdicts == ["refused", "refused", "holds"]
    assert (found["bore"].basic, found["bore"].found, found["bore"].cause) == (
        None,
        (None, None),
        None,
    )


def test_no_limits_no_promise(tmp_path: Path) -> None:
    """The general limits (ISO 2768-1) end at 4 m: nothing is promised of a sum or a root beyond them."""
    body = "[part.p]\n" + size("a", "9000") + size("b", "10", "±1")
    body += keep("sum", "p.a - p.b >= '1 mm'") + keep("root", "sqrt(p.a * p.b) >= '1 mm'")
    found = of(checker(tmp_path, body))
    for finding in found.values():
        assert finding.verdict is Verdict.DOUBTFUL
        assert finding.note.startswith("not promised: p.a has no limits (none: ")
    with pytest.raises(NoRange):
        checker(tmp_path, body).boxes(parse_expression("p.a"))


def test_a_worst_case_names_the_cuts_that_it_counts_on(tmp_path: Path) -> None:
    """In the order of their names, also in a root."""
    body = "[part.p]\n" + size("y", "10", "±0.01") + size("b", "10") + size("a", "10")
    body += keep("one", "-'0.1 mm' <= p.y - p.b <= '0.1 mm'", "last cut p.b by turned")
    body += keep("two", "-'0.1 mm' <= p.y - p.a <= '0.1 mm'", "last cut p.a by turned")
    body += keep("sum", "p.b + p.a + p.y >= '1 mm'") + keep("root", "sqrt(p.b * p.a) >= '1 mm'")
    body += keep("none", "p.y >= '1 mm'")
    found = of(checker(tmp_path, body))
    said = "counts on the last cut of p.a, p.b as it is aimed"
    assert [found[name].note for name in ("sum", "root", "none")] == [said, said, ""]
    # each follows y: y ± 0.01, ± (0.005 + 0.002)
    boxes = checker(tmp_path, body).boxes(parse_expression("p.a + p.y"))
    assert boxes == {
        "p.a": Interval(F("9.983"), F("10.017")),
        "p.y": Interval(F("9.99"), F("10.01")),
    }


# --- equalities that a size was solved from

ADDS_UP = """
[part.p]
size.a = {{ full = "{a} mm", rule = "milled step {fine} mm" }}
size.b = {{ full = "4 mm", rule = "milled step {fine} mm" }}
size.c = {{ kind = "length", rule = "milled {way}step 0.1 mm" }}
[condition.adds_up]
keep = "{k}*p.b + {k}*p.c == {k}*p.a"
"""


@pytest.mark.parametrize(
    ("a", "way", "k", "off", "holds"),
    [
        # c is a − 4 brought to 0.1: to the nearest, a half up
        ("10.13", "", "1", "-0.03", True),
        ("10.15", "", "1", "0.05", True),
        ("10.13", "", "2", "-0.06", True),
        ("10.13", "up ", "1", "0.07", True),
        ("10.17", "down ", "1", "-0.07", True),
        # 0.03 is not made nought but 0.1, further than a step can account for
        ("4.03", "", "1", "0.07", False),
    ],
)
def test_what_a_step_may_bring_off(
    tmp_path: Path, a: str, way: str, k: str, off: str, holds: bool
) -> None:
    """As far as the step of the size solved for brings it, and no further; on the side asked."""
    body = ADDS_UP.format(a=a, way=way, k=k, fine="0.01")
    looked = checker(tmp_path, body)
    (finding,) = of(looked).values()
    assert looked.defines(finding.statement)
    assert finding.basic == F(off)
    assert (finding.verdict is Verdict.HOLDS) == holds
    said = f"defines p.c, which its step brings {float(F(off)):+.3f} off"
    assert finding.note == (said if holds else "")
    assert finding.found == (F(off), F(off))


def test_an_equality_that_comes_out(tmp_path: Path) -> None:
    """Nothing to say of the step where it brings nothing off; a root is met as nearly as it is
    known; nothing is defined where nothing was solved."""
    (finding,) = of(checker(tmp_path, ADDS_UP.format(a="10.1", way="", k="1", fine="0.1"))).values()
    assert (finding.verdict, finding.note) == (Verdict.HOLDS, "defines p.c")
    body = '[part.p]\nsize.c = { kind = "length", rule = [] }\n' + size("a", "3") + size("b", "2")
    (finding,) = of(checker(tmp_path, body + keep("root", "p.c == sqrt(p.a * p.b)"))).values()
    assert (finding.verdict, finding.note) == (Verdict.HOLDS, "defines p.c")
    assert isinstance(finding.basic, Interval)
    assert finding.found == (finding.basic.lower, finding.basic.upper)
    assert finding.basic.contains(0)
    body = "[part.p]\n" + size("a", "3") + size("b", "3") + keep("same", "p.a == p.b", "basic size")
    looked = checker(tmp_path, body + keep("curved", "p.a * p.b == p.b * p.b", "basic size"))
    for finding in of(looked).values():
        assert (finding.verdict, finding.note) == (Verdict.HOLDS, "")
        assert not looked.defines(finding.statement)


def test_an_equality_with_room_is_judged_by_its_room(tmp_path: Path) -> None:
    """c is 6.13 brought to 6.1, and 0.03 is inside ± 0.04 and outside ± 0.02."""
    body = ADDS_UP.format(a="10.13", way="", k="1", fine="0.01") + 'basis = "basic size"\n'
    for room, verdict in (("0.04", Verdict.HOLDS), ("0.02", Verdict.FAILS)):
        (finding,) = of(checker(tmp_path, body + f'within = "±{room} mm"\n')).values()
        assert (finding.verdict, finding.note) == (verdict, "")
        assert finding.found == (F("-0.03"), F("-0.03"))


def test_a_step_of_another_size_excuses_nothing(tmp_path: Path) -> None:
    """c takes the nearest plate; that a is cut to whole millimetres does not make up for it."""
    body = """
[part.p]
size.a = { full = "10.3 mm", rule = "milled step 1 mm" }
size.b = { full = "4.2 mm", rule = [] }
size.c = { kind = "external", rule = "plate" }
[condition.adds_up]
keep = "p.b + p.c == p.a"
"""
    (finding,) = of(checker(tmp_path, body)).values()
    assert finding.basic not in (None, 0)
    assert abs(finding.basic) < F(1, 2)  # type: ignore[arg-type]
    assert finding.verdict is Verdict.FAILS


def test_a_check_of_workability_tells_no_shares(tmp_path: Path) -> None:
    """A statement that fails tells what moved it; asked as one of workability it does not."""
    body = '[part.p]\nsize.a = { full = "10.03 mm", rule = "milled step 0.1 mm" }\n'
    looked = checker(tmp_path, body + keep("thick", "p.a >= '10.02 mm'"))
    (finding,) = of(looked).values()
    assert finding.shares == (("p.a", F("-0.03")),)
    assert finding.cause is Cause.ROUNDING
    asked: Statement = replace(finding.statement, what="workability")
    assert looked.finding(asked).shares == ()
    assert looked.finding(asked).cause is Cause.ROUNDING
