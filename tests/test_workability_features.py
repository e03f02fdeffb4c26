"""Holes, walls, threads, bars and registers before they are cut: each check where it should be."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction as F
from pathlib import Path

import pytest

import scaler
from scaler.checking.workability import Workability, WorkFinding, workability
from scaler.checking.workability_rules import figure
from scaler.records import Verdict
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


@pytest.fixture
def look(tmp_path: Path) -> Look:
    """Findings by name."""

    def found(parts: str, shop: str = "") -> dict[str, WorkFinding]:
        return {finding.id: finding for finding in made(tmp_path, parts, shop)}

    return found


def part(sizes: str, material: str = "mild steel", name: str = "plate") -> str:
    """A part of that material with its sizes."""
    return f'[part.{name}]\nmaterial = "{material}"\n{sizes}\n'


MILL = '"milled step 0.05 mm"'


# ------------------------------------------------------------------------------------------ holes


@pytest.mark.parametrize(
    ("edge", "verdict"),
    [("8 mm", Verdict.HOLDS), ("7.6 mm", Verdict.DOUBTFUL), ("7.4 mm", Verdict.FAILS)],
)
def test_a_hole_keeps_one_and_a_half_diameters_from_the_edge(
    look: Look, edge: str, verdict: Verdict
) -> None:
    """Modern Machine-Shop Practice: 3 d / 2 from the edge to the centre. 5 mm: 7.5; with ±0.2 mm
    of marking out 7.6 is doubtful."""
    found = look(
        part(
            'size.bolt_hole = { full = "5 mm", rule = "drilled" }\n'
            f'size.bolt_hole_to_edge = {{ full = "{edge}", kind = "position", '
            'rule = "coordinate drilled step 0.1 mm", limits = "±0.2 mm" }'
        )
    )["edge_distance.plate.bolt_hole_to_edge"]
    assert found.verdict is verdict
    assert found.wanted == F("7.5")
    assert found.source == "Modern Machine-Shop Practice p. 1610 (copy)"


def test_a_hole_that_breaks_out_at_the_edge(look: Look) -> None:
    """Centre 2.8 mm from the edge, hole of 5: 0.3 mm of metal is left, less than 0.5."""
    found = look(
        part(
            'size.bolt_hole = { full = "5 mm", rule = "drilled" }\n'
            'size.bolt_hole_to_edge = { full = "2.8 mm", kind = "position", '
            'rule = "coordinate drilled step 0.1 mm" }'
        )
    )["edge_breakout.plate.bolt_hole_to_edge"]
    assert found.fails
    assert (found.found, found.wanted) == (F("0.3"), F("0.5"))


COVER = """
size.outside = {{ full = "60 mm", rule = "turned step 0.1 mm" }}
size.spigot = {{ full = "40 mm", rule = "turned step 0.1 mm" }}
size.stud_hole = {{ full = "4 mm", rule = "drilled" }}
size.stud_circle = {{ full = "{circle} mm", kind = "position", rule = "coordinate drilled step 0.1 mm" }}
size.stud_count = {{ full = "{count}", kind = "count" }}
"""


@pytest.mark.parametrize(
    ("circle", "count", "bad"),
    [
        (50, 8, set()),
        (55.5, 8, {"circle_edge"}),
        (44.5, 8, {"circle_inside"}),
        (50, 40, {"circle_neighbours"}),
    ],
)
def test_holes_on_a_circle(look: Look, circle: float, count: int, bad: set[str]) -> None:
    """They break out at the outside, into the spigot, or into one another (chord D sin 180°/n)."""
    found = look(part(COVER.format(circle=circle, count=count), "cast iron", "cover"))
    names = {"circle_edge", "circle_inside", "circle_neighbours"}
    assert {f.rule for f in found.values() if f.rule in names} == names
    assert {f.rule for f in found.values() if f.fails} == bad


def test_the_chord_between_two_of_six_holes(look: Look) -> None:
    """Six on a circle of 50: neighbours are half a circle's diameter apart, 25 - 4 = 21 mm."""
    found = look(part(COVER.format(circle=50, count=6), "cast iron", "cover"))
    chord = found["circle_neighbours.cover.stud_circle"].found
    assert chord is not None and abs(middle(chord) - 21) < F(1, 10**30)


