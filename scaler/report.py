"""Results as plain dicts, frames and text tables. Rounding happens here and nowhere before."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from scaler.checking.cautions import Caution
from scaler.expressions.intervals import Interval
from scaler.measures.lengths import (
    format_exact,
    format_feet_inches,
    format_inch,
    format_mm,
    nearest_fraction,
)
from scaler.problems import as_dict as problem_dict
from scaler.records import Bounds, Size
from scaler.settling.solve import Value, middle

if TYPE_CHECKING:
    import pandas

    from scaler.checking.check import Finding
    from scaler.checking.conflicts import CheckResult, Conflict
    from scaler.settling.reduce import Reduction, SizeLine


def number(value: Value | None) -> float | None:
    """A value as a float for JSON, None where there is none."""
    return None if value is None else float(middle(value))


def rational(value: Value | None) -> str | None:
    """A value as exact text, None where there is none or it is irrational."""
    return format_exact(value) if isinstance(value, Fraction) else None


def twin(key: str, value: Value | None) -> dict[str, Any]:
    """A length and its exact twin: ``key`` and ``key_rational``."""
    return {key: number(value), f"{key}_rational": rational(value)}


def twins(key: str, bounds: Bounds) -> dict[str, Any]:
    """Two bounds and their exact twins; an absent bound is None."""
    return {
        key: [number(bound) for bound in bounds],
        f"{key}_rational": [rational(bound) for bound in bounds],
    }


def frame_of(rows: Sequence[Mapping[str, Any]]) -> pandas.DataFrame:
    """Rows as a pandas frame; lists of two bounds become two columns."""
    import pandas

    flat = []
    for row in rows:
        item: dict[str, Any] = {}
        for key, value in row.items():
            if _are_bounds(key, value):
                item[f"{key}_min"], item[f"{key}_max"] = value
            else:
                item[key] = value
        flat.append(item)
    return pandas.DataFrame(flat)


def _are_bounds(key: str, value: object) -> bool:
    """Whether a value is two bounds, and not a list that happens to have two entries."""
    if not isinstance(value, list) or len(value) != 2:
        return False
    return key.endswith("_rational") or not any(isinstance(v, (str, dict)) for v in value)


def caution_dict(caution: Caution) -> dict[str, Any]:
    """A caution for scripts."""
    return {
        "about": caution.about,
        "kind": caution.kind,
        "headline": caution.headline,
        "text": caution.text,
        "refused": caution.refused,
    }


def size_dict(line: SizeLine) -> dict[str, Any]:
    """One size by the contract for scripts."""
    size, settled = line.size, line.settled
    limits: Bounds = (None, None)
    if line.limits is not None and line.chosen is not None:
        basic = middle(line.chosen)
        limits = (basic + line.limits.lower, basic + line.limits.upper)
    percent, departure = None, line.departure
    if departure is not None and line.exact is not None and middle(line.exact):
        percent = round(float(departure / middle(line.exact)) * 100, 4)
    unit = "mm" if size.kind.is_length else ("deg" if size.kind.value == "angle" else "count")
    return {
        "id": line.name,
        "title": size.title,
        "kind": str(size.kind),
        "unit": unit,
        "drawn": None if line.refused else size.drawn_as or None,
        **twin("full_mm", line.full),
        **twin("exact_mm", line.exact),
        **twin("chosen_mm", line.chosen),
        **twin("departure_mm", departure),
        "departure_percent": percent,
        "rule": [method.text for method in size.rule],
        "method": settled.method if settled else None,
        "row": settled.row.designation if settled and settled.row else None,
        "row_source": settled.row.source if settled and settled.row else None,
        "why": settled.why if settled else None,
        "note": ((settled.note if settled else "") or size.note) or None,
        **twins("limits_mm", limits),
        "limits_from": line.limits.source if line.limits else None,
        "state": str(line.state),
        **twin("made_mm", line.made),
        "refused": line.refused,
        **_as_written(line),
        "file": size.place.file,
        "line": size.place.line,
    }


def _as_written(line: SizeLine) -> dict[str, Any]:
    """What the model's file says of a size, under the file's own keys, so that a table of sizes
    can be edited and read back; None where it says nothing or the part is refused."""
    size = line.size
    lower, upper = size.between

    def length(value: Fraction | None) -> str | None:
        return None if value is None else f"{format_exact(value)} mm"

    between = None
    if lower is not None and upper is not None:
        between = f"{format_exact(lower)} mm to {format_exact(upper)} mm"
    if line.refused:
        return dict.fromkeys(_WRITTEN)
    return {
        "datum": size.datum or None,
        "limits": size.limits.text if size.limits else None,
        "reach": length(size.reach),
        "weight": None if size.weight == 1 else format_exact(size.weight),
        "standard": size.standard or None,
        "equals": size.equals_text or None,
        "between": between,
        "uncertainty": length(size.uncertainty),
        "origin": size.origin or None,
        "instrument": size.instrument or None,
    }


_WRITTEN = (
    "datum", "limits", "reach", "weight", "standard", "equals", "between", "uncertainty",
    "origin", "instrument",
)  # fmt: skip


def reduction_dict(reduction: Reduction) -> dict[str, Any]:
    """A reduction by the contract for scripts."""
    model = reduction.model
    return {
        "model": model.title,
        "scale": {
            "text": model.scale.read_as,
            "ratio": float(model.ratio),
            "ratio_rational": format_exact(model.ratio),
            "how": model.scale.how,
        },
        "stage": str(reduction.stage),
        "sizes": [size_dict(line) for line in reduction.all_lines],
        "cautions": [caution_dict(caution) for caution in reduction.cautions],
        "notes": [problem_dict(note) for note in reduction.notes],
    }


def finding_dict(finding: Finding) -> dict[str, Any]:
    """One pair or condition by the contract for scripts."""
    item = finding.statement
    wanted: Bounds = (item.lower, item.upper)
    aim = finding.aim
    common: dict[str, Any] = {
        "verdict": str(finding.verdict),
        "cause": str(finding.cause) if finding.cause else None,
        "aim": None
        if aim is None
        else {
            "size": aim.size,
            **twin("target_mm", aim.target),
            **twin("margin_mm", aim.margin),
            "by": aim.by,
        },
        "shares": [{"size": name, **twin("moved_mm", moved)} for name, moved in finding.shares],
        "why": item.why or None,
        "source": item.source or None,
        "note": finding.note or None,
        "copies": dict(item.at),
        "file": item.place.file,
        "line": item.place.line,
    }
    if item.what == "pair":
        return {
            "id": item.id,
            "title": item.title or None,
            "inner": item.inner,
            "outer": item.outer,
            "basis": str(item.basis),
            **twins("wanted_mm", wanted),
            **twins("found_mm", finding.found),
            **twin("basic_mm", finding.basic),
            **common,
        }
    return {
        "id": item.id,
        "title": item.title or None,
        "text": item.text,
        "basis": str(item.basis),
        "dimension": item.dimension,
        **twins("wanted", wanted),
        **twins("found", finding.found),
        **twin("basic", finding.basic),
        **common,
    }


def conflict_dict(conflict: Conflict) -> dict[str, Any]:
    """A conflict by the contract for scripts; ways out where they were asked for."""
    ways: list[dict[str, Any]] = []
    if conflict.ways_out:
        from scaler.substitution.report import way_dict

        ways = [way_dict(way) for way in conflict.ways_out]
    return {
        "members": [
            {"text": member.text, "file": member.place.file, "line": member.place.line}
            for member in conflict.members
        ],
        "text": conflict.text,
        "path": list(conflict.path),
        "ways_out": ways,
        "tried": conflict.tried or None,
    }


def check_dict(result: CheckResult) -> dict[str, Any]:
    """A check by the contract for scripts."""
    found = [finding_dict(finding) for finding in result.findings]
    return {
        **reduction_dict(result.reduction),
        "pairs": [
            row for row, f in zip(found, result.findings, strict=True) if f.statement.what == "pair"
        ],
        "conditions": [
            row for row, f in zip(found, result.findings, strict=True) if f.statement.what != "pair"
        ],
        "conflicts": [conflict_dict(conflict) for conflict in result.conflicts],
        "workability": [finding.as_dict() for finding in result.workability],
        "counts": result.counts(),
        "status": result.status(),
    }


# --- text


def length_text(value: Value | None, units: str = "mm", places: int = 2) -> str:
    """A length for print: mm, inches with the nearest 64th, or both; '-' where there is none."""
    if value is None:
        return "-"
    plain = middle(value)
    mm = format_mm(plain, places)
    if units == "mm":
        return mm
    inch = format_inch(plain, 3 if places <= 2 else 4)
    if units == "in":
        return inch
    return f"{mm} ({inch} in)"


def signed_text(value: Value, units: str = "mm", places: int = 3) -> str:
    """A difference of lengths for print, each figure with its sign: ``-0.042 (-0.0016 in)``."""
    plain = middle(value)
    sign = "-" if plain < 0 else ("+" if plain else "")
    return sign + length_text(abs(plain), units, places).replace("(", f"({sign}")


def full_size_text(size: Size) -> str:
    """The full size for print, as drawn; with the sheet's figure where that is an earlier model's.

    ``1 ft 2 in (sheet 7/8 in)``: the sheet's own figure is not full size and is never shown as it.
    """
    if size.sheet_ratio == 1 or size.full is None or not size.kind.is_length:
        return size.drawn_as or "not drawn"
    full = f"{format_mm(size.full, 3)} mm"
    if not size.drawn_as.endswith("m"):  # a sheet in inches or feet
        near = nearest_fraction(size.full, 64)
        full = f"{format_inch(size.full, 4)} in" if near.error_mm else format_feet_inches(size.full)
    return f"{full} (sheet {size.drawn_as})"


def sixty_fourth(value: Value | None) -> str:
    """The nearest 64th of an inch with its error in thou: ``39/64 +1.2``."""
    if value is None or middle(value) < 0:
        return "-"
    near = nearest_fraction(middle(value), 64)
    error = near.error_mm / Fraction(254, 10) * 1000
    return f"{near.text} {'+' if error >= 0 else '-'}{format_mm(abs(error), 1)}"


def window_text(bounds: Bounds, units: str = "mm", places: int = 3) -> str:
    """A window for print: ``0.040 to 0.100``, ``>= 0.800`` or ``<= 1.600``."""
    lower, upper = bounds
    if lower is None and upper is None:
        return "-"
    if upper is None:
        return f">= {length_text(lower, units, places)}"
    if lower is None:
        return f"<= {length_text(upper, units, places)}"
    if lower == upper:
        return length_text(lower, units, places)
    return f"{length_text(lower, units, places)} to {length_text(upper, units, places)}"


def measured_text(bounds: Bounds, dimension: str, units: str = "mm", places: int = 3) -> str:
    """A window of a statement for print, in what it is measured in: degrees bear their sign."""
    text = window_text(bounds, units if dimension == "length" else "mm", places)
    return f"{text}°" if dimension == "angle" and text != "-" else text


def _one_line(cell: str) -> str:
    return " ".join(cell.split("\n")) if "\n" in cell else cell


def text_table(
    headings: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = ()
) -> str:
    """Columns of text, lined up; ``right`` names the columns that stand to the right."""
    cells = [[_one_line(cell) for cell in row] for row in rows]
    widths = [
        max([len(heading), *(len(row[n]) for row in cells)]) for n, heading in enumerate(headings)
    ]

    def line(row: Sequence[str]) -> str:
        return "  ".join(
            cell.rjust(width) if n in right else cell.ljust(width)
            for n, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()

    rule = "  ".join("-" * width for width in widths)
    return "\n".join([line(headings), rule, *(line(row) for row in cells)])


def markdown_table(
    headings: Sequence[str], rows: Iterable[Sequence[str]], right: Sequence[int] = ()
) -> str:
    """The same as a Markdown table."""

    def line(row: Sequence[str]) -> str:
        return "| " + " | ".join(_one_line(cell).replace("|", "\\|") for cell in row) + " |"

    marks = ["---:" if n in right else "---" for n in range(len(headings))]
    return "\n".join([line(headings), line(marks), *(line(row) for row in rows)])


def csv_table(headings: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """The same as CSV. Text that a spreadsheet would run as a formula gets a leading apostrophe."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(headings)
    writer.writerows([_tame(cell) for cell in row] for row in rows)
    return out.getvalue()


