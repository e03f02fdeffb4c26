"""Chains on the report: the figures are those of the chain, the pictures show them to scale."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

import scaler
from scaler import examples
from scaler.cards.page_chains import chains_shown, picture
from scaler.cards.page_figures import span
from scaler.cards.page_report import report_page
from scaler.chains.chain import chain
from scaler.chains.records import Chain
from scaler.expressions import names
from scaler.records import BasisKind, Verdict
from scaler.settling.solve import middle

PRESS = Path(__file__).parent / "cases" / "press.toml"


@pytest.fixture(scope="module")
def engine() -> scaler.CheckResult:
    """The shipped engine, checked as chosen."""
    return scaler.check(examples.load("pattern_d"))


@pytest.fixture(scope="module")
def shown(engine: scaler.CheckResult) -> dict[str, Chain]:
    """Its chains on the report."""
    return {item.id: item for item in chains_shown(engine)}


def test_conditions_sums_and_all_that_fails(tmp_path: Path) -> None:
    """Failing pairs of two sizes are there, holding ones are not, and the page counts the rest."""
    shutil.copy(PRESS, tmp_path / "model.toml")
    result = scaler.check(scaler.load(tmp_path))
    verdicts = {f.statement.id: f.verdict for f in result.findings}
    found = {item.id for item in chains_shown(result)}
    assert verdicts["shaft_in_bush"] is Verdict.TIGHT and "shaft_in_bush" in found
    assert verdicts["bush_in_flange"] is Verdict.HOLDS and "bush_in_flange" not in found
    assert "links_clear_the_plate" in found
    left = len(verdicts) - len(found)
    assert f"{left} more stand in the table of verdicts alone" in report_page(result)


def test_what_is_judged_at_basic_sizes_has_no_bars(
    engine: scaler.CheckResult, shown: dict[str, Chain]
) -> None:
    """No size's limits do anything there; every other condition of two sizes or more is shown."""
    for finding in engine.findings:
        item = finding.statement
        if item.what == "condition" and len(names(item.node)) >= 2:
            assert (item.id in shown) == (item.basis.kind is not BasisKind.BASIC_SIZE)


def test_figures_are_those_of_the_command(
    engine: scaler.CheckResult, shown: dict[str, Chain]
) -> None:
    """Every band and share equals what the chain comes to when it is asked for by itself."""
    for name, item in shown.items():
        alone = chain(engine.model, name, draws=0)
        assert item.worst_case == alone.worst_case
        assert item.root_sum_square == alone.root_sum_square
        assert [(c.name, c.reach) for c in item.contributors] == [
            (c.name, c.reach) for c in alone.contributors
        ]


@pytest.mark.parametrize("width", [186.0, 132.0])
def test_bars_are_in_proportion(shown: dict[str, Chain], width: float) -> None:
    """A bar is as long, to the longest, as its reach to the greatest; bands share one axis."""
    item = shown["lateral_chain"]
    drawing = picture(item, 1, "mm", width)
    bars = re.findall(r'<rect class="o"[^>]* width="([\d.]+)"[^>]* style="fill:#8c8c8c"', drawing)
    lengths = [float(length) for length in bars]
    reaches = [float(c.reach) for c in item.contributors]
    assert len(lengths) == len(reaches)
    for length, reach in zip(lengths, reaches, strict=True):
        assert length / lengths[0] == pytest.approx(reach / reaches[0], abs=0.003)
    words = re.findall(r">([^<>]+)</text>", drawing)
    for ends in (item.wanted, item.worst_case):
        assert span(ends, "mm") in words
    low, high = (middle(end) for end in item.root_sum_square if end is not None)
    assert span((low, high), "mm") in words


def test_a_window_open_on_one_side(shown: dict[str, Chain]) -> None:
    """At least so much: the frame is open to the end of the axis and has one mark."""
    item = shown["slide_bar_overrun"]
    assert item.wanted[0] is not None and item.wanted[1] is None
    drawing = picture(item, 1, "in", 186.0)
    assert "at least" in drawing and drawing.count('<path class="o"') == 1


