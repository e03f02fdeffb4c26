"""How sizes are settled: steps and rows, reach, order of a rule, choices, readings, standards."""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_UP, Decimal
from fractions import Fraction as F
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import scaler
from scaler.problems import InputError
from scaler.records import Kind, Model, Stage
from scaler.settling.rows import Candidate, pick
from scaler.settling.settle import Settlement, exact_size, reach_of, settle, to_step

HEAD = '[model]\ntitle = "test"\nscale = "1:1"\nshop = "shop.csv"\nshop_only = true\n'
SHOP = """family,size
ground bar,3 mm
ground bar,4 mm
ground bar,5 mm
ground bar,1/4 in
reamer,5 mm
reamer,6 mm
thread,M2
thread,M3
"""


def model_of(
    folder: Path, body: str, choices: str = "", readings: str = "", head: str = HEAD
) -> Model:
    """A model of one part (or more) with a small shop list, choices and readings."""
    (folder / "model.toml").write_text(head + body, encoding="utf-8")
    (folder / "shop.csv").write_text(SHOP, encoding="utf-8")
    if choices:
        text = "time,action,size,value,method,row,note\n" + choices
        (folder / "choices.csv").write_text(text, encoding="utf-8")
    if readings:
        text = "time,action,size,copy,value,instrument,note\n" + readings
        (folder / "readings.csv").write_text(text, encoding="utf-8")
    return scaler.load(folder)


def one(folder: Path, line: str, stage: Stage = Stage.CHOSEN) -> Settlement:
    """The settlement of one size ``p.x`` with this line."""
    return settle(model_of(folder, f"[part.p]\nsize.x = {{ {line} }}\n"), stage)


# --- steps and rows

WAYS = {"nearest": ROUND_HALF_UP, "up": ROUND_CEILING, "down": ROUND_FLOOR}


@given(
    st.decimals("0.001", "500", places=4),
    st.sampled_from(["0.5", "0.1", "0.05", "0.02", "0.005", "0.001"]),
    st.sampled_from(sorted(WAYS)),
)
def test_steps_are_those_of_decimal(value: Decimal, step: str, way: str) -> None:
    """Nearest (halves up), up and down, as Python's decimal quantizes the count of steps."""
    count = (value / Decimal(step)).quantize(Decimal(1), rounding=WAYS[way])
    assert to_step(F(value), F(step), way) == F(count * Decimal(step))


sizes = st.lists(st.integers(1, 60), min_size=1, max_size=8, unique=True)


@given(sizes, st.integers(0, 240), st.sampled_from(["nearest", "up", "down"]))
def test_rows_are_those_of_a_plain_search(rows: list[int], quarter: int, way: str) -> None:
    """The row that a search through all of them finds; of two equally near the smaller."""
    target = F(quarter, 4)
    listed = [Candidate(F(v), str(v), "t", "", "", False) for v in sorted(rows)]
    found = pick(listed, target, way)  # type: ignore[arg-type]
    allowed = [v for v in rows if way == "nearest" or (v >= target if way == "up" else v <= target)]
    wanted = min(allowed, key=lambda v: (abs(v - target), v), default=None)
    assert (None if found is None else found.value) == wanted


@given(sizes, st.lists(st.integers(0, 240), min_size=2, max_size=6))
def test_choosing_is_monotone(rows: list[int], targets: list[int]) -> None:
    """A larger exact size never gets a smaller row."""
    listed = [Candidate(F(v), str(v), "t", "", "", False) for v in sorted(rows)]
    chosen = [pick(listed, F(t, 4)) for t in sorted(targets)]
    values = [c.value for c in chosen if c is not None]
    assert values == sorted(values)


def test_of_equal_rows_the_first_is_taken() -> None:
    """The shop's own stands first in the list, so it is the one that is named."""
    listed = [
        Candidate(F(5), "mine", "shop", "", "", True),
        Candidate(F(5), "theirs", "stock", "", "", False),
    ]
    for target in (F(5), F(4), F(6)):
        found = pick(listed, target)
        assert found is not None and found.designation == "mine"


# --- reach and the order of a rule


