"""Checks of workability that are judged once for all that ask the same.

Outside reference: none is needed; a check judged by itself, finding and figures, is what the shared
verdict is held to. The models are invented, and differ where a hasty sharing would go wrong.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

import scaler
from scaler.checking import workability as module
from scaler.checking.alike_checks import AlikeChecks
from scaler.checking.check import Checker
from scaler.checking.workability import workability

HEAD = """[model]
title = "bushes"
scale = "1:8"
work = "mm"
"""


def bushes(folder: Path, chance: random.Random, count: int) -> Path:
    """Bushes of few sizes: bores cut last to their own outside, to another bush's or to none,
    with or without limits, instruments and a window of their own; walls near what is needed."""
    folder.mkdir()
    lines = [HEAD]
    for n in range(count):
        lines.append(f'[part.b{n}]\nmaterial = "bronze"\nservice = "none"')
        outside, bore = chance.choice(("40", "44")), chance.choice(("32", "36", "38"))
        extra = chance.choice(("", "", ', limits = "+0.3 -0 mm"', ', instrument = "vernier"'))
        tail = chance.choice(("", "", "", ', limits = "+0.02 -0 mm"'))
        lines.append(
            f'size.outside = {{ full = "{outside} mm", kind = "external", rule = "turned"{extra} }}\n'
            f'size.bore = {{ full = "{bore} mm", kind = "internal", rule = "bored"{tail} }}\n'
            f'size.slot = {{ full = "{chance.choice(("8", "16"))} mm", kind = "slot", rule = "milled" }}'
        )
        other = chance.choice((n, n, chance.randrange(count)))
        low = chance.choice(("-1.5", "-1", "-0.7"))
        basis = chance.choice(
            (f"last cut b{n}.bore", f"last cut b{n}.bore by lapped", "both limits")
        )
        lines.append(
            f'[pair.p{n}]\ninner = "b{other}.outside"\nouter = "b{n}.bore"\n'
            f'fit = "{low} to -0.2 mm"\nbasis = "{basis}"'
        )
        if chance.random() < 0.15:
            lines.append(
                f'[pair.q{n}]\ninner = "b{other}.slot"\nouter = "b{n}.bore"\n'
                f'fit = "1 to 5 mm"\nbasis = "last cut b{n}.bore"'
            )
    (folder / "model.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    return folder


@pytest.mark.parametrize("seed", range(12))
def test_a_shared_verdict_is_that_of_each(
    tmp_path: Path, seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Far fewer are judged than asked, and each verdict is the one of its own finding."""
    model = scaler.load(bushes(tmp_path / "bushes", random.Random(seed), 60))
    judged = []
    alone = module._verdict
    monkeypatch.setattr(
        module, "_verdict", lambda checker, item: judged.append(item) or alone(checker, item)
    )
    work = workability(model, checker=Checker(model))
    told = work.verdicts
    assert len(judged) < len(work.asked) * 0.7
    assert told == tuple((found.verdict, bool(found.overruled)) for found in work.findings)


def test_alike_is_alike_in_every_figure(tmp_path: Path) -> None:
    """Checks with one key come to the same figures, worst case and all, not just to one verdict."""
    together = 0
    for seed in range(25):
        model = scaler.load(bushes(tmp_path / str(seed), random.Random(seed), 60))
        checker = Checker(model)
        work = workability(model, checker=checker)
        alike = AlikeChecks(checker, module._verdict)
        seen: dict[object, object] = {}
        for item, finding in zip(work.asked, work.findings, strict=True):
            assert finding.id == item.id
            key = alike.key(item)
            figures = finding.found, finding.wanted, finding.margin, finding.verdict
            if key is not None:
                together += key in seen
                assert seen.setdefault(key, figures) == figures, item.id
    assert together > 1000


def test_what_has_been_made_is_judged_by_itself(tmp_path: Path) -> None:
    """A reading makes a size unlike the others, and says so of none."""
    folder = bushes(tmp_path / "bushes", random.Random(1), 5)
    (folder / "readings.csv").write_text(
        "time,action,size,copy,value,instrument,note\n"
        "2026-01-02T10:00:00Z,reading,b0.outside,,5.01 mm,,\n",
        encoding="utf-8",
    )
    model = scaler.load(folder)
    assert model.readings
    checker = Checker(model)
    work = workability(model, checker=checker)
    assert not AlikeChecks(checker, module._verdict)._used
    assert work.verdicts == tuple((f.verdict, bool(f.overruled)) for f in work.findings)
