"""Reading tags: what is open, where the ward's drivers are, and the little that a label may show."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import F, Prefetch, Q, QuerySet

from fleet.core.errors import BadValueError
from fleet.core.identifiers import read_tag_number, tag_number
from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.registry.models import Device, Place
from fleet.registry.queries import devices, open_places, ward_places
from fleet.tags.models import Decontamination, Quarantine, QuarantineQuerySet, Tag, TagQuerySet, TagReport, WardWord
from fleet.web import clock

BACK_FOR = timedelta(days=7)
RECENT = 12
#: How long a ward's word on a driver's use is told (our own choice); whether it still tells of now, its age says.
WORD_FOR = timedelta(days=14)


@dataclass(frozen=True, slots=True)
class LabelStatus:
    """All that a label without an account shows: the driver's tag status, and whether it is being looked for.

    `number` is the open tag's as it is written on paper, empty when none is open.
    """

    asset_number: str
    number: str
    since: datetime | None
    keep_as_it_is: bool
    expected_back: date | None
    retired: bool
    missing: bool
    training: bool


def tags() -> TagQuerySet:
    """All tags with what a page shows of them."""
    rows: TagQuerySet = Tag.objects.select_related(
        "device__device_type__maker", "device__home", "device__place", "place"
    )
    return rows


def open_tag(device: Device) -> Tag | None:
    """The tag that keeps this driver out of use, if one is open."""
    return tags().filter(device=device, cleared_at__isnull=True).first()


def open_tags(person: Person) -> TagQuerySet:
    """Open tags at the person's places, newest first, with their reports at hand."""
    return tags().within(person).filter(cleared_at__isnull=True).prefetch_related("reports")


def tags_numbered(text: str) -> TagQuerySet:
    """The tag whose number is typed or scanned, in any case and with or without its hyphen; none when it is misread."""
    try:
        return tags().filter(number=tag_number(read_tag_number(text)))
    except BadValueError:
        return tags().none()


def first_report(tag: Tag) -> TagReport | None:
    """The report that raised the tag."""
    return tag.reports.first()


def contamination(tag: Tag) -> str:
    """What the ward last stated of the driver's cleaning, in words; "Not stated" when nobody did."""
    stated = tag.reports.exclude(decontamination=Decontamination.UNKNOWN).last()
    return stated.get_decontamination_display() if stated else Decontamination.UNKNOWN.label


def ours(person: Person) -> QuerySet[Device]:
    """Drivers of the person's places that are tagged or held out of use, longest away first; none that nobody finds.

    Each carries its open tag, if there is one, as the single item of `open_tags`.
    """
    open_tags = Tag.objects.filter(cleared_at__isnull=True)
    # Not through a join: so the few that are away are found by their indexes, and the fleet is never read through.
    away = Q(pk__in=open_tags.values("device")) | Q(condition=Condition.OUT_OF_USE.value)
    gone = [Condition.RETIRED.value, Condition.NOT_LOCATED.value]
    rows = devices().within(person).filter(away).exclude(condition__in=gone)
    tag_at_hand = Prefetch("tags", open_tags, to_attr="open_tags")
    found: QuerySet[Device] = rows.prefetch_related(tag_at_hand).order_by("condition_since", "pk")
    return found


def for_training(person: Person) -> QuerySet[Device]:
    """Training units in wards of the person: never for patients, so they stand in no list of those in service."""
    rows: QuerySet[Device] = devices().filter(place__in=ward_places(person), pool=Device.Pool.TRAINING.value)
    return rows.exclude(condition=Condition.RETIRED.value).order_by("place__name", "asset_number")


def in_service(person: Person) -> QuerySet[Device]:
    """Drivers in service at the person's places, by place and number, each with the ward's latest `words` of late."""
    rows = devices().within(person).filter(condition=Condition.IN_SERVICE.value)
    rows = rows.exclude(pool=Device.Pool.TRAINING.value)
    words = Prefetch("ward_words", WardWord.objects.filter(at__gte=clock.now() - WORD_FOR), to_attr="words")
    found: QuerySet[Device] = rows.prefetch_related(words).order_by("place__name", "asset_number")
    return found


def latest_words(rows: Iterable[Device]) -> dict[int, WardWord]:
    """The ward's latest word of late on each of the drivers, if it gave one since the driver came into service."""
    known = {device.pk: device for device in rows}
    words = WardWord.objects.filter(device__in=known, at__gte=clock.now() - WORD_FOR).select_related("place")
    found = {word.device_id: word for word in words.order_by("at", "pk")}
    return {pk: word for pk, word in found.items() if word.at >= known[pk].condition_since}


