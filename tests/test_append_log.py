"""Append-only logs: nothing recorded is lost, no half line stays, whatever happens and whenever."""

from __future__ import annotations

import csv
import os
import random
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

import pytest

from scaler.as_made import append_log
from scaler.as_made.append_log import append_rows, mend, one_line
from scaler.problems import InputError

COLUMNS = ("time", "action", "size", "copy", "value", "instrument", "note")
HEAD = ",".join(COLUMNS) + "\n"
posix = pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals and limits")


def row(value: str, note: str = "") -> dict[str, str]:
    """One reading as a row."""
    return {
        "time": append_log.now(),
        "action": "reading",
        "size": "axle.journal",
        "value": value,
        "note": note,
    }


def rows_of(path: Path) -> list[list[str]]:
    """All rows but the heading, read by the csv module and nothing of ours; each must be whole."""
    with path.open(newline="", encoding="utf-8") as file:
        found = list(csv.reader(file, strict=True))
    assert all(len(cells) == len(COLUMNS) for cells in found)
    return found[1:]


def test_a_new_log_gets_its_headings(tmp_path: Path) -> None:
    """The first row comes with the headings; its line is 2."""
    path = tmp_path / "readings.csv"
    assert append_rows(path, COLUMNS, [row("15.82 mm")]).line == 2
    assert path.read_text(encoding="utf-8").startswith(HEAD)
    assert [cells[4] for cells in rows_of(path)] == ["15.82 mm"]


def test_rows_go_to_the_end_and_old_ones_stay(tmp_path: Path) -> None:
    """Every append leaves the bytes before it as they were."""
    path = tmp_path / "readings.csv"
    before = b""
    for number in range(20):
        done = append_rows(path, COLUMNS, [row(f"{number} mm")])
        data = path.read_bytes()
        assert data.startswith(before)
        assert done.line == number + 2
        before = data
    assert [cells[4] for cells in rows_of(path)] == [f"{n} mm" for n in range(20)]


def test_several_rows_at_once(tmp_path: Path) -> None:
    """A batch comes in as one piece, in order."""
    path = tmp_path / "choices.csv"
    append_rows(path, COLUMNS, [row("1 mm")])
    assert append_rows(path, COLUMNS, [row("2 mm"), row("3 mm")]).line == 3
    assert [cells[4] for cells in rows_of(path)] == ["1 mm", "2 mm", "3 mm"]


def test_one_row_is_one_line_whatever_is_in_it(tmp_path: Path) -> None:
    """Line ends, quotes, commas and control characters in a note do not break the log."""
    path = tmp_path / "readings.csv"
    append_rows(path, COLUMNS, [row("1 mm", 'a "tight" one,\nleft\r\n\x00\x1b[2J ö')])
    assert path.read_bytes().count(b"\n") == 2
    assert rows_of(path)[0][6] == 'a "tight" one, left [2J ö'
    assert one_line("a\tb\u2028c") == "a b c"


def test_an_old_log_keeps_its_own_order_of_columns(tmp_path: Path) -> None:
    """A log with its columns moved about, semicolons and a byte order mark is gone on with."""
    path = tmp_path / "readings.csv"
    path.write_text("\ufeffsize;value;action;time;copy;note;instrument\n", encoding="utf-8")
    append_rows(path, COLUMNS, [row("1 mm", "a; b")])
    line = path.read_text(encoding="utf-8").splitlines()[1]
    assert line.startswith("axle.journal;1 mm;reading;2")
    assert line.endswith(';"a; b";')


def test_a_log_without_a_needed_column_is_left_alone(tmp_path: Path) -> None:
    """Nothing is written where a value would have no place; the message names the column."""
    path = tmp_path / "readings.csv"
    path.write_text("time,action,size,copy,value,instrument\n", encoding="utf-8")
    before = path.read_bytes()
    with pytest.raises(InputError, match="no column 'note'") as caught:
        append_rows(path, COLUMNS, [row("1 mm", "a note")])
    assert str(caught.value.problems[0].place) == "readings.csv, line 1"
    assert path.read_bytes() == before
    append_rows(path, COLUMNS, [row("1 mm")])  # an empty cell needs no column


