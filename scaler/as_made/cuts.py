"""The cuts left on a size of a model: from what it reads now to what it must become."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Literal

from scaler.as_made.bench import Bench
from scaler.as_made.input import known, reading_of
from scaler.as_made.measuring import planned_values
from scaler.as_made.move import cut_of, usual_cut
from scaler.as_made.passes import (
    Cuts,
    Dial,
    Faces,
    PassError,
    PassPlan,
    cuts_of,
    plan_passes,
    processes,
)
from scaler.as_made.targets import target
from scaler.as_made.ways import ways_out
from scaler.problems import InputError, Problem
from scaler.reading.grammar import GrammarError, signed_length
from scaler.records import Kind, Model, Size
from scaler.settling.rows import method_row


def cuts_left(
    model: Model | Bench,
    name: str,
    now: str,
    *,
    copy: str = "",
    passes: str = "",
    about_centre: bool = False,
    one_face: bool = False,
    least: str = "",
    zero: str = "",
    zero_at: Literal["surface", "centre"] | str = "surface",
    rises: bool = True,
    on: Literal["depth", "diameter"] | str = "depth",
    graduation: str = "",
) -> PassPlan:
    """The cuts from a present reading of a size to what it must become.

    Parameters
    ----------
    model : Model, or a Bench that holds one
    name : ``part.size`` or ``part.size@copy``
    now : what it reads, with its unit (bare: the model's work unit)
    passes : depths of cut, the heaviest roughing cut first, then the finishing cuts
    about_centre : half from each of two faces; one_face : all from one
    least, zero, zero_at, rises, on, graduation : see ``plan_passes`` and ``Dial``

    Raises
    ------
    InputError
        Unknown size, a length that cannot be read, metal off already, or cuts at odds.
    """
    bench = model if isinstance(model, Bench) else Bench.opened(model)
    plain, _, own = name.partition("@")
    size, copy = known(bench.model, plain, copy or own)
    present = reading_of(bench, size.id, now, copy=copy, sure=True).value
    wanted = _wanted(bench, size, copy)
    unit = bench.model.work_unit
    try:
        depths = [signed_length(text, unit) for text in _listed(passes)]
        cuts, first = _process(bench, size)
        if least:
            thin = signed_length(least, unit)
            cuts = cuts if first is not None else replace(cuts, least=thin)
            first = None if first is None else replace(first, least=thin)
        dial = Dial(
            signed_length(zero, unit) if zero else Fraction(0),
            "centre" if zero_at == "centre" else "surface",
            rises,
            "diameter" if on == "diameter" else "depth",
            signed_length(graduation, unit) if graduation else None,
        )
        return plan_passes(
            present,
            wanted,
            cuts,
            grows=size.kind.grows,
            faces=_faces(size, (first or cuts).process, about_centre, one_face),
            roughing=depths[0] if depths else None,
            finishing=depths[1:],
            dial=dial,
            first=first,
        )
    except PassError as error:
        raise _no(size.id, error.problem, error.advice) from None
    except GrammarError as error:
        raise _no(size.id, f"'{error.text}': {error.problem}", error.advice) from None


def _listed(text: str) -> Sequence[str]:
    """Depths of cut: the last may carry the unit for all ('0.5, 0.1 mm')."""
    found = [item.strip() for item in text.split(",") if item.strip()]
    tail = found[-1].lstrip("0123456789./ ") if found else ""
    return [item if not item[-1:].isdigit() or not tail else f"{item} {tail}" for item in found]


def _wanted(bench: Bench, size: Size, copy: str) -> Fraction:
    broken = [
        finding
        for key in bench.index.keys_of(size.id)
        for finding in bench.found.get(key, ())
        if finding.fails
    ]
    ways = ways_out(bench, broken, planned_values(bench, broken)) if broken else ()
    found = target(bench, size.id, copy, ways)
    if found is None or found.value is None:
        told = found.text if found is not None else f"{size.id} has no figure"
        raise _no(size.id, told, "scaler measure shows the ways out")
    return found.aim if found.aim is not None else found.value


def _process(bench: Bench, size: Size) -> tuple[Cuts, Cuts | None]:
    """The process that brings a size to its figure, as its statement asks, else as it is chosen,
    else as its rule has it; and the one that brings it near, where that only takes off the last."""
    asked = [
        finding.statement.basis.by
        for key in bench.index.named_in.get(size.id, ())
        for finding in bench.found.get(key, ())
        if finding.statement.basis.last.partition("@")[0] == size.id and finding.statement.basis.by
    ]
    usual = cut_of(size)[0]
    settled = bench.settled(size.id).method
    found = next((n for n in (*asked, settled, usual) if n in processes()), "milled")
    last = cuts_of(found)
    if not last.leave:
        return last, None
    if usual not in processes() or cuts_of(usual).leave:
        usual = usual_cut(size)
    return last, cuts_of(usual)


def _faces(size: Size, process: str, about_centre: bool, one_face: bool) -> Faces:
    if about_centre:
        return Faces.TWO
    if one_face:
        return Faces.ONE
    round_ = size.kind in (Kind.EXTERNAL, Kind.INTERNAL) and process in (
        "turned",
        "bored",
        "opened to suit",
        "lapped",
        "ground",
    )
    flat = any((row := method_row(m.name)) and row.column in _FLAT for m in size.rule)
    return Faces.ROUND if round_ and not flat else Faces.ONE


_FLAT = ("thickness", "width", "across_flats")


def _no(size: str, problem: str, advice: str) -> InputError:
    return InputError([Problem("cuts", f"{size}: {problem}", None, "", "", advice)])
