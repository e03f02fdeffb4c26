"""Least squares in exact numbers, and what is said of the result: errors, outliers, prediction.

The normal equations are solved in fractions, so no digit is lost however the columns lie; square
roots are taken at the end. Student's t is summed from its finite series for whole degrees of freedom.

References: N. R. Draper and H. Smith, Applied Regression Analysis, chs 2, 5 and 8 (method from
memory): parameters b = (XᵀX)⁻¹Xᵀy, hat values h = x(XᵀX)⁻¹xᵀ, prediction variance s²(1 + h);
externally studentised residual e / (s₍ᵢ₎ √(1 − h)). M. Abramowitz and I. A. Stegun, Handbook of
Mathematical Functions, 26.7.3 and 26.7.4 (from memory): t for whole degrees of freedom.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction


class Undetermined(ArithmeticError):
    """The columns do not fix the parameters: one of them is made of the others, or all nought."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A fit: parameters and the inverse of XᵀX exact; the rest as floats for showing.

    ``freedom`` is the number of rows less parameters; ``deviation`` the residual standard deviation
    (None where nothing is left to judge by); ``studentised`` is external, None where h is 1 or no
    degree of freedom is left once the row is taken out.
    """

    parameters: tuple[Fraction, ...]
    inverse: tuple[tuple[Fraction, ...], ...]
    residuals: tuple[Fraction, ...]
    squares: Fraction
    freedom: int
    hats: tuple[Fraction, ...]
    studentised: tuple[float | None, ...]

    @property
    def deviation(self) -> float | None:
        """Residual standard deviation."""
        if self.freedom < 1:
            return None
        return math.sqrt(self.squares / self.freedom)

    def errors(self) -> tuple[float | None, ...]:
        """Standard error of each parameter."""
        s = self.deviation
        return tuple(
            None if s is None else s * math.sqrt(row[at]) for at, row in enumerate(self.inverse)
        )

    def hat(self, row: Sequence[Fraction]) -> Fraction:
        """x (XᵀX)⁻¹ xᵀ of any row."""
        return sum(
            (a * self.inverse[i][j] * b for i, a in enumerate(row) for j, b in enumerate(row)),
            Fraction(0),
        )


def solve(rows: Sequence[Sequence[Fraction]], values: Sequence[Fraction]) -> Fit:
    """The parameters that leave the least sum of squares.

    Raises: Undetermined where the columns do not fix them; ValueError for rows of unequal length
        or fewer rows than columns.

    >>> solve([[Fraction(x)] for x in (1, 2, 3)], [Fraction(y) for y in (2, 4, 6)]).parameters
    (Fraction(2, 1),)
    """
    count = len(rows[0]) if rows else 0
    if not rows or any(len(row) != count for row in rows) or len(rows) != len(values):
        raise ValueError("rows and values do not go together")
    if len(rows) < count:
        raise Undetermined("fewer rows than parameters")
    normal = [
        [sum((row[i] * row[j] for row in rows), Fraction(0)) for j in range(count)]
        for i in range(count)
    ]
    inverse = _inverse(normal)
    right = [
        sum((row[i] * y for row, y in zip(rows, values, strict=True)), Fraction(0))
        for i in range(count)
    ]
    parameters = tuple(
        sum((inverse[i][j] * right[j] for j in range(count)), Fraction(0)) for i in range(count)
    )
    residuals = tuple(
        y - sum((a * b for a, b in zip(row, parameters, strict=True)), Fraction(0))
        for row, y in zip(rows, values, strict=True)
    )
    squares = sum((e * e for e in residuals), Fraction(0))
    hats = tuple(
        sum((a * inverse[i][j] * b for i, a in enumerate(row) for j, b in enumerate(row)),
            Fraction(0))
        for row in rows
    )  # fmt: skip
    freedom = len(rows) - count
    studentised = tuple(
        _studentised(e, h, squares, freedom) for e, h in zip(residuals, hats, strict=True)
    )
    return Fit(
        parameters, tuple(tuple(row) for row in inverse), residuals, squares, freedom, hats,
        studentised,
    )  # fmt: skip


def _studentised(e: Fraction, h: Fraction, squares: Fraction, freedom: int) -> float | None:
    """The residual over its own standard error, the spread reckoned without its row."""
    if freedom < 2 or h >= 1:
        return None
    without = squares - e * e / (1 - h)
    if without <= 0:
        return math.copysign(math.inf, e) if e else 0.0
    variance = without / (freedom - 1) * (1 - h)
    return math.copysign(math.sqrt(e * e / variance), e)


def _inverse(matrix: list[list[Fraction]]) -> list[list[Fraction]]:
    """The inverse by elimination with whole pivots, exact."""
    size = len(matrix)
    work = [[*row, *(Fraction(int(i == j)) for j in range(size))] for i, row in enumerate(matrix)]
    for at in range(size):
        pivot = next((r for r in range(at, size) if work[r][at]), None)
        if pivot is None:
            raise Undetermined("the columns do not fix the parameters")
        work[at], work[pivot] = work[pivot], work[at]
        head = work[at][at]
        work[at] = [value / head for value in work[at]]
        for r in range(size):
            if r != at and work[r][at]:
                factor = work[r][at]
                work[r] = [a - factor * b for a, b in zip(work[r], work[at], strict=True)]
    return [row[size:] for row in work]


def t_probability(t: float, freedom: int) -> float:
    """The chance that Student's t lies between −t and t. Raises ValueError for freedom below 1."""
    if freedom < 1:
        raise ValueError(f"{freedom} degrees of freedom")
    angle = math.atan(abs(t) / math.sqrt(freedom))
    sine, cosine = math.sin(angle), math.cos(angle)
    if freedom == 1:
        return 2 * angle / math.pi
    if freedom % 2:
        term = total = cosine
        for k in range(3, freedom - 1, 2):
            term *= (k - 1) / k * cosine * cosine
            total += term
        return 2 / math.pi * (angle + sine * total)
    term = total = 1.0
    for k in range(2, freedom - 1, 2):
        term *= (k - 1) / k * cosine * cosine
        total += term
    return sine * total


def t_value(probability: float, freedom: int) -> float:
    """The t within which a share of all values lies: 0.95 and 10 give 2.228.

    Raises ValueError for a share outside 0 to 1.
    """
    if not 0 < probability < 1:
        raise ValueError(f"a share of {probability}")
    low, high = 0.0, 1.0
    while t_probability(high, freedom) < probability:
        high *= 2
        if high > 1e12:
            return high
    for _ in range(200):
        middle = (low + high) / 2
        if t_probability(middle, freedom) < probability:
            low = middle
        else:
            high = middle
        if high - low <= 1e-15 * high:
            break
    return (low + high) / 2
