"""The only writers of rounds and their stops. Each stop is one act of its own, and the same stop twice is one."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Final

from django.db import transaction
from django.utils import timezone

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.bench import actions as bench
from fleet.bench.models import OrderKind
from fleet.bench.queries import choose_work
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError
from fleet.core.kept import AT_ONCE, Kept
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.libraries import actions as libraries
from fleet.notices import actions as notices
from fleet.notices.queries import answered_on
from fleet.registry import actions as registry
from fleet.registry.actions.devices import locked
from fleet.registry.models import Device, Place
from fleet.registry.queries import is_astray
from fleet.rounds.models import Round, RoundStop
from fleet.rounds.queries import latest_stop, round_page, to_do_of
from fleet.rounds.queries.due import ASTRAY
from fleet.schedules import actions as schedules
from fleet.schedules.models import Due, DueAttempt, Plan
from fleet.tags import actions as tags
from fleet.tags.queries import open_quarantine
from fleet.web import clock
from fleet.web.phrases import day as spoken

#: How the register names this way of seeing a driver.
SOURCE: Final = "visit round"

#: How long before its round was begun in the program an answer on paper may have been given: somebody who walks with a
#: sheet of old may begin the round only when back (our own choice).
BEFORE_BEGIN: Final = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class Typed:
    """An answer typed in from paper: the time of the round's day at which it was given; None where it says none."""

    at: time | None = None

    def given_at(self, now: datetime, row: Round) -> datetime:
        """When it was given, after midnight on a round that went on until then.

        Raises BadValueError (field "at") for a time to come, or one too long before the round was begun.
        """
        if self.at is None:
            return now
        given = timezone.make_aware(datetime.combine(row.on, self.at))
        first = row.begun_at - BEFORE_BEGIN
        if given < first and given + timedelta(days=1) <= now:
            given += timedelta(days=1)
        if given > now:
            raise BadValueError(f"{self.at:%H:%M} is still to come. Type the time at which it was done.", field="at")
        if given < first:
            begun = f"{timezone.localtime(row.begun_at):%H:%M}"
            message = f"{self.at:%H:%M} is long before the round, which was begun at {begun}. Look at the paper again."
            raise BadValueError(message, field="at")
        return given


#: How an answer comes in that no screen kept.
AT_ONCE_SENT: Final = Kept()

_What = RoundStop.What
_ATTEMPTS: Final[Mapping[str, DueAttempt.Reason]] = {
    _What.IN_USE.value: DueAttempt.Reason.IN_USE,
    _What.REFUSED.value: DueAttempt.Reason.REFUSED,
}
#: What a driver is taken for when no tag, order or due says so.
_ADVISED: Final = (
    ("alert", OrderKind.CORRECTIVE),
    ("battery", OrderKind.BATTERY),
    ("library", OrderKind.LIBRARY),
    (ASTRAY, OrderKind.CLEANING),
)


@transaction.atomic
def begin(place: Place, on: date, *, by: Actor) -> Round:
    """Begin the round of a place on a day. One that is open already is gone on with, by whomever it was begun."""
    by.must(May.WORK_ON_BENCH)
    if on < clock.today():
        raise BadValueError("This day has passed. A round is made today or on a later day.", field="on")
    Place.objects.select_for_update().get(pk=place.pk)
    if held := Round.objects.filter(place=place, on=on, ended_at=None).first():
        return held
    row = Round.objects.create(place=place, on=on, begun_at=clock.now(), by_id=by.person_id, by_name=by.name[:120])
    record(Happening("began round", row, after={"place": str(place), "on": on}), by=by)
    return row


@transaction.atomic
def meet(visit: Round, device: Device, *, by: Actor, here: Place | None = None, kept: Kept = AT_ONCE_SENT) -> RoundStop:
    """A driver was scanned on the round: it is seen, here. An answer given before stands, unless it was "not found".

    `here`: the ward one stands in, on a round of a building or a site; another ward on record is put right.
    """
    by.must(May.WORK_ON_BENCH)
    held = latest_stop(visit, device)
    if held is None or held.what == _What.NOT_FOUND:
        return stop(visit, device, _What.SEEN, by=by, here=here, kept=kept)
    if here is not None and held.what == _What.SEEN and locked(device).place_id != here.pk:
        before = _see(visit, locked(device), by, here)
        change(held, moved_here=True, moved_from=held.moved_from or before)
    return held


