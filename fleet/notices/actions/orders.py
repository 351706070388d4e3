"""Orders and tags for the drivers of a notice. The end of such an order is the driver's answer, and is read there."""

from collections.abc import Iterable
from typing import Final

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.bench.actions import raise_order
from fleet.bench.actions.holding import hold, put
from fleet.bench.models import Order, OrderKind
from fleet.bench.queries.facts import open_orders
from fleet.core.errors import BadValueError, ConflictError
from fleet.core.orders import OPEN_STATES
from fleet.core.permissions import May
from fleet.notices import queries
from fleet.notices.models import Affected, AffectedQuerySet, Edition, Notice, Standing
from fleet.registry.models import Device
from fleet.tags import actions as tags
from fleet.tags.models import TagReport, YesNo
from fleet.tags.report import Report

#: Orders raised while a page waits; a job raises the others.
AT_ONCE: Final = 100


@transaction.atomic
def raise_orders(lines: Iterable[Affected], *, by: Actor) -> list[Order]:
    """Raise an order of a notice's kind for each driver, or note the notice on the one that is open.

    Drivers that are not open, and those that have such an order, are left alone.
    """
    by.must(May.WORK_ON_BENCH)
    asked = {line.pk for line in lines}
    return [order for line in _waiting(queries.lines().filter(pk__in=asked)) if (order := _raise(line, by))]


def raise_missing(notice: Notice, *, by: Actor, most: int | None = None) -> int:
    """Raise the orders that a notice asks for and that are not there yet, each driver by itself; how many."""
    if notice.state != Notice.State.OPEN or notice.edition is None or not notice.edition.raises_orders:
        return 0
    waiting = _waiting(queries.lines().filter(notice=notice))
    return sum(len(raise_orders([line], by=by)) for line in waiting[:most])


def take_in(device: Device, *, by: Actor) -> list[Order]:
    """A driver goes to the bench: an order for each notice that is not done where it stands."""
    rows = queries.open_lines(Device.objects.filter(pk=device.pk))
    return raise_orders(rows.filter(notice__edition__on_the_spot=False), by=by)


@transaction.atomic
def tag(lines: Iterable[Affected], why: str, *, by: Actor) -> list[Affected]:
    """Tag drivers out of use for what a notice says, with the reason. Those with an open tag get it as a report.

    Returns the drivers tagged; those not open, or tagged for it already, are left alone.
    """
    by.must(May.KEEP_NOTICES)
    if not why.strip():
        raise BadValueError("Say why they are taken out of use now, for the wards that read the tag.", field="why")
    asked = {line.pk for line in lines}
    rows = queries.lines().filter(pk__in=asked).so(Standing.OPEN)
    untagged = [line for line in rows if line.tag is None or line.tag.cleared_at is not None]
    for line in untagged:
        _tag(line, why.strip(), by)
    return untagged


def _tag(line: Affected, why: str, by: Actor) -> None:
    said = _edition(line)
    report = Report(
        what=TagReport.What.OTHER,
        words=f"Safety notice {line.notice.number}, {said.title}: {said.get_action_display().lower()}. {why}",
        connected=YesNo.NOT_SURE,
        harm=YesNo.NO,
        where=str(line.device.place)[:120],
        reporter=by.name[:80],
        reach=f"whoever keeps safety notice {line.notice.number}",
    )
    raised = tags.raise_tag(line.device, report, by=by)
    before, after = change(line, tag=raised.tag)
    happening = Happening("tagged for safety notice", line, line.device_id, before=before, after=after, why=why)
    record(happening, by=by)


def _waiting(rows: AffectedQuerySet) -> list[Affected]:
    """The open drivers without an order that is under way."""
    open_now = rows.so(Standing.OPEN)
    under_way = open_now.filter(order__state__in=[state.value for state in OPEN_STATES])
    return list(open_now.exclude(pk__in=under_way.values("pk")))


def _raise(line: Affected, by: Actor) -> Order | None:
    row = Affected.objects.select_for_update(of=("self",)).select_related("order").get(pk=line.pk)
    if row.order is not None and row.order.state in OPEN_STATES:
        return None
    words = _words(line)
    if held := open_orders(line.device).filter(kind=OrderKind.NOTICE).first():
        order = hold(held, by)
        put(order, "noted safety notice", by=by, reported="\n".join(filter(None, [order.reported, words])))
    else:
        order = raise_order(line.device, OrderKind.NOTICE, by=by, reported=words)
    before, after = change(row, order=order)
    record(Happening("raised order for safety notice", row, row.device_id, before=before, after=after), by=by)
    return order


def _words(line: Affected) -> str:
    said = _edition(line)
    return f"Safety notice {line.notice.number}, {said.title}: {said.get_action_display().lower()}. {said.words}"


def _edition(line: Affected) -> Edition:
    if line.notice.edition is None:
        raise ConflictError(f"{line.notice} says nothing yet.")
    return line.notice.edition
