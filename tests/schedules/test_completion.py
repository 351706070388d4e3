"""How much was done in its window, against counts worked by hand."""

from datetime import date
from fractions import Fraction

import pytest

from fleet.bench.actions import retire
from fleet.core.share import format_percent
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.schedules import actions, queries
from fleet.schedules.models import DueAttempt, Plan
from fleet.schedules.queries import Asked, Completion, Left, Report, Result
from fleet.web import clock
from tests.bench.builders import signed_in
from tests.builders import BY, a_device, a_site, a_type, a_ward
from tests.schedules.builders import ACCEPTED, a_due, a_plan, on

pytestmark = pytest.mark.django_db

MARCH = {"first": date(2028, 3, 1), "last": date(2028, 3, 31)}
AFTER = date(2028, 4, 10)


def of_march(day: date = AFTER, **narrowed: object) -> Report:
    """Completion of March 2028 as a day sees it."""
    return queries.completion(Asked(**MARCH, **narrowed), on=day)


def ten_drivers() -> list[int]:
    """Ten yearly dues whose windows end on 1 March 2028: 6 on time, 1 late, 1 not located, 1 in use, 1 untouched."""
    with on(ACCEPTED):
        a_plan()
        devices = [a_device(accepted_on=ACCEPTED) for _ in range(10)]
        dues = actions.open_dues_of_all(devices, by=BY)
    with on(date(2028, 2, 20)):
        for due in dues[:6]:
            actions.roll(due, done_on=date(2028, 2, 20), by=BY)
    with on(AFTER):
        actions.roll(dues[6], done_on=date(2028, 3, 2), by=BY)
        actions.attempt(dues[7], DueAttempt.Reason.IN_USE, by=BY)
    with on(date(2028, 4, 11)):
        actions.attempt(dues[7], DueAttempt.Reason.NOT_FOUND, by=BY)
        actions.attempt(dues[8], DueAttempt.Reason.IN_USE, by=BY)
    return [device.pk for device in devices]


def test_each_due_counts_once_by_how_it_ended() -> None:
    """Dues not located and in use stay in the denominator; the latest attempt tells why."""
    devices = ten_drivers()
    report = of_march(date(2028, 4, 12))
    assert report.total.results == {
        Result.ON_TIME: 6,
        Result.LATE: 1,
        Result.NOT_FOUND: 1,
        Result.IN_USE: 1,
        Result.OPEN: 1,
    }
    assert (report.total.scheduled, report.total.on_time, report.total.done) == (10, Fraction(6, 10), Fraction(7, 10))
    assert {miss.device_id: miss.result for miss in report.misses} == {
        devices[6]: Result.LATE,
        devices[7]: Result.NOT_FOUND,
        devices[8]: Result.IN_USE,
        devices[9]: Result.OPEN,
    }


def test_nothing_due_is_neither_all_nor_none() -> None:
    """A period without scheduled work has no share."""
    report = queries.completion(Asked(first=date(2027, 5, 1), last=date(2027, 5, 31)), on=AFTER)
    assert (report.total.scheduled, report.total.on_time, report.total.done) == (0, None, None)


def test_an_open_window_is_not_counted_yet() -> None:
    """On the last day of its window a due may still be done on time, so it is nobody's miss."""
    a_due()
    assert of_march(date(2028, 3, 1)).total.scheduled == 0
    assert of_march(date(2028, 3, 2)).total.scheduled == 1


def test_life_support_is_counted_apart() -> None:
    """The share of drivers whose failure can kill is never hidden in the share of all."""
    a_due()
    a_due(a_device(device_type=a_type("TW-2", life_support=False), accepted_on=ACCEPTED), device_type=a_type("TW-2"))
    report = of_march()
    assert (report.total.scheduled, report.life_support.scheduled) == (2, 1)


def test_by_plan_and_by_site(outsider: Person, manager: Person) -> None:
    """The parts add up to the whole, and each person's report holds only their places."""
    a_due()
    corran = a_ward(site=a_site("Corran Vale"))
    actions.open_dues_of_all([a_device(home=corran, accepted_on=ACCEPTED) for _ in range(2)], by=BY)
    report = of_march()
    assert {part.name: part.completion.scheduled for part in report.by("site")} == {
        "Corran Vale": 2,
        "Mereford General": 1,
    }
    assert sum(part.completion.scheduled for part in report.by("plan")) == report.total.scheduled == 3
    assert of_march(person=manager).total.scheduled == 1
    assert of_march(person=outsider).total.scheduled == 2


def test_work_before_the_window_leaves_a_fixed_due_standing() -> None:
    """Done too early and then in its window, a fixed due counts once, as on time."""
    due = a_due(mode=Plan.Mode.FIXED)
    for day in (date(2027, 9, 1), date(2028, 2, 1)):
        with on(day):
            due = actions.roll(due, done_on=day, by=BY)
    assert of_march().total.results == {Result.ON_TIME: 1}


def test_done_before_its_window_is_not_on_time() -> None:
    """A floating due done months early is told apart from one done within its window."""
    due = a_due()
    with on(date(2027, 9, 1)):
        actions.roll(due, done_on=date(2027, 9, 1), by=BY)
    assert of_march().total.results == {Result.EARLY: 1}


def test_a_deferral_is_counted_beside_the_result(manager: Person) -> None:
    """A due put off counts where its window ends now, and the report says that it had been put off."""
    due = a_due()
    with on(date(2028, 2, 1)):
        actions.defer(due, date(2028, 3, 20), why="parts", by=actor_for(manager))
    total = of_march().total
    assert (total.scheduled, total.deferred) == (1, 1)


