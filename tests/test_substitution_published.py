"""Selections that others have published, put as models: the same rows must come out.

Each example has one answer only; the sizes' own pull (full size, reach) is set away from it, so that
nothing but the stated requirements can lead there. The sources were read in copies (second-hand) on
the pages named; the composition of the sets of gauge blocks is named beside each.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

import pytest

from scaler.reading.loading import load
from scaler.substitution.records import Substitution
from scaler.substitution.substitute import substitute

FAMILIES = ("flat thickness", "plate", "flat width", "strip", "square bar", "key steel")
"""Rules of lengths whose rows stand on a shop list: here they hold other people's tables."""
R5 = ("1.00", "1.60", "2.50", "4.00", "6.30")
"""ISO 3:1973, basic series R5 (second-hand: encyclopaedia article on Renard series)."""


def steps(first: str, last: str, step: str) -> list[Fraction]:
    """A series of sizes."""
    low, high, by = Fraction(first), Fraction(last), Fraction(step)
    return [low + by * n for n in range(int((high - low) / by) + 1)]


def chosen(
    folder: Path,
    rows: Iterable[tuple[int, Fraction]],
    full: Iterable[Fraction],
    statements: str,
    unit: str = "mm",
    rule_of: Iterable[int] = range(6),
) -> tuple[Substitution, list[Fraction]]:
    """Full-size lengths ``p0.x``, ``p1.x`` …, each off its own family's rows; what was chosen."""
    lines = ['[model]\ntitle="published"\nscale="1:1"\nshop="shop.csv"\nshop_only=true']
    lines.append(f'[drawing.s]\nunit="{unit}"')
    for number, (size, family) in enumerate(zip(full, rule_of, strict=False)):
        lines.append(
            f'[part.p{number}]\nservice="none"\nsize.x={{full="{float(size)}",kind="length",'
            f'rule="{FAMILIES[family]}",reach="4000 mm"}}'
        )
    shop = ["family,size", *(f"{FAMILIES[f]},{float(v):.6g} {unit}" for f, v in rows)]
    (folder / "model.toml").write_text("\n".join(lines) + "\n" + statements, encoding="utf-8")
    (folder / "shop.csv").write_text("\n".join(shop) + "\n", encoding="utf-8")
    result = substitute(load(folder), prices=False)
    inch = Fraction(127, 5) if unit == "in" else 1
    return result, [choice.value / inch for choice in result.choices]


# sizes of one block of each series that the stack is built of, and the stack: series, length, blocks
STACKS = [
    pytest.param(
        # an 81-piece inch set, composition as ASME B89.1.9 gives it (from memory)
        [
            steps("0.1001", "0.1009", "0.0001"),
            steps("0.101", "0.149", "0.001"),
            steps("0.05", "0.95", "0.05"),
            steps("1", "4", "1"),
        ],
        "in",
        "3.9762",
        # a maker's page on selecting gauge blocks, example for the 81-piece set (second-hand)
        ["0.1002", "0.126", "0.750", "3.000"],
        id="inch, 81 pieces",
    ),
    pytest.param(
        # series as the page lists them: 1.001 to 1.009, 1.01 to 1.49, 0.5 to 9.5, 10 to 100
        [
            steps("1.001", "1.009", "0.001"),
            steps("1.01", "1.49", "0.01"),
            steps("0.5", "9.5", "0.5"),
            steps("10", "100", "10"),
        ],
        "mm",
        "37.385",
        # a page of workshop sums, "Gauge block stack", example (second-hand)
        ["1.005", "1.38", "5.0", "30"],
        id="metric, hundredths to half millimetres",
    ),
    pytest.param(
        # series of a 46-piece set, ISO 3650 (from memory)
        [
            steps("1.001", "1.009", "0.001"),
            steps("1.01", "1.09", "0.01"),
            steps("1.1", "1.9", "0.1"),
            steps("1", "9", "1"),
            steps("10", "100", "10"),
        ],
        "mm",
        "37.785",
        # a maker's manual for gauge blocks, section 2.1, example of typical usage (second-hand)
        ["1.005", "1.08", "1.7", "4", "30"],
        id="metric, digit by digit",
    ),
]


