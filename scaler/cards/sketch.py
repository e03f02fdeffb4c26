"""Dimensioned sketches of parts of the ordinary forms, from the names and kinds of their sizes.

Forms: bush (a bore in a round), turned shaft, disc or cover with holes on a circle, rod with two
eyes, plate with holes along it, block. The sketch keeps its proportions where they can be drawn;
where a length is not known a break is drawn and no figure. Each dimension carries the letter of its
row in the table of sizes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from math import cos, radians, sin
from typing import TYPE_CHECKING

from scaler.cards.pictures import Pen
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
    eyes = [line for line in live if line.size.name.endswith(("centres", "centers"))]
    circles = [line for line in live if line.size.name.endswith(("circle", "pcd"))]
    throws = [line for line in live if line.size.kind is Kind.RADIUS and "throw" in line.size.name]
    slots = [line for line in live if line.size.kind is Kind.SLOT]
    threads = [line for line in live if line.size.kind is Kind.THREAD]
    if eyes:
        thick = [line for line in across if "thickness" in line.size.name]
        deep = [line for line in across if line not in thick]
        return Shape(
            "rod",
            {"centres": features(eyes[:1]), "bore": features(bores[:2]),
             "thickness": features(thick[:1]), "depth": features(deep[:1])},
        )  # fmt: skip
    solid = [line for line in rounds if line.size.kind is not Kind.THREAD]
    if solid and (circles or throws):
        big = sorted(solid, key=value_mm, reverse=True)
        centre = [line for line in bores if not {"stud", "bolt", "pin"} & _words(line)]
        small = [line for line in bores if line not in centre]
        counts = [line for line in live if line.size.kind is Kind.COUNT]
        return Shape(
            "disc",
            {"outside": features(big[:1]), "inner": features(big[1:2]), "bore": features(centre[:1]),
             "circle": features(circles[:1]), "throw": features(throws[:1]),
             "hole": features(small[:1]), "count": features(counts[:1])},
        )  # fmt: skip
    if solid and bores:
        big = sorted(solid, key=value_mm, reverse=True)
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
    if across and any(form_of_row(line) == "plate" for line in across):
        points = [line for line in live if line.size.kind is Kind.POSITION]
        return Shape(
            "plate",
            {"thickness": features([a for a in across if form_of_row(a) == "plate"][:1]),
             "along": features(_along(lengths)), "deep": features(_deep(across, lengths)),
             "point": features(_of_first_datum(points)), "hole": features(bores[:1]),
             "slot": features(slots[:1])},
        )  # fmt: skip
    flat = _block_sides(across, lengths)
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


def draw(shape: Shape, ident: str, title: str, width: float, text_size: float) -> str:
    """The sketch as SVG, ``width`` mm wide with lettering of ``text_size`` mm."""
    height = {"shaft": 58.0, "bush": 56.0, "disc": 62.0, "rod": 62.0, "plate": 66.0, "block": 62.0}
    described = {
        "bush": "Section through a bush: the bore, the outside and the length.",
        "shaft": "A turned part seen from the side: each diameter and the lengths that are known.",
        "disc": "A disc seen from the face: the outside, the bore and the holes round it.",
        "rod": "A rod with an eye at each end, seen from the side and from above.",
        "plate": "A plate seen from the face: places along it from the datum edge on the left.",
        "block": "A block seen from the front and from the side.",
    }[shape.form]
    pen = Pen(width, height[shape.form], ident, title, described, text_size=text_size)
    _DRAW[shape.form](pen, shape)
    return pen.svg()


def _fit(
    wide: float, high: float, box_w: float, box_h: float, least: float = 6.0
) -> tuple[float, float]:
    """Sides on paper in proportion, neither smaller than can be drawn."""
    scale = min(box_w / wide, box_h / high)
    return max(wide * scale, least), max(high * scale, least)


def _bush(pen: Pen, shape: Shape) -> None:
    outside, bore, length = shape.one("outside"), shape.one("bore"), shape.one("length")
    assert outside is not None and bore is not None
    real = length.value if length else outside.value * 0.8
    wide, high = _fit(real, outside.value, pen.width - 96, pen.height - 22)
    left, top = (pen.width - wide) / 2, 5.0
    inner = max(high * bore.value / outside.value, 3.0)
    gap = (high - inner) / 2
    fill = pen.hatching()
    for y in (top, top + high - gap):
        pen.rect(left, y, wide, gap, "o", fill)
    for x in (left, left + wide):
        pen.line(x, top, x, top + high)
    pen.line(left - 5, top + high / 2, left + wide + 5, top + high / 2, "c")
    pen.upright(top, top + high, left - 9, outside.label, left)
    pen.upright(top + gap, top + high - gap, left + wide + 9, bore.label, left + wide)
    if length:
        pen.across(left, left + wide, top + high + 9, length.label, top + high)
    pen.height = top + high + (13 if length else 4)


def _shaft_picture(pen: Pen, shape: Shape) -> None:
    steps, own = shape.roles["step"], shape.roles["own"]
    over_all = shape.one("length")
    known = sum(length.value for length in own)
    share = (over_all.value - known if over_all and over_all.value > known else known or 1.0) / max(
        1, sum(1 for length in own if not length.label)
    )
    reals = [length.value if length.label else share for length in own]
    room, high = pen.width - 26, 22.0
    scale = room / sum(reals)
    widths = [max(real * scale, 12.0) for real in reals]
    squeeze = room / sum(widths)
    widths = [width * squeeze for width in widths]
    biggest = max(step.value for step in steps)
    middle, x = 30.0, 13.0
    pen.line(x - 6, middle, x + room + 6, middle, "c")
    for at, (step, length, wide) in enumerate(zip(steps, own, widths, strict=True)):
        half = max(high * step.value / biggest, 3.0) / 2
        pen.rect(x, middle - half, wide, 2 * half, "w")
        if not length.label and not (over_all and len(steps) == 1):
            _break(pen, x + wide / 2, middle, half)
        pen.leader(
            x + wide / 2, middle - half, x + wide / 2, 6.5 + (at % 2) * 5.2, step.label, "middle"
        )
        if length.label:
            pen.across(x, x + wide, middle + high / 2 + 6, length.label, middle + half)
        x += wide
    if over_all:
        feet = middle + high / 2
        pen.across(13.0, 13.0 + room, feet + 13, over_all.label, feet)
    low = 17 if over_all else (10 if any(length.label for length in own) else 3)
    pen.height = middle + high / 2 + low


def _break(pen: Pen, x: float, y: float, half: float) -> None:
    """A break in a bar of unknown length: two wavy lines with nothing between them."""
    reach = half + 0.6
    for shift in (-1.2, 1.2):
        pen.path(
            f"M{x + shift:.2f} {y - reach:.2f}q2 {reach / 2:.2f} 0 {reach:.2f}t0 {reach:.2f}", "n"
        )
    pen.rect(x - 0.9, y - reach - 0.3, 1.8, 0.6, "b")
    pen.rect(x - 0.9, y + reach - 0.3, 1.8, 0.6, "b")


def _disc(pen: Pen, shape: Shape) -> None:
    outside = shape.one("outside")
    assert outside is not None
    radius = (pen.height - 12) / 2
    cx, cy = pen.width / 2, pen.height / 2
    scale = radius / (outside.value / 2)
    pen.circle(cx, cy, radius, "w")
    for dx, dy in ((1.0, 0.0), (0.0, 1.0)):
        pen.line(cx - dx * (radius + 4), cy - dy * (radius + 4), cx + dx * (radius + 4),
                 cy + dy * (radius + 4), "c")  # fmt: skip
    edge = cx + radius + 12
    rows = iter(range(8))

    def note(feature: Feature, at: float, distance: float, left: bool = False) -> None:
        angle = radians(at)
        x, y = cx + distance * cos(angle), cy - distance * sin(angle)
        tx = pen.width - edge if left else edge
        pen.leader(
            x, y, tx, y if left else 7 + next(rows) * 11, feature.label, "end" if left else "start"
        )

    note(outside, 48, radius)
    inner, bore = shape.one("inner"), shape.one("bore")
    circle, throw, hole = shape.one("circle"), shape.one("throw"), shape.one("hole")
    if inner and inner.value < outside.value:
        pen.circle(cx, cy, inner.value / 2 * scale, "o")
        note(inner, 30, inner.value / 2 * scale)
    round_holes = circle.value / 2 * scale if circle else 0.0
    if circle:
        pen.circle(cx, cy, round_holes, "c")
        note(circle, 12, round_holes)
        count = shape.one("count")
        number = int(count.value) if count and 1 <= count.value <= 60 else 0
        size = max((hole.value if hole else outside.value / 16) / 2 * scale, 0.9)
        for n in range(number or 1):
            angle = radians(360 * n / number) if number else radians(135)
            pen.circle(cx + round_holes * cos(angle), cy - round_holes * sin(angle), size, "w")
        if hole:
            at = 180.0 if number and number % 2 == 0 else (180 - 180 / number if number else 135.0)
            note(hole, at, round_holes, left=True)
    if bore:
        pen.circle(cx, cy, bore.value / 2 * scale, "w")
        note(bore, -30, bore.value / 2 * scale)
    if throw:
        size = max((hole.value if hole else outside.value / 12) / 2 * scale, 1.2)
        pin = cy - throw.value * scale
        pen.circle(cx, pin, size, "w")
        pen.line(cx - size - 2, pin, cx + size + 2, pin, "c")
        pen.upright(pin, cy, cx - radius - 8, throw.label, cx - 2)
        if hole and not circle:
            pen.leader(
                cx - size * 0.7, pin - size * 0.7, pen.width - edge, pin - 8, hole.label, "end"
            )


def _rod(pen: Pen, shape: Shape) -> None:
    centres = shape.one("centres")
    assert centres is not None
    bores = shape.roles["bore"]
    depth, thick = shape.one("depth"), shape.one("thickness")
    left, right, y, eye = 18.0, pen.width - 34.0, 16.0, 8.5
    bar = 4.0
    for x in (left, right):
        pen.circle(x, y, eye, "w")
    pen.polygon([(left + eye * 0.9, y - bar), (right - eye * 0.9, y - bar),
                 (right - eye * 0.9, y + bar), (left + eye * 0.9, y + bar)], "w")  # fmt: skip
    pen.line(left + eye * 0.86, y - bar + 0.2, left + eye * 0.86, y + bar - 0.2, "b")
    for x in (left, right):
        pen.circle(x, y, 4.4, "w")
        pen.line(x, y - eye - 3, x, y + eye + 3, "c")
    pen.line(left - eye - 4, y, right + eye + 4, y, "c")
    middle = (left + right) / 2
    _break(pen, middle, y, bar)
    pen.across(left, right, y + eye + 7, centres.label, y + eye + 2)
    if bores:
        pen.leader(left + 3.1, y - 3.1, left + 16, 4.2, bores[0].label)
    if len(bores) > 1:
        pen.leader(right - 3.1, y - 3.1, right - 16, 4.2, bores[1].label, "end")
    if depth:
        pen.upright(y - bar, y + bar, middle + 16, depth.label)
    top = y + eye + 15
    if thick:
        pen.rect(left - eye, top, right - left + 2 * eye, 5.5, "w")
        _break(pen, middle, top + 2.75, 2.75)
        for x in (left, right):
            pen.line(x, top - 2, x, top + 7.5, "c")
        pen.upright(top, top + 5.5, right + eye + 4, thick.label, right + eye)
    pen.height = top + 12 if thick else top - 3


def _plate(pen: Pen, shape: Shape) -> None:
    along, deep, thick = shape.one("along"), shape.one("deep"), shape.one("thickness")
    points = [p for p in shape.roles["point"] if not along or p.value <= along.value]
    left, right, top = 28.0, pen.width - 30.0, 4.0
    high = 19.0
    full = along.value if along else (max((p.value for p in points), default=1.0) * 1.25)
    pen.rect(left, top, right - left, high, "w")
    if not along:
        _break(pen, right - 6, top + high / 2, high / 2)
    foot = top + high
    for at, point in enumerate(points):
        x = left + (right - left) * point.value / full
        pen.line(x, top - 2.5, x, foot + 2.5, "c")
        pen.circle(x, top + high / 2, 1.6, "w")
        pen.across(left, x, foot + 8 + 7 * at, point.label, foot)
    if along:
        pen.across(left, right, foot + 8 + 7 * len(points), along.label, foot)
    if deep:
        pen.upright(top, foot, left - 5, deep.label, left)
    if thick:
        pen.rect(right + 12, top, 3.0, high, "o", pen.hatching())
        pen.line(right + 13.5, foot, right + 13.5, foot + 4, "d")
        pen.arrow(right + 13.5, foot + 0.2, 0, -1)
        pen.label(pen.width - 1, foot + 8.5, thick.label, "end")
    pen.height = foot + 11 + 7 * (len(points) - (0 if along else 1))


def _block(pen: Pen, shape: Shape) -> None:
    sides = list(shape.roles["side"])
    hole, slot = shape.one("hole"), shape.one("slot")
    third = sides[2] if len(sides) > 2 else None
    aside = 12 + pen.text_width(third.label) + 24 if third else 0.0
    room = pen.width - (44 + aside + (14 if hole or slot else 0))
    wide, high = _fit(sides[0].value, sides[1].value, room, pen.height - 22, 8.0)
    left, top = 34.0, 8.0
    if slot:
        cut = min(max(slot.value / sides[0].value * wide, 3.0), wide * 0.8)
        deep = high * 0.35
        a, b = left + (wide - cut) / 2, left + (wide + cut) / 2
        pen.polygon([(left, top), (a, top), (a, top + deep), (b, top + deep), (b, top),
                     (left + wide, top), (left + wide, top + high), (left, top + high)], "w")  # fmt: skip
        pen.leader(b, top + deep / 2, left + wide + 4, top + 1, slot.label)
    else:
        pen.rect(left, top, wide, high, "w")
    if hole:
        radius = min(max(hole.value / sides[0].value * wide / 2, 1.5), high * 0.28, wide * 0.4)
        cx, cy = left + wide / 2, top + high * (0.66 if slot else 0.5)
        pen.circle(cx, cy, radius, "w")
        pen.line(cx - radius - 2, cy, cx + radius + 2, cy, "c")
        pen.line(cx, cy - radius - 2, cx, cy + radius + 2, "c")
        pen.leader(
            cx + radius * 0.7, cy + radius * 0.7, left + wide + 4, top + high - 1, hole.label
        )
    pen.across(left, left + wide, top + high + 8, sides[0].label, top + high)
    pen.upright(top, top + high, left - 7, sides[1].label, left)
    if third:
        x = pen.width - aside + 6
        side = max(min(third.value / sides[1].value * high, 24.0), 3.0)
        pen.rect(x, top, side, high, "w")
        pen.across(x, x + side, top + high + 8, third.label, top + high)
    pen.height = top + high + 12


_DRAW: dict[str, Callable[[Pen, Shape], None]] = {
    "bush": _bush,
    "shaft": _shaft_picture,
    "disc": _disc,
    "rod": _rod,
    "plate": _plate,
    "block": _block,
}


def exact_label(letter: str, text: str) -> str:
    """A label of the sketch: the letter of the row, and the figure.

    >>> exact_label("b", "15.82")
    'b 15.82'
    """
    return f"{letter} {text}"
