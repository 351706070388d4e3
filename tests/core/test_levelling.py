"""Levelling: the best plan in small cases by trying all, and what every plan must keep."""

from collections import Counter
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.core.errors import BadValueError
from fleet.core.levelling import Bench, Job, Plan, Visit, Why, level, visits_of
from fleet.core.levelling.board import greedy

WEEKS = 6


@st.composite
def some_jobs(draw: st.DrawFn, most: int = 14) -> list[Job]:
    """Jobs of six drivers in two wards, in windows of up to six weeks."""
    made = []
    for _ in range(draw(st.integers(1, most))):
        device = draw(st.integers(0, 5))
        first, due, last = sorted(draw(st.integers(0, WEEKS - 1)) for _ in range(3))
        minutes = draw(st.sampled_from([10, 25, 40]))
        made.append(Job(device, device % 2, first, due, last, minutes, late=draw(st.integers(0, 5)) == 0))
    return made


some_benches = st.builds(
    Bench,
    minutes=st.tuples(*[st.sampled_from([0, 60, 100])] * (WEEKS - 1), st.just(100)),
    drivers=st.just({0: 3, 1: 3}),
    most_away=st.sampled_from([0.0, 0.4, 0.7, 1.0]),
)


def a_bench(minutes: int = 100, weeks: int = WEEKS, most_away: float = 1.0, drivers: int = 10) -> Bench:
    return Bench((minutes,) * weeks, {0: drivers, 1: drivers}, most_away)


def job(device: int, first: int, due: int, last: int, minutes: int = 30, *, late: bool = False) -> Job:
    return Job(device, 0, first, due, last, minutes, late)


