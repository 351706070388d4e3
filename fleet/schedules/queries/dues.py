"""Plans and dues as lists ask for them."""

from dataclasses import dataclass
from datetime import date, timedelta
from types import MappingProxyType
from typing import Final

from django.db.models import Count, Min, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import TruncMonth

from fleet.core.due import DAYS_LATE, Ageing
from fleet.jobs.models import Job
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.schedules.models import Due, DueAttempt, DueDone, DueQuerySet, Plan

#: What late dues can be grouped by: the fields that tell the group, and those that name it.
_GROUPS: Final = MappingProxyType(
    {
        "site": ("device__home__site", ("device__home__site__name",)),
        "home": ("device__home", ("device__home__name", "device__home__site__name")),
        "type": ("device__device_type", ("device__device_type__maker__name", "device__device_type__model")),
    }
)

_LAST: Final = DueAttempt.objects.filter(
    due=OuterRef("pk"), due_on=OuterRef("due_on"), taken_back_at__isnull=True
).order_by("-tried_at")


#: The kind of job that brings a changed plan to the dues of many drivers.
BRING_JOB: Final = "bring_plan"


@dataclass(frozen=True, slots=True)
class Group:
    """Late dues with something in common: how many dues and drivers, and since when the first window is closed."""

    pk: int
    name: str
    dues: int
    drivers: int
    first_closed: date


def live(person: Person | None = None) -> DueQuerySet:
    """Dues that count, within the person's places when one is given, with what a list shows beside them."""
    rows: DueQuerySet = Due.objects.filter(suspended=False).select_related(
        "plan", "device__device_type__maker", "device__home__site", "device__use"
    )
    return rows if person is None else rows.within(person)


def alternative(person: Person) -> DueQuerySet:
    """Dues on another schedule than the maker's: by their plan's word, or by an interval of the driver's own."""
    other = Q(plan__basis=Plan.Basis.ALTERNATIVE) | Q(own_every_months__isnull=False)
    return live(person).filter(other).order_by("plan__device_type", "device__asset_number", "plan__name")


def overdue(on: date, person: Person | None = None) -> DueQuerySet:
    """Dues whose window ended before `on`, longest late first."""
    return with_last_attempt(live(person)).filter(closes_on__lt=on).order_by("closes_on", "id")


def late_by(rows: DueQuerySet, ageing: Ageing, on: date) -> DueQuerySet:
    """Of `rows` those whose window closed so many days before `on`."""
    return rows.filter(_closed(ageing, on))


def ages(rows: DueQuerySet, on: date) -> dict[Ageing, int]:
    """How many of `rows` are late in each group of lateness on `on`."""
    counts = {ageing.name: Count("pk", filter=_closed(ageing, on)) for ageing in Ageing}
    found = rows.order_by().aggregate(**counts)
    return {ageing: found[ageing.name] for ageing in Ageing}


def _closed(ageing: Ageing, on: date) -> Q:
    least, most = DAYS_LATE[ageing]
    closed = Q(closes_on__lte=on - timedelta(days=least))
    return closed if most is None else closed & Q(closes_on__gte=on - timedelta(days=most))


def grouped(rows: DueQuerySet, by: str) -> list[Group]:
    """`rows` by "site", "home" or "type", most dues first."""
    key, names = _GROUPS[by]
    counts = rows.order_by().values_list(key, *names).annotate(Count("pk"), Count("device", distinct=True))
    found = (
        Group(pk, ", ".join(parts), *figures)
        for pk, *rest in counts.annotate(Min("closes_on"))
        for parts, figures in [(rest[: len(names)], rest[len(names) :])]
    )
    return sorted(found, key=lambda group: (-group.dues, group.name))


def months(rows: DueQuerySet) -> dict[date, int]:
    """How many of `rows` fall due in each month, by its first day."""
    months_of = rows.order_by().annotate(month=TruncMonth("due_on")).values_list("month")
    return dict(months_of.annotate(Count("pk")).order_by("month"))


def with_last_attempt(rows: DueQuerySet) -> DueQuerySet:
    """`rows`, each with `tried`: the reason of the last visit in vain to the due as it stands; None for none."""
    return rows.annotate(tried=Subquery(_LAST.values("reason")[:1]))


def coming(on: date, until: date, person: Person | None = None) -> DueQuerySet:
    """Dues not late on `on` that fall due up to and with `until`, soonest first."""
    return with_last_attempt(live(person)).filter(closes_on__gte=on, due_on__lte=until).order_by("due_on", "id")


def open_on(day: date, person: Person | None = None) -> DueQuerySet:
    """Dues whose window holds `day`, soonest due first."""
    return live(person).filter(opens_on__lte=day, closes_on__gte=day).order_by("due_on", "id")


def dues_of(device: Device) -> DueQuerySet:
    """One driver's dues that count, soonest first."""
    return live().filter(device=device).order_by("due_on", "id")


def next_visit(device: Device) -> date | None:
    """The day of the driver's next planned work; None when nothing is planned."""
    return dues_of(device).values_list("due_on", flat=True).first()


def done_of(device: Device) -> QuerySet[DueDone]:
    """What was done on one driver when, newest first."""
    return DueDone.objects.filter(device=device).select_related("plan")


def attempts_of(due: Due) -> QuerySet[DueAttempt]:
    """Visits that could not do this due as it stands now, newest first."""
    return due.attempts.filter(due_on=due.due_on, taken_back_at__isnull=True)


def plans() -> QuerySet[Plan]:
    """Every plan with the number of dues that count (`live_dues`), by type."""
    live_dues = Count("dues", filter=Q(dues__suspended=False))
    return Plan.objects.select_related("device_type__maker").annotate(live_dues=live_dues)


def plans_on_their_way() -> set[int]:
    """The plans whose last change a job has still to bring to their drivers."""
    open_jobs = Job.objects.filter(kind=BRING_JOB, state__in=[Job.State.QUEUED, Job.State.RUNNING])
    return {payload["plan"] for payload in open_jobs.values_list("payload", flat=True)}
