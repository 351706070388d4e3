"""The list of drivers, adding one by its UDI, and changing its facts."""

import csv
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from http import HTTPStatus
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError
from fleet.core.udi import gs1_check_digit
from fleet.people.models import Person
from fleet.registry import actions
from fleet.registry.models import Device
from fleet.registry.queries import by_code
from fleet.web import clock
from tests.builders import BY, a_device, a_new_device, a_site, a_type, a_ward
from tests.pages import page, signed_in, status

pytestmark = pytest.mark.django_db

LIST = reverse("registry:devices")
NEW = reverse("registry:device_new")
DI = "0950123456789" + gs1_check_digit("0950123456789")
SCAN = f"01{DI}10LOT7\x1d21SN-900"


def shown(person: Person, query: str = "") -> set[str]:
    """The asset numbers that the list shows."""
    answer = signed_in(person).get(f"{LIST}?{query}")
    return {row.record.asset_number for row in answer.context["table"].paginated_rows}


def edit_of(device: Device) -> str:
    return reverse("registry:device_edit", args=[device.asset_number])


def opened(person: Person, device: Device) -> dict[str, Any]:
    """The form of the device as the person finds it, ready to be sent."""
    form = signed_in(person).get(edit_of(device)).context["form"]
    values = {name: form[name].value() for name in form.fields}
    return {name: value for name, value in values.items() if value is not None}


# The list


def test_the_list_holds_only_ones_places(manager: Person, outsider: Person) -> None:
    """A manager of another site sees an empty list with words."""
    device = a_device()
    assert shown(manager) == {device.asset_number}
    assert "No driver fits this." in page(outsider, LIST)


def test_ward_staff_have_no_register(ward_nurse: Person) -> None:
    """The register is 403 to whoever only reports faults."""
    assert status(ward_nurse, LIST) == HTTPStatus.FORBIDDEN


def test_the_list_is_narrowed_by_each_filter(manager: Person) -> None:
    """Number, condition, home (with what lies in it), type, pool, lateness and quarantine each keep their own."""
    site, north = a_site(), a_ward("North")
    late = a_device(asset_number="L1", pool="training", home=north)
    held = a_device(asset_number="Q1", device_type=a_type("TW-20"))
    waiting = a_new_device(asset_number="W1", serial_number="ZZ-4411")
    day = clock.today()
    actions.note_due(late, next_due=day, closes=day, late_since=day)
    Device.objects.filter(pk=held.pk).update(condition="out_of_use", quarantined=True)
    assert shown(manager, "number=z-44") == {"W1"}
    assert shown(manager, "condition=waiting") == {waiting.asset_number}
    assert shown(manager, f"home={north.pk}") == {"L1"}
    assert shown(manager, f"home={site.pk}") == {"L1", "Q1", "W1"}
    assert shown(manager, f"type={held.device_type_id}") == {"Q1"}
    assert shown(manager, "pool=training") == {"L1"}
    assert shown(manager, "marked=late") == {"L1"}
    assert shown(manager, "marked=quarantined") == {"Q1"}


def test_a_longer_list_asks_the_database_no_more(manager: Person, django_assert_num_queries: Any) -> None:
    """Twenty drivers cost as many queries as two, and no count of them all is among them."""
    drivers = [a_device() for _ in range(2)]
    client = signed_in(manager)
    client.get(LIST)  # the first page of a session renews it
    with CaptureQueriesContext(connection) as few:
        client.get(LIST)
    drivers += [a_device(a_ward(f"Ward {number}"), a_type(f"T{number}")) for number in range(18)]
    with django_assert_num_queries(len(few)):
        answer = client.get(LIST)
    assert len(answer.context["table"].paginated_rows) == len(drivers)
    assert not any("COUNT" in query["sql"] for query in few.captured_queries)


def test_a_wandered_driver_is_counted_at_home(manager: Person) -> None:
    """The home filter asks where a driver belongs, not where it stands."""
    a_device(a_ward("Ward 4"), asset_number="A1", place=a_ward("Ward 5"))
    assert shown(manager, f"home={a_ward('Ward 4').pk}") == {"A1"}
    assert shown(manager, f"home={a_ward('Ward 5').pk}") == set()


