"""Problems with what was read: data first, wording second.

A :class:`Problem` names the place, what was read, what was expected and what to do. Renderers turn
it into the full message for a person, a one-line form for editors, and a dict for scripts.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

MOST_RENDERED = 500
"""Messages written out in the text of an InputError; its ``problems`` holds all of them."""
_WIDEST = 160
_CONTEXT = 300


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A place in a file of the model: file as named from the model folder, line and column from 1;
    line 0 for what stands in no file (yet)."""

    file: str
    line: int
    column: int = 1

    def __str__(self) -> str:
        return f"{self.file}, line {self.line}" if self.line else self.file


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, or worth a warning, in what was read."""

    code: str
    headline: str
    place: Place | None = None
    read: str = ""
    expected: str = ""
    advice: str = ""
    excerpt: str = ""
    span: tuple[int, int] | None = None
    severity: Literal["error", "warning"] = "error"


@dataclass(frozen=True, slots=True)
class Mark:
    """Where something stands: its place, the text round it, and its span in that text."""

    place: Place
    excerpt: str = ""
    span: tuple[int, int] | None = None

    def unquoted(self) -> Mark:
        """The mark without the quotes round it."""
        if self.span is None:
            return self
        start, end = self.span
        text = self.excerpt[start:end]
        for quotes in ('"""', "'''", '"', "'"):
            size = len(quotes)
            if len(text) > 2 * size and text.startswith(quotes) and text.endswith(quotes):
                place = Place(self.place.file, self.place.line, self.place.column + size)
                return Mark(place, self.excerpt, (start + size, end - size))
        return self


