"""Commands on a model: reduce, check, explain."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from scaler.cli import common
from scaler.problems import InputError

STAGES = ("exact", "rounded", "chosen")


def titled(format_: str, title: str, body: str) -> str:
    """A titled block of a text or Markdown answer; '' where there is nothing to show."""
    if not body:
        return ""
    return f"\n## {title}\n\n{body}\n" if format_ == "markdown" else f"\n{title}\n{body}\n"


UNIT_WORDS = {"mm": "mm", "in": "inches", "both": "mm, inches in brackets"}


def heading(format_: str, model: Any, units: str = "") -> str:
    """Title and scale of the model, and what the figures of its tables are in."""
    text = f"{model.title}\nscale {model.scale.read_as}"
    if units:
        text += f"; lengths in {UNIT_WORDS[units]}"
    return f"# {text.replace(chr(10), chr(10) * 2)}\n" if format_ == "markdown" else f"{text}\n"


MOST_WAYS = 3
"""Ways out that check shows for one conflict, at most."""


@click.command()
@common.model_argument
@click.option(
    "--as",
    "stage",
    type=click.Choice(STAGES),
    default="chosen",
    show_default=True,
    help="exact scale, each size rounded alone, or as chosen.",
)
@click.option("--as-drawn", is_flag=True, help="Leave readings of made sizes out.")
@common.units_option
@common.output_options
def reduce(
    model: Path, stage: str, as_drawn: bool, units: str | None, format_: str, out: Path | None
) -> None:
    """Every size of MODEL: full size, exact, chosen, departure, limits, and how it came about."""
    loaded = common.load(model, format_, units)
    from scaler.settling.reduce import reduce as reduce_model

    try:
        reduction = reduce_model(loaded, stage, as_drawn=as_drawn)
        found = {}
        if format_ == "json":  # scripts read pairs and conditions here as in check
            from scaler.checking.conflicts import check as check_model

            whole = check_model(loaded, stage, as_drawn=as_drawn).as_dict()
            found = {key: whole[key] for key in ("pairs", "conditions", "conflicts")}
    except InputError as error:
        common.refuse(error, format_)
    if format_ == "json":
        common.write(common.dumps({**reduction.as_dict(), **found}), out)
    elif format_ == "csv":
        common.write(common.csv(reduction.as_dict()["sizes"]), out)
    else:
        from scaler import tables

        grid = tables.sizes_grid(reduction, loaded.units)
        text = heading(format_, loaded, loaded.units) + "\n"
        text += common.table(format_, grid.headings, grid.rows, grid.right) + "\n"
        text += titled(format_, "Look at these", tables.warnings_text(reduction.notes))
        text += titled(format_, "Cautions", tables.cautions_text(reduction.cautions))
        common.write(text, out)


@click.command()
@common.model_argument
@click.option(
    "--as",
    "stage",
    type=click.Choice(STAGES),
    default="chosen",
    show_default=True,
    help="exact scale, each size rounded alone, or as chosen.",
)
@click.option(
    "--side-by-side", is_flag=True, help="All three of them beside each other, at basic sizes."
)
@click.option("--as-drawn", is_flag=True, help="Leave readings of made sizes out.")
@click.option("--ways-out", is_flag=True, help="Look for ways out of what fails as chosen.")
@click.option("--strict", is_flag=True, help="Exit status 1 also when something is doubtful.")
@common.quiet_option
@click.option("--watch", is_flag=True, help="Check again whenever a file of the model is saved.")
@common.units_option
@common.output_options
def check(
    model: Path,
    stage: str,
    side_by_side: bool,
    as_drawn: bool,
    ways_out: bool,
    strict: bool,
    watch: bool,
    units: str | None,
    format_: str,
    out: Path | None,
) -> None:
    """Every pair and condition of MODEL, with its verdict, the cause, and each conflict in words."""

    def once() -> int:
        return _check(model, stage, side_by_side, as_drawn, ways_out, strict, units, format_, out)

    if ways_out and (stage != "chosen" or as_drawn or side_by_side):
        common.stop("--ways-out goes with the sizes as chosen and made, and with nothing else")

    if watch:
        from scaler.cli.watching import watch_model

        watch_model(model, once)
        return
    sys.exit(once())


def _check(
    model: Path,
    stage: str,
    side_by_side: bool,
    as_drawn: bool,
    ways_out: bool,
    strict: bool,
    units: str | None,
    format_: str,
    out: Path | None,
) -> int:
    """One check, shown or written; its exit status."""
    loaded = common.load(model, format_, units)
    from scaler.checking.conflicts import check as check_model

    try:
        result = check_model(loaded, stage, as_drawn=as_drawn, ways_out=MOST_WAYS * ways_out)
        others = (
            [check_model(loaded, other, as_drawn=as_drawn) for other in STAGES]
            if side_by_side
            else []
        )
    except InputError as error:
        common.refuse(error, format_)
    if out is None and common.is_quiet():
        return result.status(strict=strict)
    if format_ == "json":
        answer = result.as_dict()
        if others:
            answer["stages"] = {str(other.stage): other.as_dict() for other in others}
        common.write(common.dumps(answer), out)
    elif format_ == "csv":
        rows = [
            {"stage": str(item.stage), **row} if others else row
            for item in others or [result]
            for row in item.rows()
        ]
        common.write(common.csv(rows), out)
    else:
        common.write(check_text(loaded, result, others, units, format_), out)
    return result.status(strict=strict)


def check_text(loaded: Any, result: Any, others: list[Any], units: str | None, format_: str) -> str:
    """The answer of ``check`` for a person."""
    from scaler import tables

    unit = loaded.units
    text = heading(format_, loaded, unit) + "\n"
    if others:
        grid = tables.compare_grid(others, unit)
    else:
        grid = tables.findings_grid(result.findings, unit)
    text += common.table(format_, grid.headings, grid.rows, grid.right) + "\n\n"
    text += "\n".join(tables.counts_text(item) for item in others or [result]) + "\n"
    if not others:
        text += titled(format_, "Conflicts", tables.conflicts_text(result))
        text += titled(format_, "Before cutting", tables.workability_text(result, unit))
        text += titled(format_, "Notes", tables.notes_text(result.findings, unit))
        text += titled(format_, "Look at these", tables.warnings_text(result.reduction.notes))
        text += titled(format_, "Cautions", tables.cautions_text(result.reduction.cautions))
    return text


@click.command()
@common.model_argument
@click.argument("size")
@click.option("--as-drawn", is_flag=True, help="Leave readings of made sizes out.")
@common.units_option
@common.output_options
def explain(
    model: Path, size: str, as_drawn: bool, units: str | None, format_: str, out: Path | None
) -> None:
    """Where the number of SIZE (part.size) comes from, and which pairs and conditions hang on it."""
    loaded = common.load(model, format_, units)
    from scaler.checking.explaining import explain as explain_size

    try:
        explanation = explain_size(loaded, size, as_drawn=as_drawn)
    except InputError as error:
        common.refuse(error, format_)
    if format_ == "json":
        common.write(common.dumps(explanation.as_dict()), out)
    elif format_ == "csv":
        common.write(common.csv(explanation.as_dict()["steps"]), out)
    else:
        from scaler import tables

        text = tables.explanation_text(explanation, loaded.units)
        common.write(f"```\n{text}\n```" if format_ == "markdown" else text, out)