def test_drivers_not_seen_for_long_are_found(manager: Person) -> None:
    """“Not for 30 days” holds the one last seen 31 days ago and the one never seen, not the one seen yesterday."""
    now = datetime(2027, 3, 14, 9, tzinfo=UTC)
    for asset, days in (("OLD", 31), ("NEW", 1)):
        actions.see(a_device(asset_number=asset), a_ward(), "network", at=now - timedelta(days=days), by=BY)
    a_device(asset_number="NEVER")
    with clock.at(now):
        assert shown(manager, "seen=30") == {"OLD", "NEVER"}
        assert shown(manager, "seen=never") == {"NEVER"}


def test_the_file_holds_the_list(manager: Person) -> None:
    """The CSV has the narrowed rows with their effective values, and text that looks like a formula is quoted."""
    a_device(asset_number="A1", own_charging_hours=Decimal("14.5"), serial_number="=1+1")
    a_device(asset_number="B1")
    answer = signed_in(manager).get(f"{reverse('registry:devices_csv')}?number=A1")
    assert hasattr(answer, "streaming_content")
    text = b"".join(answer.streaming_content).decode("utf-8-sig")
    rows = list(csv.DictReader(text.splitlines()))
    assert [(row["Asset"], row["Charging hours"], row["Serial"]) for row in rows] == [("A1", "14.50", "'=1+1")]


# Adding


def test_a_scanned_udi_fills_the_form(manager: Person) -> None:
    """Type, identifier, serial number and lot come from the code; the raw code is kept."""
    known = a_type(di=DI)
    form = signed_in(manager).get(NEW, {"udi": SCAN}).context["form"]
    values = {name: form[name].value() for name in ("device_type", "di", "serial_number", "lot", "udi")}
    assert values == {"device_type": known.pk, "di": DI, "serial_number": "SN-900", "lot": "LOT7", "udi": SCAN}


def test_a_driver_is_added_by_its_udi_and_found_by_it(manager: Person) -> None:
    """After saving what the scan filled in, the driver waits for acceptance and the same scan finds it."""
    a_type(di=DI)
    form = signed_in(manager).get(NEW, {"udi": SCAN}).context["form"]
    sent = {name: form[name].value() or "" for name in form.fields} | {"home": a_ward().pk}
    answer = signed_in(manager).post(NEW, sent)
    device = Device.objects.get(serial_number="SN-900")
    assert answer["Location"] == reverse("registry:label", args=[device.asset_number])
    assert (device.condition, device.wait_reason) == ("waiting", "acceptance")
    assert by_code(SCAN) == device


def test_doubts_about_a_scan_are_told(manager: Person) -> None:
    """A scanner that drops separators gives a warning; a wrong check digit is told, and the code is kept to correct."""
    swallowed = page(manager, f"{NEW}?udi=01{DI}10LOT721SN-900")
    assert "may have swallowed" in swallowed
    wrong = f"01{DI[:-1]}{(int(DI[-1]) + 1) % 10}21SN1"
    told = page(manager, f"{NEW}?udi={wrong}")
    assert "This code cannot be read" in told
    assert f'value="{wrong}"' in told


def test_a_taken_serial_number_is_refused_beside_its_field(manager: Person) -> None:
    """The refusal names the driver on record, and what was typed is still there."""
    there = a_device(serial_number="SN1")
    sent = {
        "device_type": there.device_type_id, "serial_number": "SN1", "home": there.home_id, "pool": "clinical",
        "owner": "hospital", "lot": "LOT-AGAIN",
    }  # fmt: skip
    told = signed_in(manager).post(NEW, sent).content.decode()
    assert f"on record as {there.asset_number}" in told
    assert "LOT-AGAIN" in told


def test_only_the_register_s_keepers_add(technician: Person) -> None:
    """A technician reads the register but gets 403 where it is changed."""
    device = a_device()
    assert status(technician, LIST) == HTTPStatus.OK
    assert status(technician, NEW) == HTTPStatus.FORBIDDEN
    assert status(technician, edit_of(device)) == HTTPStatus.FORBIDDEN


# Changing


def test_a_driver_outside_ones_places_does_not_exist(outsider: Person) -> None:
    """Its pages are 404, not 403: nothing tells that it exists."""
    device = a_device()
    for name in ("registry:device_edit", "registry:label"):
        assert status(outsider, reverse(name, args=[device.asset_number])) == HTTPStatus.NOT_FOUND


