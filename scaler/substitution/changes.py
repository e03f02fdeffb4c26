"""Changes to a model that a way out may make: each an edit of the records, and its words."""

from __future__ import annotations

from collections.abc import Callable, Container
from dataclasses import dataclass, replace
from fractions import Fraction

from scaler import catalogue
from scaler.checking.conflicts import window_of
from scaler.expressions import EvaluationError, Length, Node, Number, names
from scaler.measures.spoken import said_short, window_said
from scaler.reading import options, to_write
from scaler.reading.grammar import parse_method
from scaler.records import (
    Basis,
    BasisKind,
    Bounds,
    Condition,
    Fit,
    Method,
    Model,
    Option,
    Pair,
    ShopRow,
    Size,
    State,
)
from scaler.settling.rows import Candidate, method_row
from scaler.settling.settle import Settlement, without_copies
from scaler.settling.settled import exact_size, reach_of
from scaler.settling.solve import middle, value_of
from scaler.substitution.compiled import Compiled, key_of
from scaler.substitution.options import finishing

FINE = {"mm": "step 0.005 mm", "in": "step 0.0002 in"}
"""How finely a size is cut that is cut to suit others, in a workshop that works in these."""
ROUND = Fraction(1, 200)
"""The end of a window that is opened comes to a multiple of this [mm]."""
ROUND_END = Fraction(1, 1000)
"""An end that stays, and is finer than anyone would write it, comes to a multiple of this [mm]."""
ROUND_REACH = Fraction(1, 20)
"""Reaches are widened to multiples of this [mm]."""
THOU = Fraction(127, 5000)
ROUND_INCH, ROUND_END_INCH, ROUND_REACH_INCH = THOU / 5, THOU / 10, 2 * THOU
"""The same in a workshop that works in inches: 0.2 thou, 0.1 thou and 2 thou [mm]."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change: what kind, what requirement it gives up, in words, and the edit itself.

    ``lost`` names made sizes that are made again, ``price`` is what an option costs, ``write`` says
    what to write into the model for it, ``key`` is the statement that is loosened or kept on
    another basis, ``needs`` the window that is needed. ``otherwise`` holds changes to try in its
    place where it does not do.
    """

    kind: str
    about: tuple[str, ...]
    text: str
    gives_up: str
    edit: Callable[[Model], Model]
    lost: tuple[str, ...] = ()
    price: Fraction = Fraction(0)
    write: str = ""
    key: str = ""
    needs: Bounds = (None, None)
    otherwise: tuple[Change, ...] = ()


