"""The commands that choose for the whole model."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from scaler.cli.main import cli


def run(*args: str) -> Result:
    """One call; an exception that is not an exit fails the test."""
    result = CliRunner().invoke(cli, list(args))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


@pytest.fixture
def mill(tmp_path: Path) -> str:
    """A starter model in a folder of its own."""
    folder = str(tmp_path / "mill")
    assert run("start", folder).exit_code == 0
    return folder


def test_substitute_makes_the_starter_hold_and_writes_only_when_asked(mill: str) -> None:
    """Conflicts before; none after --write; the person's own files are not touched."""
    own = (Path(mill) / "model.toml").read_bytes()
    assert run("check", mill).exit_code == 1
    first = run("substitute", mill, "--alternatives", "1")
    assert first.exit_code == 0
    assert "proved" in first.stdout
    assert "Alternatives" in first.stdout
    assert not (Path(mill) / "choices.csv").exists()
    assert "lines to choices.csv" in run("substitute", mill, "--write").stdout
    assert run("check", mill).exit_code == 0
    assert (Path(mill) / "model.toml").read_bytes() == own
    assert "more sizes stay as they were" in run("substitute", mill).stdout
    assert run("substitute", mill, "--all", "--units", "in").exit_code == 0


def test_substitute_contract(mill: str) -> None:
    """The keys for scripts, and CSV with a line a size."""
    data = json.loads(run("substitute", mill, "--format", "json").stdout)
    assert data["status"] == "optimal"
    assert data["gap"] == 0
    assert {"cost", "alternatives", "sizes", "pairs", "conditions", "conflicts"} <= set(data)
    assert len(run("substitute", mill, "--format", "csv").stdout.splitlines()) == 17


def test_a_step_is_said_only_where_the_size_stands_on_it(mill: str) -> None:
    """A last cut goes finer than the step of its rule, and the list says so; what is recorded is
    the method as the rule writes it."""
    data = json.loads(run("substitute", mill, "--format", "json").stdout)
    shown = run("substitute", mill).stdout
    fine = 0
    for choice in data["choices"]:
        name, _, step = choice["method"].partition(" step ")
        if not step:
            continue
        steps = Fraction(choice["chosen_mm_rational"]) / Fraction(step.removesuffix(" mm"))
        (line,) = [line for line in shown.splitlines() if line.startswith(f"{choice['size']} ")]
        said = choice["method"] if steps.denominator == 1 else f"{name}, last cut"
        fine += steps.denominator != 1
        assert line.endswith(f"  {said}") and choice["how"] == said
    assert fine
    way = run("check", mill, "--ways-out").stdout
    assert "mm for bush.outside (turned, last cut) instead of" in way


def test_what_cannot_hold_is_a_conflict_with_ways_out(mill: str) -> None:
    """Two fits of one pin and one bore that exclude each other: named, and the ways out."""
    with (Path(mill) / "model.toml").open("a", encoding="utf-8") as file:
        file.write(
            '\n[pair.too_much]\ninner = "shaft.journal"\nouter = "bush.bore"\n'
            'fit = "clearance 0.2 to 0.3 mm"\nbasis = "basic size"\n'
        )
    result = run("substitute", mill, "--write")
    assert result.exit_code == 1
    assert "no choice of rows and steps" in result.stdout
    assert "nothing was written" in result.stdout
    assert not (Path(mill) / "choices.csv").exists()
    assert "too_much" in result.stdout
    assert "way out 1" in result.stdout


def test_sweep_in_every_format_and_as_a_picture(mill: str, tmp_path: Path) -> None:
    """One line a scale, the best named; a picture; refusals in words."""
    ends = ("--from", "1:8", "--to", "1:9", "--steps", "2")
    picture = tmp_path / "sweep.png"
    shown = run("sweep", mill, *ends, "--picture", str(picture))
    assert shown.exit_code == 0
    assert "best of these: 1 : 8" in shown.stdout
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert len(json.loads(run("sweep", mill, *ends, "--format", "json").stdout)["points"]) == 2
    assert len(run("sweep", mill, *ends, "--format", "csv").stdout.splitlines()) == 3
    assert run("sweep", mill, "--from", "big", "--to", "1:9").exit_code == 2
    wrong = run("sweep", mill, *ends, "--picture", str(tmp_path / "sweep.gif"))
    assert wrong.exit_code == 2
    assert ".png or .svg" in wrong.stderr
