"""Everything due on the drivers of a place on a day, gathered from the rooms below: one read a room, however many."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final

from django.db.models import Q, QuerySet

from fleet.alerts.queries import open_alerts
from fleet.batteries.models import Forecast
from fleet.bench.models import Order
from fleet.bench.queries.choosing import KIND_OF_PLAN
from fleet.core.battery.decision import Advice
from fleet.core.due import monday_of
from fleet.core.lifecycle import Condition
from fleet.core.orders import OPEN_STATES
from fleet.libraries.models import LibraryVersion
from fleet.libraries.queries import State, standing
from fleet.notices.models import Edition
from fleet.notices.queries import open_lines
from fleet.registry.models import Device, DeviceQuerySet, Place
from fleet.registry.queries import devices, is_astray
from fleet.rounds.queries.use import NOT_KNOWN, Sign
from fleet.schedules.models import Due, DueAttempt, Plan
from fleet.schedules.queries.days import WorkCalendar, work_calendar
from fleet.schedules.queries.dues import live, with_last_attempt
from fleet.tags.models import Tag
from fleet.web.phrases import day

#: With the bench already, given up for lost, or gone: no round looks for these.
_ELSEWHERE: Final = (
    Condition.ON_BENCH.value,
    Condition.WAITING.value,
    Condition.NOT_LOCATED.value,
    Condition.RETIRED.value,
)
#: Advice that sends somebody to the driver by itself; the rest waits until the driver is visited for something else.
_BY_ITSELF: Final = (Advice.REPLACE_NOW.value, Advice.CALL_IN.value)
_AT_A_VISIT: Final = (Advice.REPLACE_AT_VISIT.value, Advice.TEST_NOW.value)
_WORDS: Final = {
    Advice.REPLACE_NOW.value: "Battery: replace its pack now, by its forecast",
    Advice.CALL_IN.value: "Battery: not expected to last until its next service",
    Advice.REPLACE_AT_VISIT.value: "Battery: replace its pack on this occasion, by its forecast",
    Advice.TEST_NOW.value: "Battery: a runtime test is worth its time",
}


#: Characters of what an order was raised for, a recheck or a report, that a list has room for.
_SAID: Final = 90


#: The reason of a training unit that stands among drivers for patients.
ASTRAY: Final = "astray"


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing due on a driver. `on_the_spot`: it can be done where the driver stands."""

    kind: str
    words: str
    late: bool = False
    on_the_spot: bool = False


@dataclass(frozen=True, slots=True)
class ToDo:
    """A driver with what is due on it: the pack to have ready (its part number), the library to load, the notices."""

    device: Device
    reasons: tuple[Reason, ...] = ()
    part_number: str = ""
    load: LibraryVersion | None = None
    order_kinds: frozenset[str] = frozenset()
    sign: Sign = NOT_KNOWN
    notices: tuple[Edition, ...] = ()

    @property
    def late(self) -> bool:
        """Whether something on it is past its window."""
        return any(reason.late for reason in self.reasons)

    @property
    def astray(self) -> bool:
        """Whether it is a training unit in a ward that is not its home."""
        return any(reason.kind == ASTRAY for reason in self.reasons)

    @property
    def for_the_bench(self) -> bool:
        """Whether something on it cannot be done where it stands."""
        return any(not reason.on_the_spot for reason in self.reasons)


def drivers_at(place: Place) -> DeviceQuerySet:
    """The drivers on record at a place or in it that a round looks for."""
    return devices().filter(place__path__startswith=place.path).exclude(condition__in=_ELSEWHERE)


def missing_at(place: Place) -> QuerySet[Device]:
    """Drivers not located that belong to the place or were on record there: no work, but worth an open eye."""
    here = Q(place__path__startswith=place.path) | Q(home__path__startswith=place.path)
    rows: QuerySet[Device] = devices().filter(here, condition=Condition.NOT_LOCATED.value)
    return rows


def to_do(rows: DeviceQuerySet, on: date) -> list[ToDo]:
    """What is due on each of these drivers on a day, also those with nothing due; by place, late first, by number."""
    drivers = list(rows)
    reasons: dict[int, list[Reason]] = defaultdict(list)
    kinds: dict[int, set[str]] = defaultdict(set)
    loads = _libraries(drivers, on, reasons, kinds)
    _out_of_use(drivers, reasons)
    _astray(drivers, reasons)
    _tags(rows, reasons)
    _orders(rows, reasons, kinds)
    _alerts(rows, reasons)
    said = _notices(rows, on, reasons)
    _dues(rows, on, reasons, kinds)
    parts = _packs(rows, on, reasons, kinds)
    found = [
        ToDo(
            device,
            tuple(reasons[device.pk]),
            parts.get(device.pk, ""),
            loads.get(device.pk),
            frozenset(kinds[device.pk]),
            notices=tuple(said[device.pk]),
        )
        for device in drivers
    ]
    return sorted(found, key=lambda each: (each.device.place.name, not each.late, each.device.asset_number))


def to_do_of(device: Device, on: date) -> ToDo:
    """What is due on one driver on a day."""
    return to_do(devices().filter(pk=device.pk), on)[0]


_Reasons = dict[int, list[Reason]]
_Kinds = dict[int, set[str]]


