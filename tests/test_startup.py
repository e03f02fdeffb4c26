"""What each command must not import: start-up is part of the product."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

EXAMPLES = Path(__file__).parent.parent / "scaler" / "examples"
HEAVY = {"numpy", "pandas", "sympy", "pint", "networkx", "scipy", "matplotlib", "highspy", "mpmath"}

LATER = {"scaler.reading.loading", "scaler.catalogue", "scaler.problems", "tomllib"}

CASES = [
    (["--help"], HEAVY | LATER),
    (["--version"], HEAVY | LATER),
    (["lookup", "length", "4ft 8 1/2in", "--scale", "1:12"], HEAVY),
    (["lookup", "thread", "2 BA"], HEAVY),
    (["lookup", "fit", "25 H7/g6"], HEAVY),
    (["lookup", "drill", "No. 30"], HEAVY),
    (["lookup", "gauge", "16 SWG"], HEAVY),
    (["check", str(EXAMPLES / "pattern_d")], HEAVY),
    (["reduce", str(EXAMPLES / "pattern_d")], HEAVY),
    (["explain", str(EXAMPLES / "pattern_d"), "axle.journal"], HEAVY),
    (["check", str(EXAMPLES / "pattern_d"), "--format", "json"], HEAVY),
]


@pytest.mark.parametrize(
    ("args", "forbidden"), CASES, ids=lambda v: " ".join(v)[:40] if isinstance(v, list) else ""
)
def test_a_command_leaves_heavy_modules_alone(args: list[str], forbidden: set[str]) -> None:
    """Runs the command in a process of its own and looks at what it imported."""
    code = (
        "import sys, json, io, contextlib\n"
        "from scaler.cli.main import cli\n"
        "with contextlib.redirect_stdout(io.StringIO()):\n"
        f"    try: cli.main({args!r}, prog_name='scaler')\n"
        "    except SystemExit: pass\n"
        "print(json.dumps(sorted(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    loaded = set(json.loads(done.stdout.strip().splitlines()[-1]))
    assert not loaded & forbidden
