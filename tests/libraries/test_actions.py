"""Libraries: releases, requirements, what drivers carry, daily counts."""

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError, ConflictError, NotAllowedError
from fleet.libraries import actions, queries
from fleet.libraries.models import Carried, CoverageSnapshot, Requirement
from fleet.libraries.queries import State
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from tests.builders import BY, a_device, a_site, a_ward
from tests.libraries.builders import a_version, carried
from tests.schedules.builders import on

pytestmark = pytest.mark.django_db

TODAY = date(2027, 6, 9)
SEEN = datetime(2027, 6, 1, 8, tzinfo=UTC)


def state(device: Device, day: date = TODAY) -> State:
    return queries.standing([device], day)[device.pk].state


def test_a_place_inherits_from_the_nearest_above() -> None:
    """A ward without a requirement of its own takes its site's; its own one wins over the site's."""
    old, new = a_version("4"), a_version("5", date(2027, 2, 1))
    ward, other = a_ward(), a_ward("Ward 9")
    actions.require(a_site(), new, date(2027, 3, 1), by=BY)
    actions.require(ward, old, date(2027, 1, 15), by=BY)
    required = queries.Required(TODAY)
    assert (required.at(ward), required.at(other), required.at(a_ward(site=a_site("Corran Vale")))) == (old, new, None)


def test_the_newest_requirement_in_force_counts() -> None:
    """Tomorrow's requirement does not hold today; of those in force the one that began last counts."""
    old, new = a_version("4"), a_version("5", date(2027, 2, 1))
    site = a_site()
    actions.require(site, new, TODAY + timedelta(days=1), by=BY)
    actions.require(site, old, date(2027, 1, 15), by=BY)
    assert queries.Required(TODAY).at(site) == old
    assert queries.Required(TODAY + timedelta(days=1)).at(site) == new


def test_a_requirement_that_another_has_replaced_is_not_said_to_hold() -> None:
    """Asked for again for the same day, the first is refused in words instead of silently doing nothing."""
    old, new, site = a_version("4"), a_version("5", date(2027, 2, 1)), a_site()
    actions.require(site, old, date(2027, 3, 1), by=BY)
    actions.require(site, new, date(2027, 3, 1), by=BY)
    with pytest.raises(BadValueError, match="Give a later day"):
        actions.require(site, old, date(2027, 3, 1), by=BY)
    assert actions.require(site, new, date(2027, 3, 1), by=BY).version == new
    assert queries.Required(TODAY).at(site) == new


def test_states_of_a_driver() -> None:
    """Never seen, behind, current, then not seen for more than thirty days: each in its turn."""
    old, new = a_version("4"), a_version("5", date(2027, 2, 1))
    device = a_device()
    assert state(device) is State.FREE
    actions.require(a_site(), new, date(2027, 3, 1), by=BY)
    with on(TODAY):
        assert state(device) is State.UNKNOWN
        carried(device, old, SEEN)
        assert state(device) is State.BEHIND
        carried(device, new, SEEN + timedelta(hours=1))
        assert state(device) is State.CURRENT
    assert state(device, date(2027, 7, 1)) is State.CURRENT  # seen on the thirtieth day before
    assert state(device, date(2027, 7, 2)) is State.NOT_SEEN


def test_a_newer_version_is_not_behind() -> None:
    """A driver that already carries the next release is current; one with another library is behind."""
    required, newer, other = a_version("4"), a_version("5", date(2027, 2, 1)), a_version("9", name="Paediatrics")
    actions.require(a_site(), required, date(2027, 1, 15), by=BY)
    ahead, astray = a_device(), a_device()
    with on(TODAY):
        carried(ahead, newer, SEEN)
        carried(astray, other, SEEN)
    assert (state(ahead), state(astray)) == (State.CURRENT, State.BEHIND)


def test_a_withdrawn_version_is_behind_and_flagged() -> None:
    """A driver that carries a withdrawn version is never called current, even where it is still required."""
    version, device = a_version(), a_device()
    actions.require(a_site(), version, date(2027, 1, 15), by=BY)
    with on(TODAY):
        carried(device, version, SEEN)
        actions.withdraw(version, on=TODAY, why="Wrong limit for one drug.", by=BY)
    found = queries.standing([device], TODAY)[device.pk]
    assert (found.state, found.withdrawn) == (State.BEHIND, True)
    with pytest.raises(BadValueError, match="was withdrawn"):
        actions.require(a_site(), version, TODAY, by=BY)
    with pytest.raises(ConflictError, match="already"):
        actions.withdraw(version, on=TODAY, why="again", by=BY)


def test_an_older_sight_changes_nothing() -> None:
    """A list entered late does not overwrite what was seen since."""
    old, new = a_version("4"), a_version("5", date(2027, 2, 1))
    device = a_device()
    with on(TODAY):
        carried(device, new, SEEN)
        carried(device, old, SEEN - timedelta(days=3))
    assert Carried.objects.get().version == new
    assert TrailEntry.objects.filter(verb="library seen").count() == 1


