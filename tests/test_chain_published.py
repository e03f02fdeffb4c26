"""Chains against published examples and general-purpose libraries, each with its source."""

from __future__ import annotations

import math
from fractions import Fraction as F
from itertools import product

import numpy
import pytest
from scipy import stats
from uncertainties import ufloat, umath

from scaler.chains.chain import Given, chain_of
from scaler.chains.expressions import effective
from scaler.settling.solve import middle


def plus_minus(basic: str, half: str | F, **more: object) -> Given:
    """A size ± half its tolerance."""
    return Given(F(basic), -F(half), F(half), **more)  # type: ignore[arg-type]


def standard(basic: str, uncertainty: float, **more: object) -> Given:
    """A size whose standard deviation is the figure given: ± three times it."""
    half = 3 * F(uncertainty)
    return Given(F(basic), -half, half, reading=True, **more)  # type: ignore[arg-type]


# --- linear stack: shaft and housing with two bearings, a ring and a cap
# Chase and Greenwood, Design issues in mechanical tolerance analysis, Manufacturing Review 1
# (1988), the shaft and housing assembly [in]: dimensions, the mean clearance 0.020, worst limit
# 0.0245 and root sum square 0.0111. From memory.

SHAFT_AND_HOUSING = {
    "ring.width": plus_minus("0.0505", "0.0015"),
    "shaft.length": plus_minus("8.000", "0.008"),
    "bearing_1.width": plus_minus("0.5093", "0.0025"),
    "housing.shoulder": plus_minus("0.400", "0.002"),
    "housing.length": plus_minus("7.711", "0.006"),
    "cap.spigot": plus_minus("0.400", "0.002"),
    "bearing_2.width": plus_minus("0.5093", "0.0025"),
}
CLEARANCE = (
    "shaft.length + housing.shoulder + cap.spigot - ring.width - bearing_1.width "
    "- housing.length - bearing_2.width"
)


def test_shaft_and_housing_worst_limit_and_root_sum_square() -> None:
    """Mean clearance, worst limit and root sum square of the published stack."""
    found = chain_of(CLEARANCE, SHAFT_AND_HOUSING, draws=0)
    assert round(float(middle(found.basic)), 3) == 0.020  # type: ignore[arg-type]
    low, high = found.worst_case
    assert low is not None and high is not None
    assert (high - low) / 2 == F("0.0245")
    spread = middle(found.root_sum_square[1]) - middle(found.mean)  # type: ignore[arg-type]
    assert round(float(spread), 4) == 0.0111


# --- one-way clutch
# Chase, Tolerance analysis of 2-D and 3-D assemblies (one-way clutch): hub a = 27.645 ± 0.0125,
# roller c = 11.430 ± 0.010, ring e = 50.800 ± 0.0125 mm, contact angle acos((a+c)/(e−c)) =
# 7.0184 deg; sensitivities −0.2079, −0.4142 and 0.2063 rad/mm. Angle as stated with the task,
# dimensions and sensitivities from memory; both are worked out again below in other ways.

CLUTCH = {
    "hub.radius": plus_minus("27.645", "0.0125"),
    "roller.radius": plus_minus("11.430", "0.010"),
    "ring.radius": plus_minus("50.800", "0.0125"),
}
CONTACT = "acos((hub.radius + roller.radius) / (ring.radius - roller.radius))"


def test_one_way_clutch_contact_angle_and_sensitivities() -> None:
    """The published angle and sensitivities, in degrees and radians per millimetre."""
    found = chain_of(CONTACT, CLUTCH, unit="deg", draws=0)
    assert round(float(middle(found.basic)), 4) == 7.0184  # type: ignore[arg-type]
    published = {"hub.radius": -0.2079, "roller.radius": -0.4142, "ring.radius": 0.2063}
    for name, radians in published.items():
        slope = math.radians(float(effective(found.contributor(name).sensitivity)))
        assert round(slope, 4) == radians


def test_one_way_clutch_against_uncertainties() -> None:
    """Sensitivities and standard deviation against the uncertainties package."""
    a, c, e = ufloat(27.645, 0.0125 / 3), ufloat(11.43, 0.01 / 3), ufloat(50.8, 0.0125 / 3)
    angle = umath.acos((a + c) / (e - c)) * 180 / math.pi
    found = chain_of(CONTACT, CLUTCH, unit="deg", draws=0)
    for name, variable in (("hub.radius", a), ("roller.radius", c), ("ring.radius", e)):
        slope = float(effective(found.contributor(name).sensitivity))
        assert slope == pytest.approx(angle.derivatives[variable], rel=1e-9)
    sigma = float(middle(found.standard_deviation))  # type: ignore[arg-type]
    assert sigma == pytest.approx(angle.std_dev, rel=1e-9)


