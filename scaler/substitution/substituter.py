"""A whole-model choice kept up to date: after a change to one size, only its component anew.

The components of a model do not touch each other, so that a change to one size leaves the best
choice of all the others as it was. What the size touches is cut out as a small model of its own and
chosen for in the ordinary way; its costs, levels and choices take the place of the old ones.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from scaler.as_made.bench import Index, base
from scaler.as_made.changes import drawn
from scaler.as_made.input import known_size
from scaler.measures.lengths import LengthError, parse_length
from scaler.problems import InputError, Problem
from scaler.records import Choice, Model, Size
from scaler.substitution.compiled import linked_sizes
from scaler.substitution.options import ZERO
from scaler.substitution.outcome import Outcome, sections_of, total
from scaler.substitution.records import LEVELS, Level, SizeChoice, Substitution
from scaler.substitution.solver import Clock, Solver
from scaler.substitution.substitute import best_of
from scaler.substitution.task import Task, levels_of, worst
from scaler.substitution.verify import kept_choices, part_of

LENGTHS = ("reach", "made")
"""Fields of a size that may be given as text with a unit, besides its full size."""


def _length(size: Size, field_: str, value: object) -> object:
    """What a field is to hold: a length given as text is read."""
    if field_ not in LENGTHS or not isinstance(value, str):
        return value
    try:
        return parse_length(value).mm
    except LengthError as error:
        headline = f"{field_} of {size.id}: {error.problem}"
        raise InputError(
            [Problem("cannot-change", headline, size.place, value, error.expected, error.advice)]
        ) from None


@dataclass(frozen=True, slots=True)
class Entry:
    """One component as it stands: its open sizes, its statements, what came of it."""

    names: tuple[str, ...]
    keys: tuple[str, ...]
    outcome: Outcome
    levels: tuple[int, int, int]
    sections: frozenset[str]


@dataclass
class Ledger:
    """What all components come to, kept by addition and subtraction."""

    entries: dict[int, Entry] = field(default_factory=dict)
    home: dict[str, int] = field(default_factory=dict)
    fixed: dict[str, Fraction] = field(default_factory=dict)
    sections: Counter[str] = field(default_factory=Counter)
    cost: Fraction = ZERO
    bound: Fraction = ZERO
    levels: list[int] = field(default_factory=lambda: [0, 0, 0])
    statuses: Counter[str] = field(default_factory=Counter)
    number: int = 0

    def add(self, task: Task) -> None:
        """All components of a task, and its sizes that are no longer open."""
        fixed = task.fixed_costs()
        self.fixed.update(fixed)
        settled = total(fixed.values())
        self.cost += settled + total(outcome.cost for outcome in task.outcomes)
        self.bound += settled + total(outcome.bound for outcome in task.outcomes)
        for part, outcome in zip(task.parts, task.outcomes, strict=True):
            used = frozenset(sections_of(part, outcome.picks))
            levels = levels_of(part, outcome)
            entry = Entry(tuple(part.names), tuple(part.keys), outcome, levels, used)
            self.entries[self.number] = entry
            self.home.update(dict.fromkeys(part.names, self.number))
            self.number += 1
            self.count(entry, 1)

    def count(self, entry: Entry, sign: int) -> None:
        """Adds or takes away what is counted rather than summed."""
        self.statuses[entry.outcome.status] += sign
        for level, reached in enumerate(entry.levels):
            self.levels[level] += sign * reached
        for section in entry.sections:
            self.sections[section] += sign

    def take(self, numbers: Iterable[int], settled: Iterable[str]) -> None:
        """Takes components out, and sizes that were no longer open."""
        gone = [self.entries.pop(number) for number in numbers]
        fixed = total(self.fixed.pop(name, ZERO) for name in settled)
        self.cost -= fixed + total(entry.outcome.cost for entry in gone)
        self.bound -= fixed + total(entry.outcome.bound for entry in gone)
        for entry in gone:
            for name in entry.names:
                del self.home[name]
            self.count(entry, -1)


class Substituter:
    """A model with its best whole-model choice, kept up to date as its sizes are changed.

    Parameters
    ----------
    model, seconds, slack, levels : as for :func:`scaler.substitute`; ``seconds`` for each choice

    Notes
    -----
    After a change the cost, the bound and the levels are those that ``substitute`` finds for the
    changed model. The choices of components that the change does not touch stay as they are: where
    several choices are equal in all but the sections and tools they share with others, a choice for
    the whole model anew may settle on another of them. Conflicts, alternatives and prices are not
    worked out; ``substitute`` gives them.

    Examples
    --------
    >>> import scaler.examples
    >>> choice = Substituter(scaler.examples.load("starter"))
    >>> choice.change("stretcher.length", full="1 ft 6 1/4 in").status
    'optimal'
    """

    def __init__(
        self,
        model: Model,
        *,
        seconds: float = 60,
        slack: Fraction | int = 0,
        levels: bool = True,
    ) -> None:
        self.seconds, self.slack, self.levels = seconds, Fraction(slack), levels
        self._solver: Solver | None = None
        self._opened(model)

    def _opened(self, model: Model) -> None:
        """The whole model chosen for."""
        self.model = model
        self.index = Index(model)
        self.linked = linked_sizes(model)
        self.ledger = Ledger()
        task, result = best_of(Task(model, Clock(self.seconds), self.slack, self.levels))
        self._solver = task.kept_solver
        self.exact = task.exact
        self.drawn = max(1, task.drawn)
        self.ledger.add(task)
        self._choices: dict[str, SizeChoice | None] = dict.fromkeys(model.sizes)
        self._choices.update((choice.size, choice) for choice in result.choices)
        self._recorded: dict[str, Choice] = dict(result.model.choices)
        self._doubtful = dict(result.doubtful)
        self.touched: tuple[str, ...] = tuple(model.sizes)
        self.best = result

    def change(self, size: str, **fields: object) -> Substitution:
        """The best choice with a size described otherwise.

        Parameters
        ----------
        size : ``part.size``
        fields : fields of :class:`scaler.records.Size`; ``full`` as for
            :meth:`scaler.Workbench.redraw`, ``reach`` and ``made`` [mm] also as text with a unit

        Returns
        -------
        Substitution of the whole model; ``touched`` then names the sizes that were chosen anew.

        Raises
        ------
        TypeError for a field that sizes have not; InputError for a size that the model has not, a
        figure that cannot be read, and where the sizes then contradict each other or are left open.
        """
        before = after = known_size(self.model, size)
        given = {name: _length(before, name, value) for name, value in fields.items()}
        if isinstance(given.get("full"), (str, int, float)):
            after = drawn(self.model, size, given.pop("full"))  # type: ignore[arg-type]
        after = replace(after, **given)  # type: ignore[arg-type]
        model = replace(self.model, sizes={**self.model.sizes, size: after})
        if shape(before) != shape(after):
            self._opened(model)
            return self.best
        linked = self.linked.get(size, ())
        numbers = dict.fromkeys(n for name in (size, *linked) for n in self._reached(name))
        parts = dict.fromkeys(name.partition(".")[0] for name in (size, *linked))
        for number in numbers:
            parts.update(dict.fromkeys(self._parts(number)))
        near = [name for part in parts for name in self.index.sizes_of[part]]
        numbers.update(dict.fromkeys(self._homes(near)))
        piece = self._piece(model, size, numbers, near)
        while more := [n for n in self._homes(piece.sizes) if n not in numbers]:
            numbers.update(dict.fromkeys(more))
            piece = self._piece(model, size, numbers, near)
        self._again(model, piece, list(numbers))
        return self.best

    def _parts(self, number: int) -> Iterable[str]:
        """The parts that the sizes of a component belong to."""
        own = map(base, self.ledger.entries[number].names)
        return (self.model.sizes[name].part for name in own if name in self.model.sizes)

    def _homes(self, names: Iterable[str]) -> Iterable[int]:
        """The components of those sizes that are open."""
        return (self.ledger.home[name] for name in names if name in self.ledger.home)

    def _reached(self, size: str) -> list[int]:
        """The components that a size enters: its own, and those of the statements that name it or
        what is worked out from it."""
        index, home = self.index, self.ledger.home
        down, stack = {size: None}, [size]
        while stack:
            for other in index.down.get(stack.pop(), ()):
                if other not in down:
                    down[other] = None
                    stack.append(other)
        keys = dict.fromkeys(key for name in down for key in index.named_in.get(name, ()))
        stack = [*down, *(name for key in keys for name in index.names_of[key])]
        seen = dict.fromkeys(stack)
        while stack:
            for other in index.up.get(stack.pop(), ()):
                if other not in seen:
                    seen[other] = None
                    stack.append(other)
        return list(dict.fromkeys(home[name] for name in seen if name in home))

    def _piece(self, model: Model, size: str, numbers: Iterable[int], near: list[str]) -> Model:
        """Some components, and all sizes of the parts they lie in, as a model of its own."""
        entries = [self.ledger.entries[number] for number in numbers]
        keys = [key for entry in entries for key in entry.keys]
        keys += [f"{what} {name}" for what, name in self.index.keys_of(size)]
        names = [base(name) for entry in entries for name in entry.names]
        piece = part_of(model, self.exact, [size, *near, *names], keys)
        order = self.index.position
        return replace(
            piece,
            sizes={name: piece.sizes[name] for name in sorted(piece.sizes, key=order.__getitem__)},
            pairs={name: item for name, item in model.pairs.items() if name in piece.pairs},
            conditions={n: c for n, c in model.conditions.items() if n in piece.conditions},
        )

    def _again(self, model: Model, piece: Model, numbers: Sequence[int]) -> None:
        """Chooses for a piece anew, in place of some components."""
        ledger = self.ledger
        entries = [ledger.entries[number] for number in numbers]
        inside = Counter(section for entry in entries for section in entry.sections)
        used = [section for section, count in ledger.sections.items() if count > inside[section]]
        task = Task(piece, Clock(self.seconds), self.slack, self.levels, used=used)
        task.kept_solver = self._solver
        task.slack = self.slack * task.drawn / self.drawn
        task, result = best_of(task)
        self._solver = task.kept_solver
        ledger.take(numbers, piece.sizes)
        ledger.add(task)
        self.model = model
        self.touched = tuple(piece.sizes)
        changed: dict[str, SizeChoice | None] = dict.fromkeys(piece.sizes)
        changed.update((choice.size, choice) for choice in result.choices)
        self._choices.update(changed)
        for name in piece.sizes:
            self._recorded.pop(name, None)
        self._recorded.update(kept_choices(piece))
        self._recorded.update(result.model.choices)
        keys = (key for entry in entries for key in entry.keys)
        for key in (*keys, *task.compiled.statements):
            self._doubtful.pop(key, None)
        self._doubtful.update(result.doubtful)
        self.best = self._result(result)

    def _result(self, piece: Substitution) -> Substitution:
        """The substitution of the whole as it stands; ``piece``: that of what was chosen anew."""
        ledger = self.ledger
        sections = sum(1 for count in ledger.sections.values() if count > 0)
        reached = [ledger.cost, *map(Fraction, (*ledger.levels, sections))]
        choices = tuple(choice for choice in self._choices.values() if choice is not None)
        return Substitution(
            replace(self.model, choices=dict(self._recorded)),
            worst(status for status, count in ledger.statuses.items() if count > 0),
            ledger.cost,
            ledger.bound,
            tuple(
                Level(name, meaning, value)
                for (name, meaning), value in zip(LEVELS, reached, strict=True)
            ),
            choices,
            doubtful=dict(self._doubtful),
            notes=piece.notes,
            original=self.model,
        )


def shape(size: Size) -> tuple[object, ...]:
    """What other sizes and statements are worked out by: a change of it calls for a fresh start."""
    follows = tuple((method.argument, method.leader) for method in size.rule)
    given = any(method.way in ("given", "follow", "standard") for method in size.rule)
    open_ = size.full is None and size.made is None
    return size.part, size.name, size.full is None, open_, size.equals, follows, given, size.between
