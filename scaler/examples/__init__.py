"""The models that come with the package: an invented engine, and a starter to build on."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path

from scaler.problems import InputError, Problem, shorten
from scaler.reading.files import MODEL_FILE
from scaler.reading.loading import load as load_model
from scaler.records import Model
from scaler.writing import SPARE, unwritable, write_whole

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
    is there is ever overwritten. The first file of the model comes last: a folder that was broken
    off half way is no model yet, and the same call finishes it.
    """
    shipped = files("scaler.examples").joinpath(name).iterdir()
    texts = {item.name: item.read_bytes() for item in shipped if item.is_file()}
    if not _free(target, texts):
        raise InputError(
            [
                Problem(
                    "not-empty",
                    f"{shorten(str(target))} is there already and not an empty folder",
                    expected="a new folder",
                    advice="name another one; nothing was written",
                )
            ]
        )
    written: list[Path] = []
    path = target
    try:
        target.mkdir(parents=True, exist_ok=True)
        for item in sorted(texts, key=lambda item: (item == MODEL_FILE, item)):
            path = target / item
            write_whole(path, texts[item])
            written.append(path)
    except OSError as error:
        raise unwritable(path, error, whole=written) from None
    return tuple(sorted(written))


def _free(target: Path, texts: dict[str, bytes]) -> bool:
    """Whether a folder is not there, is empty, or holds no more than a broken-off copy of ours."""
    try:
        return not target.exists() or all(
            item.name.endswith(SPARE)
            or (
                item.name != MODEL_FILE
                and item.is_file()
                and texts.get(item.name) == item.read_bytes()
            )
            for item in target.iterdir()
        )
    except NotADirectoryError:
        return False
    except OSError as error:
        raise unwritable(target, error) from None
