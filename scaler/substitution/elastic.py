"""The piece of a model that is in conflict, with every change that may be made behind a yes-or-no."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction

from scaler.expressions import EvaluationError, enclose, names
from scaler.expressions.intervals import Interval
from scaler.reading.grammar import parse_limits, parse_method
from scaler.reading.options import given, put_in, size_of, thicknesses
from scaler.records import Model, Option
from scaler.settling.settle import Settlement, reach_of, refused_parts
from scaler.substitution.changes import (
    FINE,
    Change,
    buy,
    catalogue_of,
    is_made,
    loosen,
    other_bases,
    other_catalogues,
    outside_rows,
    recut,
    remake,
    use_option,
    widen_reach,
)
from scaler.substitution.compile import compile_model
from scaler.substitution.compiled import Compiled, Variable, linked_sizes
from scaler.substitution.elastic_rows import (
    following_branches,
    forbidden_branches,
    lifter,
    together,
)
from scaler.substitution.forms import Row
from scaler.substitution.options import (
    ZERO,
    Branch,
    Options,
    Window,
    cuts,
    deviations,
    finishing,
)
from scaler.substitution.outcome import Picks
from scaler.substitution.programme import Programme

Maker = Callable[[Programme, list[float], Picks], Change]


@dataclass
class Elastic:
    """The piece of the model with everything that might be given up behind a yes-or-no.

    ``together`` holds, for an option that gives several sizes, the sizes that come with it.
    """

    compiled: Compiled
    caps: dict[str, Fraction] = field(default_factory=dict)
    lost: set[str] = field(default_factory=set)
    makers: dict[str, Maker] = field(default_factory=dict)
    prices: dict[str, Fraction] = field(default_factory=dict)
    together: dict[str, list[str]] = field(default_factory=dict)
    slacks: dict[str, tuple[str, ...]] = field(default_factory=dict)


def elastic_piece(
    exact: Settlement,
    options: Options,
    whole: Model,
    piece: Model,
    loose: frozenset[str] = frozenset(),
) -> Elastic:
    """Compiles a piece of a whole model with every change that may be made; ``loose`` sizes may be
    anything."""
    made = {size.id for size in piece.sizes.values() if size.rule and is_made(piece, size.id)}
    plain = compile_model(piece, exact, loose=loose)
    offered = [option for option in piece.options.values() if serves(piece, option)]
    given = {name for option in offered for name in option.gives if name in piece.sizes}
    with_options, values = thickened(piece, offered), dict(exact.values)
    for option in offered:
        if option.rule:
            values[size_of(option)] = ZERO
    compiled = compile_model(
        with_options,
        replace(exact, values=values),
        loose=loose,
        remade=frozenset(made | given),
    )
    elastic = Elastic(compiled)
    linked = linked_sizes(piece)
    thick = {size_of(option) for option in offered if option.rule}
    for name, variable in list(compiled.variables.items()):
        if variable.fixed or variable.solved or variable.stepped or ":" in name or "@" in name:
            continue
        if name in thick or name in loose:
            continue
        if name in made:
            give_again(elastic, plain, name, variable)
        elif name in given and plain.variables[name].fixed:
            variable.branches = [stays(plain, name, variable)]
        else:
            give_size(elastic, piece, options, exact, name, variable, name in linked)
    for option in offered:
        give_option(elastic, whole, piece, option)
    for key in dict.fromkeys(
        [r.statement for r in compiled.rows] + [c.statement for c in compiled.curves]
    ):
        give_statement(elastic, piece, key)
    for row in compiled.rows:
        if not (row.strict and not row.side):
            row.slack = slack_of(elastic, row)
    return elastic


def slack_of(elastic: Elastic, row: Row) -> tuple[str, ...]:
    """What might be given up to relax a row."""
    found = elastic.slacks.get(row.statement, ())
    return tuple(
        item for item in found if (row.side if item.startswith("basis ") else not row.strict)
    )


def give_statement(elastic: Elastic, piece: Model, key: str) -> None:
    """A pair or condition may be loosened, or kept on another basis."""
    statement = elastic.compiled.statements.get(key)
    if statement is None or statement.must or key.endswith(":standard"):
        return
    elastic.slacks[key] = (f"loosen {key}", f"basis {key}")
    elastic.caps[f"loosen {key}"] = loosening(statement.lower, statement.upper)
    elastic.caps[f"basis {key}"] = Fraction(100)
    for item in elastic.slacks[key]:
        elastic.makers[item] = statement_maker(piece, elastic.compiled, item, key)


# --- options


def serves(piece: Model, option: Option) -> bool:
    """Whether an option has a place in a piece: not yet put in, and about none of its parts that
    get no figure."""
    if option.use is not None:
        return False
    if option.rule:
        shut = {*refused_parts(piece), *refused_parts(thickened(piece, [option]))}
        if option.id in shut or option.thickens.partition(".")[0] in shut:
            return False
        stated = {f"pair {name}" for name in piece.pairs}
        stated |= {f"condition {name}" for name in piece.conditions}
        return bool(stated & set(option.within))
    return any(name in piece.sizes for name in option.gives)


def thickened(piece: Model, offered: Iterable[Option]) -> Model:
    """A piece with options that add a thickness put in, of nothing or any that is to be had."""
    for option in offered:
        if option.rule:
            sizes = thicknesses(piece, option)
            nothing = given(option, ZERO, parse_limits("±0"))
            rule = (nothing, *(given(option, item.value, item.limits) for item in sizes))
            piece = put_in(piece, option, rule)
    return piece


def give_option(elastic: Elastic, whole: Model, piece: Model, option: Option) -> None:
    """An option behind a yes-or-no: its thickness, or all the sizes that it gives together."""
    item = f"option {option.id}"
    elastic.prices[item] = option.price
    variables = elastic.compiled.variables
    if option.rule:
        name = size_of(option)
        for branch in variables[name].branches:
            if branch.base:
                branch.items = (item,)

        def make(programme: Programme, values: list[float], picks: Picks) -> Change:
            place, k = picks[name]
            return use_option(whole, option, variables[name].branches[place].value(k))

        elastic.makers[item] = make
        return
    for name, value in option.gives.items():
        variable = variables.get(name)
        if name not in piece.sizes or variable is None or variable.stepped or variable.solved:
            continue
        unit = ZERO
        if variable.exact is not None and variable.size.weight:
            unit = variable.size.weight / reach_of(variable.size, None, variable.exact)
        method = given(option, value, option.limits)
        branch = Branch(method, value, ZERO, 0, 0, unit, (0, 0, 0), items=(item,))
        branch.deviations = deviations(piece, replace(variable.size, limits=None), branch)
        variable.branches.append(branch)
        elastic.together.setdefault(item, []).append(name)
    if any(is_made(whole, name) for name in option.gives):
        elastic.lost.add(item)
    elastic.makers[item] = lambda programme, values, picks: use_option(whole, option, ZERO)


# --- statements and sizes


def loosening(lower: Fraction | None, upper: Fraction | None) -> Fraction:
    """By how much a window may be opened at either end: twice its width, at least 0.2."""
    if lower is not None and upper is not None:
        return max(Fraction(1, 5), 2 * (upper - lower))
    bound = lower if lower is not None else upper
    return max(Fraction(1, 5), abs(bound or ZERO))


def statement_maker(piece: Model, compiled: Compiled, item: str, key: str) -> Maker:
    """The change that gives up the window or the basis of a statement."""

    def make(programme: Programme, values: list[float], picks: Picks) -> Change:
        if item.startswith("basis "):
            return other_bases(piece, compiled, key, not_cut(compiled, picks))
        short = outside(compiled, key, picks)
        ends: list[Fraction] = []
        for end in ("low", "high"):
            column = programme.slacks.get(f"{item} {end}")
            moved = ZERO if column is None else Fraction(round(values[column] * 10**6), 10**6)
            ends.append(max(moved if short is None else short[len(ends)], ZERO))
        return loosen(piece, compiled, key, ends[0], ends[1])

    return make


def not_cut(compiled: Compiled, picks: Picks) -> set[str]:
    """Sizes that are not cut with these picks: as they are, or as an option gives them."""
    found = set()
    for name, (place, _) in picks.items():
        branch = compiled.variables[name].branches[place]
        if branch.stays or any(item.startswith("option ") for item in branch.items):
            found.add(name)
    return found


def outside(compiled: Compiled, key: str, picks: Picks) -> tuple[Fraction, Fraction] | None:
    """By how much a curve lies below and above its window with these picks, on its basis; None for
    a statement that is a line, or where that cannot be told."""
    curves = [curve for curve in compiled.curves if curve.statement == key]
    low = high = ZERO
    for curve in curves:
        at: dict[str, Interval] = {}
        for name in names(curve.node):
            variable = compiled.variables[name]
            place, k = picks.get(name, (0, variable.branches[0].low))
            branch = variable.branches[place]
            down, up = compiled.deviation(name, branch) if curve.worst else (ZERO, ZERO)
            at[name] = Interval(branch.value(k) + min(down, ZERO), branch.value(k) + max(up, ZERO))
        try:
            found = enclose(curve.node, at, compiled.model.ratio)
        except EvaluationError:
            return None
        if curve.lower is not None:
            low = max(low, curve.lower - found.lower)
        if curve.upper is not None:
            high = max(high, found.upper - curve.upper)
    return (low, high) if curves else None


def stays(plain: Compiled, name: str, variable: Variable) -> Branch:
    """A size that is no longer open, as it is."""
    kept = replace(plain.variables[name].branches[0], stays=True)
    if variable.exact is not None and variable.size.weight:
        kept.unit = variable.size.weight / reach_of(variable.size, None, variable.exact)
    return kept


def give_again(elastic: Elastic, plain: Compiled, name: str, variable: Variable) -> None:
    """A made size may stay as it is, or be made again by its rule."""
    item = f"remake {name}"
    for branch in variable.branches:
        branch.items = (item,)
        branch.covered = False
    variable.branches.insert(0, stays(plain, name, variable))
    elastic.lost.add(item)
    model = elastic.compiled.model
    elastic.makers[item] = lambda programme, values, picks: remake(model, name)


def give_size(
    elastic: Elastic,
    piece: Model,
    options: Options,
    exact: Settlement,
    name: str,
    variable: Variable,
    linked: bool,
) -> None:
    """A size may be cut to suit, go beyond its reach, or take a row the shop does not have."""
    size = variable.size
    at = variable.exact if variable.exact is not None else variable.at
    if not size.rule or not size.kind.is_length:
        return
    model = piece
    reach = reach_of(size, size.rule[0], at)
    unit = size.weight / reach if variable.exact is not None and size.weight else ZERO
    far = Fraction(3) * reach
    wide = Window(max(at - far, Fraction(1, 10**6)) if at > 0 else at - far, at + far)
    near = Window(max(at - reach, Fraction(1, 10**6)) if at > 0 else at - reach, at + reach)
    added: list[Branch] = []
    beyond, cut, row_item = f"reach {name}", f"recut {name}", f"row {name}"
    if not size.standard:
        inside = {(b.method.text, b.row.key) for b in variable.branches if b.row is not None}
        for place, method in enumerate(size.rule):
            order = (2 * place, 0, 0)
            if method.way in ("row", "thread"):
                for row in options.between(size, method, wide.low, wide.high, linked):
                    if (method.text, row.key) not in inside:
                        added.append(
                            Branch(method, row.value, ZERO, 0, 0, unit, order, row, items=(beyond,))
                        )
            elif method.way == "cut":
                added += [
                    replace(b, items=(beyond,), covered=False)
                    for b in cuts(size, method, wide, at, unit, place)
                ]
    text = fine_cut(variable, FINE[model.work_unit])
    if text:
        method = parse_method(text, size.place)
        place = len(size.rule)
        added += [replace(b, items=(cut,)) for b in cuts(size, method, near, at, unit, place)]
        if not size.standard:
            added += [
                replace(b, items=(cut, beyond)) for b in cuts(size, method, wide, at, unit, place)
            ]
        elastic.makers[cut] = lambda programme, values, picks: recut(model, name, text)
    lifts = forbidden_branches(options.rows, model, variable, near, wide, unit)
    if lifts:
        item = f"forbid {together(model, name)[0]}"
        elastic.makers[item] = lifter(options.rows, model, elastic.compiled.variables, name)
    added += lifts + following_branches(options.rows, model, variable, near, wide, unit)
    rows = outside_rows(model, elastic.compiled, name, exact)
    bought: dict[int, str] = {}
    for family, row, place in rows:
        if near.low <= row.value <= near.high:
            bought[len(variable.branches) + len(added)] = family
            added.append(
                Branch(
                    size.rule[place],
                    row.value,
                    ZERO,
                    0,
                    0,
                    unit,
                    (2 * place, 1, 0),
                    row,
                    items=(row_item,),
                )
            )
    other = f"catalogue {name}"
    known = {(b.method.name, b.base) for b in variable.branches if b.row is not None}
    for method in other_catalogues(size) if not size.standard else ():
        for row in options.between(size, method, near.low, near.high):
            if (method.name, row.value) not in known:
                order = (2 * len(size.rule) + 2, int(not row.shop), 0)
                added.append(
                    Branch(method, row.value, ZERO, 0, 0, unit, order, row, items=(other,))
                )
    variable.branches.extend(added)

    def catalogue_change(programme: Programme, values: list[float], picks: Picks) -> Change:
        return catalogue_of(model, name, variable.branches[picks[name][0]].method)

    def reach_change(programme: Programme, values: list[float], picks: Picks) -> Change:
        place, k = picks[name]
        return widen_reach(model, name, variable.branches[place].value(k) - at)

    def row_change(programme: Programme, values: list[float], picks: Picks) -> Change:
        place, _ = picks[name]
        chosen = variable.branches[place].row
        assert chosen is not None
        return buy(model, name, bought[place], chosen)

    elastic.makers[beyond] = reach_change
    elastic.makers[row_item] = row_change
    elastic.makers[other] = catalogue_change


def fine_cut(variable: Variable, step: str) -> str:
    """The method by which a size could be cut to suit; '' where its rule has one as fine."""
    name = finishing(variable.size)
    method = parse_method(f"{name} {step}", variable.size.place) if name else None
    if method is None or method.step is None:
        return ""
    return "" if any(b.step and b.step <= method.step for b in variable.branches) else method.text