def not_located(person: Person) -> QuerySet[Device]:
    """Drivers of the person's places that nobody finds, by number: no work for the ward, but worth an open eye."""
    rows: QuerySet[Device] = devices().within(person).filter(condition=Condition.NOT_LOCATED.value)
    return rows.order_by("asset_number")


def lately_back(person: Person) -> TagQuerySet:
    """Tags cleared in the last 7 days whose driver is in service again, latest first."""
    since = clock.now() - BACK_FOR
    rows = tags().within(person).filter(cleared_at__gte=since)
    return rows.filter(device__condition=Condition.IN_SERVICE.value).order_by("-cleared_at")


def recent_drivers(person: Person, count: int = RECENT) -> list[Device]:
    """The drivers last seen in the person's wards. Empty for somebody who sees every place: no ward is theirs."""
    if person.everywhere:
        return []
    here = devices().filter(place__in=ward_places(person)).exclude(condition=Condition.RETIRED.value)
    return list(here.order_by(F("last_seen_at").desc(nulls_last=True), "asset_number")[:count])


def label_status(device: Device) -> LabelStatus:
    """The tag status that a label shows to somebody without an account."""
    tag = open_tag(device)
    return LabelStatus(
        asset_number=device.asset_number,
        number=tag.written if tag else "",
        since=tag.opened_at if tag else None,
        keep_as_it_is=device.quarantined,
        expected_back=tag.expected_back if tag else None,
        retired=device.condition == Condition.RETIRED.value,
        missing=device.condition == Condition.NOT_LOCATED.value,
        training=device.pool == Device.Pool.TRAINING.value,
    )


def places_to_choose(person: Person, device: Device) -> QuerySet[Place]:
    """Where a person may say that a driver stands: their own places, its home, and where it is on record."""
    places = open_places(Place.Kind.WARD, Place.Kind.BENCH, Place.Kind.STORE)
    return own_places(person) | places.filter(pk__in=[device.place_id, device.home_id])


def own_places(person: Person) -> QuerySet[Place]:
    """Wards, benches and stores that a person sees."""
    places = open_places(Place.Kind.WARD, Place.Kind.BENCH, Place.Kind.STORE)
    return places.within(person)


def place_in_words(words: str, device: Device) -> Place | None:
    """The one open place of the driver's site whose name stands in `words` (the longest, if several do)."""
    said = words.casefold()
    near = open_places().filter(site_id=device.place.site_id).exclude(kind=Place.Kind.SITE)
    named = sorted((place for place in near if _says(said, place.name)), key=lambda place: -len(place.name))
    if not named or (len(named) > 1 and len(named[0].name) == len(named[1].name)):
        return None
    return named[0]


def _says(said: str, name: str) -> bool:
    """Whether a name stands in folded words as a whole: "ward 41" does not say "Ward 4"."""
    return re.search(rf"(?<!\w){re.escape(name.casefold())}(?!\w)", said) is not None


def quarantines() -> QuarantineQuerySet:
    """All quarantines with what a page shows of them."""
    rows: QuarantineQuerySet = Quarantine.objects.select_related(
        "device__device_type__maker", "device__place", "device__home", "tag", "lifted_by"
    )
    return rows


def in_use_anyway() -> Q:
    """Of drivers, those out of use that somebody met on a patient, until they are with the bench."""
    reports = TagReport.objects.filter(what=TagReport.What.IN_USE, tag__cleared_at__isnull=True)
    return Q(pk__in=reports.values("tag__device")) & ~Q(condition__in=[Condition.ON_BENCH, Condition.WAITING])


def benches_of(person: Person) -> QuerySet[Place]:
    """The benches of the sites where the person has a place."""
    sites = open_places().within(person).order_by().values("site")
    return open_places(Place.Kind.BENCH).filter(site__in=sites).select_related("site").order_by("site__name", "name")


def open_quarantine(device: Device) -> Quarantine | None:
    """The quarantine of this driver that has not been lifted, if there is one."""
    return quarantines().filter(device=device, lifted_at__isnull=True).first()


def open_quarantines(person: Person) -> QuarantineQuerySet:
    """Quarantines at the person's places that have not been lifted, oldest first, with their custody at hand."""
    rows = quarantines().within(person).filter(lifted_at__isnull=True)
    return rows.prefetch_related("custody").order_by("opened_at")


def lately_lifted(person: Person, count: int = RECENT) -> QuarantineQuerySet:
    """The quarantines lifted last at the person's places."""
    return quarantines().within(person).filter(lifted_at__isnull=False).order_by("-lifted_at")[:count]
