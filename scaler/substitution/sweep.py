"""How departure and conflicts vary over a range of scales, and which scales come out best."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from scaler.expressions.nodes import fraction_text
from scaler.measures.scales import Scale, parse_scale
from scaler.problems import InputError
from scaler.progress import told
from scaler.records import Model
from scaler.substitution.solver import Clock

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True, slots=True)
class SweepPoint:
    """One scale of a sweep.

    ``cost`` is the departure cost of the components that have a choice; ``conflicts`` counts those
    that have none, ``about`` names what stands in the way; ``rounded_alone`` counts the pairs and
    conditions that would fail with every size rounded by itself. ``status`` as of a substitution,
    or ``unusable`` where the model cannot be worked out at that scale (``about`` says why).
    """

    ratio: Fraction
    text: str
    status: str
    cost: Fraction
    conflicts: int
    doubtful: int
    rounded_alone: int
    about: tuple[str, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts."""
        return {
            "scale": self.text,
            "ratio": float(self.ratio),
            "ratio_rational": f"{self.ratio.numerator}/{self.ratio.denominator}",
            "status": self.status,
            "cost": float(self.cost),
            "conflicts": self.conflicts,
            "doubtful": self.doubtful,
            "rounded_alone": self.rounded_alone,
            "about": list(self.about),
        }


@dataclass(frozen=True)
class Sweep:
    """The points of a sweep, in the order of the scales."""

    model: Model
    points: tuple[SweepPoint, ...]

    def best(self, count: int = 3) -> tuple[SweepPoint, ...]:
        """The best few scales: fewest conflicts, then least cost, then the larger model."""
        usable = [point for point in self.points if point.status != "unusable"]
        rated = sorted(usable, key=lambda p: (p.conflicts, p.cost, -p.ratio))
        return tuple(rated[:count])

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts."""
        return {
            "model": self.model.title,
            "points": [point.as_dict() for point in self.points],
            "best": [point.as_dict() for point in self.best()],
        }

    def frame(self) -> pandas.DataFrame:
        """A pandas frame: one row a scale."""
        import pandas

        rows = [{**p.as_dict(), "about": "; ".join(p.about)} for p in self.points]
        return pandas.DataFrame(rows)

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))


def sweep(
    model: Model,
    from_ratio: Fraction | str | Scale,
    to_ratio: Fraction | str | Scale,
    steps: int,
    *,
    seconds: float = 60,
) -> Sweep:
    """Substitutes at several scales and says what each would cost.

    Parameters: from_ratio, to_ratio : the ends, model over full size, as a fraction or text
        (``1:8``); steps : how many scales, the ends included, evenly spaced in full size over
        model (1 : 7, 1 : 7.5, 1 : 8); seconds : for all of them together.
    Returns: Sweep.
    Raises: ValueError for fewer than one step or a scale that is not positive; ScaleError for text
        that is no scale.
    Notes: readings, made sizes and choices of locked sizes stay as they are at every scale.
    """
    if steps < 1:
        raise ValueError("a sweep needs at least one step")
    ends = [1 / ratio_of(end) for end in (from_ratio, to_ratio)]
    clock = Clock(seconds)
    points = []
    for number in told(range(steps), "scales"):
        share = Fraction(number, steps - 1) if steps > 1 else Fraction(0)
        denominator = ends[0] + (ends[1] - ends[0]) * share
        allowed = max(0.2, clock.left / (steps - number))
        points.append(point_at(model, denominator, allowed))
    return Sweep(model, tuple(points))


def ratio_of(given: Fraction | str | Scale) -> Fraction:
    """A scale as a ratio, model over full size. Raises ValueError, ScaleError."""
    if isinstance(given, Scale):
        return given.ratio
    ratio = parse_scale(given).ratio if isinstance(given, str) else Fraction(given)
    if ratio <= 0:
        raise ValueError(f"no scale: {ratio}")
    return ratio


def point_at(model: Model, denominator: Fraction, seconds: float) -> SweepPoint:
    """The substitution of a model at one scale, as a point of a sweep."""
    from scaler.checking.conflicts import check
    from scaler.records import Stage, Verdict
    from scaler.substitution.task import Task

    text = f"1 : {fraction_text(denominator)}"
    if len(text) > 20:
        text = f"1 : {float(denominator):.4f}"
    scale = Scale(1 / denominator, text, "ratio", text)
    scaled = replace(model, scale=scale)
    try:
        task = Task(scaled, Clock(seconds), levels=False)
        task.solve()
    except InputError as error:
        about = tuple(problem.headline for problem in error.problems[:4])
        return SweepPoint(1 / denominator, text, "unusable", Fraction(0), 0, 0, 0, about)
    assert task.checked is not None
    try:
        alone = len(check(scaled, Stage.ROUNDED).failures())
    except InputError:
        alone = 0
    shut = [
        part
        for part, outcome in zip(task.parts, task.outcomes, strict=True)
        if outcome.status in ("impossible", "unknown")
    ]
    about = tuple(
        ", ".join(key.partition(" ")[2] for key in part.keys[:4]) or ", ".join(part.names[:4])
        for part in shut[:4]
    )
    doubtful = sum(1 for f in task.checked.findings if f.verdict is Verdict.DOUBTFUL)
    cost = task.fixed_cost() + sum((o.cost for o in task.outcomes), Fraction(0))
    return SweepPoint(1 / denominator, text, task.status, cost, len(shut), doubtful, alone, about)
