"""The tables that a person reads: what the command line prints, from the same results."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from scaler.checking.cautions import Caution
from scaler.checking.check import Finding
from scaler.checking.conflicts import CheckResult
from scaler.checking.explaining import Explanation
from scaler.checking.workability import WorkFinding
from scaler.measures.lengths import format_mm
from scaler.measures.spoken import said
from scaler.problems import Problem
from scaler.records import Kind, Stage, Verdict
from scaler.report import (
    full_size_text,
    length_text,
    measured_text,
    signed_text,
    sixty_fourth,
)
from scaler.settling.reduce import Reduction, SizeLine
from scaler.settling.solve import Value, middle


@dataclass(frozen=True, slots=True)
class Grid:
    """Headings and cells of one table; ``right`` names the columns of figures."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    right: tuple[int, ...] = ()


def sizes_grid(reduction: Reduction, units: str) -> Grid:
    """Every size: full size as drawn, exact, chosen, departure, limits, how."""
    figures = ["exact", "chosen", "departure", "limits"]
    headings = ["size", "kind", "full size", *figures, "how"]
    if units == "in":
        headings.insert(5, "64ths, thou")
    rows = []
    for line in reduction.all_lines:
        cells = [line.name, str(line.size.kind)]
        if line.refused:
            rows.append((*cells, "no figure", *["-"] * (len(headings) - 4), "refused"))
            continue
        cells.append(full_size_text(line.size))
        cells.append(_value(line, line.exact, units, 3))
        cells.append(_value(line, line.chosen, units, 3))
        if units == "in":
            cells.append(sixty_fourth(line.chosen) if line.size.kind.is_length else "-")
        cells.append(_departure(line, units))
        cells.append(_limits(line, units))
        cells.append(_how(line))
        rows.append(tuple(cells))
    right = tuple(range(3, len(headings) - 1))
    return Grid(tuple(headings), tuple(rows), right)


def _value(line: SizeLine, value: Value | None, units: str, places: int) -> str:
    if value is None:
        return "-"
    if not line.size.kind.is_length:
        plain = middle(value)
        text = f"{format_mm(plain, 2)}".rstrip("0").rstrip(".")
        return f"{text}°" if line.size.kind is Kind.ANGLE else text
    return length_text(value, units, places)


def _departure(line: SizeLine, units: str) -> str:
    if line.departure is None or not line.size.kind.is_length:
        return "-"
    return signed_text(line.departure, units)


def _limits(line: SizeLine, units: str) -> str:
    if line.limits is None or not line.size.kind.is_length:
        return "-"
    lower, upper = line.limits.lower, line.limits.upper
    if lower == -upper:
        return f"±{length_text(upper, 'mm' if units == 'both' else units, 3)}"
    unit = "mm" if units == "both" else units
    return f"{_signed(upper, unit)} {_signed(lower, unit)}"


def _signed(value: Value, unit: str) -> str:
    plain = middle(value)
    sign = "-" if plain < 0 else "+"
    return "0" if plain == 0 else f"{sign}{length_text(abs(plain), unit, 3)}"


def _how(line: SizeLine) -> str:
    settled = line.settled
    if settled is None:
        return "-"
    text = settled.method
    if settled.row is not None:
        text += f", {settled.row.designation}"
    if settled.way == "choice":
        text += " (choice)"
    if settled.note and settled.note.startswith(("beyond", "outside")):
        text += f" ({settled.note.partition(':')[0]})"
    return text


def findings_grid(findings: Sequence[Finding], units: str) -> Grid:
    """Every pair and condition: verdict, wanted, found, basis, cause."""
    rows = []
    for finding in findings:
        item = finding.statement
        basic = None if finding.basic is None else middle(finding.basic)
        rows.append(
            (
                str(finding.verdict),
                f"{item.id} ({item.met})" if item.met else item.id,
                *(
                    measured_text(bounds, item.dimension, units)
                    for bounds in ((item.lower, item.upper), (basic, basic), finding.found)
                ),
                str(finding.cause) if finding.cause else "",
                str(item.basis),
            )
        )
    return Grid(
        ("verdict", "pair or condition", "wanted", "basic", "found", "cause", "basis"),
        tuple(rows),
        (2, 3, 4),
    )


def compare_grid(results: Sequence[CheckResult], units: str) -> Grid:
    """The stages side by side: each statement's value and verdict at exact, rounded and chosen."""
    headings = ["pair or condition", "wanted"]
    for result in results:
        headings += [str(result.stage), "verdict"]
    by_id = [{f.statement.id: f for f in result.findings} for result in results]
    rows = []
    for finding in results[0].findings:
        item = finding.statement
        cells = [item.id, measured_text((item.lower, item.upper), item.dimension, units)]
        for found in by_id:
            other = found.get(item.id)
            if other is None:  # copies with readings of their own stand in its place
                cells += ["-", "by copies"]
                continue
            basic = None if other.basic is None else middle(other.basic)
            cells.append(measured_text((basic, basic), item.dimension, units))
            cells.append(str(other.verdict))
        rows.append(tuple(cells))
    return Grid(tuple(headings), tuple(rows), (1, 2, 4, 6))


def counts_text(result: CheckResult) -> str:
    """One line: how many statements, and how many of each verdict."""
    counts = result.counts()
    told = ", ".join(f"{number} {verdict}" for verdict, number in counts.items() if number)
    stage = {
        Stage.EXACT: "at exact scale, basic sizes",
        Stage.ROUNDED: "each size rounded alone, basic sizes",
        Stage.CHOSEN: "as chosen, on each basis",
    }[result.stage]
    return f"{len(result.findings)} pairs and conditions {stage}: {told or 'none'}"


