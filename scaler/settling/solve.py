"""Solving the sizes that a drawing does not give, from the statements they stand in.

Linear equations, one or many, are solved in fractions. A polynomial goes to sympy, which gets built
objects and answers exactly; other equations are searched between the bounds by interval arithmetic,
which misses no root; a nonlinear ring is searched numerically, and an answer counts only when it is
proved. What is not rational comes as a certified interval. The root is chosen by the bounds of the
size; when several are left, that is an error that names them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from scaler.expressions import (
    EvaluationError,
    Length,
    Linear,
    Name,
    Node,
    Number,
    enclose,
    evaluate,
    linear,
    names,
    to_sympy,
    walk,
)
from scaler.expressions.intervals import Interval, as_interval, lower, upper
from scaler.records import Bounds
from scaler.settling.linear_systems import at, solve_linear
from scaler.settling.roots import proved, roots_between, simplest_between

Value = Fraction | Interval
SOLVED = "solved for from its statement"
MOST_IN_RING = 30
"""Sizes that may hang together in one nonlinear ring, and in one linear one."""
MOST_TOGETHER = 500
_CLOSE = Fraction(1, 10**45)
"""How closely a root of a polynomial is enclosed."""


class SolveError(ValueError):
    """Equations that cannot be solved.

    Attributes: problem, expected, advice; ``kind`` is 'open' (sizes are left open, named in
    ``names``, of which ``missing`` must be given), 'contradiction' or ''.
    """

    def __init__(
        self,
        problem: str,
        expected: str = "",
        advice: str = "",
        kind: str = "",
        names: Sequence[str] = (),
        missing: int = 0,
    ) -> None:
        self.problem, self.expected, self.advice = problem, expected, advice
        self.kind, self.names, self.missing = kind, tuple(names), missing
        super().__init__(problem)


@dataclass(frozen=True, slots=True)
class Solution:
    """Values of the unknowns and, in words, how they were found.

    ``forms`` holds, for linear equations, each unknown as a form in the known names.
    """

    values: Mapping[str, Value]
    how: str
    forms: Mapping[str, Linear] = field(default_factory=dict)


def value_of(node: Node, values: Mapping[str, Value], ratio: Fraction) -> Value:
    """A node's value: exact where all that it names is exact, else a certified interval."""
    needed = names(node)
    if isinstance(node, Name) and isinstance(found := values[node.name], Fraction):
        return found
    for name in needed:
        if not isinstance(values[name], Fraction):
            return enclose(node, {n: as_interval(values[n]) for n in needed}, ratio)
    return evaluate(node, values, ratio)


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
    units: Mapping[str, str] | None = None,
) -> Solution:
    """Solves equations (each node = 0) for the unknowns.

    There are as many as unknowns; of linear ones there may be more, where some say the same.
    ``units`` gives the unit of an unknown that is no length, for advice in words. Raises SolveError: no solution, no single one, or none between the bounds.
    """
    forms = [linear(equation, ratio) for equation in equations]
    if all(form is not None for form in forms):
        return _solve_linear([form for form in forms if form is not None], unknowns, values)
    if len(equations) == 1:
        unit = (units or {}).get(unknowns[0], "mm")
        return _solve_one(equations[0], unknowns[0], values, ratio, bounds, guesses, unit)
    return _solve_many(equations, unknowns, values, ratio, bounds, guesses)


def too_many(unknowns: Sequence[str]) -> SolveError:
    """The refusal of a ring that would take too long."""
    return SolveError(
        f"{len(unknowns)} sizes hang together in one ring of statements",
        f"at most {MOST_TOGETHER}",
        "give some of them",
    )


def _drops_out(unknown: str) -> SolveError:
    """The refusal of a statement that says nothing of the size that it should fix."""
    return SolveError(
        f"{unknown} drops out of its own statement",
        "a statement that fixes it",
        "change the statement or give the size",
        "open",
        [unknown],
        1,
    )


def _solve_linear(
    forms: Sequence[Linear], unknowns: Sequence[str], values: Mapping[str, Value]
) -> Solution:
    if len(forms) == len(unknowns) == 1 and unknowns[0] not in forms[0].coefficients:
        raise _drops_out(unknowns[0])
    if len(unknowns) > MOST_TOGETHER:
        raise too_many(unknowns)
    found = solve_linear(forms, unknowns, values)
    if found.disagreement is not None:
        raise SolveError(
            "the statements contradict each other: no sizes satisfy them all",
            "statements that can all be true",
            "change or take out one of them",
            "contradiction",
        )
    if found.open_unknowns:
        raise SolveError(
            "the statements say the same thing twice and leave sizes open",
            "as many independent statements as sizes",
            f"give {found.missing} of {', '.join(found.open_unknowns)}"
            if len(found.open_unknowns) > 1
            else f"give {found.open_unknowns[0]}",
            "open",
            found.open_unknowns,
            found.missing,
        )
    how = SOLVED if len(unknowns) == 1 else f"{len(unknowns)} linear equations solved together"
    return Solution({n: at(found.forms[n], values) for n in unknowns}, how, found.forms)


