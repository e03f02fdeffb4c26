"""Problems with what was read: data first, wording second.

A :class:`Problem` names the place, what was read, what was expected and what to do. Renderers turn
it into the full message for a person, a one-line form for editors, and a dict for scripts.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """A place in a file of the model: file as named from the model folder, line and column from 1."""

    file: str
    line: int
    column: int = 1

    def __str__(self) -> str:
        return f"{self.file}, line {self.line}"


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


class InputError(Exception):
    """The input could not be used. ``problems`` holds everything found, in the order of the files."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(render_full(problem) for problem in self.problems))


def shorten(text: str, width: int = 100) -> str:
    """Text made safe to show: control characters escaped, the middle of a long one left out."""
    safe = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
    if len(safe) <= width:
        return safe
    return f"{safe[: width * 2 // 3]} … ({len(text)} characters)"


def nearest(name: str, known: Iterable[str], count: int = 3) -> tuple[str, ...]:
    """The known names nearest to one that is not known, best first (difflib's ratio)."""
    return tuple(difflib.get_close_matches(name[:80].lower(), list(known), n=count, cutoff=0.55))


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """'did you mean …?' where a known name is near, else a list of the known ones if it is short."""
    names = list(known)
    close = nearest(name, names)
    if close:
        return "did you mean " + " or ".join(f"'{item}'" for item in close) + "?"
    if 0 < len(names) <= 12:
        return "known here: " + ", ".join(names)
    return ""


def render_full(problem: Problem) -> str:
    """The message for a person: place first, the line itself with a mark under it, the cure."""
    lead = f"{problem.place}: " if problem.place else ""
    word = "" if problem.severity == "error" else "note: "
    lines = [f"{lead}{word}{problem.headline}"]
    says = []
    if problem.read:
        says.append(f'read "{shorten(problem.read)}"')
    if problem.expected:
        says.append(f"expected {problem.expected}")
    mark = "; ".join(says)
    if problem.excerpt:
        excerpt = problem.excerpt.rstrip("\n").replace("\t", " ")
        start, end = problem.span or (0, 0)
        if len(excerpt) > 160:
            left = max(0, min(start - 40, len(excerpt) - 160))
            excerpt = excerpt[left : left + 160]
            start, end = start - left, end - left
        excerpt = "".join(c if c.isprintable() else "?" for c in excerpt)
        lines.append(f"    {excerpt}")
        if problem.span:
            width = max(1, min(end, len(excerpt)) - start)
            lines.append(
                "    " + " " * max(0, start) + "~" * width + (f"   {mark}" if mark else "")
            )
            mark = ""
    if mark:
        lines.append(f"    {mark}")
    if problem.advice:
        lines.append(f"  {problem.advice}")
    return "\n".join(lines)


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


def in_order(problems: Sequence[Problem]) -> tuple[Problem, ...]:
    """Problems sorted by file and line, those without a place first; doubles dropped."""
    unique = dict.fromkeys(problems)
    return tuple(
        sorted(unique, key=lambda p: (p.place is not None, p.place or Place("", 0), p.headline))
    )
