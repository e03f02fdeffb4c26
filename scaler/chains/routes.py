"""Chains found from the faces: every way from one face to another, and how far two ways disagree.

A span is a dimension between two faces. Spans make a graph whose points are the faces; every simple
way through it from one face to another is a route, and its closing dimension is the sum of its
spans, taken with minus where a span is walked backwards. Where there are two routes the drawing
gives the same distance twice: both are reported, and by how much they disagree.

A model's sizes name their faces by their own names: ``frame.beam_to_driving_axle`` spans from the
face ``frame.beam`` to ``frame.driving_axle``; a position with a named datum, ``crosshead.pin`` with
the datum ``rod axis``, spans from ``crosshead.rod_axis`` to ``crosshead.pin``. Faces of two parts
that touch are joined by a span without a size.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, islice
from typing import Any

from scaler.chains.expressions import body_of
from scaler.chains.records import Chain
from scaler.expressions import (
    Add,
    ExpressionError,
    Neg,
    Node,
    Number,
    names,
    parse_expression,
    text,
)
from scaler.expressions.intervals import Value
from scaler.problems import InputError, Problem, did_you_mean
from scaler.records import Kind, Model

ZERO = Fraction(0)
MOST_ROUTES = 200
MOST_TRIED = 20_000


@dataclass(frozen=True, slots=True)
class Span:
    """A dimension between two faces: a size, an expression of sizes, or (None) faces that touch."""

    face_from: str
    face_to: str
    size: str | None = None

    @property
    def node(self) -> Node:
        """The tree of its length. Raises ExpressionError where it cannot be read."""
        if self.size is None:
            return Number(ZERO)
        return parse_expression(self.size)


@dataclass(frozen=True, slots=True)
class Step:
    """One span of a route, and whether it is walked from its first face to its second."""

    span: Span
    forward: bool


@dataclass(frozen=True, slots=True)
class Route:
    """One way between two faces: its steps, its faces in order, and its closing dimension."""

    steps: tuple[Step, ...]
    faces: tuple[str, ...]
    node: Node
    expression: str
    sizes: tuple[str, ...]
    value: Value | None = None


@dataclass(frozen=True, slots=True)
class Disagreement:
    """Two routes between the same faces, and the first less the second.

    ``by`` is None where a size has no value; ``difference`` the expression, in which sizes that both
    routes use have cancelled; ``within_limits`` whether the limits of the sizes can make up for it,
    None where they are not known.
    """

    first: Route
    second: Route
    difference: Node
    expression: str
    by: Value | None
    within_limits: bool | None = None


@dataclass(frozen=True, slots=True)
class Routes:
    """Every route between two faces, the shortest first, and every two of them compared.

    ``complete`` is False where there are more routes than were looked for.
    """

    face_from: str
    face_to: str
    routes: tuple[Route, ...]
    disagreements: tuple[Disagreement, ...]
    complete: bool
    chains: tuple[Chain, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Plain keys and values for scripts."""
        from scaler.report import twin

        return {
            "face_from": self.face_from,
            "face_to": self.face_to,
            "complete": self.complete,
            "routes": [
                {
                    "text": route.expression,
                    "faces": list(route.faces),
                    "sizes": list(route.sizes),
                    **twin("value", route.value),
                }
                for route in self.routes
            ],
            "disagreements": [
                {
                    "first": item.first.expression,
                    "second": item.second.expression,
                    "difference": item.expression,
                    **twin("by", item.by),
                    "within_limits": item.within_limits,
                }
                for item in self.disagreements
            ],
            "chains": [chain.as_dict() for chain in self.chains],
        }

    def text(self) -> str:
        """The routes in words."""
        from scaler.report import length_text

        lines = [f"from {self.face_from} to {self.face_to}: {len(self.routes)} route(s)"]
        for route in self.routes:
            lines.append(f"  {route.expression} = {length_text(route.value, 'mm', 3)}")
        for item in self.disagreements:
            if item.by is not None and item.by == 0:
                said = "agree"
            else:
                said = f"disagree by {length_text(item.by, 'mm', 3)}"
                if item.within_limits is not None:
                    within = "inside" if item.within_limits else "outside"
                    said += f", {within} their limits"
            lines.append(f"  {item.first.expression} and {item.second.expression} {said}")
        if not self.complete:
            lines.append("  there are more routes than these")
        return "\n".join(lines)


