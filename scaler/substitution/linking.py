"""Sizes that take their rows together: branches of those that follow a row, and links between all."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from scaler.records import Size
from scaler.settling.row_links import implied, row_link, row_taken
from scaler.settling.rows import Candidate, column_of
from scaler.settling.settle import exact_size, reach_of
from scaler.substitution.compiled import Link, Variable
from scaler.substitution.options import ZERO, Branch, Window

if TYPE_CHECKING:
    from scaler.substitution.compile import Compiler


def add_links(compiler: Compiler, sizes: list[Size]) -> None:
    """Adds the sizes that follow rows of others, leaders first, and the links between all sizes."""
    result = compiler.result
    waiting = {size.id: size for size in sizes}
    while waiting:
        ready = [s for s in waiting.values() if all(m.leader not in waiting for m in s.rule)]
        for size in ready:
            del waiting[size.id]
            follow(compiler, size)
        if not ready:
            break  # a ring: refused when the model was read
    if sizes:
        place = {name: number for number, name in enumerate(compiler.model.sizes)}
        ordered = sorted(result.variables.items(), key=lambda item: place.get(item[0], len(place)))
        result.variables = dict(ordered)
    for group in implied(compiler.model):
        columns(compiler, group)


def follow(compiler: Compiler, size: Size) -> None:
    """A size that takes a column of another's row, or what its rule says besides."""
    method = row_link(size)
    assert method is not None
    exact, centre = exact_size(size, compiler.model.ratio), compiler.centre(size)
    if centre is None:
        return  # its leader gets no figure
    leader = compiler.result.variables.get(method.leader)
    place = size.rule.index(method)
    unit, window = ZERO, None
    if exact is not None:
        reach = reach_of(size, method, exact)
        unit = size.weight / reach if size.weight else ZERO
        standard = compiler.bounds.get(size.standard) if size.standard else None
        window = Window.of(size, method, exact, standard, compiler.keep_reach, reach)
    branches = []
    for row, section in rows_of_leader(compiler, leader):
        own = column_of(row, method)
        if own is None or (window and not window.low <= own.value <= window.high):
            continue
        order = (2 * place, 0, 0)
        branches.append(
            Branch(method, own.value, ZERO, 0, 0, unit, order, own, link=section or method.name)
        )
    others = compiler.options.of(
        size,
        exact,
        centre,
        last=size.id in compiler.last,
        every=True,
        keep_reach=compiler.keep_reach,
    )
    compiler.result.variables[size.id] = Variable(
        size.id, size, exact, sorted([*branches, *others], key=lambda b: b.order[0]), centre
    )
    if leader is not None and not leader.fixed and method.leader not in compiler.loose:
        compiler.result.links.append(Link(method.leader, size.id, leads=True))


def link_copies(compiler: Compiler) -> None:
    """Adds the links between copies chosen by themselves that are columns of one row."""
    known = compiler.result.variables
    for group in implied(compiler.model) if compiler.own else ():
        if any(name in compiler.loose for name in group):
            continue
        part = compiler.model.sizes[group[0]].part
        for copy in compiler.model.parts[part].copies:
            own = tuple(n if f"{n}@{copy}" not in known else f"{n}@{copy}" for n in group)
            if any(name in compiler.own for name in own):
                columns(compiler, own)


def rows_of_leader(compiler: Compiler, leader: Variable | None) -> Iterable[tuple[Candidate, str]]:
    """The rows that a size may take, each once, with the section that each stands for.

    A size that may take any value may take any row of its rule.
    """
    if leader is None:
        return []
    found: dict[tuple[str, str], tuple[Candidate, str]] = {}
    if leader.name in compiler.loose or leader.solved:
        found = {
            row.key: (row, "")
            for method in leader.size.rule
            if method.way in ("row", "thread")
            for row in compiler.options.candidates(leader.size, method)
        }
        link = row_link(leader.size)
        if link is not None:
            before = compiler.result.variables.get(link.leader)
            found |= {row.key: (row, "") for row, _ in rows_of_leader(compiler, before)}
    elif leader.fixed and leader.settled is not None:
        settled = {leader.name: leader.settled}
        row = row_taken(compiler.model, compiler.options.rows, settled, leader.name)
        found = {} if row is None else {row.key: (row, "")}
    else:
        for branch in leader.branches:
            if branch.row is not None:
                found.setdefault(branch.row.key, (branch.row, branch.section))
    return found.values()


def rows_fixed(compiler: Compiler, variable: Variable) -> frozenset[tuple[str, str]]:
    """The catalogue rows that a size no longer open may be: that on record, else all of its size."""
    settled, size = variable.settled, variable.size
    if settled is None or settled.row is None or settled.row.table == "shop":
        return frozenset()
    choice = compiler.model.choices.get(variable.name)
    if settled.by is None or (choice is not None and choice.row):
        return frozenset((settled.row.key,))
    rows = compiler.options.candidates(size, settled.by)
    return frozenset(r.key for r in rows if r.value == settled.row.value and r.table != "shop")


def columns(compiler: Compiler, group: tuple[str, ...]) -> None:
    """Links between sizes of one part that are columns of one row."""
    known = compiler.result.variables
    present = [n for n in group if n in known and n not in compiler.loose and not known[n].solved]
    held = [name for name in present if known[name].fixed]
    free = [name for name in present if not known[name].fixed]
    links = compiler.result.links
    for name in held:
        keys = rows_fixed(compiler, known[name])
        if keys:
            links += [Link(name, other, keys=keys) for other in free]
    links += [Link(one, other) for n, one in enumerate(free) for other in free[n + 1 :]]
