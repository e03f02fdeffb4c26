"""Advice on a pair: which side to take from fixed tooling, which to cut to suit, and fits near it.

A reamer, a slot drill or a bar as supplied comes out as it comes out; a turned, bored or milled
size can be brought to what is wanted. So the fixed side is made first and measured, and the other
is cut to it: to a reamed hole the shaft is turned (hole basis), to a ground bar the hole is opened
(shaft basis). Where both can be cut, the hole is bored first, for an outside is easier to bring to
size and to measure (common practice).

Both published sets of fits are shown beside the window wanted: the preferred fits of ISO 286 and
the fits of the trade, each with its limits and by how much it oversteps.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from scaler.fitting.near_fits import NearFit, near_iso, near_trade
from scaler.fitting.temperature import at_copy, pair_findings
from scaler.measures.spoken import said
from scaler.records import Basis, Bounds, Kind, Model, Stage, State, Verdict

if TYPE_CHECKING:
    from scaler.checking.check import Checker, Finding
    from scaler.expressions import Node

ZERO = Fraction(0)


class Hold(StrEnum):
    """How far a side of a pair can still be brought to a size."""

    MADE = "made"
    FIXED = "fixed tooling"
    CUT = "cut to size"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a pair: what it is made of, how each size comes about, and what is open in it.

    ``cut`` is the size of it that can be cut to suit, '' where there is none; ``tolerance`` the
    width of that cut [mm]; ``limits`` the deviations of the side as it now comes out [mm].
    """

    text: str
    sizes: tuple[str, ...]
    hold: Hold
    how: str
    cut: str
    by: str
    tolerance: Fraction | None
    limits: Bounds

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values."""
        from scaler.report import twin, twins

        return {
            "text": self.text,
            "sizes": list(self.sizes),
            "hold": str(self.hold),
            "how": self.how,
            "cut": self.cut or None,
            "by": self.by or None,
            **twin("cut_tolerance_mm", self.tolerance),
            **twins("limits_mm", self.limits),
        }


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do with a pair. ``basis``: hole, shaft, made or none; ``first`` is made and measured
    before ``last`` is cut to it; ``cut_last`` is the size that the model's own basis leaves to the
    last cut, '' where it names none that can still be cut, and ``agrees`` False where that is
    another."""

    pair: str
    title: str
    wanted: Bounds
    found: Bounds
    verdict: Verdict
    inner: Side
    outer: Side
    basis: str
    first: str
    last: str
    agrees: bool | None
    text: str
    iso: tuple[NearFit, ...]
    trade: tuple[NearFit, ...]
    cut_last: str = ""

    @property
    def in_turn(self) -> tuple[str, str, str]:
        """Basis, side made first and size cut last as the pair is made: by the model's own basis
        where that leaves a size to the last cut, else as advised."""
        for side, other, kind in (
            (self.inner, self.outer, "hole"),
            (self.outer, self.inner, "shaft"),
        ):
            if self.cut_last in side.sizes:
                return "made" if other.hold is Hold.MADE else kind, other.text, self.cut_last
        return self.basis, self.first, self.last

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values; lengths in mm, each with its exact twin."""
        from scaler.report import twins

        return {
            "id": self.pair,
            "title": self.title or None,
            **twins("wanted_mm", self.wanted),
            **twins("found_mm", self.found),
            "verdict": str(self.verdict),
            "inner": self.inner.as_dict(),
            "outer": self.outer.as_dict(),
            "basis": self.basis,
            "first": self.first or None,
            "last": self.last or None,
            "cut_last": self.cut_last or None,
            "agrees": self.agrees,
            "text": self.text,
            "iso_fits": [fit.as_dict() for fit in self.iso],
            "trade_fits": [fit.as_dict() for fit in self.trade],
        }


def advise(
    model: Model, pair: str, *, count: int = 3, checker: Checker | None = None
) -> tuple[Advice, ...]:
    """Which side of a pair to make to fixed tooling and which to cut, with published fits near it.

    Parameters: pair : name, or ``name@copy``. count : how many fits of each published set.
    Returns: one Advice, or one a copy where copies have readings of their own.
    Raises: InputError for an unknown pair, naming the nearest.
    """
    from scaler.checking.check import Checker as MakeChecker

    checker = checker or MakeChecker(model, Stage.CHOSEN)
    return tuple(advice_of(checker, found, count) for found in pair_findings(checker, pair))


def advice_of(checker: Checker, finding: Finding, count: int = 3) -> Advice:
    """The same as :func:`advise`, of a finding already made."""
    from scaler.expressions import rename

    item = finding.statement
    pair = checker.model.pairs[item.id.partition("@")[0]]
    inner_node, outer_node = (
        rename(node, lambda name: at_copy(checker, name, item.at))
        for node in (pair.inner, pair.outer)
    )
    inner = _side(checker, inner_node, pair.inner_text)
    outer = _side(checker, outer_node, pair.outer_text)
    wanted: Bounds = (item.lower, item.upper)
    inner, outer = (_finer(checker, side, item.basis) for side in (inner, outer))
    basis, first, last, text = _which(inner, outer, wanted, checker, finding.verdict)
    agrees = None
    if last and item.basis.last:
        agrees = _plain(item.basis.last) == _plain(last)
        if not agrees:
            text += f" The model cuts {item.basis.last} last"
            text += f" ({'as stated' if item.basis.stated else 'by default'}): "
            text += "go by that, or change its basis."
    iso: tuple[NearFit, ...] = ()
    trade: tuple[NearFit, ...] = ()
    if finding.verdict is not Verdict.REFUSED and wanted != (None, None):
        size = _basic(checker, outer_node)
        if size is not None:
            iso = near_iso(wanted, size, count)
            words = f"{item.id} {item.title} {item.inner} {item.outer}"
            trade = near_trade(wanted, size, count, words)
    return Advice(
        item.id, item.title, wanted, finding.found, finding.verdict, inner, outer, basis, first,
        last, agrees, text, iso, trade, _cut_last((inner, outer), item.basis),
    )  # fmt: skip


# -------------------------------------------------------------------------------------- sides


def _side(checker: Checker, node: Node, text: str) -> Side:
    from scaler.expressions import linear, names

    sizes = names(node)
    if any(name.partition(".")[0] in checker.refused for name in sizes):
        return Side(text, sizes, Hold.REFUSED, "a pressure part", "", "", None, (None, None))
    how, cuttable = [], []
    for name in sizes:
        told, cut = _how(checker, name)
        how.append(told if len(sizes) == 1 else f"{name} {told}")
        if cut:
            cuttable.append((name, *cut))
    low = high = ZERO
    form = linear(node, checker.model.ratio)
    limits: Bounds = (None, None)
    if form is not None:
        for name, factor in form.coefficients.items():
            found = checker.limits(name)
            ends = (factor * found.lower, factor * found.upper)
            low, high = low + min(ends), high + max(ends)
        limits = (low, high)
    all_made = all(_is_made(checker, name) for name in sizes)
    hold = Hold.CUT if cuttable else (Hold.MADE if all_made else Hold.FIXED)
    # of several sizes the one with the finest last cut is the one to cut to suit
    best = min(cuttable, key=lambda found: (found[2], sizes.index(found[0])), default=None)
    return Side(
        text,
        sizes,
        hold,
        "; ".join(how),
        best[0] if best else "",
        best[1] if best else "",
        best[2] if best else None,
        limits,
    )


def _finer(checker: Checker, side: Side, basis: Basis) -> Side:
    """A side with the finer last cut that the model states for it."""
    from scaler.settling.limits import last_cut_tolerance

    last = basis.last if basis.last in side.sizes else _plain(basis.last)
    if not basis.by or last not in side.sizes or side.hold in (Hold.MADE, Hold.REFUSED):
        return side
    if side.cut not in ("", last):
        return side
    identity = _plain(last)
    size, settled = checker.model.sizes[identity], checker.settlement.results[identity]
    width, by = last_cut_tolerance(checker.model, size, settled, basis.by)
    return replace(side, hold=Hold.CUT, cut=last, by=by, tolerance=width)


def _cut_last(sides: tuple[Side, Side], basis: Basis) -> str:
    """The size that a basis leaves to the last cut, '' where it can no longer be cut."""
    for side in sides:
        for name in side.sizes:
            if basis.last and _plain(name) == _plain(basis.last):
                return "" if side.hold in (Hold.MADE, Hold.REFUSED) else name
    return ""


def _plain(name: str) -> str:
    return name.partition("@")[0]


def _is_made(checker: Checker, name: str) -> bool:
    size = checker.model.sizes[_plain(name)]
    part = checker.model.parts[size.part]
    closed = (State.MADE, State.BOUGHT, State.LOCKED)
    return checker.is_made(name) or size.state in closed or part.state in closed


def _how(checker: Checker, name: str) -> tuple[str, tuple[str, Fraction] | None]:
    """How a size comes about in words; and the process and width of a last cut, if it has one."""
    from scaler.settling.limits import last_cut_tolerance
    from scaler.settling.rows import method_row

    size, settled = checker.model.sizes[_plain(name)], checker.settlement.of(name)
    if _is_made(checker, name):
        state = str(checker.model.parts[size.part].state)
        return ("bought" if state == "bought" else "made: it stays as it is"), None
    row = method_row(settled.method)
    told = settled.method
    if settled.row is not None:
        told += f", {settled.row.designation}"
    if row is not None and row.last_cut is not None:
        width, by = last_cut_tolerance(checker.model, size, settled, settled.method)
        return told, (by, width)
    # fixed tooling now, but a later method of its rule, or opening a hole, can bring it to size
    for method in size.rule:
        other = method_row(method.name)
        if other is not None and other.last_cut is not None:
            return f"{told} (or {method.name})", None
    return told, None


def _later_cut(checker: Checker, name: str) -> str:
    """A cutting method further on in the rule of a size settled by fixed tooling, '' for none."""
    from scaler.settling.rows import method_row

    for method in checker.model.sizes[name.partition("@")[0]].rule:
        row = method_row(method.name)
        if row is not None and row.last_cut is not None:
            return method.name
    return ""


def _basic(checker: Checker, node: Node) -> Fraction | None:
    from scaler.expressions import EvaluationError
    from scaler.settling.solve import middle, value_of

    try:
        size = abs(middle(value_of(node, checker.values, checker.model.ratio)))
    except (EvaluationError, KeyError):
        return None
    return size or None


# ------------------------------------------------------------------------------------- advice


def _which(
    inner: Side, outer: Side, wanted: Bounds, checker: Checker, verdict: Verdict
) -> tuple[str, str, str, str]:
    """Basis, the side made first, the size cut last, and the advice in words."""
    holds = (inner.hold, outer.hold)
    if Hold.REFUSED in holds:
        return "none", "", "", "A pressure part takes part: no figure and no advice is given."
    hole = _hole_word(outer, checker)
    fit = _can_hold(wanted, inner, outer, checker.model.units)
    if outer.hold is not Hold.CUT and inner.hold is Hold.CUT:
        kind = "hole" if outer.hold is Hold.FIXED else "made"
        text = (
            f"Make {outer.text} first ({outer.how}) and measure it; then cut {inner.cut} to it "
            f"by {inner.by}: {_basis_words(kind, hole)}."
        )
        return kind, outer.text, inner.cut, text + fit
    if inner.hold is not Hold.CUT and outer.hold is Hold.CUT:
        kind = "shaft" if inner.hold is Hold.FIXED else "made"
        text = (
            f"Have {inner.text} first ({inner.how}) and measure it; then cut {outer.cut} to it "
            f"by {outer.by}: {_basis_words(kind, hole)}."
        )
        return kind, inner.text, outer.cut, text + fit
    if holds == (Hold.CUT, Hold.CUT):
        text = (
            f"Both sides can be cut. Finish {outer.text} first ({outer.how}) and measure it, then "
            f"cut {inner.cut} to it by {inner.by}: {_basis_words('hole', hole)}; an outside is "
            "easier to bring to size and to measure."
        )
        return "hole", outer.text, inner.cut, text + fit
    return _neither(inner, outer, checker, verdict)


def _neither(
    inner: Side, outer: Side, checker: Checker, verdict: Verdict
) -> tuple[str, str, str, str]:
    """Both sides fixed: a later method of one of them, a mandrel in between, or another row."""
    if inner.hold is Hold.MADE and outer.hold is Hold.MADE:
        text = (
            "Both sides are made. The fit is what the readings say; a bush, a sleeve or retaining "
            "compound saves a loose one, and the side with metal left on it saves a tight one."
        )
        return "made", "", "", text
    start = (
        f"Both sides come from fixed tooling ({inner.how}; {outer.how}): the fit is what the two "
        "tools give"
    )
    if verdict is Verdict.HOLDS:
        return "none", "", "", f"{start}, and it holds."
    start += ", and nothing brings it right."
    opens = [name for name in outer.sizes if _later_cut(checker, name)]
    turns = [name for name in inner.sizes if _later_cut(checker, name)]
    if opens:
        how = _later_cut(checker, opens[0])
        text = f"{start} Cut {opens[0]} by {how} to the measured {inner.text}: shaft basis."
        return "shaft", inner.text, opens[0], text
    if turns:
        how = _later_cut(checker, turns[0])
        text = f"{start} Cut {turns[0]} by {how} to the measured {outer.text}: hole basis."
        return "hole", outer.text, turns[0], text
    return "none", "", "", f"{start} Add a method to the rule of one side that cuts to size."


def _hole_word(outer: Side, checker: Checker) -> str:
    kinds = {checker.model.sizes[name.partition("@")[0]].kind for name in outer.sizes}
    return "hole" if kinds == {Kind.INTERNAL} else "gap"


def _basis_words(kind: str, hole: str) -> str:
    if kind == "made":
        return "the part in hand is right"
    if kind == "hole":
        return "hole basis" if hole == "hole" else "the gap is the basis, as a hole would be"
    return "shaft basis" if hole == "hole" else "what goes in is the basis, as a shaft would be"


def _can_hold(wanted: Bounds, inner: Side, outer: Side, units: str) -> str:
    """Whether the last cut is fine enough for the window wanted."""
    lower, upper = wanted
    widths = [side.tolerance for side in (inner, outer) if side.tolerance is not None]
    if lower is None or upper is None or not widths:
        return ""
    width, finest = upper - lower, min(widths)
    if width < finest:
        return (
            f" The window is {said(width, units)} wide and the cut keeps {said(finest, units)}: a finer last cut "
            "(ground or lapped) is needed."
        )
    fixed = [
        side.limits[1] - side.limits[0]
        for side in (inner, outer)
        if side.hold is Hold.FIXED and side.limits[0] is not None and side.limits[1] is not None
    ]
    if fixed and fixed[0] > width - finest:
        return (
            f" The tool's own limits ({said(fixed[0], units)}) eat up the window ({said(width, units)}), so the "
            "reading counts, not the nominal size."
        )
    return ""
