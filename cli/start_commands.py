"""Commands that begin: a starter model, and the shipped example."""

from __future__ import annotations

from pathlib import Path

import click

from scaler.cli import common
from scaler.problems import InputError


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
def start(folder: Path) -> None:
    """Write a commented starter model into DIR (new or empty). It already runs."""
    from scaler.examples import write_out

    try:
        written = write_out("starter", folder)
    except InputError as error:
        common.refuse(error)
    for path in written:
        click.echo(f"wrote {path}")
    click.echo(f"\nnext: scaler check {folder}\nthen change the files to your own model")


@click.command()
@click.argument("folder", metavar="[DIR]", type=click.Path(path_type=Path), required=False)
@common.units_option
@common.output_options
def demo(folder: Path | None, units: str | None, format_: str, out: Path | None) -> None:
    """Run the shipped example: an invented engine, at exact scale, rounded size by size, and chosen.

    With DIR the model's files are written there (new or empty), to look at and to change.
    """
    from scaler import examples
    from scaler.checking.conflicts import check as check_model
    from scaler.cli.model_commands import STAGES, heading, titled

    try:
        written = examples.write_out("pattern_d", folder) if folder is not None else ()
        model = common.shown_in(examples.load("pattern_d"), units)
        results = [check_model(model, stage) for stage in STAGES]
    except InputError as error:
        common.refuse(error, format_)
    chosen = results[-1]
    if format_ == "json":
        answer = chosen.as_dict()
        answer["stages"] = {str(result.stage): result.as_dict() for result in results}
        common.write(common.dumps(answer), out)
        return
    if format_ == "csv":
        rows = [{"stage": str(result.stage), **row} for result in results for row in result.rows()]
        common.write(common.csv(rows), out)
        return
    from scaler import tables

    unit = model.units
    grid = tables.compare_grid(results, unit)
    drawn = sum(1 for size in model.sizes.values() if size.full is not None)
    text = heading(format_, model, unit) + "\n"
    text += f"{drawn} sizes drawn full size, {len(model.parts)} parts, one drawer of stock\n\n"
    text += common.table(format_, grid.headings, grid.rows, grid.right) + "\n\n"
    text += "\n".join(tables.counts_text(result) for result in results) + "\n"
    text += titled(
        format_, "What rounding each size alone broke", tables.causes_text(results[1], unit)
    )
    text += titled(format_, "Cautions", tables.cautions_text(chosen.reduction.cautions))
    if written and folder is not None:
        text += f"\nwrote {len(written)} files to {folder}; next: scaler check {folder}\n"
    common.write(text, out)
