"""The window found for a statement whose one size is cut last, its aim, and what it lacks."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.checking.last_cut import Cuts, Window, aim_at
from scaler.checking.statements import At, Statement
from scaler.measures.spoken import said
from scaler.records import Bounds
from scaler.settling.limits import coarsest_cut
from scaler.settling.solve import Value, middle

if TYPE_CHECKING:
    from scaler.checking.check import Aim, Checker


def last_cut(
    checker: Checker, statement: Statement, basic: Value
) -> tuple[Bounds, Aim | None, str]:
    """Window found when one size is cut last to the measured others, its aim, and a note.

    A note that begins with 'not promised' says why the cut cannot be relied on. Raises NoRange.
    """
    from scaler.checking.check import Aim

    cuts = checker.cuts
    last, copy = cuts.last_of(statement)
    if not cuts.is_open(last):
        return checker.worst_case(statement), None, f"{last} is made: judged by the readings"
    cuts.depth(last)
    found = cuts.with_own(last, copy)
    mine = next((w for w in found if w.name == statement.id), None)
    if mine is None:  # not linear, or no statement of the model
        mine = cuts.window(statement, last)
        if mine is None:
            from scaler.checking.nonlinear_cut import nonlinear_cut

            return nonlinear_cut(cuts, statement, basic, copy)
        found = (*found, mine)
    tolerance, by = cuts.tolerance(last, copy)
    target = aim_at(middle(checker.values[last]), found, tolerance)
    margin = tolerance / 2 + mine.worth
    form = checker.form_of(statement)
    assert form is not None
    factor = form.coefficients[last]
    shifted = middle(basic) + factor * (target - middle(checker.values[last]))
    width = abs(factor) * margin
    ends = (shifted - width, shifted + width)
    note = _lack(cuts, last, mine, found, tolerance, by, cuts.met(last, copy))
    if not note and not cuts.straight(last, copy):
        note = f"not promised: {last} also serves a statement that is not linear"
    return ends, Aim(last, target, margin, by), note


def _lack(
    cuts: Cuts,
    last: str,
    mine: Window,
    found: Sequence[Window],
    tolerance: Fraction,
    by: str,
    at: At,
) -> str:
    """The worst lack of overlap between a window and the others of its size, in words."""
    worst: tuple[Fraction, str, Fraction, Fraction] | None = None
    around = [(mine, other, other.name) for other in found]
    around += [(other, mine, other.name) for other in found if other is not mine]
    for top, bottom, name in around:
        lack = cuts.lacking(top, bottom, tolerance, at)
        if lack is not None:
            entry = (lack[0] - lack[1], name, *lack)
            worst = entry if worst is None else min(worst, entry)
    if worst is None:
        return ""
    _, other_name, gap, need = worst
    whose = "" if other_name == mine.name else f" with {other_name}"
    units = cuts.checker.model.units
    wide = f"{said(gap, units, 4)} wide" if gap >= 0 else f"short by {said(-gap, units, 4)}"
    kind = cuts.checker.model.sizes[last.partition("@")[0]].kind
    finer = coarsest_cut(kind, gap - (need - tolerance))
    cure = (
        f"; basis = 'last cut {last} by {finer[0]}' would leave room"
        if finer
        else "; no process here cuts so closely: a wider fit or a finer instrument would help"
    )
    return (
        f"not promised: the window left for {last}{whose} is {wide} at worst, and the last cut "
        f"({by}) with the readings needs more than {said(need, units, 4)}{cure}"
    )
