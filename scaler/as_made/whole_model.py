"""Ways out by choosing again for all that is left: what single changes cannot mend.

What a reading has broken is looked at together with the sizes around it. First only the sizes that
stand in what is broken may change, then their neighbours, then all that hangs together with them;
all else stays as it is planned. Each time the whole-model programme looks for the best choice. Where
even that finds none, nothing that is still to be made can serve: that is proved, said in words, and
what would have to be given up is proposed instead.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from scaler.as_made.bench import Edits, Index, Key, Reach, base, part_of_model
from scaler.problems import InputError
from scaler.records import Choice, Model, Option, Size, State

if TYPE_CHECKING:
    from scaler.substitution.solver import Clock
    from scaler.substitution.task import Task

RINGS = 2
"""How far from what is broken sizes may change before all of them may."""
SECONDS = 8.0
MOST = 4
"""Ways that give something up, at most."""
KINDS = frozenset({"recut", "reach", "remake", "basis", "option"})
"""What may be given up or added to make a choice possible; a looser fit is what accepting comes to."""


@dataclass
class WholeModel:
    """Proposes changes to several sizes at once; to be given to ``measure`` as ``propose``.

    ``seconds`` is how long all of it may take; ``last_resort`` False has it asked also where single
    changes to sizes not made yet mend what is broken. ``why_not`` says afterwards, statement by statement,
    why no choice of what is still to be made serves, where that was proved.
    """

    seconds: float = SECONDS
    last_resort: bool = True
    why_not: tuple[str, ...] = field(default=(), init=False)

    def __call__(self, model: Model, ids: tuple[str, ...]) -> Iterator[tuple[str, Edits]]:
        """Changes, with words for those that give something up; the rest speak for themselves."""
        from scaler.substitution.solver import Clock

        self.why_not = ()
        clock = Clock(self.seconds)
        index = Index(model)
        keys = [key for key in index.names_of if key[1] in {base(name) for name in ids}]
        reach = _all_around(model, index, keys)
        piece = part_of_model(model, index, reach)
        try:
            for free in _rings(model, index, keys, reach):
                task = _solved(_locked(piece, free), clock)
                if task.status in ("optimal", "feasible"):
                    yield "", Edits(choices=_changes(piece, task))
                    return
            if task.status == "impossible":
                yield from self._given_up(piece, task, clock)
        except InputError:
            return

    def _given_up(self, piece: Model, task: Task, clock: Clock) -> Iterator[tuple[str, Edits]]:
        """Why nothing serves, and what serves where something is given up."""
        from scaler.substitution.conflicts import conflicts_of

        conflicts, together = conflicts_of(task, clock, MOST)
        self.why_not = tuple(found.text for found in conflicts if found.reduced)
        ways = [way for found in conflicts for way in found.ways_out]
        ways += [way for several in together for way in several.ways_out]
        for way in dict.fromkeys(ways):
            if way.model is None or not set(way.kinds) <= KINDS:
                continue
            again = _solved(way.model, clock)
            if again.status not in ("optimal", "feasible"):
                continue
            put_in = _put_in(piece, way.model)
            chosen = {
                name: choice
                for name, choice in _changes(way.model, again).items()
                if base(name) not in put_in.touched()
            }
            differences = _differences(put_in.on(piece), way.model)
            yield "; ".join(way.changes), put_in.plus(differences).plus(Edits(choices=chosen))


def _fixed(model: Model, name: str) -> bool:
    """Whether a size can no longer be changed, all its copies alike."""
    size = model.sizes[name]
    if (name, "") in model.readings or size.made is not None:
        return True
    copies = model.parts[size.part].copies
    read = bool(copies) and all((name, copy) in model.readings for copy in copies)
    return read or size.state in (State.LOCKED, State.BOUGHT, State.MADE)


def _all_around(model: Model, index: Index, keys: Iterable[Key]) -> Reach:
    """All sizes and statements that hang together with some statements, through what is open."""
    found_keys, found_sizes = dict.fromkeys(keys), dict[str, None]()
    stack = [name for key in found_keys for name in index.names_of[key]]
    offered = [option for option in model.options.values() if option.use is None]
    while stack or (stack := _with_options(model, index, offered, found_sizes, found_keys)):
        name = stack.pop()
        if name in found_sizes:
            continue
        found_sizes[name] = None
        stack += index.up[name]
        if _fixed(model, name):
            continue
        stack += index.down.get(name, ())
        for key in (*index.named_in.get(name, ()), *index.solving.get(name, ())):
            if key not in found_keys:
                found_keys[key] = None
                stack += index.names_of[key]
    return Reach(tuple(found_sizes), tuple(found_keys))


def _with_options(
    model: Model,
    index: Index,
    offered: Iterable[Option],
    sizes: Mapping[str, None],
    keys: dict[Key, None],
) -> list[str]:
    """The sizes and statements (added to the keys) that options change along with those found."""
    more: dict[str, None] = {}
    for option in offered:
        within = [(what, name) for what, _, name in (k.partition(" ") for k in option.within)]
        if not sizes.keys().isdisjoint(option.gives):
            more |= dict.fromkeys(option.gives)
            within = [key for name in option.gives for key in index.keys_of(name)]
        elif keys.keys().isdisjoint(within):
            continue
        keys |= dict.fromkeys(within)
        more |= dict.fromkeys(name for key in within for name in index.names_of[key])
    return [name for name in more if name not in sizes]


def _rings(
    model: Model, index: Index, keys: Iterable[Key], reach: Reach
) -> Iterator[frozenset[str]]:
    """The sizes that may change: those of what is broken, then also their neighbours, then all."""
    near = dict.fromkeys(name for key in keys for name in index.names_of[key])
    every = frozenset(reach.sizes)
    for _ in range(RINGS):
        if len(near) >= len(every):
            break
        yield frozenset(near)
        more = [
            other
            for name in near
            if not _fixed(model, name)
            for key in index.named_in.get(name, ())
            for other in index.names_of[key]
        ]
        near |= dict.fromkeys(more)
    yield every


def _locked(piece: Model, free: frozenset[str]) -> Model:
    """The piece with all other sizes kept at what is planned for them."""

    def kept(size: Size) -> Size:
        shut = size.id not in free and size.state in (State.NOT_MADE, State.PART_MADE)
        return replace(size, state=State.LOCKED) if shut else size

    return replace(piece, sizes={name: kept(size) for name, size in piece.sizes.items()})


def _solved(piece: Model, clock: Clock) -> Task:
    """The best choice of a piece; copies are chosen apart where no choice for all alike serves."""
    from scaler.substitution.own_copies import parted
    from scaler.substitution.solver import Clock
    from scaler.substitution.task import Task

    task = Task(piece, Clock(max(clock.left, 0.5)))
    task.solve()
    if task.status == "impossible":
        apart = parted(piece, task.compiled, task.stuck())
        if apart is not piece:
            task = Task(apart, Clock(max(clock.left, 0.5)), before=task)
            task.solve()
    return task


def _changes(piece: Model, task: Task) -> Mapping[str, Choice | None]:
    """The choices that are other ones than those that stand."""
    from scaler.substitution.verify import choices_of

    found: dict[str, Choice | None] = {}
    for name, choice in choices_of(task.compiled, task.picks()).items():
        old = piece.choices.get(name)
        if old is None or (old.value, old.method, old.row) != (
            choice.value,
            choice.method,
            choice.row,
        ):
            found[name] = choice
    return found


def _put_in(before: Model, after: Model) -> Edits:
    """The options that another model of the same parts uses beside those of the first."""
    used = {n: o for n, o in after.options.items() if o.use is not None}
    return Edits(options={n: o for n, o in used.items() if before.options[n].use is None})


def _differences(before: Model, after: Model) -> Edits:
    """What is described otherwise in another model of the same sizes."""
    return Edits(
        readings={key: None for key in before.readings if key not in after.readings},
        choices={name: None for name in before.choices if name not in after.choices},
        sizes={n: s for n, s in after.sizes.items() if before.sizes.get(n) != s},
        pairs={n: p for n, p in after.pairs.items() if before.pairs.get(n) != p},
        conditions={n: c for n, c in after.conditions.items() if before.conditions.get(n) != c},
    )
