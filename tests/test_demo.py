"""The shipped example, an invented engine, against figures that were worked out beforehand.

tests/cases/pattern_d_expected.csv holds them: every size exact, rounded by itself and in one set
that fits, and the forty conditions with their bands. All of it is invented for the example.
"""

from __future__ import annotations

import csv
import json
import re
import shutil
from decimal import ROUND_HALF_EVEN, Decimal
from fractions import Fraction as F
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, NamedTuple

import pytest

import scaler
from scaler.checking.check import Finding
from scaler.checking.conflicts import CheckResult, check
from scaler.checking.explaining import explain
from scaler.records import Model, Stage, Verdict
from scaler.settling.reduce import Reduction, reduce
from scaler.settling.rows import Rows, pick
from scaler.settling.solve import Value, middle

CASES = Path(__file__).parent / "cases" / "pattern_d_expected.csv"
FOLDER = Path(str(files("scaler"))) / "examples" / "pattern_d"
REFUSED = {"H1", "H2", "H3", "H4", "H5"}


def expected(what: str) -> list[dict[str, str]]:
    """The rows of sizes, or of conditions."""
    with CASES.open(newline="", encoding="utf-8") as lines:
        plain = (line for line in lines if not line.startswith("#"))
        return [row for row in csv.DictReader(plain) if row["what"] == what]


SIZES, CONDITIONS = expected("size"), expected("condition")


@cache
def demo() -> Model:
    """The example as shipped."""
    return scaler.load(FOLDER)


@cache
def checked(stage: str) -> CheckResult:
    """Its check at a stage."""
    return check(demo(), stage)


def as_printed(value: Value | None, figure: str) -> str:
    """A value to as many places as a figure is printed with, halves to the even digit."""
    assert value is not None
    exact = middle(value)
    number = Decimal(exact.numerator) / Decimal(exact.denominator)
    return str(number.quantize(Decimal(figure), rounding=ROUND_HALF_EVEN) + 0)


def sizes_by_title(model: Model) -> dict[str, str]:
    """Names of the sizes by the number they have on the drawing."""
    return {size.title: size.id for size in model.sizes.values() if size.title}


def of_condition(number: str, result: CheckResult) -> list[Finding]:
    """The findings of a numbered condition: two for number 17, front and rear."""
    if re.fullmatch(r"S[1-5]", number):
        size = sizes_by_title(result.model)[f"B{int(number[1]) + 4}"]
        return [f for f in result.findings if f.statement.id == f"{size}:standard"]
    title = re.compile(rf"{number}\b[ .]")
    if number == "S6":
        return [f for f in result.findings if f.statement.id == "wheel_gauge"]
    return [f for f in result.findings if title.match(f.statement.title)]


def shown(findings: list[Finding]) -> Value:
    """The figure of a condition; of two the smaller. Interference is given as such in the table."""
    values = [f.basic for f in findings if f.basic is not None]
    return min(values, key=middle)


INTERFERENCE = {"5", "9", "13"}


def test_ninety_nine_sizes_and_forty_conditions() -> None:
    """As many as the scenario has; sheet numbers are all there, and one size more, not drawn."""
    model = demo()
    drawn = {title for title, name in sizes_by_title(model).items() if model.sizes[name].full}
    assert drawn == {row["id"] for row in SIZES} and len(drawn) == 99
    assert len(CONDITIONS) == 40 and len(checked("exact").findings) == 41
    assert model.ratio == F(5, 36)
    assert model.ratio * F("25.4") == F(127, 36)  # one inch full size


@pytest.mark.parametrize("row", SIZES, ids=lambda row: row["id"])
def test_every_size_three_ways(row: dict[str, str]) -> None:
    """Exact, to the nearest alone, and as chosen, to the last digit printed; pressure parts none."""
    name = sizes_by_title(demo())[row["id"]]
    for stage, column in (("exact", "exact"), ("rounded", "naive"), ("chosen", "better")):
        line = checked(stage).reduction.line(name)
        if row["id"] in REFUSED:
            assert row["naive"] == "REFER" and line.refused
            assert line.exact is line.chosen is line.full is None
            continue
        thread = re.fullmatch(r"M([0-9.]+)", row[column])
        figure = thread.group(1) if thread else row[column]
        if column == "exact":
            assert as_printed(line.exact, figure) == figure
        else:
            assert line.chosen == F(figure)
        if thread:
            assert line.settled is not None and line.settled.row is not None
            assert line.settled.row.designation == row[column]


