"""What is set aside while one of several conflicts is looked at by itself."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from scaler.records import Model
from scaler.substitution.alternatives import without
from scaler.substitution.elastic_rows import lifted
from scaler.substitution.verify import loosened


@dataclass(frozen=True, slots=True)
class Aside:
    """Statements left out, sizes that may take any value, and sizes whose forbids are lifted."""

    dropped: frozenset[str] = frozenset()
    loose: frozenset[str] = frozenset()
    allowed: frozenset[str] = frozenset()

    def __bool__(self) -> bool:
        return bool(self.dropped or self.loose or self.allowed)

    def __or__(self, other: Aside) -> Aside:
        return Aside(
            self.dropped | other.dropped, self.loose | other.loose, self.allowed | other.allowed
        )

    def of(self, model: Model) -> Model:
        """A model, or a piece of one, without what is set aside."""
        return self.of_sizes(without(model, self.dropped))

    def of_sizes(self, model: Model) -> Model:
        """A model with its sizes as they are set aside, all statements kept."""
        return lifted(loosened(model, self.loose), self.allowed)


def aside_of(keys: Iterable[str], mine: Iterable[str], stated: Iterable[str]) -> Aside:
    """What is to be set aside of a conflict so that it is none.

    Parameters: keys : its members; mine : those of the conflict that is looked at; stated : the
        pairs and conditions of the model. Where it rests on none of these, its sizes may take any
        value, but for those that the conflict looked at is about as well.
    """
    pairs_and_conditions, held = set(stated), set(mine)
    about = {key.partition(" ")[2] for key in held}
    named = {key for key in keys if key in pairs_and_conditions}
    if named:
        return Aside(dropped=frozenset(named - held))
    others = [key.partition(" ") for key in keys if key not in held]
    return Aside(
        loose=frozenset(n for what, _, n in others if what != "forbid" and n not in about),
        allowed=frozenset(n for what, _, n in others if what == "forbid"),
    )
