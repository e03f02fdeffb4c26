"""Every reader on what fuzzing has found, and on inputs put together from its own words.

``fuzz/corpus`` holds each input that was once a fault (``found-…``) and the smallest set that
reaches the code that very many inputs reached (``reached-…``). No outside figure is checked here:
an input passes where it gives a result or a problem of the project's own, in time and memory.
"""

from __future__ import annotations

import ast
import os
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

FUZZ = Path(__file__).parent / "fuzz"
sys.path.insert(0, str(FUZZ))

import readers  # the folder has just been put on the path

CORPUS = sorted(readers.CORPUS.glob("*/*"))


@pytest.fixture(scope="module", autouse=True)
def warm() -> None:
    """Tables and libraries are read first: they are no input's time or memory."""
    for name in readers.NAMES:
        module = readers.reader(name)
        for data in list(module.seeds())[:20]:
            readers.once(module, data)


HANG_S = 60
"""A second is what a run of the fuzzer allows; a busy machine may take longer over what is sound."""


def fault(outcome: readers.Outcome) -> str:
    """What is wrong with an outcome; slowness only where it comes to a hang."""
    slow = outcome.fault.startswith("slow") and outcome.seconds < HANG_S
    return "" if slow else outcome.fault


@pytest.mark.parametrize("name", readers.NAMES)
def test_what_was_found_and_reached(name: str) -> None:
    """Each kept input of a reader gives a result or a problem, within 1 s and 300 MiB."""
    module = readers.reader(name)
    kept = [path for path in CORPUS if path.parent.name == name]
    assert len(kept) > 5, f"no corpus is kept for {name}"
    for path in kept:
        outcome = readers.once(module, path.read_bytes())
        assert not fault(outcome), f"{path.name}: {outcome.fault}\n{outcome.detail}"


@pytest.mark.parametrize("name", readers.NAMES)
def test_seeds(name: str) -> None:
    """The inputs that a run begins with are sound themselves, and no longer than the rest."""
    module = readers.reader(name)
    seeds = list(module.seeds())
    assert seeds and module.WORDS and module.INPUTS >= 10_000
    for data in seeds[:: max(1, len(seeds) // 100)]:
        outcome = readers.once(module, data)
        assert not fault(outcome), f"{data[:200]!r}: {outcome.fault}\n{outcome.detail}"


@pytest.mark.parametrize("name", readers.NAMES)
def test_inputs_put_together_from_words(name: str) -> None:
    """Words of a reader and pieces of its seeds in any order, with any text between them."""
    module = readers.reader(name)
    seeds = [data.decode("utf-8", "replace") for data in list(module.seeds())[:60]]
    piece = st.one_of(st.sampled_from(module.WORDS), st.text(max_size=6), st.sampled_from(seeds))

    @settings(max_examples=40, suppress_health_check=list(HealthCheck))
    @given(st.lists(piece, max_size=12))
    def check(pieces: list[str]) -> None:
        data = "".join(pieces).encode("utf-8", "surrogatepass")[: module.LONGEST]
        outcome = readers.once(module, data)
        assert not fault(outcome), f"{outcome.fault}\n{outcome.detail}"

    check()


def test_the_corpus_stays_small() -> None:
    """All that is kept is a few hundred KB, in files of readers that there are."""
    assert {path.parent.name for path in CORPUS} == set(readers.NAMES)
    assert sum(path.stat().st_size for path in CORPUS) < 600_000
    assert all(path.name.startswith(("found-", "reached-")) for path in CORPUS)


def test_a_fault_is_told_from_a_problem(monkeypatch: pytest.MonkeyPatch) -> None:
    """Python's own errors, slowness and size are faults; the project's own errors are none."""
    from scaler.problems import InputError

    class Probe:
        error: Exception | None = KeyError("x")

        def read(self, data: bytes) -> object:
            if self.error:
                raise self.error
            return sum(range(len(data) * 1000))

    probe = Probe()
    assert readers.once(probe, b"").fault.startswith("KeyError-")
    for error in (ValueError("x"), RecursionError(), AssertionError(), OverflowError()):
        probe.error = error
        assert readers.once(probe, b"").fault.startswith(type(error).__name__)
    probe.error = InputError([])
    assert not readers.once(probe, b"").fault
    probe.error = None
    monkeypatch.setattr(readers, "SLOW_S", -1.0)
    assert readers.once(probe, b"xx").fault.startswith("slow")
    monkeypatch.setattr(readers, "SLOW_S", 1.0)
    monkeypatch.setattr(readers, "LARGE_MIB", -1.0)
    assert readers.once(probe, b"").fault.startswith("large")


def test_the_run_needs_nothing_at_import() -> None:
    """The command imports the fuzzer only where it fuzzes, so that its table needs none."""
    tree = ast.parse((FUZZ / "run.py").read_text(encoding="utf-8"))
    top = [node for node in tree.body if isinstance(node, (ast.Import, ast.ImportFrom))]
    names = {alias.name for node in top for alias in node.names}
    assert "atheris" not in names and "readers" in names
    assert os.access(FUZZ / "run.py", os.R_OK)
