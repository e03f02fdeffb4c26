"""Whatever fails while something is written: the old file or the new one, and a message that helps.

``faults.py`` counts every call by which a command changes a folder, and lets each fail, or kills
the process at it, in turn. What a full disk, a read-only folder and a failing disk say are the
error numbers of POSIX.1-2017 (ENOSPC, EROFS, EACCES, EIO).
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import faults
import pytest

import scaler
from scaler.problems import InputError
from scaler.writing import write_whole

posix = pytest.mark.skipif(os.name != "posix", reason="needs POSIX processes and signals")
SPARES = (".part", ".new", ".torn")
LOGS = ("readings.csv", "choices.csv")
COMMANDS = list(faults.COMMANDS)


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Has logs write one time, so that two runs give the same lines; put back afterwards."""
    from scaler.as_made import append_log
    from scaler.substitution import write

    monkeypatch.setattr(append_log, "now", append_log.now)
    monkeypatch.setattr(write, "now", write.now)


def before_and_after(place: Path, name: str) -> tuple[dict[str, bytes], dict[str, bytes], int, int]:
    """The files before and after a command that nothing disturbs, its calls, its exit status."""
    faults.furnish(place)
    old = faults.files(place)
    with faults.layer(place, lambda name, call, whole, half: whole()) as calls:
        status, said = faults.run(faults.COMMANDS[name], place)
    assert status in (0, 1), said
    new = faults.files(place)
    assert new != old and not [path for path in new if path.endswith(SPARES)]
    return old, new, len(calls), status


def whole(found: dict[str, bytes], old: dict[str, bytes], new: dict[str, bytes]) -> None:
    """Every file is the old one or the new one, and none is gone."""
    assert set(old) <= set(found)
    for path, data in found.items():
        assert data in (old.get(path), new.get(path)), path


# ------------------------------------------------------------------------------- what fails


@pytest.mark.parametrize(
    ("number", "lasting"),
    [(errno.ENOSPC, True), (errno.EROFS, True), (errno.EACCES, False), (errno.EIO, False)],
    ids=["full disk", "read-only", "no leave", "failing disk"],
)
@pytest.mark.parametrize("name", COMMANDS)
def test_a_fault_at_every_call(tmp_path: Path, name: str, number: int, lasting: bool) -> None:
    """Each changing call of each command fails in turn: old or new, one message, exit status 2."""
    old, new, calls, _ = before_and_after(tmp_path / "sound", name)
    said_names = {Path(path).name for path in (*old, *new)} | {"new", "deep", "pages"}
    step = 1 if calls < 25 else 7  # of the many files of the demo every seventh call
    for at in range(1, calls + 1, step):
        place = tmp_path / str(at)
        faults.furnish(place)
        with faults.layer(place, faults.failing(at, number, lasting)):
            status, said = faults.run(faults.COMMANDS[name], place)
        assert status == 2, (at, said)
        assert "Traceback" not in said
        assert os.strerror(number) in said or "the disk is full" in said, said
        assert any(word in said for word in said_names), said
        assert "again" in said and ("cannot be" in said or "nothing was recorded" in said)
        found = faults.files(place)
        whole(found, old, new)
        assert not [path for path in found if path.endswith(SPARES)], found
        shutil.rmtree(place)


def test_what_failed_can_be_given_again(tmp_path: Path) -> None:
    """After a full disk has room again, the same commands give what they would have given."""
    for name in ("measure", "substitute --write", "start", "cards", "report"):
        old, new, calls, status = before_and_after(tmp_path / name, name)
        place = tmp_path / f"{name} again"
        faults.furnish(place)
        for at in range(1, calls + 1):
            with faults.layer(place, faults.failing(at, errno.ENOSPC, True)):
                assert faults.run(faults.COMMANDS[name], place)[0] == 2
        assert faults.run(faults.COMMANDS[name], place)[0] == status
        assert faults.files(place) == new != old


