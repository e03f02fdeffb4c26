"""What to saw a part from: the section, from its row or the next bar up, and the length.

A size that is used as supplied fixes its side of the section. Round parts turned all over take the
next bar up with something to clean up; blocks and flats take the next flat or square up. What the
model does not say (a part without outside sizes, a length that is nowhere given) is left open and
said so; nothing is guessed. The allowances are common practice and can be set.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

from scaler import catalogue
from scaler.measures.lengths import LengthError, format_mm, parse_length
from scaler.records import Kind, Model, Part, State
from scaler.settling.rows import method_row
from scaler.settling.solve import middle

if TYPE_CHECKING:
    from scaler.settling.reduce import SizeLine

ZERO = Fraction(0)
ROUND_WORDS = frozenset(
    [
        "diameter",
        "dia",
        "od",
        "outside",
        "journal",
        "spigot",
        "seat",
        "pin",
        "shank",
        "tread",
        "head",
        "flange",
        "boss",
        "rim",
    ]
)
ACROSS_WORDS = frozenset(["width", "thickness", "height", "depth", "breadth"])
ROUND_METHODS = frozenset(("turned", "ground bar", "round bar", "tube outside", "wire"))
FLAT_METHODS = frozenset(
    ("milled", "flat thickness", "flat width", "plate", "strip", "square bar", "hexagon bar",
     "angle leg", "angle other leg", "angle thickness", "key steel", "filed", "slotted")
)  # fmt: skip
LENGTH_NAMES = ("blank_length", "overall_length", "length_overall", "length", "height", "width")


NO_LENGTH = "length from the drawing"
"""Said of a blank whose length over all is not in the model."""


@dataclass(frozen=True, slots=True)
class Allowances:
    """What the saw takes and what is left to clean up [mm]; the defaults are common practice."""

    kerf: Fraction = Fraction(2)
    end: Fraction = Fraction(1)
    true_bar: Fraction = Fraction(1, 10)
    turned: Fraction = Fraction(3, 2)
    cast: Fraction = Fraction(3)
    face: Fraction = Fraction(1)


@dataclass(frozen=True, slots=True)
class Section:
    """A section of stock [mm]: its form, measures by name, and the row it comes from.

    ``owned``: of the shop's own list. ``sold`` holds the lengths it is sold in [mm], empty where
    it is cut to length or its lengths are not known; ``shelf`` what the shop has (length, number),
    ``sheets`` its pieces of sheet (longer, shorter side, number).
    """

    form: str
    material: str
    measures: tuple[tuple[str, Fraction], ...]
    designation: str
    source: str
    owned: bool = False
    sold: tuple[Fraction, ...] = ()
    sold_text: str = ""
    shelf: tuple[tuple[Fraction, int], ...] = ()
    sheets: tuple[tuple[Fraction, Fraction, int], ...] = ()

    @property
    def key(self) -> tuple[str, str, tuple[tuple[str, Fraction], ...], bool]:
        """What makes two sections one order."""
        return self.form, self.material, self.measures, self.owned


@dataclass(frozen=True, slots=True)
class Blank:
    """What to saw for one part: the section, the finished and the sawn length [mm], and notes.

    ``section`` is None where the model does not say enough, or nothing is big enough; ``wanted``
    then holds what it should measure at least. ``finished`` is None where no length is known.
    ``outline`` is the rectangle to saw out of a sheet (longer, shorter side), None for bar.
    """

    part: str
    section: Section | None
    wanted: tuple[tuple[str, Fraction], ...]
    finished: Fraction | None
    sawn: Fraction | None
    notes: tuple[str, ...]
    outline: tuple[Fraction, Fraction] | None = None


@dataclass(frozen=True, slots=True)
class _Bar:
    """One row of stock that can be had: its chief measure first."""

    size: Fraction
    measures: tuple[tuple[str, Fraction], ...]
    material: str
    designation: str
    source: str
    owned: bool
    sold: tuple[Fraction, ...]
    sold_text: str
    rough: bool
    shelf: tuple[tuple[Fraction, int], ...] = ()
    sheets: tuple[tuple[Fraction, Fraction, int], ...] = ()


_FORMS: dict[str, tuple[str, str, tuple[str, ...]]] = {
    "round": ("stock_round", "diameter", ("diameter",)),
    "square": ("stock_square", "across_flats", ("across_flats",)),
    "hexagon": ("stock_hexagon", "across_flats", ("across_flats",)),
    "flat": ("stock_flat", "thickness", ("thickness", "width")),
    "plate": ("stock_sheet", "thickness", ("thickness",)),
    "strip": ("stock_strip", "thickness", ("thickness", "width")),
    "angle": ("stock_angle", "leg_a", ("leg_a", "leg_b", "thickness")),
    "tube": ("stock_tube", "outside", ("outside", "wall", "bore")),
    "wire": ("stock_wire", "diameter", ("diameter",)),
}
_FAMILY_FORM = {
    "ground bar": "round", "round bar": "round", "square bar": "square", "key steel": "square",
    "hexagon bar": "hexagon", "flat thickness": "flat", "flat width": "flat", "plate": "plate",
    "strip": "strip", "angle": "angle", "tube": "tube", "wire": "wire",
}  # fmt: skip
_ROUGH = frozenset(("black", "cast", "hot rolled"))


@lru_cache(maxsize=1024)
def stock_material(text: str) -> tuple[str, ...]:
    """Names under which the stock tables may hold a part's material, the surest first.

    >>> stock_material("ground steel bar")[0], stock_material("key steel")[0]
    ('mild steel', 'key steel')
    """
    from scaler.fitting.material_figures import UnknownMaterial, find_material

    words = set(text.lower().replace(",", " ").split())
    known = _stock_materials()
    found = sorted((m for m in known if set(m.split()) <= words), key=lambda m: -len(m.split()))
    try:
        wanted = find_material(text)
    except UnknownMaterial:
        return tuple(found)
    found += [name for name, (material, _) in known.items() if material == wanted.name]
    found += [name for name, (_, family) in known.items() if family == wanted.family == name]
    return tuple(dict.fromkeys(found))


@lru_cache(maxsize=1)
def _stock_materials() -> dict[str, tuple[str, str]]:
    """Every material of the stock tables: its name and family in the materials table."""
    from scaler.fitting.material_figures import UnknownMaterial, find_material

    found: dict[str, tuple[str, str]] = {}
    for table, _, _ in _FORMS.values():
        for system in ("metric", "inch"):
            for row in catalogue.table(f"{table}_{system}").rows:
                name = row.text("material")
                if name in found:
                    continue
                try:
                    material = find_material(name)
                except UnknownMaterial:
                    found[name] = ("", "")
                else:
                    found[name] = (material.name, material.family)
    return found


def sold_lengths(text: str) -> tuple[Fraction, ...]:
    """Lengths [mm] of a cell such as ``330 mm; 1 m``; nothing for ``cut to length`` or ``coil``.

    >>> [float(x) for x in sold_lengths("13 in; 1 m; coil")]
    [330.2, 1000.0]
    """
    found = []
    for item in text.split(";"):
        if any(c.isdigit() for c in item):
            try:
                found.append(parse_length(item.strip()).mm)
            except LengthError:
                continue
    return tuple(found)


@lru_cache(maxsize=256)
def _catalogue_bars(form: str, material: str, system: str) -> tuple[_Bar, ...]:
    """Rows of one form, material and system, sorted by size; ground and bright before rough."""
    table_name, chief, names = _FORMS[form]
    bars = []
    for row in catalogue.table(f"{table_name}_{system}").rows:
        if row.text("material") != material:
            continue
        measures = tuple((n, v) for n in names if (v := row.mm(n)) is not None)
        size = row.mm(chief)
        if size is None or size <= 0:
            continue
        sold = row.text("lengths_sold")
        bars.append(
            _Bar(
                size, measures, material, row.text("designation"), row.text("source"), False,
                sold_lengths(sold), sold, row.text("finish") in _ROUGH,
            )
        )  # fmt: skip
    bars.sort(key=lambda bar: (bar.size, bar.rough, dict(bar.measures).get("width", ZERO)))
    return tuple(bars)


class Stock:
    """What sections can be had for a model: the shop's own rows, then the catalogues."""

    def __init__(self, model: Model, allowances: Allowances | None = None) -> None:
        self.model = model
        self.allowances = allowances or Allowances()
        self._shop: dict[tuple[str, tuple[str, ...]], tuple[_Bar, ...]] = {}

    def blank(self, part: Part, lines: Sequence[SizeLine]) -> Blank | None:
        """What to saw for a part; None where it is bought, made, sold as it is (a key, a nut), or
        has nothing but a thread."""
        from scaler.cards.features import sold_as_it_is
        from scaler.cards.forms import needs_of

        if part.state in (State.BOUGHT, State.MADE, State.LOCKED) or sold_as_it_is(lines):
            return None
        live = [line for line in lines if not line.refused and line.chosen is not None]
        needs = needs_of(part, live, self.allowances)
        if needs is None:
            return None
        end = self.allowances.end
        sawn = None if needs.length is None else needs.length + 2 * end
        section, notes = self.section(part, needs.form, needs.wanted, needs.fixed)
        return Blank(
            part.name, section, needs.wanted, needs.length, sawn, (*needs.notes, *notes),
            needs.outline,
        )  # fmt: skip

    def section(
        self,
        part: Part,
        form: str,
        wanted: tuple[tuple[str, Fraction], ...],
        fixed: Mapping[str, SizeLine],
    ) -> tuple[Section | None, tuple[str, ...]]:
        """The section for measures wanted at least; those ``fixed`` are used as supplied."""
        if not form:
            return None, ()
        materials = stock_material(part.material)
        if not materials:
            said = f"'{part.material}' is in no stock table" if part.material else "no material"
            return None, (f"{said}: find a piece that cleans up",)
        notes: tuple[str, ...] = ()
        bars = self.shop_bars(form, materials)
        shop = self._best(bars, wanted, fixed) or self._best(self._own(form, fixed), wanted, fixed)
        sold = None
        for material in materials:
            for system in self._systems():
                sold = self._best(_catalogue_bars(form, material, system), wanted, fixed)
                if sold is not None:
                    break
            if sold is not None:
                break
        if shop is not None and (
            sold is None or shop.size <= max(sold.size * 5 / 4, sold.size + 2)
        ):
            chosen = shop
        elif sold is not None:
            chosen = sold
            if self.model.shop:
                notes = ("not on the shop list: to be bought",)
        else:
            sizes = " × ".join(plain_mm(value) for _, value in wanted)
            return None, (f"no {materials[0]} {form} of {sizes} mm or more is listed",)
        if form in ("flat", "strip") and len(wanted) < 2:
            return _one_measure(form, chosen, wanted[0]), notes
        if chosen.owned and sold is not None and not chosen.sold and chosen.size == sold.size:
            return _section(form, chosen, sold), notes
        return _section(form, chosen, None), notes

    def _systems(self) -> tuple[str, str]:
        return ("metric", "inch") if self.model.work_unit == "mm" else ("inch", "metric")

    def _best(
        self,
        bars: Sequence[_Bar],
        wanted: tuple[tuple[str, Fraction], ...],
        fixed: Mapping[str, SizeLine],
    ) -> _Bar | None:
        """The smallest bar that holds every measure; as supplied where a measure is fixed."""
        if not wanted:
            return None
        chief, least = wanted[0]
        start = bisect_left(bars, least, key=lambda bar: bar.size)
        best: tuple[tuple[Fraction, bool], _Bar] | None = None
        for bar in bars[start:]:
            if best is not None and bar.size > best[1].size and len(wanted) == 1:
                break
            measures = dict(bar.measures)
            if any(name in measures and measures[name] != value for name, value in wanted
                   if name in fixed):  # fmt: skip
                continue
            if any(measures.get(name, ZERO) < value for name, value in wanted):
                continue
            if bar.rough and chief not in fixed and bar.size < least + self.allowances.cast / 2:
                continue
            area = Fraction(1)
            for name, _ in wanted:
                area *= measures[name]
            key = (area, bar.rough)
            if best is None or key < best[0]:
                best = (key, bar)
        return best[1] if best else None

    def shop_bars(self, form: str, materials: tuple[str, ...]) -> tuple[_Bar, ...]:
        """The shop's rows of a form that are of the material, or name none and are taken as steel."""
        key = (form, materials)
        if key not in self._shop:
            self._shop[key] = tuple(self._from_shop(form, materials))
        return self._shop[key]

    def _own(self, form: str, fixed: Mapping[str, SizeLine]) -> tuple[_Bar, ...]:
        """The shop's bars that the sizes themselves take, of which it does not say what they are."""
        rows = [line.settled.row for line in fixed.values() if line.settled and line.settled.row]
        taken = {(row.designation, row.value) for row in rows if row.shop}
        return tuple(
            bar
            for bar in self._from_shop(form, None)
            if any(bar.size == size and bar.designation.endswith(name) for name, size in taken)
        )

    def _from_shop(self, form: str, materials: tuple[str, ...] | None) -> list[_Bar]:
        """The shop's rows of a form and material; where none is asked for, those that name none."""
        wanted = materials or ()
        steel = any("steel" in name and "stainless" not in name for name in wanted)
        rows = [row for row in self.model.shop if _FAMILY_FORM.get(row.family) == form]
        widths = [row for row in rows if row.family == "flat width"]
        found = []
        for row in rows:
            if row.size is None or row.family in ("flat width", "tube bore", "tube wall"):
                continue
            said = _named_material(f"{row.designation} {row.note}")
            if not (set(said) & set(wanted) if said else steel or materials is None):
                continue
            chief = _FORMS[form][1]
            partners: list[Fraction | None] = [None]
            if form == "flat":
                partners = [w.size for w in widths if w.size is not None and w.size >= row.size]
            for width in partners:
                measures = [(chief, row.size)] + ([("width", width)] if width is not None else [])
                name = f"{row.family}, {row.designation}"
                if form == "angle":
                    measures, name = _listed_angle(row.designation) or (measures, name)
                if width is not None:
                    name = f"flat, {plain_mm(width)} x {plain_mm(row.size)} mm"
                found.append(
                    _Bar(
                        row.size, tuple(measures), said[0] if said else "", name,
                        f"shop list, {row.place}", True, (), "", False, row.lengths, row.sheets,
                    )
                )  # fmt: skip
        return sorted(found, key=lambda bar: (bar.size, dict(bar.measures).get("width", ZERO)))


