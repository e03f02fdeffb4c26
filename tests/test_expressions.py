"""What can be written in an expression, what it is read as, and what is said where it cannot."""

from __future__ import annotations

import ast
import pickle
import time
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import scaler.expressions.nodes
from scaler.expressions import (
    ANGLE,
    FUNCTIONS,
    LENGTH,
    NUMBER,
    Add,
    Angle,
    Dimension,
    DimensionError,
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
    comparison_dimension,
    comparison_text,
    dimension,
    evaluate,
    names,
    parse_comparison,
    parse_expression,
    rename,
    text,
    walk,
)

A, B, C = Name("a.x"), Name("b.y"), Name("c.z")
ONE = Fraction(1)


def number(value: int | str) -> Number:
    """A number node."""
    return Number(Fraction(value))


# --- what is read ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "tree"),
    [
        ("1.5", number("1.5")),
        (".5", number("0.5")),
        ("007", number(7)),
        ("1/2", Div(number(1), number(2))),
        ("a.x", A),
        ("pump_2.bore_1@no_1", Name("pump_2.bore_1@no_1")),
        ("a.x@1", Name("a.x@1")),
        ("a.x + b.y - c.z", Add((A, B, Neg(C)))),
        ("a.x - (b.y - c.z)", Add((A, Neg(Add((B, Neg(C))))))),
        ("a.x * b.y * c.z", Mul((A, B, C))),
        ("a.x / b.y / c.z", Div(Div(A, B), C)),
        ("a.x / b.y * c.z", Mul((Div(A, B), C))),
        ("a.x * b.y / c.z", Div(Mul((A, B)), C)),
        ("a.x * (b.y * c.z)", Mul((A, Mul((B, C))))),
        ("a.x * (b.y / c.z)", Mul((A, Div(B, C)))),
        ("a.x / (b.y / c.z)", Div(A, Div(B, C))),
        ("a.x / (b.y * c.z)", Div(A, Mul((B, C)))),
        ("(a.x * b.y) * c.z", Mul((Mul((A, B)), C))),
        ("(a.x + b.y) + c.z", Add((Add((A, B)), C))),
        ("(a.x^2)^3", Power(Power(A, Fraction(2)), Fraction(3))),
        ("-(a.x / b.y)", Neg(Div(A, B))),
        ("-(a.x + b.y)", Neg(Add((A, B)))),
        ("-a.x^2", Neg(Power(A, Fraction(2)))),
        ("(-a.x)^2", Power(Neg(A), Fraction(2))),
        ("-a.x * b.y", Mul((Neg(A), B))),
        ("a.x * -b.y", Mul((A, Neg(B)))),
        ("a.x - -b.y", Add((A, Neg(Neg(B))))),
        ("+a.x", A),
        ("a.x^-1/2", Div(Power(A, Fraction(-1)), number(2))),
        ("a.x^(-1/2)", Power(A, Fraction(-1, 2))),
        ("a.x^(1 + 2*3 - 4/2)", Power(A, Fraction(5))),
        ("a.x**0.5", Power(A, Fraction(1, 2))),
        ("2 − 3 × 4 ÷ 5 · 6", Add((number(2), Neg(Mul((Div(Mul((number(3), number(4))), number(5)), number(6))))))),
        ("'0.8 mm'", Length(Fraction(4, 5))),
        ('"1/32 in"', Length(Fraction("0.79375"))),
        ("\"4' 8 1/2 in\"", Length(Fraction("1435.1"))),
        ("full('1/32 in')", FullLength(Fraction("0.79375"))),
        ("full ( '1/32 in' )", FullLength(Fraction("0.79375"))),
        ("'7.5 deg'", Angle(Fraction(15, 2))),
        ("'7.5deg'", Angle(Fraction(15, 2))),
        ("'7° 30′'", Angle(Fraction(15, 2))),
        ("\"7° 30'\"", Angle(Fraction(15, 2))),
        ("min(a.x, b.y, 0)", Function("min", (A, B, number(0)))),
        ("sqrt((a.x))", Function("sqrt", (A,))),
        ("pi * a.x", Mul((Pi(), A))),
        ("π * a.x", Mul((Pi(), A))),
        ("\ta.x\r\n+\n b.y ", Add((A, B))),
    ],
)  # fmt: skip
def test_trees(written: str, tree: Node) -> None:
    """Each form of the grammar, with what it is read as."""
    assert parse_expression(written) == tree
    assert hash(parse_expression(written)) == hash(tree)
    assert parse_expression(text(tree)) == tree