@transaction.atomic
def stop(  # noqa: PLR0913 - what came of a driver, where, by whom, and how the answer came in
    visit: Round,
    device: Device,
    what: str,
    *,
    by: Actor,
    note: str = "",
    here: Place | None = None,
    kept: Kept = AT_ONCE_SENT,
    typed: Typed | None = None,
) -> RoundStop:
    """Write down what came of a driver; the latest answer counts, earlier ones are kept. The same twice is one.

    `kept`: of an answer that waited on a screen; sent again, it is the one that stands already. `typed`: of one that
    was written on paper; it counts from when it was given, and keeps when it was typed in. What is taken is received
    on the bench now.

    Taken: it is received on the bench of the site. Done: what can be done where it stands (its library) is recorded and
    rolled on. In use, refused, not found: a visit in vain to each of its open dues. All but "not found" see it, here.
    Raises ConflictError for a round that ended, MoveRefusedError or BadValueError in words; nothing is written then.
    """
    by.must(May.WORK_ON_BENCH)
    row = Round.objects.select_for_update(of=("self",)).select_related("place").get(pk=visit.pk)
    if kept.key and (known := RoundStop.objects.filter(sent_key=kept.key).select_related("device").first()):
        return _sent_before(known, row, device)
    driver = locked(device)
    held, answer, now = latest_stop(row, driver), _What(what), clock.now()
    if held and (held.what, held.note) == (answer.value, note.strip()):
        return held
    _refuse(row, driver, held, answer)
    given = typed.given_at(now, row) if typed else kept.given_at(now, row.begun_at)
    _refuse_older(driver, held, given)
    fresh = RoundStop(round=row, device=driver, what=answer.value, note=note.strip(), at=given)
    fresh.sent_key, fresh.entered_at = kept.key or None, now if kept.waited or typed else None
    fresh.typed_in = typed is not None
    before = None if answer is _What.NOT_FOUND else _see(row, driver, by, here, given)
    _do(row, driver, fresh, by)
    fresh.moved_here = before is not None or bool(held and held.moved_here)
    fresh.moved_from = before
    _keep(fresh, held, by)
    return fresh


def _refuse(row: Round, driver: Device, held: RoundStop | None, what: RoundStop.What) -> None:
    if row.ended_at:
        raise ConflictError("This round has ended. Begin a new one to go on.")
    if row.on > clock.today():
        raise BadValueError(f"This round is for {spoken(row.on)}. Answer on that day; until then read and print it.")
    if driver.condition == Condition.RETIRED:
        raise MoveRefusedError(
            f"{driver} is retired on record. Do not leave it in use; ask whoever keeps the register."
        )
    if held and held.what == _What.TAKEN:
        raise MoveRefusedError(f"{driver} was taken to the bench on this round. Go on with it there.")
    if driver.quarantined and what in {_What.TAKEN, _What.DONE}:
        message = f"{driver} is under quarantine: leave it as it is. It is handed over with its custody record only."
        raise MoveRefusedError(message)
    if what is _What.REFUSED and driver.condition == Condition.OUT_OF_USE:
        message = f"{driver} is out of use: no ward keeps it. Take it along, or say that it is in use on a patient."
        raise MoveRefusedError(message)
    if what is _What.REFUSED and is_astray(driver):
        message = f"{driver} is for training only: no ward keeps it. Take it along, or say that it is on a patient."
        raise MoveRefusedError(message)


def _sent_before(known: RoundStop, row: Round, device: Device) -> RoundStop:
    if (known.round_id, known.device_id) != (row.pk, device.pk):
        raise ConflictError("This answer was sent before, for another driver or round. Give it anew.")
    return known


def _refuse_older(driver: Device, held: RoundStop | None, given: datetime) -> None:
    """An answer that waited on a screen does not undo one given after it; of one minute, the later sent counts."""
    if held is not None and held.what != _What.SEEN and held.at - given >= AT_ONCE:
        stands = f"{driver} was answered after this, at {timezone.localtime(held.at):%H:%M}: {held.get_what_display()}."
        raise ConflictError(f"{stands} That answer stands; answer again if yours holds now.")


def _see(row: Round, driver: Device, by: Actor, ward: Place | None = None, at: datetime | None = None) -> Place | None:
    """Record the driver as seen where the round is, or in the ward of it one stands in.

    Returns the place it was on record in, where that was another. Under quarantine its custody record says so too.
    """
    before = driver.place
    if ward is not None and not ward.path.startswith(row.place.path):
        raise BadValueError(f"{ward} does not lie in {row.place}. Choose a ward of this round.", field="here")
    here = ward or (before if before.path.startswith(row.place.path) else row.place)
    schedules.scanned(driver, SOURCE, place=here, by=by, at=at)
    seen = registry.see(driver, here, SOURCE, by=by, at=at)
    if seen.place_id == before.pk:
        return None
    if quarantine := open_quarantine(driver):
        purpose = f"Seen at {here} on a visit round; it was on record at {before}. Nobody said who moved it."
        tags.add_custody(quarantine, tags.Custody(received_by=str(here)[:80], purpose=purpose[:200]), by=by)
    return before


def _do(row: Round, driver: Device, fresh: RoundStop, by: Actor) -> None:
    what = _What(fresh.what)
    if what is _What.TAKEN:
        notices.take_in(driver, by=by)
        bench.receive(driver, bench=_bench(row.place), kind=_kind(driver), by=by)
    elif what is _What.DONE:
        _load(driver, fresh.at, by)
    elif what is _What.NOT_FOUND:
        schedules.look_in_vain(driver, row.place, note=fresh.note, at=fresh.at, by=by)
    elif what in _ATTEMPTS:
        if what is _What.IN_USE and (driver.condition != Condition.IN_SERVICE or is_astray(locked(driver))):
            tags.found_in_use(driver, locked(driver).place, note=fresh.note, by=by)
        for due in Due.objects.filter(device=driver, suspended=False, opens_on__lte=clock.today()):
            schedules.attempt(due, _ATTEMPTS[what], note=fresh.note, at=fresh.at, by=by)


