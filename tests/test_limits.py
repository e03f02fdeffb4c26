"""Where the limits of a size come from, in their order, and published tolerances behind them."""

from __future__ import annotations

import csv
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest

import scaler
from scaler.checking.conflicts import check
from scaler.records import Deviations, Model
from scaler.settling.limits import (
    general,
    general_classes,
    last_cut_tolerance,
    limits_of,
    uncertainty,
    unknown,
)
from scaler.settling.rows import Candidate
from scaler.settling.settle import settle

PUBLISHED = Path(__file__).parent / "published" / "iso286_2_limit_deviations.csv"
HEAD = '[model]\ntitle = "test"\nscale = "1:1"\nshop = "shop.csv"\nshop_only = true\n'
SHOP = "family,size\n" + "".join(
    f"{family},{size} mm\n"
    for family in ("ground bar", "reamer", "round bar", "flat thickness", "drill", "slot drill")
    for size in (4, 6, 8, 12, 16, 25)
)


def model_of(folder: Path, body: str, head: str = HEAD, readings: str = "") -> Model:
    """A model with a shop list of six sizes a family."""
    (folder / "model.toml").write_text(head + "[part.p]\n" + body, encoding="utf-8")
    (folder / "shop.csv").write_text(SHOP, encoding="utf-8")
    if readings:
        text = "time,action,size,copy,value,instrument,note\n" + readings
        (folder / "readings.csv").write_text(text, encoding="utf-8")
    return scaler.load(folder)


def limits(model: Model, name: str = "p.x") -> Deviations:
    """The limits of one of its sizes as chosen."""
    found = settle(model)
    return limits_of(model, model.sizes[name], found.results[name])


Ends = tuple[F | int, F | int]


def ends(found: Deviations) -> Ends:
    """Lower and upper deviation."""
    return found.lower, found.upper


def published(tolerance_class: str, size: int) -> Ends:
    """Limit deviations of ISO 286-2:2010 as read second-hand (tests/published), [mm]."""
    with PUBLISHED.open(newline="", encoding="utf-8") as lines:
        row = next(r for r in csv.DictReader(lines) if r["class"] == tolerance_class)
    cells = [cell.split(":") for cell in row["limits"].split()]
    pair = next(pair for end, pair in cells if size <= int(end))
    low, high = (F(text) / 1000 for text in pair.split("/"))
    return low, high


@pytest.mark.parametrize("size", [4, 6, 8, 12, 16, 25])
@pytest.mark.parametrize(
    ("rule", "kind", "tolerance_class"),
    [
        ("reamed", "internal", "H7"),
        ("ground bar", "external", "h9"),
        ("round bar", "external", "h10"),
        ("flat thickness", "external", "h11"),
    ],
)
def test_stock_and_reamers_by_the_standard(
    tmp_path: Path, rule: str, kind: str, tolerance_class: str, size: int
) -> None:
    """Bar as supplied and holes as reamed, to the classes that EN 10278 and reamer lists give them,
    against the limits of ISO 286-2 (second-hand, tests/published)."""
    line = f'size.x = {{ full = "{size} mm", kind = "{kind}", rule = "{rule}" }}\n'
    found = limits(model_of(tmp_path, line))
    assert ends(found) == published(tolerance_class, size)
    assert tolerance_class in found.source


def test_figures_read_elsewhere() -> None:
    """The same from a second source: H7 (ISO 286-2 as reproduced at springfixusa.com) and the
    drawn-bar deviations of EN 10278 as reproduced at babasteels.com [mm]."""
    assert published("H7", 6) == (0, F("0.012")) and published("H7", 16) == (0, F("0.018"))
    assert published("h10", 8) == (F("-0.058"), 0) and published("h10", 25) == (F("-0.084"), 0)
    assert published("h11", 8) == (F("-0.090"), 0) and published("h11", 12) == (F("-0.110"), 0)


# ISO 2768-1:1989 table 1, as reproduced on several web pages (second-hand), ± mm
RANGES = ["0.5-3", "3-6", "6-30", "30-120", "120-400", "400-1000", "1000-2000", "2000-4000"]
GENERAL = {
    "f": "0.05 0.05 0.1 0.15 0.2 0.3 0.5 -",
    "m": "0.1 0.1 0.2 0.3 0.5 0.8 1.2 2",
    "c": "0.2 0.3 0.5 0.8 1.2 2 3 4",
    "v": "- 0.5 1 1.5 2.5 4 6 8",
}


