"""Pairs and conditions in one form: lower <= expression <= upper, on a basis."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field, replace
from fractions import Fraction

from scaler.checking.matching import bottleneck, off_by
from scaler.expressions import Add, EvaluationError, Length, Neg, Node, evaluate, names, rename
from scaler.problems import Place
from scaler.quick import record
from scaler.records import Basis, Condition, Model, Pair
from scaler.settling.settle import at_copy, own_name, without_copies
from scaler.settling.solve import Value, middle, value_of
from scaler.trade import iso286

ZERO = Fraction(0)
THOUSAND = Fraction(1000)
At = Mapping[str, str]
"""Which copy of each part is meant; under '' the copy for parts that are not named."""
NOWHERE: At = {}


@record
class Statement:
    """A pair or condition in one form: lower <= expression <= upper, on a basis.

    ``at`` says which copy of each part it is looked at for, where copies differ.
    """

    id: str
    what: str
    node: Node
    lower: Fraction | None
    upper: Fraction | None
    basis: Basis
    text: str
    inner: str
    outer: str
    title: str
    why: str
    source: str
    dimension: str
    place: Place
    must: bool
    at: At = field(default_factory=dict, hash=False)

    def copy_of(self, part: str) -> str:
        """The copy of a part that it is looked at for; '' where copies make no difference."""
        return self.at.get(part, "")

    @property
    def met(self) -> str:
        """Which copies meet, in words, where they have other names: ``piston left, cylinder no_2``."""
        if len(set(self.at.values())) < 2:
            return ""
        return ", ".join(f"{part} {copy}" for part, copy in self.at.items())

    @property
    def heading(self) -> str:
        """Its title (else its name), with the copies where they differ."""
        said = self.met or (self.id.partition("@")[2] if self.title else "")
        text = self.title or self.id
        return f"{text} ({said})" if said else text


def statements(
    model: Model, values: Mapping[str, Value], nominal: Mapping[str, Value] | None = None
) -> tuple[Statement, ...]:
    """All pairs and conditions as statements, in the order of the files.

    A pair that a made copy takes part in is looked at copy by copy (``name@left``), the copies not
    made yet too: those of like names together, unless the pair says who meets whom; where it leaves
    that open, or the names have nothing in common, as they fit best. The name is then the inner
    side's copy (the outer's, where one of the inner side meets several).

    Parameters: values : at the stage, with the readings; nominal : the sizes as planned, at which
        the window of a named fit is taken (it is the basic size's, not the reading's).
    """
    found: list[Statement] = []
    planned = values if nominal is None else nominal
    read = frozenset(name.partition("@")[0] for name in values if "@" in name)
    for pair in model.pairs.values():
        statement = _pair_statement(model, pair, planned)
        found += _by_copies(model, statement, values, read, pair)
    for condition in model.conditions.values():
        found += _by_copies(model, _condition_statement(model, condition), values, read)
    return tuple(found)


def statement_of(
    model: Model, what: str, identity: str, values: Mapping[str, Value]
) -> Statement | None:
    """One pair or condition as a statement at a stage without readings; None where there is none."""
    item = model.pairs.get(identity) if what == "pair" else model.conditions.get(identity)
    if isinstance(item, Pair):
        statement = _pair_statement(model, item, values)
    elif item is not None:
        statement = _condition_statement(model, item)
    else:
        return None
    return _by_copies(model, statement, values, frozenset())[0]


def _pair_statement(model: Model, pair: Pair, nominal: Mapping[str, Value]) -> Statement:
    lower, upper, source = pair.fit.lower, pair.fit.upper, pair.fit.source
    note = ""
    if pair.fit.iso or pair.fit.trade:
        lower, upper, source, note = _named_window(model, pair, nominal)
    return Statement(
        pair.id,
        "pair",
        Add((pair.outer, Neg(pair.inner))),
        lower,
        upper,
        pair.basis,
        f"{pair.inner_text} in {pair.outer_text}",
        pair.inner_text,
        pair.outer_text,
        pair.title,
        pair.why or note,
        source,
        "length",
        pair.place,
        pair.must,
    )


def _named_window(
    model: Model, pair: Pair, nominal: Mapping[str, Value]
) -> tuple[Fraction | None, Fraction | None, str, str]:
    """The window of an ISO pair or a trade class at the pair's basic size (the hole's)."""
    try:
        outer = without_copies(pair.outer, nominal)
        size = abs(middle(value_of(outer, nominal, model.ratio)))
    except (EvaluationError, KeyError):
        return None, None, "", "the fit's window is not known: no basic size"
    if pair.fit.iso:
        try:
            fit = iso286.fit(pair.fit.iso, size)
        except iso286.Iso286Error as error:
            return None, None, "", f"no window: {error}"
        low, high = fit.clearance_min_um / THOUSAND, fit.clearance_max_um / THOUSAND
        return low, high, fit.hole.source, ""
    from scaler.trade.trade_fits import UnknownFit, find_trade_fit

    try:
        trade = find_trade_fit(pair.fit.trade, size, pair.fit.trade_set or None)
    except UnknownFit as error:
        return None, None, "", f"no window: {error}"
    source = f"{trade.set}: {trade.source}"
    return trade.clearance_min_mm, trade.clearance_max_mm, source, trade.note


def _condition_statement(model: Model, item: Condition) -> Statement:
    def bound(node: Node | None) -> Fraction | None:
        if node is None or type(node) is Length:
            return None if node is None else node.mm
        return middle(evaluate(node, {}, model.ratio))

    lower, upper = bound(item.lower), bound(item.upper)
    if item.equality and lower is None and upper is None:
        lower = upper = ZERO
    return Statement(
        item.id,
        "condition",
        item.expression,
        lower,
        upper,
        item.basis,
        item.text,
        "",
        "",
        item.title,
        item.why,
        item.source,
        item.dimension,
        item.place,
        item.must,
    )


def _by_copies(
    model: Model,
    statement: Statement,
    values: Mapping[str, Value],
    read: frozenset[str],
    pair: Pair | None = None,
) -> list[Statement]:
    """The statement as it is, or once for each copy of the parts of which a copy is made.

    ``read`` are the sizes of which a copy has a value of its own.
    """
    basis = statement.basis
    last = own_name(values, basis.last)
    if last != basis.last:
        basis = replace(basis, last=last)
        statement = replace(statement, basis=basis)
    parts: dict[str, tuple[str, ...]] = {}
    copies: dict[str, None] = {}
    named = [model.sizes[n] for n in names(statement.node) if n in model.sizes] if read else []
    for size in named:
        known = model.parts[size.part].copies
        if known:
            parts[size.part] = known
        if size.id in read:
            copies |= dict.fromkeys(known)
    if not copies:
        node = without_copies(statement.node, values)
        return [statement if node is statement.node else replace(statement, node=node)]

    def at(copy: str, met: At) -> Statement:
        def own(name: str) -> str:
            return at_copy(values, met.get(name.partition(".")[0], ""), name)

        return replace(
            statement,
            id=f"{statement.id}@{copy}",
            node=rename(statement.node, own),
            basis=replace(basis, last=own(basis.last)),
            at=met,
        )

    meetings = None if pair is None else _meetings(model, pair, statement, values, parts)
    if meetings is None:  # copies of like names meet
        return [
            at(copy, {p: copy for p, known in parts.items() if copy in known}) for copy in copies
        ]
    found = [at(copy, met) for copy, met in meetings]
    meet = {(part, copy) for _, met in meetings for part, copy in met.items()}
    for part, known in parts.items():  # those that meet none: against the others as planned
        left = [copy for copy in known if copy in copies and (part, copy) not in meet]
        found += [at(copy, {part: copy}) for copy in left]
    return found


def _meetings(
    model: Model,
    pair: Pair,
    statement: Statement,
    values: Mapping[str, Value],
    parts: Mapping[str, tuple[str, ...]],
) -> list[tuple[str, At]] | None:
    """The copies that meet in a pair, each with its name; None where those of like names do."""
    inner, outer = (
        [p for p in parts if p in {model.sizes[n.partition("@")[0]].part for n in names(side)}]
        for side in (pair.inner, pair.outer)
    )
    if pair.meets:
        firsts = [one for one, _ in pair.meets]
        by_inner = len(set(firsts)) == len(firsts)
        return [
            (
                one if by_inner else other,
                {p: one for p in inner if one in parts[p]}
                | {p: other for p in outer if other in parts[p]},
            )
            for one, other in pair.meets
        ]
    if len(inner) != 1 or len(outer) != 1 or inner == outer:
        return None
    (one_part,), (other_part,) = inner, outer
    if not pair.best_match and set(parts[one_part]) & set(parts[other_part]):
        return None

    def off(one: str, other: str) -> Fraction:
        def own(name: str) -> str:
            part = name.partition(".")[0]
            copy = one if part == one_part else other if part == other_part else ""
            return at_copy(values, copy, name)

        value = value_of(rename(statement.node, own), values, model.ratio)
        return off_by(middle(value), (statement.lower, statement.upper))

    try:
        costs = {
            (one, other): off(one, other) for one in parts[one_part] for other in parts[other_part]
        }
    except (EvaluationError, KeyError):
        return None  # no figure to match them by
    return [(one, {one_part: one, other_part: other}) for one, other in bottleneck(costs).items()]
