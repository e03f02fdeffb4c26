"""Which files of a model folder are read, and what is said of those that cannot be."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from model_folders import MODEL, PARTS, folder, one, refused

import scaler
from scaler.problems import Problem, render_full
from scaler.reading import files


def where(problem: Problem) -> tuple[str, str, int, int]:
    """Code, file, line and column."""
    assert problem.place is not None
    return problem.code, problem.place.file, problem.place.line, problem.place.column


# ------------------------------------------------------------------------------ finding a model


def test_folder_and_first_file(tmp_path: Path) -> None:
    """A model is named by its folder or by its first file, whatever that is called."""
    folder(tmp_path)
    by_folder = scaler.load(tmp_path)
    by_file = scaler.load(str(tmp_path / "model.toml"))
    assert by_folder.sizes == by_file.sizes
    os.rename(tmp_path / "model.toml", tmp_path / "engine.toml")
    assert scaler.load(tmp_path / "engine.toml").sizes.keys() == by_folder.sizes.keys()


def test_no_model(tmp_path: Path) -> None:
    """A folder without a first file, and the file that may be meant."""
    assert one(tmp_path).code == "no-model"
    (tmp_path / "engine.toml").write_text(MODEL)
    assert "engine.toml" in one(tmp_path).advice


@pytest.mark.parametrize("name", ["missing", "a" * 5000, "a\0b", "a/b/c", "\ud800"])
def test_no_such_path(tmp_path: Path, name: str) -> None:
    """A path that is not there, that no file can have, or that is no path at all."""
    problem = one(str(tmp_path / name))
    assert problem.code == "no-model" and problem.place is None


def test_a_file_for_a_folder(tmp_path: Path) -> None:
    """A path that leads through a file."""
    folder(tmp_path)
    assert one(tmp_path / "model.toml" / "more").code == "no-model"


# ------------------------------------------------------------------------------------- text


@pytest.mark.parametrize("text", ["", "\n\n", "  \t \n", "\ufeff"])
def test_empty_file(tmp_path: Path, text: str) -> None:
    """An empty first file, and an empty further one."""
    folder(tmp_path, model__toml=text)
    assert where(one(tmp_path)) == ("empty", "model.toml", 1, 1)
    folder(tmp_path, parts__toml=text)
    assert where(one(tmp_path)) == ("empty", "parts.toml", 1, 1)


def test_remarks_only(tmp_path: Path) -> None:
    """A first file with nothing but remarks has no [model]."""
    folder(tmp_path, model__toml="# nothing\n# at all\n")
    assert where(one(tmp_path)) == ("no-model-table", "model.toml", 1, 1)


@pytest.mark.parametrize(
    ("data", "line", "column", "read"),
    [
        (b'[part.axle]\ntitle = "a\0b"\n', 2, 11, "a NUL character"),
        ("[part.axle]\ntitle = 'Ø'\n".encode("latin-1"), 2, 10, "the byte 0xd8"),
        ("[part.axle]\n".encode("utf-16"), 1, 1, "text in UTF-16"),
        ("[part.axle]\n".encode("utf-16-be"), 1, 1, "a NUL character"),
        (b"\xfe\xff" + "[part.axle]\n".encode("utf-16-be"), 1, 1, "text in UTF-16"),
        (b"PK\x03\x04\x14\x00\x08", 1, 1, "a workbook or another packed file"),
        (b"[part.axle]\n# \xc3\x98 \x1b[2J\n", 2, 6, "the control character U+001B"),
        ("\n # \u202e".encode(), 2, 4, "the control character U+202E, RIGHT-TO-LEFT OVERRIDE"),
        (b"\n\n\xff\xfe", 3, 1, "the byte 0xff"),
    ],
)
def test_not_text(tmp_path: Path, data: bytes, line: int, column: int, read: str) -> None:
    """Files that are no UTF-8 text, in any of the places where files are named."""
    for name in ("parts.toml", "sizes.csv", "drawer.csv", "choices.csv"):
        folder(
            tmp_path,
            model__toml='[model]\nscale = "1:8"\n'
            + ('shop = "drawer.csv"\n' if name == "drawer.csv" else "")
            + (f'include = ["{name}"]\n' if name in ("parts.toml", "sizes.csv") else ""),
        )
        (tmp_path / name).write_bytes(data)
        problem = one(tmp_path)
        assert where(problem) == ("not-text", name, line, column)
        assert problem.read == read
        (tmp_path / name).unlink()


def test_line_ends_and_marks(tmp_path: Path) -> None:
    """Line ends of any sort, a byte order mark and tabs make no difference, nor do they to places."""
    folder(tmp_path)
    plain = scaler.load(tmp_path)
    for end in ("\r\n", "\r"):
        marked = "\ufeff" + PARTS.replace("=", "\t=\t").replace("\n", end)
        folder(tmp_path, parts__toml=marked)
        assert scaler.load(tmp_path).sizes == plain.sizes
        folder(tmp_path, parts__toml=marked.replace("5 mm", "5 mn"))
        assert where(one(tmp_path)) == ("cannot-read", "parts.toml", 2, 21)


def test_too_large(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Files over the bound, by themselves or together, are not read to their end."""
    monkeypatch.setattr(files, "MAX_BYTES", 200)
    folder(tmp_path, parts__toml=PARTS + "#" * 200)
    assert where(one(tmp_path)) == ("too-large", "parts.toml", 1, 1)
    monkeypatch.setattr(files, "MAX_TOTAL_BYTES", len(MODEL) + 20)
    folder(tmp_path)
    assert where(one(tmp_path)) == ("too-large", "parts.toml", 1, 1)


