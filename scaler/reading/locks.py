"""Locks of sizes: read, held against rules, forbids, reach and each other, and put on record."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from fractions import Fraction

from scaler.problems import Known, Place, shorten
from scaler.reading.crosscheck_names import Names
from scaler.reading.grammar import GrammarError, value_reader
from scaler.records import Choice, Method, Model, Size, Wish
from scaler.settling.row_links import implied, row_link
from scaler.settling.rows import Candidate, Rows, column_of
from scaler.settling.settled import exact_size, reach_of
from scaler.settling.wishes import first_that_means, squeezed
from scaler.trade.threads import UnknownThread, find_thread

NOTE = "locked in the model"
Found = tuple[Method, Fraction, list[Candidate]]
"""The method that gives what a size is locked to, the size [mm], and the rows that are it."""


class Locks:
    """The locks of a model."""

    def __init__(self, names: Names) -> None:
        self.names, self.model, self.rows = names, names.model, Rows(names.model)
        self.found: dict[str, Found] = {}
        self.locks: dict[str, Wish] = {}

    def run(self) -> Model:
        """The model with each lock as a choice on record; what contradicts another is reported."""
        for size in self.model.sizes.values():
            if size.lock is not None:
                self.locks[size.id] = size.lock
                self.read(size, size.lock)
        self.hand_on()
        self.together()
        choices = dict(self.model.choices)
        for name, (method, value, rows) in self.found.items():
            wish = self.locks[name]
            row = rows[0].designation if len(rows) == 1 else ""
            choices[name] = Choice(name, value, method.text, row, NOTE, "", wish.place)
        sizes = {
            name: replace(size, lock=self.locks[name]) if name in self.locks else size
            for name, size in self.model.sizes.items()
        }
        return replace(self.model, choices=choices, sizes=sizes) if self.locks else self.model

    def fail(self, size: Size, code: str, headline: str, expected: str, advice: str) -> None:
        """Keeps a fault of a size's lock."""
        self.names.fail(self.names.size_entries[size.id], "lock", code, headline, expected, advice)

    # --- one lock

    def read(self, size: Size, wish: Wish) -> None:
        """What a size is locked to, by its rule."""
        if size.equals is not None:
            self.fail(
                size,
                "lock",
                f"{size.id} is worked out from its definition, and locked as well",
                "one of the two",
                "lock the sizes that it is worked out from, or take its definition out",
            )
            return
        found = self.by_name(size, wish) or self.by_size(size, wish)
        if found is None:
            return
        method, value, rows = found
        allowed = [row for row in rows if first_that_means(size.forbid, row) is None]
        if rows and not allowed:
            forbid = first_that_means(size.forbid, rows[0])
            assert forbid is not None
            self.fail(
                size,
                "lock-forbidden",
                f"{size.id} is locked to {wish.word}, and '{forbid.word}' is forbidden it "
                f"({forbid.place})",
                "a row that is allowed",
                "lift the forbid for this size, or lock it to another",
            )
            return
        exact = exact_size(size, self.model.ratio)
        if exact is not None and not size.standard and size.kind.is_length:
            reach = reach_of(size, method, exact)
            if abs(value - exact) > reach:
                entry = self.names.size_entries[size.id]
                place: Place = size.place
                if "reach" in entry.fields:
                    place = entry.place_of("reach")
                elif method.reach is not None:
                    place = method.place or size.place
                self.fail(
                    size,
                    "lock-reach",
                    f"{size.id} is locked to {wish.word}, {float(value - exact):+.3f} mm from its "
                    f"exact size of {float(exact):.3f} mm; its reach is {float(reach):g} mm "
                    f"({place})",
                    f"{float(exact - reach):.3f} to {float(exact + reach):.3f} mm",
                    "state a reach that covers it, or lock it to another",
                )
                return
        self.found[size.id] = method, value, allowed

    def by_name(self, size: Size, wish: Wish) -> Found | None:
        """A lock that names a row of the size's rule."""
        wanted = {squeezed(wish.word)}
        if any(method.way == "thread" for method in size.rule):
            with suppress(UnknownThread):
                wanted.add(squeezed(find_thread(wish.word).designation))
        for method in size.rule:
            if method.way not in ("row", "thread"):
                continue
            rows = [r for r in self.candidates(size, method) if squeezed(r.designation) in wanted]
            if rows:
                return method, rows[0].value, rows[:1]
        return None

    def by_size(self, size: Size, wish: Wish) -> Found | None:
        """A lock that states a size: of rows that have it, else cut to it."""
        try:
            value = value_reader(size.kind)(wish.word)
        except GrammarError as error:
            self.no_row(size, wish, error.advice)
            return None
        for method in size.rule:
            if method.way in ("row", "thread"):
                rows = [r for r in self.candidates(size, method) if r.value == value]
                if rows:
                    return method, value, rows
            elif method.way != "given" or method.value == value:
                return method, value, []
        if not size.rule:
            place = size.lock.place if size.lock is not None else size.place
            given = Method("", "", "given", "nearest", None, None, None, None, value, place)
            return given, value, []
        self.no_row(size, wish, "")
        return None

    def no_row(self, size: Size, wish: Wish, otherwise: str) -> None:
        """Keeps the fault that a rule gives no such size, with what it can be."""
        methods = [m for m in size.rule if m.way in ("row", "thread")]
        rows = [row for m in methods for row in self.candidates(size, m)]
        rule = "; ".join(method.text for method in size.rule) or "no rule"
        known = list(dict.fromkeys(row.designation for row in rows))
        self.fail(
            size,
            "lock",
            f"{size.id} is locked to '{shorten(wish.word, 60)}', and its rule gives no such size",
            f"what it can be by {rule}",
            Known(known, otherwise or "write a size such as 6 mm").advice(wish.word),
        )

    def candidates(self, size: Size, method: Method) -> tuple[Candidate, ...]:
        """The rows that a method offers a size, in its part's material."""
        return self.rows.of(method, self.model.parts[size.part].material)

    # --- locks together

    def hand_on(self) -> None:
        """A locked size that is a column of another's row locks that row."""
        for name in list(self.found):
            size = self.model.sizes[name]
            while (method := row_link(size)) is not None and self.found[size.id][0].column:
                value = self.found[size.id][1]
                leader = self.model.sizes[method.leader]
                if leader.id in self.locks:
                    self.agree(size, method, leader, value)
                    break
                rows = [
                    (own, row)
                    for own in leader.rule
                    if own.way in ("row", "thread")
                    for row in self.rows.of_size(leader, own)
                    if (found := column_of(row, method)) is not None and found.value == value
                ]
                if len({row.key for _, row in rows}) != 1:
                    said = ", ".join(dict.fromkeys(row.designation for _, row in rows[:6]))
                    self.fail(
                        size,
                        "lock",
                        f"{size.id} is locked to {self.locks[size.id].word}, and "
                        + (f"several rows of {leader.id} have it: {said}" if rows else
                           f"no row that {leader.id} can take has it ({leader.place})"),
                        f"one row of {leader.id}",
                        f"lock {leader.id} instead",
                    )  # fmt: skip
                    break
                self.locks[leader.id] = self.locks[size.id]
                self.found[leader.id] = rows[0][0], rows[0][1].value, [rows[0][1]]
                size = leader

    def agree(self, size: Size, method: Method, leader: Size, value: Fraction) -> None:
        """A size and the one whose row it follows, both locked, are locked to one row."""
        if leader.id not in self.found:
            return
        rows = self.found[leader.id][2]
        fitting = [
            row for row in rows if (own := column_of(row, method)) is None or own.value == value
        ]
        if rows and not fitting:
            gives = column_of(rows[0], method)
            assert gives is not None
            self.fail(
                size,
                "locks-differ",
                f"{size.id} is locked to {self.locks[size.id].word}, and {leader.id} to "
                f"{self.locks[leader.id].word} ({self.locks[leader.id].place}), whose "
                f"{method.name} is {float(gives.value):g} mm",
                "both from one row",
                "take one of the two locks out",
            )
        elif fitting:
            self.found[leader.id] = (*self.found[leader.id][:2], fitting)

    def together(self) -> None:
        """Sizes that are columns of one row are locked to one row."""
        for group in implied(self.model):
            keys: dict[str, set[tuple[str, str]]] = {}
            for name in group:
                if name in self.found and self.found[name][2]:
                    mine = {r.key for r in self.found[name][2] if r.table != "shop"}
                    if not mine:
                        continue
                    other = next((n for n, theirs in keys.items() if not theirs & mine), None)
                    if other is not None:
                        self.fail(
                            self.model.sizes[name],
                            "locks-differ",
                            f"{name} is locked to {self.locks[name].word}, and {other}, of the same "
                            f"row, to {self.locks[other].word} ({self.locks[other].place})",
                            "both from one row",
                            "take one of the two locks out",
                        )
                        return
                    keys[name] = mine
            if not keys:
                continue
            shared = set.intersection(*keys.values())
            for name in keys:
                method, value, rows = self.found[name]
                kept = [r for r in rows if r.key in shared or r.table == "shop"]
                self.found[name] = method, value, kept or rows
