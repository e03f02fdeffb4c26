"""The records of a model: frozen, each with the place it was read from.

Lengths are exact fractions of a millimetre, angles of a degree, counts plain numbers. A record
never changes; every later step makes new ones.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from pathlib import Path
from typing import Literal

from scaler.expressions import Node, names
from scaler.measures.scales import Scale
from scaler.problems import Place, Problem
from scaler.quick import record
from scaler.reading.toml_lines import Source

Bounds = tuple[Fraction | None, Fraction | None]
"""Lower and upper bound; None where there is none."""


class Kind(StrEnum):
    """What a size is: which way metal comes off and which ISO 286 side applies."""

    EXTERNAL = "external"
    INTERNAL = "internal"
    SLOT = "slot"
    DEPTH = "depth"
    LENGTH = "length"
    POSITION = "position"
    RADIUS = "radius"
    ANGLE = "angle"
    TAPER = "taper"
    THREAD = "thread"
    TEETH = "teeth"
    COUNT = "count"

    @property
    def is_length(self) -> bool:
        """False for angles and counts, which do not reduce with the scale."""
        return self not in _NO_LENGTHS

    @property
    def grows(self) -> bool:
        """True where taking metal off makes the size larger (bores, slots, depths)."""
        return self in _GROWING

    @property
    def iso_side(self) -> Literal["hole", "shaft"]:
        """The ISO 286 side whose classes apply."""
        return "hole" if self.grows else "shaft"


_NO_LENGTHS = (Kind.ANGLE, Kind.TAPER, Kind.TEETH, Kind.COUNT)
_GROWING = (Kind.INTERNAL, Kind.SLOT, Kind.DEPTH)


class Service(StrEnum):
    """What a part does that can hurt someone."""

    NONE = "none"
    PRESSURE = "pressure"
    LIFTING = "lifting"
    PEOPLE = "carrying people"
    UNSTATED = "unstated"


class State(StrEnum):
    """How far a part or size has got. Metal only comes off."""

    NOT_MADE = "not made"
    PART_MADE = "part made"
    MADE = "made"
    BOUGHT = "bought"
    LOCKED = "locked"
    SCRAPPED = "scrapped"


class Stage(StrEnum):
    """Which sizes a model is looked at with."""

    EXACT = "exact"
    ROUNDED = "rounded"
    CHOSEN = "chosen"


class Verdict(StrEnum):
    """The verdict on a pair or a condition."""

    HOLDS = "holds"
    DOUBTFUL = "doubtful"
    TIGHT = "tight"
    LOOSE = "loose"
    FAILS = "fails"
    REFUSED = "refused"


class Cause(StrEnum):
    """Why a pair or condition does not hold."""

    DOES_NOT_SCALE = "does not scale"
    ROUNDING = "rounding"
    LIMITS = "limits"
    AS_MADE = "as made"


@dataclass(frozen=True, slots=True)
class Drawing:
    """A sheet that sizes are read from."""

    name: str
    title: str
    unit: str | None
    scale: Scale | None
    issue: str
    place: Place


@record
class Part:
    """A made or bought part."""

    name: str
    title: str
    material: str
    count: int
    service: Service
    state: State
    copies: tuple[str, ...]
    drawing: str | None
    place: Place


@dataclass(frozen=True, slots=True)
class Deviations:
    """Limits as deviations from the basic size [mm], with where they come from."""

    lower: Fraction
    upper: Fraction
    source: str

    @property
    def tolerance(self) -> Fraction:
        """Upper less lower deviation [mm]."""
        return self.upper - self.lower


@dataclass(frozen=True, slots=True)
class LimitSpec:
    """Limits as written: signed deviations [mm], or an ISO 286 tolerance class."""

    text: str
    lower: Fraction | None = None
    upper: Fraction | None = None
    tolerance_class: str = ""


@dataclass(frozen=True, slots=True)
class Wish:
    """One word of ``prefer``, ``forbid`` or ``lock``: a row, a size, a table or a unit, and where it
    stands. ``must``: a forbid that no way out may lift."""

    word: str
    place: Place
    must: bool = False


@dataclass(frozen=True, slots=True)
class Method:
    """One way to get a size: a row of the methods table with the rule's own options.

    ``column`` is the column of another size's row that a size follows: ``argument`` names it.
    ``place`` is where it stands under [rules]; None for one that stands with its size.
    """

    text: str
    name: str
    way: Literal["cut", "row", "thread", "follow", "standard", "given"]
    direction: Literal["nearest", "up", "down"]
    step: Fraction | None
    reach: Fraction | None
    limits: LimitSpec | None
    argument: Node | None
    value: Fraction | None
    place: Place | None
    column: str = ""

    @property
    def leader(self) -> str:
        """The size whose row this method takes a column of; '' where it takes none."""
        return names(self.argument)[0] if self.column and self.argument is not None else ""


@record
class Size:
    """One dimension of one part. ``full`` is prototype size [mm or degrees], None if not drawn.

    ``prefer`` and ``forbid`` are those of the nearest level that states them: the size, its part,
    the model.
    """

    id: str
    part: str
    name: str
    title: str
    kind: Kind
    full: Fraction | None
    drawn: str
    drawn_as: str
    drawing: str | None
    origin: str
    uncertainty: Fraction | None
    rule: tuple[Method, ...]
    limits: LimitSpec | None
    reach: Fraction | None
    weight: Fraction
    standard: str
    equals: Node | None
    equals_text: str
    between: Bounds
    datum: str
    state: State
    made: Fraction | None
    instrument: str
    sheet_ratio: Fraction  # of the sheet: 1, or what earlier model it was drawn for
    place: Place
    note: str = ""
    prefer: tuple[Wish, ...] = ()
    forbid: tuple[Wish, ...] = ()
    lock: Wish | None = None


class BasisKind(StrEnum):
    """How a pair or condition must be kept."""

    BOTH_LIMITS = "both limits"
    LAST_CUT = "last cut"
    BASIC_SIZE = "basic size"


@dataclass(frozen=True, slots=True)
class Basis:
    """The basis of a pair or condition; the size cut last and the finer cut where it is that."""

    kind: BasisKind
    last: str = ""
    by: str = ""
    stated: bool = True

    def __str__(self) -> str:
        if self.kind is BasisKind.LAST_CUT:
            return f"last cut {self.last}" + (f" by {self.by}" if self.by else "")
        return str(self.kind)


@dataclass(frozen=True, slots=True)
class Fit:
    """The window of clearance wanted [mm]; ISO classes give theirs at the basic size."""

    text: str
    lower: Fraction | None
    upper: Fraction | None
    iso: str = ""
    trade: str = ""
    trade_set: str = ""
    source: str = ""


@record
class Pair:
    """Two mating features and the fit they must keep. Clearance = outer − inner.

    ``meets`` says which copy of the inner side goes with which of the outer; ``best_match`` leaves
    that to how they fit. With neither, copies of like names meet.
    """

    id: str
    title: str
    inner: Node
    outer: Node
    inner_text: str
    outer_text: str
    fit: Fit
    basis: Basis
    why: str
    must: bool
    place: Place
    meets: tuple[tuple[str, str], ...] = ()
    best_match: bool = False


@record
class Condition:
    """``lower <= expression <= upper``; an equality where ``equality`` is set (bounds = slack)."""

    id: str
    title: str
    expression: Node
    text: str
    lower: Node | None
    upper: Node | None
    equality: bool
    dimension: str
    basis: Basis
    why: str
    source: str
    must: bool
    place: Place


@dataclass(frozen=True, slots=True)
class Option:
    """Something that the builder is willing to add, for ways out only: a shim, another casting.

    ``rule`` holds the thicknesses that it may have and ``thickens`` the size that they are added
    to, ``count`` times, in the statements ``within`` (keys such as ``pair x``). ``gives`` are sizes
    that another casting has [mm, degrees]. ``price`` counts as departure cost does. ``use`` is the
    thickness decided on [mm], nought for a casting that is; None while nothing is decided.
    """

    id: str
    title: str
    price: Fraction
    rule: tuple[Method, ...]
    thickens: str
    within: tuple[str, ...]
    count: int
    gives: Mapping[str, Fraction]
    limits: LimitSpec | None
    use: Fraction | None
    why: str
    place: Place


@dataclass(frozen=True, slots=True)
class ShopRow:
    """A row of the builder's own list: what is on the shelf.

    ``lengths`` holds what its quantity says of bars (length [mm], how many), ``sheets`` of pieces
    of sheet (longer side, shorter side [mm], how many); ``written`` is its size as text.
    """

    family: str
    designation: str
    size: Fraction | None
    note: str
    place: Place
    lengths: tuple[tuple[Fraction, int], ...] = ()
    sheets: tuple[tuple[Fraction, Fraction, int], ...] = ()
    written: str = ""


@dataclass(frozen=True, slots=True)
class Choice:
    """A recorded choice: what will be made, and how. The last line for a size counts.

    ``size`` is ``part.size``, or ``part.size@copy`` where one copy is chosen by itself.
    """

    size: str
    value: Fraction
    method: str
    row: str
    note: str
    time: str
    place: Place


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading of a made size with the instrument's uncertainty (None: by the kind's default)."""

    size: str
    copy: str
    value: Fraction
    instrument: str
    note: str
    time: str
    place: Place


