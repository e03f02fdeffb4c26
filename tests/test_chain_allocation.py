"""Tolerances shared out: closed forms, scipy as an oracle, every choice tried out, the catalogue."""

from __future__ import annotations

import json
import math
from fractions import Fraction as F
from itertools import product
from pathlib import Path

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize

import scaler
from scaler import catalogue
from scaler.chains.allocation import Allocation, allocate, choose_processes, with_tolerances
from scaler.chains.chain import Chain, Given, chain, chain_of
from scaler.chains.costs import Curve, Option, catalogue_curves, catalogue_options, process_curve
from scaler.expressions.intervals import lower, upper
from scaler.problems import InputError
from scaler.records import Kind
from scaler.settling.rows import method_row
from scaler.trade import iso286

EXAMPLE = Path(scaler.__file__).parent / "examples" / "pattern_d"


def plus_minus(basic: str, half: str) -> Given:
    """A size ± half its tolerance."""
    return Given(F(basic), -F(half), F(half))


# Chase and Greenwood, Design issues in mechanical tolerance analysis, 1988 [in]: the bearings and
# the ring are bought and keep theirs; the others are scaled to a clearance of 0.020 ± 0.015.
# Factors 0.47222 by worst limit and 1.39526 by root sum square. From memory; the middle is taken
# as 0.020 exactly here, as it is there.
OPEN = {
    "shaft.length": ("8.000", "0.008"),
    "housing.shoulder": ("0.400", "0.002"),
    "housing.length": ("7.711", "0.006"),
    "cap.spigot": ("0.400", "0.002"),
}
BOUGHT = {
    "ring.width": ("0.0505", "0.0015"),
    "bearing_1.width": ("0.5093", "0.0025"),
    "bearing_2.width": ("0.5093", "0.0025"),
}
CLEARANCE = (
    "shaft.length + housing.shoulder + cap.spigot - ring.width - bearing_1.width "
    "- housing.length - bearing_2.width"
)


def shaft_and_housing() -> Chain:
    """The published stack, with what is bought marked as read."""
    sizes = {name: plus_minus(*figures) for name, figures in OPEN.items()}
    for name, (basic, half) in BOUGHT.items():
        sizes[name] = Given(F(basic), -F(half), F(half), reading=True)
    found = chain_of(CLEARANCE, sizes, draws=0)
    assert isinstance(found.mean, F)
    return found


@pytest.mark.parametrize(("by", "factor"), [("worst case", 0.47222), ("root sum square", 1.39526)])
def test_proportional_scaling_of_the_published_stack(by: str, factor: float) -> None:
    """The published scale factors, and tolerances in proportion."""
    stack = shaft_and_housing()
    window = (stack.mean - F("0.015"), stack.mean + F("0.015"))  # type: ignore[operator]
    found = allocate(stack, by=by, wanted=window, method="proportion", step=None)  # type: ignore[arg-type]
    for name, (_, half) in OPEN.items():
        assert float(found.tolerance(name) / (2 * F(half))) == pytest.approx(factor, abs=5e-6)
    assert set(found.kept) == set(BOUGHT)


@pytest.mark.parametrize("by", ["worst case", "root sum square"])
def test_a_single_size_gets_all_the_room_exactly(by: str) -> None:
    """Of one size the whole window is its tolerance, to the step; where that is the finest its
    process holds, it is neither a hair finer nor refused (by the definition of the worst case)."""
    sizes = {"plate.gap": Given(F(10), F(0), F("0.3"))}
    stack = chain_of("plate.gap - 9", sizes, draws=0)
    for finest in (F(0), F("0.1")):
        curve = Curve(F(1), F(1), F(1), per=F(1), finest=finest)
        found = allocate(stack, by=by, wanted=(F("1.1"), F("1.2")), curves={"plate.gap": curve})  # type: ignore[arg-type]
        assert found.tolerance("plate.gap") == F("0.1")


# The same stack at least cost, with the cost curves A + B / tol^k of that literature (B, k from
# memory); scipy.optimize is the oracle for what the least cost is.
CURVES = {
    "shaft.length": ("0.15997", "0.43899"),
    "housing.shoulder": ("0.07202", "0.46823"),
    "housing.length": ("0.12576", "0.46537"),
    "cap.spigot": ("0.07202", "0.46823"),
}


