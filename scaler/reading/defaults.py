"""What an old hand would take for granted where a model file does not say.

Common practice throughout: a size's kind from the usual names, its rule from the kind, the basis
of a pair from how its two sides are made.
"""

from __future__ import annotations

from functools import lru_cache

from scaler.records import Kind

_KIND_WORDS: tuple[tuple[Kind, tuple[str, ...]], ...] = (
    (Kind.COUNT, ("count", "number")),
    (Kind.TEETH, ("teeth",)),
    (Kind.ANGLE, ("angle",)),
    (Kind.TAPER, ("taper",)),
    (Kind.THREAD, ("thread", "tapping")),
    (Kind.RADIUS, ("radius", "throw", "fillet")),
    (Kind.INTERNAL, ("bore", "hole", "eye", "counterbore")),
    (Kind.SLOT, ("slot", "groove", "keyway", "gap", "channel", "port", "recess")),
    (Kind.DEPTH, ("depth",)),
    (
        Kind.POSITION,
        ("centres", "center", "centers", "pitch", "position", "offset", "edge", "pcd"),
    ),
    (Kind.EXTERNAL, ("diameter", "journal", "outside", "od", "seat", "spigot", "shank")),
)

_RULES: dict[Kind, tuple[str, ...]] = {
    Kind.EXTERNAL: ("turned",),
    Kind.INTERNAL: ("reamed", "bored"),
    Kind.SLOT: ("slot drilled", "milled"),
    Kind.DEPTH: ("milled",),
    Kind.LENGTH: ("milled",),
    Kind.POSITION: ("coordinate drilled",),
    Kind.RADIUS: ("milled",),
    Kind.ANGLE: (),
    Kind.TAPER: (),
    Kind.THREAD: ("thread",),
    Kind.TEETH: ("counted",),
    Kind.COUNT: ("counted",),
}


def rule_of(kind: Kind, name: str) -> tuple[str, ...]:
    """The rule of a size that states none: by its kind, a gear's module by its name.

    >>> rule_of(Kind.LENGTH, "module")
    ('gear module',)
    """
    if kind is Kind.LENGTH and name.rpartition("_")[2] == "module":
        return ("gear module",)
    return _RULES[kind]


@lru_cache(maxsize=4096)
def kind_of(name: str) -> Kind:
    """The kind that a size's name suggests; a length where it suggests none.

    >>> kind_of("crank_pin_hole"), kind_of("stroke")
    (<Kind.INTERNAL: 'internal'>, <Kind.LENGTH: 'length'>)
    """
    words = name.split("_")
    for word in reversed(words):
        for kind, known in _KIND_WORDS:
            if word in known:
                return kind
    return Kind.LENGTH
