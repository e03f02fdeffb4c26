"""What depends on what: matching, decomposition and order of the statements of a model.

Sizes that have to be worked out and the equations they stand in form a bipartite graph. A maximum
matching (Hopcroft and Karp 1973) and the decomposition of Dulmage and Mendelsohn (1958) part it
into an over-, a well- and an under-determined piece; strongly connected components give the order
of solving. Everything is walked in the order of the files, so that the answer is the same on every
run; the pieces themselves are the same whatever that order is.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from scaler.expressions import names
from scaler.records import Model

if TYPE_CHECKING:
    import networkx

    from scaler.settling.settle import Settlement


@dataclass(frozen=True, slots=True)
class Block:
    """Equations to be solved together for as many unknowns."""

    equations: tuple[str, ...]
    unknowns: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OpenGroup:
    """Unknowns that hang together and cannot be found; ``missing`` of them must be given."""

    unknowns: tuple[str, ...]
    equations: tuple[str, ...]
    missing: int


@dataclass(frozen=True, slots=True)
class Decomposition:
    """The pieces of a system of equations.

    ``blocks`` come in order of solving and cover every matched equation whose unknowns can be
    found; ``spare`` are equations beyond the unknowns (checks, or disagreements), which ones is a
    matter of the order given. The over-determined piece (``over_equations``, ``over_unknowns``),
    the under-determined one (``open_equations``, ``open_unknowns``) and what is left, the
    well-determined one, do not depend on any order. ``missing`` open unknowns (the count of
    unmatched ones) must be given, group by group of ``groups``.
    """

    blocks: tuple[Block, ...]
    spare: tuple[str, ...]
    over_equations: tuple[str, ...]
    over_unknowns: tuple[str, ...]
    open_unknowns: tuple[str, ...]
    open_equations: tuple[str, ...]
    missing: int
    groups: tuple[OpenGroup, ...] = ()


def maximum_matching(adjacent: Sequence[Sequence[int]], count: int) -> list[int]:
    """For each left vertex its partner among ``count`` right ones, −1 where it has none.

    Parameters: adjacent : right vertices (0 …) that each left vertex may be matched to.
    References: Hopcroft and Karp, An n^5/2 algorithm for maximum matchings in bipartite graphs,
        SIAM J. Comput. 2 (1973). Written without recursion: a chain of conditions may be long.

    >>> maximum_matching([[0, 1], [0]], 2)
    [1, 0]
    """
    partner = [-1] * len(adjacent)
    taken = [-1] * count
    while True:
        level = {left: 0 for left in range(len(adjacent)) if partner[left] < 0}
        queue, found = list(level), False
        for left in queue:
            for right in adjacent[left]:
                other = taken[right]
                if other < 0:
                    found = True
                elif other not in level:
                    level[other] = level[left] + 1
                    queue.append(other)
        if not found:
            return partner
        untried = [iter(row) for row in adjacent]
        for root in range(len(adjacent)):
            if partner[root] < 0:
                _augment(root, untried, level, partner, taken)


def _augment(
    root: int,
    untried: Sequence[Iterable[int]],
    level: Mapping[int, int],
    partner: list[int],
    taken: list[int],
) -> None:
    """Looks for one alternating path from an unmatched left vertex and swaps along it."""
    path: list[tuple[int, int]] = []
    left = root
    while True:
        for right in untried[left]:
            other = taken[right]
            if other < 0 or level.get(other) == level[left] + 1:
                path.append((left, right))
                if other < 0:
                    for one, its in path:
                        partner[one], taken[its] = its, one
                    return
                left = other
                break
        else:
            if not path:
                return
            left = path.pop()[0]


def decompose(equations: Mapping[str, Iterable[str]]) -> Decomposition:
    """The Dulmage–Mendelsohn decomposition of equations → the unknowns in each.

    Parameters: equations : mapping of an equation's name to the names of its unknowns.
    Returns: Decomposition. An equation without unknowns is spare.
    References: Dulmage and Mendelsohn, Coverings of bipartite graphs, Canad. J. Math. 10 (1958);
        Pothen and Fan, ACM Trans. Math. Softw. 16 (1990) for its computation from a matching.

    >>> found = decompose({"one": ["a"], "two": ["a", "b"], "three": ["c", "d"]})
    >>> [block.unknowns for block in found.blocks], found.open_unknowns, found.missing
    ([('a',), ('b',)], ('c', 'd'), 1)
    """
    uses = {equation: tuple(dict.fromkeys(unknowns)) for equation, unknowns in equations.items()}
    used_in: dict[str, list[str]] = {}
    for equation, unknowns in uses.items():
        for unknown in unknowns:
            used_in.setdefault(unknown, []).append(equation)
    all_unknowns = list(used_in)
    number = {unknown: n for n, unknown in enumerate(all_unknowns)}
    partners = maximum_matching(
        [[number[u] for u in unknowns] for unknowns in uses.values()], len(number)
    )
    solves = {e: all_unknowns[n] for e, n in zip(uses, partners, strict=True) if n >= 0}
    solved_by = {unknown: equation for equation, unknown in solves.items()}
    spare = [e for e in uses if e not in solves]
    loose = [u for u in used_in if u not in solved_by]
    # no equation reached from a spare one has an unmatched unknown: the matching is a maximum
    over = _reach(spare, lambda e: [solved_by[u] for u in uses[e]])
    opened = _reach(loose, lambda u: [solves[e] for e in used_in[u]])
    open_equations = {e for u in opened for e in used_in[u]}
    closed = [e for e in uses if e in solves and solves[e] not in opened]
    return Decomposition(
        _in_order(closed, uses, solves, solved_by),
        tuple(spare),
        tuple(e for e in uses if e in over),
        tuple(u for u in used_in if any(e in over for e in used_in[u])),
        tuple(u for u in used_in if u in opened),
        tuple(e for e in uses if e in open_equations),
        len(loose),
        _groups(opened, used_in, uses, set(loose)),
    )


def _in_order(
    closed: Sequence[str],
    uses: Mapping[str, Sequence[str]],
    solves: Mapping[str, str],
    solved_by: Mapping[str, str],
) -> tuple[Block, ...]:
    """Blocks of equations that need each other, each after those whose unknowns it uses."""
    import networkx as nx

    order = nx.DiGraph()
    order.add_nodes_from(closed)
    order.add_edges_from((solved_by[u], e) for e in closed for u in uses[e] if solved_by[u] != e)
    condensed = nx.condensation(order)
    position = {equation: n for n, equation in enumerate(uses)}
    members = {
        node: sorted(condensed.nodes[node]["members"], key=position.__getitem__)
        for node in condensed
    }
    blocks = []
    for node in nx.lexicographical_topological_sort(
        condensed, key=lambda node: position[members[node][0]]
    ):
        blocks.append(Block(tuple(members[node]), tuple(solves[e] for e in members[node])))
    return tuple(blocks)


def _groups(
    opened: set[str],
    used_in: Mapping[str, Sequence[str]],
    uses: Mapping[str, Sequence[str]],
    loose: set[str],
) -> tuple[OpenGroup, ...]:
    """Open unknowns parted into those that hang together by the equations they stand in."""
    groups, seen = [], set[str]()
    for unknown in used_in:
        if unknown in opened and unknown not in seen:
            near = _reach([unknown], lambda u: [v for e in used_in[u] for v in uses[e]]) & opened
            seen |= near
            stands_in = {e for u in near for e in used_in[u]}
            groups.append(
                OpenGroup(
                    tuple(u for u in used_in if u in near),
                    tuple(e for e in uses if e in stands_in),
                    len(near & loose),
                )
            )
    return tuple(groups)


def _reach(start: Iterable[str], step: Callable[[str], Iterable[str]]) -> set[str]:
    seen = set(start)
    stack = list(seen)
    while stack:
        for item in step(stack.pop()):
            if item not in seen:
                seen.add(item)
                stack.append(item)
    return seen


def dependency_graph(model: Model, settlement: Settlement | None = None) -> networkx.DiGraph:
    """The whole model as a directed graph: sizes, pairs and conditions, with an edge from each
    size to what its value enters. Nodes carry ``what`` (size, pair, condition); edges that make
    one size from another carry ``makes=True``.

    Parameters: settlement : where one is given, a size that was solved from a condition has an
        edge from every other size of that condition.
    """
    import networkx as nx

    graph = nx.DiGraph()
    for size in model.sizes.values():
        graph.add_node(size.id, what="size")
    for identity, others in makers(model, settlement).items():
        for other in others:
            graph.add_edge(other, identity, makes=True)
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


def makers(model: Model, settlement: Settlement | None = None) -> dict[str, tuple[str, ...]]:
    """For each size the sizes that its definition or rule names, and with a settlement those of the
    condition that it was solved from."""
    found: dict[str, tuple[str, ...]] = {}
    solved_by = settlement.solved_by if settlement else {}
    for size in model.sizes.values():
        named: list[str] = []
        if size.equals is not None:
            named += names(size.equals)
        for method in size.rule:
            if method.argument is not None:
                named += names(method.argument)
        what, _, statement = solved_by.get(size.id, "").partition(" ")
        if what == "condition":
            named += names(model.conditions[statement].expression)
        plain = dict.fromkeys(name.partition("@")[0] for name in named)
        found[size.id] = tuple(name for name in plain if name != size.id)
    return found


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
