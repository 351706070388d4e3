"""Makers, suppliers and service providers on their pages."""

import pytest
from django.urls import reverse

from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError
from fleet.people.models import Person
from fleet.registry import actions
from fleet.registry.models import Party
from tests.builders import BY, a_device, a_maker
from tests.pages import page, signed_in

pytestmark = pytest.mark.django_db

NEW = reverse("registry:party_new")
TYPED = {"name": "Corran Medical Supply", "supplies": "on", "contact": "Order desk", "phone": "ext. 4200"}


def address(row: Party) -> str:
    return reverse("registry:party", args=[row.pk])


def test_a_supplier_is_added_and_given_to_a_driver(manager: Person, technician: Person) -> None:
    """A manager adds it with its contact; it can then be chosen as a driver's supplier; a technician only reads."""
    assert signed_in(technician).post(NEW, TYPED).status_code == 403
    assert "is added" in signed_in(manager).post(NEW, TYPED, follow=True).content.decode()
    row = Party.objects.get(name="Corran Medical Supply")
    assert (row.code, row.supplies, row.makes) == ("corran-medical", True, False)
    told = page(technician, address(row))
    assert "ext. 4200" in told
    assert "<form id=" not in told.split("<main")[1]
    edit = reverse("registry:device_edit", args=[a_device().asset_number])
    assert "Corran Medical Supply</option>" in page(manager, edit)


def test_a_name_or_code_that_is_taken_is_refused(manager: Person) -> None:
    """Each company stands once, whatever the capitals; nothing typed is lost."""
    maker = a_maker()
    html = signed_in(manager).post(NEW, {**TYPED, "name": maker.name.upper()}).content.decode()
    assert f"already a party named “{maker.name}”" in html
    assert "Order desk" in html
    with pytest.raises(BadValueError) as refused:
        actions.add_party("Another", maker.code, by=BY)
    assert refused.value.field == "code"
    assert Party.objects.count() == 1


def test_what_is_kept_is_changed_and_not_overwritten(manager: Person) -> None:
    """The trail tells from what to what; a form opened before somebody else's change is refused once."""
    row = a_maker()
    client = signed_in(manager)
    form = client.get(address(row)).context["form"]
    typed = {**{name: form[name].value() or "" for name in form.fields}, "phone": "ext. 1"}
    actions.edit_party(row, {"email": "desk@tarnwick.example"}, by=BY)
    assert "changed by somebody else" in client.post(address(row), typed).content.decode()
    typed |= {"opened": client.get(address(row)).context["form"]["opened"].value(), "email": "desk@tarnwick.example"}
    client.post(address(row), typed)
    assert Party.objects.get().phone == "ext. 1"
    entry = TrailEntry.objects.filter(verb="changed party").first()
    assert entry is not None
    assert (entry.before, entry.after) == ({"phone": ""}, {"phone": "ext. 1"})


def test_a_wrong_address_is_refused_beside_its_field(manager: Person) -> None:
    """What is no e-mail address is not kept."""
    row = a_maker()
    with pytest.raises(BadValueError) as refused:
        actions.edit_party(row, {"email": "desk"}, by=BY)
    assert refused.value.field == "email"