def within(value: Fraction, bounds: Bounds) -> bool:
    """Whether a value lies between bounds, their ends included."""
    low, high = bounds
    return (low is None or value >= low) and (high is None or value <= high)


def _inside(value: Fraction, bounds: Bounds) -> bool:
    """Whether a value lies between its bounds; without bounds, whether it is above zero."""
    return value > 0 if bounds == (None, None) else within(value, bounds)


def _shown(value: Value) -> str:
    return f"{float(middle(value)):.3f}"


def _solve_one(
    equation: Node,
    unknown: str,
    values: Mapping[str, Value],
    ratio: Fraction,
    bounds: Mapping[str, Bounds],
    guesses: Mapping[str, Fraction],
    unit: str,
) -> Solution:
    bound = bounds.get(unknown, (None, None))
    roots, how = _polynomial_roots(equation, unknown, values, ratio)
    where = "between its bounds" if bound != (None, None) else "above zero"
    if roots is None:
        low, high = _range(equation, unknown, values, bound, guesses)
        where = f"between {_shown(low)} and {_shown(high)}"
        searched = roots_between(equation, unknown, values, ratio, low, high)
        if searched.undecided:
            piece = searched.undecided[0]
            raise SolveError(
                f"whether {unknown} has a solution near {_shown(piece)} cannot be decided: its "
                "statement touches the value there, or nearly",
                "a statement that is met clearly or not at all",
                "give the size, or narrow its 'between'",
            )
        roots, how = list(searched.found), f"the only root {where}, found by interval arithmetic"
    fitting = [root for root in roots if _inside(middle(root), bound)]
    if not fitting:
        found = ", ".join(map(_shown, roots)) or "none"
        raise SolveError(
            f"no value of {unknown} {where} satisfies its statement (roots: {found})",
            "a statement with a solution",
            "change the statement, or the size's 'between'",
        )
    if len(fitting) > 1:
        shown = ", ".join(map(_shown, fitting[:6])) + (" …" if len(fitting) > 6 else "")
        raise SolveError(
            f"{unknown} has {len(fitting)} solutions: {shown}",
            "one solution",
            f"say which is meant: {_between(fitting, bound, unit)}",
        )
    word = f"; the one root of {len(roots)} {where}" if len(roots) > 1 else ""
    return Solution({unknown: fitting[0]}, how + word)


def _between(fitting: Sequence[Value], bound: Bounds, unit: str) -> str:
    """Bounds that hold the first of several roots, and it alone."""
    first, second = middle(fitting[0]), middle(fitting[1])
    gap = (second - first) / 2
    low, high = first - gap, first + gap / 2
    floor = Fraction(0) if bound == (None, None) else bound[0]
    if floor is not None:
        low = max(low, floor)
    places = 2
    while Fraction(1, 10**places) > gap / 2 and places < 12:
        places += 1
    return f'between = "{float(low):.{places}f} {unit} to {float(high):.{places}f} {unit}"'


def _range(
    equation: Node,
    unknown: str,
    values: Mapping[str, Value],
    bound: Bounds,
    guesses: Mapping[str, Fraction],
) -> tuple[Fraction, Fraction]:
    """Where a root is looked for: between the bounds, else up to four times the largest known."""
    known = [abs(middle(values[n])) for n in names(equation) if n != unknown]
    for item in walk(equation):
        if isinstance(item, Number):
            known.append(abs(item.value))
        elif isinstance(item, Length):
            known.append(abs(item.mm))
    most = 4 * max([guesses.get(unknown, Fraction(1)), *known, Fraction(1)])
    low, high = bound
    if low is None:
        low = Fraction(0) if high is None else min(high, Fraction(0)) - most
    return low, max(low, Fraction(0)) + most if high is None else high


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
    domain = polynomial.get_domain()
    if polynomial.degree() < 1:
        raise _drops_out(unknown)
    if polynomial.degree() > 24 or not (domain.is_QQ or domain.is_ZZ):
        return None, ""
    # real roots of the square-free part, each between two ends where its sign changes
    roots: list[Value] = []
    for (low, high), _ in polynomial.intervals(eps=sympy.Rational(_CLOSE)):
        ends = Fraction(int(low.p), int(low.q)), Fraction(int(high.p), int(high.q))
        simple = simplest_between(*ends)
        exact = sympy.Rational(simple.numerator, simple.denominator)
        root: Value = simple if polynomial.eval(exact) == 0 else Interval(*ends)
        # sympy cancels and squares away what has no value there
        if _has_value(equation, unknown, values, ratio, root):
            roots.append(root)
    degree = polynomial.degree()
    return roots, SOLVED if degree == 1 else f"root of a polynomial of degree {degree}"


