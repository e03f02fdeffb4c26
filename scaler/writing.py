"""Files written whole: the old one stands until the new one is on the disk.

A process that is killed, or a disk that fails, at any moment leaves the old file or the new one.
A killed process may leave a spare beside it, whose name begins with a point and ends in ``.part``;
it is of no use and may be deleted.
"""

from __future__ import annotations

import os
import secrets
import stat
import sys
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path

from scaler.problems import InputError, Problem, shorten

SPARE = ".part"
_BINARY = getattr(os, "O_BINARY", 0)


def write_whole(path: Path, data: bytes, spare: Path | None = None) -> None:
    """A file with this content, in one move.

    Parameters: path : the file; a link is followed, and what is no plain file (a pipe, a device) is
        written to as it is; data : all of its content; spare : where it is written first, by
        default a name of its own beside the file.
    Raises: OSError; the old file, or none, is then there as before.
    Notes: an old file's permissions are kept.
    """
    target = Path(os.path.realpath(path))
    try:
        mode = target.stat().st_mode
    except OSError:
        mode = None
    if mode is not None and not stat.S_ISREG(mode):
        handle = os.open(target, os.O_WRONLY | _BINARY)
        try:
            write_all(handle, data)
        finally:
            os.close(handle)
        return
    if spare is None:
        spare = target.with_name(f".{target.name[:40]}.{secrets.token_hex(4)}{SPARE}")
    try:
        handle = os.open(spare, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | _BINARY, 0o666)
        try:
            if mode is not None:
                with suppress(OSError):  # not ours to change: it then gets the usual ones
                    os.chmod(spare, stat.S_IMODE(mode))
            write_all(handle, data)
            os.fsync(handle)
        finally:
            os.close(handle)
        os.replace(spare, target)
    except BaseException:
        with suppress(OSError):
            os.unlink(spare)
        raise
    flush_folder(target.parent)


def write_all(handle: int, data: bytes) -> None:
    """All of the data to an open file. Raises OSError where the disk takes no more."""
    done = 0
    while done < len(data):
        written = os.write(handle, data[done:])
        if written <= 0:
            raise OSError("the disk is full")
        done += written


def flush_folder(folder: Path) -> None:
    """Has the names in a folder put on the disk too, where the system can do that."""
    if sys.platform == "win32":
        return
    with suppress(OSError):  # the file is there; only a power cut could still lose its name
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def unwritable(path: Path, error: OSError, *, whole: Iterable[Path] = ()) -> InputError:
    """The error that names the file, what failed and what to do.

    ``whole`` names the files that were written before it, each of them whole.
    """
    before = [shorten(str(item)) for item in whole]
    return InputError(
        [
            Problem(
                "unwritable",
                f"{shorten(str(path))}: cannot be written ({error.strerror or error})",
                expected="a folder that can be written to, on a disk with room",
                advice="mend that and give the same command again; "
                + (
                    f"whole are: {', '.join(before)}"
                    if before
                    else "what stood there before is as it was"
                ),
            )
        ]
    )
