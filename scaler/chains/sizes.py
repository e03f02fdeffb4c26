"""What a model knows of the sizes of a chain: limits, readings, cuts, origins, refusals."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.chains.expressions import Body
from scaler.chains.records import Chain, Given
from scaler.chains.sampling import Draws
from scaler.chains.stack import Convention
from scaler.checking.check import Checker, Statement
from scaler.checking.last_cut import NoRange, range_of
from scaler.expressions import (
    ANGLE,
    LENGTH,
    NUMBER,
    Add,
    Comparison,
    Dimension,
    DimensionError,
    EvaluationError,
    ExpressionError,
    Neg,
    Node,
    comparison_dimension,
    dimension,
    evaluate,
    names,
    parse_comparison,
    parse_expression,
)
from scaler.measures.lengths import format_mm
from scaler.problems import InputError, Place, Problem, did_you_mean, shorten
from scaler.records import Basis, BasisKind, Kind, Model, Verdict
from scaler.settling.limits import uncertainty
from scaler.settling.solve import middle

if TYPE_CHECKING:
    from scaler.settling.settle import Settled
    from scaler.settling.solve import Value

ZERO = Fraction(0)
_EXPRESSION_MARKS = frozenset(" .'\"()+-−*/×·÷^<>=≤≥")
_COMPARISON_MARKS = frozenset("<>=≤≥")
HERE = Place("command", 1)


@dataclass(frozen=True, slots=True)
class Asked:
    """What a chain was asked for: a statement, and whether it stands in the model."""

    statement: Statement
    in_model: bool = True


def asked_for(checker: Checker, name: str) -> Asked:
    """The statement of a name, or of an expression or comparison written out.

    Raises InputError: no such pair or condition, a size that is not there, a text that cannot be
    read, lengths and numbers mixed.
    """
    for statement in checker.statements:
        if statement.id == name:
            return Asked(statement)
    ids = [statement.id for statement in checker.statements]
    copies = [item for item in ids if item.startswith(f"{name}@")]
    if copies:
        raise InputError(
            [
                Problem(
                    "copies-apart",
                    f"{name} is looked at copy by copy, as a made copy takes part",
                    read=name,
                    expected="one of its copies",
                    advice="write " + " or ".join(copies[:6]),
                )
            ]
        )
    if not _EXPRESSION_MARKS & set(name):
        raise InputError([_unknown(name, ids)])
    return Asked(_written(checker, name, ids), in_model=False)


def _unknown(name: str, ids: Sequence[str]) -> Problem:
    return Problem(
        "unknown-chain",
        f"there is no pair or condition '{shorten(name, 60)}'",
        read=name,
        expected="the name of a pair or a condition, or an expression of sizes",
        advice=did_you_mean(name, ids),
    )


def _written(checker: Checker, text: str, ids: Sequence[str]) -> Statement:
    model = checker.model
    lower: Fraction | None = None
    upper: Fraction | None = None
    try:
        if _COMPARISON_MARKS & set(text):
            comparison = parse_comparison(text)
            _known(model, comparison, text)
            comparison_dimension(comparison, lambda n: size_dimension(model, n))
            node, lower, upper = _window(comparison, model.ratio)
        else:
            node = parse_expression(text)
            _known(model, node, text)
            dimension(node, lambda n: size_dimension(model, n), text)
    except DimensionError as error:
        raise InputError(
            [
                Problem(
                    "dimension",
                    f"the chain {error.problem}",
                    read=text,
                    expected=error.expected,
                    advice=error.advice,
                )
            ]
        ) from None
    except ExpressionError as error:
        near = did_you_mean(text, ids)
        raise InputError(
            [
                Problem(
                    "expression",
                    f"neither the name of a chain nor an expression: {error.problem}",
                    read=text,
                    expected=error.expected,
                    advice=near if near.startswith("did") else error.advice,
                    excerpt=error.text,
                    span=(error.start, error.end),
                )
            ]
        ) from None
    except EvaluationError as error:
        raise InputError([Problem("no-value", f"the chain: {error}", read=text)]) from None
    return Statement(
        id=text,
        what="expression",
        node=node,
        lower=lower,
        upper=upper,
        basis=Basis(BasisKind.BOTH_LIMITS),
        text=text,
        inner="",
        outer="",
        title="",
        why="",
        source="",
        dimension=dimension(node, lambda n: size_dimension(model, n)).describe(),
        place=HERE,
        must=False,
    )


def _known(model: Model, node: Node | Comparison, text: str) -> None:
    problems = []
    for name in names(node):
        identity, _, copy = name.partition("@")
        if identity not in model.sizes:
            problems.append(
                Problem(
                    "unknown-size",
                    f"the chain names '{shorten(name, 60)}': there is no such size",
                    read=text,
                    expected="sizes of this model",
                    advice=did_you_mean(identity, model.sizes),
                )
            )
        elif copy and (identity, copy) not in model.readings:
            read = sorted(c for i, c in model.readings if i == identity and c)
            problems.append(
                Problem(
                    "unknown-copy",
                    f"the chain names '{shorten(name, 60)}': there is no reading of that copy",
                    read=text,
                    expected=", ".join(read) or "a copy with a reading",
                    advice=did_you_mean(copy, read),
                )
            )
    if problems:
        raise InputError(problems)


def _window(
    comparison: Comparison, ratio: Fraction
) -> tuple[Node, Fraction | None, Fraction | None]:
    """``low <= expression <= high`` from a comparison: constants are bounds, the rest is moved."""
    sides = list(comparison.sides)
    if comparison.relation == ">=":
        sides.reverse()
    if len(sides) == 3:
        low, node, high = sides
        if names(low) or names(high):
            raise ExpressionError(
                comparison.text,
                0,
                len(comparison.text),
                "the outer values of a comparison of three name sizes",
                "constants outside, sizes in the middle",
            )
        return node, _constant(low, ratio), _constant(high, ratio)
    left, right = sides
    equal = comparison.relation == "=="
    if not names(left):
        bound = _constant(left, ratio)
        return right, bound, bound if equal else None
    if not names(right):
        bound = _constant(right, ratio)
        return left, bound if equal else None, bound
    return Add((right, Neg(left))), ZERO, ZERO if equal else None


def _constant(node: Node, ratio: Fraction) -> Fraction:
    return middle(evaluate(node, {}, ratio))


def size_dimension(model: Model, name: str) -> Dimension:
    """Length, angle or number, of a size."""
    kind = model.sizes[name.partition("@")[0]].kind
    if kind.is_length:
        return LENGTH
    return ANGLE if kind is Kind.ANGLE else NUMBER


def model_dimension(model: Model, node: Node) -> Dimension:
    """The dimension of an expression of a model's sizes."""
    return dimension(node, lambda name: size_dimension(model, name))


