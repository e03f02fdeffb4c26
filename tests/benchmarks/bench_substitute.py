"""How long substitution takes, beside the bare solver on the same programmes.

    python tests/benchmarks/bench_substitute.py 2000 20000
    python tests/benchmarks/bench_substitute.py connected 20000
    python tests/benchmarks/bench_substitute.py change 20000
    python tests/benchmarks/bench_substitute.py threads 2000

Synthetic models of chains, pairs and bolted groups (invented data), 5 to 20 candidate rows a size.
For each count of sizes the whole of ``substitute`` is timed, with compiling, choosing and the exact
check; every programme that it hands to HiGHS is kept and run again by itself afterwards, in the
same order and with the same changes of objective. Their ratio is what the claim is about.
``connected``: all groups joined to one graph, within 60 s. ``change``: again after one changed size.
``threads``: the same programmes by two threads instead of one.
"""

from __future__ import annotations

import random
import resource
import sys
import threading
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from rows import row

from scaler.expressions import Length, parse_expression
from scaler.measures.scales import Scale
from scaler.problems import Place
from scaler.reading.grammar import parse_method
from scaler.records import (
    Basis,
    BasisKind,
    Condition,
    Fit,
    Kind,
    Model,
    Pair,
    Part,
    Service,
    ShopRow,
    Size,
    State,
)

HERE = Place("made_up.toml", 1)
SCALE = Scale(Fraction(1, 8), "1 : 8", "ratio", "1 : 8")


def size(identity: str, exact: Fraction, kind: Kind, rule: str) -> Size:
    """A drawn size whose exact size is as given."""
    part, _, name = identity.partition(".")
    methods = tuple(parse_method(text.strip(), HERE) for text in rule.split(";"))
    return Size(
        id=identity,
        part=part,
        name=name,
        title="",
        kind=kind,
        full=exact * 8,
        drawn="",
        drawn_as="",
        drawing=None,
        origin="drawn",
        uncertainty=None,
        rule=methods,
        limits=None,
        reach=None,
        weight=Fraction(1),
        standard="",
        equals=None,
        equals_text="",
        between=(None, None),
        datum="",
        state=State.NOT_MADE,
        made=None,
        instrument="",
        sheet_ratio=Fraction(1),
        place=HERE,
    )


def synthetic(count: int, seed: int = 1) -> Model:
    """A model of about ``count`` sizes: shafts in holes, chains of lengths, bolted groups."""
    random.seed(seed)
    sizes: dict[str, Size] = {}
    pairs: dict[str, Pair] = {}
    conditions: dict[str, Condition] = {}

    def drawn(identity: str, low: int, high: int, kind: Kind, rule: str) -> Fraction:
        exact = Fraction(random.randint(low * 100, high * 100), 100) + Fraction(1, 300)
        sizes[identity] = size(identity, exact, kind, rule)
        return exact

    def near(identity: str, exact: Fraction, kind: Kind, rule: str) -> None:
        sizes[identity] = size(identity, exact, kind, rule)

    def pair(name: str, inner: str, outer: str, low: str, high: str, last: str) -> None:
        basis = Basis(BasisKind.LAST_CUT, last) if last else Basis(BasisKind.BOTH_LIMITS)
        fit = Fit(f"{low} to {high}", Fraction(low), Fraction(high))
        pairs[name] = Pair(
            name,
            "",
            parse_expression(inner),
            parse_expression(outer),
            inner,
            outer,
            fit,
            basis,
            "",
            False,
            HERE,
        )

    def keep(name: str, text: str, low: str, high: str) -> None:
        conditions[name] = Condition(
            name,
            "",
            parse_expression(text),
            text,
            parse_expression(f"'{low} mm'"),
            parse_expression(f"'{high} mm'"),
            False,
            "length",
            Basis(BasisKind.BASIC_SIZE),
            "",
            "",
            False,
            HERE,
        )

    group = 0
    while len(sizes) < count:
        group += 1
        kind = random.random()
        g = f"g{group}"
        if kind < 0.45:  # a bar in a reamed or bored hole, the hole in a boss with a wall
            exact = drawn(f"{g}.pin", 4, 14, Kind.EXTERNAL, "ground bar")
            near(f"{g}.hole", exact + Fraction(1, 50), Kind.INTERNAL, "reamed; bored step 0.05 mm")
            near(f"{g}.boss", 2 * exact, Kind.LENGTH, "milled step 0.1 mm")
            pair(f"{g}_fit", f"{g}.pin", f"{g}.hole", "0.02", "0.08", f"{g}.hole")
            low = float(exact) - 0.6
            keep(f"{g}_wall", f"{g}.boss - {g}.hole", f"{low:.2f}", f"{low + 1.2:.2f}")
        elif kind < 0.75:  # a chain: lengths add up to an overall one
            links = random.randint(3, 5)
            total = Fraction(0)
            for number in range(links):
                rule = random.choice(["flat thickness", "milled step 0.1 mm", "plate"])
                high = 5 if rule == "plate" else 11
                total += drawn(f"{g}.n{number}", 2, high, Kind.LENGTH, rule)
            near(f"{g}.over", total + Fraction(1, 5), Kind.LENGTH, "milled step 0.1 mm")
            summed = " - ".join([f"{g}.over", *(f"{g}.n{n}" for n in range(links))])
            keep(f"{g}_sum", summed, "0.1", "0.3")
        else:  # a bolted group: thread, clearance hole, edge distance, plate
            exact = drawn(f"{g}.bolt", 2, 6, Kind.THREAD, "metric thread")
            near(f"{g}.hole", exact + Fraction(3, 10), Kind.INTERNAL, "drilled")
            near(
                f"{g}.edge", Fraction(8, 5) * exact, Kind.POSITION, "coordinate drilled step 0.1 mm"
            )
            drawn(f"{g}.plate", 2, 5, Kind.EXTERNAL, "plate")
            pair(f"{g}_clear", f"{g}.bolt", f"{g}.hole", "0.2", "0.5", "")
            keep(f"{g}_edge", f"{g}.edge - 1.5 * {g}.bolt", "0", "2")
            keep(f"{g}_web", f"{g}.edge - {g}.hole / 2 - {g}.plate / 4", "0.1", "9")
    parts = {
        name: Part(name, "", "", 1, Service.NONE, State.NOT_MADE, (), None, HERE)
        for name in dict.fromkeys(s.part for s in sizes.values())
    }
    return Model(
        folder=Path(),
        title="made up",
        scale=SCALE,
        governs="ratio",
        work_unit="mm",
        track="",
        track_gauge="",
        general_limits="ISO 2768-m",
        shop_only=False,
        drawings={},
        parts=parts,
        sizes=sizes,
        pairs=pairs,
        conditions=conditions,
        shop=_shop(),
        choices={},
        readings={},
        notes=(),
    )


