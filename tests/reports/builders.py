"""What the pages across the rooms are tried on."""

import csv
import io
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from django.test import Client

from fleet.accessories.actions import count
from fleet.accessories.models import Tally
from fleet.bench import actions
from fleet.bench.actions import drafts
from fleet.bench.actions.reference import add_profile, state_limit
from fleet.bench.models import ReferenceLimit
from fleet.core.lifecycle import WaitReason
from fleet.libraries import actions as libraries
from fleet.libraries.models import LibraryVersion
from fleet.people.models import Person
from fleet.registry.models import Accessory, Device, Place
from fleet.schedules.actions import open_dues, set_own_interval
from fleet.stores.actions import keep_at
from fleet.tags.models import Tag
from fleet.web import clock
from tests.alerts.builders import an_alert
from tests.batteries.builders import a_fitted_device, a_forecast, a_logged_test
from tests.bench.builders import CHECK, as_actor, fresh, received
from tests.builders import BY, a_bench, a_device, a_site, a_type, a_ward
from tests.contracts.builders import a_contract
from tests.libraries.builders import a_version, carried
from tests.loans.builders import a_loan
from tests.schedules.builders import a_plan
from tests.stores.builders import a_part
from tests.tags.builders import an_open_tag

TODAY = date(2026, 11, 25)
NOW = datetime(2026, 11, 25, 9, tzinfo=UTC)


def signed_in(person: Person) -> Client:
    """A browser in which somebody is signed in."""
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def words(person: Person, address: str, **query: object) -> str:
    """The text of a page as somebody sees it, with ordinary spaces."""
    answer = signed_in(person).get(address, query)
    assert answer.status_code == 200, address
    return plain(answer.content)


def plain(content: bytes) -> str:
    """A page's source with ordinary spaces."""
    return " ".join(content.decode().replace("\u00a0", " ").split())


def file_rows(person: Person, address: str, **query: object) -> list[dict[str, str]]:
    """The rows of a CSV file."""
    answer = signed_in(person).get(address, query)
    assert answer.status_code == 200
    return list(csv.DictReader(io.StringIO(b"".join(answer).decode("utf-8-sig"))))


def a_rich_device(home: Place | None = None, tests: int = 1, *, tagged: bool = True) -> Device:
    """A driver with a bit of everything: pack, tests, forecast, dues, an alert, a library, and an open tag."""
    device = a_fitted_device(home=home or a_ward())
    for number in range(tests):
        start = datetime(2026, 3, 2 + number, 8, 0, tzinfo=UTC)
        a_logged_test(device, started_at=start, stopped_at=start + timedelta(hours=5.6))
    a_forecast(device)
    open_dues(device, by=BY)
    an_alert(device)
    carried(device, LibraryVersion.objects.first() or a_version(), clock.now())
    if tagged:
        an_open_tag(device, words="It stopped and would not start again")
    return device


def a_fleet(technician: Person) -> dict[str, Device]:
    """One driver in each state that the overview counts, at Ward 4 of Mereford General."""
    with clock.at(NOW - timedelta(days=400)):
        a_plan()
        late = a_device(accepted_on=date(2025, 10, 1))
        open_dues(late, by=BY)
    with clock.at(NOW):
        version = a_version(released_on=date(2026, 10, 1))
        libraries.require(a_site(), version, TODAY, by=BY)
        soon = a_device(accepted_on=date(2025, 12, 10))
        open_dues(soon, by=BY)
        carried(soon, version, clock.now())
        bench = received(a_device(accepted_on=TODAY), technician, kind="corrective").device
        waiting = received(a_device(accepted_on=TODAY), technician, kind="corrective")
        set_aside(waiting.device, technician)
        tagged = a_device(accepted_on=TODAY)
        an_open_tag(tagged)
        harmed = a_device(accepted_on=TODAY)
        an_open_tag(harmed, harm="yes")
        weak = a_fitted_device(accepted_on=TODAY, on=TODAY)
        a_forecast(weak)
        low = a_fitted_device()
        a_forecast(low, already_below=True, fraction_today=0.7, crossing_on=TODAY)
        a_logged_test(low)
        an_alert(weak)
    return {
        "late": late, "soon": soon, "bench": bench, "waiting": waiting.device, "tagged": tagged, "harmed": harmed,
        "weak": weak, "low": low,
    }  # fmt: skip


def things_wanting(technician: Person) -> None:
    """One of each that waits for somebody and is no driver's state, at Mereford General."""
    with clock.at(NOW - timedelta(days=9)):
        a_loan(until=(NOW - timedelta(days=2)).date())
    with clock.at(NOW):
        device = a_device()
        lead = Accessory.objects.get(device_type=device.device_type, name="Power lead")
        count(device, {lead.pk: 0}, Tally.Occasion.LOOKED, by=BY)
        keep_at(a_part(), a_bench(), minimum=2, by=BY)
        a_contract(sites=[a_site()], ends_on=TODAY + timedelta(days=50))
        _an_interval_to_review()
        profile = add_profile("House limits", "house", by=BY)
        limit = ReferenceLimit(profile=profile, quantity="equipment", high=Decimal(100), unit="uA", source="house")
        state_limit(limit, by=BY)
        by = as_actor(technician)
        draft = drafts.begin_procedure("Our service", "planned", None, by=by)
        draft = drafts.state_source(draft, "Our own list", revision=draft.revision, by=by)
        draft = drafts.add_step(draft, CHECK, 0, revision=draft.revision, by=by)
        drafts.submit(draft, "Written anew", revision=draft.revision, by=by)


def _an_interval_to_review() -> None:
    """A driver with an interval of its own that was to be looked at again yesterday; its next service is far off."""
    kind = a_type("TW-60")
    with clock.at(NOW - timedelta(days=9)):
        a_plan(kind)
        device = a_device(device_type=kind, accepted_on=TODAY - timedelta(days=9))
        open_dues(device, by=BY)
        set_own_interval(device.dues.get(), 6, why="hard use", review_on=TODAY - timedelta(days=1), by=BY)


def set_aside(device: Device, technician: Person) -> None:
    """The driver's open order waits for parts."""
    order = fresh(device.orders.get())
    actions.set_aside(order, WaitReason.PARTS, by=as_actor(technician))


def the_tag(device: Device) -> Tag:
    """The open tag of a driver."""
    return Tag.objects.get(device=device, cleared_at=None)
