"""Checks: what each pair and condition comes to on its basis, the verdict, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from scaler.checking.causes import Causes, inside
from scaler.checking.last_cut import Cuts, NoRange
from scaler.checking.last_cut_window import last_cut
from scaler.checking.plain_findings import PlainFindings, outside
from scaler.checking.statements import NOWHERE, At, Statement, statements
from scaler.expressions import (
    EvaluationError,
    Linear,
    Node,
    enclose,
    linear,
    names,
)
from scaler.expressions.intervals import Interval, lower, upper
from scaler.progress import told
from scaler.quick import record
from scaler.records import BasisKind, Bounds, Cause, Deviations, Model, Reading, Stage, Verdict
from scaler.settling.limits import LimitsOf
from scaler.settling.put_in import Lines, put_in
from scaler.settling.settle import Settlement, settle
from scaler.settling.solve import Value, middle, value_of

__all__ = ["Aim", "Checker", "Finding", "Form", "Statement", "statements"]
ZERO = Fraction(0)
Form = Linear
"""A linear statement: constant and coefficients."""


@dataclass(frozen=True, slots=True)
class Aim:
    """What a last cut aims at: the size, the target [mm], and half the width it is kept within."""

    size: str
    target: Fraction
    margin: Fraction
    by: str


@record
class Finding:
    """What was found for a statement at a stage. Lengths in mm; clearance is outer − inner."""

    statement: Statement
    basic: Value | None
    found: Bounds
    verdict: Verdict
    cause: Cause | None
    aim: Aim | None = None
    note: str = ""
    shares: tuple[tuple[str, Fraction], ...] = ()

    @property
    def fails(self) -> bool:
        """True for tight, loose and fails."""
        return self.verdict in (Verdict.TIGHT, Verdict.LOOSE, Verdict.FAILS)


class Checker:
    """The findings of a model at a stage; holds the settled sizes and limits that they rest on."""

    def __init__(
        self,
        model: Model,
        stage: Stage = Stage.CHOSEN,
        *,
        as_drawn: bool = False,
        settlement: Settlement | None = None,
    ) -> None:
        """``settlement``: what settling the model at this stage gave, where it is known already."""
        self.model, self.stage, self.as_drawn = model, stage, as_drawn
        self.settlement = settlement or settle(model, stage, as_drawn=as_drawn)
        self.values: dict[str, Value] = dict(self.settlement.values)
        self.refused = self.settlement.refused
        bases = [pair.basis for pair in model.pairs.values()]
        bases += [condition.basis for condition in model.conditions.values()]
        self.last_names = {
            basis.last.partition("@")[0] for basis in bases if basis.kind is BasisKind.LAST_CUT
        }
        self.limits_of = LimitsOf(model)
        self._limits: dict[str, Deviations] = {}
        self._lines = Lines(model.ratio, self.definition)
        self._forms: dict[str, tuple[Node, Form | None, Form | None]] = {}
        self._sizes: dict[Node, tuple[str, ...]] = {}

    @property
    def readings(self) -> Mapping[tuple[str, str], Reading]:
        """The readings that count: none where the model is looked at as drawn."""
        return {} if self.as_drawn else self.model.readings

    @cached_property
    def exact(self) -> Settlement:
        """The sizes at exact scale, for telling causes apart."""
        if self.stage is Stage.EXACT:
            return self.settlement
        return settle(self.model, Stage.EXACT)

    @cached_property
    def planned(self) -> Settlement:
        """The sizes as chosen, without any reading."""
        return settle(self.model, Stage.CHOSEN, as_drawn=True)

    @cached_property
    def statements(self) -> tuple[Statement, ...]:
        """All pairs and conditions at this stage; named fits at the sizes as planned."""
        planned = self.planned.values if self.any_made else None
        return statements(self.model, self.values, planned)

    @cached_property
    def cuts(self) -> Cuts:
        """Which sizes are cut last, and to what."""
        return Cuts(self)

    @cached_property
    def causes(self) -> Causes:
        """Why statements do not hold."""
        return Causes(self)

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """One finding a statement, in order."""
        return tuple(self.finding(item) for item in told(self.statements, "pairs and conditions"))

    @cached_property
    def verdicts(self) -> tuple[Verdict, ...]:
        """The verdict on each statement, in order: what the findings say, without the figures."""
        return tuple(self.verdict(item) for item in told(self.statements, "pairs and conditions"))

    # --- sizes

    def limits(self, name: str) -> Deviations:
        """Deviations of a size (or ``size@copy``) at this stage."""
        found = self._limits.get(name)
        if found is None:
            identity, _, copy = name.partition("@")
            settled = self.settlement.of(name)
            found = self.limits_of(self.model.sizes[identity], settled, copy)
            self._limits[name] = found
        return found

    def is_made(self, name: str) -> bool:
        """Whether a size, or the copy named, has been made: its value is a reading."""
        return self.settlement.of(name).made

    @cached_property
    def copies_read(self) -> bool:
        """Whether any copy of a part has a value of its own."""
        return bool(self.settlement.copies)

    @cached_property
    def any_made(self) -> bool:
        """Whether any size, or copy of one, has been made."""
        settled = (*self.settlement.results.values(), *self.settlement.copies.values())
        return any(one.made for one in settled)

    def is_result(self, name: str) -> bool:
        """Whether a size is only the outcome of others: defined, and made by no process of its own."""
        if name not in self.settlement.defined_by:
            return False
        identity = name.partition("@")[0]
        if identity in self.last_names or self.model.sizes[identity].limits is not None:
            return False
        return self.settlement.of(name).by is None

    # --- definitions put in

    def form_of(self, statement: Statement) -> Form | None:
        """A statement's linear form in sizes that are made; None where it is not linear."""
        return self._both_forms(statement)[1]

    def plain_form(self, statement: Statement) -> Form | None:
        """A statement's linear form in the sizes that it names; None where it is not linear."""
        return self._both_forms(statement)[0]

    def _both_forms(self, statement: Statement) -> tuple[Form | None, Form | None]:
        node, plain, form = self._forms.get(statement.id, (None, None, None))
        if node is not statement.node:  # another of that name, or none yet
            plain = linear(statement.node, self.model.ratio)
            form = None if plain is None else self._lines.put(plain)
            self._forms[statement.id] = statement.node, plain, form
        return plain, form

    def expanded(self, node: Node) -> Form | None:
        """A linear form in sizes that are made, definitions put in; None where it is not linear."""
        return self._lines.of(node)

    def definition(self, name: str) -> Node | None:
        """What a size that is only an outcome is worked out from; None for any other."""
        return self.settlement.defined_by[name] if self.is_result(name) else None

    def inlined(self, node: Node) -> Node:
        """The expression in sizes that are made. Raises EvaluationError where it grows too long."""
        return put_in(node, self.definition)

    def sizes_of(self, node: Node) -> tuple[str, ...]:
        """The sizes that are made and that an expression comes down to."""
        if node not in self._sizes:
            seen: dict[str, None] = {}
            stack = list(reversed(names(node)))
            done: set[str] = set()
            while stack:
                name = stack.pop()
                if name in done:
                    continue
                done.add(name)
                if self.is_result(name):
                    stack += reversed(names(self.settlement.defined_by[name]))
                else:
                    seen[name] = None
            self._sizes[node] = tuple(seen)
        return self._sizes[node]

    # --- findings

    def basic(self, statement: Statement, values: Mapping[str, Value]) -> Value | None:
        """The statement's expression at basic sizes; None where a size has no figure."""
        if any(name not in values for name in names(statement.node)):
            return None
        return value_of(statement.node, values, self.model.ratio)

    def basic_of(self, statement: Statement) -> Value:
        """The statement's expression at this stage. Raises KeyError where a size has no figure."""
        return value_of(statement.node, self.values, self.model.ratio)

    def verdict(self, statement: Statement) -> Verdict:
        """The verdict that :meth:`finding` comes to."""
        verdict = self.plain.verdict(statement)
        return self.finding(statement).verdict if verdict is None else verdict

    def finding(self, statement: Statement) -> Finding:
        """Verdict, window found on the basis, and cause of one statement."""
        nothing: Bounds = (None, None)
        named = names(statement.node)
        if any(name not in self.values for name in named):
            note = "a pressure part takes part: no figure is given"
            return Finding(statement, None, nothing, Verdict.REFUSED, None, note=note)
        plain = self.plain.finding(statement)
        if plain is not None:
            return plain
        try:
            basic = self.basic_of(statement)
        except EvaluationError as error:
            verdict = Verdict.DOUBTFUL if statement.what == "pair" else Verdict.FAILS
            finding = Finding(statement, None, nothing, verdict, None, note=str(error))
            return replace(finding, cause=self.causes.cause(finding))
        if statement.lower is None and statement.upper is None and statement.what == "pair":
            note = statement.why or "no figure to judge"
            return Finding(statement, basic, nothing, Verdict.DOUBTFUL, None, note=note)
        defining = self.defining(statement, basic)
        if defining is not None:
            return defining
        within = inside(basic, statement.lower, statement.upper)
        found, aim, note = self.on_basis(statement, basic)
        held = self.held(statement, found)
        if held and aim is None:
            verdict = Verdict.HOLDS  # wherever within their limits the sizes come out
        elif within is False and held is not False and all(map(self.is_made, named)):
            # the guard band of ISO 14253-1 (second-hand): between a limit less and plus the
            # uncertainty neither holding nor failing is proved
            verdict, note = Verdict.DOUBTFUL, "the readings cannot decide"
        elif within is False:
            below = inside(basic, statement.lower, None) is False
            verdict = outside(statement.what, below)
        elif held and within and not note.startswith("not promised"):
            verdict = Verdict.HOLDS
        else:
            verdict = Verdict.DOUBTFUL
        finding = Finding(statement, basic, found, verdict, None, aim, note)
        return finding if verdict is Verdict.HOLDS else self.explained(finding)

    def explained(self, finding: Finding) -> Finding:
        """A finding with its cause, and what moved the statement (checks of workability show no
        such thing)."""
        told_of = finding.statement.what != "workability"
        return Finding(
            finding.statement,
            finding.basic,
            finding.found,
            finding.verdict,
            self.causes.cause(finding),
            finding.aim,
            finding.note,
            self.causes.shares(finding.statement) if told_of else (),
        )

    @cached_property
    def plain(self) -> PlainFindings:
        """The findings on ordinary statements."""
        return PlainFindings(self)

    def defines(self, statement: Statement) -> bool:
        """Whether a size was solved from a statement."""
        return f"{statement.what} {statement.id}" in self._defines

    def defining(self, statement: Statement, basic: Value) -> Finding | None:
        """The finding on an equality that a size was solved from: it holds as nearly as the rule of
        that size can make it. None for any other statement."""
        size = self._defines.get(f"{statement.what} {statement.id}")
        if size is None or (statement.lower, statement.upper) != (ZERO, ZERO):
            return None
        slack = ZERO
        form = linear(statement.node, self.model.ratio)
        for name, factor in (form.coefficients if form is not None else {}).items():
            by = self.settlement.results[name.partition("@")[0]].by
            if name in self.settlement.solved_by and by is not None and by.way == "cut":
                most = by.step or ZERO  # up or down a whole step, else to the nearest
                slack += abs(factor) * (most / 2 if by.direction == "nearest" else most)
        off = middle(basic)
        if abs(off) > slack and not (isinstance(basic, Interval) and basic.contains(0)):
            return None
        said = f", which its step brings {float(off):+.3f} off" if off and slack else ""
        ends = (basic, basic) if isinstance(basic, Fraction) else (basic.lower, basic.upper)
        note = f"defines {size}{said}"
        return Finding(statement, basic, ends, Verdict.HOLDS, None, note=note)

    @cached_property
    def _defines(self) -> dict[str, str]:
        return {key: name for name, key in self.settlement.solved_by.items()}

    def held(self, statement: Statement, found: Bounds) -> bool | None:
        """Whether all that was found lies in the window; False where none of it does, None where
        only a part does, or nothing was found."""
        low, high = found
        if low is None or high is None:
            return None
        return inside(Interval(low, high), statement.lower, statement.upper)

    def on_basis(self, statement: Statement, basic: Value) -> tuple[Bounds, Aim | None, str]:
        """The window found on the statement's basis, the aim of a last cut, and a note."""
        ends = (basic, basic) if isinstance(basic, Fraction) else (basic.lower, basic.upper)
        if self.stage is not Stage.CHOSEN or statement.basis.kind is BasisKind.BASIC_SIZE:
            return ends, None, ""
        try:
            if statement.basis.kind is BasisKind.LAST_CUT:
                return last_cut(self, statement, basic)
            return self.worst_case(statement), None, self.counts_on(statement)
        except (NoRange, EvaluationError) as error:
            return (None, None), None, f"not promised: {error}"

    def worst_case(self, statement: Statement) -> tuple[Fraction, Fraction]:
        """The worst case of all limits: exact for linear statements, a certified range otherwise.

        Raises NoRange or EvaluationError where there is none.
        """
        form = self.form_of(statement)
        if form is not None:
            return self.cuts.span(form.constant, form.coefficients, statement.at)
        node = self.inlined(statement.node)
        found = enclose(node, self.boxes(node, statement.at), self.model.ratio)
        return found.lower, found.upper

    def counts_on(self, statement: Statement) -> str:
        """Which last cuts a worst case counts on being kept to their aim, in words."""
        form = self.form_of(statement)
        named = self.sizes_of(statement.node) if form is None else form.coefficients
        last = sorted(name for name in named if name in self.cuts.served)
        return f"counts on the last cut of {', '.join(last)} as it is aimed" if last else ""

    def boxes(self, node: Node, at: At = NOWHERE) -> dict[str, Interval]:
        """Every size that an expression comes down to, as the interval that it may lie in.

        Raises NoRange.
        """
        found = {}
        for name in self.sizes_of(node):
            if not self.cuts.depth(name):
                self.cuts.limited(name)
            value = self.values[name]
            down, up = self.cuts.range_of(name, self.cuts.of_copy(name, at))
            found[name] = Interval(lower(value) + down, upper(value) + up)
        return found
