"""Packs: added, fitted, removed, moved, scrapped. Each stay in a driver is a row that is closed, never overwritten."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction

from fleet.audit.actions import Happening, record, record_many
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.batteries.actions.purchases import packs_arrive
from fleet.batteries.actions.use import tell_use
from fleet.batteries.models import CycleCount, Fitting, Forecast, Pack
from fleet.batteries.queries import pack_price
from fleet.bench.actions import book_packs
from fleet.bench.models import Order, PackFitted
from fleet.core.errors import BadValueError, MoveRefusedError, NotAllowedError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.registry.actions import next_numbers
from fleet.registry.models import Device, DeviceType, Party
from fleet.schedules import actions as schedules
from fleet.tags import actions as tags
from fleet.tags.models import TagReport, YesNo
from fleet.tags.queries import open_quarantine
from fleet.tags.report import Report
from fleet.web import clock
from fleet.web.phrases import day

BATCH = 1000
_NOTHING = Decimal(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPack:
    """A pack to be added. Without a number the next of our own series is given."""

    for_type: DeviceType
    maker: Party
    part_number: str
    chemistry: str
    number: str = ""
    date_code: str = ""
    made_on: date | None = None
    price: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NewFitting:
    """A pack that went into a driver on a day; `known` is false where only the latest possible day is known."""

    pack: Pack
    device: Device
    on: date
    known: bool = True


@transaction.atomic
def add_pack(new: NewPack, *, by: Actor, ordered: bool = False) -> Pack:
    """Add one pack to the stock; one that was `ordered` counts as come against what is on order for its type."""
    pack = add_packs([new], by=by)[0]
    if ordered:
        packs_arrive(new.for_type, 1, by=by)
    return pack


@transaction.atomic
def add_packs(news: Sequence[NewPack], *, by: Actor) -> list[Pack]:
    """Add packs to the stock, all or none. Raises BadValueError that names the pack number which is taken."""
    _must_handle(by)
    free = iter(_free_numbers(sum(not new.number for new in news)))
    packs = [_fresh(new, new.number or next(free)) for new in news]
    numbers = [pack.number for pack in packs]
    if twice := next((number for number in numbers if numbers.count(number) > 1), "") if len(packs) < BATCH else "":
        raise BadValueError(f"Pack number {twice} stands twice. Each pack has its own.", field="number")
    for start in range(0, len(numbers), BATCH):
        if taken := Pack.objects.filter(number__in=numbers[start : start + BATCH]).first():
            raise BadValueError(f"Pack number {taken.number} belongs to another pack.", field="number")
    Pack.objects.bulk_create(packs, batch_size=BATCH)
    record_many((Happening("added pack", pack, after=_facts(pack)) for pack in packs), by=by)
    return packs


def _must_handle(by: Actor) -> None:
    if not by.duties & {May.WORK_ON_BENCH, May.KEEP_STORE, May.IMPORT_RECORDS}:
        raise NotAllowedError(f"{by.name} may not handle packs. It needs the duty “{May.WORK_ON_BENCH.label}”.")


def _fresh(new: NewPack, number: str) -> Pack:
    return Pack(
        number=number,
        maker=new.maker,
        part_number=new.part_number,
        chemistry=new.chemistry,
        date_code=new.date_code,
        made_on=new.made_on,
        for_type=new.for_type,
        price=new.price,
    )


def _free_numbers(how_many: int) -> list[str]:
    """Numbers of our own series that no pack has, however it came by it."""
    free: list[str] = []
    while len(free) < how_many:
        drawn = [f"P{number:05d}" for number in next_numbers("pack", min(how_many - len(free), BATCH))]
        taken = set(Pack.objects.filter(number__in=drawn).values_list("number", flat=True))
        free += [number for number in drawn if number not in taken]
    return free


def _facts(pack: Pack) -> dict[str, str]:
    return {"maker": str(pack.maker), "part number": pack.part_number, "date code": pack.date_code}


@transaction.atomic
def fit(pack: Pack, device: Device, *, on: date, by: Actor, order: Order | None = None, known: bool = True) -> Fitting:  # noqa: PLR0913 - a fitting has a pack, a driver, a day and a cause
    """Fit a pack to a driver that holds none. Raises BadValueError where either is taken or the types differ.

    Fitted today, it finds a driver that was not located; an earlier day put on record is no sighting.
    """
    _must_handle(by)
    row = Pack.objects.select_for_update().get(pk=pack.pk)
    _check_fit(row, device, on)
    _refuse_quarantined(device, on)
    fitting = Fitting.objects.create(pack=row, device=device, fitted_on=on, fitted_on_known=known, order=order)
    if _is_paid_for(fitting):
        book_packs([_paid(fitting, pack_price(row.for_type) if row.price is None else row.price)])
    change(row, state=Pack.State.FITTED)
    record(_fitted(fitting), by=by)
    if known and on == clock.today():
        schedules.scanned(device, "the fitting of a pack", by=by)
    return fitting


def _is_paid_for(fitting: Fitting) -> bool:
    """Whether a fitting cost anything by itself: without an order, the pack that came with the driver did not."""
    accepted = fitting.device.accepted_on
    return fitting.order is not None or (
        accepted is not None and fitting.fitted_on_known and fitting.fitted_on > accepted
    )


def _paid(fitting: Fitting, price: Decimal | None) -> PackFitted:
    """What a fitting cost: a pack that was in a driver before was paid for then."""
    used = fitting.pack.state != Pack.State.STOCK
    return PackFitted(
        device=fitting.device,
        order=fitting.order,
        number=fitting.pack.number,
        price=_NOTHING if used else price,
        fitted_on=fitting.fitted_on,
    )


def _check_fit(pack: Pack, device: Device, on: date) -> None:
    if on > clock.today():
        raise BadValueError(f"{day(on)} is still to come. Give the day the pack was fitted.", field="on")
    if pack.state == Pack.State.SCRAPPED:
        raise BadValueError(f"Pack {pack} was scrapped; fit another.", field="pack")
    if pack.for_type_id != device.device_type_id:
        raise BadValueError(f"Pack {pack} is for {pack.for_type}, the driver is a {device.device_type}.", field="pack")
    if held := Fitting.objects.filter(pack=pack, removed_on__isnull=True).select_related("device").first():
        raise BadValueError(f"Pack {pack} is fitted to {held.device}. Remove it there first.", field="pack")
    if held := Fitting.objects.filter(device=device, removed_on__isnull=True).select_related("pack").first():
        raise BadValueError(f"{device} holds pack {held.pack}. Remove it first, with the reason.", field="device")
    if before := Fitting.objects.filter(pack=pack, removed_on__gt=on).first():
        raise BadValueError(f"Pack {pack} was still in {before.device} on {day(on)}.", field="on")


def _refuse_quarantined(device: Device, on: date) -> None:
    """No pack goes into a driver that is kept as it is; one that was fitted before may be put on record."""
    quarantine = open_quarantine(device)
    if quarantine and on >= clock.local_day(quarantine.opened_at):
        raise MoveRefusedError(f"{device} is in quarantine: keep it as it is. No pack is fitted until it is lifted.")


def _fitted(fitting: Fitting) -> Happening:
    after = {"pack": str(fitting.pack), "on": fitting.fitted_on, "order": str(fitting.order or "")}
    return Happening("fitted pack", fitting.pack, device_id=fitting.device_id, after=after)


@transaction.atomic
def fit_many(news: Sequence[NewFitting], *, by: Actor) -> list[Fitting]:
    """Fit new packs to drivers together, for a file that was checked before: each pack unused, each driver without one.

    The database refuses a second pack in a driver or a pack in two; nothing is written then.
    """
    _must_handle(by)
    fittings = [Fitting(pack=new.pack, device=new.device, fitted_on=new.on, fitted_on_known=new.known) for new in news]
    Fitting.objects.bulk_create(fittings, batch_size=BATCH)
    book_packs(_paid(fitting, fitting.pack.price) for fitting in fittings if _is_paid_for(fitting))
    ids = [new.pack.pk for new in news]
    for start in range(0, len(ids), BATCH):
        Pack.objects.filter(pk__in=ids[start : start + BATCH]).update(state=Pack.State.FITTED)
    record_many((_fitted(fitting) for fitting in fittings), by=by)
    return fittings


@transaction.atomic
def remove(  # noqa: PLR0913 - a removal has a day, a reason, words and an order
    device: Device,
    *,
    on: date,
    why: Fitting.Why,
    by: Actor,
    note: str = "",
    order: Order | None = None,
    out_of_use: bool = False,
) -> Fitting:
    """Take the pack out of a driver and keep why. It may be fitted again later, or scrapped.

    Out of a quarantined driver it comes only where safety needs it, and `note` says so. A driver in service cannot
    stay there without a pack: it is tagged with this act, and refused where `out_of_use` does not say so.
    """
    _must_handle(by)
    in_service = Device.objects.values_list("condition", flat=True).get(pk=device.pk) == Condition.IN_SERVICE
    if in_service and not out_of_use:
        message = f"{device} is in service and cannot stay there without a pack. Say that it is tagged out of use."
        raise BadValueError(message, field="out_of_use")
    if not note.strip() and open_quarantine(device):
        message = f"{device} is in quarantine: leave its battery in. If safety needed it out, say why and who agreed."
        raise BadValueError(message, field="note")
    fitting = Fitting.objects.select_for_update(of=("self",)).filter(device=device, removed_on__isnull=True).first()
    if fitting is None:
        raise BadValueError(f"{device} holds no pack on record.", field="device")
    if not fitting.fitted_on <= on <= clock.today():
        span = f"{day(fitting.fitted_on)} (fitted) and today"
        raise BadValueError(f"The day of removal lies between {span}.", field="on")
    change(fitting, removed_on=on, removed_why=why, removed_note=note, order=order or fitting.order)
    change(fitting.pack, state=Pack.State.REMOVED)
    # What was expected of it in this driver says nothing any more; it is derived from tests and stays, which are kept.
    Forecast.objects.filter(pack=fitting.pack_id).delete()
    after = {"pack": str(fitting.pack), "on": on, "reason": Fitting.Why(why).label}
    record(Happening("removed pack", fitting.pack, device_id=device.pk, after=after, why=note), by=by)
    if in_service:
        _tag(device, fitting, by)
    if on == clock.today():
        schedules.scanned(device, "the removal of its pack", by=by)
    return fitting


def _tag(device: Device, fitting: Fitting, by: Actor) -> None:
    why = Fitting.Why(fitting.removed_why).label.lower()
    report = Report(
        what=TagReport.What.OTHER,
        connected=YesNo.NO,
        harm=YesNo.NO,
        where=str(device.place)[:120],
        reporter=by.name[:80],
        reach="whoever took the pack out",
        words=f"Pack {fitting.pack} was taken out ({why}). The driver cannot be used without one.",
        place=device.place,
    )
    tags.raise_tag(device, report, by=by)


@transaction.atomic
def scrap(pack: Pack, *, on: date, why: str, by: Actor) -> Pack:
    """Scrap a pack that is in no driver. It stays on record with its tests."""
    _must_handle(by)
    row = Pack.objects.select_for_update().get(pk=pack.pk)
    if held := Fitting.objects.filter(pack=row, removed_on__isnull=True).select_related("device").first():
        raise BadValueError(f"Pack {row} is fitted to {held.device}. Remove it first.", field="pack")
    if row.state == Pack.State.SCRAPPED:
        raise BadValueError(f"Pack {row} was scrapped already.", field="pack")
    if not why.strip():
        raise BadValueError("Say why the pack is scrapped.", field="why")
    before, after = change(row, state=Pack.State.SCRAPPED, scrapped_on=on, scrapped_why=why)
    record(Happening("scrapped pack", row, before=before, after=after, why=why), by=by)
    return row


@transaction.atomic
def count_cycles(pack: Pack, cycles: int, *, on: date, by: Actor) -> CycleCount:
    """Record the charge cycles a pack had made on a day. A count never falls with time."""
    _must_handle(by)
    if on > clock.today():
        raise BadValueError(f"{day(on)} is still to come.", field="counted_on")
    _check_count(pack, cycles, on)
    count, made = CycleCount.objects.get_or_create(pack=pack, counted_on=on, defaults={"cycles": cycles})
    if not made and count.cycles != cycles:
        message = f"Pack {pack} already has {count.cycles} cycles on {day(on)}, not {cycles}."
        raise BadValueError(message, field="cycles")
    if made:
        record(_counted(count), by=by)
        tell_use([pack.pk])
    return count


def _check_count(pack: Pack, cycles: int, on: date) -> None:
    counts = CycleCount.objects.filter(pack=pack)
    more = counts.filter(counted_on__lt=on, cycles__gt=cycles).first()
    fewer = counts.filter(counted_on__gt=on, cycles__lt=cycles).first()
    if clash := more or fewer:
        message = f"Pack {pack} had {clash.cycles} cycles on {day(clash.counted_on)}; {cycles} on {day(on)} can't be."
        raise BadValueError(message, field="cycles")


def _counted(count: CycleCount) -> Happening:
    fitting = Fitting.objects.filter(pack=count.pack, removed_on__isnull=True).first()
    after = {"cycles": count.cycles, "on": count.counted_on}
    return Happening("counted cycles", count.pack, device_id=fitting.device_id if fitting else None, after=after)


@transaction.atomic
def count_cycles_of_many(counts: Sequence[CycleCount], *, by: Actor) -> int:
    """Add counts from a file that was checked before."""
    _must_handle(by)
    CycleCount.objects.bulk_create(counts, batch_size=BATCH)
    happenings = (
        Happening("counted cycles", count.pack, after={"cycles": count.cycles, "on": count.counted_on})
        for count in counts
    )
    told = record_many(happenings, by=by)
    tell_use({count.pack_id for count in counts})
    return told
