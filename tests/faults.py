"""A layer under the project's writing that fails, or kills the process, at a call of one's choice.

Every call that changes something below a folder is counted: opening for writing, writing, flushing,
cutting, renaming, making a folder. As a script it runs one command again and again in processes of
their own, each killed at the next call, once before the call and once with half of a write done.
"""

from __future__ import annotations

import contextlib
import errno
import io
import json
import os
import shutil
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any
from zipfile import ZipFile

NOW = "2026-11-02T19:30:00Z"
MODEL = """\
[model]
title = "Two parts (invented)"
scale = "1:8"
work = "mm"
[part.shaft]
material = "mild steel"
size.journal = { full = "2 in", kind = "external", rule = "turned step 0.01 mm" }
size.length = { full = "12 in", rule = "turned step 0.1 mm" }
[part.bush]
material = "bronze"
size.bore = { full = "2 1/64 in", kind = "internal", rule = ["reamed", "bored step 0.01 mm"] }
size.length = { full = "11 1/2 in", rule = "turned step 0.1 mm" }
[pair.shaft_in_bush]
inner = "shaft.journal"
outer = "bush.bore"
fit = "close running"
[condition.stands_out]
keep = "shaft.length - bush.length >= '0.5 mm'"
why = "room for a collar"
"""
PRINT = (
    "name,x1,y1,x2,y2,known\na.x,0,0,100,0,1 ft\nb.x,0,0,50,0,6 in\n"
    "c.y,0,0,0,33,4 in\nd.y,0,0,0,66.1,8 in\ne.q,1,2,3,4,\n"
)
TABLE = "part,size,full\nshaft,journal,2 in\nshaft,length,12 in\n"
COMMANDS: dict[str, list[str]] = {
    "measure": ["measure", "m", "shaft.journal", "6.35 mm"],
    "measure, first": ["measure", "fresh", "shaft.journal", "6.35 mm"],
    "measure --undo": ["measure", "m", "shaft.length", "--undo"],
    "substitute --write": ["substitute", "m", "--write"],
    "start": ["start", "new"],
    "demo": ["demo", "new/deep", "--format", "json", "--out", "demo.json"],
    "cards": ["cards", "m", "--out", "pages"],
    "report": ["report", "m", "--out", "old.txt"],
    "reduce": ["reduce", "m", "--format", "csv", "--out", "old.txt"],
    "check": ["check", "m", "--format", "json", "--out", "new.json"],
    "next": ["next", "m", "--out", "old.txt"],
    "explain": ["explain", "m", "bush.bore", "--out", "old.txt"],
    "fits": ["fits", "m", "--out", "old.txt"],
    "materials": ["materials", "m", "--xlsx", "order.xlsx", "--out", "old.txt"],
    "chain": ["chain", "m", "stands_out", "--draws", "100", "--out", "old.txt"],
    "chain --bars": ["chain", "m", "stands_out", "--draws", "100", "--bars", "bars.svg"],
    "sizes-in": ["sizes-in", "table.csv", "--choices", "edited.csv", "--out", "old.txt"],
    "scale-off": ["scale-off", "print.csv", "--sizes", "s.csv", "--picture", "p.svg", "--out", "old.txt"],
    "lookup": ["lookup", "thread", "2 BA", "--out", "old.txt"],
}  # fmt: skip


def furnish(place: Path) -> None:
    """A folder with two models, one with logs, and what the commands read and replace."""
    for name in ("m", "fresh"):
        (place / name).mkdir(parents=True)
        (place / name / "model.toml").write_text(MODEL)
    (place / "m" / "readings.csv").write_text(
        "time,action,size,copy,value,instrument,note\n"
        f"{NOW},reading,shaft.length,,38.2 mm,,first\n{NOW},reading,shaft.length,,38.1 mm,,second\n"
    )
    (place / "m" / "choices.csv").write_text(
        f"time,action,size,value,method,row,note\n{NOW},choose,shaft.length,38.1 mm,turned,,\n"
    )
    (place / "print.csv").write_text(PRINT)
    (place / "table.csv").write_text(TABLE)
    (place / "old.txt").write_text("what stood here before\n")


def files(place: Path) -> dict[str, bytes]:
    """All files below a folder, but for the empty ones that writers wait at."""
    return {
        str(path.relative_to(place)): sheets(path) if path.suffix == ".xlsx" else path.read_bytes()
        for path in sorted(place.rglob("*"))
        if path.is_file() and path.suffix != ".lock"
    }


def sheets(path: Path) -> bytes:
    """What a workbook holds, without the time it was made at; half of one cannot be opened."""
    with ZipFile(path) as book:
        assert book.testzip() is None
        names = sorted(name for name in book.namelist() if not name.startswith("docProps"))
        return b"".join(book.read(name) for name in names)


