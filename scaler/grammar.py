"""The short phrases of a model file: limits, fits, bases, rules, materials' units.

Each reader takes text and gives a record, or raises :class:`GrammarError` with what was read, what
was expected and what to do. None of them knows about files; the caller adds the place.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from scaler import catalogue
from scaler.expressions import ExpressionError, parse_expression
from scaler.lengths import LengthError, parse_length
from scaler.problems import Place, did_you_mean
from scaler.records import Basis, BasisKind, Fit, LimitSpec, Method

ISO_FIT = re.compile(r"^\s*([A-Z]{1,2}[0-9]{1,2})\s*[/-]\s*([a-z]{1,2}[0-9]{1,2})\s*$")
_ISO_CLASS = re.compile(r"^[A-Za-z]{1,2}[0-9]{1,2}$")
_TWO_SIGNED = re.compile(r"^([+\-−]?[^+\-−]+)\s+([+\-−]?[^+\-−]+)$")
_UNIT_TAIL = re.compile(r"[^\d\s.,/][^\d.,/]*$")
_OPTION = re.compile(r"\s+(step|reach|limits)\s+|\s+(up|down|nearest)\b")
_NAME = re.compile(r"^[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*(?:@[a-z0-9_]+)?$")


class GrammarError(ValueError):
    """A phrase that cannot be read. Attributes: text, problem, expected, advice."""

    def __init__(self, text: str, problem: str, expected: str = "", advice: str = "") -> None:
        self.text, self.problem, self.expected, self.advice = text, problem, expected, advice
        super().__init__("; ".join(item for item in (problem, expected, advice) if item))


def signed_length(text: str, unit: str | None = None) -> Fraction:
    """A length that may carry a sign [mm]. Raises GrammarError.

    >>> signed_length("-0.02 mm")
    Fraction(-1, 50)
    """
    body = text.strip()
    negative = body[:1] in ("-", "−")
    if body[:1] in ("+", "-", "−"):
        body = body[1:].strip()
    if body == "0":
        return Fraction(0)
    try:
        value = parse_length(body, unit).mm
    except LengthError as error:
        raise GrammarError(text, error.problem, error.expected, error.advice) from None
    return -value if negative else value


def _two(first: str, second: str) -> tuple[Fraction, Fraction]:
    """Two signed lengths of which the first may leave its unit to the second."""
    tail = _UNIT_TAIL.search(second.strip())
    if tail and not _UNIT_TAIL.search(first.strip()) and first.strip() != "0":
        first = f"{first} {tail.group()}"
    return signed_length(first), signed_length(second)


@lru_cache(maxsize=4096)
def parse_limits(text: str) -> LimitSpec:
    """Limits: ``±0.01 mm``, ``+0.02 -0.01 mm``, ``0 +0.1 mm`` or an ISO 286 class (``h9``).

    >>> parse_limits("±0.01 mm").upper
    Fraction(1, 100)
    """
    body = text.strip()
    if _ISO_CLASS.match(body):
        return LimitSpec(body, tolerance_class=body)
    for sign in ("±", "+/-", "+-"):
        if body.startswith(sign):
            width = signed_length(body[len(sign) :])
            if width < 0:
                raise GrammarError(
                    text, "a signed width after ±", "a plain length", "write ±0.1 mm"
                )
            return LimitSpec(body, -width, width)
    match = _TWO_SIGNED.match(body)
    if match is None:
        raise GrammarError(
            text,
            "limits that cannot be read",
            "two deviations, ± a length, or an ISO 286 class",
            "write ±0.01 mm, +0.02 -0.01 mm or h9",
        )
    first, second = _two(match.group(1), match.group(2))
    return LimitSpec(body, min(first, second), max(first, second))


def parse_window(text: str) -> tuple[Fraction | None, Fraction | None]:
    """A window: ``0.04 to 0.10 mm``, ``at least 0.8 mm``, ``at most 1 mm``, ``±0.03 mm`` [mm].

    A bound on one side only leaves the other None. Raises GrammarError, also where the bounds stand
    the wrong way round.
    """
    body = text.strip()
    for sign in ("±", "+/-"):
        if body.startswith(sign):
            width = signed_length(body[len(sign) :])
            return -abs(width), abs(width)
    if body.startswith("at least "):
        return signed_length(body[9:]), None
    if body.startswith("at most "):
        return None, signed_length(body[8:])
    first, to, second = body.partition(" to ")
    if not to:
        raise GrammarError(
            text,
            "a window that cannot be read",
            "two lengths with 'to' between, 'at least' or 'at most'",
            "write 0.04 to 0.10 mm, at least 0.8 mm, at most 1.6 mm or ±0.03 mm",
        )
    lower, upper = _two(first, second)
    if lower > upper:
        raise GrammarError(
            text,
            "bounds the wrong way round",
            "the smaller bound first",
            f"write {second.strip()} to {first.strip()} (with its unit) if that is what is meant",
        )
    return lower, upper


def parse_fit(text: str) -> Fit:
    """A fit: an ISO 286 pair, ``clearance 0.04 to 0.1 mm``, ``interference …`` or a trade class.

    Clearance is hole less shaft; interference windows come out negative. A trade class is only
    named here: its window depends on the diameter.
    """
    body = " ".join(text.split())
    if ISO_FIT.match(body):
        match = ISO_FIT.match(body)
        assert match is not None
        return Fit(body, None, None, iso=f"{match.group(1)}/{match.group(2)}")
    if body.startswith("interference "):
        lower, upper = parse_window(body[13:])
        return Fit(
            body, -upper if upper is not None else None, -lower if lower is not None else None
        )
    window = body.removeprefix("clearance ")
    if any(character.isdigit() for character in window):
        lower, upper = parse_window(window)
        return Fit(body, lower, upper)
    if not body:
        raise GrammarError(
            text, "an empty fit", "a fit", "write H7/g6, close run or 0.02 to 0.05 mm"
        )
    return Fit(body, None, None, trade=body)


def parse_basis(text: str) -> Basis:
    """A basis: ``both limits``, ``basic size`` or ``last cut part.size`` (with ``by lapped``)."""
    body = " ".join(text.split())
    if body in ("both limits", "basic size"):
        return Basis(BasisKind(body))
    if body.startswith("last cut "):
        last, by, method = body[9:].partition(" by ")
        if _NAME.match(last):
            if by:
                find_method(method)
            return Basis(BasisKind.LAST_CUT, last, find_method(method)["designation"] if by else "")
        raise GrammarError(
            text,
            f"'{last}' where the size cut last was looked for",
            "a name part.size",
            "write last cut plunger.diameter",
        )
    raise GrammarError(
        text,
        "a basis that is not known",
        "both limits, last cut part.size, or basic size",
        "write one of these",
    )


@lru_cache(maxsize=1)
def _methods() -> dict[str, catalogue.Row]:
    found: dict[str, catalogue.Row] = {}
    for row in catalogue.table("methods").rows:
        for name in (row.text("designation"), *_listed(row.text("aliases"))):
            found[name] = row
    return found


def _listed(text: str) -> list[str]:
    return [item.strip() for item in text.split(";") if item.strip()]


def method_names() -> tuple[str, ...]:
    """All names by which rules may call a method."""
    return (*_methods(), "follows", "given", "standard")


def find_method(name: str) -> dict[str, str]:
    """The methods-table row of a name or alias, as text cells. Raises GrammarError."""
    row = _methods().get(" ".join(name.split()))
    if row is None:
        raise GrammarError(
            name,
            f"'{name[:60]}' is no known method",
            "a method of the methods table",
            did_you_mean(name, method_names()),
        )
    return {column: row.text(column) for column in row}


@dataclass(frozen=True, slots=True)
class _Options:
    head: str
    step: Fraction | None
    reach: Fraction | None
    limits: LimitSpec | None
    direction: str


def _options(text: str) -> _Options:
    parts = _OPTION.split(text.strip())
    head, step, reach, limits, direction = parts[0], None, None, None, "nearest"
    for option, way, value in zip(parts[1::3], parts[2::3], parts[3::3], strict=True):
        if way:
            direction = way
            if value.strip():
                raise GrammarError(text, f"'{value.strip()}' after '{way}'", "nothing more there")
        elif option == "limits":
            limits = parse_limits(value)
        else:
            length = signed_length(value)
            if length <= 0:
                raise GrammarError(text, f"a {option} of {value.strip()}", "a length above zero")
            step, reach = (length, reach) if option == "step" else (step, length)
    return _Options(head.strip(), step, reach, limits, direction)


def parse_method(text: str, place: Place) -> Method:
    """One method of a rule: a name of the methods table and its options.

    ``turned step 0.1 mm``, ``reamed up reach 1 mm``, ``follows axle.journal``, ``given 12 mm``,
    ``standard``. Raises GrammarError.
    """
    body = " ".join(text.split())
    if body.startswith("follows "):
        try:
            node = parse_expression(body[8:])
        except ExpressionError as error:
            raise GrammarError(text, error.problem, error.expected, error.advice) from None
        return Method(body, "follows", "follow", "nearest", None, None, None, node, None, place)
    if body.startswith("given "):
        value = signed_length(body[6:])
        return Method(body, "given", "given", "nearest", None, None, None, None, value, place)
    options = _options(body)
    if options.head == "standard":
        return Method(
            body,
            "standard",
            "standard",
            "nearest",
            options.step,
            None,
            options.limits,
            None,
            None,
            place,
        )
    row = find_method(options.head)
    way = row["way"]
    step = options.step
    if step is None and way == "cut" and row["step_mm"]:
        step = Fraction(row["step_mm"])
    return Method(
        text=body,
        name=row["designation"],
        way=way,  # type: ignore[arg-type]
        direction=options.direction,  # type: ignore[arg-type]
        step=step,
        reach=options.reach,
        limits=options.limits,
        argument=None,
        value=None,
        place=place,
    )
