"""Watching a model's folder: the same call again whenever a file of it is saved."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import click

INTERVAL = 0.5
ENDINGS = (".toml", ".csv")


def stamp(model: Path) -> tuple[tuple[str, int, int], ...]:
    """Names, times and sizes of the files that a model may be made of."""
    folder = model if model.is_dir() else model.parent
    found = []
    for path in sorted(folder.rglob("*")):
        if path.suffix.lower() in ENDINGS:
            try:
                state = path.stat()
            except OSError:
                continue
            found.append((str(path), state.st_mtime_ns, state.st_size))
    return tuple(found)


def watch_model(
    model: Path, once: Callable[[], int], rounds: int | None = None, interval: float = INTERVAL
) -> None:
    """Calls at once, then after every change, until interrupted (or ``rounds`` calls are done)."""
    seen: tuple[tuple[str, int, int], ...] | None = None
    done = 0
    try:
        while rounds is None or done < rounds:
            now = stamp(model)
            if now != seen:
                seen = now
                done += 1
                try:
                    status = once()
                except SystemExit as ended:  # the input could not be used; wait for the next save
                    status = int(ended.code or 0)
                click.echo(f"-- {time.strftime('%H:%M:%S')}, status {status}; waiting for a save")
            time.sleep(interval)
    except KeyboardInterrupt:
        click.echo("")