@pytest.mark.parametrize("row", CONDITIONS, ids=lambda row: row["id"])
def test_every_condition_three_ways(row: dict[str, str]) -> None:
    """Its band, what it comes to, and whether that is outside, at exact size, rounded and chosen."""
    for stage, column in (("exact", "exact"), ("rounded", "naive"), ("chosen", "better")):
        findings = of_condition(row["id"], checked(stage))
        assert len(findings) == (2 if row["id"] == "17" else 1)
        sign = -1 if row["id"] in INTERFERENCE else 1
        value = shown(findings)
        assert as_printed(sign * middle(value), row[column]) == row[column]
        for finding in findings:
            item = finding.statement
            band = (item.lower, item.upper) if sign > 0 else (item.upper, item.lower)
            for bound, text in zip(band, (row["lower"], row["upper"]), strict=True):
                assert (bound is None) == (text == "")
                if bound is not None:
                    assert as_printed(sign * bound, text) == text
        outside = {"exact": row["exact_outside"], "naive": row["naive_outside"], "better": "no"}
        assert any(f.fails for f in findings) == (outside[column] == "yes")


def failing_in(result: CheckResult) -> dict[str, Finding]:
    """The conditions that fail in a check, by number."""
    found = {row["id"]: of_condition(row["id"], result) for row in CONDITIONS}
    return {
        n: next(f for f in fs if f.fails) for n, fs in found.items() if any(f.fails for f in fs)
    }


def failing(stage: str) -> dict[str, Finding]:
    """The conditions that fail at a stage, by number."""
    return failing_in(checked(stage))


def test_the_score() -> None:
    """Exact scaling fails 16 of the 40, rounding each alone 29, the chosen set none."""
    assert len(failing("exact")) == 16 and len(failing("rounded")) == 29
    assert not failing("chosen")
    chosen = checked("chosen")
    assert chosen.status() == 0 and not chosen.conflicts
    assert {str(f.verdict) for f in chosen.findings} <= {"holds", "doubtful"}
    assert checked("rounded").status() == checked("exact").status() == 1


def test_the_two_causes_are_kept_apart() -> None:
    """Fifteen of the 29 do not scale; the other fourteen come from rounding alone."""
    causes = {number: str(finding.cause) for number, finding in failing("rounded").items()}
    rounding = {"1", "2", "6", "7", "8", "14", "17", "19", "25", "27", "28", "32", "33", "S6"}
    assert {n for n, cause in causes.items() if cause == "rounding"} == rounding
    assert {cause for n, cause in causes.items() if n not in rounding} == {"does not scale"}
    assert len(causes) - len(rounding) == 15
    assert {str(f.cause) for f in failing("exact").values()} == {"does not scale"}


def rounded(number: str) -> Finding:
    """What a numbered condition is when each size is rounded by itself."""
    return of_condition(number, checked("rounded"))[0]


def test_bar_thickness_eats_the_gap_twice() -> None:
    """4.851 goes to 5 mm flat: two bars take 0.298 mm, and the rod axis 0.149 mm."""
    between, axis = dict(rounded("27").shares), dict(rounded("28").shares)
    exact = F(11, 8) * F(127, 36)
    assert between["slide_bar.thickness"] == 2 * axis["slide_bar.thickness"] == -2 * (5 - exact)
    assert as_printed(-between["slide_bar.thickness"], "0.001") == "0.299"
    assert rounded("27").shares[0][0] == rounded("28").shares[0][0] == "slide_bar.thickness"


def test_a_pair_split_between_two_families() -> None:
    """The axle goes to 15 mm bar, its bush to a 5/8 in. reamer: 0.875 slack; the crank pin to 12 mm
    and 1/2 in.: 0.7."""
    line = checked("rounded").reduction.line
    for number, male, female, slack in (
        ("4", ("axle.journal", "15 mm"), ("axlebox_bush.bore", "5/8 in"), "0.875"),
        (
            "10",
            ("driving_crank_pin.big_end_journal", "12 mm"),
            ("big_end_bush.bore", "1/2 in"),
            "0.7",
        ),
    ):
        for name, designation in (male, female):
            settled = line(name).settled
            assert settled is not None and settled.row is not None
            assert settled.row.designation == designation
        assert rounded(number).basic == F(slack) and rounded(number).verdict == "loose"


def test_same_size_is_no_fit() -> None:
    """Both land on one round number and nothing is left between them."""
    assert [middle(shown([rounded(n)])) for n in ("1", "12", "15", "26")] == [0, 0, 0, 0]


