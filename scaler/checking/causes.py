"""Why a statement does not hold, and how far each size has moved it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from functools import partial
from typing import TYPE_CHECKING

from scaler.checking.statements import Statement, statement_of
from scaler.expressions import EvaluationError, gradient, names, rename
from scaler.records import Cause, Stage
from scaler.settling.settle import own_name
from scaler.settling.solve import Value, middle

if TYPE_CHECKING:
    from scaler.checking.check import Checker, Finding


def inside(value: Value, lower: Fraction | None, upper: Fraction | None) -> bool | None:
    """Whether a value lies in a window; None where its interval cannot decide."""
    if isinstance(value, Fraction):
        return (lower is None or value >= lower) and (upper is None or value <= upper)
    if (lower is None or value.lower >= lower) and (upper is None or value.upper <= upper):
        return True
    out = (lower is not None and value.upper < lower) or (upper is not None and value.lower > upper)
    return False if out else None


class Causes:
    """The causes of one check, and the departures that they are told by."""

    def __init__(self, checker: Checker) -> None:
        self.checker = checker
        self._departures: dict[str, Fraction | None] = {}

    def _within(self, statement: Statement, values: Mapping[str, Value]) -> bool | None:
        """Whether a statement lies inside its window at other values; None where there is none, or
        that cannot be told."""
        try:
            value = self.checker.basic(statement, values)
        except EvaluationError:
            return False
        return None if value is None else inside(value, statement.lower, statement.upper)

    def cause(self, finding: Finding) -> Cause:
        """Why a statement does not hold: the first of the four causes that explains it."""
        statement = finding.statement
        if not finding.fails:
            return Cause.LIMITS
        if self.checker.stage is Stage.EXACT:
            return Cause.DOES_NOT_SCALE
        if (
            self.checker.stage is Stage.CHOSEN
            and not self.checker.as_drawn
            and self._touched(statement)
        ):
            plain = replace(
                statement,
                node=rename(statement.node, partial(own_name, self.checker.planned.values)),
            )
            if self._within(plain, self.checker.planned.values) is True:
                return Cause.AS_MADE
        if self._within(self._at_exact(statement), self.checker.exact.values) is False:
            return Cause.DOES_NOT_SCALE
        return Cause.ROUNDING

    def _at_exact(self, statement: Statement) -> Statement:
        """A statement as it is at exact scale: without copies, a named fit at the exact size."""
        pair = self.checker.model.pairs.get(statement.id) if statement.what == "pair" else None
        named = pair is not None and (pair.fit.iso or pair.fit.trade)
        if not named and "@" not in statement.id and "@" not in "".join(names(statement.node)):
            return statement
        plain = statement.id.partition("@")[0]
        return (
            statement_of(self.checker.model, statement.what, plain, self.checker.exact.values)
            or statement
        )

    def _touched(self, statement: Statement) -> bool:
        """Whether a reading or a made size enters a statement, also through definitions."""
        if not self.checker.any_made:
            return False
        stack, seen = list(names(statement.node)), set[str]()
        while stack:
            name = stack.pop()
            if name in seen:
                continue
            seen.add(name)
            if self.checker.is_made(name):
                return True
            node = self.checker.settlement.defined_by.get(name)
            if node is not None:
                stack += names(node)
        return False

    def shares(self, statement: Statement) -> tuple[tuple[str, Fraction], ...]:
        """How far each size's departure moves the statement [mm], the largest first.

        Exact for linear statements; for others the derivative at the basic sizes times the
        departure. Sizes without an exact size have no departure.
        """
        plain = self.checker.plain_form(statement)
        if plain is not None:
            factors: Mapping[str, Fraction] = plain.coefficients
        else:
            at = {name: middle(self.checker.values[name]) for name in names(statement.node)}
            try:
                slopes = gradient(statement.node, at, self.checker.model.ratio)[1]
            except EvaluationError:
                return ()
            factors = {n: middle(slope) for n, slope in slopes.items() if slope is not None}
        found = []
        for name, factor in factors.items():
            off = self.departure(name)
            if off:
                moved = off if factor == 1 else -off if factor == -1 else factor * off
                found.append((name, moved))
        return tuple(sorted(found, key=lambda item: (-abs(item[1]), item[0])))

    def departure(self, name: str) -> Fraction | None:
        """How far a size at this stage is off its exact size; None where it has none."""
        if name not in self._departures:
            before = self.checker.exact.values.get(name.partition("@")[0])
            off = None if before is None else middle(self.checker.values[name]) - middle(before)
            self._departures[name] = off
        return self._departures[name]
