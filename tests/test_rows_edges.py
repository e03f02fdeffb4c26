"""Ends of the rules by which rows are found, on tables and shop lists of a few lines.

Each was found by a fault that no other test noticed. The tables here are made up, and what is
expected follows by hand from what they hold; a shipped table's row is named where one is used.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from row_models import model_of, part

from scaler import catalogue
from scaler.expressions import Name
from scaler.problems import Place
from scaler.reading.grammar import parse_limits
from scaler.records import Method, Model, ShopRow
from scaler.settling import rows
from scaler.settling.rows import Candidate, Ladder, MethodRow, Rows, column_of, method_row


def table(text: str, name: str = "made_up") -> catalogue.Table:
    """A table of this CSV text: columns that end in a unit are numbers."""
    heading = text.splitlines()[0].split(",")
    kinds = {column: "number" for column in heading if column.endswith(("_mm", "_in"))}
    fields = [{"name": column, "type": kinds.get(column, "string")} for column in heading]
    return catalogue.read(text, name, f"{name}.csv", {"fields": fields})


def method(name: str, **more: object) -> MethodRow:
    """A row of the shipped methods table, with some of its cells changed."""
    found = method_row(name)
    assert found is not None
    return replace(found, **more)  # type: ignore[arg-type]


# ------------------------------------------------------------------------------- rows of methods


@pytest.mark.parametrize(
    ("name", "row_limits", "supplied", "step", "last_cut"),
    [
        # the cells of catalogues/workshop/methods.csv, read here by eye
        ("ground bar", True, False, None, None),
        ("drilled", False, False, None, None),
        ("bearing bore", False, True, None, None),
        ("turned", False, False, F("0.05"), F("0.01")),
        ("bent", False, False, F("0.5"), None),
    ],
)
def test_cells_of_the_methods_table(
    name: str, row_limits: bool, supplied: bool, step: F | None, last_cut: F | None
) -> None:
    """Yes is yes and all else is no; a blank number is none."""
    row = method(name)
    assert (row.row_limits, row.as_supplied) == (row_limits, supplied)
    assert (row.step, row.last_cut) == (step, last_cut)


def test_what_is_no_method_of_the_table_has_no_rows() -> None:
    """Neither its own row nor a catalogue's."""
    assert method_row("follows") is None
    assert rows._from_catalogue("follows") == ()


@pytest.mark.parametrize(
    ("rule", "supplied"),
    [
        ('"bearing bore"', True),
        ('"reamed"', False),
        ('["reamed", "bearing bore"]', True),
        ('["bearing bore", "bored"]', False),  # bored: a cut of its own
        ('["follows p.y", "bearing bore"]', True),
        ('"follows p.y"', False),
    ],
)
def test_what_is_never_cut_to_suit(tmp_path: Path, rule: str, supplied: bool) -> None:
    """A bought thing is, unless its rule can cut it."""
    text = part("p", f'x=full="80",kind="internal",rule={rule}', 'y=full="80",kind="internal"')
    assert rows.as_supplied(model_of(tmp_path, text).sizes["p.x"]) is supplied


# --------------------------------------------------------------------------- rows of catalogues

BARS = """designation,finish,material,diameter_mm,diameter_in,tolerance,lower_mm,upper_mm,lower_in,upper_in,source,place
a,ground,steel,5,,h9,,,,,s,p
b,drawn,brass,,1/4,,-0.05,0,,,s,p
c,ground,,0.75,,,,,-0.001,0.002,s,p
d,ground,steel,0,,,,,,,s,p
e,ground,steel,-1,,,,,,,s,p
f,ground,steel,,,,,,,,s,p
g,ground,steel,8,,,-0.05,,,,s,p
h,ground,steel,8,,,,0.05,,,s,p
"""
SIMPLE = "designation,diameter_mm,source,place\nx,5,s,p\n"


