"""Ways out of what a reading has broken: changes of which none can be spared, each tried on the
whole model, in the order of what they cost.

First come ways that keep every fit, by the work they lose (parts made anew, then parts worked on
again, then nothing lost), what they give up (a rule, a reach), and how far they depart from scale;
last come those that accept a statement as it is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from scaler.as_made.bench import Bench, Edits, base, rank
from scaler.as_made.move import Move
from scaler.as_made.moves import changes, lines_to_write, moves, otherwise
from scaler.as_made.room import levers
from scaler.checking import cautions
from scaler.checking.cautions import Caution
from scaler.checking.check import Finding
from scaler.problems import InputError
from scaler.records import Model, Verdict
from scaler.settling.settle import exact_size, reach_of

ZERO = Fraction(0)
MOST_TRIALS = 240
"""Trials on the whole model before the search stops for one group of statements."""
MOST_MOVES = 4
MOST_SHOWN = 6
MOST_ALONE = 2
MOST_THINNED = 60
"""Changes of a proposal that are tried without, one by one."""
Proposer = Callable[[Model, tuple[str, ...]], Iterable[tuple[str, Edits]]]
"""Another source of ways: from the model and the ids of what fails, edits with their wording ('':
the changes in words). One whose ``last_resort`` is true is only asked about what single changes to
sizes not made yet do not mend."""


@dataclass(frozen=True)
class Way:
    """One way out: its changes, what it costs, and the verdicts that it promises.

    ``doubtful`` names the statements that it mends or touches and leaves doubtful; ``minor`` says
    that nothing that it mends fails, and is only doubtful. ``write`` is what to write into the
    model for it, where a change is no choice and no reading.
    """

    moves: tuple[Move, ...]
    mends: tuple[str, ...]
    edits: Edits
    gives_up: tuple[str, ...]
    cost: Fraction
    promised: tuple[tuple[str, Verdict], ...]
    doubtful: tuple[str, ...]
    cautions: tuple[Caution, ...]
    minor: bool = False
    said: str = ""
    write: tuple[str, ...] = ()

    @property
    def text(self) -> str:
        """The changes in words."""
        return self.said or "; ".join(move.text for move in self.moves)

    @property
    def remade(self) -> int:
        """How much made work is lost: pieces made anew times their sizes."""
        return sum(move.remade for move in self.moves)

    @property
    def repaired(self) -> int:
        """How many made pieces are worked on again."""
        return sum(move.repaired for move in self.moves)

    @property
    def accepts(self) -> tuple[str, ...]:
        """Statements that are left as they are."""
        return tuple(move.accepts for move in self.moves if move.accepts)

    @property
    def only_open(self) -> bool:
        """Whether it changes only what is not made, adds nothing and accepts nothing."""
        added = any(move.option for move in self.moves)
        return not (self.remade or self.repaired or self.accepts or added)

    def faults(self) -> tuple[int, int, int]:
        """How far it falls short of a sure way that gives nothing up."""
        beyond = sum(1 for move in self.moves if move.beyond)
        return beyond, len(self.doubtful), len(self.gives_up)

    def key(self) -> tuple[Any, ...]:
        """What ways are ranked by."""
        grudged = sum(1 for move in self.moves if move.accepts and not move.harmless)
        return (
            self.minor,
            grudged,
            sum(1 for move in self.moves if move.beyond),
            self.remade,
            sum(move.effort for move in self.moves if move.repaired),
            len(self.doubtful),
            len(self.gives_up),
            self.repaired,
            -len(self.mends),
            sum(1 for move in self.moves if not move.in_turn),
            self.cost,
            len(self.moves),
            self.text,
        )

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts."""
        from scaler.report import caution_dict, twin, twins

        return {
            "text": self.text,
            "changes": [
                {
                    "size": move.name,
                    "how": move.how,
                    "text": move.text,
                    **twin("from_mm", move.before),
                    **twin("to_mm", move.after),
                    **twins("anywhere_mm", move.span),
                }
                for move in self.moves
            ],
            "mends": list(self.mends),
            "gives_up": list(self.gives_up),
            "write": list(self.write),
            "work_lost": {"made_anew": self.remade, "worked_again": self.repaired},
            "cost": float(self.cost),
            "promised": {name: str(verdict) for name, verdict in self.promised},
            "cautions": [caution_dict(caution) for caution in self.cautions],
        }


