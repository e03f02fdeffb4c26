"""Figures of the materials: expansion, stiffness, and lengths at another temperature than 20 °C.

Every drawn or measured length is a length at 20 °C (ISO 1, from memory). A part at another
temperature is longer by its length × its material's expansion × the difference. The coefficients
of the materials table are decimals, so the arithmetic is exact; what is not exact is the material:
a coefficient is a mean, mostly from 20 to 100 °C, and alloys differ by a few per cent.

References: linear expansion ΔL = L α ΔT (any text on the strength of materials, common practice);
the figures' own sources stand in the table ``materials``, row by row.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from scaler import catalogue
from scaler.problems import nearest, shorten

REFERENCE = Fraction(20)
"""The temperature at which sizes hold [°C]: ISO 1 (from memory)."""

COLDEST, HOTTEST = Fraction("-273.15"), Fraction(1000)
"""Temperatures beyond these are refused [°C]: absolute zero; brasses and bronzes are molten."""

MEAN_FROM, MEAN_TO = Fraction(0), Fraction(100)
"""Where most coefficients of the materials table hold [°C]; outside, a note says so."""

_MILLION = Fraction(1, 1_000_000)

# what a bar or casting is called, not what it is made of
_FORM_WORDS = frozenset(
    (
        *("bar", "bars", "rod", "flat", "flats", "plate", "sheet", "strip", "tube", "tubing"),
        *("wire", "hexagon", "hex", "square", "round", "section", "angle", "stock", "ground"),
        *("bright", "drawn", "rolled", "black", "turned", "casting", "castings", "cast"),
        *("forging", "forged", "key", "block", "blank"),
    )
)


class UnknownMaterial(LookupError):
    """A material that the catalogue cannot give, or lacks a figure for.

    Attributes: text as given, reason in words, nearest known names.
    """

    def __init__(self, text: str, reason: str, near: tuple[str, ...] = ()) -> None:
        self.text, self.reason, self.nearest = text, reason, near
        hint = f"; the nearest known: {', '.join(near)}" if near else ""
        super().__init__(f"{reason}{hint}")


class TemperatureError(ValueError):
    """Temperatures or sizes that cannot be worked with. Attributes: problem, expected, advice."""

    def __init__(self, problem: str, expected: str = "", advice: str = "") -> None:
        self.problem, self.expected, self.advice = problem, expected, advice
        super().__init__(problem)


@dataclass(frozen=True, slots=True)
class Material:
    """A material of the catalogue; figures exact as printed, None where the table gives none.

    ``expansion`` [µm/(m K)], ``modulus`` [GPa], ``poisson`` without unit; each with its source.
    ``read_as`` says how a loose name was taken, '' where it was exact.
    """

    name: str
    family: str
    form: str
    expansion: Fraction | None
    expansion_source: str
    modulus: Fraction | None
    modulus_source: str
    poisson: Fraction | None
    poisson_source: str
    caution: str
    note: str
    read_as: str = ""

    def per_kelvin(self) -> Fraction:
        """The coefficient of expansion [1/K]. Raises UnknownMaterial where the table has none."""
        if self.expansion is None:
            raise UnknownMaterial(
                self.name, f"the materials table gives no expansion for {self.name}"
            )
        return self.expansion * _MILLION


def find_material(text: str) -> Material:
    """The material that a part's wording names.

    Parameters: text : such as ``phosphor bronze``, ``EN 8``, ``ground steel bar``; capitals,
        spaces and strokes do not count, nor do the words of its form (bar, plate, casting).
    Returns: Material; a family's name alone gives the material the catalogue lists for it, and
        ``read_as`` says which.
    Raises: UnknownMaterial, naming the nearest; a qualifier that is not known (``manganese
        steel``) is never dropped, for it may change every figure.

    >>> find_material("ground steel bar").name, find_material("EN 8").name
    ('mild steel', 'medium carbon steel')
    """
    known = _by_name()
    key = _squeezed(text)
    if not key:
        raise UnknownMaterial(text, "no material is named")
    if key not in known:
        words = [word for word in _words(text) if word not in _FORM_WORDS]
        key = _squeezed(" ".join(words))
    row = known.get(key)
    if row is None:
        names = [name for item in _table().rows for name in _names(item)]
        raise UnknownMaterial(
            text,
            f"'{shorten(text)}' is no material of the catalogue",
            nearest(text, names) or tuple(item.text("designation") for item in _table().rows[:4]),
        )
    name = row.text("designation")
    same = _squeezed(name) == _squeezed(text)
    return Material(
        name,
        row.text("family"),
        row.text("form"),
        _number(row, "expansion_um_per_m_k"),
        row.text("expansion_source"),
        _number(row, "modulus_gpa"),
        row.text("modulus_source"),
        _number(row, "poissons_ratio"),
        row.text("poissons_source"),
        row.text("caution"),
        row.text("note"),
        "" if same else f"'{shorten(text)}' taken as {name}",
    )


def _table() -> catalogue.Table:
    return catalogue.table("materials")


def _number(row: catalogue.Row, column: str) -> Fraction | None:
    return row.number(column) if row.text(column) else None


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W_]+", text.lower())


def _squeezed(text: str) -> str:
    return "".join(_words(text))


def _names(row: catalogue.Row) -> list[str]:
    aliases = (alias.strip() for alias in row.text("aliases").split(";"))
    return [row.text("designation"), *(alias for alias in aliases if alias)]


@cache
def _by_name() -> dict[str, catalogue.Row]:
    found: dict[str, catalogue.Row] = {}
    for row in _table().rows:
        for name in _names(row):
            found.setdefault(_squeezed(name), row)
    return found


def expand(length: Fraction, material: Material, celsius: Fraction) -> Fraction:
    """A length at a temperature, from its length at 20 °C. [mm]

    >>> expand(Fraction(1000), find_material("mild steel"), Fraction(120))
    Fraction(100117, 100)
    """
    return length * growth(material, celsius)


def growth(material: Material, celsius: Fraction) -> Fraction:
    """Length at a temperature ÷ length at 20 °C: 1 + α (T − 20).

    Raises TemperatureError outside −273.15 to 1000 °C, UnknownMaterial where no coefficient is
    given.
    """
    in_range(celsius)
    return 1 + material.per_kelvin() * (celsius - REFERENCE)


def in_range(celsius: Fraction) -> None:
    """Raises TemperatureError outside −273.15 to 1000 °C."""
    if not COLDEST < celsius <= HOTTEST:
        raise TemperatureError(
            f"{float(celsius):g} °C lies outside the temperatures that can be worked with",
            "more than -273.15 and at most 1000 °C",
            "give the temperature in degrees Celsius",
        )
