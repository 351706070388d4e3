"""Verifying holds signatures and ledgers against the record, too."""

import pytest

from fleet.audit import guard
from fleet.bench.models import Order, Reading, Signature
from fleet.people.models import Person
from fleet.reports.queries import verified
from fleet.stores.models import Movement, Stock
from tests.audit.test_seals import as_owner
from tests.bench.builders import finish, received, work
from tests.builders import a_device
from tests.stores.builders import a_part, in_stock

pytestmark = pytest.mark.django_db


def told() -> str:
    return "; ".join(f"{flaw.where}: {flaw.what}" for flaw in verified().flaws)


@pytest.fixture
def order(technician: Person) -> Order:
    """A repair that is finished and signed."""
    return finish(work(received(a_device(), technician, kind="corrective"), technician), technician)


def test_a_sound_record_has_no_flaw(order: Order) -> None:
    """A signature that holds and a ledger that adds up are counted, and nothing is found."""
    in_stock(a_part(), 4)
    found = verified()
    assert (found.flaws, found.notes, found.signatures) == ((), (), 1)


def test_a_reading_altered_behind_a_signature_is_found(order: Order) -> None:
    """Changed right in the database: order, signer and part are named, and that the trail tells of no act."""
    Reading.objects.filter(order=order).update(note="forged")
    assert f"order {order.number}: the signature of Tova Lindqvarn" in told()
    assert "step 1" in told()
    assert "tells of no act since" in told()


def test_a_signature_that_was_altered_or_taken_away_is_found(order: Order) -> None:
    """The trail holds its digest: another name under the order, or none at all, does not pass."""
    Signature.objects.update(by_name="Somebody Else")
    assert "is not the one that the trail tells of" in told()
    Signature.objects.all().delete()
    assert "a signature is missing" in told()


def test_a_stock_that_is_not_what_its_ledger_leaves_is_found() -> None:
    """A balance written past the ledger is named with both numbers."""
    in_stock(a_part(), 4)
    Stock.objects.update(quantity=9)
    assert "holds 9, its ledger leaves 4" in told()


def test_a_ledger_that_does_not_add_up_is_found() -> None:
    """A movement altered with the guard off no longer fits the one before it."""
    in_stock(a_part(), 4)
    with as_owner(guard.MOVEMENTS):
        Movement.objects.update(change=7)
    assert "+7 does not leave 4" in told()
