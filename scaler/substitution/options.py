"""What a size may become: the rows within its reach, and the steps of the sizes cut to size.

A *branch* is one way to get a size: a row (one value), or a cut (any whole number of steps between
two ends). Each branch knows its cost: weight × |departure| ÷ reach.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction

from scaler import catalogue
from scaler.expressions import Node
from scaler.records import Method, Model, Size
from scaler.settling.limits import limits_of
from scaler.settling.rows import Candidate, Rows, as_supplied, method_row
from scaler.settling.settle import Settled, of_standard, reach_of, to_step
from scaler.settling.wishes import standing
from scaler.trade.standards import StandardRow

ZERO = Fraction(0)
ONE = Fraction(1)
HALF = Fraction(1, 2)
FLAT_STOCK = frozenset(
    ("flat thickness", "flat width", "plate", "strip", "square bar", "hexagon bar", "key steel",
     "angle leg", "angle other leg", "angle thickness")
)  # fmt: skip
"""Methods whose stock has flats: no lathe cuts one to suit."""
MOST_TABLES = 10
"""A word that is preferred counts for more than the order of so many tables."""
Deviation = tuple[Fraction, Fraction]


@dataclass(slots=True)
class Branch:
    """One way to get a size: ``base + step·k`` for whole k from ``low`` to ``high`` [mm].

    A row has step 0 and k = 0 only; a ``free`` branch takes any value (k is then no whole number).
    ``unit`` is weight ÷ reach. ``order`` ranks branches: place of the method in the rule (a finer
    last-cut step after the plain one), rows not in the shop, catalogues not preferred. ``follow``
    is what the size is worked out from on this branch, ``link`` the section of the other size whose
    row it takes a column of. ``items`` name what would have to be given up to use the branch; one
    that ``stays`` is a made size left as it is.
    """

    method: Method
    base: Fraction
    step: Fraction
    low: int | Fraction
    high: int | Fraction
    unit: Fraction
    order: tuple[int, int, int]
    row: Candidate | None = None
    items: tuple[str, ...] = ()
    covered: bool = False
    stays: bool = False
    follow: Node | None = None
    link: str = ""
    free: bool = False
    deviations: Deviation | None = None
    tolerance: dict[str, Fraction] = field(default_factory=dict)

    def value(self, k: int | Fraction) -> Fraction:
        """The size at a whole number of steps from the base [mm]."""
        return self.base + self.step * k if k else self.base

    @property
    def ends(self) -> tuple[Fraction, Fraction]:
        """Least and greatest value [mm]."""
        return self.value(self.low), self.value(self.high)

    @property
    def section(self) -> str:
        """The section or tool that the row stands for; '' for a cut."""
        if self.link:
            return self.link
        if self.row is None:
            return ""
        table = method_row(self.method.name)
        return f"{table.family if table else self.method.name}: {self.row.designation}"

    @property
    def moves(self) -> bool:
        """True for a cut or a free branch with more than one value."""
        return self.low < self.high

    def settled(self, value: Fraction) -> Settled:
        """What settling makes of a choice of this branch."""
        if self.link:
            return Settled(value, self.method.name, "row", self.row, by=self.method)
        return Settled(value, self.method.name, "choice", self.row, by=self.method)


def cost_of(branch: Branch, exact: Fraction | None, k: int | Fraction = 0) -> Fraction:
    """Weight × |departure| ÷ reach; nothing where there is no exact size."""
    if exact is None or not branch.unit:
        return ZERO
    return branch.unit * abs(branch.value(k) - exact)


@dataclass(frozen=True, slots=True)
class Window:
    """What a size may be by its reach, or the bounds of a standard that override it [mm]."""

    low: Fraction
    high: Fraction

    @staticmethod
    def of(
        size: Size,
        method: Method,
        exact: Fraction,
        standard: StandardRow | None,
        keep_reach: bool = False,
        reach: Fraction | None = None,
    ) -> Window:
        """The window of one method; ``keep_reach``: the standard widens it and does not narrow."""
        reach = reach if reach is not None else reach_of(size, method, exact)
        low, high = exact - reach, exact + reach
        if method.direction == "up":
            low = exact
        elif method.direction == "down":
            high = exact
        if standard is not None:
            floor, ceiling = standard.lower, standard.upper
            if keep_reach:
                low = low if floor is None else min(low, floor)
                high = high if ceiling is None else max(high, ceiling)
            if floor is not None:
                high = max(high, floor + reach)
                low = min(low, floor) if keep_reach else floor
            if ceiling is not None:
                low = min(low, ceiling - reach) if floor is None else low
                high = max(high, ceiling) if keep_reach else ceiling
        if exact > 0 and low <= 0:
            low = Fraction(1, 10**6)
        return Window(low, high)


class Options:
    """The branches of a model's sizes, each list made once."""

    def __init__(self, model: Model, bounds: Mapping[str, StandardRow]) -> None:
        self.model, self.bounds = model, bounds
        self.rows = Rows(model)
        self._lists: dict[tuple[int, str, bool], tuple[tuple[Candidate, ...], list[float]]] = {}
        self._places: dict[str, dict[str, int]] = {}

    def candidates(self, size: Size, method: Method) -> tuple[Candidate, ...]:
        """All rows of a method for a size, by value."""
        return self.rows.of_size(size, method)

    def between(
        self, size: Size, method: Method, low: Fraction, high: Fraction, every: bool = False
    ) -> list[Candidate]:
        """Rows between two ends [mm]; one a value (the first, as settling picks it) or every row."""
        rows = self.candidates(size, method)
        key = (id(rows), method.name, every)
        known = self._lists.get(key)
        if known is None:
            if not every:
                rows = tuple({item.value: item for item in reversed(rows)}.values())[::-1]
            known = self._lists[key] = rows, [float(item.value) for item in rows]
        found, values = known
        # floats find the neighbourhood, exact sizes the ends
        first = bisect_left(values, float(low) - 1e-9)
        last = bisect_right(values, float(high) + 1e-9)
        while first < last and found[first].value < low:
            first += 1
        while first < last and found[last - 1].value > high:
            last -= 1
        return list(found[first:last])

    def of(
        self,
        size: Size,
        exact: Fraction | None,
        centre: Fraction,
        *,
        last: bool = False,
        every: bool = False,
        keep_reach: bool = False,
    ) -> list[Branch]:
        """The branches of a size.

        Parameters: exact : exact size, None where nothing is drawn (then nothing costs);
            centre : where its reach is measured from [mm]; last : it is cut last in a statement,
            so that its last-cut step may be used; every : rows of equal size are kept apart;
            keep_reach : see Window.
        """
        found: list[Branch] = []
        standard = self.bounds.get(size.standard) if size.standard else None
        for place, method in enumerate(size.rule):
            if method.way == "follow":
                continue
            unit, reach = ZERO, reach_of(size, method, centre)
            if exact is not None and size.weight:
                unit = size.weight / reach
            if method.way == "given":
                if method.value is not None:
                    found.append(Branch(method, method.value, ZERO, 0, 0, unit, (2 * place, 0, 0)))
                continue
            window = Window.of(size, method, centre, standard, keep_reach, reach)
            if method.way == "standard":
                found += _by_standard(method, standard, exact, unit, place)
            elif method.way == "cut":
                found += cuts(size, method, window, centre, unit, place, last)
            else:
                for item in self.between(size, method, window.low, window.high, every):
                    shelf, rank = self.preference(size, method, item)
                    order = (2 * place, shelf, rank)
                    found.append(Branch(method, item.value, ZERO, 0, 0, unit, order, item))
        _mark_covered(found)
        return found

    def preference(self, size: Size, method: Method, item: Candidate) -> tuple[int, int]:
        """Where a row stands, less is better: (not on the shelf, catalogue preferred).

        By the words that the size prefers; then the workshop's own unit, else the method's first
        table.
        """
        shelf, rank = standing(size.prefer, item)
        if item.shop:
            return shelf, rank * MOST_TABLES
        places = self._places.get(method.name)
        if places is None:
            table = method_row(method.name)
            tables = list(table.tables) if table else []
            if self.model.work_unit == "in":
                tables.sort(key=lambda name: not name.endswith("_inch"))
            places = self._places[method.name] = {name: n for n, name in enumerate(tables)}
        return shelf, rank * MOST_TABLES + min(places.get(item.table, len(places)), MOST_TABLES - 1)


