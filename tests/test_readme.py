"""The README shows what the tool really prints."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
import tour
from click.testing import CliRunner

import scaler
from scaler.cli.main import COMMANDS


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
    *conflicts, chosen = printed[0]
    assert [line.split(":")[0] for line in conflicts] == [one.statement.id for one in failures]
    assert chosen.startswith("optimal") and Path("mill/choices.csv").exists()
    assert len(names["frame"]) == len(model.sizes)  # type: ignore[arg-type]
    assert all(printed)


def keys_of(entry: dict[str, Any]) -> set[str]:
    """The keys that the published schema has for an entry."""
    return set(entry.get("properties", {}))


def test_every_key_of_a_model_and_every_command_is_in_the_reference() -> None:
    """Each key of the published schema stands in the row of its entry, each command in the list."""
    text = tour.README.read_text(encoding="utf-8")
    schema = json.loads((tour.README.parent / "scaler" / "model.schema.json").read_text("utf-8"))
    rows = {
        name: re.search(rf"^\| `{re.escape(start)}.*$", text, re.MULTILINE)
        for name, start in {
            "model": "[model]", "drawing": "[drawing.", "part": "[part.", "size": "size.",
            "pair": "[pair.", "condition": "[condition.", "option": "[option.",
        }.items()
    }  # fmt: skip
    for name, row in rows.items():
        assert row is not None, name
        shown = set(re.findall(r"`(\w+)`", row.group(0)))
        assert keys_of(schema["$defs"][name]) - {"size"} <= shown, name
    for command in COMMANDS:
        assert f"| `scaler {command} " in text, command


def test_every_public_name_is_in_the_reference() -> None:
    """Each call of the library that is not a record stands in the section for scripts."""
    text = tour.README.read_text(encoding="utf-8")
    section = text[text.index("## From Python") : text.index("## Cautions")]
    calls = [name for name in scaler.__all__ if name.islower() and not name.startswith("_")]
    assert [name for name in calls if not re.search(rf"\b{name}\b", section)] == []
