"""Pressure conversion and the 0.80 level against published and hand-worked values."""

from decimal import Decimal
from fractions import Fraction

import pytest

from fleet.core.errors import BadValueError
from fleet.core.limits import Limits, Verdict, verdict
from fleet.core.pressure import KILOPASCALS, PressureUnit, convert_pressure

KPA, PSI, MMHG, BAR = PressureUnit.KPA, PressureUnit.PSI, PressureUnit.MMHG, PressureUnit.BAR


@pytest.mark.parametrize(
    ("value", "given", "wanted", "printed"),
    [
        ("1", PSI, KPA, "6.8948"),
        ("1", PSI, MMHG, "51.715"),
        ("1", KPA, MMHG, "7.5006"),
        ("1", KPA, PSI, "0.14504"),
        ("1", BAR, MMHG, "750.06"),
        ("1", BAR, PSI, "14.504"),
        ("300", MMHG, KPA, "39.997"),
        ("300", MMHG, PSI, "5.801"),
        ("20", PSI, KPA, "137.90"),
        ("20", PSI, MMHG, "1034.3"),
        ("100", MMHG, KPA, "13.33"),
    ],
)
def test_pressure_values(value: str, given: PressureUnit, wanted: PressureUnit, printed: str) -> None:
    """Conversions round to the values of common tables, to every digit those print."""
    assert convert_pressure(Decimal(value), given, wanted).quantize(Decimal(printed)) == Decimal(printed)


def test_exact_definitions() -> None:
    """The mmHg is 133.322387415 Pa; the psi is 6894.757293168 Pa to the digits usually printed."""
    assert KILOPASCALS[MMHG] * 1000 == Fraction("133.322387415")
    assert round(float(KILOPASCALS[PSI] * 1000), 9) == 6894.757293168


@pytest.mark.parametrize("unit", PressureUnit)
def test_a_unit_converts_to_itself_unchanged(unit: PressureUnit) -> None:
    """No digit is lost where nothing is converted."""
    assert convert_pressure(Decimal("12.345"), unit, unit) == Decimal("12.345")


@pytest.mark.parametrize("value", ["NaN", "Infinity"])
def test_a_pressure_that_is_no_number_is_refused(value: str) -> None:
    """NaN and infinity are refused in words."""
    with pytest.raises(BadValueError, match="not a number"):
        convert_pressure(Decimal(value), PSI, KPA)


@pytest.mark.parametrize(("minutes", "expected"), [(384, Verdict.PASS), (383, Verdict.FAIL)])
def test_runtime_level_is_judged_unrounded(minutes: int, expected: Verdict) -> None:
    """384 of 480 minutes is 0.80 and meets it; 383 is 0.7979, which rounds to 0.80 and does not meet it."""
    level = Limits(Decimal("0.80"), None, "")
    assert verdict(Decimal(minutes) / 480, level) is expected
