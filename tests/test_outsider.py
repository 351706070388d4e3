"""Nobody sees anything of other people's places: every address of the house is tried by somebody from elsewhere.

The stranger holds every duty, so that only their places stand between them and this site's drivers.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

import pytest
from django.http import HttpResponseBase
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from fleet.accessories.actions import count
from fleet.accessories.models import Missing, Tally
from fleet.bench.actions import assign, retire
from fleet.bench.actions.flow import record_flow_test, record_occlusion_test
from fleet.bench.models import FlowTest, OcclusionTest, ReadingFile, Retirement
from fleet.contracts.models import Contract
from fleet.deliveries.models import Delivery
from fleet.documents.models import Document
from fleet.exchange.kinds import KINDS
from fleet.exchange.models import Intake
from fleet.loans.models import Loan
from fleet.notices.models import Notice
from fleet.people.actions import note_absence
from fleet.people.models import Person
from fleet.people.roles import Role
from fleet.registry.models import Accessory, Device, Place
from fleet.rounds.models import Round
from fleet.schedules.actions import close_days
from fleet.schedules.models import Levelling
from fleet.stores.actions import keep_at, mark_ordered
from fleet.stores.models import Calibration, Stock
from fleet.tags.actions import open_quarantine
from fleet.tags.models import Tag
from fleet.web import clock
from tests.bench.builders import attach, received
from tests.bench.test_flow import CLOSED, GOOD
from tests.builders import BY, a_bench, a_device, a_person, a_site, a_ward
from tests.contracts.builders import a_contract
from tests.deliveries.builders import a_delivery
from tests.documents.builders import a_document
from tests.exchange.builders import sent
from tests.loans.builders import a_loan, a_pool_driver
from tests.notices.builders import a_notice
from tests.reports.builders import a_rich_device, signed_in
from tests.rounds.builders import a_round
from tests.schedules.builders import a_plan, a_proposal
from tests.staff.builders import a_training
from tests.stores.builders import a_part, an_instrument, found_out, in_stock

pytestmark = pytest.mark.django_db

#: Addresses that name nothing of any place, and why everybody with the duty may read them.
SHARED = {
    "people:person": "whoever keeps people keeps all of them",
    "people:person_password": "the same",
    "people:person_factor": "the same",
    "reports:drivers": "the name of a list; its rows are tried below",
    "tags:label": "the signed link on the driver itself is the key",
    "tags:label_sent": "the same",
    "tags:label_found": "the same",
    "tags:label_slip": "the same",
    "bench:kit": "a kit belongs to a procedure, which all sites share",
    "bench:procedure": "procedures belong to types, which all sites share",
    "bench:procedure_sheet": "the same",
    "bench:procedure_file": "the same",
    "bench:draft_begin": "the same",
    "bench:draft": "the same",
    "bench:draft_act": "the same",
    "bench:draft_step_new": "the same",
    "bench:draft_step": "the same",
    "bench:draft_step_act": "the same",
    "bench:delivery_limit": "limits of delivery belong to types, which all sites share",
    "bench:reference_limit": "reference limits belong to profiles, which all sites share",
    "bench:retirement_method_act": "ways to dispose and wipe are shared",
    "registry:type": "types are shared",
    "accessories:describe": "what belongs to a type is shared",
    "registry:party": "companies are shared",
    "registry:type_edit": "the same",
    "stores:part": "parts are shared; where they lie is bound by the reader's places",
    "stores:edit_part": "the same",
    "stores:part_act": "the same",
    "jobs:run": "jobs count over all places and name no driver",
    "jobs:progress": "the same",
    "jobs:put_back": "the same",
    "documents:beside": "what it stands beside is tried below, and shared things are seen by all",
    "schedules:plan": "plans belong to types",
    "schedules:type_risk": "the same for risk scores",
    "schedules:risk_class": "the classes of the risk score are shared",
    "libraries:library": "libraries are shared",
    "libraries:release": "the same",
    "libraries:require": "the same; where it is required is bound by the reader's places",
    "libraries:withdraw": "the same",
    "notices:one": "notices belong to types, which all sites share; their drivers are bound by the reader's places",
    **dict.fromkeys(
        (
            "notices:csv",
            "notices:sheet",
            "notices:draft",
            "notices:facts",
            "notices:open",
            "notices:correct",
            "notices:close",
            "notices:act",
            "notices:drop",
            "notices:file",
        ),
        "the same",
    ),
    "batteries:limit": "limits belong to pools and kinds of ward, which all sites share",
    "batteries:life": "chemistries are shared",
    "batteries:supply": "packs are bought for all sites together",
    "batteries:order": "the same",
    "batteries:call_off": "the same",
    "exchange:columns": "the name of a kind of file",
    "exchange:template": "the same",
    "exchange:export": "the same; its rows are tried below",
}


@dataclass(frozen=True)
class Site:
    """One driver of Mereford General with everything that hangs on it, and another in work."""

    device: Device
    worked_on: Device
    ward: Place
    tag: Tag
    intake: Intake
    round: Round
    own: Person
    calibration: Calibration
    stock: Stock
    flow_test: FlowTest
    occlusion_test: OcclusionTest
    delivery: Delivery

    def arguments(self, name: str) -> dict[str, object]:
        """What the address of that name takes, for an object of this site."""
        order, step = self.worked_on.orders.get(), {"position": 1}
        asset, number = {"asset": self.device.asset_number}, {"number": order.number}
        pack = {"number": self.device.fittings.get().pack.number}
        quarantine, due = {"pk": self.worked_on.quarantines.get().pk}, {"pk": self.device.dues.get().pk}
        return {
            "tags:quarantine": quarantine,
            "tags:custody": quarantine,
            "tags:incident": quarantine,
            "tags:aware": quarantine,
            "tags:lift": quarantine,
            "tags:tag": {"number": self.tag.number},
            "tags:sent": {"number": self.tag.number},
            "tags:slip": {"number": self.tag.number},
            "bench:order": number,
            "bench:device_loan_checks": asset,
            "bench:answer": {**number, **step},
            "bench:work": number,
            "bench:together": number,
            "bench:scan": number,
            "bench:sign": number,
            "bench:finish": number,
            "bench:sheet": number,
            "bench:act": {**number, "verb": "take"},
            "bench:attached": {**number, "pk": ReadingFile.objects.get().pk},
            "bench:flow": number,
            "bench:occlusion": number,
            "bench:flow_test": {"pk": self.flow_test.pk},
            "bench:flow_log": {"pk": self.flow_test.pk},
            "bench:void_occlusion": {"pk": self.occlusion_test.pk},
            "bench:limit_policy": {"pk": self.ward.pk},
            "people:withdraw_absence": {"pk": self.own.absences.get().pk},
            "staff:person": {"pk": self.own.pk},
            "staff:withdraw": {"pk": self.own.trainings.get().pk},
            "staff:policy": {"pk": self.ward.pk},
            "bench:undo_handover": {**number, "pk": order.handovers.get().pk},
            "registry:place": {"pk": self.ward.pk},
            "registry:place_close": {"pk": self.ward.pk},
            "schedules:place_days": {"pk": self.ward.pk},
            "schedules:open_days": {"pk": self.ward.closed_days.get().pk},
            "schedules:one": due,
            "schedules:defer": due,
            "schedules:attempt": due,
            "schedules:interval": due,
            **{each: {"pk": Levelling.objects.get().pk} for each in OF_A_LEVELLING},
            "batteries:test": {"pk": self.device.runtime_tests.get().pk},
            "batteries:pack": pack,
            "batteries:act": {**pack, "verb": "remove"},
            **{each: {"pk": self.round.pk} for each in OF_A_ROUND},
            "rounds:stop": {"pk": self.round.pk, **asset},
            "rounds:undo": {"pk": self.round.pk, **asset},
            **{each: {"pk": self.calibration.instrument_id} for each in OF_AN_INSTRUMENT},
            "stores:stock_act": {"pk": self.stock.pk, "verb": "move"},
            "stores:call_off": {"pk": self.stock.shelf.part.purchases.get().pk},
            "stores:void": {"pk": self.calibration.pk},
            "bench:trace": {"pk": self.calibration.pk},
            **{each: {"pk": self.delivery.pk} for each in OF_A_DELIVERY},
            "bench:loan_checks": {"pk": Loan.objects.get().pk},
            **{each: {"pk": Loan.objects.get().pk} for each in OF_A_LOAN},
            "bench:retirement": {"pk": Retirement.objects.get().pk},
            "bench:retirement_back": {"pk": Retirement.objects.get().pk},
            "accessories:one": {"pk": Missing.objects.get().pk},
            "notices:driver": {"number": Notice.objects.get().number, **asset},
            "deliveries:take_out": {"pk": self.delivery.pk, "line": self.delivery.lines.get().pk},
            **{each: {"pk": Document.objects.get().pk} for each in OF_A_DOCUMENT},
            "documents:beside_order": number,
            **{each: {"pk": Contract.objects.get().pk} for each in OF_A_CONTRACT},
            "alerts:one": {"pk": self.device.alerts.get().pk},
            **{each: {"pk": self.intake.pk} for each in OF_AN_INTAKE},
            **dict.fromkeys(OF_A_DRIVER, asset),
        }[name]

    @property
    def identifiers(self) -> set[str]:
        """What no page of the stranger's may hold."""
        found = {self.calibration.instrument.number, self.calibration.certificate}
        found |= {
            "SN-FAR-01",
            "LOAN-FAR-01",
            "GONE-FAR-01",
            "BATCH-FAR-01",
            "PO-FAR-01",
            "BIN-FAR-01",
            "DOC-FAR-01",
            "CON-FAR-01",
            self.tag.number,
            self.tag.written,
            self.device.fittings.get().pack.number,
        }
        found |= {self.tag.number, self.tag.written, self.device.fittings.get().pack.number}
        for device in (self.device, self.worked_on):
            found |= {device.asset_number, device.serial_number, *device.orders.values_list("number", flat=True)}
        return found


