"""Chains of a model: on each basis, from uncertain origins, of copies, and what cannot be done."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest

import scaler
from scaler.chains.chain import Given, chain, chain_of, chains
from scaler.chains.expressions import effective
from scaler.chains.report import chains_text
from scaler.checking.check import Checker
from scaler.problems import InputError
from scaler.records import BasisKind, Model, Verdict
from scaler.settling.solve import middle

EXAMPLE = Path(scaler.__file__).parent / "examples" / "pattern_d"

BOX = """
[model]
title = "Box and block (invented)"
scale = "1:8"
work = "mm"
[drawing.sheet]
unit = "mm"
[part.box]
material = "steel"
service = "none"
copies = ["left", "right"]
count = 2
size.gap = { full = "80", kind = "slot", rule = ["milled step 0.1 mm"], limits = "0 +0.1 mm" }
size.wall = { full = "16", kind = "length", rule = ["milled step 0.1 mm"], limits = "±0.05 mm" }
size.width = { kind = "length", equals = "box.gap + 2*box.wall" }
[part.block]
material = "steel"
service = "none"
size.width = { full = "78.4", kind = "external", rule = ["turned step 0.1 mm"], limits = "0 -0.1 mm", uncertainty = "1.6 mm" }
size.chamfer = { full = "8", kind = "length", rule = ["turned step 0.1 mm"], uncertainty = "0.8 mm" }
[pair.block_in_box]
inner = "block.width"
outer = "box.gap"
fit = "clearance 0.1 to 0.5 mm"
basis = "both limits"
[condition.over_all]
keep = "'13 mm' <= box.width <= '15 mm'"
basis = "both limits"
"""


@pytest.fixture(scope="module")
def example() -> Model:
    """The shipped example."""
    return scaler.load(EXAMPLE)


def model_of(folder: Path, text: str, readings: str = "") -> Model:
    """A model read from text."""
    (folder / "model.toml").write_text(text, encoding="utf-8")
    if readings:
        (folder / "readings.csv").write_text(readings, encoding="utf-8")
    return scaler.load(folder)


def test_every_chain_of_the_example_is_what_the_check_found(example: Model) -> None:
    """Worst case and verdict of a chain are those of the check, pair by pair."""
    checker = Checker(example)
    found = chains(example, draws=0)
    assert len(found) == len(checker.statements)
    for finding, one in zip(checker.findings, found, strict=True):
        assert one.id == finding.statement.id
        assert one.verdict is finding.verdict
        if finding.statement.basis.kind is not BasisKind.BASIC_SIZE:
            assert one.worst_case == finding.found
            assert one.worst_case_made == finding.found


def test_a_last_cut_counts_only_the_cut_and_the_readings(example: Model) -> None:
    """On its basis the pair has the cut's tolerance and the instruments; blindly it has limits."""
    stated = chain(example, "axlebox_in_horns", draws=0)
    assert not stated.contributor("axlebox.width").given.reading
    assert stated.contributor("frame.horn_slot").given.reading
    assert "axlebox.width" in stated.contributor("horn_cheek.thickness").given.source
    blind = chain(example, "axlebox_in_horns", basis="both limits", draws=0)
    assert blind.worst_case[0] < stated.worst_case[0]  # type: ignore[operator]
    assert blind.worst_case[1] > stated.worst_case[1]  # type: ignore[operator]


def test_definitions_are_put_in(tmp_path: Path) -> None:
    """A size that is only the outcome of others is replaced by them, the repeated one doubled."""
    found = chain(model_of(tmp_path, BOX), "over_all", draws=0)
    assert found.contributor("box.wall").sensitivity == 2
    assert found.contributor("box.gap").sensitivity == 1
    assert found.worst_case == (F("13.9"), F("14.2"))  # 10 + 2·2, +0.1 and ± 2·0.05
    assert found.verdict is Verdict.HOLDS


def test_a_size_on_both_sides_cancels(tmp_path: Path) -> None:
    """x − x is nought exactly; a size on both sides is named and has no effect."""
    model = model_of(tmp_path, BOX)
    nothing = chain(model, "box.gap - box.gap", draws=1000)
    assert nothing.basic == 0
    assert nothing.worst_case == (0, 0)
    assert nothing.root_sum_square == (0, 0)
    assert nothing.contributors == ()
    assert nothing.cancelled == ("box.gap",)
    assert nothing.monte_carlo is not None
    assert (nothing.monte_carlo.lowest, nothing.monte_carlo.highest) == (0.0, 0.0)
    part = chain(model, "(box.gap + box.wall) - (block.width + box.wall)", draws=0)
    assert part.cancelled == ("box.wall",)
    assert [item.name for item in part.contributors] == ["box.gap", "block.width"] or [
        item.name for item in part.contributors
    ] == ["block.width", "box.gap"]


