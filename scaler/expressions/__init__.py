"""Expressions between sizes, in a small safe grammar of our own.

What can be written::

    barrel.depth - plunger.stroke >= '0.8 mm'
    0 <= rod.length * cos('7.5 deg') - crank.throw <= full('1/32 in')

* numbers, exact: ``3``, ``1.5``, ``.5`` (``1/2`` is a division, and exact too); ``pi``
* names of sizes: ``part.size``, and ``part.size@copy`` for one of several
* lengths in quotes, ``'0.8 mm'`` or ``"1/32 in"``: model lengths, with their unit; a full-size
  length is written ``full('1/32 in')`` and counts times the scale ratio
* angles in quotes, ``'7.5 deg'`` or ``"7° 30'"``
* ``+ - * /`` and brackets, also ``− × · ÷``; ``^`` or ``**`` for a power, which is a plain number:
  ``^2``, ``^-1``, ``^(1/2)``; a sign binds less than a power, ``-3^2`` is −9
* ``sqrt abs min max``, ``sin cos tan`` of an angle, ``asin acos atan`` giving one (degrees)
* at the outside only, ``<=``, ``>=``, ``==`` (or ``≤ ≥ =``), and chains of three values

Bounds: 2,000 characters, 500 parts, 50 parts inside each other, numbers up to 10^12 and 40 digits,
powers up to 64. Beyond them, and for anything else, :class:`ExpressionError` says where and what to
write instead. Nothing in a text is ever run, looked up or handed to another parser; sympy objects
are built from the finished tree, part by part, and only when asked for.

This module is the door; the rooms behind it are ``expression_nodes`` (the trees),
``expression_tokens`` and ``expression_parsing``, ``expression_dimensions`` (length, area, number or
angle), ``expression_values`` (values exact or enclosed, linear forms), ``expression_ranges``
(ranges and sensitivities) and ``expression_bridges`` (sympy, numpy).
"""

from __future__ import annotations

from scaler.expressions.bridges import compile_float, derivatives, to_sympy
from scaler.expressions.dimensions import (
    ANGLE,
    AREA,
    LENGTH,
    NUMBER,
    Dimension,
    DimensionError,
    comparison_dimension,
    dimension,
)
from scaler.expressions.nodes import (
    FUNCTIONS,
    Add,
    Angle,
    Comparison,
    Div,
    EvaluationError,
    ExpressionError,
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
    children,
    comparison_text,
    names,
    rename,
    text,
    walk,
)
from scaler.expressions.parsing import parse_comparison, parse_expression
from scaler.expressions.ranges import enclose, gradient, sensitivities
from scaler.expressions.values import Linear, evaluate, linear

__all__ = [
    "ANGLE",
    "AREA",
    "FUNCTIONS",
    "LENGTH",
    "NUMBER",
    "Add",
    "Angle",
    "Comparison",
    "Dimension",
    "DimensionError",
    "Div",
    "EvaluationError",
    "ExpressionError",
    "FullLength",
    "Function",
    "Length",
    "Linear",
    "Mul",
    "Name",
    "Neg",
    "Node",
    "Number",
    "Pi",
    "Power",
    "children",
    "comparison_dimension",
    "comparison_text",
    "compile_float",
    "derivatives",
    "dimension",
    "enclose",
    "evaluate",
    "gradient",
    "linear",
    "names",
    "parse_comparison",
    "parse_expression",
    "rename",
    "sensitivities",
    "text",
    "to_sympy",
    "walk",
]
