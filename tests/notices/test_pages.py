"""The pages of notices: written, previewed, opened, answered, proven; and who sees what."""

import csv
import io
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fleet.core.lifecycle import Condition
from fleet.notices import actions
from fleet.notices.models import Notice
from fleet.people.models import Person
from fleet.rounds import queries as rounds
from fleet.rounds.models import RoundStop
from fleet.web import clock
from tests.bench.builders import again, procedures
from tests.builders import BY, a_device, a_site, a_type, a_ward
from tests.notices.builders import a_draft, a_notice, done, line_of, stated
from tests.reports.builders import plain, signed_in, words
from tests.rounds.builders import a_round, stopped

pytestmark = pytest.mark.django_db

TYPED = {
    "title": "Drive may slip",
    "issuer": "Tarnwick Instruments",
    "reference": "TI-FSN-7",
    "gravity": "grave",
    "action": "stop",
    "words": "Take it out of use.",
}


def page(notice: Notice, name: str = "one") -> str:
    """The address of a page of the notice."""
    return reverse(f"notices:{name}", args=[notice.number])


def test_a_notice_is_written_previewed_and_opened(manager: Person) -> None:
    """From the e-mail to the list of drivers by pages alone, the PDF attached; what is no PDF is refused."""
    device, browser = a_device(serial_number="T5"), signed_in(manager)
    days = {"issued_on": clock.today() - timedelta(days=2), "received_on": clock.today()}
    fake = SimpleUploadedFile("notice.pdf", b"MZ no pdf at all")
    refused = browser.post(reverse("notices:new"), {**TYPED, **days, "file": fake})
    assert refused.status_code == 422
    assert "neither a photo (JPEG or PNG) nor a PDF" in plain(refused.content)
    assert not Notice.objects.exists()
    pdf = SimpleUploadedFile("notice.pdf", b"%PDF-1.7 said")
    browser.post(reverse("notices:new"), {**TYPED, **days, "file": pdf})
    notice = Notice.objects.get()
    line = {"device_type": a_type().pk, "serial_from": "T1", "serial_to": "T9"}
    wrong = browser.post(page(notice, "draft"), {**line, "serial_to": "T0"})
    assert "T0 comes before T1" in plain(wrong.content)
    browser.post(page(notice, "draft"), line)
    told = words(manager, page(notice, "draft"))
    assert "Matches 1 driver</b>, of which 0 not located and 0 retired" in told
    browser.post(page(notice, "open"))
    assert device.asset_number in words(manager, page(notice))
    held = browser.get(reverse("notices:file", args=[notice.number, notice.editions.get().files.get().pk]))
    assert (held.content, held["Content-Type"]) == (b"%PDF-1.7 said", "application/pdf")


def test_several_are_answered_from_the_list_or_all_of_it(technician: Person) -> None:
    """The ticked ones; or all that are open on the list as it is narrowed, and no others."""
    ward, other = a_ward(), a_ward("Ward 7")
    here, there = [a_device(ward) for _ in range(3)], a_device(other)
    notice, browser = a_notice(), signed_in(technician)
    given = {"act": "answer", "state": "done", "what": "Looked at"}
    browser.post(page(notice, "act"), {**given, "line": [line_of(notice, here[0]).pk]})
    assert [line_of(notice, each).stands for each in here] == ["done", "open", "open"]
    browser.post(page(notice, "act"), {**given, "all": "1", "place": ward.pk})
    assert [line_of(notice, each).stands for each in (*here, there)] == ["done", "done", "done", "open"]
    nothing = browser.post(page(notice, "act"), given)
    assert nothing.status_code == 422
    assert "Tick the drivers" in plain(nothing.content)


def test_drivers_of_other_places_are_not_told_and_not_answered(technician: Person) -> None:
    """The list, the counts and the file hold the reader's places only, and say how many are elsewhere."""
    ours, theirs = a_device(), a_device(a_ward("Ward 9", a_site("Corran Vale")))
    notice = a_notice()
    for name in ("one", "sheet"):
        told = words(technician, page(notice, name))
        assert ours.asset_number in told
        assert theirs.asset_number not in told
    assert "1 more at places that you do not see" in words(technician, page(notice))
    filed = b"".join(signed_in(technician).get(page(notice, "csv"))).decode()
    assert theirs.asset_number not in filed
    given = {"act": "answer", "state": "done", "what": "Looked at", "line": [line_of(notice, theirs).pk]}
    assert signed_in(technician).post(page(notice, "act"), given).status_code == 422
    assert line_of(notice, theirs).stands == "open"


def test_the_proof_neutralises_what_looks_like_a_formula(technician: Person) -> None:
    """A spreadsheet runs nothing of what was typed."""
    device = a_device()
    notice = a_notice()
    done(line_of(notice, device), what="=HYPERLINK(1)", evidence="@sum")
    text = b"".join(signed_in(technician).get(page(notice, "csv"))).decode("utf-8-sig")
    row = next(csv.DictReader(io.StringIO(text)))
    assert (row["What was done"], row["Evidence"], row["Stands"]) == ("'=HYPERLINK(1)", "'@sum", "Done")
    assert row["Notice"] == notice.number