def named(resolver: URLResolver, space: str = "") -> Iterator[tuple[str, URLPattern]]:
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            yield from named(entry, f"{entry.namespace}:" if entry.namespace else "")
        else:
            yield f"{space}{entry.name}", entry


ADDRESSES = dict(named(get_resolver()))
WITH_ARGUMENTS = {name for name, entry in ADDRESSES.items() if entry.pattern.converters}
OF_A_DRIVER = {name for name in WITH_ARGUMENTS if set(ADDRESSES[name].pattern.converters) == {"asset"}}
OF_A_ROUND = {name for name in WITH_ARGUMENTS if name.startswith("rounds:")} - {"rounds:stop", "rounds:undo"}
OF_AN_INSTRUMENT = ("stores:instrument", "stores:edit", "stores:calibrate", "stores:withdraw")
OF_A_DELIVERY = {name for name in WITH_ARGUMENTS if name.startswith("deliveries:")} - {"deliveries:take_out"}
OF_A_LOAN = {name for name in WITH_ARGUMENTS if name.startswith("loans:")}
OF_AN_INTAKE = {name for name in WITH_ARGUMENTS if name.startswith("exchange:")} - set(SHARED)

OF_A_DOCUMENT = {name for name in WITH_ARGUMENTS if name.startswith("documents:")} - {
    "documents:beside",
    "documents:beside_order",
}
OF_A_CONTRACT = {name for name in WITH_ARGUMENTS if name.startswith("contracts:")}
OF_A_LEVELLING = {name for name in WITH_ARGUMENTS if "levelling/" in str(ADDRESSES[name].pattern)}