@pytest.mark.parametrize(("series", "unit", "length", "blocks"), STACKS)
def test_gauge_blocks_come_out_as_in_the_makers_examples(
    tmp_path: Path, series: list[list[Fraction]], unit: str, length: str, blocks: list[str]
) -> None:
    """One block of each series, together exactly the length wanted."""
    rows = [(number, value) for number, values in enumerate(series) for value in values]
    names = " + ".join(f"p{number}.x" for number in range(len(series)))
    keep = f'[condition.stack]\nkeep="{names} == \'{length} {unit}\'"\nbasis="basic size"\n'
    result, found = chosen(tmp_path, rows, (values[-1] for values in series), keep, unit)
    assert result.status == "optimal"
    assert found == [Fraction(block) for block in blocks]


@pytest.mark.parametrize("pull", ["33", "43", "54"])
def test_a_distance_between_two_bounds_is_the_preferred_number_there(
    tmp_path: Path, pull: str
) -> None:
    """Two screws between 32 mm and 55 mm apart, by the series R5: 40 mm.

    Encyclopaedia article on Renard series, first example (second-hand).
    """
    rows = [(0, Fraction(n) * 10**power) for n in R5 for power in range(4)]
    keep = "[condition.c]\nkeep=\"'32 mm' <= p0.x <= '55 mm'\"\nbasis=\"basic size\"\n"
    result, found = chosen(tmp_path, rows, [Fraction(pull)], keep)
    assert result.status == "optimal" and found == [40]


def test_a_range_of_lengths_is_the_series_between_its_ends(tmp_path: Path) -> None:
    """Nails from about 15 mm to 300 mm by the series R5: 16, 25, 40, 63, 100, 160 and 250 mm.

    Encyclopaedia article on Renard series, second example (second-hand). Seven different lengths in
    rising order between the ends: the series has just seven there, so all must be taken.
    """
    rows = [(0, Fraction(n) * 10**power) for n in R5 for power in range(4)]
    keep = "[condition.a]\nkeep=\"p0.x >= '15 mm'\"\n[condition.b]\nkeep=\"p6.x <= '300 mm'\"\n"
    keep += "".join(
        f'[condition.c{n}]\nkeep="p{n + 1}.x - p{n}.x >= \'1 mm\'"\nbasis="basic size"\n'
        for n in range(6)
    )
    full = [Fraction(100)] * 7
    result, found = chosen(tmp_path, rows, full, keep, rule_of=[0] * 7)
    assert result.status == "optimal"
    assert found == [16, 25, 40, 63, 100, 160, 250]
    fewer = keep.replace("'300 mm'", "'249 mm'")
    assert chosen(tmp_path, rows, full, fewer, rule_of=[0] * 7)[0].status == "impossible"


@pytest.mark.parametrize("pull", ["19.985", "20", "20.02"])
def test_a_close_running_journal_comes_out_at_its_published_limits(
    tmp_path: Path, pull: str
) -> None:
    """A 20 mm journal, H8/f7: shaft 19.959 to 19.980, bearing 20.000 to 20.033.

    Engineering Drawing for Manufacture, section 5.1 (second-hand). The clearance is then 0.020 to
    0.074 mm; with a bearing at those limits and a shaft turned to within 0.0105 mm either way, the
    only size on a step of half a thousandth that keeps it in the worst case is the middle of the
    published limits of the shaft.
    """
    text = '[model]\ntitle="published"\nscale="1:1"\n[drawing.s]\nunit="mm"\n'
    text += '[part.bearing]\nservice="none"\nsize.bore={full="20",kind="internal",'
    text += 'rule="bored step 1 mm limits 0 +0.033 mm",reach="0.1 mm"}\n'
    text += f'[part.shaft]\nservice="none"\nsize.d={{full="{pull}",kind="external",'
    text += 'rule="turned step 0.0005 mm limits ±0.0105 mm",reach="0.1 mm"}\n'
    text += '[pair.p]\ninner="shaft.d"\nouter="bearing.bore"\nfit="0.020 to 0.074 mm"\n'
    text += 'basis="both limits"\n'
    (tmp_path / "model.toml").write_text(text, encoding="utf-8")
    result = substitute(load(tmp_path), prices=False)
    assert result.status == "optimal"
    shaft = next(choice.value for choice in result.choices if choice.size == "shaft.d")
    half = Fraction("0.0105")
    assert (shaft - half, shaft + half) == (Fraction("19.959"), Fraction("19.980"))
