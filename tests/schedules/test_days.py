"""Closed days, public holidays and seasonal wards: where a due is planned, and what levelling has in hours."""

from datetime import date

import pytest
from django.urls import reverse

from fleet.core.errors import BadValueError, NotAllowedError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Place
from fleet.reports.digest import digest_of, text
from fleet.rounds.queries import to_do_of
from fleet.schedules import actions, queries
from fleet.schedules.models import ClosedDays, Due
from tests.builders import BY, a_site, a_ward
from tests.pages import page, signed_in, status
from tests.schedules.builders import a_due, a_proposal, on

pytestmark = pytest.mark.django_db

DUE = date(2028, 1, 31)
BEFORE = date(2028, 1, 10)


def closed(place: Place | None, first: date, last: date, reason: str = "Inspection") -> ClosedDays:
    with on(BEFORE):
        return actions.close_days(place, first, last, reason, by=BY)


def planned(due: Due) -> tuple[date, str] | None:
    """The day the due is planned for, and why."""
    with on(BEFORE):
        found = queries.work_calendar().planned(Due.objects.select_related("device__home", "plan").get(pk=due.pk))
    return (found.day, found.why) if found else None


def test_closed_days_of_a_ward_its_site_or_all_places_move_a_due() -> None:
    """What is closed round the due's day moves it to the Friday before; what is closed elsewhere does not."""
    due = a_due()
    closed(a_ward("Ward 9"), DUE, DUE)
    assert planned(due) is None
    for place in (a_ward(), a_site(), None):
        row = closed(place, DUE, date(2028, 2, 4))
        assert planned(due) == (date(2028, 1, 28), "Inspection")
        actions.open_days(row, by=BY)
    assert planned(due) is None


def test_the_due_itself_and_its_window_stay() -> None:
    """A planned day is no new due: completion and the next time count from the due date."""
    due = a_due()
    closed(None, DUE, DUE)
    due.refresh_from_db()
    assert (due.due_on, due.planned_for) == (DUE, None)


def test_public_holidays_of_the_site_move_a_due() -> None:
    """Christmas 2028 where the site's country keeps it; without a country nothing moves."""
    due = a_due()
    christmas = {"due_on": date(2028, 12, 25), "opens_on": date(2028, 12, 1), "closes_on": date(2029, 1, 20)}
    Due.objects.filter(pk=due.pk).update(**christmas)
    assert planned(due) is None
    actions.set_calendar(a_site(), country="SE", season=(None, None), by=BY)
    found = planned(due)
    assert found is not None
    assert (found[0], "Christmas" in found[1]) == (date(2028, 12, 22), True)


def test_a_seasonal_ward() -> None:
    """Open from May to September: 31 January is shown as closed, a due of 20 April is planned before it opens."""
    due = a_due()
    actions.set_calendar(a_ward(), season=(5, 9), by=BY)
    assert planned(due) == (DUE, "its ward is closed for the season")
    Due.objects.filter(pk=due.pk).update(due_on=date(2028, 4, 20), closes_on=date(2028, 5, 20))
    assert planned(due) == (date(2028, 4, 28), "before its ward opens for the season")


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"country": "XX", "season": (None, None)}, "country"),
        ({"country": "SE", "subdivision": "QQ", "season": (None, None)}, "subdivision"),
        ({"season": (5, None)}, "closes_month"),
        ({"season": (1, 12)}, "opens_month"),
    ],
)
def test_a_calendar_that_means_nothing_is_refused(facts: dict[str, object], field: str) -> None:
    """A country nobody knows, half a season or the whole year: the field is named."""
    with pytest.raises(BadValueError) as refused:
        actions.set_calendar(a_site(), by=BY, **facts)  # type: ignore[arg-type] # facts of several types
    assert refused.value.field == field


def test_closed_days_need_a_reason_and_an_order(technician: Person) -> None:
    """Turned round, past or without a reason they are refused, and to whoever keeps no register."""
    with on(BEFORE):
        for first, last, reason, field in (
            (DUE, BEFORE, "Move", "last"),
            (date(2027, 1, 1), date(2027, 1, 2), "Move", "last"),
            (DUE, DUE, " ", "reason"),
        ):
            with pytest.raises(BadValueError) as refused:
                actions.close_days(None, first, last, reason, by=BY)
            assert refused.value.field == field
        with pytest.raises(NotAllowedError):
            actions.close_days(None, DUE, DUE, "Move", by=actor_for(technician))


