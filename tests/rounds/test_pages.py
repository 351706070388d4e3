"""The pages of a round, as the technician and others are answered."""

import pytest
from django.urls import reverse

from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.rounds import actions
from fleet.rounds.models import Round, RoundStop
from fleet.tags.actions import open_quarantine
from fleet.web import clock
from tests.batteries.builders import plain, signed_in, words
from tests.bench.builders import procedures
from tests.builders import BY, a_device, a_site, a_ward
from tests.pages import page, status
from tests.rounds.builders import a_due_driver, a_round, connected, noon, stopped

pytestmark = pytest.mark.django_db
What = RoundStop.What


def address(visit: Round, name: str = "one", *more: str) -> str:
    """A page of the round."""
    return reverse(f"rounds:{name}", args=[visit.pk, *more])


def answered(person: Person, where: str, **sent: str) -> str:
    """What stands on the page that a form leads to."""
    return plain(signed_in(person).post(where, sent, follow=True).content)


def test_a_round_is_begun_from_the_list_of_places(technician: Person) -> None:
    """Choosing a ward begins its round of today; a place of another site is not offered."""
    ward, other = a_ward(), a_ward("Ward 9", a_site("Corran Vale"))
    assert other.name not in page(technician, "/rounds/")
    shown = answered(technician, "/rounds/", place=str(ward.pk))
    assert "Round of Ward 4" in shown
    assert Round.objects.get().on == clock.today()
    assert signed_in(technician).post("/rounds/", {"place": other.pk}).status_code == 422


def test_only_who_works_on_the_bench_walks(ward_nurse: Person, outsider: Person) -> None:
    """A nurse is refused, and for somebody of another site the round does not exist."""
    visit = a_round()
    assert status(ward_nurse, "/rounds/") == 403
    assert status(outsider, address(visit)) == 404


def test_a_scan_opens_the_card_and_says_that_a_place_was_put_right(technician: Person) -> None:
    """The driver of Ward 7 is on record here now; its card says what is due and offers the answers."""
    visit, device = a_round(), a_due_driver(a_ward("Ward 7"))
    shown = answered(technician, address(visit, "scan"), code=device.serial_number)
    assert f"{device} was on record in Ward 7. It is now on record here." in shown
    assert "Yearly service" in shown
    assert f"Take {device} to the bench" in shown
    assert "Looked for, not found" not in connected(shown)


def test_an_unknown_number_is_said_and_writes_nothing(technician: Person) -> None:
    """The number stays in the field, the words say what to do."""
    visit = a_round()
    shown = answered(technician, address(visit, "scan"), code="NIX99")
    assert "No driver of your places is known as “NIX99”" in shown
    assert not RoundStop.objects.exists()


def test_a_card_looked_at_records_nothing(technician: Person) -> None:
    """Opening a driver of the list is no meeting: it can be answered as not found."""
    visit, device = a_round(), a_due_driver()
    shown = page(technician, f"{address(visit)}?code={device.asset_number}")
    assert "Looked for, not found" in connected(shown)
    assert not RoundStop.objects.exists()


def test_an_answer_leads_back_to_the_list(technician: Person) -> None:
    """In use is recorded, and the driver has moved from the list to those met."""
    visit, device = a_round(), a_due_driver()
    shown = answered(technician, address(visit, "stop", device.asset_number), what="in_use", note="Bed 3")
    assert f"{device}: in use on a patient." in shown
    assert "0 still to find" in shown
    assert "1 of 1" in shown


def test_a_refusal_keeps_what_was_typed(technician: Person) -> None:
    """Nothing due: the driver isn't taken, and the note still stands in its field."""
    visit, device = a_round(), a_device()
    sent = {"what": "taken", "note": "Looks worn"}
    answer = signed_in(technician).post(address(visit, "stop", device.asset_number), sent)
    assert answer.status_code == 422
    assert "Nothing is due on" in plain(answer.content)
    assert 'value="Looks worn"' in answer.content.decode()


def test_a_quarantined_driver_offers_no_taking(technician: Person) -> None:
    """Its card says to leave it as it is, and has no button that would move it."""
    visit, device = a_round(), a_due_driver()
    Device.objects.filter(pk=device.pk).update(condition=Condition.OUT_OF_USE)
    open_quarantine(device, reason="It ran on", by=BY)
    shown = page(technician, f"{address(visit)}?code={device.asset_number}")
    assert "Quarantine: keep it as it is" in shown
    assert f"Take {device} to the bench" not in shown
    assert 'value="done"' not in connected(shown)


def test_the_third_time_in_vain_says_that_it_is_lost(technician: Person) -> None:
    """The technician reads at once that the driver has left the list."""
    device = a_due_driver()
    for day in (2, 9):
        with clock.at(noon(day)):
            visit = a_round()
            stopped(visit, device, What.NOT_FOUND)
            actions.end(visit, by=BY)
    with clock.at(noon(16)):
        visit = a_round()
        shown = answered(technician, address(visit, "stop", device.asset_number), what="not_found")
    assert "is now recorded as not located" in shown


def test_the_end_tells_what_is_left_and_who_was_not_found(technician: Person) -> None:
    """Two due, one not found, one left; once ended it stands among the past rounds with its counts."""
    procedures()
    visit, lost, left, taken = a_round(), a_due_driver(), a_due_driver(), a_due_driver()
    stopped(visit, lost, What.NOT_FOUND)
    stopped(visit, taken, What.TAKEN)
    before = words(signed_in(technician), address(visit, "end"))
    assert "Left without an answer: 1" in before
    for device in (lost, left):
        assert device.asset_number in before
    assert "The round of Ward 4 has ended" in answered(technician, address(visit, "end"), note="Two rooms shut")
    past = words(signed_in(technician), "/rounds/")
    assert '<td class="number" data-label="Taken">1</td>' in past
    assert '<td class="number" data-label="Not found">1</td>' in past
    assert "This round ended" in words(signed_in(technician), address(visit))


def test_the_paper_lists_drivers_and_what_to_carry(technician: Person) -> None:
    """Driver, what is due, and room for what came of it."""
    visit, device = a_round(), a_due_driver()
    shown = words(signed_in(technician), address(visit, "sheet"))
    assert device.asset_number in shown
    assert "Room for up to 1 driver to take to the bench" in shown
    assert "Never take a driver from a patient" in shown


def test_the_navigation_leads_there(technician: Person, ward_nurse: Person) -> None:
    """Whoever works on the bench finds the rounds in the bar; a ward does not."""
    assert 'href="/rounds/"' in page(technician, "/bench/")
    assert 'href="/rounds/"' not in page(ward_nurse, "/tags/")