def test_holes_in_a_row_and_two_bores(look: Look) -> None:
    """A pitch of 5.3 for holes of 5 leaves 0.3; two bores 20 apart leave 20 - (18 + 12)/2 = 5."""
    found = look(
        part(
            'size.rivet_hole = { full = "5 mm", rule = "drilled" }\n'
            'size.rivet_hole_pitch = { full = "5.3 mm", kind = "position", rule = "marked out" }\n'
            'size.crank_bore = { full = "18 mm", rule = "reamed" }\n'
            'size.pump_bore = { full = "12 mm", rule = "reamed" }\n'
            'size.crank_bore_to_pump_bore = { full = "20 mm", kind = "position", '
            'rule = "coordinate drilled step 0.1 mm" }'
        )
    )
    two = found["hole_to_hole.plate.crank_bore_to_pump_bore"]
    assert (two.found, two.verdict) == (F(5), Verdict.HOLDS)
    assert found["hole_spacing.plate.rivet_hole_pitch"].verdict is not Verdict.HOLDS


@pytest.mark.parametrize(
    ("material", "outside", "wanted", "verdict"),
    [
        ("bronze", "11.2 mm", F(1, 2), Verdict.HOLDS),
        ("bronze", "10.8 mm", F(1, 2), Verdict.FAILS),
        ("acetal", "11.2 mm", F(1), Verdict.FAILS),
        ("something else", "11.2 mm", F(1, 2), Verdict.HOLDS),
    ],
)
def test_the_wall_round_a_bore_by_material(
    look: Look, material: str, outside: str, wanted: F, verdict: Verdict
) -> None:
    """Machining guides (copies): 0.5 mm in metal, 1 mm in plastic, as the least that can be done."""
    found = look(
        part(
            f'size.outside = {{ full = "{outside}", rule = "turned step 0.1 mm" }}\n'
            'size.bore = { full = "10 mm", rule = "reamed" }',
            material,
            "bush",
        )
    )["wall.bush.outside"]
    assert (found.wanted, found.verdict) == (wanted, verdict)


def test_a_wall_as_cast_is_thicker(look: Look) -> None:
    """Both sizes left as cast: 3 mm (common practice)."""
    found = look(
        part(
            'size.outside = { full = "30 mm", rule = "cast step 0.5 mm" }\n'
            'size.bore = { full = "25 mm", rule = "cast step 0.5 mm" }',
            "cast iron",
            "drum",
        )
    )["wall.drum.outside"]
    assert (found.found, found.wanted) == (F("2.5"), F(3)) and found.fails


def test_walls_are_told_by_their_first_words(look: Look) -> None:
    """eye_outside goes with eye_bore, a boss with bore; a tread's wall is not an eye's."""
    found = look(
        part(
            'size.eye_outside = { full = "20 mm", kind = "external", rule = "turned step 0.1 mm" }\n'
            'size.eye_bore = { full = "19.6 mm", rule = "bored step 0.1 mm" }\n'
            'size.boss_diameter = { full = "16 mm", kind = "external", rule = "turned step 0.1 mm" }\n'
            'size.bore = { full = "8 mm", rule = "bored step 0.1 mm" }\n'
            'size.keyway_depth = { full = "3.8 mm", kind = "depth", rule = "milled step 0.1 mm" }',
            "cast iron",
            "lever",
        )
    )
    assert found["wall.lever.eye_outside"].found == F("0.2")
    assert found["wall.lever.boss_diameter"].found == 4
    assert found["keyway_wall.lever.keyway_depth"].found == F("0.2")


def test_a_tube_as_supplied_has_the_wall_it_has(look: Look) -> None:
    """Nothing is cut, so nothing is asked."""
    found = look(
        part(
            'size.outside = { full = "5 mm", rule = "tube outside" }\n'
            'size.bore = { full = "4.1 mm", rule = "tube bore" }',
            "brass",
            "pipe",
        )
    )
    assert not [name for name in found if name.startswith("wall")]


