"""Options that the builder declares: read, put in, used in ways out only, and applied as written.

The models are made up. That a shim fills a gap by its own thickness, and that another casting
brings its own sizes, is common practice; the sums are done by hand beside each check.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from scaler import catalogue
from scaler.as_made.measuring import Change, Workbench, record
from scaler.as_made.text import change_text
from scaler.as_made.ways import Way
from scaler.as_made.whole_model import WholeModel
from scaler.checking.conflicts import check
from scaler.problems import InputError
from scaler.reading.loading import load
from scaler.reading.options import put_in, thickness_of, thicknesses
from scaler.records import Model, Verdict
from scaler.substitution.records import WayOut
from scaler.substitution.substitute import substitute

HEAD = '[model]\ntitle="t"\nscale="1:8"\n[drawing.s]\nunit="mm"\n'
PLAY = """
[part.roller]
service = "none"
size.length = { full = "400", kind = "length", rule = "turned step 0.5 mm", made = "50 mm" }
[part.frame]
service = "none"
state = "locked"
size.gap = { full = "408", kind = "length", rule = "milled step 0.5 mm" }
size.height = { full = "80", kind = "length", rule = "milled step 0.5 mm" }
[pair.play]
inner = "roller.length"
outer = "frame.gap"
fit = "clearance 0.1 to 0.3 mm"
basis = "BASIS"
must = true
[condition.height]
keep = "frame.height - roller.length / 10 >= '4.9 mm'"
basis = "basic size"
"""
CHOICES = "time,action,size,value,method,row,note\n2026-11-02T19:30:00Z,choose,frame.gap,51 mm,,,\n"
CHOICES += "2026-11-02T19:30:00Z,choose,frame.height,10 mm,,,\n"


def model_of(folder: Path, text: str, basis: str = "basic size", choices: str = CHOICES) -> Model:
    """A model from the text of its file; frame.gap is locked at 51 mm."""
    folder.mkdir(exist_ok=True)
    (folder / "model.toml").write_text(HEAD + text.replace("BASIS", basis), encoding="utf-8")
    (folder / "choices.csv").write_text(choices, encoding="utf-8")
    return load(folder)


def option_ways(model: Model) -> list[WayOut]:
    """Ways out that use an option, of all conflicts."""
    result = substitute(model, prices=False)
    assert result.status == "impossible"
    return [w for c in result.conflicts for w in c.ways_out if "option" in w.kinds]


def written(folder: Path, way: WayOut | Way) -> Model:
    """The model with what a way out says to write, written into its file as text."""
    path = folder / "model.toml"
    text = path.read_text(encoding="utf-8")
    for said in way.write:
        line, _, where = said.partition(" under ")
        heading = where.partition(" (")[0]
        assert heading in text
        text = text.replace(heading, f"{heading}\n{line}")
    path.write_text(text, encoding="utf-8")
    return load(folder)


SHIM = """
[option.end_shim]
title = "Shim washer beside the roller"
thickness = ["0.4 mm", "0.8 mm", "1 mm"]
thickens = "roller.length"
in = ["play"]
price = 0.2
"""


def test_an_option_is_not_used_unasked(tmp_path: Path) -> None:
    """A model that can do without is chosen as if there were none; check is the same as well."""
    text = PLAY.replace('made = "50 mm"', 'weight = "2"').replace("must = true\n", "")
    free = text.replace('state = "locked"\n', "").replace("milled step 0.5", "milled step 0.05")
    plain = substitute(model_of(tmp_path / "a", free, choices=CHOICES[:38]))
    with_option = substitute(model_of(tmp_path / "b", free + SHIM, choices=CHOICES[:38]))
    assert plain.status == with_option.status == "optimal"
    assert plain.cost == with_option.cost
    assert plain.check.as_dict()["pairs"] == with_option.check.as_dict()["pairs"]
    assert "end_shim" not in with_option.model.parts


def test_a_shim_closes_a_gap_and_is_written_as_said(tmp_path: Path) -> None:
    """51 - 50 = 1 mm of play where 0.1 to 0.3 is wanted: 0.8 mm of shim leaves 0.2."""
    model = model_of(tmp_path, PLAY + SHIM)
    (way,) = option_ways(model)
    assert way.changes == (
        (
            "use the option end_shim (Shim washer beside the roller): 0.8 mm, on roller.length "
            "(price 0.2)"
        ),
    )
    assert way.gives_up == () and way.lost == () and way.price == Fraction(1, 5)
    assert way.write == ('use = "0.8 mm" under [option.end_shim] (model.toml, line 25)',)
    assert way.left == 0
    after = written(tmp_path, way)
    result = substitute(after, prices=False)
    assert result.status == "optimal"
    assert way.cost == result.cost + Fraction(1, 5)
    values = check(after).reduction.settlement.values
    assert values["end_shim.thickness"] == Fraction(4, 5)
    (pair,) = [f for f in check(after).findings if f.statement.id == "play"]
    assert pair.verdict is Verdict.HOLDS and pair.basic == Fraction(1, 5)
    # only in the pair named: the other condition still sees a bare roller of 50 mm, 10 - 5 = 5
    (height,) = [f for f in check(after).findings if f.statement.id == "height"]
    assert height.basic == 5


def test_a_shim_in_the_worst_case_brings_its_limits(tmp_path: Path) -> None:
    """Both limits: the shim's own ±0.005 mm is in the worst case, and a rough one does not do."""
    loose = PLAY.replace("clearance 0.1 to 0.3 mm", "clearance 0.1 to 0.5 mm")
    ways = option_ways(model_of(tmp_path / "a", loose + SHIM, "both limits"))
    assert [way.write[0].partition(" under")[0] for way in ways] == ['use = "0.8 mm"'] or not ways
    rough = loose + SHIM + 'limits = "±0.3 mm"\n'
    assert not option_ways(model_of(tmp_path / "b", rough, "both limits"))


