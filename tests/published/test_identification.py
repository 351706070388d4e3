"""GS1 and HIBC check characters and dates against values printed in their documents or worked by hand from them."""

from datetime import date

import pytest

from fleet.core.udi import gs1_check_digit, gs1_date, hibc_check_character, parse_udi


@pytest.mark.parametrize(("body", "digit"), [("0950600013435", "2"), ("37610425002123456", "9"), ("9501234", "6")])
def test_gs1_check_digits(body: str, digit: str) -> None:
    """Weights 3, 1, 3 ... from the right (GS1 General Specifications 7.9), for 14, 18 and 8 digits; worked by hand."""
    assert gs1_check_digit(body) == digit


@pytest.mark.parametrize(("short", "year"), [("76", 2076), ("77", 1977), ("26", 2026), ("00", 2000), ("75", 2075)])
def test_gs1_century(short: str, year: int) -> None:
    """The century rule of the GS1 General Specifications 7.12, read in 2026."""
    assert gs1_date(f"{short}0615", 2026).year == year


@pytest.mark.parametrize(
    ("short", "current", "year"), [("49", 2099, 2149), ("50", 2099, 2050), ("51", 2000, 1951), ("50", 2000, 2050)]
)
def test_gs1_century_at_its_edges(short: str, current: int, year: int) -> None:
    """Differences of -50, -49, 51 and 50 fall on the side the rule says."""
    assert gs1_date(f"{short}0615", current).year == year


@pytest.mark.parametrize(
    ("text", "day"), [("290200", date(2029, 2, 28)), ("280200", date(2028, 2, 29)), ("271200", date(2027, 12, 31))]
)
def test_day_00_is_the_last_of_the_month(text: str, day: date) -> None:
    """Day 00 means the month's last day, leap years included."""
    assert gs1_date(text, 2026) == day


@pytest.mark.parametrize(
    ("data", "character"),
    [
        ("+A123BJC5D6E71", "G"),
        ("+H123ABC01234567890", "D"),
        ("+A123BJC5D6E71/$$52001510X3", "C"),
        ("+/EO523201", "3"),
    ],
)
def test_hibc_check_characters(data: str, character: str) -> None:
    """Examples of ANSI/HIBC 2.6 and 1.3 (as quoted by published test vectors): the sum of values modulo 43."""
    assert hibc_check_character(data) == character


def test_hibc_primary_gives_the_device_identifier() -> None:
    """The printed primary codes read to labeler, product and unit of measure."""
    assert parse_udi("+A123BJC5D6E71G", 2026).di == "A123BJC5D6E71"
    assert parse_udi("+H123ABC01234567890D", 2026).di == "H123ABC01234567890"


def test_serial_swallows_the_date_when_the_separator_is_missing() -> None:
    """The worked trap: serial SN1 and expiry 290200 without a separator parse as one serial, which must be doubted."""
    udi = parse_udi("0109506000134352" + "21SN1" + "17290200", 2026)
    assert udi.serial == "SN117290200"
    assert udi.expiry is None
    assert len(udi.warnings) == 1
