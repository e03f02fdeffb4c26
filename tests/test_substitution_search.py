"""The best choice of rows and steps, against searches of another kind.

Outside checks: exhaustive search over every combination of options, written here and judged by
arithmetic of its own; the same programmes handed to another general-purpose solver (CP-SAT of the
package ``ortools``, constraint programming on whole numbers, not the solver used in the product).
All models are made up at random from a seed.
"""

from __future__ import annotations

import itertools
import random
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scaler.checking.check import Checker
from scaler.checking.conflicts import check
from scaler.expressions import linear, names
from scaler.problems import InputError, Place
from scaler.reading.loading import load
from scaler.records import BasisKind, Choice, Model, ShopRow, Size, Verdict
from scaler.settling.rows import method_row
from scaler.settling.settle import exact_size, reach_of
from scaler.substitution.substitute import substitute

EXAMPLE = Path(__file__).parent.parent / "scaler" / "examples" / "pattern_d"
SIZES = [Fraction(text) for text in ("4", "5", "6", "6.35", "7", "8", "9", "9.525", "10")]
FAMILIES = {"ground bar": "ground bar", "reamed": "reamer", "flat thickness": "flat thickness"}
RULES = {
    "external": (
        "ground bar limits 0 -0.02 mm",
        "turned step 0.5 mm limits ±0.02 mm",
        "turned step 0.25 mm limits ±0.02 mm",
    ),
    "internal": (
        "reamed limits 0 +0.01 mm",
        "bored step 0.5 mm limits 0 +0.03 mm",
        "bored step 0.2 mm limits 0 +0.03 mm",
    ),
    "length": (
        "milled step 0.5 mm limits ±0.05 mm",
        "milled step 0.2 mm limits ±0.05 mm",
        "flat thickness limits 0 -0.1 mm",
    ),
}


def small_text(seed: int, plain: bool) -> tuple[str, str]:
    """A model of two to four sizes and its shop list; ``plain`` leaves out what only a check can
    judge (last cuts shared with worst cases, definitions, ISO fits)."""
    rnd = random.Random(seed)
    count = rnd.randint(2, 4)
    lines = ['[model]\ntitle="t"\nscale="1:8"\nshop="shop.csv"\nshop_only=true', "[drawing.s]"]
    lines.append('unit="mm"')
    hidden: list[float] = []
    lasts: set[str] = set()
    for number in range(count):
        kind = rnd.choice(list(RULES))
        full = rnd.randint(320, 800) / 10
        rule: list[str] = rnd.sample(RULES[kind], rnd.randint(1, 2))
        more = ""
        if rnd.random() < 0.3:
            more += f", weight={rnd.choice(['0', '2', '0.5'])}"
        if rnd.random() < 0.3:
            more += f', reach="{rnd.choice(["0.6", "0.8", "1.2"])} mm"'
        near = round(4 * (full / 8 + rnd.uniform(-0.5, 0.5))) / 4
        if rnd.random() < 0.12:
            near = rnd.choice([5.0, 6.02, 7.5])
            more += f', made="{near} mm"'
        elif not plain and number >= 2 and rnd.random() < 0.25:
            more += ', equals="p0.s + p1.s / 2"'
            near = hidden[0] + hidden[1] / 2
            if rnd.random() < 0.5:
                rule = []
        listed = ", ".join(f'"{text}"' for text in rule)
        lines.append(
            f'[part.p{number}]\nservice="none"\n'
            f'size.s={{full="{full}", kind="{kind}", rule=[{listed}]{more}}}'
        )
        hidden.append(near)
    for number in range(rnd.randint(1, 3)):
        one, other = rnd.sample(range(count), 2)
        width = rnd.choice([0.25, 0.4, 0.8, 1.5])
        basis = rnd.choice(["both limits", "basic size", "last cut"])
        last = f"p{max(one, other)}.s"
        if basis == "last cut":
            taken = plain and (last in lasts or number > 0)
            basis = "basic size" if taken else f"last cut {last}"
        if plain and basis.startswith("both") and lasts:
            basis = "basic size"
        lasts.add(last) if basis.startswith("last") else None
        a, b = f"p{one}.s", f"p{other}.s"
        low = round(hidden[other] - hidden[one] - width * rnd.uniform(0.1, 0.9), 2)
        what = rnd.random()
        if what < 0.55:
            lines.append(
                f'[pair.q{number}]\ninner="{a}"\nouter="{b}"\n'
                f'fit="{low} to {round(low + width, 3)} mm"\nbasis="{basis}"'
            )
        elif what < 0.75:
            third = rnd.randrange(count)
            at = 2 * hidden[one] - hidden[other] - hidden[third] / 2
            low = round(at - width * rnd.uniform(0.1, 0.9), 2)
            lines.append(
                f"[condition.q{number}]\nkeep=\"'{low} mm' <= 2*{a} - {b} - p{third}.s/2 <= "
                f"'{round(low + width, 3)} mm'\"\n"
                f'basis="{"basic size" if basis.startswith("last") else basis}"'
            )
        elif what < 0.9 or plain:
            ratio = round(hidden[one] / hidden[other] - rnd.uniform(0, 0.1), 2)
            lines.append(f'[condition.q{number}]\nkeep="{a} / {b} >= {ratio}"\nbasis="basic size"')
        else:
            lines.append(
                f'[pair.q{number}]\ninner="{a}"\nouter="{b}"\nfit="H8/{rnd.choice("fgh")}7"\n'
                f'basis="{basis}"'
            )
    shop = ["family,size"]
    for family in FAMILIES.values():
        shop += [f"{family},{float(v)} mm" for v in rnd.sample(SIZES, rnd.randint(2, 6))]
    return "\n".join(lines) + "\n", "\n".join(shop) + "\n"


