"""Types of pack side by side: how long they run, how they fade, what they cost a year."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Final

from fleet.batteries.models import Forecast, TypeOutlook
from fleet.batteries.queries.fleet import TypeStand, pack_price, stands
from fleet.registry.models import DeviceType

#: How the source of a chemistry's life begins that nobody looked up.
NO_SOURCE: Final = "assumed"


@dataclass(frozen=True, slots=True)
class TypeRow:
    """A type of pack; what is not known of it is None.

    Hours run at the reference rate; `fade` is the share of the runtime lost in the first year; lives in years until the
    level: 1 in 10 packs last less than `low`, half less than `middle`, 9 in 10 less than `high`.
    """

    device_type: DeviceType
    hours: Decimal | None
    fade: float | None
    low: float | None
    middle: float | None
    high: float | None
    price: Decimal | None
    fitted: int
    tested: int
    tests: int
    basis: str
    source: str
    made_at: datetime | None

    @property
    def name(self) -> str:
        """The type's name, by which rows are sorted."""
        return str(self.device_type)

    @property
    def per_year(self) -> float | None:
        """Price of a pack for each year that half of them serve."""
        return float(self.price) / self.middle if self.price is not None and self.middle else None

    @property
    def is_assumed(self) -> bool:
        """Whether nothing was measured, so that the numbers are only what is assumed of the chemistry."""
        return self.basis == Forecast.Basis.ASSUMED

    @property
    def rests_on(self) -> str:
        """What the numbers rest on, in words."""
        if self.made_at is None or self.basis == Forecast.Basis.NOT_ENOUGH:
            return "nothing yet: there is no forecast of this type"
        own = self._own_tests()
        if self.basis == Forecast.Basis.BORROWED:
            return f"other types, with {own} of its own: too few to go by alone"
        return f"assumed ({self.from_where}), with {own} of its own" if self.is_assumed else own

    def _own_tests(self) -> str:
        tests = f"{self.tests} test{'' if self.tests == 1 else 's'}"
        return f"{tests} of {self.tested} pack{'' if self.tested == 1 else 's'}" if self.tests else "no test"

    @property
    def from_where(self) -> str:
        """Where what is assumed of the chemistry comes from."""
        return "no source" if self.source.startswith(NO_SOURCE) or not self.source else f"source: {self.source}"


def compared() -> list[TypeRow]:
    """Every type with a fitted pack, by name."""
    return sorted((_row(stand) for stand in stands()), key=lambda row: row.name)


def _row(stand: TypeStand) -> TypeRow:
    device_type, outlook = stand.device_type, stand.outlook or TypeOutlook()
    rated = {runtime.rate: runtime.hours for runtime in device_type.rated_runtimes.all()}
    return TypeRow(
        device_type=device_type,
        hours=rated.get(device_type.reference_rate),
        fade=outlook.fade_first_year,
        low=outlook.new_life_low,
        middle=outlook.new_life_middle,
        high=outlook.new_life_high,
        price=pack_price(device_type),
        fitted=stand.fitted,
        tested=outlook.packs_tested,
        tests=outlook.tests_used,
        basis=outlook.basis,
        source=outlook.prior_source,
        made_at=outlook.made_at,
    )
