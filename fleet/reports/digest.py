"""What a person's morning e-mail says: by role, of their places, in short sentences, and only what there is to say."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final

from django.conf import settings
from django.db.models import Count
from django.urls import reverse
from django.utils import timezone

from fleet.audit.queries import head
from fleet.batteries.queries import already_below, will_not_last
from fleet.bench.queries import given_to, queue, rows
from fleet.core.due import monday_of
from fleet.notices.queries import counts, open_notices
from fleet.people.models import Person
from fleet.people.queries import role_of
from fleet.people.roles import Role
from fleet.registry.models import Device
from fleet.reports import queries, tiles
from fleet.reports.queries import Standing
from fleet.schedules.queries import live, open_on, overdue, work_calendar
from fleet.tags.queries import lately_back, ours
from fleet.web import phrases

#: Drivers told of one by one; the others are only counted.
MOST: Final = 8
#: Whose mail carries the last seal, so that it is noted outside the database.
_WITNESSES: Final = frozenset({Role.MANAGER, Role.ADMINISTRATOR})
_WAITING: Final = (Standing.PARTS, Standing.MAKER, Standing.DECONTAMINATION, Standing.ACCEPTANCE)


@dataclass(frozen=True, slots=True)
class Line:
    """One sentence, and the path of the page where it can be followed up."""

    words: str
    path: str


@dataclass(frozen=True, slots=True)
class Section:
    """Sentences about one subject; there is at least one."""

    title: str
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Digest:
    """The mail of one person for one day."""

    person: Person
    day: date
    sections: tuple[Section, ...]

    @property
    def lines(self) -> int:
        """How much there is to say; nought means that no mail is sent."""
        return sum(len(section.lines) for section in self.sections)


def digest_of(person: Person, day: date) -> Digest:
    """Put together what a person's role and places make worth knowing this morning."""
    told = _BY_ROLE.get(role_of(person), _nothing)
    sections = (Section(title, tuple(lines)) for title, lines in told(person, day))
    return Digest(person, day, tuple(section for section in sections if section.lines))


def subject(digest: Digest) -> str:
    """The mail's subject."""
    return _plain(f"Your drivers this morning, {phrases.day(digest.day)}")


def text(digest: Digest) -> str:
    """The mail as plain text, each sentence with its whole address below."""
    parts = [f"Good morning {digest.person}. This is how your drivers stand on {phrases.day(digest.day)}."]
    for section in digest.sections:
        said = (f"- {line.words}\n  {settings.ORIGIN}{line.path}" for line in section.lines)
        parts.append("\n".join([section.title, *said]))
    if role_of(digest.person) in _WITNESSES and (seal := head()):
        parts.append(
            f"The trail is sealed up to {phrases.moment(timezone.localtime(seal.sealed_at))}: seal {seal.number}\n"
            f"{seal.digest}\nKeep this mail: whether that seal still stands tells whether the record was written anew."
        )
    parts.append(
        "This mail is a record. It is not clearance to use any driver on a patient.\n"
        f"Whether you get it is set on your account: {settings.ORIGIN}{reverse('people:account')}"
    )
    return _plain("\n\n".join(parts)) + "\n"


def _plain(words: str) -> str:
    """Without the spaces that keep a page's dates in one piece: not every mail program shows them."""
    return words.replace(phrases.NO_BREAK, " ")


def _away(person: Person) -> Iterator[Line]:
    drivers = ours(person)
    for device in drivers[:MOST]:
        tag = next(iter(getattr(device, "open_tags", ())), None)
        yield Line(f"{device}: {_stands(device)}{f', tag {tag.written}' if tag else ''}.", _page(device.asset_number))
    yield from _others(drivers.count(), reverse("tags:ours"))


def _back(person: Person, day: date) -> Iterator[Line]:
    since = timezone.make_aware(datetime.combine(day - timedelta(days=1), time.min))
    for tag in lately_back(person).filter(cleared_at__gte=since)[:MOST]:
        yield Line(f"{tag.device} is back in service at {tag.device.place}.", _page(tag.device.asset_number))


def _queue(person: Person) -> Iterator[Line]:
    places = queue(person)
    for row in rows(places[:MOST]):
        harm = "harm reported, " if row.place.harm else ""
        since = phrases.day(timezone.localdate(row.place.since))
        yield Line(f"{row.device}: {harm}{row.kind.lower()}, waiting since {since}.", _page(row.device.asset_number))
    yield from _others(len(places), reverse("bench:queue"))


def _given(person: Person) -> Iterator[Line]:
    given = list(given_to(person).values())
    for row in given[:MOST]:
        note = f": {row.note}" if row.note else ""
        words = f"{row.order}, {row.order.get_kind_display().lower()} of {row.order.device}, from {row.by_name}{note}"
        yield Line(f"{words.rstrip('.')}.", reverse("bench:order", args=[row.order.number]))
    yield from _others(len(given), f"{reverse('bench:queue')}?whose=mine")


