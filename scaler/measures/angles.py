"""Angles as drawings write them: text to exact degrees."""

from __future__ import annotations

from fractions import Fraction

from scaler.measures.lengths import DEGREE_MARKS, FEET_MARKS, INCH_MARKS, LengthError
from scaler.measures.number_text import (
    check_size,
    holds,
    mixed,
    quoted,
    scan_number,
    skip_blanks,
    word_end,
)

__all__ = ["parse_angle"]

_ANGLE_UNITS: tuple[tuple[tuple[str, ...], tuple[str, ...]], ...] = (
    (tuple(DEGREE_MARKS), ("deg", "degs", "degree", "degrees")),
    (tuple(FEET_MARKS), ("min", "mins", "minute", "minutes")),
    ((*INCH_MARKS, *(m + m for m in FEET_MARKS)), ("sec", "secs", "second", "seconds")),
)


def parse_angle(text: str) -> Fraction:
    """The angle [degrees], exact: ``7.5°``, ``7° 30'``, ``7 deg 30 min``, ``7 1/2 degrees``.

    Raises LengthError for a number without a unit, tapers (``1:16``, ``1 in 16``), minutes or
    seconds of 60 and more, and anything above 360 degrees.

    >>> parse_angle("7° 30'")
    Fraction(15, 2)
    """
    check_size(text)
    total, per, at = Fraction(0), 1, skip_blanks(text, 0)
    last: Fraction | None = None
    example = "write for example 7.5° or 7° 30'"
    for marks, words in _ANGLE_UNITS:
        if at == len(text):
            break
        number = scan_number(text, at)
        end = _angle_unit(text, skip_blanks(text, number.end), marks, words)
        read = quoted(text[number.start : end])
        if end == number.end:
            problem = f"read {read} and no {words[0]}" + ": a taper?" * (
                ":" in text or "in" in text
            )
            raise LengthError(text, number.start, end, problem, "degrees first", example)
        if last is not None and (number.value >= 60 or last.denominator != 1):
            raise LengthError(
                text,
                number.start,
                end,
                f"read {read} after {mixed(last)}",
                "a whole number before, and minutes and seconds below 60",
                example,
            )
        total, last, per = total + number.value / per, number.value, per * 60
        at = skip_blanks(text, end)
    if at < len(text):
        problem = f"read {quoted(text[at:])} at the end"
        raise LengthError(text, at, len(text), problem, "nothing more", example)
    if total > 360:
        raise LengthError(
            text, 0, len(text), f"read {quoted(text)}", "360 degrees at most", example
        )
    return total


def _angle_unit(text: str, at: int, marks: tuple[str, ...], words: tuple[str, ...]) -> int:
    """Where the mark or word of an angle's unit at `at` ends; the number's end if there is none."""
    for mark in marks:
        if text.startswith(mark, at):
            return at + len(mark)
    end = word_end(text, at)
    if text[at:end].lower() in words:
        return end + holds(text, end, ".")
    return len(text[:at].rstrip())
