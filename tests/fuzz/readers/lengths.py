"""Lengths and angles as drawings write them, and how they are written back."""

from __future__ import annotations

from collections.abc import Iterator

from readers import names_of, text_of
from scaler.measures import angles, lengths

LONGEST = 120
INPUTS = 200_000
WORDS = (
    "mm", "cm", "m", "in", "ft", "thou", "inch", "'", '"', "½", "⅜", "⁄", "/", "-", " ", "1 3/8",
    "SWG", "BWG", "AWG", "No.", "drill", "letter", "1e999999", "0/0", "1/0", "nan", "inf", "NaN",
    "Infinity", "٣", "１２", "″", "′", "°", "deg", "min", ",", ".", "+", "−", "1_000", "\0", "\ufeff",
    "0x10", "1979-05-27", "9" * 60,
)  # fmt: skip


def read(data: bytes) -> object:
    """A length with and without a unit for bare numbers, an angle, and all that prints them."""
    text = text_of(data)
    done: list[object] = []
    for unit in (None, "in", "mm"):
        try:
            length = lengths.parse_length(text, unit)
        except lengths.LengthError as error:
            str(error)
            continue
        again = lengths.parse_length(length.normal)
        assert again.mm == length.mm, f"{length.normal!r} reads as another length"
        done += [lengths.format_mm(length.mm), lengths.format_inch(length.mm)]
        done += [lengths.format_feet_inches(length.mm), lengths.format_exact(length.mm)]
        done.append(lengths.nearest_fraction(length.mm).text)
        float(length.mm)
    try:
        done.append(angles.parse_angle(text))
    except lengths.LengthError as error:
        str(error)
    return done


def seeds() -> Iterator[bytes]:
    """Lengths of all forms, gauges and drills of the tables."""
    for text in (
        "4ft 8 1/2in", "4' 8½\"", '8½"', "5/8", "12.7 mm", "1.5 thou", "16 SWG", "No. 30 drill",
        "1 3/8 in", "1-3/8 in", "2 ft 6 in", "letter F drill", "30 deg", "30° 15'", "0.5°", "1e3 mm",
        "1,5 mm", "1/64 in", "3 m", "7 1⁄2 in", "½ in", "-1 mm",
    ):  # fmt: skip
        yield text.encode()
    for text in names_of("gauge_swg", "drills_number", "drills_letter"):
        yield text.encode()
