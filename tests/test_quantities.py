"""Quantities: units against published factors, laws against Froude's, and what is refused."""

from __future__ import annotations

import pickle
import subprocess
import sys
from fractions import Fraction

import pint
import pytest
import scipy.constants
from hypothesis import example, given, settings
from hypothesis import strategies as st

from scaler.measures.quantities import QuantityError, ScaledQuantity, scale_quantity
from scaler.measures.scale_laws import KINDS, PRESSURE, power_bounds, power_text

HALF = Fraction(1, 2)
TWELFTH = Fraction(1, 12)


def convert(text: str, into: str) -> Fraction:
    """A quantity in another unit at full size, exact."""
    law = "same pressure" if into in ("Pa", "bar", "psi") else None
    scaled = scale_quantity(text, Fraction(1), law=law, into=into).scaled
    assert scaled is not None
    return scaled


def refusal(text: str, law: str | None = None, into: str | None = None) -> QuantityError:
    """The refusal of a text at 1:12; fails where it is read."""
    with pytest.raises(QuantityError) as caught:
        scale_quantity(text, TWELFTH, law=law, into=into)
    return caught.value


# --------------------------------------------------------------- units against published values


@pytest.mark.parametrize(
    ("text", "into", "factor"),
    [
        # Weights and Measures Act 1985, Schedule 1, Part V (legislation.gov.uk, copy):
        # pound = 0.453 592 37 kilogram, ounce = 1/16 pound.
        ("1 lb", "kg", "0.45359237"),
        ("16 oz", "lb", "1"),
        # Weights and Measures Ordinance (Hong Kong, cap. 68, 1987 edition), imperial units (copy):
        # ton 2 240, hundredweight 112, quarter 28, stone 14 pounds.
        ("1 ton", "lb", "2240"),
        ("1 long ton", "lb", "2240"),
        ("1 cwt", "lb", "112"),
        ("1 qr", "lb", "28"),
        ("1 st", "lb", "14"),
        # Federal Register, 1 July 1959 (second-hand): yard = 0.9144 metre.
        ("1 yd", "m", "0.9144"),
        # Conversion factors table of a state energy office (neo.ne.gov, as read): hundredweight,
        # long = 112 lb = 0.05 long ton; horsepower = 550 foot-pounds/second.
        ("1 cwt", "ton", "0.05"),
        ("1 hp", "ft lbf/s", "550"),
        ("1 hp", "ft lbf/min", "33000"),
        # Engineering Statics, appendix of conversion factors (open textbook): 1 mi/h = 0.44704 m/s
        # exact; short ton = 2000 lb.
        ("1 mile/h", "m/s", "0.44704"),
        ("1 short ton", "lb", "2000"),
        # Imperial gallon of 8 pints (Act of 1878 as printed in a cyclopaedia of that time, copy:
        # the pint one eighth part); 1 kgf = 9.80665 N from memory.
        ("1 gallon", "pint", "8"),
        ("1 kgf", "N", "9.80665"),
    ],
)
def test_exact_factors(text: str, into: str, factor: str) -> None:
    """Units defined by law convert exactly."""
    assert Fraction(factor) == convert(text, into)


@pytest.mark.parametrize(
    ("text", "into", "printed"),
    [
        # Engineering Statics, appendix of conversion factors (open textbook), printed to 5 figures.
        ("1 psi", "Pa", 6894.8),
        ("1 lbf/sq ft", "N/m²", 47.880),
        ("1 lb/sq in", "Pa", 6894.8),
        ("1 knot", "m/s", 0.51444),
        ("1 in^4", "m^4", 41.623e-8),
        ("1 lb ft", "N m", 1.3558),
        ("1 lbf ft", "J", 1.3558),
        ("1 lbf/in", "N/m", 175.13),
        ("1 lbf", "N", 4.4482),
        ("1 hp", "W", 745.70),
        ("1 cu ft", "m^3", 2.8317e-2),
        ("1 cu in", "m^3", 1.6387e-5),
        ("1 lb/cu ft", "kg/m3", 16.018),
        ("1 sq ft", "m²", 9.2903e-2),
    ],
)
def test_printed_factors(text: str, into: str, printed: float) -> None:
    """Units agree with a printed table to its last figure."""
    law = "same pressure" if "sq ft" in text and "lbf" in text else None
    if law:
        found = scale_quantity(text, Fraction(1), law=law, into=into).scaled
        assert found is not None
    else:
        found = convert(text, into)
    assert float(found) == pytest.approx(printed, rel=6e-5)


