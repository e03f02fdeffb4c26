"""The parts and the pairs between them as a picture: boxes, and lines with the verdict on them.

Each connected group is laid out in columns by how many pairs lie between a part and the middle of
its group (breadth-first layers, networkx); a long chain goes on in a further band, where the part it
hangs on is drawn again with a dashed edge. Verdicts are told by a word and by the line's dashes;
colour comes on top. Every label is a link to its row in the table of pairs.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from scaler.cards.pictures import LINE_OF, Pen, number

COLUMNS = 4
BOX_W, BOX_H, GAP, ROW = 30.0, 10.0, 20.5, 14.5
TEXT = 3.0
EDGE = 0.4
"""Half a line's width, kept clear at the sides [mm]."""


@dataclass(frozen=True, slots=True)
class Link:
    """One pair: its number and anchor in the table, the two parts, verdict, and who else is in it."""

    number: int
    anchor: str
    inner: str
    outer: str
    verdict: str
    words: str
    third: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Band:
    """One band of the picture: parts with their column and row, links, and parts drawn again."""

    places: Mapping[str, tuple[int, float]]
    links: tuple[Link, ...]
    again: frozenset[str]
    rows: float


def bands(links: Sequence[Link], columns: int = COLUMNS) -> list[_Band]:
    """The bands, so many columns wide: every link in exactly one of them."""
    import networkx as nx

    graph: Any = nx.Graph()
    for link in links:
        graph.add_edge(link.inner, link.outer)
        for other in link.third:
            graph.add_edge(other, link.outer)
    rest = list(links)
    drawn: set[str] = set()
    found: list[_Band] = []
    order = {name: at for at, name in enumerate(graph)}
    while rest:
        live: Any = nx.Graph()
        for link in rest:
            live.add_edge(link.inner, link.outer)
            for other in link.third:
                live.add_edge(other, link.outer)
        root = _root(nx, live, drawn, order)
        layers = [
            sorted(layer, key=order.__getitem__)
            for depth, layer in enumerate(nx.bfs_layers(live, root))
            if depth < columns
        ]
        layers = _untangled(live, layers)
        inside = {name for layer in layers for name in layer}
        taken = [link for link in rest if {link.inner, link.outer, *link.third} <= inside]
        if not taken:  # a link whose third part lies a column too far: draw it with its main two
            taken = [link for link in rest if {link.inner, link.outer} <= inside]
        used = {name for link in taken for name in (link.inner, link.outer, *link.third)}
        layers = [[name for name in layer if name in used] for layer in layers]
        found.append(_placed(layers, taken, frozenset(used & drawn)))
        drawn |= used
        rest = [link for link in rest if link not in taken]
    return found


def _root(nx: Any, graph: Any, drawn: set[str], order: Mapping[str, int]) -> str:
    """Where a band begins: a part drawn before, else the middle of the first group."""
    before = [name for name in graph if name in drawn]
    if before:
        return str(min(before, key=order.__getitem__))
    first = min(graph, key=order.__getitem__)
    group = graph.subgraph(nx.node_connected_component(graph, first))
    if len(group) > 60:
        return str(max(group, key=lambda name: (group.degree(name), -order[name])))
    longest = nx.eccentricity(group)
    return str(min(group, key=lambda name: (longest[name], order[name])))


def _untangled(graph: Any, layers: list[list[str]]) -> list[list[str]]:
    """Each layer sorted by the mean place of its neighbours in the layer before."""
    result = layers[:1]
    for layer in layers[1:]:
        place = {name: at for at, name in enumerate(result[-1])}

        def mean(name: str, place: Mapping[str, int] = place) -> float:
            near = [place[other] for other in graph[name] if other in place]
            return sum(near) / len(near) if near else 0.0

        result.append(sorted(layer, key=mean))
    return result


def _placed(layers: list[list[str]], links: list[Link], again: frozenset[str]) -> _Band:
    """Columns and rows: each layer one under the other, about one middle line."""
    tallest = max(len(layer) for layer in layers)
    places = {
        name: (depth, at + (tallest - len(layer)) / 2)
        for depth, layer in enumerate(layers)
        for at, name in enumerate(layer)
    }
    return _Band(places, tuple(links), again, float(tallest))


