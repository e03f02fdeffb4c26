"""What is preferred, forbidden and locked: what decides, what is said, and what contradicts.

Models are made up; each expectation is worked out by hand in the test from sizes that the tables
hold (a quarter inch is 6.35 mm).
"""

from __future__ import annotations

from fractions import Fraction as F
from pathlib import Path

import pytest
from click.testing import CliRunner
from row_models import BOLTED, model_of, part, refusal, values

import scaler
from scaler.checking.explaining import explain
from scaler.cli.main import cli
from scaler.settling.wishes import means, standing
from scaler.substitution.records import Substitution
from scaler.substitution.substitute import substitute
from scaler.substitution.write import write_choices

ROD = 'diameter=full="50.8",kind="external",rule="ground bar"'


def taken(result: Substitution) -> dict[str, tuple[F, str]]:
    """Size and row of every choice."""
    return {choice.size: (choice.value, choice.row) for choice in result.choices}


def rod(
    folder: Path, more: str = "", head: str = "", shop: str = "", above: str = ""
) -> Substitution:
    """The best choice for a rod that is a quarter inch at exact scale."""
    text = part("rod", ROD + more, more=above)
    return substitute(model_of(folder, text, shop, head))


# --- levels


@pytest.mark.parametrize(
    ("head", "above", "more", "size"),
    [
        ("", "", "", "6.35"),
        ('forbid="inch"\n', "", "", "6.5"),
        ("", 'forbid=["inch"]\n', "", "6.5"),
        ("", "", ',forbid="inch"', "6.5"),
        ('forbid="inch"\n', 'forbid="none"\n', "", "6.35"),
        ('forbid="inch"\n', "forbid=[]\n", "", "6.35"),
        ('forbid="inch"\n', 'forbid="none"\n', ',forbid=["1/4 in"]', "6.5"),
        ('forbid=["inch","6.5 mm"]\n', "", "", "6"),
        ('forbid="stock_round_inch"\n', "", "", "6.5"),
        ('forbid="6.35 mm"\n', "", "", "6.5"),
    ],
)
def test_the_nearest_level_that_forbids_decides(
    tmp_path: Path, head: str, above: str, more: str, size: str
) -> None:
    """A size's own words stand for those of its part, and these for the model's; a word is a unit,
    a table, a row or a size. Ground bar is listed at 6, 1/4 in and 6.5 mm."""
    result = rod(tmp_path, more, head, above=above)
    assert taken(result)["rod.diameter"][0] == F(size)
    assert values(scaler.load(tmp_path))["rod.diameter"] == F(size)  # each alone goes by it too


def test_a_preference_decides_between_equals_and_never_costs_departure(tmp_path: Path) -> None:
    """25.4 mm and 1 in are one size: the unit preferred is taken. 6.5 mm is never taken for a
    quarter inch because metric is preferred."""
    shop = "ground bar,25.4 mm,metric inch bar\nground bar,1 in,inch bar\n"
    text = part("rod", 'diameter=full="203.2",kind="external",rule="ground bar"WISH')
    for wish, row in (("metric", "metric inch bar"), ("inch", "inch bar")):
        model = model_of(
            tmp_path / wish, text.replace("WISH", f',prefer="{wish}"'), shop, "shop_only=true\n"
        )
        result = substitute(model)
        assert taken(result)["rod.diameter"] == (F("25.4"), row)
        other = "inch bar" if wish == "metric" else "metric inch bar"
        assert f"'{wish}' is preferred: {other}" in result.choices[0].why
        said = [step for step in explain(model, "rod.diameter").steps if step.what == "wish"]
        assert len(said) == 1 and said[0].place is not None and said[0].place.line == 10
        assert values(model)["rod.diameter"] == F("25.4")
    assert taken(rod(tmp_path / "far", ',prefer="metric"'))["rod.diameter"][0] == F("6.35")


