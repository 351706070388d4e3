"""Pages about alerts: who sees what, recording by hand, clearing."""

import pytest
from django.test import Client
from django.urls import reverse

from fleet.alerts.models import Alert
from fleet.people.models import Person
from tests.alerts.builders import a_kind, an_alert
from tests.builders import a_device, a_site, a_ward

pytestmark = pytest.mark.django_db


def signed_in(person: Person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def typed(**facts: object) -> dict[str, object]:
    kind = a_kind().pk
    return {"kind": kind, "times": "2", "seen_by": "Nell Averby", "source": "ward", "screen_text": "LOW BATT", **facts}


def test_open_alerts_within_places(storekeeper: Person, outsider: Person, ward_nurse: Person) -> None:
    """Whoever sees the fleet sees the open alerts of their places; nobody else does."""
    alert = an_alert()
    html = signed_in(storekeeper).get(reverse("alerts:list")).content.decode()
    assert "1 alert is open" in html
    assert alert.device.asset_number in html
    assert "Record an alert" not in html
    assert alert.device.asset_number not in signed_in(outsider).get(reverse("alerts:list")).content.decode()
    assert signed_in(ward_nurse).get(reverse("alerts:list")).status_code == 403


def test_the_list_is_narrowed(manager: Person) -> None:
    """By kind, by battery and by place; an empty answer says what to do."""
    weak, blocked = an_alert(), an_alert(code="blockage")
    html = signed_in(manager).get(reverse("alerts:list"), {"battery": "True"}).content.decode()
    assert weak.device.asset_number in html
    assert blocked.device.asset_number not in html
    html = signed_in(manager).get(reverse("alerts:list"), {"home": a_ward("Ward 9").pk}).content.decode()
    assert "No open alert fits this." in html


def test_recording_by_hand(technician: Person) -> None:
    """A technician types a serial number, what was raised, when and how often."""
    device = a_device()
    answer = signed_in(technician).post(reverse("alerts:new"), typed(code=device.serial_number), follow=True)
    assert "seen 2 times in all" in answer.content.decode()
    alert = Alert.objects.get()
    assert (alert.device, alert.times, alert.source, alert.screen_text) == (device, 2, "ward", "LOW BATT")


@pytest.mark.parametrize("code", ["unknown", "theirs"])
def test_a_driver_outside_ones_places_is_not_found(technician: Person, code: str) -> None:
    """A wrong number and another hospital's driver give the same answer, and what was typed stays."""
    a_device(home=a_ward(site=a_site("Corran Vale")), asset_number="theirs")
    html = signed_in(technician).post(reverse("alerts:new"), typed(code=code)).content.decode()
    assert f"No driver of yours is known by “{code}”." in html
    assert 'value="LOW BATT"' in html
    assert not Alert.objects.exists()


def test_clearing_asks_for_a_reason(manager: Person) -> None:
    """Without a reason the alert stays open; with one it is closed and leaves the list."""
    alert = an_alert()
    address = reverse("alerts:one", args=[alert.pk])
    assert signed_in(manager).post(address, {"why": ""}).status_code == 200
    assert Alert.objects.get().closed_at is None
    answer = signed_in(manager).post(address, {"why": "A test on the bench."}, follow=True)
    assert "No alert is open" in answer.content.decode()
    assert "A test on the bench." in signed_in(manager).get(address).content.decode()


def test_who_may_clear(storekeeper: Person, outsider: Person) -> None:
    """Who may only read gets 403 and no form; to an outsider the alert doesn't exist."""
    address = reverse("alerts:one", args=[an_alert().pk])
    assert "Clear this alert" not in signed_in(storekeeper).get(address).content.decode()
    assert signed_in(storekeeper).post(address, {"why": "x"}).status_code == 403
    assert signed_in(outsider).get(address).status_code == 404
    assert signed_in(outsider).post(address, {"why": "x"}).status_code == 404
    assert signed_in(storekeeper).get(reverse("alerts:new")).status_code == 403


def test_from_a_drivers_page_the_keys_choose_what_it_raised(technician: Person) -> None:
    """With the driver filled in, the first choice has the focus: a 1 typed there does not overwrite the asset."""
    a_kind()
    client = signed_in(technician)
    known = client.get(reverse("alerts:new"), {"device": a_device().asset_number}).content.decode()
    assert "autofocus" not in known
    assert "data-focus" in known
    assert "autofocus" in client.get(reverse("alerts:new")).content.decode()
