"""A driver comes to the bench: which order it gets, what is frozen on it, what quarantine allows."""

from datetime import timedelta

import pytest

from fleet.bench import actions as bench
from fleet.bench.models import Order
from fleet.bench.queries import facts
from fleet.core.errors import BadValueError, MoveRefusedError, NotAllowedError
from fleet.core.lifecycle import WaitReason
from fleet.people.models import Person
from fleet.schedules.models import Due
from fleet.tags.actions import report_found, report_missing
from fleet.tags.models import CustodyEntry
from fleet.web import clock
from tests.bench.builders import (
    CHECK,
    NOTE,
    a_procedure,
    again,
    as_actor,
    finish,
    fresh,
    procedures,
    received,
    verbs,
    work,
)
from tests.builders import BY, a_bench, a_device, a_new_device, a_store, a_type, a_ward
from tests.schedules.builders import a_plan
from tests.tags.builders import an_open_tag


def test_a_tagged_driver_gets_a_repair_with_what_was_reported(technician: Person) -> None:
    """The open tag decides: a repair order that carries the ward's words, screen and cleaning."""
    device = a_device()
    tag = an_open_tag(device, words="It stopped.", screen_text="E41", decontamination="cleaned")
    order = received(device, technician)
    assert (order.kind, order.tag, order.state) == ("corrective", tag, "started")
    assert "It stopped" in order.reported
    assert "E41" in order.reported
    assert order.decontamination == "cleaned"
    assert again(device).condition == "on_bench"
    assert again(device).place == a_bench()


def test_what_was_said_at_the_bench_counts_over_the_ward(technician: Person) -> None:
    """A driver the ward called clean and the bench finds dirty is not cleaned."""
    device = a_device()
    an_open_tag(device, decontamination="cleaned")
    assert received(device, technician, decontamination="not_cleaned").decontamination == "not_cleaned"


def test_a_new_driver_is_accepted_first(technician: Person) -> None:
    """A driver that never passed acceptance is here for that."""
    assert received(a_new_device(), technician).kind == "acceptance"


def test_an_open_due_becomes_the_order(technician: Person) -> None:
    """Without a tag, the earliest due whose window is open decides the kind, and stands on the order."""
    device = a_device()
    plan = a_plan(device.device_type, kind="battery")
    due = Due.objects.get(device=device)
    order = received(device, technician)
    assert (order.kind, order.due) == ("battery", due)
    assert str(plan) in order.reported


def test_of_two_dues_on_one_day_the_service_decides(technician: Person) -> None:
    """A battery test stated first doesn't leave the service of the same day for another visit."""
    device = a_device()
    for kind in ("battery", "service"):
        a_plan(device.device_type, kind=kind, name=kind)
    assert len(set(Due.objects.filter(device=device).values_list("due_on", flat=True))) == 1
    assert received(device, technician).kind == "planned"


def test_nothing_due_asks_what_it_is_for(technician: Person) -> None:
    """A driver with no reason to be here is not received without one; nothing is written."""
    device = a_device()
    procedures()
    with pytest.raises(BadValueError, match="Choose what it is here for") as refused:
        received(device, technician)
    assert refused.value.field == "kind"
    assert again(device).condition == "in_service"
    assert received(device, technician, kind="planned").kind == "planned"


def test_a_raised_order_is_the_one_that_is_started(technician: Person) -> None:
    """Receiving goes on with the open order and raises no second one."""
    device = a_device()
    raised = bench.raise_order(device, "library", by=as_actor(technician))
    assert raised.state == "raised"
    order = received(device, technician)
    assert order.pk == raised.pk
    assert order.assigned_to == technician
    with pytest.raises(BadValueError, match=f"Order {raised} .* is already open"):
        bench.raise_order(device, "library", by=as_actor(technician))


def test_received_twice_changes_nothing(technician: Person) -> None:
    """A second scan of a driver on the bench gives the same order, unchanged."""
    device = a_device()
    first = received(device, technician, kind="planned")
    second = received(device, technician)
    assert (second.pk, second.revision) == (first.pk, first.revision)
    assert verbs(second) == ["raised order", "received for work"]


def test_a_tag_raised_at_the_bench_is_taken_in_by_receiving_again(technician: Person) -> None:
    """A driver tagged while it lies on the bench for a service gets its repair by another scan."""
    device = a_device()
    service = received(device, technician, kind="planned")
    tag = an_open_tag(device)
    repair = received(device, technician)
    assert (repair.kind, repair.tag, repair.state) == ("corrective", tag, "started")
    assert fresh(service).state == "started"


def test_the_version_in_force_is_frozen(technician: Person) -> None:
    """A better version published later leaves begun orders alone and holds for the next."""
    first = received(a_device(), technician, kind="planned")
    newer = a_procedure("planned", (CHECK, NOTE))
    assert newer.number == 2
    assert fresh(first).procedure_version.number == 1
    assert received(a_device(), technician, kind="planned").procedure_version == newer


def test_a_version_of_tomorrow_is_not_in_force(technician: Person) -> None:
    """A version published ahead holds from its day on, not before."""
    procedures()
    a_procedure("planned", (CHECK,), in_force_from=clock.today() + timedelta(days=1))
    assert received(a_device(), technician, kind="planned").procedure_version.number == 1


def test_a_procedure_for_the_type_stands_before_one_for_all(technician: Person) -> None:
    """The type's own procedure is used, and another type's is not."""
    own = a_procedure("planned", (CHECK,), code="tw-10", device_type=a_type())
    a_procedure("planned", (CHECK,), code="sable", device_type=a_type("Sable"))
    assert received(a_device(), technician, kind="planned").procedure_version == own


