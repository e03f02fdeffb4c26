"""What a reading changes, what to make next and the cuts to take, in words for the bench."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from scaler.as_made.making_order import MakingOrder, MakingStep
from scaler.as_made.measuring import Change, Turned
from scaler.as_made.move import figure
from scaler.as_made.passes import Cuts, PassPlan
from scaler.as_made.ways import Way
from scaler.checking.check import Finding
from scaler.records import Size
from scaler.report import length_text, measured_text, window_text
from scaler.settling.limits import uncertainty
from scaler.tables import Grid, cautions_text, work_text


def value_text(size: Size, value: Fraction | None, units: str) -> str:
    """A size's value for print, in the units asked for."""
    if value is None:
        return "-"
    if not size.kind.is_length:
        return figure(size, value, units)
    text = length_text(value, units, 3 if units == "mm" else 4)
    return text if units == "both" else f"{text} {units}"


def change_text(change: Change, units: str) -> str:
    """What a reading changes: verdicts, sizes, what must become what, and the ways out."""
    size = change.size
    lines = [_reading_line(change, units)]
    lines += _block("Verdicts that change", [_turned(item) for item in change.verdicts])
    other = [m for m in change.affected if m.size not in (size.id, change.name)]
    lines += _block(
        "Sizes that move with it",
        [
            f"{m.size}: {value_text(change.model.sizes[m.size.partition('@')[0]], m.before, units)}"
            f" -> {value_text(change.model.sizes[m.size.partition('@')[0]], m.after, units)}"
            for m in other
        ],
    )
    lines += _block("Hangs on it", [_finding(finding, units) for finding in change.findings]) or [
        "no pair or condition hangs on it"
    ]
    lines += _block(
        "Still to be cut to suit",
        [
            item.text
            + (
                f" (anywhere from {window_text((item.lower, item.upper), units)})"
                if item.lower is not None or item.upper is not None
                else ""
            )
            for item in change.targets
        ],
    )
    lines += _block(
        "Can no longer hold with what is made",
        [*(f.statement.heading for f in change.lost), *change.why_not],
    )
    lines += _ways(change)
    lines += _block("Before cutting", [work_text(item, units) for item in change.workability])
    lines += _block("Notes", list(change.notes))
    text = cautions_text(change.cautions)
    if text:
        lines += ["", "Cautions", text]
    return "\n".join(lines)


def _reading_line(change: Change, units: str) -> str:
    size, reading = change.size, change.reading
    before = value_text(size, change.before, units)
    if reading is None:
        return f"{change.name}: reading taken back; {value_text(size, change.after, units)} again"
    tool, worth = uncertainty(size, reading.instrument)
    return (
        f"{change.name}: {before} -> {value_text(size, reading.value, units)} as made "
        f"(read with {tool}, ± {value_text(size, worth, units)})"
    )


def _turned(item: Turned) -> str:
    was = str(item.before.verdict) if item.before else "not looked at"
    now = str(item.after.verdict) if item.after else "no longer looked at"
    return f"{item.id}: {was} -> {now}"


def _finding(finding: Finding, units: str) -> str:
    item = finding.statement
    plain = None if finding.basic is None else _plain(finding)
    basic = measured_text((plain, plain), item.dimension, units)
    note = f"; {finding.note}" if finding.note and not finding.note.endswith("readings") else ""
    return (
        f"{finding.verdict}: {item.heading}; wanted "
        f"{measured_text((item.lower, item.upper), item.dimension, units)}, is {basic}{note}"
    )


def _plain(finding: Finding) -> Fraction:
    from scaler.settling.solve import middle

    assert finding.basic is not None
    return middle(finding.basic)


def _ways(change: Change) -> list[str]:
    if not change.ways:
        return _block("Ways out", ["none among what was tried"]) if change.broken else []
    groups: dict[tuple[str, ...], list[Way]] = {}
    for way in change.ways:
        groups.setdefault(way.mends, []).append(way)
    lines = ["", "Ways out, the least work first"]
    number = 0
    for mends, ways in groups.items():
        if len(groups) > 1:
            lines.append(f"for {', '.join(mends)}:")
        for way in ways:
            number += 1
            lines.append(f"{number}. {way.text}" + _extra(way))
            lines += [f"   write: {line}" for line in way.write]
    return lines


