"""What is handed over near the end: loans from the pools, a delivery half scanned, and records of retired drivers."""

from datetime import timedelta
from functools import partial
from typing import Final

from fleet.accessories import actions as accessories
from fleet.accessories.models import Tally
from fleet.audit.actors import Actor
from fleet.bench.actions import Disposal, Kept, state_disposal
from fleet.bench.models import Retirement, RetirementMethod
from fleet.deliveries import actions as deliveries
from fleet.loans import actions as loans
from fleet.loans.queries import LENT_FROM
from fleet.management.demo.world import Driver, World
from fleet.registry.models import Accessory, Device
from fleet.web import clock

#: Wards that borrow, and for how many days from the day of lending.
_BORROWERS: Final = (("mg-ed", 9), ("mg-w2", 12), ("cv-a", 20))
_LENDING_DAYS: Final = 4
_SCANNED: Final = 5


def plan_handing(world: World) -> None:
    """Plan some loans and a delivery that somebody is in the middle of."""
    end = world.diary.end
    world.diary.plan(end - timedelta(days=_LENDING_DAYS), partial(_lend_some, world))
    world.diary.plan(end - timedelta(hours=2), partial(_begin_delivery, world))


def _lend_some(world: World) -> None:
    free = [driver for driver in world.drivers if driver.free and driver.device.pool in LENT_FROM]
    for driver, (ward, days) in zip(free, _BORROWERS, strict=False):
        lend(world, driver, ward, days, along="Pool bag")


def lend(world: World, driver: Driver, ward: str, days: int, **facts: str) -> None:
    """Lend a driver with all that belongs to it."""
    place, due = world.hospital.places[ward], clock.today() + timedelta(days=days)
    given = loans.Lending(to_place=place, due_back=due, **facts)
    loans.lend(driver.device, given, _all_of(driver.device), by=world.crew.storekeeper)
    driver.kept_for = driver.kept_for or "lent"


def _all_of(device: Device) -> dict[int, int]:
    rows = Accessory.objects.filter(device_type=device.device_type_id)
    return dict(rows.values_list("pk", "quantity"))


def miss_a_lead(driver: Driver, by: Actor) -> None:
    """Count a driver's accessories where it stands, its lead missing."""
    lead = Accessory.objects.filter(device_type=driver.device.device_type_id, name__endswith="lead").first()
    if lead is not None:
        counted = {**_all_of(driver.device), lead.pk: 0}
        accessories.count(driver.device, counted, Tally.Occasion.LOOKED, by=by)


def complete_record(driver: Driver, by: Actor) -> None:
    """State what became of a retired driver and how its data were wiped."""
    ways = {row.words: row for row in RetirementMethod.objects.filter(dropped_at=None)}
    given = Disposal(
        disposal=ways["Taken apart"],
        disposal_words="Case and board to the electrical waste",
        wiping=ways["Clear"],
        wiped=(Retirement.Data.LOGS, Retirement.Data.NETWORK, Retirement.Data.LIBRARY, Retirement.Data.PATIENTS),
        wiped_by_name=by.name,
        wiped_on=clock.today(),
        wiping_verified="Event log and network settings are empty after the reset",
        parts=(Kept("Motor and drive", 1), Kept("Syringe holder", 1)),
    )
    state_disposal(Retirement.objects.get(device=driver.device, taken_back_at=None), given, by=by)


def _begin_delivery(world: World) -> None:
    model, by = world.hospital.models["TW-10"], world.crew.storekeeper
    today = clock.today()
    facts = {
        "device_type": model.kind,
        "place": world.hospital.places["mg-store"],
        "supplier": model.kind.maker,
        "purchase_order": f"PO-{today:%y%m}",
        "delivered_on": today,
        "pool": Device.Pool.LOAN,
    }
    row = deliveries.begin(facts, by=by)
    for number in range(1, _SCANNED + 1):
        deliveries.scan(row, f"{model.prefix}{today:%y%m}-{97000 + number}", by=by)
