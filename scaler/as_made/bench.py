"""The findings of a model kept up to date as sizes are measured: only what hangs on a size anew.

A change to a size reaches the sizes worked out from it, the statements that name any of those, and
whatever those statements leave to a last cut. These are cut out of the model, together with all
that their figures rest on, as a small model of their own, and that is checked in the ordinary way.
The rest stays as it was found. What comes out is what a check of the whole model would say.
"""

from __future__ import annotations

from collections import ChainMap
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import TYPE_CHECKING, TypeVar

from scaler.checking.check import Checker, Finding
from scaler.expressions import names
from scaler.reading import options
from scaler.reading.bases import fill_bases
from scaler.reading.entries import Entries, Entry
from scaler.reading.toml_lines import Source
from scaler.records import (
    Basis,
    BasisKind,
    Choice,
    Condition,
    Model,
    Option,
    Pair,
    Reading,
    Size,
    State,
    Verdict,
)
from scaler.settling.settle import Settled
from scaler.settling.solve import Value, middle

if TYPE_CHECKING:
    from scaler.checking.workability import WorkFinding

Key = tuple[str, str]
"""A pair or condition: what it is, and its name."""
K = TypeVar("K")
V = TypeVar("V")
LAID = 16
"""What has changed is laid flat once it is so many parts of what was found first."""
_NOT_OPEN = (State.MADE, State.BOUGHT, State.LOCKED)
_RANK = {Verdict.HOLDS: 0, Verdict.REFUSED: 0, Verdict.DOUBTFUL: 1}


def base(name: str) -> str:
    """A size's name without its copy.

    >>> base("piston.diameter@left")
    'piston.diameter'
    """
    return name.partition("@")[0]


def rank(verdict: Verdict) -> int:
    """How bad a verdict is: 0 holds, 1 doubtful, 2 tight, loose or fails."""
    return _RANK.get(verdict, 2)


@dataclass(frozen=True)
class Edits:
    """What is to be looked at otherwise: readings and choices (None takes one out; a choice may be
    of ``part.size@copy``), sizes as described, pairs and conditions; before all these, options put
    in (each with the ``use`` that is decided on)."""

    readings: Mapping[tuple[str, str], Reading | None] = field(default_factory=dict)
    choices: Mapping[str, Choice | None] = field(default_factory=dict)
    sizes: Mapping[str, Size] = field(default_factory=dict)
    pairs: Mapping[str, Pair] = field(default_factory=dict)
    conditions: Mapping[str, Condition] = field(default_factory=dict)
    options: Mapping[str, Option] = field(default_factory=dict)

    def plus(self, other: Edits) -> Edits:
        """Both; what the other says of the same thing counts."""
        return Edits(
            {**self.readings, **other.readings},
            {**self.choices, **other.choices},
            {**self.sizes, **other.sizes},
            {**self.pairs, **other.pairs},
            {**self.conditions, **other.conditions},
            {**self.options, **other.options},
        )

    def touched(self) -> tuple[str, ...]:
        """The sizes that are read, chosen or described otherwise."""
        chosen = map(base, self.choices)
        put_in = [name for option in self.options.values() for name in options.brought(option)]
        return tuple(dict.fromkeys([*(s for s, _ in self.readings), *chosen, *self.sizes, *put_in]))

    def keys(self) -> tuple[Key, ...]:
        """The pairs and conditions that are stated otherwise."""
        stated = [*(("pair", name) for name in self.pairs)]
        stated += [("condition", name) for name in self.conditions]
        for option in self.options.values():
            stated += [(what, name) for what, _, name in (k.partition(" ") for k in option.within)]
        return tuple(dict.fromkeys(stated))

    def touches_basis(self) -> bool:
        """Whether a statement is stated otherwise."""
        return bool(self.pairs or self.conditions)

    def on(self, model: Model) -> Model:
        """The model with these edits."""
        for option in self.options.values():
            model = options.used(model, option)
        changes: dict[str, object] = {}
        if self.readings:
            changes["readings"] = _merged(model.readings, self.readings)
        if self.choices:
            changes["choices"] = _merged(model.choices, self.choices)
        if self.sizes:
            changes["sizes"] = {**model.sizes, **self.sizes}
        if self.pairs:
            changes["pairs"] = {**model.pairs, **self.pairs}
        if self.conditions:
            changes["conditions"] = {**model.conditions, **self.conditions}
        return replace(model, **changes) if changes else model  # type: ignore[arg-type]


