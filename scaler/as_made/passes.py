"""What is left to come off a part in work, cut by cut, and what to read after each.

All lengths are exact fractions of a millimetre. A cut is a depth: on a diameter, a cut takes twice
its depth off the reading; across two faces about a centre line, each face gives half.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import cache
from typing import Any, Literal

from scaler import catalogue

ZERO = Fraction(0)
_BY_HAND = ("lapped", "filed", "opened to suit", "reamed", "hand reamed")


class Faces(StrEnum):
    """Where the metal comes off."""

    ROUND = "on the diameter"
    ONE = "one face"
    TWO = "equally about the centre line"


@dataclass(frozen=True, slots=True)
class Cuts:
    """What a process takes at a time, as depths of cut [mm].

    ``leave`` is what the process before leaves for this one; 0 where it needs none before it.
    """

    process: str
    roughing: Fraction
    finishing: Fraction
    heaviest_finish: Fraction
    least: Fraction
    source: str
    leave: Fraction = ZERO

    @property
    def by_hand(self) -> bool:
        """Whether no dial says how deep it has gone: the work is tried, or the tool has its size."""
        return self.process in _BY_HAND


@dataclass(frozen=True, slots=True)
class Dial:
    """How the cutter's place is read.

    ``zero`` is the figure [mm] where the dial or readout was set: with the tool just touching the
    present surface, or on the centre line (``zero_at``). ``rises`` says whether the figure goes up
    as the tool goes in (from the surface). On ``diameter`` a figure counts double, as the dials of
    many lathes do. ``step`` is the graduation [mm of figure], None where any figure can be set.
    """

    zero: Fraction = ZERO
    zero_at: Literal["surface", "centre"] = "surface"
    rises: bool = True
    on: Literal["depth", "diameter"] = "depth"
    step: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Pass:
    """One cut: depth, the figure to set, and the reading to expect of the whole size after it."""

    number: int
    face: int
    what: Literal["roughing", "finishing"]
    cut: Fraction
    figure: Fraction
    reading: Fraction
    process: str = ""
    by_hand: bool = False


@dataclass(frozen=True)
class PassPlan:
    """The cuts from a present reading to a target [mm]: those of ``first``, where there is one, and
    then those of ``cuts``."""

    present: Fraction
    target: Fraction
    grows: bool
    faces: Faces
    cuts: Cuts
    passes: tuple[Pass, ...]
    notes: tuple[str, ...] = ()
    first: Cuts | None = None
    dial: Dial = Dial()

    @property
    def left(self) -> Fraction:
        """What is left to come off, as read [mm]."""
        return abs(self.target - self.present)

    @property
    def each_face(self) -> Fraction:
        """Depth to come off each face (on a diameter: the side of the work that is cut) [mm]."""
        return self.left if self.faces is Faces.ONE else self.left / 2

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts; lengths with their exact twins."""
        from scaler.report import twin

        return {
            **twin("present_mm", self.present),
            **twin("target_mm", self.target),
            **twin("left_mm", self.left),
            **twin("each_face_mm", self.each_face),
            "faces": str(self.faces),
            "process": self.cuts.process,
            "source": self.cuts.source,
            "passes": [
                {
                    "number": item.number,
                    "face": item.face,
                    "what": item.what,
                    "process": item.process,
                    **twin("cut_mm", item.cut),
                    **twin("figure_mm", item.figure),
                    **twin("reading_mm", item.reading),
                }
                for item in self.passes
            ],
            "notes": list(self.notes),
        }


class PassError(ValueError):
    """Cuts that cannot be planned. Attributes: problem, advice."""

    def __init__(self, problem: str, advice: str = "") -> None:
        self.problem, self.advice = problem, advice
        super().__init__(f"{problem}; {advice}" if advice else problem)


@cache
def _table() -> dict[str, Cuts]:
    return {
        row.text("designation"): Cuts(
            row.text("designation"),
            row.number("roughing_mm"),
            row.number("finishing_mm"),
            row.number("heaviest_finish_mm"),
            row.number("least_mm"),
            row.text("source"),
            row.number("leave_mm"),
        )
        for row in catalogue.table("cuts").rows
    }


def processes() -> tuple[str, ...]:
    """The processes whose cuts are known."""
    return tuple(_table())


def cuts_of(process: str) -> Cuts:
    """The usual cuts of a process. Raises PassError for one that is not known.

    >>> cuts_of("turned").finishing
    Fraction(1, 10)
    """
    found = _table().get(process)
    if found is None:
        raise PassError(
            f"the cuts of '{process}' are not known", f"known are {', '.join(processes())}"
        )
    return found


