"""Sizes that are columns of one row: published values, recorded choices, tables of one's own.

Models are made up. Published figures carry their source; the catalogues' own marks say how far each
was checked.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from fractions import Fraction as F
from pathlib import Path

import pytest
from row_models import BOLTED, model_of, part, refusal, values

import scaler
from scaler import catalogue
from scaler.cards.tools import Tools
from scaler.checking.explaining import explain
from scaler.desk.materials_list import materials
from scaler.problems import InputError
from scaler.settling import rows
from scaler.substitution.substitute import substitute
from scaler.substitution.write import write_choices


@pytest.mark.parametrize(
    ("full", "rule", "taken"),
    [
        # ISO 273:1979 fine, medium, coarse; ISO 2306:1972 tapping drill (D − P);
        # ISO 4014/4032 across flats: all from memory here
        ("24", "metric thread", ("M3", "3", "2.5", "5.5", "3.2", "3.4", "3.6")),
        ("48", "metric thread", ("M6", "6", "5", "10", "6.4", "6.6", "7")),
        ("64", "metric thread", ("M8", "8", "6.8", "13", "8.4", "9", "10")),
    ],
)
def test_a_thread_settles_hole_and_hexagon_in_other_parts(
    tmp_path: Path, full: str, rule: str, taken: tuple[str, ...]
) -> None:
    """Bolt, nut, tapped hole and clearance holes in four parts come from one published row."""
    name, major, tapping, flats, close, medium, free = taken
    text = part("bolt", f'thread=full="{full}",rule="{rule}"') + BOLTED
    model = model_of(tmp_path, text)
    wanted = {
        "bolt.thread": major, "frame.tapped": tapping, "nut.flats": flats,
        "cover.close": close, "cover.medium": medium, "cover.free": free,
    }  # fmt: skip
    assert values(model) == {key: F(value) for key, value in wanted.items()}
    result = substitute(model)
    assert result.status == "optimal"
    assert {choice.row for choice in result.choices} == {name}
    assert values(result.model) == values(model)


def test_inch_columns_and_a_hexagon_by_its_own_table(tmp_path: Path) -> None:
    """2 BA: 4.7 mm, 0.324 in across flats (BS 57, 1.75 D; from memory) and a 4 mm drill."""
    text = part("bolt", 'thread=full="37.6",rule="BA thread"') + BOLTED
    found = values(model_of(tmp_path, text))
    assert found["nut.flats"] == F("0.324") * F("25.4") and found["frame.tapped"] == 4
    assert found["bolt.thread"] == F("4.7")


@pytest.mark.parametrize(
    ("name", "sizes"),
    [
        # ISO 15 dimension series, boundary dimensions: from memory
        ("6201", ("12", "32", "10")),
        ("6000", ("10", "26", "8")),
        ("608", ("8", "22", "7")),
    ],
)
def test_a_bearing_is_one_choice(tmp_path: Path, name: str, sizes: tuple[str, str, str]) -> None:
    """Bore, outside and width of one designation, though each drawn size alone lies nearer others."""
    bore, outside, width = (F(text) for text in sizes)
    text = part(
        "bearing",
        f'bore=full="{float(bore * 8 + 1)}",rule="bearing bore"',
        f'outside=full="{float(outside * 8 - 3)}",rule="bearing outside"',
        f'width=full="{float(width * 8 + 1)}",rule="bearing width"',
    )
    result = substitute(model_of(tmp_path, text))
    assert {choice.row for choice in result.choices} == {name}
    assert [choice.value for choice in result.choices] == [bore, outside, width]


@pytest.mark.parametrize(
    ("sizes", "row"),
    [
        # ISO 15 boundary dimensions, from memory: 606 is 6 × 17 × 6, 608 8 × 22 × 7; MR106 and
        # 635 have the bore and the width of the first too, and none has 606's with 608's width
        (("6", "17", "6"), "606"),
        (("8", "22", "7"), "608"),
        (("6", "17", "7"), ""),
    ],
)
def test_each_size_alone_takes_the_row_that_serves_all(
    tmp_path: Path, sizes: tuple[str, str, str], row: str
) -> None:
    """Where rows serve a size equally well, the sizes of one bearing go by one that serves all."""
    bore, outside, width = sizes
    model = model_of(
        tmp_path,
        part(
            "bearing",
            f'bore=full="{8 * int(bore)}",rule="bearing bore"',
            f'outside=full="{8 * int(outside)}",rule="bearing outside"',
            f'width=full="{8 * int(width)}",rule="bearing width"',
        ),
    )
    assert list(values(model).values()) == [F(text) for text in sizes]
    reduction = scaler.reduce(model)
    taken = {x.settled.row.designation for x in reduction.lines if x.settled and x.settled.row}
    if row:
        assert taken == {row} and not reduction.notes
    else:
        assert len(taken) > 1 and {note.code for note in reduction.notes} == {"other-row"}


def test_the_bench_keeps_the_row_that_serves_all(tmp_path: Path) -> None:
    """What hangs on one size of a bearing is looked at with the others: the rows are those of a
    check of the whole, whatever was drawn otherwise, 606 (6 × 17 × 6; ISO 15, from memory) or not.
    """
    text = part(
        "bearing",
        'bore=full="48",rule="bearing bore"',
        'outside=full="136",rule="bearing outside"',
        'width=full="48",rule="bearing width"',
    )
    text += part("box", 'depth=full="80",kind="length",rule="milled step 0.1 mm"')
    text += '[condition.deep]\nkeep="box.depth - bearing.width >= \'2 mm\'"\nbasis="basic size"\n'
    text += '[condition.wide]\nkeep="bearing.bore >= \'1 mm\'"\nbasis="basic size"\n'
    work = scaler.Workbench(model_of(tmp_path, text))
    for size, full in (
        ("box.depth", "88 mm"),
        ("bearing.width", "56 mm"),
        ("bearing.width", "48 mm"),
        ("bearing.bore", "64 mm"),
        ("bearing.bore", "48 mm"),
    ):
        work.redraw(size, full)
        whole = {line.size.id: line.settled for line in scaler.reduce(work.model).lines}
        assert {name: work.bench.settled(name) for name in whole} == whole
    assert work.bench.settled("bearing.width").row.designation == "606"  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("shaft", "key"),
    [
        # DIN 6885-1: shaft over/to, width, height, depth in shaft and hub; from memory
        ("20", ("6", "6", "3.5", "2.8")),
        ("16", ("5", "5", "3", "2.3")),
        ("11", ("4", "4", "2.5", "1.8")),
    ],
)
def test_a_key_settles_its_height_and_both_keyways(
    tmp_path: Path, shaft: str, key: tuple[str, ...]
) -> None:
    """The key drawn at the width for its shaft brings height and keyways of the same row."""
    width, height, in_shaft, in_hub = (F(text) for text in key)
    row = next(
        item
        for item in catalogue.table("parts_keys").rows
        if item.number("shaft_over_mm") < F(shaft) <= item.number("shaft_to_mm")
    )
    assert row.mm("width") == width
    text = part("key", f'width=full="{float(8 * width)}",kind="external",rule="key width"')
    text += part(
        "wheel",
        'depth=kind="depth",rule="keyway depth in hub of key.width"',
        'keyway=kind="slot",rule="keyway width of key.width"',
    )
    text += part(
        "shaft",
        'depth=kind="depth",rule="keyway depth in shaft of key.width"',
        'key_height=kind="length",rule="key height of key.width"',
    )
    found = values(model_of(tmp_path, text))
    assert [found[n] for n in ("key.width", "shaft.key_height", "shaft.depth", "wheel.depth")] == [
        width, height, in_shaft, in_hub,
    ]  # fmt: skip
    assert found["wheel.keyway"] == width


@pytest.mark.parametrize(
    ("shaft", "key"),
    # DIN 6885-1: over 12 to 17 mm 5 x 5, over 17 to 22 mm 6 x 6 (from memory)
    [("13", "5 x 5 key"), ("17", "5 x 5 key"), ("17.5", "6 x 6 key"), ("22", "6 x 6 key")],
)
def test_a_key_for_the_shaft_that_its_standard_gives_it(
    tmp_path: Path, shaft: str, key: str
) -> None:
    """The range of shafts is two more columns of the key's row, and a condition keeps the shaft in
    it: whatever width is drawn, the key is that of the shaft."""
    text = part("key", 'width=full="44",kind="external",rule="key width",reach="1 mm"')
    text += part(
        "shaft",
        f'journal=full="{float(F(shaft) * 8)}",kind="external",rule="turned step 0.5 mm"',
        'least=kind="length",rule="shaft over of key.width"',
        'most=kind="length",rule="shaft to of key.width"',
    )
    text += (
        "[condition.key_for_shaft]\nkeep=\"shaft.journal - shaft.least >= '0.01 mm'\"\n"
        'basis="basic size"\n'
        "[condition.shaft_for_key]\nkeep=\"shaft.most - shaft.journal >= '0 mm'\"\n"
        'basis="basic size"\n'
    )
    result = substitute(model_of(tmp_path, text))
    assert result.status == "optimal"
    taken = {choice.size: choice.row for choice in result.choices}
    assert taken["key.width"] == key
    assert values(result.model)["shaft.journal"] == F(shaft)


def test_a_bearing_and_a_key_are_bought_by_their_rows(tmp_path: Path) -> None:
    """The materials list asks for the designation, not for bar to cut it from."""
    text = part(
        "bearing",
        'bore=full="96",rule="bearing bore"',
        'outside=full="256",rule="bearing outside"',
    )
    text += part("key", 'width=full="48",kind="external",rule="key width"')
    found = materials(scaler.reduce(substitute(model_of(tmp_path, text)).model))
    assert [(item.part, item.sizes[0][1]) for item in found.bought] == [
        ("bearing", "6201"), ("key", "6 x 6 key"),
    ]  # fmt: skip
    assert not found.lines


def test_circlip_screw_and_tube_have_their_columns(tmp_path: Path) -> None:
    """DIN 471 for 10 mm: groove 9.6, 1.1 wide; ISO 4762 M3: head 5.5 by 3, key 2.5, and by the
    thread's own table a 2.5 mm tapping drill (all from memory)."""
    text = part("shaft", 'clip_diameter=full="80",kind="external",rule="external circlip"')
    text += part(
        "groove",
        'diameter=kind="external",rule="circlip groove diameter of shaft.clip_diameter"',
        'width=kind="slot",rule="circlip groove width of shaft.clip_diameter"',
    )
    text += part("screw", 'thread=full="24",rule="cap screw"')
    text += part(
        "lid",
        'head=kind="internal",rule="head diameter of screw.thread"',
        'sunk=kind="depth",rule="head height of screw.thread"',
        'tapped=kind="internal",rule="tapping hole of screw.thread"',
    )
    found = values(model_of(tmp_path, text))
    assert (found["groove.diameter"], found["groove.width"]) == (F("9.6"), F("1.1"))
    assert (found["lid.head"], found["lid.sunk"], found["lid.tapped"]) == (F("5.5"), 3, F("2.5"))


