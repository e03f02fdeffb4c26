"""The shape of the project: one import package from three folders, arrows one way."""

from __future__ import annotations

import ast
import re
import sys
import tomllib
from pathlib import Path

import scaler

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def _imports(path: Path) -> set[str]:
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
    return found


def test_every_package_folder_is_listed() -> None:
    """A new sub-package that is not listed would be left out of the wheel."""
    listed = set(PROJECT["tool"]["setuptools"]["packages"])
    found = {"scaler"}
    for base, name in (
        ("scaler", "scaler"),
        ("cli", "scaler.cli"),
        ("catalogues", "scaler.catalogues"),
    ):
        for path in (ROOT / base).rglob("__init__.py"):
            inner = path.parent.relative_to(ROOT / base).parts
            found.add(".".join((name, *inner)))
    assert listed == found


def test_the_library_never_imports_the_command_line() -> None:
    """Nothing in scaler/ imports click or scaler.cli; nothing imports the folders by their names."""
    for path in (ROOT / "scaler").rglob("*.py"):
        for name in _imports(path):
            assert name.split(".")[0] != "click", path
            assert not name.startswith("scaler.cli"), path
    for path in [*(ROOT / "scaler").rglob("*.py"), *(ROOT / "cli").rglob("*.py")]:
        assert not _imports(path) & {"cli", "catalogues"}, path


def test_the_command_line_does_no_arithmetic() -> None:
    """No fractions, decimals or maths modules in cli/."""
    for path in (ROOT / "cli").rglob("*.py"):
        assert not _imports(path) & {"fractions", "decimal", "math", "numpy", "sympy"}, path


def test_nothing_can_turn_text_into_code() -> None:
    """No eval, exec, sympify, parse_expr or pickle in the library or the command line."""
    for path in [*(ROOT / "scaler").rglob("*.py"), *(ROOT / "cli").rglob("*.py")]:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                bare = getattr(node.func, "id", "")
                name = bare or getattr(node.func, "attr", "")
                assert bare not in {"eval", "exec", "S"}, path
                assert name not in {"sympify", "parse_expr"}, path
                if name == "compile":  # re.compile only
                    assert isinstance(node.func, ast.Attribute), path
                    assert getattr(node.func.value, "id", "") == "re", path
        assert not _imports(path) & {"pickle", "marshal", "shelve"}, path


def _bounds() -> dict[str, set[str]]:
    """The lower bounds of every library that the project names, by library."""
    wanted = [*PROJECT["project"]["dependencies"]]
    for extra in PROJECT["project"]["optional-dependencies"].values():
        wanted += extra
    found: dict[str, set[str]] = {}
    for text in wanted:
        name, _, bound = text.partition(">=")
        found.setdefault(name, set()).add(bound)
    return found


def test_lower_bounds_are_those_that_are_tried() -> None:
    """What is tried with the lowest versions is what pyproject allows, library by library."""
    text = (ROOT / ".ci" / "lowest.txt").read_text(encoding="utf-8")
    tried = dict(re.findall(r"^([\w-]+)==([\d.]+)", text, re.MULTILINE))
    bounds = _bounds()
    assert {name: len(found) for name, found in bounds.items() if len(found) > 1} == {}
    for name, version in tried.items():
        (bound,) = bounds[name]
        assert version == bound, name
    extras = PROJECT["project"]["optional-dependencies"]
    needed = [*PROJECT["project"]["dependencies"]]
    for extra in ("pictures", "xlsx", "dxf"):
        needed += extras[extra]
    assert {text.partition(">=")[0] for text in needed} == set(tried)


def test_every_library_that_is_imported_is_declared() -> None:
    """No library comes in only because another one happens to bring it."""
    declared = {"scaler", *_bounds()}
    for path in [*(ROOT / "scaler").rglob("*.py"), *(ROOT / "cli").rglob("*.py")]:
        for name in {name.partition(".")[0] for name in _imports(path)}:
            assert name in declared or name in sys.stdlib_module_names, (path, name)


def test_only_tried_pythons_are_declared() -> None:
    """The Python that runs this is declared, and the lowest declared is the least allowed."""
    declared = [
        line.rpartition(" ")[2]
        for line in PROJECT["project"]["classifiers"]
        if re.search(r":: 3\.\d+$", line)
    ]
    assert ".".join(map(str, sys.version_info[:2])) in declared
    assert PROJECT["project"]["requires-python"] == f">={declared[0]}"
    assert PROJECT["tool"]["mypy"]["python_version"] == declared[0]


def test_version_is_one() -> None:
    """The package and the project say the same version."""
    assert PROJECT["project"]["version"] == scaler.__version__


def test_public_names_are_there_and_documented() -> None:
    """Every public name can be imported and has a docstring."""
    for name in scaler.__all__:
        value = getattr(scaler, name)
        if name != "__version__":
            assert value.__doc__, name
    assert set(scaler.__all__) == set(dir(scaler))


def test_top_level_holds_only_what_it_should() -> None:
    """README, DEVELOPERS, pyproject and the four folders; nothing else but dotfiles."""
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "pyproject.toml",
        "scaler",
        "cli",
        "tests",
        "catalogues",
    }
    extra = {
        path.name
        for path in ROOT.iterdir()
        if not path.name.startswith(".")
        and path.name not in allowed
        and not path.name.endswith(".egg-info")
        and path.name != "build"
    }
    assert not extra


def test_the_readme_opens_with_the_job() -> None:
    """The first paragraph under the title says what it is for, and both commands are there."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    title, paragraph = text.split("\n\n")[:2]
    assert title.startswith("# ")
    assert len(paragraph) > 200
    assert "\n#" not in paragraph
    assert re.search(r"^    python -m pip install .*&& scaler demo$", text, re.MULTILINE)
    assert re.search(r"^    python -m pip install -e .*pytest -n auto$", text, re.MULTILINE)