# ------------------------------------------------------------------------------------ blind holes


@pytest.mark.parametrize(
    ("depth", "verdict"), [("7 mm", Verdict.HOLDS), ("9 mm", Verdict.FAILS), ("12 mm", None)]
)
def test_a_drills_point_comes_through_the_back(
    look: Look, depth: str, verdict: Verdict | None
) -> None:
    """Plate of 10, hole of 4: its point is 4/(2 tan 59°) = 1.2 deep. 7 leaves 1.8; 9 comes through;
    a depth past the plate is a hole right through."""
    found = look(
        part(
            'size.thickness = { full = "10 mm", kind = "external", rule = "plate" }\n'
            'size.hole = { full = "4 mm", rule = "drilled" }\n'
            f'size.hole_depth = {{ full = "{depth}", rule = "milled step 0.1 mm" }}'
        )
    )
    item = found.get("blind_floor.plate.hole_depth")
    assert (item.verdict if item else None) is verdict
    if verdict is Verdict.HOLDS:
        assert item is not None and item.found == F(10) - 7 - F("0.301") * 4


TAPPED = """
size.stud = {{ full = "6 mm", kind = "thread", rule = "metric thread" }}
size.stud_depth = {{ full = "{depth} mm", rule = "milled step 0.1 mm" }}
size.stud_thread_length = {{ full = "{length} mm", kind = "length", rule = "milled step 0.1 mm" }}
"""


@pytest.mark.parametrize(("depth", "verdict"), [(12, Verdict.HOLDS), (10.5, Verdict.FAILS)])
def test_the_taps_lead_wants_two_pitches_more(look: Look, depth: float, verdict: Verdict) -> None:
    """M6 has a pitch of 1 mm (ISO 261); a bottoming tap's lead is 1 to 2 threads (TM 9-254): 9 mm
    of thread wants 11 mm of hole."""
    found = look(part(TAPPED.format(depth=depth, length=9), "cast iron"))
    item = found["tap_lead.plate.stud_depth"]
    assert (item.verdict, item.wanted) == (verdict, F(11))
    assert item.source == "TM 9-254 (copy)"


@pytest.mark.parametrize(
    ("material", "least"),
    [("mild steel", F(1)), ("brass", F(1)), ("cast iron", F("1.5")), ("aluminium", F("1.5")),
     ("acetal", F(2))],
)  # fmt: skip
def test_length_of_engagement_by_material(look: Look, material: str, least: F) -> None:
    """Least diameters engaged: steel and brass 1, iron and aluminium 1.5, plastic 2 (materials_
    engagement, common practice)."""
    found = look(part(TAPPED.format(depth=30, length=9), material))
    item = found["engagement.plate.stud_thread_length"]
    assert item.wanted == 6 * least
    assert item.verdict is (Verdict.FAILS if 6 * least > 9 else item.verdict)
    assert (item.verdict is Verdict.HOLDS) is (6 * least < 9)


def test_a_thread_in_an_unknown_material_is_doubtful(look: Look) -> None:
    """No factor, no verdict."""
    found = look(part(TAPPED.format(depth=30, length=9), "kryptonite"))
    assert found["engagement.plate.stud_thread_length"].verdict is Verdict.DOUBTFUL


# ------------------------------------------------------------------------------ stock, registers


@pytest.mark.parametrize("size", ["12.1", "11.8"])
def test_the_next_bar_up_cleans_up(look: Look, size: str) -> None:
    """12.1 or 11.8 mm turned: a 12 mm bar does not clean up to it, the next one does."""
    found = look(
        part(f'size.diameter = {{ full = "{size} mm", rule = "turned step 0.1 mm" }}'),
        "round bar,12 mm\nround bar,14 mm\n",
    )["clean_up.plate.diameter"]
    assert found.verdict is Verdict.HOLDS
    assert found.text.startswith("14 mm cleans up") and found.wanted == F(size) + F(1, 2)


def test_stock_that_will_not_clean_up(look: Look) -> None:
    """Only 12 mm on the shelf for 12.1: it fails where only the shelf counts."""
    found = look(
        part('size.diameter = { full = "12.1 mm", rule = "turned step 0.1 mm" }'),
        "round bar,12 mm\n",
    )["clean_up.plate.diameter"]
    assert found.fails


