"""Tolerances for the sizes of a chain that meet its closing limits at least cost.

The cost of a tolerance T by one process is ``fixed + work · (per / T)^exponent``: reciprocal with
exponent 1, reciprocal squared with 2. Least cost under the worst case (Σ|s|·T/2 within the room)
or the root sum square (√Σ(s·T/2C)² within it) is a problem of Lagrange multipliers, and with one
exponent for all sizes it is closed: T is in proportion to ``(k·work·per^k ÷ weight)^(1/(k+p))``,
where the weight is |s|/2 and p = 1 for the worst case, (s/2C)² and p = 2 for the root sum square.
Sizes that would fall outside what their process can hold are put at its end, and the rest solved
again. Whole processes with their grades are chosen exactly, by the states that no other beats.

Only tolerances are shared out: the middles of the limits stay where they are. Readings, sizes as
bought and sizes of no known process keep theirs. Every answer is checked by working the chain out
again, and a tolerance is always rounded down.

References: Chase, Greenwood, Loosli, Hauglund, Least cost tolerance allocation for mechanical
assemblies with automated process selection, Manufacturing Review 3 (1990) 49 (abstract read; the
multipliers are worked out here); Spotts, Allocation of tolerances to minimize cost of assembly,
J. Eng. Ind. 95 (1973) for the reciprocal square (from memory); discrete choice as in Lee and Woo,
Optimum selection of discrete tolerances, 1987 (abstract read).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any, Literal

from scaler.chains.costs import Curve, Option, catalogue_curves, catalogue_options
from scaler.chains.expressions import body_of, effective
from scaler.chains.least_cost import Room, cheapest, least_cost, proportional
from scaler.chains.records import Chain, Contributor, Given
from scaler.chains.stack import About, Convention, work_out
from scaler.expressions import EvaluationError
from scaler.expressions.intervals import Value, lower, upper
from scaler.problems import InputError, Problem, did_you_mean
from scaler.records import Bounds, Verdict
from scaler.settling.rows import method_row
from scaler.settling.solve import middle

if TYPE_CHECKING:
    import pandas

ZERO = Fraction(0)
STEP = Fraction(1, 1000)
GRAIN = Fraction(1, 10**9)
By = Literal["worst case", "root sum square"]


@dataclass(frozen=True, slots=True)
class Allotted:
    """One size: its tolerance before and after, by which process, at what cost (None: not known)."""

    size: str
    process: str
    before: Fraction
    tolerance: Fraction
    limits: tuple[Fraction, Fraction]
    cost_before: Value | None
    cost: Value | None
    at_end: str


@dataclass(frozen=True)
class Allocation:
    """Tolerances shared out, the sizes that keep theirs, and the chain worked out with them."""

    by: By
    how: str
    wanted: Bounds
    allotted: tuple[Allotted, ...]
    kept: tuple[str, ...]
    cost_before: Value | None
    cost: Value
    chain: Chain
    notes: tuple[Problem, ...] = ()

    def tolerance(self, size: str) -> Fraction:
        """The tolerance allotted to a size [mm]. Raises KeyError."""
        return {item.size: item.tolerance for item in self.allotted}[size]

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts."""
        from scaler.chains.allocation_report import allocation_dict

        return allocation_dict(self)

    def frame(self) -> pandas.DataFrame:
        """A pandas frame: one row a size."""
        from scaler.report import frame_of

        return frame_of(self.as_dict()["allotted"])

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))

    def text(self) -> str:
        """The tolerances as text for the command line."""
        from scaler.chains.allocation_report import allocation_text

        return allocation_text(self)


