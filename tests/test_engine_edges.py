"""Edges of the engine: where an equation ends, touches or grows too long, and what cannot be told."""

from __future__ import annotations

import math
from fractions import Fraction as F
from pathlib import Path

import pytest
import sympy

import scaler
from scaler.checking.check import Checker, Finding
from scaler.checking.last_cut import range_of
from scaler.expressions import EvaluationError, Name, Node, parse_expression, text
from scaler.expressions.intervals import Interval
from scaler.problems import InputError
from scaler.records import Model, Stage
from scaler.settling.put_in import Lines, put_in
from scaler.settling.roots import roots_between
from scaler.settling.settle import settle
from scaler.settling.solve import SolveError, middle, solve_block, value_of

ONE = F(1)
HEAD = '[model]\ntitle = "test"\nscale = "1:1"\n[part.p]\n'


def model_of(folder: Path, body: str) -> Model:
    """A model of one part."""
    (folder / "model.toml").write_text(HEAD + body, encoding="utf-8")
    return scaler.load(folder)


def found(folder: Path, body: str) -> dict[str, Finding]:
    """All findings by the statement's name."""
    return {f.statement.id: f for f in Checker(model_of(folder, body)).findings}


# --- roots


@pytest.mark.parametrize(
    ("equation", "roots"),
    [
        ("sqrt(x.x - 1)", ["1"]),  # a root on the very edge of where there is a value
        ("sqrt(x.x - 1) - 1", ["2"]),
        ("6 / x.x - 4", ["1.5"]),  # no value at one end of the range
        ("abs(x.x - 3) - 1", ["2", "4"]),
        ("tan(x.x * '1 deg') - 1", []),  # 8° at most
        ("sqrt(3 - x.x) * (x.x - 5)", ["3"]),  # beyond 3 there is no value, nor a root
    ],
)
def test_roots_where_an_equation_ends(equation: str, roots: list[str]) -> None:
    """Between 0 and 8, each exactly."""
    result = roots_between(parse_expression(equation), "x.x", {}, ONE, F(0), F(8))
    assert list(result.found) == [F(root) for root in roots] and not result.undecided


def test_an_irrational_touch_cannot_be_decided() -> None:
    """(sin x − 1/3)² is never below zero: whether it reaches it no enclosure can tell."""
    node = parse_expression("(sin(x.x) - 1/3)^2 + cos(x.x) - cos(x.x)")
    result = roots_between(node, "x.x", {}, ONE, F(0), F(90))
    assert not result.found and len(result.undecided) == 1
    touch = math.degrees(math.asin(1 / 3))
    assert float(result.undecided[0].lower) <= touch <= float(result.undecided[0].upper)


def test_a_root_of_knowns_that_are_enclosed() -> None:
    """With √2 known between two ends, x + √x = √2 is solved for all of them (sympy's root)."""
    known = value_of(parse_expression("sqrt(2)"), {}, ONE)
    node = parse_expression("x.x + sqrt(x.x) - a.a")
    solution = solve_block([node], ["x.x"], {"a.a": known}, ONE, {}, {})
    root = solution.values["x.x"]
    exact = ((sympy.sqrt(1 + 4 * sympy.sqrt(2)) - 1) / 2) ** 2
    assert isinstance(root, Interval) and root.width < F(1, 10**30)
    assert abs(float(root.midpoint) - float(exact)) < 1e-15


def test_rings_that_are_too_long_are_refused() -> None:
    """501 linear sizes in one ring, 31 nonlinear ones: said so, in no time."""
    for count, power in ((501, ""), (31, "^2")):
        names = [f"x.x{n}" for n in range(count)]
        ring = [
            parse_expression(f"2*{one}{power} - {names[n - 1]}{power} - 1")
            for n, one in enumerate(names)
        ]
        with pytest.raises(SolveError, match=f"{count} sizes hang together"):
            solve_block(ring, names, {}, ONE, {}, {})


