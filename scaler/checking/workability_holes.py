"""Holes before they are drilled: edges, neighbours, walls, blind ends and the length of threads."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

from scaler import catalogue
from scaler.checking.workability_parts import HOLES, WorkPart
from scaler.checking.workability_rules import (
    Asked,
    figure,
    less,
    mm,
    named,
    plus,
    rules,
    shown,
    size,
    speaks,
    spelt,
    times,
)
from scaler.expressions import Angle, Function, Mul, Node
from scaler.measures.spoken import said_short
from scaler.records import Kind, Size
from scaler.settling.rows import Candidate, method_row

if TYPE_CHECKING:
    from scaler.trade.threads import Thread

HALF = Fraction(1, 2)
THOUSANDTH = Fraction(1, 1000)
_PLACES = (Kind.POSITION, Kind.LENGTH, Kind.RADIUS)
_EDGES = ("outside", "diameter", "od")
_MIDDLES = ("bore", "spigot", "register", "recess")
_HUBS = ("boss_diameter", "boss", "hub_diameter")


def holes(part: WorkPart) -> Iterator[Asked]:
    """What the holes of a part ask: edges, circles, rows, walls, blind ends, threads."""
    for place in part.of_kind(*_PLACES):
        if not speaks(place.name):
            continue
        yield from _edge(part, place)
        yield from _circle(part, place)
        yield from _row(part, place)
        yield from _two(part, place)
    yield from _walls(part)
    yield from _keyway(part)
    for thread in part.of_kind(Kind.THREAD):
        yield from _blank(part, thread)
    for hole in part.of_kind(Kind.INTERNAL):
        yield from _tapped(part, hole)
    for depth in part.of_kind(Kind.DEPTH, Kind.LENGTH):
        if not speaks(depth.name):
            continue
        yield from _blind(part, depth)
        yield from _lead(part, depth)
        yield from _engaged(part, depth)


def _edge(part: WorkPart, place: Size) -> Iterator[Asked]:
    rule = rules()["edge_distance"]
    words = named(rule, place.name)
    hole = part.find(spelt(rule.partners, words), *HOLES) if words else None
    if hole is None:
        return
    share = figure("edge_distance")
    yield Asked(
        rule,
        place.id,
        size(place.id),
        times(share, size(hole.id)),
        f"{place.id} is at least {float(share):g} × {hole.id}",
    )
    wall, which = part.wall(place, hole)
    yield Asked(
        rules()["edge_breakout"],
        place.id,
        less(size(place.id), times(HALF, size(hole.id))),
        mm(wall),
        f"{hole.id} leaves {_wall(part, wall)} to the edge at {place.id}",
        rules()[which].title,
    )


def _circle(part: WorkPart, place: Size) -> Iterator[Asked]:
    rule = rules()["circle_edge"]
    words = named(rule, place.name)
    hole = part.find(spelt(rule.partners, words), *HOLES) if words else None
    if words is None or hole is None:
        return
    wall, which = part.wall(place, hole)
    across = 2 if place.kind is Kind.RADIUS else 1
    circle, drilled = times(across, size(place.id)), size(hole.id)
    note = rules()[which].title
    edge = part.find(_EDGES, Kind.EXTERNAL)
    if edge is not None:
        yield Asked(
            rule,
            place.id,
            times(HALF, less(size(edge.id), circle, drilled)),
            mm(wall),
            f"{hole.id} on {place.id} leaves {_wall(part, wall)} to {edge.id}",
            note,
        )
    inner = _inside(part, place, across)
    if inner is not None:
        yield Asked(
            rules()["circle_inside"],
            place.id,
            times(HALF, less(circle, size(inner.id), drilled)),
            mm(wall),
            f"{hole.id} on {place.id} leaves {_wall(part, wall)} to {inner.id}",
            note,
        )
    count = part.find(
        [f"{words['x']}_count", f"{hole.name}_count", f"{words['x']}_number"], Kind.COUNT
    )
    if count is not None and (number := part.value(count)) >= 2:
        turn = Function("sin", (Angle(Fraction(180) / number),))
        chord: Node = circle if number == 2 else Mul((circle, turn))
        yield Asked(
            rules()["circle_neighbours"],
            place.id,
            less(chord, drilled),
            mm(wall),
            f"{int(number)} holes {hole.id} on {place.id} leave {_wall(part, wall)} between them",
            note,
        )


def _inside(part: WorkPart, circle: Size, across: int) -> Size | None:
    """The largest bore, spigot, register or recess that lies inside a circle of holes."""
    found = [
        one
        for name in _MIDDLES
        if (one := part.find([name], Kind.INTERNAL, Kind.EXTERNAL)) is not None
        and part.value(one) < across * part.value(circle)
    ]
    return max(found, key=part.value, default=None)


def _row(part: WorkPart, place: Size) -> Iterator[Asked]:
    rule = rules()["hole_spacing"]
    words = named(rule, place.name)
    hole = part.find(spelt(rule.partners, words), *HOLES) if words else None
    if hole is not None:
        wall, which = part.wall(place, hole)
        yield Asked(
            rule,
            place.id,
            less(size(place.id), size(hole.id)),
            mm(wall),
            f"holes {hole.id} at {place.id} leave {_wall(part, wall)} between them",
            rules()[which].title,
        )


def _two(part: WorkPart, place: Size) -> Iterator[Asked]:
    """Two holes by the distance of their centres, ``a_to_b``."""
    rule = rules()["hole_to_hole"]
    words = place.name.split("_to_")
    for cut in range(1, len(words)):
        one, other = "_to_".join(words[:cut]), "_to_".join(words[cut:])
        first = part.find((one, f"{one}_hole"), *HOLES)
        second = part.find((other, f"{other}_hole"), *HOLES)
        if first is None or second is None:
            continue
        wall, which = part.wall(place, first, second)
        halves = times(HALF, plus(size(first.id), size(second.id)))
        yield Asked(
            rule,
            place.id,
            less(size(place.id), halves),
            mm(wall),
            f"{first.id} and {second.id} leave {_wall(part, wall)} between them",
            rules()[which].title,
        )


# --------------------------------------------------------------------------------------- walls


def _walls(part: WorkPart) -> Iterator[Asked]:
    """The wall between an outside and a bore of the same first words."""
    rule = rules()["wall"]
    for outside in part.of_kind(Kind.EXTERNAL):
        words = named(rule, outside.name)
        if words is None:
            continue
        wanted = list(spelt(rule.partners, words))
        bore = part.find(wanted if words.get("x") and outside.name not in _HUBS else ("bore",))
        if bore is None or bore.kind not in HOLES or _both_tube(part, outside, bore):
            continue
        wall, which = part.wall(outside, bore)
        yield Asked(
            rule,
            outside.id,
            times(HALF, less(size(outside.id), size(bore.id))),
            mm(wall),
            f"{_wall(part, wall)} between {outside.id} and {bore.id}",
            rules()[which].title,
        )


def _both_tube(part: WorkPart, *sizes: Size) -> bool:
    rows = [method_row(part.method(one)) for one in sizes]
    return all(row is not None and row.family == "tube" for row in rows)


def _keyway(part: WorkPart) -> Iterator[Asked]:
    depth = part.find(["keyway_depth"])
    bore = part.find(["bore"], Kind.INTERNAL)
    outside = part.find((*_HUBS, *_EDGES), Kind.EXTERNAL)
    if depth is None or bore is None or outside is None:
        return
    wall, which = part.wall(depth, outside)
    ring = times(HALF, less(size(outside.id), size(bore.id)))
    yield Asked(
        rules()["keyway_wall"],
        depth.id,
        less(ring, size(depth.id)),
        mm(wall),
        f"{depth.id} leaves {_wall(part, wall)} between {bore.id} and {outside.id}",
        rules()[which].title,
    )


def _wall(part: WorkPart, value: Fraction) -> str:
    return f"a wall of at least {shown(value, 1, part.units)}"


# ---------------------------------------------------------------------------------- blind holes


def _blind(part: WorkPart, depth: Size) -> Iterator[Asked]:
    """A blind hole whose drill's point would come through the back."""
    rule = rules()["blind_floor"]
    words = named(rule, depth.name)
    hole = part.find([words["x"]], *HOLES) if words else None
    thickness = part.find(["thickness"], Kind.EXTERNAL, Kind.LENGTH)
    if hole is None or thickness is None or part.value(depth) >= part.value(thickness):
        return
    wall, which = part.wall(depth, thickness)
    point = times(figure("drill_point"), size(hole.id))
    yield Asked(
        rule,
        depth.id,
        less(size(thickness.id), size(depth.id), point),
        mm(wall),
        f"{depth.id} and the drill's point leave {_wall(part, wall)} of {thickness.id}",
        rules()[which].title,
    )