def test_one_way_clutch_worst_case_is_at_the_corners() -> None:
    """The certified worst case against the eight corners, worked out with numpy."""
    found = chain_of(CONTACT, CLUTCH, unit="deg", draws=0)
    ends = [[float(given.box.lower), float(given.box.upper)] for given in CLUTCH.values()]
    corners = [float(numpy.degrees(numpy.arccos((a + c) / (e - c)))) for a, c, e in product(*ends)]
    low, high = found.worst_case
    assert float(low) == pytest.approx(min(corners), abs=1e-9)  # type: ignore[arg-type]
    assert float(high) == pytest.approx(max(corners), abs=1e-9)  # type: ignore[arg-type]
    assert float(low) <= min(corners) + 1e-12  # type: ignore[arg-type]
    assert float(high) >= max(corners) - 1e-12  # type: ignore[arg-type]


# --- end-gauge calibration, JCGM 100:2008 (GUM), H.1 [nm, K]; read second-hand in the example
# 'Gauge block measurement (GUM H1)' of the documentation of the GTC library (MSLNZ): length
# 50 000 838 nm, standard uncertainty 32 nm, and the component of every influence.

END_GAUGE = {
    "standard.length": standard("50000623", 25.0),
    "difference.mean": standard("215", 5.8),
    "difference.random": standard("0", 3.9),
    "difference.systematic": standard("0", 6.7),
    "expansion.standard": standard("0.0000115", 2e-6 / math.sqrt(3)),
    "expansion.difference": standard("0", 1e-6 / math.sqrt(3)),
    "temperature.difference": standard("0", 0.05 / math.sqrt(3)),
    "temperature.mean": standard("-0.1", 0.2),
    "temperature.cycle": standard("0", 0.5 / math.sqrt(2)),
}
GAUGE_LENGTH = (
    "standard.length + difference.mean + difference.random + difference.systematic"
    " - standard.length * (expansion.difference * (temperature.mean + temperature.cycle)"
    " + expansion.standard * temperature.difference)"
)
COMPONENTS = {
    "standard.length": 25.0,
    "temperature.difference": 16.599,
    "difference.systematic": 6.7,
    "difference.mean": 5.8,
    "difference.random": 3.9,
    "expansion.difference": 2.88679,
    "expansion.standard": 0.0,
    "temperature.mean": 0.0,
    "temperature.cycle": 0.0,
}


def test_end_gauge_of_the_gum() -> None:
    """Length, combined standard uncertainty and every component of the published budget."""
    found = chain_of(GAUGE_LENGTH, END_GAUGE, unit="nm", draws=0)
    assert found.basic == 50_000_838
    assert round(float(middle(found.standard_deviation))) == 32  # type: ignore[arg-type]
    for name, nanometres in COMPONENTS.items():
        item = found.contributor(name)
        part = abs(float(effective(item.sensitivity))) * float(item.given.tolerance) / 6
        assert part == pytest.approx(nanometres, abs=0.001)


# --- random draws: JCGM 101:2008 (GUM Supplement 1), clause 9.2, the additive model of four
# quantities. Four normal of u = 1: 95 % within ± 3.92; four rectangular of u = 1: ± 3.88; one of
# them of u = 10: standard deviation 10.1 and ± 17.0. From memory; the first two are also worked
# out below from the normal and the Irwin-Hall distribution.

FOUR = " + ".join(f"input_{n}.value" for n in range(1, 5))


def _four(*uncertainties: float) -> dict[str, Given]:
    root3 = math.sqrt(3)
    return {
        f"input_{n}.value": plus_minus("0", F(root3 * u), reading=True, kind="position")
        for n, u in enumerate(uncertainties, 1)
    }


def _irwin_hall_end(chance: float) -> float:
    """Half width that holds the chance, for a sum of four uniform of standard deviation 1."""
    half = math.sqrt(3)

    def below(x: float) -> float:
        total = sum((-1) ** k * math.comb(4, k) * max(0.0, x - k) ** 4 for k in range(5))
        return total / math.factorial(4)

    low, high = 2.0, 4.0
    for _ in range(60):
        centre = (low + high) / 2
        low, high = (centre, high) if below(centre) < (1 + chance) / 2 else (low, centre)
    return (low - 2.0) * 2 * half


