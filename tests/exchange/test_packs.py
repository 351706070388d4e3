"""Files of packs: added, fitted, known again, and never changed."""

from datetime import date

import pytest

from fleet.audit.models import TrailEntry
from fleet.batteries import actions as batteries
from fleet.batteries.models import Fitting, Pack
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.web import clock
from tests.batteries.builders import TODAY, a_fitted_device, a_pack
from tests.builders import BY, a_device, a_type
from tests.exchange.builders import a_home, checked, counts, outside_ward, pack_row, problems, taken_in

pytestmark = pytest.mark.django_db


def test_packs_are_added_and_fitted(manager: Person) -> None:
    """A pack in a driver is fitted since the day stated; one without a driver lies in stock."""
    a_home()
    device = a_device()
    stock = pack_row("", "P9", fitted_on="", type_maker="Tarnwick Instruments", type_model="TW-10")
    taken_in("packs", [pack_row(device, "P8", fitted_on_known="no"), stock], manager)
    fitting = Fitting.objects.get(device=device)
    assert (fitting.pack.number, fitting.fitted_on, fitting.fitted_on_known) == ("P8", date(2024, 5, 1), False)
    assert dict(Pack.objects.values_list("number", "state")) == {"P8": "fitted", "P9": "stock"}
    assert set(TrailEntry.objects.filter(subject_kind="pack").values_list("source", flat=True)) == {"import"}


def test_packs_without_numbers_are_known_again_by_driver_and_day(manager: Person) -> None:
    """A hospital that does not number its packs can send its file twice."""
    a_home()
    rows = [pack_row(a_device()) for _ in range(3)]
    assert counts(taken_in("packs", rows, manager)) == (3, 0, 0, 0)
    assert counts(taken_in("packs", rows, manager)) == (0, 3, 0, 0)
    assert Pack.objects.exclude(number="").count() == 3


def test_a_number_of_our_series_that_is_taken_is_passed_over(manager: Person) -> None:
    """A hospital may have numbered its own packs alike."""
    a_home()
    a_pack(number="P00001")
    a_pack(number="P00003")
    taken_in("packs", [pack_row(a_device()) for _ in range(3)], manager)
    assert sorted(Fitting.objects.values_list("pack__number", flat=True)) == ["P00002", "P00004", "P00005"]


def test_a_pack_in_stock_is_fitted_by_a_file(manager: Person) -> None:
    """That is shown as a change before it is written."""
    device, pack = a_device(), a_pack(number="P7")
    row = pack_row(device, "P7")
    assert checked("packs", [row], manager).changes == [[2, "device", "in stock", f"{device}, fitted on 2024-05-01"]]
    taken_in("packs", [row], manager)
    assert Fitting.objects.get(device=device).pack == pack
    assert counts(checked("packs", [row], manager)) == (0, 1, 0, 0)


def test_a_pack_on_record_is_never_changed(manager: Person) -> None:
    """Each fact that differs is refused and named."""
    device = a_device()
    pack = a_pack(number="P7", date_code="2301")
    batteries.fit(pack, device, on=date(2024, 5, 1), by=BY)
    row = pack_row(device, "P7", chemistry="Li-ion", date_code="2302", fitted_on="2024-06-01")
    found = {one.field: one.right for one in problems(checked("packs", [row], manager))}
    assert set(found) == {"chemistry", "date_code", "fitted_on"}
    assert "2301 stands" in found["date_code"]


def test_a_driver_holds_one_pack(manager: Person) -> None:
    """Neither two of one file, nor one beside that on record, nor one from before the last was taken out."""
    a_home()
    free, full, swapped = a_device(), a_fitted_device(date(2024, 4, 1)), a_fitted_device(date(2024, 4, 1))
    with clock.at(TODAY):
        batteries.remove(swapped, on=date(2025, 1, 1), why=Fitting.Why.WORN, by=BY, out_of_use=True)
    rows = [pack_row(free, "P1"), pack_row(free, "P2"), pack_row(full, "P3"), pack_row(swapped, "P4")]
    found = problems(checked("packs", rows, manager))
    assert [(one.row, one.field) for one in found] == [(3, "device"), (4, "device"), (5, "fitted_on")]
    assert "stands already in row 2" in found[0].right
    assert "holds pack" in found[1].right
    assert "until 1\u00a0Jan\u00a02025" in found[2].right


def test_what_does_not_fit_together_is_refused(manager: Person) -> None:
    """A pack of another type, a driver without a day, a day without a driver, a nameless pack in stock."""
    a_home()
    device = a_device()
    other = a_device(device_type=a_type("TW-20"))
    rows = [
        pack_row(device, "P1", type_maker="Tarnwick Instruments", type_model="TW-20"),
        pack_row(other, "P2", fitted_on=""),
        pack_row("", "P3"),
        pack_row("", "", fitted_on="", type_maker="Tarnwick Instruments", type_model="TW-10"),
        pack_row("A0815", "P5"),
    ]
    found = {(one.row, one.field) for one in problems(checked("packs", rows, manager))}
    expected = {(2, "type_model"), (3, "fitted_on"), (4, "device"), (4, "type_model"), (5, "number"), (6, "device")}
    assert expected <= found


def test_packs_of_other_places_are_not_touched(manager: Person) -> None:
    """A driver outside their places is not there for them."""
    a_home()
    elsewhere = Device.objects.get(pk=a_device(home=None).pk)
    Device.objects.filter(pk=elsewhere.pk).update(home=_ward(), place=_ward())
    found = problems(checked("packs", [pack_row(elsewhere, "P1")], manager))
    assert "No driver of yours" in found[0].right


def _ward() -> int:
    return int(Device.home.get_queryset().get(code=outside_ward()).pk)
