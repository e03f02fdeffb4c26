"""The command that answers from the catalogues."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click

from scaler.cli import common

KINDS = (
    "length", "thread", "fit", "drill", "gauge", "stock", "near", "bolt", "scale", "quantity",
    "methods", "sources",
)  # fmt: skip


@click.command()
@click.argument("kind", type=click.Choice(KINDS), metavar="KIND")
@click.argument("texts", nargs=-1, metavar="TEXT…")
@click.option("--scale", default="", help="Scale of the model, for length and quantity.")
@click.option(
    "--unit",
    type=click.Choice(("mm", "cm", "m", "in", "ft", "thou")),
    help="Unit of bare numbers, for length.",
)
@click.option("--law", help="Law for pressure and stress, for quantity.")
@click.option("--set", "set_", help="Which set of trade fits, for fit.")
@click.option("--drill", default="", help="Another tapping drill, for thread: its per cent.")
@click.option("--percent", default="", help="Per cent of full thread, for thread: its drill.")
@click.option("--in", "tables", multiple=True, help="Family or table, for near; may be repeated.")
@click.option(
    "--by",
    type=click.Choice(("diameter", "looks", "strength")),
    default="diameter",
    help="For bolt.",
)
@click.option("--series", multiple=True, help="Series for bolt, preferred first; repeat it.")
@click.option("--count", type=click.IntRange(1, 1000), default=5, show_default=True)
@common.output_options
def lookup(
    kind: str,
    texts: tuple[str, ...],
    scale: str,
    unit: str | None,
    law: str | None,
    set_: str | None,
    drill: str,
    percent: str,
    tables: tuple[str, ...],
    by: str,
    series: tuple[str, ...],
    count: int,
    format_: str,
    out: Path | None,
) -> None:
    """Answers from the catalogues to one TEXT or several.

    \b
    length    4ft 8 1/2in, 12.7 mm, 1.5 thou, 16 SWG; with --scale also reduced
    thread    2 BA, M3x0.5, 1/4-40 ME, 1/4 BSF, No. 6 UNC, G 1/8
    fit       25 H7/g6; or a trade fit with its size: close run 16 mm
    drill     No. 30, letter F, 13/32, 10.2 mm
    gauge     16 SWG, 18 AWG, 20 BWG
    stock     round bar, steel, 12.7 mm; flat brass 10 x 3
    near      10 mm: rows nearest above and below; --in drills --in "round bar"
    bolt      7/8 in, 3/4 BSW: threads for it at --scale, --by looks, --series BA
    scale     1 1/16 in : 1 ft, 7 mm/ft, 16 mm scale
    quantity  30 mile/hour, 12 ton, 45 sq ft, with --scale
    methods   what a rule may name; no text, or words of it: thread, bar
    sources   rows that are from memory or common practice; no text, or a kind of source
    """
    from scaler.lookup import Options, look_up

    if kind == "sources":
        show_sources(texts, format_, out)
        return
    if kind == "methods":
        show_methods(texts, format_, out)
        return
    if not texts:
        common.stop(f"lookup {kind}: nothing to look up; give one text or several")
    options = Options(scale, unit, law, set_, percent, drill, tables, by, series, count)
    answers = [look_up(kind, text, options) for text in texts]
    if format_ == "json":
        common.write(common.dumps(answers[0] if len(answers) == 1 else answers), out)
    elif format_ == "csv":
        rows: list[dict[str, Any]] = []
        for answer in answers:
            rows += [{"text": answer["text"], **row} for row in answer.get("rows", ())] or [answer]
        common.write(common.csv(rows), out)
    else:
        common.write("\n\n".join(_shown(answer, format_) for answer in answers), out)
    sys.exit(2 if any("error" in answer for answer in answers) else 0)


def _shown(answer: dict[str, Any], format_: str) -> str:
    from scaler.lookup import answer_lines

    if "error" in answer:
        lines = [f"{answer['text']}: {answer['error']}"]
        if answer.get("expected"):
            lines.append(f"  expected {answer['expected']}")
        if answer.get("advice"):
            lines.append(f"  {answer['advice']}")
        if answer["nearest"]:
            lines.append(f"  nearest known: {', '.join(answer['nearest'])}")
        return "\n".join(lines)
    pairs = answer_lines(answer)
    if format_ == "markdown":
        text = common.table(format_, (answer["text"], ""), pairs)
    else:
        width = max((len(name) for name, _ in pairs), default=0)
        text = answer["text"] + "".join(
            f"\n  {name.ljust(width)}  {value}" for name, value in pairs
        )
    if answer.get("rows"):
        rows = [
            (
                row["designation"],
                f"{row.get('size_mm', row.get('size_mm2')):.3f}",
                f"{row.get('departure_mm', row.get('departure_mm2')):+.3f}",
                str(row.get("table", "")),
                row["source"],
            )
            for row in answer["rows"]
        ]
        unit = "mm" if "size_mm" in answer["rows"][0] else "mm²"
        headings = ("row", f"size {unit}", "departure", "table", "source")
        text += "\n\n" + common.table(format_, headings, rows, (1, 2))
    return text


def show_sources(texts: tuple[str, ...], format_: str, out: Path | None) -> None:
    """The rows of all tables whose source is of a kind, and how many there are of each."""
    from scaler.lookup import sources

    marks = texts or ("from memory",)
    rows = sources(marks)
    if format_ == "json":
        common.write(common.dumps(rows), out)
    elif format_ == "csv":
        common.write(common.csv(rows), out)
    else:
        cells = [(r["table"], r["designation"], r["column"], r["source"], r["place"]) for r in rows]
        headings = ("table", "row", "column", "source", "place")
        text = common.table(format_, headings, cells)
        common.write(f"{text}\n\n{len(rows)} rows: {', '.join(marks)}", out)


def show_methods(texts: tuple[str, ...], format_: str, out: Path | None) -> None:
    """The methods that a rule may name, or those whose names hold one of the words."""
    from scaler.trade.method_list import methods

    rows = methods(texts)
    if not rows:
        common.stop(f"no method is called {' or '.join(texts)}; without a word all are listed")
    if format_ == "json":
        common.write(common.dumps(rows), out)
    elif format_ == "csv":
        common.write(common.csv(rows), out)
    else:
        cells = [(r["method"], r["also"], r["makes"], r["from"], r["note"]) for r in rows]
        headings = ("method", "also called", "makes", "from", "note")
        common.write(common.table(format_, headings, cells), out)
