"""The short phrases of a model file: values, limits, windows, fits, bases and methods.

Each reader takes text and gives a record, or raises :class:`GrammarError` with what was read, what
was expected and what to do. None of them knows about files; the caller adds the place.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from scaler import catalogue
from scaler.expressions import ExpressionError, Node, parse_expression
from scaler.measures.angles import parse_angle
from scaler.measures.lengths import LengthError, parse_length
from scaler.problems import Place, shorten, suggest
from scaler.records import Basis, BasisKind, Fit, Kind, LimitSpec, Method

Reader = Callable[[str], Fraction]

LONGEST_PHRASE = 200
"""Characters of limits, a window, a fit, a basis or a method without an expression."""
LONGEST_METHOD = 2000
_SIGNS = ("±", "+/-", "+-")
_ISO_FIT = re.compile(r"([A-Z]{1,2}[0-9]{1,2})\s*[/-]\s*([a-z]{1,2}[0-9]{1,2})")
_TURNED_FIT = re.compile(r"([a-z]{1,2}[0-9]{1,2})\s*[/-]\s*([A-Z]{1,2}[0-9]{1,2})")
_ISO_CLASS = re.compile(r"[A-Za-z]{1,2}[0-9]{1,2}")
_SIGNED_LAST = re.compile(r"([+\-−]?[^+\-−]+)\s+([+\-−][^+\-−]+)")
_PLAIN_LAST = re.compile(r"([+\-−]?[^+\-−]+?)\s+([0-9][^+\-−]*)")
_UNIT_TAIL = re.compile(r"[^\d\s.,/][^\d.,/]*$")
_OPTION = re.compile(r"\s+(step|reach|limits)\s+|\s+(up|down|nearest)\b")
_NAME = re.compile(r"[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*(?:@[a-z0-9_]+)?")
_PLAIN_NUMBER = re.compile(r"[0-9]{1,12}(?:[.,][0-9]{1,12})?|(?:[0-9]{1,6} )?[0-9]{1,6}/[0-9]{1,6}")


class GrammarError(ValueError):
    """A phrase that cannot be read.

    Attributes: ``text``, the phrase or the part of it that is at fault; ``problem``, ``expected``,
    ``advice``; ``start`` and ``end``, the offending characters of ``text``, None for all of it.
    """

    def __init__(
        self,
        text: str,
        problem: str,
        expected: str = "",
        advice: str = "",
        span: tuple[int, int] | None = None,
    ) -> None:
        self.text, self.problem, self.expected, self.advice = (text, problem, expected, advice)
        self.start: int | None = span[0] if span else None
        self.end: int | None = span[1] if span else None
        super().__init__("; ".join(item for item in (problem, expected, advice) if item))


def phrase(text: str, what: str, example: str, longest: int = LONGEST_PHRASE) -> str:
    """A phrase with single blanks. Raises GrammarError where it is empty or far too long."""
    if len(text) > longest:
        raise GrammarError(
            text[:longest], f"{what} of {len(text)} characters", f"at most {longest}", example
        )
    body = " ".join(text.split())
    if not body:
        raise GrammarError(text, "nothing is written", what, example)
    return body


# ---------------------------------------------------------------------------------- values


def signed_length(text: str, unit: str | None = None) -> Fraction:
    """A length that may carry a sign [mm]; a plain 0 needs no unit. Raises GrammarError.

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
        span = (error.start, error.end) if error.text == body else None
        advice = error.advice.removesuffix(", or state the unit of the drawing")
        raise GrammarError(body, error.problem, error.expected, advice, span) from None
    return -value if negative else value


def signed_angle(text: str) -> Fraction:
    """An angle that may carry a sign [degrees]; a plain 0 needs no unit. Raises GrammarError.

    >>> signed_angle("-0.5°")
    Fraction(-1, 2)
    """
    body = text.strip()
    negative = body[:1] in ("-", "−")
    if body[:1] in ("+", "-", "−"):
        body = body[1:].strip()
    if body == "0":
        return Fraction(0)
    try:
        value = parse_angle(body)
    except LengthError as error:
        span = (error.start, error.end) if error.text == body else None
        raise GrammarError(body, error.problem, error.expected, error.advice, span) from None
    return -value if negative else value


def plain_number(text: str) -> Fraction:
    """A number without a unit, of 12 digits at most: 2, 0.5, 1/2, 1 1/2. Raises GrammarError."""
    body = text.strip()
    if _PLAIN_NUMBER.fullmatch(body):
        whole, _, rest = body.rpartition(" ")
        try:
            return Fraction(whole or 0) + Fraction(rest.replace(",", "."))
        except ZeroDivisionError:
            pass
    raise GrammarError(text, "no plain number", "a number of up to 12 digits", "write 2 or 0.5")


