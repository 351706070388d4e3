"""What drivers raise, as lists ask for it."""

from datetime import datetime, timedelta

from django.db.models import QuerySet

from fleet.alerts.models import Alert, AlertKind, AlertQuerySet
from fleet.people.models import Person
from fleet.registry.models import Device


def kinds() -> QuerySet[AlertKind]:
    """Every kind of alert, in the order of the list."""
    return AlertKind.objects.all()


def open_alerts(device: Device | None = None, *, person: Person | None = None) -> AlertQuerySet:
    """Alerts that nobody has answered or cleared, of one driver or within a person's places; longest open first."""
    rows: AlertQuerySet = Alert.objects.filter(closed_at=None).select_related(
        "kind", "device__device_type__maker", "device__home__site"
    )
    if device is not None:
        rows = rows.filter(device=device)
    if person is not None:
        rows = rows.within(person)
    return rows.order_by("first_at", "id")


def days_open(alert: Alert, now: datetime) -> int:
    """Whole days since the alert was first seen."""
    return max(timedelta(), now - alert.first_at).days
