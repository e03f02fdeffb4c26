"""Cautions and refusals: which parts get no figure, and which get a figure with a word of care."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cache, lru_cache

from scaler import catalogue
from scaler.records import Model, Part, Service
from scaler.settling.rows import method_row


@dataclass(frozen=True, slots=True)
class Caution:
    """A caution on a part or size: which class, of what, and the words."""

    about: str
    kind: str
    headline: str
    text: str
    refused: bool = False


@cache
def _texts() -> dict[str, tuple[str, str]]:
    rows = catalogue.table("caution_texts").rows
    return {row.text("designation"): (row.text("headline"), row.text("text")) for row in rows}


@dataclass(frozen=True, slots=True)
class Word:
    """A row of the table of words: what it calls for, and what makes the thing another one."""

    words: str
    applies: tuple[str, ...]
    kind: str
    text: str
    unless: tuple[str, ...]
    unless_kind: str
    instead: str


@cache
def _words() -> tuple[Word, ...]:
    def listed(text: str) -> tuple[str, ...]:
        return tuple(item for item in text.split(";") if item)

    return tuple(
        Word(
            row.text("designation"),
            listed(row.text("applies_to")),
            row.text("class"),
            row.text("text"),
            listed(row.text("unless_words")),
            row.text("unless_kind"),
            row.text("instead"),
        )
        for row in catalogue.table("cautions").rows
    )


@lru_cache(maxsize=16384)
def _runs(name: str) -> tuple[list[str], list[str]]:
    """The words of a name, as they are and without the plural's s."""
    parts = name.lower().replace("_", " ").replace("-", " ").split()
    return parts, [part[:-1] if part.endswith("s") and len(part) > 3 else part for part in parts]


def says(name: str, words: str) -> bool:
    """Whether a name holds the words in a run, also in the plural.

    >>> says("cover_studs", "stud"), says("steady", "stay")
    (True, False)
    """
    parts, plain = _runs(name)
    wanted = words.split()
    if wanted and wanted[0] not in parts and wanted[0] not in plain:
        return False
    count = len(wanted)
    runs = range(len(parts) - count + 1)
    return any(parts[i : i + count] == wanted or plain[i : i + count] == wanted for i in runs)


@lru_cache(maxsize=16384)
def _named(name: str, what: str, kind: str) -> tuple[Word, ...]:
    return tuple(
        word
        for word in _words()
        if word.kind == kind and what in word.applies and says(name, word.words)
    )


def refused(part: Part) -> Caution | None:
    """Why a part gets no figure at all: it holds pressure, or its name suggests it does.

    A part whose name suggests a pressure vessel is refused until its ``service`` is stated.
    """
    headline, text = _texts()["pressure"]
    if part.service is Service.PRESSURE:
        return Caution(part.name, "pressure", headline, text, refused=True)
    if part.service is not Service.UNSTATED:
        return None
    for word in _named(f"{part.name} {part.title}", "part", "refuse"):
        return Caution(
            part.name,
            "pressure",
            headline,
            f"The name suggests a pressure part ('{word.words}') and no service is stated. {text} "
            'If it holds no pressure, say so: service = "none".',
            refused=True,
        )
    return None


def _of_part(part: Part, with_kind: Callable[[str], frozenset[str]]) -> Iterable[Caution]:
    """The cautions of a part. What it is known to be besides (a toothed wheel, a bearing's cover)
    lifts one only where its service is stated as none.

    Parameters: with_kind : the parts that have a size of a kind.
    """
    found: dict[str, Caution] = {}
    name = f"{part.name} {part.title}"
    for word in _named(name, "part", "caution"):
        key = word.text
        other = any(says(name, words) for words in word.unless)
        if other or (word.unless_kind and part.name in with_kind(word.unless_kind)):
            if part.service is Service.NONE:
                continue
            key = word.instead or key
        found.setdefault(key, Caution(part.name, key, *_texts()[key]))
    if part.service is Service.LIFTING:
        found["lifting"] = Caution(part.name, "lifting", *_texts()["lifting"])
    if part.service is Service.PEOPLE:
        found["carrying people"] = Caution(
            part.name, "carrying people", *_texts()["carrying people"]
        )
    return found.values()


def of_model(model: Model) -> tuple[Caution, ...]:
    """All refusals and cautions of a model, part by part, then of single sizes."""
    result = list(of_parts(model, model.parts))
    parts_with = {(caution.about, caution.kind) for caution in result}
    shut = {caution.about for caution in result if caution.refused}
    for size in model.sizes.values():
        if size.part in shut:
            continue
        for word in _named(f"{size.name} {size.title}", "size", "caution"):
            if (size.part, word.text) not in parts_with:
                result.append(Caution(size.id, word.text, *_texts()[word.text]))
                break
    return tuple(result)


def of_parts(model: Model, parts: Iterable[str]) -> tuple[Caution, ...]:
    """The refusals and cautions of some parts of a model, without those of single sizes."""

    @cache
    def with_kind(kind: str) -> frozenset[str]:
        return frozenset(size.part for size in model.sizes.values() if size.kind.value == kind)

    result: list[Caution] = []
    for name in parts:
        part = model.parts[name]
        refusal = refused(part)
        if refusal is not None:
            result.append(refusal)
        else:
            result += _of_part(part, with_kind)
    return tuple(result)


@dataclass(frozen=True, slots=True)
class Weaker:
    """What a smaller substitute loses against the exact size, in parts of one."""

    size: float
    area: float
    modulus: float


def strength_lost(method: str, exact: Fraction, chosen: Fraction) -> Weaker | None:
    """What a section made smaller loses: size, shear area and bending modulus, in parts of one.

    A round section (bar, turned, thread) loses area as d² and modulus as d³; a flat or plate made
    thinner loses area as t and modulus as t². None for other methods, and where the section is not
    smaller by 3 % or more. Source: section modulus π d³/32 of a round bar and b t²/6 of a flat
    one (any text on strength of materials; common practice).
    """
    row = method_row(method)
    if row is None or exact <= 0:
        return None
    part = chosen / exact
    if part > Fraction(97, 100) or part <= 0:
        return None
    if row.column in ("diameter", "major", "outside") or method == "turned":
        return Weaker(float(1 - part), float(1 - part**2), float(1 - part**3))
    if row.column == "thickness":
        return Weaker(float(1 - part), float(1 - part), float(1 - part**2))
    return None


def weaker_caution(identity: str, weaker: Weaker) -> Caution:
    """The caution that goes with a weaker section, with its three figures."""
    headline, text = _texts()["weaker"]
    figures = (
        f"{weaker.size:.0%} smaller, {weaker.area:.0%} less shear area, "
        f"{weaker.modulus:.0%} less bending modulus"
    )
    return Caution(identity, "weaker", headline, f"{figures}. {text}")
