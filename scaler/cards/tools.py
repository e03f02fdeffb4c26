"""The tools of a part in the order of use, and whether the shop has them.

Each size's method names its own tool (drill, reamer, cutter, tap or die); what has to come before it
is added: a centre drill and a drill under the reamer, a drill before the boring tool, the tapping
drill before the tap. The drill under a reamer leaves 0.1 to 0.2 mm up to 5 mm and 0.2 to 0.3 mm
above (a teaching page, common practice); a boring tool is given 1 mm.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

from scaler import catalogue
from scaler.cards.stock import is_round, plain_mm, value_mm
from scaler.records import Kind, Model
from scaler.settling.rows import method_row
from scaler.trade.threads import Thread, UnknownThread, find_thread

if TYPE_CHECKING:
    from scaler.settling.reduce import SizeLine

UNDER_SMALL = (Fraction(1, 10), Fraction(1, 5))
UNDER_LARGE = (Fraction(1, 5), Fraction(3, 10))
LARGEST_DRILL = Fraction(13)
BORING = Fraction(1)
SMALLEST_BORED = Fraction(5)
AFTER_TURNING = 72
"""Where milling stands in the order on a part that is turned: a square on the end of a shaft."""
NEAR = Fraction(1, 2)
"""A tool of the shop further than this (and than a tenth of the size) is no help [mm]."""


@dataclass(frozen=True, slots=True)
class ToolUse:
    """One tool for one size: what it is, its row, what for, and whether the shop has it.

    ``on_shelf`` is None for tools that no list names (turning tools, saws), and where the shop's
    list has none of the family at all; ``instead`` names the shop's nearest.
    """

    order: int
    family: str
    designation: str
    size_mm: Fraction | None
    for_size: str
    note: str = ""
    on_shelf: bool | None = None
    instead: str = ""

    @property
    def key(self) -> tuple[str, str]:
        """What makes two uses one tool."""
        return self.family, self.designation


_TABLES = {
    "drill": ("drills_metric", "drills_number", "drills_letter", "drills_inch"),
    "slot drill": ("slot_drills_metric", "slot_drills_inch"),
    "end mill": ("end_mills_metric", "end_mills_inch"),
}
_ORDER = {
    "saw": 0, "milling cutter": 10, "turning tool": 20, "file": 25, "centre drill": 30, "drill": 40,
    "boring tool": 50, "reamer": 60, "tapping drill": 64, "tap": 66, "die": 70, "tap or die": 68,
    "slot drill": 80, "end mill": 80, "gear cutter": 84, "slotting tool": 86, "grooving tool": 28,
    "grinding wheel": 90, "lap": 92,
}  # fmt: skip


@lru_cache(maxsize=32)
def _rows(family: str, system: str) -> tuple[tuple[Fraction, str], ...]:
    """Tools of a family and system, by size."""
    found = []
    for name in _TABLES[family]:
        if (name.endswith("_metric")) != (system == "metric"):
            continue
        for row in catalogue.table(name).rows:
            size = row.mm("diameter")
            if size is not None:
                found.append((size, row.text("designation")))
    return tuple(sorted(found))


@lru_cache(maxsize=4096)
def _thread(designation: str) -> Thread | None:
    try:
        return find_thread(designation)
    except UnknownThread:
        return None


class Tools:
    """The tools of a model's parts: the shop's first, else the catalogue's of the work unit."""

    def __init__(self, model: Model) -> None:
        self.system = "metric" if model.work_unit == "mm" else "inch"
        self.shop: dict[str, list[tuple[Fraction, str]]] = {}
        self.threads: set[str] = set()
        for row in model.shop:
            if row.family == "thread":
                thread = _thread(row.designation)
                self.threads.add(thread.designation if thread else row.designation)
            elif row.size is not None:
                self.shop.setdefault(row.family, []).append((row.size, row.designation))
        for rows in self.shop.values():
            rows.sort()
        self.inner: dict[str, bool] = {}
        for pair in model.pairs.values():
            for text, inside in ((pair.inner_text, False), (pair.outer_text, True)):
                if text in model.sizes:
                    self.inner[text] = inside

    def of_part(self, lines: Sequence[SizeLine]) -> tuple[ToolUse, ...]:
        """The tools of one part's sizes, in the order of use; each tool once a size."""
        found: list[ToolUse] = []
        live = [x for x in lines if not x.refused and x.chosen is not None and x.settled]
        for line in live:
            found += self._of_size(line, live)
        if any(is_round(line) and use.family == "turning tool" and use.for_size == line.size.id
               for line in live for use in found):  # fmt: skip
            found = [replace(use, order=AFTER_TURNING) if use.family == "milling cutter" else use
                     for use in found]  # fmt: skip
        found.sort(key=lambda use: (use.order, -(use.size_mm or 0) if use.order == 20 else
                                    (use.size_mm or 0)))  # fmt: skip
        return tuple(dict.fromkeys(found))

    def _of_size(self, line: SizeLine, part: Sequence[SizeLine]) -> list[ToolUse]:
        assert line.settled is not None
        name = line.settled.method
        if name in ("defined", "solved", "follows", "measured", "standard") or line.settled.made:
            name = next((m.name for m in line.size.rule if m.way in ("cut", "row", "thread")), name)
        kind, value = line.size.kind, value_mm(line)
        table = method_row(name)
        family = table.family if table else ""
        if table is not None and (family == "thread" or kind is Kind.THREAD):
            return self._thread_tools(line)
        if family in ("drill", "reamer", "hand reamer"):
            hole = self._hole(line, family, value)
            return [*hole, *self._tapped(line)] if name == "tapping hole" else hole
        if family in ("slot drill", "end mill"):
            return [self._own(line, family)]
        if family == "gear cutter":
            return [self._gear_cutter(line, part)]
        if name == "keyway width":
            hub = any(x.settled and x.settled.method == "keyway depth in hub" for x in part)
            return [self._plain("slotting tool", line, value) if hub
                    else self._own(line, "slot drill")]  # fmt: skip
        if name == "circlip groove width":
            return [self._plain("grooving tool", line, value)]
        if name in ("bored", "opened to suit"):
            return self._bored(line, value)
        if name == "turned" or (name == "lapped" and is_round(line)):
            return [self._plain("turning tool", line, value)]
        if name in ("milled", "slotted"):
            return self._milled(line, kind, value)
        generic = {"filed": "file", "ground": "grinding wheel", "lapped": "lap"}.get(name)
        return [self._plain(generic, line, value)] if generic else []

    def _plain(self, family: str, line: SizeLine, value: Fraction, note: str = "") -> ToolUse:
        return ToolUse(_ORDER[family], family, "", value, line.size.id, note)

    def _use(
        self, family: str, size: Fraction, name: str, line: SizeLine, note: str = "", shop: str = ""
    ) -> ToolUse:
        """A tool of the lists, with whether the shop has it."""
        rows = self.shop.get(shop or family)
        on_shelf = None if rows is None else any(own == size for own, _ in rows)
        instead = ""
        if rows and not on_shelf:
            near = min(rows, key=lambda row: (abs(row[0] - size), row[0]))
            if abs(near[0] - size) <= max(NEAR, size / 10):
                instead = near[1]
        return ToolUse(_ORDER[family], family, name, size, line.size.id, note, on_shelf, instead)

    def _own(self, line: SizeLine, family: str) -> ToolUse:
        """The tool that the size's own row is."""
        assert line.settled is not None
        row = line.settled.row
        value = value_mm(line)
        name = row.designation if row else f"{plain_mm(value)} mm"
        if line.settled.by is not None and line.settled.by.column:  # the row is another's
            listed = self.below(family, value, value)
            name = listed[1] if listed and listed[0] == value else f"{plain_mm(value)} mm"
        note = "cuts a little over its own width" if family in ("slot drill", "end mill") else ""
        return self._use(family, row.value if row else value, _bare(name), line, note)

    def _gear_cutter(self, line: SizeLine, part: Sequence[SizeLine]) -> ToolUse:
        """The cutter of a set of eight for the pitch and the number of teeth, where these are known."""
        assert line.settled is not None
        row, value = line.settled.row, value_mm(line)
        name = row.designation if row else f"module {plain_mm(value)}"
        teeth = next((value_mm(x) for x in part if x.size.kind is Kind.TEETH), Fraction(0))
        series = "diametral pitch, eight" if "DP" in name else "module, eight"
        note = ""
        for cutter in catalogue.table("gears_cutters").rows:
            if cutter.text("set") != series:
                continue
            most = cutter.number("teeth_max_count") if cutter.text("teeth_max_count") else teeth
            if cutter.number("teeth_min_count") <= teeth <= most:
                name += f" No. {cutter.text('number')}"
                note = f"for {teeth} teeth: {cutter.text('source')}"
        return self._use("gear cutter", value, name, line, note)

    def below(
        self, family: str, target: Fraction, least: Fraction | None = None
    ) -> tuple[Fraction, str] | None:
        """The largest tool not above a size: the shop's where one lies in the window, else listed."""
        rows = self.shop.get(family, [])
        at = bisect_right(rows, target, key=lambda row: row[0])
        if at and (least is None or rows[at - 1][0] >= least):
            return rows[at - 1]
        listed = _rows(family, self.system)
        at = bisect_right(listed, target, key=lambda row: row[0])
        return listed[at - 1] if at else None

    def _hole(self, line: SizeLine, family: str, value: Fraction) -> list[ToolUse]:
        """A drilled or reamed hole: centre drill, drill, and the reamer."""
        centre = ToolUse(_ORDER["centre drill"], "centre drill", "", None, line.size.id)
        if family == "drill":
            return [centre, self._own(line, "drill")]
        if value > LARGEST_DRILL + 1:
            return [*self._bored(line, value), self._own(line, "reamer")]
        low, high = UNDER_SMALL if value <= 5 else UNDER_LARGE
        under = self.below("drill", value - low, value - high)
        uses = [centre]
        if under is not None and value - under[0] <= 2:
            uses.append(self._use("drill", under[0], under[1], line, "under the reamer"))
        reamer = self._own(line, "reamer")
        if family == "hand reamer" and reamer.on_shelf is None:
            reamer = self._use("reamer", value, reamer.designation, line, shop="hand reamer")
        return [*uses, reamer]

    def _bored(self, line: SizeLine, value: Fraction) -> list[ToolUse]:
        uses = [ToolUse(_ORDER["centre drill"], "centre drill", "", None, line.size.id)]
        room = min(value - BORING, LARGEST_DRILL)
        if room >= SMALLEST_BORED:
            drill = self.below("drill", room, room - 1)
            if drill is not None:
                uses.append(
                    self._use("drill", drill[0], drill[1], line, "to let the boring tool in")
                )
            uses.append(self._plain("boring tool", line, value))
            return uses
        drill = self.below("drill", value - Fraction(1, 10))
        if drill is not None:  # too small for a boring tool: drilled, then opened
            uses.append(self._use("drill", drill[0], drill[1], line, "then opened to size"))
        return uses

    def _milled(self, line: SizeLine, kind: Kind, value: Fraction) -> list[ToolUse]:
        if kind is not Kind.SLOT:
            return [self._plain("milling cutter", line, value)]
        cutter = self.below("slot drill", value - Fraction(1, 1000))
        if cutter is None:
            return [self._plain("milling cutter", line, value)]
        note = "in two passes, a side each" if cutter[0] * 2 >= value else "in several passes"
        return [self._use("slot drill", cutter[0], _bare(cutter[1]), line, note)]

    def _thread_tools(self, line: SizeLine) -> list[ToolUse]:
        assert line.settled is not None
        row = line.settled.row
        thread = _thread(row.designation) if row else None
        if thread is None:
            return []
        name, value = thread.designation, thread.major_mm
        has = name in self.threads if self.threads else None
        inside = self._inside(line)

        def use(family: str, note: str = "") -> ToolUse:
            return ToolUse(_ORDER[family], family, name, value, line.size.id, note, has)

        if inside is False:
            return [use("die")]
        drill = self._use(
            "tapping drill", thread.tapping_drill_mm, thread.tapping_drill_name, line,
            f"{float(thread.tapping_percent):.0f} % of full thread, for {name}", "drill",
        )  # fmt: skip
        tap = use("tap" if inside else "tap or die")
        return [drill, tap] if inside else [replace_note(drill, "where it is a hole"), tap]

    def _tapped(self, line: SizeLine) -> list[ToolUse]:
        """The tap that follows a tapping hole: that of the thread whose row the hole takes."""
        assert line.settled is not None
        thread = _thread(line.settled.row.designation) if line.settled.row else None
        if thread is None:
            return []
        has = thread.designation in self.threads if self.threads else None
        return [
            ToolUse(
                _ORDER["tap"], "tap", thread.designation, thread.major_mm, line.size.id, "", has
            )
        ]

    def _inside(self, line: SizeLine) -> bool | None:
        """Whether a thread is in a hole: by the pair it stands in, by its name, by its part's."""
        if line.size.kind is Kind.INTERNAL:
            return True
        if line.size.kind is Kind.EXTERNAL:
            return False
        known = self.inner.get(line.size.id)
        if known is not None:
            return known
        words = set(line.size.name.split("_"))
        if words & {"tapped", "tapping", "hole", "nut", "internal", "grub"}:
            return True
        part = set(line.size.part.split("_"))
        if (words | part) & {"stud", "bolt", "screw", "pin", "rod", "shaft", "external", "spindle"}:
            return False
        return None


