"""How notices stand: counted within a person's places, and what is still open on a driver."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from django.db.models import Count, F, Q, QuerySet

from fleet.core.share import format_percent, share
from fleet.notices.models import Affected, AffectedQuerySet, Edition, Notice, Standing, live
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceQuerySet


@dataclass(frozen=True, slots=True)
class Counts:
    """Drivers of one notice by how they stand."""

    of: Mapping[str, int]

    @property
    def open(self) -> int:
        """Drivers that somebody has to do something about, and that can be found."""
        return self.of.get(Standing.OPEN, 0)

    @property
    def not_located(self) -> int:
        """Drivers that nobody finds; they are told apart and stay in the whole."""
        return self.of.get(Standing.NOT_LOCATED, 0)

    @property
    def done(self) -> int:
        """Drivers for which it is done."""
        return self.of.get(Standing.DONE, 0)

    @property
    def affected(self) -> int:
        """The whole of the closure: without those retired before the notice and those it does not apply to."""
        return self.open + self.not_located + self.done

    @property
    def total(self) -> int:
        """All that ever matched."""
        return sum(self.of.values())

    @property
    def closure(self) -> str:
        """Done, as a share of the affected, in words; never 100 % while one is missing (shared definition 2.9)."""
        return format_percent(share(self.done, self.affected), none_words="none affected")

    @property
    def told(self) -> list[tuple[Standing, int]]:
        """How many stand in each way, in the order of Standing; ways in which none stands are left out."""
        return [(each, self.of[each]) for each in Standing if self.of.get(each)]


def notices() -> QuerySet[Notice]:
    """All notices with what they say."""
    return Notice.objects.select_related("edition")


def open_notices() -> QuerySet[Notice]:
    """Notices that are open, the first to be done first."""
    return notices().filter(state=Notice.State.OPEN).order_by(F("edition__by_when").asc(nulls_last=True), "pk")


def late_notices(on: date) -> QuerySet[Notice]:
    """Open notices past the day by which it was to be done."""
    return open_notices().filter(edition__by_when__lt=on)


def to_match() -> QuerySet[Notice]:
    """Notices that a driver may still come to: the open ones, and those closed as done."""
    return notices().filter(live(), edition__opened_at__isnull=False)


def named(rows: QuerySet[Notice], words: str) -> QuerySet[Notice]:
    """The notices that the words name: number, issuer's reference, title or issuer."""
    said = Q(number__icontains=words) | Q(edition__reference__icontains=words)
    return rows.filter(said | Q(edition__title__icontains=words) | Q(edition__issuer__icontains=words))


def by_number(text: str) -> Notice | None:
    """The notice whose own number or whose issuer's reference this is; None when none or several are."""
    code = text.strip()
    found = list(notices().filter(Q(number__iexact=code) | Q(edition__reference__iexact=code))[:2]) if code else []
    return found[0] if len(found) == 1 else None


def counts(rows: Iterable[Notice], person: Person | None = None) -> dict[int, Counts]:
    """How the drivers of each notice stand, within a person's places or over all."""
    ids = [row.pk for row in rows]
    lines = Affected.objects.filter(notice__in=ids)
    seen = (lines.within(person) if person else lines).standing()
    told: dict[int, dict[str, int]] = defaultdict(dict)
    counted = seen.order_by().values_list("notice", "stands")  # type: ignore[misc] # annotated
    for notice, stands, many in counted.annotate(many=Count("pk")):
        told[notice][stands] = many
    return {pk: Counts(told[pk]) for pk in ids}


def lines() -> AffectedQuerySet:
    """Every driver of every notice with what a list shows of it, and how it stands."""
    rows: AffectedQuerySet = Affected.objects.select_related(
        "notice__edition", "device__device_type__maker", "device__place__site", "device__home__site", "order", "tag"
    )
    return rows.standing()


def lines_of_device(device: Device) -> list[Affected]:
    """What notices say of a driver, the open first; drafts and those taken back by their issuer are left out."""
    rows = lines().filter(live("notice__"), device=device)
    return sorted(rows, key=lambda line: (line.stands != Standing.OPEN, -line.notice_id))  # type: ignore[attr-defined] # annotated


def open_lines(rows: DeviceQuerySet) -> AffectedQuerySet:
    """What is open on these drivers, the gravest action first."""
    found: AffectedQuerySet = lines().filter(live("notice__"), device__in=rows.order_by().values("pk"))
    return found.so(Standing.OPEN).order_by("notice__edition__by_when", "notice")


def answered_on(device: Device, on: date) -> bool:
    """Whether a notice was answered as done on a driver on a day."""
    return Affected.objects.filter(device=device, state=Affected.State.DONE, done_on=on).exists()


def to_stop(device: Device) -> list[Affected]:
    """The open notices of a driver that say not to use it."""
    found = lines().filter(live("notice__"), device=device, notice__edition__action=Edition.Action.STOP)
    open_now = found.so(Standing.OPEN, Standing.NOT_LOCATED)
    return list(open_now.order_by("notice"))
