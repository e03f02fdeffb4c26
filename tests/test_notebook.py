"""Results in a notebook: whatever has a frame shows itself as a table, with its text escaped."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from collections.abc import Callable
from pathlib import Path

import pytest

import scaler
from scaler import examples
from scaler.as_made.making_order import making_order
from scaler.chains.chain import chain
from scaler.checking.explaining import explain
from scaler.checking.workability import workability
from scaler.desk.materials_list import materials
from scaler.desk.scale_off import read_segments, scale_off
from scaler.desk.tables_in import read_sizes
from scaler.settling.reduce import reduce
from scaler.substitution.substitute import substitute
from scaler.substitution.sweep import sweep


def with_frames() -> list[type]:
    """Every class of the library whose ``frame`` needs nothing more."""
    found = []
    for item in pkgutil.walk_packages(scaler.__path__, "scaler."):
        if item.name.startswith(("scaler.cli", "scaler.catalogues", "scaler.examples")):
            continue
        module = importlib.import_module(item.name)
        for _, kind in inspect.getmembers(module, inspect.isclass):
            frame = vars(kind).get("frame")
            if kind.__module__ == item.name and frame is not None:
                needed = [
                    p
                    for p in inspect.signature(frame).parameters.values()
                    if p.default is p.empty and p.name != "self"
                ]
                if not needed:
                    found.append(kind)
    return found


def test_whatever_has_a_frame_shows_itself() -> None:
    """No result is left out."""
    kinds = with_frames()
    assert len(kinds) >= 12
    assert [kind.__name__ for kind in kinds if not hasattr(kind, "_repr_html_")] == []


def _scaled_off(folder: Path) -> object:
    (folder / "points.csv").write_text(
        "name,x1,y1,x2,y2,known\na,0,0,100,0,10 ft\nb,0,0,0,50,5 ft\nc,0,0,50,0,5 ft\n"
        "<b>d</b>.length,0,0,20,0,\n",
        encoding="utf-8",
    )
    return scale_off(read_segments(folder / "points.csv"))


def _sizes(folder: Path) -> object:
    (folder / "sizes.csv").write_text("part,size,full\naxle,journal,2 in\n", encoding="utf-8")
    return read_sizes(folder / "sizes.csv")


RESULTS: dict[str, Callable[[scaler.Model, Path], object]] = {
    "reduce": lambda model, _: reduce(model),
    "check": lambda model, _: scaler.check(model),
    "explain": lambda model, _: explain(model, "shaft.journal"),
    "chain": lambda model, _: chain(model, "roller_end_play", draws=0),
    "workability": lambda model, _: workability(model),
    "next": lambda model, _: making_order(model),
    "substitute": lambda model, _: substitute(model),
    "sweep": lambda model, _: sweep(model, "1:8", "1:9", 2),
    "materials": lambda model, _: materials(reduce(model)),
    "scale-off": lambda _, folder: _scaled_off(folder),
    "sizes-in": lambda _, folder: _sizes(folder),
}


@pytest.mark.parametrize("name", RESULTS)
def test_a_result_is_a_table(name: str, tmp_path: Path) -> None:
    """One table, with no text of the user's as markup."""
    result = RESULTS[name](examples.load("starter"), tmp_path)
    page = result._repr_html_()  # type: ignore[attr-defined]
    assert page.count("<table") == 1 and "<b>" not in page


def test_a_rule_of_two_methods_is_no_pair_of_bounds() -> None:
    """In frames as in CSV: limits become two columns, a list of methods stays one."""
    frame = reduce(examples.load("starter")).frame()
    assert "limits_mm_min" in frame and "limits_mm_rational_max" in frame
    assert not {"rule_min", "rule_max"} & set(frame)
    journal = frame.set_index("id").loc["shaft.journal"]
    assert journal["rule"] == ["ground bar", "turned step 0.01 mm"]
