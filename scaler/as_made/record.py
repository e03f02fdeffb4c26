"""Readings written down: one line each in the model's own log, corrections as further lines."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from scaler.as_made import append_log
from scaler.as_made.input import known, with_unit
from scaler.as_made.move import figure
from scaler.problems import InputError, Place, Problem
from scaler.reading.files import READINGS_FILE
from scaler.reading.logs import READING_COLUMNS as COLUMNS
from scaler.reading.readings_log import histories
from scaler.reading.toml_lines import Source
from scaler.records import Model, Reading, Size
from scaler.settling.limits import uncertainty


def readings_path(model: Model) -> Path:
    """The log of readings of a model."""
    return model.folder / READINGS_FILE


def record(model: Model, reading: Reading, text: str = "") -> append_log.Appended:
    """Writes a reading at the end of the model's log; on the disk when it returns.

    ``text`` is the value as it was given; it is kept as it stands, with its unit. Raises InputError
    where it cannot be written: nothing is then recorded.
    """
    size = model.sizes[reading.size]
    row = {
        "time": reading.time or append_log.now(),
        "action": "reading",
        "size": reading.size,
        "copy": reading.copy,
        "value": with_unit(model, size, text) if text else _exact_text(size, reading.value),
        "instrument": reading.instrument,
        "note": reading.note,
    }
    return append_log.append_rows(readings_path(model), COLUMNS, [row])


def _exact_text(size: Size, value: Fraction) -> str:
    from scaler.measures.lengths import format_exact

    return f"{format_exact(value)} mm" if size.kind.is_length else format_exact(value)


def take_back(model: Model, name: str, copy: str = "", note: str = "") -> Reading | None:
    """Takes the standing reading of a size back, by a line of its own; the one that stands then.

    Raises InputError where there is none to take back.
    """
    name, _, own = name.partition("@")
    size, copy = known(model, name, copy or own)
    if (size.id, copy) not in model.readings:
        others = [c or "(all copies)" for s, c in model.readings if s == size.id]
        raise InputError(
            [
                Problem(
                    "nothing-to-undo",
                    f"no reading of {size.id}{' ' + copy if copy else ''} stands",
                    expected="a size that has been read",
                    advice=f"read are: {', '.join(others)}" if others else "",
                )
            ]
        )
    path = readings_path(model)
    row = {"time": append_log.now(), "action": "undo", "size": size.id, "copy": copy, "note": note}
    stood = model.readings[size.id, copy]
    left: list[Reading] = []

    def undo(text: str) -> list[dict[str, str]]:
        standing, _ = histories(Source(READINGS_FILE, text), model.sizes, model.parts)
        found = standing.get((size.id, copy), [])
        if not found or found[-1].place.line != stood.place.line or found[-1].value != stood.value:
            raise InputError(
                [
                    Problem(
                        "log-changed",
                        f"another has written of {size.id} meanwhile; nothing was taken back",
                        expected="the reading that stood when the model was read",
                        advice="look at what stands now, and give the command again if it is wanted",
                    )
                ]
            )
        left.extend(found[:-1])
        return [row]

    append_log.append_rows(path, COLUMNS, undo)
    return left[-1] if left else None


def placed(reading: Reading, line: int) -> Reading:
    """The reading with the line that it was recorded on."""
    return replace(reading, place=Place(READINGS_FILE, line))


def reading_steps(model: Model, size: Size, only: str = "") -> list[tuple[str, str, Place]]:
    """The standing readings of a size (those that count for one copy) as steps of its explanation:
    what, in words, and the place."""
    steps = []
    for (name, copy), reading in model.readings.items():
        if name != size.id or (only and copy not in ("", only)):
            continue
        tool, worth = uncertainty(size, reading.instrument)
        said = f"{figure(size, reading.value, model.units)} ± {figure(size, worth, model.units)}, read with {tool}"
        if reading.time:
            said += f", {reading.time}"
        if reading.note:
            said += f": {reading.note}"
        steps.append((f"reading, {copy}" if copy else "reading", said, reading.place))
    return steps
