"""A last cut keeps what it promises: the bench is simulated, corner by corner.

The maker measures the other sizes, each reading off by at most its instrument's uncertainty, works
out what the statements leave the size, aims, and comes off the aim by at most half the tolerance of
the cut. Whatever happens within those limits, a statement that is said to hold must hold.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator
from fractions import Fraction as F
from pathlib import Path
from typing import NamedTuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import scaler
from scaler.checking.check import Checker, Finding
from scaler.checking.last_cut import range_of
from scaler.records import Model

HEAD = '[model]\ntitle = "test"\nscale = "1:1"\n[part.p]\n'
# width of the last cut and ± of the reading [mm], methods and instruments tables (common practice)
CUTS = {"turned": F("0.01"), "ground": F("0.004"), "lapped": F("0.002")}
TOOLS = {"micrometer": F("0.002"), "vernier": F("0.02"), "slip gauges": F("0.001")}


class Other(NamedTuple):
    """A size that the last cut is made to: basic size, limits, instrument."""

    basic: F
    low: F
    high: F
    tool: str
    made: bool = False

    @property
    def worth(self) -> F:
        """How far a reading may be off."""
        return TOOLS[self.tool]

    @property
    def sides(self) -> tuple[F, F]:
        """Least and greatest size; the reading, where it has been made."""
        return (self.basic,) * 2 if self.made else (self.basic + self.low, self.basic + self.high)

    def comes_out(self, share: F, off: F) -> tuple[F, F]:
        """The size and its reading: somewhere between its limits, the reading off by a part of its
        uncertainty; where it has been read before, the reading stands and the size lies beside it."""
        error = (2 * off - 1) * self.worth
        if self.made:
            return self.basic - error, self.basic
        size = self.basic + self.low + share * (self.high - self.low)
        return size, size + error

    def line(self, name: str) -> str:
        """As a size of a model."""
        made = f' made = "{_mm(self.basic)}",' if self.made else ""
        return (
            f'size.{name} = {{ full = "{_mm(self.basic)}", instrument = "{self.tool}", rule = [],'
            f'{made} limits = "{float(self.low):+} mm {float(self.high):+} mm" }}\n'
        )


class Stated(NamedTuple):
    """lower <= c·x + Σ a·y <= upper."""

    factor: int
    factors: tuple[int, ...]
    lower: F
    upper: F

    def rest(self, ys: tuple[F, ...]) -> F:
        """What the other sizes come to."""
        return sum((a * y for a, y in zip(self.factors, ys, strict=True)), F(0))

    def window(self, ys: tuple[F, ...]) -> tuple[F, F]:
        """What it leaves x where the others have these sizes."""
        ends = ((bound - self.rest(ys)) / self.factor for bound in (self.lower, self.upper))
        low, high = sorted(ends)
        return low, high

    def kept(self, x: F, ys: tuple[F, ...]) -> bool:
        """Whether it holds for these sizes."""
        return self.lower <= self.factor * x + self.rest(ys) <= self.upper


class Bench(NamedTuple):
    """One size cut last to some others, to serve one or more statements."""

    others: tuple[Other, ...]
    stated: tuple[Stated, ...]
    by: str
    basic: F

    def model(self, folder: Path) -> Model:
        """As a model."""
        body = f'size.x = {{ full = "{_mm(self.basic)}", rule = [] }}\n'
        for n, y in enumerate(self.others):
            body += y.line(f"y{n}")
        for n, s in enumerate(self.stated):
            text = f"({s.factor})*p.x"
            text += "".join(f" + ({a})*p.y{m}" for m, a in enumerate(s.factors) if a)
            body += (
                f'[condition.c{n}]\nkeep = "{_signed(s.lower)} <= {text} <= {_signed(s.upper)}"\n'
                f'basis = "last cut p.x by {self.by}"\n'
            )
        (folder / "model.toml").write_text(HEAD + body, encoding="utf-8")
        return scaler.load(folder)

    def cases(self, dice: random.Random, most: int = 600) -> Iterator[tuple[F, tuple[F, ...]]]:
        """x and the others as they come out: corners first, then anything between."""
        half = CUTS[self.by] / 2
        count = len(self.others)
        signs = list(itertools.product((0, 1), repeat=2 * count))
        if 2 * len(signs) > most:
            signs = dice.sample(signs, most // 2)
        shares = [tuple(F(s) for s in sign) for sign in signs]
        shares += [tuple(F(dice.randint(0, 64), 64) for _ in range(2 * count)) for _ in range(40)]
        for share in shares:
            pairs = [
                y.comes_out(s, e)
                for y, s, e in zip(self.others, share[:count], share[count:], strict=True)
            ]
            ys, read = tuple(y for y, _ in pairs), tuple(r for _, r in pairs)
            left = [s.window(read) for s in self.stated]
            aim = (max(low for low, _ in left) + min(high for _, high in left)) / 2
            for off in (-half, half, half * F(dice.randint(-64, 64), 64)):
                yield aim + off, ys


def _mm(value: F) -> str:
    return f"{value.numerator}/{value.denominator} mm"


def _signed(value: F) -> str:
    return f"{'-' if value < 0 else ''}'{_mm(abs(value))}'"


def findings(model: Model) -> list[Finding]:
    """Of all its statements."""
    return list(Checker(model).findings)


thousandth = st.integers(0, 30).map(lambda n: F(n, 1000))
others = st.builds(
    lambda basic, low, high, tool, made: Other(basic, -low, high, tool, made),
    st.integers(40, 120).map(lambda n: F(n, 4)),
    thousandth,
    thousandth,
    st.sampled_from(sorted(TOOLS)),
    st.sampled_from((False, False, True)),
)


@st.composite
def benches(draw: st.DrawFn, most: int = 3) -> Bench:
    """One to three statements about one size and one to three others, windows 1 to 200 µm wide."""
    ys = tuple(draw(st.lists(others, min_size=1, max_size=3)))
    basic = F(draw(st.integers(40, 120)), 4)
    at = tuple(y.basic for y in ys)
    stated = []
    for _ in range(draw(st.integers(1, most))):
        factor = draw(st.sampled_from((1, -1, 2)))
        factors = tuple(draw(st.lists(st.integers(-2, 2), min_size=len(ys), max_size=len(ys))))
        middle = factor * basic + sum((a * y for a, y in zip(factors, at, strict=True)), F(0))
        width = F(draw(st.integers(1, 200)), 1000)
        off = width * F(draw(st.integers(0, 8)), 8)  # the basic size lies anywhere in the window
        stated.append(Stated(factor, factors, middle - off, middle - off + width))
    return Bench(ys, tuple(stated), draw(st.sampled_from(sorted(CUTS))), basic)


@settings(max_examples=90)
@given(benches(), st.randoms(use_true_random=False))
def test_what_is_said_to_hold_is_never_broken(
    tmp_path_factory: pytest.TempPathFactory, bench: Bench, dice: random.Random
) -> None:
    """Aim in the middle of what the readings leave: no statement that holds is ever broken."""
    found = findings(bench.model(tmp_path_factory.mktemp("m")))
    for x, ys in bench.cases(dice):
        for stated, finding in zip(bench.stated, found, strict=True):
            assert stated.kept(x, ys) or finding.verdict != "holds", (float(x), finding)


@settings(max_examples=90)
@given(benches(), st.randoms(use_true_random=False))
def test_where_too_little_is_left_it_can_be_broken(
    tmp_path_factory: pytest.TempPathFactory, bench: Bench, dice: random.Random
) -> None:
    """Where the windows leave less than the width of the cut, some case breaks a statement, and the
    tool has not said that all hold."""
    least = min(
        min(s.window(ys)[1] for s in bench.stated) - max(s.window(ys)[0] for s in bench.stated)
        for ys in itertools.product(*(y.sides for y in bench.others))
    )
    if least >= CUTS[bench.by]:
        return
    found = findings(bench.model(tmp_path_factory.mktemp("m")))
    assert any(finding.verdict == "doubtful" for finding in found)
    assert any(
        not stated.kept(x, ys) for x, ys in bench.cases(dice, 10_000) for stated in bench.stated
    )


@settings(max_examples=90)
@given(benches(1), st.integers(-3, 3), st.randoms(use_true_random=False))
def test_one_statement_holds_exactly_where_it_cannot_be_broken(
    tmp_path_factory: pytest.TempPathFactory, bench: Bench, micron: int, dice: random.Random
) -> None:
    """The window is set to the cut's tolerance plus twice the uncertainty, and some micrometres:
    a hair more and nothing breaks it, a hair less and something does."""
    (stated,) = bench.stated
    worth = sum(
        (
            abs(F(a, stated.factor)) * y.worth
            for a, y in zip(stated.factors, bench.others, strict=True)
        ),
        F(0),
    )
    need = CUTS[bench.by] + 2 * worth
    width = (need + F(micron, 1000)) * abs(stated.factor)
    if width <= 0:
        return
    middle = (stated.lower + stated.upper) / 2
    basic = stated.factor * bench.basic + stated.rest(tuple(y.basic for y in bench.others))
    lower = min(max(middle - width / 2, basic - width), basic)
    exact = bench._replace(stated=(stated._replace(lower=lower, upper=lower + width),))
    (finding,) = findings(exact.model(tmp_path_factory.mktemp("m")))
    broken = any(not exact.stated[0].kept(x, ys) for x, ys in exact.cases(dice, 10_000))
    assert broken == (micron < 0)
    assert (finding.verdict == "holds") == (micron > 0)
    if micron <= 0:
        assert finding.note.startswith("not promised")


@settings(max_examples=40)
@given(benches())
def test_overlaps_are_the_worst_of_all_corners(
    tmp_path_factory: pytest.TempPathFactory, bench: Bench
) -> None:
    """Each overlap of two windows, exactly, against all corners of the others' limits."""
    checker = Checker(bench.model(tmp_path_factory.mktemp("m")))
    left = checker.cuts.windows("p.x")
    assert len(left) == len(bench.stated)
    sides = [y.sides for y in bench.others]
    for (one, s), (other, t) in itertools.product(zip(left, bench.stated, strict=True), repeat=2):
        least = min(s.window(ys)[1] - t.window(ys)[0] for ys in itertools.product(*sides))
        assert checker.cuts.overlap(one, other) == least