def plan_passes(
    present: Fraction,
    target: Fraction,
    cuts: Cuts,
    *,
    grows: bool = False,
    faces: Faces = Faces.ROUND,
    roughing: Fraction | None = None,
    finishing: Sequence[Fraction] = (),
    dial: Dial | None = None,
    first: Cuts | None = None,
) -> PassPlan:
    """The cuts from the present reading of a size to its target.

    Parameters
    ----------
    present, target : Fraction, the size as it reads now and as it must become [mm]
    cuts : Cuts, what the process takes (:func:`cuts_of`, or one's own)
    grows : bool, whether taking metal off makes the size larger (bores, slots, depths)
    faces : Faces, on the diameter, from one face, or equally from two about a centre line
    roughing : Fraction, heaviest roughing cut, as a depth [mm]; the process's own where not given
    finishing : finishing cuts in their order, as depths [mm]; one of the process's where none
    dial : Dial, how the cutter's place is read
    first : Cuts of the process that brings the work near, where ``cuts`` are of one that only takes
        off the last of it (lapped, ground, reamed); roughing and finishing are then of the first

    Returns
    -------
    PassPlan: roughing cuts all alike (to a graduation of the dial), then the finishing cuts; of
    the first process, as far as the last one wants, and then of that. No cut is thinner than the
    tool takes; the last of each is none heavier than leaves a finish; depths add up to what is left
    exactly. Nothing left gives no cuts.

    Raises
    ------
    PassError
        The metal is off already (the target lies the wrong way), less is left than the tool takes,
        or the cuts asked for are at odds with each other.

    Examples
    --------
    >>> plan = plan_passes(Fraction(16), Fraction("15.4"), cuts_of("turned"))
    >>> [(p.what, str(p.cut), str(p.reading)) for p in plan.passes]
    [('roughing', '1/5', '78/5'), ('finishing', '1/10', '77/5')]

    References
    ----------
    A cut takes twice its depth off a diameter: any text on lathe work. Finishing cuts of about
    0.1 mm: common practice.
    """
    dial = dial or Dial()
    if target != present and (target > present) is not grows:
        way = "smaller" if not grows else "larger"
        raise PassError(
            f"{_mm(present)} is past {_mm(target)} already: metal only comes off, and this size "
            f"only gets {way}",
            "record it with scaler measure, which shows the ways out",
        )
    depth = abs(target - present) / (1 if faces is Faces.ONE else 2)
    if first is not None and (first.process == cuts.process or depth - cuts.leave < first.least):
        first = None  # near enough already
    main = _asked(first or cuts, roughing, finishing)
    first, cuts = (main, cuts) if first is not None else (None, main)
    wanted = tuple(finishing) or (main.finishing,)
    if depth == 0:
        return PassPlan(present, target, grows, faces, cuts, (), dial=dial)
    if depth < cuts.least:
        raise PassError(
            f"{_mm(depth)} is left to come off each face, and {_named(cuts)} takes no less than "
            f"{_mm(cuts.least)}",
            "bring it to size with a finer process: lapped, ground or filed",
        )
    notes: list[str] = []
    step = None if dial.step is None else dial.step / (2 if dial.on == "diameter" else 1)
    if step is not None and step > main.roughing:
        notes.append(f"a division of {_mm(step)} is coarser than the cuts: set between divisions")
        step = None
    near = depth if first is None else depth - cuts.leave
    depths = [(main, *one) for one in _divided(near, main, wanted, None if main.by_hand else step)]
    if first is not None:
        last = _divided(cuts.leave, cuts, (cuts.finishing,), None if cuts.by_hand else step)
        depths += [(cuts, *one) for one in last]
    passes: list[Pass] = []
    sides = (1, 2) if faces is Faces.TWO else (1,)
    twice = 2 if faces is Faces.ROUND else 1
    sign = 1 if grows else -1
    reading = present
    for face in sides:
        gone = ZERO
        for by, what, cut in depths:
            gone += cut
            reading += sign * twice * cut
            figure = _figure(dial, present, gone, faces, grows, face)
            number = len(passes) + 1
            passes.append(Pass(number, face, what, cut, figure, reading, by.process, by.by_hand))
    shown = [item for item in passes if not item.by_hand]
    if dial.step is not None and any((p.figure - dial.zero) % dial.step for p in shown):
        notes.append(f"the last figure lies between two graduations of {_mm(dial.step)}")
    if faces is Faces.TWO:
        notes.append("turn the work over after the first face")
    return PassPlan(present, target, grows, faces, cuts, tuple(passes), tuple(notes), first, dial)


