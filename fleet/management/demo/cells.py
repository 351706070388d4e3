"""Packs and runtime tests in the scenario: a bending fade with spread between packs, and 2 % of noise in each test."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from fleet.audit.actors import Actor
from fleet.batteries import actions as batteries
from fleet.batteries.actions import NewPack, NewTest
from fleet.batteries.models import Fitting, Pack, RuntimeTest
from fleet.bench.models import Order
from fleet.management.demo.dice import Dice
from fleet.management.demo.hospital import Hospital, Model
from fleet.management.demo.world import Cell, Driver, World
from fleet.registry.models import Device
from fleet.web import clock

NOISE: Final = 0.02
LEVEL: Final = 0.80
_FADE: Final = {"TW": 0.053, "LT": 0.04, "SB": 0.046, "SN": 0.046}
_REFERENCE: Final = Decimal(5)
#: mL/h; above it no pack of a ward is run flat for a test.
_FASTEST: Final = Decimal(25)

#: One week's packs are weak: made so many days before the end, fitted in these days before it, fading so much faster.
WEAK_PREFIX: Final = "TW"
WEAK_MADE: Final = 640
WEAK_FITTED: Final = range(470, 560)
WEAK_FADE: Final = 1.9


def a_cell(pack: Pack, model: Model, fitted_on: date, rng: Dice) -> Cell:
    """Draw the truth of a pack: it starts near 1 and loses some 0.03 to 0.07 a year."""
    fade = min(0.075, max(0.028, rng.gauss(_FADE[model.prefix], 0.009)))
    return Cell(pack, fitted_on, rng.gauss(1.01, 0.02), fade, rng.uniform(0.15, 0.5))


def new_pack(hospital: Hospital, model: Model, made_on: date, number: str = "") -> NewPack:
    """A pack of the model's type as it comes from its maker."""
    year, week, _ = made_on.isocalendar()
    return NewPack(
        number=number,
        for_type=model.kind,
        maker=hospital.parties["fennick"],
        part_number=model.kind.pack_part_number,
        chemistry=model.kind.chemistry,
        date_code=f"{year % 100:02d}{week:02d}",
        made_on=made_on,
        price=model.pack_price,
    )


def fit_fresh(world: World, device: Device, model: Model, *, by: Actor, order: Order | None = None) -> Cell:
    """Take a new pack into stock and fit it today."""
    today, end = clock.today(), clock.local_day(world.diary.end)
    weak = model.prefix == WEAK_PREFIX and (end - today).days in WEAK_FITTED
    usual = today - timedelta(days=world.rng.randrange(40, 200))
    made = end - timedelta(days=WEAK_MADE) if weak else usual
    pack = batteries.add_pack(new_pack(world.hospital, model, made), by=by)
    batteries.fit(pack, device, on=today, by=by, order=order)
    cell = a_cell(pack, model, today, world.rng)
    cell.fade *= WEAK_FADE if weak else 1
    return cell


def replace_pack(  # noqa: PLR0913 - a swap has a driver, a reason, an order and words
    world: World, driver: Driver, why: Fitting.Why, *, by: Actor, order: Order | None = None, note: str = ""
) -> None:
    """Take the pack out and scrap it, and fit a new one today."""
    old = driver.cell.pack
    batteries.remove(driver.device, on=clock.today(), why=why, by=by, note=note, order=order)
    batteries.scrap(old, on=clock.today(), why=note or Fitting.Why(why).label, by=by)
    driver.cell = fit_fresh(world, driver.device, driver.model, by=by, order=order)


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One runtime test as it will have gone, before it is logged."""

    charge_hours: float
    rate: Decimal
    started_at: datetime
    stopped_at: datetime
    low_alarm_at: datetime | None
    flat: bool
    fraction: float


def a_run(driver: Driver, charging_from: datetime, rng: Dice) -> Run:
    """Draw a test of the driver's pack: charged, run until flat; now and then stopped early or charged too short."""
    charge = rng.uniform(3, 6) if rng.happens(0.02) else rng.uniform(10, 14)
    rate = _faster(driver.model) if rng.happens(0.08) else _REFERENCE
    started = charging_from + timedelta(hours=charge)
    return run_of(driver, started, rng, charge=charge, rate=rate, flat=not rng.happens(0.04))


def run_of(  # noqa: PLR0913 - a test has a start, a charge, a rate and an end
    driver: Driver, started: datetime, rng: Dice, *, charge: float = 11, rate: Decimal = _REFERENCE, flat: bool = True
) -> Run:
    """The run that the pack's truth and the noise give from a start on."""
    fraction = max(0.05, driver.cell.fraction(clock.local_day(started)) + rng.gauss(0, NOISE))
    fraction *= 1 if flat else rng.uniform(0.4, 0.8)
    stopped = started + timedelta(hours=fraction * driver.model.rated[rate])
    alarm = stopped - timedelta(minutes=rng.uniform(31, 55)) if flat else None
    return Run(
        charge_hours=charge,
        rate=rate,
        started_at=started,
        stopped_at=_minute(stopped),
        low_alarm_at=max(started, _minute(alarm)) if alarm else None,
        flat=flat,
        fraction=fraction,
    )


def _faster(model: Model) -> Decimal:
    """The next rate of the type's table above the usual one, where it is still a sensible test."""
    return max(rate for rate in model.rated if rate <= _FASTEST)


def _minute(moment: datetime) -> datetime:
    return moment.replace(second=0, microsecond=0)


def as_test(driver: Driver, run: Run, rng: Dice, order: Order | None = None, **facts: Any) -> NewTest:
    """The run as it is logged."""
    return NewTest(
        **{
            "device": driver.device,
            "pack": driver.cell.pack,
            "charge_hours": Decimal(f"{run.charge_hours:.2f}"),
            "rate": run.rate,
            "syringe_ml": driver.model.syringe_ml,
            "started_at": run.started_at,
            "stopped_at": run.stopped_at,
            "low_alarm_at": run.low_alarm_at,
            "stop": RuntimeTest.Stop.RAN_FLAT if run.flat else RuntimeTest.Stop.BY_HAND,
            "ambient_c": Decimal(f"{rng.gauss(21.5, 1.2):.1f}") if rng.happens(0.7) else None,
            "rack_position": f"R{rng.randrange(1, 3)}-{rng.randrange(1, 11):02d}",
            "order": order,
            "confirmed": True,
            **facts,
        }
    )


def count_cycles(driver: Driver, *, by: Actor) -> None:
    """Read the cycle counter of a pack that has one."""
    if driver.model.counts:
        batteries.count_cycles(driver.cell.pack, driver.cell.cycles(clock.today()), on=clock.today(), by=by)