def test_default_reach(tmp_path: Path) -> None:
    """10 % or 0.5 mm, whichever is more, at most 1 mm; 0.5 mm for positions (ours, from design)."""
    model = model_of(
        tmp_path,
        """
[part.p]
size.x = { full = "1 mm" }
size.centres = { full = "1 mm" }
size.own = { full = "1 mm", reach = "0.2 mm" }
size.method = { full = "1 mm", rule = "turned reach 0.3 mm" }
""",
    )
    size = model.sizes["p.x"]
    for exact, wanted in (("1", "0.5"), ("5", "0.5"), ("6", "0.6"), ("10", "1"), ("400", "1")):
        assert reach_of(size, None, F(exact)) == F(wanted)
    assert reach_of(model.sizes["p.centres"], None, F(400)) == F("0.5")
    assert reach_of(model.sizes["p.own"], None, F(400)) == F("0.2")
    rule = model.sizes["p.method"].rule[0]
    assert reach_of(model.sizes["p.method"], rule, F(400)) == F("0.3")


def test_a_later_method_serves_where_the_first_is_out_of_reach(tmp_path: Path) -> None:
    """5.6 is 0.6 from the 5 mm bar: within 10 % of 6.2, out of reach at 5.6 less 10 %."""
    near = one(tmp_path, 'full = "5.5 mm", kind = "external", rule = ["ground bar", "turned"]')
    assert near.results["p.x"].method == "ground bar" and near.values["p.x"] == F(5)
    far = one(tmp_path, 'full = "5.62 mm", kind = "external", rule = ["ground bar", "turned"]')
    # 6.35 is 0.73 off and 5 is 0.62 off; the reach is 0.562
    assert far.results["p.x"].method == "turned" and far.values["p.x"] == F("5.6")
    alone = one(
        tmp_path,
        'full = "5.62 mm", kind = "external", rule = ["ground bar", "turned"]',
        Stage.ROUNDED,
    )
    assert alone.values["p.x"] == F(5)  # alone: the first method, whatever it departs
    stuck = one(tmp_path, 'full = "5.62 mm", kind = "external", rule = "ground bar"')
    assert stuck.values["p.x"] == F(5)
    assert "beyond its reach" in stuck.results["p.x"].note


def test_up_and_down_in_a_rule(tmp_path: Path) -> None:
    """'reamed up' never takes the smaller reamer, 'turned down' never the larger step."""
    assert one(
        tmp_path, 'full = "5.2 mm", kind = "internal", rule = "reamed up reach 1 mm"'
    ).values["p.x"] == F(6)
    assert one(tmp_path, 'full = "5.19 mm", rule = "milled step 0.1 mm down"').values["p.x"] == F(
        "5.1"
    )
    with pytest.raises(InputError, match=r"nothing serves p\.x"):
        one(tmp_path, 'full = "6.2 mm", kind = "internal", rule = "reamed up"')


def test_a_tie_between_steps_and_between_rows(tmp_path: Path) -> None:
    """Half-way: the larger step, the smaller row."""
    assert one(tmp_path, 'full = "4.55 mm", rule = "milled step 0.1 mm"').values["p.x"] == F("4.6")
    assert one(tmp_path, 'full = "4.5 mm", kind = "external", rule = "ground bar"').values[
        "p.x"
    ] == F(4)


def test_a_size_is_never_cut_to_nothing(tmp_path: Path) -> None:
    """0.02 mm on a step of 0.1 mm is one step, not nought."""
    assert one(tmp_path, 'full = "0.02 mm", rule = "milled step 0.1 mm"').values["p.x"] == F("0.1")


def test_follows_given_and_equals(tmp_path: Path) -> None:
    """A size that follows another takes its value as it is; a given one is given; a defined one is
    worked out from the chosen ones and brought to its own step."""
    model = model_of(
        tmp_path,
        """
[part.p]
size.pin = { full = "6.2 mm", kind = "external", rule = "ground bar" }
size.seat = { kind = "external", rule = ["follows p.pin", "turned step 0.1 mm"] }
size.eye = { kind = "internal", rule = "follows p.pin + '0.05 mm'" }
size.gap = { kind = "length", rule = "given 0.4 mm" }
size.three = { equals = "3 * p.pin" }
size.cut = { equals = "3 * p.pin", rule = "milled step 0.1 mm" }
size.bar = { equals = "p.pin - '1.2 mm'", kind = "external", rule = "ground bar" }
""",
    )
    found = settle(model)
    assert found.values["p.pin"] == F("6.35")
    assert found.values["p.seat"] == F("6.35")  # not 6.4: the second method was not needed
    assert found.values["p.eye"] == F("6.4")
    assert found.values["p.gap"] == F("0.4")
    assert found.values["p.three"] == F("19.05")
    assert found.values["p.cut"] == F("19.1")
    assert found.values["p.bar"] == F(5)  # 5.15 to the nearest bar
    exact = settle(model, Stage.EXACT)
    assert exact.values["p.three"] == F("18.6") and exact.values["p.seat"] == F("6.2")


