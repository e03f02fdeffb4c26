"""Gives every reader very many inputs made to reach all of its code, and says what came of them.

    python tests/fuzz/run.py --inputs 1000000

Needs ``atheris`` (coverage-guided; Python 3.11 to 3.13). The inputs go to the readers in the shares
that their modules state. Work is kept in ``--work`` and taken up again where it stopped; the table
is printed at the end, or at any time with ``--table``. A finding is any input that ends in anything
but a result or a problem of the project's own, takes more than 1 s of process time, or more than
300 MiB. ``--keep`` writes the smallest set of inputs that reaches the same code, and every finding,
into ``tests/fuzz/corpus``, where the test suite replays them.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256
from pathlib import Path
from types import FrameType
from typing import Any

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

import readers

HARD_S = 60
"""An input that does not come back within this is broken off [s]."""
HARD_MIB = 2048
MOST_KEPT = 40_000
"""Bytes of inputs kept of one reader, findings aside."""
EVERY = 200


def states(work: Path) -> dict[str, dict[str, Any]]:
    """What has been done so far, by reader."""
    found = {}
    for name in readers.NAMES:
        path = work / name / "state.json"
        found[name] = json.loads(path.read_text()) if path.exists() else {}
    return found


def table(work: Path) -> str:
    """What was done: one line a reader."""
    head = ("reader", "inputs", "new corpus entries", "findings", "slowest s", "peak MiB")
    rows = []
    for name, state in states(work).items():
        corpus = work / name / "corpus"
        entries = len(list(corpus.iterdir())) if corpus.is_dir() else 0
        found = [path for path in (work / name).glob("found/*") if path.suffix != ".txt"]
        rows.append(
            (
                name,
                f"{state.get('inputs', 0):,}",
                f"{max(0, entries - state.get('seeds', 0)):,}",
                str(len(found)),
                f"{state.get('slowest', 0.0):.2f}",
                f"{state.get('mib', 0.0):.0f}",
            )
        )
    total = sum(state.get("inputs", 0) for state in states(work).values())
    rows.append(("all", f"{total:,}", "", "", "", ""))
    lines = ["| " + " | ".join(row) + " |" for row in (head, ("---",) * len(head), *rows)]
    return "\n".join(lines)


def write_seeds(name: str, place: Path) -> int:
    """The reader's own seeds and what is kept in the project, as files; how many."""
    place.mkdir(parents=True, exist_ok=True)
    kept = readers.CORPUS / name
    inputs = {*readers.reader(name).seeds()}
    inputs |= {path.read_bytes() for path in kept.glob("*")} if kept.is_dir() else set()
    for data in inputs:
        (place / f"seed-{sha256(data).hexdigest()[:16]}").write_bytes(data)
    return len(inputs)


def write_words(name: str, path: Path) -> Path:
    """The reader's words in the form that the fuzzer takes."""
    lines = []
    for word in readers.reader(name).WORDS:
        lines.append('"' + "".join(f"\\x{byte:02x}" for byte in word.encode()) + '"')
    path.write_text("\n".join(lines) + "\n")
    return path


def child(name: str, place: Path, runs: int) -> None:
    """One process of fuzzing: never returns."""
    import atheris

    with atheris.instrument_imports(include=["scaler"]):
        module = readers.reader(name)
        for data in list(module.seeds()):
            readers.once(module, data)  # imports and tables come first: they are no input's fault
    state_path = place / "state.json"
    state = json.loads(state_path.read_text()) if state_path.exists() else {}
    state.setdefault("inputs", 0)
    state.setdefault("slowest", 0.0)
    state.setdefault("mib", 0.0)
    if "seeds" not in state:
        state["seeds"] = write_seeds(name, place / "corpus")
    found = place / "found"
    found.mkdir(exist_ok=True)

    def keep() -> None:
        state["mib"] = max(state["mib"], readers.greatest_mib())
        spare = state_path.with_suffix(".new")
        spare.write_text(json.dumps(state))
        os.replace(spare, state_path)

    keep()

    def one(data: bytes) -> None:
        outcome = readers.once(module, data)
        state["inputs"] += 1
        if outcome.seconds > state["slowest"]:
            state["slowest"] = outcome.seconds
            (place / "slowest").write_bytes(data)
        if outcome.fault:
            path = found / outcome.fault
            if not path.exists() or len(data) < path.stat().st_size:
                path.write_bytes(data)
                path.with_name(path.name + ".txt").write_text(outcome.detail)
        if state["inputs"] % EVERY == 0:
            keep()

    atheris.Setup(
        [
            sys.argv[0],
            f"-runs={runs}",
            f"-max_len={module.LONGEST}",
            f"-timeout={HARD_S}",
            f"-rss_limit_mb={HARD_MIB}",
            f"-dict={write_words(name, place / 'words')}",
            f"-artifact_prefix={place}/hard-",
            "-len_control=20",
            "-print_final_stats=0",
            "-verbosity=0",
            str(place / "corpus"),
        ],
        one,
    )
    atheris.Fuzz()


