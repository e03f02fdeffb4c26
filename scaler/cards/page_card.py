"""Cards as pages: what stands where on the sheet."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.cards.page_figures import (
    Figure,
    figure,
    inch_text,
    length_pair,
    mm_text,
    size_words,
    span,
    window,
)
from scaler.cards.page_html import Paper, card_style, document, esc, paper_of
from scaler.cards.sketch import draw, exact_label, shape_of
from scaler.cards.stock import plain_mm
from scaler.cards.tools import ToolUse, tool_name
from scaler.measures.lengths import format_exact
from scaler.records import BasisKind, Kind, State, Verdict
from scaler.settling.solve import Value, middle

if TYPE_CHECKING:
    from scaler.cards.cards import Card, CardSize, Mate
    from scaler.cards.coordinates import Coordinates
    from scaler.cards.stock import Blank

MOST_BOXES = 6


def all_pages(cards: Sequence[Card], paper_name: str = "A4") -> dict[str, str]:
    """File name to page: ``index.html``, ``all.html``, and one page a part."""
    paper = paper_of(paper_name)
    style = card_style(paper)
    pages: dict[str, str] = {}
    bodies = []
    for at, card in enumerate(cards):
        body = card_body(card, paper)
        bodies.append(body)
        links = ['<a href="index.html">all parts</a>']
        if at:
            links.append(f'<a href="{cards[at - 1].name}.html">{esc(cards[at - 1].title)}</a>')
        if at + 1 < len(cards):
            links.append(f'<a href="{cards[at + 1].name}.html">{esc(cards[at + 1].title)}</a>')
        nav = f'<nav aria-label="Cards">{"".join(links)}</nav>'
        pages[f"{card.name}.html"] = document(
            f"{card.title}: bench card", style, f"{nav}<main>{body}</main>"
        )
    if cards:
        model = cards[0].model
        title = f"{model.title}: all bench cards"
        nav = '<nav aria-label="Cards"><a href="index.html">all parts</a></nav>'
        pages["all.html"] = document(title, style, f"{nav}<main>{''.join(bodies)}</main>")
        pages["index.html"] = _index(cards, paper)
    return pages


def _index(cards: Sequence[Card], paper: Paper) -> str:
    """The list of all cards."""
    model = cards[0].model
    rows = []
    for card in cards:
        count = "" if card.refusal else f"{card.part.count} off"
        said = "no figure is given" if card.refusal else _state_words(card)
        rows.append(
            f'<tr><th scope="row"><a href="{card.name}.html">{esc(card.title)}</a></th>'
            f"<td>{count}</td><td>{esc(card.part.material)}</td><td>{esc(said)}</td></tr>"
        )
    body = (
        f'<main class="card"><header class="head"><div><h1>{esc(model.title)}</h1>'
        f'<p class="sub">bench cards, {esc(paper.name)}</p></div></header>'
        '<section><h2>Parts</h2><table class="grid"><thead><tr><th scope="col">part</th>'
        '<th scope="col">how many</th><th scope="col">material</th><th scope="col">state</th>'
        f"</tr></thead><tbody>{''.join(rows)}</tbody></table></section>"
        '<p><a href="all.html">All cards on one page, to print</a></p></main>'
    )
    return document(f"{model.title}: bench cards", card_style(paper), body)


def _state_words(card: Card) -> str:
    made = sum(1 for item in card.sizes if _is_made(item))
    if made:
        return f"{made} of {len(card.sizes)} sizes made"
    return str(card.part.state)


def _is_made(item: CardSize) -> bool:
    return bool(item.readings) or item.line.state in (State.MADE, State.BOUGHT, State.LOCKED)


def card_body(card: Card, paper: Paper) -> str:
    """One card, as an article of a page."""
    if card.refusal is not None:
        return (
            f'<article class="card" aria-label="{esc(card.title)}"><header class="head"><div>'
            f"<h1>{esc(card.title)}</h1></div></header>"
            f'<section class="no"><h2>{esc(card.refusal.headline)}</h2>'
            f"<p>{esc(card.refusal.text)}</p></section></article>"
        )
    unit = card.model.work_unit
    figures = {item.line.size.id: figure(item.line, unit) for item in card.sizes}
    blocks = [
        f'<article class="card" aria-label="{esc(card.title)}">',
        _head(card),
        _cautions(card),
        _stock(card.blank, unit, card.part.count) if card.blank else "",
        _sketch(card, paper, figures),
        _sizes(card, figures),
        _tools(card),
        _readout(card.coordinates, unit),
        _mates(card, figures),
        _readings(card),
        _foot(card),
        "</article>",
    ]
    return "".join(blocks)


def _head(card: Card) -> str:
    part, model = card.part, card.model
    drawing = model.drawings.get(part.drawing or "")
    says = [part.material] if part.material else []
    if part.copies:
        says.append(", ".join(copy.replace("_", " ") for copy in part.copies))
    if drawing is not None:
        issue = f", issue {drawing.issue}" if drawing.issue else ""
        says.append(f"sheet: {drawing.title or drawing.name}{issue}")
    if part.state is not State.NOT_MADE:
        says.append(str(part.state))
    return (
        f'<header class="head"><div><h1>{esc(card.title)}</h1>'
        f'<p class="sub">{esc("; ".join(says))}</p></div>'
        f'<p class="off"><b>{part.count}</b>off</p></header>'
    )


def _cautions(card: Card) -> str:
    found: dict[tuple[str, str], list[str]] = {}
    for caution in card.cautions:
        about = caution.about.partition(".")[2]
        letter = card.letter(caution.about) if about else ""
        figures, text = "", caution.text
        if caution.kind == "weaker":
            figures, _, text = caution.text.partition(". ")
        said = f"{about.replace('_', ' ')} ({letter})" if about else ""
        if figures:
            said += f": {figures}"
        found.setdefault((caution.headline, text), []).append(said)
    blocks = []
    for (headline, text), abouts in found.items():
        lead = "; ".join(item for item in abouts if item)
        blocks.append(
            f'<aside class="care"><h2>{esc(headline)}.</h2> <p>{esc(lead + ". " if lead else "")}'
            f"{esc(text)}</p></aside>"
        )
    return "".join(blocks)


def _stock(blank: Blank, unit: str, count: int) -> str:
    section = blank.section
    words = []
    if section is not None:
        words.append(f"<b>{esc(section.designation)}</b>")
    elif blank.wanted:
        words.append("<b>stock to be found</b>")
    if blank.sawn is not None and blank.finished is not None and (section or blank.wanted):
        each = (blank.sawn - blank.finished) / 2
        words.append(
            f"saw <b>{length_pair(blank.sawn, unit)}</b> long, {plain_mm(each)} mm to face at "
            f"each end; {count} wanted"
        )
    notes = f' <span class="note">{esc("; ".join(blank.notes))}.</span>' if blank.notes else ""
    said = "; ".join(words)
    return f'<p class="strip"><b>Stock:</b> {said}{"." if said else ""}{notes}</p>'


def _sketch(card: Card, paper: Paper, figures: dict[str, Figure]) -> str:
    labels = {
        item.line.size.id: exact_label(item.letter, figures[item.line.size.id].own)
        for item in card.sizes
    }
    shape = shape_of([item.line for item in card.sizes], labels)
    if shape is None:
        return ""
    title = f"Sketch of the {card.title}, not to scale"
    size = 3.6 if paper.width < 160 else 4.2
    picture = draw(shape, f"s-{card.name}", title, paper.inner, size)
    return (
        f'<figure aria-label="{esc(title)}">{picture}<figcaption>sketch, not to scale; the drawing '
        "says where each feature lies</figcaption></figure>"
    )


def _sizes(card: Card, figures: dict[str, Figure]) -> str:
    if not card.sizes:
        return ""
    unit = card.model.work_unit
    rows = [_row(card, item, figures[item.line.size.id]) for item in card.sizes]
    return (
        f'<section><h2>Sizes</h2><table class="sizes"><thead><tr><th class="k" scope="col" '
        f'aria-label="row"></th><th class="nm" scope="col">size</th>'
        f'<th class="mk" scope="col">make, {unit} first</th><th class="lm" scope="col">largest, '
        f'smallest</th><th scope="col">as made</th></tr></thead><tbody>{"".join(rows)}</tbody>'
        "</table></section>"
    )


def _row(card: Card, item: CardSize, shown: Figure) -> str:
    line = item.line
    size = line.size
    how = []
    if size.title:
        how.append(size.title)
    if line.settled is not None:
        method = line.settled.method
        if line.settled.row is not None and size.kind is not Kind.THREAD:
            method += f", {line.settled.row.designation}"
        how.append(method)
    if size.datum:
        how.append(f"from {size.datum}")
    tags = ""
    if item.last_for:
        tags += ' <span class="tag full">cut last</span>'
    if line.state is not State.NOT_MADE:
        tags += f' <span class="tag">{esc(line.state)}</span>'
    assert line.chosen is not None
    exact = format_exact(middle(line.chosen))
    main, under = esc(shown.own), ""
    if size.kind is Kind.THREAD and line.settled is not None and line.settled.row is not None:
        main = esc(line.settled.row.designation)
        under = f'<span class="other">{esc(shown.own)} {shown.own_unit} outside</span>'
        unit = ""
    else:
        unit = shown.own_unit
    if shown.other:
        under += f'<span class="other">{esc(shown.other)} {shown.other_unit}</span>'
    if shown.fraction:
        under += f'<span class="near">{esc(shown.fraction)}</span>'
    limits = ""
    if shown.own_limits and size.kind is not Kind.THREAD:
        lines = []
        for own, other in zip(shown.own_limits, shown.other_limits or ("", ""), strict=True):
            beside = f"<small>{other}</small>" if other else ""
            lines.append(f'<span class="lr">{own}{beside}</span>')
        limits = f'<span class="lims">{"".join(lines)}</span>'
    return (
        f'<tr data-size="{esc(size.id)}" data-exact="{exact}"><th scope="row">'
        f'<span class="key">{item.letter}</span></th><td><span class="name">'
        f"{esc(size.name.replace('_', ' '))}</span>{tags}"
        f'<span class="how">{esc("; ".join(how))}</span></td>'
        f'<td class="make"><span><span><b>{main}</b> <span class="u">{unit}</span></span>'
        f"<span>{under}</span></span></td><td>{limits}</td>"
        f"<td>{_boxes(card, item, shown.own_unit)}</td></tr>"
    )


def _boxes(card: Card, item: CardSize, unit: str) -> str:
    """Room to write a reading for each piece, and the readings that there are."""
    part = card.part
    copies = list(part.copies) or [""] * min(part.count, 4)
    cells = []
    for copy in copies[:MOST_BOXES]:
        reading = item.readings.get(copy)
        label = copy.replace("_", " ")
        value = f"<b>{_reading(reading.value, unit)}</b>" if reading is not None else ""
        cells.append(f"<span>{esc(label)}{value}</span>")
    if part.copies and "" in item.readings:
        cells.insert(0, f"<span>all<b>{_reading(item.readings[''].value, unit)}</b></span>")
    many = " many" if len(cells) > 2 else ""
    return f'<span class="boxes{many}">{"".join(cells)}</span>'


def _reading(value: Fraction, unit: str) -> str:
    """A reading in a box: its unit stands in the row already."""
    if unit == "in":
        return inch_text(value, 4)
    return mm_text(value, 3) if unit == "mm" else plain_mm(value)


def _tools(card: Card) -> str:
    grouped: dict[tuple[str, str, str], tuple[ToolUse, list[str]]] = {}
    for use in card.tools:
        key = (*use.key, use.note)
        letters = grouped.setdefault(key, (use, []))[1]
        letter = card.letter(use.for_size)
        if letter and letter not in letters:
            letters.append(letter)
    if not grouped:
        return ""
    rows = []
    for use, letters in grouped.values():
        missing = ""
        if use.on_shelf is False:
            near = f"; nearest there: {use.instead}" if use.instead else ""
            missing = f' <span class="tag">not on the shop list{esc(near)}</span>'
        note = f" <small>{esc(use.note)}</small>" if use.note else ""
        rows.append(f"<li><b>{esc(tool_name(use))}</b> {_keys(letters)}{note}{missing}</li>")
    kind = "tools two" if len(rows) > 3 else "tools"
    return f'<section><h2>Tools, in order</h2><ol class="{kind}">{"".join(rows)}</ol></section>'


def _readout(tables: Sequence[Coordinates], unit: str) -> str:
    if not tables:
        return ""
    blocks = []
    other = "mm" if unit == "in" else "in"
    for table in tables:
        note = f'<p class="note">{esc(table.note)}.</p>' if table.note else ""
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
            f'<table class="grid"><caption>{esc(caption)}</caption><thead><tr>'
            f'<th scope="col">place</th>{heads}</tr></thead><tbody>{"".join(rows)}</tbody></table>'
            f"{note}"
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


def _mates(card: Card, figures: dict[str, Figure]) -> str:
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
        f"<li>{_keys(mate.letters)} <b>{esc(title)}:</b> "
        f'<p class="want">{window(bounds, unit)} <span>{_short(window(bounds, other))}</span></p>'
        f"<small>{esc(words)}. {_last(card, mate, figures)}{_verdict(group)}</small></li>"
    )


def _keys(letters: Sequence[str]) -> str:
    """Letters of rows, each in its ring."""
    return " ".join(f'<span class="key">{esc(letter)}</span>' for letter in letters if letter)


def _short(words: str) -> str:
    """The same window in the other unit, in brackets and without its first word again."""
    for word in ("clearance ", "interference "):
        words = words.removeprefix(word)
    return f"({words})"


_SHUT = "no figure is given: a part that holds pressure takes part"


def _last(card: Card, mate: Mate, figures: dict[str, Figure]) -> str:
    basis, aim = mate.finding.statement.basis, mate.finding.aim
    if basis.kind is not BasisKind.LAST_CUT:
        return ""
    letter = card.letter(basis.last)
    if not letter:
        return f"The {esc(size_words(basis.last))} is cut last, to this part as it measures. "
    by = f" ({esc(basis.by)})" if basis.by else ""
    said = f"<strong>Cut {letter} last{by}, to the others as they measure.</strong> "
    shown = figures.get(basis.last)
    if aim is not None and shown is not None:
        unit = card.model.work_unit
        target = length_pair(aim.target, unit, 3)
        said += f"If they come to size, aim at {target}. "
    return said


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
    basic = "" if found is None else span((middle(found), middle(found)), unit, item.dimension)
    return (
        f"<li>{_keys(mate.letters)} <b>{esc(title)}</b>"
        f"<small>{wanted}; comes to {basic or 'nothing yet'}. {_last(card, mate, {})}{_verdict(group)}"
        "</small></li>"
    )


def _readings(card: Card) -> str:
    rows = []
    for item in card.sizes:
        for copy, reading in item.readings.items():
            both = length_pair(reading.value, card.model.work_unit, 3)
            if not item.line.size.kind.is_length:
                both = plain_mm(reading.value)
            says = "; ".join(x for x in (reading.instrument, reading.time, reading.note) if x)
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


def _foot(card: Card) -> str:
    place = card.part.place
    return (
        f'<footer class="foot"><span>{esc(card.model.title)}; scale '
        f"{esc(card.model.scale.read_as)}; {esc(place)}</span>"
        '<span class="fill">made by ________________ date ____________</span></footer>'
    )
