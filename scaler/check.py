"""Checks: what each pair and condition comes to on its basis, the verdict, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from scaler import iso286
from scaler.expressions import (
    Add,
    EvaluationError,
    Neg,
    Node,
    enclose,
    evaluate,
    gradient,
    linear,
    names,
    rename,
)
from scaler.intervals import Interval
from scaler.limits import limits_of, uncertainty
from scaler.problems import Place
from scaler.records import (
    Basis,
    BasisKind,
    Bounds,
    Cause,
    Condition,
    Deviations,
    Model,
    Pair,
    Stage,
    Verdict,
)
from scaler.settle import Settlement, refused_parts, settle
from scaler.solve import Value, middle, value_of

ZERO = Fraction(0)


@dataclass(frozen=True, slots=True)
class Statement:
    """A pair or condition in one form: lower <= expression <= upper, on a basis."""

    id: str
    what: str
    node: Node
    lower: Fraction | None
    upper: Fraction | None
    basis: Basis
    text: str
    inner: str
    outer: str
    title: str
    why: str
    source: str
    dimension: str
    place: Place
    must: bool


@dataclass(frozen=True, slots=True)
class Aim:
    """What a last cut aims at: the size, the target [mm], and half the width it is kept within."""

    size: str
    target: Fraction
    margin: Fraction
    by: str


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Form:
    """A linear statement: constant and coefficients."""

    constant: Fraction
    coefficients: Mapping[str, Fraction]


def statements(model: Model, values: Mapping[str, Value]) -> tuple[Statement, ...]:
    """All pairs and conditions as statements, in the order of the files.

    A pair that a made copy takes part in is looked at copy by copy (``name@left``).
    """
    found: list[Statement] = []
    for pair in model.pairs.values():
        found += _by_copies(model, _pair_statement(model, pair, values), values)
    for condition in model.conditions.values():
        found += _by_copies(model, _condition_statement(model, condition), values)
    return tuple(found)


def _pair_statement(model: Model, pair: Pair, values: Mapping[str, Value]) -> Statement:
    node = Add((pair.outer, Neg(pair.inner)))
    lower, upper, source = pair.fit.lower, pair.fit.upper, pair.fit.source
    note = ""
    if pair.fit.iso or pair.fit.trade:
        lower, upper, source, note = _named_window(model, pair, values)
    return Statement(
        pair.id,
        "pair",
        node,
        lower,
        upper,
        pair.basis,
        f"{pair.inner_text} in {pair.outer_text}",
        pair.inner_text,
        pair.outer_text,
        pair.title,
        pair.why or note,
        source,
        "length",
        pair.place,
        pair.must,
    )


def _named_window(
    model: Model, pair: Pair, values: Mapping[str, Value]
) -> tuple[Fraction | None, Fraction | None, str, str]:
    """The window of an ISO pair or a trade class at the pair's basic size (the hole's)."""
    try:
        size = abs(middle(value_of(pair.outer, values, model.ratio)))
    except (EvaluationError, KeyError):
        return None, None, "", "the fit's window is not known: no basic size"
    if pair.fit.iso:
        try:
            fit = iso286.fit(pair.fit.iso, size)
        except iso286.Iso286Error as error:
            return None, None, "", f"no window: {error}"
        thousand = Fraction(1000)
        return (
            fit.clearance_min_um / thousand,
            fit.clearance_max_um / thousand,
            fit.hole.source,
            "",
        )
    from scaler.trade_fits import UnknownFit, find_trade_fit

    try:
        trade = find_trade_fit(pair.fit.trade, size, pair.fit.trade_set or None)
    except UnknownFit as error:
        return None, None, "", f"no window: {error}"
    source = f"{trade.set}: {trade.source}"
    return trade.clearance_min_mm, trade.clearance_max_mm, source, trade.note


def _condition_statement(model: Model, item: Condition) -> Statement:
    def bound(node: Node | None) -> Fraction | None:
        return None if node is None else middle(evaluate(node, {}, model.ratio))

    lower, upper = bound(item.lower), bound(item.upper)
    if item.equality and lower is None and upper is None:
        lower = upper = ZERO
    return Statement(
        item.id,
        "condition",
        item.expression,
        lower,
        upper,
        item.basis,
        item.text,
        "",
        "",
        item.title,
        item.why,
        item.source,
        item.dimension,
        item.place,
        item.must,
    )


def _by_copies(model: Model, statement: Statement, values: Mapping[str, Value]) -> list[Statement]:
    named = names(statement.node)
    copies: list[str] = []
    for name in named:
        if "@" not in name and name in model.sizes:
            for copy in model.parts[model.sizes[name].part].copies:
                if f"{name}@{copy}" in values and copy not in copies:
                    copies.append(copy)
    if not copies:
        return [statement]

    def at(copy: str) -> Statement:
        node = rename(
            statement.node,
            lambda n: f"{n}@{copy}" if "@" not in n and f"{n}@{copy}" in values else n,
        )
        return replace(statement, id=f"{statement.id}@{copy}", node=node)

    return [at(copy) for copy in copies]


def _inside(value: Value, lower: Fraction | None, upper: Fraction | None) -> bool | None:
    """Whether a value lies in a window; None where its interval cannot decide."""
    if isinstance(value, Fraction):
        return (lower is None or value >= lower) and (upper is None or value <= upper)
    if (lower is None or value.lower >= lower) and (upper is None or value.upper <= upper):
        return True
    out = (lower is not None and value.upper < lower) or (upper is not None and value.lower > upper)
    return False if out else None


class Checker:
    """The findings of a model at a stage; holds the settled sizes and limits that they rest on."""

    def __init__(
        self, model: Model, stage: Stage = Stage.CHOSEN, *, as_drawn: bool = False
    ) -> None:
        self.model, self.stage, self.as_drawn = model, stage, as_drawn
        self.settlement = settle(model, stage, as_drawn=as_drawn)
        self.values: dict[str, Value] = dict(self.settlement.values)
        self.refused = refused_parts(model)
        self._limits: dict[str, Deviations] = {}
        self._forms: dict[str, Form | None] = {}

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
        """All pairs and conditions at this stage."""
        return statements(self.model, self.values)

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """One finding a statement, in order."""
        return tuple(self.finding(item) for item in self.statements)

    def limits(self, name: str) -> Deviations:
        """Deviations of a size (or ``size@copy``) at this stage."""
        found = self._limits.get(name)
        if found is None:
            identity, _, copy = name.partition("@")
            size = self.model.sizes[identity]
            if copy:
                reading = self.model.readings[identity, copy]
                tool, worth = uncertainty(size, reading.instrument)
                found = Deviations(-worth, worth, f"read with {tool}")
            else:
                found = limits_of(self.model, size, self.settlement.results[identity])
            self._limits[name] = found
        return found

    def is_result(self, name: str) -> bool:
        """Whether a size is only the outcome of others: defined, and cut by no process of its own."""
        size = self.model.sizes.get(name)
        if size is None or size.limits is not None or name not in self.settlement.results:
            return False
        if self.settlement.results[name].made:
            return False
        return name in self.settlement.defined_by and not any(m.way == "cut" for m in size.rule)

    def expanded(self, node: Node, depth: int = 0) -> Form | None:
        """A linear form in sizes that are made, definitions put in; None where it is not linear."""
        form = linear(node, self.model.ratio)
        if form is None:
            return None
        constant, factors = form.constant, dict(form.coefficients)
        for name in tuple(factors):
            if self.is_result(name) and depth < 40:
                inner = self._inner(name, depth)
                if inner is None:
                    return None
                factor = factors.pop(name)
                constant += factor * inner.constant
                for other, value in inner.coefficients.items():
                    factors[other] = factors.get(other, ZERO) + factor * value
        return Form(constant, {name: value for name, value in factors.items() if value})

    def _inner(self, name: str, depth: int) -> Form | None:
        if name not in self._forms:
            self._forms[name] = self.expanded(self.settlement.defined_by[name], depth + 1)
        return self._forms[name]

    def basic(self, statement: Statement, values: Mapping[str, Value]) -> Value | None:
        """The statement's expression at basic sizes; None where a size has no figure."""
        if any(name not in values for name in names(statement.node)):
            return None
        return value_of(statement.node, values, self.model.ratio)

    def finding(self, statement: Statement) -> Finding:
        """Verdict, window found on the basis, and cause of one statement."""
        if any(name.partition(".")[0] in self.refused for name in names(statement.node)):
            return Finding(
                statement,
                None,
                (None, None),
                Verdict.REFUSED,
                None,
                note="a pressure part takes part: no figure is given",
            )
        try:
            basic = self.basic(statement, self.values)
        except EvaluationError as error:
            return Finding(statement, None, (None, None), Verdict.FAILS, None, note=str(error))
        if basic is None or (
            statement.lower is None and statement.upper is None and statement.what == "pair"
        ):
            return Finding(
                statement,
                basic,
                (None, None),
                Verdict.DOUBTFUL,
                None,
                note=statement.why or "no figure to judge",
            )
        inside = _inside(basic, statement.lower, statement.upper)
        found, aim, note = self.on_basis(statement, basic)
        if inside is False:
            verdict = self.outside(statement, basic)
        elif inside is None or note.startswith("not promised"):
            verdict = Verdict.DOUBTFUL
        elif (
            statement.lower is None or (found[0] is not None and found[0] >= statement.lower)
        ) and (statement.upper is None or (found[1] is not None and found[1] <= statement.upper)):
            verdict = Verdict.HOLDS
        else:
            verdict = Verdict.DOUBTFUL
        finding = Finding(statement, basic, found, verdict, None, aim, note)
        if verdict is Verdict.HOLDS:
            return finding
        return replace(finding, cause=self.cause(finding), shares=self.shares(statement))

    @staticmethod
    def outside(statement: Statement, basic: Value) -> Verdict:
        if statement.what != "pair":
            return Verdict.FAILS
        low = statement.lower is not None and middle(basic) < statement.lower
        return Verdict.TIGHT if low else Verdict.LOOSE

    def on_basis(self, statement: Statement, basic: Value) -> tuple[Bounds, Aim | None, str]:
        """The window found on the statement's basis."""
        ends = (basic, basic) if isinstance(basic, Fraction) else (basic.lower, basic.upper)
        if self.stage is not Stage.CHOSEN or statement.basis.kind is BasisKind.BASIC_SIZE:
            return ends, None, ""
        if statement.basis.kind is BasisKind.LAST_CUT:
            from scaler.last_cut import last_cut

            return last_cut(self, statement, basic)
        return self.both_limits(statement), None, ""

    def both_limits(self, statement: Statement) -> Bounds:
        """The worst case of all limits: exact for linear statements, a certified range otherwise."""
        from scaler.last_cut import range_of

        form = self.expanded(statement.node)
        if form is not None:
            low = high = form.constant
            for name, factor in form.coefficients.items():
                value, (down, up) = middle(self.values[name]), range_of(self, name)
                ends = (factor * (value + down), factor * (value + up))
                low, high = low + min(ends), high + max(ends)
            return low, high
        boxes = self.boxes(statement.node)
        try:
            found = enclose(statement.node, boxes, self.model.ratio)
        except EvaluationError:
            return None, None
        return found.lower, found.upper

    def boxes(self, node: Node) -> dict[str, Interval]:
        """Every size named, as its interval of limits; results by the range of their definition."""
        from scaler.last_cut import range_of

        found = {}
        for name in names(node):
            if self.is_result(name):
                inner = self.settlement.defined_by[name]
                found[name] = enclose(inner, self.boxes(inner), self.model.ratio)
                continue
            value = self.values[name]
            low, high = (
                (value, value) if isinstance(value, Fraction) else (value.lower, value.upper)
            )
            down, up = range_of(self, name)
            found[name] = Interval(low + down, high + up)
        return found

    def cause(self, finding: Finding) -> Cause:
        """Why a statement does not hold: the first of the four causes that explains it."""
        statement = finding.statement
        if not finding.fails:
            return Cause.LIMITS
        if self.stage is Stage.EXACT:
            return Cause.DOES_NOT_SCALE
        if self.stage is Stage.CHOSEN and not self.as_drawn and self._touched(statement):
            plain = self._statement_without_copies(statement)
            value = self.basic(plain, self.planned.values)
            if value is not None and _inside(value, statement.lower, statement.upper) is not False:
                return Cause.AS_MADE
        plain = self._statement_without_copies(statement)
        value = self.basic(plain, self.exact.values)
        if value is not None and _inside(value, statement.lower, statement.upper) is False:
            return Cause.DOES_NOT_SCALE
        return Cause.ROUNDING

    @staticmethod
    def _statement_without_copies(statement: Statement) -> Statement:
        if "@" not in statement.id:
            return statement
        return replace(statement, node=rename(statement.node, lambda n: n.partition("@")[0]))

    def _touched(self, statement: Statement) -> bool:
        """Whether a reading or a made size enters a statement, also through definitions."""
        stack, seen = list(names(statement.node)), set()
        while stack:
            name = stack.pop()
            if name in seen:
                continue
            seen.add(name)
            if "@" in name or self.settlement.results[name].made:
                return True
            node = self.settlement.defined_by.get(name)
            if node is not None:
                stack += names(node)
        return False

    def shares(self, statement: Statement) -> tuple[tuple[str, Fraction], ...]:
        """How far each size's departure moves the statement [mm], the largest first.

        Exact for linear statements; for others the derivative at the basic sizes times the
        departure. Sizes without an exact size have no departure.
        """
        plain = self._statement_without_copies(statement)
        form = linear(plain.node, self.model.ratio)
        if form is not None:
            factors: Mapping[str, Fraction] = form.coefficients
        else:
            at = {name: middle(self.values[name]) for name in names(plain.node)}
            try:
                slopes = gradient(plain.node, at, self.model.ratio)[1]
            except EvaluationError:
                return ()
            factors = {n: middle(slope) for n, slope in slopes.items() if slope is not None}
        found = []
        for name, factor in factors.items():
            before = self.exact.values.get(name)
            if before is not None:
                moved = factor * (middle(self.values[name]) - middle(before))
                if moved:
                    found.append((name, moved))
        return tuple(sorted(found, key=lambda item: (-abs(item[1]), item[0])))
