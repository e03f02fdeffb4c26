"""The order of making: a topological one by an independent check, with reasons and figures."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import networkx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaler.as_made.making_order import KINDS, MakingOrder, making_order
from scaler.as_made.measuring import Workbench
from scaler.expressions import names
from scaler.problems import Place
from scaler.reading.loading import load
from scaler.records import BasisKind, Model, Reading

DEMO = Path(__file__).parent.parent / "scaler" / "examples" / "pattern_d"


@pytest.fixture(scope="module")
def demo() -> Model:
    """The shipped example."""
    return load(DEMO)


def last_cuts(model: Model) -> networkx.DiGraph:
    """What must be made before what, built from the statements alone by networkx."""
    graph = networkx.DiGraph()
    pairs = [(p.basis, (*names(p.inner), *names(p.outer))) for p in model.pairs.values()]
    conditions = [(c.basis, names(c.expression)) for c in model.conditions.values()]
    for basis, named in pairs + conditions:
        if basis.kind is BasisKind.LAST_CUT:
            graph.add_edges_from((name, basis.last) for name in named if name != basis.last)
    return graph


def is_topological(order: MakingOrder, graph: networkx.DiGraph) -> bool:
    """Whether no size comes before one that must be made first (networkx finds the ancestors)."""
    place = {step.size: step.number for step in order.steps}
    return all(
        place[before] < place[size]
        for size in place
        if size in graph
        for before in networkx.ancestors(graph, size)
        if before in place
    )


def test_the_order_is_a_topological_one(demo: Model) -> None:
    """Independent check: networkx's ancestors over the last cuts, on the shipped example."""
    order = making_order(demo, figures=False)
    graph = last_cuts(demo)
    assert networkx.is_directed_acyclic_graph(graph)
    assert is_topological(order, graph)
    swapped = [*order.steps]
    first = next(n for n, s in enumerate(swapped) if s.size == "wheel.bore")
    last = next(n for n, s in enumerate(swapped) if s.size == "axle.wheel_seat")
    swapped[first] = replace(swapped[first], number=last + 2)
    assert not is_topological(replace(order, steps=tuple(swapped)), graph)  # the check can fail


def test_every_open_size_comes_once(demo: Model) -> None:
    """All sizes that get a figure, once each; pressure parts not at all."""
    order = making_order(demo, figures=False)
    sizes = [step.size for step in order.steps]
    assert len(sizes) == len(set(sizes))
    shut = {"boiler", "dome_cover"}
    assert set(sizes) == {s for s in demo.sizes if s.partition(".")[0] not in shut}


def test_fixed_tooling_comes_before_what_is_cut_to_suit(demo: Model) -> None:
    """Each last cut comes after bars, reamed holes and bores that it is cut to; reasons say so."""
    order = making_order(demo, figures=False)
    steps = {step.size: step for step in order.steps}
    assert steps["wheel.crank_pin_hole"].kind == "fixed tooling"
    assert steps["slide_bar.width"].kind == "as supplied"
    assert steps["crosshead.slipper_channel"].kind == "cut last"
    assert steps["slide_bar.width"].number < steps["crosshead.slipper_channel"].number
    assert "the tool leaves its own size" in steps["wheel.crank_pin_hole"].why
    assert "after slide_bar.width" in steps["crosshead.slipper_channel"].why
    assert "crosshead.slipper_channel is cut to suit it" in steps["slide_bar.width"].why
    assert "the fit is 0.05 mm wide, the cut takes 0.01 mm" in (
        steps["crosshead.slipper_channel"].why
    )
    without = [step.part for step in order.steps if step.kind != "cut last"]
    parts_with_last = {step.part for step in order.steps if step.kind == "cut last"}
    first_with = min(s.number for s in order.steps if s.part in parts_with_last)
    assert all(
        step.number < first_with
        for step in order.steps
        if step.part not in parts_with_last and step.part != "eccentric_sheave"
    ), without


def test_parts_are_kept_together(demo: Model) -> None:
    """A part is begun once and finished, but where another has to come in between."""
    order = making_order(demo, figures=False)
    runs = [s.part for n, s in enumerate(order.steps) if not n or order.steps[n - 1].part != s.part]
    back = {part for part in runs if runs.count(part) > 1}
    assert back == {"eccentric_sheave"}  # groove before strap, strap before diameter


def test_within_a_part_the_narrowest_cut_comes_first(demo: Model) -> None:
    """Of the last cuts of a part the one with most risk comes while least work is in it."""
    order = making_order(demo, figures=False)
    bush = [step.size for step in order.of_part("rod_bush")]
    assert bush[0] == "rod_bush.outside"  # 0.009 mm wide; the others 0.065 and 0.15