def test_levelling_has_fewer_hours_in_a_week_with_closed_days() -> None:
    """Two closed days of five leave 6 of 10 hours; a week without a working day holds nothing."""
    a_due()
    closed(a_site(), date(2028, 1, 17), date(2028, 1, 18))
    closed(a_site(), date(2028, 1, 24), date(2028, 1, 28))
    with on(BEFORE):
        proposal = queries.proposal(a_proposal(a_site()))
    assert proposal is not None
    assert [week.hours for week in proposal.weeks[:4]] == [10, 6, 0, 10]
    assert proposal.weeks[2].after == 0


def test_the_pages(manager: Person, technician: Person, outsider: Person) -> None:
    """A manager states days and takes them back; all who see the fleet read why a due is planned earlier."""
    due = a_due()
    with on(BEFORE):
        client, address = signed_in(manager), reverse("schedules:days")
        typed = {"place": due.device.home_id, "first": "2028-01-31", "last": "2028-01-30", "reason": "Floor is laid"}
        assert "Give the first day, or a later one" in client.post(address, typed).content.decode()
        client.post(address, typed | {"last": "2028-02-02"})
        for name, args in (("one", [due.pk]), ("due", [])):
            assert "Floor is laid" in page(technician, reverse(f"schedules:{name}", args=args))
        device = page(technician, reverse("reports:device", args=[due.device.asset_number])).replace("\xa0", " ")
        assert "planned 28 Jan 2028: Floor is laid" in device
        assert "Floor is laid" not in page(outsider, address)
        row = ClosedDays.objects.get()
        assert signed_in(technician).post(reverse("schedules:open_days", args=[row.pk])).status_code == 403
        client.post(reverse("schedules:open_days", args=[row.pk]))
        assert "State it again" in page(manager, address)
        assert planned(due) is None


def test_the_calendar_of_a_place_on_its_page(manager: Person, technician: Person, outsider: Person) -> None:
    """Country and months are saved and shown; elsewhere the place does not exist."""
    ward = a_ward()
    address = reverse("schedules:place_days", args=[ward.pk])
    client = signed_in(manager)
    assert "No holidays of this country" in client.post(address, {"country": "xx"}).content.decode()
    client.post(address, {"country": "se", "opens_month": "5", "closes_month": "9"})
    kept = queries.calendar_of(ward)
    assert (kept.country, kept.opens_month, kept.closes_month) == ("SE", 5, 9)
    assert "Public holidays of the next twelve months" in page(technician, address)
    assert ward.name in page(technician, reverse("schedules:days"))
    assert status(outsider, address) == 404


def test_the_planned_day_stands_in_the_file_the_round_and_the_mail(technician: Person) -> None:
    """A due of a closed Monday is planned for Friday: the file, Friday's round and that morning's e-mail say so."""
    due = a_due()
    closed(None, DUE, DUE, "Floor is laid")
    friday = date(2028, 1, 28)
    with on(BEFORE):
        told = b"".join(signed_in(technician).get(reverse("schedules:due_csv"))).decode().splitlines()
        assert told[0].endswith("Planned for,Why then")
        assert told[1].endswith("2028-01-28,Floor is laid")
    with on(friday):
        [reason] = to_do_of(due.device, friday).reasons
        assert "planned for this day (Floor is laid)" in reason.words
        mail = text(digest_of(technician, friday))
    assert "1 due is planned for today." in mail
    assert f"Yearly service of {due.device}: due 31 Jan 2028, planned for today: Floor is laid." in mail
    with on(DUE):
        assert "planned for today" not in text(digest_of(technician, DUE))


def test_a_levelled_week_stands_in_the_file_and_the_mail(technician: Person) -> None:
    """A week taken up from a levelled plan is told by its Monday, and on each morning of that week."""
    due = a_due()
    Due.objects.filter(pk=due.pk).update(planned_for=date(2028, 1, 24))
    with on(BEFORE):
        told = b"".join(signed_in(technician).get(reverse("schedules:due_csv"))).decode().splitlines()
        assert told[1].endswith("2028-01-24,week of a levelled plan")
    for first in (date(2028, 1, 24), date(2028, 1, 26)):
        Due.objects.filter(pk=due.pk).update(planned_for=first)
        for day, told_so in ((date(2028, 1, 26), True), (date(2028, 1, 28), True), (date(2028, 1, 31), False)):
            with on(day):
                assert ("1 due is planned for this week, as levelled." in text(digest_of(technician, day))) == told_so
                [reason] = to_do_of(due.device, day).reasons
                assert ("planned for this week" in reason.words) == told_so
