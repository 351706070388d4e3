"""What planned services come upon, and which faults came of work: what an interval can be argued by.

A service counts once it ended with the driver in hand; a recheck of some readings is none. The yield is the part of the
services with an answer that came upon anything; those without an answer are counted apart. A fault is laid to the work
before it only where a person said so.
"""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date

from fleet.bench.models import Order, OrderKind
from fleet.bench.queries.turnaround import DAY, day_begins
from fleet.core.orders import ABSENT_OUTCOMES, OrderState
from fleet.core.proportion import Proportion, proportion
from fleet.people.models import Person
from fleet.registry.models import DeviceType
from fleet.schedules.models import Plan

_FINDING = Order.Finding
_SHORT = {
    _FINDING.NOTHING: "Nothing",
    _FINDING.MINOR: "Minor",
    _FINDING.HIDDEN: "Hidden failure",
    _FINDING.POTENTIAL: "Potential failure",
    _FINDING.WEAR: "Wear",
}
#: Findings that a driver in use would have paid for.
_GRAVE = (_FINDING.HIDDEN.value, _FINDING.POTENTIAL.value)


@dataclass(frozen=True, slots=True)
class Yield:
    """What the services of a type, of a plan, or all came upon; `counts` by finding, "" for those not stated."""

    name: str
    counts: Counter[str]
    device_type: DeviceType | None = None
    plan: Plan | None = None

    @property
    def services(self) -> int:
        """Services done."""
        return self.counts.total()

    @property
    def stated(self) -> int:
        """Services that say what they came upon."""
        return self.services - self.counts[""]

    @property
    def by_finding(self) -> list[tuple[str, str, int]]:
        """Each finding in turn: its code, its short words and how many."""
        return [(each.value, _SHORT[each], self.counts[each.value]) for each in _FINDING]

    @property
    def any(self) -> Proportion | None:
        """The part that came upon something, of those stated."""
        return proportion(self.stated - self.counts[_FINDING.NOTHING.value], self.stated)

    @property
    def grave(self) -> Proportion | None:
        """The part with a hidden or potential failure, of those stated."""
        return proportion(sum(self.counts[each] for each in _GRAVE), self.stated)


@dataclass(frozen=True, slots=True)
class AfterWork:
    """Faults soon after work on drivers: `works` done, and of the faults `counts` by answer, "" for not stated."""

    name: str
    works: int
    counts: Counter[str]

    @property
    def faults(self) -> int:
        """Faults reported within the days chosen for the work before."""
        return self.counts.total()

    @property
    def caused(self) -> Proportion | None:
        """The part of the work that brought a fault about, by the word of whoever repaired it."""
        return proportion(min(self.counts[Order.Caused.YES.value], self.works), self.works)


@dataclass(frozen=True, slots=True)
class Findings:
    """Services of a period with what they came upon, and the faults that work of the period left behind."""

    overall: Yield
    by_type: list[Yield]
    by_plan: list[Yield]
    after: AfterWork
    after_by_type: list[AfterWork]
    after_by_kind: list[AfterWork]
    after_by_person: list[AfterWork]
    faults: list[Order]


def findings(first: date, last: date, person: Person) -> Findings:
    """Work that ended on the days `first` to `last`, both included, and the faults laid to it, whenever they came."""
    works = _ended(first, last, person)
    services = [order for order in works if order.kind == OrderKind.PLANNED and not order.asked]
    faults = _faults(works)
    return Findings(
        overall=_yield("All services", services),
        by_type=_yields(services, lambda order: order.device.device_type),
        by_plan=_yields(services, lambda order: order.due.plan if order.due else None),
        after=_after("All work", works, faults),
        after_by_type=_afters(works, faults, lambda order: str(order.device.device_type)),
        after_by_kind=_afters(works, faults, lambda order: str(order.get_kind_display())),
        after_by_person=_afters(works, faults, lambda order: str(order.completed_by or "Nobody named")),
        faults=sorted(faults, key=lambda order: order.raised_at, reverse=True),
    )


def _ended(first: date, last: date, person: Person) -> list[Order]:
    kinds = (OrderKind.PLANNED, OrderKind.BATTERY, OrderKind.CORRECTIVE)
    rows = Order.objects.within(person).filter(
        state=OrderState.DONE.value,
        kind__in=[kind.value for kind in kinds],
        completed_at__gte=day_begins(first),
        completed_at__lt=day_begins(last + DAY),
    )
    rows = rows.exclude(outcome__in=[outcome.value for outcome in ABSENT_OUTCOMES])
    return list(rows.select_related("device__device_type__maker", "due__plan__device_type__maker", "completed_by"))


def _faults(works: Iterable[Order]) -> list[Order]:
    rows = Order.objects.filter(work_before__in=[order.pk for order in works])
    return list(rows.select_related("device__device_type__maker", "work_before", "completed_by"))


def _yield(name: str, services: Iterable[Order], about: DeviceType | Plan | None = None) -> Yield:
    plan = about if isinstance(about, Plan) else None
    device_type = plan.device_type if plan else about if isinstance(about, DeviceType) else None
    return Yield(name, Counter(order.finding for order in services), device_type, plan)


def _yields(services: Iterable[Order], of: Callable[[Order], DeviceType | Plan | None]) -> list[Yield]:
    groups: dict[DeviceType | Plan, list[Order]] = {}
    for order in services:
        if about := of(order):
            groups.setdefault(about, []).append(order)
    found = [_yield(str(about), rows, about) for about, rows in groups.items()]
    return sorted(found, key=lambda each: (str(each.device_type), each.name))


def _after(name: str, works: list[Order], faults: Iterable[Order]) -> AfterWork:
    ids = {order.pk for order in works}
    own = [order for order in faults if order.work_before_id in ids]
    return AfterWork(name, len(works), Counter(order.caused_by_work for order in own))


def _afters(works: Iterable[Order], faults: list[Order], of: Callable[[Order], str]) -> list[AfterWork]:
    groups: dict[str, list[Order]] = {}
    for order in works:
        groups.setdefault(of(order), []).append(order)
    return [_after(name, groups[name], faults) for name in sorted(groups)]