def _lead(part: WorkPart, depth: Size) -> Iterator[Asked]:
    """A blind tapped hole: the drilled depth against full thread and the tap's lead."""
    rule = rules()["tap_lead"]
    words = named(rule, depth.name)
    thread = part.find([words["x"]], Kind.THREAD) if words else None
    if words is None or thread is None:
        return
    full = part.find(list(spelt(rule.partners[1:], words)))
    if full is None or full.id == depth.id:
        return
    share = figure("tap_lead")
    text = f"{depth.id} is at least {full.id} and {float(share):g} pitches for the tap's lead"
    pitch = pitch_of(part, thread)
    if pitch is None:
        yield Asked(
            rule, depth.id, size(depth.id), size(full.id), text,
            doubt=f"the pitch of {thread.id} is not known",
        )  # fmt: skip
        return
    yield Asked(
        rule,
        depth.id,
        size(depth.id),
        plus(size(full.id), times(share, mm(pitch))),
        text,
        f"pitch {said_short(pitch, part.units)}; a second tap wants 5 pitches, a taper tap 10",
    )


def pitch_of(part: WorkPart, thread: Size) -> Fraction | None:
    """The pitch of a size got as a thread [mm], None where no row of a thread was chosen."""
    found = _thread(part.settled(thread).row)
    return None if found is None else found.pitch_mm


