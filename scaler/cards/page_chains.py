"""Chains on the report: where each lies in its window, and what every size does to it, as bars.

Pairs of two sizes that hold are left out, and what is judged at basic sizes, where no size's limits
do anything: they stand in the table of verdicts. A bar is
how far a size moves the closing dimension, either way, within its limits and on the basis stated;
the figures are those of ``scaler chain``. Bars and bands are told apart by their filling, not by
colour.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.cards.page_figures import size_words, span
from scaler.cards.page_html import esc
from scaler.cards.pictures import Pen
from scaler.expressions import names
from scaler.measures.lengths import format_decimal
from scaler.records import BasisKind, Bounds, Verdict
from scaler.settling.solve import middle

if TYPE_CHECKING:
    from scaler.chains.records import Chain
    from scaler.checking.check import Finding
    from scaler.checking.conflicts import CheckResult

MOST_CHAINS = 60
MOST_BARS = 12
ROW = 4.8


def chains_shown(result: CheckResult) -> tuple[Chain, ...]:
    """The chains worth a picture: conditions, pairs that are sums, and whatever does not hold."""
    wanted = [f.statement.id for f in result.findings if _worth_it(f)]
    if not wanted:
        return ()
    from scaler.chains.chain import chains
    from scaler.checking.check import Checker

    checker = Checker(result.model, result.stage, settlement=result.reduction.settlement)
    kept = frozenset(wanted[:MOST_CHAINS])
    found = chains(result.model, draws=0, only=kept, checker=checker, advise=False)
    return tuple(chain for chain in found if chain.basic is not None)


def _worth_it(finding: Finding) -> bool:
    statement = finding.statement
    if finding.verdict is Verdict.REFUSED or statement.basis.kind is BasisKind.BASIC_SIZE:
        return False
    least = 2 if statement.what == "condition" else 3
    return finding.verdict is not Verdict.HOLDS or len(names(statement.node)) >= least


def chain_anchor(number: int) -> str:
    """The place of a chain on the page, by the number of its pair or condition."""
    return f"k-{number}"


def chains_block(
    result: CheckResult, found: tuple[Chain, ...], numbers: Mapping[str, int], width: float
) -> str:
    """Every chain with its window and its bars, and the check's verdict; what was left out is said.

    The bands show one chain alone; the verdict is that of the table above, which looks at all that
    one last cut has to serve.
    """
    if not found:
        return "<p>Pairs of two sizes that hold, and nothing more: see the verdicts.</p>"
    unit = result.model.work_unit
    judged = {finding.statement.id: finding.verdict for finding in result.findings}
    blocks = []
    for chain in found:
        number = numbers[chain.id]
        title = esc(chain.title or chain.id.replace("_", " "))
        blocks.append(
            f'<figure id="{chain_anchor(number)}"><h3><a href="#p-{number}">{number}</a>: {title} '
            f"{verdict_words(judged[chain.id])}</h3>{picture(chain, number, unit, width)}</figure>"
        )
    left = sum(1 for f in result.findings if f.verdict is not Verdict.REFUSED) - len(found)
    more = (
        f" {left} more stand in the table of verdicts alone: pairs of two sizes that hold, and what "
        "is judged at basic sizes."
        if left > 0
        else ""
    )
    return (
        "<p>Above, where the closing dimension lies: a frame for what is wanted, hatched for the "
        "worst case, solid for root sum square. Below, a bar a size: how far its limits move it "
        f"either way, and its share of the worst case.{more}</p>{''.join(blocks)}"
    )


def verdict_words(verdict: Verdict) -> str:
    """A verdict as a word that the page also colours."""
    return f'<span class="v v-{verdict}">{esc(verdict)}</span>'


def picture(chain: Chain, number: int, unit: str, width: float) -> str:
    """One chain: three bands on one axis, then a bar a size, the greatest first."""
    shown = chain.contributors[:MOST_BARS]
    rest = len(chain.contributors) - len(shown)
    label, words, size = (52.0, 44.0, 3.0) if width > 150 else (44.0, 36.0, 2.8)
    room = width - label - words - 4
    dimension = "length" if chain.unit == "mm" else ""
    square: Bounds = tuple(  # type: ignore[assignment]
        None if end is None else middle(end) for end in chain.root_sum_square
    )
    bands = [("wanted", chain.wanted, "w"), ("worst case", chain.worst_case, "hatch"),
             ("root sum square", square, "solid")]  # fmt: skip
    height = 2 + ROW * (len(bands) + len(shown) + (1 if rest else 0)) + 3
    described = "; ".join(f"{name} {span(ends, unit, dimension)}" for name, ends, _ in bands)
    pen = Pen(width, height, f"chain-{number}", f"Chain {number}", described, text_size=size)
    hatch = pen.hatching()
    low, high = _axis([ends for _, ends, _ in bands])

    def across(value: Fraction) -> float:
        return label + float((value - low) / (high - low)) * room

    y = 1.0
    for name, (start, end), kind in bands:
        pen.text(label - 2, y + 3.4, name, "end")
        left = label if start is None else across(start)
        right = label + room if end is None else across(end)
        wide = max(right - left, 0.3)
        if kind == "w":
            pen.rect(left, y + 0.5, wide, ROW * len(bands) - 1.0, "n")
            for at in (start, end):
                if at is not None:
                    pen.line(across(at), y - 0.3, across(at), y + ROW * len(bands) + 0.3, "o")
        else:
            pen.rect(left, y + 1.0, wide, ROW - 2.0, "o", hatch if kind == "hatch" else "#444")
        pen.text(label + room + 3, y + 3.4, span((start, end), unit, dimension), "start")
        y += ROW
    y += 1.6
    pen.line(label, y, label, y + ROW * len(shown), "n")
    most = max((item.reach for item in shown), default=Fraction(0)) or Fraction(1)
    for item in shown:
        pen.text(label - 2, y + 3.4, pen.fitted(size_words(item.name), label - 2), "end")
        long = float(item.reach / most) * room
        pen.rect(label, y + 0.9, max(long, 0.2), ROW - 1.8, "o", "#8c8c8c")
        either = format_decimal(item.reach / (Fraction(127, 5) if unit == "in" else 1), 4)
        if chain.unit != "mm":
            either = format_decimal(item.reach, 4)
        share = format_decimal(100 * item.share_worst_case, 0)
        said = f"± {either} {unit if chain.unit == 'mm' else chain.unit}".rstrip()
        pen.text(label + room + 3, y + 3.4, f"{said}, {share} %", "start")
        y += ROW
    if rest:
        pen.text(label - 2, y + 3.4, f"and {rest} more, each less", "end")
    return pen.svg()


def _axis(bands: list[Bounds]) -> tuple[Fraction, Fraction]:
    """The ends of the axis: all that is known, with a little room on both sides."""
    known = [end for ends in bands for end in ends if end is not None]
    low, high = min(known), max(known)
    spare = (high - low) / 12 or Fraction(1, 10)
    return low - spare, high + spare
