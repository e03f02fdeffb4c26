"""Pairs and conditions from their entries."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from scaler.expressions import (
    Add,
    Comparison,
    Length,
    Neg,
    Node,
    Number,
    names,
    parse_comparison,
    parse_expression,
)
from scaler.reading.context import Context
from scaler.reading.entries import Entry
from scaler.reading.grammar import parse_basis, parse_fit, parse_window
from scaler.reading.meets import parse_meets
from scaler.records import Basis, BasisKind, Bounds, Condition, Fit, Pair

UNBOUNDED: Bounds = (None, None)
NO_FIT = Fit("", None, None)
UNSTATED = Basis(BasisKind.BOTH_LIMITS, stated=False)
NOTHING: Node = Number(Fraction(0))


def pair(context: Context, entry: Entry) -> Pair:
    """One pair; what could not be read of it is noted as spoilt."""
    fields = entry.fields
    for key in ("inner", "outer", "fit"):
        if key not in fields:
            context.spoil(entry, key)  # reported already: without it the pair cannot be checked
    unsaid: tuple[tuple[str, str], ...] | None = ()
    meets = context.read(entry, "meets", parse_meets, unsaid)
    return Pair(
        id=entry.name,
        title=fields.get("title", ""),
        inner=context.read(entry, "inner", parse_expression, NOTHING),
        outer=context.read(entry, "outer", parse_expression, NOTHING),
        inner_text=fields.get("inner", ""),
        outer_text=fields.get("outer", ""),
        fit=_fit(context, entry),
        basis=_basis(context, entry),
        why=fields.get("why", ""),
        must=fields.get("must", False),
        place=entry.place(),
        meets=meets or (),
        best_match=meets is None,
    )


def _fit(context: Context, entry: Entry) -> Fit:
    fit = context.read(entry, "fit", parse_fit, NO_FIT)
    source, trade_set = entry.fields.get("source", ""), entry.fields.get("set", "")
    return replace(fit, source=source, trade_set=trade_set) if source or trade_set else fit


def _basis(context: Context, entry: Entry) -> Basis:
    return context.read(entry, "basis", parse_basis, UNSTATED)


def condition(context: Context, entry: Entry) -> Condition | None:
    """One condition; None where what it compares could not be read."""
    fields = entry.fields
    if entry.wrong & {"keep", "of", "standard"} or not _has_one(context, entry):
        context.spoil(entry, "keep")
        return None
    lower: Node | None = None
    upper: Node | None = None
    equality = False
    if "keep" in fields:
        comparison = context.read(entry, "keep", parse_comparison, None)
        if comparison is None:
            return None
        expression, lower, upper, equality = _window_of(comparison)
        text = comparison.text
    else:
        found = context.read(entry, "of", parse_expression, None)
        if found is None:
            return None
        expression, text = found, fields["of"]
    if "within" in fields:
        slack = context.read(entry, "within", parse_window, UNBOUNDED)
        if not equality:
            context.entries.fail(
                entry,
                "within",
                "condition",
                f"condition {entry.name}: 'within' goes with an equality only",
                expected='keep = "a == b"',
                advice="put the bounds into keep",
            )
        lower, upper = _length_node(slack[0]), _length_node(slack[1])
    basis = _basis(context, entry)
    if equality and not basis.stated and "within" not in fields:
        basis = Basis(BasisKind.BASIC_SIZE, stated=False)
    return Condition(
        id=entry.name,
        title=fields.get("title", ""),
        expression=expression,
        text=text,
        lower=lower,
        upper=upper,
        equality=equality,
        dimension="length",  # as nearly all are; the cross-check says what it is
        basis=basis,
        why=fields.get("why", ""),
        source=f"standard: {fields['standard']}"
        if "standard" in fields
        else fields.get("source", ""),
        must=fields.get("must", False),
        place=entry.place(),
    )


def _has_one(context: Context, entry: Entry) -> bool:
    """Whether a condition has either ``keep``, or ``of`` with ``standard``, and not both."""
    fields, key, advice = entry.fields, None, "write one of the two"
    headline = f"condition {entry.name} needs either 'keep', or 'of' with 'standard'"
    if "keep" in fields and "of" in fields:
        key, headline = "of", f"condition {entry.name} has both 'keep' and 'of'"
    elif "keep" in fields and "standard" in fields:
        key, headline = ("standard", f"condition {entry.name} has both 'keep' and 'standard'")
        advice = "name in source where the bounds of keep come from, or write of = … for keep"
    elif "of" in fields and "standard" not in fields:
        key, headline = ("of", f"condition {entry.name} names no 'standard' for its bounds")
        advice = "write standard = one of its dimensions, or put the bounds into keep"
    elif "keep" in fields or "of" in fields:
        return True
    context.entries.fail(
        entry,
        key,
        "condition",
        headline,
        expected="keep = \"a - b >= '0.8 mm'\", or of = … and standard = …",
        advice=advice,
    )
    return False


def _window_of(comparison: Comparison) -> tuple[Node, Node | None, Node | None, bool]:
    """Expression, lower, upper, equality of a comparison; a side without names is a bound."""
    left, relation, right = comparison.left, comparison.relation, comparison.right
    if comparison.third is not None:
        last = comparison.third[1]
        low, high = (left, last) if relation == "<=" else (last, left)
        return right, low, high, False
    if relation == "==":
        return Add((left, Neg(right))), None, None, True
    small, large = (left, right) if relation == "<=" else (right, left)
    if not names(small):
        return large, small, None, False
    if not names(large):
        return small, None, large, False
    return Add((large, Neg(small))), NOTHING, None, False


def _length_node(value: Fraction | None) -> Node | None:
    return None if value is None else Length(value)