arithmetic = st.recursive(
    st.sampled_from(["1", "2", "3", "7", "0.5", "2.25"]),
    lambda inner: st.one_of(
        st.builds("{} {} {}".format, inner, st.sampled_from("+-*/"), inner),
        st.builds("({})".format, inner),
        st.builds("-{}".format, inner),
    ),
    max_leaves=12,
)


def by_python(node: ast.expr) -> Fraction:
    """The value of plain arithmetic as Python's own parser understands it."""
    if isinstance(node, ast.Constant):
        return Fraction(str(node.value))
    if isinstance(node, ast.UnaryOp):
        return -by_python(node.operand)
    assert isinstance(node, ast.BinOp)
    left, right = by_python(node.left), by_python(node.right)
    if isinstance(node.op, ast.Add):
        return left + right
    if isinstance(node.op, ast.Sub):
        return left - right
    return left * right if isinstance(node.op, ast.Mult) else left / right


@given(arithmetic)
def test_arithmetic_is_read_as_python_reads_it(written: str) -> None:
    """Order of operations and exactness, against Python's own parser and fractions."""
    node = parse_expression(written)
    try:
        expected = by_python(ast.parse(written, mode="eval").body)
    except ZeroDivisionError:
        with pytest.raises(EvaluationError, match="divides by zero"):
            evaluate(node, {}, ONE)
    else:
        assert evaluate(node, {}, ONE) == expected


grammar = st.recursive(
    st.sampled_from(["a.x", "b.y@2", "3", "0.25", "0", "'1/8 in'", "full('2 ft')", "'30 deg'", "pi"]),
    lambda inner: st.one_of(
        st.builds("{} {} {}".format, inner, st.sampled_from("+-*/"), inner),
        st.builds("{} {} ({} {} {})".format, inner, st.sampled_from("+-*/"), inner, st.sampled_from("+-*/"), inner),
        st.builds("-{}".format, inner),
        st.builds("-({})".format, inner),
        st.builds("({})^{}".format, inner, st.sampled_from(["2", "-3", "(1/2)", "0.25", "-(2/3)"])),
        st.builds("{}({})".format, st.sampled_from([f for f in FUNCTIONS if f not in ("min", "max")]), inner),
        st.builds("{}({}, {})".format, st.sampled_from(["min", "max"]), inner, inner),
    ),
    max_leaves=20,
)  # fmt: skip


@given(grammar)
def test_text_reads_back_as_the_same_tree(written: str) -> None:
    """What is written out is read as the same tree, and written out the same again."""
    node = parse_expression(written)
    again = parse_expression(text(node))
    assert again == node
    assert text(again) == text(node)


@given(grammar, grammar, st.sampled_from(["<=", ">=", "=="]))
def test_comparison_text_reads_back(left: str, right: str, relation: str) -> None:
    """Comparisons of two and of three read back as the same."""
    for written in (f"{left}{relation}{right}", f"{left} {relation} {right} {relation} 0"):
        comparison = parse_comparison(written)
        assert parse_comparison(comparison_text(comparison)) == comparison


def test_hand_made_numbers_are_written_so_that_they_keep_their_value() -> None:
    """Negative and unending numbers that no text gives directly."""
    tree = Power(
        Add((Number(Fraction(-1, 3)), Number(Fraction(-2)), Length(Fraction(10, 3)))), ONE * 2
    )
    assert evaluate(parse_expression(text(tree)), {}, ONE) == 1


def test_places_of_the_parts() -> None:
    """Each part knows the characters it was read from."""
    written = "2*(a.x - '1 mm') / sqrt(b.y)"
    found = [written[node.start : node.end] for node in walk(parse_expression(written))]
    assert found == [
        written, "2*(a.x - '1 mm')", "2", "a.x - '1 mm'", "a.x", "- '1 mm'", "'1 mm'", "sqrt(b.y)", "b.y",
    ]  # fmt: skip


def test_names_in_order_of_first_appearance() -> None:
    """Each name once, also over the sides of a comparison."""
    assert names(parse_expression("b.y + sqrt(a.x * b.y) / c.z@left")) == ("b.y", "a.x", "c.z@left")
    assert names(parse_comparison("a.x <= c.z - a.x <= b.y")) == ("a.x", "c.z", "b.y")


