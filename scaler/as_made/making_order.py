"""In which order to make what is not made yet, and to which figures.

What comes from fixed tooling, as supplied or bought is made and read first; what can be cut to suit
comes after everything that it is cut to. The order is a topological one of the last cuts: a size
that is cut last comes after every other size of its statements. Parts are kept together where that
order allows it; within a part the narrowest cut comes first, while the least work is in the part.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from heapq import heapify, heappop, heappush
from typing import Any

from scaler.as_made.bench import Bench, last_of
from scaler.as_made.input import known_part
from scaler.as_made.measuring import planned_values
from scaler.as_made.move import figure
from scaler.as_made.targets import Target, target
from scaler.as_made.ways import Way, ways_out
from scaler.checking.cautions import Caution
from scaler.checking.cautions import of_model as cautions_of
from scaler.checking.check import Finding
from scaler.records import Bounds, Model, State
from scaler.settling.limits import last_cut_tolerance, limits_of
from scaler.settling.rows import HEXAGON, method_row
from scaler.settling.settle import Settled, refused_parts

ZERO = Fraction(0)
TOOLS = ("drill", "reamer", "slot drill", "end mill", "thread")
"""Families of tools that leave their own size."""
KINDS = ("bought", "as supplied", "fixed tooling", "cut to size", "cut last")


@dataclass(frozen=True, slots=True)
class MakingStep:
    """One size to be made: when, why then, and to which figure [mm]."""

    number: int
    size: str
    copy: str
    part: str
    kind: str
    after: tuple[str, ...]
    before: tuple[str, ...]
    why: str
    target: Target | None
    limits: Bounds
    limits_from: str

    @property
    def name(self) -> str:
        """The size, with its copy."""
        return f"{self.size}@{self.copy}" if self.copy else self.size

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts."""
        from scaler.report import twins

        return {
            "number": self.number,
            "size": self.name,
            "part": self.part,
            "kind": self.kind,
            "after": list(self.after),
            "before": list(self.before),
            "why": self.why,
            "target": self.target.as_dict() if self.target else None,
            **twins("limits_mm", self.limits),
            "limits_from": self.limits_from,
        }


