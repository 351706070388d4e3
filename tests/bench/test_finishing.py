"""The end of an order: what must hold before a driver returns, and all that follows."""

from datetime import timedelta

import pytest

from fleet.alerts import actions as alerts
from fleet.alerts.models import Alert
from fleet.bench import actions as bench
from fleet.bench.models import Order
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError, NotAllowedError
from fleet.core.lifecycle import WaitReason
from fleet.core.orders import Outcome
from fleet.people.models import Person
from fleet.schedules.models import Due, DueAttempt, DueDone
from fleet.tags.actions import lift_quarantine
from fleet.tags.models import Quarantine, Tag
from fleet.web import clock
from tests.bench.builders import again, as_actor, finish, fresh, put, received, verbs, work
from tests.builders import BY, a_bench, a_device, a_new_device, a_site, a_store, a_type
from tests.schedules.builders import a_plan
from tests.tags.builders import alert_kind, an_open_tag


def an_alert(device: object, code: str) -> Alert:
    kind = alert_kind(code)
    return alerts.record(device, kind, at=clock.now(), source=Alert.Source.BENCH, seen_by="bench", by=BY)


def test_a_repair_clears_its_tag_answers_alerts_and_returns_the_driver(technician: Person) -> None:
    """What was reported, what was found and what came of it stay apart, and the driver is back at its home."""
    device = a_device()
    tag = an_open_tag(device, words="It stopped.")
    an_alert(device, "asked-for-maintenance")
    order = work(received(device, technician), technician)
    done = finish(
        order, technician, found="drive", found_words="worn", cause="age", action_taken="new gear", minutes=30
    )
    assert (done.outcome, done.found, done.cause, done.completed_by) == ("repaired", "drive", "age", technician)
    assert "It stopped" in done.reported
    assert Tag.objects.get(pk=tag.pk).cleared_by_order == done.number
    assert Alert.objects.get().answered_by_order == done.number
    device = again(device)
    assert (device.condition, device.place, device.last_seen_place) == ("in_service", device.home, device.home)
    assert verbs(done)[-3:] == ["added minutes", "completed order", "signed"]


def test_acceptance_puts_a_new_driver_into_service_and_opens_its_dues(technician: Person) -> None:
    """The acceptance order gives the day it was accepted on, and its services are planned from then."""
    a_plan(a_type())
    device = a_new_device()
    finish(work(received(device, technician), technician), technician)
    device = again(device)
    assert (device.condition, device.accepted_on) == ("in_service", clock.today())
    assert Due.objects.get(device=device).anchor == clock.today()


@pytest.mark.parametrize("kind", ["service", "battery", "library"])
def test_planned_work_rolls_its_due_on(technician: Person, kind: str) -> None:
    """The due behind the order is done with the order's number, and the next one is open."""
    device = a_device()
    a_plan(device.device_type, kind=kind)
    before = Due.objects.get(device=device).due_on
    order = finish(work(received(device, technician), technician), technician)
    assert DueDone.objects.get().order_number == order.number
    assert Due.objects.get(device=device).due_on > before


def test_planned_work_without_a_due_rolls_the_kind(technician: Person) -> None:
    """A service done before its window opens still counts as done today."""
    device = a_device(accepted_on=clock.today() - timedelta(days=10))
    a_plan(device.device_type)
    assert received(device, technician, kind="planned").due is None
    finish(work(Order.objects.get(), technician), technician)
    assert Due.objects.get(device=device).last_done_on == clock.today()


def test_a_repair_leaves_the_dues_alone(technician: Person) -> None:
    """A repair is no service."""
    device = a_device()
    a_plan(device.device_type)
    finish(work(received(device, technician, kind="corrective"), technician), technician)
    assert not DueDone.objects.exists()


def test_a_battery_order_answers_battery_alerts_only(technician: Person) -> None:
    """A battery order closes what the pack raised; the rest stays open."""
    device = a_device()
    battery = next(kind for kind in _kinds() if kind.about_battery)
    other = next(kind for kind in _kinds() if not kind.about_battery and not kind.asks_for_service)
    an_alert(device, battery.code)
    an_alert(device, other.code)
    finish(work(received(device, technician, kind="battery"), technician), technician)
    assert Alert.objects.get(closed_at=None).kind == other