def test_rename_reaches_every_name() -> None:
    """All kinds of parts are gone through, places kept."""
    node = parse_expression("-a.x * 2 / (b.y + '1 mm')^2 - min(a.x, sqrt(b.y))")
    found = rename(node, lambda name: name + "@left")
    assert text(found) == "-a.x@left * 2 / (b.y@left + '1 mm')^2 - min(a.x@left, sqrt(b.y@left))"
    assert (found.start, found.end) == (node.start, node.end)


def test_nodes_are_immutable_hashable_and_travel() -> None:
    """No field can be set; equal trees are one in a set; pickling keeps them."""
    node = parse_expression("sqrt(a.x^2 + '1/8 in'^2) / full('2 ft')")
    with pytest.raises(AttributeError):
        node.start = 3  # type: ignore[misc]
    assert len({node, parse_expression("sqrt(a.x^2+'3.175 mm'^2)/full('2 ft')")}) == 1
    assert pickle.loads(pickle.dumps(node)) == node


def test_the_same_text_is_read_once() -> None:
    """The tree of a text is remembered."""
    assert parse_expression("a.x + 12345") is parse_expression("a.x + 12345")


@pytest.mark.parametrize(
    ("written", "relation", "sides"),
    [
        ("a.x <= b.y", "<=", (A, B)),
        ("a.x>=b.y", ">=", (A, B)),
        ("a.x == b.y", "==", (A, B)),
        ("a.x = b.y", "==", (A, B)),
        ("a.x ≤ b.y", "<=", (A, B)),
        ("a.x ≥ -b.y", ">=", (A, Neg(B))),
        ("0 <= a.x - b.y ≤ c.z", "<=", (number(0), Add((A, Neg(B))), C)),
        ("a.x >= b.y >= c.z", ">=", (A, B, C)),
    ],
)
def test_comparisons(written: str, relation: str, sides: tuple[Node, ...]) -> None:
    """Two sides and three, with each sign."""
    found = parse_comparison(written)
    assert (found.relation, found.sides, found.text) == (relation, sides, written)
    assert found.third is None or found.third == (relation, sides[2])


# --- what is refused, and where --------------------------------------------------------------


@pytest.mark.parametrize(
    ("written", "flagged", "says"),
    [
        ("", "", "nothing is written"),
        ("   ", "   ", "nothing is written"),
        ("a.x +", "", "missing at the end"),
        ("a.x * * b.y", "*", "stands where a value should"),
        ("* a.x", "*", "stands where a value should"),
        ("(a.x + b.y", "", "never closed"),
        ("a.x)", ")", "never opened"),
        ("()", ")", "missing before"),
        ("a.x b.y", "b.y", "write * to multiply"),
        ("2 a.x", "a.x", "write * to multiply"),
        ("2(a.x)", "(", "write * to multiply"),
        ("a.x 1/2", "1", "write * to multiply"),
        ("1 1/2", "1", "1 + 1/2"),
        ("1 '1 mm'", "'1 mm'", "+, -, * or /"),
        ("2x", "2x", "is no number"),
        ("1e3 + 2", "1e3", "write the number out in full"),
        ("0.8mm", "0.8mm", "in quotes"),
        ("1.2.3", "1.2.3", "one point"),
        ("3. + 1", "3.", "a digit after it"),
        ("1,5", ",", "with a point"),
        ("max(1,5;2)", ";", "write ,"),
        ("sqrt(2,5)", ",", "takes one value"),
        ("'0.8 mm", "'0.8 mm", "never closed"),
        ("'0.8'", "0.8", "unit"),
        ("a.x - '1 3/8 inn'", "inn", "inn"),
        ("'361 deg'", "361 deg", "360"),
        ("full(2)", "2", "a length in quotes"),
        ("full('30 deg')", "'30 deg'", "same at every scale"),
        ("full('1 in' + 1)", "+", ""),
        ("sqrt a.x", "sqrt", "'(' after sqrt"),
        ("sqr(a.x)", "sqr", "sqrt"),
        ("atan2(a.x, b.y)", "atan2", "atan"),
        ("bore", "bore", "part.size"),
        ("a.x + 3 mm", "mm", "in quotes, '3 mm'"),
        ("Pump.bore", "Pump.bore", "small letters"),
        ("a.x.y", "a.x.y", "part.size"),
        ("a.2x", "a.2x", "part.size"),
        ("a.x@", "a.x@", "part.size@copy"),
        ("__import__('os')", "__import__", "not known"),
        ("a.__class__", "a.__class__", "part.size"),
        ("a.x if 1 else 2", "if", "not known"),
        ("a.x[0]", "[", "write ("),
        ("a.x^b.y", "b.y", "plain number"),
        ("2^a.x", "a.x", "plain number"),
        ("a.x^(b.y)", "b.y", "plain number"),
        ("a.x^sqrt(4)", "sqrt", "plain number"),
        ("a.x^65", "65", "up to 64"),
        ("a.x^(1/65)", "(1/65)", "up to 64"),
        ("a.x^0", "0", "not 0"),
        ("a.x^(1/0)", "0", "division by zero"),
        ("9^9^9^9", "^", "put the first power in brackets"),
        ("a.x <= b.y", "<=", "a comparison stands on its own"),
        ("(a.x <= b.y)", "<=", "outside all brackets"),
        ("a.x < b.y", "<", "write <="),
        ("a.x > b.y", ">", "write >="),
        ("a.x => b.y", "=>", "write >="),
        ("a.x != b.y", "!=", "compares nothing"),
        ("1000000000001", "1000000000001", "too large"),
        ("0." + "1" * 40, "0." + "1" * 40, "40 digits"),
        ("a.x – b.y", "–", "write -"),
        ("a.x²", "²", "write ^2"),
        ("√2", "√", "sqrt"),
        ("‘0.8 mm’", "‘", "write '"),
        ("30°", "°", "in quotes"),
        ("a.x ± 1", "±", "two comparisons"),
        ("а.x", "а", "cyrillic small letter a"),
        ("１ + 2", "１", "write 1"),
        ("a.x\x00", "\x00", "U+0000"),
        ("a.x\u202e", "\u202e", "U+202E"),
        ("a.x\u00a0+ 1", "\u00a0", "no-break space"),
        ("a.x # 1", "#", "number sign"),
        ("a.x; b.y", ";", "semicolon"),
    ],
)  # fmt: skip
def test_refusals_and_their_places(written: str, flagged: str, says: str) -> None:
    """What is wrong is marked, and the message says what to do."""
    with pytest.raises(ExpressionError) as caught:
        parse_expression(written)
    error = caught.value
    assert error.text == written
    assert written[error.start : error.end] == flagged
    assert says in str(error)
    assert error.problem and "\n" not in str(error)


