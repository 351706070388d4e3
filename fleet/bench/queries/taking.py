"""What work that is open or due will take from the stores: the kits of its procedures, by site and day."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta

from django.db.models import Count, F, Q, Sum
from django.db.models.functions import Coalesce, Greatest

from fleet.bench.models import KitLine, Order, PartUse
from fleet.bench.queries.choosing import KIND_OF_PLAN
from fleet.bench.queries.facts import OPEN, InForce
from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.schedules.models import Due, Plan

#: How far back orders tell which bench works for a site that has none of its own.
_LOOK_BACK = timedelta(days=365)
#: By (site, part): how many on which day.
Takes = dict[tuple[int, int], Counter[date]]


@dataclass(slots=True)
class Kits:
    """The kits in force on a day by type and kind of order, each read once; a part that does not fit is left out."""

    on: date
    _in_force: InForce | None = None
    _held: dict[tuple[int, str], list[tuple[int, int]]] = field(default_factory=dict)
    _lines: dict[int, list[KitLine]] | None = None

    def of(self, device_type_id: int, kind: str) -> list[tuple[int, int]]:
        """Parts with how many, of the procedure in force."""
        if (device_type_id, kind) not in self._held:
            self._in_force = self._in_force or InForce(self.on)
            version = self._in_force.of(device_type_id, kind)
            self._held[device_type_id, kind] = self.lines(version.procedure_id, device_type_id) if version else []
        return self._held[device_type_id, kind]

    def lines(self, procedure_id: int, device_type_id: int) -> list[tuple[int, int]]:
        """Parts with how many, of a procedure on a driver of a type."""
        if self._lines is None:
            self._lines = _all_lines()
        return [
            (line.part_id, line.quantity)
            for line in self._lines.get(procedure_id, [])
            if not (types := line.part.types.all()) or device_type_id in {each.pk for each in types}
        ]


def _all_lines() -> dict[int, list[KitLine]]:
    rows = KitLine.objects.filter(dropped_at__isnull=True, part__dropped_on__isnull=True)
    held: dict[int, list[KitLine]] = {}
    for line in rows.select_related("part").prefetch_related("part__types"):
        held.setdefault(line.procedure_id, []).append(line)
    return held


def will_take(person: Person, on: date, until: date) -> Takes:
    """What the person's open orders (today) and dues up to a day (on their day, late ones today) will take."""
    found: Takes = {}
    kits, at = Kits(on), working_sites(on)
    for site, part, many in _open(person, kits):
        found.setdefault((at.get(site, site), part), Counter())[on] += many
    for site, day, part, many in _due(person, kits, on, until):
        found.setdefault((at.get(site, site), part), Counter())[day] += many
    return found


def _open(person: Person, kits: Kits) -> Iterable[tuple[int, int, int]]:
    """What open orders still want of their kits: (site, part, how many)."""
    # A recheck of a few readings takes no kit.
    rows = Order.objects.within(person).filter(state__in=OPEN, asked=[]).order_by()
    used = _used(rows.values_list("pk", flat=True))
    facts = ("pk", "device__device_type", "kind", "procedure_version__procedure", "device__home__site", "bench__site")
    for pk, type_id, kind, procedure, home, bench in rows.values_list(*facts):
        kit = kits.lines(procedure, type_id) if procedure else kits.of(type_id, kind)
        for part, many in kit:
            if (left := many - used.get((pk, part), 0)) > 0:
                yield bench or home, part, left


def _used(orders: Iterable[int]) -> dict[tuple[int, int], int]:
    rows = PartUse.objects.filter(order__in=orders, part__isnull=False).order_by().values_list("order", "part")
    return {(order, part): many for order, part, many in rows.annotate(n=Sum(F("quantity") - F("returned")))}


def _due(person: Person, kits: Kits, on: date, until: date) -> Iterable[tuple[int, date, int, int]]:
    """What dues without an open order will take: (site, day, part, how many)."""
    rows = Due.objects.within(person).filter(suspended=False).exclude(device__condition=Condition.RETIRED)
    rows = rows.exclude(orders__state__in=OPEN).annotate(day=Greatest(Coalesce("planned_for", "due_on"), on))
    by = ("device__home__site", "device__device_type", "plan__kind", "day")
    counted = rows.filter(Q(day__lte=until)).order_by().values_list(*by).annotate(n=Count("pk", distinct=True))
    for site, type_id, plan, day, number in counted:
        for part, many in kits.of(type_id, KIND_OF_PLAN[Plan.Kind(plan)].value):
            yield site, day, part, many * number


def working_sites(on: date) -> dict[int, int]:
    """For each site the site of the bench that most of its drivers' work of the last year was done on."""
    rows = Order.objects.filter(raised_at__date__gte=on - _LOOK_BACK, bench__isnull=False).order_by()
    counted = rows.values_list("device__home__site", "bench__site").annotate(n=Count("pk")).order_by("n", "bench__site")
    return {home: bench for home, bench, _ in counted if home and bench}