def test_a_row_that_lacks_what_others_need_is_not_taken(tmp_path: Path) -> None:
    """M2.2 is nearest to 2.19 mm, and ISO 273 gives it no clearance hole: the next row that has one
    is taken where one is asked for."""
    alone = model_of(tmp_path, part("bolt", 'thread=full="17.5",rule="metric thread"'))
    assert scaler.reduce(alone).line("bolt.thread").settled.row.designation == "M2.2"
    text = part("bolt", 'thread=full="17.5",rule="metric thread"') + BOLTED
    assert values(model_of(tmp_path, text))["bolt.thread"] == 2


def test_a_method_none_of_whose_rows_will_do_gives_way_to_the_next(tmp_path: Path) -> None:
    """Model engineers' threads have no table of hexagons; BA threads have one (BS 57)."""
    text = part("bolt", 'thread=full="25.4",rule=["ME thread","BA thread"]')
    alone = scaler.reduce(model_of(tmp_path, text)).line("bolt.thread").settled
    assert alone is not None and alone.row is not None and "ME" in alone.row.designation
    text += part("nut", 'flats=kind="length",rule="across flats of bolt.thread"')
    model = model_of(tmp_path, text)
    assert values(model)["bolt.thread"] == F("3.2")
    assert {choice.row for choice in substitute(model).choices} == {"5 BA"}


