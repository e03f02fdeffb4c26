"""A whole check: findings, and for each that fails the choices behind it and the path there."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Any

from scaler import collection
from scaler.checking.check import Checker, Finding, Statement
from scaler.expressions import names
from scaler.measures.lengths import format_inch, format_mm
from scaler.measures.spoken import plain_window, said_short, window_said
from scaler.problems import Place
from scaler.records import Bounds, Cause, Model, Stage, Verdict
from scaler.settling.reduce import Reduction, from_settlement
from scaler.settling.solve import middle

if TYPE_CHECKING:
    import pandas

    from scaler.checking.workability import Workability, WorkFinding
    from scaler.substitution.records import WayOut


@dataclass(frozen=True, slots=True)
class Member:
    """One statement of a conflict, in words, with its place."""

    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class Conflict:
    """A pair or condition that fails: what takes part, in words, and the path from the choice.

    ``ways_out`` are there where they were asked for; ``tried`` says what was looked at for them.
    """

    finding: Finding
    members: tuple[Member, ...]
    text: str
    path: tuple[str, ...]
    ways_out: tuple[WayOut, ...] = ()
    tried: str = ""


@dataclass(frozen=True, eq=False)
class CheckResult:
    """The check of a model at a stage.

    Every verdict is there at once; findings with their figures, conflicts in words, the reduction
    and the findings of workability are made when they are first looked at, and then kept.
    """

    model: Model
    stage: Stage
    verdicts: tuple[Verdict, ...] = field(repr=False)
    checker: Checker = field(repr=False)
    work: Workability | None = field(repr=False, default=None)
    ways_out: int = field(repr=False, default=0)
    """How many ways out to look for, for each conflict."""

    @cached_property
    def reduction(self) -> Reduction:
        """Every size, with the cautions and notes that go with them."""
        with collection.put_off():
            checker = self.checker
            return from_settlement(self.model, checker.settlement, checker.exact, checker.limits_of)

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """One finding a pair or condition, in the order of the files."""
        with collection.put_off():
            return self.checker.findings

    @cached_property
    def conflicts(self) -> tuple[Conflict, ...]:
        """The pairs and conditions that fail, each with what takes part, in words."""
        with collection.put_off():
            plain = tuple(_conflict(self.checker, f) for f in self.findings if f.fails)
        if not plain or not self.ways_out:
            return plain
        from scaler.substitution.check_ways import with_ways

        return with_ways(self, plain, self.ways_out)

    @property
    def workability(self) -> tuple[WorkFinding, ...]:
        """The checks of workability; none at another stage than as chosen."""
        return () if self.work is None else self.work.findings

    def finding(self, identity: str) -> Finding:
        """The finding of one pair or condition (``name``, or ``name@copy`` where copies differ).
        Raises KeyError for an unknown one."""
        for item in self.findings:
            if item.statement.id == identity:
                return item
        raise KeyError(identity)

    def counts(self) -> dict[str, int]:
        """How many statements got each verdict."""
        found = Counter(self.verdicts)
        return {str(verdict): found.get(verdict, 0) for verdict in Verdict}

    def failures(self) -> tuple[Finding, ...]:
        """The findings that are tight, loose or fail."""
        return tuple(finding for finding in self.findings if finding.fails)

    def status(self, *, strict: bool = False) -> int:
        """Exit status: 1 where something fails (or, strictly, is doubtful), else 0."""
        bad = {Verdict.TIGHT, Verdict.LOOSE, Verdict.FAILS}
        if strict:
            bad.add(Verdict.DOUBTFUL)
        if not bad.isdisjoint(self.verdicts):
            return 1
        return 0 if self.work is None else self.work.status(strict=strict)

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values by the contract for scripts."""
        from scaler.report import check_dict

        return check_dict(self)

    def rows(self) -> list[dict[str, Any]]:
        """One row a pair or condition, with its verdict and cause; plain keys and values."""
        from scaler.report import finding_dict

        return [
            {"what": f.statement.what, **finding_dict(f), "aim": None, "shares": None}
            for f in self.findings
        ]

    def frame(self) -> pandas.DataFrame:
        """A pandas frame: one row a pair or condition; two bounds become two columns."""
        from scaler.report import frame_of

        return frame_of(self.rows())

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))