def test_uncertain_origins_take_part(tmp_path: Path) -> None:
    """A full-size ± goes in by the scale, is told apart from the limits, and is ranked."""
    found = chain(model_of(tmp_path, BOX), "block_in_box", draws=0)
    # gap 10 to 10.1, width 9.7 to 9.8; origin ± 1.6/8 = ± 0.2
    assert found.worst_case_made == (F("0.2"), F("0.4"))
    assert found.worst_case == (F("0.0"), F("0.6"))
    assert found.contributor("block.width").origin_effect == F("0.2")
    (again,) = found.measure_again
    assert again.size == "block.width"
    assert again.uncertainty == F("0.2")
    assert again.settles and again.worth_it
    assert found.verdict is Verdict.DOUBTFUL
    assert "1.60 mm full size" in again.origin
    assert "measure again: block.width" in found.text()


def test_origins_are_ranked_by_what_they_do(tmp_path: Path) -> None:
    """The origin with more effect comes first; one that makes little is not worth the way."""
    model = model_of(tmp_path, BOX)
    found = chain(model, "box.gap - block.width - block.chamfer / 8", draws=0)
    assert [item.size for item in found.measure_again] == ["block.width", "block.chamfer"]
    assert [item.worth_it for item in found.measure_again] == [True, False]
    assert found.measure_again[1].effect == F(1, 80)


def test_a_made_size_has_no_uncertain_origin(tmp_path: Path) -> None:
    """Once read, a size has its instrument's uncertainty and nothing from the drawing."""
    readings = (
        "time,action,size,copy,value,instrument,note\n"
        "2024-01-01T10:00:00,reading,block.width,,9.75 mm,micrometer,\n"
    )
    model = model_of(tmp_path, BOX, readings)
    found = chain(model, "block_in_box", draws=0)
    item = found.contributor("block.width")
    assert item.given.reading and item.given.origin == 0
    assert found.measure_again == ()
    assert found.worst_case == (F("0.248"), F("0.352"))
    planned = chain(model, "block_in_box", as_drawn=True, draws=0)
    assert planned.worst_case == (F("0.0"), F("0.6"))


def test_copies_with_readings_are_chains_of_their_own(tmp_path: Path) -> None:
    """A pair that made copies take part in is one chain a copy; the bare name says so."""
    readings = (
        "time,action,size,copy,value,instrument,note\n"
        "2024-01-01T10:00:00,reading,box.gap,left,10.02 mm,plug gauge,\n"
        "2024-01-01T10:05:00,reading,box.gap,right,10.08 mm,plug gauge,\n"
    )
    model = model_of(tmp_path, BOX, readings)
    left = chain(model, "block_in_box@left", draws=0)
    assert left.contributor("box.gap@left").given.reading
    assert left.basic == F("0.22")
    with pytest.raises(InputError) as caught:
        chain(model, "block_in_box")
    assert "block_in_box@left or block_in_box@right" in str(caught.value)
    measured = chain(model, "box.gap - block.width", distribution="measured", draws=2000)
    assert measured.monte_carlo is not None
    assert any(note.code == "drawn-normal" for note in measured.notes)


def test_what_to_tighten_and_what_to_relax(tmp_path: Path) -> None:
    """By hand: gap ± 0.05 and block ± 0.05 (no origin) in a window that leaves 0.1 each side."""
    model = model_of(tmp_path, BOX.replace(', uncertainty = "1.6 mm"', ""))
    found = chain(model, "block_in_box", draws=0)
    assert found.worst_case == (F("0.2"), F("0.4"))
    assert found.verdict is Verdict.HOLDS
    assert {item.size: item.worst_case for item in found.could_be_relaxed} == {
        "box.gap": F("0.2"),
        "block.width": F("0.2"),
    }
    assert found.tighten_first is not None
    assert found.tighten_first.enough and found.tighten_first.needed is None
    narrow = chain(model, "'0.1 mm' <= box.gap - block.width <= '0.3 mm'", draws=0)
    assert narrow.verdict is Verdict.DOUBTFUL
    assert narrow.could_be_relaxed == ()
    assert narrow.tighten_first is not None
    assert narrow.tighten_first.needed is None and not narrow.tighten_first.enough
    wider = chain(model, "'0.1 mm' <= box.gap - block.width <= '0.39 mm'", draws=0)
    assert wider.tighten_first is not None
    assert wider.tighten_first.needed == F("0.08")