def test_the_chosen_row_is_recorded_once_and_all_go_by_it(tmp_path: Path) -> None:
    """Only the thread is written down; check, explain, tools and a later change follow its row."""
    text = part("bolt", 'thread=full="24",rule="metric thread"') + BOLTED
    model = model_of(tmp_path, text)
    assert write_choices(substitute(model)) == 1
    log = (tmp_path / "choices.csv").read_text(encoding="utf-8")
    assert "bolt.thread" in log and "frame.tapped" not in log
    with (tmp_path / "choices.csv").open("a", encoding="utf-8") as file:
        file.write("2026-01-01T10:00:00Z,choose,bolt.thread,4 mm,metric thread,M4,\n")
    again = scaler.load(tmp_path)
    # ISO 273 medium 4.5, ISO 2306 3.3, ISO 4032 7: from memory
    found = values(again)
    assert (found["cover.medium"], found["frame.tapped"], found["nut.flats"]) == (
        F("4.5"), F("3.3"), 7,
    )  # fmt: skip
    said = explain(again, "bolt.thread")
    assert set(said.makes) == set(found) - {"bolt.thread"}
    steps = " ".join(step.text for step in explain(again, "frame.tapped").steps)
    assert "of M4, which bolt.thread takes" in steps
    lines = [line for line in scaler.reduce(again).lines if line.size.part == "frame"]
    assert lines[0].limits is not None and lines[0].limits.upper == F("0.1")  # as drilled
    drill = [use for use in Tools(again).of_part(lines) if use.family == "drill"]
    assert [(use.size_mm, use.designation) for use in drill] == [(F("3.3"), "3.3 mm")]