def _extra(way: Way) -> str:
    extra = []
    if way.remade:
        extra.append("made work lost")
    if way.gives_up:
        extra.append("gives up " + ", ".join(way.gives_up))
    if way.doubtful:
        extra.append("leaves doubtful " + ", ".join(way.doubtful))
    if way.cautions:
        kinds = dict.fromkeys(caution.headline for caution in way.cautions)
        extra.append("caution: " + ", ".join(kinds))
    return f" [{'; '.join(extra)}]" if extra else ""


def _block(title: str, lines: Sequence[str]) -> list[str]:
    return ["", title, *(f"* {line}" for line in lines)] if lines else []


def order_grid(steps: Sequence[MakingStep]) -> Grid:
    """All that is still to be made, in order, with the reasons."""
    rows = tuple((str(step.number), step.name, step.kind, step.why) for step in steps)
    return Grid(("no.", "size", "how", "why now"), rows, (0,))


def next_grid(order: MakingOrder, steps: Sequence[MakingStep], units: str) -> Grid:
    """The part to make next: each size, the figure to make it to, where it may lie, and why now."""
    rows = []
    for step in steps:
        size = order.model.sizes[step.size]
        found = step.target
        value = None if found is None else found.value
        aim = None if found is None or found.aim == found.value else found.aim
        within = window_text(step.limits, units) if size.kind.is_length else "-"
        rows.append(
            (
                step.name,
                value_text(size, value, units) if value is not None else "nothing serves",
                value_text(size, aim, units) if aim is not None else "",
                within,
                step.limits_from,
                step.why,
            )
        )
    return Grid(
        ("size", "make it", "aim at", "anywhere from", "by", "why now"), tuple(rows), (1, 2, 3)
    )


def passes_grid(plan: PassPlan, units: str) -> Grid:
    """The cuts: which face, how deep, the figure to set, the reading to expect."""
    unit = "mm" if units == "both" else units
    two = plan.faces.value.startswith("equally")
    headings = ["cut", *(["face"] if two else []), "what", "depth", "set the dial to"]
    rows = []
    for item in plan.passes:
        cells = [str(item.number), *([str(item.face)] if two else [])]
        cells.append(item.process if item.by_hand else f"{item.process}, {item.what}")
        cells.append(length_text(item.cut, unit, 4))
        tried = "-" if "reamed" in item.process else "by trying"
        cells.append(tried if item.by_hand else length_text(item.figure, unit, 4))
        cells.append(length_text(item.reading, unit, 4))
        rows.append(tuple(cells))
    right = tuple(n for n in range(len(headings) + 1) if n != (2 if two else 1))
    return Grid((*headings, "then it reads"), tuple(rows), right)


def passes_text(plan: PassPlan, units: str) -> str:
    """What is left, in one line, and the notes."""
    unit = "mm" if units == "both" else units
    lines = [
        f"from {length_text(plan.present, unit, 4)} to {length_text(plan.target, unit, 4)} {unit}: "
        f"{length_text(plan.left, unit, 4)} to come off {plan.faces}, "
        f"{length_text(plan.each_face, unit, 4)} deep"
        + (" on each face" if plan.faces.value.startswith("equally") else ""),
    ]
    if plan.passes:
        lines += [_cuts_text(cuts, unit) for cuts in (plan.first, plan.cuts) if cuts is not None]
    if any(not item.by_hand for item in plan.passes):
        lines.append(_zero_text(plan, unit))
    return "\n".join((*lines, *plan.notes))


def _cuts_text(cuts: Cuts, unit: str) -> str:
    """What a process takes at a time, in words."""
    rough, finish, least = (
        length_text(depth, unit, 4) for depth in (cuts.roughing, cuts.finishing, cuts.least)
    )
    said = f"{cuts.process}: roughing up to {rough} {unit} deep, finishing {finish}, no cut under {least}"
    if cuts.by_hand:
        said = f"{cuts.process}: the last {length_text(cuts.leave, unit, 4)} {unit} of depth"
    return f"{said} ({cuts.source})"


def _zero_text(plan: PassPlan, unit: str) -> str:
    """Where the dial was set, and which way its figure goes."""
    dial = plan.dial
    at = length_text(dial.zero, unit, 4)
    double = ", counting double (on the diameter)" if dial.on == "diameter" else ""
    if dial.zero_at == "centre":
        return f"the dial shows {at} on the centre line{double}"
    reads = length_text(plan.present, unit, 4)
    way = "rises" if dial.rises else "falls"
    return (
        f"the dial shows {at} where the tool just touches the work, at {reads} {unit}; its figure "
        f"{way} as the tool goes in{double}"
    )
