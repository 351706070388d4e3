"""The day a due is planned for where nobody works on its own, and working days of a week. Worked by hand."""

from datetime import date, timedelta

import pytest

from fleet.core.due import Window
from fleet.core.errors import BadValueError
from fleet.core.workdays import Planned, Season, planned_day, working_days

CHRISTMAS = {date(2026, 12, 24): "Eve", date(2026, 12, 25): "Christmas Day", date(2026, 12, 28): "Boxing Day"}


def closed(day: date) -> str:
    return CHRISTMAS.get(day, "")


def span(due: date, before: int, after: int) -> Window:
    return Window(due - timedelta(days=before), due, due + timedelta(days=after))


@pytest.mark.parametrize(
    ("due", "before", "after", "planned"),
    [
        (date(2026, 12, 25), 30, 30, date(2026, 12, 23)),  # the Wednesday before
        (date(2026, 12, 25), 1, 30, date(2026, 12, 29)),  # none before in the window: the Tuesday after the weekend
        (date(2026, 12, 28), 3, 1, date(2026, 12, 29)),  # Friday is closed, the weekend is none
        (date(2026, 12, 28), 5, 1, date(2026, 12, 23)),
    ],
)
def test_a_due_on_a_closed_day_moves_to_a_working_day(due: date, before: int, after: int, planned: date) -> None:
    """The last working day before it inside the window, else the first one after it; its reason goes along."""
    assert planned_day(span(due, before, after), closed) == Planned(planned, CHRISTMAS[due])


def test_it_never_leaves_its_window() -> None:
    """Three closed days and a weekend fill the window: it keeps its day and says that there was none."""
    kept = planned_day(span(date(2026, 12, 25), 1, 3), closed)
    assert kept == Planned(date(2026, 12, 25), "Christmas Day; no working day in its window", found=False)


@pytest.mark.parametrize("day", [date(2026, 12, 23), date(2026, 12, 26)])
def test_an_open_day_and_a_mere_saturday_stay(day: date) -> None:
    """A due is a date and no appointment: only closed days move it."""
    assert planned_day(span(day, 30, 30), closed) is None


SUMMER, WINTER = Season(5, 9), Season(10, 3)


@pytest.mark.parametrize(
    ("season", "due", "days", "planned", "why"),
    [
        (SUMMER, date(2027, 4, 10), 30, date(2027, 4, 30), "before its ward opens for the season"),
        (SUMMER, date(2027, 10, 20), 30, date(2027, 10, 1), "after its ward closed for the season"),
        (SUMMER, date(2027, 1, 15), 30, date(2027, 1, 15), "its ward is closed for the season"),
        (WINTER, date(2027, 9, 10), 30, date(2027, 9, 30), "before its ward opens for the season"),
        (WINTER, date(2027, 4, 20), 30, date(2027, 4, 1), "after its ward closed for the season"),
    ],
)
def test_a_due_while_its_ward_is_closed(season: Season, due: date, days: int, planned: date, why: str) -> None:
    """Just before the ward opens, else just after it closed, else it stays and is shown as closed."""
    found = planned_day(span(due, days, days), closed, season)
    assert found is not None
    assert (found.day, found.why, found.found) == (planned, why, planned != due)


@pytest.mark.parametrize(("season", "day"), [(SUMMER, date(2027, 5, 1)), (WINTER, date(2027, 1, 4))])
def test_a_due_in_the_season_stays(season: Season, day: date) -> None:
    """While the ward is open, over the new year too, nothing moves."""
    assert planned_day(span(day, 30, 30), closed, season) is None


@pytest.mark.parametrize("months", [(0, 5), (3, 13), (1, 12), (5, 4)])
def test_months_that_make_no_season_are_refused(months: tuple[int, int]) -> None:
    """No month, or the whole year."""
    with pytest.raises(BadValueError):
        Season(*months)


def test_working_days_of_a_week() -> None:
    """The week of Christmas 2026 has three, the one after it four, another five."""
    weeks = [working_days(date(2026, 12, 21) + timedelta(weeks=week), closed) for week in range(3)]
    assert weeks == [3, 4, 5]
