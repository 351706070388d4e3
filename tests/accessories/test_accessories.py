"""Accessories: counted out and in, missing until found, replaced or given up, listed by place."""

import pytest
from django.urls import reverse

from fleet.accessories import actions, queries
from fleet.accessories.models import Missing, Tally
from fleet.core.errors import BadValueError, NotAllowedError
from fleet.people.models import Person
from fleet.registry.actions import describe_accessory, state_accessories
from fleet.registry.models import Accessory, Device
from tests.bench.builders import as_actor, finish, received, signed_in, work
from tests.builders import BY, PASSWORD, a_bench, a_device, a_type, a_ward

pytestmark = pytest.mark.django_db
LOOKED = Tally.Occasion.LOOKED


@pytest.fixture
def device() -> Device:
    """A driver of Ward 4 that has a power lead and two clamps."""
    state_accessories(a_type(), {"Power lead": 1, "Pole clamp": 2}, by=BY)
    return a_device()


def count(device: Device, **there: int) -> list[str]:
    """Count by name, spaces as underscores; what is missing is returned."""
    names = {each.name.replace(" ", "_"): each.pk for each in Accessory.objects.all()}
    lacking = actions.count(device, {names[name]: many for name, many in there.items()}, LOOKED, by=BY)
    return [f"{row.quantity} {row.accessory}" for row in lacking]


def test_what_is_fewer_is_missing_and_all_there_is_found(device: Device) -> None:
    """A count opens one record for each accessory that lacks, follows its number, and ends it when all is there."""
    assert sorted(count(device, Power_lead=0, Pole_clamp=1)) == ["1 Pole clamp", "1 Power lead"]
    assert {str(row.accessory): row.quantity for row in queries.missing_of(device)} == {
        "Power lead": 1,
        "Pole clamp": 1,
    }
    count(device, Pole_clamp=0)
    assert queries.missing_of(device).get(accessory__name="Pole clamp").quantity == 2
    assert count(device, Power_lead=1, Pole_clamp=2) == []
    assert set(Missing.objects.values_list("ended", flat=True)) == {"found"}


def test_what_was_not_looked_at_stays(device: Device) -> None:
    """A count of one accessory says nothing of the other."""
    count(device, Power_lead=0)
    assert count(device, Pole_clamp=2) == ["1 Power lead"]


def test_a_number_stated_anew_does_not_hide_what_lacks(device: Device) -> None:
    """A type that states another number keeps the open record and its words; a count against the new one ends it."""
    lead = Accessory.objects.get(name="Power lead")
    describe_accessory(lead, part_number="PL-1", if_missing="Take one from the grey box.", by=BY)
    count(device, Power_lead=0)
    state_accessories(a_type(), {"Power lead": 2, "Pole clamp": 2}, by=BY)
    fresh = Accessory.objects.get(name="Power lead")
    assert (fresh.part_number, fresh.if_missing) == ("PL-1", "Take one from the grey box.")
    assert queries.belongings(device)[1].missing is not None
    assert count(device, Power_lead=2) == []


@pytest.mark.parametrize("there", [-1, 3])
def test_no_more_than_belong_are_there(device: Device, there: int) -> None:
    """A wrong number is refused with the right ones."""
    with pytest.raises(BadValueError, match="2 of Pole clamp belong"):
        count(device, Pole_clamp=there)


def test_another_types_accessory_is_refused(device: Device) -> None:
    """Only what the driver's own type lists is counted."""
    other = Accessory.objects.create(device_type=a_type("TW-20"), name="Key")
    with pytest.raises(BadValueError, match="does not belong"):
        actions.count(device, {other.pk: 1}, LOOKED, by=BY)


def test_giving_up_needs_a_reason(device: Device) -> None:
    """A missing accessory is given up with why; the note stays."""
    count(device, Power_lead=0)
    row = queries.missing_of(device).get()
    with pytest.raises(BadValueError, match="Say why"):
        actions.end(row, Missing.Ended.GIVEN_UP, by=BY)
    assert actions.end(row, Missing.Ended.GIVEN_UP, note="Type runs on any lead", by=BY).ended == "given_up"


