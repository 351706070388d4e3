"""The state of a fleet in numbers, each counted over the same rows that its link shows."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any, Final

from django.db.models import Count, F, Min, OuterRef, Q, QuerySet, Subquery

from fleet.accessories.queries import missing
from fleet.alerts.queries import open_alerts
from fleet.batteries.queries import Counts, counts
from fleet.bench.queries.procedures import waiting_for_approval
from fleet.bench.queries.reference import unverified
from fleet.bench.queries.retiring import not_wiped, retirements
from fleet.contracts.queries import to_decide
from fleet.core.due import Ageing
from fleet.core.lifecycle import Condition, WaitReason
from fleet.core.permissions import May
from fleet.core.words import Worded
from fleet.libraries.queries import State, coverage
from fleet.loans.queries import late, loans
from fleet.notices.queries import late_notices, open_notices
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceQuerySet
from fleet.reports.queries.departures import to_review
from fleet.schedules.queries import ages, coming, overdue
from fleet.stores.queries import kept
from fleet.tags.models import Quarantine, Tag
from fleet.tags.queries import in_use_anyway

#: How far ahead "coming" looks, in days.
DAYS_AHEAD: Final = 30

_OPEN_TAGS: Final = Tag.objects.filter(cleared_at__isnull=True)
_TAG_OF: Final = _OPEN_TAGS.filter(device=OuterRef("pk"))


class Standing(Worded):
    """Drivers that are counted apart, because somebody has to do something about them."""

    IN_USE = "in-use", "In use on a patient, although out of use"
    TAGGED = "tagged", "With an open tag"
    BENCH = "bench", "On the bench"
    PARTS = "parts", "Waiting for parts"
    MAKER = "maker", "Waiting for the maker"
    DECONTAMINATION = "decontamination", "Waiting for decontamination"
    ACCEPTANCE = "acceptance", "Waiting for acceptance"
    NOT_LOCATED = "not_located", "Not located"
    NEVER_READ = "never-read", "Never seen on the network"


def _waits_for(reason: WaitReason) -> Q:
    return Q(condition=Condition.WAITING.value, wait_reason=reason.value)


_WHERE: Final = {
    Standing.IN_USE: in_use_anyway(),
    Standing.TAGGED: Q(pk__in=_OPEN_TAGS.values("device")),
    Standing.BENCH: Q(condition=Condition.ON_BENCH.value),
    Standing.PARTS: _waits_for(WaitReason.PARTS),
    Standing.MAKER: _waits_for(WaitReason.MAKER),
    Standing.DECONTAMINATION: _waits_for(WaitReason.DECONTAMINATION),
    Standing.ACCEPTANCE: _waits_for(WaitReason.ACCEPTANCE),
    Standing.NOT_LOCATED: Q(condition=Condition.NOT_LOCATED.value),
    # Neither its library nor its firmware was ever read, by whatever way.
    Standing.NEVER_READ: Q(carried__isnull=True, firmware_seen_at__isnull=True),
}


class Wanting(Worded):
    """What else waits for somebody, each with a list of its own."""

    LOANS = "loans", "Loans late"
    ACCESSORIES = "accessories", "Accessories missing"
    PROCEDURES = "procedures", "Procedures waiting for approval"
    LIMITS = "limits", "Reference limits not verified"
    PARTS = "parts", "Parts under their minimum"
    NOTICES = "notices", "Safety notices open"
    NOTICES_LATE = "notices_late", "Safety notices past their day"
    CONTRACTS = "contracts", "Contracts to decide on"
    REVIEWS = "reviews", "Departures from makers to review"


_Rows = Callable[[Person, date], QuerySet[Any] | int]
#: The rows behind each number (or how many), and the duties of which one opens their list.
_WANTING: Final[Mapping[Wanting, tuple[frozenset[May], _Rows]]] = {
    Wanting.LOANS: (frozenset({May.HAND_OVER}), lambda person, _: late(loans(person))),
    Wanting.ACCESSORIES: (
        frozenset({May.HAND_OVER, May.WORK_ON_BENCH}),
        lambda person, _: missing().within(person),
    ),
    Wanting.PROCEDURES: (
        frozenset({May.WORK_ON_BENCH, May.SEE_REPORTS}),
        lambda _person, _on: waiting_for_approval(),
    ),
    Wanting.LIMITS: (frozenset({May.WORK_ON_BENCH, May.SEE_FLEET}), lambda _person, _on: unverified()),
    Wanting.PARTS: (
        frozenset({May.WORK_ON_BENCH, May.KEEP_STORE}),
        lambda person, on: kept(on).within(person).filter(Q(short__gt=0)),
    ),
    Wanting.NOTICES: (frozenset({May.SEE_FLEET}), lambda _person, _on: open_notices()),
    Wanting.NOTICES_LATE: (frozenset({May.SEE_FLEET}), lambda _person, on: late_notices(on)),
    Wanting.CONTRACTS: (frozenset({May.SEE_REPORTS}), to_decide),
    Wanting.REVIEWS: (frozenset({May.SEE_FLEET}), to_review),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Overview:
    """The numbers of one morning, for the places of one person; `wanting` holds those whose list they may open."""

    late: Mapping[Ageing, int]
    coming: int
    drivers: Mapping[Standing, int]
    oldest_tag: datetime | None
    quarantines: int
    alerts: int
    batteries: Counts
    library: Mapping[State, int]
    wanting: Mapping[Wanting, int]
    unwiped: int


def overview(person: Person, on: date) -> Overview:
    """Count what stands where within a person's places. The number of queries does not grow with the fleet."""
    return Overview(
        late=ages(overdue(on, person), on),
        coming=coming(on, on + timedelta(days=DAYS_AHEAD), person).count(),
        drivers=_drivers(person),
        oldest_tag=_counted(person).aggregate(oldest=Min("tags__opened_at", filter=Q(tags__cleared_at=None)))["oldest"],
        quarantines=Quarantine.objects.within(person).filter(lifted_at__isnull=True).count(),
        alerts=open_alerts(person=person).count(),
        batteries=counts(person),
        library=_library(person, on),
        wanting={
            what: _number(rows(person, on)) for what, (duties, rows) in _WANTING.items() if any(map(person.may, duties))
        },
        unwiped=not_wiped(retirements(person)).count() if person.may(May.SEE_FLEET) else 0,
    )


def _number(rows: QuerySet[Any] | int) -> int:
    return rows if isinstance(rows, int) else rows.count()


def standing_so(person: Person, standing: Standing) -> QuerySet[Device]:
    """The drivers behind one number, those in that state longest first; `tagged_at` and `tag_number` of an open tag."""
    rows = _counted(person).filter(_WHERE[standing])
    return (
        rows.select_related("device_type__maker", "home__site", "place")
        .annotate(
            tagged_at=Subquery(_TAG_OF.values("opened_at")[:1]), tag_number=Subquery(_TAG_OF.values("number")[:1])
        )
        .order_by(F("tagged_at").asc(nulls_last=True) if standing is Standing.TAGGED else "condition_since", "pk")
    )


def _counted(person: Person) -> DeviceQuerySet:
    rows: DeviceQuerySet = Device.objects.within(person).exclude(condition=Condition.RETIRED.value)
    return rows


def _drivers(person: Person) -> dict[Standing, int]:
    wanted = {standing.name: Count("pk", filter=where) for standing, where in _WHERE.items()}
    found = _counted(person).order_by().aggregate(**wanted)
    return {standing: found[standing.name] for standing in _WHERE}


def _library(person: Person, on: date) -> dict[State, int]:
    rows = coverage(person, on)
    return {state: sum(row.counts[state] for row in rows) for state in State}