def whole_number(text: str) -> Fraction:
    """A count. Raises GrammarError."""
    body = text.strip()
    if not body.isascii() or not body.isdigit() or len(body) > 9:
        raise GrammarError(text, "no whole number", "a count", "write 24")
    return Fraction(int(body))


def taper(text: str) -> Fraction:
    """A taper as the change over the length: ``1:48``, ``1 in 48``, 0.02. Raises GrammarError.

    >>> taper("1 in 48")
    Fraction(1, 48)
    """
    one, mark, many = text.partition(":")
    if not mark:
        one, mark, many = text.partition(" in ")
    try:
        value = plain_number(one) / plain_number(many) if mark else plain_number(text)
    except (GrammarError, ZeroDivisionError):
        value = Fraction(0)
    if value <= 0:
        raise GrammarError(text, "no taper", "one in so many", "write 1:48") from None
    return value


def signed_reader(kind: Kind) -> Reader:
    """The reader of a value or deviation of that kind, which may carry a sign."""
    if kind in (Kind.COUNT, Kind.TEETH):
        return whole_number
    if kind is Kind.TAPER:
        return taper
    return signed_angle if kind is Kind.ANGLE else signed_length


def value_reader(kind: Kind, *, signed: bool = False) -> Reader:
    """The reader of a model-side size of that kind: above zero, but for positions.

    ``signed`` lets lengths that no face bounds be zero or negative too.
    """
    read = signed_reader(kind)
    if kind is Kind.POSITION or (signed and kind in (Kind.LENGTH, Kind.ANGLE)):
        return read

    def above_zero(text: str) -> Fraction:
        value = read(text)
        if value <= 0 and kind not in (Kind.COUNT, Kind.TEETH, Kind.ANGLE):
            raise GrammarError(
                text, "a size of nothing or less", "a size above zero", "look at the figure again"
            )
        return value

    return above_zero


def width_reader(kind: Kind) -> Reader:
    """The reader of a reach or an uncertainty of that kind: zero or more."""
    read = plain_number if not kind.is_length and kind is not Kind.ANGLE else signed_reader(kind)

    def not_negative(text: str) -> Fraction:
        value = read(text)
        if value < 0:
            raise GrammarError(text, "less than zero", "zero or more", "leave the sign out")
        return value

    return not_negative


# ------------------------------------------------------------------------- limits and windows


def _two(first: str, second: str, read: Reader) -> tuple[Fraction, Fraction]:
    """Two signed values of which the first may leave its unit to the second."""
    tail = _UNIT_TAIL.search(second.strip())
    if tail and not _UNIT_TAIL.search(first.strip()) and first.strip() != "0":
        first = f"{first} {tail.group()}"
    return read(first), read(second)


def _plus_minus(body: str, read: Reader) -> Fraction | None:
    """The width after ±; None where the phrase does not begin with it."""
    for sign in _SIGNS:
        if body.startswith(sign):
            width = read(body[len(sign) :])
            if width < 0:
                raise GrammarError(
                    body, "a sign after ±", "a plain length", "leave the second sign out"
                )
            return width
    return None


@lru_cache(maxsize=4096)
def parse_limits(text: str, read: Reader = signed_length) -> LimitSpec:
    """Limits: ``±0.01 mm``, ``+0.02 -0.01 mm``, ``0 +0.1 mm`` or an ISO 286 class (``h9``).

    The two deviations may come in either order, as drawings print them. Raises GrammarError.

    >>> parse_limits("±0.01 mm").upper
    Fraction(1, 100)
    """
    example = "write ±0.01 mm, +0.02 -0.01 mm or h9"
    body = phrase(text, "limits", example)
    if _ISO_CLASS.fullmatch(body):
        return LimitSpec(body, tolerance_class=body)
    width = _plus_minus(body, read)
    if width is not None:
        return LimitSpec(body, -width, width)
    match = _SIGNED_LAST.fullmatch(body) or _PLAIN_LAST.fullmatch(body)
    if match is None:
        one = any(c.isdigit() for c in body)
        raise GrammarError(
            text,
            "one deviation where two are needed" if one else "limits that cannot be read",
            "two deviations, ± a length, or an ISO 286 class",
            example,
        )
    first, second = _two(match.group(1), match.group(2), read)
    return LimitSpec(body, min(first, second), max(first, second))


