"""The pages of levelling: who sees and does what, what is said, what the files hold."""

import csv
import io
from datetime import date, timedelta

import pytest
from django.urls import reverse

from fleet.people.actions import note_absence
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Place
from fleet.schedules import actions
from fleet.schedules.levelling_plot import draw
from fleet.schedules.models import Due, Levelling
from fleet.schedules.queries import Week, proposal
from fleet.web import clock
from tests.builders import BY, a_site, a_ward
from tests.pages import signed_in
from tests.schedules.builders import a_due, a_proposal, on
from tests.schedules.test_levelling import MONDAY, TODAY, some_dues

pytestmark = pytest.mark.django_db

LIST = "/schedules/levelling/"


def typed(place: Place | None, **values: object) -> dict[str, object]:
    form = {"place": place.pk if place else "", "hours_a_week": "10", "most_away": "100", "service": "60"}
    return {**form, "battery": "30", "library": "0", **values}


def made(number: int = 9, **facts: object) -> Levelling:
    some_dues(number)
    with on(TODAY):
        return a_proposal(a_site(), **facts)


def shown(person: Person, name: str, *args: object, **query: object) -> str:
    with on(TODAY):
        answer = signed_in(person).get(reverse(f"schedules:{name}", args=args), query)
        assert answer.status_code == 200
        return (answer.getvalue() if answer.streaming else answer.content).decode()


def test_a_manager_makes_a_proposal_and_takes_it_up(manager: Person) -> None:
    """Typed, sent, read in words, taken up: the due's own page then says its planned week."""
    some_dues(9)
    with on(TODAY):
        client = signed_in(manager)
        answer = client.post(LIST, typed(a_site()), follow=True)
        html = answer.content.decode()
        assert "The fullest week falls from 9.0 to 1.0 hours; no plan can do better than 1.0." in html
        row = Levelling.objects.get()
        html = client.post(reverse("schedules:take_up", args=[row.pk]), follow=True).content.decode()
        assert "9 dues now have their planned week" in html
        assert "Taken up" in html
        assert "Take this plan up" not in html
    due = Due.objects.order_by("planned_for")[0]
    assert "week from" in shown(manager, "one", due.pk)


def test_a_share_of_nothing_is_refused_in_words(manager: Person) -> None:
    """A proposal that lets no driver go is none: the form says what to give."""
    assert (
        "With 0 % no driver could be away"
        in signed_in(manager).post(LIST, typed(a_site(), most_away="0")).content.decode()
    )
    assert not Levelling.objects.exists()


def test_a_week_that_the_window_cuts_says_so_wherever_it_is_read(manager: Person) -> None:
    """On the proposal, in its file and on the due's page: by its last day, or from its first."""
    a_due(window_before_days=0, window_after_days=2)
    with on(TODAY):
        row = a_proposal(a_site())
        actions.take_up(row, by=BY)
    for name, pk in (("one_levelling", row.pk), ("levelling_dues", row.pk), ("one", Due.objects.get().pk)):
        assert "by Wed 2 Feb 2028" in shown(manager, name, pk).replace("\xa0", " ")


def test_a_proposal_can_be_dropped_and_stays_in_the_list(manager: Person) -> None:
    """What became of it stands in the list of past proposals."""
    row = made(1)
    assert "Open" in shown(manager, "levelling")
    with on(TODAY):
        signed_in(manager).post(reverse("schedules:drop", args=[row.pk]))
        answer = signed_in(manager).post(reverse("schedules:take_up", args=[row.pk]), follow=True)
    assert "was dropped already" in answer.content.decode()
    assert "Dropped" in shown(manager, "levelling")
    assert Due.objects.get().planned_for is None


