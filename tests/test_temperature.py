"""Fits at other temperatures and shrink fits, against printed examples, and the laws of expansion."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction as F
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import scaler
from scaler import catalogue
from scaler.checking.check import Checker
from scaler.fitting.material_figures import TemperatureError, UnknownMaterial, find_material, growth
from scaler.fitting.shrink_fits import HEAT_LIMITS, shrink_temperature
from scaler.fitting.temperature import REFERENCE, at_temperature, expand
from scaler.problems import InputError
from scaler.records import Model, Verdict

MODEL = """
[model]
title = "Wind pump (invented)"
scale = "1:4"

[drawing.sheet]
unit = "mm"

[part.housing]
material = "{outer}"
size.bore = {{ full = "80 mm", rule = "bored step 0.1 mm", limits = "0 +0.02 mm" }}
[part.spindle]
material = "{inner}"
size.diameter = {{ full = "79.6 mm", rule = "turned step 0.1 mm", limits = "-0.01 +0.01 mm" }}
[part.liner]
material = "brass"
size.thickness = {{ full = "8 mm", kind = "length", rule = "turned step 0.1 mm", limits = "±0.01 mm" }}

[pair.spindle_in_housing]
inner = "spindle.diameter"
outer = "housing.bore"
fit = "clearance 0.05 to 0.20 mm"
basis = "{basis}"

[pair.spindle_in_liner]
inner = "spindle.diameter"
outer = "housing.bore - 2*liner.thickness + '4 mm'"
fit = "clearance 0.05 to 0.20 mm"
basis = "both limits"
"""

Make = Callable[..., Model]


@pytest.fixture(scope="module")
def make(tmp_path_factory: pytest.TempPathFactory) -> Make:
    """A small model with the materials and basis asked for."""
    made: dict[tuple[str, ...], Model] = {}

    def model(
        outer: str = "cast iron", inner: str = "aluminium 6082", basis: str = "both limits"
    ) -> Model:
        key = (outer, inner, basis)
        if key not in made:
            folder = tmp_path_factory.mktemp("pump")
            text = MODEL.format(outer=outer, inner=inner, basis=basis)
            (folder / "model.toml").write_text(text, encoding="utf-8")
            made[key] = scaler.load(folder)
        return made[key]

    return model


def alpha(name: str) -> F:
    """A coefficient straight from the table [1/K]."""
    row = catalogue.table("materials").find(name)
    assert row is not None
    return row.number("expansion_um_per_m_k") / 1_000_000


# ------------------------------------------------------------------------------------- materials


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("mild steel", "mild steel"),
        ("Mild Steel", "mild steel"),
        ("EN 8", "medium carbon steel"),
        ("en8", "medium carbon steel"),
        ("CZ-121", "brass CZ121"),
        ("ground steel bar", "mild steel"),
        ("steel flat", "mild steel"),
        ("silver steel", "silver steel"),
        ("cast iron", "cast iron"),
        ("gunmetal casting", "gunmetal LG2"),
        ("phosphor bronze", "phosphor bronze PB102"),
        ("6082", "aluminium 6082"),
    ],
)
def test_a_material_is_found_as_it_is_written(text: str, name: str) -> None:
    """Capitals, spaces, strokes and the words of the form do not count."""
    assert find_material(text).name == name


def test_a_loose_name_says_what_it_was_taken_for() -> None:
    """A family's name alone is taken for one of its metals, and that is told."""
    assert find_material("bronze bar").read_as == "'bronze bar' taken as bearing bronze"
    assert find_material("Cast Iron").read_as == ""


@pytest.mark.parametrize("text", ["manganese steel", "tool steel", "unobtainium", "brass steel"])
def test_an_unknown_qualifier_is_never_dropped(text: str) -> None:
    """Austenitic manganese steel expands half as much again as mild steel: no guess is made."""
    with pytest.raises(UnknownMaterial) as caught:
        find_material(text)
    assert text in str(caught.value)
    assert caught.value.nearest


@pytest.mark.parametrize("text", ["", "  ", "bar", "ground flat"])
def test_a_form_alone_is_no_material(text: str) -> None:
    """Bar says what it looks like, not what it is made of."""
    with pytest.raises(UnknownMaterial):
        find_material(text)