def ways_out(
    bench: Bench,
    broken: Sequence[Finding],
    kept: Mapping[str, Fraction],
    propose: Proposer | None = None,
) -> tuple[Way, ...]:
    """Ways to make what does not hold hold again, best first, a few for each group of statements.

    Parameters
    ----------
    bench : the model as it stands
    broken : findings that are tight, loose, fail, or have become doubtful
    kept : the value that each statement was planned with [mm], by its id
    propose : another source of ways (a substitution over the whole model, say); what it proposes is
        tried and ranked like the rest

    Returns
    -------
    Ways; each has been tried on the whole model: it mends its group and breaks nothing else.
    """
    found: list[Way] = []
    for group in _groups(bench, broken):
        search = _Search(bench, group, kept)
        search.run()
        ways = sorted(search.ways.values(), key=Way.key)
        found += ways[:MOST_SHOWN]
        if len(group) > 1 and not any(way.only_open for way in ways):
            for finding in group:  # what can at least be mended by itself
                alone = _Search(bench, [finding], kept)
                alone.run()
                ways = sorted(alone.ways.values(), key=Way.key)
                found += [way for way in ways if way.only_open][:MOST_ALONE]
    ids = tuple(finding.statement.id for finding in broken)
    if getattr(propose, "last_resort", False):  # not where what is left to make serves already
        sure = {name for way in found if _is_sure(way) for name in way.mends}
        ids = tuple(name for name in ids if name not in sure)
    if propose is not None and ids:
        known = {_kind(way) for way in found}
        for said, edits in propose(bench.model, ids):
            way = _proposed(bench, ids, said, edits)
            if way is None:
                continue
            own_figures = said and not (edits.sizes or edits.readings)
            if own_figures or _kind(way) not in known:
                known.add(_kind(way))
                found.append(way)
    return tuple(sorted(found, key=Way.key))


def _groups(bench: Bench, broken: Sequence[Finding]) -> list[list[Finding]]:
    """Findings that hang together through a size that could be changed."""
    groups: list[tuple[set[str], list[Finding]]] = []
    for finding in broken:
        touched = {lever.name for lever in levers(bench, finding)}
        mine, others = [finding], []
        for sizes, members in groups:
            if sizes & touched:
                touched |= sizes
                mine = [*members, *mine]
            else:
                others.append((sizes, members))
        groups = [*others, (touched, mine)]
    order = {finding.statement.id: n for n, finding in enumerate(broken)}
    listed = [sorted(members, key=lambda f: order[f.statement.id]) for _, members in groups]
    return sorted(listed, key=lambda members: order[members[0].statement.id])


