"""Dates, spans and numbers as a reader says them; no clock is read here."""

import math
from datetime import date, datetime
from decimal import ROUND_DOWN, ROUND_HALF_EVEN, Decimal
from typing import Final

NOT_KNOWN: Final = "not known"
NO_BREAK: Final = "\u00a0"
MINUS: Final = "\u2212"

#: English month names whatever the server's locale, so that a printed date means the same everywhere.
_MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_DAYS_TOLD_IN: Final = ((14, 1, "day"), (56, 7, "week"), (730, 30.4375, "month"))
_DAYS_A_YEAR: Final = 365.25
_NEAR: Final = {-1: "yesterday", 0: "today", 1: "tomorrow"}
_MINUTE, _HOUR, _DAY = 60, 3600, 86400


def day(value: date) -> str:
    """Say a date so that no reader can swap day and month: `14 Mar 2027`."""
    return f"{value.day}{NO_BREAK}{_MONTHS[value.month - 1]}{NO_BREAK}{value.year}"


def moment(value: datetime) -> str:
    """Say a date with its minute, in the zone the value carries: `14 Mar 2027 09:12`."""
    return f"{day(value)}{NO_BREAK}{value:%H:%M}"


def ago(value: date, today: date) -> str:
    """Say how far a day lies from `today`: `in 3 weeks`, `yesterday`, `2 years ago`. Counted down, never up."""
    days = (value - today).days
    return _NEAR.get(days) or _ahead_or_back(*_span(abs(days)), future=days > 0)


def moment_ago(value: datetime, now: datetime) -> str:
    """Say how long ago, or ahead, an instant is: `just now`, `5 minutes ago`, and from a day on as `ago` does."""
    seconds = (value - now).total_seconds()
    size = abs(seconds)
    if size < _MINUTE:
        return "just now"
    if size < _HOUR:
        return _ahead_or_back(int(size // _MINUTE), "minute", future=seconds > 0)
    if size < _DAY:
        return _ahead_or_back(int(size // _HOUR), "hour", future=seconds > 0)
    return ago(value.astimezone(now.tzinfo).date(), now.date())


def later(done: datetime, entered: datetime) -> str:
    """Say how long after it was done something was entered: `entered 3 days later`; empty up to a day."""
    days = (entered - done).days
    if days < 1:
        return ""
    count, name = _span(days)
    return f"entered {count} {name if count == 1 else f'{name}s'} later"


def quantity(value: float | Decimal | None, unit: str = "") -> str:
    """Say a number with its unit, unbroken, with a true minus: `5 mL/h`. At most three decimals, no trailing zeros."""
    if value is None or not math.isfinite(value):
        return NOT_KNOWN
    figure = f"{value:.3f}".rstrip("0").rstrip(".").replace("-", MINUS)
    figure = "0" if figure == f"{MINUS}0" else figure
    return f"{figure}{NO_BREAK}{unit}" if unit else figure


def percent(fraction: float | Decimal | None, decimals: int = 1) -> str:
    """Say a fraction (1 is the whole) in percent, never rounding onto 100 or 0 what is neither.

    0.9996 is `99.9 %`, because "100 %" would hide the one that was missed; 0.0001 is `under 0.1 %`.
    """
    if fraction is None or not math.isfinite(fraction):
        return NOT_KNOWN
    exact, step = Decimal(str(fraction)) * 100, Decimal(1).scaleb(-decimals)
    rounded = exact.quantize(step, ROUND_HALF_EVEN)
    if rounded == 0 and exact > 0:
        return f"under{NO_BREAK}{step}{NO_BREAK}%"
    if rounded == 100 and exact < 100:  # noqa: PLR2004 - the whole, in percent
        rounded = exact.quantize(step, ROUND_DOWN)
    figure = "100" if exact == 100 else "0" if exact == 0 else str(rounded)  # noqa: PLR2004 - same
    return f"{figure.replace('-', MINUS)}{NO_BREAK}%"


def _span(days: int) -> tuple[int, str]:
    for limit, length, name in _DAYS_TOLD_IN:
        if days < limit:
            return int(days // length), name
    return int(days // _DAYS_A_YEAR), "year"


def _ahead_or_back(count: int, name: str, *, future: bool) -> str:
    words = f"{count} {name}" if count == 1 else f"{count} {name}s"
    return f"in {words}" if future else f"{words} ago"
