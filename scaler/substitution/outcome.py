"""What came of one component: picks, cost, bound, and the lower levels reached."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction

from scaler.substitution.options import ZERO, cost_of
from scaler.substitution.parts import Component, Pick

Picks = dict[str, Pick]


@dataclass
class Outcome:
    """What came of one component.

    ``status``: optimal, feasible, impossible, or unknown (time ran out with nothing in hand).
    ``bound`` is proved: no choice costs less. ``how``: alone, nearest, or solver. ``cores``:
    pieces of the component that are impossible by themselves, where such were found.
    """

    status: str
    picks: Picks
    cost: Fraction
    bound: Fraction
    how: str
    levels: tuple[int, ...] = ()
    tried: int = 0
    notes: list[str] = field(default_factory=list)
    cores: tuple[Component, ...] = ()


def total(values: Iterable[Fraction]) -> Fraction:
    """The exact sum, pair by pair: many different denominators grow long only at the end."""
    found = list(values)
    while len(found) > 1:
        found = [sum(found[n : n + 2], ZERO) for n in range(0, len(found), 2)]
    return found[0] if found else ZERO


def sections_of(component: Component, picks: Picks) -> set[str]:
    """Sections and tools that the rows picked come to."""
    found = set()
    for name, (place, _) in picks.items():
        branch = component.variable(name).branches[place]
        if branch.row is not None:
            found.add(branch.section)
    return found


def exact_cost(component: Component, picks: Picks) -> Fraction:
    """Departure cost of a component with these picks, exactly."""
    compiled = component.compiled
    found: list[Fraction] = []
    for name in component.names:
        variable = compiled.variables[name]
        if variable.exact is not None and name in picks:
            place, k = picks[name]
            found.append(cost_of(variable.branches[place], variable.exact, k))
    for line in component.costs:
        value = line.form.constant
        for name, factor in line.form.factors.items():
            place, k = picks.get(name, (0, 0))
            value += factor * compiled.variables[name].branches[place].value(k)
        found.append(line.unit * abs(value - line.exact))
    return total(found)


def order_of(component: Component, picks: Picks, used: set[str]) -> tuple[int, ...]:
    """The lower levels reached: later methods, rows not in the shop, other catalogues, sections."""
    found = [0, 0, 0]
    sections = set()
    for name in component.names:
        branch = component.variable(name).branches[picks[name][0]]
        for level in range(3):
            found[level] += branch.order[level]
        if branch.row is not None and branch.section not in used:
            sections.add(branch.section)
    return (*found, len(sections))


def fixed_cost(component: Component) -> Fraction:
    """What sizes with a single value cost: no column of the programme holds it."""
    fixed = (
        cost_of(variable.branches[0], variable.exact)
        for variable in map(component.variable, component.names)
        if len(variable.branches) == 1 and not variable.branches[0].moves
    )
    return total(fixed)


def order_offset(component: Component, level: int) -> int:
    """What sizes with a single branch add to a level of the order."""
    found = 0
    for name in component.names:
        branches = component.variable(name).branches
        if len(branches) == 1 and not branches[0].items:
            found += branches[0].order[level]
    return found


def least_order(component: Component) -> list[int]:
    """The least that each level of the order can come to, sizes looked at one by one."""
    found = [0, 0, 0]
    for name in component.names:
        branches = component.variable(name).branches
        for level in range(3):
            found[level] += min(branch.order[level] for branch in branches)
    return found
