"""Dates, spans and numbers read as people say them."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest

from fleet.web import phrases

TODAY = date(2027, 3, 14)
NOW = datetime(2027, 3, 14, 9, 12, tzinfo=ZoneInfo("Europe/Paris"))


def plain(words: str) -> str:
    return words.replace(phrases.NO_BREAK, " ")


def test_a_date_cannot_be_read_two_ways() -> None:
    """The month is a word, so day and month are never swapped; the minute stands in the zone the value carries."""
    assert plain(phrases.day(date(2027, 4, 3))) == "3 Apr 2027"
    assert plain(phrases.moment(NOW)) == "14 Mar 2027 09:12"


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (0, "today"),
        (1, "tomorrow"),
        (-1, "yesterday"),
        (2, "in 2 days"),
        (-13, "13 days ago"),
        (14, "in 2 weeks"),
        (27, "in 3 weeks"),
        (-55, "7 weeks ago"),
        (56, "in 1 month"),
        (62, "in 2 months"),
        (-729, "23 months ago"),
        (731, "in 2 years"),
        (-1095, "2 years ago"),
        (-1096, "3 years ago"),
    ],
)
def test_a_span_is_counted_in_whole_units_and_never_rounded_up(days: int, words: str) -> None:
    """Three years less a day is two years: nothing sounds further off, or longer overdue, than it is."""
    assert phrases.ago(TODAY + timedelta(days=days), TODAY) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (-59, "just now"),
        (-60, "1 minute ago"),
        (3599, "in 59 minutes"),
        (-3600, "1 hour ago"),
        (-86399, "23 hours ago"),
        (-86400, "yesterday"),
        (3 * 86400, "in 3 days"),
    ],
)
def test_an_instant_is_told_in_minutes_and_hours_within_a_day(seconds: int, words: str) -> None:
    """Within a day the hours are told, from then on the days of the calendar."""
    assert phrases.moment_ago(NOW + timedelta(seconds=seconds), NOW) == words


def test_the_days_of_an_instant_are_the_readers_days() -> None:
    """23:30 in London is already the next day in Paris, where the reader is."""
    late = datetime(2027, 3, 10, 23, 30, tzinfo=UTC)
    assert phrases.moment_ago(late, NOW) == "3 days ago"


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (5, "mL/h", "5 mL/h"),
        (Decimal("0.10"), "mL/h", "0.1 mL/h"),
        (6.98765, "h", "6.988 h"),
        (-2.5, "", "\u22122.5"),
        (-0.0001, "", "0"),
        (100, "", "100"),
        (None, "h", "not known"),
        (float("nan"), "h", "not known"),
    ],
)
def test_a_quantity_carries_its_unit_and_no_idle_zeros(value: float | None, unit: str, words: str) -> None:
    """A number is shown as short as it is, with its unit, and what is not known says so."""
    assert plain(phrases.quantity(value, unit)) == words


@pytest.mark.parametrize(
    ("fraction", "decimals", "words"),
    [
        (1, 1, "100 %"),
        (0.9996, 1, "99.9 %"),
        (0.9999999, 0, "99 %"),
        (0.9994, 1, "99.9 %"),
        (0.8, 1, "80.0 %"),
        (0, 1, "0 %"),
        (0.0001, 1, "under 0.1 %"),
        (0.004, 0, "under 1 %"),
        (1.0004, 1, "100.0 %"),
        (-0.0503, 1, "\u22125.0 %"),
        (None, 1, "not known"),
    ],
)
def test_a_percentage_never_rounds_onto_all_or_nothing(fraction: float | None, decimals: int, words: str) -> None:
    """One service missed in two thousand must not print as 100 %, nor one fault as 0 %."""
    assert plain(phrases.percent(fraction, decimals)) == words
