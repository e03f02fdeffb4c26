"""What can only be seen once all records are there: names, dimensions, bases, standards."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from scaler import standards
from scaler.expressions import (
    Dimension,
    DimensionError,
    ExpressionError,
    Length,
    Name,
    Node,
    dimension,
    names,
    parse_expression,
)
from scaler.graph import find_ring
from scaler.iso286 import Iso286Error, split_class
from scaler.problems import Place, Problem, did_you_mean, shorten
from scaler.records import (
    Basis,
    BasisKind,
    Condition,
    Kind,
    Model,
    Pair,
    Size,
    State,
)
from scaler.rows import method_row

LENGTH = parse_expression("'1 mm'")
NUMBER = parse_expression("1")
ANGLE = parse_expression("'1 deg'")


def crosscheck(model: Model) -> tuple[list[Problem], Model]:
    """All problems between records, and the model with its unstated bases filled in."""
    return _Cross(model).run()


class _Cross:
    def __init__(self, model: Model) -> None:
        self.model = model
        self.problems: list[Problem] = []
        nothing = lambda name: Dimension()
        self.length = dimension(LENGTH, nothing)
        self.number = dimension(NUMBER, nothing)
        self.angle = dimension(ANGLE, nothing)

    def run(self) -> tuple[list[Problem], Model]:
        self.standard()
        for size in self.model.sizes.values():
            self.size(size)
        conditions = dict(self.model.conditions)
        conditions.update(self.standard_conditions())
        pairs = {name: self.pair(pair) for name, pair in self.model.pairs.items()}
        conditions = {name: self.condition(item) for name, item in conditions.items()}
        self.model = replace(self.model, pairs=pairs, conditions=conditions)
        if not self.problems:
            self.model = self.bases()
        return self.problems, self.model

    def fail(
        self,
        code: str,
        headline: str,
        place: Place,
        read: str = "",
        expected: str = "",
        advice: str = "",
    ) -> None:
        source = self.model.sources.get(place.file)
        excerpt = source.line(place.line) if source else ""
        start = excerpt.find(read) if read else -1
        span = (start, start + len(read)) if start >= 0 else None
        self.problems.append(Problem(code, headline, place, read, expected, advice, excerpt, span))

    def dimension_of(self, name: str) -> Dimension:
        kind = self.model.sizes[name.partition("@")[0]].kind
        if kind.is_length:
            return self.length
        return self.angle if kind is Kind.ANGLE else self.number

    def known(self, node: Node, what: str, place: Place) -> bool:
        """Whether all sizes (and copies) that an expression names are there."""
        good = True
        for name in names(node):
            identity, _, copy = name.partition("@")
            if identity not in self.model.sizes:
                good = False
                part = identity.partition(".")[0]
                if part not in self.model.parts:
                    headline = f"{what} names '{shorten(name, 60)}': there is no part '{part}'"
                    advice = did_you_mean(part, self.model.parts)
                    if "there" in advice or not advice:
                        advice = did_you_mean(identity, self.model.sizes) or advice
                else:
                    headline = f"{what} names '{shorten(name, 60)}': there is no such size"
                    mine = [s for s in self.model.sizes if s.startswith(part + ".")]
                    advice = did_you_mean(identity, self.model.sizes) or "sizes of that part: " + (
                        ", ".join(mine[:8]) or "none"
                    )
                self.fail("unknown-size", headline, place, name, "a size of this model", advice)
            elif copy:
                copies = self.model.parts[identity.partition(".")[0]].copies
                if copy not in copies:
                    good = False
                    self.fail(
                        "unknown-copy",
                        f"{what}: {identity} has no copy '{copy}'",
                        place,
                        name,
                        ", ".join(copies) or "a part with copies",
                        did_you_mean(copy, copies),
                    )
        return good

    def measured(
        self, node: Node, what: str, place: Place, wanted: Dimension | None, text: str
    ) -> Dimension | None:
        """The dimension of an expression whose names are known; what does not fit is reported."""
        try:
            found = dimension(node, self.dimension_of)
        except DimensionError as error:
            self.fail(
                "dimension", f"{what}: {error.problem}", place, text, error.expected, error.advice
            )
            return None
        except ExpressionError as error:
            self.fail("dimension", f"{what}: {error.problem}", place, text)
            return None
        if wanted is not None and found != wanted and not self.fits_any(node):
            self.fail(
                "dimension",
                f"{what} is {_a(found.describe())} where {_a(wanted.describe())} is needed",
                place,
                text,
                _a(wanted.describe()),
                "a bare number is no length: quote it with its unit, '0.8 mm'",
            )
            return None
        return found

    @staticmethod
    def fits_any(node: Node) -> bool:
        return getattr(node, "value", None) == 0

    def standard(self) -> None:
        model = self.model
        if not model.track:
            return
        place = next(iter(model.sources.values())).place(("model", "track"))
        if model.track not in standards.standards():
            self.fail(
                "unknown-standard",
                f"there is no track standard '{shorten(model.track, 60)}'",
                place,
                model.track,
                ", ".join(standards.standards()),
                did_you_mean(model.track, standards.standards()),
            )
        elif not standards.of_model(model):
            known = standards.gauges(model.track)
            self.fail(
                "unknown-gauge",
                f"the standard {model.track} gives no gauge '{shorten(model.track_gauge, 60)}'",
                place,
                model.track_gauge,
                ", ".join(known),
                did_you_mean(model.track_gauge, known),
            )

    def bounds(self, name: str, what: str, place: Place) -> standards.StandardRow | None:
        rows = standards.of_model(self.model)
        if not self.model.track:
            self.fail(
                "no-track",
                f"{what} is bounded by a standard, and the model names none",
                place,
                name,
                'track = { standard = "…", gauge = "…" } under [model]',
                "say whose track it runs on",
            )
            return None
        if rows and name not in rows:
            self.fail(
                "unknown-dimension",
                f"{what}: {self.model.track} gives no '{shorten(name, 60)}'",
                place,
                name,
                ", ".join(rows),
                did_you_mean(name, rows),
            )
        return rows.get(name)

    def standard_conditions(self) -> dict[str, Condition]:
        """One condition for each size that a track standard bounds, and bounds for those 'of' it."""
        found = {}
        for size in self.model.sizes.values():
            if size.standard:
                row = self.bounds(size.standard, size.id, size.place)
                if row is not None:
                    name = f"{size.id}:standard"
                    found[name] = _standard_condition(
                        name, Name(size.id), size.id, row, size.place, Basis(BasisKind.BASIC_SIZE)
                    )
        for condition in self.model.conditions.values():
            if condition.source.startswith("standard: "):
                row = self.bounds(
                    condition.source[10:], f"condition {condition.id}", condition.place
                )
                if row is not None:
                    found[condition.id] = replace(
                        _standard_condition(
                            condition.id,
                            condition.expression,
                            condition.text,
                            row,
                            condition.place,
                            condition.basis,
                        ),
                        title=condition.title,
                        why=condition.why,
                        must=condition.must,
                    )
        return found

    def size(self, size: Size) -> None:
        place = size.place
        wanted = self.dimension_of(size.id)
        if size.equals is not None and self.known(
            size.equals, f"the definition of {size.id}", place
        ):
            self.measured(
                size.equals, f"the definition of {size.id}", place, wanted, size.equals_text
            )
            if size.id in names(size.equals):
                self.fail(
                    "self",
                    f"{size.id} is defined by itself",
                    place,
                    size.equals_text,
                    "an expression of other sizes",
                    "take it out of its own definition",
                )
        for method in size.rule:
            if method.argument is not None and self.known(
                method.argument, f"the rule of {size.id}", method.place
            ):
                self.measured(
                    method.argument, f"the rule of {size.id}", method.place, wanted, method.text
                )
            row = method_row(method.name)
            if row is not None and size.kind.value not in row.kinds:
                self.fail(
                    "method-kind",
                    f"{size.id} is {_a(size.kind.value)} size; '{method.name}' does not make that",
                    method.place,
                    method.name,
                    f"a method for: {', '.join(row.kinds)}",
                    "state the size's kind, or another method",
                )
        for spec in (size.limits, *(method.limits for method in size.rule)):
            if spec is not None and spec.tolerance_class:
                try:
                    _, _, side = split_class(spec.tolerance_class)
                except Iso286Error as error:
                    self.fail(
                        "limits",
                        f"limits of {size.id}: {error.problem}",
                        place,
                        spec.text,
                        error.expected,
                        error.advice,
                    )
                    continue
                if side != size.kind.iso_side:
                    self.fail(
                        "limits",
                        f"limits of {size.id}: {spec.text} is a class for a {side}, "
                        f"and this is {_a(size.kind.value)} size",
                        place,
                        spec.text,
                        "capitals for holes and slots, small letters for shafts and lengths",
                        f"write {spec.text.swapcase()} if that is meant",
                    )
        if (
            size.state is State.MADE
            and size.made is None
            and not size.limits
            and (
                (size.id, "") not in self.model.readings
                and not any(key[0] == size.id for key in self.model.readings)
                and size.id not in self.model.choices
                and size.full is None
            )
        ):
            self.fail(
                "made",
                f"{size.id} is made, and nothing says what size it came out",
                place,
                expected="made = …, or a reading",
                advice="measure it and write it down",
            )

    def pair(self, pair: Pair) -> Pair:
        what = f"pair {pair.id}"
        if not pair.inner_text or not pair.outer_text:
            return pair
        good = True
        for node, text in ((pair.inner, pair.inner_text), (pair.outer, pair.outer_text)):
            good &= self.known(node, what, pair.place)
            if good:
                good &= self.measured(node, what, pair.place, self.length, text) is not None
        if not good:
            return pair
        both = set(names(pair.inner)) & set(names(pair.outer))
        if pair.inner == pair.outer or both & {pair.inner_text, pair.outer_text}:
            name = min(both) if both else pair.inner_text
            self.fail(
                "same-size",
                f"{what} names {name} on both sides",
                pair.place,
                name,
                "two features that mate",
                "name the shaft side in inner, the hole side in outer",
            )
        if pair.fit.iso:
            self.iso_fit(pair)
        if pair.fit.trade:
            self.trade_fit(pair)
        self.last_in(pair.basis, {*names(pair.inner), *names(pair.outer)}, what, pair.place)
        return pair

    def iso_fit(self, pair: Pair) -> None:
        hole, shaft = pair.fit.iso.split("/")
        for text, side in ((hole, "hole"), (shaft, "shaft")):
            try:
                found = split_class(text)[2]
            except Iso286Error as error:
                self.fail(
                    "fit",
                    f"fit of pair {pair.id}: {error.problem}",
                    pair.place,
                    pair.fit.text,
                    error.expected,
                    error.advice,
                )
                continue
            if found != side:
                self.fail(
                    "fit",
                    f"fit of pair {pair.id}: {text} is no class for a {side}",
                    pair.place,
                    pair.fit.text,
                    "a hole class in capitals, then a shaft class",
                    "write H7/g6",
                )

    def trade_fit(self, pair: Pair) -> None:
        from scaler.trade_fits import UnknownFit, find_trade_fit

        try:
            find_trade_fit(pair.fit.trade, Fraction(10), pair.fit.trade_set or None)
        except UnknownFit as error:
            near = error.nearest
            if error.beyond:
                return  # only 10 mm is outside its range; the check looks at the real diameter
            self.fail(
                "unknown-fit",
                f"fit of pair {pair.id}: {error.reason}",
                pair.place,
                pair.fit.text,
                "an ISO 286 pair, a trade fit or a window",
                ("nearest known: " + ", ".join(near)) if near else "write 0.02 to 0.05 mm",
            )

    def condition(self, item: Condition) -> Condition:
        what = f"condition {item.id}"
        bounds = [bound for bound in (item.lower, item.upper) if bound is not None]
        known = [self.known(node, what, item.place) for node in (item.expression, *bounds)]
        if not all(known):
            return item
        found = self.measured(item.expression, what, item.place, None, item.text)
        if found is None:
            return item
        if item.equality and not names(item.expression):
            self.fail(
                "condition",
                f"{what} names no size at all",
                item.place,
                item.text,
                "a comparison of sizes",
                "name them part.size",
            )
        for bound in bounds:
            if names(bound):
                self.fail(
                    "condition",
                    f"{what}: a bound of a chain may not name sizes",
                    item.place,
                    item.text,
                    "constant bounds at both ends",
                    "write two conditions",
                )
                continue
            wanted = self.measured(bound, what, item.place, None, item.text)
            if wanted is not None and wanted != found and not self.fits_any(bound):
                self.fail(
                    "dimension",
                    f"{what} compares {_a(found.describe())} with {_a(wanted.describe())}",
                    item.place,
                    item.text,
                    "two sides of one dimension",
                    "a length is quoted with its unit, '0.8 mm'",
                )
        self.last_in(item.basis, set(names(item.expression)), what, item.place)
        return replace(item, dimension=found.describe())

    def last_in(self, basis: Basis, named: Iterable[str], what: str, place: Place) -> None:
        if basis.kind is BasisKind.LAST_CUT and basis.last not in named:
            listed = sorted(named)
            self.fail(
                "last-cut",
                f"{what}: its last cut {basis.last} is no size of it",
                place,
                basis.last,
                ", ".join(listed),
                did_you_mean(basis.last, listed),
            )

    def bases(self) -> Model:
        """Last cuts that form a ring are named; unstated bases of pairs are filled in."""
        edges: dict[str, list[str]] = {}
        places: dict[tuple[str, str], tuple[str, Place]] = {}

        def add(what: str, place: Place, last: str, others: Iterable[str]) -> None:
            for other in others:
                if other != last:
                    edges.setdefault(other, []).append(last)
                    places[other, last] = (what, place)

        for pair in self.model.pairs.values():
            if pair.basis.kind is BasisKind.LAST_CUT:
                add(
                    f"pair {pair.id}",
                    pair.place,
                    pair.basis.last,
                    (*names(pair.inner), *names(pair.outer)),
                )
        for item in self.model.conditions.values():
            if item.basis.kind is BasisKind.LAST_CUT:
                add(f"condition {item.id}", item.place, item.basis.last, names(item.expression))
        ring = find_ring(edges)
        if ring:
            steps = [places[one, other] for one, other in pairwise(ring)]
            listed = "; ".join(f"{what} ({place})" for what, place in dict.fromkeys(steps))
            self.fail(
                "last-cut-ring",
                "last cuts form a ring: " + " is cut before ".join(ring),
                steps[0][1],
                "",
                "an order in which each can be cut to sizes already made",
                f"state another basis for one of: {listed}",
            )
            return self.model
        pairs = {}
        for name, pair in self.model.pairs.items():
            if not pair.basis.stated:
                basis = self.default_basis(pair)
                if basis.kind is BasisKind.LAST_CUT:
                    others = {*names(pair.inner), *names(pair.outer)} - {basis.last}
                    if _reaches(edges, basis.last, others):  # it would close a ring
                        basis = Basis(BasisKind.BOTH_LIMITS, stated=False)
                    else:
                        add(name, pair.place, basis.last, others)
                pair = replace(pair, basis=basis)
            pairs[name] = pair
        return replace(self.model, pairs=pairs)

    def default_basis(self, pair: Pair) -> Basis:
        """Last cut where one side is cut to size and not yet made, the shaft side first."""
        for node in (pair.inner, pair.outer):
            if isinstance(node, Name) and "@" not in node.name:
                size = self.model.sizes[node.name]
                cut = bool(size.rule) and size.rule[0].way == "cut"
                open_ = size.state in (State.NOT_MADE, State.PART_MADE) and size.made is None
                if cut and open_ and (size.id, "") not in self.model.readings:
                    return Basis(BasisKind.LAST_CUT, size.id, stated=False)
        return Basis(BasisKind.BOTH_LIMITS, stated=False)


def _standard_condition(
    name: str,
    node: Node,
    text: str,
    row: standards.StandardRow,
    place: Place,
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
        place=place,
    )


def _reaches(edges: Mapping[str, list[str]], start: str, goals: set[str]) -> bool:
    seen, stack = {start}, [start]
    while stack:
        for item in edges.get(stack.pop(), ()):
            if item in goals:
                return True
            if item not in seen:
                seen.add(item)
                stack.append(item)
    return False


def _a(word: str) -> str:
    return f"an {word}" if word[:1] in "aeiou" else f"a {word}"
