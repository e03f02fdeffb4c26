"""The short phrases of a model file: limits, fits, bases, methods, tapers, values of each kind."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from readers import example, text_of
from scaler.expressions.nodes import ExpressionError
from scaler.measures.lengths import LengthError
from scaler.problems import Place
from scaler.reading import grammar
from scaler.records import Kind

LONGEST = 160
INPUTS = 100_000
WORDS = (
    "last cut", "both limits", "basic size", "close running", "H7", "h6", "H7/g6", "±", "+/-", "+", "-",
    "to", "0.02 mm", "step 0.1 mm", "turned", "reamed", "bored", "ground bar", "drilled", "from", "table",
    "mm", "in", "1 in", "clearance", "interference", "press", "slide", "in 12", "1:20", "deg", "1/0",
    "1e999999", "nan", "within", "at most", "at least", ",", ";", "a.x", "\0", "9" * 50, "max", "min",
)  # fmt: skip
READERS: tuple[Callable[[str], object], ...] = (
    grammar.parse_limits,
    lambda text: grammar.parse_window(text),
    grammar.parse_fit,
    grammar.parse_basis,
    grammar.find_method,
    lambda text: grammar.parse_method(text, Place("fuzz", 1)),
    grammar.taper,
    grammar.plain_number,
    grammar.whole_number,
    grammar.signed_angle,
    *(grammar.value_reader(kind, signed=signed) for kind in Kind for signed in (False, True)),
    *(grammar.width_reader(kind) for kind in Kind),
)


def read(data: bytes) -> object:
    """The text as each of the phrases."""
    text = text_of(data)
    done = []
    for reader in READERS:
        try:
            done.append(reader(text))
        except (grammar.GrammarError, LengthError, ExpressionError) as error:
            str(error)
    return done


def seeds() -> Iterator[bytes]:
    """Phrases of all forms, and every quoted text of the shipped models."""
    for text in (
        "+0.02 -0 mm", "± 0.05 mm", "h6", "H7/g6", "0.02 to 0.05 mm", "close running", "last cut a.x",
        "turned step 0.1 mm", "reamed", "1 in 12", "1:20", "3 deg", "24", "clearance 0.02 mm to 0.05 mm",
        "both limits", "ground bar", "0.1 mm", "-0.05/-0.10 mm", "at least 0.1 mm", "12.7 mm", "5/8 in",
    ):  # fmt: skip
        yield text.encode()
    for data in (*example("pattern_d").values(), *example("starter").values()):
        for piece in data.decode().split('"')[1::2]:
            if len(piece) < 60:
                yield piece.encode()
