"""Threads: looking one up as it is written, listing them, and choosing one for a scaled bolt.

Reads only the tables that a text can refer to. All lengths are exact fractions of mm as the table
prints them; what a table does not give is None.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from typing import Literal

from scaler import catalogue
from scaler.trade import thread_forms as forms
from scaler.trade.thread_text import Asked, Number, Unread, plain, read_thread

By = Literal["diameter", "looks", "strength"]


@dataclass(frozen=True, slots=True)
class _Series:
    table: str
    form: forms.ThreadForm


_SERIES: dict[str, _Series] = {
    "metric coarse": _Series("threads_metric_coarse", forms.ISO_METRIC),
    "metric fine": _Series("threads_metric_fine", forms.ISO_METRIC),
    "BA": _Series("threads_ba", forms.BA),
    "ME": _Series("threads_me", forms.WHITWORTH),
    "brass": _Series("threads_brass", forms.WHITWORTH),
    "BSW": _Series("threads_bsw", forms.WHITWORTH),
    "BSF": _Series("threads_bsf", forms.WHITWORTH),
    "BSP": _Series("threads_bsp", forms.WHITWORTH),
    "cycle": _Series("threads_cycle", forms.CYCLE),
    "UNC": _Series("threads_unc", forms.UNIFIED),
    "UNF": _Series("threads_unf", forms.UNIFIED),
    "UNEF": _Series("threads_unef", forms.UNIFIED),
}
SERIES = tuple(_SERIES)
"""Names of the series, in the order in which `all_threads` lists them."""

_UNIFIED = ("UNC", "UNF", "UNEF")
_METRIC = ("metric coarse", "metric fine")
_INCH = Fraction(127, 5)


class UnknownThread(LookupError):
    """A text that names no thread of the catalogue, or more than one.

    Attributes: `text` as given, `reason` in words, `nearest` known designations.
    """

    def __init__(self, text: str, reason: str, nearest: tuple[str, ...]) -> None:
        self.text, self.reason, self.nearest = text, reason, nearest
        hint = f"; the nearest known: {', '.join(nearest)}" if nearest else ""
        super().__init__(f"{text!r}: {reason}{hint}")


@dataclass(frozen=True, slots=True)
class Thread:
    """One thread of the catalogue. Lengths in mm, areas in mm², exact as printed; None: not given.

    `minor_mm` is the core of the screw, `minor_internal_mm` the least hole of the nut.
    `tapping_percent` is worked out by `tapping_convention`. `small_across_flats_mm` is the next
    hexagon down, as modellers use for looks. `source` and `place` are the row's own; the other
    sources belong to the tapping drill, the clearance holes and the hexagon.
    """

    designation: str
    series: str
    form: forms.ThreadForm
    pitch_mm: Fraction
    threads_per_inch: Fraction
    major_mm: Fraction
    effective_mm: Fraction
    minor_mm: Fraction
    minor_internal_mm: Fraction
    depth_mm: Fraction
    stress_area_mm2: Fraction
    helix_deg: Fraction
    tapping_drill_mm: Fraction
    tapping_drill_name: str
    tapping_percent: Fraction
    tapping_convention: str
    tapping_source: str
    clearance_close_mm: Fraction | None
    clearance_medium_mm: Fraction | None
    clearance_free_mm: Fraction | None
    clearance_source: str
    across_flats_mm: Fraction | None
    small_across_flats_mm: Fraction | None
    head_height_mm: Fraction | None
    nut_height_mm: Fraction | None
    hexagon_source: str
    source: str
    place: str
    notes: tuple[str, ...]
    aliases: tuple[str, ...]

    @property
    def core_area_mm2(self) -> Fraction:
        """Area of the core, the circle of the minor diameter: what a shear load meets. [mm²]"""
        return forms.circle_area(self.minor_mm)

    def percent_with(self, drill_mm: Fraction) -> Fraction:
        """Share of full thread that a drill leaves. [%] Raises ValueError for a drill not over 0."""
        return forms.percent_of_thread(self.form, self.major_mm, self.pitch_mm, drill_mm)

    def drill_for(self, percent: Fraction) -> Fraction:
        """The hole for a share of full thread, exact. [mm] Raises ValueError outside 0 to 100."""
        return forms.drill_for_percent(self.form, self.major_mm, self.pitch_mm, percent)

    def engagement_for_core(
        self, nut_to_screw: Fraction = Fraction(1), hole_mm: Fraction | None = None
    ) -> Fraction:
        """Engagement at which the core would break before a thread strips. [mm]

        See :func:`scaler.trade.thread_forms.engagement_for_core`.
        """
        return forms.engagement_for_core(
            self.form, self.major_mm, self.pitch_mm, nut_to_screw, hole_mm
        )


def _thread(name: str, row: catalogue.Row) -> Thread:
    series = _SERIES[name]
    lengths = {
        base: row.mm(base) for base in ("major", "effective", "minor", "minor_internal", "depth")
    }
    missing = [base for base, value in lengths.items() if value is None]
    if missing:
        raise ValueError(f"{row!r} lacks {', '.join(missing)}")
    hexagon = row.named("hexagon") if "hexagon" in row else None
    pitch = _pitch(row)
    notes = [row.text("note"), f"hexagon: {hexagon.text('note')}" if hexagon else ""]
    return Thread(
        designation=row.text("designation"),
        series=name,
        form=series.form,
        pitch_mm=pitch,
        threads_per_inch=_INCH / pitch,
        major_mm=lengths["major"] or Fraction(0),
        effective_mm=lengths["effective"] or Fraction(0),
        minor_mm=lengths["minor"] or Fraction(0),
        minor_internal_mm=lengths["minor_internal"] or Fraction(0),
        depth_mm=lengths["depth"] or Fraction(0),
        stress_area_mm2=row.number("stress_area_mm2"),
        helix_deg=row.number("helix_deg"),
        tapping_drill_mm=row.number("tapping_drill_mm"),
        tapping_drill_name=row.text("tapping_drill_name"),
        tapping_percent=row.number("tapping_percent"),
        tapping_convention=row.text("tapping_convention"),
        tapping_source=row.text("tapping_source"),
        clearance_close_mm=row.mm("clearance_close"),
        clearance_medium_mm=row.mm("clearance_medium"),
        clearance_free_mm=row.mm("clearance_free"),
        clearance_source=row.text("clearance_source"),
        across_flats_mm=hexagon.mm("across_flats") if hexagon else None,
        small_across_flats_mm=hexagon.mm("small_across_flats") if hexagon else None,
        head_height_mm=hexagon.mm("head_height") if hexagon else None,
        nut_height_mm=hexagon.mm("nut_height") if hexagon else None,
        hexagon_source=hexagon.text("source") if hexagon else "",
        source=row.text("source"),
        place=row.text("place"),
        notes=tuple(note for note in notes if note not in ("", "hexagon: ")),
        aliases=tuple(filter(None, row.text("aliases").split(";"))),
    )


def _pitch(row: catalogue.Row) -> Fraction:
    if "pitch_mm" in row:
        return row.number("pitch_mm")
    return _INCH / row.number("threads_per_inch_tpi")


def _rows(name: str) -> tuple[catalogue.Row, ...]:
    return catalogue.table(_SERIES[name].table).rows


@cache
def _one(name: str, at: int) -> Thread:
    return _thread(name, _rows(name)[at])


def table_of(thread: Thread) -> str:
    """The name of the table that a thread stands in.

    >>> table_of(find_thread("2 BA"))
    'threads_ba'
    """
    return _SERIES[thread.series].table


def all_threads(series: Sequence[str] | None = None) -> tuple[Thread, ...]:
    """Every thread of the named series (of all, where None), series by series, smallest first.

    Raises ValueError naming a series that is not known.

    >>> [thread.designation for thread in all_threads(["BA"])][:3]
    ['0 BA', '1 BA', '2 BA']
    """
    wanted = SERIES if series is None else tuple(series)
    for name in wanted:
        if name not in _SERIES:
            raise ValueError(f"no series {name!r}; known: {', '.join(SERIES)}")
    return tuple(_one(name, at) for name in wanted for at in range(len(_rows(name))))


def _size_fits(name: str, row: catalogue.Row, size: Number) -> bool:
    if name == "BA":
        return (
            size.mark in ("", "no") and size.whole and row.text("designation") == f"{size.value} BA"
        )
    if name in _METRIC:
        return size.mark in ("", "mm") and row.mm("major") == size.value
    if size.mark == "mm":
        return False
    if name == "BSP":
        return size.mark != "no" and row["pipe_size_in"] == size.value
    major = row.mm("major")
    numbered = name in _UNIFIED and size.whole and size.mark != "in" and size.value <= 12
    if numbered and major == _numbered_mm(size.value):
        return True
    return size.mark != "no" and major == size.value * _INCH


def _numbered_mm(number: Fraction) -> Fraction:
    """Major diameter of a numbered Unified size, 0.060 in + 0.013 in a number. [mm]"""
    return (60 + 13 * number) * _INCH / 1000


def _pitch_fits(row: catalogue.Row, pitch: Number | None) -> bool:
    if pitch is None:
        return True
    if pitch.mark == "mm" or (pitch.mark == "" and "pitch_mm" in row):
        return _pitch(row) == pitch.value
    return "pitch_mm" not in row and row.number("threads_per_inch_tpi") == pitch.value


def _candidates(asked: Asked) -> tuple[str, ...]:
    metric = asked.series == _METRIC or (not asked.series and asked.size.mark == "mm")
    if metric:
        return _METRIC if asked.pitch else _METRIC[:1]
    if asked.series:
        return asked.series
    if asked.size.mark == "no":
        return ("BA", *_UNIFIED) if asked.pitch is None else _UNIFIED
    if asked.pitch is None:
        raise Unread("a size without its series; write the series or the pitch beside it")
    if asked.pitch.mark == "mm":
        return _METRIC
    return tuple(name for name in SERIES if name not in (*_METRIC, "BA", "BSP"))


def _preferred(asked: Asked, found: list[Thread]) -> list[Thread]:
    """One of several by the way it is written: ``-`` is the Unified way, ``x`` the M.E. way."""
    if asked.series or len(found) < 2:
        return found
    model = () if asked.pitch and asked.pitch.value == 26 else ("ME",)
    way = {"-": _UNIFIED, "x": model}.get(asked.joiner, ())
    chosen = [thread for thread in found if thread.series in way]
    if len(chosen) != 1:
        return found
    others = ", ".join(thread.designation for thread in found if thread is not chosen[0])
    note = f"read by the way it is written; the same diameter and pitch: {others}"
    return [replace(chosen[0], notes=(*chosen[0].notes, note))]


def find_thread(text: str) -> Thread:
    """The thread that a text names.

    Case, spaces, points, the sort of dash or multiplication sign and the order of the series word
    do not matter; a comma may stand for the decimal point. Without a series word, size and threads
    per inch are enough where they fit one thread; ``1/4-20`` is read as Unified and ``1/4 x 32`` as
    M.E., with a note of what else it could be. Raises UnknownThread for a text that names no
    thread, or several.

    >>> find_thread("2 B.A.").major_mm, find_thread("M3 × 0,5").designation
    (Fraction(47, 10), 'M3')
    """
    asked: Asked | None = None
    try:
        if text.strip()[:1] in ("-", "−", "+"):
            raise Unread("a thread is not written with a sign before it")
        asked = read_thread(text)
        names = _candidates(asked)
    except Unread as unread:
        raise UnknownThread(text, str(unread), _nearest(text, asked)) from None
    found = [
        _one(name, at)
        for name in names
        for at, row in enumerate(_rows(name))
        if _size_fits(name, row, asked.size) and _pitch_fits(row, asked.pitch)
    ]
    found = _preferred(asked, found)
    several = tuple(thread.designation for thread in found)
    if asked.taper:
        raise UnknownThread(text, _TAPER, several or _nearest(text, asked))
    if len(found) > 1:
        raise UnknownThread(text, "several threads match; name the series and pitch", several)
    if found:
        return found[0]
    raise UnknownThread(text, _why_not(asked, names), _nearest(text, asked))


_TAPER = (
    "taper pipe threads (R, Rc, BSPT) and Rp are not in the catalogue; the parallel G of the same "
    "size has the same pitch and, at the gauge plane, the same diameters"
)


def _why_not(asked: Asked, names: tuple[str, ...]) -> str:
    series = " or ".join(names) if asked.series else "any inch series"
    if not asked.series and asked.size.mark == "":
        series += " (a metric size is written with an M)"
    sized = any(_size_fits(name, row, asked.size) for name in names for row in _rows(name))
    if not sized or asked.pitch is None:
        return f"no thread of {series} has that size"
    length = "; a screw's length is left out" if names[0] in _METRIC else ""
    return f"no thread of {series} has that pitch on that size{length}"


def _edits(one: str, other: str) -> int:
    """Edit distance (insert, delete, change) of two short texts."""
    row = list(range(len(other) + 1))
    for i, left in enumerate(one, 1):
        last, row[0] = row[0], i
        for j, right in enumerate(other, 1):
            last, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, last + (left != right))
    return row[-1]


def _size_mm(asked: Asked) -> Fraction:
    metric = asked.size.mark == "mm" or asked.series[:1] == _METRIC[:1]
    if asked.size.mark == "no":
        return _numbered_mm(asked.size.value)
    return asked.size.value if metric else asked.size.value * _INCH


@cache
def _pool() -> tuple[tuple[str, str, str, Fraction], ...]:
    """Series, designation, its spelling without spaces and major diameter of every thread."""
    return tuple(
        (
            name,
            row.text("designation"),
            _squeezed(row.text("designation")),
            row.mm("major") or _INCH,
        )
        for name in SERIES
        for row in _rows(name)
    )


def _squeezed(text: str) -> str:
    return plain(text).replace(" ", "")


def _nearest(text: str, asked: Asked | None, count: int = 3) -> tuple[str, ...]:
    """Known designations nearest by size in the series asked for, then nearest in spelling."""
    chosen: list[str] = []
    if asked is not None and asked.series != ("BA",) and (asked.series or asked.size.mark):
        size = _size_mm(asked)
        sized = [
            (abs(major - size), at)
            for at, (name, _, _, major) in enumerate(_pool())
            if name in (asked.series or SERIES)
        ]
        chosen = [_pool()[at][1] for _, at in sorted(sized)[:count]]
    spelt = _squeezed(text[:24])
    ranked = []
    for at, (_, _, known, _) in enumerate(_pool()):
        longer = max(len(spelt), len(known))
        if 2 * abs(len(spelt) - len(known)) <= longer:
            edits = _edits(spelt, known)
            if 5 * edits <= 3 * longer:
                ranked.append((edits, at))
    chosen += [_pool()[at][1] for _, at in sorted(ranked)[:count]]
    return tuple(dict.fromkeys(chosen))


@dataclass(frozen=True, slots=True)
class Choice:
    """One thread offered for a wanted size, and how far off it is.

    `found` and `wanted` are in mm (mm² by strength); `departure` = found - wanted;
    `stress_ratio` is the stress area over the wanted one, None unless chosen by strength.
    `hexagon` says which across-flats was compared: 'ordinary', 'small' or ''.
    """

    thread: Thread
    by: By
    hexagon: str
    wanted: Fraction
    found: Fraction
    departure: Fraction

    @property
    def stress_ratio(self) -> Fraction | None:
        """Stress area found over wanted [-]; None where the choice was not by strength."""
        return self.found / self.wanted if self.by == "strength" else None


def _measures(thread: Thread, by: By) -> Iterable[tuple[str, Fraction]]:
    if by == "diameter":
        yield "", thread.major_mm
    elif by == "strength":
        yield "", thread.stress_area_mm2
    else:
        for hexagon, flats in (
            ("ordinary", thread.across_flats_mm),
            ("small", thread.small_across_flats_mm),
        ):
            if flats is not None:
                yield hexagon, flats


def choose_thread(
    by: By, wanted: Fraction, series: Sequence[str], limit: int = 5
) -> tuple[Choice, ...]:
    """Threads for a scaled bolt, best first.

    Parameters
    ----------
    by : str
        'diameter': nearest major diameter to `wanted` mm. 'looks': nearest across flats, ordinary
        or small hexagon, to `wanted` mm. 'strength': least stress area that is not below `wanted`
        mm²; those that fall short come after, the strongest first.
    wanted : Fraction
        The scaled size, in mm or mm².
    series : sequence of str
        Series to choose from, preferred first: where two are equally near the earlier wins.
    limit : int
        How many to give.

    Returns
    -------
    tuple of Choice
        Empty where no thread of the series gives that measure.

    Raises ValueError where `wanted` is not positive, or `by` or a series is not known. A choice by
    strength compares geometry only; working joints need their own reckoning.

    >>> choose_thread("diameter", Fraction("4.76"), ["BA"])[0].thread.designation
    '2 BA'
    """
    if wanted <= 0:
        raise ValueError("the wanted size must exceed 0")
    if by not in ("diameter", "looks", "strength"):
        raise ValueError(f"choose by diameter, looks or strength, not by {by!r}")
    order = {name: at for at, name in enumerate(series)}
    choices = [
        Choice(thread, by, hexagon, wanted, value, value - wanted)
        for thread in all_threads(series)
        for hexagon, value in _measures(thread, by)
    ]

    def rank(choice: Choice) -> tuple[bool, Fraction, int, bool, str]:
        short = by == "strength" and choice.departure < 0
        return (
            short,
            abs(choice.departure),
            order[choice.thread.series],
            choice.hexagon == "small",
            choice.thread.designation,
        )

    return tuple(sorted(choices, key=rank)[:limit])


def scaled_want(by: By, full: Thread, scale: Fraction) -> Fraction:
    """What a full-size thread asks of the model's, for `choose_thread`. [mm, or mm² by strength]

    Diameter and across flats go with the scale, stress area with its square, which keeps the
    stress where loads go with areas. Raises ValueError where the scale is not positive or the
    full-size thread has no hexagon in the catalogue.
    """
    if scale <= 0:
        raise ValueError("the scale must exceed 0")
    if by == "strength":
        return full.stress_area_mm2 * scale * scale
    size = full.major_mm if by == "diameter" else full.across_flats_mm
    if size is None:
        raise ValueError(f"no hexagon is given for {full.designation}")
    return size * scale


def strength_ratio(thread: Thread, other: Thread) -> tuple[Fraction, Fraction]:
    """Stress area and core area of one thread over those of another, exact. [-]

    The first is what a pull meets, the second what a cut across the thread meets. Equal material
    is assumed; a comparison, not a permission.
    """
    return (
        thread.stress_area_mm2 / other.stress_area_mm2,
        thread.core_area_mm2 / other.core_area_mm2,
    )
