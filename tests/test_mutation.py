"""The faults that mutation testing puts in, on an invented function; the runs themselves are apart."""

from __future__ import annotations

import csv
import importlib.util
import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent / "mutation"
SPEC = importlib.util.spec_from_file_location("mutation_run", FOLDER / "run.py")
assert SPEC is not None
assert SPEC.loader is not None
mutation = importlib.util.module_from_spec(SPEC)
sys.modules["mutation_run"] = mutation
SPEC.loader.exec_module(mutation)

SAMPLE = '''
def clamp(value: int = 3, low: int = 0) -> int:
    """Not below 0."""
    if value < low and not low:
        raise ValueError(value + 1)
    return max(value, -low) * 2
'''


def test_every_fault_of_a_function(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One for each place that can go wrong; none in defaults, annotations, docstrings, raises."""
    (tmp_path / "scaler").mkdir()
    (tmp_path / "scaler" / "sample.py").write_text(SAMPLE, encoding="utf-8")
    monkeypatch.setattr(mutation, "ROOT", tmp_path)
    found, tree = [], mutation.sound("sample")
    for mutant in mutation.mutants("sample", tree):
        found.append((mutant.line, mutant.after))
        names: dict[str, object] = {}
        code = compile(mutation.ast.fix_missing_locations(tree), "sample", "exec")
        exec(code, names)  # noqa: S102
        assert callable(names["clamp"])
    assert mutation.ast.dump(tree) == mutation.ast.dump(mutation.sound("sample"))
    assert sorted(set(found)) == [
        (4, "if not (value < low and (not low)):\n    raise ValueError(value + 1)"),
        (4, "low"),
        (4, "value < low or not low"),
        (4, "value <= low"),
        (4, "value > low"),
        (6, "3"),
        (6, "low"),
        (6, "max(value, -low) / 2"),
        (6, "min(value, -low)"),
    ]


def test_the_list_of_faults_without_effect_is_of_today() -> None:
    """Every fault in the list can still be put in, once, and has its reason."""
    with mutation.EQUIVALENT.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    keys = [(r["module"], r["function"], r["before"], r["after"]) for r in rows]
    assert len(keys) == len(set(keys))
    known = {
        m.key
        for module in {key[0] for key in keys}
        for m in mutation.mutants(module, mutation.sound(module))
    }
    assert set(keys) <= known
    assert all(len(row["why"]) > 20 for row in rows)