def bars() -> dict[str, catalogue.Row]:
    """The rows of :data:`BARS` by their designation; inches there are fractions."""
    heading = BARS.splitlines()[0].split(",")
    fields = [
        {"name": c, "type": "number" if c.endswith(("_mm", "_in")) else "string"} for c in heading
    ]
    made = catalogue.read(BARS, "bars", "bars.csv", {"fields": fields})
    return {row.text("designation"): row for row in made.rows}


def test_a_row_as_a_method_takes_it() -> None:
    """Size, tolerance where the method's limits are its rows', material and the unit printed; a
    quarter inch is 6.35 mm. What gives no size above nothing is no candidate."""
    made = bars()
    bar = method("ground bar")
    assert rows._candidate(bar, made["a"]) == Candidate(
        F(5), "a", "bars", "s", "p", False, "h9", "steel", "metric"
    )
    assert rows._candidate(replace(bar, row_limits=False), made["b"]) == Candidate(
        F("6.35"), "b", "bars", "s", "p", False, "", "brass", "inch"
    )
    small = rows._candidate(bar, made["c"])
    assert small is not None and small.value == F("0.75")
    assert [rows._candidate(bar, made[name]) for name in "def"] == [None, None, None]


def test_a_row_of_a_table_with_few_columns() -> None:
    """Without a column for material or tolerance there is neither."""
    (row,) = table(SIMPLE).rows
    found = rows._candidate(method("ground bar"), row)
    assert rows._tolerance(row) == ""
    assert found == Candidate(F(5), "x", "made_up", "s", "p", False, "", "", "metric")


def test_the_tolerance_that_a_row_is_supplied_to() -> None:
    """Its class; else its two deviations, from inches by 25.4 (-0.001 and 0.002 in); else none."""
    made = bars()
    found = {name: rows._tolerance(row) for name, row in made.items()}
    assert found["a"] == "h9"
    for name, low, high in (("b", "-0.05", "0"), ("c", "-0.0254", "0.0508")):
        limits = parse_limits(found[name])
        assert (limits.lower, limits.upper) == (F(low), F(high))
    assert found["d"] == found["g"] == found["h"] == ""  # one end alone says nothing


def test_the_rows_that_a_filter_leaves() -> None:
    """One of the values named; a table without the column is not filtered by it."""
    made = bars()
    assert [n for n, r in made.items() if rows._passes(method("ground bar"), r)] == list("acdefgh")
    both = method("ground bar", filters=(("finish", ("ground", "drawn")), ("material", ("brass",))))
    assert [n for n, r in made.items() if rows._passes(both, r)] == ["b"]
    (row,) = table(SIMPLE).rows
    assert rows._passes(method("ground bar"), row)


def test_the_shipped_tables_are_filtered() -> None:
    """All ground bar is ground, all hand reamers are for the hand, as their rows say; and the list
    is what a plain walk through the tables finds."""
    for name, column, value in (
        ("ground bar", "finish", "ground"),
        ("hand reamed", "kind", "hand"),
    ):
        found = rows._from_catalogue(name)
        plain = {
            (one, row.text("designation"))
            for one in method(name).tables
            for row in catalogue.table(one).rows
            if row.text(column) == value
        }
        assert {item.key for item in found} == plain and len(found) == len(plain) > 10


# -------------------------------------------------------------------- another column of the row


def by(name: str, way: str = "row", column: str = "") -> Method:
    """A method as a rule would have it; with a column, that of the row of p.x."""
    return Method(
        name, name, way, "nearest", None, None, None, Name("p.x"), None, None, column  # type: ignore[arg-type]
    )  # fmt: skip


def link(column: str) -> Method:
    """A method that takes a column of the row of another size."""
    return by(column, "follow", column)