def many_jobs(drivers: int, seed: int = 3) -> list[Job]:
    """A yearly service and a battery test of each driver, most of them due in the same weeks of the year."""
    rng = np.random.default_rng(seed)
    made = []
    for device in range(drivers):
        base = int(np.clip(rng.normal(20, 6), 0, 51))
        for due, minutes in ((base, 60), (int(np.clip(base + rng.integers(-12, 13), 0, 51)), 30)):
            made.append(Job(device, device // 40, max(due - 4, 0), due, min(due + 4, 51), minutes, rng.random() < 0.03))
    return made


def tried_all(visits: list[Visit], bench: Bench) -> tuple[int, float, int]:
    """Fewest visits without a week, then the least fullest week, then the least weeks away from the due ones."""
    choices = [[None, *(week for week in range(one.first, one.last + 1) if bench.minutes[week])] for one in visits]
    return min(found for weeks in product(*choices) if (found := worth(visits, weeks, bench)) is not None)


def worth(visits: list[Visit], weeks: tuple[int | None, ...], bench: Bench) -> tuple[int, float, int] | None:
    placed = [(one, week) for one, week in zip(visits, weeks, strict=True) if week is not None]
    away = Counter((one.ward, week) for one, week in placed)
    if any(number > bench.spares(ward) for (ward, _), number in away.items()):
        return None
    load: Counter[int] = Counter()
    for one, week in placed:
        load[week] += one.minutes
    fullest = max((minutes / bench.minutes[week] for week, minutes in load.items()), default=0.0)
    return len(visits) - len(placed), round(fullest, 4), sum(abs(week - one.due) for one, week in placed)


def weeks_of_visits(jobs: list[Job], plan: Plan, weeks: int) -> list[tuple[Visit, int | None]]:
    """Each visit with its week; the test fails if two jobs of one visit have different weeks."""
    found = []
    for visit in visits_of(jobs, weeks):
        chosen = {plan.weeks[at] for at in visit.jobs}
        assert len(chosen) == 1
        found.append((visit, chosen.pop()))
    return found


@given(some_jobs(most=6).map(lambda jobs: [one for one in jobs if not one.late]), some_benches)
def test_small_plans_are_the_best_of_all(jobs: list[Job], bench: Bench) -> None:
    """No other choice of weeks places more, has a less full fullest week, or else keeps nearer to the due weeks."""
    plan = level(jobs, bench)
    visits = visits_of(jobs, WEEKS)
    chosen = tuple(week for _, week in weeks_of_visits(jobs, plan, WEEKS))
    assert worth(visits, chosen, bench) == tried_all(visits, bench)
    assert plan.best
    assert plan.fullest == plan.bound


def test_of_two_that_cannot_both_go_the_one_nearer_its_week_goes() -> None:
    """Where a ward spares one driver in the only open week, the visit that would be further off stays without."""
    bench = Bench((0, 0, 60, 0, 0, 100), {0: 3}, 0.0)
    assert level([job(1, 0, 0, 2), job(2, 0, 1, 2)], bench).weeks == (None, 2)


@given(some_jobs(), some_benches)
def test_windows_wards_and_closed_weeks_are_always_kept(jobs: list[Job], bench: Bench) -> None:
    """Timely work stays in its window, no ward gives more drivers away than it may, no closed week has work."""
    plan = level(jobs, bench)
    for one, week in zip(jobs, plan.weeks, strict=True):
        if week is not None:
            assert bench.minutes[week]
            assert one.late or one.first <= week <= one.last
    away = Counter((visit.ward, week) for visit, week in weeks_of_visits(jobs, plan, WEEKS) if week is not None)
    assert all(number <= bench.spares(ward) for (ward, _), number in away.items())


@given(some_jobs(), some_benches)
def test_load_and_reasons_account_for_every_job(jobs: list[Job], bench: Bench) -> None:
    """What is planned and what has no week make up all the work, and each job without a week says why."""
    plan = level(jobs, bench)
    without = {at for at, week in enumerate(plan.weeks) if week is None}
    assert set(plan.why) == without
    assert plan.after.sum() + sum(jobs[at].minutes for at in without) == plan.before.sum()
    assert plan.before.sum() == sum(one.minutes for one in jobs)


@given(some_jobs(), some_benches)
def test_a_plan_lies_between_its_bound_and_the_plain_rule(jobs: list[Job], bench: Bench) -> None:
    """The bound is never above the plan; where the plain rule places as much, the plan's fullest week is no fuller."""
    plan = level(jobs, bench)
    assert plan.bound <= plan.fullest + 1e-9
    assert plan.gap >= 0
    if len(greedy(visits_of(jobs, bench.weeks), bench).unplaced()) == 0:
        assert not plan.why
        assert plan.fullest <= plan.greedy + 1e-9


@given(some_jobs())
def test_visits_join_what_overlaps_and_nothing_else(jobs: list[Job]) -> None:
    """Each job is in one visit of its driver, within its window; a driver's timely visits have no week in common."""
    visits = visits_of(jobs, WEEKS)
    assert sorted(at for visit in visits for at in visit.jobs) == list(range(len(jobs)))
    for visit in visits:
        for at in visit.jobs:
            one = jobs[at]
            assert one.device == visit.device
            assert one.late or one.first <= visit.first <= visit.due <= visit.last <= one.last
    for device in {visit.device for visit in visits if not visit.late}:
        spans = sorted((each.first, each.last) for each in visits if each.device == device and not each.late)
        assert all(before[1] < after[0] for before, after in pairwise(spans))


def test_a_battery_test_and_a_service_of_one_driver_are_one_visit() -> None:
    """Windows 0 to 3 and 2 to 5 leave weeks 2 and 3 for both; another driver's work stays its own."""
    first, other = visits_of([job(1, 0, 1, 3, 45), job(1, 2, 4, 5, 15), job(2, 2, 4, 5)], WEEKS)
    assert (first.first, first.due, first.last, first.minutes, first.jobs) == (2, 2, 3, 60, (0, 1))
    assert other.device == 2


def test_late_work_takes_with_it_what_can_be_done_now() -> None:
    """A late service takes along the battery test whose window is open, and leaves the one that opens later."""
    visits = visits_of([job(1, 0, 1, 2, late=True), job(1, 0, 2, 3, 15), job(1, 4, 4, 5, 20)], WEEKS)
    assert [(visit.late, visit.last, visit.jobs) for visit in visits] == [(True, 3, (0, 1)), (False, 5, (2,))]


def test_late_work_fills_the_first_weeks() -> None:
    """Five late jobs of 40 minutes in weeks of 100: two, two and one, before anything else is spread."""
    plan = level([job(device, 0, 0, 0, 40, late=True) for device in range(5)], a_bench())
    assert plan.weeks == (0, 0, 1, 1, 2)


def test_a_heap_in_one_week_is_spread_over_the_window() -> None:
    """Six jobs of 30 minutes due in week 2 with weeks 1 to 3 open: 60 minutes a week, and 60 is the bound."""
    plan = level([job(device, 1, 2, 3) for device in range(6)], a_bench())
    assert plan.before.tolist() == [0, 0, 180, 0, 0, 0]
    assert plan.after.tolist() == [0, 60, 60, 60, 0, 0]
    assert (plan.fullest, plan.bound, plan.gap, plan.best) == (pytest.approx(0.6), pytest.approx(0.6), 0, True)


def test_work_stays_in_its_due_week_where_moving_it_levels_nothing() -> None:
    """One job a week in separate weeks: nobody is asked to come at another time."""
    jobs = [job(device, max(device - 1, 0), device, min(device + 1, 5)) for device in range(6)]
    assert level(jobs, a_bench()).weeks == (0, 1, 2, 3, 4, 5)


def test_a_week_with_fewer_hours_gets_less() -> None:
    """A week of half the hours gets half the work."""
    bench = Bench((100, 50, 100), {0: 10}, 1.0)
    assert level([job(device, 0, 1, 2, 10) for device in range(10)], bench).after.tolist() == [40, 20, 40]


def test_too_few_hours_are_told_and_the_work_planned_all_the_same() -> None:
    """Four jobs of 40 minutes in two weeks of 50: both weeks are 30 minutes over, and no job is left out."""
    plan = level([job(device, 0, 0, 1, 40) for device in range(4)], a_bench(50, weeks=2))
    assert plan.over.tolist() == [30, 30]
    assert not plan.why
    assert plan.fullest == pytest.approx(1.6)


def test_a_ward_that_can_spare_no_more_is_named_as_the_reason() -> None:
    """Three drivers of a ward that spares one a week, in two weeks: one has no week, because of the ward."""
    plan = level([job(device, 0, 0, 1) for device in range(3)], a_bench(most_away=0.0))
    assert sorted(plan.weeks, key=str) == [0, 1, None]
    assert list(plan.why.values()) == [Why.WARD]


def test_work_whose_whole_window_is_closed_says_so() -> None:
    """With the bench closed in week 0 a job for week 0 only cannot be placed."""
    plan = level([job(1, 0, 0, 0)], Bench((0, 100), {0: 10}, 1.0))
    assert plan.why == {0: Why.CLOSED}


def test_a_ward_always_spares_one() -> None:
    """A tenth of four drivers is less than one, and still one may go; a tenth of thirty is three, not two."""
    assert a_bench(most_away=0.1, drivers=4).spares(0) == 1
    assert a_bench(most_away=0.1, drivers=30).spares(0) == 3


def test_a_year_of_four_hundred_drivers_comes_close_to_the_bound() -> None:
    """Rounded from real numbers: within 5 % of the bound, well below the plain rule, all placed that can be."""
    plan = level(many_jobs(400), Bench((1200,) * 52, dict.fromkeys(range(10), 40), 0.2))
    assert not plan.best
    assert plan.gap < 0.05
    assert plan.fullest < 0.9 * plan.greedy


def test_a_plan_made_again_is_the_same() -> None:
    """The same jobs give the same weeks, also where they are rounded."""
    bench = Bench((900,) * 52, dict.fromkeys(range(8), 40), 0.1)
    assert level(many_jobs(300), bench).weeks == level(many_jobs(300), bench).weeks


def test_no_plan_places_more_where_wards_are_tight() -> None:
    """With one driver a week from each ward, each ward's work has as many weeks as the largest matching allows."""
    jobs = [one for one in many_jobs(200) if not one.late]
    plan = level(jobs, Bench((900,) * 52, dict.fromkeys(range(5), 40), 0.0))
    placed = Counter(visit.ward for visit, week in weeks_of_visits(jobs, plan, 52) if week is not None)
    assert plan.why
    assert placed == {ward: matched(jobs, ward) for ward in range(5)}


def matched(jobs: list[Job], ward: int) -> int:
    """How many visits of a ward find a week of their own: week by week the one whose window ends first."""
    open_visits = [visit for visit in visits_of(jobs, 52) if visit.ward == ward]
    number = 0
    for week in range(52):
        able = [visit for visit in open_visits if visit.first <= week <= visit.last]
        if able:
            open_visits.remove(min(able, key=lambda visit: visit.last))
            number += 1
    return number


def test_nothing_to_do_is_an_empty_plan() -> None:
    """Without jobs every week is empty and nothing is claimed."""
    plan = level([], a_bench())
    assert (plan.weeks, plan.fullest, plan.gap, plan.after.sum()) == ((), 0.0, 0.0, 0)


@pytest.mark.parametrize(
    ("minutes", "most_away"), [((), 0.1), ((0, 0), 0.1), ((100, -1), 0.1), ((100,), 1.1), ((100,), -0.1)]
)
def test_what_is_no_bench_is_refused(minutes: tuple[int, ...], most_away: float) -> None:
    """No weeks, no hours at all, hours below none, or a share that is none."""
    with pytest.raises(BadValueError):
        Bench(minutes, {}, most_away)


@pytest.mark.parametrize("window", [(3, 2, 4), (0, 0, 6), (-1, 0, 1), (1, 3, 2)])
def test_a_window_outside_the_span_is_refused(window: tuple[int, int, int]) -> None:
    """Windows must lie in the span and in order: the caller cuts them."""
    with pytest.raises(BadValueError):
        level([job(1, *window)], a_bench())
