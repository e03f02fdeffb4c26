"""The lower half of a card: readout coordinates, what the part mates with, readings so far."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.cards.page_figures import (
    Figure,
    inch_text,
    length_pair,
    mm_text,
    size_words,
    span,
    window,
)
from scaler.cards.page_html import esc, keys
from scaler.cards.stock import plain_mm
from scaler.expressions import names
from scaler.records import BasisKind, Verdict
from scaler.settling.solve import Value, middle

if TYPE_CHECKING:
    from scaler.cards.cards import Card, Mate
    from scaler.cards.coordinates import Coordinates


def readout(tables: Sequence[Coordinates], unit: str) -> str:
    """The tables of coordinates from each datum, in the unit of the work and the other beside it."""
    if not tables:
        return ""
    blocks = []
    other = "mm" if unit == "in" else "in"
    for table in tables:
        note = f' <span class="note">{esc(table.note)}</span>' if table.note else ""
        caption = f"From {table.datum}"
        if not table.points:
            blocks.append(f'<p class="note">{esc(caption)}: {esc(table.note)}.</p>')
            continue
        with_y = any(point.y is not None for point in table.points)
        axes = ("X", "Y") if with_y else ("X",)
        heads = "".join(f'<th scope="col">{axis} {unit}</th>' for axis in axes)
        heads += "".join(f'<th scope="col">{axis} {other}</th>' for axis in axes)
        rows = []
        for point in table.points:
            values = (point.x, point.y) if with_y else (point.x,)
            cells = "".join(f'<td class="f">{_coordinate(v, unit)}</td>' for v in values)
            cells += "".join(f'<td class="g">{_coordinate(v, other)}</td>' for v in values)
            rows.append(f'<tr><th scope="row">{esc(point.name)}</th>{cells}</tr>')
        blocks.append(
            f'<table class="grid"><caption>{esc(caption)}{note}</caption><thead><tr>'
            f'<th scope="col">place</th>{heads}</tr></thead><tbody>{"".join(rows)}</tbody></table>'
        )
    return f"<section><h2>Readout</h2>{''.join(blocks)}</section>"


def _coordinate(value: Value | None, unit: str) -> str:
    """A coordinate: mm to 0.01, or to 0.001 where it is set to thousandths; inches to 0.0001."""
    if value is None:
        return ""
    plain = middle(value)
    if unit == "in":
        return inch_text(plain, 4).replace("-", "−")
    fine = isinstance(value, Fraction) and 100 % value.denominator != 0
    return mm_text(plain, 3 if fine else 2).replace("-", "−")


def mates(card: Card, figures: dict[str, Figure]) -> str:
    """What the part meets: its pairs, then the conditions that name it."""
    pairs = [mate for mate in card.mates if mate.finding.statement.what == "pair"]
    rest = [mate for mate in card.mates if mate.finding.statement.what != "pair"]
    blocks = ""
    if pairs:
        rows = "".join(_pair(card, group, figures) for group in _by_statement(pairs))
        blocks += f'<section><h2>Mates with</h2><ul class="mates">{rows}</ul></section>'
    if rest:
        rows = "".join(_condition(card, group) for group in _by_statement(rest))
        kind = "mates two" if len(rest) > 3 else "mates"
        blocks += f'<section><h2>Must keep</h2><ul class="{kind}">{rows}</ul></section>'
    return blocks


def _by_statement(mates: Sequence[Mate]) -> list[list[Mate]]:
    """Copies of one pair or condition put together."""
    groups: dict[str, list[Mate]] = {}
    for mate in mates:
        groups.setdefault(mate.finding.statement.id.partition("@")[0], []).append(mate)
    return list(groups.values())


def _title(mate: Mate) -> str:
    item = mate.finding.statement
    return item.title or item.id.partition("@")[0].replace("_", " ")


def _pair(card: Card, group: Sequence[Mate], figures: dict[str, Figure]) -> str:
    mate = group[0]
    item, title = mate.finding.statement, _title(mate)
    if mate.refused:
        return f"<li><b>{esc(title)}</b><small>{_SHUT}</small></li>"
    unit = card.model.work_unit
    other = "mm" if unit == "in" else "in"
    bounds = (item.lower, item.upper)
    words = f"{size_words(item.inner)} in {size_words(item.outer)}"
    return (
        f"<li>{keys(mate.letters)} <b>{esc(title)}:</b> "
        f'<p class="want">{window(bounds, unit)} <span>{_short(window(bounds, other))}</span></p>'
        f"<small>{esc(words)}. {_last(card, group, figures)}{_verdict(group)}</small></li>"
    )


def _short(words: str) -> str:
    """The same window in the other unit, in brackets and without its first word again."""
    for word in ("clearance ", "interference "):
        words = words.removeprefix(word)
    return f"({words})"


_SHUT = "no figure is given: a part that holds pressure takes part"


def _last(card: Card, group: Sequence[Mate], figures: dict[str, Figure]) -> str:
    basis = group[0].finding.statement.basis
    if basis.kind is not BasisKind.LAST_CUT:
        return ""
    letter = card.letter(basis.last)
    if not letter:
        return f"The {esc(size_words(basis.last))} is cut last, to this part as it measures. "
    by = f" ({esc(basis.by)})" if basis.by else ""
    said = f"<strong>Cut {letter} last{by}, to the others as they measure.</strong> "
    shown = figures.get(basis.last.partition("@")[0])
    unit = card.model.work_unit
    aims = [
        (mate.finding.statement.id.partition("@")[2], length_pair(mate.finding.aim.target, unit, 3))
        for mate in group
        if mate.finding.aim is not None
    ]
    if shown is None or not aims:
        return said
    last = basis.last.partition("@")[0]
    others = [
        name
        for mate in group
        for name in names(mate.finding.statement.node)
        if name.partition("@")[0] != last
    ]
    known = all(_is_read(card, name) for name in others)
    if not aims[0][0]:
        return (
            said + f"{'As they read' if known else 'If they come to size'}, aim at {aims[0][1]}. "
        )
    targets = "; ".join(f"{esc(copy.replace('_', ' '))}, {target}" for copy, target in aims)
    return said + f"{'As they read' if known else 'As they stand now'}, aim at: {targets}. "


def _is_read(card: Card, name: str) -> bool:
    """Whether a size, or this copy of it, has a reading."""
    size, _, copy = name.partition("@")
    return (size, copy) in card.model.readings or (size, "") in card.model.readings


def _verdict(group: Sequence[Mate]) -> str:
    """What does not hold, copy by copy where copies are looked at by themselves."""
    tags = []
    for mate in group:
        finding = mate.finding
        copy = finding.statement.id.partition("@")[2].replace("_", " ")
        lead = f"{esc(copy)}: " if copy else ""
        if finding.verdict is Verdict.HOLDS:
            if copy and len(group) > 1:
                tags.append(f'<span class="tag">{lead}holds</span>')
            continue
        cause = f" ({esc(finding.cause)})" if finding.cause else ""
        tags.append(f'<span class="tag full">{lead}{esc(finding.verdict)}{cause}</span>')
    return " ".join(tags)


def _condition(card: Card, group: Sequence[Mate]) -> str:
    mate = group[0]
    item, title = mate.finding.statement, _title(mate)
    if mate.refused:
        return f"<li><b>{esc(title)}</b><small>{_SHUT}</small></li>"
    unit = card.model.work_unit
    wanted = span((item.lower, item.upper), unit, item.dimension)
    found = mate.finding.basic
    if item.lower is not None and item.lower == item.upper and "==" in item.text:
        off = Fraction(0) if found is None else middle(found) - item.lower
        short = f"; it is {span((off, off), unit, item.dimension)} out" if off else ""
        said = size_words(item.text.replace("==", "="))
        return (
            f"<li>{keys(mate.letters)} <b>{esc(title)}</b>"
            f"<small>{esc(said)}{short}. {_last(card, group, {})}{_verdict(group)}</small></li>"
        )
    basic = "" if found is None else span((middle(found), middle(found)), unit, item.dimension)
    return (
        f"<li>{keys(mate.letters)} <b>{esc(title)}</b>"
        f"<small>{wanted}; comes to {basic or 'nothing yet'}. {_last(card, group, {})}{_verdict(group)}"
        "</small></li>"
    )


def _when(time: str) -> str:
    """The day and minute of a reading, as a book has it: ``2026-11-25 19:23``.

    >>> _when("2026-11-25T19:23:30Z"), _when("tuesday")
    ('2026-11-25 19:23', 'tuesday')
    """
    day, _, clock = time.partition("T")
    return f"{day} {clock[:5]}" if clock else time


def readings(card: Card) -> str:
    """The readings of the part's sizes, with the instrument, the time and the note of each."""
    rows = []
    for item in card.sizes:
        for copy, reading in item.readings.items():
            both = length_pair(reading.value, card.model.work_unit, 3)
            if not item.line.size.kind.is_length:
                both = plain_mm(reading.value)
            says = "; ".join(
                x for x in (reading.instrument, _when(reading.time), reading.note) if x
            )
            rows.append(
                f'<tr><th scope="row"><span class="key">{item.letter}</span> '
                f"{esc(item.line.size.name.replace('_', ' '))}</th><td>{esc(copy)}</td>"
                f'<td class="f">{both}</td><td>{esc(says)}</td></tr>'
            )
    if not rows:
        return ""
    return (
        '<section><h2>Readings so far</h2><table class="grid"><thead><tr><th scope="col">size</th>'
        '<th scope="col">copy</th><th scope="col">read</th><th scope="col">with, when</th></tr>'
        f"</thead><tbody>{''.join(rows)}</tbody></table></section>"
    )
