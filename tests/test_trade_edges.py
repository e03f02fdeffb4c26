"""Ends of the rules for fits, grades and deviations, and the words of refusals.

Each was found by a fault that no other test noticed. Where a figure stands for the trade its source
is named; the rest follows from the docstring of what is tested.
"""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from scaler.trade import iso286
from scaler.trade.iso286_formulae import (
    _grade_step_um,
    compare_deviations,
    deviation_um_approx,
    tolerance_um_approx,
)
from scaler.trade.trade_fits import UnknownFit, find_trade_fit

# --------------------------------------------------------------------------------------- ISO 286


def test_a_window_may_be_of_no_width() -> None:
    """No tolerance is nothing, so that no fit lies in it; but it is not turned round."""
    assert iso286.classes_within(5, 5, 25) == ()
    with pytest.raises(iso286.Iso286Error, match="more than the greatest"):
        iso286.classes_within(6, 5, 25)


def test_the_widest_inside_a_window_comes_first() -> None:
    """Of equal choice and basis, the widest tolerances are the easiest to make."""
    found = iso286.classes_within(None, None, 25)
    keys = [(not one.first_choice, one.basis) for one in found]
    assert keys == sorted(keys)
    for key in set(keys):
        widths = [one.limits.width_um for one, own in zip(found, keys, strict=True) if own == key]
        assert widths == sorted(widths, reverse=True)
    assert len({one.limits.width_um for one in found}) > 3


def test_deviations_in_both_units() -> None:
    """H7 at 25 mm: 0 and +21 µm; g6: −20 and −7 µm (ISO 286-2 tables, from memory)."""
    hole, shaft = iso286.deviations("H7", 25), iso286.deviations("g6", 25)
    assert (hole.lower_mm, hole.upper_mm) == (0, F("0.021"))
    assert (shaft.lower_mm, shaft.upper_mm) == (F("-0.020"), F("-0.007"))


def test_the_finest_grades_to_500() -> None:
    """IT01 = 0.3 + 0.008 D, IT0 = 0.5 + 0.012 D, up to and with 500 mm (ISO 286-1:1988, annex A,
    from memory); above there are none."""
    assert tolerance_um_approx("01", 500) == pytest.approx(4.3, rel=1e-12)
    assert tolerance_um_approx("0", 500) == pytest.approx(6.5, rel=1e-12)
    with pytest.raises(KeyError):
        tolerance_um_approx("0", 500.1)


@pytest.mark.parametrize(
    ("grade", "mean", "value", "step"),
    [
        ("4", 100, 4, 0.5),
        ("5", 100, 4, 1),  # the finer steps end with grade 4
        ("7", 500, 61, 1),
        ("7", 500.5, 61, 2),
        ("7", 500, 501, 10),
        ("7", 500.5, 5001, 200),
    ],
)
def test_steps_of_tolerances_change_above_500(
    grade: str, mean: float, value: float, step: float
) -> None:
    """Rounding of the standard tolerances (ISO 286-1:1988, annex A, from memory)."""
    assert _grade_step_um(value, grade, mean) == step


@pytest.mark.parametrize(
    ("letter", "above", "up_to", "value"),
    [  # formulae of ISO 286-1:1988, annex A, from memory; D² is the product of the ends
        ("a", 0, 3, 265 + 1.3 * 3**0.5),
        ("a", 100, 120, 265 + 1.3 * 12_000**0.5),
        ("a", 120, 140, 3.5 * 16_800**0.5),
        ("c", 30, 40, 52 * 1200**0.1),
        ("c", 40, 50, 95 + 0.8 * 2000**0.5),
        ("k", 450, 500, 0.6 * 225_000 ** (1 / 6)),
        ("k", 500, 560, None),
        ("p", 4, 9, 12),  # the mean is 6, IT7 over 3 up to and with 6 is 12
        ("t", 0, 3, None),
        ("t", 24, 30, 21 + 0.63 * 720**0.5),  # IT7 is 21
    ],
)
def test_where_a_formula_ends(letter: str, above: int, up_to: int, value: float | None) -> None:
    """The last range of one formula, and the first of the next."""
    found = deviation_um_approx(letter, above, up_to)
    assert found == (None if value is None else pytest.approx(value, rel=1e-12))


@pytest.mark.parametrize(
    ("letter", "range_", "printed", "formula", "rounded", "step"),
    [  # printed and IT figures of the ISO 286 tables, formulae as above, from memory
        ("g", "over 24 to 30", 7, 2.5 * 540**0.17, 7, 1),  # one figure from 18 to 30
        ("r", "over 24 to 30", 28, (22 * 35) ** 0.5, 28, 1),  # between p and s
        ("ef", "over 6 to 10", 18, (25 * 13) ** 0.5, 18, 1),
        ("k", "over 250 to 280", 4, 0.6 * 78_750 ** (1 / 6), 4, 1),
        ("u", "over 250 to 280", 315, 52 + 70_000**0.5, 315, 5),
        ("za", "over 250 to 280", 920, 81 + 3.15 * 70_000**0.5, 920, 20),
    ],
)
def test_deviations_beside_their_formulae(
    letter: str, range_: str, printed: int, formula: float, rounded: int, step: int
) -> None:
    """A cell of each sort: of a whole range, of a part of one, between two others, rounded."""
    cells = [one for one in compare_deviations() if (one.name, one.range_) == (letter, range_)]
    assert [(one.printed_um, one.rounded_um, one.step_um) for one in cells] == [
        (printed, rounded, step)
    ]
    assert cells[0].formula_um_approx == pytest.approx(formula, rel=1e-12)


# -------------------------------------------------------------------------------- fits of the trade


@pytest.mark.parametrize(
    ("asked", "names"),
    [
        # as the names and other names of the table have letters in common, the nearest first
        ("soldered", ("soft soldered", "silver soldered", "slide", "silver soldered bush")),
        ("easy runing", ("easy running", "running", "close running", "precision running")),
        ("pistn", ("piston with iron rings", "piston with soft packing", "piston with O-ring")),
    ],
)
def test_the_nearest_fits_are_offered(asked: str, names: tuple[str, ...]) -> None:
    """Four at most, each once, though several of its names are near."""
    with pytest.raises(UnknownFit) as caught:
        find_trade_fit(asked, F(25))
    assert caught.value.nearest == names


def test_a_window_of_two_fits_says_where_it_ends() -> None:
    """The handbook prints lines, the table of limits windows."""
    lines = find_trade_fit("normal run to easy run", F(16))
    assert lines.note == "From the tight end of the first to the line of the second."
    windows = find_trade_fit("push to running", F(16), "workshop limit table")
    assert windows.note == "From the tight end of the first to the loose limit of the second."


@pytest.mark.parametrize("asked", ["/push", "push/"])
def test_half_a_window_is_no_fit(asked: str) -> None:
    """The refusal names what was written, and the fit that was perhaps meant."""
    with pytest.raises(UnknownFit, match=f"“{asked}”; known are push$"):
        find_trade_fit(asked, F(25))
