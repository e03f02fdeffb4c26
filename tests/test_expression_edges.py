"""Ends of the rules by which expressions get their values, to the last digit that counts.

Each was found by a fault that no other test noticed. What is expected follows from the docstrings
of what is tested, by arithmetic that stands beside it.
"""

from __future__ import annotations

from fractions import Fraction as F

import pytest

from scaler.expressions import EvaluationError, evaluate, linear, parse_expression
from scaler.expressions.intervals import EDGE, DomainError, Interval, _round_down, power, root
from scaler.expressions.nodes import Length
from scaler.expressions.values import LARGEST, LONGEST_EXACT, _short, shown, tidy

NODE = Length(F(1))


def value(text: str, **values: F | Interval) -> F | Interval:
    """The value of an expression of names in one part, ``p``."""
    return evaluate(parse_expression(text), {f"p.{n}": v for n, v in values.items()}, F(1))


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (F(12_345_678, 1_234_577), "12345678/1234577"),  # sixteen characters
        (F(-12_345_678, 1_234_577), "about -9.99992548055"),  # seventeen
    ],
)
def test_sixteen_characters_are_shown_exactly(number: F, text: str) -> None:
    """A longer one is shown to twelve figures."""
    assert shown(number) == text


def test_the_longest_exact_value() -> None:
    """2^8190 has 8191 binary digits above the line and one below; 2^8191 has one more."""
    assert tidy(F(2) ** (LONGEST_EXACT - 2), NODE, {}) == F(2) ** (LONGEST_EXACT - 2)
    with pytest.raises(EvaluationError, match="more than can be worked with"):
        tidy(F(2) ** (LONGEST_EXACT - 1), NODE, {})


def test_the_largest_may_be_reached() -> None:
    """An end at 2^2048 is worked with, one above it is not."""
    assert tidy(Interval(F(1), LARGEST), NODE, {}) == Interval(F(1), LARGEST)
    with pytest.raises(EvaluationError, match="more than can be worked with"):
        tidy(Interval(F(1), LARGEST + 1), NODE, {})


def test_an_end_at_nought_stays_there() -> None:
    """Nought is no figure that is too small."""
    for ends in (Interval(F(0), F(1)), Interval(F(-1), F(0))):
        assert tidy(ends, NODE, {}) == ends


def test_powers_are_exact_to_a_length() -> None:
    """3^40 and 2^63 have 64 binary digits each, 64 times 128 is the longest; 2^64 has one more,
    and is enclosed although its power would still be short enough (4058 and 4097 digits)."""
    short, long = F(3**40, 2**63), F(3**40, 2**64)
    assert value("p.a^64", a=short) == short**64
    assert value("p.a^-64", a=short) == short**-64
    for text, wanted in (("p.a^64", long**64), ("p.a^-64", long**-64)):
        found = value(text, a=long)
        assert isinstance(found, Interval)
        assert found.lower < wanted < found.upper


def test_a_root_shortens_what_it_is_taken_of() -> None:
    """(3/2)^1600 to the power 3/2 is (3/2)^2400: 3804 and 2401 digits, though three times the
    first would be too long."""
    assert value("p.a^(3/2)", a=F(3, 2) ** 1600) == F(3, 2) ** 2400


@pytest.mark.parametrize(
    ("terms", "bits"),
    [
        (60, 384),  # 192 digits are 58 decimal figures, and leave nothing
        (250, 768),  # four times 192 leave nothing either, and are the most
    ],
)
def test_what_nearly_cancels_is_worked_on(terms: int, bits: int) -> None:
    """√(2 + 10^-n) − √2 is about 10^-n / 2.8: the roots, between 1 and 2, have so many binary
    digits behind the point, and an end each side."""
    found = value("sqrt(2 + p.a) - sqrt(2)", a=F(1, 10**terms))
    assert isinstance(found, Interval)
    assert found.lower < F(10) ** -terms * F(35356, 100_000)  # 1 / √8 = 0.353553…
    assert found.upper > F(10) ** -terms * F(35355, 100_000)
    assert F(1, 2 ** (bits + 9)) < found.width < F(1, 2 ** (bits - 9))


@pytest.mark.parametrize(
    ("text", "constant", "factor"),
    [
        ("p.a - '4 mm'", -4, 1),
        ("p.a + '7 mm' - '4 mm'", 3, 1),
        ("'7 mm' - p.a + '4 mm'", 11, -1),
        ("-'7 mm' - '4 mm' + p.a", -11, 1),
        ("'7 mm' - '4 mm' + 2 * p.a - p.a", 3, 1),
    ],
)
def test_lengths_in_a_sum(text: str, constant: int, factor: int) -> None:
    """Each counts with its own sign, the first and the later ones."""
    found = linear(parse_expression(text), F(1))
    assert found is not None
    assert (found.constant, dict(found.coefficients)) == (constant, {"p.a": factor})


def test_a_form_may_hold_the_longest_exact_number() -> None:
    """2^8190: 8191 digits above the line, one below; one more is too long."""
    form = F(0), {"p.a": F(2) ** (LONGEST_EXACT - 2)}
    assert _short(form) is form
    assert _short((F(0), {"p.a": F(2) ** (LONGEST_EXACT - 1)})) is None


# ---------------------------------------------------------------------------------- intervals


@pytest.mark.parametrize("other", [Interval(F(0), F(2)), Interval(F(2), F(4))])
def test_an_interval_holds_another_by_both_ends(other: Interval) -> None:
    """One end alone does not do."""
    assert not Interval(F(1), F(3)).contains(other)


@pytest.mark.parametrize("ends", [(F(0), F(1)), (F(-1), F(0))])
def test_an_end_at_nought_cannot_be_divided_by(ends: tuple[F, F]) -> None:
    """It says so itself."""
    with pytest.raises(ZeroDivisionError, match="holds zero"):
        Interval(*ends).inverse()


def test_a_long_number_of_twice_the_digits_stays() -> None:
    """243 has eight binary digits, twice four; 729 has ten: to four of them it is 11 × 64."""
    assert _round_down(F(243), 4) == 243
    assert _round_down(F(729), 4) == 704


def test_an_edge_is_cut_off() -> None:
    """From just below nought to nought: the root is nought; as wide as the edge, it is refused."""
    assert root(Interval(-EDGE / 2, F(0))) == 0
    with pytest.raises(DomainError, match="negative"):
        root(Interval(-EDGE / 2, EDGE / 2))


def test_a_root_has_a_digit_to_spare() -> None:
    """The square root of 2 lies between 1 and 2, the cube root of 1/4 between 1/2 and 1: to 64
    digits and one more behind the first, which is in the units and in the halves."""
    for value_, degree in ((F(2), 2), (F(1, 4), 3)):
        found = root(value_, degree, 64)
        assert isinstance(found, Interval)
        assert found.lower**degree < value_ < found.upper**degree
        assert found.width == F(1, 2 ** (65 if degree == 2 else 66))


def test_a_power_of_a_root_keeps_its_digits() -> None:
    """2^(63/2): the root's error counts 63 times, and still 64 digits are certain.
    Its ends have eight more, 72 or 73, of which 32 stand before the point."""
    found = power(F(2), F(63, 2), 64)
    assert isinstance(found, Interval)
    assert found.lower**2 < F(2) ** 63 < found.upper**2
    assert found.width * 2**64 < found.lower
    assert (found.lower * 2**41).denominator == (found.upper * 2**41).denominator == 1