@pytest.mark.parametrize(
    ("written", "flagged", "says"),
    [
        ("a.x + b.y", "a.x + b.y", "nothing is compared"),
        ("a.x <= b.y >= c.z", ">=", "'<=' both times"),
        ("a.x <= b.y == c.z", "==", "two conditions"),
        ("1 <= a.x <= b.y <= c.z", "<=", "more than three values"),
        ("a.x <= <= b.y", "<=", "stands where a value should"),
        ("a.x <==b.y", "<==", "compares nothing"),
        ("<= a.x", "<=", "stands where a value should"),
        ("a.x < b.y", "<", "at the very limit"),
        ("a.x <= b.y)", ")", "never opened"),
        ("min(a.x <= 2, 3) <= 4", "<=", "outside all brackets"),
    ],
)
def test_refused_comparisons(written: str, flagged: str, says: str) -> None:
    """Strict signs, changes of direction, missing sides."""
    with pytest.raises(ExpressionError) as caught:
        parse_comparison(written)
    assert written[caught.value.start : caught.value.end] == flagged
    assert says in str(caught.value)


def test_only_text_is_read() -> None:
    """Anything else than text is a mistake of the program, not of the file."""
    with pytest.raises(TypeError, match="an expression is text"):
        parse_expression(12)  # type: ignore[arg-type]


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(written: str) -> None:
    """Random text gives a tree or an ExpressionError with a place inside the text."""
    for parse in (parse_expression, parse_comparison):
        try:
            parse(written)
        except ExpressionError as error:
            assert 0 <= error.start <= error.end <= len(written)
            assert str(error)


PIECES = """a.x b.y@1 3 1.5 .5 '1 mm' '2 deg' "1/2 in" full( full('1 in') ( ) + - * / ^ ** , <= >= = == <
sqrt( min( sin pi ' " @ . 1e5 − × ° ½ aB _ 0""".replace("\n", " ").split(" ")


@given(st.lists(st.sampled_from(PIECES), max_size=30), st.sampled_from(["", " "]))
def test_any_mixture_of_pieces_is_read_or_refused(pieces: list[str], between: str) -> None:
    """Mixtures of good pieces go deeper; what is read also reads back."""
    written = between.join(pieces)
    for parse in (parse_expression, parse_comparison):
        try:
            parse(written)
        except ExpressionError as error:
            assert 0 <= error.start <= error.end <= len(written)
    try:
        node = parse_expression(written)
    except ExpressionError:
        return
    assert parse_expression(text(node)) == node


