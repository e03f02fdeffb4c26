"""Drills, gauges and stock by the names the trade gives them, and the sizes nearest to a length.

``#30``, ``letter F``, ``13/32``, ``16 S.W.G.``, ``18 B&S``, ``flat 10 x 3``, ``tube copper 1/4 in
22 swg``: every character must be accounted for; what cannot be read is refused with the nearest
known names. A bare fraction is inches and a bare decimal or whole number millimetres, as drills and
bar are marked; the answer's designation shows how it was read. Beyond the end of a table the answer
is a refusal that names the end. All sizes are exact fractions of a millimetre.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from scaler import catalogue
from scaler.catalogue import Row
from scaler.measures.lengths import INCH_MM, LengthError, parse_length
from scaler.trade.stock_text import (
    FRACTIONS,
    QUOTES,
    SECTIONS,
    SPLIT_MARKS,
    Unread,
    dimensions,
    read_stock,
)

LONGEST = 120
"""Characters a designation may have; longer text is refused."""


class UnknownDesignation(LookupError):
    """A text that names nothing in the catalogues, or more than one thing.

    Attributes: `text` as given (cut where it was too long), `reason` in words, `nearest` known
    designations, best first.
    """

    def __init__(self, text: str, reason: str, nearest: tuple[str, ...] = ()) -> None:
        self.text, self.reason, self.nearest = text[:LONGEST], reason, nearest
        hint = f"; the nearest known: {', '.join(nearest)}" if nearest else ""
        super().__init__(f"{text[:LONGEST]!r}: {reason}{hint}")


@dataclass(frozen=True, slots=True)
class Found:
    """A drill: its row, the series it belongs to, its diameter both ways, and where that is from."""

    row: Row
    series: str
    diameter_mm: Fraction
    diameter_inch: Fraction
    source: str
    place: str
    note: str = ""

    @property
    def designation(self) -> str:
        """The drill as the table names it."""
        return self.row.text("designation")


@dataclass(frozen=True, slots=True)
class FoundGauge:
    """A gauge number: its row, whose gauge it is, the thickness both ways, and where it is from."""

    row: Row
    series: str
    thickness_mm: Fraction
    thickness_inch: Fraction
    source: str
    place: str
    note: str = ""

    @property
    def designation(self) -> str:
        """The gauge as the table names it."""
        return self.row.text("designation")


@dataclass(frozen=True, slots=True)
class Neighbour:
    """A row near a size: its table, its size and the size less the one asked for. [mm]"""

    designation: str
    table: str
    row: Row
    size_mm: Fraction
    departure_mm: Fraction


@dataclass(frozen=True, slots=True)
class Neighbours:
    """Rows below, at and above a size, each nearest first; empty where the tables end."""

    below: tuple[Neighbour, ...]
    equal: tuple[Neighbour, ...]
    above: tuple[Neighbour, ...]

    def all(self) -> tuple[Neighbour, ...]:
        """Every row, nearest first; of two as near, the smaller first."""
        rows = (*self.equal, *self.below, *self.above)
        return tuple(sorted(rows, key=lambda near: abs(near.departure_mm)))


@dataclass(frozen=True, slots=True)
class StockMatch:
    """A row of stock and how far it is from what was asked. [mm]

    `dimension`, `size_mm` and `departure_mm` are of the one that departs most of the dimensions
    asked for, the first where none departs more; `sizes` holds (name, size, departure) of all.
    """

    designation: str
    table: str
    row: Row
    dimension: str
    size_mm: Fraction
    departure_mm: Fraction
    sizes: tuple[tuple[str, Fraction, Fraction], ...]
    source: str


# ------------------------------------------------------------------------------ tables by family

_DRILLS = {
    "metric": "drills_metric",
    "inch": "drills_inch",
    "number": "drills_number",
    "letter": "drills_letter",
}
_GAUGES = {
    "SWG": "gauge_swg",
    "AWG": "gauge_awg",
    "BWG": "gauge_birmingham",
    "BG": "gauge_birmingham_sheet",
}


def _stock(form: str) -> tuple[str, ...]:
    return (f"stock_{form}_metric", f"stock_{form}_inch")


FAMILIES: dict[str, tuple[str, ...]] = {
    "drills": tuple(_DRILLS.values()),
    "reamers": ("reamers_metric", "reamers_inch"),
    "slot drills": ("slot_drills_metric", "slot_drills_inch"),
    "end mills": ("end_mills_metric", "end_mills_inch"),
    "countersinks": ("countersinks",),
    "counterbores": ("counterbores",),
    "centre drills": ("centre_drills_metric", "centre_drills_inch"),
    "slitting saws": ("slitting_saws",),
    "gauges": tuple(_GAUGES.values()),
    "round bar": _stock("round"),
    "square bar": _stock("square"),
    "hexagon bar": _stock("hexagon"),
    "flats": _stock("flat"),
    **{form: _stock(form) for form in ("sheet", "strip", "angle", "tube", "wire")},
}
"""Tables under one name, metric and inch together, for `neighbours`."""

_BASES = dict.fromkeys((table for tables in FAMILIES.values() for table in tables), "diameter")
_BASES |= dict.fromkeys((*FAMILIES["gauges"], "slitting_saws"), "thickness")
_BASES |= {table: names[0] for form, names in SECTIONS.items() for table in _stock(form)}


@dataclass(frozen=True, slots=True)
class _Column:
    """The sizes of one or several tables in rising order, and what stands at each. [mm]

    ``keys`` are the sizes as floats, for finding the place; what is found is compared exactly.
    """

    keys: tuple[float, ...]
    items: tuple[tuple[Fraction, str, str, Row], ...]


@cache
def _column(
    tables: tuple[str, ...], base: str | None, where: tuple[tuple[str, str], ...]
) -> _Column:
    """All rows of the tables that meet the conditions, by size, then table, then line."""
    found = []
    for order, table in enumerate(tables):
        dimension = base or _BASES[table]
        for row in catalogue.table(table).rows:
            size = row.mm(dimension)
            if size is not None and all(row.text(name) == value for name, value in where):
                found.append(((size, order, row.line), (size, row.text("designation"), table, row)))
    found.sort(key=lambda pair: pair[0])
    items = tuple(item for _, item in found)
    return _Column(tuple(float(item[0]) for item in items), items)


@cache
def _tables_of(names: tuple[str, ...]) -> tuple[str, ...]:
    found = (table for name in names for table in FAMILIES.get(name, (name,)))
    return tuple(dict.fromkeys(found))


def neighbours(
    size_mm: Fraction | int,
    tables: str | Iterable[str],
    count: int = 1,
    base: str | None = None,
    where: Mapping[str, str] | None = None,
) -> Neighbours:
    """The rows nearest below and above a size, over one or several tables at once.

    Parameters
    ----------
    size_mm : Fraction or int
        The size looked for. [mm]
    tables : str or iterable of str
        Names of tables, or of families in `FAMILIES` (``"drills"``, ``"round bar"``).
    count : int
        How many to give below, and above (rows of exactly the size come extra).
    base : str or None
        The dimension compared, such as ``"bore"``; None: the first one of each table.
    where : mapping of str to str or None
        Columns whose text must be exactly this, such as ``{"finish": "ground"}``.

    Raises
    ------
    KeyError
        For a table that is neither known nor described here.

    Examples
    --------
    >>> near = neighbours(Fraction("3.27"), "drills")
    >>> near.below[0].designation, near.above[0].designation
    ('No. 30', '3.3 mm')
    """
    names = (tables,) if isinstance(tables, str) else tuple(tables)
    size = Fraction(size_mm)
    column = _column(_tables_of(names), base, tuple(sorted((where or {}).items())))
    keys, items, key = column.keys, column.items, float(size)
    low, high = bisect_left(keys, key), bisect_right(keys, key)
    # rows whose float is the same as the size's are told apart exactly
    while low < high and items[low][0] < size:
        low += 1
    while high > low and items[high - 1][0] > size:
        high -= 1

    def near(span: Iterable[int]) -> tuple[Neighbour, ...]:
        return tuple(
            Neighbour(items[at][1], items[at][2], items[at][3], items[at][0], items[at][0] - size)
            for at in span
        )

    most = max(count, 0)
    return Neighbours(
        near(_down(items, low, most)),
        near(range(low, high)),
        near(range(high, high + most)[: len(items) - high]),
    )


def _down(items: tuple[tuple[Fraction, str, str, Row], ...], end: int, count: int) -> list[int]:
    """The last `count` places before `end`, nearest size first, equal sizes in table order."""
    found: list[int] = []
    while end > 0 and len(found) < count:
        start = end - 1
        while start > 0 and items[start - 1][0] == items[end - 1][0]:
            start -= 1
        found += range(start, end)
        end = start
    return found[:count]


# ------------------------------------------------------------------------------------ reading

_DRILL_WORDS = re.compile(
    r"\b(?:twist|jobber|drills?|dia|diam|diameter|bit|size)\b(?:\.(?!\d))?|[ø⌀]"
)
_DRILL_NUMBER = re.compile(r"(?:no|nr|num|number|#|№)\s?\.?\s?(\d+)|(\d+)\s?#")
_DRILL_LETTER = re.compile(r"(?:letter|let)?\s?\.?\s?([a-z])")
_NUMBERED = re.compile(r"\d+/0|\d+")
_GAUGE_DOTS = re.compile(r"(?<=[a-z])\.|\.(?!\d)")
_GAUGE_HYPHENS = re.compile(r"(?<=[a-z0-9])-(?=[a-z0-9])")


def _clean(text: str) -> str:
    """The text in small letters with single blanks, or a refusal where it is empty or too long."""
    if len(text) > LONGEST:
        raise UnknownDesignation(text, f"read {len(text)} characters; at most {LONGEST}")
    plain = " ".join(text.lower().split())
    if not plain:
        raise UnknownDesignation(text, "nothing to look up")
    return plain


def _mm(row: Row, name: str) -> Fraction:
    size = row.mm(name)
    assert size is not None
    return size


def _drill_of(row: Row, series: str, note: str = "") -> Found:
    diameter = _mm(row, "diameter")
    return Found(
        row, series, diameter, diameter / INCH_MM, row.text("source"), row.text("place"), note
    )


def find_drill(text: str) -> Found:
    """The drill that a text names, by number, letter, fraction or millimetres.

    Raises
    ------
    UnknownDesignation
        Where the text names no drill of the catalogues; with the nearest ones by size.

    Examples
    --------
    >>> find_drill("#30").diameter_inch
    Fraction(257, 2000)
    >>> find_drill("13/32").designation, find_drill("10,2 mm").designation
    ('13/32 in', '10.2 mm')

    References
    ----------
    Number, letter and fraction sizes: ASME B94.11M; metric: BS 328 (both second-hand, each row
    states its own source). Reading of bare numbers: common practice.
    """
    plain = " ".join(_DRILL_WORDS.sub(" ", _clean(text)).split())
    plain = plain.removesuffix(".").removesuffix(",")
    number = _DRILL_NUMBER.fullmatch(plain)
    if number:
        digits = (number[1] or number[2]).lstrip("0") or "0"
        table = catalogue.table("drills_number")
        row = table.find(f"No. {digits}")
        if row is None:
            last, first = table.rows[0].text("designation"), table.rows[-1].text("designation")
            end = last if len(digits) > 1 else first
            raise UnknownDesignation(text, f"number drills go from {first} to {last}", (end,))
        return _drill_of(row, "number")
    letter = _DRILL_LETTER.fullmatch(plain)
    if letter:
        row = catalogue.table("drills_letter").find(f"letter {letter[1].upper()}")
        assert row is not None
        return _drill_of(row, "letter")
    if not any(ch.isdigit() or ch in FRACTIONS for ch in plain):
        raise UnknownDesignation(text, "neither a number, a letter nor a size of drill")
    try:
        size = parse_length(plain, "in" if any(ch in plain for ch in SPLIT_MARKS) else "mm").mm
    except LengthError as error:
        raise UnknownDesignation(text, str(error)) from None
    inches = any(ch in plain for ch in "in" + SPLIT_MARKS + QUOTES)
    order = ("inch", "number", "letter", "metric") if inches else tuple(_DRILLS)
    for series in order:
        equal = neighbours(size, _DRILLS[series]).equal
        if equal:
            other = catalogue.table("drills_number").find(f"No. {plain}")
            note = f"read as millimetres; {other.text('designation')} is another" if other else ""
            return _drill_of(equal[0].row, series, note)
    near = neighbours(size, "drills", 2)
    names = tuple(row.designation for row in near.all())
    reason = f"no drill of {float(size):g} mm in the tables"
    if not (near.below and near.above):
        reason += f", where the {'largest' if near.below else 'smallest'} is {names[0]}"
    raise UnknownDesignation(text, reason, names)


_GAUGE_NAMES = {
    name: series
    for series, names in {
        "SWG": "swg iswg standard imperial imperialstandard britishstandard british",
        "AWG": "awg american bs bands brownandsharpe brownsharpe",
        "BWG": "bwg birminghamwire",
        "BG": "bg birminghamsheet birminghamsheetandhoop",
    }.items()
    for name in names.split()
}
_GAUGE_FILLERS = {"no", "number", "gauge", "gage", "thick", "of"}


def find_gauge(text: str) -> FoundGauge:
    """The thickness that a gauge number stands for: SWG, AWG (B&S), BWG or BG.

    Raises
    ------
    UnknownDesignation
        Where no gauge is named, or it has no such number; with the same number of every gauge.

    Examples
    --------
    >>> float(find_gauge("16 S.W.G.").thickness_inch), find_gauge("18 B&S").designation
    (0.064, '18 AWG')

    References
    ----------
    BS 3737:1964; ASTM B258; Birmingham Gauge of 1914 (each row states its own source).
    """
    plain = _clean(text).replace("&", " and ").replace("#", " no ")
    plain = _GAUGE_HYPHENS.sub(" ", _GAUGE_DOTS.sub("", plain))
    numbers = _NUMBERED.findall(plain)
    if len(numbers) != 1:
        raise UnknownDesignation(text, "one gauge number is needed, such as 16 SWG or 2/0 SWG")
    number = _gauge_number(numbers[0])
    words = _NUMBERED.sub(" ", plain, count=1).split()
    named = "".join(word for word in words if word not in _GAUGE_FILLERS)
    series = _GAUGE_NAMES.get(named) or _GAUGE_NAMES.get(named.removesuffix("wire"))
    if series is None:
        reason = f"no gauge is called {named!r}" if named else "whose gauge is it?"
        raise UnknownDesignation(text, f"{reason} (SWG, AWG, BWG, BG)", _same_number(number))
    table = catalogue.table(_GAUGES[series])
    row = table.find(f"{number} {series}")
    if row is None:
        thin, thick = (table.rows[at].text("designation") for at in (0, -1))
        raise UnknownDesignation(text, f"{series} goes from {thick} to {thin}", (thick, thin))
    thickness = _mm(row, "thickness")
    return FoundGauge(
        row,
        series,
        thickness,
        thickness / INCH_MM,
        row.text("source"),
        row.text("place"),
        row.text("note"),
    )


def _gauge_number(digits: str) -> str:
    """``000`` and ``3/0`` are one gauge, ``0`` and ``1/0`` another, ``016`` is 16."""
    if len(digits) > 1 and not digits.strip("0"):
        return f"{len(digits)}/0"
    number = digits.lstrip("0") or "0"
    return "0" if number == "1/0" else number


def _same_number(number: str) -> tuple[str, ...]:
    names = [(f"{number} {series}", table) for series, table in _GAUGES.items()]
    return tuple(name for name, table in names if catalogue.table(table).find(name) is not None)


# -------------------------------------------------------------------------------------- stock


def find_stock(text: str, count: int = 10) -> tuple[StockMatch, ...]:
    """Stock nearest to what a text asks for, nearest first.

    The text names a section (round, square, hexagon, flat, sheet, strip, angle, tube, wire), its
    size or sizes in any order, and, if it likes, material, finish and ``metric`` or ``imperial``.
    Rows are ranked by the sum of their departures over the sizes asked for, then mild steel before
    other steels, then in table order. At most `count` are given.

    Raises
    ------
    UnknownDesignation
        Where a word is not known, section or size is missing, there is no such stock, or a size
        lies beyond the end of the tables.

    Examples
    --------
    >>> [match.designation for match in find_stock("flat, brass, 10 x 3", 1)]
    ['flat, brass, drawn, 10 x 3 mm']
    """
    try:
        asked = read_stock(_clean(text))
        gauges = tuple(find_gauge(gauge).thickness_mm for gauge in asked.gauges)
        wanted = dimensions(asked, gauges)
    except Unread as error:
        raise UnknownDesignation(text, str(error)) from None
    except UnknownDesignation as error:
        raise UnknownDesignation(text, error.reason, error.nearest) from None
    rows = _suiting(asked.form, asked.materials, asked.finishes, asked.system)
    if not rows:
        every = (row for *_, row in _suiting(asked.form, (), (), ""))
        kinds = dict.fromkeys(f"{row.text('material')} {row.text('finish')}" for row in every)
        reason = f"no such {asked.form} in the tables; they hold {', '.join(kinds)}"
        raise UnknownDesignation(text, reason)
    _refuse_beyond(text, asked.form, wanted, [row for *_, row in rows])
    ranked = []
    for order, table, row in rows:
        sizes = tuple((name, _mm(row, name), _mm(row, name) - size) for name, size in wanted)
        furthest = max(sizes, key=lambda item: abs(item[2]))
        match = StockMatch(
            row.text("designation"), table, row, *furthest, sizes, row.text("source")
        )
        ranked.append((sum((abs(item[2]) for item in sizes), Fraction(0)), order, match))
    ranked.sort(key=lambda item: item[:2])
    return tuple(match for *_, match in ranked[: max(count, 0)])


def _suiting(
    form: str, materials: tuple[str, ...], finishes: tuple[tuple[str, ...], ...], system: str
) -> list[tuple[int, str, Row]]:
    """The rows of a section that suit: place of the material among those named, table, row."""
    found = []
    for table in _stock(form):
        for row in catalogue.table(table).rows if table.endswith(system) else ():
            material, finish = row.text("material"), row.text("finish")
            if materials and material not in materials:
                continue
            if all(any(word in finish for word in words) for words in finishes):
                found.append((materials.index(material) if materials else 0, table, row))
    return found


def _refuse_beyond(
    text: str, form: str, wanted: tuple[tuple[str, Fraction], ...], rows: list[Row]
) -> None:
    """Refuse a size smaller or greater than any row has, naming the end."""
    for name, size in wanted:
        for last, word in (
            (min(rows, key=lambda row: _mm(row, name)), "begins"),
            (max(rows, key=lambda row: _mm(row, name)), "ends"),
        ):
            end = _mm(last, name)
            if size < end if word == "begins" else size > end:
                reason = f"{name.replace('_', ' ')} of such {form} {word} at {float(end):g} mm"
                raise UnknownDesignation(text, reason, (last.text("designation"),))
