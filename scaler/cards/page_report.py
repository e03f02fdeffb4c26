"""The report on a whole model as one page: what was chosen and why, what fails, and the pictures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from scaler import catalogue
from scaler.cards.page_chains import chain_anchor, chains_block, chains_shown, verdict_words
from scaler.cards.page_figures import figure, inch_text, mm_text, size_words, span, window
from scaler.cards.page_graph import Link, pictures
from scaler.cards.page_html import document, esc, paper_of, report_style
from scaler.cards.pictures import BAR_ROW, Bar, departures
from scaler.cards.stock import plain_mm
from scaler.expressions import names
from scaler.records import Kind, Verdict
from scaler.report import full_size_text
from scaler.settling.rows import method_row
from scaler.settling.settle import reach_of
from scaler.settling.solve import middle

if TYPE_CHECKING:
    from scaler.checking.check import Finding
    from scaler.checking.conflicts import CheckResult, Conflict
    from scaler.settling.reduce import SizeLine

MOST_BARS = 40
MOST_LINKS = 400

SECTIONS = (
    ("conflicts", "Conflicts"),
    ("cautions", "Cautions"),
    ("parts-and-pairs", "Parts and pairs"),
    ("verdicts", "Verdicts"),
    ("chains", "Chains"),
    ("departures", "Departures"),
    ("choices", "What was chosen, and why"),
    ("look", "Look at these"),
    ("sources", "Sources used"),
)


def report_page(result: CheckResult, *, cards: bool = False, paper: str = "A4") -> str:
    """The page. With ``cards`` each part links to its card in the same folder.

    Parameters: paper : ``A4``, ``A5`` or ``letter``, what it is printed on.
    Raises: ValueError for another paper.
    """
    model, sheet = result.model, paper_of(paper)
    margin = sheet.margin + (0 if sheet.narrow else 2)
    room = (sheet.width - 2 * margin, sheet.height - 2 * margin - 38)
    links = "".join(f'<li><a href="#{key}">{title}</a></li>' for key, title in SECTIONS)
    if cards:
        links += '<li><a href="index.html">Bench cards</a></li>'
    numbers = {f.statement.id: at for at, f in enumerate(result.findings, 1)}
    shut = frozenset(c.about for c in result.reduction.cautions if c.refused)
    found = chains_shown(result)
    drawn = {chain.id for chain in found}
    body = (
        '<a class="skip" href="#conflicts">To the report</a>'
        f'<header id="top"><h1>{esc(model.title)}</h1><p class="lead">Scale '
        f"{esc(model.scale.read_as)}</p>{_summary(result)}"
        f'<nav aria-label="Sections"><ul>{links}</ul></nav></header><main>'
        f"{_conflicts(result, numbers)}{_cautions(result)}{_graph(result, numbers, shut, room)}"
        f"{_verdicts(result, numbers, drawn)}"
        f"{_section('chains', chains_block(result, found, numbers, room[0]))}"
        f"{_departures(result, room)}{_choices(result, cards)}"
        f"{_look(result)}{_sources(result)}</main>"
        f"<footer><p class='note'>Lengths are exact in the model and rounded only here. "
        f"{esc(model.folder.name)}</p></footer>"
    )
    return document(f"{model.title}: report", report_style(sheet, margin, model.title), body)


def _section(key: str, body: str) -> str:
    title = dict(SECTIONS)[key]
    return (
        f'<section id="{key}" aria-labelledby="{key}-h"><h2 id="{key}-h">{title}</h2>{body}'
        '<p class="up"><a href="#top">to the top</a></p></section>'
    )


def _summary(result: CheckResult) -> str:
    counts = result.counts()
    drawn = sum(1 for line in result.reduction.lines if line.size.full is not None)
    items = [
        (len(result.model.parts), "parts"),
        (len(result.reduction.lines), "sizes"),
        (drawn, "drawn full size"),
    ]
    items += [(number, verdict) for verdict, number in counts.items() if number]
    cells = "".join(f"<li><b>{number}</b>{esc(words)}</li>" for number, words in items)
    failing = len(result.failures())
    said = (
        f"{failing} of {len(result.findings)} pairs and conditions do not hold."
        if failing
        else f"No pair or condition fails; {len(result.findings)} were looked at."
    )
    return f'<p><strong>{said}</strong></p><ul class="sum">{cells}</ul>'


def _anchor(number: int) -> str:
    return f"p-{number}"


def _conflicts(result: CheckResult, numbers: dict[str, int]) -> str:
    if not result.conflicts:
        return _section("conflicts", "<p>None.</p>")
    blocks = []
    for conflict in result.conflicts:
        item = conflict.finding.statement
        members = "".join(
            f'<li>{esc(member.text)} <span class="note">({esc(member.place)})</span></li>'
            for member in conflict.members
        )
        number = numbers[item.id]
        blocks.append(
            f'<div class="box"><h3><a href="#{_anchor(number)}">{number}</a>: '
            f"{esc(item.title or item.id)} {verdict_words(conflict.finding.verdict)}</h3>"
            f'<p>{esc(conflict.text.removeprefix(f"{item.title or item.id}: "))}</p><ul class="plain">{members}</ul>'
            f"{_ways_out(conflict)}</div>"
        )
    return _section("conflicts", "".join(blocks))


def _ways_out(conflict: Conflict) -> str:
    """Ranked ways out, where they were worked out (the keys of the contract for scripts)."""
    from scaler.report import conflict_dict

    rows = []
    for way in conflict_dict(conflict)["ways_out"]:
        said = [esc("; ".join(map(str, way.get("changes") or ())))]
        for key, lead in (("gives_up", "gives up"), ("made_again", "to be made again")):
            if way.get(key):
                said.append(esc(f"{lead}: {', '.join(map(str, way[key]))}"))
        said += [f"write: <code>{esc(text)}</code>" for text in way.get("write") or () if text]
        if way.get("conflicts_left"):
            said.append(f"after this, conflicts that remain: {way['conflicts_left']}")
        if way.get("cost") is not None:
            said.append(f"departure of the whole model then {float(way['cost']):.3f}")
        said += [esc(caution) for caution in way.get("cautions") or ()]
        rows.append(f"<li>{'<br>'.join(said)}</li>")
    if rows:
        return f"<p>Ways out, the best first:</p><ol>{''.join(rows)}</ol>"
    return (
        f"<p>No way out among what was tried: {esc(conflict.tried)}.</p>" if conflict.tried else ""
    )


def _cautions(result: CheckResult) -> str:
    grouped: dict[tuple[bool, str, str], list[str]] = {}
    for caution in result.reduction.cautions:
        about, text = caution.about.replace("_", " ").replace(".", " "), caution.text
        if caution.kind == "weaker":
            figures, _, text = text.partition(". ")
            about = f"{about} ({figures})"
        grouped.setdefault((not caution.refused, caution.headline, text), []).append(about)
    if not grouped:
        return _section("cautions", "<p>None.</p>")
    blocks = [
        f'<div class="box"><h3>{esc(headline)}</h3><p>{esc(", ".join(about))}. {esc(text)}</p></div>'
        for (_, headline, text), about in sorted(grouped.items(), key=lambda item: item[0][0])
    ]
    return _section("cautions", "".join(blocks))


def _links(
    findings: Iterable[Finding], numbers: dict[str, int], shut: frozenset[str]
) -> list[Link]:
    """Pairs between parts, and conditions of two parts that do not hold."""
    links = []
    for finding in findings:
        item = finding.statement
        found = list(dict.fromkeys(name.partition(".")[0] for name in names(item.node)))
        if item.what == "pair" and item.inner:
            inner = item.inner.partition(".")[0].strip("-( 0123456789*")
            found.sort(key=lambda part: part != inner)
        elif finding.verdict is Verdict.HOLDS or len(found) != 2:
            continue
        if len(found) < 2:
            continue
        number = numbers[item.id]
        verdict = "refused" if shut & set(found) else str(finding.verdict)
        links.append(
            Link(number, _anchor(number), found[0], found[1], verdict,
                 item.title or item.id.replace("_", " "), tuple(found[2:]))
        )  # fmt: skip
    return links


def _graph(
    result: CheckResult, numbers: dict[str, int], shut: frozenset[str], room: tuple[float, float]
) -> str:
    links = _links(result.findings, numbers, shut)
    if not links:
        return _section("parts-and-pairs", "<p>No pairs.</p>")
    note = ""
    if len(links) > MOST_LINKS:
        note = f"<p>The first {MOST_LINKS} of {len(links)} pairs.</p>"
        links = links[:MOST_LINKS]
    titles = {
        name: part.title or name.replace("_", " ") for name, part in result.model.parts.items()
    }
    joined = {name for link in links for name in (link.inner, link.outer, *link.third)}
    alone = [titles[name] for name in result.model.parts if name not in joined]
    drawn = "".join(f"<figure>{each}</figure>" for each in pictures(links, titles, *room))
    rest = f" In no pair: {esc(', '.join(alone))}." if alone else ""
    return _section(
        "parts-and-pairs",
        f"{note}{drawn}<figcaption>Boxes are parts and lead to their sizes; "
        "lines are pairs, and the number leads to the row below. An even line holds; a dashed or "
        "dotted heavy one does not, "
        "and says so. A thin grey line joins a part that takes part in a sum; a box with a dashed "
        f"edge is drawn again from above.{rest}</figcaption>",
    )


def _verdicts(result: CheckResult, numbers: dict[str, int], drawn: set[str]) -> str:
    unit = result.model.work_unit
    rows = []
    for finding in result.findings:
        item = finding.statement
        number = numbers[item.id]
        if finding.verdict is Verdict.REFUSED:
            cells = f'<td colspan="2">{esc(finding.note)}</td>'
        else:
            bounds = (item.lower, item.upper)
            pair = item.what == "pair"
            wanted = window(bounds, unit) if pair else span(bounds, unit, item.dimension)
            found = span(finding.found, unit, item.dimension)
            if finding.fails and finding.basic is not None:  # it is the basic sizes that fail
                basic = middle(finding.basic)
                found = f"{span((basic, basic), unit, item.dimension)} at basic sizes"
            cells = f"<td>{wanted}</td><td>{found}</td>"
        said = size_words(f"{item.inner} in {item.outer}" if item.what == "pair" else item.text)
        cause = f"<br>{esc(finding.cause)}" if finding.cause else ""
        title = esc(item.title or item.id.replace("_", " "))
        if item.id in drawn:
            title = f'<a href="#{chain_anchor(number)}">{title}</a>'
        basis = "; ".join(x for x in (size_words(str(item.basis)), item.source) if x)
        rows.append(
            f'<tr id="{_anchor(number)}"><th scope="row">{number}</th>'
            f"<td>{verdict_words(finding.verdict)}{cause}</td><td>{title}<br>"
            f"<small>{esc(said)}<br>{esc(basis)}</small></td>{cells}</tr>"
        )
    head = "".join(
        f'<th scope="col">{text}</th>'
        for text in ("no.", "verdict", "pair or condition; its basis, source", "wanted", "found")
    )
    return _section(
        "verdicts",
        f'<table class="vt"><thead><tr>{head}</tr></thead><tbody>{"".join(rows)}</tbody></table>',
    )


def _share(line: SizeLine, off: Fraction) -> float:
    """The departure in parts of the reach: 1 is as far as the builder would go."""
    assert line.exact is not None
    method = next(
        (m for m in line.size.rule if line.settled and line.settled.method in (m.name, m.text)),
        None,
    )
    reach = reach_of(line.size, method, middle(line.exact))
    return float(abs(off) / reach) if reach else 0.0


def _departures(result: CheckResult, room: tuple[float, float]) -> str:
    known = [(line, line.departure) for line in result.reduction.lines]
    lines = sorted(
        (
            (-_share(line, off), line.size.id, line, off)
            for line, off in known
            if off and line.size.kind.is_length and line.exact is not None
        ),
        key=lambda item: item[:2],
    )
    if not lines:
        return _section("departures", "<p>No size departs from scale.</p>")
    unit = result.model.work_unit
    shown = lines[: min(MOST_BARS, int(room[1] / BAR_ROW) - 2)]
    bars = []
    for less, _, line, off in shown:
        sign = "−" if off < 0 else "+"
        percent = abs(float(off / middle(line.exact)) * 100) if line.exact else 0.0
        words = f"{sign}{_own(abs(off), unit, line)} {unit}, {percent:.1f} %"
        bars.append(Bar(size_words(line.size.id), less if off < 0 else -less, words))
    chart = departures(
        bars, "departures-p", "Departures from scale, in parts of the reach", room[0]
    )
    exact = sum(1 for _, off in known if off == 0)
    true = f" {exact} sizes are made to scale." if exact else ""
    more = f" {len(lines) - len(shown)} more depart by less." if len(lines) > len(shown) else ""
    text = "".join(f"<li>{esc(bar.label)}: {esc(bar.words)}</li>" for bar in bars)
    return _section(
        "departures",
        f"<figure>{chart}<figcaption>The bar is the departure in parts of the greatest allowed for "
        f"that size; the figure is the departure itself.{true}{more}"
        f'</figcaption></figure><details><summary>The same as a list</summary><ul class="plain">'
        f"{text}</ul></details>",
    )


def _choices(result: CheckResult, cards: bool) -> str:
    unit = result.model.work_unit
    by_part: dict[str, list[SizeLine]] = {}
    for line in result.reduction.lines:
        by_part.setdefault(line.size.part, []).append(line)
    head = "".join(
        f'<th scope="col"{kind}>{text}</th>'
        for text, kind in (
            ("size", ""), ("full size", ""), (f"exact, {unit}", ' class="f"'),
            ("chosen", ' class="f"'), (f"off by, {unit}", ' class="f"'), ("how and why", ""),
        )
    )  # fmt: skip
    tables = []
    for name, lines in by_part.items():
        part = result.model.parts[name]
        title = esc(part.title or name.replace("_", " "))
        if cards:
            title = f'<a href="{name}.html">{title}</a>'
        off = "" if all(line.refused for line in lines) else f", {part.count} off"
        said = f"{title}{off}{', ' + esc(part.material) if part.material else ''}"
        if all(line.refused for line in lines):
            tables.append(f'<h3 id="part-{name}">{said}</h3><p>No figure is given.</p>')
            continue
        rows = "".join(_choice(line, unit) for line in lines if not line.refused)
        tables.append(
            f'<h3 id="part-{name}">{said}</h3><table class="ct"><thead><tr>{head}</tr></thead>'
            f"<tbody>{rows}</tbody></table>"
        )
    return _section("choices", "".join(tables))


def _own(value: Fraction, unit: str, line: SizeLine) -> str:
    """A figure of a size in the workshop's unit; an angle or a count as it is."""
    if line.size.kind in (Kind.COUNT, Kind.TEETH):
        return plain_mm(value)
    if unit == "in" and line.size.kind.is_length:
        return inch_text(value, 4)
    return mm_text(value, 3)


