"""Pages about what is due: who sees what, what is shown, what may be sent."""

import csv
import io
from datetime import date

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from fleet.schedules import actions
from fleet.schedules.models import Due, DueAttempt, Plan
from tests.builders import BY, a_device, a_site, a_type, a_ward
from tests.schedules.builders import ACCEPTED, REASONED, a_due, on

pytestmark = pytest.mark.django_db

LATE_DAY = date(2028, 4, 1)
READ = ("schedules:overdue", "schedules:overdue_csv", "schedules:due", "schedules:plans", "schedules:alternative")


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def page(person: Person, name: str, *args: object, day: date = LATE_DAY, **query: object) -> str:
    with on(day):
        answer = signed_in(person).get(reverse(name, args=args), query)
        assert answer.status_code == 200
        return (answer.getvalue() if answer.streaming else answer.content).decode()


@pytest.mark.parametrize("name", READ)
def test_lists_open_for_those_who_see_the_fleet(name: str, storekeeper: Person, ward_nurse: Person) -> None:
    """A storekeeper may look; a ward nurse, who only reports, may not; a stranger is sent to sign in."""
    a_due()
    page(storekeeper, name)
    assert signed_in(ward_nurse).get(reverse(name)).status_code == 403
    assert Client().get(reverse(name)).status_code == 302


@pytest.mark.parametrize("name", ["schedules:overdue", "schedules:overdue_csv", "schedules:due"])
def test_lists_hold_only_the_readers_places(name: str, manager: Person, outsider: Person) -> None:
    """Nobody sees the dues of a hospital that isn't theirs."""
    asset = a_due().device.asset_number
    day = date(2028, 1, 31) if name == "schedules:due" else LATE_DAY
    assert asset in page(manager, name, day=day)
    assert asset not in page(outsider, name, day=day)


def test_a_due_outside_ones_places_does_not_exist(outsider: Person, manager: Person) -> None:
    """Its page, and whatever is sent to it, is 404 for an outsider."""
    due = a_due()
    page(manager, "schedules:one", due.pk)
    client = signed_in(outsider)
    assert client.get(reverse("schedules:one", args=[due.pk])).status_code == 404
    for name in ("defer", "attempt", "interval"):
        assert client.post(reverse(f"schedules:{name}", args=[due.pk])).status_code == 404


def test_reading_is_not_changing(storekeeper: Person, technician: Person) -> None:
    """Who may only read gets 403 for a change; a technician may record a visit and not put work off."""
    due = a_due()
    for name in ("defer", "attempt", "interval"):
        answer = signed_in(storekeeper).post(reverse(f"schedules:{name}", args=[due.pk]))
        assert answer.status_code == 403
    assert signed_in(technician).post(reverse("schedules:defer", args=[due.pk])).status_code == 403
    html = page(technician, "schedules:one", due.pk)
    assert "Record this visit" in html
    assert "Put it off</button>" not in html


def test_late_dues_are_counted_by_how_late(manager: Person) -> None:
    """The page says how many, each group of lateness leads to its rows, and the row says how late in words."""
    due = a_due()
    html = page(manager, "schedules:overdue")
    assert "1 due is late" in html
    assert "31 days late" in html
    assert due.device.asset_number in page(manager, "schedules:overdue", age="31-60")
    assert due.device.asset_number not in page(manager, "schedules:overdue", age="1-30")


def test_late_dues_are_narrowed_and_sorted(manager: Person) -> None:
    """Ward, type, pool and kind of work each narrow the list; a column's name sorts it."""
    due = a_due()
    with on(ACCEPTED):
        loan = a_device(home=a_ward("Ward 9"), pool=Device.Pool.LOAN, accepted_on=ACCEPTED, asset_number="ZZ9")
        actions.open_dues(loan, by=BY)
    mine = due.device.asset_number
    for query in ({"home": due.device.home_id}, {"pool": "clinical"}):
        html = page(manager, "schedules:overdue", **query)
        assert mine in html
        assert "ZZ9" not in html
    assert "fits this" in page(manager, "schedules:overdue", kind="battery")
    html = page(manager, "schedules:overdue", sort="-asset")
    assert html.index("ZZ9") < html.index(mine)


@pytest.mark.parametrize(("by", "name"), [("site", "Mereford General"), ("home", "Ward 4"), ("type", "TW-10")])
def test_late_dues_are_grouped(manager: Person, by: str, name: str) -> None:
    """By site, ward or type the page counts dues, and each group leads to its own rows."""
    due = a_due()
    html = page(manager, "schedules:overdue", by=by)
    pk = {"site": due.device.home.site_id, "home": due.device.home_id, "type": due.device.device_type_id}[by]
    assert name in html
    assert f"?{by}={pk}" in html