def test_cannot_be_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that may not be opened."""
    folder(tmp_path)
    opened = Path.open

    def refuse(self: Path, *args: object, **more: object) -> object:
        if self.name == "parts.toml":
            raise PermissionError(13, "Permission denied")
        return opened(self, *args, **more)  # type: ignore[call-overload]

    monkeypatch.setattr(Path, "open", refuse)
    problem = one(tmp_path)
    assert where(problem) == ("unreadable", "parts.toml", 1, 1)
    assert "Permission denied" in problem.headline


# ------------------------------------------------------------------------- names of further files


def including(path: Path, *names: str, key: str = "include") -> Path:
    """A model folder that names files, each on a line of its own from line 4 on."""
    listed = "".join(f'\t"{name}",\n' for name in names)
    return folder(path, model__toml=f'[model]\nscale = "1:8"\n{key} = [\n{listed}]\n')


@pytest.mark.parametrize("name", ["model.toml", "./model.toml", "sub/../model.toml"])
def test_includes_itself(tmp_path: Path, name: str) -> None:
    """A file that names itself, under any spelling."""
    (tmp_path / "sub").mkdir()
    including(tmp_path, "parts.toml", name)
    problem = one(tmp_path)
    assert where(problem) == ("include-ring", "model.toml", 5, 3)
    assert problem.read == name and problem.headline == "the file names itself"


def test_ring_of_files(tmp_path: Path) -> None:
    """Files that name each other in a ring; only the first file may hold [model] at all."""
    again = '[model]\ninclude = ["b.toml"]\n'
    including(tmp_path, "a.toml")
    folder(tmp_path, model__toml=(tmp_path / "model.toml").read_bytes(), a__toml=again)
    (tmp_path / "b.toml").write_text('[model]\ninclude = "./a.toml"\n')
    found = {where(problem): problem for problem in refused(tmp_path)}
    assert set(found) == {
        ("double", "a.toml", 1, 2),
        ("double", "b.toml", 1, 2),
        ("include-ring", "b.toml", 2, 12),
    }
    ring = found["include-ring", "b.toml", 2, 12]
    assert ring.headline.endswith("a.toml names b.toml names ./a.toml")


@pytest.mark.parametrize(
    "name", ["../other.toml", "/etc/hostname", "sub/../../other.toml", "sub/link.toml", "link"]
)
def test_outside(tmp_path: Path, name: str) -> None:
    """Files outside the folder are not read: by .., absolute, or through a symbolic link."""
    inner = tmp_path / "inner"
    (inner / "sub").mkdir(parents=True)
    secret = tmp_path / "other.toml"
    secret.write_text("not for reading")
    (inner / "sub" / "link.toml").symlink_to(secret)
    (inner / "link").symlink_to(tmp_path)
    named = f"{name}/other.toml" if name == "link" else name
    for key in ("include", "shop"):
        including(inner, named, key=key)
        problem = one(inner)
        assert where(problem) == ("outside", "model.toml", 4, 3)
        assert problem.read == named
        assert "not for reading" not in render_full(problem)


@pytest.mark.parametrize("name", ["model.toml", "choices.csv", "readings.csv"])
def test_links_out_of_the_folder(tmp_path: Path, name: str) -> None:
    """The files that are read without being named may be no links out of the folder either."""
    inner = folder_in(tmp_path)
    secret = tmp_path / "secret"
    secret.write_text("not for reading")
    (inner / name).unlink(missing_ok=True)
    (inner / name).symlink_to(secret)
    problem = one(inner)
    assert where(problem) == ("outside", name, 1, 1)
    assert "not for reading" not in render_full(problem)


def folder_in(path: Path) -> Path:
    """A model folder inside another."""
    inner = path / "inner"
    inner.mkdir()
    return folder(inner)


def test_links_inside(tmp_path: Path) -> None:
    """A link that stays inside is followed; a folder that is a link itself is one, too."""
    inner = folder_in(tmp_path)
    os.rename(inner / "parts.toml", inner / "real.toml")
    (inner / "parts.toml").symlink_to(inner / "real.toml")
    (tmp_path / "linked").symlink_to(inner)
    assert set(scaler.load(tmp_path / "linked").sizes) == {"axle.journal"}


def test_link_to_itself(tmp_path: Path) -> None:
    """A symbolic link that leads nowhere but to itself."""
    including(tmp_path, "loop.toml")
    (tmp_path / "loop.toml").symlink_to(tmp_path / "loop.toml")
    assert where(one(tmp_path))[1:] == ("model.toml", 4, 3)


@pytest.mark.parametrize("again", ["parts.toml", "./parts.toml", "link.toml"])
def test_named_twice(tmp_path: Path, again: str) -> None:
    """A file that is named twice, under any spelling."""
    including(tmp_path, "parts.toml", again)
    (tmp_path / "link.toml").symlink_to(tmp_path / "parts.toml")
    assert where(one(tmp_path)) == ("included-twice", "model.toml", 5, 3)


def test_logs_are_not_named(tmp_path: Path) -> None:
    """The tool's own files are read by themselves; naming them is a mistake."""
    including(tmp_path, "parts.toml", "choices.csv", "readings.csv")
    folder(tmp_path, model__toml=(tmp_path / "model.toml").read_bytes())
    (tmp_path / "choices.csv").write_text("action,size,value\n")
    found = [where(problem) for problem in refused(tmp_path)]
    assert found == [
        ("included-twice", "model.toml", 5, 3),
        ("included-twice", "model.toml", 6, 3),
    ]


