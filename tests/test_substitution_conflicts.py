"""Conflicts and ways out: every member needed, every way out proved on the whole model.

Outside check: the members of each conflict are put to another general-purpose solver (CP-SAT of
the package ``ortools``): together they cannot hold, and without any one of them they can. All
models are made up.
"""

from __future__ import annotations

import random
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from scaler.checking.conflicts import check
from scaler.expressions import names
from scaler.reading.loading import load
from scaler.records import Model, Verdict
from scaler.settling.settle import exact_size, reach_of
from scaler.substitution.substitute import substitute
from scaler.substitution.ways import edited

EXAMPLE = Path(__file__).parent.parent / "scaler" / "examples" / "pattern_d"
HEAD = '[model]\ntitle="t"\nscale="1:8"\nshop="shop.csv"\nshop_only=true\n[drawing.s]\nunit="mm"\n'
SHOP = (
    "family,size\nground bar,5 mm\nground bar,6 mm\nground bar,8 mm\n"
    "reamer,5 mm\nreamer,6 mm\nreamer,8 mm\n"
)
FAMILIES = {"ground bar": "ground bar", "reamed": "reamer"}


def model_of(folder: Path, text: str, shop: str = SHOP, **files: str) -> Model:
    """A model from the text of its file and shop list."""
    folder.mkdir(exist_ok=True)
    (folder / "model.toml").write_text(HEAD + text, encoding="utf-8")
    (folder / "shop.csv").write_text(shop, encoding="utf-8")
    for name, body in files.items():
        (folder / f"{name}.csv").write_text(body, encoding="utf-8")
    return load(folder)


def random_text(seed: int) -> str:
    """Three to five sizes with windows at basic size that often contradict each other."""
    rnd = random.Random(seed)
    count = rnd.randint(3, 5)
    lines = []
    exact = []
    for number in range(count):
        kind, rules = rnd.choice(
            [
                ("external", ["ground bar", "turned step 0.2 mm"]),
                ("internal", ["reamed", "bored step 0.2 mm"]),
            ]
        )
        full = rnd.choice([40, 44, 48, 52, 64])
        made = f', made="{full / 8 + rnd.choice([-0.2, 0.3]):.2f} mm"' if rnd.random() < 0.2 else ""
        lines.append(
            f'[part.p{number}]\nservice="none"\n'
            f'size.s={{full="{full}", kind="{kind}", rule=["{rnd.choice(rules)}"]{made}}}'
        )
        exact.append(full / 8)
    for number in range(rnd.randint(2, 5)):
        one, other = rnd.sample(range(count), 2)
        low = round(exact[other] - exact[one] + rnd.uniform(-1.6, 1.4), 2)
        must = "\nmust = true" if rnd.random() < 0.15 else ""
        lines.append(
            f'[pair.q{number}]\ninner="p{one}.s"\nouter="p{other}.s"\n'
            f'fit="{low} to {low + 0.25:.2f} mm"\nbasis="basic size"{must}'
        )
    return "\n".join(lines) + "\n"


def together(model: Model, kept: set[str]) -> bool:
    """Whether statements can hold together, by CP-SAT on whole millionths of a millimetre."""
    cp_model = pytest.importorskip("ortools.sat.python.cp_model")
    unit = 10**6
    cp = cp_model.CpModel()
    values = {}
    for size in model.sizes.values():
        variable = cp.new_int_var(1, 60 * unit, size.id)
        values[size.id] = variable
        if size.made is not None:
            if f"fact {size.id}" in kept:
                cp.add(variable == int(size.made * unit))
            continue
        if f"rule {size.id}" not in kept:
            continue
        exact = exact_size(size, model.ratio)
        assert exact is not None
        method = size.rule[0]
        reach = reach_of(size, method, exact)
        if method.way == "row":
            allowed = [
                row.size
                for row in model.shop
                if row.family == FAMILIES[method.name] and row.size is not None
            ]
        else:
            assert method.step is not None
            allowed = [n * method.step for n in range(1, 100)]
        inside = [int(v * unit) for v in allowed if abs(v - exact) <= reach]
        cp.add_allowed_assignments([variable], [(v,) for v in inside])
        if not inside:
            return False
    for pair in model.pairs.values():
        if f"pair {pair.id}" in kept:
            assert pair.fit.lower is not None and pair.fit.upper is not None
            gap = values[names(pair.outer)[0]] - values[names(pair.inner)[0]]
            cp.add(gap >= int(pair.fit.lower * unit))
            cp.add(gap <= int(pair.fit.upper * unit))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    return bool(solver.solve(cp) in (cp_model.OPTIMAL, cp_model.FEASIBLE))