def test_a_later_method_serves_where_the_row_does_not(tmp_path: Path) -> None:
    """A drawn hole too far from the row's is drilled by what comes next in its rule."""
    text = part("bolt", 'thread=full="24",rule="metric thread"')
    text += part(
        "cover",
        'near=full="27",kind="internal",rule=["clearance hole of bolt.thread","drilled"]',
        'far=full="40",kind="internal",rule=["clearance hole of bolt.thread","drilled"]',
        'lone=full="40",kind="internal",rule="clearance hole of bolt.thread"',
    )
    model = model_of(tmp_path, text)
    reduction = scaler.reduce(model)
    assert reduction.line("cover.near").settled.method == "clearance hole"
    assert reduction.line("cover.far").settled.method == "drilled"
    assert values(model)["cover.far"] == 5
    assert "beyond its reach" in reduction.line("cover.lone").settled.note


def test_made_and_bought_parts_lead_as_well(tmp_path: Path) -> None:
    """A bolt read at 2.96 mm is taken for the M3 that is nearest."""
    text = part("bolt", 'thread=full="24",rule="metric thread",made="2.96 mm"') + BOLTED
    found = values(model_of(tmp_path, text))
    assert found["frame.tapped"] == F("2.5") and found["bolt.thread"] == F("2.96")
    result = substitute(scaler.load(tmp_path))
    assert result.status == "optimal" and {c.row for c in result.choices} == {"M3"}


