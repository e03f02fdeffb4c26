"""Chains found from the faces: every route, and how far two of them disagree."""

from __future__ import annotations

import json
from fractions import Fraction as F
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import scaler
from scaler.chains.routes import Span, chains_between, routes, spans_of
from scaler.expressions.intervals import Value
from scaler.problems import InputError

EXAMPLE = Path(scaler.__file__).parent / "examples" / "pattern_d"

# A stepped block, dimensioned three ways (invented): overall, by its steps, and one step again.
BLOCK = [
    ("left", "step", "block.left_to_step"),
    ("step", "shoulder", "block.step_to_shoulder"),
    ("shoulder", "right", "block.shoulder_to_right"),
    ("left", "right", "block.overall"),
    ("right", "step", "block.right_to_step"),
]
VALUES: dict[str, Value] = {
    "block.left_to_step": F(10),
    "block.step_to_shoulder": F(20),
    "block.shoulder_to_right": F(30),
    "block.overall": F("60.5"),
    "block.right_to_step": F(50),
}


def test_every_route_is_found_with_its_signs() -> None:
    """Three routes over a block, a span walked backwards taken with minus."""
    found = routes(BLOCK, "left", "right", values=VALUES)
    assert [route.expression for route in found.routes] == [
        "block.overall",
        "block.left_to_step - block.right_to_step",
        "block.left_to_step + block.step_to_shoulder + block.shoulder_to_right",
    ]
    assert [route.value for route in found.routes] == [F("60.5"), F(-40), F(60)]
    assert found.routes[2].faces == ("left", "step", "shoulder", "right")
    assert found.complete


def test_two_routes_are_both_reported_with_what_they_disagree_by() -> None:
    """Overall 60.5 against 60 by the steps; a size that both routes use cancels."""
    found = routes(BLOCK[:4], "left", "right", values=VALUES)
    (only,) = found.disagreements
    assert only.by == F("0.5")
    assert "disagree by 0.500" in found.text()
    shared = routes(BLOCK, "left", "right", values=VALUES)
    second = next(
        item
        for item in shared.disagreements
        if item.first is shared.routes[1] and item.second is shared.routes[2]
    )
    assert "block.left_to_step" not in second.expression
    assert second.by == -100


def test_the_way_back_is_the_other_sign() -> None:
    """From right to left every route is minus the one from left to right."""
    there = routes(BLOCK, "left", "right", values=VALUES)
    back = routes(BLOCK, "right", "left", values=VALUES)
    assert sorted(-route.value for route in there.routes) == sorted(  # type: ignore[operator]
        route.value
        for route in back.routes  # type: ignore[type-var]
    )


def test_parallel_spans_and_faces_that_touch() -> None:
    """Two sizes between the same faces are two routes; a touch adds nothing to a route."""
    spans = [
        Span("a.left", "a.right", "a.length"),
        Span("a.left", "a.right", "a.length_again"),
        Span("a.right", "b.left"),
        Span("b.left", "b.right", "b.length / 2"),
    ]
    found = routes(spans, "a.left", "b.right")
    assert [route.expression for route in found.routes] == [
        "a.length + b.length / 2",
        "a.length_again + b.length / 2",
    ]
    assert found.disagreements[0].by is None
    touching = routes(spans, "a.right", "b.left", values={})
    assert touching.routes[0].value == 0


edges = st.lists(
    st.tuples(st.sampled_from("abcde"), st.sampled_from("abcde")).filter(lambda e: e[0] != e[1]),
    min_size=1,
    max_size=9,
)


@given(edges)
def test_routes_are_all_the_simple_ways(found_edges: list[tuple[str, str]]) -> None:
    """Against a plain search written here: the same number of ways, the same lengths."""
    spans = [(a, b, f"p{n}.x") for n, (a, b) in enumerate(found_edges)]
    values: dict[str, Value] = {f"p{n}.x": F(3**n) for n in range(len(spans))}
    start, end = spans[0][0], spans[-1][1]
    if start == end:
        return

    def ways(at: str, seen: frozenset[str], length: F) -> list[F]:
        if at == end:
            return [length]
        total: list[F] = []
        for a, b, size in spans:
            for one, other, sign in ((a, b, 1), (b, a, -1)):
                if one == at and other not in seen:
                    total += ways(other, seen | {other}, length + sign * values[size])  # type: ignore[operator]
        return total

    expected = sorted(ways(start, frozenset({start}), F(0)))
    if not expected:
        with pytest.raises(InputError, match="no dimensions lead"):
            routes(spans, start, end)
        return
    found = routes(spans, start, end, values=values)
    assert sorted(route.value for route in found.routes) == expected  # type: ignore[type-var]