def check(
    model: Model,
    stage: Stage | str = Stage.CHOSEN,
    *,
    as_drawn: bool = False,
    ways_out: int = 0,
) -> CheckResult:
    """Every pair and condition of a model: verdict, cause, and the conflicts in words.

    Parameters: stage : exact, rounded (each size alone) or chosen; the first two are judged at
        basic sizes, the last on each statement's basis; as_drawn : leave readings out;
        ways_out : how many ways out to look for, for each conflict as chosen (this needs the
        solver; none by default).
    Returns: CheckResult.
    Raises: InputError where sizes are left open or statements contradict each other.
    """
    with collection.put_off():
        checker = Checker(model, Stage(stage), as_drawn=as_drawn)
        as_made = checker.stage is Stage.CHOSEN and not as_drawn
        return _check(checker, ways_out if as_made else 0)


def _check(checker: Checker, ways_out: int) -> CheckResult:
    checker.exact  # noqa: B018 - what is wrong there is said now
    work: Workability | None = None
    if checker.stage is Stage.CHOSEN:
        from scaler.checking.workability import workability

        work = workability(checker.model, checker=checker)
        work.verdicts  # noqa: B018 - judged now
    return CheckResult(checker.model, checker.stage, checker.verdicts, checker, work, ways_out)


def _conflict(checker: Checker, finding: Finding) -> Conflict:
    statement = finding.statement
    members = [Member(_stated(finding, checker.model.units), statement.place)]
    moved = [name for name, _ in finding.shares] or list(names(statement.node))
    for name in moved[:8]:
        member = _choice(checker, name)
        if member not in members:
            members.append(member)
    path: tuple[str, ...] = ()
    if finding.shares:
        path = _path(checker, finding.shares[0][0], statement)
    drawn = _drawing_disagrees(checker, finding) or _far_apart(checker, finding)
    units = checker.model.units
    text = _words(finding, path, drawn, units) + ("" if drawn else _on_a_step(checker, finding))
    return Conflict(finding, tuple(members), text, path)


def _on_a_step(checker: Checker, finding: Finding) -> str:
    """What to write where an equality is out only because the size worked out from it is cut to a
    step, and so can never be exactly so; '' where that is not all."""
    item, off = finding.statement, finding.basic
    if item.lower is None or item.lower != item.upper or off is None or item.dimension != "length":
        return ""
    key = f"{item.what} {item.id}"
    for name, solved in checker.settlement.solved_by.items():
        by = checker.settlement.results[name].by
        step = by.step if by is not None and solved == key else None
        if step is not None and abs(middle(off) - item.lower) <= step / 2:
            whole, half = (format_mm(x, 5).rstrip("0").rstrip(".") for x in (step, step / 2))
            return (
                f"; {name} is worked out from it and cut to a step of {whole} mm: write "
                f'within = "±{half} mm" under it, or give a finer step'
            )
    return ""


def _drawing_disagrees(checker: Checker, finding: Finding) -> str:
    """By how much a drawing contradicts itself, full size: an equality between drawn sizes."""
    condition = checker.model.conditions.get(finding.statement.id)
    if condition is None or not condition.equality or finding.cause is not Cause.DOES_NOT_SCALE:
        return ""
    named = names(condition.expression)
    if any(checker.model.sizes[n.partition("@")[0]].full is None for n in named):
        return ""
    value = checker.basic(finding.statement, checker.exact.values)
    if value is None or condition.dimension != "length":
        return ""
    off = abs(middle(value)) / checker.model.ratio
    return (
        f"the drawing itself disagrees by {format_mm(off, 3)} mm "
        f"({format_inch(off, 4)} in) full size: one of its figures is wrong"
    )


