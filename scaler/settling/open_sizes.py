"""Sizes that no single definition gives: rings of definitions, and sizes only conditions fix.

The equations are parted by :mod:`scaler.settling.graph` into blocks that are solved one after the other.
Where some linear ones of a block say the same, those blocks are solved together with the equations
left over. What stays open is named with the fewest sizes that must be given; what contradicts is
thinned out to a set of which none can be spared.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from scaler.expressions import EvaluationError, Linear, Node, linear, names
from scaler.problems import Problem
from scaler.records import Bounds, Kind, Model
from scaler.settling.disagreements import disagreements, listed, problem, smallest, statement
from scaler.settling.graph import Block, decompose
from scaler.settling.linear_systems import at, solve_linear
from scaler.settling.solve import MOST_TOGETHER, SolveError, Value, solve_block, too_many

Finish = Callable[[str, Value, str], Value]
HALF_TURN: Bounds = (Fraction(0), Fraction(180))
"""Where an angle is looked for that states no bounds of its own."""


@dataclass(frozen=True, slots=True)
class Solved:
    """One size solved for: the statement it came from, and its form where it is linear."""

    key: str
    form: Linear | None


@dataclass
class Outcome:
    """What came of solving: sizes solved, and problems; sizes without a figure are in neither."""

    solved: dict[str, Solved] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def solve_open(
    model: Model,
    equations: Mapping[str, Node],
    open_names: Sequence[str],
    values: Mapping[str, Value],
    guesses: Mapping[str, Fraction],
    finish: Finish,
    *,
    exact: bool,
) -> Outcome:
    """Solves equations (by key, each node = 0) for the open sizes, given the values of the others.

    Parameters: guesses : where a numerical search starts, by size; finish : takes each size solved,
        its value and how it was found, and gives the value that is used from then on; exact :
        whether equations left over must agree (at exact size), or are looked at as checks later.
    """
    return _Solver(model, equations, open_names, values, guesses, finish, exact).run()


class _Solver:
    def __init__(
        self,
        model: Model,
        equations: Mapping[str, Node],
        open_names: Sequence[str],
        values: Mapping[str, Value],
        guesses: Mapping[str, Fraction],
        finish: Finish,
        exact: bool,
    ) -> None:
        self.model, self.guesses, self.finish, self.exact = model, guesses, finish, exact
        wanted = set(open_names)
        # an equation with a size that gets no figure (a pressure part's) gives none either
        self.equations = {
            key: node
            for key, node in equations.items()
            if all(n in values or n in wanted for n in names(node))
        }
        shut = {n for key in equations if key not in self.equations for n in names(equations[key])}
        self.uses = {
            key: [n for n in names(node) if n in wanted] for key, node in self.equations.items()
        }
        self.open_names, self.shut = open_names, shut & wanted
        self.values: dict[str, Value] = dict(values)
        # rounded sizes may contradict a statement that repeats another: it is a check then
        self.later = ("open",) if exact else ("open", "contradiction")
        self.outcome = Outcome()
        self.failed: set[str] = set()

    def run(self) -> Outcome:
        pieces = decompose(self.uses)
        waiting: list[Block] = []
        for block in pieces.blocks:
            known = {n for key in block.equations for n in self.uses[key]} - set(block.unknowns)
            if known & self.failed:
                self.failed |= set(block.unknowns)
            elif any(n not in self.values for n in known):
                waiting.append(block)
            else:
                error = self.block(block)
                if error is not None and error.kind in self.later:
                    waiting.append(block)
                elif error is not None:
                    self.unsolved(block, error)
        if waiting:
            self.together(waiting, pieces.spare)
        if self.exact and not self.outcome.problems:
            solved_by = {name: found.key for name, found in self.outcome.solved.items()}
            self.outcome.problems += disagreements(
                self.model, self.equations, pieces.spare, self.values, solved_by
            )
        if not self.outcome.problems:
            for group in pieces.groups:
                self.left_open(group.unknowns, group.equations, group.missing)
            used = {n for unknowns in self.uses.values() for n in unknowns}
            for name in self.open_names:
                if name not in used:
                    self.left_open((name,), (), 1)
        return self.outcome

    def bounds(self, name: str) -> Bounds:
        size = self.model.sizes[name]
        if size.kind is Kind.ANGLE and size.between == (None, None):
            return HALF_TURN
        return size.between

    def block(self, block: Block) -> SolveError | None:
        """Solves one block; the error where that cannot be done."""
        try:
            solution = solve_block(
                [self.equations[key] for key in block.equations],
                block.unknowns,
                self.values,
                self.model.ratio,
                {n: self.bounds(n) for n in block.unknowns},
                {n: self.guesses[n] for n in block.unknowns if n in self.guesses},
                {n: "deg" for n in block.unknowns if self.model.sizes[n].kind is Kind.ANGLE},
            )
        except SolveError as error:
            return error
        except EvaluationError as error:
            return SolveError(str(error), "expressions with a value at these sizes")
        for key, name in zip(block.equations, block.unknowns, strict=True):
            self.keep(name, solution.values[name], solution.how, key, solution.forms.get(name))
        return None

    def keep(self, name: str, value: Value, how: str, key: str, form: Linear | None) -> None:
        self.outcome.solved[name] = Solved(key, form)
        self.values[name] = self.finish(name, value, how)

    def together(self, blocks: Sequence[Block], spare: Sequence[str]) -> None:
        """Blocks in which linear equations say the same, with the equations left over beside them."""
        unknowns = [n for block in blocks for n in block.unknowns]
        own = [key for block in blocks for key in block.equations]
        inside = {*unknowns, *self.values}
        keys = [*own, *(key for key in spare if inside.issuperset(self.uses[key]))]
        keys = [key for key in self.equations if key in set(keys)]
        forms = [linear(self.equations[key], self.model.ratio) for key in keys]
        straight = [form for form in forms if form is not None]
        if len(unknowns) > MOST_TOGETHER:
            self.unsolved(Block(tuple(own), tuple(unknowns)), too_many(unknowns))
            return
        if len(straight) < len(keys):
            for block in blocks:
                if any(n not in self.values for key in block.equations for n in self.uses[key]):
                    error = self.block(block) if self.ready(block) else None
                    if error is not None:
                        self.unsolved(block, error)
            return
        found = solve_linear(straight, unknowns, self.values, forgive=not self.exact)
        if found.disagreement is not None:
            members, off = smallest(self.model, self.equations, keys, unknowns, self.values)
            self.outcome.problems.append(problem(self.model, members, off))
            return
        if found.open_unknowns:
            opened = set(found.open_unknowns)
            stands_in = [key for key in keys if opened & set(self.uses[key])]
            self.left_open(found.open_unknowns, stands_in, found.missing)
            return
        maker = {n: k for b in blocks for k, n in zip(b.equations, b.unknowns, strict=True)}
        how = f"{len(keys)} linear equations solved together"
        for name in unknowns:
            form = found.forms[name]
            self.keep(name, at(form, self.values), how, maker[name], form)

    def ready(self, block: Block) -> bool:
        needed = {n for key in block.equations for n in self.uses[key]} - set(block.unknowns)
        return all(n in self.values for n in needed)

    def unsolved(self, block: Block, error: SolveError) -> None:
        """Notes why a block has no solution; what hangs on it is passed over in silence."""
        self.failed |= set(block.unknowns)
        if error.kind == "contradiction":
            members, off = smallest(
                self.model, self.equations, block.equations, block.unknowns, self.values
            )
            self.outcome.problems.append(problem(self.model, members, off))
            return
        advice = f"{error.advice}: " if error.advice else "look at "
        named = ", ".join(block.unknowns[:6]) + (" …" if len(block.unknowns) > 6 else "")
        self.outcome.problems.append(
            Problem(
                "no-solution",
                f"{named} cannot be solved for: {error.problem}",
                statement(self.model, block.equations[0])[1],
                expected=error.expected,
                advice=advice + listed(self.model, block.equations[:12]),
            )
        )

    def left_open(self, lost: Sequence[str], keys: Sequence[str], missing: int) -> None:
        """A problem for each size that nothing fixes, with the statements it stands in."""
        if self.shut & set(lost):
            return  # it hangs on a pressure part: it gets no figure, and is shown as refused
        need = max(1, min(missing, len(lost)))
        for name in lost:
            size = self.model.sizes[name]
            within = [key for key in keys if name in self.uses[key]]
            others = [other for other in lost if other != name]
            more = f" and {len(others) - 6} more" if len(others) > 6 else ""
            together = f"; it hangs together with {', '.join(others[:6])}{more}" if others else ""
            advice = f"write full = … for {name}, or a condition with == that fixes it"
            if within:
                advice += f"; it stands in {listed(self.model, within)}"
            self.outcome.problems.append(
                Problem(
                    "open-size",
                    f"nothing fixes {name}{together}",
                    size.place,
                    read="" if within else "no full size, no definition and no condition",
                    expected=f"{need} of these {len(lost)} sizes given"
                    if others
                    else "its full size",
                    advice=advice,
                )
            )
