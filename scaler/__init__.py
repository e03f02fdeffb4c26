"""Scale-model prototype reduction and dimensioning.

``model = scaler.load(path)`` reads a model folder; ``scaler.reduce(model)`` gives every size,
``scaler.check(model)`` every pair and condition with its verdict, ``scaler.substitute(model)`` the
best choice for the whole of it (``scaler.write_choices`` records it), ``scaler.explain(model, size)``
where a number comes from. ``scaler.chain``, ``fits`` and ``allocate`` look at what must fit,
``scaler.Workbench``, ``measured`` and ``record`` at what comes out, ``scaler.making_order``,
``materials`` and ``make_cards`` at what is to be done, ``scaler.look_up`` into the catalogues.
Results are frozen records with ``frame()`` for pandas and ``as_dict()`` for scripts. Lengths are
exact fractions of a millimetre. What cannot be used is an ``InputError``; its ``problems`` say where,
what was read, what was expected and what to do. A text that is no length, scale or quantity by
itself is a ``ValueError``.

Rooms: problems, records, catalogue, report, tables and lookup stand here; measures, expressions,
reading, trade, settling, checking, fitting, chains, substitution, as_made, cards and desk are
packages of their own, each with a line on what it holds.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scaler.as_made.making_order import making_order
    from scaler.as_made.measuring import Workbench, measured
    from scaler.as_made.record import record, take_back
    from scaler.cards.cards import card_pages, make_cards
    from scaler.chains.allocation import allocate
    from scaler.chains.chain import chain, chain_of
    from scaler.chains.records import Chain
    from scaler.checking.conflicts import CheckResult, check
    from scaler.checking.explaining import Explanation, explain
    from scaler.checking.workability import workability
    from scaler.desk.materials_list import materials
    from scaler.fitting.fit_report import fits
    from scaler.lookup import look_up
    from scaler.measures.lengths import Length, parse_length
    from scaler.measures.quantities import ScaledQuantity, scale_quantity
    from scaler.measures.scales import Scale, parse_scale, scale_from_gauges
    from scaler.problems import InputError, Problem
    from scaler.reading.loading import load
    from scaler.records import Model, Stage, Verdict
    from scaler.settling.reduce import Reduction, reduce
    from scaler.substitution.records import Substitution
    from scaler.substitution.substitute import substitute
    from scaler.substitution.substituter import Substituter
    from scaler.substitution.sweep import sweep
    from scaler.substitution.write import write_choices


__version__ = "0.1.0"

_HOMES = {
    "Chain": "chains.records",
    "CheckResult": "checking.conflicts",
    "Explanation": "checking.explaining",
    "InputError": "problems",
    "Length": "measures.lengths",
    "Model": "records",
    "Problem": "problems",
    "Reduction": "settling.reduce",
    "Scale": "measures.scales",
    "ScaledQuantity": "measures.quantities",
    "Stage": "records",
    "Substituter": "substitution.substituter",
    "Substitution": "substitution.records",
    "Verdict": "records",
    "Workbench": "as_made.measuring",
    "allocate": "chains.allocation",
    "card_pages": "cards.cards",
    "chain": "chains.chain",
    "chain_of": "chains.chain",
    "check": "checking.conflicts",
    "explain": "checking.explaining",
    "fits": "fitting.fit_report",
    "load": "reading.loading",
    "look_up": "lookup",
    "make_cards": "cards.cards",
    "making_order": "as_made.making_order",
    "materials": "desk.materials_list",
    "measured": "as_made.measuring",
    "parse_length": "measures.lengths",
    "parse_scale": "measures.scales",
    "record": "as_made.record",
    "reduce": "settling.reduce",
    "scale_from_gauges": "measures.scales",
    "scale_quantity": "measures.quantities",
    "substitute": "substitution.substitute",
    "sweep": "substitution.sweep",
    "take_back": "as_made.record",
    "workability": "checking.workability",
    "write_choices": "substitution.write",
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
    "Substituter",
    "Substitution",
    "Verdict",
    "Workbench",
    "__version__",
    "allocate",
    "card_pages",
    "chain",
    "chain_of",
    "check",
    "explain",
    "fits",
    "load",
    "look_up",
    "make_cards",
    "making_order",
    "materials",
    "measured",
    "parse_length",
    "parse_scale",
    "record",
    "reduce",
    "scale_from_gauges",
    "scale_quantity",
    "substitute",
    "sweep",
    "take_back",
    "workability",
    "write_choices",
]


def __getattr__(name: str) -> Any:
    """Public names are looked up when first used, so that importing scaler costs next to nothing."""
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module 'scaler' has no attribute {name!r}")
    value = getattr(import_module(f"scaler.{home}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return list(__all__)
