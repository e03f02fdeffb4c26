"""What can still be done to a part that is made: recut, set again, shimmed, sleeved, bushed, opened
to the next reamer, made anew; a press fit given up for retaining compound; a fit left as it is.

Metal only comes off. Which of these serves a size stands in the table ``repairs``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from fractions import Fraction
from functools import cache

from scaler import catalogue
from scaler.as_made.bench import Bench, Edits, base
from scaler.as_made.move import (
    TRIAL,
    VERBS,
    ZERO,
    Move,
    Repair,
    chosen,
    classes,
    cut_of,
    figure,
    given_up,
    pieces,
    plain_figure,
    repairs,
)
from scaler.as_made.room import Lever, Room, aims, levers, on_step, room
from scaler.checking import cautions
from scaler.checking.check import Finding
from scaler.measures.spoken import said_short
from scaler.records import Fit, Kind, Reading, Size, State, Verdict
from scaler.settling.rows import Rows, as_supplied


def _serves(bench: Bench, repair: Repair, size: Size) -> bool:
    if size.kind.value not in repair.kinds:
        return False
    if repair.words and not any(cautions.says(size.name, word) for word in repair.words):
        return False
    if any(cautions.says(size.name, word) for word in repair.unless):
        return False
    if any(cautions.says(size.part, word) for word in repair.unless_part):
        return False
    if (bench.value(size.id) or ZERO) < repair.least:
        return False
    return not set(repair.not_on) & set(classes(bench, size.part))


def made(
    bench: Bench,
    finding: Finding,
    lever: Lever,
    kept: Mapping[str, Fraction],
    mend: set[str],
) -> Iterator[Move]:
    """Moves that save a made part by a repair, until its statements hold."""
    size = bench.model.sizes[lever.size]
    states = (size.state, bench.model.parts[size.part].state)
    bought = State.BOUGHT in states or as_supplied(size)
    space = room(bench, lever.size, lever.copy, mend)
    wanted = aims(space, lever, kept)
    if not wanted:
        return
    process, step, _ = cut_of(size)
    targets = list(dict.fromkeys(on_step(t, step, (space.lower, space.upper)) for t in wanted))
    assembled = not bench.model.parts[size.part].material
    for name, repair in repairs().items():
        if not _serves(bench, repair, size):
            continue
        if name == "recut" and not assembled and not bought:
            for target in targets:
                if target != lever.now and (target > lever.now) is size.kind.grows:
                    yield _repaired(bench, repair, lever, target, space, verb=_verb(size, process))
        elif name == "set again" and assembled:
            yield from (_repaired(bench, repair, lever, t, space) for t in targets[:2])
        elif name == "shim":
            yield from _shims(bench, repair, lever, targets[0], space)
        elif name == "next reamer" and not bought:
            yield from _next_reamer(bench, repair, lever, finding, space)
        elif (
            (name == "sleeve" and targets[0] > lever.now and not bought)
            or (name == "bush" and targets[0] < lever.now and not bought)
            or (name == "eccentric bush" and abs(targets[0] - lever.now) <= 1 and not bought)
        ):
            yield _repaired(bench, repair, lever, targets[0], space)
        elif name == "remake":
            yield from _remade(bench, repair, lever, kept, mend)


def _verb(size: Size, process: str) -> str:
    if size.kind.grows:
        return "open"
    return "ease" if process not in ("turned", "ground", "milled") else VERBS[process]


def _reading(bench: Bench, lever: Lever, value: Fraction, note: str) -> Edits:
    old = bench.model.readings.get((lever.size, lever.copy))
    instrument = old.instrument if old is not None else ""
    reading = Reading(lever.size, lever.copy, value, instrument, note, "", TRIAL)
    return Edits(readings={(lever.size, lever.copy): reading})


def _repaired(
    bench: Bench, repair: Repair, lever: Lever, target: Fraction, space: Room, verb: str = ""
) -> Move:
    size = bench.model.sizes[lever.size]
    text = repair.text.format(
        size=lever.name,
        verb=verb,
        before=plain_figure(size, lever.now, bench.model.units),
        after=figure(size, target, bench.model.units),
        amount=figure(size, abs(target - lever.now), bench.model.units),
        part=size.part,
    )
    if repair.name == "set again" and space.lower is not None and space.upper is not None:
        text += _anywhere(size, lever.now, space.lower, space.upper, bench.model.units)
    return Move(
        lever.size,
        lever.copy,
        lever.now,
        target,
        repair.name,
        text,
        _reading(bench, lever, target, repair.name),
        effort=repair.effort,
        repaired=1 if lever.copy else bench.model.parts[size.part].count,
        span=(space.lower, space.upper),
        note=repair.note,
    )


def _anywhere(size: Size, now: Fraction, lower: Fraction, upper: Fraction, units: str) -> str:
    """Where a size may be set, and by how much that moves it."""
    ends = [plain_figure(size, end, units) for end in (lower, upper)]
    moved = [
        f"{'-' if end < now else '+'}{plain_figure(size, abs(end - now), units)}"
        for end in (lower, upper)
    ]
    return f" (anywhere from {' to '.join(ends)}: {' to '.join(moved)})"


@cache
def shims() -> tuple[tuple[Fraction, str], ...]:
    """Thicknesses of shim that can be had [mm], single ones before two together."""
    single = []
    for row in catalogue.table("parts_shims").rows:
        thickness = row.mm("thickness")
        if thickness is not None:
            single.append((thickness, row.text("designation")))
    double = [
        (one + other, f"{name} and {more}")
        for n, (one, name) in enumerate(single)
        for other, more in single[n:]
    ]
    return (*single, *double)


def _shims(
    bench: Bench, repair: Repair, lever: Lever, target: Fraction, space: Room
) -> Iterator[Move]:
    """The shim that brings a size nearest to its target; it fills a gap and thickens the rest."""
    size = bench.model.sizes[lever.size]
    way = -1 if size.kind.grows else 1
    if (target - lever.now) * way <= 0:
        return
    for most in (len(catalogue.table("parts_shims").rows), None):
        fitting = [
            (abs(lever.now + way * thick - target), thick, name)
            for thick, name in shims()[:most]
            if space.holds(lever.now + way * thick)
        ]
        if fitting:
            _, thick, name = min(fitting)
            move = _repaired(bench, repair, lever, lever.now + way * thick, space)
            yield replace(move, text=f"{move.text} ({name})")
            return


def _next_reamer(
    bench: Bench, repair: Repair, lever: Lever, finding: Finding, space: Room
) -> Iterator[Move]:
    """The next larger reamer, where another size of the statement can still be made to suit."""
    if not any(not other.made for other in levers(bench, finding) if other.size != lever.size):
        return
    size = bench.model.sizes[lever.size]
    reamed = next((m for m in size.rule if m.name in ("reamed", "hand reamed")), None)
    if reamed is None:
        return
    rows = Rows(bench.model).of_size(size, reamed)
    larger = [row for row in rows if row.value > lever.now]
    if larger:
        row = min(larger, key=lambda item: item.value)
        yield _repaired(bench, repair, lever, row.value, space)


def _remade(
    bench: Bench, repair: Repair, lever: Lever, kept: Mapping[str, Fraction], mend: set[str]
) -> Iterator[Move]:
    """The part made anew: all its sizes are planned ones again, this one as planned or to suit."""
    model, part = bench.model, bench.model.sizes[lever.size].part
    readings: dict[tuple[str, str], Reading | None] = {}
    sizes: dict[str, Size] = {}
    for name in bench.index.sizes_of[part]:
        readings |= _without(bench, name, lever.copy)
        size = model.sizes[name]
        if size.made is not None:
            sizes[name] = replace(size, made=None, state=State.NOT_MADE)
    edits = Edits(readings=readings, sizes=sizes)
    fresh = bench.after(edits)
    plain = fresh.value(lever.size)
    if plain is None:
        return
    count = pieces(bench, part, lever.copy)
    size = model.sizes[lever.size]
    text = repair.text
    space = room(fresh, lever.size, lever.copy, mend)
    process, step, listed = cut_of(size)
    bounds = (space.lower, space.upper)
    again = replace(lever, now=plain, made=False)
    targets = [plain] if space.holds(plain) else []
    if size.kind is not Kind.THREAD and not as_supplied(size):
        targets += [on_step(t, step, bounds) for t in aims(space, again, kept)[:1]]
    for value in dict.fromkeys(targets):
        more = Edits()
        if value != plain:
            more = chosen(bench, lever.size, lever.copy, value, process)
        yield Move(
            lever.size,
            lever.copy,
            lever.now,
            value,
            "remake",
            text.format(
                part=f"{part} {lever.copy}".strip(),
                size=lever.size.partition(".")[2].replace("_", " "),
                after=figure(size, value, bench.model.units),
            ),
            edits.plus(more),
            effort=repair.effort,
            remade=count,
            gives_up=given_up(bench, size, value, process, not listed and value != plain),
            span=bounds,
        )


def _without(bench: Bench, size: str, copy: str) -> dict[tuple[str, str], Reading | None]:
    """The readings of a size with those of one copy (or of all) taken out, the others kept."""
    model = bench.model
    taken: dict[tuple[str, str], Reading | None] = {}
    for own in ("", copy) if copy else ("", *bench.copies(size)):
        if (size, own) in model.readings:
            taken[size, own] = None
    of_all = model.readings.get((size, ""))
    if copy and of_all is not None:
        for other in bench.copies(size):
            if other != copy and (size, other) not in model.readings:
                taken[size, other] = replace(of_all, copy=other)
    return taken


# ------------------------------------------------------------------- what changes the statement


def compound(bench: Bench, finding: Finding, found: Iterable[Lever]) -> Iterator[Move]:
    """A press fit that can no longer be had: the shaft cut back, and retaining compound."""
    item = finding.statement
    if item.what != "pair" or item.upper is None or item.upper > 0:
        return
    pair = bench.model.pairs[base(item.id)]
    repair = repairs()["retaining compound"]
    shafts = [lever for lever in found if lever.made and lever.factor < 0]
    if len(shafts) != 1 or shafts[0].factor != -1 or finding.basic is None:
        return
    if bench.model.sizes[shafts[0].size].kind.value not in repair.kinds:
        return
    from scaler.trade.trade_fits import UnknownFit, find_trade_fit

    lever = shafts[0]
    try:
        fit = find_trade_fit("retaining compound", lever.now)
    except UnknownFit:
        return
    from scaler.settling.solve import middle

    hole = middle(finding.basic) + lever.now
    low, high = hole - fit.clearance_max_mm, hole - fit.clearance_min_mm
    centre, quarter = (low + high) / 2, (high - low) / 4
    for step in (Fraction(1, 10), Fraction(1, 20), Fraction(1, 100), Fraction(1, 200)):
        value = round(centre / step) * step
        if abs(value - centre) <= quarter and value < lever.now:
            break
    else:
        return
    text = repair.text.format(size=lever.name, after=said_short(value, bench.model.units))
    edits = _reading(bench, lever, value, repair.name).plus(
        Edits(pairs={pair.id: replace(pair, fit=Fit(fit.name, None, None, trade=fit.name))})
    )
    yield Move(
        lever.size,
        lever.copy,
        lever.now,
        value,
        repair.name,
        text,
        edits,
        effort=repair.effort,
        repaired=1 if lever.copy else bench.model.parts[base(lever.size).split(".")[0]].count,
        gives_up=(f"the press fit of {item.id}",),
        note=repair.note,
    )


def accepted(bench: Bench, finding: Finding, found: Iterable[Lever]) -> Iterator[Move]:
    """Leaving a statement as it is: a loose gland, whose packing seals; else with a note."""
    item = finding.statement
    if item.must or item.source.startswith("standard") or not finding.fails:
        return
    listed = [lever for lever in found if lever.made]
    if not listed:
        return
    for name in ("packed gland", "accept"):
        repair = repairs()[name]
        lever = listed[0]
        if name == "packed gland":
            packed = [one for one in found if cautions.says(one.size.partition(".")[0], "gland")]
            if not packed or finding.verdict is not Verdict.LOOSE:
                continue
            lever = packed[0]
        yield Move(
            lever.size,
            lever.copy,
            lever.now,
            lever.now,
            name,
            f"{item.id}: " + repair.text.format(size=lever.name),
            Edits(),
            effort=repair.effort,
            gives_up=(f"the fit of {item.id}",),
            accepts=item.id,
            harmless=name == "packed gland",
            note=repair.note,
        )
