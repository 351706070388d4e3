"""Retirement: authorised with a reason, completed once with disposal and wiping, taken back only the same day."""

from datetime import timedelta

import pytest
from django.urls import reverse

from fleet.bench import actions as bench
from fleet.bench.models import Order, Retirement, RetirementMethod
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError, NotAllowedError
from fleet.loans.models import Loan
from fleet.people.models import Person
from fleet.registry.actions import NewDevice, add_device
from fleet.registry.models import Device
from fleet.schedules.models import Due
from fleet.web import clock
from tests.bench.builders import again, as_actor, finish, received, signed_in, work
from tests.builders import BY, PASSWORD, a_device, a_type, a_ward
from tests.loans.builders import a_loan
from tests.schedules.builders import a_plan, on
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db


@pytest.fixture
def retired(manager: Person) -> Device:
    """A driver with a plan, retired today with an open tag."""
    bench.ensure_retirement_methods(BY)
    device = a_device()
    a_plan(device.device_type)
    an_open_tag(device)
    return bench.retire(device, why="Main board gone", reason="not_worth", by=as_actor(manager))


def method(words: str) -> RetirementMethod:
    return RetirementMethod.objects.get(words=words)


def disposal(**facts: object) -> bench.Disposal:
    given = {
        "disposal": method("Scrapped"),
        "wiping": method("Purge"),
        "wiped": ("logs", "patients"),
        "wiped_by_name": "Tova Lindqvarn",
        "wiped_on": clock.today(),
        "wiping_verified": "Log and network settings are empty",
        "parts": (bench.Kept("Motor", 1, "M-7"),),
    }
    return bench.Disposal(**{**given, **facts})  # type: ignore[arg-type] # facts of several types


def test_a_retirement_without_a_record_of_wiping_stands_on_the_overview(retired: Device, manager: Person) -> None:
    """A line that leads to the list, gone once the record is complete."""
    line = "1 retired driver without a record of wiping"
    client = signed_in(manager)
    assert line in client.get(reverse("reports:overview")).content.decode()
    bench.state_disposal(Retirement.objects.get(device=retired), disposal(), by=as_actor(manager))
    assert "without a record of wiping" not in client.get(reverse("reports:overview")).content.decode()


def test_the_record_says_why_on_whose_word_and_what_it_answered(retired: Device, manager: Person) -> None:
    """Reason, authoriser and the answered order with its tag stand on record from the act on."""
    row = Retirement.objects.get()
    assert (row.reason, row.words, row.authorised_by) == ("not_worth", "Main board gone", manager)
    assert Order.objects.get().number in row.answered[0]
    assert "tag" in row.answered[0]


def test_completed_once(retired: Device, technician: Person) -> None:
    """Disposal, wiping and parts are written once; after that nothing in it changes."""
    row = bench.state_disposal(Retirement.objects.get(), disposal(), by=as_actor(technician))
    assert (str(row.wiping), row.stated_by_name) == ("Purge", "Tova Lindqvarn")
    assert [str(part) for part in row.parts.all()] == ["1 x Motor"]
    with pytest.raises(ConflictError, match="complete"):
        bench.state_disposal(row, disposal(), by=as_actor(technician))


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"wiping": None}, "wiping"),
        ({"wiped": ()}, "wiped"),
        ({"wiped": ("photos",)}, "wiped"),
        ({"wiping": None, "no_data_why": "None in it"}, "wiping"),
        ({"wiped_by_name": " "}, "wiped_by_name"),
        ({"wiping_verified": ""}, "wiping_verified"),
        ({"wiped_on": None}, "wiped_on"),
        ({"no_data_why": "None in it"}, "no_data_why"),
        ({"parts": (bench.Kept(""),)}, "parts"),
    ],
)
def test_wiping_is_stated_whole(retired: Device, technician: Person, facts: dict[str, object], field: str) -> None:
    """How, who, when and how verified; or why there was nothing to wipe; not both and not half."""
    with pytest.raises(BadValueError) as refused:
        bench.state_disposal(Retirement.objects.get(), disposal(**facts), by=as_actor(technician))
    assert refused.value.field == field


def test_nothing_to_wipe_says_why(retired: Device, technician: Person) -> None:
    """A stolen driver cannot be wiped; the record says so."""
    given = bench.Disposal(disposal=method("Not in our hands"), no_data_why="Stolen")
    assert bench.state_disposal(Retirement.objects.get(), given, by=as_actor(technician)).stated_at


def test_its_number_is_never_given_again(retired: Device) -> None:
    """Neither asset nor serial number of a retired driver can be put on record again."""
    for facts in ({"asset_number": retired.asset_number}, {"serial_number": retired.serial_number}):
        new = {"serial_number": "NEW-1", "asset_number": "NEW-1", **facts}
        with pytest.raises(BadValueError):
            add_device(NewDevice(device_type=a_type(), home=a_ward(), **new), by=BY)