def test_tightening_and_relaxing_do_what_they_say() -> None:
    """The figures put back in: the worst case lies on the window, a little more falls outside."""
    sizes = {
        "hole.x": Given(F(30), F("-0.05"), F("0.05")),
        "hole.y": Given(F(40), F("-0.02"), F("0.03")),
    }
    text = "sqrt(hole.x^2 + hole.y^2)"
    window = (F("49.8"), F("50.2"))
    found = chain_of(text, sizes, wanted=window, draws=0)
    assert {item.size for item in found.could_be_relaxed} == {"hole.x", "hole.y"}
    for item in found.could_be_relaxed:
        for factor, inside in ((F(1), True), (F("1.02"), False)):
            half = item.worst_case * factor / 2
            given = sizes[item.size]
            wide = replace(given, lower=given.lower - half, upper=given.upper + half)
            again = chain_of(text, {**sizes, item.size: wide}, wanted=window, draws=0)
            assert (again.verdict is Verdict.HOLDS) is inside
            wide = replace(
                given,
                lower=given.lower - item.root_sum_square * factor / 2,
                upper=given.upper + item.root_sum_square * factor / 2,
            )
            again = chain_of(text, {**sizes, item.size: wide}, wanted=window, draws=0)
            low, high = again.root_sum_square
            assert low is not None and high is not None
            ends = (float(low.lower), float(high.upper))  # type: ignore[union-attr]
            assert (window[0] <= ends[0] and ends[1] <= window[1]) is inside


def test_the_verdict_does_not_hang_on_the_datum() -> None:
    """The same closing dimension from two datums: same contributors, draws and verdict."""
    sizes = {
        "plate.one": Given(F(20), F("-0.03"), F("0.01"), kind="position"),
        "plate.two": Given(F(50), F("-0.02"), F("0.02"), kind="position"),
        "plate.edge": Given(F(5), F("-0.3"), F("0.3"), kind="position"),
    }
    window = (F("29.95"), F("30.06"))
    texts = (
        "plate.two - plate.one",
        "-(plate.one - plate.two)",
        "(plate.two + plate.edge) - (plate.one + plate.edge)",
        "(plate.two - plate.edge) + (plate.edge - plate.one)",
    )
    found = [chain_of(text, sizes, wanted=window) for text in texts]
    first = found[0]
    for other in found[1:]:
        assert other.worst_case == first.worst_case
        assert other.root_sum_square == first.root_sum_square
        assert other.contributors == first.contributors
        assert other.monte_carlo == first.monte_carlo
        assert other.verdict is first.verdict
        assert other.could_be_relaxed == first.could_be_relaxed


def test_cancelling_inside_a_root() -> None:
    """The distance of two holes is the same from any datum, also where it is not linear."""
    sizes = {
        name: Given(F(value), F("-0.02"), F("0.02"))
        for name, value in (
            ("a.x", 10),
            ("a.y", 20),
            ("b.x", 40),
            ("b.y", 60),
            ("d.x", 7),
        )
    }
    plain = chain_of("sqrt((a.x - b.x)^2 + (a.y - b.y)^2)", sizes, draws=500)
    moved = chain_of(
        "sqrt(((a.x + d.x) - (d.x + b.x))^2 + (a.y - b.y)^2) + d.x - d.x", sizes, draws=500
    )
    assert plain.basic == moved.basic == 50
    assert moved.cancelled == ("d.x",)
    assert moved.worst_case == plain.worst_case
    assert moved.monte_carlo == plain.monte_carlo
    nothing = chain_of("sqrt(a.x^2 + a.y^2) - sqrt(a.x^2 + a.y^2)", sizes, draws=0)
    assert nothing.worst_case == (0, 0)


def test_a_formula_is_given_for_chains_that_are_not_linear() -> None:
    """Sympy's derivative stands beside the sensitivity, and agrees with it."""
    sizes = {"a.x": Given(F(3), F("-0.1"), F("0.1")), "b.y": Given(F(5), F("-0.1"), F("0.1"))}
    found = chain_of("a.x * b.y", sizes, draws=0)
    assert found.contributor("a.x").formula == "b.y"
    assert found.contributor("a.x").sensitivity == 5
    assert found.notes == ()
    straight = chain_of("a.x + b.y", sizes, draws=0)
    assert straight.contributor("a.x").formula == ""