def test_every_material_of_the_table_is_found_by_its_own_name() -> None:
    """All designations, exactly; and each has a limit for warming by its family."""
    for row in catalogue.table("materials").rows:
        material = find_material(row.text("designation"))
        assert material.name == row.text("designation")
        assert not material.read_as
        assert material.family in HEAT_LIMITS


# -------------------------------------------------------------------------------------- expansion


def test_the_piston_of_an_engine_builders_article() -> None:
    """enginebuildermag.com, Thermal Considerations, 2012: 3.500 in at 12.4e-6 per °F and 100 °F
    more grow by 0.0043 in."""
    alloy = replace(find_material("aluminium"), expansion=F("12.4") * 9 / 5)
    grown = F("3.5") * (growth(alloy, REFERENCE + 100 * F(5, 9)) - 1)
    assert round(grown, 4) == F("0.0043")


def test_the_rule_of_a_metre_of_steel() -> None:
    """A metre of steel, 100 K hotter: a little over a millimetre (common practice)."""
    assert expand(F(1000), find_material("mild steel"), F(120)) == F("1001.17")


@pytest.mark.parametrize("celsius", [F("-273.15"), F(-300), F(1001), F(10**6)])
def test_temperatures_that_cannot_be_are_refused(celsius: F) -> None:
    """Absolute zero and molten metal."""
    with pytest.raises(TemperatureError, match="lies outside"):
        growth(find_material("mild steel"), celsius)


def test_a_material_without_a_coefficient_is_refused() -> None:
    """The table gives silver solder no expansion: blank is not nought."""
    with pytest.raises(UnknownMaterial, match="no expansion for silver solder"):
        growth(find_material("silver solder"), F(50))


# --------------------------------------------------------------------------------------- hot fits


def test_an_aluminium_spindle_in_iron_by_hand(make: Make) -> None:
    """Window of all limits hot, each limit × (1 + α ΔT), worked here from the table alone."""
    found = at_temperature(make(), "spindle_in_housing", 120)
    iron, alloy = alpha("cast iron"), alpha("aluminium 6082")
    bore, shaft = 1 + iron * 100, 1 + alloy * 100
    low = F("20.00") * bore - F("19.91") * shaft
    high = F("20.02") * bore - F("19.89") * shaft
    assert found.cold == (F("0.09"), F("0.13"))
    assert found.hot == (low, high)
    assert found.hot_basic == F(20) * bore - F("19.9") * shaft
    assert found.shift == F(20) * iron * 100 - F("19.9") * alloy * 100
    assert found.cold_verdict is Verdict.HOLDS
    assert low > F("0.05")
    assert found.hot_verdict is Verdict.HOLDS


def test_each_part_may_have_its_own_temperature(make: Make) -> None:
    """A cold spindle in a hot housing: only the housing grows."""
    found = at_temperature(make(), "spindle_in_housing", parts={"housing": F(200)})
    assert found.temperatures == {"housing": F(200), "spindle": REFERENCE}
    assert found.shift == F(20) * alpha("cast iron") * 180
    assert any("200 °C" in note and "mean" in note for note in found.notes)


def test_a_hot_spindle_in_a_cold_housing_seizes(make: Make) -> None:
    """90 µm least clearance on 20 mm is gone where the spindle alone is 230 K hotter."""
    found = at_temperature(make(), "spindle_in_housing", parts={"spindle": F(250)})
    assert found.hot_verdict is Verdict.TIGHT
    assert found.closes
    assert not at_temperature(make(), "spindle_in_housing").closes


def test_every_term_of_a_sum_grows_by_its_own_part(make: Make) -> None:
    """A gap less two liners: bore by iron, liners by brass, a plain length not at all."""
    found = at_temperature(make(), "spindle_in_liner", 120)
    moved = F(20) * alpha("cast iron") - 2 * 2 * alpha("brass CZ121")
    assert found.shift == 100 * (moved - F("19.9") * alpha("aluminium 6082"))


def test_a_last_cut_window_moves_and_hardly_widens(make: Make) -> None:
    """With a last cut the cold window is moved, by what the sizes may be at most."""
    model = make(basis="last cut spindle.diameter")
    found = at_temperature(model, "spindle_in_housing", 120)
    low, high = found.cold
    hot_low, hot_high = found.hot
    assert None not in (low, high, hot_low, hot_high) and found.shift is not None
    assert low is not None and high is not None and hot_low is not None and hot_high is not None
    assert hot_low <= low + found.shift and high + found.shift <= hot_high
    assert (hot_high - hot_low) - (high - low) < F("0.0003")  # tolerances × α ΔT