def test_seeing_the_same_version_again_keeps_the_later_time() -> None:
    """The time of the last sight moves on although the version is the same."""
    version, device = a_version(), a_device()
    with on(TODAY):
        carried(device, version, SEEN)
        carried(device, version, SEEN + timedelta(days=2))
    assert Carried.objects.get().seen_at == SEEN + timedelta(days=2)


def test_sights_that_cannot_be_are_refused() -> None:
    """A time to come or a retired driver is refused; nothing is written."""
    version, device = a_version(), a_device()
    with on(TODAY), pytest.raises(BadValueError, match="still to come"):
        carried(device, version, SEEN + timedelta(days=30))
    Device.objects.filter(pk=device.pk).update(condition="retired", retired_on=TODAY)
    with on(TODAY), pytest.raises(BadValueError, match="is retired"):
        carried(device, version, SEEN)
    assert not Carried.objects.exists()


def test_coverage_counts_agree_with_each_driver() -> None:
    """Counting in the database, listing in the database and judging one by one give the same drivers."""
    old, new, gone = a_version("4"), a_version("5", date(2027, 2, 1)), a_version("6", date(2027, 3, 1))
    wards = [a_ward(), a_ward("Ward 9"), a_ward(site=a_site("Corran Vale"))]
    actions.require(a_site(), new, date(2027, 3, 1), by=BY)
    actions.require(wards[1], old, date(2027, 3, 1), by=BY)
    with on(TODAY):
        for ward in wards:
            a_device(home=ward)
            for version in (old, new, gone):
                carried(a_device(home=ward), version, SEEN)
                carried(a_device(home=ward), version, SEEN - timedelta(days=60))
        actions.withdraw(gone, on=TODAY, why="wrong limit", by=BY)
    rows = queries.coverage(None, TODAY)
    standings = queries.standing(Device.objects.all(), TODAY).values()
    admin = a_person_everywhere()
    for one in State:
        judged = sum(found.state is one for found in standings)
        assert (
            sum(row.counts[one] for row in rows)
            == judged
            == queries.in_state(queries.with_library(admin), one, TODAY).count()
            > 0
        )
    assert sum(row.withdrawn for row in rows) == sum(found.withdrawn for found in standings) == 6


def a_person_everywhere() -> Person:
    return Person(everywhere=True)


def test_coverage_is_within_places(manager: Person, outsider: Person) -> None:
    """Each person's coverage holds only their places."""
    a_device()
    assert [row.place.name for row in queries.coverage(manager, TODAY)] == ["Ward 4"]
    assert queries.coverage(outsider, TODAY) == []


def test_a_snapshot_is_kept_once_a_day() -> None:
    """Run again the same day the counts are written anew, not twice."""
    version, device = a_version(), a_device()
    actions.require(a_site(), version, date(2027, 1, 15), by=BY)
    assert actions.snapshot(TODAY) == {"places": 1, "behind": 0}
    with on(TODAY):
        carried(device, version, SEEN)
    actions.snapshot(TODAY)
    row = CoverageSnapshot.objects.get()
    assert (row.current, row.behind, row.unknown, row.not_seen) == (1, 0, 0, 0)


def test_requirements_are_checked() -> None:
    """No place can require a version before it is released; asked twice for the same, one row stands."""
    version = a_version()
    with pytest.raises(BadValueError, match="is released on"):
        actions.require(a_site(), version, date(2027, 1, 9), by=BY)
    first = actions.require(a_site(), version, date(2027, 1, 10), by=BY)
    assert actions.require(a_site(), version, date(2027, 1, 10), by=BY) == first
    assert Requirement.objects.count() == 1


def test_names_and_numbers_are_given_once() -> None:
    """A second library of the same name, or a second version of the same number, is refused by name."""
    version = a_version()
    with pytest.raises(BadValueError, match="already a library"):
        actions.add_library("ADULT WARDS", "adult-2", by=BY)
    with pytest.raises(BadValueError, match="on record already"):
        actions.release(version.library, " 5 ", TODAY, by=BY)


def test_each_act_asks_for_its_duty(storekeeper: Person) -> None:
    """A storekeeper may look at libraries and change nothing."""
    version, by = a_version(), actor_for(storekeeper)
    for act in (
        lambda: actions.add_library("Other", "other", by=by),
        lambda: actions.release(version.library, "6", TODAY, by=by),
        lambda: actions.withdraw(version, on=TODAY, why="x", by=by),
        lambda: actions.require(a_site(), version, TODAY, by=by),
        lambda: actions.carries(a_device(), version, seen_at=SEEN, source="scan", by=by),
    ):
        with pytest.raises(NotAllowedError):
            act()
