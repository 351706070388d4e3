"""How near a reading lies to its limit, against the uncertainty of its instrument."""

from dataclasses import dataclass
from decimal import Decimal

from fleet.bench.models import Reading
from fleet.bench.queries.judging import judgement_of
from fleet.core.calibration import Guarded, guarded, margin
from fleet.core.limits import Limits
from fleet.web import phrases


@dataclass(frozen=True, slots=True)
class Nearness:
    """How near a reading lies to its limit. `margin` in the reading's unit, below 0 outside; `uncertainty` U there."""

    margin: Decimal
    uncertainty: Decimal | None
    guarded: Guarded | None
    unit: str
    limits: Limits

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
    judged = judgement_of(reading)
    if reading.value is None or judged.effective is None:
        return None
    limits, wide = judged.effective.limits, judged.uncertainty
    remark = None if wide is None else guarded(reading.value, limits, wide)
    return Nearness(margin(reading.value, limits), wide, remark, reading.step.unit, limits)
