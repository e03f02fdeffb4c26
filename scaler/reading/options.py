"""Options: what the builder is willing to add, read from the model's files and put into a model.

An option adds a thickness to one size in some pairs and conditions (a shim, a packing ring), or
gives other sizes than the drawing does (another casting). It changes nothing until it is put in:
by a way out that uses it, or because the file says ``use``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from scaler.expressions import Add, Mul, Name, Node, Number, names, rename, text
from scaler.expressions.nodes import decimal_text
from scaler.measures.spoken import said_short
from scaler.problems import listed, shorten, suggest
from scaler.reading.context import Context
from scaler.reading.entries import Entry, Key
from scaler.reading.grammar import (
    GrammarError,
    parse_limits,
    parse_method,
    plain_number,
    signed_length,
    value_reader,
)
from scaler.reading.shapes import called
from scaler.records import (
    Condition,
    Kind,
    LimitSpec,
    Method,
    Model,
    Option,
    Pair,
    Part,
    Service,
    Size,
    State,
)
from scaler.settling.put_in import put_in as definitions_in
from scaler.settling.rows import Rows, method_row

ONE = Fraction(1)
THICKNESS = "thickness"


def read(context: Context, model: Model) -> dict[str, Option]:
    """The options of a model whose other records are read; problems go to the context's entries."""
    found = {}
    for entry in context.entries.options.values():
        option = _Reader(context, model, entry).option()
        if option is not None:
            found[entry.name] = option
    return found


