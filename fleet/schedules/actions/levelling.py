"""A proposal to level the work: made, reckoned, taken up or dropped. It moves no due and no window."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from typing import Final

from django.db import transaction

from fleet.audit.actions import Happening, record, record_many
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError, ConflictError
from fleet.core.levelling import Absence, level
from fleet.core.levelling import Plan as Levelled
from fleet.core.permissions import May
from fleet.jobs.actions import enqueue
from fleet.registry.models import Place
from fleet.schedules.actions.reckon import lock_devices
from fleet.schedules.models import Due, Levelling, Plan
from fleet.schedules.queries import levelling as queries
from fleet.schedules.queries.days import WorkCalendar, work_calendar
from fleet.schedules.queries.levelling import WEEK, Row, Work
from fleet.web import clock

#: The kind of job that reckons a large proposal.
JOB: Final = "level_dues"
#: Up to so many dues a proposal is reckoned while the page waits: a second or two.
AT_ONCE: Final = 800
BATCH: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a proposal is to be made for: `minutes` by kind of plan (0 leaves the kind out), `most_away` up to 1.

    `absences` of those who work, and the `shares` of wards that can spare more or fewer than the others.
    """

    place: Place | None
    hours_a_week: Decimal
    most_away: Decimal
    minutes: Mapping[str, int]
    weeks: int = 52
    absences: Sequence[Absence] = ()
    shares: Mapping[Place, Decimal] = field(default_factory=dict)

    def as_stored(self) -> dict[str, object]:
        """What the proposal keeps of this beside its own columns."""
        away = [[each.who, each.first.isoformat(), each.last.isoformat(), each.hours] for each in self.absences]
        shares = [[place.pk, str(place), float(share)] for place, share in self.shares.items()]
        return {"minutes": dict(self.minutes), "away": away, "shares": shares}


@transaction.atomic
def propose(asked: Asked, *, by: Actor) -> Levelling:
    """Make a proposal from the dues as they stand; a large one is reckoned by a job.

    Raises BadValueError for no hours, a share of 0 or above 1 or no minutes at all.
    """
    by.must(May.DEFER_DUE)
    _check(asked)
    row = Levelling.objects.create(
        made_at=clock.now(),
        by_name=by.name[:120],
        place=asked.place,
        weeks=asked.weeks,
        hours_a_week=asked.hours_a_week,
        most_away=asked.most_away,
        result=asked.as_stored(),
    )
    where = str(asked.place) if asked.place else "all places"
    record(Happening("proposed a levelling", row, after={"for": where, "hours a week": asked.hours_a_week}), by=by)
    if queries.dues_to_level(asked.place, asked.minutes).count() > AT_ONCE:
        enqueue(JOB, key=f"{JOB}:{row.pk}", payload={"levelling": row.pk})
    else:
        reckon(row.pk)
        row.refresh_from_db()
    return row


def _check(asked: Asked) -> None:
    if asked.hours_a_week <= 0:
        raise BadValueError("Give the hours that there are in a week.", field="hours_a_week")
    if any(each.last < each.first or each.hours < 0 for each in asked.absences):
        raise BadValueError("An absence ends on its first day or later, and takes hours above 0.", field="who1")
    if not all(0 < share <= 1 for share in (asked.most_away, *asked.shares.values())):
        raise BadValueError("The share of a ward's drivers lies above 0 and up to 100 %.", field="most_away")
    if set(asked.minutes) - set(Plan.Kind) or min(asked.minutes.values()) < 0 or not any(asked.minutes.values()):
        raise BadValueError("Give minutes for at least one kind of work, and none below 0.", field="service")


def reckon(levelling_id: int) -> dict[str, int]:
    """Fill in the result of a proposal; one that has it, or was dropped, is left. Counts are returned."""
    row = Levelling.objects.select_related("place").get(pk=levelling_id)
    if "before" in row.result or row.dropped_at:
        return {"dues": 0}
    today = clock.today()
    monday, minutes = queries.first_monday(today), row.result["minutes"]
    work = queries.work(row, minutes, monday, today)
    found = level(work.jobs, work.bench)
    result = {**row.result, "monday": monday.isoformat(), **_result(work, found, float(row.hours_a_week))}
    Levelling.objects.filter(pk=row.pk, dropped_at=None).update(result=result)
    return {"dues": len(result["dues"]), "without a week": len(found.why)}


