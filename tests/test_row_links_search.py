"""Sizes that take their rows together, against trying every combination.

The search reads the catalogues' CSV files by itself, joins thread and hexagon by the cell that names
it, and judges by arithmetic of its own. All models are made up at random from a seed.
"""

from __future__ import annotations

import csv
import itertools
import random
from dataclasses import dataclass, replace
from fractions import Fraction as F
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scaler.reading.loading import load
from scaler.records import Model, Wish
from scaler.substitution.substitute import substitute

ROOT = Path(__file__).parent.parent / "catalogues"
REACH = {"bolt.thread": F("0.6"), "nut.flats": F(2), "cover.hole": F("0.8"), "frame.web": F("0.5")}
COLUMNS = ("bore", "outside", "width")


@cache
def rows(name: str) -> tuple[dict[str, str], ...]:
    """The rows of a catalogue's file as text."""
    with (ROOT / f"{name}.csv").open(encoding="utf-8") as file:
        return tuple(csv.DictReader(file))


def mm(row: dict[str, str], base: str) -> F | None:
    """A length of a row [mm]."""
    if row.get(f"{base}_mm"):
        return F(row[f"{base}_mm"])
    text = row.get(f"{base}_in")
    return None if not text else sum(map(F, text.split()), F(0)) * F("25.4")


@dataclass(frozen=True)
class Thread:
    """What the published tables give for a thread [mm]."""

    name: str
    major: F
    tapping: F
    clearance: F
    flats: F


@cache
def threads() -> tuple[Thread, ...]:
    """Coarse metric threads that have a hole of each sort and a hexagon."""
    hexagons = {row["designation"]: row for row in rows("threads/threads_metric_hexagons")}
    found = []
    for row in rows("threads/threads_metric_coarse"):
        hexagon = hexagons.get(row["hexagon"], {})
        values = [mm(row, "major"), mm(row, "tapping_drill"), mm(row, "clearance_medium")]
        values.append(mm(hexagon, "across_flats"))
        if all(value is not None for value in values):
            found.append(Thread(row["designation"], *values))  # type: ignore[arg-type]
    return tuple(found)


def text_of(seed: int) -> tuple[str, dict[str, tuple[F, F]], list[tuple[str, str, F]]]:
    """A model, its drawn sizes (exact size and weight), and its conditions a − b ≥ c."""
    rnd = random.Random(seed)
    full = {
        "bolt.thread": F(rnd.randint(150, 420), 10),
        "nut.flats": F(rnd.randint(300, 700), 10),
        "cover.hole": F(rnd.randint(160, 460), 10),
        "frame.web": F(rnd.randint(200, 600), 10),
    }
    bearing = rnd.choice([r for r in rows("parts/bearings_metric") if F(r["bore_mm"]) <= 12])
    for column in COLUMNS:
        near = F(bearing[f"{column}_mm"]) * 8
        full[f"bearing.{column}"] = near + F(rnd.randint(-20, 20), 10)
    weights = {name: F(rnd.choice(["1", "1", "2", "0.5", "0"])) for name in full}
    rules = {
        "bolt.thread": ("thread", "metric thread"),
        "nut.flats": ("length", "across flats of bolt.thread"),
        "cover.hole": ("internal", "clearance hole of bolt.thread"),
        "frame.web": ("length", "milled step 0.25 mm"),
        **{
            f"bearing.{c}": ("internal" if c == "bore" else "external", f"bearing {c}")
            for c in COLUMNS
        },
    }
    lines = ['[model]\ntitle="t"\nscale="1:8"\n[drawing.s]\nunit="mm"']
    for part in ("bolt", "nut", "cover", "frame", "bearing"):
        lines.append(f'[part.{part}]\nservice="none"')
        for name, (kind, rule) in rules.items():
            if name.startswith(f"{part}."):
                reach = REACH.get(name, F(1))
                lines.append(
                    f'size.{name.partition(".")[2]}={{full="{float(full[name])}",kind="{kind}",'
                    f'rule="{rule}",weight="{weights[name]}",reach="{float(reach)} mm"}}'
                )
        if part == "frame":  # nobody drew it
            lines.append('size.tapped={kind="internal",rule="tapping hole of bolt.thread"}')
    pool = [
        ("cover.hole", "bolt.thread", F(rnd.randint(10, 60), 100)),
        ("frame.web", "frame.tapped", F(rnd.randint(0, 300), 100)),
        ("bearing.bore", "frame.web", F(rnd.randint(-400, 600), 100)),
        ("bearing.outside", "nut.flats", F(rnd.randint(-100, 1500), 100)),
        ("nut.flats", "bearing.width", F(rnd.randint(-100, 400), 100)),
    ]
    wanted = rnd.sample(pool, rnd.randint(1, 3))
    for number, (one, other, least) in enumerate(wanted):
        least_text = f"{one} + '{float(-least)} mm' >= {other}"
        if least > 0:
            least_text = f"{one} - {other} >= '{float(least)} mm'"
        keep = f'keep="{least_text}"'
        lines.append(f'[condition.c{number}]\n{keep}\nbasis="basic size"')
    return "\n".join(lines), {n: (full[n] / 8, weights[n]) for n in full}, wanted


