"""Press fits against printed worked examples, the textbook's own equation, and the laws of Lamé."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction as F
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

import scaler
from scaler import catalogue
from scaler.checking.check import Checker
from scaler.fitting.material_figures import UnknownMaterial
from scaler.fitting.press_fits import (
    Elastic,
    Friction,
    PressFit,
    PressFitError,
    elastic,
    friction_of,
    press_fit,
)
from scaler.fitting.press_pairs import pressed_pair
from scaler.problems import InputError
from scaler.records import Model

INCH = F("25.4")
PSI = F("0.45359237") * F("9.80665") / INCH**2  # N/mm² in one lbf/in²


def metal(modulus: str, poisson: str = "0.3", name: str = "metal") -> Elastic:
    """A metal by its modulus [GPa] and ratio."""
    return Elastic(name, F(modulus), F(poisson))


def grip(low: str, high: str | None = None) -> Friction:
    """A coefficient of friction, or a range of it."""
    return Friction(F(low), F(high or low), "given", "given")


STEEL = metal("210", name="steel")


def near(found: Any, wanted: float, places: int) -> bool:
    """Whether a figure is the printed one, rounded as it was printed."""
    return round(float(found), places) == pytest.approx(wanted)


# ------------------------------------------------------------------------------- worked examples


def test_sleeve_of_150_on_a_shaft_of_100() -> None:
    """novasolver.jp, shrink-fit stress, figures of its defaults: D 100, outside 150, 0.1 mm, 210
    GPa, 50 mm long, friction 0.15: p 58.3, hoop 151.7, shaft -58.3 MPa, torque 6.87 kN m."""
    fit = press_fit(F(100), F("0.1"), F(150), STEEL, STEEL, grip("0.15"), length=F(50))
    assert near(fit.pressure, 58.3, 1)
    assert near(fit.hub_hoop, 151.7, 1)
    assert near(fit.shaft_hoop, -58.3, 1)
    assert fit.torque is not None and near(fit.torque[0] / 10**6, 6.87, 2)
    assert near(fit.torque[1] / 10**6, 6.87, 2)


@pytest.mark.parametrize(
    ("interference", "pressure", "torque"),
    [("0.02", 25.6, 482), ("0.04", 51.2, 965), ("0.06", 76.8, 1447)],
)
def test_hub_of_80_on_a_shaft_of_50(interference: str, pressure: float, torque: float) -> None:
    """aionlinecalculator.com, press fit, worked example and table: d 50, D 80, L 40, 210 GPa,
    friction 0.12; at 0.04 mm also 38.6 kN and a hub hoop stress of 117 MPa."""
    fit = press_fit(F(50), F(interference), F(80), STEEL, STEEL, grip("0.12"), length=F(40))
    assert near(fit.pressure, pressure, 1)
    assert fit.torque is not None and abs(float(fit.torque[0]) / 1000 - torque) < 1
    if interference == "0.04":
        assert fit.axial is not None and near(fit.axial[0] / 1000, 38.6, 1)
        assert near(fit.hub_hoop, 117, 0)


def test_a_compound_cylinder_of_a_textbook() -> None:
    """Scilab textbook companion 3864 (strength of materials), example 8.17: 300, 400, 500 mm, 0.2
    mm on diameter, 200 GPa: hoop stresses 3.5714 p and 4.5556 p at the junction, and
    p = 0.1 / 200 × 2e5 / (3.5714 + 4.5556)."""
    steel = metal("200")
    fit = press_fit(F(400), F("0.2"), F(500), steel, steel, grip("0.1"), shaft_bore=F(300))
    assert near(-fit.shaft_hoop / fit.pressure, 3.5714, 4)
    assert near(fit.hub_hoop / fit.pressure, 4.5556, 4)
    assert abs(float(fit.pressure) - 0.1 / 200 * 2e5 / (3.5714 + 4.5556)) < 0.0005


def test_limits_of_an_inch_drive_fit_give_its_pressures() -> None:
    """Shigley 9th edition, example 7-8: 2 in H7/s6, hole 2.0000 to 2.0010, shaft 2.0017 to 2.0023;
    so equations 7-42 and 7-43 give 0.0007 and 0.0023 in. A hub of twice the shaft, one steel of
    30 Mpsi: equation 7-40 by hand, E δ (do² - d²)/(2 d do²) = 3.94 and 12.94 kpsi."""
    steel = Elastic("steel", 30_000_000 * PSI / 1000, F("0.292"))
    for thou, kpsi in ((F("0.7"), 3.9375), (F("2.3"), 12.9375)):
        fit = press_fit(2 * INCH, thou * INCH / 1000, 4 * INCH, steel, steel, grip("0.1"))
        assert near(fit.pressure / PSI / 1000, kpsi, 4)


def test_an_iron_disc_on_a_hollow_steel_shaft() -> None:
    """Lecture notes on shrink fits (scribd 239703088): bore 50, shaft 100, disc 250 mm, 100 long,
    steel 210 GPa and 0.3, iron 70 GPa and 0.25, friction 0.15, hoop stress at most 30 MPa. Its
    formulas F = 2π b p f L and T = F b, p = σ (c² - b²)/(c² + b²), worked here by hand."""
    iron = metal("70", "0.25", "iron")
    unit = press_fit(
        F(100), F(1, 100), F(250), iron, STEEL, grip("0.15"), shaft_bore=F(50), length=F(100)
    )
    fit = press_fit(
        F(100), F(1, 100) * 30 / unit.hub_hoop, F(250), iron, STEEL, grip("0.15"),
        shaft_bore=F(50), length=F(100),
    )  # fmt: skip
    pressure = 30 * (125**2 - 50**2) / (125**2 + 50**2)
    force = 2 * 3.141592653589793 * 50 * pressure * 0.15 * 100
    assert fit.hub_hoop == 30
    assert float(fit.pressure) == pytest.approx(pressure)
    assert fit.axial is not None and float(fit.axial[0]) == pytest.approx(force)
    assert fit.torque is not None and float(fit.torque[0]) == pytest.approx(force * 50)


def test_the_axle_of_a_magazine_letter() -> None:
    """A builders' society page quotes Live Steam, September 1985: a 3/4 in axle with 1/2 thou takes
    3,000 lb. Its length and hub are not given; a hub of twice the axle, 3/4 to 1 1/4 in long, of
    iron or steel and friction 0.05 to 0.20, must bracket it."""
    newton = 3000 * F("0.45359237") * F("9.80665")
    forces: list[F] = []
    for hub in (STEEL, metal("110", "0.26")):
        for length in (F(3, 4), F(5, 4)):
            fit = press_fit(
                F(3, 4) * INCH, INCH / 2000, F(3, 2) * INCH, hub, STEEL, grip("0.05", "0.2"),
                length=length * INCH,
            )  # fmt: skip
            assert fit.axial is not None
            forces += fit.axial
    assert min(forces) < newton < max(forces)


# ----------------------------------------------------------------------------------------- laws

ratios = st.fractions(min_value=F("1.05"), max_value=6, max_denominator=100)
hollows = st.fractions(min_value=0, max_value=F("0.95"), max_denominator=100)
moduli = st.fractions(min_value=2, max_value=400, max_denominator=10)
poissons = st.fractions(min_value=0, max_value=F(1, 2), max_denominator=100)
sizes = st.fractions(min_value=1, max_value=300, max_denominator=100)


@st.composite
def press_fits(draw: st.DrawFn) -> PressFit:
    """Any press fit of two metals."""
    diameter = draw(sizes)
    return press_fit(
        diameter,
        diameter * draw(st.fractions(min_value=F(1, 10_000), max_value=F(1, 500))),
        diameter * draw(ratios),
        Elastic("hub", draw(moduli), draw(poissons)),
        Elastic("shaft", draw(moduli), draw(poissons)),
        grip("0.05", "0.2"),
        shaft_bore=diameter * draw(hollows),
        length=draw(sizes),
    )


@given(press_fits())
def test_the_two_parts_give_way_by_the_interference(fit: PressFit) -> None:
    """Hoop strains at the joint, from the stresses found: (σθ - ν σr)/E of hub less shaft, on
    diameter, is the interference, exactly."""
    pressed = -fit.pressure
    hub = (fit.hub_hoop - fit.hub.poisson * pressed) / fit.hub.modulus_n_mm2
    shaft = (fit.shaft_hoop - fit.shaft.poisson * pressed) / fit.shaft.modulus_n_mm2
    assert (hub - shaft) * fit.diameter == fit.interference


@given(press_fits())
def test_the_textbooks_equation_as_printed(fit: PressFit) -> None:
    """Shigley 9th edition, page 399 (copy): equations 7-39, 7-44 and 7-45 in floats."""
    d, di, do = float(fit.diameter), float(fit.shaft_bore), float(fit.hub_outside)
    eo, ei = float(fit.hub.modulus_n_mm2), float(fit.shaft.modulus_n_mm2)
    no, ni = float(fit.hub.poisson), float(fit.shaft.poisson)
    p = float(fit.interference) / (
        d / eo * ((do**2 + d**2) / (do**2 - d**2) + no)
        + d / ei * ((d**2 + di**2) / (d**2 - di**2) - ni)
    )
    assert float(fit.pressure) == pytest.approx(p)
    assert float(fit.shaft_hoop) == pytest.approx(-p * (d**2 + di**2) / (d**2 - di**2))
    assert float(fit.hub_hoop) == pytest.approx(p * (do**2 + d**2) / (do**2 - d**2))


@given(press_fits())
def test_the_free_diameters_follow_from_the_stress_there(fit: PressFit) -> None:
    """A free surface has only hoop stress: its diameter changes by d σθ / E. Lamé's sum of the two
    stresses is the same all through, so at the hub's outside it is hoop - pressure of the bore."""
    outer = fit.hub_hoop - fit.pressure
    assert fit.hub_growth == outer * fit.hub_outside / fit.hub.modulus_n_mm2
    if fit.shaft_bore_hoop is None:
        assert fit.bore_closure == 0
    else:
        assert fit.shaft_bore_hoop == fit.shaft_hoop - fit.pressure
        closure = -fit.shaft_bore_hoop * fit.shaft_bore / fit.shaft.modulus_n_mm2
        assert fit.bore_closure == closure


