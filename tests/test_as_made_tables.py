"""The tables of cuts and repairs, and what is made of the table of shims."""

from __future__ import annotations

from fractions import Fraction
from string import Formatter

import pytest

from scaler import catalogue
from scaler.as_made.move import Repair, mm, repairs
from scaler.as_made.saved import shims
from scaler.records import Kind

CAUTIONS = {row.text("designation") for row in catalogue.table("caution_texts").rows}


@pytest.mark.parametrize("repair", repairs().values(), ids=lambda r: r.name)
def test_every_repair_makes_sense(repair: Repair) -> None:
    """Kinds and cautions are known ones; its words can be filled in; its effort has a place."""
    assert set(repair.kinds) <= {kind.value for kind in Kind}
    assert set(repair.not_on) <= CAUTIONS
    named = {name for _, name, _, _ in Formatter().parse(repair.text) if name}
    assert named <= {"verb", "size", "before", "after", "amount", "part"}
    assert 0 <= repair.effort <= 5
    assert repair.source == "common practice"


def test_the_order_of_the_trade() -> None:
    """Recut, then shim, then sleeve and bush, then retaining compound, then the part again.

    Common practice: alter the part not yet made; re-cut the cheaper one; bush, sleeve or shim;
    retaining compound; scrap.
    """
    order = {name: repair.effort for name, repair in repairs().items()}
    assert order["recut"] < order["shim"] < order["sleeve"] <= order["bush"]
    assert order["bush"] < order["retaining compound"] < order["remake"]


def test_no_packing_on_safety_parts() -> None:
    """Shims, sleeves and bushes are not offered on wheels, axles, pins and lifting parts."""
    for name in ("shim", "sleeve", "bush"):
        assert {"safety part", "lifting", "carrying people"} <= set(repairs()[name].not_on)


def test_shims_single_and_two_together() -> None:
    """Every shim of the table, then any two of them; thicknesses exact."""
    rows = catalogue.table("parts_shims").rows
    found = shims()
    assert len(found) == len(rows) + len(rows) * (len(rows) + 1) // 2
    by_name = {name: thick for thick, name in found}
    assert by_name["0.04 mm shim"] == Fraction("0.04")
    assert by_name["0.001 in shim"] == Fraction("0.0254")  # 25.4 mm to the inch
    assert by_name["0.02 mm shim and 0.05 mm shim"] == Fraction("0.07")


def test_lengths_for_a_sentence() -> None:
    """No more places than a figure has; four at most."""
    assert [mm(Fraction(text)) for text in ("28.96", "12", "12.015", "0.00005", "-1.50")] == [
        "28.96",
        "12",
        "12.015",
        "0.0001",
        "-1.5",
    ]
