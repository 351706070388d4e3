"""Single cells: what is understood, and what is refused rather than guessed. No database."""

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from fleet.exchange.cells import YES_NO, Reader, Ways, WrongCellError, choice, code, day, moment, number, text, whole

DAY_FIRST, MONTH_FIRST = Ways(day_first=True), Ways(day_first=False)
COMMA = Ways(decimal_comma=True)
IN_PARIS = Ways(zone=ZoneInfo("Europe/Paris"), now=datetime(2027, 1, 1, tzinfo=UTC))


def refusal(read: Reader, cell: str, ways: Ways = Ways()) -> str:  # noqa: B008 - it is frozen
    with pytest.raises(WrongCellError) as caught:
        read(cell, ways)
    return str(caught.value)


@pytest.mark.parametrize(
    ("cell", "ways", "expected"),
    [
        ("2025-04-03", Ways(), date(2025, 4, 3)),
        ("2025-4-3", MONTH_FIRST, date(2025, 4, 3)),
        ("2025/04/03", DAY_FIRST, date(2025, 4, 3)),
        ("2025-04-03 00:00:00", Ways(), date(2025, 4, 3)),
        ("03/04/2025", DAY_FIRST, date(2025, 4, 3)),
        ("03/04/2025", MONTH_FIRST, date(2025, 3, 4)),
        ("3.4.2025", DAY_FIRST, date(2025, 4, 3)),
        ("3-4-2025", DAY_FIRST, date(2025, 4, 3)),
        ("3 Apr 2025", Ways(), date(2025, 4, 3)),
        ("03-April-2025", MONTH_FIRST, date(2025, 4, 3)),
    ],
)
def test_dates_that_are_understood(cell: str, ways: Ways, expected: date) -> None:
    """Year first and named months always, digits in the order chosen."""
    assert day()(cell, ways) == expected


@pytest.mark.parametrize(
    ("cell", "ways", "words"),
    [
        ("03/04/2025", Ways(), "Day or month first? Write 2025-04-03 or 2025-03-04"),
        ("04/13/2025", DAY_FIRST, "There is no month 13: this date speaks against the day standing first"),
        ("13/04/2025", MONTH_FIRST, "There is no month 13: this date speaks against the month standing first"),
        ("31/02/2025", DAY_FIRST, "no such day"),
        ("2025-02-29", Ways(), "no such day"),
        ("03/04/25", DAY_FIRST, "four digits"),
        ("45292", DAY_FIRST, "It may mean 2024-01-01"),
        ("45292.5", DAY_FIRST, "day number"),
        ("1925-01-01", Ways(), "from 1970 to 2100"),
        ("soon", Ways(), "2027-03-14"),
        ("#######", Ways(), "too narrow"),
        ("#REF!", Ways(), "shows an error"),
    ],
)
def test_dates_that_are_refused(cell: str, ways: Ways, words: str) -> None:
    """Nothing is guessed, and each refusal says what would be right."""
    assert words in refusal(day(), cell, ways)


def test_a_day_that_must_be_past_is_not_to_come() -> None:
    """A slip in the year is seen; what may lie ahead, such as a warranty, is not refused."""
    assert "still to come" in refusal(day(past=True), "2027-01-03", IN_PARIS)
    assert day()("2031-01-01", IN_PARIS) == date(2031, 1, 1)


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("2026-07-01 09:30", datetime(2026, 7, 1, 7, 30, tzinfo=UTC)),
        ("2026-07-01T09:30:15", datetime(2026, 7, 1, 7, 30, 15, tzinfo=UTC)),
        ("2026-07-01T07:30:00+00:00", datetime(2026, 7, 1, 7, 30, tzinfo=UTC)),
        ("2026-07-01T07:30:00.25Z", datetime(2026, 7, 1, 7, 30, 0, 250000, tzinfo=UTC)),
        ("2026-07-01 03:30 -0400", datetime(2026, 7, 1, 7, 30, tzinfo=UTC)),
        ("1 Jul 2026 9:30 PM", datetime(2026, 7, 1, 19, 30, tzinfo=UTC)),
        ("2026-07-01 12:05 am", datetime(2026, 6, 30, 22, 5, tzinfo=UTC)),
    ],
)
def test_moments_are_the_hospitals_own_time_unless_they_say_otherwise(cell: str, expected: datetime) -> None:
    """Local time is read with the zone's own summer time; an offset wins."""
    assert moment(cell, IN_PARIS) == expected


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("2026-07-01", "time of day too"),
        ("2026-07-01 25:00", "no such time"),
        ("2026-07-01 13:00 pm", "between 1 and 12"),
        ("2026-03-29 02:30", "clocks change"),
        ("2026-10-25 02:30", "clocks change"),
        ("2027-01-01 12:00", "still to come"),
        ("46204.39", "day number"),
    ],
)
def test_moments_that_are_refused(cell: str, words: str) -> None:
    """No time of day, none that exists, one that comes twice, one to come."""
    assert words in refusal(moment, cell, IN_PARIS)


