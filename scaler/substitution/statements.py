"""Pairs and conditions as rows, each on its basis, as a check will judge them.

``basic size``: the sum at basic sizes. ``both limits``: the worst case of the limits that the
branches bring; a size that is cut last elsewhere brings what its last cut makes of it. ``last
cut``: the sum at basic sizes, and the promise that for every value the others may have the windows
of all that the size serves still overlap by more than its cut and the readings need.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING

from scaler.checking.statements import Statement
from scaler.expressions import Add, EvaluationError, Name, Neg, Node, gradient, names
from scaler.expressions.intervals import Interval
from scaler.problems import InputError
from scaler.records import Basis, BasisKind, Stage
from scaler.settling.limits import limits_of, uncertainty, unknown
from scaler.settling.settle import reach_of, settle
from scaler.settling.solve import Value, middle
from scaler.substitution.compiled import Compiled, Variable, form_row, key_of
from scaler.substitution.forms import Curve, Form, Part, Row, pieces
from scaler.substitution.last_cuts import LastCuts
from scaler.substitution.options import ONE, ZERO
from scaler.substitution.windows import FAR, Windows, named_window, outer_side, split_branches

if TYPE_CHECKING:
    from scaler.substitution.compile import Compiler


def add_statements(result: Compiled, kept: Iterable[Statement], compiler: Compiler) -> None:
    """Adds the rows and curves of all statements, and of definitions that are cut to a step."""
    _Adder(result, tuple(kept), compiler).run()


class _Adder(LastCuts):
    def __init__(self, result: Compiled, kept: tuple[Statement, ...], compiler: Compiler) -> None:
        super().__init__(result)
        self.kept, self.compiler = kept, compiler

    def run(self) -> None:
        known = [item for item in self.kept if self.names_known(item)]
        forms = {key_of(item): self.compiler.expand(item.node) for item in known}
        for item in known:
            form = forms[key_of(item)]
            if self.is_last_cut(item) and form is not None:
                last, copy = self.last_of(item)
                if last in form.factors:
                    self.served.setdefault(last, []).append((copy, item, form))
                else:
                    self.result.approximate.add(key_of(item))
        for item in known:
            if self.is_solved(item):
                continue
            form = forms[key_of(item)]
            if form is None:
                self.simpler(item)
            else:
                self.linear(item, form)
        for last in self.served:
            for copy in self.copies(last):
                self.overlaps(last, copy)
        self.definitions()
        split_branches(self.result)

    def is_solved(self, item: Statement) -> bool:
        """Whether an equality is what a size was worked out from: it holds by that already."""
        for name, key in self.result.exact.solved_by.items():
            if key == key_of(item):
                variable = self.result.variables.get(name)
                return variable is None or variable.stepped
        return False

    def names_known(self, item: Statement) -> bool:
        known = self.result.variables
        if all(name in known for name in names(item.node)):
            return True
        try:
            plain = self.compiler.plain(item.node)
        except EvaluationError:
            return False
        return all(name in known for name in names(plain))

    # --- linear statements

    def linear(self, item: Statement, form: Form) -> None:
        key = key_of(item)
        for lower, upper, windows in self.bounds(item):
            basic = form_row(key, form, lower, upper)
            self.attach(basic, windows)
            if item.basis.kind is BasisKind.BASIC_SIZE or self.is_last_cut(item):
                self.result.rows.append(basic)
                continue
            if all(self.result.variables[name].fixed for name in form.factors):
                self.result.rows.append(basic)  # nothing left to choose: doubtful at worst
                continue
            if not self.limited(form):
                self.result.doubtful[key] = "a size in it has no limits"
                self.result.rows.append(basic)
                continue
            for side, low, high in (("low", lower, None), ("high", None, upper)):
                if low is not None or high is not None:
                    row = Row(key, {}, form.constant, low, high)
                    row.side = side
                    self.span(row, form.factors, item.at)
                    self.attach(row, windows)
                    self.result.rows.append(row)

    def limited(self, form: Form) -> bool:
        """Whether all sizes of a form have limits."""
        for name in form.factors:
            variable = self.result.variables[name]
            for branch in variable.branches[:1]:
                settled = variable.settled or branch.settled(branch.base)
                if branch.deviations is None and unknown(
                    limits_of(self.model, variable.size, settled)
                ):
                    return False
        return True

    def bounds(
        self, item: Statement
    ) -> list[tuple[Fraction | None, Fraction | None, Windows | None]]:
        """Lower and upper bound; and where they change with the diameter, by which size and how."""
        pair = self.model.pairs.get(item.id.partition("@")[0]) if item.what == "pair" else None
        if pair is None or not (pair.fit.iso or pair.fit.trade):
            return [(item.lower, item.upper, None)]
        form = self.compiler.expand(outer_side(pair, item))
        if form is None:
            return [self.widest(item)]
        open_names = [n for n in form.factors if not self.result.variables[n].fixed]
        fixed = form.constant + sum(
            (
                factor * self.nominal(name)
                for name, factor in form.factors.items()
                if name not in open_names
            ),
            ZERO,
        )
        if not open_names:
            low, high = named_window(pair, abs(fixed))
            return [(low, high, None)]
        if len(open_names) > 1:
            return [self.widest(item)]
        name = open_names[0]
        factor = form.factors[name]

        def at(value: Fraction, end: int) -> Fraction:
            found = named_window(pair, abs(factor * value + fixed))[end]
            return found if found is not None else (FAR if end == 0 else -FAR)

        return [(ZERO, ZERO, (name, lambda v: -at(v, 0), lambda v: -at(v, 1)))]

    def nominal(self, name: str) -> Fraction:
        """The size of a fixed variable at which a named fit has its window: of one that is made,
        what was planned and not the reading."""
        variable = self.result.variables[name]
        if variable.settled is not None and variable.settled.made:
            value = self.planned.get(name.partition("@")[0])
            if value is not None:
                return middle(value)
        return variable.branches[0].base

    @cached_property
    def planned(self) -> Mapping[str, Value]:
        """All sizes as planned, without any reading; none where that cannot be worked out."""
        from scaler.substitution.compile import is_closed

        sizes = self.model.sizes
        kept = {
            name: choice
            for name, choice in self.model.choices.items()
            if name in sizes and is_closed(sizes[name])
        }
        try:
            return settle(replace(self.model, choices=kept), Stage.CHOSEN, as_drawn=True).values
        except InputError:
            return {}

    def widest(self, item: Statement) -> tuple[Fraction | None, Fraction | None, None]:
        """The widest that a named window may be over all the diameters; the check then decides."""
        pair = self.model.pairs[item.id.partition("@")[0]]
        self.result.approximate.add(key_of(item))
        found = self.compiler.range(outer_side(pair, item))
        if found is None:
            return None, None, None
        at = [found.lower + (found.upper - found.lower) * n / 8 for n in range(9)]
        ends = [named_window(pair, abs(value)) for value in at]
        lows = [low for low, _ in ends if low is not None]
        highs = [high for _, high in ends if high is not None]
        return min(lows, default=None), max(highs, default=None), None

    def attach(self, row: Row, windows: Windows | None) -> None:
        """Adds the window that changes with a size; a row with both ends becomes two."""
        if windows is None:
            return
        name, low, high = windows
        if row.lower is not None and row.upper is not None:
            other = replace(row, parts={n: copied(p) for n, p in row.parts.items()}, lower=None)
            other.part(name).windows = [high]
            self.result.rows.append(other)
            row.upper = None
        row.part(name).windows = [low if row.lower is not None else high]

    # --- what is not linear

    def simpler(self, item: Statement) -> None:
        """A statement that is no line: parted into lines where it can be, else kept as a curve."""
        key = key_of(item)
        node = self.compiler.plain(item.node)
        last = self.is_last_cut(item)
        worst = item.basis.kind is BasisKind.BOTH_LIMITS or (
            item.basis.kind is BasisKind.LAST_CUT and not last
        )
        margin = self.carried(item, key) if last else ZERO
        both = item.lower is not None and item.upper is not None
        if margin and both and 2 * margin > item.upper - item.lower:  # type: ignore[operator]
            self.result.doubtful[key] = "its last cut and the readings spread too far"
            margin = ZERO
        basis = Basis(BasisKind.BOTH_LIMITS if worst else BasisKind.BASIC_SIZE)
        if margin:  # an estimate, to steer by: the check decides
            low = None if item.lower is None else item.lower + margin
            high = None if item.upper is None else item.upper - margin
            self.result.curves.append(Curve(key, node, low, high, worst, margin))
            self.result.approximate.add(key)
        lower, upper = item.lower, item.upper
        pair = self.model.pairs.get(item.id.partition("@")[0]) if item.what == "pair" else None
        if pair is not None and (pair.fit.iso or pair.fit.trade):
            lower, upper, _ = self.widest(item)
        parts = pieces(node, lower, upper, self.model.ratio, self.compiler.sign)
        for part, lower, upper in parts:
            form = self.compiler.expand(part)
            if form is None:
                if not margin:
                    self.result.curves.append(Curve(key, part, lower, upper, worst))
                self.result.approximate.add(key)
            else:
                line = replace(
                    item, node=part, lower=lower, upper=upper, basis=basis, what="condition"
                )
                before = len(self.result.rows)
                self.linear(line, form)
                for row in self.result.rows[before:]:
                    row.statement = key

    def carried(self, item: Statement, key: str) -> Fraction:
        """How far the last cut and the readings move a statement that is no line, at exact size."""
        last = self.last_of(item)[0]
        if self.served.get(last):
            self.result.doubtful[key] = f"{last} also serves linear statements"
            return ZERO
        variables = self.result.variables
        node = self.compiler.plain(item.node)
        at: dict[str, Interval] = {}
        for name in names(node):
            variable = variables[name]
            centre = variable.exact
            if centre is None:
                value = self.result.exact.values.get(name.partition("@")[0])
                centre = middle(value) if value is not None else variable.branches[0].base
            half = Fraction(1, 100)
            at[name] = Interval(centre - half, centre + half)
        try:
            slopes = gradient(node, at, self.model.ratio)[1]
        except EvaluationError:
            self.result.doubtful[key] = "its slopes are not known"
            return ZERO
        spread = ZERO
        for name, slope in slopes.items():
            if slope is None:
                self.result.doubtful[key] = "too steep at these sizes"
                return ZERO
            steep = slope.magnitude if isinstance(slope, Interval) else abs(slope)
            if name == last:
                branches = variables[last].branches
                cut = min(
                    (self.result.tolerance(last, b, item.basis.by) for b in branches),
                    default=ZERO,
                )
                spread += steep * cut / 2
            else:
                spread += steep * uncertainty(variables[name].size)[1]
        return spread

    # --- sizes that are worked out and then made by their rule

    def definitions(self) -> None:
        for name, variable in list(self.result.variables.items()):
            node = self.compiler.results.get(f"{name}:definition")
            follow = next((b for b in variable.branches if b.follow is not None), None)
            if node is None and follow is not None:
                node = follow.follow
            if node is not None:
                self.definition(name, variable, node, name if follow is not None else "")

    def definition(self, name: str, variable: Variable, node: Node, when: str) -> None:
        """Rows that keep a size where its definition puts it."""
        key = f"definition {name}"
        cut = next((m for m in variable.size.rule if m.way == "cut" and m.step), None)
        first = variable.size.rule[0].way if variable.size.rule else ""
        by_row = not when and first in ("row", "thread")
        low = high = ZERO
        strict = ""
        if not when and variable.size.rule and not by_row and cut is not None:
            low, high = _rounding(cut.step or ZERO, cut.direction)
            strict = "low" if cut.direction == "up" else "high"
        difference = Add((node, Neg(Name(name))))
        form = self.compiler.expand(difference)
        if form is None:
            plain = self.compiler.plain(difference)
            if all(n in self.result.variables for n in names(plain)):
                self.result.curves.append(Curve(key, plain, low, high, False))
                self.result.approximate.add(key)
            return
        if any(n not in self.result.variables for n in form.factors):
            return
        if by_row:
            self.nearest_row(key, name, variable, form)
            return
        # strict on one side: which of two steps a half goes to is fixed
        lower, upper = form_row(key, form, low, None), form_row(key, form, None, high)
        lower.when = upper.when = when
        lower.strict, upper.strict = strict == "low", strict == "high"
        self.result.rows += [lower, upper]

    def nearest_row(self, key: str, name: str, variable: Variable, form: Form) -> None:
        """A worked-out size that takes the row nearest to its definition; the check decides."""
        self.result.approximate.add(key)
        size = variable.size
        methods = [m for m in size.rule if m.way in ("cut", "row", "thread")]
        if len(methods) > 1:
            far = 3 * max(reach_of(size, method, variable.at) for method in methods)
            self.result.rows.append(form_row(key, form, -far, far))
            return
        rows = self.compiler.options.candidates(size, methods[0])
        values = sorted({row.value for row in rows})
        middles = [-FAR, *((a + b) / 2 for a, b in pairwise(values)), FAR]
        between = dict(zip(values, pairwise(middles), strict=True))
        defined = form.plus(Form(ZERO, {name: ONE}))
        for end, lower, upper in ((0, ZERO, None), (1, None, ZERO)):
            row = form_row(key, defined, lower, upper)
            row.part(name).windows = [lambda v, end=end: -between[v][end]]  # type: ignore[misc]
            self.result.rows.append(row)


def copied(part: Part) -> Part:
    """A part of a row with lists of its own."""
    return Part(part.factor, list(part.spreads), list(part.cuts), list(part.windows))


def _rounding(step: Fraction, direction: str) -> tuple[Fraction, Fraction]:
    """Between which ends (definition − size) lies when it was brought to a step."""
    if direction == "up":
        return -step, ZERO
    if direction == "down":
        return ZERO, step
    return -step / 2, step / 2
