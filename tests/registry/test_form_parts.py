"""Long forms: their fields stand under headings, and what may be left empty says what that means."""

import pytest
from django.test import Client

from fleet.notices.forms import EditionForm
from fleet.notices.models import Edition
from fleet.people.models import Person
from fleet.registry.forms import ActionForm, DeviceForm, NewDeviceForm, NewTypeForm, TypeForm
from fleet.registry.models import Device, DeviceType
from fleet.stores.forms import InstrumentForm
from fleet.stores.models import Instrument
from tests.reports.builders import signed_in

pytestmark = pytest.mark.django_db


def forms(person: Person) -> list[ActionForm]:
    return [
        DeviceForm(person=person, instance=Device(pk=1, device_type=DeviceType())),
        NewDeviceForm(person=person),
        TypeForm(instance=DeviceType(pk=1)),
        NewTypeForm(),
        InstrumentForm(person=person, instance=Instrument(pk=1)),
        EditionForm(instance=Edition(pk=1)),
    ]


def test_each_field_of_a_long_form_stands_once_under_its_headings(manager: Person) -> None:
    """No field is lost or shown twice, no heading stands over nothing, and each heading's field exists in some form."""
    unused = {(type(form).headings[name], name) for form in forms(manager) for name in type(form).headings}
    for form in forms(manager):
        shown = [field.name for _heading, fields in form.parts for field in fields]
        assert shown == list(form.fields)
        assert all(fields for _heading, fields in form.parts[1:])
        unused -= {(heading, fields[0].name) for heading, fields in form.parts[1:]}
    assert not unused


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("/bench/reference-limits/new/", "Any"),
        ("/registry/types/new/", "Not known"),
        ("/schedules/plans/new/", "Choose"),
    ],
)
def test_no_choice_begins_with_a_row_of_dashes(administrator: Person, address: str, words: str) -> None:
    """An empty choice is a word: what it means to leave it, or that one is to be chosen."""
    client: Client = signed_in(administrator)
    page = client.get(address).content.decode()
    assert "---" not in page
    assert f'<option value="" selected>{words}</option>' in page
