"""A substitution as plain keys and values for scripts."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from scaler.report import check_dict
from scaler.substitution.records import choice_dict

if TYPE_CHECKING:
    from scaler.checking.conflicts import Member
    from scaler.substitution.records import (
        Alternative,
        Price,
        Substitution,
        SubstitutionConflict,
        Together,
        WayOut,
    )


def substitution_dict(result: Substitution) -> dict[str, Any]:
    """The keys of a check of the chosen model, and those of the substitution beside them."""
    plain = check_dict(result.check)
    if result.conflicts:
        plain["conflicts"] = [conflict_dict(conflict) for conflict in result.conflicts]
    return {
        **plain,
        "exit": result.exit_status(),
        "status": result.status,
        "gap": None if result.gap is None else float(result.gap),
        "cost": None if result.status in ("impossible", "unknown") else float(result.cost),
        "cost_rational": None
        if result.status in ("impossible", "unknown")
        else f"{result.cost.numerator}/{result.cost.denominator}",
        "bound": float(result.bound),
        "levels": [
            {"name": level.name, "meaning": level.meaning, "reached": float(level.reached)}
            for level in result.levels
        ],
        "choices": [choice_dict(choice) for choice in result.choices],
        "ways_out_together": [together_dict(item) for item in result.together],
        "alternatives": [alternative_dict(item) for item in result.alternatives],
        "prices": [price_dict(item) for item in result.prices],
        "doubtful": dict(result.doubtful),
        "proof": list(result.notes),
    }


def member_dict(member: Member) -> dict[str, Any]:
    """A member of a conflict: its words and its place."""
    return {"text": member.text, "file": member.place.file, "line": member.place.line}


def conflict_dict(conflict: SubstitutionConflict) -> dict[str, Any]:
    """A conflict by the contract for scripts."""
    return {
        "members": [member_dict(member) for member in conflict.members],
        "text": conflict.text,
        "smallest": conflict.reduced,
        "ways_out": [way_dict(way) for way in conflict.ways_out],
        "tried": conflict.tried or None,
    }


def way_dict(way: WayOut) -> dict[str, Any]:
    """A way out by the contract for scripts."""
    return {
        "changes": list(way.changes),
        "gives_up": list(way.gives_up),
        "made_again": list(way.lost),
        "cost": float(way.cost),
        "price": float(way.price),
        "write": [text or None for text in way.write],
        "conflicts_left": way.left,
        "cautions": list(way.cautions),
    }


def together_dict(item: Together) -> dict[str, Any]:
    """Ways out of several conflicts at once, for scripts; the conflicts counted from 1."""
    return {
        "conflicts": list(item.conflicts),
        "ways_out": [way_dict(way) for way in item.ways_out],
        "tried": item.tried or None,
    }


def alternative_dict(item: Alternative) -> dict[str, Any]:
    """An alternative for scripts: cost, how much more than the best, and what differs."""
    return {
        "cost": float(item.cost),
        "more": float(item.more),
        "changes": [choice_dict(choice) for choice in item.changes],
    }


def price_dict(item: Price) -> dict[str, Any]:
    """The price of a requirement for scripts."""
    return {
        "statement": item.statement,
        "text": item.text,
        "price": float(item.price),
        "exact": item.exact,
    }