class _Reader:
    """One option from its entry."""

    def __init__(self, context: Context, model: Model, entry: Entry) -> None:
        self.context, self.model, self.entry = context, model, entry
        self.fields = entry.fields

    def fail(
        self, key: Key, headline: str, expected: str, advice: str, code: str = "option"
    ) -> None:
        self.context.entries.fail(self.entry, key, code, headline, expected=expected, advice=advice)

    def option(self) -> Option | None:
        """The option; None where it is neither of the two sorts."""
        entry, fields, context = self.entry, self.fields, self.context
        thick, gives = "thickness" in fields, "gives" in fields
        if entry.wrong & {"thickness", "thickens", "in", "gives", "use"}:
            return None  # reported already
        if thick == gives:
            self.fail(
                None,
                f"option {entry.name} needs either 'thickness' with 'thickens', or 'gives'",
                'thickness = "shim" and thickens = "part.size", or gives.part.size = "41 mm"',
                "write one of the two",
            )
            return None
        if entry.name in self.model.parts:
            self.fail(
                None,
                f"option {entry.name} has the name of a part",
                "a name of its own",
                "rename the option",
            )
        limits = context.read(entry, "limits", parse_limits, None)
        price = context.read(entry, "price", plain_number, ONE)
        rule = self.rule() if thick else ()
        thickens = self.thickens() if thick else ""
        return Option(
            id=entry.name,
            title=fields.get("title", ""),
            price=price,
            rule=rule,
            thickens=thickens,
            within=self.within(thickens) if thickens else (),
            count=fields.get("count", 1),
            gives=self.gives() if gives else {},
            limits=limits,
            use=self.use(thick),
            why=fields.get("why", ""),
            place=entry.place(),
        )

    def rule(self) -> tuple[Method, ...]:
        """The thicknesses: lengths, and stock that is bought to a size."""
        value = self.fields["thickness"]
        items: list[tuple[Key, str]] = (
            [(("thickness", n), item) for n, item in enumerate(value)]
            if isinstance(value, list)
            else [("thickness", str(value))]
        )
        found = []
        for key, item in items:
            bare = item.strip()[:1].isdigit()
            said = f"given {item.strip()}" if bare else item
            try:
                method = parse_method(said, self.entry.place_of(key))
                if bare and (method.value is None or method.value <= 0):
                    raise GrammarError(item, "a thickness of nothing", "a length above zero")
            except GrammarError as error:
                self.context.refused(self.entry, key, item, "thickness", error)
                continue
            if method.way not in ("row", "given"):
                self.fail(
                    key,
                    f"thickness of option {self.entry.name}: '{shorten(item, 60)}' is nothing "
                    "that is bought to a size",
                    "lengths, or stock such as shim or plate",
                    'write thickness = ["0.1 mm", "0.2 mm"]',
                )
                continue
            found.append(method)
        if not items:
            self.fail(
                "thickness",
                f"option {self.entry.name} has no thickness",
                "lengths, or stock such as shim or plate",
                'write thickness = ["0.1 mm", "0.2 mm"]',
            )
        return tuple(found)

    def thickens(self) -> str:
        """The size that the thickness is added to; '' where it cannot be."""
        name = str(self.fields.get("thickens", ""))
        if not name:
            self.fail(
                None,
                f"option {self.entry.name} does not say what it thickens",
                'thickens = "part.size"',
                "name the size that the thickness is added to",
            )
            return ""
        return name if self.known_size("thickens", name) else ""

    def known_size(self, key: Key, name: str) -> bool:
        """Whether a length of the model has that name."""
        size = self.model.sizes.get(name)
        if size is None:
            self.context.unknown(
                self.entry,
                key,
                name,
                "size",
                self.model.sizes,
                expected="a size of this model, part.size",
                otherwise="name a size of this model, part.size",
            )
        elif not size.kind.is_length:
            self.fail(
                key,
                f"option {self.entry.name}: {name} is no length",
                "a length",
                "name a size that is a length",
            )
            return False
        return size is not None

    def within(self, thickens: str) -> tuple[str, ...]:
        """Keys of the statements in which the thickness counts."""
        naming = dict.fromkeys(
            [f"pair {p.id}" for p in self.model.pairs.values() if thickens in pair_names(p)]
            + [
                f"condition {c.id}"
                for c in self.model.conditions.values()
                if thickens in names(c.expression)
            ]
        )
        value = self.fields.get("in")
        if value is None:
            if not naming and self.context.entries.complete:
                self.fail(
                    "thickens",
                    f"option {self.entry.name}: no pair or condition names {thickens}",
                    "a size that a pair or condition names",
                    "name another size",
                )
            return tuple(naming)
        found: list[str] = []
        for number, name in enumerate(value if isinstance(value, list) else [value]):
            mine = [key for key in naming if key.partition(" ")[2] == name]
            found += mine
            lost = self.context.is_spoilt("condition", str(name), "keep")
            if not mine and not lost and self.context.entries.complete:
                known = [key.partition(" ")[2] for key in naming]
                self.fail(
                    ("in", number) if isinstance(value, list) else "in",
                    f"option {self.entry.name}: '{shorten(str(name), 60)}' is no pair or "
                    f"condition that names {thickens}",
                    listed(known) or "a pair or condition that names it",
                    suggest(str(name), known, "name one of these"),
                )
        return tuple(found)

    def gives(self) -> dict[str, Fraction]:
        """The sizes that another casting has."""
        found: dict[str, Fraction] = {}
        for part, sizes in self.fields["gives"].items():
            values = sizes if isinstance(sizes, dict) else {"": sizes}
            for name, value in values.items():
                key: Key = ("gives", part, name) if name else ("gives", part)
                if not name or not isinstance(value, str):
                    self.fail(
                        key,
                        f"gives of option {self.entry.name}: {listed([part, name] if name else [part])}"
                        f" cannot be {called(value)}",
                        'a length in quotes: gives.part.size = "41 mm"',
                        "name the part and the size, and put the length in quotes",
                        "type",
                    )
                    continue
                length = self.given(key, f"{part}.{name}", value)
                if length is not None:
                    found[f"{part}.{name}"] = length
        return found

    def given(self, key: Key, identity: str, text: str) -> Fraction | None:
        """One size that another casting has [mm]; None where it cannot be."""
        if not self.known_size(key, identity):
            return None
        size = self.model.sizes[identity]
        if size.full is None or size.equals is not None:
            self.fail(
                key,
                f"option {self.entry.name} gives {identity}, which is worked out from others",
                "sizes that are drawn",
                "give the sizes that it is worked out from",
            )
            return None
        try:
            return value_reader(size.kind)(text)
        except GrammarError as error:
            self.context.refused(self.entry, key, text, "gives", error)
            return None

    def use(self, thick: bool) -> Fraction | None:
        """What has been decided; None where nothing has."""
        value = self.fields.get("use")
        if value is None or value is False:
            return None
        if not thick and value is True:
            return Fraction(0)
        if thick and isinstance(value, str):
            found = self.context.read(self.entry, "use", signed_length, None)
            if found is None or found > 0:
                return found
        self.fail(
            "use",
            f"use of option {self.entry.name} cannot be {shorten(str(value).lower(), 60)}",
            "the thickness taken" if thick else "true or false",
            'write use = "0.2 mm"' if thick else "write use = true",
        )
        return None