class InputError(Exception):
    """The input could not be used. ``problems`` holds everything found, in the order of the files."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        shown = [render_full(problem) for problem in self.problems[:MOST_RENDERED]]
        if len(self.problems) > MOST_RENDERED:
            shown.append(f"… and {len(self.problems) - MOST_RENDERED} more")
        super().__init__("\n".join(shown))

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self.problems,)


def shorten(text: str, width: int = 100) -> str:
    """Text made safe to show: control characters escaped, the end of a long one left out."""
    head = text if len(text) <= width else text[:width]
    safe = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in head)
    if len(text) <= width and len(safe) <= width:
        return safe
    return f"{safe[: width * 2 // 3]} … ({len(text)} characters)"


UNSEEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
"""Characters that are not seen and do something: escape codes, odd line ends, turned writing."""


def unseen_name(character: str) -> str:
    """What a character that is not seen is called.

    >>> unseen_name("\\x1b"), unseen_name("\\u202e")
    ('the control character U+001B', 'the control character U+202E, RIGHT-TO-LEFT OVERRIDE')
    """
    name = unicodedata.name(character, "")
    return f"the control character U+{ord(character):04X}" + (f", {name}" if name else "")


def clip(line: str, start: int, end: int) -> tuple[str, tuple[int, int]]:
    """A long line cut to the text round a span, and the span in what is left.

    >>> clip("x" * 1000 + "here", 1000, 1004)[0][-4:]
    'here'
    """
    if len(line) <= 2 * _CONTEXT:
        return line, (start, end)
    left = max(0, start - _CONTEXT)
    return line[left : left + 2 * _CONTEXT], (start - left, min(end - left, 2 * _CONTEXT))


# ------------------------------------------------------------------------------- known names

_LOOK_ALIKE = str.maketrans(
    "аеорсхуіјѕһԁԛԝкмтнвгАВЕКМНОРСТХІЈЅαορυνικΑΒΕΖΗΙΚΜΝΟΡΤΥΧ‐‑–—−·",
    "aeopcxyijshdqwkmtnbrABEKMHOPCTXIJSaopuvikABEZHIKMNOPTYX-----.",
)
"""Letters of other alphabets that look like Latin ones, for finding the name that was meant."""
_SEARCHED_WHOLE = 1000
_CUTOFF = 0.6
_BEHIND = 0.12
"""How far a name may be less like the one read than the best, to be named beside it."""


def _folded(name: str) -> str:
    return unicodedata.normalize("NFKC", name[:80]).translate(_LOOK_ALIKE).lower()


def nearest(name: str, known: Iterable[str], count: int = 3) -> tuple[str, ...]:
    """The known names nearest to one that is not known, best first (difflib's ratio).

    Capitals and look-alike letters of other alphabets do not count. Of a very long list only names
    that begin or end like the one read are compared.

    A known name all of whose words stand in the one read comes before any that only looks like it.

    >>> nearest("Ground Bar", ["round bar", "ground bar", "plate"], 1)
    ('ground bar',)
    >>> nearest("spring wire", ["wire", "spring pin"])
    ('wire',)
    """
    import difflib

    wanted = _folded(name)
    names: dict[str, str] = {}
    for item in known:
        names.setdefault(_folded(item), item)
    keys = list(names)
    if len(keys) > _SEARCHED_WHOLE:
        keys = _likely(wanted, keys)
    words = set(wanted.split())
    held = [key for key in keys if _word(key) and key != wanted and words.issuperset(key.split())]
    if held:  # "spring wire" is a wire
        return tuple(names[key] for key in sorted(held, key=len, reverse=True)[:count])
    found = difflib.get_close_matches(wanted, keys, n=count, cutoff=_CUTOFF)
    ratios = [difflib.SequenceMatcher(None, key, wanted).ratio() for key in found]
    close = [key for key, ratio in zip(found, ratios, strict=True) if ratio > ratios[0] - _BEHIND]
    return tuple(names[key] for key in close)


def _word(name: str) -> bool:
    """Whether a name holds a word, not only figures and units."""
    return any(len(part) > 3 and part.isalpha() for part in name.split())


def _likely(wanted: str, keys: list[str]) -> list[str]:
    """Of very many names those that share most of their beginning and end with the one wanted."""

    def shared(key: str) -> int:
        count = 0
        for one, other in zip(wanted, key, strict=False):
            if one != other:
                break
            count += 1
        for one, other in zip(reversed(wanted), reversed(key), strict=False):
            if one != other:
                break
            count += 1
        return count

    near = [key for key in keys if abs(len(key) - len(wanted)) <= 3 + len(wanted) // 3]
    return sorted(near, key=shared, reverse=True)[: _SEARCHED_WHOLE // 4]


def odd_letters(name: str) -> str:
    """What letters of another alphabet a name holds, in words; '' where it holds none.

    >>> odd_letters("аxle")
    "its 'а' is CYRILLIC SMALL LETTER A, no plain letter"
    """
    for character in name:
        if ord(character) > 127:
            called = unicodedata.name(character, f"character U+{ord(character):04X}")
            return f"its '{shorten(character)}' is {called}, no plain letter"
    return ""


def suggest(name: str, known: Iterable[str], otherwise: str) -> str:
    """'did you mean …?' where a known name is near, else what is given for it.

    >>> suggest("sheet1", ["sheet_1", "sheet_2"], "name a drawing")
    "did you mean 'sheet_1'?"
    """
    close = nearest(name, known)
    if not close:
        return otherwise
    odd = odd_letters(name) if all(item.isascii() for item in close) else ""
    meant = " or ".join(f"'{item}'" for item in close)
    return f"did you mean {meant}?" + (f" ({odd})" if odd else "")


def did_you_mean(name: str, known: Iterable[str], otherwise: str = "") -> str:
    """'did you mean …?' where a known name is near, else a short list of known ones.

    ``otherwise`` stands in where neither can be given.
    """
    names = list(known)
    listing = "known here: " + ", ".join(names) if 0 < len(names) <= 12 else otherwise
    return suggest(name, names, listing)


def copy_meant(copy: str, part: str, copies: Sequence[str], count: int) -> str:
    """What to do about a copy that a part does not have: the nearest, else how to name copies.

    >>> copy_meant("lefft", "bush", ["left", "right"], 2)
    "did you mean 'left'?"
    >>> copy_meant("left", "bush", [], 2)
    'leave the copy out, or name the copies: copies = ["left", "right"] under [part.bush]'
    """
    if copies:
        return did_you_mean(copy, copies)
    names = ("left", "right") if count <= 2 else tuple(f"no_{n + 1}" for n in range(count))
    said = ", ".join(f'"{name}"' for name in names[:4]) + (" …" if len(names) > 4 else "")
    return f"leave the copy out, or name the copies: copies = [{said}] under [part.{part}]"


def listed(names: Sequence[str], most: int = 12) -> str:
    """Names with commas between; of very many the first ones, and how many there are.

    >>> listed(["a", "b", "c"], 2)
    'a, b … (3 known)'
    """
    if len(names) <= most:
        return ", ".join(names)
    return ", ".join(names[:most]) + f" … ({len(names)} known)"


def unknown_size(name: str, sizes: Iterable[str]) -> Problem:
    """The problem of a name that is no size of a model: a part's, or one not known.

    >>> unknown_size("bush", ["bush.bore", "bush.length", "pin.length"]).advice
    'name one of them: bush.bore, bush.length'
    """
    known = list(sizes)
    mine = [size for size in known if size.startswith(f"{name.partition('.')[0]}.")]
    if "." not in name and mine:
        headline = f"'{shorten(name, 80)}' is a part, and this asks for one of its sizes"
        advice = f"name one of them: {listed(mine)}"
    else:
        headline = f"there is no size '{shorten(name, 80)}' in this model"
        advice = did_you_mean(name, mine or known) or did_you_mean(name, known)
    return Problem(
        "unknown-size", headline, read=shorten(name), expected="part.size", advice=advice
    )


class Known:
    """Names of one sort, asked for again and again: each wrong name is looked for once.

    After very many different wrong names no more are looked for, so that a file of nothing but
    wrong names is reported in seconds too; ``otherwise`` is the advice then.
    """

    def __init__(self, names: Iterable[str], otherwise: str = "") -> None:
        self._names = list(names)
        self._otherwise = otherwise
        self._found: dict[str, str] = {}
        self._most = 300 if len(self._names) <= _SEARCHED_WHOLE else 30

    def advice(self, name: str) -> str:
        """The advice that goes with a wrong name."""
        name = name[:80]
        if name not in self._found:
            if len(self._found) >= self._most:
                return self._otherwise
            self._found[name] = did_you_mean(name, self._names, self._otherwise)
        return self._found[name]


# ---------------------------------------------------------------------------------- renderers


def _columns(text: str) -> int:
    """How many columns a text takes on a screen: wide characters two, combining ones none."""
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1
        for c in text
    )


def render_full(problem: Problem) -> str:
    """The message for a person: place first, the line itself with a mark under it, the cure."""
    lead = f"{problem.place}: " if problem.place else ""
    word = "" if problem.severity == "error" else "note: "
    lines = [f"{lead}{word}{problem.headline}"]
    says = []
    if problem.read and problem.read.strip() != problem.excerpt.strip():
        read = shorten(problem.read)
        says.append(f"read {read}" if read[:1] == read[-1:] == '"' else f'read "{read}"')
    if problem.expected:
        says.append(f"expected {problem.expected}")
    mark = "; ".join(says)
    if problem.excerpt.strip():
        excerpt, under, room = _excerpt(problem)
        lines.append(f"    {excerpt}")
        if under:
            beside = bool(mark) and len(under) + len(mark) <= room
            lines.append(f"    {under}" + (f"   {mark}" if beside else ""))
            mark = "" if beside else mark
    if mark:
        lines.append(f"    {mark}")
    if problem.advice:
        lines.append(f"  {problem.advice}")
    return "\n".join(lines)


def _excerpt(problem: Problem) -> tuple[str, str, int]:
    """The line to show, what goes under it, and how wide both may be."""
    excerpt = problem.excerpt.rstrip("\n").replace("\t", " ")
    start, end = problem.span or (0, 0)
    if len(excerpt) > _WIDEST:
        left = max(0, min(start - 40, len(excerpt) - _WIDEST))
        excerpt = excerpt[left : left + _WIDEST]
        start, end = start - left, end - left
    blank = len(excerpt) - len(excerpt.lstrip())
    if problem.span is None or start >= blank:
        excerpt, start, end = excerpt[blank:], start - blank, end - blank
    excerpt = "".join(c if c.isprintable() else "?" for c in excerpt)
    if problem.span is None:
        return excerpt, "", 0
    start = min(max(0, start), len(excerpt))
    under = _columns(excerpt[start : min(end, len(excerpt))])
    return excerpt, " " * _columns(excerpt[:start]) + "~" * max(1, under), 110


def render_line(problem: Problem) -> str:
    """The one-line form for editors: ``file:line:column: text``."""
    place = problem.place
    lead = f"{place.file}:{place.line}:{place.column}: " if place else ""
    tail = f" ({problem.advice})" if problem.advice else ""
    return " ".join(f"{lead}{problem.severity}: {problem.headline}{tail}".split())


def as_dict(problem: Problem) -> dict[str, Any]:
    """The form for scripts: plain keys and values."""
    place = problem.place
    return {
        "code": problem.code,
        "severity": problem.severity,
        "text": problem.headline,
        "file": place.file if place else None,
        "line": place.line if place else None,
        "column": place.column if place else None,
        "read": shorten(problem.read),
        "expected": problem.expected,
        "advice": problem.advice,
    }


def in_order(problems: Iterable[Problem], files: Sequence[str] = ()) -> tuple[Problem, ...]:
    """Problems by file and line, doubles dropped; those without a place first.

    ``files`` gives the order of the files; others follow by name.
    """
    rank = {file: number for number, file in enumerate(files)}

    def key(problem: Problem) -> tuple[bool, int, Place, str]:
        place = problem.place or Place("", 0)
        return (problem.place is not None, rank.get(place.file, len(rank)), place, problem.headline)

    return tuple(sorted(dict.fromkeys(problems), key=key))
