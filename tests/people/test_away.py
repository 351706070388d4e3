"""Days away: one's own or a colleague's, entered once; why is private."""

from datetime import date

import pytest
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError, NotAllowedError
from fleet.people.actions import note_absence, withdraw_absence
from fleet.people.models import Absence, Person
from fleet.people.queries import actor_for, away_on, bench_people, colleagues
from fleet.people.roles import Role
from tests.builders import a_person, a_site, a_ward
from tests.pages import page, signed_in

pytestmark = pytest.mark.django_db

AWAY = reverse("people:away")
FIRST, LAST = date(2098, 3, 2), date(2098, 3, 13)
DAYS = {"first": "2098-03-02", "last": "2098-03-13", "reason": "knee operation"}


def test_everybody_enters_their_own_days(ward_nurse: Person) -> None:
    """Whoever signs in notes their own days away, and takes them back; the record stays."""
    client = signed_in(ward_nurse)
    assert client.post(AWAY, {"person": ward_nurse.pk, **DAYS}).status_code == 302
    row = Absence.objects.get()
    assert (row.person, row.first, row.last) == (ward_nurse, FIRST, LAST)
    assert "knee operation" in page(ward_nurse, AWAY)
    client.post(reverse("people:withdraw_absence", args=[row.pk]))
    assert "2 Mar 2098" not in page(ward_nurse, AWAY).replace("\u00a0", " ")
    assert Absence.objects.get().withdrawn_name == "Nell Averby"


def test_a_colleagues_days_are_a_managers_to_enter(technician: Person, second_technician: Person) -> None:
    """A technician cannot choose a colleague, nor by the action; nor take a colleague's days back."""
    answer = signed_in(technician).post(AWAY, {"person": second_technician.pk, **DAYS})
    assert answer.status_code == 200
    assert not Absence.objects.exists()
    with pytest.raises(NotAllowedError):
        note_absence(second_technician, FIRST, LAST, by=actor_for(technician))
    row = note_absence(second_technician, FIRST, LAST, by=actor_for(second_technician))
    assert signed_in(technician).post(reverse("people:withdraw_absence", args=[row.pk])).status_code == 404


def test_a_manager_enters_those_of_colleagues_only(manager: Person, technician: Person, outsider: Person) -> None:
    """Who shares no place with the manager cannot be chosen, and whose days they are is told on the manager's page."""
    client = signed_in(manager)
    assert client.post(AWAY, {"person": technician.pk, **DAYS}).status_code == 302
    assert client.post(AWAY, {"person": outsider.pk, **DAYS}).status_code == 200
    assert [row.person for row in Absence.objects.all()] == [technician]
    assert "Tova Lindqvarn" in page(manager, AWAY)


def test_why_is_private(manager: Person, technician: Person) -> None:
    """A reason that the person entered is read by nobody else: not on the manager's page, not in the trail."""
    note_absence(technician, FIRST, LAST, "knee operation", by=actor_for(technician))
    assert "knee" not in page(manager, AWAY)
    entry = TrailEntry.objects.get(verb="noted absence")
    assert entry.after == {"first": "2098-03-02", "last": "2098-03-13"}
    assert not entry.why


@pytest.mark.parametrize(
    ("first", "last", "field"),
    [(LAST, FIRST, "last"), (FIRST, date(2198, 3, 13), "last"), (LAST, date(2098, 4, 1), "first")],
)
def test_days_that_do_not_fit_are_refused(technician: Person, first: date, last: date, field: str) -> None:
    """Days the wrong way round, a slip of the century, days noted already: each is refused beside its field."""
    by = actor_for(technician)
    note_absence(technician, FIRST, LAST, by=by)
    with pytest.raises(BadValueError) as refused:
        note_absence(technician, first, last, by=by)
    assert refused.value.field == field


def test_who_is_away_on_a_day(technician: Person) -> None:
    """The first and the last day count, days taken back do not."""
    row = note_absence(technician, FIRST, LAST, by=actor_for(technician))
    assert [away_on(day) for day in (FIRST, LAST)] == [{technician.pk: LAST}] * 2
    assert away_on(date(2098, 3, 14)) == {}
    withdraw_absence(row, by=actor_for(technician))
    assert away_on(FIRST) == {}


def test_colleagues_see_a_place_in_common(technician: Person, ward_nurse: Person, outsider: Person) -> None:
    """Above, below or beside: a nurse of one ward and the bench of its site share it; another site shares nothing."""
    other_ward = a_person(Role.WARD, "Hester Aldous", (a_ward("Ward 5"),))
    everywhere = a_person(Role.ADMINISTRATOR, "Ada Quennell", everywhere=True)
    assert set(colleagues(technician)) == {technician, ward_nurse, other_ward, everywhere}
    assert set(colleagues(ward_nurse)) == {technician, ward_nurse, everywhere}
    assert set(colleagues(outsider)) == {outsider, everywhere}
    assert set(bench_people(ward_nurse)) == {technician, everywhere}
    assert a_site().path in {place.path for place in technician.places.all()}
