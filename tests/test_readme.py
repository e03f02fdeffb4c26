"""The README shows what the tool really prints."""

from __future__ import annotations

import importlib.util
from pathlib import Path

SPEC = importlib.util.spec_from_file_location("tour", Path(__file__).parent / "tour.py")
assert SPEC is not None
assert SPEC.loader is not None
tour = importlib.util.module_from_spec(SPEC)
SPEC.loader.exec_module(tour)


def test_every_command_of_the_tour_prints_what_the_readme_shows() -> None:
    """Run in order in an empty folder, each block's output is the README's, to the letter."""
    text = tour.README.read_text(encoding="utf-8")
    assert len(tour.BLOCK.findall(text)) >= 5
    assert tour.tour(text) == text
