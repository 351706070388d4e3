"""What came of a driver: each answer does what it says in the rooms below, once."""

from datetime import timedelta

import pytest

from fleet.audit.models import TrailEntry
from fleet.bench.models import Order
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError, NotAllowedError
from fleet.core.lifecycle import Condition
from fleet.libraries import actions as libraries
from fleet.libraries.models import Carried
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from fleet.rounds import actions, queries
from fleet.rounds.models import Round, RoundStop
from fleet.schedules.models import DueAttempt, DueDone, Plan
from fleet.tags.actions import open_quarantine, report_missing
from fleet.web import clock
from tests.batteries.builders import a_fitted_device, a_forecast
from tests.bench.builders import again, procedures
from tests.builders import BY, a_bench, a_device, a_ward
from tests.rounds.builders import a_due_driver, a_round, noon, stopped
from tests.rounds.test_due import a_library
from tests.schedules.builders import a_plan

pytestmark = pytest.mark.django_db
What = RoundStop.What


def test_one_round_of_a_place_is_open_at_a_time() -> None:
    """Beginning it again goes on with the one that is open, and a past day is refused."""
    visit = a_round()
    assert a_round() == visit
    with pytest.raises(BadValueError):
        actions.begin(visit.place, clock.today() - timedelta(days=1), by=BY)


def test_a_ward_makes_no_round(ward_nurse: Person) -> None:
    """Only who works on the bench begins one."""
    with pytest.raises(NotAllowedError):
        a_round(by=ward_nurse)


def test_a_driver_scanned_in_the_wrong_ward_corrects_its_place() -> None:
    """It is seen here, is on record here from now on, and the stop says that it was elsewhere."""
    visit, device = a_round(), a_due_driver(a_ward("Ward 7"))
    kept = actions.meet(visit, device, by=BY)
    assert kept.moved_here
    row = again(device)
    assert row.place == row.last_seen_place == visit.place
    assert row.home.name == "Ward 7"
    assert row.last_seen_source == actions.SOURCE
    assert [each.device for each in queries.round_page(visit).left] == [device]


def test_a_round_of_a_site_leaves_a_driver_in_its_ward() -> None:
    """A wider round knows no better ward than the one on record."""
    device = a_due_driver()
    kept = actions.meet(a_round(a_ward().site), device, by=BY)
    assert not kept.moved_here
    assert again(device).place == a_ward()


def test_a_driver_that_nobody_could_locate_is_found_again() -> None:
    """Any scan finds it: it is out of use here until the bench has looked it over."""
    visit, device = a_round(), a_device(a_ward("Ward 7"))
    report_missing(device, why="Looked everywhere", by=BY)
    actions.meet(visit, device, by=BY)
    row = again(device)
    assert (row.condition, row.place) == (Condition.OUT_OF_USE, visit.place)
    assert [each.device for each in queries.round_page(visit).left] == [device]


def test_taken_is_received_on_the_bench_with_its_order() -> None:
    """The driver is on the bench of the site, its service is begun, and it is settled."""
    procedures()
    visit, device = a_round(), a_due_driver()
    stopped(visit, device, What.TAKEN)
    order = Order.objects.get(device=device)
    assert (order.kind, order.bench) == ("planned", a_bench())
    assert again(device).condition == Condition.ON_BENCH
    page = queries.round_page(visit)
    assert (page.answered, page.total) == (1, 1)


def test_taken_for_its_battery_alone_is_a_battery_order() -> None:
    """Advice raises no due, so the round says what the driver is taken for."""
    procedures()
    device = a_fitted_device()
    a_forecast(device, advice="replace")
    stopped(a_round(), device, What.TAKEN)
    assert Order.objects.get(device=device).kind == "battery"


def test_nothing_due_is_not_taken() -> None:
    """A driver is not carried away for nothing, and nothing is written."""
    visit, device = a_round(), a_device()
    with pytest.raises(BadValueError, match="Nothing is due"):
        stopped(visit, device, What.TAKEN)
    assert not RoundStop.objects.exists()


@pytest.mark.parametrize("what", [What.IN_USE, What.REFUSED, What.NOT_FOUND])
def test_a_visit_in_vain_counts_against_each_open_due(what: RoundStop.What) -> None:
    """In use, refused and not found stand at the due with the day and the note, so that completion counts them."""
    visit, device = a_round(), a_due_driver()
    stopped(visit, device, what, note="Bed 3")
    tried = DueAttempt.objects.get()
    note = "Looked in Ward 4. Bed 3" if what is What.NOT_FOUND else "Bed 3"
    assert (tried.due.device, tried.reason, tried.note) == (device, what.value, note)
    assert (again(device).last_seen_place is None) == (what is What.NOT_FOUND)
    page = queries.round_page(visit)
    assert (page.answered, page.total, page.left) == (1, 1, [])


def test_the_same_stop_sent_twice_is_one() -> None:
    """A phone that lost its answer and sends again changes nothing; not even after the end."""
    visit, device = a_round(), a_due_driver()
    first = stopped(visit, device, What.IN_USE, note="Bed 3")
    entries = TrailEntry.objects.count()
    assert stopped(visit, device, What.IN_USE, note="Bed 3") == first
    assert (DueAttempt.objects.count(), TrailEntry.objects.count()) == (1, entries)
    actions.end(visit, by=BY)
    assert stopped(visit, device, What.IN_USE, note="Bed 3") == first


