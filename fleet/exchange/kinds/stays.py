"""Which pack was in which driver on a day: what files of tests and of cycle counts rest on."""

from collections.abc import Iterable, Sequence
from datetime import date

from fleet.batteries.models import Fitting, Pack
from fleet.exchange.cells import unknown
from fleet.exchange.columns import Table
from fleet.exchange.kinds.common import Scope, batches
from fleet.registry.models import Device
from fleet.web.phrases import day as spoken


def stays_of(devices: Iterable[Device | None]) -> dict[int, list[Fitting]]:
    """Every stay of a pack in these drivers, by driver, the latest first."""
    found: dict[int, list[Fitting]] = {}
    for part in batches({device.pk for device in devices if device}):
        for stay in Fitting.objects.filter(device__in=part).select_related("pack").order_by("-fitted_on", "-id"):
            found.setdefault(stay.device_id, []).append(stay)
    return found


def pack_on(stays: Sequence[Fitting], on: date) -> Pack | None:
    """The pack that was in the driver on a day; on the day of a swap, the one that went in."""
    there = (one for one in stays if one.fitted_on <= on and not (one.removed_on and one.removed_on < on))
    return next((one.pack for one in there), None)


def packs_named(table: Table, scope: Scope, name: str) -> dict[str, Pack]:
    """The packs that a column names by number; a row whose pack is not there, or not theirs, is refused."""
    column = table.column(name)
    numbers = {value for value in column if value}
    rows = Pack.objects.all() if scope.person is None else Pack.objects.all().within(scope.person)
    known: dict[str, Pack] = {}
    for part in batches(sorted(numbers)):
        known |= {pack.number: pack for pack in rows.filter(number__in=part)}
    lost = numbers - set(known)
    some = list(rows.values_list("number", flat=True)[:500]) if lost else []
    for index, value in enumerate(column):
        if value in lost:
            table.refuse(index, name, unknown(value, some, "pack of yours"))
    return known


def packs_of_rows(
    table: Table, scope: Scope, devices: Sequence[Device | None], days: Sequence[date | None]
) -> list[Pack | None]:
    """The pack each row is about: the one named, or the one that was in the named driver that day."""
    named, stays = packs_named(table, scope, "pack"), stays_of(devices)
    packs: list[Pack | None] = []
    for index, (number, device, on) in enumerate(zip(table.column("pack"), devices, days, strict=True)):
        if number:
            packs.append(_of_its_type(table, index, named.get(number), device))
        elif device and on:
            packs.append(_pack_then(table, index, stays.get(device.pk, []), device, on=on))
        else:
            packs.append(None)
    return packs


def _pack_then(table: Table, index: int, stays: Sequence[Fitting], device: Device, *, on: date) -> Pack | None:
    pack = pack_on(stays, on)
    if pack is None:
        words = f"{device} had no pack on record on {spoken(on)}. Take the packs in first, or name the pack."
        table.refuse(index, "device", words)
    return pack


def _of_its_type(table: Table, index: int, pack: Pack | None, device: Device | None) -> Pack | None:
    if pack and device and pack.for_type_id != device.device_type_id:
        table.refuse(index, "pack", f"Pack {pack} is for another type than {device}. Compare both numbers.")
        return None
    return pack
