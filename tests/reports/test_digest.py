"""The morning e-mail: by role and places, once, and only when there is something to say."""

from collections.abc import Callable
from datetime import timedelta
from email import message_from_bytes, policy
from pathlib import Path

import pytest
from django.conf import settings
from django.core import mail
from django.urls import reverse

from fleet.jobs.handlers import Run
from fleet.people.models import Person
from fleet.people.roles import Role
from fleet.reports.actions import send_digest
from fleet.reports.digest import Digest, digest_of, text
from fleet.reports.models import DigestSent
from fleet.reports.tasks import morning_digest
from fleet.web import clock
from tests.batteries.builders import a_fitted_device, a_forecast
from tests.bench.builders import finish, received, work
from tests.builders import a_device, a_person, a_site, a_ward
from tests.reports.builders import NOW, TODAY, a_fleet, things_wanting, words
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db


def a_run(tell: Callable[[int, int | None], None] = lambda *_: None) -> Run:
    """This morning's job, as a worker hands it over."""
    return Run(job_id=1, kind="morning_digest", payload={}, day=TODAY, attempt=1, tell=tell)


def said(person: Person) -> Digest:
    """What a person's mail says this morning."""
    with clock.at(NOW):
        return digest_of(person, TODAY)


def lines(person: Person) -> dict[str, list[str]]:
    """The sentences of a person's mail by section, with ordinary spaces."""
    return {
        section.title: [line.words.replace("\u00a0", " ") for line in section.lines]
        for section in said(person).sections
    }


def test_a_ward_reads_of_its_own_drivers(technician: Person, ward_nurse: Person) -> None:
    """A nurse reads which drivers of Ward 4 are out, with their tags, and which came back; nothing of Ward 9."""
    with clock.at(NOW - timedelta(days=2)):
        away, back, elsewhere = a_device(), a_device(), a_device(a_ward("Ward 9"))
        for device in (away, back, elsewhere):
            an_open_tag(device)
        order = received(back, technician)
    with clock.at(NOW - timedelta(hours=6)):
        finish(work(order, technician), technician)
    tag = away.tags.get()
    assert lines(ward_nurse) == {
        "Out of use or missing": [f"{away}: out of use (tagged), tag {tag.written}."],
        "Back since yesterday": [f"{back} is back in service at Ward 4."],
    }


def test_what_came_back_earlier_is_told_no_more(technician: Person, ward_nurse: Person) -> None:
    """A driver back since before yesterday was told of the day before."""
    with clock.at(NOW - timedelta(days=3)):
        device = a_device()
        an_open_tag(device)
        finish(work(received(device, technician), technician), technician)
    assert lines(ward_nurse) == {}


def test_a_technician_reads_the_queue_what_is_late_and_what_waits(technician: Person) -> None:
    """Harm comes first; the longest late due is named; waiting drivers are counted by reason."""
    drivers = a_fleet(technician)
    told = lines(technician)
    assert told["First on the bench"][0] == f"{drivers['harmed']}: harm reported, repair, waiting since 25 Nov 2026."
    assert told["Late"] == [
        f"1 due is late. The longest: Yearly service of {drivers['late']}, its window closed 31 Oct 2026."
    ]
    assert told["Waiting"] == ["1 driver is waiting for parts."]


def test_a_manager_reads_the_numbers_that_are_not_nought(technician: Person, manager: Person) -> None:
    """The overview's numbers with their links; what is well is no news."""
    a_fleet(technician)
    things_wanting(technician)
    told = lines(manager)
    assert "Procedures waiting for approval: 1." in told["Notices, loans, stock, contracts and procedures"]
    assert told["Planned work"] == ["Late, 1 to 30 days: 1.", "Due in 30 days: 1."]
    assert {"In quarantine: 1.", "On the bench: 1."} <= set(told["Out of use"])
    every = [line for part in told.values() for line in part]
    assert not [line for line in every if line.endswith(": 0.") or line.startswith("Library: current")]


def test_a_storekeeper_reads_which_packs_to_think_of(storekeeper: Person) -> None:
    """Packs below their level and packs that may not last are counted by their part number."""
    with clock.at(NOW):
        for below in (True, True, False):
            a_forecast(a_fitted_device(accepted_on=TODAY, on=TODAY), already_below=below)
    assert lines(storekeeper) == {
        "Packs to think of": [
            "Part FC-7: 2 fitted packs below the replacement level.",
            "Part FC-7: 1 fitted pack that may not last until the next visit.",
        ]
    }


@pytest.mark.parametrize("role", Role)
def test_nobody_reads_of_other_places(role: Role, technician: Person) -> None:
    """Whatever the role, somebody of another site has nothing to read about this one."""
    a_fleet(technician)
    assert lines(a_person(role, places=(a_site("Corran Vale"),))) == {}