@pytest.fixture(scope="module")
def site(standing: None) -> Site:
    """Mereford General, with an object for every address; built once, and undone after each test to what it was."""
    ward, own = a_ward(), a_person(Role.ADMINISTRATOR, "Ida Penhallow", (a_site(),))
    technician = a_person(Role.TECHNICIAN, "Tova Lindqvarn", (a_site(),))
    a_plan()
    device, worked_on = a_rich_device(ward), a_device(ward)
    order = received(worked_on, technician, kind="corrective")
    attach(order, b"picture")
    a_training(own)
    assign(order, None, by=BY)
    delivered = record_flow_test(order, GOOD, by=BY), record_occlusion_test(order, CLOSED, by=BY)
    open_quarantine(worked_on, reason="A pump ran on after its end", by=BY)
    a_proposal(a_site())
    close_days(ward, date(2099, 1, 5), date(2099, 1, 6), "Floor is laid", by=BY)
    note_absence(own, date(2099, 1, 5), date(2099, 1, 6), by=BY)
    intake = sent("alerts", [{"asset_number": device.asset_number}], own)
    calibration = found_out(an_instrument(number="BAL-FAR-01"), certificate="CERT-FAR-01")
    tag, delivery = device.tags.get(), a_delivery("SN-FAR-01", place=ward)
    a_loan(a_pool_driver(asset_number="LOAN-FAR-01"), to=ward)
    a_notice(device.device_type)
    retire(a_device(ward, asset_number="GONE-FAR-01"), why="worn out", by=BY)
    lead = Accessory.objects.get(device_type=device.device_type)
    count(device, {lead.pk: 0}, Tally.Occasion.LOOKED, by=BY)
    stock = in_stock(a_part(keeps_batch=True), 1, batch="BATCH-FAR-01")
    mark_ordered(stock.shelf.part, a_bench(), 5, clock.today(), by=BY, reference="PO-FAR-01")
    keep_at(stock.shelf.part, a_bench(), bin_="BIN-FAR-01", by=BY)
    a_document("DOC-FAR-01", device=device)
    a_contract("CON-FAR-01", sites=[a_site()])
    return Site(device, worked_on, ward, tag, intake, a_round(ward), own, calibration, stock, *delivered, delivery)


