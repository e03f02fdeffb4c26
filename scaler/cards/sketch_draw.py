"""Drawing of the sketches: what :mod:`scaler.cards.sketch` recognised, as line pictures.

Proportions are kept where they can be drawn; where a length is not known a break is drawn and no
figure.
"""

from __future__ import annotations

from collections.abc import Callable
from math import cos, radians, sin

from scaler.cards.pictures import Pen
from scaler.cards.sketch import Feature, Shape


def draw(shape: Shape, ident: str, title: str, width: float, text_size: float) -> str:
    """The sketch as SVG, ``width`` mm wide with lettering of ``text_size`` mm."""
    height = {"shaft": 58.0, "bush": 50.0, "disc": 62.0, "face": 62.0, "rod": 62.0,
              "plate": 66.0, "block": 56.0, "coil": 46.0}  # fmt: skip
    described = {
        "bush": "Section through a bush: the bore, the outside and the length.",
        "shaft": "A turned part seen from the side: each diameter and the lengths that are known.",
        "disc": "A disc seen from the face: the outside, the bore and the holes round it.",
        "rod": "A rod with an eye at each end, seen from the side and from above.",
        "face": "A plate or block seen from the face: its sides and the holes round a circle.",
        "plate": "A plate seen from the face: places along it from the datum edge on the left.",
        "block": "A block seen from the front and from the side.",
        "coil": "A spring seen from the side, its coils as slanting lines.",
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
    biggest = max(step.value for step in steps)
    whole = max(over_all.value if over_all else 0.0, known)
    if all(length.label for length in own) or (over_all and len(steps) == 1):
        # every length is known: in proportion, unless it is too long for the sheet
        high = min(max(high, biggest * room / whole), 28.0)
        room = min(room, max(whole * high / biggest, 5.0 * len(steps)))
    elif len(steps) == 1:
        high = 14.0
    scale = room / sum(reals)
    widths = [max(real * scale, min(12.0, room / len(steps))) for real in reals]
    squeeze = room / sum(widths)
    widths = [width * squeeze for width in widths]
    start = x = (pen.width - room) / 2
    middle = 19.0 + high / 2 if len(steps) > 1 else 13.0 + high / 2
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
        lower = 13 if any(length.label for length in own) else 8
        pen.across(start, start + room, feet + lower, over_all.label, feet)
        low = lower + 4
    else:
        low = 10 if any(length.label for length in own) else 3
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
    thick = shape.one("thickness")
    cx, cy = pen.width / 2 - (8 if thick else 0), pen.height / 2
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
    if circle:
        round_holes = circle.value / 2 * scale
        at = _holes_round(pen, shape, (cx, cy), scale, outside.value / 16)
        note(circle, 12, round_holes)
        if hole:
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
                cx - size * 0.7, pin - size * 0.7, cx - radius - 12, pin - 8, hole.label, "end"
            )
    if thick:
        _edge_on(pen, cy - radius, cy + radius, thick, thick.value * scale)


def _holes_round(
    pen: Pen, shape: Shape, centre: tuple[float, float], scale: float, size: float
) -> float:
    """The holes of a pitch circle, and the angle of the one that its label may point at.

    Where the model does not say how many there are, one is drawn. ``size`` [mm] stands in for a
    hole whose diameter is not in the model.
    """
    circle, hole, count = shape.one("circle"), shape.one("hole"), shape.one("count")
    assert circle is not None
    cx, cy = centre
    far = circle.value / 2 * scale
    pen.circle(cx, cy, far, "c")
    number = int(count.value) if count and 1 <= count.value <= 60 else 0
    radius = max((hole.value if hole else size) / 2 * scale, 0.9)
    for n in range(number or 1):
        angle = radians(360 * n / number) if number else radians(135)
        pen.circle(cx + far * cos(angle), cy - far * sin(angle), radius, "w")
    if not number:
        return 135.0
    return 180.0 if number % 2 == 0 else 180 - 180 / number


def _edge_on(pen: Pen, top: float, foot: float, thick: Feature, wide: float) -> None:
    """The thing seen on edge at the right of the sheet, with its thickness under it."""
    wide = min(max(wide, 2.0), 9.0)
    x = pen.width - 14.0 - wide
    pen.rect(x, top, wide, foot - top, "o", pen.hatching())
    for side, way in ((x, 1), (x + wide, -1)):
        pen.line(side, foot + 1, side, foot + 5.2, "d")
        pen.line(side - 5 * way, foot + 4, side, foot + 4, "d")
        pen.arrow(side, foot + 4, way, 0)
    pen.label(pen.width - 1, foot + 10, thick.label, "end")
    pen.height = max(pen.height, foot + 12)


