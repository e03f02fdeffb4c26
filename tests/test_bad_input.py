"""Bad input, case by case: code, place, what was read and the advice of every message.

The cases stand in ``cases/bad_input``, input and message side by side; its README says how to read
them. Where a message must point is marked in the input itself, so that lines and columns are never
copied from what the program printed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

import scaler
from scaler.problems import InputError, Problem, as_dict, render_full, render_line

CASES = Path(__file__).parent / "cases" / "bad_input"


@dataclass
class Expected:
    """A message that a case must give."""

    code: str
    headline: str
    advice: str
    note: bool


@dataclass
class Case:
    """A case: the files of a model folder and the messages that belong to its marks."""

    title: str
    files: dict[str, str] = field(default_factory=dict)
    expected: list[Expected] = field(default_factory=list)

    def clean(self) -> dict[str, str]:
        """The files without their marks."""
        return {name: re.sub("[«»]", "", text) for name, text in self.files.items()}

    def marks(self) -> Iterator[tuple[str, int, int, str]]:
        """File, line, column and marked text of each mark, in order."""
        for name, text in self.files.items():
            for number, line in enumerate(text.split("\n"), 1):
                for found in re.finditer("«([^»]*)»", line):
                    before = re.sub("[«»]", "", line[: found.start()])
                    yield name, number, len(before) + 1, found.group(1)


def read_cases(path: Path) -> Iterator[Case]:
    """The cases of a file."""
    case, name = Case(""), ""
    lines: list[str] = []

    def put() -> None:
        if name and any(line.strip() for line in lines):
            case.files[name] = "\n".join(lines).rstrip("\n") + "\n"

    for line in path.read_text(encoding="utf-8").split("\n"):
        if line.startswith("=== "):
            put()
            if case.title:
                yield case
            case, name, lines = Case(line[4:]), "more.toml", []
        elif line.startswith("--- "):
            put()
            name, lines = line[4:], []
        elif found := re.match(r"(-->|~~>) ([a-z-]+): (.*)", line):
            put()
            name = ""
            case.expected.append(
                Expected(found.group(2), found.group(3), "", found.group(1) == "~~>")
            )
        elif case.expected and not name:
            case.expected[-1].advice += line.strip()
        else:
            lines.append(line)
    put()
    if case.title:
        yield case


(BASE,) = read_cases(CASES / "base.txt")
ALL = [
    pytest.param(case, id=f"{path.stem}: {case.title}")
    for path in sorted(CASES.glob("*.txt"))
    if path.stem not in ("README", "base")
    for case in read_cases(path)
]


def problems_of(folder: Path) -> tuple[Problem, ...]:
    """What is wrong with a model, or the notes on it; anything but an InputError passes through."""
    try:
        model = scaler.load(folder)
        scaler.check(model)
    except InputError as error:
        return error.problems
    return model.notes


def write(folder: Path, files: dict[str, str]) -> None:
    """Writes the files of a model folder."""
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="")


@pytest.mark.parametrize("case", ALL)
def test_message(case: Case, tmp_path: Path) -> None:
    """Each message has its code, points at its mark, and says what to do."""
    write(tmp_path, BASE.files | case.clean())
    found = list(problems_of(tmp_path))
    marks = list(case.marks())
    assert len(marks) == len(case.expected), "a case needs as many marks as messages"
    order = list((BASE.files | case.files).keys())
    found.sort(key=lambda p: (order.index(p.place.file), p.place))  # type: ignore[union-attr]
    listed = "\n".join(f"{render_line(problem)}" for problem in found)
    assert [item.code for item in case.expected] == [problem.code for problem in found], listed
    in_files = sorted(
        zip(case.expected, marks, strict=True), key=lambda pair: order.index(pair[1][0])
    )
    for (wanted, (file, line, column, text)), problem in zip(in_files, found, strict=True):
        assert problem.place is not None
        place = (problem.place.file, problem.place.line, problem.place.column)
        assert (wanted.code, *place) == (problem.code, file, line, column), listed
        if wanted.headline.endswith("…"):
            assert problem.headline.startswith(wanted.headline[:-1])
        else:
            assert wanted.headline == problem.headline
        if problem.advice != wanted.advice:
            assert wanted.advice and problem.advice.startswith(wanted.advice.rstrip("…"))
        assert (problem.severity == "warning") == wanted.note
        if text:
            assert problem.span is not None
            assert text == problem.excerpt[slice(*problem.span)]
            assert not problem.read or problem.read.startswith((text, text[1:-1]))
        for rendered in (render_full(problem), render_line(problem)):
            assert rendered.startswith(file) and f"{line}" in rendered.split("\n")[0]
        assert as_dict(problem)["line"] == line
