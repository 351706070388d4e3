"""The minutes of each week, less those who are away."""

from datetime import date

from fleet.core.levelling import Absence, Bench, weekly_minutes

MONDAY = date(2028, 1, 3)


def test_a_week_off_takes_a_persons_hours_from_that_week_only() -> None:
    """Of 30 hours a week, 12 are missing in the week of leave, a fifth of them for one day of the next."""
    leave = Absence("A", date(2028, 1, 10), date(2028, 1, 17), 12)
    assert weekly_minutes(MONDAY, [5, 5, 5, 5], 30, [leave]) == (1800, 1080, 1656, 1800)


def test_a_weekend_takes_nothing_and_nobody_is_away_twice() -> None:
    """A weekend has no hours; two who are away take no more than there is; a holiday is not taken off twice."""
    weekend = Absence("A", date(2028, 1, 8), date(2028, 1, 9), 20)
    assert weekly_minutes(MONDAY, [5], 10, [weekend]) == (600,)
    week = Absence("A", MONDAY, date(2028, 1, 7), 8)
    assert weekly_minutes(MONDAY, [5], 10, [week, week]) == (0,)
    assert weekly_minutes(MONDAY, [4], 10, [week]) == (96,)


def test_a_ward_spares_by_its_own_share() -> None:
    """Of ten drivers each, a ward with 10 % spares one where the others spare three."""
    bench = Bench((60,), {1: 10, 2: 10}, 0.3, {2: 0.1})
    assert (bench.spares(1), bench.spares(2)) == (3, 1)
