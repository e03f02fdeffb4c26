"""Scale-model prototype reduction and dimensioning.

``model = scaler.load(path)`` reads a model folder; ``scaler.reduce(model)`` gives every size,
``scaler.check(model)`` every pair and condition with its verdict, ``scaler.explain(model, size)``
where a number comes from. Results are frozen records with ``frame()`` for pandas and ``as_dict()``
for scripts. Lengths are exact fractions of a millimetre.

Rooms: problems, lengths, scales, quantities; records, reading (files, entries, grammar, logs,
crosscheck), expressions; catalogue (threads, designations, iso286, trade_fits); reduce, settle,
solve, graph; check, limits, last_cut, conflicts, cautions; report.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scaler.chain_allocation import allocate
    from scaler.chain_records import Chain
    from scaler.chains import chain, chain_of
    from scaler.conflicts import CheckResult, check
    from scaler.explaining import Explanation, explain
    from scaler.lengths import Length, parse_length
    from scaler.problems import InputError, Problem
    from scaler.quantities import ScaledQuantity, scale_quantity
    from scaler.reading import load
    from scaler.records import Model, Stage, Verdict
    from scaler.reduce import Reduction, reduce
    from scaler.scales import Scale, parse_scale, scale_from_gauges

__version__ = "0.1.0"

_HOMES = {
    "CheckResult": "conflicts",
    "Explanation": "explaining",
    "InputError": "problems",
    "Length": "lengths",
    "Model": "records",
    "Problem": "problems",
    "Reduction": "reduce",
    "Scale": "scales",
    "ScaledQuantity": "quantities",
    "Stage": "records",
    "Verdict": "records",
    "Chain": "chain_records",
    "allocate": "chain_allocation",
    "chain": "chains",
    "chain_of": "chains",
    "check": "conflicts",
    "explain": "explaining",
    "load": "reading",
    "parse_length": "lengths",
    "parse_scale": "scales",
    "reduce": "reduce",
    "scale_from_gauges": "scales",
    "scale_quantity": "quantities",
}
__all__ = [
    "Chain",
    "CheckResult",
    "Explanation",
    "InputError",
    "Length",
    "Model",
    "Problem",
    "Reduction",
    "Scale",
    "ScaledQuantity",
    "Stage",
    "Verdict",
    "__version__",
    "allocate",
    "chain",
    "chain_of",
    "check",
    "explain",
    "load",
    "parse_length",
    "parse_scale",
    "reduce",
    "scale_from_gauges",
    "scale_quantity",
]


def __getattr__(name: str) -> Any:
    """Public names are looked up when first used, so that importing scaler costs next to nothing."""
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'scaler' has no attribute {name!r}")
    value = getattr(import_module(f"scaler.{home}"), name)
    globals()[name] = value
    return value


class _Package(ModuleType):
    """Keeps the public functions check and reduce from being hidden by modules of their names."""

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in _HOMES and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Package


def __dir__() -> list[str]:
    return list(__all__)
