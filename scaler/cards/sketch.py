"""Dimensioned sketches of parts of the ordinary forms, from the names and kinds of their sizes.

Forms: bush (a bore in a round), turned shaft, disc or cover with holes on a circle, rod with two
eyes, plate with holes along it, plate or block with holes on a circle, block, coiled wire. Here they are
recognised; :mod:`scaler.cards.sketch_draw` draws them. Each dimension carries the letter of its row
in the table of sizes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from scaler.cards.coordinates import count_of
from scaler.cards.features import EYE_NAMES, coil_of, rod_centres
from scaler.cards.stock import ACROSS_WORDS, form_of_row, is_round, value_mm
from scaler.records import Kind

if TYPE_CHECKING:
    from scaler.settling.reduce import SizeLine

Labels = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Feature:
    """One size as the sketch needs it: its value [mm, float] and its label."""

    name: str
    value: float
    label: str


@dataclass(frozen=True, slots=True)
class Shape:
    """What was recognised: the form and its features by role."""

    form: str
    roles: Mapping[str, Sequence[Feature]]

    def one(self, role: str) -> Feature | None:
        """The first feature of a role, None where there is none."""
        found = self.roles.get(role, ())
        return found[0] if found else None


def shape_of(lines: Sequence[SizeLine], labels: Labels) -> Shape | None:
    """The form of a part, None where its sizes make none of the ordinary ones."""
    live = [line for line in lines if not line.refused and line.chosen is not None]

    def features(chosen: Sequence[SizeLine]) -> list[Feature]:
        return [
            Feature(line.size.name, float(value_mm(line)), labels.get(line.size.id, ""))
            for line in chosen
        ]

    rounds = [line for line in live if is_round(line) and value_mm(line) > 0]
    bores = [line for line in live if line.size.kind is Kind.INTERNAL]
    lengths = [line for line in live if line.size.kind is Kind.LENGTH]
    across = [line for line in live if _is_across(line) and line not in rounds]
    named = {line.size.name: line for line in live}
    eyes = rod_centres(live)
    circles = [line for line in live if line.size.name.endswith(("circle", "pcd"))]
    throws = [line for line in live if line.size.kind is Kind.RADIUS and "throw" in line.size.name]
    slots = [line for line in live if line.size.kind is Kind.SLOT]
    threads = [line for line in live if line.size.kind is Kind.THREAD]
    coil = coil_of(live)
    if coil is not None:
        return Shape(
            "coil",
            {"wire": features(coil[:1]), "across": features(coil[1:]),
             "turns": features([line for line in live if line.size.kind is Kind.COUNT][:1]),
             "length": features(_along(lengths))},
        )  # fmt: skip
    if eyes:
        thick = [line for line in across if "thickness" in line.size.name]
        deep = [line for line in across if line not in thick]
        return Shape(
            "rod",
            {"centres": features(eyes[:1]), "bore": features(bores[:2]),
             "thickness": features(thick[:1]), "depth": features(deep[:1]),
             "eye": features([line for line in live if line.size.name in EYE_NAMES][:1])},
        )  # fmt: skip
    solid = [line for line in rounds if line.size.kind is not Kind.THREAD]
    big = sorted(solid, key=value_mm, reverse=True)
    throws = [line for line in throws if big and value_mm(line) <= value_mm(big[0]) / 2]
    if solid and (circles or throws):
        centre = [line for line in bores if not {"stud", "bolt", "pin"} & _words(line)]
        small = [line for line in bores if line not in centre]
        return Shape(
            "disc",
            {"outside": features(big[:1]), "inner": features(big[1:2]), "bore": features(centre[:1]),
             "circle": features(circles[:1]), "throw": features(throws[:1]),
             "hole": features(small[:1]), "count": features(_counting(circles, live)),
             "thickness": features(_thick(across))},
        )  # fmt: skip
    if solid and bores:
        smaller = [line for line in bores if value_mm(line) < value_mm(big[0])]
        if smaller:
            length = [line for line in lengths if "length" in _words(line)][:1]
            return Shape(
                "bush",
                {"outside": features(big[:1]), "bore": features(smaller[:1]),
                 "length": features(length)},
            )  # fmt: skip
    if solid:
        return _shaft(solid, threads, lengths, named, features)
    flat = _block_sides(across, lengths)
    if circles and len(flat) >= 2:
        face = [line for line in flat if line not in _thick(across)]
        centre = [line for line in bores if not {"stud", "bolt", "hole"} & _words(line)]
        return Shape(
            "face",
            {"side": features(face[:2] if len(face) > 1 else flat[:2]),
             "thickness": features(_thick(across) if len(face) > 1 else flat[2:3]),
             "circle": features(circles[:1]), "count": features(_counting(circles, live)),
             "bore": features(centre[:1]),
             "hole": features([line for line in bores if line not in centre][:1])},
        )  # fmt: skip
    if across and any(form_of_row(line) == "plate" for line in across):
        apart = [line for line in live if line.size.name.endswith(("centres", "centers"))]
        points = [x for x in live if x.size.kind is Kind.POSITION and x not in apart]
        between = apart[:1] if not points and len(bores) > 1 else []
        return Shape(
            "plate",
            {"thickness": features([a for a in across if form_of_row(a) == "plate"][:1]),
             "along": features(_along(lengths)), "deep": features(_deep(across, lengths)),
             "point": features(_of_first_datum(points)), "between": features(between),
             "hole": features(bores[: 2 if between else 1]), "slot": features(slots[:1])},
        )  # fmt: skip
    if len(flat) >= 2:
        return Shape(
            "block",
            {"side": features(flat[:3]), "hole": features(bores[:1]), "slot": features(slots[:1])},
        )
    return None


def _words(line: SizeLine) -> set[str]:
    return set(line.size.name.split("_"))


def _is_across(line: SizeLine) -> bool:
    return line.size.kind in (Kind.EXTERNAL, Kind.LENGTH) and bool(_words(line) & ACROSS_WORDS)


def _thick(across: Sequence[SizeLine]) -> list[SizeLine]:
    """The thickness over all of a disc or a plate."""
    return [line for line in across if line.size.name in ("thickness", "overall_thickness")][:1]


def _counting(circles: Sequence[SizeLine], live: Sequence[SizeLine]) -> list[SizeLine]:
    """How many holes the first circle has, as its coordinates take it."""
    return [line for line in (count_of(circle, live) for circle in circles[:1]) if line is not None]


def _along(lengths: Sequence[SizeLine]) -> list[SizeLine]:
    named = [line for line in lengths if "length" in _words(line)]
    return sorted(named, key=value_mm, reverse=True)[:1]


def _deep(across: Sequence[SizeLine], lengths: Sequence[SizeLine]) -> list[SizeLine]:
    along = _along(lengths)
    found = [
        line
        for line in across
        if line not in along and _words(line) & {"depth", "height", "width", "breadth"}
    ]
    return sorted(found, key=value_mm, reverse=True)[:1]


def _of_first_datum(points: Sequence[SizeLine]) -> list[SizeLine]:
    """Positions of the datum that most are measured from, nearest first."""
    by_datum: dict[str, list[SizeLine]] = {}
    for line in points:
        if not line.size.name.endswith("_y"):
            by_datum.setdefault(line.size.datum, []).append(line)
    most = max(by_datum.values(), key=len, default=[])
    return sorted(most, key=value_mm)[:6]


def _block_sides(across: Sequence[SizeLine], lengths: Sequence[SizeLine]) -> list[SizeLine]:
    """The sides of a block, the longest first."""
    skip = {"flange", "boss", "wall", "web", "rim", "spacing", "between"}
    found = {
        line.size.id: line
        for line in (*across, *(x for x in lengths if "length" in _words(x)))
        if not _words(line) & skip and value_mm(line) > 0
    }
    return sorted(found.values(), key=value_mm, reverse=True)


def _shaft(
    solid: Sequence[SizeLine],
    threads: Sequence[SizeLine],
    lengths: Sequence[SizeLine],
    named: Mapping[str, SizeLine],
    features: Callable[[Sequence[SizeLine]], list[Feature]],
) -> Shape:
    """Steps in the order of the model, each with its own length where one is named like it."""
    steps, own = [], []
    for line in [*solid, *threads][:5]:
        length = named.get(f"{line.size.name}_length")
        steps += features([line])
        own += features([length]) if length is not None else [Feature("", 0.0, "")]
    used = {feature.name for feature in own}
    over_all = [
        line
        for line in lengths
        if line.size.name in ("overall_length", "length") and line.size.name not in used
    ]
    if not over_all and len(steps) == 1:
        over_all = [line for line in lengths if line.size.name in ("thickness", "width")][:1]
    return Shape("shaft", {"step": steps, "own": own, "length": features(over_all[:1])})


def exact_label(letter: str, text: str) -> str:
    """A label of the sketch: the letter of the row, and the figure.

    >>> exact_label("b", "15.82")
    'b 15.82'
    """
    return f"{letter} {text}"