def read(folder: Path, seed: int, plain: bool) -> Model | None:
    """The model of a seed; None where it contradicts itself."""
    text, shop = small_text(seed, plain)
    folder.mkdir(exist_ok=True)
    (folder / "model.toml").write_text(text, encoding="utf-8")
    (folder / "shop.csv").write_text(shop, encoding="utf-8")
    try:
        return load(folder)
    except InputError:
        return None


@dataclass(frozen=True)
class Option:
    """One thing a size may be, by this file's own reckoning."""

    value: Fraction
    method: str
    row: str
    cost: Fraction
    down: Fraction
    up: Fraction


def options(model: Model, size: Size, last: bool) -> list[Option]:
    """Everything that a size may be: rows of the shop list, multiples of the steps, within reach."""
    exact = exact_size(size, model.ratio)
    assert exact is not None
    found = []
    for method in size.rule:
        reach = reach_of(size, method, exact)
        limits = method.limits
        down = limits.lower or Fraction(0) if limits else Fraction(0)
        up = limits.upper or Fraction(0) if limits else Fraction(0)

        def add(value: Fraction, row: str = "", *, m=method, r=reach, d=down, u=up) -> None:
            if value > 0 and abs(value - exact) <= r:
                cost = size.weight * abs(value - exact) / r
                found.append(Option(value, m.text, row, cost, d, u))

        if method.way == "row":
            for row in model.shop:
                if row.family == FAMILIES[method.name] and row.size is not None:
                    add(row.size, row.designation)
            continue
        steps = [method.step]
        table = method_row(method.name)
        fine = table.last_cut_step if table else None
        own = [m.step for m in size.rule if m.name == method.name and m.step]
        if last and fine is not None and all(fine < step for step in own):
            steps.append(fine)
        for step in steps:
            assert step is not None
            first = int((exact - reach) / step) - 1
            for k in range(first, int((exact + reach) / step) + 2):
                add(k * step)
    return found


def open_sizes(model: Model) -> list[Size]:
    """Sizes that a choice is made for."""
    return [s for s in model.sizes.values() if s.made is None and s.equals is None and s.rule]


def last_names(model: Model) -> set[str]:
    """Sizes that some statement is cut last by."""
    return {i.basis.last for i in (*model.pairs.values(), *model.conditions.values())}


