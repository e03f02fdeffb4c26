"""Decomposition and dependants against scipy, networkx, brute force and a published example."""

from __future__ import annotations

import itertools
import random
from pathlib import Path

import networkx as nx
import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array
from scipy.sparse.csgraph import (
    connected_components,
    maximum_bipartite_matching,
    structural_rank,
)

import scaler
from scaler.settling.graph import (
    Decomposition,
    decompose,
    dependants,
    dependency_graph,
    find_ring,
    maximum_matching,
)
from scaler.settling.settle import settle

System = dict[str, list[str]]


@st.composite
def systems(draw: st.DrawFn, most: int = 9) -> System:
    """Random equations in random unknowns, sparse enough for every kind of piece to occur."""
    count = draw(st.integers(1, most))
    unknowns = [f"u{n}" for n in range(draw(st.integers(1, most)))]
    chosen = st.lists(st.sampled_from(unknowns), max_size=3, unique=True)
    return {f"e{n}": draw(chosen) for n in range(count)}


def matrix(system: System) -> tuple[csr_array, list[str], list[str]]:
    """The incidence matrix of a system: a row an equation, a column an unknown."""
    rows, columns = list(system), sorted({u for us in system.values() for u in us})
    dense = np.array([[int(u in system[e]) for u in columns] for e in rows], dtype=np.int8)
    return csr_array(dense.reshape(len(rows), len(columns))), rows, columns


def by_definition(system: System) -> tuple[set[str], set[str], set[str], set[str]]:
    """The over- and under-determined pieces straight from the definition, by scipy's matchings.

    An unknown can be left over by some maximum matching if taking it away does not make the
    matching smaller, an equation likewise; each piece holds those, and what they touch.
    """
    whole, rows, columns = matrix(system)
    dense = whole.toarray()

    def rank(part: np.ndarray) -> int:
        return int(structural_rank(csr_array(part))) if min(part.shape) else 0

    size = rank(dense)
    loose_rows = {e for n, e in enumerate(rows) if rank(np.delete(dense, n, 0)) == size}
    loose_columns = {u for n, u in enumerate(columns) if rank(np.delete(dense, n, 1)) == size}
    over_unknowns = {u for e in loose_rows for u in system[e]}
    open_equations = {e for e in rows if loose_columns & set(system[e])}
    return loose_rows, over_unknowns, loose_columns, open_equations


def pieces(found: Decomposition) -> tuple[set[str], set[str], set[str], set[str]]:
    """The same four sets of a decomposition."""
    return (
        set(found.over_equations),
        set(found.over_unknowns),
        set(found.open_unknowns),
        set(found.open_equations),
    )


@settings(max_examples=300)
@given(systems(14))
def test_the_matching_is_as_large_as_scipys(system: System) -> None:
    """As many equations matched as scipy's matching and its structural rank have."""
    whole, rows, columns = matrix(system)
    places = {u: n for n, u in enumerate(columns)}
    partner = maximum_matching([[places[u] for u in system[e]] for e in rows], len(columns))
    found = decompose(system)
    matched = len(rows) - len(found.spare)
    if columns:
        assert matched == int((maximum_bipartite_matching(whole) >= 0).sum())
        assert matched == structural_rank(whole)
    assert matched == sum(p >= 0 for p in partner)
    assert found.missing == len(columns) - matched
    taken = [p for p in partner if p >= 0]
    assert len(taken) == len(set(taken))
    assert all(p < 0 or columns[p] in system[e] for e, p in zip(rows, partner, strict=True))


@settings(max_examples=300)
@given(systems())
def test_the_pieces_are_those_of_the_definition(system: System) -> None:
    """Over- and under-determined pieces as defined by what some maximum matching leaves over."""
    assert by_definition(system) == pieces(decompose(system))


@settings(max_examples=300)
@given(systems(12), st.randoms(use_true_random=False))
def test_no_order_changes_the_pieces(system: System, dice: random.Random) -> None:
    """Equations and unknowns in another order (so another matching) part in the same way."""
    names = list(system)
    dice.shuffle(names)
    other = {e: dice.sample(system[e], len(system[e])) for e in names}
    first, second = decompose(system), decompose(other)
    assert pieces(first) == pieces(second)
    assert first.missing == second.missing
    over = set(first.over_equations)

    def well(found: Decomposition) -> set[tuple[frozenset[str], frozenset[str]]]:
        return {
            (frozenset(b.equations), frozenset(b.unknowns))
            for b in found.blocks
            if not over & set(b.equations)
        }

    assert well(first) == well(second)
    groups = [{frozenset(g.unknowns): g.missing for g in f.groups} for f in (first, second)]
    assert groups[0] == groups[1]


