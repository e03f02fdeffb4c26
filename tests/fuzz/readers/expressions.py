"""Expressions: the safe grammar, what is worked out of a tree, and the tree written back."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from readers import example, text_of
from scaler.expressions import bridges, dimensions, nodes, parsing, ranges, values
from scaler.expressions.intervals import Interval

LONGEST = 400
INPUTS = 150_000
WORDS = (
    "a.x", "b.y", "a.x@left", "'1 mm'", "full('1 in')", "'30 deg'", "sqrt(", "sin(", "cos(", "tan(",
    "asin(", "acos(", "atan(", "abs(", "min(", "max(", "pi", "+", "-", "*", "/", "^", "**", "(", ")", ",",
    "<=", ">=", "==", "=", "<", ">", "1e999999", "9^9^9^9", "2^64", "0", "1/0", "nan", "inf", "__import__",
    "lambda", "[", "]", "а.x", "×", "÷", "−", "²", "½", "\0", "^-64", "^(1/2)", "0.5",
)  # fmt: skip
RATIO = Fraction(1, 8)


def read(data: bytes) -> object:
    """A comparison, else an expression; its dimension, value, range, slopes and linear form."""
    text = text_of(data)
    try:
        comparison = parsing.parse_comparison(text)
        try:
            dimensions.comparison_dimension(comparison, lambda name: dimensions.LENGTH)
        except dimensions.DimensionError as error:
            str(error)
        sides: tuple[nodes.Node, ...] = comparison.sides
        nodes.comparison_text(comparison)
    except nodes.ExpressionError as error:
        str(error)
        try:
            sides = (parsing.parse_expression(text),)
        except nodes.ExpressionError as again:
            return str(again)
    done: list[object] = []
    for node in sides:
        written = nodes.text(node)
        try:
            assert parsing.parse_expression(written) == node, f"{written!r} reads as another tree"
        except nodes.ExpressionError as error:  # the text written back may be longer than a bound
            assert len(written) > len(text), (written, str(error))
        done.append(_worked(node))
    return done


def _worked(node: nodes.Node) -> list[object]:
    done: list[object] = []
    try:
        dimensions.dimension(node, lambda name: dimensions.LENGTH)
    except dimensions.DimensionError as error:
        str(error)
    names = nodes.names(node)
    exact = {name: Fraction(5 + number, 3) for number, name in enumerate(names)}
    boxes = {name: Interval(v, v + Fraction(1, 10)) for name, v in exact.items()}
    for work in (
        lambda: values.evaluate(node, exact, RATIO),
        lambda: ranges.gradient(node, boxes, RATIO),
        lambda: ranges.enclose(node, boxes, RATIO, 50),
    ):
        try:
            done.append(work())
        except values.EvaluationError as error:
            str(error)
    form = values.linear(node, RATIO)
    if form is not None:
        found = values.evaluate(node, exact, RATIO)
        inside = found.lower <= form.at(exact) <= found.upper if isinstance(found, Interval) else (
            found == form.at(exact)
        )  # fmt: skip
        assert inside, "the linear form has another value"
    done.append(bridges.compile_float(node, names, RATIO)(*map(float, exact.values())))
    return done


def seeds() -> Iterator[bytes]:
    """Expressions of all forms, and those of the shipped models."""
    for text in (
        "a.x / 2", "a.x + b.y - '1 mm'", "sqrt(a.x^2 + b.y^2) <= '3 mm'", "0 <= a.x <= '30 deg'",
        "full('1/32 in') * 2", "pi * a.x^2 / 4 == b.y * '1 mm'", "max(a.x, b.y, '1 mm') >= 0",
        "atan(a.x / b.y) == '30 deg'", "-(a.x - -b.y)", "min(a.x, abs(b.y - a.x))", "2 * (a.x + 1.5 * b.y)",
        "sin('30 deg') * a.x", "a.x@left <= a.x@right", "asin(a.x / '10 mm') + acos(0.5)",
        "((((a.x))))", "a.x^-2", "a.x^0.5", "(" * 30 + "a.x" + ")" * 30, "9^9^9",
    ):  # fmt: skip
        yield text.encode()
    for data in (*example("pattern_d").values(), *example("starter").values()):
        for line in data.decode().split("\n"):
            if line.startswith(("keep", "equation")):
                yield line.partition("=")[2].strip().strip('"').encode()