@pytest.mark.parametrize("by", ["worst case", "root sum square"])
def test_least_cost_against_scipy(by: str) -> None:
    """Different exponents: tolerances and cost of scipy's own search."""
    stack = shaft_and_housing()
    window = (stack.mean - F("0.015"), stack.mean + F("0.015"))  # type: ignore[operator]
    curves = {n: Curve(F(1), F(b), F(k), per=F(1)) for n, (b, k) in CURVES.items()}
    found = allocate(stack, by=by, wanted=window, curves=curves, step=None)  # type: ignore[arg-type]
    work = numpy.array([float(b) for b, _ in CURVES.values()])
    power = numpy.array([float(k) for _, k in CURVES.values()])
    bought = [2 * float(half) for _, half in BOUGHT.values()]

    def room(widths: object) -> float:
        both = numpy.concatenate((numpy.asarray(widths) / 100, bought)) / 2
        used = both.sum() if by == "worst case" else math.sqrt((both**2).sum())
        return 100 * (0.015 - used)

    best = optimize.minimize(
        lambda widths: (work / (widths / 100) ** power).sum(),
        numpy.full(4, 0.4),
        constraints=[{"type": "ineq", "fun": room}],
        bounds=[(0.01, None)] * 4,
        method="SLSQP",
        options={"ftol": 1e-14, "maxiter": 500},
    )
    assert best.success
    for name, width in zip(CURVES, best.x / 100, strict=True):
        assert float(found.tolerance(name)) == pytest.approx(width, rel=2e-4)
    assert float(upper(found.cost)) == pytest.approx(4 + best.fun, rel=1e-6)
    assert "found by halving" in found.how


@pytest.mark.parametrize(
    ("exponent", "by", "power"),
    [
        (1, "worst case", 2),
        (2, "worst case", 3),
        (1, "root sum square", 3),
        (2, "root sum square", 4),
    ],
)
def test_closed_forms(exponent: int, by: str, power: int) -> None:
    """Reciprocal and reciprocal squared: tolerances as the square, cube or fourth root of the cost.

    By hand from the Lagrange condition d(cost)/dT = λ·d(room)/dT with sensitivities of 1.
    """
    sizes = {"a.x": plus_minus("10", "0.1"), "b.x": plus_minus("20", "0.1")}
    stack = chain_of("a.x + b.x", sizes, wanted=(F("29.8"), F("30.2")), draws=0)
    ratio = 2**power
    curves = {
        "a.x": Curve(F(0), F(1), F(exponent)),
        "b.x": Curve(F(0), F(ratio), F(exponent)),
    }
    found = allocate(stack, by=by, curves=curves, step=None)  # type: ignore[arg-type]
    first, second = found.tolerance("a.x"), found.tolerance("b.x")
    assert float(second / first) == pytest.approx(2.0, abs=1e-6)
    used = first + second if by == "worst case" else math.hypot(first, second)
    assert float(used) == pytest.approx(0.4, abs=1e-8)
    assert "closed form" in found.how