@pytest.mark.parametrize(
    ("name", "advice"),
    [
        ("part.toml", "did you mean 'parts.toml'?"),
        ("PARTS.TOML", "did you mean 'parts.toml'?"),
        ("sub", ""),
        ("", ""),
        (".", ""),
        ("no such thing", ""),
    ],
)
def test_missing_file(tmp_path: Path, name: str, advice: str) -> None:
    """A file that is not there, or is no file."""
    (tmp_path / "sub").mkdir()
    for key in ("include", "shop"):
        including(tmp_path, name, key=key)
        problem = one(tmp_path)
        assert where(problem)[:3] == ("no-file", "model.toml", 4)
        assert problem.advice.startswith(advice)


def test_names_that_no_file_can_have(tmp_path: Path) -> None:
    """A NUL in a name, and a name far too long."""
    for name in ("a\\u0000b", "b" * 5000):
        including(tmp_path, name)
        assert where(one(tmp_path))[1:3] == ("model.toml", 4)


def test_very_many_files(tmp_path: Path) -> None:
    """The number of files is bounded; past the bound no more are looked for."""
    including(tmp_path, *(f"file_{number}.toml" for number in range(files.MAX_FILES + 50)))
    started = time.process_time()
    problems = refused(tmp_path)
    assert time.process_time() - started < 10
    assert [problem.code for problem in problems].count("too-many") == 1
    assert len(problems) == files.MAX_FILES - 1


def test_only_named_files_are_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing but the named files is opened, and each of them once."""
    inner = folder_in(tmp_path)
    (inner / "other.toml").write_text("no TOML at all")
    (inner / "other.csv").write_text('"')
    (inner / "readings.csv").write_text("action,size,value\n")
    opened: list[str] = []
    real = Path.open

    def spy(self: Path, *args: object, **more: object) -> object:
        if tmp_path in self.parents:
            opened.append(self.name)
        return real(self, *args, **more)  # type: ignore[call-overload]

    monkeypatch.setattr(Path, "open", spy)
    scaler.load(inner)
    assert opened == ["model.toml", "parts.toml", "readings.csv"]
