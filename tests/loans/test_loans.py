"""Loans: who may borrow what, when it is to come back, and what happens to one that is not right."""

from datetime import date, timedelta

import pytest
from django.urls import reverse

from fleet.accessories.queries import missing_of
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError, NotAllowedError
from fleet.core.lifecycle import Condition
from fleet.loans import actions, queries
from fleet.loans.actions import Lending, Return
from fleet.loans.models import Loan
from fleet.people.models import Person
from fleet.registry.models import Accessory, Device
from fleet.tags.models import Tag, YesNo
from fleet.web import clock
from tests.bench.builders import again, as_actor, received, signed_in
from tests.builders import BY, a_device, a_new_device, a_store, a_ward
from tests.loans.builders import a_loan, a_pool_driver, all_there, given_back
from tests.schedules.builders import on

pytestmark = pytest.mark.django_db


def test_a_lent_driver_is_where_it_was_lent_to() -> None:
    """The register knows the ward, the loan its day, and the driver is not lent twice."""
    loan = a_loan()
    assert again(loan.device).place == a_ward()
    with pytest.raises(MoveRefusedError, match="lent to Ward 4"):
        a_loan(again(loan.device))


@pytest.mark.parametrize(
    ("pool", "words"), [(Device.Pool.TRAINING, "training unit"), (Device.Pool.CLINICAL, "not to a pool")]
)
def test_only_the_pools_are_lent_from(pool: Device.Pool, words: str) -> None:
    """A training unit is lent to nobody, and a ward's own driver is its ward's."""
    with pytest.raises(MoveRefusedError, match=words):
        a_loan(a_device(a_store(), pool=pool))


def test_only_what_is_in_service_is_lent() -> None:
    """A driver that waits for acceptance is refused with its condition."""
    with pytest.raises(MoveRefusedError, match="waiting"):
        a_loan(a_new_device(a_store(), pool=Device.Pool.LOAN))


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"due_back": date(2020, 1, 1), "borrower": "K. Lowe"}, "due_back"),
        ({}, "to_place"),
        ({"borrower": "House on the hill"}, "reach"),
    ],
)
def test_a_loan_says_to_whom_and_until_when(given: dict[str, object], field: str) -> None:
    """A day that has passed, nobody, and somebody outside who cannot be reached are refused."""
    row = a_pool_driver()
    with pytest.raises(BadValueError) as refused:
        actions.lend(row, Lending(**{"due_back": clock.today(), **given}), all_there(row), by=BY)  # type: ignore[arg-type] # of several types
    assert refused.value.field == field


def test_a_person_or_other_house_may_borrow() -> None:
    """Without a ward, the driver's place stays where it was and the borrower is named."""
    row = a_pool_driver()
    given = Lending(due_back=clock.today(), borrower="Hillside hospice", reach="ext. 9")
    loan = actions.lend(row, given, all_there(row), by=BY)
    assert (loan.whom, again(row).place) == ("Hillside hospice", a_store())


def test_back_and_right_it_can_be_lent_again() -> None:
    """A driver back in the store is in service, its loan is closed, and another can borrow it."""
    loan = a_loan()
    came = given_back(loan)
    assert (came.tag_number, came.missing) == ("", ())
    assert (again(loan.device).place, again(loan.device).condition) == (a_store(), Condition.IN_SERVICE)
    assert a_loan(again(loan.device)).pk != loan.pk


@pytest.mark.parametrize(("back", "harm"), [(Loan.Back.NOT_CLEAN, ""), (Loan.Back.WRONG, YesNo.NO)])
def test_not_clean_or_not_right_it_is_tagged(back: Loan.Back, harm: str) -> None:
    """It is out of use with a tag that the bench sees, in the same step."""
    loan = a_loan()
    came = given_back(loan, back, back_words="Clamp is loose", harm=harm)
    assert again(loan.device).condition == Condition.OUT_OF_USE
    assert Tag.objects.get(device=loan.device).written == came.tag_number


def test_possible_harm_quarantines_it() -> None:
    """Where somebody may have been harmed, the driver is kept as it is."""
    loan = a_loan()
    given_back(loan, Loan.Back.WRONG, back_words="Ran too fast", harm=YesNo.NOT_SURE)
    assert again(loan.device).quarantined