def test_a_column_brings_its_own_source() -> None:
    """The cells of M3 in the shipped table: its tapping drill has a source of its own and no place
    of the row's; its pitch has the row's source and place. Neither has the bar's tolerance."""
    thread = catalogue.table("threads_metric_coarse").find("M3")
    assert thread is not None
    row = Candidate(F(3), "M3", "threads_metric_coarse", "shop", "", True, "h9", "steel", "inch")
    drill = column_of(row, link("tapping_drill"))
    assert thread.text("tapping_source") not in ("", thread.text("source"))
    assert drill == replace(
        row, value=F("2.5"), source=thread.text("tapping_source"), tolerance="", unit="metric"
    )
    pitch = column_of(row, link("pitch"))
    assert pitch == replace(
        row,
        value=F("0.5"),
        source=thread.text("source"),
        place=thread.text("place"),
        tolerance="",
        unit="metric",
    )


def test_what_has_no_such_column() -> None:
    """No row; a size of the shop list alone; a designation that is not there; a column that is not
    there; a thread for which none is given."""
    row = Candidate(F(3), "M3", "threads_metric_coarse", "", "", True)
    assert column_of(None, link("pitch")) is None
    assert column_of(replace(row, table="shop"), link("pitch")) is None
    assert column_of(replace(row, designation="M3.3"), link("pitch")) is None
    assert column_of(row, link("flange")) is None


def test_a_column_that_gives_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nought and less are no size; three quarters and one are. A blank is none."""
    made = table(
        "designation,flange_mm,source,place\na,0,s,p\nb,-2,s,p\nc,0.75,s,p\nd,1,s,p\ne,,s,p\n"
    )
    monkeypatch.setattr(catalogue, "names", lambda: ("made_up",))
    monkeypatch.setattr(catalogue, "table", lambda name: {"made_up": made}[name])
    found = {
        name: column_of(Candidate(F(9), name, "made_up", "", "", False), link("flange"))
        for name in "abcde"
    }
    assert [item and item.value for item in found.values()] == [None, None, F("0.75"), F(1), None]
    assert found["c"] == Candidate(F("0.75"), "c", "made_up", "s", "p", False, unit="metric")


# ----------------------------------------------------------------------------- the part's material


@pytest.mark.parametrize(
    ("material", "left"),
    [
        ("", "plain steel brass silver"),
        ("steel", "plain steel silver"),
        ("Steel, silver", "plain steel silver"),
        ("mild steel", "plain steel"),
        ("brass", "plain brass"),
        ("gunmetal", "plain"),
    ],
)
def test_stock_of_the_parts_material(material: str, left: str) -> None:
    """What is of no stated material serves; of steel and silver steel each may say less than the
    other, but not something else."""
    every = {"plain": "", "steel": "steel", "brass": "brass", "silver": "silver steel"}
    made = [Candidate(F(1), name, "t", "", "", False, material=m) for name, m in every.items()]
    assert [item.designation for item in rows._of_material(made, material)] == left.split()


def test_where_no_stock_is_of_the_material_all_serves() -> None:
    """A part of gunmetal is cut from what there is."""
    made = [Candidate(F(1), "a", "t", "", "", False, material="brass")]
    assert rows._of_material(made, "gunmetal") == made


# ----------------------------------------------------------------------------------- the shop list


def shelf(family: str, written: str, size: object = None, named: str | None = None) -> ShopRow:
    """A row of the shop list; where it names no row its designation is what is written."""
    value = None if size is None else F(str(size))
    named = written if named is None else named
    return ShopRow(family, named, value, "", Place("shop.csv", 2, 1), (), (), written)


def test_the_row_that_a_family_goes_by() -> None:
    """Tube goes by its outside: the cells of a shipped tube."""
    item = catalogue.table("stock_tube_metric").rows[0]
    found = rows.named_row("tube", item.text("designation"))
    assert found is not None and found.value == item.mm("outside")
    assert rows.named_row("drill", item.text("designation")) is None
    assert rows.named_row("tube", "no such tube") is None
    assert rows._main_columns()["tube"] == "outside"
    assert "" not in rows._main_columns()
    drawn = next(
        row
        for row in catalogue.table("stock_round_metric").rows
        if row.text("finish") == "bright drawn"
    )
    assert rows.named_row("ground bar", drawn.text("designation")) is None  # a row, but not ground


def on_shelf(item: ShopRow, name: str) -> tuple[F, str, str, str] | None:
    """Size, designation, table and unit of a shop list's row as a method takes it."""
    found = rows._shop_candidate(item, method(name))
    if found is None:
        return None
    assert found.shop and found.place == "" and found.source == "shop list, shop.csv, line 2"
    return found.value, found.designation, found.table, found.unit


