"""The ward's own word on its drivers: in use or idle, in one tap."""

from datetime import timedelta

import pytest
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.core.errors import MoveRefusedError
from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.tags.actions import say_use
from fleet.tags.models import WardWord
from fleet.tags.queries import latest_words
from fleet.web import clock
from tests.builders import BY, a_device, a_ward
from tests.pages import page, signed_in

pytestmark = pytest.mark.django_db


def test_one_tap_tells_that_a_driver_can_be_fetched(ward_nurse: Person) -> None:
    """Marked idle, then in use: the later word stands with its name, the trail holds both."""
    device = a_device()
    address = reverse("tags:say_use", args=[device.asset_number])
    for use in ("idle", "in_use"):
        assert signed_in(ward_nurse).post(address, {"use": use, "page": "1"}).status_code == 302
    shown = page(ward_nurse, f"{reverse('tags:ours')}?show=in_service")
    assert f"{ward_nurse} said so" in shown
    assert latest_words([device])[device.pk].in_use
    assert TrailEntry.objects.filter(device_ref=device.pk, verb="ward told its use").count() == 2
    assert WardWord.objects.count() == 2


def test_of_a_driver_out_of_use_nothing_is_asked() -> None:
    """It waits for the bench; a word on its use would only confuse."""
    device = a_device()
    Device.objects.filter(pk=device.pk).update(condition=Condition.OUT_OF_USE)
    with pytest.raises(MoveRefusedError, match="only of a driver in service"):
        say_use(device, in_use=False, by=BY)


def test_a_word_from_before_the_driver_was_away_tells_nothing() -> None:
    """What was said before it came back into service, or longer ago than two weeks, is not told."""
    device = a_device()
    with clock.at(clock.now() - timedelta(days=20)):
        old = a_device()
        say_use(old, in_use=True, by=BY)
    say_use(device, in_use=True, by=BY)
    assert set(latest_words([device, old])) == {device.pk}
    Device.objects.filter(pk=device.pk).update(condition_since=clock.now() + timedelta(minutes=1))
    device.refresh_from_db()
    assert latest_words([device]) == {}


def test_a_ward_says_so_only_of_its_own(ward_nurse: Person) -> None:
    """A nurse of Ward 4 has no word on a driver of Ward 9."""
    device = a_device(a_ward("Ward 9"))
    address = reverse("tags:say_use", args=[device.asset_number])
    assert signed_in(ward_nurse).post(address, {"use": "idle"}).status_code == 404