@settings(max_examples=300)
@given(systems(12))
def test_blocks_can_be_solved_in_their_order(system: System) -> None:
    """Square, never in need of a later block, and everything that can be found is in one."""
    found = decompose(system)
    known: set[str] = set()
    for block in found.blocks:
        assert len(block.equations) == len(block.unknowns)
        for equation, unknown in zip(block.equations, block.unknowns, strict=True):
            assert unknown in system[equation]
            assert set(system[equation]) <= known | set(block.unknowns)
        assert not known & set(block.unknowns)
        known |= set(block.unknowns)
    every = {u for unknowns in system.values() for u in unknowns}
    assert known == every - set(found.open_unknowns)
    in_blocks = {e for block in found.blocks for e in block.equations}
    assert in_blocks | set(found.spare) | set(found.open_equations) == set(system)


@settings(max_examples=300)
@given(systems(12))
def test_each_block_hangs_together(system: System) -> None:
    """The blocks are scipy's strongly connected components of equation → equation that needs it."""
    found = decompose(system)
    solver = {u: e for b in found.blocks for e, u in zip(b.equations, b.unknowns, strict=True)}
    rows = sorted(solver.values())
    number = {e: n for n, e in enumerate(rows)}
    needs = np.zeros((len(rows), len(rows)), dtype=np.int8)
    for equation in rows:
        for unknown in system[equation]:
            needs[number[solver[unknown]], number[equation]] = 1
    if not rows:
        return
    _, labels = connected_components(csr_array(needs), directed=True, connection="strong")
    ours = {frozenset(block.equations) for block in found.blocks}
    theirs = {frozenset(rows[n] for n in np.flatnonzero(labels == k)) for k in set(labels)}
    assert ours == theirs


def test_a_published_over_and_under_determined_system() -> None:
    """A solid phase of a reactor, debugged with the decomposition.

    Source: Pyomo documentation, 'Debugging a structural singularity with the Dulmage-Mendelsohn
    partition' (example of Parker, Nicholson and Siirola, Comput. Chem. Eng. 178, 2023), the printed
    overconstrained and underconstrained subsystems.
    """
    system = {
        "sum_eqn": ["x1", "x2", "x3"],
        **{f"holdup_eqn{n}": [f"x{n}", "density"] for n in (1, 2, 3)},
        "density_eqn": ["density", "x1", "x2", "x3"],
        **{f"flow_eqn{n}": [f"x{n}", "flow", f"flow_comp{n}"] for n in (1, 2, 3)},
    }
    found = decompose(system)
    assert set(found.over_unknowns) == {"x1", "x2", "x3", "density"}
    assert set(found.over_equations) == {
        "sum_eqn",
        "holdup_eqn1",
        "holdup_eqn2",
        "holdup_eqn3",
        "density_eqn",
    }
    assert set(found.open_unknowns) == {"flow", "flow_comp1", "flow_comp2", "flow_comp3"}
    assert set(found.open_equations) == {"flow_eqn1", "flow_eqn2", "flow_eqn3"}
    assert len(found.spare) == 1 and found.missing == 1


def test_a_published_square_system_without_a_singularity() -> None:
    """The same system once mended, from the same page: ten equations, none left over."""
    system = {
        "sum_eqn": ["x1", "x2", "x3"],
        **{f"holdup_eqn{n}": [f"x{n}", "dens_bulk"] for n in (1, 2, 3)},
        "dens_skel_eqn": ["dens_skel", "x1", "x2", "x3"],
        "dens_bulk_eqn": ["dens_bulk", "porosity", "dens_skel"],
        **{f"flow_eqn{n}": [f"x{n}", "flow", f"flow_comp{n}"] for n in (1, 2, 3)},
        "flow_dens_eqn": ["flow", "dens_bulk"],
    }
    found = decompose(system)
    assert not found.spare and not found.open_unknowns and not found.missing
    # what is left is ours: the four mass equations together, the rest one by one after them
    assert {frozenset(block.unknowns) for block in found.blocks} == {
        frozenset({"x1", "x2", "x3", "dens_bulk"}),
        *(frozenset({u}) for u in ("dens_skel", "porosity", "flow")),
        *(frozenset({f"flow_comp{n}"}) for n in (1, 2, 3)),
    }


def test_a_published_block_triangle() -> None:
    """A tridiagonal pattern that falls into blocks of two.

    Source: Pyomo, incidence_analysis tests, test_triangularize.py, decomposable tridiagonal
    matrix of five rows: blocks {0, 1}, {2, 3}, {4}.
    """
    system = {
        "0": ["0", "1"],
        "1": ["0", "1"],
        "2": ["1", "2", "3"],
        "3": ["2", "3"],
        "4": ["3", "4"],
    }
    found = decompose(system)
    assert [set(b.equations) for b in found.blocks] == [{"0", "1"}, {"2", "3"}, {"4"}]
    assert [set(b.unknowns) for b in found.blocks] == [{"0", "1"}, {"2", "3"}, {"4"}]