def test_the_shelf_comes_first_unless_words_stand_before_it(tmp_path: Path) -> None:
    """With a quarter inch on the shelf: taken as it is nearest; of two rows of one size the shelf's,
    but the metric one of the catalogue where metric stands before the shelf."""
    text = part("hole", 'bore=full="101.6",kind="internal",rule="drilled"WISH')
    shop = "drill,1/2 in,my half inch\n"  # 12.7 mm is in the metric drills too (ISO 235 sizes)
    for number, (wish, row) in enumerate(
        (
            ("", "my half inch"),
            (',prefer="shelf"', "my half inch"),
            (',prefer=["metric"]', "my half inch"),
            (',prefer=["metric","shelf"]', "12.7 mm"),
            (',prefer=["shelf","metric"]', "my half inch"),
        )
    ):
        result = substitute(model_of(tmp_path / str(number), text.replace("WISH", wish), shop))
        assert taken(result)["hole.bore"][0] == F("12.7")
        assert taken(result)["hole.bore"][1].startswith(row), wish


def test_forbidding_is_said_where_it_decided(tmp_path: Path) -> None:
    """In the reason of the choice and in explain, with the line that forbids."""
    result = rod(tmp_path, "", 'forbid = ["inch"]\n')
    assert "nearer, but forbidden" in result.choices[0].why
    assert "model.toml, line 4" in result.choices[0].why
    steps = [s for s in explain(result.model, "rod.diameter").steps if s.what == "wish"]
    assert "1/4 in" in steps[0].text and str(steps[0].place) == "model.toml, line 4"
    assert "forbidden" not in rod(tmp_path / "b", "", 'forbid="12 mm"\n').choices[0].why


def test_words_in_a_table_of_sizes(tmp_path: Path) -> None:
    """A CSV of sizes has the same keys, words with semicolons between."""
    (tmp_path / "model.toml").write_text(
        '[model]\ntitle="t"\nscale="1:8"\ninclude="sizes.csv"\n[drawing.s]\nunit="mm"\n'
        '[part.rod]\nservice="none"\n'
    )
    (tmp_path / "sizes.csv").write_text(
        "part,size,full,kind,rule,forbid,prefer,lock\n"
        "rod,a,50.8,external,ground bar,inch;6.5 mm,metric; shelf,\n"
        "rod,b,50.8,external,ground bar,,,6 mm\n"
    )
    found = taken(substitute(scaler.load(tmp_path)))
    assert found["rod.a"][0] == 6 and values(scaler.load(tmp_path))["rod.b"] == 6


# --- forbids in conflicts and ways out


def pressed(forbid: str) -> str:
    """A rod in a reamed hole, both a quarter inch drawn, with no metric size in common reach."""
    return (
        f'[part.rod]\nservice="none"\nsize.diameter={{full="50.8",kind="external",'
        f'rule="ground bar",reach="0.1 mm"{forbid}}}\n'
    )


def test_a_forbid_is_a_member_of_a_conflict_and_may_be_lifted(tmp_path: Path) -> None:
    """Only a quarter inch lies within 0.1 mm: with inch forbidden nothing does, the forbid is named
    with its line, and a way out lifts it at no cost in looks."""
    result = substitute(model_of(tmp_path, pressed(',forbid="inch"')))
    assert result.status == "impossible"
    keys = set(result.conflicts[0].keys)
    assert keys == {"rule rod.diameter", "forbid rod.diameter"}
    assert "'inch' is forbidden for rod.diameter (model.toml, line 8)" in result.conflicts[0].text
    way = next(way for way in result.conflicts[0].ways_out if way.kinds == ("allow",))
    assert way.cost == 0 and "1/4 in" in way.changes[0]
    assert way.gives_up and "the forbid of 'inch'" in way.gives_up[0]
    assert way.model is not None and substitute(way.model).cost == 0


def test_a_forbid_that_must_stand_is_never_lifted(tmp_path: Path) -> None:
    """'inch must': other ways are offered, and the rule alone is at fault."""
    result = substitute(model_of(tmp_path, pressed(',forbid="inch must"')))
    assert result.status == "impossible"
    assert result.conflicts[0].keys == ("rule rod.diameter",)
    kinds = {kind for way in result.conflicts[0].ways_out for kind in way.kinds}
    assert kinds and "allow" not in kinds


@pytest.mark.parametrize(
    "words", ['["inch","metric"]', '["stock_round_inch","stock_round_metric"]']
)
def test_a_rule_left_with_no_row_says_what_forbids_it(tmp_path: Path, words: str) -> None:
    """Each alone it is refused in place, and a whole-model choice names the conflict."""
    said = refusal(tmp_path, part("rod", ROD + f",forbid={words}"))
    assert "nothing serves rod.diameter: all rows of its rule are forbidden" in said
    assert "model.toml, line 8" in said
    result = substitute(scaler.load(tmp_path))
    assert "forbid rod.diameter" in result.conflicts[0].keys