# --- the shop list

TUBE = "tube, brass, drawn, 6 x 0.45 mm"


def tube_text(bore: str = "40") -> str:
    """A brass tube with outside and bore drawn."""
    return part(
        "pipe",
        'outside=full="48",kind="external",rule="tube outside"',
        f'bore=full="{bore}",kind="internal",rule="tube bore"',
        more='material="brass"\n',
    )


def test_a_shop_row_that_names_a_catalogue_row_has_all_its_columns(tmp_path: Path) -> None:
    """The tube on the shelf is 6 mm outside and, by the catalogue's row, 5.1 mm in the bore."""
    shop = f'tube,,"{TUBE}"\n'
    model = model_of(tmp_path, tube_text(), shop, "shop_only=true\n")
    result = substitute(model)
    assert [choice.value for choice in result.choices] == [6, F("5.1")]
    assert {choice.row for choice in result.choices} == {TUBE}
    assert result.levels[2].reached == 0  # both on the shelf


def test_a_shop_row_of_one_size_has_no_other(tmp_path: Path) -> None:
    """6 mm tube on the shelf is an outside; nothing says what its bore is."""
    model = model_of(tmp_path, tube_text(), "tube,6 mm,\n", "shop_only=true\n")
    found = substitute(model)
    assert found.status == "impossible"
    assert "pipe.bore is made by: tube bore" in found.conflicts[0].text
    thread = part("bolt", 'thread=full="24",rule="metric thread"') + BOLTED
    named = model_of(tmp_path, thread, "thread,M3,\n", "shop_only=true\n")
    assert values(named)["frame.tapped"] == F("2.5")  # a thread's name is its row


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (f'tube,7 mm,"{TUBE}"', "the size is not that of"),
        ("tube,,my own tube", "nothing says what size this tube is"),
    ],
)
def test_a_shop_row_that_contradicts_its_catalogue(tmp_path: Path, line: str, words: str) -> None:
    """Size and name of one shelf must agree, and one of them must say the size."""
    said = refusal(tmp_path, tube_text(), f"{line}\n")
    assert words in said and "shop.csv, line 2" in said


def test_columns_of_one_piece_that_come_from_two_rows_are_noted(tmp_path: Path) -> None:
    """Without a choice each size takes its nearest row: a check says that they are two tubes."""
    model = model_of(tmp_path, tube_text("47"))
    notes = [note for note in scaler.reduce(model).settlement.notes if note.code == "other-row"]
    assert len(notes) == 1 and "one row for both" in notes[0].expected
    assert not [
        note
        for note in scaler.reduce(substitute(model).model).settlement.notes
        if note.code == "other-row"
    ]


def test_two_tubes_in_one_part_are_told_apart_by_name(tmp_path: Path) -> None:
    """With two outsides it is not known whose the bore is: said, until the rule says it."""
    two = 'inner=full="40",kind="external",rule="tube outside"'
    text = tube_text() + f"size.{two.replace('=', '={', 1)}}}\n"
    model = model_of(tmp_path, text)
    assert [note.code for note in model.notes] == ["unclear-row"]
    assert model.row_groups == ()
    named = text.replace('rule="tube bore"', 'rule="tube bore of pipe.outside"')
    model = model_of(tmp_path, named)
    assert model.notes == ()
    result = substitute(model)
    rows_taken = {choice.size: choice.row for choice in result.choices}
    assert rows_taken["pipe.bore"] == rows_taken["pipe.outside"] != rows_taken["pipe.inner"]


# --- tables of one's own

FIELDS = [
    {"name": "designation", "type": "string", "description": "name"},
    {"name": "bore_mm", "type": "number", "description": "bore", "unit": "mm"},
    {"name": "flange_mm", "type": "number", "description": "flange", "unit": "mm"},
    {"name": "screw", "type": "string", "description": "fixing screw"},
    {"name": "source", "type": "string", "description": "source"},
    {"name": "place", "type": "string", "description": "place"},
]


