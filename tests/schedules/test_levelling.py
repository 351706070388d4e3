"""A proposal to level the work: what it takes in, what it gives, and what taking it up changes."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError, ConflictError, NotAllowedError
from fleet.jobs.handlers import Run, kind
from fleet.jobs.models import Job
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from fleet.schedules import actions, queries
from fleet.schedules.actions import levelling
from fleet.schedules.models import Due, Levelling, Plan
from fleet.schedules.queries import Proposal
from fleet.schedules.wording import week_cut
from tests.builders import BY, a_device, a_site, a_ward
from tests.schedules.builders import ACCEPTED, a_due, a_plan, a_proposal, on

pytestmark = pytest.mark.django_db

#: A Wednesday; the plan's first week is the one from Monday 6 December.
TODAY = date(2027, 12, 1)
MONDAY = date(2027, 12, 6)


def some_dues(number: int, **plan_facts: object) -> list[Due]:
    """Services of so many drivers, each due on 31 Jan 2028 with a window of 30 days before and after."""
    return [a_due(**plan_facts) if at == 0 else another() for at in range(number)]


def another() -> Due:
    with on(ACCEPTED):
        driver = a_device(accepted_on=ACCEPTED)
        (due, *_) = actions.open_dues(driver, by=BY)
    return due


def proposed(day: date = TODAY, **facts: object) -> tuple[Levelling, Proposal]:
    with on(day):
        row = a_proposal(**facts)
    found = queries.proposal(row)
    assert found is not None
    return row, found


def test_a_heap_of_services_is_spread_over_its_window() -> None:
    """Nine services in one week become one in each week of the window that holds a working day."""
    some_dues(9)
    _, found = proposed()
    assert (found.monday, found.fullest_before, found.fullest, found.bound) == (MONDAY, 9, 1, 1)
    planned = [week.monday for week in found.weeks if week.dues]
    assert planned == [date(2028, 1, 3) + at * timedelta(days=7) for at in range(9)]
    assert sum(week.before for week in found.weeks) == sum(week.after for week in found.weeks)


def test_a_driver_that_is_not_located_fills_no_week() -> None:
    """Nobody can work on it: its due has no part in the proposal until the driver is found."""
    gone, here = some_dues(2)
    for day in (date(2027, 11, 1), date(2027, 11, 8), date(2027, 11, 15)):
        with on(day):
            actions.look_in_vain(gone.device, a_ward("Ward 4"), note="All bays", by=BY)
    assert Device.objects.get(pk=gone.device_id).condition == "not_located"
    _, found = proposed()
    assert [row.due for row in found.rows] == [here.pk]


def test_proposing_changes_no_due() -> None:
    """Until it is taken up, nothing on any due is other than before."""
    some_dues(3)
    before = list(Due.objects.order_by("pk").values())
    proposed()
    assert list(Due.objects.order_by("pk").values()) == before


def test_taking_up_writes_the_planned_week_and_nothing_else() -> None:
    """Due date and window stay; each due gets the Monday of its week, with an entry in the trail."""
    some_dues(3)
    row, found = proposed()
    names = ("due_on", "opens_on", "closes_on", "late_since")
    before = list(Due.objects.order_by("pk").values(*names))
    with on(TODAY):
        assert actions.take_up(row, by=BY) == 3
    assert list(Due.objects.order_by("pk").values(*names)) == before
    for one in found.rows:
        assert one.week is not None
        assert Due.objects.get(pk=one.due).planned_for == MONDAY + one.week * timedelta(days=7)
    assert TrailEntry.objects.filter(verb="planned for a week").count() == 3
    row.refresh_from_db()
    assert row.taken_up_by == BY.name


def test_a_due_that_was_done_or_moved_since_is_left() -> None:
    """Of three, one done and one put off since the proposal: one gets its planned week."""
    done, moved, same = some_dues(3)
    row, _ = proposed()
    with on(date(2028, 1, 10)):
        actions.roll(done, done_on=date(2028, 1, 10), by=BY)
        Due.objects.filter(pk=moved.pk).update(due_on=date(2028, 2, 1))
        assert actions.take_up(row, by=BY) == 1
    assert list(Due.objects.exclude(planned_for=None)) == [same]


def test_weeks_that_have_gone_by_are_not_taken_up() -> None:
    """A proposal taken up in the middle of its span plans only from the week that runs."""
    some_dues(9)
    row, _ = proposed()
    with on(date(2028, 2, 9)):
        assert actions.take_up(row, by=BY) == 4
    assert Due.objects.order_by("planned_for").exclude(planned_for=None)[0].planned_for == date(2028, 2, 7)


def test_a_week_that_the_window_cuts_is_planned_from_its_first_working_day_inside() -> None:
    """Of a window from Wednesday to Monday, one is planned from Wednesday, or the next day worked, one by Monday."""
    some_dues(2, window_before_days=5, window_after_days=0)
    with on(TODAY):
        actions.close_days(a_site(), date(2028, 1, 26), date(2028, 1, 26), "Inspection", by=BY)
    row, found = proposed(most_away="0.1")
    assert not found.without
    with on(TODAY):
        assert actions.take_up(row, by=BY) == 2
    first, second = Due.objects.order_by("planned_for")
    assert (first.planned_for, second.planned_for) == (date(2028, 1, 27), date(2028, 1, 31))
    words = [week_cut(each).replace("\xa0", " ") for each in (first, second)]
    assert words == ["from Wed 26 Jan 2028", "by Mon 31 Jan 2028"]


def planned(due: Due, monday: date = date(2028, 1, 31)) -> Due:
    Due.objects.filter(pk=due.pk).update(planned_for=monday)
    due.refresh_from_db()
    return due


def test_a_due_that_is_done_loses_its_planned_week() -> None:
    """Rolled on, a due has no planned week, even where its next window is open in that week already."""
    due = planned(a_due(months=1))
    with on(date(2028, 2, 1)):
        assert actions.roll(due, done_on=date(2028, 2, 1), by=BY).planned_for is None


def test_a_due_that_is_put_off_loses_its_planned_week(manager: Person) -> None:
    """The week was planned for another day."""
    due = planned(a_due())
    with on(TODAY):
        put_off = actions.defer(due, date(2028, 4, 1), why="Ward closed", by=actor_for(manager))
    assert put_off.planned_for is None


def test_a_due_moved_within_reach_of_its_planned_week_keeps_it() -> None:
    """An own interval that moves the window keeps the week that still lies in it, and gives up one that doesn't."""
    due = planned(a_due(), date(2028, 2, 7))
    with on(TODAY):
        actions.set_house_rule({"history_months": 1}, why="test", by=BY)
        assert actions.set_own_interval(due, 13, why="Little used", by=BY).planned_for == date(2028, 2, 7)
        assert actions.set_own_interval(due, 18, why="Little used", by=BY).planned_for is None


