"""What depends on what: matching, decomposition and order of the statements of a model.

Sizes that have to be worked out and the equations they stand in form a bipartite graph. A maximum
matching (Hopcroft and Karp 1973, by networkx) and the decomposition of Dulmage and Mendelsohn
(1958) part it into an over-, a well- and an under-determined piece; strongly connected components
of the well-determined one give the order of solving. Sets are walked in a fixed order, so that the
answer is the same on every run.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from scaler.expressions import names
from scaler.records import Model

if TYPE_CHECKING:
    import networkx


@dataclass(frozen=True, slots=True)
class Block:
    """Equations to be solved together for as many unknowns."""

    equations: tuple[str, ...]
    unknowns: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Decomposition:
    """The pieces of a system of equations.

    ``blocks`` come in order of solving and cover every matched equation whose unknowns can be
    found; ``spare`` are equations beyond the unknowns (checks, or disagreements); ``open_unknowns``
    cannot be found, and ``missing`` of them (the count of unmatched ones) must be given;
    ``open_equations`` are those that reach into the open part.
    """

    blocks: tuple[Block, ...]
    spare: tuple[str, ...]
    over_equations: tuple[str, ...]
    open_unknowns: tuple[str, ...]
    open_equations: tuple[str, ...]
    missing: int


def decompose(equations: Mapping[str, Iterable[str]]) -> Decomposition:
    """The Dulmage–Mendelsohn decomposition of equations → the unknowns in each.

    Parameters: equations : mapping of an equation's name to the names of its unknowns.
    Returns: Decomposition. An equation without unknowns is spare.
    References: Dulmage and Mendelsohn, Coverings of bipartite graphs, Canad. J. Math. 10 (1958);
        Pothen and Fan, ACM Trans. Math. Softw. 16 (1990) for its computation from a matching.
    """
    import networkx as nx

    uses = {equation: tuple(dict.fromkeys(unknowns)) for equation, unknowns in equations.items()}
    used_in: dict[str, list[str]] = {}
    for equation, unknowns in uses.items():
        for unknown in unknowns:
            used_in.setdefault(unknown, []).append(equation)
    graph = nx.Graph()
    left = [("e", equation) for equation in uses]
    graph.add_nodes_from(left)
    graph.add_nodes_from(("u", unknown) for unknown in used_in)
    graph.add_edges_from((("e", e), ("u", u)) for e, unknowns in uses.items() for u in unknowns)
    matching = nx.bipartite.hopcroft_karp_matching(graph, left)
    solves = {e: matching["e", e][1] for e in uses if ("e", e) in matching}
    solved_by = {u: e for e, u in solves.items()}
    spare = [e for e in uses if e not in solves]
    loose = [u for u in used_in if u not in solved_by]
    over = _reach(spare, lambda e: [solved_by[u] for u in uses[e] if u in solved_by])
    opened = _reach(loose, lambda u: [solves[e] for e in used_in[u] if e in solves])
    open_equations = {e for u in opened for e in used_in[u]}
    closed = [e for e in uses if e in solves and solves[e] not in opened]
    order = nx.DiGraph()
    order.add_nodes_from(closed)
    known = set(closed)
    for equation in closed:
        for unknown in uses[equation]:
            maker = solved_by.get(unknown)
            if maker is not None and maker != equation and maker in known:
                order.add_edge(maker, equation)
    condensed = nx.condensation(order)
    position = {equation: n for n, equation in enumerate(uses)}
    blocks = []
    for node in nx.lexicographical_topological_sort(
        condensed, key=lambda n: min(position[e] for e in condensed.nodes[n]["members"])
    ):
        members = sorted(condensed.nodes[node]["members"], key=position.__getitem__)
        blocks.append(Block(tuple(members), tuple(solves[e] for e in members)))
    # a block that needs an open unknown cannot be solved either
    shut = set(opened)
    done = []
    for block in blocks:
        wanted = {u for e in block.equations for u in uses[e]}
        if wanted & shut:
            shut |= set(block.unknowns)
            open_equations |= set(block.equations)
        else:
            done.append(block)
    return Decomposition(
        tuple(done),
        tuple(spare),
        tuple(e for e in uses if e in over or e in spare),
        tuple(u for u in used_in if u in shut),
        tuple(e for e in uses if e in open_equations),
        len(loose),
    )


def _reach(start: Iterable[str], step: Any) -> set[str]:
    seen = set(start)
    stack = list(seen)
    while stack:
        for item in step(stack.pop()):
            if item not in seen:
                seen.add(item)
                stack.append(item)
    return seen


def dependency_graph(model: Model) -> networkx.DiGraph:
    """The whole model as a directed graph: sizes, pairs and conditions, with an edge from each
    size to what its value enters. Nodes carry ``what`` (size, pair, condition); edges that make
    one size from another carry ``makes=True``.
    """
    import networkx as nx

    graph = nx.DiGraph()
    for size in model.sizes.values():
        graph.add_node(size.id, what="size")
    for size in model.sizes.values():
        for other in _makers(model, size.id):
            graph.add_edge(other, size.id, makes=True)
    for pair in model.pairs.values():
        node = ("pair", pair.id)
        graph.add_node(node, what="pair")
        for name in (*names(pair.inner), *names(pair.outer)):
            graph.add_edge(name.partition("@")[0], node, makes=False)
    for condition in model.conditions.values():
        node = ("condition", condition.id)
        graph.add_node(node, what="condition")
        for name in names(condition.expression):
            graph.add_edge(name.partition("@")[0], node, makes=False)
    return graph


def _makers(model: Model, identity: str) -> Sequence[str]:
    size = model.sizes[identity]
    found: list[str] = []
    if size.equals is not None:
        found += names(size.equals)
    for method in size.rule:
        if method.argument is not None:
            found += names(method.argument)
    return tuple(dict.fromkeys(name.partition("@")[0] for name in found))


def makers(model: Model) -> dict[str, tuple[str, ...]]:
    """For each size the sizes that its own definition or rule names."""
    return {identity: tuple(_makers(model, identity)) for identity in model.sizes}


def dependants(graph: networkx.DiGraph, names_: Iterable[Hashable]) -> set[Hashable]:
    """Everything that a change to these sizes can reach."""
    import networkx as nx

    reached: set[Hashable] = set()
    for name in names_:
        reached |= nx.descendants(graph, name)
    return reached


def find_ring(edges: Mapping[str, Iterable[str]]) -> tuple[str, ...]:
    """One ring of a directed graph given as successors, '' tuple where there is none.

    >>> find_ring({"a": ["b"], "b": ["c"], "c": ["a"]})
    ('a', 'b', 'c', 'a')
    """
    state: dict[str, int] = {}
    for root in edges:
        if root in state:
            continue
        path: list[str] = [root]
        walkers = [iter(edges.get(root, ()))]
        state[root] = 1
        while walkers:
            child = next(walkers[-1], None)
            if child is None:
                walkers.pop()
                state[path.pop()] = 2
            elif state.get(child) == 1:
                return (*path[path.index(child) :], child)
            elif child not in state:
                state[child] = 1
                path.append(child)
                walkers.append(iter(edges.get(child, ())))
    return ()