def test_a_quarantined_driver_is_kept_and_not_worked_on(technician: Person) -> None:
    """Receiving is custody and is written down as such; a step is refused."""
    device = a_device()
    an_open_tag(device, harm="not_sure")
    order = received(device, technician)
    assert again(device).condition == "on_bench"
    assert CustodyEntry.objects.get().received_by == "Tova Lindqvarn"
    with pytest.raises(MoveRefusedError, match="No bench work while a quarantine is open"):
        work(order, technician)
    assert facts(again(device), order).quarantine_open


def test_a_ward_is_no_bench(technician: Person) -> None:
    """A driver is received on a bench only."""
    with pytest.raises(BadValueError, match="is no bench"):
        bench.receive(a_device(), bench=a_ward(), by=as_actor(technician), kind="planned")


def test_a_ward_nurse_receives_nothing(ward_nurse: Person) -> None:
    """Bench work needs its duty."""
    with pytest.raises(NotAllowedError):
        received(a_device(), ward_nurse, kind="planned")


def test_an_order_waits_and_is_taken_up_again(technician: Person) -> None:
    """Set aside for parts the driver waits too; no step is answered until it is taken up again."""
    order = received(a_device(), technician, kind="corrective")
    bench.set_aside(order, WaitReason.PARTS, by=as_actor(technician))
    assert (fresh(order).state, fresh(order).wait_reason) == ("waiting", "parts")
    assert again(order.device).wait_reason == "parts"
    with pytest.raises(MoveRefusedError, match="not on the bench"):
        work(order, technician)
    bench.resume(order, by=as_actor(technician))
    assert (fresh(order).state, again(order.device).condition) == ("started", "on_bench")


def test_scanning_a_waiting_driver_takes_its_order_up_again(technician: Person) -> None:
    """The scan alone brings a waiting order back on the bench."""
    order = received(a_device(), technician, kind="corrective")
    bench.set_aside(order, WaitReason.DECONTAMINATION, by=as_actor(technician))
    assert received(order.device, technician).pk == order.pk
    assert (fresh(order).state, fresh(order).wait_reason) == ("started", "")


def test_a_held_back_driver_goes_on_with_the_same_order(technician: Person) -> None:
    """Held back in the store it is out of use and its order stays open; received again, the same order goes on."""
    order = received(a_device(), technician, kind="corrective")
    with pytest.raises(BadValueError, match="Say why"):
        bench.hold_back(order, why=" ", place=a_store(), by=as_actor(technician))
    bench.hold_back(order, why="waits for the manager", place=a_store(), by=as_actor(technician))
    assert (again(order.device).condition, again(order.device).place) == ("out_of_use", a_store())
    with pytest.raises(MoveRefusedError):
        finish(order, technician)
    assert received(order.device, technician).pk == order.pk


def test_only_an_order_that_was_not_begun_is_cancelled(technician: Person) -> None:
    """A raised order is cancelled with a reason; a begun one ends with an outcome instead."""
    raised = bench.raise_order(a_device(), "planned", by=as_actor(technician))
    with pytest.raises(BadValueError, match="Say why"):
        bench.cancel(raised, "", by=as_actor(technician))
    assert bench.cancel(raised, "raised twice", by=as_actor(technician)).state == "cancelled"
    begun = received(a_device(), technician, kind="planned")
    with pytest.raises(MoveRefusedError, match="Cannot cancel the order"):
        bench.cancel(begun, "changed my mind", by=as_actor(technician))
    assert Order.objects.filter(state="started").get() == begun


def test_a_found_driver_is_looked_over(technician: Person) -> None:
    """A driver that was missing and is found is here for a service before it is used again."""
    device = a_device()
    report_missing(device, why="not in any ward", by=as_actor(technician))
    report_found(again(device), a_ward(), by=as_actor(technician))
    assert received(again(device), technician).kind == "planned"


def test_an_order_is_given_and_taken_while_it_is_open(technician: Person, second_technician: Person) -> None:
    """Anybody at the bench gives an order to somebody, takes it or leaves it to nobody; a command cannot take one."""
    order = received(a_device(), technician, kind="planned")
    assert bench.take(order, by=as_actor(second_technician)).assigned_to == second_technician
    assert bench.assign(order, technician, by=as_actor(second_technician)).assigned_to == technician
    assert bench.assign(order, None, by=as_actor(technician)).assigned_to is None
    with pytest.raises(BadValueError, match="signed in"):
        bench.take(order, by=BY)
    done = finish(work(order, technician), technician)
    with pytest.raises(MoveRefusedError, match="nothing left to assign"):
        bench.take(done, by=as_actor(technician))


def test_no_order_is_raised_for_a_retired_driver(manager: Person) -> None:
    """Retirement is final."""
    device = bench.retire(a_device(), why="worn out", by=as_actor(manager))
    with pytest.raises(MoveRefusedError, match="is retired"):
        bench.raise_order(device, "planned", by=as_actor(manager))
    with pytest.raises(MoveRefusedError, match="retired"):
        received(device, manager, kind="planned")


def test_an_order_waits_for_no_acceptance(technician: Person) -> None:
    """A driver waits for acceptance by being new, never by being set aside."""
    order = received(a_device(), technician, kind="planned")
    with pytest.raises(BadValueError, match="parts, the maker or decontamination"):
        bench.set_aside(order, WaitReason.ACCEPTANCE, by=as_actor(technician))