def test_each_number_leads_to_as_many_drivers(manager: Person) -> None:
    """Behind every count of the page, whole or of a part, stand exactly as many dues by name."""
    ten_drivers()
    with on(date(2028, 4, 12)):
        client = signed_in(manager)
        shown = client.get("/schedules/completion/", MARCH).context
        tables = [shown["first"], shown["months"], shown["wards"][2], *(rows for _, _, rows in shown["parts"])]
        numbers = [(row["scheduled"], row["url"]) for rows in tables for row in rows]
        numbers += [(number, url) for rows in tables for row in rows for _, number, url in row["counts"]]
        assert len(numbers) > 30
        for number, url in numbers:
            assert client.get(url).context["count"] == number


def test_done_and_not_done_make_up_the_scheduled(manager: Person) -> None:
    """The page prints the sum with its numbers, each leading to its dues, and says that "put off" is no part of it."""
    ten_drivers()
    with on(date(2028, 4, 12)):
        client = signed_in(manager)
        answer = client.get("/schedules/completion/", MARCH)
        html, groups = answer.content.decode(), answer.context["sum"]
        assert {group["name"]: group["number"] for group in groups} == {"Done": 7, "Not done": 3}
        assert all(sum(part[1] for part in group["parts"]) == group["number"] for group in groups)
        for group in groups:
            assert client.get(group["url"]).context["count"] == group["number"]
            assert all(client.get(url).context["count"] == number for _, number, url, _ in group["parts"])
    assert "10 scheduled = " in html
    assert "No further column of the sum" in html


def test_the_worked_case_prints_as_worked_by_hand() -> None:
    """Of 480 dues 441 on time, 9 late, 18 not located, 12 in use: 91.875 %; 97.403 % leaves out the not located."""
    results = {Result.ON_TIME: 441, Result.LATE: 9, Result.NOT_FOUND: 18, Result.IN_USE: 12}
    held = Completion(results, deferred=14)
    assert (held.scheduled, held.met, held.not_done, held.located) == (480, 450, 30, 462)
    assert [format_percent(each, 3) for each in (held.on_time, held.done, held.done_of_located)] == [
        "91.875 %", "93.750 %", "97.403 %"
    ]  # fmt: skip


def test_the_figure_that_leaves_out_the_not_located_says_so(manager: Person) -> None:
    """6 of 10 is on time; 7 of the 9 located were done, and the page says what that leaves out."""
    ten_drivers()
    with on(date(2028, 4, 12)):
        total = of_march(clock.today()).total
        assert (total.on_time, total.done_of_located) == (Fraction(6, 10), Fraction(7, 9))
        html = signed_in(manager).get("/schedules/completion/", MARCH).content.decode()
    assert "<b>60.000 %</b> on time: 6 of 10" in html
    assert "Leaving out those not located, 77.778 % were done, late ones too (7 of 9)" in html


def test_what_is_not_counted_is_shown_apart(manager: Person) -> None:
    """A driver retired before its window ended and a plan no longer in use leave the count, not the page."""
    gone, unused = (
        a_due(),
        a_due(a_device(device_type=a_type("TW-2"), accepted_on=ACCEPTED), device_type=a_type("TW-2")),
    )
    with on(date(2028, 2, 10)):
        retire(gone.device, why="broken", by=BY)
        actions.edit_plan(unused.plan, {"active": False}, why="Replaced", by=BY)
    report = of_march()
    assert report.total.scheduled == 0
    assert {row.asset_number: row.result for row in report.left} == {
        gone.device.asset_number: Left.RETIRED,
        unused.device.asset_number: Left.PLAN,
    }
    with on(AFTER):
        html = signed_in(manager).get("/schedules/completion/", MARCH).content.decode()
    assert "Retired before its window ended" in html
    assert "None due" in html


def test_narrowed_by_place_and_type(manager: Person) -> None:
    """A ward's completion counts the drivers at home there, a type's its own, and months without a due show."""
    a_due()
    other = a_device(a_ward("Ward 7"), a_type("TW-2"), accepted_on=ACCEPTED)
    a_due(other, device_type=a_type("TW-2"))
    assert [row.device_id for row in of_march(place=a_ward("Ward 7")).rows] == [other.pk]
    assert [row.device_id for row in of_march(device_type=a_type("TW-2")).rows] == [other.pk]
    year = queries.completion(Asked(first=date(2028, 1, 1), last=date(2028, 3, 31)), on=AFTER)
    assert [part.completion.scheduled for part in year.months] == [0, 0, 2]


def test_the_file_names_every_due(manager: Person) -> None:
    """The file behind "scheduled" holds one line a due, how it ended in the words of the page."""
    ten_drivers()
    with on(date(2028, 4, 12)):
        sent = {**MARCH, "result": "scheduled", "as": "csv"}
        answer = signed_in(manager).get("/schedules/completion/drivers/", sent)
        lines = b"".join(answer).decode().splitlines()
    assert len(lines) == 11
    assert sum("Not located" in line for line in lines) == 1


def test_a_list_that_does_not_exist_is_empty(manager: Person) -> None:
    """An address with an unknown result lists nothing and does not fail."""
    ten_drivers()
    answer = signed_in(manager).get("/schedules/completion/drivers/", {**MARCH, "result": "nix"})
    assert (answer.status_code, answer.context["count"]) == (200, 0)
