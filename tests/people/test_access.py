"""Who came in and who was kept out is written down, with when and from where, and nobody can change it."""

import pytest
from django.db import DatabaseError, connection, transaction
from django.test import Client
from django.urls import reverse

from fleet.people.models import AccessEntry, Person
from tests.bench.builders import fresh, received, work
from tests.builders import PASSWORD, a_device
from tests.pages import page, signed_in
from tests.people.test_signing import SIGN_IN, attempt, fail_until_locked

pytestmark = pytest.mark.django_db
Kind = AccessEntry.Kind
BROWSER = "Browser of the ward"


@pytest.fixture
def browser() -> Client:
    """A browser that says what it is, at an address of the hospital."""
    return Client(headers={"user-agent": BROWSER}, REMOTE_ADDR="10.4.0.7")


def last() -> AccessEntry:
    return AccessEntry.objects.latest("pk")


def test_signing_in_and_out_is_written_down(browser: Client, technician: Person) -> None:
    """Who, when, from where and with what browser; and when they left."""
    attempt(browser, technician, PASSWORD)
    entry = last()
    assert (entry.kind, entry.person, entry.address, entry.browser) == (Kind.SIGNED_IN, technician, "10.4.0.7", BROWSER)
    browser.post(reverse("sign-out"))
    assert (last().kind, last().person) == (Kind.SIGNED_OUT, technician)


def test_each_failure_is_written_down_also_while_locked(browser: Client, technician: Person) -> None:
    """Wrong passwords count with the account they were tried on; the one that meets the lock is told as well."""
    fail_until_locked(browser, technician)
    attempt(browser, technician, PASSWORD)
    told = AccessEntry.objects.filter(kind=Kind.FAILED, person=technician, address="10.4.0.7")
    assert told.count() == 6


def test_what_was_typed_is_never_kept(browser: Client, technician: Person) -> None:
    """Neither a password nor a name that is nobody's, which may be a password typed one field too early."""
    browser.post(SIGN_IN, {"username": "mistyped-secret", "password": "another secret"})
    entry = last()
    assert (entry.kind, entry.person) == (Kind.FAILED, None)
    kept = " ".join(str(getattr(entry, field.name)) for field in AccessEntry._meta.fields)  # noqa: SLF001 - public name
    assert "secret" not in kept


def test_a_page_without_the_duty_is_written_down(ward_nurse: Person) -> None:
    """403 tells the reader whom to ask, and the log who asked for what; without what was searched for."""
    signed_in(ward_nurse).get("/people/?name=x")
    assert (last().kind, last().person, last().path) == (Kind.NO_DUTY, ward_nurse, "/people/")


def test_a_record_of_another_site_is_written_down(outsider: Person) -> None:
    """404 tells the reader nothing; the log tells that there was something to find."""
    device = a_device()
    signed_in(outsider).get(f"/devices/{device.asset_number}/")
    assert (last().kind, last().person) == (Kind.ELSEWHERE, outsider)


def test_a_mistyped_address_is_no_refusal(outsider: Person, client: Client) -> None:
    """What is not there at all, and who is not signed in, fills no log."""
    signed_in(outsider).get("/devices/NOT-THERE/")
    signed_in(outsider).get("/nothing-here/")
    client.get("/people/")
    assert not AccessEntry.objects.exists()


def test_a_wrong_password_at_a_signature_is_written_down(technician: Person) -> None:
    """Proving who one is counts like a sign-in."""
    order = fresh(work(received(a_device(), technician, kind="corrective"), technician))
    data = {"revision": order.revision, "outcome": "repaired", "action_taken": "Gear cleaned.", "password": "wrong"}
    data["returned_to"] = order.device.home_id
    signed_in(technician).post(reverse("bench:finish", args=[order.number]), data)
    assert AccessEntry.objects.filter(kind=Kind.NOT_PROVEN, person=technician).exists()


def test_the_log_can_neither_be_changed_nor_deleted(browser: Client, technician: Person) -> None:
    """The database refuses both (ASVS 16.4.2)."""
    attempt(browser, technician, PASSWORD)
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        AccessEntry.objects.update(address="")
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM fleet_accessentry")


def test_an_administrator_searches_it(browser: Client, technician: Person, administrator: Person) -> None:
    """By name, address, kind and day, on the page and as a file; nobody else opens it."""
    attempt(browser, technician, "wrong")
    attempt(browser, technician, PASSWORD)
    everything = page(administrator, "/people/access/")
    assert "Failed to sign in" in everything
    assert "10.4.0.7" in everything
    assert technician.username not in page(administrator, "/people/access/?q=10.9.")
    narrowed = signed_in(administrator).get("/people/access.csv?kind=failed&q=Tova")
    text = b"".join(narrowed.streaming_content).decode()
    assert (text.count("Failed to sign in"), text.count("Signed in")) == (1, 0)
    assert signed_in(technician).get("/people/access/").status_code == 403