@given(press_fits(), st.fractions(min_value=F(1, 20), max_value=20, max_denominator=50))
def test_dimensions_scale_as_they_must(fit: PressFit, k: F) -> None:
    """All lengths × k: the same stresses, forces × k², torque × k³, closing-in × k."""
    assert fit.length is not None and fit.axial and fit.torque
    scaled = press_fit(
        fit.diameter * k, fit.interference * k, fit.hub_outside * k, fit.hub, fit.shaft,
        fit.friction, shaft_bore=fit.shaft_bore * k, length=fit.length * k,
    )  # fmt: skip
    assert scaled.pressure == fit.pressure and scaled.hub_hoop == fit.hub_hoop
    assert scaled.axial == tuple(end * k**2 for end in fit.axial)
    assert scaled.torque == tuple(end * k**3 for end in fit.torque)
    assert scaled.bore_closure == fit.bore_closure * k


@given(press_fits())
def test_torque_is_force_at_the_radius_and_the_range_is_frictions(fit: PressFit) -> None:
    """T = F d / 2; the ends are as far apart as the coefficients, but for the digits of π."""
    assert fit.axial is not None and fit.torque is not None
    assert fit.torque == tuple(force * fit.diameter / 2 for force in fit.axial)
    assert float(fit.axial[1] / fit.axial[0]) == pytest.approx(4)
    assert float(fit.axial[0]) == pytest.approx(
        0.05 * 3.141592653589793 * float(fit.pressure * fit.diameter * (fit.length or 0))
    )


