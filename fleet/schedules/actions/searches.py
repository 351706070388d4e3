"""Drivers looked for in vain, given up by the rule of the house, and found again by whoever scans them."""

from datetime import datetime
from typing import Final

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.lifecycle import Condition, Facts, Move
from fleet.core.permissions import May
from fleet.registry import actions as registry
from fleet.registry.actions.devices import locked
from fleet.registry.models import Device, Place
from fleet.schedules.actions.visits import put_attempt
from fleet.schedules.models import Due, DueAttempt, Plan, Search
from fleet.schedules.queries import hunt
from fleet.web import clock
from fleet.web.phrases import day as spoken

_AT_LARGE: Final = frozenset({Condition.IN_SERVICE, Condition.OUT_OF_USE, Condition.NOT_LOCATED})
_SEARCHERS: Final = frozenset({May.REPORT_FAULT, May.WORK_ON_BENCH})


def may_search(by: Actor) -> None:
    """Refuse whoever neither reports from a ward nor works on the bench."""
    if not by.duties & _SEARCHERS:
        by.must(May.WORK_ON_BENCH)


@transaction.atomic
def look_in_vain(  # noqa: PLR0913 - a search has a driver, a place, words, a time and a cause
    device: Device, place: Place, *, by: Actor, note: str = "", at: datetime | None = None, due: Due | None = None
) -> Search:
    """Record that a driver was looked for at a place and not found.

    It is a visit in vain to each due whose window is open, and to `due`. Often and long enough by the rule of the
    house, the driver is recorded as not located: it leaves the ward's list, and its dues stay to be counted. Raises
    MoveRefusedError for a driver that is with the bench or retired.
    """
    may_search(by)
    row, moment = locked(device), at or clock.now()
    if moment > clock.now():
        raise BadValueError("This time is still to come; give when you looked.", field="at")
    if Condition(row.condition) not in _AT_LARGE:
        raise MoveRefusedError(f"{row} is {Condition(row.condition).phrase}; nobody needs to look for it.")
    search = Search.objects.create(device=row, at=moment, place=place, note=note.strip(), by=by.name[:120])
    told = {"where": str(place)}
    record(Happening("looked for in vain", search, device_id=row.pk, after=told, why=note, done_at=moment), by=by)
    _visit_in_vain(row, search, due, by)
    _give_up(row, by)
    return search


@transaction.atomic
def take_back(device: Device, at: datetime, *, by: Actor) -> None:
    """Take back the visits and searches in vain that one mistaken answer recorded at an instant.

    They stay on record and count no more.
    """
    by.must(May.WORK_ON_BENCH)
    row = locked(device)
    for tried in DueAttempt.objects.filter(due__device=row, tried_at=at, taken_back_at=None).select_related("due"):
        change(tried, taken_back_at=clock.now())
        told = {"reason": tried.get_reason_display(), "due_on": tried.due_on}
        record(Happening("took back a visit in vain", tried.due, device_id=row.pk, before=told), by=by)
    for search in row.searches.filter(at=at, taken_back_at=None):
        change(search, taken_back_at=clock.now())
        record(Happening("took back a search", search, device_id=row.pk, before={"where": str(search.place)}), by=by)


def _visit_in_vain(device: Device, search: Search, asked: Due | None, by: Actor) -> None:
    dues = Due.objects.filter(device=device, suspended=False).select_related("plan", "device")
    words = ". ".join(filter(None, [f"Looked in {search.place}", search.note]))
    for due in dues:
        if due.opens_on <= clock.local_day(search.at) or due == asked:
            put_attempt(due, DueAttempt.Reason.NOT_FOUND, words, search.at, by)


def _give_up(device: Device, by: Actor) -> None:
    found = hunt(device)
    if device.condition == Condition.NOT_LOCATED or not found.given_up:
        return
    said = ", ".join(spoken(each) for each in found.days)
    registry.move(device, Move.REPORT_MISSING, _facts(device), by=by, why=f"Looked for in vain on {said}")


def _facts(device: Device) -> Facts:
    """What this room knows: being missing and being found ask for none of it."""
    return Facts(
        open_tags=0,
        quarantine_open=device.quarantined,
        failed_required_steps=0,
        missing_required_steps=0,
        checked=False,
        accepted=device.accepted_on is not None,
        open_orders=0,
    )


@transaction.atomic
def scanned(  # noqa: PLR0913 - who found it, by what, where, when, and what was said
    device: Device, source: str, *, by: Actor, place: Place | None = None, at: datetime | None = None, said: str = ""
) -> bool:
    """A driver was scanned, or worked on, somewhere: one that was not located is found by that. Whether it was.

    It is out of use until the bench has checked it. Without a place it stays on record where it was; `at` before it was
    given up finds nothing, and neither does somebody who may not say so.
    """
    row = locked(device)
    too_old = at is not None and at < row.condition_since
    if row.condition != Condition.NOT_LOCATED or too_old or not by.duties & _SEARCHERS:
        return False
    where = place or row.place
    why = f"Found by {source}: “{said}”" if said else f"Found by {source}"
    registry.move(row, Move.FIND, _facts(row), by=by, place=where, why=why)
    registry.see(row, where, source, by=by, at=at)
    ask_before_use(row, by=by)
    return True


@transaction.atomic
def ask_before_use(device: Device, *, by: Actor) -> list[Due]:
    """The services of a driver found again that ran out meanwhile are due before it is used: no return without them."""
    services = Due.objects.filter(device=device, plan__kind=Plan.Kind.SERVICE, suspended=False, before_use=False)
    dues = list(services.filter(closes_on__lt=clock.today()).select_related("plan", "device"))
    for due in dues:
        before, after = change(due, before_use=True)
        record(Happening("due before use", due, device_id=due.device_id, before=before, after=after), by=by)
    return dues