def cuts(
    size: Size,
    method: Method,
    window: Window,
    centre: Fraction,
    unit: Fraction,
    place: int,
    last: bool = False,
) -> list[Branch]:
    """The branches of a method that cuts to a step, and to its last-cut step where it may."""
    steps = [method.step] if method.step else []
    table = method_row(method.name)
    if last and table is not None and table.last_cut_step:
        fine = table.last_cut_step
        own = [m.step for m in size.rule if m.name == method.name and m.step]
        if all(fine < step for step in own):  # the rule has no step as fine itself
            steps.append(fine)
    found = []
    for number, step in enumerate(steps):
        low = -((-window.low) // step)
        high = window.high // step
        if low > high:
            continue
        at = min(max(int(to_step(centre, step, "nearest") / step), low), high)
        found.append(
            Branch(
                method,
                step * at,
                step,
                int(low) - at,
                int(high) - at,
                unit,
                (2 * place + number, 0, 0),
            )
        )
    return found


def _by_standard(
    method: Method,
    standard: StandardRow | None,
    exact: Fraction | None,
    unit: Fraction,
    place: int,
) -> list[Branch]:
    """The value by the standard itself: the exact size brought inside it, on the method's step."""
    if standard is None:
        return []
    value = of_standard(exact, method.step, (standard.lower, standard.upper))
    return [Branch(method, value, ZERO, 0, 0, unit, (2 * place, 0, 0))]


def _mark_covered(found: list[Branch]) -> None:
    """Marks cuts whose every value a later branch has too, at the same cost and process."""
    for number, branch in enumerate(found):
        if not branch.step:
            continue
        for other in found[number + 1 :]:
            if (
                other.step
                and other.method.name == branch.method.name
                and other.unit == branch.unit
                and (branch.step / other.step).denominator == 1
                and (branch.base / other.step).denominator == 1
                and other.ends[0] <= branch.ends[0]
                and other.ends[1] >= branch.ends[1]
            ):
                branch.covered = True
                break


def deviations(model: Model, size: Size, branch: Branch, k: int = 0) -> Deviation:
    """Limits of a branch's size as deviations [mm], as a check would find them."""
    found = limits_of(model, size, branch.settled(branch.value(k)))
    return found.lower, found.upper


def split(branch: Branch, signature: Callable[[int], object], budget: int = 64) -> list[Branch]:
    """The branch cut up so that ``signature(k)`` is the same at both ends of each piece.

    Exact for what changes only by steps as the size grows (tolerance classes, general tolerances):
    equal at both ends is then equal between them. Where more pieces than ``budget`` would be needed
    the last one is left whole.
    """
    if branch.free or not branch.moves:
        return [branch]
    pieces: list[Branch] = []
    low, top = int(branch.low), int(branch.high)
    while low <= top:
        first = signature(low)
        if len(pieces) + 1 >= budget or signature(top) == first:
            pieces.append(replace(branch, low=low, tolerance=dict(branch.tolerance)))
            break
        good, bad = low, top
        while bad - good > 1:
            middle = (good + bad) // 2
            if signature(middle) == first:
                good = middle
            else:
                bad = middle
        pieces.append(replace(branch, low=low, high=good, tolerance=dict(branch.tolerance)))
        low = good + 1
    if len(pieces) == 1:
        return [branch]
    for piece in pieces:
        piece.deviations = None
    return [rebased(piece) for piece in pieces]


def rebased(branch: Branch) -> Branch:
    """The branch with its base moved inside its own ends."""
    at = min(max(0, branch.low), branch.high)
    if at:
        branch.base = branch.value(at)
        branch.low, branch.high = branch.low - at, branch.high - at
    return branch


def finishing(size: Size) -> str:
    """The method by which a size is cut to suit another: its rule's own, else the first that makes
    its kind; '' where nothing does and for what is never cut, such as a bearing.

    What comes out of flat stock (flat, plate, square, angle) is not put in the lathe for it.
    """
    own = next((method.name for method in size.rule if method.way == "cut"), "")
    if own or as_supplied(size):
        return own
    flat = any(method.name in FLAT_STOCK for method in size.rule)
    for row in catalogue.table("methods").rows:
        if row.text("way") == "cut" and row.text("last_cut_step_mm"):
            kinds = [item.strip() for item in row.text("kinds").split(";")]
            if size.kind.value in kinds and not (flat and row.text("designation") == "turned"):
                return row.text("designation")
    return ""