def replace_note(use: ToolUse, note: str) -> ToolUse:
    """The same tool with another word put before its note."""
    return ToolUse(
        use.order, use.family, use.designation, use.size_mm, use.for_size,
        f"{note}: {use.note}" if use.note else note, use.on_shelf, use.instead,
    )  # fmt: skip


def _bare(name: str) -> str:
    """A cutter's row without the family's own name: ``3 mm slot drill`` is ``3 mm``."""
    for word in (" slot drill", " end mill", " machine reamer", " hand reamer"):
        name = name.replace(word, "")
    return name


def tool_name(use: ToolUse) -> str:
    """A tool in words: ``drill 5.8 mm``, ``tap M3``, ``turning tool``."""
    return f"{use.family} {use.designation}".strip()


def gathered(uses: Mapping[str, Sequence[ToolUse]]) -> list[tuple[ToolUse, tuple[str, ...]]]:
    """Every tool of the lists once, by family and size, with the parts that use it."""
    found: dict[tuple[str, str], tuple[ToolUse, dict[str, None]]] = {}
    for part, items in uses.items():
        for use in items:
            if use.designation:
                found.setdefault(_shelf_key(use), (use, {}))[1][part] = None
    ordered = sorted(found.values(), key=lambda item: (_family(item[0]), item[0].size_mm or 0))
    return [(use, tuple(parts)) for use, parts in ordered]


def _family(use: ToolUse) -> str:
    return "drill" if use.family == "tapping drill" else use.family


def _shelf_key(use: ToolUse) -> tuple[str, str]:
    return _family(use), use.designation