def test_four_rectangular_of_supplement_1() -> None:
    """Mean, standard deviation and 95 % interval of four rectangular quantities."""
    assert _irwin_hall_end(0.95) == pytest.approx(3.88, abs=0.005)
    drawn = chain_of(FOUR, _four(1, 1, 1, 1), distribution="uniform", draws=1_000_000).monte_carlo
    assert drawn is not None
    assert drawn.mean == pytest.approx(0.0, abs=0.01)
    assert drawn.sd == pytest.approx(2.0, abs=0.01)
    ends = dict(drawn.percentiles)
    assert ends[2.5] == pytest.approx(-3.88, abs=0.02)
    assert ends[97.5] == pytest.approx(3.88, abs=0.02)


def test_four_normal_of_supplement_1() -> None:
    """The same for four normal quantities."""
    sizes = {name: standard("0", 1.0, kind="position") for name in _four(1, 1, 1, 1)}
    drawn = chain_of(FOUR, sizes, draws=1_000_000).monte_carlo
    assert drawn is not None
    assert drawn.sd == pytest.approx(2.0, abs=0.01)
    assert dict(drawn.percentiles)[97.5] == pytest.approx(3.92, abs=0.02)


def test_rectangular_of_other_widths_of_supplement_1() -> None:
    """One of the four ten times as wide: the result is nearly rectangular."""
    drawn = chain_of(FOUR, _four(1, 1, 1, 10), distribution="uniform", draws=1_000_000).monte_carlo
    assert drawn is not None
    assert drawn.sd == pytest.approx(10.1, abs=0.06)
    assert dict(drawn.percentiles)[97.5] == pytest.approx(17.0, abs=0.06)


# --- chances, against scipy.stats


def test_chance_of_a_normal_chain() -> None:
    """The chance inside two standard deviations is that of the normal distribution."""
    sizes = {"box.gap": plus_minus("10", "0.03"), "block.width": plus_minus("9.9", "0.04")}
    sigma = math.hypot(0.01, 0.04 / 3)
    window = (F("0.1") - F(2 * sigma), F("0.1") + F(sigma))
    drawn = chain_of("box.gap - block.width", sizes, wanted=window, draws=400_000).monte_carlo
    assert drawn is not None and drawn.chance is not None
    assert drawn.chance_standard_error is not None
    expected = stats.norm.cdf(1) - stats.norm.cdf(-2)
    assert abs(drawn.chance - expected) < 4 * drawn.chance_standard_error
    # the standard error of a proportion: any textbook of statistics
    assert drawn.chance_standard_error == pytest.approx(
        math.sqrt(expected * (1 - expected) / 400_000), rel=0.02
    )


@pytest.mark.parametrize("distribution", ["uniform", "triangular"])
def test_draws_follow_their_distribution(distribution: str) -> None:
    """Standard deviation and percentiles of one size against scipy.stats."""
    drawn = chain_of(
        "box.gap", {"box.gap": plus_minus("10", "0.5")}, distribution=distribution, draws=400_000
    ).monte_carlo
    assert drawn is not None
    exact = {
        "uniform": stats.uniform(9.5, 1.0),
        "triangular": stats.triang(0.5, 9.5, 1.0),
    }[distribution]
    assert drawn.sd == pytest.approx(exact.std(), rel=0.01)
    for percent, value in drawn.percentiles:
        assert value == pytest.approx(exact.ppf(percent / 100), abs=0.004)
    assert drawn.lowest >= 9.5 and drawn.highest <= 10.5


def test_difference_of_two_uniform_sizes_is_triangular() -> None:
    """The chance that two parts picked blindly go together, against scipy.stats.triang."""
    sizes = {"box.gap": plus_minus("10", "0.05"), "block.width": plus_minus("9.95", "0.05")}
    drawn = chain_of(
        "box.gap - block.width",
        sizes,
        wanted=(F(0), None),
        distribution="uniform",
        draws=400_000,
    ).monte_carlo
    assert drawn is not None and drawn.chance is not None
    expected = 1 - stats.triang(0.5, -0.05, 0.2).cdf(0.0)  # 1 − 0.05²/(2·0.1²) = 0.875
    assert expected == pytest.approx(0.875)
    assert abs(drawn.chance - expected) < 4 * math.sqrt(0.875 * 0.125 / 400_000)


# --- slider-crank and Pythagoras, against uncertainties and numpy
# Position of the crosshead r·cos θ + √(l² − r²·sin² θ): any textbook of mechanisms.

SLIDER = "crank.throw * cos(crank.angle) + sqrt(rod.centres^2 - (crank.throw * sin(crank.angle))^2)"
SLIDER_SIZES = {
    "crank.throw": plus_minus("26.5", "0.02"),
    "crank.angle": plus_minus("60", "0.25", kind="angle"),
    "rod.centres": plus_minus("203.5", "0.03"),
}


