"""What to get before anything is cut: bar by the length, bought parts, and tools.

Every part's blank (see :mod:`scaler.cards.stock`) is put with the others of its section; the pieces
are packed into the lengths that the shop has or that are sold, with the saw's kerf between them
(see :mod:`scaler.desk.cutting_stock`). Weights are volume times density: round, square, hexagon, flat
and tube exactly by their rule, π and √3 enclosed far closer than any density is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from scaler import catalogue
from scaler.cards.features import sold_as_it_is
from scaler.cards.stock import NO_LENGTH, Allowances, Blank, Section, Stock, plain_mm, value_mm
from scaler.cards.tools import Tools, ToolUse, gathered, tool_name
from scaler.checking.cautions import Caution
from scaler.desk.cutting_stock import Bar, CutPlan, Piece, plan_cuts
from scaler.expressions.interval_angles import pi
from scaler.expressions.intervals import root
from scaler.measures.lengths import format_decimal
from scaler.progress import told
from scaler.records import Model, Part, State
from scaler.settling.rows import method_row
from scaler.settling.solve import middle

if TYPE_CHECKING:
    import pandas

    from scaler.settling.reduce import Reduction, SizeLine

INCH = Fraction(127, 5)
POUND = Fraction("0.45359237")
"""One pound avoirdupois [kg], exact (international yard and pound agreement, 1 July 1959)."""


@dataclass(frozen=True, slots=True)
class Weight:
    """A weight [kg], the density it was reckoned with [kg/m³], of which material, and its source."""

    kg: Fraction
    density: Fraction
    material: str
    source: str


@dataclass(frozen=True, slots=True)
class CutLine:
    """One part's pieces: section, sawn length [mm], how many, weight of all, and notes."""

    part: str
    title: str
    material: str
    count: int
    section: Section | None
    blank: Blank
    weight: Weight | None


@dataclass(frozen=True, slots=True)
class Order:
    """All pieces of one section: the plan of cuts, the length needed, what is bought and its weight.

    Sheet has no plan: ``area`` [mm²] is that of its rectangles together, and ``needed`` is 0.
    """

    section: Section
    lines: tuple[CutLine, ...]
    plan: CutPlan | None
    needed: Fraction
    weight: Weight | None
    note: str
    area: Fraction = Fraction(0)


@dataclass(frozen=True, slots=True)
class BoughtPart:
    """A part to buy, or one that is nothing but a thread: make or buy."""

    part: str
    title: str
    count: int
    what: str
    sizes: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ToolLine:
    """A tool needed, the parts it is for, whether the shop has it (None: not told), what is near.

    ``listed`` is whether the model has a shop list at all.
    """

    use: ToolUse
    parts: tuple[str, ...]
    listed: bool = True

    @property
    def status(self) -> str:
        """In words."""
        if self.use.on_shelf is None:
            return "the shop list names none of these" if self.listed else "no shop list"
        return "on the shelf" if self.use.on_shelf else "not on the shop list"


@dataclass(frozen=True)
class MaterialsList:
    """The whole list. ``refused`` are the pressure parts, which get no line."""

    model: Model
    allowances: Allowances
    lines: tuple[CutLine, ...]
    orders: tuple[Order, ...]
    bought: tuple[BoughtPart, ...]
    tools: tuple[ToolLine, ...]
    refused: tuple[Caution, ...]

    @property
    def unmet(self) -> tuple[tuple[Order, Piece], ...]:
        """Pieces that no length will give."""
        return tuple(
            (order, piece) for order in self.orders if order.plan for piece in order.plan.unmet
        )

    def lacking(self) -> tuple[ToolLine, ...]:
        """Tools that the shop's list has none of that size."""
        return tuple(line for line in self.tools if line.use.on_shelf is False)

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts; lengths in mm with exact twins."""
        from scaler.desk.materials_tables import as_dict

        return as_dict(self)

    def frame(self) -> pandas.DataFrame:
        """A pandas frame of the cutting list: one row a part."""
        import pandas

        return pandas.DataFrame(self.as_dict()["cutting_list"])

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))


@lru_cache(maxsize=1)
def _pi() -> Fraction:
    return middle(pi(128))


@lru_cache(maxsize=1)
def _root_three() -> Fraction:
    return middle(root(Fraction(3), 2, 128))


def area_mm2(section: Section) -> Fraction | None:
    """Area of a section [mm²]; None where a measure is missing, and for plate.

    Round π d²/4, square a², hexagon (√3/2) s², flat b t, angle t (a + b − t) with sharp corners, tube π (D² − d²)/4.

    >>> float(area_mm2(Section("flat", "", (("thickness", Fraction(3)), ("width", Fraction(20))),
    ...                        "", "")))
    60.0
    """
    measures = dict(section.measures)
    form = section.form
    if form in ("round", "wire") and "diameter" in measures:
        return _pi() * measures["diameter"] ** 2 / 4
    if form == "square" and "across_flats" in measures:
        return measures["across_flats"] ** 2
    if form == "hexagon" and "across_flats" in measures:
        return _root_three() / 2 * measures["across_flats"] ** 2
    if form in ("flat", "strip") and {"thickness", "width"} <= set(measures):
        return measures["thickness"] * measures["width"]
    if form == "angle" and {"leg_a", "thickness"} <= set(measures):
        legs = measures["leg_a"] + measures.get("leg_b", measures["leg_a"])
        return measures["thickness"] * (legs - measures["thickness"])
    if form == "tube" and "outside" in measures:
        bore = measures.get("bore")
        if bore is None and "wall" in measures:
            bore = measures["outside"] - 2 * measures["wall"]
        if bore is None:
            return None
        return _pi() * (measures["outside"] ** 2 - bore**2) / 4
    return None


@lru_cache(maxsize=1024)
def density_of(text: str) -> tuple[Fraction, str, str] | None:
    """Density [kg/m³] of a part's material, the name it was found under, and the source."""
    from scaler.fitting.material_figures import UnknownMaterial, find_material

    try:
        name = find_material(text).name
    except UnknownMaterial:
        return None
    row = catalogue.table("materials").find(name)
    if row is None or not row.text("density_kg_m3"):
        return None
    return row.number("density_kg_m3"), name, row.text("density_source")