def test_a_ward_may_find_and_not_replace(device: Device, ward_nurse: Person) -> None:
    """Whoever finds a lead says so; taking one from stock is for those who hand drivers over."""
    count(device, Power_lead=0, Pole_clamp=1)
    first, second = queries.missing_of(device)
    with pytest.raises(NotAllowedError):
        actions.end(first, Missing.Ended.REPLACED, by=as_actor(ward_nurse))
    assert actions.end(second, Missing.Ended.FOUND, by=as_actor(ward_nurse)).ended == "found"


def test_the_bench_counts_what_came_and_misses_it_from_the_ward(device: Device, technician: Person) -> None:
    """What lacks at reception is missed from the ward the driver came from, and shown when it is to go back."""
    lead = Accessory.objects.get(name="Power lead")
    order = received(device, technician, kind="planned", counted={lead.pk: 0})
    assert queries.missing_of(device).get().place == a_ward()
    page = signed_in(technician).get(reverse("bench:finish", args=[order.number])).content.decode()
    assert "Missing with it" in page


def test_the_bench_counts_what_goes_back(device: Device, technician: Person) -> None:
    """What lacks when an order is finished is missed from the bench, told with what to do, and stops nothing."""
    lead, clamp = Accessory.objects.order_by("-name")
    order = work(received(device, technician, kind="corrective"), technician)
    client, address = signed_in(technician), reverse("bench:finish", args=[order.number])
    page = client.get(address).content.decode()
    assert "Count what goes back with it" in page
    assert queries.WHAT_TO_DO in page
    sent = {"revision": order.revision, "outcome": "repaired", "returned_to": device.home_id, "password": PASSWORD}
    sent |= {f"part_{lead.pk}": "0", f"part_{clamp.pk}": ""}
    refused = client.post(address, sent)
    assert "Say what you did" in refused.content.decode()
    assert '<details class="more" open>' in refused.content.decode()
    assert not Tally.objects.exists()
    done = client.post(address, {**sent, "action_taken": "Gear cleaned."}, follow=True)
    assert "Missing with it: power lead. Tell the ward." in done.content.decode()
    tally = Tally.objects.get()
    assert (tally.occasion, [(str(line.accessory), line.there) for line in tally.lines.all()]) == (
        "bench_out",
        [("Power lead", 0)],
    )
    assert queries.missing_of(device).get().place == a_bench()
    assert Device.objects.get(pk=device.pk).condition == "in_service"


def test_a_driver_that_stays_on_the_bench_is_counted_and_not_returned(device: Device, technician: Person) -> None:
    """With another order open the count is kept as one where the driver was."""
    lead = Accessory.objects.get(name="Power lead")
    received(device, technician, kind="planned")
    order = work(received(device, technician, kind="corrective"), technician)
    finish(order, technician, stays=True, counted={lead.pk: 1})
    assert Tally.objects.get().occasion == LOOKED


def test_the_list_stands_under_the_place(device: Device, technician: Person) -> None:
    """The page of what is missing names place, accessory and driver; a search narrows it."""
    count(device, Power_lead=0)
    client = signed_in(technician)
    page = client.get(reverse("accessories:missing")).content.decode()
    assert "Ward 4, Mereford General: 1" in page
    assert device.asset_number in page
    assert "Nothing missing fits" in client.get(reverse("accessories:missing"), {"q": "key"}).content.decode()


def test_counting_and_finding_on_the_pages(device: Device, technician: Person) -> None:
    """A count by its page, then what came of it by its page."""
    client, lead = signed_in(technician), Accessory.objects.get(name="Power lead")
    count_url = reverse("accessories:count", args=[device.asset_number])
    client.post(count_url, {f"part_{lead.pk}": "0"})
    row = queries.missing_of(device).get()
    answer = client.get(reverse("accessories:one", args=[row.pk])).content.decode()
    assert queries.WHAT_TO_DO in answer
    client.post(reverse("accessories:one", args=[row.pk]), {"ended": "replaced", "note": "From the grey box"})
    assert not queries.missing_of(device).exists()