def run(name: str, work: Path, wanted: int) -> None:
    """Feeds one reader until it has had all of its inputs; a process that dies is begun again."""
    place = work / name
    place.mkdir(parents=True, exist_ok=True)
    tries = 0
    while tries < 50:
        path = place / "state.json"
        done = json.loads(path.read_text())["inputs"] if path.exists() else 0
        if wanted - done < EVERY:
            return
        with (place / "output").open("ab") as output:
            subprocess.run(
                [sys.executable, __file__, "--child", name, "--inputs", str(wanted - done),
                 "--work", str(work)],
                stdout=output, stderr=output, check=False,
            )  # fmt: skip
        tries += 1
        for hard in place.glob("hard-*"):
            (place / "found").mkdir(exist_ok=True)
            kind = hard.name.split("-")[1]
            hard.replace(place / "found" / f"{kind}-{sha256(hard.read_bytes()).hexdigest()[:8]}")


def reached(module: readers.Reader, data: bytes) -> set[tuple[str, int, int]]:
    """The steps from line to line of the project's code that an input leads through."""
    steps: set[tuple[str, int, int]] = set()

    def trace(frame: FrameType, event: str, value: object) -> Any:
        file = frame.f_code.co_filename
        if "scaler" not in file or "fuzz" in file.rsplit("scaler", 1)[-1]:
            return None
        before = -1

        def inside(frame: FrameType, event: str, value: object) -> Any:
            nonlocal before
            if event == "line":
                steps.add((file, before, frame.f_lineno))
                before = frame.f_lineno
            return inside

        return inside

    sys.settrace(trace)
    try:
        readers.once(module, data)
    finally:
        sys.settrace(None)
    return steps


def keep(name: str, work: Path) -> None:
    """Writes what is worth keeping of one reader into the project: small inputs come first."""
    place, target = work / name, readers.CORPUS / name
    module = readers.reader(name)
    seeds = [*module.seeds()]
    for data in seeds:
        readers.once(module, data)
    known = set().union(*(reached(module, data) for data in seeds[:300]))
    inputs = {path.read_bytes() for path in (place / "corpus").glob("*")}
    inputs |= {path.read_bytes() for path in target.glob("reached-*")}
    target.mkdir(parents=True, exist_ok=True)
    for old in target.glob("reached-*"):
        old.unlink()
    total = 0
    for data in sorted(inputs, key=lambda data: (len(data), data)):
        if total + len(data) > MOST_KEPT:
            break
        steps = reached(module, data)
        if not steps <= known:
            known |= steps
            total += len(data)
            (target / f"reached-{sha256(data).hexdigest()[:12]}").write_bytes(data)
    for path in (place / "found").glob("*"):
        if path.suffix != ".txt":
            shutil.copyfile(path, target / f"found-{path.name}")


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description="Fuzz every reader.")
    parser.add_argument("--inputs", type=int, default=1_000_000, help="inputs of all readers")
    parser.add_argument("--reader", action="append", choices=readers.NAMES, help="only this one")
    parser.add_argument("--at-once", type=int, default=2, help="readers fed at the same time")
    parser.add_argument("--work", type=Path, default=Path(tempfile.gettempdir()) / "reader-fuzzing")
    parser.add_argument("--table", action="store_true", help="only print the table")
    parser.add_argument("--keep", action="store_true", help="write the corpus of the project")
    parser.add_argument("--child", choices=readers.NAMES, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.child:
        child(options.child, options.work / options.child, options.inputs)
    names = options.reader or readers.NAMES
    if not options.table and not options.keep:
        if hasattr(os, "nice"):
            os.nice(19)
        whole = sum(readers.reader(name).INPUTS for name in readers.NAMES)
        shares = {n: options.inputs * readers.reader(n).INPUTS // whole for n in names}
        with ThreadPoolExecutor(options.at_once) as pool:
            for _ in pool.map(lambda n: run(n, options.work, shares[n]), names):
                pass
    if options.keep:
        for name in names:
            keep(name, options.work)
    print(table(options.work))


if __name__ == "__main__":
    main()