def allocate(
    chain: Chain,
    *,
    by: By = "worst case",
    wanted: Bounds | None = None,
    curves: Mapping[str, Curve] | None = None,
    method: Literal["least cost", "proportion"] = "least cost",
    exponent: int = 1,
    step: Fraction | None = STEP,
) -> Allocation:
    """Tolerances of the sizes that meet the closing limits.

    Parameters
    ----------
    chain : Chain, worked out; readings and sizes without a curve keep their limits
    by : ``worst case`` or ``root sum square``
    wanted : the closing limits, if not the chain's own window
    curves : what a tolerance costs, by size; by default from the catalogue, by process
    method : ``least cost``, or ``proportion``: all tolerances times the same factor
    exponent : of the catalogue's curves, 1 or 2; given curves have their own
    step : tolerances are rounded down to it [mm]; None for no rounding

    Returns
    -------
    Allocation

    Raises
    ------
    InputError
        No window; no size to share it among; a window that even the finest tolerances cannot keep.
    """
    window = _window(chain, wanted)
    convention = _convention(chain, by)
    if curves is None:
        curves = {} if method == "proportion" else catalogue_curves(chain, exponent)
    free = _free(chain, curves, method)
    room = _room(chain, free, window, by, convention, ZERO)
    spare = ZERO
    for _ in range(12):
        if method == "proportion":
            now = {name: item.given.tolerance for name, item in free.items()}
            found, how = proportional(now, room), "all in proportion"
        else:
            found, how = least_cost(free, curves, room, chain.id)
        rounded = {
            name: _down(value, step, curves[name].finest if name in curves else ZERO)
            for name, value in found.items()
        }
        result = _again(chain, rounded, window, convention)
        over = _over(result, window, by)
        if over <= 0:
            break
        # not linear: the greatest slopes are steeper than those at the middle
        spare += over + GRAIN
        room = _room(chain, free, window, by, convention, spare)
    else:
        raise InputError([_cannot(chain, "the chain bends too much for this")])
    return _allocation(chain, by, how, window, curves, rounded, result, curves)


def choose_processes(
    chain: Chain,
    *,
    by: By = "worst case",
    wanted: Bounds | None = None,
    options: Mapping[str, Sequence[Option]] | None = None,
    exponent: int = 1,
) -> Allocation:
    """The cheapest process and grade for every size that together meet the closing limits.

    Parameters: options : what can be chosen from, by size; by default every process and ISO 286
        grade of the catalogue that can make it; the others as :func:`allocate`.
    Returns: Allocation; ``how`` says whether nothing cheaper is proved to exist.
    Raises: InputError as :func:`allocate`.
    """
    window = _window(chain, wanted)
    convention = _convention(chain, by)
    offered = catalogue_options(chain, exponent) if options is None else dict(options)
    curves = {name: Curve(ZERO, ZERO) for name in offered}
    free = _free(chain, curves, "least cost")
    spare = ZERO
    for _ in range(12):
        room = _room(chain, free, window, by, convention, spare)
        chosen, proved = cheapest({name: offered[name] for name in free}, room, chain.id)
        tolerances = {name: option.tolerance for name, option in chosen.items()}
        result = _again(chain, tolerances, window, convention)
        over = _over(result, window, by)
        if over <= 0:
            break
        spare += over + GRAIN
    else:
        raise InputError([_cannot(chain, "the chain bends too much for this")])
    proved = proved and not spare
    how = "cheapest choice of processes" + ("" if proved else ", best found")
    fixed = {
        name: Curve(option.cost, ZERO, process=f"{option.process} {option.grade}".strip())
        for name, option in chosen.items()
    }
    before = catalogue_curves(chain, exponent) if options is None else {}
    return _allocation(chain, by, how, window, fixed, tolerances, result, before)


def _window(chain: Chain, wanted: Bounds | None) -> Bounds:
    window = chain.wanted if wanted is None else wanted
    if chain.basic is None:
        raise InputError(
            [Problem("no-figures", f"{chain.id} has no figures to share tolerances out from")]
        )
    if window == (None, None):
        raise InputError(
            [
                Problem(
                    "no-window",
                    f"{chain.id} has no closing limits to share out",
                    chain.place,
                    expected="a window, or limits given with it",
                )
            ]
        )
    return window