def test_a_rule_falls_back_on_what_it_follows(tmp_path: Path) -> None:
    """No reamer within reach: the hole follows the pin."""
    model = model_of(
        tmp_path,
        """
[part.p]
size.pin = { full = "8.2 mm", kind = "external", rule = "turned" }
size.eye = { full = "8.2 mm", kind = "internal", rule = ["reamed", "follows p.pin + '0.1 mm'"] }
""",
    )
    found = settle(model)
    assert found.values["p.eye"] == F("8.3") and found.results["p.eye"].method == "follows"


def test_counts_and_angles_do_not_reduce(tmp_path: Path) -> None:
    """24 teeth and 30° are that at any scale; lengths are full size × ratio, exactly."""
    head = HEAD.replace('"1:1"', '"1 1/16 in : 1 ft"')
    model = model_of(
        tmp_path,
        """
[part.p]
size.teeth = { full = "24" }
size.lead_angle = { full = "30 deg" }
size.length = { full = "4 ft 8 1/2 in", rule = [] }
""",
        head=head,
    )
    found = settle(model)
    assert found.values["p.teeth"] == 24 and found.values["p.lead_angle"] == 30
    # 56.5 in × 17/192
    assert found.values["p.length"] == F(113, 2) * F(17, 192) * F("25.4")
    assert exact_size(model.sizes["p.length"], model.ratio) == found.values["p.length"]
    assert found.results["p.length"].note == "no rule: not rounded"
    assert model.sizes["p.teeth"].kind is Kind.TEETH


# --- choices and readings

CHOOSE = "2026-01-01T00:00:00Z,choose,p.x,"


@pytest.mark.parametrize(
    ("rule", "value", "method", "row"),
    [
        ('["ground bar", "turned step 0.1 mm"]', "6.35 mm", "ground bar", "1/4 in"),
        ('["ground bar", "turned step 0.1 mm"]', "6.2 mm", "turned", None),
        # 6.205 is no tenth, but on the 0.005 mm step of a turned last cut
        ('["ground bar", "turned step 0.1 mm"]', "6.205 mm", "turned", None),
    ],
)
def test_choices_that_can_be_had(
    tmp_path: Path, rule: str, value: str, method: str, row: str | None
) -> None:
    """In a row, on the step, or on the finer step of its last cut."""
    body = f'[part.p]\nsize.x = {{ full = "6.2 mm", kind = "external", rule = {rule} }}\n'
    found = settle(model_of(tmp_path, body, CHOOSE + f"{value},,,"))
    assert found.values["p.x"] == F(value.split()[0])
    assert found.results["p.x"].method == method
    chosen = found.results["p.x"].row
    assert (chosen.designation if chosen else None) == row
    assert not found.notes
    assert found.results["p.x"].why == "choice, choices.csv, line 2"


def test_a_choice_that_cannot_be_had_is_noted(tmp_path: Path) -> None:
    """It still counts, with a warning at its line; so does a row that is not the one it says."""
    body = '[part.p]\nsize.x = { full = "6.2 mm", kind = "external", rule = "ground bar" }\n'
    found = settle(model_of(tmp_path, body, CHOOSE + "6.1 mm,,,"))
    assert found.values["p.x"] == F("6.1")
    (note,) = found.notes
    assert note.code == "choice-not-obtainable" and note.severity == "warning"
    assert str(note.place) == "choices.csv, line 2"
    named = settle(model_of(tmp_path, body, CHOOSE + "6.35 mm,,1/4 in,"))
    assert not named.notes and named.results["p.x"].row is not None
    wrong = settle(model_of(tmp_path, body, CHOOSE + "6.35 mm,,5/16 in,"))
    assert [n.code for n in wrong.notes] == ["choice-not-obtainable"]


def test_the_last_choice_counts_and_undo_takes_it_back(tmp_path: Path) -> None:
    """Choices are a log: the last one stands, an undo brings the one before it back."""
    body = '[part.p]\nsize.x = { full = "6.2 mm", rule = "milled step 0.1 mm" }\n'
    log = CHOOSE + "6.3 mm,,,\n" + CHOOSE + "6.4 mm,,,\n"
    assert settle(model_of(tmp_path, body, log)).values["p.x"] == F("6.4")
    log += CHOOSE.replace("choose", "undo") + ",,,\n"
    assert settle(model_of(tmp_path, body, log)).values["p.x"] == F("6.3")
    assert settle(scaler.load(tmp_path), Stage.ROUNDED).values["p.x"] == F("6.2")