@settings(max_examples=40, deadline=None)
@given(st.fractions(min_value=-200, max_value=900, max_denominator=100))
def test_at_20_nothing_moves_and_the_shift_is_linear(make: Make, celsius: F) -> None:
    """No shift at 20 °C; else in proportion to the difference from it."""
    model = make()
    checker = Checker(model)
    still = at_temperature(model, "spindle_in_housing", checker=checker)
    found = at_temperature(model, "spindle_in_housing", celsius, checker=checker)
    per_kelvin = F(20) * alpha("cast iron") - F("19.9") * alpha("aluminium 6082")
    assert still.shift == 0 and still.hot == still.cold
    assert found.shift == per_kelvin * (celsius - REFERENCE)


@settings(max_examples=40, deadline=None)
@given(st.fractions(min_value=-200, max_value=900, max_denominator=100))
def test_of_one_material_the_clearance_grows_as_a_length(make: Make, celsius: F) -> None:
    """Both parts of one metal at one temperature: the gap grows like a solid of that metal."""
    found = at_temperature(make("brass", "brass"), "spindle_in_housing", celsius)
    factor = 1 + alpha("brass CZ121") * (celsius - REFERENCE)
    assert found.hot == tuple(end * factor for end in found.cold if end is not None)


def test_exact_twins_and_cautions_are_told(make: Make) -> None:
    """The dict carries exact texts, materials with their source, and the guide's words."""
    found = at_temperature(make(), "spindle_in_housing", 120).as_dict()
    assert F(found["hot_mm_rational"][0]) == F(20) * (1 + alpha("cast iron") * 100) - F("19.91") * (
        1 + alpha("aluminium 6082") * 100
    )
    assert found["materials"]["spindle"]["source"] == "6082 data page (copy)"
    assert {"a guide only", "heat and fumes"} <= {c["headline"] for c in found["cautions"]}
    assert found["hot_mm"][0] == pytest.approx(float(F(found["hot_mm_rational"][0])))


def test_unknown_pairs_parts_and_materials_name_the_nearest(make: Make) -> None:
    """Each error is about the input and says what is near."""
    with pytest.raises(InputError, match="spindle_in_housing"):
        at_temperature(make(), "spindle_in_housng")
    with pytest.raises(InputError, match=r"no part 'housin'.*\n.*housing"):
        at_temperature(make(), "spindle_in_housing", parts={"housin": F(90)})
    with pytest.raises(InputError, match=r"model.toml, line \d+: spindle.*kryptonite"):
        at_temperature(make(inner="kryptonite"), "spindle_in_housing", 90)
    with pytest.raises(TemperatureError):
        at_temperature(make(), "spindle_in_housing", -400)


def test_a_material_may_be_given_in_place_of_the_models(make: Make) -> None:
    """What the model does not know can be said in the call."""
    model = make(inner="kryptonite")
    found = at_temperature(model, "spindle_in_housing", 120, materials={"spindle": "silver steel"})
    assert found.materials["spindle"].name == "silver steel"


def test_the_shipped_piston_closes_up_hot() -> None:
    """A bronze piston in an iron cylinder, both at 120 °C, loses clearance: 18.0 against 11.4."""
    model = scaler.load(Path(str(files("scaler.examples") / "pattern_d")))
    found = at_temperature(model, "piston_in_bore", 120)
    assert found.shift == 100 * (
        F("35.3") * alpha("cast iron") - F("35.2") * alpha("bearing bronze")
    )
    assert found.shift < 0
    assert found.hot_verdict is Verdict.TIGHT


# ------------------------------------------------------------------------------------ shrink fits


def test_the_worked_figure_of_a_machining_page() -> None:
    """rivcut.com, shrink fit: 1.000 in aluminium hub, 0.0010 in interference, 0.0020 in clearance,
    12.8e-6 per °F: about 234 °F more. The table here has 23.4 per K, 13.0 per °F: within 2 %."""
    inch = F("25.4")
    found = shrink_temperature("aluminium", "mild steel", inch, inch / 1000, inch / 500)
    rise_f = (found.heat_outer - REFERENCE) * F(9, 5)
    assert abs(rise_f * F("13.0") / F("12.8") - 234) < 1
    assert abs(rise_f / 234 - 1) < F(2, 100)


