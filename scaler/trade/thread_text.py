"""Reading a thread as people write it: ``2BA``, ``M3 × 0,5``, ``1/4" BSF``, ``G 1/8``, ``#4-40``.

Reads text only and knows no table: it says which series the words name, which size, and which
pitch. Every character must be accounted for; whatever cannot be read is a reason, never dropped.
Time is linear in the length of the text.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction

LONGEST = 80
"""Characters a thread's name may have; longer text is refused."""

_WORDS: dict[str, tuple[str, ...]] = {
    "ba": ("BA",),
    "bsw": ("BSW",),
    "whit": ("BSW",),
    "whitworth": ("BSW",),
    "bsf": ("BSF",),
    "me": ("ME",),
    "brass": ("brass",),
    "bsb": ("brass",),
    "bsp": ("BSP",),
    "bspp": ("BSP",),
    "g": ("BSP",),
    "cycle": ("cycle",),
    "bsc": ("cycle",),
    "cei": ("cycle",),
    "unc": ("UNC",),
    "nc": ("UNC",),
    "unf": ("UNF",),
    "nf": ("UNF",),
    "unef": ("UNEF",),
    "nef": ("UNEF",),
    "un": ("UNC", "UNF", "UNEF"),
    "unified": ("UNC", "UNF", "UNEF"),
    "m": ("metric coarse", "metric fine"),
    "metric": ("metric coarse", "metric fine"),
    "mf": ("metric fine",),
    "coarse": ("metric coarse", "UNC"),
    "fine": ("metric fine", "UNF"),
}
_TAPER = {"r", "rc", "rp", "bspt", "taper"}
_IGNORED = {"thread", "threads", "threaded", "screw", "bolt", "nut", "tap", "die", "iso", "form"}
_INCH = {"in", "ins", "inch", "inches"}
_NUMBER = {"no", "nr", "num", "number", "size"}
_PHRASES = (
    ("british association", "ba"),
    ("british standard fine", "bsf"),
    ("british standard pipe", "bsp"),
    ("british standard", " "),
    ("model engineers", "me"),
    ("model engineer", "me"),
    ("threads per inch", "tpi"),
    ("b. a.", "ba"),
    ("m. e.", "me"),
    ("26 tpi brass", "x 26 brass"),
)
_SAME = str.maketrans(
    {
        "×": " x ",
        "✕": " x ",
        "*": " x ",
        "”": '"',
        "“": '"',
        "″": '"',
        "–": "-",
        "—": "-",
        "‐": "-",
        "‑": "-",
        "−": "-",
        "⁄": "/",
        "№": " no ",
    }
)
_TOKEN = re.compile(
    r"(?P<number>[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
    r"|(?P<word>[a-z]+(?:\.[a-z]+)*\.?)"
    r"|(?P<sign>[/\"#-])"
    r"|(?P<space>[\s.]+)"
    r"|(?P<other>.)",
    re.DOTALL,
)
_METRIC_CLASS = re.compile(r"[\s-][3-9][efgh](?:[3-9][efgh])?$")
_UNIFIED_CLASS = re.compile(r"(?<=[a-z0-9])[\s-]+[123][ab]$")
_PIPE_CLASS = re.compile(r"(?<=[0-9])[\s-]*[ab]$")


class Unread(ValueError):
    """The text is no thread's name; the message is the reason."""


@dataclass(frozen=True, slots=True)
class Number:
    """One number read: its value, the mark beside it ('', 'mm', 'in', 'tpi', 'no')."""

    value: Fraction
    mark: str
    whole: bool


@dataclass(frozen=True, slots=True)
class Asked:
    """What a text asks for.

    Attributes
    ----------
    series : tuple of str
        Series that the words allow; empty where none is named.
    size : Number
        The first number: a diameter or a size number.
    pitch : Number or None
        The second: threads per inch, or a pitch in mm.
    joiner : str
        What stands between the two: 'x', '-' or ''.
    taper : bool
        A taper pipe thread (R, Rc, BSPT) or its parallel partner Rp was asked for.
    """

    series: tuple[str, ...]
    size: Number
    pitch: Number | None
    joiner: str
    taper: bool


def plain(text: str) -> str:
    """The text in one common spelling: small letters, plain signs, fractions spelt out.

    >>> plain('1½" BSW')
    '1 1/2" bsw'
    """
    parts = []
    for letter in text.translate(_SAME):
        spelt = unicodedata.normalize("NFKC", letter)
        if letter != spelt and "⁄" in spelt:
            spelt = " " + spelt.replace("⁄", "/") + " "
        elif not letter.isascii() and unicodedata.category(letter)[0] == "N":
            spelt = letter
        parts.append(spelt)
    spelt_out = "".join(parts).casefold().replace("''", '"')
    for phrase, short in _PHRASES:
        spelt_out = spelt_out.replace(phrase, short)
    return " ".join(spelt_out.split()).replace(' "', '"')


def _tokens(text: str) -> list[tuple[str, str]]:
    found: list[tuple[str, str]] = []
    for match in _TOKEN.finditer(text):
        kind, piece = str(match.lastgroup), match.group()
        if kind == "other":
            raise Unread(f"{piece!r} is no part of a thread's name")
        if kind == "word":
            piece = piece.replace(".", "")
            if len(piece) > 2 and piece.endswith("x") and piece[:-1] in (*_INCH, "mm"):
                found += [("word", piece[:-1]), ("word", "x")]
                continue
        found.append((kind, piece))
    return found


def _whole(tokens: list[tuple[str, str]], at: int) -> bool:
    return 0 <= at < len(tokens) and tokens[at][0] == "number" and tokens[at][1].isdecimal()