def parse_window(
    text: str, read: Reader = signed_length
) -> tuple[Fraction | None, Fraction | None]:
    """A window: ``0.04 to 0.10 mm``, ``at least 0.8 mm``, ``at most 1 mm``, ``±0.03 mm`` [mm].

    A bound on one side only leaves the other None. Raises GrammarError, also where the bounds stand
    the wrong way round.

    >>> parse_window("-0.01 to 0.02 mm")
    (Fraction(-1, 100), Fraction(1, 50))
    """
    example = "write 0.04 to 0.10 mm, at least 0.8 mm, at most 1.6 mm or ±0.03 mm"
    body = phrase(text, "a window", example)
    width = _plus_minus(body, read)
    if width is not None:
        return -width, width
    if body.startswith("at least "):
        return read(body[9:]), None
    if body.startswith("at most "):
        return None, read(body[8:])
    first, to, second = body.partition(" to ")
    if not to:
        raise GrammarError(
            text,
            "a window that cannot be read",
            "two lengths with 'to' between, 'at least' or 'at most'",
            example,
        )
    lower, upper = _two(first, second, read)
    if lower > upper:
        raise GrammarError(
            text,
            "bounds the wrong way round",
            "the smaller bound first",
            "change the two bounds over, if that is what is meant",
        )
    return lower, upper


@lru_cache(maxsize=4096)
def parse_fit(text: str) -> Fit:
    """A fit: an ISO 286 pair, ``clearance 0.04 to 0.1 mm``, ``interference …`` or a trade class.

    Clearance is hole less shaft; interference windows come out negative. A trade class is only
    named here: its window depends on the diameter. Raises GrammarError.

    >>> parse_fit("interference 0.01 to 0.02 mm").upper
    Fraction(-1, 100)
    """
    example = "write H7/g6, close running or clearance 0.02 to 0.05 mm"
    body = phrase(text, "a fit", example)
    match = _ISO_FIT.fullmatch(body)
    if match:
        return Fit(body, None, None, iso=f"{match.group(1)}/{match.group(2)}")
    turned = _TURNED_FIT.fullmatch(body)
    if turned:
        raise GrammarError(
            text,
            "the shaft's class before the hole's",
            "the hole's class first",
            f"write {turned.group(2)}/{turned.group(1)}",
        )
    if _ISO_CLASS.fullmatch(body):
        raise GrammarError(
            text, "one tolerance class where a fit needs two", "hole and shaft", "write H7/g6"
        )
    if body.startswith("interference "):
        lower, upper = parse_window(body[13:])
        return Fit(
            body, -upper if upper is not None else None, -lower if lower is not None else None
        )
    window = body.removeprefix("clearance ")
    if any(character.isdigit() for character in window):
        lower, upper = parse_window(window)
        return Fit(body, lower, upper)
    return Fit(body, None, None, trade=body)


def parse_basis(text: str) -> Basis:
    """A basis: ``both limits``, ``basic size`` or ``last cut part.size`` (with ``by lapped``).

    Raises GrammarError.

    >>> str(parse_basis("last cut plunger.diameter by lapped"))
    'last cut plunger.diameter by lapped'
    """
    example = "write both limits, basic size or last cut part.size"
    body = phrase(text, "a basis", example, LONGEST_METHOD)
    if body in ("both limits", "basic size"):
        return Basis(BasisKind(body))
    if body.startswith("last cut "):
        last, by, method = body[9:].partition(" by ")
        if _NAME.fullmatch(last):
            return Basis(BasisKind.LAST_CUT, last, find_method(method)["designation"] if by else "")
        raise GrammarError(
            last,
            f"'{shorten(last, 60)}' where the size cut last was looked for",
            "a name part.size",
            "write last cut plunger.diameter",
        )
    raise GrammarError(
        text,
        "a basis that is not known",
        "both limits, last cut part.size, or basic size",
        suggest(body, ("both limits", "basic size", "last cut part.size"), example),
    )


# ---------------------------------------------------------------------------------- methods


@lru_cache(maxsize=1)
def methods() -> dict[str, catalogue.Row]:
    """Rows of the methods table by name and alias."""
    found: dict[str, catalogue.Row] = {}
    for row in catalogue.table("methods").rows:
        for name in (row.text("designation"), *_listed(row.text("aliases"))):
            found[name] = row
    return found


def _listed(text: str) -> list[str]:
    return [item.strip() for item in text.split(";") if item.strip()]