class _Search:
    """The search for one group: move after move, until what was broken and what that broke holds."""

    def __init__(self, bench: Bench, group: list[Finding], kept: Mapping[str, Fraction]) -> None:
        self.start, self.group, self.kept = bench, group, kept
        self.ids = tuple(finding.statement.id for finding in group)
        self.before = {f.statement.id: rank(f.verdict) for f in group}
        self.ways: dict[frozenset[tuple[str, str, str]], Way] = {}
        self.seen: set[frozenset[tuple[str, Fraction, str]]] = set()
        self.trials = 0
        self.limit = MOST_MOVES

    def run(self) -> None:
        """Single changes first, then two, then more, while trials are left."""
        for limit in range(1, MOST_MOVES + 1):
            self.limit = limit
            self.seen.clear()
            self.look(self.start, (), self.ids)
            sure = any(way.only_open and not way.doubtful for way in self.ways.values())
            if self.trials >= MOST_TRIALS or (limit >= 2 and sure):
                break

    def look(self, bench: Bench, done: tuple[Move, ...], todo: Sequence[str]) -> bool:
        """Goes on from what has been changed so far; True where that led to a sure way out."""
        if not todo:
            return self.keep(bench, done)
        if len(done) >= self.limit or self.trials >= MOST_TRIALS:
            return False
        finding = next((f for name in todo if (f := bench.finding(name))), None)
        if finding is None:
            return False
        taken = {move.size for move in done if not move.accepts}
        sure: set[tuple[str, str]] = set()
        for move in self.candidates(bench, finding, todo):
            kind = move.name, move.how
            marks = frozenset((m.name, m.after, m.how + _by(m)) for m in (*done, move))
            if (move.size in taken and not move.accepts) or kind in sure or marks in self.seen:
                continue
            self.seen.add(marks)
            if self.step(bench, done, move, todo):
                sure.add(kind)
        return bool(sure)

    def step(self, bench: Bench, done: tuple[Move, ...], move: Move, todo: Sequence[str]) -> bool:
        """One change more, and on from there."""
        left = self.limit - len(done) - 1
        accepted = {m.accepts for m in (*done, move)}
        if len(done) > 1 and (move.accepts or any(m.accepts for m in done)):
            return False  # accepting one thing and changing three more is no way out
        if move.accepts and move.accepts not in self.ids:
            return False  # what held before is not given up for it
        if move.accepts:
            rest = [name for name in todo if name not in accepted]
            return len(rest) <= left and self.look(bench, (*done, move), rest)
        after = self.tried(bench, move.edits)
        if after is None:
            return False
        rest = self.left_over(after, bench, todo, accepted)
        return len(rest) <= 4 * left and self.look(after, (*done, move), rest)

    def candidates(self, bench: Bench, finding: Finding, todo: Sequence[str]) -> Iterator[Move]:
        """What could be done about one finding, in order, each size a few times at most."""
        count: dict[tuple[str, str], int] = {}
        for move in moves(bench, finding, self.kept, todo):
            key = move.name, move.how
            count[key] = count.get(key, 0) + 1
            if count[key] <= 12:
                yield move

    def tried(self, bench: Bench, edits: Edits) -> Bench | None:
        self.trials += 1
        try:
            return bench.after(edits)
        except InputError:
            return None

    def left_over(
        self, after: Bench, before: Bench, todo: Sequence[str], accepted: set[str]
    ) -> list[str]:
        """What is still to be mended: of the list, and what the change has broken."""
        left = [name for name in todo if name not in accepted and not self.mended(after, name)]
        for key in after.changed.keys:
            was = {f.statement.id: rank(f.verdict) for f in before.found.get(key, ())}
            for finding in after.found.get(key, ()):
                name = finding.statement.id
                worst = was.get(name, max(was.values(), default=0))
                worse = rank(finding.verdict) > max(worst, 1) or (
                    rank(finding.verdict) == 2 and worst < 2
                )
                if worse and name not in left and name not in accepted:
                    left.append(name)
        return left

    def mended(self, bench: Bench, name: str) -> bool:
        finding = bench.finding(name)
        if finding is None:  # the copy has no reading of its own any more
            finding = bench.finding(base(name))
        if finding is None:
            rest = bench.found.get(("pair", base(name)), bench.found.get(("condition", base(name))))
            return all(not f.fails for f in rest or ())
        return rank(finding.verdict) == 0 or (rank(finding.verdict) < self.before.get(name, 2))

    def keep(self, bench: Bench, done: tuple[Move, ...]) -> bool:
        """Notes a way out, where none of its changes can be spared; True where it leaves no doubt."""
        if not done or not self.needed(done):
            return False
        way = _way(self.start, bench, done, self.ids)
        kind = _sort(done)
        old = self.ways.get(kind)
        if old is None or way.faults() < old.faults():
            self.ways[kind] = way
        return not way.doubtful

    def needed(self, done: tuple[Move, ...]) -> bool:
        """Whether no change of several can be spared."""
        if len(done) == 1:
            return True
        for spared in range(len(done)):
            rest = [*done[:spared], *done[spared + 1 :]]
            accepted = {move.accepts for move in rest}
            edits = Edits()
            for move in rest:
                edits = edits.plus(move.edits)
            after = self.tried(self.start, edits) if edits.touched() or edits.keys() else self.start
            if after is not None and not self.left_over(after, self.start, self.ids, accepted):
                return False
        return True


def _is_sure(way: Way) -> bool:
    """Whether a way changes only what is not made, keeps all that is stated, and leaves no doubt."""
    return way.only_open and not way.doubtful and not way.gives_up


def _sort(moves: Iterable[Move]) -> frozenset[tuple[str, str, str]]:
    """What is done to which size: two ways of one sort differ in their figures only."""
    return frozenset((move.name, move.how, move.accepts) for move in moves)


def _kind(way: Way) -> tuple[frozenset[str], frozenset[tuple[str, str, str]]]:
    return frozenset(way.gives_up), _sort(way.moves)


def _by(move: Move) -> str:
    stated = [pair.basis for pair in move.edits.pairs.values()]
    stated += [condition.basis for condition in move.edits.conditions.values()]
    return " ".join(str(basis) for basis in stated)