def _face(pen: Pen, shape: Shape) -> None:
    """A plate or a block from the face, with the holes of its pitch circle."""
    sides, thick = shape.roles["side"], shape.one("thickness")
    circle, hole, bore = shape.one("circle"), shape.one("hole"), shape.one("bore")
    assert circle is not None
    room = pen.width - 92
    wide, high = _fit(sides[0].value, sides[1].value, room, pen.height - 18)
    left, top = 30.0, 4.0
    scale = wide / sides[0].value
    pen.rect(left, top, wide, high, "w")
    cx, cy = left + wide / 2, top + high / 2
    pen.line(left - 3, cy, left + wide + 3, cy, "c")
    pen.line(cx, top - 3, cx, top + high + 3, "c")
    far = circle.value / 2 * scale
    at = radians(180 - _holes_round(pen, shape, (cx, cy), scale, circle.value / 12))
    beside = left + wide + 5
    pen.leader(cx + far * cos(0.6), cy - far * sin(0.6), beside, top + 4, circle.label)
    if hole:
        pen.leader(cx + far * cos(at), cy - far * sin(at), beside, cy + 1, hole.label)
    if bore:
        size = bore.value / 2 * scale
        pen.circle(cx, cy, size, "w")
        pen.leader(cx + size * 0.7, cy + size * 0.7, beside, top + high - 2, bore.label)
    pen.across(left, left + wide, top + high + 8, sides[0].label, top + high)
    pen.upright(top, top + high, left - 6, sides[1].label, left)
    pen.height = top + high + 12
    if thick:
        _edge_on(pen, top, top + high, thick, thick.value * scale)


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
    eyes = shape.one("eye")
    if eyes:
        pen.leader(right + eye * 0.7, y - eye * 0.7, right + eye + 3, 3.2, eyes.label)
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
    between = shape.one("between")
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
        lower = len(points) + (1 if between else 0)
        pen.across(left, right, foot + 8 + 7 * lower, along.label, foot)
    if deep:
        pen.upright(top, foot, left - 5, deep.label, left)
    hole = shape.one("hole")
    if between:
        _two_holes(pen, shape, (left, right, top, foot))
    elif hole and points:
        x = left + (right - left) * points[-1].value / full
        pen.leader(x + 1.2, top + high / 2 - 1.2, x + 7, top + 3.6, hole.label)
    rows = len(points) + (1 if along else 0) + (1 if between else 0)
    pen.height = foot + 4 + 7 * rows
    if thick:
        _edge_on(pen, top, foot, thick, 3.0)


def _two_holes(pen: Pen, shape: Shape, box: tuple[float, float, float, float]) -> None:
    """Two holes of a plate and how far apart they are; where they lie the drawing says."""
    left, right, top, foot = box
    between = shape.one("between")
    assert between is not None
    ends = (left + (right - left) * 0.3, left + (right - left) * 0.68)
    middle = (top + foot) / 2
    for x, hole, way in zip(ends, shape.roles["hole"], (-1, 1), strict=True):
        pen.circle(x, middle, 2.6, "w")
        pen.line(x - 5, middle, x + 5, middle, "c")
        pen.line(x, top - 2.5, x, foot + 2.5, "c")
        side = "end" if way < 0 else "start"
        pen.leader(x + 1.9 * way, middle - 1.9, x + 8 * way, top + 3.6, hole.label, side)
    pen.across(*ends, foot + 8, between.label, foot)


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


def _coil(pen: Pen, shape: Shape) -> None:
    """A spring in the simplified form: one slanting line a turn (ISO 2162-1, from memory)."""
    wire, across, turns = shape.one("wire"), shape.one("across"), shape.one("turns")
    assert wire is not None and across is not None
    length = shape.one("length")
    number = int(turns.value) if turns and 2 <= turns.value <= 24 else 8
    wide, high, top = pen.width - 84, 22.0, 9.0
    left, foot = (pen.width - wide) / 2, top + high
    step = wide / (number + 0.5)
    points = [(left, foot)]
    for turn in range(number):
        points += [(left + step * (turn + 0.5), top), (left + step * (turn + 1), foot)]
    points.append((left + wide, top))
    pen.path("M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points), "o")
    pen.line(left - 5, top + high / 2, left + wide + 5, top + high / 2, "c")
    pen.upright(top, foot, left - 9, across.label, left)
    at = left + step / 4 + step * (number // 2)
    pen.leader(at, top + high / 2, at + 5, 4.2, wire.label)
    if turns:
        pen.label(left + wide + 5, top + 3, turns.label, "start")
    if length:
        pen.across(left, left + wide, foot + 8, length.label, foot)
    pen.height = foot + (12 if length else 4)


_DRAW: dict[str, Callable[[Pen, Shape], None]] = {
    "bush": _bush,
    "shaft": _shaft_picture,
    "disc": _disc,
    "face": _face,
    "rod": _rod,
    "plate": _plate,
    "block": _block,
    "coil": _coil,
}