@settings(max_examples=40)
@given(
    st.lists(
        st.tuples(st.integers(1, 4), st.integers(1, 50), st.integers(5, 60)),
        min_size=2,
        max_size=5,
    ),
    st.integers(20, 200),
    st.sampled_from(["worst case", "root sum square"]),
)
def test_nothing_near_is_cheaper(rows: list[tuple[int, int, int]], room: int, by: str) -> None:
    """Optimal: no exchange of room between two sizes is cheaper, and the ends are kept to."""
    sizes = {f"p{n}.x": plus_minus("10", "0.01") for n in range(len(rows))}
    text = " + ".join(f"{rows[n][0]} * {name}" for n, name in enumerate(sizes))
    centre = F(10 * sum(row[0] for row in rows))
    window = (centre - F(room, 100), centre + F(room, 100))
    curves = {
        name: Curve(F(1), F(rows[n][1]), finest=F(1, 100), coarsest=F(rows[n][2], 100))
        for n, name in enumerate(sizes)
    }
    stack = chain_of(text, sizes, wanted=window, draws=0)
    found = allocate(stack, by=by, curves=curves, step=None)  # type: ignore[arg-type]
    degree = 1 if by == "worst case" else 2
    weights = {name: (F(rows[n][0]) / 2) ** degree for n, name in enumerate(sizes)}
    widths = {name: found.tolerance(name) for name in sizes}
    used = sum(weights[name] * widths[name] ** degree for name in sizes)
    assert used <= F(room, 100) ** degree
    for name, curve in curves.items():
        assert curve.finest <= widths[name] <= curve.coarsest  # type: ignore[operator]
    all_coarse = all(widths[name] == curves[name].coarsest for name in sizes)
    assert all_coarse or float(used) == pytest.approx((room / 100) ** degree, rel=1e-6)
    before = sum(float(upper(curves[name].cost(widths[name]))) for name in sizes)
    for one, other in product(sizes, repeat=2):
        if one == other:
            continue
        for step in (1e-3, 1e-2):
            share = step * float(weights[one] * widths[one] ** degree)
            left = float(weights[one] * widths[one] ** degree) - share
            right = float(weights[other] * widths[other] ** degree) + share
            a = (left / float(weights[one])) ** (1 / degree)
            b = (right / float(weights[other])) ** (1 / degree)
            if a < float(curves[one].finest) or b > float(curves[other].coarsest):  # type: ignore[arg-type]
                continue
            after = before
            for name, width in ((one, a), (other, b)):
                after += float(curves[name].work) * 0.1 * (1 / width - 1 / float(widths[name]))
            assert after >= before - 1e-6 * before


options = st.lists(st.tuples(st.integers(1, 40), st.integers(1, 30)), min_size=1, max_size=4)


@settings(max_examples=50)
@given(
    st.lists(options, min_size=1, max_size=4),
    st.integers(3, 80),
    st.sampled_from(["worst case", "root sum square"]),
)
def test_choice_of_processes_against_every_choice(
    rows: list[list[tuple[int, int]]], room: int, by: str
) -> None:
    """The cheapest of all choices, found by trying every one of them."""
    names = [f"p{n}.x" for n in range(len(rows))]
    sizes = {name: plus_minus("10", "0.01") for name in names}
    centre = F(10 * len(rows))
    half = F(room, 100)
    stack = chain_of(" + ".join(names), sizes, wanted=(centre - half, centre + half), draws=0)
    offered = {
        name: tuple(
            Option("way", str(n), F(width, 50), F(cost))
            for n, (width, cost) in enumerate(rows[place])
        )
        for place, name in enumerate(names)
    }
    degree = 1 if by == "worst case" else 2
    costs = [
        sum(option.cost for option in choice)
        for choice in product(*offered.values())
        if sum((option.tolerance / 2) ** degree for option in choice) <= half**degree
    ]
    if not costs:
        with pytest.raises(InputError, match="even the finest"):
            choose_processes(stack, by=by, options=offered)  # type: ignore[arg-type]
        return
    found = choose_processes(stack, by=by, options=offered)  # type: ignore[arg-type]
    assert found.cost == min(costs)
    assert found.how == "cheapest choice of processes"


def test_choice_of_processes_against_an_integer_programme() -> None:
    """Twelve sizes with eight ways each: the cost of scipy's mixed-integer programme (HiGHS)."""
    rng = numpy.random.default_rng(5)
    count, ways = 12, 8
    widths = [[F(int(w), 1000) for w in rng.integers(5, 200, ways)] for _ in range(count)]
    costs = [[F(int(c)) for c in rng.integers(1, 100, ways)] for _ in range(count)]
    names = [f"p{n}.x" for n in range(count)]
    sizes = {name: plus_minus("10", "0.01") for name in names}
    half = F(300, 1000)
    stack = chain_of(" + ".join(names), sizes, wanted=(120 - half, 120 + half), draws=0)
    offered = {
        name: tuple(Option("way", str(w), widths[n][w], costs[n][w]) for w in range(ways))
        for n, name in enumerate(names)
    }
    found = choose_processes(stack, options=offered)
    one_each = numpy.kron(numpy.eye(count), numpy.ones(ways))
    used = numpy.array([float(w / 2) for row in widths for w in row])
    best = optimize.milp(
        [float(c) for row in costs for c in row],
        integrality=numpy.ones(count * ways),
        bounds=optimize.Bounds(0, 1),
        constraints=[
            optimize.LinearConstraint(one_each, 1, 1),
            optimize.LinearConstraint(used, -numpy.inf, float(half) + 1e-12),
        ],
    )
    assert best.success
    assert float(upper(found.cost)) == pytest.approx(best.fun)


