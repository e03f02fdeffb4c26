"""A compiled model: its sizes as variables with branches, and the rows that bind them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction

from scaler.checking.statements import Statement
from scaler.expressions import Node
from scaler.records import Method, Model, Size
from scaler.settling.limits import last_cut_tolerance
from scaler.settling.row_links import implied
from scaler.settling.rows import method_row
from scaler.settling.settle import Settled, Settlement
from scaler.substitution.forms import Curve, Form, Row
from scaler.substitution.options import ONE, ZERO, Branch, Deviation, deviations


@dataclass(slots=True)
class Variable:
    """A size as the programme sees it.

    ``branches`` holds what it may be (one with a single value where it is fixed); ``settled`` is
    what a fixed one is. ``exact`` is None where nothing is drawn; ``at`` is then what it is at exact
    scale. ``stepped``: worked out and brought to a step; ``solved``: any value, fixed by conditions.
    """

    name: str
    size: Size
    exact: Fraction | None
    branches: list[Branch]
    at: Fraction = ZERO
    fixed: bool = False
    settled: Settled | None = None
    stepped: bool = False
    solved: bool = False
    limits: Deviation | None = None
    tolerances: dict[str, Fraction] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Link:
    """Two sizes that take their rows together.

    ``leads``: ``other`` takes a column of the row that ``one`` takes; else both are columns of the
    same tables, and rows of the two are one row. ``one`` may be fixed, ``keys`` are then the rows
    that it may be.
    """

    one: str
    other: str
    leads: bool = False
    keys: frozenset[tuple[str, str]] = frozenset()


@dataclass(slots=True)
class CostLine:
    """The departure of a size that is only worked out: weight ÷ reach × |form − exact|."""

    name: str
    form: Form
    exact: Fraction
    unit: Fraction


@dataclass
class Compiled:
    """A model compiled: its sizes, rows and curves, and what was left at basic size."""

    model: Model
    exact: Settlement
    variables: dict[str, Variable]
    rows: list[Row]
    curves: list[Curve]
    costs: list[CostLine]
    statements: dict[str, Statement]
    doubtful: dict[str, str] = field(default_factory=dict)
    approximate: set[str] = field(default_factory=set)
    definitions: dict[str, Node] = field(default_factory=dict)
    links: list[Link] = field(default_factory=list)

    def deviation(self, name: str, branch: Branch) -> Deviation:
        """Limits of a branch of a size, as deviations [mm]; worked out when first asked for."""
        if branch.deviations is None:
            variable = self.variables[name]
            if variable.limits is not None:
                branch.deviations = variable.limits
            elif branch.free:
                branch.deviations = (ZERO, ZERO)
            else:
                branch.deviations = deviations(self.model, variable.size, branch)
        return branch.deviations

    def tolerance(self, name: str, branch: Branch, by: str) -> Fraction:
        """Width of tolerance of the last cut of a branch [mm]; the finer of two processes a|b."""
        found = branch.tolerance.get(by)
        if found is None:
            variable = self.variables[name]
            steady = by in ("", branch.method.name) and has_last_cut(branch.method.name)
            if steady and branch.method.name in variable.tolerances:
                return variable.tolerances[branch.method.name]
            settled = variable.settled or branch.settled(branch.base)
            found = min(
                last_cut_tolerance(self.model, variable.size, settled, process)[0]
                for process in by.split("|")
            )
            branch.tolerance[by] = found
            if steady:  # the process gives it, whatever the size
                variable.tolerances[branch.method.name] = found
        return found


def key_of(statement: Statement) -> str:
    """The key of a statement: what it is and its id."""
    return f"{statement.what} {statement.id}"


def has_last_cut(method: str) -> bool:
    """Whether a method states the tolerance of its last cut."""
    table = method_row(method)
    return table is not None and table.last_cut is not None


def no_method(size: Size) -> Method:
    """A method for sizes that have none: they are given."""
    return Method("", "", "given", "nearest", None, None, None, None, None, size.place)


def undefined(size: Size) -> Size:
    """The size without what it was to be worked out from: it is settled by other means."""
    return size if size.equals is None else replace(size, equals=None, equals_text="")


def free_branch(method: Method, at: Fraction, low: Fraction, high: Fraction) -> Branch:
    """A branch with any value between two ends [mm]."""
    return Branch(method, at, ONE, low - at, high - at, ZERO, (0, 0, 0), free=True)


def form_row(statement: str, form: Form, lower: Fraction | None, upper: Fraction | None) -> Row:
    """A row at basic sizes."""
    row = Row(statement, {}, form.constant, lower, upper)
    for name, factor in form.factors.items():
        row.part(name).factor = factor
    return row


def linked_sizes(model: Model) -> dict[str, frozenset[str]]:
    """Each size that takes its row together with others: all that hang together so, itself too."""
    groups: dict[str, set[str]] = {}

    def join(names: Iterable[str]) -> None:
        joined: set[str] = set()
        for name in names:
            joined |= groups.get(name, {name})
        for name in joined:
            groups[name] = joined

    for group in implied(model):
        join(group)
    for size in model.sizes.values():
        for method in size.rule:
            if method.leader in model.sizes:
                join((size.id, method.leader))
    return {name: frozenset(group) for name, group in groups.items()}
