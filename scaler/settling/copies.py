"""Copies with a value of their own: read, chosen by themselves, or worked out from such."""

from __future__ import annotations

from collections.abc import Callable, Container, Mapping
from functools import partial

from scaler.expressions import EvaluationError, Node, names, rename
from scaler.records import Model, Size
from scaler.settling.settled import Settled, at_copy, outcome_of
from scaler.settling.solve import Value, value_of


def own_copies(
    model: Model, refused: Container[str], fixed: Callable[[Size, str], Settled | None]
) -> dict[str, Settled]:
    """The copies (``part.size@copy``) that have a reading or a choice of their own.

    Parameters: refused : parts that get no figure; fixed : what is fixed of a size and copy.
    """
    read = (f"{identity}@{copy}" for identity, copy in model.readings if copy)
    chosen = (name for name in model.choices if "@" in name)
    found = {}
    for name in dict.fromkeys((*read, *chosen)):
        identity, _, copy = name.partition("@")
        size = model.sizes.get(identity)  # of a piece of a model, some are not there
        settled = None if size is None or size.part in refused else fixed(size, copy)
        if settled is not None:
            found[name] = settled
    return found


def followed(
    model: Model, size: Size, own: Mapping[str, Settled], values: Mapping[str, Value]
) -> dict[str, Node]:
    """The copies of a worked-out size whose own makers differ, and what each is worked out from."""
    definition = outcome_of(size) if own else None
    found: dict[str, Node] = {}
    if definition is None:
        return found
    for copy in model.parts[size.part].copies:
        name = f"{size.id}@{copy}"
        node = rename(definition, partial(at_copy, values, copy))
        if name in own or not any(other in own for other in names(node)):
            continue
        try:
            value_of(node, values, model.ratio)
        except EvaluationError:
            continue
        found[name] = node
    return found
