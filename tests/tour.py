"""The README's tour: runs every command shown there and compares, or writes, what it prints.

``python tests/tour.py`` compares; ``python tests/tour.py --write`` puts the present output in.
A block begins with ```` ```console ```` and holds one ``$ scaler …`` line; a remark ``(… n lines
more)`` at its end stands for the rest of a long answer. A ```` ```toml ```` block whose first line
is ``# folder/file.toml`` is that file.
"""

from __future__ import annotations

import os
import re
import shlex
import sys
import tempfile
from pathlib import Path

from click.testing import CliRunner

from scaler.cli.main import cli

README = Path(__file__).parent.parent / "README.md"
FILE = re.compile(r"```toml\n# ([a-z_]+/[a-z_]+\.toml)\n(.*?)```", re.DOTALL)
BLOCK = re.compile(r"```console\n\$ (scaler [^\n]*)\n(.*?)```", re.DOTALL)
CUT = re.compile(r"\(… \d+ lines more\)\n$")
SHOWN = 24


def output(command: str) -> str:
    """What one command prints, errors after it, in the present folder."""
    result = CliRunner().invoke(cli, shlex.split(command)[1:], prog_name="scaler")
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.output


def shown(full: str, cut: bool) -> str:
    """The answer as the README shows it: whole, or its first lines and how many are left."""
    lines = full.rstrip("\n").split("\n")
    if cut and len(lines) > SHOWN:
        return "\n".join(lines[:SHOWN]) + f"\n(… {len(lines) - SHOWN} lines more)\n"
    return "\n".join(lines) + "\n"


def tour(text: str) -> str:
    """The README's text with every block's output as the tool prints it now."""
    here = os.getcwd()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        for name, body in FILE.findall(text):
            Path(name).parent.mkdir(exist_ok=True)
            Path(name).write_text(body, encoding="utf-8")
        try:
            return BLOCK.sub(
                lambda m: (
                    f"```console\n$ {m.group(1)}\n"
                    f"{shown(output(m.group(1)), bool(CUT.search(m.group(2))))}```"
                ),
                text,
            )
        finally:
            os.chdir(here)


if __name__ == "__main__":
    old = README.read_text(encoding="utf-8")
    new = tour(old)
    if "--write" in sys.argv:
        README.write_text(new, encoding="utf-8")
    sys.exit(0 if "--write" in sys.argv or old == new else 1)
