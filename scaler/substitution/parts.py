"""Independent components of a compiled model, and what needs no solver."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction

from scaler.substitution.compiled import Compiled, CostLine, Link, Variable
from scaler.substitution.forms import Curve, Part, Row, branch_part
from scaler.substitution.options import ZERO, Branch, cost_of, rebased

Pick = tuple[int, int | Fraction]
"""Place of the branch in its size's list, and whole steps from its base."""


@dataclass
class Component:
    """Sizes linked by statements, with their rows, curves and cost lines."""

    compiled: Compiled
    names: list[str]
    rows: list[Row]
    curves: list[Curve] = field(default_factory=list)
    costs: list[CostLine] = field(default_factory=list)
    links: list[Link] = field(default_factory=list)
    keys: list[str] = field(default_factory=list)

    @property
    def exact(self) -> bool:
        """Whether its rows say all that a check will ask."""
        return not self.curves and not any(key in self.compiled.approximate for key in self.keys)

    def variable(self, name: str) -> Variable:
        """One of its sizes."""
        return self.compiled.variables[name]


def amount(
    compiled: Compiled, name: str, part: Part, branch: Branch, side: str
) -> tuple[Fraction, Fraction]:
    """What a branch of a size adds to a row: (at k = 0, for each step)."""
    if not part.spreads and not part.cuts and not part.windows:
        return part.factor * branch.base, part.factor * branch.step
    return branch_part(
        part,
        branch,
        side,
        lambda b: compiled.deviation(name, b),
        lambda b, by: compiled.tolerance(name, b, by),
    )


def components(compiled: Compiled) -> list[Component]:
    """The parts of a model that do not touch each other, in the order of the files.

    Sizes that no statement touches come as components of one size without rows.
    """
    parent: dict[str, str] = {
        name: name for name, variable in compiled.variables.items() if not variable.fixed
    }

    def find(name: str) -> str:
        while parent[name] != name:
            parent[name] = parent[parent[name]]
            name = parent[name]
        return name

    def join(names: Iterable[str]) -> str | None:
        open_names = [name for name in names if name in parent]
        if not open_names:
            return None
        first = find(open_names[0])
        for other in open_names[1:]:
            parent[find(other)] = first
        return first

    from scaler.expressions import names as names_of

    for row in compiled.rows:
        join([*row.parts, row.when] if row.when else row.parts)
    for curve in compiled.curves:
        join(names_of(curve.node))
    for line in compiled.costs:
        join(line.form.factors)
    for link in compiled.links:
        join((link.one, link.other))
    found: dict[str, Component] = {}
    for name in parent:
        found.setdefault(find(name), Component(compiled, [], [])).names.append(name)
    loose = Component(compiled, [], [])
    for row in compiled.rows:
        root = next((find(name) for name in row.parts if name in parent), None)
        (found[root] if root is not None else loose).rows.append(row)
    for curve in compiled.curves:
        root = next((find(n) for n in names_of(curve.node) if n in parent), None)
        (found[root] if root is not None else loose).curves.append(curve)
    for line in compiled.costs:
        root = next((find(n) for n in line.form.factors if n in parent), None)
        (found[root] if root is not None else loose).costs.append(line)
    for link in compiled.links:
        found[find(link.other)].links.append(link)
    parts = list(found.values())
    if loose.rows or loose.curves or loose.costs:
        parts.append(loose)
    for part in parts:
        part.keys = list(
            dict.fromkeys([r.statement for r in part.rows] + [c.statement for c in part.curves])
        )
    return parts


def row_holds(compiled: Compiled, row: Row, picks: dict[str, Pick]) -> bool:
    """Whether a row holds, exactly, with these picks (all its sizes picked or fixed)."""
    total = row.constant
    for name, part in row.parts.items():
        place, k = picks.get(name, (0, 0))
        first, slope = amount(
            compiled, name, part, compiled.variables[name].branches[place], row.side
        )
        total += first + slope * k if k else first
    return within(row, total)


def within(row: Row, total: Fraction) -> bool:
    """Whether a sum lies between the bounds of a row."""
    if row.strict:
        return (row.lower is None or total > row.lower) and (row.upper is None or total < row.upper)
    return (row.lower is None or total >= row.lower) and (row.upper is None or total <= row.upper)