def holds_plainly(model: Model, picked: dict[str, Option]) -> bool:
    """Whether pairs and conditions hold, by this file's own arithmetic.

    A last cut here serves one statement, in a window wide enough to promise: then it comes down to
    the basic sizes.
    """
    for pair in model.pairs.values():
        form = {n: Fraction(0) for n in (*names(pair.inner), *names(pair.outer))}
        form[names(pair.outer)[0]] += 1
        form[names(pair.inner)[0]] -= 1
        if not inside(form, Fraction(0), pair.fit.lower, pair.fit.upper, pair.basis.kind, picked):
            return False
    for item in model.conditions.values():
        lower, upper = (
            None if node is None else linear(node, model.ratio).constant  # type: ignore[union-attr]
            for node in (item.lower, item.upper)
        )
        found = linear(item.expression, model.ratio)
        if found is None:  # a quotient, at basic sizes
            one, other = names(item.expression)
            ratio = picked[one].value / picked[other].value
            if (lower is not None and ratio < lower) or (upper is not None and ratio > upper):
                return False
            continue
        form = dict(found.coefficients)
        if not inside(form, found.constant, lower, upper, item.basis.kind, picked):
            return False
    return True


def inside(
    form: dict[str, Fraction],
    constant: Fraction,
    lower: Fraction | None,
    upper: Fraction | None,
    basis: BasisKind,
    picked: dict[str, Option],
) -> bool:
    """Whether a sum lies in its window, at basic sizes or in the worst case of all limits."""
    low = high = constant
    worst = basis is BasisKind.BOTH_LIMITS
    for name, factor in form.items():
        option = picked[name]
        ends = [factor * (option.value + (end if worst else 0)) for end in (option.down, option.up)]
        low, high = low + min(ends), high + max(ends)
    return (lower is None or low >= lower) and (upper is None or high <= upper)


def made_option(size: Size) -> Option:
    """A made size, with the uncertainty of its reading as a check takes it."""
    from scaler.settling.limits import uncertainty

    assert size.made is not None
    worth = uncertainty(size)[1]
    return Option(size.made, "made", "", Fraction(0), -worth, worth)


def only_made(model: Model, named: set[str]) -> bool:
    """Whether nothing in a statement is left to choose."""
    return all(model.sizes[name].made is not None for name in named)


@settings(max_examples=250)
@given(seed=st.integers(0, 10**9))
def test_same_optimum_and_feasibility_as_exhaustive_search(
    tmp_path_factory: pytest.TempPathFactory, seed: int
) -> None:
    """Random small models: the same least cost as trying every combination, or none where none."""
    model = read(tmp_path_factory.mktemp("m"), seed, plain=True)
    if model is None:
        return
    lasts = last_names(model)
    chosen = open_sizes(model)
    lists = [options(model, size, size.id in lasts) for size in chosen]
    fixed = {s.id: made_option(s) for s in model.sizes.values() if s.made is not None}
    loose = {
        key: replace(item, basis=replace(item.basis, kind=BasisKind.BASIC_SIZE))
        for key, item in model.pairs.items()
        if only_made(model, {*names(item.inner), *names(item.outer)})
        or (fixed.get(item.basis.last) is None and item.basis.kind is BasisKind.LAST_CUT)
    }
    made_last = {
        key: replace(item, basis=replace(item.basis, kind=BasisKind.BOTH_LIMITS))
        for key, item in model.pairs.items()
        if item.basis.last in fixed and key not in loose
    }
    conditions = {
        key: replace(item, basis=replace(item.basis, kind=BasisKind.BASIC_SIZE))
        for key, item in model.conditions.items()
        if only_made(model, set(names(item.expression)))
    }
    judged = replace(
        model,
        pairs={**model.pairs, **loose, **made_last},
        conditions={**model.conditions, **conditions},
    )
    best: Fraction | None = None
    for combination in itertools.product(*lists):
        cost = sum((option.cost for option in combination), Fraction(0))
        if best is not None and cost >= best:
            continue
        picked = dict(zip((s.id for s in chosen), combination, strict=True)) | fixed
        if holds_plainly(judged, picked):
            best = cost
    result = substitute(model, seconds=20, prices=False, ways_out=0)
    if best is None:
        assert result.status == "impossible"
        return
    made = sum(
        (
            s.weight * abs(s.made - e) / reach_of(s, None, e)
            for s in model.sizes.values()
            if s.made is not None and (e := exact_size(s, model.ratio)) is not None
        ),
        Fraction(0),
    )
    assert result.status == "optimal"
    assert result.cost == best + made
    assert result.gap == 0