def test_the_file_holds_the_rows_of_the_page(manager: Person) -> None:
    """What is narrowed on the page is narrowed in the file, numbers are numbers, and no cell runs in a spreadsheet."""
    due = a_due()
    Plan.objects.update(name="=HYPERLINK(1)")
    with on(LATE_DAY):
        actions.attempt(due, DueAttempt.Reason.NOT_FOUND, by=BY)
    text = page(manager, "schedules:overdue_csv").removeprefix("\ufeff")
    row = next(csv.DictReader(io.StringIO(text)))
    assert (row["Asset"], row["Days late"], row["Due on"]) == (due.device.asset_number, "31", "2028-01-31")
    assert (row["Work"], row["Last attempt"]) == ("'=HYPERLINK(1)", "Could not be located")
    assert due.device.asset_number not in page(manager, "schedules:overdue_csv", age="1-30")


def test_narrowing_stays_on_the_month_and_in_the_grouping(manager: Person) -> None:
    """The form that narrows sends the page's own choice along."""
    a_due()
    html = page(manager, "schedules:due", day=date(2027, 12, 5), month="2028-01")
    assert '<input type="hidden" name="month" value="2028-01" id="id_month">' in html
    assert '<input type="hidden" name="by" value="site" id="id_by">' in page(manager, "schedules:overdue", by="site")


def test_coming_dues_by_month(manager: Person) -> None:
    """A due shows in its month, and while its window is open in the first month too."""
    asset = a_due().device.asset_number
    assert asset in page(manager, "schedules:due", day=date(2027, 12, 5), month="2028-01")
    assert asset not in page(manager, "schedules:due", day=date(2027, 12, 5))
    assert asset in page(manager, "schedules:due", day=date(2028, 2, 10))
    assert "Nothing comes due in this month" in page(manager, "schedules:due", day=LATE_DAY)


def test_putting_a_due_off(manager: Person) -> None:
    """A manager puts a due off with a reason; without one nothing is lost or saved."""
    due = a_due()
    client, address = signed_in(manager), reverse("schedules:defer", args=[due.pk])
    with on(LATE_DAY):
        wrong = client.post(address, {"defer-until": "2028-03-01", "defer-why": "waits for parts"})
        assert "puts nothing off" in wrong.content.decode()
        assert "waits for parts</textarea>" in wrong.content.decode()
        right = client.post(address, {"defer-until": "2028-05-01", "defer-why": "waits for parts"}, follow=True)
    assert "is put off until 1\xa0May\xa02028." in right.content.decode()
    assert Due.objects.get().deferred_by == manager


def test_recording_a_visit_in_vain(technician: Person) -> None:
    """A technician says why the work could not be done; the page shows it with the time."""
    due = a_due()
    address = reverse("schedules:attempt", args=[due.pk])
    with on(LATE_DAY):
        answer = signed_in(technician).post(
            address, {"attempt-reason": "in_use", "attempt-at": "2028-03-30T14:05", "attempt-note": "ICU"}, follow=True
        )
    assert "In use on a patient</strong>, " in answer.content.decode()
    assert "30\xa0Mar\xa02028\xa014:05" in answer.content.decode()


def test_an_interval_of_its_own_from_the_page(manager: Person) -> None:
    """A manager gives a driver six months; the page says that it is this driver's own."""
    due = a_due()
    with on(date(2027, 3, 1)):
        answer = signed_in(manager).post(
            reverse("schedules:interval", args=[due.pk]),
            {"interval-months": "6", "interval-why": "hard use"},
            follow=True,
        )
    assert "6 months (this driver&#x27;s own)" in answer.content.decode() or "own)" in answer.content.decode()
    assert Due.objects.get().due_on == date(2027, 7, 31)


def test_a_plan_is_added_and_changed(manager: Person, technician: Person) -> None:
    """A manager adds a plan and every driver of the type has its due; a technician may not."""
    a_device(accepted_on=ACCEPTED)
    typed = {
        "device_type": a_type().pk, "kind": "service", "name": "Yearly service", "every_months": "12",
        "maker_months": "12",
        "window_before_days": "30", "window_after_days": "30", "repeat_days": "30", "mode": "floating",
        "basis": "maker",
    }  # fmt: skip
    address = reverse("schedules:new_plan")
    assert signed_in(technician).post(address, typed).status_code == 403
    answer = signed_in(manager).post(address, typed, follow=True)
    assert "1 drivers have their due" in answer.content.decode()
    client, address = signed_in(manager), reverse("schedules:plan", args=[Plan.objects.get().pk])
    opened = client.get(address).context["form"]["opened"].value()
    changed = {**typed, "every_months": "6", "active": "on", "why": "the maker's new revision", "opened": opened}
    client.post(address, changed)
    assert Due.objects.get().due_on == date(2027, 7, 31)