def test_a_published_well_determined_part_beside_an_open_one() -> None:
    """A level in a tank over time: only the first outflow can be found.

    Source: Pyomo, incidence_analysis tests, test_dulmage_mendelsohn.py, 'dynamic model' with the
    first height fixed (five steps, backward difference).
    """
    system: System = {"flow_out_eqn0": ["flow_out0"]}
    for t in range(6):
        system[f"diff_eqn{t}"] = [f"dhdt{t}", f"flow_in{t}", f"flow_out{t}"]
        if t:
            system[f"flow_out_eqn{t}"] = [f"flow_out{t}", f"height{t}"]
            before = [f"height{t - 1}"] if t > 1 else []
            system[f"dhdt_disc_eq{t}"] = [f"dhdt{t}", f"height{t}", *before]
    found = decompose(system)
    assert [(b.equations, b.unknowns) for b in found.blocks] == [
        (("flow_out_eqn0",), ("flow_out0",))
    ]
    assert not found.spare
    assert set(found.open_equations) == set(system) - {"flow_out_eqn0"}


def test_open_unknowns_are_counted_group_by_group() -> None:
    """Two chains that do not touch need one size each, and are named apart."""
    found = decompose({"one": ["a", "b"], "two": ["c", "d"], "three": ["d", "e"]})
    assert [(g.unknowns, g.equations, g.missing) for g in found.groups] == [
        (("a", "b"), ("one",), 1),
        (("c", "d", "e"), ("two", "three"), 1),
    ]


def test_a_long_chain_needs_no_recursion() -> None:
    """Ten thousand equations of which the last one alone fixes the first unknown."""
    system = {f"e{n}": [f"u{n}", f"u{n + 1}"] for n in range(10_000)}
    system["last"] = ["u0"]
    found = decompose(system)
    assert not found.open_unknowns
    assert [b.unknowns[0] for b in found.blocks[:3]] == ["u0", "u1", "u2"]
    assert len(found.blocks) == 10_001


edges = st.lists(st.tuples(st.integers(0, 7), st.integers(0, 7)), max_size=18)


@given(edges, st.lists(st.integers(0, 7), max_size=3, unique=True))
def test_dependants_are_what_can_be_reached(links: list[tuple[int, int]], start: list[int]) -> None:
    """As networkx's descendants, and as the powers of the adjacency matrix say."""
    graph = nx.DiGraph()
    graph.add_nodes_from(range(8))
    graph.add_edges_from(links)
    found = dependants(graph, start)
    assert found == set().union(*(nx.descendants(graph, n) for n in start))
    one = nx.to_numpy_array(graph, nodelist=range(8)) > 0
    reach = one.copy()
    for _ in range(8):
        reach = reach | ((reach.astype(int) @ one.astype(int)) > 0)
    brute = {m for n in start for m in range(8) if reach[n, m] and m != n}
    assert found == brute


@given(edges)
def test_a_ring_is_found_where_networkx_finds_one(links: list[tuple[int, int]]) -> None:
    """The ring returned is closed and made of edges; none is returned where there is none."""
    successors: dict[str, list[str]] = {}
    for one, other in links:
        successors.setdefault(str(one), []).append(str(other))
    ring = find_ring(successors)
    acyclic = nx.is_directed_acyclic_graph(nx.DiGraph(links))
    assert bool(ring) != acyclic
    if ring:
        assert ring[0] == ring[-1]
        assert all(b in successors[a] for a, b in itertools.pairwise(ring))
        assert len(set(ring)) == len(ring) - 1


def test_a_model_as_a_graph(tmp_path: Path) -> None:
    """Sizes, pairs and conditions with an edge from what goes in to what comes out."""
    (tmp_path / "model.toml").write_text(
        """
[model]
scale = "1:8"
[part.frame]
size.length = { full = "800 mm" }
size.front = { full = "160 mm" }
size.rear = { kind = "length" }
size.middle = { equals = "frame.length / 2" }
size.peg = { kind = "external", rule = "follows frame.hole" }
size.hole = { full = "80 mm", kind = "internal", rule = "bored" }
[pair.peg_in_hole]
inner = "frame.peg"
outer = "frame.hole"
fit = "0 to 0.1 mm"
basis = "basic size"
[condition.closes]
keep = "frame.front + frame.rear == frame.length"
"""
    )
    model = scaler.load(tmp_path)
    plain = dependency_graph(model)
    assert dependants(plain, ["frame.hole"]) == {"frame.peg", ("pair", "peg_in_hole")}
    assert dependants(plain, ["frame.length"]) == {"frame.middle", ("condition", "closes")}
    solved = dependency_graph(model, settle(model))
    assert "frame.rear" in dependants(solved, ["frame.length"])
    assert "frame.rear" in dependants(solved, ["frame.front"])
    assert "frame.front" not in dependants(solved, ["frame.length"])
    assert plain.nodes["frame.length"]["what"] == "size"
    assert plain.edges["frame.hole", "frame.peg"]["makes"] is True
