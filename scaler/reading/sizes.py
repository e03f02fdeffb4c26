"""Sizes from their entries: kind, full size, rule, limits and what else is known of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from operator import attrgetter
from typing import Any

from scaler.expressions import parse_expression
from scaler.measures.lengths import Length, parse_length
from scaler.reading.context import Context, label
from scaler.reading.defaults import kind_of, rule_of
from scaler.reading.drawn import is_bare, thread_length
from scaler.reading.entries import Entry
from scaler.reading.grammar import (
    parse_limits,
    parse_window,
    plain_number,
    signed_reader,
    value_reader,
    width_reader,
)
from scaler.reading.wishes import wishes_of
from scaler.records import Bounds, Drawing, Kind, Method, Part, Size, State, Wish

UNBOUNDED: Bounds = (None, None)
ONE = Fraction(1)
KINDS = {kind.value: kind for kind in Kind}
_USUAL = frozenset(
    ("full", "kind", "rule", "equals", "title", "drawing", "datum", "note", "origin")
)
"""Fields of which none needs a reader of its own kind of value."""
_ALIKE = attrgetter(
    "title", "kind", "full", "drawn", "drawn_as", "drawing", "origin", "uncertainty", "rule",
    "limits", "reach", "weight", "standard", "equals", "equals_text", "between", "datum", "state",
    "made", "instrument", "sheet_ratio",
)  # fmt: skip
"""What sizes with the same fields have in common, from the title to the place."""
_VALUES = ("full", "made", "limits", "reach", "uncertainty", "between", "rule")


class SizeReader:
    """Reads the sizes of a model, parts and drawings being known."""

    def __init__(
        self, context: Context, parts: Mapping[str, Part], drawings: Mapping[str, Drawing]
    ) -> None:
        self.context, self.parts, self.drawings = context, parts, drawings
        self.entries: dict[str, Entry] = {}
        self.lengths: dict[tuple[str, str | None, bool], Length] = {}
        self.bare: dict[str, list[Entry]] = {}
        self.only = next(iter(drawings.values())) if len(drawings) == 1 else None
        self.stated: dict[tuple[str, str], tuple[Wish, ...]] = {}
        self.alike: dict[tuple[str, int, str, str], Size] = {}
        self.alike_parts: dict[tuple[object, ...], int] = {}
        self.part_numbers: dict[str, int] = {}

    def sizes(self) -> dict[str, Size]:
        """All sizes, each once; a size of no part or one that stands twice is reported."""
        sizes: dict[str, Size] = {}
        for entry in self.context.entries.sizes:
            part = self.parts.get(entry.part)
            if part is None:
                self.context.unknown(
                    entry, "part" if entry.table else None, entry.part, "part", self.parts
                )
                self.context.entries.lost.add(("part", entry.part))  # said once
                continue
            identity = f"{entry.part}.{entry.name}"
            if identity in sizes:
                self.context.entries.double(entry, self.entries[identity])
                continue
            self.entries[identity] = entry
            sizes[identity] = self.like_another(entry, identity, part)
        for name, entries in self.bare.items():
            self.without_unit(self.drawings[name], entries)
        return sizes

    def without_unit(self, sheet: Drawing, entries: Sequence[Entry]) -> None:
        """Notes the bare numbers of a sheet that states no unit: once, at the sheet."""
        first = entries[0]
        more = f" and {len(entries) - 1} more" if len(entries) > 1 else ""
        self.context.entries.fail(
            self.context.entries.drawings[sheet.name],
            None,
            "no-unit",
            f"the sheet {sheet.name} states no unit, and these of its sizes are bare numbers: "
            f"{label(first)} ({first.place()}){more}",
            read=str(first.fields["full"]),
            expected='unit = "in" or unit = "mm" under the sheet, or the unit beside each number',
            advice=f'write unit = "in" (or "mm") under [drawing.{sheet.name}]',
        )

    def like_another(self, entry: Entry, identity: str, part: Part) -> Size:
        """One size, as one read before where its name, its fields and what its part states are the
        same; a size worked out from others, or with anything wrong in it, is always read."""
        fields = entry.fields
        if entry.wrong or "equals" in fields or not _USUAL.issuperset(fields):
            return self.size(entry, identity, part)
        try:
            key = (
                entry.name,
                self.part_number(part),
                "\0".join(fields),
                "\0".join(fields.values()),
            )
        except TypeError:  # a figure without quotes
            return self.size(entry, identity, part)
        known = self.alike.get(key)
        if known is not None:
            values: tuple[Any, ...] = (
                identity, entry.part, entry.name, *_ALIKE(known), entry.place(), known.note,
                known.prefer, known.forbid,
            )  # fmt: skip
            return Size(*values)
        troubles = self.troubles()
        size = self.size(entry, identity, part)
        if self.troubles() == troubles:
            self.alike[key] = size
        return size

    def troubles(self) -> tuple[int, int]:
        """How many problems have been found, and how many fields could not be read."""
        return len(self.context.entries.problems), len(self.context.spoilt)

    def part_number(self, part: Part) -> int:
        """A number that parts share which state the same of the sizes below them."""
        number = self.part_numbers.get(part.name)
        if number is None:
            stated = self.context.entries.parts[part.name]
            same = (
                part.drawing, part.state, "drawing" in stated.fields or "drawing" in stated.wrong,
                *(id(self.above(part.name, key)) for key in ("prefer", "forbid")),
            )  # fmt: skip
            number = self.alike_parts.setdefault(same, len(self.alike_parts))
            self.part_numbers[part.name] = number
        return number

    def size(self, entry: Entry, identity: str, part: Part) -> Size:
        """One size."""
        context, fields = self.context, entry.fields
        stated = fields.get("kind")
        kind = kind_of(entry.name) if stated is None else KINDS[stated]
        if entry.wrong:
            if "kind" in entry.wrong:  # what cannot be told apart is not read: the kind is at fault
                context.spoil(entry, "kind")
                fields = {key: value for key, value in fields.items() if key not in _VALUES}
            if "full" in entry.wrong:
                context.spoil(entry, "full")
        drawing = self.sheet(entry, part)
        full, drawn_as, note = (
            self.full(entry, kind, drawing) if "full" in fields else (None, "", "")
        )
        if entry.wrong or not _USUAL.issuperset(fields):
            values = self.values(entry, fields, kind)
        else:
            values = {}
        equals = None
        if "equals" in fields:
            equals = context.read(entry, "equals", parse_expression, None)
        made = values.get("made")
        text = fields.get
        return Size(
            identity,
            entry.part,
            entry.name,
            text("title", ""),
            kind,
            full,
            str(text("full", "")),
            drawn_as,
            drawing.name if drawing else None,
            text("origin", "") or _origin(fields),
            values.get("uncertainty"),
            self.rule(entry, fields, kind, drawn=full is not None),
            values.get("limits"),
            values.get("reach"),
            values.get("weight", ONE),
            text("standard", ""),
            equals,
            text("equals", ""),
            values.get("between") or UNBOUNDED,
            text("datum", ""),
            _state(fields, part, made),
            made,
            text("instrument", ""),
            drawing.scale.ratio if drawing is not None and drawing.scale is not None else ONE,
            entry.place(),
            note or text("note", ""),
            self.wishes(entry, "prefer"),
            self.wishes(entry, "forbid"),
            self.lock(entry) if "lock" in fields or entry.wrong else None,
        )

    def values(self, entry: Entry, fields: Mapping[str, Any], kind: Kind) -> dict[str, Any]:
        """What is stated of a size beside the usual: made, reach, uncertainty, limits, bounds,
        weight."""
        context = self.context
        values: dict[str, Any] = {
            key: context.read(entry, key, reader, None)
            for key, reader in (
                ("made", value_reader(kind)),
                ("reach", width_reader(kind)),
                ("uncertainty", width_reader(kind)),
            )
            if key in fields or key in entry.wrong
        }
        signed = signed_reader(kind)
        if "limits" in fields:
            values["limits"] = context.read(
                entry, "limits", lambda text: parse_limits(text, signed), None
            )
        if "between" in fields:
            values["between"] = context.read(
                entry, "between", lambda text: parse_window(text, signed), None
            )
        if "weight" in fields:
            values["weight"] = context.read(entry, "weight", plain_number, ONE)
        return values

    def wishes(self, entry: Entry, key: str) -> tuple[Wish, ...]:
        """What is preferred or forbidden for a size: by itself, else by its part, else the model."""
        if key in entry.fields:
            return wishes_of(self.context, entry, key)
        return self.above(entry.part, key)

    def above(self, part: str, key: str) -> tuple[Wish, ...]:
        """What a part, else the model, prefers or forbids for all sizes of the part."""
        above = self.stated.get((part, key))
        if above is None:
            entries = self.context.entries
            levels = (entries.parts.get(part), entries.model)
            found = next((level for level in levels if level and key in level.fields), None)
            above = () if found is None else self.of_level(found, key)
            self.stated[part, key] = above
        return above

    def of_level(self, level: Entry, key: str) -> tuple[Wish, ...]:
        """What a part or the model states for all below it, read once."""
        where = (f"{level.what} {level.name}", key)
        if where not in self.stated:
            self.stated[where] = wishes_of(self.context, level, key)
        return self.stated[where]

    def lock(self, entry: Entry) -> Wish | None:
        """What a size is locked to."""
        if "lock" in entry.wrong:
            self.context.spoil(entry, "lock")
        word = " ".join(str(entry.fields.get("lock", "")).split())
        return Wish(word, entry.place_of("lock")) if word else None

    def rule(
        self, entry: Entry, fields: Mapping[str, Any], kind: Kind, *, drawn: bool
    ) -> tuple[Method, ...]:
        """The size's own rule; else, for a drawn size that nothing defines, its kind's."""
        if "rule" in fields:
            return self.context.rule(entry, "rule", signed_reader(kind))
        if not drawn or "equals" in fields or "rule" in entry.wrong:
            return ()
        found = (
            self.context.method(entry, "rule", text, signed_reader(kind))
            for text in rule_of(kind, entry.name)
        )
        return tuple(method for method in found if method is not None)

    def sheet(self, entry: Entry, part: Part) -> Drawing | None:
        """The drawing that a size is read from: its own, its part's, or the only one."""
        name = entry.fields.get("drawing", part.drawing)
        if name is None:
            return self.only
        found = self.drawings.get(name)
        if found is None and "drawing" in entry.fields:
            self.context.unknown(entry, "drawing", name, "drawing", self.drawings)
        return found

    def full(
        self, entry: Entry, kind: Kind, sheet: Drawing | None
    ) -> tuple[Fraction | None, str, str]:
        """Prototype value, its normal form, and the way from an earlier model's sheet."""
        context, what = self.context, "full size"
        if not kind.is_length:
            value = context.read(entry, "full", value_reader(kind), None, what)
            return value, str(entry.fields["full"]), ""
        unit = sheet.unit if sheet else None
        if sheet is None and self.sheet_is_lost(entry):
            unit = "mm"  # the unit is unknown; what is wrong with the drawing is reported already
        key = str(entry.fields["full"]), unit, kind is Kind.THREAD
        length = self.lengths.get(key)
        if length is None:
            if sheet is not None and unit is None and is_bare(key[0]):
                self.bare.setdefault(sheet.name, []).append(entry)
                context.spoil(entry, "full")
                return None, "", ""
            read = thread_length if kind is Kind.THREAD else parse_length
            length = context.read(entry, "full", lambda text: read(text, unit), None, what)
            if length is None:
                return None, "", ""
            self.lengths[key] = length
        if length.mm == 0:
            context.entries.fail(
                entry,
                "full",
                "zero",
                f"full size of {label(entry)}: a size of nothing",
                expected="a length above zero",
                advice="leave the size out, or write what the drawing shows",
            )
            context.spoil(entry, "full")
            return None, "", ""
        if sheet is not None and sheet.scale is not None and sheet.scale.ratio != 1:
            note = f"sheet {sheet.name} is drawn for {sheet.scale.read_as}"
            return length.mm / sheet.scale.ratio, length.normal, note
        return length.mm, length.normal, ""

    def sheet_is_lost(self, entry: Entry) -> bool:
        """Whether a drawing is named, for the size or its part, that could not be read."""
        part = self.context.entries.parts.get(entry.part)
        return any(
            item is not None and ("drawing" in item.fields or "drawing" in item.wrong)
            for item in (entry, part)
        )


def _state(fields: Mapping[str, Any], part: Part, made: Fraction | None) -> State:
    if "state" in fields:
        return State(fields["state"])
    return State.MADE if made is not None and part.state is State.NOT_MADE else part.state


def _origin(fields: Mapping[str, Any]) -> str:
    if "uncertainty" in fields:
        return "scaled off a print"
    if "full" in fields:
        return "drawn"
    return "defined" if "equals" in fields else "not drawn"
