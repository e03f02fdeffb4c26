"""Copies that are chosen by themselves.

Copies are made alike as long as they can be. Once copies of one part have been read and differ, its
fellows across a pair may have to differ too: then each of them gets a choice of its own, and from
there on it counts as a size by itself. A recorded choice of a copy says the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace

from scaler.records import Choice, Model, Size, State
from scaler.substitution.compiled import Compiled, linked_sizes


def own_copies(model: Model, may_differ: Callable[[Size], bool]) -> tuple[str, ...]:
    """The copies (``part.size@copy``) not made yet that are chosen by themselves, in order.

    Parameters: may_differ : whether a size is open and chosen, not worked out.
    """
    found = []
    for name in model.choices:
        identity, _, copy = name.partition("@")
        size = model.sizes.get(identity) if copy else None
        if size is not None and may_differ(size) and not _read(model, identity, copy):
            found.append(name)
    return tuple(found)


def parted(model: Model, compiled: Compiled, stuck: Iterable[str]) -> Model:
    """The model with every copy of some sizes chosen by itself, where readings tell copies apart.

    Parameters: stuck : names of the sizes for which no choice was found.
    Returns: the model itself where no copy has a reading, or none of the sizes has copies left.
    """
    if not any(copy for _, copy in model.readings):
        return model
    wanted = {name.partition("@")[0] for name in stuck}
    together = linked_sizes(model)
    wanted |= {other for name in wanted for other in together.get(name, ())}
    marks = dict(model.choices)
    for size in model.sizes.values():
        variable = compiled.variables.get(size.id)
        if size.id not in wanted:
            continue
        if variable is None or variable.fixed or variable.stepped or variable.solved:
            continue
        for copy in model.parts[size.part].copies:
            name = f"{size.id}@{copy}"
            if name not in marks and not _read(model, size.id, copy):
                marks[name] = Choice(name, variable.at, "", "", "by itself", "", size.place)
    return replace(model, choices=marks) if len(marks) > len(model.choices) else model


def _read(model: Model, identity: str, copy: str) -> bool:
    """Whether it is known already what a copy came out at."""
    size = model.sizes[identity]
    if size.state is State.SCRAPPED:
        return False
    read = (identity, copy) in model.readings or (identity, "") in model.readings
    return read or size.made is not None
