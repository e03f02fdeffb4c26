"""The files of a model folder: which are read, and their text, before any meaning.

Only files named by the model are read, only inside its folder, each once, none over a bound.
"""

from __future__ import annotations

import csv
import io
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from scaler.problems import Place, Problem, did_you_mean, shorten
from scaler.toml_lines import Source

MODEL_FILE = "model.toml"
CHOICES_FILE = "choices.csv"
READINGS_FILE = "readings.csv"
MAX_BYTES = 64 * 1024 * 1024
MAX_FILES = 1000
MAX_CELL = 2000


@dataclass(frozen=True, slots=True)
class TomlFile:
    """A TOML file: its source and what tomllib read (numbers as they were written)."""

    source: Source
    data: dict[str, Any]


@dataclass(frozen=True, slots=True)
class CsvFile:
    """A CSV file: its source, headings, and rows with the line each begins on."""

    source: Source
    headings: tuple[str, ...]
    rows: tuple[tuple[int, dict[str, str]], ...]


@dataclass
class Gathered:
    """All files of a model, and what was wrong with them."""

    folder: Path
    tomls: list[TomlFile] = field(default_factory=list)
    size_tables: list[CsvFile] = field(default_factory=list)
    shop_tables: list[CsvFile] = field(default_factory=list)
    choices: CsvFile | None = None
    readings: CsvFile | None = None
    problems: list[Problem] = field(default_factory=list)
    sources: dict[str, Source] = field(default_factory=dict)


class Number(str):
    """A number of a TOML file, kept as it was written."""

    __slots__ = ()


def find_model(path: Path) -> tuple[Path, Path] | Problem:
    """The folder and the first file of a model, from either of them."""
    if path.is_dir():
        first = path / MODEL_FILE
        if first.is_file():
            return path, first
        others = sorted(p.name for p in path.glob("*.toml"))[:5]
        return Problem(
            "no-model",
            f"{shorten(str(path))}: the folder holds no {MODEL_FILE}",
            expected=f"a model folder with a {MODEL_FILE}",
            advice=(f"name the file itself: {', '.join(others)}" if others else "")
            or "scaler start DIR writes a starter model",
        )
    if path.is_file():
        return path.parent, path
    return Problem(
        "no-model",
        f"{shorten(str(path))}: there is no such folder or file",
        expected="a model folder or its first file",
        advice="scaler start DIR writes a starter model",
    )