def test_a_coarser_count_of_room_is_said_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """With too many states the choice is safe and is called best found, not cheapest."""
    from scaler.chains import least_cost as chain_least_cost

    monkeypatch.setattr(chain_least_cost, "MOST_STATES", 3)
    names = [f"p{n}.x" for n in range(5)]
    sizes = {name: plus_minus("10", "0.01") for name in names}
    stack = chain_of(" + ".join(names), sizes, wanted=(F("49.8"), F("50.2")), draws=0)
    offered = {
        name: tuple(Option("way", str(w), F(10 + 7 * w + n, 1000), F(20 - w)) for w in range(8))
        for n, name in enumerate(names)
    }
    found = choose_processes(stack, options=offered)
    assert found.how.endswith("best found")
    assert found.chain.worst_case[0] >= F("49.8")  # type: ignore[operator]


def test_chains_that_are_not_linear_are_checked_again() -> None:
    """The tolerances of a root keep its certified worst case inside the window."""
    sizes = {"hole.x": plus_minus("0.3", "0.01"), "hole.y": plus_minus("0.4", "0.01")}
    stack = chain_of("sqrt(hole.x^2 + hole.y^2)", sizes, wanted=(F("0.3"), F("0.7")), draws=0)
    curves = {name: Curve(F(1), F(1)) for name in sizes}
    for by in ("worst case", "root sum square"):
        found = allocate(stack, by=by, curves=curves)  # type: ignore[arg-type]
        bounds = found.chain.worst_case if by == "worst case" else found.chain.root_sum_square
        assert lower(bounds[0]) >= F("0.3") and upper(bounds[1]) <= F("0.7")  # type: ignore[arg-type]
        again = with_tolerances(stack, {row.size: row.tolerance for row in found.allotted})
        assert again.worst_case == found.chain.worst_case


@pytest.fixture(scope="module")
def lateral() -> Chain:
    """A chain of the example with several processes."""
    return chain(scaler.load(EXAMPLE), "lateral_chain", draws=0)


def test_the_catalogue_serves_a_chain_of_the_example(lateral: Chain) -> None:
    """Tolerances inside the window, on the step, within what the processes hold; the bar is kept."""
    curves = catalogue_curves(lateral)
    for by in ("worst case", "root sum square"):
        found = allocate(lateral, by=by)  # type: ignore[arg-type]
        assert "coupling_rod.thickness" in found.kept  # flat bar, as supplied
        for row in found.allotted:
            assert row.tolerance % F(1, 1000) == 0 or row.at_end == "finest"
            assert curves[row.size].finest <= row.tolerance
            assert row.limits[1] - row.limits[0] == row.tolerance
        if by == "worst case":
            low, high = found.chain.worst_case
            assert low >= F("-0.2") and high <= F("0.2")  # type: ignore[operator]
        assert upper(found.cost) <= upper(found.cost_before)  # type: ignore[arg-type]
        assert [note.code for note in found.notes] == ["off-centre"]
        whole = choose_processes(lateral, by=by)  # type: ignore[arg-type]
        assert whole.chain.verdict is not None
        assert {row.size for row in whole.allotted} == {row.size for row in found.allotted}


def test_results_for_scripts(lateral: Chain) -> None:
    """Plain JSON, a frame a row a size, and text with the window and the costs."""
    found: Allocation = allocate(lateral)
    row = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert row["by"] == "worst case"
    assert row["allotted"][0]["tolerance_rational"] == str(found.allotted[0].tolerance)
    assert len(found.frame()) == len(found.allotted)
    text = found.text()
    assert "closing limits" in text and "minutes, rough" in text
    assert "keep their limits: coupling_rod.thickness" in text


