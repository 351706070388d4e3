"""How near a reading lies to its limit, against the uncertainty of its instrument."""

from dataclasses import dataclass
from decimal import Decimal

from fleet.bench.models import Reading
from fleet.bench.queries.facts import limits_of
from fleet.core.calibration import Guarded, expanded, guarded, margin
from fleet.web import phrases


@dataclass(frozen=True, slots=True)
class Nearness:
    """How near a reading lies to its limit. `margin` in the reading's unit, below 0 outside; `uncertainty` U there."""

    margin: Decimal
    uncertainty: Decimal | None
    guarded: Guarded | None
    unit: str

    @property
    def times(self) -> Decimal | None:
        """The margin in uncertainties; None where U is not known or 0."""
        return self.margin / self.uncertainty if self.uncertainty else None

    @property
    def words(self) -> str:
        """`0.4 % inside its limit, 0.8 times the uncertainty`."""
        side = "outside" if self.margin < 0 else "inside"
        told = f"{phrases.quantity(abs(self.margin), self.unit)} {side} its limit"
        return told if self.times is None else f"{told}, {abs(self.times):.1f} times the uncertainty"


def nearness(reading: Reading) -> Nearness | None:
    """How near a reading lies to its limit, against its instrument's uncertainty; None where it has no limits."""
    limits = limits_of(reading.step, reading.order.device.device_type_id)
    if reading.value is None or limits is None:
        return None
    by = reading.instrument
    wide = expanded(reading.value, by.uncertainty, by.uncertainty_unit, reading.step.unit) if by else None
    remark = None if wide is None else guarded(reading.value, limits, wide)
    return Nearness(margin(reading.value, limits), wide, remark, reading.step.unit)