def routes(
    spans: Iterable[Span | tuple[str, str, str | None]],
    start: str,
    end: str,
    *,
    values: Mapping[str, Value] | None = None,
    ratio: Fraction = Fraction(1),
    most: int = MOST_ROUTES,
) -> Routes:
    """Every simple route between two faces.

    Parameters: spans : dimensions between faces, (from, to, size); start, end : faces; values : the
        sizes' values, for the routes' own and for what they disagree by; ratio : the scale, for
        ``full('…')``; most : how many routes to give at most.
    Returns: Routes, the route of fewest spans first, then in alphabetical order.
    Raises: InputError: a face that no span has (with the nearest), the same face twice, faces that
        no route joins, a span that cannot be read or runs from a face to itself.

    >>> found = routes([("a", "b", "p.one"), ("b", "c", "p.two"), ("a", "c", "p.whole")], "a", "c",
    ...     values={"p.one": Fraction(3), "p.two": Fraction(4), "p.whole": Fraction(8)})
    >>> [route.expression for route in found.routes], str(found.disagreements[0].by)
    (['p.whole', 'p.one + p.two'], '1')
    """
    import networkx as nx

    known = [span if isinstance(span, Span) else Span(*span) for span in spans]
    nodes = _read(known)
    graph = nx.MultiGraph()
    for number, span in enumerate(known):
        graph.add_edge(span.face_from, span.face_to, key=number)
    _must_have(graph, start, end)
    if not nx.has_path(graph, start, end):
        reached = sorted(nx.node_connected_component(graph, start))
        raise InputError(
            [
                Problem(
                    "no-route",
                    f"no dimensions lead from {start} to {end}",
                    read=f"from {start}: {', '.join(reached[:8])}",
                    expected="spans that join the two",
                    advice="give the dimension that is missing, or say which faces touch",
                )
            ]
        )
    tried = list(islice(nx.all_simple_edge_paths(graph, start, end), MOST_TRIED + 1))
    found = [_route(path, known, nodes, values, ratio) for path in tried[:MOST_TRIED]]
    found.sort(key=lambda route: (len(route.steps), route.expression))
    kept = tuple(found[: max(1, most)])
    return Routes(
        start,
        end,
        kept,
        tuple(_compared(kept, values, ratio)),
        len(tried) <= MOST_TRIED and len(found) == len(kept),
    )


def _read(spans: Sequence[Span]) -> list[Node]:
    nodes: list[Node] = []
    problems = []
    for span in spans:
        if span.face_from == span.face_to:
            problems.append(
                Problem(
                    "span",
                    f"a span runs from {span.face_from} to itself",
                    read=str(span.size),
                    expected="two different faces",
                )
            )
            continue
        try:
            nodes.append(span.node)
        except ExpressionError as error:
            problems.append(
                Problem(
                    "expression",
                    f"the span from {span.face_from} to {span.face_to} cannot be read: "
                    f"{error.problem}",
                    read=str(span.size),
                    expected=error.expected,
                    advice=error.advice,
                )
            )
    if problems:
        raise InputError(problems)
    return nodes


def _must_have(graph: Any, start: str, end: str) -> None:
    problems = [
        Problem(
            "unknown-face",
            f"no dimension has the face '{face}'",
            read=face,
            expected="a face that a span starts or ends at",
            advice=did_you_mean(face, sorted(graph)),
        )
        for face in (start, end)
        if face not in graph
    ]
    if not problems and start == end:
        problems.append(
            Problem("same-face", f"'{start}' to itself is no chain", expected="two different faces")
        )
    if problems:
        raise InputError(problems)