def every_choice(
    drawn: dict[str, tuple[F, F]], wanted: list[tuple[str, str, F]], barred: frozenset[str]
) -> F | None:
    """The least cost over every combination; None where none keeps every condition."""
    bearings = [
        row
        for row in (*rows("parts/bearings_metric"), *rows("parts/bearings_inch"))
        if row["designation"] not in barred
    ]
    groups: list[list[dict[str, F]]] = [
        [
            {"bolt.thread": t.major, "frame.tapped": t.tapping, "cover.hole": t.clearance,
             "nut.flats": t.flats}
            for t in threads() if t.name not in barred
        ],
        [{"frame.web": F(n, 4)} for n in range(1, 60)],
        [{f"bearing.{c}": v for c in COLUMNS if (v := mm(row, c)) is not None} for row in bearings],
    ]  # fmt: skip
    priced: list[list[tuple[F, dict[str, F]]]] = []
    for group in groups:
        kept = []
        for values in group:
            cost = F(0)
            for name, value in values.items():
                if name in drawn:
                    exact, weight = drawn[name]
                    reach = REACH.get(name, F(1))
                    if abs(value - exact) > reach:
                        break
                    cost += weight * abs(value - exact) / reach
            else:
                kept.append((cost, values))
        priced.append(kept)
    best: F | None = None
    for combination in itertools.product(*priced):
        cost = sum((item[0] for item in combination), F(0))
        if best is not None and cost >= best:
            continue
        at = {name: v for _, values in combination for name, v in values.items()}
        if all(at[one] - at[other] >= least for one, other, least in wanted):
            best = cost
    return best


def read(folder: Path, text: str) -> Model:
    """The model of a text."""
    (folder / "model.toml").write_text(text, encoding="utf-8")
    return load(folder)


def forbidding(model: Model, words: list[str]) -> Model:
    """The model with rows forbidden for all sizes."""
    place = next(iter(model.parts.values())).place
    forbid = tuple(Wish(word, place) for word in words)
    return replace(model, sizes={n: replace(s, forbid=forbid) for n, s in model.sizes.items()})


@settings(max_examples=30)
@given(seed=st.integers(0, 10**9), bar=st.integers(0, 2))
def test_same_optimum_as_trying_every_row(
    tmp_path_factory: pytest.TempPathFactory, seed: int, bar: int
) -> None:
    """Rows that settle sizes of several parts, some forbidden: the same least cost, or none; and
    every column is of the row that was taken."""
    text, drawn, wanted = text_of(seed)
    model = read(tmp_path_factory.mktemp("m"), text)
    rnd = random.Random(seed)
    names = [t.name for t in threads()] + [r["designation"] for r in rows("parts/bearings_metric")]
    words = rnd.sample(names, 8 * bar)
    model = forbidding(model, words)
    best = every_choice(drawn, wanted, frozenset(words))
    result = substitute(model, seconds=20, prices=False, ways_out=0)
    if best is None:
        assert result.status == "impossible"
        return
    assert result.status == "optimal" and result.cost == best
    assert not result.check.failures()
    values = result.check.reduction.settlement.values
    taken = {choice.size: choice.row for choice in result.choices}
    thread = next(t for t in threads() if t.name == taken["bolt.thread"])
    assert values["frame.tapped"] == thread.tapping
    assert values["cover.hole"] == thread.clearance
    assert values["nut.flats"] == thread.flats
    assert len({taken[f"bearing.{column}"] for column in COLUMNS}) == 1
    assert not set(words) & set(taken.values())


@settings(max_examples=10)
@given(seed=st.integers(0, 10**9))
def test_forbidding_never_lowers_and_sparing_never_raises_the_cost(
    tmp_path_factory: pytest.TempPathFactory, seed: int
) -> None:
    """A row forbidden never makes the best choice cheaper; a condition taken away, or a row
    allowed again (a larger catalogue), never dearer."""
    text, _, _ = text_of(seed)
    model = read(tmp_path_factory.mktemp("m"), text)
    rnd = random.Random(seed)
    before = substitute(model, seconds=20, prices=False, ways_out=0)
    if before.status != "optimal":
        return
    used = [choice.row for choice in before.choices if choice.row]
    words = [*rnd.sample(used, 1), rnd.choice(threads()).name]
    fewer = substitute(forbidding(model, words), seconds=20, prices=False, ways_out=0)
    assert fewer.status == "impossible" or fewer.cost >= before.cost
    one = substitute(forbidding(model, words[:1]), seconds=20, prices=False, ways_out=0)
    if fewer.status == "optimal":
        assert one.status == "optimal" and one.cost <= fewer.cost
    for name in model.conditions:
        rest = {key: item for key, item in model.conditions.items() if key != name}
        after = substitute(replace(model, conditions=rest), prices=False, ways_out=0)
        assert after.cost <= before.cost


def test_a_way_out_removes_its_conflict(tmp_path: Path) -> None:
    """With half the rows forbidden: each conflict is a smallest one, and each way out, applied,
    leaves as many as it says and not this one; one of several at once leaves none of them."""
    names = [r["designation"] for r in rows("parts/bearings_metric") if F(r["bore_mm"]) > 4]
    tried = allowed = 0
    for seed in range(4):
        model = read(tmp_path, text_of(seed)[0])
        model = forbidding(model, names + [t.name for t in threads()[::2]])
        result = substitute(model, seconds=300, prices=False, ways_out=2)
        for conflict in result.conflicts:
            assert conflict.reduced and conflict.members
            for way in conflict.ways_out:
                assert way.model is not None
                again = substitute(way.model, seconds=300, prices=False, ways_out=0)
                assert len(again.conflicts) == way.left
                # another may come to light, but this one is gone
                assert set(conflict.keys) not in [set(other.keys) for other in again.conflicts]
                if not way.left:
                    assert again.status == "optimal" and again.cost <= way.cost
                tried += 1
                allowed += "allow" in way.kinds
        for both in result.together:
            for way in both.ways_out:
                assert way.model is not None
                again = substitute(way.model, seconds=300, prices=False, ways_out=0)
                assert (
                    len(again.conflicts) == way.left == len(result.conflicts) - len(both.conflicts)
                )
    assert tried > 8 and allowed > 1