def test_definitions_are_put_in_to_a_limit() -> None:
    """x1 = x0 + x0, x2 = x1 + x1 …: doubled at each step, refused before it fills the machine."""
    made: dict[str, Node] = {
        f"a.x{n}": parse_expression(f"a.x{n - 1} * a.x{n - 1}") for n in range(1, 60)
    }
    assert text(put_in(Name("a.x2"), made.get)) == "(a.x0 * a.x0) * (a.x0 * a.x0)"
    with pytest.raises(EvaluationError):
        put_in(Name("a.x59"), made.get)


def test_linear_definitions_are_put_in_however_deep_they_stand() -> None:
    """x1 = x0 + 1, x2 = x1 + 1 …, 5,000 deep: x5000 = x0 + 5000. A ring comes to nothing, and so
    does what rests on one."""
    made: dict[str, Node] = {f"a.x{n}": parse_expression(f"a.x{n - 1} + 1") for n in range(1, 5001)}
    form = Lines(ONE, made.get).of(Name("a.x5000"))
    assert form is not None
    assert form.constant == 5000 and dict(form.coefficients) == {"a.x0": 1}
    ring: dict[str, Node] = {
        "a.x": parse_expression("a.y + 1"),
        "a.y": parse_expression("a.x - 1"),
        "a.z": parse_expression("2 * a.x + a.w"),
    }
    for name in ring:
        assert Lines(ONE, ring.get).of(Name(name)) is None
    bent: dict[str, Node] = {"a.x": parse_expression("a.y * a.y")}
    assert Lines(ONE, bent.get).of(parse_expression("a.x + a.z")) is None


# --- whole models


def test_a_nonlinear_ring_with_a_repeated_statement(tmp_path: Path) -> None:
    """x·y = 12 and its double leave both open; with a sum beside them they are 3 and 4."""
    body = """
size.x = { kind = "length", between = "0 to 3.5 mm" }
size.y = { kind = "length" }
[condition.product]
keep = "p.x * p.y == '3 mm' * '4 mm'"
[condition.sum]
keep = "p.x + p.y == '7 mm'"
[condition.difference]
keep = "p.y - p.x == '1 mm'"
"""
    values = settle(model_of(tmp_path, body), Stage.EXACT).values
    assert values["p.x"] == 3 and values["p.y"] == 4


def test_what_an_interval_cannot_decide_is_doubtful(tmp_path: Path) -> None:
    """√a · √a / 1 mm less a is nought, but enclosed on both sides of it."""
    body = """
size.a = { full = "2 mm", rule = [] }
[condition.edge]
keep = "sqrt(p.a / '1 mm') * sqrt(p.a / '1 mm') * '1 mm' - p.a >= '0 mm'"
basis = "basic size"
"""
    finding = found(tmp_path, body)["edge"]
    assert finding.verdict == "doubtful" and isinstance(finding.basic, Interval)
    assert finding.basic.contains(0)


FITS = """
size.pin = {{ full = "{size} mm", kind = "external", rule = [], limits = "±0.001 mm" }}
size.eye = {{ full = "{size} mm", kind = "internal", rule = [], limits = "±0.001 mm" }}
[pair.fit]
inner = "p.pin"
outer = "p.eye"
fit = "{fit}"
basis = "basic size"
"""


def test_named_fits_bring_their_windows(tmp_path: Path) -> None:
    """H7/g6 at 18 mm: 6 to 35 µm (ISO 286-2: H7 +18, g6 −6 −17; second-hand). Push fit of the model
    engineer's handbook at 1 in.: −0.15 − 0.35 thou × diameter in inches, hole at nominal, so half a
    thou clear (second-hand). Beyond the tables: no window, no verdict."""
    iso = found(tmp_path, FITS.format(size="18", fit="H7/g6"))["fit"].statement
    assert (iso.lower, iso.upper) == (F("0.006"), F("0.035")) and iso.source
    push = found(tmp_path, FITS.format(size="25.4", fit="push"))["fit"].statement
    assert push.lower is not None and push.lower <= F("0.0005") * F("25.4")
    assert push.upper is not None and push.upper >= F("0.0005") * F("25.4")
    beyond = found(tmp_path, FITS.format(size="9000", fit="H7/g6"))["fit"]
    assert beyond.verdict == "doubtful" and "no window" in beyond.note


