"""Cards as pages: what stands where on the sheet."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler.cards.features import sold_as_it_is
from scaler.cards.page_figures import (
    Figure,
    figure_of,
    inch_text,
    length_pair,
    mm_text,
    outline_pair,
)
from scaler.cards.page_html import Paper, card_style, css_text, document, esc, keys, paper_of
from scaler.cards.page_mates import mates, readings, readout
from scaler.cards.sketch import exact_label, shape_of
from scaler.cards.sketch_draw import draw
from scaler.cards.stock import NO_LENGTH, plain_mm
from scaler.cards.tools import ToolUse, tool_name
from scaler.measures.lengths import format_exact
from scaler.progress import told
from scaler.records import Kind, State

if TYPE_CHECKING:
    from scaler.cards.as_read import ToMake
    from scaler.cards.cards import Card, CardSize
    from scaler.cards.stock import Blank

MOST_BOXES = 6


def all_pages(cards: Sequence[Card], paper_name: str = "A4") -> dict[str, str]:
    """File name to page: ``index.html``, ``all.html``, and one page a part."""
    paper = paper_of(paper_name)
    style = card_style(paper)
    pages: dict[str, str] = {}
    bodies = []
    for at, card in enumerate(told(cards, "cards")):
        body = card_body(card, paper)
        bodies.append(body)
        links = ['<a href="index.html">all parts</a>']
        if at:
            links.append(f'<a href="{cards[at - 1].name}.html">{esc(cards[at - 1].title)}</a>')
        if at + 1 < len(cards):
            links.append(f'<a href="{cards[at + 1].name}.html">{esc(cards[at + 1].title)}</a>')
        nav = f'<nav aria-label="Cards">{"".join(links)}</nav>'
        pages[f"{card.name}.html"] = document(
            f"{card.title}: bench card",
            f"{style}{_sheet_foot('', card)}",
            f"{nav}<main>{body}</main>",
        )
    if cards:
        model = cards[0].model
        title = f"{model.title}: all bench cards"
        nav = '<nav aria-label="Cards"><a href="index.html">all parts</a></nav>'
        feet = "".join(
            f"{_sheet_foot(f'c{at}', card)}.card:nth-of-type({at}){{page:c{at}}}"
            for at, card in enumerate(cards, 1)
        )
        pages["all.html"] = document(
            title, f"{style}@media print{{{feet}}}", f"{nav}<main>{''.join(bodies)}</main>"
        )
        pages["index.html"] = _index(cards, paper)
    return pages


def _sheet_foot(page: str, card: Card) -> str:
    """The style that prints the part's name at the foot of each of its sheets."""
    said = css_text(f"{card.title}; {card.model.title}")
    return f'@page {page}{{@bottom-left{{content:"{said}";font:8pt Arial,sans-serif}}}}'


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
    if card.part.state is not State.NOT_MADE:
        return str(card.part.state)
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
            f'<article class="card" aria-label="{esc(card.title)}">{_head(card)}'
            f'<section class="no"><h2>{esc(card.refusal.headline)}</h2>'
            f"<p>{esc(card.refusal.text)}</p></section></article>"
        )
    unit = card.model.work_unit
    figures = {
        item.line.size.id: figure_of(item.line, item.to_make[0], unit) for item in card.sizes
    }
    blocks = [
        f'<article class="card" aria-label="{esc(card.title)}">',
        _head(card),
        _cautions(card),
        _strip(card, unit),
        _sketch(card, paper, figures),
        _sizes(card, figures),
        _beside(_tools(card), readout(card.coordinates, unit)),
        mates(card, figures),
        readings(card),
        "</article>",
    ]
    return "".join(blocks)


