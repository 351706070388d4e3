"""What a round finds due at a place, and what it says to carry."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.alerts import actions as alerts
from fleet.alerts.models import Alert, AlertKind
from fleet.bench.actions import set_kit
from fleet.bench.models import OrderKind, Step
from fleet.libraries import actions as libraries
from fleet.registry.models import Device, Place
from fleet.rounds import queries
from fleet.rounds.queries.due import drivers_at
from fleet.stores.models import Instrument, Stock
from fleet.tags.actions import report_missing
from fleet.web import clock
from tests.batteries.builders import TODAY, a_fitted_device, a_forecast, a_pack
from tests.bench.builders import a_procedure, received
from tests.builders import BY, a_device, a_site, a_ward
from tests.reports.builders import a_rich_device
from tests.rounds.builders import a_due_driver, a_round
from tests.stores.builders import a_part, in_stock

pytestmark = pytest.mark.django_db


def due_on(device: Device) -> list[str]:
    """The reasons of one driver, in words."""
    return [reason.words for reason in queries.to_do_of(device, clock.today()).reasons]


def numbers(place: Place) -> set[str]:
    """The drivers with something due at a place."""
    found = queries.to_do(drivers_at(place), clock.today())
    return {each.device.asset_number for each in found if each.reasons}


def test_a_late_service_is_due_and_says_since_when() -> None:
    """A driver never served since March 2024 is late since the window of March 2025 ended."""
    with clock.at(TODAY):
        device = a_due_driver()
        assert [words.replace("\u00a0", " ") for words in due_on(device)] == [
            "Yearly service: late, its window ended on 31 Mar 2025"
        ]


def test_a_driver_with_nothing_due_is_not_looked_for() -> None:
    """Only what is due leads to a driver."""
    ward = a_ward()
    a_device(ward)
    assert numbers(ward) == set()


def test_a_window_that_opens_later_is_not_due_yet() -> None:
    """A service due in three months stands on no round of today."""
    with clock.at(TODAY):
        device = a_due_driver(accepted_on=date(2026, 3, 1))
        assert due_on(device) == []


def test_a_round_of_a_site_holds_its_wards_and_no_other_site() -> None:
    """A building or a site is walked with all wards in it."""
    here, elsewhere = a_due_driver(a_ward()), a_due_driver(a_ward("Ward 9", a_site("Corran Vale")))
    assert numbers(a_site()) == {here.asset_number}
    assert numbers(a_site("Corran Vale")) == {elsewhere.asset_number}


def test_what_the_bench_has_or_nobody_finds_is_not_looked_for() -> None:
    """A driver on the bench is no longer here, and one not located has left the ward's list."""
    ward, kept, lost, benched = a_ward(), a_due_driver(), a_due_driver(), a_due_driver()
    report_missing(lost, why="Looked everywhere", by=BY)
    received(benched, BY, kind="planned")
    assert numbers(ward) == {kept.asset_number}
    assert list(queries.missing_at(ward)) == [lost]


def test_advice_to_replace_leads_to_the_driver_by_itself() -> None:
    """A pack to be replaced now is reason enough, and its part number is carried."""
    device = a_fitted_device()
    a_forecast(device, advice="replace")
    todo = queries.to_do_of(device, clock.today())
    assert [reason.kind for reason in todo.reasons] == ["battery"]
    assert todo.part_number == "FC-7"


@pytest.mark.parametrize("advice", ["at_visit", "test"])
def test_advice_for_the_next_visit_waits_for_one(advice: str) -> None:
    """What can wait for a visit sends nobody, and is said once something else does, or its day is there."""
    with clock.at(TODAY):
        waits, visited, reached = a_fitted_device(), a_fitted_device(), a_fitted_device()
        for device, visit in ((waits, date(2027, 3, 14)), (visited, date(2027, 3, 14)), (reached, date(2026, 11, 25))):
            a_forecast(device, advice=advice, next_visit=visit)
        alerts.record(
            visited, AlertKind.objects.create(code="low", words="Battery low"), at=TODAY, screen_text="",
            source=Alert.Source.BENCH, seen_by="test", by=BY,
        )  # fmt: skip
        assert due_on(waits) == []
        assert len(due_on(visited)) == 2
        assert len(due_on(reached)) == 1


def test_a_driver_behind_its_library_can_be_brought_up_where_it_stands() -> None:
    """The version to load is named, and it is the one thing that needs no bench."""
    device = a_device()
    old, new = a_library()
    libraries.carries(device, old, seen_at=clock.now(), source="test", by=BY)
    todo = queries.to_do_of(device, clock.today())
    assert todo.load == new
    assert [reason.on_the_spot for reason in todo.reasons] == [True]
    assert not todo.for_the_bench


def a_library() -> tuple:
    """Two versions of a library, the newer one required at Mereford General."""
    library = libraries.add_library("Adult wards", "adult", by=BY)
    old = libraries.release(library, "1.0", date(2026, 1, 1), by=BY)
    new = libraries.release(library, "2.0", date(2026, 6, 1), by=BY)
    libraries.require(a_site(), new, date(2026, 6, 2), by=BY)
    return old, new


def test_tags_alerts_and_orders_are_reasons_too() -> None:
    """A driver with everything open on it says all of it."""
    device = a_rich_device(a_ward())
    kinds = {reason.kind for reason in queries.to_do_of(device, clock.today()).reasons}
    assert {"tag", "alert"} <= kinds


def test_what_to_carry_counts_packs_and_names_instruments() -> None:
    """Two packs wanted, one in stock; the service's procedure asks for a safety analyser; room for both drivers."""
    ward = a_ward()
    for device in (a_fitted_device(home=ward), a_fitted_device(home=ward)):
        a_forecast(device, advice="replace")
    a_pack()
    version = a_procedure(OrderKind.BATTERY)
    Step.objects.filter(version=version, position=2).update(instrument_kind=Instrument.Kind.SAFETY)
    carry = queries.round_page(a_round(ward)).carry
    assert [(line.part_number, line.wanted, line.in_stock) for line in carry.packs] == [("FC-7", 2, 1)]
    assert carry.instruments == ("Electrical safety analyser",)
    assert carry.for_the_bench == 2


def test_what_to_carry_counts_the_kits_of_the_work() -> None:
    """Two services due take a seal each; one lies at the bench, what has expired does not count."""
    ward, seal = a_ward(), a_part("Seal", keeps_expiry=True)
    version = a_procedure("planned")
    set_kit(version.procedure, {seal: 1}, by=BY)
    in_stock(seal, 1, expires_on=clock.today() + timedelta(days=9))
    old = in_stock(seal, 5, expires_on=clock.today() + timedelta(days=8))
    Stock.objects.filter(pk=old.pk).update(expires_on=clock.today() - timedelta(days=1))
    for _ in range(2):
        a_due_driver(ward)
    found = queries.round_page(a_round(ward)).carry.parts
    assert [(line.part, line.wanted, line.in_stock) for line in found] == [(seal, 2, 1)]


def test_the_number_of_reads_does_not_grow_with_the_drivers() -> None:
    """A round of twenty drivers is read in as many statements as one of two."""
    small, large = a_ward("Ward 1"), a_ward("Ward 2")
    for ward, count in ((small, 2), (large, 20)):
        for _ in range(count):
            a_forecast(a_fitted_device(home=ward), advice="replace")
            a_due_driver(ward)
    reads = []
    for ward in (small, large):
        visit = a_round(ward)
        with CaptureQueriesContext(connection) as held:
            page = queries.round_page(visit)
        assert page.left
        reads.append(len(held))
    assert reads[0] == reads[1]
