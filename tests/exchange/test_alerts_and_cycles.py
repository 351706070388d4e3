"""Files of alerts and of cycle counts."""

from datetime import date

import pytest

from fleet.alerts import actions as alerts
from fleet.alerts.models import Alert
from fleet.audit.models import TrailEntry
from fleet.batteries import actions as batteries
from fleet.batteries.models import CycleCount
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.schedules.models import Due
from tests.alerts.builders import a_kind
from tests.batteries.builders import a_fitted_device, a_pack
from tests.builders import BY, a_device
from tests.exchange.builders import alert_row, checked, counts, problems, taken_in
from tests.schedules.builders import a_due

pytestmark = pytest.mark.django_db


@pytest.fixture
def device(db: None) -> Device:
    """Give a driver with a pack, and the kinds of alert."""
    a_kind()
    return a_fitted_device()


def test_sightings_of_one_alert_join(device: Device, manager: Person) -> None:
    """Rows of the same driver and kind are one open alert, counted together, each in the trail."""
    rows = [alert_row(device), alert_row(device, seen_at="2026-03-05 09:00", times="3", screen_text="LOW")]
    taken_in("alerts", rows, manager)
    alert = Alert.objects.get()
    assert (alert.times, alert.screen_text, alert.source, alert.last_at.day) == (4, "LOW", "file", 5)
    trail = TrailEntry.objects.filter(subject_kind="alert")
    assert set(trail.values_list("verb", "source")) == {("alert recorded", "import"), ("alert seen again", "import")}


def test_a_file_of_alerts_sent_twice_counts_nothing_twice(device: Device, manager: Person) -> None:
    """Not even when the alert was cleared since."""
    rows = [alert_row(device), alert_row(device, kind="Ran flat", times="2")]
    taken_in("alerts", rows, manager)
    assert counts(taken_in("alerts", rows, manager)) == (0, 2, 0, 0)
    alerts.clear(Alert.objects.get(kind__code="battery-weak"), why="Answered by hand.", by=BY)
    assert counts(checked("alerts", rows, manager)) == (0, 2, 0, 0)
    assert sorted(Alert.objects.values_list("times", flat=True)) == [1, 2]


def test_a_row_joins_the_alert_that_is_open(device: Device, manager: Person) -> None:
    """What the ward reported and what the driver's log says are one alert."""
    taken_in("alerts", [alert_row(device)], manager)
    taken_in("alerts", [alert_row(device, seen_at="2026-03-01 08:00", times="2")], manager)
    alert = Alert.objects.get()
    assert (alert.times, alert.first_at.day, alert.last_at.day) == (3, 1, 2)


def test_an_alert_that_asks_for_service_makes_it_due_now(manager: Person) -> None:
    """As when it is recorded by hand."""
    a_kind()
    due = a_due()
    Due.objects.filter(pk=due.pk).update(last_done_on=None)
    taken_in("alerts", [alert_row(due.device, kind="asked-for-maintenance")], manager)
    due.refresh_from_db()
    assert due.asked_by_device


def test_alerts_that_cannot_be_are_refused(device: Device, manager: Person) -> None:
    """An unknown kind, a first time after the last, no witness, the same sighting twice."""
    rows = [
        alert_row(device, kind="batery-weak"),
        alert_row(device, first_seen_at="2026-03-03 08:00"),
        alert_row(device, seen_by="", seen_at="2026-03-04 08:00"),
        alert_row(device, seen_at="2026-03-02 08:00:00"),
    ]
    found = {(one.row, one.field): one.right for one in problems(checked("alerts", rows, manager))}
    assert "“battery-weak”" in found[2, "kind"]
    assert (4, "seen_by") in found
    assert "in row 3" in found[5, "seen_at"]


def test_cycles_are_counted_by_pack_or_by_driver(device: Device, manager: Person) -> None:
    """The pack is the one named, or the one that was in the driver that day; twice is known."""
    pack = a_pack(number="P7")
    rows = [
        {"pack": "P7", "device": "", "counted_on": "2026-04-20", "cycles": "312"},
        {"pack": "", "device": str(device), "counted_on": "2026-04-20", "cycles": "145.0"},
    ]
    assert counts(taken_in("cycles", rows, manager)) == (2, 0, 0, 0)
    assert counts(taken_in("cycles", rows, manager)) == (0, 2, 0, 0)
    assert set(CycleCount.objects.values_list("cycles", flat=True)) == {312, 145}
    assert TrailEntry.objects.filter(verb="counted cycles", source="import", subject_id=pack.pk).count() == 1


def test_a_count_never_falls_nor_changes(manager: Person) -> None:
    """Against the record, and inside the file."""
    pack = a_pack(number="P7")
    batteries.count_cycles(pack, 300, on=date(2026, 4, 20), by=BY)
    rows = [
        {"pack": "P7", "counted_on": "2026-04-20", "cycles": "301"},
        {"pack": "P7", "counted_on": "2026-04-21", "cycles": "299"},
        {"pack": "P7", "counted_on": "2026-04-22", "cycles": "400"},
        {"pack": "P7", "counted_on": "2026-04-23", "cycles": "350"},
        {"pack": "P7", "counted_on": "2026-04-23", "cycles": "500"},
        {"pack": "", "counted_on": "2026-04-23", "cycles": "1"},
    ]
    found = {(one.row, one.field): one.right for one in problems(checked("cycles", rows, manager))}
    assert "has 300 cycles on this day" in found[2, "cycles"]
    assert "There were 300 on 20" in found[3, "cycles"]
    assert "There were 400 on 22" in found[5, "cycles"]
    assert "in row 5" in found[6, "counted_on"]
    assert (7, "pack") in found


def test_rows_of_drivers_elsewhere_are_refused(device: Device, outsider: Person) -> None:
    """Whoever has no place there learns nothing of the driver."""
    found = problems(checked("alerts", [alert_row(device)], outsider))
    assert "No driver of yours" in found[0].right
    assert found[0].right == problems(checked("alerts", [alert_row("X9")], outsider))[0].right


def test_a_retired_driver_raises_nothing(manager: Person) -> None:
    """Its number is mistyped."""
    a_kind()
    device = a_device()
    Device.objects.update(condition="retired", retired_on="2026-05-01")
    assert "is retired" in problems(checked("alerts", [alert_row(device)], manager))[0].right