BODY = """
[part.p]
copies = ["left", "right"]
size.x = { full = "6.2 mm", rule = "milled step 0.1 mm" }
size.twice = { equals = "2 * p.x" }
size.of_left = { equals = "2 * p.x@left" }
size.of_right = { equals = "2 * p.x@right" }
"""
READ = "2026-01-01T00:00:00Z,reading,p.x,"


def test_readings_replace_the_plan(tmp_path: Path) -> None:
    """Read: that value; read on one copy: that copy's, the other as planned; as drawn: neither."""
    whole = settle(model_of(tmp_path, BODY, readings=READ + ",6.23 mm,micrometer,\n"))
    assert whole.values["p.x"] == F("6.23") and whole.results["p.x"].made
    assert whole.values["p.of_left"] == F("12.46")
    left = settle(model_of(tmp_path, BODY, readings=READ + "left,6.17 mm,,\n"))
    assert left.values["p.x"] == F("6.2") and left.values["p.x@left"] == F("6.17")
    assert left.values["p.twice"] == F("12.4")
    assert left.values["p.of_left"] == F("12.34") and left.values["p.of_right"] == F("12.4")
    drawn = settle(scaler.load(tmp_path), as_drawn=True)
    assert "p.x@left" not in drawn.values and drawn.values["p.of_left"] == F("12.4")


def test_a_reading_beats_a_choice_and_a_scrapped_size_is_open_again(tmp_path: Path) -> None:
    """Made before chosen before rule; what is scrapped is made anew."""
    made = '[part.p]\nsize.x = { full = "6.2 mm", made = "6.26 mm", rule = "milled step 0.1 mm" }\n'
    choice = CHOOSE + "6.4 mm,,,\n"
    assert settle(model_of(tmp_path, made, choice)).values["p.x"] == F("6.26")
    reading = READ + ",6.27 mm,,\n"
    assert settle(model_of(tmp_path, made, choice, reading)).values["p.x"] == F("6.27")
    scrapped = made.replace('made = "6.26 mm"', 'made = "6.26 mm", state = "scrapped"')
    assert settle(model_of(tmp_path, scrapped, choice, reading)).values["p.x"] == F("6.4")


# --- standards

TRACK = HEAD + 'track = { standard = "IBLS", gauge = "5 in" }\n'
# IBLS wheel standard (copy), row of 1 in. scale (5 in. gauge), inches
BACK_TO_BACK = (F("4.687") * F("25.4"), F("4.707") * F("25.4"))
FLANGE_AT_MOST = F("0.125") * F("25.4")


def test_a_standard_bounds_a_drawn_size(tmp_path: Path) -> None:
    """Back to back of 5 in. gauge: 4.687 to 4.707 in., whatever the drawing says; alone: not."""
    body = """
[part.p]
size.back_to_back = { full = "117.3 mm", kind = "length", standard = "back to back", rule = "turned step 0.1 mm" }
size.flange = { full = "3.97 mm", kind = "length", standard = "flange thickness", rule = "turned step 0.1 mm" }
size.inside = { full = "119.3 mm", kind = "length", standard = "back to back", rule = "turned step 0.1 mm" }
size.as_it_says = { kind = "length", standard = "back to back", rule = "standard" }
"""
    found = settle(model_of(tmp_path, body, head=TRACK))
    low, high = BACK_TO_BACK
    assert found.values["p.back_to_back"] == F("119.1")  # the first tenth from 119.0498 up
    assert low <= found.values["p.back_to_back"] <= high  # type: ignore[operator]
    assert found.values["p.flange"] == F("3.1") == F(math.floor(FLANGE_AT_MOST * 10), 10)
    assert found.values["p.inside"] == F("119.3")  # nearest, as it lies inside
    assert found.values["p.as_it_says"] == (low + high) / 2
    alone = settle(scaler.load(tmp_path), Stage.ROUNDED)
    assert alone.values["p.back_to_back"] == F("117.3")


def test_a_step_too_coarse_for_a_standard_is_noted(tmp_path: Path) -> None:
    """No multiple of 2 mm lies between 119.05 and 119.56."""
    body = (
        "[part.p]\n"
        'size.back_to_back = { full = "117.3 mm", kind = "length", standard = "back to back",'
        ' rule = "turned step 2 mm" }\n'
    )
    found = settle(model_of(tmp_path, body, head=TRACK))
    assert "outside the standard's bounds" in found.results["p.back_to_back"].note
