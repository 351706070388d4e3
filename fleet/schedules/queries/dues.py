"""Plans and dues as lists ask for them."""

from datetime import date

from django.db.models import Count, Q, QuerySet

from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.schedules.models import Due, DueAttempt, DueDone, DueQuerySet, Plan


def live(person: Person | None = None) -> DueQuerySet:
    """Dues that count, within the person's places when one is given, with what a list shows beside them."""
    rows: DueQuerySet = Due.objects.filter(suspended=False).select_related(
        "plan", "device__device_type__maker", "device__home__site"
    )
    return rows if person is None else rows.within(person)


def overdue(on: date, person: Person | None = None) -> DueQuerySet:
    """Dues whose window ended before `on`, longest late first."""
    return live(person).filter(closes_on__lt=on).order_by("closes_on", "id")


def coming(on: date, until: date, person: Person | None = None) -> DueQuerySet:
    """Dues not late on `on` that fall due up to and with `until`, soonest first."""
    return live(person).filter(closes_on__gte=on, due_on__lte=until).order_by("due_on", "id")


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
    return due.attempts.filter(due_on=due.due_on)


def plans() -> QuerySet[Plan]:
    """Every plan with the number of dues that count (`live_dues`), by type."""
    live_dues = Count("dues", filter=Q(dues__suspended=False))
    return Plan.objects.select_related("device_type__maker").annotate(live_dues=live_dues)
