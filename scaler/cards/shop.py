"""The shop's own list beyond sizes: how much of each row is there, as it was written."""

from __future__ import annotations

import csv
import io

from scaler.records import Model


def quantities(model: Model) -> dict[tuple[str, int], str]:
    """The ``quantity`` cell of every row of the shop's tables, by file and line."""
    found: dict[tuple[str, int], str] = {}
    for name in dict.fromkeys(row.place.file for row in model.shop):
        source = model.sources.get(name)
        if source is None:
            continue
        found |= _of_table(name, source.text)
    return found


def _of_table(name: str, text: str) -> dict[tuple[str, int], str]:
    lines = text.split("\n")
    kept = [line if line.strip() and line[0] != "#" else "" for line in lines]
    heading = next((line for line in kept if line), "")
    delimiter = ";" if heading.count(";") > heading.count(",") else ","
    reader = csv.reader(io.StringIO("\n".join(kept), newline=""), delimiter=delimiter)
    at: int | None = None
    found = {}
    begins = 1
    for cells in reader:
        if any(cell.strip() for cell in cells):
            if at is None:
                names = [cell.strip() for cell in cells]
                if "quantity" not in names:
                    return {}
                at = names.index("quantity")
            elif at < len(cells) and cells[at].strip():
                found[name, begins] = cells[at].strip()
        begins = reader.line_num + 1
    return found