@dataclass(frozen=True)
class MakingOrder:
    """All that is still to be made, in order; what comes next; and what is made."""

    model: Model
    steps: tuple[MakingStep, ...]
    made: tuple[str, ...]
    ways: tuple[Way, ...]
    cautions: tuple[Caution, ...]

    @cached_property
    def next(self) -> tuple[MakingStep, ...]:
        """The sizes of the part to make next, as far as they can be made now."""
        if not self.steps:
            return ()
        part = self.steps[0].part
        end = next((n for n, s in enumerate(self.steps) if s.part != part), len(self.steps))
        return self.steps[:end]

    def of_part(self, part: str) -> tuple[MakingStep, ...]:
        """The sizes of one part still to be made, in order."""
        return tuple(step for step in self.steps if step.part == part)

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts."""
        from scaler.report import caution_dict

        return {
            "model": self.model.title,
            "next": [step.as_dict() for step in self.next],
            "order": [step.as_dict() for step in self.steps],
            "made": list(self.made),
            "ways_out": [way.as_dict() for way in self.ways],
            "cautions": [caution_dict(caution) for caution in self.cautions],
        }

    def frame(self) -> Any:
        """A pandas frame: one row a size, in order."""
        import pandas

        return pandas.DataFrame(
            [
                {
                    "number": step.number,
                    "size": step.name,
                    "part": step.part,
                    "kind": step.kind,
                    "target_mm": None
                    if step.target is None or step.target.value is None
                    else float(step.target.value),
                    "why": step.why,
                }
                for step in self.steps
            ]
        )

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))


def comes_after(bench: Bench) -> dict[str, tuple[str, ...]]:
    """For every size that is cut last and not made: the sizes it waits for.

    Those are all other sizes of its statements, and what they are worked out from.
    """
    model, index = bench.model, bench.index
    found: dict[str, dict[str, None]] = {}
    for key, named in index.names_of.items():
        last = last_of(model, key)
        if not last or bench.is_made(last):
            continue
        waits = found.setdefault(last, {})
        stack, seen = [name for name in named if name != last], {last}
        while stack:
            name = stack.pop()
            if name not in seen:
                seen.add(name)
                waits[name] = None
                stack += index.up[name]
    return {size: tuple(waits) for size, waits in found.items()}


def making_order(model: Model | Bench, *, part: str = "", figures: bool = True) -> MakingOrder:
    """What is still to be made, in order, with the figures for the part to make next.

    Parameters
    ----------
    model : Model, or a Bench that holds one
    part : the part whose figures are wanted; the next one where not given
    figures : False leaves the figures out (order and reasons only)

    Raises
    ------
    InputError for a part that the model has not, and where the sizes are left open or contradict
    each other.
    """
    bench = model if isinstance(model, Bench) else Bench.opened(model)
    part = known_part(bench.model, part) if part else ""
    return _Order(bench, part, figures).run()


class _Order:
    def __init__(self, bench: Bench, part: str, figures: bool) -> None:
        self.bench, self.model = bench, bench.model
        self.part, self.figures = part, figures
        shut = refused_parts(self.model)
        self.open = {
            name: None
            for name, size in self.model.sizes.items()
            if size.part not in shut
            and bench.value(name) is not None
            and State.SCRAPPED not in (size.state, self.model.parts[size.part].state)
            and not self.finished(name)
        }
        self.after = {
            size: tuple(name for name in waits if name in self.open)
            for size, waits in comes_after(bench).items()
            if size in self.open
        }
        self.before: dict[str, list[str]] = {}
        for size, waits in self.after.items():
            for name in waits:
                self.before.setdefault(name, []).append(size)
        self.settled = bench.settled
        self._kinds: dict[str, str] = {}

    def finished(self, size: str) -> bool:
        """Whether a size of every copy is made."""
        copies = self.bench.copies(size)
        if copies and (size, "") not in self.model.readings and self.model.sizes[size].made is None:
            return all((size, copy) in self.model.readings for copy in copies)
        state = self.model.sizes[size].state
        return self.bench.is_read(size) or state in (State.MADE, State.LOCKED)

    def run(self) -> MakingOrder:
        order = list(self.sequence())
        chosen = self.part or (self.model.sizes[order[0]].part if order else "")
        wanted = {name for name in order if self.model.sizes[name].part == chosen}
        ways = self.ways(wanted) if self.figures else ()
        steps: list[MakingStep] = []
        for name in order:
            for copy in self.copies(name):
                full = self.figures and name in wanted
                steps.append(self.step(len(steps) + 1, name, copy, ways, full))
        made = tuple(n for n in self.model.sizes if self.bench.is_made(n) and n not in self.open)
        some = {chosen: self.model.parts[chosen]} if chosen else {}
        cautions = cautions_of(replace(self.model, parts=some, sizes={}))
        return MakingOrder(self.model, tuple(steps), made, ways, cautions)

    # ------------------------------------------------------------------------ the sequence

    def sequence(self) -> Iterable[str]:
        """The open sizes in order: part by part, each as far as it can be made."""
        left = dict(self.open)
        parts: dict[str, dict[str, None]] = {}
        for name in left:
            parts.setdefault(self.model.sizes[name].part, {})[name] = None
        outside: dict[str, set[str]] = {part: set() for part in parts}
        for name, waits in self.after.items():
            part = self.model.sizes[name].part
            outside[part] |= {other for other in waits if self.model.sizes[other].part != part}
        ready = [(self.rank(part, parts[part]), part) for part in parts if not outside[part]]
        heapify(ready)
        while left:
            part = heappop(ready)[1] if ready else self.some_of(parts, left)
            sizes = self.can_be_made(parts[part], left) if part else list(left)
            if not sizes:
                continue
            yield from sizes
            for name in sizes:
                del left[name]
                parts[self.model.sizes[name].part].pop(name, None)
            for name in sizes:
                for later in self.before.get(name, ()):
                    other = self.model.sizes[later].part
                    if name in outside[other]:
                        outside[other].discard(name)
                        if not outside[other] and parts[other]:
                            heappush(ready, (self.rank(other, parts[other]), other))

    def some_of(self, parts: Mapping[str, Mapping[str, None]], left: Mapping[str, None]) -> str:
        """The part to begin where none can be made whole; '' where nothing can (a ring)."""
        begun = [part for part, sizes in parts.items() if self.can_be_made(sizes, left)]
        return min(begun, key=lambda part: self.rank(part, parts[part]), default="")

    def can_be_made(self, sizes: Iterable[str], left: Mapping[str, None]) -> list[str]:
        """The sizes of a part that wait for nothing outside it, in the order to cut them."""
        done: dict[str, None] = {}
        waiting = list(sizes)
        while True:
            free = [
                name
                for name in waiting
                if name not in done
                and all(other in done or other not in left for other in self.after.get(name, ()))
            ]
            if not free:
                return list(done)
            done[min(free, key=self.size_rank)] = None

    def kind(self, name: str) -> str:
        """How a size comes about: one of KINDS."""
        if name not in self._kinds:
            self._kinds[name] = self.find_kind(name)
        return self._kinds[name]

    def find_kind(self, name: str) -> str:
        size = self.model.sizes[name]
        if State.BOUGHT in (size.state, self.model.parts[size.part].state):
            return "bought"
        if name in self.after or any(
            last_of(self.model, key) == name for key in self.bench.index.named_in.get(name, ())
        ):
            return "cut last"
        settled = self.settled(name)
        table = method_row(settled.method)
        of_row = settled.by is not None and settled.by.column
        if of_row and (table is None or settled.method in HEXAGON):
            return "as supplied"  # the wall of a tube, the flats of a nut
        if table is not None and table.family:
            return "fixed tooling" if table.family in TOOLS else "as supplied"
        return "cut to size"

    def rank(self, part: str, sizes: Iterable[str]) -> tuple[int, int, int, int]:
        """Which part comes first: one that waits for nothing; by how it comes about; by how much
        waits for it; in the order of the files."""
        kinds = [KINDS.index(self.kind(name)) for name in sizes]
        waiting = sum(len(self.before.get(name, ())) for name in self.bench.index.sizes_of[part])
        place = min(self.bench.index.position[name] for name in sizes)
        return int(max(kinds) == len(KINDS) - 1), min(kinds), -waiting, place

    def size_rank(self, name: str) -> tuple[int, Fraction, int]:
        return KINDS.index(self.kind(name)), -self.risk(name), self.bench.index.position[name]

    def risk(self, name: str) -> Fraction:
        """What a last cut needs over what its narrowest fit is wide; 0 where it is no last cut."""
        width = self.width(name)
        return self.tolerance(name) / width if width else ZERO

    def width(self, name: str) -> Fraction:
        """The narrowest fit that a size is cut last for [mm]; 0 where there is none."""
        widths = [
            finding.statement.upper - finding.statement.lower
            for finding in self.served(name)
            if finding.statement.upper is not None and finding.statement.lower is not None
        ]
        return min(widths, default=ZERO)

    def tolerance(self, name: str) -> Fraction:
        """The tolerance of the last cut of a size, the finest that a statement asks for [mm]."""
        size, settled = self.model.sizes[name], self.settled(name)
        asked = {finding.statement.basis.by for finding in self.served(name)} - {""}
        return min(
            last_cut_tolerance(self.model, size, settled, by)[0] for by in sorted(asked) or [""]
        )

    def served(self, name: str) -> list[Finding]:
        """The statements that a size is cut last for."""
        return [
            finding
            for key in self.bench.index.named_in.get(name, ())
            if last_of(self.model, key) == name
            for finding in self.bench.found.get(key, ())
        ]

    # -------------------------------------------------------------------------- one step

    def copies(self, name: str) -> tuple[str, ...]:
        """The copies still to be made, where they have to be told apart; else the size as one."""
        model, copies = self.model, self.bench.copies(name)
        if not copies:
            return ("",)
        own = any(
            f"@{copy}" in finding.statement.id
            for key in self.bench.index.named_in.get(name, ())
            for finding in self.bench.found.get(key, ())
            for copy in copies
        )
        left = tuple(copy for copy in copies if (name, copy) not in model.readings)
        return left if own or len(left) < len(copies) else ("",)

    def ways(self, wanted: Iterable[str]) -> tuple[Way, ...]:
        """Ways out of what fails on the sizes whose figures are wanted."""
        broken = {
            finding.statement.id: finding
            for name in wanted
            for key in self.bench.index.keys_of(name)
            for finding in self.bench.found.get(key, ())
            if finding.fails
        }
        if not broken:
            return ()
        listed = list(broken.values())
        return ways_out(self.bench, listed, planned_values(self.bench, listed))

    def step(
        self, number: int, name: str, copy: str, ways: tuple[Way, ...], full: bool
    ) -> MakingStep:
        size = self.model.sizes[name]
        settled = self.settled(name)
        kind = self.kind(name)
        found = target(self.bench, name, copy, ways) if full else None
        after = self.after.get(name, ())
        before = tuple(dict.fromkeys(self.before.get(name, ())))
        bounds: Bounds = (None, None)
        source = ""
        if full and found is not None:
            if kind == "cut last" and (found.lower is not None or found.upper is not None):
                bounds, source = (found.lower, found.upper), "what it is cut to suit, as measured"
            else:
                limits = limits_of(self.model, size, settled)
                at = found.value if found.value is not None else found.planned
                bounds = (at + limits.lower, at + limits.upper)
                source = limits.source
        why = self.why(name, kind, settled, after, before)
        return MakingStep(
            number, name, copy, size.part, kind, after, before, why, found, bounds, source
        )

    def why(
        self,
        name: str,
        kind: str,
        settled: Settled,
        after: tuple[str, ...],
        before: tuple[str, ...],
    ) -> str:
        """Why a size comes when it does, in words."""
        size = self.model.sizes[name]
        row = f", {settled.row.designation}" if settled.row else ""
        suits = f"; {_listed(before)} {'is' if len(before) == 1 else 'are'} cut to suit it"
        tail = suits if before else ""
        if kind == "bought":
            return f"bought: read it as it comes{tail}"
        if kind == "as supplied":
            return f"{settled.method}{row}, used as supplied: read it first{tail}"
        if kind == "fixed tooling":
            return f"{settled.method}{row}: the tool leaves its own size{tail}"
        if kind == "cut last":
            named = dict.fromkeys(
                other
                for key in self.bench.index.named_in[name]
                if last_of(self.model, key) == name
                for other in self.bench.index.names_of[key]
                if other != name
            )
            waits = [other for other in named if other in self.open]
            done = [other for other in named if other not in self.open]
            parts = []
            if done:
                parts.append(f"cut last, to the measured {_listed(done)}")
            if waits:
                parts.append(f"cut last, after {_listed(waits)}")
            width = self.width(name)
            if width:
                needs = figure(size, self.tolerance(name), self.model.units)
                parts.append(
                    f"the fit is {figure(size, width, self.model.units)} wide, the cut takes {needs} of it"
                )
            return "; ".join(parts) + tail
        return f"waits for nothing{tail or '; nothing waits for it'}"


def _listed(found: Iterable[str]) -> str:
    every = list(found)
    text = ", ".join(every[:4])
    return f"{text} and {len(every) - 4} more" if len(every) > 4 else text
