"""Not located: looked for by the rule of the house, off the ward's list, counted, and found again by any scan."""

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from fleet.accessories.actions import count as count_accessories
from fleet.accessories.models import Tally
from fleet.audit.actors import link_actor
from fleet.audit.models import TrailEntry
from fleet.batteries.actions import fit, log_test, remove
from fleet.batteries.models import Fitting
from fleet.bench.actions import receive
from fleet.bench.models import OrderKind
from fleet.bench.queries import facts
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.lifecycle import Condition, Move, unmet
from fleet.libraries.actions import carry_all
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.actions import state_accessories
from fleet.registry.models import Accessory, Device
from fleet.registry.queries import label_token
from fleet.rounds import actions as rounds
from fleet.schedules import actions, queries
from fleet.schedules.models import Due, DueAttempt, Search
from fleet.schedules.queries import Asked, Result, completion
from fleet.tags.actions import raise_tag, report_found, report_missing
from fleet.web import clock
from tests.batteries.builders import a_fitted_device, a_pack, a_test
from tests.builders import BY, a_bench, a_device, a_type, a_ward
from tests.libraries.builders import a_version
from tests.pages import page, signed_in
from tests.rounds.builders import a_due_driver, a_round
from tests.schedules.builders import ACCEPTED, a_due, on
from tests.tags.builders import a_report

pytestmark = pytest.mark.django_db


def again(device: Device) -> Device:
    return Device.objects.get(pk=device.pk)


def looked(device: Device, *days: date, where: str = "Ward 4") -> None:
    """Looked for in vain on these days."""
    for day in days:
        with on(day):
            actions.look_in_vain(device, a_ward(where), note="All bays", by=BY)


def a_lost_driver() -> Device:
    """A driver whose service is late and that nobody finds."""
    device = a_due_driver()
    report_missing(device, why="Looked everywhere", by=BY)
    return again(device)


def test_three_days_over_two_weeks_make_it_not_located() -> None:
    """Each search is on record with who, when and where, and is a visit in vain to what is due."""
    due = a_due()
    late = date(2028, 2, 5)
    looked(due.device, late, late + timedelta(days=7))
    assert again(due.device).condition == Condition.IN_SERVICE
    looked(due.device, late + timedelta(days=14), where="Ward 9")
    assert again(due.device).condition == Condition.NOT_LOCATED
    kept = [(row.place.name, row.by, row.note) for row in Search.objects.all()]
    assert kept[0] == ("Ward 9", BY.name, "All bays")
    assert len(kept) == 3
    tried = DueAttempt.objects.filter(due=due, reason=DueAttempt.Reason.NOT_FOUND)
    assert "Looked in Ward 9. All bays" in {row.note for row in tried}
    assert len(tried) == 3


def test_the_rule_is_the_houses_own() -> None:
    """With two searches over a day the second gives it up; the same day twice is one."""
    device = a_due().device
    actions.set_house_rule({"search_attempts": 2, "search_days": 1}, why="our policy", by=BY)
    looked(device, date(2028, 2, 5), date(2028, 2, 5))
    assert again(device).condition == Condition.IN_SERVICE
    looked(device, date(2028, 2, 6))
    assert again(device).condition == Condition.NOT_LOCATED


def test_who_is_with_the_bench_is_not_looked_for() -> None:
    """A driver on the bench is refused, and so is a search still to come."""
    device = a_due_driver()
    with pytest.raises(BadValueError, match="still to come"):
        actions.look_in_vain(device, a_ward(), at=clock.now() + timedelta(hours=1), by=BY)
    receive(device, bench=a_bench(), by=BY)
    with pytest.raises(MoveRefusedError, match="nobody needs to look"):
        actions.look_in_vain(again(device), a_ward(), by=BY)


def test_it_leaves_the_wards_list_and_counts_against_completion(ward_nurse: Person) -> None:
    """Off the list of the ward and of its round, one folded line is left; the due is missed as not located."""
    due = a_due()
    first = date(2028, 2, 5)
    looked(due.device, first, first + timedelta(days=7), first + timedelta(days=14))
    ours = page(ward_nurse, reverse("tags:ours"))
    assert "Out of use: 0" in ours
    assert "Not located: 1" in ours
    march = Asked(first=date(2028, 3, 1), last=date(2028, 3, 31))
    assert completion(march, on=date(2028, 5, 1)).total.results == {Result.NOT_FOUND: 1}


