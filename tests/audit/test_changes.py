"""Changing named fields of a row: what is saved and told, and what is not even read."""

import pytest
from pytest_django import DjangoAssertNumQueries

from fleet.audit.changes import change
from fleet.registry.models import Device, Place
from tests.builders import a_device, a_ward

pytestmark = pytest.mark.django_db


def test_what_a_row_points_to_already_is_not_read(django_assert_num_queries: DjangoAssertNumQueries) -> None:
    """A field set to the row that it points to is no change and costs no statement."""
    device = Device.objects.get(pk=a_device().pk)
    home = Place.objects.get(pk=device.home_id)
    with django_assert_num_queries(0):
        assert change(device, home=home) == ({}, {})


def test_a_field_that_points_elsewhere_tells_both_rows() -> None:
    """Before and after name the two rows, and the new one is saved."""
    device = Device.objects.get(pk=a_device().pk)
    old, new = Place.objects.get(pk=device.home_id), a_ward("Ward 9")
    assert change(device, home=new) == ({"home": old}, {"home": new})
    assert Device.objects.get(pk=device.pk).home_id == new.pk
