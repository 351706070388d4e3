"""The instruments of the two benches: most in date, one overdue, one that was lately found out of its limits."""

from datetime import timedelta
from decimal import Decimal
from functools import partial
from typing import Final, NamedTuple

from fleet.management.demo.diary import local
from fleet.management.demo.hospital import BY
from fleet.management.demo.world import World
from fleet.stores.actions import NewCalibration, add_instrument, record_calibration, withdraw
from fleet.stores.models import Calibration, Instrument
from fleet.web import clock

#: Days before the end on which each kind of history has its calibrations.
_YEARLY: Final = (1095, 735, 375, 20)
_FOUND_OUT: Final = (1095, 735, 371, 6)
_SOON: Final = (1095, 1050, 700, 347)
_LAPSED: Final = (1095, 760, 402)
_LABORATORY: Final = "Ostrel Calibration"
_FOUND: Final = "Reads 2.1 % low at 5 mL/h; adjusted"


class _Kept(NamedTuple):
    """An instrument, where it is kept, and when it was calibrated."""

    bench: str
    number: str
    name: str
    kind: Instrument.Kind
    uncertainty: str
    unit: str
    days: tuple[int, ...]
    withdrawn: int = 0


_INSTRUMENTS: Final = (
    _Kept("mg-bench", "FLO-01", "Flow analyser", Instrument.Kind.FLOW, "0.8", "%", _FOUND_OUT),
    _Kept("mg-bench", "SAF-01", "Safety analyser", Instrument.Kind.SAFETY, "2", "%", _SOON),
    _Kept("mg-bench", "BAL-01", "Balance, 220 g", Instrument.Kind.BALANCE, "0.0006", "g", _YEARLY),
    _Kept("mg-bench", "PRE-01", "Pressure gauge", Instrument.Kind.PRESSURE, "0.4", "kPa", _LAPSED),
    _Kept("mg-bench", "THE-01", "Thermometer", Instrument.Kind.THERMOMETER, "0.3", "°C", _LAPSED, withdrawn=200),
    _Kept("cv-bench", "FLO-02", "Flow analyser", Instrument.Kind.FLOW, "0.8", "%", _YEARLY),
    _Kept("cv-bench", "SAF-02", "Safety analyser", Instrument.Kind.SAFETY, "2", "%", _YEARLY),
    _Kept("cv-bench", "TIM-01", "Stop watch", Instrument.Kind.TIMER, "0.5", "s", ()),
)


def plan_instruments(world: World) -> None:
    """Add the instruments and plan their calibrations; flow and safety analysers measure from the first day on."""
    end = clock.local_day(world.diary.end)
    for kept in _INSTRUMENTS:
        row = _add(world, kept)
        for number, days in enumerate(kept.days):
            moment = local(max(end - timedelta(days=days), clock.today()), 7)
            world.diary.plan(moment, partial(_calibrate, row, kept, number))
        if kept.withdrawn:
            moment = local(end - timedelta(days=kept.withdrawn), 11)
            world.diary.plan(moment, partial(withdraw, row, "Dropped; its case is cracked", by=world.crew.manager))


def _add(world: World, kept: _Kept) -> Instrument:
    bench = world.hospital.places[kept.bench]
    facts = {
        "number": kept.number,
        "name": kept.name,
        "kind": kept.kind,
        "place": bench,
        "uncertainty": Decimal(kept.uncertainty),
        "uncertainty_unit": kept.unit,
    }
    row = add_instrument(facts, by=BY)
    if kept.kind == Instrument.Kind.FLOW:
        world.analysers[bench.pk] = row
    if kept.kind == Instrument.Kind.SAFETY:
        world.testers[bench.pk] = row
    return row


def _calibrate(row: Instrument, kept: _Kept, number: int) -> None:
    found_out = kept.days is _FOUND_OUT and number == len(kept.days) - 1
    new = NewCalibration(
        done_on=clock.today(),
        certificate=f"OC-{clock.today():%y}-{kept.number[-2:]}{kept.number[:1]}{number + 1}",
        laboratory=_LABORATORY,
        as_found=_as_found(number, out=found_out),
        found_words=_FOUND if found_out else "",
    )
    record_calibration(row, new, by=BY)


def _as_found(number: int, *, out: bool) -> str:
    if out:
        return Calibration.AsFound.OUT.value
    return Calibration.AsFound.WITHIN.value if number else Calibration.AsFound.NOT_KNOWN.value
