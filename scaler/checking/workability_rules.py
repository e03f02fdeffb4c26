"""The rules of workability: a table of figures and names, and what a rule asks of a part.

A rule is a row of the table ``workability``: what it is called, by which names its sizes are
known, its figure, and where that comes from. What it asks of the sizes of one part is an
:class:`Asked`: ``found >= wanted``, both of them expressions in the model's sizes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache

from scaler import catalogue
from scaler.expressions import Add, Length, Mul, Name, Neg, Node, Number
from scaler.measures.spoken import said


@dataclass(frozen=True, slots=True)
class WorkRule:
    """A row of the workability table. ``names`` and ``partners`` are patterns such as
    ``{x}_to_edge``; ``figure`` is exact, None where the rule has none of its own."""

    id: str
    title: str
    names: tuple[str, ...]
    partners: tuple[str, ...]
    figure: Fraction | None
    unit: str
    needs: str
    inference: str
    note: str
    source: str
    place: str


@dataclass(frozen=True, slots=True)
class Asked:
    """What a rule asks of one part: ``found >= wanted`` [mm]. ``subject`` is the size it is about.

    ``text`` says it in words; ``doubt`` is why it cannot be decided, '' where it can.
    """

    rule: WorkRule
    subject: str
    found: Node
    wanted: Node
    text: str
    note: str = ""
    doubt: str = ""

    @property
    def id(self) -> str:
        """The name by which it can be overruled: ``rule.part.size``."""
        return f"{self.rule.id}.{self.subject}"

    @property
    def node(self) -> Node:
        """``found − wanted``, which must not fall below nothing: linear in nearly every rule."""
        return Add((self.found, Neg(self.wanted)))


def _split(text: str) -> tuple[str, ...]:
    return tuple(item.strip() for item in text.split(";") if item.strip())


@cache
def rules() -> dict[str, WorkRule]:
    """All rules by their names, in the order of the table."""
    return {
        row.text("designation"): WorkRule(
            row.text("designation"),
            row.text("title"),
            _split(row.text("names")),
            _split(row.text("partners")),
            catalogue.parse_number(row.text("figure")) if row.text("figure") else None,
            row.text("unit"),
            row.text("needs"),
            row.text("inference"),
            row.text("note"),
            row.text("source"),
            row.text("place"),
        )
        for row in catalogue.table("workability").rows
    }


def figure(rule: str) -> Fraction:
    """The figure of a rule. Raises KeyError for an unknown one, ValueError where it has none."""
    value = rules()[rule].figure
    if value is None:
        raise ValueError(f"the rule {rule} has no figure of its own")
    return value


@cache
def _expression(pattern: str) -> re.Pattern[str]:
    spelt = re.escape(pattern).replace(r"\{x\}", "(?P<x>[a-z0-9_]+)")
    return re.compile(spelt.replace(r"\{y\}", "(?P<y>[a-z0-9_]+)"))


def named(rule: WorkRule, name: str) -> Mapping[str, str] | None:
    """The words that a size's name puts in a rule's pattern; None where it fits none.

    >>> named(rules()["edge_distance"], "bolt_hole_to_edge")
    {'x': 'bolt_hole'}
    """
    return _named(rule.names, name)


@lru_cache(maxsize=16384)
def speaks(name: str) -> bool:
    """Whether a size's name says something to any rule, or names two things by the way between."""
    return "_to_" in name or any(_named(rule.names, name) is not None for rule in rules().values())


@lru_cache(maxsize=16384)
def _named(patterns: tuple[str, ...], name: str) -> Mapping[str, str] | None:
    for pattern in patterns:
        match = _expression(pattern).fullmatch(name)
        if match is not None:
            return match.groupdict()
    return None


def spelt(patterns: tuple[str, ...], words: Mapping[str, str]) -> Iterator[str]:
    """The names that patterns make of the words found; those that lack a word are left out.

    >>> list(spelt(("{x}", "{x}_hole", "bore"), {"x": "stud"}))
    ['stud', 'stud_hole', 'bore']
    """
    for pattern in patterns:
        text = pattern
        for key, word in words.items():
            text = text.replace("{" + key + "}", word)
        if "{" not in text:
            yield text


@lru_cache(maxsize=4096)
def shown(value: Fraction, places: int, units: str) -> str:
    """A figure of a rule or a tool for its words, with its unit."""
    return said(value, units, places)


# ------------------------------------------------------------------------------ small expressions


def size(identity: str) -> Node:
    """A size by its name."""
    return Name(identity)


def mm(value: Fraction) -> Node:
    """A model length."""
    return Length(value)


def times(factor: Fraction | int, node: Node) -> Node:
    """A constant multiple."""
    if factor == 1:
        return node
    return Mul((Number(factor if isinstance(factor, Fraction) else Fraction(factor)), node))


def plus(*terms: Node) -> Node:
    """A sum."""
    return terms[0] if len(terms) == 1 else Add(terms)


def less(node: Node, *others: Node) -> Node:
    """A difference."""
    return Add((node, *(Neg(other) for other in others)))
