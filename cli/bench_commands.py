"""Commands at the bench: measure, next."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any, NoReturn

import click

from scaler.cli import common
from scaler.cli.model_commands import heading, titled
from scaler.problems import InputError


def _mended(model: Path) -> None:
    """Takes a line that a crash cut short out of the log of readings, and says so."""
    from scaler.as_made import append_log
    from scaler.reading.files import READINGS_FILE

    folder = model if model.is_dir() else model.parent
    try:
        torn = append_log.mend(folder / READINGS_FILE)
    except InputError as error:
        common.refuse(error)
    if torn is not None:
        common.show_problems([torn])


def _usage(message: str) -> NoReturn:
    raise click.UsageError(message)


@click.command()
@common.model_argument
@click.argument("size")
@click.argument("value", required=False)
@click.option("--copy", default="", help="Which copy of the part it is (left, right, no_1 …).")
@click.option("--with", "instrument", default="", help="What it was read with (micrometer …).")
@click.option("--note", default="", help="A note to keep with the reading.")
@click.option("--undo", is_flag=True, help="Take the standing reading back, by a line of its own.")
@click.option("--sure", is_flag=True, help="Record it even where it looks wrong.")
@click.option("--try", "dry", is_flag=True, help="Show what it would change; record nothing.")
@click.option("--strict", is_flag=True, help="Exit status 1 also when something is doubtful.")
@common.units_option
@common.output_options
def measure(
    model: Path,
    size: str,
    value: str | None,
    copy: str,
    instrument: str,
    note: str,
    undo: bool,
    sure: bool,
    dry: bool,
    strict: bool,
    units: str | None,
    format_: str,
    out: Path | None,
) -> None:
    """Record the VALUE that SIZE (part.size, or part.size@copy) of MODEL was measured at.

    Shows which verdicts and sizes it changes, what each part not made yet must become, and the ways
    out of what no longer holds. A bare number is in the unit the workshop works in. Every reading
    is one line of readings.csv beside the drawing; a correction is a new line. The exit status is
    that of check on the model as it then stands.
    """
    if undo and (value is not None or dry):
        _usage("--undo takes no value and cannot be tried")
    if not undo and value is None:
        _usage("give the value that was read, or --undo")
    _mended(model)
    loaded = common.load(model, format_, units)
    from scaler.as_made import append_log
    from scaler.as_made import measuring as as_made
    from scaler.as_made.whole_model import WholeModel

    propose = WholeModel()
    try:
        bench = as_made.Workbench(loaded)
        if undo:
            name, _, own = size.partition("@")
            back = as_made.take_back(loaded, size, copy, note)
            change = bench.put(name, copy or own, back, propose=propose)
        else:
            assert value is not None
            reading = bench.read(
                size,
                value,
                copy=copy,
                instrument=instrument,
                note=append_log.one_line(note),
                time=append_log.now(),
                sure=sure,
            )
            if not dry:
                done = as_made.record(loaded, reading, value)
                reading = as_made.placed(reading, done.line)
            change = bench.put(reading.size, reading.copy, reading, propose=propose)
    except InputError as error:
        common.refuse(error, format_)
    unit = loaded.units
    if format_ == "json":
        answer = {**change.as_dict(), "recorded": not dry, "taken_back": undo}
        common.write(common.dumps(answer), out)
    elif format_ == "csv":
        common.write(common.csv(change.as_dict()["hangs_on_it"]), out)
    else:
        from scaler.as_made.text import change_text

        text = change_text(change, unit)
        if undo and change.reading is not None:
            text = f"the last reading of {change.name} is taken back; the one before stands\n{text}"
        if dry:
            text += "\n\nNothing was recorded."
        common.write(f"```\n{text}\n```" if format_ == "markdown" else text, out)
    sys.exit(change.status(strict=strict))


@click.command("next")
@common.model_argument
@click.argument("size", required=False)
@click.option("--all", "everything", is_flag=True, help="The whole order, with the reasons.")
@click.option("--copy", default="", help="Which copy of the part is in the machine.")
@click.option("--now", default="", help="What SIZE reads now: show the cuts from there.")
@click.option(
    "--passes",
    default="",
    metavar="ROUGH,FINISH…",
    help="Depths of cut: the heaviest roughing cut, then the finishing cuts ('0.5, 0.1 mm').",
)
@click.option("--about-centre", is_flag=True, help="Half from each of two faces.")
@click.option("--one-face", is_flag=True, help="All from one face, also where the size is round.")
@click.option("--least", default="", help="The thinnest cut the tool takes.")
@click.option("--zero", default="", help="Figure of the dial where it was set (0 where not given).")
@click.option("--zero-at", type=click.Choice(("surface", "centre")), default="surface")
@click.option("--falls", is_flag=True, help="The figure falls as the tool goes in.")
@click.option("--dial", type=click.Choice(("depth", "diameter")), default="depth")
@click.option("--graduation", default="", help="One division of the dial; cuts are kept to it.")
@common.units_option
@common.output_options
def next_(
    model: Path,
    size: str | None,
    everything: bool,
    copy: str,
    now: str,
    passes: str,
    about_centre: bool,
    one_face: bool,
    least: str,
    zero: str,
    zero_at: str,
    falls: bool,
    dial: str,
    graduation: str,
    units: str | None,
    format_: str,
    out: Path | None,
) -> None:
    """What of MODEL to make next, to which figures, and why then.

    SIZE (or the name of a part) asks for that part instead. With --now, the cuts that are left on
    SIZE: how much from each face, in roughing and finishing cuts, what to set the dial to, and what
    it should read after each.
    """
    if now and not size:
        _usage("--now needs the SIZE that it is of")
    if about_centre and one_face:
        _usage("--about-centre and --one-face are at odds")
    _mended(model)
    loaded = common.load(model, format_, units)
    unit = loaded.units
    part = _part_of(loaded, size, format_)
    from scaler.as_made.making_order import making_order

    try:
        order = making_order(loaded, part=part)
        plan = None
        if now:
            assert size is not None
            asked = _Asked(now, passes, least, zero, zero_at, falls, dial, graduation)
            plan = _plan(loaded, size, copy, about_centre, one_face, asked)
    except InputError as error:
        common.refuse(error, format_)
    _show(loaded, order, part, plan, everything, unit, format_, out)


class _Asked:
    """The options of the cuts, as they were given."""

    def __init__(
        self,
        now: str,
        passes: str,
        least: str,
        zero: str,
        zero_at: str,
        falls: bool,
        dial: str,
        graduation: str,
    ) -> None:
        self.now, self.passes, self.least, self.zero = now, passes, least, zero
        self.zero_at, self.falls, self.dial, self.graduation = zero_at, falls, dial, graduation


def _part_of(loaded: Any, size: str | None, format_: str) -> str:
    if not size:
        return ""
    from scaler.as_made.input import known_part

    try:
        return known_part(loaded, size)
    except InputError as error:
        common.refuse(error, format_)


def _plan(
    loaded: Any, name: str, copy: str, about_centre: bool, one_face: bool, asked: _Asked
) -> Any:
    """The cuts from what a size reads now to what it must become."""
    from scaler.as_made.cuts import cuts_left

    return cuts_left(
        loaded,
        name,
        asked.now,
        copy=copy,
        passes=asked.passes,
        about_centre=about_centre,
        one_face=one_face,
        least=asked.least,
        zero=asked.zero,
        zero_at=asked.zero_at,
        rises=not asked.falls,
        on=asked.dial,
        graduation=asked.graduation,
    )


def _show(
    loaded: Any,
    order: Any,
    part: str,
    plan: Any,
    everything: bool,
    unit: str,
    format_: str,
    out: Path | None,
) -> None:
    from scaler import tables
    from scaler.as_made import text as as_made_text

    steps = order.of_part(part) if part else order.next
    if format_ == "json":
        answer = order.as_dict()
        if part:
            answer["next"] = [step.as_dict() for step in steps]
        answer["passes"] = plan.as_dict() if plan is not None else None
        common.write(common.dumps(answer), out)
        return
    if format_ == "csv":
        rows = [step.as_dict() for step in (order.steps if everything else steps)]
        if plan is not None:
            rows = plan.as_dict()["passes"]
        common.write(common.csv(rows), out)
        return
    text = heading(format_, loaded) + "\n"
    if not order.steps:
        common.write(text + "everything is made\n", out)
        return
    if everything:
        grid = as_made_text.order_grid(order.steps)
    else:
        grid = as_made_text.next_grid(order, steps, unit)
        chosen = part or order.steps[0].part
        title = loaded.parts[chosen].title
        text += f"next: {chosen}" + (f", {title}" if title else "") + "\n\n"
        if not steps:
            text += "all its sizes are made\n"
    if grid.rows:
        text += common.table(format_, grid.headings, grid.rows, grid.right) + "\n"
    if plan is not None:
        grid = as_made_text.passes_grid(plan, unit)
        body = as_made_text.passes_text(plan, unit)
        if grid.rows:
            body += "\n\n" + common.table(format_, grid.headings, grid.rows, grid.right)
        text += titled(format_, "What is left to come off", body)
    ways = "\n".join(f"* {way.text}" for way in order.ways[:6])
    text += titled(format_, "What does not hold, and the ways out", ways)
    text += titled(format_, "Cautions", tables.cautions_text(order.cautions))
    common.write(text, out)
