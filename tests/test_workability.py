"""Checks before metal is cut, as a whole: overruling, statements, what is left alone, the examples."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction as F
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import scaler
from scaler.checking.check import Checker
from scaler.checking.workability import Workability, WorkFinding, workability
from scaler.expressions import linear
from scaler.problems import InputError
from scaler.records import BasisKind, Cause, Verdict
from scaler.settling.solve import middle

HEAD = """
[model]
title = "Loom (invented)"
scale = "1:1"
{more}
[drawing.sheet]
unit = "mm"
"""

Look = Callable[..., dict[str, WorkFinding]]


def made(
    folder: Path, parts: str, shop: str = "", overrules: Mapping[str, str] | None = None
) -> Workability:
    """What is found for the parts given; ``shop`` lists family,size lines and shuts the rest out."""
    more = 'shop = "shelf.csv"\nshop_only = true' if shop else ""
    (folder / "model.toml").write_text(HEAD.format(more=more) + parts, encoding="utf-8")
    if shop:
        (folder / "shelf.csv").write_text("family,size\n" + shop, encoding="utf-8")
    return workability(scaler.load(folder), overrules=overrules)


def part(sizes: str, material: str = "mild steel", name: str = "plate") -> str:
    """A part of that material with its sizes."""
    return f'[part.{name}]\nmaterial = "{material}"\n{sizes}\n'


COVER = """
size.outside = {{ full = "60 mm", rule = "turned step 0.1 mm" }}
size.spigot = {{ full = "40 mm", rule = "turned step 0.1 mm" }}
size.stud_hole = {{ full = "4 mm", rule = "drilled" }}
size.stud_circle = {{ full = "{circle} mm", kind = "position", rule = "coordinate drilled step 0.1 mm" }}
size.stud_count = {{ full = "{count}", kind = "count" }}
"""

# ------------------------------------------------------------------------ overruling, the whole

HOLE = part(
    'size.bolt_hole = { full = "5 mm", rule = "drilled" }\n'
    'size.bolt_hole_to_edge = { full = "4 mm", kind = "position", '
    'rule = "coordinate drilled step 0.1 mm" }'
)


@pytest.mark.parametrize(
    "name",
    ["edge_distance.plate.bolt_hole_to_edge", "edge_distance.plate", "edge_distance"],
)
def test_a_check_is_overruled_with_a_reason(tmp_path: Path, name: str) -> None:
    """By its own name, by rule and part, or by rule; it is listed still, with the reason."""
    plain = made(tmp_path, HOLE)
    assert plain.status() == 1 and plain.counts()["fails"] == 1
    found = made(tmp_path, HOLE, overrules={name: "a dummy bolt that carries nothing"})
    item = next(f for f in found if f.rule == "edge_distance")
    assert item.overruled == "a dummy bolt that carries nothing"
    assert item.verdict is Verdict.FAILS and not item.fails
    assert found.status(strict=True) == 0
    assert found.counts()["overruled"] == 1 and found.counts()["fails"] == 0
    assert item.statement not in found.statements()


def test_an_overrule_must_name_a_check_and_give_a_reason(tmp_path: Path) -> None:
    """All that is wrong with them in one go, with the nearest names."""
    with pytest.raises(InputError) as caught:
        made(tmp_path, HOLE, overrules={"edge_distanc.plate": "so", "edge_distance": "  "})
    assert [problem.code for problem in caught.value.problems] == ["unknown-overrule", "no-reason"]
    assert "edge_distance.plate" in caught.value.problems[0].expected


def test_a_rule_that_finds_nothing_here_may_be_overruled(tmp_path: Path) -> None:
    """A whole rule can be switched off before it finds anything."""
    assert made(tmp_path, HOLE, overrules={"tap_lead": "taps are ground to bottom"}).status() == 1


def test_every_check_is_a_statement_of_the_models_sizes(tmp_path: Path) -> None:
    """Linear but for chords on a circle; both limits; the margin is its worst case."""
    text = HOLE + part(COVER.format(circle=50, count=8), "cast iron", "cover")
    for finding in made(tmp_path, text):
        statement = finding.statement
        assert statement.basis.kind is BasisKind.BOTH_LIMITS and statement.lower == 0
        form = linear(statement.node, F(1))
        assert (form is None) is (finding.rule == "circle_neighbours")
        if form is not None and finding.found is not None and finding.wanted is not None:
            assert finding.margin[0] is not None and finding.margin[1] is not None
            centre = middle(finding.found) - middle(finding.wanted)
            assert finding.margin[0] <= centre <= finding.margin[1]


def test_pressure_parts_get_no_figure(tmp_path: Path) -> None:
    """A boiler's holes and walls are not judged at all."""
    text = HOLE.replace('material = "mild steel"', 'material = "copper"\nservice = "pressure"')
    assert len(made(tmp_path, text)) == 0


def test_what_is_made_is_left_alone(tmp_path: Path) -> None:
    """Nothing is left to look at before cutting where both sizes are made."""
    text = HOLE.replace('rule = "drilled"', 'rule = "drilled", made = "5.02 mm"').replace(
        'rule = "coordinate drilled step 0.1 mm"',
        'rule = "coordinate drilled step 0.1 mm", made = "4.01 mm"',
    )
    assert len(made(tmp_path, text)) == 0


def test_the_cause_is_told(tmp_path: Path) -> None:
    """A hole too near the edge on the drawing already does not scale."""
    found = next(f for f in made(tmp_path, HOLE) if f.rule == "edge_distance")
    assert found.cause is Cause.DOES_NOT_SCALE


def test_the_dict_and_the_frame_carry_place_source_and_exact_twins(tmp_path: Path) -> None:
    """For scripts: file, line, source, and rationals as text."""
    found = made(tmp_path, HOLE)
    row = next(f for f in found if f.rule == "edge_breakout").as_dict()
    assert row["file"] == "model.toml" and row["line"] > 1
    assert (F(row["found_mm_rational"]), F(row["wanted_mm_rational"])) == (F(3, 2), F(1, 2))
    assert row["source"] and row["sizes"] == ["plate.bolt_hole_to_edge", "plate.bolt_hole"]
    assert len(found.frame()) == len(found)


@given(
    st.fractions(min_value=F(1, 2), max_value=20, max_denominator=10),
    st.fractions(min_value=0, max_value=5, max_denominator=10),
)
def test_more_metal_never_makes_it_worse(
    tmp_path_factory: pytest.TempPathFactory, edge: F, more: F
) -> None:
    """Moving a hole further from the edge never turns a check that holds into one that does not."""
    rank = {Verdict.FAILS: 0, Verdict.DOUBTFUL: 1, Verdict.HOLDS: 2}
    folder = tmp_path_factory.mktemp("edge")
    verdicts = []
    for value in (edge, edge + more):
        text = HOLE.replace('"4 mm"', f'"{float(value):.1f} mm"')
        verdicts.append({f.id: rank[f.verdict] for f in made(folder, text)})
    assert all(verdicts[1][name] >= verdicts[0][name] for name in verdicts[0])


def test_the_shipped_examples_can_be_made() -> None:
    """Both examples: nothing fails, everything has a source, and one pass over them is quick."""
    for name in ("pattern_d", "starter"):
        model = scaler.load(Path(str(files("scaler.examples") / name)))
        found = workability(model, checker=Checker(model))
        assert len(found) > 4
        assert [f.id for f in found if f.fails] == []
        assert all(f.source and f.text for f in found)