@pytest.mark.parametrize(
    ("item", "name", "wanted"),
    [
        # a size alone: for the methods of its family that go by that size, and no other
        (shelf("drill", "5 mm", 5), "drilled", (F(5), "5 mm", "shop", "metric")),
        (shelf("drill", "1/4 in", "6.35"), "drilled", (F("6.35"), "1/4 in", "shop", "inch")),
        (shelf("drill", '1/4"', "6.35"), "drilled", (F("6.35"), '1/4"', "shop", "inch")),
        (shelf("drill", "No. 30", "3.2639"), "drilled", (F("3.2639"), "No. 30", "shop", "")),
        (shelf("drill", "5 mm", 5), "reamed", None),
        (shelf("tube", "5 mm", 5), "tube outside", (F(5), "5 mm", "shop", "metric")),
        (shelf("tube", "5 mm", 5), "tube bore", None),
        (shelf("drill", "5 mm", 5), "tube bore", None),
        (shelf("reamer", "5 mm", 5), "hand reamed", None),
        # a name that is no row of a catalogue: still that size
        (shelf("drill", "5 mm", 5, "mine"), "drilled", (F(5), "mine", "shop", "metric")),
        (shelf("drill", "5 mm", 5, "mine"), "tube bore", None),
        (shelf("drill", "5 mm", 5, "mine"), "reamed", None),
        # a thread: for its own series and for any thread; M3 and 2 BA are 3 and 4.7 mm outside
        # (ISO 261 and BS 93, from memory), 1/4 in BSF is 6.35 mm by its name
        (shelf("thread", "M3"), "thread", (F(3), "M3", "threads_metric_coarse", "metric")),
        (shelf("thread", "M3"), "metric thread", (F(3), "M3", "threads_metric_coarse", "metric")),
        (shelf("thread", "M3"), "BA thread", None),
        (shelf("thread", "2 BA"), "BA thread", (F("4.7"), "2 BA", "threads_ba", "metric")),
        (shelf("thread", "1/4 BSF"), "BSF thread", (F("6.35"), "1/4 BSF", "threads_bsf", "inch")),
        (shelf("thread", "1/4 BSF"), "thread", (F("6.35"), "1/4 BSF", "threads_bsf", "inch")),
        (shelf("thread", "no thread"), "thread", None),
        (shelf("thread", "M3"), "drilled", None),
        (shelf("drill", "3 mm", 3), "thread", None),
        (shelf("thread", "M3"), "cap screw", None),
    ],
)
def test_a_row_of_the_shop_list_as_a_method_takes_it(
    item: ShopRow, name: str, wanted: tuple[F, str, str, str] | None
) -> None:
    """By what it is and what it is written in."""
    assert on_shelf(item, name) == wanted


def test_a_shop_row_that_names_a_catalogues_row() -> None:
    """It has that row's other columns, its table, place and tolerance as well; a method that does
    not take that row has nothing of it."""
    item = catalogue.table("stock_tube_metric").rows[0]
    name, outside = item.text("designation"), item.mm("outside")
    assert outside is not None
    owned = shelf("tube", "", outside, name)
    for one in ("outside", "bore", "wall"):
        taken = item.mm(one), name, "stock_tube_metric", "metric"
        assert on_shelf(owned, f"tube {one}") == taken
    assert on_shelf(owned, "drilled") is None
    assert on_shelf(owned, "key width") is None
    flat = catalogue.table("stock_flat_metric").rows[0]
    bar = shelf("flat thickness", "", flat.mm("thickness"), flat.text("designation"))
    found = on_shelf(bar, "flat width")
    assert found is not None and found[0] == flat.mm("width") != flat.mm("thickness")
    assert on_shelf(bar, "square bar") is None