# --- one last cut after another


class Chain(NamedTuple):
    """x is cut to y and z, w to x and z, and a worst case stands over them all."""

    others: tuple[Other, Other]
    first: Stated
    second: Stated
    over: tuple[int, ...]


@st.composite
def chains(draw: st.DrawFn) -> Chain:
    """Two last cuts after each other, windows wide enough to be promised as a rule."""
    ys = (draw(others), draw(others))
    sign = st.sampled_from((1, -1))
    factors = (draw(st.integers(-1, 1)), draw(st.integers(-1, 1)))
    at = factors[0] * ys[0].basic + factors[1] * ys[1].basic

    def stated(extra: F, more: tuple[int, ...]) -> Stated:
        factor, width = draw(sign), F(draw(st.integers(20, 200)), 1000)
        off = width * F(draw(st.integers(0, 8)), 8)
        middle = factor * F(20) + extra
        return Stated(factor, more, middle - off, middle - off + width)

    first = stated(at, factors)
    more = (draw(sign), draw(st.integers(-1, 1)))
    second = stated(more[0] * F(20) + more[1] * ys[1].basic, more)
    over = tuple(draw(st.lists(st.integers(-2, 2), min_size=4, max_size=4)))
    return Chain(ys, first, second, over)


def chain_model(chain: Chain, folder: Path) -> Model:
    """y0 and y1 as bought, x cut to both, w cut to x and y1, a sum over all at both limits."""
    body = 'size.x = { full = "20 mm", instrument = "micrometer", rule = [] }\n'
    body += 'size.w = { full = "20 mm", rule = [] }\n'
    for n, y in enumerate(chain.others):
        body += y.line(f"y{n}")
    for name, last, s, names in (
        ("first", "p.x", chain.first, ("p.y0", "p.y1")),
        ("second", "p.w", chain.second, ("p.x", "p.y1")),
    ):
        text = f"({s.factor})*{last}"
        text += "".join(f" + ({a})*{n}" for a, n in zip(s.factors, names, strict=True) if a)
        body += (
            f'[condition.{name}]\nkeep = "{_signed(s.lower)} <= {text} <= {_signed(s.upper)}"\n'
            f'basis = "last cut {last} by lapped"\n'
        )
    a = chain.over
    text = f"({a[0]})*p.y0 + ({a[1]})*p.y1 + ({a[2]})*p.x + ({a[3]})*p.w"
    body += f'[condition.over]\nkeep = "{text} <= \'999 mm\'"\nbasis = "both limits"\n'
    (folder / "model.toml").write_text(HEAD + body, encoding="utf-8")
    return scaler.load(folder)


