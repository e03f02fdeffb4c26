"""A component as a mixed-integer programme: columns, rows, objectives, and reading it back.

Each size has one binary column a branch (none where it has only one) and a whole-number column for
the steps of each cut. Rows are multiplied by their common denominator: with whole coefficients and
whole variables their sums are whole, so the solver's tolerance cannot blur a bound.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from math import gcd, lcm

from scaler.substitution.compiled import Link
from scaler.substitution.forms import Form, Part, Row
from scaler.substitution.options import ZERO, Branch, Deviation
from scaler.substitution.parts import Component, Pick, amount

INFINITY = float("inf")
COST_SCALE = 1000.0
"""A cost of 1, a size as far out as the builder would go, in the solver's units."""
LARGEST = 10**7
"""Rows whose whole coefficients would be larger than this are kept as decimals."""


class Programme:
    """The arrays of one component, and which column means what."""

    def __init__(self, component: Component, caps: dict[str, Fraction] | None = None) -> None:
        self.component = component
        self.compiled = component.compiled
        self.caps = caps or {}
        self.cost: list[float] = []
        self.lower: list[float] = []
        self.upper: list[float] = []
        self.whole: list[int] = []
        self.row_lower: list[float] = []
        self.row_upper: list[float] = []
        self.starts: list[int] = []
        self.indices: list[int] = []
        self.values: list[float] = []
        self.picks: dict[str, list[int]] = {}
        self.steps: dict[str, list[int]] = {}
        self.far: dict[str, list[int]] = {}
        self.numbers: dict[str, tuple[int, list[int], list[int]]] = {}
        self.items: dict[str, int] = {}
        self.slacks: dict[str, int] = {}
        self.covered: list[int] = []
        for name in component.names:
            self.size(name)
        for line in component.costs:
            self.cost_line(line.name, line.form, line.exact, line.unit)
        for row in component.rows:
            self.requirement(row)
        for link in component.links:
            self.link(link)

    # --- building

    def column(self, cost: float, lower: float, upper: float, whole: bool) -> int:
        """One more column; its number."""
        self.cost.append(cost)
        self.lower.append(lower)
        self.upper.append(upper)
        self.whole.append(1 if whole else 0)
        return len(self.cost) - 1

    def row(self, lower: float, upper: float, terms: Iterable[tuple[int, float]]) -> None:
        """One more row."""
        self.row_lower.append(lower)
        self.row_upper.append(upper)
        self.starts.append(len(self.indices))
        for column, value in terms:
            if value:
                self.indices.append(column)
                self.values.append(value)

    def item(self, name: str) -> int:
        """The column that tells whether something is given up."""
        if name not in self.items:
            self.items[name] = self.column(0.0, 0.0, 1.0, True)
        return self.items[name]

    def size(self, name: str) -> None:
        """Columns and own rows of one size."""
        variable = self.component.variable(name)
        branches, exact = variable.branches, variable.exact
        at = exact if exact is not None else variable.at
        picks: list[int] = []
        steps: list[int] = []
        fars: list[int] = []
        many = len(branches) > 1 or bool(branches and branches[0].items)
        below = lcm(
            *{b.base.denominator for b in branches}, *{b.step.denominator for b in branches}
        )
        self.numbers[name] = (
            below,
            [b.base.numerator * (below // b.base.denominator) for b in branches],
            [b.step.numerator * (below // b.step.denominator) for b in branches],
        )
        near = float(at)
        for branch in branches:
            unit = float(branch.unit) * COST_SCALE if exact is not None else 0.0
            pick = -1
            if many:
                fixed_cost = 0.0 if branch.moves else unit * abs(float(branch.base) - near)
                pick = self.column(fixed_cost, 0.0, 1.0, True)
                if branch.covered:
                    self.covered.append(pick)
                for item in branch.items:
                    self.row(-INFINITY, 0.0, ((pick, 1.0), (self.item(item), -1.0)))
            picks.append(pick)
            step = far = -1
            if branch.moves:
                low, high = float(branch.low), float(branch.high)
                step = self.column(0.0, min(low, 0.0), max(high, 0.0), not branch.free)
                if many:
                    self.row(-INFINITY, 0.0, ((step, 1.0), (pick, -high)))
                    self.row(0.0, INFINITY, ((step, 1.0), (pick, -low)))
                else:
                    self.lower[step], self.upper[step] = low, high
                if not variable.solved:
                    far = self.distance(branch, branch.base - at, unit, pick, step)
            steps.append(step)
            fars.append(far)
        if many:
            self.row(1.0, 1.0, [(pick, 1.0) for pick in picks])
        self.picks[name], self.steps[name], self.far[name] = picks, steps, fars

    def distance(self, branch: Branch, away: Fraction, unit: float, pick: int, step: int) -> int:
        """A column for how far a cut is from the exact size [mm], and the lines that hold it up."""
        far = self.column(unit, 0.0, INFINITY, False)
        size = float(branch.step)

        def line(constant: Fraction, slope: float) -> None:
            terms = [(far, 1.0), (step, -slope)]
            if pick >= 0:
                self.row(0.0, INFINITY, [*terms, (pick, -float(constant))])
            else:
                self.row(float(constant), INFINITY, terms)

        least, most = away + branch.step * branch.low, away + branch.step * branch.high
        if most > 0:
            line(away, size)
        if least < 0:
            line(-away, -size)
        if least < 0 < most and not branch.free:
            quotient = -away / branch.step
            whole = quotient.numerator // quotient.denominator
            left = -(away + branch.step * whole)
            right = branch.step - left
            if left:
                slope = right - left
                line(left - slope * whole, float(slope))
        return far

    def cost_line(self, name: str, form: Form, exact: Fraction, unit: Fraction) -> None:
        """A column for the departure of a size that is only worked out."""
        far = self.column(float(unit) * COST_SCALE, 0.0, INFINITY, False)
        row = Row("", {}, form.constant - exact)
        for other, factor in form.factors.items():
            row.part(other).factor = factor
        constant, whole, terms = self.terms(row)
        floats = [(column, value / whole) for column, value in terms.items()]
        for sign in (1.0, -1.0):
            self.row(
                sign * float(constant),
                INFINITY,
                [(far, 1.0), *((column, -sign * value) for column, value in floats)],
            )

    def terms(self, row: Row) -> tuple[Fraction, int, dict[int, int]]:
        """Constant of a row's sum [mm]; and whole coefficients over one denominator, by column."""
        constant = row.constant
        chunks: list[tuple[int, list[tuple[int, int]]]] = []
        for name, part in row.parts.items():
            branches = self.compiled.variables[name].branches
            if self.compiled.variables[name].fixed:
                constant += amount(self.compiled, name, part, branches[0], row.side)[0]
                continue
            picks, steps = self.picks[name], self.steps[name]
            if part.spreads and not part.cuts and not part.windows:
                below, bases, slopes = self.spread(name, part, row.side)
                constant += Fraction(bases[0], below)
                top = 1
            elif part.cuts or part.windows:
                amounts = [amount(self.compiled, name, part, b, row.side) for b in branches]
                below = common_denominator(value for pair in amounts for value in pair)
                bases = [int(first * below) for first, _ in amounts]
                slopes = [int(slope * below) for _, slope in amounts]
                constant += amounts[0][0]
                top = 1
            else:
                below, bases, slopes = self.numbers[name]
                top = part.factor.numerator
                below *= part.factor.denominator
                constant += part.factor * branches[0].base
            chunk = []
            for base, slope, pick, step in zip(bases, slopes, picks, steps, strict=True):
                if pick >= 0 and base != bases[0]:
                    chunk.append((pick, top * (base - bases[0])))
                if step >= 0 and slope:
                    chunk.append((step, top * slope))
            chunks.append((below, chunk))
        whole = lcm(*(below for below, _ in chunks))
        terms: dict[int, int] = {}
        for below, chunk in chunks:
            factor = whole // below
            for column, value in chunk:
                terms[column] = terms.get(column, 0) + factor * value
        return constant, whole, {column: value for column, value in terms.items() if value}

    def spread(self, name: str, part: Part, side: str) -> tuple[int, list[int], list[int]]:
        """The same for a part with limits: one denominator, amounts and slopes by branch."""
        below, bases, slopes = self.numbers[name]
        top = part.factor.numerator
        below *= part.factor.denominator
        known: dict[Deviation, Fraction] = {}
        extras = []
        for branch in self.compiled.variables[name].branches:
            limits = self.compiled.deviation(name, branch)
            extra = known.get(limits)
            if extra is None:
                down, up = limits
                ends = [(factor * down, factor * up) for factor in part.spreads]
                worst = min if side == "low" else max
                extra = known[limits] = sum((worst(pair) for pair in ends), ZERO)
            extras.append(extra)
        common = lcm(below, *{extra.denominator for extra in extras})
        own = top * (common // below)
        return (
            common,
            [
                own * base + extra.numerator * (common // extra.denominator)
                for base, extra in zip(bases, extras, strict=True)
            ],
            [own * slope for slope in slopes],
        )

    def requirement(self, row: Row) -> None:
        """A row of the component, on whole numbers where that can be."""
        constant, whole, terms = self.terms(row)
        lower = None if row.lower is None else row.lower - constant
        upper = None if row.upper is None else row.upper - constant
        continuous = any(not self.whole[column] for column in terms)
        shared = gcd(*terms.values()) or 1
        largest = max((abs(value) // shared for value in terms.values()), default=0)
        if not continuous and not row.slack and largest <= LARGEST:
            scale = Fraction(whole, shared)
            low, high = whole_bounds(lower, upper, scale, row.strict)
            floats = {column: float(value // shared) for column, value in terms.items()}
        else:
            scale = Fraction(1000 * whole, max((abs(v) for v in terms.values()), default=whole))
            edge = 1e-6 if row.strict else 0.0
            low = -INFINITY if lower is None else float(lower * scale) + edge
            high = INFINITY if upper is None else float(upper * scale) - edge
            floats = {column: float(value * scale / whole) for column, value in terms.items()}
        if row.when:
            self.only_when(row, floats, low, high)
        elif row.slack:
            self.relaxed(row, floats, low, high, float(scale))
        else:
            self.row(low, high, floats.items())

    def only_when(self, row: Row, terms: dict[int, float], low: float, high: float) -> None:
        """A row that counts only if a size takes its branch that follows others."""
        variable = self.component.variable(row.when)
        pick = next(
            (
                column
                for branch, column in zip(variable.branches, self.picks[row.when], strict=True)
                if branch.follow is not None
            ),
            None,
        )
        if pick is None:
            return  # that branch fell away
        if pick < 0:
            self.row(low, high, terms.items())
            return
        least = sum(min(v * self.lower[c], v * self.upper[c]) for c, v in terms.items())
        most = sum(max(v * self.lower[c], v * self.upper[c]) for c, v in terms.items())
        if low > -INFINITY:
            big = max(low - least, 0.0)
            loose = dict(terms)
            loose[pick] = loose.get(pick, 0.0) - big
            self.row(low - big, INFINITY, loose.items())
        if high < INFINITY:
            big = max(most - high, 0.0)
            loose = dict(terms)
            loose[pick] = loose.get(pick, 0.0) + big
            self.row(-INFINITY, high + big, loose.items())

    def relaxed(
        self, row: Row, terms: dict[int, float], low: float, high: float, scale: float
    ) -> None:
        """A row that may be loosened if something is given up, by no more than its cap."""
        for end, bound, sign in (("low", low, 1.0), ("high", high, -1.0)):
            if abs(bound) == INFINITY:
                continue
            loose = dict(terms)
            for item in row.slack:
                loose[self.slack(item, end)] = sign * scale
            if end == "low":
                self.row(bound, INFINITY, loose.items())
            else:
                self.row(-INFINITY, bound, loose.items())

    def slack(self, item: str, end: str) -> int:
        """The column for how far one end of a window is moved out [mm], if that is given up."""
        key = f"{item} {end}"
        if key not in self.slacks:
            slack = self.slacks[key] = self.column(0.0, 0.0, INFINITY, False)
            cap = float(self.caps.get(item, Fraction(1)))
            self.row(-INFINITY, 0.0, ((slack, 1.0), (self.item(item), -cap)))
        return self.slacks[key]

    def link(self, link: Link) -> None:
        """Two sizes that take their rows together."""
        if link.keys:
            others = self.rows_of(link.other)
            strange = [
                c for key, columns in others.items() if key not in link.keys for c in columns
            ]
            self.at_most(0, strange)
        elif link.leads:
            taken = self.rows_of(link.one, None)
            for key, columns in self.rows_of(link.other, True).items():
                self.at_most(0, columns, taken.get(key, []))
        else:
            one, other = self.rows_of(link.one), self.rows_of(link.other)
            for mine, others in ((one, other), (other, one)) if one and other else ():
                every = [column for columns in others.values() for column in columns]
                for key, columns in mine.items():
                    same = others.get(key, [])
                    self.at_most(1, [*columns, *(c for c in every if c not in same)])

    def at_most(self, most: int, picked: Iterable[int], less: Iterable[int] = ()) -> None:
        """At most so many of some branches, less those of others; −1 is one that must be taken."""
        terms: dict[int, float] = {}
        for columns, sign in ((picked, 1.0), (less, -1.0)):
            for column in columns:
                terms[column] = terms.get(column, 0.0) + sign
        bound = most - terms.pop(-1, 0.0)
        if not terms and bound < 0:
            terms[self.column(0.0, 0.0, 0.0, False)] = 1.0
        if terms:
            self.row(-INFINITY, bound, terms.items())

    def rows_of(self, name: str, linked: bool | None = False) -> dict[tuple[str, str], list[int]]:
        """Columns of the branches that are rows of a catalogue, by row.

        ``linked``: True for those that follow another size's row, None for all.
        """
        found: dict[tuple[str, str], list[int]] = {}
        for branch, pick in zip(
            self.component.variable(name).branches, self.picks[name], strict=True
        ):
            row = branch.row
            if row is None or row.table == "shop":
                continue
            if linked is None or bool(branch.link) == linked:
                found.setdefault(row.key, []).append(pick)
        return found

    # --- objectives

    def order_cost(self, level: int) -> list[float]:
        """The objective of one place of the branches' order, summed over the sizes."""
        cost = [0.0] * len(self.cost)
        for name, picks in self.picks.items():
            for branch, pick in zip(self.component.variable(name).branches, picks, strict=True):
                if pick >= 0:
                    cost[pick] = float(branch.order[level])
        return cost

    def nearness_cost(self) -> list[float]:
        """The last objective: distance from the exact size, the earlier a size the nearer it stays.

        The weights fall from 2 to 1 in the order of the files, by steps that no small numbers of
        steps can balance, so that there is one best answer.
        """
        cost = [0.0] * len(self.cost)
        count = len(self.component.names)
        golden = 0.6180339887498949
        for number, name in enumerate(self.component.names):
            variable = self.component.variable(name)
            if variable.solved:
                continue
            weight = 2 - (number + (golden * number * number) % 1.0) / (count + 1)
            at = variable.exact if variable.exact is not None else variable.at
            for place, (branch, pick, step, far) in enumerate(
                zip(
                    variable.branches,
                    self.picks[name],
                    self.steps[name],
                    self.far[name],
                    strict=True,
                )
            ):
                away = float(branch.base) - float(at)
                if pick >= 0:
                    own = 0.0 if far >= 0 else abs(away)
                    cost[pick] = 100 * weight * (own + 1e-2 * away) + 1e-3 * place
                if far >= 0:
                    cost[far] = 100 * weight
                    cost[step] = 100 * weight * 1e-2 * float(branch.step)
        return cost

    # --- reading back

    def read(self, values: list[float]) -> dict[str, Pick]:
        """The branch and step of every size at a point."""
        found: dict[str, Pick] = {}
        for name in self.component.names:
            variable = self.component.variable(name)
            picks = self.picks[name]
            place = 0
            if picks and picks[0] >= 0:
                place = max(range(len(picks)), key=lambda n: values[picks[n]])
            branch, step = variable.branches[place], self.steps[name][place]
            k: int | Fraction = 0
            if step >= 0:
                k = (
                    Fraction(values[step]).limit_denominator(10**9)
                    if branch.free
                    else round(values[step])
                )
            found[name] = (place, k)
        return found


def common_denominator(values: Iterable[Fraction]) -> int:
    """The least number that makes all values whole."""
    return lcm(*{value.denominator for value in values})


def whole_bounds(
    lower: Fraction | None, upper: Fraction | None, scale: Fraction, strict: bool
) -> tuple[float, float]:
    """Bounds of a sum of whole numbers: the whole numbers just inside."""
    low, high = -INFINITY, INFINITY
    if lower is not None:
        edge = lower * scale
        least = -(-edge.numerator // edge.denominator)
        low = float(least + 1 if strict and edge.denominator == 1 else least)
    if upper is not None:
        edge = upper * scale
        most = edge.numerator // edge.denominator
        high = float(most - 1 if strict and edge.denominator == 1 else most)
    return low, high