def test_members_are_all_needed_by_another_solver(tmp_path: Path) -> None:
    """Random contradictions: members cannot hold together, and can without any one of them."""
    conflicts = 0
    for seed in range(70):
        model = model_of(tmp_path / str(seed), random_text(seed))
        result = substitute(model, ways_out=0, prices=False)
        everything = {f"rule {n}" for n in model.sizes} | {f"fact {n}" for n in model.sizes}
        everything |= {f"pair {n}" for n in model.pairs}
        assert (result.status == "impossible") == (not together(model, everything))
        for conflict in result.conflicts:
            conflicts += 1
            assert conflict.reduced
            members = set(conflict.keys)
            assert not together(model, members)
            for member in members:
                assert together(model, members - {member}), (seed, member)
            for member in conflict.members:
                assert member.place.file == "model.toml"
                assert member.text and member.place.line > 0
    assert conflicts > 25


def test_ways_out_are_proved_and_smallest(tmp_path: Path) -> None:
    """Each way out makes the whole model possible, none of its changes can be spared, none of what
    must hold is given up, and they come in order of work lost, requirements and cost."""
    ways = 0
    for seed in range(24):
        model = model_of(tmp_path / str(seed), random_text(seed))
        result = substitute(model, prices=False)
        for conflict in result.conflicts:
            assert conflict.tried
            ranks = [(len(w.lost), len(w.gives_up), w.cost) for w in conflict.ways_out]
            assert ranks == sorted(ranks)
            for way in conflict.ways_out[:3]:
                ways += 1
                assert way.model is not None
                after = substitute(way.model, ways_out=0, prices=False)
                if len({c.text for c in result.conflicts}) == 1 or after.status != "impossible":
                    assert after.status == "optimal"
                    assert after.cost == way.cost
                    assert not after.check.failures()
                for change in way.edits:
                    rest = [other for other in way.edits if other is not change]
                    without = substitute(edited(model, rest), ways_out=0, prices=False)
                    assert without.status == "impossible"
                for pair in model.pairs.values():
                    if pair.must:
                        assert not any(f"pair {pair.id} " in text for text in way.gives_up)
    assert ways > 20


def test_facts_and_must_are_never_given_up(tmp_path: Path) -> None:
    """Two locked sizes and a fit that must be kept: no way out, and it says what was tried."""
    text = """
[part.pin]
service = "none"
state = "locked"
size.d = { full = "48", kind = "external", rule = "turned step 0.1 mm" }
[part.bush]
service = "none"
state = "locked"
size.d = { full = "48", kind = "internal", rule = "bored step 0.1 mm" }
[pair.fit]
inner = "pin.d"
outer = "bush.d"
fit = "0.05 to 0.1 mm"
must = true
"""
    result = substitute(model_of(tmp_path, text))
    assert result.status == "impossible"
    (conflict,) = result.conflicts
    assert set(conflict.keys) == {"fact pin.d", "fact bush.d", "pair fit"}
    assert conflict.ways_out == ()
    assert "nothing that may be given up" in conflict.tried
    assert {m.place.line for m in conflict.members} == {12, 16, 17}


def test_contradictory_locks_leave_only_a_looser_fit(tmp_path: Path) -> None:
    """Without 'must' the fit itself may be loosened, and that is what is offered."""
    text = """
[part.pin]
service = "none"
state = "locked"
size.d = { full = "48", kind = "external", rule = "turned step 0.1 mm" }
[part.bush]
service = "none"
state = "bought"
size.d = { full = "48", kind = "internal", rule = "bored step 0.1 mm" }
[pair.fit]
inner = "pin.d"
outer = "bush.d"
fit = "0.05 to 0.1 mm"
"""
    result = substitute(model_of(tmp_path, text))
    (way,) = result.conflicts[0].ways_out
    assert way.kinds == ("looser fit",)
    assert way.changes == ("let pair fit be 0.000 to 0.100 mm instead of 0.050 to 0.100 mm",)


def test_empty_catalogue_and_rule_without_a_row(tmp_path: Path) -> None:
    """A rule that finds nothing is a conflict by itself; ways out cut the size, or get a row."""
    text = """
[part.pin]
service = "none"
size.d = { full = "48", kind = "external", rule = "ground bar" }
[part.far]
service = "none"
size.d = { full = "800", kind = "internal", rule = "reamed" }
"""
    result = substitute(model_of(tmp_path, text, "family,size\nreamer,3 mm\n"))
    assert result.status == "impossible"
    assert [c.keys for c in result.conflicts] == [("rule pin.d",), ("rule far.d",)]
    kinds = [way.kinds for way in result.conflicts[0].ways_out]
    assert ("recut",) in kinds and ("row",) in kinds
    assert ("recut",) in [way.kinds for way in result.conflicts[1].ways_out]
    assert result.as_dict()["conflicts"][0]["members"][0]["line"] == 11


