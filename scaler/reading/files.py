"""The files of a model folder: which are read, and their text, before any meaning.

Only files named by the model are read, only inside its folder, each once, none over a bound.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from scaler.catalogue import own_folder
from scaler.problems import UNSEEN, Known, Mark, Place, Problem, shorten, unseen_name
from scaler.reading.csv_text import CsvFile, CsvRow, parse_csv
from scaler.reading.toml_lines import KeyPath, Source
from scaler.reading.toml_text import Number, TomlFile, parse_toml

MODEL_FILE = "model.toml"
CHOICES_FILE = "choices.csv"
READINGS_FILE = "readings.csv"
OWN_SHOP_FILE = "shop.csv"
"""The user's own shop list, beside the folder of their own tables."""
MAX_BYTES = 8 * 1024 * 1024
MAX_TOTAL_BYTES = 64 * 1024 * 1024
MAX_FILES = 1000
_TABLES_AND_DRAWINGS = frozenset((".csv", ".xlsx", ".xls", ".ods", ".dxf", ".html", ".pdf", ".svg"))
_PACKED = {
    b"PK\x03\x04": "a workbook or another packed file",
    b"\xd0\xcf\x11\xe0": "a workbook of the old kind",
    b"%PDF": "a printed page (PDF)",
}
"""What a file is that begins so, and is no text whatever it is called."""

__all__ = [
    "CHOICES_FILE",
    "MODEL_FILE",
    "READINGS_FILE",
    "CsvFile",
    "CsvRow",
    "Gathered",
    "Number",
    "TomlFile",
    "find_model",
    "gather",
    "parse_csv",
    "parse_toml",
    "read_text",
]


@dataclass
class Gathered:
    """All files of a model, and what was wrong with them."""

    folder: Path
    tomls: list[TomlFile] = field(default_factory=list)
    size_tables: list[CsvFile] = field(default_factory=list)
    shop_tables: list[CsvFile] = field(default_factory=list)
    choices: CsvFile | None = None
    readings: Source | None = None
    problems: list[Problem] = field(default_factory=list)
    sources: dict[str, Source] = field(default_factory=dict)


def find_model(path: Path) -> tuple[Path, Path] | Problem:
    """The folder and the first file of a model, from either of them."""
    named = shorten(str(path), 200)
    try:
        if path.is_dir():
            first = path / MODEL_FILE
            if first.is_file():
                return path, first
            others = sorted(p.name for p in path.glob("*.toml"))[:5]
            return Problem(
                "no-model",
                f"{named}: the folder holds no {MODEL_FILE}",
                expected=f"a model folder with a {MODEL_FILE}",
                advice=f"name the file itself: {shorten(', '.join(others))}"
                if others
                else "scaler start DIR writes a starter model",
            )
        if path.is_file() and path.suffix.lower() in _TABLES_AND_DRAWINGS:
            return Problem(
                "no-model",
                f"{named} is no model: it is a table, a drawing or a page",
                expected=f"a model folder or its first file, {MODEL_FILE}",
                advice="name the folder; a model.toml names its tables under include or shop, and "
                "scaler sizes-in reads a spreadsheet or a drawing",
            )
        if path.is_file():
            return path.parent, path
        what = "there is no such folder or file"
    except (OSError, ValueError) as error:  # no leave to look, or a name that no file can have
        reason = getattr(error, "strerror", None) or "no file can be called that"
        what = f"cannot be read ({reason})"
    return Problem(
        "no-model",
        f"{named}: {what}",
        expected="a model folder or its first file",
        advice="see that the name is right; scaler start DIR writes a starter model",
    )


