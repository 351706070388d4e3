"""The only writers of what was counted and of what is missing."""

from collections.abc import Mapping

from django.db import transaction

from fleet.accessories.models import Missing, Tally, TallyLine
from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.registry.actions.devices import locked
from fleet.registry.models import Accessory, Device, Place
from fleet.schedules import actions as schedules
from fleet.web import clock

#: Accessory (its id) -> how many of it were there.
Counted = Mapping[int, int]


@transaction.atomic
def count(
    device: Device, counted: Counted, occasion: Tally.Occasion, *, by: Actor, place: Place | None = None
) -> list[Missing]:
    """Write down what lay with a driver, and return what it lacks now.

    What is fewer than belongs is missing, from `place` (where the driver is on record, unless given); what is all there
    again is found. Accessories left out were not looked at: nothing is said of them. A driver that was not located is
    found by it.
    """
    if not by.duties & {May.HAND_OVER, May.WORK_ON_BENCH}:
        by.must(May.HAND_OVER)
    row = locked(device)
    belonging = {each.pk: each for each in Accessory.objects.filter(device_type=row.device_type_id)}
    _check(row, belonging, counted)
    if counted:
        tally = Tally(device=row, occasion=occasion.value, place=place or row.place)
        _keep(tally, belonging, counted, by)
        for pk, there in counted.items():
            _settle(tally, belonging[pk], there, by)
        schedules.scanned(row, "a count of its accessories", by=by, place=place)
    return list(Missing.objects.select_related("accessory", "place").filter(device=row, ended_at=None))


def _check(device: Device, belonging: Mapping[int, Accessory], counted: Counted) -> None:
    for pk, there in counted.items():
        if pk not in belonging:
            raise BadValueError(f"This does not belong to {device}: count what its type lists.", field=f"part_{pk}")
        if not 0 <= there <= belonging[pk].quantity:
            message = f"{belonging[pk].quantity} of {belonging[pk]} belong to {device}; say how many of them are there."
            raise BadValueError(message, field=f"part_{pk}")


def _keep(tally: Tally, belonging: Mapping[int, Accessory], counted: Counted, by: Actor) -> None:
    tally.at, tally.by_id, tally.by_name = clock.now(), by.person_id, by.name[:120]
    tally.save()
    TallyLine.objects.bulk_create(
        TallyLine(tally=tally, accessory=belonging[pk], belongs=belonging[pk].quantity, there=there)
        for pk, there in counted.items()
    )
    told = {str(belonging[pk]): f"{there} of {belonging[pk].quantity}" for pk, there in counted.items()}
    after = {"occasion": tally.occasion, "place": str(tally.place), **told}
    record(Happening("counted accessories", tally, device_id=tally.device_id, after=after), by=by)


def _settle(tally: Tally, accessory: Accessory, there: int, by: Actor) -> None:
    lacking = accessory.quantity - there
    # By name: a type may state the same accessory anew in another number while one is missing.
    open_ones = Missing.objects.select_for_update().filter(device=tally.device, ended_at=None)
    row = open_ones.filter(accessory__name=accessory.name).first()
    if row is not None and not lacking:
        _end(row, Missing.Ended.FOUND, "Counted again, all there.", by)
    elif row is not None and row.quantity != lacking:
        before, after = change(row, quantity=lacking)
        record(Happening("missing accessory", row, device_id=row.device_id, before=before, after=after), by=by)
    elif row is None and lacking:
        _miss(tally, accessory, lacking, by)


def _miss(tally: Tally, accessory: Accessory, lacking: int, by: Actor) -> None:
    row = Missing.objects.create(
        device=tally.device,
        accessory=accessory,
        quantity=lacking,
        place=tally.place,
        since=tally.at,
        occasion=tally.occasion,
    )
    after = {"quantity": lacking, "place": str(tally.place)}
    record(Happening("missing accessory", row, device_id=row.device_id, after=after), by=by)


@transaction.atomic
def end(missing: Missing, how: Missing.Ended, *, by: Actor, note: str = "") -> Missing:
    """Say what came of a missing accessory. Found: anybody who may report; else whoever hands drivers over."""
    if how is Missing.Ended.FOUND:
        by.must(May.REPORT_FAULT)
    elif not by.duties & {May.HAND_OVER, May.WORK_ON_BENCH}:
        by.must(May.HAND_OVER)
    if how is Missing.Ended.GIVEN_UP and not note.strip():
        raise BadValueError("Say why it is given up, and what the driver is used with instead.", field="note")
    row = Missing.objects.select_for_update().get(pk=missing.pk)
    if row.ended_at is None:
        _end(row, how, note.strip(), by)
    return row


def _end(row: Missing, how: Missing.Ended, note: str, by: Actor) -> None:
    before, after = change(row, ended_at=clock.now(), ended=how.value, ended_note=note)
    verb = f"missing accessory {how.label.lower()}"
    record(Happening(verb, row, device_id=row.device_id, before=before, after=after, why=note), by=by)
