"""A model as sizes with branches and rows of requirements: what the programme is made of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from functools import partial

from scaler.checking.statements import Statement, statements
from scaler.expressions import EvaluationError, Node, enclose, names, rename
from scaler.expressions.intervals import Interval
from scaler.records import BasisKind, Condition, Kind, Method, Model, Pair, Size, Stage, State
from scaler.settling.limits import limits_of
from scaler.settling.put_in import Lines, put_in
from scaler.settling.row_links import row_link
from scaler.settling.settle import (
    Settled,
    Settlement,
    at_copy,
    exact_size,
    outcome_of,
    reach_of,
    refused_parts,
    settle,
    settle_copies,
)
from scaler.settling.solve import Value, middle
from scaler.substitution.compiled import (
    Compiled,
    CostLine,
    Variable,
    form_row,
    free_branch,
    key_of,
    linked_sizes,
    no_method,
    undefined,
)
from scaler.substitution.forms import Form
from scaler.substitution.linking import add_links, link_copies
from scaler.substitution.options import (
    ZERO,
    Branch,
    Options,
)
from scaler.substitution.own_copies import own_copies
from scaler.trade import standards

FIXED_STATES = (State.LOCKED, State.BOUGHT, State.MADE)


def is_closed(size: Size) -> bool:
    """Whether a size is locked, or bought or made: what is on record for it stays."""
    return size.lock is not None or size.state in FIXED_STATES


def compile_model(
    model: Model,
    exact: Settlement | None = None,
    *,
    loose: frozenset[str] = frozenset(),
    dropped: frozenset[str] = frozenset(),
    remade: frozenset[str] = frozenset(),
    keep_reach: bool = False,
    options: Options | None = None,
) -> Compiled:
    """The model as variables and rows.

    Parameters: exact : its sizes at exact scale, if known; loose : sizes that may take any value;
        dropped : keys of statements to leave out; remade : made sizes that are made again;
        keep_reach : a standard's bounds widen what a size may be and are rows of their own.
    Raises: InputError where sizes are left open or statements contradict each other.
    """
    exact = exact if exact is not None else settle(model, Stage.EXACT)
    return Compiler(model, exact, loose, dropped, remade, keep_reach, options).run()


class Compiler:
    """A model on its way to variables, rows and curves; see :func:`compile_model`."""

    def __init__(
        self,
        model: Model,
        exact: Settlement,
        loose: frozenset[str],
        dropped: frozenset[str],
        remade: frozenset[str],
        keep_reach: bool,
        options: Options | None,
    ) -> None:
        self.model, self.exact, self.loose, self.dropped = model, exact, loose, dropped
        self.remade, self.keep_reach = remade, keep_reach
        self.bounds = standards.of_model(model)
        self.refused = refused_parts(model)
        self.options = options or Options(model, self.bounds)
        self.result = Compiled(model, exact, {}, [], [], [], {})
        self.own: tuple[str, ...] = ()
        self.results: dict[str, Node] = {}
        self.lines = Lines(model.ratio, self.definition)

    def run(self) -> Compiled:
        """The whole model, statement by statement."""
        values: dict[str, Value] = dict(self.exact.values)
        self.settled = self.settled_copies()
        values |= {name: settled.value for name, settled in self.settled.items()}
        self.own = own_copies(self.model, self.may_differ)
        for name in self.own:
            values[name] = self.exact.values[name.partition("@")[0]]
        self.derived = self.derived_copies(values)
        found = statements(self.model, values)
        kept = [item for item in found if self.wanted(item)]
        self.linked = linked_sizes(self.model)
        stated: list[Pair | Condition] = [*self.model.pairs.values()]
        stated += self.model.conditions.values()
        self.last = {
            item.basis.last.partition("@")[0]
            for item in stated
            if item.basis.kind is BasisKind.LAST_CUT
        }
        self.sort_sizes()
        self.copies()
        link_copies(self)
        for name, node in self.derived.items():
            size = self.model.sizes[name.partition("@")[0]]
            if size.id not in self.loose:
                self.worked_out(size, None, self.centre(size), node, name)
        from scaler.substitution.statements import add_statements

        self.result.definitions = self.results
        self.result.statements = {key_of(item): item for item in kept}
        add_statements(self.result, kept, self)
        self.weigh_results()
        return self.result

    def wanted(self, item: Statement) -> bool:
        """Whether a statement binds anything that may be worked out."""
        if key_of(item) in self.dropped or (item.lower is None and item.upper is None):
            return False
        return not any(name.partition(".")[0] in self.refused for name in names(item.node))

    # --- sizes

    def sort_sizes(self) -> None:
        """Which sizes are given, which are to be chosen, and which take another's row."""
        fixed: list[Size] = []
        linked: list[Size] = []
        for size in self.model.sizes.values():
            if size.part in self.refused:
                continue
            if size.id in self.loose:
                self.free(size)
            elif self.is_fixed(size):
                fixed.append(size)
            elif row_link(size) is not None and size.id not in self.exact.solved_by:
                linked.append(size)
            else:
                self.open_size(size)
        if fixed:
            self.fix(fixed)
        if self.linked:
            add_links(self, linked)

    def is_fixed(self, size: Size) -> bool:
        """Whether a size is no longer open: read, made, locked or bought, or never rounded."""
        model = self.model
        if size.id in self.remade:
            return False
        made = (size.id, "") in model.readings or size.made is not None
        if made and size.state is not State.SCRAPPED:
            return True
        worked_out = size.equals is not None or (bool(size.rule) and size.rule[0].way == "follow")
        if is_closed(size) and (not worked_out or size.id in model.choices):
            return True
        if size.kind in (Kind.COUNT, Kind.TEETH) and not worked_out and size.full is not None:
            return True
        return not size.rule and size.full is not None and size.equals is None

    def fix(self, sizes: list[Size]) -> None:
        """Sizes that are no longer open, settled as a check settles them."""
        model = replace(
            self.model,
            sizes={size.id: undefined(size) for size in sizes},
            pairs={},
            conditions={},
        )
        settlement = settle(model, Stage.CHOSEN)
        for size in sizes:
            settled = settlement.results[size.id]
            value = middle(settled.value)
            method = next(
                (m for m in size.rule if settled.method in (m.name, m.text)),
                size.rule[0] if size.rule else no_method(size),
            )
            limits = limits_of(self.model, size, settled)
            branch = Branch(method, value, ZERO, 0, 0, ZERO, (0, 0, 0), settled.row)
            branch.deviations = (limits.lower, limits.upper)
            self.result.variables[size.id] = Variable(
                size.id,
                size,
                exact_size(size, self.model.ratio),
                [branch],
                fixed=True,
                settled=settled,
            )

    def centre(self, size: Size) -> Fraction | None:
        """The exact size, drawn or worked out at exact scale [mm]."""
        value = self.exact.values.get(size.id)
        return None if value is None else middle(value)

    def free(self, size: Size) -> None:
        """A size that may take any value, and besides all that its rule allows."""
        centre = self.centre(size) or Fraction(1)
        far = 2 * abs(centre) + 10
        low = Fraction(1, 1000) if centre > 0 and size.kind.is_length else centre - far
        method = size.rule[0] if size.rule else no_method(size)
        branch = free_branch(method, centre, low, centre + far)
        branch.deviations = (ZERO, ZERO)
        self.result.variables[size.id] = Variable(size.id, size, None, [branch], centre)

    def open_size(self, size: Size) -> None:
        """A size that is to be chosen: its branches, or the definition that it follows."""
        exact, centre = exact_size(size, self.model.ratio), self.centre(size)
        definition = size.equals
        first_follows = bool(size.rule) and size.rule[0].way == "follow"
        others = [m for m in size.rule if m.way != "follow"]
        if definition is None and first_follows and not others:
            definition = size.rule[0].argument
        if definition is None and size.id in self.exact.solved_by:
            definition = self.exact.defined_by.get(size.id)
            if definition is None and centre is not None:
                self.unknown(size, centre)
                return
        if definition is not None:
            self.worked_out(size, exact, centre, definition)
            return
        if centre is None:
            return  # what it is worked out from gets no figure
        branches = self.options.of(
            size,
            exact,
            centre,
            last=size.id in self.last,
            every=size.id in self.linked,
            keep_reach=self.keep_reach,
        )
        if first_follows and size.rule[0].argument is not None:
            branches.insert(0, self.following(size, exact, centre))
        self.result.variables[size.id] = Variable(size.id, size, exact, branches, centre)

    def unknown(self, size: Size, centre: Fraction) -> None:
        """A size that only conditions fix: any value between its bounds."""
        far = 2 * abs(centre) + 10
        low, high = size.between
        low = low if low is not None else (ZERO if centre > 0 else centre - far)
        branch = free_branch(
            no_method(size), centre, low, high if high is not None else centre + far
        )
        variable = Variable(size.id, size, None, [branch], centre, solved=True)
        settled = self.exact.results.get(size.id)
        if settled is not None:
            limits = limits_of(self.model, size, replace(settled, method="solved"))
            variable.limits = (limits.lower, limits.upper)
        self.result.variables[size.id] = variable

    def following(self, size: Size, exact: Fraction | None, centre: Fraction) -> Branch:
        """The branch by which a size follows others rather than being chosen."""
        follow = size.rule[0]
        reach = reach_of(size, follow, centre)
        branch = free_branch(follow, centre, centre - reach, centre + reach)
        if exact is not None and size.weight:
            branch.unit = size.weight / reach
        branch.follow = follow.argument
        settled = Settled(centre, "follows", "defined")
        limits = limits_of(self.model, size, settled)
        branch.deviations = (limits.lower, limits.upper)
        return branch

    def worked_out(
        self,
        size: Size,
        exact: Fraction | None,
        centre: Fraction | None,
        definition: Node,
        name: str = "",
    ) -> None:
        """A size (or the copy named) with a definition: put in for its name, or made by its rule
        beside it."""
        name = name or size.id
        if any(name.partition(".")[0] in self.refused for name in names(definition)):
            return
        made = next((m for m in size.rule if m.way in ("cut", "row", "thread")), None)
        if size.rule and size.rule[0].way not in ("cut", "row", "thread"):
            made = None
        if made is None and (size.limits is None and size.id not in self.last):
            self.results[name] = definition
            return
        if centre is None:
            return
        at = exact if exact is not None else centre
        unit = ZERO
        if exact is not None and size.weight:
            unit = size.weight / reach_of(size, made, exact)
        if made is None:
            far = reach_of(size, None, at)
            branch = free_branch(no_method(size), at, at - far, at + far)
            limits = limits_of(self.model, size, Settled(at, "defined", "defined"))
            branch.deviations, branch.unit = (limits.lower, limits.upper), unit
            branches = [branch]
        else:
            rule: tuple[Method, ...] = (made,)
            if made.way != "cut":  # a row out of reach leaves it to what comes after
                rule = tuple(m for m in size.rule if m.way in ("cut", "row", "thread"))
            branches = self.options.of(replace(size, rule=rule), exact, at)
            branches = branches[:1] if made.way == "cut" else branches
        self.result.variables[name] = Variable(name, size, exact, branches, at, stepped=True)
        self.results[f"{name}:definition"] = definition

    def copies(self) -> None:
        """Copies with a reading of their own are fixed sizes beside the others; those that have to
        go with such are open ones."""
        for name, settled in self.settled.items():
            identity, _, copy = name.partition("@")
            size = self.model.sizes[identity]
            limits = limits_of(self.model, size, settled, copy)
            value = middle(settled.value)
            branch = Branch(no_method(size), value, ZERO, 0, 0, ZERO, (0, 0, 0))
            branch.deviations = (limits.lower, limits.upper)
            self.result.variables[name] = Variable(
                name, size, None, [branch], fixed=True, settled=settled
            )

        shares: dict[str, int] = {}
        for name in self.own:
            shares[name.partition("@")[0]] = shares.get(name.partition("@")[0], 0) + 1
        for identity, count in shares.items():
            size = self.model.sizes[identity]
            alike = max(1, len(self.model.parts[size.part].copies) - count)
            share = size.weight / (count + alike)  # a drawn size counts once, whatever its copies
            exact, centre = exact_size(size, self.model.ratio), self.centre(size)
            own = [name for name in self.own if name.partition("@")[0] == identity]
            for name in (identity, *own):
                many = alike if name == identity else 1
                self.copy_of(name, replace(size, weight=share * many), exact, centre)

    def settled_copies(self) -> Mapping[str, Settled]:
        """The copies that are no longer open: read, or locked or bought as they were chosen."""
        return {
            name: settled
            for name, settled in settle_copies(self.model).items()
            if settled.made or self.model.sizes[name.partition("@")[0]].state in FIXED_STATES
        }

    def derived_copies(self, values: dict[str, Value]) -> dict[str, Node]:
        """The copies of worked-out sizes that follow copies with a value of their own, and from
        what; they are added to the values."""
        found: dict[str, Node] = {}
        more = any("@" in name for name in values)
        while more:
            more = False
            for size in self.model.sizes.values():
                definition = outcome_of(size)
                if definition is None or size.id not in self.exact.values or self.is_fixed(size):
                    continue
                for copy in self.model.parts[size.part].copies:
                    name = f"{size.id}@{copy}"
                    node = rename(definition, partial(at_copy, values, copy))
                    own = any("@" in n and n in values for n in names(node))
                    if own and name not in values:
                        found[name] = node
                        values[name] = self.exact.values[size.id]
                        more = True
                    elif name in found:
                        found[name] = node
        return found

    def copy_of(
        self, name: str, size: Size, exact: Fraction | None, centre: Fraction | None
    ) -> None:
        """An open copy (or the rest of its fellows) as a variable of its own."""
        if size.id in self.loose:
            self.result.variables[name] = replace(self.result.variables[size.id], name=name)
            return
        assert centre is not None
        branches = self.options.of(
            size,
            exact,
            centre,
            last=size.id in self.last,
            every=size.id in self.linked,
            keep_reach=self.keep_reach,
        )
        self.result.variables[name] = Variable(name, size, exact, branches, centre)

    def may_differ(self, size: Size) -> bool:
        """Whether the copies of a size may be chosen apart: it is open, and not worked out."""
        if size.part in self.refused or size.equals is not None or self.centre(size) is None:
            return False
        if size.id in self.exact.solved_by or self.is_fixed(size) or size.id in self.remade:
            return False
        if row_link(size) is not None or size.id in self.options.rows.needed:
            return False  # a column of a row goes with the row
        return bool(size.rule) and all(method.way != "follow" for method in size.rule)

    # --- forms

    def expand(self, node: Node) -> Form | None:
        """A linear form over variables, definitions put in; None where it is none."""
        try:
            found = self.lines.of(node)
        except EvaluationError:
            return None
        if found is None or any(name not in self.result.variables for name in found.coefficients):
            return None
        return Form(found.constant, found.coefficients)

    def definition(self, name: str) -> Node | None:
        """What a size that is only worked out is worked out from; None for a variable."""
        return None if name in self.result.variables else self.results.get(name)

    def plain(self, node: Node) -> Node:
        """The expression over variables only: definitions put in for what is worked out."""
        return put_in(node, self.definition)

    def boxes(self, node: Node) -> dict[str, Interval]:
        """The range of every variable that an expression names [mm].

        Raises EvaluationError for a variable that has nothing it may be.
        """
        found = {}
        for name in names(node):
            branches = self.result.variables[name].branches
            ends = [end for branch in branches for end in branch.ends]
            if not ends:
                raise EvaluationError(name, "has nothing that it may be", ())
            found[name] = Interval(min(ends), max(ends))
        return found

    def range(self, node: Node) -> Interval | None:
        """Between which ends an expression stays over all that may be chosen."""
        plain = self.plain(node)
        try:
            return enclose(plain, self.boxes(plain), self.model.ratio, most_boxes=8)
        except (EvaluationError, KeyError):
            return None

    def sign(self, node: Node) -> int:
        """1 or -1 where an expression keeps that sign over all that may be chosen, else 0."""
        found = self.range(node)
        if found is None:
            return 0
        margin = Fraction(1, 10)  # room for the limits
        if found.lower > 0 and (found.lower > margin or not names(node)):
            return 1
        return -1 if found.upper < -margin else 0

    # --- costs

    def weigh_results(self) -> None:
        """The departure of drawn sizes that are only worked out, and their reach."""
        for name, node in list(self.results.items()):
            size = self.model.sizes.get(name)
            if size is None or size.full is None:
                continue
            exact = exact_size(size, self.model.ratio)
            form = self.expand(node)
            if exact is None or form is None:
                continue
            reach = reach_of(size, None, exact)
            if size.weight:
                self.result.costs.append(CostLine(name, form, exact, size.weight / reach))
            if f"rule {name}" not in self.dropped:
                row = form_row(f"rule {name}", form, exact - reach, exact + reach)
                self.result.rows.append(row)
