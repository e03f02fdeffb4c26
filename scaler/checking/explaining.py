"""Where a number comes from, and what hangs on it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from scaler.checking.cautions import Caution
from scaler.checking.check import Checker, Finding
from scaler.expressions import names
from scaler.measures.lengths import format_exact, format_feet_inches, format_inch, format_mm
from scaler.problems import InputError, Place, Problem, copy_meant, unknown_size
from scaler.records import Model, Size, Stage
from scaler.settling.reduce import SizeLine, from_settlement
from scaler.settling.row_links import reasons
from scaler.settling.rows import Candidate, Rows
from scaler.settling.settled import refused_parts
from scaler.settling.solve import Value, middle

if TYPE_CHECKING:
    import pandas

INCH = Fraction(127, 5)


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the way to a size: what it is, in words, and where it stands if it stands."""

    what: str
    text: str
    place: Place | None = None


@dataclass(frozen=True)
class Explanation:
    """The chain of reasons of one size, the pairs and conditions that hang on it, and what it makes."""

    size: Size
    line: SizeLine
    steps: tuple[Step, ...]
    findings: tuple[Finding, ...]
    makes: tuple[str, ...]
    cautions: tuple[Caution, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts."""
        from scaler.report import caution_dict, finding_dict, size_dict

        return {
            "size": size_dict(self.line),
            "steps": [
                {
                    "what": step.what,
                    "text": step.text,
                    "file": step.place.file if step.place else None,
                    "line": step.place.line if step.place else None,
                }
                for step in self.steps
            ],
            "hangs_on_it": [finding_dict(finding) for finding in self.findings],
            "makes": list(self.makes),
            "cautions": [caution_dict(caution) for caution in self.cautions],
        }

    def frame(self) -> pandas.DataFrame:
        """A pandas frame of the steps: what, text, file, line."""
        import pandas

        return pandas.DataFrame(self.as_dict()["steps"])

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))


def explain(model: Model, identity: str, *, as_drawn: bool = False) -> Explanation:
    """Where the number of one size comes from and what hangs on it.

    Parameters: identity : ``part.size``, or ``part.size@copy`` for one copy by itself; as_drawn :
        leave readings out.
    Raises: InputError for a size or copy that the model does not have, with the nearest names.
    """
    identity, _, copy = identity.partition("@")
    size = model.sizes.get(identity)
    copies = model.parts[size.part].copies if size is not None else ()
    if size is not None and copy and copy not in copies:
        raise InputError(
            [
                Problem(
                    "unknown-copy",
                    f"{size.part} has no copy '{copy[:80]}'",
                    read=copy,
                    expected=", ".join(copies) or f"{size.part} has no named copies",
                    advice=copy_meant(copy, size.part, copies, model.parts[size.part].count),
                )
            ]
        )
    if size is None:
        raise InputError([unknown_size(identity, model.sizes)])
    checker = Checker(model, Stage.CHOSEN, as_drawn=as_drawn)
    reduction = from_settlement(model, checker.settlement, checker.exact)
    own = f"{identity}@{copy}" if f"{identity}@{copy}" in checker.settlement.copies else identity
    line = reduction.line(own)
    hangs = _reach(checker, identity)
    findings = tuple(
        checker.finding(item)
        for item in checker.statements
        if hangs & {name.partition("@")[0] for name in names(item.node)}
        and (not copy or item.copy_of(size.part) in ("", copy))
    )
    cautions = tuple(c for c in reduction.cautions if c.about in (identity, size.part))
    steps = _steps(model, size, line, checker, copy)
    makes = tuple(name for name in model.sizes if name in hangs and name != identity)
    return Explanation(size, line, steps, findings, makes, cautions)


def _reach(checker: Checker, identity: str) -> set[str]:
    """The size and every size made from it, by definitions or by statements solved."""
    makes: dict[str, list[str]] = {}
    for name, node in checker.settlement.defined_by.items():
        for other in names(node):
            makes.setdefault(other.partition("@")[0], []).append(name)
    for name, key in checker.settlement.solved_by.items():
        what, _, statement = key.partition(" ")
        if what == "condition":
            for other in names(checker.model.conditions[statement].expression):
                makes.setdefault(other.partition("@")[0], []).append(name)
    for name, settled in checker.settlement.results.items():
        if settled.by is not None and settled.by.leader:
            makes.setdefault(settled.by.leader, []).append(name)
    reached, stack = {identity}, [identity]
    while stack:
        for name in makes.get(stack.pop(), ()):
            if name not in reached:
                reached.add(name)
                stack.append(name)
    return reached


def _steps(
    model: Model, size: Size, line: SizeLine, checker: Checker, copy: str
) -> tuple[Step, ...]:
    steps: list[Step] = []
    if line.refused:
        said = "no figure is given for a pressure part"
        if size.part not in refused_parts(model):
            said = "no figure is given: it is worked out from a size of a pressure part"
        steps.append(Step("refused", said, size.place))
        return tuple(steps)
    unit = "mm" if size.kind.is_length else ("°" if size.kind.value == "angle" else "")
    drawing = model.drawings.get(size.drawing or "")
    if size.full is not None:
        sheet = f" on {drawing.title or drawing.name}" if drawing else ""
        other = "" if size.drawn_as == size.drawn else f", read as {size.drawn_as}"
        steps.append(Step("read", f"{size.drawn}{sheet}{other}", size.place))
        if drawing is not None and drawing.scale is not None and drawing.scale.ratio != 1:
            steps.append(Step("sheet's scale", f"drawn for {drawing.scale.read_as}", drawing.place))
        if size.kind.is_length:
            steps.append(
                Step(
                    "full size",
                    f"{format_mm(size.full, 3)} mm = {format_feet_inches(size.full)}"
                    + (f" ± {format_mm(size.uncertainty, 2)} mm" if size.uncertainty else ""),
                )
            )
            way = f"{model.scale.read_as}: × {format_exact(model.ratio)}"
            if size.sheet_ratio != 1:
                way += f"; from the sheet × {format_exact(model.ratio / size.sheet_ratio)}"
            steps.append(Step("scale", way))
    if line.exact is not None:
        value = middle(line.exact)
        exact = "" if value != line.exact else f" ({format_exact(value)})"
        steps.append(Step("exact", f"{format_mm(value, 4)} {unit}{exact}".rstrip()))
    if size.equals is not None:
        steps.append(Step("definition", f"{size.id} = {size.equals_text}", size.place))
    key = checker.settlement.solved_by.get(size.id)
    if key is not None and key.startswith("condition "):
        condition = model.conditions[key[10:]]
        steps.append(Step("solved from", f"{condition.id}: {condition.text}", condition.place))
    if size.rule:
        methods = "; then ".join(method.text for method in size.rule)
        steps.append(Step("rule", methods, size.rule[0].place or _rule_place(model, size)))
    if size.standard:
        item = model.conditions.get(f"{size.id}:standard")
        source = f" ({item.source})" if item else ""
        steps.append(Step("bounded by", f"{model.track}: {size.standard}{source}"))
    settled = line.settled
    if settled is not None and line.chosen is not None:
        choice = model.choices.get(line.name)
        place = choice.place if settled.way == "choice" and choice else None
        value = middle(line.chosen)
        text = f"{format_mm(value, 3)} {unit}".rstrip()
        if size.kind.is_length:
            text += f" = {format_inch(value, 4)} in"
        if settled.method:
            text += f", {settled.method}"
        if place is not None and choice is not None:
            text += ", by choice" + (f": {choice.note}" if choice.note else "")
        elif settled.why:
            text += f": {settled.why}"
        whose = f", {copy}" if copy else ""
        steps.append(Step(("as made" if settled.made else "chosen") + whose, text, place))
        if settled.row is not None:
            row = settled.row
            steps.append(Step("row", f"{row.designation}, {row.source} {row.place}".rstrip()))
        if not settled.made:
            steps += _wishes(model, size, value, settled.row, line.exact)
        if settled.note:
            steps.append(Step("note", settled.note))
    if not checker.as_drawn:
        from scaler.as_made.measuring import reading_steps

        steps += [Step(*found) for found in reading_steps(model, size, copy)]
    if not copy:
        steps += _own_copies(checker, size, unit)
    if line.departure is not None and line.exact is not None and size.kind.is_length:
        percent = float(line.departure / middle(line.exact) * 100) if middle(line.exact) else 0.0
        back = line.departure / model.ratio
        steps.append(
            Step(
                "departure",
                f"{_signed(line.departure, 3)} mm, {percent:+.2f} %; full size "
                f"{_signed(back, 2)} mm ({_signed(back / INCH, 3)} in)",
            )
        )
    if line.limits is not None and line.chosen is not None:
        steps.append(
            Step(
                "limits",
                f"{_signed(line.limits.upper, 3)} / {_signed(line.limits.lower, 3)} mm, "
                f"from {line.limits.source}",
            )
        )
    return tuple(steps)


def _rule_place(model: Model, size: Size) -> Place:
    """Where a size's own rule stands: in its row of a table, or at its key."""
    source = model.sources.get(size.place.file)
    if source is None or size.place.file.lower().endswith(".csv"):
        return size.place
    return source.place(("part", size.part, "size", size.name, "rule"))


def _wishes(
    model: Model, size: Size, value: Fraction, row: Candidate | None, exact: Value | None
) -> list[Step]:
    """The lock, and where a preference or a forbid decided."""
    if size.lock is not None:
        return [Step("locked", f"to {size.lock.word}: it never changes", size.lock.place)]
    at = None if exact is None else middle(exact)
    found = reasons(Rows(model), model, size, value, row, at)
    return [Step("wish", text, place) for text, place in found]


def _own_copies(checker: Checker, size: Size, unit: str) -> list[Step]:
    """The copies that are chosen by themselves; those that were read have their readings."""
    found = []
    for name, settled in checker.settlement.copies.items():
        identity, _, copy = name.partition("@")
        if identity == size.id and not settled.made:
            text = f"{format_mm(middle(settled.value), 3)} {unit}".rstrip()
            said = f"{text}, {settled.method}: {settled.why}"
            found.append(Step(f"chosen, {copy}", said, checker.model.choices[name].place))
    return found


def _signed(value: Fraction, places: int) -> str:
    text = format_mm(value, places)
    return text if text.startswith("-") else f"+{text}"
