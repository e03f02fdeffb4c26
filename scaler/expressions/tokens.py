"""Cutting the text of an expression into tokens, and saying what cannot be one.

One pattern finds the tokens; the words and signs it finds wrong get the message that helps: a unit
outside quotes, a sign that only looks like a known one, a function that is nearly right.
"""

from __future__ import annotations

import re
import unicodedata
from typing import NoReturn

from scaler.expressions.nodes import FUNCTIONS, ExpressionError
from scaler.measures.lengths import UNIT_MM
from scaler.problems import did_you_mean, shorten

LONGEST_TEXT = 2000

_TOKEN = re.compile(
    r"""
    (?P<space>[ \t\r\n]+)
    | (?P<name>[a-z][a-z0-9_]*\.[a-z][a-z0-9_]*(?:@[a-z0-9_]+)?(?![A-Za-z0-9_.@]))
    | (?P<number>(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)(?![A-Za-z0-9_.@]))
    | (?P<quoted>'[^']*'|"[^"]*")
    | (?P<operator>\*\*|[-+*/^(),−×÷·]|(?:<=|>=|==|[=≤≥])(?![<>=]))
    | (?P<wrong>[<>=!]+|π|[A-Za-z0-9_.@]+)
    """,
    re.VERBOSE,
)
_PLAIN = {"−": "-", "×": "*", "·": "*", "÷": "/", "**": "^", "≤": "<=", "≥": ">=", "=": "=="}
_WRITE = {
    "–": "-",
    "—": "-",
    "‐": "-",
    "‑": "-",
    "⁄": "/",
    "∕": "/",
    "∗": "*",
    "⋅": "*",
    "•": "*",
    "²": "^2",
    "³": "^3",
    "√": "sqrt(…)",
    "‘": "'",
    "’": "'",
    "“": '"',
    "”": '"',
    "′": "'",
    "″": '"',
    "°": "the angle in quotes, for example '7.5 deg'",
    "[": "(",
    "]": ")",
    "{": "(",
    "}": ")",
    "±": "two comparisons, one for each end",
    "%": "a fraction, for example 0.05 for 5 %",
    "≠": "<=, >= or ==",
    ";": ",",
    ":": "/",
    "º": "the angle in quotes, for example '7.5 deg'",
}
_UNITS = (*UNIT_MM, "deg")
END = "end"

OPERAND = "a number, a name such as part.size, a length in quotes or a bracket"

Token = tuple[str, str, int, int]
"""Kind (the plain form itself for an operator), text, start, end."""


def check_text(text: str) -> None:
    """Refuse what is no text (TypeError), is empty or is too long (ExpressionError)."""
    if not isinstance(text, str):
        raise TypeError(f"an expression is text, not {type(text).__name__}")
    if len(text) > LONGEST_TEXT:
        problem = f"an expression of {len(text)} characters"
        advice = "split it into sizes or conditions of their own"
        expected = f"{LONGEST_TEXT} at most"
        raise ExpressionError(text[:LONGEST_TEXT], 0, LONGEST_TEXT, problem, expected, advice)
    if not text.strip(" \t\r\n"):
        raise ExpressionError(text, 0, len(text), "nothing is written", OPERAND)


def _fail(
    text: str, problem: str, start: int, end: int, expected: str = "", advice: str = ""
) -> NoReturn:
    raise ExpressionError(text, start, end, problem, expected, advice)


def cut(text: str) -> list[Token]:
    """The tokens of a text, an end token last. Raises ExpressionError at the first that is none."""
    tokens: list[Token] = []
    at, match = 0, _TOKEN.match
    while at < len(text):
        found = match(text, at)
        if found is None:
            _unreadable(text, at)
        kind, end = found.lastgroup or "", found.end()
        if kind != "space":
            word = found.group()
            if kind == "operator":
                kind = _PLAIN.get(word, word)
            elif kind == "wrong":
                kind = _word(text, word, at, end)
            tokens.append((kind, word, at, end))
        at = end
    tokens.append((END, "", len(text), len(text)))
    return tokens


def _unreadable(text: str, at: int) -> NoReturn:
    sign = text[at]
    if sign in "'\"":
        _fail(
            text,
            f"the quote {sign} is never closed",
            at,
            len(text),
            "a length in quotes, for example '0.8 mm'",
            "write ft and in for the marks of feet and inches",
        )
    shown = sign if sign.isprintable() else f"U+{ord(sign):04X}"
    plain = _WRITE.get(sign) or unicodedata.normalize("NFKC", sign).strip()
    called = unicodedata.name(sign, "a control character").lower()
    known = plain.isascii() and plain.isprintable() and plain and plain != sign
    advice = f"write {plain}" if sign in _WRITE or known else "use plain letters and signs"
    _fail(text, f"'{shown}' ({called}) has no meaning here", at, at + 1, advice=advice)


def _word(text: str, word: str, start: int, end: int) -> str:
    """The kind of a word that is no name of a size; fails where it cannot be any."""
    if word in FUNCTIONS or word == "full":
        return "function"
    if word in ("pi", "π"):
        return "pi"
    if word[0] in "<>=!":
        advice = {"<": "write <=", ">": "write >=", "=>": "write >=", "=<": "write <="}.get(word)
        if word in ("<", ">"):
            advice = f"write {word}= (at the very limit, sizes do not tell the two apart)"
        _fail(
            text,
            f"'{shorten(word, 20)}' compares nothing",
            start,
            end,
            "<=, >= or ==",
            advice or "",
        )
    shown = shorten(word, 40)
    if word[0] in "0123456789.":
        if re.fullmatch(r"[0-9.]+", word):
            advice = "write it with one point and a digit after it"
        elif re.fullmatch(r"[0-9.]+[eE][0-9]*", word):
            advice = "write the number out in full"
        else:
            advice = "a length is written in quotes, '1.5 mm', a product with *"
        _fail(text, f"'{shown}' is no number", start, end, OPERAND, advice)
    if "." in word:
        advice = "part.size or part.size@copy, in small letters, digits and _"
        _fail(text, f"'{shown}' is no name of a size", start, end, "", f"write {advice}")
    near = did_you_mean(word, FUNCTIONS)
    if word in _UNITS:
        advice = f"write a length or an angle with its unit in quotes, '3 {word}'"
    elif near.startswith("did"):
        advice = near
    else:
        advice = f"the functions are {', '.join(FUNCTIONS)}, full"
    _fail(text, f"'{shown}' is not known", start, end, "a name with its part, part.size", advice)