def test_reading_is_not_proposing(technician: Person, ward_nurse: Person) -> None:
    """A technician, who may read reports, sees a proposal and no button; a ward nurse gets 403."""
    row = made(1)
    assert "Take this plan up" not in shown(technician, "one_levelling", row.pk)
    assert "Make a proposal" not in shown(technician, "levelling")
    assert signed_in(technician).post(LIST, typed(a_site())).status_code == 403
    for name in ("take_up", "drop"):
        assert signed_in(technician).post(reverse(f"schedules:{name}", args=[row.pk])).status_code == 403
    assert signed_in(ward_nurse).get(LIST).status_code == 403


def test_a_proposal_elsewhere_does_not_exist(manager: Person, outsider: Person) -> None:
    """Its page, its files and its buttons are 404 for an outsider, and it is not in their list."""
    row = made(1)
    client = signed_in(outsider)
    for name in ("one_levelling", "levelling_weeks", "levelling_dues"):
        assert client.get(reverse(f"schedules:{name}", args=[row.pk])).status_code == 404
    for name in ("take_up", "drop"):
        assert client.post(reverse(f"schedules:{name}", args=[row.pk])).status_code == 404
    assert f"{LIST}{row.pk}/" not in shown(outsider, "levelling")
    assert f"{LIST}{row.pk}/" in shown(manager, "levelling")


def test_nobody_proposes_for_places_they_do_not_see(outsider: Person) -> None:
    """A place of another hospital is no choice, and all places is one only for those who see them all."""
    made(1)
    for place in (a_ward(), None):
        with on(TODAY):
            answer = signed_in(outsider).post(LIST, typed(place))
        assert answer.status_code == 200
        assert 'class="field field-wrong"' in answer.content.decode()
    assert Levelling.objects.count() == 1


def test_who_sees_every_place_may_propose_for_all(administrator: Person, manager: Person) -> None:
    """The proposal for all places is not shown to somebody of one site."""
    some_dues(1)
    with on(TODAY):
        signed_in(administrator).post(LIST, typed(None))
    row = Levelling.objects.get()
    assert "all places" in shown(administrator, "one_levelling", row.pk)
    assert signed_in(manager).get(reverse("schedules:one_levelling", args=[row.pk])).status_code == 404


def test_no_minutes_at_all_are_refused_beside_the_field(manager: Person) -> None:
    """Each kind left out: the form says what would be right."""
    with on(TODAY):
        answer = signed_in(manager).post(LIST, typed(a_site(), service=0, battery=0))
    assert "Give minutes for at least one kind of work" in answer.content.decode()


def test_too_few_hours_and_dues_without_a_week_are_said(manager: Person) -> None:
    """Ten services of an hour for wards that spare one a week, with half an hour a week: both shortages are told."""
    some_dues(10)
    with on(TODAY):
        signed_in(manager).post(LIST, typed(a_site(), hours_a_week="0.5", most_away="10"))
    html = shown(manager, "one_levelling", Levelling.objects.get().pk)
    assert "There are not enough hours" in html
    assert "Its ward can spare no more drivers in any week of its window" in html
    assert "9 weeks with more work than hours" in html


def test_a_week_that_is_asked_for_lists_its_dues(manager: Person) -> None:
    """The driver planned for the fifth week of its window stands there, and not in the week before."""
    row = made(1)
    found = proposal(row)
    assert found is not None
    number, due = found.rows[0].week, Due.objects.select_related("device").get()
    assert number is not None
    assert due.device.asset_number in shown(manager, "one_levelling", row.pk, week=number)
    assert due.device.asset_number not in shown(manager, "one_levelling", row.pk, week=number - 1)
    assert due.device.asset_number in shown(manager, "one_levelling", row.pk, week="any")


