"""Late dues in groups of lateness: the boundaries hold in the database that the page asks."""

from datetime import timedelta

import pytest

from fleet.core.due import Ageing
from fleet.schedules.queries import ages, late_by, live
from tests.builders import a_device
from tests.schedules.builders import a_due

pytestmark = pytest.mark.django_db

BOUNDARIES = [
    (0, None),
    (1, Ageing.TO_30),
    (30, Ageing.TO_30),
    (31, Ageing.TO_60),
    (60, Ageing.TO_60),
    (61, Ageing.TO_90),
    (90, Ageing.TO_90),
    (91, Ageing.OVER_90),
    (4000, Ageing.OVER_90),
]


@pytest.mark.parametrize(("days", "group"), BOUNDARIES)
def test_a_late_due_stands_in_one_group(days: int, group: Ageing | None) -> None:
    """The groups meet without gap or overlap at 30/31, 60/61 and 90/91 days; on its last day a due is in none."""
    due = a_due(a_device())
    today = due.closes_on + timedelta(days=days)
    rows = live()
    assert [each for each in Ageing if late_by(rows, each, today).exists()] == ([group] if group else [])
    assert ages(rows, today) == {each: int(each is group) for each in Ageing}
