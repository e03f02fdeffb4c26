"""The command for tolerance chains."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from scaler.cli import common
from scaler.problems import InputError


@click.command()
@common.model_argument
@click.argument("name", required=False)
@click.option("--draws", type=click.IntRange(0, 100_000_000), default=100_000, show_default=True)
@click.option("--seed", type=int, default=1, show_default=True, help="Where the draws start.")
@click.option(
    "--distribution",
    type=click.Choice(("normal", "uniform", "triangular")),
    default="normal",
    show_default=True,
)
@click.option("--capability", default="1", show_default=True, help="1: limits are ±3 deviations.")
@click.option("--mean-shift", default="0", show_default=True, help="In standard deviations.")
@click.option(
    "--basis",
    type=click.Choice(("stated", "both limits")),
    default="stated",
    show_default=True,
    help="As each chain is kept, or parts picked blindly.",
)
@click.option(
    "--allocate",
    type=click.Choice(("worst case", "root sum square")),
    help="Tolerances for the contributors that meet the closing limits at least cost.",
)
@click.option("--as-drawn", is_flag=True, help="Leave readings of made sizes out.")
@click.option(
    "--bars", type=click.Path(dir_okay=False, path_type=Path), help="Contributors, as PNG or SVG."
)
@click.option(
    "--histogram", type=click.Path(dir_okay=False, path_type=Path), help="The draws, as PNG or SVG."
)
@click.option(
    "--zones",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Tolerance zones of a pair, as PNG or SVG.",
)
@common.quiet_option
@common.units_option
@common.output_options
def chain(
    model: Path,
    name: str | None,
    draws: int,
    seed: int,
    distribution: str,
    capability: str,
    mean_shift: str,
    basis: str,
    allocate: str | None,
    as_drawn: bool,
    bars: Path | None,
    histogram: Path | None,
    zones: Path | None,
    units: str | None,
    format_: str,
    out: Path | None,
) -> None:
    """Tolerance chains of MODEL: NAME is a pair, a condition or an expression of sizes.

    Without NAME every pair and condition, one line each. Worst case, root sum square, random draws,
    each size's share, the chance of going together, and what to tighten first.
    """
    loaded = common.load(model, format_, units)
    from scaler.chains import chain as chains

    options: dict[str, Any] = {
        "draws": draws if name else min(draws, 10_000),
        "seed": seed,
        "distribution": distribution,
        "capability": capability,
        "mean_shift": mean_shift,
        "basis": basis,
        "as_drawn": as_drawn,
    }
    unit = loaded.units
    try:
        if name is None:
            _all(chains.chains(loaded, **options), unit, format_, out)
            return
        found = chains.chain(loaded, name, **options)
        allocation = _allocated(found, allocate)
        _pictures(loaded, found, name, bars, histogram, zones, as_drawn)
    except InputError as error:
        common.refuse(error, format_)
    if format_ == "json":
        answer = found.as_dict()
        if allocation is not None:
            answer["allocation"] = allocation.as_dict()
        common.write(common.dumps(answer), out)
    elif format_ == "csv":
        common.write(common.csv(found.as_dict()["contributors"]), out)
    else:
        text = (
            found.text(unit) if allocation is None else f"{found.text(unit)}\n\n{allocation.text()}"
        )
        common.write(f"```\n{text}\n```" if format_ == "markdown" else text, out)


def _allocated(found: Any, by: str | None) -> Any:
    if by is None:
        return None
    from scaler.chains.allocation import allocate

    return allocate(found, by=by)  # type: ignore[arg-type]


def _pictures(
    model: Any,
    found: Any,
    name: str,
    bars: Path | None,
    histogram: Path | None,
    zones: Path | None,
    as_drawn: bool,
) -> None:
    if not (bars or histogram or zones):
        return
    from scaler.chains import pictures as chain_pictures

    if bars:
        chain_pictures.draw_contributors(found, bars)
    if histogram:
        chain_pictures.draw_histogram(found, histogram)
    if zones:
        chain_pictures.draw_zones(model, name, zones, as_drawn=as_drawn)


def _all(found: Any, units: str, format_: str, out: Path | None) -> None:
    rows = [item.as_dict() for item in found]
    if format_ == "json":
        common.write(common.dumps(rows), out)
        return
    if format_ == "csv":
        common.write(common.csv(rows), out)
        return
    from scaler.report import window_text

    cells = []
    for item in found:
        drawn = item.monte_carlo
        first = item.tighten_first or ""
        cells.append(
            (
                item.name,
                window_text(item.wanted, units),
                window_text(item.worst_case or (None, None), units),
                window_text(item.root_sum_square or (None, None), units),
                "-" if drawn is None or drawn.chance is None else f"{drawn.chance:.4f}",
                str(first),
            )
        )
    headings = ("chain", "wanted", "worst case", "root sum square", "chance", "tighten first")
    common.write(common.table(format_, headings, cells, (1, 2, 3, 4)), out)
