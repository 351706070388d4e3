"""Rounds of another day, on paper, from ward to ward of a building, and with a slip of the thumb taken back."""

from datetime import datetime, time, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from fleet.audit.models import TrailEntry
from fleet.bench.models import KitLine, Procedure
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError
from fleet.core.usage import Use
from fleet.people.models import Person
from fleet.registry.actions import add_place
from fleet.registry.models import Place
from fleet.rounds import actions
from fleet.rounds.models import RoundStop
from fleet.rounds.queries import round_page
from fleet.schedules import queries as schedules
from fleet.schedules.models import DueAttempt
from fleet.stores.models import Part
from fleet.web import clock
from tests.batteries.builders import signed_in, words
from tests.bench.builders import procedures
from tests.builders import BY, a_bench, a_site, a_ward
from tests.pages import page
from tests.rounds.builders import a_due_driver, a_round, noon, stopped

pytestmark = pytest.mark.django_db
What = RoundStop.What


def test_a_later_day_shows_what_is_due_by_then_and_takes_no_answer(technician: Person) -> None:
    """Work whose window opens next month stands on next month's round only, which is read and printed until its day."""
    with clock.at(noon(1)):
        device = a_due_driver(accepted_on=clock.today() - timedelta(days=300))
        a_bench()
        later = clock.today() + timedelta(days=60)
        assert not round_page(actions.begin(a_ward(), clock.today(), by=BY)).left
        answer = signed_in(technician).post("/rounds/", {"place": a_ward().pk, "on": later}, follow=True)
        visit = answer.context["round"]
        assert (visit.on, [each.device for each in answer.context["page"].left]) == (later, [device])
        assert 'name="code"' not in answer.content.decode()
        with pytest.raises(BadValueError, match="until then read and print it"):
            stopped(visit, device, What.IN_USE)


def test_an_answer_is_taken_back_with_its_visits_in_vain(technician: Person) -> None:
    """A slip of the thumb counts nowhere afterwards: not on the round, not at the due; both stay on record."""
    device, visit = a_due_driver(), a_round()
    stopped(visit, device, What.SEEN)
    stopped(visit, device, What.IN_USE)
    due = device.dues.get()
    assert schedules.attempts_of(due).count() == 1
    address = reverse("rounds:undo", args=[visit.pk, device.asset_number])
    assert "is taken back" in signed_in(technician).post(address, follow=True).content.decode()
    assert schedules.attempts_of(due).count() == 0
    assert DueAttempt.objects.get().taken_back_at is not None
    assert visit.stops.get(latest=True).what == What.SEEN
    assert [each.device for each in round_page(visit).left] == [device]
    stopped(visit, device, What.REFUSED)
    assert schedules.attempts_of(due).get().reason == DueAttempt.Reason.REFUSED


def test_what_was_done_to_a_driver_is_not_taken_back() -> None:
    """A driver received on the bench is finished there; an ended round stands; nothing answered has nothing to undo."""
    procedures()
    device, visit = a_due_driver(), a_round()
    with pytest.raises(ConflictError, match="No answer"):
        actions.undo(visit, device, by=BY)
    stopped(visit, device, What.TAKEN)
    with pytest.raises(MoveRefusedError, match="received on the bench"):
        actions.undo(visit, device, by=BY)
    other = a_due_driver()
    stopped(visit, other, What.IN_USE)
    actions.end(visit, by=BY)
    with pytest.raises(ConflictError, match="ended"):
        actions.undo(visit, other, by=BY)


def test_an_attempt_taken_back_does_not_make_a_driver_lost() -> None:
    """Only looks in vain that stand count towards not located."""
    device = a_due_driver()
    for day in (1, 9, 16):
        with clock.at(noon(day)):
            visit = a_round()
            stopped(visit, device, What.NOT_FOUND)
            if day == 1:
                actions.undo(visit, device, by=BY)
    device.refresh_from_db()
    assert device.condition == "in_service"


def a_building() -> tuple[Place, Place, Place]:
    """A building with two wards."""
    house = add_place(Place.Kind.BUILDING, "North House", "north", a_site(), by=BY)
    wards = [add_place(Place.Kind.WARD, name, name.lower(), house, by=BY) for name in ("N1", "N2")]
    return house, wards[0], wards[1]


def test_a_place_is_put_right_inside_a_building(technician: Person) -> None:
    """Scanned while one stands in another ward of the round, the driver is on record there; else where it was."""
    house, first, second = a_building()
    device, other = a_due_driver(first), a_due_driver(first)
    visit = a_round(house)
    client, scan = signed_in(technician), reverse("rounds:scan", args=[visit.pk])
    answer = client.post(scan, {"code": device.asset_number, "here": second.pk}, follow=True)
    assert answer.context["here"] == second
    client.post(scan, {"code": other.asset_number})
    for each in (device, other):
        each.refresh_from_db()
    assert (device.place, other.place) == (second, first)
    assert visit.stops.get(device=device).moved_here
    with pytest.raises(BadValueError, match="does not lie in"):
        actions.stop(visit, device, What.IN_USE, by=BY, here=a_ward())


