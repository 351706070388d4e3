"""Answers that a phone kept: each once, as of when it was given, never over a younger one."""

from datetime import timedelta

import pytest
from django.http import HttpResponse

from fleet.core.errors import ConflictError
from fleet.core.kept import Kept
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.rounds import actions
from fleet.rounds.models import Round, RoundStop
from fleet.schedules.models import DueAttempt
from fleet.web import clock
from tests.builders import BY, a_ward
from tests.pages import signed_in
from tests.rounds.builders import a_due_driver, a_round, noon, stopped

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)


def sent(visit: Round, device: Device, what: str, key: str = "k1", held: timedelta = HOUR) -> RoundStop:
    """An answer that waited on a phone for an hour."""
    return actions.stop(visit, device, what, by=BY, kept=Kept(key, held))


def begun() -> tuple[Round, Device]:
    """A round begun at noon, with one late driver."""
    with clock.at(noon(10)):
        return a_round(), a_due_driver()


def posted(person: Person, visit: Round, typed_by: Person | None = None, **values: object) -> HttpResponse:
    """What the script of a phone sends, and what it is told."""
    typed = {"person": (typed_by or person).pk, **values}
    return signed_in(person).post(f"/rounds/{visit.pk}/answer/", typed, headers={"X-Kept": "1"})


def test_the_same_answer_sent_twice_is_one() -> None:
    """A reply that was lost makes the phone send again: one answer, one visit in vain, whatever came after it."""
    visit, device = begun()
    with clock.at(noon(10) + 3 * HOUR):
        first = sent(visit, device, "in_use")
        stopped(visit, device, "refused")
        assert sent(visit, device, "in_use") == first
    assert RoundStop.objects.get(latest=True).what == "refused"
    assert DueAttempt.objects.count() == 2


def test_it_counts_from_when_it_was_given() -> None:
    """Given at two, sent at three: the answer, the sighting and the visit in vain are of two; its entry is of three."""
    visit, device = begun()
    with clock.at(noon(10) + 3 * HOUR):
        stop = sent(visit, device, "in_use")
    device.refresh_from_db()
    given = noon(10) + 2 * HOUR
    assert (stop.at, device.last_seen_at, DueAttempt.objects.get().tried_at) == (given, given, given)
    assert stop.entered_at == noon(10) + 3 * HOUR


def test_a_wait_longer_than_the_round_ends_at_its_beginning() -> None:
    """A phone whose clock is wrong dates no answer before the round was begun."""
    visit, device = begun()
    with clock.at(noon(10) + HOUR):
        assert sent(visit, device, "in_use", held=30 * HOUR).at == noon(10)


def test_an_answer_given_later_by_somebody_else_stands() -> None:
    """What waited does not undo what was answered meanwhile; the sentence says what stands."""
    visit, device = begun()
    with clock.at(noon(10) + 2 * HOUR):
        stopped(visit, device, "refused")
    with clock.at(noon(10) + 3 * HOUR), pytest.raises(ConflictError, match="That answer stands"):
        sent(visit, device, "not_found", held=2 * HOUR)
    assert RoundStop.objects.get().what == "refused"


def test_a_key_belongs_to_one_answer() -> None:
    """The key of one driver's answer brings nothing about another driver."""
    visit, device = begun()
    with clock.at(noon(10) + HOUR):
        sent(visit, device, "in_use")
        with pytest.raises(ConflictError):
            sent(visit, a_due_driver(), "in_use")


def test_any_number_of_a_driver_is_looked_up_when_it_is_sent(technician: Person) -> None:
    """A serial is answered as its driver; a number nobody knows is refused in words and writes nothing."""
    visit, device = a_round(), a_due_driver()
    told = posted(technician, visit, code=device.serial_number, what="in_use", key="k1", held="5").json()
    assert (told["saved"], RoundStop.objects.get().device) == (True, device)
    told = posted(technician, visit, code="NIX99", what="in_use", key="k2", held="5").json()
    assert "No driver of your places is known as “NIX99”" in told["page"]
    assert RoundStop.objects.count() == 1


def test_a_scan_that_waited_is_of_then_and_comes_before_its_answer(technician: Person) -> None:
    """Scanned and answered without a connection: the scan does not stand as younger than the answer."""
    visit, device = begun()
    with clock.at(noon(10) + 3 * HOUR):
        client = signed_in(technician)
        for address, values in (
            ("scan", {"held": "3600"}),
            ("answer", {"what": "refused", "key": "k1", "held": "3598"}),
        ):
            sent_values = {"person": technician.pk, "code": device.asset_number, **values}
            told = client.post(f"/rounds/{visit.pk}/{address}/", sent_values, headers={"X-Kept": "1"}).json()
            assert told["saved"]
    assert RoundStop.objects.get(latest=True).what == "refused"


def test_what_one_typed_is_not_saved_under_another_name(technician: Person, second_technician: Person) -> None:
    """A colleague who signed in on the same phone sends nothing of what it kept."""
    visit, device = a_round(a_ward()), a_due_driver()
    values = {"code": device.asset_number, "what": "in_use", "key": "k1"}
    told = posted(technician, visit, typed_by=second_technician, **values).json()
    assert told == {"saved": False, "another": True}
    assert not RoundStop.objects.exists()