def _listed_angle(designation: str) -> tuple[list[tuple[str, Fraction]], str] | None:
    """Legs and thickness of an angle that the shop list names as a catalogue does."""
    table_name, _, names = _FORMS["angle"]
    for system in ("metric", "inch"):
        row = catalogue.table(f"{table_name}_{system}").find(designation)
        if row is not None:
            measures = [(n, v) for n in names if (v := row.mm(n)) is not None]
            return measures, designation
    return None


def _section(form: str, bar: _Bar, sold: _Bar | None) -> Section:
    return Section(
        form, bar.material or (sold.material if sold else ""), bar.measures, bar.designation,
        bar.source, bar.owned, sold.sold if sold else bar.sold,
        sold.sold_text if sold else bar.sold_text, bar.shelf, bar.sheets,
    )  # fmt: skip


def _one_measure(form: str, bar: _Bar, known: tuple[str, Fraction]) -> Section:
    """A flat of which only one side is known: no row is named, for any of several may serve."""
    name, value = known
    said = f"{form}, {bar.material or 'steel'}, {plain_mm(value)} mm {_THICK[name]}"
    return Section(form, bar.material, (known,), said, bar.source, bar.owned)


_THICK = {"thickness": "thick", "width": "wide"}


@lru_cache(maxsize=4096)
def _named_material(text: str) -> tuple[str, ...]:
    """Stock materials that a shop row's words name; nothing where they name none."""
    words = set(re.findall(r"[a-z0-9]+", text.lower()))
    found = [name for name in _stock_materials() if set(name.split()) <= words]
    if not found and "steel" in words:
        found = ["mild steel", "silver steel"]
    return tuple(sorted(found, key=lambda name: -len(name.split())))


