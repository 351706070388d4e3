"""The checks around a loan and before a retirement are orders, begun where that work begins."""

import pytest
from django.urls import reverse

from fleet.audit.actors import Actor
from fleet.bench import actions as bench
from fleet.bench.actions import ensure_starter_procedures
from fleet.bench.models import Order, OrderKind, Retirement, Step
from fleet.bench.queries.lending import check_wanted, loan_checks
from fleet.bench.queries.retiring import wiped_by_order
from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.registry.models import Device
from tests.bench.builders import again, as_actor, good, signed_in
from tests.builders import BY, a_bench, a_device
from tests.loans.builders import a_loan, a_pool_driver, given_back
from tests.pages import page

pytestmark = pytest.mark.django_db


def checked(device: Device, kind: OrderKind, by: Person) -> Order:
    """An order of a kind worked through its own starter procedure and finished."""
    order = received(device, as_actor(by), kind.value)
    assert order.procedure_version is not None
    bench.answer_many(order, [(step, good(step)) for step in needed(order)], by=as_actor(by))
    order.refresh_from_db()
    given = bench.Completion(outcome="no_fault_found", returned_to=device.home)
    return bench.complete(order, given, revision=order.revision, by=as_actor(by))


def needed(order: Order) -> list[Step]:
    return list(Step.objects.filter(version=order.procedure_version_id or 0, required=True))


def received(device: Device, by: Actor, kind: str) -> Order:
    """Taken in with the starter procedures alone in force."""
    return bench.receive(device, bench=a_bench(), by=by, kind=kind)


def test_a_hand_out_and_a_return_are_checked_by_their_own_procedures(technician: Person) -> None:
    """Each is an order with its steps, and stands on the loan it belongs to, and on no other."""
    ensure_starter_procedures(BY)
    a_bench()
    device = a_pool_driver()
    out = checked(device, OrderKind.LOAN_OUT, technician)
    assert loan_checks(again(device)) == [out]
    first = a_loan(again(device))
    assert loan_checks(device, first) == [out]
    assert check_wanted(device, first, [out]) is None
    given_back(first)
    first.refresh_from_db()
    assert check_wanted(again(device), first, [out]) is OrderKind.LOAN_BACK
    back = checked(again(device), OrderKind.LOAN_BACK, technician)
    second = a_loan(again(device))
    assert loan_checks(device, first) == [out, back]
    assert loan_checks(device, second) == []


def test_the_pages_of_a_loan_lead_a_technician_to_its_checks(technician: Person, storekeeper: Person) -> None:
    """From lending to the hand-out check, from the loan that is back to that of the return; a storekeeper reads it."""
    a_bench()
    device = a_pool_driver()
    lend = page(technician, f"{reverse('loans:lend')}?code={device.asset_number}")
    panel = reverse("bench:device_loan_checks", args=[device.asset_number])
    assert panel in lend
    assert "for=loan_out" in page(technician, panel)
    assert "for=loan_out" not in page(storekeeper, panel)
    assert "A technician can work the check" in page(storekeeper, panel)
    loan = a_loan(device)
    given_back(loan)
    panel = reverse("bench:loan_checks", args=[loan.pk])
    assert panel in page(technician, reverse("loans:one", args=[loan.pk]))
    assert "for=loan_back" in page(technician, panel)


@pytest.mark.parametrize("kind", OrderKind)
def test_the_work_that_an_address_asks_for_is_chosen(technician: Person, kind: OrderKind) -> None:
    """Every starter procedure is reached by one press: whoever comes for it finds it chosen."""
    ensure_starter_procedures(BY)
    bench_place, device = a_bench(), a_device()
    client = signed_in(technician)
    asked = client.get(reverse("bench:receive"), {"code": device.asset_number, "for": kind.value})
    assert asked.context["form"].initial["kind"] == kind
    sent = {
        "asset": device.asset_number, "kind": kind.value, "bench": bench_place.pk, "decontamination": "unknown",
        "count": "",
    }  # fmt: skip
    client.post(reverse("bench:receive"), sent)
    order = Order.objects.get(device=device)
    assert order.procedure_version is not None
    assert order.procedure_version.procedure.kind == kind


def test_a_driver_that_is_not_clean_can_be_cleaned_first(technician: Person) -> None:
    """Beside its repair stands the way to the cleaning; both orders are open then, and the repair goes on after it."""
    ensure_starter_procedures(BY)
    a_bench()
    device = a_device()
    repair = received(device, as_actor(technician), "corrective")
    assert "for=cleaning" in page(technician, reverse("bench:order", args=[repair.number]))
    cleaning = received(again(device), as_actor(technician), "cleaning")
    bench.answer_many(cleaning, [(step, good(step)) for step in needed(cleaning)], by=as_actor(technician))
    cleaning.refresh_from_db()
    given = bench.Completion(outcome="no_fault_found", stays=True)
    bench.complete(cleaning, given, revision=cleaning.revision, by=as_actor(technician))
    assert again(device).condition == Condition.ON_BENCH


def test_the_steps_of_a_retirement_propose_the_wiping(manager: Person, technician: Person) -> None:
    """Passed, they say who wiped it, when and how it was proved; with one open the record proposes nothing."""
    ensure_starter_procedures(BY)
    a_bench()
    device = a_device()
    assert "for=retirement" in page(manager, reverse("bench:retire", args=[device.asset_number]))
    order = received(device, as_actor(technician), "retirement")
    bench.answer_many(order, [(step, good(step)) for step in needed(order)], by=as_actor(technician))
    bench.retire(again(device), why="Worn out", by=as_actor(manager))
    wiped = wiped_by_order(Retirement.objects.get())
    assert wiped is not None
    assert wiped.open == []
    assert wiped.initial["wiped_by_name"] == str(technician)
    assert "Seen on its screens" in wiped.initial["wiping_verified"]
    shown = page(technician, reverse("bench:retirement", args=[Retirement.objects.get().pk]))
    assert "are proposed from it" in shown


def test_wiping_that_failed_proposes_nothing(manager: Person, technician: Person) -> None:
    """A wiping that could not be proved is shown as open, and whoever completes the record says it in their words."""
    ensure_starter_procedures(BY)
    a_bench()
    device = a_device()
    order = received(device, as_actor(technician), "retirement")
    proof = next(step for step in needed(order) if step.kind == Step.Kind.CHOICE)
    answers = [(step, good(step)) for step in needed(order) if step != proof]
    bench.answer_many(order, [*answers, (proof, bench.Answer(chosen=proof.failing[0]))], by=as_actor(technician))
    bench.retire(again(device), why="Worn out", by=as_actor(manager))
    wiped = wiped_by_order(Retirement.objects.get())
    assert wiped is not None
    assert wiped.open == [proof]
    assert wiped.initial == {}
