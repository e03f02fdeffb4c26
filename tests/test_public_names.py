"""Every public name says what it is; functions say what they raise, and in which unit they work.

Read out of the source itself, so that a name that is added later is looked at too.
"""

from __future__ import annotations

import ast
import doctest
import inspect
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import scaler

ROOT = Path(__file__).parent.parent
FILES = sorted([*(ROOT / "scaler").rglob("*.py"), *(ROOT / "cli").rglob("*.py")])
UNIT = re.compile(
    r"\[[^\]]*\]|\bmm\b|µm|\bin\b inch|\binch|\bthou\b|millimet|degree|radian|°|percent|%|"
    r"\bratio|\bfraction|\bpower\b|\bnumber|As :func:|\b[Ff]actor\b|\bfull[ -]size per\b"
)
"""A unit in brackets or words, or a word that says that there is none."""

Named = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef


def names_of(path: Path) -> Iterator[tuple[str, Named]]:
    """The public functions and classes of a file and the public methods of its public classes."""

    def inside(body: list[ast.stmt], before: str) -> Iterator[tuple[str, Named]]:
        for node in body:
            if isinstance(node, Named) and not node.name.startswith("_"):
                yield f"{before}{node.name}", node
                if isinstance(node, ast.ClassDef):
                    yield from inside(node.body, f"{before}{node.name}.")

    yield from inside(ast.parse(path.read_text(encoding="utf-8")).body, "")


def raised_by(function: Named) -> set[str]:
    """The errors that a function's own lines make and raise, nested functions aside."""
    found = set()
    waiting: list[ast.AST] = list(function.body)
    while waiting:
        node = waiting.pop()
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
            name = getattr(node.exc.func, "id", getattr(node.exc.func, "attr", ""))
            if name[:1].isupper():
                found.add(name)
        if not isinstance(node, Named):
            waiting += ast.iter_child_nodes(node)
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_every_public_name_has_a_docstring(path: Path) -> None:
    """The module, its public classes and functions, and their public methods."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree) or not tree.body
    assert [name for name, node in names_of(path) if not ast.get_docstring(node)] == []


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_what_is_raised_is_said(path: Path) -> None:
    """A public function that raises an error says so: by its name, or that it refuses."""
    silent = []
    for name, node in names_of(path):
        if not isinstance(node, ast.ClassDef) and name.rpartition(".")[2] != "fail":
            told = ast.get_docstring(node) or ""
            if raised_by(node) and not re.search(r"[Rr]aise|[Rr]efuse|Error\b", told):
                silent.append(name)
    assert silent == []


@pytest.mark.parametrize(
    "path",
    [p for p in FILES if p.parent.name in ("measures", "trade", "fitting")],
    ids=lambda path: path.name,
)
def test_formulae_state_their_units(path: Path) -> None:
    """A function that takes or gives an exact figure states the unit, in its name or its docstring."""
    silent = []
    for name, node in names_of(path):
        if isinstance(node, ast.ClassDef) or "." in name:
            continue
        arguments = [*node.args.args, *node.args.kwonlyargs]
        kinds = [a.annotation for a in arguments if a.annotation] + [
            node.returns or ast.Constant(0)
        ]
        if any("Fraction" in ast.unparse(kind) for kind in kinds):
            words = [name, *(a.arg for a in arguments)]
            told = any(re.search(r"_(mm|um|in|deg|thou|percent)$", word) for word in words)
            if not told and not UNIT.search(ast.get_docstring(node) or ""):
                silent.append(name)
    assert silent == []


@pytest.mark.parametrize("name", [n for n in scaler.__all__ if n != "__version__"])
def test_what_the_package_offers_is_typed(name: str) -> None:
    """Every argument and the answer of each function has a type."""
    value: Any = getattr(scaler, name)
    assert (value.__doc__ or "").strip()
    if inspect.isfunction(value):
        arguments = inspect.signature(value).parameters
        assert set(arguments) | {"return"} == set(value.__annotations__), name


def test_the_package_says_that_it_is_typed() -> None:
    """The marker of PEP 561 goes with the package."""
    assert (ROOT / "scaler" / "py.typed").exists()


def test_examples_in_docstrings_are_found_by_the_runner() -> None:
    """The suite collects the examples of the library; the command line has none that are not run."""
    finder = doctest.DocTestParser()
    inside = {
        base: sum(
            len(finder.get_examples(path.read_text(encoding="utf-8")))
            for path in (ROOT / base).rglob("*.py")
        )
        for base in ("scaler", "cli")
    }
    assert inside["scaler"] > 100
    assert inside["cli"] == 0
