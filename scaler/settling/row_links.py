"""Sizes that are columns of one row: which row a size takes, and what another makes of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import partial

from scaler.problems import Place, Problem
from scaler.records import Method, Model, Size, Wish
from scaler.settling.rows import Candidate, Rows, column_of, method_row, pick
from scaler.settling.settled import Settled, reach_of
from scaler.settling.solve import middle
from scaler.settling.wishes import first_that_means, means


def row_link(size: Size) -> Method | None:
    """The method by which a size takes a column of another's row; None where it has none."""
    if size.equals is not None:
        return None
    return next((method for method in size.rule if method.column), None)


def row_of(rows: Sequence[Candidate], value: Fraction, designation: str = "") -> Candidate | None:
    """The row of a size, of that designation if one is given; None where there is none."""
    row = pick(rows, value)
    if row is None or row.value != value:
        return None
    if designation and row.designation != designation:
        same = (r for r in rows if r.value == value and r.designation == designation)
        return next(same, None)
    return row


def row_taken(
    model: Model, rows: Rows, results: Mapping[str, Settled], name: str
) -> Candidate | None:
    """The row that a settled size takes.

    A made size takes the row recorded for it, else the nearest of its rule to what it came out at;
    a size at exact scale the one that its rule would give it, the nearest where none is within its
    reach. None where it is cut to size.
    """
    settled = results.get(name)
    if settled is None or settled.row is not None:
        return None if settled is None else settled.row
    size = model.sizes[name]
    if settled.made:
        choice = model.choices.get(name)
        for method in size.rule if choice is not None and choice.row else ():
            if method.way in ("row", "thread"):
                assert choice is not None
                found = row_of(rows.of_size(size, method), choice.value, choice.row)
                if found is not None:
                    return found
    elif settled.way not in ("exact", "defined"):
        return None
    # what it may take comes first, in any method; only where that is nothing, what its rule names
    of_rule = partial(rows.of, material=model.parts[size.part].material)
    for listed in (partial(rows.of_size, size), of_rule):
        row = _by_rule(model, rows, results, size, settled, listed)
        if row is not None:
            return row
    return None


def _by_rule(
    model: Model,
    rows: Rows,
    results: Mapping[str, Settled],
    size: Size,
    settled: Settled,
    listed: Callable[[Method], Sequence[Candidate]],
) -> Candidate | None:
    """The row that a size's rule gives it, by what is listed for each method; the nearest of the
    first method with rows where none is within its reach."""
    value = middle(settled.value)
    first: Candidate | None = None
    for method in size.rule:
        row = None
        if method.column:
            row = column_of(row_taken(model, rows, results, method.leader), method)
        elif method.way in ("row", "thread"):
            row = pick(listed(method), value, method.direction)
        if row is not None and abs(row.value - value) <= reach_of(size, method, value):
            return row
        if method.way == "cut" and not settled.made:
            break
        first = first or row
    return first


def no_column(size: Size, method: Method, taken: Candidate | None) -> Problem:
    """Says that a size cannot be taken from the row of another."""
    if taken is None:
        headline = f"{size.id}: {method.leader} takes no row of a catalogue"
        advice = f"give {method.leader} a rule with rows, or {size.id} a later method"
    else:
        said = f"{taken.designation} gives no {method.name}"
        if taken.table == "shop":
            said = f"the shop list gives {taken.designation} one size only, no {method.name}"
        headline = f"{size.id}: {said}, and {method.leader} takes it"
        advice = f"name the catalogue's row in the shop list, or give {size.id} a later method"
    return Problem(
        "no-column",
        headline,
        method.place or size.place,
        read=method.text,
        expected="a row with that column",
        advice=advice,
    )


def why_none(rows: Rows, model: Model, size: Size) -> str:
    """In words, why a rule finds no row at all."""
    material = model.parts[size.part].material
    every = [r for m in size.rule if m.way in ("row", "thread") for r in rows.of(m, material)]
    forbids = [wish for row in every if (wish := first_that_means(size.forbid, row)) is not None]
    if every and len(forbids) == len(every):
        said = ", ".join(f"'{wish.word}' ({wish.place})" for wish in dict.fromkeys(forbids))
        return f"all rows of its rule are forbidden by {said}"
    needed = rows.needed.get(size.id, ())
    if every and needed:
        said = ", ".join(dict.fromkeys(f"a {n.rule[0].name} ({n.place})" for n in needed))
        only = " (the shop list gives sizes alone)" if all(r.table == "shop" for r in every) else ""
        return f"no row that it may take gives {said}, which another size takes from it{only}"
    return "its rule finds no row at all"


def reasons(
    rows: Rows,
    model: Model,
    size: Size,
    value: Fraction,
    row: Candidate | None,
    exact: Fraction | None,
) -> list[tuple[str, Place]]:
    """Where a preference or a forbid decided for a size, in words, each with its place."""
    if not size.forbid and not size.prefer:
        return []
    material = model.parts[size.part].material
    at = value if exact is None else exact
    away = abs(value - at)
    found: dict[Wish, str] = {}
    for method in size.rule:
        if method.way not in ("row", "thread"):
            continue
        reach = reach_of(size, method, at)
        for other in sorted(rows.of(method, material), key=lambda r: abs(r.value - at)):
            off = abs(other.value - at)
            if off > reach or off > away:
                break
            forbid = first_that_means(size.forbid, other)
            if forbid is not None:
                if off < away or row is None or (other.value == value and other.key != row.key):
                    words = "nearer, but" if off < away else "as near, but"
                    found.setdefault(forbid, f"{words} forbidden: {other.designation}")
            elif row is not None and off == away and other.key != row.key:
                better = next(
                    (w for w in size.prefer if means(w.word, row) and not means(w.word, other)),
                    None,
                )
                if better is not None:
                    text = f"as near, but '{better.word}' is preferred: {other.designation}"
                    found.setdefault(better, text)
    return [
        (text if wish.word in text else f"{text} ('{wish.word}')", wish.place)
        for wish, text in found.items()
    ]


