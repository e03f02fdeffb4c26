"""The materials list as plain dicts, tables for the screen, CSV, and a workbook for ordering."""

from __future__ import annotations

import io
from collections.abc import Sequence
from fractions import Fraction
from importlib import import_module
from pathlib import Path
from typing import Any

from scaler.cards.stock import NO_LENGTH
from scaler.desk.materials_list import (
    INCH,
    POUND,
    BoughtPart,
    CutLine,
    MaterialsList,
    Order,
    ToolLine,
    Weight,
    cut_words,
    length_words,
    outline_words,
    tool_words,
)
from scaler.measures.lengths import format_decimal
from scaler.report import caution_dict, csv_table, twin, twins
from scaler.tables import Grid
from scaler.writing import unwritable, write_whole


def as_dict(listed: MaterialsList) -> dict[str, Any]:
    """Plain keys and values for scripts."""
    return {
        "model": listed.model.title,
        **twin("kerf_mm", listed.allowances.kerf),
        "cutting_list": [_line(line) for line in listed.lines],
        "orders": [_order(order) for order in listed.orders],
        "bought": [_bought(item) for item in listed.bought],
        "tools": [_tool(line) for line in listed.tools],
        "refused": [caution_dict(caution) for caution in listed.refused],
    }


def _weight(weight: Weight | None) -> dict[str, Any]:
    return {
        "weight_kg": None if weight is None else round(float(weight.kg), 4),
        "density_kg_m3": None if weight is None else float(weight.density),
        "density_of": None if weight is None else weight.material,
        "density_source": None if weight is None else weight.source,
    }


def _line(line: CutLine) -> dict[str, Any]:
    section = line.section
    return {
        "part": line.part,
        "title": line.title,
        "material": line.material,
        "count": line.count,
        "form": section.form if section else None,
        "stock": section.designation if section else None,
        "on_shelf": section.owned if section else None,
        "wanted": {name: float(value) for name, value in line.blank.wanted},
        **twin("finished_mm", line.blank.finished),
        **twin("sawn_mm", line.blank.sawn),
        **(
            twin("outline_mm", None)
            if line.blank.outline is None
            else twins("outline_mm", line.blank.outline)
        ),
        **_weight(line.weight),
        "source": section.source if section else None,
        "note": "; ".join(line.blank.notes) or None,
    }


def _order(order: Order) -> dict[str, Any]:
    plan = order.plan
    return {
        "stock": order.section.designation,
        "form": order.section.form,
        "material": order.section.material,
        "on_shelf": order.section.owned,
        "sold": order.section.sold_text or None,
        **twin("needed_mm", order.needed),
        **twin("area_mm2", order.area or None),
        "plan": None
        if plan is None
        else {
            "status": plan.status,
            "fewest_bars_proved": plan.fewest,
            **twin("bought_mm", plan.bought),
            **twin("least_possible_mm", plan.bound),
            "bars": plan.bars,
            **twin("left_mm", plan.left),
            "cuts": [
                {
                    **twin("bar_mm", cut.bar.length),
                    "on_shelf": cut.bar.owned,
                    "times": cut.times,
                    "pieces": [
                        {**twin("length_mm", length), "part": label} for length, label in cut.pieces
                    ],
                    **twin("left_mm", cut.left),
                }
                for cut in plan.cuts
            ],
            "unmet": [
                {**twin("length_mm", piece.length), "count": piece.count, "part": piece.label}
                for piece in plan.unmet
            ],
        },
        **_weight(order.weight),
        "note": order.note or None,
    }


def _bought(item: BoughtPart) -> dict[str, Any]:
    return {
        "part": item.part,
        "title": item.title,
        "count": item.count,
        "what": item.what,
        "sizes": "; ".join(f"{name} {text}" for name, text in item.sizes),
    }


def _tool(line: ToolLine) -> dict[str, Any]:
    use = line.use
    return {
        "tool": tool_words(line),
        "family": use.family,
        "designation": use.designation,
        **twin("size_mm", use.size_mm),
        "for": "; ".join(line.parts),
        "on_shelf": use.on_shelf,
        "status": line.status,
        "nearest_on_shelf": use.instead or None,
    }


# --- tables for a person


def grids(listed: MaterialsList, unit: str) -> list[tuple[str, Grid]]:
    """Titles and tables: cutting list, bars, bought parts, tools; ``unit`` mm, in or both."""
    found = [
        ("Cutting list", _cutting_grid(listed.lines, unit)),
        ("Bars and sheet", _bars_grid(listed.orders, unit)),
    ]
    if listed.bought:
        rows = tuple(
            (item.title, str(item.count), item.what, "; ".join(f"{n} {t}" for n, t in item.sizes))
            for item in listed.bought
        )
        found.append(("Bought parts", Grid(("part", "off", "how", "sizes"), rows, (1,))))
    found.append(("Tools", _tools_grid(listed.tools)))
    return found


