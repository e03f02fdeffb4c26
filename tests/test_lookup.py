"""Answers from the catalogues: the contract for scripts, and figures from outside."""

from __future__ import annotations

import csv
import io
import json
from typing import Any

import pytest
from click.testing import CliRunner, Result

from scaler.cli.main import cli
from scaler.lookup import KINDS, Options, look_up, sources


def run(*args: str) -> Result:
    """One call of lookup."""
    return CliRunner().invoke(cli, ["lookup", *args])


def answer(*args: str) -> Any:
    """Its JSON answer."""
    return json.loads(run(*args, "--format", "json").stdout)


def test_length_at_a_scale() -> None:
    """4 ft 8 1/2 in at 1:12. The inch is 25.4 mm exactly (international yard and pound, 1959)."""
    found = answer("length", "4ft 8 1/2in", "--scale", "1:12")
    assert found["full_mm_rational"] == "14351/10"  # 56.5 × 25.4
    assert found["scaled_mm_rational"] == "14351/120"
    assert found["scaled_inch"] == pytest.approx(56.5 / 12)
    assert found["nearest_64th"] == "4 45/64"
    assert found["nearest_64th_error_mm"] == pytest.approx((4 + 45 / 64 - 56.5 / 12) * 25.4)
    assert {"read_as", "full_mm", "scaled_mm"} <= set(found)


def test_length_without_a_scale() -> None:
    """Without --scale the nearest 64th is of the length itself."""
    found = answer("length", "10 mm")
    assert found["scaled_mm"] is None
    assert found["nearest_64th"] == "25/64"  # common practice: 13/32 is nearest among 32nds
    assert found["nearest_64th_error_mm"] == pytest.approx(25 / 64 * 25.4 - 10)


def test_facts_of_the_trade() -> None:
    """Common practice: 5/8 in bar is 15.875 mm, a 3/8 in slot 9.525 mm."""
    assert answer("length", "5/8 in")["full_mm"] == 15.875
    assert answer("length", "3/8 in")["full_mm"] == 9.525


def test_thread_contract() -> None:
    """2 BA: pitch 0.81 mm and major 4.7 mm (BS 93, second-hand in the table's copy)."""
    found = answer("thread", "2 BA")
    assert found["pitch_mm"] == 0.81
    assert found["major_mm"] == 4.7
    for key in (
        "designation", "series", "threads_per_inch", "effective_mm", "minor_mm",
        "tapping_drill_mm", "tapping_percent", "clearance_close_mm", "clearance_medium_mm",
        "clearance_free_mm", "source",
    ):  # fmt: skip
        assert found[key] is not None, key


def test_thread_percent_for_another_drill_and_back() -> None:
    """The per cent of a drill and the drill of a per cent are each other's inverse."""
    percent = answer("thread", "M6", "--drill", "5 mm")["drill_asked_percent"]
    drill = answer("thread", "M6", "--percent", str(percent))["drill_for_percent_mm"]
    assert drill == pytest.approx(5, abs=0.001)


def test_fit_contract() -> None:
    """25 H7/g6: hole 0 to +21, shaft -20 to -7 µm (ISO 286-2, tables for H and g)."""
    found = answer("fit", "25 H7/g6")
    assert (found["hole_lower_um"], found["hole_upper_um"]) == (0, 21)
    assert (found["shaft_lower_um"], found["shaft_upper_um"]) == (-20, -7)
    assert (found["clearance_min_um"], found["clearance_max_um"]) == (7, 41)
    assert "ISO 286" in found["source"]


def test_trade_fit_at_a_size_in_either_order() -> None:
    """A fit of the trade with its size before or behind it gives the same window."""
    one, other = answer("fit", "close run 16 mm", "16 mm close run")
    assert one["clearance_min_um"] == other["clearance_min_um"] > 0


def test_drill_gauge_and_stock_contracts() -> None:
    """No. 30 is 0.1285 in (ASME B94.11M); 16 SWG is 0.064 in (BS 3737); 1/2 in bar is 12.7 mm."""
    drill = answer("drill", "No. 30")
    assert drill["diameter_inch"] == 0.1285
    assert drill["series"] == "number"
    gauge = answer("gauge", "16 SWG")
    assert gauge["thickness_inch"] == 0.064
    assert gauge["thickness_mm"] == pytest.approx(1.6256)
    rows = answer("stock", "round bar, steel, 12.7 mm")["rows"]
    assert rows[0]["departure_mm"] == 0
    assert {"designation", "size_mm", "departure_mm", "source"} <= set(rows[0])


