"""Each size rounded alone against the choice for the whole model: fits broken, and departures.

    python tests/benchmarks/nearest_alone.py

The two shipped examples and 100 random models (all invented; see ``bench_substitute.py``). For each,
every pair and condition is judged by the same check twice: with every size at its own nearest row
or step, at basic sizes; and with the whole-model choice, each on its basis. What has no choice that
holds everything is counted and left out of the figures.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from bench_substitute import synthetic

import scaler.examples
from scaler.checking.conflicts import CheckResult, check
from scaler.records import Model
from scaler.settling.settle import exact_size
from scaler.settling.solve import middle
from scaler.substitution.compile import compile_model
from scaler.substitution.compiled import Compiled
from scaler.substitution.substitute import substitute
from scaler.substitution.verify import departure_cost

MODELS, SIZES = 100, 30
HEAD = "model                   sizes   fits  |  broken   departure   cost  |  broken   departure   cost"
OVER = (
    "                                      |   each size rounded alone   |   chosen for the whole"
)


@dataclass(frozen=True)
class Figures:
    """What one way of rounding comes to; ``away`` is the sum of |departure| over the drawn sizes."""

    broken: int
    away: Fraction
    cost: Fraction

    def text(self, sizes: int, times: int = 1) -> str:
        """Broken, mean departure [mm], cost (of one model)."""
        mean = float(self.away / sizes)
        return f"{self.broken:6d}   {mean:6.3f} mm {float(self.cost / times):6.2f}"


def figures(compiled: Compiled, result: CheckResult) -> Figures:
    """The figures of a model as checked."""
    model = compiled.model
    settlement = result.reduction.settlement
    away = Fraction(0)
    for name, settled in settlement.results.items():
        exact = exact_size(model.sizes[name], model.ratio)
        if exact is not None:
            away += abs(middle(settled.value) - exact)
    return Figures(len(result.failures()), away, departure_cost(compiled.model, settlement))


def both(model: Model) -> tuple[Figures, Figures] | None:
    """Each size alone, and the whole; None where no choice holds everything."""
    result = substitute(model, prices=False, ways_out=0)
    if result.status != "optimal":
        return None
    compiled = compile_model(model)
    return figures(compiled, check(model, "rounded")), figures(compiled, result.check)


def line(name: str, sizes: int, fits: int, alone: Figures, whole: Figures, times: int = 1) -> str:
    """One line of the table."""
    drawn = max(1, sizes)
    return (
        f"{name:22s} {sizes // times:6d} {fits // times:6d}  |  "
        f"{alone.text(drawn, times)}  |  {whole.text(drawn, times)}"
    )


def drawn_sizes(model: Model) -> int:
    """How many sizes are drawn."""
    return sum(1 for size in model.sizes.values() if size.full is not None)


def table() -> str:
    """The whole table."""
    lines = [OVER, HEAD]
    for title, name in (("starter model", "starter"), ("shipped example", "pattern_d")):
        model = scaler.examples.load(name)
        found = both(model)
        if found is not None:
            fits = len(model.pairs) + len(model.conditions)
            lines.append(line(title, drawn_sizes(model), fits, *found))
    alone, whole, sizes, fits, shares = [], [], 0, 0, []
    for seed in range(1, MODELS + 1):
        model = synthetic(SIZES, seed)
        found = both(model)
        if found is None:
            continue
        own = len(model.pairs) + len(model.conditions)
        alone.append(found[0])
        whole.append(found[1])
        sizes, fits = sizes + drawn_sizes(model), fits + own
        shares.append(Fraction(found[0].broken, own))
    sums = [
        Figures(
            sum(item.broken for item in items),
            sum((item.away for item in items), Fraction(0)),
            sum((item.cost for item in items), Fraction(0)),
        )
        for items in (alone, whole)
    ]
    title = f"{len(alone)} random, one of them"
    lines.append(line(title, sizes, fits, *sums, times=len(alone)))
    low, high, share = float(min(shares)), float(max(shares)), sums[0].broken / fits
    lines += [
        "",
        f"broken: pairs and conditions that fail, for the random models all {fits} together ({share:.0%}",
        f"of them, rounded alone; from {low:.0%} to {high:.0%} in one model). departure: mean of a drawn",
        "size. cost: weight x departure / reach, summed over the drawn sizes of a model.",
    ]
    if len(alone) < MODELS:
        left = MODELS - len(alone)
        lines.append(f"{left} more random models have no choice that holds everything")
    return "\n".join(lines)


if __name__ == "__main__":
    print(table())