@settings(max_examples=60)
@given(chains())
def test_a_chain_of_last_cuts_ends_exactly_where_it_is_said_to(
    tmp_path_factory: pytest.TempPathFactory, chain: Chain
) -> None:
    """The maker keeps each planned clearance as aimed: x follows the readings of the others, w that
    of x. The worst case of a sum over all four is the least and the greatest over all corners of
    sizes, readings and cuts; what is said to hold is not broken on the way."""
    checker = Checker(chain_model(chain, tmp_path_factory.mktemp("m")))
    found = {f.statement.id: f for f in checker.findings}
    first, second, over = found["first"], found["second"], found["over"]
    assert first.aim is not None and second.aim is not None
    y0, y1 = chain.others
    one, two = chain.first, chain.second
    half, worth = CUTS["lapped"] / 2, TOOLS["micrometer"]
    sums, x_ends = [], []
    for signs in itertools.product((-1, 1), repeat=7):
        s, t = (F(sign + 1, 2) for sign in signs[:2])
        pairs = [
            y.comes_out(share, F(sign + 1, 2))
            for y, share, sign in zip(chain.others, (s, t), signs[2:4], strict=True)
        ]
        ys, read = tuple(y for y, _ in pairs), tuple(r for _, r in pairs)
        moved = (read[0] - y0.basic, read[1] - y1.basic)
        x = first.aim.target - one.rest(moved) / one.factor + signs[4] * half
        x_read = x + signs[5] * worth
        # w is cut at its own reading of the second size, which is read once
        w = second.aim.target - two.rest((x_read - 20, moved[1])) / two.factor + signs[6] * half
        x_ends.append(x - 20)
        sums.append(sum((a * v for a, v in zip(chain.over, (*ys, x, w), strict=True)), F(0)))
        assert one.kept(x, ys) or first.verdict != "holds"
        assert two.kept(w, (x, ys[1])) or second.verdict != "holds"
    assert range_of(checker, "p.x") == (min(x_ends), max(x_ends))
    low, high = over.found
    assert low is not None and high is not None
    assert low <= min(sums) and max(sums) <= high
    read_twice = one.factors[1] and two.factors[1]  # then the two readings may differ
    if not read_twice:
        assert (low, high) == (min(sums), max(sums))
    if chain.over[2] or chain.over[3]:
        assert over.note.startswith("counts on the last cut of")