def test_a_row_of_several_sizes_is_allowed_once(tmp_path: Path) -> None:
    """6201 forbidden for a whole bearing is one thing given up, not three (12 x 32 x 10 by ISO 15,
    from memory; nothing else lies within 0.2 mm of it)."""
    text = part(
        "bearing",
        'bore=full="96",kind="internal",rule="bearing bore",reach="0.2 mm"',
        'outside=full="256",kind="external",rule="bearing outside",reach="0.2 mm"',
        'width=full="80",kind="length",rule="bearing width",reach="0.2 mm"',
        more='forbid="6201"\n',
    )
    result = substitute(model_of(tmp_path, text))
    assert result.status == "impossible"
    ways = [way for way in result.conflicts[0].ways_out if way.kinds == ("allow",)]
    assert len(ways) == 1 and ways[0].cost == 0
    assert ways[0].model is not None
    assert {choice.row for choice in substitute(ways[0].model).choices} == {"6201"}


def test_forbids_at_a_thread_reach_the_holes_that_follow_it(tmp_path: Path) -> None:
    """M3 forbidden: the bolt goes to M2.5 or M3.5, and hole and hexagon with it; a way out for a
    clearance that only M3 keeps allows it again."""
    text = part("bolt", 'thread=full="24",rule="metric thread",forbid="M3"') + BOLTED
    model = model_of(tmp_path, text)
    # ISO 2306: M3.5 is tapped through 2.9 mm, M2.5 through 2.05 mm (from memory)
    assert values(model)["frame.tapped"] in (F("2.05"), F("2.9"))
    text += "[condition.c]\nkeep=\"'2.4 mm' <= frame.tapped <= '2.6 mm'\"\nbasis=\"basic size\"\n"
    result = substitute(model_of(tmp_path / "c", text))
    assert result.status == "impossible" and "forbid bolt.thread" in result.conflicts[0].keys
    assert any(
        way.kinds == ("allow",) and "M3" in way.changes[0] for way in result.conflicts[0].ways_out
    )


# --- locks


def test_a_locked_size_stays_and_counts_as_a_fact(tmp_path: Path) -> None:
    """Locked to 6 mm: chosen around, never given up, and named with the line of the lock."""
    pair = '[pair.p]\ninner="rod.diameter"\nouter="bush.bore"\nbasis="basic size"\nfit="{}"\n'
    bush = part("bush", 'bore=full="52",kind="internal",rule="reamed"')
    text = part("rod", ROD + ',lock="6 mm"') + bush
    result = substitute(model_of(tmp_path / "a", text + pair.format("0 to 0.1 mm")))
    assert result.status == "optimal" and taken(result)["bush.bore"][0] == 6
    assert "rod.diameter" not in taken(result)
    steps = [s for s in explain(result.model, "rod.diameter").steps if s.what == "locked"]
    assert "6 mm" in steps[0].text
    far = substitute(model_of(tmp_path / "b", text + pair.format("1.5 to 1.6 mm")))
    assert far.status == "impossible"
    assert "fact rod.diameter" in far.conflicts[0].keys
    assert "rod.diameter is locked at 6 mm (model.toml, line 8)" in far.conflicts[0].text
    for way in far.conflicts[0].ways_out:
        assert "rod.diameter" not in " ".join(way.changes)


def test_a_lock_by_name_and_by_size(tmp_path: Path) -> None:
    """A thread however it is written, a row by its designation, a cut size on no step of its rule."""
    text = (
        part("bolt", 'thread=full="24",rule=["metric thread","BA thread"],lock="5 B.A."') + BOLTED
    )
    found = values(model_of(tmp_path, text))
    # 5 BA: 3.2 mm (BS 93), 2.65 mm drill (BS 1157): from memory
    assert (found["bolt.thread"], found["frame.tapped"]) == (F("3.2"), F("2.65"))
    text = part("rod", 'seat=full="48",kind="external",rule="turned step 0.1 mm",lock="6.03 mm"')
    model = model_of(tmp_path / "cut", text)
    assert values(model)["rod.seat"] == F("6.03") and substitute(model).status == "optimal"


