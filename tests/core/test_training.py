"""How training on record stands on a day."""

from datetime import date, timedelta

import pytest

from fleet.core.training import Held, Standing, held_on

DAY = date(2027, 3, 14)
YEAR_BEFORE = date(2026, 3, 14)


@pytest.mark.parametrize(
    ("ends", "standing"),
    [
        (DAY - timedelta(days=1), Standing.ENDED),
        (DAY, Standing.SOON),
        (DAY + timedelta(days=59), Standing.SOON),
        (DAY + timedelta(days=60), Standing.IN_DATE),
    ],
)
def test_the_last_day_counts(ends: date, standing: Standing) -> None:
    """In date on its last day and ended on the next; it ends soon with fewer than 60 days left."""
    held = held_on([(YEAR_BEFORE, ends)], DAY, 60)
    assert held == Held(standing, ends)
    assert held.covers is (standing is not Standing.ENDED)


def test_the_record_that_lasts_longest_counts() -> None:
    """A shorter one beside it takes nothing away; one without an end outlasts all; one to come is not there yet."""
    short, long = (YEAR_BEFORE, DAY), (YEAR_BEFORE, DAY + timedelta(days=400))
    assert held_on([long, short], DAY, 60) == Held(Standing.IN_DATE, long[1])
    assert held_on([short, (YEAR_BEFORE, None)], DAY, 60) == Held(Standing.IN_DATE, None)
    assert held_on([(DAY + timedelta(days=1), None)], DAY, 60) == Held(Standing.NONE)
    assert held_on([], DAY, 60).covers is False
