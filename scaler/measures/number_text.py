"""Numbers as people write them, read exactly, and the refusal record of everything that is read.

The lowest layer under :mod:`scaler.measures.lengths` and :mod:`scaler.measures.quantities`: decimals with a point or
a comma, fractions with a stroke or as one character, a whole number and a fraction with a blank, a
hyphen or (an old drawing habit) a dot between. Scanning is by hand, once over the text; no pattern
can run away, and no text is longer than 200 characters.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

LONGEST_TEXT = 200
HYPHENS = "-‐‑‒–"

_SLASHES = "/⁄∕"
_SIGNS = HYPHENS + "−+±"
_HALVINGS = (2, 4, 8, 16, 32, 64, 128)
_VULGAR = {
    "½": (1, 2),
    "⅓": (1, 3),
    "⅔": (2, 3),
    "¼": (1, 4),
    "¾": (3, 4),
    "⅕": (1, 5),
    "⅖": (2, 5),
    "⅗": (3, 5),
    "⅘": (4, 5),
    "⅙": (1, 6),
    "⅚": (5, 6),
    "⅐": (1, 7),
    "⅛": (1, 8),
    "⅜": (3, 8),
    "⅝": (5, 8),
    "⅞": (7, 8),
    "⅑": (1, 9),
    "⅒": (1, 10),
}
_EXAMPLE = 'write for example "7/8 in"'


class LengthError(ValueError):
    """A text that cannot be read as a length or an angle; ``str()`` is the whole of it on one line.

    Attributes: ``text`` as read (cut where it was too long), ``start`` and ``end`` of the offending
    characters in it, ``problem`` (what was read), ``expected``, ``advice`` (what to write instead).
    """

    def __init__(
        self, text: str, start: int, end: int, problem: str, expected: str, advice: str
    ) -> None:
        super().__init__(text, start, end, problem, expected, advice)
        self.text, self.start, self.end = text, start, end
        self.problem, self.expected, self.advice = problem, expected, advice

    def __str__(self) -> str:
        return f"{self.problem}; expected {self.expected}; {self.advice}"


@dataclass(frozen=True, slots=True)
class Number:
    """A number found in a text: exact value, where it stands, its normal form, a note."""

    value: Fraction
    start: int
    end: int
    normal: str
    note: str = ""


# ------------------------------------------------------------------------------- small helpers


def shown(text: str) -> str:
    """The text fit for one line: blanks of every kind as a blank, unprintable characters as U+FFFD.

    Character for character, so that spans still fit.
    """
    return "".join(
        ch if ch.isprintable() else " " if ch.isspace() else "\N{REPLACEMENT CHARACTER}"
        for ch in text
    )


def quoted(text: str, longest: int = 40) -> str:
    """The text in double quotes, on one line, cut after `longest` characters."""
    text = shown(text)
    return f'"{text}"' if len(text) <= longest else f'"{text[:longest]}…"'


def mixed(value: Fraction) -> str:
    """The fraction in lowest terms as a whole number and a fraction: ``1 3/8``, ``3/8``, ``2``."""
    whole, rest = divmod(abs(value.numerator), value.denominator)
    parts = [str(whole)] if whole or not rest else []
    if rest:
        parts.append(f"{rest}/{value.denominator}")
    return "-" * (value < 0) + " ".join(parts)


def nearest_word(word: str, known: tuple[str, ...]) -> str | None:
    """The known word that differs least from `word` (letters changed, added or dropped), or None.

    One difference is allowed in two or three letters, two in more; a single letter, and a word of
    over 12 letters, finds nothing.
    """
    if not 2 <= len(word) <= 12:
        return None
    best: tuple[int, bool, int, int] | None = None
    for order, other in enumerate(known):
        row = list(range(len(other) + 1))
        for i, mine in enumerate(word, 1):
            above, row[0] = row[0], i
            for j, theirs in enumerate(other, 1):
                above, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, above + (mine != theirs))
        key = (row[-1], other[:1] != word[:1], abs(len(other) - len(word)), order)
        best = key if best is None or key < best else best
    if best is None or best[0] > (1 if len(word) <= 3 else 2):
        return None
    return known[best[3]]


def check_size(text: str) -> None:
    """Refuse an empty text and one of more than 200 characters (LengthError)."""
    if len(text) > LONGEST_TEXT:
        cut = text[:40] + "…"
        raise LengthError(
            cut,
            0,
            len(cut),
            f"read {len(text)} characters",
            f"at most {LONGEST_TEXT}",
            'write one size, such as "4 ft 8 1/2 in"',
        )
    if not text.strip():
        raise LengthError(text, 0, len(text), "read nothing", "a number and its unit", _EXAMPLE)


def skip_blanks(text: str, at: int) -> int:
    """The first place from `at` on that holds no blank (of any kind, also thin or non-breaking)."""
    while at < len(text) and text[at].isspace():
        at += 1
    return at


def word_end(text: str, at: int) -> int:
    """Where the run of letters that starts at `at` ends."""
    while at < len(text) and text[at].isalpha():
        at += 1
    return at


def holds(text: str, at: int, characters: str) -> bool:
    """Whether one of the characters stands at `at`."""
    return at < len(text) and text[at] in characters


def number_starts(text: str, at: int) -> bool:
    """Whether a figure or a fraction character stands at `at`."""
    return at < len(text) and ("0" <= text[at] <= "9" or text[at] in _VULGAR)


def _digits(text: str, at: int) -> tuple[str, int]:
    end = at
    while end < len(text) and "0" <= text[end] <= "9":
        end += 1
    return text[at:end], end


# ------------------------------------------------------------------------------------- numbers


def scan_number(text: str, at: int) -> Number:
    """The number that starts at `at`: whole, decimal, fraction, or whole number and fraction.

    Raises LengthError where no number starts there, or one that can be read in two ways.

    >>> scan_number("1-3/8 in", 0).value, scan_number("12,7", 0).normal
    (Fraction(11, 8), '12.7')
    """
    whole, end = _digits(text, at)
    if holds(text, end, ".,"):
        return _nothing_more(text, _decimal(text, at, whole, end))
    fraction = _fraction(text, at)
    if fraction is not None:
        value, end = fraction
        return _nothing_more(text, Number(value, at, end, mixed(value)))
    if not whole:
        raise not_a_number(text, at)
    after = end + 1 if holds(text, end, HYPHENS) else skip_blanks(text, end)
    fraction = _fraction(text, after)
    if fraction is None:
        return _nothing_more(text, Number(Fraction(int(whole)), at, end, str(int(whole))))
    part, end = fraction
    value = int(whole) + part
    if part >= 1:
        raise LengthError(
            text,
            after,
            end,
            f"read {quoted(text[after:end])} after the whole number {whole[:20]}",
            "a fraction of less than 1",
            f"write {quoted(mixed(value))} if that is meant",
        )
    return _nothing_more(text, Number(value, at, end, mixed(value)))


def _fraction(text: str, at: int) -> tuple[Fraction, int] | None:
    """The fraction at `at` and where it ends; None where there is none."""
    if at < len(text) and text[at] in _VULGAR:
        return Fraction(*_VULGAR[text[at]]), at + 1
    numerator, end = _digits(text, at)
    slash = skip_blanks(text, end)
    if not numerator or not holds(text, slash, _SLASHES):
        return None
    denominator, end = _digits(text, skip_blanks(text, slash + 1))
    if not denominator:
        raise LengthError(
            text,
            at,
            slash + 1,
            f"read {quoted(text[at : slash + 1])}, no figures after the stroke",
            "a fraction",
            f'write it in full, such as "{numerator[:20]}/8"',
        )
    if int(denominator) == 0:
        raise LengthError(
            text,
            at,
            end,
            f"read {quoted(text[at:end])}: nothing can be divided by 0",
            "a fraction with another figure below the stroke",
            "look at the drawing again",
        )
    return Fraction(int(numerator), int(denominator)), end


def _decimal(text: str, at: int, whole: str, point: int) -> Number:
    """The decimal whose point or comma stands at `point`, or inches, a dot and their fraction."""
    tail, end = _digits(text, point + 1)
    if not tail and not whole:
        raise not_a_number(text, at)
    if not tail:
        mark = "comma" if text[point] == "," else "point"
        raise LengthError(
            text,
            at,
            end,
            f"read {quoted(text[at:end])}, no figures after the {mark}",
            "a number",
            f"write {quoted(whole)} or {quoted(whole + '.5')}, as meant",
        )
    fraction = _fraction(text, point + 1)
    if fraction is not None:
        part, end = fraction
        value = int(whole or "0") + part
        below = _digits(text[:end][::-1], 0)[0][::-1]
        if text[point] == "." and whole and part < 1 and tail[0] != "0" and below in _BELOW:
            note = f"the dot in {quoted(text[at:end])} was read as a blank: {mixed(value)}"
            return Number(value, at, end, mixed(value), note)
        raise LengthError(
            text,
            at,
            end,
            f"read {quoted(text[at:end])}: a decimal and a fraction in one",
            "one of the two",
            f"write {quoted(mixed(value))} if that is meant",
        )
    more = holds(text, end, ".,") and number_starts(text, end + 1)
    grouped = text[point] == "," and len(tail) == 3 and 1 <= len(whole) <= 3 and whole[0] != "0"
    if grouped and not more:
        raise LengthError(
            text,
            at,
            end,
            f"read {quoted(text[at:end])}: the comma may mark thousands or decimals",
            "a number that can be read in one way only",
            f'write "{whole}{tail}" or "{whole}.{tail}", as meant',
        )
    value = Fraction(int(whole + tail), 10 ** len(tail))
    return Number(value, at, end, f"{int(whole or '0')}.{tail}")


_BELOW = tuple(str(number) for number in _HALVINGS)


def _nothing_more(text: str, number: Number) -> Number:
    """The number, unless what follows it at once belongs to a number too."""
    start, end = number.start, number.end
    stroke = skip_blanks(text, end)
    if holds(text, stroke, _SLASHES) and number_starts(text, skip_blanks(text, stroke + 1)):
        raise LengthError(
            text,
            start,
            stroke + 1,
            f"read {quoted(text[start : stroke + 2])}: one stroke too many",
            "one fraction at most",
            'write for example "1 2/3" or "1/2"',
        )
    if number_starts(text, end) or (holds(text, end, ".,") and number_starts(text, end + 1)):
        raise LengthError(
            text,
            start,
            end + 1,
            f"read {quoted(text[start : end + 4])}: two numbers run together",
            "one number",
            'write for example "1250.5", with one point and no commas',
        )
    if holds(text, end, "eE"):
        figures, stop = _digits(text, end + 2 if holds(text, end + 1, _SIGNS) else end + 1)
        if figures:
            raise LengthError(
                text,
                start,
                stop,
                f"read {quoted(text[start:stop])}: a power of ten",
                "a number written out in full",
                'write for example "1000" or "0.001"',
            )
    return number


def not_a_number(text: str, at: int) -> LengthError:
    """The refusal of what stands at `at`, where a number should start."""
    if at >= len(text):
        return LengthError(
            text,
            max(len(text) - 1, 0),
            len(text),
            f"read {quoted(text)}: it breaks off",
            "a number and its unit",
            _EXAMPLE,
        )
    end = max(word_end(text, at), at + 1)
    problem, expected = f"read {quoted(text[at:end])} where a number should start", ""
    if text[at] in _SIGNS:
        return LengthError(
            text, at, end, problem, "a size of 0 or more, without a sign", "leave the sign out"
        )
    if text[at].isnumeric():
        problem = f"read {quoted(text[at])}, a figure of another script or a raised one"
        expected = "the figures 0 to 9, or a fraction such as ½"
    return LengthError(text, at, end, problem, expected or "a number and its unit", _EXAMPLE)