def test_a_lock_of_one_column_binds_the_others(tmp_path: Path) -> None:
    """Outside locked by size: bore and width are of a bearing of that outside. By ISO 15 (from
    memory) 32 mm goes with 12 x 10 (6201), 15 x 9 (6002) or 15 x 8 (16002)."""
    text = part(
        "bearing",
        'bore=full="112",kind="internal",rule="bearing bore"',
        'outside=full="256",kind="external",rule="bearing outside",lock="32 mm"',
        'width=full="66",kind="length",rule="bearing width"',
    )
    found = taken(substitute(model_of(tmp_path, text)))
    assert found == {"bearing.bore": (15, "16002"), "bearing.width": (8, "16002")}


def test_a_lock_of_a_column_locks_the_row_that_leads(tmp_path: Path) -> None:
    """A 2.5 mm tapping hole that stays is an M3, whatever is drawn nearer."""
    text = part("bolt", 'thread=full="21",rule="metric thread"')
    text += part("frame", 'tapped=kind="internal",rule="tapping hole of bolt.thread",lock="2.5 mm"')
    model = model_of(tmp_path, text)
    assert values(model) == {"bolt.thread": 3, "frame.tapped": F("2.5")}
    assert substitute(model).status == "optimal"


@pytest.mark.parametrize(
    ("text", "words", "lines"),
    [
        (part("rod", ROD + ',lock="6 mm",forbid="6 mm"'), "is forbidden it", (8,)),
        (part("rod", ROD + ',lock="8 mm"'), "its reach is 0.635 mm", (8,)),
        (part("rod", ROD + ',lock="6.01 mm"'), "its rule gives no such size", (8,)),
        (part("rod", ROD + ',lock="six"'), "its rule gives no such size", (8,)),
        (
            part("rod", 'a=full="48",kind="external",equals="rod.b",lock="6 mm"', 'b=full="48"'),
            "worked out from its definition, and locked as well",
            (8,),
        ),
        (
            part(
                "bearing",
                'bore=full="96",rule="bearing bore",lock="6201"',
                'outside=full="224",rule="bearing outside",lock="6001"',
            ),
            "of the same row, to 6201",
            (8, 9),
        ),
        (
            part(
                "bearing",
                'bore=full="96",rule="bearing bore",lock="12 mm"',
                'outside=full="208",rule="bearing outside",lock="26 mm"',
            ),
            "of the same row, to 12 mm",
            (8, 9),
        ),
        (
            part("bolt", 'thread=full="24",rule="metric thread",lock="M3"')
            + part("f", 'hole=kind="internal",rule="tapping hole of bolt.thread",lock="2.05 mm"'),
            "whose tapping hole is 2.5 mm",
            (8, 11),
        ),
        (
            part("bolt", 'thread=full="24",rule="metric thread"')
            + part("f", 'hole=kind="internal",rule="tapping hole of bolt.thread",lock="2.51 mm"'),
            "no row that bolt.thread can take has it",
            (8, 11),
        ),
    ],
)
def test_locks_that_contradict_are_said_with_both_lines(
    tmp_path: Path, text: str, words: str, lines: tuple[int, ...]
) -> None:
    """Refused when the model is read, in words, with the lines of both statements."""
    said = refusal(tmp_path, text)
    assert words in said
    for line in lines:
        assert f"line {line}" in said


def test_a_lock_outside_a_standard_fails_its_check(tmp_path: Path) -> None:
    """Both are facts: the check names the standard and the lock, and ends with status 1."""
    head = 'track={standard="IBLS",gauge="5 in"}\n'
    text = part(
        "wheel",
        'gap=full="900",kind="length",rule="turned",standard="back to back",lock="110 mm"',
    )
    model = model_of(tmp_path, text, head=head)
    result = scaler.check(model)
    assert result.status() == 1 and [f.statement.id for f in result.failures()] == [
        "wheel.gap:standard"
    ]
    whole = substitute(model)
    assert whole.exit_status() == 1


