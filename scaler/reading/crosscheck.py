"""What can only be seen once all records are there: names, dimensions, standards, bases."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction

from scaler.expressions import ANGLE, LENGTH, Dimension, Length, Node, names
from scaler.problems import listed, shorten, suggest
from scaler.reading.bases import fill_bases
from scaler.reading.context import Context
from scaler.reading.crosscheck_names import Names, a_, inside, is_nothing, span_of
from scaler.reading.crosscheck_rows import check_rows
from scaler.reading.crosscheck_sizes import Sizes
from scaler.reading.entries import Entry, Key
from scaler.records import Basis, BasisKind, Condition, Model, Pair
from scaler.trade.iso286 import Iso286Error, split_class


def crosscheck(model: Model, context: Context, sizes: Mapping[str, Entry]) -> Model:
    """The model with unstated bases and standards filled in; problems go to the context's entries.

    ``sizes`` are the entries of the sizes by ``part.size``; pairs and conditions have theirs in the
    context. Fields that have been reported before are left out.
    """
    found = Names(model, context, sizes)
    of_sizes = Sizes(found)
    of_sizes.standard()
    for size in model.sizes.values():
        of_sizes.size(size)
    model = check_rows(found)
    conditions = {**model.conditions, **of_sizes.standard_conditions()}
    statements = _Statements(found)
    for pair in model.pairs.values():
        statements.pair(pair)
    conditions = {name: statements.condition(item) for name, item in conditions.items()}
    model = replace(model, conditions=conditions)
    if any(problem.severity == "error" for problem in context.entries.problems):
        return model
    return fill_bases(model, context.entries)


class _Statements:
    """Checks of pairs and conditions."""

    def __init__(self, names_: Names) -> None:
        self.names, self.fail = names_, names_.fail
        self.context, self.entries = names_.context, names_.entries

    def pair(self, pair: Pair) -> None:
        """One pair: both sides, the fit and the basis."""
        what, entry = f"pair {pair.id}", self.entries.pairs[pair.id]
        inner = self.side(pair, entry, "inner", pair.inner, pair.inner_text)
        outer = self.side(pair, entry, "outer", pair.outer, pair.outer_text)
        if inner and outer:
            self.two_sides(pair, what, entry)
            self.last_in(pair.basis, {*names(pair.inner), *names(pair.outer)}, what, entry)
            self.copies_meet(pair, what, entry)
        if pair.fit.iso:
            self.iso_fit(pair, entry)
        if pair.fit.trade or pair.fit.trade_set:
            self.trade_fit(pair, entry)

    def side(self, pair: Pair, entry: Entry, key: str, node: Node, text: str) -> bool:
        """Whether one side of a pair names sizes that are there, and is a length."""
        what = f"pair {pair.id}"
        if self.context.is_spoilt("pair", pair.id, key):
            return False
        if not self.names.known(node, what, entry, key, text):
            return False
        found = self.names.measured(node, f"{what}, {key},", entry, key, text, LENGTH)
        return found is not None

    def two_sides(self, pair: Pair, what: str, entry: Entry) -> None:
        """A pair has a size on either side, and not the same one."""
        inner, outer = names(pair.inner), names(pair.outer)
        both = [name for name in outer if name in inner]
        if pair.inner == pair.outer or {pair.inner_text, pair.outer_text} & set(both):
            name = both[0] if both else pair.outer_text
            self.fail(
                entry,
                "outer",
                "same-size",
                f"{what} names {shorten(name, 60)} on both sides",
                "two features that mate",
                "name the shaft side in inner, the hole side in outer",
                inner=inside(pair.outer_text, name, -1),
            )
        elif not inner or not outer:
            self.fail(
                entry,
                "outer" if inner else "inner",
                "no-size",
                f"{what} names no size on its {'outer' if inner else 'inner'} side",
                "a size or a sum of sizes",
                "name it part.size",
            )

    def copies_meet(self, pair: Pair, what: str, entry: Entry) -> None:
        """Copies that are said to meet must be copies of the parts on their side, one with one or
        one with several."""
        if not pair.meets and not pair.best_match:
            return
        sides = []
        for node in (pair.inner, pair.outer):
            named = {name.partition(".")[0] for name in names(node) if "@" not in name}
            sides.append({p: self.names.model.parts[p].copies for p in sorted(named)})
        for number, side in enumerate(("inner", "outer")):
            known = [copy for copies in sides[number].values() for copy in copies]
            wrong = next((m[number] for m in pair.meets if m[number] not in known), None)
            if wrong is not None or not known:
                self.fail(
                    entry,
                    "meets",
                    "unknown-copy",
                    f"{what}: the {side} side has no "
                    + (f"copy '{shorten(wrong, 60)}'" if wrong is not None else "named copies"),
                    ", ".join(known) or f"named copies of {', '.join(sides[number])}",
                    suggest(wrong or "", known, "name the copies of the part: copies = […]"),
                )
                return
        both = [part for part in sides[0] if part in sides[1] and sides[0][part]]
        firsts, seconds = [m[0] for m in pair.meets], [m[1] for m in pair.meets]
        twice = len(set(firsts)) < len(firsts) and len(set(seconds)) < len(seconds)
        if both or twice or len(set(pair.meets)) < len(pair.meets):
            self.fail(
                entry,
                "meets",
                "meets",
                f"{what}: {both[0]} cannot be told to meet itself"
                if both
                else f"{what}: copies of both sides are named more than once",
                "two parts" if both else "each copy of one side named once",
                "leave meets out: copies of like names meet"
                if both
                else "name every copy of one of the sides once only",
            )

    def iso_fit(self, pair: Pair, entry: Entry) -> None:
        """Both classes of an ISO 286 fit must be classes of their side."""
        hole, shaft = pair.fit.iso.split("/")
        for text, side in ((hole, "hole"), (shaft, "shaft")):
            try:
                found = split_class(text)[2]
            except Iso286Error as error:
                problem, expected, advice = error.problem, error.expected, error.advice
            else:
                if found == side:
                    continue
                problem = f"{text} is no class for a {side}"
                expected, advice = ("a hole class in capitals, then a shaft class", "write H7/g6")
            written = str(entry.fields["fit"])
            self.fail(
                entry,
                "fit",
                "fit",
                f"fit of pair {pair.id}: {problem}",
                expected,
                advice,
                inner=inside(written, text, -1),
            )

    def trade_fit(self, pair: Pair, entry: Entry) -> None:
        """A fit of the trade must be in the catalogue, in the set named if one is."""
        from scaler.trade.trade_fits import UnknownFit, find_trade_fit, fit_sets

        sets = fit_sets()
        if pair.fit.trade_set and pair.fit.trade_set not in sets:
            self.fail(
                entry,
                "set",
                "unknown-set",
                f"pair {pair.id}: there is no set of fits '{shorten(pair.fit.trade_set, 60)}'",
                listed(sets),
                suggest(pair.fit.trade_set, sets, "write one of these"),
            )
            return
        if not pair.fit.trade:
            return
        try:
            find_trade_fit(pair.fit.trade, Fraction(10), pair.fit.trade_set or None)
        except UnknownFit as error:
            if error.beyond:
                return  # only 10 mm is outside its range; the check looks at the real diameter
            near = " or ".join(f"'{name}'" for name in error.nearest)
            self.fail(
                entry,
                "fit",
                "unknown-fit",
                f"fit of pair {pair.id}: {error.reason}",
                "an ISO 286 pair, a trade fit or a window",
                f"did you mean {near}?" if near else "write clearance 0.02 to 0.05 mm",
            )

    def condition(self, item: Condition) -> Condition:
        """One condition: its names, its dimension, its bounds and its basis."""
        entry = self.entries.conditions.get(item.id)
        if entry is None:
            return replace(item, dimension=LENGTH.describe())  # a size's bounds by a standard
        what, key = f"condition {item.id}", "keep" if "keep" in entry.fields else "of"
        text = item.text
        bounds = [bound for bound in (item.lower, item.upper) if bound is not None]
        known = [
            self.names.known(node, what, entry, key, text) for node in (item.expression, *bounds)
        ]
        if not all(known):
            return item
        wanted = LENGTH if key == "of" else None
        found = self.names.measured(item.expression, what, entry, key, text, wanted)
        if found is None:
            return item
        if not names(item.expression):
            self.fail(
                entry,
                key,
                "condition",
                f"{what} names no size at all"
                if not any(names(bound) for bound in bounds)
                else f"{what} has no size between its bounds",
                "a comparison of sizes",
                "name them part.size",
            )
        for bound in bounds:
            self.bound(bound, found, what, entry, key, text)
        if not self.context.is_spoilt("condition", item.id, "basis"):
            self.last_in(item.basis, set(names(item.expression)), what, entry)
        if found is LENGTH and item.dimension == "length":
            return item  # much the most usual
        return replace(item, dimension=found.describe())

    def bound(
        self, bound: Node, found: Dimension, what: str, entry: Entry, key: Key, text: str
    ) -> None:
        """A bound must be constant, and of the dimension of what it bounds."""
        if found is LENGTH and isinstance(bound, Length):
            return  # much the most usual
        inner = span_of(bound, text)
        if names(bound):
            self.fail(
                entry,
                key,
                "condition",
                f"{what}: a bound of a chain may not name sizes",
                "constant bounds at both ends",
                "write two conditions",
                inner=inner,
            )
            return
        other = self.names.measured(bound, what, entry, key, text)
        if other is not None and other != found and not is_nothing(bound):
            self.fail(
                entry,
                "within" if "within" in entry.fields else key,
                "dimension",
                f"{what} compares {a_(found.describe())} with {a_(other.describe())}",
                "two sides of one dimension",
                "an angle is quoted with its unit, '12 deg'"
                if found is ANGLE
                else "a length is quoted with its unit, '0.8 mm'",
                inner=inner,
            )

    def last_in(self, basis: Basis, named: Iterable[str], what: str, entry: Entry) -> None:
        """The size cut last must be one of the statement's own."""
        if basis.kind is BasisKind.LAST_CUT and basis.last not in named:
            own = sorted(named)
            self.fail(
                entry,
                "basis",
                "last-cut",
                f"{what}: its last cut {shorten(basis.last, 60)} is no size of it",
                listed(own),
                suggest(basis.last, own, "name one of its own sizes"),
                inner=inside(str(entry.fields.get("basis", "")), basis.last, -1),
            )