@pytest.fixture
def stranger() -> Client:
    """Somebody of Corran Vale with every duty there is."""
    return signed_in(a_person(Role.ADMINISTRATOR, "Odo Strand", (a_site("Corran Vale"),)))


def asked(client: Client, address: str) -> HttpResponseBase:
    """The answer to the address, by the method it takes."""
    answer = client.get(address)
    return client.post(address) if answer.status_code == 405 else answer


def told_of(site: Site, answer: HttpResponseBase) -> set[str]:
    """The numbers of the site that an answer holds."""
    shown = b"".join(answer.streaming_content) if answer.streaming else answer.content
    return {number for number in site.identifiers if number.encode() in shown}


@pytest.mark.parametrize("name", sorted(WITH_ARGUMENTS - set(SHARED)))
def test_what_belongs_elsewhere_does_not_exist(name: str, site: Site, stranger: Client) -> None:
    """An address of this site's object is 404 to somebody of another, and is there for this site's own people."""
    address = reverse(name, kwargs=site.arguments(name))
    assert asked(stranger, address).status_code == 404
    assert asked(signed_in(site.own), address).status_code != 404


@pytest.mark.parametrize("name", sorted(set(ADDRESSES) - WITH_ARGUMENTS))
def test_no_list_names_what_belongs_elsewhere(name: str, site: Site, stranger: Client) -> None:
    """No page and no file that the stranger can open holds a number of this site's drivers, tags, orders or packs."""
    answer = stranger.get(reverse(name), follow=True)
    assert answer.status_code in {200, 405}, name
    assert told_of(site, answer) == set()


@pytest.mark.parametrize("kind", KINDS)
def test_no_export_names_what_belongs_elsewhere(kind: str, site: Site, stranger: Client) -> None:
    """The files of records that can be taken out hold the stranger's places only."""
    assert told_of(site, stranger.get(reverse("exchange:export", args=[kind]))) == set()
    assert told_of(site, signed_in(site.own).get(reverse("exchange:export", args=["devices"])))


@pytest.mark.parametrize(
    "name", ["registry:devices", "registry:devices_csv", "tags:ours", "bench:queue", "reports:trail"]
)
def test_the_sites_own_people_are_told(name: str, site: Site) -> None:
    """The same lists do name this site's drivers to its own people, so that the tests above can fail."""
    assert told_of(site, signed_in(site.own).get(reverse(name)))


def test_each_shared_address_is_still_there() -> None:
    """The list of what all sites share names no address that is gone."""
    assert set(SHARED) <= WITH_ARGUMENTS