@pytest.mark.parametrize(
    ("more", "command", "status"),
    [
        (',lock="6 mm",forbid="6 mm"', "check", 2),  # two statements that contradict: no input
        (',lock="8 mm"', "substitute", 2),
        (',forbid="1/4 inn"', "reduce", 2),
        (',forbid=["inch","metric"]', "substitute", 1),  # a conflict of rules, with ways out
        (',forbid="inch"', "substitute", 0),
        (',lock="6 mm"', "check", 0),
    ],
)
def test_exit_status(tmp_path: Path, more: str, command: str, status: int) -> None:
    """2 where the input could not be used, 1 where something cannot be kept, 0 else."""
    model_of(tmp_path, part("rod", ROD))
    file = tmp_path / "model.toml"
    plain = 'rule="ground bar"'
    file.write_text(file.read_text(encoding="utf-8").replace(plain, plain + more), encoding="utf-8")
    result = CliRunner().invoke(cli, [command, str(tmp_path)], prog_name="scaler")
    assert result.exit_code == status, result.output
    if status == 2:
        assert "model.toml, line 8" in result.output


def test_a_lock_is_written_to_no_log_and_goes_before_what_stands_there(tmp_path: Path) -> None:
    """Recording a choice leaves the locked size out; a choice recorded before does not move it."""
    model = model_of(tmp_path, part("rod", ROD + ',lock="6 mm"', 'seat=full="40",rule="turned"'))
    assert write_choices(substitute(model)) == 1
    assert "rod.diameter" not in (tmp_path / "choices.csv").read_text(encoding="utf-8")
    with (tmp_path / "choices.csv").open("a", encoding="utf-8") as file:
        file.write("2026-01-01T10:00:00Z,choose,rod.diameter,6.35 mm,ground bar,,\n")
    assert values(scaler.load(tmp_path))["rod.diameter"] == 6


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (',forbid="1/4 inn"', "nothing that a rule here can take is called '1/4 inn'"),
        (',prefer="metrik"', "nothing that a rule here can take is called 'metrik'"),
        (',forbid="shelf"', "the shop list itself"),
        (',forbid=["none","inch"]', "'none' beside other words"),
        (',forbid=["inch",""]', "an empty word"),
        (f",prefer={['metric'] * 9}", "9 words"),
        (f',forbid="{"x" * 300}"', "a very long word"),
        (",lock=6", "cannot be a whole number"),
        (",forbid=6", "cannot be a whole number"),
    ],
)
def test_words_that_mean_nothing_are_refused_in_place(
    tmp_path: Path, more: str, words: str
) -> None:
    """File and line, what was read, and what may stand there."""
    said = refusal(tmp_path, part("rod", ROD + more))
    assert words in said and "model.toml, line 8" in said


def test_a_scale_at_which_rows_end_is_said(tmp_path: Path) -> None:
    """At 1:8 a 4 mm shaft is half a millimetre: no ball bearing is made so small, and the
    conflict says so."""
    text = part("bearing", 'bore=full="4",rule="bearing bore",reach="0.1 mm"')
    result = substitute(model_of(tmp_path, text))
    assert result.status == "impossible" and result.conflicts[0].keys == ("rule bearing.bore",)
    assert "within 0.1 mm of 0.500 mm" in result.conflicts[0].text


def test_a_scale_at_which_a_size_vanishes_is_said(tmp_path: Path) -> None:
    """A fillet of 1/8 in is 0.0159 mm at 1:200: less than half the step of 0.05 mm it is cut to."""
    text = part("hub", 'fillet=full="3.175",kind="radius",rule="turned"')
    file = tmp_path / "model.toml"
    model_of(tmp_path, text)
    assert not scaler.reduce(scaler.load(tmp_path)).settlement.notes
    file.write_text(file.read_text(encoding="utf-8").replace("1:8", "1:200"), encoding="utf-8")
    (note,) = scaler.reduce(scaler.load(tmp_path)).settlement.notes
    assert note.code == "vanishes" and "hub.fillet vanishes at this scale" in note.headline


def test_ranks_of_words() -> None:
    """The first word counts for more than all after it; what is on the shelf is ranked apart."""
    from scaler.problems import Place
    from scaler.records import Wish
    from scaler.settling.rows import Candidate

    def row(unit: str, shop: bool) -> Candidate:
        return Candidate(F(6), "6 mm", "stock_round_metric", "", "", shop, unit=unit)

    words = [Wish(word, Place("m", 1)) for word in ("metric", "shelf")]
    ranks = [standing(words, row(u, s))[1] for u in ("metric", "inch") for s in (True, False)]
    assert ranks == [0, 1, 2, 3]
    assert standing(words[:1], row("metric", False)) == (1, 0)
    assert means("6 mm", row("metric", True)) and not means("7 mm", row("metric", True))
