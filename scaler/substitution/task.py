"""One substitution in work: the compiled model, its components, what came of each, and its check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction

from scaler.checking.check import Checker
from scaler.expressions import names
from scaler.measures.spoken import said_short
from scaler.problems import InputError
from scaler.progress import told
from scaler.records import Choice, Model, Stage
from scaler.settling.row_links import reasons
from scaler.settling.rows import Rows
from scaler.settling.settle import Settlement, reach_of, settle
from scaler.substitution.compile import compile_model
from scaler.substitution.compiled import Compiled
from scaler.substitution.options import ZERO, Options, cost_of
from scaler.substitution.outcome import Outcome, sections_of, total
from scaler.substitution.parts import Component, Pick, components, filter_single
from scaler.substitution.records import LEVELS, Level, SizeChoice, Substitution
from scaler.substitution.search import search
from scaler.substitution.solver import Clock, Solver
from scaler.substitution.verify import chosen_model, failing, otherwise, unheld
from scaler.trade import standards

LEAST = 0.05
"""Seconds that every component may take, also when the time is up."""
MOST = 0.8
"""Share of the time left that the last component may take; the rest is for the exact check."""


Known = dict[tuple[frozenset[str], frozenset[str]], Outcome]
"""What was proved best, by the sizes and statements of a component."""


class Task:
    """One substitution in work: the compiled model, its components and what came of each."""

    def __init__(
        self,
        model: Model,
        clock: Clock,
        slack: Fraction = ZERO,
        levels: bool = True,
        exact: Settlement | None = None,
        before: Task | None = None,
        known: Known | None = None,
        loose: frozenset[str] = frozenset(),
        used: Iterable[str] = (),
    ) -> None:
        """``before``: a task on the same model with fewer conditions; what its choice of a
        component rests on has not changed where the component has not. ``known``: more of such.
        ``loose``: sizes that may take any value. ``used``: sections and tools that are in use
        outside the model."""
        self.model, self.clock, self.slack, self.levels = model, clock, slack, levels
        if exact is None and before is not None:
            exact = before.exact
        self.exact: Settlement = exact if exact is not None else settle(model, Stage.EXACT)
        self.options = Options(model, standards.of_model(model))
        self.known: Known = {} if before is None else before.proved()
        self.known.update(known or {})
        self.loose = loose
        self.compiled: Compiled = self.compiled_afresh()
        self.parts: list[Component] = components(self.compiled)
        self.outside = frozenset(used)
        self.outcomes: list[Outcome] = []
        self.used: list[set[str]] = []
        self.notes: list[str] = []
        self.kept_solver: Solver | None = before.kept_solver if before is not None else None
        self.chosen: Model = model
        self.checked: Checker | None = None

    def compiled_afresh(self) -> Compiled:
        """The model as variables and rows."""
        return compile_model(self.model, self.exact, loose=self.loose, options=self.options)

    @property
    def drawn(self) -> int:
        """How many of its sizes are drawn."""
        return sum(1 for v in self.compiled.variables.values() if v.exact is not None)

    def solver(self) -> Solver:
        """The solver, started when first needed."""
        if self.kept_solver is None:
            self.kept_solver = Solver()
        return self.kept_solver

    # --- solving

    def solve(self) -> None:
        """The best picks of every component, confirmed by the exact check of the whole model."""
        used = set(self.outside)
        drawn = max(1, self.drawn)
        ahead = sum(len(part.names) for part in self.parts)
        given: list[float] = []
        for part in told(self.parts, "independent parts of the choice"):
            share = ZERO
            if self.slack:
                own = sum(1 for n in part.names if part.variable(n).exact is not None)
                share = self.slack * own / drawn
            self.used.append(set(used))
            # no component may use up the time of those after it
            mine = MOST * len(part.names) / max(1, ahead)
            ahead -= len(part.names)
            given.append(max(LEAST, self.clock.left * max(1 / 2, mine)))
            outcome = self.search(part, used, share, Clock(given[-1]))
            self.outcomes.append(outcome)
            used |= sections_of(part, outcome.picks)
        late = [n for n, o in enumerate(self.outcomes) if o.status in ("feasible", "unknown")]
        for place, number in enumerate(late):
            if self.clock.over or self.parts[number].curves:
                continue
            seconds = self.clock.left / (len(late) - place)
            if seconds < given[number]:  # it would end where it ended before
                continue
            again = self.search(self.parts[number], self.used[number], ZERO, Clock(seconds))
            if again.picks and (
                again.cost <= self.outcomes[number].cost or not self.outcomes[number].picks
            ):
                again.bound = max(again.bound, self.outcomes[number].bound)
                self.outcomes[number] = again
        self.confirm()

    def search(self, part: Component, used: set[str], share: Fraction, clock: Clock) -> Outcome:
        """The best picks of one component."""
        known = self.known.get((frozenset(part.names), frozenset(part.keys)))
        if known is not None and filter_single(part):
            return known
        return search(
            part,
            clock,
            self.solver,
            used=used,
            slack=share,
            levels=self.levels,
            verify=failing,
        )

    def proved(self) -> Known:
        """What was proved best, by the sizes and statements of its component."""
        return {
            (frozenset(part.names), frozenset(part.keys)): outcome
            for part, outcome in zip(self.parts, self.outcomes, strict=True)
            if outcome.status == "optimal"
        }

    def confirm(self) -> None:
        """Checks the whole model; a component whose choice does not hold is searched again with
        every candidate checked."""
        for _ in range(3):
            self.check()
            wrong = self.unconfirmed()
            if not wrong:
                return
            for number, part in enumerate(self.parts):
                bad = wrong & set(part.keys)
                if bad and self.outcomes[number].status in ("optimal", "feasible"):
                    self.again(number, bad)
        self.check()
        for number, part in enumerate(self.parts):
            if self.unconfirmed() & set(part.keys):
                outcome = self.outcomes[number]
                if outcome.status in ("optimal", "feasible"):
                    self.outcomes[number] = Outcome("unknown", {}, ZERO, outcome.bound, "solver")
        self.check()

    def again(self, number: int, bad: set[str]) -> None:
        """One component again, its candidates checked one by one."""
        self.compiled.approximate |= bad
        fresh = self.compiled_afresh()
        fresh.approximate |= self.compiled.approximate
        names = set(self.parts[number].names)
        part = next(p for p in components(fresh) if names & set(p.names))
        for name in part.names:
            self.compiled.variables[name] = fresh.variables[name]
        part.compiled = self.compiled
        self.parts[number] = part
        self.outcomes[number] = search(
            part,
            self.clock,
            self.solver,
            used=self.used[number],
            levels=False,
            verify=failing,
        )

    def picks(self) -> dict[str, Pick]:
        """All picks of the components that have any."""
        found: dict[str, Pick] = {}
        for outcome in self.outcomes:
            found.update(outcome.picks)
        return found

    def check(self) -> None:
        """The exact check of the model with what has been picked."""
        self.chosen = chosen_model(self.model, self.compiled, self.picks())
        open_names = [
            name
            for part, outcome in zip(self.parts, self.outcomes, strict=True)
            if not outcome.picks
            for name in part.names
        ]
        if open_names:
            self.chosen = fallback(self.chosen, self.model, open_names)
        try:
            self.checked = Checker(self.chosen)
            self.checked.exact = self.exact
        except InputError:
            if not open_names:
                raise
            self.chosen = at_exact(self.chosen, self.compiled, open_names)
            self.checked = Checker(self.chosen)
            self.checked.exact = self.exact

    def unconfirmed(self) -> set[str]:
        """Keys of statements in solved components that the check does not confirm."""
        assert self.checked is not None
        solved = {
            key
            for part, outcome in zip(self.parts, self.outcomes, strict=True)
            if outcome.picks
            for key in part.keys
        }
        wrong = unheld(self.compiled, self.checked.findings)
        wrong += otherwise(self.compiled, self.checked, self.picks())
        return {key for key in wrong if key in solved}

    # --- results

    def stuck(self) -> list[str]:
        """The sizes of the components without a choice, those no longer open left out."""
        return [
            name
            for part, outcome in zip(self.parts, self.outcomes, strict=True)
            if outcome.status == "impossible"
            for name in self.open_names(part)
        ]

    def open_names(self, part: Component) -> list[str]:
        """The sizes of a component, and those that its statements name."""
        found = dict.fromkeys(part.names)
        for key in part.keys:
            statement = self.compiled.statements.get(key)
            if statement is not None:
                found |= dict.fromkeys(names(statement.node))
        return list(found)

    @property
    def status(self) -> str:
        """The status of the whole: the worst of the components'."""
        return worst(outcome.status for outcome in self.outcomes)

    def fixed_costs(self) -> dict[str, Fraction]:
        """What each size that is no longer open costs."""
        found: dict[str, Fraction] = {}
        for name, variable in self.compiled.variables.items():
            if variable.fixed and variable.exact is not None and variable.size.weight:
                settled = variable.settled
                by = settled.by if settled is not None else None
                unit = variable.size.weight / reach_of(variable.size, by, variable.exact)
                found[name] = unit * abs(variable.branches[0].base - variable.exact)
        return found

    def fixed_cost(self) -> Fraction:
        """What sizes that are no longer open cost."""
        return total(self.fixed_costs().values())

    def result(self) -> Substitution:
        """The substitution as it stands."""
        assert self.checked is not None
        fixed = self.fixed_cost()
        cost = fixed + total(o.cost for o in self.outcomes)
        bound = fixed + total(o.bound for o in self.outcomes)
        counts = [0, 0, 0]
        sections: set[str] = set()
        for part, outcome in zip(self.parts, self.outcomes, strict=True):
            sections |= sections_of(part, outcome.picks)
            counts = [a + b for a, b in zip(counts, levels_of(part, outcome), strict=True)]
        reached = [cost, *map(Fraction, (*counts, len(sections)))]
        notes = [*self.notes, *self.proof()]
        return Substitution(
            self.chosen,
            self.status,
            cost,
            bound,
            tuple(
                Level(name, meaning, value)
                for (name, meaning), value in zip(LEVELS, reached, strict=True)
            ),
            tuple(self.size_choices(self.picks())),
            doubtful=dict(self.compiled.doubtful),
            notes=tuple(notes),
            original=self.model,
        )

    def proof(self) -> list[str]:
        """In words, how the answer was come by."""
        ways = {"alone": 0, "nearest": 0, "solver": 0}
        for outcome in self.outcomes:
            ways[outcome.how] += 1
        found = [
            f"{len(self.parts)} independent components: {ways['alone']} settled size by size, "
            + f"{ways['nearest']} where the nearest sizes hold already, "
            + f"{ways['solver']} by the solver"
        ]
        for part, outcome in zip(self.parts, self.outcomes, strict=True):
            for note in outcome.notes:
                found.append(f"{', '.join(part.names[:4])}: {note}")
        found += [f"{key} stays doubtful: {why}" for key, why in self.compiled.doubtful.items()]
        return found

    def size_choices(self, picks: Mapping[str, Pick]) -> Iterable[SizeChoice]:
        """Choices in words, in the order of the files."""
        serves: dict[str, list[str]] = {}
        for row in self.compiled.rows:
            for name in row.parts:
                if row.statement.partition(" ")[0] in ("pair", "condition"):
                    mine = serves.setdefault(name, [])
                    if row.statement not in mine:
                        mine.append(row.statement)
        for name in self.compiled.variables:
            if name in picks:
                choice = size_choice(
                    self.compiled, name, picks[name], serves.get(name, []), self.options.rows
                )
                if choice is not None:
                    yield choice


