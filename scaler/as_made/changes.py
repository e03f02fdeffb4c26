"""A size drawn or chosen otherwise, for trying it out on the bench: nothing is recorded."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from scaler.as_made.input import known
from scaler.measures.lengths import LengthError, format_exact, parse_length
from scaler.problems import InputError, Problem, shorten
from scaler.reading.grammar import GrammarError, value_reader
from scaler.records import Choice, Model, Size

Figure = str | int | float | Fraction
"""A size given by a script: text, or a number [mm; degrees of an angle]."""


def exact(size: Size, value: float | Fraction) -> Fraction:
    """A number as a fraction; one with a decimal point counts as what it prints as.

    Raises: InputError for what is no finite number.
    """
    try:
        return value if isinstance(value, Fraction) else Fraction(str(value))
    except ValueError:
        raise _no(size, "read what is no number", str(value), "a number or text") from None


def as_text(size: Size, value: Figure) -> str:
    """A figure as the text of a reading."""
    if isinstance(value, str):
        return value
    text = format_exact(exact(size, value))
    return f"{text} mm" if size.kind.is_length else text


def drawn(model: Model, name: str, full: Figure) -> Size:
    """A size with another full size.

    Parameters: full : as a drawing has it, in the unit and at the scale of the size's sheet, or the
        prototype's size as a number [mm; degrees of an angle].
    Raises: InputError for an unknown size, one that is not drawn, and a figure that cannot be read.
    """
    size, _ = known(model, name, "")
    if size.full is None:
        raise _no(
            size, "is not drawn: it has no full size to change", "", "a size with a full size"
        )
    if not isinstance(full, str):
        value = exact(size, full)
        text, said = format_exact(value), as_text(size, value)
    elif size.kind.is_length:
        sheet = model.drawings.get(size.drawing or "")
        try:
            length = parse_length(full, sheet.unit if sheet is not None else None)
        except LengthError as error:
            raise _no(size, error.problem, full, error.expected, error.advice) from None
        scale = sheet.scale.ratio if sheet is not None and sheet.scale is not None else 1
        value, text, said = length.mm / scale, full, length.normal
    else:
        value, text, said = _read(size, full), full, full
    if value <= 0:
        raise _no(size, "a size of nothing or less", text, "a size above zero")
    return replace(size, full=value, drawn=text, drawn_as=said)


def chosen(model: Model, name: str, value: Figure) -> Choice:
    """A choice of a size's model value, by whichever method of its rule can make it.

    Parameters: value : text with its unit, or a number [mm; degrees of an angle].
    Raises: InputError for an unknown size and a value that cannot be read.
    """
    size, _ = known(model, name, "")
    found = _read(size, value) if isinstance(value, str) else exact(size, value)
    return Choice(size.id, found, "", "", "", "", size.place)


def _read(size: Size, text: str) -> Fraction:
    try:
        return value_reader(size.kind)(text)
    except (GrammarError, LengthError) as error:
        raise _no(size, error.problem, text, error.expected, error.advice) from None


def _no(size: Size, problem: str, read: str, expected: str, advice: str = "") -> InputError:
    headline = f"{size.id}: {shorten(problem, 120)}"
    return InputError([Problem("cannot-change", headline, size.place, read, expected, advice)])