BOMBS = {
    "brackets": "(" * 1999,
    "closed brackets": "(" * 999 + "1" + ")" * 999,
    "signs": "-" * 1999 + "1",
    "roots": "sqrt(" * 300 + "2" + ")" * 300,
    "powers": "^".join(["9"] * 500),
    "bracketed powers": "(" * 60 + "9" + "^9)" * 60,
    "divisions": "/".join(["1"] * 900),
    "alternating": "1" + "*2/3" * 400,
    "terms": "+".join(["1"] * 900),
    "long": "a.x + " * 2000 + "1",
    "digits": "1" * 1999,
    "points": "1." * 900,
    "letters": "a" * 1999,
    "dots": "a." * 900,
    "quotes": "'" * 1999,
    "long length": "'" + "1" * 1500 + " mm'",
    "blanks": " " * 100_000,
    "commas": "min(" + "," * 1500 + ")",
    "exponent": "2^(" + "9*" * 800 + "9)",
    "relations": "<=" * 900,
    "combining": "a.x" + "\u0301" * 1500,
    "nul": "\x00" * 1999,
}


@pytest.mark.parametrize("bomb", BOMBS.values(), ids=BOMBS.keys())
def test_bombs_are_refused_at_once(bomb: str) -> None:
    """Texts made to blow up are refused, each within a second and with a short message."""
    started = time.perf_counter()
    for parse in (parse_expression, parse_comparison):
        with pytest.raises(ExpressionError) as caught:
            parse(bomb)
        assert len(str(caught.value)) < 400
    assert time.perf_counter() - started < 1


def test_bounds_are_where_they_are_said_to_be() -> None:
    """The greatest that is taken and the least that is not, for each bound."""
    good = {
        "1" + " " * 1999: "1" + " " * 2000,
        "+".join(["1"] * 499): "+".join(["1"] * 500),
        "(" * 50 + "1" + ")" * 50: "(" * 51 + "1" + ")" * 51,
        "/".join(["1"] * 50): "/".join(["1"] * 51),
        "-" * 49 + "1": "-" * 51 + "1",
        str(10**12): str(10**12 + 1),
        "1" * 10 + "." + "1" * 30: "1" * 10 + "." + "1" * 31,
        "a.x^64": "a.x^65",
        "a.x^(-64)": "a.x^(-65)",
    }
    for taken, refused in good.items():
        parse_expression(taken)
        with pytest.raises(ExpressionError):
            parse_expression(refused)


def test_errors_travel() -> None:
    """Errors keep their parts when pickled."""
    with pytest.raises(ExpressionError) as caught:
        parse_expression("a.x + ")
    again = pickle.loads(pickle.dumps(caught.value))
    assert (str(again), again.start) == (str(caught.value), caught.value.start)
    with pytest.raises(DimensionError) as muddled:
        dimension(parse_expression("a.x + 1"), lambda name: LENGTH)
    assert pickle.loads(pickle.dumps(muddled.value)).parts == ("a.x", "1")


def test_nothing_here_runs_text() -> None:
    """No call of eval, exec, compile, sympify or parse_expr in any module of expressions."""
    folder = Path(scaler.expressions.nodes.__file__).parent
    modules = list(folder.glob("*.py"))
    assert len(modules) >= 8
    for module in modules:
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
            called = node.func if isinstance(node, ast.Call) else None
            name = getattr(called, "id", getattr(called, "attr", ""))
            if name == "compile":  # a pattern's
                assert isinstance(called, ast.Attribute) and ast.unparse(called) == "re.compile"
            assert name not in {
                "eval",
                "exec",
                "sympify",
                "parse_expr",
                "lambdify",
                "__import__",
                "S",
            }


# --- dimensions ------------------------------------------------------------------------------

