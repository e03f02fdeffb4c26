"""Ends of the rules for fits, grades and deviations, and the words of refusals.

Each was found by a fault that no other test noticed. Where a figure stands for the trade its source
is named; the rest follows from the docstring of what is tested.
"""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from scaler.trade import iso286
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