@pytest.fixture
def own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """An own table of flanged bearings, whose fixing screws are rows of a shipped table."""
    folder = tmp_path / "tables"
    folder.mkdir()
    monkeypatch.setenv("SCALER_TABLES", str(folder))
    key = {"fields": "screw", "reference": {"resource": "threads_ba", "fields": "designation"}}
    resource = {
        "name": "my_bearings",
        "path": "my_bearings.csv",
        "schema": {"fields": FIELDS, "foreignKeys": [key]},
        "serves": ["bearing bore"],
    }
    (folder / "datapackage.json").write_text(json.dumps({"resources": [resource]}))
    (folder / "my_bearings.csv").write_text(
        "designation,bore_mm,flange_mm,screw,source,place\n"
        "small flanged,11.3,31.7,4 BA,common practice,my drawer\n"
        "large flanged,19.1,44.2,2 BA,common practice,my drawer\n"
    )

    def forget() -> None:
        catalogue.forget()
        rows._from_catalogue.cache_clear()

    forget()
    yield folder
    monkeypatch.undo()
    forget()


def test_an_own_table_links_without_python(tmp_path: Path, own: Path) -> None:
    """Its columns, and those of the shipped row that it names: 4 BA is 3.6 mm (BS 93, from memory)
    and is tapped through a 3 mm hole (BS 1157, from memory)."""
    text = part("bearing", 'bore=full="90.4",rule="bearing bore"')
    text += part(
        "bracket",
        'flange=kind="length",rule="flange of bearing.bore"',
        'tapped=kind="internal",rule="tapping hole of bearing.bore"',
        'screw=kind="external",rule="major of bearing.bore"',
    )
    found = values(model_of(tmp_path / "m", text))
    assert [found[f"bracket.{n}"] for n in ("flange", "tapped", "screw")] == [
        F("31.7"), 3, F("3.6"),
    ]  # fmt: skip


def test_an_own_table_that_names_no_table_is_refused(own: Path) -> None:
    """A foreign key must lead somewhere."""
    package = own / "datapackage.json"
    package.write_text(package.read_text().replace("threads_ba", "threads_xx"))
    catalogue.forget()
    with pytest.raises(InputError, match="there is no such table"):
        catalogue.names()


def test_every_foreign_key_of_the_shipped_tables_leads_to_a_row() -> None:
    """What a cell names stands in the table named, in every row of every table."""
    for name in catalogue.names():
        table = catalogue.table(name)
        for column in table.keys:
            for row in table.rows:
                assert not row.text(column) or row.named(column) is not None, (name, row)


# --- bad input


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("tapping hole of bolt.threed", "there is no such size"),
        ("tapping hole of bolt", "where the size whose row counts was looked for"),
        ("tapping hole", "of what is not said"),
        ("colour of bolt.thread", "no row of bolt.thread has a 'colour'"),
        ("tapping hole of cover.edge", "cover.edge takes no row of a catalogue"),
        ("tapping hole of bolt.thread step 1 mm", "neither cut to a step nor rounded"),
        ("turned of bolt.thread", "is no column of a row"),
        ("tapping hole of cover.hole", "follows itself"),
        ("tapping hole of cover.other", "take their rows from each other"),
    ],
)
def test_a_link_that_cannot_be_is_refused_in_place(tmp_path: Path, rule: str, words: str) -> None:
    """File, line, what was read, and what to do."""
    text = part("bolt", 'thread=full="24",rule="metric thread"')
    text += part(
        "cover",
        f'hole=kind="internal",rule="{rule}"',
        'edge=full="80",kind="length",rule="milled"',
        'other=kind="internal",rule="clearance hole of cover.hole"',
    )
    said = refusal(tmp_path, text)
    assert words in said and "model.toml, line" in said