def read_text(path: Path, name: str, bound: int = MAX_BYTES) -> str | Problem:
    """A file's text: UTF-8, with any line ends and a byte order mark allowed.

    ``bound`` is the most bytes that will be read.
    """
    try:
        with path.open("rb") as file:
            data = file.read(bound + 1)
    except OSError as error:
        return Problem(
            "unreadable",
            f"{shorten(name)}: cannot be read ({error.strerror or error})",
            Place(name, 1),
            expected="a file that may be read",
            advice="see that the file is there and may be read",
        )
    if len(data) > bound:
        return Problem(
            "too-large",
            f"{shorten(name)}: too large, by itself or with the model's other files",
            Place(name, 1),
            expected=f"files up to {MAX_BYTES // 2**20} MiB, {MAX_TOTAL_BYTES // 2**20} together",
            advice="leave out what is no part of the model, or part it into several models",
        )
    packed = next((what for head, what in _PACKED.items() if data.startswith(head)), "")
    if packed:
        return _not_text(name, data, 0, packed, "UTF-8")
    wide = next((b for b in (b"\xff\xfe", b"\xfe\xff") if data.startswith(b)), None)
    try:
        text = "" if wide else data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return _not_text(name, data, error.start, f"the byte 0x{data[error.start]:02x}", "UTF-8")
    if wide:
        return _not_text(name, data, 0, "text in UTF-16", "UTF-8")
    odd = UNSEEN.search(text)
    if odd is not None:
        at = len(text[: odd.start()].encode()) + (3 if data.startswith(b"\xef\xbb\xbf") else 0)
        read = "a NUL character" if odd.group() == "\0" else unseen_name(odd.group())
        return _not_text(name, data, at, read, "plain")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _not_text(name: str, data: bytes, at: int, read: str, wanted: str) -> Problem:
    line = data.count(b"\n", 0, at) + 1
    return Problem(
        "not-text",
        f"this is not {wanted} text",
        Place(name, line, at - (data.rfind(b"\n", 0, at) + 1) + 1),
        read=read,
        expected="plain text in UTF-8",
        advice="save the file as UTF-8 text (in a spreadsheet: as 'CSV UTF-8')",
    )


def gather(path: Path) -> Gathered:
    """Reads the model's first file and all that it names. Problems are collected, not raised."""
    found = find_model(path)
    if isinstance(found, Problem):
        return Gathered(path, problems=[found])
    folder, first = found
    gathered = Gathered(folder)
    _Gatherer(gathered, folder.resolve()).run(first)
    return gathered


@dataclass(frozen=True, slots=True)
class _Where:
    """Where a file's name stands; looked up only for a message."""

    source: Source
    keys: KeyPath

    def mark(self) -> Mark:
        return self.source.mark_value(self.keys) or self.source.mark_key(self.keys)