@settings(max_examples=60)
@given(
    st.fractions(min_value=1, max_value=500, max_denominator=100),
    st.fractions(min_value=F(1, 10_000), max_value=F(1, 1000), max_denominator=10**6),
)
def test_the_rise_is_interference_and_clearance_over_alpha_bore(bore: F, part: F) -> None:
    """engineeringtoolbox.com, assembly of shrink fits, equation 1: dt = δ / (α d), exactly."""
    found = shrink_temperature("mild steel", "mild steel", bore, part * bore, F(0))
    assert (found.heat_outer - REFERENCE) * alpha("mild steel") * bore == part * bore


@settings(max_examples=60)
@given(
    st.sampled_from(["mild steel", "cast iron", "brass CZ121", "aluminium 6082"]),
    st.sampled_from(["mild steel", "silver steel", "phosphor bronze PB1"]),
    st.fractions(min_value=F(1, 10_000), max_value=F(1, 1000), max_denominator=10**6),
    st.fractions(min_value=0, max_value=F(1, 1000), max_denominator=10**6),
)
def test_at_the_temperatures_found_they_go_together(hub: str, shaft: str, part: F, gap: F) -> None:
    """Expanded by the table, the hot bore clears the shaft by exactly the clearance; so does the
    cooled shaft in the bore."""
    bore = F(30)
    found = shrink_temperature(hub, shaft, bore, part * bore, gap)
    hot = expand(bore, found.outer, found.heat_outer)
    assert hot - bore * (1 + part) == gap
    if found.cool_inner is not None:
        assert bore - expand(bore * (1 + part), found.inner, found.cool_inner) == gap


def test_what_is_too_hot_or_too_cold_is_said() -> None:
    """An aluminium hub past 150 °C; a shaft past a freezer's -18; absolute zero is not enough."""
    hot = shrink_temperature("aluminium", "mild steel", F(20), F("0.05"), F("0.04"))
    assert hot.heat_outer > 150
    assert any("lose strength" in note for note in hot.notes)
    frozen = shrink_temperature("aluminium", "brass", F(20), F("0.01"), F("0.01"))
    assert frozen.cool_inner is not None and F("-78.5") < frozen.cool_inner < -18
    assert any("it needs solid carbon dioxide" in note for note in frozen.notes)
    steel = shrink_temperature("mild steel", "mild steel", F(20), F("0.1"), F("0.02"))
    assert steel.cool_inner is None
    assert any("absolute zero" in note for note in steel.notes)
    with pytest.raises(TemperatureError, match="not even 1000 °C"):
        shrink_temperature("mild steel", "mild steel", F(20), F(1))


def test_a_warm_shaft_needs_a_hotter_hub() -> None:
    """The inner part at 100 °C is larger; the hub must make that good."""
    cold = shrink_temperature("mild steel", "brass", F(20), F("0.02"))
    warm = shrink_temperature("mild steel", "brass", F(20), F("0.02"), inner_celsius=F(100))
    more = F("20.02") * alpha("brass CZ121") * 80 / (F(20) * alpha("mild steel"))
    assert warm.heat_outer - cold.heat_outer == more


@pytest.mark.parametrize(
    ("bore", "interference", "clearance"),
    [(F(0), F("0.01"), F(0)), (F(10), F(0), F(0)), (F(10), F("0.01"), F("-0.01"))],
)
def test_sizes_that_make_no_shrink_fit_are_refused(bore: F, interference: F, clearance: F) -> None:
    """Nothing to expand, nothing to overcome, or a clearance below nothing."""
    with pytest.raises(TemperatureError):
        shrink_temperature("mild steel", "mild steel", bore, interference, clearance)


def test_cautions_on_heat_fumes_and_seasons_always_stand_by() -> None:
    """Every shrink fit carries them, in the dict too."""
    found = shrink_temperature("mild steel", "mild steel", F(20), F("0.02")).as_dict()
    told = {caution["headline"] for caution in found["cautions"]}
    assert {"a guide only", "heat and fumes", "measure at one temperature"} <= told
    assert F(found["heat_outer_c_rational"]) == REFERENCE + F("0.04") / (
        F(20) * alpha("mild steel")
    )