def test_many_drivers_are_counted_not_listed(ward_nurse: Person) -> None:
    """Eight are told of; of the others only how many."""
    with clock.at(NOW):
        for _ in range(11):
            an_open_tag(a_device())
    told = lines(ward_nurse)["Out of use or missing"]
    assert len(told) == 9
    assert told[-1] == "3 more."


def test_the_mail_is_plain_text_with_whole_addresses(ward_nurse: Person) -> None:
    """Each sentence has its address below it, and the mail says that it clears no driver."""
    with clock.at(NOW):
        device = a_device()
        an_open_tag(device)
    body = text(said(ward_nurse))
    assert f"{settings.ORIGIN}{reverse('reports:device', args=[device.asset_number])}" in body
    assert f"{settings.ORIGIN}{reverse('people:account')}" in body
    assert "It is not clearance to use any driver on a patient." in body
    assert "\u00a0" not in body


def test_a_mail_goes_out_once_a_day(ward_nurse: Person) -> None:
    """Sent again for the same day nothing leaves; the next day it does. The row says how many lines it had."""
    with clock.at(NOW):
        an_open_tag(a_device())
        assert send_digest(ward_nurse, TODAY)
        assert not send_digest(ward_nurse, TODAY)
        assert send_digest(ward_nurse, TODAY + timedelta(days=1))
    assert [message.to for message in mail.outbox] == [[ward_nurse.email]] * 2
    assert mail.outbox[0].subject == "Your drivers this morning, 25 Nov 2026"
    assert list(DigestSent.objects.values_list("day", "lines")) == [(TODAY + timedelta(days=1), 1), (TODAY, 1)]


def test_with_nothing_to_say_no_mail_is_sent(ward_nurse: Person) -> None:
    """No empty mails, and nothing on record that one was sent."""
    assert not send_digest(ward_nurse, TODAY)
    assert mail.outbox == []
    assert not DigestSent.objects.exists()


def test_the_job_mails_who_wants_it_and_run_again_nobody(
    technician: Person, manager: Person, ward_nurse: Person, outsider: Person
) -> None:
    """Those with something to read get one mail each; who does not want it, has no address or left gets none."""
    a_fleet(technician)
    Person.objects.filter(pk=manager.pk).update(wants_digest=False)
    Person.objects.filter(pk=a_person(Role.MANAGER, places=(a_site(),)).pk).update(email="")
    Person.objects.filter(pk=a_person(Role.MANAGER, places=(a_site(),)).pk).update(is_active=False)
    told: list[tuple[int, int | None]] = []
    with clock.at(NOW):
        assert morning_digest(a_run(lambda done, total: told.append((done, total)))) == {"people": 3, "sent": 2}
        assert morning_digest(a_run()) == {"people": 3, "sent": 0}
    assert {message.to[0] for message in mail.outbox} == {technician.email, ward_nurse.email}
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_a_mail_that_was_claimed_is_never_sent_by_another(ward_nurse: Person) -> None:
    """A worker killed between its row and its mail costs that mail: better none than two."""
    with clock.at(NOW):
        an_open_tag(a_device())
        DigestSent.objects.create(person=ward_nurse, day=TODAY, sent_at=NOW, lines=1)
        assert morning_digest(a_run()) == {"people": 1, "sent": 0}
    assert mail.outbox == []


def test_without_a_mail_server_nothing_is_claimed(ward_nurse: Person, settings: object) -> None:
    """The job fails, so that it is tried again, and no row says that a mail left."""
    with clock.at(NOW):
        an_open_tag(a_device())
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 9
        with pytest.raises(OSError, match="refused"):
            morning_digest(a_run())
    assert not DigestSent.objects.exists()


def test_the_demo_keeps_its_mails_in_files(ward_nurse: Person, settings: object, tmp_path: Path) -> None:
    """With the demo's file backend each mail can be opened as a file."""
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    settings.EMAIL_FILE_PATH = str(tmp_path)
    with clock.at(NOW):
        an_open_tag(a_device())
        morning_digest(a_run())
    (kept,) = tmp_path.iterdir()
    letter = message_from_bytes(kept.read_bytes().split(b"\n----")[0], policy=policy.default)
    assert letter["To"] == ward_nurse.email
    assert "out of use (tagged)" in letter.get_content()


def test_everybody_can_look_at_their_own(ward_nurse: Person) -> None:
    """The page shows the same sentences, with links, and says whether the mail is wanted."""
    with clock.at(NOW):
        an_open_tag(a_device())
        page = words(ward_nurse, reverse("reports:digest"))
    assert "Out of use or missing" in page
    assert f"sent each morning to {ward_nurse.email}" in page
    ward_nurse.wants_digest = False
    ward_nurse.save(update_fields=["wants_digest"])
    assert "You have chosen not to get it" in words(ward_nurse, reverse("reports:digest"))
