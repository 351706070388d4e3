"""The pages of deliveries: begun, scanned without JavaScript, taken in, found again."""

import pytest
from django.urls import reverse

from fleet.deliveries import actions
from fleet.deliveries.models import Delivery
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.web import clock
from tests.bench.builders import signed_in
from tests.builders import BY, a_store, a_type
from tests.deliveries.builders import a_delivery, a_supplier, a_udi

pytestmark = pytest.mark.django_db


def test_from_the_papers_to_the_labels(storekeeper: Person) -> None:
    """Begun with its papers, scanned, taken in with one press, and the labels of all drivers are on the next page."""
    client = signed_in(storekeeper)
    papers = {
        "device_type": a_type().pk,
        "place": a_store().pk,
        "supplier": a_supplier().pk,
        "purchase_order": "PO-9",
        "delivered_on": clock.today().isoformat(),
        "pool": "clinical",
    }
    answer = client.post(reverse("deliveries:new"), papers)
    delivery = Delivery.objects.get()
    assert answer["Location"] == reverse("deliveries:one", args=[delivery.pk])
    for code, word in (("SN-1", "Added"), ("SN-1", "Already here"), ("SN-2", "Added")):
        page = client.post(reverse("deliveries:scan", args=[delivery.pk]), {"code": code}).content.decode()
        assert word in page
    sheet = client.post(reverse("deliveries:finish", args=[delivery.pk]), follow=True).content.decode()
    for device in Device.objects.all():
        assert device.asset_number in sheet
    assert "Print 2 labels" in sheet


def test_an_unknown_identifier_is_asked_for_on_the_page(storekeeper: Person) -> None:
    """The page asks which type it is, and goes on once told."""
    client, delivery = signed_in(storekeeper), a_delivery()
    page = client.post(reverse("deliveries:scan", args=[delivery.pk]), {"code": a_udi("S1")}).content.decode()
    assert "Which type?" in page
    told = {"code": a_udi("S1"), "device_type": a_type().pk}
    page = client.post(reverse("deliveries:learn", args=[delivery.pk]), told).content.decode()
    assert "Added" in page
    assert delivery.lines.get().serial_number == "S1"


def test_a_scan_that_met_an_expired_sign_in_leads_back_to_the_list(storekeeper: Person) -> None:
    """After signing in again, the address of the scan shows the delivery with all that was scanned before."""
    delivery = a_delivery("SN-1")
    page = signed_in(storekeeper).get(reverse("deliveries:scan", args=[delivery.pk]), follow=True)
    assert "SN-1" in page.content.decode()


def test_a_refused_taking_in_says_the_row(storekeeper: Person) -> None:
    """The page names the row that stands against it, before and after the press."""
    delivery = a_delivery("SN-1", first_asset="MG-1")
    actions.finish(a_delivery("SN-9", first_asset="MG-1"), by=BY)
    client = signed_in(storekeeper)
    page = client.get(reverse("deliveries:one", args=[delivery.pk])).content.decode()
    assert "Row 1: Asset number MG-1 belongs to another driver" in page
    answer = client.post(reverse("deliveries:finish", args=[delivery.pk]), follow=True)
    assert "Nothing was taken in" in answer.content.decode()


@pytest.mark.parametrize(("words", "found"), [("PO-4711", True), ("sn-1", True), ("Bellwick", True), ("PO-X", False)])
def test_a_record_is_found(storekeeper: Person, words: str, found: bool) -> None:  # noqa: FBT001 - a column of the table
    """By purchase order, serial number and supplier."""
    delivery = a_delivery("SN-1")
    actions.finish(delivery, by=BY)
    page = signed_in(storekeeper).get(reverse("deliveries:deliveries"), {"q": words}).content.decode()
    assert (f">{delivery}<" in page) is found


def test_taking_out_and_dropping(storekeeper: Person) -> None:
    """Undo takes the scan out; a dropped delivery says why and stays a record."""
    client, delivery = signed_in(storekeeper), a_delivery("SN-1")
    line = delivery.lines.get()
    client.post(reverse("deliveries:take_out", args=[delivery.pk, line.pk]))
    assert delivery.lines.get().undone_at
    client.post(reverse("deliveries:drop", args=[delivery.pk]), {"why": "Sent back to the supplier"})
    page = client.get(reverse("deliveries:one", args=[delivery.pk])).content.decode()
    assert "Sent back to the supplier" in page


def test_only_those_who_hand_over_see_it(ward_nurse: Person) -> None:
    """A ward has nothing to do here."""
    assert signed_in(ward_nurse).get(reverse("deliveries:deliveries")).status_code == 403