def _fractions(tokens: list[tuple[str, str]]) -> list[tuple[str, str]]:
    """Joins ``3 / 8`` and ``1 1/4`` (also ``1-1/4`` and ``1.1/4``) into one number token."""
    joined: list[tuple[str, str]] = []
    at = 0
    while at < len(tokens):
        kind, piece = tokens[at]
        over = tokens[at + 1 : at + 2] == [("sign", "/")] and _whole(tokens, at + 2)
        if kind != "number" or not over:
            joined.append((kind, piece))
            at += 1
            continue
        units, top, below = "", piece, tokens[at + 2][1]
        if "." in top:
            units, top = top.split(".")
        elif (
            len(joined) >= 2
            and joined[-1] in (("space", " "), ("sign", "-"))
            and _whole(joined, len(joined) - 2)
            and int(top) < int(below)
        ):
            units = joined[-2][1]
            del joined[-2:]
        if "," in top or not top or int(below) == 0:
            raise Unread(f"{piece}/{below} is no fraction")
        joined.append(("number", f"{units or 0} {top}/{below}"))
        at += 3
    return joined


def _value(piece: str) -> Fraction:
    if "/" in piece:
        units, fraction = piece.split()
        return Fraction(units or 0) + Fraction(fraction)
    return Fraction(piece.replace(",", "."))


def read_thread(text: str) -> Asked:
    """What thread a text asks for. Raises Unread, with the reason, for anything else.

    >>> asked = read_thread("1/4 in ME 40")
    >>> asked.series, asked.size.value, asked.pitch.value
    (('ME',), Fraction(1, 4), Fraction(40, 1))
    """
    if len(text) > LONGEST:
        raise Unread(f"{len(text)} characters; a thread's name has at most {LONGEST}")
    spelt = plain(text)
    if spelt.startswith("m") and not spelt.startswith("me"):
        spelt = _METRIC_CLASS.sub("", spelt)
    elif spelt.startswith("g"):
        spelt = _PIPE_CLASS.sub("", spelt)
    else:
        spelt = _UNIFIED_CLASS.sub("", spelt)
    tokens = _fractions(_tokens(spelt))
    series: tuple[str, ...] = ()
    numbers: list[Number] = []
    joiner, mark, signs, taper = "", "", "", False
    for at, (kind, piece) in enumerate(tokens):
        if kind == "number":
            if len(piece) > 12:
                raise Unread(f"{piece} is longer than any size")
            if len(piece) > 1 and piece[0] == "0" and piece.isdecimal():
                raise Unread(f"no size {piece} is known")
            numbers.append(Number(_value(piece), mark, piece.isdecimal()))
            if len(numbers) == 2:
                joiner = signs[-1:]
            mark, signs = "", ""
        elif kind == "sign":
            mark, signs = _sign(piece, numbers, mark, signs)
        elif kind == "word":
            if piece in ("x", "by"):
                signs += "x"
            elif piece in _NUMBER:
                mark = "no"
            elif piece in _INCH or piece in ("mm", "tpi"):
                _mark_last(numbers, "in" if piece in _INCH else piece)
            elif piece in _TAPER:
                series, taper = _narrowed(series, ("BSP",), piece), True
            elif piece in _WORDS:
                series = _narrowed(series, _WORDS[piece], piece)
                if piece == "m" and _whole_or_decimal(tokens, at + 1):
                    mark = "mm"
            elif piece not in _IGNORED:
                raise Unread(f'"{piece}" names no series known here')
    if mark or signs.strip("-"):
        raise Unread("it stops before a number")
    return _asked(series, numbers, joiner, taper)


def _whole_or_decimal(tokens: list[tuple[str, str]], at: int) -> bool:
    while at < len(tokens) and tokens[at][0] == "space":
        at += 1
    return at < len(tokens) and tokens[at][0] == "number"


def _sign(piece: str, numbers: list[Number], mark: str, signs: str) -> tuple[str, str]:
    if piece == "#":
        return "no", signs
    if piece == '"':
        _mark_last(numbers, "in")
        return mark, signs
    if piece == "/":
        raise Unread('"/" stands where no fraction can be read')
    return mark, signs + piece


def _mark_last(numbers: list[Number], mark: str) -> None:
    if not numbers:
        raise Unread(f'"{mark}" stands before any number')
    last = numbers[-1]
    if last.mark not in ("", mark):
        raise Unread(f'a number is marked both "{last.mark}" and "{mark}"')
    numbers[-1] = Number(last.value, mark, last.whole)


def _narrowed(named: tuple[str, ...], more: tuple[str, ...], word: str) -> tuple[str, ...]:
    both = tuple(name for name in named if name in more) if named else more
    if not both:
        raise Unread(f'"{word}" and the word before it name different series')
    return both


def _asked(series: tuple[str, ...], numbers: list[Number], joiner: str, taper: bool) -> Asked:
    if not numbers:
        raise Unread("no size can be read")
    if len(numbers) > 2:
        raise Unread(
            "more numbers than a size and a pitch; leave out the length of the screw, if that is one"
        )
    size, pitch = numbers[0], numbers[1] if len(numbers) == 2 else None
    if size.mark == "tpi" and pitch is not None and pitch.mark != "tpi":
        size, pitch = pitch, size
    if size.mark == "tpi":
        raise Unread("threads per inch without a diameter")
    if pitch is not None and pitch.mark in ("in", "no"):
        raise Unread("the second number must be a pitch in mm or threads per inch")
    if (size.value == 0 and not size.whole) or (pitch is not None and pitch.value == 0):
        raise Unread("sizes and pitches exceed 0")
    if size.mark == "in" and series and all(name.startswith("metric") for name in series):
        raise Unread("a metric size cannot be in inches")
    return Asked(series, size, pitch, joiner, taper)
