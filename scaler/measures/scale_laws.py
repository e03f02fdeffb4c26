"""The laws by which quantities follow the scale: which power of k each dimension takes, and why.

k is the model's length over the full-size length. Geometry and equal density fix the laws of
shapes and weights; those of moving things also keep gravity, and so the Froude number (speed² over
gravity and length). With all three kept, a quantity of mass^a length^b time^c goes as
k^(3a + b + c/2). Pressure and stress have no law of their own: the builder chooses the working
pressure, so the caller must say which law is meant.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import isqrt

Dimension = tuple[int, int, int]
"""Powers of mass, length and time."""

PRESSURE: Dimension = (1, -1, -2)
PRESSURE_CAUTION = (
    "Scaling never settles a wall, stay or joint that holds pressure: that is for the code in "
    "force and the inspecting body, whatever law is used here."
)
SPRING_CAUTION = "A working spring is designed from the load it carries, not reduced."
_ROOT_SCALE = 10**40

_SOURCES = {
    "geometry": "geometry; square-cube law, Galileo, Two New Sciences, 1638 (second-hand)",
    "Froude": "Froude's law of comparison, in Introduction to Naval Architecture, p. 176 (copy)",
    "chosen": "common practice",
}
# quantity | mass length time | name of the law | power of k | in words | source
# A source of another word is a derivation; one that ends in + also rests on Froude's law.
_LINES = """
angle or count | 0 0 0 | geometry | 0 | the same in a similar model | geometry
length | 0 1 0 | geometry | 1 | every length alike | geometry
area | 0 2 0 | geometry | 2 | length times length | geometry
volume | 0 3 0 | geometry | 3 | length three times | geometry
second moment of area | 0 4 0 | geometry | 4 | area times length² | area times length²
mass | 1 0 0 | equal density | 3 | the same material throughout | geometry
density | 1 -3 0 | equal density | 0 | the same material | mass over volume
mass per length | 1 -1 0 | equal density | 2 | the same material throughout | mass over length
moment of inertia | 1 2 0 | equal density | 5 | the same material throughout | mass times length²
speed | 0 1 -1 | equal Froude number | 1/2 | equal Froude number | Froude
time | 0 0 1 | equal Froude number | 1/2 | equal Froude number | length over speed +
frequency | 0 0 -1 | equal Froude number | -1/2 | equal Froude number | one over time +
acceleration | 0 1 -2 | equal Froude number | 0 | the same gravity | speed over time +
flow | 0 3 -1 | equal Froude number | 5/2 | equal Froude number | volume over time +
mass flow | 1 0 -1 | equal density and gravity | 5/2 | equal density and gravity | mass over time +
force or weight | 1 1 -2 | equal density and gravity | 3 | equal density and gravity | Froude
force or weight | 1 1 -2 | same pressure | 2 | the same pressure on the area | pressure times area
energy, torque or moment | 1 2 -2 | equal density and gravity | 4 | equal density and gravity | force times length +
energy, torque or moment | 1 2 -2 | same pressure | 3 | the same pressure on the area | pressure times area times length
power | 1 2 -3 | equal density and gravity | 7/2 | equal density and gravity | force times speed +
spring rate | 1 0 -2 | equal density and gravity | 2 | equal density and gravity | force over length +
pressure or stress | 1 -1 -2 | same pressure | 0 | as in full size: chosen, not scaled | chosen
pressure or stress | 1 -1 -2 | equal density and gravity | 1 | what similar weights and heads of liquid bring about | force over area +
"""


@dataclass(frozen=True, slots=True)
class Law:
    """One law: its name, the power of k, why in plain words, and where it is stated."""

    name: str
    exponent: Fraction
    words: str
    source: str

    def sentence(self, quantity: str) -> str:
        """The law in words: ``mass: k³, the same material throughout``."""
        return f"{quantity}: {power_text(self.exponent)}, {self.words}"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity: its name, its laws (the first is the default), a caution or ''."""

    name: str
    laws: tuple[Law, ...]
    caution: str

    def find(self, name: str) -> Law | None:
        """The law of that name (letter case does not matter), or None."""
        wanted = name.strip().lower()
        return next((law for law in self.laws if law.name.lower() == wanted), None)


def power_text(exponent: Fraction) -> str:
    """The power of k as written in the trade: ``k``, ``k³``, ``k^7/2``, ``k^0``."""
    raised = {1: "", 2: "²", 3: "³", 4: "⁴", 5: "⁵"}
    return "k" + raised[int(exponent)] if exponent in raised else f"k^{exponent}"


def _source(word: str) -> str:
    if word in _SOURCES:
        return _SOURCES[word]
    derived = f"derived: {word.removesuffix(' +')}"
    return f"{derived}; {_SOURCES['Froude']}" if word.endswith("+") else derived


def _kinds() -> dict[Dimension, Kind]:
    kinds: dict[Dimension, Kind] = {}
    for line in _LINES.strip().splitlines():
        name, powers, law, exponent, words, source = (cell.strip() for cell in line.split("|"))
        mass, length, time = (int(power) for power in powers.split())
        made = Law(law, Fraction(exponent), words, _source(source))
        before = kinds.get((mass, length, time))
        caution = {PRESSURE: PRESSURE_CAUTION, (1, 0, -2): SPRING_CAUTION}
        kinds[mass, length, time] = Kind(
            name,
            (*(before.laws if before else ()), made),
            caution.get((mass, length, time), ""),
        )
    return kinds


KINDS = _kinds()
"""The kinds of quantity whose law is known, by dimension."""


def power_bounds(ratio: Fraction, exponent: Fraction) -> tuple[Fraction, Fraction]:
    """Lower and upper bound of ratio^exponent, equal where it is rational.

    The exponent is a whole number of halves; ValueError for any other. The root of n/d is
    √(n·d)/d, and the whole-number root of n·d·10⁸⁰ falls short by less than 1, so the bounds differ
    by less than 1 part in 10⁴⁰.

    >>> power_bounds(Fraction(1, 16), Fraction(7, 2))
    (Fraction(1, 16384), Fraction(1, 16384))
    """
    if exponent.denominator not in (1, 2) or ratio <= 0:
        raise ValueError(f"a positive ratio and a power in halves are wanted, not {exponent}")
    if exponent.denominator == 1:
        exact: Fraction = ratio ** int(exponent)
        return exact, exact
    base: Fraction = ratio ** int(2 * exponent)
    product = base.numerator * base.denominator
    root = isqrt(product)
    if root * root == product:
        exact = Fraction(root, base.denominator)
        return exact, exact
    root, below = isqrt(product * _ROOT_SCALE**2), base.denominator * _ROOT_SCALE
    return Fraction(root, below), Fraction(root + 1, below)