def _shop() -> tuple[ShopRow, ...]:
    rows = [("flat thickness", f"{n} mm", Fraction(n)) for n in range(2, 13)]
    return tuple(ShopRow(family, name, value, "", HERE) for family, name, value in rows)


def connected(
    count: int, seed: int = 1, width: tuple[float, float] = (0.2, 1.0), rings: float = 0.1
) -> Model:
    """The same groups, every one joined to an earlier one near it by a window on the difference of
    two sizes cut to a step: one connected graph. ``rings``: the share of groups with a second
    such window, to any earlier group; ``width`` of the windows [mm]."""
    model = synthetic(count, seed)
    rnd = random.Random(seed + 99)
    ends: dict[str, Size] = {}
    for item in model.sizes.values():
        if item.name in ("boss", "over", "edge"):
            ends[item.part] = item
    groups = list(ends)
    conditions = dict(model.conditions)

    def join(one: Size, other: Size) -> None:
        wide = rnd.uniform(*width)
        apart = float((other.full or 0) - (one.full or 0)) / 8
        low = Fraction(f"{apart - wide * rnd.uniform(0.3, 0.7):.2f}")
        name, text = f"join_{len(conditions)}", f"{other.id} - {one.id}"
        conditions[name] = Condition(
            name,
            "",
            parse_expression(text),
            text,
            Length(low),
            Length(low + Fraction(f"{wide:.2f}")),
            False,
            "length",
            Basis(BasisKind.BASIC_SIZE),
            "",
            "",
            False,
            HERE,
        )

    for number in range(1, len(groups)):
        join(ends[groups[rnd.randrange(max(0, number - 8), number)]], ends[groups[number]])
        if rnd.random() < rings:
            join(ends[groups[rnd.randrange(number)]], ends[groups[number]])
    return replace(model, conditions=conditions)


class Kept:
    """The solver, keeping every programme and change that it is given."""

    def __init__(self) -> None:
        self.calls: list[tuple[str, tuple[Any, ...]]] = []

    def install(self) -> None:
        """Wraps the solver's door so that all calls are kept."""
        from scaler.substitution.solver import Solver

        kept = self.calls
        for name in ("load_arrays", "change_cost", "add_row", "add_column", "bound_column", "run"):
            plain = getattr(Solver, name)

            def wrapped(solver: Any, *args: Any, _plain: Any = plain, _name: str = name) -> Any:
                kept.append((_name, args))
                return _plain(solver, *args)

            setattr(Solver, name, wrapped)

    def replay(self) -> tuple[float, int]:
        """Seconds that the bare solver takes for the same calls, and how many runs."""
        from scaler.substitution.solver import Solver

        calls, self.calls[:] = list(self.calls), []
        solver = Solver()
        runs = 0
        began = time.process_time()
        for name, args in calls:
            getattr(Solver, name)(solver, *args)
            runs += name == "run"
        return time.process_time() - began, runs