def _dues(rows: DeviceQuerySet, on: date, reasons: _Reasons, kinds: _Kinds) -> None:
    open_now = with_last_attempt(live()).filter(device__in=rows.values("pk"), opens_on__lte=on)
    calendar = work_calendar()
    for due in open_now.order_by("due_on", "pk"):
        on_the_spot = due.plan.kind == Plan.Kind.LIBRARY
        words = f"{due.plan.name}: {_when(due, on, calendar)}{_tried(due)}"
        reasons[due.device_id].append(Reason(due.plan.kind, words, due.closes_on < on, on_the_spot))
        kinds[due.device_id].add(KIND_OF_PLAN[Plan.Kind(due.plan.kind)].value)


def _when(due: Due, on: date, calendar: WorkCalendar) -> str:
    if due.closes_on < on:
        return f"late, its window ended on {day(due.closes_on)}"
    asked = ", the driver itself asks for it" if due.asked_by_device else ""
    return f"due {day(due.due_on)}{asked}{_planned(due, on, calendar)}"


def _planned(due: Due, on: date, calendar: WorkCalendar) -> str:
    """The week that a levelled plan gave it, or the working day that stands for a closed one."""
    if due.planned_for:
        return ", planned for this week" if monday_of(due.planned_for) == monday_of(on) else ""
    if (planned := calendar.planned(due)) is None:
        return ""
    when = "this day" if planned.day == on else day(planned.day)
    return f", planned for {when} ({planned.why})" if planned.found else f" ({planned.why})"


def _tried(due: Due) -> str:
    tried: str = getattr(due, "tried", "") or ""
    return f" (last visit: {DueAttempt.Reason(tried).label.lower()})" if tried else ""


def _libraries(drivers: Iterable[Device], on: date, reasons: _Reasons, kinds: _Kinds) -> dict[int, LibraryVersion]:
    loads = {}
    for pk, stand in standing(drivers, on).items():
        if stand.state is State.BEHIND and stand.required is not None:
            loads[pk] = stand.required
            words = f"Library: load {stand.required}; it was last seen with {stand.carried}"
            reasons[pk].append(Reason("library", words, on_the_spot=True))
            kinds[pk].add(Plan.Kind.LIBRARY.value)
    return loads


def _out_of_use(drivers: Iterable[Device], reasons: _Reasons) -> None:
    for device in drivers:
        if device.condition == Condition.OUT_OF_USE:
            reasons[device.pk].append(Reason("out", "Out of use: the bench looks it over before it is used again"))


def _astray(drivers: Iterable[Device], reasons: _Reasons) -> None:
    for device in drivers:
        if is_astray(device):
            words = "Training only, not for patients: take it out of the ward"
            reasons[device.pk].append(Reason(ASTRAY, words, late=True))


def _tags(rows: DeviceQuerySet, reasons: _Reasons) -> None:
    found = Tag.objects.filter(device__in=rows.values("pk"), cleared_at__isnull=True).prefetch_related("reports")
    for tag in found:
        said = ", ".join(dict.fromkeys(report.get_what_display().lower() for report in tag.reports.all()))
        reasons[tag.device_id].append(Reason("tag", f"Tag {tag.written}: {said or 'out of use'}"))


def _orders(rows: DeviceQuerySet, reasons: _Reasons, kinds: _Kinds) -> None:
    for order in Order.objects.filter(device__in=rows.values("pk"), state__in=[each.value for each in OPEN_STATES]):
        why = f", {order.reported.splitlines()[0][:_SAID]}" if order.reported else ""
        words = f"Order {order} for the bench: {order.get_kind_display().lower()}{why}"
        reasons[order.device_id].append(Reason("order", words))
        kinds[order.device_id].add(order.kind)


def _alerts(rows: DeviceQuerySet, reasons: _Reasons) -> None:
    for alert in open_alerts().filter(device__in=rows.values("pk")):
        reasons[alert.device_id].append(Reason("alert", f"Alert: {alert.kind.words}"))


def _notices(rows: DeviceQuerySet, on: date, reasons: _Reasons) -> dict[int, list[Edition]]:
    said: dict[int, list[Edition]] = defaultdict(list)
    for line in open_lines(rows):
        edition = line.notice.edition
        if edition is None:
            continue
        until = f", by {day(edition.by_when)}" if edition.by_when else ""
        edition.notice = line.notice
        words = f"Safety notice {line.notice}: {edition.get_action_display().lower()}{until}"
        late = edition.by_when is not None and edition.by_when < on
        reasons[line.device_id].append(Reason("notice", words, late, edition.on_the_spot))
        said[line.device_id].append(edition)
    return said


def _packs(rows: DeviceQuerySet, on: date, reasons: _Reasons, kinds: _Kinds) -> dict[int, str]:
    advised = Forecast.objects.filter(device__in=rows.values("pk"), advice__in=[*_BY_ITSELF, *_AT_A_VISIT])
    parts = {}
    for forecast in advised.select_related("pack"):
        if not _is_the_time(forecast, on, visited=bool(reasons[forecast.device_id])):
            continue
        reasons[forecast.device_id].append(Reason("battery", _WORDS[forecast.advice]))
        kinds[forecast.device_id].add(Plan.Kind.BATTERY.value)
        if forecast.advice != Advice.TEST_NOW:
            parts[forecast.device_id] = forecast.pack.part_number
    return parts


def _is_the_time(forecast: Forecast, on: date, *, visited: bool) -> bool:
    reached = forecast.next_visit is not None and forecast.next_visit <= on
    return forecast.advice in _BY_ITSELF or visited or reached