def test_a_thin_bush_in_a_stiff_hub_closes_by_about_the_interference() -> None:
    """What the trade says of a pressed bush (common practice): the bore closes by about the
    interference; exactly by it in the limit of a thin bush in a rigid hub."""
    hub, bronze = metal("1000000"), metal("100", "0.34")
    fit = press_fit(F(10), F("0.02"), F(100), hub, bronze, grip("0.1"), shaft_bore=F("9.9"))
    assert 1 <= fit.bore_closure / fit.interference < F("1.02")
    thick = press_fit(F(14), F("0.02"), F(28), STEEL, bronze, grip("0.1"), shaft_bore=F(10))
    assert F(1, 2) < thick.bore_closure / thick.interference < 1


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"interference": F(0)}, "presses nothing"),
        ({"interference": F("-0.01")}, "presses nothing"),
        ({"interference": F(1)}, "no fit"),
        ({"hub_outside": F(10)}, "leaves no metal"),
        ({"shaft_bore": F(10)}, "leaves no metal"),
        ({"shaft_bore": F(-1)}, "leaves no metal"),
        ({"length": F(0)}, "needs a length"),
        ({"friction": grip("0")}, "range of friction"),
        ({"friction": grip("0.2", "0.1")}, "range of friction"),
        ({"hub": metal("0")}, "modulus"),
        ({"shaft": metal("200", "0.6")}, "modulus or Poisson"),
    ],
)
def test_what_makes_no_press_fit_is_refused(change: Mapping[str, Any], match: str) -> None:
    """Each refusal says what is wrong, and nothing is clamped."""
    given_: dict[str, Any] = {
        "diameter": F(10), "interference": F("0.01"), "hub_outside": F(20), "hub": STEEL,
        "shaft": STEEL, "friction": grip("0.1"), **change,
    }  # fmt: skip
    with pytest.raises(PressFitError, match=match):
        press_fit(**given_)