def test_a_wrong_sensitivity_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """The comparison with sympy is made: a derivative that is off is reported."""
    from scaler.chains import expressions as chain_expressions

    real = chain_expressions.gradient

    def off(*args: object) -> object:
        value, slopes = real(*args)  # type: ignore[arg-type]
        return value, {name: slope * F("1.001") for name, slope in slopes.items()}  # type: ignore[operator]

    monkeypatch.setattr(chain_expressions, "gradient", off)
    sizes = {"a.x": Given(F(3), F("-0.1"), F("0.1")), "b.y": Given(F(5), F("-0.1"), F("0.1"))}
    found = chain_of("a.x * b.y", sizes, draws=0)
    assert {note.code for note in found.notes} == {"sensitivity-disagrees"}


def test_a_chain_may_stand_at_a_corner() -> None:
    """At the corner of abs the steeper side counts, and nothing is divided by nought."""
    sizes = {"a.x": Given(F(3), F("-0.1"), F("0.1")), "b.x": Given(F(3), F("-0.1"), F("0.1"))}
    found = chain_of("abs(a.x - b.x)", sizes, draws=200)
    assert found.worst_case == (0, F("0.2"))
    assert sum(item.share_variance for item in found.contributors) == 1
    steep = chain_of("sqrt(a.x - 3)", {"a.x": Given(F(3), F(0), F(0))}, draws=0)
    assert steep.root_sum_square == (None, None)
    assert any(note.code == "too-steep" for note in steep.notes)


def test_shares_add_up(example: Model) -> None:
    """Shares of worst case and variance are parts of one whole, exactly."""
    for one in chains(example, draws=0):
        if any(item.reach for item in one.contributors):
            assert sum(item.share_worst_case for item in one.contributors) == 1
            assert sum(item.share_variance for item in one.contributors) == 1


def test_the_same_seed_gives_the_same_draws(example: Model) -> None:
    """Draws are the same for a seed, and others for another."""
    first = chain(example, "piston_in_bore", draws=5000, seed=7).monte_carlo
    assert first == chain(example, "piston_in_bore", draws=5000, seed=7).monte_carlo
    assert first != chain(example, "piston_in_bore", draws=5000, seed=8).monte_carlo


def test_negative_draws_are_counted() -> None:
    """Sizes that come out below nought are reported with how many draws and which size."""
    sizes = {
        "shim.thickness": Given(F("0.05"), F("-0.1"), F("0.1")),
        "box.gap": Given(F(10), F("-0.1"), F("0.1")),
    }
    for text in ("box.gap - shim.thickness", "box.gap * shim.thickness / 10"):
        found = chain_of(text, sizes, draws=100_000)
        assert found.monte_carlo is not None
        # mean 1.5 standard deviations above nought: 6.68 % (standard normal table)
        assert found.monte_carlo.negative == pytest.approx(6680, abs=300)
        assert dict(found.monte_carlo.negative_sizes) == {
            "shim.thickness": found.monte_carlo.negative
        }
        (note,) = [n for n in found.notes if n.code == "negative-size"]
        assert f"{found.monte_carlo.negative:,} of 100,000" in note.headline
    position = replace(sizes["shim.thickness"], kind="position")
    free = chain_of("box.gap - shim.thickness", {**sizes, "shim.thickness": position})
    assert free.monte_carlo is not None and free.monte_carlo.negative == 0


def test_draws_without_a_value_count_as_failed() -> None:
    """A root that goes below nought in some draws is counted, not raised."""
    sizes = {"a.x": Given(F(3), F("-0.3"), F("0.3")), "b.x": Given(F("2.7"))}
    found = chain_of("sqrt(a.x - b.x)", sizes, wanted=(F(0), F(9)), draws=200_000)
    assert found.monte_carlo is not None
    # below 3 standard deviations: 0.135 % of a normal (standard normal table)
    assert found.monte_carlo.without_value == pytest.approx(270, abs=70)
    assert found.monte_carlo.chance == pytest.approx(1 - found.monte_carlo.without_value / 200_000)
    assert any(note.code == "draws-without-value" for note in found.notes)


