"""Statements that say too much: the smallest set that disagrees, and by how much."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from scaler.expressions import Node, linear, names
from scaler.problems import Place, Problem
from scaler.records import Model
from scaler.solve import Value, middle, value_of


def statement(model: Model, key: str) -> tuple[str, Place]:
    """A statement in words and its place, by its key (``size part.size`` or ``condition name``)."""
    what, _, name = key.partition(" ")
    if what == "size":
        size = model.sizes[name]
        return f"{name} = {size.equals_text}", size.place
    condition = model.conditions[name]
    return f"{name}: {condition.text}", condition.place


def disagreements(
    model: Model,
    equations: Mapping[str, Node],
    spare: Sequence[str],
    values: Mapping[str, Value],
    solved_by: Mapping[str, str],
) -> list[Problem]:
    """A problem for each spare equation that the values found by the others do not satisfy."""
    found = []
    for key in spare:
        if any(name not in values for name in names(equations[key])):
            continue
        residual = value_of(equations[key], values, model.ratio)
        off = middle(residual)
        slack = Fraction(0) if isinstance(residual, Fraction) else residual.width
        if abs(off) <= slack:
            continue
        members = _smallest(model, equations, key, values, solved_by)
        words = [statement(model, member) for member in members]
        listed = "; ".join(f"{text} ({place})" for text, place in words)
        found.append(
            Problem(
                "disagree",
                f"{len(members)} statements disagree by {float(off):+.4f} mm at exact size",
                words[0][1],
                read=listed,
                expected="statements that can all be true",
                advice="none of these can be spared from the disagreement: change or drop one",
            )
        )
    return found


def _smallest(
    model: Model,
    equations: Mapping[str, Node],
    key: str,
    values: Mapping[str, Value],
    solved_by: Mapping[str, str],
) -> tuple[str, ...]:
    """The equations behind a spare one, thinned out until none can be spared (linear ones)."""
    members = [key]
    for member in members:
        for name in names(equations[member]):
            maker = solved_by.get(name) or (f"size {name}" if f"size {name}" in equations else None)
            if maker and maker not in members:
                members.append(maker)
    forms = {member: linear(equations[member], model.ratio) for member in members}
    if any(form is None for form in forms.values()):
        return tuple(members)
    kept = list(members)
    for member in members:
        fewer = [other for other in kept if other != member]
        if fewer and not _consistent(fewer, forms, values, solved_by):
            kept = fewer
    return tuple(kept)


def _consistent(
    members: Sequence[str],
    forms: Mapping[str, object],
    values: Mapping[str, Value],
    solved_by: Mapping[str, str],
) -> bool:
    """Whether linear equations can all hold for some values of the sizes that they solve for."""
    import sympy

    unknowns = sorted({n for m in members for n in forms[m].coefficients if n in solved_by})  # type: ignore[attr-defined]
    left, right = [], []
    for member in members:
        form = forms[member]
        constant = form.constant  # type: ignore[attr-defined]
        row = []
        for name in unknowns:
            factor = form.coefficients.get(name, Fraction(0))  # type: ignore[attr-defined]
            row.append(sympy.Rational(factor.numerator, factor.denominator))
        for name, factor in form.coefficients.items():  # type: ignore[attr-defined]
            if name not in solved_by:
                constant += factor * middle(values[name])
        left.append(row)
        right.append(sympy.Rational(-constant.numerator, constant.denominator))
    matrix = sympy.Matrix(left) if unknowns else sympy.zeros(len(members), 1)
    wide = matrix.row_join(sympy.Matrix(right))
    return bool(matrix.rank() == wide.rank())
