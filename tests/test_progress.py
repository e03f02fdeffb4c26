"""Progress: told by the library, shown by the command line on a terminal, after a second."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

import scaler
from scaler import examples
from scaler.cards.cards import card_pages, make_cards
from scaler.chains.chain import chain
from scaler.cli.common import Progress, showing_progress
from scaler.cli.main import cli
from scaler.desk.materials_list import materials
from scaler.progress import listening, told
from scaler.settling.reduce import reduce
from scaler.substitution.substitute import substitute
from scaler.substitution.sweep import sweep


@pytest.fixture(scope="module")
def mill(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The starter model."""
    folder = tmp_path_factory.mktemp("mill") / "m"
    examples.write_out("starter", folder)
    return folder


WORK: dict[str, Callable[[scaler.Model], object]] = {
    "pairs and conditions": scaler.check,
    "independent parts of the choice": substitute,
    "scales": lambda model: sweep(model, "1:8", "1:9", 2),
    "lots of draws": lambda model: chain(model, "roller_end_play", draws=300_000),
    "sections to pack": lambda model: materials(reduce(model)),
    "cards": lambda model: card_pages(make_cards(scaler.check(model))),
}


@pytest.mark.parametrize("what", WORK)
def test_long_work_tells_how_far_it_is(what: str, mill: Path) -> None:
    """Each kind of work counts from nought to all of its steps, one by one."""
    heard: list[tuple[str, int, int]] = []
    model = scaler.load(mill)
    with listening(lambda *said: heard.append(said)):
        WORK[what](model)
    mine = [(done, whole) for name, done, whole in heard if name == what]
    assert mine
    (whole,) = {whole for _, whole in mine}
    assert [done for done, _ in mine] == list(range(whole + 1))


def test_the_answer_is_the_same_with_a_listener(mill: Path) -> None:
    """Listening changes nothing."""
    model = scaler.load(mill)
    plain = scaler.check(model).as_dict()
    with listening(lambda *said: None):
        assert scaler.check(model).as_dict() == plain


def test_only_the_outermost_steps_are_told() -> None:
    """Steps inside steps are not told, and those after them are again."""
    heard: list[str] = []
    with listening(lambda what, done, whole: heard.append(f"{what} {done}")):
        for _ in told([1], "outer"):
            list(told([1, 2], "inner"))
        list(told([1], "after"))
    assert heard == ["outer 0", "outer 1", "after 0", "after 1"]


def test_nothing_is_told_without_a_listener_and_a_broken_loop_gives_it_back() -> None:
    """A loop that ends early leaves the listener as it was."""
    assert list(told("ab", "letters")) == ["a", "b"]
    heard: list[str] = []
    with listening(lambda what, done, whole: heard.append(what)):
        with pytest.raises(ZeroDivisionError):
            [1 // item for item in told([0], "broken")]
        list(told([1], "after"))
    assert heard[-1] == "after"


def test_shown_after_a_second_and_put_out_again(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing in the first second; then one line, which is gone when the work is done."""
    now = [100.0]
    monkeypatch.setattr("time.monotonic", lambda: now[0])
    shown = Progress()
    shown("scales", 0, 3)
    now[0] += 0.5
    shown("scales", 1, 3)
    assert capsys.readouterr().err == ""
    now[0] += 0.6
    shown("scales", 2, 3)
    assert capsys.readouterr().err == "\rscales: 2 of 3"
    shown("scales", 3, 3)
    assert capsys.readouterr().err == "\r" + " " * 14 + "\r"


def test_nothing_goes_into_a_file(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the error stream is no terminal nobody listens."""
    monkeypatch.setattr(Progress, "WAIT", 0.0)
    with showing_progress():
        list(told([1, 2, 3], "steps"))
    assert capsys.readouterr().err == ""


def on_a_terminal(command: list[str]) -> str:
    """What a command puts on its error stream where that is a terminal; nothing is waited for."""
    code = textwrap.dedent(
        """
        import sys
        from scaler.cli import common
        from scaler.cli.main import main
        common.Progress.WAIT = 0.0
        main(sys.argv[1:])
        """
    )
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-c", code, *command], stdout=subprocess.DEVNULL, stderr=theirs
    )
    os.close(theirs)
    found = b""
    while True:
        try:
            piece = os.read(ours, 4096)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        found += piece
    os.close(ours)
    process.wait(timeout=60)
    return found.decode()


def test_on_a_terminal_it_is_shown_and_quiet_stops_it(mill: Path) -> None:
    """A real terminal: the line grows; with --quiet the terminal stays empty."""
    shown = on_a_terminal(["check", str(mill)])
    assert "pairs and conditions: 1 of 7" in shown and shown.endswith("\r")
    assert on_a_terminal(["check", "--quiet", str(mill)]) == ""


@pytest.mark.parametrize(
    "command",
    [
        ["check"],
        ["materials"],
        ["cards", "--out", "pages"],
        ["report", "--out", "report.html"],
        ["substitute"],
        ["chain", "roller_end_play"],
        ["sweep", "--from", "1:8", "--to", "1:9", "--steps", "2"],
    ],
)
def test_quiet_shows_nothing_and_keeps_the_status(
    command: list[str], mill: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """--quiet: not a word, the same exit status, and files written all the same."""
    monkeypatch.chdir(tmp_path)
    name, *rest = command
    loud = CliRunner().invoke(cli, [name, str(mill), *rest])
    quiet = CliRunner().invoke(cli, [name, str(mill), *rest, "--quiet"])
    assert loud.output and quiet.output == ""
    assert quiet.exit_code == loud.exit_code
    if name == "cards":
        assert (tmp_path / "pages" / "index.html").exists()
