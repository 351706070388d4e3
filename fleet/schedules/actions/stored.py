"""The due columns kept on each driver, so that lists need no arithmetic."""

from collections.abc import Collection, Iterable
from datetime import date

from fleet.core.due import earliest
from fleet.registry.actions import note_due, note_dues
from fleet.registry.models import Device
from fleet.schedules.models import Due

_COLUMNS = ("device_id", "due_on", "closes_on", "late_since")
Row = tuple[int, date, date, date | None]
Stored = tuple[date | None, date | None, date | None]


def store(device: Device) -> None:
    """Write the driver's earliest live due on it, in the database and on the object given."""
    next_due, closes, late = _stored(_rows([device.pk]))
    note_due(device, next_due=next_due, closes=closes, late_since=late)
    device.next_due, device.next_due_closes, device.late_since = next_due, closes, late


def store_many(device_ids: Collection[int]) -> None:
    """Write the earliest live dues of several drivers in few statements."""
    by_device: dict[int, list[Row]] = {pk: [] for pk in device_ids}
    for row in _rows(device_ids):
        by_device[row[0]].append(row)
    note_dues({pk: _stored(rows) for pk, rows in by_device.items()})


def _rows(device_ids: Collection[int]) -> Iterable[Row]:
    return Due.objects.filter(device_id__in=device_ids, suspended=False).order_by("due_on", "id").values_list(*_COLUMNS)


def _stored(rows: Iterable[Row]) -> Stored:
    held = list(rows)
    if not held:
        return None, None, None
    return held[0][1], held[0][2], earliest(*(row[3] for row in held))
