"""What the rules of workability see of a model: parts with their sizes, and the tools to hand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

from scaler import catalogue
from scaler.checking.workability_rules import figure
from scaler.fitting.material_figures import Material, UnknownMaterial, find_material
from scaler.problems import Place
from scaler.records import Kind, Method, Model, Part, Size
from scaler.settling.rows import Candidate, Ladder, Rows, kept, method_row
from scaler.settling.solve import middle

if TYPE_CHECKING:
    from scaler.checking.check import Checker
    from scaler.settling.settle import Settled

HOLES = (Kind.INTERNAL, Kind.THREAD)


@dataclass(frozen=True)
class WorkPart:
    """A part with its sizes that have a value, by their names."""

    checker: Checker
    part: Part
    sizes: Mapping[str, Size]

    @property
    def units(self) -> str:
        """The units that texts are in."""
        return self.checker.model.units

    def settled(self, size: Size) -> Settled:
        """How a size came about."""
        return self.checker.settlement.results[size.id]

    def method(self, size: Size) -> str:
        """The method a size is got by."""
        return self.settled(size).method

    def value(self, size: Size) -> Fraction:
        """The size as chosen [mm]."""
        return middle(self.checker.values[size.id])

    def find(self, names: Iterable[str], *kinds: Kind) -> Size | None:
        """The first size of those names, and of one of the kinds where any are given."""
        for name in names:
            size = self.sizes.get(name)
            if size is not None and (not kinds or size.kind in kinds):
                return size
        return None

    def of_kind(self, *kinds: Kind) -> list[Size]:
        """The sizes of the kinds, in the order of the model."""
        if len(kinds) == 1:
            return self._by_kind.get(kinds[0]._value_, [])
        if not any(kind._value_ in self._by_kind for kind in kinds):
            return []
        return [size for size in self.sizes.values() if size.kind in kinds]

    @cached_property
    def _by_kind(self) -> dict[str, list[Size]]:
        found: dict[str, list[Size]] = {}
        for size in self.sizes.values():
            found.setdefault(size.kind._value_, []).append(size)
        return found

    @cached_property
    def material(self) -> Material | None:
        """The material of the part, None where the catalogue does not know it."""
        return _material(self.part.material)

    def wall(self, *sizes: Size) -> tuple[Fraction, str]:
        """The least wall [mm] and the rule it comes from, by material and process."""
        if sizes and all(self.method(size) == "cast" for size in sizes):
            return figure("wall_cast"), "wall_cast"
        plastic = self.material is not None and self.material.family == "plastic"
        rule = "wall_plastic" if plastic else "wall_metal"
        return figure(rule), rule


@lru_cache(maxsize=1024)
def _material(name: str) -> Material | None:
    try:
        return find_material(name)
    except UnknownMaterial:
        return None


def parts_of(checker: Checker) -> list[WorkPart]:
    """The parts that get a figure, each with its sizes that have a value."""
    model = checker.model
    sizes: dict[str, dict[str, Size]] = {
        name: {} for name in model.parts if name not in checker.refused
    }
    for size in model.sizes.values():
        if size.part in sizes and size.id in checker.settlement.results:
            sizes[size.part][size.name] = size
    return [WorkPart(checker, model.parts[name], found) for name, found in sizes.items() if found]


def is_made(checker: Checker, identity: str) -> bool:
    """Whether a size is made: read as a whole, or every copy of it read."""
    if checker.settlement.results[identity].made:
        return True
    copies = checker.model.parts[checker.model.sizes[identity].part].copies
    own = checker.settlement.copies
    return bool(copies) and all(
        (name := f"{identity}@{copy}") in own and own[name].made for copy in copies
    )


@dataclass(frozen=True, slots=True)
class Tool:
    """A drill or cutter to hand: diameter and length of its flutes [mm], None where not given."""

    diameter: Fraction
    designation: str
    flute: Fraction | None
    source: str


@dataclass(frozen=True, slots=True)
class Bars:
    """Round bars of a material by size, each with the rule of what comes off it, and the greatest
    outside that a bar, or one before it, still cleans up to [mm]."""

    rows: tuple[tuple[str, Candidate], ...]
    reach: Ladder

    def first(self, largest: Fraction) -> tuple[str, Candidate]:
        """The first bar that cleans up to an outside; the last one where none does."""
        return self.rows[min(self.reach.below(largest), len(self.rows) - 1)]


class _Made:
    """The tools and bars of one shop list, worked out once for all models that have it."""

    def __init__(self) -> None:
        self.lists: dict[str, tuple[Tool, ...]] = {}
        self.sorted: dict[tuple[str, ...], tuple[Tool, ...]] = {}
        self.ladders: dict[tuple[str, ...], Ladder] = {}
        self.bars: dict[str, Bars] = {}


class Tools:
    """Drills and cutters that a model may use: the shop's, and the catalogues' unless it is shop
    only."""

    def __init__(self, model: Model) -> None:
        self._model, self._rows = model, Rows(model)
        made = kept(model).of(_Made)
        self._lists, self._sorted, self._ladders = made.lists, made.sorted, made.ladders
        self.bars = made.bars

    def rows(self, method: str, material: str = "") -> tuple[Candidate, ...]:
        """The rows of the shop and the catalogues for a method, by size."""
        wanted = Method(
            method, method, "row", "nearest", None, None, None, None, None, Place("", 1)
        )
        return self._rows.of(wanted, material)

    def of(self, *methods: str) -> tuple[Tool, ...]:
        """The tools of these methods, by diameter."""
        found = self._sorted.get(methods)
        if found is None:
            tools = [tool for method in methods for tool in self._of(method)]
            found = self._sorted[methods] = tuple(sorted(tools, key=lambda tool: tool.diameter))
        return found

    def up_to(self, width: Fraction, *methods: str) -> tuple[Tool, ...]:
        """The tools of these methods that are not wider than a width [mm], by diameter."""
        return self.of(*methods)[: self._ladder(methods).up_to(width)]

    def below(self, width: Fraction, *methods: str) -> tuple[Tool, ...]:
        """The tools of these methods that are narrower than a width [mm], by diameter."""
        return self.of(*methods)[: self._ladder(methods).below(width)]

    def _ladder(self, methods: tuple[str, ...]) -> Ladder:
        ladder = self._ladders.get(methods)
        if ladder is None:
            ladder = self._ladders[methods] = Ladder([tool.diameter for tool in self.of(*methods)])
        return ladder

    def _of(self, method: str) -> tuple[Tool, ...]:
        if method not in self._lists:
            self._lists[method] = tuple(
                Tool(row.value, _name(row, method), _flute(method, row), row.source)
                for row in self.rows(method)
            )
        return self._lists[method]

    @property
    def shop_only(self) -> bool:
        """Whether only what the shop list holds may be used."""
        return self._model.shop_only


def _name(row: Candidate, method: str) -> str:
    """A row's name with its tool's: a shop row may be called by its size alone."""
    table = method_row(method)
    family = table.family if table else ""
    return row.designation if family in row.designation else f"{row.designation} {family}"


def _flute(method: str, row: Candidate) -> Fraction | None:
    """The flute length of a row; for the shop's own that of the catalogues' same diameter."""
    table = method_row(method)
    if table is None:
        return None
    if row.table in catalogue.names():
        item = catalogue.table(row.table).find(row.designation)
        return None if item is None else item.mm("flute_length")
    for name in table.tables:
        for item in catalogue.table(name).rows:
            if item.mm(table.column) == row.value and item.mm("flute_length") is not None:
                return item.mm("flute_length")
    return None
