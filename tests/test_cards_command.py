"""The commands that write pages: files, exit status, faults."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from scaler import examples
from scaler.cli import desk_commands


@pytest.fixture
def engine(tmp_path: Path) -> Path:
    """The shipped engine written out."""
    folder = tmp_path / "engine"
    examples.write_out("pattern_d", folder)
    return folder


def test_cards_writes_all_pages(engine: Path, tmp_path: Path) -> None:
    """One page a part, the index, all on one, and the report; every link leads to a file."""
    import re

    out = tmp_path / "cards"
    done = CliRunner().invoke(desk_commands.cards, [str(engine), "--out", str(out)])
    assert done.exit_code == 0, done.output
    names = {path.name for path in out.iterdir()}
    assert {"index.html", "all.html", "report.html", "axle.html", "boiler.html"} <= names
    assert len(names) == 39 + 3 and f"wrote {len(names)} pages" in done.output
    for path in out.iterdir():
        text = path.read_text(encoding="utf-8")
        assert text.startswith("<!doctype html>") and text.endswith("</html>\n")
        for link in re.findall(r'href="([^"#]+)"', text):
            assert link in names


def test_one_part_on_small_paper(engine: Path, tmp_path: Path) -> None:
    """--part and --paper; the report is left out."""
    out = tmp_path / "cards"
    done = CliRunner().invoke(
        desk_commands.cards, [str(engine), "--out", str(out), "--part", "axle", "--paper", "a5"]
    )
    assert done.exit_code == 0, done.output
    assert {path.name for path in out.iterdir()} == {"axle.html", "index.html", "all.html"}
    assert "size:A5 portrait" in (out / "axle.html").read_text(encoding="utf-8")


def test_status_says_whether_something_fails(engine: Path, tmp_path: Path) -> None:
    """Without its choices the engine's fits fail: pages are written all the same, status 1."""
    (engine / "choices.csv").unlink()
    out = tmp_path / "cards"
    done = CliRunner().invoke(desk_commands.cards, [str(engine), "--out", str(out)])
    assert done.exit_code == 1 and (out / "axle.html").exists()
    page = tmp_path / "r.html"
    done = CliRunner().invoke(desk_commands.report, [str(engine), "--out", str(page)])
    assert done.exit_code == 1 and "do not hold" in page.read_text(encoding="utf-8")
    assert "tight" in done.output


def test_faults_end_with_status_2(engine: Path, tmp_path: Path) -> None:
    """An unknown part, a folder that cannot be made, a model that is not there, a bad length."""
    out = str(tmp_path / "cards")
    (tmp_path / "file").write_text("x", encoding="utf-8")
    for arguments, words in (
        ([str(engine), "--out", out, "--part", "axel"], "did you mean 'axle'"),
        ([str(engine), "--out", str(tmp_path / "file" / "x")], "cannot be written"),
        ([str(tmp_path / "none"), "--out", out], "there is no such folder"),
        ([str(engine), "--out", out, "--kerf", "wide"], "--kerf"),
    ):
        done = CliRunner().invoke(desk_commands.cards, arguments)
        assert done.exit_code == 2 and words in done.output, done.output
    done = CliRunner().invoke(desk_commands.report, [str(tmp_path / "none")])
    assert done.exit_code == 2


def test_report_alone(engine: Path, tmp_path: Path) -> None:
    """One page; it links to no card."""
    page = tmp_path / "r.html"
    done = CliRunner().invoke(desk_commands.report, [str(engine), "--out", str(page)])
    assert done.exit_code == 0 and "41 pairs and conditions: 41 holds" in done.output
    assert "axle.html" not in page.read_text(encoding="utf-8")
