"""The drivers of a notice kept in step with the register: who is concerned, who came later, who matches no more."""

from collections.abc import Callable
from dataclasses import dataclass

from django.db import transaction

from fleet.audit.actions import Happening, record, record_many
from fleet.audit.actors import Actor, job_actor
from fleet.audit.changes import change
from fleet.core.matching import why_not
from fleet.notices import queries
from fleet.notices.actions.orders import raise_missing
from fleet.notices.models import Affected, Edition, Notice
from fleet.registry.models import Device
from fleet.web import clock

BATCH = 500


@dataclass(frozen=True, slots=True)
class Matched:
    """What matching changed: drivers that are new, and those that match no more."""

    new: int = 0
    gone: int = 0


def match(notice: Notice, edition: Edition, *, by: Actor, later: bool) -> Matched:
    """Match an edition with the register as it stands. The caller holds the notice's lock and a transaction.

    `later`: the notice was open before, so a driver that is new came to it afterwards. Nothing is taken away: a driver
    that matches no more stays, with the reason, until somebody answers it.
    """
    found = {each.device_id: each for each in queries.found(edition)}
    known = {line.device_id: line for line in notice.drivers.select_for_update(of=("self",))}
    fresh = [
        Affected(
            notice=notice,
            device_id=pk,
            matched_at=clock.now(),
            later=later,
            not_known="; ".join(each.fit.not_known),
            retired_before=each.retired_before,
        )
        for pk, each in found.items()
        if pk not in known
    ]
    Affected.objects.bulk_create(fresh, batch_size=BATCH)
    told = {"notice": notice.number, "title": edition.title}
    record_many((Happening("safety notice concerns it", notice, line.device_id, after=told) for line in fresh), by=by)
    for pk in known.keys() & found.keys():
        _still(known[pk], found[pk], by)
    gone = _gone(edition, {pk: line for pk, line in known.items() if pk not in found}, by)
    change(notice, matched_at=clock.now())
    return Matched(len(fresh), gone)


def _still(line: Affected, found: queries.Found, by: Actor) -> None:
    if line.state != Affected.State.OPEN:
        return
    values = {"not_known": "; ".join(found.fit.not_known), "retired_before": found.retired_before}
    before, after = change(line, matches_no_more="", **values)
    if after:
        record(Happening("safety notice matches it anew", line, line.device_id, before=before, after=after), by=by)


def _gone(edition: Edition, lines: dict[int, Affected], by: Actor) -> int:
    fresh = {pk: line for pk, line in lines.items() if line.state == Affected.State.OPEN and not line.matches_no_more}
    if not fresh:
        return 0
    criteria = queries.lines_of(edition)
    for device, driver in queries.on_record(Device.objects.filter(pk__in=fresh), criteria):
        line = fresh[device.pk]
        before, after = change(line, matches_no_more=why_not(criteria, driver)[:300])
        record(Happening("safety notice matches it no more", line, device.pk, before=before, after=after), by=by)
    return len(fresh)


def match_all(progress: Callable[[int, int | None], None]) -> dict[str, int]:
    """Match every notice that drivers may still come to; one transaction each. Begun again, it changes nothing more."""
    by, totals = job_actor("match_notices"), {"notices": 0, "new": 0, "gone": 0, "orders": 0}
    rows = list(queries.to_match())
    for number, row in enumerate(rows, start=1):
        matched = _match_again(row, by)
        totals["notices"] += 1
        totals["new"] += matched.new
        totals["gone"] += matched.gone
        totals["orders"] += raise_missing(row, by=by)
        progress(number, len(rows))
    return totals


@transaction.atomic
def _match_again(notice: Notice, by: Actor) -> Matched:
    row = Notice.objects.select_for_update(of=("self",)).select_related("edition").get(pk=notice.pk)
    if row.edition is None or not queries.to_match().filter(pk=row.pk).exists():
        return Matched()
    matched = match(row, row.edition, by=by, later=True)
    if matched.new and row.state == Notice.State.CLOSED:
        values = {"closed_at": None, "closed_how": "", "closed_why": "", "closed_by_name": ""}
        before, after = change(row, state=Notice.State.OPEN, **values)
        why = f"{matched.new} driver{'' if matched.new == 1 else 's'} came that it concerns."
        record(Happening("opened safety notice again", row, before=before, after=after, why=why), by=by)
    return matched
