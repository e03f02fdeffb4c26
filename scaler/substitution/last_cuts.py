"""Last cuts as rows: how far a size that is cut last may lie, and what a last cut promises."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from functools import partial

from scaler.checking.statements import At, Statement
from scaler.records import BasisKind, Deviations, Model
from scaler.settling.limits import limits_of, uncertainty
from scaler.settling.settle import Settled
from scaler.substitution.compiled import Compiled, Variable, free_branch, key_of, no_method
from scaler.substitution.forms import Form, Part, Row, branch_part
from scaler.substitution.options import ONE, ZERO, Branch

HALF = Fraction(1, 2)
Served = tuple[Statement, Form]
Edges = tuple[str, Row | None, Row | None, dict[str, Fraction], Fraction, Fraction]
"""Key, upper and lower end of a window, what it tracks, worth of all readings, of those made."""


class LastCuts:
    """Which sizes are cut last to what, and the rows that follow from it."""

    def __init__(self, result: Compiled) -> None:
        self.result = result
        self.model: Model = result.model
        self.served: dict[str, list[tuple[str, Statement, Form]]] = {}
        self.aims: dict[str, bool] = {}

    def is_last_cut(self, item: Statement) -> bool:
        """Whether a statement's last cut is still to come."""
        if item.basis.kind is not BasisKind.LAST_CUT:
            return False
        variable = self.result.variables.get(self.last_of(item)[0])
        return variable is not None and not (variable.settled and variable.settled.made)

    def last_of(self, item: Statement) -> tuple[str, str]:
        """The size that a statement is cut last to, and which copy of it ('' where it has none).

        A copy that is chosen by itself counts as a size by itself.
        """
        if item.basis.last in self.result.variables:
            identity = item.basis.last
            return identity, "" if "@" in identity else item.copy_of(identity.partition(".")[0])
        identity, _, copy = item.basis.last.partition("@")
        return identity, copy or item.copy_of(identity.partition(".")[0])

    def copies(self, last: str) -> list[str]:
        """The copies of a size that serve statements of their own; [''] where none does."""
        return list(dict.fromkeys(own for own, _, _ in self.served[last] if own)) or [""]

    def serves(self, last: str, copy: str) -> list[Served]:
        """The statements that a size, or one copy of it, serves."""
        return [
            (item, form) for own, item, form in self.served[last] if not copy or own in ("", copy)
        ]

    def process(self, last: str, copy: str) -> str:
        """The processes that the last cut of a size may be by: the finest of them counts."""
        return "|".join(sorted({item.basis.by for item, _ in self.serves(last, copy)} - {""}))

    # --- limits

    def met(self, last: str, copy: str) -> At:
        """Which copies of other parts a copy of a size meets in all that it serves."""
        found: dict[str, set[str]] = {}
        for item, _ in self.serves(last, copy):
            for part, own in item.at.items():
                found.setdefault(part, set()).add(own)
        return {"": copy, **{part: own.pop() for part, own in found.items() if len(own) == 1}}

    def span(self, row: Row, factors: Mapping[str, Fraction], at: At) -> None:
        """Adds factor × size for each size, anywhere that it may lie, to one side of a row.

        A size that is cut last to one statement follows the others from its aim; what it shares
        with them cancels, as a check counts it.
        """
        left = dict(factors)
        sign = -1 if row.side == "low" else 1
        while True:
            cut = [name for name in left if self.depth(name)]
            if not cut:
                break
            name = max(cut, key=lambda item: (self.depth(item), item))
            factor = left.pop(name)
            own = at.get(name.partition(".")[0], at.get("", ""))
            own = own if own in self.copies(name) else ""
            if (len(self.copies(name)) > 1 and not own) or not self.aim(name, own):
                self.result.approximate.add(row.statement)
                row.part(name).factor += factor
                continue
            form = self.serves(name, own)[0][1]
            tracks, worth, made_worth = self.tracks(name, form)
            row.part(f"aim:{name}").factor += factor
            row.part(name).cuts.append((self.process(name, own), sign * abs(factor) / 2))
            row.constant += sign * abs(factor) * (worth - made_worth)
            for other, track in tracks.items():
                row.part(other).factor -= factor * track
                total = left.get(other, ZERO) + factor * track
                if total:
                    left[other] = total
                else:
                    left.pop(other, None)
        for name, factor in left.items():
            part = row.part(name)
            part.factor += factor
            part.spreads.append(factor)

    def depth(self, name: str, above: frozenset[str] = frozenset()) -> int:
        """How many last cuts come one after the other up to this size; 0 for one that is not one."""
        if name not in self.served or name in above:
            return 0
        others = {other for _, _, form in self.served[name] for other in form.factors}
        below = above | {name}
        return 1 + max((self.depth(other, below) for other in others - {name}), default=0)

    def tracks(self, last: str, form: Form) -> tuple[dict[str, Fraction], Fraction, Fraction]:
        """How far the last cut moves with each other size not made yet; what the readings of all
        are worth; and of those already made."""
        own = form.factors[last]
        tracks: dict[str, Fraction] = {}
        worth = made_worth = ZERO
        for name, factor in form.factors.items():
            if name == last:
                continue
            identity, _, copy = name.partition("@")
            reading = self.model.readings.get((identity, copy))
            tool = reading.instrument if reading else ""
            read = abs(factor / own) * uncertainty(self.model.sizes[identity], tool)[1]
            worth += read
            settled = self.result.variables[name].settled
            if settled is not None and settled.made:
                made_worth += read
            else:
                tracks[name] = -factor / own
        return tracks, worth, made_worth

    def limits_row(self, key: str, last: str, served: Served, end: str) -> Row | None:
        """The end of the window that a statement leaves its last cut, as a row without bounds."""
        item, form = served
        own = form.factors[last]
        bound = item.lower if (end == "lower") == (own > 0) else item.upper
        if bound is None:
            return None
        row = Row(key, {}, (bound - form.constant) / own)
        for name, factor in form.factors.items():
            if name != last:
                row.part(name).factor = -factor / own
        return row

    def aim(self, name: str, copy: str) -> bool:
        """The target of a last cut as sizes of its own: the basic size, kept inside its window.

        False where there is none of this form: it serves several statements, or has limits of its
        own, or the window is too narrow for the cut and the readings.
        """
        if name in self.aims:
            return self.aims[name]
        served = self.serves(name, copy)
        variable = self.result.variables[name]
        self.aims[name] = False
        if len(served) != 1 or len(self.served[name]) != 1 or variable.size.limits is not None:
            return False
        item, form = served[0]
        key, by = key_of(item), self.process(name, copy)
        worth = self.tracks(name, form)[1]
        if item.lower is not None and item.upper is not None:
            width = (item.upper - item.lower) / abs(form.factors[name])
            cuts = [self.result.tolerance(name, b, by) for b in variable.branches]
            if width < max(cuts, default=ZERO) + 2 * worth:
                return False
        self.aims[name] = True
        low = min((b.ends[0] for b in variable.branches), default=ZERO) - 1
        high = max((b.ends[1] for b in variable.branches), default=ZERO) + 1
        self.pretend(f"aim:{name}", variable, low, high, high)
        same = Row(key, {}, ZERO, ZERO, ZERO)
        same.part(f"aim:{name}").factor = ONE
        same.part(name).factor = -ONE
        for end, sign in (("lower", -1), ("upper", 1)):
            edge = self.limits_row(key, name, served[0], end)
            if edge is None:
                continue
            moved, told = f"{end}:{name}", f"at {end}:{name}"
            self.pretend(moved, variable, ZERO, high - low, ZERO)
            self.pretend(told, variable, ZERO, ONE, ZERO, whole=True)
            same.part(moved).factor = Fraction(sign)
            edge.part(name).cuts.append((by, -sign * HALF))
            edge.constant -= sign * worth
            # inside: sign × (edge − aim) >= 0; moved only where told; told only at the edge
            inside = signed(edge, sign)
            inside.part(f"aim:{name}").factor -= sign
            inside.lower = ZERO
            self.result.rows.append(inside)
            only = Row(key, {}, ZERO, None, ZERO)
            only.part(moved).factor = ONE
            only.part(told).factor = -(high - low)
            self.result.rows.append(only)
            far = max(high - low, self.greatest(inside))
            edge_only = replace(
                inside,
                parts={n: replace(p) for n, p in inside.parts.items()},
                lower=None,
                upper=far,
            )
            edge_only.part(told).factor = far
            self.result.rows.append(edge_only)
        self.result.rows.append(same)
        return True

    def pretend(
        self,
        name: str,
        like: Variable,
        low: Fraction,
        high: Fraction,
        at: Fraction,
        whole: bool = False,
    ) -> None:
        """A help variable, any value between two ends (or a whole number)."""
        method = no_method(like.size)
        branch = (
            Branch(method, ZERO, ONE, 0, 1, ZERO, (0, 0, 0))
            if whole
            else free_branch(method, at, low, high)
        )
        branch.deviations = (ZERO, ZERO)
        self.result.variables[name] = Variable(name, like.size, None, [branch], solved=True)

    # --- last cuts

    def overlaps(self, last: str, copy: str) -> None:
        """The promise of a last cut: its windows overlap by more than it and the readings need."""
        served = self.serves(last, copy)
        by = self.process(last, copy)
        if len(served) == 1 and self.result.variables[last].size.limits is None:
            self.own_overlap(last, served[0], by)
            return
        edges: list[Edges] = []
        for one in served:
            key, form = key_of(one[0]), one[1]
            upper = self.limits_row(key, last, one, "upper")
            lower = self.limits_row(key, last, one, "lower")
            tracks, worth, made = self.tracks(last, form)
            edges.append((key, upper, lower, tracks, worth, made))
        size = self.result.variables[last].size
        if size.limits is not None:
            own = [Row(f"rule {last}", {}), Row(f"rule {last}", {})]
            for row, end in zip(own, (self.own_upper, self.own_lower), strict=True):
                row.part(last).factor = ONE
                row.part(last).windows = [partial(end, last)]
            edges.append((f"rule {last}", own[0], own[1], {}, ZERO, ZERO))
        for number, one_edge in enumerate(edges):
            for other_number, other_edge in enumerate(edges):
                if number >= len(served) and other_number >= len(served):
                    continue
                upper, lower = one_edge[1], other_edge[2]
                if upper is None or lower is None:
                    continue
                key = one_edge[0] if number < len(served) else other_edge[0]
                made = max(one_edge[5], other_edge[5])
                worth = one_edge[4] + other_edge[4] - one_edge[5] - other_edge[5] + 2 * made
                row = Row(key, {}, upper.constant - lower.constant - worth, ZERO)
                row.side, row.strict = "low", True
                for edge, sign in ((upper, 1), (lower, -1)):
                    for name, part in edge.parts.items():
                        row.part(name).factor += sign * part.factor
                        row.part(name).windows += [
                            window if sign > 0 else negative(window) for window in part.windows
                        ]
                tracks = {
                    name: one_edge[3].get(name, ZERO) - other_edge[3].get(name, ZERO)
                    for name in dict.fromkeys((*one_edge[3], *other_edge[3]))
                }
                tracks = {name: factor for name, factor in tracks.items() if factor}
                for name, factor in tracks.items():  # span adds these sizes, with their limits
                    row.part(name).factor -= factor
                self.span(row, tracks, self.met(last, copy))
                row.part(last).cuts.append((by, -ONE))
                if self.greatest(row) <= 0:
                    note = f"its last cut ({last}) can never promise it"
                    if number != other_number:
                        note += f" together with {other_edge[0] if number < len(served) else 'its limits'}"
                    self.result.doubtful[key] = note
                else:
                    self.result.rows.append(row)

    def own_lower(self, last: str, value: Fraction) -> Fraction:
        """The lower deviation that a size states for itself, at a value [mm]."""
        return self.own_limits(last, value).lower

    def own_upper(self, last: str, value: Fraction) -> Fraction:
        """The upper deviation that a size states for itself, at a value [mm]."""
        return self.own_limits(last, value).upper

    def own_limits(self, last: str, value: Fraction) -> Deviations:
        """The limits that a size states for itself, at a value [mm]."""
        size = self.result.variables[last].size
        return limits_of(self.model, size, Settled(value, "choice", "choice"))

    def own_overlap(self, last: str, served: Served, by: str) -> None:
        """The promise of a last cut that serves one statement: its window is wide enough."""
        item, form = served
        if item.lower is None or item.upper is None:
            return
        key = key_of(item)
        worth = self.tracks(last, form)[1]
        width = (item.upper - item.lower) / abs(form.factors[last]) - 2 * worth
        branches = self.result.variables[last].branches
        wide = [self.result.tolerance(last, branch, by) < width for branch in branches]
        if all(wide):
            return
        if not any(wide):
            self.result.doubtful[key] = f"its last cut ({last}) can never promise it"
            return
        row = Row(key, {}, width, ZERO)
        row.strict = True
        row.part(last).cuts.append((by, -ONE))
        self.result.rows.append(row)

    def greatest(self, row: Row) -> Fraction:
        """The greatest that a row's sum can be over all branches [mm]."""
        total = row.constant
        for name, part in row.parts.items():
            best = None
            for branch in self.result.variables[name].branches:
                amount, slope = self.amount(name, part, branch, row.side)
                ends = [amount + slope * k for k in (branch.low, branch.high)]
                best = max(ends) if best is None else max(best, *ends)
            total += best if best is not None else ZERO
        return total

    def amount(self, name: str, part: Part, branch: Branch, side: str) -> tuple[Fraction, Fraction]:
        """What a branch adds to one end of a window: at k = 0, and for each step. [mm]"""
        return branch_part(
            part,
            branch,
            side,
            lambda b: self.result.deviation(name, b),
            lambda b, by: self.result.tolerance(name, b, by),
        )


def negative(window: Callable[[Fraction], Fraction]) -> Callable[[Fraction], Fraction]:
    """A window's end with its sign turned."""
    return lambda value: -window(value)


def signed(row: Row, sign: int) -> Row:
    """The row times 1 or -1, without bounds."""
    return Row(
        row.statement,
        {
            name: replace(
                part,
                factor=part.factor * sign,
                spreads=[f * sign for f in part.spreads],
                cuts=[(by, f * sign) for by, f in part.cuts],
            )
            for name, part in row.parts.items()
        },
        row.constant * sign,
    )