def test_drivers_on_another_schedule_are_listed_with_the_reason(manager: Person, outsider: Person) -> None:
    """By their plan or by an interval of their own, with who judged it, when, why and when to look again."""
    ours = a_due(name="Long service", **(REASONED | {"maker_months": 12})).device
    usual, own = a_due(a_device(accepted_on=ACCEPTED)), a_due(a_device(accepted_on=ACCEPTED), name="Battery test")
    with on(ACCEPTED):
        actions.set_own_interval(own, 6, why="runs day and night", review_on=date(2027, 9, 1), by=BY)
    html = page(manager, "schedules:alternative").replace("\xa0", " ")
    seen = ("Ten years without a finding.", "M. Ferrant, 5 Jan 2027", "12 services in 40 device-years")
    for words in (ours.asset_number, own.device.asset_number, *seen, "runs day and night", "31 Jan 2027", "1 Sep 2027"):
        assert words in html
    assert "6 months; its plan says 12 months" in html
    assert f"/schedules/dues/{usual.pk}/" not in html
    assert ours.asset_number not in page(outsider, "schedules:alternative")


def test_a_plan_changed_by_somebody_else_is_not_overwritten(manager: Person) -> None:
    """Whoever saves a form opened before is told what stands now; saved once more, theirs counts."""
    plan = a_due().plan
    client, address = signed_in(manager), reverse("schedules:plan", args=[plan.pk])
    form = client.get(address).context["form"]
    typed = {name: form[name].value() for name in form.fields if form[name].value() is not None}
    actions.edit_plan(plan, {"window_after_days": 60}, why="Few hands", by=BY)
    answer = client.post(address, {**typed, "name": "Service"})
    assert "changed by somebody else" in answer.content.decode()
    assert Plan.objects.get().window_after_days == 60
    again = {**typed, "name": "Service", "opened": answer.context["form"]["opened"].value()}
    client.post(address, again)
    assert (Plan.objects.get().name, Plan.objects.get().window_after_days) == ("Service", 30)


def test_a_plan_that_does_not_fit_keeps_what_was_typed(manager: Person) -> None:
    """Without an interval nothing is saved, the field says what is missing, and the name stays in the form."""
    typed = {
        "device_type": a_type().pk, "kind": "service", "name": "Every so often", "window_before_days": "30",
        "window_after_days": "30", "repeat_days": "30", "mode": "floating",
        "basis": "maker",
    }  # fmt: skip
    html = signed_in(manager).post(reverse("schedules:new_plan"), typed).content.decode()
    assert "Give an interval in months, running hours or charge cycles." in html
    assert 'value="Every so often"' in html
    assert not Plan.objects.exists()


def test_completion_by_name(manager: Person) -> None:
    """The report counts the period asked for and names each due that was not done on time."""
    due = a_due()
    html = page(manager, "schedules:completion", first="2028-03-01", last="2028-03-31")
    assert "1 not done on time, by name" in html
    missed = page(manager, "schedules:completion_drivers", first="2028-03-01", last="2028-03-31", result="missed")
    assert due.device.asset_number in missed
    assert "None due" in page(manager, "schedules:completion", first="2027-03-01", last="2027-03-31")


def test_a_deferral_shows_on_the_list(manager: Person) -> None:
    """A due put off says so wherever it is listed."""
    due = a_due()
    with on(LATE_DAY):
        actions.defer(due, date(2028, 5, 1), why="parts", by=actor_for(manager))
    assert "Put off from 31\xa0Jan\xa02028" in page(manager, "schedules:due", month="2028-05")


def test_lists_ask_few_questions(manager: Person) -> None:
    """A page of late dues costs the same number of queries for one row as for twenty."""
    a_due()
    with CaptureQueriesContext(connection) as first:
        page(manager, "schedules:overdue")
    actions.open_dues_of_all([a_device(accepted_on=ACCEPTED) for _ in range(19)], by=BY)
    with CaptureQueriesContext(connection) as second:
        assert "20 dues are late" in page(manager, "schedules:overdue")
    assert len(second) == len(first)


def test_places_are_told_apart_by_their_site(administrator: Person) -> None:
    """Two wards of one name stand in the filter with their sites."""
    a_ward()
    a_ward(site=a_site("Corran Vale"))
    html = page(administrator, "schedules:overdue")
    assert "Ward 4, Corran Vale</option>" in html
    assert "Ward 4, Mereford General</option>" in html