def _result(work: Work, found: Levelled, hours: float) -> dict[str, object]:
    dues = [
        item.as_stored(week, found.why[at].value if at in found.why else "")
        for at, (item, week) in enumerate(zip(work.items, found.weeks, strict=True))
        if not item.again
    ]
    dues += [item.as_stored(None, queries.NoWeek.BEFORE.value) for item in work.too_soon if not item.again]
    return {
        "before": found.before.tolist(),
        "after": found.after.tolist(),
        "minutes a week": list(work.bench.minutes),
        "plain": found.greedy * hours,
        "bound": found.bound * hours,
        "best": found.best,
        "visits": found.visits,
        "again": sum(item.again for item in work.items),
        "dues": dues,
    }


@transaction.atomic
def take_up(levelling: Levelling, *, by: Actor) -> int:
    """Write the planned week on each due that still stands as it did; how many is returned.

    A due that was done, moved or retired since is left, and so is one whose planned week has gone by.
    """
    by.must(May.DEFER_DUE)
    row = _open(levelling)
    proposal = queries.proposal(row)
    if proposal is None:
        raise ConflictError("This proposal is still being reckoned; look again in a minute.")
    this_week = clock.today() - timedelta(days=clock.today().weekday())
    rows = [one for one in proposal.rows if one.week is not None and proposal.monday + one.week * WEEK >= this_week]
    written = 0
    for start in range(0, len(rows), BATCH):
        written += _write(rows[start : start + BATCH], proposal, by)
    change(row, taken_up_at=clock.now(), taken_up_by=by.name[:120])
    record(Happening("took up a levelling", row, after={"dues given a week": written}), by=by)
    return written


def _write(rows: Iterable[Row], proposal: queries.Proposal, by: Actor) -> int:
    planned = {one.due: one for one in rows}
    lock_devices(Due.objects.filter(pk__in=planned).values_list("device_id", flat=True))
    happenings, changed, worked = [], [], work_calendar()
    live = Due.objects.select_for_update(of=("self",)).filter(pk__in=planned, suspended=False)
    for due in live.select_related("device__home"):
        one = planned[due.pk]
        if one.week is None or (due.due_on, due.opens_on, due.closes_on) != (one.due_on, one.opens_on, one.closes_on):
            continue
        before, due.planned_for = due.planned_for, _first_day(due, proposal.monday + one.week * WEEK, worked)
        changed.append(due)
        if before != due.planned_for:
            was, now = {"planned_for": before}, {"planned_for": due.planned_for}
            happenings.append(Happening("planned for a week", due, device_id=due.device_id, before=was, after=now))
    Due.objects.bulk_update(changed, ["planned_for"])
    record_many(happenings, by=by)
    return len(changed)


def _first_day(due: Due, monday: date, worked: WorkCalendar) -> date:
    """The first day of the week on which its window is open and somebody works; where nobody does, the first open."""
    closed = worked.closed(due.device.home.path)
    open_days = [day for day in (monday + timedelta(days=at) for at in range(5)) if day >= due.opens_on]
    in_time = [day for day in open_days if day <= due.closes_on] or open_days
    return next((day for day in in_time if not closed(day)), (in_time or [monday])[0])


@transaction.atomic
def drop(levelling: Levelling, *, by: Actor) -> Levelling:
    """Set a proposal aside that is not taken up. It stays on record."""
    by.must(May.DEFER_DUE)
    row = _open(levelling)
    change(row, dropped_at=clock.now())
    record(Happening("dropped a levelling", row), by=by)
    return row


def _open(levelling: Levelling) -> Levelling:
    row = Levelling.objects.select_for_update().get(pk=levelling.pk)
    if row.taken_up_at or row.dropped_at:
        words = "taken up" if row.taken_up_at else "dropped"
        raise ConflictError(f"This proposal was {words} already; make a new one.")
    return row
