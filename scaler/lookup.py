"""Answers from the catalogues by name: one function a kind, each giving plain keys and values.

Lengths are millimetres as numbers, each with a twin ending ``_rational`` that holds the exact value
as text. A text that names nothing gives ``error`` and the ``nearest`` known names.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from scaler import catalogue
from scaler.measures.lengths import (
    LengthError,
    format_exact,
    format_inch,
    format_mm,
    nearest_fraction,
    parse_length,
)
from scaler.problems import nearest as nearest_names
from scaler.problems import shorten

INCH = Fraction(127, 5)


@dataclass(frozen=True, slots=True)
class Options:
    """What a look-up may be given besides its text."""

    scale: str = ""
    unit: str | None = None
    law: str | None = None
    set: str | None = None
    percent: str = ""
    drill: str = ""
    tables: tuple[str, ...] = ()
    by: str = "diameter"
    series: tuple[str, ...] = ()
    count: int = 5


def _twin(key: str, value: Fraction | None) -> dict[str, Any]:
    return {
        key: None if value is None else float(value),
        f"{key}_rational": None if value is None else format_exact(value),
    }


def _length(text: str, options: Options) -> dict[str, Any]:
    """A length read, and reduced where a scale is given."""
    length = parse_length(text, options.unit)
    shown = length.mm
    answer: dict[str, Any] = {"text": text, "read_as": length.normal, **_twin("full_mm", length.mm)}
    if length.note:
        answer["note"] = length.note
    if options.scale:
        from scaler.measures.scales import parse_scale

        scale = parse_scale(options.scale)
        shown = length.mm * scale.ratio
        answer["scale"] = scale.read_as
        answer |= _twin("scaled_mm", shown)
        answer |= _twin("scaled_inch", shown / INCH)
    else:
        answer |= {**_twin("scaled_mm", None), **_twin("scaled_inch", None)}
    near = nearest_fraction(shown, 64)
    answer["inch"] = format_inch(shown, 4)
    answer["nearest_64th"] = near.text
    answer |= _twin("nearest_64th_error_mm", near.error_mm)
    return answer


def _thread(text: str, options: Options) -> dict[str, Any]:
    """A thread: sizes, tapping drill, clearance holes, hexagon."""
    from scaler.trade.designations import find_drill
    from scaler.trade.threads import find_thread

    thread = find_thread(text)
    answer: dict[str, Any] = {
        "text": text,
        "designation": thread.designation,
        "series": thread.series,
        **_twin("pitch_mm", thread.pitch_mm),
        **_twin("threads_per_inch", thread.threads_per_inch),
    }
    for key in (
        "major_mm", "effective_mm", "minor_mm", "minor_internal_mm", "depth_mm",
        "tapping_drill_mm",
    ):  # fmt: skip
        answer |= _twin(key, getattr(thread, key))
    answer["tapping_drill_name"] = thread.tapping_drill_name
    answer["tapping_percent"] = round(float(thread.tapping_percent), 1)
    answer["tapping_convention"] = thread.tapping_convention
    if options.drill:
        drill = find_drill(options.drill)
        answer["drill_asked"] = drill.designation
        answer |= _twin("drill_asked_mm", drill.diameter_mm)
        answer["drill_asked_percent"] = round(float(thread.percent_with(drill.diameter_mm)), 1)
    if options.percent:
        wanted = catalogue.parse_number(options.percent.rstrip("% "))
        answer |= _twin("drill_for_percent_mm", thread.drill_for(wanted))
    for key in (
        "clearance_close_mm", "clearance_medium_mm", "clearance_free_mm", "across_flats_mm",
        "small_across_flats_mm", "head_height_mm", "nut_height_mm",
    ):  # fmt: skip
        answer |= _twin(key, getattr(thread, key))
    answer["stress_area_mm2"] = round(float(thread.stress_area_mm2), 4)
    answer["helix_deg"] = round(float(thread.helix_deg), 3)
    answer["source"] = _source(thread.source)
    answer["place"] = thread.place
    answer["tapping_source"] = _source(thread.tapping_source)
    answer["clearance_source"] = _source(thread.clearance_source)
    answer["hexagon_source"] = _source(thread.hexagon_source)
    answer["notes"] = list(thread.notes)
    return answer


def _fit(text: str, options: Options) -> dict[str, Any]:
    """An ISO 286 fit or class at a size, or a fit of the trade at a size."""
    from scaler.trade import iso286

    try:
        asked = iso286.parse_fit_designation(text)
    except iso286.Iso286Error:
        trade = _trade_fit(text, options)
        if trade is not None:
            return trade
        raise
    fit = iso286.fit(text)
    return {
        "text": text,
        "designation": fit.designation,
        **_twin("basic_size_mm", asked.basic_size_mm),
        "hole_lower_um": float(fit.hole.lower_um),
        "hole_upper_um": float(fit.hole.upper_um),
        "shaft_lower_um": float(fit.shaft.lower_um),
        "shaft_upper_um": float(fit.shaft.upper_um),
        "clearance_min_um": float(fit.clearance_min_um),
        "clearance_max_um": float(fit.clearance_max_um),
        "kind": fit.kind,
        "source": _source(fit.hole.source),
        "place": f"{fit.hole.place}; {fit.shaft.place}",
    }


def _trade_fit(text: str, options: Options) -> dict[str, Any] | None:
    """``16 mm close run`` or ``close run 5/8 in``; None where no trade fit and size can be read."""
    from scaler.trade.trade_fits import UnknownFit, find_trade_fit

    words = text.split()
    for cut in range(1, min(len(words), 40)):
        front, back = " ".join(words[:cut]), " ".join(words[cut:])
        for name, size in ((front, back), (back, front)):
            try:
                length = parse_length(size, options.unit)
            except LengthError:
                continue
            try:
                fit = find_trade_fit(name, length.mm, options.set)
            except UnknownFit as error:
                if error.beyond:
                    raise
                continue
            return {
                "text": text,
                "designation": name,
                "set": fit.set,
                **_twin("basic_size_mm", length.mm),
                "hole_lower_um": None,
                "hole_upper_um": None,
                "shaft_lower_um": None,
                "shaft_upper_um": None,
                "clearance_min_um": round(float(fit.clearance_min_mm) * 1000, 3),
                "clearance_max_um": round(float(fit.clearance_max_mm) * 1000, 3),
                "kind": fit.kind,
                "source": _source(fit.source),
                "place": fit.place,
                "note": fit.note or None,
            }
    return None


def _drill(text: str, options: Options) -> dict[str, Any]:
    """A drill by number, letter, fraction or millimetres."""
    from scaler.trade.designations import find_drill

    del options
    found = find_drill(text)
    return {
        "text": text,
        "designation": found.designation,
        **_twin("diameter_mm", found.diameter_mm),
        **_twin("diameter_inch", found.diameter_inch),
        "series": found.series,
        "source": _source(found.source),
        "place": found.place,
        "note": found.note or None,
    }


def _gauge(text: str, options: Options) -> dict[str, Any]:
    """A sheet or wire gauge number."""
    from scaler.trade.designations import find_gauge

    del options
    found = find_gauge(text)
    return {
        "text": text,
        "designation": found.designation,
        **_twin("thickness_mm", found.thickness_mm),
        **_twin("thickness_inch", found.thickness_inch),
        "series": found.series,
        "source": _source(found.source),
        "place": found.place,
        "note": found.note or None,
    }


def _stock(text: str, options: Options) -> dict[str, Any]:
    """Stock nearest to what is asked for."""
    from scaler.trade.designations import find_stock

    return {
        "text": text,
        "rows": [
            {
                "designation": match.designation,
                "table": match.table,
                "dimension": match.dimension,
                **_twin("size_mm", match.size_mm),
                **_twin("departure_mm", match.departure_mm),
                "source": _source(match.source),
            }
            for match in find_stock(text, options.count)
        ],
    }


def _near(text: str, options: Options) -> dict[str, Any]:
    """Rows nearest above and below a size, over one or several families or tables."""
    from scaler.trade.designations import FAMILIES, UnknownDesignation, neighbours

    length = parse_length(text, options.unit)
    tables = options.tables or ("drills", "reamers", "slot drills", "round bar")
    known = (*FAMILIES, *catalogue.names())
    for name in tables:
        if name not in known:
            raise UnknownDesignation(
                name, "no family or table of that name", nearest_names(name, known)
            )
    near = neighbours(length.mm, tables, options.count)
    return {
        "text": text,
        "read_as": length.normal,
        **_twin("size_mm", length.mm),
        "rows": [
            {
                "designation": item.designation,
                "table": item.table,
                **_twin("size_mm", item.size_mm),
                "size_inch": format_inch(item.size_mm, 4),
                **_twin("departure_mm", item.departure_mm),
                "source": _source(item.row.text("source")),
            }
            for item in near.all()
        ],
    }


def _bolt(text: str, options: Options) -> dict[str, Any]:
    """Threads for a full-size bolt: by diameter, by looks (across flats) or by strength.

    The bolt is a thread's name or a length, its diameter (for looks its size across flats).
    """
    from scaler.measures.scales import parse_scale
    from scaler.trade.threads import UnknownThread, choose_thread, find_thread, scaled_want

    if not options.scale:
        raise UnknownThread(text, "no scale is given; add --scale 1:8", ())
    ratio = parse_scale(options.scale).ratio
    series = options.series or ("BA", "metric coarse", "ME")
    by = options.by
    if by not in ("diameter", "looks", "strength"):
        raise UnknownThread(text, f"choose by diameter, looks or strength, not by '{by}'", ())
    try:
        full = find_thread(text)
        read_as, wanted = full.designation, scaled_want(by, full, ratio)  # type: ignore[arg-type]
    except UnknownThread:
        length = parse_length(text, options.unit)
        if by == "strength":
            raise
        read_as, wanted = length.normal, length.mm * ratio
    unit = "mm2" if by == "strength" else "mm"
    return {
        "text": text,
        "read_as": read_as,
        "by": by,
        "series": list(series),
        **_twin(f"wanted_{unit}", wanted),
        "caution": "looks and size only; a working joint needs its own reckoning",
        "rows": [
            {
                "designation": choice.thread.designation
                + (f", {choice.hexagon} hexagon" if choice.hexagon else ""),
                "table": choice.thread.series,
                **_twin(f"size_{unit}", choice.found),
                **_twin(f"departure_{unit}", choice.departure),
                "source": _source(choice.thread.source),
            }
            for choice in choose_thread(by, wanted, series, options.count)  # type: ignore[arg-type]
        ],
    }


def _scale(text: str, options: Options) -> dict[str, Any]:
    """A scale, however stated."""
    from scaler.measures.scales import parse_scale

    del options
    scale = parse_scale(text)
    handy = scale.handy()
    return {
        "text": text,
        "read_as": scale.read_as,
        "how": scale.how,
        "ratio": float(scale.ratio),
        "ratio_rational": format_exact(scale.ratio),
        "denominator": float(scale.denominator),
        "denominator_rational": format_exact(scale.denominator),
        **_twin("per_foot_mm", scale.per_foot_mm),
        "per_foot_in": scale.per_foot_in,
        "handy": None if handy is None else str(getattr(handy, "text", handy)),
        "note": scale.note or None,
    }


def _quantity(text: str, options: Options) -> dict[str, Any]:
    """Another quantity than a length, reduced by its dimension with the law shown."""
    from scaler.measures.quantities import QuantityError, scale_quantity
    from scaler.measures.scales import parse_scale

    if not options.scale:
        raise QuantityError(text, "no scale is given", "a scale", "add --scale 1:8")
    found = scale_quantity(text, parse_scale(options.scale).ratio, law=options.law)
    return {
        "text": text,
        "read_as": found.read_as,
        "full_value": float(found.full_value),
        "full_value_rational": format_exact(found.full_value),
        "unit": found.unit,
        "exponent": format_exact(found.exponent),
        "law": found.law,
        "scaled": float((found.scaled_lower + found.scaled_upper) / 2),
        "scaled_rational": None if found.scaled is None else format_exact(found.scaled),
        "unit_out": found.unit_out,
        "source": found.source,
        "caution": found.caution or None,
    }


KINDS: dict[str, tuple[Callable[[str, Options], dict[str, Any]], str]] = {
    "length": (_length, "4ft 8 1/2in, 12.7 mm, 1.5 thou, 16 SWG; with --scale also reduced"),
    "thread": (_thread, "2 BA, M3x0.5, 1/4-40 ME, 1/4 BSF, No. 6 UNC, G 1/8"),
    "fit": (_fit, "25 H7/g6; or a trade fit with its size: close run 16 mm"),
    "drill": (_drill, "No. 30, letter F, 13/32, 10.2 mm"),
    "gauge": (_gauge, "16 SWG, 18 AWG, 20 BWG"),
    "stock": (_stock, "round bar, steel, 12.7 mm; flat brass 10 x 3; tube copper 1/4 in 22 swg"),
    "near": (_near, "10 mm: the rows nearest above and below; --in names families or tables"),
    "bolt": (_bolt, "7/8 in or 3/4 BSW, with --scale, --by diameter|looks|strength, --series"),
    "scale": (_scale, "1 1/16 in : 1 ft, 7 mm/ft, 5 in on 4 ft 8 1/2 in gauge, 16 mm scale"),
    "quantity": (_quantity, "30 mile/hour, 12 ton, 45 sq ft, with --scale"),
}


def look_up(kind: str, text: str, options: Options | None = None) -> dict[str, Any]:
    """The answer to one text of a kind: its keys, or ``error`` with the ``nearest`` known names.

    Parameters: kind : one of KINDS; text : what is looked for; options : see Options.
    Raises: KeyError for an unknown kind. A text that names nothing is an answer, not an exception.

    >>> look_up("length", "1 3/8 in")["full_mm_rational"]
    '1397/40'
    """
    reader = KINDS[kind][0]
    try:
        return reader(text, options or Options())
    except (LookupError, ValueError) as error:
        return _refusal(text, error)


def _refusal(text: str, error: Exception) -> dict[str, Any]:
    reason = getattr(error, "reason", "") or getattr(error, "problem", "") or str(error)
    return {
        "text": shorten(text),
        "error": reason,
        "expected": getattr(error, "expected", "") or None,
        "advice": getattr(error, "advice", "") or None,
        "nearest": list(getattr(error, "nearest", ())),
    }


def _source(key: str) -> str:
    """A source's key and its title, so that an answer can be traced without the tables."""
    row = _sources().get(key)
    if row is None or not key:
        return key
    title = row.text("title")
    return key if title.lower() in key.lower() or key == "common practice" else f"{key}: {title}"


