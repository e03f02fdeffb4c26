"""The models that come with the package: an invented engine, and a starter to build on."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path

from scaler.problems import InputError, Problem
from scaler.reading.loading import load as load_model
from scaler.records import Model

NAMES = ("pattern_d", "starter")


def load(name: str) -> Model:
    """A shipped model by its name. Raises KeyError for a name that is not shipped."""
    if name not in NAMES:
        raise KeyError(name)
    with as_file(files("scaler.examples").joinpath(name)) as folder:
        return load_model(folder)


def write_out(name: str, target: Path) -> tuple[Path, ...]:
    """Copies a shipped model into a new or empty folder; returns the files written.

    Raises InputError where the folder holds anything already, or cannot be written; nothing that
    is there is ever overwritten.
    """
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise InputError(
            [
                Problem(
                    "not-empty",
                    f"{target} is there already and not an empty folder",
                    expected="a new folder",
                    advice="name another one; nothing was written",
                )
            ]
        )
    written = []
    try:
        target.mkdir(parents=True, exist_ok=True)
        for item in sorted(files("scaler.examples").joinpath(name).iterdir(), key=lambda f: f.name):
            path = target / item.name
            with open(path, "x", encoding="utf-8", newline="") as file:
                file.write(item.read_text(encoding="utf-8"))
            written.append(path)
    except OSError as error:
        raise InputError(
            [
                Problem(
                    "unwritable",
                    f"{target}: cannot be written ({error.strerror or error})",
                    advice="name a folder that you may write to",
                )
            ]
        ) from None
    return tuple(written)