@pytest.mark.parametrize("letter", GENERAL)
def test_general_tolerances(letter: str) -> None:
    """Every cell of ISO 2768-1 table 1, at both ends of its range and just inside."""
    name = f"ISO 2768-{letter}"
    assert name in general_classes()
    for text, worth in zip(RANGES, GENERAL[letter].split(), strict=True):
        low, high = (F(end) for end in text.split("-"))
        inside = [low + F(1, 1000), (low + high) / 2, high]
        if low == F("0.5"):
            inside.append(low)  # 'from 0.5'
        for size in inside:
            found = general(name, size)
            if worth == "-":
                assert found is None
            else:
                assert found is not None and ends(found) == (-F(worth), F(worth))
    assert general(name, F("0.49")) is None and general(name, F(4001)) is None


def test_the_order_of_where_limits_come_from(tmp_path: Path) -> None:
    """The size's own; what its rule states; the row as supplied; the process; the model's general
    ones (design: the size itself, the row, a class, the process, the default; what a rule states
    is the builder's own word about that size and stands before the row)."""
    own = model_of(
        tmp_path,
        'size.x = { full = "12 mm", kind = "external", limits = "+0.01 -0.03 mm",'
        ' rule = "turned limits ±0.2 mm" }\n',
    )
    assert ends(limits(own)) == (F("-0.03"), F("0.01")) and "own" in limits(own).source
    rule = model_of(
        tmp_path,
        'size.x = { full = "12 mm", kind = "external", rule = "turned limits ±0.2 mm" }\n',
    )
    assert ends(limits(rule)) == (F("-0.2"), F("0.2")) and "rule" in limits(rule).source
    bar = model_of(
        tmp_path,
        'size.x = { full = "12 mm", kind = "external", rule = "ground bar limits h6" }\n',
    )
    assert ends(limits(bar)) == (F("-0.011"), 0)  # ISO 286-2 h6, 10 to 18 mm (from memory)
    process = model_of(
        tmp_path, 'size.x = { full = "12 mm", kind = "external", rule = "turned" }\n'
    )
    assert ends(limits(process)) == (F("-0.01"), F("0.01"))  # common practice, methods table
    for name, worth in (("ISO 2768-m", "0.2"), ("ISO 2768-f", "0.1")):
        head = HEAD + f'limits = "{name}"\n'
        none = model_of(tmp_path, 'size.x = { full = "12 mm", rule = [] }\n', head)
        assert ends(limits(none)) == (-F(worth), F(worth)) and limits(none).source == name


def test_the_rows_own_tolerance_beats_the_process(tmp_path: Path) -> None:
    """A row that is supplied to h8 has h8, though its family is sold to h9 as a rule."""
    line = 'size.x = { full = "12 mm", kind = "external", rule = "ground bar" }\n'
    model = model_of(tmp_path, line)
    settled = settle(model).results["p.x"]
    row = Candidate(F(12), "12 mm, ground", "stock", "", "", False, tolerance="h8")
    found = limits_of(model, model.sizes["p.x"], replace(settled, row=row))
    assert ends(found) == (F("-0.027"), 0)  # ISO 286-2 h8, 10 to 18 mm: as H8 of tests/published
    assert published("H8", 12) == (0, F("0.027"))
    assert found.source == "stock as supplied, ISO 286 h8"
    dev = replace(row, tolerance="-0.02 mm +0.03 mm")
    assert ends(limits_of(model, model.sizes["p.x"], replace(settled, row=dev))) == (
        F("-0.02"),
        F("0.03"),
    )


