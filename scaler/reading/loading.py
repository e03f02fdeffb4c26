"""A model folder into records: every field read exactly, every problem of every file in one go."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from scaler import catalogue, collection
from scaler.measures.scales import Scale, ScaleError, parse_scale, scale_from_gauges
from scaler.problems import InputError, in_order, listed, shorten, suggest
from scaler.reading import logs, options
from scaler.reading import statements as reading_statements
from scaler.reading.collecting import collect
from scaler.reading.context import Context, label
from scaler.reading.crosscheck import crosscheck
from scaler.reading.entries import Entry
from scaler.reading.files import Gathered, gather
from scaler.reading.grammar import GrammarError
from scaler.reading.readings_log import read_readings
from scaler.reading.sizes import SizeReader
from scaler.records import Drawing, Model, Part, Reading, Service, ShopRow, Size, State

FULL_SIZE = Scale(Fraction(1), "full size", "ratio", "1 : 1", "")
DEFAULT_LIMITS = "ISO 2768-m"


def load(path: str | Path) -> Model:
    """The model of a folder, or of its first file.

    Raises :class:`scaler.problems.InputError` holding every problem found, each with file, line,
    what was read, what was expected and what to do; nothing is guessed and nothing is left out.
    """
    with collection.put_off(no_cycles=True):
        return _load(Path(path))


def _load(path: Path) -> Model:
    gathered = gather(path)
    problems = list(gathered.problems)
    model: Model | None = None
    if gathered.tomls:
        context = Context(collect(gathered))
        reader = _Reader(gathered, context)
        model = reader.model()
        if context.entries.complete:  # else a name not found may stand in what could not be read
            model = replace(model, options=options.read(context, model))
            model = crosscheck(model, context, reader.size_entries)
        problems += context.entries.problems
    order = list(gathered.sources)
    errors = [problem for problem in problems if problem.severity == "error"]
    if errors or model is None:
        raise InputError(in_order(errors, order))
    return options.put_in_used(replace(model, notes=in_order(problems, order)))


class _Reader:
    """One reading of one model."""

    def __init__(self, gathered: Gathered, context: Context) -> None:
        self.gathered, self.context = gathered, context
        self.entries = context.entries
        self.size_entries: Mapping[str, Entry] = {}

    def model(self) -> Model:
        """The records of all entries; what cannot be read is reported and stands empty."""
        head = self.entries.model or self.no_model()
        fields = head.fields
        context, problems = self.context, self.entries.problems
        scale = self.governed(head, self.scale(head))
        drawings = {entry.name: self.drawing(entry) for entry in self.entries.drawings.values()}
        context.all_rules()
        parts = {entry.name: self.part(entry, drawings) for entry in self.entries.parts.values()}
        reader = SizeReader(context, parts, drawings)
        sizes = reader.sizes()
        self.size_entries = reader.entries
        pairs = {
            entry.name: reading_statements.pair(context, entry)
            for entry in self.entries.pairs.values()
        }
        conditions = {
            entry.name: found
            for entry in self.entries.conditions.values()
            if (found := reading_statements.condition(context, entry)) is not None
        }
        track = fields.get("track", {})
        return Model(
            folder=self.gathered.folder,
            title=fields.get("title", shorten(self.gathered.folder.resolve().name)),
            scale=scale,
            governs=fields.get("governs", "ratio"),
            work_unit=fields.get("work", "mm"),
            track=track.get("standard", ""),
            track_gauge=track.get("gauge", ""),
            general_limits=self.general_limits(head),
            shop_only=fields.get("shop_only", False),
            drawings=drawings,
            parts=parts,
            sizes=sizes,
            pairs=pairs,
            conditions=conditions,
            shop=self.shop(),
            choices=logs.choices(self.gathered.choices, sizes, parts, problems),
            readings=self.readings(sizes, parts),
            notes=(),
            overrules={
                name: (str(entry.fields[next(iter(entry.fields))]), entry.place())
                for name, entry in self.entries.overrules.items()
            },
            sources=self.gathered.sources,
        )

    def readings(
        self, sizes: dict[str, Size], parts: dict[str, Part]
    ) -> dict[tuple[str, str], Reading]:
        """The readings that stand; what cannot be used of the log is a note, the rest is kept."""
        log = self.gathered.readings
        if log is None:
            return {}
        found, problems = read_readings(log, sizes, parts)
        self.entries.problems += problems
        return found

    def no_model(self) -> Entry:
        """Reports that there is no [model], and stands in for it."""
        first = self.gathered.tomls[0]
        head = Entry("model", "model", {"scale": "1:1"}, first.source, ("model",))
        if "model" not in first.data:
            mark = first.source.mark_at(0, 0)
            self.entries.fail(
                head,
                None,
                "no-model-table",
                "the first file of a model has no [model] table",
                read="",
                expected="[model] with title and scale",
                advice="write [model] and scale = … first; scaler start DIR shows one",
                mark=replace(mark, span=None),
            )
        return head

    # ------------------------------------------------------------------------------- scale

    def scale(self, head: Entry) -> Scale:
        """The scale that the model states."""
        value = head.fields.get("scale")
        if value is None:
            return FULL_SIZE  # the check of the keys has reported it
        if not isinstance(value, dict):
            return self.context.read(head, "scale", parse_scale, FULL_SIZE)
        full, model = value["full"], value["model"]
        try:
            return scale_from_gauges(full, model)
        except ScaleError as error:
            side, found = _of_side(error, full, model)
            self.context.refused(head, ("scale", side), value[side], "scale", found)
            return FULL_SIZE

    def governed(self, head: Entry, scale: Scale) -> Scale:
        """The scale that governs where ratio and track gauge disagree; the difference is noted."""
        track, prototype = head.fields.get("track"), head.fields.get("prototype_gauge")
        if prototype is None:
            return scale
        gauge = _gauge(track) if track is not None else "1 mm"
        try:
            by_gauge = scale_from_gauges(prototype, gauge)
        except ScaleError as error:
            side, found = _of_side(error, prototype, gauge)
            if side == "full":  # an unknown track gauge is reported with its standard
                self.context.refused(head, "prototype_gauge", prototype, "prototype_gauge", found)
            return scale
        if track is None or by_gauge.ratio == scale.ratio or "scale" not in head.fields:
            return scale
        governs = head.fields.get("governs", "ratio")
        off = float((scale.ratio / by_gauge.ratio - 1) * 100)
        self.entries.fail(
            head,
            "scale",
            "gauge-and-ratio",
            f"the ratio {scale.read_as} and the gauges, {by_gauge.read_as}, differ by {off:+.3f} %; "
            f"the {governs} governs, and the track standard governs the wheels",
            expected="one of the two to govern",
            advice="nothing to do, as [model] says which governs"
            if "governs" in head.fields
            else 'write governs = "ratio" or governs = "track" under [model]',
            warning=True,
        )
        return by_gauge if governs == "track" else scale

    def general_limits(self, head: Entry) -> str:
        """The general tolerances for sizes that state none."""
        name = str(head.fields.get("limits", DEFAULT_LIMITS))
        rows = catalogue.table("general_limits").rows
        known = tuple(dict.fromkeys(row.text("class") for row in rows))
        if name not in known:
            self.entries.fail(
                head,
                "limits",
                "unknown-limits",
                f"there are no general tolerances '{shorten(name, 60)}'",
                expected=listed(known),
                advice=suggest(name, known, "write one of these"),
            )
        return name

    # ---------------------------------------------------------------------- drawings, parts

    def drawing(self, entry: Entry) -> Drawing:
        """One drawing."""
        return Drawing(
            entry.name,
            entry.fields.get("title", ""),
            entry.fields.get("unit"),
            self.context.read(entry, "scale", parse_scale, None),
            entry.fields.get("issue", ""),
            entry.place(),
        )

    def part(self, entry: Entry, drawings: Mapping[str, Drawing]) -> Part:
        """One part."""
        fields = entry.fields
        drawing = fields.get("drawing")
        if drawing is not None and drawing not in drawings:
            self.context.unknown(entry, "drawing", drawing, "drawing", drawings)
            drawing = None
        copies = tuple(fields.get("copies", ()))
        self.copies(entry, copies)
        return Part(
            entry.name,
            fields.get("title", ""),
            fields.get("material", ""),
            fields.get("count", max(1, len(copies))),
            Service(fields["service"]) if "service" in fields else Service.UNSTATED,
            State(fields.get("state", "not made")),
            copies,
            drawing,
            entry.place(),
        )

    def copies(self, entry: Entry, copies: tuple[str, ...]) -> None:
        """Checks the names of copies: each once, and as many as the part's count."""
        for number, name in enumerate(copies):
            if name in copies[:number]:
                self.entries.fail(
                    entry,
                    ("copies", number),
                    "double",
                    f"copy '{shorten(name, 60)}' of {label(entry)} stands twice",
                    expected="each name once",
                    advice="rename one or take it out",
                )
                return
        count = entry.fields.get("count", len(copies))
        if copies and count != len(copies):
            self.entries.fail(
                entry,
                "count",
                "copies",
                f"{label(entry)} has {len(copies)} named copies and a count of {count}",
                expected=f"count = {len(copies)}",
                advice="name every copy or none; the count may be left out where they are named",
            )

    def shop(self) -> tuple[ShopRow, ...]:
        """The rows of all shop lists."""
        rows: list[ShopRow] = []
        for table in self.gathered.shop_tables:
            rows += logs.shop_rows(table, self.entries.problems)
        return tuple(rows)


def _of_side(error: ScaleError, full: str, model: str) -> tuple[str, GrammarError]:
    """Which of two gauges an error is about, full or model, and the error in terms of its text.

    The scales' reader puts the two together as ``model on full gauge``.
    """
    before = len(model.strip()) + len(" on ")
    side, text, start = ("full", full, before) if error.start >= before else ("model", model, 0)
    span = (error.start - start, min(error.end - start, len(text)))
    whole = span[0] >= span[1]
    advice = error.advice.removesuffix(", or state the unit of the drawing")
    return side, GrammarError(text, error.problem, error.expected, advice, None if whole else span)


def _gauge(track: Mapping[str, Any]) -> str:
    """The track gauge of a standard as a length: as its table gives it, else as it is written."""
    for row in catalogue.table("wheel_standards").rows:
        if row.text("standard") == track["standard"] and row.text("track_gauge") == track["gauge"]:
            for unit in ("mm", "in"):
                if row.text(f"track_gauge_{unit}"):
                    return f"{row.text(f'track_gauge_{unit}')} {unit}"
    return str(track["gauge"])
