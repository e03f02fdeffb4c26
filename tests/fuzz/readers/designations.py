"""What the trade calls things by: threads, fits, drills, gauges, stock, bolts; and ``lookup``.

The first word of an input says which look-up it goes to.
"""

from __future__ import annotations

from collections.abc import Iterator

from readers import names_of, text_of
from scaler.lookup import KINDS, Options

LONGEST = 140
INPUTS = 200_000
WORDS = (
    "thread ", "fit ", "drill ", "gauge ", "stock ", "near ", "bolt ", "BA", "ME", "BSW", "BSF", "BSP",
    "UNC", "UNF", "UNEF", "M3", "x", "×", "0.5", "H7/g6", "H7", "js6", "25 ", "close run ", "No. ", "letter ",
    "13/32", "SWG", "AWG", "BWG", "round bar", "steel", "brass", "flat", "square", "hexagon", "tube",
    "sheet", "angle", "wire", "strip", "mm", "in", ",", " x ", "tpi", "taper", "G 1/8", "Rc", "LH", "-40",
    "1/0", "1e999999", "nan", "٣", "Ⅿ3", "М3", "\0", "9" * 50, "pitch", "fine", "coarse", "Whitworth",
)  # fmt: skip
OPTIONS = Options(scale="1:8")


def read(data: bytes) -> object:
    """The answer to a look-up; a KeyError, say, that the public function would show is a fault."""
    kind, _, text = text_of(data).partition(" ")
    if kind not in KINDS:
        kind = "thread"
    return KINDS[kind][0](text, OPTIONS)


def seeds() -> Iterator[bytes]:
    """Designations of the tables of each sort, and forms of the trade."""
    for kind, tables in (
        ("thread", ("threads_ba", "threads_me", "threads_bsw", "threads_bsp", "threads_metric_coarse",
                    "threads_metric_fine", "threads_unc")),
        ("drill", ("drills_number", "drills_letter", "drills_inch")),
        ("gauge", ("gauge_swg", "gauge_awg", "gauge_birmingham")),
        ("bolt", ("threads_bsf",)),
    ):  # fmt: skip
        for text in names_of(*tables):
            yield f"{kind} {text}".encode()
    for text in (
        "fit 25 H7/g6", "fit 16 mm close run", "fit close run 5/8 in", "fit 25 H7", "fit g6", "near 10 mm",
        "thread 1/4-40 ME", "thread M3x0.5", "thread No. 6 UNC", "thread G 1/8", "drill No. 30",
        "drill 10.2 mm", "stock round bar, steel, 12.7 mm", "stock flat brass 10 x 3",
        "stock tube copper 1/4 in 22 swg", "bolt 7/8 in", "bolt 3/4 BSW", "length 12.7 mm",
        "quantity 12 ton", "scale 1:8",
    ):  # fmt: skip
        yield text.encode()
