"""The risk limit that holds for a driver's pack."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from fleet.batteries.models import RiskLimit, TypeOutlook
from fleet.batteries.queries.fleet import pack_price
from fleet.batteries.queries.limits import limits, narrowest
from fleet.batteries.queries.outlook import ASSUMED_LIMIT
from fleet.core.battery.decision import PackPlace
from fleet.registry.models import Device, DeviceType

ASSUMED_WHY: Final = "assumed until somebody sets one"
LONGEST_UNTESTED: Final = 24
_YEAR_MONTHS: Final = 12


@dataclass(frozen=True, slots=True)
class AppliedLimit:
    """The limit in force: a chance, whether prices made it, what came of the row it is from, and why it is so."""

    limit: float
    by_cost: bool
    failure_price: Decimal | None
    test_price: Decimal | None
    may_skip: bool
    longest_untested_months: int
    why: str


ASSUMED: Final = AppliedLimit(ASSUMED_LIMIT, False, None, None, False, LONGEST_UNTESTED, ASSUMED_WHY)


@dataclass(frozen=True, slots=True)
class LimitsOfType:
    """The limits that stand, as they hold for packs of one type at one price and with one life of a new pack, years.

    `new_life_low_years`: 1 new pack in 10 lasts less.
    """

    standing: Sequence[RiskLimit]
    price: Decimal | None
    new_life_years: float | None
    new_life_low_years: float | None

    def of(self, pool: str, *, critical: bool, visit_months: int) -> AppliedLimit:
        """The limit for a pool, in critical care or not, with so many months from visit to visit."""
        row = narrowest(self.standing, pool, critical=critical)
        if row is None:
            return ASSUMED
        by_cost = self._break_even(row, visit_months)
        return AppliedLimit(
            limit=float(row.limit) if by_cost is None else min(by_cost, float(row.limit)),
            by_cost=by_cost is not None and by_cost < row.limit,
            failure_price=row.failure_price,
            test_price=row.test_price,
            may_skip=row.may_skip_tests,
            longest_untested_months=row.longest_untested_months,
            why=row.why,
        )

    def _break_even(self, row: RiskLimit, visit_months: int) -> float | None:
        if not (row.failure_price and self.price and self.new_life_years):
            return None
        interval = visit_months / _YEAR_MONTHS
        life = self.new_life_years, self.new_life_low_years or None
        return PackPlace(float(self.price), float(row.failure_price), interval, *life).break_even_limit()


def limits_of_type(
    device_type: DeviceType, new_life_years: float | None, new_life_low_years: float | None
) -> LimitsOfType:
    """The limits that stand, for packs of a type; a life is None where no forecast gives one."""
    return LimitsOfType(list(limits()), pack_price(device_type), new_life_years, new_life_low_years)


def limit_for(device: Device, visit_months: int = _YEAR_MONTHS) -> AppliedLimit:
    """The limit that holds for a driver's pack, by the last night's life of a new pack of its type."""
    outlook = TypeOutlook.objects.filter(device_type=device.device_type_id).first()
    life = (outlook.new_life_middle, outlook.new_life_low) if outlook else (None, None)
    of_type = limits_of_type(device.device_type, *life)
    return of_type.of(device.pool, critical=device.home.critical, visit_months=visit_months)