def _kinds() -> list:
    alert_kind("asked-for-maintenance")
    return list(alerts.AlertKind.objects.all())


def test_missing_and_failed_steps_keep_a_driver_from_service(technician: Person) -> None:
    """Each reason is named, and nothing is written by the refusal."""
    order = received(a_device(), technician, kind="corrective")
    with pytest.raises(MoveRefusedError, match="3 required steps are not answered"):
        finish(order, technician)
    work(order, technician)
    put(order, 2, bench.Answer(value="9"), technician)
    with pytest.raises(MoveRefusedError, match="1 required step has failed"):
        finish(order, technician)
    assert fresh(order).state == "started"
    assert again(order.device).condition == "on_bench"
    put(order, 2, bench.Answer(value="2", changed="Drive cleaned"), technician)
    assert finish(order, technician).state == "done"


def test_a_step_that_may_be_left_out_may_fail(technician: Person) -> None:
    """Only the steps that must pass decide."""
    order = work(received(a_device(), technician, kind="corrective"), technician)
    put(order, 3, bench.Answer(passed=False, note="lead missing"), technician)
    assert finish(order, technician).state == "done"


def test_nothing_checked_is_no_release(technician: Person) -> None:
    """An order whose required steps are all "not applicable" checked nothing."""
    order = received(a_device(), technician, kind="corrective")
    for position in (1, 2, 4):
        put(order, position, bench.Answer(na=True, note="no time"), technician)
    with pytest.raises(MoveRefusedError, match="nothing was checked"):
        finish(order, technician)


def test_an_order_without_a_procedure_releases_nothing(technician: Person) -> None:
    """Where no procedure was in force, nothing was checked, and the driver stays."""
    order = bench.receive(a_device(), bench=a_bench(), by=as_actor(technician), kind="planned")
    assert order.procedure_version is None
    with pytest.raises(MoveRefusedError, match="no required step of its order has passed"):
        finish(order, technician)


def test_an_order_to_retire_returns_nothing(technician: Person) -> None:
    """Its steps may all have passed: wiping is no check, and the refusal says that and nothing else."""
    order = work(received(a_device(), technician, kind="retirement"), technician)
    with pytest.raises(MoveRefusedError, match=r"return to service: its order is its retirement\."):
        finish(order, technician)


def test_an_open_tag_keeps_a_serviced_driver_from_service(technician: Person) -> None:
    """A service does not answer a tag raised in the meantime."""
    device = a_device()
    order = work(received(device, technician, kind="planned"), technician)
    an_open_tag(device)
    with pytest.raises(MoveRefusedError, match="1 tag is still open"):
        finish(order, technician)


def test_quarantine_keeps_everything_still(technician: Person, manager: Person) -> None:
    """No answer and no release while it is open; lifted, the work goes on and ends."""
    device = a_device()
    an_open_tag(device, harm="yes")
    order = received(device, technician)
    for act in (work, finish):
        with pytest.raises(MoveRefusedError, match="quarantine"):
            act(order, technician)
    lift_quarantine(Quarantine.objects.get(), why="released by the safety lead", by=as_actor(manager))
    assert finish(work(order, technician), technician).state == "done"


def test_a_second_quarantine_after_the_steps_stops_the_return(technician: Person, manager: Person) -> None:
    """Steps answered before a quarantine opened do not release the driver."""
    device = a_device()
    an_open_tag(device)
    order = work(received(device, technician), technician)
    an_open_tag(device, harm="yes")
    with pytest.raises(MoveRefusedError, match="quarantine"):
        finish(order, technician)


@pytest.mark.parametrize("harm", ["yes", "not_sure"])
def test_no_fault_found_after_harm_needs_a_second_person(
    technician: Person, second_technician: Person, manager: Person, harm: str
) -> None:
    """Whoever answered a step cannot decide it, nor can a command; somebody else can."""
    device = a_device()
    an_open_tag(device, harm=harm)
    order = received(device, technician)
    lift_quarantine(Quarantine.objects.get(), why="released", by=as_actor(manager))
    work(order, technician)
    for by, outcome in ((technician, Outcome.NO_FAULT_FOUND), (technician, "no_fault_found"), (BY, "no_fault_found")):
        with pytest.raises(NotAllowedError, match="second person"):
            finish(order, by, outcome)
    assert finish(order, second_technician, Outcome.NO_FAULT_FOUND).completed_by == second_technician


