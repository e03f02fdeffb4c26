"""The piece of a model that is in conflict, with every change that may be made behind a yes-or-no."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction

from scaler.reading.grammar import parse_method
from scaler.records import Basis, BasisKind, Model, State
from scaler.settling.settle import Settlement, reach_of
from scaler.substitution.changes import (
    Change,
    buy,
    last_cut_basis,
    loosen,
    outside_rows,
    rebase,
    recut,
    remake,
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
from scaler.substitution.options import ZERO, Branch, Options, Window, cuts, finishing
from scaler.substitution.outcome import Picks
from scaler.substitution.programme import Programme

FINE = "step 0.005 mm"
Maker = Callable[[Programme, list[float], Picks], Change]


@dataclass
class Elastic:
    """The piece of the model with everything that might be given up behind a yes-or-no."""

    compiled: Compiled
    caps: dict[str, Fraction] = field(default_factory=dict)
    lost: set[str] = field(default_factory=set)
    makers: dict[str, Maker] = field(default_factory=dict)


def elastic_piece(exact: Settlement, options: Options, piece: Model) -> Elastic:
    """Compiles a piece with every change that may be made."""
    made = {
        size.id
        for size in piece.sizes.values()
        if ((size.id, "") in piece.readings or size.made is not None or size.state is State.MADE)
        and size.state not in (State.LOCKED, State.BOUGHT, State.SCRAPPED)
        and size.rule
    }
    plain = compile_model(piece, exact)
    compiled = compile_model(piece, exact, remade=frozenset(made))
    elastic = Elastic(compiled)
    linked = linked_sizes(piece)
    for name, variable in list(compiled.variables.items()):
        if variable.fixed or variable.solved or variable.stepped or ":" in name or "@" in name:
            continue
        if name in made:
            give_again(elastic, plain, name, variable)
        else:
            give_size(elastic, piece, options, exact, name, variable, name in linked)
    for row in compiled.rows:
        statement = compiled.statements.get(row.statement)
        if statement is None:
            continue
        slack: list[str] = []
        key = row.statement
        given = not statement.must and not key.endswith(":standard")
        if given and not (row.strict and not row.side):
            if not row.strict:
                slack.append(f"loosen {key}")
                elastic.caps[f"loosen {key}"] = loosening(statement.lower, statement.upper)
            if row.side:
                slack.append(f"basis {key}")
                elastic.caps[f"basis {key}"] = Fraction(100)
        row.slack = tuple(slack)
        for item in slack:
            elastic.makers[item] = statement_maker(piece, compiled, item, key)
    return elastic


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
            basis = None
            if compiled.statements[key].basis.kind is BasisKind.BOTH_LIMITS:
                basis = last_cut_basis(piece, compiled, key)
            return rebase(piece, compiled, key, basis or Basis(BasisKind.BASIC_SIZE))
        ends = []
        for end in ("low", "high"):
            column = programme.slacks.get(f"{item} {end}")
            moved = ZERO if column is None else Fraction(round(values[column] * 10**6), 10**6)
            ends.append(max(moved, ZERO))
        return loosen(piece, compiled, key, ends[0], ends[1])

    return make


def give_again(elastic: Elastic, plain: Compiled, name: str, variable: Variable) -> None:
    """A made size may stay as it is, or be made again by its rule."""
    item = f"remake {name}"
    kept = plain.variables[name].branches[0]
    for branch in variable.branches:
        branch.items = (item,)
        branch.covered = False
    stays = replace(kept)
    if variable.exact is not None and variable.size.weight:
        stays.unit = variable.size.weight / reach_of(variable.size, None, variable.exact)
    variable.branches.insert(0, stays)
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
    text = fine_cut(variable)
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
    variable.branches.extend(added)

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


def fine_cut(variable: Variable) -> str:
    """The method by which a size could be cut to suit; '' where its rule has one as fine."""
    fine = Fraction(1, 200)
    if any(b.step and b.step <= fine for b in variable.branches):
        return ""
    own = next((m.name for m in variable.size.rule if m.way == "cut"), "")
    name = own or finishing(variable.size.kind)
    return f"{name} {FINE}" if name else ""