def test_a_home_is_given_only_within_ones_places(manager: Person) -> None:
    """A driver can't be sent to a place that its editor does not see."""
    foreign = a_ward("Far", a_site("Corran Vale"))
    device = a_device()
    signed_in(manager).post(edit_of(device), opened(manager, device) | {"home": foreign.pk})
    assert Device.objects.get(pk=device.pk).home == device.home


def test_an_override_is_kept_and_shown(manager: Person) -> None:
    """A value of its own holds when the type's changes; the form tells the type's, the type's page the driver."""
    device = a_device(asset_number="A1")
    signed_in(manager).post(edit_of(device), opened(manager, device) | {"own_replacement_level": "0.9"})
    actions.edit_device_type(device.device_type, {"replacement_level": Decimal("0.700")}, by=BY)
    kept = Device.objects.get(pk=device.pk)
    assert kept.replacement_level == Decimal("0.900")
    assert "the type's, 0.7." in page(manager, edit_of(device)).replace("&#x27;", "'")
    told = page(manager, reverse("registry:type", args=[device.device_type_id]))
    assert reverse("reports:device", args=["A1"]) in told
    assert shown(manager, "marked=own") == {"A1"}


def test_an_override_out_of_bounds_is_refused_in_words(manager: Person) -> None:
    """A replacement level above the whole is refused beside its field, by the form and by the action."""
    device = a_device()
    sent = opened(manager, device) | {"own_replacement_level": "1.2"}
    assert "less than or equal to 1" in signed_in(manager).post(edit_of(device), sent).content.decode()
    with pytest.raises(BadValueError, match="own replacement level"):
        actions.edit_device(device, {"own_replacement_level": Decimal("1.2")}, by=BY)


def test_an_override_is_taken_back_by_emptying_it(manager: Person) -> None:
    """An empty field means the type's value again."""
    device = a_device(own_charging_hours=Decimal(14))
    signed_in(manager).post(edit_of(device), opened(manager, device) | {"own_charging_hours": ""})
    assert Device.objects.get(pk=device.pk).charging_hours == device.device_type.charging_hours


def test_who_saves_second_is_told(manager: Person, administrator: Person) -> None:
    """A form opened before somebody else's change saves nothing, shows what stands now and saves when sent again."""
    device = a_device()
    mine = opened(manager, device) | {"cost_centre": "MINE", "why": "budget"}
    signed_in(administrator).post(edit_of(device), opened(administrator, device) | {"cost_centre": "THEIRS"})
    answer = signed_in(manager).post(edit_of(device), mine)
    told = answer.content.decode()
    assert "changed by somebody else" in told
    assert "THEIRS" in told
    assert "MINE" in told
    assert Device.objects.get(pk=device.pk).cost_centre == "THEIRS"
    again = mine | {"opened": answer.context["form"]["opened"].value()}
    signed_in(manager).post(edit_of(device), again)
    assert Device.objects.get(pk=device.pk).cost_centre == "MINE"


def test_a_move_in_between_is_no_conflict(manager: Person) -> None:
    """A sighting while the form is open does not touch what the form changes, so it does not stand in the way."""
    device = a_device()
    mine = opened(manager, device) | {"cost_centre": "MINE"}
    actions.see(device, a_ward("Ward 5"), "network", by=BY)
    signed_in(manager).post(edit_of(device), mine)
    assert Device.objects.get(pk=device.pk).cost_centre == "MINE"


def test_the_trail_holds_the_reason(manager: Person) -> None:
    """The reason typed with a change stands in the trail with the old and the new value."""
    device = a_device()
    signed_in(manager).post(edit_of(device), opened(manager, device) | {"pool": "loan", "why": "lent to Ward 5"})
    entry = TrailEntry.objects.get(verb="changed device")
    assert (entry.before, entry.after, entry.why) == ({"pool": "clinical"}, {"pool": "loan"}, "lent to Ward 5")


@pytest.mark.parametrize("query", ["home=abc", "seen=x&marked=y", "sort=bogus", "page=zzz", "condition=lost", "type=0"])
def test_an_address_typed_wrong_still_shows_a_list(manager: Person, query: str) -> None:
    """A filter, order or page that does not exist is no failure."""
    device = a_device()
    assert shown(manager, query) == {device.asset_number}