def test_a_shim_of_the_catalogue_and_one_on_either_side(tmp_path: Path) -> None:
    """Shim stock, two of them: 1 mm of play less twice the shim; every row of the table that fits
    is known, and the one taken fits."""
    text = PLAY + SHIM.replace('["0.4 mm", "0.8 mm", "1 mm"]', '"shim"') + "count = 2\n"
    (way, *_) = option_ways(model_of(tmp_path, text))
    rows = catalogue.table("parts_shims").rows
    good = {row.mm("thickness") for row in rows}
    fitting = {v for v in good if v is not None and Fraction("0.35") <= v <= Fraction("0.45")}
    after = written(tmp_path, way)
    taken = check(after).reduction.settlement.values["end_shim.thickness"]
    assert taken in fitting
    assert after.parts["end_shim"].count == 2
    assert not check(after).failures()


def test_another_casting_brings_all_its_sizes(tmp_path: Path) -> None:
    """A frame with a gap of 50.2 and a height of 10.5 instead of a locked one of 51 and 10."""
    casting = """
[option.second_frame]
title = "Frame, pattern no. 2"
gives.frame.gap = "50.2 mm"
gives.frame.height = "10.5 mm"
price = "1 1/2"
"""
    model = model_of(tmp_path, PLAY + casting)
    (way,) = option_ways(model)
    assert way.price == Fraction(3, 2) and way.lost == ()
    after = written(tmp_path, way)
    values = check(after).reduction.settlement.values
    assert values["frame.gap"] == Fraction("50.2") and values["frame.height"] == Fraction("10.5")
    assert not check(after).failures()
    result = substitute(after, prices=False)
    assert result.status == "optimal" and result.cost + way.price == way.cost


def test_a_casting_that_breaks_something_else_is_no_way_out(tmp_path: Path) -> None:
    """Its other size leaves 9.8 - 5 = 4.8 where 4.9 is wanted: not offered by itself, though the gap
    fits, but with that condition given up as well; and not at all where that must hold."""
    casting = '[option.low]\ngives.frame.gap="50.2 mm"\ngives.frame.height="9.8 mm"\nprice=1\n'
    (way,) = option_ways(model_of(tmp_path / "a", PLAY + casting))
    assert way.kinds == ("looser fit", "option")
    firm = PLAY.rstrip() + "\nmust = true\n"
    assert not option_ways(model_of(tmp_path / "b", firm + casting))


def test_a_made_part_replaced_by_a_casting_is_work_lost(tmp_path: Path) -> None:
    """The roller is made; a bought one of 50.8 mm means that work was for nothing."""
    casting = '[option.bought]\ngives.roller.length="50.8 mm"\nprice=1\n'
    (way,) = option_ways(model_of(tmp_path, PLAY + casting))
    assert way.lost == ("roller.length",)
    after = written(tmp_path, way)
    assert check(after).reduction.settlement.values["roller.length"] == Fraction("50.8")
    assert not check(after).failures()


