"""Commands that choose for the whole model: substitute and sweep."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from scaler.cli import common
from scaler.problems import InputError


@click.command()
@common.model_argument
@click.option("--write", is_flag=True, help="Record the choice in the model's choices.csv.")
@click.option("--alternatives", type=click.IntRange(0, 50), default=0, show_default=True)
@click.option("--seconds", type=common.Figure(0.1, 86400), default=60, show_default=True)
@click.option(
    "--slack",
    type=common.Figure(min=0),
    default=0.0,
    show_default=True,
    help="Cost that fewer sections and tools may spend.",
)
@click.option("--all", "everything", is_flag=True, help="Show unchanged sizes too.")
@click.option("--strict", is_flag=True, help="Exit status 1 also when something is doubtful.")
@common.quiet_option
@common.units_option
@common.output_options
def substitute(
    model: Path,
    write: bool,
    alternatives: int,
    seconds: float,
    slack: float,
    everything: bool,
    strict: bool,
    units: str | None,
    format_: str,
    out: Path | None,
) -> None:
    """The best choice of rows and steps for the whole of MODEL, so that everything fits.

    Nothing is changed unless --write is given; then lines are added to choices.csv beside the
    model, which check and all else honour. Where no choice can hold everything, the smallest
    conflict is named, and the ways out in order.
    """
    loaded = common.load(model, format_, units)
    from scaler.substitution.substitute import substitute as choose

    try:
        result = choose(
            loaded, seconds=seconds, alternatives=alternatives, slack=common.exact(slack)
        )
        if write and result.status in ("optimal", "feasible"):
            from scaler.substitution.write import write_choices

            written = (
                f"wrote {write_choices(result)} lines to choices.csv; scaler check now goes by them"
            )
        elif write:
            written = "nothing was written to choices.csv: there is no choice that holds everything"
        else:
            written = ""
    except InputError as error:
        common.refuse(error, format_)
    if format_ == "json":
        common.write(common.dumps(result.as_dict()), out)
    elif format_ == "csv":
        common.write(common.csv(result.as_dict()["choices"]), out)
    else:
        common.write(_text(loaded, result, written, everything, format_), out)
    status = result.exit_status()
    sys.exit(status or result.check.status(strict=strict))


def _text(
    loaded: Any,
    result: Any,
    written: str,
    everything: bool,
    format_: str,
) -> str:
    from scaler import tables
    from scaler.cli.model_commands import heading, titled
    from scaler.substitution import text as substitution_text

    unit = loaded.units
    text = f"{heading(format_, loaded, unit)}\n{substitution_text.status_text(result)}\n"
    if result.status in ("optimal", "feasible"):
        text += "\n"
        grid = substitution_text.choices_grid(result, unit, changed=not everything)
        if grid.rows:
            text += common.table(format_, grid.headings, grid.rows, grid.right) + "\n\n"
        left = len(result.choices) - len(grid.rows)
        if left:
            text += f"{left} more sizes stay as they were\n"
        text += tables.counts_text(result.check) + "\n"
        text += titled(format_, "Before cutting", tables.workability_text(result.check, unit))
        text += titled(format_, "Order of preference", substitution_text.levels_text(result))
        text += titled(format_, "Notes", tables.notes_text(result.check.findings, unit))
    text += titled(format_, "Conflicts", substitution_text.conflicts_text(result))
    text += titled(format_, "Alternatives", substitution_text.alternatives_text(result, unit))
    text += titled(
        format_, "What each requirement costs in looks", substitution_text.prices_text(result)
    )
    text += titled(format_, "Proof", "\n".join(f"* {note}" for note in result.notes))
    text += titled(format_, "Cautions", tables.cautions_text(result.check.reduction.cautions))
    if written:
        text += f"\n{written}\n"
    return text


@click.command()
@common.model_argument
@click.option("--from", "first", required=True, help="One end: 1:11, or 1 in : 1 ft.")
@click.option("--to", "last", required=True, help="The other end: 1:12.")
@click.option("--steps", type=click.IntRange(2, 200), default=9, show_default=True)
@click.option("--seconds", type=common.Figure(0.1, 86400), default=60, show_default=True)
@click.option(
    "--picture",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Departure and conflicts over the scale, as PNG or SVG.",
)
@common.quiet_option
@common.output_options
def sweep(
    model: Path,
    first: str,
    last: str,
    steps: int,
    seconds: float,
    picture: Path | None,
    format_: str,
    out: Path | None,
) -> None:
    """How least departure and conflicts of MODEL vary over a range of scales; the best few."""
    loaded = common.load(model, format_)
    from scaler.substitution.sweep import ratio_of
    from scaler.substitution.sweep import sweep as sweep_scales

    for option, text in (("--from", first), ("--to", last)):
        try:
            ratio_of(text)
        except ValueError as error:
            common.stop(f"{option}: {error}")
    try:
        found = sweep_scales(loaded, first, last, steps, seconds=seconds)
        if picture:
            from scaler.substitution.picture import draw_sweep

            draw_sweep(found, picture)
    except InputError as error:
        common.refuse(error, format_)
    except ValueError as error:
        common.stop(str(error))
    if format_ == "json":
        common.write(common.dumps(found.as_dict()), out)
        return
    if format_ == "csv":
        common.write(common.csv(found.as_dict()["points"]), out)
        return
    from scaler.substitution import text as substitution_text

    grid = substitution_text.sweep_grid(found)
    best = ", ".join(point.text for point in found.best())
    text = f"{loaded.title}\n\n{common.table(format_, grid.headings, grid.rows, grid.right)}\n\n"
    common.write(f"{text}best of these: {best}", out)