class _Gatherer:
    """Follows the names of files from the first one on."""

    def __init__(self, gathered: Gathered, root: Path) -> None:
        self.gathered, self.root = gathered, root
        self.names: dict[Path, str] = {}
        self.left, self.count = MAX_TOTAL_BYTES, 1
        self.known: Known | None = None

    def run(self, first: Path) -> None:
        name = first.name
        target = self.inside(name, _Where(Source(name, ""), ()))
        if target is None:
            return
        self.names[target] = name
        self.toml(target, name, (target,))
        self.own_shop()
        for name in (CHOICES_FILE, READINGS_FILE):
            if (self.root / name).is_file():
                target = self.inside(name, _Where(Source(name, ""), ()))
                start = len(self.gathered.problems)
                if name == READINGS_FILE:  # read line by line later, as it may grow long
                    self.gathered.readings = (
                        self.source(target, name, MAX_TOTAL_BYTES) if target is not None else None
                    )
                    continue
                table = self.table(target, name) if target is not None else None
                if table is not None:  # a broken line of a log is reported, the rest is kept
                    self.gathered.problems[start:] = [
                        replace(problem, severity="warning")
                        for problem in self.gathered.problems[start:]
                    ]
                self.gathered.choices = table

    def own_shop(self) -> None:
        """The user's own shop list among their configuration files, after the model's own ones."""
        path = own_folder().parent / OWN_SHOP_FILE
        if path.is_file():
            table = self.table(path, str(path))
            if table is not None:
                self.gathered.shop_tables.append(table)

    def source(self, path: Path, name: str, bound: int | None = None) -> Source | None:
        text = read_text(path, name, min(bound or MAX_BYTES, self.left))
        if isinstance(text, Problem):
            self.gathered.problems.append(text)
            return None
        self.left -= len(text)
        source = Source(name, text)
        self.gathered.sources[name] = source
        return source

    def table(self, path: Path, name: str) -> CsvFile | None:
        source = self.source(path, name)
        if source is None:
            return None
        table, problems = parse_csv(source)
        self.gathered.problems += problems
        return table

    def toml(self, path: Path, name: str, chain: tuple[Path, ...]) -> None:
        source = self.source(path, name)
        if source is None:
            return
        if not source.text.strip():
            self.gathered.problems.append(
                Problem(
                    "empty",
                    "the file is empty",
                    Place(name, 1),
                    expected="a model file",
                    advice="scaler start DIR shows what one looks like",
                )
            )
            return
        document = parse_toml(source)
        if isinstance(document, Problem):
            self.gathered.problems.append(document)
            return
        self.gathered.tomls.append(document)
        head = document.data.get("model")
        if not isinstance(head, dict):
            return
        for key in ("include", "shop"):
            for keys, item in _listed(head, key):
                where = _Where(source, keys)
                self.count += 1
                if self.count >= MAX_FILES:
                    headline = f"more than {MAX_FILES} files"
                    self.fail("too-many", headline, where, item, "fewer files", "join some of them")
                    return
                target = self.named(item, where, chain)
                if target is None:
                    continue
                self.names[target] = item
                if key == "include" and not item.lower().endswith(".csv"):
                    self.toml(target, item, (*chain, target))
                    continue
                table = self.table(target, item)
                if table is not None:
                    tables = self.gathered.shop_tables if key == "shop" else None
                    (self.gathered.size_tables if tables is None else tables).append(table)

    def fail(
        self, code: str, headline: str, where: _Where, name: str, expected: str, advice: str
    ) -> None:
        mark = where.mark().unquoted()
        self.gathered.problems.append(
            Problem(code, headline, mark.place, name, expected, advice, mark.excerpt, mark.span)
        )

    def inside(self, name: str, where: _Where) -> Path | None:
        """Where a name leads, if that is inside the folder (symbolic links followed)."""
        try:
            target = (self.root / name).resolve()
            inside = "\0" not in name and target.is_relative_to(self.root)
        except (OSError, ValueError, RuntimeError):  # too long, or links that go round in a ring
            inside = False
        if inside:
            return target
        self.fail(
            "outside",
            f"'{shorten(name)}' lies outside the model's folder",
            where,
            name,
            "a file inside the folder",
            "copy the file into the folder and name it there",
        )
        return None

    def named(self, name: str, where: _Where, chain: tuple[Path, ...]) -> Path | None:
        """The file that an entry of include or shop means, if it is to be read."""
        target = self.inside(name, where)
        if target is None:
            return None
        if target in chain:
            ring = [*(self.names[path] for path in chain[chain.index(target) :]), name]
            self.fail(
                "include-ring",
                "the file names itself"
                if len(ring) == 2
                else f"the files name each other in a ring: {' names '.join(map(shorten, ring))}",
                where,
                name,
                "each file named once",
                "take this name out of the list",
            )
        elif target in self.names:
            self.fail(
                "included-twice",
                f"'{shorten(name)}' is named twice",
                where,
                name,
                "each file named once",
                "take one of the two out",
            )
        elif target.parent == self.root and target.name in (CHOICES_FILE, READINGS_FILE):
            self.fail(
                "included-twice",
                f"'{shorten(name)}' is read by itself",
                where,
                name,
                "files of sizes, and shop lists",
                "take the name out",
            )
        elif not self.is_file(target):
            self.known = self.known or Known(self.files(), "put it there, or take the name out")
            self.fail(
                "no-file",
                f"there is no file '{shorten(name)}' in the model's folder",
                where,
                name,
                "a file of the folder",
                self.known.advice(name),
            )
        else:
            return target
        return None

    @staticmethod
    def is_file(path: Path) -> bool:
        try:
            return path.is_file()
        except (OSError, ValueError):
            return False

    def files(self) -> list[str]:
        """Names of the folder's files that could be meant."""
        try:
            found = sorted(p.name for p in self.root.iterdir() if p.suffix in (".toml", ".csv"))
        except OSError:
            return []
        return [name for name in found if name not in (CHOICES_FILE, READINGS_FILE)][:200]


def _listed(head: dict[str, object], key: str) -> list[tuple[KeyPath, str]]:
    """Key path and text of each file named; what is no plain text is left to the check of the keys."""
    names = head.get(key, [])
    if isinstance(names, str):
        named: list[tuple[KeyPath, object]] = [(("model", key), names)]
    elif isinstance(names, list):
        named = [(("model", key, number), name) for number, name in enumerate(names)]
    else:
        return []
    return [(k, name) for k, name in named if isinstance(name, str) and not UNSEEN.search(name)]
