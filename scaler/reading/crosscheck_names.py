"""Names and dimensions in the expressions of a model: whether all is there and fits together."""

from __future__ import annotations

from collections.abc import Mapping

from scaler.expressions import (
    ANGLE,
    LENGTH,
    NUMBER,
    Dimension,
    DimensionError,
    Name,
    Node,
    Number,
    dimension,
    names,
    walk,
)
from scaler.problems import Known, copy_meant, listed, nearest, shorten
from scaler.reading.context import Context
from scaler.reading.entries import Entry, Key
from scaler.records import Kind, Model


class Names:
    """Checks of what an expression names, and of its dimension; problems go to the entries."""

    def __init__(self, model: Model, context: Context, sizes: Mapping[str, Entry]) -> None:
        self.model, self.context, self.entries = model, context, context.entries
        self.size_entries = sizes
        self.known_sizes = Known(model.sizes, "name a size of this model, part.size")

    def fail(
        self,
        entry: Entry,
        key: Key,
        code: str,
        headline: str,
        expected: str = "",
        advice: str = "",
        *,
        inner: tuple[int, int] | None = None,
    ) -> None:
        """Keeps a fault of an entry, at its key or inside its text."""
        self.entries.fail(entry, key, code, headline, expected=expected, advice=advice, inner=inner)

    # ---------------------------------------------------------------------- names, dimensions

    def dimension_of(self, name: str) -> Dimension:
        """What a size measures, by its kind: a length, an angle or a number."""
        kind = self.model.sizes[name.partition("@")[0]].kind
        if kind.is_length:
            return LENGTH
        return ANGLE if kind is Kind.ANGLE else NUMBER

    def known(self, node: Node, what: str, entry: Entry, key: Key, text: str) -> bool:
        """Whether all sizes (and copies) that an expression names are there."""
        if all(name in self.model.sizes for name in names(node)):  # nothing to word
            return True
        good = True
        seen: set[str] = set()
        for item in walk(node):
            if isinstance(item, Name) and item.name not in seen:
                seen.add(item.name)
                good &= self.known_name(item, what, entry, key, text)
        return good

    def known_name(self, node: Name, what: str, entry: Entry, key: Key, text: str) -> bool:
        """Whether one name is a size of the model, with a copy that its part has; a fault is kept."""
        name, inner = node.name, inside(text, node.name, node.start)
        identity, _, copy = name.partition("@")
        part = identity.partition(".")[0]
        expected = "a size of this model"
        if identity not in self.model.sizes:
            if ("part", part) in self.entries.lost:
                return False
            headline = f"{what} names '{shorten(name, 60)}': there is no such size"
            if part not in self.model.parts:
                headline = f"{what} names '{shorten(name, 60)}': there is no part '{part[:60]}'"
            advice = self.advice(identity, part)
            self.fail(entry, key, "unknown-size", headline, expected, advice, inner=inner)
            return False
        copies = self.model.parts[part].copies
        if copy and copy not in copies:
            self.fail(
                entry,
                key,
                "unknown-copy",
                f"{what}: {part} has no copy '{shorten(copy, 60)}'",
                ", ".join(copies) or "a part whose copies are named",
                copy_meant(copy, part, copies, self.model.parts[part].count),
                inner=inner,
            )
            return False
        return True

    def advice(self, identity: str, part: str) -> str:
        """What may be meant by a size that is not there."""
        if part not in self.model.parts:
            return self.known_sizes.advice(identity)
        mine = [size for size in self.model.sizes if size.startswith(f"{part}.")]
        close = nearest(identity.partition(".")[2], [size[len(part) + 1 :] for size in mine])
        if close:
            return "did you mean " + " or ".join(f"'{part}.{name}'" for name in close) + "?"
        return f"sizes of {part}: {listed(mine) or 'none'}"

    def doubtful(self, node: Node) -> bool:
        """Whether a size is named whose kind could not be read."""
        return bool(self.context.spoilt) and any(
            self.context.is_spoilt("size", name.partition("@")[0], "kind") for name in names(node)
        )

    def measured(
        self,
        node: Node,
        what: str,
        entry: Entry,
        key: Key,
        text: str,
        wanted: Dimension | None = None,
    ) -> Dimension | None:
        """The dimension of an expression whose names are known; what does not fit is reported."""
        if self.doubtful(node):
            return None
        if isinstance(node, Name) and wanted in (None, LENGTH):
            own = self.dimension_of(node.name)
            if own is LENGTH or wanted is None:
                return own  # much the most usual
        try:
            found = dimension(node, self.dimension_of, text)
        except DimensionError as error:
            inner = (error.start, error.end) if error.text == text else None
            headline = f"{what} {error.problem}"
            self.fail(entry, key, "dimension", headline, error.expected, error.advice, inner=inner)
            return None
        if wanted is None or found == wanted or is_nothing(node):
            return found
        headline = f"{what} is {a_(found.describe())} where {a_(wanted.describe())} is needed"
        advice = f"write an expression that gives {a_(wanted.describe())}"
        if isinstance(node, Number) and wanted == LENGTH:
            advice = "a bare number is no length: quote it with its unit, '0.8 mm'"
        inner = span_of(node, text)
        self.fail(entry, key, "dimension", headline, a_(wanted.describe()), advice, inner=inner)
        return None


def inside(text: str, name: str, start: int) -> tuple[int, int] | None:
    """The span of a name in a text: where it was read, else where it stands first."""
    if text[start : start + len(name)] != name or start < 0:
        start = text.find(name)
    return (start, start + len(name)) if start >= 0 else None


def span_of(node: Node, text: str) -> tuple[int, int] | None:
    """Where a node stands in its text; None where it was not read from it."""
    return (node.start, node.end) if 0 <= node.start < node.end <= len(text) else None


def is_nothing(node: Node) -> bool:
    """A plain 0, which fits any dimension."""
    return getattr(node, "value", None) == 0


def a_(word: str) -> str:
    """The word with its article."""
    return f"an {word}" if word[:1] in "aeiou" else f"a {word}"