def test_a_due_that_nobody_visited_counts_as_not_located_while_its_driver_is() -> None:
    """Given up before its window opened, a due without a visit is missed as not located; a visit's own reason stays."""
    due = a_due()
    looked(due.device, *(date(2027, 3, day) for day in (1, 8, 15)))
    march, after = Asked(first=date(2028, 3, 1), last=date(2028, 3, 31)), date(2028, 5, 1)
    assert not due.attempts.exists()
    assert completion(march, on=after).total.results == {Result.NOT_FOUND: 1}
    assert completion(march, on=after).total.located == 0
    with on(date(2028, 2, 20)):
        actions.attempt(due, DueAttempt.Reason.IN_USE, by=BY)
    assert completion(march, on=after).total.results == {Result.IN_USE: 1}


def test_found_again_an_unvisited_due_counts_as_such() -> None:
    """Once its driver is back, a due that nobody tried is not laid to a driver that could not be located."""
    due = a_due()
    looked(due.device, *(date(2027, 3, day) for day in (1, 8, 15)))
    report_found(again(due.device), a_ward(), by=BY)
    march = Asked(first=date(2028, 3, 1), last=date(2028, 3, 31))
    assert completion(march, on=date(2028, 5, 1)).total.results == {Result.OPEN: 1}


def by_label(device: Device) -> None:
    Client().post(reverse("tags:label_found", args=[label_token(device)]), {"where": "Ward 9, store"})


def by_round(device: Device) -> None:
    rounds.meet(a_round(), device, by=BY)


SCANS: dict[str, Callable[[Device], object]] = {
    "label": by_label,
    "tag": lambda device: raise_tag(device, a_report(), by=BY),
    "received": lambda device: receive(device, bench=a_bench(), by=BY),
    "round": by_round,
    "library": lambda device: carry_all([device], a_version(), seen_at=clock.now(), source="scan list", by=BY),
    "found": lambda device: report_found(device, a_ward("Ward 9"), by=BY),
}


@pytest.mark.parametrize("scan", SCANS)
def test_any_scan_finds_it_and_its_service_comes_before_use(scan: str) -> None:
    """Whichever way it turns up: not lost any more, not in service either, and its late service stands before use."""
    device = a_lost_driver()
    SCANS[scan](device)
    assert again(device).condition in {Condition.OUT_OF_USE, Condition.ON_BENCH}
    assert Due.objects.get(device=device).before_use
    assert any("ran out while it was not located" in words for words in unmet(Move.RETURN, facts(again(device))))


@pytest.mark.parametrize(("given_up", "found"), [(8, True), (3, False)])
def test_a_runtime_test_finds_it(given_up: int, found: bool) -> None:  # noqa: FBT001 - a parameter
    """Whoever tests a driver holds it in hand; a test begun before it was given up finds nothing."""
    device, now = a_fitted_device(), clock.now()
    with clock.at(now - timedelta(hours=given_up)):
        report_missing(device, why="Looked everywhere", by=BY)
    begun = now - timedelta(hours=6)
    log_test(a_test(again(device), started_at=begun, stopped_at=now - timedelta(minutes=5)), by=BY)
    assert (again(device).condition == Condition.OUT_OF_USE) == found


def test_counting_its_accessories_finds_it() -> None:
    """Whoever counts what lies with a driver has it before them; a count of nothing says nothing."""
    state_accessories(a_type(), {"Power lead": 1}, by=BY)
    device, lead = a_lost_driver(), Accessory.objects.get()
    count_accessories(device, {}, Tally.Occasion.LOOKED, by=BY)
    assert again(device).condition == Condition.NOT_LOCATED
    count_accessories(device, {lead.pk: 1}, Tally.Occasion.LOOKED, by=BY)
    assert again(device).condition == Condition.OUT_OF_USE
    assert "a count of its accessories" in TrailEntry.objects.get(verb="found").why


@pytest.mark.parametrize(("days_ago", "found"), [(0, True), (3, False)])
def test_a_pack_taken_out_or_fitted_today_finds_it(days_ago: int, found: bool) -> None:  # noqa: FBT001 - a parameter
    """Today's act is a sighting; one of an earlier day that is put on record now is none."""
    fitted, bare, day = a_fitted_device(), a_device(), clock.today() - timedelta(days=days_ago)
    pack = a_pack()
    for device in (fitted, bare):
        report_missing(device, why="Looked everywhere", by=BY)
    remove(again(fitted), on=day, why=Fitting.Why.AGE, by=BY)
    fit(pack, again(bare), on=day, by=BY)
    assert [again(device).condition == Condition.OUT_OF_USE for device in (fitted, bare)] == [found, found]


