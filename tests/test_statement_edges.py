"""How pairs and conditions become statements: names, windows, notes and copies, case by case."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest

import scaler
from scaler.checking.check import Checker
from scaler.checking.statements import Statement, statement_of
from scaler.expressions import names
from scaler.records import BasisKind

HEAD = '[model]\ntitle = "test"\nscale = "1:1"\n'
READ = "time,action,size,copy,value,instrument,note\n"
BODY = """
[part.frame]
copies = ["left", "right"]
size.gap = { full = "25.4 mm", kind = "slot", rule = [], limits = "±0.01 mm" }
[part.box]
size.width = { full = "25.4 mm", kind = "external", rule = "milled" }
"""


def checker(folder: Path, more: str, *readings: str) -> Checker:
    """A box in a frame, with these statements; each reading is ``size,copy,value``."""
    (folder / "model.toml").write_text(HEAD + BODY + more, encoding="utf-8")
    if readings:
        text = READ + "".join(f"2026-01-01T00:00:00Z,reading,{line},,\n" for line in readings)
        (folder / "readings.csv").write_text(text, encoding="utf-8")
    return Checker(scaler.load(folder))


def pair(more: str = "", fit: str = "push") -> str:
    """The box in the frame."""
    return f'[pair.fits]\ninner = "box.width"\nouter = "frame.gap"\nfit = "{fit}"\n{more}\n'


@pytest.mark.parametrize(
    ("title", "name", "at", "met", "heading"),
    [
        ("", "fits", {}, "", "fits"),
        ("Box in frame", "fits", {}, "", "Box in frame"),
        # of one name: the name has it, a title does not
        ("", "fits@left", {"box": "left", "frame": "left"}, "", "fits@left"),
        ("Box in frame", "fits@left", {"box": "left"}, "", "Box in frame (left)"),
        # of two names: always said
        ("", "fits@a", {"box": "a", "frame": "b"}, "box a, frame b", "fits@a (box a, frame b)"),
        ("Fit", "fits@a", {"box": "a", "frame": "b"}, "box a, frame b", "Fit (box a, frame b)"),
    ],
)
def test_how_a_statement_is_headed(
    tmp_path: Path, title: str, name: str, at: dict[str, str], met: str, heading: str
) -> None:
    """By its title or its name, and the copies where they are not said yet."""
    (plain,) = checker(tmp_path, pair()).statements
    statement = replace(plain, title=title, id=name, at=at)
    assert (statement.met, statement.heading) == (met, heading)


def test_the_window_of_a_set_of_fits(tmp_path: Path) -> None:
    """Push at 1 in. Handbook (copy): 0.15 + 0.35 to 0.3 + 0.45 thou; workshop limit table (copy),
    push, 9/16 to 1 in: 0.2 to 0.7 thou. The note is the table's where the pair says nothing."""
    thou = F("0.0254")
    (first,) = checker(tmp_path, pair()).statements
    assert (first.lower, first.upper) == (thou / 2, thou * 3 / 4)
    assert first.source.startswith("model engineer's handbook: ")
    assert first.why.startswith("The book prints one line a class")
    (other,) = checker(tmp_path, pair('set = "workshop limit table"\nwhy = "mine"')).statements
    assert (other.lower, other.upper) == (thou / 5, thou * 7 / 10)
    assert other.why == "mine"


def test_one_statement_by_its_name(tmp_path: Path) -> None:
    """A pair and a condition may have one name; there is none of another."""
    more = pair(fit="0 to 0.1 mm") + "[condition.fits]\nkeep = \"box.width <= '30 mm'\"\n"
    looked = checker(tmp_path, more)
    found = {
        what: statement_of(looked.model, what, "fits", looked.values)
        for what in ("pair", "condition")
    }
    assert tuple(found.values()) == looked.statements
    assert statement_of(looked.model, "pair", "sits", looked.values) is None
    assert statement_of(looked.model, "condition", "sits", looked.values) is None


LEFT = """
[condition.left_gap]
keep = "'0 mm' <= frame.gap@left - box.width <= '0.1 mm'"
basis = "last cut frame.gap@left by ground"
"""


def test_a_last_cut_of_one_copy(tmp_path: Path) -> None:
    """Where the copy has no value of its own it is cut as all are; else it is a size by itself.
    What is read of the other copy changes nothing."""

    def found(*readings: str) -> Statement:
        (statement,) = checker(tmp_path, LEFT, *readings).statements
        assert statement.basis.kind is BasisKind.LAST_CUT
        assert statement.basis.by == "ground"
        assert statement.basis.last in names(statement.node)
        return statement

    assert found().basis.last == "frame.gap"
    assert found("frame.gap,right,25.41 mm").basis.last == "frame.gap"
    assert found("frame.gap,left,25.41 mm").basis.last == "frame.gap@left"


def test_only_what_has_been_read_is_looked_at_copy_by_copy(tmp_path: Path) -> None:
    """A copy of the frame read: the pair that it is in, for both copies; not the box's own."""
    more = pair(fit="0 to 0.1 mm") + "[condition.thin]\nkeep = \"box.width <= '30 mm'\"\n"
    more += "[condition.both]\nkeep = \"frame.gap - frame.gap@left <= '1 mm'\"\n"
    assert [s.id for s in checker(tmp_path, more).statements] == ["fits", "thin", "both"]
    looked = checker(tmp_path, more, "frame.gap,right,25.41 mm")
    ids = ["fits@left", "fits@right", "thin", "both@left", "both@right"]
    assert [s.id for s in looked.statements] == ids
    assert [list(names(s.node)) for s in looked.statements] == [
        ["frame.gap", "box.width"],
        ["frame.gap@right", "box.width"],
        ["box.width"],
        ["frame.gap"],
        ["frame.gap@right", "frame.gap"],
    ]
    assert [dict(s.at) for s in looked.statements[:2]] == [{"frame": "left"}, {"frame": "right"}]
