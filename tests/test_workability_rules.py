"""The table of workability: every rule documented, its figures, and what its names match."""

from __future__ import annotations

import math
from fractions import Fraction as F

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaler import catalogue
from scaler.checking.workability_rules import (
    Asked,
    figure,
    less,
    mm,
    named,
    plus,
    rules,
    size,
    spelt,
    times,
)
from scaler.expressions import evaluate, names


def test_every_rule_says_what_it_needs_and_how_it_is_inferred() -> None:
    """Title, need, inference and source on each row; names unique and fit for a model file's key."""
    for rule in rules().values():
        assert rule.title and rule.needs and rule.inference and rule.source
        assert rule.id.replace("_", "").isalpha() and rule.id.islower()


def test_the_figures_are_those_of_their_sources() -> None:
    """Rivet rule 3 d / 2; walls 0.5 and 1 mm of the machining guides; a bottoming tap's 2 threads."""
    assert figure("edge_distance") == F(3, 2)
    assert (figure("wall_metal"), figure("wall_plastic"), figure("wall_cast")) == (
        F(1, 2),
        F(1),
        F(3),
    )
    assert figure("wall_metal") < figure("wall_plastic") < figure("wall_cast")
    assert figure("tap_lead") == 2
    assert figure("clean_up_ground") < figure("clean_up")


def test_the_drill_points_figure_covers_the_geometry() -> None:
    """A 118 degree point is 1/(2 tan 59°) = 0.3004 diameters deep: not less, and no more than
    0.3 % above."""
    true = 1 / (2 * math.tan(math.radians(59)))
    assert true < figure("drill_point") < true * 1.003


def test_a_rule_without_a_figure_refuses_to_give_one() -> None:
    """Blank is not nought; an unknown rule is an error."""
    with pytest.raises(ValueError, match="no figure"):
        figure("wall")
    with pytest.raises(KeyError):
        figure("no_such_rule")


@pytest.mark.parametrize(
    ("rule", "name", "words"),
    [
        ("edge_distance", "bolt_hole_to_edge", {"x": "bolt_hole"}),
        ("edge_distance", "stud_edge_distance", {"x": "stud"}),
        ("edge_distance", "bolt_hole_to_end", None),
        ("circle_edge", "stud_circle", {"x": "stud"}),
        ("circle_edge", "circle", None),
        ("hole_spacing", "rivet_pitch", {"x": "rivet"}),
        ("hole_spacing", "pitch", None),
        ("tap_lead", "stud_depth", {"x": "stud"}),
        ("register_width", "register_width", {}),
        ("register_width", "port_register_width", {"x": "port"}),
        ("wall", "outside", {}),
        ("wall", "eye_outside", {"x": "eye"}),
    ],
)
def test_names_are_matched_whole(rule: str, name: str, words: dict[str, str] | None) -> None:
    """A name fits a pattern from end to end or not at all; the first pattern that fits counts."""
    found = named(rules()[rule], name)
    if words is None:
        assert found is None
    else:
        assert found is not None
        assert {key: value for key, value in found.items() if value} == words


@given(st.from_regex(r"[a-z][a-z0-9]{0,8}(_[a-z0-9]{1,8}){0,3}", fullmatch=True))
def test_matching_and_spelling_undo_each_other(word: str) -> None:
    """Whatever the first words are, the partner is spelt with the same ones."""
    for rule in rules().values():
        for pattern in rule.names:
            if pattern.startswith("{x}") and "{y}" not in pattern:
                found = named(rule, pattern.replace("{x}", word))
                assert found is not None
    assert list(spelt(("{x}", "{x}_hole", "bore", "{y}"), {"x": word})) == [
        word, f"{word}_hole", "bore",
    ]  # fmt: skip


def test_partners_use_no_word_that_the_names_do_not_give() -> None:
    """{y} stands in a partner only where it stands in a name."""
    for rule in rules().values():
        for mark in ("{x}", "{y}"):
            if any(mark in partner for partner in rule.partners):
                assert any(mark in name for name in rule.names)


@given(
    st.fractions(min_value=-100, max_value=100), st.fractions(min_value=-100, max_value=100),
    st.fractions(min_value=-9, max_value=9),
)  # fmt: skip
def test_an_asked_statement_is_found_less_wanted(one: F, other: F, factor: F) -> None:
    """The node that substitution gets is the difference, exactly."""
    asked = Asked(
        rules()["wall"],
        "p.a",
        times(factor, less(size("p.a"), size("p.b"))),
        plus(mm(F(1, 2)), size("p.b")),
        "text",
    )
    assert asked.id == "wall.p.a"
    assert set(names(asked.node)) == {"p.a", "p.b"}
    value = evaluate(asked.node, {"p.a": one, "p.b": other}, F(1))
    assert value == factor * (one - other) - (F(1, 2) + other)


def test_engagement_factors_are_a_range_for_every_family_of_metal() -> None:
    """Every family that a thread is cut in has a factor; the least is not above the greatest."""
    known = {row.text("designation") for row in catalogue.table("materials_engagement").rows}
    families = {row.text("family") for row in catalogue.table("materials").rows}
    assert families - known == {"solder"}