def test_the_method_that_served_gives_its_limits(tmp_path: Path) -> None:
    """Of two methods of one name the one that was used counts, not the first of the rule."""
    (tmp_path / "choices.csv").write_text(
        "time,action,size,value,method,row,note\n2026-01-01T00:00:00Z,choose,p.x,6.205 mm,,,\n"
    )
    model = model_of(
        tmp_path,
        'size.x = { full = "6.2 mm", kind = "length", rule = ["milled step 0.1 mm limits ±0.05 mm",'
        ' "milled step 0.005 mm limits ±0.004 mm"] }\n',
    )
    # 6.205 is on the finer step of the first method's last cut too, so that one is said to serve
    assert settle(model).results["p.x"].by == model.sizes["p.x"].rule[0]
    (tmp_path / "choices.csv").unlink()
    far = model_of(
        tmp_path,
        'size.x = { full = "6.23 mm", kind = "length", rule = ["milled step 1 mm reach 0.1 mm'
        ' limits ±0.05 mm", "milled step 0.005 mm limits ±0.004 mm"] }\n',
    )
    assert ends(limits(far)) == (F("-0.004"), F("0.004"))


def test_limits_follow_the_choice(tmp_path: Path) -> None:
    """Another row, other limits: 16 mm is h9 of 10 to 18, 25 mm of 18 to 30."""
    for size in (16, 25):
        line = f'size.x = {{ full = "{size} mm", kind = "external", rule = "ground bar" }}\n'
        assert ends(limits(model_of(tmp_path, line))) == published("h9", size)


def test_a_reading_has_its_instruments_uncertainty(tmp_path: Path) -> None:
    """Made sizes have no tolerance any more; what is read is as good as what it is read with."""
    line = 'size.x = { full = "12 mm", kind = "external", limits = "h9", rule = "turned" }\n'
    read = "2026-01-01T00:00:00Z,reading,p.x,,11.98 mm,{},\n"
    for tool, worth in (("micrometer", "0.002"), ("vernier", "0.02"), ("", "0.002")):
        found = limits(model_of(tmp_path, line, readings=read.format(tool)))
        assert ends(found) == (-F(worth), F(worth))  # common practice, instruments table
    named = line.replace('limits = "h9"', 'instrument = "rule"')
    model = model_of(tmp_path, named, readings=read.format(""))
    assert ends(limits(model)) == (F("-0.2"), F("0.2"))
    assert uncertainty(model.sizes["p.x"], "mike")[0] == "micrometer"


def test_counts_have_none_and_tiny_sizes_say_so(tmp_path: Path) -> None:
    """ISO 2768-1 leaves sizes below 0.5 mm to be stated: nothing can be promised of them."""
    model = model_of(
        tmp_path,
        """
size.teeth = { full = "24" }
size.lean_angle = { full = "30 deg" }
size.shim = { full = "0.3 mm", rule = [] }
size.plate = { full = "2.3 mm", rule = [] }
[condition.both]
keep = "p.shim + p.plate >= '2 mm'"
basis = "both limits"
""",
    )
    assert ends(limits(model, "p.teeth")) == (0, 0) and not unknown(limits(model, "p.teeth"))
    assert ends(limits(model, "p.lean_angle")) == (0, 0)
    assert unknown(limits(model, "p.shim")) and not unknown(limits(model, "p.plate"))
    (finding,) = check(model).findings
    assert finding.verdict == "doubtful"
    assert "p.shim has no limits" in finding.note and finding.note.startswith("not promised")


def test_tolerance_of_a_last_cut(tmp_path: Path) -> None:
    """The process stated; else the one used; else the first of the rule that has a last cut; a
    process without one cuts to its limits (all common practice, methods table)."""
    model = model_of(
        tmp_path,
        'size.x = { full = "12 mm", kind = "external", rule = ["ground bar", "turned"] }\n'
        'size.hole = { full = "12 mm", kind = "internal", rule = "reamed" }\n'
        'size.plain = { full = "12 mm", rule = [] }\n',
    )
    found = settle(model)

    def cut(name: str, by: str = "") -> tuple[F, str]:
        return last_cut_tolerance(model, model.sizes[name], found.results[name], by)

    assert cut("p.x", "lapped") == (F("0.002"), "lapped")
    assert cut("p.x") == (F("0.01"), "turned")
    assert cut("p.hole", "reamed") == (F("0.018"), "reamed")  # H7 at 12 mm, as above
    assert cut("p.hole") == (F("0.018"), "reamed (common practice), ISO 286 H7")
    assert cut("p.plain") == (F("0.4"), "ISO 2768-m")