def test_a_ward_sees_its_own_drivers_and_no_page_of_the_notice(ward_nurse: Person) -> None:
    """What to do stands on the ward's list and the driver's page; the notice and its files are not theirs."""
    ours, theirs = a_device(), a_device(a_ward("Ward 7"))
    notice = a_notice(said={"action": "stop"})
    told = words(ward_nurse, reverse("notices:ours"))
    assert ours.asset_number in told
    assert theirs.asset_number not in told
    assert "Safety notice: do not use it" in words(ward_nurse, reverse("reports:device", args=[ours.asset_number]))
    for name in ("one", "csv", "sheet", "draft", "close", "act"):
        assert signed_in(ward_nurse).get(page(notice, name)).status_code in {403, 405}
    assert signed_in(ward_nurse).get(reverse("notices:notices")).status_code == 403


def test_the_manager_tags_the_ticked_drivers(manager: Person, technician: Person) -> None:
    """One press with a reason; a technician is refused."""
    device = a_device()
    notice = a_notice(said={"action": "stop"})
    given = {"act": "tag", "tag-why": "Until the maker answers", "line": [line_of(notice, device).pk]}
    assert signed_in(technician).post(page(notice, "act"), given).status_code == 403
    signed_in(manager).post(page(notice, "act"), given)
    assert again(device).condition == Condition.OUT_OF_USE


def test_the_list_shows_open_ones_first_to_be_done_and_finds_by_reference(manager: Person) -> None:
    """Late ones are marked and have a list; search finds by the issuer's reference; a draft stands apart."""
    a_device()
    with clock.at(clock.now() - timedelta(days=90)):
        late = a_notice(said={"title": "Old one"})
    soon = a_notice(said={"title": "New one", "reference": "TI-8"})
    stated(a_draft(title="Only a draft"))
    told = words(manager, reverse("notices:notices"))
    assert told.index("Old one") < told.index("New one")
    assert "Only a draft" not in told
    assert "0.0 %" in told
    narrowed = words(manager, reverse("notices:notices"), show="late")
    assert "Old one" in narrowed
    assert "New one" not in narrowed
    found = signed_in(manager).get(reverse("reports:search"), {"q": "ti-8"})
    assert found["Location"] == page(soon)
    assert "Safety notices past their day" in words(manager, reverse("reports:overview"))
    assert late.number in words(manager, reverse("reports:digest"))


def test_a_round_finds_the_notice_and_what_to_carry(technician: Person) -> None:
    """Open on a driver it is a reason to go there; answered there it is done on the spot, and due no more."""
    device = a_device()
    notice = a_notice(said={"on_the_spot": True, "take_along": "Torque key"})
    visit = a_round(by=technician)
    (todo,) = rounds.round_page(visit).left
    assert [(reason.kind, reason.on_the_spot, reason.late) for reason in todo.reasons] == [("notice", True, False)]
    shown = words(technician, reverse("rounds:one", args=[visit.pk]), code=device.asset_number)
    assert "Torque key, for safety notice" in shown
    back = f"{reverse('rounds:one', args=[visit.pk])}?code={device.asset_number}"
    answer = {"state": "done", "what": "Holds", "next": back}
    address = reverse("notices:driver", args=[notice.number, device.asset_number])
    assert signed_in(technician).post(address, answer)["Location"] == back
    stopped(visit, device, RoundStop.What.DONE, by=technician)
    met = rounds.round_page(visit)
    assert (met.answered, met.left) == (1, [])


def test_a_driver_taken_to_the_bench_for_a_notice_has_its_order(technician: Person) -> None:
    """The order is the notice's kind and its end answers the driver."""
    procedures()
    device = a_device()
    notice = a_notice()
    visit = a_round(by=technician)
    stopped(visit, device, RoundStop.What.TAKEN, by=technician)
    order = device.orders.get()
    assert (order.kind, order.state) == ("notice", "started")
    assert line_of(notice, device).order == order


def test_nobody_is_sent_to_a_foreign_address(technician: Person) -> None:
    """The way back is a page of ours or the driver's own."""
    device = a_device()
    notice = a_notice()
    address = reverse("notices:driver", args=[notice.number, device.asset_number])
    given = {"state": "done", "what": "Holds", "next": "//elsewhere.example/"}
    assert signed_in(technician).post(address, given)["Location"] == address


def test_an_empty_house_says_what_to_do(manager: Person) -> None:
    """Each empty list says how it fills."""
    told = words(manager, reverse("notices:notices"))
    assert "No safety notice is open." in told
    assert "Write a notice down" in told
    notice = a_notice()
    assert "No driver of your places is concerned." in words(manager, page(notice))
    actions.close(notice, "done", by=BY)
    assert notice.number in words(manager, reverse("notices:notices"), show="closed")
