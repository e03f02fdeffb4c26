"""A model folder into records: every field read exactly, every problem of every file in one go."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any, Literal, TypeVar

from scaler import crosscheck, logs
from scaler.catalogue import parse_number
from scaler.defaults import DEFAULT_RULES, kind_of
from scaler.entries import Entries, Entry, collect
from scaler.expressions import (
    Comparison,
    ExpressionError,
    Node,
    Number,
    parse_comparison,
    parse_expression,
)
from scaler.files import Gathered, gather
from scaler.grammar import (
    GrammarError,
    method_names,
    parse_basis,
    parse_fit,
    parse_limits,
    parse_method,
    parse_window,
    signed_length,
)
from scaler.lengths import LengthError, parse_angle, parse_length
from scaler.problems import InputError, Problem, did_you_mean, in_order, shorten
from scaler.records import (
    Basis,
    BasisKind,
    Bounds,
    Condition,
    Drawing,
    Fit,
    Kind,
    Method,
    Model,
    Pair,
    Part,
    Service,
    ShopRow,
    Size,
    State,
)
from scaler.scales import Scale, ScaleError, parse_scale, scale_from_gauges

T = TypeVar("T")
READ_ERRORS = (LengthError, ScaleError, ExpressionError, GrammarError, ValueError)
UNBOUNDED: Bounds = (None, None)
FULL_SIZE = Scale(Fraction(1), "full size", "ratio", "1 : 1", "")


def load(path: str | Path) -> Model:
    """The model of a folder, or of its first file.

    Raises :class:`scaler.problems.InputError` holding every problem found, each with file, line,
    what was read, what was expected and what to do; nothing is guessed and nothing is left out.
    """
    gathered = gather(Path(path))
    entries = collect(gathered) if not _stopped(gathered) else Entries()
    problems = list(gathered.problems)
    if problems:  # what names something in a file that could not be read would only mislead
        problems += entries.problems
    elif not _stopped(gathered):
        model = _Reader(gathered, entries).model()
        problems += entries.problems
        if model is not None:
            more, model = crosscheck.crosscheck(model)
            problems += more
            errors = [p for p in problems if p.severity == "error"]
            if not errors:
                notes = in_order([*model.notes, *(p for p in problems if p.severity != "error")])
                return replace(model, notes=notes)
    raise InputError(in_order([p for p in problems if p.severity == "error"]))


def _stopped(gathered: Gathered) -> bool:
    """True where not even the first file could be read."""
    return not gathered.tomls


class _Reader:
    """One reading of one model; holds only what it reads and the problems it finds."""

    def __init__(self, gathered: Gathered, entries: Entries) -> None:
        self.gathered, self.entries = gathered, entries
        self.rules: dict[str, tuple[Method, ...]] = {}
        self.methods: dict[str, Method | GrammarError] = {}

    def model(self) -> Model | None:
        head = self.entries.model
        if head is None:
            if not self.entries.problems:
                first = self.gathered.tomls[0].source
                self.entries.problems.append(
                    Problem(
                        "no-model-table",
                        "no [model] table",
                        first.place(()),
                        expected="[model] with title and scale",
                        advice="scaler start DIR shows one",
                        excerpt=first.line(1),
                    )
                )
            return None
        scale, note = self.scale(head)
        drawings = {entry.name: self.drawing(entry) for entry in self.entries.drawings}
        self.rules = {name: self.rule(entry, name) for name, entry in self.entries.rules.items()}
        parts = {entry.name: self.part(entry, drawings) for entry in self.entries.parts}
        sizes = self.sizes(parts, drawings, scale)
        pairs = {entry.name: self.pair(entry) for entry in self.entries.pairs}
        conditions: dict[str, Condition] = {}
        for entry in self.entries.conditions:
            condition = self.condition(entry, head)
            if condition is not None:
                conditions[entry.name] = condition
        track = head.fields.get("track", {})
        choices = logs.choices(self.gathered.choices, sizes, self.entries.problems)
        readings = logs.readings(self.gathered.readings, sizes, parts, self.entries.problems)
        return Model(
            folder=self.gathered.folder,
            title=str(head.fields.get("title", self.gathered.folder.name)),
            scale=scale,
            governs=str(head.fields.get("governs", "ratio")),
            work_unit=head.fields.get("work", "mm"),
            track=str(track.get("standard", "")),
            track_gauge=str(track.get("gauge", "")),
            general_limits=str(head.fields.get("limits", "ISO 2768-m")),
            shop_only=bool(head.fields.get("shop_only", False)),
            drawings=drawings,
            parts=parts,
            sizes=sizes,
            pairs=pairs,
            conditions=conditions,
            shop=self.shop(),
            choices=choices,
            readings=readings,
            notes=tuple(note),
            sources=self.gathered.sources,
        )

    def read(
        self, entry: Entry, key: str, reader: Callable[[str], T], default: T, what: str = ""
    ) -> T:
        """A field through its reader; a problem with its place where that refuses it."""
        if key not in entry.fields:
            return default
        text = str(entry.fields[key])
        try:
            return reader(text)
        except READ_ERRORS as error:
            problem = getattr(error, "problem", str(error))
            start, end = getattr(error, "start", None), getattr(error, "end", None)
            self.entries.fail(
                entry,
                key,
                "cannot-read",
                f"{what or key} of {self.label(entry)}: {problem}",
                read=text,
                expected=getattr(error, "expected", ""),
                advice=getattr(error, "advice", ""),
                inner=(start, end) if isinstance(start, int) and isinstance(end, int) else None,
            )
            return default

    @staticmethod
    def label(entry: Entry) -> str:
        if entry.what == "size":
            return f"{entry.part}.{entry.name}"
        return "the model" if entry.what == "model" else f"{entry.what} {entry.name}"

    def scale(self, head: Entry) -> tuple[Scale, list[Problem]]:
        text = head.fields.get("scale")
        notes: list[Problem] = []
        if text is None:
            self.entries.fail(
                head,
                None,
                "no-scale",
                "the model states no scale",
                expected='scale = "1:8", "1 1/2 in : 1 ft" or { full = "3 ft", model = "5 in" }',
                advice="add the line under [model]",
            )
            return FULL_SIZE, notes
        if isinstance(text, dict):
            if not isinstance(text.get("full"), str) or not isinstance(text.get("model"), str):
                self.entries.fail(
                    head,
                    "scale",
                    "type",
                    "a scale by two gauges needs both",
                    read=str(text),
                    expected='{ full = "3 ft", model = "5 in" }',
                )
                return FULL_SIZE, notes
            full, model = text["full"], text["model"]
            scale = self.read(head, "scale", lambda _: scale_from_gauges(full, model), FULL_SIZE)
        else:
            scale = self.read(head, "scale", parse_scale, FULL_SIZE)
        return self.governed(head, scale, notes), notes

    def governed(self, head: Entry, scale: Scale, notes: list[Problem]) -> Scale:
        """The scale that governs where ratio and track gauge disagree; the difference is noted."""
        track, prototype = head.fields.get("track"), head.fields.get("prototype_gauge")
        if not isinstance(track, dict) or prototype is None:
            return scale
        gauge = str(track.get("gauge", ""))
        try:
            by_gauge = scale_from_gauges(str(prototype), gauge)
        except ScaleError as error:
            self.entries.fail(
                head,
                "prototype_gauge",
                "cannot-read",
                f"prototype gauge: {error.problem}",
                read=str(prototype),
                expected=error.expected,
                advice=error.advice,
            )
            return scale
        if by_gauge.ratio == scale.ratio:
            return scale
        governs = head.fields.get("governs", "ratio")
        off = (scale.ratio / by_gauge.ratio - 1) * 100
        notes.append(
            Problem(
                "gauge-and-ratio",
                f"the ratio {scale.read_as} and the track gauge ({by_gauge.read_as}) differ by "
                f"{float(off):+.3f} %; the {governs} governs, the track standard governs the wheels",
                head.place("scale"),
                severity="warning",
            )
        )
        return by_gauge if governs == "track" else scale

    def drawing(self, entry: Entry) -> Drawing:
        return Drawing(
            entry.name,
            str(entry.fields.get("title", "")),
            entry.fields.get("unit"),
            self.read(entry, "scale", parse_scale, None),
            str(entry.fields.get("issue", "")),
            entry.place(),
        )

    def part(self, entry: Entry, drawings: dict[str, Drawing]) -> Part:
        fields = entry.fields
        drawing = fields.get("drawing")
        if drawing is not None and drawing not in drawings:
            self.unknown(entry, "drawing", str(drawing), "drawing", drawings)
            drawing = None
        service = fields.get("service")
        return Part(
            entry.name,
            str(fields.get("title", "")),
            str(fields.get("material", "")),
            int(fields.get("count", max(1, len(fields.get("copies", ()))))),
            Service(service) if service else Service.UNSTATED,
            State(fields.get("state", "not made")),
            tuple(fields.get("copies", ())),
            drawing,
            entry.place(),
        )

    def unknown(
        self, entry: Entry, key: str, name: str, what: str, known: Any, expected: str = ""
    ) -> None:
        self.entries.fail(
            entry,
            key,
            f"unknown-{what}",
            f"there is no {what} '{shorten(name, 60)}'",
            read=name,
            expected=expected or f"a {what} of this model",
            advice=did_you_mean(name, known),
        )

    def method(self, entry: Entry, key: str, text: str) -> Method | None:
        found = self.methods.get(text)
        if found is None:
            try:
                found = parse_method(text, entry.place(key))
            except GrammarError as error:
                found = error
            self.methods[text] = found
        if isinstance(found, GrammarError):
            self.entries.fail(
                entry,
                key,
                "unknown-method" if "no known method" in found.problem else "rule",
                f"the rule of {self.label(entry)}: {found.problem}",
                read=text,
                expected=found.expected,
                advice=found.advice,
            )
            return None
        return replace(found, place=entry.place(key))

    def rule(self, entry: Entry, key: str) -> tuple[Method, ...]:
        texts = entry.fields[key]
        listed = texts if isinstance(texts, list) else str(texts).split(";")
        methods: list[Method] = []
        for text in (item.strip() for item in listed):
            if text in self.rules:
                methods += self.rules[text]
            elif text in self.entries.rules and entry.what != "rule":
                methods += self.rule(self.entries.rules[text], text)
            elif text:
                if " " not in text and "_" in text:
                    self.unknown(
                        entry,
                        key,
                        text,
                        "rule",
                        [*self.entries.rules, *method_names()],
                        "a rule of [rules] or a method",
                    )
                    continue
                method = self.method(entry, key, text)
                if method is not None:
                    methods.append(method)
        return tuple(methods)

    def sizes(
        self, parts: dict[str, Part], drawings: dict[str, Drawing], scale: Scale
    ) -> dict[str, Size]:
        sizes: dict[str, Size] = {}
        for entry in self.entries.sizes:
            if entry.part not in parts:
                self.unknown(entry, "part" if entry.line else None, entry.part, "part", parts)  # type: ignore[arg-type]
                continue
            identity = f"{entry.part}.{entry.name}"
            if identity in sizes:
                self.entries.fail(
                    entry,
                    None,
                    "double",
                    f"size '{identity}' stands twice; first at {sizes[identity].place}",
                    read=identity,
                    expected="each name once",
                    advice="rename one or take it out",
                )
                continue
            sizes[identity] = self.size(entry, identity, parts[entry.part], drawings, scale)
        return sizes

    def size(
        self,
        entry: Entry,
        identity: str,
        part: Part,
        drawings: dict[str, Drawing],
        scale: Scale,
    ) -> Size:
        fields = entry.fields
        kind = Kind(fields["kind"]) if "kind" in fields else kind_of(entry.name)
        drawing = self.sheet(entry, part, drawings)
        full, drawn_as, note = self.full(entry, kind, drawing)
        limits = self.read(entry, "limits", parse_limits, None)
        rule = self.rule(entry, "rule") if "rule" in fields else ()
        defined = "equals" in fields
        if "rule" not in fields and full is not None and not defined:
            rule = tuple(
                method
                for text in DEFAULT_RULES[kind]
                if (method := self.method(entry, "rule", text)) is not None
            )
        equals = self.read(entry, "equals", parse_expression, None)
        made = self.read(entry, "made", self.value_of(kind), None)
        return Size(
            id=identity,
            part=entry.part,
            name=entry.name,
            title=str(fields.get("title", "")),
            kind=kind,
            full=full,
            drawn=str(fields.get("full", "")),
            drawn_as=drawn_as,
            drawing=drawing.name if drawing else None,
            origin=str(fields.get("origin", "")) or self.origin(fields),
            uncertainty=self.read(entry, "uncertainty", lambda t: parse_length(t).mm, None),
            rule=rule,
            limits=limits,
            reach=self.read(entry, "reach", signed_length, None),
            weight=self.read(entry, "weight", _weight, Fraction(1)),
            standard=str(fields.get("standard", "")),
            equals=equals,
            equals_text=str(fields.get("equals", "")),
            between=self.read(entry, "between", parse_window, UNBOUNDED),
            datum=str(fields.get("datum", "")),
            state=self.state(fields, part, made),
            made=made,
            instrument=str(fields.get("instrument", "")),
            place=entry.place(),
            note=note or str(fields.get("note", "")),
        )

    @staticmethod
    def state(fields: dict[str, Any], part: Part, made: Fraction | None) -> State:
        if "state" in fields:
            return State(fields["state"])
        return State.MADE if made is not None and part.state is State.NOT_MADE else part.state

    @staticmethod
    def origin(fields: dict[str, Any]) -> str:
        if "uncertainty" in fields:
            return "scaled off a print"
        if "full" in fields:
            return "drawn"
        return "defined" if "equals" in fields else "not drawn"

    def sheet(self, entry: Entry, part: Part, drawings: dict[str, Drawing]) -> Drawing | None:
        name = entry.fields.get("drawing", part.drawing)
        if name is None:
            return next(iter(drawings.values())) if len(drawings) == 1 else None
        if name not in drawings:
            if "drawing" in entry.fields:
                self.unknown(entry, "drawing", str(name), "drawing", drawings)
            return None
        return drawings[str(name)]

    @staticmethod
    def value_of(kind: Kind) -> Callable[[str], Fraction]:
        """The reader of a model-side value of that kind (lengths need their unit)."""
        if kind in (Kind.COUNT, Kind.TEETH):
            return _count
        if kind is Kind.ANGLE:
            return parse_angle
        if kind is Kind.TAPER:
            return _taper
        return signed_length

    def full(
        self, entry: Entry, kind: Kind, sheet: Drawing | None
    ) -> tuple[Fraction | None, str, str]:
        """Prototype value, its normal form, and the way from an earlier model's sheet."""
        if "full" not in entry.fields:
            return None, "", ""
        what = "full size"
        if not kind.is_length:
            value = self.read(entry, "full", self.value_of(kind), None, what)
            return value, str(entry.fields["full"]), ""
        unit = sheet.unit if sheet else None
        length = self.read(entry, "full", lambda text: parse_length(text, unit), None, what)
        if length is None:
            return None, "", ""
        if length.mm == 0:
            self.entries.fail(
                entry,
                "full",
                "zero",
                f"full size of {self.label(entry)}: a size of nothing",
                read=str(entry.fields["full"]),
                expected="a length above zero",
                advice="leave the size out, or write what the drawing shows",
            )
            return None, "", ""
        if sheet is not None and sheet.scale is not None and sheet.scale.ratio != 1:
            full = length.mm / sheet.scale.ratio
            note = f"sheet {sheet.name} is drawn for {sheet.scale.read_as}"
            return full, length.normal, note
        return length.mm, length.normal, ""

    def pair(self, entry: Entry) -> Pair:
        fields = entry.fields
        nothing: Node = Number(Fraction(0))
        return Pair(
            id=entry.name,
            title=str(fields.get("title", "")),
            inner=self.read(entry, "inner", parse_expression, nothing),
            outer=self.read(entry, "outer", parse_expression, nothing),
            inner_text=str(fields.get("inner", "")),
            outer_text=str(fields.get("outer", "")),
            fit=replace(
                self.read(entry, "fit", parse_fit, Fit("", None, None)),
                source=str(fields.get("source", "")),
                trade_set=str(fields.get("set", "")),
            ),
            basis=self.basis(entry),
            why=str(fields.get("why", "")),
            must=_yes(fields.get("must", False)),
            place=entry.place(),
        )

    def basis(self, entry: Entry) -> Basis:
        unstated = Basis(BasisKind.BOTH_LIMITS, stated=False)
        return self.read(entry, "basis", parse_basis, unstated)

    def condition(self, entry: Entry, head: Entry) -> Condition | None:
        fields = entry.fields
        if ("keep" in fields) == ("of" in fields):
            self.entries.fail(
                entry,
                None,
                "condition",
                f"condition {entry.name} needs either 'keep', or 'of' with 'standard'",
                expected="keep = \"a - b >= '0.8 mm'\"",
                advice="write one of the two",
            )
            return None
        lower: Node | None = None
        upper: Node | None = None
        equality = False
        if "keep" in fields:
            comparison = self.read(entry, "keep", parse_comparison, None)
            if comparison is None:
                return None
            expression, lower, upper, equality = _window_of(comparison)
            text = comparison.text
        else:
            found = self.read(entry, "of", parse_expression, None)
            if found is None:
                return None
            expression, text = found, str(fields["of"])
            if "standard" not in fields:
                self.entries.fail(
                    entry,
                    "of",
                    "condition",
                    f"condition {entry.name} names no 'standard'",
                    expected="standard = one of its dimensions",
                    advice="or use keep",
                )
                return None
        if "within" in fields:
            slack = self.read(entry, "within", parse_window, UNBOUNDED)
            if not equality:
                self.entries.fail(
                    entry,
                    "within",
                    "condition",
                    "'within' goes with an equality only",
                    expected='keep = "a == b"',
                    advice="put the bounds into keep",
                )
            lower = _length_node(slack[0])
            upper = _length_node(slack[1])
        basis = self.basis(entry)
        if equality and not basis.stated and "within" not in fields:
            basis = Basis(BasisKind.BASIC_SIZE, stated=False)
        return Condition(
            id=entry.name,
            title=str(fields.get("title", "")),
            expression=expression,
            text=text,
            lower=lower,
            upper=upper,
            equality=equality,
            dimension="",
            basis=basis,
            why=str(fields.get("why", "")),
            source=f"standard: {fields['standard']}"
            if "standard" in fields
            else str(fields.get("source", "")),
            must=_yes(fields.get("must", False)),
            place=entry.place(),
        )

    def shop(self) -> tuple[ShopRow, ...]:
        rows: list[ShopRow] = []
        for table in self.gathered.shop_tables:
            rows += logs.shop_rows(table, self.entries.problems)
        return tuple(rows)


