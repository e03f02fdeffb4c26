"""Quantities other than lengths, reduced by their laws."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from readers import text_of
from scaler.measures.quantities import QuantityError, scale_quantity

LONGEST = 120
INPUTS = 100_000
WORDS = (
    "mile", "/", "h", "hour", "lb", "ton", "cwt", "sq in", "sq ft", "cu ft", "gallon", "kg", "m^2",
    "^", "^-", "²", "³", "per", "N", "kN", "bar", "psi", "rpm", "Hz", "s", "min", "lbf", "ft", "in", "·", "*",
    "W", "hp", "1e999999", "1/0", "nan", "℃", "deg", " ", "\0", "9" * 60, "kg/m3", "m/s", "mm4",
)  # fmt: skip


def read(data: bytes) -> object:
    """A quantity at 1:8 and 3:40 with no law, and with each law that the text may name after a |."""
    text, _, more = text_of(data).partition("|")
    law, _, into = more.partition("|")
    done: list[object] = []
    for ratio in (Fraction(1, 8), Fraction(3, 40)):
        try:
            found = scale_quantity(text, ratio, law=law.strip() or None, into=into.strip() or None)
        except QuantityError as error:
            str(error)
            continue
        float(found.full_value)
        done += [found.read_as, float((found.scaled_lower + found.scaled_upper) / 2)]
    return done


def seeds() -> Iterator[bytes]:
    """Quantities of all dimensions that have a law."""
    for text in (
        "30 mile/hour", "12 ton", "45 sq ft", "36 tons 4 cwt", "1 3/8 in", "60 mile/h", "3 gallon",
        "180 lb/sq in|same pressure", "180 psi", "7.5 kg/m3", "25 hp", "100 rpm", "200 N", "2 m^4",
        "12 ft lbf", "1000 cu in", "5 kN/m2|equal strain", "10 s", "98.1 m/s2", "4 bar||psi",
    ):  # fmt: skip
        yield text.encode()
