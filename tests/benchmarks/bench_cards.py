"""Cards and report for 300 sizes: at most twice the time of the check on them, pictures aside.

Run: ``python tests/benchmarks/bench_cards.py``. Pictures (the graph with networkx, sketches, the
chart, the bars of chains) are timed apart; the figures of the chains are not. The check is one whose
findings, conflicts and sizes are looked at, as ``scaler check`` shows them. Times are processor
time, so that other work on the machine does not count. Exit status 1 where the promise is not kept.
"""

from __future__ import annotations

import gc
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rows import row

import scaler
from scaler import examples
from scaler.cards import page_card, page_chains, page_report
from scaler.cards.cards import card_pages, make_cards
from scaler.cards.page_report import report_page
from scaler.checking.conflicts import CheckResult

PARTS = 60
"""Each with five sizes: 300. A pair from each part to the next, and a condition on each."""


def write_model(folder: Path) -> None:
    """A model of 300 sizes made for this measurement only."""
    lines = ['[model]\ntitle = "Bench of 300"\nscale = "1:8"', '[drawing.s]\nunit = "in"']
    for n in range(PARTS):
        lines.append(
            f'[part.p{n}]\ntitle = "Part {n}"\nmaterial = "{("mild steel", "bronze")[n % 2]}"\n'
            f'drawing = "s"\ncount = 2\n'
            f'size.diameter = {{ full = "{4 + n % 9} 3/16", rule = "turned" }}\n'
            f'size.bore = {{ full = "{2 + n % 7} 5/32", rule = ["reamed", "bored"] }}\n'
            f'size.length = {{ full = "{9 + n % 11} 1/8", rule = "milled" }}\n'
            f'size.slot = {{ full = "1 {1 + 2 * (n % 8)}/16", rule = "slot drilled" }}\n'
            f'size.edge = {{ full = "3 {1 + 2 * (n % 4)}/8", kind = "position", datum = "edge" }}'
        )
        lines.append(
            f'[pair.f{n}]\ninner = "p{n}.diameter"\nouter = "p{(n + 1) % PARTS}.bore"\n'
            'fit = "clearance 0.02 to 0.05 mm"\n'
            f"[condition.c{n}]\nkeep = \"p{n}.length - p{n}.edge - p{n}.slot >= '1 mm'\""
        )
    (folder / "model.toml").write_text("\n".join(lines), encoding="utf-8")


def best(action: Callable[[], Any], times: int = 15) -> float:
    """The least time of several runs [s], the collector kept out of it."""
    found = []
    for _ in range(times):
        gc.collect()
        gc.disable()
        start = time.process_time()
        action()
        found.append(time.process_time() - start)
        gc.enable()
    return min(found)


def looked_at(result: CheckResult) -> CheckResult:
    """A check with all made that is otherwise made when it is looked at."""
    _ = result.findings, result.conflicts, result.reduction.lines
    return result


def measure(model: Any, name: str) -> bool:
    """Times of one model, and whether the promise holds on it."""
    checking = best(lambda: looked_at(scaler.check(model)))
    result = looked_at(scaler.check(model))
    with_pictures = best(lambda: (card_pages(make_cards(result)), report_page(result)))
    chains = best(lambda: page_report.chains_shown(result))
    aside = {
        (page_card, "draw"): lambda *_: "",
        (page_report, "pictures"): lambda *_: [],
        (page_report, "departures"): lambda *_: "",
        (page_chains, "picture"): lambda *_: "",
    }
    kept = {key: getattr(*key) for key in aside}
    for (module, name_), nothing in aside.items():
        setattr(module, name_, nothing)
    try:
        without = best(lambda: (card_pages(make_cards(result)), report_page(result)))
    finally:
        for (module, name_), real in kept.items():
            setattr(module, name_, real)
    print(f"{name}: {len(model.sizes)} sizes, {len(model.parts)} parts")
    print(f"  check {checking * 1000:.1f} ms")
    print(f"  pages, pictures aside {without * 1000:.1f} ms ({without / checking:.2f} x)")
    print(f"  of these the figures of chains {chains * 1000:.1f} ms")
    print(f"  pages with pictures {with_pictures * 1000:.1f} ms")
    bound = 2 if len(model.sizes) >= 5 * PARTS else None
    row(f"pages, pictures aside, {len(model.sizes)} sizes", without, checking, "check", bound)
    return bound is None or without <= bound * checking


def main() -> int:
    """Times, and whether the promise holds."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_model(folder)
        kept = [
            measure(scaler.load(folder), "made for this"),
            measure(examples.load("pattern_d"), "shipped engine"),
        ]
    return 0 if all(kept) else 1


if __name__ == "__main__":
    sys.exit(main())
