"""A hospital's whole export end to end, and files of 100,000 rows. Nothing is timed."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.batteries.models import Fitting, RuntimeTest
from fleet.exchange.models import Intake
from fleet.jobs import work
from fleet.jobs.models import Job
from fleet.people.models import Person
from fleet.registry.models import Device
from tests.builders import a_ward
from tests.exchange.builders import a_home, a_text, checked, counts, driver_row, pack_row, run_row, signed_in, taken_in

pytestmark = pytest.mark.django_db
DRIVERS = 600
MANY = 100_000


def send(client: Client, kind: str, rows: list[dict[str, Any]], person: Person) -> Intake:
    """Send a spreadsheet of the continent through the page, and let the jobs check and commit it."""
    text = a_text(rows, ";")
    file = SimpleUploadedFile("export.csv", text.encode("cp1252"))
    posted = {"kind": kind, "date_order": "day", "decimal_comma": "on", "file": file}
    assert client.post(reverse("exchange:new"), posted).status_code == 302
    _run_jobs()
    intake = Intake.objects.filter(sent_by=person).latest("pk")
    assert (intake.error, intake.refusals) == ("", [])
    client.post(reverse("exchange:commit", args=[intake.pk]))
    _run_jobs()
    intake.refresh_from_db()
    assert (intake.error, intake.state) == ("", Intake.State.COMMITTED)
    return intake


def _run_jobs() -> None:
    for job in Job.objects.filter(state=Job.State.QUEUED):
        work.run_job(job.pk)


def _run_of(number: int, year: int) -> dict[str, Any]:
    start = datetime(year, 3, 1, 8, 0, tzinfo=UTC) + timedelta(days=number % 200, minutes=number % 7)
    stop = start + timedelta(minutes=420 - 20 * (year - 2023) - number % 30)
    form = "%d.%m.%Y %H:%M"
    return run_row(
        f"H{number:06d}",
        started_at=start.strftime(form),
        stopped_at=stop.strftime(form),
        rate="5,0",
        charge_hours="10,5",
        stop="by hand" if number % 40 == 0 else "ran flat",
    )


def test_six_hundred_drivers_with_their_packs_and_runtime_logs(manager: Person) -> None:
    """Day-first dates, decimal commas, semicolons, Windows letters: all on record, and all known the second time."""
    home, other = a_home(), a_ward("Büro für Geräte").code
    drivers = [
        driver_row(
            number, other if number % 3 else home, accepted_on="01.03.2023", cost_centre="Ä4410", price="1450,50"
        )
        for number in range(DRIVERS)
    ]
    packs = [pack_row(f"H{number:06d}", fitted_on="01.03.2023") for number in range(DRIVERS)]
    runs = [_run_of(number, year) for year in (2023, 2024, 2025) for number in range(DRIVERS)]
    client = signed_in(manager)
    for kind, rows in (("devices", drivers), ("packs", packs), ("tests", runs)):
        assert counts(send(client, kind, rows, manager)) == (len(rows), 0, 0, 0)
    assert Device.objects.filter(condition="in_service", price="1450.50", cost_centre="Ä4410").count() == DRIVERS
    assert Fitting.objects.count() == DRIVERS
    assert RuntimeTest.objects.filter(stop="flat").count() == 3 * DRIVERS * 39 // 40
    assert TrailEntry.objects.filter(source="import", verb="logged runtime test").count() == 3 * DRIVERS
    for kind, rows in (("devices", drivers), ("packs", packs), ("tests", runs)):
        assert counts(send(client, kind, rows, manager)) == (0, len(rows), 0, 0)
    assert RuntimeTest.objects.count() == 3 * DRIVERS


@pytest.mark.slow
def test_a_hundred_thousand_drivers() -> None:
    """Every row stands on record once, with one trail entry."""
    home = a_home()
    drivers = [driver_row(number, home) for number in range(MANY)]
    assert counts(taken_in("devices", drivers)) == (MANY, 0, 0, 0)
    assert Device.objects.count() == MANY
    assert TrailEntry.objects.filter(verb="added device").count() == MANY


@pytest.mark.slow
def test_a_hundred_thousand_tests() -> None:
    """Every row is logged once, with one trail entry."""
    taken_in("devices", [driver_row(0, a_home())])
    taken_in("packs", [pack_row("H000000")])
    start = datetime(2024, 6, 1, 8, 0, tzinfo=UTC)
    runs = [
        run_row(
            "H000000",
            started_at=str(start + timedelta(minutes=10 * number))[:16],
            stopped_at=str(start + timedelta(minutes=10 * number + 5))[:16],
        )
        for number in range(MANY)
    ]
    assert counts(taken_in("tests", runs)) == (MANY, 0, 0, 0)
    assert RuntimeTest.objects.count() == MANY
    assert TrailEntry.objects.filter(verb="logged runtime test").count() == MANY


@pytest.mark.slow
def test_a_hundred_thousand_refused_rows_are_told() -> None:
    """A whole column that is wrong is listed whole, and nothing is written."""
    home = a_home()
    intake = checked("devices", [driver_row(number, home, accepted_on="45292") for number in range(MANY)])
    assert counts(intake) == (0, 0, 0, MANY)
    assert len(intake.refusals) == MANY
    assert Device.objects.count() == 0