def test_a_sheet_is_typed_in_afterwards(technician: Person) -> None:
    """Each line of the paper is an answer; one left open stays on the list; a refusal is told and loses no other."""
    procedures()
    visit = a_round()
    taken, busy, left = (a_due_driver() for _ in range(3))
    client, address = signed_in(technician), reverse("rounds:paper", args=[visit.pk])
    assert taken.asset_number in client.get(address).content.decode()
    sent = {
        f"what-{taken.pk}": "taken", f"what-{busy.pk}": "in_use", f"note-{busy.pk}": "Bed 3", f"what-{left.pk}": "",
    }  # fmt: skip
    assert "2 answers typed in" in client.post(address, sent, follow=True).content.decode()
    assert set(visit.stops.values_list("device", "what", "note")) == {
        (taken.pk, "taken", ""),
        (busy.pk, "in_use", "Bed 3"),
    }
    assert [each.device for each in round_page(visit).left] == [left]
    refused = client.post(address, {f"what-{left.pk}": "done"}, follow=True).content.decode()
    assert "was done on the spot" in refused


def at(hour: int, minute: int = 0, day: int = 20) -> datetime:
    """A local moment of November 2026."""
    return datetime(2026, 11, day, hour, minute, tzinfo=timezone.get_current_timezone())


def test_paper_says_when_it_was_done(technician: Person) -> None:
    """The time counts, the entry stands beside it, and the trail tells both; without one it is the entry's."""
    with clock.at(at(9)):
        visit, timed, untimed = a_round(), a_due_driver(), a_due_driver()
    with clock.at(at(16, 30)):
        sent = {f"what-{timed.pk}": "in_use", f"at-{timed.pk}": "10:15", f"what-{untimed.pk}": "in_use"}
        signed_in(technician).post(reverse("rounds:paper", args=[visit.pk]), sent)
        shown = page(technician, f"{reverse('rounds:one', args=[visit.pk])}?code={timed.asset_number}")
    held = {stop.device: stop for stop in visit.stops.all()}
    assert [(held[each].at, held[each].entered_at) for each in (timed, untimed)] == [
        (at(10, 15), at(16, 30)), (at(16, 30), at(16, 30)),
    ]  # fmt: skip
    assert all(stop.typed_in for stop in held.values())
    assert timed.dues.get().attempts.get().tried_at == at(10, 15)
    told = TrailEntry.objects.get(verb="met on a round", device_ref=timed.pk)
    assert (told.done_at, told.after["typed in later"]) == (at(10, 15), True)
    said = shown.replace("\u00a0", " ")
    assert "done 20 Nov 2026 10:15, by the paper; typed in later, 20 Nov 2026 16:30" in said
    assert "20 Nov 2026 10:15, typed in later." in said


def test_a_time_on_paper_is_possible() -> None:
    """None to come, and none long before the round; past midnight belongs to the night of the round."""
    with clock.at(at(22)):
        night, first, other = a_round(), a_due_driver(), a_due_driver()
    with clock.at(at(23)):
        with pytest.raises(BadValueError, match="23:30 is still to come"):
            actions.stop(night, first, What.IN_USE, by=BY, typed=actions.Typed(time(23, 30)))
        with pytest.raises(BadValueError, match="09:30 is long before the round, which was begun at 22:00"):
            actions.stop(night, first, What.IN_USE, by=BY, typed=actions.Typed(time(9, 30)))
        assert actions.stop(night, first, What.IN_USE, by=BY, typed=actions.Typed(time(10, 30))).at == at(10, 30)
    assert night.stops.count() == 1
    with clock.at(at(2, day=21)):
        assert actions.stop(night, other, What.IN_USE, by=BY, typed=actions.Typed(time(0, 30))).at == at(0, 30, day=21)


def test_a_refused_time_is_told_and_leaves_the_driver_open(technician: Person) -> None:
    """The line says why; the other lines of the paper are kept."""
    with clock.at(at(9)):
        visit, ahead, fine = a_round(), a_due_driver(), a_due_driver()
        sent = {f"what-{ahead.pk}": "in_use", f"at-{ahead.pk}": "11:00", f"what-{fine.pk}": "in_use"}
        answer = signed_in(technician).post(reverse("rounds:paper", args=[visit.pk]), sent, follow=True)
    assert "11:00 is still to come" in answer.content.decode()
    assert [stop.device for stop in visit.stops.all()] == [fine]


def test_the_parts_of_the_kits_are_carried() -> None:
    """Two services whose procedure takes one clip and two screws need two clips and four screws along."""
    procedures()
    visit = a_round()
    for _ in range(2):
        a_due_driver()
    service = Procedure.objects.get(code="planned-list")
    for number, quantity in (("CL-1", 1), ("SC-2", 2)):
        KitLine.objects.create(procedure=service, part=Part.objects.create(number=number, name="x"), quantity=quantity)
    carried = [(str(line.part), line.wanted) for line in round_page(visit).carry.parts]
    assert carried == [("CL-1 x", 2), ("SC-2 x", 4)]


def test_who_was_in_use_at_the_last_visit_is_told(technician: Person) -> None:
    """The list says who was found in use today, and that nothing is known of the other."""
    busy, visit = a_due_driver(), a_round()
    a_due_driver()
    stopped(visit, busy, What.IN_USE)
    actions.end(visit, by=BY)
    fresh = a_round()
    assert [(sign.use, number) for sign, number in round_page(fresh).uses] == [(Use.UNKNOWN, 1), (Use.IN_USE, 1)]
    shown = words(signed_in(technician), reverse("rounds:one", args=[fresh.pk]))
    assert "found in use on a visit, just now" in shown
