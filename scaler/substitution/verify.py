"""Choices put back through the exact path of a check: what is shown as holding is confirmed there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction

from scaler.checking.check import Checker, Finding
from scaler.expressions import Node, names
from scaler.problems import InputError
from scaler.records import Choice, Condition, LimitSpec, Model, Pair, Size, State, Verdict
from scaler.settling.settle import Settlement, exact_size, reach_of
from scaler.settling.solve import middle
from scaler.substitution.compile import is_closed
from scaler.substitution.compiled import Compiled, key_of
from scaler.substitution.options import Branch
from scaler.substitution.parts import Component, Pick

NOTE = "whole-model choice"


def choices_of(compiled: Compiled, picks: Mapping[str, Pick]) -> dict[str, Choice]:
    """The choices that picks amount to; none for sizes that are worked out or follow others."""
    found: dict[str, Choice] = {}
    for name, (place, k) in picks.items():
        variable = compiled.variables[name]
        if variable.fixed or variable.stepped or variable.solved:
            continue
        branch = variable.branches[place]
        if branch.follow is not None or (branch.link and not is_loose(compiled, branch)):
            continue
        found[name] = Choice(
            name,
            branch.value(k),
            branch.method.text,
            branch.row.designation if branch.row else "",
            NOTE,
            "",
            variable.size.place,
        )
    return found


def is_loose(compiled: Compiled, branch: Branch) -> bool:
    """Whether a branch takes a column of the row of a size that may have any value."""
    leader = compiled.variables.get(branch.method.leader)
    if leader is None or leader.solved or leader.stepped:
        return False
    return all(each.free and each.follow is None for each in leader.branches)


def kept_choices(model: Model) -> dict[str, Choice]:
    """Recorded choices that stay binding: those of sizes locked, bought or made."""
    return {
        name: choice
        for name, choice in model.choices.items()
        if (size := model.sizes.get(name.partition("@")[0])) is None or is_closed(size)
    }


def chosen_model(model: Model, compiled: Compiled, picks: Mapping[str, Pick]) -> Model:
    """The model with these picks as its recorded choices."""
    return replace(model, choices={**kept_choices(model), **choices_of(compiled, picks)})


def part_of(model: Model, exact: Settlement, sizes: Iterable[str], keys: Iterable[str]) -> Model:
    """The piece of a model that some sizes and statements make, with all that they name."""
    pairs: dict[str, Pair] = {}
    conditions: dict[str, Condition] = {}
    wanted: list[str] = [
        name.partition("@")[0] for name in sizes if name.partition("@")[0] in model.sizes
    ]
    solved = exact.solved_by

    def take(key: str) -> None:
        what, _, identity = key.partition(" ")
        identity = identity.partition("@")[0]
        if what == "pair" and identity in model.pairs and identity not in pairs:
            pair = pairs[identity] = model.pairs[identity]
            wanted.extend((*names(pair.inner), *names(pair.outer)))
        elif what == "condition" and identity in model.conditions and identity not in conditions:
            item = conditions[identity] = model.conditions[identity]
            wanted.extend(names(item.expression))
        elif what in ("rule", "definition"):
            wanted.append(identity)

    for key in keys:
        take(key)
    seen: dict[str, Size] = {}
    while wanted:
        name = wanted.pop().partition("@")[0]
        if name in seen or name not in model.sizes:
            continue
        size = seen[name] = model.sizes[name]
        for node in definitions_of(size):
            wanted.extend(names(node))
        if name in solved:
            take(solved[name])
    return replace(
        model,
        parts={size.part: model.parts[size.part] for size in seen.values()},
        sizes=seen,
        pairs=pairs,
        conditions=conditions,
        choices={n: c for n, c in model.choices.items() if n.partition("@")[0] in seen},
        readings={key: r for key, r in model.readings.items() if key[0] in seen},
    )


def loosened(model: Model, loose: Iterable[str]) -> Model:
    """The model with some sizes of which nothing is known but what is chosen for them: not made, not
    defined, without limits of their own."""
    gone = {name for name in loose if name in model.sizes}
    if not gone:
        return model
    bases = [pair.basis for pair in model.pairs.values()]
    bases += [condition.basis for condition in model.conditions.values()]
    last = {basis.last.partition("@")[0] for basis in bases}
    sizes = dict(model.sizes)
    for name in gone:
        limits = sizes[name].limits if name in last else LimitSpec("±0", Fraction(0), Fraction(0))
        sizes[name] = replace(
            sizes[name],
            made=None,
            state=State.NOT_MADE,
            equals=None,
            equals_text="",
            standard="",
            limits=limits,
            lock=None,
        )
    return replace(
        model,
        sizes=sizes,
        readings={key: item for key, item in model.readings.items() if key[0] not in gone},
        choices={name: item for name, item in model.choices.items() if name not in gone},
    )


def definitions_of(size: Size) -> list[Node]:
    """What a size may be worked out from."""
    found = [] if size.equals is None else [size.equals]
    return found + [m.argument for m in size.rule if m.argument is not None]


def failing(
    component: Component, picks: Mapping[str, Pick], model: Model | None = None
) -> list[str]:
    """Keys of the statements of a component that the exact check does not confirm.

    Parameters: model : the one that is checked, where that is not the one compiled.
    """
    compiled = component.compiled
    piece = part_of(model or compiled.model, compiled.exact, component.names, component.keys)
    try:
        checker = Checker(chosen_model(piece, compiled, picks))
    except InputError:
        return list(component.keys)
    leave_out_copies(compiled, checker)
    mine = set(component.keys)
    wrong = [key for key in unheld(compiled, checker.findings) if key in mine]
    return wrong + otherwise(compiled, checker, picks)


def leave_out_copies(compiled: Compiled, checker: Checker) -> None:
    """Takes the copies of a statement that were given up, while others of it are kept, out of a
    check: what is cut last for the others need not suit them too."""
    kept = {key.partition("@")[0] for key in compiled.statements if "@" in key}
    given_up = {
        key
        for item in checker.statements
        if (key := key_of(item)) not in compiled.statements and key.partition("@")[0] in kept
    }
    if given_up:
        checker.statements = tuple(s for s in checker.statements if key_of(s) not in given_up)


def otherwise(compiled: Compiled, checker: Checker, picks: Mapping[str, Pick]) -> list[str]:
    """Keys of worked-out sizes that come to another value than was picked for them."""
    found = []
    for name, (place, k) in picks.items():
        variable = compiled.variables[name]
        if variable.stepped and not variable.branches[place].free:
            value = checker.values.get(name)
            if value is not None and middle(value) != variable.branches[place].value(k):
                found.append(f"definition {name}")
    return found


def unheld(compiled: Compiled, findings: Iterable[Finding]) -> list[str]:
    """Keys of statements that neither hold nor may stay doubtful."""
    found = []
    for finding in findings:
        key = key_of(finding.statement)
        if key not in compiled.statements:
            continue
        if finding.fails or (
            finding.verdict is Verdict.DOUBTFUL and not may_be_doubtful(compiled, key)
        ):
            found.append(key)
    return found


def may_be_doubtful(compiled: Compiled, key: str) -> bool:
    """Whether a statement is one that no choice can promise, or about sizes already settled."""
    if key in compiled.doubtful:
        return True
    named = names(compiled.statements[key].node)
    return all(name in compiled.variables and compiled.variables[name].fixed for name in named)


def departure_cost(model: Model, settlement: Settlement) -> Fraction:
    """Σ weight × |departure| ÷ reach over the drawn sizes of a settled model, exactly."""
    total = Fraction(0)
    for name, settled in settlement.results.items():
        size = model.sizes[name]
        exact = exact_size(size, model.ratio)
        if exact is None or not size.weight:
            continue
        away = abs(middle(settled.value) - exact)
        if away:
            method = settled.by or next(
                (m for m in size.rule if settled.method in (m.name, m.text)), None
            )
            total += size.weight * away / reach_of(size, method, exact)
    return total