def test_beyond_the_largest_bar_is_doubtful_and_names_the_end(look: Look) -> None:
    """The tables end; a larger bar may be had. The end is named, nothing is made up."""
    found = look(part('size.diameter = { full = "900 mm", rule = "turned step 0.1 mm" }'))
    item = found["clean_up.plate.diameter"]
    assert item.verdict is Verdict.DOUBTFUL and "end at" in item.note


@pytest.mark.parametrize("material", ["cast iron", "gunmetal", "bronze casting", "kryptonite"])
def test_castings_bring_their_own_metal(look: Look, material: str) -> None:
    """No bar is asked for a casting, nor for a material of which no bar is known."""
    found = look(part('size.diameter = { full = "12 mm", rule = "turned step 0.1 mm" }', material))
    assert not [name for name in found if name.startswith("clean_up")]


def test_metal_only_comes_off_the_bar(look: Look) -> None:
    """A seat larger than the bar its shaft is made of cannot be turned from it."""
    text = (
        'size.journal = { full = "10 mm", rule = "ground bar" }\n'
        'size.wheel_seat = { full = "%s mm", rule = "turned step 0.1 mm" }'
    )
    fails = look(part(text % "10.5", "silver steel", "axle"), "ground bar,10 mm\n")
    assert fails["bar_covers.axle.wheel_seat"].fails
    holds = look(part(text % "9.5", "silver steel", "axle"), "ground bar,10 mm\n")
    assert holds["bar_covers.axle.wheel_seat"].verdict is Verdict.HOLDS


@pytest.mark.parametrize(
    ("register", "web", "verdict"),
    [("8 mm", "10 mm", Verdict.HOLDS), ("9.8 mm", "10 mm", Verdict.FAILS),
     ("12 mm", "10 mm", Verdict.FAILS)],
)  # fmt: skip
def test_a_register_wider_than_the_web_it_is_cut_in(
    look: Look, register: str, web: str, verdict: Verdict
) -> None:
    """Half a millimetre on each side must be left of the web."""
    found = look(
        part(
            f'size.register_width = {{ full = "{register}", kind = "slot", rule = {MILL} }}\n'
            f'size.web = {{ full = "{web}", kind = "length", rule = {MILL} }}'
        )
    )["register_width.plate.register_width"]
    assert (found.wanted, found.verdict) == (F(1), verdict)


def test_a_recess_that_would_cut_through(look: Look) -> None:
    """A recess 5.8 deep in a flange of 6 leaves 0.2 mm."""
    found = look(
        part(
            f'size.recess_depth = {{ full = "5.8 mm", rule = {MILL} }}\n'
            f'size.flange_thickness = {{ full = "6 mm", kind = "length", rule = {MILL} }}',
            "cast iron",
            "cover",
        )
    )["register_depth.cover.recess_depth"]
    assert found.found == F("0.2") and found.fails


# ------------------------------------------------------------------------- metal for a thread


def rod(size_: str, thread: str, more: str = "", name: str = "diameter") -> str:
    """A rod turned to a size, with a thread cut on it."""
    return part(
        f'size.{name} = {{ full = "{size_}", kind = "external", rule = "turned step 0.01 mm", '
        'limits = "±0.01 mm" }\n'
        f"size.thread = {{ full = {thread}, rule = ['BA thread', 'metric thread'] }}\n{more}",
        name="spindle",
    )


@pytest.mark.parametrize(
    ("size_", "verdict"),
    [
        ("4.1 mm", Verdict.HOLDS),
        ("4 mm", Verdict.HOLDS),
        ("3.96 mm", Verdict.DOUBTFUL),
        ("3.9 mm", Verdict.FAILS),
        ("3.2 mm", Verdict.FAILS),
    ],
)
def test_a_thread_needs_a_rod_as_large_as_itself(look: Look, size_: str, verdict: Verdict) -> None:
    """3 BA is 4.1 mm over its crests, pitch 0.73 (BS 93:1951): a fifth of the pitch less is 3.954,
    so that a 4 mm rod serves (common practice) and one of 3.96 ± 0.01 may not."""
    found = look(rod(size_, '"4.1 mm"'))["thread_blank.spindle.thread"]
    assert found.verdict is verdict
    assert (found.wanted, found.found) == (F("3.954"), F(size_.split()[0]))
    assert "3 BA" in found.text and set(found.sizes) == {"spindle.thread", "spindle.diameter"}


