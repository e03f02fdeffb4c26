"""Checks of sizes once all are there: definitions, rules, limits, and the track standard's bounds."""

from __future__ import annotations

from dataclasses import replace

from scaler.expressions import Length, Name, Node, names
from scaler.problems import listed, shorten, suggest
from scaler.reading.crosscheck_names import Names, a_, inside
from scaler.reading.entries import Entry, Key
from scaler.records import Basis, BasisKind, Condition, Method, Size, State
from scaler.settling.rows import method_row
from scaler.trade import standards
from scaler.trade.iso286 import Iso286Error, split_class


class Sizes:
    """Checks of sizes, and of the standard that bounds them."""

    def __init__(self, names_: Names) -> None:
        self.names, self.fail = names_, names_.fail
        self.model, self.context, self.entries = names_.model, names_.context, names_.entries
        self.size_entries = names_.size_entries
        self.standard_rows = standards.of_model(self.model)
        self._fine: set[tuple[int, int]] = set()

    # ---------------------------------------------------------------------------- standards

    def standard(self) -> None:
        """Checks the track standard and its gauge."""
        model, entry = self.model, self.entries.model
        if not model.track or entry is None:
            return
        known = standards.standards()
        if model.track not in known:
            self.fail(
                entry,
                ("track", "standard"),
                "unknown-standard",
                f"there is no track standard '{shorten(model.track, 60)}'",
                listed(known),
                suggest(model.track, known, "write one of these"),
            )
        elif not self.standard_rows:
            gauges = standards.gauges(model.track)
            self.fail(
                entry,
                ("track", "gauge"),
                "unknown-gauge",
                f"the standard {model.track} gives no gauge '{shorten(model.track_gauge, 60)}'",
                listed(gauges),
                suggest(model.track_gauge, gauges, "write one of these"),
            )

    def bounds(self, name: str, what: str, entry: Entry) -> standards.StandardRow | None:
        """The row of the track standard that bounds something; None where there is none."""
        rows, track = self.standard_rows, self.model.track
        if not track:
            if self.entries.model is None or "track" not in self.entries.model.wrong:
                self.fail(
                    entry,
                    "standard",
                    "no-track",
                    f"{what} is bounded by a standard, and the model names none",
                    'track = { standard = "…", gauge = "…" } under [model]',
                    "say under [model] whose track it runs on",
                )
            return None
        row = rows.get(name)
        if row is not None and (row.lower is not None or row.upper is not None):
            return row
        if not rows:
            return None  # an unknown standard is reported already
        bounding = [
            key for key, row in rows.items() if row.lower is not None or row.upper is not None
        ]
        says = "gives no bounds for" if row is not None else "gives no"
        self.fail(
            entry,
            "standard",
            "unknown-dimension",
            f"{what}: {track} {says} '{shorten(name, 60)}'",
            listed(bounding),
            suggest(name, [key for key in bounding if key != name], "write one of these"),
        )
        return None

    def standard_conditions(self) -> dict[str, Condition]:
        """A condition for each size that a track standard bounds, and bounds for those 'of' it."""
        found = {}
        for size in self.model.sizes.values():
            if size.standard and not self.context.is_spoilt("size", size.id, "kind"):
                row = self.bounds(size.standard, size.id, self.size_entries[size.id])
                if row is None:
                    continue
                if not size.kind.is_length:
                    self.fail(
                        self.size_entries[size.id],
                        "standard",
                        "dimension",
                        f"{size.id} is {a_(size.kind.value)} and a standard bounds lengths",
                        "a length",
                        "take the standard out, or state the size's kind",
                    )
                    continue
                name = f"{size.id}:standard"
                found[name] = _standard_condition(
                    name, Name(size.id), size.id, row, size, Basis(BasisKind.BASIC_SIZE)
                )
        for name, entry in self.entries.conditions.items():
            item = self.model.conditions.get(name)
            if item is None or "of" not in entry.fields:
                continue
            row = self.bounds(entry.fields["standard"], f"condition {name}", entry)
            if row is not None:
                bounded = _standard_condition(
                    name, item.expression, item.text, row, item, item.basis
                )
                found[name] = replace(bounded, title=item.title, why=item.why)
        return found

    # -------------------------------------------------------------------------------- sizes

    def size(self, size: Size) -> None:
        """One size: its definition, its rule, its limits, and what it came out at."""
        entry = self.size_entries[size.id]
        if size.equals is not None:
            wanted = self.names.dimension_of(size.id)
            what, text = f"the definition of {size.id}", size.equals_text
            if size.id in names(size.equals):
                self.fail(
                    entry,
                    "equals",
                    "self",
                    f"{size.id} is defined by itself",
                    "an expression of other sizes",
                    "take it out of its own definition",
                    inner=inside(text, size.id, -1),
                )
            elif self.names.known(size.equals, what, entry, "equals", text):
                self.names.measured(size.equals, what, entry, "equals", text, wanted)
        if self.context.spoilt and self.context.is_spoilt("size", size.id, "kind"):
            return
        alike = id(size.rule), id(size.kind)  # the same methods, for the same kind
        if size.rule and alike not in self._fine:
            before = len(self.entries.problems)
            for method in size.rule:
                self.method(size, method, entry)
            if len(self.entries.problems) == before and all(m.way != "follow" for m in size.rule):
                self._fine.add(alike)
        if size.limits is not None:
            self.limits(size, size.limits.text, size.limits.tolerance_class, entry, "limits")
        if (
            size.state is State.MADE
            and size.made is None
            and size.full is None
            and size.equals is None
            and size.id not in self.model.choices
            and not any(key[0] == size.id for key in self.model.readings)
            and not self.context.is_spoilt("size", size.id, "made", "full", "equals")
        ):
            self.fail(
                entry,
                "state",
                "made",
                f"{size.id} is made, and nothing says what size it came out",
                "made = …, or a reading",
                "measure it and write it down",
            )
        if size.instrument:
            self.instrument(size, entry)

    def method(self, size: Size, method: Method, entry: Entry) -> None:
        """One method of a size's rule: what it follows, the kinds it makes, its limits."""
        if method.argument is not None:
            key = rule_key(entry, method)
            what = f"the rule of {size.id}"
            written = method.text if isinstance(key, tuple) else str(entry.fields.get("rule", ""))
            if size.id in names(method.argument):
                headline = f"{size.id} follows itself"
                advice = "name the size that it is made to suit"
                self.fail(entry, key, "self", headline, "another size", advice)
            elif self.names.known(method.argument, what, entry, key, written):
                self.names.measured(
                    method.argument, what, entry, key, "", self.names.dimension_of(size.id)
                )
        row = method_row(method.name)
        if row is not None and size.kind not in row.kinds:
            self.fail(
                entry,
                rule_key(entry, method),
                "method-kind",
                f"{size.id} is {a_(size.kind.value)} size; '{method.name}' does not make that",
                f"a method for: {', '.join(row.kinds)}",
                "state the size's kind, or another method",
            )
        if method.limits is not None:
            key = rule_key(entry, method)
            self.limits(size, method.limits.text, method.limits.tolerance_class, entry, key)

    def limits(self, size: Size, text: str, tolerance_class: str, entry: Entry, key: Key) -> None:
        """An ISO 286 class must be one, and of the side that the size's kind is."""
        if not tolerance_class:
            return
        what = f"limits of {size.id}"
        try:
            side = split_class(tolerance_class)[2]
        except Iso286Error as error:
            self.fail(
                entry, key, "limits", f"{what}: {error.problem}", error.expected, error.advice
            )
            return
        if side != size.kind.iso_side:
            self.fail(
                entry,
                key,
                "limits",
                f"{what}: {text} is a class for a {side}, and this is {a_(size.kind.value)} size",
                "capitals for holes and slots, small letters for shafts and lengths",
                f"write {text.swapcase()} if that is meant",
            )

    def instrument(self, size: Size, entry: Entry) -> None:
        """Notes an instrument that the table does not have: its uncertainty is not known."""
        from scaler.settling.limits import instrument_names

        known = instrument_names()
        if size.instrument not in known:
            self.entries.fail(
                entry,
                "instrument",
                "unknown-instrument",
                f"{size.id}: there is no instrument '{shorten(size.instrument, 60)}' in the table; "
                "the usual one's uncertainty is taken",
                expected=listed(known),
                advice=suggest(size.instrument, known, "write one of these"),
                warning=True,
            )


def _standard_condition(
    name: str,
    node: Node,
    text: str,
    row: standards.StandardRow,
    about: Size | Condition,
    basis: Basis,
) -> Condition:
    return Condition(
        id=name,
        title=f"{row.dimension}, {row.designation}",
        expression=node,
        text=text,
        lower=None if row.lower is None else Length(row.lower),
        upper=None if row.upper is None else Length(row.upper),
        equality=False,
        dimension="",
        basis=basis if basis.stated else Basis(BasisKind.BASIC_SIZE, stated=False),
        why="a published standard of the track",
        source=f"{row.source}, {row.place}",
        must=True,
        place=about.place,
    )


def rule_key(entry: Entry, method: Method) -> Key:
    """Where in a size's entry a method stands: an item of its list, or its rule as a whole."""
    rule = entry.fields.get("rule")
    if isinstance(rule, list):
        for number, item in enumerate(rule):
            if " ".join(item.split()) == method.text:
                return ("rule", number)
    return "rule"
