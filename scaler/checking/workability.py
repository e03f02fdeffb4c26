"""Workability: what an old hand looks at before metal is cut. Each check can be overruled.

The records hold no shapes, only sizes with kinds and names. What goes with what is inferred from
the names of one part's sizes, and only where they leave little room for another reading; the table
``workability`` says for each rule what it needs, how it is inferred, its figure and its source.
Every check is a statement ``found >= wanted`` in the model's sizes, judged in the worst case of
all limits: ``holds``, ``doubtful`` (basic sizes hold, the limits do not; or a figure is missing)
or ``fails``. Parts that hold pressure are not judged, and what is already made is left alone.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Any

from scaler import collection
from scaler.checking.alike_checks import AlikeChecks
from scaler.checking.check import Checker, Statement
from scaler.checking.workability_holes import holes
from scaler.checking.workability_parts import Tools, WorkPart, is_made, parts_of
from scaler.checking.workability_rules import Asked, less, rules
from scaler.checking.workability_slots import drills, slots
from scaler.checking.workability_stock import registers, stock
from scaler.expressions import Length, Node, names, rename
from scaler.problems import InputError, Place, Problem, nearest, shorten
from scaler.progress import told
from scaler.quick import record
from scaler.records import Basis, BasisKind, Bounds, Cause, Model, Stage, Verdict
from scaler.settling.solve import Value, value_of

if TYPE_CHECKING:
    import pandas


ZERO = Fraction(0)
BASIS = Basis(BasisKind.BOTH_LIMITS, stated=False)


@record
class WorkFinding:
    """One check of workability. Lengths in mm.

    ``found`` and ``wanted`` at basic sizes, ``margin`` their difference in the worst case of all
    limits (lower, upper); ``overruled`` is the builder's reason, '' where the check stands.
    """

    id: str
    rule: str
    title: str
    part: str
    sizes: tuple[str, ...]
    text: str
    found: Value | None
    wanted: Value | None
    margin: Bounds
    verdict: Verdict
    cause: Cause | None
    source: str
    source_place: str
    note: str
    overruled: str
    place: Place
    statement: Statement

    @property
    def fails(self) -> bool:
        """True where it fails and is not overruled."""
        return self.verdict is Verdict.FAILS and not self.overruled

    @property
    def doubtful(self) -> bool:
        """True where it is doubtful and not overruled."""
        return self.verdict is Verdict.DOUBTFUL and not self.overruled

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values; lengths in mm, each with its exact twin."""
        from scaler.report import twin, twins

        return {
            "id": self.id,
            "rule": self.rule,
            "title": self.title,
            "part": self.part,
            "sizes": list(self.sizes),
            "text": self.text,
            **twin("wanted_mm", self.wanted),
            **twin("found_mm", self.found),
            **twins("margin_mm", self.margin),
            "verdict": str(self.verdict),
            "cause": str(self.cause) if self.cause else None,
            "source": self.source,
            "place": self.source_place or None,
            "note": self.note or None,
            "overruled": self.overruled or None,
            "file": self.place.file,
            "line": self.place.line,
        }