def test_slider_crank_against_uncertainties() -> None:
    """Position, sensitivities (per degree for the angle) and standard deviation."""
    r, t, length = ufloat(26.5, 0.02 / 3), ufloat(60, 0.25 / 3), ufloat(203.5, 0.03 / 3)
    theta = t * math.pi / 180
    place = r * umath.cos(theta) + umath.sqrt(length**2 - (r * umath.sin(theta)) ** 2)
    found = chain_of(SLIDER, SLIDER_SIZES, draws=0)
    assert float(middle(found.basic)) == pytest.approx(place.nominal_value, rel=1e-12)  # type: ignore[arg-type]
    variables = {"crank.throw": r, "crank.angle": t, "rod.centres": length}
    for name, variable in variables.items():
        slope = float(effective(found.contributor(name).sensitivity))
        assert slope == pytest.approx(place.derivatives[variable], rel=1e-9)
    sigma = float(middle(found.standard_deviation))  # type: ignore[arg-type]
    assert sigma == pytest.approx(place.std_dev, rel=1e-9)


def test_slider_crank_worst_case_and_draws() -> None:
    """Corners by numpy give the worst case here; bounded draws stay inside it."""
    found = chain_of(SLIDER, SLIDER_SIZES, distribution="uniform", draws=50_000)
    ends = [[float(g.box.lower), float(g.box.upper)] for g in SLIDER_SIZES.values()]
    r, t, length = numpy.array(list(product(*ends))).T
    theta = numpy.radians(t)
    corners = r * numpy.cos(theta) + numpy.sqrt(length**2 - (r * numpy.sin(theta)) ** 2)
    low, high = (float(end) for end in found.worst_case)  # type: ignore[arg-type]
    assert low == pytest.approx(corners.min(), abs=1e-7)
    assert high == pytest.approx(corners.max(), abs=1e-7)
    assert found.monte_carlo is not None
    assert low <= found.monte_carlo.lowest and found.monte_carlo.highest <= high


def test_dead_centre_is_certified_although_it_is_not_monotone() -> None:
    """Through dead centre the greatest reach lies inside the angle's limits, not at a corner."""
    sizes = {**SLIDER_SIZES, "crank.angle": plus_minus("0", "2", kind="angle")}
    found = chain_of(SLIDER, sizes, draws=0)
    low, high = (float(end) for end in found.worst_case)  # type: ignore[arg-type]
    assert high == pytest.approx(26.52 + 203.53, abs=1e-4)
    assert high >= 26.52 + 203.53 - 1e-9
    swung = math.radians(2)
    least = min(
        r * math.cos(swung) + math.sqrt(203.47**2 - (r * math.sin(swung)) ** 2)
        for r in (26.48, 26.52)
    )
    assert low == pytest.approx(least, abs=1e-4)
    assert low <= least + 1e-9


def test_pythagoras_is_exact_where_it_can_be() -> None:
    """A 3-4-5 triangle: exact basic size and sensitivities 3/5 and 4/5 (Euclid I.47)."""
    sizes = {"hole.x": plus_minus("30", "0.1"), "hole.y": plus_minus("40", "0.1")}
    found = chain_of("sqrt(hole.x^2 + hole.y^2)", sizes, draws=0)
    assert found.basic == 50
    assert found.contributor("hole.x").sensitivity == F(3, 5)
    assert found.contributor("hole.y").sensitivity == F(4, 5)
    low, high = found.worst_case
    assert float(low) == pytest.approx(math.hypot(29.9, 39.9), abs=1e-9)  # type: ignore[arg-type]
    assert float(high) == pytest.approx(math.hypot(30.1, 40.1), abs=1e-9)  # type: ignore[arg-type]


def test_sensitivities_are_those_of_differences() -> None:
    """Every sensitivity against a central difference (numerical, independent of any formula)."""
    cases = {
        CONTACT: (CLUTCH, lambda a, c, e: numpy.degrees(numpy.arccos((a + c) / (e - c)))),
        "hub.radius * roller.radius / ring.radius": (CLUTCH, lambda a, c, e: a * c / e),
    }
    for text, (sizes, function) in cases.items():
        found = chain_of(text, sizes, draws=0)
        at = [float(given.middle) for given in sizes.values()]
        for place, name in enumerate(sizes):
            step = 1e-5
            up, down = list(at), list(at)
            up[place] += step
            down[place] -= step
            difference = (function(*up) - function(*down)) / (2 * step)
            slope = float(effective(found.contributor(name).sensitivity))
            assert slope == pytest.approx(difference, rel=1e-6)