def widen_reach(model: Model, name: str, away: Fraction) -> Change:
    """A size let further from scale than its reach; never less far than it may be now."""
    size = model.sizes[name]
    step = ROUND_REACH_INCH if model.work_unit == "in" else ROUND_REACH
    exact = exact_size(size, model.ratio) or Fraction(0)
    now = max(reach_of(size, method, exact) for method in size.rule or (None,))
    reach = max(now, -(-abs(away) // step) * step)

    def edit(old: Model) -> Model:
        rule = tuple(replace(method, reach=None) for method in old.sizes[name].rule)
        return with_size(old, name, reach=reach, rule=rule)

    return Change(
        "reach",
        (name,),
        f"let {name} depart up to {said_short(reach, model.units)} from scale",
        f"the reach of {name} ({size.place})",
        edit,
        write=to_write.reach_line(size, reach, model.work_unit),
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
        write=to_write.rule_line(size, text),
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
        lost=(name,),
    )


def use_option(model: Model, option: Option, value: Fraction) -> Change:
    """An option put in: with a thickness [mm], or the sizes that it gives."""
    taken = replace(option, use=value)
    return Change(
        "option",
        tuple(option.gives) or (option.thickens,),
        options.words(model, taken),
        "",
        lambda old: options.used(old, taken),
        tuple(name for name in option.gives if is_made(model, name)),
        option.price,
        to_write.option_line(taken, model.work_unit),
    )


def is_made(model: Model, name: str) -> bool:
    """Whether a size is made and could be made again; one locked or bought is not."""
    size = model.sizes[name]
    made = (name, "") in model.readings or size.made is not None or size.state is State.MADE
    closed = size.lock is not None or size.state in (State.LOCKED, State.BOUGHT, State.SCRAPPED)
    return made and not closed


def catalogue_of(model: Model, name: str, method: Method) -> Change:
    """A size taken from another catalogue than its rule names."""
    size = model.sizes[name]

    def edit(old: Model) -> Model:
        return with_size(old, name, rule=(*old.sizes[name].rule, method))

    rule = "; ".join(m.text for m in size.rule)
    return Change(
        "catalogue",
        (name,),
        f"take {name} from another catalogue: {method.name}, besides {rule}",
        f"the rule of {name} ({size.place})",
        edit,
        write=to_write.rule_line(size, method.name),
    )


def other_catalogues(size: Size) -> list[Method]:
    """Methods that take a size of this kind from another catalogue than its rule names: of the same
    section (its diameter, thickness …), or another series of threads."""
    mine = [row for m in size.rule if (row := method_row(m.name)) is not None and row.tables]
    found: dict[str, Method] = {}
    for entry in catalogue.table("methods").rows:
        row = method_row(entry.text("designation"))
        if row is None or not row.tables or size.kind.value not in row.kinds:
            continue
        for own in mine:
            alike = row.column == own.column and (
                row.column != "across_flats" or bool(set(row.tables) & set(own.tables))
            )
            if (
                alike
                and row.name != own.name
                and (row.column == "major") == (own.column == "major")
            ):
                found.setdefault(row.name, parse_method(row.name, size.place))
    named = {m.name for m in size.rule}
    return [method for name, method in found.items() if name not in named]


def looser_classes(model: Model, compiled: Compiled, change: Change) -> list[Change]:
    """Named fits that a loosened one may be written as: of the set that it is in, or the preferred
    fits of ISO 286, those whose windows reach at least as far, the nearest first."""
    what, _, identity = change.key.partition(" ")
    identity = identity.partition("@")[0]
    pair = model.pairs.get(identity)
    if what != "pair" or pair is None or not (pair.fit.iso or pair.fit.trade):
        return []
    statement = compiled.statements[change.key]
    at = compiled.exact.values
    try:
        size = abs(middle(value_of(without_copies(pair.outer, at), at, model.ratio)))
    except (EvaluationError, KeyError):
        return []
    found = []
    for name, low, high in named_fits(pair.fit, size):
        lower, upper = change.needs
        lower_moved = lower is not None and lower < (statement.lower or lower)
        upper_moved = upper is not None and upper > (statement.upper or upper)
        if name == pair.fit.text or (lower is not None and lower_moved and low > lower):
            continue
        if upper is not None and upper_moved and high < upper:
            continue
        off = abs(low - (low if lower is None else lower))
        off += abs(high - (high if upper is None else upper))
        found.append((off, name, (low, high)))
    found.sort(key=lambda item: item[:2])
    return [class_change(model, pair, change, name, window) for _, name, window in found[:2]]


def named_fits(fit: Fit, size: Fraction) -> list[tuple[str, Fraction, Fraction]]:
    """Names and windows of the fits beside one, at a diameter [mm]."""
    if fit.iso:
        from scaler.trade import iso286

        try:
            near = iso286.nearest_fits(None, None, size, 99)
        except iso286.Iso286Error:
            return []
        return [
            (
                one.limits.designation,
                one.limits.clearance_min_um / Fraction(1000),
                one.limits.clearance_max_um / Fraction(1000),
            )
            for one in near
        ]
    from scaler.trade.trade_fits import UnknownFit, find_trade_fit, fit_names

    found = []
    try:
        own = find_trade_fit(fit.trade, size, fit.trade_set or None)
    except UnknownFit:
        return []
    for name in fit_names(own.set):
        try:
            one = find_trade_fit(name, size, own.set)
        except UnknownFit:
            continue
        found.append((one.name, one.clearance_min_mm, one.clearance_max_mm))
    return found


def class_change(
    model: Model, pair: Pair, change: Change, name: str, window: tuple[Fraction, Fraction]
) -> Change:
    """A pair let be of another named fit."""

    def edit(old: Model) -> Model:
        mine = old.pairs[pair.id]
        iso = name if pair.fit.iso else ""
        fit = replace(mine.fit, text=name, iso=iso, trade="" if iso else name)
        return replace(old, pairs={**old.pairs, pair.id: replace(mine, fit=fit)})

    return replace(
        change,
        text=f"let pair {pair.id} be {name} ({window_said(window, model.units)}) "
        f"instead of {pair.fit.text}",
        edit=edit,
        write=to_write.fit_line(pair, name),
    )


def loosen(model: Model, compiled: Compiled, key: str, low: Fraction, high: Fraction) -> Change:
    """A window opened, at its lower and upper end [mm], as a person would write it.

    An end that is opened goes out from what is needed to the next workable figure, one that stays
    comes in to it; where that does not do, it stays as it is.
    """
    statement = compiled.statements[key]
    needs = (
        None if statement.lower is None else statement.lower - low,
        None if statement.upper is None else statement.upper + high,
    )
    lower, upper = needs
    inches = model.work_unit == "in" and statement.dimension == "length"
    step, fine = (ROUND_INCH, ROUND_END_INCH) if inches else (ROUND, ROUND_END)
    if lower is not None and low:
        lower = lower // step * step
    if upper is not None and high:
        upper = -(-upper // step) * step
    inner = (
        lower if low or lower is None else -(-lower // fine) * fine,
        upper if high or upper is None else upper // fine * fine,
    )
    plain = opened(model, compiled, key, (lower, upper), needs)
    crossed = inner[0] is not None and inner[1] is not None and inner[0] > inner[1]
    if crossed or inner == (lower, upper):
        return plain
    return replace(opened(model, compiled, key, inner, needs), otherwise=(plain,))


def opened(model: Model, compiled: Compiled, key: str, window: Bounds, needs: Bounds) -> Change:
    """A pair or condition given another window."""
    statement = compiled.statements[key]
    what, _, identity = key.partition(" ")
    identity = identity.partition("@")[0]
    lower, upper = window
    before = window_of(statement, (statement.lower, statement.upper), model.units)
    after = window_of(statement, (lower, upper), model.units)
    written = to_write.window_line((lower, upper), model.work_unit)

    def edit(old: Model) -> Model:
        if what == "pair":
            pair = old.pairs[identity]
            fit = Fit(written, lower, upper, source=f"loosened from {pair.fit.text}")
            return replace(old, pairs={**old.pairs, identity: replace(pair, fit=fit)})
        item = old.conditions[identity]
        changed = replace(item, lower=bound_node(item, lower), upper=bound_node(item, upper))
        return replace(old, conditions={**old.conditions, identity: changed})

    return Change(
        "looser fit",
        tuple(n.partition("@")[0] for n in names(statement.node)),
        f"let {what} {identity} be {after} instead of {before}",
        f"{what} {identity} as wanted ({statement.place})",
        edit,
        key=key,
        needs=needs,
        write=to_write.fit_line(model.pairs[identity], written) if what == "pair" else "",
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

    stated = (model.pairs if what == "pair" else model.conditions)[identity]

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
        write=to_write.basis_line(what, stated, basis),
        key=key,
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


def other_bases(model: Model, compiled: Compiled, key: str, not_cut: Container[str]) -> Change:
    """A statement kept by a last cut (another one, where it is kept so already): of an open size
    that is cut, else of one that would be cut to suit; else, as after either where it does not do,
    at basic sizes only. A size that is cut last
    for another statement, or to which others are cut, is left alone, so that no ring comes about.
    """
    statement = compiled.statements[key]
    found: list[Change] = []
    if statement.basis.kind is not BasisKind.BASIC_SIZE:
        lasts = {statement.basis.last.partition("@")[0]}
        for other in compiled.statements.values():
            if other.basis.kind is BasisKind.LAST_CUT and key_of(other) != key:
                lasts |= {n.partition("@")[0] for n in names(other.node)}
        cut, uncut = [], []
        for name in names(statement.node):
            variable = compiled.variables.get(name)
            if variable is None or variable.fixed or variable.stepped or variable.solved:
                continue
            if name in lasts or name in not_cut or name not in model.sizes:
                continue
            if any(m.way == "cut" for m in variable.size.rule):
                cut.append(rebase(model, compiled, key, Basis(BasisKind.LAST_CUT, name)))
            elif (process := finishing(variable.size)) and not variable.size.standard:
                uncut.append(
                    cut_last(model, compiled, key, name, f"{process} {FINE[model.work_unit]}")
                )
        found = [*cut, *uncut]
    found.append(rebase(model, compiled, key, Basis(BasisKind.BASIC_SIZE)))
    return replace(found[0], otherwise=tuple(found[1:]))


def cut_last(model: Model, compiled: Compiled, key: str, name: str, text: str) -> Change:
    """A statement kept by the last cut of a size that its rule does not cut."""
    one = recut(model, name, text)
    other = rebase(model, compiled, key, Basis(BasisKind.LAST_CUT, name))
    what, _, identity = key.partition(" ")
    return replace(
        other,
        text=f"cut {name} to suit ({text}), last, to the measured others, for {what} {identity}",
        gives_up=f"{other.gives_up}, and {one.gives_up}",
        edit=lambda old: other.edit(one.edit(old)),
        write=f"{one.write}; {other.write}",
    )
