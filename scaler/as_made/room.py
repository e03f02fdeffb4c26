"""What moves a statement, and how much room a size has: exact for linear statements."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction

from scaler.as_made.bench import Bench, Key, base, last_of
from scaler.checking.check import Checker, Finding, Statement
from scaler.expressions import EvaluationError, Node, gradient, linear, names
from scaler.records import Bounds
from scaler.settling.solve import middle

ZERO = Fraction(0)


@dataclass(frozen=True, slots=True)
class Lever:
    """A size (of a copy) that moves a statement by ``factor`` mm a mm, and where it stands."""

    size: str
    copy: str
    factor: Fraction
    now: Fraction
    made: bool

    @property
    def name(self) -> str:
        """The size, with its copy."""
        return f"{self.size}@{self.copy}" if self.copy else self.size


@dataclass(frozen=True, slots=True)
class Wall:
    """What one statement leaves a size [mm], at the present values of the others.

    ``margin`` is how far the statement's value may lie from its basic one, carried to the size.
    """

    id: str
    lower: Fraction | None
    upper: Fraction | None
    factor: Fraction
    basic: Fraction
    margin: Fraction
    mended: bool


@dataclass(frozen=True, slots=True)
class Room:
    """What all statements together leave a size; ``empty`` where they leave it nothing.

    Where they leave nothing, the bounds are those of the statements to be mended alone.
    """

    walls: tuple[Wall, ...]
    lower: Fraction | None
    upper: Fraction | None
    empty: bool

    def holds(self, value: Fraction) -> bool:
        """Whether a value lies inside the bounds."""
        return (self.lower is None or value >= self.lower) and (
            self.upper is None or value <= self.upper
        )


def factors(checker: Checker, node: Node) -> dict[str, Fraction]:
    """How far an expression moves with each size that can be changed: definitions put in.

    Exact for linear expressions; else the slopes at the present sizes.
    """
    ratio = checker.model.ratio
    form = linear(node, ratio)
    if form is None:
        at = {name: middle(checker.values[name]) for name in names(node)}
        try:
            slopes = gradient(node, at, ratio)[1]
        except EvaluationError:
            return {}
        plain = {name: middle(slope) for name, slope in slopes.items() if slope is not None}
    else:
        plain = dict(form.coefficients)
    found: dict[str, Fraction] = {}
    for name, factor in plain.items():
        made = name in checker.settlement.results and checker.settlement.results[name].made
        inner = None if made else checker.settlement.defined_by.get(name)
        if inner is None:
            found[name] = found.get(name, ZERO) + factor
            continue
        for other, more in factors(checker, inner).items():
            found[other] = found.get(other, ZERO) + factor * more
    return {name: factor for name, factor in found.items() if factor}


def of_copy(name: str, statement: Statement) -> tuple[str, str]:
    """The size and copy that a name in a statement stands for: a statement on one copy moves it."""
    size, _, copy = name.partition("@")
    return size, copy or statement.copy_of(size.partition(".")[0])


def levers(bench: Bench, finding: Finding) -> tuple[Lever, ...]:
    """The sizes that move a statement: its last cut first, then those that move it most."""
    if finding.basic is None:
        return ()
    item = finding.statement
    first = base(names(item.node)[0])
    checker = bench.near(first)
    key: Key = (item.what, base(item.id))
    last = last_of(bench.model, key)
    found = []
    for name, factor in factors(checker, item.node).items():
        size, copy = of_copy(name, item)
        now = bench.value(size, copy)
        if now is not None:
            found.append(Lever(size, copy, factor, now, bench.is_made(size, copy)))
    found.sort(key=lambda lever: (lever.size != last, -abs(lever.factor)))
    return tuple(found)


def room(bench: Bench, size: str, copy: str, mend: Iterable[str]) -> Room:
    """What the statements leave a size, the others staying as they are.

    Parameters: mend : ids of the statements that are to be made to hold; others count where they
        hold at present, or would fail by more if the size were moved.
    """
    wanted = set(mend)
    now = bench.value(size, copy)
    if now is None:
        return Room((), None, None, True)
    checker = bench.near(size)
    walls = []
    for key in bench.index.keys_of(size):
        for finding in bench.found.get(key, ()):
            wall = _wall(bench, checker, finding, size, copy, now, finding.statement.id in wanted)
            if wall is not None:
                walls.append(wall)
    holding = [w for w in walls if w.mended or _inside(now, w)]
    lower, upper = _common(holding)
    empty = lower is not None and upper is not None and lower > upper
    if empty:
        lower, upper = _common([w for w in walls if w.mended])
        if lower is not None and upper is not None and lower > upper:
            lower, upper = _common([w for w in walls if w.mended][:1])
    return Room(tuple(walls), lower, upper, empty)


def _wall(
    bench: Bench,
    checker: Checker,
    finding: Finding,
    size: str,
    copy: str,
    now: Fraction,
    mended: bool,
) -> Wall | None:
    item = finding.statement
    if finding.basic is None or (item.lower is None and item.upper is None):
        return None
    total = ZERO
    for name, factor in factors(checker, item.node).items():
        other, own = of_copy(name, item)
        apart = not copy and bench.worth(f"{size}@{own}") is not None
        if other == size and not apart and (not copy or own in ("", copy)):
            total += factor
    if not total:
        return None
    basic = middle(finding.basic)
    ends = [
        None if end is None else now + (end - basic) / total for end in (item.lower, item.upper)
    ]
    if total < 0:
        ends.reverse()
    low, high = finding.found
    margin = ZERO if low is None or high is None else (high - low) / 2 / abs(total)
    return Wall(item.id, ends[0], ends[1], total, basic, margin, mended)


def _inside(now: Fraction, wall: Wall) -> bool:
    return (wall.lower is None or now >= wall.lower) and (wall.upper is None or now <= wall.upper)


def _common(walls: Iterable[Wall]) -> Bounds:
    listed = list(walls)
    lower = max((w.lower for w in listed if w.lower is not None), default=None)
    upper = min((w.upper for w in listed if w.upper is not None), default=None)
    return lower, upper


def aims(space: Room, lever: Lever, kept: Mapping[str, Fraction]) -> list[Fraction]:
    """Values to try for a size, best first: those that keep what each statement was planned with,
    then such as leave the cut some room, then the middle of the room."""
    found: list[Fraction] = []
    mended = [wall for wall in space.walls if wall.mended]
    for wall in mended:
        if wall.id in kept:
            target = lever.now + (kept[wall.id] - wall.basic) / wall.factor
            found.append(_clipped(target, space.lower, space.upper))
    margin = max((wall.margin for wall in mended), default=ZERO)
    low = None if space.lower is None else space.lower + margin
    high = None if space.upper is None else space.upper - margin
    if low is not None and high is not None and low > high:
        low = high = (low + high) / 2
    if low is not None or high is not None:
        found.append(_clipped(lever.now, low, high))
        if found:
            found.append(_clipped(found[0], low, high))
    if space.lower is not None and space.upper is not None:
        found.append((space.lower + space.upper) / 2)
    return list(dict.fromkeys(found))


def _clipped(value: Fraction, lower: Fraction | None, upper: Fraction | None) -> Fraction:
    if lower is not None and value < lower:
        return lower
    return upper if upper is not None and value > upper else value


def on_step(value: Fraction, step: Fraction, bounds: Bounds) -> Fraction:
    """A value on a multiple of a step, inside the bounds where a multiple lies there.

    >>> on_step(Fraction("28.957"), Fraction("0.005"), (None, Fraction("28.956")))
    Fraction(5791, 200)
    """
    near = (value / step + Fraction(1, 2)).__floor__() * step
    for other in (near, near - step, near + step):
        if (bounds[0] is None or other >= bounds[0]) and (bounds[1] is None or other <= bounds[1]):
            return other
    return value