# ----------------------------------------------------------------------------- figures of metals


@pytest.mark.parametrize(
    ("one", "other", "how", "low", "high"),
    [
        # DIN 7190-1, section 5.3, as a help page prints it: steel 0.12 to 0.20, iron 0.10 to 0.16,
        # copper-zinc dry 0.17 to 0.25, magnesium-aluminium dry 0.10 to 0.15
        ("steel", "steel", "shrunk", "0.12", "0.2"),
        ("cast iron", "steel", "shrunk", "0.1", "0.16"),
        ("steel", "brass", "shrunk", "0.17", "0.25"),
        ("aluminium", "steel", "shrunk", "0.1", "0.15"),
        # tribology-abc.com e3_8, note 2: steel dry to 0.15, oiled from 0.05; yellow metal 0.05-0.1
        ("steel", "stainless steel", "pressed", "0.05", "0.15"),
        ("bronze", "steel", "pressed", "0.05", "0.1"),
        ("plastic", "aluminium", "pressed", "0.05", "0.2"),
    ],
)
def test_friction_is_found_in_either_order(
    one: str, other: str, how: str, low: str, high: str
) -> None:
    """Ranges as their sources print them; any two metals where no row fits."""
    found = friction_of(one, other, how)
    assert (found.low, found.high) == (F(low), F(high))
    assert friction_of(other, one, how) == found
    assert found.source


def test_every_friction_row_is_a_range_of_known_metals() -> None:
    """Least not above greatest, below 1; families of the materials table; each list closed by any."""
    families = {row.text("family") for row in catalogue.table("materials").rows}
    known = {*families, "brass or bronze", "any"}
    last = {}
    for row in catalogue.table("press_friction").rows:
        assert 0 < row.number("friction_min") < row.number("friction_max") < 1
        assert {row.text("inner"), row.text("outer")} <= known
        last[row.text("how")] = row.text("inner")
    assert last == {"pressed": "any", "shrunk": "any"}
    with pytest.raises(PressFitError, match="no way to assemble"):
        friction_of("steel", "steel", "hammered")