def test_scipy_agrees_on_units() -> None:
    """scipy.constants holds the same ton, gallon, mile, knot, horsepower and pressures."""
    for text, into, value in (
        ("1 ton", "kg", scipy.constants.long_ton),
        ("1 short ton", "kg", scipy.constants.short_ton),
        ("1 gallon", "m^3", scipy.constants.gallon_imp),
        ("1 US gallon", "m^3", scipy.constants.gallon),
        ("1 fl oz", "m^3", scipy.constants.fluid_ounce_imp),
        ("1 mile", "m", scipy.constants.mile),
        ("1 mph", "m/s", scipy.constants.mph),
        ("1 knot", "m/s", scipy.constants.knot),
        ("1 kph", "m/s", scipy.constants.kmh),
        ("1 hp", "W", scipy.constants.hp),
        ("1 psi", "Pa", scipy.constants.psi),
        ("1 bar", "Pa", scipy.constants.bar),
        ("1 lbf", "N", scipy.constants.lbf),
        ("1 kgf", "N", scipy.constants.kgf),
        ("1 st", "kg", scipy.constants.stone),
    ):
        assert float(convert(text, into)) == pytest.approx(value, rel=1e-12), text


@pytest.mark.parametrize(
    ("text", "into", "theirs"),
    [
        ("7 1/2 cu ft", "l", ("7.5", "foot**3", "liter")),
        ("250 gallons", "litre", ("250", "imperial_gallon", "liter")),
        ("30 kW", "hp", ("30", "kilowatt", "horsepower")),
        ("12 kg/cm²", "bar", ("12", "force_kilogram/centimeter**2", "bar")),
        ("5 tons/sq in", "psi", ("5", "UK_force_ton/inch**2", "psi")),
        ("2 kN m", "lbf ft", ("2", "kilonewton*meter", "force_pound*foot")),
        ("9.81 m/s²", "ft/s/s", ("9.81", "meter/second**2", "foot/second**2")),
        ("95 lb/yd", "kg/m", ("95", "pound/yard", "kilogram/meter")),
        ("120 rev/min", "Hz", ("2", "hertz", "hertz")),
        ("120 rpm", "strokes/s", ("2", "hertz", "hertz")),
        ("10 lb sq ft", "kg m^2", ("10", "pound*foot**2", "kilogram*meter**2")),
    ],
)
def test_pint_agrees_on_products(text: str, into: str, theirs: tuple[str, str, str]) -> None:
    """Whole products of units convert as pint converts them, number and all."""
    value, unit, other = theirs
    registry: pint.UnitRegistry[Fraction] = pint.UnitRegistry(non_int_type=Fraction)
    expected = registry.Quantity(Fraction(value), unit).to(other).magnitude
    assert expected == convert(text, into)


# ---------------------------------------------------------------------------- laws of scale

# Multipliers under Froude scaling as powers of length: table in lecture slides "Froude scaling"
# (second-hand). Only rows whose quantity and power were both legible are used.
FROUDE_TABLE = {
    (0, 1, 0): "1",
    (0, 2, 0): "2",
    (0, 3, 0): "3",
    (0, 0, 0): "0",
    (0, 4, 0): "4",
    (0, 0, 1): "1/2",
    (0, 1, -2): "0",
    (0, 1, -1): "1/2",
    (0, 0, -1): "-1/2",
    (1, 2, -2): "4",
    (1, 2, -3): "7/2",
}
# Similarity laws as programmed in a student's calculator (public repository, second-hand).
FROUDE_TABLE_2 = {(0, 3, -1): "5/2", (1, 1, -2): "3", (1, 0, 0): "3", (1, 2, -3): "7/2"}


