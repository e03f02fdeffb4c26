"""The findings on ordinary statements, fast: linear, between exact sizes, judged on all limits or
at basic sizes.

The same is said of them as in the general way of :mod:`scaler.checking.check` (a test compares the
two); everything out of the ordinary is left to that.
"""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.checking.last_cut import NoRange
from scaler.checking.statements import At, Statement
from scaler.checking.whole_parts import WholeParts, lies_within
from scaler.expressions import EvaluationError, names
from scaler.records import BasisKind, Stage, Verdict
from scaler.settling.limits import unknown

if TYPE_CHECKING:
    from scaler.checking.check import Checker, Finding, Form


_Judged = tuple[Verdict, int, int, tuple[int, int, int] | None]
"""Verdict; the basic size in parts, and how many make a mm; the same of least and greatest."""


def outside(what: str, low: bool) -> Verdict:
    """The verdict on a statement that is outside its window at basic sizes, below it or above."""
    if what != "pair":
        return Verdict.FAILS
    return Verdict.TIGHT if low else Verdict.LOOSE


class PlainFindings:
    """The ordinary statements of one check."""

    def __init__(self, checker: Checker) -> None:
        self.checker = checker
        self.whole = WholeParts(checker.values)

    def verdict(self, statement: Statement) -> Verdict | None:
        """The verdict on a statement; None where it has to be looked at more closely.

        A last cut that is outside its window at basic sizes already needs no closer look.
        """
        judged = self._judged(statement)
        return None if judged is None else judged[0]

    def finding(self, statement: Statement) -> Finding | None:
        """The finding on a statement; None where it has to be looked at more closely."""
        from scaler.checking.check import Finding

        judged = self._judged(statement)
        if judged is None or judged[3] is None:
            return None
        verdict, total, unit, (least, most, parts) = judged[0], judged[1], judged[2], judged[3]
        basic = Fraction(total, unit)
        if self._at_basic(statement):
            found, note = (basic, basic), ""
        else:
            found = Fraction(least, parts), Fraction(most, parts)
            note = self.checker.counts_on(statement)
        plain = Finding(statement, basic, found, verdict, None, None, note)
        return plain if verdict is Verdict.HOLDS else self.checker.explained(plain)

    def _at_basic(self, statement: Statement) -> bool:
        """Whether a statement is judged at basic sizes."""
        return (
            self.checker.stage is not Stage.CHOSEN or statement.basis.kind is BasisKind.BASIC_SIZE
        )

    def _judged(self, statement: Statement) -> _Judged | None:
        """Verdict and sums. What lies inside its window in the worst case of all limits holds, also
        where limits to one side of the basic sizes (g6) put these outside it."""
        checker, lower, upper = self.checker, statement.lower, statement.upper
        named = names(statement.node)
        known = self.whole.sizes
        if lower is None and upper is None:
            return None
        for name in named:
            if name not in known:
                return None
        if checker.defines(statement):
            return None
        at_basic = self._at_basic(statement)
        last = not at_basic and statement.basis.kind is BasisKind.LAST_CUT
        ends: tuple[int, int, int] | None = None
        try:
            form = checker.form_of(statement)
            if form is None:
                return None
            total, unit = self.whole.basic(form.constant, form.coefficients)
            inside = lies_within(total, total, unit, lower, upper)
            if at_basic:
                ends = total, total, unit
            elif not last:
                ends = self._ends(form, statement.at)
                if ends is None:
                    return None
        except (EvaluationError, NoRange, KeyError):
            return None
        if ends is not None and lies_within(*ends, lower, upper):
            return Verdict.HOLDS, total, unit, ends
        if not inside:
            made = checker.stage is Stage.CHOSEN and checker.any_made
            if made and all(map(checker.is_made, named)):
                return None  # the readings may not decide
            low = lower is not None and not lies_within(total, total, unit, lower, None)
            return outside(statement.what, low), total, unit, ends
        return None if ends is None else (Verdict.DOUBTFUL, total, unit, ends)

    def _ends(self, form: Form, at: At) -> tuple[int, int, int] | None:
        """The worst case of all limits, in whole parts; None where some limits are no such parts.

        Raises NoRange.
        """
        cuts, whole = self.checker.cuts, self.whole
        low = high = form.constant
        factors = form.coefficients
        if not cuts.served.keys().isdisjoint(factors):
            low, high, factors = cuts.untied(low, factors, at)
        for name in factors:
            if name not in whole.ends:
                limits = self.checker.limits(name)
                if unknown(limits) or not whole.note(name, limits.lower, limits.upper):
                    return None
        return whole.worst(low, high, factors)
