"""Ways out for a check: what else to choose so that what fails holds, and where no choice does, the
ways out of the conflict behind it.

Where something is made that a statement names, they are those that a reading of it shows
(:mod:`scaler.as_made.ways`): what is left to make, repairs, options, parts made anew. Otherwise the
best whole-model choice is worked out, and of the sizes in which it differs only those are kept
that the statement needs. Each way is put through the check of the whole model before it is shown.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction
from functools import cached_property

from scaler.as_made.bench import Bench
from scaler.as_made.measuring import remedies
from scaler.as_made.room import levers
from scaler.as_made.ways import Way
from scaler.checking.check import Checker
from scaler.checking.conflicts import CheckResult, Conflict, check
from scaler.measures.spoken import said
from scaler.problems import InputError, listed
from scaler.records import Choice, Model, Stage, State
from scaler.settling.settle import settle
from scaler.settling.solve import middle
from scaler.substitution.boxes import rests_on
from scaler.substitution.changes import Change
from scaler.substitution.compile import compile_model
from scaler.substitution.compiled import Compiled, key_of
from scaler.substitution.parts import Component, components
from scaler.substitution.records import Substitution, WayOut, how_said
from scaler.substitution.substitute import substitute
from scaler.substitution.verify import departure_cost, part_of, unheld
from scaler.substitution.ways import caution_texts, edited

TRIED_AS_MADE = (
    "what is left to make, other rows and bases, repairs of what is made, declared options, parts "
    "made anew, and accepting it"
)
MANY = 80
"""Where more sizes differ than this, which of them are needed is not looked into one by one."""


def with_ways(
    result: CheckResult, conflicts: tuple[Conflict, ...], most: int, seconds: float = 30
) -> tuple[Conflict, ...]:
    """Conflicts of a check with ways out, at most so many each.

    Parameters: result : a check as chosen; most : ways for each conflict; seconds : for the search.
    """
    finder = Finder(result, most, seconds)
    try:
        return tuple(finder.conflict(item) for item in conflicts)
    except InputError:
        return conflicts


class Finder:
    """The ways out of the conflicts of one check, from the bench of what is made and from the best
    choice for the whole model; either is worked out when it is first asked for."""

    def __init__(self, result: CheckResult, most: int, seconds: float) -> None:
        self.result, self.most, self.seconds = result, most, seconds
        self.model: Model = result.model
        self.exact = settle(self.model, Stage.EXACT)
        self.compiled: Compiled = compile_model(self.model, self.exact)
        self.parts = components(self.compiled)
        self.failing = set(unheld(self.compiled, result.findings))

    @cached_property
    def bench(self) -> Bench:
        """The model on the bench, where readings are looked at."""
        return Bench.opened(self.model)

    @cached_property
    def better(self) -> Substitution:
        """The best choice for the whole model."""
        return substitute(self.model, seconds=self.seconds, prices=False, ways_out=self.most)

    def conflict(self, item: Conflict) -> Conflict:
        """One conflict with its ways out."""
        if self.is_as_made(item):
            made = [self.after_reading(way) for way in remedies(self.bench, [item.finding])]
            if made:
                return replace(item, ways_out=tuple(made[: self.most]), tried=TRIED_AS_MADE)
        return self.as_planned(item)

    def is_as_made(self, item: Conflict) -> bool:
        """Whether something that moves a statement is made, or was bought."""
        return any(
            self.bench.is_read(lever.size, lever.copy)
            or self.model.sizes[lever.size].state in (State.MADE, State.BOUGHT)
            for lever in levers(self.bench, item.finding)
        )

    def after_reading(self, way: Way) -> WayOut:
        """A way out of what a reading has broken, with what the whole model then costs and lacks."""
        changed = way.edits.on(self.model)
        after = check(changed)
        price = sum((move.price for move in way.moves), Fraction(0))
        left = {item.finding.statement.id for item in after.conflicts} - set(way.mends)
        return WayOut(
            (way.said,) if way.said else tuple(move.text for move in way.moves),
            way.gives_up,
            tuple(dict.fromkeys(move.name for move in way.moves if move.remade)),
            departure_cost(changed, after.reduction.settlement) + price,
            ("as made",),
            tuple(f"{c.about}: {c.headline}. {c.text}" for c in way.cautions),
            changed,
            write=way.write,
            price=price,
            left=len(left),
        )

    def as_planned(self, item: Conflict) -> Conflict:
        """One conflict with the ways out by choosing otherwise."""
        key = key_of(item.finding.statement)
        part = next((part for part in self.parts if key in part.keys), None)
        if part is None:
            return replace(item, tried="it rests on sizes that are no longer open")
        way = self.by_choice(key, part)
        if way is not None:
            return replace(item, ways_out=(way,), tried="another choice of rows and steps")
        ways: list[WayOut] = []
        tried = "another choice of rows and steps"
        for conflict in self.better.conflicts:
            if key in conflict.keys:
                ways += [way for way in conflict.ways_out if way not in ways]
                tried = f"{tried}; {conflict.tried.removeprefix('tried, ')}"
        if not ways:
            tried += self.first(part)
        return replace(item, ways_out=tuple(ways[: self.most]), tried=tried)

    def first(self, part: Component) -> str:
        """What must be mended before anything can be chosen for the rest of a component."""
        behind = {key for conflict in self.better.conflicts for key in conflict.keys}
        named = [key.partition(" ")[2] for key in part.keys if key in behind]
        if not named:
            return ""
        return (
            f"; what hangs together with it cannot hold either: mend {listed(named)} first, "
            "then look again"
        )

    def by_choice(self, key: str, part: Component) -> WayOut | None:
        """The fewest of the sizes chosen otherwise by which a statement holds; None where that
        does not mend it."""
        now = self.result.reduction.settlement.results
        changes: dict[str, Change] = {}
        for name in part.names:
            choice = self.better.model.choices.get(name)
            if choice is None or name not in now or name in self.better_open(part):
                continue
            old = middle(now[name].value)
            if choice.value != old:
                changes[name] = choose(choice, old, self.model.units)
        wanted = list(changes)
        near = [name for name in wanted if name in rests_on(self.compiled, key)]
        if len(near) < len(wanted) and self.mends(key, part, [changes[n] for n in near]):
            wanted = near
        elif not self.mends(key, part, [changes[n] for n in wanted]):
            return None
        for name in list(wanted) if len(wanted) <= MANY else ():
            rest = [other for other in wanted if other != name]
            if self.mends(key, part, [changes[n] for n in rest]):
                wanted = rest
        changed = [changes[name] for name in wanted]
        return self.confirmed(key, changed) or self.with_their_parts(key, changed)

    def with_their_parts(self, key: str, changes: list[Change]) -> WayOut | None:
        """Changes, with what else is needed of what the best choice changes in the parts they
        touch: what cannot be made with the rest of a part as it is may be made with it as chosen.
        """
        model, now = self.model, self.result.reduction.settlement.results
        done = {name for change in changes for name in change.about}
        parts = {model.sizes[name.partition("@")[0]].part for name in done}
        more = list(changes)
        for choice in self.better.choices:
            size = model.sizes.get(choice.size)
            made = self.better.model.choices.get(choice.size)
            if size is None or made is None or choice.size in done or size.part not in parts:
                continue
            if size.id in now and made.value != (old := middle(now[size.id].value)):
                more.append(choose(made, old, model.units))
        way = self.confirmed(key, more) if len(changes) < len(more) <= MANY else None
        for change in more[len(changes) :] if way is not None else ():
            rest = [other for other in more if other is not change]
            if (smaller := self.confirmed(key, rest)) is not None:
                way, more = smaller, rest
        return way

    def better_open(self, part: Component) -> set[str]:
        """The sizes of a component for which the best choice found nothing."""
        chosen = {choice.size for choice in self.better.choices}
        return {name for name in part.names if name not in chosen}

    def mends(self, key: str, part: Component, changes: Iterable[Change]) -> bool:
        """Whether a statement of a component holds with changes made, and no other breaks."""
        piece = part_of(edited(self.model, changes), self.exact, part.names, part.keys)
        try:
            wrong = set(unheld(self.compiled, Checker(piece).findings))
        except InputError:
            return False
        return key not in wrong and wrong & set(part.keys) <= self.failing

    def confirmed(self, key: str, changes: list[Change]) -> WayOut | None:
        """The changes as a way out, if the check of the whole model confirms them."""
        changed = edited(self.model, changes)
        try:
            after = check(changed)
        except InputError:
            return None
        wrong = set(unheld(self.compiled, after.findings))
        before = {item.id for item in self.result.workability if item.fails}
        worse = {item.id for item in after.workability if item.fails} - before
        if key in wrong or not wrong <= self.failing or worse:
            return None
        names = {name for change in changes for name in change.about}
        return WayOut(
            tuple(change.text for change in changes),
            (),
            (),
            departure_cost(changed, after.reduction.settlement),
            tuple(change.kind for change in changes),
            caution_texts(self.model, names),
            changed,
            tuple(changes),
            tuple("" for _ in changes),
            left=len(after.conflicts),
        )


def choose(choice: Choice, old: Fraction, units: str) -> Change:
    """A size chosen otherwise."""

    def edit(model: Model) -> Model:
        return replace(model, choices={**model.choices, choice.size: choice})

    return Change(
        "choice",
        (choice.size,),
        f"take {said(choice.value, units)} for {choice.size} "
        f"({how_said(choice.method, choice.row, choice.value)}) "
        f"instead of {said(old, units)}",
        "",
        edit,
    )