def left_open(listed: MaterialsList) -> str:
    """Said once of all parts that the model gives no length over all for; '' where it does."""
    open_ones = [line.title for line in listed.lines if NO_LENGTH in line.blank.notes]
    if not open_ones:
        return ""
    return (
        f"* {NO_LENGTH}, and not packed into bars: {', '.join(open_ones)}. A size named length "
        "in the part's table brings it in."
    )


def weight_text(weight: Weight | None, unit: str) -> str:
    """kg, pounds for an inch workshop, or both; '-' where it is not known."""
    if weight is None:
        return "-"
    kg, lb = f"{format_decimal(weight.kg, 3)} kg", f"{format_decimal(weight.kg / POUND, 3)} lb"
    if unit == "both":
        return f"{kg} ({lb})"
    return lb if unit == "in" else kg


def _cutting_grid(lines: Sequence[CutLine], unit: str) -> Grid:
    rows = []
    for line in lines:
        blank = line.blank
        stock = line.section.designation if line.section else "-"
        sawn = "-" if blank.sawn is None else length_words(blank.sawn, unit)
        if blank.outline is not None:
            sawn = outline_words(blank.outline, unit)
        notes = "; ".join(note for note in blank.notes if note != NO_LENGTH)
        rows.append(
            (line.title, str(line.count), stock, sawn, weight_text(line.weight, unit), notes)
        )
    return Grid(("part", "off", "stock", "saw", "weight", "note"), tuple(rows), (1, 3, 4))


def _bars_grid(orders: Sequence[Order], unit: str) -> Grid:
    rows = []
    for order in orders:
        needed = length_words(order.needed, unit) if order.needed else "-"
        if order.area:
            needed = area_words(order.area, unit)
        elif not order.needed:
            continue  # nothing of it has a length or an outline: said once elsewhere
        rows.append((order.section.designation, needed, _proof(order, unit), order.note))
        for words in cut_words(order, unit):
            rows.append(("", "", f"  {words}", ""))
        if order.plan is not None:
            for piece in order.plan.unmet:
                said = (
                    f"  too long or too many: {piece.count} × {length_words(piece.length, unit)} "
                )
                rows.append(("", "", said + piece.label, ""))
    return Grid(("stock", "needed with cuts", "plan", "note"), tuple(rows), (1,))


def area_words(area: Fraction, unit: str) -> str:
    """An area of sheet [mm²] as cm² or square inches."""
    inch = f"{format_decimal(area / INCH**2, 1)} sq in"
    if unit == "in":
        return inch
    cm = f"{format_decimal(area / 100, 0)} cm²"
    return f"{cm} ({inch})" if unit == "both" else cm


def _proof(order: Order, unit: str) -> str:
    """How sure a plan is, in words."""
    plan = order.plan
    if plan is None:
        return "-"
    bars = f"{plan.bars} bar{'s' if plan.bars != 1 else ''}"
    unit = "mm" if unit == "both" else unit
    bought = f"{length_words(plan.bought, unit)} bought" if plan.bought else "nothing bought"
    if plan.status == "optimal":
        sure = "no plan buys less" + ("" if plan.fewest else "; fewer bars not ruled out")
    else:
        sure = f"best found; at least {length_words(plan.bound, unit)} is needed"
    return f"{bars}, {bought}: {sure}"


def _tools_grid(tools: Sequence[ToolLine]) -> Grid:
    rows = []
    for line in tools:
        near = f"; nearest there: {line.use.instead}" if line.use.instead else ""
        rows.append((tool_words(line), line.status + near, ", ".join(line.parts)))
    return Grid(("tool", "shop", "for"), tuple(rows))


# --- files for ordering

SHEETS = ("Cutting list", "Bars to get", "Bought parts", "Tools")


