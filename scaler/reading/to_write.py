"""What a person is told to write into a model for a way out: one line of a file, and where."""

from __future__ import annotations

from fractions import Fraction

from scaler.reading.options import length_text
from scaler.records import Basis, Bounds, Condition, Option, Pair, Size


def option_line(option: Option) -> str:
    """For an option to be used, as its ``use`` says."""
    assert option.use is not None
    use = f'"{length_text(option.use)}"' if option.rule else "true"
    return f"use = {use} under [option.{option.id}] ({option.place})"


def reach_line(size: Size, reach: Fraction) -> str:
    """For a size to depart so far from scale [mm]."""
    return f'reach = "{float(reach):g} mm" for {size.id} ({size.place})'


def rule_line(size: Size, method: str) -> str:
    """For a size to be got by another method, where those of its rule do not serve."""
    return f'"{method}" last in the rule of {size.id} ({size.place})'


def basis_line(what: str, item: Pair | Condition, basis: Basis) -> str:
    """For a pair or condition to be kept on another basis."""
    return f'basis = "{basis}" under [{what}.{item.id}] ({item.place})'


def fit_line(pair: Pair, fit: str) -> str:
    """For a pair to have another fit, as a model file says it."""
    return f'fit = "{fit}" under [pair.{pair.id}] ({pair.place})'


def window_said(window: Bounds) -> str:
    """A window of clearance as a model file says it."""
    lower, upper = (None if end is None else length_said(end) for end in window)
    if lower is None or upper is None:
        return f"at most {upper}" if lower is None else f"at least {lower}"
    return f"{lower} to {upper}"


def length_said(value: Fraction) -> str:
    """A length that may carry a sign, as a model file says it."""
    return f"{'-' if value < 0 else ''}{length_text(abs(value))}"