def peak() -> float:
    """Most memory that this process has held so far [MiB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def whole_and_bare(counts: list[int]) -> None:
    """The whole of ``substitute`` beside the bare solver on the programmes that it made."""
    from scaler.substitution.substitute import substitute

    kept = Kept()
    kept.install()
    substitute(synthetic(60), prices=False)
    print("  sizes  pairs  status    whole s  bare s  ratio  runs  us/size  peak MiB")
    for count in counts:
        model = synthetic(count)
        kept.calls.clear()
        began = time.process_time()
        result = substitute(model, seconds=3600, prices=False)
        whole = time.process_time() - began
        bare, runs = kept.replay()
        bound = 1.5 if count < 20_000 else 1.3
        what = f"substitute, {len(model.sizes):,} sizes"
        row(what, whole, bare, "bare solver, all its runs", bound)
        print(
            f"{len(model.sizes):7d} {len(model.pairs) + len(model.conditions):6d}  "
            f"{result.status:9s} {whole:7.2f} {bare:7.2f} {whole / bare:6.2f} {runs:5d} "
            f"{whole / len(model.sizes) * 1e6:8.0f} {peak():8.0f}",
            flush=True,
        )


def one_graph(counts: list[int]) -> None:
    """One connected graph in 60 s: how it ends, and with which gap."""
    from scaler.substitution.substitute import substitute

    print("  sizes  pairs  status     gap %   wall s  process s  peak MiB  pieces")
    for count in counts:
        model = connected(count)
        wall, began = time.perf_counter(), time.process_time()
        result = substitute(model, seconds=60, prices=False)
        used, wall = time.process_time() - began, time.perf_counter() - wall
        gap = "-" if result.gap is None else f"{float(result.gap) * 100:.4f}"
        if result.status in ("optimal", "feasible"):
            what = f"gap of one graph of {len(model.sizes):,} sizes after 60 s"
            row(what, float(result.gap or 0) * 100, 0.1, "limit", 1, "%")
        pieces = next((note for note in result.notes if "pieces" in note), "").partition(": ")[2]
        print(
            f"{len(model.sizes):7d} {len(model.pairs) + len(model.conditions):6d}  "
            f"{result.status:9s} {gap:>7s} {wall:8.2f} {used:10.2f} {peak():9.0f}  {pieces}",
            flush=True,
        )


def one_change(counts: list[int]) -> None:
    """Choosing again after one changed size, beside choosing for the whole: twenty sizes in turn."""
    from scaler.substitution.substituter import Substituter

    print("  sizes  whole s  one change s: median     most  whole / most")
    for count in counts:
        model = synthetic(count)
        began = time.process_time()
        choice = Substituter(model, seconds=3600)
        whole = time.process_time() - began
        rnd, spent = random.Random(1), []
        for name in rnd.sample(list(model.sizes), 20):
            full = model.sizes[name].full
            assert full is not None
            began = time.process_time()
            choice.change(name, full=full * Fraction(rnd.choice([97, 98, 102, 103]), 100))
            spent.append(time.process_time() - began)
        spent.sort()
        what = f"one changed size of {len(model.sizes):,}, slowest of {len(spent)}"
        row(what, spent[-1], whole, "choosing for the whole", 1 / 100)
        print(
            f"{len(model.sizes):7d} {whole:8.2f} {spent[10]:21.4f} {spent[-1]:8.4f} "
            f"{whole / spent[-1]:13.0f}",
            flush=True,
        )


def two_cores(counts: list[int]) -> None:
    """The same programmes by one thread and by two, each with a solver of its own: wall time."""
    from scaler.substitution.solver import Solver
    from scaler.substitution.substitute import substitute

    kept = Kept()
    kept.install()

    def run(calls: list[tuple[str, tuple[Any, ...]]]) -> None:
        solver = Solver()
        for name, args in calls:
            getattr(Solver, name)(solver, *args)

    print("  sizes  one thread s  two threads s  gain  (wall; a quiet machine is needed)")
    for count in counts:
        kept.calls.clear()
        substitute(synthetic(count), seconds=3600, prices=False)
        calls, halves, number = list(kept.calls), ([], []), 0
        for call in calls:
            number += call[0] == "load_arrays"
            halves[number % 2].append(call)
        began = time.perf_counter()
        run(calls)
        one = time.perf_counter() - began
        threads = [threading.Thread(target=run, args=(half,)) for half in halves]
        began = time.perf_counter()
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        two = time.perf_counter() - began
        print(f"{count:7d} {one:13.2f} {two:14.2f} {one / two:5.2f}", flush=True)


WHAT = {"connected": one_graph, "change": one_change, "threads": two_cores}


def main(words: list[str]) -> None:
    """One table: of what the first word says, else of the whole beside the bare solver."""
    what = WHAT.get(words[0]) if words else None
    counts = [int(text) for text in (words[1:] if what else words)]
    (what or whole_and_bare)(counts or [500, 2000])


if __name__ == "__main__":
    main(sys.argv[1:])
