"""Frozen records that are made quickly: many thousands of them stand for one large model.

The ``__init__`` that :mod:`dataclasses` writes for a frozen class sets each field by a call of its
own, and takes several times as long as that of a class that may change. A :func:`record` is filled
in as an object of a class that may change, with the same slots, and only then becomes what it is
to be. For whoever uses it, it is a frozen dataclass with slots and nothing else.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields, make_dataclass
from typing import Any, TypeVar, dataclass_transform

C = TypeVar("C")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def record(cls: type[C]) -> type[C]:
    """A class decorator: ``dataclass(frozen=True, slots=True)``, quick to make.

    It pays from some eight fields on. There is no ``__post_init__``, and no ordering.

    >>> @record
    ... class Hole:
    ...     size: float
    ...     depth: float = 1
    >>> Hole(2), Hole(size=2) == Hole(2, 1)
    (Hole(size=2, depth=1), True)
    >>> Hole(2).size = 3
    Traceback (most recent call last):
    ...
    dataclasses.FrozenInstanceError: cannot assign to field 'size'
    """
    frozen: Any = dataclass(frozen=True, slots=True, init=False)(cls)
    known = [
        (
            item.name,
            item.type,
            field(
                default=item.default,
                default_factory=item.default_factory,
                init=item.init,
                kw_only=item.kw_only,
            ),
        )
        for item in fields(frozen)
    ]
    fill: Callable[..., None] = make_dataclass("Filled", known, slots=True).__init__  # type: ignore[misc]
    slots = {"__slots__": frozen.__slots__, "__setattr__": object.__setattr__}
    open_ = type(frozen.__name__, frozen.__bases__, slots)
    empty = object.__new__

    def new(kind: type[Any], /, *values: Any, **named: Any) -> Any:
        made: Any = empty(open_)
        fill(made, *values, **named)
        made.__class__ = kind
        return made

    def again(self: Any) -> tuple[Any, ...]:
        stated = {item.name: getattr(self, item.name) for item in fields(self) if item.init}
        return _again, (type(self), stated)

    fill.__qualname__ = f"{frozen.__qualname__}.__init__"
    new.__wrapped__ = fill  # type: ignore[attr-defined] # its signature is shown for the class
    frozen.__new__ = new
    frozen.__reduce__ = again
    done: type[C] = frozen
    return done


def _again(kind: type[C], stated: dict[str, Any]) -> C:
    return kind(**stated)
