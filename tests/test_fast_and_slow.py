"""Every quick way gives what the general way gives: the same model, findings, figures and words.

Models at random with all that goes out of the ordinary: windows of every sort, last cuts, copies,
readings, roots and angles, definitions, equalities, limits, stock, refusals. Outside reference: none
is needed, the two ways judge each other; the general way has its own tests.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import fields
from pathlib import Path
from typing import Any

import pytest
from make_model import make

import scaler
from scaler.checking.alike_checks import AlikeChecks
from scaler.checking.check import Checker, Finding
from scaler.checking.workability import workability
from scaler.expressions import Node, parsing
from scaler.problems import InputError
from scaler.reading import toml_text
from scaler.reading.sizes import SizeReader
from scaler.records import Model, Stage
from scaler.settling import limits, settle

HERE = Path(__file__).parent
EXAMPLES = HERE.parent / "scaler" / "examples"
READ = "time,action,size,copy,value,instrument,note\n"


# ------------------------------------------------------------------------------ models at random

PARTS = ("block", "axle", "cover", "shaft", "bracket", "boiler_feed", "crane_hook", "wheel")
METALS = ("mild steel", "bronze", "cast iron", "nylon", "unobtainium", "gunmetal")
SIZES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("diameter", "external", ("tenth", "turned", "ground bar; turned", "turned limits h8", "")),
    ("bore", "internal", ("reamed", "hole", "bored step 0.005 mm", "drilled down", "lapped")),
    ("slot", "slot", ("milled step 0.05 mm", "slot drilled; milled", "")),
    ("tongue", "external", ("milled step 0.005 mm", "ground step 0.002 mm")),
    ("front", "length", ("milled step 0.05 mm", "milled", "")),
    ("back", "length", ("milled step 0.1 mm reach 0.2 mm", "")),
    ("middle", "length", ("", "given 12 mm")),
    ("hole_position", "position", ("coordinate drilled step 0.05 mm", "")),
    ("hole_to_edge", "length", ("milled",)),
    ("hole", "internal", ("drilled",)),
    ("stud", "thread", ("thread",)),
    ("outside", "external", ("turned",)),
    ("slot_depth", "depth", ("milled",)),
    ("corner_radius", "radius", ("milled",)),
    ("thickness", "external", ("plate", "milled")),
    ("stud_circle", "position", ("",)),
    ("stud_count", "count", ("",)),
    ("tip_angle", "angle", ("",)),
)
FITS = (
    "0.02 to 0.05 mm", "H7/g6", "close running", "clearance 0 to 5 mm", "at least 0.05 mm",
    "interference 0.01 to 0.05 mm", "-1 to 1 mm", "push",
)  # fmt: skip
KEPT = (
    "{a} + {b} >= '1 mm'", "'1 mm' <= {a} <= '30 mm'", "{a} - {b} <= '0.3 mm'", "{a} == {b}",
    "sqrt({a}^2 + {b}^2) >= {c}", "{a} * {b} >= {c} * '2 mm'", "abs({a} - {b}) <= '2 mm'",
    "{a} / {b} <= 3", "{a} * cos('7.5 deg') >= {b}", "2*{a} >= {b} - full('1/8 in')",
    "{a} - {b} + {b} >= '1 mm'", "({a} - {b}) / 3 >= '0.1 mm'",
)  # fmt: skip
DEFINED = (
    "{a} + {b}", "2*{a} - {b} / 2", "sqrt({a}^2 + {b}^2)", "{a} + '2 mm'", "max({a}, {b})",
    "{a} + full('1/4 in')",
)  # fmt: skip
NO_LENGTH = ("count", "angle")


def size_line(
    chance: random.Random, name: str, kind: str, rules: tuple[str, ...], mine: list[str]
) -> str:
    """One line of a part: drawn or defined, with a rule, limits, a reach or a made size."""
    number = chance.randint(8, 60)
    full = chance.choice([f"{number}/8", f"{number}.5 mm", f"{number // 8} 3/8 in"])
    full = {"count": str(chance.randint(2, 8)), "angle": f"{number} deg"}.get(kind, full)
    facts = [f"kind = '{kind}'"]
    rule = chance.choice(rules)
    if mine and kind in ("length", "external", "position") and chance.random() < 0.2:
        a, b = chance.choice(mine), chance.choice(mine)
        facts.append(f'equals = "{chance.choice(DEFINED).format(a=a, b=b)}"')
        facts += [f"full = '{full}'"] * (chance.random() < 0.3)
        rule = rule if chance.random() < 0.4 else ""
    else:
        facts.append(f"full = '{full}'")
    facts += [f"rule = '{rule}'"] * bool(rule)
    if kind in ("external", "internal", "length"):
        side = "H9" if kind == "internal" else "h9"
        facts += [f"limits = '{chance.choice(['±0.05 mm', side])}'"] * (chance.random() < 0.15)
        facts += [f"made = '{chance.choice(['3.1', '12.02'])} mm'"] * (chance.random() < 0.06)
        facts += ["reach = '0.3 mm'"] * (chance.random() < 0.1)
    return f"size.{name} = {{ {', '.join(facts)} }}"


def write_model(folder: Path, chance: random.Random) -> Path:
    """A model of a few parts at random, with readings where chance will have it."""
    lines = [
        f"[model]\ntitle = 'at random'\nscale = '{chance.choice(['1:8', '1:11', '1 1/2 in : 1 ft'])}'",
        "[drawing.sheet]\nunit = 'in'",
        "[rules]\ntenth = ['turned step 0.1 mm', 'turned step 0.005 mm']\nhole = 'reamed; bored'",
    ]
    lengths: list[str] = []
    readings: list[str] = []
    for number in range(chance.randint(1, 4)):
        part = f"{chance.choice(PARTS)}_{number}"
        service = chance.choice(["none"] * 6 + ["lifting", "carrying people", "pressure"])
        lines.append(f"[part.{part}]\nmaterial = '{chance.choice(METALS)}'\nservice = '{service}'")
        copies = ["left", "right"] if chance.random() < 0.3 else []
        lines += ["copies = ['left', 'right']"] * bool(copies)
        mine: list[str] = []
        for name, kind, rules in SIZES:
            if chance.random() < 0.5:
                lines.append(size_line(chance, name, kind, rules, mine))
                if kind not in (*NO_LENGTH, "thread"):
                    mine.append(f"{part}.{name}")
                    if chance.random() < 0.12:
                        copy = chance.choice([*copies, ""])
                        value = f"{chance.randint(2000, 6000) / 1000:.3f} mm"
                        readings.append(f"2026-01-01T00:00:00Z,reading,{mine[-1]},{copy},{value},,")
        lengths += mine
    for number in range(chance.randint(0, 8) if len(lengths) > 2 else 0):
        a, b, c = chance.sample(lengths, 3)
        basis = chance.choice(
            [
                "",
                f"last cut {a}",
                f"last cut {b}",
                "both limits",
                "basic size",
                f"last cut {b} by lapped",
            ]
        )
        stated = f'\nbasis = "{basis}"' if basis else ""
        lines.append(
            f'[pair.p{number}]\ninner = "{a}"\nouter = "{b}"\nfit = "{chance.choice(FITS)}"{stated}'
        )
        kept = chance.choice(KEPT).format(a=a, b=b, c=c)
        stated = "" if "last cut" in basis and ("^" in kept or "<= 3" in kept) else stated
        stated = stated if basis[9:].split(" ")[0] in kept else ""
        within = "\nwithin = '±0.1 mm'" if "==" in kept and chance.random() < 0.7 else ""
        lines.append(f'[condition.c{number}]\nkeep = "{kept}"{within}{stated}')
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "model.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    if readings and chance.random() < 0.6:
        (folder / "readings.csv").write_text(READ + "\n".join(readings) + "\n", encoding="utf-8")
    return folder


# ------------------------------------------------------------------------------------ both ways


class Never:
    """Stands in for the quick way of judging: everything has to be looked at closely."""

    def verdict(self, statement: object) -> None:
        """None."""

    def finding(self, statement: object) -> None:
        """None."""


def forget() -> None:
    """Leaves nothing remembered that one way could take from the other."""
    parsing._expression.cache_clear()
    parsing._comparison.cache_clear()


@contextmanager
def slowly() -> Iterator[None]:
    """All quick ways shut."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(toml_text, "read_plain", lambda *_: None)
        patch.setattr(parsing, "plain_sides", lambda _: None)
        patch.setattr(settle._Settler, "drawn", settle._Settler.alone)
        patch.setattr(
            limits.LimitsOf, "__call__", lambda own, *of: limits.limits_of(own.model, *of)
        )
        patch.setattr(Checker, "plain", Never())
        patch.setattr(SizeReader, "like_another", SizeReader.size)
        patch.setattr(AlikeChecks, "key", lambda *_: None)
        forget()
        yield
    forget()