def _late(person: Person, day: date) -> Iterator[Line]:
    late = overdue(day, person)
    if number := late.count():
        first = late[0]
        words = (
            f"{_drivers(number, 'due', 'dues')} late. The longest: {first.plan} of {first.device}, its window closed "
        )
        yield Line(f"{words}{phrases.day(first.closes_on)}.", reverse("schedules:overdue"))


def _planned(person: Person, day: date) -> Iterator[Line]:
    """What is planned for today, told one by one where its own day is closed; and the week of a levelled plan."""
    found = work_calendar().on(open_on(day, person), day)
    if found:
        yield Line(f"{_drivers(len(found), 'due', 'dues')} planned for today.", reverse("schedules:due"))
    for due, plan in [each for each in found if each[1]][:MOST]:
        why = f": {plan.why}" if plan else ""
        words = f"{due.plan} of {due.device}: due {phrases.day(due.due_on)}, planned for today{why}."
        yield Line(words, _page(due.device.asset_number))
    monday = monday_of(day)
    if number := live(person).filter(planned_for__range=(monday, monday + timedelta(days=6))).count():
        yield Line(f"{_drivers(number, 'due', 'dues')} planned for this week, as levelled.", reverse("schedules:due"))


def _waiting(person: Person) -> Iterator[Line]:
    for standing in _WAITING:
        if number := queries.standing_so(person, standing).count():
            yield Line(f"{_drivers(number)} {standing.phrase}.", tiles.to_drivers(standing))


def _notices(person: Person, day: date) -> Iterator[Line]:
    every = list(open_notices())
    stands = counts(every, person)
    told = [row for row in every if stands[row.pk].open]
    for row in told[:MOST]:
        until = row.edition.by_when if row.edition else None
        late = "past its day, " if until and until < day else ""
        number = _drivers(stands[row.pk].open)
        by = f", to be done by {phrases.day(until)}" if until else ""
        yield Line(f"Safety notice {row}: {late}{number} open{by}.", reverse("notices:one", args=[row.number]))
    yield from _others(len(told), reverse("notices:notices"))


def _of_group(group: tiles.Group) -> Iterator[Line]:
    for tile in group.tiles:
        if tile.number and not tile.is_well:
            yield Line(f"{tile.label}: {tile.number}.", tile.url)


def _packs(person: Person) -> Iterator[Line]:
    for words, rows_, name in (
        ("below the replacement level", already_below(person), "below"),
        ("that may not last until the next visit", will_not_last(person), "will_not_last"),
    ):
        parts = rows_.order_by().values_list("pack__part_number").annotate(number=Count("pk")).order_by("-number")
        for part, number in parts:
            path = f"{reverse('batteries:will_not_last')}?list={name}"
            yield Line(f"Part {part}: {number} fitted {'pack' if number == 1 else 'packs'} {words}.", path)


_Told = Iterable[tuple[str, Iterable[Line]]]


def _nothing(_person: Person, _day: date) -> _Told:
    return ()


def _for_a_ward(person: Person, day: date) -> _Told:
    return (("Out of use or missing", _away(person)), ("Back since yesterday", _back(person, day)))


def _for_the_bench(person: Person, day: date) -> _Told:
    return (
        ("Given to you", _given(person)),
        ("First on the bench", _queue(person)),
        ("Late", _late(person, day)),
        ("Planned", _planned(person, day)),
        ("Safety notices", _notices(person, day)),
        ("Waiting", _waiting(person)),
    )


def _for_a_manager(person: Person, day: date) -> _Told:
    groups = tiles.groups(queries.overview(person, day))
    return (
        ("Given to you", _given(person)),
        ("Safety notices", _notices(person, day)),
        *((group.title, _of_group(group)) for group in groups),
    )


def _for_the_store(person: Person, _day: date) -> _Told:
    return (("Packs to think of", _packs(person)),)


_BY_ROLE: Final[dict[Role | None, Callable[[Person, date], _Told]]] = {
    Role.WARD: _for_a_ward,
    Role.TECHNICIAN: _for_the_bench,
    Role.MANAGER: _for_a_manager,
    Role.ADMINISTRATOR: _for_a_manager,
    Role.STOREKEEPER: _for_the_store,
}


def _stands(device: Device) -> str:
    reason = device.get_wait_reason_display().lower()
    condition = str(device.get_condition_display()).lower()
    return f"{condition} for {reason}" if reason else condition


def _drivers(number: int, one: str = "driver", many: str = "drivers") -> str:
    return f"1 {one} is" if number == 1 else f"{number} {many} are"


def _others(number: int, path: str) -> Iterator[Line]:
    if number > MOST:
        yield Line(f"{number - MOST} more.", path)


def _page(asset: str) -> str:
    return reverse("reports:device", args=[asset])
