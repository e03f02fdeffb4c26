"""What tolerances cost: a curve for each process, and the processes that can make a size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from scaler.chains.records import Chain
from scaler.expressions.intervals import Interval, Value, power
from scaler.problems import InputError, Problem
from scaler.settling.rows import method_row

ZERO, ONE = Fraction(0), Fraction(1)
FIGURES = Fraction(1, 10**12)


@dataclass(frozen=True, slots=True)
class Curve:
    """What a tolerance costs by one process: fixed + work · (per / T)^exponent, between two ends."""

    fixed: Fraction
    work: Fraction
    exponent: Fraction = ONE
    per: Fraction = Fraction(1, 10)
    finest: Fraction = ZERO
    coarsest: Fraction | None = None
    process: str = ""
    source: str = ""

    def cost(self, tolerance: Fraction) -> Value:
        """The cost of a tolerance above 0, in the unit of ``fixed`` and ``work``.

        Exact or certified for exponents that are simple fractions; else good to 12 figures.
        """
        ratio = self.per / tolerance
        if self.simple:
            return self.fixed + self.work * power(ratio, self.exponent)
        about = Fraction(float(ratio) ** float(self.exponent))
        return self.fixed + self.work * Interval(about * (1 - FIGURES), about * (1 + FIGURES))

    @property
    def simple(self) -> bool:
        """Whether roots of the exponent's degree are worth taking exactly."""
        return self.exponent.denominator <= 12 and abs(self.exponent) <= 12


@dataclass(frozen=True, slots=True)
class Option:
    """One way to make a size: a process at a grade, the tolerance it holds and what it costs."""

    process: str
    grade: str
    tolerance: Fraction
    cost: Fraction
    source: str = ""


def catalogue_curves(chain: Chain, exponent: int = 1) -> dict[str, Curve]:
    """The catalogue's cost curve of every contributor of a known process, by size.

    ``exponent`` 1 or 2. The ends are the ISO 286 grades that the process usually holds.
    """
    found = {}
    for item in chain.contributors:
        if item.given.reading or not item.given.tolerance:
            continue
        curve = process_curve(item.given.process, item.given.middle, exponent)
        if curve is not None:
            found[item.name] = curve
    return found


def process_curve(process: str, basic: Fraction, exponent: int = 1) -> Curve | None:
    """The catalogue's cost curve of a process at a size [mm]; None where there is none.

    Its ends are the ISO 286 grades of the chart of processes; the methods table's own last cut where
    that is finer. Raises InputError for an exponent other than 1 and 2.
    """
    from scaler import catalogue
    from scaler.trade import iso286

    if exponent not in (1, 2):
        raise InputError(
            [Problem("option", "no such exponent", read=str(exponent), expected="1 or 2")]
        )
    row = catalogue.table("process_costs").find(process)
    if row is None:
        return None
    try:
        finest, coarsest = (
            iso286.tolerance(row.text(column), abs(basic)) / 1000
            for column in ("finest_grade", "coarsest_grade")
        )
    except iso286.Iso286Error:
        return None
    method = method_row(process)
    if method is not None and method.last_cut is not None:
        finest = min(finest, method.last_cut)
    return Curve(
        row.number("setup_minutes"),
        row.number("work_minutes"),
        Fraction(exponent),
        finest=finest,
        coarsest=coarsest,
        process=process,
        source=row.text("source"),
    )


def catalogue_options(chain: Chain, exponent: int = 1) -> dict[str, tuple[Option, ...]]:
    """Every process and grade of the catalogue that can make each contributor, by size.

    Processes that cut to any size, of the size's kind; one tied to the sizes of its tools (a reamer,
    a drill) only where the size is got by it already. Readings and sizes of no known process are
    left out.
    """
    from scaler import catalogue

    rows = catalogue.table("process_costs").rows
    methods = catalogue.table("methods")
    found = {}
    for item in chain.contributors:
        given = item.given
        if given.reading or not given.tolerance:
            continue
        if all(row.text("designation") != given.process for row in rows):
            continue
        mine: list[Option] = []
        for row in rows:
            process = row.text("designation")
            method = methods.find(process)
            tied = method is not None and method.text("way") != "cut"
            kinds = [kind.strip() for kind in row.text("kinds").split(";")]
            if process != given.process and (tied or given.kind not in kinds):
                continue
            mine += _grades(process, given.middle, exponent)
        if mine:
            found[item.name] = tuple(sorted(mine, key=lambda o: (o.tolerance, o.cost, o.process)))
    return found


def _grades(process: str, basic: Fraction, exponent: int) -> Sequence[Option]:
    from scaler import catalogue
    from scaler.trade import iso286

    curve = process_curve(process, basic, exponent)
    row = catalogue.table("process_costs").find(process)
    if curve is None or row is None:
        return ()
    first, last = (int(row.text(c)[2:]) for c in ("finest_grade", "coarsest_grade"))
    held = {f"IT{n}": iso286.tolerance(n, abs(basic)) / 1000 for n in range(first, last + 1)}
    if curve.finest < held[f"IT{first}"]:
        held["last cut"] = curve.finest
    found = []
    for grade, tolerance in held.items():
        cost = curve.cost(tolerance)
        assert isinstance(cost, Fraction)  # whole exponents
        found.append(Option(process, grade, tolerance, cost, curve.source))
    return found
