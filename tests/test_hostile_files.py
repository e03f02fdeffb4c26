"""Files made to be deep, long or large: refused at a place, in short time, in few words."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from model_folders import PARTS, folder, one, refused

import scaler
from scaler.problems import Problem, render_full


def where(problem: Problem) -> tuple[str, str, int, int]:
    """Code, file, line and column."""
    assert problem.place is not None
    return problem.code, problem.place.file, problem.place.line, problem.place.column


DEEP = 10_000


@pytest.mark.parametrize(
    "text",
    [
        "x = " + "[" * DEEP + "]" * DEEP + "\n",
        "x = " + "[" * DEEP,
        "x = " + "{a = " * DEEP + "1" + "}" * DEEP + "\n",
        "x = " + "[" * 30 + "]" * 30 + "\n",
        "a." * DEEP + "a = 1\n",
        "[" + "a." * DEEP + "a]\n",
        "[[" + "a . " * DEEP + "a]]\n",
        "x = {" + "'a'." * DEEP + "a = 1}\n",
        "[part.axle]\nsize.journal = { " + "a.b.c.d.e.f.g.h." * 3 + "a = 1 }\n",
        "x = 1" + "0" * DEEP + "\n",
        "x = [1, -1" + "0" * DEEP + "]\n",
        "x = 1." + "0" * DEEP + "\n",
        "x = 0x" + "f" * DEEP + "\n",
        "x = 1e" + "9" * DEEP + "\n",
        "x = '" + "a" * 1_000_000 + "'\n",
        "'" + "a" * 1_000_000 + "' = 1\n",
        "[part." + "a" * 1_000_000 + "]\n",
        "[part.axle]\nsize.journal = '" + "5" * 1_000_000 + "'\n",
        "[part.axle]\nsize.journal = { full = '5 mm', limits = '" + " " * 1_000_000 + "' }\n",
        "[part.axle]\nsize.journal = { full = '5 mm', rule = '" + "turned;" * 100_000 + "' }\n",
        "[condition.one]\nkeep = '" + "(" * 100_000 + "'\n",
        "[condition.one]\nkeep = '" + "axle.journal+" * 100_000 + "'\n",
        "[pair.one]\ninner = 'a.b'\nouter = 'c.d'\nfit = '" + "9" * 100_000 + "'\n",
        "x" * 1_000_000,
        '"' * 1_000_001,
        "x = [" + "1," * 100_000 + "]\n",
        "x = [" + "{}," * 50_000 + "]\n",
        "[part.axle]\ncopies = [" + "1," * 100_000 + "]\n",
        "#" * 1_000_000 + "\n[part.axle]\nsize.journal = 1979-05-27T07:32:00Z\n",
        "[part.axle]\nsize.journal = nan\nsize.a = inf\nsize.b = -0\nsize.c = 1_000_000\n",
    ],
)
def test_hostile_toml(tmp_path: Path, text: str) -> None:
    """Text made to be deep, long or large is refused in short time and with a short message."""
    folder(tmp_path, parts__toml=text)
    started = time.process_time()
    problems = refused(tmp_path)
    assert time.process_time() - started < 8
    for problem in problems:
        assert problem.place is not None and problem.place.file == "parts.toml"
        assert len(render_full(problem)) < 2500
        assert len(problem.excerpt) <= 700


@pytest.mark.parametrize(
    ("text", "headline", "line", "column"),
    [
        ("x = " + "[" * DEEP + "]" * DEEP, "tables or lists nested too deep", 1, 25),
        ("x = " + "[" * 30 + "]" * 30, "tables or lists nested too deep", 1, 25),
        (
            "# [[[\nx = '[['\ny = [" + "\n[" * 30 + "]" * 31,
            "tables or lists nested too deep",
            23,
            1,
        ),
        ("x = " + "{a = " * 30 + "1" + "}" * 30, "tables or lists nested too deep", 1, 105),
        ("[part.axle]\n  " + "a." * 30 + "a = 1", "a name of too many parts", 2, 3),
        ("[part.axle]\n[" + "a." * DEEP + "a]", "a name of too many parts", 2, 2),
        ("x = 1\ny = [1, 2" + "0" * DEEP + "]", "a number too long to read", 2, 9),
    ],
    ids=["lists", "30 lists", "over lines", "tables", "name", "heading", "number"],
)
def test_too_deep_or_long(tmp_path: Path, text: str, headline: str, line: int, column: int) -> None:
    """Depth and length are refused where the bound is passed."""
    folder(tmp_path, parts__toml=f"{text}\n")
    problem = one(tmp_path)
    assert where(problem) == ("syntax", "parts.toml", line, column)
    assert problem.headline == headline


def test_one_very_long_line_is_read(tmp_path: Path) -> None:
    """A remark of 1,000,000 characters is no mistake, and places after it are right."""
    folder(tmp_path, parts__toml="#" * 1_000_000 + "\n" + PARTS)
    assert scaler.load(tmp_path).sizes["axle.journal"].place.line == 3
    wide = "size.a = '5 mm'" + " " * 1_000_000 + "# wide\n"
    folder(tmp_path, parts__toml=PARTS + wide + "size.b = '5 mn'\n")
    assert where(one(tmp_path)) == ("cannot-read", "parts.toml", 4, 13)


def test_mistakes_far_along_a_line(tmp_path: Path) -> None:
    """Many mistakes in one enormous line: each keeps its column and only a piece of the line."""
    sizes = ", ".join(f"s{number} = {{ full = '5 mn' }}" for number in range(3000))
    folder(tmp_path, parts__toml=f"[part]\naxle = {{ size = {{ {sizes} }} }}\n")
    started = time.process_time()
    problems = refused(tmp_path)
    assert time.process_time() - started < 8
    assert len(problems) == 3000
    text = (tmp_path / "parts.toml").read_text().split("\n")[1]
    for problem in problems:
        assert problem.place is not None and problem.span is not None
        assert text[problem.place.column - 1 :].startswith("mn")
        assert problem.excerpt[slice(*problem.span)] == "mn"


def test_nothing_but_wrong_names(tmp_path: Path) -> None:
    """A table of 10,000 rows of nothing but unknown parts is reported in seconds."""
    rows = "".join(f"part_{number},s{number},5 mm\n" for number in range(10_000))
    folder(
        tmp_path,
        model__toml='[model]\nscale = "1:8"\ninclude = ["parts.toml", "rows.csv"]\n',
        parts__toml="".join(f"[part.piece_{number}]\n" for number in range(2000)),
        rows__csv="part,size,full\n" + rows,
    )
    started = time.process_time()
    problems = refused(tmp_path)
    assert time.process_time() - started < 15
    assert len(problems) == 10_000


@pytest.mark.parametrize(
    "text",
    [
        '"' * 100_001,
        '"\n' * 50_001,
        "part,size,full\n" + 'a,b,"' + "x" * 500_000 + '"\n',
        "part,size,full\n" + "a,b," + "x" * 500_000 + "\n",
        "part,size,full\na" + ",x" * 200_000 + "\n",
        "," * 100_000 + "\n",
        "part,size,full\n" + 'a,b,"c\n' * 20_001,
        "part,size,full\n" + '"""' * 30_001 + "\n",
        "part" * 100_000 + "\n",
        "part,size,full\n" + ('axle,s,"1 mm\n' + "x\n" * 1500) * 20,
    ],
)
def test_hostile_csv(tmp_path: Path, text: str) -> None:
    """Tables made to be long or to leave quotes open are refused in short time."""
    folder(
        tmp_path,
        model__toml='[model]\nscale = "1:8"\ninclude = ["parts.toml", "rows.csv"]\n',
        rows__csv=text,
    )
    started = time.process_time()
    problems = refused(tmp_path)
    assert time.process_time() - started < 8
    for problem in problems:
        assert problem.place is not None and problem.place.file == "rows.csv"
        assert len(problem.excerpt) <= 700