def _choice(line: SizeLine, unit: str) -> str:
    assert line.chosen is not None
    shown = figure(line, unit)
    chosen = f"<strong>{esc(shown.own)}</strong> {shown.own_unit}"
    if shown.other:
        chosen += f"<br><small>{esc(shown.other)} {shown.other_unit}</small>"
    exact = "" if line.exact is None else _own(middle(line.exact), unit, line)
    off = ""
    departs = line.departure if line.size.kind.is_length else None
    if departs is not None:
        sign = "−" if departs < 0 else ("+" if departs else "")
        off = f"{sign}{_own(abs(departs), unit, line)}"
    settled = line.settled
    how = settled.method if settled else ""
    row = settled.row.designation if settled and settled.row else ""
    how += f", {row}" if row and row not in f"{how} {settled.why if settled else ''}" else ""
    why = settled.why if settled else ""
    note = f"; {settled.note}" if settled and settled.note else ""
    label = f" <small>{esc(line.size.title)}</small>" if line.size.title else ""
    state = "" if str(line.state) == "not made" else f" ({esc(line.state)})"
    return (
        f'<tr><th scope="row">{esc(line.size.name.replace("_", " "))}{label}</th>'
        f"<td>{esc(full_size_text(line.size))}</td>"
        f'<td class="f">{exact}</td><td class="f">{chosen}</td><td class="f">{off}</td>'
        f"<td>{esc(how)}{state}<br><small>{esc(why)}{esc(note)}</small></td></tr>"
    )