def test_elastic_figures_come_from_the_table_or_not_at_all() -> None:
    """Mild steel 207 GPa and 0.3; solder has no modulus, and blank is not nought."""
    found = elastic("mild steel")
    assert (found.modulus, found.poisson) == (F(207), F("0.3"))
    with pytest.raises(UnknownMaterial, match="no modulus for silver solder"):
        elastic("silver solder")


# ------------------------------------------------------------------------------- pairs of a model


@pytest.fixture(scope="module")
def engine() -> Model:
    """The shipped example."""
    return scaler.load(Path(str(files("scaler.examples") / "pattern_d")))


@pytest.fixture(scope="module")
def checker(engine: Model) -> Checker:
    """Its findings, made once."""
    return Checker(engine)


def test_a_bush_in_its_box_is_found_among_the_sizes(engine: Model, checker: Checker) -> None:
    """Outside, bore and metals of the two parts; the bore closes in and is to be reamed after."""
    (found,) = pressed_pair(engine, "bush_in_axlebox", checker=checker)
    fit = found.tight
    assert fit is not None and found.loose is not None
    assert (fit.diameter, fit.hub_outside, fit.shaft_bore) == (F(21), F(29), F("15.875"))
    assert found.interference == (found.loose.interference, fit.interference)
    assert found.bush_bore == "axlebox_bush.bore"
    assert any("ream or bore it after pressing" in note for note in found.notes)
    assert any("length of the fit is not drawn" in note for note in found.notes)
    assert fit.axial is None and found.as_dict()["axial_n"] is None


def test_a_wheel_seat_always_carries_the_words_of_a_safety_part(
    engine: Model, checker: Checker
) -> None:
    """No figure approves a wheel's fit: guide, press and safety words go with it, in the dict too."""
    (found,) = pressed_pair(engine, "wheel_on_axle", checker=checker)
    told = {caution["headline"]: caution["text"] for caution in found.as_dict()["cautions"]}
    assert {"a guide only", "pressing", "no approval"} <= set(told)
    assert "inspecting body" in told["no approval"]
    assert any("twice its bore (common practice)" in note for note in found.notes)
    assert found.tight is not None and found.tight.length == F("18.5")
    assert found.tight.hub_outside == 2 * found.tight.diameter


def test_what_is_given_goes_before_what_is_drawn(engine: Model, checker: Checker) -> None:
    """Hub, bore, length, friction and metal of the call; the pressure falls with a thinner hub."""
    (found,) = pressed_pair(
        engine, "wheel_on_axle", hub_outside=F(20), shaft_bore=F(3), length=F(10),
        friction=(F("0.1"), F("0.1")), materials={"wheel": "mild steel"}, checker=checker,
    )  # fmt: skip
    fit = found.tight
    assert fit is not None
    assert (fit.hub_outside, fit.shaft_bore, fit.length) == (F(20), F(3), F(10))
    assert fit.hub.name == "mild steel" and fit.friction.source == "given"


@pytest.mark.parametrize(
    ("pair", "match"),
    [("piston_in_bore", "no interference"), ("axlebox_in_horns", "no interference")],
)
def test_a_clearance_is_no_press_fit(
    engine: Model, checker: Checker, pair: str, match: str
) -> None:
    """Nothing is pressed where there is clearance."""
    with pytest.raises(PressFitError, match=match):
        pressed_pair(engine, pair, checker=checker)


def test_an_unknown_pair_or_metal_names_the_nearest(engine: Model, checker: Checker) -> None:
    """Errors of the input, with what is near."""
    with pytest.raises(InputError, match="wheel_on_axle"):
        pressed_pair(engine, "wheel_on_axel", checker=checker)
    with pytest.raises(InputError, match="unobtainium"):
        pressed_pair(engine, "wheel_on_axle", materials={"wheel": "unobtainium"}, checker=checker)