Act = Callable[[str, int, Callable[[], Any], Callable[[], Any]], Any]
"""Takes a call's name, its number, what does it, and what does half of it; does what it likes."""


@contextlib.contextmanager
def layer(root: Path, act: Act) -> Iterator[list[str]]:
    """Has ``act`` decide on every changing call below a folder; gives the names of the calls."""
    calls: list[str] = []
    handles: set[int] = set()
    real = {name: getattr(os, name) for name in ("open", "write", "fsync", "ftruncate", "replace",
                                                 "mkdir", "close")}  # fmt: skip

    def below(path: Any) -> bool:
        return os.path.realpath(path).startswith(os.path.realpath(root))

    def step(name: str, whole: Callable[[], Any], half: Callable[[], Any] | None = None) -> Any:
        calls.append(name)
        return act(name, len(calls), whole, half or whole)

    def opened(path: Any, flags: int, *rest: Any, **more: Any) -> int:
        def whole() -> int:
            handle: int = real["open"](path, flags, *rest, **more)
            handles.add(handle)
            return handle

        if flags & (os.O_WRONLY | os.O_RDWR) and below(path):
            return int(step("open", whole))
        handle = int(real["open"](path, flags, *rest, **more))
        handles.discard(handle)
        return handle

    def written(handle: int, data: bytes) -> int:
        if handle not in handles:
            return int(real["write"](handle, data))
        half = data[: len(data) // 2]
        return int(
            step("write", lambda: real["write"](handle, data), lambda: real["write"](handle, half))
        )

    def on_handle(name: str) -> Callable[..., Any]:
        def call(handle: int, *rest: Any) -> Any:
            if handle not in handles:
                return real[name](handle, *rest)
            return step(name, lambda: real[name](handle, *rest))

        return call

    def on_path(name: str) -> Callable[..., Any]:
        def call(path: Any, *rest: Any, **more: Any) -> Any:
            if not below(path):
                return real[name](path, *rest, **more)
            return step(name, lambda: real[name](path, *rest, **more))

        return call

    patched: dict[str, Any] = {"open": opened, "write": written}
    patched |= {name: on_handle(name) for name in ("fsync", "ftruncate")}
    patched |= {name: on_path(name) for name in ("replace", "mkdir")}
    try:
        for name, function in patched.items():
            setattr(os, name, function)
        yield calls
    finally:
        for name in patched:
            setattr(os, name, real[name])


def failing(at: int, number: int, lasting: bool) -> Act:
    """Fails at a call; a lasting fault also at every one after it that would take room.

    A full disk takes half of a write first.
    """

    def act(name: str, call: int, whole: Callable[[], Any], half: Callable[[], Any]) -> Any:
        taking = name in ("open", "write", "fsync", "mkdir")
        if call == at and name == "write" and number == errno.ENOSPC:
            return half()
        if call == at or (lasting and call > at and taking):
            raise OSError(number, os.strerror(number))
        return whole()

    return act


def killing(at: int, *, half_way: bool) -> Act:
    """Kills the process at a call, before it or, of a write, with half of it done."""

    def act(name: str, call: int, whole: Callable[[], Any], half: Callable[[], Any]) -> Any:
        if call == at:
            try:
                if half_way:
                    half()
            finally:
                os.kill(os.getpid(), signal.SIGKILL)
        return whole()

    return act


def run(arguments: Sequence[str], place: Path) -> tuple[int, str]:
    """Exit status and what was said on the error stream, of a command run in a folder."""
    from scaler.as_made import append_log
    from scaler.cli.main import main
    from scaler.substitution import write

    append_log.now = write.now = lambda: NOW  # type: ignore[assignment]
    said, before = io.StringIO(), Path.cwd()
    status: Any = 0
    os.chdir(place)
    try:
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(said):
            main(list(arguments))
    except SystemExit as end:
        status = end.code
    finally:
        os.chdir(before)
    return int(status or 0), said.getvalue()


def kill_all(name: str, place: Path, step: int) -> list[list[Any]]:
    """A command killed at each of its calls in turn: folder of each run, call, half way or before.

    ``step`` is 1 for every call, 2 for every other one …
    """
    done: list[list[Any]] = []
    warm = place / "warm"
    furnish(warm)
    run(COMMANDS[name], warm)  # imports come first, so that a fork is quick
    shutil.rmtree(warm)
    for half_way in (False, True):
        at = 1
        while True:
            folder = place / f"{at}-{'half' if half_way else 'before'}"
            furnish(folder)
            child = os.fork()
            if child == 0:
                with layer(folder, killing(at, half_way=half_way)):
                    run(COMMANDS[name], folder)
                os._exit(0)
            _, status = os.waitpid(child, 0)
            if not os.WIFSIGNALED(status):
                done.append([folder.name, 0, half_way])
                break
            done.append([folder.name, at, half_way])
            at += step
    return done


if __name__ == "__main__":
    print(json.dumps(kill_all(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]))))