@pytest.mark.parametrize("table", [FROUDE_TABLE, FROUDE_TABLE_2])
def test_laws_agree_with_published_tables(table: dict[tuple[int, int, int], str]) -> None:
    """The default law of each dimension has the published power."""
    for dimension, power in table.items():
        assert Fraction(power) == KINDS[dimension].laws[0].exponent, dimension


def test_laws_follow_from_their_assumptions() -> None:
    """With length k, mass k³ and time k^½ kept, every default law is k^(3a + b + c/2)."""
    for (mass, length, time), kind in KINDS.items():
        wanted = 3 * mass + length + Fraction(time, 2)
        law = kind.find("equal density and gravity") or kind.laws[0]
        assert wanted == law.exponent, kind.name
        assert all(each.source and each.words for each in kind.laws)


@pytest.mark.parametrize(
    ("text", "ratio", "printed", "unit"),
    [
        # Spillway at 1:30 (worked example, public slides "Force scaling", no. 6): 0.6 m/s, 0.05 m³/s
        # and 1.5 N in the model are 3.286 m/s, 246.475 m³/s and 40500 N in the prototype.
        ("0.6 m/s", Fraction(30), "3.286", "m/s"),
        ("0.05 m^3/s", Fraction(30), "246.475", "m³/s"),
        ("1.5 N", Fraction(30), "40500", "N"),
        # Spillway at 1:30 (worked example, public course page): 1.5 m/s and 2 m³/s in the model are
        # 8.216 m/s and 9859 m³/s in the prototype.
        ("1.5 m/s", Fraction(30), "8.216", "m/s"),
        ("2 cu m/s", Fraction(30), "9859", "m³/s"),
        # Spillway at 1:15 (engineering examination lecture): 125 m³/s becomes 0.143 m³/s.
        ("125 m3/s", Fraction(1, 15), "0.143", "m³/s"),
        # Spillway at 1:80 (answered question): 100 m³/min becomes 1.747e-3 m³/min.
        ("100 m³/min", Fraction(1, 80), "0.001747", "m³/min"),
    ],
)
def test_worked_examples(text: str, ratio: Fraction, printed: str, unit: str) -> None:
    """Worked examples of Froude's law come out to within half their last printed figure."""
    scaled = scale_quantity(text, ratio)
    assert unit == scaled.unit_out
    half = Fraction(1, 2 * 10 ** len(printed.partition(".")[2]))
    assert abs(scaled.scaled_lower - Fraction(printed)) <= half


@pytest.mark.parametrize(
    ("text", "power", "law"),
    [
        ("4 ft 8 1/2 in", "1", "length: k, "),
        ("12 sq ft", "2", "area: k², "),
        ("3 cu. ft.", "3", "volume: k³, "),
        ("250 gallons", "3", "volume: k³, "),
        ("36 tons 4 cwt", "3", "mass: k³, the same material throughout"),
        ("3.5 in^4", "4", "second moment of area: k⁴, "),
        ("60 mph", "1/2", "speed: k^1/2, equal Froude number"),
        ("5 s", "1/2", "time: k^1/2, "),
        ("250 rpm", "-1/2", "frequency: k^-1/2, "),
        ("32.2 ft/s²", "0", "acceleration: k^0, "),
        ("20 kN", "3", "force or weight: k³, "),
        ("1000 hp", "7/2", "power: k^7/2, "),
        ("50 foot-pounds", "4", "energy, torque or moment: k⁴, "),
        ("30 lb ft", "4", "energy, torque or moment: k⁴, "),
        ("7.5°", "0", "angle or count: k^0, "),
        ("7° 30'", "0", "angle or count: k^0, "),
        ("24 teeth", "0", "angle or count: k^0, "),
        ("7850 kg/m3", "0", "density: k^0, "),
        ("2 N/mm", "2", "spring rate: k², "),
        ("10 kg m²", "5", "moment of inertia: k⁵, "),
        ("2000 gal/h", "5/2", "flow: k^5/2, "),
        ("5 kg/min", "5/2", "mass flow: k^5/2, "),
        ("16 SWG", "1", "length: k, "),
    ],
)
def test_each_kind_has_its_law(text: str, power: str, law: str) -> None:
    """The dimension finds the law; the law and its source are shown."""
    scaled = scale_quantity(text, TWELFTH)
    assert Fraction(power) == scaled.exponent
    assert scaled.law.startswith(law)
    assert scaled.source