def _head(card: Card) -> str:
    """The title block: model and scale, the part, material, copies, sheet, place; how many."""
    part, model = card.part, card.model
    if card.refusal is not None:
        return f'<header class="head"><div><h1>{esc(card.title)}</h1></div></header>'
    scale = esc(model.scale.read_as).replace(" : ", "&nbsp;:&nbsp;")  # never broken at the colon
    of = f'<p class="of">{esc(model.title)}; scale {scale}</p>'
    drawing = model.drawings.get(part.drawing or "")
    says = [part.material] if part.material else []
    if part.copies:
        says.append(", ".join(copy.replace("_", " ") for copy in part.copies))
    if drawing is not None:
        issue = f", issue {drawing.issue}" if drawing.issue else ""
        says.append(f"sheet: {drawing.title or drawing.name}{issue}")
    says.append(str(part.place))
    return (
        f'<header class="head"><div>{of}<h1>{esc(card.title)}</h1>'
        f'<p class="sub">{esc("; ".join(says))}</p></div>'
        f'<p class="off"><b>{part.count}</b>off</p></header>'
    )


_STATES = {
    State.BOUGHT: ("Bought", "not made here: measure what came and write it beside each size"),
    State.MADE: ("Made", "the sizes as read count from now on"),
    State.LOCKED: ("Locked", "it stays as it is: what mates with it is made to suit"),
    State.SCRAPPED: ("Scrapped", "it is to be made again"),
}


def _strip(card: Card, unit: str) -> str:
    """What to begin with: a bought thing, one that is there already, or what to saw it from."""
    known = _STATES.get(card.part.state)
    said = f'<p class="strip"><b>{known[0]}:</b> {known[1]}.</p>' if known else ""
    if card.blank is not None:
        return said + _stock(card.blank, unit, card.part.count)
    if not said and card.sizes and all(i.line.size.kind is Kind.THREAD for i in card.sizes):
        return '<p class="strip"><b>Make or buy:</b> nothing but its thread is in the model.</p>'
    if not said and sold_as_it_is([item.line for item in card.sizes]):
        return f'<p class="strip"><b>Make or buy:</b> {esc(_sold(card))}.</p>'
    return said


def _sold(card: Card) -> str:
    """What a part is sold as: the row that its sizes take, or that they do not take one yet."""
    rows = (item.line.settled.row for item in card.sizes if item.line.settled is not None)
    named = list(dict.fromkeys(row.designation for row in rows if row is not None))
    if len(named) > 1:
        return (
            f"its sizes take different rows yet ({', '.join(named)}); scaler substitute finds one"
        )
    return named[0]


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
    if blank.outline is not None:
        words.append(f"saw <b>{outline_pair(blank.outline, unit)}</b>; {count} wanted")
    elif blank.sawn is not None and blank.finished is not None and (section or blank.wanted):
        each = (blank.sawn - blank.finished) / 2
        words.append(
            f"saw <b>{length_pair(blank.sawn, unit)}</b> long, {plain_mm(each)} mm to face at "
            f"each end; {count} wanted"
        )
    notes = list(blank.notes)
    if NO_LENGTH in notes:
        notes.remove(NO_LENGTH)
        words.append(NO_LENGTH)
    tail = f' <span class="note">{esc("; ".join(notes))}.</span>' if notes else ""
    said = "; ".join(words)
    return f'<p class="strip"><b>Stock:</b> {said}{"." if said else ""}{tail}</p>'


def _sketch(card: Card, paper: Paper, figures: dict[str, Figure]) -> str:
    labels = {
        item.line.size.id: exact_label(item.letter, _called(item, figures[item.line.size.id]))
        for item in card.sizes
    }
    shape = shape_of([item.line for item in card.sizes], labels)
    if shape is None:
        return ""
    title = f"Sketch of the {card.title}, not to scale"
    size = 3.6 if paper.narrow else 4.2
    picture = draw(shape, f"s-{card.name}", title, paper.inner, size)
    return (
        f'<figure aria-label="{esc(title)}">{picture}<figcaption>sketch, not to scale; the drawing '
        "says where each feature lies</figcaption></figure>"
    )


def _called(item: CardSize, shown: Figure) -> str:
    """A size as the sketch and the table call it: its figure, or the name of its thread."""
    settled = item.line.settled
    if (
        shown.own
        and item.line.size.kind is Kind.THREAD
        and settled is not None
        and settled.row is not None
    ):
        return settled.row.designation
    return shown.own