def _window_of(comparison: Comparison) -> tuple[Node, Node | None, Node | None, bool]:
    """Expression, lower, upper, equality of a comparison; a side without names is a bound."""
    from scaler.expressions import Add, Neg, names

    left, relation, right = comparison.left, comparison.relation, comparison.right
    if comparison.third is not None:
        second, last = comparison.third
        low, high = (left, last) if relation == "<=" else (last, left)
        del second
        return right, low, high, False
    if relation == "==":
        return Add((left, Neg(right))), None, None, True
    small, large = (left, right) if relation == "<=" else (right, left)
    if not names(small):
        return large, small, None, False
    if not names(large):
        return small, None, large, False
    return Add((large, Neg(small))), Number(Fraction(0)), None, False


def _length_node(value: Fraction | None) -> Node | None:
    from scaler.expressions import Length

    return None if value is None else Length(value)


def _weight(text: str) -> Fraction:
    value = parse_number(text)
    if value < 0:
        raise ValueError("a weight below zero")
    return value


def _count(text: str) -> Fraction:
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        raise GrammarError(text, "no whole number", "a count", "write 24")
    return Fraction(int(text))


def _taper(text: str) -> Fraction:
    one, colon, many = text.partition(":")
    try:
        value = Fraction(one.strip()) / Fraction(many.strip()) if colon else parse_number(text)
    except (ValueError, ZeroDivisionError):
        raise GrammarError(text, "no taper", "one in so many", "write 1:48") from None
    return value


def _yes(value: object) -> bool:
    return value is True or str(value).lower() in ("true", "yes")


def scale_word(scale: Scale) -> Literal["smaller", "larger", "same"]:
    """Which way a scale goes."""
    if scale.ratio == 1:
        return "same"
    return "smaller" if scale.ratio < 1 else "larger"