def sheets(listed: MaterialsList) -> list[tuple[str, list[str], list[list[Any]]]]:
    """The tables of the files: title, headings, rows of plain values."""
    cutting = [
        [
            line.title, line.count, line.material,
            line.section.designation if line.section else "",
            _number(line.blank.finished), _number(line.blank.sawn),
            "" if line.blank.outline is None else outline_words(line.blank.outline, "mm"),
            None if line.weight is None else round(float(line.weight.kg), 4),
            "; ".join(line.blank.notes),
        ]
        for line in listed.lines
    ]  # fmt: skip
    bars: list[list[Any]] = []
    for order in listed.orders:
        found: dict[tuple[Any, bool], int] = {}
        for cut in order.plan.cuts if order.plan else ():
            key = (cut.bar.length, cut.bar.owned)
            found[key] = found.get(key, 0) + cut.times
        status = order.plan.status if order.plan else ""
        weight = None if order.weight is None else round(float(order.weight.kg), 4)
        if not found:
            needed = _number(order.needed) if order.needed else None
            bars.append([order.section.designation, "", "", needed, "", status, weight,
                         order.note])  # fmt: skip
        for (length, owned), count in found.items():
            bars.append([order.section.designation, count, _number(length), _number(order.needed),
                         "shelf" if owned else "buy", status, weight, order.note])  # fmt: skip
    bought = [
        [item.title, item.count, item.what, "; ".join(f"{n} {t}" for n, t in item.sizes)]
        for item in listed.bought
    ]
    tools = [
        [tool_words(line), _number(line.use.size_mm), line.status, line.use.instead,
         "; ".join(line.parts)]
        for line in listed.tools
    ]  # fmt: skip
    return [
        ("Cutting list", ["part", "off", "material", "stock", "finished_mm", "sawn_mm",
                          "outline", "weight_kg", "note"], cutting),
        ("Bars to get", ["stock", "bars", "bar_length_mm", "needed_mm", "from", "plan",
                         "weight_kg", "note"], bars),
        ("Bought parts", ["part", "off", "what", "sizes"], bought),
        ("Tools", ["tool", "size_mm", "shop", "nearest_on_shelf", "for"], tools),
    ]  # fmt: skip


def _number(value: Any) -> float | None:
    return None if value is None else round(float(value), 4)


def csv_text(listed: MaterialsList) -> str:
    """One CSV for ordering: every line with the list it belongs to."""
    headings = ["list"]
    for _, names, _ in sheets(listed):
        headings += [name for name in names if name not in headings]
    rows = []
    for title, names, items in sheets(listed):
        for item in items:
            cells = dict(zip(names, item, strict=True))
            rows.append([title, *(cells.get(name) for name in headings[1:])])
    return csv_table(headings, rows)


_PLANS = {"optimal": "no plan buys less"}
_FIGURES = {"mm": "0.00", "kg": "0.000"}


def heading_words(name: str) -> str:
    """A heading for a person: the unit after a comma.

    >>> heading_words("bar_length_mm"), heading_words("nearest_on_shelf")
    ('bar length, mm', 'nearest on shelf')
    """
    stem, _, unit = name.rpartition("_")
    return (f"{stem}, {unit}" if unit in _FIGURES else name).replace("_", " ")


class NoWorkbook(RuntimeError):
    """The library that writes workbooks is not installed."""


def write_workbook(listed: MaterialsList, path: Path) -> None:
    """The same as a workbook with a sheet a list. In one move: the old file or the new one.

    Raises NoWorkbook where openpyxl is not installed, InputError where the file cannot be written.
    """
    try:
        openpyxl = import_module("openpyxl")
        styles = import_module("openpyxl.styles")
    except ImportError as error:
        raise NoWorkbook(
            "workbooks need openpyxl: install the extra 'xlsx', or take --format csv"
        ) from error
    book: Any = openpyxl.Workbook()
    book.remove(book.active)
    for title, names, rows in sheets(listed):
        sheet = book.create_sheet(title)
        sheet.append([heading_words(name) for name in names])
        sheet.page_setup.orientation = "landscape"
        sheet.page_setup.fitToHeight = 0
        sheet.sheet_properties.pageSetUpPr.fitToPage = True
        sheet.print_title_rows = "$1:$1"
        for cell in sheet[1]:
            cell.font = styles.Font(bold=True)
        for row in rows:
            sheet.append([_PLANS.get(str(value), value) for value in row])
            for cell, name in zip(sheet[sheet.max_row], names, strict=True):
                cell.number_format = _FIGURES.get(name.rpartition("_")[2], "General")
                if cell.data_type == "f":  # words that begin with = are words
                    cell.data_type = "s"
        for at, name in enumerate(names, 1):
            widest = max([len(heading_words(name)), *(len(str(row[at - 1] or "")) for row in rows)])
            sheet.column_dimensions[sheet.cell(1, at).column_letter].width = min(widest, 60) + 2
        sheet.freeze_panes = "A2"
    packed = io.BytesIO()
    book.save(packed)
    try:
        write_whole(path, packed.getvalue())
    except OSError as error:
        raise unwritable(path, error) from None