def pictures(
    links: Sequence[Link], titles: Mapping[str, str], width: float, height: float
) -> list[str]:
    """The whole as SVG pictures, none wider or (where a band allows it) higher than the sheet [mm].

    ``titles`` gives each part its words.
    """
    sheets: list[list[_Band]] = []
    used = 0.0
    for band in bands(links, max(2, int((width - 2 * EDGE + GAP) // (BOX_W + GAP)))):
        needed = band.rows * ROW + 5
        if not sheets or used + needed > height:
            sheets.append([])
            used = 0.0
        sheets[-1].append(band)
        used += needed
    found = []
    for number_, laid in enumerate(sheets, 1):
        shown = [link for band in laid for link in band.links]
        words = "; ".join(f"{link.number} {link.words}: {link.verdict}" for link in shown)
        title = "Parts and the pairs between them"
        if len(sheets) > 1:
            title += f", {number_} of {len(sheets)}"
        deep = sum(band.rows * ROW + 5 for band in laid) + 2
        pen = Pen(width, deep, f"graph-{number_}", title, words, text_size=TEXT)
        top = 2.0
        for band in laid:
            _draw(pen, band, titles, top)
            top += band.rows * ROW + 5
        found.append(pen.svg())
    return found


def _draw(pen: Pen, band: _Band, titles: Mapping[str, str], top: float) -> None:
    def corner(name: str) -> tuple[float, float]:
        column, row = band.places[name]
        return EDGE + column * (BOX_W + GAP), top + row * ROW

    between: dict[tuple[str, str], int] = {}
    tags: list[tuple[float, float, Link]] = []
    for link in band.links:
        pair = (min(link.inner, link.outer), max(link.inner, link.outer))
        at = between.get(pair, 0)
        between[pair] = at + 1
        tags.append((*_edge(pen, corner(link.inner), corner(link.outer), link, at), link))
        for other in link.third:
            if other in band.places:
                _thin(pen, corner(other), corner(link.outer))
    for name in band.places:
        _box(pen, corner(name), name, titles.get(name, name), name in band.again)
    taken: list[tuple[float, float]] = []
    for x, y, link in tags:
        while any(abs(y - oy) < 4.6 and abs(x - ox) < 19 for ox, oy in taken):
            y += 4.7
        taken.append((x, y))
        _tag(pen, x, y, link)


def _edge(
    pen: Pen, one: tuple[float, float], other: tuple[float, float], link: Link, at: int
) -> tuple[float, float]:
    """A line between two boxes in the verdict's dashes; where its label stands."""
    dashes, colour = LINE_OF.get(link.verdict, ("", "#000"))
    (x1, y1), (x2, y2) = (one, other) if one[0] <= other[0] else (other, one)
    shift = (at + 1) // 2 * 2.6 * (1 if at % 2 else -1) if at else 0.0
    shift = max(-BOX_H / 2 + 1, min(BOX_H / 2 - 1, shift))
    y1, y2 = y1 + BOX_H / 2 + shift, y2 + BOX_H / 2 + shift
    if x1 == x2:  # in one column: a bow to the right
        start, bow = x1 + BOX_W, x1 + BOX_W + 9
        data = f"M{number(start)} {number(y1)}C{number(bow)} {number(y1)} {number(bow)} "
        data += f"{number(y2)} {number(start)} {number(y2)}"
        spot = (start + 9.5, (y1 + y2) / 2)
    else:
        start, end = x1 + BOX_W, x2
        bend = (start + end) / 2
        data = f"M{number(start)} {number(y1)}C{number(bend)} {number(y1)} {number(bend)} "
        data += f"{number(y2)} {number(end)} {number(y2)}"
        spot = (bend, (y1 + y2) / 2)
    dash = f";stroke-dasharray:{dashes}" if dashes else ""
    heavy = 0.5 if link.verdict == "holds" else 0.9
    pen.items.append(
        f'<path d="{data}" style="fill:none;stroke:{colour};stroke-width:{heavy}{dash}"/>'
    )
    return spot


def _thin(pen: Pen, one: tuple[float, float], other: tuple[float, float]) -> None:
    """A thin grey line from a part that only takes part in a sum."""
    (x1, y1), (x2, y2) = (one, other) if one[0] <= other[0] else (other, one)
    start = x1 + BOX_W
    end = x2 if x2 > x1 else x2 + BOX_W
    bend = (start + end) / 2 if x2 > x1 else start + 6
    pen.path(
        f"M{number(start)} {number(y1 + BOX_H / 2)}C{number(bend)} {number(y1 + BOX_H / 2)} "
        f"{number(bend)} {number(y2 + BOX_H / 2)} {number(end)} {number(y2 + BOX_H / 2)}",
        "g",
    )


def _box(pen: Pen, at: tuple[float, float], name: str, title: str, again: bool) -> None:
    """A part: its title in a box that leads to its sizes."""
    x, y = at
    dash = ' style="stroke-dasharray:1.6 1"' if again else ""
    pen.items.append(
        f'<a href="#part-{escape(name, quote=True)}" aria-label="{escape(title, quote=True)}">'
        f'<rect class="w" x="{number(x)}" y="{number(y)}" width="{number(BOX_W)}" '
        f'height="{number(BOX_H)}" rx="1"{dash}/>'
    )
    lines = _folded(title, BOX_W - 2, pen)
    first = y + BOX_H / 2 + 1.05 - (len(lines) - 1) * 1.75
    for number_, words in enumerate(lines):
        pen.text(x + BOX_W / 2, first + number_ * 3.5, words)
    pen.items.append("</a>")


def _folded(title: str, width: float, pen: Pen) -> list[str]:
    """A title in one line or two; what does not fit is cut with an ellipsis."""
    words = title.split()
    lines = [""]
    for word in words:
        trial = f"{lines[-1]} {word}".strip()
        if pen.text_width(trial) <= width or not lines[-1]:
            lines[-1] = trial
        elif len(lines) < 2:
            lines.append(word)
        else:
            lines[-1] = trial
    return [pen.fitted(line, width) for line in lines]


def _tag(pen: Pen, x: float, y: float, link: Link) -> None:
    """The label of a line: number and verdict, a link to the table."""
    words = f"{link.number} {link.verdict}"
    failing = link.verdict not in ("holds", "refused")
    width = pen.text_width(words) + (3.2 if failing else 1.8)
    heavy = "0.6" if failing else "0.25"
    pen.items.append(
        f'<a href="#{escape(link.anchor, quote=True)}" '
        f'aria-label="{escape(f"{link.words}: {link.verdict}", quote=True)}">'
        f'<rect x="{number(x - width / 2)}" y="{number(y - 2.2)}" width="{number(width)}" '
        f'height="4.4" rx="2.2" style="fill:#fff;stroke:#000;stroke-width:{heavy}"/>'
    )
    pen.text(x, y + 1.05, words, bold=failing)
    pen.items.append("</a>")
