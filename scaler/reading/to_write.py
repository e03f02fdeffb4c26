"""What a person is told to write into a model for a way out: one line of a file, and where."""

from __future__ import annotations

from fractions import Fraction

from scaler.expressions.nodes import decimal_text
from scaler.measures.spoken import INCH
from scaler.reading.options import length_text
from scaler.records import Basis, Bounds, Condition, Option, Pair, Size


def option_line(option: Option, unit: str) -> str:
    """For an option to be used, as its ``use`` says."""
    assert option.use is not None
    use = f'"{length_line(option.use, unit)}"' if option.rule else "true"
    return f"use = {use} under [option.{option.id}] ({option.place})"


def reach_line(size: Size, reach: Fraction, unit: str) -> str:
    """For a size to depart so far from scale [mm]."""
    return f'reach = "{length_line(reach, unit)}" for {size.id} ({size.place})'


def rule_line(size: Size, method: str) -> str:
    """For a size to be got by another method, where those of its rule do not serve."""
    return f'"{method}" last in the rule of {size.id} ({size.place})'


def basis_line(what: str, item: Pair | Condition, basis: Basis) -> str:
    """For a pair or condition to be kept on another basis."""
    return f'basis = "{basis}" under [{what}.{item.id}] ({item.place})'


def fit_line(pair: Pair, fit: str) -> str:
    """For a pair to have another fit, as a model file says it."""
    return f'fit = "{fit}" under [pair.{pair.id}] ({pair.place})'


def window_line(window: Bounds, unit: str) -> str:
    """A window of clearance as a model file says it."""
    lower, upper = (None if end is None else length_line(end, unit) for end in window)
    if lower is None or upper is None:
        return f"at most {upper}" if lower is None else f"at least {lower}"
    return f"{lower} to {upper}"


def length_line(value: Fraction, unit: str) -> str:
    """A length that may carry a sign, as a model file says it, exactly: in the workshop's unit
    (mm or in) where it comes to a decimal there, else in mm."""
    sign, plain = "-" if value < 0 else "", abs(value)
    inch = decimal_text(plain / INCH) if unit == "in" else None
    return f"{sign}{inch} in" if inch is not None else f"{sign}{length_text(plain)}"