def test_too_many_routes_are_cut_short_and_said() -> None:
    """Only so many are given, and that there are more."""
    spans = [(f"f{n}", f"f{n + 1}", f"p{n}.{way}") for n in range(5) for way in ("x", "y")]
    found = routes(spans, "f0", "f5", most=10)
    assert len(found.routes) == 10 and not found.complete
    assert "more routes" in found.text()
    assert routes(spans, "f0", "f5").complete


@pytest.mark.parametrize(
    ("spans", "start", "end", "code", "says"),
    [
        (BLOCK, "lefd", "right", "unknown-face", "did you mean 'left'"),
        (BLOCK, "left", "left", "same-face", "two different faces"),
        ([*BLOCK, ("x", "y", "p.x")], "left", "y", "no-route", "say which faces touch"),
        ([("a", "a", "p.x")], "a", "a", "span", "to itself"),
        ([("a", "b", "p.x +")], "a", "b", "expression", "cannot be read"),
    ],
)
def test_routes_that_cannot_be(
    spans: list[tuple[str, str, str]], start: str, end: str, code: str, says: str
) -> None:
    """Wrong faces and spans are problems with their cure."""
    with pytest.raises(InputError) as caught:
        routes(spans, start, end)
    assert caught.value.problems[0].code == code
    assert says in str(caught.value)


def test_sizes_of_a_model_name_their_faces() -> None:
    """``beam_to_driving_axle`` spans from beam to driving axle; ``back_to_back`` spans nothing."""
    spans = spans_of(scaler.load(EXAMPLE))
    found = {span.size: (span.face_from, span.face_to) for span in spans}
    assert found["frame.beam_to_driving_axle"] == ("frame.beam", "frame.driving_axle")
    assert "wheelset.back_to_back" not in found


def test_a_chain_between_two_faces_of_a_model() -> None:
    """From axle to axle by the frame, and again by the rod that joins them: both reported."""
    model = scaler.load(EXAMPLE)
    found = chains_between(
        model,
        "frame.leading_axle",
        "frame.driving_axle",
        spans=[("frame.leading_axle", "frame.driving_axle", "coupling_rod.centres")],
        draws=500,
    )
    assert [route.expression for route in found.routes] == [
        "coupling_rod.centres",
        "frame.beam_to_driving_axle - frame.beam_to_leading_axle",
    ]
    assert [one.basic for one in found.chains] == [route.value for route in found.routes]
    (only,) = found.disagreements
    assert only.by == 0 and only.within_limits is True
    row = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert row["disagreements"][0]["within_limits"] is True
    assert len(row["chains"]) == 2
    longer = chains_between(model, "frame.leading_axle", "frame.cylinder", draws=0)
    assert len(longer.chains) == 1
    assert "driving_axle_to_cylinder" in longer.text()


def test_a_disagreement_that_limits_cannot_make_up_for(tmp_path: Path) -> None:
    """An overall size that is not the sum of its parts is told from one within its limits."""
    text = """
[model]
title = "Block (invented)"
scale = "1:1"
work = "mm"
[drawing.sheet]
unit = "mm"
[part.block]
material = "steel"
service = "none"
size.left_to_step = { full = "10", kind = "length", rule = ["milled step 0.1 mm"] }
size.step_to_right = { full = "20", kind = "length", rule = ["milled step 0.1 mm"] }
size.left_to_right = { full = "OVERALL", kind = "length", rule = ["milled step 0.1 mm"] }
"""
    for overall, within in (("30.5", False), ("30", True)):
        folder = tmp_path / overall
        folder.mkdir()
        (folder / "model.toml").write_text(text.replace("OVERALL", overall), encoding="utf-8")
        found = chains_between(scaler.load(folder), "block.left", "block.right", draws=0)
        (only,) = found.disagreements
        assert only.by == F(overall) - 30
        assert only.within_limits is within
        assert ("outside their limits" in found.text()) is not within