@settings(max_examples=60)
@given(benches(3).filter(lambda b: len(b.stated) > 1), st.randoms(use_true_random=False))
def test_a_size_that_serves_several_stays_in_its_range(
    tmp_path_factory: pytest.TempPathFactory, bench: Bench, dice: random.Random
) -> None:
    """Aimed in the middle of the windows, or as near the planned size as they allow: either way the
    size lies in the range that other statements reckon with."""
    checker = Checker(bench.model(tmp_path_factory.mktemp("m")))
    low, high = range_of(checker, "p.x")
    half = CUTS[bench.by] / 2
    for x, _ in bench.cases(dice):
        if all(f.verdict == "holds" for f in checker.findings):
            assert low <= x - bench.basic <= high
    worth = [
        sum(
            (abs(F(a, s.factor)) * y.worth for a, y in zip(s.factors, bench.others, strict=True)),
            F(0),
        )
        for s in bench.stated
    ]
    for signs in itertools.product((-1, 1), repeat=2 * len(bench.others)):
        count = len(bench.others)
        shares = [F(sign + 1, 2) for sign in signs]
        read = tuple(
            y.comes_out(s, e)[1]
            for y, s, e in zip(bench.others, shares[:count], shares[count:], strict=True)
        )
        left = [s.window(read) for s in bench.stated]
        lowest = max(end[0] + half + w for end, w in zip(left, worth, strict=True))
        highest = min(end[1] - half - w for end, w in zip(left, worth, strict=True))
        if lowest <= highest:
            aim = min(max(bench.basic, lowest), highest)
        else:
            aim = (max(end[0] for end in left) + min(end[1] for end in left)) / 2
        for off in (-half, half):
            assert low <= aim + off - bench.basic <= high
