"""Two workers with the same morning's job."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.core import mail
from django.db import connection

from fleet.people.models import Person
from fleet.people.roles import Role
from fleet.reports.actions import send_digest
from fleet.reports.models import DigestSent
from fleet.web import clock
from tests.builders import a_device, a_person, a_ward
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db(transaction=True)


def send(person: Person) -> bool:
    """What one worker makes of a person's mail, on a connection of its own."""
    try:
        return send_digest(person, clock.today())
    finally:
        connection.close()


def test_two_workers_at_once_send_one_mail() -> None:
    """One claims the day, the other sees that and sends nothing."""
    nurse = a_person(Role.WARD, places=(a_ward(),))
    an_open_tag(a_device())
    with ThreadPoolExecutor(2) as workers:
        outcomes = list(workers.map(send, [nurse, nurse]))
    assert sorted(outcomes) == [False, True]
    assert len(mail.outbox) == DigestSent.objects.count() == 1