def _far_apart(checker: Checker, finding: Finding) -> str:
    """Two drawn sizes that no choice can bring together: a figure or its unit was misread."""
    from scaler.settling.settled import reach_of

    item = finding.statement
    if item.what != "pair" or finding.cause is not Cause.DOES_NOT_SCALE:
        return ""
    sizes = [checker.model.sizes[name.partition("@")[0]] for name in names(item.node)]
    exact = [checker.exact.values.get(size.id) for size in sizes]
    value = checker.basic(item, checker.exact.values)
    if value is None or any(size.full is None for size in sizes) or None in exact:
        return ""
    methods = {method.name for size in sizes for method in size.rule}
    if methods & {"given", "follows", "standard"}:
        return ""  # what is not bound to scale may lie anywhere
    clearance, apart = middle(value), Fraction(0)
    if item.lower is not None:
        apart = item.lower - clearance
    if item.upper is not None:
        apart = max(apart, clearance - item.upper)
    for size, at in zip(sizes, exact, strict=True):
        if at is not None:
            apart -= max(reach_of(size, by, middle(at)) for by in size.rule or (None,))
    if apart <= 0:
        return ""
    read = ", ".join(f"{size.id} {size.drawn_as}" for size in sizes)
    return (
        "the drawn sizes lie too far apart for any choice: read them and their units again "
        f"({read})"
    )


def _stated(finding: Finding, units: str) -> str:
    item = finding.statement
    return f"{item.what} {item.id} wants {window_of(item, (item.lower, item.upper), units)}"


def window_of(item: Statement, bounds: Bounds, units: str) -> str:
    """A window of what a statement is about, with its unit where it is a length."""
    return window_said(bounds, units) if item.dimension == "length" else plain_window(bounds)


def _choice(checker: Checker, name: str) -> Member:
    """A size that takes part, with where its figure stands: the reading, where it has been made."""
    plain, _, copy = name.partition("@")
    reading = checker.readings.get((plain, copy)) or checker.readings.get((plain, ""))
    if reading is not None:
        said = f"{plain}@{reading.copy}" if reading.copy else plain
        figure = _figure(checker, plain, reading.value)
        return Member(f"{said} is {figure}, as made", reading.place)
    own = checker.settlement.copies.get(name)  # a copy that is chosen by itself
    name, settled = (plain, checker.settlement.results[plain]) if own is None else (name, own)
    figure = _figure(checker, plain, middle(settled.value))
    how = settled.row.designation if settled.row else settled.method
    choice = checker.model.choices.get(name)
    size = checker.model.sizes[plain]
    place = choice.place if choice and settled.way == "choice" else size.place
    return Member(f"{name} is {figure} ({how})", place)


def _figure(checker: Checker, size: str, value: Fraction) -> str:
    """A size as a member of a conflict has it: bare millimetres, else with its unit."""
    units = checker.model.units
    if units == "mm" or not checker.model.sizes[size].kind.is_length:
        return f"{float(value):g}"
    return said_short(value, units)


def _path(checker: Checker, start: str, statement: Statement) -> tuple[str, ...]:
    """From the choice that moved a statement most, through what it makes, to the statement."""
    start = start.partition("@")[0]
    root = start
    steps = [f"{statement.what} {statement.id}"]
    seen: set[str] = set()
    while root not in seen:  # a defined size leads back to the choice behind it
        seen.add(root)
        steps.insert(0, root)
        node = checker.settlement.defined_by.get(root)
        if node is None:
            break
        behind = []
        for name in names(node):
            before = checker.exact.values.get(name)
            if before is not None:
                off = middle(checker.values[name]) - middle(before)
                if off:
                    behind.append((abs(off), name))
        if not behind:
            break
        root = max(behind)[1]
    return tuple(steps)


def _words(finding: Finding, path: tuple[str, ...], drawn: str, units: str) -> str:
    from scaler.report import signed_text

    item = finding.statement
    basic = "nothing"
    if finding.basic is not None:
        plain = middle(finding.basic)
        basic = window_of(item, (plain, plain), units)
    wanted = window_of(item, (item.lower, item.upper), units)
    parts = [f"{item.title or item.id}: found {basic}, wanted {wanted} ({finding.verdict})"]
    if drawn:
        parts.append(drawn)
    elif finding.cause is Cause.DOES_NOT_SCALE:
        parts.append("it fails at exact scale already: set the clearance afresh, not by scale")
    elif finding.shares:
        told = ", ".join(
            f"{signed_text(moved, units)} by {name}" for name, moved in finding.shares[:4]
        )
        word = "what was made" if finding.cause is Cause.AS_MADE else "rounding"
        parts.append(f"{word} moves it {told}")
    if path:
        parts.append("path: " + " > ".join(path))
    return "; ".join(parts)