def test_exact_where_the_power_is_rational() -> None:
    """1/16 has a rational root: speed a quarter, power 1/16384; 1/12 has none."""
    speed = scale_quantity("60 mile/h", Fraction(1, 16))
    assert (Fraction(15), "mile/h") == (speed.scaled, speed.unit_out)
    assert Fraction(1, 16) == scale_quantity("1024 hp", Fraction(1, 16)).scaled
    assert Fraction(4) == scale_quantity("60 rpm", Fraction(1, 16), into="Hz").scaled
    enclosed = scale_quantity("60 mile/h", TWELFTH)
    assert enclosed.scaled is None
    assert enclosed.scaled_lower**2 < 300 < enclosed.scaled_upper**2


@given(
    st.fractions(Fraction(1, 1000), Fraction(1000), max_denominator=10**6),
    st.sampled_from([Fraction(n, 2) for n in range(-5, 8)]),
)
@example(Fraction(1, 16), Fraction(7, 2))
@example(Fraction(999_983, 1_000_000), HALF)
def test_enclosure_is_certain_and_narrow(ratio: Fraction, exponent: Fraction) -> None:
    """Squares of the bounds enclose the power doubled; the gap is below 1 part in 10³⁹."""
    lower, upper = power_bounds(ratio, exponent)
    doubled = ratio ** int(2 * exponent)
    assert 0 < lower**2 <= doubled <= upper**2
    assert (upper - lower) * 10**39 < lower
    if lower == upper:
        assert doubled == lower**2


@given(st.fractions(Fraction(1, 100), Fraction(100), max_denominator=1000))
def test_there_and_back(ratio: Fraction) -> None:
    """Reducing by k and then by 1/k encloses what was read."""
    there = scale_quantity("1000 hp", ratio, into="hp")
    back = power_bounds(1 / ratio, Fraction(7, 2))
    assert there.scaled_lower * back[0] <= 1000 <= there.scaled_upper * back[1]


def test_power_outside_halves_is_refused() -> None:
    """Only whole powers and halves of a positive ratio are enclosed."""
    for ratio, exponent in ((HALF, Fraction(1, 3)), (Fraction(0), HALF), (-HALF, HALF)):
        with pytest.raises(ValueError, match="halves"):
            power_bounds(ratio, exponent)
    assert power_text(Fraction(-1, 2)) == "k^-1/2"


# ------------------------------------------------------------------------- pressure and stress


@pytest.mark.parametrize("text", ["180 lb/sq in", "180 psi", "12 bar", "5 tons per sq in", "1 MPa"])
def test_pressure_needs_its_law(text: str) -> None:
    """Without a law a pressure is refused; the laws and the caution are listed."""
    error = refusal(text)
    assert 'law="same pressure" (k^0' in error.advice
    assert 'law="equal density and gravity" (k:' in error.advice
    assert "inspecting body" in error.advice
    chosen = scale_quantity(text, TWELFTH, law="Same Pressure")
    assert (chosen.full_value, Fraction(0)) == (chosen.scaled, chosen.exponent)
    similar = scale_quantity(text, TWELFTH, law="equal density and gravity")
    assert (chosen.full_value / 12, Fraction(1)) == (similar.scaled, similar.exponent)
    assert chosen.caution == similar.caution
    assert "inspecting body" in chosen.caution
    assert chosen.source == "common practice"