def _route(
    path: Sequence[tuple[str, str, int]],
    spans: Sequence[Span],
    nodes: Sequence[Node],
    values: Mapping[str, Value] | None,
    ratio: Fraction,
) -> Route:
    steps, terms = [], []
    faces = [path[0][0]]
    for before, after, number in path:
        forward = spans[number].face_from == before
        steps.append(Step(spans[number], forward))
        faces.append(after)
        if spans[number].size is not None:
            terms.append(nodes[number] if forward else Neg(nodes[number]))
    terms.sort(key=lambda term: isinstance(term, Neg))
    node = Number(ZERO) if not terms else terms[0] if len(terms) == 1 else Add(tuple(terms))
    return Route(
        tuple(steps), tuple(faces), node, text(node), names(node), _value(node, values, ratio)
    )


def _value(node: Node, values: Mapping[str, Value] | None, ratio: Fraction) -> Value | None:
    from scaler.settling.solve import value_of

    if values is None or any(name not in values for name in names(node)):
        return None
    return value_of(node, values, ratio)


def _compared(
    found: Sequence[Route], values: Mapping[str, Value] | None, ratio: Fraction
) -> Iterable[Disagreement]:
    for first, second in combinations(found, 2):
        difference = body_of(Add((first.node, Neg(second.node))), ratio).node
        yield Disagreement(
            first, second, difference, text(difference), _value(difference, values, ratio)
        )


def spans_of(model: Model) -> tuple[Span, ...]:
    """The spans that a model's own sizes name, in the order of the files.

    A length or position called ``<face>_to_<face>`` spans between these faces of its part; any
    other position with a named datum spans from the datum to itself.
    """
    found = []
    for size in model.sizes.values():
        if not size.kind.is_length:
            continue
        first, joined, second = size.name.partition("_to_")
        if joined and first and second:
            if first != second:
                found.append(Span(f"{size.part}.{first}", f"{size.part}.{second}", size.id))
        elif size.kind is Kind.POSITION and size.datum:
            datum = "_".join(size.datum.lower().replace("-", " ").split())
            found.append(Span(f"{size.part}.{datum}", size.id, size.id))
    return tuple(found)


def chains_between(
    model: Model,
    start: str,
    end: str,
    *,
    spans: Iterable[Span | tuple[str, str, str | None]] = (),
    most: int = 12,
    **options: Any,
) -> Routes:
    """Every route between two faces of a model, each as a chain, and how far they disagree.

    Parameters: spans : more spans than the model's own, also between faces that touch;
        most : how many routes to work out; options : as :func:`scaler.chains.chain.chain`.
    Returns: Routes with ``chains``; a disagreement says whether the limits can make up for it.
    Raises: InputError as :func:`routes` and :func:`scaler.chains.chain.chain`.
    """
    from scaler.chains.chain import chain
    from scaler.checking.check import Checker

    checker = Checker(model, as_drawn=bool(options.get("as_drawn", False)))
    more = [span if isinstance(span, Span) else Span(*span) for span in spans]
    found = routes(
        [*spans_of(model), *more], start, end, values=checker.values, ratio=model.ratio, most=most
    )
    worked = tuple(
        chain(model, route.expression, **options) for route in found.routes if route.sizes
    )
    judged = []
    for item in found.disagreements:
        within = None
        if item.by is not None and names(item.difference):
            low, high = chain(model, item.expression, **{**options, "draws": 0}).worst_case
            within = None if low is None or high is None else low <= 0 <= high
        elif item.by is not None:
            within = item.by == 0
        judged.append(
            Disagreement(item.first, item.second, item.difference, item.expression, item.by, within)
        )
    return Routes(start, end, found.routes, tuple(judged), found.complete, worked)