def test_a_pressure_part_gets_no_figure(example: Model) -> None:
    """A chain that names a refused part has nothing but nulls, on screen and in JSON."""
    found = chain(example, "boiler.barrel_outside - boiler.tube_outside")
    assert found.refused and found.verdict is Verdict.REFUSED
    row = found.as_dict()
    for key in ("wanted", "worst_case", "worst_case_made", "root_sum_square"):
        assert row[key] == [None, None], key
    for key in ("basic", "mean", "standard_deviation", "monte_carlo", "tighten_first"):
        assert row[key] is None, key
    assert row["contributors"] == row["could_be_relaxed"] == row["measure_again"] == []
    assert "inspecting body" in found.text()
    assert not any(character.isdigit() for character in found.text())


def test_results_for_scripts_and_notebooks(example: Model) -> None:
    """Plain JSON with exact twins; a frame a row a contributor; a table in a notebook."""
    found = chain(example, "lateral_chain", draws=1000)
    row = json.loads(json.dumps(found.as_dict(), allow_nan=False))
    assert row["worst_case"] == [-0.2, 0.025]
    assert row["worst_case_rational"] == ["-1/5", "1/40"]
    assert row["root_sum_square_rational"] == [None, None]
    assert row["unit"] == "mm"
    assert row["contributors"][0]["sensitivity_rational"] == "1"
    frame = found.frame()
    assert len(frame) == len(found.contributors)
    assert frame["share_variance"].sum() == pytest.approx(1.0)
    assert "<table" in found._repr_html_()
    text = found.text()
    for word in ("worst case", "root sum square", "goes together", "tighten first"):
        assert word in text
    assert "(both limits)" in text
    inches = found.text(units="in")
    assert " in" in inches.splitlines()[2]


def test_all_chains_in_one_table(example: Model) -> None:
    """One line a chain, with its verdict and the size that has most to do with it."""
    found = chains(example, draws=200)
    lines = chains_text(found).splitlines()
    assert len(lines) == len(found) + 2
    line = next(one for one in lines if one.startswith("lateral_chain"))
    assert "-0.200 to 0.025" in line and "holds" in line and "coupling_rod.thickness" in line


def test_a_plain_number_has_no_unit(example: Model) -> None:
    """A quotient is judged at basic sizes where the model says so, and has no mm."""
    found = chain(example, "bolt_edge_distance", draws=100)
    assert found.unit == ""
    assert found.verdict is Verdict.HOLDS
    assert found.worst_case[0] < F("1.5")  # type: ignore[operator]
    assert " mm" not in found.text().splitlines()[2]


@pytest.mark.parametrize(
    ("name", "code", "says"),
    [
        ("piston_in_boor", "unknown-chain", "did you mean 'piston_in_bore'"),
        ("cylinder.boar - piston.diameter", "unknown-size", "did you mean 'cylinder.bore'"),
        ("cylinder.bore - 3", "dimension", "3 mm"),
        ("cylinder.bore - ", "expression", ""),
        ("'3 mm' - '1 mm'", "no-variable", "names no size"),
        ("cylinder.bore / (piston.diameter - piston.diameter)", "no-value", "zero"),
        ("frame.thickness@left", "unknown-copy", "reading"),
        ("'2 mm' <= cylinder.bore <= '1 mm'", "window-reversed", "wrong way round"),
    ],
)
def test_chains_that_cannot_be(example: Model, name: str, code: str, says: str) -> None:
    """Every wrong request is a problem with its code, and says what would be right."""
    with pytest.raises(InputError) as caught:
        chain(example, name)
    assert [problem.code for problem in caught.value.problems] == [code]
    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"draws": 1}, "draws"),
        ({"draws": True}, "draws"),
        ({"draws": 10**10}, "draws"),
        ({"seed": -1}, "seed"),
        ({"distribution": "norml"}, "did you mean 'normal'"),
        ({"distributions": {"cylinder.bore": "flat"}}, "flat"),
        ({"distributions": {"cylinder.bore": "measured"}}, "two or more readings"),
        ({"measured": {"cylinder.bore": [35.0]}}, "two or more readings"),
        ({"measured": {"cylinder.bore": [35.0, float("nan")]}}, "two or more readings"),
        ({"distribution": "measured"}, "no size of the chain has two readings"),
        ({"capability": 0}, "capability"),
        ({"capability": "good"}, "capability"),
        ({"mean_shift": -1}, "mean shift"),
        ({"copies": "some"}, "alike or apart"),
        ({"basis": "blind"}, "stated or both limits"),
    ],
)
def test_options_that_cannot_be(example: Model, options: dict[str, object], says: str) -> None:
    """Options are looked at before anything is worked out."""
    with pytest.raises(InputError, match=says):
        chain(example, "piston_in_bore", **options)  # type: ignore[arg-type]


