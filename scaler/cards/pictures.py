"""Line pictures as SVG, in millimetres of paper: the pen, and the charts of the report.

Everything is black or grey line work with words beside it, so that a picture says the same on a
grey printer. Every picture has a title and a description for those who cannot see it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

STYLE = """
.pic text{font-family:Arial,"Liberation Sans","DejaVu Sans",sans-serif;fill:#000}
.pic .o{fill:none;stroke:#000;stroke-width:.55;stroke-linejoin:round;stroke-linecap:round}
.pic .w{fill:#fff;stroke:#000;stroke-width:.55;stroke-linejoin:round}
.pic .n{fill:none;stroke:#000;stroke-width:.25;stroke-linecap:round}
.pic .c{fill:none;stroke:#000;stroke-width:.2;stroke-dasharray:5 1.2 1 1.2}
.pic .d{fill:none;stroke:#000;stroke-width:.2}
.pic .g{fill:none;stroke:#767676;stroke-width:.2}
.pic .k{fill:#000;stroke:none}
.pic .b{fill:#fff;stroke:none}
.pic .s{fill:#d9d9d9;stroke:#000;stroke-width:.25}
"""


def number(value: float) -> str:
    """A coordinate, short: two decimals at most and no needless noughts."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


@dataclass
class Pen:
    """Draws one picture, ``width`` by ``height`` [mm of paper], y downwards."""

    width: float
    height: float
    ident: str
    title: str
    description: str
    items: list[str] = field(default_factory=list)
    text_size: float = 4.2

    def line(self, x1: float, y1: float, x2: float, y2: float, kind: str = "o") -> None:
        """A straight line of a kind: o outline, n thin, c centre line, d dimension, g grey."""
        self.items.append(
            f'<path class="{kind}" d="M{number(x1)} {number(y1)}L{number(x2)} {number(y2)}"/>'
        )

    def path(self, data: str, kind: str = "o", fill: str = "") -> None:
        """A path as SVG writes it."""
        paint = f' style="fill:{fill}"' if fill else ""
        self.items.append(f'<path class="{kind}" d="{data}"{paint}/>')

    def polygon(
        self, points: Sequence[tuple[float, float]], kind: str = "o", fill: str = ""
    ) -> None:
        """A closed outline."""
        data = "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points) + "Z"
        self.path(data, kind, fill)

    def rect(
        self, x: float, y: float, width: float, height: float, kind: str = "o", fill: str = ""
    ) -> None:
        """A rectangle from its upper left corner."""
        paint = f' style="fill:{fill}"' if fill else ""
        self.items.append(
            f'<rect class="{kind}" x="{number(x)}" y="{number(y)}" width="{number(width)}" '
            f'height="{number(height)}"{paint}/>'
        )

    def circle(self, x: float, y: float, radius: float, kind: str = "o") -> None:
        """A circle."""
        self.items.append(
            f'<circle class="{kind}" cx="{number(x)}" cy="{number(y)}" r="{number(radius)}"/>'
        )

    def text(
        self,
        x: float,
        y: float,
        words: str,
        anchor: str = "middle",
        size: float | None = None,
        bold: bool = False,
    ) -> None:
        """Words with their foot on y; always escaped."""
        weight = ' font-weight="700"' if bold else ""
        self.items.append(
            f'<text x="{number(x)}" y="{number(y)}" text-anchor="{anchor}" '
            f'font-size="{number(size or self.text_size)}"{weight}>{escape(words)}</text>'
        )

    def hatching(self) -> str:
        """The fill of a cut face: thin lines at 45 degrees."""
        mark = f"{self.ident}-cut"
        definition = (
            f'<defs><pattern id="{mark}" width="2" height="2" patternUnits="userSpaceOnUse" '
            'patternTransform="rotate(45)"><path d="M0 0V2" stroke="#000" stroke-width=".25"/>'
            "</pattern></defs>"
        )
        if definition not in self.items:
            self.items.insert(0, definition)
        return f"url(#{mark})"

    def arrow(self, x: float, y: float, dx: float, dy: float, size: float = 2.2) -> None:
        """An arrowhead whose tip is at x, y and which points along dx, dy."""
        length = math.hypot(dx, dy) or 1.0
        ux, uy = dx / length, dy / length
        bx, by = x - ux * size, y - uy * size
        side = size * 0.18
        self.polygon(
            [(x, y), (bx - uy * side, by + ux * side), (bx + uy * side, by - ux * side)], "k"
        )

    def across(self, x1: float, x2: float, y: float, label: str, feet: float | None = None) -> None:
        """A dimension along x at y; ``feet`` is where its extension lines start."""
        if feet is not None:
            sign = 1 if y > feet else -1
            for x in (x1, x2):
                self.line(x, feet + sign, x, y + 1.2 * sign, "d")
        room = self.text_width(label) + 2
        if x2 - x1 >= room + 5:
            self.line(x1, y, x2, y, "d")
            self.arrow(x1, y, -1, 0)
            self.arrow(x2, y, 1, 0)
            self.label((x1 + x2) / 2, y + self.text_size * 0.35, label)
        else:  # no room between the arrows: they come from outside, the words beside them
            self.line(x1 - 5, y, x1, y, "d")
            self.line(x2, y, x2 + 6, y, "d")
            self.arrow(x1, y, 1, 0)
            self.arrow(x2, y, -1, 0)
            self.label(x2 + 6.5, y + self.text_size * 0.35, label, "start")

    def upright(
        self, y1: float, y2: float, x: float, label: str, feet: float | None = None
    ) -> None:
        """A dimension along y at x; the words stand level beside the line."""
        if feet is not None:
            sign = 1 if x > feet else -1
            for y in (y1, y2):
                self.line(feet + sign, y, x + 1.2 * sign, y, "d")
        if y2 - y1 >= self.text_size + 7:
            self.line(x, y1, x, y2, "d")
            self.arrow(x, y1, 0, -1)
            self.arrow(x, y2, 0, 1)
        else:
            self.line(x, y1 - 5, x, y1, "d")
            self.line(x, y2, x, y2 + 5, "d")
            self.arrow(x, y1, 0, 1)
            self.arrow(x, y2, 0, -1)
        right = feet is None or x > feet
        words_x = x + 1.6 if right else x - 1.6
        middle = (y1 + y2) / 2 + self.text_size * 0.35
        self.label(words_x, middle, label, "start" if right else "end")

    def leader(
        self, x: float, y: float, tx: float, ty: float, label: str, anchor: str = "start"
    ) -> None:
        """A line from the words to a feature, with an arrow at the feature."""
        self.line(tx, ty, x, y, "d")
        self.arrow(x, y, x - tx, y - ty)
        shift = 1.0 if anchor == "start" else (-1.0 if anchor == "end" else 0.0)
        lift = self.text_size * 0.35 if anchor != "middle" else (-1.0 if ty < y else self.text_size)
        self.label(tx + shift, ty + lift, label, anchor)

    def label(self, x: float, y: float, words: str, anchor: str = "middle") -> None:
        """Bold words on a white ground, so that no line runs through them."""
        width = self.text_width(words)
        left = {"middle": x - width / 2, "start": x, "end": x - width}[anchor]
        self.rect(left - 0.5, y - self.text_size * 0.82, width + 1, self.text_size * 1.05, "b")
        self.text(x, y, words, anchor, bold=True)

    def text_width(self, words: str) -> float:
        """About how wide words are in bold print [mm]: a little over, so that they fit."""
        narrow = sum(words.count(c) for c in " .,'|ijl1:;-")
        return self.text_size * (0.6 * (len(words) - narrow) + 0.42 * narrow)

    def fitted(self, words: str, room: float) -> str:
        """Words cut with an ellipsis where they are wider than the room [mm] in plain print."""
        if self.text_width(words) <= room:
            return words
        while words and self.text_width(words + "…") > room:
            words = words[:-1]
        return words.rstrip() + "…"

    def svg(self, *, standalone: bool = False) -> str:
        """The picture: an element for a page, or with ``standalone`` a file of its own."""
        head = f'<svg class="pic" role="img" aria-labelledby="{self.ident}-t {self.ident}-d" '
        if standalone:
            head += 'xmlns="http://www.w3.org/2000/svg" '
        head += (
            f'viewBox="0 0 {number(self.width)} {number(self.height)}" '
            f'width="{number(self.width)}mm" height="{number(self.height)}mm">'
        )
        style = f"<style>{STYLE}</style>" if standalone else ""
        names = (
            f'<title id="{self.ident}-t">{escape(self.title)}</title>'
            f'<desc id="{self.ident}-d">{escape(self.description)}</desc>'
        )
        return head + names + style + "".join(self.items) + "</svg>"


BAR_ROW = 5.4
"""Height of one bar of the chart of departures [mm]."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar of a chart: label, value, and words beside it."""

    label: str
    value: float
    words: str


def departures(bars: Sequence[Bar], ident: str, title: str, width: float = 180.0) -> str:
    """Bars to the left (smaller) and right (larger) of a middle line, in the order given.

    Larger is solid, smaller is hatched; the figures stand in a column of their own.
    """
    row, top = BAR_ROW, 9.0
    names, beside, size = (58.0, 38.0, 3.3) if width > 150 else (48.0, 33.0, 2.8)
    height = top + row * len(bars) + 3
    described = f"{len(bars)} sizes; the bar to the right of the line is larger than to scale."
    pen = Pen(width, height, ident, title, described, text_size=size)
    most = max((abs(bar.value) for bar in bars), default=0.0) or 1.0
    half = (width - names - beside) / 2 - 3
    zero = names + half + 1
    hatch = pen.hatching()
    pen.text(zero - 3, 5, "smaller", "end", 3.2)
    pen.text(zero + 3, 5, "larger than to scale", "start", 3.2)
    for at, bar in enumerate(bars):
        y = top + at * row
        length = abs(bar.value) / most * half
        pen.text(names - 2, y + 3.6, pen.fitted(bar.label, names - 2), "end")
        pen.text(width - beside, y + 3.6, bar.words, "start")
        if bar.value >= 0:
            pen.rect(zero, y + 0.7, length, row - 1.4, "o", "#444")
        else:
            pen.rect(zero - length, y + 0.7, length, row - 1.4, "o", hatch)
    pen.line(zero, top - 2, zero, height - 2, "o")
    return pen.svg()


def residuals(
    marks: Sequence[tuple[str, float, float, bool]],
    band: float,
    title: str,
    unit: str,
    described: str,
) -> str:
    """Residuals of a fit as a picture of its own: (name, known size, residual, outlier).

    A stem from the zero line to each mark; the band of ± one residual standard deviation is grey.
    Outliers are squares with their name in bold, the rest circles.
    """
    width, height, left, right, top, foot = 170.0, 90.0, 26.0, 34.0, 12.0, 16.0
    pen = Pen(width, height, "residuals", title, described, text_size=3.4)
    most = max([abs(value) for _, _, value, _ in marks] + [band, 1e-12]) * 1.15
    far = max((size for _, size, _, _ in marks), default=1.0) or 1.0

    def px(size: float) -> float:
        return left + size / far * (width - left - right)

    def py(value: float) -> float:
        return top + (1 - value / most) / 2 * (height - top - foot)

    pen.rect(left, py(band), width - left - right, py(-band) - py(band), "s")
    pen.line(left, py(0), width - right, py(0), "n")
    pen.line(left, top, left, height - foot, "n")
    for value in (-most / 1.15, 0.0, most / 1.15):
        pen.line(left - 1.5, py(value), left, py(value), "n")
        pen.text(left - 2.5, py(value) + 1.2, f"{value:+.3g}" if value else "0", "end")
    for share in (0.0, 0.5, 1.0):
        pen.text(px(far * share), height - foot + 6, f"{far * share:.4g}")
    pen.text(left, top - 4, f"residual, {unit}", "start")
    pen.text((left + width - right) / 2, height - 3, f"known size, {unit}")
    taken: list[tuple[float, float]] = []
    for name, size, value, outlier in marks:
        x, y = px(size), py(value)
        pen.line(x, py(0), x, y, "n")
        if outlier:
            pen.rect(x - 1.3, y - 1.3, 2.6, 2.6, "k")
        else:
            pen.circle(x, y, 1.2, "w")
        label_y = y + 1.2
        while any(abs(label_y - other) < 3.6 and abs(x - ox) < 34 for ox, other in taken):
            label_y += 3.7
        taken.append((x, label_y))
        pen.text(x + 2.4, label_y, f"{name}: outlier" if outlier else name, "start", bold=outlier)
    return pen.svg(standalone=True)


LINE_OF: Mapping[str, tuple[str, str]] = {
    "holds": ("", "#1b5e20"),
    "doubtful": ("3 1.6", "#6d4c00"),
    "tight": ("1 1", "#8e1b1b"),
    "loose": ("5 1.5 1 1.5", "#8e1b1b"),
    "fails": ("1 1", "#8e1b1b"),
    "refused": ("0.6 1.8", "#444"),
}
"""Dashes and colour of each verdict's lines; the word stands on the line besides."""