@pytest.mark.parametrize(
    ("cell", "ways", "expected"),
    [
        ("5.5", Ways(), "5.50"),
        ("5,5", COMMA, "5.50"),
        ("5", COMMA, "5.00"),
        ("12.0", Ways(), "12.00"),
        ("\u22125", Ways(), "-5.00"),
        ("1\u00a0234.5", Ways(), "1234.50"),
    ],
)
def test_numbers_that_are_understood(cell: str, ways: Ways, expected: str) -> None:
    """The decimal sign is the one chosen; a printed minus and unbreakable spaces are read."""
    assert number(2, "-10", "2000")(cell, ways) == Decimal(expected)


@pytest.mark.parametrize(
    ("cell", "ways", "words"),
    [
        ("1,234", Ways(), "decimal point; here stands “,”"),
        ("1.234", COMMA, "decimal comma; here stands “.”"),
        ("1.234,5", COMMA, "without groups"),
        ("1.5E+02", Ways(), "shortened"),
        ("5 mL/h", Ways(), "only a number"),
        ("5.555", Ways(), "At most 2 decimals"),
        ("2001", Ways(), "-10 to 2000 mL/h"),
        ("nan", Ways(), "only a number"),
        ("#DIV/0!", Ways(), "shows an error"),
    ],
)
def test_numbers_that_are_refused(cell: str, ways: Ways, words: str) -> None:
    """A sign that could part thousands is never taken for a decimal sign, nor the other way round."""
    assert words in refusal(number(2, "-10", "2000", "mL/h"), cell, ways)


def test_whole_numbers() -> None:
    """A spreadsheet's `12.0` is 12, and 12.5 is none."""
    assert whole(0, 100)("12.0", Ways()) == 12
    assert "whole number from 0 to 100" in refusal(whole(0, 100), "12.5")
    assert "whole number" in refusal(whole(0, 100), "101")


@pytest.mark.parametrize("cell", ["00417", "SD-12/4", "12E5", "A1.0", "4.2.1"])
def test_numbers_off_labels_stay_text(cell: str) -> None:
    """Leading zeros, signs and letters are kept as they are."""
    assert code(30)(cell, Ways()) == cell


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("1.23E+11", "digits are lost"),
        ("1,23E+11", "digits are lost"),
        ("10023.0", "Write 10023"),
        ("1,234", "Write 1234"),
        ("A1\nB2", "line break"),
        ("A" * 31, "At most 30 characters; this has 31"),
        ("#N/A", "shows an error"),
        ("##", "too narrow"),
        ("A\x071", "control characters"),
        ("Gr\ufffd\ufffde", "letter was lost"),
    ],
)
def test_mangled_label_numbers_are_refused(cell: str, words: str) -> None:
    """What a spreadsheet calculated is refused with the way out."""
    assert words in refusal(code(30), cell)


def test_words_and_choices() -> None:
    """Long words are counted, one of a few is told in any case, and the nearest is proposed."""
    pool = choice({"clinical": "clinical", "loan": "loan", "spare": "spare"})
    assert pool("Clinical", Ways()) == "clinical"
    assert "“clinical”" in refusal(pool, "clincal")
    assert "Known: clinical, loan, spare" in refusal(pool, "xyz")
    assert [YES_NO(cell, Ways()) for cell in ("Yes", "no", "1", "FALSE")] == [True, False, True, False]
    assert "this has 6" in refusal(text(5), "abcdef")
    long_words: Any = text(20, lines=True)("two\nlines", Ways())
    assert long_words == "two\nlines"
