"""Solving the sizes that a drawing does not give, from the statements they stand in.

One linear unknown is solved in fractions. Linear systems and polynomials go to sympy, which gets
built objects and answers exactly; other equations are searched numerically between the bounds, and
an answer counts only when the exact evaluation of every equation encloses zero. The root is chosen
by the bounds of the size; when several are left, that is an error that names them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Any

from scaler.expressions import (
    EvaluationError,
    Node,
    enclose,
    evaluate,
    linear,
    names,
    to_sympy,
)
from scaler.intervals import Interval
from scaler.records import Bounds

Value = Fraction | Interval
RESIDUAL = Fraction(1, 10**15)
"""Largest residual of a numerical answer [mm, mm², …]: far below anything that can be made."""
_SAMPLES = 400


class SolveError(ValueError):
    """Equations that cannot be solved. Attributes: problem, expected, advice."""

    def __init__(self, problem: str, expected: str = "", advice: str = "") -> None:
        self.problem, self.expected, self.advice = problem, expected, advice
        super().__init__(problem)


@dataclass(frozen=True, slots=True)
class Solution:
    """Values of the unknowns and, in words, how they were found."""

    values: Mapping[str, Value]
    how: str


def value_of(node: Node, values: Mapping[str, Value], ratio: Fraction) -> Value:
    """A node's value: exact where all that it names is exact, else a certified interval."""
    needed = {name: values[name] for name in names(node)}
    if all(isinstance(value, Fraction) for value in needed.values()):
        return evaluate(node, needed, ratio)
    boxes = {
        name: value if isinstance(value, Interval) else Interval(value, value)
        for name, value in needed.items()
    }
    return enclose(node, boxes, ratio)


def middle(value: Value) -> Fraction:
    """A value as one fraction: itself, or the middle of its narrow interval."""
    return value if isinstance(value, Fraction) else value.midpoint


def solve_block(
    equations: Sequence[Node],
    unknowns: Sequence[str],
    values: Mapping[str, Value],
    ratio: Fraction,
    bounds: Mapping[str, Bounds],
    guesses: Mapping[str, Fraction],
) -> Solution:
    """Solves equations (each node = 0) for as many unknowns.

    Raises SolveError: no solution, no single one, or none between the bounds.
    """
    if len(equations) == 1:
        return _solve_one(equations[0], unknowns[0], values, ratio, bounds, guesses)
    exact = all(isinstance(values[n], Fraction) for e in equations for n in names(e) if n in values)
    if exact:
        forms = [linear(equation, ratio) for equation in equations]
        if all(form is not None for form in forms):
            return _solve_linear(forms, unknowns, values)
    return _solve_many(equations, unknowns, values, ratio, bounds, guesses)


def _solve_linear(
    forms: Sequence[Any], unknowns: Sequence[str], values: Mapping[str, Value]
) -> Solution:
    import sympy

    symbols = {name: sympy.Symbol(f"x{number}") for number, name in enumerate(unknowns)}
    rows = []
    for form in forms:
        total = sympy.Rational(form.constant.numerator, form.constant.denominator)
        for name, factor in form.coefficients.items():
            rational = sympy.Rational(factor.numerator, factor.denominator)
            if name in symbols:
                total += rational * symbols[name]
            else:
                known = middle(values[name])
                total += rational * sympy.Rational(known.numerator, known.denominator)
        rows.append(total)
    found = sympy.linsolve(rows, *symbols.values())
    if not found:
        raise SolveError(
            "the statements contradict each other: no sizes satisfy them all",
            "statements that can all be true",
            "change or take out one of them",
        )
    answer = next(iter(found))
    if any(item.free_symbols for item in answer):
        raise SolveError(
            "the statements say the same thing twice and leave sizes open",
            "as many independent statements as sizes",
            "give one of the sizes",
        )
    solved = {
        name: Fraction(int(item.p), int(item.q))
        for name, item in zip(unknowns, answer, strict=True)
    }
    return Solution(solved, f"{len(unknowns)} linear equations solved together")


def _inside(value: Fraction, bound: Bounds) -> bool:
    lower, upper = bound
    low = value > 0 if lower is None and upper is None else lower is None or value >= lower
    return low and (upper is None or value <= upper)