def confirmed(model: Model, doubtful: set[str], checker: Checker) -> bool:
    """Whether a check confirms everything but what no choice can promise."""
    for finding in checker.findings:
        key = f"{finding.statement.what} {finding.statement.id}"
        may = key in doubtful or only_made(model, set(names(finding.statement.node)))
        if finding.fails or (finding.verdict is Verdict.DOUBTFUL and not may):
            return False
    return True


@settings(max_examples=40)
@given(seed=st.integers(0, 10**9))
def test_same_optimum_as_checking_every_combination(
    tmp_path_factory: pytest.TempPathFactory, seed: int
) -> None:
    """With last cuts that share sizes, definitions and ISO fits: every combination put through the
    check itself gives no better choice, and one exactly where one is found."""
    model = read(tmp_path_factory.mktemp("m"), seed, plain=False)
    if model is None:
        return
    lasts = last_names(model)
    chosen = open_sizes(model)
    lists = [options(model, size, size.id in lasts) for size in chosen]
    total = 1
    for items in lists:
        total *= len(items)
    if total > 1500:
        return
    try:
        result = substitute(model, seconds=20, prices=False, ways_out=0)
    except InputError:
        return
    best: Fraction | None = None
    for combination in itertools.product(*lists):
        cost = sum((option.cost for option in combination), Fraction(0))
        if best is not None and cost >= best:
            continue
        choices = {
            size.id: Choice(size.id, o.value, o.method, o.row, "", "", Place("test", 1))
            for size, o in zip(chosen, combination, strict=True)
        }
        checker = Checker(replace(model, choices=choices))
        if not confirmed(model, set(result.doubtful), checker):
            continue
        for size in model.sizes.values():
            if size.made is None and size.equals is None:
                continue
            exact = exact_size(size, model.ratio)
            assert exact is not None
            settled = checker.settlement.results[size.id]
            reach = reach_of(size, settled.by, exact)
            away = abs(checker.values[size.id] - exact)  # type: ignore[operator]
            cost += size.weight * away / reach
            if size.made is None and away > reach:
                break
        else:
            best = cost if best is None else min(best, cost)
    if best is None:
        assert result.status == "impossible"
    else:
        assert result.status in ("optimal", "feasible")
        assert result.cost == best


# --- another solver


def chain_text(seed: int, count: int) -> tuple[str, str]:
    """A model of ``count`` sizes linked one to the next by windows at basic size."""
    rnd = random.Random(seed)
    lines = ['[model]\ntitle="t"\nscale="1:8"\nshop="shop.csv"\nshop_only=true\n[drawing.s]']
    lines.append('unit="mm"')
    hidden = []
    for number in range(count):
        kind = rnd.choice(list(RULES))
        full = rnd.randint(400, 720) / 10
        rule = ", ".join(f'"{text}"' for text in rnd.sample(RULES[kind], 2))
        weight = rnd.choice(["1", "2", "0.5"])
        lines.append(
            f'[part.p{number}]\nservice="none"\nsize.s={{full="{full}", kind="{kind}", '
            f"rule=[{rule}], weight={weight}}}"
        )
        hidden.append(round(5 * (full / 8 + rnd.uniform(-0.6, 0.6))) / 5)
    for number in range(count - 1):
        width = rnd.choice([0.3, 0.5, 0.8])
        low = round(hidden[number + 1] - hidden[number] - width * rnd.uniform(0.2, 0.8), 2)
        lines.append(
            f'[pair.q{number}]\ninner="p{number}.s"\nouter="p{number + 1}.s"\n'
            f'fit="{low} to {round(low + width, 3)} mm"\nbasis="basic size"'
        )
    shop = ["family,size"]
    for family in FAMILIES.values():
        shop += [f"{family},{n / 2 if n % 2 else n // 2} mm" for n in range(8, 21)]
        shop += [f"{family},{n}/64 in" for n in range(10, 26)]
    return "\n".join(lines) + "\n", "\n".join(shop) + "\n"