@dataclass(frozen=True, eq=False)
class Workability:
    """All checks of a model, with their statements for a later choice of sizes.

    The findings with their figures are made when they are first looked at.
    """

    checker: Checker = field(repr=False)
    asked: tuple[Asked, ...] = field(repr=False)
    reasons: Mapping[str, str]

    @cached_property
    def findings(self) -> tuple[WorkFinding, ...]:
        """One finding a check (and copy), in the order of the model's parts."""
        with collection.put_off():
            return tuple(
                finding
                for item in self.asked
                for finding in _findings(self.checker, item, self.reasons)
            )

    @cached_property
    def verdicts(self) -> tuple[tuple[Verdict, bool], ...]:
        """The verdict of each finding, and whether it is overruled."""
        if self.checker.copies_read:
            return tuple((finding.verdict, bool(finding.overruled)) for finding in self.findings)
        alike = AlikeChecks(self.checker, _verdict)
        return tuple(
            (alike.verdict(item), bool(_reason(item, "", self.reasons)))
            for item in told(self.asked, "checks of workability")
            if not _all_made(self.checker, item)
        )

    def __iter__(self) -> Iterator[WorkFinding]:
        return iter(self.findings)

    def __len__(self) -> int:
        return len(self.findings)

    def counts(self) -> dict[str, int]:
        """How many stand with each verdict, and how many are overruled."""
        found = {str(verdict): 0 for verdict in (Verdict.HOLDS, Verdict.DOUBTFUL, Verdict.FAILS)}
        for verdict, overruled in self.verdicts:
            if not overruled:
                found[str(verdict)] = found.get(str(verdict), 0) + 1
        return {**found, "overruled": sum(overruled for _, overruled in self.verdicts)}

    def status(self, *, strict: bool = False) -> int:
        """Exit status: 1 where something fails (or, strictly, is doubtful), else 0."""
        bad = (Verdict.FAILS, Verdict.DOUBTFUL) if strict else (Verdict.FAILS,)
        return int(any(verdict in bad and not overruled for verdict, overruled in self.verdicts))

    def statements(self) -> tuple[Statement, ...]:
        """The checks that stand, as statements ``0 <= found − wanted``, linear in nearly all."""
        return tuple(f.statement for f in self.findings if not f.overruled)

    def frame(self) -> pandas.DataFrame:
        """A pandas frame: one row a check; columns as the keys of ``as_dict()``."""
        from scaler.report import frame_of

        return frame_of([finding.as_dict() for finding in self.findings])

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))


def workability(
    model: Model,
    *,
    overrules: Mapping[str, str] | None = None,
    checker: Checker | None = None,
) -> Workability:
    """What would be hard, weak or impossible to make, part by part.

    Parameters: overrules : reasons beside those of the model, by name: of a check (``edge_distance.frame.bolt_hole_to_edge``),
        of a rule in one part (``edge_distance.frame``) or of a whole rule (``edge_distance``); a
        reason cannot be blank. checker : one made before, else the model as chosen.
    Returns: Workability, in the order of the model's parts.
    Raises: InputError for an overrule that names no check of the model, naming the nearest.
    """
    checker = checker or Checker(model, Stage.CHOSEN)
    asked = tuple(_asked(checker))
    stated = {name: reason for name, (reason, _) in model.overrules.items()}
    places = {name: place for name, (_, place) in model.overrules.items()}
    reasons = _checked(asked, {**stated, **(overrules or {})}, places)
    return Workability(checker, asked, reasons)


def by_part(checker: Checker, parts: Collection[str]) -> dict[str, tuple[WorkFinding, ...]]:
    """What a check of the whole model finds in some of its parts; those must be in the checker's
    model with all their sizes, and with all that the sizes rest on."""
    model, tools = checker.model, Tools(checker.model)
    reasons = {name: reason for name, (reason, _) in model.overrules.items()}
    found: dict[str, tuple[WorkFinding, ...]] = dict.fromkeys(parts, ())
    for part in parts_of(checker):
        if part.part.name in found:
            found[part.part.name] = tuple(
                finding
                for item in _of_part(part, tools)
                for finding in _findings(checker, item, reasons)
            )
    return found


def _asked(checker: Checker) -> Iterator[Asked]:
    tools = Tools(checker.model)
    for part in parts_of(checker):
        yield from _of_part(part, tools)


def _of_part(part: WorkPart, tools: Tools) -> Iterator[Asked]:
    yield from slots(part, tools)
    yield from drills(part, tools)
    yield from holes(part)
    yield from stock(part, tools)
    yield from registers(part)


def _sizes(item: Asked) -> tuple[str, ...]:
    return tuple(dict.fromkeys((item.subject, *names(item.found), *names(item.wanted))))


# ----------------------------------------------------------------------------------- overruling


def _prefixes(identity: str) -> Iterator[str]:
    parts = identity.split(".")
    for count in range(len(parts), 0, -1):
        yield ".".join(parts[:count])


def _reason(item: Asked, suffix: str, reasons: Mapping[str, str]) -> str:
    if not reasons:
        return ""
    wanted = (f"{item.id}{suffix}", *_prefixes(item.id))
    return next((reasons[name] for name in wanted if name in reasons), "")


