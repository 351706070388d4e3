"""The list of scanned drivers, opened from one driver's page."""

from django.test import Client
from django.urls import reverse

from fleet.people.models import Person
from tests.builders import a_device


def test_from_a_drivers_page_the_version_is_asked_for(technician: Person) -> None:
    """The driver stands in the list, the version has the focus, and no unsent list of other drivers is put back."""
    client = Client()
    client.force_login(technician, backend="django.contrib.auth.backends.ModelBackend")
    asset = a_device().asset_number
    page = client.get(reverse("libraries:scan"), {"codes": asset}).content.decode()
    assert f'data-keep-draft="library-scan {asset}"' in page
    assert "autofocus" not in page
    assert "data-focus" in page