def test_an_unknown_column_is_a_mistake_of_the_caller(tmp_path: Path) -> None:
    """A heading that the log does not know is refused before anything is written."""
    with pytest.raises(ValueError, match="'vlaue'"):
        append_rows(tmp_path / "a.csv", COLUMNS, [{"vlaue": "1 mm"}])
    assert not list(tmp_path.iterdir())


# ------------------------------------------------------------------------- lines cut short

LAST = "2026-11-02T19:30:00Z,reading,axle.journal,,15.82 mm,micrometer,after polishing"


@pytest.mark.parametrize("keep", range(1, len(LAST)))
def test_a_line_cut_short_anywhere_is_found(tmp_path: Path, keep: int) -> None:
    """Cut after every character in turn: kept apart while the value could be short, else kept."""
    path = tmp_path / "readings.csv"
    first = LAST.replace("15.82", "15.90")
    path.write_text(HEAD + first + "\n" + LAST[:keep], encoding="utf-8")
    done = append_rows(path, COLUMNS, [row("1 mm")])
    values = [cells[4] for cells in rows_of(path)]
    if LAST[:keep].count(",") < len(COLUMNS) - 1:
        assert done.torn == LAST[:keep]
        assert LAST[:keep] + "\n" in (tmp_path / "readings.csv.torn").read_text(encoding="utf-8")
        assert values == ["15.90 mm", "1 mm"]
    else:
        assert done.torn == ""
        assert values == ["15.90 mm", "15.82 mm", "1 mm"]


@pytest.mark.parametrize("keep", range(1, len(HEAD)))
def test_a_heading_cut_short_is_found(tmp_path: Path, keep: int) -> None:
    """A log of which only part of the first line came to the disk starts afresh."""
    path = tmp_path / "readings.csv"
    path.write_text(HEAD[:keep], encoding="utf-8")
    append_rows(path, COLUMNS, [row("1 mm")])
    assert path.read_text(encoding="utf-8").startswith(HEAD)
    assert len(rows_of(path)) == 1


@pytest.mark.parametrize(
    "tail",
    [b"\0" * 40, b"2026,reading,a.b,,1 mm,,caf\xc3", b'2026,reading,a.b,,1 mm,,"half a note'],
    ids=["NULs after a power cut", "half a letter", "an open quote"],
)
def test_other_ends_of_a_crash(tmp_path: Path, tail: bytes) -> None:
    """What a file system leaves after a power cut is taken out, and kept byte by byte."""
    path = tmp_path / "readings.csv"
    path.write_bytes(HEAD.encode() + b"2026,reading,a.b,,1 mm,,\n" + tail)
    problem = mend(path)
    assert problem is not None and problem.severity == "warning" and "cut short" in problem.headline
    assert path.read_bytes() == HEAD.encode() + b"2026,reading,a.b,,1 mm,,\n"
    assert tail in (tmp_path / "readings.csv.torn").read_bytes()
    assert mend(path) is None


def test_an_empty_log_is_begun(tmp_path: Path) -> None:
    """A file of no length, left by a crash between making and writing it, is no obstacle."""
    path = tmp_path / "readings.csv"
    path.touch()
    append_rows(path, COLUMNS, [row("1 mm")])
    assert len(rows_of(path)) == 1


# ------------------------------------------------------------------------- a disk that fails


