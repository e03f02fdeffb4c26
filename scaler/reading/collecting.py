"""The entries of a model's files, checked field by field against the schema.

TOML tables and CSV rows come out as the same entries, so that the same facts give the same model
whichever way they were written. A field that is wrong is reported and left out; its entry is kept,
so that one mistake is one message.
"""

from __future__ import annotations

from scaler.problems import Mark, Problem, odd_letters, shorten, suggest
from scaler.reading import shapes
from scaler.reading.entries import Entries, Entry
from scaler.reading.field_checks import allowed, checked, seen
from scaler.reading.files import CsvFile, Gathered, TomlFile


def collect(gathered: Gathered) -> Entries:
    """Entries of all files, each field of a kind that the schema allows. Problems are collected."""
    entries = Entries(complete=not any(p.severity == "error" for p in gathered.problems))
    for document in gathered.tomls:
        _Document(entries, document).run()
    for table in gathered.size_tables:
        _csv(entries, table)
    return entries


_LISTS = {
    "drawing": "drawings",
    "part": "parts",
    "pair": "pairs",
    "condition": "conditions",
    "option": "options",
}


class _Document:
    """The entries of one TOML file."""

    def __init__(self, entries: Entries, document: TomlFile) -> None:
        self.entries, self.source, self.data = entries, document.source, document.data

    def run(self) -> None:
        known = shapes.tables()
        top = Entry("file", self.source.file, self.data, self.source)
        for what, table in self.data.items():
            if what not in known:
                self.entries.fail(
                    top,
                    what,
                    "unknown-key",
                    f"'{shorten(what, 60)}' is no table of a model file",
                    expected=", ".join(known),
                    advice=suggest(what, known, "write it under one of these"),
                    mark=top.mark_key(what),
                )
            elif not isinstance(table, dict):
                self.entries.fail(
                    top,
                    what,
                    "type",
                    f"'{what}' must be a table",
                    expected=f"[{what}] and lines under it"
                    if what in ("model", "rules", "overrule")
                    else f"[{what}.name] and lines under it",
                    advice="write the heading in square brackets, and one line a fact under it",
                    mark=top.mark_key(what),
                )
                self.entries.complete = False
            elif what == "model":
                self.model(Entry("model", "model", table, self.source, ("model",)))
            elif what == "overrule":
                self.overrule(table, ())
            elif what == "rules":
                for name, item in table.items():
                    self.rule(
                        Entry("rule", name, {name: item}, self.source, ("rules", name), bare=True)
                    )
            else:
                for name, item in table.items():
                    self.named(what, name, item)

    def model(self, entry: Entry) -> None:
        if self.entries.model is not None:
            self.entries.double(entry, self.entries.model)
        else:
            self.entries.model = checked(self.entries, entry)

    def rule(self, entry: Entry) -> None:
        entries, name = self.entries, entry.name
        if not shapes.is_name(name):
            bad_name(entries, entry, name, entry.mark_key(name))
        elif name in entries.rules:
            entries.double(entry, entries.rules[name])
        elif allowed(entries, entry, (name,), shapes.rule_field(), entry.fields[name]):
            entries.rules[name] = entry
        else:
            entries.lost.add(("rule", name))

    def overrule(self, table: dict[str, object], path: tuple[str, ...]) -> None:
        """The reasons under [overrule]; dotted names come as tables within tables."""
        for name, item in table.items():
            keys = (*path, name)
            full = ".".join(keys)
            entry = Entry(
                "overrule", full, {name: item}, self.source, ("overrule", *keys), bare=True
            )
            if isinstance(item, dict) and len(keys) < 6:
                self.overrule(item, keys)
            elif not isinstance(item, str) or not item.strip():
                self.entries.fail(
                    entry,
                    (name,),
                    "no-reason",
                    f"the overrule {shorten(full, 60)} gives no reason",
                    expected="a reason in quotes",
                    advice="say why the check does not apply",
                )
            elif not seen(self.entries, entry, (name,), f"the overrule {shorten(full, 60)}", item):
                pass
            elif full in self.entries.overrules:
                self.entries.double(entry, self.entries.overrules[full])
            else:
                self.entries.overrules[full] = entry

    def named(self, what: str, name: str, item: object) -> None:
        fields = item if isinstance(item, dict) else {}
        entry = Entry(what, name, fields, self.source, (what, name))
        if not shapes.is_name(name):
            bad_name(self.entries, entry, name, entry.mark())
            self.entries.lost.add((what, name))
            return
        if not isinstance(item, dict):
            self.entries.fail(
                entry,
                None,
                "type",
                f"[{what}.{name}] cannot be {shapes.called(item)}",
                expected=f"[{what}.{name}] and lines under it",
                advice="write the heading in square brackets, and one line a fact under it",
                mark=self.source.mark_value(entry.path),
            )
            self.entries.lost.add((what, name))
            return
        entry = checked(self.entries, entry)
        kept: dict[str, Entry] = getattr(self.entries, _LISTS[what])
        first = kept.get(name)
        facts = what != "part" or bool(item.keys() - {"size"})
        if first is None or (facts and what == "part" and not first.fields.keys() - {"size"}):
            kept[name] = entry
        elif facts:
            self.entries.double(entry, first)
            return
        if "size" in entry.wrong:
            self.entries.complete = False
        elif what == "part":
            self.sizes(entry)

    def sizes(self, part: Entry) -> None:
        """The sizes of a part; other files may add more."""
        for name, item in part.fields.get("size", {}).items():
            bare = not isinstance(item, dict)
            entry = Entry(
                "size",
                name,
                {"full": item} if bare else item,
                part.source,
                (*part.path, "size", name),
                part=part.name,
                bare=bare,
            )
            if shapes.is_name(name):
                self.entries.sizes.append(checked(self.entries, entry))
            else:
                bad_name(self.entries, entry, name, entry.mark())


