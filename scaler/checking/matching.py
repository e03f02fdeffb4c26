"""Which copy goes with which, found exactly: as many as can fit, then the greatest cost least.

A bottleneck assignment, found by trying thresholds with a maximum bipartite matching (networkx).
Among equally good matches the least total is taken. A copy that fits nowhere takes no other's place.
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
    """The match of left with right, each once: most that fit, then the greatest cost least.

    Parameters: costs : the cost of every match that is allowed; one that fits costs 0 or less.
    Returns: left → right, for as many as the smaller side has.
    Raises: ValueError where the smaller side cannot all be matched.
    Notes: the least total among those of the least greatest cost; exact. Where all can fit, the first
        wish settles nothing and the match is the plain bottleneck one.
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

    def fitting(most: Fraction) -> int:
        match = _least_total(graph(most))
        return sum(1 for one, other in costs if match.get(("l", one)) == ("r", other)
                   and costs[one, other] <= 0)  # fmt: skip

    levels = sorted(set(costs.values()))
    if not levels or size(levels[-1]) < wanted:
        raise ValueError("the copies cannot all be matched")
    most_fitting = 0 if size(ZERO) >= wanted else fitting(levels[-1])
    low, high = 0, len(levels) - 1
    while low < high:
        half = (low + high) // 2
        at = levels[half]
        if size(at) >= wanted and (not most_fitting or fitting(at) >= most_fitting):
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
    """The largest matching with most that fit, of least total cost; in whole numbers, so exact."""
    import math

    import networkx as nx

    edges = list(graph.edges(data="cost"))
    common = math.lcm(*(cost.denominator for _, _, cost in edges)) if edges else 1
    whole = [int(cost * common) for _, _, cost in edges]
    fits = 1 + 2 * sum(abs(cost) for cost in whole)  # one more that fits outweighs every cost
    for (one, other, cost), scaled in zip(edges, whole, strict=True):
        graph[one][other]["whole"] = (fits if cost <= 0 else 0) - scaled
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