def _convention(chain: Chain, by: str) -> Convention:
    if by not in ("worst case", "root sum square"):
        raise InputError(
            [
                Problem(
                    "option",
                    f"tolerances cannot be shared out by '{by}'",
                    read=str(by),
                    expected="worst case or root sum square",
                    advice=did_you_mean(str(by), ("worst case", "root sum square")),
                )
            ]
        )
    if by == "root sum square" and chain.mean_shift:
        raise InputError(
            [
                Problem(
                    "option",
                    "tolerances are shared out by root sum square without a mean shift",
                    read=f"mean shift {float(chain.mean_shift):g}",
                    expected="mean shift 0",
                    advice="share out by the worst case, or take a capability above 1",
                )
            ]
        )
    return Convention(chain.capability, chain.mean_shift, chain.copies_alike)


def _free(chain: Chain, curves: Mapping[str, Curve], method: str) -> dict[str, Contributor]:
    """The contributors whose tolerances can be shared out."""
    known = {item.name for item in chain.contributors}
    strange = [name for name in curves if name not in known]
    if strange:
        raise InputError(
            [
                Problem(
                    "unknown-size",
                    f"{name} takes no part in {chain.id}",
                    read=name,
                    expected="a contributor of the chain",
                    advice=did_you_mean(name, known),
                )
                for name in strange
            ]
        )
    found = {
        item.name: item
        for item in chain.contributors
        if effective(item.sensitivity)
        and not item.given.reading
        and (_can_scale(item) if method == "proportion" else item.name in curves)
    }
    if not found:
        raise InputError(
            [
                Problem(
                    "nothing-to-share",
                    f"no size of {chain.id} has a tolerance that could be chosen",
                    chain.place,
                    read=", ".join(
                        f"{item.name} ({item.given.source or 'no process'})"
                        for item in chain.contributors
                    ),
                    expected="a size cut by a process of the cost table, or cost curves",
                )
            ]
        )
    return found


def _can_scale(item: Contributor) -> bool:
    """Whether a tolerance is ours to change: there is one, and it is not that of a bought row."""
    method = method_row(item.given.process) if item.given.process else None
    return bool(item.given.tolerance) and not (method is not None and method.tables)


def _room(
    chain: Chain,
    free: Mapping[str, Contributor],
    window: Bounds,
    by: str,
    convention: Convention,
    spare: Fraction,
) -> Room:
    """What is left of the closing limits once the sizes that keep theirs have had their part."""
    assert chain.mean is not None
    low, high = window
    ends = [] if low is None else [lower(chain.mean) - low]
    ends += [] if high is None else [high - upper(chain.mean)]
    half = min(ends) - spare
    taken = ZERO
    weights = {}
    for item in chain.contributors:
        steep = abs(effective(item.sensitivity))
        making = ZERO if item.name in free else item.given.tolerance
        if by == "worst case":
            taken += steep * (making / 2 + item.given.origin)
            weights[item.name] = steep / 2
        else:
            sigma = convention.sigma(replace(item.given, lower=ZERO, upper=making))
            count = convention.apart(effective(item.sensitivity), item.given)
            taken += (3 * steep * sigma) ** 2 / count + (steep * item.given.origin) ** 2
            weights[item.name] = (steep / (2 * convention.capability)) ** 2 / count
    size = half - taken if by == "worst case" else half * abs(half) - taken
    if size <= 0:
        raise InputError(
            [_cannot(chain, "what keeps its limits uses all of it, or the middle lies outside")]
        )
    return Room(size, 1 if by == "worst case" else 2, {name: weights[name] for name in free})


def _cannot(chain: Chain, why: str) -> Problem:
    return Problem(
        "cannot-allocate",
        f"no tolerances keep {chain.id} inside its closing limits: {why}",
        chain.place,
        expected="a wider window, a size nearer its middle, or finer processes",
        advice="cut one size last to the others as they come out",
    )


