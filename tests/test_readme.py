"""The README shows what the tool really prints."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
import tour
from click.testing import CliRunner

import scaler


def test_every_command_of_the_tour_prints_what_the_readme_shows() -> None:
    """Run in order in an empty folder, each block's output is the README's, to the letter."""
    text = tour.README.read_text(encoding="utf-8")
    assert len(tour.BLOCK.findall(text)) >= 5
    pictures: dict[str, str] = {}
    assert len(tour.QUOTED.findall(text)) == 1  # the table of benchmarks, to the letter too
    assert tour.tour(text, pictures) == text
    assert set(pictures) == set(tour.PICTURES)
    for name, picture in pictures.items():
        assert f"tests/pictures/{name}" in text
        assert tour.kept(name) == picture


def test_pictures_stand_alone() -> None:
    """Each is a whole drawing, with nothing fetched, in ink on a white ground."""
    for name in tour.PICTURES:
        picture = tour.kept(name)
        root = ElementTree.fromstring(picture)
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert root.find("{http://www.w3.org/2000/svg}title") is not None
        assert "href" not in picture and picture.count("http") == 1


def test_python_shown_runs_and_prints_what_it_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every block of Python in the README, one after the other, beside the tour's own model."""
    blocks = re.findall(r"```python\n(.*?)```", tour.README.read_text(encoding="utf-8"), re.DOTALL)
    assert blocks
    monkeypatch.chdir(tmp_path)
    CliRunner().invoke(tour.cli, ["start", "mill"], catch_exceptions=False)
    names: dict[str, object] = {}
    printed = []
    for block in blocks:
        exec(compile(block, "README.md", "exec"), names)  # noqa: S102 - our own text
        printed.append(capsys.readouterr().out.splitlines())
    model = names["model"]
    assert isinstance(model, scaler.Model)
    failures = scaler.check(model).failures()
    assert [line.split()[0] for line in printed[0]] == [found.statement.id for found in failures]
    assert len(names["frame"]) == len(model.sizes)  # type: ignore[arg-type]
    assert all(printed)