def test_mean_shift_by_hand() -> None:
    """Two sizes ± 0.03 with a shift of 1.5: 2·1.5·σ + 3·√2·σ with σ = 0.01 (by hand)."""
    sizes = {"a.x": plus_minus("10", "0.03"), "b.x": plus_minus("9", "0.03")}
    found = chain_of("a.x - b.x", sizes, mean_shift="1.5", draws=0)
    spread = float(middle(found.root_sum_square[1])) - 1.0  # type: ignore[arg-type]
    assert spread == pytest.approx(0.03 + 3 * math.sqrt(2) * 0.01, rel=1e-9)
    capable = chain_of("a.x - b.x", sizes, capability=2, draws=0)
    spread = float(middle(capable.root_sum_square[1])) - 1.0  # type: ignore[arg-type]
    assert spread == pytest.approx(3 * math.sqrt(2) * 0.005, rel=1e-9)


def test_mean_shift_of_draws_goes_to_the_nearer_end() -> None:
    """The shifted mean of the draws is by so many standard deviations, to the bad side."""
    sizes = {"a.x": plus_minus("10", "0.03"), "b.x": plus_minus("9", "0.03")}
    for window, sign in (((F("0.9"), F("1.5")), -1), ((F("0.5"), F("1.1")), 1)):
        drawn = chain_of("a.x - b.x", sizes, wanted=window, mean_shift=1, draws=200_000).monte_carlo
        assert drawn is not None
        assert drawn.mean == pytest.approx(1.0 + sign * 0.02, abs=4 * drawn.mean_standard_error)


def test_measured_draws_are_the_readings() -> None:
    """Draws from readings have their mean and (population) standard deviation, by numpy."""
    readings = [9.99, 10.0, 10.0, 10.02, 10.05]
    found = chain_of(
        "a.x - b.x",
        {"a.x": plus_minus("10", "0.1"), "b.x": Given(F(9))},
        measured={"a.x": readings},
        draws=200_000,
    )
    drawn = found.monte_carlo
    assert drawn is not None
    assert drawn.mean == pytest.approx(numpy.mean(readings) - 9, abs=0.0005)
    assert drawn.sd == pytest.approx(numpy.std(readings), rel=0.01)
    assert drawn.lowest == pytest.approx(0.99)
    assert drawn.highest == pytest.approx(1.05)


def test_copies_alike_or_apart() -> None:
    """Two cheeks from one bar double the spread; each for itself they make √2 (by hand)."""
    sizes = {"cheek.width": plus_minus("5", "0.03", copies=2)}
    alike = chain_of("2 * cheek.width", sizes, draws=200_000)
    apart = chain_of("2 * cheek.width", sizes, copies="apart", draws=200_000)
    assert alike.worst_case == apart.worst_case == (F("9.94"), F("10.06"))
    assert alike.standard_deviation == F("0.02")
    assert float(middle(apart.standard_deviation)) == pytest.approx(0.01 * math.sqrt(2))  # type: ignore[arg-type]
    assert alike.monte_carlo is not None and apart.monte_carlo is not None
    assert alike.monte_carlo.sd == pytest.approx(0.02, rel=0.01)
    assert apart.monte_carlo.sd == pytest.approx(0.01 * math.sqrt(2), rel=0.01)


def test_readings_and_origins_are_no_processes() -> None:
    """By hand: σ² = (0.03/3)² + (0.04/3)² + (0.06/3)²; only the first is shifted or capable."""
    sizes = {
        "a.x": plus_minus("10", "0.03", origin=F("0.04")),
        "b.x": plus_minus("9", "0.06", reading=True),
    }
    plain = chain_of("a.x - b.x", sizes, draws=0)
    variance = 0.01**2 + (0.04 / 3) ** 2 + 0.02**2
    sigma = float(middle(plain.standard_deviation))  # type: ignore[arg-type]
    assert sigma == pytest.approx(math.sqrt(variance), rel=1e-12)
    capable = chain_of("a.x - b.x", sizes, capability=2, mean_shift=1, draws=0)
    variance = 0.005**2 + (0.04 / 3) ** 2 + 0.02**2
    high = float(middle(capable.root_sum_square[1]))  # type: ignore[arg-type]
    assert high == pytest.approx(1 + 0.005 + 3 * math.sqrt(variance), rel=1e-12)
    drawn = chain_of("a.x - b.x", sizes, capability=2, draws=400_000).monte_carlo
    assert drawn is not None
    assert drawn.sd == pytest.approx(math.sqrt(variance), rel=0.01)