@pytest.mark.parametrize("seed", range(12))
def test_same_optimum_as_constraint_programming(tmp_path: Path, seed: int) -> None:
    """Chains of 8 to 30 sizes: CP-SAT on whole millionths of a millimetre finds the same cost."""
    cp_model = pytest.importorskip("ortools.sat.python.cp_model")
    text, shop = chain_text(seed, 8 + 2 * seed)
    (tmp_path / "model.toml").write_text(text, encoding="utf-8")
    (tmp_path / "shop.csv").write_text(shop, encoding="utf-8")
    model = load(tmp_path)
    cp = cp_model.CpModel()
    unit, scale = 10**6, 10**7
    totals: dict[str, list[tuple[object, int]]] = {}
    objective = []
    for size in model.sizes.values():
        flags = []
        for option in options(model, size, last=False):
            flag = cp.new_bool_var("")
            value = option.value * unit
            assert value.denominator == 1
            flags.append(flag)
            totals.setdefault(size.id, []).append((flag, int(value)))
            objective.append(flag * round(option.cost * scale))
        cp.add_exactly_one(flags)
    for pair in model.pairs.values():
        outer, inner = names(pair.outer)[0], names(pair.inner)[0]
        gap = sum(flag * v for flag, v in totals[outer]) - sum(
            flag * v for flag, v in totals[inner]
        )
        assert pair.fit.lower is not None and pair.fit.upper is not None
        cp.add(gap >= int(pair.fit.lower * unit))
        cp.add(gap <= int(pair.fit.upper * unit))
    cp.minimize(sum(objective))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.max_time_in_seconds = 60
    status = solver.solve(cp)
    result = substitute(model, seconds=60, prices=False, ways_out=0)
    if status == cp_model.INFEASIBLE:
        assert result.status == "impossible"
    else:
        assert status == cp_model.OPTIMAL and result.status == "optimal"
        assert abs(float(result.cost) - solver.objective_value / scale) < len(model.sizes) / scale


# --- what it is for


def test_beats_rounding_each_size_alone(
    tmp_path_factory: pytest.TempPathFactory, capsys: pytest.CaptureFixture[str]
) -> None:
    """On the example and 100 random models: rounding alone fails pairs, the whole choice none."""
    table = []
    example = load(EXAMPLE)
    models = [("example", example)]
    for seed in range(100):
        model = read(tmp_path_factory.mktemp("m"), 7000 + seed, plain=True)
        if model is not None:
            models.append((str(seed), model))
    alone_total = whole_total = solved = 0
    for name, model in models:
        try:
            alone = len(check(model, "rounded").failures())
        except InputError:
            continue  # nothing serves a size
        result = substitute(model, seconds=20, prices=False, ways_out=0)
        if result.status != "optimal":
            continue
        whole = len(result.check.failures())
        solved += 1
        alone_total += alone
        whole_total += whole
        table.append(
            f"{name:8s} {len(model.sizes):4d} {alone:6d} {whole:6d} {float(result.cost):8.3f}"
        )
    with capsys.disabled():
        print("\nmodel    sizes  alone  whole     cost   (pairs and conditions that fail)")
        print("\n".join(table[:12]))
        print(f"{solved} models: {alone_total} fail with each size alone, {whole_total} as a whole")
    assert solved > 30
    assert whole_total == 0
    assert alone_total > 20


@settings(max_examples=40)
@given(seed=st.integers(0, 10**9))
def test_more_rows_and_fewer_pairs_never_cost_more(
    tmp_path_factory: pytest.TempPathFactory, seed: int
) -> None:
    """A larger catalogue never raises the cost; taking a pair away never raises it either.

    A pair kept by a last cut is left out: with it goes the finer step that its last cut allows.
    """
    model = read(tmp_path_factory.mktemp("m"), seed, plain=True)
    if model is None:
        return
    before = substitute(model, seconds=20, prices=False, ways_out=0)
    if before.status != "optimal":
        return
    more = [
        ShopRow(family, f"{float(v):g} mm", v, "", Place("shop.csv", 1))
        for family in FAMILIES.values()
        for v in SIZES
    ]
    known = {(row.family, row.size) for row in model.shop}
    larger = replace(
        model, shop=(*model.shop, *(r for r in more if (r.family, r.size) not in known))
    )
    assert substitute(larger, prices=False, ways_out=0).cost <= before.cost
    for name, pair in model.pairs.items():
        if pair.basis.kind is BasisKind.LAST_CUT:
            continue
        fewer = replace(model, pairs={k: p for k, p in model.pairs.items() if k != name})
        assert substitute(fewer, prices=False, ways_out=0).cost <= before.cost