def work_text(item: WorkFinding, units: str) -> str:
    """One check of workability in words, with its place."""
    return (
        f"{item.verdict}: {item.text}: found {length_text(item.found, units, 3)}, "
        f"wanted {length_text(item.wanted, units, 3)} ({item.source})   [{item.place}]"
    )


def workability_text(result: CheckResult, units: str) -> str:
    """What an old hand would look at before cutting: all that fails or is doubtful, and a count."""
    lines = []
    for item in result.workability:
        if item.overruled:
            lines.append(f"* overruled: {item.text} ({item.overruled})")
        elif item.verdict is not Verdict.HOLDS:
            lines.append(f"* {work_text(item, units)}")
    held = sum(1 for f in result.workability if f.verdict is Verdict.HOLDS and not f.overruled)
    if result.workability:
        lines.append(f"* {held} of {len(result.workability)} checks of workability hold")
    return "\n".join(lines)


def conflicts_text(result: CheckResult) -> str:
    """Each conflict in words, with its statements and their places, and the ways out asked for."""
    blocks = []
    for conflict in result.conflicts:
        lines = [f"* {conflict.text}"]
        lines += [f"    {member.text} ({member.place})" for member in conflict.members]
        if conflict.tried:
            from scaler.substitution.text import ways_lines

            lines += ways_lines(conflict.ways_out, f"tried: {conflict.tried}")
        blocks.append("\n".join(lines))
    return "\n".join(blocks)


def notes_text(findings: Sequence[Finding], units: str) -> str:
    """The notes of doubtful findings, and the shifted aims of last cuts."""
    lines = []
    for finding in findings:
        name = finding.statement.id
        if finding.note and finding.verdict is not Verdict.HOLDS:
            lines.append(f"* {name}: {finding.note}")
        aim = finding.aim
        if aim is not None and finding.verdict is Verdict.HOLDS and finding.basic is not None:
            low, high = finding.found
            if low is not None and high is not None and low + high != 2 * middle(finding.basic):
                lines.append(
                    f"* {name}: aim the last cut of {aim.size} at {said(aim.target, units, 4)}, "
                    f"not at its basic size"
                )
    return "\n".join(lines)


def cautions_text(cautions: Sequence[Caution]) -> str:
    """Cautions, each text once, with all it is about; refusals first."""
    grouped: dict[tuple[bool, str, str], list[str]] = {}
    for caution in cautions:
        if caution.kind == "weaker":
            figures, _, text = caution.text.partition(". ")
            grouped.setdefault((False, caution.headline, text), []).append(
                f"{caution.about} ({figures})"
            )
            continue
        key = (caution.refused, caution.headline, caution.text)
        grouped.setdefault(key, []).extend(caution.about.split(", "))
    lines = []
    for (_, headline, text), about in sorted(grouped.items(), key=lambda item: not item[0][0]):
        lines.append(f"* {headline}: {', '.join(dict.fromkeys(about))}. {text}")
    return "\n".join(lines)


def said_once(notes: Sequence[Problem]) -> list[Problem]:
    """Notes that say the same of several sizes put together, at the place of the first."""
    found: dict[tuple[str, str], Problem] = {}
    for number, note in enumerate(notes):
        name, _, text = note.headline.partition(": ")
        key = (note.code, text) if note.code == "not-to-scale" else ("", str(number))
        before = found.get(key)
        if before is not None:
            names = f"{before.headline.partition(': ')[0]}, {name}"
            note = replace(before, headline=f"{names}: {text}")
        found[key] = note
    return list(found.values())


def warnings_text(notes: Sequence[Problem]) -> str:
    """Warnings, one a line with their place."""
    return "\n".join(
        f"* {note.headline}" + (f" ({note.place})" if note.place else "")
        for note in said_once(notes)
    )


def explanation_text(explanation: Explanation, units: str) -> str:
    """The way to a size as lines, then what hangs on it."""
    width = max((len(step.what) for step in explanation.steps), default=0)
    size = explanation.size
    lines = [f"{size.id}, {size.kind}" + (f": {size.title}" if size.title else "")]
    for step in explanation.steps:
        place = f"   [{step.place}]" if step.place else ""
        lines.append(f"  {step.what.ljust(width)}  {step.text}{place}")
    if explanation.makes:
        lines.append("makes: " + ", ".join(explanation.makes))
    if explanation.findings:
        lines.append("hangs on it:")
        for finding in explanation.findings:
            item = finding.statement
            wanted = measured_text((item.lower, item.upper), item.dimension, units)
            found = f"found {measured_text(finding.found, item.dimension, units)}"
            if finding.fails and finding.basic is not None:  # it is the basic sizes that fail
                basic = middle(finding.basic)
                found = f"is {measured_text((basic, basic), item.dimension, units)} at basic sizes"
            lines.append(
                f"  {finding.verdict}: {item.title or item.id}; wanted {wanted}, {found} "
                f"({item.basis})   [{item.place}]"
            )
    else:
        lines.append("no pair or condition hangs on it")
    if explanation.cautions:
        lines.append(cautions_text(explanation.cautions))
    return "\n".join(lines)


def causes_text(result: CheckResult, units: str) -> str:
    """What fails at a stage, by cause, each with what moved it most."""
    lines = []
    for cause in dict.fromkeys(f.cause for f in result.failures()):
        found = [f for f in result.failures() if f.cause is cause]
        lines.append(f"* {cause}: {len(found)}")
        for finding in found:
            item = finding.statement
            by = f", most by {finding.shares[0][0]}" if finding.shares else ""
            plain = None if finding.basic is None else middle(finding.basic)
            basic = measured_text((plain, plain), item.dimension, units)
            window = measured_text((item.lower, item.upper), item.dimension, units)
            lines.append(f"    {item.title or item.id}: {basic}, wanted {window}{by}")
    return "\n".join(lines)
