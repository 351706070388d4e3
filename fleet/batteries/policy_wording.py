"""Limits, service levels and months of a plan as a reader says them."""

from datetime import date
from decimal import Decimal
from typing import Final

from fleet.web.phrases import NO_BREAK, NOT_KNOWN, percent

#: The service levels that can be chosen (each night works out the demand at just these), in words.
SERVICE_LEVELS: Final = {
    0.5: "1 in 2",
    0.8: "4 in 5",
    0.9: "9 in 10",
    0.95: "19 in 20",
    0.98: "49 in 50",
    0.99: "99 in 100",
}
_TENTHS, _EXACT = 0.15, 0.011
_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
MONTHS_A_YEAR: Final = 12


def limit_words(chance: float | Decimal) -> str:
    """Say a limit as a share: `1 in 10`, `3 in 10`, `about 1 in 70 (1.4 %)`."""
    value = float(chance)
    if value >= _TENTHS and abs(value * 10 - round(value * 10)) < _EXACT:
        return "1 in 2" if round(value * 10) == 5 else f"{round(value * 10)} in 10"  # noqa: PLR2004 - half of ten
    count = round(1 / value)
    exact = abs(1 / value - count) < _EXACT
    return f"1 in {count}" if exact else f"about 1 in {count} ({percent(value)})"


def service_words(level: float) -> str:
    """Say how often the shelf lasts: `19 in 20 times`."""
    known = next((words for value, words in SERVICE_LEVELS.items() if abs(value - level) < 1e-9), "")  # noqa: PLR2004 - the same number
    return f"{known or percent(level, 0)} times" if known else f"{percent(level, 0)} of the time"


def packs(count: float) -> str:
    """Say a number of packs: `1 pack`, `14 packs`."""
    return f"{count:.0f}{NO_BREAK}pack{'' if round(count) == 1 else 's'}"


def months(count: int) -> str:
    """Say an interval: `6 months`, `a year`, `2 years`."""
    if count % MONTHS_A_YEAR:
        return f"{count}{NO_BREAK}month{'' if count == 1 else 's'}"
    return "a year" if count == MONTHS_A_YEAR else f"{count // MONTHS_A_YEAR}{NO_BREAK}years"


def month(first: date) -> str:
    """Say a month: `January 2027`."""
    return f"{_MONTHS[first.month - 1]}{NO_BREAK}{first.year}"


def short_month(first: date) -> str:
    """Say a month in a table: `Jan 2027`."""
    return f"{_MONTHS[first.month - 1][:3]}{NO_BREAK}{first.year}"


def years_range(low: float | None, high: float | None) -> str:
    """Say a range of lives: `3.1 to 6.4 years`, `over 3.1 years` where the far end lies beyond what can be told."""
    if low is None:
        return NOT_KNOWN
    return f"over {low:.1f}{NO_BREAK}years" if high is None else f"{low:.1f} to {high:.1f}{NO_BREAK}years"
