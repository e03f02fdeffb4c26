"""What a part is cut from, by the names and kinds of its sizes: the ordinary forms.

Forms: turned parts and bushes out of round bar; blocks out of flat, square or plate; rods with two
eyes out of flat; tube, hexagon and wire where a size is used as supplied. A part that fits none of them
has no form, and no stock is named for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.records import Kind, Part

if TYPE_CHECKING:
    from scaler.cards.stock import Allowances
    from scaler.settling.reduce import SizeLine

Measures = tuple[tuple[str, Fraction], ...]


@dataclass(frozen=True, slots=True)
class Needs:
    """What a blank must measure at least [mm], which measures are as supplied, and its length."""

    form: str
    wanted: Measures
    fixed: dict[str, SizeLine]
    length: Fraction | None
    notes: tuple[str, ...]
    outline: tuple[Fraction, Fraction] | None = None


def needs_of(part: Part, lines: Sequence[SizeLine], allow: Allowances) -> Needs | None:
    """The blank that a part needs; None for one that has nothing but a thread (a stud, a screw)."""
    from scaler.cards.features import coil_of
    from scaler.cards.stock import form_of_row, is_round, value_mm

    rounds = [line for line in lines if is_round(line)]
    threads = [line for line in rounds if line.size.kind is Kind.THREAD]
    if threads and len(threads) == len(lines):
        return None
    if len(threads) == len(rounds):
        rounds = []  # a thread on an arm or a block does not make it a turned part
    if not part.material and not rounds and not any(form_of_row(line) for line in lines):
        return None  # put together from other parts, or not a part to saw
    length, notes = _length(lines)
    as_supplied = {line: form_of_row(line) for line in lines if form_of_row(line)}
    coil = coil_of(lines)
    if coil is not None:
        measures = (("diameter", value_mm(coil[0])),)
        return Needs("wire", measures, {"diameter": coil[0]}, None, (_COILED,))
    tube = [line for line, form in as_supplied.items() if form == "tube"]
    if tube:
        outside = [line for line in tube if line.settled and line.settled.method == "tube outside"]
        if outside:
            fixed = {"outside": outside[0]}
            return Needs("tube", (("outside", value_mm(outside[0])),), fixed, length, notes)
    angle = [line for line, form in as_supplied.items() if form == "angle"]
    if angle:
        return Needs("angle", _of_the_row(angle), {_ANGLE[0]: angle[0]}, length, notes)
    flats = [line for line, form in as_supplied.items() if form in ("flat", "plate", "strip")]
    bars = [line for line, form in as_supplied.items() if form in ("square", "hexagon")]
    if bars and not flats and not any(value_mm(r) > value_mm(bars[0]) for r in rounds):
        form = as_supplied[bars[0]]
        size = value_mm(bars[0])
        return Needs(form, (("across_flats", size),), {"across_flats": bars[0]}, length, notes)
    if rounds and not flats:
        if length is None:
            length, notes = _along_the_axis(lines) or (length, notes)
        return _turned(rounds, as_supplied, lines, length, notes, allow)
    return _block(part, flats, as_supplied, lines, length, notes, allow)


_COILED = "coiled: its turns and its ends from the drawing make the length"
_ANGLE = ("leg_a", "leg_b", "thickness")


def _of_the_row(lines: Sequence[SizeLine]) -> Measures:
    """The measures of an angle used as supplied: all of its row, though the part has one of them."""
    from scaler import catalogue
    from scaler.cards.stock import value_mm
    from scaler.settling.rows import method_row

    known: dict[str, Fraction] = {}
    for line in lines:
        assert line.settled is not None and line.settled.row is not None
        method, row = method_row(line.settled.method), line.settled.row
        if method is not None:
            known.setdefault(method.column, value_mm(line))
        found = catalogue.table(row.table).find(row.designation) if row.table != "shop" else None
        for name in _ANGLE:
            value = found.mm(name) if found is not None else None
            if value is not None:
                known.setdefault(name, value)
    return tuple((name, known[name]) for name in _ANGLE if name in known)


def _turned(
    rounds: Sequence[SizeLine],
    as_supplied: dict[SizeLine, str],
    lines: Sequence[SizeLine],
    length: Fraction | None,
    notes: tuple[str, ...],
    allow: Allowances,
) -> Needs:
    from scaler.cards.stock import value_mm

    largest = max(rounds, key=value_mm)
    size = value_mm(largest)
    for line in lines:  # a wheel's flange stands above its tread
        words = set(line.size.name.split("_"))
        if "flange" in words and words & {"depth", "height"} and "tread" in largest.size.name:
            size += 2 * value_mm(line)
            notes = (*notes, "the flange stands above the tread and is allowed for")
        if "throw" in words and value_mm(line) > size / 2:  # a crank, not an eccentric
            notes = (*notes, "its throw reaches outside such a bar: built up, or from the solid")
    if largest in as_supplied and size == value_mm(largest):
        return Needs("round", (("diameter", size),), {"diameter": largest}, length, notes)
    if any(method.name in ("ground bar", "round bar") for method in largest.size.rule):
        notes = (*notes, "turned down from a bar that runs true: hold it in a collet")
        return Needs("round", (("diameter", size + allow.true_bar),), {}, length, notes)
    return Needs("round", (("diameter", size + allow.turned),), {}, length, notes)


def _along_the_axis(
    lines: Sequence[SizeLine],
) -> tuple[Fraction, tuple[str, ...]] | None:
    """The length of a disc or a ring: what the drawing calls its thickness or width over all."""
    from scaler.cards.stock import value_mm

    for line in lines:
        if line.size.name in ("thickness", "overall_thickness", "overall_width"):
            return value_mm(line), ()
    return None


def _block(
    part: Part,
    flats: Sequence[SizeLine],
    as_supplied: dict[SizeLine, str],
    lines: Sequence[SizeLine],
    length: Fraction | None,
    notes: tuple[str, ...],
    allow: Allowances,
) -> Needs | None:
    from scaler.cards.features import eye_mm, rod_centres
    from scaler.cards.stock import value_mm

    fixed: dict[str, SizeLine] = {}
    for line in flats:
        name = "width" if line.settled and line.settled.method == "flat width" else "thickness"
        fixed.setdefault(name, line)
    form = as_supplied[flats[0]] if flats else "flat"
    across = _across(lines, fixed, length)
    if form == "plate":
        return _plate(value_mm(fixed["thickness"]), fixed, across, length, notes, allow)
    wanted = {name: value_mm(line) for name, line in fixed.items()}
    if rod_centres(lines):
        across = _ends(lines, fixed)
        eye = eye_mm(lines)
        if "width" in fixed:
            notes = (*notes, _eyes_and_bar(eye, fixed["width"]))
        elif eye is not None:
            wanted["width"] = eye + 2 * allow.face
    machined = [value_mm(line) + 2 * allow.face for line in across]
    for name in ("thickness", "width"):
        if name not in wanted and machined:
            wanted[name] = machined.pop(0) if name == "thickness" else machined.pop()
    if not wanted or (not fixed and len(wanted) < 2):
        return Needs("", (), {}, length, (_TOO_LITTLE,))
    if len(wanted) < 2:
        name = "thickness" if "width" in wanted else "width"
        notes = (*notes, f"the {name} of the bar is not in the model")
    ordered = tuple((n, wanted[n]) for n in ("thickness", "width") if n in wanted)
    if len(ordered) == 2 and "width" not in fixed and ordered[1][1] < ordered[0][1]:
        ordered = (("thickness", ordered[1][1]), ("width", ordered[0][1]))
    return Needs(form, ordered, fixed, length, notes)


def _eyes_and_bar(eye: Fraction | None, width: SizeLine) -> str:
    """Whether the eyes of a rod come out of a bar whose width is used as supplied, in words."""
    from scaler.cards.stock import plain_mm, value_mm

    if eye is None:
        return "see that the eyes come out of the width of the bar"
    if eye <= value_mm(width):
        return "the eyes come out of the width of the bar"
    return f"the eyes, {plain_mm(eye)} mm across, do not come out of a bar so narrow"


def _ends(lines: Sequence[SizeLine], fixed: dict[str, SizeLine]) -> list[SizeLine]:
    """The greatest thickness of a rod, where its bar's is not fixed: at one of its ends."""
    from scaler.cards.stock import value_mm

    if "thickness" in fixed:
        return []
    named = [
        line
        for line in lines
        if line.size.kind in (Kind.EXTERNAL, Kind.LENGTH) and line.size.name.endswith("thickness")
    ]
    return [max(named, key=value_mm)] if named else []


