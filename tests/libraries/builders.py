"""Libraries for tests."""

from datetime import date, datetime

from fleet.libraries import actions
from fleet.libraries.models import Carried, Library, LibraryVersion
from fleet.registry.models import Device
from tests.builders import BY


def a_version(number: str = "5", released_on: date = date(2027, 1, 10), name: str = "Adult wards") -> LibraryVersion:
    """A version of a library, which is added where it isn't there yet."""
    library = Library.objects.filter(name=name).first()
    library = library or actions.add_library(name, name.lower().replace(" ", "-"), by=BY)
    return actions.release(library, number, released_on, by=BY)


def carried(device: Device, version: LibraryVersion, at: datetime) -> Carried:
    """The driver was seen with the version."""
    return actions.carries(device, version, seen_at=at, source="scan", by=BY)