def read_text(path: Path, name: str) -> str | Problem:
    """A file's text, UTF-8, with any line ends and a byte order mark allowed."""
    try:
        if path.stat().st_size > MAX_BYTES:
            return Problem(
                "too-large", f"{name}: larger than {MAX_BYTES // 2**20} MiB", Place(name, 1)
            )
        data = path.read_bytes()
    except OSError as error:
        return Problem(
            "unreadable",
            f"{name}: cannot be read ({error.strerror or error})",
            advice="see that the file is there and may be read",
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return Problem(
            "not-text",
            f"{name}, line {line}: this is not UTF-8 text",
            Place(name, line),
            read=f"byte 0x{data[error.start]:02x}",
            expected="plain text in UTF-8",
            advice="save the file as UTF-8 text (a spreadsheet: 'CSV UTF-8')",
        )
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        return Problem(
            "not-text",
            "a NUL character",
            Place(name, line),
            expected="plain text",
            advice="save the file as UTF-8 text",
        )
    return text.replace("\r\n", "\n").replace("\r", "\n")


def parse_toml(source: Source) -> TomlFile | Problem:
    """What tomllib reads, or the place where it stopped."""
    try:
        data = tomllib.loads(source.text, parse_float=Number)
    except tomllib.TOMLDecodeError as error:
        return _syntax_problem(source, str(error))
    except (RecursionError, ValueError) as error:
        text = (
            "nested too deep" if isinstance(error, RecursionError) else "a number too long to read"
        )
        return Problem(
            "syntax",
            text,
            Place(source.file, 1),
            expected="a plain TOML file",
            advice="a model file needs no such value",
        )
    return TomlFile(source, data)


def _syntax_problem(source: Source, message: str) -> Problem:
    text, _, where = message.partition(" (at ")
    line, column = 1, 1
    if where.startswith("line "):
        numbers = where.removesuffix(")").replace("line ", "").replace(" column ", "").split(",")
        line, column = int(numbers[0]), int(numbers[1])
    elif where.startswith("end"):
        line = max(1, source.text.rstrip("\n").count("\n") + 1)
        column = len(source.line(line)) + 1
    excerpt = source.line(line)
    if not excerpt.strip() and line > 1:  # tomllib often stops on the line after the fault
        line -= 1
        excerpt = source.line(line)
        column = len(excerpt) + 1
    start = max(0, min(column - 1, len(excerpt)))
    return Problem(
        "syntax",
        f"reading stopped here: {text[:1].lower()}{text[1:]}",
        Place(source.file, line, column),
        expected="TOML: name = value, text in quotes",
        advice="mend this line; what stands after it has not been looked at",
        excerpt=excerpt,
        span=(start, start + 1),
    )


def parse_csv(source: Source) -> CsvFile | Problem:
    """Headings and rows of a CSV table; lines that begin with # and blank ones are left out."""
    lines = source.text.split("\n")
    kept = [(n, line) for n, line in enumerate(lines, 1) if line.strip() and line[0] != "#"]
    if not kept:
        return Problem(
            "empty",
            f"{source.file}: the file is empty",
            Place(source.file, 1),
            expected="a heading line and rows",
            advice="write the headings in the first line",
        )
    delimiter = ";" if kept[0][1].count(";") > kept[0][1].count(",") else ","
    body = "\n".join(line if line.strip() and line[0] != "#" else "" for line in lines)
    reader = csv.reader(io.StringIO(body, newline=""), delimiter=delimiter, strict=True)
    headings: tuple[str, ...] = ()
    rows: list[tuple[int, dict[str, str]]] = []
    line = 1
    try:
        for cells in reader:
            if cells and any(cell.strip() for cell in cells):
                if not headings:
                    headings = tuple(cell.strip() for cell in cells)
                    if len(set(headings)) != len(headings):
                        return _table_problem(source, line, "two columns of one name")
                elif len(cells) > len(headings):
                    return _table_problem(
                        source, line, f"{len(cells)} cells where the heading has {len(headings)}"
                    )
                else:
                    padded = [*cells, *[""] * (len(headings) - len(cells))]
                    rows.append(
                        (line, dict(zip(headings, (c.strip() for c in padded), strict=True)))
                    )
            line = reader.line_num + 1
    except csv.Error as error:
        return _table_problem(source, line, f"a row that cannot be read ({error})")
    return CsvFile(source, headings, tuple(rows))


def _table_problem(source: Source, line: int, headline: str) -> Problem:
    return Problem(
        "table",
        headline,
        Place(source.file, line),
        read=source.line(line)[:200],
        expected="one cell a column, separated as in the heading",
        advice="mend the row; a cell that holds the separator goes in double quotes",
        excerpt=source.line(line),
    )


def gather(path: Path) -> Gathered:
    """Reads the model's first file and all that it names. Problems are collected, not raised."""
    found = find_model(path)
    if isinstance(found, Problem):
        return Gathered(path, problems=[found])
    folder, first = found
    gathered = Gathered(folder)
    root = folder.resolve()
    _toml(gathered, root, first, first.name, (first.name,))
    for name, attribute in ((CHOICES_FILE, "choices"), (READINGS_FILE, "readings")):
        if (folder / name).is_file():
            table = _table(gathered, folder / name, name)
            if table:
                setattr(gathered, attribute, table)
    return gathered


def _source(gathered: Gathered, path: Path, name: str) -> Source | None:
    text = read_text(path, name)
    if isinstance(text, Problem):
        gathered.problems.append(text)
        return None
    source = Source(name, text)
    gathered.sources[name] = source
    return source


def _table(gathered: Gathered, path: Path, name: str) -> CsvFile | None:
    source = _source(gathered, path, name)
    if source is None:
        return None
    table = parse_csv(source)
    if isinstance(table, Problem):
        gathered.problems.append(table)
        return None
    return table


def _toml(gathered: Gathered, root: Path, path: Path, name: str, chain: tuple[str, ...]) -> None:
    source = _source(gathered, path, name)
    if source is None:
        return
    if not source.text.strip():
        gathered.problems.append(
            Problem(
                "empty",
                f"{name}: the file is empty",
                Place(name, 1),
                expected="a model file",
                advice="scaler start DIR shows what one looks like",
            )
        )
        return
    document = parse_toml(source)
    if isinstance(document, Problem):
        gathered.problems.append(document)
        return
    gathered.tomls.append(document)
    head = document.data.get("model")
    if not isinstance(head, dict):
        return
    for key, place_key in (("include", "include"), ("shop", "shop")):
        names = head.get(key, [])
        for number, item in enumerate([names] if isinstance(names, str) else names):
            if not isinstance(item, str):
                continue  # the schema check names it
            keys = ("model", place_key) if isinstance(names, str) else ("model", place_key, number)
            target = _inside(gathered, root, source, keys, item, chain)
            if target is None:
                continue
            if key == "shop":
                table = _table(gathered, target, item)
                if table:
                    gathered.shop_tables.append(table)
            elif item.lower().endswith(".csv"):
                table = _table(gathered, target, item)
                if table:
                    gathered.size_tables.append(table)
            else:
                _toml(gathered, root, target, item, (*chain, item))


def _inside(
    gathered: Gathered,
    root: Path,
    source: Source,
    keys: tuple[str | int, ...],
    name: str,
    chain: tuple[str, ...],
) -> Path | None:
    span = source.value_span(keys)
    place, excerpt, mark = span or (source.place(keys), "", None)

    def problem(code: str, headline: str, expected: str, advice: str) -> None:
        gathered.problems.append(
            Problem(code, headline, place, name, expected, advice, excerpt, mark)
        )

    try:
        target = (root / name).resolve()
        inside = target.is_relative_to(root) and "\0" not in name
    except (OSError, ValueError):
        inside = False
    if not inside:
        problem(
            "outside",
            f"'{shorten(name)}' lies outside the model's folder",
            "a file inside the folder",
            "copy the file into the folder and name it there",
        )
        return None
    if name in chain or (target.name == chain[0] and target.parent == root):
        ring = " includes ".join((*chain, name))
        problem(
            "include-ring",
            f"the files include each other in a ring: {ring}",
            "each file named once",
            "take this name out of the list",
        )
        return None
    if name in gathered.sources:
        problem(
            "included-twice",
            f"'{shorten(name)}' is named twice",
            "each file named once",
            "take one of the two out",
        )
        return None
    if len(gathered.sources) >= MAX_FILES:
        problem("too-many", f"more than {MAX_FILES} files", "fewer files", "join some of them")
        return None
    if not target.is_file():
        known = [p.name for p in root.iterdir() if p.is_file()][:200]
        problem(
            "no-file",
            f"there is no file '{shorten(name)}' in the model's folder",
            "a file of the folder",
            did_you_mean(name, known),
        )
        return None
    return target
