"""A model folder into records: every problem is named in one go, and nothing but problems."""

from __future__ import annotations

import random
from fractions import Fraction as F
from importlib.resources import files
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import scaler
from scaler.problems import InputError, Place, Problem, as_dict, in_order, render_full, render_line
from scaler.records import Model

EXAMPLE = Path(str(files("scaler").joinpath("examples", "pattern_d")))


def write(folder: Path, texts: dict[str, str]) -> Path:
    """A model folder with these files."""
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def problems(folder: Path) -> tuple[Problem, ...]:
    """What is wrong with a model that must not be readable."""
    with pytest.raises(InputError) as caught:
        scaler.load(folder)
    return caught.value.problems


def test_source_is_no_standard(tmp_path: Path) -> None:
    """Free wording in source is never taken for the name of a standard's dimension."""
    text = """[model]
scale = "1:8"
[part.axle]
size.length = "2 ft"
[condition.room]
keep = "axle.length >= '1 mm'"
source = "standard: mine"
"""
    model = scaler.load(write(tmp_path, {"model.toml": text}))
    assert model.conditions["room"].source == "standard: mine"


def test_rules_name_rules(tmp_path: Path) -> None:
    """A rule may name others, also further down, and one may be called like a method."""
    text = """[model]
scale = "1:8"
[rules]
both = ["fine", "turned"]
fine = "turned step 0.01 mm"
turned = ["turned", "milled"]
[part.axle]
size.length = { full = "2 ft", rule = "both" }
size.width = { full = "2 ft", rule = "fine; bored" }
"""
    model = scaler.load(write(tmp_path, {"model.toml": text}))
    rule = model.sizes["axle.length"].rule
    assert [m.text for m in rule] == ["turned step 0.01 mm", "turned", "milled"]
    assert [m.text for m in model.sizes["axle.width"].rule] == ["turned step 0.01 mm", "bored"]


# ------------------------------------------------------------------------- every problem in one go


def test_thirteen_mistakes_in_three_files(tmp_path: Path) -> None:
    """Thirteen mistakes of different sorts in three files: all are named, each on its line."""
    found = problems(
        write(
            tmp_path,
            {
                "model.toml": """[model]
scale = "1:8"
limits = "ISO 2768-q"
shop_ony = true
include = ["parts.toml", "sizes.csv"]
""",
                "parts.toml": """[drawing.sheet_1]
unit = "in"
[part.axle]
drawing = "sheet_1"
count = "two"
size.journal = { full = "4 3/8", rule = "turnd" }
size.length = { full = "2 ft", limits = "H7" }
[part.bush]
drawing = "sheet_9"
size.bore = { full = "4 13/32", kind = "inside" }
size.oil_hole = { full = "1/4", equals = "axle.journal + 3" }
[pair.running]
inner = "axle.jurnal"
outer = "bush.bore"
fit = "0.10 to 0.04 mm"
[condition.room]
keep = "axle.length >= 5"
""",
                "sizes.csv": """part,size,full
axle,seat,4 1/4
axle,journal,4 3/8
axel,collar,5
""",
            },
        )
    )
    assert [(p.code, p.place.file, p.place.line) for p in found if p.place] == [
        ("unknown-limits", "model.toml", 3),
        ("unknown-key", "model.toml", 4),
        ("type", "parts.toml", 5),
        ("unknown-method", "parts.toml", 6),
        ("limits", "parts.toml", 7),
        ("unknown-drawing", "parts.toml", 9),
        ("not-known", "parts.toml", 10),
        ("dimension", "parts.toml", 11),
        ("unknown-size", "parts.toml", 13),
        ("cannot-read", "parts.toml", 15),
        ("dimension", "parts.toml", 17),
        ("double", "sizes.csv", 3),
        ("unknown-part", "sizes.csv", 4),
    ]
    for problem in found:
        assert problem.advice and problem.excerpt and render_full(problem)


def test_one_mistake_is_one_message(tmp_path: Path) -> None:
    """What hangs on something that could not be read is not reported as well."""
    text = """[model]
scale = "1:8"
include = ["more.toml"]
[part.axle]
size.journal = { full = "5 inn", kind = "external" }
size.turn = { full = "30 deg", kind = "angel" }
size.length = { made = "5", state = "made" }
[part.bush]
drawing = 5
size.bore = "4"
[pair.running]
inner = "axle.journal"
outer = "bush.bore +"
fit = "H7/g6"
basis = "last cut axle.journal"
[condition.turning]
keep = "axle.turn <= '45 deg'"
[condition.room]
keep = 5
basis = "last cut bush.bore"
"""
    more = """[part."Big End"]
size.bore = "5 mm"
"""
    found = problems(write(tmp_path, {"model.toml": text, "more.toml": more}))
    places = [(p.code, p.place.file, p.place.line) for p in found if p.place]
    assert places == [
        ("cannot-read", "model.toml", 5),
        ("not-known", "model.toml", 6),
        ("cannot-read", "model.toml", 7),
        ("type", "model.toml", 9),
        ("cannot-read", "model.toml", 13),
        ("type", "model.toml", 19),
        ("name", "more.toml", 1),
    ]


