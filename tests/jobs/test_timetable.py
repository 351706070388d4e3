"""The nightly jobs: each once a day, from its hour on, in an order that makes sense."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from fleet.jobs import actions, handlers, timetable
from fleet.jobs.models import Job
from fleet.web import clock

HERE = ZoneInfo("Europe/London")
NIGHT = date(2027, 3, 14)


def at(hour: int, minute: int = 0, day: date = NIGHT) -> datetime:
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=timezone.get_default_timezone())


def ticked(moment: datetime) -> list[str]:
    with clock.at(moment):
        return [job.key for job in actions.tick()]


def everything_ends() -> None:
    Job.objects.update(state=Job.State.DONE)


@pytest.mark.parametrize("kind", timetable.BY_KIND)
def test_each_nightly_kind_has_its_handler(kind: str) -> None:
    """What stands on the timetable is done by some room, and has words for people."""
    assert handlers.kind(kind).words


def test_each_forerunner_stands_earlier_on_the_timetable() -> None:
    """Run in the timetable's order, no job waits for one behind it."""
    seen: set[str] = set()
    for entry in timetable.NIGHTLY:
        assert entry.after <= seen
        seen.add(entry.kind)


def test_a_night_raises_each_job_once_when_its_hour_has_come(db: None) -> None:
    """One row a kind and day, however often the timetable looks; the digest waits for all the others."""
    assert ticked(at(0, 59)) == []
    assert ticked(at(1)) == ["roll_dues:2027-03-14", "age_alerts:2027-03-14"]
    assert ticked(at(1, 1)) == []
    assert ticked(at(2)) == ["library_coverage:2027-03-14"]
    everything_ends()
    assert ticked(at(2, 1)) == ["refresh_forecasts:2027-03-14"]
    assert ticked(at(6)) == []
    Job.objects.filter(kind="refresh_forecasts").update(state=Job.State.FAILED, error="no power")
    everything_else = Job.objects.exclude(kind="refresh_forecasts")
    everything_else.update(state=Job.State.DONE)
    assert ticked(at(6, 1)) == ["seal_trail:2027-03-14", "morning_digest:2027-03-14"]
    assert ticked(at(23, 59)) == []
    assert ticked(at(1, day=NIGHT + timedelta(days=1))) == ["roll_dues:2027-03-15", "age_alerts:2027-03-15"]


def test_a_server_that_was_off_at_night_catches_up(db: None) -> None:
    """Switched on in the afternoon, the day's jobs are raised at once, each for that day."""
    assert len(ticked(at(15))) == 3
    assert {job.payload["day"] for job in Job.objects.all()} == {"2027-03-14"}


def test_the_hour_that_a_clock_change_leaves_out_costs_no_job() -> None:
    """On 28 March 2027 the clock jumps from 01:00 to 02:00: what is due from 1 on is due at 2."""
    before = datetime(2027, 3, 28, 0, 59, tzinfo=HERE)
    after = (before.astimezone(ZoneInfo("UTC")) + timedelta(minutes=1)).astimezone(HERE)
    assert after.hour == 2
    assert "roll_dues" not in [entry.kind for entry in timetable.due(before, set())]
    assert "roll_dues" in [entry.kind for entry in timetable.due(after, set())]


def test_the_next_run_is_tonight_or_tomorrow_or_now() -> None:
    """Before its hour today at the hour; once raised, tomorrow; when overdue, now; never for what is only asked for."""
    noon = datetime(2027, 3, 14, 12, tzinfo=HERE)
    early = noon.replace(hour=0)
    assert timetable.next_run("roll_dues", early, raised_today=False) == noon.replace(hour=1)
    assert timetable.next_run("roll_dues", noon, raised_today=True) == noon.replace(day=15, hour=1)
    assert timetable.next_run("roll_dues", noon, raised_today=False) == noon
    assert timetable.next_run("test_quick", noon, raised_today=False) is None


def test_a_weekly_job_is_due_on_its_day_alone(db: None) -> None:
    """The backtest is raised on Saturday, 20 March 2027, after the forecasts, and on no other night of the week."""
    raised = []
    for ahead in range(7):
        day = NIGHT + timedelta(days=ahead)
        for hour in (1, 2, 2, 3):
            raised += [key for key in ticked(at(hour, day=day)) if key.startswith("backtest")]
            everything_ends()
    assert raised == ["backtest:2027-03-20"]


def test_a_weekly_job_runs_next_on_its_day() -> None:
    """Until its hour on the day itself, then, late on the day at once, and when it has run in a week."""
    saturday = datetime(2027, 3, 20, 12, tzinfo=HERE)
    three = saturday.replace(hour=3)
    assert timetable.next_run("backtest", saturday - timedelta(days=5), raised_today=False) == three
    assert timetable.next_run("backtest", saturday.replace(hour=1), raised_today=False) == three
    assert timetable.next_run("backtest", saturday, raised_today=False) == saturday
    assert timetable.next_run("backtest", saturday, raised_today=True) == three + timedelta(days=7)


def test_the_trail_is_sealed_once_an_hour(db: None) -> None:
    """One row an hour, however often the timetable looks; an hour in which the server was off is left out."""

    def raised(moment: datetime) -> list[str]:
        with clock.at(moment):
            return [job.kind for job in actions.tick_hourly()]

    assert raised(at(9)) == ["seal_trail"]
    assert raised(at(9, 59)) == []
    assert raised(at(12)) == ["seal_trail"]
