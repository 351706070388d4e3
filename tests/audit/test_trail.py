"""The trail: rows are added, and neither changed nor removed."""

from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction

from fleet.audit.actions import Happening, record
from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError
from fleet.registry.actions import add_place
from fleet.registry.models import Place
from fleet.web import clock
from tests.builders import BY, a_device, a_site

pytestmark = pytest.mark.django_db


def test_a_row_of_the_trail_can_not_be_changed() -> None:
    """An update of the trail fails in the database, whoever sends it."""
    a_site()
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        TrailEntry.objects.update(actor="somebody else")


def test_a_row_of_the_trail_can_not_be_deleted() -> None:
    """A delete of the trail fails in the database, by raw SQL as well."""
    a_site()
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM fleet_trailentry")


def test_a_late_entry_says_so() -> None:
    """What was done yesterday and entered today is marked as late, and both times are kept."""
    device = a_device()
    yesterday = clock.now() - timedelta(days=1)
    late = record(Happening("checked", device, device_id=device.pk, done_at=yesterday), by=BY)
    prompt = record(Happening("checked", device, device_id=device.pk), by=BY)
    assert (late.late, late.done_at, prompt.late) == (True, yesterday, False)


def test_an_act_that_fails_leaves_no_trail() -> None:
    """The trail row stands or falls with the act it tells of."""
    before = TrailEntry.objects.count()

    with pytest.raises(BadValueError), transaction.atomic():
        _two_sites_of_one_code()
    assert TrailEntry.objects.count() == before


def _two_sites_of_one_code() -> None:
    add_place(Place.Kind.SITE, "Aldhollow House", "ah", by=BY)
    add_place(Place.Kind.SITE, "Aldhollow Annexe", "ah", by=BY)
