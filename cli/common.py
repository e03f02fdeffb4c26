"""What the commands share: options, reading with messages, and output in one of the formats."""

from __future__ import annotations

import json
import os
import re
import sys
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NoReturn, TypeVar

import click

from scaler.problems import UNSEEN, InputError, Problem, as_dict, render_full, render_line

F = TypeVar("F", bound=Callable[..., Any])

FORMATS = ("table", "json", "csv", "markdown")


class Figure(click.FloatRange):
    """A number of an option, between bounds; ``nan`` and ``inf`` are none."""

    name = "number"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """The number. Fails with what was read where it is none."""
        found = float(super().convert(value, param, ctx))
        if not -1e12 < found < 1e12:
            self.fail(f"{value!r} is no number that can be used", param, ctx)
        return found


def output_options(function: F) -> F:
    """``--format`` and ``--out``."""
    function = click.option(
        "--out",
        "out",
        type=click.Path(dir_okay=False, path_type=Path),
        help="Write to this file instead of the screen.",
    )(function)
    return click.option(
        "--format", "format_", type=click.Choice(FORMATS), default="table", show_default=True
    )(function)


def units_option(function: F) -> F:
    """``--units``: the workshop's own where not given."""
    return click.option(
        "--units",
        type=click.Choice(("mm", "in", "both")),
        default=None,
        help="Units of the tables; the model's own where not given.",
    )(function)


def model_argument(function: F) -> F:
    """``MODEL``: a folder or its first file."""
    return click.argument("model", type=click.Path(path_type=Path))(function)


def write(text: str, out: Path | None, whole: Sequence[Path] = ()) -> None:
    """Text to the screen, or to a file in one move: the old file or the new one, never half.

    ``whole``: files that the same command has written before it, for the message where it fails.
    """
    if not text.endswith("\n"):
        text += "\n"
    if out is None:
        if is_quiet():
            return
        if sys.stdout.isatty():  # what a file or a name holds must not give a terminal orders
            text = UNSEEN.sub(lambda odd: odd.group().encode("unicode_escape").decode(), text)
        click.echo(coloured(text) if wants_colour() else text, nl=False)
        return
    from scaler.writing import write_whole

    try:
        write_whole(out, text.encode("utf-8", "backslashreplace"))
    except OSError as error:
        unwritten(out, error, whole)


def unwritten(path: Path, error: OSError, whole: Sequence[Path] = ()) -> NoReturn:
    """Ends with what failed about a file or folder, what to do, and exit status 2."""
    from scaler.writing import unwritable

    show_problems(unwritable(path, error, whole=whole).problems)
    sys.exit(2)


VERDICT_COLOURS = {
    "holds": "green",
    "doubtful": "yellow",
    "tight": "red",
    "loose": "red",
    "fails": "red",
}
_VERDICT = re.compile(r"^(\s*\*? ?)(holds|doubtful|tight|loose|fails)\b", re.MULTILINE)


def wants_colour() -> bool:
    """Colour only on a terminal, and never where NO_COLOR is set (no-color.org)."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR")


def coloured(text: str) -> str:
    """Text with the verdicts at the beginning of lines in colour; the words stay as they are."""
    return _VERDICT.sub(
        lambda found: found.group(1) + click.style(found.group(2), VERDICT_COLOURS[found.group(2)]),
        text,
    )


class Progress:
    """One line of progress on the error stream: on a terminal, for what takes over a second.

    The line is put out again when the work is done, so that only the answer stays.
    """

    WAIT = 1.0
    """Seconds before anything is shown."""

    def __init__(self) -> None:
        self.begun = time.monotonic()
        self.shown = 0

    def __call__(self, what: str, done: int, whole: int) -> None:
        """Hears of a step (see :mod:`scaler.progress`)."""
        if done == 0:
            self.begun = time.monotonic()
        elif done >= whole:
            self.clear()
        elif time.monotonic() - self.begun >= self.WAIT and not is_quiet():
            line = f"{what}: {done} of {whole}"
            click.echo("\r" + line.ljust(self.shown), nl=False, err=True)
            self.shown = len(line)

    def clear(self) -> None:
        """Puts the line out."""
        if self.shown:
            click.echo("\r" + " " * self.shown + "\r", nl=False, err=True)
            self.shown = 0


@contextmanager
def showing_progress() -> Iterator[None]:
    """Progress is shown while this lasts, on a terminal and unless the command is to be quiet."""
    from scaler.progress import listening

    if not sys.stderr.isatty():
        yield
        return
    shown = Progress()
    try:
        with listening(shown):
            yield
    finally:
        shown.clear()


def say(text: str) -> None:
    """A word to the person, such as what was written where; nothing with ``--quiet``."""
    if not is_quiet():
        click.echo(text)


def is_quiet() -> bool:
    """Whether the command that runs was given ``--quiet``."""
    context = click.get_current_context(silent=True)
    return bool(context and context.meta.get("quiet"))


def quiet_option(function: F) -> F:
    """``--quiet``: no answer on the screen and no progress; files are written all the same."""
    return click.option(
        "--quiet",
        is_flag=True,
        expose_value=False,
        callback=_keep_quiet,
        help="Show nothing but problems of the input; files are written.",
    )(function)


def _keep_quiet(context: click.Context, parameter: click.Parameter, value: bool) -> None:
    """The flag, kept where :func:`is_quiet` and the group find it."""
    context.meta["quiet"] = value


def stop(message: str) -> NoReturn:
    """Ends with a message and exit status 2."""
    click.echo(message, err=True)
    sys.exit(2)


def refuse(error: InputError, format_: str = "table") -> NoReturn:
    """Shows every problem and ends with exit status 2; for scripts also as JSON."""
    if format_ == "json":
        click.echo(dumps({"problems": [as_dict(problem) for problem in error.problems]}))
    show_problems(error.problems)
    count = len(error.problems)
    click.echo(f"\n{count} problem{'s' if count != 1 else ''}; nothing was worked out", err=True)
    sys.exit(2)


def show_problems(problems: Sequence[Problem]) -> None:
    """Problems on the error stream: in full for a person, one a line for an editor."""
    short = os.environ.get("SCALER_PROBLEMS") == "line"
    blocks = [render_line(p) if short else render_full(p) for p in problems]
    click.echo(("\n" if short else "\n\n").join(blocks), err=True)


def load(path: Path, format_: str = "table", units: str | None = None) -> Any:
    """The model of a path, its texts in the units asked for; or its problems and exit status 2."""
    from scaler.reading.loading import load as load_model

    try:
        return shown_in(load_model(path), units)
    except InputError as error:
        refuse(error, format_)


def shown_in(model: Any, units: str | None) -> Any:
    """The model with its texts in the units asked for; the workshop's own where none are."""
    from dataclasses import replace

    return replace(model, shown_in=units) if units else model


def exact(value: float) -> Any:
    """A figure from the command line as the exact fraction that was written."""
    from scaler.catalogue import parse_number

    return parse_number(repr(value))


def dumps(value: Any) -> str:
    """JSON for scripts: readable, stable order, plain ASCII not forced."""
    return json.dumps(value, ensure_ascii=False, indent=2)


def table(
    format_: str, headings: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int] = ()
) -> str:
    """A table as text or as Markdown."""
    from scaler.report import markdown_table, text_table

    maker = markdown_table if format_ == "markdown" else text_table
    return maker(headings, rows, right)


def csv(rows: Sequence[Mapping[str, Any]]) -> str:
    """Dict rows as CSV."""
    from scaler.report import csv_table, flat_rows

    return csv_table(*flat_rows(rows))