def _merged(old: Mapping[K, V], new: Mapping[K, V | None]) -> dict[K, V]:
    merged = dict(old)
    for key, value in new.items():
        if value is None:
            merged.pop(key, None)
        else:
            merged[key] = value
    return merged


class Index:
    """What names what in a model: made once, and the same however its sizes are measured."""

    def __init__(self, model: Model) -> None:
        self.up: dict[str, tuple[str, ...]] = {}
        self.down: dict[str, list[str]] = {}
        self.names_of: dict[Key, tuple[str, ...]] = {}
        self.named_in: dict[str, list[Key]] = {}
        self.solving: dict[str, list[Key]] = {}
        self.sizes_of: dict[str, list[str]] = {}
        self._keys: dict[str, tuple[Key, ...]] = {}
        self.position = {name: n for n, name in enumerate(model.sizes)}
        for size in model.sizes.values():
            self.sizes_of.setdefault(size.part, []).append(size.id)
            makers = _makers(size)
            self.up[size.id] = makers
            for maker in makers:
                self.down.setdefault(maker, []).append(size.id)
        self.mates: dict[str, list[str]] = {}  # sizes of one part that are columns of one row
        for group in model.row_groups:
            for name in group:
                self.mates.setdefault(name, []).extend(other for other in group if other != name)
        self._drawn: dict[tuple[int, int], list[str]] = {}
        for size in model.sizes.values():
            if size.full is not None:
                self._drawn.setdefault(size.full.as_integer_ratio(), []).append(size.id)
        unknown = {size.id for size in model.sizes.values() if _undetermined(size)}
        for pair in model.pairs.values():
            self._add(("pair", pair.id), (*names(pair.inner), *names(pair.outer)))
        for item in model.conditions.values():
            key = ("condition", item.id)
            self._add(key, names(item.expression))
            solved = [n for n in self.names_of[key] if n in unknown] if item.equality else []
            for name in solved:
                self.solving.setdefault(name, []).append(key)
                for other in self.names_of[key]:
                    if other != name:
                        self.down.setdefault(other, []).append(name)
        self.order = {key: n for n, key in enumerate(self.names_of)}

    def drawn_alike(self, full: Fraction) -> tuple[str, ...]:
        """The sizes that are drawn with one figure."""
        return tuple(self._drawn.get(full.as_integer_ratio(), ()))

    def keys_of(self, size: str) -> tuple[Key, ...]:
        """The statements that a size enters, also through sizes worked out from it, in order."""
        if size not in self._keys:
            found = set(self.named_in.get(size, ()))
            stack, seen = [*self.down.get(size, ()), *self.mates.get(size, ())], {size}
            while stack:
                other = stack.pop()
                if other not in seen:
                    seen.add(other)
                    found |= set(self.named_in.get(other, ()))
                    stack += (*self.down.get(other, ()), *self.mates.get(other, ()))
            self._keys[size] = tuple(sorted(found, key=self.order.__getitem__))
        return self._keys[size]

    def _add(self, key: Key, named: Iterable[str]) -> None:
        self.names_of[key] = tuple(dict.fromkeys(base(name) for name in named))
        for name in self.names_of[key]:
            self.named_in.setdefault(name, []).append(key)


def _makers(size: Size) -> tuple[str, ...]:
    found: list[str] = []
    if size.equals is not None:
        found += names(size.equals)
    for method in size.rule:
        if method.argument is not None:
            found += names(method.argument)
    return tuple(dict.fromkeys(base(name) for name in found))


def _undetermined(size: Size) -> bool:
    """Whether only conditions can fix a size where it is not read or chosen."""
    if size.full is not None or size.equals is not None:
        return False
    return not any(method.way in ("given", "follow", "standard") for method in size.rule)


