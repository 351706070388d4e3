"""The label on a driver: what its code says, who may print it, how it stops working."""

from http import HTTPStatus
from urllib.parse import unquote

import pytest
import segno
from django.conf import settings
from django.urls import reverse

from fleet.people.models import Person
from fleet.registry.labels import label_address, label_of
from fleet.registry.models import Device
from fleet.registry.queries import by_code, device_of_token, label_token
from tests.builders import a_device
from tests.pages import page, signed_in, status

pytestmark = pytest.mark.django_db


def label_page(device: Device) -> str:
    return reverse("registry:label", args=[device.asset_number])


def test_the_code_holds_the_ward_page_s_address() -> None:
    """The printed code is the QR code of the address of the ward's page, at the address people use, with this token."""
    device = a_device()
    address = f"{settings.ORIGIN}/r/{label_token(device)}/"
    assert label_address(device) == address
    expected = segno.make_qr(address, error="m").svg_data_uri(border=4, omitsize=True)
    assert label_of(device).image == expected


def test_the_code_s_address_finds_the_driver() -> None:
    """Scanned into a search box, the label's address names its driver; a forged one names none."""
    device = a_device()
    assert by_code(label_address(device)) == device
    assert by_code(label_address(device)[:-2] + "x/") is None
    assert by_code("https://elsewhere.example/") is None


def test_the_label_can_be_read_without_a_scanner(technician: Person) -> None:
    """Asset and serial number stand in words beside the code."""
    device = a_device(asset_number="A77", serial_number="SN-77")
    shown = page(technician, label_page(device))
    assert "A77" in shown
    assert "SN-77" in shown
    assert "data:image/svg+xml" in unquote(shown)


def test_a_sheet_holds_those_that_were_ticked(technician: Person) -> None:
    """Only ticked drivers stand on the sheet, and none that the person does not see."""
    for number in ("A1", "A2", "A3"):
        a_device(asset_number=number)
    answer = signed_in(technician).get(reverse("registry:labels"), {"asset": ["A1", "A3", "NOPE"]})
    assert [label.asset_number for label in answer.context["labels"]] == ["A1", "A3"]


def test_a_sheet_of_the_list_as_narrowed(technician: Person, outsider: Person) -> None:
    """Without a tick the sheet holds what the list was narrowed to, within one's places."""
    a_device(asset_number="A1", pool="training")
    a_device(asset_number="A2")
    sheet = f"{reverse('registry:labels')}?pool=training"
    assert [label.asset_number for label in signed_in(technician).get(sheet).context["labels"]] == ["A1"]
    assert "No driver fits this." in page(outsider, sheet)


def test_ward_staff_print_no_labels(ward_nurse: Person) -> None:
    """A label opens a page without an account, so only the bench and the register's keepers print it."""
    assert status(ward_nurse, label_page(a_device())) == HTTPStatus.FORBIDDEN


def test_a_renewed_label_ends_the_old_ones(manager: Person, technician: Person) -> None:
    """After renewing, the old token opens nothing and the page prints the new one; a technician may not renew."""
    device = a_device()
    old, renew = label_token(device), reverse("registry:label_renew", args=[device.asset_number])
    assert signed_in(technician).post(renew).status_code == HTTPStatus.FORBIDDEN
    assert device_of_token(old) == device
    signed_in(manager).post(renew)
    assert device_of_token(old) is None
    assert label_address(Device.objects.get(pk=device.pk)) in page(manager, label_page(device))
