"""Recording a substitution: choices appended to the model's own log, never a line rewritten."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

from scaler.as_made.append_log import append_rows, now
from scaler.expressions.nodes import decimal_text
from scaler.reading.csv_text import parse_csv
from scaler.reading.files import CHOICES_FILE
from scaler.reading.logs import CHOICE_COLUMNS, choices
from scaler.reading.toml_lines import Source
from scaler.records import Kind, Size
from scaler.substitution.records import SizeChoice, Substitution


def value_text(value: Fraction, size: Size) -> str:
    """A size as the log reads it back, exactly: ``6.35 mm``, ``127/36 mm``, ``30 deg``, ``24``."""
    text = decimal_text(value) or f"{value.numerator}/{value.denominator}"
    if size.kind in (Kind.COUNT, Kind.TEETH):
        return text
    return f"{text} deg" if not size.kind.is_length else f"{text} mm"


def log_of(path: str | Path) -> Path:
    """The choices file that a model's folder or the path of the file itself stands for."""
    given = Path(path)
    return given / CHOICES_FILE if given.is_dir() else given


def write_choices(
    substitution: Substitution, path: str | Path | None = None, *, note: str = "substitute"
) -> int:
    """Appends the choices of a substitution to the choices log; only what is new is written.

    Parameters: path : the model's folder (by default the one it was read from) or its choices
        file; note : goes with every line.
    Returns: how many lines were written; 0 where all was recorded already.
    Raises: InputError where the log cannot be written, ValueError where there is no choice to
        record (status impossible or unknown).
    Notes: a size that now follows others again has its recorded choices undone, by lines that are
        appended too. All lines are written, or none. Of two that write at once each looks at what
        the other has written: what stands in the end is the whole choice of the one that came last.
    """
    if substitution.status in ("impossible", "unknown"):
        raise ValueError(f"nothing to record: the substitution is {substitution.status}")
    model = substitution.original or substitution.model
    log = log_of(path if path is not None else model.folder)
    # what is no choice of its own follows another size
    chosen = [c for c in substitution.choices if c.size in substitution.model.choices]
    time = now()

    def rows(text: str) -> list[dict[str, str]]:
        """What the log lacks, as it stands now: another may have written since it was read."""
        table, _ = parse_csv(Source(log.name, text)) if text.strip() else (None, [])
        standing = choices(table, model.sizes, model.parts, [])
        made = []
        for choice in chosen:
            recorded = standing.get(choice.size)
            if recorded and same(choice, recorded.value, recorded.method, recorded.row):
                continue
            value = value_text(choice.value, model.sizes[choice.size.partition("@")[0]])
            made.append(
                {
                    "time": time,
                    "action": "choose",
                    "size": choice.size,
                    "value": value,
                    "method": choice.method,
                    "row": choice.row,
                    "note": note,
                }
            )
        times = recorded_times(text)
        for name in standing:
            if name not in substitution.model.choices:
                undone = {"time": time, "action": "undo", "size": name, "note": note}
                made += [undone] * times.get(name, 1)
        return made

    return append_rows(log, CHOICE_COLUMNS, rows).count


def undo_choices(sizes: Iterable[str], path: str | Path, *, note: str = "undone") -> int:
    """Appends one undo for each of these sizes that has a recorded choice standing.

    Returns: how many lines were written.
    Raises: InputError where the log cannot be written.
    """
    time = now()

    def rows(text: str) -> list[dict[str, str]]:
        standing = recorded_times(text)
        return [
            {"time": time, "action": "undo", "size": name, "note": note}
            for name in sizes
            if standing.get(name)
        ]

    return append_rows(log_of(path), CHOICE_COLUMNS, rows).count


def same(choice: SizeChoice, value: Fraction, method: str, row: str) -> bool:
    """Whether a recorded choice says the same already."""
    return choice.value == value and choice.method == method and choice.row == row


def recorded_times(text: str) -> dict[str, int]:
    """How many choices of each size stand in the text of a log."""
    table, _ = parse_csv(Source(CHOICES_FILE, text)) if text.strip() else (None, [])
    found: dict[str, int] = {}
    for row in table.rows if table is not None else ():
        name, action = row.cells.get("size", ""), row.cells.get("action", "")
        if action == "choose":
            found[name] = found.get(name, 0) + 1
        elif action == "undo" and found.get(name):
            found[name] -= 1
    return found
