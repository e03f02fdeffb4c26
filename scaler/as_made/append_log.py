"""Append-only logs beside a model: plain CSV, one line an event, safe against crashes and races.

A single row is one write to the end of the file, followed by a flush to the disk; several rows at
once, and a new file, are written beside it and moved into place, so that all of them stand or none.
Writers wait for each other at a lock file. A last line that a crash or a full disk cut short is
taken out of the log, kept in a file of its own and reported; a line that was complete but for its
line end is kept where it is.
"""

from __future__ import annotations

import csv
import errno
import io
import os
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from scaler.problems import InputError, Place, Problem
from scaler.writing import write_all, write_whole

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

LOCK = ".lock"
TORN = ".torn"
NEW = ".new"
WAIT_S = 30.0
"""How long a writer waits for another one [s]."""
_BINARY = getattr(os, "O_BINARY", 0)
Rows = Sequence[Mapping[str, str]]


@dataclass(frozen=True, slots=True)
class Appended:
    """What an append did: the line of its first row, how many rows, and what was kept apart as torn."""

    line: int
    count: int = 1
    torn: str = ""
    torn_file: str = ""


def now() -> str:
    """The time as logs write it: UTC, to the second.

    >>> len(now()), now()[-1]
    (20, 'Z')
    """
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def one_line(text: str) -> str:
    """A text fit for one cell of a log: no line ends, no control characters, no empty ends.

    >>> one_line(" tight\\non the left ")
    'tight on the left'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


# ------------------------------------------------------------------------------------ writing


@contextmanager
def locked(path: Path, wait_s: float = WAIT_S) -> Iterator[None]:
    """Holds the lock of a log; the lock file beside it stays, empty.

    Raises InputError where another writer does not finish in time, or the folder cannot be
    written to.
    """
    name = path.with_name(path.name + LOCK)
    try:
        handle = os.open(name, os.O_RDWR | os.O_CREAT | _BINARY, 0o644)
    except OSError as error:
        raise _refused(path, error) from None
    try:
        deadline = time.monotonic() + wait_s
        while not _taken(path, handle):
            if time.monotonic() >= deadline:
                raise InputError(
                    [
                        Problem(
                            "log-busy",
                            f"{path.name} is being written by another scaler; nothing was recorded",
                            expected="the other one to finish",
                            advice="try again; if no other is running, look what holds "
                            f"{name.name}",
                        )
                    ]
                )
            time.sleep(0.005)
        try:
            yield
        finally:
            _released(handle)
    finally:
        os.close(handle)


def _taken(path: Path, handle: int) -> bool:
    """Whether the lock is ours now. Raises InputError where the file system has no locks."""
    try:
        if sys.platform == "win32":
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in (errno.EACCES, errno.EAGAIN, errno.EDEADLK, errno.EINTR):
            return False
        raise _refused(path, error) from None
    return True


def _released(handle: int) -> None:
    if sys.platform == "win32":
        os.lseek(handle, 0, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_UNLCK, 1)
    else:
        fcntl.flock(handle, fcntl.LOCK_UN)


def _refused(path: Path, error: OSError) -> InputError:
    return InputError(
        [
            Problem(
                "log-write",
                f"{path.name}: nothing was recorded ({error.strerror or error})",
                expected="a folder that can be written to, on a disk with room",
                advice="mend that and give the same command again",
            )
        ]
    )


def append_rows(
    path: Path,
    header: Sequence[str],
    rows: Rows | Callable[[str], Rows],
    *,
    wait_s: float = WAIT_S,
) -> Appended:
    """Adds rows at the end of a log: all of them, or none.

    Parameters
    ----------
    path : Path, the log; made with ``header`` where there is none
    header : the headings of a new log; an old one keeps its own, in its own order
    rows : one mapping of heading to text a row; a heading left out gives an empty cell. Or a
        function that makes them from the log's text: it is called once no other can write, so that
        what it decides by still stands when its rows are written
    wait_s : how long to wait for another writer [s]

    Returns
    -------
    Appended, with the line that the first row stands on, how many rows there are, and what had been
    torn before

    Raises
    ------
    InputError
        The disk is full, the folder cannot be written to, another writer does not finish, or the
        log lacks one of the headings; the log is then as it was before.
    ValueError
        A row names a heading that ``header`` does not have.

    Notes
    -----
    When it returns, the rows are on the disk. Line ends and other control characters in a cell
    become spaces, so that one row is always one line.
    """
    if not callable(rows):
        _known(rows, header)
    with locked(path, wait_s):
        try:
            torn = _mend(path)
            data = path.read_bytes() if path.exists() else b""
            if callable(rows):
                rows = rows(plain_text(data))
                _known(rows, header)
            if not rows:
                return Appended(data.count(b"\n") + 1, 0, *torn)
            if not data:
                _replace(path, _lines([header], ",") + _lines(_cells(rows, header), ","))
                return Appended(2, len(rows), *torn)
            return _append(path, data, header, rows, torn)
        except OSError as error:
            raise _refused(path, error) from None


def _known(rows: Rows, header: Sequence[str]) -> None:
    for row in rows:
        unknown = [name for name in row if name not in header]
        if unknown:
            raise ValueError(f"no column {unknown[0]!r} among {', '.join(header)}")


def plain_text(data: bytes) -> str:
    """The text of a log: no byte order mark, one sort of line end; odd bytes as escapes."""
    text = data.decode("utf-8-sig", "backslashreplace")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def mend(path: Path, *, wait_s: float = WAIT_S) -> Problem | None:
    """Takes a torn last line out of a log and keeps it in a file of its own.

    Returns a warning that says what was found and where it is kept; None for a sound log, or none.
    Raises InputError where the file cannot be read, written or locked.
    """
    try:
        if not path.exists() or not _torn(path.read_bytes()):
            return None
    except OSError as error:
        raise _refused(path, error) from None
    with locked(path, wait_s):
        try:
            text, file = _mend(path)
        except OSError as error:
            raise _refused(path, error) from None
    return torn_problem(path.name, text, file) if file else None


def torn_problem(name: str, text: str, kept_in: str = "", line: int = 0) -> Problem:
    """The warning that goes with a line cut short."""
    return Problem(
        "torn-line",
        f"{name}: the last line was cut short by a crash or a full disk; it does not count"
        + (f" and is kept in {kept_in}" if kept_in else ""),
        Place(name, line) if line else None,
        read=text,
        expected="a whole line",
        advice="give that command once more if it is wanted",
        severity="warning",
    )


def _append(
    path: Path, data: bytes, header: Sequence[str], rows: Rows, torn: tuple[str, str]
) -> Appended:
    headings, delimiter = _headings(data)
    missing = [name for name in header if name not in headings]
    if missing and any(row.get(name) for row in rows for name in missing):
        raise InputError(
            [
                Problem(
                    "missing-column",
                    f"the log has no column '{missing[0]}'; nothing was recorded",
                    Place(path.name, 1),
                    ", ".join(headings),
                    ", ".join(header),
                    "add the column to its first line",
                )
            ]
        )
    start = b"" if data.endswith(b"\n") else b"\n"
    added = start + _lines(_cells(rows, headings), delimiter)
    line = data.count(b"\n") + len(start) + 1
    if len(rows) == 1:
        _write_end(path, added)
    else:
        _replace(path, data + added)
    return Appended(line, len(rows), *torn)


def _cells(rows: Rows, headings: Sequence[str]) -> list[list[str]]:
    return [[one_line(row.get(name, "")) for name in headings] for row in rows]


def _lines(rows: Sequence[Sequence[str]], delimiter: str) -> bytes:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return out.getvalue().encode("utf-8")


def _headings(data: bytes) -> tuple[list[str], str]:
    """The headings of a log and what separates its cells; comment lines may come first."""
    for raw in data.decode("utf-8-sig", "replace").splitlines():
        if raw.strip() and raw[0] != "#":
            delimiter = ";" if raw.count(";") > raw.count(",") else ","
            return [cell.strip() for cell in next(csv.reader([raw], delimiter=delimiter))], (
                delimiter
            )
    return [], ","


def _write_end(path: Path, data: bytes) -> None:
    """One write at the end, flushed; what could not be written whole is taken back."""
    handle = os.open(path, os.O_RDWR | os.O_APPEND | _BINARY)
    try:
        before = os.fstat(handle).st_size
        try:
            if os.write(handle, data) != len(data):
                raise OSError("the disk is full")
            os.fsync(handle)
        except OSError:
            os.ftruncate(handle, before)
            os.fsync(handle)
            raise
    finally:
        os.close(handle)


def _replace(path: Path, data: bytes) -> None:
    """A whole file in one move; under the lock one name serves for every spare."""
    write_whole(path, data, path.with_name(path.name + NEW))


def _torn(data: bytes) -> bytes:
    """The last line where it is cut short: no line end, and fewer cells than the heading has."""
    if not data or data.endswith(b"\n"):
        return b""
    start = data.rfind(b"\n") + 1
    tail = data[start:]
    return b"" if start and _whole(tail, data) else tail


def _whole(tail: bytes, data: bytes) -> bool:
    """Whether a line without its line end has all its cells; only the last may then be short."""
    try:
        text = tail.decode("utf-8")
    except UnicodeDecodeError:
        return False
    if "\0" in text:
        return False
    if not text.strip() or text[0] == "#":
        return True
    headings, delimiter = _headings(data)
    try:
        cells = next(csv.reader([text], delimiter=delimiter, strict=True), [])
    except csv.Error:
        return False
    return len(cells) >= len(headings)


def _mend(path: Path) -> tuple[str, str]:
    """Under the lock: moves a torn last line into its own file. Text and name of that file."""
    if not path.exists():
        return "", ""
    data = path.read_bytes()
    tail = _torn(data)
    if not tail:
        return "", ""
    apart = path.with_name(path.name + TORN)
    handle = os.open(apart, os.O_WRONLY | os.O_CREAT | os.O_APPEND | _BINARY, 0o644)
    try:
        write_all(handle, f"# {now()}, cut short:\n".encode() + tail + b"\n")
        os.fsync(handle)
    finally:
        os.close(handle)
    handle = os.open(path, os.O_RDWR | _BINARY)
    try:
        os.ftruncate(handle, len(data) - len(tail))
        os.fsync(handle)
    finally:
        os.close(handle)
    return tail.decode("utf-8", "backslashreplace"), apart.name
