"""Two people who see the same alert at the same moment."""

from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connection

from fleet.alerts import actions
from fleet.alerts.models import Alert
from fleet.core.errors import ConflictError
from tests.alerts.builders import a_kind, an_alert
from tests.builders import BY, a_device

pytestmark = pytest.mark.django_db(transaction=True)


def test_two_sights_at_once_are_one_alert() -> None:
    """One opens the alert and the others join it; no sight is lost and nobody gets an error."""
    device = a_device()
    a_kind()

    def see(_who: int) -> None:
        try:
            an_alert(device)
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as people:
        list(people.map(see, range(4)))
    assert Alert.objects.get().times == 4


def test_clearing_and_answering_at_once_close_it_once() -> None:
    """An alert is closed by a person or by an order, never by both."""
    alert = an_alert()

    def clear(_: int) -> bool:
        try:
            actions.clear(alert, why="a test", by=BY)
        except ConflictError:
            return False
        finally:
            connection.close()
        return True

    def answer(_: int) -> bool:
        try:
            return actions.answer(alert.device, order_number="1041", by=BY) == 1
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as people:
        outcomes = [people.submit(clear, 0), people.submit(answer, 0)]
    assert sorted(outcome.result() for outcome in outcomes) == [False, True]