_RUN = frozenset("=+-@\t\r\n＝＋－＠")  # what begins a formula, also in full-width letters


def _tame(cell: Any) -> Any:
    if isinstance(cell, str) and cell[:1] in _RUN:
        try:
            float(cell)
        except ValueError:
            return "'" + cell
    return "" if cell is None else cell


def flat_rows(rows: Sequence[Mapping[str, Any]]) -> tuple[list[str], list[list[Any]]]:
    """Dict rows as headings and cells for CSV; two bounds become two columns, lists are joined."""
    headings: dict[str, None] = {}
    flat: list[dict[str, Any]] = []
    for row in rows:
        item: dict[str, Any] = {}
        for key, value in row.items():
            if _are_bounds(key, value):
                item[f"{key}_min"], item[f"{key}_max"] = value
            elif isinstance(value, list):
                item[key] = "; ".join(str(v) for v in value if not isinstance(v, dict))
            elif not isinstance(value, dict):
                item[key] = value
        headings.update(dict.fromkeys(item))
        flat.append(item)
    return list(headings), [[item.get(name) for name in headings] for item in flat]


def interval_note(value: Value) -> str:
    """'' for an exact value; how wide the enclosure is for another."""
    return f"± {float(value.width) / 2:.1g}" if isinstance(value, Interval) else ""
