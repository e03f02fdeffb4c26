"""The README's tour: runs every command shown there and compares, or writes, what it prints.

``python tests/tour.py`` compares; ``python tests/tour.py --write`` puts the present output in.
The table of benchmarks is quoted from the file that their runner writes.
A block begins with ```` ```console ```` and holds one ``$ scaler …`` line, or one
``$ python tests/benchmarks/….py`` line; a remark ``(… n lines more)`` at its end stands for the rest
of a long answer. A ```` ```toml ```` block whose first line
is ``# folder/file.toml`` is that file. The pictures are taken out of the pages that the tour's own
commands write, and stand in ``tests/pictures``.
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import runpy
import shlex
import sys
import tempfile
from pathlib import Path

from click.testing import CliRunner

from scaler.cli.main import cli

README = Path(__file__).parent.parent / "README.md"
FILE = re.compile(r"```toml\n# ([a-z_]+/[a-z_]+\.toml)\n(.*?)```", re.DOTALL)
FOLDER = Path(__file__).parent / "pictures"
PICTURES = {
    "bush.svg": ("cards/bush.html", "s-bush-t"),
    "pairs.svg": ("cards/report.html", "graph-1-t"),
    "chain.svg": ("cards/report.html", "chain-5-t"),
    "departures.svg": ("cards/report.html", "departures-p-t"),
}
"""Each picture: the page of the tour that it stands on, and the name of its title there."""
SCRIPT = re.compile(r"python (tests/benchmarks/\w+\.py)")
BLOCK = re.compile(
    rf"```console\n\$ (scaler [^\n]*|{SCRIPT.pattern.replace('(', '(?:')})\n(.*?)```", re.DOTALL
)
TABLE = Path(__file__).parent / "benchmarks" / "table.md"
QUOTED = re.compile(r"(<!-- tests/benchmarks/table\.md -->\n\n).*?(\n<!-- end -->)", re.DOTALL)
CUT = re.compile(r"\(… \d+ lines more\)\n$")
SHOWN = 24


def output(command: str) -> str:
    """What one command prints, errors after it, in the present folder."""
    script = SCRIPT.fullmatch(command)
    if script is not None:
        printed = io.StringIO()
        with contextlib.redirect_stdout(printed):
            runpy.run_path(str(README.parent / script.group(1)), run_name="__main__")
        return printed.getvalue()
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


def standing_alone(page: str, title: str) -> str:
    """One picture of a page as a file of its own, on a white ground."""
    from scaler.cards.pictures import STYLE

    start = page.index(f'<svg class="pic" role="img" aria-labelledby="{title} ')
    picture = page[start : page.index("</svg>", start) + len("</svg>")]
    picture = picture.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    ground = f'<style>{STYLE}</style><rect width="100%" height="100%" fill="#fff"/>'
    picture = re.sub("</desc>", f"</desc>{ground}", picture, count=1)
    return re.sub(r"</?a(?: [^>]*)?>", "", picture) + "\n"


def tour(text: str, pictures: dict[str, str] | None = None) -> str:
    """The README's text with every block's output as the tool prints it now, and the last table.

    ``pictures`` takes those of the pages that the tour wrote, by their names.
    """
    here = os.getcwd()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        for name, body in FILE.findall(text):
            Path(name).parent.mkdir(exist_ok=True)
            Path(name).write_text(body, encoding="utf-8")
        try:
            shown_now = BLOCK.sub(
                lambda m: (
                    f"```console\n$ {m.group(1)}\n"
                    f"{shown(output(m.group(1)), bool(CUT.search(m.group(2))))}```"
                ),
                text,
            )
            for name, (page, title) in PICTURES.items() if pictures is not None else ():
                pictures[name] = standing_alone(Path(page).read_text(encoding="utf-8"), title)
            table = TABLE.read_text(encoding="utf-8")
            return QUOTED.sub(lambda m: f"{m.group(1)}{table}{m.group(2)}", shown_now)
        finally:
            os.chdir(here)


def kept(name: str) -> str:
    """A picture as it stands beside the tests, '' where it does not."""
    place = FOLDER / name
    return place.read_text(encoding="utf-8") if place.exists() else ""


if __name__ == "__main__":
    old = README.read_text(encoding="utf-8")
    drawn: dict[str, str] = {}
    new = tour(old, drawn)
    same = old == new and all(kept(name) == picture for name, picture in drawn.items())
    if "--write" in sys.argv:
        README.write_text(new, encoding="utf-8")
        FOLDER.mkdir(exist_ok=True)
        for name, picture in drawn.items():
            (FOLDER / name).write_text(picture, encoding="utf-8")
    sys.exit(0 if "--write" in sys.argv or same else 1)
