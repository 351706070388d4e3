"""The one place where the house reads the time.

Actions ask `now()`, never the system clock, so that a demonstration of three years and a test of a month end are
built by the same actions that serve the ward tonight.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import date, datetime

from django.utils import timezone

_held: ContextVar[datetime | None] = ContextVar("held_moment", default=None)


def now() -> datetime:
    """The moment, aware of its time zone: the server's, unless `at` holds another."""
    return _held.get() or timezone.now()


def today() -> date:
    """The date at the hospital (settings.TIME_ZONE) at `now()`."""
    return timezone.localdate(now())


@contextmanager
def at(moment: datetime) -> Iterator[None]:
    """Hold the clock at an aware moment, for demonstrations and tests."""
    if timezone.is_naive(moment):
        msg = f"{moment!r} has no time zone; give an aware datetime"
        raise ValueError(msg)
    token = _held.set(moment)
    try:
        yield
    finally:
        _held.reset(token)


def local_day(moment: datetime) -> date:
    """The date of an aware moment at the hospital."""
    return timezone.localdate(moment)
