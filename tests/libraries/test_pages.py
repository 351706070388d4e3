"""Pages about libraries: coverage, the drivers behind it, a scanned list, releases and requirements."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from fleet.libraries import actions
from fleet.libraries.models import Carried, Library, LibraryVersion, Requirement
from fleet.people.models import Person
from fleet.people.roles import Role
from tests.builders import BY, a_device, a_person, a_site, a_ward
from tests.libraries.builders import a_version, carried
from tests.schedules.builders import on

pytestmark = pytest.mark.django_db

TODAY = date(2027, 6, 9)
SEEN = datetime(2027, 6, 1, 8, tzinfo=UTC)


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def page(person: Person, name: str, *args: object, **query: object) -> str:
    with on(TODAY):
        answer = signed_in(person).get(reverse(name, args=args), query)
    assert answer.status_code == 200
    return answer.content.decode()


def test_each_number_leads_to_its_drivers(manager: Person) -> None:
    """The drivers behind a number are those it counts, and no others."""
    version, seen, never = a_version(), a_device(), a_device()
    actions.require(a_site(), version, date(2027, 1, 15), by=BY)
    with on(TODAY):
        carried(seen, version, SEEN)
    html = page(manager, "libraries:coverage")
    assert "50.0 % current" in html
    assert f"?state=current&amp;home={seen.home_id}" in html
    html = page(manager, "libraries:drivers", state="current", home=seen.home_id)
    assert seen.asset_number in html
    assert never.asset_number not in html
    assert never.asset_number in page(manager, "libraries:drivers", state="unknown")


def test_a_withdrawn_version_is_said(manager: Person) -> None:
    """A driver that carries a withdrawn version says so in its row."""
    version, device = a_version(), a_device()
    actions.require(a_site(), version, date(2027, 1, 15), by=BY)
    with on(TODAY):
        carried(device, version, SEEN)
        actions.withdraw(version, on=TODAY, why="wrong limit", by=BY)
    assert "Behind, version withdrawn" in page(manager, "libraries:drivers", state="withdrawn")


def test_coverage_within_places(outsider: Person, ward_nurse: Person) -> None:
    """An outsider sees no driver of ours; a ward nurse, who only reports, sees no coverage."""
    asset = a_device().asset_number
    assert "No driver has its home at a place of yours." in page(outsider, "libraries:coverage")
    assert asset not in page(outsider, "libraries:drivers")
    assert signed_in(ward_nurse).get(reverse("libraries:coverage")).status_code == 403


def test_a_library_tells_of_ones_own_places_only(technician: Person, outsider: Person) -> None:
    """What another hospital requires, and its drivers, are not told; what a site requires is told in its wards."""
    version, ward = a_version(), a_ward("Ward 11")
    actions.require(ward, version, date(2027, 1, 15), by=BY)
    actions.require(a_site(), version, date(2027, 1, 16), by=BY)
    with on(TODAY):
        carried(a_device(), version, SEEN)
    code, link = version.library.code, f"?version={version.pk}"
    theirs = page(outsider, "libraries:library", code)
    assert "Ward 11" not in theirs
    assert f'{link}">0</a>' in theirs
    bound = a_person(Role.TECHNICIAN, places=(a_ward(),))
    for person, sees_the_other_ward in ((technician, True), (bound, False)):
        ours = page(person, "libraries:library", code)
        assert f'{link}">1</a>' in ours
        assert "Mereford General" in ours
        assert ("<span>Ward 11" in ours) is sees_the_other_ward


def test_a_line_shows_the_share_over_time(manager: Person) -> None:
    """From the second day kept on, the page draws the share and says it in words too."""
    version, device = a_version(), a_device()
    actions.require(a_site(), version, date(2027, 1, 15), by=BY)
    actions.snapshot(TODAY - timedelta(days=20))
    assert "<polyline" not in page(manager, "libraries:coverage")
    with on(TODAY):
        carried(device, version, SEEN)
    actions.snapshot(TODAY)
    html = page(manager, "libraries:coverage")
    assert 'points="4.0,68.0 316.0,4.0"' in html
    assert "from 0\xa0% on 20\xa0May\xa02027 to 100\xa0% on 9\xa0Jun\xa02027" in html


def test_a_scanned_list_is_recorded_together(technician: Person) -> None:
    """Each driver once, whichever of its numbers was scanned."""
    version, one, two = a_version(), a_device(), a_device()
    codes = f"{one.asset_number}\n\n{two.serial_number}\n{one.serial_number}\n"
    with on(TODAY):
        answer = signed_in(technician).post(
            reverse("libraries:scan"), {"version": version.pk, "codes": codes}, follow=True
        )
    assert "2 drivers seen with Adult wards 5." in answer.content.decode()
    assert set(Carried.objects.values_list("device", flat=True)) == {one.pk, two.pk}


def test_a_list_with_a_wrong_line_records_nothing(technician: Person) -> None:
    """Each wrong line is told by its number and text; another hospital's driver counts as unknown."""
    version, mine = a_version(), a_device()
    a_device(home=a_ward(site=a_site("Corran Vale")), asset_number="theirs")
    codes = f"{mine.asset_number}\nnonsense\ntheirs"
    html = (
        signed_in(technician).post(reverse("libraries:scan"), {"version": version.pk, "codes": codes}).content.decode()
    )
    assert "Line 2: no driver of yours is known by “nonsense”." in html
    assert "Line 3: no driver of yours is known by “theirs”." in html
    assert "nonsense" in html.split("<textarea", 1)[1]
    assert not Carried.objects.exists()


