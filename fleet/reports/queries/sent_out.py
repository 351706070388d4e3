"""How makers and other companies performed: the drivers that were sent out to them, and how long each was away."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from statistics import median

from django.db.models import Sum

from fleet.audit.models import TrailEntry
from fleet.bench.models import ExternalCost, Order
from fleet.bench.queries import day_begins, orders
from fleet.core.lifecycle import WaitReason
from fleet.core.orders import OrderState
from fleet.people.models import Person
from fleet.registry.models import Party
from fleet.web import clock

_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Trip:
    """One time that a driver waited for a company outside; `until` is None while it still does."""

    order: Order
    party: Party
    since: datetime
    until: datetime | None
    covered: bool

    @property
    def days(self) -> float:
        """How long it was away, or is by now."""
        return ((self.until or clock.now()) - self.since) / _DAY


@dataclass(frozen=True, slots=True)
class Performance:
    """What was sent to one company in a period. `median_days`: of those that came back; None where none did."""

    party: Party
    trips: list[Trip]
    paid: Decimal

    @property
    def back(self) -> int:
        """How many came back."""
        return sum(trip.until is not None for trip in self.trips)

    @property
    def out(self) -> int:
        """How many are still there."""
        return len(self.trips) - self.back

    @property
    def median_days(self) -> float | None:
        """The days of the middle one of those that came back."""
        days = [trip.days for trip in self.trips if trip.until]
        return median(days) if days else None

    @property
    def longest(self) -> float | None:
        """The days of the longest, whether back or not."""
        return max((trip.days for trip in self.trips), default=None)


def sent_out(first: date, last: date, person: Person, company: Party | None = None) -> list[Performance]:
    """By company, the one with most on top: the person's drivers sent out from the first day to the last.

    The company is the one named when the order was set aside to wait for it, else whoever services the driver by its
    record, else its maker. Read from the trail, so that every time counts on its own.
    """
    sent = TrailEntry.objects.filter(
        subject_kind="order",
        verb="set aside order",
        after__wait_reason=WaitReason.MAKER.value,
        done_at__gte=day_begins(first),
        done_at__lt=day_begins(last + _DAY),
    )
    wanted = {entry.subject_id for entry in sent.only("subject_id")}
    rows = orders().select_related("service_provider", "device__service_provider").within(person).in_bulk(wanted)
    grouped: dict[Party, list[Trip]] = {}
    for trip in _trips(rows, first, last):
        if company in (None, trip.party):
            grouped.setdefault(trip.party, []).append(trip)
    paid = _paid(first, last, person)
    found = [Performance(party, trips, paid.get(party.pk, Decimal(0))) for party, trips in grouped.items()]
    return sorted(found, key=lambda each: (-len(each.trips), each.party.name))


def _trips(rows: dict[int, Order], first: date, last: date) -> Iterable[Trip]:
    entries = TrailEntry.objects.filter(subject_kind="order", subject_id__in=list(rows), after__has_key="state")
    begins, ends = day_begins(first), day_begins(last + _DAY)
    since: dict[int, datetime] = {}
    for entry in entries.order_by("subject_id", "pk").only("subject_id", "done_at", "after"):
        key = entry.subject_id or 0
        if key in since:
            yield _trip(rows[key], since.pop(key), entry.done_at)
        waits = entry.after.get("wait_reason") == WaitReason.MAKER
        if entry.after["state"] == OrderState.WAITING.value and waits and begins <= entry.done_at < ends:
            since[key] = entry.done_at
    yield from (_trip(rows[key], moment, None) for key, moment in since.items())


def _trip(order: Order, since: datetime, until: datetime | None) -> Trip:
    device = order.device
    party = order.service_provider or device.service_provider or device.device_type.maker
    until_day = device.warranty_until
    return Trip(order, party, since, until, until_day is not None and clock.local_day(since) <= until_day)


def _paid(first: date, last: date, person: Person) -> dict[int, Decimal]:
    rows = ExternalCost.objects.filter(
        order__in=Order.objects.within(person).order_by().values("pk"),
        provider__isnull=False,
        voided_at__isnull=True,
        entered_at__gte=day_begins(first),
        entered_at__lt=day_begins(last + _DAY),
    )
    return dict(rows.order_by().values_list("provider").annotate(total=Sum("amount")))
