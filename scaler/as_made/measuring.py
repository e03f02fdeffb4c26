"""As-made parts: a measured size goes in, and what it changes comes out.

A reading stands in place of the planned size, with the instrument's uncertainty in place of the
tolerance. :func:`measured` says which verdicts that changes, which sizes, what each part not made
yet must become, what can no longer hold, and the ways out, each tried on the whole model.
:class:`Workbench` keeps the findings of a model at hand and works out only what hangs on the size.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from scaler.as_made.bench import Bench, Edits, base, rank
from scaler.as_made.changes import Figure, as_text, chosen, drawn
from scaler.as_made.input import known, known_size, reading_of
from scaler.as_made.notes import notes
from scaler.as_made.record import placed, reading_steps, readings_path, record, take_back
from scaler.as_made.targets import Target, targets
from scaler.as_made.ways import Proposer, Way, ways_out
from scaler.checking import cautions
from scaler.checking.cautions import Caution
from scaler.checking.check import Finding
from scaler.expressions import rename
from scaler.records import Bounds, Model, Reading, Size
from scaler.settling.limits import uncertainty
from scaler.settling.solve import middle

if TYPE_CHECKING:
    import pandas

    from scaler.checking.workability import WorkFinding

__all__ = [
    "Change",
    "Moved",
    "Turned",
    "Workbench",
    "measured",
    "placed",
    "planned_values",
    "reading_steps",
    "readings_path",
    "record",
    "remedies",
    "take_back",
]


@dataclass(frozen=True, slots=True)
class Turned:
    """A statement whose verdict is another one now; None where it was not, or is no longer, looked
    at (copies that are read stand in place of the whole)."""

    id: str
    before: Finding | None
    after: Finding | None

    @property
    def worse(self) -> bool:
        """Whether it holds less well than before."""
        was = rank(self.before.verdict) if self.before else 0
        return self.after is not None and rank(self.after.verdict) > was


@dataclass(frozen=True, slots=True)
class Moved:
    """A size that is another one now [mm]."""

    size: str
    before: Fraction | None
    after: Fraction | None


@dataclass(frozen=True)
class Change:
    """What a reading changes.

    ``lost`` are the findings that nothing still to be made can mend, among what was tried;
    ``why_not`` says why not, where whoever proposed ways out has proved it.
    """

    model: Model
    size: Size
    copy: str
    reading: Reading | None
    before: Fraction | None
    after: Fraction | None
    verdicts: tuple[Turned, ...]
    affected: tuple[Moved, ...]
    findings: tuple[Finding, ...]
    targets: tuple[Target, ...]
    lost: tuple[Finding, ...]
    ways: tuple[Way, ...]
    notes: tuple[str, ...]
    cautions: tuple[Caution, ...]
    fails: bool
    doubtful: bool = False
    why_not: tuple[str, ...] = ()
    workability: tuple[WorkFinding, ...] = ()

    def status(self, *, strict: bool = False) -> int:
        """Exit status: 1 where anything of the whole model fails (or, strictly, is doubtful), as a
        check of it says; else 0."""
        return int(self.fails or (strict and self.doubtful))

    @property
    def name(self) -> str:
        """The size, with its copy."""
        return f"{self.size.id}@{self.copy}" if self.copy else self.size.id

    @property
    def broken(self) -> tuple[Finding, ...]:
        """The findings on this size that are tight, loose or fail."""
        return tuple(finding for finding in self.findings if finding.fails)

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts."""
        from scaler.report import caution_dict, finding_dict, twin

        reading = self.reading
        return {
            "model": self.model.title,
            "size": self.name,
            "reading": None
            if reading is None
            else {
                **twin("value_mm", reading.value),
                "instrument": uncertainty(self.size, reading.instrument)[0],
                **twin("uncertainty_mm", uncertainty(self.size, reading.instrument)[1]),
                "note": reading.note or None,
                "time": reading.time or None,
                "file": reading.place.file,
                "line": reading.place.line,
            },
            **twin("before_mm", self.before),
            **twin("after_mm", self.after),
            "verdicts": [
                {
                    "id": item.id,
                    "before": str(item.before.verdict) if item.before else None,
                    "after": str(item.after.verdict) if item.after else None,
                }
                for item in self.verdicts
            ],
            "affected": [
                {"size": m.size, **twin("before_mm", m.before), **twin("after_mm", m.after)}
                for m in self.affected
            ],
            "hangs_on_it": [finding_dict(finding) for finding in self.findings],
            "must_become": [item.as_dict() for item in self.targets],
            "no_longer_holds": [finding.statement.id for finding in self.lost],
            "why_not": list(self.why_not),
            "ways_out": [way.as_dict() for way in self.ways],
            "notes": list(self.notes),
            "cautions": [caution_dict(caution) for caution in self.cautions],
            "workability": [item.as_dict() for item in self.workability],
            "status": self.status(),
        }

    def frame(self) -> pandas.DataFrame:
        """A pandas frame: one row a way out, with what it changes, gives up and costs."""
        import pandas

        return pandas.DataFrame(
            [
                {
                    "text": way.text,
                    "gives_up": "; ".join(way.gives_up),
                    "made_anew": way.remade,
                    "worked_again": way.repaired,
                    "cost": float(way.cost),
                }
                for way in self.ways
            ]
        )

    def _repr_html_(self) -> str:
        """As a table in a notebook."""
        return str(self.frame().to_html(index=False))


