"""Dimensions out of a DXF drawing: linear, radius and diameter, as rows of sizes.

The measured value is taken in the drawing's own unit (``$INSUNITS``) with the style's length factor.
Where the draughtsman wrote another text over the dimension, the text is what the drawing says: it is
the size, and the measured value stands in the note; where the two disagree that is a note to look
at. Needs the extra ``dxf`` (ezdxf).
"""

from __future__ import annotations

import logging
import math
import re
from dataclasses import dataclass
from fractions import Fraction
from importlib import import_module
from pathlib import Path
from typing import Any

from scaler.desk.table_cells import number_text
from scaler.desk.tables_in import SizeRow, SizesIn
from scaler.measures.lengths import INCH_MM, LengthError, parse_length
from scaler.problems import InputError, Place, Problem, shorten

# group code 70 of a DIMENSION entity, lowest bits (DXF reference, from memory)
_SORTS = {0: "linear", 1: "aligned", 3: "diameter", 4: "radius"}
# $INSUNITS (DXF reference, from memory)
_UNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}
_MM = {
    "in": INCH_MM,
    "ft": 12 * INCH_MM,
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
}

MAX_BYTES = 12 * 1024 * 1024
"""Bytes of a drawing; read, it takes some twenty times as much."""


@dataclass(frozen=True, slots=True)
class Dimension:
    """One dimension of a drawing: sort, value in the drawing's unit, text written over it, layer."""

    handle: str
    sort: str
    value: float
    text: str
    layer: str


def read_dxf(path: Path, part: str, unit: str | None = None) -> SizesIn:
    """The dimensions of a DXF drawing as sizes ``d1``, ``d2`` … of one part.

    Parameters: part : the part they belong to; unit : of the drawing, where it names none.
    Raises: InputError where the file or the unit cannot be read, or ezdxf is not installed.
    """
    dimensions, own_unit, left_out = _dimensions(path)
    chosen = unit or own_unit
    if chosen is None or chosen not in _MM:
        raise InputError(
            [
                Problem(
                    "no-unit",
                    f"{path.name}: the drawing does not say what unit it is in",
                    Place(path.name, 1),
                    expected=", ".join(_MM),
                    advice="give the unit",
                )
            ]
        )
    notes = list(left_out)
    rows = []
    for number, dimension in enumerate(dimensions, 1):
        place = Place(path.name, number)
        try:
            parse_length(f"{number_text(dimension.value)} {chosen}")
        except LengthError:
            notes.append(_left_out(path.name, dimension.handle, "of no length that could be made"))
            continue
        cells, note = _row(dimension, part, number, chosen, place)
        rows.append(SizeRow(cells, place, f"dimension {dimension.handle}"))
        if note is not None:
            notes.append(note)
    if not rows:
        notes.append(
            Problem(
                "empty",
                f"{path.name}: no linear, radius or diameter dimension is in the drawing",
                Place(path.name, 1),
                severity="warning",
                advice="dimensions that were broken up into lines and text cannot be read",
            )
        )
    return SizesIn(tuple(rows), tuple(notes))


def _dimensions(path: Path) -> tuple[list[Dimension], str | None, list[Problem]]:
    try:
        ezdxf = import_module("ezdxf")
    except ImportError:
        raise InputError(
            [
                Problem(
                    "no-reader",
                    f"{path.name}: DXF drawings need ezdxf",
                    Place(path.name, 1),
                    advice="install the extra 'dxf'",
                )
            ]
        ) from None
    logging.getLogger("ezdxf").addHandler(logging.NullHandler())  # what matters is said by us
    try:
        _not_too_large(path)
        document: Any = ezdxf.readfile(path)
        return _found(path.name, document)
    except InputError:
        raise
    except Exception as error:  # noqa: BLE001 - the library raises whatever a broken file leads to
        if isinstance(error, OSError) and error.errno is not None:
            raise InputError(
                [
                    Problem(
                        "unreadable",
                        f"{shorten(str(path))}: cannot be read ({error.strerror})",
                        advice="see that the file is there and may be read",
                    )
                ]
            ) from None
        raise InputError(
            [
                Problem(
                    "not-dxf",
                    f"{path.name}: cannot be read as a DXF drawing ({shorten(str(error))})",
                    Place(path.name, 1),
                    expected="a drawing saved as DXF",
                    advice="save it again as DXF",
                )
            ]
        ) from None


