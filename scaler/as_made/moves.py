"""Single changes that could mend a statement: what a size not made must become, and what can still
be done to one that is made.

Nothing here decides whether a change serves: each is tried on the whole model afterwards.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from fractions import Fraction

from scaler.as_made.bench import Bench, Edits, base
from scaler.as_made.move import VERBS, ZERO, Move, chosen, cut_of, figure, given_up, pieces
from scaler.as_made.room import Lever, aims, levers, on_step, room
from scaler.as_made.saved import accepted, compound, made
from scaler.checking.check import Finding
from scaler.reading import options, to_write
from scaler.records import Basis, BasisKind, Bounds, Kind, Method, Model, Size, State
from scaler.settling.rows import Candidate, Rows, as_supplied, method_row

FINER = ("opened to suit", "ground", "lapped")
"""Processes whose last cut is finer than turning, boring or milling, coarsest first."""
_FIXED = (State.LOCKED, State.SCRAPPED)


def moves(
    bench: Bench, finding: Finding, kept: Mapping[str, Fraction], mend: Iterable[str]
) -> Iterator[Move]:
    """Changes that could make a statement hold, those to sizes not made first.

    Parameters: bench : the model as it stands; finding : what does not hold; kept : the value that
        each statement was planned with, by its id; mend : ids of all statements to be mended.
    """
    wanted = set(mend) | {finding.statement.id}
    found = levers(bench, finding)
    for lever in found:
        if not lever.made:
            yield from _not_made(bench, finding, lever, kept, wanted)
    for lever in found:
        if lever.made and bench.model.sizes[lever.size].state not in _FIXED:
            for move in made(bench, finding, lever, kept, wanted):
                if finding.fails or move.how == "set again":
                    yield move
    if finding.fails:
        yield from compound(bench, finding, found)
        yield from accepted(bench, finding, found)


def _not_made(
    bench: Bench,
    finding: Finding,
    lever: Lever,
    kept: Mapping[str, Fraction],
    mend: set[str],
) -> Iterator[Move]:
    size = bench.model.sizes[lever.size]
    if size.equals is not None or size.lock or size.kind in (Kind.COUNT, Kind.TEETH):
        return
    space = room(bench, lever.size, lever.copy, mend)
    wanted = aims(space, lever, kept)
    if not wanted:
        return
    bounds = (space.lower, space.upper)
    for method, row in _rows_in(bench, size, bounds, wanted[0]):
        if row.value != lever.now:
            yield _become(bench, finding, lever, row.value, method.name, bounds, row=row)
    if size.kind is Kind.THREAD or as_supplied(size):
        return  # a thread is what taps and dies cut, a bearing as it is bought: rows only
    process, step, listed = cut_of(size)
    values = dict.fromkeys(on_step(target, step, bounds) for target in wanted)
    for basis, by in _last_cuts(bench, finding, lever, process):
        for value in values:
            if value > 0 and (value != lever.now or basis.touches_basis()):
                yield _become(
                    bench,
                    finding,
                    lever,
                    value,
                    process,
                    bounds,
                    widened=not listed,
                    more=basis,
                    by=by,
                )


def _last_cuts(
    bench: Bench, finding: Finding, lever: Lever, process: str
) -> Iterator[tuple[Edits, str]]:
    """Ways to cut a size to the others: as stated; else last, to what is made; else finer still."""
    item = finding.statement
    last = base(item.basis.last)
    mine = item.basis.kind is BasisKind.LAST_CUT and last == lever.size
    yield Edits(), ""
    others = [one for one in levers(bench, finding) if one.size != lever.size]
    if not mine and not all(one.made or one.size == last for one in others):
        return
    if not mine and any(not one.made for one in others):
        return
    kind = bench.model.sizes[lever.size].kind.value
    now = method_row(item.basis.by if mine and item.basis.by else process)
    finest = now.last_cut if now is not None and now.last_cut is not None else Fraction(1)
    names = [] if mine else [""]
    table = [row for name in FINER if (row := method_row(name)) is not None and kind in row.kinds]
    names += [row.name for row in table if row.last_cut is not None and row.last_cut < finest]
    for by in names:
        basis = Basis(BasisKind.LAST_CUT, lever.size, by)
        yield _with_basis(bench, item.what, base(item.id), basis), by


def _with_basis(bench: Bench, what: str, name: str, basis: Basis) -> Edits:
    if what == "pair":
        return Edits(pairs={name: replace(bench.model.pairs[name], basis=basis)})
    condition = bench.model.conditions[name]
    return Edits(conditions={name: replace(condition, basis=basis)})


def _rows_in(
    bench: Bench, size: Size, bounds: Bounds, target: Fraction
) -> list[tuple[Method, Candidate]]:
    """The rows of a size's own rule inside the room, nearest to the target first: two a method."""
    rows = Rows(bench.model)
    low, high = bounds
    found = []
    for method in size.rule:
        if method.way not in ("row", "thread"):
            continue
        fitting = [
            row
            for row in rows.of_size(size, method)
            if (low is None or row.value >= low) and (high is None or row.value <= high)
        ]
        fitting.sort(key=lambda row: (abs(row.value - target), row.value))
        found += [(method, row) for row in fitting[:2]]
    return found