def test_what_is_let_pass_is_about_the_tolerance_of_a_medium_thread() -> None:
    """ISO 965-1, grade 6g (from memory): es = 15 + 11 P and Td = 180 P^(2/3) - 3.15 P^(-1/2) µm.
    Over the pitches of a model's screws the rule is within a twentieth of a millimetre of both
    together."""
    share = float(figure("thread_blank"))
    for pitch in (0.35, 0.4, 0.5, 0.7, 0.8, 1.0, 1.25, 1.5):
        allowed = (15 + 11 * pitch + 180 * pitch ** (2 / 3) - 3.15 * pitch**-0.5) / 1000
        assert abs(share * pitch - allowed) < 0.05


def test_a_rod_is_only_taken_for_the_threads_where_that_is_plain(look: Look) -> None:
    """By its own name, else the part's largest outside and only thread; a step beside it is none."""
    small = 'size.pin = { full = "3 mm", kind = "external", rule = "turned step 0.01 mm" }'
    large = small.replace("3 mm", "9 mm").replace("size.pin", "size.flange")
    second = 'size.end_thread = { full = "3 mm", rule = "metric thread" }'
    key = "thread_blank.spindle.thread"
    assert look(rod("3.9 mm", '"4.1 mm"', small))[key].fails
    assert key not in look(rod("3.9 mm", '"4.1 mm"', large))
    assert key not in look(rod("3.9 mm", '"4.1 mm"', second))
    assert key not in look(rod("3.9 mm", '"4.1 mm"', name="pin"))
    ends = second + '\nsize.end_diameter = { full = "2.8 mm", kind = "external", rule = "turned" }'
    found = look(rod("3.9 mm", '"4.1 mm"', ends))
    assert found["thread_blank.spindle.end_thread"].fails and key not in found
    assert found["thread_blank.spindle.end_thread"].wanted == F("2.9")  # M3 x 0.5, ISO 261


@pytest.mark.parametrize(
    ("hole", "fails"), [("2.5 mm", False), ("2.6 mm", False), ("2.8 mm", True)]
)
def test_a_tapping_hole_leaves_enough_of_the_thread(look: Look, hole: str, fails: bool) -> None:
    """M3 x 0.5: half of 2 x 0.6495 P is 0.325 mm, so no hole over 2.675; 2.5 is the tapping drill
    (ISO 2306) and 2.599 the largest minor diameter of the nut in 6H (ISO 965-1); both from memory."""
    sizes = (
        'size.thread = { full = "3 mm", rule = "metric thread" }\n'
        f'size.tapping_hole = {{ full = "{hole}", kind = "internal", rule = "drilled", '
        'limits = "±0.02 mm" }'
    )
    found = look(part(sizes))["tapping_hole.plate.tapping_hole"]
    assert found.fails is fails and found.verdict in (Verdict.HOLDS, Verdict.FAILS)
    assert found.found == F("2.675")
    assert "2.5 mm" in found.note and "M3" in found.text


def test_a_hole_that_takes_the_threads_own_column_is_not_asked(look: Look) -> None:
    """It is the tapping drill of the table; where the rule falls back on a drill by size, it is
    asked, with the thread of the other part."""
    stud = part('size.thread = { full = "3 mm", rule = "metric thread" }', name="stud")
    taken = 'size.hole = { kind = "internal", rule = "tapping hole of stud.thread" }'
    assert not any(name.startswith("tapping_hole.") for name in look(stud + part(taken)))
    fallen = (
        'size.hole = { full = "2.9 mm", kind = "internal", reach = "0.2 mm", '
        'rule = ["tapping hole of stud.thread", "drilled"] }'
    )
    assert look(stud + part(fallen))["tapping_hole.plate.hole"].fails