def _has_value(
    equation: Node, unknown: str, values: Mapping[str, Value], ratio: Fraction, root: Value
) -> bool:
    try:
        value_of(equation, {**values, unknown: root}, ratio)
    except EvaluationError:
        return False
    return True


def _solve_many(
    equations: Sequence[Node],
    unknowns: Sequence[str],
    values: Mapping[str, Value],
    ratio: Fraction,
    bounds: Mapping[str, Bounds],
    guesses: Mapping[str, Fraction],
) -> Solution:
    """A nonlinear ring: Newton's search by sympy from several starts; each answer is then proved."""
    if len(unknowns) > MOST_IN_RING:
        raise SolveError(
            f"{len(unknowns)} sizes hang together in one nonlinear ring",
            f"at most {MOST_IN_RING}",
            "give some of them",
        )
    built = []
    for equation in equations:
        expression, symbols = _symbolic(equation, unknowns, values, ratio)
        built.append(expression)
    known = [abs(middle(values[n])) for e in equations for n in names(e) if n in values]
    found: list[dict[str, Value]] = []
    unproved = False
    for start in _starts(unknowns, known, bounds, guesses):
        point = _nearest_zero(built, symbols, start)
        if point is None or not all(
            _inside(point[n], bounds.get(n, (None, None))) for n in unknowns
        ):
            continue
        best = proved(equations, unknowns, point, values, ratio)
        if best is None:
            unproved = True
        elif all(any(_apart(other[n], best[n]) for n in unknowns) for other in found):
            found.append(best)
    if not found:
        raise SolveError(
            f"no sizes between the bounds satisfy the ring of statements for {', '.join(unknowns)}"
            + ("; where it comes nearest, a solution could not be proved" if unproved else ""),
            "statements with a solution",
            "change one of the statements, or give a size or its 'between'",
        )
    if len(found) > 1:
        listed = "; ".join(
            ", ".join(f"{n} = {_shown(v)}" for n, v in point.items()) for point in found
        )
        raise SolveError(
            f"the ring of statements has more than one solution: {listed}",
            "one solution",
            "say which is meant with 'between'",
        )
    return Solution(
        found[0],
        "nonlinear ring, searched numerically from several starts; the solution is proved by "
        "interval arithmetic, that there is no other is not",
    )


def _starts(
    unknowns: Sequence[str],
    known: Sequence[Fraction],
    bounds: Mapping[str, Bounds],
    guesses: Mapping[str, Fraction],
) -> Iterator[list[Fraction]]:
    """Where searches for a ring's sizes begin: from a fifth to four times what is guessed, else what
    the knowns are in the middle; inside the bounds of those that have both. What is found is proved.
    """
    typical = sum(known, Fraction(0)) / len(known) if known else Fraction(10)
    for factor in (Fraction(1), Fraction(1, 2), Fraction(3, 2), Fraction(1, 5), Fraction(4)):
        start = []
        for number, name in enumerate(unknowns):
            guess = guesses.get(name, typical * (1 + Fraction(number, 7))) * factor
            low, high = bounds.get(name, (None, None))
            if low is not None and high is not None:
                guess = low + (high - low) * min(Fraction(9, 10), factor / 4)
            start.append(guess)
        yield start


def _nearest_zero(
    built: Sequence[Any], symbols: Mapping[str, Any], start: Sequence[Fraction]
) -> dict[str, Fraction] | None:
    """Where Newton's search from a start ends, to some 40 figures; None where it does not."""
    import sympy

    begin = [sympy.Rational(guess.numerator, guess.denominator) for guess in start]
    try:
        answer = sympy.nsolve(built, list(symbols.values()), begin, prec=40, maxsteps=100)
        return {n: Fraction(str(v)) for n, v in zip(symbols, list(answer), strict=True)}
    except (ValueError, ZeroDivisionError, TypeError, OverflowError):
        return None


def _apart(one: Value, two: Value) -> bool:
    return upper(one) < lower(two) or upper(two) < lower(one)
