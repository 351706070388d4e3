"""Drivers that nobody can find: looked for when, where and by whom, and which count as not located."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, F, Max, Prefetch, Q, QuerySet

from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceQuerySet
from fleet.registry.queries import devices
from fleet.schedules.models import Due, HouseRule, Search
from fleet.schedules.queries.risk import house_rule
from fleet.web import clock


@dataclass(frozen=True, slots=True)
class Hunt:
    """The days on which a driver was looked for since it was last seen, and the rule it is held against."""

    days: list[date]
    rule: HouseRule

    @property
    def given_up(self) -> bool:
        """Whether it was looked for on days enough, and over a time long enough."""
        span = (self.days[-1] - self.days[0]).days if self.days else 0
        return len(self.days) >= self.rule.search_attempts and span >= self.rule.search_days


def searches_of(device: Device) -> QuerySet[Search]:
    """Each search in vain since the driver was last seen, newest first."""
    rows = Search.objects.filter(device=device, taken_back_at=None).select_related("place__site")
    return rows.filter(at__gt=device.last_seen_at) if device.last_seen_at else rows


def hunt(device: Device) -> Hunt:
    """How the search for a driver stands."""
    moments = searches_of(device).values_list("at", flat=True)
    return Hunt(sorted({clock.local_day(moment) for moment in moments}), house_rule())


def missing(person: Person) -> DeviceQuerySet:
    """Drivers of the person's places that are not located, longest first, with searches and late dues at hand.

    Each carries `hunted`, its searches since it was last seen, and `waiting`, what is due on it.
    """
    rows = devices().within(person).filter(condition=Condition.NOT_LOCATED.value)
    return _with_hunt(rows).order_by("condition_since", "pk")


def looked_for(person: Person) -> DeviceQuerySet:
    """Drivers looked for in vain since they were last seen that don't count as not located yet, latest first."""
    unseen = Q(searches__at__gt=F("last_seen_at")) | Q(last_seen_at=None, searches__isnull=False)
    unseen &= Q(searches__taken_back_at=None)
    at_large = [Condition.IN_SERVICE.value, Condition.OUT_OF_USE.value]
    rows = devices().within(person).filter(condition__in=at_large)
    counted = rows.annotate(tries=Count("searches", filter=unseen), tried_at=Max("searches__at", filter=unseen))
    return _with_hunt(counted.filter(tries__gt=0).order_by("-tried_at", "pk"))


def _with_hunt(rows: DeviceQuerySet) -> DeviceQuerySet:
    since = Q(at__gt=F("device__last_seen_at")) | Q(device__last_seen_at=None)
    searches = Search.objects.filter(since, taken_back_at=None).select_related("place")
    hunted = Prefetch("searches", searches, to_attr="hunted")
    due = (
        Due.objects.filter(suspended=False, opens_on__lte=clock.today()).select_related("plan").order_by("due_on", "pk")
    )
    return rows.prefetch_related(hunted, Prefetch("dues", due, to_attr="waiting"))