_TOO_LITTLE = "from the drawing: the model has too few outside sizes to name it"


def _across(
    lines: Sequence[SizeLine], fixed: dict[str, SizeLine], length: Fraction | None
) -> list[SizeLine]:
    """Outside sizes across the bar, smallest first: widths, thicknesses, heights over all."""
    from scaler.cards.stock import ACROSS_WORDS, value_mm

    found = []
    for line in lines:
        words = set(line.size.name.split("_"))
        if line in fixed.values() or line.size.kind not in (Kind.EXTERNAL, Kind.LENGTH):
            continue
        if not words & ACROSS_WORDS or words & {"flange", "boss", "tyre", "big", "small", "rim"}:
            continue
        if (
            length is not None
            and value_mm(line) == length
            and line.size.name in ("height", "width")
        ):
            continue
        found.append(line)
    return sorted(found, key=value_mm)


def _plate(
    thickness: Fraction,
    fixed: dict[str, SizeLine],
    across: Sequence[SizeLine],
    length: Fraction | None,
    notes: tuple[str, ...],
    allow: Allowances,
) -> Needs:
    """A rectangle out of a sheet, where both its sides are in the model."""
    from scaler.cards.stock import NO_LENGTH, value_mm

    wanted = (("thickness", thickness),)
    if not across or length is None:
        notes = tuple(note for note in notes if note != NO_LENGTH)
        return Needs("plate", wanted, fixed, None, (*notes, "outline from the drawing"))
    sides = (length + 2 * allow.end, value_mm(across[-1]) + 2 * allow.face)
    return Needs("plate", wanted, fixed, length, notes, (max(sides), min(sides)))


def _length(lines: Sequence[SizeLine]) -> tuple[Fraction | None, tuple[str, ...]]:
    """The finished length over all, where the sizes give one, and what is to be said of it."""
    from scaler.cards.features import eye_mm, rod_centres
    from scaler.cards.stock import LENGTH_NAMES, NO_LENGTH, value_mm

    by_name = {line.size.name: line for line in lines if line.size.kind.is_length}
    for name in LENGTH_NAMES[:4]:
        line = by_name.get(name)
        if line is not None and line.size.kind in (Kind.LENGTH, Kind.EXTERNAL):
            return value_mm(line), ()
    for centres in rod_centres(lines):
        eye = eye_mm(lines)
        if eye is not None:
            return value_mm(centres) + eye, ("centres and half an eye at each end",)
        return None, ("length: the centres, and at each end half of the eye's outside",)
    height = by_name.get("height")
    if height is not None and height.size.kind in (Kind.LENGTH, Kind.EXTERNAL):
        return value_mm(height), ()
    return None, (NO_LENGTH,)
