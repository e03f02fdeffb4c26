"""Why there is no choice: a smallest set of statements that cannot all hold, and the ways out.

The statements are the rules of sizes (with their reach), what is already made, locked or bought,
definitions, and the pairs and conditions. Giving one up only ever widens what is allowed, so the
set can be thinned out by halves until none of it can be spared.

Reference: Junker, QuickXplain: preferred explanations and relaxations for over-constrained
problems, AAAI 2004 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

from scaler.checking.conflicts import Member, window_of
from scaler.expressions import names
from scaler.measures import spoken
from scaler.problems import Place
from scaler.records import Model, State
from scaler.settling.row_links import row_link
from scaler.settling.rows import Rows
from scaler.settling.settle import Settlement, reach_of
from scaler.substitution.aside import Aside, aside_of
from scaler.substitution.boxes import Search
from scaler.substitution.candidates import by_lines
from scaler.substitution.compile import compile_model
from scaler.substitution.compiled import Compiled, linked_sizes
from scaler.substitution.elastic_rows import forbidden, lifted
from scaler.substitution.outcome import Picks
from scaler.substitution.parts import Component, amount, components, filter_single
from scaler.substitution.programme import Programme
from scaler.substitution.records import SubstitutionConflict, Together, WayOut, lead
from scaler.substitution.solver import Clock, Solver
from scaler.substitution.verify import failing, loosened, part_of

if TYPE_CHECKING:
    from scaler.substitution.task import Task

MOST = 5
"""Conflicts of one component that are told apart, at most."""


class OutOfTime(Exception):
    """The time allowed is up."""


@dataclass
class Oracle:
    """Whether a set of statements of one piece of a model can all hold together.

    What the rows of a programme do not say (curves, named fits of several sizes) is put to the
    exact check, box by box. ``asked`` counts the sets that were looked into, ``unsure`` tells
    whether one of them was taken as possible because nothing was proved of it.
    """

    piece: Model
    exact: Settlement
    items: list[str]
    solver: Callable[[], Solver]
    clock: Clock
    known: dict[frozenset[str], bool] = field(default_factory=dict)
    asked: int = 0
    unsure: bool = False

    def holds(self, kept: Sequence[str]) -> bool:
        """True where some choice satisfies all that is kept. Raises OutOfTime."""
        key = frozenset(kept)
        found = self.known.get(key)
        if found is None:
            found = self.known[key] = self.ask(key)
        return found

    def ask(self, kept: frozenset[str]) -> bool:
        """Whether what is kept can hold together, asked of the solver anew."""
        if kept & self.empty:
            return False
        self.asked += 1
        keys = [i for i in self.items if i in kept and i.startswith(("pair ", "condition "))]
        defined = [i.partition(" ")[2] for i in self.items if i.startswith("definition ")]
        named = [name for name in defined if f"definition {name}" in kept]
        named += [n for n in self.linked if kept & {f"rule {n}", f"fact {n}"}]
        piece = self.narrowed(keys, named)
        forbids = [i.partition(" ")[2] for i in self.items if i.startswith("forbid ")]
        piece = lifted(piece, [name for name in forbids if f"forbid {name}" not in kept])
        loose, dropped = set(), set()
        for item in self.items:
            what, _, name = item.partition(" ")
            if item in kept or what == "forbid":
                continue
            if what in ("pair", "condition") or (what == "rule" and name in defined):
                dropped.add(item)
            elif name in piece.sizes:
                loose.add(name)
        loose |= {name for name, key in self.exact.solved_by.items() if key in dropped}
        compiled = compile_model(
            piece,
            self.exact,
            loose=frozenset(loose & set(piece.sizes)),
            dropped=frozenset(dropped),
            keep_reach=True,
        )
        checked = loosened(piece, loose)
        return all(self.possible(part, checked) for part in components(compiled))

    @cached_property
    def empty(self) -> frozenset[str]:
        """Rules that give nothing at all, whatever other sizes are."""
        piece = lifted(self.piece, self.piece.sizes)
        compiled = compile_model(piece, self.exact, keep_reach=True)
        led = {link.other for link in compiled.links if link.leads}
        return frozenset(
            f"rule {name}"
            for name, variable in compiled.variables.items()
            if not variable.branches and name not in led and row_link(variable.size) is None
        )

    @cached_property
    def linked(self) -> dict[str, frozenset[str]]:
        """Sizes that take their rows together with others, and with which."""
        return linked_sizes(self.piece)

    def narrowed(self, keys: Sequence[str], names: Sequence[str]) -> Model:
        """The piece that some statements and sizes make, with the sizes that share rows with
        theirs."""
        first = part_of(self.piece, self.exact, names, keys)
        more = {n for name in first.sizes for n in self.linked.get(name, ())} - set(first.sizes)
        if not more:
            return first
        return part_of(
            self.piece,
            self.exact,
            [n for n in self.piece.sizes if n in more or n in first.sizes],
            keys,
        )

    def possible(self, part: Component, checked: Model) -> bool:
        """Whether a component leaves any choice. Raises OutOfTime.

        Parameters: checked : the model that the exact check looks at.
        """
        if not filter_single(part):
            return False
        if not part.names or (not part.rows and not part.links and not part.curves):
            return True
        if self.clock.over:
            raise OutOfTime
        solver = self.solver()
        if not part.exact:
            return self.by_boxes(part, checked, solver)
        programme = Programme(part)
        programme.cost = [0.0] * len(programme.cost)
        solver.load(programme)
        answer = solver.run(self.clock.left)
        if answer.status == "limit" and answer.values is None:
            raise OutOfTime
        return answer.status != "infeasible"

    def by_boxes(self, part: Component, checked: Model, solver: Solver) -> bool:
        """The same where the rows of a component do not say all."""

        def verify(component: Component, picks: Picks) -> list[str]:
            return failing(component, picks, checked)

        best = by_lines(part, solver, self.clock, set(), verify) if part.curves else None
        if best is None:
            search = Search(part, solver, self.clock, set(), verify, first_only=True)
            best = search.run()
        if best.status == "unknown":
            if self.clock.over:
                raise OutOfTime
            self.unsure = True
        return best.status != "impossible"


def statements_of(compiled: Compiled, piece: Model) -> list[str]:
    """All that may be given up in a piece of a model, the firmest first."""
    facts, rules, definitions, wanted = [], [], [], []
    rows, forbids = Rows(piece), []
    for name, variable in compiled.variables.items():
        if "@" in name or ":" in name:
            continue
        if variable.fixed:
            facts.append(f"fact {name}")
        elif variable.stepped:
            definitions.append(f"definition {name}")
        elif not variable.solved:
            rules.append(f"rule {name}")
            if forbidden(rows, piece, variable.size):
                forbids.append(f"forbid {name}")
    for name in compiled.definitions:
        if ":" not in name and name in piece.sizes:
            definitions.append(f"definition {name}")
            if piece.sizes[name].full is not None:
                rules.append(f"rule {name}")  # its reach
    order = {"condition": 0, "pair": 1}
    wanted = sorted(compiled.statements, key=lambda key: order.get(key.partition(" ")[0], 2))
    standards = [key for key in wanted if key.endswith(":standard")]
    return [
        *facts,
        *standards,
        *definitions,
        *(k for k in wanted if k not in standards),
        *rules,
        *forbids,
    ]


def smallest(oracle: Oracle, items: Sequence[str]) -> list[str]:
    """A set of items that cannot all hold, none of which can be spared. Raises OutOfTime.

    The items must not all hold together, and nothing else may be in the way.
    """

    def thin(background: list[str], added: bool, rest: list[str]) -> list[str]:
        if added and not oracle.holds(background):
            return []
        if len(rest) == 1:
            return rest
        half = len(rest) // 2
        first, second = rest[:half], rest[half:]
        from_second = thin([*background, *first], bool(first), second)
        from_first = thin([*background, *from_second], bool(from_second), first)
        return [*from_first, *from_second]

    return thin([], False, list(items))


def members_of(oracle: Oracle, items: Sequence[str], compiled: Compiled) -> list[str]:
    """A smallest conflict among items that cannot all hold; one about a single statement where
    there is one that nothing can meet. Raises OutOfTime.

    A conflict of k among n items takes at most about 2k·log₂(n/k) + 2k questions.
    """
    present = set(items)
    if oracle.empty & present:
        return [next(item for item in items if item in oracle.empty)]
    around: list[list[str]] = []
    for key in hopeless(compiled):
        if key in present:
            about = sizes_behind(compiled, key)
            near = [
                item
                for item in items
                if item == key
                or (item.partition(" ")[2] in about and item not in compiled.statements)
            ]
            around.append(near)
    near = min(around, key=len, default=list(items))
    if len(near) < len(items) and oracle.holds(near):
        near = list(items)
    best = smallest(oracle, near)
    return [item for item in items if item in best]


def hopeless(compiled: Compiled) -> list[str]:
    """Statements of which some row holds at no size that its sizes may have, each looked at by
    itself: no programme is needed to see that."""
    found: dict[str, None] = {}
    for row in compiled.rows:
        if row.when or row.statement not in compiled.statements or row.statement in found:
            continue
        least = most = row.constant
        for name, part in row.parts.items():
            ends = [
                first + slope * k
                for branch in compiled.variables[name].branches
                for first, slope in (amount(compiled, name, part, branch, row.side),)
                for k in (branch.low, branch.high)
            ]
            if not ends:
                break
            least, most = least + min(ends), most + max(ends)
        else:
            if (row.lower is not None and most < row.lower) or (
                row.upper is not None and least > row.upper
            ):
                found[row.statement] = None
    return list(found)


def sizes_behind(compiled: Compiled, key: str) -> set[str]:
    """The sizes that a statement names, and those that they are worked out from."""
    seen: set[str] = set()
    stack = list(names(compiled.statements[key].node))
    while stack:
        name = stack.pop().partition("@")[0]
        if name in seen:
            continue
        seen.add(name)
        for known in (name, f"{name}:definition"):
            if known in compiled.definitions:
                stack += names(compiled.definitions[known])
    return seen


@dataclass
class Broken:
    """A component without a choice: its piece of the model and the conflicts in it.

    ``sets`` holds the keys of each conflict, and whether each of them is shown to be needed.
    """

    part: Component
    piece: Model
    compiled: Compiled
    sets: list[tuple[list[str], bool]]

    def aside(self, number: int | None) -> Aside:
        """What to set aside for one conflict to be the only one; nothing for None."""
        found = Aside()
        if number is not None:
            mine = self.sets[number][0]
            for other, (members, _) in enumerate(self.sets):
                if other != number:
                    found |= aside_of(members, mine, self.compiled.statements)
        return found

    def all_aside(self) -> Aside:
        """What to set aside for none of its conflicts to be there."""
        found = Aside()
        for members, _ in self.sets:
            found |= aside_of(members, (), self.compiled.statements)
        return found


def keys_of(members: Iterable[str], compiled: Compiled) -> list[str]:
    """The pairs and conditions among the members of a conflict."""
    return [key for key in members if key in compiled.statements]


def conflicts_of(
    task: Task, clock: Clock, ways_out: int
) -> tuple[tuple[SubstitutionConflict, ...], tuple[Together, ...]]:
    """The conflicts of every component without a choice, each with its own ways out; and for
    components with several, the ways out of all of them at once."""
    broken = [
        broken_part(task, part, outcome.cores, clock)
        for part, outcome in zip(task.parts, task.outcomes, strict=True)
        if outcome.status == "impossible"
    ]
    count = sum(len(item.sets) for item in broken)
    searches = count + sum(1 for item in broken if len(item.sets) > 1)
    conflicts: list[SubstitutionConflict] = []
    together: list[Together] = []
    for item in broken:
        first = len(conflicts) + 1
        for number, (keys, reduced) in enumerate(item.sets):
            said = tuple(member_of(task.model, item.compiled, key) for key in keys)
            ways: tuple[WayOut, ...] = ()
            tried = ""
            if ways_out:
                allowed = Clock(clock.left / max(1, searches))
                ways, tried = own_ways(task, broken, item, number, allowed, ways_out)
                searches -= 1
            conflicts.append(
                SubstitutionConflict(said, tuple(keys), words(said, reduced), ways, tried, reduced)
            )
        if ways_out and len(item.sets) > 1:
            allowed = Clock(clock.left / max(1, searches))
            every, tried = own_ways(task, broken, item, None, allowed, ways_out)
            together.append(Together(tuple(range(first, len(conflicts) + 1)), every, tried))
            searches -= 1
    return tuple(conflicts), tuple(together)


def own_ways(
    task: Task, broken: Sequence[Broken], own: Broken, number: int | None, clock: Clock, most: int
) -> tuple[tuple[WayOut, ...], str]:
    """The ways out of one conflict of a component, the others set aside (None: of all of them at
    once); each with how many conflicts are left after it."""
    from scaler.substitution.ways import Ways, edited

    others = [item for item in broken if item is not own]
    elsewhere = Aside()
    for item in others:
        elsewhere |= item.all_aside()
    aside = own.aside(number)
    ways, tried = Ways(task, own.part, own.piece, clock, most, aside, elsewhere).run()
    found = []
    for way in ways:
        left = sum(len(item.sets) for item in others)
        if aside:
            left += conflicts_left(task, edited(own.piece, way.edits), way, clock)
        found.append(replace(way, left=left))
    return tuple(found), tried


def conflicts_left(task: Task, piece: Model, way: WayOut, clock: Clock) -> int:
    """How many conflicts a piece has with a way out taken."""
    from scaler.substitution.task import Task as FreshTask

    exact = None if "option" in way.kinds else task.exact
    allowed = Clock(max(0.5, clock.left))
    fresh = FreshTask(piece, allowed, levels=False, exact=exact)
    fresh.kept_solver = task.solver()
    fresh.solve()
    return sum(
        len(broken_part(fresh, part, outcome.cores, allowed).sets)
        for part, outcome in zip(fresh.parts, fresh.outcomes, strict=True)
        if outcome.status == "impossible"
    )


def broken_part(task: Task, part: Component, cores: Sequence[Component], clock: Clock) -> Broken:
    """The conflicts of one component, each about other pairs and conditions.

    Parameters: cores : the pieces of it that are known to have no choice; conflicts lie in them
        (none known: anywhere in it).
    """
    sizes = [*part.names, *fixed_names(part)]
    piece = part_of(task.model, task.exact, sizes, part.keys)
    fresh = compile_model(piece, task.exact)
    sets = [found for core in cores or (part,) for found in sets_in(task, core, clock)]
    return Broken(part, piece, fresh, sets)


def sets_in(task: Task, core: Component, clock: Clock) -> list[tuple[list[str], bool]]:
    """The sets of statements of a component, or a piece of one, that cannot all hold; and whether
    each is shown to be a smallest one."""
    piece = part_of(task.model, task.exact, [*core.names, *fixed_names(core)], core.keys)
    fresh = compile_model(piece, task.exact)
    items = statements_of(fresh, piece)
    oracle = Oracle(piece, task.exact, items, task.solver, clock)
    sets: list[tuple[list[str], bool]] = []
    left = list(items)
    try:
        while len(sets) < MOST and not oracle.holds(left):
            oracle.unsure = False
            members = members_of(oracle, left, fresh)
            if not members:
                break
            sets.append((members, not oracle.unsure))
            wanted = keys_of(members, fresh) or members
            left = [item for item in left if item not in wanted]
    except OutOfTime:
        if not sets:
            sets.append((left, False))
    return sets or [([*items], False)]


def fixed_names(part: Component) -> list[str]:
    """Sizes no longer open that a component's statements name."""
    compiled = part.compiled
    found: dict[str, None] = {}
    for key in part.keys:
        statement = compiled.statements.get(key)
        if statement is not None:
            for name in names(statement.node):
                if name in compiled.variables and compiled.variables[name].fixed:
                    found[name.partition("@")[0]] = None
    mine = set(part.names)
    for link in compiled.links:
        if link.other in mine and compiled.variables[link.one].fixed:
            found[link.one] = None
    for name in part.names:
        leader = row_link(compiled.variables[name].size)
        if leader is not None and leader.leader not in mine:
            found[leader.leader] = None
    return list(found)