def pair_names(pair: Pair) -> tuple[str, ...]:
    """The sizes that a pair names."""
    return (*names(pair.inner), *names(pair.outer))


# ------------------------------------------------------------------------------- putting in


def put_in_used(model: Model) -> Model:
    """The model with every option put in that its file says to use."""
    for option in model.options.values():
        if option.use is not None:
            model = used(model, option)
    return model


def used(model: Model, option: Option) -> Model:
    """The model with an option put in, as its ``use`` says."""
    assert option.use is not None
    known = replace(model, options={**model.options, option.id: option})
    return put_in(known, option, thickness_of(model, option, option.use))


def words(model: Model, option: Option) -> str:
    """What an option comes to, as its ``use`` says, in words."""
    assert option.use is not None
    said = f"use the option {option.id}" + (f" ({option.title})" if option.title else "")
    if not option.rule:
        given = ", ".join(f"{n} {said_short(v, model.units)}" for n, v in option.gives.items())
        return f"{said}: {given} (price {float(option.price):g})"
    known = thicknesses(model, option)
    stock = next((item.stock for item in known if item.value == option.use), "")
    thick = said_short(option.use, model.units) + (f", {stock}" if stock else "")
    often = f"{option.count} of " if option.count != 1 else ""
    return f"{said}: {often}{thick}, on {option.thickens} (price {float(option.price):g})"


def brought(option: Option) -> tuple[str, ...]:
    """The sizes that an option brings along, or to another figure."""
    return tuple(option.gives) if option.gives else (size_of(option),)


@dataclass(frozen=True, slots=True)
class Thickness:
    """A thickness to be had [mm]: the stock it is, '' for one of the builder's own, its limits."""

    value: Fraction
    stock: str
    limits: LimitSpec


def thicknesses(model: Model, option: Option) -> tuple[Thickness, ...]:
    """All thicknesses that an option may have, the thinnest first, each once."""
    rows = Rows(model)
    found: dict[Fraction, Thickness] = {}
    for method in option.rule:
        if method.value is not None:
            own = option.limits or method.limits or parse_limits(_measured())
            found.setdefault(method.value, Thickness(method.value, "", own))
            continue
        table = method_row(method.name)
        for row in rows.of(method):
            said = row.tolerance or (table.limits if table else "") or _measured()
            limits = option.limits or method.limits or parse_limits(said)
            found.setdefault(row.value, Thickness(row.value, row.designation, limits))
    return tuple(found[value] for value in sorted(found))


def _measured() -> str:
    """The limits of a thickness of which nothing is said: those of shims, which are measured."""
    table = method_row("shim")
    assert table is not None
    return table.limits


def thickness_of(model: Model, option: Option, value: Fraction) -> tuple[Method, ...]:
    """The rule of a thickness that is decided [mm]; nothing for a casting."""
    if not option.rule:
        return ()
    known = next((item for item in thicknesses(model, option) if item.value == value), None)
    limits = known.limits if known is not None else option.limits or parse_limits(_measured())
    return (given(option, value, limits),)


