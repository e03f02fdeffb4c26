"""Ends of the rules of a check that nothing else looks at; found by faults that no test noticed."""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import pytest

import scaler
from scaler.checking.check import Finding
from scaler.checking.conflicts import check
from scaler.expressions import parse_expression
from scaler.expressions.values import linear
from scaler.records import Stage, Verdict
from scaler.settling.linear_systems import smallest_disagreement
from scaler.settling.solve import Solution, SolveError, middle, solve_block

HEAD = '[model]\ntitle = "test"\nscale = "1:1"\n'
PIN = """
[part.p]
size.pin = { full = "10 mm", kind = "external", rule = "turned step 0.01 mm" }
[condition.not_thin]
keep = "p.pin >= '10 mm'"
[condition.not_thick]
keep = "p.pin <= '10 mm'"
"""


def found(
    folder: Path, body: str, reading: str = "", stage: Stage = Stage.CHOSEN
) -> dict[str, Finding]:
    """All findings by the statement's name, one reading of the pin by micrometer taken."""
    (folder / "model.toml").write_text(HEAD + body, encoding="utf-8")
    if reading:
        (folder / "readings.csv").write_text(
            "time,action,size,copy,value,instrument,note\n"
            f"2026-01-01T00:00:00Z,reading,p.pin,,{reading} mm,micrometer,\n",
            encoding="utf-8",
        )
    return {f.statement.id: f for f in check(scaler.load(folder), stage).findings}


@pytest.mark.parametrize(
    ("reading", "thin", "thick"),
    [
        # the shipped micrometer is good for ± 0.002 mm (common practice)
        ("9.9979", Verdict.FAILS, Verdict.HOLDS),
        ("9.998", Verdict.DOUBTFUL, Verdict.HOLDS),
        ("9.999", Verdict.DOUBTFUL, Verdict.DOUBTFUL),
        ("10.001", Verdict.DOUBTFUL, Verdict.DOUBTFUL),
        ("10.002", Verdict.HOLDS, Verdict.DOUBTFUL),
        ("10.0021", Verdict.HOLDS, Verdict.FAILS),
    ],
)
def test_guard_band_of_a_reading(
    tmp_path: Path, reading: str, thin: Verdict, thick: Verdict
) -> None:
    """Between a limit less and plus the uncertainty nothing is proved (ISO 14253-1, second-hand);
    at the very end it still is not."""
    now = found(tmp_path, PIN, reading)
    assert (now["not_thin"].verdict, now["not_thick"].verdict) == (thin, thick)


def test_no_guard_band_at_exact_sizes(tmp_path: Path) -> None:
    """The exact size is 10 mm whatever was read."""
    now = found(tmp_path, PIN, "9.999", Stage.EXACT)
    assert {finding.verdict for finding in now.values()} == {Verdict.HOLDS}


def test_what_cannot_be_worked_out(tmp_path: Path) -> None:
    """A condition without a value fails; a pair without one is doubtful, and both say why."""
    body = """
[part.p]
size.pin = { full = "10 mm", kind = "external", rule = "turned step 0.01 mm" }
size.a = { full = "4 mm", kind = "length", rule = "milled step 0.1 mm" }
size.b = { full = "4 mm", kind = "length", rule = "milled step 0.1 mm" }
size.hole = { full = "10.1 mm", kind = "internal", rule = "bored step 0.01 mm" }
[condition.steep]
keep = "p.pin * '1 mm' / (p.a - p.b) >= '1 mm'"
[pair.runs]
inner = "p.pin * '1 mm' / (p.a - p.b)"
outer = "p.hole"
fit = "clearance 0.02 to 0.2 mm"
"""
    now = found(tmp_path, body)
    assert now["steep"].verdict is Verdict.FAILS
    assert now["runs"].verdict is Verdict.DOUBTFUL
    assert "divides by zero" in now["steep"].note
    assert "divides by zero" in now["runs"].note


def test_constants_of_a_linear_form_keep_their_sign() -> None:
    """2 x - 3 - (-1) + 5: by hand 2 x + 3."""
    form = linear(parse_expression("2 * a.x - '3 mm' - (-'1 mm') + '5 mm'"), F(1))
    assert form is not None
    assert (form.constant, dict(form.coefficients)) == (F(3), {"a.x": F(2)})


@pytest.mark.parametrize(
    ("equation", "between"),
    [
        # (x - 3)(x - 4): the gap is 1, so from 2.5 to 3.25
        ("(a.x - 3) * (a.x - 4)", "2.50 mm to 3.25 mm"),
        # (x - 3)(x - 3.004): the gap is 0.004, so from 2.998 to 3.001; half of half is 0.001
        ("(a.x - 3) * (a.x - 3.004)", "2.998 mm to 3.001 mm"),
        # the gap is 0.012, so from 2.994 to 3.003: two places would not tell them apart
        ("(a.x - 3) * (a.x - 3.012)", "2.994 mm to 3.003 mm"),
    ],
)
def test_bounds_that_tell_one_root(equation: str, between: str) -> None:
    """Half the gap below the first root, a quarter above it, with as many places as that needs."""
    with pytest.raises(SolveError) as refused:
        solve_block([parse_expression(equation)], ["a.x"], {}, F(1), {}, {}, {"a.x": "mm"})
    assert between in str(refused.value.advice)


def one_size(text: str, bound: tuple[F | None, F | None] = (None, None)) -> Solution:
    """An equation for a.x solved, in mm."""
    bounds = {} if bound == (None, None) else {"a.x": bound}
    return solve_block([parse_expression(text)], ["a.x"], {}, F(1), bounds, {}, {"a.x": "mm"})