def test_the_files_hold_each_week_and_each_due(manager: Person) -> None:
    """52 weeks whose hours add up to the work, and the due with its planned Monday."""
    row = made(2)
    header, *weeks = csv.reader(io.StringIO(shown(manager, "levelling_weeks", row.pk).lstrip("\ufeff")))
    assert header == ["Week from", "Hours as due", "Hours as planned", "Hours there are", "Dues planned"]
    assert weeks[0][0] == MONDAY.isoformat()
    assert len(weeks) == 52
    assert sum(float(week[2]) for week in weeks) == sum(float(week[1]) for week in weeks) == 2
    header, *dues = csv.reader(io.StringIO(shown(manager, "levelling_dues", row.pk).lstrip("\ufeff")))
    assert header[-3:] == ["Planned week", "In that week", "Why none"]
    assert sorted(line[0] for line in dues) == sorted(Due.objects.values_list("device__asset_number", flat=True))
    assert all(date.fromisoformat(line[-3]).weekday() == 0 for line in dues)


def test_a_proposal_that_waits_says_so(manager: Person) -> None:
    """While a job reckons it the page has no figure and no button, and the files are empty."""
    with on(TODAY):
        row = Levelling.objects.create(
            made_at=clock.now(), place=a_site(), hours_a_week=10, most_away=1, result={"minutes": {"service": 60}}
        )
    html = shown(manager, "one_levelling", row.pk)
    assert "is being reckoned" in html
    assert "Take this plan up" not in html
    assert shown(manager, "levelling_dues", row.pk).count("\n") == 1


def test_the_figure_has_a_bar_a_week_and_says_its_sense() -> None:
    """Bars as high as their hours, one line as due, one for the hours there are, and words for who does not see it."""
    weeks = [Week(0, MONDAY, 8.0, 4.0, 3, 10.0), Week(1, date(2027, 12, 13), 0.0, 4.0, 3, 8.0)]
    svg = str(draw(weeks, 10.0))
    assert svg.count('class="level-after"') == 2
    assert svg.count('class="level-before"') == svg.count('class="level-limit"') == 1
    assert "Fullest week 8 hours as due, 4 as planned, of 10" in svg
    assert "style=" not in svg


def test_leave_and_a_wards_own_share_are_asked_for_and_said(manager: Person) -> None:
    """Who is away takes hours from those weeks; a line filled in by half is refused; the proposal says both."""
    a_due()
    client, address = signed_in(manager), reverse("schedules:levelling")
    sent = {
        "place": a_site().pk, "hours_a_week": "30", "most_away": "20", "service": "45", "battery": "20",
        "library": "10",
        "who1": "Tova", "from1": "2028-01-10", "until1": "2028-01-14", "ward1": a_ward().pk, "share1": "10",
    }  # fmt: skip
    with on(date(2028, 1, 3)):
        half = client.post(address, sent)
        assert "Fill in the whole line" in half.content.decode()
        answer = client.post(address, {**sent, "hours1": "12"}, follow=True)
    weeks = answer.context["proposal"].weeks
    assert [week.hours for week in weeks[:3]] == [30, 18, 30]
    assert "Tova is away from" in answer.content.decode()
    assert "Ward 4 may spare" in answer.content.decode()


def test_days_away_on_record_are_counted_once_typed(manager: Person, technician: Person, outsider: Person) -> None:
    """A colleague noted as away can be ticked with their hours; the week has them less, and no stranger is offered."""
    some_dues(3)
    by = actor_for(manager)
    with on(TODAY):
        row = note_absence(technician, MONDAY, MONDAY + timedelta(days=4), by=by)
        other = note_absence(outsider, MONDAY, MONDAY, by=actor_for(outsider))
        html = shown(manager, "levelling")
        assert "Tova Lindqvarn" in html
        assert "Otto Brackwell" not in html
        client = signed_in(manager)
        assert "Give the hours" in client.post(LIST, typed(a_site(), recorded=[row.pk])).content.decode()
        assert client.post(LIST, typed(a_site(), recorded=[other.pk], recorded_hours="4")).status_code == 200
        client.post(LIST, typed(a_site(), recorded=[row.pk], recorded_hours="4"))
    read = proposal(Levelling.objects.get())
    assert read is not None
    assert [week.hours for week in read.weeks[:2]] == [6.0, 10.0]