def test_names_of_a_file_that_could_not_be_read(tmp_path: Path) -> None:
    """Where a file is missing or stops, names that may stand in it are not called unknown."""
    text = """[model]
scale = "1:8"
include = ["parts.toml", "missing.toml"]
[part.axle]
drawing = "sheet_1"
size.journal = { full = "5", rule = "own_rule" }
size.seat = { full = "5 in", limits = "5" }
[pair.running]
inner = "axle.journal"
outer = "bush.bore"
fit = "H7/g6"
"""
    found = problems(write(tmp_path, {"model.toml": text, "parts.toml": "[part.bush\n"}))
    places = [(p.code, p.place.file, p.place.line) for p in found if p.place]
    assert places == [
        ("no-file", "model.toml", 3),
        ("cannot-read", "model.toml", 7),
        ("syntax", "parts.toml", 1),
    ]


# ----------------------------------------------------- raised by reducing and checking a model


OPEN = {
    "open": ("size.bore = { kind = 'internal' }", {6}, {"open-size"}),
    "open together": (
        """size.bore = { kind = 'internal' }
size.outside = { kind = 'external' }
[condition.wall]
keep = "collar.outside - collar.bore == '5 mm'"
""",
        {6, 7},
        {"open-size"},
    ),
    "over-determined": (
        """size.bore = { kind = 'internal' }
[condition.one]
keep = "collar.bore == axle.journal + '1 mm'"
[condition.two]
keep = "collar.bore == axle.journal + '2 mm'"
""",
        {7, 9},
        {"disagree"},
    ),
    "ring": (
        """size.bore = { equals = "collar.bore_two + '1 mm'" }
size.bore_two = { equals = "collar.bore + '1 mm'" }
""",
        {6, 7},
        {"no-solution", "open-size", "disagree"},
    ),
    "no root": (
        """size.bore = { kind = 'internal', between = '1 mm to 9 mm' }
[condition.one]
keep = "collar.bore^2 + '5 mm'^2 == '3 mm'^2"
""",
        {6, 7},
        {"no-solution"},
    ),
}


@pytest.mark.parametrize(("text", "lines", "codes"), OPEN.values(), ids=OPEN)
def test_open_and_contradicting_sizes(
    tmp_path: Path, text: str, lines: set[int], codes: set[str]
) -> None:
    """Sizes that nothing fixes, that are fixed twice, and that no value can satisfy."""
    head = "[model]\nscale = '1:8'\n[part.axle]\nsize.journal = '5 in'\n[part.collar]\n"
    model = scaler.load(write(tmp_path, {"model.toml": f"{head}{text}\n"}))
    for work in (scaler.reduce, scaler.check):
        with pytest.raises(InputError) as caught:
            work(model)
        for problem in caught.value.problems:
            assert problem.place is not None
            assert (problem.place.file, problem.code in codes) == ("model.toml", True)
            assert problem.place.line in lines
            assert problem.headline and problem.expected and problem.advice


@settings(max_examples=25)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 40), st.integers(0, 11), st.integers(0, 63), st.sampled_from("lpe")
        ),
        min_size=1,
        max_size=12,
    )
)
def test_full_size_leaves_sizes_as_drawn(
    tmp_path_factory: pytest.TempPathFactory, drawn: list[tuple[int, int, int, str]]
) -> None:
    """At a scale of 1 : 1 every exact size is the drawn one, to the last digit."""
    text = "[model]\nscale = '1:1'\n[part.bar.size]\n"
    wanted = {}
    for number, (feet, inch, part, kind) in enumerate(drawn):
        value = (feet * 12 + inch + F(part, 64)) * F(127, 5)
        if value == 0:
            continue
        name = {"l": "length", "p": "position", "e": "diameter"}[kind]
        text += f"s{number}_{name} = '{feet} ft {inch} {part}/64 in'\n"
        wanted[f"bar.s{number}_{name}"] = value
    folder = write(tmp_path_factory.mktemp("full"), {"model.toml": text})
    reduced = scaler.reduce(scaler.load(folder), "exact")
    assert {line.size.id: line.exact for line in reduced.lines} == wanted
    assert all(line.full == line.exact and line.departure == 0 for line in reduced.lines)


# ------------------------------------------------------------------------------------ the logs


