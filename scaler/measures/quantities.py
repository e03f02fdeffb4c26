"""Weights, areas, speeds, powers … of full size reduced to the model, with the law that was used.

A quantity is read exactly (numbers by our own scanner, units from a closed list), its dimension is
taken from pint, and each dimension has its law: a power of k, the model's length over the full-size
length. Where that power is no rational number the answer is a pair of rationals that enclose it.

British practice is taken where a name means two things: a ton is 2240 lb, a hundredweight 112 lb, a
gallon imperial, a horsepower 550 ft lbf/s. What was taken is echoed in ``read_as``.

The laws for moving things keep the Froude number (speed² over gravity and length) and the density.
Pressure and stress have no law of their own: the caller says which one is meant. Nothing here
settles the wall of anything that holds pressure.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Any

from scaler.measures.angles import parse_angle
from scaler.measures.lengths import (
    DEGREE_MARKS,
    FEET_MARKS,
    INCH_MARKS,
    LENGTH_WORDS,
    parse_length,
)
from scaler.measures.number_text import (
    HYPHENS,
    LONGEST_TEXT,
    LengthError,
    check_size,
    mixed,
    nearest_word,
    number_starts,
    quoted,
    scan_number,
    skip_blanks,
    word_end,
)
from scaler.measures.scale_laws import (
    KINDS,
    PRESSURE,
    Dimension,
    Kind,
    Law,
    power_bounds,
    power_text,
)

if TYPE_CHECKING:
    import pint

_SMALLEST, _LARGEST = Fraction(1, 10**18), Fraction(10**18)
_RATIO_LIMIT = 10**6
_GRAVITY = Fraction(980665, 100000)
"""Standard gravity [m/s²], exact by definition: third CGPM, 1901 (from memory)."""


class QuantityError(ValueError):
    """A quantity that cannot be read or reduced; ``str()`` is the whole of it on one line.

    Attributes: ``text`` (cut where it was too long), ``problem``, ``expected``, ``advice``.
    """

    def __init__(self, text: str, problem: str, expected: str, advice: str) -> None:
        super().__init__(text, problem, expected, advice)
        self.text, self.problem, self.expected, self.advice = text, problem, expected, advice

    def __str__(self) -> str:
        return f"{self.problem}; expected {self.expected}; {self.advice}"


@dataclass(frozen=True, slots=True)
class ScaledQuantity:
    """A full-size quantity and what it becomes in the model.

    ``full_value`` is in ``unit``, the scaled values in ``unit_out``. ``exponent`` is that of k.
    ``scaled`` is None where it is no rational number; ``scaled_lower`` and ``scaled_upper`` always
    enclose it (both equal to it where it is exact). ``caution`` is '' where none is due.
    """

    text: str
    read_as: str
    full_value: Fraction
    unit: str
    exponent: Fraction
    law: str
    scaled: Fraction | None
    scaled_lower: Fraction
    scaled_upper: Fraction
    unit_out: str
    source: str
    caution: str = ""


# --------------------------------------------------------------------------------------- units


@dataclass(frozen=True, slots=True)
class _Unit:
    """A unit: its symbol in our echo, pint's name, how many of pint's it is, what is meant."""

    symbol: str
    pint_name: str
    times: Fraction
    meant: str


# symbol | pint name (× number) | what is meant, where that needs saying | words
_UNIT_LINES = """
long ton | UK_ton | 2240 lb | ton tons tons long_ton long_tons
short ton | short_ton | 2000 lb | short_ton short_tons
cwt | pound × 112 | 112 lb | cwt cwts hundredweight hundredweights
qr | pound × 28 | 28 lb | qr qrs
st | stone | 14 lb | st stone stones
lb | pound | | lb lbs pound pounds
oz | ounce | | oz ounce ounces
tonne | metric_ton | 1000 kg | t tonne tonnes metric_ton metric_tons
kg | kilogram | | kg kgs kilogram kilograms kilogramme kilogrammes
g | gram | | g gram grams gramme grammes
mile | mile | | mile miles mi
yd | yard | | yd yds yard yards
ft | foot | | ft foot feet
in | inch | | in ins inch inches
thou | thou | | thou
km | kilometer | | km kilometre kilometres kilometer kilometers
m | meter | | m metre metres meter meters
cm | centimeter | | cm centimetre centimetres centimeter centimeters
mm | millimeter | | mm millimetre millimetres millimeter millimeters
µm | micrometer | | µm μm micron microns
gallon | imperial_gallon | imperial, 4.54609 litres | gal gals gallon gallons imperial_gallon imperial_gallons
pint | imperial_pint | imperial | pt pint pints
fl oz | imperial_fluid_ounce | imperial | fl_oz fluid_ounce fluid_ounces
US gallon | gallon | 231 cu in | us_gallon us_gallons
litre | liter | | l L litre litres liter liters
ml | milliliter | | ml cc millilitre millilitres
day | day | | day days
h | hour | | h hr hrs hour hours
min | minute | | min mins minute minutes
s | second | | s sec secs second seconds
mph | mile_per_hour | | mph
knot | knot | | knot knots kt kts
km/h | kilometer_per_hour | | kph
Hz | hertz | | Hz hertz
rpm | hertz × 1/60 | | rpm
tonf | UK_force_ton | the weight of 2240 lb | tonf ton_force tons_force
lbf | force_pound | | lbf pound_force pounds_force
ozf | force_ounce | | ozf
kgf | force_kilogram | | kgf
kN | kilonewton | | kN
N | newton | | N newton newtons
psi | pound_force_per_square_inch | lbf per sq in | psi
bar | bar | | bar bars
MPa | megapascal | | MPa
kPa | kilopascal | | kPa
Pa | pascal | | Pa pascal pascals
hp | horsepower | 550 ft lbf/s | hp ihp bhp shp horsepower
metric hp | metric_horsepower | 75 kgf m/s | metric_hp metric_horsepower
MW | megawatt | | MW
kW | kilowatt | | kW
W | watt | | W watt watts
kJ | kilojoule | | kJ
J | joule | | J joule joules
"""
_COUNTED = (
    "off count tooth teeth hole holes rivet rivets bolt bolts stud studs spoke spokes tube tubes "
    "wheel wheels piece pieces leaf leaves turn turns coil coils rev revs revolution revolutions "
    "stroke strokes beat beats"
)
_DEGREES = "° º deg degs degree degrees"
_TEMPERATURES = ("°C", "°F", "degC", "degF", "K", "C", "F", "celsius", "fahrenheit", "kelvin")
_LADDERS = (
    ("long ton", "cwt", "lb", "oz"),
    ("short ton", "lb"),
    ("tonne", "kg", "g"),
    ("mile", "yd", "ft", "in"),
    ("km", "m", "mm"),
    ("gallon", "pint", "fl oz"),
    ("litre", "ml"),
    ("day", "h", "min", "s"),
    ("tonf", "lbf", "ozf"),
    ("kN", "N"),
    ("MW", "kW", "W"),
    ("kJ", "J"),
)
_RAISED = {"²": 2, "³": 3, "⁴": 4}
_POWER_WORDS = {"sq": 2, "square": 2, "cu": 3, "cubic": 3}
_EXAMPLE = 'write for example "36 tons 4 cwt", "120 lb", "25 mile/h" or "4 sq ft"'


@cache
def _units() -> dict[str, _Unit]:
    """Every word that is known as a unit (two-word names joined by ``_``)."""
    units = {}
    for line in _UNIT_LINES.strip().splitlines():
        symbol, name, meant, words = (cell.strip() for cell in line.split("|"))
        name, _, times = name.partition(" × ")
        unit = _Unit(symbol, name, Fraction(times or 1), meant)
        units.update(dict.fromkeys(words.split(), unit))
    units.update({word: _Unit(word, "", Fraction(1), "") for word in _COUNTED.split()})
    units.update(dict.fromkeys(_DEGREES.split(), _Unit("°", "", Fraction(1), "")))
    return units


@cache
def _registry() -> pint.UnitRegistry[Fraction]:
    import pint

    return pint.UnitRegistry(non_int_type=Fraction)


@cache
def _measure(unit: _Unit) -> tuple[Fraction, Dimension]:
    """How many SI base units one of these is, exact, and its dimension."""
    if not unit.pint_name:
        return Fraction(1), (0, 0, 0)
    one = _registry().Quantity(Fraction(1), unit.pint_name)
    powers: dict[str, Any] = dict(one.dimensionality)
    mass, length, time = (int(powers.get(f"[{n}]", 0)) for n in ("mass", "length", "time"))
    return Fraction(one.to_base_units().magnitude) * unit.times, (mass, length, time)


@dataclass(frozen=True, slots=True)
class _Product:
    """Units multiplied: each with its power, in the order written."""

    factors: tuple[tuple[_Unit, int], ...]
    as_force: bool = False

    @property
    def symbol(self) -> str:
        above: list[str] = []
        below: list[str] = []
        for unit, power in self.factors:
            name = unit.symbol + "f" * (self.as_force and _measure(unit)[1] == (1, 0, 0))
            name += {1: "", 2: "²", 3: "³"}.get(abs(power), "⁴")
            (above if power > 0 else below).append(name)
        return "".join([" ".join(above) or "1", *("/" + name for name in below)])

    @property
    def size(self) -> Fraction:
        size = _GRAVITY if self.as_force else Fraction(1)
        for unit, power in self.factors:
            size *= _measure(unit)[0] ** power
        return size

    @property
    def dimension(self) -> Dimension:
        total = [0, 1, -2] if self.as_force else [0, 0, 0]
        for unit, power in self.factors:
            for place, each in enumerate(_measure(unit)[1]):
                total[place] += each * power
        return total[0], total[1], total[2]


# ------------------------------------------------------------------------------------- reading


def _word_at(text: str, at: int) -> tuple[str, int]:
    end = word_end(text, at + (text[at : at + 1] == "°"))
    return text[at:end], end


def _unit_at(text: str, at: int) -> tuple[_Unit, int]:
    """The unit whose name of one or two words starts at `at`, and where it ends."""
    word, end = _word_at(text, at)
    second, after = _word_at(text, skip_blanks(text, end))
    for name, stop in ((f"{word}_{second}", after), (word, end)):
        if name in _TEMPERATURES:
            raise QuantityError(
                text,
                f"read a temperature ({quoted(name)})",
                "a quantity that follows the scale",
                "leave temperatures as they are",
            )
        for spelt in (name, name.lower()) if len(name) > 1 else (name,):
            if spelt in _units() and (second or "_" not in name):
                return _units()[spelt], stop
    near = next((name for name in _units() if name.lower() == word.lower()), None)
    near = near or nearest_word(word, tuple(_units()))
    read = quoted(word or text[at : at + 10])
    raise QuantityError(
        text,
        f"read the unit {read}",
        "a unit of the trade such as lb, sq in, mile/h, hp or kN",
        f'write "{near.replace("_", " ")}" if that is meant' if near else _EXAMPLE,
    )


def _product_at(text: str, at: int) -> tuple[_Product, int]:
    """The units that start at `at`, up to the next number or the end."""
    factors: list[tuple[_Unit, int]] = []
    sign, divided, raised = 1, False, 1
    while at < len(text) and not number_starts(text, at):
        word, end = _word_at(text, at)
        if text[at] in "/·*×." + HYPHENS and factors:
            sign, at = (-1 if text[at] == "/" else sign), skip_blanks(text, at + 1)
            continue
        if word.lower() in ("per", "a") and factors:
            sign, at = -1, skip_blanks(text, end)
            continue
        if word.lower() in _POWER_WORDS:
            raised = _POWER_WORDS[word.lower()]
            at = skip_blanks(text, end + (text[end : end + 1] == "."))
            continue
        if divided and sign > 0:
            raise QuantityError(
                text,
                f"read {quoted(text)}: is what follows the division above or below it?",
                "one unit after each division",
                "repeat the stroke, as in kg/m/s",
            )
        unit, at = _unit_at(text, at)
        power, at = _exponent(text, at)
        factors.append((unit, sign * power * raised))
        sign, divided, raised = 1, divided or sign < 0, 1
        at = skip_blanks(text, at)
    if not factors or sign < 0 or raised > 1:
        raise QuantityError(text, f"read {quoted(text)} and no unit", "a unit", _EXAMPLE)
    if len(factors) > 1 and any(unit.symbol == "°" for unit, _ in factors):
        raise QuantityError(
            text,
            f"read {quoted(text)}, degrees with another unit",
            "degrees alone",
            'write an angular speed in "rev/min"',
        )
    return _Product(tuple(factors)), at


def _exponent(text: str, at: int) -> tuple[int, int]:
    """The power written after a unit (``²``, ``^2`` or ``2``), 1 where there is none."""
    if at < len(text) and text[at] in _RAISED:
        return _RAISED[text[at]], at + 1
    hat = at + (text[at : at + 1] == "^")
    figures = text[hat : hat + 2]
    if figures[:1] in ("2", "3", "4") and not number_starts(figures, 1):
        return int(figures[0]), hat + 1
    if hat > at or number_starts(text, at):
        raise QuantityError(
            text, f"read {quoted(text[at : at + 6])} as a power", "a power from 2 to 4", _EXAMPLE
        )
    return 1, at


def _as_force(text: str, product: _Product) -> _Product:
    """Weights read as forces where the trade writes them so: lb ft, lb/sq in, kg/cm²."""
    small = any(u.symbol in ("in", "cm", "mm") for u, power in product.factors if power < 0)
    if product.dimension == (1, 1, 0) or (small and product.dimension == (1, -2, 0)):
        return _Product(product.factors, as_force=True)
    if product.dimension == (1, -2, 0):
        raise QuantityError(
            text,
            f"read {quoted(text)}: a pressure, or the weight of plate by its area?",
            "one or the other",
            'write "lbf/sq ft" or "N/m²" if a pressure is meant',
        )
    return product


def _read(text: str) -> tuple[Fraction, _Product, str]:
    """Value, unit and echo of a quantity given in words of units."""
    parts: list[tuple[Fraction, _Product, str]] = []
    at = skip_blanks(text, 0)
    while at < len(text):
        number = scan_number(text, at)
        at = skip_blanks(text, number.end)
        product, at = _product_at(text, at)
        parts.append((number.value, _as_force(text, product), number.normal))
    first, total = parts[0][1], Fraction(0)
    for place, (value, product, _) in enumerate(parts):
        above = parts[place - 1] if place else None
        if above and (
            product.dimension != first.dimension
            or above[0].denominator != 1
            or value * product.size >= above[1].size
        ):
            raise QuantityError(
                text,
                f"read {quoted(text)}",
                "one unit, or whole numbers of larger units first and less than one of them after",
                'write for example "36 tons 4 cwt" or "4 ft 8 in"',
            )
        total += value * product.size / first.size
    echo = " ".join(f"{normal} {product.symbol}" for _, product, normal in parts)
    units = [unit for _, product, _ in parts for unit, _ in product.factors if unit.meant]
    meant = ", ".join(dict.fromkeys(f"{unit.symbol}: {unit.meant}" for unit in units))
    return total, first, f"{echo} ({meant})" if meant else echo


def _read_any(text: str) -> tuple[Fraction, _Product, str]:
    """Value, unit and echo of a length, an angle or any other quantity."""
    words = "".join(ch if ch.isalpha() else " " for ch in text[:LONGEST_TEXT]).lower().split()
    try:
        check_size(text)
        try:
            length = parse_length(text)
            return length.mm, _Product(((_units()["mm"], 1),)), length.normal
        except LengthError as error:
            if any(mark in text for mark in DEGREE_MARKS) and not {"c", "f"} & set(words):
                degrees = parse_angle(text)
                return degrees, _Product(((_units()["°"], 1),)), f"{mixed(degrees)} °"
            marked = any(mark in text for mark in FEET_MARKS + INCH_MARKS)
            if marked or text.lower().endswith(("swg", "drill")):
                raise
            found = _read(text)
            if found[1].dimension == (0, 1, 0) and all(word in LENGTH_WORDS for word in words):
                raise error from None
            return found
    except LengthError as error:
        raise QuantityError(error.text, error.problem, error.expected, error.advice) from None


# ------------------------------------------------------------------------------------- scaling


def _choose_law(text: str, dimension: Dimension, name: str | None) -> tuple[Kind, Law]:
    kind = KINDS.get(dimension)
    if kind is None:
        names = zip(("mass", "length", "time"), dimension, strict=True)
        powers = ", ".join(f"{base} to the power {power}" for base, power in names if power)
        raise QuantityError(
            text,
            f"read {quoted(text)}: {powers}",
            "a quantity whose law of scale is known",
            "known are: " + "; ".join(kind.name for kind in KINDS.values()),
        )
    law = kind.laws[0] if name is None else kind.find(name)
    if law is not None and (name is not None or dimension != PRESSURE):
        return kind, law
    problem = f"read a {kind.name}" if name is None else f"read the law {quoted(name)}"
    listed = "; ".join(
        f'law="{each.name}" ({power_text(each.exponent)}: {each.words})' for each in kind.laws
    )
    advice = f"state {listed}" + (f". {kind.caution}" if kind.caution else "")
    raise QuantityError(text, problem, f"a law that is known for {kind.name}", advice)


def scale_quantity(
    text: str, ratio: Fraction, *, law: str | None = None, into: str | None = None
) -> ScaledQuantity:
    """A full-size quantity reduced to the model by the law of its dimension.

    Parameters
    ----------
    text : str
        As written: ``36 tons 4 cwt``, ``25 mile/h``, ``1 3/8 in``, ``180 lb/sq in``.
    ratio : Fraction
        k, model length : full-size length; more than 0, between 1/1,000,000 and 1,000,000.
    law : str or None
        Name of the law where there are several; pressure and stress have none without it.
    into : str or None
        Unit of the answer; by default the unit read, or a smaller one of its family while the
        answer is below 1.

    Raises
    ------
    QuantityError
        Where the text cannot be read, the dimension has no law, the law is unknown or, for
        pressure and stress, not stated.

    Examples
    --------
    >>> scale_quantity("1728 lb", Fraction(1, 12)).scaled
    Fraction(1, 1)
    >>> scale_quantity("60 mile/h", Fraction(1, 16)).law
    'speed: k^1/2, equal Froude number'

    References
    ----------
    Each result names its own in ``source``. Units: NIST SP 811, appendix B, as pint has them.
    """
    if not 0 < ratio <= _RATIO_LIMIT or ratio * _RATIO_LIMIT < 1:
        raise QuantityError(
            text[:200],
            f"read the scale {quoted(str(ratio))}",
            "a ratio of model to full size above 0, between 1:1000000 and 1000000:1",
            'write for example "1:12"',
        )
    value, product, echo = _read_any(text)
    size = value * product.size
    if size > _LARGEST or 0 < size < _SMALLEST:
        raise QuantityError(
            text,
            f"read {quoted(echo)}",
            "a quantity within 18 decimal places of its SI unit",
            "look at the number and its unit again",
        )
    kind, chosen = _choose_law(text, product.dimension, law)
    lower, upper = (bound * size for bound in power_bounds(Fraction(ratio), chosen.exponent))
    out = _read_unit(into, product) if into is not None else _step_down(product, lower, chosen)
    lower, upper = lower / out.size, upper / out.size
    return ScaledQuantity(
        text=text,
        read_as=echo,
        full_value=value,
        unit=product.symbol,
        exponent=chosen.exponent,
        law=chosen.sentence(kind.name),
        scaled=lower if lower == upper else None,
        scaled_lower=lower,
        scaled_upper=upper,
        unit_out=out.symbol,
        source=chosen.source,
        caution=kind.caution,
    )


def _read_unit(into: str, product: _Product) -> _Product:
    out, at = _product_at(into, skip_blanks(into, 0)) if len(into) <= 200 else (product, 0)
    out = _as_force(into, out)
    alike = out.dimension == product.dimension and out.dimension != (0, 0, 0)
    if at < len(into) or not (alike or out.symbol == product.symbol):
        raise QuantityError(
            into[:200],
            f"read {quoted(into)} as the unit of the answer",
            f"a unit of the same kind as {product.symbol}",
            f'write for example "{product.symbol}"',
        )
    return out


def _step_down(product: _Product, size: Fraction, law: Law) -> _Product:
    """A smaller unit of the same family while the answer is below 1 of it."""
    (unit, power), *more = product.factors
    if more or power != 1 or law.exponent == 0 or size == 0 or product.as_force:
        return product
    by_symbol = {each.symbol: each for each in _units().values()}
    ladder = next((each for each in _LADDERS if unit.symbol in each), (unit.symbol,))
    for symbol in ladder[ladder.index(unit.symbol) :]:
        product = _Product(((by_symbol[symbol], 1),))
        if size >= product.size:
            break
    return product