def test_same_pressure_gives_piston_force() -> None:
    """At the same pressure a piston's force falls with its area, its work with its volume."""
    force = scale_quantity("144 lbf", TWELFTH, law="same pressure")
    assert (Fraction(1), Fraction(2)) == (force.scaled, force.exponent)
    work = scale_quantity("1728 ft lbf", TWELFTH, law="same pressure")
    assert (Fraction(1), Fraction(3)) == (work.scaled, work.exponent)


def test_unknown_law_is_refused_with_those_there_are() -> None:
    """A law that the kind has not is refused; the default may be named."""
    assert "equal density" in refusal("5 lb", law="same pressure").advice
    assert "cubes" in refusal("5 lb", law="cubes").problem
    assert scale_quantity("5 lb", TWELFTH, law="equal density").exponent == 3
    assert PRESSURE in KINDS


def test_springs_carry_a_caution() -> None:
    """A spring rate comes with the reminder that springs are designed, not reduced."""
    assert "designed" in scale_quantity("50 lbf/in", TWELFTH).caution
    assert scale_quantity("50 lb", TWELFTH).caution == ""


# ------------------------------------------------------------------------------ how it is read


@pytest.mark.parametrize(
    ("text", "value", "unit", "read_as"),
    [
        ("36 tons 4 cwt 2 qr", "36.225", "long ton", "36 long ton 4 cwt 2 qr (long ton: 2240 lb, "),
        ("1 3/8 lb", "1.375", "lb", "1 3/8 lb"),
        ("2 lb 4 oz", "2.25", "lb", "2 lb 4 oz"),
        ("1 h 30 min", "1.5", "h", "1 h 30 min"),
        ("12,5 kg", "12.5", "kg", "12.5 kg"),
        ("5 TONS", "5", "long ton", "5 long ton (long ton: 2240 lb)"),
        ("5 t", "5", "tonne", "5 tonne (tonne: 1000 kg)"),
        ("1000 ihp", "1000", "hp", "1000 hp (hp: 550 ft lbf/s)"),
        ("10 gal", "10", "gallon", "10 gallon (gallon: imperial, 4.54609 litres)"),
        ("90 strokes per minute", "90", "strokes/min", "90 strokes/min"),
        ("10 lb.ft", "10", "lbf ft", "10 lbf ft"),
        ("100 mm4", "100", "mm⁴", "100 mm⁴"),
        ("3 square feet", "3", "ft²", "3 ft²"),
        ("1.5 km", "1.5", "km", "1.5 km"),
        ("7½°", "7.5", "°", "7 1/2 °"),
        ("4 ft 8 1/2 in", "1435.1", "mm", "4 ft 8 1/2 in"),
        ("20 kilogrammes", "20", "kg", "20 kg"),
        ("180 lbs. per sq. in.", "180", "lbf/in²", "180 lbf/in²"),
    ],
)
def test_reading(text: str, value: str, unit: str, read_as: str) -> None:
    """Numbers are exact, units are echoed with what was meant by them."""
    law = "same pressure" if "sq. in" in text else None
    scaled = scale_quantity(text, TWELFTH, law=law)
    assert (Fraction(value), unit, text) == (scaled.full_value, scaled.unit, scaled.text)
    assert scaled.read_as.startswith(read_as)


@pytest.mark.parametrize(
    ("text", "unit_out"),
    [
        ("36 tons", "lb"),
        ("5 t", "kg"),
        ("10 lb", "oz"),
        ("10 gallons", "fl oz"),
        ("20 kN", "N"),
        ("1000 hp", "hp"),
        ("1.5 km", "m"),
        ("0 tons", "long ton"),
        ("1/2 rev", "rev"),
        ("25 mile/h", "mile/h"),
    ],
)
def test_answer_steps_down_to_a_handy_unit(text: str, unit_out: str) -> None:
    """Below 1 the answer moves to a smaller unit of its family; the value stays the same."""
    scaled = scale_quantity(text, TWELFTH)
    assert unit_out == scaled.unit_out
    if scaled.full_value:
        back = scale_quantity(text, TWELFTH, into=scaled.unit)
        assert back.scaled_lower <= back.scaled_upper
        ratio = scaled.scaled_lower / back.scaled_lower
        assert ratio == convert(f"1 {scaled.unit}", scaled.unit_out)