class Workbench:
    """A model on the bench: measure, draw or choose a size otherwise, and only what hangs on it is
    worked out anew.

    What it then holds is what a check of the whole model with those changes says: the one way to
    change sizes in a loop, as behind a slider in a notebook.
    """

    def __init__(self, model: Model) -> None:
        self._bench = Bench.opened(model)
        _ = self._bench.workability  # once for all parts; afterwards for what readings reach

    @property
    def model(self) -> Model:
        """The model with all readings so far."""
        return self._bench.model

    @property
    def bench(self) -> Bench:
        """The findings as they stand, and what they rest on."""
        return self._bench

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings, in the order of the files."""
        return self._bench.findings

    def finding(self, identity: str) -> Finding:
        """The finding of one pair or condition (``name``, ``name@copy``) as it now stands. Raises
        KeyError for an unknown one."""
        found = self._bench.finding(identity)
        if found is None:
            raise KeyError(identity)
        return found

    def read(self, size: str, value: str, **how: Any) -> Reading:
        """A reading as text, made sense of against the model (see ``reading_of``)."""
        return reading_of(self._bench, size, value, **how)

    def measure(
        self,
        size: str,
        value: Figure,
        copy: str = "",
        instrument: str = "",
        *,
        note: str = "",
        time: str = "",
        sure: bool = False,
        remedies: bool = True,
        propose: Proposer | None = None,
    ) -> Change:
        """Takes a reading [mm, or text with its unit] and says what it changes.

        A bare number as text is in the unit that the workshop works in.

        Raises InputError for a reading that cannot be meant (see ``reading_of``).
        """
        one = known_size(self.model, size.partition("@")[0])
        reading = reading_of(
            self._bench,
            size,
            as_text(one, value),
            copy=copy,
            instrument=instrument,
            note=note,
            time=time,
            sure=sure,
        )
        return self.put(reading.size, reading.copy, reading, remedies=remedies, propose=propose)

    def put(
        self,
        size: str,
        copy: str,
        reading: Reading | None,
        *,
        remedies: bool = True,
        propose: Proposer | None = None,
    ) -> Change:
        """Puts a reading in, or takes the standing one out (None), and says what that changes."""
        before = self._bench
        after = before.after(Edits(readings={(size, copy): reading}))
        change = _change(before, after, size, copy, reading, remedies, propose)
        self._bench = after.kept()
        return change

    def redraw(self, size: str, full: Figure) -> Change:
        """Draws a size otherwise, as text in its sheet's unit or the prototype's size [mm], and
        says what that changes. Nothing is recorded; :attr:`model` has it from now on.

        Raises InputError for an unknown size, one that is not drawn, a figure that cannot be read,
        and where the sizes then contradict each other.

        >>> from scaler.examples import load
        >>> Workbench(load("starter")).redraw("roller.diameter", "8 in").after
        Fraction(127, 5)
        """
        new = drawn(self.model, size, full)
        return self._changed(new.id, Edits(sizes={new.id: new}))

    def choose(self, size: str, value: Figure | None) -> Change:
        """Makes this value [mm, or text with its unit] a size's choice (None: leaves it to its rule
        again), and says what that changes. Nothing is recorded; :attr:`model` has it from now on.

        Raises InputError for an unknown size, a value that cannot be read, and where the sizes then
        contradict each other.
        """
        name = known(self.model, size, "")[0].id
        choice = None if value is None else chosen(self.model, name, value)
        return self._changed(name, Edits(choices={name: choice}))

    def _changed(self, size: str, edits: Edits) -> Change:
        before = self._bench
        after = before.after(edits)
        change = _change(before, after, size, "", None, remedies=False, propose=None)
        self._bench = after.kept()
        return change


def measured(
    model: Model,
    size: str,
    value: Figure,
    copy: str = "",
    instrument: str = "",
    *,
    propose: Proposer | None = None,
    sure: bool = False,
) -> Change:
    """What a reading of a size would change in a model; nothing is recorded.

    Parameters
    ----------
    size : ``part.size`` or ``part.size@copy``
    value : the reading [mm], or text with any unit
    copy, instrument : which copy it is of, and what it was read with
    propose : another source of ways out, tried and ranked like the rest
    sure : take it even where it looks wrong

    Raises
    ------
    InputError for a reading that cannot be meant, and for a model that cannot be settled.
    """
    return Workbench(model).measure(size, value, copy, instrument, propose=propose, sure=sure)


# -------------------------------------------------------------------------------- the change


def _change(
    before: Bench,
    after: Bench,
    size: str,
    copy: str,
    reading: Reading | None,
    remedies: bool,
    propose: Proposer | None,
) -> Change:
    model = after.model
    findings = _hanging(after, size, copy)
    turned = _turned(before, after)
    was_worse = {item.id: item.worse for item in turned}
    broken = [f for f in findings if f.fails or (was_worse.get(f.statement.id) and rank(f.verdict))]
    ways: tuple[Way, ...] = ()
    if remedies and broken:
        ways = ways_out(after, broken, planned_values(after, broken), propose)
    lost = [
        finding
        for finding in broken
        if finding.fails
        and not any(way.only_open and finding.statement.id in way.mends for way in ways)
    ]
    about = {size.partition(".")[0]}
    for finding in broken:
        named = after.index.names_of[finding.statement.what, base(finding.statement.id)]
        about |= {name.partition(".")[0] for name in named}
    return Change(
        model,
        model.sizes[size],
        copy,
        reading,
        before.value(size, copy),
        after.value(size, copy),
        turned,
        _moved(before, after),
        findings,
        targets(after, ways, findings) if remedies else (),
        tuple(lost) if remedies else (),
        ways,
        notes(after, size, copy, findings, ways),
        cautions.of_parts(model, [part for part in model.parts if part in about]),
        after.fails(),
        after.fails(strict=True),
        tuple(getattr(propose, "why_not", ())) if ways or broken else (),
        _work_changed(before, after),
    )


def _work_changed(before: Bench, after: Bench) -> tuple[WorkFinding, ...]:
    """The checks of workability that hold less well than before."""
    parts = dict.fromkeys(after.model.sizes[size].part for size in after.changed.sizes)
    was = {item.id: rank(item.verdict) for part in parts for item in before.work[part]}
    return tuple(
        item
        for part in parts
        for item in after.work[part]
        if (item.fails or item.doubtful)
        and rank(item.verdict) > was.get(item.id, was.get(base(item.id), 0))
    )


def _hanging(bench: Bench, size: str, copy: str) -> tuple[Finding, ...]:
    """The findings that a size enters (of that copy, or of all)."""
    found = []
    for key in bench.index.keys_of(size):
        for finding in bench.found.get(key, ()):
            own = finding.statement.copy_of(size.partition(".")[0])
            if not copy or own in ("", copy):
                found.append(finding)
    return tuple(found)


def _turned(before: Bench, after: Bench) -> tuple[Turned, ...]:
    turned = []
    for key in sorted(after.changed.keys, key=after.index.order.__getitem__):
        was = {f.statement.id: f for f in before.found.get(key, ())}
        now = {f.statement.id: f for f in after.found.get(key, ())}
        for name in dict.fromkeys((*was, *now)):
            old, new = was.get(name), now.get(name)
            stand_in = was.get(base(name)) if old is None else old
            if new is None and any(base(other) == base(name) for other in now):
                continue  # its copies stand in its place
            verdicts = [f.verdict if f else None for f in (stand_in, new)]
            if verdicts[0] is not verdicts[1]:
                turned.append(Turned(name, stand_in, new))
    return tuple(turned)


def _moved(before: Bench, after: Bench) -> tuple[Moved, ...]:
    moved = []
    for size in after.changed.sizes:
        for name in (size, *(f"{size}@{copy}" for copy in after.copies(size))):
            old = before.worth(name)
            new = after.worth(name)
            if old is None and new is not None and "@" in name:
                old = before.worth(size)
            if old != new and (new is not None or "@" not in name):
                pair = [None if value is None else middle(value) for value in (old, new)]
                moved.append(Moved(name, *pair))
    return tuple(moved)


def remedies(bench: Bench, broken: Sequence[Finding]) -> tuple[Way, ...]:
    """The ways out of what does not hold with what is made, as :meth:`Workbench.measure` finds them
    with the whole model asked: best first, each tried on the whole model."""
    from scaler.as_made.whole_model import WholeModel

    return ways_out(bench, broken, planned_values(bench, broken), WholeModel())


def planned_values(bench: Bench, findings: Sequence[Finding]) -> dict[str, Fraction]:
    """The value of each statement at the sizes as planned, by its id, where it then held [mm]."""
    found = {}
    for finding in findings:
        item = finding.statement
        checker = bench.near(bench.index.names_of[item.what, base(item.id)][0])
        plain = replace(item, id=base(item.id), node=rename(item.node, base))
        value = checker.basic(plain, checker.planned.values)
        if value is not None and _within(middle(value), (item.lower, item.upper)):
            found[item.id] = middle(value)
    return found


def _within(value: Fraction, bounds: Bounds) -> bool:
    return (bounds[0] is None or value >= bounds[0]) and (bounds[1] is None or value <= bounds[1])