def noted(model: Model, results: Mapping[str, Settled]) -> list[Problem]:
    """What is odd about the rows and steps that sizes have come to."""
    return parted(model, results) + vanishing(model, results)


def vanishing(model: Model, results: Mapping[str, Settled]) -> list[Problem]:
    """Sizes that at this scale are less than half the step that they are cut to."""
    found = []
    fine: set[tuple[int, int]] = set()
    for name, settled in results.items():
        method, size = settled.by, model.sizes[name]
        alike = id(settled), id(size.full)  # sizes drawn alike share how they are settled
        if method is None or alike in fine or size.full is None or not method.step:
            continue
        if not size.kind.is_length:
            continue
        exact = size.full * model.ratio
        if exact >= method.step / 2:
            fine.add(alike)
        if 0 < exact < method.step / 2:
            found.append(
                Problem(
                    "vanishes",
                    f"{name} vanishes at this scale: {float(exact):.4f} mm, and {method.name} cuts "
                    f"to steps of {float(method.step):g} mm",
                    size.place,
                    read=size.drawn,
                    expected="a size that can be made",
                    advice="leave the detail out, give it a finer step, or choose a larger scale",
                    severity="warning",
                )
            )
    return found


def parted(model: Model, results: Mapping[str, Settled]) -> list[Problem]:
    """Sizes of one part that are columns of one row and have come to different rows."""
    found = []
    for group in implied(model):
        rows = {
            name: settled.row
            for name in group
            if (settled := results.get(name)) is not None
            and settled.row is not None
            and settled.row.table != "shop"
        }
        first = next(iter(rows.items()), None)
        if first is None:
            continue
        for name, row in rows.items():
            if row.key != first[1].key:
                found.append(
                    Problem(
                        "other-row",
                        f"{name} takes {row.designation}, and {first[0]} of the same piece takes "
                        f"{first[1].designation}",
                        model.sizes[name].place,
                        read=row.designation,
                        expected="one row for both",
                        advice="choose them together: scaler substitute",
                        severity="warning",
                    )
                )
    return found


def of_one_row(model: Model, rows: Rows, results: Mapping[str, Settled]) -> dict[str, Settled]:
    """Sizes of one part that are columns of one row, where several rows serve each equally well:
    all by the first row of the one that leads that serves them all. Their values are as they were.
    """
    changed: dict[str, Settled] = {}
    for group in implied(model):
        held = {n: s for n in group if (s := results.get(n)) is not None and s.row is not None}
        serving: list[dict[tuple[str, str], Candidate]] = []
        for name, settled in held.items():
            assert settled.row is not None
            alike = [settled.row]
            if settled.way == "row" and settled.by is not None:  # not by a choice of its own
                alike = [
                    row
                    for row in rows.of_size(model.sizes[name], settled.by)
                    if row.value == settled.row.value
                ]
            serving.append({row.key: row for row in reversed(alike)})
        first = reversed(serving[0]) if serving else ()
        shared = [key for key in first if all(key in s for s in serving)]
        if not shared:
            continue
        for (name, settled), found in zip(held.items(), serving, strict=True):
            row = found[shared[0]]
            if row != settled.row:
                changed[name] = replace(settled, row=row, why=row_why(row))
    return changed


def row_why(row: Candidate) -> str:
    """Which row it is, and who says so."""
    return f"{row.designation} ({row.source})"


def implied(model: Model) -> list[tuple[str, ...]]:
    """Sizes of one part that are columns of one row, those that the model (or piece of it) has."""
    found = [tuple(n for n in group if n in model.sizes) for group in model.row_groups]
    return [group for group in found if len(group) > 1]


def row_groups(
    model: Model,
) -> tuple[tuple[tuple[str, ...], ...], tuple[tuple[str, ...], ...]]:
    """Sizes of one part whose rules take different columns of the same tables.

    Returns: the groups that have each column once; and of the others the sizes that share a column,
    of which it is not known which belong together: a rule such as ``tube bore of frame.outside``
    says so.
    """
    groups: dict[tuple[str, tuple[str, ...]], dict[str, list[str]]] = {}
    for size in model.sizes.values():
        for method in size.rule:
            table = method_row(method.name) if method.way in ("row", "thread") else None
            if table is not None and table.tables:
                columns = groups.setdefault((size.part, table.tables), {})
                names = columns.setdefault(table.column, [])
                if size.id not in names:
                    names.append(size.id)
    several = [columns for columns in groups.values() if len(columns) > 1]
    clear = [all(len(names) == 1 for names in columns.values()) for columns in several]
    return (
        tuple(
            tuple(names[0] for names in columns.values())
            for columns, one in zip(several, clear, strict=True)
            if one
        ),
        tuple(
            tuple(names)
            for columns, one in zip(several, clear, strict=True)
            if not one
            for names in columns.values()
            if len(names) > 1
        ),
    )
