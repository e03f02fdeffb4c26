"""Scales, however stated, and two gauges."""

from __future__ import annotations

from collections.abc import Iterator

from readers import names_of, text_of
from scaler.lookup import KINDS, Options
from scaler.measures import scales

LONGEST = 120
INPUTS = 120_000
WORDS = (
    "1:8", " : ", "1 ft", "mm/ft", "in", "on", "gauge", "full size", "scale", "to the foot", "per",
    "1/12", "16 mm", "4 ft 8 1/2 in", "5 in", "=", "0", "1e999999", "1/0", "nan", "∶", "：", "½", "ft",
    "metre", "no. 1", "\0", "9" * 60,
)  # fmt: skip


def read(data: bytes) -> object:
    """A scale; and the two halves of the text as gauges of full size and model."""
    text = text_of(data)
    done: list[object] = []
    try:
        scale = scales.parse_scale(text)
    except scales.ScaleError as error:
        str(error)
    else:
        done += [scale, scale.handy(), scales.rescale(scale, scale)]
        done.append(KINDS["scale"][0](text, Options()))
    full, _, model = text.partition("|")
    try:
        done.append(scales.scale_from_gauges(full, model))
    except scales.ScaleError as error:
        str(error)
    return done


def seeds() -> Iterator[bytes]:
    """Scales of all forms and the named ones of the tables."""
    for text in (
        "1:8", "1/12", "1 1/2 in : 1 ft", "1 1/16 in : 1 ft", "7 mm/ft", "3.5 mm to the foot",
        "5 in on 4 ft 8 1/2 in gauge", "16 mm scale", "full size", "1 : 43.5", "4 ft 8 1/2 in|5 in",
        "half full size", "3 ft|45 mm", "1 in = 1 ft",
    ):  # fmt: skip
        yield text.encode()
    for text in names_of("named_scales", "track_gauges"):
        yield text.encode()