def test_two_options_together(tmp_path: Path) -> None:
    """Two gaps, two shims, one way out that uses both; neither can be spared."""
    second = PLAY.partition("[condition")[0].replace("play", "play_2").replace("roller", "drum")
    second = second.replace("[part.frame]", "[part.base]").replace("frame.", "base.")
    text = PLAY + SHIM + second + SHIM.replace("end_", "drum_").replace("roller.", "drum.")
    text = text.replace('in = ["play"]\n', "")
    text += "[condition.both]\nkeep=\"frame.gap - base.gap <= '1 mm'\"\n"
    log = CHOICES + "2026-11-02T19:30:00Z,choose,base.gap,51 mm,,,\n"
    result = substitute(model_of(tmp_path, text, choices=log), prices=False)
    assert result.status == "impossible"
    for conflict in result.conflicts:
        assert any(way.kinds == ("option",) for way in conflict.ways_out)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ('thickness = "0.1 mm"\n', "thickens"),
        ('thickness = "turned"\nthickens = "roller.length"\n', "bought to a size"),
        ('thickness = "0 mm"\nthickens = "roller.length"\n', "nothing"),
        ('thickness = "shim"\nthickens = "roller.lenght"\n', "roller.lenght"),
        ('thickness = "shim"\nthickens = "roller.length"\nin = "plaj"\n', "plaj"),
        ('thickness = "shim"\nthickens = "roller.length"\nuse = true\n', "use"),
        ('gives.frame.gap = "0 mm"\n', "nothing"),
        ('gives.frame.gapp = "3 mm"\n', "gapp"),
        ('gives.frame = "3 mm"\n', "gives"),
        ('gives.frame.gap = "3 mm"\nuse = "3 mm"\n', "use"),
        ("", "needs either"),
        ('thickness = "shim"\nthickens = "roller.length"\ngives.frame.gap = "3 mm"\n', "either"),
        ('thickness = "shim"\nthickens = "roller.length"\ncount = 0\n', "count"),
        ('thickness = "shim"\nthickens = "roller.length"\nlimits = "0.1"\n', "limits"),
    ],
)
def test_what_is_wrong_is_said_at_its_line(tmp_path: Path, line: str, said: str) -> None:
    """Each mistake is one problem or two, in the option's own lines."""
    with pytest.raises(InputError) as raised:
        model_of(tmp_path, PLAY + "[option.x]\nprice = 1\n" + line)
    problems = raised.value.problems
    assert len(problems) <= 2
    text = " ".join(f"{p.headline} {p.read} {p.expected}" for p in problems)
    assert said in text
    for problem in problems:
        assert problem.place is not None
        assert problem.place.line >= 24 and problem.place.file == "model.toml"
        assert problem.advice


def test_a_price_is_needed_and_a_name_of_its_own(tmp_path: Path) -> None:
    """No price, or the name of a part: said."""
    with pytest.raises(InputError, match="price"):
        model_of(tmp_path, PLAY + '[option.x]\ngives.frame.gap="50 mm"\n')
    with pytest.raises(InputError, match="name of a part"):
        model_of(tmp_path, PLAY + '[option.frame]\nprice=1\ngives.frame.gap="50 mm"\n')


def test_a_pressure_part_is_given_nothing(tmp_path: Path) -> None:
    """An option whose own name suggests a pressure part is not offered: it would get no figure."""
    text = PLAY + SHIM.replace("end_shim", "boiler_packing")
    assert not option_ways(model_of(tmp_path, text))


def test_thicknesses_are_those_of_table_and_list(tmp_path: Path) -> None:
    """Every row of the shim table and every length of the list, once each, in order; limits by the
    method or as stated."""
    option = model_of(
        tmp_path, PLAY + SHIM.replace('["0.4 mm", "0.8 mm", "1 mm"]', '["shim", "0.33 mm"]')
    ).options["end_shim"]
    model = load(tmp_path)
    found = thicknesses(model, option)
    values = [item.value for item in found]
    rows = {row.mm("thickness") for row in catalogue.table("parts_shims").rows}
    assert values == sorted({*(v for v in rows if v is not None), Fraction("0.33")})
    assert all(item.limits.upper == Fraction(5, 1000) for item in found)
    put = put_in(model, option, thickness_of(model, option, Fraction("0.33")))
    assert put.sizes["end_shim.thickness"].rule[0].value == Fraction("0.33")
    assert "end_shim.thickness" in put.pairs["play"].inner_text