def _look(result: CheckResult) -> str:
    from scaler.tables import said_once

    notes = result.reduction.notes
    if not notes:
        return _section("look", "<p>Nothing more.</p>")
    rows = "".join(
        f'<li>{esc(note.headline)} <span class="note">({esc(note.place)})</span></li>'
        for note in said_once(notes)
    )
    return _section("look", f'<ul class="plain">{rows}</ul>')


def _sources(result: CheckResult) -> str:
    """Every source behind a row, a process or a fit, with its kind: published, second-hand …"""
    used: Counter[str] = Counter()
    for line in result.reduction.lines:
        if line.settled is None or line.refused:
            continue
        if line.settled.row is not None:
            used[line.settled.row.source] += 1
        row = method_row(line.settled.method)
        if row is not None and row.limits:
            used[row.source] += 1
    for finding in result.findings:
        if finding.statement.source:
            used[finding.statement.source] += 1
    known = {row.text("key"): row for row in catalogue.table("sources").rows}
    rows = []
    for key, count in sorted(used.items(), key=lambda item: (-item[1], item[0])):
        entry = known.get(key)
        if entry is None and ": " in key:
            entry = known.get(key.partition(": ")[2])
        title = entry.text("title") if entry else ""
        kind = entry.text("kind") if entry else "as the model states it"
        if key.startswith("shop list"):
            kind = "the builder's own list"
        rows.append(
            f'<tr><th scope="row">{esc(key)}</th><td>{esc(title)}</td><td>{esc(kind)}</td>'
            f'<td class="f">{count}</td></tr>'
        )
    rows = _shop_together(rows, used)
    head = "".join(
        f'<th scope="col">{text}</th>' for text in ("source", "title", "kind", "used for")
    )
    return _section(
        "sources",
        f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
        "<p class='note'>Second-hand: read in a copy and not in the standard itself. Common "
        "practice and from memory: to be judged by the builder.</p>",
    )


def _shop_together(rows: Sequence[str], used: Counter[str]) -> list[str]:
    """The lines of the shop list as one row."""
    shop = sum(count for key, count in used.items() if key.startswith("shop list"))
    kept = [row for row in rows if ">shop list," not in row]
    if shop:
        kept.insert(
            0,
            '<tr><th scope="row">shop list</th><td>what is on the shelf</td>'
            f'<td>the builder\'s own list</td><td class="f">{shop}</td></tr>',
        )
    return kept


def summary_line(result: CheckResult) -> str:
    """One line for the screen after the page is written."""
    counts = {verdict: number for verdict, number in result.counts().items() if number}
    told = ", ".join(f"{number} {verdict}" for verdict, number in counts.items())
    return f"{len(result.findings)} pairs and conditions: {told or 'none'}"