def test_the_screen_on_a_full_disk(tmp_path: Path) -> None:
    """What goes to a pipe or file that takes no more ends with a message and status 2."""
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full here")
    faults.furnish(tmp_path)
    script = "from scaler.cli.main import main; main()"
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-c", script, "check", str(tmp_path / "m")],
            stdout=full, stderr=subprocess.PIPE, text=True, timeout=120, check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert os.strerror(errno.ENOSPC) in done.stderr


def test_what_is_no_plain_file_is_written_to_as_it_is(tmp_path: Path) -> None:
    """A device stays a device, a link stays a link, and permissions stay."""
    write_whole(Path(os.devnull), b"gone")
    assert not Path(os.devnull).is_file()
    target, link = tmp_path / "target", tmp_path / "link"
    target.write_bytes(b"old")
    target.chmod(0o600)
    link.symlink_to(target)
    write_whole(link, b"new")
    assert link.is_symlink() and target.read_bytes() == b"new"
    assert target.stat().st_mode & 0o777 == 0o600
    with pytest.raises(IsADirectoryError):
        write_whole(tmp_path, b"")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["link", "target"]


SMALL_DISK = """
import errno, os, shutil, subprocess, sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
import faults
place = Path(sys.argv[1])
subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(place)], check=True)
print("mounted", flush=True)
faults.furnish(place)
old = faults.files(place)
filler = place / "filler"
with filler.open("wb", buffering=0) as file:
    try:
        while True:
            file.write(b"x" * 1024)
    except OSError as error:
        assert error.errno == errno.ENOSPC
old["filler"] = filler.read_bytes()
for name, words in faults.COMMANDS.items():
    status, said = faults.run(words, place)
    if status != 2:  # the few bytes of a line may fit into the log's last block
        assert name in ("measure", "measure --undo", "substitute --write"), name
        continue
    assert status == 2 and "No space left" in said and "Traceback" not in said, (name, said)
now = faults.files(place)
for path, data in old.items():
    assert now[path].startswith(data) if path.startswith("m/") else now[path] == data, path
assert not [k for k in now if k.endswith((".part", ".new"))], list(now)
for path in place.iterdir():
    shutil.rmtree(path) if path.is_dir() else path.unlink()
faults.furnish(place)
subprocess.run(["mount", "-o", "remount,ro", str(place)], check=True)
old = faults.files(place)
for name, words in faults.COMMANDS.items():
    status, said = faults.run(words, place)
    assert status == 2 and "Read-only file system" in said and "Traceback" not in said, (name, said)
status, said = faults.run(["check", "m"], place)
assert status in (0, 1), said
assert faults.files(place) == old
print("sound")
"""


