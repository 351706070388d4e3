"""The drivers: those taken over in use at the start of the record, and those delivered and accepted since."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any, Final, NamedTuple

from django.conf import settings

from fleet.audit.actors import Actor
from fleet.batteries import actions as batteries
from fleet.batteries.actions import NewFitting, NewTest
from fleet.core.due import add_months
from fleet.management.demo.cells import a_cell, as_test, new_pack, run_of
from fleet.management.demo.diary import local
from fleet.management.demo.dice import Dice
from fleet.management.demo.hospital import BY, Hospital, Model, Ward
from fleet.management.demo.world import Cell, Driver
from fleet.registry.actions import NewDevice, add_devices
from fleet.registry.models import Device, Place
from fleet.schedules.actions import open_dues_of_all
from fleet.schedules.models import Plan

EARLIER_RECORD: Final = "Equipment list of Mereford Hospitals, as it stood at the start of this record"
TAKEN_OVER_SHARE: Final = 0.72
NEW_TYPE: Final = "Sable N"
_YEAR: Final = 12


class Wish(NamedTuple):
    """A driver to come: its model by name, where it belongs, and its pool."""

    model: str
    home: Place
    pool: Device.Pool


#: From so many drivers on some are lent and others stand ready; fewer are all needed by the wards.
_LIVELY: Final = 55


def wishes(hospital: Hospital, count: int, rng: Dice) -> list[Wish]:
    """Where `count` drivers of the usual types belong: training and loan first, the rest by the wards' shares."""
    skills, store = hospital.places["mg-skills"], hospital.places["mg-store"]
    special = [Wish("TW-10", skills, Device.Pool.TRAINING)] * max(2, count // 60)
    lively = count >= _LIVELY
    special += [Wish("TW-10", store, Device.Pool.LOAN)] * max(6 if lively else 0, count // 40)
    special += [Wish("Sable", store, Device.Pool.SPARE)] * max(2 if lively else 0, count // 60)
    wards = list(hospital.wards())
    drawn = rng.choices(wards, [ward.share for ward, _ in wards], k=count - len(special))
    return special + [Wish(_usual_model(ward, rng), place, Device.Pool.CLINICAL) for ward, place in drawn]


def _usual_model(ward: Ward, rng: Dice) -> str:
    weights = (1, 9, 0) if ward.palliative else (7, 0, 4) if ward.critical else (8, 1, 2)
    return rng.choices(("TW-10", "Lento 3", "Sable"), weights)[0]


#: Drivers past their service life by the end: one is on the list worth a look, also when another is on a bench then.
OLD: Final = 2


class Past(NamedTuple):
    """What the earlier record says of a driver: when accepted, last served, its pack fitted, its pack last tested."""

    accepted_on: date
    served_on: date
    fitted_on: date
    tested_on: date


def a_past(start: date, model: Model, rng: Dice) -> Past:
    """Draw a driver's past before `start`."""
    accepted = start - timedelta(days=round(rng.triangular(60, 3000, 1100)))
    served = max(accepted, start - timedelta(days=rng.randrange(5, 360)))
    tested = served if model.months_between_tests == _YEAR or rng.happens(0.5) else add_months(served, -_YEAR)
    age = min(round(rng.triangular(20, 1050, 350)), (start - accepted).days)
    fitted = start - timedelta(days=age)
    return Past(accepted, served, fitted, max(tested, accepted, fitted))


def facts(hospital: Hospital, wish: Wish, delivered_on: date, **more: Any) -> dict[str, Any]:
    """What is known of a driver when it is added."""
    model = hospital.models[wish.model]
    maker = model.kind.maker
    return {
        "pool": wish.pool,
        "delivered_on": delivered_on,
        "warranty_until": add_months(delivered_on, 24),
        "supplier": maker,
        "service_provider": maker,
        "price": model.kind.price,
        "currency": settings.CURRENCY,
        "purchase_order": f"PO-{delivered_on:%y%m}",
        **more,
    }


def take_over(
    hospital: Hospital, wanted: Sequence[Wish], start: date, rng: Dice, *, first_number: int = 0
) -> list[Driver]:
    """Take over drivers in use, with packs, last tests and dues, from the earlier record; the last OLD are old."""
    models = [hospital.models[wish.model] for wish in wanted]
    pasts = [a_past(start, model, rng) for model in models]
    pasts[-OLD:] = [past._replace(accepted_on=add_months(start, -9 * _YEAR)) for past in pasts[-OLD:]]
    rows = enumerate(zip(wanted, pasts, strict=True), start=first_number)
    devices = add_devices([_known(hospital, wish, past, number) for number, (wish, past) in rows], by=BY)
    cells = _fitted(hospital, devices, models, pasts, rng)
    drivers = [
        Driver(device, model, device.home, number, _on_network(model, number), cell, past.served_on, past.tested_on)
        for number, (device, model, cell, past) in enumerate(zip(devices, models, cells, pasts, strict=True))
    ]
    tests = [_last_test(driver, rng) for driver in drivers if rng.happens(0.7)]
    batteries.log_tests(tests, by=BY, taken_over=True)
    open_known_dues(devices, pasts, by=BY)
    return drivers


def _known(hospital: Hospital, wish: Wish, past: Past, number: int) -> NewDevice:
    model = hospital.models[wish.model]
    return NewDevice(
        asset_number=f"MH{20417 + number}",
        serial_number=f"{model.prefix}{past.accepted_on:%y}-{31007 + 3 * number}",
        device_type=model.kind,
        home=wish.home,
        taken_over=EARLIER_RECORD,
        facts=facts(hospital, wish, past.accepted_on - timedelta(days=9), accepted_on=past.accepted_on),
    )


def _on_network(model: Model, number: int) -> bool:
    """One in a hundred never gets its radio working, whatever the seed; the first of them also in a small fleet."""
    return model.networked and number % 97 != 1


def _fitted(
    hospital: Hospital, devices: Sequence[Device], models: Sequence[Model], pasts: Sequence[Past], rng: Dice
) -> list[Cell]:
    news = [
        new_pack(hospital, model, past.fitted_on - timedelta(days=90), f"B-{device.asset_number}")
        for device, model, past in zip(devices, models, pasts, strict=True)
    ]
    packs = batteries.add_packs(news, by=BY)
    fittings = [
        NewFitting(pack=pack, device=device, on=past.fitted_on, known=not rng.happens(0.2))
        for pack, device, past in zip(packs, devices, pasts, strict=True)
    ]
    batteries.fit_many(fittings, by=BY)
    return [a_cell(pack, model, past.fitted_on, rng) for pack, model, past in zip(packs, models, pasts, strict=True)]


def _last_test(driver: Driver, rng: Dice) -> NewTest:
    """The test that the earlier record knows of: a full one at 5 mL/h, without its finer points."""
    run = run_of(driver, local(driver.tested_on, 8), rng)
    return as_test(driver, run, rng, ambient_c=None, low_alarm_at=None, rack_position="")


def open_known_dues(devices: Sequence[Device], pasts: Sequence[Past], *, by: Actor) -> None:
    """Open the dues of drivers taken over, counted from what the earlier record knows."""
    served = {device.pk: past.served_on for device, past in zip(devices, pasts, strict=True)}
    tested = {device.pk: past.tested_on for device, past in zip(devices, pasts, strict=True)}
    also = {Plan.Kind.BATTERY: tested, Plan.Kind.LIBRARY: served}
    open_dues_of_all(devices, by=by, served_on=served, also_done=also)