def _way(start: Bench, after: Bench, done: tuple[Move, ...], ids: tuple[str, ...]) -> Way:
    edits = Edits()
    for move in done:
        edits = edits.plus(move.edits)
    gives_up = tuple(dict.fromkeys(text for move in done for text in move.gives_up))
    promised = _promised(start, after, done, ids)
    return Way(
        done,
        ids,
        edits,
        gives_up,
        _cost(start, done),
        promised,
        _doubtful(start, promised, ids),
        _cautions(start, done),
        write=lines_to_write(start.model, edits),
        minor=not any((f := start.finding(name)) is not None and f.fails for name in ids),
    )


def _doubtful(
    start: Bench, promised: Sequence[tuple[str, Verdict]], ids: tuple[str, ...]
) -> tuple[str, ...]:
    """What is left doubtful, other than what is so without the way and is none of its business."""
    return tuple(
        name
        for name, verdict in promised
        if verdict is Verdict.DOUBTFUL
        and (name in ids or (was := start.finding(name)) is None or was.verdict is Verdict.HOLDS)
    )


def _promised(
    start: Bench, after: Bench, done: Sequence[Move], ids: tuple[str, ...]
) -> tuple[tuple[str, Verdict], ...]:
    """The verdicts on all that the changes touch, as they will be found."""
    keys = dict.fromkeys(key for move in done for key in start.index.keys_of(move.size))
    for name in ids:
        keys.setdefault(
            ("pair" if ("pair", base(name)) in after.found else "condition", base(name))
        )
    return tuple(
        (finding.statement.id, finding.verdict)
        for key in sorted(keys, key=start.index.order.__getitem__)
        for finding in after.found.get(key, ())
    )


def _cost(bench: Bench, done: Sequence[Move]) -> Fraction:
    """How much further from scale, in parts of each size's reach, times its weight; and the price of
    what is added."""
    total = ZERO
    for move in done:
        total += move.price
        size = bench.model.sizes[move.size]
        exact = exact_size(size, bench.model.ratio)
        if exact is None:
            continue
        method = size.rule[0] if size.rule else None
        reach = reach_of(size, method, exact) or Fraction(1)
        total += size.weight * (abs(move.after - exact) - abs(move.before - exact)) / reach
    return total


def _cautions(bench: Bench, done: Sequence[Move]) -> tuple[Caution, ...]:
    """The cautions of every part that is changed, or whose statement is."""
    parts: dict[str, None] = {}
    for move in done:
        parts.setdefault(move.size.partition(".")[0])
        if move.accepts:
            for what in ("pair", "condition"):
                for name in bench.index.names_of.get((what, base(move.accepts)), ()):
                    parts.setdefault(name.partition(".")[0])
    return cautions.of_parts(bench.model, parts)


def _proposed(bench: Bench, ids: tuple[str, ...], said: str, edits: Edits) -> Way | None:
    """A way of another source, tried here: None where it does not do what it is to do. Changes that
    can be spared are left out."""
    search = _Search(bench, [f for name in ids if (f := bench.finding(name))], {})
    after = search.tried(bench, edits)
    if after is None or search.left_over(after, bench, ids, set()):
        return None
    chosen = dict(edits.choices)
    for name in list(chosen)[: MOST_THINNED if len(chosen) > 1 else 0]:
        fewer = {other: choice for other, choice in chosen.items() if other != name}
        lighter = search.tried(bench, replace(edits, choices=fewer))
        if lighter is not None and not search.left_over(lighter, bench, ids, set()):
            chosen, after = fewer, lighter
    whole, edits = len(chosen) == len(edits.choices), replace(edits, choices=chosen)
    made = changes(bench, after, edits)
    if edits.sizes or edits.touches_basis() or edits.options or not whole:
        figures = "; ".join(m.text for m in made if not (m.option and said))
        said = ": ".join(text for text in (said, figures) if text)
    gives_up = (text for move in made for text in move.gives_up)
    promised = _promised(bench, after, made, ids)
    return Way(
        made,
        ids,
        edits,
        tuple(dict.fromkeys((*gives_up, *otherwise(bench.model, edits)))),
        _cost(bench, made),
        promised,
        _doubtful(bench, promised, ids),
        _cautions(bench, made),
        said=said,
        write=lines_to_write(bench.model, edits),
    )
