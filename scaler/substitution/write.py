"""Recording a substitution: choices appended to the model's own log, never a line rewritten."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

from scaler.as_made.append_log import append_rows, now
from scaler.expressions.nodes import decimal_text
from scaler.reading.files import CHOICES_FILE
from scaler.reading.logs import CHOICE_COLUMNS
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
        appended too. All lines are written, or none.
    """
    if substitution.status in ("impossible", "unknown"):
        raise ValueError(f"nothing to record: the substitution is {substitution.status}")
    model = substitution.original or substitution.model
    log = log_of(path if path is not None else model.folder)
    time = now()
    rows: list[dict[str, str]] = []
    chosen = {choice.size: choice for choice in substitution.choices}
    for name, choice in chosen.items():
        if name not in substitution.model.choices:
            continue  # it follows another size
        recorded = model.choices.get(name)
        if recorded is not None and same(choice, recorded.value, recorded.method, recorded.row):
            continue
        rows.append(
            {
                "time": time,
                "action": "choose",
                "size": name,
                "value": value_text(choice.value, model.sizes[name.partition("@")[0]]),
                "method": choice.method,
                "row": choice.row,
                "note": note,
            }
        )
    standing = recorded_times(log)
    for name in model.choices:
        if name.partition("@")[0] in model.sizes and name not in substitution.model.choices:
            undone = {"time": time, "action": "undo", "size": name, "note": note}
            rows += [undone] * standing.get(name, 1)
    if rows:
        append_rows(log, CHOICE_COLUMNS, rows)
    return len(rows)


def undo_choices(sizes: Iterable[str], path: str | Path, *, note: str = "undone") -> int:
    """Appends one undo for each of these sizes that has a recorded choice standing.

    Returns: how many lines were written.
    Raises: InputError where the log cannot be written.
    """
    log = log_of(path)
    standing = recorded_times(log)
    time = now()
    rows = [
        {"time": time, "action": "undo", "size": name, "note": note}
        for name in sizes
        if standing.get(name)
    ]
    if rows:
        append_rows(log, CHOICE_COLUMNS, rows)
    return len(rows)


def same(choice: SizeChoice, value: Fraction, method: str, row: str) -> bool:
    """Whether a recorded choice says the same already."""
    return choice.value == value and choice.method == method and choice.row == row


def recorded_times(log: Path) -> dict[str, int]:
    """How many choices of each size stand in the log."""
    if not log.exists():
        return {}
    lines = [line for line in log.read_text(encoding="utf-8-sig").splitlines() if line[:1] != "#"]
    found: dict[str, int] = {}
    for cells in csv.DictReader(lines):
        name = (cells.get("size") or "").strip()
        action = (cells.get("action") or "").strip()
        if action == "choose":
            found[name] = found.get(name, 0) + 1
        elif action == "undo" and found.get(name):
            found[name] -= 1
    return found