def _sources() -> Mapping[str, catalogue.Row]:
    return {row.text("key"): row for row in catalogue.table("sources").rows}


def sources(marks: Sequence[str] = ("from memory",)) -> list[dict[str, Any]]:
    """Rows of all tables whose source is of one of these kinds (published, from memory …).

    Each with table, designation, source and place; the sources table itself says what was read.
    """
    kinds = {row.text("key"): row.text("kind") for row in catalogue.table("sources").rows}
    found = []
    for name in catalogue.names():
        table = catalogue.table(name)
        columns = [column for column in table.columns if column.endswith("source")]
        if name == "sources" or not columns:
            continue
        for row in table.rows:
            for column in columns:
                key = row.text(column)
                if kinds.get(key, "") in marks:
                    found.append(
                        {
                            "table": name,
                            "designation": row.text("designation"),
                            "column": column,
                            "source": key,
                            "place": row.text("place") if "place" in table.columns else "",
                        }
                    )
    return found


UNITS = (
    ("_mm2", " mm²"),
    ("_mm", " mm"),
    ("_um", " µm"),
    ("_inch", " in"),
    ("_deg", "°"),
    ("_percent", " %"),
)
"""How the name of a figure ends, and how it is written after the figure."""


def answer_lines(answer: Mapping[str, Any]) -> list[tuple[str, str]]:
    """An answer as names and values for a person: twins left out, lengths rounded for print."""
    lines = []
    for key, value in answer.items():
        if key.endswith("_rational") or key in ("text", "rows") or value in (None, "", []):
            continue
        name = key
        for ending, unit in UNITS:
            if key.endswith(ending) and not key.endswith("per_inch"):
                name = key.removesuffix(ending)
                exact = answer.get(f"{key}_rational")
                if ending in ("_um", "_mm2", "_percent") or exact is None:
                    value = f"{value:g}{unit}"
                else:
                    places = 4 if ending == "_inch" else 3
                    value = f"{format_mm(Fraction(exact), places)}{unit}"
                break
        if isinstance(value, float):
            value = f"{value:.6g}"
        if isinstance(value, list):
            value = "; ".join(str(item) for item in value)
        lines.append((name.replace("_", " "), str(value)))
    return lines