@posix
def test_a_disk_of_64_kib_and_one_that_is_read_only(tmp_path: Path) -> None:
    """The real thing, where the system lets us mount: a full disk, then a read-only one."""
    outer = ["unshare", "-Urm"]
    if shutil.which("unshare") is None or subprocess.run([*outer, "true"], check=False).returncode:
        pytest.skip("no mounting here")
    done = subprocess.run(
        [*outer, sys.executable, "-c", SMALL_DISK, str(tmp_path), str(Path(__file__).parent)],
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    if "mounted" not in done.stdout:
        pytest.skip("no mounting here")
    assert done.stdout.endswith("sound\n"), done.stderr[-3000:]


# ----------------------------------------------------------------------------- what is killed


KILLED = ("measure", "measure, first", "measure --undo", "substitute --write", "start", "demo",
          "cards", "report", "reduce", "materials", "sizes-in", "scale-off")  # fmt: skip


@posix
@pytest.mark.parametrize("name", KILLED)
def test_killed_at_every_call(tmp_path: Path, name: str) -> None:
    """SIGKILL at each changing call in turn: old or new, a torn last line of a log does not count,
    and the same command then does its work."""
    old, new, calls, status = before_and_after(tmp_path / "sound", name)
    step = 1 if calls < 25 else 6  # of the many files of the demo every sixth call
    done = subprocess.run(
        [sys.executable, str(Path(faults.__file__)), name, str(tmp_path / "runs"), str(step)],
        capture_output=True, text=True, timeout=300, check=True,
    )  # fmt: skip
    runs: list[tuple[str, int, bool]] = json.loads(done.stdout.splitlines()[-1])
    assert len([1 for _, at, _ in runs if at]) == 2 * len(range(1, calls + 1, step))
    for folder, at, _ in runs:
        place = tmp_path / "runs" / folder
        found = faults.files(place)
        if not at:
            assert found == new
            continue
        logs = {path: data for path, data in found.items() if path.endswith(LOGS)}
        rest = {k: v for k, v in found.items() if k not in logs and not k.endswith(SPARES)}
        whole(rest | {k: v for k, v in old.items() if k in logs}, old, new)
        for path, data in logs.items():
            assert data.startswith(old.get(path, b"")) and new[path].startswith(data), (at, path)
        models = [path for path in found if path.startswith("new/") and "model.toml" in path]
        models = [path for path in models if not path.endswith(SPARES)]
        assert not models or {p for p in new if p.startswith("new/")} <= set(found)
        if name.startswith(("measure", "substitute")):
            assert scaler.load(place / faults.COMMANDS[name][1]).sizes  # it can still be read
        if at % max(1, calls // 6) in (0, 1):
            again, said = faults.run(faults.COMMANDS[name], place)
            if name == "measure --undo" and logs["m/readings.csv"] == new["m/readings.csv"]:
                continue  # it was done; once more takes the one before back
            if models:
                continue  # it was done; it is never written over
            assert again == status, said
            last = {k: v for k, v in faults.files(place).items() if not k.endswith(SPARES)}
            for path, data in last.items():
                if path.endswith("readings.csv"):
                    assert data.startswith(new[path])  # killed after the write: it stands twice
                else:
                    assert data == new[path], path
        shutil.rmtree(place)


@posix
@pytest.mark.parametrize("name", ["substitute --write", "cards"])
def test_killed_at_random_moments(tmp_path: Path, name: str) -> None:
    """Whole processes killed at random moments, from their start to their end."""
    old, new, _, _ = before_and_after(tmp_path / "sound", name)
    chance = random.Random(20261102)
    script = f"import sys; sys.path.insert(0, {str(Path(__file__).parent)!r}); import faults; " + (
        "from pathlib import Path; print(1, flush=True); "
        f"faults.run(faults.COMMANDS[{name!r}], Path(sys.argv[1]))"
    )
    longest, killed = 0.0, 0
    for number in range(25):  # the machine may have become quicker since the first
        if killed == 3:
            break
        place = tmp_path / str(number)
        faults.furnish(place)
        child = subprocess.Popen([sys.executable, "-c", script, str(place)], stdout=subprocess.PIPE)
        assert child.stdout is not None and child.stdout.readline() == b"1\n"
        started = time.monotonic()
        if number:
            with contextlib.suppress(subprocess.TimeoutExpired):
                child.wait(timeout=chance.uniform(0.2, 1.0) * longest)
            child.kill()
        child.wait(timeout=120)
        longest = longest or time.monotonic() - started
        killed += child.returncode == -signal.SIGKILL
        child.stdout.close()
        found = faults.files(place)
        kept = {k: v for k, v in found.items() if not k.endswith((*SPARES, *LOGS))}
        whole(kept | {k: v for k, v in old.items() if k.endswith(LOGS)}, old, new)
        for path in (path for path in found if path.endswith(LOGS)):
            assert found[path].startswith(old.get(path, b""))
            assert new[path].startswith(found[path])
    assert killed == 3


# ------------------------------------------------------------------------------ two at once


@posix
def test_two_that_choose_at_once_leave_one_whole_choice(tmp_path: Path) -> None:
    """Two substitutions of different models of one folder: what stands is one of the two, whole."""
    from scaler.substitution.write import write_choices

    faults.furnish(tmp_path)
    folder = tmp_path / "m"
    plain = scaler.substitute(scaler.load(folder))
    text = (folder / "model.toml").read_text()
    (folder / "model.toml").write_text(text.replace('"2 in"', '"2 1/2 in"').replace("2 1/64", "3"))
    wider = scaler.substitute(scaler.load(folder))
    choices = [{c.size: c.value for c in found.choices} for found in (plain, wider)]
    assert choices[0] != choices[1]
    for first, second in ((plain, wider), (wider, plain)):
        assert write_choices(first, folder) + write_choices(second, folder) > 0
        assert write_choices(second, folder) == 0
        standing = scaler.load(folder).choices
        wanted = {c.size: c.value for c in second.choices if not c.method.startswith("follows")}
        assert {size: choice.value for size, choice in standing.items()} == wanted


def test_an_undo_that_came_too_late(tmp_path: Path) -> None:
    """A reading that another took back or put on top meanwhile is not taken back by mistake."""
    from scaler.as_made import record

    faults.furnish(tmp_path)
    model = scaler.load(tmp_path / "m")
    log = tmp_path / "m" / "readings.csv"
    with log.open("a") as file:
        file.write(f"{faults.NOW},reading,shaft.length,,38 mm,,another's\n")
    before = log.read_bytes()
    with pytest.raises(InputError, match="meanwhile; nothing was taken back"):
        record.take_back(model, "shaft.length")
    assert log.read_bytes() == before
    back = record.take_back(scaler.load(tmp_path / "m"), "shaft.length")
    assert back is not None and back.note == "second"


WRITER = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[2])
import faults
place = Path(sys.argv[1])
print("ready", flush=True)
sys.stdin.readline()
for number in range(25):
    said = faults.run(["measure", "m", "shaft.journal", f"6.{number:02d} mm", "--sure"], place)
    assert said[0] in (0, 1), said
    if number % 8 == 0:
        said = faults.run(["substitute", "m", "--write"], place)
        assert said[0] in (0, 1), said
"""


@posix
def test_a_check_while_another_writes(tmp_path: Path) -> None:
    """Models read while two others write: always whole, without a note, each reading one of theirs."""
    faults.furnish(tmp_path)
    words = [sys.executable, "-c", WRITER, str(tmp_path), str(Path(__file__).parent)]
    writers = [
        subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    for writer in writers:
        assert writer.stdout is not None and writer.stdout.readline() == "ready\n"
    for writer in writers:
        assert writer.stdin is not None
        writer.stdin.write("go\n")
        writer.stdin.flush()
    seen: set[Any] = set()
    reads = 0
    while any(writer.poll() is None for writer in writers):
        model = scaler.load(tmp_path / "m")
        assert not [note for note in model.notes if note.code != "torn-line"], model.notes
        reading = model.readings.get(("shaft.journal", ""))
        seen.add(None if reading is None else reading.value)
        scaler.check(model)
        reads += 1
    for writer in writers:
        writer.communicate(timeout=120)
        assert writer.returncode == 0
    assert reads > 3 and len(seen) > 1
    lines = (tmp_path / "m" / "readings.csv").read_text().splitlines()
    assert len(lines) == 3 + 2 * 25
    assert all(line.count(",") == 6 for line in lines)


@posix
def test_two_that_write_one_page(tmp_path: Path) -> None:
    """Two commands with one --out: one of the two files, whole, and no spare left."""
    faults.furnish(tmp_path)
    script = "import sys; from scaler.cli.main import main; main(sys.argv[1:])"
    target = tmp_path / "both.txt"
    running = [
        subprocess.Popen(
            [sys.executable, "-c", script, "reduce", str(tmp_path / "m"), "--format", form,
             "--out", str(target)]
        )
        for form in ("json", "csv") * 2
    ]  # fmt: skip
    assert [process.wait(timeout=120) for process in running] == [0, 0, 0, 0]
    one = []
    for form in ("json", "csv"):
        faults.run(["reduce", "m", "--format", form, "--out", "one.txt"], tmp_path)
        one.append((tmp_path / "one.txt").read_bytes())
    assert target.read_bytes() in one
    assert not list(tmp_path.glob(".*"))
