"""Files of runtime tests: logged once, never changed, and each slip of the pen named."""

from datetime import timedelta

import pytest

from fleet.audit.models import TrailEntry
from fleet.batteries import actions as batteries
from fleet.batteries.models import RuntimeTest
from fleet.exchange.models import Intake
from fleet.people.models import Person
from fleet.registry.models import Device
from tests.batteries.builders import START, a_fitted_device, a_logged_test
from tests.builders import BY, a_device
from tests.exchange.builders import checked, counts, problems, run_row, taken_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def device(db: None) -> Device:
    """Give a driver with a pack."""
    return a_fitted_device()


def test_a_test_is_logged_with_what_it_is_worth(device: Device, manager: Person) -> None:
    """5.6 of 7 hours is 0.80; who made it is kept, and the trail names who sent it."""
    taken_in("tests", [run_row(device, made_by="T. Lindqvarn", ambient_c="-2.5")], manager)
    test = RuntimeTest.objects.get()
    assert test.fraction == pytest.approx(0.8)
    assert (test.by_name, test.by_id, str(test.ambient_c)) == ("T. Lindqvarn", None, "-2.5")
    entry = TrailEntry.objects.get(verb="logged runtime test")
    assert (entry.person_id, entry.source, entry.device_ref) == (manager.pk, "import", device.pk)


def test_a_file_of_tests_sent_twice_logs_nothing_again(device: Device, manager: Person) -> None:
    """Known by pack and start, also when it says less than the record."""
    taken_in("tests", [run_row(device, ambient_c="21", low_alarm_at="2026-03-02 13:00")], manager)
    assert counts(taken_in("tests", [run_row(device)], manager)) == (0, 1, 0, 0)
    assert RuntimeTest.objects.count() == 1


def test_a_test_on_record_never_changes(device: Device, manager: Person) -> None:
    """A row with the same start and another stop is refused, with the way to correct the record."""
    a_logged_test(device)
    found = problems(checked("tests", [run_row(device, stopped_at="2026-03-02 13:00")], manager))
    assert [(one.row, one.field) for one in found] == [(2, "stopped_at")]
    assert "void it" in found[0].right


def test_a_voided_test_does_not_come_back(device: Device, manager: Person) -> None:
    """Its file sent again counts it as known; a corrected row with the same start is new."""
    batteries.void_test(a_logged_test(device), why="Wrong driver.", by=BY)
    assert counts(checked("tests", [run_row(device)], manager)) == (0, 1, 0, 0)
    assert counts(checked("tests", [run_row(device, stopped_at="2026-03-02 13:00")], manager)) == (1, 0, 0, 0)


def test_every_slip_of_a_row_is_told(device: Device, manager: Person) -> None:
    """Stop before start, an alarm outside the run, words for a number, an unknown reason: all at once."""
    wrong = {"stopped_at": "2026-03-02 07:00", "stop": "flatt", "rate": "5 mL/h", "charge_hours": "10,5"}
    rows = [
        run_row(device, low_alarm_at="2026-03-02 20:00"),
        run_row(device, started_at="2026-03-03 08:00", stopped_at="2026-03-03 07:00"),
        run_row(device, **wrong, started_at="2026-03-04 08:00"),
    ]
    found = [(one.row, one.field) for one in problems(checked("tests", rows, manager))]
    assert (2, "low_alarm_at") in found
    assert (3, "stopped_at") in found
    assert {(4, "stop"), (4, "rate"), (4, "charge_hours")} <= set(found)


def test_a_test_needs_a_pack_on_record(manager: Person) -> None:
    """A driver without a pack that day is refused, and so is a pack nobody knows."""
    bare, known = a_device(), a_fitted_device()
    rows = [run_row(bare, pack=""), run_row(known, pack="P99999")]
    found = {(one.row, one.field): one.right for one in problems(checked("tests", rows, manager))}
    assert set(found) == {(2, "device"), (3, "pack")}
    assert "no pack on record on 2" in found[2, "device"]


def test_a_lost_zero_or_case_is_recognised(manager: Person) -> None:
    """A number that no driver has is refused with the one that is meant."""
    a_fitted_device(asset_number="00417")
    a_fitted_device(asset_number="A-77")
    rows = [run_row("417"), run_row("a77"), run_row("B1")]
    right = [one.right for one in problems(checked("tests", rows, manager))]
    assert "Is 00417 meant? A spreadsheet may have taken its leading zeros." in right[0]
    assert "Is A-77 meant?" in right[1]
    assert "Check the label" in right[2]


def test_the_same_start_twice_in_one_file_is_refused(device: Device, manager: Person) -> None:
    """The second row points at the first."""
    found = problems(checked("tests", [run_row(device), run_row(device, rate="6")], manager))
    assert [(one.row, one.right) for one in found] == [
        (3, "A test of this pack that started then stands already in row 2.")
    ]


def test_day_first_dates_with_a_decimal_comma(device: Device, manager: Person) -> None:
    """A spreadsheet of the continent, semicolons and all, is read as it is meant."""
    row = run_row(device, started_at="02.03.2026 08:00", stopped_at="02.03.2026 13:36", rate="5,0", charge_hours="10,5")
    text = ";".join(row) + "\r\n" + ";".join(row.values()) + "\r\n"
    taken_in("tests", text.encode("cp1252"), manager, day_first=True, decimal_comma=True)
    test = RuntimeTest.objects.get()
    assert (test.started_at, test.ran) == (START, timedelta(hours=5.6))


def test_without_a_choice_digits_are_no_date(device: Device, manager: Person) -> None:
    """03/04/2025 is refused unless the order is chosen; one date that disproves the choice names its row."""
    rows = [
        run_row(device, started_at=f"{day} 08:00", stopped_at=f"{day} 12:00") for day in ("03/04/2025", "04/13/2025")
    ]
    unread = problems(checked("tests", rows, manager))
    assert {one.row for one in unread} == {2, 3}
    assert "2025-04-03 or 2025-03-04" in unread[0].right
    disproved = problems(checked("tests", rows, manager, day_first=True))
    assert {one.row for one in disproved} == {3}
    assert "speaks against the day standing first" in disproved[0].right
    assert problems(checked("tests", rows, manager, day_first=False)) == []


def test_unlikely_runtimes_are_pointed_at_before_they_are_committed(device: Device, manager: Person) -> None:
    """Fifty minutes where hours are expected may be a slip of the pen: the rows are named, and taken as they stand."""
    rows = [run_row(device), run_row(device, started_at="2026-03-05 08:00", stopped_at="2026-03-05 08:50")]
    intake = checked("tests", rows, manager)
    assert intake.state == Intake.State.READY
    assert intake.notes[0].startswith("Row 3: the runtime is far from")
    assert checked("tests", rows[:1], manager).notes == []