def _solve_one(
    equation: Node,
    unknown: str,
    values: Mapping[str, Value],
    ratio: Fraction,
    bounds: Mapping[str, Bounds],
    guesses: Mapping[str, Fraction],
) -> Solution:
    form = linear(equation, ratio)
    if form is not None:
        factor = form.coefficients.get(unknown, Fraction(0))
        if factor == 0:
            raise SolveError(
                f"{unknown} drops out of its own statement",
                "a statement that fixes it",
                "change the statement or give the size",
            )
        rest: Value = form.constant
        for name, coefficient in form.coefficients.items():
            if name != unknown:
                known = values[name]
                rest = _plus(rest, known, coefficient)
        scaled = (
            rest * (-1 / factor)
            if isinstance(rest, Fraction)
            else rest * Interval(-1 / factor, -1 / factor)
        )
        return Solution({unknown: scaled}, "solved for from its statement")
    bound = bounds.get(unknown, (None, None))
    roots, how = _polynomial_roots(equation, unknown, values, ratio)
    if roots is None:
        roots, how = _numeric_roots(equation, unknown, values, ratio, bound, guesses)
    fitting = [root for root in roots if _inside(middle(root), bound)]
    if not fitting:
        found = ", ".join(f"{float(middle(root)):.3f}" for root in roots) or "none"
        raise SolveError(
            f"no value of {unknown} between its bounds satisfies its statement (roots: {found})",
            "a statement with a solution",
            "change the statement, or the size's 'between'",
        )
    if len(fitting) > 1:
        shown = ", ".join(f"{float(middle(root)):.3f} mm" for root in fitting)
        raise SolveError(
            f"{unknown} has {len(fitting)} solutions: {shown}",
            "one solution",
            f'say which is meant: between = "{float(middle(fitting[0])) * 0.9:.2f} mm to '
            f'{float(middle(fitting[0])) * 1.1:.2f} mm"',
        )
    word = f"; the one root of {len(roots)} between its bounds" if len(roots) > 1 else ""
    return Solution({unknown: fitting[0]}, how + word)


def _plus(total: Value, value: Value, factor: Fraction) -> Value:
    if isinstance(total, Fraction) and isinstance(value, Fraction):
        return total + value * factor
    left = total if isinstance(total, Interval) else Interval(total, total)
    right = value if isinstance(value, Interval) else Interval(value, value)
    return left + right * Interval(factor, factor)


def _symbolic(
    equation: Node, unknowns: Sequence[str], values: Mapping[str, Value], ratio: Fraction
) -> tuple[Any, dict[str, Any]]:
    """The equation as a sympy object with all known sizes put in."""
    import sympy

    symbols = {name: sympy.Symbol(f"x{n}", real=True) for n, name in enumerate(unknowns)}
    known = {}
    for name in names(equation):
        if name not in symbols:
            value = middle(values[name])
            known[name] = sympy.Rational(value.numerator, value.denominator)
    return to_sympy(equation, {**symbols, **known}, ratio), symbols


def _polynomial_roots(
    equation: Node, unknown: str, values: Mapping[str, Value], ratio: Fraction
) -> tuple[list[Value] | None, str]:
    import sympy

    if any(not isinstance(values[name], Fraction) for name in names(equation) if name != unknown):
        return None, ""
    expression, symbols = _symbolic(equation, [unknown], values, ratio)
    symbol = symbols[unknown]
    numerator, denominator = sympy.fraction(sympy.together(expression))
    if not numerator.is_polynomial(symbol) or not denominator.is_polynomial(symbol):
        return None, ""
    polynomial = sympy.Poly(numerator, symbol)
    if (
        polynomial.degree() > 24
        or not polynomial.get_domain().is_QQ | polynomial.get_domain().is_ZZ
    ):
        return None, ""
    roots: list[Value] = []
    for root in dict.fromkeys(sympy.real_roots(polynomial)):
        if denominator.has(symbol) and denominator.subs(symbol, root) == 0:
            continue
        if root.is_Rational:
            roots.append(Fraction(int(root.p), int(root.q)))
        else:
            near = sympy.Rational(str(root.evalf(50)))
            centre = Fraction(int(near.p), int(near.q))
            margin = abs(centre) / 10**40 + Fraction(1, 10**45)
            roots.append(Interval(centre - margin, centre + margin))
    return roots, f"root of a polynomial of degree {polynomial.degree()}, by sympy"


def _evaluated(
    equation: Node, unknown: str, values: Mapping[str, Value], ratio: Fraction, at: Fraction
) -> Fraction | None:
    try:
        return middle(value_of(equation, {**values, unknown: at}, ratio))
    except EvaluationError:
        return None


def _numeric_roots(
    equation: Node,
    unknown: str,
    values: Mapping[str, Value],
    ratio: Fraction,
    bound: Bounds,
    guesses: Mapping[str, Fraction],
) -> tuple[list[Value], str]:
    """Roots between the bounds by sampling for changes of sign and bisection in fractions."""
    guess = guesses.get(unknown)
    others = [abs(middle(values[n])) for n in names(equation) if n != unknown]
    top = (
        bound[1] if bound[1] is not None else 4 * max([guess or Fraction(0), *others, Fraction(1)])
    )
    bottom = bound[0] if bound[0] is not None else Fraction(0)
    points = [bottom + (top - bottom) * n / _SAMPLES for n in range(_SAMPLES + 1)]
    signs = [(p, _evaluated(equation, unknown, values, ratio, p)) for p in points]
    roots: list[Value] = []
    for (left, low), (right, high) in pairwise(signs):
        if low is not None and abs(low) <= Fraction(1, 10**30):
            roots.append(left)
        elif low is not None and high is not None and (low < 0) != (high < 0) and high != 0:
            root = _bisect(equation, unknown, values, ratio, left, right, low)
            if root is not None:
                roots.append(root)
    return roots, "found numerically; the residual is enclosed by exact arithmetic"