def test_the_next_part_has_its_figures(demo: Model) -> None:
    """Targets and limits stand with the part to make next, and with one asked for by name."""
    order = making_order(demo)
    assert {step.part for step in order.next} == {order.steps[0].part}
    assert all(step.target is not None for step in order.next)
    box = making_order(demo, part="axlebox").of_part("axlebox")
    width = next(step for step in box if step.size == "axlebox.width")
    assert width.target is not None and width.target.value == 29
    assert width.limits == (Fraction("28.96"), Fraction("29.02"))  # gap 29.06, 0.04 to 0.10 less


def test_what_has_been_measured_moves_the_figures(demo: Model) -> None:
    """Cheeks of 4.02 leave a gap of 29.02: the axlebox is to be 28.96 now, and only it is left."""
    bench = Workbench(demo)
    bench.measure("horn_cheek.thickness", "4.02 mm", remedies=False)
    order = making_order(bench.bench, part="axlebox")
    step = next(s for s in order.of_part("axlebox") if s.size == "axlebox.width")
    assert step.target is not None and step.target.value == Fraction("28.96")
    assert step.limits == (Fraction("28.92"), Fraction("28.98"))
    assert "to the measured horn_cheek.thickness" in step.why
    assert "horn_cheek.thickness" not in {s.size for s in order.steps}
    assert "horn_cheek.thickness" in order.made


def test_copies_still_to_be_made_are_told_apart(demo: Model) -> None:
    """With one cylinder bored, the pistons get each its own figure; the other bore is left."""
    bench = Workbench(demo)
    bench.measure("cylinder.bore", "35.34 mm", "left", remedies=False)
    order = making_order(bench.bench, part="piston")
    assert {s.copy for s in order.steps if s.size == "cylinder.bore"} == {"right"}
    pistons = {s.copy: s for s in order.of_part("piston") if s.size == "piston.diameter"}
    assert set(pistons) == {"left", "right"}
    left, right = pistons["left"].limits, pistons["right"].limits
    assert left == (Fraction("35.19"), Fraction("35.26"))
    assert right == (Fraction("35.15"), Fraction("35.22"))


def test_when_all_is_made_nothing_is_left(demo: Model) -> None:
    """Every size read: no next part."""
    bench = Workbench(demo).bench
    place = Place("readings.csv", 2)
    readings = {
        (size, ""): Reading(size, "", value, "", "", "", place)
        for size in demo.sizes
        if (value := bench.value(size)) is not None
    }
    order = making_order(replace(demo, readings=readings))
    assert order.next == () and order.steps == ()


def made_up(count: int, edges: list[tuple[int, int]]) -> str:
    """A model of discs, some cut last to others, written as a folder's one file."""
    text = ['[model]\ntitle = "Discs"\nscale = "1:4"\nwork = "mm"']
    for n in range(count):
        rule = "bored" if n % 3 else "reamed"
        text.append(
            f'[part.disc_{n}]\nmaterial = "steel"\nservice = "none"\n'
            f'size.bore = {{ full = "{40 + n % 5} mm", kind = "internal", rule = "{rule}" }}\n'
            f'size.rim = {{ full = "{60 + n % 7} mm", kind = "external", rule = "turned" }}'
        )
    for n, (one, other) in enumerate(edges):
        text.append(
            f'[pair.p_{n}]\ninner = "disc_{other}.rim"\nouter = "disc_{one}.bore"\n'
            f'fit = "clearance -100 to 100 mm"\nbasis = "last cut disc_{other}.rim"'
        )
        text.append(
            f"[condition.c_{n}]\nkeep = \"disc_{one}.rim - disc_{other}.bore <= '500 mm'\"\n"
            f'basis = "last cut disc_{other}.bore"'
        )
    return "\n\n".join(text) + "\n"


@given(
    st.integers(2, 9).flatmap(
        lambda n: st.tuples(
            st.just(n),
            st.lists(
                st.tuples(st.integers(0, n - 1), st.integers(0, n - 1)).filter(
                    lambda e: e[0] < e[1]
                ),
                max_size=14,
            ),
        )
    )
)
def test_any_model_gets_a_topological_order(
    tmp_path_factory: pytest.TempPathFactory, drawn: tuple[int, list[tuple[int, int]]]
) -> None:
    """Made-up models with last cuts in any number: every size once, none before its time."""
    folder = tmp_path_factory.mktemp("discs")
    (folder / "model.toml").write_text(made_up(*drawn), encoding="utf-8")
    model = load(folder)
    order = making_order(model, figures=False)
    assert sorted(step.size for step in order.steps) == sorted(model.sizes)
    assert is_topological(order, last_cuts(model))
    assert all(step.kind in KINDS for step in order.steps)


def test_the_order_for_scripts(demo: Model) -> None:
    """The dict and the frame hold every step."""
    order = making_order(demo)
    answer = order.as_dict()
    assert [step["size"] for step in answer["order"]] == [step.name for step in order.steps]
    assert answer["next"][0]["target"]["must_become_mm"] is not None
    assert len(order.frame()) == len(order.steps)
