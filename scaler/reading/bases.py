"""Bases of pairs and conditions: last cuts may form no ring; unstated bases are filled in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from itertools import pairwise

from scaler.expressions import Name, names
from scaler.reading.entries import Entries, Entry
from scaler.records import Basis, BasisKind, Model, Pair, State
from scaler.settling.graph import find_ring


def fill_bases(model: Model, entries: Entries) -> Model:
    """The model with a basis for every pair; a ring of stated last cuts is reported in entries.

    A pair that states none is kept by a last cut where one side is cut to size and not yet made
    (the shaft side first) and that closes no ring, else on both limits. Pairs are taken in the
    order of their names, so that the order of the files does not matter.
    """
    edges: dict[str, list[str]] = {}
    stated: dict[tuple[str, str], Entry] = {}
    for pair in model.pairs.values():
        if pair.basis.kind is BasisKind.LAST_CUT:
            for step in _add(edges, pair.basis.last, (*names(pair.inner), *names(pair.outer))):
                stated.setdefault(step, entries.pairs[pair.id])
    for item in model.conditions.values():
        if item.basis.kind is BasisKind.LAST_CUT:
            for step in _add(edges, item.basis.last, names(item.expression)):
                stated.setdefault(step, entries.conditions[item.id])
    ring = find_ring({name: sorted(set(after)) for name, after in sorted(edges.items())})
    if ring:
        _report(ring, stated, entries)
        return model
    filled = {}
    for name in sorted(model.pairs):
        pair = model.pairs[name]
        if not pair.basis.stated:
            basis = _default(model, pair)
            others = {*names(pair.inner), *names(pair.outer)} - {basis.last}
            if basis.kind is BasisKind.LAST_CUT and _reaches(edges, basis.last, others):
                basis = Basis(BasisKind.BOTH_LIMITS, stated=False)  # it would close a ring
            if basis.kind is BasisKind.LAST_CUT:
                _add(edges, basis.last, others)
            pair = replace(pair, basis=basis)
        filled[name] = pair
    return replace(model, pairs={name: filled[name] for name in model.pairs})


def _add(edges: dict[str, list[str]], last: str, others: Iterable[str]) -> list[tuple[str, str]]:
    """Notes that others are cut before the last; the steps noted."""
    steps = [(other, last) for other in others if other != last]
    for other, _ in steps:
        edges.setdefault(other, []).append(last)
    return steps


def _report(
    ring: tuple[str, ...], stated: Mapping[tuple[str, str], Entry], entries: Entries
) -> None:
    steps = [stated[step] for step in pairwise(ring)]
    listed = ", ".join(
        dict.fromkeys(f"{entry.what} {entry.name} ({entry.place_of('basis')})" for entry in steps)
    )
    entries.fail(
        steps[0],
        "basis",
        "last-cut-ring",
        "last cuts form a ring: " + " is cut before ".join(ring),
        expected="an order in which each can be cut to sizes already made",
        advice=f"state another basis for one of: {listed}",
    )


def _default(model: Model, pair: Pair) -> Basis:
    """Last cut where one side is cut to size and not yet made, the shaft side first."""
    for node in (pair.inner, pair.outer):
        if isinstance(node, Name) and "@" not in node.name:
            size = model.sizes[node.name]
            cut = bool(size.rule) and size.rule[0].way == "cut"
            open_ = size.state in (State.NOT_MADE, State.PART_MADE) and size.made is None
            if cut and open_ and (size.id, "") not in model.readings:
                return Basis(BasisKind.LAST_CUT, size.id, stated=False)
    return Basis(BasisKind.BOTH_LIMITS, stated=False)


def _reaches(edges: Mapping[str, list[str]], start: str, goals: set[str]) -> bool:
    seen, stack = {start}, [start]
    while stack:
        for item in edges.get(stack.pop(), ()):
            if item in goals:
                return True
            if item not in seen:
                seen.add(item)
                stack.append(item)
    return False
