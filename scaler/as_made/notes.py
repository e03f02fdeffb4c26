"""Things worth saying about a reading beyond the verdicts: copies that differ, readings that cannot
decide, parts whose copies want names."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import cache

from scaler import catalogue
from scaler.as_made.bench import Bench, base, rank
from scaler.as_made.move import figure
from scaler.as_made.ways import Way
from scaler.checking.check import Finding
from scaler.problems import InputError
from scaler.records import Verdict
from scaler.settling.limits import uncertainty


def notes(
    bench: Bench, size: str, copy: str, findings: Sequence[Finding], ways: Sequence[Way] = ()
) -> tuple[str, ...]:
    """Remarks on a reading: of copies, of their spread, of what names none, of a finer instrument."""
    return (
        *_of_all(bench, size, copy),
        *_spread(bench, size, copy),
        *_unnamed(bench, findings),
        *_finer(bench, findings),
        *_matched(bench, findings),
        *(_untied(bench, ways[0]) if ways else ()),
    )


def _matched(bench: Bench, findings: Sequence[Finding]) -> list[str]:
    """Pairs of like copies that fail, and would not if the copies were matched as they fit best."""
    from scaler.as_made.pairing import best_pairing

    notes = {}
    for finding in findings:
        item = finding.statement
        pair = bench.model.pairs.get(base(item.id)) if item.what == "pair" else None
        if pair is None or not finding.fails or not item.at or pair.meets or pair.best_match:
            continue
        first = bench.index.names_of["pair", pair.id][0]
        try:
            found = best_pairing(bench.near(first).model, pair.id)
        except InputError:
            continue
        if found.by_name and found.gains and all(rank(m.verdict) < 2 for m in found.matches):
            said = ", ".join(f"{match.inner} with {match.outer}" for match in found.matches)
            notes[pair.id] = (
                f'{found.text(bench.model.units)}: nothing need be cut, with meets = "{said}" in the pair'
            )
    return list(notes.values())


def _untied(bench: Bench, way: Way) -> list[str]:
    """Sizes that go by their names and drawn figures with one that is to be changed, and that no
    statement ties to it: a pin's hole in another part."""
    notes = []
    for move in way.moves:
        size = bench.model.sizes[move.size]
        if size.full is None or move.before == move.after or move.accepts:
            continue
        tied = {name for key in bench.index.keys_of(size.id) for name in bench.index.names_of[key]}
        for name in bench.index.drawn_alike(size.full):
            other = bench.model.sizes[name]
            named = size.part in other.name or other.part in size.name
            mates = other.kind.grows is not size.kind.grows
            if named and mates and other.part != size.part and other.id not in tied:
                notes.append(
                    f"{other.id} is drawn the same size as {size.id} ({size.drawn_as or 'full'}), "
                    f"and no pair ties the two: bring it to {move.name} as it comes out, or state "
                    "their pair"
                )
    return notes


def _of_all(bench: Bench, size: str, copy: str) -> list[str]:
    """A reading of a part with named copies that names none."""
    copies = bench.copies(size)
    if copy or not copies or (size, "") not in bench.model.readings:
        return []
    return [f"taken for every copy ({', '.join(copies)}); --copy names one"]


def _unnamed(bench: Bench, findings: Sequence[Finding]) -> list[str]:
    """Parts of which one is cut to each copy of another, and whose own copies have no names."""
    notes = {}
    for finding in findings:
        size = base(finding.statement.basis.last)
        if not size or "@" not in finding.statement.id or not rank(finding.verdict):
            continue
        part = bench.model.parts[bench.model.sizes[size].part]
        if part.count > 1 and not part.copies:
            notes[part.name] = (
                f"one size of {size} has to suit every copy: name the copies of {part.name} "
                f"(copies = […]) where each can be cut to its own"
            )
    return list(notes.values())


def _spread(bench: Bench, size: str, copy: str) -> list[str]:
    """What copies of one size differ by, and how they would best be matched in twos."""
    from scaler.as_made.pairing import alike

    record = bench.model.sizes[size]
    read = {c: bench.model.readings.get((size, c)) for c in bench.copies(size)}
    values = {c: reading.value for c, reading in read.items() if reading is not None}
    if not copy or len(values) < 2:
        return []
    low, high = min(values.values()), max(values.values())
    unsure = sum(sorted(uncertainty(record, r.instrument)[1] for r in read.values() if r)[-2:])
    if high - low <= unsure:
        return []
    text = (
        f"the copies of {size} differ by {figure(record, high - low, bench.model.units)} "
        f"({figure(record, low, bench.model.units)} to {figure(record, high, bench.model.units)})"
    )
    if len(values) > 2 and len(values) % 2 == 0 and len(values) == len(read):
        twos = alike(values)
        worst = max(abs(values[one] - values[other]) for one, other in twos)
        told = ", ".join(f"{one} with {other}" for one, other in twos)
        text += (
            f"; where they must agree in twos, match {told}: the worst difference is then "
            f"{figure(record, worst, bench.model.units)}"
        )
    return [text]


@cache
def _instruments() -> tuple[tuple[str, tuple[str, ...], Fraction], ...]:
    return tuple(
        (
            row.text("designation"),
            tuple(kind.strip() for kind in row.text("kinds").split(";")),
            row.number("uncertainty_mm"),
        )
        for row in catalogue.table("instruments").rows
    )


def _finer(bench: Bench, findings: Sequence[Finding]) -> list[str]:
    """Where the readings cannot decide: which of them a finer instrument would sharpen."""
    notes = []
    for finding in findings:
        if finding.verdict is not Verdict.DOUBTFUL:
            continue
        named = bench.index.names_of[finding.statement.what, base(finding.statement.id)]
        read = [
            (name, reading)
            for name in named
            for reading in (
                bench.model.readings.get((name, finding.statement.copy_of(name.partition(".")[0])))
                or bench.model.readings.get((name, "")),
            )
            if reading is not None
        ]
        if len(read) < len(named):
            continue
        better = []
        for name, reading in read:
            size = bench.model.sizes[name]
            worth = uncertainty(size, reading.instrument)[1]
            finer = [i for i in _instruments() if size.kind.value in i[1] and i[2] < worth]
            if finer:
                best = min(finer, key=lambda item: item[2])
                better.append(f"{name} with {best[0]}")
        if better:
            notes.append(
                f"the readings cannot decide {finding.statement.id}: read {', '.join(better)}"
            )
    return notes