def test_limits_the_wrong_way_round() -> None:
    """Limits given from Python are looked at; a size that is not given is named."""
    with pytest.raises(InputError) as caught:
        chain_of("a.x", {"a.x": Given(F(1), F("0.1"), F("-0.1"), "drawing")})
    assert caught.value.problems[0].code == "limits-reversed"
    assert "drawing" in caught.value.problems[0].read
    with pytest.raises(InputError, match="'b\\.x', which is not given"):
        chain_of("a.x - b.x", {"a.x": Given(F(1))})
    with pytest.raises(InputError, match="cannot be read"):
        chain_of("a.x -- ", {"a.x": Given(F(1))})
    with pytest.raises(InputError, match="wrong way round"):
        chain_of("a.x", {"a.x": Given(F(1))}, wanted=(F(2), F(1)))


def test_a_chain_without_a_value_does_not_stop_the_others(tmp_path: Path) -> None:
    """Of all chains, one that has no value within its limits is there with a note."""
    text = BOX + (
        "[condition.steep]\n"
        "keep = \"sqrt(box.gap - '10 mm') * sqrt('1 mm') >= '-1 mm'\"\n"
        'basis = "both limits"\n'
    ).replace("'-1 mm'", "-'1 mm'")
    text = text.replace('"0 +0.1 mm"', '"-0.1 +0.1 mm"')
    found = {one.id: one for one in chains(model_of(tmp_path, text), draws=0)}
    assert found["steep"].basic is None and not found["steep"].refused
    assert found["steep"].notes[0].code == "no-value"
    assert found["block_in_box"].basic is not None
    assert "no value" in found["steep"].text()


def test_comparisons_give_their_window(tmp_path: Path) -> None:
    """Constants are bounds, sizes the chain, whichever way round they are written."""
    model = model_of(tmp_path, BOX)
    for text, window in (
        ("box.gap >= '9 mm'", (F(9), None)),
        ("'9 mm' <= box.gap", (F(9), None)),
        ("box.gap <= full('88 mm')", (None, F(11))),
        ("'11 mm' >= box.gap >= '9 mm'", (F(9), F(11))),
        ("box.gap == '10 mm'", (F(10), F(10))),
        ("'10 mm' == box.gap", (F(10), F(10))),
        ("block.width <= box.gap", (F(0), None)),
        ("block.width == box.gap", (F(0), F(0))),
    ):
        assert chain(model, text, draws=0).wanted == window, text
    assert chain(model, "block.width <= box.gap", draws=0).basic == F("0.2")
    with pytest.raises(InputError, match="constants outside"):
        chain(model, "block.width <= box.gap <= box.wall")
    with pytest.raises(InputError, match="divides by zero"):
        chain(model, "box.gap <= '1 mm' / 0")


def test_units_follow_the_dimension(tmp_path: Path) -> None:
    """Lengths, areas, numbers and angles say what they are in."""
    model = model_of(tmp_path, BOX)
    for text, unit in (
        ("box.gap", "mm"),
        ("box.gap * box.wall", "mm^2"),
        ("box.gap / box.wall", ""),
        ("atan(box.wall / box.gap)", "deg"),
    ):
        assert chain(model, text, draws=0).unit == unit
    text = chain(model, "'5 deg' <= atan(box.wall / box.gap) <= '15 deg'", draws=100).text("in")
    assert "5.0000 to 15.0000°" in text
    both = chain(model, "block_in_box", draws=0).text("both")
    assert "mm" in both and "in)" in both


PRESSURE = """
[part.boiler]
material = "copper"
service = "pressure"
size.barrel = { full = "400", kind = "external" }
[part.saddle]
material = "steel"
service = "none"
size.gap = { kind = "length", equals = "boiler.barrel + '1 mm'" }
size.wall = { full = "40", kind = "length", rule = ["milled step 0.1 mm"] }
[condition.saddle_wall]
keep = "saddle.gap - saddle.wall >= '1 mm'"
basis = "both limits"
"""