def _csv(entries: Entries, table: CsvFile) -> None:
    properties = shapes.shape("size").fields
    known = ("part", "size", *properties)
    columns(entries.problems, table, known)
    for needed in ("part", "size"):
        if needed not in table.headings:
            missing_column(entries.problems, table, needed, "part, size and what is known of them")
            entries.complete = False
            return
    for row in table.rows:
        cells = row.cells
        part, name = cells["part"], cells["size"]
        fields = {key: value for key, value in cells.items() if value and key in properties}
        entry = Entry("size", name, fields, table.source, (), table, row.line, part)
        for key in ("part", "size"):
            if not shapes.is_name(cells[key]):
                bad_name(entries, entry, cells[key], entry.mark(key), key)
                break
        else:
            entries.sizes.append(checked(entries, entry))


def columns(problems: list[Problem], table: CsvFile, known: tuple[str, ...]) -> None:
    """Notes headings that a table does not have."""
    for heading in table.headings:
        if heading and heading not in known:
            mark = table.mark_heading(heading)
            problems.append(
                Problem(
                    "unknown-column",
                    f"'{shorten(heading, 60)}' is no column of this table",
                    mark.place,
                    shorten(heading),
                    ", ".join(known),
                    suggest(heading, known, "rename the column or take it out"),
                    mark.excerpt,
                    mark.span,
                )
            )


def missing_column(problems: list[Problem], table: CsvFile, name: str, expected: str) -> None:
    """Notes that a table lacks a column without which it cannot be used."""
    mark = table.mark(table.heading_line)
    problems.append(
        Problem(
            "missing-column",
            f"the table has no column '{name}'",
            mark.place,
            shorten(", ".join(table.headings)),
            f"columns {expected}",
            f"head a column '{name}'",
            mark.excerpt,
        )
    )


def bad_name(entries: Entries, entry: Entry, name: str, mark: Mark, column: str = "") -> None:
    """Notes a name that cannot be one."""
    if not name:
        entries.fail(
            entry,
            None,
            "name",
            f"the row names no {column}" if column else "a name is missing",
            read="",
            expected="lower-case letters, digits and _, a letter first",
            advice="write the name into the cell" if column else "write the name",
            mark=mark,
        )
        return
    odd = odd_letters(name)
    long = len(name) > shapes.LONGEST_NAME
    plain = "_".join(name.lower().replace("-", " ").split())
    meant = "" if long or odd or not shapes.is_name(plain) else f"write {plain}, and "
    if meant and entry.what != "size":
        entries.lost.add((entry.what, plain))
    entries.fail(
        entry,
        None,
        "name",
        f"'{shorten(name, 60)}' cannot be a name" + (f": {odd}" if odd else ""),
        read=name,
        expected=f"at most {shapes.LONGEST_NAME} characters"
        if long
        else "lower-case letters, digits and _, a letter first",
        advice=f"{meant}put the free wording into title",
        mark=mark,
    )