def weight_of(section: Section, length: Fraction, material: str) -> Weight | None:
    """The weight of a length of bar [mm]; None where area or density is not known."""
    area = area_mm2(section)
    found = density_of(material) or density_of(section.material)
    if area is None or found is None:
        return None
    density, name, source = found
    return Weight(area * length * density / 10**9, density, name, source)


def sheet_weight(section: Section, area: Fraction, material: str) -> Weight | None:
    """The weight of an area of sheet [mm²]; None where its thickness or density is not known."""
    found = density_of(material) or density_of(section.material)
    thickness = dict(section.measures).get("thickness")
    if found is None or thickness is None:
        return None
    density, name, source = found
    return Weight(area * thickness * density / 10**9, density, name, source)


def materials(reduction: Reduction, allowances: Allowances | None = None) -> MaterialsList:
    """The list for a reduced model.

    Parameters: reduction : what ``reduce`` gave at the stage ``chosen``; allowances : the saw's
        kerf and what is left to clean up.
    """
    model = reduction.model
    allow = allowances or Allowances()
    stock, tools = Stock(model, allow), Tools(model)
    refused = tuple(caution for caution in reduction.cautions if caution.refused)
    shut = {caution.about for caution in refused}
    by_part: dict[str, list[SizeLine]] = {}
    for line in reduction.lines:
        if not line.refused:
            by_part.setdefault(line.size.part, []).append(line)
    lines: list[CutLine] = []
    bought: list[BoughtPart] = []
    uses: dict[str, tuple[ToolUse, ...]] = {}
    for part in model.parts.values():
        if part.name in shut:
            continue
        own = by_part.get(part.name, [])
        title = part.title or part.name.replace("_", " ")
        if part.state in (State.MADE, State.LOCKED):
            continue
        if part.state is not State.BOUGHT:
            uses[part.name] = tools.of_part(own)
        sold = sold_as_it_is(own)
        blank = stock.blank(part, own)
        if blank is not None:
            weight = _blank_weight(blank, part)
            lines.append(
                CutLine(part.name, title, part.material, part.count, blank.section, blank, weight)
            )
        elif part.state is State.BOUGHT or sold or (own and not _put_together(own)):
            what = "buy" if part.state is State.BOUGHT else "make or buy"
            bought.append(BoughtPart(part.name, title, part.count, what, _sizes(own)))
    orders = _orders(lines, allow)
    listed = tuple(ToolLine(use, parts, bool(model.shop)) for use, parts in gathered(uses))
    return MaterialsList(model, allow, tuple(lines), orders, tuple(bought), listed, refused)


def _blank_weight(blank: Blank, part: Part) -> Weight | None:
    """The weight of all the blanks of a part."""
    if blank.section is None:
        return None
    if blank.outline is not None:
        area = blank.outline[0] * blank.outline[1] * part.count
        return sheet_weight(blank.section, area, part.material)
    if blank.sawn is None:
        return None
    return weight_of(blank.section, blank.sawn * part.count, part.material)


def _put_together(lines: Sequence[SizeLine]) -> bool:
    """Whether a part without a blank is an assembly rather than a bought thing: no thread of its own."""
    made = (method_row(line.settled.method) for line in lines if line.settled is not None)
    return not any(table is not None and table.family == "thread" for table in made)


def _sizes(lines: Sequence[SizeLine]) -> tuple[tuple[str, str], ...]:
    """The sizes of a bought part, in words."""
    found = []
    led = {
        line.settled.row.designation
        for line in lines
        if line.settled and line.settled.row and not (line.settled.by and line.settled.by.column)
    }
    for line in lines:
        if line.chosen is None or line.settled is None:
            continue
        row, leader = line.settled.row, line.settled.by
        text = row.designation if row else f"{plain_mm(value_mm(line))} mm"
        if row and leader is not None and leader.column:  # of the row that another size takes
            of = "" if row.designation in led else f", of {row.designation}"
            text = f"{plain_mm(value_mm(line))} mm{of}"
        found.append((line.size.name.replace("_", " "), text))
    return tuple(found)


