"""Which drivers are in use and which are idle, by all that the record has: one read a source, however many."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from django.db.models import Max
from django.utils import timezone

from fleet.alerts.models import Alert
from fleet.core import usage
from fleet.core.lifecycle import Condition
from fleet.core.usage import Ran, Said, Use
from fleet.libraries.models import Carried
from fleet.loans.models import Loan
from fleet.registry.models import Device
from fleet.rounds.models import RoundStop
from fleet.schedules.models import CounterReading, DriverUse, DueAttempt
from fleet.tags.models import WardWord
from fleet.tags.queries import latest_words
from fleet.web import clock
from fleet.web.phrases import ago, day, moment_ago, quantity

#: How far back counters are read, and what was said on a visit or heard of a driver is told (our own choice).
_LOOK_BACK: Final = timedelta(days=120)


@dataclass(frozen=True, slots=True)
class Sign:
    """What is known of one driver's use, and the sentences it rests on, what decides first.

    `condition`: of a driver that is not in service, whose condition is what there is to say, unless somebody just said
    that it is in use all the same.
    """

    use: Use
    words: tuple[str, ...] = ()
    condition: str = ""

    @property
    def shape(self) -> str:
        """The name of its mark."""
        return self.use.value.replace("_", "-")


#: Nothing tells; also where nobody has asked yet.
NOT_KNOWN: Final = Sign(Use.UNKNOWN)


@dataclass(frozen=True, slots=True)
class _Known:
    """What the rooms below know of the drivers, by driver."""

    words: Mapping[int, WardWord]
    visits: Mapping[int, datetime]
    loans: Mapping[int, Loan]
    readings: Mapping[int, Sequence[tuple[date, float]]]
    cycles: Mapping[int, DriverUse]
    alerts: Mapping[int, datetime]
    libraries: Mapping[int, datetime]


def signs(devices: Iterable[Device]) -> dict[int, Sign]:
    """What is known of the use of each of the drivers now."""
    rows = list(devices)
    known, now = _known(rows), clock.now()
    return {device.pk: _sign(device, known, now) for device in rows}


def _known(rows: Sequence[Device]) -> _Known:
    pks, since = [device.pk for device in rows], clock.now() - _LOOK_BACK
    found = {"device__in": pks}
    uses = {use.device_id: use for use in DriverUse.objects.filter(**found)}
    lent = Loan.objects.filter(**found, returned_at=None).select_related("to_place")
    alerts = Alert.objects.filter(**found, last_at__gte=since)
    return _Known(
        words=latest_words(rows),
        visits=_visits(pks, since),
        loans={loan.device_id: loan for loan in lent},
        readings=_readings(rows, uses, since),
        cycles=uses,
        alerts=dict(alerts.order_by().values_list("device").annotate(Max("last_at"))),
        libraries=dict(Carried.objects.filter(**found, seen_at__gte=since).values_list("device", "seen_at")),
    )


def _visits(pks: Sequence[int], since: datetime) -> dict[int, datetime]:
    """When a driver was last found in use, on a round or a visit of its own."""
    tried = DueAttempt.objects.filter(due__device__in=pks, reason=DueAttempt.Reason.IN_USE, tried_at__gte=since)
    met = RoundStop.objects.filter(device__in=pks, what=RoundStop.What.IN_USE, at__gte=since, taken_back_at=None)
    found = dict(met.order_by().values_list("device").annotate(Max("at")))
    for pk, at in tried.filter(taken_back_at=None).order_by().values_list("due__device").annotate(Max("tried_at")):
        found[pk] = max(at, found.get(pk, at))
    return found


def _readings(
    rows: Sequence[Device], uses: Mapping[int, DriverUse], since: datetime
) -> dict[int, list[tuple[date, float]]]:
    """The totals of running hours that were kept, and the one that the night has still to keep."""
    kept = CounterReading.objects.filter(device__in=[device.pk for device in rows], read_on__gte=since.date())
    found: dict[int, list[tuple[date, float]]] = defaultdict(list)
    hours = kept.filter(counter=CounterReading.Counter.HOURS).order_by("read_on")
    for pk, read_on, total in hours.values_list("device", "read_on", "total"):
        found[pk].append((read_on, float(total)))
    for device in rows:
        if device.running_hours is None or device.running_hours_at is None:
            continue
        use = uses.get(device.pk)
        shown = float(device.running_hours + (use.hours_before if use else 0))
        read_on = timezone.localdate(device.running_hours_at)
        if not found[device.pk] or found[device.pk][-1][0] < read_on:
            found[device.pk].append((read_on, shown))
    return found


def _sign(device: Device, known: _Known, now: datetime) -> Sign:
    pk = device.pk
    said, ran = _said(known.words.get(pk), known.visits.get(pk)), usage.ran(known.readings.get(pk, ()))
    words = tuple(_words(pk, known, ran, now))
    if device.condition == Condition.IN_SERVICE:
        return Sign(usage.use_of(now, said=said, ran=ran, lent=pk in known.loans), words)
    # Neither its counter nor a loan tells of a driver that nobody should use: it ran before it was set aside.
    if usage.use_of(now, said=said) is Use.IN_USE:
        return Sign(Use.IN_USE, words)
    since = f"since {day(timezone.localdate(device.condition_since))}"
    return Sign(Use.UNKNOWN, (since, *words), device.condition)


def _said(word: WardWord | None, visit: datetime | None) -> Said | None:
    """The later of the ward's word and a visit that found it in use."""
    if word is not None and (visit is None or word.at >= visit):
        return Said(word.in_use, word.at)
    return Said(in_use=True, at=visit) if visit else None


def _words(pk: int, known: _Known, ran: Ran | None, now: datetime) -> Iterable[str]:
    spoken = []
    if word := known.words.get(pk):
        spoken.append((word.at, f"{word.place} said {'in use' if word.in_use else 'idle'}, {moment_ago(word.at, now)}"))
    if visit := known.visits.get(pk):
        spoken.append((visit, f"found in use on a visit, {moment_ago(visit, now)}"))
    yield from (words for _, words in sorted(spoken, reverse=True))
    if loan := known.loans.get(pk):
        yield f"lent to {loan.to_place or loan.borrower}, to come back {day(loan.due_back)}"
    if ran:
        yield _ran_words(ran, timezone.localdate(now))
    elif (use := known.cycles.get(pk)) and use.cycles_on and use.cycles_a_week is not None:
        times = quantity(round(use.cycles_a_week, 1))
        yield f"charged about {times} times a week, counted {ago(use.cycles_on, now.date())}"
    if alert := known.alerts.get(pk):
        yield f"last alert {moment_ago(alert, now)}"
    if library := known.libraries.get(pk):
        yield f"library last seen {moment_ago(library, now)}"


def _ran_words(ran: Ran, today: date) -> str:
    """`ran about 5 h a day over the 14 days to 20 Nov 2026`; `not run since 3 Nov 2026`; both by its counter."""
    if ran.a_day == 0:
        to = "" if ran.until == today else f" (read on {day(ran.until)})"
        return f"not run since {day(ran.since)}, by its counter{to}"
    hours = quantity(round(ran.a_day, 1 if ran.a_day < 1 else 0), "h")
    span = f"last {ran.days} days" if ran.until == today else f"{ran.days} days to {day(ran.until)}"
    return f"ran about {hours} a day over the {span}, by its counter"