def member_of(model: Model, compiled: Compiled, key: str) -> Member:
    """A statement in words, with its place."""
    what, _, name = key.partition(" ")
    if what in ("pair", "condition"):
        statement = compiled.statements[key]
        window = window_of(statement, (statement.lower, statement.upper), model.units)
        standard = " (published standard)" if name.endswith(":standard") else ""
        text = f"{what} {name}{standard} wants {window} for {statement.text}"
        return Member(f"{text}, on {statement.basis}", statement.place)
    size = model.sizes[name]
    if what == "definition":
        return Member(f"{name} is defined as {size.equals_text or 'following others'}", size.place)
    if what == "forbid":
        said = ", ".join(f"'{wish.word}'" for wish in size.forbid)
        return Member(f"{said} is forbidden for {name}", size.forbid[0].place)
    if what == "fact":
        return fact(model, compiled, name)
    exact = compiled.variables[name].exact if name in compiled.variables else None
    rule = "; ".join(method.text for method in size.rule) or "no rule"
    if exact is None and name in compiled.definitions and size.full is not None:
        exact = size.full * model.ratio if size.kind.is_length else size.full
        rule = "its definition"
    if exact is None:
        return Member(f"{name} is made by: {rule}", size.place)
    reach = reach_of(size, size.rule[0] if size.rule else None, exact)
    return Member(
        f"{name} is made by: {rule}; within {spoken.said_short(reach, model.units)} of "
        f"{spoken.said(exact, model.units)}",
        size.place,
    )


def fact(model: Model, compiled: Compiled, name: str) -> Member:
    """A size that is no longer open, in words, at the place that says so."""
    size = model.sizes[name]
    variable = compiled.variables[name]
    value = spoken.said_short(variable.branches[0].base, model.units, 6)
    reading = model.readings.get((name, ""))
    place: Place = size.place
    if reading is not None:
        how, place = "was read as", reading.place
    elif size.made is not None:
        how = "is made at"
    elif size.lock is not None:
        how, place = "is locked at", size.lock.place
    elif size.state in (State.LOCKED, State.BOUGHT, State.MADE):
        how = f"is {size.state} at"
        if name in model.choices:
            place = model.choices[name].place
    else:
        how = "is never rounded: by the law of scale it is"
    return Member(f"{name} {how} {value}", place)


def words(members: Sequence[Member], reduced: bool) -> str:
    """A conflict in one sentence."""
    listed = "; ".join(f"{m.text} ({m.place})" for m in members[:12])
    if len(members) > 12:
        listed += f"; and {len(members) - 12} more"
    return f"{lead(len(members), reduced)}: {listed}"
