"""Statements that say too much: the smallest set that disagrees, and by how much."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from fractions import Fraction

from scaler.expressions import EvaluationError, Linear, Node, linear, names
from scaler.expressions.intervals import lower, upper
from scaler.problems import Place, Problem
from scaler.records import Kind, Model
from scaler.settling.linear_systems import smallest_disagreement
from scaler.settling.solve import SolveError, Value, middle, solve_block, value_of

MOST_TRIED = 40
"""Statements of a nonlinear disagreement up to which each is tried without."""


def statement(model: Model, key: str) -> tuple[str, Place]:
    """A statement in words and its place, by its key (``size part.size`` or ``condition name``)."""
    what, _, name = key.partition(" ")
    if what == "size":
        size = model.sizes[name]
        said = size.equals_text or next((m.text for m in size.rule if m.way == "follow"), "")
        return (f"{name} = {said}" if size.equals_text else f"{name} {said}"), size.place
    condition = model.conditions[name]
    return f"{name}: {condition.text}", condition.place


def listed(model: Model, keys: Iterable[str]) -> str:
    """Statements in words, each with its file and line."""
    return "; ".join(f"{text} ({place})" for text, place in (statement(model, k) for k in keys))


def _unit(model: Model, key: str) -> str:
    what, _, name = key.partition(" ")
    if what == "size":
        kind = model.sizes[name].kind
        return " mm" if kind.is_length else (" degrees" if kind is Kind.ANGLE else "")
    found = {"length": " mm", "area": " mm²", "volume": " mm³", "angle": " degrees"}
    return found.get(model.conditions[name].dimension, "")


def problem(model: Model, members: Sequence[str], off: Fraction | None) -> Problem:
    """The problem of statements that cannot all hold, each named with its place."""
    places = [statement(model, member)[1] for member in members]
    where = ", ".join(dict.fromkeys(f"{place.file} line {place.line}" for place in places))
    amount = "" if off is None else f"{float(off):+.4f}{_unit(model, members[-1])} off"
    if len(members) == 1:
        headline = f"a statement is {amount or 'not met'} at exact size: {where}"
    else:
        by = f"; with the others met the last is {amount}" if amount else ""
        headline = f"{len(members)} statements disagree at exact size{by}: {where}"
    return Problem(
        "disagree",
        headline,
        places[0],
        expected="statements that can all be true",
        advice=(
            "none of these can be spared from the disagreement, change or drop one of "
            if len(members) > 1
            else "the sizes it names are all given, change one of them or drop "
        )
        + listed(model, members),
    )


def disagreements(
    model: Model,
    equations: Mapping[str, Node],
    spare: Sequence[str],
    values: Mapping[str, Value],
    solved_by: Mapping[str, str],
) -> list[Problem]:
    """A problem for each spare equation that the values found by the others do not satisfy."""
    found: dict[tuple[str, ...], Problem] = {}
    for key in spare:
        if any(name not in values for name in names(equations[key])):
            continue
        try:
            residual = value_of(equations[key], values, model.ratio)
        except EvaluationError:
            continue
        if lower(residual) <= 0 <= upper(residual):
            continue
        every = dict.fromkeys(n for node in equations.values() for n in names(node))
        unknowns = [n for n in every if n in solved_by or n not in values]
        near = _connected(equations, key, set(unknowns))
        named = {n for k in near for n in names(equations[k])}
        open_names = [n for n in unknowns if n in named]
        members, off = smallest(model, equations, near, open_names, values)
        found.setdefault(members, problem(model, members, middle(residual) if off is None else off))
    return list(found.values())


def _connected(
    equations: Mapping[str, Node], key: str, open_names: Collection[str]
) -> tuple[str, ...]:
    """The equations that hang together with one through sizes that are solved for."""
    uses = {k: [n for n in names(node) if n in open_names] for k, node in equations.items()}
    used_in: dict[str, list[str]] = {}
    for k, unknowns in uses.items():
        for name in unknowns:
            used_in.setdefault(name, []).append(k)
    members, queue = {key}, [key]
    for member in queue:
        for name in uses[member]:
            fresh = [k for k in used_in.pop(name, ()) if k not in members]
            members.update(fresh)
            queue += fresh
    return tuple(k for k in equations if k in members)


def smallest(
    model: Model,
    equations: Mapping[str, Node],
    keys: Sequence[str],
    unknowns: Sequence[str],
    values: Mapping[str, Value],
) -> tuple[tuple[str, ...], Fraction | None]:
    """Of equations that disagree, a set that still does and of which none can be spared.

    Returns: the keys, and by how much the last is off where all are linear, else None. All are
        returned where a nonlinear set is too large to be tried one by one.
    """
    forms = [linear(equations[key], model.ratio) for key in keys]
    if all(form is not None for form in forms):
        straight: list[Linear] = [form for form in forms if form is not None]
        found = smallest_disagreement(straight, unknowns, values)
        if found is not None:
            return tuple(keys[n] for n in found.members), found.off
        return tuple(keys), None
    kept = list(keys)
    if len(kept) <= MOST_TRIED:
        for key in keys:
            fewer = [other for other in kept if other != key]
            if _disagree(model, equations, fewer, unknowns, values):
                kept = fewer
    return tuple(kept), None


def _disagree(
    model: Model,
    equations: Mapping[str, Node],
    keys: Sequence[str],
    unknowns: Sequence[str],
    values: Mapping[str, Value],
) -> bool:
    """Whether equations certainly disagree: solved block by block, a spare one is not met."""
    from scaler.settling.graph import decompose

    shut = set(unknowns)
    pieces = decompose({k: [n for n in names(equations[k]) if n in shut] for k in keys})
    known = {n: v for n, v in values.items() if n not in shut}
    for block in pieces.blocks:
        nodes = [equations[key] for key in block.equations]
        bounds = {name: model.sizes[name].between for name in block.unknowns}
        guesses = {name: middle(values[name]) for name in block.unknowns if name in values}
        try:
            known.update(
                solve_block(nodes, block.unknowns, known, model.ratio, bounds, guesses).values
            )
        except (SolveError, EvaluationError, KeyError):
            return False
    for key in pieces.spare:
        try:
            residual = value_of(equations[key], known, model.ratio)
        except (EvaluationError, KeyError):
            continue
        if lower(residual) > 0 or upper(residual) < 0:
            return True
    return False
