"""Conversions of pressure, flow, resistance, current and time against published factors.

Factors of NIST Special Publication 811 (2008), appendix B.8, from memory; those printed there in bold are exact. The
rest of the values are worked from the definitions of the units, in whole numbers.
"""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.core.errors import BadValueError
from fleet.core.units import UNITS, convert, read_quantity, same_kind, symbol_of

# NIST SP 811, appendix B.8 (from memory): factor to Pa, to the digits printed there.
SP_811 = [
    ("psi", "6.894757E+3"),
    ("mmHg", "1.333224E+2"),
    ("cmH2O", "9.80665E+1"),
    ("bar", "1.0E+5"),
    ("mbar", "1.0E+2"),
]
# The definitions in whole numbers: Pa of one unit as an exact fraction.
EXACT = [
    ("psi", Fraction(45359237, 10**8) * Fraction(980665, 10**5) / Fraction(254, 10**4) ** 2),
    ("mmHg", Fraction(135951, 10) * Fraction(980665, 10**5) / 1000),
    ("cmH2O", Fraction(1000) * Fraction(980665, 10**5) / 100),
]
# 3.3 of the research notes for this project, computed there: to the digits given.
WORKED = [
    ("1", "psi", "kPa", "6.8948"),
    ("1", "psi", "mmHg", "51.715"),
    ("1", "kPa", "mmHg", "7.5006"),
    ("1", "kPa", "psi", "0.14504"),
    ("1", "bar", "mmHg", "750.06"),
    ("1", "bar", "psi", "14.504"),
    ("300", "mmHg", "kPa", "39.997"),
    ("300", "mmHg", "psi", "5.801"),
    ("20", "psi", "kPa", "137.90"),
    ("20", "psi", "mmHg", "1034.3"),
]
SCALES = [
    ("0.2", "ohm", "mΩ", "200"),
    ("7", "Mohm", "Ω", "7000000"),
    ("500", "uA", "mA", "0.5"),
    ("5", "ml/h", "µL/h", "5000"),
    ("2", "hr", "min", "120"),
    ("1", "mL/min", "mL/h", "60"),
    ("20", "mg", "g", "0.02"),
    ("1200", "mV", "volts", "1.2"),
]
KINDS = sorted({unit.measures for unit in UNITS})


@pytest.mark.parametrize(("unit", "pascals"), SP_811)
def test_a_pressure_has_the_published_factor(unit: str, pascals: str) -> None:
    """One unit in pascal is the factor of NIST SP 811, to the digits printed."""
    printed = Decimal(pascals)
    found = convert(Decimal(1), unit, "kPa") * 1000
    assert found.quantize(Decimal((0, (1,), printed.as_tuple().exponent))) == printed


@pytest.mark.parametrize(("unit", "pascals"), EXACT)
def test_a_pressure_is_exact_to_thirty_digits(unit: str, pascals: Fraction) -> None:
    """The decimal factor lies within 1 in 10^30 of the definition worked in whole numbers."""
    found = Fraction(convert(Decimal(1), unit, "kPa")) * 1000
    assert abs(found / pascals - 1) < Fraction(1, 10**30)


@pytest.mark.parametrize(("value", "unit", "into", "worked"), WORKED)
def test_pressures_convert_as_worked_by_hand(value: str, unit: str, into: str, worked: str) -> None:
    """A converted pressure, rounded to the digits of the worked value, is that value."""
    expected = Decimal(worked)
    assert convert(Decimal(value), unit, into).quantize(expected) == expected


@pytest.mark.parametrize(("value", "unit", "into", "exact"), SCALES)
def test_scales_of_ten_and_sixty_are_exact(value: str, unit: str, into: str, exact: str) -> None:
    """What is a whole power or multiple comes out digit for digit, so that a value at its limit stays at it."""
    assert convert(Decimal(value), unit, into) == Decimal(exact)


@given(
    value=st.decimals(-100000, 100000, places=6),
    pair=st.sampled_from([(one, other) for one in UNITS for other in UNITS if one.measures == other.measures]),
)
def test_there_and_back_is_the_same_value(value: Decimal, pair: tuple[object, object]) -> None:
    """Converted and converted back, a value differs by less than 1 in 10^30."""
    one, other = (unit.symbol for unit in pair)  # type: ignore[attr-defined] # units
    again = convert(convert(value, one, other), other, one)
    assert abs(again - value) <= abs(value) * Decimal("1e-30")


@pytest.mark.parametrize("kind", KINDS)
def test_another_kind_is_refused_by_name(kind: str) -> None:
    """A unit that measures something else is refused, and the refusal names both kinds."""
    one = next(unit for unit in UNITS if unit.measures == kind)
    for other in (unit for unit in UNITS if unit.measures != kind):
        with pytest.raises(BadValueError, match=rf"is {kind}; here {other.measures} is asked for"):
            convert(Decimal(1), one.symbol, other.symbol)


@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        ("7.5 psi", "kPa", "51.71067969876271"),
        ("120 uA", "mA", "0.12"),
        ("0,2 ohm", "Ω", "0.2"),
        ("300mmHg", "kPa", "39.9967162245"),
        ("\u22124.8 %", "%", "-4.8"),
        ("12.50", "kPa", "12.50"),
        ("98 \u03bcA", "µA", "98"),
        ("7 M\u2126", "MΩ", "7"),
        ("3 strokes", "strokes", "3"),
    ],
)
def test_a_value_is_read_with_the_unit_typed_beside_it(typed: str, unit: str, value: str) -> None:
    """A unit typed beside the number is converted into the one asked for; none typed means that one."""
    read = read_quantity(typed, unit)
    assert abs(read - Decimal(value)) < Decimal("1e-14")
    if "psi" not in typed:
        assert read == Decimal(value)


@pytest.mark.parametrize(
    ("typed", "unit", "words"),
    [
        ("7 MOHM", "Ω", "could be MΩ or mΩ"),
        ("7 psi", "mL", "psi is a pressure; here a volume is asked for"),
        ("7 foo", "kPa", "“foo” is no unit known here; give the value in kPa"),
        ("1e3", "kPa", "“e3” is no unit known here"),
        ("7 psi", "strokes", "“strokes” is no unit known here"),
        ("psi", "kPa", "is not a number"),
        ("1,234 psi", "kPa", "could be 1.234 or 1234"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_words(typed: str, unit: str, words: str) -> None:
    """A unit that is unknown, unclear or of another kind is refused, never guessed."""
    with pytest.raises(BadValueError, match=words):
        read_quantity(typed, unit)


def test_each_spelling_means_one_unit() -> None:
    """No spelling stands for two units, and each leads to the symbol it is kept by."""
    spellings = [name for unit in UNITS for name in (unit.symbol, *unit.also)]
    assert len(spellings) == len(set(spellings))
    assert all(symbol_of(name) == unit.symbol for unit in UNITS for name in (unit.symbol, *unit.also))
    assert same_kind("psi", "mmHg")
    assert not same_kind("psi", "mL")