def levels_of(part: Component, outcome: Outcome) -> tuple[int, int, int]:
    """Later methods; rows not on the shop list; rows of other catalogues. A column of another
    size's row is no row of its own."""
    branches = (part.variable(name).branches[place] for name, (place, _) in outcome.picks.items())
    rows = [branch for branch in branches if branch.row is not None and not branch.link]
    return (
        outcome.levels[0] if outcome.levels else 0,
        sum(1 for branch in rows if branch.row is not None and not branch.row.shop),
        sum(1 for branch in rows if branch.order[2]),
    )


def worst(statuses: Iterable[str]) -> str:
    """The status of several components together."""
    found = set(statuses)
    return next((s for s in ("impossible", "unknown", "feasible") if s in found), "optimal")


def size_choice(
    compiled: Compiled,
    name: str,
    pick: Pick,
    serves: Iterable[str] = (),
    rows: Rows | None = None,
) -> SizeChoice | None:
    """One pick as a choice in words; None for what is worked out."""
    variable = compiled.variables[name]
    if variable.fixed or variable.stepped or variable.solved:
        return None
    branch = variable.branches[pick[0]]
    value = branch.value(pick[1])
    before = compiled.model.choices.get(name)
    if branch.link and branch.row is not None:
        leader = branch.method.leader
        why = f"of {branch.row.designation}, which {leader} takes ({branch.row.source})"
    elif branch.row is not None:
        why = f"{branch.row.designation} ({branch.row.source})"
    elif branch.follow is not None:
        why = "follows, as its rule says"
    elif branch.step:
        why = f"on a step of {said_short(branch.step, compiled.model.units)}"
    else:
        why = branch.method.text
    if rows is not None:
        said = reasons(rows, compiled.model, variable.size, value, branch.row, variable.exact)
        why += "".join(f"; {text} ({place})" for text, place in said)
    held = ", ".join(list(serves)[:4])
    if held:
        why += f"; in {held}"
    return SizeChoice(
        name,
        value,
        branch.method.text,
        branch.row.designation if branch.row else "",
        why,
        None if variable.exact is None else value - variable.exact,
        cost_of(branch, variable.exact, pick[1]),
        None if before is None else before.value,
    )


def fallback(chosen: Model, model: Model, names: list[str]) -> Model:
    """For sizes without a pick: what was recorded for them before, else what their rule gives."""
    recorded = {
        name: model.choices[name]
        for name in names
        if name in model.choices and name.partition("@")[0] in model.sizes
    }
    return replace(chosen, choices={**chosen.choices, **recorded})


def at_exact(chosen: Model, compiled: Compiled, names: list[str]) -> Model:
    """For sizes that nothing serves: their exact size, so that the rest can be checked."""
    found: dict[str, Choice] = {}
    for name in names:
        variable = compiled.variables[name]
        if name not in chosen.choices and not variable.solved and not variable.stepped:
            found[name] = Choice(
                name, variable.at, "none", "", "nothing serves", "", variable.size.place
            )
    return replace(chosen, choices={**chosen.choices, **found})
