"""Reading back what ``reduce --format csv`` wrote, after it was edited in a spreadsheet.

A size that was not touched comes back exactly (its exact twin stands beside the decimal); one whose
decimal was edited comes back as edited. An edited choice is no size of the drawing: it becomes a
line for the choices file.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal, localcontext
from fractions import Fraction

from scaler.desk.table_cells import Cell
from scaler.desk.tables_in import Reader, SizeRow, add, fault
from scaler.measures.lengths import LengthError, parse_length
from scaler.problems import Problem
from scaler.reading.drawn import thread_length
from scaler.reading.grammar import GrammarError

_NUMBER = re.compile(r"^-?\d{1,80}(?:/\d{1,80}|(?:[.,]\d{0,80})?(?:[eE][-+]?\d{1,2})?)$")
_ROUND_TRIP = (
    "kind", "title", "rule", "note", "datum", "limits", "reach", "weight", "standard", "equals",
    "between", "drawing", "uncertainty", "origin", "instrument",
)  # fmt: skip


def read_reduced(reader: Reader) -> None:
    """Reads back what ``reduce --format csv`` wrote, edits included."""
    table = reader.table
    for row in table.rows:
        said = {name: row[at].text for name, at in table.headings.items() if at in row}
        first = next(iter(row.values()))
        for name, at in table.headings.items():
            cell = row.get(at)
            if (cell is not None and cell.sort in ("merged", "error", "formula")) or (
                cell is not None and cell.sort == "date" and name not in ("title", "note", "why")
            ):
                fault(reader, cell, name)
        part, dot, size = said.get("id", "").partition(".")
        if not dot:
            add(reader, first, "the id is not part.size", said.get("id", ""), "part.size",
                 "leave the ids as they were written")  # fmt: skip
            continue
        if "@" in size:  # a copy that differs: only a choice of its own can be edited
            _reduced_choice(reader, said, row)
            continue
        if said.get("refused", "").lower() == "true":
            reader.notes.append(
                Problem("refused", f"{said['id']} has no figure and is left out",
                        table.place(first), severity="warning")
            )  # fmt: skip
            continue
        cells = {"part": part, "size": size}
        full = _reduced_full(reader, said, row)
        if full:
            cells["full"] = full
        for name in _ROUND_TRIP:
            if said.get(name):
                cells[name] = said[name]
        if cells.get("kind") and not full:
            cells.pop("note", None)
        row_mark = SizeRow(cells, table.place(first), first.address)
        key = (part, size)
        if key in reader.seen:
            add(reader, first, f"{row_mark.id} stands twice", row_mark.id, "each size once",
                 "take one out")  # fmt: skip
            continue
        reader.seen[key] = row_mark
        _reduced_choice(reader, said, row)


def _number(text: str) -> Fraction | None:
    if not _NUMBER.match(text):
        return None
    try:
        return Fraction(text.replace(",", "."))
    except ZeroDivisionError:
        return None


def _edited(said: Mapping[str, str], key: str) -> tuple[Fraction | None, Fraction | None]:
    """The exact value written out, and the edited one where the decimal no longer is the same."""
    exact, shown = _number(said.get(f"{key}_rational", "")), _number(said.get(key, ""))
    if exact is not None and shown is not None:
        close = abs(shown - exact) <= abs(exact) * Fraction(1, 10**12)
        return exact, None if close else shown
    return exact, shown if exact is None else None


def _reduced_full(reader: Reader, said: Mapping[str, str], row: Mapping[int, Cell]) -> str:
    """The drawn size of a row: as drawn where it was not touched, else as edited."""
    kind, drawn = said.get("kind", ""), said.get("drawn", "")
    drawn = drawn.partition(" = ")[0]  # 16 SWG and 2 BA come with what they are
    exact, edited = _edited(said, "full_mm")
    if kind in ("angle", "taper", "count", "teeth"):
        if edited is None:
            return drawn or ("" if exact is None else str(exact))
        return str(edited) if kind in ("count", "teeth") else f"{decimal_text(edited)}°"
    as_drawn: Fraction | None = None
    if drawn:
        try:
            as_drawn = (thread_length if kind == "thread" else parse_length)(drawn).mm
        except (LengthError, GrammarError):
            as_drawn = None
    if edited is None:
        if as_drawn is not None:
            return drawn
        return "" if exact is None else f"{exact} mm"
    if as_drawn is not None and exact is not None and as_drawn != exact:
        at = reader.table.headings["full_mm"]
        add(reader, row[at], "the full size was edited, but the sheet has a scale of its own",
             said.get("full_mm", ""), "the size as drawn on the sheet",
             "edit the column 'drawn' instead")  # fmt: skip
        return ""
    return f"{decimal_text(edited)} mm"


def decimal_text(value: Fraction) -> str:
    """An edited decimal as text; it came out of decimal text, so it ends."""
    with localcontext() as context:
        context.prec = 60
        text = format(Decimal(value.numerator) / Decimal(value.denominator), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _reduced_choice(reader: Reader, said: Mapping[str, str], row: Mapping[int, Cell]) -> None:
    exact, edited = _edited(said, "chosen_mm")
    if exact is not None and edited is not None and said.get("unit") == "mm":
        text = f"{decimal_text(edited)} mm"
        reader.choices.append((said["id"], text))
        at = reader.table.headings["chosen_mm"]
        reader.notes.append(
            Problem("choice", f"{said['id']}: the chosen size was edited to {text}; that is a "
                    "choice and goes into the choices file", reader.table.place(row[at]),
                    said.get("chosen_mm", ""), severity="warning")
        )  # fmt: skip