@pytest.mark.parametrize(
    ("facts", "field"), [({"harm": YesNo.NO}, "back_words"), ({"back_words": "Clamp is loose"}, "harm")]
)
def test_what_is_wrong_is_said_with_whether_anyone_was_harmed(facts: dict[str, str], field: str) -> None:
    """The bench needs the words, and harm is always asked; nothing is written without them."""
    loan = a_loan()
    with pytest.raises(BadValueError) as refused:
        given_back(loan, Loan.Back.WRONG, **facts)
    assert refused.value.field == field
    assert queries.open_loan(loan.device) is not None


def test_what_did_not_come_back_is_missed_from_the_borrower() -> None:
    """A power lead that stayed on the ward is missing there."""
    loan = a_loan()
    lead = Accessory.objects.get(device_type=loan.device.device_type)
    came = actions.take_back(loan, Return(back=Loan.Back.FINE, returned_to=a_store()), {lead.pk: 0}, by=BY)
    assert came.missing == ("Power lead",)
    assert missing_of(loan.device).get().place == a_ward()


def test_taken_back_once() -> None:
    """A second person who takes it back is told who did."""
    loan = a_loan()
    given_back(loan)
    with pytest.raises(ConflictError, match="is back already"):
        given_back(loan)


def test_late_from_the_day_after(manager: Person) -> None:
    """On its day a loan is not late; the day after it is, until it is put off with a reason."""
    loan = a_loan(until=clock.today())
    assert not queries.late(queries.loans(manager)).exists()
    with on(clock.today() + timedelta(days=1)):
        assert queries.late(queries.loans(manager)).get() == loan
        with pytest.raises(BadValueError, match="Say why"):
            actions.put_off(loan, clock.today(), why=" ", by=BY)
        actions.put_off(loan, clock.today(), why="Still needed", by=BY)
        assert not queries.late(queries.loans(manager)).exists()


def test_the_bench_ends_a_loan(technician: Person) -> None:
    """A lent driver that comes to the bench is not out any more."""
    loan = a_loan()
    received(loan.device, technician, kind="planned")
    assert Loan.objects.get().back == Loan.Back.BENCH


def test_a_ward_lends_nothing(ward_nurse: Person) -> None:
    """Handing over is a duty."""
    row = a_pool_driver()
    with pytest.raises(NotAllowedError):
        actions.lend(row, Lending(due_back=clock.today(), to_place=a_ward()), {}, by=as_actor(ward_nurse))


def test_lent_and_back_by_the_pages(storekeeper: Person) -> None:
    """Scanned, lent with all that belongs to it, on the list, on its slip, and taken back."""
    client, device = signed_in(storekeeper), a_pool_driver()
    lead = Accessory.objects.get(device_type=device.device_type)
    out = f"{reverse('loans:lend')}?code={device.serial_number}"
    assert "Lend it" in client.get(out).content.decode()
    given = {"to_place": a_ward().pk, "due_back": clock.today().isoformat(), f"part_{lead.pk}": "1", "along": "Bag"}
    client.post(out, given)
    loan = Loan.objects.get()
    assert device.asset_number in client.get(reverse("loans:loans")).content.decode()
    slip = client.get(reverse("loans:slip", args=[loan.pk])).content.decode()
    assert "Power lead" in slip
    found = client.get(reverse("loans:back"), {"code": device.asset_number})
    assert found["Location"] == reverse("loans:take_back", args=[loan.pk])
    came = {"back": "fine", "returned_to": a_store().pk, f"part_{lead.pk}": "0"}
    page = client.post(found["Location"], came, follow=True).content.decode()
    assert "Missing: Power lead" in page


def test_lending_without_counting_is_refused(storekeeper: Person) -> None:
    """Each accessory is looked at before a driver goes out."""
    client, device = signed_in(storekeeper), a_pool_driver()
    given = {"to_place": a_ward().pk, "due_back": clock.today().isoformat()}
    assert client.post(f"{reverse('loans:lend')}?code={device}", given).status_code == 422
    assert not Loan.objects.exists()


def test_a_ward_sees_what_is_lent_to_it(ward_nurse: Person) -> None:
    """Its page shows the driver and the day; what is lent to another ward is not there."""
    loan, other = a_loan(), a_loan(to=a_ward("Ward 7"))
    page = signed_in(ward_nurse).get(reverse("loans:ours")).content.decode()
    assert loan.device.asset_number in page
    assert other.device.asset_number not in page
