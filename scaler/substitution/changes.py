"""Changes to a model that a way out may make: each an edit of the records, and its words."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

from scaler.expressions import Length, Node, Number, names
from scaler.reading.grammar import parse_method
from scaler.records import (
    Basis,
    BasisKind,
    Condition,
    Fit,
    Model,
    ShopRow,
    State,
)
from scaler.report import window_text
from scaler.settling.rows import Candidate, method_row
from scaler.settling.settle import Settlement
from scaler.substitution.compiled import Compiled, key_of

ROUND = Fraction(1, 200)
"""Fits are loosened by multiples of this [mm]."""
ROUND_REACH = Fraction(1, 20)
"""Reaches are widened to multiples of this [mm]."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change: what kind, what requirement it gives up, in words, and the edit itself."""

    kind: str
    about: tuple[str, ...]
    text: str
    gives_up: str
    edit: Callable[[Model], Model]
    lost: str = ""


def widen_reach(model: Model, name: str, away: Fraction) -> Change:
    """A size let further from scale than its reach."""
    size = model.sizes[name]
    reach = -(-abs(away) // ROUND_REACH) * ROUND_REACH

    def edit(old: Model) -> Model:
        rule = tuple(replace(method, reach=None) for method in old.sizes[name].rule)
        return with_size(old, name, reach=reach, rule=rule)

    return Change(
        "reach",
        (name,),
        f"let {name} depart up to {float(reach):g} mm from scale",
        f"the reach of {name} ({size.place})",
        edit,
    )


def recut(model: Model, name: str, text: str) -> Change:
    """A size cut to suit instead of used as its rule gives it."""
    size = model.sizes[name]
    method = parse_method(text, size.place)

    def edit(old: Model) -> Model:
        return with_size(old, name, rule=(*old.sizes[name].rule, method))

    rule = "; ".join(m.text for m in size.rule)
    return Change(
        "recut",
        (name,),
        f"cut {name} to suit: {text}, besides {rule}",
        f"the rule of {name} ({size.place})",
        edit,
    )


def buy(model: Model, name: str, family: str, row: Candidate) -> Change:
    """A row of the published catalogues that the shop does not have."""
    size = model.sizes[name]
    shop_row = ShopRow(family, row.designation, row.value, "bought for this model", size.place)

    def edit(old: Model) -> Model:
        return replace(old, shop=(*old.shop, shop_row))

    return Change(
        "row",
        (name,),
        f"get {row.designation} ({family}; {row.source}) for {name}",
        f"only what is on the shop list, for {name} ({size.place})",
        edit,
    )


def remake(model: Model, name: str) -> Change:
    """A made size given up and made again."""
    size = model.sizes[name]

    def edit(old: Model) -> Model:
        readings = {key: r for key, r in old.readings.items() if key[0] != name}
        choices = {key: c for key, c in old.choices.items() if key != name}
        fresh = replace(old, readings=readings, choices=choices)
        return with_size(fresh, name, made=None, state=State.NOT_MADE)

    return Change(
        "remake",
        (name,),
        f"make {size.part} again with {name} to suit",
        "",
        edit,
        lost=name,
    )


def loosen(model: Model, compiled: Compiled, key: str, low: Fraction, high: Fraction) -> Change:
    """A window opened, at its lower and upper end [mm]."""
    statement = compiled.statements[key]
    what, _, identity = key.partition(" ")
    identity = identity.partition("@")[0]
    low = -(-low // ROUND) * ROUND
    high = -(-high // ROUND) * ROUND
    lower = None if statement.lower is None else statement.lower - low
    upper = None if statement.upper is None else statement.upper + high
    unit = " mm" if statement.dimension == "length" else ""
    before = window_text((statement.lower, statement.upper))
    after = window_text((lower, upper))

    def edit(old: Model) -> Model:
        if what == "pair":
            pair = old.pairs[identity]
            text = f"clearance {after} mm"
            fit = Fit(text, lower, upper, source=f"loosened from {pair.fit.text}")
            return replace(old, pairs={**old.pairs, identity: replace(pair, fit=fit)})
        item = old.conditions[identity]
        changed = replace(item, lower=bound_node(item, lower), upper=bound_node(item, upper))
        return replace(old, conditions={**old.conditions, identity: changed})

    return Change(
        "looser fit",
        tuple(n.partition("@")[0] for n in names(statement.node)),
        f"let {what} {identity} be {after}{unit} instead of {before}{unit}",
        f"{what} {identity} as wanted ({statement.place})",
        edit,
    )


def bound_node(item: Condition, value: Fraction | None) -> Node | None:
    """A bound of a condition as a node of its dimension."""
    if value is None:
        return None
    return Length(value) if item.dimension == "length" else Number(value)


def rebase(model: Model, compiled: Compiled, key: str, basis: Basis) -> Change:
    """A pair or condition kept on another basis."""
    statement = compiled.statements[key]
    what, _, identity = key.partition(" ")
    identity = identity.partition("@")[0]

    def edit(old: Model) -> Model:
        if what == "pair":
            pair = replace(old.pairs[identity], basis=basis)
            return replace(old, pairs={**old.pairs, identity: pair})
        item = replace(old.conditions[identity], basis=basis)
        return replace(old, conditions={**old.conditions, identity: item})

    if basis.kind is BasisKind.LAST_CUT:
        text = f"cut {basis.last} last, to the measured others, for {what} {identity}"
    else:
        text = f"keep {what} {identity} at basic sizes only: what the limits do to it is then seen"
        text += " when it is measured"
    return Change(
        "basis",
        tuple(n.partition("@")[0] for n in names(statement.node)),
        text,
        f"the basis '{statement.basis}' of {what} {identity} ({statement.place})",
        edit,
    )


def with_size(model: Model, name: str, **fields: object) -> Model:
    """The model with other fields in one size."""
    size = replace(model.sizes[name], **fields)  # type: ignore[arg-type]
    return replace(model, sizes={**model.sizes, name: size})


def outside_rows(
    model: Model, compiled: Compiled, name: str, exact: Settlement
) -> list[tuple[str, Candidate, int]]:
    """Rows of the published catalogues for a size of a model that uses its shop list only:
    (family, row, place of the method in the rule)."""
    from scaler.settling.rows import Rows

    if not model.shop_only:
        return []
    open_model = replace(model, shop_only=False, shop=())
    rows = Rows(open_model)
    size = model.sizes[name]
    found = []
    for place, method in enumerate(size.rule):
        if method.way not in ("row", "thread"):
            continue
        table = method_row(method.name)
        for row in rows.of_size(size, method):
            found.append((table.family if table else method.name, row, place))
    return found


def last_cut_basis(model: Model, compiled: Compiled, key: str) -> Basis | None:
    """A basis by which one open size that is cut is cut last for a statement; None where none is
    free to be. A size that is already cut last for another statement, or to which others are cut,
    is left alone, so that no ring can come about."""
    statement = compiled.statements[key]
    lasts: set[str] = set()
    for other in compiled.statements.values():
        if other.basis.kind is BasisKind.LAST_CUT and key_of(other) != key:
            lasts |= {n.partition("@")[0] for n in names(other.node)}
    for name in names(statement.node):
        variable = compiled.variables.get(name)
        if variable is None or variable.fixed or variable.stepped or variable.solved:
            continue
        if name in lasts or not any(m.way == "cut" for m in variable.size.rule):
            continue
        return Basis(BasisKind.LAST_CUT, name)
    return None