def test_a_service_and_a_battery_test_of_one_driver_share_a_week() -> None:
    """Due three weeks apart with windows that overlap: one visit, one week."""
    due = a_due()
    with on(ACCEPTED):
        a_plan(name="Battery", kind=Plan.Kind.BATTERY, months=13)
    _, found = proposed()
    assert found.visits == 1
    assert len({one.week for one in found.rows}) == 1
    assert len(found.rows) == 2
    assert due.pk in {one.due for one in found.rows}


def test_late_work_comes_first_and_counts_in_the_first_week_before() -> None:
    """A service whose window has closed is planned for the first week."""
    due = a_due()
    _, found = proposed(date(2028, 4, 3))
    assert [(one.due, one.week) for one in found.rows] == [(due.pk, 0)]
    assert found.weeks[0].before == 1


def test_what_closes_before_the_first_week_is_to_be_done_now() -> None:
    """On Tuesday 29 Feb a window that ends on 1 March has no whole week left: it is listed with that reason."""
    a_due()
    _, found = proposed(date(2028, 2, 29))
    assert [one.why for one in found.without] == [queries.levelling.NoWeek.BEFORE]


def test_a_window_that_opens_at_the_weekend_begins_the_week_after() -> None:
    """Nobody is sent before the window opens on Saturday 1 January just because the week before touches it."""
    a_due()
    _, found = proposed()
    assert found.rows[0].opens_on == date(2028, 1, 1)
    assert min(week.monday for week in found.weeks if week.dues) >= date(2028, 1, 3)


def test_what_comes_round_again_fills_its_week_and_gets_none() -> None:
    """A test every four months stands once as a due and fills two later weeks with its time."""
    a_due(months=4)
    _, found = proposed(date(2027, 5, 3))
    assert (len(found.rows), found.again) == (1, 2)
    assert sum(week.after for week in found.weeks) == 3