def _thread(row: Candidate | None) -> Thread | None:
    """The thread that a row names, None where it names none."""
    from scaler.trade.threads import UnknownThread, find_thread

    try:
        return None if row is None else find_thread(row.designation)
    except UnknownThread:
        return None


def _blank(part: WorkPart, cut: Size) -> Iterator[Asked]:
    """An outside thread and the rod it is cut on. What the thread is made to is its row's own
    diameter: general limits do not bear on it."""
    rule = rules()["thread_blank"]
    words = named(rule, cut.name)
    thread = _thread(part.settled(cut).row)
    if words is None or thread is None:
        return
    its_own = tuple(name for name in rule.partners if "{x}" in name)
    rod = part.find(spelt(its_own, words), Kind.EXTERNAL)
    if rod is None:  # the part's own outside, where that leaves no room for another reading
        rod = part.find((name for name in rule.partners if name not in its_own), Kind.EXTERNAL)
        largest = max(map(part.value, part.of_kind(Kind.EXTERNAL)), default=None)
        if rod is None or len(part.of_kind(Kind.THREAD)) > 1 or part.value(rod) != largest:
            return
    share = figure("thread_blank")
    yield Asked(
        rule,
        cut.id,
        size(rod.id),
        mm(thread.major_mm - share * thread.pitch_mm),
        f"{rod.id} is large enough to cut {thread.designation} on ({cut.id})",
        f"{thread.designation} is {shown(thread.major_mm, 3, part.units)} over its crests",
    )


def _tapped(part: WorkPart, hole: Size) -> Iterator[Asked]:
    """A hole drilled for a tap otherwise than by the thread's own row."""
    rule = rules()["tapping_hole"]
    link = next((method for method in hole.rule if method.name == "tapping hole"), None)
    if link is not None and part.method(hole) != link.name:
        led = part.checker.settlement.results.get(link.leader)
        thread = _thread(None if led is None else led.row)
    elif link is None and (words := named(rule, hole.name)) is not None:
        cut = part.find(spelt(rule.partners, words), Kind.THREAD)
        thread = None if cut is None else _thread(part.settled(cut).row)
    else:
        return
    if thread is None:
        return
    share = figure("tapping_hole")
    largest = thread.drill_for(100 * share) // THOUSANDTH * THOUSANDTH
    yield Asked(
        rule,
        hole.id,
        mm(largest),
        size(hole.id),
        f"{hole.id} leaves {float(100 * share):g} % of the depth of {thread.designation}",
        f"its own tapping drill is {thread.tapping_drill_name}",
    )


@cache
def _engagement() -> dict[str, tuple[Fraction, Fraction, str]]:
    return {
        row.text("designation"): (
            row.number("engagement_min_d"),
            row.number("engagement_max_d"),
            row.text("source"),
        )
        for row in catalogue.table("materials_engagement").rows
    }


def _engaged(part: WorkPart, length: Size) -> Iterator[Asked]:
    rule = rules()["engagement"]
    words = named(rule, length.name)
    if words is None:
        return
    threads = part.of_kind(Kind.THREAD)
    if words.get("x"):
        thread = part.find([words["x"]], Kind.THREAD)
    else:
        thread = threads[0] if len(threads) == 1 else None
    if thread is None:
        return
    family = part.material.family if part.material is not None else ""
    found = _engagement().get(family)
    if found is None:
        yield Asked(
            rule, length.id, size(length.id), size(thread.id), f"{length.id} holds {thread.id}",
            doubt=f"no length of engagement is given for '{part.part.material or 'no material'}'",
        )  # fmt: skip
        return
    least, most, _ = found
    yield Asked(
        rule,
        length.id,
        size(length.id),
        times(least, size(thread.id)),
        f"{length.id} is at least {float(least):g} × {thread.id} in {family}",
        f"{float(least):g} to {float(most):g} diameters are usual; a screw into a softer part "
        "wants that part's figure",
    )
