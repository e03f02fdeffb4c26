"""What an expression comes to: exactly where it can be, else between two certified ends."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NoReturn, assert_never

from scaler.expressions import interval_angles as angles
from scaler.expressions.intervals import (
    BITS,
    Interval,
    Value,
    absolute,
    greatest,
    least,
    power,
    root,
    settled,
)
from scaler.expressions.nodes import (
    Add,
    Angle,
    Div,
    EvaluationError,
    FullLength,
    Function,
    Length,
    Mul,
    Name,
    Neg,
    Node,
    Number,
    Pi,
    Power,
    fraction_text,
    names,
    text,
)

LONGEST_EXACT = 8192
"""An exact value of more binary digits than this, above and below the line, is enclosed instead."""

LARGEST = Fraction(2) ** 2048
SMALLEST = 1 / LARGEST
_WANTED_WIDTH = Fraction(1, 10**40)
_ZERO = Fraction(0)
ONE, MINUS_ONE = Fraction(1), Fraction(-1)
"""The factors of nearly all names in linear forms: these very objects, so that they are known fast."""

ONE_VALUED: dict[str, Callable[[Value, int], Value]] = {
    "sqrt": lambda value, bits: root(value, 2, bits),
    "abs": lambda value, bits: absolute(value),
    "sin": angles.sin,
    "cos": angles.cos,
    "tan": angles.tan,
    "asin": angles.asin,
    "acos": angles.acos,
    "atan": angles.atan,
}


def shown(value: Value) -> str:
    """A value for a message: exactly where that is short, else to some twelve figures."""
    if isinstance(value, Interval):
        if value.width * 10**12 <= abs(value.midpoint):
            return shown(value.midpoint)
        return f"{shown(value.lower)} to {shown(value.upper)}"
    if max(abs(value.numerator), value.denominator) < 2**40:
        exact = fraction_text(value)
        return exact if len(exact) <= 16 else f"about {float(value):.12g}"
    if abs(value) <= 2**-999:
        return "nearly 0"
    if abs(value) < 2**999:
        return f"about {float(value):.12g}"
    return f"some {value.numerator.bit_length()} binary digits"


def fail(node: Node, problem: str, values: Mapping[str, Value]) -> NoReturn:
    """Raise the EvaluationError of a part, with what the names in it stood for."""
    found = tuple((name, shown(values[name])) for name in names(node) if name in values)
    raise EvaluationError(text(node), problem, found)


def tidy(value: Value, node: Node, values: Mapping[str, Value], bits: int = BITS) -> Value:
    """The value kept to a workable length: rounded outward where it has grown too long or small.

    Raises EvaluationError where it is beyond ±2^2048, which no size is.
    """
    if isinstance(value, Fraction):
        if value.numerator.bit_length() + value.denominator.bit_length() <= LONGEST_EXACT:
            return value
        value = Interval(value, value)
    if value.magnitude > LARGEST:
        fail(node, "comes to more than can be worked with", values)
    value = value.rounded(bits)
    lower, upper = value.lower, value.upper
    if abs(lower) < SMALLEST:
        lower = -SMALLEST if lower < 0 else _ZERO
    if abs(upper) < SMALLEST:
        upper = SMALLEST if upper > 0 else _ZERO
    return settled(Interval(lower, upper))


def reason(error: ArithmeticError) -> str:
    """An arithmetic error in plain words, without the numbers of its interval."""
    return "divides by zero" if isinstance(error, ZeroDivisionError) else f"would be the {error}"


def raised(node: Power, base: Value, values: Mapping[str, Value], bits: int = BITS) -> Value:
    """The base of a power node raised to its exponent. Raises EvaluationError."""
    exponent = node.exponent
    if isinstance(base, Fraction) and exponent.denominator == 1:
        size = base.numerator.bit_length() + base.denominator.bit_length()
        if size * abs(exponent.numerator) > LONGEST_EXACT:
            base = Interval(base, base).rounded(bits)
    try:
        return tidy(power(base, exponent, bits), node, values, bits)
    except ArithmeticError as error:
        fail(node, reason(error), values)


def called(node: Function, args: Sequence[Value], values: Mapping[str, Value], bits: int) -> Value:
    """The function of a node applied to values. Raises EvaluationError."""
    if node.name == "min":
        return least(args)
    if node.name == "max":
        return greatest(args)
    try:
        return ONE_VALUED[node.name](args[0], bits)
    except ArithmeticError as error:
        fail(node, reason(error), values)


def value_at(node: Node, values: Mapping[str, Value], ratio: Fraction, bits: int = BITS) -> Value:
    """The value of a node where every name has a value, by the rules of interval arithmetic."""
    match node:
        case Name(name=name):
            if name not in values:
                fail(node, "has no value", values)
            return values[name]
        case Number(value=value) | Length(mm=value) | Angle(degrees=value):
            return value
        case FullLength(mm=value):
            return value * ratio
        case Add(terms=terms):
            total = value_at(terms[0], values, ratio, bits)
            for term in terms[1:]:
                total = total + value_at(term, values, ratio, bits)
            return tidy(total, node, values, bits)
        case Neg(value=inner):
            return -value_at(inner, values, ratio, bits)
        case Mul(factors=factors):
            product = value_at(factors[0], values, ratio, bits)
            for factor in factors[1:]:
                product = tidy(product * value_at(factor, values, ratio, bits), node, values, bits)
            return product
        case Div(numerator=numerator, denominator=denominator):
            above = value_at(numerator, values, ratio, bits)
            below = value_at(denominator, values, ratio, bits)
            try:
                return tidy(above / below, node, values, bits)
            except ZeroDivisionError as error:
                fail(node, reason(error), values)
        case Power(base=inner):
            return raised(node, value_at(inner, values, ratio, bits), values, bits)
        case Function(args=args):
            return called(node, [value_at(a, values, ratio, bits) for a in args], values, bits)
        case Pi():
            return angles.pi(bits)
    assert_never(node)


def evaluate(node: Node, values: Mapping[str, Value], ratio: Fraction) -> Value:
    """The value of an expression [mm, degrees, or powers of mm].

    Parameters
    ----------
    node : Node
    values : mapping of each name to its value, exact or an interval
    ratio : Fraction, the scale, model : full size, for ``full('…')``

    Returns
    -------
    Fraction where the value is rational and every step to it is (roots of squares and the sines of
    0, 30, 90 degrees included); else an Interval that is certain to hold the value, its ends being
    fractions. From exact values its width is at most 10^-40 of the value, unless terms cancel to
    nothing or nearly: then the working precision has been raised fourfold (to some 230 figures)
    before giving up.

    Raises
    ------
    EvaluationError
        A name without a value; division by zero; the root of a negative number; an inverse sine
        beyond ±1; the tangent of a right angle; a value beyond ±2^2048. Where a value known only
        between two ends straddles such an edge by less than 2^-64 it is taken to lie on the allowed
        side: the result then encloses the value if there is one.

    Examples
    --------
    >>> from scaler.expressions.parsing import parse_expression
    >>> evaluate(parse_expression("sqrt(a.x^2 + '4 mm'^2)"), {"a.x": Fraction(3)}, Fraction(1, 8))
    Fraction(5, 1)
    """
    found = value_at(node, values, ratio)
    if isinstance(found, Fraction):
        return found
    if any(isinstance(values[name], Interval) for name in names(node)):
        return found
    for bits in (2 * BITS, 4 * BITS):
        if found.width <= _WANTED_WIDTH * min(abs(found.lower), abs(found.upper)):
            return found
        better = value_at(node, values, ratio, bits)
        if isinstance(better, Fraction):
            return better
        found = better
    return found


@dataclass(frozen=True, slots=True)
class Linear:
    """``constant`` plus each coefficient times its name; no coefficient is zero."""

    constant: Fraction
    coefficients: Mapping[str, Fraction] = field(default_factory=dict)

    def __hash__(self) -> int:
        return hash((self.constant, frozenset(self.coefficients.items())))

    def at(self, values: Mapping[str, Fraction]) -> Fraction:
        """The value for the values given. Raises KeyError for a name without one."""
        return self.constant + sum((c * values[n] for n, c in self.coefficients.items()), _ZERO)


def linear(node: Node, ratio: Fraction) -> Linear | None:
    """The expression as a sum of rational multiples of names and a rational constant.

    Returns None where it is not one, or only with coefficients that are not rational. Products and
    quotients by constants are; terms that cancel vanish.

    Raises EvaluationError where a constant part has no value (1/0).

    >>> from scaler.expressions.parsing import parse_expression
    >>> found = linear(parse_expression("(a.x - b.y) / 2 + b.y / 2 + full('8 mm')"), Fraction(1, 8))
    >>> found.constant, dict(found.coefficients)
    (Fraction(1, 1), {'a.x': Fraction(1, 2)})
    """
    found = _linear(node, ratio)
    if found is None:
        return None
    constant, coefficients = found
    return Linear(
        constant,
        {name: c for name, c in coefficients.items() if c is ONE or c is MINUS_ONE or c},
    )


_Form = tuple[Fraction, dict[str, Fraction]]


def _scaled(form: _Form, factor: Fraction) -> _Form:
    constant, coefficients = form
    if constant is not _ZERO:
        constant = constant * factor
    return constant, {name: times(factor, c) for name, c in coefficients.items()}


def times(factor: Fraction, value: Fraction) -> Fraction:
    """The product of two figures, of which one or the other is most often 1 or −1.

    >>> times(MINUS_ONE, ONE) is MINUS_ONE, times(Fraction(1, 2), MINUS_ONE)
    (True, Fraction(-1, 2))
    """
    if value is ONE:
        return factor
    if factor is ONE:
        return value
    if value is MINUS_ONE:
        return ONE if factor is MINUS_ONE else -factor
    return -value if factor is MINUS_ONE else factor * value


def _constant(form: _Form | None) -> Fraction | None:
    """The constant of a form that holds no name after cancelling, else None."""
    return None if form is None or any(form[1].values()) else form[0]


def _linear(node: Node, ratio: Fraction) -> _Form | None:
    match node:
        case Name(name=name):
            return _ZERO, {name: ONE}
        case Number(value=value) | Length(mm=value) | Angle(degrees=value):
            return value, {}
        case FullLength(mm=value):
            return value * ratio, {}
        case Add(terms=terms):
            return _linear_sum(terms, ratio)
        case Neg(value=inner):
            form = _linear(inner, ratio)
            return None if form is None else _scaled(form, MINUS_ONE)
        case Mul(factors=(Number(value=value), factor)):
            form = _linear(factor, ratio)
            return None if form is None else _short(_scaled(form, value))
        case Mul(factors=factors):
            return _linear_product([_linear(factor, ratio) for factor in factors])
        case Div(numerator=numerator, denominator=denominator):
            above, below = _linear(numerator, ratio), _constant(_linear(denominator, ratio))
            if below == 0:
                fail(node, "divides by zero", {})
            return None if above is None or below is None else _short(_scaled(above, 1 / below))
        case Power(base=base, exponent=exponent):
            form = _linear(base, ratio)
            fixed = _constant(form)
            if fixed is None:
                return form if exponent == 1 else None
            return _exact(raised(node, fixed, {}))
        case Function(args=args):
            fixed_args = [_constant(_linear(arg, ratio)) for arg in args]
            exact_args = [value for value in fixed_args if value is not None]
            if len(exact_args) < len(args):
                return None
            return _exact(called(node, exact_args, {}, BITS))
        case Pi():
            return None
    assert_never(node)


def _exact(value: Value) -> _Form | None:
    return (value, {}) if isinstance(value, Fraction) else None


def _short(form: _Form) -> _Form | None:
    """The form itself, or None where its numbers have grown beyond LONGEST_EXACT."""
    for value in (form[0], *form[1].values()):
        if value is ONE or value is MINUS_ONE or value is _ZERO:
            continue
        if value.numerator.bit_length() + value.denominator.bit_length() > LONGEST_EXACT:
            return None
    return form


def _linear_sum(terms: tuple[Node, ...], ratio: Fraction) -> _Form | None:
    constant = _ZERO
    coefficients: dict[str, Fraction] = {}
    for term in terms:
        inner = term.value if type(term) is Neg else term
        if type(inner) is Name and inner.name not in coefficients:  # much the most usual
            coefficients[inner.name] = ONE if inner is term else MINUS_ONE
            continue
        if type(inner) is Length:
            if inner is not term:
                constant = constant - inner.mm
            else:
                constant = inner.mm if constant is _ZERO else constant + inner.mm
            continue
        form = _linear(term, ratio)
        if form is None:
            return None
        constant = form[0] if constant is _ZERO else constant + form[0]
        for name, coefficient in form[1].items():
            known = coefficients.get(name)
            coefficients[name] = coefficient if known is None else known + coefficient
    return _short((constant, coefficients))


def _linear_product(forms: list[_Form | None]) -> _Form | None:
    product: _Form | None = (ONE, {})
    for form in forms:
        if form is None or product is None:
            return None
        left, right = _constant(product), _constant(form)
        if left is not None:
            product = _short(_scaled(form, left))
        elif right is not None:
            product = _short(_scaled(product, right))
        else:
            return None
    return product