def test_a_pressure_part_behind_a_definition_gets_no_figure(tmp_path: Path) -> None:
    """What is worked out from a refused part is refused too, named or asked for as an expression."""
    model = model_of(tmp_path, BOX + PRESSURE)
    assert chain(model, "saddle_wall").refused
    assert chain(model, "saddle.gap / 2").refused
    (found,) = [one for one in chains(model, draws=0) if one.id == "saddle_wall"]
    assert found.refused and found.basic is None
    assert found.wanted == (None, None)


BENT = """
[part.link]
material = "steel"
service = "none"
size.x = { full = "240", kind = "length", rule = ["milled step 0.1 mm"] }
size.y = { full = "320", kind = "length", rule = ["milled step 0.1 mm"] }
size.length = { full = "400", kind = "length", rule = ["milled step 0.1 mm"] }
[condition.link_fits]
keep = "-'0.1 mm' <= sqrt(link.x^2 + link.y^2) - link.length <= '0.1 mm'"
basis = "last cut link.length"
[condition.link_to_block]
keep = "link.length - link.y >= '9 mm'"
basis = "both limits"
[condition.y_to_x]
keep = "-'0.1 mm' <= link.y - link.x - '10 mm' <= '0.1 mm'"
basis = "last cut link.y"
[condition.on_y]
keep = "link.y - '20 mm' >= '9 mm'"
basis = "both limits"
"""


def test_a_last_cut_in_a_chain_that_is_not_linear(tmp_path: Path) -> None:
    """The cut and the readings alone, and never wider than what the check promises."""
    model = model_of(tmp_path, BOX + BENT)
    found = chain(model, "link_fits", draws=200)
    checker = Checker(model)
    (finding,) = [f for f in checker.findings if f.statement.id == "link_fits"]
    assert finding.found[0] <= found.worst_case[0]  # type: ignore[operator]
    assert finding.found[1] >= found.worst_case[1]  # type: ignore[operator]
    assert found.contributor("link.x").given.reading
    assert "last cut" in found.contributor("link.length").given.source


def test_a_size_cut_last_elsewhere_follows_what_it_suits(tmp_path: Path) -> None:
    """Its range is that of the sizes it is cut to, and its source says so."""
    model = model_of(tmp_path, BOX + BENT)
    found = chain(model, "on_y", draws=0)
    assert found.contributor("link.y").given.source == "cut last to suit y_to_x"
    (finding,) = [f for f in Checker(model).findings if f.statement.id == "on_y"]
    assert found.worst_case == finding.found
    block = chain(model, "link_to_block", draws=0)
    assert block.contributor("link.length").given.source == "cut last to suit link_fits"


def test_a_last_cut_is_as_fine_as_the_finest_that_is_asked_for(tmp_path: Path) -> None:
    """Milled 0.01, ground 0.004 and lapped 0.002 (methods table, common practice) on one size:
    there is one cut, and every chain reckons with half of 0.002 either way."""
    body = """
[part.link]
material = "steel"
service = "none"
size.x = { full = "240", kind = "length", rule = ["milled step 0.1 mm"] }
size.y = { full = "320", kind = "length", rule = ["milled step 0.1 mm"] }
"""
    for number, by in enumerate(("", " by ground", " by lapped")):
        body += f"""
[condition.c{number}]
keep = "-'0.1 mm' <= link.y - link.x - '10 mm' <= '0.1 mm'"
basis = "last cut link.y{by}"
"""
    model = model_of(tmp_path, BOX + body)
    for number in range(3):
        given = chain(model, f"c{number}", draws=0).contributor("link.y").given
        assert (given.lower, given.upper, given.process) == (F("-0.001"), F("0.001"), "lapped")


def test_draws_of_chains_that_are_not_linear_take_everything() -> None:
    """Readings, uncertain origins and sizes near nought, also through an expression."""
    sizes = {
        "a.x": Given(F(3), F("-0.3"), F("0.3"), origin=F("0.4")),
        "b.x": Given(F(4), F("-0.3"), F("0.3")),
        "c.x": Given(F("0.1"), F("-0.3"), F("0.3"), origin=F("0.1")),
    }
    both = {}
    for text in ("a.x + b.x + c.x", "sqrt((a.x + b.x + c.x)^2)"):
        found = chain_of(
            text,
            sizes,
            distribution="triangular",
            measured={"b.x": [3.9, 4.0, 4.2]},
            draws=150_000,
        )
        assert found.monte_carlo is not None
        both[text] = found.monte_carlo
    first, second = both.values()
    assert first.mean == pytest.approx(second.mean, abs=0.01)
    assert first.sd == pytest.approx(second.sd, rel=0.02)
    assert first.negative == pytest.approx(second.negative, rel=0.05)
    # variances of triangular (h²/6) and of the readings, by hand
    variance = (
        (0.3**2 + 0.4**2 + 0.3**2 + 0.1**2) / 6 + (0.1**2 + 0.0**2 + 0.2**2) / 3 - (0.1 / 3) ** 2
    )
    assert first.sd == pytest.approx(variance**0.5, rel=0.02)


