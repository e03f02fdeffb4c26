"""What settling gives, and the small rules it goes by: reach, steps, exact sizes, copies."""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial

from scaler.checking import cautions
from scaler.expressions import Add, Linear, Mul, Name, Node, Number, names, rename
from scaler.problems import Problem
from scaler.records import Bounds, Kind, Method, Model, Size, Stage
from scaler.settling.rows import Candidate
from scaler.settling.solve import Value

ONE = Fraction(1)
HALF_MM = Fraction(1, 2)


@dataclass(frozen=True, slots=True)
class Settled:
    """One size at a stage: value, the method and row it came by, and in words why.

    ``by`` is the method of its rule, where it came by one.
    """

    value: Value
    method: str
    way: str
    row: Candidate | None = None
    why: str = ""
    note: str = ""
    made: bool = False
    by: Method | None = None


@dataclass(frozen=True)
class Settlement:
    """All sizes at a stage. ``values`` also holds ``size@copy`` for copies with a reading or a
    choice of their own; how those came about stands in ``copies``.

    ``defined_by`` holds, for sizes worked out from others, the expression in those others (for
    those solved from linear conditions too); ``solved_by`` the statement a size was solved from,
    ``size part.size`` or ``condition name``.
    """

    stage: Stage
    values: Mapping[str, Value]
    results: Mapping[str, Settled]
    defined_by: Mapping[str, Node] = field(default_factory=dict)
    solved_by: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[Problem, ...] = ()
    refused: frozenset[str] = frozenset()
    copies: Mapping[str, Settled] = field(default_factory=dict)

    def of(self, name: str) -> Settled:
        """How a size, or a copy with a value of its own (``size@copy``), came about."""
        return self.copies[name] if "@" in name else self.results[name]


def refused_parts(model: Model) -> frozenset[str]:
    """Names of the parts that get no figure."""
    return frozenset(p.name for p in model.parts.values() if cautions.refused(p) is not None)


def exact_size(size: Size, ratio: Fraction) -> Fraction | None:
    """Full size × scale [mm]; angles, tapers and counts as they are; None where nothing is drawn."""
    if size.full is None:
        return None
    return size.full * ratio if size.kind.is_length else size.full


def reach_of(size: Size, method: Method | None, exact: Fraction) -> Fraction:
    """The greatest departure allowed [mm]: the size's own, its method's, or the default.

    Default: 10 % or 0.5 mm, whichever is more, at most 1 mm; 0.5 mm for positions.
    """
    if size.reach is not None:
        return size.reach
    if method is not None and method.reach is not None:
        return method.reach
    if size.kind is Kind.POSITION:
        return HALF_MM
    return min(ONE, max(abs(exact) / 10, HALF_MM))


def to_step(value: Fraction, step: Fraction, direction: str) -> Fraction:
    """A value brought to a multiple of a step; halves go up.

    >>> to_step(Fraction("37.042"), Fraction("0.1"), "nearest")
    Fraction(37, 1)
    """
    quotient = value / step
    if direction == "up":
        return -(-quotient.numerator // quotient.denominator) * step
    if direction == "down":
        return (quotient.numerator // quotient.denominator) * step
    shifted = quotient + HALF_MM
    return (shifted.numerator // shifted.denominator) * step


def on_step(value: Fraction, step: Fraction | None, direction: str, bounds: Bounds) -> Fraction:
    """A value on its step, if it has one, and inside bounds if a step lies there: else below them.

    >>> on_step(Fraction(19), Fraction(4), "nearest", (Fraction(13), Fraction(18)))
    Fraction(16, 1)
    """

    def brought(end: Fraction, way: str) -> Fraction:
        return end if step is None else to_step(end, step, way)

    value, (low, high) = brought(value, direction), bounds
    if low is not None:
        value = max(value, brought(low, "up"))
    if high is not None:
        value = min(value, brought(high, "down"))
    return value


def step_why(kind: Kind, step: Fraction) -> str:
    """Why a value is what it is, in the unit of its kind; a count has a whole number."""
    if kind in (Kind.COUNT, Kind.TEETH):
        return "a whole number" if step == 1 else f"on its step of {step}"
    if kind is Kind.ANGLE:
        return f"on its step of {_mm(step).removesuffix(' mm')}°"
    return f"on its step of {_mm(step)}"


def _mm(value: Fraction) -> str:
    from scaler.measures.lengths import format_exact

    text = str(float(value)).removesuffix(".0")
    return f"{text if Fraction(text) == value else format_exact(value)} mm"


def of_standard(exact: Fraction | None, step: Fraction | None, bounds: Bounds) -> Fraction:
    """What a standard's bounds make of a size: the exact size brought inside them, half-way between
    them (or the one that there is) where nothing is drawn; on a step, if there is one."""
    ends = [end for end in bounds if end is not None]
    value = sum(ends, Fraction(0)) / len(ends) if exact is None else exact
    return on_step(value, step, "nearest", bounds)


def without_copies(node: Node, values: Container[str]) -> Node:
    """The expression with ``size@copy`` as plain ``size`` where that copy has no value of its own."""
    if not any("@" in name and name not in values for name in names(node)):
        return node
    return rename(node, partial(own_name, values))


def outcome_of(size: Size) -> Node | None:
    """What a size is worked out from and left at, where it is made by no method of its own."""
    if any(method.way in ("cut", "row", "thread") for method in size.rule):
        return None
    if size.equals is not None:
        return size.equals
    follows = bool(size.rule) and all(method.way == "follow" for method in size.rule)
    return size.rule[0].argument if follows else None


def at_copy(values: Container[str], copy: str, name: str) -> str:
    """A size as it is for one copy, where that has a value of its own."""
    return own_name(values, name if "@" in name else f"{name}@{copy}")


def own_name(values: Container[str], name: str) -> str:
    """``size@copy`` where that copy has a value of its own, else the plain size."""
    return name if name in values else name.partition("@")[0]


def sum_of(form: Linear) -> Node:
    """A linear form as an expression."""
    terms: list[Node] = [Mul((Number(c), Name(n))) for n, c in form.coefficients.items()]
    if form.constant or not terms:
        terms.append(Number(form.constant))
    return terms[0] if len(terms) == 1 else Add(tuple(terms))