def is_round(line: SizeLine) -> bool:
    """Whether an outside size is a diameter: by how it is cut, then by its name."""
    words = set(line.size.name.split("_"))
    if line.size.kind not in (Kind.EXTERNAL, Kind.THREAD) or words & ACROSS_WORDS:
        return False  # a thickness or a width is none, though it be turned
    names = [line.settled.method] if line.settled else []
    names += [method.name for method in line.size.rule]
    for name in names:
        if name in ROUND_METHODS or name.endswith("thread"):
            return True
        if name in FLAT_METHODS:
            return False
    return bool(words & ROUND_WORDS)


def form_of_row(line: SizeLine) -> str:
    """The form of stock that a size's own row is of, '' where it is cut or drilled."""
    if line.settled is None or line.settled.row is None:
        return ""
    row = method_row(line.settled.method)
    return _FAMILY_FORM.get(row.family, "") if row else ""


def plain_mm(value: Fraction) -> str:
    """A length in mm without needless noughts.

    >>> plain_mm(Fraction(127, 20)), plain_mm(Fraction(12))
    ('6.35', '12')
    """
    return format_mm(value, 3).rstrip("0").rstrip(".")


def value_mm(line: SizeLine) -> Fraction:
    """The size that will be made [mm], or was."""
    assert line.chosen is not None
    return middle(line.chosen)
