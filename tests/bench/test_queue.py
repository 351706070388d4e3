"""The queue: its order, whom it shows what, how many queries it takes, and what a scan finds."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from fleet.bench import actions as bench
from fleet.bench.queries import Narrow, find, queue, rows
from fleet.people.models import Person
from fleet.registry.actions import edit_device, renew_label
from fleet.registry.queries import label_token
from fleet.tags.models import Tag
from fleet.web import clock
from tests.bench.builders import again, as_actor, finish, procedures, received, work
from tests.builders import BY, a_device, a_new_device, a_site, a_ward
from tests.tags.builders import an_open_tag

START = datetime(2026, 3, 2, 8, tzinfo=UTC)


def drivers(person: Person, narrow: Narrow | None = None) -> list[str]:
    return [row.device.asset_number for row in rows(queue(person, narrow))]


def test_harm_then_the_shorter_pool_then_the_longer_wait(technician: Person) -> None:
    """A driver after possible harm comes first; then the ward with fewer drivers in service; then who waited longer."""
    rich, poor = a_ward("Ward 4"), a_ward("Ward 9")
    for _ in range(9):
        a_device(rich)
    a_device(poor)
    with clock.at(START):
        first_rich = a_device(rich)
        an_open_tag(first_rich)
    with clock.at(START + timedelta(days=1)):
        second_rich = a_device(rich)
        an_open_tag(second_rich)
    with clock.at(START + timedelta(days=2)):
        short = a_device(poor)
        an_open_tag(short)
    with clock.at(START + timedelta(days=3)):
        harmed = a_device(rich)
        an_open_tag(harmed, harm="not_sure")
    expected = [harmed, short, first_rich, second_rich]
    assert drivers(technician) == [device.asset_number for device in expected]


def test_only_clinical_drivers_count_as_the_pool(technician: Person) -> None:
    """Training units neither make a pool look full nor wait as if a ward were short."""
    a_device(a_ward(), pool="training")
    tagged = a_device()
    training = a_device(pool="training")
    for device in (tagged, training):
        an_open_tag(device)
    places = {place.device_id: place for place in queue(technician)}
    assert (places[tagged.pk].stock.ready, places[tagged.pk].stock.total) == (0, 1)
    assert places[training.pk].stock is None


def test_a_driver_stands_once_for_each_order(technician: Person) -> None:
    """Received, a tagged driver is one row with its order; loose ones are rows without; returned ones are gone."""
    loose, new, worked, done = a_device(), a_new_device(), a_device(), a_device()
    for device in (loose, worked):
        an_open_tag(device)
    order = received(worked, technician)
    bench.raise_order(worked, "library", by=as_actor(technician))
    finish(work(received(done, technician, kind="planned"), technician), technician)
    found = {
        (row.device.asset_number, row.place.kind, row.order and row.order.number) for row in rows(queue(technician))
    }
    assert (loose.asset_number, "corrective", None) in found
    assert (new.asset_number, "acceptance", None) in found
    assert (worked.asset_number, "corrective", order.number) in found
    assert len(found) == 4


def test_the_queue_is_narrowed(technician: Person, second_technician: Person, administrator: Person) -> None:
    """Mine, nobody's, one kind, one site."""
    mine, raised, loose, far = a_device(), a_device(), a_device(), a_device(a_ward("Ward 1", a_site("Corran Vale")))
    received(mine, technician, kind="planned")
    bench.raise_order(raised, "library", by=as_actor(second_technician))
    for device in (loose, far):
        an_open_tag(device)
    assert drivers(technician, Narrow(person_id=technician.pk)) == [mine.asset_number]
    assert set(drivers(technician, Narrow(unassigned=True))) == {raised.asset_number, loose.asset_number}
    assert drivers(technician, Narrow(kind="library")) == [raised.asset_number]
    assert drivers(administrator, Narrow(site_id=a_site("Corran Vale").pk)) == [far.asset_number]


def test_nobody_sees_the_queue_of_another_site(outsider: Person, technician: Person) -> None:
    """The queue holds a person's places and no others."""
    an_open_tag(a_device())
    received(a_device(), technician, kind="planned")
    assert queue(outsider) == []


@pytest.mark.parametrize("size", [2, 12])
def test_the_number_of_queries_does_not_grow(technician: Person, size: int, django_assert_max_num_queries: Any) -> None:
    """Two drivers or twelve: four queries for the order, three for the page."""
    procedures()
    for _ in range(size):
        an_open_tag(a_device())
        received(a_device(), technician, kind="planned")
    list(technician.places.all())
    with django_assert_max_num_queries(8):
        assert len(rows(queue(technician))) == 2 * size


def test_a_scan_finds_a_driver_by_whatever_it_carries(technician: Person, outsider: Person) -> None:
    """Asset, serial, tag, order, label link and UDI lead to the driver; not for an outsider."""
    device = a_device()
    edit_device(device, {"udi": "(01)09506000134352(21)SN-77", "di": "09506000134352"}, by=BY)
    tag = an_open_tag(device)
    order = received(device, technician)
    link = f"https://benchward.example/r/{label_token(device)}/"
    hyphen = f"{tag.number[:-1]}-{tag.number[-1]}".lower()
    for code in (device.asset_number, device.serial_number, tag.number, hyphen, order.number, link):
        assert find(code, technician).device == device, code
        assert find(code, outsider).device is None, code
    assert find(again(device).udi, technician).device == device
    renew_label(device, by=BY)
    assert find(link, technician).device is None
    assert Tag.objects.count() == 1
