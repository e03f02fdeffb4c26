"""Least cost by Lagrange multipliers, and by choosing whole processes exactly."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from scaler.chains.costs import Curve, Option
from scaler.expressions.intervals import Value, power
from scaler.problems import InputError, Problem

ZERO = Fraction(0)
MOST_STATES = 50_000
SHARES = 20_000
"""Where there are too many states, room is counted in so many shares, rounded up: safe, not exact."""


@dataclass(frozen=True, slots=True)
class Room:
    """The room there is, in powers p of the tolerance, and the weight of each size to share it."""

    size: Fraction
    power: int
    weights: Mapping[str, Fraction]


def proportional(tolerances: Mapping[str, Fraction], room: Room) -> dict[str, Value]:
    """All tolerances times the one factor that uses all the room."""
    used = sum((room.weights[n] * value**room.power for n, value in tolerances.items()), ZERO)
    factor = power(room.size / used, Fraction(1, room.power))
    return {name: factor * value for name, value in tolerances.items()}


def least_cost(
    free: Iterable[str], curves: Mapping[str, Curve], room: Room, what: str
) -> tuple[dict[str, Value], str]:
    """Tolerances of least cost [mm]: closed where all that is free has one exponent.

    Raises InputError where even the finest of all processes are too coarse together.
    """
    free = tuple(free)
    finest = sum((room.weights[n] * curves[n].finest ** room.power for n in free), ZERO)
    if finest > room.size:
        names = ", ".join(f"{n} ({curves[n].process or 'its process'})" for n in free)
        raise InputError(
            [
                Problem(
                    "cannot-allocate",
                    f"no tolerances keep {what} inside its closing limits: even the finest that "
                    "these processes hold are too coarse",
                    read=names,
                    expected="finer processes, or a wider window",
                    advice="cut one size last to the others as they come out",
                )
            ]
        )
    multiplier, at_end = _multiplier(free, curves, room)
    found: dict[str, Value] = {}
    left = room.size
    for name, end in at_end.items():
        coarsest = curves[name].coarsest
        found[name] = curves[name].finest if end == "finest" or coarsest is None else coarsest
        left -= room.weights[name] * _exact(found[name]) ** room.power
    inner = [name for name in free if name not in at_end]
    exponents = {curves[name].exponent for name in inner}
    if not inner:
        return found, "every size at an end of what its process holds"
    if len(exponents) == 1 and curves[inner[0]].simple:
        found |= _closed(inner, curves, room, left, exponents.pop())
        return found, "Lagrange multiplier, closed form"
    for name in inner:
        value = Fraction(_at(curves[name], float(room.weights[name]), room.power, multiplier))
        found[name] = value * (1 - Fraction(1, 10**9))
    return found, "Lagrange multiplier, found by halving"


def _exact(value: Value) -> Fraction:
    return value if isinstance(value, Fraction) else value.lower


def _closed(
    inner: list[str],
    curves: Mapping[str, Curve],
    room: Room,
    left: Fraction,
    exponent: Fraction,
) -> dict[str, Value]:
    if len(inner) == 1:  # all the room is its own, whatever it costs
        return {inner[0]: power(left / room.weights[inner[0]], Fraction(1, room.power))}
    parts: dict[str, Value] = {}
    used: Value = ZERO
    for name in inner:
        curve = curves[name]
        steep = curve.work * power(curve.per, exponent) / room.weights[name]
        parts[name] = power(steep, 1 / (exponent + room.power))
        used = used + room.weights[name] * power(parts[name], Fraction(room.power))
    factor = power(left / used, Fraction(1, room.power))
    return {name: factor * part for name, part in parts.items()}


def _at(curve: Curve, weight: float, degree: int, multiplier: float) -> float:
    """The tolerance at which cost falls as fast as the multiplier allows."""
    k = float(curve.exponent)
    slope = k * float(curve.work) * float(curve.per) ** k
    return float((slope / (multiplier * degree * weight)) ** (1.0 / (k + degree)))


def _multiplier(
    free: Sequence[str], curves: Mapping[str, Curve], room: Room
) -> tuple[float, dict[str, str]]:
    """The Lagrange multiplier (by halving its logarithm), and the sizes at an end of their process.

    What the tolerances use falls as the multiplier rises, so there is one that uses all the room.
    """
    size = float(room.size)

    def ends(multiplier: float) -> tuple[float, dict[str, str]]:
        used, held = 0.0, {}
        for name in free:
            curve, weight = curves[name], float(room.weights[name])
            value = _at(curve, weight, room.power, multiplier)
            if value < float(curve.finest):
                held[name], value = "finest", float(curve.finest)
            elif curve.coarsest is not None and value > float(curve.coarsest):
                held[name], value = "coarsest", float(curve.coarsest)
            used += weight * value**room.power
        return used, held

    low, high = -300.0, 300.0
    for _ in range(200):
        centre = (low + high) / 2
        if ends(math.exp(centre))[0] > size:
            low = centre
        else:
            high = centre
    return math.exp(high), ends(math.exp(high))[1]


@dataclass(frozen=True, slots=True)
class _State:
    """A choice for the sizes so far: what it uses, what it costs, and how it came about."""

    used: Fraction
    cost: Fraction
    before: _State | None = None
    option: Option | None = None


def cheapest(
    options: Mapping[str, Sequence[Option]], room: Room, what: str
) -> tuple[dict[str, Option], bool]:
    """The cheapest option for every size that keeps within the room, and whether that is proved.

    Size by size, every choice so far is kept that no other beats in both room and cost. Exact
    unless more than 50,000 are left; then room is counted in 20,000 shares, rounded up.
    Raises InputError where even the finest options do not fit.
    """
    states = [_State(ZERO, ZERO)]
    exact = True
    least = {
        name: min(room.weights[name] * o.tolerance**room.power for o in options[name])
        for name in options
    }
    rest = sum(least.values(), ZERO)
    for name in options:
        rest -= least[name]
        grown = [
            _State(used, state.cost + option.cost, state, option)
            for state in states
            for option in options[name]
            if (used := state.used + room.weights[name] * option.tolerance**room.power) + rest
            <= room.size
        ]
        states = _unbeaten(grown)
        if len(states) > MOST_STATES:
            exact = False
            share = room.size / SHARES
            rounded = [
                _State(-(-s.used // share) * share, s.cost, s.before, s.option) for s in states
            ]
            kept = _unbeaten([s for s in rounded if s.used + rest <= room.size])
            states = kept or states[:1]
    if not states:
        raise InputError(
            [
                Problem(
                    "cannot-allocate",
                    f"no choice of processes keeps {what} inside its closing limits: even the "
                    "finest are too coarse",
                    read=", ".join(options),
                    expected="finer processes, or a wider window",
                    advice="cut one size last to the others as they come out",
                )
            ]
        )
    best = min(states, key=lambda state: (state.cost, state.used))
    found: dict[str, Option] = {}
    for name in reversed(list(options)):
        assert best.option is not None and best.before is not None
        found[name] = best.option
        best = best.before
    return dict(reversed(found.items())), exact


def _unbeaten(states: Sequence[_State]) -> list[_State]:
    """The states that no other beats: cheaper the more room they use."""
    kept: list[_State] = []
    for state in sorted(states, key=lambda s: (s.used, s.cost)):
        if not kept or state.cost < kept[-1].cost:
            kept.append(state)
    return kept
