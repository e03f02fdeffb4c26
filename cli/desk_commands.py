"""Commands of the desk: cards, report, materials, sizes-in, scale-off."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from scaler.cli import common
from scaler.problems import InputError

PAPERS = ("A4", "A5", "letter")
MOST_WAYS = 3
"""Ways out that the report shows for one conflict, at most."""
UNITS = ("mm", "cm", "m", "in", "ft", "thou")


def _checked(model: Path, ways_out: bool = False) -> Any:
    """A model's check as chosen, with ways out of what fails where asked for; or its problems and
    exit status 2."""
    loaded = common.load(model)
    from scaler.checking.conflicts import check

    try:
        return check(loaded, ways_out=MOST_WAYS * ways_out)
    except InputError as error:
        common.refuse(error)


def _allowances(kerf: str | None, facing: str | None, clean_up: str | None) -> Any:
    """What the saw takes and what is left to clean up, from the options."""
    from dataclasses import replace

    from scaler.cards.stock import Allowances
    from scaler.measures.lengths import LengthError, parse_length

    found = Allowances()
    for option, name, text in (
        ("--kerf", "kerf", kerf),
        ("--facing", "end", facing),
        ("--clean-up", "turned", clean_up),
    ):
        if text is None:
            continue
        try:
            length = parse_length(text).mm
        except LengthError as error:
            common.stop(f"{option}: {error}")
        found = replace(found, **{name: length})
    return found


F = TypeVar("F", bound=Callable[..., Any])


def allowance_options(function: F) -> F:
    """``--kerf``, ``--facing`` and ``--clean-up``."""
    for name, text in (
        ("--clean-up", "Left on the diameter of a part turned all over; 1.5 mm."),
        ("--facing", "Left on each end to face; 1 mm."),
        ("--kerf", "What a saw cut takes; 2 mm."),
    ):
        function = click.option(name, default=None, metavar="LENGTH", help=text)(function)
    return function


paper_option = click.option(
    "--paper",
    type=click.Choice(PAPERS, case_sensitive=False),
    default="A4",
    show_default=True,
    help="The sheets that it is printed on.",
)


@click.command()
@common.model_argument
@click.option(
    "--out",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    required=True,
    help="Folder for the pages; made if it is not there.",
)
@paper_option
@click.option("--part", "parts", multiple=True, help="Only this part; may be repeated.")
@click.option("--no-report", is_flag=True, help="Leave the report on the whole model out.")
@click.option("--strict", is_flag=True, help="Exit status 1 also when something is doubtful.")
@allowance_options
@common.quiet_option
def cards(
    model: Path,
    folder: Path,
    paper: str,
    parts: tuple[str, ...],
    no_report: bool,
    strict: bool,
    kerf: str | None,
    facing: str | None,
    clean_up: str | None,
) -> None:
    """Pages for the bench, one a part of MODEL, to print from a browser.

    \b
    index.html    all parts, with links
    all.html      every card on one page, to print at once
    report.html   the whole model: choices, departures, conflicts, pairs, sources
    PART.html     one part: sizes, stock, tools, readout, mates, room for readings
    """
    allowances = _allowances(kerf, facing, clean_up)
    result = _checked(model, ways_out=not no_report and not parts)
    from scaler.cards.cards import card_pages, make_cards

    try:
        made = make_cards(result, parts or None, allowances)
    except InputError as error:
        common.refuse(error)
    pages = card_pages(made, paper)
    if not no_report and not parts:
        from scaler.cards.page_report import report_page

        pages["report.html"] = report_page(result, cards=True, paper=paper)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        common.unwritten(folder, error)
    written: list[Path] = []
    for name in sorted(
        pages, key=lambda name: name == "index.html"
    ):  # what links to all comes last
        common.write(pages[name], folder / name, written)
        written.append(folder / name)
    first = "index.html" if "index.html" in pages else ""
    common.say(f"wrote {len(pages)} pages to {folder}; open {folder / first}")
    sys.exit(result.status(strict=strict))


@click.command()
@common.model_argument
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    default=Path("report.html"),
    show_default=True,
    help="The page to write.",
)
@paper_option
@click.option("--no-ways-out", is_flag=True, help="Do not look for ways out of what fails.")
@click.option("--strict", is_flag=True, help="Exit status 1 also when something is doubtful.")
@common.quiet_option
def report(model: Path, out: Path, paper: str, no_ways_out: bool, strict: bool) -> None:
    """One page on the whole of MODEL: choices, departures, conflicts, pairs, sources, pictures."""
    result = _checked(model, ways_out=not no_ways_out)
    from scaler.cards.page_report import report_page, summary_line

    common.write(report_page(result, paper=paper), out)
    common.say(f"wrote {out}\n{summary_line(result)}")
    sys.exit(result.status(strict=strict))


@click.command()
@common.model_argument
@allowance_options
@click.option(
    "--xlsx",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write a workbook for ordering as well (needs openpyxl).",
)
@common.units_option
@common.quiet_option
@common.output_options
def materials(
    model: Path,
    kerf: str | None,
    facing: str | None,
    clean_up: str | None,
    xlsx: Path | None,
    units: str | None,
    format_: str,
    out: Path | None,
) -> None:
    """What MODEL needs: cutting list, bars packed into lengths, bought parts, tools.

    Exit status 1 where a piece is too long for every length that can be had.
    """
    allowances = _allowances(kerf, facing, clean_up)
    loaded = common.load(model, format_, units)
    from scaler.desk import materials_tables as tables
    from scaler.desk.materials_list import materials as list_materials
    from scaler.settling.reduce import reduce

    try:
        listed = list_materials(reduce(loaded), allowances)
    except InputError as error:
        common.refuse(error, format_)
    if xlsx is not None:
        try:
            tables.write_workbook(listed, xlsx)
        except tables.NoWorkbook as error:
            common.stop(f"{xlsx}: {error}")
        except InputError as error:
            common.refuse(error, format_)
    if format_ == "json":
        common.write(common.dumps(listed.as_dict()), out)
    elif format_ == "csv":
        common.write(tables.csv_text(listed), out)
    else:
        common.write(_materials_text(loaded, listed, units, format_), out)
    sys.exit(1 if listed.unmet else 0)


def _materials_text(loaded: Any, listed: Any, units: str | None, format_: str) -> str:
    from scaler.cli.model_commands import heading, titled
    from scaler.desk import materials_tables as tables
    from scaler.tables import cautions_text

    text = heading(format_, loaded)
    for title, grid in tables.grids(listed, loaded.units):
        if grid.rows:
            body = common.table(format_, grid.headings, grid.rows, grid.right)
            text += titled(format_, title, body)
    text += titled(format_, "Left open", tables.left_open(listed))
    return text + titled(format_, "Cautions", cautions_text(listed.refused))


@click.command("sizes-in")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--map",
    "maps",
    multiple=True,
    metavar="OURS=YOURS",
    help="A column of ours and your heading for it: part=Part. May be repeated.",
)
@click.option("--unit", type=click.Choice(UNITS), help="Unit of bare numbers.")
@click.option("--part", default="", help="The part of every row, where no column names it.")
@click.option("--sheet", default=None, help="Which sheet of a workbook; the first if not given.")
@click.option("--fill-down", is_flag=True, help="An empty part means the part above.")
@click.option(
    "--choices",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write edited choices of a reduced table here, in the form of choices.csv.",
)
@common.quiet_option
@common.output_options
def sizes_in(
    file: Path,
    maps: tuple[str, ...],
    unit: str | None,
    part: str,
    sheet: str | None,
    fill_down: bool,
    choices: Path | None,
    format_: str,
    out: Path | None,
) -> None:
    """Sizes out of FILE (a table in CSV or .xlsx, or a DXF drawing) as a table that a model includes.

    A table that `reduce --format csv` wrote is known by its columns and read back exactly, with
    what was edited in it.
    """
    from scaler.desk.tables_in import mapping_of, read_sizes

    try:
        if file.suffix.lower() == ".dxf":
            from scaler.desk.tables_dxf import read_dxf

            if not part:
                common.stop(f"{file}: a drawing does not say which part it is; give --part")
            found = read_dxf(file, part, unit)
        else:
            found = read_sizes(
                file, mapping_of(maps), unit=unit, part=part, sheet=sheet, fill_down=fill_down
            )
    except InputError as error:
        common.refuse(error, format_)
    if found.notes:
        common.show_problems(found.notes)
    if format_ == "json":
        rows = [{**row.cells, "file": row.place.file, "line": row.place.line} for row in found.rows]
        common.write(common.dumps(rows), out)
    elif format_ == "markdown":
        columns = found.columns()
        cells = [[row.cells.get(name, "") for name in columns] for row in found.rows]
        common.write(common.table(format_, columns, cells), out)
    else:  # the table itself is CSV
        common.write(found.csv(), out)
    if choices is not None:
        common.write(found.choices_csv(), choices)


@click.command("scale-off")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--unit", type=click.Choice(UNITS), help="Unit of known sizes that are bare numbers.")
@click.option("--one-scale", is_flag=True, help="The same scale along x and y.")
@click.option(
    "--turn",
    default="0",
    show_default=True,
    metavar="DEGREES|auto",
    help="How far the print lies turned, against the clock; auto: found from level lines.",
)
@click.option(
    "--reading",
    type=common.Figure(min=0, min_open=True),
    help="How closely a point is placed on the print, ± in its units.",
)
@click.option("--part", default="", help="The part of names that are not part.size.")
@click.option(
    "--sizes",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the sizes here, as a table that a model includes.",
)
@click.option(
    "--picture",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the residuals here, as an SVG picture.",
)
@common.quiet_option
@common.output_options
def scale_off(
    file: Path,
    unit: str | None,
    one_scale: bool,
    turn: str,
    reading: float | None,
    part: str,
    sizes: Path | None,
    picture: Path | None,
    format_: str,
    out: Path | None,
) -> None:
    """Full-size sizes from points measured on a print, each with its uncertainty.

    FILE holds name,x1,y1,x2,y2 and, for two distances or more, what is known of them. Exit status
    1 where a known size does not go with the others.
    """
    from scaler.desk.scale_off import read_segments
    from scaler.desk.scale_off import scale_off as work_out

    turn_deg: float | None = None
    if turn != "auto":
        turn_deg = common.Figure(-360, 360).convert(turn, None, None)
    try:
        answer = work_out(
            read_segments(file, unit), one_scale=one_scale, turn_deg=turn_deg, reading=reading
        )
        rows = answer.sizes(part) if sizes is not None or format_ == "csv" else None
    except InputError as error:
        common.refuse(error, format_)
    if format_ == "json":
        common.write(common.dumps(answer.as_dict()), out)
    elif rows is not None and format_ == "csv":
        common.write(rows.csv(), out)
    else:
        from scaler.desk.scale_off_text import text_of

        common.write(text_of(answer, format_), out)
    if rows is not None and sizes is not None:
        common.write(rows.csv(), sizes)
    if picture is not None:
        common.write(answer.picture(), picture)
    if answer.notes:
        common.show_problems(answer.notes)
    sys.exit(1 if answer.outliers else 0)
