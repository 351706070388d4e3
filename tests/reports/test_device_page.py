"""The page of one driver, its timeline and its file."""

import html
import re
from datetime import timedelta
from decimal import Decimal

import pytest
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.people.models import Person
from fleet.registry.actions import edit_device, see
from fleet.registry.models import Device
from fleet.tags.actions import report_missing
from fleet.web import clock
from tests.bench.builders import finish, received, work
from tests.builders import BY, a_device, a_type, a_ward
from tests.reports.builders import a_rich_device, file_rows, plain, signed_in, the_tag, words
from tests.schedules.builders import a_due, a_plan, on
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db
CLAIM = "This page is a record. It is not clearance to use the driver on a patient."


def page_of(device: Device) -> str:
    return reverse("reports:device", args=[device.asset_number])


def test_the_page_tells_everything_that_hangs_on_a_driver(technician: Person) -> None:
    """Condition, tag, place, due, alert, battery, library, accessory, identity and history stand on one page."""
    a_plan(a_type())
    device = a_rich_device()
    text = words(technician, page_of(device))
    for said in (
        CLAIM, "Out of use (tagged)", the_tag(device).written, "Ward 4", "Yearly service", "Battery weak",
        "Adult wards 5", "Power lead", device.serial_number, "Raised tag", "86 %",
    ):  # fmt: skip
        assert said in text, said


def test_quarantine_stands_before_everything_else(technician: Person) -> None:
    """A driver that may have harmed somebody says first that it is kept as it is."""
    device = a_device()
    an_open_tag(device, harm="not_sure")
    text = words(technician, page_of(device))
    assert text.index("Keep it as it is") < text.index("Harm not ruled out") < text.index(CLAIM)
    assert "Do not switch it off, unplug it, take out its battery" in text
    for act in ("Log a runtime test", "Record its library", "Record its pack", "Receive on the bench"):
        assert act not in text
    assert f'{reverse("tags:quarantine", args=[device.quarantines.get().pk])}" data-key="q">Custody and release' in text


def test_last_seen_stands_beside_home(technician: Person) -> None:
    """Where it was seen last, when and by what stands on the page, and home is another line."""
    device = a_device(a_ward("Ward 4"))
    see(device, a_ward("Ward 7"), "ward round", by=BY)
    text = words(technician, page_of(device))
    assert "Ward 7 <span" in text
    assert "by ward round" in text
    assert "<dt>Home</dt><dd>Ward 4</dd>" in text


def test_a_value_of_its_own_is_marked(technician: Person) -> None:
    """An override says that it is one, and what the type says."""
    device = a_device()
    edit_device(device, {"own_charging_hours": Decimal(12)}, by=BY)
    assert 'its own value; its type says <span class="quantity">10 h</span>' in words(technician, page_of(device))


def test_a_ward_reads_the_short_page_of_its_own_drivers(ward_nurse: Person) -> None:
    """A nurse sees condition, tag and place, and may report; nothing of batteries, orders or history."""
    device = a_rich_device()
    text = words(ward_nurse, page_of(device))
    assert CLAIM in text
    assert the_tag(device).written in text
    assert reverse("tags:report", args=[device.asset_number]) in text
    for untold in ("Battery", "Orders", "History", "Warranty"):
        assert untold not in text


def test_a_missing_driver_can_be_reported_as_found(ward_nurse: Person) -> None:
    """The short page of a driver that is not located leads to where it is reported as found."""
    device = a_device()
    an_open_tag(device)
    report_missing(device, why="Not in the sluice room", by=BY)
    assert reverse("tags:found", args=[device.asset_number]) in words(ward_nurse, page_of(device))


@pytest.mark.parametrize("name", ["reports:device", "reports:history", "reports:history_csv"])
def test_a_driver_of_elsewhere_is_unknown(name: str, outsider: Person, ward_nurse: Person) -> None:
    """Outside one's places there is no such page; a ward gets no whole history even of its own drivers."""
    near, far = a_device(), a_device(a_ward("Ward 9"))
    assert signed_in(outsider).get(reverse(name, args=[near.asset_number])).status_code == 404
    expected = 404 if name == "reports:device" else 403
    assert signed_in(ward_nurse).get(reverse(name, args=[far.asset_number])).status_code == expected


def test_acts_are_offered_by_duty(technician: Person, manager: Person, storekeeper: Person) -> None:
    """A technician receives and logs, a manager edits too, a storekeeper may only report."""
    device = a_device()
    offers = {who: words(who, page_of(device)) for who in (technician, manager, storekeeper)}
    receive = f"{reverse('bench:receive')}?code={device}"
    edit = reverse("registry:device_edit", args=[device.asset_number])
    assert [receive in offers[who] for who in (technician, manager, storekeeper)] == [True, True, False]
    assert [edit in offers[who] for who in (technician, manager, storekeeper)] == [False, True, False]
    label = reverse("registry:label", args=[device.asset_number])
    assert [label in offers[who] for who in (technician, manager, storekeeper)] == [True, True, False]
    assert "Tag this driver" in offers[storekeeper]
    assert "Log a runtime test" not in offers[storekeeper]


def test_an_open_order_is_gone_on_with(technician: Person) -> None:
    """While a driver is in work the one first act is its order."""
    device = a_device()
    order = received(device, technician, kind="corrective")
    assert f"Go on with order {order}" in words(technician, page_of(device))


