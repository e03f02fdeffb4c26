"""Ways out of each conflict, of several at once, and in check; and how many questions a conflict
takes.

All models are made up. Sources stand beside what is checked against them; the bound on the number
of questions is that of Junker, QuickXplain, AAAI 2004 (from memory).
"""

from __future__ import annotations

import json
import random
from dataclasses import replace
from fractions import Fraction
from math import log2
from pathlib import Path

import pytest
from click.testing import CliRunner

import scaler
from scaler.cards.page_report import report_page
from scaler.checking.conflicts import check
from scaler.cli.main import cli
from scaler.reading.loading import load
from scaler.records import Model, Verdict
from scaler.substitution import conflicts
from scaler.substitution.changes import other_catalogues
from scaler.substitution.options import finishing
from scaler.substitution.solver import Clock
from scaler.substitution.substitute import substitute
from scaler.substitution.task import Task
from scaler.substitution.text import conflicts_text
from scaler.substitution.ways import edited

HEAD = '[model]\ntitle="t"\nscale="1:8"\n[drawing.s]\nunit="mm"\n'
SHOP = "family,size\n" + "".join(
    f"{family},{n / 2} mm\n" for n in range(8, 40) for family in ("ground bar", "reamer")
)


def model_of(folder: Path, text: str, shop: str = "") -> Model:
    """A model from the text of its file."""
    folder.mkdir(exist_ok=True)
    head = HEAD.replace("[drawing", 'shop="shop.csv"\nshop_only=true\n[drawing') if shop else HEAD
    (folder / "model.toml").write_text(head + text, encoding="utf-8")
    if shop:
        (folder / "shop.csv").write_text(shop, encoding="utf-8")
    return load(folder)


def pair(name: str, inner: str, outer: str, fit: str, more: str = 'basis="basic size"') -> str:
    """A pair in lines."""
    return f'[pair.{name}]\ninner="{inner}"\nouter="{outer}"\nfit="{fit}"\n{more}\n'


def planted(seed: int, count: int) -> tuple[str, set[str]]:
    """Sizes linked by pairs that can all be kept, and a ring of two to four pairs that cannot: their
    clearances have to come to nothing round the ring, and are wanted to come to 1.2 mm or more."""
    rnd = random.Random(seed)
    lines, exact = [], []
    for number in range(count):
        kind, rule = rnd.choice(
            [
                ("external", "ground bar"),
                ("external", "turned step 0.2 mm"),
                ("internal", "reamed"),
                ("internal", "bored step 0.2 mm"),
            ]
        )
        exact.append(Fraction(rnd.choice([40, 44, 48, 52, 64, 72, 80]), 8))
        lines.append(
            f'[part.p{number}]\nservice="none"\n'
            f'size.s={{full="{exact[-1] * 8}",kind="{kind}",rule="{rule}"}}'
        )
    for number in range(1, count):
        other = rnd.randrange(max(0, number - 4), number)
        gap = float(exact[number] - exact[other])
        fit = f"{gap - 0.8:.2f} to {gap + 0.8:.2f} mm"
        lines.append(pair(f"chain_{number}", f"p{other}.s", f"p{number}.s", fit))
    ring = rnd.sample(range(count), rnd.randint(2, 4))
    for number, one in enumerate(ring):
        other = ring[(number + 1) % len(ring)]
        gap = float(exact[other] - exact[one]) + max(0.6, 1.5 / len(ring))
        fit = f"{gap - 0.1:.2f} to {gap + 0.1:.2f} mm"
        lines.append(pair(f"ring_{number}", f"p{one}.s", f"p{other}.s", fit))
    return "\n".join(lines) + "\n", {f"pair ring_{n}" for n in range(len(ring))}