def test_a_full_disk_leaves_the_log_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A write that comes out short, or not at all, is taken back; the message says so."""
    path = tmp_path / "readings.csv"
    append_rows(path, COLUMNS, [row("1 mm")])
    before = path.read_bytes()
    real = os.write
    for part in (0, 1, 17):

        def short(handle: int, data: bytes, part: int = part) -> int:
            return real(handle, data[:part])

        monkeypatch.setattr(append_log.os, "write", short)
        for rows in ([row("2 mm")], [row("2 mm"), row("3 mm")]):
            if part and len(rows) == 2:
                continue  # a batch is written in as many pieces as the disk takes
            with pytest.raises(InputError, match="nothing was recorded"):
                append_rows(path, COLUMNS, rows)
            assert path.read_bytes() == before
        monkeypatch.setattr(append_log.os, "write", real)
    append_rows(path, COLUMNS, [row("2 mm")])
    assert [cells[4] for cells in rows_of(path)] == ["1 mm", "2 mm"]
    assert not (tmp_path / "readings.csv.new").exists()


def test_a_disk_that_fails_when_flushed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error of the flush counts as not recorded, and the row is taken back."""
    path = tmp_path / "readings.csv"
    append_rows(path, COLUMNS, [row("1 mm")])
    before = path.read_bytes()
    real, calls = os.fsync, 0

    def failing(handle: int) -> None:
        nonlocal calls
        calls += 1
        if calls == 1:
            raise OSError(5, "Input/output error")
        real(handle)

    monkeypatch.setattr(append_log.os, "fsync", failing)
    with pytest.raises(InputError, match="Input/output error"):
        append_rows(path, COLUMNS, [row("2 mm")])
    assert path.read_bytes() == before


LIMITED = """
import resource, sys
from pathlib import Path
from scaler.as_made.append_log import append_rows
from scaler.problems import InputError
path, columns = Path(sys.argv[1]), sys.argv[2].split(",")
room = int(sys.argv[3])
resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
done = 0
try:
    for number in range(1000):
        append_rows(path, columns, [{"action": "reading", "size": "a.b", "value": f"{number} mm"}])
        done += 1
except InputError as error:
    print(done, error.problems[0].headline)
"""


@posix
@pytest.mark.parametrize("room", [30, 200, 211, 1003])
def test_the_kernel_runs_out_of_room(tmp_path: Path, room: int) -> None:
    """A real limit on the size of the file: the kernel itself writes part of a row, then stops."""
    path = tmp_path / "readings.csv"
    done = subprocess.run(
        [sys.executable, "-c", LIMITED, str(path), ",".join(COLUMNS), str(room)],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    count, _, message = done.stdout.partition(" ")
    assert "nothing was recorded" in message
    if int(count):
        assert [cells[4] for cells in rows_of(path)] == [f"{n} mm" for n in range(int(count))]
    else:
        assert not path.exists()


# -------------------------------------------------------------------- crashes and two writers

WRITER = """
import os, random, sys, time
from pathlib import Path
from scaler.as_made.append_log import append_rows
path, columns, name, count = Path(sys.argv[1]), sys.argv[2].split(","), sys.argv[3], int(sys.argv[4])
print("ready", flush=True)
while not path.with_name("go").exists():
    time.sleep(0.001)
chance = random.Random(name)
for number in range(count):
    time.sleep(chance.uniform(0, 0.003))
    rows = [{"action": "reading", "size": name, "value": f"{number} mm", "note": "x" * (number % 90)}]
    if number % 7 == 6:
        rows *= 3
    append_rows(path, columns, rows)
    os.write(1, f"{number}\\n".encode())
"""


def begin(path: Path, name: str, count: int) -> subprocess.Popen[bytes]:
    """A writer in a process of its own, ready to write."""
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(path), ",".join(COLUMNS), name, str(count)],
        stdout=subprocess.PIPE,
    )
    assert writer.stdout is not None and writer.stdout.readline() == b"ready\n"
    return writer


def finish(writer: subprocess.Popen[bytes]) -> int:
    """Ends a writer's story: how many appends it was told were done."""
    assert writer.stdout is not None
    told = writer.stdout.read().split()
    writer.stdout.close()
    writer.wait(timeout=60)
    return len(told)


def times(count: int) -> list[int]:
    """How often each of the first appends is in the log: once, or three times for a batch."""
    return [3 if number % 7 == 6 else 1 for number in range(count)]