def method_names() -> tuple[str, ...]:
    """All names by which rules may call a method."""
    return (*methods(), "follows", "given", "standard")


@lru_cache(maxsize=1)
def families() -> tuple[str, ...]:
    """The families of stock and tools that methods take their rows from, as shop lists name them."""
    rows = catalogue.table("methods").rows
    return tuple(dict.fromkeys(row.text("family") for row in rows if row.text("family")))


def find_method(name: str) -> Mapping[str, str]:
    """The methods-table row of a name or alias, as text cells. Raises GrammarError."""
    row = methods().get(" ".join(name.split()))
    if row is None:
        first, *others = (" ".join(part.split()) for part in name.split(","))
        if others and first in methods():
            advice = (
                f'several methods stand in a list, ["{first}", "{others[0]}"]; in a table of '
                f"sizes with semicolons between them, {first}; {others[0]}"
            )
        else:
            advice = suggest(name, method_names(), "write a method such as turned, bored or reamed")
        raise GrammarError(
            name,
            f"'{shorten(name, 60)}' is no known method",
            "a method: scaler lookup methods lists them",
            advice,
        )
    return {column: row.text(column) for column in row}


@dataclass(frozen=True, slots=True)
class _Options:
    head: str
    step: Fraction | None
    reach: Fraction | None
    limits: LimitSpec | None
    direction: str


def _options(text: str, read: Reader) -> _Options:
    parts = _OPTION.split(text)
    step, reach, limits, direction = None, None, None, "nearest"
    for option, way, value in zip(parts[1::3], parts[2::3], parts[3::3], strict=True):
        if way:
            direction = way
            if value.strip():
                raise GrammarError(
                    value.strip(), f"'{value.strip()}' after '{way}'", "nothing after it"
                )
        elif option == "limits":
            limits = parse_limits(value, read)
        else:
            length = read(value)
            if length <= 0:
                raise GrammarError(
                    value.strip(),
                    f"a {option} of {value.strip()}",
                    "a length above zero",
                    f"write {option} 0.1 mm",
                )
            step, reach = (length, reach) if option == "step" else (step, length)
    return _Options(parts[0].strip(), step, reach, limits, direction)


def parse_method(text: str, place: Place | None, read: Reader = signed_length) -> Method:
    """One method of a rule: a name of the methods table and its options.

    ``turned step 0.1 mm``, ``reamed up reach 1 mm``, ``follows axle.journal``, ``tapping hole of
    bolt.thread``, ``given 12 mm``, ``standard``. ``read`` reads values of the size's kind. Raises GrammarError.
    """
    body = phrase(text, "a method", "write turned, or turned step 0.1 mm", LONGEST_METHOD)
    if body.startswith("follows "):
        try:
            node = parse_expression(body[8:])
        except ExpressionError as error:
            raise GrammarError(
                body[8:], error.problem, error.expected, error.advice, (error.start, error.end)
            ) from None
        return Method(body, "follows", "follow", "nearest", None, None, None, node, None, place)
    if len(body) > LONGEST_PHRASE:
        raise GrammarError(body[:40], "a method that goes on and on", "a name and its options")
    if body.startswith("given "):
        value = read(body[6:])
        return Method(body, "given", "given", "nearest", None, None, None, None, value, place)
    options = _options(body, read)
    name, way, step = options.head, "standard", options.step
    argument: Node | None = None
    column = ""
    before, of, leader = name.partition(" of ")
    if of:
        from scaler.reading.row_links import linked

        plain = options.step is None and options.direction == "nearest"
        name, column, argument = linked(before.strip(), leader.strip(), plain=plain)
        way = "follow"
    elif name != "standard":
        row = find_method(name)
        name, way = row["designation"], row["way"]
        if way == "link":
            raise GrammarError(
                body,
                f"'{body}' of what is not said",
                "the size whose row it is a column of",
                f"write {body} of part.size",
            )
        if step is not None and way != "cut":
            raise GrammarError(
                body,
                f"'{name}' cuts to no step: it takes the sizes that are to be had",
                "a step only after a method that cuts to size",
                "leave the step out, or name a method such as turned or bored",
            )
        if step is None and way == "cut" and row["step_mm"]:
            step = Fraction(row["step_mm"])
    return Method(
        text=body,
        name=name,
        way=way,  # type: ignore[arg-type]
        direction=options.direction,  # type: ignore[arg-type]
        step=step,
        reach=options.reach,
        limits=options.limits,
        argument=argument,
        value=None,
        place=place,
        column=column,
    )