def given(option: Option, value: Fraction, limits: LimitSpec | None) -> Method:
    """A size that an option brings, as a rule has it."""
    method = parse_method("given 1 mm", option.place)
    return replace(method, text=f"given {length_text(value)}", value=value, limits=limits)


def length_text(value: Fraction) -> str:
    """A length as a model file says it, exactly."""
    return f"{decimal_text(value) or f'{value.numerator}/{value.denominator}'} mm"


def size_of(option: Option) -> str:
    """The id of the size that an option brings along."""
    return f"{option.id}.{THICKNESS}"


def put_in(model: Model, option: Option, rule: tuple[Method, ...]) -> Model:
    """The model with an option put in.

    Parameters: rule : what its thickness may be; empty for a casting, whose sizes are given.
    """
    if rule:
        return _thickened(model, option, rule)
    sizes = dict(model.sizes)
    readings, choices = dict(model.readings), dict(model.choices)
    for name, value in option.gives.items():
        if name not in sizes:  # a piece of a model has not all sizes of a casting
            continue
        method = given(option, value, option.limits)
        sizes[name] = replace(
            sizes[name], rule=(method,), made=None, state=State.NOT_MADE, limits=None, lock=None
        )
        choices.pop(name, None)
        readings = {key: item for key, item in readings.items() if key[0] != name}
    return replace(model, sizes=sizes, readings=readings, choices=choices)


def _thickened(model: Model, option: Option, rule: tuple[Method, ...]) -> Model:
    name = size_of(option)
    part = Part(
        option.id,
        option.title,
        "",
        option.count,
        Service.UNSTATED,
        State.NOT_MADE,
        (),
        None,
        option.place,
    )
    size = Size(
        id=name,
        part=option.id,
        name=THICKNESS,
        title=option.title,
        kind=Kind.EXTERNAL,
        full=None,
        drawn="",
        drawn_as="",
        drawing=None,
        origin="option",
        uncertainty=None,
        rule=rule,
        limits=None,
        reach=None,
        weight=ONE,
        standard="",
        equals=None,
        equals_text="",
        between=(None, None),
        datum="",
        state=State.NOT_MADE,
        made=None,
        instrument="",
        sheet_ratio=ONE,
        place=option.place,
    )
    own: Node = Name(name)
    if option.count != 1:
        own = Mul((Number(Fraction(option.count)), own))
    thick = Add((Name(option.thickens), own))
    pairs: dict[str, Pair] = dict(model.pairs)
    conditions: dict[str, Condition] = dict(model.conditions)
    for key in option.within:
        what, _, identity = key.partition(" ")
        if what == "pair" and identity in pairs:
            pair = pairs[identity]
            inner = swapped(pair.inner, option.thickens, thick)
            outer = swapped(pair.outer, option.thickens, thick)
            pairs[identity] = replace(
                pair, inner=inner, outer=outer, inner_text=text(inner), outer_text=text(outer)
            )
        elif what == "condition" and identity in conditions:
            item = conditions[identity]
            node = swapped(item.expression, option.thickens, thick)
            conditions[identity] = replace(
                item, expression=node, text=f"{item.text}, with {option.id}"
            )
    return replace(
        model,
        parts={**model.parts, option.id: part},
        sizes={**model.sizes, name: size},
        pairs=pairs,
        conditions=conditions,
    )


def swapped(node: Node, name: str, other: Node) -> Node:
    """The expression with another in place of one name."""
    hidden = f"{name}:plain"  # else the name inside the other would be replaced again
    plain: Mapping[str, Node] = {name: _renamed(other, name, hidden)}
    return _renamed(definitions_in(node, plain.get), hidden, name)


def _renamed(node: Node, old: str, new: str) -> Node:
    return rename(node, lambda found: new if found == old else found)