def listed(model: Model, name: str, material: str = "") -> list[tuple[F, str, bool]]:
    """Size, designation and whether on the shelf, of all rows that serve a method."""
    return [(r.value, r.designation, r.shop) for r in Rows(model).of(by(name), material)]


SHOP = "drill,5 mm,\ndrill,,4.5 mm\nreamer,6 mm,\n"


def test_what_is_on_the_shelf_and_in_the_catalogues(tmp_path: Path) -> None:
    """The shelf's drills before the catalogue's of the same size, and one that names its row once;
    with the shelf alone, those only. By size throughout."""
    text = part("p", 'x=full="40",kind="internal",rule="drilled"')
    every = listed(model_of(tmp_path / "all", text, SHOP), "drilled")
    alone = model_of(tmp_path / "alone", text, SHOP, "shop_only=true\n")
    assert listed(alone, "drilled") == [(F("4.5"), "4.5 mm", True), (F(5), "5 mm", True)]
    assert listed(alone, "turned") == listed(alone, "follows") == []
    assert every == sorted(every, key=lambda row: row[0])
    assert [row for row in every if row[0] == F("4.5")] == [(F("4.5"), "4.5 mm", True)]
    fives = [row for row in every if row[0] == 5]
    assert fives == [(F(5), "5 mm", True), (F(5), "5 mm", False)]
    shipped = sum(len(catalogue.table(t).rows) for t in method("drilled").tables)
    assert len(every) == shipped + 1  # 4.5 mm is one of them, 5 mm is a size by itself


def test_what_others_need_of_a_row(tmp_path: Path) -> None:
    """Those count that take a column and can be got by nothing else."""
    text = part(
        "p",
        'x=full="24",kind="external",rule="metric thread"',
        'a=kind="internal",rule="tapping hole of p.x"',
        'b=kind="internal",rule="clearance hole of p.x"',
        'c=full="28",kind="internal",rule=["clearance hole of p.x","drilled"]',
        'd=full="28",kind="internal",rule="drilled"',
        'e=kind="external",rule="follows p.x"',
        'f=kind="length"',
    )
    found = Rows(model_of(tmp_path, text + '[condition.f]\nkeep="p.f == p.x"\n')).needed
    assert {name: [size.id for size in sizes] for name, sizes in found.items()} == {
        "p.x": ["p.a", "p.b"]
    }


# ------------------------------------------------------------------------------------ exact ladders

fractions = st.fractions(-50, 50, max_denominator=60)


@given(st.lists(fractions, min_size=1, max_size=9), fractions)
def test_a_ladder_counts_as_a_plain_search_does(values: list[F], value: F) -> None:
    """How many are not above a value, and how many below it."""
    ladder = Ladder(sorted(values))
    for one in (value, values[0]):
        assert ladder.up_to(one) == sum(item <= one for item in values)
        assert ladder.below(one) == sum(item < one for item in values)


def test_a_ladder_is_exact_where_floats_are_not() -> None:
    """Steps of 3^-40 and sizes of 10^20, which floats round together (they have 53 bits)."""
    small = [F(n, 3**40) for n in (1, 3**40 - 1, 3**40, 3**40 + 1)]
    large = [F(10**20 + n) for n in range(4)]
    for values in (small, large):
        ladder = Ladder(values)
        for at, value in enumerate(values):
            assert (ladder.below(value), ladder.up_to(value)) == (at, at + 1)


def test_what_is_kept_of_a_class_is_made_once(tmp_path: Path) -> None:
    """The second time it is the same object, and of another class another."""
    held = rows.Kept()
    assert held.of(dict) is held.of(dict)
    assert isinstance(held.of(list), list)