KINDS = {"a.x": LENGTH, "b.y": LENGTH, "t.n": NUMBER, "t.a": ANGLE}


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("3", "number"),
        ("pi", "number"),
        ("0", "number"),
        ("a.x", "length"),
        ("'1 mm' + full('1 in')", "length"),
        ("a.x * b.y", "area"),
        ("a.x * b.y * a.x", "volume"),
        ("a.x^3 / b.y^2", "length"),
        ("a.x / b.y", "number"),
        ("1 / a.x", "number per length"),
        ("sqrt(a.x)", "length to the power 1/2"),
        ("sqrt(a.x^2 + b.y^2)", "length"),
        ("(a.x * b.y)^(1/2)", "length"),
        ("a.x^4", "length to the power 4"),
        ("2 * t.a - '3 deg'", "angle"),
        ("t.a / '1 deg'", "number"),
        ("a.x * (t.a / '1 deg') * pi / 180", "length"),
        ("a.x * sin(t.a)", "length"),
        ("atan(a.x / b.y) + '1 deg'", "angle"),
        ("a.x + 0", "length"),
        ("0 - t.a", "angle"),
        ("max(0, a.x)", "length"),
        ("sin(0) + asin(0) / '1 deg'", "number"),
        ("abs(a.x - b.y) / t.n", "length"),
        ("-(a.x)", "length"),
        ("0 * a.x", "length"),
    ],
)
def test_dimensions(written: str, words: str) -> None:
    """The dimension of each form, in words."""
    assert dimension(parse_expression(written), KINDS.__getitem__).describe() == words


@pytest.mark.parametrize(
    ("written", "problem", "flagged", "parts"),
    [
        ("a.x + 2", "adds a length to a number", "2", ("a.x", "2")),
        ("2 + a.x", "adds a number to a length", "a.x", ("2", "a.x")),
        ("a.x - 2*t.n", "takes a number from a length", "2*t.n", ("a.x", "2 * t.n")),
        ("b.y - a.x*b.y + 0", "takes an area from a length", "a.x*b.y", ("b.y", "a.x * b.y")),
        ("a.x + 0 + t.a", "adds a length to an angle", "t.a", ("a.x", "t.a")),
        ("min(a.x, t.n)", "compares a length with a number", "t.n", ("a.x", "t.n")),
        ("sin(a.x)", "takes the sin of a length", "a.x", ("a.x",)),
        ("cos(30)", "takes the cos of a number", "30", ("30",)),
        ("asin(a.x)", "takes the asin of a length", "a.x", ("a.x",)),
        ("atan(t.a)", "takes the atan of an angle", "t.a", ("t.a",)),
        ("a.x*t.a", "multiplies a length by an angle", "t.a", ("a.x", "t.a")),
        ("t.a*2*t.a", "multiplies an angle by an angle", "t.a", ("t.a", "t.a")),
        ("1/t.a", "divides a number by an angle", "t.a", ("1", "t.a")),
        ("t.a/a.x", "divides an angle by a length", "a.x", ("t.a", "a.x")),
        ("t.a^2", "raises an angle to a power", "t.a", ("t.a",)),
        ("sqrt(t.a)", "raises an angle to a power", "t.a", ("t.a",)),
    ],
)
def test_muddled_dimensions(
    written: str, problem: str, flagged: str, parts: tuple[str, ...]
) -> None:
    """What is muddled, in words, with both parts and the place of the second."""
    with pytest.raises(DimensionError) as caught:
        dimension(parse_expression(written), KINDS.__getitem__, written)
    error = caught.value
    assert (error.problem, error.parts) == (problem, parts)
    assert error.text[error.start : error.end] == flagged
    assert error.text == written


def test_dimension_errors_without_the_source_point_into_the_written_out_text() -> None:
    """Without the source the expression is written out afresh."""
    with pytest.raises(DimensionError) as caught:
        dimension(parse_expression("1*( a.x+2 )"), KINDS.__getitem__)
    error = caught.value
    assert error.text == "1 * (a.x + 2)"
    assert error.text[error.start : error.end] == "2"
    assert "a.x is a length, 2 is a number; write '2 mm' if that is meant" in error.advice


def test_sides_of_a_comparison_must_be_alike() -> None:
    """A length against a number is refused; a plain 0 fits."""
    good = parse_comparison("0 <= a.x - b.y <= '3 mm'")
    assert comparison_dimension(good, KINDS.__getitem__) == LENGTH
    with pytest.raises(DimensionError, match="compares a length with a number") as caught:
        comparison_dimension(parse_comparison("a.x  >= 3"), KINDS.__getitem__)
    assert caught.value.text == "a.x  >= 3"
    assert (caught.value.start, caught.value.end) == (8, 9)


def test_unknown_names_are_the_callers_to_report() -> None:
    """What ``dimension_of`` raises passes through."""
    with pytest.raises(KeyError, match=r"z\.z"):
        dimension(parse_expression("z.z + 1"), KINDS.__getitem__)


def test_describe_of_odd_powers() -> None:
    """Dimensions that have no word of their own."""
    assert Dimension(Fraction(-2)).describe() == "length to the power -2"
    assert Dimension(Fraction(3, 2)).describe() == "length to the power 3/2"