def _not_too_large(path: Path) -> None:
    with path.open("rb") as file:
        binary = b"Binary DXF" in file.read(22)
    most = MAX_BYTES // 2 if binary else MAX_BYTES
    if path.stat().st_size > most:
        raise InputError(
            [
                Problem(
                    "too-large",
                    f"{path.name}: larger than {most >> 20} MiB",
                    Place(path.name, 1),
                    expected="a drawing of a few sheets",
                    advice="save the sheet with the dimensions as a drawing of its own",
                )
            ]
        )


def _found(name: str, document: Any) -> tuple[list[Dimension], str | None, list[Problem]]:
    """The dimensions of a drawing's model space, its unit, and notes on those left out."""
    own_unit = _UNITS.get(int(document.header.get("$INSUNITS", 0)))
    found, left_out = [], []
    for entity in document.modelspace().query("DIMENSION"):
        sort = _SORTS.get(int(entity.dxf.dimtype) & 7)
        handle = str(entity.dxf.handle)
        value = _measured(entity) if sort else None
        if sort is None or value is None:
            left_out.append(_left_out(name, handle, "an angle or an ordinate"))
            continue
        found.append(Dimension(handle, sort, value, _text(entity), str(entity.dxf.layer)))
    return found, own_unit, left_out


def _left_out(name: str, handle: str, what: str) -> Problem:
    headline = f"dimension {shorten(handle)} is {what} and is left out"
    return Problem("left-out", headline, Place(name, 1), severity="warning")


def _measured(entity: Any) -> float | None:
    """The measured length times the style's factor."""
    try:
        value = float(entity.get_measurement())
        factor = float(entity.override().get("dimlfac", 1.0) or 1.0)
    except (TypeError, ValueError, AttributeError):
        return None
    value *= abs(factor)
    return value if math.isfinite(value) else None


def _text(entity: Any) -> str:
    """What is written over a dimension, '' where it shows its own measure."""
    raw = str(entity.dxf.get("text", "") or "")
    plain = import_module("ezdxf.tools.text").plain_mtext(raw) if raw.strip() else ""
    plain = re.sub(r"%%[cC]", "Ø", str(plain))
    plain = re.sub(r"%%[dD]", "°", plain)
    plain = " ".join(plain.split())
    return "" if plain == "<>" else plain


def _row(
    dimension: Dimension, part: str, number: int, unit: str, place: Place
) -> tuple[dict[str, str], Problem | None]:
    measured = f"{number_text(dimension.value)} {unit}"
    kind = {"radius": "radius", "diameter": "external"}.get(dimension.sort, "length")
    cells = {"part": part, "size": f"d{number}", "full": measured, "kind": kind}
    said = f"{dimension.sort} dimension {dimension.handle}, layer {dimension.layer}"
    note: Problem | None = None
    if dimension.sort == "diameter":
        note = _look(place, f"d{number} is a diameter: taken as outside; say internal for a hole")
    if dimension.text:
        written = dimension.text.replace("<>", number_text(dimension.value))
        size = _size_in(written, unit)
        said += f'; measures {measured}; text "{shorten(written, 60)}"'
        if size is not None:
            text, length = size
            cells["full"] = text
            off = abs(length - Fraction(number_text(dimension.value)) * _MM[unit])
            if off > max(length / 200, Fraction(1, 50)):
                note = _look(
                    place, f"d{number}: the text says {text}, the line measures {measured}"
                )
        else:
            note = _look(place, f"d{number}: the text '{shorten(written, 40)}' gives no size; "
                         f"the measure {measured} is taken")  # fmt: skip
    cells["note"] = said
    return cells, note


def _look(place: Place, headline: str) -> Problem:
    return Problem("look", headline, place, severity="warning")


def _size_in(text: str, unit: str) -> tuple[str, Fraction] | None:
    """The size that a dimension's text says, without its R, Ø or count, and its length [mm]."""
    bare = re.sub(r"^\s*\d+\s*[xX×]\s*", "", text)
    bare = re.sub(r"^\s*(?:R|Ø|ø|⌀|DIA\.?)\s*", "", bare, flags=re.IGNORECASE)
    bare = re.sub(r"\s*(?:DIA|RAD|REF|TYP)\.?\s*$", "", bare, flags=re.IGNORECASE).strip()
    for given in (None, unit):
        try:
            length = parse_length(bare, given)
        except LengthError:
            continue
        return (bare if given is None else f"{bare} {given}"), length.mm
    return None
