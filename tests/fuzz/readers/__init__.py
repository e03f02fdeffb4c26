"""Every reader of the project, as something that takes bytes: one module a reader.

A module has ``read(data)``, which must come back or raise one of the project's own errors;
``seeds()``, inputs to begin from; ``WORDS``, pieces that inputs are made of; ``LONGEST``, the most
bytes of an input; and ``INPUTS``, the share of a run of 1,000,000 inputs. :func:`once` says what one
input did.
"""

from __future__ import annotations

import os
import re
import resource
import tempfile
import time
import traceback
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Protocol

NAMES = (
    "lengths",
    "scales",
    "quantities",
    "expressions",
    "phrases",
    "designations",
    "toml_text",
    "models",
    "own_tables",
    "shop_lists",
    "logs",
    "scale_off",
    "tables_in",
    "drawings",
)
CASES = Path(__file__).parents[2] / "cases"
CORPUS = Path(__file__).parents[1] / "corpus"
SLOW_S = 1.0
"""Process time that an input may take [s]."""
LARGE_MIB = 300.0
"""How much an input may add to the greatest memory held [MiB]."""


class Readable(Protocol):
    """What takes one input."""

    def read(self, data: bytes) -> object:
        """Reads an input."""


class Reader(Protocol):
    """What a module of a reader holds."""

    WORDS: tuple[str, ...]
    LONGEST: int
    INPUTS: int

    @staticmethod
    def read(data: bytes) -> object: ...

    @staticmethod
    def seeds() -> Iterable[bytes]: ...


@dataclass(frozen=True)
class Outcome:
    """What one input did: process time [s], growth of the greatest memory [MiB], what is wrong."""

    seconds: float
    mib: float
    fault: str = ""
    detail: str = ""


def reader(name: str) -> Reader:
    """The module of a reader."""
    module: Reader = import_module(f"readers.{name}")
    return module


def greatest_mib() -> float:
    """The greatest memory that this process has held [MiB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def own(error: BaseException) -> bool:
    """Whether an error is one that the project raises for wrong input, and not a fault of its own.

    LookupError and ValueError of Python itself are faults: they say nothing to a person.
    """
    return type(error).__module__.startswith("scaler.")


def once(module: Readable | Reader, data: bytes) -> Outcome:
    """Reads one input. ``fault`` is a short name of what is wrong with that, '' for nothing."""
    before, started = greatest_mib(), time.process_time()
    fault = detail = ""
    try:
        module.read(data)
    except Exception as error:  # noqa: BLE001 - whatever comes is what is looked for
        if not own(error):
            frames = traceback.extract_tb(error.__traceback__)
            ours = [f for f in frames if "scaler" in f.filename.replace(os.sep, "/").split("/")]
            last = (ours or frames)[-1]
            place = f"{Path(last.filename).stem}.{last.name}"
            fault = re.sub(r"\W+", "-", f"{type(error).__name__}-{place}")
            detail = "".join(traceback.format_exception(error))
    seconds, mib = time.process_time() - started, greatest_mib() - before
    if not fault and seconds > SLOW_S:
        fault, detail = f"slow-{int(seconds)}s", f"{seconds:.2f} s"
    if not fault and mib > LARGE_MIB:
        fault, detail = f"large-{int(mib)}-MiB", f"{mib:.0f} MiB"
    return Outcome(seconds, mib, fault, detail)


# ---------------------------------------------------------------------------- what modules share


def text_of(data: bytes) -> str:
    """Bytes as text; what is no UTF-8 becomes a character that is no letter."""
    return data.decode("utf-8", "replace")


@cache
def folder() -> Path:
    """A folder for the files of this process, in memory where there is such a place."""
    memory = Path("/dev/shm")
    return Path(tempfile.mkdtemp(prefix="reading-", dir=memory if memory.is_dir() else None))


def put(name: str, data: bytes) -> Path:
    """A file in the folder of this process."""
    path = folder() / name
    path.write_bytes(data)
    return path


_HEADING = re.compile(rb"^=== ([A-Za-z0-9_./\[\]-]{1,80})\n", re.MULTILINE)


def joined(files: Mapping[str, bytes]) -> bytes:
    """Several files as one input: a line ``=== name`` before each."""
    return b"".join(b"=== %s\n%s\n" % (name.encode(), data) for name, data in files.items())


def parted(data: bytes) -> Iterator[tuple[str, bytes]]:
    """The files of one input, by the lines ``=== name``; what stands before the first is dropped."""
    pieces = _HEADING.split(data)
    for at in range(1, len(pieces) - 1, 2):
        yield pieces[at].decode("ascii"), pieces[at + 1]


def names_of(*tables: str) -> Iterator[str]:
    """Designations of tables of the catalogues."""
    from scaler import catalogue

    for name in tables:
        for row in catalogue.table(name).rows:
            yield row.text("designation")


def example(name: str) -> dict[str, bytes]:
    """The files of a shipped model."""
    from importlib.resources import files

    found = files("scaler.examples").joinpath(name).iterdir()
    return {item.name: item.read_bytes() for item in sorted(found, key=lambda item: item.name)}


@cache
def wrong_cases() -> tuple[tuple[dict[str, bytes], str], ...]:
    """The files of the cases of bad input under tests/cases, and the title of each."""
    found = []
    base: dict[str, bytes] = {}
    for path in sorted((CASES / "bad_input").glob("*.txt")):
        if path.stem == "README":
            continue
        for case in path.read_text(encoding="utf-8").split("\n=== ")[0:]:
            title, _, body = case.removeprefix("=== ").partition("\n")
            body = re.sub("[«»]", "", re.split(r"\n(?:-->|~~>) ", body)[0])
            pieces = re.split(r"^--- (.+)\n", body, flags=re.MULTILINE)
            files = {"more.toml": pieces[0].encode()} if pieces[0].strip() else {}
            files |= {pieces[n]: pieces[n + 1].encode() for n in range(1, len(pieces) - 1, 2)}
            if path.stem == "base":
                base = files
            else:
                found.append((files, title))
    return tuple((base | files, title) for files, title in found)