def test_the_latest_answer_counts_and_the_earlier_is_kept() -> None:
    """Not found, then met after all, then in use: three stops, one that counts."""
    visit, device = a_round(), a_due_driver()
    stopped(visit, device, What.NOT_FOUND)
    actions.meet(visit, device, by=BY)
    stopped(visit, device, What.IN_USE)
    assert list(RoundStop.objects.order_by("pk").values_list("what", "latest")) == [
        ("not_found", False),
        ("seen", False),
        ("in_use", True),
    ]


def test_scanning_again_takes_no_answer_back() -> None:
    """A driver in use that is scanned once more stays answered."""
    visit, device = a_round(), a_due_driver()
    held = stopped(visit, device, What.IN_USE)
    assert actions.meet(visit, device, by=BY) == held


def test_done_on_the_spot_loads_the_library_and_meets_its_due() -> None:
    """The version is recorded as carried, the library's due is rolled on; the service stays due and to be answered."""
    visit, device = a_round(), a_due_driver()
    a_plan(name="Library", kind=Plan.Kind.LIBRARY)
    old, new = a_library()
    libraries.carries(device, old, seen_at=clock.now() - timedelta(days=1), source="test", by=BY)
    stopped(visit, device, What.DONE)
    assert Carried.objects.get().version == new
    assert DueDone.objects.get().plan.kind == Plan.Kind.LIBRARY
    page = queries.round_page(visit)
    assert [reason.kind for reason in page.left[0].reasons] == ["service"]


def test_a_service_is_never_done_on_the_spot() -> None:
    """What needs the bench is refused in words."""
    visit, device = a_round(), a_due_driver()
    with pytest.raises(BadValueError, match="a library is loaded where it stands"):
        stopped(visit, device, What.DONE)


@pytest.mark.parametrize("what", [What.TAKEN, What.DONE])
def test_a_quarantined_driver_stays_as_it_is(what: RoundStop.What) -> None:
    """It is neither taken nor touched, may be seen, and asks for nothing to be carried."""
    visit, device = a_round(), a_due_driver()
    Device.objects.filter(pk=device.pk).update(condition=Condition.OUT_OF_USE)
    open_quarantine(device, reason="It ran on", by=BY)
    with pytest.raises(MoveRefusedError, match="quarantine"):
        stopped(visit, device, what)
    assert actions.meet(visit, device, by=BY).what == What.SEEN
    assert queries.round_page(visit).carry.for_the_bench == 0


def test_after_it_was_taken_the_bench_goes_on() -> None:
    """No later answer of the round pulls a driver off the bench."""
    procedures()
    visit, device = a_round(), a_due_driver()
    stopped(visit, device, What.TAKEN)
    with pytest.raises(MoveRefusedError, match="taken to the bench"):
        stopped(visit, device, What.IN_USE)
    assert again(device).condition == Condition.ON_BENCH


def test_a_round_that_ended_takes_no_more() -> None:
    """Its end is told with what is left, once."""
    visit, device = a_round(), a_due_driver()
    ended = actions.end(visit, by=BY, note=" Two rooms were shut ")
    assert ended.note == "Two rooms were shut"
    assert TrailEntry.objects.get(verb="ended round").after["left"] == 1
    actions.end(visit, by=BY)
    assert TrailEntry.objects.filter(verb="ended round").count() == 1
    with pytest.raises(ConflictError):
        stopped(visit, device, What.IN_USE)
    assert a_round() != visit


def test_nothing_due_and_seen_is_on_no_list() -> None:
    """It is met and counts neither as done nor as left."""
    visit, device = a_round(), a_device()
    actions.meet(visit, device, by=BY)
    page = queries.round_page(visit)
    assert (page.answered, page.total, len(page.met)) == (0, 0, 1)


def in_vain(device: Device, *days: int) -> None:
    """Look for the driver in vain on days of November."""
    for day in days:
        with clock.at(noon(day)):
            visit = a_round()
            stopped(visit, device, What.NOT_FOUND)
            actions.end(visit, by=BY)


def test_looked_for_often_and_long_enough_is_not_located() -> None:
    """Three days over two weeks: it leaves the ward's list, and the record says when it was looked for."""
    device = a_due_driver()
    in_vain(device, 2, 9, 16)
    assert again(device).condition == Condition.NOT_LOCATED
    assert "16\u00a0Nov\u00a02026" in TrailEntry.objects.get(verb="reported as not located").why


@pytest.mark.parametrize("days", [(2, 16), (2, 9, 15), (2, 2, 16)])
def test_too_few_or_too_quick_attempts_leave_it(days: tuple[int, ...]) -> None:
    """Two days, or three within less than two weeks, do not make a driver lost."""
    device = a_due_driver()
    in_vain(device, *days)
    assert again(device).condition == Condition.IN_SERVICE


def test_a_sighting_between_begins_the_count_anew() -> None:
    """Who was seen on the way is not lost."""
    device = a_due_driver()
    in_vain(device, 2, 9)
    with clock.at(noon(10)):
        actions.meet(a_round(), device, by=BY)
    in_vain(device, 16)
    assert again(device).condition == Condition.IN_SERVICE


def test_the_person_stands_in_the_trail(technician: Person) -> None:
    """Each stop tells who made it."""
    visit: Round = a_round(by=technician)
    stopped(visit, a_due_driver(), What.IN_USE, by=technician)
    assert TrailEntry.objects.get(verb="met on a round").actor == actor_for(technician).name