def test_an_answer_that_no_longer_counts_makes_one_a_worker_too(
    technician: Person, second_technician: Person, manager: Person
) -> None:
    """Somebody whose answer was replaced has still worked the steps."""
    device = a_device()
    an_open_tag(device, harm="yes")
    order = received(device, technician)
    lift_quarantine(Quarantine.objects.get(), why="released", by=as_actor(manager))
    put(order, 1, bench.Answer(passed=True), second_technician)
    work(order, technician)
    with pytest.raises(NotAllowedError, match="second person"):
        finish(order, second_technician, Outcome.NO_FAULT_FOUND)


def test_no_fault_found_without_harm_needs_one_person(technician: Person) -> None:
    """The rule is for harm only."""
    device = a_device()
    an_open_tag(device)
    order = work(received(device, technician), technician)
    assert finish(order, technician, Outcome.NO_FAULT_FOUND).outcome == "no_fault_found"


def test_a_driver_with_two_orders_stays_for_the_second(technician: Person) -> None:
    """The first order ends with the driver kept on the bench; the last returns it."""
    device = a_device()
    service = received(device, technician, kind="planned")
    an_open_tag(device)
    repair = work(received(device, technician), technician)
    with pytest.raises(MoveRefusedError, match="1 other order is still open"):
        finish(repair, technician)
    assert finish(repair, technician, stays=True).returned_to is None
    assert again(device).condition == "on_bench"
    assert Tag.objects.get().cleared_at
    finish(work(service, technician), technician)
    assert again(device).condition == "in_service"


def test_staying_hides_no_failed_step(technician: Person) -> None:
    """An order with a failed step does not end by leaving the driver to another order."""
    device = a_device()
    received(device, technician, kind="library")
    order = work(received(device, technician, kind="planned"), technician)
    put(order, 1, bench.Answer(passed=False, note="cracked"), technician)
    with pytest.raises(MoveRefusedError, match="1 required step has failed"):
        finish(order, technician, stays=True)


def test_staying_hides_no_order_in_which_nothing_was_checked(technician: Person) -> None:
    """A repair of which every step was left out clears no tag by leaving the driver to another order."""
    device = a_device()
    received(device, technician, kind="library")
    an_open_tag(device)
    order = received(device, technician)
    for position in (1, 2, 4):
        put(order, position, bench.Answer(na=True, note="no time"), technician)
    with pytest.raises(MoveRefusedError, match="nothing was checked"):
        finish(order, technician, stays=True, action_taken="wiped")
    assert Tag.objects.get().cleared_at is None


def test_staying_needs_another_order(technician: Person) -> None:
    """With no other order the driver goes somewhere."""
    order = work(received(a_device(), technician, kind="planned"), technician)
    with pytest.raises(BadValueError, match="say where it goes"):
        finish(order, technician, stays=True)


def test_a_driver_returns_to_the_place_that_was_chosen(technician: Person) -> None:
    """A store is a place to return to; a whole site is none."""
    order = work(received(a_device(), technician, kind="planned"), technician)
    with pytest.raises(BadValueError, match="goes to a ward, store or bench"):
        finish(order, technician, returned_to=a_site())
    finish(order, technician, returned_to=a_store())
    assert again(order.device).place == a_store()


def test_not_located_ends_the_order_and_keeps_the_tag(technician: Person) -> None:
    """A driver nobody finds is not located; its tag stays open, for nobody has looked at it."""
    device = a_device()
    an_open_tag(device)
    order = bench.raise_order(device, "corrective", by=as_actor(technician), tag=Tag.objects.get())
    done = finish(order, technician, Outcome.NOT_LOCATED, found_words="three wards searched")
    assert done.outcome == "not_located"
    assert again(device).condition == "not_located"
    assert Tag.objects.get().cleared_at is None


def test_not_located_for_a_service_is_a_dated_attempt(technician: Person) -> None:
    """A service that found no driver is on record as an attempt, and the due stays."""
    device = a_device()
    a_plan(device.device_type)
    due = Due.objects.get(device=device)
    order = bench.raise_order(device, "planned", by=as_actor(technician), due=due)
    finish(order, technician, Outcome.NOT_LOCATED)
    assert DueAttempt.objects.get().reason == "not_found"
    assert Due.objects.get(device=device).due_on == due.due_on