def _checked(
    asked: Sequence[Asked], overrules: Mapping[str, str], places: Mapping[str, Place]
) -> Mapping[str, str]:
    """The overrules, each of which must name a check and give a reason."""
    if not overrules:
        return {}
    known = {name for item in asked for name in _prefixes(item.id)} | set(rules())
    problems = []
    for name, reason in overrules.items():
        if name.partition("@")[0] not in known:
            near = nearest(name, sorted(known))
            problems.append(
                Problem(
                    "unknown-overrule",
                    f"'{shorten(name)}' names no check of workability",
                    places.get(name),
                    read=name,
                    expected="a check's name" + (f": {', '.join(near)}" if near else ""),
                    advice="take it out, or write the name as check lists it",
                )
            )
        elif not reason.strip():
            problems.append(
                Problem(
                    "no-reason",
                    f"no reason is given for overruling {shorten(name)}",
                    places.get(name),
                    read=name,
                    expected="a reason in words",
                    advice="say why the check does not apply",
                )
            )
    if problems:
        raise InputError(problems)
    return overrules


# ------------------------------------------------------------------------------------- findings


def _findings(checker: Checker, item: Asked, reasons: Mapping[str, str]) -> Iterator[WorkFinding]:
    """The findings on a check; none where every size of it is made: then nothing is left to look
    at before cutting."""
    if _all_made(checker, item):
        return
    for suffix, found, wanted in _by_copies(checker, item):
        reason = _reason(item, suffix, reasons)
        yield _finding(checker, item, suffix, found, wanted, reason)


def _all_made(checker: Checker, item: Asked) -> bool:
    return checker.any_made and all(is_made(checker, name) for name in _sizes(item))


def _verdict(checker: Checker, item: Asked) -> Verdict:
    """The verdict on a check of a model of which no copy has a reading of its own."""
    if item.doubt:
        return Verdict.DOUBTFUL
    place = checker.model.sizes[item.subject].place
    return checker.verdict(_statement(item, "", item.found, item.wanted, place))


def _by_copies(checker: Checker, item: Asked) -> list[tuple[str, Node, Node]]:
    """A check copy by copy, where copies have readings of their own."""
    copies: dict[str, None] = {}
    if not checker.copies_read:
        return [("", item.found, item.wanted)]
    for name in (*names(item.found), *names(item.wanted)):
        for copy in checker.model.parts[checker.model.sizes[name].part].copies:
            if f"{name}@{copy}" in checker.values:
                copies[copy] = None

    def at(node: Node, copy: str) -> Node:
        return rename(node, lambda n: f"{n}@{copy}" if f"{n}@{copy}" in checker.values else n)

    if not copies:
        return [("", item.found, item.wanted)]
    return [(f"@{copy}", at(item.found, copy), at(item.wanted, copy)) for copy in copies]


def _statement(item: Asked, suffix: str, found: Node, wanted: Node, place: Place) -> Statement:
    rule = item.rule
    return Statement(
        f"{item.id}{suffix}", "workability", less(found, wanted), ZERO, None, BASIS, item.text,
        "", "", rule.title, item.note or rule.note, rule.source, "length", place, False,
    )  # fmt: skip


def _value(node: Node, checker: Checker) -> Value:
    if isinstance(node, Length):
        return node.mm
    return value_of(node, checker.values, checker.model.ratio)


def _finding(
    checker: Checker,
    item: Asked,
    suffix: str,
    found: Node,
    wanted: Node,
    reason: str,
) -> WorkFinding:
    place = checker.model.sizes[item.subject].place
    statement = _statement(item, suffix, found, wanted, place)
    judged = checker.finding(statement)
    values = [_value(node, checker) for node in (found, wanted)]
    verdict, margin, note = judged.verdict, judged.found, item.note
    if item.doubt:
        verdict, margin = Verdict.DOUBTFUL, (None, None)
        note = "; ".join(text for text in (item.note, item.doubt) if text)
    return WorkFinding(
        statement.id,
        item.rule.id,
        item.rule.title,
        item.subject.partition(".")[0],
        _sizes(item),
        item.text,
        None if item.doubt else values[0],
        None if item.doubt else values[1],
        margin,
        verdict,
        None if item.doubt else judged.cause,
        item.rule.source,
        item.rule.place,
        note,
        reason,
        place,
        statement,
    )
