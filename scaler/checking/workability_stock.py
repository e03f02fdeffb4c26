"""Stock and registers: a bar that cleans up, and a register no wider or deeper than its web."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import accumulate

from scaler.checking.workability_parts import Bars, Tools, WorkPart
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
    spelt,
    times,
)
from scaler.records import Kind, Size
from scaler.settling.rows import Candidate, Ladder, method_row

ROUND = ("ground bar", "round bar")
_CASTINGS = ("cast iron", "white metal", "gunmetal")


def stock(part: WorkPart, tools: Tools) -> Iterator[Asked]:
    """The bar that the largest turned outside comes from, or the bar of the part itself."""
    turned = [one for one in part.of_kind(Kind.EXTERNAL) if part.method(one) == "turned"]
    if not turned:
        return
    supplied = [one for one in part.of_kind(Kind.EXTERNAL) if _is_bar(part, one)]
    if supplied:
        bar = max(supplied, key=part.value)
        for one in turned:
            yield Asked(
                rules()["bar_covers"],
                one.id,
                size(bar.id),
                plus(size(one.id), mm(figure("bar_covers")))
                if figure("bar_covers")
                else size(one.id),
                f"{one.id} comes out of {bar.id}, the bar as supplied",
            )
        return
    yield from _clean_up(part, max(turned, key=part.value), tools)


def _is_bar(part: WorkPart, one: Size) -> bool:
    row = method_row(part.method(one))
    return row is not None and row.family in ROUND and part.settled(one).row is not None


def _clean_up(part: WorkPart, one: Size, tools: Tools) -> Iterator[Asked]:
    """A bar not smaller than the outside and what comes off it; castings bring their own metal."""
    from scaler.checking.last_cut import range_of

    bars = _bars(part, tools)
    if not bars.rows:
        return
    largest = part.value(one) + max(Fraction(0), range_of(part.checker, one.id)[1])
    rule_id, bar = bars.first(largest)
    extra = figure(rule_id)
    doubt = ""
    if bar.value < part.value(one) + extra and not tools.shop_only:
        doubt = (
            f"the tables of round {part.part.material} end at {shown(bar.value, 2, part.units)}; a "
            "larger bar, or a casting, may be had"
        )
    yield Asked(
        rules()["clean_up"],
        one.id,
        mm(bar.value),
        plus(size(one.id), mm(extra)),
        f"{bar.designation} cleans up to {one.id}",
        f"{shown(extra, 1, part.units)} on diameter to come off; a casting brings its own",
        doubt,
    )


def _bars(part: WorkPart, tools: Tools) -> Bars:
    """Round bars of the part's material by size, each with the rule of what comes off it.

    None where the part is cast, or where no bar is known to be of its material.
    """
    known = tools.bars.get(part.part.material)
    if known is None:
        rows = _bars_of(part, tools)
        reach = accumulate((bar.value - figure(rule) for rule, bar in rows), max)
        known = tools.bars[part.part.material] = Bars(tuple(rows), Ladder(list(reach)))
    return known


def _bars_of(part: WorkPart, tools: Tools) -> list[tuple[str, Candidate]]:
    words = set(part.part.material.lower().replace(",", " ").split())
    if part.material is None or words & {"cast", "casting", "castings"}:
        return []
    if part.material.family in _CASTINGS or part.material.name.startswith("gunmetal"):
        return []
    steel = part.material.family in ("steel", "stainless steel")
    found = []
    for rule, method in (("clean_up_ground", "ground bar"), ("clean_up", "round bar")):
        for row in tools.rows(method, part.part.material):
            made_of = set(row.material.split()) - {"cast"}
            # the shop's own bars name no material: ground bar is taken as steel
            if made_of & words or (row.shop and (steel or method == "round bar")):
                found.append((rule, row))
    found.sort(key=lambda item: (item[1].value, item[0]))
    return found


def registers(part: WorkPart) -> Iterator[Asked]:
    """A register or recess wider than the web it is cut in, or deeper than its thickness allows."""
    for rule_id, kinds in (
        ("register_width", (Kind.SLOT, Kind.INTERNAL, Kind.LENGTH, Kind.EXTERNAL)),
        ("register_depth", (Kind.DEPTH, Kind.LENGTH)),
    ):
        rule = rules()[rule_id]
        for one in part.of_kind(*kinds):
            words = named(rule, one.name)
            if words is None:
                continue
            web = part.find(spelt(rule.partners, words), Kind.LENGTH, Kind.EXTERNAL)
            if web is None or web.id == one.id:
                continue
            least, which = part.wall(one, web)
            walls = least * (rule.figure or Fraction(1))
            sides = "on each side" if rule_id == "register_width" else "behind it"
            yield Asked(
                rule,
                one.id,
                less(size(web.id), size(one.id)),
                times(1, mm(walls)),
                f"{one.id} leaves {shown(least, 1, part.units)} of {web.id} {sides}",
                rules()[which].title,
            )
