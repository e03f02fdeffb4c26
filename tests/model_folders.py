"""Model folders for the tests of files: written whole, read, refused."""

from __future__ import annotations

from pathlib import Path

import pytest

import scaler
from scaler.problems import InputError, Problem, render_full

MODEL = '[model]\nscale = "1:8"\ninclude = ["parts.toml"]\n'
PARTS = '[part.axle]\nsize.journal = "5 mm"\n'


def folder(path: Path, **more: str | bytes) -> Path:
    """A model folder; ``__`` in a name stands for its point."""
    given: dict[str, str | bytes] = {"model__toml": MODEL, "parts__toml": PARTS, **more}
    for name, content in given.items():
        target = path / name.replace("__", ".")
        data = content.encode() if isinstance(content, str) else content
        target.write_bytes(data)
    return path


def refused(path: object) -> tuple[Problem, ...]:
    """The problems of a model that must not be readable."""
    with pytest.raises(InputError) as caught:
        scaler.load(path)  # type: ignore[arg-type]
    for problem in caught.value.problems:
        assert problem.code and problem.headline and problem.advice, problem
        assert problem.expected, problem
        assert "\n" not in problem.headline
        assert render_full(problem).isprintable() or "\n" in render_full(problem)
    return caught.value.problems


def one(path: object) -> Problem:
    """The only problem of a model."""
    (problem,) = refused(path)
    return problem