@pytest.mark.parametrize(
    ("text", "problem", "advice"),
    [
        ("5", "no unit", "120 lb"),
        ("lb", '"lb" where a number', ""),
        ("", "nothing", ""),
        ("5 /s", "no figures after the stroke", ""),
        ("5 lb/", "no unit", ""),
        ("5 sq", "no unit", ""),
        ("5 xyzzy", '"xyzzy"', ""),
        ("5 pond", '"pond"', '"pound"'),
        ("5 kw", '"kw"', '"kW"'),
        ("10 V", '"V"', ""),
        ("1e3 kg", "power of ten", ""),
        ("-3 kg", '"-"', "sign"),
        ("1,250 kg", "thousands or decimals", '"1250" or "1.250"'),
        ("60 °C", "a temperature", ""),
        ("300 K", "a temperature", ""),
        ("20 lb/sq ft", "a pressure, or the weight of plate", "lbf/sq ft"),
        ("10 kg/m^2", "a pressure, or the weight of plate", ""),
        ("5 lb/in ft", "above or below", "stroke"),
        ("5 lb^9", '"^9" as a power', ""),
        ("5 lb22", '"22" as a power', ""),
        ("3 kg m/s", "mass to the power 1, length to the power 1, time to the power -1", "force"),
        ("5 deg/s", "degrees with another unit", "rev/min"),
        ("10 lb 20 oz", "10 lb 20 oz", "36 tons 4 cwt"),
        ("10.5 lb 2 oz", "10.5 lb 2 oz", ""),
        ("2 lb 4 s", "2 lb 4 s", ""),
        ("4' 14\"", "after feet", '"5 ft 2 in"'),
        ("1 m 20 mm", "m and then mm", ""),
        ("99 SWG", "99 SWG", ""),
        ("361°", "361", ""),
        ("9" * 40 + " kg", "9999", "look at the number"),
        ("x" * 5000, "5000 characters", ""),
    ],
)
def test_refusals(text: str, problem: str, advice: str) -> None:
    """What cannot be read is refused, with what was read and what to write."""
    error = refusal(text)
    assert problem in error.problem
    assert advice in error.advice
    assert len(str(error)) < 700
    copy = pickle.loads(pickle.dumps(error))
    assert str(error) == str(copy)


def test_unit_of_the_answer_must_fit() -> None:
    """The unit asked for must be of the same kind, alone, and of one dimension."""
    for text, into in (
        ("5 lb", "mm"),
        ("5 lb", "kg 2"),
        ("5 lb", ""),
        ("24 teeth", "deg"),
        ("5 lb", "x" * 900),
    ):
        assert refusal(text, into=into)
    assert scale_quantity("24 teeth", TWELFTH, into="teeth").scaled == 24


@pytest.mark.parametrize(
    "ratio", [Fraction(0), Fraction(-1, 12), Fraction(10**7), Fraction(1, 10**7)]
)
def test_odd_ratios_are_refused(ratio: Fraction) -> None:
    """No scale of 0, none below 0, none beyond a million."""
    with pytest.raises(QuantityError, match="scale"):
        scale_quantity("5 lb", ratio)


@settings(deadline=None)
@given(
    st.text(max_size=30)
    | st.text(alphabet="0123456789./ ^²³-·°'lbftinsqckgmhpNWr", max_size=14).map(lambda t: "5 " + t)
)
@example("5 a a lb")
@example("5 lb per per s")
@example("swg")
def test_any_text_is_read_or_refused(text: str) -> None:
    """Any text at all gives a quantity or a QuantityError."""
    try:
        scaled = scale_quantity(text, TWELFTH)
    except QuantityError as error:
        assert "\n" not in str(error)
    else:
        assert isinstance(scaled, ScaledQuantity)
        assert 0 <= scaled.scaled_lower <= scaled.scaled_upper


def test_pint_is_loaded_only_when_a_quantity_is_read() -> None:
    """Importing the module loads no pint."""
    code = "import sys, scaler.measures.quantities; print('pint' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
