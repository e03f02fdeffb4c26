"""Which copy goes with which, where the builder may choose: the best match of what was measured.

Of all ways to match the copies of two parts, the best is the one whose worst clearance is least
off (see ``scaler.checking.matching``). Among equally good ones the least total is taken, then the
order of the copies.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, TypeVar

from scaler.checking.check import Checker, statements
from scaler.checking.matching import bottleneck, off_by
from scaler.expressions import Node, names, rename
from scaler.measures.spoken import said
from scaler.problems import InputError, Problem, did_you_mean
from scaler.records import Basis, BasisKind, Model, Verdict
from scaler.settling.solve import middle

A = TypeVar("A", bound=Hashable)
B = TypeVar("B", bound=Hashable)
ZERO = Fraction(0)


@dataclass(frozen=True, slots=True)
class Match:
    """One copy with another: the clearance they have [mm], how far it is off, and the verdict.

    ``off`` is how far the clearance lies from the middle of the fit less half its width: 0 or less
    is inside it.
    """

    inner: str
    outer: str
    clearance: Fraction
    off: Fraction
    verdict: Verdict


@dataclass(frozen=True)
class Pairing:
    """The best match of the copies of a pair, and the one by like names for comparison."""

    pair: str
    inner_part: str
    outer_part: str
    matches: tuple[Match, ...]
    by_name: tuple[Match, ...]

    @property
    def worst(self) -> Match:
        """The match that is furthest off."""
        return max(self.matches, key=lambda item: item.off)

    @property
    def gains(self) -> bool:
        """Whether it betters the copies of like names together."""
        if not self.by_name:
            return True
        return self.worst.off < max(item.off for item in self.by_name)

    def text(self, units: str = "mm") -> str:
        """In words: which goes with which, and what that leaves."""
        told = ", ".join(
            f"{self.inner_part} {m.inner} with {self.outer_part} {m.outer} "
            f"({said(m.clearance, units)}, {m.verdict})"
            for m in self.matches
        )
        return f"{self.pair}: {told}"

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts."""
        from scaler.report import twin

        def listed(matches: Sequence[Match]) -> list[dict[str, Any]]:
            return [
                {
                    "inner": m.inner,
                    "outer": m.outer,
                    **twin("clearance_mm", m.clearance),
                    **twin("off_mm", m.off),
                    "verdict": str(m.verdict),
                }
                for m in matches
            ]

        return {
            "pair": self.pair,
            "inner_part": self.inner_part,
            "outer_part": self.outer_part,
            "matches": listed(self.matches),
            "by_name": listed(self.by_name),
            "gains": self.gains,
        }


def alike(values: Mapping[A, Fraction]) -> tuple[tuple[A, A], ...]:
    """An even number of copies matched in twos, so that the greatest difference is least.

    For sizes that must agree in twos (the throws on one side of an engine). Exact: in order of
    size, neighbours belong together.

    >>> alike({"a": Fraction(5), "b": Fraction(1), "c": Fraction(4), "d": Fraction(2)})
    (('b', 'd'), ('c', 'a'))
    """
    order = sorted(values, key=lambda name: values[name])
    return tuple((order[n], order[n + 1]) for n in range(0, len(order) - 1, 2))


def best_pairing(model: Model, pair: str) -> Pairing:
    """The best match of the copies of a pair's two parts, by what has been measured.

    Parameters: model : Model; pair : name of a pair whose sides each hold sizes of one part with
        named copies. Copies without a reading are taken at their planned size.
    Returns: Pairing.
    Raises: InputError for an unknown pair, one that says itself which copies meet, and one whose
        sides do not each belong to one part with copies.
    """
    found = model.pairs.get(pair)
    if found is None:
        raise _cannot(
            "unknown-pair",
            f"there is no pair '{pair[:80]}' in this model",
            pair,
            "a pair of this model",
            did_you_mean(pair, model.pairs),
        )
    named = (*names(found.inner), *names(found.outer))
    if any("@" in name for name in named):
        raise _cannot(
            "pair-says",
            f"pair {pair} says itself which copies meet",
            "",
            "a pair that leaves it open",
        )
    inner, outer = _copied(model, found.inner), _copied(model, found.outer)
    if len(inner) != 1 or len(outer) != 1 or inner == outer:
        raise _cannot(
            "no-copies",
            f"pair {pair} is not between the copies of two parts",
            ", ".join((*inner, *outer)),
            "one part with named copies on each side",
            "name the copies: copies = ['left', 'right']",
        )
    checker = Checker(model)
    plain = {name: value for name, value in checker.values.items() if "@" not in name}
    alone = replace(model, pairs={pair: found}, conditions={})
    statement = statements(alone, plain)[0]

    def match(one: str, other: str) -> Match:
        at = {inner[0]: one, outer[0]: other}

        def named_at(name: str) -> str:
            copy = at.get(name.partition(".")[0], "")
            return f"{name}@{copy}" if f"{name}@{copy}" in checker.values else name

        node = rename(statement.node, named_at)
        both = Basis(BasisKind.BOTH_LIMITS)
        finding = checker.finding(
            replace(statement, id=f"{pair}, {one} with {other}", node=node, basis=both)
        )
        if finding.basic is None:
            raise _cannot("no-figure", f"pair {pair}: {finding.note or 'no figure'}", "", "figures")
        clearance = middle(finding.basic)
        window = (statement.lower, statement.upper)
        return Match(one, other, clearance, off_by(clearance, window), finding.verdict)

    copies = model.parts[inner[0]].copies, model.parts[outer[0]].copies
    every = {(one, other): match(one, other) for one in copies[0] for other in copies[1]}
    chosen = bottleneck({key: item.off for key, item in every.items()})
    return Pairing(
        pair,
        inner[0],
        outer[0],
        tuple(every[key] for key in chosen.items()),
        tuple(every[copy, copy] for copy in copies[0] if copy in copies[1]),
    )


def _copied(model: Model, node: Node) -> tuple[str, ...]:
    """The parts with named copies that the sizes of an expression belong to."""
    parts = dict.fromkeys(name.partition(".")[0] for name in names(node))
    return tuple(part for part in parts if model.parts[part].copies)


def _cannot(code: str, headline: str, read: str, expected: str, advice: str = "") -> InputError:
    return InputError([Problem(code, headline, None, read, expected, advice)])
