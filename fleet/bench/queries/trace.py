"""What was measured with an instrument that was found out of its limits, since it was last known to be good."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal

from django.db.models import Q

from fleet.bench.models import FlowTest, OcclusionTest, Order, OrderKind, Reading, Step
from fleet.bench.queries.computing import measured_for
from fleet.bench.queries.facts import OPEN, in_words
from fleet.bench.queries.judging import limits_judging
from fleet.bench.queries.nearness import Nearness, nearness
from fleet.bench.queries.turnaround import day_begins
from fleet.core.calibration import Way, corrected, could_turn
from fleet.core.orders import OrderState
from fleet.core.units import convert, same_kind, symbol_of
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.stores.models import Calibration
from fleet.stores.queries import good_again, last_good
from fleet.web import phrases

_OF_AN_ORDER = ("order__device__device_type__maker", "order__device__home__site", "order__device__place__site", "by")


@dataclass(frozen=True, slots=True)
class Off:
    """By how much at most an instrument was found off, in a unit or in % of what it reads, and which way."""

    amount: Decimal
    unit: str
    way: Way = Way.UNKNOWN

    def at(self, value: Decimal | None, unit: str) -> Decimal | None:
        """The error of a value in the unit of its reading; None where the two cannot be compared.

        A share of a value that is itself a share (a delivery error) is taken in points: its readings stand in both.
        """
        if same_kind(self.unit, unit):
            return convert(self.amount, self.unit, unit)
        if symbol_of(self.unit) == "%" and value is not None:
            return abs(value) * self.amount / 100
        return None


@dataclass(frozen=True, slots=True)
class Taken:
    """One thing measured with the instrument; a test of delivery belongs to no step."""

    order: Order
    what: str
    value: str
    limits: str
    near: Nearness | None
    taken_at: datetime
    by: str
    value_taken: Decimal | None = None
    replaced: bool = False
    step: Step | None = None

    def could_fail(self, off: Off | None) -> bool:
        """Whether the true value may lie outside the limits, by the error and the way that it could go here."""
        error = self._error(off)
        if off is None or error is None or self.near is None or self.value_taken is None:
            return False
        return could_turn(self.value_taken, self.near.limits, error, self._way(off))

    def corrected(self, off: Off | None) -> str:
        """What the value would be if the instrument was off by all of the error; empty where that is not known."""
        error = self._error(off)
        if off is None or error is None or self.step is None or self.value_taken is None:
            return ""
        found = corrected(self.value_taken, error, self._way(off))
        return "" if found is None else phrases.quantity(found, self.step.unit)

    def _error(self, off: Off | None) -> Decimal | None:
        return None if off is None or self.step is None else off.at(self.value_taken, self.step.unit)

    def _way(self, off: Off) -> Way:
        """What is worked out from a reading may go the other way, so that its own way is not known."""
        return Way.UNKNOWN if self.step is None or self.step.kind == Step.Kind.COMPUTED else off.way


@dataclass(slots=True)
class Doubted:
    """A driver with what was measured on it, the newest first, and the order that rechecks it, if any."""

    device: Device
    taken: list[Taken] = field(default_factory=list)
    recheck: Order | None = None

    def could_fail(self, off: Off | None) -> bool:
        """Whether the error could have turned a reading that still counts."""
        return any(each.could_fail(off) and not each.replaced for each in self.taken)

    @property
    def nearest(self) -> Decimal:
        """The smallest distance to a limit in uncertainties; very large where none is known."""
        told = [each.near.times for each in self.taken if each.near and each.near.times is not None]
        return min(told, default=Decimal("Infinity"))


@dataclass(frozen=True, slots=True)
class Trace:
    """Every driver in doubt that the person sees, nearest its limits first; `elsewhere` counts those at other places.

    `since`: the last good calibration, None: there is none. `until`: the day it was good again, None: not yet.
    """

    since: date | None
    until: date | None
    drivers: list[Doubted]
    elsewhere: int

    @property
    def readings(self) -> int:
        """How many things were measured."""
        return sum(len(each.taken) for each in self.drivers)


def mention(calibration: Calibration) -> str:
    """The words by which an order is known to recheck what this calibration put in doubt."""
    return f"calibration certificate {calibration.certificate} of {calibration.instrument.number}"


def traced(calibration: Calibration, person: Person) -> Trace:
    """The trace of a calibration that found its instrument out of its limits; both its days are in it."""
    seen = set(Device.objects.within(person).filter(pk__in=devices_in_doubt(calibration)).values_list("pk", flat=True))
    drivers: dict[int, Doubted] = {}
    for taken in _taken(calibration, seen):
        drivers.setdefault(taken.order.device_id, Doubted(taken.order.device)).taken.append(taken)
    for device, order in rechecks(calibration, drivers).items():
        drivers[device].recheck = order
    good = last_good(calibration)
    return Trace(
        since=good.done_on if good else None,
        until=good_again(calibration),
        drivers=sorted(drivers.values(), key=lambda each: (each.nearest, each.device.asset_number)),
        elsewhere=len(devices_in_doubt(calibration) - seen),
    )


def devices_in_doubt(calibration: Calibration) -> set[int]:
    """Every driver measured with the instrument in that time, wherever it is at home."""
    within, instrument = _within(calibration), calibration.instrument
    found: set[int] = set()
    found |= set(instrument.readings.filter(within).values_list("order__device_id", flat=True))
    for tests in (instrument.flow_tests, instrument.occlusion_tests):
        held = tests.filter(within, voided_at__isnull=True)
        found |= set(held.values_list("order__device_id", flat=True))
    return found


def rechecks(calibration: Calibration, devices: Iterable[int]) -> dict[int, Order]:
    """For each driver the order that rechecks it: the last that names this calibration and was not cancelled."""
    rows = Order.objects.filter(device_id__in=list(devices), reported__contains=mention(calibration))
    return {row.device_id: row for row in rows.exclude(state=OrderState.CANCELLED.value).order_by("raised_at", "pk")}


def taken_on(calibration: Calibration, device_id: int) -> list[Taken]:
    """What a calibration puts in doubt on one driver."""
    return list(_taken(calibration, {device_id}))


def open_planned(device: Device) -> Order | None:
    """The open planned order of a driver."""
    return Order.objects.filter(device=device, kind=OrderKind.PLANNED, state__in=OPEN).first()


def _within(calibration: Calibration) -> Q:
    """From the day of the last good calibration to the day the instrument was good again, both days in."""
    good, again = last_good(calibration), good_again(calibration)
    span = Q()
    if good is not None:
        span &= Q(taken_at__gte=day_begins(good.done_on))
    if again is not None:
        span &= Q(taken_at__lt=day_begins(again + timedelta(days=1)))
    return span


def _taken(calibration: Calibration, devices: set[int]) -> Iterator[Taken]:
    chosen = _within(calibration) & Q(order__device__in=devices)
    instrument = calibration.instrument
    readings = instrument.readings.filter(chosen).select_related(*_OF_AN_ORDER, "step").order_by("-taken_at")
    measured = list(readings.prefetch_related("step__limits"))
    for reading in measured:
        reading.instrument = instrument
        yield _reading(reading)
    for reading in _computed_from(measured):
        yield _reading(reading)
    for flow in instrument.flow_tests.filter(chosen, voided_at__isnull=True).select_related(*_OF_AN_ORDER):
        yield _test(flow, f"Flow test at {phrases.quantity(flow.rate, 'mL/h')}", "")
    for stop in instrument.occlusion_tests.filter(chosen, voided_at__isnull=True).select_related(*_OF_AN_ORDER):
        value = f"{phrases.quantity(stop.pressure_kpa, 'kPa')} after {stop.seconds_to_alarm} s"
        yield _test(stop, f"Occlusion test at {phrases.quantity(stop.rate, 'mL/h')}", value)


def _computed_from(measured: Iterable[Reading]) -> Iterator[Reading]:
    """The computed readings that took one of these, also the replaced: what was put in was in doubt."""
    orders, in_doubt = {reading.order_id for reading in measured}, {reading.pk for reading in measured}
    rows = Reading.objects.filter(order__in=orders).select_related(*_OF_AN_ORDER, "step").order_by("-taken_at")
    held: dict[int, list[Reading]] = {}
    for reading in rows.prefetch_related("step__limits"):
        held.setdefault(reading.order_id, []).append(reading)
    for readings in held.values():
        steps = list({reading.step_id: reading.step for reading in readings}.values())
        for reading in readings:
            if any(each.pk in in_doubt for each in measured_for(reading, steps, readings)):
                yield reading


def _reading(reading: Reading) -> Taken:
    limits = limits_judging(reading)
    return Taken(
        order=reading.order,
        what=f"Step {reading.step.position}: {reading.step.words}",
        value=in_words(reading),
        limits=limits.words if limits else "",
        near=nearness(reading),
        taken_at=reading.taken_at,
        by=str(reading.by or ""),
        value_taken=reading.value,
        replaced=not reading.latest,
        step=reading.step,
    )


def _test(test: FlowTest | OcclusionTest, what: str, value: str) -> Taken:
    told = ", ".join(filter(None, [value, test.get_verdict_display().lower()]))
    return Taken(test.order, what, told, "", None, test.taken_at, test.by_name)