def value(found: Solution, name: str = "a.x") -> float:
    """A solved size as a float, for comparing."""
    return float(middle(found.values[name]))


@pytest.mark.parametrize(
    ("text", "bound", "root"),
    [
        # (5/2 - x)² = x + 1, so x = (6 - sqrt(15)) / 2
        ("a.x + sqrt(a.x + 1) - 5/2", (None, None), (6 - 15**0.5) / 2),
        # sin 30° = 1/2
        ("sin(a.x) - 1/2", (F(0), F(50)), 30.0),
        # below zero only where a bound says so: sqrt(x + 4) = 1
        ("sqrt(a.x + 4) + sin(a.x - a.x) - 1", (F(-4), F(1)), -3.0),
        ("sqrt(a.x + 4) - 1", (None, F(-1)), -3.0),
    ],
)
def test_where_a_root_is_looked_for(
    text: str, bound: tuple[F | None, F | None], root: float
) -> None:
    """Above zero without bounds, below it where they say so."""
    assert value(one_size(text, bound)) == pytest.approx(root, rel=1e-12)


def test_a_root_of_the_denominator_is_none() -> None:
    """(x² - 4) / (x - 2) is x + 2 everywhere but at 2, where it has no value: no root above zero;
    (x² - 9) / (x - 2) has 3."""
    with pytest.raises(SolveError):
        one_size("(a.x^2 - 4) / (a.x - 2)")
    assert value(one_size("(a.x^2 - 9) / (a.x - 2)")) == 3


def test_six_roots_are_listed_and_the_rest_told() -> None:
    """Six with none left out, seven with the dots."""
    six = " * ".join(f"(a.x - {n})" for n in range(1, 7))
    with pytest.raises(SolveError, match=r"6 solutions: 1\.000, .*, 6\.000$"):
        one_size(six)
    with pytest.raises(SolveError, match=r"7 solutions: 1\.000, .*, 6\.000 …$"):
        one_size(six + " * (a.x - 7)")


def test_one_linear_equation_is_told_as_one() -> None:
    """One by itself, two together."""
    assert one_size("2 * a.x - 7").how == "solved for from its statement"
    both = [parse_expression("a.x + a.y - 7"), parse_expression("a.x - a.y - 1")]
    found = solve_block(both, ["a.x", "a.y"], {}, F(1), {}, {})
    assert (found.values["a.x"], found.values["a.y"]) == (4, 3)
    assert found.how == "2 linear equations solved together"


def test_a_ring_within_bounds() -> None:
    """x y = 12 and x² + y² = 25 (3 and 4, Pythagoras): which is which is said by the bounds; a bound
    at one end only still is one."""
    ring = [parse_expression("a.x * a.y - 12"), parse_expression("a.x^2 + a.y^2 - 25")]
    for bounds in (
        {"a.x": (F(7, 2), F(5)), "a.y": (F(1), F(7, 2))},
        {"a.x": (F(7, 2), None), "a.y": (None, F(7, 2))},
    ):
        found = solve_block(ring, ["a.x", "a.y"], {}, F(1), bounds, {"a.x": F(4), "a.y": F(2)})
        assert value(found) == pytest.approx(4, rel=1e-12)
        assert value(found, "a.y") == pytest.approx(3, rel=1e-12)


def test_a_ring_that_only_touches() -> None:
    """x y = 2 and x² + y² = 4 touch at √2: near, and not to be proved, and it says so."""
    ring = [parse_expression("a.x * a.y - 2"), parse_expression("a.x^2 + a.y^2 - 4")]
    with pytest.raises(SolveError, match="could not be proved"):
        solve_block(ring, ["a.x", "a.y"], {}, F(1), {}, {})


def test_how_far_a_root_is_looked_for() -> None:
    """From nothing to four times the largest known: 0.25 and 3.61 lie there, 4.41 does not."""
    assert value(one_size("sqrt(a.x) - 1/2")) == pytest.approx(0.25, rel=1e-12)
    known = {"a.k": F(1), "a.m": F(9, 10), "a.n": F(1, 10)}
    near, far = (
        [parse_expression(text)]
        for text in ("sqrt(a.x) - a.k - a.m", "sqrt(a.x) - a.k - a.k - a.n")
    )
    found = solve_block(near, ["a.x"], known, F(1), {}, {})
    assert value(found) == pytest.approx(3.61, rel=1e-12)
    with pytest.raises(SolveError, match=r"between 0\.000 and 4\.000"):
        solve_block(far, ["a.x"], known, F(1), {}, {})


def test_a_quotient_of_the_first_degree_is_exact() -> None:
    """6 / x = 2 at exactly 3."""
    found = one_size("6 / a.x - 2")
    assert found.values["a.x"] == F(3)
    assert found.how == "solved for from its statement"


@pytest.mark.parametrize(
    ("texts", "members"),
    [
        (("a.x - 1", "a.y - 2", "a.x + a.y - 4", "a.z - a.z + 1"), (3,)),
        (("a.x - a.y", "a.y - 1", "a.x - 2", "a.z - 1", "a.z - 2"), (3, 4)),
        (("a.x - 1", "a.y - 2", "a.x + a.y - 4"), (0, 1, 2)),
        (("a.x - 1", "a.y - 2", "a.x + a.y - 3"), None),
    ],
)
def test_the_smallest_disagreement(texts: tuple[str, ...], members: tuple[int, ...] | None) -> None:
    """By hand: 1 = 0 alone, z = 1 and z = 2, the three of a sum; and none."""
    forms = []
    for text in texts:
        form = linear(parse_expression(text), F(1))
        assert form is not None
        forms.append(form)
    found = smallest_disagreement(forms, ["a.x", "a.y", "a.z"], {})
    assert (None if found is None else found.members) == members