def test_near_gives_rows_above_and_below() -> None:
    """What is near 10 mm among the inch drills: 25/64 and 13/32 on either side."""
    rows = answer("near", "10 mm", "--in", "drills_inch", "--count", "1")["rows"]
    assert [row["designation"] for row in rows] == ["25/64 in", "13/32 in"]


def test_scale_and_quantity() -> None:
    """1 1/2 in to the foot is 1:8; mass goes with k³ (the same material throughout)."""
    assert answer("scale", "1 1/2 in : 1 ft")["denominator_rational"] == "8"
    found = answer("quantity", "512 lb", "--scale", "1:8")
    assert found["scaled_rational"] in ("1", "16")  # 1 lb, or 16 oz
    assert found["exponent"] == "3"


def test_quantity_without_a_scale_is_refused() -> None:
    """A quantity needs a scale."""
    assert "no scale" in answer("quantity", "5 lb")["error"]


def test_several_texts_give_a_list_and_misses_are_objects() -> None:
    """The order is kept; a miss has error and nearest, and the call ends with 2."""
    result = run("thread", "M3", "M3.1", "M4", "--format", "json")
    found = json.loads(result.stdout)
    assert [item.get("designation") for item in found] == ["M3", None, "M4"]
    assert found[1]["error"]
    assert "M3" in found[1]["nearest"]
    assert result.exit_code == 2


@pytest.mark.parametrize("kind", list(KINDS))
@pytest.mark.parametrize(
    "text", ["", " ", "\0", "💥", "=1+1", "-5 mm", "x" * 5000, "1/0", "9" * 400, "\n"]
)
def test_no_text_ever_raises(kind: str, text: str) -> None:
    """Any text is answered, with an error where it names nothing."""
    found = look_up(kind, text, Options(scale="1:8"))
    assert "error" in found
    assert len(found["error"]) < 2000


def test_tables_csv_and_markdown() -> None:
    """The other formats hold the same figures."""
    assert "7 µm" in run("fit", "25 H7/g6").stdout
    assert "| 3.264 mm |" in run("drill", "#30", "--format", "markdown").stdout
    rows = list(
        csv.DictReader(io.StringIO(run("stock", "hexagon brass 5 mm", "--format", "csv").stdout))
    )
    assert rows[0]["size_mm"] == "5.0"
    assert "nearest known" in run("drill", "#300").stdout


def test_nothing_to_look_up() -> None:
    """A kind without a text is a message."""
    result = run("drill")
    assert result.exit_code == 2
    assert "nothing to look up" in result.stderr


def test_rows_from_memory_are_listed() -> None:
    """Every row whose source is from memory can be listed; all of the listed ones are."""
    listed = sources(("from memory",))
    assert listed
    assert all("memory" in row["source"] for row in listed)
    assert "rows: from memory" in run("sources").stdout
    assert json.loads(run("sources", "builder", "--format", "json").stdout)
    assert "table" in run("sources", "builder", "--format", "csv").stdout


def test_a_bolt_by_diameter_by_looks_and_by_strength() -> None:
    """A 3/4 in bolt at 1:4 is 3/16 in: 2 BA is 4.7 mm over the threads (BS 93, in its copy)."""
    rows = answer("bolt", "3/4 in", "--scale", "1:4", "--series", "BA")["rows"]
    assert rows[0]["designation"] == "2 BA"
    assert rows[0]["departure_mm"] == pytest.approx(4.7 - 4.7625)
    looks = answer("bolt", "3/4 BSW", "--scale", "1:4", "--by", "looks", "--series", "BA")
    assert looks["by"] == "looks"
    assert "hexagon" in looks["rows"][0]["designation"]
    strong = answer("bolt", "3/4 BSW", "--scale", "1:4", "--by", "strength", "--series", "BA")
    assert strong["rows"][0]["departure_mm2"] >= 0
    assert "mm²" in run("bolt", "3/4 BSW", "--scale", "1:4", "--by", "strength").stdout
    assert "no scale" in answer("bolt", "3/4 BSW")["error"]
    assert "error" in answer("bolt", "3/4 in", "--scale", "1:4", "--by", "strength")