def test_a_loop_without_a_single_bad_member() -> None:
    """No size is rounded by more than a quarter millimetre, and the piston still stands half a
    millimetre nearer to one cover."""
    finding = of_condition("17", checked("rounded"))[1]
    line = checked("rounded").reduction.line
    for name, _ in finding.shares:
        departure = line(name).departure
        assert departure is not None and abs(departure) <= F(1, 4)
    values = checked("rounded").reduction.settlement.values
    offset = (
        middle(values["connecting_rod.centres"])
        + middle(values["piston_rod.pin_to_piston"])
        - middle(values["frame.driving_axle_to_cylinder"])
    )
    assert offset == F(1, 2) and finding.verdict == Verdict.FAILS


@cache
def edited(*choices: tuple[str, str]) -> CheckResult:
    """The example with every size chosen as it is rounded alone, but for these."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "model"
        shutil.copytree(FOLDER, target)
        names = sizes_by_title(demo())
        values = {names[row["id"]]: row["naive"] for row in SIZES if row["id"] not in REFUSED}
        lines = ["time,action,size,value,method,row,note"]
        for name, text in {**values, **dict(choices)}.items():
            lines.append(f"2026-01-01T00:00:00Z,choose,{name},{text.removeprefix('M')} mm,,,")
        (target / "choices.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
        return check(scaler.load(target))


def basic(number: str, result: CheckResult) -> F:
    """What a numbered condition comes to at basic sizes."""
    return middle(shown(of_condition(number, result)))


B5, TYRE, OFFSET = "wheelset.back_to_back", "wheel.tyre_width", "engine.cylinder_offset"


def test_mending_one_thing_breaks_another() -> None:
    """Back to back alone set to the standard: the lateral chain is 1.05 out, side play 1.45, wheel
    gauge 127.1, and the crosshead stands a quarter millimetre inside the coupling rod."""
    assert basic("24", checked("rounded")) == F("0.55")
    after = edited((B5, "119.1"))
    assert basic("7", after) == F("1.05") and basic("6", after) == F("1.45")
    assert basic("S6", after) == F("127.1") and basic("24", after) == F("-0.25")
    assert not of_condition("S1", after)[0].fails
    for number in ("6", "7", "S6", "24"):
        assert of_condition(number, after)[0].fails
    assert str(of_condition("24", after)[0].cause) == "rounding"


def test_two_remedies_for_the_lateral_chain() -> None:
    """Cylinders moved out 1 mm, or the tyre thinned to 16.5 mm: either brings the chain back."""
    for choice in ((OFFSET, "94"), (TYRE, "16.5")):
        after = edited((B5, "119.1"), choice)
        assert abs(basic("7", after)) == F("0.05")
        assert not of_condition("24", after)[0].fails
    assert not of_condition("S2", edited((B5, "119.1"), (TYRE, "16.5")))[0].fails


def test_two_wrongs_that_agree() -> None:
    """At exact size back to back is too small and the flange too thick; their sum is in its band."""
    exact = checked("exact")
    assert of_condition("S1", exact)[0].fails and of_condition("S3", exact)[0].fails
    assert of_condition("S6", exact)[0].verdict == "holds"


def test_the_cutter_makes_the_lap() -> None:
    """Ports with the nearest cutters: lap 2.20 becomes 1.80; 3.5 and 6.2 in two passes keep it."""
    assert as_printed(basic("33", checked("exact")), "0.01") == "2.20"
    assert basic("33", checked("rounded")) == F("1.8")
    assert basic("33", checked("chosen")) == F("2.2")


def test_near_ties() -> None:
    """6.0 is nearer to 6.174 than 1/4 in. by three micrometres, 12.0 to 12.347 than 1/2 in. by six."""
    model = demo()
    for name, nearer, other in (
        ("piston_rod.diameter", F(6), F("6.35")),
        ("driving_crank_pin.big_end_journal", F(12), F("12.7")),
    ):
        size = model.sizes[name]
        assert size.full is not None
        exact = size.full * model.ratio
        row = pick(Rows(model).of(size.rule[0]), exact)
        assert row is not None and row.value == nearer
        assert 0 < abs(other - exact) - abs(nearer - exact) < F("0.007")


# --- refusals and cautions


class Entry(NamedTuple):
    """One size in the output for scripts, whole and as text."""

    fields: dict[str, Any]
    text: str


def entries(result: CheckResult | Reduction) -> dict[str, Entry]:
    """The sizes of an output by their number on the drawing."""
    sizes = result.as_dict()["sizes"]
    return {row["title"]: Entry(row, json.dumps(row)) for row in sizes}


@pytest.mark.parametrize("stage", [str(stage) for stage in Stage])
def test_pressure_parts_get_no_figure(stage: str) -> None:
    """Nothing drawn, exact, chosen or carried back to full size, in no field and in no text."""
    for result in (checked(stage), reduce(demo(), stage)):
        found = entries(result)
        for number in REFUSED:
            fields, text = found[number]
            assert fields["refused"] is True
            for key, value in fields.items():
                if "_mm" in key or key in ("drawn", "departure_percent", "method", "row", "why"):
                    assert value in (None, [None, None]), key
            kept = re.sub(r'"(line|title|file|id)": ("[^"]*"|\d+)', "", text)
            assert not re.search(r"\d", kept), kept
        whole = json.dumps(result.as_dict())
        # the barrel's 105.833 mm or 2 ft 6 in, the plate's 1.543 mm
        assert not re.search(r"105\.8|\b1\.543|2 ft 6", whole)


def test_pressure_parts_are_referred() -> None:
    """A caution that refuses, and an explanation without a figure."""
    refused = {c.about: c for c in checked("chosen").reduction.cautions if c.refused}
    assert set(refused) == {"boiler", "dome_cover"}
    for caution in refused.values():
        assert "inspect" in caution.text and "code" in caution.text
    told = explain(demo(), "boiler.barrel_outside")
    assert [step.what for step in told.steps] == ["refused"]
    assert told.line.exact is None


def test_cautions_that_the_example_must_raise() -> None:
    """Studs and covers hold pressure; wheels, axles, keys and pins hold the engine on its track."""
    cautions = checked("chosen").reduction.cautions
    kinds: dict[str, set[str]] = {}
    for caution in cautions:
        kinds.setdefault(caution.about, set()).add(caution.kind)
    for part in ("cover_stud", "gland_stud", "cylinder_cover"):
        assert "pressure joint" in kinds[part]
    for part in ("axle", "wheel", "axle_key", "driving_crank_pin", "crank_pin"):
        assert "safety part" in kinds[part]


def test_a_thinner_gudgeon_pin_says_what_it_loses() -> None:
    """6.35 for 7.056 mm: 10 % smaller, 19 % less shear area, 27 % less bending modulus (area as d²,
    section modulus as d³: any text on strength of materials)."""
    (caution,) = [
        c
        for c in checked("chosen").reduction.cautions
        if c.about == "gudgeon_pin.diameter" and c.kind == "weaker"
    ]
    part = F("6.35") / (2 * F(127, 36))
    figures = [f"{float(1 - part**power):.0%}" for power in (1, 2, 3)]
    assert figures == ["10%", "19%", "27%"]
    assert caution.text.startswith("10% smaller, 19% less shear area, 27% less bending modulus")


def test_edge_distance_as_drawn() -> None:
    """5.3 mm to the edge is 1.33 diameters of M4; 6.0 restores one and a half."""
    finding = rounded("25")
    assert finding.basic == F("1.325") and finding.verdict == "fails"
    assert basic("25", checked("chosen")) == F("1.5")


# --- a part as made


def test_as_made_events_break_what_they_should(tmp_path: Path) -> None:
    """Bore cleaned up late, flat as delivered, wheel pressed narrow: exactly the conditions told."""
    events = {
        "cylinder.bore,,35.42": {"18": "0.22", "19": "0.17"},
        "wheelset.back_to_back,,118.9": {"S1": "118.9"},
        "rod_bush.bore,,10.16": {"12": "0.16"},
        "wheel.bore,,15.03": {"5": "0.02"},
        "gland_bush.bore,,6.43": {"21": "0.08"},
        "small_end_bush.bore,,6.42": {"15": "0.07"},
    }
    for number, (event, broken) in enumerate(events.items()):
        target = tmp_path / str(number)
        shutil.copytree(FOLDER, target)
        (target / "readings.csv").write_text(
            "time,action,size,copy,value,instrument,note\n"
            f"2026-01-01T00:00:00Z,reading,{event} mm,,\n",
            encoding="utf-8",
        )
        found = failing_in(check(scaler.load(target)))
        assert set(found) == set(broken), event
        for name, figure in broken.items():
            assert middle(shown([found[name]])) == F(figure)
            assert str(found[name].cause) == "as made"