def test_opening_a_label_alone_changes_nothing() -> None:
    """A link that is only opened, by whatever program, finds no driver; the page asks for a tap."""
    device = a_lost_driver()
    shown = Client().get(reverse("tags:label", args=[label_token(device)])).content.decode()
    assert "I have found it" in shown
    assert again(device).condition == Condition.NOT_LOCATED
    by_label(device)
    assert "I have found it" not in Client().get(reverse("tags:label", args=[label_token(device)])).content.decode()
    assert "Ward 9, store" in TrailEntry.objects.get(verb="found").why


def test_the_planned_service_itself_may_return_it() -> None:
    """A repair alone does not return a found driver whose service ran out; the order of that service does."""
    device = a_lost_driver()
    report_found(device, a_ward(), by=BY)
    repair = receive(again(device), bench=a_bench(), kind=OrderKind.CORRECTIVE, by=BY)
    assert facts(again(device), repair).services_owed == 1
    service = receive(again(device), bench=a_bench(), kind=OrderKind.PLANNED, by=BY)
    assert facts(again(device), service).services_owed == 0
    actions.roll(Due.objects.get(device=device), done_on=clock.today(), by=BY)
    assert facts(again(device), repair).services_owed == 0


def test_a_driver_in_time_owes_nothing() -> None:
    """Found before its window closed, it is looked over and no more is asked."""
    with on(ACCEPTED):
        due = a_due(a_device(accepted_on=ACCEPTED))
        report_missing(due.device, why="Looked everywhere", by=BY)
        report_found(again(due.device), a_ward(), by=BY)
    due.refresh_from_db()
    assert not due.before_use


def test_somebody_who_may_not_say_so_finds_nothing() -> None:
    """An actor without the duty to report leaves the record as it is."""
    device = a_lost_driver()
    nobody = type(BY)("a visitor", BY.source, frozenset())
    assert not actions.scanned(device, "a scan", by=nobody)
    assert again(device).condition == Condition.NOT_LOCATED
    assert actions.scanned(device, "a scan", by=link_actor(device.asset_number))


def test_the_page_of_those_not_located(manager: Person, outsider: Person, technician: Person) -> None:
    """Who is lost and who is looked for, with each search; nothing of another site; empty it says so."""
    address = reverse("schedules:missing")
    assert "No driver is lost" in page(manager, address)
    lost, hunted = a_lost_driver(), a_due_driver()
    client = signed_in(technician)
    where = reverse("tags:missing", args=[hunted.asset_number])
    client.post(where, {"place": hunted.home_id, "why": "All bays and the store"})
    shown = page(manager, address)
    for words in (lost.asset_number, hunted.asset_number, "All bays and the store", technician.display_name):
        assert words in shown
    assert "So far: 1" in page(technician, where)
    assert lost.asset_number not in page(outsider, address)


def test_only_a_manager_gives_a_driver_up_at_once(manager: Person, technician: Person) -> None:
    """Lost for certain needs words and whoever may put work off; a technician's tick is not even offered."""
    device = a_due_driver()
    address = reverse("tags:missing", args=[device.asset_number])
    typed = {"place": device.home_id, "why": "Stolen, police report 12", "certain": "on"}
    signed_in(technician).post(address, typed)
    assert again(device).condition == Condition.IN_SERVICE
    signed_in(manager).post(address, typed | {"why": ""})
    assert again(device).condition == Condition.IN_SERVICE
    signed_in(manager).post(address, typed)
    assert again(device).condition == Condition.NOT_LOCATED


def test_a_visit_in_vain_on_a_due_says_where_was_looked(technician: Person) -> None:
    """Not located on the page of a due is a search; the other reasons are none."""
    due = a_due()
    client, address = signed_in(technician), reverse("schedules:attempt", args=[due.pk])
    client.post(address, {"attempt-reason": "in_use"})
    client.post(address, {"attempt-reason": "not_found", "attempt-place": due.device.home_id, "attempt-note": "Bays"})
    assert [search.note for search in queries.searches_of(due.device)] == ["Bays"]
    assert sorted(due.attempts.values_list("reason", flat=True)) == ["in_use", "not_found"]
    assert actor_for(technician).name in {search.by for search in Search.objects.all()}