def nodes_placed(model: Model) -> list[tuple[int, int]]:
    """Where each part of each expression stood: equality of nodes leaves that out."""

    def of(node: Node | None) -> list[tuple[int, int]]:
        return [] if node is None else [(part.start, part.end) for part in scaler_walk(node)]

    from scaler.expressions import walk as scaler_walk

    found = [spot for size in model.sizes.values() for spot in of(size.equals)]
    for pair in model.pairs.values():
        found += of(pair.inner) + of(pair.outer)
    for item in model.conditions.values():
        found += of(item.expression) + of(item.lower) + of(item.upper)
    return found


def said(folder: Path) -> dict[str, Any]:
    """All that can be said of a model."""
    try:
        model = scaler.load(folder)
    except InputError as error:
        return {"refused": error.problems}
    found: dict[str, Any] = {
        item.name: getattr(model, item.name) for item in fields(model) if item.name != "sources"
    }
    found["nodes"] = nodes_placed(model)
    for stage in Stage:
        for as_drawn in (False, True):
            key = f"{stage} {as_drawn}"
            try:
                result = scaler.check(model, stage, as_drawn=as_drawn)
            except InputError as error:
                found[key] = error.problems
                continue
            found[key] = (
                result.as_dict(), result.findings, result.conflicts, result.workability,
                result.reduction.lines, result.reduction.settlement, result.reduction.notes,
                result.reduction.cautions, result.counts(), result.status(strict=True),
            )  # fmt: skip
            assert result.verdicts == tuple(finding.verdict for finding in result.findings)
            assert result.as_dict()["counts"] == result.counts()
    return found