def _become(
    bench: Bench,
    finding: Finding,
    lever: Lever,
    value: Fraction,
    method: str,
    span: Bounds,
    *,
    row: Candidate | None = None,
    widened: bool = False,
    more: Edits | None = None,
    by: str = "",
) -> Move:
    size = bench.model.sizes[lever.size]
    edits = chosen(bench, lever.size, lever.copy, value, method, row.designation if row else "")
    gives_up = given_up(bench, size, value, method, widened)
    verb = VERBS.get(method, "make")
    text = f"{verb} {lever.name} {'at' if verb == 'place' else 'to'} {figure(size, value, bench.model.units)}"
    if row is not None:
        text += f", {method} {row.designation}"
    if by:
        text += f", finished {by}"
    if widened:
        text += f" ({method}: its rule has only {'; '.join(m.text for m in size.rule) or 'none'})"
    return Move(
        lever.size,
        lever.copy,
        lever.now,
        value,
        "make",
        text,
        edits.plus(more) if more is not None else edits,
        gives_up=gives_up,
        in_turn=base(finding.statement.basis.last) == lever.size,
        beyond=any(text.startswith("the reach") for text in gives_up),
        span=span,
    )


# ----------------------------------------------------------------- what edits of others come to


def changes(bench: Bench, after: Bench, edits: Edits) -> tuple[Move, ...]:
    """What edits come to, size by size: the figures before and after, in words, and the work lost."""
    anew = {size for (size, _), reading in edits.readings.items() if reading is None}
    anew |= {n for n, s in edits.sizes.items() if s.made is None and bench.model.sizes[n].made}
    names = dict.fromkeys((*edits.choices, *anew, *edits.sizes))
    found = []
    for name in names:
        identity, _, copy = name.partition("@")
        size = bench.model.sizes[identity]
        before, value = bench.value(identity, copy), after.value(identity, copy)
        if before is None or value is None or (before == value and identity not in anew):
            continue
        choice = edits.choices.get(name)
        method = choice.method.partition(" step ")[0] if choice is not None else ""
        verb = VERBS.get(method, "make")
        text = f"{verb} {name} {'at' if verb == 'place' else 'to'} {figure(size, value, bench.model.units)}"
        if choice is not None and choice.row:
            text += f", {choice.row}"
        elif choice is not None and method:
            text += f" ({method})" if verb == "make" else ""
        gives_up = given_up(bench, size, value, method, False)
        found.append(
            Move(
                identity,
                copy,
                before,
                value,
                "remake" if identity in anew else "make",
                text,
                Edits(),
                remade=pieces(bench, size.part, copy) if identity in anew else 0,
                gives_up=gives_up,
                beyond=any(what.startswith("the reach") for what in gives_up),
            )
        )
    return (*_put_in(bench, after, edits), *found)


def _put_in(bench: Bench, after: Bench, edits: Edits) -> list[Move]:
    """What options come to: what is added to a size, or the sizes that another casting brings and
    the work lost on the part that it replaces."""
    found: list[Move] = []
    lost: set[str] = set()
    for option in edits.options.values():
        assert option.use is not None
        words = options.words(bench.model, option)
        for name in option.gives or (option.thickens,):
            size = bench.model.sizes[name]
            before, value = bench.value(name), after.value(name)
            if before is None or value is None:
                continue
            again = name in option.gives and bench.is_read(name) and size.part not in lost
            lost |= {size.part} if again else set()
            remade = pieces(bench, size.part, "") if again else 0
            text, words = words, f"with it {name} becomes {figure(size, value, bench.model.units)}"
            price = ZERO if found and found[-1].option == option.id else option.price
            found.append(
                Move(
                    name,
                    "",
                    before,
                    value,
                    "option",
                    text,
                    Edits(),
                    remade=remade,
                    price=price,
                    option=option.id,
                )
            )
    return found


def lines_to_write(model: Model, edits: Edits) -> tuple[str, ...]:
    """What to write into the model for edits that are neither choices nor readings."""
    found = [to_write.option_line(option, model.work_unit) for option in edits.options.values()]
    for name, size in edits.sizes.items():
        old = model.sizes[name]
        if size.reach is not None and size.reach != old.reach:
            found.append(to_write.reach_line(old, size.reach, model.work_unit))
        elif size.rule != old.rule:
            more = size.rule[len(old.rule) :]
            found += [to_write.rule_line(old, method.text) for method in more]
    for pair in edits.pairs.values():
        stated = model.pairs[pair.id]
        if pair.basis != stated.basis:
            found.append(to_write.basis_line("pair", stated, pair.basis))
        elif pair.fit != stated.fit:
            found.append(to_write.fit_line(stated, pair.fit.text))
    for item in edits.conditions.values():
        if item.basis != model.conditions[item.id].basis:
            found.append(to_write.basis_line("condition", item, item.basis))
    return tuple(found)


def otherwise(model: Model, edits: Edits) -> tuple[str, ...]:
    """What edits give up of what the model states: rules, reaches, fits and bases."""
    found = []
    for name, size in edits.sizes.items():
        old = model.sizes[name]
        if size.reach != old.reach:
            found.append(f"the reach of {name}")
        elif size.rule != old.rule:
            found.append(f"the rule of {name}")
    for what, changed, stated in (
        ("pair", edits.pairs, model.pairs),
        ("condition", edits.conditions, model.conditions),
    ):
        for name, item in changed.items():
            if item.basis != stated[name].basis:
                found.append(f"the basis of {what} {name}")
            else:
                found.append(f"the fit of {name}")
    return tuple(found)