STRUT = """
size.rise = {{ full = "30 mm", rule = [], limits = "±0.1 mm" }}
size.run = {{ full = "40 mm", rule = "milled step 0.005 mm" }}
size.strut = {{ full = "50 mm", rule = [], limits = "±0.05 mm" }}
[condition.closes]
keep = "{keep}"
basis = "last cut p.run"
"""
GAP = "sqrt(p.rise^2 + p.run^2) - p.strut"


@pytest.mark.parametrize(
    ("keep", "sign"),
    [
        (f"'0 mm' <= {GAP} <= '0.1 mm'", 1),  # planned at the lower edge: aimed inside
        (f"-'0.1 mm' <= {GAP} <= '0 mm'", -1),
        (f"{GAP} >= '0 mm'", 1),
        (f"{GAP} <= '0 mm'", -1),
    ],
)
def test_a_slanting_aim_is_shifted_into_its_window(tmp_path: Path, keep: str, sign: int) -> None:
    """Gap planned 0 where it must be on one side: the run is aimed as far off as cut and readings
    need (0.8 × 0.005 + 0.6 × 0.002 + 0.002 with micrometer readings, within a hair), no more."""
    finding = found(tmp_path, STRUT.format(keep=keep))["closes"]
    assert finding.verdict == "holds" and finding.aim is not None
    shift = float(finding.aim.target - 40) * 0.8 * sign
    spread = 0.8 * 0.005 + 0.6 * 0.002 + 0.002
    assert spread < shift < spread * 1.05
    near = finding.found[0 if sign > 0 else 1]
    assert near is not None and abs(near) < F(1, 10**6)


def test_a_slanting_cut_to_a_slanting_cut(tmp_path: Path) -> None:
    """The range of the first is carried into the second, and into a worst case over both."""
    body = STRUT.format(keep=f"-'0.06 mm' <= {GAP} <= '0.06 mm'")
    body += """
[part.q]
size.second = { full = "41 mm", rule = "milled step 0.005 mm" }
[condition.beside]
keep = "'0.9 mm' <= q.second - p.run <= '1.1 mm'"
basis = "last cut q.second"
[condition.over]
keep = "'80 mm' <= q.second + p.run <= '82 mm'"
basis = "both limits"
"""
    model = model_of(tmp_path, body)
    checker = Checker(model)
    results = {f.statement.id: f for f in checker.findings}
    assert {str(f.verdict) for f in results.values()} == {"holds"}
    low, high = range_of(checker, "p.run")
    below, above = results["over"].found
    # second follows run: twice its range, the cut's 0.005 and the reading's 0.002 beside it
    assert above is not None and below is not None
    assert above == 81 + 2 * high + F("0.007") and below == 81 + 2 * low - F("0.007")


def test_a_definition_without_a_value_is_placed(tmp_path: Path) -> None:
    """The root of a negative number: which size, which line."""
    body = """
size.a = { full = "3 mm", rule = [] }
size.b = { full = "4 mm", rule = [] }
size.c = { equals = "sqrt(p.a^2 - p.b^2)" }
"""
    with pytest.raises(InputError) as caught:
        settle(model_of(tmp_path, body))
    (problem,) = caught.value.problems
    assert problem.code == "cannot-evaluate" and problem.place is not None
    assert problem.place.line == 8 and "root of a negative number" in problem.headline


def test_a_solved_size_in_a_nonlinear_statement(tmp_path: Path) -> None:
    """Solved linearly, so it counts as what it is made from: the rise cancels in the end."""
    body = """
size.overall = { full = "10 mm", limits = "±0.1 mm" }
size.left = { full = "4 mm", limits = "±0.1 mm" }
size.right = { kind = "length" }
[condition.adds_up]
keep = "p.left + p.right == p.overall"
[condition.square]
keep = "(p.left + p.right)^2 <= '11 mm' * '11 mm'"
basis = "both limits"
"""
    finding = found(tmp_path, body)["square"]
    low, high = finding.found
    assert low is not None and high is not None
    assert abs(low - F("98.01")) < F(1, 10**6) and abs(high - F("102.01")) < F(1, 10**6)
    assert middle(finding.basic or F(0)) == 100
