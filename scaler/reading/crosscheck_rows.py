"""Checks of what sizes take from rows: columns of another's row, words of prefer and forbid, locks.

A lock is put on record as a choice that nothing changes.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from scaler import catalogue
from scaler.problems import Known, listed, shorten
from scaler.reading.crosscheck_names import Names
from scaler.reading.crosscheck_sizes import rule_key
from scaler.reading.entries import Entry
from scaler.reading.locks import Locks
from scaler.reading.wishes import MUST
from scaler.records import Method, Model, Size, Wish
from scaler.settling.graph import find_ring
from scaler.settling.row_links import row_groups
from scaler.settling.rows import Candidate, Rows, method_row
from scaler.settling.wishes import SHELF, UNITS, means


def check_rows(names: Names) -> Model:
    """The model with its locks on record; what cannot be is reported."""
    checks = _Rows(names)
    checks.links()
    checks.wishes()
    if any(problem.severity == "error" for problem in names.entries.problems):
        return names.model
    groups, unclear = row_groups(names.model)
    names.model = replace(names.model, row_groups=groups)
    for sizes in unclear:
        checks.unclear(sizes)
    return Locks(names).run()


def tables_of(method: Method) -> tuple[str, ...]:
    """The catalogue's tables that a method takes its rows from."""
    table = method_row(method.name)
    if table is None or method.way not in ("row", "thread"):
        return ()
    return (*table.tables, *catalogue.serving(table.name))


class _Rows:
    def __init__(self, names: Names) -> None:
        self.names, self.model = names, names.model
        self.rows = Rows(replace(names.model, shop_only=False))

    # --- columns of another's row

    def links(self) -> None:
        """Each size that takes a column of another's row: that one takes rows with that column."""
        rules = {id(size.rule): size.rule for size in self.model.sizes.values()}
        led = {key: [m.leader for m in rule if m.leader] for key, rule in rules.items()}
        leads = {
            size.id: found for size in self.model.sizes.values() if (found := led[id(size.rule)])
        }
        ring = find_ring(leads)
        for name in leads:
            size = self.model.sizes[name]
            for method in size.rule:
                leader = self.model.sizes.get(method.leader)
                if leader is None or leader.id == size.id:
                    continue  # reported already
                if name in ring:
                    self.fail(
                        size,
                        method,
                        "ring",
                        f"{name}: these take their rows from each other: {' from '.join(ring)}",
                        "one of them with rows of its own",
                        "give one of them a rule such as thread or bearing bore",
                    )
                    return
                self.column(size, method, leader)

    def unclear(self, sizes: Sequence[str]) -> None:
        """Notes that a part has two sizes in one column: which row its others are of is not known."""
        part = self.model.sizes[sizes[0]].part
        self.names.entries.fail(
            self.names.size_entries[sizes[1]],
            "rule",
            "unclear-row",
            f"{part} takes two rows for {listed(sizes)}: which of its other sizes are of which row "
            "is not known, and each is chosen by itself",
            expected="sizes of one row",
            advice=f"write a rule such as 'wall of {sizes[0]}' for those that are of its row",
            warning=True,
        )

    def column(self, size: Size, method: Method, leader: Size) -> None:
        tables = dict.fromkeys(self.tables_behind(leader, 0))
        if not tables:
            self.fail(
                size,
                method,
                "no-rows",
                f"{size.id}: {leader.id} takes no row of a catalogue, so that it has no "
                f"{method.name}",
                "a size whose rule takes rows: thread, bearing bore, tube outside",
                f"state the rule of {leader.id}, or name another size",
            )
            return
        columns = sorted({name for table in tables for name in catalogue.table(table).lengths()})
        if method.column in columns:
            return
        known = [name.replace("_", " ") for name in columns]
        self.fail(
            size,
            method,
            "unknown-column",
            f"{size.id}: no row of {leader.id} has a '{shorten(method.name, 60)}'",
            listed(known),
            Known(known, "name one of these").advice(method.name),
        )

    def tables_behind(self, size: Size, depth: int) -> Iterable[str]:
        """The tables whose rows a size may take, its leader's where it takes a column of it."""
        for method in size.rule:
            yield from tables_of(method)
            leader = self.model.sizes.get(method.leader)
            if leader is not None and depth < len(self.model.sizes):
                yield from self.tables_behind(leader, depth + 1)

    def fail(
        self, size: Size, method: Method, code: str, headline: str, expected: str, advice: str
    ) -> None:
        entry = self.names.size_entries[size.id]
        self.names.fail(entry, rule_key(entry, method), code, headline, expected, advice)

    # --- prefer and forbid

    def wishes(self) -> None:
        """Every word of prefer and forbid must mean something that some rule here can take."""
        about: dict[tuple[str, Wish], list[Size]] = {}
        for size in self.model.sizes.values():
            if not (size.prefer or size.forbid):
                continue
            for key, wishes in (("prefer", size.prefer), ("forbid", size.forbid)):
                for wish in wishes:
                    about.setdefault((key, wish), []).append(size)
        for (key, wish), sizes in about.items():
            if wish.word in (SHELF, *UNITS) or wish.word in catalogue.names():
                continue
            rows = self.rows_of(sizes)
            if any(means(wish.word, row) for row in rows):
                continue
            known = dict.fromkeys([row.designation for row in rows] + [row.table for row in rows])
            entry, field = self.place_of(key, wish, sizes[0])
            self.names.entries.fail(
                entry,
                field,
                "unknown-row",
                f"{key}: nothing that a rule here can take is called '{shorten(wish.word, 60)}'",
                read=wish.word,
                expected="metric, inch, shelf, a table, or a row or size that a rule can take",
                advice=Known([*UNITS, *known], "look at the name again").advice(wish.word),
            )

    def rows_of(self, sizes: Sequence[Size]) -> list[Candidate]:
        """All rows of the rules of some sizes."""
        methods = {
            (method.name, self.model.parts[size.part].material): method
            for size in sizes
            for method in size.rule
            if method.way in ("row", "thread")
        }
        return [row for (_, material), m in methods.items() for row in self.rows.of(m, material)]

    def place_of(self, key: str, wish: Wish, size: Size) -> tuple[Entry, str | tuple[str, int]]:
        """The entry and field that a wish stands in."""
        entries = self.names.entries
        levels = (
            self.names.size_entries[size.id], entries.parts.get(size.part), entries.model
        )  # fmt: skip
        for entry in levels:
            if entry is None or key not in entry.fields:
                continue
            value = entry.fields[key]
            if isinstance(value, list):
                words = [" ".join(item.split()).removesuffix(MUST) for item in value]
                at = next((n for n, word in enumerate(words) if word == wish.word), 0)
                return entry, (key, at)
            return entry, key
        return self.names.size_entries[size.id], key
