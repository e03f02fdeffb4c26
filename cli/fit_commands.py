"""The command on fits: which side to make first, cold and hot, and pressed."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from scaler.cli import common
from scaler.problems import InputError


@click.command()
@common.model_argument
@click.argument("pair", required=False, default="")
@click.option("--celsius", default="", help="Temperature of all parts, in degrees Celsius.")
@click.option(
    "--hot", multiple=True, metavar="PART=°C", help="Temperature of one part; may be repeated."
)
@click.option(
    "--material",
    "materials",
    multiple=True,
    metavar="PART=NAME",
    help="Material of a part, in place of the model's; may be repeated.",
)
@click.option("--hub", default="", metavar="LENGTH", help="Outside of the hub, for a press fit.")
@click.option("--bore", default="", metavar="LENGTH", help="Bore of the shaft, for a press fit.")
@click.option("--length", default="", metavar="LENGTH", help="Length of a press fit.")
@click.option("--shrunk", is_flag=True, help="Friction of a fit put together hot, not pressed.")
@click.option(
    "--count",
    type=click.IntRange(1, 100),
    default=3,
    show_default=True,
    help="How many fits of each published set.",
)
@click.option("--strict", is_flag=True, help="Exit status 1 also when something is doubtful.")
@common.units_option
@common.output_options
def fits(
    model: Path,
    pair: str,
    celsius: str,
    hot: tuple[str, ...],
    materials: tuple[str, ...],
    hub: str,
    bore: str,
    length: str,
    shrunk: bool,
    count: int,
    strict: bool,
    units: str | None,
    format_: str,
    out: Path | None,
) -> None:
    """The fits of MODEL, or of one PAIR: which side to make first, hot as well as cold, pressed.

    With --celsius or --hot each pair is shown hot as well. Pairs with interference are shown as
    press fits. The figures are a guide, never an approval.
    """
    loaded = common.load(model, format_, units)
    from scaler.fitting.fit_report import Wanted, read_celsius, read_pairs
    from scaler.fitting.fit_report import fits as fits_of

    try:
        sizes = [_length(text, loaded.work_unit) for text in (hub, bore, length)]
        wanted = Wanted(
            celsius=read_celsius(celsius) if celsius else None,
            parts={part: read_celsius(text) for part, text in read_pairs(hot, "--hot").items()},
            materials=read_pairs(materials, "--material"),
            hub_outside=sizes[0],
            shaft_bore=sizes[1],
            length=sizes[2],
            how="shrunk" if shrunk else "pressed",
            count=count,
        )
        report = fits_of(loaded, pair, wanted)
    except InputError as error:
        common.refuse(error, format_)
    if format_ == "json":
        common.write(common.dumps(report.as_dict()), out)
    elif format_ == "csv":
        common.write(common.csv(report.rows()), out)
    else:
        common.write(_text(loaded, report, loaded.units, format_, bool(pair)), out)
    sys.exit(report.status(strict=strict))


def _length(text: str, unit: str) -> Any:
    from scaler.measures.lengths import LengthError, parse_length
    from scaler.problems import Problem

    if not text:
        return None
    try:
        return parse_length(text, unit).mm
    except LengthError as error:
        raise InputError(
            [
                Problem(
                    "unreadable-length",
                    str(error),
                    read=text,
                    expected=getattr(error, "expected", ""),
                    advice=getattr(error, "advice", ""),
                )
            ]
        ) from error


def _text(model: Any, report: Any, units: str, format_: str, detail: bool) -> str:
    from scaler import tables
    from scaler.cli.model_commands import heading, titled
    from scaler.fitting import fit_tables

    def shown(grid: Any) -> str:
        return common.table(format_, grid.headings, grid.rows, grid.right) if grid.rows else ""

    text = heading(format_, model, units) + "\n"
    text += shown(fit_tables.fits_grid(report, units)) + "\n"
    if report.wanted.hot:
        text += titled(format_, "Hot", shown(fit_tables.hot_grid(report, units)))
    text += titled(format_, "Press fits", shown(fit_tables.press_grid(report, units)))
    text += titled(format_, "What to do", fit_tables.advice_text(report))
    if detail:
        for fit in report.pairs:
            title = f"Published fits near {fit.advice.pair}"
            text += titled(format_, title, shown(fit_tables.near_grid(fit, units)))
    return text + titled(format_, "Cautions", tables.cautions_text(report.cautions))