def unit_of(found: Dimension) -> str:
    """The unit of a dimension: ``mm``, ``deg``, ``mm^2``; '' for a plain number."""
    if found.angle:
        return "deg"
    if not found.length:
        return ""
    return "mm" if found.length == 1 else f"mm^{found.length}"


def takes_refused(checker: Checker, node: Node) -> bool:
    """Whether a part that gets no figure takes part, also through definitions."""
    stack, seen = list(names(node)), set()
    while stack:
        name = stack.pop()
        if name in seen:
            continue
        seen.add(name)
        identity = name.partition("@")[0]
        if identity.partition(".")[0] in checker.refused:
            return True
        if name not in checker.values:
            size = checker.model.sizes.get(identity)
            if size is not None and size.equals is not None:
                stack += names(size.equals)
            for method in size.rule if size is not None else ():
                if method.argument is not None:
                    stack += names(method.argument)
    return False


def refused_chain(asked: Asked, convention: Convention, problems: Iterable[Problem] = ()) -> Chain:
    """A chain without figures: a pressure part takes part, or (with problems) it has no value."""
    item = asked.statement
    found = tuple(problems)
    refused = not found
    if refused:
        found = (
            Problem(
                "refused",
                f"{item.id}: a pressure part takes part, and no figure is given; follow the code "
                "that applies where you are and ask the inspecting body",
                item.place if asked.in_model else None,
                severity="warning",
            ),
        )
    bounds = (None, None) if refused else (item.lower, item.upper)
    return Chain(
        id=item.id,
        what=item.what,
        title=item.title,
        expression=item.text,
        unit="mm" if item.dimension == "length" else "",
        basis=str(item.basis),
        wanted=bounds,
        basic=None,
        mean=None,
        worst_case=(None, None),
        worst_case_made=(None, None),
        root_sum_square=(None, None),
        standard_deviation=None,
        contributors=(),
        cancelled=(),
        monte_carlo=None,
        verdict=Verdict.REFUSED if refused else None,
        tighten_first=None,
        could_be_relaxed=(),
        measure_again=(),
        capability=convention.capability,
        mean_shift=convention.mean_shift,
        linear=False,
        refused=refused,
        notes=found,
        place=item.place if asked.in_model else None,
    )


