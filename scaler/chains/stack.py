"""The arithmetic of a chain: worst case, root sum square, and the share of every size.

Conventions. Limits are ± 3 standard deviations of a process of capability 1: the standard deviation
of a size is its tolerance ÷ (6 × capability), about the middle of its limits. A mean shift of k lets
the mean of every process wander by k of its standard deviations, and all of them to the bad side at
once, so that the root sum square is ``middle ± (Σ|s|·k·σ + 3·√Σ(s·σ)²)``. Readings and uncertain
origins are no processes: their ± is taken as 3 standard deviations, with no shift.

References: the law of propagation of uncertainty, JCGM 100:2008 (GUM) 5.1.2, which for sizes alone
is the root sum square of tolerance charts; mean shifts stacked arithmetically as in Scholz,
Tolerance stack analysis methods, 1995 (abstract read, formulas from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

from scaler.chains.expressions import MOST_BOXES, Body, effective, formulas, usable
from scaler.chains.records import Chain, Contributor, Given, MonteCarlo
from scaler.expressions.intervals import Value, absolute, lower, root, upper
from scaler.problems import InputError, Place, Problem
from scaler.records import Bounds, Verdict

ZERO, ONE, THREE = Fraction(0), Fraction(1), Fraction(3)


@dataclass(frozen=True, slots=True)
class About:
    """What a chain is: its name, the window wanted, and in words where it comes from."""

    id: str
    what: str = "expression"
    title: str = ""
    expression: str = ""
    unit: str = "mm"
    basis: str = "both limits"
    lower: Fraction | None = None
    upper: Fraction | None = None
    place: Place | None = None
    at_basic: bool = False
    """Judged at basic sizes only; what the limits come to is shown, but decides nothing."""


@dataclass(frozen=True, slots=True)
class Convention:
    """Capability, mean shift, and whether copies of a part come out alike or each for itself."""

    capability: Fraction = ONE
    mean_shift: Fraction = ZERO
    copies_alike: bool = True

    def sigma(self, given: Given) -> Fraction:
        """Standard deviation that making leaves."""
        return given.tolerance / (6 if given.reading else 6 * self.capability)

    def shift(self, given: Given) -> Fraction:
        """How far the mean may wander."""
        return ZERO if given.reading else self.mean_shift * self.sigma(given)

    def apart(self, slope: Fraction, given: Given) -> int:
        """How many copies of a size vary each for itself: 1, or its whole coefficient."""
        count = abs(slope)
        if self.copies_alike or count.denominator != 1 or not 2 <= count <= given.copies:
            return 1
        return int(count)


class Stack:
    """A body with its sizes: all that is worked out from them is a method here."""

    def __init__(
        self, body: Body, givens: Mapping[str, Given], convention: Convention, about: About
    ) -> None:
        self.body, self.convention, self.about = body, convention, about
        self.givens = {name: givens[name] for name in body.names}
        for name, given in self.givens.items():
            if given.lower > given.upper:
                raise InputError([_reversed(name, given, about)])
        self.middles = {name: given.middle for name, given in self.givens.items()}
        self.notes: list[Problem] = []
        self.mean = body.at(self.middles)
        self.slopes = body.slopes(self.middles)
        for name, slope in self.slopes.items():
            if slope is None:
                self.notes.append(
                    Problem(
                        "too-steep",
                        f"{about.id} changes without bound for the least change of {name}: "
                        "there is no root sum square and no share",
                        about.place,
                        severity="warning",
                    )
                )
        self.worst = self.worst_with({})
        self.worst_made = body.worst({n: given.made_box for n, given in self.givens.items()})

    def worst_with(
        self, growth: Mapping[str, Fraction], known: str = "", most_boxes: int = MOST_BOXES
    ) -> tuple[Fraction, Fraction]:
        """The worst case with some tolerances wider by ``growth``, and one origin known exactly."""
        return self.body.worst(
            {
                name: given.widened(growth.get(name, ZERO), ZERO if name == known else given.origin)
                for name, given in self.givens.items()
            },
            most_boxes,
        )

    def inside(self, ends: tuple[Fraction, Fraction]) -> bool:
        """Whether all between two ends lies in the window."""
        low, high = self.about.lower, self.about.upper
        return (low is None or ends[0] >= low) and (high is None or ends[1] <= high)

    @property
    def has_window(self) -> bool:
        """Whether there is anything to judge by."""
        return self.about.lower is not None or self.about.upper is not None

    def slack(self, ends: tuple[Fraction, Fraction]) -> Fraction:
        """How far the nearer end lies inside the window (negative: outside); there must be one."""
        low, high = self.about.lower, self.about.upper
        found = [] if low is None else [ends[0] - low]
        found += [] if high is None else [high - ends[1]]
        return min(found)

    # --- root sum square

    def variance_of(self, name: str) -> tuple[Value, Value]:
        """Variance that a size brings to the closing dimension: by making, and by its origin."""
        return self._variances[name]

    @cached_property
    def _variances(self) -> dict[str, tuple[Value, Value]]:
        return {
            name: self._variance_of(name) for name in self.givens if self.slopes[name] is not None
        }

    def _variance_of(self, name: str) -> tuple[Value, Value]:
        slope, given = self.slopes[name], self.givens[name]
        assert slope is not None
        square = usable(slope) ** 2
        count = self.convention.apart(effective(slope), given)
        return (
            square * (self.convention.sigma(given) ** 2) / count,
            square * (given.origin**2 / 9),
        )

    @property
    def statistical(self) -> bool:
        """Whether every sensitivity has a bound."""
        return all(slope is not None for slope in self.slopes.values())

    @cached_property
    def deviation(self) -> tuple[Value, Value]:
        """Standard deviation of the closing dimension, and the sum of the mean shifts."""
        variance: Value = ZERO
        shift: Value = ZERO
        for name, given in self.givens.items():
            slope = self.slopes[name]
            assert slope is not None
            made, origin = self.variance_of(name)
            variance = variance + made + origin
            steep: Value = absolute(usable(slope))
            shift = shift + steep * self.convention.shift(given)
        return root(variance), shift

    def root_sum_square(self) -> tuple[tuple[Value | None, Value | None], Value | None]:
        """Both ends, and the standard deviation."""
        if not self.statistical:
            return (None, None), None
        sigma, shift = self.deviation
        spread = sigma * THREE + shift
        return (_tidy(self.mean - spread), _tidy(self.mean + spread)), sigma

    # --- contributors

    def contributors(self) -> tuple[Contributor, ...]:
        """Every size with its shares, the greatest share of the worst case first."""
        texts: dict[str, str] = {}
        if self.body.coefficients is None:
            texts, problems = formulas(self.body, self.middles, self.slopes)
            self.notes += problems
        rows = []
        for name, given in self.givens.items():
            steep = abs(effective(self.slopes[name]))
            reach = steep * (given.tolerance / 2 + given.origin)
            rows.append((name, given, reach, self.variance(name), steep * given.origin))
        all_reach = sum((row[2] for row in rows), ZERO)
        all_variance = sum((row[3] for row in rows), ZERO)
        found = [
            Contributor(
                name,
                self.slopes[name],
                texts.get(name, ""),
                given,
                reach,
                reach / all_reach if all_reach else ZERO,
                variance / all_variance if all_variance else ZERO,
                origin,
            )
            for name, given, reach, variance, origin in rows
        ]
        return tuple(sorted(found, key=lambda item: (-item.reach, item.name)))

    @cached_property
    def all_variance(self) -> Fraction:
        """The variance of the closing dimension as one number."""
        return sum((self.variance(name) for name in self.givens), ZERO)

    def variance(self, name: str) -> Fraction:
        """All the variance that a size brings, as one number; 0 where it has no bound."""
        if self.slopes[name] is None:
            return ZERO
        return sum((middle_of(part) for part in self.variance_of(name)), ZERO)

    def verdict(self, basic: Value) -> Verdict | None:
        """By basic sizes, then (unless only they count) by the worst case; None without a window."""
        about = self.about
        if not self.has_window:
            return None
        low = about.lower is not None and upper(basic) < about.lower
        high = about.upper is not None and lower(basic) > about.upper
        if low or high:
            if about.what != "pair":
                return Verdict.FAILS
            return Verdict.TIGHT if low else Verdict.LOOSE
        ends = (lower(basic), upper(basic)) if about.at_basic else self.worst
        return Verdict.HOLDS if self.inside(ends) else Verdict.DOUBTFUL


def middle_of(value: Value) -> Fraction:
    """A value as one fraction."""
    return value if isinstance(value, Fraction) else value.midpoint


def _tidy(value: Value) -> Value:
    return value if isinstance(value, Fraction) else value.rounded()


def _reversed(name: str, given: Given, about: About) -> Problem:
    return Problem(
        "limits-reversed",
        f"{about.id}: the limits of {name} are the wrong way round",
        about.place,
        read=f"lower {float(given.lower):+g}, upper {float(given.upper):+g} ({given.source})",
        expected="the lower deviation not above the upper one",
        advice="exchange them, or look at the windows that the size is cut last to",
    )


def _of_draws(drawn: MonteCarlo, about: About) -> list[Problem]:
    """What is wrong with some of the draws: negative sizes, no value."""
    found = []
    if drawn.negative:
        which = ", ".join(f"{name} in {count:,}" for name, count in drawn.negative_sizes)
        found.append(
            Problem(
                "negative-size",
                f"{about.id}: {drawn.negative:,} of {drawn.draws:,} draws hold a negative size "
                f"({which})",
                about.place,
                severity="warning",
                expected="limits that keep every size above nought",
                advice="look at the limits of these sizes; they are wide for what they are",
            )
        )
    if drawn.without_value:
        found.append(
            Problem(
                "draws-without-value",
                f"{about.id}: {drawn.without_value:,} of {drawn.draws:,} draws have no value, and "
                "count as failed",
                about.place,
                severity="warning",
            )
        )
    return found


def work_out(
    body: Body,
    givens: Mapping[str, Given],
    about: About,
    convention: Convention,
    basic: Value,
    cancelled: tuple[str, ...] = (),
    notes: tuple[Problem, ...] = (),
    sample: Callable[[Stack], MonteCarlo] | None = None,
    advise: bool = True,
) -> Chain:
    """A chain from its body and sizes. ``sample`` makes the random draws, None for none.

    Without ``advise`` it is not worked out what could be relaxed.

    Raises InputError for limits the wrong way round and a window that is; EvaluationError where the
    expression has no value at the sizes or somewhere within their limits.
    """
    if about.lower is not None and about.upper is not None and about.lower > about.upper:
        raise InputError(
            [
                Problem(
                    "window-reversed",
                    f"{about.id}: the window wanted is the wrong way round",
                    about.place,
                    read=f"{float(about.lower):g} to {float(about.upper):g}",
                    expected="the lower bound not above the upper one",
                )
            ]
        )
    from scaler.chains.advice import could_be_relaxed, measure_again, tighten_first

    stack = Stack(body, givens, convention, about)
    contributors = stack.contributors()
    square, sigma = stack.root_sum_square()
    drawn = sample(stack) if sample is not None else None
    if drawn is not None:
        stack.notes += _of_draws(drawn, about)
    wanted: Bounds = (about.lower, about.upper)
    return Chain(
        id=about.id,
        what=about.what,
        title=about.title,
        expression=about.expression,
        unit=about.unit,
        basis=about.basis,
        wanted=wanted,
        basic=basic,
        mean=stack.mean,
        worst_case=stack.worst,
        worst_case_made=stack.worst_made,
        root_sum_square=square,
        standard_deviation=sigma,
        contributors=contributors,
        cancelled=cancelled,
        monte_carlo=drawn,
        verdict=stack.verdict(basic),
        tighten_first=tighten_first(stack, contributors),
        could_be_relaxed=could_be_relaxed(stack, contributors) if advise else (),
        measure_again=measure_again(stack, contributors),
        capability=convention.capability,
        mean_shift=convention.mean_shift,
        linear=body.coefficients is not None,
        copies_alike=convention.copies_alike,
        notes=(*notes, *stack.notes),
        place=about.place,
        node=body.node,
        ratio=body.ratio,
        constant=body.constant,
    )
