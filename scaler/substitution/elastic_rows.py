"""Rows that a way out may bring in: those that are forbidden, and those that another size's row
would give."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.records import Method, Model, Size, Wish
from scaler.settling.row_links import implied, row_link
from scaler.settling.rows import Candidate, Rows, column_of
from scaler.settling.wishes import means
from scaler.substitution.changes import Change, with_size
from scaler.substitution.compiled import Variable
from scaler.substitution.options import ZERO, Branch, Window

if TYPE_CHECKING:
    from scaler.substitution.outcome import Picks
    from scaler.substitution.programme import Programme


def forbidden(rows: Rows, model: Model, size: Size) -> list[tuple[int, Method, Candidate]]:
    """Rows that only a forbid keeps from a size, one that may be lifted: (place, method, row)."""
    if not size.forbid:
        return []
    material = model.parts[size.part].material
    needed = rows.needed.get(size.id, ())
    found = []
    for place, method in enumerate(size.rule):
        if method.way not in ("row", "thread"):
            continue
        for row in rows.of(method, material):
            stands = [wish for wish in size.forbid if means(wish.word, row)]
            serves = all(column_of(row, other.rule[0]) is not None for other in needed)
            if stands and serves and not any(wish.must for wish in stands):
                found.append((place, method, row))
    return found


def forbidden_branches(
    rows: Rows, model: Model, variable: Variable, near: Window, wide: Window, unit: Fraction
) -> list[Branch]:
    """Branches by which a size takes a row that is forbidden, beyond its reach as well."""
    name = variable.name
    lift, beyond = f"forbid {together(model, name)[0]}", f"reach {name}"
    found = []
    for place, method, row in forbidden(rows, model, variable.size):
        if near.low <= row.value <= near.high:
            items: tuple[str, ...] = (lift,)
        elif wide.low <= row.value <= wide.high and not variable.size.standard:
            items = (lift, beyond)
        else:
            continue
        order = (2 * place, int(not row.shop), 0)
        found.append(Branch(method, row.value, ZERO, 0, 0, unit, order, row, items))
    return found


def following_branches(
    rows: Rows, model: Model, variable: Variable, near: Window, wide: Window, unit: Fraction
) -> list[Branch]:
    """Branches by which a size follows a row that its leader would only take if something is given
    up."""
    size = variable.size
    method = row_link(size)
    if method is None or method.leader not in model.sizes:
        return []
    known = {branch.row.key for branch in variable.branches if branch.link and branch.row}
    found = []
    for row in every_row(rows, model, model.sizes[method.leader]):
        own = column_of(row, method)
        if own is None or own.key in known:
            continue
        known.add(own.key)
        items: tuple[str, ...] = ()
        if variable.exact is not None and not near.low <= own.value <= near.high:
            if size.standard or not wide.low <= own.value <= wide.high:
                continue
            items = (f"reach {variable.name}",)
        order = (2 * size.rule.index(method), 0, 0)
        link = f"row: {row.designation}"
        found.append(Branch(method, own.value, ZERO, 0, 0, unit, order, own, items, link=link))
    return found


def every_row(rows: Rows, model: Model, size: Size) -> Iterable[Candidate]:
    """All rows that a size's rule knows, forbidden or not, those that it follows too."""
    for method in size.rule:
        if method.way in ("row", "thread"):
            yield from rows.of(method, model.parts[size.part].material)
        elif method.leader in model.sizes:
            for row in every_row(rows, model, model.sizes[method.leader]):
                own = column_of(row, method)
                if own is not None:
                    yield own


def together(model: Model, name: str) -> tuple[str, ...]:
    """A size and those of its part that are columns of the same row: one forbid lifted is lifted
    for all."""
    return next((group for group in implied(model) if name in group), (name,))


def _listed(wishes: tuple[Wish, ...]) -> str:
    """The words of a forbid as they are written in a model."""
    words = [f'"{wish.word} must"' if wish.must else f'"{wish.word}"' for wish in wishes]
    return f"[{', '.join(words)}]" if words else '"none"'


def lift(rows: Rows, model: Model, names: tuple[str, ...], row: Candidate) -> Change:
    """A row taken although it is forbidden, for a size and those that it settles with it."""
    kept: dict[str, tuple[Wish, ...]] = {}
    stands: dict[Wish, None] = {}
    for name in names:
        size = model.sizes[name]
        own = [item for item in every_row(rows, model, size) if item.key == row.key]
        lifted = [wish for wish in size.forbid if any(means(wish.word, item) for item in own)]
        if lifted:
            stands |= dict.fromkeys(lifted)
            kept[name] = tuple(wish for wish in size.forbid if wish not in lifted)
    said = ", ".join(dict.fromkeys(f"'{wish.word}'" for wish in stands))
    where = "; ".join(str(wish.place) for wish in stands)
    about = ", ".join(kept)

    def edit(old: Model) -> Model:
        for name, forbid in kept.items():
            old = with_size(old, name, forbid=forbid)
        return old

    return Change(
        "allow",
        tuple(kept),
        f"allow {row.designation} for {about}, although {said} is forbidden",
        f"the forbid of {said} for {about} ({where})",
        edit,
        write="; ".join(
            f"forbid = {_listed(forbid)} for {name} ({model.sizes[name].place})"
            for name, forbid in kept.items()
        ),
    )


def lifter(
    rows: Rows, model: Model, variables: Mapping[str, Variable], name: str
) -> Callable[[Programme, list[float], Picks], Change]:
    """Makes the change that lifts a forbid for the row that was picked."""
    names = together(model, name)

    def make(programme: Programme, values: list[float], picks: Picks) -> Change:
        item = f"forbid {names[0]}"
        taken = [
            branch.row
            for one in names
            if one in picks
            and (branch := variables[one].branches[picks[one][0]]).row is not None
            and item in branch.items
        ]
        assert taken and taken[0] is not None
        return lift(rows, model, names, taken[0])

    return make


def lifted(model: Model, names: Iterable[str]) -> Model:
    """The model without the forbids of some sizes that may be lifted."""
    sizes = dict(model.sizes)
    for name in names:
        size = sizes.get(name)
        if size is not None and size.forbid:
            sizes[name] = replace(size, forbid=firm(size.forbid))
    return replace(model, sizes=sizes)


def firm(forbid: Iterable[Wish]) -> tuple[Wish, ...]:
    """Those that no way out may lift."""
    return tuple(wish for wish in forbid if wish.must)