def _bisect(
    equation: Node,
    unknown: str,
    values: Mapping[str, Value],
    ratio: Fraction,
    left: Fraction,
    right: Fraction,
    low: Fraction,
) -> Fraction | None:
    for _ in range(90):
        centre = (left + right) / 2
        value = _evaluated(equation, unknown, values, ratio, centre)
        if value is None:
            return None
        if value == 0:
            left = right = centre
            break
        if (value < 0) == (low < 0):
            left = centre
        else:
            right = centre
    root = (left + right) / 2
    return _verified(equation, unknown, values, ratio, root)


def _verified(
    equation: Node, unknown: str, values: Mapping[str, Value], ratio: Fraction, root: Fraction
) -> Fraction | None:
    """The root, or the simple fraction beside it that solves the equation exactly."""
    for denominator in (10**3, 10**6, 10**9):
        simple = root.limit_denominator(denominator)
        if abs(simple - root) < Fraction(1, 10**12):
            residual = _evaluated(equation, unknown, values, ratio, simple)
            if residual is not None and abs(residual) <= Fraction(1, 10**30):
                return simple
    residual = _evaluated(equation, unknown, values, ratio, root)
    return root if residual is not None and abs(residual) <= RESIDUAL else None


def _solve_many(
    equations: Sequence[Node],
    unknowns: Sequence[str],
    values: Mapping[str, Value],
    ratio: Fraction,
    bounds: Mapping[str, Bounds],
    guesses: Mapping[str, Fraction],
) -> Solution:
    """A nonlinear system: sympy's Newton search at high precision from guesses, verified exactly."""
    import sympy

    if len(unknowns) > 30:
        raise SolveError(
            f"{len(unknowns)} sizes hang together in one nonlinear ring",
            "fewer than 31",
            "give some of them",
        )
    built = []
    for equation in equations:
        expression, symbols = _symbolic(equation, unknowns, values, ratio)
        built.append(expression)
    known = [abs(middle(values[n])) for e in equations for n in names(e) if n in values]
    typical = sum(known, Fraction(0)) / len(known) if known else Fraction(10)
    found: list[dict[str, Fraction]] = []
    for factor in (Fraction(1), Fraction(1, 2), Fraction(3, 2), Fraction(1, 5), Fraction(4)):
        start = []
        for number, name in enumerate(unknowns):
            guess = guesses.get(name, typical * (1 + Fraction(number, 7))) * factor
            low, high = bounds.get(name, (None, None))
            if low is not None and high is not None:
                guess = low + (high - low) * min(Fraction(9, 10), factor / 4)
            start.append(sympy.Rational(guess.numerator, guess.denominator))
        try:
            answer = sympy.nsolve(built, list(symbols.values()), start, prec=40, maxsteps=100)
        except (ValueError, ZeroDivisionError, TypeError):
            continue
        point = {n: Fraction(str(v)) for n, v in zip(unknowns, list(answer), strict=True)}
        simple = {n: v.limit_denominator(10**9) for n, v in point.items()}
        near = all(abs(simple[n] - point[n]) < Fraction(1, 10**15) for n in unknowns)
        best = simple if near and _residual(equations, {**values, **simple}, ratio) == 0 else point
        good = _residual(equations, {**values, **best}, ratio) <= RESIDUAL
        fits = all(_inside(best[n], bounds.get(n, (None, None))) for n in unknowns)
        fresh = all(any(abs(o[n] - best[n]) > RESIDUAL for n in unknowns) for o in found)
        if good and fits and fresh:
            found.append(best)
    if not found:
        raise SolveError(
            f"no sizes between the bounds satisfy the ring of statements for {', '.join(unknowns)}",
            "statements with a solution",
            "change one of the statements, or give a size or its 'between'",
        )
    if len(found) > 1:
        listed = "; ".join(
            ", ".join(f"{n} = {float(v):.3f}" for n, v in point.items()) for point in found
        )
        raise SolveError(
            f"the ring of statements has more than one solution: {listed}",
            "one solution",
            "say which is meant with 'between'",
        )
    return Solution(
        found[0],
        "nonlinear ring, solved numerically from starting values; the residual is enclosed by "
        "exact arithmetic; other solutions are not ruled out",
    )


def _residual(equations: Sequence[Node], values: Mapping[str, Value], ratio: Fraction) -> Fraction:
    worst = Fraction(0)
    for equation in equations:
        try:
            value = value_of(equation, values, ratio)
        except EvaluationError:
            return Fraction(10**6)
        size = (
            abs(value) if isinstance(value, Fraction) else max(abs(value.lower), abs(value.upper))
        )
        worst = max(worst, size)
    return worst if worst > Fraction(1, 10**30) else Fraction(0)
