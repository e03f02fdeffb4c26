"""Ends of the rules for fits, grades and deviations, and the words of refusals.

Each was found by a fault that no other test noticed. Where a figure stands for the trade its source
is named; the rest follows from the docstring of what is tested.
"""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from scaler.trade import iso286
from scaler.trade.iso286_formulae import tolerance_um_approx
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


# -------------------------------------------------------------------------------- fits of the trade


@pytest.mark.parametrize(
    ("asked", "names"),
    [
        # as the names and other names of the table have letters in common, the nearest first
        ("soldered", ("soft soldered", "silver soldered", "slide", "silver soldered bush")),
        ("pistn", ("piston with iron rings", "piston with soft packing", "piston with O-ring")),
    ],
)
def test_the_nearest_fits_are_offered(asked: str, names: tuple[str, ...]) -> None:
    """Four at most, each once, though several of its names are near."""
    with pytest.raises(UnknownFit) as caught:
        find_trade_fit(asked, F(25))
    assert caught.value.nearest == names
