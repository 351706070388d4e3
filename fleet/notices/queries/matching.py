"""Which drivers and packs an edition's criteria take, on the register as it stands."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fleet.batteries.models import Fitting, Pack
from fleet.core.lifecycle import Condition
from fleet.core.matching import Driver, Fit, Fitted, Line, fit, pack_fits, written_otherwise
from fleet.notices.models import Edition
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceQuerySet


@dataclass(frozen=True, slots=True)
class Found:
    """A driver that fits, light: its id, how it fits, and whether it was retired when the notice was issued."""

    device_id: int
    fit: Fit
    retired_before: bool


@dataclass(frozen=True, slots=True)
class Preview:
    """What opening an edition would take, counted over all places.

    `elsewhere`: of them, at places that the reader does not see. `unlike`: drivers of the types, in the reader's
    places, outside the range and with a serial number written unlike its ends.
    """

    total: int
    not_located: int
    retired_before: int
    not_known: int
    elsewhere: int
    unlike: tuple[Device, ...]
    packs: tuple[Pack, ...]


def lines_of(edition: Edition) -> list[Line]:
    """The criteria that hold, as the core compares them."""
    return [criterion.line for criterion in edition.criteria.filter(dropped_at=None)]


def drivers_of(lines: Sequence[Line]) -> DeviceQuerySet:
    """Every driver of the types that are named."""
    rows: DeviceQuerySet = Device.objects.filter(device_type__in={line.device_type for line in lines})
    return rows


def on_record(rows: DeviceQuerySet, lines: Sequence[Line]) -> Iterator[tuple[Device, Driver]]:
    """Each driver with what the core compares; packs are read where a line asks for them. Two queries at most."""
    fitted: dict[int, Fitted] = {}
    if any(line.about_packs for line in lines):
        held = Fitting.objects.filter(removed_on=None, device__in=rows.order_by().values("pk"))
        told = held.order_by().values_list("device", "pack__part_number", "pack__date_code")
        fitted = {device: Fitted(part, code) for device, part, code in told}
    wanted = ("asset_number", "device_type", "serial_number", "firmware", "condition", "retired_on", "home", "place")
    for device in rows.only(*wanted).order_by("pk"):
        pack = fitted.get(device.pk)
        yield device, Driver(device.device_type_id, device.serial_number, device.firmware, pack)


def found(edition: Edition, rows: DeviceQuerySet | None = None) -> list[Found]:
    """The drivers that the edition's criteria take, of all places."""
    lines = lines_of(edition)
    return [
        Found(device.pk, how, retired_before(device, edition))
        for device, driver in on_record(drivers_of(lines) if rows is None else rows, lines)
        if (how := fit(lines, driver))
    ]


def retired_before(device: Device, edition: Edition) -> bool:
    """Whether a driver was retired before the notice was issued, and is still."""
    on = device.retired_on
    return device.condition == Condition.RETIRED and on is not None and on < edition.issued_on


def preview(edition: Edition, person: Person) -> Preview:
    """Count what opening the edition would take, and what to look at by hand."""
    lines = lines_of(edition)
    known = list(on_record(drivers_of(lines), lines))
    taken = [(device, how) for device, driver in known if (how := fit(lines, driver))]
    seen = set(drivers_of(lines).within(person).values_list("pk", flat=True))
    return Preview(
        total=len(taken),
        not_located=sum(device.condition == Condition.NOT_LOCATED for device, _ in taken),
        retired_before=sum(retired_before(device, edition) for device, _ in taken),
        not_known=sum(bool(how.not_known) for _, how in taken),
        elsewhere=sum(device.pk not in seen for device, _ in taken),
        unlike=tuple(device for device, driver in known if device.pk in seen and written_otherwise(lines, driver)),
        packs=packs_on_shelves(lines),
    )


def packs_on_shelves(lines: Sequence[Line]) -> tuple[Pack, ...]:
    """Packs that lie in no driver and that a line names: to be kept apart."""
    about = [line for line in lines if line.about_packs]
    lying = Pack.objects.filter(state__in=[Pack.State.STOCK, Pack.State.REMOVED]).order_by("number")
    of_types = lying.filter(for_type__in={line.device_type for line in about})
    return tuple(
        pack
        for pack in of_types
        if any(
            line.device_type == pack.for_type_id and pack_fits(line, Fitted(pack.part_number, pack.date_code))
            for line in about
        )
    )
