"""For how long records are kept at least: a rule with who decided it, and a list from which nothing is deleted."""

from datetime import date

import pytest

from fleet.audit.models import TrailEntry
from fleet.bench.actions import retire, state_retention
from fleet.bench.models import RetentionRule
from fleet.core.errors import BadValueError, NotAllowedError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from tests.builders import BY, a_device
from tests.pages import page, signed_in

pytestmark = pytest.mark.django_db

PAGE = "/bench/retirements/retention/"
SENT = {"years": 10, "decided_by": "Records committee", "decided_on": "2026-05-01", "source": "Policy R-4, 2026"}


def test_the_rule_says_who_decided_it_and_the_trail_keeps_the_one_before(manager: Person, technician: Person) -> None:
    """A manager states it; everybody who sees the fleet reads it."""
    assert "Nobody has stated a rule yet." in page(technician, PAGE)
    signed_in(manager).post(PAGE, SENT)
    signed_in(manager).post(PAGE, {**SENT, "years": 12})
    assert RetentionRule.objects.get().years == 12
    entry = TrailEntry.objects.filter(verb="stated retention of records").order_by("pk").last()
    assert entry is not None
    assert (entry.before["years"], entry.after["years"]) == (10, 12)
    assert "Records committee" in page(technician, PAGE)
    assert signed_in(technician).post(PAGE, SENT).status_code == 403
    with pytest.raises(NotAllowedError):
        state_retention(1, "me", date(2026, 1, 1), "mine", by=actor_for(technician))


def test_records_past_their_time_are_told_and_stay(manager: Person) -> None:
    """Ten years to the day is past, a day less is not; there is no way to delete either."""
    old, young = a_device(), a_device()
    for device in (old, young):
        retire(device, why="worn", by=BY)
    Device.objects.filter(pk=old.pk).update(retired_on=date(2010, 1, 1))
    signed_in(manager).post(PAGE, SENT)
    shown = page(manager, PAGE)
    assert old.asset_number in shown
    assert young.asset_number not in shown
    assert "Delete" not in shown


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ((0, "us", date(2026, 1, 1), "policy"), "years"),
        ((5, " ", date(2026, 1, 1), "policy"), "decided_by"),
        ((5, "us", date(2999, 1, 1), "policy"), "decided_on"),
        ((5, "us", date(2026, 1, 1), ""), "source"),
    ],
)
def test_a_rule_is_stated_whole(facts: tuple[int, str, date, str], field: str) -> None:
    """Years, who, when and by which policy."""
    with pytest.raises(BadValueError) as refused:
        state_retention(*facts, by=BY)
    assert refused.value.field == field
