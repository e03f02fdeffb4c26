"""The reduction of a model: every size, full size, exact, as it will be made, and why."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

from scaler import catalogue
from scaler.checking import cautions
from scaler.checking.cautions import Caution
from scaler.problems import Problem
from scaler.records import Deviations, Kind, Model, Size, Stage, State
from scaler.settling.limits import LimitsOf
from scaler.settling.settle import Settled, Settlement, exact_size, refused_parts, settle
from scaler.settling.solve import Value, middle

if TYPE_CHECKING:
    import pandas


CARRYING = (Kind.EXTERNAL, Kind.THREAD)
"""Kinds of size that are a section that carries load."""


@dataclass(frozen=True, slots=True)
class SizeLine:
    """One size of the reduction, or one copy of it with a value of its own. Lengths in mm; None in
    every figure of a refused part."""

    size: Size
    exact: Value | None
    chosen: Value | None
    settled: Settled | None
    limits: Deviations | None
    refused: bool
    copy: str = ""

    @property
    def name(self) -> str:
        """The size, with its copy: ``part.size@left``."""
        return f"{self.size.id}@{self.copy}" if self.copy else self.size.id

    @property
    def full(self) -> Fraction | None:
        """Full size [mm]; None where refused or not drawn."""
        return None if self.refused else self.size.full

    @property
    def departure(self) -> Fraction | None:
        """Chosen less exact [mm]; None where either is missing."""
        if self.exact is None or self.chosen is None:
            return None
        return middle(self.chosen) - middle(self.exact)

    @property
    def made(self) -> Fraction | None:
        """The size as made or read [mm], None where it is not made."""
        if self.settled is None or not self.settled.made:
            return None
        return middle(self.settled.value)

    @property
    def state(self) -> State:
        """How far the size has got."""
        if self.settled is not None and self.settled.made and self.size.state is State.NOT_MADE:
            return State.MADE
        return self.size.state


@dataclass(frozen=True)
class Reduction:
    """All sizes of a model at a stage, with the cautions and notes that go with them.

    ``copies`` are those of them whose copies differ: one line a copy with a value of its own.
    """

    model: Model
    stage: Stage
    settlement: Settlement
    exact: Settlement
    lines: tuple[SizeLine, ...]
    cautions: tuple[Caution, ...]
    notes: tuple[Problem, ...]
    copies: tuple[SizeLine, ...] = ()

    @property
    def all_lines(self) -> tuple[SizeLine, ...]:
        """Every size, followed by its copies where they differ."""
        if not self.copies:
            return self.lines
        own: dict[str, list[SizeLine]] = {}
        for line in self.copies:
            own.setdefault(line.size.id, []).append(line)
        return tuple(one for line in self.lines for one in (line, *own.get(line.size.id, ())))

    def line(self, identity: str) -> SizeLine:
        """The line of one size, or of a copy that differs. Raises KeyError for an unknown one."""
        found = next((line for line in (*self.lines, *self.copies) if line.name == identity), None)
        if found is None:
            raise KeyError(identity)
        return found

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values by the contract for scripts."""
        from scaler.report import reduction_dict

        return reduction_dict(self)

    def frame(self) -> pandas.DataFrame:
        """A pandas frame: one row a size, and one a copy that differs (``part.size@left``); columns
        as the keys of ``as_dict()['sizes']``."""
        from scaler.report import frame_of

        return frame_of(self.as_dict()["sizes"])

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))


def reduce(model: Model, stage: Stage | str = Stage.CHOSEN, *, as_drawn: bool = False) -> Reduction:
    """Every size of a model: full size, exact, at the stage asked for, and how it came about.

    Parameters: model : Model; stage : exact, rounded (each size alone) or chosen;
        as_drawn : leave readings out.
    Returns: Reduction, exact in every figure.
    Raises: InputError where sizes are left open or statements contradict each other.
    """
    stage = Stage(stage)
    exact = settle(model, Stage.EXACT)
    settlement = exact if stage is Stage.EXACT else settle(model, stage, as_drawn=as_drawn)
    return from_settlement(model, settlement, exact)


def from_settlement(
    model: Model, settlement: Settlement, exact: Settlement, limits: LimitsOf | None = None
) -> Reduction:
    """The reduction that a settlement amounts to; ``limits`` are those found before, if any."""
    shut = refused_parts(model)
    lines = []
    found: list[Caution] = list(cautions.of_model(model))
    notes: list[Problem] = [*model.notes, *settlement.notes]
    rounded = settlement.stage is not Stage.EXACT
    known = limits or LimitsOf(model)

    def made_line(size: Size, settled: Settled, copy: str = "") -> SizeLine:
        found = known(size, settled, copy) if rounded else None
        return SizeLine(size, exact.values.get(size.id), settled.value, settled, found, False, copy)

    for size in model.sizes.values():
        settled = settlement.results.get(size.id)
        if size.part in shut or settled is None:
            lines.append(SizeLine(size, None, None, None, None, True))
            continue
        line = made_line(size, settled)
        lines.append(line)
        if line.exact is not None and size.kind in CARRYING and line.departure:
            weaker = cautions.strength_lost(
                settled.method, middle(line.exact), middle(settled.value)
            )
            if weaker is not None:
                found.append(cautions.weaker_caution(size.id, weaker))
        notes += _notes(size, settled, model.parts[size.part].material)
    copies = [
        made_line(model.sizes[name.partition("@")[0]], settled, name.partition("@")[2])
        for name, settled in settlement.copies.items()
    ]
    return Reduction(
        model,
        settlement.stage,
        settlement,
        exact,
        tuple(lines),
        tuple(found),
        tuple(notes),
        tuple(copies),
    )


@cache
def _not_to_scale() -> tuple[tuple[str, str, str, tuple[str, ...], tuple[str, ...], str], ...]:
    return tuple(
        (
            row.text("designation"),
            row.text("applies_to"),
            row.text("on_part"),
            tuple(row.text("kinds").split(";")),
            tuple(row.text("unless").split(";")),
            row.text("text"),
        )
        for row in catalogue.table("not_to_scale").rows
    )


@lru_cache(maxsize=16384)
def _said_by(name: str, size: bool) -> tuple[int, ...]:
    """The rows of what is not to scale, by number, whose words the name of a size or part says."""
    return tuple(
        number
        for number, (words, applies, *_) in enumerate(_not_to_scale())
        if (applies == "size") == size and cautions.says(name, words)
    )


def _notes(size: Size, settled: Settled, material: str) -> list[Problem]:
    """Warnings on one size: beyond reach, and where a linear reduction would be wrong."""
    said = (*_said_by(size.name, True), *_said_by(size.part, False))
    if not said and not settled.note:
        return []
    notes = []
    if settled.note and not settled.note.startswith("no rule"):
        notes.append(Problem("reach", f"{size.id}: {settled.note}", size.place, severity="warning"))
    for number in sorted(said):
        _, _, on_part, kinds, unless, text = _not_to_scale()[number]
        if size.kind not in kinds or (on_part and not cautions.says(size.part, on_part)):
            continue
        excused = (
            ("standard" in unless and size.standard)
            or ("material" in unless and material)
            or settled.way in unless
            or settled.way in ("made", "given", "choice")
        )
        if not excused:
            notes.append(
                Problem("not-to-scale", f"{size.id}: {text}", size.place, severity="warning")
            )
            break
    return notes


def exact_of(model: Model, identity: str) -> Fraction | None:
    """The exact size of one drawn size [mm], None where it is not drawn or refused."""
    size = model.sizes[identity]
    if size.part in refused_parts(model):
        return None
    return exact_size(size, model.ratio)