def _named(cuts: Cuts) -> str:
    return f"a cut of work {cuts.process}" if cuts.process else "the cut"


def _asked(cuts: Cuts, roughing: Fraction | None, finishing: Sequence[Fraction]) -> Cuts:
    """The process's cuts with the user's own in their place, looked at for sense."""
    rough = cuts.roughing if roughing is None else roughing
    last = finishing[-1] if finishing else cuts.finishing
    heaviest = max(cuts.heaviest_finish, last)
    if cuts.least <= 0 or rough < 2 * cuts.least:
        raise PassError(
            f"a roughing cut of {_mm(rough)} leaves no room above the thinnest cut, "
            f"{_mm(cuts.least)}",
            f"rough with {_mm(2 * cuts.least)} or more",
        )
    for cut in finishing:
        if cut < cuts.least:
            raise PassError(
                f"a finishing cut of {_mm(cut)} is thinner than the tool takes, {_mm(cuts.least)}",
                "finish with a heavier cut, or by a finer process",
            )
        if cut > rough:
            raise PassError(
                f"a finishing cut of {_mm(cut)} is heavier than the roughing cuts, {_mm(rough)}",
                "give the roughing cut first, then the finishing cuts",
            )
    if last > cuts.heaviest_finish and finishing:
        raise PassError(
            f"a finishing cut of {_mm(last)} is too heavy to hold size: no more than "
            f"{_mm(cuts.heaviest_finish)} where the work is {cuts.process}",
            "end on a lighter cut",
        )
    heaviest = max(heaviest, 2 * cuts.least)
    return Cuts(cuts.process, rough, last, heaviest, cuts.least, cuts.source, cuts.leave)


_Depths = list[tuple[Literal["roughing", "finishing"], Fraction]]


def _divided(
    depth: Fraction, cuts: Cuts, finishing: tuple[Fraction, ...], step: Fraction | None
) -> _Depths:
    """A depth as roughing cuts, all alike, and finishing cuts."""
    while len(finishing) > 1 and sum(finishing) > depth:
        finishing = finishing[1:]
    rest = depth - sum(finishing)
    last = list(finishing)
    if rest < 0:
        return [("finishing", depth)]
    if 0 < rest < cuts.least:
        if len(last) > 1:
            last[0] += rest
        elif last[-1] + rest <= cuts.heaviest_finish:
            last[-1] += rest
        else:
            last[-1] -= cuts.least - rest
            return [("roughing", cuts.least), *(("finishing", cut) for cut in last)]
        rest = ZERO
    done: _Depths = []
    if rest:
        heaviest = cuts.roughing
        if step is not None and step <= heaviest:
            heaviest = heaviest // step * step
        count = -(-rest // heaviest)
        before = ZERO
        for number in range(1, count + 1):
            place = rest * number / count
            if step is not None:
                place = _on_step(place, step, depth, last, cuts, final=number == count)
            if place > before:
                done.append(("roughing", place - before))
                before = place
        last[0] += rest - before
    return [*done, *(("finishing", cut) for cut in last)]


def _on_step(
    place: Fraction, step: Fraction, depth: Fraction, last: list[Fraction], cuts: Cuts, final: bool
) -> Fraction:
    """A place of the cutter on a graduation that leaves the finishing cut neither thin nor heavy."""
    down = place // step * step
    near = (place + step / 2) // step * step
    if not final:
        return near
    for choice in (near, down, down + step):
        first = depth - choice - sum(last[1:])
        top = cuts.heaviest_finish if len(last) == 1 else cuts.roughing
        if cuts.least <= first <= top:
            return choice
    return place


def _figure(
    dial: Dial, present: Fraction, gone: Fraction, faces: Faces, grows: bool, face: int
) -> Fraction:
    """What the dial or readout shows with the cutter this deep in."""
    double = 2 if dial.on == "diameter" else 1
    if dial.zero_at == "surface":
        return dial.zero + (1 if dial.rises else -1) * gone * double
    half = present if faces is Faces.ONE else present / 2
    place = half + gone if grows else half - gone
    side = 1 if face == 1 else -1
    return dial.zero + side * place * double


def _mm(value: Fraction) -> str:
    from scaler.measures.lengths import format_mm

    text = format_mm(value, 4).rstrip("0").rstrip(".")
    return f"{text} mm"