@pytest.mark.parametrize("count", [12, 30, 60, 120])
def test_a_conflict_takes_few_questions(
    tmp_path: Path, count: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A conflict of k among n statements: about 2k·log₂(n/k) + 2k feasibility solves, and one to
    begin with; each question is one programme of the component, or of parts of it."""
    oracles: list[conflicts.Oracle] = []
    plain = conflicts.Oracle.ask

    def counted(self: conflicts.Oracle, kept: frozenset[str]) -> bool:
        if self not in oracles:
            oracles.append(self)
        return plain(self, kept)

    monkeypatch.setattr(conflicts.Oracle, "ask", counted)
    monkeypatch.setattr(conflicts.Oracle, "__hash__", object.__hash__, raising=False)
    monkeypatch.setattr(conflicts.Oracle, "__eq__", object.__eq__)
    for seed in range(3):
        text, ring = planted(seed, count)
        task = Task(model_of(tmp_path / str(seed), text, SHOP), Clock(60))
        task.solve()
        assert task.status == "impossible"
        found = 0
        for part, outcome in zip(task.parts, task.outcomes, strict=True):
            if outcome.status != "impossible":
                continue
            monkeypatch.setattr(conflicts, "MOST", 1)
            oracles.clear()
            broken = conflicts.broken_part(task, part, outcome.cores, Clock(60))
            ((members, reduced),) = broken.sets
            assert reduced
            found += bool(ring & set(members))
            (oracle,) = oracles
            k, n = len(members), len(oracle.items)
            assert k < n
            assert oracle.asked <= 2 * k * log2(n / k) + 2 * k + 1, (seed, k, n, oracle.asked)
        assert found


TWO = (
    """
[part.pin]
service = "none"
size.a = { full = "48", kind = "external", rule = "turned step 0.1 mm" }
size.b = { full = "56", kind = "external", rule = "turned step 0.1 mm" }
[part.bush]
service = "none"
size.a = { full = "48", kind = "internal", rule = "bored step 0.1 mm" }
size.b = { full = "56", kind = "internal", rule = "bored step 0.1 mm" }
[condition.link]
keep = "pin.a - pin.b <= '3 mm'"
basis = "basic size"
"""
    + pair("first", "pin.a", "bush.a", "1.22 to 1.28 mm")
    + pair("second", "pin.b", "bush.b", "1.42 to 1.48 mm")
)


def test_each_conflict_has_ways_of_its_own(tmp_path: Path) -> None:
    """Two fits between steps of 0.1 mm that no step meets, in one component: the ways out of one
    change nothing of the other, and say that it remains; those of both leave nothing."""
    model = model_of(tmp_path, TWO)
    result = substitute(model, prices=False)
    assert [set(c.keys) & {"pair first", "pair second"} for c in result.conflicts] == [
        {"pair first"},
        {"pair second"},
    ]
    about = {"pair first": ("first", ".a"), "pair second": ("second", ".b")}
    for conflict in result.conflicts:
        (key,) = set(conflict.keys) & set(about)
        assert conflict.ways_out
        for way in conflict.ways_out:
            assert way.left == 1
            for change in way.edits:
                assert about[key][0] in change.text or about[key][1] in change.text
            assert way.model is not None
            after = substitute(way.model, prices=False, ways_out=0)
            assert len(after.conflicts) == 1
            assert key not in after.conflicts[0].keys
    (both,) = result.together
    assert both.conflicts == (1, 2)
    ranks = [(len(w.lost), len(w.gives_up), w.cost) for w in both.ways_out]
    assert ranks == sorted(ranks) and ranks
    for way in both.ways_out:
        assert way.left == 0 and way.model is not None
        after = substitute(way.model, prices=False)
        assert after.status == "optimal" and after.cost == way.cost
        for change in way.edits:
            rest = [other for other in way.edits if other is not change]
            assert substitute(edited(model, rest), prices=False).status == "impossible"
    text = conflicts_text(result)
    assert "conflict 2: " in text and "conflicts 1 and 2 all at once" in text
    assert "after this, 1 conflict remains" in text
    plain = result.as_dict()
    assert [c["ways_out"][0]["conflicts_left"] for c in plain["conflicts"]] == [1, 1]
    assert plain["ways_out_together"][0]["conflicts"] == [1, 2]
    json.dumps(plain)


def test_every_kind_of_way_out_is_tried(tmp_path: Path) -> None:
    """One model for each kind, in which that kind is a way out, confirmed by choosing again."""
    wanted = {
        "catalogue": ("", 'rule="BA thread"', 'rule="reamed"', "2.35 to 2.45 mm", "a"),
        "recut": ("", 'rule="ground bar"', 'rule="reamed"', "0.21 to 0.24 mm", "a"),
        "reach": ("", 'rule="turned step 0.1 mm"', 'rule="bored step 0.1 mm"', "1.4 to 1.6 mm", ""),
        "looser fit": (
            "",
            'rule="turned step 0.1 mm"',
            'rule="bored step 0.1 mm"',
            "0.11 to 0.19 mm",
            "",
        ),
        "remake": (
            "",
            'rule="turned step 0.1 mm",made="5 mm"',
            'rule="reamed",made="6 mm"',
            "0.1 to 0.3 mm",
            "",
        ),
    }
    for number, (kind, (_, pin, hole, fit, _)) in enumerate(wanted.items()):
        thread = "thread" if "thread" in pin else "external"
        text = '[part.pin]\nservice="none"\n'
        text += f'size.d={{full="48",kind="{thread}",{pin}}}\n'
        text += '[part.hole]\nservice="none"\n'
        text += f'size.d={{full="48",kind="internal",{hole}}}\n'
        text += pair("p", "pin.d", "hole.d", fit)
        result = substitute(model_of(tmp_path / str(number), text), prices=False)
        assert result.status == "impossible", kind
        (conflict,) = result.conflicts
        ways = [way for way in conflict.ways_out if kind in way.kinds]
        assert ways, (kind, [way.changes for way in conflict.ways_out])
        for way in ways:
            assert way.model is not None
            after = substitute(way.model, prices=False)
            assert after.status in ("optimal", "feasible") and not after.check.failures()


def test_other_catalogues_are_of_the_same_section(tmp_path: Path) -> None:
    """A round bar for a round one, a drill for a reamer, another series for a thread; never a
    hexagon for a square, a bore for a wall."""
    text = '[part.p]\nservice="none"\n'
    for name, kind, rule in (
        ("bar", "external", "ground bar"),
        ("hole", "internal", "reamed"),
        ("square", "external", "square bar"),
        ("screw", "thread", "BA thread"),
        ("wall", "length", "tube wall"),
    ):
        text += f'size.{name}={{full="48",kind="{kind}",rule="{rule}"}}\n'
    model = model_of(tmp_path, text)
    found = {n: {m.name for m in other_catalogues(s)} for n, s in model.sizes.items()}
    assert "round bar" in found["p.bar"] and "reamed" not in found["p.bar"]
    assert {"hand reamed", "drilled"} <= found["p.hole"]
    assert "hexagon bar" not in found["p.square"] and "key steel" in found["p.square"]
    assert "metric thread" in found["p.screw"] and "ground bar" not in found["p.screw"]
    assert found["p.wall"] == set()


def test_a_named_fit_is_loosened_to_a_named_one(tmp_path: Path) -> None:
    """H7/g6 in the worst case of h9 bar and an H7 reamer: 0 to 0.042 mm at 6 mm (ISO 286-2: h9 is
    0/-30, H7 +12/0 above 3 up to 6 mm; from memory). What is offered holds all of that."""
    text = '[part.pin]\nservice="none"\nsize.d={full="48",kind="external",rule="ground bar"}\n'
    text += '[part.hole]\nservice="none"\nsize.d={full="48",kind="internal",rule="reamed"}\n'
    text += pair("p", "pin.d", "hole.d", "H7/g6", 'basis="both limits"')
    model = model_of(tmp_path, text)
    result = substitute(model, prices=False)
    (conflict,) = result.conflicts
    (way,) = [way for way in conflict.ways_out if way.kinds == ("looser fit",)]
    assert way.model is not None
    fit = way.model.pairs["p"].fit
    assert fit.iso and fit.iso != "H7/g6"
    assert way.write == (f'fit = "{fit.iso}" under [pair.p] (model.toml, line 12)',)
    after = substitute(way.model, prices=False)
    assert after.status == "optimal"
    (finding,) = after.check.findings
    assert finding.verdict is Verdict.HOLDS
    low, high = finding.statement.lower, finding.statement.upper
    assert low is not None and high is not None
    assert low <= 0 and high >= Fraction("0.042")
    written = text.replace("H7/g6", fit.iso)
    assert substitute(model_of(tmp_path / "w", written), prices=False).status == "optimal"


@pytest.mark.parametrize("fit", ["close run", "push", "slide", "0.0123456 to 0.0371625 mm"])
@pytest.mark.parametrize("step", ["0.1", "0.25"])
def test_a_looser_fit_is_written_as_one_would_write_it(tmp_path: Path, fit: str, step: str) -> None:
    """Trade fits run to millionths (a constant and so much per unit of diameter). The line to write
    has no more than thousandths of a millimetre, fivers where an end is opened; an end that stays
    comes in and never out. Written into the file, it serves."""
    limits = 'limits="±0.002 mm"'
    text = '[part.pin]\nservice="none"\n'
    text += f'size.d={{full="48.3",kind="external",rule="turned step {step} mm",{limits}}}\n'
    text += '[part.hole]\nservice="none"\n'
    text += f'size.d={{full="49.3",kind="internal",rule="bored step {step} mm",{limits}}}\n'
    text += pair("p", "pin.d", "hole.d", fit, 'basis="both limits"')
    result = substitute(model_of(tmp_path, text), prices=False)
    (before,) = result.check.findings
    lines = 0
    for way in (
        way for c in result.conflicts for way in c.ways_out if way.kinds == ("looser fit",)
    ):
        assert way.model is not None
        wanted = way.model.pairs["p"].fit
        if wanted.trade:
            continue
        lines += 1
        (line,) = way.write
        written = line.partition(" under")[0].removeprefix('fit = "').removesuffix('"')
        for end, old in (
            (wanted.lower, before.statement.lower),
            (wanted.upper, before.statement.upper),
        ):
            assert end is not None and old is not None
            outside = old - end if end is wanted.lower else end - old
            step_of_end = Fraction(1, 200) if outside > 0 else Fraction(1, 1000)
            assert (end / step_of_end).denominator == 1
            assert f"{float(end):g} mm" in written
        after = model_of(tmp_path / "w", text.replace(f'"{fit}"', f'"{written}"'))
        again = substitute(after, prices=False)
        assert again.status == "optimal" and not again.check.failures()
    assert lines


@pytest.mark.parametrize(
    ("part", "size", "said"),
    [
        ("axle", "journal", "safety part"),
        ("shaft", "wheel_seat", "safety part"),
        ("brake_lever", "pin", "safety part"),
        ("front_coupling", "pin", "safety part"),
        ("lifting_eye", "pin", "lifting part"),
    ],
)
def test_ways_out_on_safety_parts_carry_caution_and_referral(
    tmp_path: Path, part: str, size: str, said: str
) -> None:
    """Wheel seats, axles, brakes, couplings and lifting parts: every way out that touches one says
    so, and refers to the inspecting body or to those licensed."""
    text = f'[part.{part}]\nservice="none"\n'
    text += f'size.{size}={{full="48",kind="external",rule="turned step 0.1 mm"}}\n'
    text += '[part.ring]\nservice="none"\n'
    text += 'size.bore={full="48",kind="internal",rule="bored step 0.1 mm"}\n'
    text += pair("p", f"{part}.{size}", "ring.bore", "0.11 to 0.19 mm")
    result = substitute(model_of(tmp_path, text), prices=False)
    ways = [way for conflict in result.conflicts for way in conflict.ways_out]
    assert ways
    for way in ways:
        if any(part in change.text or "pair p" in change.text for change in way.edits):
            (caution,) = way.cautions
            assert said in caution
            assert "inspecting body" in caution or "licensed" in caution


# ------------------------------------------------------------------------------- in check


@pytest.fixture(scope="module")
def mill(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The starter, in which three fits fail as it stands."""
    folder = tmp_path_factory.mktemp("mill") / "mill"
    assert CliRunner().invoke(cli, ["start", str(folder)]).exit_code == 0
    return folder


def test_check_gives_ways_out_when_asked(mill: Path) -> None:
    """Each failing fit gets the fewest other choices by which it holds; each is confirmed, none of
    them can be spared, and without asking there are none."""
    model = load(mill)
    assert all(not c.ways_out and not c.tried for c in check(model).conflicts)
    result = check(model, ways_out=3)
    assert len(result.conflicts) == 3
    for conflict in result.conflicts:
        (way,) = conflict.ways_out
        assert set(way.kinds) == {"choice"} and not way.gives_up
        after = check(edited(model, way.edits))
        failing = {f.statement.id for f in after.failures()}
        assert conflict.finding.statement.id not in failing
        assert failing < {f.statement.id for f in result.failures()}
        assert way.left == len(after.conflicts) == 2
        for change in way.edits:
            rest = [other for other in way.edits if other is not change]
            again = check(edited(model, rest))
            assert conflict.finding.statement.id in {f.statement.id for f in again.failures()}
    plain = scaler.check(model, ways_out=1).as_dict()
    assert plain["conflicts"][0]["ways_out"][0]["changes"]
    assert check(model).as_dict()["conflicts"][0]["ways_out"] == []


def test_check_names_the_ways_out_of_what_no_choice_mends(tmp_path: Path) -> None:
    """Where no choice does, the ways out of the conflict behind it are given."""
    model = model_of(tmp_path, TWO)
    result = check(model, ways_out=2)
    assert {c.finding.statement.id for c in result.conflicts} == {"first", "second"}
    for conflict in result.conflicts:
        assert 0 < len(conflict.ways_out) <= 2
        assert all("choice" not in way.kinds for way in conflict.ways_out)
        for way in conflict.ways_out:
            assert way.model is not None
            keys = {k for c in substitute(way.model, prices=False).conflicts for k in c.keys}
            assert f"pair {conflict.finding.statement.id}" not in keys


def test_the_commands_show_ways_out(mill: Path, tmp_path: Path) -> None:
    """check --ways-out in text and JSON, refused beside other stages; the report page has them."""
    runner = CliRunner()
    shown = runner.invoke(cli, ["check", str(mill), "--ways-out"])
    assert shown.exit_code == 1
    assert shown.output.count("way out 1: take ") == 3
    plain = runner.invoke(cli, ["check", str(mill), "--ways-out", "--format", "json"])
    ways = [c["ways_out"] for c in json.loads(plain.output)["conflicts"]]
    assert all(len(found) == 1 for found in ways)
    assert "way out" not in runner.invoke(cli, ["check", str(mill)]).output
    refused = runner.invoke(cli, ["check", str(mill), "--ways-out", "--as", "exact"])
    assert refused.exit_code == 2 and "as chosen" in refused.output
    page = tmp_path / "report.html"
    runner.invoke(cli, ["report", str(mill), "--out", str(page)])
    text = page.read_text(encoding="utf-8")
    assert text.count("Ways out, the best first") == 3
    assert "mm for bush.bore" in text
    bare = tmp_path / "bare.html"
    runner.invoke(cli, ["report", str(mill), "--out", str(bare), "--no-ways-out"])
    assert "Ways out" not in bare.read_text(encoding="utf-8")
    result = check(load(mill), ways_out=1)
    result.__dict__["conflicts"] = tuple(replace(c, ways_out=()) for c in result.conflicts)
    assert "No way out among what was tried" in report_page(result)


@pytest.mark.parametrize(
    ("rule", "way"),
    [("angle leg", "milled"), ("flat width", "milled"), ("ground bar", "turned")],
)
def test_flat_stock_is_not_put_in_the_lathe(tmp_path: Path, rule: str, way: str) -> None:
    """What is cut to suit out of flat or angle is milled, a bar is turned (common practice)."""
    text = f'[part.p]\nservice="none"\nsize.a={{full="200",kind="external",rule="{rule}"}}\n'
    assert finishing(model_of(tmp_path, text).sizes["p.a"]) == way


BEARING = """[part.bearing]
size.bore = {{ full = "80", rule = "bearing bore" }}
size.outside = {{ full = "176", rule = {outside} }}
[part.housing]
size.bore = {{ full = "176", rule = "reamed" }}
[pair.in_housing]
inner = "bearing.outside"
outer = "housing.bore"
fit = "clearance 0.3 to 0.32 mm"
basis = "basic size"
"""


@pytest.mark.parametrize("own", [False, True])
def test_a_bearing_is_not_cut_to_suit(tmp_path: Path, own: bool) -> None:
    """A ball bearing is fitted as bought: shaft and housing are cut to it, unless the builder's own
    rule has a cut (common practice)."""
    rule = '["bearing outside", "ground step 0.5 mm"]' if own else '"bearing outside"'
    answer = substitute(model_of(tmp_path, BEARING.format(outside=rule)))
    assert answer.status == "impossible"
    texts = [text for item in answer.conflicts for way in item.ways_out for text in way.changes]
    assert any(text.startswith("cut housing.bore to suit") for text in texts)
    assert any("cut bearing." in text for text in texts) is own


STEPPED = """[part.shaft]
material = "silver steel"
size.journal = { full = "80.4", kind = "external", rule = ["ground bar", "turned step 0.01 mm"] }
size.seat = { full = "93", kind = "external", rule = ["ground bar", "turned step 0.01 mm"] }
size.length = { full = "401", rule = ["milled step 1 mm", "milled step 0.01 mm"] }
[part.pinion]
size.bore = { full = "92", rule = ["reamed", "bored step 0.01 mm"] }
[pair.in_bearing]
inner = "shaft.journal"
outer = "bearing.bore"
fit = "clearance 0 to 0.02 mm"
basis = "basic size"
[part.bearing]
size.bore = { full = "80.4", rule = "bored step 0.01 mm" }
[pair.pinion_on_shaft]
inner = "shaft.seat"
outer = "pinion.bore"
fit = "clearance 0 to 0.02 mm"
basis = "basic size"
"""


def test_a_way_out_takes_what_its_part_needs(tmp_path: Path) -> None:
    """A seat turned from 12 mm bar leaves no journal as supplied in the same bar: where the one
    alone cannot be made, the other is chosen anew too, and nothing else."""
    model = model_of(tmp_path, STEPPED)
    item = next(
        c for c in check(model, ways_out=2).conflicts if c.finding.statement.id == "pinion_on_shaft"
    )
    assert [way.changes[0].split(" (")[0] for way in item.ways_out] == [
        "take 11.500 mm for shaft.seat"
    ]
    changed = [text.split(" for ")[1].split(" ")[0] for text in item.ways_out[0].changes]
    assert changed == ["shaft.seat", "shaft.journal"]
