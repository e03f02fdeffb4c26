"""Slots before they are cut: the cutter and its passes, the corner it leaves, its reach."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

from scaler.checking.workability_parts import HOLES, Tool, Tools, WorkPart
from scaler.checking.workability_rules import (
    Asked,
    figure,
    mm,
    named,
    rules,
    shown,
    size,
    spelt,
    times,
)
from scaler.records import Kind, Size
from scaler.settling.rows import method_row

CUTTERS = ("slot drilled", "end milled")
_CUT_BY_MILL = ("milled", "slotted", *CUTTERS)


def slots(part: WorkPart, tools: Tools) -> Iterator[Asked]:
    """The cutter, the corner and the reach of every milled slot of a part."""
    milled = [one for one in part.of_kind(Kind.SLOT) if part.method(one) in _CUT_BY_MILL]
    corners = dict(_corners(part, milled))
    for slot in milled:
        narrowest, fitting = _cutters(part, slot, tools)
        yield _cutter(part, slot, narrowest, fitting, tools)
        radius = corners.get(slot.id)
        if radius is not None and narrowest is not None:
            width = 2 * part.value(radius)
            fitting = [tool for tool in fitting if tool.diameter <= width]
            yield _corner(slot, radius, narrowest, fitting)
        yield from _reach(part, slot, fitting)


def _cutters(part: WorkPart, slot: Size, tools: Tools) -> tuple[Tool | None, Sequence[Tool]]:
    """The narrowest of the cutters that may cut a slot, and those not wider than it: the row it is
    got by, or all that are to hand."""
    method, width = part.method(slot), part.value(slot)
    if method in CUTTERS:
        own = tools.up_to(width, method)[len(tools.below(width, method)) :]
        return (own[0] if own else None), own
    every = tools.of(*CUTTERS)
    return (every[0] if every else None), tools.up_to(width, *CUTTERS)


def passes(slot: Fraction, cutter: Fraction) -> int:
    """How often a cutter goes through to open a slot: once where it is as wide, else at least
    twice, each pass no wider than the cutter.

    Raises ValueError for a cutter wider than the slot or not above nothing.

    >>> passes(Fraction(6), Fraction(6)), passes(Fraction("6.2"), Fraction(6)), passes(
    ...     Fraction(20), Fraction(6))
    (1, 2, 4)
    """
    if not 0 < cutter <= slot:
        raise ValueError("a cutter goes through a slot only where it is not wider")
    whole = slot / cutter
    return -(-whole.numerator // whole.denominator)


def _cutter(
    part: WorkPart, slot: Size, narrowest: Tool | None, fitting: Sequence[Tool], tools: Tools
) -> Asked:
    rule = rules()["slot_cutter"]
    width = part.value(slot)
    if narrowest is None:
        where = "in the shop list" if tools.shop_only else "in the shop list or the catalogues"
        return Asked(
            rule, slot.id, size(slot.id), mm(Fraction(0)), f"a cutter for {slot.id}",
            doubt=f"no slot drill or end mill stands {where}",
        )  # fmt: skip
    text = f"{slot.id} is at least as wide as the narrowest cutter, {narrowest.designation}"
    if not fitting:
        return Asked(rule, slot.id, size(slot.id), mm(narrowest.diameter), text)
    widest = fitting[-1]
    count = passes(width, widest.diameter)
    if count == 1:
        note = f"{widest.designation}, one pass: a cutter of the slot's own width cuts over"
        smaller = tools.below(width, *CUTTERS)
        if smaller:
            note += f"; {smaller[-1].designation} in two passes cuts to size"
    else:
        note = f"{widest.designation}, {count} passes"
    note += f"; inside corners of {shown(widest.diameter / 2, 2, part.units)} radius are left"
    return Asked(rule, slot.id, size(slot.id), mm(narrowest.diameter), text, note)


def _corners(part: WorkPart, milled: Sequence[Size]) -> Iterator[tuple[str, Size]]:
    """Slots with the radius of their inside corners."""
    rule = rules()["corner_radius"]
    for radius in part.of_kind(Kind.RADIUS):
        words = named(rule, radius.name)
        if words is None:
            continue
        slot = part.find(spelt(rule.partners, words), Kind.SLOT) if words.get("x") else None
        if slot is None and not words.get("x") and len(milled) == 1:
            slot = milled[0]
        if slot is not None:
            yield slot.id, radius


def _corner(slot: Size, radius: Size, narrowest: Tool, fitting: Sequence[Tool]) -> Asked:
    share = figure("corner_radius")
    note = f"cut it with {fitting[-1].designation} at most" if fitting else ""
    return Asked(
        rules()["corner_radius"],
        radius.id,
        size(radius.id),
        times(share, mm(narrowest.diameter)),
        f"{radius.id} is at least the radius of {narrowest.designation}, "
        f"the narrowest cutter for {slot.id}",
        note,
    )


def _depth(part: WorkPart, slot: Size) -> tuple[Size | None, str]:
    """The depth of a slot: its own, or the thickness of the plate it goes right through."""
    own = part.find([f"{slot.name}_depth"])
    if own is not None:
        return own, ""
    thickness = part.find(["thickness"], Kind.EXTERNAL, Kind.LENGTH)
    if thickness is not None and part.method(thickness) in ("plate", "flat thickness", "strip"):
        return thickness, "taken to go right through the plate"
    return None, ""


def _reach(part: WorkPart, slot: Size, fitting: Sequence[Tool]) -> Iterator[Asked]:
    depth, note = _depth(part, slot)
    if depth is None or not fitting:
        return
    rule = rules()["cutter_reach"]
    known = [tool for tool in fitting if tool.flute is not None]
    if not known:
        yield Asked(
            rule, slot.id, size(slot.id), mm(Fraction(0)), f"the cutter reaches {depth.id}", note,
            f"no flute length is given for {fitting[-1].designation}",
        )  # fmt: skip
        return
    best = max(known, key=lambda tool: (tool.flute or 0, tool.diameter))
    yield Asked(
        rule,
        slot.id,
        mm(best.flute or Fraction(0)),
        size(depth.id),
        f"the flutes of {best.designation} reach {depth.id}",
        note,
    )


def drills(part: WorkPart, tools: Tools) -> Iterator[Asked]:
    """The reach of the drill in every drilled or reamed hole whose depth is known."""
    rule = rules()["drill_reach"]
    for depth in part.of_kind(Kind.DEPTH, Kind.LENGTH):
        words = named(rule, depth.name)
        if words is None:
            continue
        if words.get("x"):
            hole = part.find(spelt(rule.partners[:1], words), *HOLES)
        else:
            bush = part.find(("outside", "diameter"), Kind.EXTERNAL)
            hole = part.find(("bore",), Kind.INTERNAL) if bush is not None else None
        if hole is None or not _drilled(part, hole):
            continue
        width = part.value(hole)
        fitting = tools.up_to(width, "drilled")
        if not fitting or fitting[-1].flute is None:
            continue
        drill = fitting[-1]
        yield Asked(
            rule,
            hole.id,
            mm(drill.flute or Fraction(0)),
            size(depth.id),
            f"the flutes of {drill.designation} reach {depth.id}",
        )


def _drilled(part: WorkPart, hole: Size) -> bool:
    """Whether a hole is begun with a drill of nearly its size: drilled, reamed or tapped."""
    row = method_row(part.method(hole))
    return row is not None and row.family in ("drill", "reamer", "thread")