def givens_of(
    checker: Checker, statement: Statement, body: Body, basic: Value, basis: str
) -> tuple[dict[str, Given], list[Problem]]:
    """Every size of a chain with the limits that count on its basis, and notes on that."""
    notes: list[Problem] = []
    if basis == "stated" and statement.basis.kind is BasisKind.LAST_CUT:
        _, aim, note = checker.on_basis(statement, basic)
        if note:
            notes.append(Problem("basis", f"{statement.id}: {note}", severity="warning"))
        if aim is not None and aim.size in body.names:
            return _by_last_cut(checker, statement, body, aim.size, aim.target, aim.by), notes
    return {name: limits_given(checker, name) for name in body.names}, notes


def _by_last_cut(
    checker: Checker, statement: Statement, body: Body, last: str, target: Fraction, by: str
) -> dict[str, Given]:
    found = {}
    for name in body.names:
        size = checker.model.sizes[name.partition("@")[0]]
        given = _plain(checker, name)
        if name == last:
            half = checker.cuts.tolerance(*checker.cuts.last_of(statement))[0] / 2
            shift = target - middle(checker.values[name])
            found[name] = replace(
                given,
                lower=shift - half,
                upper=shift + half,
                source=f"last cut ({by}) to {format_mm(target, 3)}",
                process=by,
                origin=ZERO,
            )
            continue
        reading = checker.model.readings.get((size.id, name.partition("@")[2]))
        tool, worth = uncertainty(size, reading.instrument if reading else "")
        found[name] = replace(
            given,
            lower=-worth,
            upper=worth,
            source=f"read with {tool}; {last} is cut to it",
            reading=True,
            origin=ZERO,
        )
    return found


def _plain(checker: Checker, name: str) -> Given:
    identity, _, copy = name.partition("@")
    size = checker.model.sizes[identity]
    part = checker.model.parts[size.part]
    settled: Settled | None = (
        None if checker.is_made(name) and copy else checker.settlement.of(name)
    )
    return Given(
        checker.values[name],
        process=settled.method if settled else "",
        kind=size.kind.value,
        copies=1 if copy else part.count,
    )


def limits_given(checker: Checker, name: str) -> Given:
    """A size within its limits, and from its uncertain origin where it is not yet made. [mm]

    Raises EvaluationError where its range hangs on itself, by last cuts in a ring.
    """
    size = checker.model.sizes[name.partition("@")[0]]
    limits = checker.limits(name)
    try:
        down, up = range_of(checker, name)
    except NoRange as error:  # a ring of last cuts through definitions
        raise EvaluationError(name, str(error)) from None
    source = limits.source
    if (down, up) != (limits.lower, limits.upper):
        served = ", ".join(item.id for item in checker.cuts.statements(name))
        source = f"cut last to suit {served}"
    made = checker.is_made(name)
    origin, text = ZERO, ""
    if size.uncertainty and not made and size.kind.is_length:
        origin = abs(size.uncertainty) * checker.model.ratio
        text = f"{size.origin} ± {format_mm(abs(size.uncertainty))} mm full size"
    return replace(
        _plain(checker, name),
        lower=down,
        upper=up,
        source=source,
        reading=made,
        origin=origin,
        origin_text=text,
    )


def measured_of(
    checker: Checker, named: Iterable[str], options: Draws, what: str
) -> tuple[Draws, list[Problem]]:
    """Readings of the copies of each size, for draws from what was measured.

    Raises InputError where no size of the chain has two readings or more.
    """
    found = dict(options.measured)
    for name in named:
        if name in found or "@" in name:
            continue
        values = [
            float(reading.value)
            for (identity, _), reading in checker.model.readings.items()
            if identity == name
        ]
        if len(values) >= 2:
            found[name] = values
    drawn = [name for name in named if name in found]
    if not drawn:
        raise InputError(
            [
                Problem(
                    "no-readings",
                    f"{what}: no size of the chain has two readings or more to draw from",
                    read="measured",
                    expected="readings of copies, or readings given for a size",
                    advice="draw from normal, uniform or triangular limits",
                )
            ]
        )
    rest = [name for name in named if name not in found]
    notes = []
    if rest:
        notes.append(
            Problem(
                "drawn-normal",
                f"{what}: no readings of {', '.join(rest)}; drawn from normal limits",
                severity="warning",
            )
        )
    return replace(options, measured=found), notes