def test_another_basis_is_offered_where_limits_are_too_wide(tmp_path: Path) -> None:
    """A fit narrower than the tolerances holds on no row in the worst case: a last cut does."""
    text = """
[part.pin]
service = "none"
size.d = { full = "48", kind = "external", rule = "turned step 0.01 mm" }
[part.bush]
service = "none"
size.d = { full = "48", kind = "internal", rule = "reamed" }
[pair.fit]
inner = "pin.d"
outer = "bush.d"
fit = "0.010 to 0.030 mm"
basis = "both limits"
"""
    result = substitute(model_of(tmp_path, text))
    assert result.status == "impossible"
    ways = {way.kinds: way for way in result.conflicts[0].ways_out}
    basis = ways[("basis",)]
    assert basis.changes == ("cut pin.d last, to the measured others, for pair fit",)
    assert basis.model is not None
    after = substitute(basis.model, prices=False)
    assert after.status == "optimal"
    assert [f.verdict for f in after.check.findings] == [Verdict.HOLDS]


def test_made_wheel_and_axle_carry_their_caution(tmp_path: Path) -> None:
    """The example with wheel and wheel seat both made, too loose: made work can be lost, last of
    all, and a safety part always carries its caution."""
    model = load(EXAMPLE)
    sizes = dict(model.sizes)
    sizes["wheel.bore"] = replace(sizes["wheel.bore"], made=Fraction("15.03"))
    sizes["axle.wheel_seat"] = replace(sizes["axle.wheel_seat"], made=Fraction("15.01"))
    result = substitute(replace(model, sizes=sizes), prices=False)
    assert result.status == "impossible"
    (conflict,) = result.conflicts
    assert set(conflict.keys) == {
        "fact wheel.bore",
        "fact axle.wheel_seat",
        "pair wheel_on_axle",
    }
    losses = [way.lost for way in conflict.ways_out]
    assert ("axle.wheel_seat",) in losses
    assert losses == sorted(losses, key=len)
    for way in conflict.ways_out:
        assert any("safety part" in caution for caution in way.cautions)
    # everything else was chosen all the same, and confirmed
    wrong = [f.statement.id for f in result.check.failures()]
    assert wrong == ["wheel_on_axle"]


def test_giving_up_a_rule_only_widens(tmp_path: Path) -> None:
    """With a way out taken, what was possible before for other sizes stays possible: the cost of a
    model without conflict never rises when a size gets one more method."""
    text = """
[part.pin]
service = "none"
size.d = { full = "48", kind = "external", rule = ["ground bar"] }
[part.bush]
service = "none"
size.d = { full = "49", kind = "internal", rule = ["reamed", "bored step 0.1 mm"] }
[pair.fit]
inner = "pin.d"
outer = "bush.d"
fit = "0.05 to 0.25 mm"
basis = "basic size"
"""
    before = substitute(model_of(tmp_path / "a", text))
    wider = text.replace('["ground bar"]', '["ground bar", "turned step 0.05 mm"]')
    after = substitute(model_of(tmp_path / "b", wider))
    assert before.status == after.status == "optimal"
    assert after.cost <= before.cost


def test_check_of_an_impossible_model_still_shows_all(tmp_path: Path) -> None:
    """What could be chosen is chosen and shown; the conflict stands beside the check."""
    model = model_of(tmp_path, random_text(3))
    result = substitute(model, prices=False)
    plain = result.as_dict()
    assert plain["status"] == result.status
    assert len(plain["sizes"]) == len(model.sizes)
    assert {row["id"] for row in plain["pairs"]} == set(model.pairs)
    if result.status == "impossible":
        assert plain["cost"] is None and plain["gap"] is None
        assert result.exit_status() == 1
    assert check(result.model).counts() == result.check.counts()


SEATS = """
[part.shaft]
size.journal = { full = "96 mm", rule = "turned" }
[part.wheel]
size.bore = { full = "96 mm", rule = "bored" }
[part.bush]
size.bore = { full = "96 mm", rule = "bored" }
[pair.on]
inner = "shaft.journal"
outer = "wheel.bore"
fit = "clearance 0 to 0.028 mm"
basis = "last cut shaft.journal"
[pair.runs]
inner = "shaft.journal"
outer = "bush.bore"
fit = "clearance 0.024 to 0.05 mm"
basis = "last cut shaft.journal"
"""


def test_the_last_cut_passes_to_the_other_side(tmp_path: Path) -> None:
    """One journal cannot be cut last to two bores that stray from each other by more than the fits
    allow; either bore can be cut last to it instead, and that is what is proposed first."""
    model = model_of(tmp_path, SEATS)
    (conflict,) = substitute(model, prices=False).conflicts
    assert {"pair on", "pair runs"} <= set(conflict.keys)
    first, second = conflict.ways_out[:2]
    assert {first.write, second.write} == {
        ('basis = "last cut wheel.bore" under [pair.on] (model.toml, line 15)',),
        ('basis = "last cut bush.bore" under [pair.runs] (model.toml, line 20)',),
    }
    for way in (first, second):
        assert way.kinds == ("basis",) and way.model is not None
        after = substitute(way.model, ways_out=0, prices=False)
        assert after.status == "optimal"
        assert all(finding.verdict is Verdict.HOLDS for finding in after.check.findings)