def test_retired_drivers_offer_no_work(technician: Person, manager: Person) -> None:
    """A retired driver keeps its page and its history, and nothing is begun on it."""
    device = a_device()
    order = received(device, technician, kind="corrective")
    finish(work(order, technician), manager, "retired", found="other", found_words="Beyond repair")
    text = words(manager, page_of(device))
    assert "Retired" in text
    assert "Tag this driver" not in text
    assert "Receive on the bench" not in text


def test_the_timeline_says_from_what_to_what_and_why(manager: Person) -> None:
    """An edit shows the field, both values, the reason and who did it."""
    device = a_device()
    edit_device(device, {"pool": "loan"}, why="Lent to the hospice", by=BY)
    text = words(manager, page_of(device))
    assert 'Pool: <span class="soft">Clinical</span>' in text
    assert "</span> Loan" in text
    assert "Why: Lent to the hospice" in text
    assert "· command test" in text


def test_a_late_entry_says_so(technician: Person) -> None:
    """What was entered later than it was done is labelled with the moment of entry; what was not, is not."""
    prompt, late = a_device(), a_device()
    see(prompt, a_ward(), "ward round", at=clock.now() - timedelta(minutes=5), by=BY)
    see(late, a_ward(), "ward round", at=clock.now() - timedelta(hours=5), by=BY)
    assert "entered late" not in words(technician, page_of(prompt))
    assert "entered late" in words(technician, page_of(late))


def test_the_timeline_narrows_by_topic(technician: Person) -> None:
    """Only entries of the topic are left; a topic that isn't one shows all."""
    device = a_rich_device()
    alerts = words(technician, page_of(device), topic="alerts")
    assert "Alert recorded" in alerts
    assert "Raised tag" not in alerts
    assert "Raised tag" in words(technician, page_of(device), topic="nonsense")


def test_older_entries_follow_without_a_gap_or_a_double(technician: Person) -> None:
    """Going on by the link, with or without htmx, shows every entry of the driver exactly once."""
    device = a_device()
    for hours in range(45):
        edit_device(device, {"lot": f"L{hours}"}, by=BY)
    client, address, seen = signed_in(technician), page_of(device), 0
    for asks in ({}, {"HX-Request": "true"}, {}):
        answer = client.get(address, headers=asks)
        seen += len(answer.context["entries"])
        assert (b"<html" in answer.content) is not bool(asks)
        address = answer.context["older"]
    assert address == ""
    assert seen == TrailEntry.objects.filter(device_ref=device.pk).count() == 46


@pytest.mark.parametrize("before", ["x", "-1", "9" * 40, "1e3"])
def test_an_address_made_up_shows_the_newest(before: str, technician: Person) -> None:
    """A place in the timeline that no entry could have is passed over."""
    device = a_device()
    assert "Added device" in words(technician, reverse("reports:history", args=[device.asset_number]), before=before)


def test_the_file_holds_the_whole_history(technician: Person) -> None:
    """One row for each entry of the trail on that driver, none of another's, with before and after as kept."""
    device = a_rich_device()
    a_rich_device()
    edit_device(device, {"pool": "loan"}, why="Lent", by=BY)
    rows = file_rows(technician, reverse("reports:history_csv", args=[device.asset_number]))
    assert len(rows) == TrailEntry.objects.filter(device_ref=device.pk).count()
    assert rows[0]["Changes in words"] == "Pool: Clinical → Loan"
    assert (rows[0]["Before"], rows[0]["After"], rows[0]["Why"]) == ('{"pool": "clinical"}', '{"pool": "loan"}', "Lent")


def test_the_page_asks_the_same_of_the_database_however_much_there_is(
    technician: Person, django_assert_max_num_queries: object
) -> None:
    """A driver with a long history costs no more questions than one with a short."""
    a_plan(a_type())
    device = a_rich_device(tests=12)
    for number in range(30):
        edit_device(device, {"lot": f"L{number}"}, by=BY)
    client = signed_in(technician)
    with django_assert_max_num_queries(40):
        assert "Older entries" in plain(client.get(page_of(device)).content)


def test_an_asset_number_with_a_slash_has_its_page(technician: Person) -> None:
    """Some hospitals number like that."""
    assert "MG/12" in words(technician, page_of(a_device(asset_number="MG/12")))


def test_dues_stand_with_their_window_and_their_mark(technician: Person) -> None:
    """A late due says how late it is and when its window closed."""
    due = a_due()
    with on(due.closes_on + timedelta(days=9)):
        text = words(technician, page_of(due.device))
    assert "9 days late" in text
    assert f"window {due.opens_on.day} " in text


def test_each_offer_opens_with_the_driver_in_it(manager: Person) -> None:
    """Behind every act of the page stands a page that already knows which driver is meant."""
    device = a_rich_device(tagged=False)
    client = signed_in(manager)
    body = client.get(page_of(device)).content.decode().partition("<main")[2]
    offers = re.findall(r'<a class="button[^"]*" href="([^"]+)"', body)
    assert len(offers) >= 7
    for offer in offers:
        answer = client.get(html.unescape(offer))
        assert answer.status_code == 200, offer
        assert device.asset_number in answer.content.decode(), offer
