"""Sums of names and plain lengths, and comparisons of them, read without the whole grammar.

Most of what a model writes is a name, a sum of names, or a window round one. Such text is read here
straight into the trees that :mod:`scaler.expressions.parsing` would make of it, places and all (a
test holds it to that); for everything else, and everything that may be wrong, there is None.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

from scaler.expressions.nodes import Add, Length, Name, Neg, Node

LONGEST = 400
"""Characters up to which no bound of the grammar can be met."""
_STEP = re.compile(
    r"""[ ]*+(?:
        ([a-z][a-z0-9_]*+\.[a-z][a-z0-9_]*+(?:@[a-z0-9_]++)?+(?![A-Za-z0-9_.@]))
        |'([0-9]{1,6}(?:\.[0-9]{1,6})?\ mm)'
    )[ ]*+((?:<=|>=|==)(?![<>=])|[-+]|\Z)""",
    re.VERBOSE,
)


def plain_sides(text: str) -> tuple[list[Node], list[str]] | None:
    """The sums that a text compares and the relations between them; None where it is not plain."""
    if len(text) > LONGEST:
        return None
    sides: list[Node] = []
    relations: list[str] = []
    terms: list[Node] = []
    at, sign, place, match = 0, "", 0, _STEP.match
    while True:
        found = match(text, at)
        if found is None:
            return None
        name, written, then = found.groups()
        if name is not None:
            start, end = found.span(1)
            node: Node = Name(name, start=start, end=end)
        else:
            start, end = found.start(2) - 1, found.end(2) + 1
            node = Length(_mm(written), written, start=start, end=end)
        if sign == "-":
            node = Neg(node, start=place, end=end)
        terms.append(node)
        at, sign, place = found.end(), then, found.start(3)
        if then in ("+", "-"):
            continue
        first = terms[0]
        sides.append(first if len(terms) == 1 else Add(tuple(terms), start=first.start, end=end))
        if not then:
            return sides, relations
        relations.append(then)
        terms, sign = [], ""


@lru_cache(maxsize=4096)
def _mm(written: str) -> Fraction:
    """The figure before ' mm', exact [mm]."""
    return Fraction(written[:-3])