def test_what_was_not_on_the_bench_has_no_bench_outcome(technician: Person) -> None:
    """A raised or waiting order cannot end as repaired."""
    raised = bench.raise_order(a_device(), "planned", by=as_actor(technician))
    with pytest.raises(MoveRefusedError, match="is stated on the bench"):
        finish(raised, technician)
    waiting = work(received(a_device(), technician, kind="planned"), technician)
    bench.set_aside(waiting, WaitReason.MAKER, by=as_actor(technician))
    with pytest.raises(MoveRefusedError, match="is stated on the bench"):
        finish(waiting, technician)


def test_retiring_ends_every_order_tag_alert_and_due(technician: Person, manager: Person) -> None:
    """A retired driver has nothing open; nothing of it is deleted."""
    device = a_device()
    a_plan(device.device_type)
    tag = an_open_tag(device)
    an_alert(device, "asked-for-maintenance")
    order = received(device, technician)
    bench.raise_order(device, "library", by=as_actor(technician))
    with pytest.raises(NotAllowedError):
        bench.retire(device, why="worn out", by=as_actor(technician))
    finish(order, manager, Outcome.RETIRED, found="drive", action_taken="worn out")
    assert again(device).condition == "retired"
    assert [each.outcome for each in Order.objects.all()] == ["retired", "retired"]
    assert fresh(order).found == "drive"
    assert Tag.objects.get(pk=tag.pk).cleared_by_order == order.number
    assert not Alert.objects.filter(closed_at=None).exists()
    assert Due.objects.get(device=device).suspended


def test_a_tagged_driver_is_retired_with_an_order_that_says_so(manager: Person) -> None:
    """Retired straight from the ward, its tag is answered by an order with the outcome "retired"."""
    device = a_device()
    an_open_tag(device)
    assert bench.retire(device, why="beyond repair", by=as_actor(manager)).condition == "retired"
    assert Tag.objects.get().cleared_by_order == Order.objects.get(outcome="retired").number


def test_retiring_needs_a_reason_and_no_quarantine(manager: Person) -> None:
    """No reason, no retirement; and a quarantined driver is kept."""
    device = a_device()
    with pytest.raises(MoveRefusedError, match="no reason"):
        bench.retire(device, why=" ", by=as_actor(manager))
    an_open_tag(device, harm="yes")
    with pytest.raises(MoveRefusedError, match="quarantine"):
        bench.retire(device, why="worn out", by=as_actor(manager))
    assert not Order.objects.exists()


def test_an_order_ends_once(technician: Person, second_technician: Person) -> None:
    """Two technicians finish the same order: one wins, the other learns who did."""
    order = work(received(a_device(), technician, kind="planned"), technician)
    given = bench.Completion(outcome=Outcome.REPAIRED, finding="nothing")
    bench.complete(order, given, revision=order.revision, by=as_actor(technician))
    with pytest.raises(ConflictError, match="Tova Lindqvarn completed order"):
        bench.complete(order, given, revision=order.revision, by=as_actor(second_technician))
    with pytest.raises(MoveRefusedError, match="it is done"):
        finish(order, second_technician)


@pytest.mark.parametrize(
    ("facts", "field"),
    [({"found": "gremlins"}, "found"), ({"cause": "x" * 201}, "cause"), ({"outcome": "mended"}, "outcome")],
)
def test_words_that_do_not_fit_are_refused(technician: Person, facts: dict[str, str], field: str) -> None:
    """A code off its list, or a cause longer than its column, is refused by field."""
    order = work(received(a_device(), technician, kind="planned"), technician)
    with pytest.raises(BadValueError) as refused:
        finish(order, technician, **facts)
    assert refused.value.field == field


def test_a_repair_says_what_was_done(technician: Person) -> None:
    """A repair without a word of what was done is refused and nothing is written; a service may pass without."""
    order = work(received(a_device(), technician, kind="corrective"), technician)
    with pytest.raises(BadValueError, match="Say what you did") as refused:
        finish(order, technician, Outcome.REPAIRED, action_taken=" ")
    assert refused.value.field == "action_taken"
    assert fresh(order).state == "started"
    planned = work(received(a_device(), technician, kind="planned"), technician)
    assert finish(planned, technician, Outcome.REPAIRED, action_taken="").state == "done"
