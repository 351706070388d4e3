"""Files of devices: new drivers, known ones, changed facts, and every way a row is refused."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest

from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError, ConflictError
from fleet.exchange.models import Intake
from fleet.people.models import Person
from fleet.registry.actions import edit_device, edit_devices
from fleet.registry.models import Device
from fleet.schedules.models import Due
from tests.builders import BY, a_device, a_site, a_type, a_ward
from tests.exchange.builders import a_home, checked, counts, driver_row, outside_ward, problems, taken_in
from tests.schedules.builders import a_plan

pytestmark = pytest.mark.django_db


def refusals(intake: Intake) -> list[tuple[int, str]]:
    return [(one.row, one.field) for one in problems(intake)]


def test_a_driver_in_use_is_taken_over_in_service(manager: Person) -> None:
    """It is in service, its dues count from the last service an earlier record knows of, and the trail tells."""
    plan = a_plan(a_type())
    facts = {"last_service_on": "2026-04-20", "firmware": "3.2", "firmware_seen_at": "2026-04-20 10:15"}
    taken_in("devices", [driver_row(1, a_home(), pool="loan", price="1450", **facts)], manager)
    device = Device.objects.get(asset_number="H000001")
    assert (device.condition, device.pool, device.price) == ("in_service", "loan", Decimal(1450))
    assert device.firmware_seen_at == datetime(2026, 4, 20, 10, 15, tzinfo=UTC)
    due = Due.objects.get(device=device, plan=plan)
    assert due.last_done_on == date(2026, 4, 20)
    entry = TrailEntry.objects.get(subject_kind="device", verb="added device")
    assert (entry.person_id, entry.source) == (manager.pk, "import")
    assert "records.csv" in entry.why


def test_a_driver_without_acceptance_waits_for_it(manager: Person) -> None:
    """A file puts nothing into service that was never accepted."""
    taken_in("devices", [driver_row(1, a_home(), accepted_on="")], manager)
    device = Device.objects.get()
    assert (device.condition, device.wait_reason) == ("waiting", "acceptance")


def test_a_file_sent_twice_adds_nothing(manager: Person) -> None:
    """All rows are told as already known, and committing them again changes nothing."""
    rows = [driver_row(number, a_home(), cost_centre="4410") for number in range(3)]
    assert counts(taken_in("devices", rows, manager)) == (3, 0, 0, 0)
    trail = TrailEntry.objects.filter(subject_kind="device").count()
    assert counts(taken_in("devices", rows, manager)) == (0, 3, 0, 0)
    assert Device.objects.count() == 3
    assert TrailEntry.objects.filter(subject_kind="device").count() == trail


def test_changed_facts_are_shown_then_written_with_a_trail(manager: Person) -> None:
    """Each changed fact is listed before it is written; an empty cell changes nothing."""
    home = a_home()
    taken_in("devices", [driver_row(1, home, cost_centre="4410", lot="L1")], manager)
    ward = a_ward("Ward 5")
    row = driver_row(1, ward.code, cost_centre="5000", lot="")
    intake = checked("devices", [row], manager)
    assert counts(intake) == (0, 0, 1, 0)
    assert sorted(intake.changes) == [[2, "cost_centre", "4410", "5000"], [2, "home", "Ward 4", "Ward 5"]]
    taken_in("devices", [row], manager)
    device = Device.objects.get()
    assert (device.cost_centre, device.home, device.lot) == ("5000", ward, "L1")
    entry = TrailEntry.objects.get(verb="changed device")
    assert (entry.before["cost_centre"], entry.after["cost_centre"], entry.source) == ("4410", "5000", "import")


def test_only_a_later_reading_replaces_a_reading(manager: Person) -> None:
    """An older file does not turn back what was last seen, and the counter never runs backwards."""
    home = a_home()

    def row(hours: str, at: str) -> dict[str, str]:
        return driver_row(1, home, running_hours=hours, running_hours_at=at)

    taken_in("devices", [row("800", "2026-04-20 10:00")], manager)
    assert counts(checked("devices", [row("700", "2026-01-20 10:00")], manager)) == (0, 1, 0, 0)
    backwards = checked("devices", [row("700", "2026-05-20 10:00")], manager)
    assert "never runs backwards" in problems(backwards)[0].right
    taken_in("devices", [row("900.5", "2026-05-20 10:00")], manager)
    assert Device.objects.get().running_hours == Decimal("900.5")
    assert "Say when" in problems(checked("devices", [row("950", "")], manager))[0].right


def test_what_a_driver_is_never_changes_by_a_file(manager: Person) -> None:
    """Serial number, type and acceptance of a known driver are compared, and refused where they differ."""
    home = a_home()
    a_type("TW-20")
    taken_in("devices", [driver_row(1, home)], manager)
    changed = driver_row(1, home, serial_number="OTHER", model="TW-20", accepted_on="2024-03-02")
    assert refusals(checked("devices", [changed], manager)) == [(2, "serial_number"), (2, "model"), (2, "accepted_on")]


def test_a_driver_that_waits_is_not_put_into_service_by_a_date(manager: Person) -> None:
    """Only its acceptance order does that."""
    home = a_home()
    taken_in("devices", [driver_row(1, home, accepted_on="")], manager)
    found = problems(checked("devices", [driver_row(1, home)], manager))
    assert "waits for its acceptance order" in found[0].right


def test_numbers_that_stand_twice_are_refused_with_their_first_row(manager: Person) -> None:
    """Inside the file, and against the record."""
    home = a_home()
    known = a_device(serial_number="SN-000009")
    rows = [
        driver_row(1, home),
        driver_row(1, home, serial_number="SN-X"),
        driver_row(2, home, serial_number="SN-000001"),
        driver_row(3, home, serial_number="SN-000009"),
    ]
    found = {one.row: one for one in problems(checked("devices", rows, manager))}
    assert found[3].right == "This asset number stands already in row 2."
    assert found[4].right == "This serial number stands for the same type already in row 2."
    assert f"on record as {known}" in found[5].right


def test_unknown_places_types_and_parties_are_refused_with_the_nearest(manager: Person) -> None:
    """All problems of the row are told at once."""
    home = a_home()
    row = driver_row(1, home[:-1] + "x", model="TW10", supplier="Fennick Sells", pool="lone", accepted_on="45292")
    right = {one.field: one.right for one in problems(checked("devices", [row], manager))}
    assert f"“{home}”" in right["home"]
    assert "“Tarnwick Instruments TW-10”" in right["model"]
    assert "“Fennick Cells”" in right["supplier"]
    assert "“loan”" in right["pool"]
    assert "2024-01-01" in right["accepted_on"]


def test_places_that_are_not_theirs_are_refused(manager: Person) -> None:
    """Neither a new home outside their places, nor a driver that stands there."""
    elsewhere = outside_ward()
    home = a_home()
    taken_in("devices", [driver_row(7, elsewhere)])
    found = problems(checked("devices", [driver_row(1, elsewhere), driver_row(7, home)], manager))
    assert [(one.row, one.field) for one in found] == [(2, "home"), (3, "asset_number")]
    assert elsewhere not in found[0].right
    assert "outside your places" in found[1].right


def test_a_retired_driver_is_known_and_does_not_change(manager: Person) -> None:
    """Its row does no harm, a changed fact is refused."""
    home = a_home()
    taken_in("devices", [driver_row(1, home)], manager)
    Device.objects.update(condition="retired", retired_on="2026-05-01")
    assert counts(checked("devices", [driver_row(1, home)], manager)) == (0, 1, 0, 0)
    found = problems(checked("devices", [driver_row(1, home, cost_centre="1")], manager))
    assert "is retired" in found[0].right


def test_a_file_moves_no_driver_to_another_site() -> None:
    """That is a transfer, with a day and a condition; the row names the act, and the same act refuses it by itself."""
    home, elsewhere = a_home(), a_ward("Ward 9", a_site("Fernhollow"))
    taken_in("devices", [driver_row(1, home)])
    found = problems(checked("devices", [driver_row(1, elsewhere.code)]))
    assert [(one.row, one.field) for one in found] == [(2, "home")]
    assert "Transfer H000001 there on its page" in found[0].right
    device = Device.objects.get()
    with pytest.raises(BadValueError, match="belongs to another site"):
        edit_devices([(device, {"home": elsewhere})], by=BY)


def test_lost_zeros_are_pointed_at(manager: Person) -> None:
    """A new number shorter than its sisters is taken in only after somebody has looked."""
    home = a_home()
    rows = [driver_row(1, home, asset_number="004711"), driver_row(2, home, asset_number="4712")]
    intake = checked("devices", rows, manager)
    assert intake.state == Intake.State.READY
    assert "4712 may have lost its leading zeros" in intake.notes[0]


def test_drivers_changed_together_are_changed_all_or_none(manager: Person) -> None:
    """One that somebody changed since it was read, or a fact with an act of its own, stops them all."""
    first, second = a_device(), a_device()
    edit_device(second, {"lot": "L9"}, by=BY)
    with pytest.raises(ConflictError, match=str(second)):
        edit_devices([(first, {"lot": "L1"}), (second, {"lot": "L1"})], by=BY)
    with pytest.raises(BadValueError, match="act of its own"):
        edit_devices([(first, {"lot": "L1", "condition": "retired"})], by=BY)
    assert Device.objects.get(pk=first.pk).lot == ""