def test_the_rest_of_a_broken_log_is_kept(tmp_path: Path) -> None:
    """A torn or broken line is noted with its place; the lines before and after it count."""
    text = "[model]\nscale = '1:8'\n[part.axle]\nsize.journal = '5 in'\nsize.length = '2 ft'\n"
    choices = """time,action,size,value,method,row,note
1,choose,axle.journal,15.8 mm,turned,,
2,choose,axle.journal,15.9 mm,turned,,
3,undo,axle.journal,,,,
4,choose,axle.length,"76 mm,milled,,
5,choose,axle.length,76.5 mm,milled,,
6,choose,axle.length,77
"""
    readings = "action,size,value\nreading,axle.length,76.52 mm\nreading,axle.lenght,70 mm\n"
    model = scaler.load(
        write(tmp_path, {"model.toml": text, "choices.csv": choices, "readings.csv": readings})
    )
    assert {name: choice.value for name, choice in model.choices.items()} == {
        "axle.journal": F("15.8"),
        "axle.length": F("76.5"),
    }
    assert {key: reading.value for key, reading in model.readings.items()} == {
        ("axle.length", ""): F("76.52")
    }
    assert [(n.severity, n.place.file, n.place.line) for n in model.notes if n.place] == [
        ("warning", "choices.csv", 5),
        ("warning", "choices.csv", 7),
        ("warning", "readings.csv", 3),
    ]


# --------------------------------------------------------------------------- text at random


def example() -> dict[str, bytes]:
    """The files of the larger shipped example."""
    return {path.name: path.read_bytes() for path in EXAMPLE.iterdir() if path.is_file()}


SNIPPETS = [
    b'"',
    b"'",
    b"[",
    b"]",
    b"{",
    b"}",
    b"=",
    b"#",
    b"\n",
    b"\r\n",
    b",",
    b";",
    b"\\",
    b"\0",
]
SNIPPETS += [b"\xff", "½".encode(), "ａ".encode(), b"1e999999", b"9" * 60, b"(" * 60, b".", b" mm"]
SNIPPETS += [b"[part.axle]", b"size.x = ", b"nan", b"\t", b"full", b"\xef\xbb\xbf", b"--", b"^9"]


@settings(max_examples=120)
@given(st.sampled_from(sorted(example())), st.integers(0, 2**32), st.integers(1, 4))
def test_examples_with_changes_at_random(
    tmp_path_factory: pytest.TempPathFactory, name: str, seed: int, count: int
) -> None:
    """Bytes put in, taken out or moved anywhere in an example: a message or a model, no crash."""
    files_ = example()
    data, chance = bytearray(files_[name]), random.Random(seed)
    for _ in range(count):
        at = chance.randrange(len(data) + 1)
        match chance.randrange(4):
            case 0:
                data[at:at] = chance.choice(SNIPPETS)
            case 1:
                del data[at : at + chance.choice([1, 1, 3, 40, 4000])]
            case 2:
                data[at : at + 1] = bytes([chance.randrange(256)])
            case _:
                piece = data[at : at + chance.choice([5, 60, 400])]
                where = chance.randrange(len(data) + 1)
                data[where:where] = piece
    files_[name] = bytes(data)
    only_message(tmp_path_factory.mktemp("changed"), files_)


@settings(max_examples=60)
@given(st.one_of(st.text(max_size=200).map(str.encode), st.binary(max_size=100)))
def test_any_text_at_all(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    """Whatever stands in a file, reading it ends in a message or a model."""
    head = b"[model]\nscale = '1:8'\ninclude = ['a.toml', 'a.csv']\nshop = 'b.csv'\n"
    folder = tmp_path_factory.mktemp("any")
    others = dict.fromkeys(["a.toml", "a.csv", "b.csv", "choices.csv", "readings.csv"], data)
    only_message(folder, {"model.toml": head, **others})
    only_message(folder, {"model.toml": data})


def only_message(folder: Path, files_: dict[str, bytes]) -> None:
    """Reads a model, which must give an InputError whose problems are whole, or a Model."""
    for name, data in files_.items():
        (folder / name).write_bytes(data)
    try:
        model = scaler.load(folder)
    except InputError as error:
        found: tuple[Problem, ...] = error.problems
        assert found and str(error)
    else:
        assert isinstance(model, Model)
        found = model.notes
    for problem in found:
        assert problem.headline and problem.expected and problem.advice, problem
        assert problem.place is None or problem.place.line >= 1 <= problem.place.column
        assert render_line(problem).count("\n") == 0
        assert as_dict(problem)["code"] == problem.code
        if problem.span is not None:
            assert 0 <= problem.span[0] <= problem.span[1] <= len(problem.excerpt) + 1


# -------------------------------------------------------------------------- order, size and time


def test_order_of_problems() -> None:
    """Problems come in the order of the files as they are named, then by line and column."""
    places = [None, Place("b", 2), Place("b", 2, 4), Place("b", 10), Place("a", 1), Place("c", 1)]
    given_ = [Problem(str(number), "x", place) for number, place in enumerate(places)]
    shuffled = [*given_, *given_]
    random.Random(1).shuffle(shuffled)
    assert in_order(shuffled, ["b", "a"]) == tuple(given_)
