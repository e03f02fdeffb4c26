"""Pairs and conditions in one form: lower <= expression <= upper, on a basis."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

from scaler.expressions import Add, EvaluationError, Length, Neg, Node, evaluate, names, rename
from scaler.problems import Place
from scaler.quick import record
from scaler.records import Basis, BasisKind, Condition, Model, Pair
from scaler.settling.settle import without_copies
from scaler.settling.solve import Value, middle, value_of
from scaler.trade import iso286

ZERO = Fraction(0)
THOUSAND = Fraction(1000)


@record
class Statement:
    """A pair or condition in one form: lower <= expression <= upper, on a basis."""

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

    @property
    def copy(self) -> str:
        """The copy that it is looked at for; '' where copies make no difference."""
        return self.id.partition("@")[2]


def statements(
    model: Model, values: Mapping[str, Value], nominal: Mapping[str, Value] | None = None
) -> tuple[Statement, ...]:
    """All pairs and conditions as statements, in the order of the files.

    A pair that a made copy takes part in is looked at copy by copy (``name@left``), the copies not
    made yet too.

    Parameters: values : at the stage, with the readings; nominal : the sizes as planned, at which
        the window of a named fit is taken (it is the basic size's, not the reading's).
    """
    found: list[Statement] = []
    planned = values if nominal is None else nominal
    read = frozenset(name.partition("@")[0] for name in values if "@" in name)
    for pair in model.pairs.values():
        statement = _pair_statement(model, pair, planned)
        found += _by_copies(model, statement, values, read)
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
    model: Model, statement: Statement, values: Mapping[str, Value], read: frozenset[str]
) -> list[Statement]:
    """The statement as it is, or once for each copy of the parts of which a copy is made.

    ``read`` are the sizes of which a copy has a value of its own.
    """
    basis = statement.basis
    if "@" in basis.last and basis.last not in values:
        statement = replace(statement, basis=replace(basis, last=basis.last.partition("@")[0]))
    copies: list[str] = []
    for name in names(statement.node):
        if name in read:
            known = model.parts[model.sizes[name].part].copies
            if any(f"{name}@{copy}" in values for copy in known):
                copies += [copy for copy in known if copy not in copies]
    if not copies:
        node = without_copies(statement.node, values)
        return [statement if node is statement.node else replace(statement, node=node)]

    def at(copy: str) -> Statement:
        def own(name: str) -> str:
            if "@" in name:  # a copy that the statement names itself
                return name if name in values else name.partition("@")[0]
            return f"{name}@{copy}" if f"{name}@{copy}" in values else name

        return replace(statement, id=f"{statement.id}@{copy}", node=rename(statement.node, own))

    return [at(copy) for copy in copies]


def limits_statement(
    name: str, node: Node, lower: Fraction, upper: Fraction, text: str, place: Place
) -> Statement:
    """A size's own stated limits [mm] as a statement on it."""
    basis = Basis(BasisKind.LAST_CUT, name)
    said = f"{name}:limits"
    return Statement(
        said, "size", node, lower, upper, basis, text, "", "", "", "", "", "length", place, False
    )
