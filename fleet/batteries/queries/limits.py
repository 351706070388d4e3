"""Which risk limit holds where, and what prices make of it."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from django.db.models import Count, QuerySet

from fleet.batteries.models import ChemistryLife, Pack, RiskLimit, TypeOutlook
from fleet.batteries.policy_wording import MONTHS_A_YEAR, limit_words, months
from fleet.batteries.queries.fleet import pack_price, visit_months
from fleet.core.battery.decision import PackPlace
from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceType

_KINDS: Final = {True: RiskLimit.WardKind.CRITICAL, False: RiskLimit.WardKind.OTHER}


@dataclass(frozen=True, slots=True)
class Line:
    """A limit with its words: whom it is for, and how large it is."""

    row: RiskLimit

    @property
    def whom(self) -> str:
        """The drivers it is for: `Any pool, critical care`."""
        return f"{self.row.get_pool_display() or 'Any pool'}, {self.row.get_ward_kind_display().lower()}"

    @property
    def words(self) -> str:
        """The limit as a share: `1 in 10`."""
        return limit_words(self.row.limit)


@dataclass(frozen=True, slots=True)
class Holding:
    """The limit that holds for one pool in one kind of ward (None: the built-in one), and for how many drivers."""

    pool: str
    wards: str
    line: Line | None
    drivers: int


@dataclass(frozen=True, slots=True)
class Weighed:
    """What prices make of a limit for one type; `yearly` is what a place for a pack costs (core.battery.decision)."""

    line: Line
    device_type: DeviceType
    price: float
    every: int
    yearly: float
    break_even: float

    @property
    def put_off(self) -> float:
        """What the place costs from visit to visit, which a pack that stays in puts off."""
        return self.yearly * self.every / MONTHS_A_YEAR

    @property
    def holds(self) -> str:
        """The limit that follows: the break-even, or the limit set where that is smaller."""
        return self.line.words if self.is_capped else limit_words(self.break_even)

    @property
    def is_capped(self) -> bool:
        """Whether the limit set is smaller than what prices would allow."""
        return float(self.line.row.limit) < self.break_even

    @property
    def words(self) -> str:
        """The break-even as a share."""
        return limit_words(self.break_even)

    @property
    def interval(self) -> str:
        """From visit to visit: `a year`."""
        return months(self.every)


# Years that half the new packs, and 1 in 10 of them, do not reach; the second may be unknown.


def limits() -> QuerySet[RiskLimit]:
    """The limits that stand."""
    return RiskLimit.objects.filter(dropped_at__isnull=True)


def dropped_limits() -> list[Line]:
    """The limits that hold no longer, the latest first."""
    return [Line(row) for row in RiskLimit.objects.filter(dropped_at__isnull=False).order_by("-dropped_at")]


def narrowest(standing: Iterable[RiskLimit], pool: str, *, critical: bool) -> RiskLimit | None:
    """The limit that holds for a pool in a kind of ward: for both, else for the pool, else for the wards, else any."""
    by_key = {(row.pool, row.ward_kind): row for row in standing}
    kind, any_ward = _KINDS[critical], RiskLimit.WardKind.ANY
    keys = [(pool, kind), (pool, any_ward), ("", kind), ("", any_ward)]
    return next((by_key[key] for key in keys if key in by_key), None)


def holdings(person: Person) -> list[Holding]:
    """Every pool in every kind of ward with its limit, and the person's drivers in service that it holds for."""
    standing = list(limits())
    groups = Device.objects.within(person).filter(
        condition=Condition.IN_SERVICE, device_type__power=DeviceType.Power.FITTED_PACK
    )
    rows = groups.order_by().values_list("pool", "home__critical").annotate(drivers=Count("pk"))
    counts = {(pool, critical): drivers for pool, critical, drivers in rows}
    return [
        Holding(pool.label, _KINDS[critical].label, _line(narrowest(standing, pool, critical=critical)), counts[key])
        for pool in Device.Pool
        for critical in _KINDS
        if (key := (pool.value, critical)) in counts
    ]


def _line(row: RiskLimit | None) -> Line | None:
    return Line(row) if row else None


def weighed() -> list[Weighed]:
    """What prices make of each limit with the price of a failure, for each type whose price and life are known."""
    rows = [row for row in limits() if row.failure_price]
    known = list(_priced()) if rows else []
    return [_weigh(row, *each) for row in rows for each in known]


def _weigh(row: RiskLimit, outlook: TypeOutlook, price: float, every: int) -> Weighed:
    lives = float(outlook.new_life_middle or 0), outlook.new_life_low or None
    place = PackPlace(price, float(row.failure_price or 0), every / MONTHS_A_YEAR, *lives)
    return Weighed(Line(row), outlook.device_type, price, every, place.cost_a_year(), place.break_even_limit())


def _priced() -> Iterator[tuple[TypeOutlook, float, int]]:
    for outlook in TypeOutlook.objects.select_related("device_type__maker").filter(new_life_middle__gt=0):
        price, every = pack_price(outlook.device_type), visit_months(outlook.device_type)
        if price and every:
            yield outlook, float(price), every


def lives() -> QuerySet[ChemistryLife]:
    """What is assumed of each chemistry."""
    return ChemistryLife.objects.all()


def chemistries_without_life() -> list[str]:
    """Chemistries of packs on record for which nothing is stated."""
    stated = ChemistryLife.objects.values("chemistry")
    rows = Pack.objects.exclude(chemistry__in=stated).exclude(chemistry="").order_by("chemistry")
    return list(rows.values_list("chemistry", flat=True).distinct())