def test_what_cannot_be_shared_out(lateral: Chain) -> None:
    """No window, no process, not even the finest, options that are none: each is said."""
    sizes = {"a.x": plus_minus("10", "0.1"), "b.x": plus_minus("20", "0.1")}
    bare = chain_of("a.x + b.x", sizes, draws=0)
    curves = {"a.x": Curve(F(1), F(1), finest=F("0.1"))}
    window = (F("29.9"), F("30.1"))
    cases = [
        ({}, "no closing limits"),
        ({"wanted": window}, "no size of expression has a tolerance"),
        ({"wanted": window, "curves": curves}, "uses all of it"),
        ({"wanted": (F("29.85"), F("30.14")), "curves": curves}, "even the finest"),
        ({"wanted": (F("30.2"), F("30.4")), "curves": curves}, "middle lies outside"),
        ({"wanted": window, "curves": {"c.x": Curve(F(1), F(1))}}, "takes no part"),
        ({"wanted": window, "curves": curves, "by": "worst cas"}, "did you mean 'worst case'"),
    ]
    for options_, says in cases:
        with pytest.raises(InputError, match=says):
            allocate(bare, **options_)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="1 or 2"):
        allocate(lateral, exponent=3)
    shifted = chain_of("a.x + b.x", sizes, wanted=window, mean_shift=1, draws=0)
    with pytest.raises(InputError, match="without a mean shift"):
        allocate(shifted, by="root sum square", curves=curves)
    refused = chain(scaler.load(EXAMPLE), "boiler.tube_outside * 2")
    with pytest.raises(InputError, match="no figures"):
        allocate(refused)


# --- the table of processes


# Machining processes and the tolerance grades they usually hold, ANSI B4.1 chart as reprinted in
# handbooks: read second-hand (the order of the processes in one scanned page, the grades in two web
# tables of the same chart).
CHART = {
    "lapped": (4, 5),
    "reamed": (6, 10),
    "turned": (7, 13),
    "bored": (8, 13),
    "milled": (10, 13),
    "drilled": (10, 13),
}


def test_grades_of_processes_are_those_of_the_chart() -> None:
    """Finest and coarsest grade of each process of the chart."""
    table = catalogue.table("process_costs")
    for process, (finest, coarsest) in CHART.items():
        row = table.find(process)
        assert row is not None
        assert (row.text("finest_grade"), row.text("coarsest_grade")) == (
            f"IT{finest}",
            f"IT{coarsest}",
        )


def test_the_table_of_processes_is_sound() -> None:
    """Every process is a method, with kinds of its own, a finer grade first, and a cost."""
    names = [row.text("designation") for row in catalogue.table("process_costs").rows]
    assert names == sorted(names)
    for row in catalogue.table("process_costs").rows:
        method = method_row(row.text("designation"))
        assert method is not None
        kinds = row.text("kinds").split(";")
        assert {Kind(kind) for kind in kinds} and set(kinds) <= set(method.kinds)
        assert int(row.text("finest_grade")[2:]) < int(row.text("coarsest_grade")[2:])
        assert row.number("setup_minutes") > 0 and row.number("work_minutes") > 0
        assert "common practice" in row.text("place")


def test_curves_of_the_catalogue() -> None:
    """A curve ends at the grades of ISO 286 (or the finer last cut) and costs more the finer."""
    curve = process_curve("turned", F(25))
    assert curve is not None
    assert curve.coarsest == iso286.tolerance(13, F(25)) / 1000 == F("0.33")  # ISO 286-1 table 1
    assert curve.finest == F("0.01")  # last cut of the methods table, finer than IT7 = 0.021
    assert curve.cost(F("0.1")) == 6 and curve.cost(F("0.01")) == 15
    squared = process_curve("turned", F(25), 2)
    assert squared is not None and squared.cost(F("0.01")) == 105
    assert process_curve("whittled", F(25)) is None
    assert process_curve("turned", F(5000)) is None  # beyond the tables of ISO 286


def test_options_of_the_catalogue(lateral: Chain) -> None:
    """Processes of the size's kind; reamers and drills are not offered where none is used."""
    offered = catalogue_options(lateral)
    processes = {option.process for option in offered["wheel.tyre_width"]}
    assert {"turned", "milled", "ground", "lapped"} <= processes
    assert not {"reamed", "drilled", "bored"} & processes
    widths = [option.tolerance for option in offered["wheel.tyre_width"]]
    assert widths == sorted(widths)