def _down(value: Value, step: Fraction | None, finest: Fraction) -> Fraction:
    """Rounded down to the step; to a millionth of a micrometre where that would be too fine."""
    least = lower(value)
    if step is not None:
        rounded = (least // step) * step
        if rounded > 0 and rounded >= finest:
            return rounded
    if least < finest <= upper(value):
        return finest
    return least if least.denominator <= 10**9 else (least // GRAIN) * GRAIN


def with_tolerances(
    chain: Chain,
    tolerances: Mapping[str, Fraction],
    window: Bounds | None = None,
    convention: Convention | None = None,
) -> Chain:
    """A chain worked out again with other tolerances about the same middles (no random draws)."""
    return _again(
        chain,
        tolerances,
        chain.wanted if window is None else window,
        convention or Convention(chain.capability, chain.mean_shift, chain.copies_alike),
    )


def _again(
    chain: Chain, tolerances: Mapping[str, Fraction], window: Bounds, convention: Convention
) -> Chain:
    assert chain.node is not None and chain.basic is not None
    givens: dict[str, Given] = {}
    for name, given in chain.givens.items():
        if name in tolerances:
            centre = (given.lower + given.upper) / 2
            half = tolerances[name] / 2
            given = replace(given, lower=centre - half, upper=centre + half, source="allotted")
        givens[name] = given
    about = About(
        chain.id,
        chain.what,
        chain.title,
        chain.expression,
        chain.unit,
        chain.basis,
        window[0],
        window[1],
        chain.place,
    )
    try:
        return work_out(
            body_of(chain.node, chain.ratio),
            givens,
            about,
            convention,
            chain.basic,
            chain.cancelled,
        )
    except EvaluationError as error:
        raise InputError([_cannot(chain, str(error))]) from None


def _over(chain: Chain, window: Bounds, by: str) -> Fraction:
    """How far a chain reaches out of a window (0 or less: it does not)."""
    ends: Bounds = chain.worst_case
    if by == "root sum square":
        low, high = chain.root_sum_square
        assert low is not None and high is not None
        ends = (lower(low), upper(high))
    over = []
    if window[0] is not None and ends[0] is not None:
        over.append(window[0] - ends[0])
    if window[1] is not None and ends[1] is not None:
        over.append(ends[1] - window[1])
    return max(over)


def _allocation(
    chain: Chain,
    by: By,
    how: str,
    window: Bounds,
    curves: Mapping[str, Curve],
    tolerances: Mapping[str, Fraction],
    result: Chain,
    before_curves: Mapping[str, Curve],
) -> Allocation:
    rows = []
    for item in chain.contributors:
        if item.name not in tolerances:
            continue
        now, before = tolerances[item.name], item.given.tolerance
        curve, old = curves.get(item.name), before_curves.get(item.name)
        end = ""
        if curve is not None and now <= curve.finest:
            end = "finest"
        elif curve is not None and curve.coarsest is not None and now >= curve.coarsest:
            end = "coarsest"
        rows.append(
            Allotted(
                item.name,
                (curve.process if curve else "") or item.given.process,
                before,
                now,
                result.contributor(item.name).limits,
                old.cost(before) if old and before else None,
                curve.cost(now) if curve else None,
                end,
            )
        )
    zero: Value = ZERO
    return Allocation(
        by,
        how,
        window,
        tuple(rows),
        tuple(item.name for item in chain.contributors if item.name not in tolerances),
        None
        if any(row.cost_before is None for row in rows)
        else sum((row.cost_before for row in rows if row.cost_before is not None), zero),
        sum((row.cost for row in rows if row.cost is not None), zero),
        result,
        tuple(_notes(chain, window, result)),
    )


def _notes(chain: Chain, window: Bounds, result: Chain) -> list[Problem]:
    """What could be gained by moving the middle, and a window that basic sizes miss."""
    found = []
    if window[0] is not None and window[1] is not None and chain.mean is not None:
        off = middle(chain.mean) - (window[0] + window[1]) / 2
        if off:
            found.append(
                Problem(
                    "off-centre",
                    f"the middle of the limits lies {float(abs(off)):.4f} {chain.unit} "
                    f"{'above' if off > 0 else 'below'} the middle of the window; every bit that a "
                    "size is moved to mend that can be given to the tolerances",
                    chain.place,
                    severity="warning",
                )
            )
    if result.verdict in (Verdict.TIGHT, Verdict.LOOSE, Verdict.FAILS):
        found.append(
            Problem(
                "basic-outside",
                f"the basic sizes of {chain.id} lie outside the window; their limits do not",
                chain.place,
                severity="warning",
            )
        )
    return found
