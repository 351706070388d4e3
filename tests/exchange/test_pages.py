"""The pages: sending, what the check found, committing; who may, and who must not know."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client, override_settings
from django.urls import reverse

from fleet.exchange import actions
from fleet.exchange.kinds import KINDS
from fleet.exchange.models import Intake
from fleet.jobs import work
from fleet.jobs.models import Job
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.web import clock
from tests.builders import a_device
from tests.exchange.builders import (
    a_file,
    a_home,
    checked,
    driver_row,
    lines_of,
    outside_ward,
    sent,
    signed_in,
    taken_in,
    told_nothing,
)

pytestmark = pytest.mark.django_db
LIST, NEW = reverse("exchange:intakes"), reverse("exchange:new")


def address(name: str, intake: Intake) -> str:
    return reverse(f"exchange:{name}", args=[intake.pk])


def shown(client: Client, where: str, status: int = 200) -> str:
    answer = client.get(where)
    assert answer.status_code == status
    return " ".join(answer.content.decode().replace("\u00a0", " ").split())


def upload(client: Client, content: bytes, kind: str = "devices", **how: str) -> Any:
    file = SimpleUploadedFile("drivers.csv", content, content_type="application/pdf")
    return client.post(NEW, {"kind": kind, "file": file, **how}, follow=True)


def run_jobs() -> None:
    for job in Job.objects.filter(state=Job.State.QUEUED):
        work.run_job(job.pk)


def test_a_file_goes_from_sending_to_the_record(manager: Person) -> None:
    """Sent, checked by a job, committed by a job, with what will happen in words and a link to the rows."""
    client = signed_in(manager)
    assert "No file has been sent yet." in shown(client, LIST)
    upload(client, a_file([driver_row(number, a_home()) for number in range(3)]))
    intake = Intake.objects.get()
    assert "The check begins in a moment." in shown(client, address("intake", intake))
    run_jobs()
    assert client.get(address("progress", intake))["HX-Refresh"] == "true"
    page = shown(client, address("intake", intake))
    assert "3 drivers will be added." in page
    assert "Commit this file" in page
    client.post(address("commit", intake))
    assert "The commit begins in a moment." in shown(client, address("intake", intake))
    run_jobs()
    page = shown(client, address("intake", intake))
    assert "3 drivers added." in page
    assert reverse("registry:devices") in page
    assert "drivers.csv" in shown(client, LIST)
    assert Device.objects.count() == 3


def test_refused_rows_are_listed_and_saved(manager: Person) -> None:
    """With row, column, value and what would be right; no commit is offered; the texts of the file are escaped."""
    client = signed_in(manager)
    rows = [driver_row(1, a_home()), driver_row(2, a_home(), pool="<b>lone", lot="1.2E+5")]
    intake = checked("devices", rows, manager)
    page = shown(client, address("intake", intake))
    assert "Rows to correct" in page
    assert "&lt;b&gt;lone" in page
    assert "Commit this file" not in page
    file = lines_of(client.get(address("refusals", intake)))
    assert file[0] == ["row", "column", "value", "what would be right"]
    assert [line[:3] for line in file[1:]] == [["3", "lot", "1.2E+5"], ["3", "pool", "<b>lone"]]
    client.post(address("commit", intake))
    assert Device.objects.count() == 0


def test_the_first_five_hundred_stand_on_the_page(manager: Person) -> None:
    """The others are in the file that can be saved."""
    home = a_home()
    intake = checked("devices", [driver_row(number, home, pool="x") for number in range(501)], manager)
    client = signed_in(manager)
    page = shown(client, address("intake", intake))
    assert page.count('data-label="Right"') == 500
    assert "Save all 501 as CSV" in page
    assert len(lines_of(client.get(address("refusals", intake)))) == 502


def test_changes_are_shown_before_they_are_made(manager: Person) -> None:
    """What stands on record beside what the file states."""
    home = a_home()
    taken_in("devices", [driver_row(1, home, lot="L1")], manager)
    page = shown(signed_in(manager), address("intake", checked("devices", [driver_row(1, home, lot="L2")], manager)))
    assert "1 driver on record will be changed as listed below." in page
    assert "What would change" in page
    assert "L1" in page
    assert "L2" in page


def test_a_file_is_read_another_way_without_sending_it_again(manager: Person) -> None:
    """Encoding and delimiter found are shown; the choice is taken over by a second check."""
    client = signed_in(manager)
    content = a_file([driver_row(1, a_home(), accepted_on="03/04/2024")], ";", "cp1250")
    upload(client, content, date_order="")
    run_jobs()
    intake = Intake.objects.get()
    page = shown(client, address("intake", intake))
    assert "UTF-8, semicolon, no dates in digits, decimal point" in page
    client.post(address("again", intake), {"date_order": "day", "encoding": "cp1250", "delimiter": "semicolon"})
    run_jobs()
    intake.refresh_from_db()
    assert (intake.state, intake.encoding, intake.day_first) == (Intake.State.READY, "cp1250", True)


def test_a_tab_is_chosen_by_its_name(manager: Person) -> None:
    """A sign that a browser would strip comes through."""
    client = signed_in(manager)
    upload(client, a_file([driver_row(1, a_home())], "\t"), delimiter="tab")
    run_jobs()
    assert (Intake.objects.get().delimiter, Intake.objects.get().state) == ("\t", Intake.State.READY)


@pytest.mark.parametrize(("content", "words"), [(b"", "The file is empty"), (b"a" * (1024 * 1024 + 1), "1.0 MB")])
def test_a_file_too_large_or_empty_is_refused_beside_its_field(content: bytes, words: str, manager: Person) -> None:
    """What was chosen besides is kept, nothing is stored."""
    with override_settings(INTAKE_MEGABYTES=1):
        answer = upload(signed_in(manager), content)
    assert words in answer.content.decode()
    assert not Intake.objects.exists()


def test_without_a_worker_the_page_says_so(manager: Person) -> None:
    """After some seconds it tells that no worker has begun, and that nothing is lost."""
    client = signed_in(manager)
    intake = sent("devices", [driver_row(1, a_home())], manager)
    assert "Waiting for the job worker" not in shown(client, address("intake", intake))
    with clock.at(clock.now() + timedelta(seconds=20)):
        page = shown(client, address("progress", intake))
    assert "Waiting for the job worker" in page
    assert "<html" not in page


def test_progress_is_shown_while_a_job_works(manager: Person) -> None:
    """How many of how many rows, for a storekeeper too, who does not see the page of jobs."""
    intake = sent("devices", [driver_row(1, a_home())], manager)
    Job.objects.update(state="running", claimed_by="x", lease_until=clock.now(), progress=400, total=600)
    page = shown(signed_in(manager), address("intake", intake))
    assert '<progress value="400" max="600">' in page
    Job.objects.update(state="failed", lease_until=None, error="ZeroDivisionError: x")
    assert "The job stopped by an error" in shown(signed_in(manager), address("intake", intake))


def test_the_file_is_saved_as_it_was_sent(manager: Person) -> None:
    """Byte for byte, never shown by the browser, under a name of ours."""
    content = a_file([driver_row(1, a_home())], ";", "utf-16")
    intake = checked("devices", content, manager, file_name='x".html')
    answer = signed_in(manager).get(address("file", intake))
    assert answer.content == content
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["Content-Disposition"].startswith('attachment; filename="sent-')
    assert "html" not in answer["Content-Disposition"]


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_has_a_template_that_is_understood(kind: str, manager: Person) -> None:
    """The header is known, two rows are given, and each column is explained on a page."""
    client = signed_in(manager)
    header, *rows = lines_of(client.get(reverse("exchange:template", args=[kind])))
    assert header == [column.name for column in KINDS[kind].columns]
    assert len(rows) == 2
    page = shown(client, reverse("exchange:columns", args=[kind]))
    assert all(column.meaning and column.name in page for column in KINDS[kind].columns)
    content = "\n".join(",".join(f'"{cell}"' for cell in line) for line in [header, *rows]).encode()
    intake = checked(kind, content, manager)
    assert intake.error == ""
    unread = {one[1] for one in intake.refusals} - {"device", "pack", "home", "maker", "model", "type_model", "kind"}
    assert unread == set()


def test_what_is_on_record_is_sent_out_within_their_places(manager: Person, outsider: Person) -> None:
    """Each gets the drivers they see, and no other."""
    device = a_device(asset_number="A-77")
    where = reverse("exchange:export", args=["devices"])
    ours, theirs = (lines_of(signed_in(person).get(where)) for person in (manager, outsider))
    assert [line[0] for line in ours[1:]] == [device.asset_number]
    assert theirs[1:] == []
    assert signed_in(manager).get(reverse("exchange:export", args=["syringes"])).status_code == 404


def test_only_the_sender_and_who_sees_all_know_of_a_file(
    manager: Person, outsider: Person, administrator: Person
) -> None:
    """Anybody else finds nothing at any of its addresses."""
    intake = checked("devices", [driver_row(1, a_home())], manager)
    client = signed_in(outsider)
    for name in ("intake", "progress", "refusals", "file"):
        shown(client, address(name, intake), 404)
    for name in ("commit", "again"):
        assert client.post(address(name, intake)).status_code == 404
    assert "records.csv" not in shown(client, LIST)
    assert "records.csv" in shown(signed_in(administrator), LIST)
    shown(signed_in(administrator), address("intake", intake))


def test_who_may_send_files(storekeeper: Person, technician: Person, ward_nurse: Person) -> None:
    """A storekeeper may; a technician and a nurse are told that they may not; a stranger signs in first."""
    shown(signed_in(storekeeper), NEW)
    for person in (technician, ward_nurse):
        for where in (LIST, NEW, reverse("exchange:template", args=["devices"])):
            shown(signed_in(person), where, 403)
    assert Client().get(LIST).status_code == 302


def test_a_storekeeper_takes_in_every_kind_of_device_row(storekeeper: Person) -> None:
    """Their duty to import is enough to add a driver, to change one and to open its dues."""
    home = a_home()
    taken_in("devices", [driver_row(1, home)], storekeeper)
    taken_in("devices", [driver_row(1, home, lot="L2")], storekeeper)
    assert Device.objects.get().lot == "L2"


def test_places_of_others_cannot_be_written(manager: Person) -> None:
    """A row for another site is refused on the page."""
    a_home()
    page = shown(signed_in(manager), address("intake", checked("devices", [driver_row(1, outside_ward())], manager)))
    assert "No place of yours is called that." in page


def test_the_same_file_sent_again_says_that_it_was_committed(manager: Person) -> None:
    """Before anybody wonders why every row is known."""
    rows = [driver_row(1, a_home())]
    taken_in("devices", rows, manager)
    page = shown(signed_in(manager), address("intake", checked("devices", rows, manager)))
    assert "The same file was committed before" in page
    assert "1 driver is already known" in page


def test_a_very_large_file_says_that_others_wait(manager: Person) -> None:
    """On SQLite one writes at a time; whoever commits chooses when."""
    intake = checked("devices", [driver_row(1, a_home())], manager)
    assert "quiet hour" not in shown(signed_in(manager), address("intake", intake))
    Intake.objects.update(new_rows=50_000)
    assert "50,000 drivers will be added." in shown(signed_in(manager), address("intake", intake))
    assert "quiet hour" in shown(signed_in(manager), address("intake", intake))


def test_a_stale_commit_is_refused_in_words(manager: Person) -> None:
    """A second press on an old page changes nothing."""
    done = taken_in("devices", [driver_row(1, a_home())], manager)
    client = signed_in(manager)
    assert "Only a checked file can be committed" in client.post(address("commit", done), follow=True).content.decode()
    assert "not checked again" in client.post(address("again", done), {}, follow=True).content.decode()
    fresh = checked("devices", [driver_row(2, a_home())], manager)
    assert "rot13 is not one of" in client.post(address("again", fresh), {"encoding": "rot13"}).content.decode()


def test_a_stopped_commit_tells_why(manager: Person) -> None:
    """The conflict stands on the page, with the way to check again."""
    intake = checked("devices", [driver_row(1, a_home())], manager)
    a_device(asset_number="H000001")
    client = signed_in(manager)
    client.post(address("commit", intake))
    actions.commit(intake.pk, progress=told_nothing)
    page = shown(client, address("intake", intake))
    assert "Nothing was written" in page
    assert "H000001" in page
    assert "Check it again" in page