def filter_single(component: Component) -> bool:
    """Applies rows about one size alone to its branches and drops them; False where none is left.

    The sizes' branches are changed in place.
    """
    compiled = component.compiled
    kept: list[Row] = []
    good = True
    for row in component.rows:
        open_names = [name for name in row.parts if not compiled.variables[name].fixed]
        if row.when or row.slack or len(open_names) > 1:
            kept.append(row)
            continue
        rest = row.constant
        for name, part in row.parts.items():
            variable = compiled.variables[name]
            if variable.fixed:
                rest += amount(compiled, name, part, variable.branches[0], row.side)[0]
        if not open_names:
            good &= within(row, rest)
            continue
        name = open_names[0]
        variable = compiled.variables[name]
        if any(branch.free for branch in variable.branches):
            kept.append(row)
            continue
        left = []
        for branch in variable.branches:
            first, slope = amount(compiled, name, row.parts[name], branch, row.side)
            if narrowed(branch, row, rest + first, slope):
                left.append(branch)
        variable.branches = left
        good &= bool(left)
    component.rows = kept
    return good and all(compiled.variables[name].branches for name in component.names)


def narrowed(branch: Branch, row: Row, first: Fraction, slope: Fraction) -> bool:
    """Narrows a branch to the steps at which a row about it alone holds; False where none is."""
    if not branch.moves or not slope:
        return within(row, first)
    low, high = int(branch.low), int(branch.high)
    for bound, is_lower in ((row.lower, True), (row.upper, False)):
        if bound is None:
            continue
        edge = (bound - first) / slope
        whole = edge.denominator == 1
        if is_lower == (slope > 0):
            least = -(-edge.numerator // edge.denominator)
            low = max(low, least + 1 if whole and row.strict else least)
        else:
            most = edge.numerator // edge.denominator
            high = min(high, most - 1 if whole and row.strict else most)
    branch.low, branch.high = low, high
    if low > high:
        return False
    rebased(branch)
    return True


def nearest_step(branch: Branch, to: Fraction) -> int | Fraction:
    """The step of a branch nearest to a size; halves go up, as in rounding each size alone."""
    if not branch.moves:
        return branch.low
    quotient = (to - branch.base) / branch.step
    if branch.free:
        return min(max(quotient, Fraction(branch.low)), Fraction(branch.high))
    shifted = quotient + Fraction(1, 2)
    whole = shifted.numerator // shifted.denominator
    return min(max(whole, int(branch.low)), int(branch.high))


def cheapest(variable: Variable, at: Fraction) -> list[int]:
    """Places of the branches that may be the cheapest: by floats, with a margin far above theirs."""
    near = float(at)
    costs = [
        float(b.unit)
        * (abs(float(b.value(nearest_step(b, at)) - at)) if b.moves else abs(float(b.base) - near))
        for b in variable.branches
    ]
    least = min(costs)
    return [place for place, cost in enumerate(costs) if cost <= least + 1e-9]


def best_alone(
    variable: Variable, used: set[str], slack: Fraction = ZERO
) -> tuple[Pick, bool] | None:
    """The best branch of a size that nothing else hangs on, and whether it is the only best one.

    Least cost (within ``slack`` of it), then the order of branches, then a section or tool already
    in use, then the nearest size, the smaller of two, catalogue order.
    """
    at = variable.exact if variable.exact is not None else variable.at
    rated = []
    shortlist = list(range(len(variable.branches)))
    if not slack and variable.exact is not None and shortlist:
        shortlist = cheapest(variable, at)
        if len(shortlist) == 1:
            only = shortlist[0]
            return (only, nearest_step(variable.branches[only], at)), True
    for place in shortlist:
        branch = variable.branches[place]
        k = nearest_step(branch, at)
        cost = cost_of(branch, variable.exact, k)
        fresh = int(bool(branch.row) and branch.section not in used)
        value = branch.value(k)
        rated.append((cost, branch.order, fresh, abs(value - at), value, place, k))
    if not rated:
        return None
    least = min(item[0] for item in rated)
    near = [item for item in rated if item[0] <= least + slack]
    best = min(near, key=lambda item: (item[1], item[2], item[0], *item[3:]))
    only = sum(1 for item in near if item[1] == best[1]) == 1
    return (best[5], best[6]), only