@dataclass(frozen=True)
class Model:
    """Everything of one model folder, read and cross-checked.

    ``overrules`` holds the reason and place of each check of workability that does not apply;
    ``shown_in`` the units that texts are asked for in (mm, in, both), '' for the workshop's own;
    ``row_groups`` the sizes of one part that are columns of one row; ``options`` what the builder
    is willing to add.
    """

    folder: Path
    title: str
    scale: Scale
    governs: str
    work_unit: Literal["mm", "in"]
    track: str
    track_gauge: str
    general_limits: str
    shop_only: bool
    drawings: Mapping[str, Drawing]
    parts: Mapping[str, Part]
    sizes: Mapping[str, Size]
    pairs: Mapping[str, Pair]
    conditions: Mapping[str, Condition]
    shop: tuple[ShopRow, ...]
    choices: Mapping[str, Choice]
    readings: Mapping[tuple[str, str], Reading]
    notes: tuple[Problem, ...]
    overrules: Mapping[str, tuple[str, Place]] = field(default_factory=dict)
    row_groups: tuple[tuple[str, ...], ...] = ()
    options: Mapping[str, Option] = field(default_factory=dict)
    sources: Mapping[str, Source] = field(repr=False, default_factory=dict)
    shown_in: str = ""

    @property
    def units(self) -> str:
        """The units that texts are in: mm, in or both."""
        return self.shown_in or self.work_unit

    @property
    def ratio(self) -> Fraction:
        """Model : full size, exact."""
        return self.scale.ratio

    def __repr__(self) -> str:
        return f"<Model {self.title!r}: {len(self.sizes)} sizes, scale {self.scale.read_as}>"
