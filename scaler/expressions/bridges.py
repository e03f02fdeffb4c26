"""Bridges from our trees to sympy (formulas) and numpy (many values at once).

Both are built part by part from the tree; no text is handed to either. They are imported only when
a function here is called.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from functools import reduce
from typing import TYPE_CHECKING, Any, assert_never

from scaler.expressions.nodes import (
    Add,
    Angle,
    Div,
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
    names,
)

if TYPE_CHECKING:
    import numpy
    import sympy
    from numpy.typing import NDArray

    Array = NDArray[numpy.float64]
    Step = Callable[[Sequence[Array]], Any]


def to_sympy(node: Node, symbols: Mapping[str, sympy.Symbol], ratio: Fraction) -> sympy.Expr:
    """The expression in sympy's objects, exact; angles stay in degrees.

    Parameters: symbols : the symbol of each name; ratio : the scale, model : full size
    Raises: KeyError for a name without a symbol

    >>> import sympy
    >>> from scaler.expressions.parsing import parse_expression
    >>> to_sympy(parse_expression("a.x * sin('30 deg')"), {"a.x": sympy.Symbol("x")}, Fraction(1))
    x/2
    """
    import sympy

    def number(value: Fraction) -> Any:
        return sympy.Rational(value.numerator, value.denominator)

    def build(part: Node) -> Any:
        match part:
            case Number(value=value) | Length(mm=value) | Angle(degrees=value):
                return number(value)
            case FullLength(mm=value):
                return number(value * ratio)
            case Pi():
                return sympy.pi
            case Name(name=name):
                return symbols[name]
            case Neg(value=inner):
                return -build(inner)
            case Add(terms=terms):
                return sympy.Add(*map(build, terms))
            case Mul(factors=factors):
                return sympy.Mul(*map(build, factors))
            case Div(numerator=numerator, denominator=denominator):
                return build(numerator) / build(denominator)
            case Power(base=base, exponent=exponent):
                return sympy.Pow(build(base), number(exponent))
            case Function(name=name, args=args):
                found = [build(arg) for arg in args]
                if name in ("sin", "cos", "tan"):
                    return getattr(sympy, name)(found[0] * sympy.pi / 180)
                if name in ("asin", "acos", "atan"):
                    return getattr(sympy, name)(found[0]) * 180 / sympy.pi
                return {
                    "sqrt": sympy.sqrt,
                    "abs": sympy.Abs,
                    "min": sympy.Min,
                    "max": sympy.Max,
                }[name](*found)
        assert_never(part)

    return build(node)


def derivatives(
    node: Node, symbols: Mapping[str, sympy.Symbol], ratio: Fraction
) -> dict[str, sympy.Expr]:
    """The derivative by each name as a sympy formula, in order of first appearance.

    Parameters: symbols : the symbol of each name, best made with ``real=True``
    """
    expression = to_sympy(node, symbols, ratio)
    return {name: expression.diff(symbols[name]) for name in names(node)}


def compile_float(node: Node, order: Sequence[str], ratio: Fraction) -> Callable[..., Array]:
    """A quick function of numpy arrays for the expression, in floating point.

    Parameters
    ----------
    node : Node
    order : the names, in the order the function takes their arrays
    ratio : Fraction, the scale, model : full size

    Returns
    -------
    callable of as many arrays or floats (they are broadcast), giving an array of float64. Where the
    expression has no value the result is nan or infinite; nothing is raised or warned of. For
    estimates and simulations only: figures that are shown come from the exact evaluation.

    Raises
    ------
    KeyError
        A name of the expression that is not in ``order``.

    Examples
    --------
    >>> from scaler.expressions.parsing import parse_expression
    >>> double = compile_float(parse_expression("2 * a.x"), ["a.x"], Fraction(1))
    >>> double([1.0, 2.0]).tolist()
    [2.0, 4.0]
    """
    import numpy

    places = {name: place for place, name in enumerate(order)}
    step = _step(node, places, float(ratio))

    def run(*arrays: Any) -> Array:
        if len(arrays) != len(places):
            raise TypeError(f"{len(places)} arrays are needed, {len(arrays)} were given")
        given = [numpy.asarray(array, dtype=numpy.float64) for array in arrays]
        with numpy.errstate(all="ignore"):
            result = numpy.asarray(step(given), dtype=numpy.float64)
        shape = numpy.broadcast_shapes(result.shape, *(array.shape for array in given))
        return numpy.array(numpy.broadcast_to(result, shape))

    return run


def _step(node: Node, places: Mapping[str, int], ratio: float) -> Step:
    """The closure of one part: takes all arrays, gives the part's values."""
    import numpy

    def fold(parts: tuple[Node, ...], join: Any) -> Step:
        steps = [_step(part, places, ratio) for part in parts]
        return lambda given: reduce(join, [step(given) for step in steps])

    def fixed(value: float) -> Step:
        number = numpy.float64(value)
        return lambda given: number

    match node:
        case Number(value=value) | Length(mm=value) | Angle(degrees=value):
            return fixed(float(value))
        case FullLength(mm=value):
            return fixed(float(value) * ratio)
        case Pi():
            return fixed(numpy.pi)
        case Name(name=name):
            place = places[name]
            return lambda given: given[place]
        case Add(terms=terms):
            return fold(terms, numpy.add)
        case Mul(factors=factors):
            return fold(factors, numpy.multiply)
        case Div(numerator=numerator, denominator=denominator):
            return fold((numerator, denominator), numpy.divide)
        case Neg(value=inner):
            negated = _step(inner, places, ratio)
            return lambda given: -negated(given)
        case Power(base=base, exponent=exponent):
            based, power = _step(base, places, ratio), float(exponent)
            return lambda given: based(given) ** power
        case Function(name=name, args=args):
            if name in ("min", "max"):
                return fold(args, numpy.minimum if name == "min" else numpy.maximum)
            inside = _step(args[0], places, ratio)
            if name in ("sqrt", "abs"):
                plain = numpy.sqrt if name == "sqrt" else numpy.abs
                return lambda given: plain(inside(given))
            if name in ("sin", "cos", "tan"):
                forward = {"sin": numpy.sin, "cos": numpy.cos, "tan": numpy.tan}[name]
                return lambda given: forward(numpy.radians(inside(given)))
            back = {"asin": numpy.arcsin, "acos": numpy.arccos, "atan": numpy.arctan}[name]
            return lambda given: numpy.degrees(back(inside(given)))
    assert_never(node)
