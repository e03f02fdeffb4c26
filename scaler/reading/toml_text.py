"""TOML text of a model file into plain data, or the place where reading stopped and what to do."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from typing import Any

from scaler.problems import Place, Problem, shorten
from scaler.reading.toml_lines import Source, Walk
from scaler.reading.toml_plain import read_plain

DEEPEST = 20
"""Tables and lists inside each other; a model file needs six."""
_DEEP_KEY = re.compile(
    r"""(?:^|[\[{,])[ \t]*((?:[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')"""
    r"""(?:[ \t]*+\.[ \t]*+(?:[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')){20,}+)[ \t]*+[=\]]""",
    re.MULTILINE,
)
_TOKEN = re.compile(
    r'''"""(?:[^"\\]++|\\.|"{1,2}(?!"))*+"{3,5}|\'\'\'(?:[^']++|'{1,2}(?!'))*+'{3,5}'''
    r"""|"(?:[^"\\\n]++|\\.)*+"|'[^'\n]*+'|\#[^\n]*+|[\[\]{}]""",
    re.DOTALL,
)
_LONG_NUMBER = re.compile(r"[=\[,][ \t\n]*([+-]?[0-9_]{4000,})")


class Number(str):
    """A number of a TOML file, kept as it was written."""

    __slots__ = ()


@dataclass(frozen=True, slots=True)
class TomlFile:
    """A TOML file: its source and what tomllib read (numbers as they were written)."""

    source: Source
    data: dict[str, Any]


def parse_toml(source: Source) -> TomlFile | Problem:
    """What tomllib reads (or, of plain text, would read), or the place where it stopped.

    Numbers are kept as written (whole ones as int). Nesting deeper than :data:`DEEPEST` is refused.
    """
    plain = read_plain(source.text, _number)
    if plain is not None:
        data, places = plain
        source.know(places)
        return TomlFile(source, data)
    deep = _DEEP_KEY.search(source.text)
    if deep is not None:  # tomllib takes very long over these
        return _refused(source, deep.span(1), "a name of too many parts", "at most 20 parts")
    try:
        data = tomllib.loads(source.text, parse_float=_number)
    except tomllib.TOMLDecodeError as error:
        return _syntax_problem(source, str(error))
    except RecursionError:
        return _too_deep(source)
    except ValueError:  # a whole number beyond what Python converts
        long = _LONG_NUMBER.search(source.text)
        span = long.span(1) if long else (0, 0)
        return _refused(source, span, "a number too long to read", "at most 40 digits")
    if _depth(data) > DEEPEST:
        return _too_deep(source)
    return TomlFile(source, data)


def _number(text: str) -> Number:
    return Number(text.replace("_", ""))


def _depth(data: object) -> int:
    """How deep tables and lists stand inside each other; stops counting beyond the bound."""
    level: list[object] = [data]
    for depth in range(DEEPEST + 1):
        level = [
            item
            for holder in level
            for item in (
                holder.values()
                if isinstance(holder, dict)
                else holder
                if isinstance(holder, list)
                else ()
            )
            if isinstance(item, (dict, list))
        ]
        if not level:
            return depth
    return DEEPEST + 1


def _too_deep(source: Source) -> Problem:
    depth = 0
    for token in _TOKEN.finditer(source.text):
        depth += {"[": 1, "{": 1, "]": -1, "}": -1}.get(token.group(), 0)
        if depth > DEEPEST:
            span = token.span()
            break
    else:
        span = (0, 0)
    return _refused(source, span, "tables or lists nested too deep", f"at most {DEEPEST} levels")


def _refused(source: Source, span: tuple[int, int], headline: str, expected: str) -> Problem:
    mark = source.mark_at(*span)
    return Problem(
        "syntax",
        headline,
        mark.place,
        shorten(source.text[span[0] : span[1]], 60),
        expected,
        "a model file needs no such thing; mend this line",
        mark.excerpt,
        mark.span,
    )


# ------------------------------------------------------------------------ where reading stopped

_AFTER = "mend this line; what stands after it has not been looked at"
_TWICE = re.compile(r"Cannot (declare|overwrite|redefine|mutate)|Duplicate inline table key")
_QUOTE = "text without its closing quote"
_BACKSLASH = "a backslash where none can stand"
_WORDS = (
    ("Expected newline", "something stands after the value", "one name = value on a line"),
    ("Expected '='", "a name without = after it", "name = value"),
    ("Expected ']", "a heading without its closing bracket", "[part.name]"),
    ("Expected \"'", _QUOTE, "text between two quotes"),
    ("Expected", "the line is not complete", "name = value"),
    ("Invalid statement", "a line that is neither name = value nor a heading", "name = value"),
    ("Invalid initial", "a name is missing or begins with a wrong character", "name = value"),
    ("Unclosed array", "a list without its closing ]", "[ …, … ]"),
    ("Unclosed inline", "a { without its closing }", "{ name = value, name = value }"),
    ("Unterminated string", _QUOTE, "text between two quotes"),
    ("Illegal character '\\n'", _QUOTE, "text between two quotes"),
    ("Unescaped", _BACKSLASH, "text without \\, or in single quotes"),
    ("Invalid hex", _BACKSLASH, "text without \\, or in single quotes"),
    ("Escaped character", _BACKSLASH, "text without \\, or in single quotes"),
    ("Illegal character", "a character that cannot stand here", "plain text"),
    ("Found invalid character", "a character that cannot stand here", "plain text"),
    ("Invalid date", "no date or time of day", "text in quotes"),
    ("Invalid value", "a value that cannot be read", "text in quotes, a number, true or false"),
    ("Cannot", "this name already stands for something else", "each name once"),
)


def _where(source: Source, message: str) -> tuple[str, int, int]:
    """tomllib's words, and line and column where it stopped."""
    text, _, where = message.rpartition(" (at ")
    found = re.fullmatch(r"line (\d+), column (\d+)\)", where)
    if found:
        line, column = int(found.group(1)), int(found.group(2))
    else:
        line = max(1, source.text.rstrip().count("\n") + 1)
        column = len(source.line(line)) + 1
    while line > 1 and not source.line(line).strip():  # it often stops on the line after the fault
        line -= 1
        column = len(source.line(line).rstrip()) + 1
    return text, line, column


def _syntax_problem(source: Source, message: str) -> Problem:
    text, line, column = _where(source, message)
    if _TWICE.match(text):
        double = _double(source, line)
        if double is not None:
            return double
    headline, expected = text, "name = value, text in quotes"
    for beginning, words, wanted in _WORDS:
        if text.startswith(beginning):
            headline, expected = words, wanted
            break
    excerpt = source.line(line)
    advice = _advice(headline, excerpt[:1000], column)
    at = source.offset(line) + min(column - 1, len(excerpt))
    mark = source.mark_at(at, at + 1)
    start = mark.span[0] if mark.span else 0
    return Problem(
        "syntax",
        f"reading stopped here: {headline}",
        Place(source.file, line, column),
        expected=expected,
        advice=f"{advice}; {_AFTER}" if advice else _AFTER,
        excerpt=mark.excerpt,
        span=(start, start + 1),
    )


_INCH_MARK = re.compile(r"""\d\s*"\s*"|=\s*"[^"']*\d"\s*[^\s,}\]#]""")
_UNQUOTED = re.compile(
    r"""^\s*([\w.-]+)\s*=\s*([^\s"'\[{#\\][^"\\#]*|[^\s"'\[{#\\][^'\\#]*)(?:\#.*)?$"""
)


def _advice(headline: str, line: str, column: int) -> str:
    """What to write instead, for the mistakes that drawings lead to."""
    here = line[column - 1 : column]
    if here and ord(here) > 127:
        return f"'{shorten(here)}' is no plain letter: names are written with a to z, 0 to 9 and _"
    if _INCH_MARK.search(line):
        return """text with an inch mark in it goes between single quotes: '7/8"'"""
    bare = _UNQUOTED.match(line)
    if bare:
        value = bare.group(2).strip()
        quote = "'" if '"' in value else '"'
        return f"text goes in quotes: {bare.group(1)} = {quote}{shorten(value, 40)}{quote}"
    if headline.startswith("something stands") and re.match(
        r"""\s*[\w.-]+\s*=\s*[^\s"'\[{]""", line
    ):
        return 'text goes in quotes: full = "2 ft 6 in"'
    if headline == _QUOTE:
        return "put the closing quote where the text ends"
    if headline.startswith("a name is missing") and "{" in line:
        if here == "}":
            return "take the last comma out of { … }"
        return "keep all of { … } on one line"
    if headline.startswith("a list") and here not in ("", "#"):
        return "put a comma between two items of a list, and ] after the last"
    if headline.startswith("a {") and here not in ("", "#"):
        return "put text in quotes, and a comma between two facts"
    if headline.startswith("a heading") and re.match(r"\s*\[+[^\]]* ", line):
        return "join the words of a name by _: [part.driving_axle]"
    return ""


def _double(source: Source, line: int) -> Problem | None:
    """A name that stands twice, with the place where it stood first."""
    found = Walk(source.text[: source.offset(line + 1)]).repeated()
    if found is None:
        return None
    path, first, again = found
    mark = source.mark_key_at(again)
    name = ".".join(str(key) for key in path)
    return Problem(
        "double",
        f"'{shorten(name, 60)}' stands twice; first in line {source.place_at(first).line}",
        mark.place,
        read=str(path[-1]),
        expected="each name once",
        advice=f"rename one or take it out; {_AFTER}",
        excerpt=mark.excerpt,
        span=mark.span,
    )