def _sizes(card: Card, figures: dict[str, Figure]) -> str:
    if not card.sizes:
        return ""
    unit = card.model.work_unit
    other = "mm" if unit == "in" else "in"
    rows = [_row(card, item, figures[item.line.size.id]) for item in card.sizes]
    return (
        f'<section><h2>Sizes</h2><table class="sizes"><thead><tr><th class="k" scope="col" '
        f'aria-label="row"></th><th class="nm" scope="col">size</th>'
        f'<th class="mk" scope="col">make it, {unit} ({other})</th><th class="lm" scope="col">'
        f'largest, smallest</th><th scope="col">as made, {unit}</th></tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table>"
        '<p class="by">made by ____________________ date ______________</p></section>'
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
    first = item.to_make[0].value
    exact = "" if first is None else format_exact(first)
    unit = card.model.work_unit
    each = [(one, figure_of(line, one, unit)) for one in item.to_make]
    makes = "".join(_make(item, one, at) for one, at in each)
    limits = "".join(_limits(item, one, at) for one, at in each)
    return (
        f'<tr data-size="{esc(size.id)}" data-exact="{exact}"><th scope="row">'
        f'<span class="key">{item.letter}</span></th><td><span class="name">'
        f"{esc(size.name.replace('_', ' '))}</span>{tags}"
        f'<span class="how">{esc("; ".join(how))}</span></td>'
        f'<td class="make">{makes}</td><td>{limits}</td>'
        f"<td>{_boxes(card, item, shown.own_unit)}</td></tr>"
    )


def _make(item: CardSize, one: ToMake, shown: Figure) -> str:
    """One figure of a row: what was made, or is to be made, of which copies."""
    main, under, unit = esc(_called(item, shown)), "", shown.own_unit
    if main != esc(shown.own):
        under = f'<span class="other">{esc(shown.own)} {shown.own_unit} outside</span>'
        unit = ""
    if shown.other:
        under += f'<span class="other">{esc(shown.other)} {shown.other_unit}</span>'
    if shown.fraction and not one.made:
        under += f'<span class="near">{esc(shown.fraction)}</span>'
    said = ", ".join(x for x in (_copies(one), "as made" if one.made else "") if x)
    if one.value is None:
        said = ", ".join(
            x for x in (said, "what was read leaves it no room: see the ways out") if x
        )
    label = f'<span class="near">{esc(said)}</span>' if said else ""
    return (
        f'<span><span><b>{main}</b> <span class="u">{unit}</span></span>'
        f"<span>{label}{under}</span></span>"
    )


def _copies(one: ToMake) -> str:
    return ", ".join(copy.replace("_", " ") for copy in one.copies)


def _limits(item: CardSize, one: ToMake, shown: Figure) -> str:
    """Largest and smallest of one figure of a row."""
    planned = one.window is None and not one.made and item.line.state is State.NOT_MADE
    if item.last_for and planned:
        return "to suit, below"  # the limits of the process would say otherwise than the aim
    if not shown.own_limits or item.line.size.kind is Kind.THREAD:
        return ""
    lines = [f"<small>{esc(_copies(one))}</small>"] if one.copies else []
    for own, other in zip(shown.own_limits, shown.other_limits or ("", ""), strict=True):
        beside = f"<small>{other}</small>" if other else ""
        lines.append(f'<span class="lr">{own}{beside}</span>')
    return f'<span class="lims">{"".join(lines)}</span>'


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


def _beside(tools: str, places: str) -> str:
    """Tools and coordinates beside each other where the sheet is wide enough."""
    return f'<div class="beside">{tools}{places}</div>' if tools and places else tools + places


def _tools(card: Card) -> str:
    if card.part.state in (State.BOUGHT, State.MADE, State.LOCKED):
        return ""
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
        rows.append(f"<li><b>{esc(tool_name(use))}</b> {keys(letters)}{note}{missing}</li>")
    kind = "tools two" if len(rows) > 3 else "tools"
    return f'<section><h2>Tools, in order</h2><ol class="{kind}">{"".join(rows)}</ol></section>'