def statement_of(model: Model, key: Key) -> Pair | Condition:
    """The pair or condition of a key."""
    return model.pairs[key[1]] if key[0] == "pair" else model.conditions[key[1]]


def last_of(model: Model, key: Key) -> str:
    """The size that a statement leaves to the last cut, '' where it leaves none."""
    basis = statement_of(model, key).basis
    return base(basis.last) if basis.kind is BasisKind.LAST_CUT else ""


@dataclass(frozen=True)
class Reach:
    """What a change reaches: the sizes worked out or cut otherwise, and the statements on them."""

    sizes: tuple[str, ...]
    keys: tuple[Key, ...]


class Bench:
    """A model with its findings. It never changes; :meth:`after` gives another one."""

    def __init__(
        self,
        model: Model,
        index: Index,
        found: ChainMap[Key, tuple[Finding, ...]],
        values: ChainMap[str, Value | None],
        results: ChainMap[str, Settled],
        changed: Reach,
        work: Mapping[str, tuple[WorkFinding, ...]] | None = None,
        stale: frozenset[str] = frozenset(),
        whole: Checker | None = None,
    ) -> None:
        self.model, self.index = model, index
        self.found, self._values, self.results = found, values, results
        self.changed = changed
        self._near: dict[str, Checker] = {}
        self._work, self._stale, self._whole = work, stale, whole

    @classmethod
    def opened(
        cls, model: Model, index: Index | None = None, checker: Checker | None = None
    ) -> Bench:
        """The bench of a model, from one check of the whole of it (the one given, or a new one).

        Raises InputError where its sizes are left open or contradict each other.
        """
        index = index or Index(model)
        checker = checker or Checker(model)
        found = _by_key(checker.findings, index)
        everything = Reach(tuple(model.sizes), tuple(index.names_of))
        return cls(
            model,
            index,
            ChainMap(found),
            ChainMap(dict(checker.values)),
            ChainMap(dict(checker.settlement.results)),
            everything,
            whole=checker,
        )

    @property
    def values(self) -> dict[str, Value]:
        """What every size is worth, and each copy (``size@copy``) that differs from it [mm]."""
        return {name: value for name, value in self._values.items() if value is not None}

    def worth(self, name: str) -> Value | None:
        """What a size, or a copy of it that differs (``size@copy``), is worth; None if unknown."""
        return self._values.get(name)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings, in the order of the files."""
        return tuple(f for key in self.index.order for f in self.found.get(key, ()))

    @property
    def work(self) -> Mapping[str, tuple[WorkFinding, ...]]:
        """The checks of workability by part: worked out when first asked for, and then, as sizes
        are measured, for the parts that these reach."""
        from scaler.checking.workability import by_part

        if self._work is None:
            self._work = by_part(self._whole or Checker(self.model), self.model.parts)
        elif self._stale:
            sizes = [name for part in self._stale for name in self.index.sizes_of[part]]
            reach = Reach(tuple(sizes), ())
            checker = Checker(part_of_model(self.model, self.index, reach))
            self._work = {**self._work, **by_part(checker, self._stale)}
        self._stale = frozenset()
        return self._work

    @property
    def workability(self) -> tuple[WorkFinding, ...]:
        """The checks of workability, in the order of the parts."""
        work = self.work
        return tuple(f for part in self.model.parts for f in work[part])

    def fails(self, *, strict: bool = False) -> bool:
        """Whether anything fails (or, strictly, is doubtful), as a check of the whole model says."""
        if any(f.fails for found in self.found.values() for f in found):
            return True
        if strict and any(f.verdict is Verdict.DOUBTFUL for f in self.findings):
            return True
        work = (f for found in self.work.values() for f in found)
        return any(f.fails or (strict and f.doubtful) for f in work)

    def finding(self, identity: str, what: str = "") -> Finding | None:
        """The finding of a pair or condition (``name`` or ``name@copy``)."""
        for kind in (what,) if what else ("pair", "condition"):
            for finding in self.found.get((kind, base(identity)), ()):
                if finding.statement.id == identity:
                    return finding
        return None

    def value(self, size: str, copy: str = "") -> Fraction | None:
        """The size, or that copy of it, at present [mm]."""
        found = self.worth(f"{size}@{copy}") if copy else None
        found = found if found is not None else self.worth(size)
        return None if found is None else middle(found)

    def is_made(self, size: str, copy: str = "") -> bool:
        """Whether a size (of that copy) can no longer be chosen: read, made, bought or locked."""
        return self.is_read(size, copy) or self.model.sizes[size].state in _NOT_OPEN

    def is_read(self, size: str, copy: str = "") -> bool:
        """Whether it is known what a size (of that copy; else of any) came out at."""
        model = self.model
        if (size, copy) in model.readings or (size, "") in model.readings:
            return True
        if not copy and any((size, c) in model.readings for c in self.copies(size)):
            return True
        return model.sizes[size].made is not None

    def copies(self, size: str) -> tuple[str, ...]:
        """The named copies of the part that a size belongs to."""
        return self.model.parts[self.model.sizes[size].part].copies

    def settled(self, size: str) -> Settled:
        """How a size has been settled: value, method and row."""
        return self.results[size]

    def near(self, size: str) -> Checker:
        """A checker of all that a change to one size would reach."""
        if size not in self._near:
            reach = _reach(self.model, self.index, (size,), ())
            self._near[size] = Checker(part_of_model(self.model, self.index, reach))
        return self._near[size]

    def of_part(self, part: str) -> Checker:
        """A checker of one part: all its sizes, with what they rest on."""
        reach = Reach(tuple(self.index.sizes_of.get(part, ())), ())
        return Checker(part_of_model(self.model, self.index, reach))

    def kept(self) -> Bench:
        """This bench, as one to go on from: what many changes have laid over it is made one."""
        self.found, self._values = _flat(self.found), _flat(self._values)
        self.results = _flat(self.results)
        return self

    def after(self, edits: Edits) -> Bench:
        """The bench with these edits: what they reach is worked out anew, the rest kept.

        Raises InputError where the sizes then contradict each other or cannot be worked out.
        """
        model = edits.on(self.model)
        index = Index(model) if edits.options else self.index
        if any(_makers(size) != index.up[name] for name, size in edits.sizes.items()):
            return Bench.opened(model)
        keys = edits.keys()
        bases = _rebased(model, index, edits)
        if bases:
            model = replace(model, pairs={**model.pairs, **bases})
            keys = (*keys, *(("pair", name) for name in bases))
        reach = _reach(model, index, edits.touched(), keys)
        checker = Checker(part_of_model(model, index, reach))
        wanted = set(reach.keys)
        statements = [s for s in checker.statements if (s.what, base(s.id)) in wanted]
        fresh = _by_key((checker.finding(item) for item in statements), index)
        found = _over(self.found, {key: fresh.get(key, ()) for key in reach.keys})
        values: dict[str, Value | None] = {  # None: the copy no longer differs from the size
            f"{size}@{copy}": None
            for size in reach.sizes
            for copy in model.parts[model.sizes[size].part].copies
        }
        for name, value in checker.values.items():
            if base(name) in index.position:
                values[name] = value
        touched = {model.sizes[size].part for size in reach.sizes}
        stale = self._stale | touched  # of these it is worked out anew, when asked for
        return Bench(
            model,
            index,
            found,
            _over(self._values, values),
            _over(self.results, dict(checker.settlement.results)),
            reach,
            self._work,
            stale,
        )


def _over(before: ChainMap[K, V], now: dict[K, V]) -> ChainMap[K, V]:
    """What is new laid over what was found first, with what was already laid over that."""
    *laid, first = before.maps
    return ChainMap({**(laid[0] if laid else {}), **now}, first)


def _flat(layers: ChainMap[K, V]) -> ChainMap[K, V]:
    """Both layers in one, once what is laid over has grown."""
    *laid, first = layers.maps
    if not laid or len(laid[0]) < len(first) / LAID:
        return layers
    return ChainMap({**first, **laid[0]})


def _by_key(findings: Iterable[Finding], index: Index) -> dict[Key, tuple[Finding, ...]]:
    found: dict[Key, list[Finding]] = {}
    for finding in findings:
        item = finding.statement
        found.setdefault((item.what, base(item.id)), []).append(finding)
    return {key: tuple(items) for key, items in found.items()}


def _reach(model: Model, index: Index, sizes: Iterable[str], keys: Iterable[Key]) -> Reach:
    """What changes when these sizes and statements do."""
    reached = dict.fromkeys(sizes)
    stack = list(reached)
    hanging: dict[Key, None] = {}

    def hang(key: Key) -> None:
        if key not in hanging:
            hanging[key] = None
            last = last_of(model, key)
            if last and last not in reached:
                reached[last] = None
                stack.append(last)

    for key in keys:
        hang(key)
    while stack:
        size = stack.pop()
        for made in (*index.down.get(size, ()), *index.mates.get(size, ())):
            if made not in reached:
                reached[made] = None
                stack.append(made)
        for key in index.named_in.get(size, ()):
            hang(key)
    return Reach(tuple(reached), tuple(hanging))


def part_of_model(model: Model, index: Index, reach: Reach) -> Model:
    """The part of a model that the figures of what is reached rest on, as a model of its own."""
    sizes: dict[str, None] = {}
    keys = dict.fromkeys(reach.keys)
    stack = list(reach.sizes)
    for key in reach.keys:
        stack += index.names_of[key]
    while stack:
        size = stack.pop()
        if size in sizes:
            continue
        sizes[size] = None
        stack += (*index.up[size], *index.mates.get(size, ()))
        more = [key for key in index.named_in.get(size, ()) if last_of(model, key) == size]
        for key in (*more, *index.solving.get(size, ())):
            if key not in keys:
                keys[key] = None
                stack += index.names_of[key]
    ordered = sorted(sizes, key=index.position.__getitem__)
    chosen = sorted(keys, key=index.order.__getitem__)
    parts = dict.fromkeys(model.sizes[size].part for size in ordered)
    return replace(
        model,
        sizes={size: model.sizes[size] for size in ordered},
        parts={part: model.parts[part] for part in parts},
        pairs={name: model.pairs[name] for what, name in chosen if what == "pair"},
        conditions={name: model.conditions[name] for what, name in chosen if what != "pair"},
        choices={
            name: model.choices[name]
            for size in ordered
            for name in (size, *(f"{size}@{c}" for c in model.parts[model.sizes[size].part].copies))
            if name in model.choices
        },
        readings={
            (size, copy): model.readings[size, copy]
            for size in ordered
            for copy in ("", *model.parts[model.sizes[size].part].copies)
            if (size, copy) in model.readings
        },
    )


def _rebased(model: Model, index: Index, edits: Edits) -> dict[str, Pair]:
    """Pairs that state no basis and get another one now that a size of theirs is (not) read."""
    read = {size for size, copy in edits.readings if not copy}
    touched = dict.fromkeys(key for size in read for key in index.named_in.get(size, ()))
    pairs = [model.pairs[name] for what, name in touched if what == "pair"]
    open_ = {pair.id: pair for pair in pairs if not pair.basis.stated}
    if not open_:
        return {}
    named = [name for pair in open_ for name in index.names_of["pair", pair]]
    small = part_of_model(model, index, _reach(model, index, named, ()))
    blank = Basis(BasisKind.BOTH_LIMITS, stated=False)
    reset = {name: replace(pair, basis=blank) for name, pair in open_.items()}
    again = fill_bases(
        replace(small, pairs={**small.pairs, **reset}),
        Entries(pairs=_Blank(), conditions=_Blank()),
    )
    return {name: again.pairs[name] for name, pair in open_.items() if again.pairs[name] != pair}


class _Blank(dict[str, Entry]):
    """Entries of a model that has been read already: nothing is reported in them again."""

    def __missing__(self, name: str) -> Entry:
        return Entry("pair", name, {}, Source("", ""), ())
