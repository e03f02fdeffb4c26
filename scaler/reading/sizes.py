"""Sizes from their entries: kind, full size, rule, limits and what else is known of each."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any

from scaler.expressions import parse_expression
from scaler.measures.lengths import Length, parse_length
from scaler.reading.context import Context, label
from scaler.reading.defaults import DEFAULT_RULES, kind_of
from scaler.reading.entries import Entry
from scaler.reading.grammar import (
    parse_limits,
    parse_window,
    plain_number,
    signed_reader,
    value_reader,
    width_reader,
)
from scaler.records import Bounds, Drawing, Kind, Method, Part, Size, State

UNBOUNDED: Bounds = (None, None)
_VALUES = ("full", "made", "limits", "reach", "uncertainty", "between", "rule")


class SizeReader:
    """Reads the sizes of a model, parts and drawings being known."""

    def __init__(
        self, context: Context, parts: Mapping[str, Part], drawings: Mapping[str, Drawing]
    ) -> None:
        self.context, self.parts, self.drawings = context, parts, drawings
        self.entries: dict[str, Entry] = {}
        self.lengths: dict[tuple[str, str | None], Length] = {}

    def sizes(self) -> dict[str, Size]:
        """All sizes, each once; a size of no part or one that stands twice is reported."""
        sizes: dict[str, Size] = {}
        for entry in self.context.entries.sizes:
            part = self.parts.get(entry.part)
            if part is None:
                self.context.unknown(
                    entry, "part" if entry.table else None, entry.part, "part", self.parts
                )
                continue
            identity = f"{entry.part}.{entry.name}"
            if identity in sizes:
                self.context.entries.double(entry, self.entries[identity])
                continue
            self.entries[identity] = entry
            sizes[identity] = self.size(entry, identity, part)
        return sizes

    def size(self, entry: Entry, identity: str, part: Part) -> Size:
        """One size."""
        context, fields = self.context, entry.fields
        kind = Kind(fields["kind"]) if "kind" in fields else kind_of(entry.name)
        if "kind" in entry.wrong:  # what cannot be told apart is not read: the kind is at fault
            context.spoil(entry, "kind")
            fields = {key: value for key, value in fields.items() if key not in _VALUES}
        drawing = self.sheet(entry, part)
        full, drawn_as, note = (
            self.full(entry, kind, drawing) if "full" in fields else (None, "", "")
        )
        if "full" in entry.wrong:
            context.spoil(entry, "full")
        values = {
            key: context.read(entry, key, reader, None)
            for key, reader in (
                ("made", value_reader(kind)),
                ("reach", width_reader(kind)),
                ("uncertainty", width_reader(kind)),
            )
            if key in fields or key in entry.wrong
        }
        limits = between = None
        if "limits" in fields:
            signed = signed_reader(kind)
            limits = context.read(entry, "limits", lambda text: parse_limits(text, signed), None)
        if "between" in fields:
            signed = signed_reader(kind)
            between = context.read(entry, "between", lambda text: parse_window(text, signed), None)
        equals = None
        if "equals" in fields:
            equals = context.read(entry, "equals", parse_expression, None)
        weight = Fraction(1)
        if "weight" in fields:
            weight = context.read(entry, "weight", plain_number, weight)
        made = values.get("made")
        return Size(
            id=identity,
            part=entry.part,
            name=entry.name,
            title=fields.get("title", ""),
            kind=kind,
            full=full,
            drawn=str(fields.get("full", "")),
            drawn_as=drawn_as,
            drawing=drawing.name if drawing else None,
            origin=fields.get("origin", "") or _origin(fields),
            uncertainty=values.get("uncertainty"),
            rule=self.rule(entry, fields, kind, drawn=full is not None),
            limits=limits,
            reach=values.get("reach"),
            weight=weight,
            standard=fields.get("standard", ""),
            equals=equals,
            equals_text=fields.get("equals", ""),
            between=between or UNBOUNDED,
            datum=fields.get("datum", ""),
            state=_state(fields, part, made),
            made=made,
            instrument=fields.get("instrument", ""),
            place=entry.place(),
            note=note or fields.get("note", ""),
        )

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
            for text in DEFAULT_RULES[kind]
        )
        return tuple(method for method in found if method is not None)

    def sheet(self, entry: Entry, part: Part) -> Drawing | None:
        """The drawing that a size is read from: its own, its part's, or the only one."""
        name = entry.fields.get("drawing", part.drawing)
        if name is None:
            return next(iter(self.drawings.values())) if len(self.drawings) == 1 else None
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
        length = self.lengths.get((str(entry.fields["full"]), unit))
        if length is None:
            length = context.read(entry, "full", lambda text: parse_length(text, unit), None, what)
        if length is None:
            return None, "", ""
        self.lengths[str(entry.fields["full"]), unit] = length
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
