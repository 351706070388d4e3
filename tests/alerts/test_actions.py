"""Alerts: recorded, joined, answered, cleared, aged."""

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.alerts import actions, queries
from fleet.alerts.models import Alert, AlertKind
from fleet.audit.actors import link_actor
from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError, ConflictError, NotAllowedError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from tests.alerts.builders import a_kind, an_alert
from tests.builders import BY, a_device
from tests.schedules.builders import a_due, on, stored

pytestmark = pytest.mark.django_db

MONDAY = datetime(2027, 6, 7, 9, 0, tzinfo=UTC)
JUNE = date(2027, 6, 9)


def test_kinds_are_added_once_and_own_words_are_kept() -> None:
    """Run again nothing is added, and words a hospital has changed stay changed."""
    first = actions.ensure_kinds(BY)
    AlertKind.objects.filter(code="ran-flat").update(words="Went flat")
    assert len(first) == AlertKind.objects.count()
    assert actions.ensure_kinds(BY) == []
    assert AlertKind.objects.get(code="ran-flat").words == "Went flat"


def test_a_second_sight_joins_the_open_alert() -> None:
    """The same kind on the same driver is one alert: first and last time, and how often."""
    device = a_device()
    with on(JUNE):
        an_alert(device, at=MONDAY, screen_text="LOW BATT")
        joined = an_alert(device, at=MONDAY + timedelta(hours=3), times=2)
        an_alert(device, at=MONDAY - timedelta(days=1))
    alert = Alert.objects.get()
    assert joined.pk == alert.pk
    assert (alert.first_at, alert.last_at) == (MONDAY - timedelta(days=1), MONDAY + timedelta(hours=3))
    assert (alert.times, alert.screen_text) == (4, "LOW BATT")


def test_another_kind_is_another_alert() -> None:
    """Two kinds on one driver stay apart."""
    device = a_device()
    an_alert(device)
    an_alert(device, "blockage")
    assert queries.open_alerts(device).count() == 2


def test_after_closing_a_new_alert_opens() -> None:
    """A closed alert is never reopened: the kind seen again is a new alert."""
    device = a_device()
    actions.clear(an_alert(device), why="Cell was fitted the wrong way round.", by=BY)
    an_alert(device)
    assert (Alert.objects.count(), queries.open_alerts(device).count()) == (2, 1)


def test_asking_for_maintenance_makes_the_service_due() -> None:
    """The driver's next service is due the day it asks, and the trail quotes the alert."""
    due = a_due()
    with on(JUNE):
        an_alert(due.device, "asked-for-maintenance", at=MONDAY)
    assert stored(due.device)[0] == JUNE
    assert TrailEntry.objects.get(verb="made due now").why == "The driver raised “Asked for maintenance”."


def test_other_kinds_leave_the_dues() -> None:
    """A battery alert moves no service."""
    due = a_due()
    with on(JUNE):
        an_alert(due.device, "battery-weak", at=MONDAY)
    assert stored(due.device)[0] == due.due_on


def test_an_order_answers_every_open_alert() -> None:
    """One order closes all of a driver's open alerts and none of another's."""
    device, other = a_device(), a_device()
    an_alert(device)
    an_alert(device, "blockage")
    an_alert(other)
    assert actions.answer(device, order_number="1041", by=BY) == 2
    assert actions.answer(device, order_number="1042", by=BY) == 0
    assert set(device.alerts.values_list("answered_by_order", flat=True)) == {"1041"}
    assert queries.open_alerts(other).exists()


def test_clearing_needs_a_reason_and_happens_once(manager: Person) -> None:
    """Without a reason nothing is cleared; a second person is told who was first."""
    alert, by = an_alert(), actor_for(manager)
    with pytest.raises(BadValueError, match="reason"):
        actions.clear(alert, why=" ", by=by)
    actions.clear(alert, why="A test on the bench.", by=by)
    with pytest.raises(ConflictError, match="closed by Maud Ferrant already"):
        actions.clear(alert, why="again", by=by)
    assert TrailEntry.objects.get(verb="alert cleared").why == "A test on the bench."


def test_each_act_asks_for_its_duty(ward_nurse: Person) -> None:
    """A ward may record what it sees, and may neither clear nor answer it."""
    by = actor_for(ward_nurse)
    alert = an_alert(by=by)
    with pytest.raises(NotAllowedError):
        actions.clear(alert, why="x", by=by)
    with pytest.raises(NotAllowedError):
        actions.answer(alert.device, order_number="1", by=by)


def test_a_label_link_may_record() -> None:
    """A report through the label brings its alerts with it."""
    device = a_device()
    an_alert(device, by=link_actor(device.asset_number))
    assert queries.open_alerts(device).exists()


@pytest.mark.parametrize(
    ("facts", "field"),
    [({"at": MONDAY + timedelta(days=9)}, "at"), ({"times": 0}, "times"), ({"seen_by": " "}, "seen_by")],
)
def test_sights_that_cannot_be_are_refused(facts: dict[str, object], field: str) -> None:
    """A time to come, no times at all or nobody who saw it is refused, and the field is named."""
    kind, device = a_kind(), a_device()
    sight = {"at": MONDAY, "seen_by": "Nell Averby", "source": Alert.Source.WARD, "by": BY, **facts}
    with on(JUNE), pytest.raises(BadValueError) as caught:
        actions.record(device, kind, **sight)
    assert caught.value.field == field
    assert not Alert.objects.exists()


def test_a_retired_driver_raises_nothing() -> None:
    """An alert for a retired driver is most likely a wrong number."""
    device = a_device()
    Device.objects.filter(pk=device.pk).update(condition="retired", retired_on=JUNE)
    with pytest.raises(BadValueError, match="is retired"):
        an_alert(device)


def test_ageing_counts_whole_days_and_is_idempotent() -> None:
    """Two days and 23 hours are two days; run again for the same moment nothing is written."""
    with on(JUNE):
        alert = an_alert(at=MONDAY)
    now = MONDAY + timedelta(days=2, hours=23)
    assert actions.age(now) == {"open": 1, "aged": 1}
    assert actions.age(now) == {"open": 1, "aged": 0}
    alert.refresh_from_db()
    assert alert.aged_days == 2


def test_open_alerts_are_seen_within_places(manager: Person, outsider: Person) -> None:
    """Nobody sees the alerts of a hospital that isn't theirs."""
    an_alert()
    assert queries.open_alerts(person=manager).count() == 1
    assert queries.open_alerts(person=outsider).count() == 0
