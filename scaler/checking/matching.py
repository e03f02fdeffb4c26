"""Which copy goes with which, found exactly: the match whose greatest cost is least.

A bottleneck assignment, found by trying thresholds with a maximum bipartite matching (networkx).
Among equally good matches the least total is taken.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from fractions import Fraction
from typing import Any, TypeVar

from scaler.records import Bounds

A = TypeVar("A", bound=Hashable)
B = TypeVar("B", bound=Hashable)
ZERO = Fraction(0)


def bottleneck(costs: Mapping[tuple[A, B], Fraction]) -> dict[A, B]:
    """The match of left with right, each once, whose greatest cost is least.

    Parameters: costs : the cost of every match that is allowed.
    Returns: left → right, for as many as the smaller side has.
    Raises: ValueError where the smaller side cannot all be matched.
    Notes: the least total among those of the least greatest cost; exact.
    References: threshold search over a maximum bipartite matching (Hopcroft and Karp 1973), as for
        the bottleneck assignment problem in any text on combinatorial optimisation.
    """
    import networkx as nx

    left = list(dict.fromkeys(one for one, _ in costs))
    right = list(dict.fromkeys(other for _, other in costs))
    wanted = min(len(left), len(right))

    def graph(most: Fraction) -> Any:
        found = nx.Graph()
        found.add_nodes_from(("l", one) for one in left)
        found.add_nodes_from(("r", other) for other in right)
        for (one, other), cost in costs.items():
            if cost <= most:
                found.add_edge(("l", one), ("r", other), cost=cost)
        return found

    def size(most: Fraction) -> int:
        found = nx.bipartite.hopcroft_karp_matching(graph(most), [("l", one) for one in left])
        return len(found) // 2

    levels = sorted(set(costs.values()))
    if not levels or size(levels[-1]) < wanted:
        raise ValueError("the copies cannot all be matched")
    low, high = 0, len(levels) - 1
    while low < high:
        half = (low + high) // 2
        if size(levels[half]) >= wanted:
            high = half
        else:
            low = half + 1
    best = graph(levels[low])
    matching = _least_total(best)
    chosen = {}
    for one in left:
        other = matching.get(("l", one))
        if other is not None:
            chosen[one] = other[1]
    return chosen


def _least_total(graph: Any) -> dict[Any, Any]:
    """The largest matching of least total cost; costs are made whole numbers, so it is exact."""
    import math

    import networkx as nx

    edges = list(graph.edges(data="cost"))
    common = math.lcm(*(cost.denominator for _, _, cost in edges)) if edges else 1
    for one, other, cost in edges:
        graph[one][other]["whole"] = -int(cost * common)
    pairs = nx.max_weight_matching(graph, maxcardinality=True, weight="whole")
    return {**dict(pairs), **{other: one for one, other in pairs}}


def off_by(clearance: Fraction, bounds: Bounds) -> Fraction:
    """How far a clearance is off a fit [mm]: 0 at its ends, negative inside, positive outside."""
    lower, upper = bounds
    if lower is None and upper is None:
        return ZERO
    if lower is None:
        return clearance - upper  # type: ignore[operator]
    if upper is None:
        return lower - clearance
    return abs(clearance - (lower + upper) / 2) - (upper - lower) / 2