def test_taken_back_today_it_needs_acceptance(retired: Device, manager: Person, technician: Person) -> None:
    """It waits for acceptance with an order that tells what had been answered; only that order returns it."""
    device = bench.take_back_retirement(retired, why="Wrong driver", by=as_actor(manager))
    assert (device.condition, device.wait_reason, device.accepted_on) == ("waiting", "acceptance", None)
    order = Order.objects.get(device=device, state="raised")
    assert order.kind == "acceptance"
    assert "look into what was reported there" in order.reported
    assert Retirement.objects.get().taken_back_why == "Wrong driver"
    planned = work(received(device, technician, kind="planned"), technician)
    with pytest.raises(MoveRefusedError, match="acceptance"):
        finish(planned, technician)
    bench.complete(
        planned,
        bench.Completion(outcome="repaired", finding="nothing", stays=True),
        revision=again_order(planned),
        by=as_actor(technician),
    )
    finish(work(received(device, technician, kind="acceptance"), technician), technician)
    assert again(device).condition == "in_service"
    assert not Due.objects.get(device=device).suspended


def again_order(order: Order) -> int:
    return Order.objects.get(pk=order.pk).revision


def test_the_day_after_it_is_final(retired: Device, manager: Person) -> None:
    """A retirement of yesterday cannot be taken back."""
    with on(clock.today() + timedelta(days=1)), pytest.raises(MoveRefusedError, match="not retired today"):
        bench.take_back_retirement(retired, why="Wrong driver", by=as_actor(manager))


def test_taking_back_needs_reason_and_duty(retired: Device, manager: Person, technician: Person) -> None:
    """No reason, no reversal; and it is a manager's to do."""
    with pytest.raises(MoveRefusedError, match="no reason"):
        bench.take_back_retirement(retired, why=" ", by=as_actor(manager))
    with pytest.raises(NotAllowedError):
        bench.take_back_retirement(retired, why="Wrong driver", by=as_actor(technician))


def test_a_retired_driver_is_out_on_no_loan(manager: Person) -> None:
    """Its loan is over with the retirement."""
    loan = a_loan()
    bench.retire(loan.device, why="Lost on the way", reason="lost", by=as_actor(manager))
    assert Loan.objects.get().returned_at


def test_an_order_that_ends_as_retired_leads_to_the_record(manager: Person) -> None:
    """Whoever finishes an order as retired is led on to disposal and wiping."""
    order = received(a_device(), manager, kind="planned")
    given = {"outcome": "retired", "action_taken": "Drive worn", "returned_to": order.device.home_id}
    given |= {"revision": again_order(order), "password": PASSWORD}
    answer = signed_in(manager).post(reverse("bench:finish", args=[order.number]), given)
    assert answer["Location"] == reverse("bench:retirement", args=[Retirement.objects.get().pk])


def test_the_ways_are_reference_data(manager: Person) -> None:
    """They come from memory and say so, are stated once, verified by somebody, and dropped without losing records."""
    assert bench.ensure_retirement_methods(BY) > 0
    assert bench.ensure_retirement_methods(BY) == 0
    row = method("Purge")
    assert ("from memory" in row.source, row.verified_on) == (True, None)
    assert bench.verify_retirement_method(row, by=as_actor(manager)).verified_by_name == "Maud Ferrant"
    with pytest.raises(BadValueError, match="on the list already"):
        bench.add_retirement_method(RetirementMethod.Kind.WIPING, "purge", by=as_actor(manager))
    bench.drop_retirement_method(row, by=as_actor(manager))
    assert bench.add_retirement_method(RetirementMethod.Kind.WIPING, "Purge", by=as_actor(manager)).pk != row.pk


def test_retired_completed_and_taken_back_on_the_pages(manager: Person) -> None:
    """Retired with one's password, completed on its page, found in the list; a mistake is taken back with a reason."""
    bench.ensure_retirement_methods(BY)
    client, device = signed_in(manager), a_device()
    page = reverse("bench:retire", args=[device.asset_number])
    given = {"reason": "worn", "words": "Ten years old", "password": "wrong"}
    assert client.post(page, given).status_code == 422
    assert again(device).condition == "in_service"
    answer = client.post(page, {**given, "password": PASSWORD})
    row = Retirement.objects.get()
    assert answer["Location"] == reverse("bench:retirement", args=[row.pk])
    assert "Record not complete" in client.get(reverse("bench:retirements")).content.decode()
    stated = {
        "disposal": method("Scrapped").pk,
        "no_data_why": "Keeps none",
        "parts-TOTAL_FORMS": "1",
        "parts-INITIAL_FORMS": "0",
        "parts-0-name": "Holder",
        "parts-0-quantity": "2",
    }
    page = client.post(answer["Location"], stated, follow=True).content.decode()
    assert "The record is complete" in page
    assert "Holder" in page
    back = client.post(reverse("bench:retirement_back", args=[row.pk]), {"why": "Wrong one"}, follow=True)
    assert "waits for acceptance" in back.content.decode()
    assert again(device).condition == "waiting"