def test_a_ward_that_can_spare_no_more_is_said() -> None:
    """Ten drivers of a ward that spares one a week find nine weeks: one is without, because of its ward."""
    some_dues(10)
    _, found = proposed(most_away="0.1")
    assert [one.why for one in found.without] == [queries.levelling.NoWeek.WARD]
    assert max(week.dues for week in found.weeks) == 1


def test_only_drivers_at_home_in_the_place_are_taken_in() -> None:
    """A proposal for one ward knows nothing of another; retired drivers and kinds without minutes are left out."""
    mine = a_due(device=a_device(a_ward(), accepted_on=ACCEPTED))
    with on(ACCEPTED):
        actions.open_dues(a_device(a_ward("Ward 9"), accepted_on=ACCEPTED), by=BY)
    _, found = proposed(place=a_ward())
    assert [one.due for one in found.rows] == [mine.pk]
    assert len(proposed(place=a_site())[1].rows) == 2
    assert proposed(place=a_ward(), service=0)[1].rows == []


def test_a_large_proposal_is_a_job_that_can_be_run_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """The row is there first; the job fills it in, and finds it done the second time."""
    some_dues(2)
    monkeypatch.setattr(levelling, "AT_ONCE", 1)
    with on(TODAY):
        row = a_proposal()
        assert queries.proposal(row) is None
        with pytest.raises(ConflictError, match="still being reckoned"):
            actions.take_up(row, by=BY)
        job = Job.objects.get(kind="level_dues")
        run = Run(job.pk, job.kind, job.payload, TODAY, 1, lambda _done, _total: None)
        assert kind("level_dues").handle(run) == {"dues": 2, "without a week": 0}
        assert kind("level_dues").handle(run) == {"dues": 0}
    row.refresh_from_db()
    found = queries.proposal(row)
    assert found is not None
    assert len(found.rows) == 2


def test_a_proposal_is_taken_up_or_dropped_once() -> None:
    """What was taken up can't be dropped, and what was dropped can't be taken up."""
    some_dues(1)
    (first, _), (second, _) = proposed(), proposed()
    with on(TODAY):
        actions.take_up(first, by=BY)
        actions.drop(second, by=BY)
        with pytest.raises(ConflictError, match="taken up already"):
            actions.drop(first, by=BY)
        with pytest.raises(ConflictError, match="dropped already"):
            actions.take_up(second, by=BY)


def test_only_who_may_put_work_off_may_propose(technician: Person) -> None:
    """A technician reads plans and makes none."""
    row, _ = proposed()
    by = actor_for(technician)
    asked = actions.Asked(place=a_site(), hours_a_week=Decimal(10), most_away=Decimal(1), minutes={"service": 60})
    for act in (lambda: actions.propose(asked, by=by), lambda: actions.take_up(row, by=by)):
        with pytest.raises(NotAllowedError):
            act()
    with pytest.raises(NotAllowedError):
        actions.drop(row, by=by)


@pytest.mark.parametrize(
    ("facts", "field"),
    [({"hours": 0}, "hours_a_week"), ({"most_away": "1.1"}, "most_away"), ({"most_away": "0"}, "most_away"),
     ({"service": 0, "battery": 0}, "service"),
     ({"service": -1}, "service"), ({"polishing": 5}, "service")],
)  # fmt: skip
def test_a_proposal_for_nothing_is_refused(facts: dict[str, object], field: str) -> None:
    """No hours, a share that is none, no minutes, negative minutes, an unknown kind: each is named."""
    with pytest.raises(BadValueError) as refused:
        a_proposal(**facts)
    assert refused.value.field == field


def test_a_retired_driver_counts_neither_as_work_nor_as_spare(manager: Person) -> None:
    """Of two drivers one retired: a ward of one spares one."""
    some_dues(2)
    gone = Device.objects.order_by("pk")[0]
    Device.objects.filter(pk=gone.pk).update(condition="retired", retired_on=TODAY)
    actions.suspend(gone, by=actor_for(manager))
    row, found = proposed()
    assert len(found.rows) == 1
    assert queries.levelling.work(row, {"service": 60}, MONDAY, TODAY).bench.drivers == {gone.home_id: 1}