@posix
def test_killed_at_any_moment(tmp_path: Path) -> None:
    """Writers killed at random moments of many writes: all that was acknowledged is there, whole.

    One row more than was acknowledged may be there (killed between the disk and the answer).
    """
    chance = random.Random(20261102)
    path = tmp_path / "readings.csv"
    expected: list[tuple[str, int]] = []
    for number in range(12):
        name = f"part.size_{number}"
        writer = begin(path, name, 400)
        (tmp_path / "go").touch()
        time.sleep(chance.uniform(0.0, 0.12))
        writer.kill()
        expected.append((name, finish(writer)))
    append_rows(path, COLUMNS, [row("1 mm")])
    found = rows_of(path)
    assert found[-1][2] == "axle.journal"
    total = 0
    for name, told in expected:
        values = [cells[4] for cells in found if cells[2] == name]
        sure = [f"{n} mm" for n, many in enumerate(times(told)) for _ in range(many)]
        maybe = sure + [f"{told} mm"] * (3 if told % 7 == 6 else 1)
        assert values in (sure, maybe)
        total += told
    assert total > 50  # the killing has not come before the writing


@posix
def test_two_writers_at_once(tmp_path: Path) -> None:
    """Two writers race: every row of both is there once, in its writer's order, and whole."""
    path = tmp_path / "readings.csv"
    writers = [begin(path, name, 120) for name in ("a.left", "a.right")]
    (tmp_path / "go").touch()
    assert [finish(writer) for writer in writers] == [120, 120]
    found = rows_of(path)
    for name in ("a.left", "a.right"):
        values = [cells[4] for cells in found if cells[2] == name]
        assert values == [f"{n} mm" for n, many in enumerate(times(120)) for _ in range(many)]
    switches = sum(one[2] != other[2] for one, other in pairwise(found))
    assert switches > 1  # they did write between each other


@posix
def test_a_writer_that_does_not_let_go(tmp_path: Path) -> None:
    """Another writer that keeps the lock is waited for, then named; nothing is written."""
    path = tmp_path / "readings.csv"
    with append_log.locked(path):
        started = time.monotonic()
        with pytest.raises(InputError, match="being written by another"):
            append_rows(path, COLUMNS, [row("1 mm")], wait_s=0.1)
        assert time.monotonic() - started >= 0.1
    assert not path.exists()
    append_rows(path, COLUMNS, [row("1 mm")])


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    """A log in no folder: the reason is told, nothing is made."""
    with pytest.raises(InputError, match="nothing was recorded"):
        append_rows(tmp_path / "none" / "readings.csv", COLUMNS, [row("1 mm")])
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize(
    ("number", "word"), [(13, "Permission denied"), (30, "Read-only file system")]
)
def test_a_folder_that_may_not_be_written_to(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, word: str
) -> None:
    """The reason is told and nothing is written: neither where there is a log, nor where none is."""
    log, none = tmp_path / "readings.csv", tmp_path / "choices.csv"
    append_rows(log, COLUMNS, [row("1 mm")])
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    real = os.open

    def refusing(path: object, flags: int, *rest: int) -> int:
        if flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
            raise OSError(number, os.strerror(number), path)
        return real(path, flags, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(append_log.os, "open", refusing)
    for path in (log, none):
        with pytest.raises(InputError, match=word):
            append_rows(path, COLUMNS, [row("2 mm")])
    monkeypatch.undo()
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


@pytest.mark.skipif(
    sys.platform == "win32" or os.geteuid() == 0, reason="whoever is root may write everywhere"
)
def test_a_real_read_only_folder(tmp_path: Path) -> None:
    """The same by the folder's own mode."""
    folder = tmp_path / "engine"
    folder.mkdir()
    folder.chmod(0o555)
    try:
        with pytest.raises(InputError, match="nothing was recorded"):
            append_rows(folder / "readings.csv", COLUMNS, [row("1 mm")])
    finally:
        folder.chmod(0o755)
    assert not list(folder.iterdir())