def _bench(place: Place) -> Place:
    benches = Place.objects.filter(kind=Place.Kind.BENCH, closed_on=None, site_id=place.site_id)
    found = benches.order_by("name", "pk").first()
    if found is None:
        raise BadValueError("This site has no bench on record. Add one among the places, then take the driver in.")
    return found


def _kind(driver: Device) -> OrderKind | None:
    """None where the bench finds the work by itself; else what the reasons of the round are. Refused without any."""
    try:
        choose_work(driver, None)
    except BadValueError:
        reasons = {reason.kind for reason in to_do_of(driver, clock.today()).reasons}
        kind = next((kind for reason, kind in _ADVISED if reason in reasons), None)
        if kind is None:
            message = f"Nothing is due on {driver}. If something is wrong with it, tag it; it is taken in for that."
            raise BadValueError(message) from None
        return kind
    return None


def _load(driver: Device, at: datetime, by: Actor) -> None:
    load = to_do_of(driver, clock.today()).load
    if load is None:
        if not answered_on(driver, clock.today()):
            raise BadValueError(
                f"Nothing on {driver} was done on the spot: a library is loaded where it stands, or a safety notice "
                "answered first."
            )
        return
    libraries.carries(driver, load, seen_at=at, source=SOURCE, by=by)
    open_now = Due.objects.filter(device=driver, suspended=False, opens_on__lte=clock.today())
    for due in open_now.filter(plan__kind=Plan.Kind.LIBRARY):
        schedules.roll(due, done_on=clock.local_day(at), by=by)


def _keep(fresh: RoundStop, held: RoundStop | None, by: Actor) -> None:
    if held:
        change(held, latest=False)
    fresh.save(force_insert=True)
    after = {"round": fresh.round_id, "what": str(fresh.get_what_display()), "moved_here": fresh.moved_here}
    told = Happening("met on a round", fresh, device_id=fresh.device_id, after=after, why=fresh.note)
    if fresh.typed_in:
        told = replace(told, done_at=fresh.at, after={**after, "typed in later": True})
    record(told, by=by)


@transaction.atomic
def undo(visit: Round, device: Device, *, by: Actor) -> RoundStop:
    """Take back the answer that counts for a driver: its visits in vain go too, and the answer before it counts again.

    The answer stays on record. What was done to a driver can't be undone here, and says where it can be put right.
    """
    by.must(May.WORK_ON_BENCH)
    row = Round.objects.select_for_update(of=("self",)).select_related("place").get(pk=visit.pk)
    driver, held = locked(device), latest_stop(row, device)
    if held is None:
        raise ConflictError(f"No answer for {driver} stands on this round any more.")
    _refuse_undo(row, driver, held)
    schedules.take_back(driver, held.at, by=by)
    if held.moved_from:
        registry.see(driver, held.moved_from, f"{SOURCE}, taken back", by=by)
    change(held, latest=False, taken_back_at=clock.now())
    before = row.stops.filter(device=driver, taken_back_at=None).first()
    if before is not None:
        change(before, latest=True)
    told = {"what": str(held.get_what_display())}
    record(Happening("took back an answer of a round", held, device_id=driver.pk, before=told), by=by)
    return held


def _refuse_undo(row: Round, driver: Device, held: RoundStop) -> None:
    if row.ended_at:
        raise ConflictError("This round has ended; its answers stand.")
    if held.what == _What.TAKEN:
        raise MoveRefusedError(f"{driver} is received on the bench. Finish its order there, or hold it back there.")
    if held.what == _What.DONE:
        raise MoveRefusedError(f"The library of {driver} was recorded as loaded; what was done can't be taken back.")
    if held.what == _What.IN_USE and driver.condition != Condition.IN_SERVICE:
        raise MoveRefusedError(f"That {driver} was in use while out of use is reported on its tag, and stays there.")
    if held.what == _What.NOT_FOUND and driver.condition == Condition.NOT_LOCATED:
        raise MoveRefusedError(f"{driver} is recorded as not located by now. Scan it, and it is found.")


@transaction.atomic
def end(visit: Round, *, by: Actor, note: str = "") -> Round:
    """End a round; what is left stays due. Ending it twice is ending it once."""
    by.must(May.WORK_ON_BENCH)
    row = Round.objects.select_for_update(of=("self",)).select_related("place__site").get(pk=visit.pk)
    if row.ended_at:
        return row
    page = round_page(row)
    before, after = change(row, ended_at=clock.now(), note=note.strip())
    told = {**after, **dict(page.came_of_it), "left": len(page.left)}
    record(Happening("ended round", row, before=before, after=told), by=by)
    return row