# --- when a reading breaks something

OPEN = PLAY.replace(', made = "50 mm"', "").replace("must = true\n", "")
SECOND_FRAME = """
[option.second_frame]
gives.frame.gap = "50.2 mm"
gives.frame.height = "10.5 mm"
price = "1 1/2"
"""


def read_short(model: Model) -> Change:
    """The roller read at 50 mm: 1 mm of play in a frame of 51, where 0.1 to 0.3 is wanted."""
    return Workbench(model).measure("roller.length", "50 mm", propose=WholeModel(), sure=True)


@pytest.mark.parametrize(
    ("more", "use", "play"),
    [
        (SHIM, 'use = "0.8 mm"', "0.2"),  # 51 - 50 - 0.8
        (SHIM.replace('["0.4 mm"', '["0.45 mm"') + "count = 2\n", 'use = "0.45 mm"', "0.1"),
        (SECOND_FRAME, "use = true", "0.2"),  # 50.2 - 50
    ],
)
def test_a_reading_has_options_among_its_ways_out(
    tmp_path: Path, more: str, use: str, play: str
) -> None:
    """A shim, two of them, another frame: offered with the price, with what to write; written so,
    and with the reading on record, the check says what was promised."""
    model = model_of(tmp_path, OPEN + more)
    change = read_short(model)
    assert [f.statement.id for f in change.lost] == ["play"]  # nothing still to be cut serves
    (way,) = [way for way in change.ways if any(move.option for move in way.moves)]
    assert way.text.startswith("use the option") and not way.gives_up and not way.remade
    assert [line.partition(" under")[0] for line in way.write] == [use]
    assert f"   write: {use}" in change_text(change, "mm")
    assert way.as_dict()["write"] == list(way.write)
    assert change.reading is not None
    record(model, change.reading, "50 mm")
    findings = {f.statement.id: f for f in check(written(tmp_path, way)).findings}
    assert findings["play"].basic == Fraction(play)
    assert dict(way.promised) == {name: f.verdict for name, f in findings.items()}
    assert findings["height"].verdict is Verdict.HOLDS
    price = next(o.price for o in model.options.values())
    assert way.cost >= price


def test_an_option_is_not_offered_where_what_is_left_to_make_serves(tmp_path: Path) -> None:
    """The frame is still to be milled: it is milled to suit, and no shim is bought."""
    free = OPEN.replace('state = "locked"\n', "")
    change = read_short(model_of(tmp_path, free + SHIM))
    assert change.ways and change.ways[0].only_open
    assert not any(move.option for way in change.ways for move in way.moves)


def test_a_casting_in_place_of_the_part_that_was_read_is_work_lost(tmp_path: Path) -> None:
    """It ranks behind what only sets or shims the made part, and breaks what else it enters: 5.08
    taken from 10 leaves 4.92, more than 4.9; from a roller of 51.5 mm it would leave 4.85."""
    casting = '[option.bought]\ngives.roller.length="50.8 mm"\nprice=1\n'
    change = read_short(model_of(tmp_path / "a", OPEN + casting))
    ways = [way for way in change.ways if any(move.option for move in way.moves)]
    assert [way.remade for way in ways] == [1]
    assert change.ways.index(ways[0]) > min(n for n, w in enumerate(change.ways) if w.repaired)
    wide = OPEN.replace("0.1 to 0.3", "-0.6 to -0.4").replace("clearance ", "")
    change = read_short(model_of(tmp_path / "b", wide + casting.replace("50.8", "51.5")))
    assert not any(move.option for way in change.ways for move in way.moves)


def test_a_casting_may_bring_sizes_that_nothing_else_names(tmp_path: Path) -> None:
    """Its height stands in no pair or condition, and is no reason to stumble."""
    text = PLAY.partition("[condition")[0] + SECOND_FRAME
    (way,) = option_ways(model_of(tmp_path, text))
    assert check(written(tmp_path, way)).reduction.settlement.values["frame.height"] == 10.5
