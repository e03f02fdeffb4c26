"""What the readers of records share: fields through their readers, names, methods and rules."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import TypeVar

from scaler.expressions import ExpressionError
from scaler.measures.lengths import LengthError
from scaler.measures.scales import ScaleError
from scaler.problems import Known, shorten
from scaler.reading import grammar
from scaler.reading.entries import Entries, Entry, Key
from scaler.reading.grammar import GrammarError, Reader, method_names, parse_method, signed_length
from scaler.records import Method

T = TypeVar("T")
ReadError = LengthError | ScaleError | ExpressionError | GrammarError
READ_ERRORS = (LengthError, ScaleError, ExpressionError, GrammarError)
LONGEST_FIELD = 2000
_EXPRESSION = "an expression such as part.size - '2 mm'"


def label(entry: Entry) -> str:
    """An entry in words."""
    if entry.what == "size":
        return f"{entry.part}.{entry.name}"
    return "the model" if entry.what == "model" else f"{entry.what} {entry.name}"


@dataclass
class Context:
    """One reading of one model: its entries, the problems among them, and what could not be read.

    ``spoilt`` holds what, name and field of each field that was reported; later checks leave it
    out, so that one mistake is one message.
    """

    entries: Entries
    spoilt: set[tuple[str, str, str]] = field(default_factory=set)
    rules: dict[str, tuple[Method, ...]] = field(default_factory=dict)
    _methods: dict[tuple[str, Reader], Method | GrammarError] = field(default_factory=dict)
    _rules: dict[tuple[str, Reader], tuple[Method, ...]] = field(default_factory=dict)
    _known: dict[str, Known] = field(default_factory=dict)

    def spoil(self, entry: Entry, key: str) -> None:
        """Notes that a field has been reported."""
        self.spoilt.add((entry.what, _identity(entry), key))

    def is_spoilt(self, what: str, identity: str, *keys: str) -> bool:
        """Whether one of these fields has been reported before."""
        return any((what, identity, key) in self.spoilt for key in keys)

    def read(
        self,
        entry: Entry,
        key: str,
        reader: Callable[[str], T],
        default: T,
        what: str = "",
        where: Key = None,
    ) -> T:
        """A field through its reader; a problem with its place where that refuses it."""
        value = entry.fields.get(key)
        if value is None:
            if key in entry.wrong:
                self.spoil(entry, key)
            return default
        text = str(value)
        try:
            if len(text) > LONGEST_FIELD:
                raise GrammarError(
                    text[:LONGEST_FIELD],
                    f"text of {len(text)} characters",
                    f"at most {LONGEST_FIELD}",
                    "put long remarks into title, note or why",
                )
            return reader(text)
        except READ_ERRORS as error:
            self.refused(entry, where or key, text, what or key, error)
            self.spoil(entry, key)
            return default

    def refused(self, entry: Entry, key: Key, text: str, what: str, error: ReadError) -> None:
        """Notes what a reader said of a text, with the offending characters marked."""
        self.entries.fail(
            entry,
            key,
            "cannot-read",
            f"{what} of {label(entry)}: {error.problem}",
            expected=error.expected or _EXPRESSION,
            advice=error.advice or "write it in one of the forms expected",
            inner=_inner(text, error),
        )

    def known(self, what: str, names: Iterable[str], otherwise: str = "") -> Known:
        """The names of one sort, made ready for suggestions once."""
        found = self._known.get(what)
        if found is None:
            found = self._known[what] = Known(names, otherwise)
        return found

    def unknown(
        self,
        entry: Entry,
        key: Key,
        name: str,
        what: str,
        names: Iterable[str],
        expected: str = "",
        otherwise: str = "",
    ) -> None:
        """Notes a name that stands for nothing, unless it may stand in what could not be read."""
        if not self.entries.complete or (what, name) in self.entries.lost:
            return
        otherwise = otherwise or f"write [{what}.{shorten(name, 40)}] and what is known of it"
        advice = self.known(what, names, otherwise).advice(name)
        self.entries.fail(
            entry,
            key,
            f"unknown-{what}",
            f"{label(entry)}: there is no {what} '{shorten(name, 60)}'",
            expected=expected or f"a {what} of this model",
            advice=f"{otherwise} ({advice})" if advice.startswith("known here") else advice,
        )

    # --------------------------------------------------------------------- rules and methods

    def all_rules(self) -> None:
        """Reads the rules of [rules]; a rule may name others."""
        for name in self.entries.rules:
            self._named_rule(name, ())

    def _named_rule(self, name: str, above: tuple[str, ...]) -> tuple[Method, ...]:
        if name not in self.rules:
            entry = self.entries.rules[name]
            self.rules[name] = self.rule(entry, name, signed_length, (*above, name))
        return self.rules[name]

    def rule(
        self, entry: Entry, key: str, read: Reader, above: tuple[str, ...] = ()
    ) -> tuple[Method, ...]:
        """The methods of a rule: its own, and those of the rules that it names, in order.

        The same text gives the same methods.
        """
        value = entry.fields[key]
        again = (value, read) if type(value) is str and entry.what == "size" else None
        if again is not None and again in self._rules:
            return self._rules[again]
        methods: list[Method] = []
        whole = True
        if isinstance(value, list):
            items: list[tuple[Key, str]] = [((key, n), item) for n, item in enumerate(value)]
        else:
            items = [(key, item) for item in str(value).split(";")]
        for where, text in items:
            body = " ".join(text.split())
            if body in self.entries.rules and body not in above:
                methods += self._named_rule(body, above)
            elif body in above and body not in method_names():
                ring = " names ".join((*above[above.index(body) :], body))
                self.entries.fail(
                    entry,
                    where,
                    "rule-ring",
                    f"rules that name each other in a ring: {ring}",
                    expected="methods in the end",
                    advice="take one of these names out",
                )
            else:
                method = self.method(entry, where, body, read)
                if method is None:
                    whole = False
                else:
                    methods.append(method)
        found = tuple(methods)
        if again is not None and whole:
            self._rules[again] = found
        return found

    def method(self, entry: Entry, key: Key, text: str, read: Reader) -> Method | None:
        """One method of a rule; None where it cannot be read."""
        found = self._methods.get((text, read))
        if found is None:
            try:
                found = parse_method(text, None, read)
            except GrammarError as error:
                found = error
            self._methods[text, read] = found
        if isinstance(found, Method):
            return found if entry.what == "size" else replace(found, place=entry.place_of(key))
        self.spoil(entry, "rule")
        if found.text == text and "no known method" in found.problem:
            self._unknown_method(entry, key, text)
        else:
            what = f"the rule {entry.name}" if entry.what == "rule" else f"rule of {label(entry)}"
            self.entries.fail(
                entry,
                key,
                "unknown-method" if "no known method" in found.problem else "rule",
                f"{what}: {found.problem}",
                expected=found.expected or _EXPRESSION,
                advice=found.advice or "write the method's name and its options",
                inner=_inner(text, found),
            )
        return None

    def _unknown_method(self, entry: Entry, key: Key, text: str) -> None:
        """A word that is neither a method nor a rule."""
        if not self.entries.complete or ("rule", text) in self.entries.lost:
            return  # it may be a rule of a file that could not be read
        a_rule = "_" in text
        known = self.known("rule or method", (*self.entries.rules, *method_names()))
        what = f"the rule {entry.name}" if entry.what == "rule" else label(entry)
        self.entries.fail(
            entry,
            key,
            "unknown-rule" if a_rule else "unknown-method",
            f"{what}: there is no {'rule' if a_rule else 'method'} '{shorten(text, 60)}'",
            expected="a rule of [rules], or a method (scaler lookup methods lists them)",
            advice=known.advice(text) or "write a method such as turned, bored or reamed",
        )


def _identity(entry: Entry) -> str:
    return f"{entry.part}.{entry.name}" if entry.what == "size" else entry.name


def _inner(text: str, error: ReadError) -> tuple[int, int] | None:
    """The offending characters of a field's text; None for all of it."""
    part = str(error.text)
    at = text.find(part)
    if at < 0 or not part:
        return None
    start, end = error.start, error.end
    if not isinstance(start, int) or not isinstance(end, int):
        return None if part == text else (at, at + len(part))
    return (at + start, at + end) if end > start else None


__all__ = ["LONGEST_FIELD", "READ_ERRORS", "Context", "grammar", "label"]