def test_pressure_parts_have_no_chain(tmp_path: Path) -> None:
    """A chain with a pressure part has no figure and no picture."""
    (tmp_path / "model.toml").write_text(
        '[model]\ntitle = "Yard pump (invented)"\nscale = "1:8"\n[drawing.s]\nunit = "in"\n'
        '[part.boiler]\ndrawing = "s"\nsize.bore = { full = "9", rule = "bored" }\n'
        '[part.plug]\ndrawing = "s"\nsize.diameter = { full = "9", rule = "turned" }\n'
        '[part.ring]\ndrawing = "s"\nsize.width = { full = "1", rule = "turned" }\n'
        "[condition.play]\nkeep = \"boiler.bore - plug.diameter - ring.width <= '1 mm'\"\n",
        encoding="utf-8",
    )
    result = scaler.check(scaler.load(tmp_path))
    assert chains_shown(result) == ()
    assert "nothing more: see the verdicts" in report_page(result)


def test_chains_and_verdicts_lead_to_each_other(engine: scaler.CheckResult) -> None:
    """From the table to the bars and back, and from a box of the picture to its sizes."""
    page = report_page(engine)
    numbers = {f.statement.id: at for at, f in enumerate(engine.findings, 1)}
    for item in chains_shown(engine):
        number = numbers[item.id]
        assert f'href="#k-{number}"' in page and f'id="k-{number}"' in page
        assert f'href="#p-{number}"' in page and f'id="p-{number}"' in page
    for name in ("axle", "wheel"):
        assert f'href="#part-{name}"' in page and f'id="part-{name}"' in page


def test_the_verdict_over_a_chain_is_that_of_the_table(tmp_path: Path) -> None:
    """A last cut that has to serve four bores of different size promises none, though one chain
    alone lies in its window: one word for one pair on the whole page."""
    (tmp_path / "model.toml").write_text(
        '[model]\ntitle = "Barrow (invented)"\nscale = "1:1"\n[drawing.s]\nunit = "mm"\n'
        '[part.axle]\ndrawing = "s"\nsize.seat = { full = "16.375", rule = "turned step 0.01 mm" }\n'
        '[part.wheel]\ndrawing = "s"\ncopies = ["one", "two", "three", "four"]\n'
        'size.bore = { full = "16.37", kind = "internal", rule = "bored step 0.01 mm" }\n'
        '[pair.press]\ninner = "axle.seat"\nouter = "wheel.bore"\n'
        'fit = "interference 0 to 0.029 mm"\nbasis = "last cut axle.seat"\n',
        encoding="utf-8",
    )
    (tmp_path / "readings.csv").write_text(
        "time,action,size,copy,value,instrument,note\n"
        "2026-11-10T10:00:00Z,reading,wheel.bore,one,16.36 mm,micrometer,\n"
        "2026-11-10T10:00:00Z,reading,wheel.bore,two,16.37 mm,micrometer,\n"
        "2026-11-10T10:00:00Z,reading,wheel.bore,three,16.38 mm,micrometer,\n"
        "2026-11-10T10:00:00Z,reading,wheel.bore,four,16.39 mm,micrometer,\n",
        encoding="utf-8",
    )
    result = scaler.check(scaler.load(tmp_path))
    page = report_page(result)
    verdicts = {(str(n), str(f.verdict)) for n, f in enumerate(result.findings, 1)}
    drawn = re.findall(r'<h3><a href="#p-(\d+)">\d+</a>: [^<]*<span class="v v-\w+">(\w+)', page)
    assert len(verdicts) == 4 and set(drawn) == verdicts
    assert any(c.verdict is Verdict.HOLDS for c in chains_shown(result))
    assert ("2", "holds") not in verdicts
