"""The records of a tolerance chain: what goes in, what each size contributes, what comes out.

A chain is a closing dimension (an expression between sizes) and the sizes that make it up. Lengths
are exact fractions of a millimetre, angles of a degree; irrational values are certified intervals.
Only the random draws are floating point.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from scaler.expressions import Node
from scaler.expressions.intervals import Interval, Value
from scaler.problems import Place, Problem
from scaler.records import Bounds, Verdict

if TYPE_CHECKING:
    import pandas

ZERO = Fraction(0)
ONE = Fraction(1)


@dataclass(frozen=True, slots=True)
class Given:
    """One size as it goes into a chain.

    ``value`` is the basic size; ``lower`` and ``upper`` are the deviations that making it may leave
    [mm or degrees]. ``reading`` says that they are the uncertainty of an instrument, not the
    tolerance of a process, so that neither capability nor mean shift apply. ``origin`` is the ± by
    which the drawn figure itself is uncertain, carried to the model. ``copies`` is how many of the
    part are made; ``process`` the way the size is got.
    """

    value: Value
    lower: Fraction = ZERO
    upper: Fraction = ZERO
    source: str = ""
    process: str = ""
    reading: bool = False
    origin: Fraction = ZERO
    origin_text: str = ""
    kind: str = "length"
    copies: int = 1

    @property
    def tolerance(self) -> Fraction:
        """Upper less lower deviation."""
        return self.upper - self.lower

    @property
    def box(self) -> Interval:
        """All that the size may be: made anywhere within its limits, from any origin."""
        return self.widened(ZERO, self.origin)

    @property
    def made_box(self) -> Interval:
        """All that making may leave, the drawn figure taken as right."""
        return self.widened(ZERO, ZERO)

    def widened(self, growth: Fraction, origin: Fraction) -> Interval:
        """The box with the tolerance wider by ``growth`` (half each side) and this origin."""
        low, high = (
            (self.value.lower, self.value.upper)
            if isinstance(self.value, Interval)
            else (self.value, self.value)
        )
        more = growth / 2 + origin
        return Interval(low + self.lower - more, high + self.upper + more)

    @property
    def middle(self) -> Fraction:
        """The middle of the limits, exact."""
        basic = self.value if isinstance(self.value, Fraction) else self.value.midpoint
        return basic + (self.lower + self.upper) / 2


@dataclass(frozen=True, slots=True)
class Contributor:
    """What one size does to a chain.

    ``sensitivity`` is d(closing)/d(size) at the middle of the limits, None where it has no bound;
    ``formula`` the sympy derivative where the chain is not linear. ``reach`` is how far the size
    can move the closing dimension either way; ``share_worst_case`` and ``share_variance`` its parts
    of the whole (they add up to 1); ``origin_effect`` the part of the reach that the uncertain
    origin makes.
    """

    name: str
    sensitivity: Value | None
    formula: str
    given: Given
    reach: Fraction
    share_worst_case: Fraction
    share_variance: Fraction
    origin_effect: Fraction

    @property
    def limits(self) -> tuple[Fraction, Fraction]:
        """Lower and upper limit of size as made."""
        basic = self.given.middle - (self.given.lower + self.given.upper) / 2
        return basic + self.given.lower, basic + self.given.upper


@dataclass(frozen=True, slots=True)
class MonteCarlo:
    """What the random draws found, in floating point (mm or degrees).

    ``chance`` is the part of the draws inside the window, None where there is no window, or one
    of no width that draws which vary cannot meet; a draw
    without a value counts as outside. ``percentiles`` are pairs of percent and value.
    ``edges`` and ``counts`` are the histogram.
    """

    draws: int
    seed: int
    distribution: str
    mean: float
    sd: float
    mean_standard_error: float
    lowest: float
    highest: float
    percentiles: tuple[tuple[float, float], ...]
    chance: float | None
    chance_standard_error: float | None
    below: int
    above: int
    negative: int
    negative_sizes: tuple[tuple[str, int], ...]
    without_value: int
    edges: tuple[float, ...] = field(repr=False, default=())
    counts: tuple[int, ...] = field(repr=False, default=())


@dataclass(frozen=True, slots=True)
class Tighten:
    """The tolerance to tighten first: what it is now, and what it alone would have to become.

    ``needed`` is None where nothing needs tightening (``enough`` is then True) or where this size
    alone cannot bring the worst case inside the window (``enough`` is False).
    """

    size: str
    tolerance: Fraction
    needed: Fraction | None
    enough: bool
    share_variance: Fraction

    def __str__(self) -> str:
        return self.size


@dataclass(frozen=True, slots=True)
class Relaxed:
    """How much one tolerance could grow, alone, and the chain still lie inside its window.

    Growth of the whole tolerance, half on each side: by the worst case, and by the root sum square.
    """

    size: str
    tolerance: Fraction
    worst_case: Fraction
    root_sum_square: Fraction


@dataclass(frozen=True, slots=True)
class MeasureAgain:
    """An uncertain origin: what it does to the chain, and whether it is worth going back for.

    ``effect`` is its ± on the closing dimension, ``share`` its part of the whole worst case.
    ``settles`` says that the worst case would lie inside the window if this origin alone were
    known, and does not now. ``worth_it``: it settles the question, or makes a tenth of the whole.
    """

    size: str
    origin: str
    uncertainty: Fraction
    effect: Fraction
    share: Fraction
    settles: bool
    worth_it: bool


@dataclass(frozen=True)
class Chain:
    """A tolerance chain, worked out.

    ``worst_case`` takes all limits and all uncertain origins at their ends; ``worst_case_made`` the
    limits alone. ``root_sum_square`` is the middle ± (3 standard deviations and the mean shifts);
    ``standard_deviation`` goes with it. ``cancelled`` names sizes that stand on both sides and have
    no effect. A chain that a refused pressure part takes part in is ``refused`` and has no figures.
    """

    id: str
    what: str
    title: str
    expression: str
    unit: str
    basis: str
    wanted: Bounds
    basic: Value | None
    mean: Value | None
    worst_case: Bounds
    worst_case_made: Bounds
    root_sum_square: tuple[Value | None, Value | None]
    standard_deviation: Value | None
    contributors: tuple[Contributor, ...]
    cancelled: tuple[str, ...]
    monte_carlo: MonteCarlo | None
    verdict: Verdict | None
    tighten_first: Tighten | None
    could_be_relaxed: tuple[Relaxed, ...]
    measure_again: tuple[MeasureAgain, ...]
    capability: Fraction
    mean_shift: Fraction
    linear: bool
    copies_alike: bool = True
    refused: bool = False
    notes: tuple[Problem, ...] = ()
    place: Place | None = None
    node: Node | None = field(repr=False, default=None)
    ratio: Fraction = field(repr=False, default=ONE)
    constant: Fraction = field(repr=False, default=ZERO)

    @property
    def name(self) -> str:
        """The name of the chain, the same as ``id``."""
        return self.id

    @property
    def givens(self) -> Mapping[str, Given]:
        """The sizes that went in, by name."""
        return {item.name: item.given for item in self.contributors}

    def contributor(self, name: str) -> Contributor:
        """The contributor of that name. Raises KeyError."""
        for item in self.contributors:
            if item.name == name:
                return item
        raise KeyError(name)

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts; numbers with their exact twins."""
        from scaler.chains.report import chain_dict

        return chain_dict(self)

    def frame(self) -> pandas.DataFrame:
        """A pandas frame: one row a contributor, the one with the greatest share first."""
        from scaler.chains.report import contributor_dict
        from scaler.report import frame_of

        return frame_of([contributor_dict(item) for item in self.contributors])

    def text(self, units: str = "mm") -> str:
        """The chain as text for the command line."""
        from scaler.chains.report import chain_text

        return chain_text(self, units)

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))
