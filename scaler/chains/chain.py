"""Tolerance chains: what a closing dimension comes to when every size is made within its limits.

``chain(model, "piston_in_bore")`` works out one pair or condition of a model, or an expression of
its sizes such as ``"frame.beam_to_driving_axle - frame.beam_to_leading_axle"``; ``chains(model)``
all of them; ``chain_of(expression, sizes)`` one without a model. Each gives the worst case (exact,
or certified where the expression is not linear), the root sum square, random draws, and what every
size has to do with it.

A pair or condition kept by a last cut is taken on that basis: the last size has the tolerance of
its cut about its target, and the others only the uncertainty of their readings. ``basis="both
limits"`` takes every size within its limits instead, as if parts were picked blindly from a heap.

Behind this door: ``chain_expressions`` (one form), ``chain_stack`` (the arithmetic),
``chain_sampling`` (random draws), ``chain_records``, ``chain_report``; beside it
``chain_allocation``, ``chain_routes``, ``chain_many`` and ``chain_pictures``.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from fractions import Fraction
from typing import Any, Literal

from scaler.chains.expressions import body_of, in_made_sizes
from scaler.chains.records import Chain, Contributor, Given, MonteCarlo
from scaler.chains.sampling import Draws, check_draws, sampler
from scaler.chains.sizes import (
    Asked,
    asked_for,
    givens_of,
    measured_of,
    model_dimension,
    refused_chain,
    takes_refused,
    unit_of,
)
from scaler.chains.stack import About, Convention, work_out
from scaler.checking.check import Checker
from scaler.expressions import EvaluationError, Node, names, parse_expression
from scaler.problems import InputError, Place, Problem, did_you_mean
from scaler.progress import told
from scaler.records import BasisKind, Bounds, Model
from scaler.settling.solve import Value

__all__ = ["Chain", "Contributor", "Given", "MonteCarlo", "chain", "chain_of", "chains"]

Number = int | float | str | Fraction
Basis = Literal["stated", "both limits"]


def chain(
    model: Model,
    name: str,
    *,
    draws: int = 100_000,
    seed: int = 1,
    distribution: str = "normal",
    distributions: Mapping[str, str] | None = None,
    measured: Mapping[str, Sequence[float]] | None = None,
    capability: Number = 1,
    mean_shift: Number = 0,
    copies: Literal["alike", "apart"] = "alike",
    basis: Basis = "stated",
    as_drawn: bool = False,
) -> Chain:
    """One chain of a model.

    Parameters
    ----------
    model : Model
    name : a pair, a condition, or an expression or comparison of sizes
    draws, seed : int, how many random draws (0 for none), and where they start
    distribution : normal, uniform, triangular or measured, how sizes are drawn
    distributions : the same for single sizes, by name
    measured : readings of single sizes, by name [mm or degrees]; those sizes are drawn from them
    capability : process capability, 1 where limits are ± 3 standard deviations
    mean_shift : how many standard deviations every mean may wander
    copies : ``alike``: a size that counts twice is one variable, as when copies come from one bar or
        one setting; ``apart``: each copy comes out for itself
    basis : ``stated``, or ``both limits`` for parts picked blindly
    as_drawn : leave readings and made sizes out

    Returns
    -------
    Chain. With no figures at all, and ``refused`` set, where a pressure part takes part.

    Raises
    ------
    InputError
        No such chain or size (with the nearest names); an expression that cannot be read, names no
        size, or has no value within the limits; limits the wrong way round; options that cannot be.
    """
    options = _options(draws, seed, distribution, distributions, measured)
    convention = _convention(capability, mean_shift, copies)
    checker = Checker(model, as_drawn=as_drawn)
    return _chain(checker, asked_for(checker, name), options, convention, _basis(basis))


def chains(
    model: Model,
    *,
    draws: int = 10_000,
    seed: int = 1,
    distribution: str = "normal",
    capability: Number = 1,
    mean_shift: Number = 0,
    copies: Literal["alike", "apart"] = "alike",
    basis: Basis = "stated",
    as_drawn: bool = False,
    only: Collection[str] | None = None,
    checker: Checker | None = None,
    advise: bool = True,
) -> tuple[Chain, ...]:
    """Every pair and condition of a model as a chain, in the order of the files.

    Parameters as :func:`chain`; only : the names of those wanted, all where None; checker : of the
    same model, where its sizes are settled already; advise : whether it is worked out what could be
        relaxed. A chain without a value is there with a note
    and no figures. The progress is told (:mod:`scaler.progress`).
    """
    options = _options(draws, seed, distribution, None, None)
    convention = _convention(capability, mean_shift, copies)
    kept = _basis(basis)
    checker = checker or Checker(model, as_drawn=as_drawn)
    found = []
    wanted = [item for item in checker.statements if only is None or item.id in only]
    for statement in told(wanted, "chains"):
        asked = Asked(statement)
        try:
            found.append(_chain(checker, asked, options, convention, kept, advise))
        except InputError as error:
            found.append(refused_chain(asked, convention, error.problems))
    return tuple(found)


def chain_of(
    expression: str | Node,
    sizes: Mapping[str, Given],
    *,
    wanted: Bounds = (None, None),
    name: str = "expression",
    unit: str = "mm",
    ratio: Fraction = Fraction(1),
    draws: int = 100_000,
    seed: int = 1,
    distribution: str = "normal",
    distributions: Mapping[str, str] | None = None,
    measured: Mapping[str, Sequence[float]] | None = None,
    capability: Number = 1,
    mean_shift: Number = 0,
    copies: Literal["alike", "apart"] = "alike",
) -> Chain:
    """A chain of sizes given here and now, without a model.

    Parameters: expression : text or tree; sizes : what is known of each; wanted : the window;
        ratio : the scale, for ``full('…')``; the others as :func:`chain`.
    Raises: InputError as :func:`chain`.

    >>> from fractions import Fraction as F
    >>> play = chain_of("box.gap - block.width",
    ...     {"box.gap": Given(F(10), F(0), F("0.1")), "block.width": Given(F("9.9"), F("-0.1"), F(0))},
    ...     draws=0)
    >>> [str(end) for end in play.worst_case]
    ['1/10', '3/10']
    """
    options = _options(draws, seed, distribution, distributions, measured)
    convention = _convention(capability, mean_shift, copies)
    try:
        node = parse_expression(expression) if isinstance(expression, str) else expression
    except ValueError as error:
        raise InputError([_unreadable(name, str(expression), error)]) from None
    named = names(node)
    _must_name(name, named)
    missing = [item for item in named if item not in sizes]
    if missing:
        raise InputError(
            [
                Problem(
                    "unknown-size",
                    f"{name} names '{item}', which is not given",
                    read=item,
                    expected="a size that is given",
                    advice=did_you_mean(item, sizes),
                )
                for item in missing
            ]
        )
    about = About(
        name,
        expression=expression if isinstance(expression, str) else "",
        unit=unit,
        lower=wanted[0],
        upper=wanted[1],
    )
    try:
        body = body_of(node, ratio)
        basic = _basic(node, {item: sizes[item].value for item in named}, ratio)
        return work_out(
            body,
            sizes,
            about,
            convention,
            basic,
            body.cancelled,
            sample=sampler(options) if options.draws else None,
        )
    except EvaluationError as error:
        raise InputError([_no_value(about.id, error, None)]) from None


def _chain(
    checker: Checker,
    asked: Asked,
    options: Draws,
    convention: Convention,
    basis: Basis,
    advise: bool = True,
) -> Chain:
    statement = asked.statement
    if takes_refused(checker, statement.node):
        return refused_chain(asked, convention)
    named = names(statement.node)
    _must_name(statement.id, named, statement.place if asked.in_model else None)
    ratio = checker.model.ratio
    place = statement.place if asked.in_model else None
    try:
        body = body_of(in_made_sizes(checker, statement.node), ratio)
        basic = checker.basic(statement, checker.values)
        if basic is None:
            raise EvaluationError(statement.text, "names a size without a figure")
        givens, notes = givens_of(checker, statement, body, basic, basis)
        about = About(
            statement.id,
            statement.what,
            statement.title,
            statement.text,
            unit_of(model_dimension(checker.model, statement.node)),
            str(statement.basis) if basis == "stated" else "both limits",
            statement.lower,
            statement.upper,
            place,
            basis == "stated" and statement.basis.kind is BasisKind.BASIC_SIZE,
        )
        cancelled = tuple(
            item for item in named if not checker.is_result(item) and item not in body.names
        )
        if options.distribution == "measured":
            options, more = measured_of(checker, body.names, options, statement.id)
            notes += more
        return work_out(
            body,
            givens,
            about,
            convention,
            basic,
            cancelled,
            tuple(notes),
            sampler(options) if options.draws else None,
            advise,
        )
    except EvaluationError as error:
        raise InputError([_no_value(statement.id, error, place)]) from None


def _basic(node: Node, values: Mapping[str, Value], ratio: Fraction) -> Value:
    from scaler.settling.solve import value_of

    return value_of(node, values, ratio)


def _must_name(name: str, named: Sequence[str], place: Place | None = None) -> None:
    if not named:
        raise InputError(
            [
                Problem(
                    "no-variable",
                    f"{name} names no size: nothing in it can vary",
                    place,
                    expected="an expression with at least one part.size",
                )
            ]
        )


def _no_value(name: str, error: EvaluationError, place: Place | None) -> Problem:
    return Problem(
        "no-value",
        f"{name} has no value at these sizes or somewhere within their limits: {error.problem}",
        place,
        read=error.part,
        expected="an expression with a value for all that the sizes may be",
        advice=", ".join(f"{item} is {value}" for item, value in error.values),
    )


def _unreadable(name: str, text: str, error: ValueError) -> Problem:
    return Problem(
        "expression",
        f"{name} cannot be read: {getattr(error, 'problem', error)}",
        read=text,
        expected=getattr(error, "expected", ""),
        advice=getattr(error, "advice", ""),
    )


def _options(
    draws: int,
    seed: int,
    distribution: str,
    distributions: Mapping[str, str] | None,
    measured: Mapping[str, Sequence[float]] | None,
) -> Draws:
    asked = Draws(draws, seed, distribution, dict(distributions or {}), dict(measured or {}))
    if draws == 0 and not isinstance(draws, bool):
        check_draws(Draws(2, seed, distribution, asked.by_size, asked.measured))
    else:
        check_draws(asked)
    return asked


def _convention(capability: Any, mean_shift: Any, copies: str) -> Convention:
    problems = []
    figures = []
    for what, given, least in (
        ("capability", capability, "above 0"),
        ("mean shift", mean_shift, "0 or more"),
    ):
        figure = _figure(given)
        if figure is None or figure < 0 or (what == "capability" and not figure) or figure > 1000:
            problems.append(
                Problem(
                    "option",
                    f"the {what} cannot be used",
                    read=str(given),
                    expected=f"a number {least}, up to 1000",
                )
            )
        figures.append(figure or Fraction(0))
    if copies not in ("alike", "apart"):
        problems.append(
            Problem("option", "copies cannot be so", read=str(copies), expected="alike or apart")
        )
    if problems:
        raise InputError(problems)
    return Convention(figures[0], figures[1], copies == "alike")


def _figure(given: Any) -> Fraction | None:
    """A number as it was written, exactly; None where it is none."""
    try:
        return None if isinstance(given, bool) else Fraction(str(given))
    except (ValueError, ZeroDivisionError):
        return None


def _basis(basis: str) -> Basis:
    if basis == "stated" or basis == "both limits":
        return basis  # type: ignore[return-value]
    raise InputError(
        [Problem("option", "no such basis", read=str(basis), expected="stated or both limits")]
    )
