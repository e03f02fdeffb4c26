"""Checks of workability that ask the same of sizes which came about alike: judged once.

Many parts of one model are alike where it matters: a bore of 12 mm, reamed, cut last to the shaft's
window, in a boss of 20 mm, turned. The verdict rests on the figures of the check, on the settled
sizes with their limits and, for a size that is cut last to one other, on that window and the other
size; never on a name. Whatever rests on more than that has no key here, and is judged by itself.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from scaler.checking.workability_rules import Asked
from scaler.expressions import Add, Length, Mul, Name, Neg, Node, Number
from scaler.records import Verdict

if TYPE_CHECKING:
    from scaler.checking.check import Checker

Key = tuple[object, ...]
"""What a verdict rests on. Objects stand in it by their identity: the check keeps them alive."""


class AlikeChecks:
    """The verdicts of one check, by what each rests on."""

    def __init__(self, checker: Checker, judge: Callable[[Checker, Asked], Verdict]) -> None:
        """``judge`` finds the verdict on a check by itself."""
        self.checker, self.judge = checker, judge
        self._known: dict[Key, tuple[Verdict, Asked]] = {}
        self._used = not (checker.any_made or checker.copies_read or checker.readings)

    def verdict(self, item: Asked) -> Verdict:
        """The verdict that ``judge`` gives, or gave on a check that is alike."""
        key = self.key(item) if self._used and not item.doubt else None
        if key is None:
            return self.judge(self.checker, item)
        known = self._known.get(key)
        if known is None:  # the check is kept with it, so that its figures stay what they are
            known = self._known[key] = self.judge(self.checker, item), item
        return known[0]

    def key(self, item: Asked) -> Key | None:
        """What the verdict on a check rests on; None where that is more than can be told here."""
        shape: list[object] = []
        names: list[str] = []
        if not (_shape(item.found, shape, names) and _shape(item.wanted, shape, names)):
            return None
        if len(names) > 1 and len(set(names)) < len(names):
            return None
        served = self.checker.cuts.served
        for name in names:
            sizes = self._cut_last(name, names) if name in served else self._settled(name)
            if sizes is None:
                return None
            shape += sizes
        return tuple(shape)

    def _settled(self, name: str) -> Key | None:
        """A size that is made by itself: how it came about, and its limits."""
        settlement = self.checker.settlement
        settled = settlement.results.get(name)
        if settled is None or name in settlement.defined_by:
            return None
        return id(settled), id(self.checker.limits(name))

    def _cut_last(self, name: str, names: list[str]) -> Key | None:
        """A size that is cut last to one other, in one window, and has no limits of its own."""
        checker = self.checker
        (copy, statement), *more = checker.cuts.served[name]
        size = checker.model.sizes[name]
        if more or copy or statement.at or size.limits is not None:
            return None
        match statement.node:
            case Add(terms=(Name(name=outer), Neg(value=Name(name=inner)))) if outer != inner:
                other = inner if name == outer else outer
            case _:
                return None
        if name not in (outer, inner) or other in checker.cuts.served:
            return None
        mine, its = self._settled(name), self._settled(other)
        if mine is None or its is None:
            return None
        stated = name == outer, id(statement.lower), id(statement.upper), statement.basis.by
        instrument = checker.model.sizes[other].instrument
        return *stated, *mine, *its, instrument, names.index(other) if other in names else -1


def _shape(node: Node, shape: list[object], names: list[str]) -> bool:
    """Adds what an expression is made of, its names apart; False for anything but sums and
    multiples."""
    kind = type(node)
    shape.append(kind)
    if isinstance(node, Name):
        names.append(node.name)
    elif isinstance(node, Length):
        shape.append(id(node.mm))
    elif isinstance(node, Number):
        shape.append(id(node.value))
    elif isinstance(node, Neg):
        return _shape(node.value, shape, names)
    elif isinstance(node, Add | Mul):
        parts = node.terms if isinstance(node, Add) else node.factors
        shape.append(len(parts))
        return all(_shape(part, shape, names) for part in parts)
    else:
        return False
    return True