def _orders(lines: Sequence[CutLine], allow: Allowances) -> tuple[Order, ...]:
    groups: dict[Any, list[CutLine]] = {}
    for line in lines:
        if line.section is not None:
            groups.setdefault((*line.section.key, line.section.designation), []).append(line)
    return tuple(_order(group, allow) for group in told(list(groups.values()), "sections to pack"))


def _order(lines: Sequence[CutLine], allow: Allowances) -> Order:
    section = lines[0].section
    assert section is not None
    if section.form == "plate":
        return _sheet(section, lines)
    pieces = [
        Piece(line.blank.sawn, line.count, line.title)
        for line in lines
        if line.blank.sawn is not None
    ]
    open_ones = [line.title for line in lines if line.blank.sawn is None]
    notes = [f"{NO_LENGTH}, not counted: {', '.join(open_ones)}"] if open_ones else []
    needed = sum(((piece.length + allow.kerf) * piece.count for piece in pieces), Fraction(0))
    if pieces:
        needed -= allow.kerf
    plan = None
    if pieces:
        bars = [Bar(length, count, True, "shelf") for length, count in section.shelf]
        bars += [Bar(length, None, False, "sold") for length in section.sold]
        if bars:
            plan = plan_cuts(pieces, bars, allow.kerf)
            if section.owned and not section.shelf:
                notes.append(
                    "the shop list does not say how long its bar is: look there first, "
                    "the plan is for lengths as sold"
                )
        elif section.owned:
            notes.append("the shop list does not say how long its bar is")
        else:
            notes.append(f"sold {section.sold_text or 'in lengths not listed'}")
    weight = None
    if pieces:
        total = sum((piece.length * piece.count for piece in pieces), Fraction(0))
        if plan is not None and plan.bought:
            total = plan.bought
        weight = weight_of(section, total, lines[0].material)
    return Order(section, tuple(lines), plan, needed, weight, "; ".join(notes))


def _sheet(section: Section, lines: Sequence[CutLine]) -> Order:
    """Rectangles out of one sheet: how they lie on it is left to the builder, and said so."""
    area = Fraction(0)
    notes = ["how the pieces lie on the sheet is not worked out"]
    open_ones = []
    for line in lines:
        if line.blank.outline is None:
            open_ones.append(line.title)
            continue
        long, short = line.blank.outline
        area += long * short * line.count
        if section.sheets and not any(a >= long and b >= short for a, b, _ in section.sheets):
            notes.append(f"{line.title} is larger than every piece on the shelf")
    there = sum((a * b * count for a, b, count in section.sheets), Fraction(0))
    if section.sheets and area > there:
        notes.append("more than all the pieces on the shelf together")
    if open_ones:
        notes.append(f"outline from the drawing, not counted: {', '.join(open_ones)}")
    weight = sheet_weight(section, area, lines[0].material) if area else None
    return Order(section, tuple(lines), None, Fraction(0), weight, "; ".join(notes), area)


def length_words(value: Fraction, unit: str) -> str:
    """A length with its unit, short: ``78.2 mm``, ``3.079 in``, or both."""
    inch = f"{format_decimal(value / INCH, 3)} in"
    if unit == "in":
        return inch
    return f"{plain_mm(value)} mm ({inch})" if unit == "both" else f"{plain_mm(value)} mm"


def outline_words(sides: tuple[Fraction, Fraction], unit: str) -> str:
    """Two sides with their unit, short: ``129 × 52.8 mm``."""
    inch = " × ".join(format_decimal(side / INCH, 3) for side in sides) + " in"
    if unit == "in":
        return inch
    mm = " × ".join(plain_mm(side) for side in sides) + " mm"
    return f"{mm} ({inch})" if unit == "both" else mm


def cut_words(order: Order, unit: str = "mm") -> list[str]:
    """The plan of an order in words, one line a bar; the rectangles where it is sheet."""
    if order.plan is None:
        return [
            f"{line.count} off {outline_words(line.blank.outline, unit)} {line.title}"
            for line in order.lines
            if line.blank.outline is not None
        ]
    unit = "mm" if unit == "both" else unit
    found = []
    for cut in order.plan.cuts:
        runs: list[list[Any]] = []
        for length, label in cut.pieces:
            if runs and runs[-1][0] == length and runs[-1][1] == label:
                runs[-1][2] += 1
            else:
                runs.append([length, label, 1])
        said = ", ".join(
            f"{count} × {length_words(length, unit)} {label}".rstrip()
            for length, label, count in runs
        )
        whose = "from the shelf" if cut.bar.owned else "bought"
        times = f"{cut.times} × " if cut.times > 1 else ""
        left = f"; {length_words(cut.left, unit)} left" if cut.left else ""
        found.append(f"{times}{length_words(cut.bar.length, unit)} {whose}: {said}{left}")
    return found


def tool_words(line: ToolLine) -> str:
    """A tool in words, the tapping drill as the drill it is."""
    name = tool_name(line.use)
    return name.removeprefix("tapping ")
