"""The quick reader of plain TOML gives what tomllib gives, with the same places, or nothing.

Outside reference: the standard library's tomllib (TOML 1.0.0), for every text tried here.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scaler.reading.toml_lines import Source
from scaler.reading.toml_plain import read_plain
from scaler.reading.toml_text import Number

EXAMPLES = Path(__file__).parent.parent / "scaler" / "examples"
KEYS = st.sampled_from(["a", "b", "size", "part", "x_1", "full", "9", "A-b"])
TEXTS = st.sampled_from(
    ['"7/8"', "'1\"'", '""', "''", '"a # b"', '"a\\"b"', "'''x'''", '"""y"""', '"ä ½"', '"tab\t"',
     '"open', "'open", '"a" "b"', '"\\u00e9"', '"a\\q"', '"\x01"']
)  # fmt: skip
VALUES = st.one_of(
    TEXTS,
    st.sampled_from(
        ["1", "-2.50", "1_0.5", "true", "1e3", "2020-01-01", '["a", "b"]', "[1,", "{ }", "[]",
         '{ a = "b" }', "{ a = 'b', a = \"c\" }", '{a="1",b="2"}', '{ a = { b = 1 } }', "nope",
         '{ a.b = "c" }', "[[[[[[[[[1]]]]]]]]]", "", "1 # c", '{ a = "b", }', "9" * 50]
    ),
)  # fmt: skip
HEADINGS = st.one_of(
    st.builds("[{}]".format, KEYS),
    st.builds("[{}.{}]".format, KEYS, KEYS),
    st.sampled_from(["[[a]]", "[a.b.c]", "[ a ]", '["a"]', "[a", "[]", "[a] # c", "  [b]  "]),
)
PAIRS = st.one_of(
    st.builds("{} = {}".format, KEYS, VALUES),
    st.builds("{}.{}={}".format, KEYS, KEYS, VALUES),
    st.builds("  {} = {}  # said".format, KEYS, VALUES),
    st.sampled_from(["a.b.c = 1", '"a b" = 1', "a =", "= 1", "a . b = '1'"]),
)
LINES = st.one_of(HEADINGS, PAIRS, PAIRS, st.sampled_from(["", "   ", "# said", "\t"]))
DOCUMENTS = st.builds(
    lambda lines, end: "\n".join(lines) + end,
    st.lists(LINES, max_size=14),
    st.sampled_from(["", "\n"]),
)


def holds_to_tomllib(text: str) -> bool:
    """Whether a text was plain; where it was, data, kinds, order and places must be tomllib's."""
    plain = read_plain(text, Number)
    try:
        data = tomllib.loads(text, parse_float=Number)
    except (tomllib.TOMLDecodeError, ValueError):
        assert plain is None
        return False
    if plain is None:
        return False
    assert repr(plain[0]) == repr(data)  # with the order of keys, and text apart from numbers
    source = Source("m.toml", text)
    for path, (line, column) in plain[1].items():
        place = source.place(path)
        assert (place.line, place.column) == (line, column), path
    return True


@given(DOCUMENTS)
def test_what_it_gives_is_what_tomllib_gives(text: str) -> None:
    """Headings, pairs, values of every form, repeated names, broken lines."""
    holds_to_tomllib(text)


@given(st.text(alphabet="[]{}=.\"'#ab \n\t1,\\", max_size=60))
def test_any_signs_in_any_order(text: str) -> None:
    """What tomllib refuses is never taken."""
    holds_to_tomllib(text)


@pytest.mark.parametrize("file", sorted(EXAMPLES.glob("*/*.toml")), ids=lambda f: f.name)
def test_the_shipped_models(file: Path) -> None:
    """Every file of the examples, with the places of all its entries."""
    holds_to_tomllib(file.read_text(encoding="utf-8"))


def test_usual_lines_are_plain() -> None:
    """A test of the test: what models mostly hold is not left to tomllib."""
    text = (
        '# said\n[part.axle]\nmaterial = "steel"  # bright\ncount = 2\n\n'
        "size.journal = { full = '5\"', kind = \"external\", rule = 'turned' }\n"
        'size.wheel_seat = { full = "6", weight = 0 }\nsize.length = "4 ft"\n'
        "[model]\nscale = '1:8'\n[rules]\nfine = [\"reamed\", 'bored']\n"
    )
    assert holds_to_tomllib(text)


@pytest.mark.parametrize(
    "text",
    [
        "[a]\nb.c = 1\n[a.b]\n",
        "[a.b]\n[a]\nb = 1\n",
        "[a]\nb = 1\nb.c = 2\n",
        "[a]\nb = { c = '1' }\nb.d = 2\n",
        "[a]\n[a]\n",
        "[a]\nb = '1'\n[a.b]\n",
        "[a]\nx = '1'\nx = '2'\n",
    ],
)
def test_names_that_stand_twice_are_left_to_tomllib(text: str) -> None:
    """TOML 1.0.0: a table or key is defined once, and dotted keys define tables too."""
    assert not holds_to_tomllib(text)


def test_a_long_bad_line_takes_no_time() -> None:
    """A line of 300,000 characters with a fault at its end is looked at once."""
    assert read_plain("[a]\nb = { c = " + "'1', c = " * 40_000 + "\n", Number) is None
    assert read_plain("[a]\n" + "a." * 150_000 + "b = 1\n", Number) is None