def test_a_chain_with_no_draws_that_have_a_value() -> None:
    """Nothing but draws without a value: no figures of them, and null in JSON."""
    sizes = {"a.x": Given(F(3)), "b.x": Given(F(3))}
    found = chain_of(
        "sqrt(a.x - b.x)", sizes, wanted=(F(0), None), measured={"a.x": [2.0, 2.5]}, draws=100
    )
    assert found.monte_carlo is not None
    assert found.monte_carlo.without_value == 100
    assert found.monte_carlo.chance == 0.0
    json.dumps(found.as_dict(), allow_nan=False)


@pytest.mark.parametrize("shift", ["0.5", "1.5", "3", "4"])
def test_relaxing_with_a_mean_shift_does_what_it_says(shift: str) -> None:
    """Put back in: the root sum square with its shifts lies on the window, a little more outside."""
    sizes = {
        "a.x": Given(F(30), F("-0.05"), F("0.05")),
        "b.x": Given(F(20), F("-0.02"), F("0.04"), origin=F("0.01")),
    }
    window = (F("9.6"), F("10.4"))
    found = chain_of("a.x - b.x", sizes, wanted=window, mean_shift=shift, draws=0)
    assert {item.size for item in found.could_be_relaxed} == {"a.x", "b.x"}
    for item in found.could_be_relaxed:
        assert item.root_sum_square > 0
        for factor, inside in ((F(1), True), (F("1.001"), False)):
            half = item.root_sum_square * factor / 2
            given = sizes[item.size]
            wide = replace(given, lower=given.lower - half, upper=given.upper + half)
            again = chain_of(
                "a.x - b.x", {**sizes, item.size: wide}, mean_shift=shift, draws=0
            ).root_sum_square
            low, high = (float(middle(end)) for end in again)  # type: ignore[arg-type]
            assert (low >= 9.6 and high <= 10.4) is inside


def test_finer_work_does_not_mend_an_origin() -> None:
    """The size to tighten is the one whose making varies most, whatever the origins are."""
    sizes = {
        "a.x": Given(F(10), F("-0.01"), F("0.01"), origin=F("0.5")),
        "b.x": Given(F(9), F("-0.05"), F("0.05")),
        "c.x": Given(F(1), F("-0.2"), F("0.2"), reading=True),
    }
    found = chain_of("a.x - b.x - c.x", sizes, wanted=(F("-0.1"), F("0.1")), draws=0)
    assert found.contributors[0].name == "a.x"
    assert found.tighten_first is not None and found.tighten_first.size == "b.x"
    assert found.measure_again[0].size == "a.x"


def test_every_figure_is_in_the_units_asked_for(tmp_path: Path) -> None:
    """In inches the draws, and what a size or an angle does, are in inches as well (1 in is
    25.4 mm exactly: international yard and pound agreement, 1959)."""
    model = model_of(tmp_path, BOX)
    metric = chain(model, "block_in_box", draws=1000)
    assert metric.monte_carlo is not None and metric.basic is not None
    drawn = next(n for n in metric.text("in").splitlines() if "random draws" in n)
    assert f"mean {metric.monte_carlo.mean / 25.4:.4f} in" in drawn
    both = next(n for n in metric.text("both").splitlines() if "random draws" in n)
    mean = metric.monte_carlo.mean
    assert f"mean {mean:.4f} mm ({mean / 25.4:.4f} in)" in both
    slope = chain(model, "atan(box.wall / box.gap)", draws=0)
    per_mm = {item.name: float(effective(item.sensitivity)) for item in slope.contributors}  # type: ignore[arg-type]
    for line in filter(None, slope.text("in").splitlines()):
        name, *cells = line.split()
        if name in per_mm:  # degrees an inch
            assert float(cells[0]) == pytest.approx(per_mm[name] * 25.4, rel=1e-3)
