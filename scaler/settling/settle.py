"""Sizes of a model at a stage: exact, each rounded alone, or as chosen.

* ``exact``: full size times scale, before any rounding; sizes that are not drawn are worked out.
* ``rounded``: each drawn size by itself, by the first method of its rule, looking at nothing else.
* ``chosen``: readings of made sizes first, then recorded choices, then the rule's methods in order
  within reach, inside the bounds of the track standard where one applies.

What a size follows, or is defined by, is put in after what it names; sizes that only conditions
fix are solved for. The settled values are exact fractions, or narrow intervals where a root or an
angle makes them irrational.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from scaler.expressions import Add, EvaluationError, Name, Neg, Node, names
from scaler.problems import InputError, Problem
from scaler.records import Bounds, Choice, Kind, Method, Model, Size, Stage, State
from scaler.settling.copies import followed, own_copies
from scaler.settling.row_links import (
    no_column,
    noted,
    of_one_row,
    row_link,
    row_of,
    row_taken,
    row_why,
    why_none,
)
from scaler.settling.rows import Candidate, Rows, column_of, method_row, pick
from scaler.settling.settled import (
    HALF_MM,
    Settled,
    Settlement,
    at_copy,
    exact_size,
    of_standard,
    on_step,
    outcome_of,
    own_name,
    reach_of,
    refused_parts,
    step_why,
    sum_of,
    to_step,
    without_copies,
)
from scaler.settling.solve import Value, middle, value_of, within
from scaler.trade import standards

NEGLIGIBLE = Fraction(1, 10**9)
"""What a drawn size may differ from its definition [mm] where that is a root or an angle."""
__all__ = [
    "Settled",
    "Settlement",
    "at_copy",
    "exact_size",
    "of_standard",
    "outcome_of",
    "own_name",
    "reach_of",
    "refused_parts",
    "settle",
    "settle_copies",
    "sum_of",
    "to_step",
    "without_copies",
]


def settle(model: Model, stage: Stage = Stage.CHOSEN, *, as_drawn: bool = False) -> Settlement:
    """The sizes of a model at a stage; ``as_drawn`` leaves readings and made sizes out.

    Raises :class:`scaler.problems.InputError` where sizes are left open, statements contradict
    each other or a ring has no solution, naming the statements with file and line.
    """
    return _Settler(model, stage, as_drawn).run()


def settle_copies(model: Model) -> Mapping[str, Settled]:
    """The copies that have a reading or a choice of their own, by ``part.size@copy``."""
    settler = _Settler(model, Stage.CHOSEN, False)
    settler.copies()
    return settler.own


class _Settler:
    def __init__(self, model: Model, stage: Stage, as_drawn: bool) -> None:
        self.model, self.stage, self.as_drawn = model, stage, as_drawn
        self.rows = Rows(model)
        self.bounds = standards.of_model(model)
        self.refused = refused_parts(model)
        self.values: dict[str, Value] = {}
        self.results: dict[str, Settled] = {}
        self.own: dict[str, Settled] = {}
        self.defined: dict[str, Node] = {}
        self.solved_by: dict[str, str] = {}
        self.problems: list[Problem] = []
        self.notes: list[Problem] = []
        self.alike: dict[tuple[object, ...], Settled | None] = {}
        self.fixed_ids = {*model.choices, *(identity for identity, _ in model.readings)}

    def run(self) -> Settlement:
        waiting: dict[str, Node] = {}
        unknown: list[str] = []
        self.copies()
        for size in self.model.sizes.values():
            if size.part in self.refused:
                continue
            if size.equals is None:
                result = self.drawn(size)
            else:
                self.drawn_twice(size)
                result = self.alone(size)
            if result is not None:
                self.values[size.id] = result.value
                self.results[size.id] = result
                continue
            node = self.definition(size)
            if node is not None:
                waiting[size.id] = without_copies(node, self.values)
            else:
                unknown.append(size.id)
        if self.stage is not Stage.EXACT:
            self.results |= of_one_row(self.model, self.rows, self.results)
        self.define(waiting, unknown)
        if self.problems:
            raise InputError(self.problems)
        if self.stage is Stage.CHOSEN:
            self.notes += noted(self.model, self.results)
        return Settlement(
            self.stage,
            self.values,
            self.results,
            self.defined,
            self.solved_by,
            tuple(self.notes),
            self.refused,
            self.own,
        )

    def keep(self, size: Size, result: Settled) -> None:
        self.values[size.id] = result.value
        self.results[size.id] = result

    def copies(self) -> None:
        """The copies that have a reading or a choice of their own, ahead of all sizes."""
        if self.stage is Stage.CHOSEN:
            self.own = own_copies(self.model, self.refused, self.fixed)
            self.values |= {name: settled.value for name, settled in self.own.items()}

    def drawn_twice(self, size: Size) -> None:
        """Notes a drawn size that its own definition, put in as drawn, does not agree with."""
        drawn = exact_size(size, self.model.ratio)
        if drawn is None or size.equals is None:
            return
        full = {}
        for name in names(size.equals):
            named = self.model.sizes[name.partition("@")[0]]
            other = exact_size(named, self.model.ratio)
            if other is None or named.part in self.refused:
                return
            full[name] = other
        try:
            off = drawn - middle(value_of(size.equals, full, self.model.ratio))
        except EvaluationError:
            return
        if abs(off) > NEGLIGIBLE:
            unit = " mm" if size.kind.is_length else ""
            self.notes.append(
                Problem(
                    "drawn-and-defined",
                    f"{size.id} as drawn is {float(off):+.4f}{unit} off its own definition "
                    "(at exact size); the definition is used",
                    size.place,
                    severity="warning",
                    read=f"{size.drawn_as}; {size.equals_text}",
                    expected="a drawing whose sizes add up",
                    advice="find out which of the two the drawing means, and drop the other",
                )
            )

    def definition(self, size: Size) -> Node | None:
        """The expression that a size is worked out from, if it has one at this stage."""
        if size.equals is not None:
            return size.equals
        for method in size.rule:
            if method.way == "follow":
                return method.argument
        return None

    def drawn(self, size: Size) -> Settled | None:
        """The same as :meth:`alone` for a size without a definition, worked out once for all that
        are drawn alike and have the same rule."""
        if size.made is not None or size.id in self.fixed_ids or size.id in self.rows.needed:
            return self.alone(size)
        # the objects themselves stand for what they hold: the model keeps them all alive
        material = self.model.parts[size.part].material
        wishes = (id(size.prefer), id(size.forbid))
        key = (
            id(size.full), id(size.rule), id(size.kind), material, size.standard, id(size.reach), wishes
        )  # fmt: skip
        result = self.alike.get(key)
        if result is None:
            troubles = len(self.problems)
            result = self.alone(size)
            if len(self.problems) == troubles:
                self.alike[key] = result
        return result

    def alone(self, size: Size) -> Settled | None:
        """What can be said of a size without looking at another; None where that is not enough."""
        exact = exact_size(size, self.model.ratio)
        if self.stage is Stage.CHOSEN:
            fixed = self.fixed(size)
            if fixed is not None:
                return fixed
        if size.equals is not None and (self.stage is not Stage.EXACT or exact is None):
            return None
        if exact is None:
            for method in size.rule:
                if method.way == "given":
                    return self.by_method(size, method, HALF_MM, (None, None))
                if method.way == "follow":
                    return None
                if method.way == "standard":
                    return self.by_standard(size, None, method)
            return None
        if self.stage is Stage.EXACT:
            return Settled(exact, "full size × scale", "exact")
        return self.by_rule(size, exact)

    def fixed(self, size: Size, copy: str = "") -> Settled | None:
        """A value that is no longer open: read, made, locked or chosen.

        A copy has one where it was read or chosen by itself; what is known of all copies alike
        stands with the size.
        """
        if not self.as_drawn and size.state is not State.SCRAPPED:
            reading = self.model.readings.get((size.id, copy))
            if reading is not None:
                return Settled(
                    reading.value, "measured", "made", why=f"reading, {reading.place}", made=True
                )
            if copy and (size.made is not None or (size.id, "") in self.model.readings):
                return None
            if size.made is not None:
                return Settled(size.made, str(size.state), "made", why="stated as made", made=True)
        choice = self.model.choices.get(f"{size.id}@{copy}" if copy else size.id)
        return None if choice is None else self.by_choice(size, choice)

    def by_choice(self, size: Size, choice: Choice) -> Settled:
        named = [m for m in size.rule if choice.method in (m.name, m.text)] or list(size.rule)
        why = f"choice, {choice.place}" + (f": {choice.note}" if choice.note else "")
        for method in named:
            row = self.obtains(size, method, choice)
            if row:
                found = row if isinstance(row, Candidate) else None
                return Settled(choice.value, method.name, "choice", found, why, by=method)
        if size.rule and size.equals is None:
            self.notes.append(
                Problem(
                    "choice-not-obtainable",
                    f"the choice for {choice.size} is on no step and in no row of its rule",
                    choice.place,
                    severity="warning",
                    read=choice.row,
                    expected="; ".join(m.text for m in size.rule),
                    advice="add a method to the rule that can make it",
                )
            )
        name = choice.method or (size.rule[0].name if size.rule else "choice")
        return Settled(choice.value, name, "choice", why=why)

    def obtains(self, size: Size, method: Method, choice: Choice) -> Candidate | bool | None:
        """The row of the method with that size; whether it can be cut so, or is what is given."""
        value = choice.value
        if method.way in ("row", "thread"):
            return row_of(self.rows.of_size(size, method), value, choice.row)
        if method.way == "cut":
            steps = [method.step]
            table = method_row(method.name)
            if table is not None:
                steps.append(table.last_cut_step)
            return any(s and (value / s).denominator == 1 for s in steps)
        if method.way == "given":
            return value == method.value
        if method.column:  # the other's row says it, but for a lock, which says the other's row
            return size.lock is not None
        return method.way in ("follow", "standard")

    def by_rule(self, size: Size, exact: Fraction) -> Settled | None:
        """The rule's first method alone (rounded), or the first within reach and bounds (chosen)."""
        if not size.rule:
            return Settled(exact, "full size × scale", "exact", note="no rule: not rounded")
        alone = self.stage is Stage.ROUNDED
        bound = None if alone else self.bounds.get(size.standard)
        limits: Bounds = (bound.lower, bound.upper) if bound else (None, None)
        first: Settled | None = None
        for method in size.rule:
            if method.way == "follow":
                return None  # nothing before it served
            found = self.by_method(size, method, exact, limits)
            if found is None:
                continue
            if alone:
                return found
            value = middle(found.value)
            near = bound is not None or abs(value - exact) <= reach_of(size, method, exact)
            if near and within(value, limits):
                return found
            first = first or found
        if first is None:
            self.problems.append(
                Problem(
                    "nothing-serves",
                    f"nothing serves {size.id}: {why_none(self.rows, self.model, size)}",
                    size.place,
                    read="; ".join(m.text for m in size.rule),
                    expected="another series of threads, or forbid that lets a row by"
                    if size.kind is Kind.THREAD
                    else "a method with rows, or a size cut to a step",
                    advice="add a method such as metric thread or BA thread to its rule, or write "
                    'forbid = "none" for it'
                    if size.kind is Kind.THREAD
                    else "add rows to the shop list, or a method such as turned or bored",
                )
            )
            return Settled(exact, "none", "exact")
        where = "outside the standard's bounds" if bound else "beyond its reach"
        off = middle(first.value) - exact
        note = f"{where}: the best its rule finds departs {float(off):+.3f} mm"
        return replace(first, note=note)

    def by_method(
        self, size: Size, method: Method, exact: Fraction, limits: Bounds
    ) -> Settled | None:
        if method.way == "cut" and method.step:
            value = on_step(exact, method.step, method.direction, limits)
            if value <= 0 < exact:
                value = method.step
            why = step_why(size.kind, method.step)
            return Settled(value, method.name, "cut", why=why, by=method)
        if method.value is not None:
            why = "given in the model"
            return Settled(method.value, method.text, "given", why=why, by=method)
        if method.way == "standard":
            return self.by_standard(size, exact, method)
        rows = self.rows.of_size(size, method)
        if limits != (None, None):
            rows = tuple(row for row in rows if within(row.value, limits)) or rows
        row = pick(rows, exact, method.direction)
        if row is None:
            return None
        return Settled(row.value, method.name, method.way, row, row_why(row), by=method)

    def by_standard(self, size: Size, exact: Fraction | None, method: Method) -> Settled | None:
        row = self.bounds.get(size.standard)
        if row is None:
            return None
        value = of_standard(exact, method.step, (row.lower, row.upper))
        why = f"{row.designation} ({row.source})"
        return Settled(value, "standard", "standard", why=why, by=method)

    def define(self, waiting: dict[str, Node], unknown: list[str]) -> None:
        """Sizes that others make: in the order of what they name, rings and unknowns last."""
        pending = {*waiting, *unknown}
        needs = {
            identity: {name for name in names(node) if name in pending}
            for identity, node in waiting.items()
        }
        blocked: dict[str, list[str]] = {}
        for identity, wanted in needs.items():
            for name in wanted:
                blocked.setdefault(name, []).append(identity)
        ready = [identity for identity, wanted in needs.items() if not wanted]
        while ready:
            identity = ready.pop()
            self.evaluate(identity, waiting.pop(identity))
            for other in blocked.get(identity, ()):
                needs[other].discard(identity)
                if not needs[other]:
                    ready.append(other)
        if waiting or unknown:
            self.solve(waiting, unknown)

    def evaluate(self, identity: str, node: Node) -> None:
        size = self.model.sizes[identity]
        lacking = [n for n in names(node) if n not in self.values]
        if lacking:
            return  # a refused part's size: no figure can be made from it
        method = row_link(size)
        if method is not None:
            self.link(size, method)
            return
        try:
            value = value_of(node, self.values, self.model.ratio)
        except EvaluationError as error:
            self.problems.append(
                Problem(
                    "cannot-evaluate",
                    f"{identity} cannot be worked out: {error}",
                    size.place,
                    read=size.equals_text,
                    expected="an expression with a value at these sizes",
                    advice="look at the sizes that it names",
                )
            )
            return
        self.defined[identity] = node
        self.keep(size, self.finished(size, value, "worked out from its definition"))
        for name, own in followed(self.model, size, self.own, self.values).items():
            self.defined[name] = own
            value = value_of(own, self.values, self.model.ratio)
            self.own[name] = self.finished(size, value, f"worked out for {name.partition('@')[2]}")
            self.values[name] = value

    def link(self, size: Size, method: Method) -> None:
        """A size that takes a column of another's row; else what its rule says next."""
        exact = exact_size(size, self.model.ratio)
        taken = row_taken(self.model, self.rows, self.results, method.leader)
        row = column_of(taken, method)
        rest = replace(size, rule=tuple(m for m in size.rule if m.way != "follow"))
        found = None
        if row is not None and taken is not None:
            why = f"of {taken.designation}, which {method.leader} takes ({row.source})"
            found = Settled(row.value, method.name, "row", row, why, by=method)
            if exact is not None and abs(row.value - exact) > reach_of(size, method, exact):
                off = float(row.value - exact)
                found = replace(found, note=f"beyond its reach: it departs {off:+.3f} mm")
        if rest.rule and exact is not None and (found is None or found.note):
            other = self.by_rule(rest, exact)
            if found is None or (other is not None and not other.note):
                found = other
        elif found is None and rest.rule and rest.rule[0].way == "given":
            found = self.by_method(size, rest.rule[0], HALF_MM, (None, None))
        if found is None:
            self.problems.append(no_column(size, method, taken))
            return
        self.keep(size, found)

    def finished(self, size: Size, value: Value, why: str) -> Settled:
        """A worked-out value, brought to what the size's rule can make where it has one.

        A size that follows others by its rule is not brought to anything.
        """
        name = "defined" if size.equals is not None else "follows"
        if not size.rule and size.equals is None:
            name = "solved"
        made = tuple(m for m in size.rule if m.way in ("cut", "row", "thread"))
        follows = size.equals is None and any(m.way == "follow" for m in size.rule)
        if self.stage is not Stage.EXACT and made and not follows:
            found = self.by_rule(replace(size, rule=made), middle(value))
            if found is not None:
                return replace(found, way="defined", why=f"{why}; {found.why}")
        return Settled(value, name, "defined", why=why)

    def solve(self, waiting: Mapping[str, Node], unknown: list[str]) -> None:
        """Rings of definitions, and sizes that only conditions fix."""
        from scaler.settling.open_sizes import solve_open

        links = {name: node for name, node in waiting.items() if row_link(self.model.sizes[name])}
        waiting = {name: node for name, node in waiting.items() if name not in links}
        shut = {*waiting, *unknown}
        open_names = [identity for identity in self.model.sizes if identity in shut]
        equations: dict[str, Node] = {}
        for identity, node in waiting.items():
            equations[f"size {identity}"] = Add((Name(identity), Neg(node)))
        for condition in self.model.conditions.values():
            if condition.equality:
                node = without_copies(condition.expression, self.values)
                if shut.intersection(names(node)):
                    equations[f"condition {condition.id}"] = node
        guesses = {
            name: drawn
            for name in open_names
            if (drawn := exact_size(self.model.sizes[name], self.model.ratio)) is not None
        }

        def finish(name: str, value: Value, how: str) -> Value:
            size = self.model.sizes[name]
            self.keep(size, self.finished(size, value, how))
            return self.values[name]

        exact = self.stage is Stage.EXACT
        outcome = solve_open(
            self.model, equations, open_names, self.values, guesses, finish, exact=exact
        )
        self.problems += outcome.problems
        for name, found in outcome.solved.items():
            self.solved_by[name] = found.key
            if found.form is not None:
                self.defined[name] = sum_of(found.form)
        for name, node in links.items():
            self.evaluate(name, node)