def test_a_technician_loads_versions_and_requires_none(technician: Person) -> None:
    """What a place must carry bears on doses: adding, requiring and withdrawing a version are a manager's acts."""
    version = a_version("4")
    client, code = signed_in(technician), version.library.code
    page = client.get(reverse("libraries:library", args=[code])).content.decode()
    assert "Require it there" not in page
    answers = [
        client.post(reverse("libraries:release", args=[code]), {"release-number": "5"}),
        client.post(reverse("libraries:require", args=[code]), {"require-version": version.pk}),
        client.post(reverse("libraries:withdraw", args=[version.pk]), {"why": "a test"}),
    ]
    assert [answer.status_code for answer in answers] == [403, 403, 403]


def test_a_version_is_released_and_required(manager: Person) -> None:
    """A manager adds a version and requires it at a place of theirs."""
    library = a_version("4").library
    client = signed_in(manager)
    with on(TODAY):
        client.post(
            reverse("libraries:release", args=[library.code]),
            {"release-number": "5", "release-released_on": "2027-06-01"},
        )
        version = LibraryVersion.objects.get(number="5")
        typed = {"require-place": a_ward().pk, "require-version": version.pk, "require-from_day": "2027-06-09"}
        answer = client.post(reverse("libraries:require", args=[library.code]), typed, follow=True)
    assert "Ward 4 requires Adult wards 5 from 9\xa0Jun\xa02027." in answer.content.decode()
    assert Requirement.objects.get().version == version


def test_nobody_requires_for_anothers_place(outsider: Person) -> None:
    """A place outside one's own is no choice, and the form says so."""
    version, ward = a_version(), a_ward()
    typed = {"require-place": ward.pk, "require-version": version.pk, "require-from_day": "2027-06-09"}
    answer = signed_in(outsider).post(reverse("libraries:require", args=[version.library.code]), typed)
    assert "Select a valid choice" in answer.content.decode()
    assert not Requirement.objects.exists()


def test_withdrawing_from_its_page(manager: Person) -> None:
    """A version is withdrawn with a reason; the library says so."""
    version = a_version()
    with on(TODAY):
        answer = signed_in(manager).post(
            reverse("libraries:withdraw", args=[version.pk]), {"on": "2027-06-09", "why": "wrong limit"}, follow=True
        )
    assert "is withdrawn" in answer.content.decode()
    assert LibraryVersion.objects.get().withdrawn_on == TODAY


def test_a_library_is_added(manager: Person, technician: Person) -> None:
    """A manager adds a library; a technician may not; a name that is taken is told beside the field."""
    a_version()
    typed = {"name": "Paediatrics", "code": "paediatrics"}
    assert signed_in(technician).post(reverse("libraries:new"), typed).status_code == 403
    signed_in(manager).post(reverse("libraries:new"), typed)
    assert Library.objects.filter(code="paediatrics").exists()
    answer = signed_in(manager).post(reverse("libraries:new"), {"name": "adult wards", "code": "aw"})
    assert "already a library" in answer.content.decode()


def test_reading_is_not_changing(storekeeper: Person) -> None:
    """A storekeeper reads the library and gets 403 for each change."""
    version = a_version()
    assert "Add a version" not in page(storekeeper, "libraries:library", version.library.code)
    client = signed_in(storekeeper)
    for address in (
        reverse("libraries:release", args=[version.library.code]),
        reverse("libraries:require", args=[version.library.code]),
        reverse("libraries:withdraw", args=[version.pk]),
        reverse("libraries:scan"),
    ):
        assert client.post(address).status_code == 403