def both(folder: Path) -> dict[str, Any]:
    """What is said of a model, which must be the same either way."""
    forget()
    quick = said(folder)
    with slowly():
        slow = said(folder)
    assert quick.keys() == slow.keys()
    for key, value in quick.items():
        assert value == slow[key], key
    return quick


@pytest.mark.parametrize("name", ["pattern_d", "starter"])
def test_the_shipped_models(name: str) -> None:
    """The demo and the starter, at every stage."""
    both(EXAMPLES / name)


def test_a_generated_model(tmp_path: Path) -> None:
    """Half TOML, half CSV, of the sort that the benchmarks use."""
    both(make(tmp_path / "made", 60))


@pytest.mark.parametrize("seed", range(40))
def test_models_at_random(tmp_path: Path, seed: int) -> None:
    """Forty models with everything out of the ordinary."""
    both(write_model(tmp_path / "model", random.Random(seed)))


def test_verdicts_alone_are_those_of_the_findings(tmp_path: Path) -> None:
    """Judged without figures, then with them: pairs, conditions and workability; and the models
    at random hold enough of each verdict to tell."""
    seen: dict[str, int] = {}
    plain = 0
    for seed in range(60):
        folder = write_model(tmp_path / str(seed), random.Random(seed))
        try:
            model = scaler.load(folder)
            checker = Checker(model)
        except InputError:
            continue
        work = workability(model, checker=checker)
        verdicts, told = checker.verdicts, work.verdicts
        findings: tuple[Finding, ...] = Checker(model).findings
        assert verdicts == tuple(finding.verdict for finding in findings)
        assert told == tuple((f.verdict, bool(f.overruled)) for f in work.findings)
        for verdict in (*verdicts, *(verdict for verdict, _ in told)):
            seen[str(verdict)] = seen.get(str(verdict), 0) + 1
        plain += sum(checker.plain.finding(item) is not None for item in checker.statements)
    assert all(seen.get(name, 0) >= 5 for name in ("holds", "doubtful", "tight", "loose", "fails"))
    assert plain > 50
