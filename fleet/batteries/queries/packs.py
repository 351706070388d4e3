"""Packs: which one a driver holds, what was measured on it, and the list of all."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Final

from django.db.models import Count, DateField, Exists, F, Max, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from fleet.batteries.models import Fitting, Pack, PackQuerySet, RuntimeTest, RuntimeTestQuerySet
from fleet.bench.models import Order, OrderKind
from fleet.bench.queries import open_orders
from fleet.core.orders import OrderState
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceType

#: A full test: one that counts, ran flat after a full charge, at a rate of the type's table (`wording.is_value`).
FULL_TEST: Final = Q(voided_at__isnull=True, stop=RuntimeTest.Stop.RAN_FLAT, short_charge=False, outside_table=False)
_STAYS = Fitting.objects.filter(pack=OuterRef("pk"))
_TESTS = RuntimeTest.objects.filter(pack=OuterRef("pk"), voided_at__isnull=True).order_by()


def packs() -> PackQuerySet:
    """All packs with what a list shows: `since` (made, or first fitted), `holder`, `tests` that count, `last_test`."""
    first = _STAYS.order_by("fitted_on").values("fitted_on")[:1]
    holder = _STAYS.filter(removed_on__isnull=True)
    rows: PackQuerySet = Pack.objects.select_related("maker", "for_type__maker")
    return rows.annotate(
        since=Coalesce(F("made_on"), Subquery(first), output_field=DateField()),
        holder=Subquery(holder.values("device__asset_number")[:1]),
        holder_id=Subquery(holder.values("device")[:1]),
        tests_made=Coalesce(Subquery(_TESTS.values("pack").annotate(n=Count("pk")).values("n")), 0),
        last_test=Subquery(_TESTS.values("pack").annotate(last=Max("started_at")).values("last")),
    )


def aged(rows: PackQuerySet, today: date, *, from_years: int, to_years: int | None) -> PackQuerySet:
    """Of `packs()` those at least so many years old, and younger than the second number."""
    old_enough = Q(since__lte=_years_before(today, from_years))
    return rows.filter(old_enough if to_years is None else old_enough & Q(since__gt=_years_before(today, to_years)))


def tested(rows: PackQuerySet, *, ever: bool) -> PackQuerySet:
    """Of `packs()` those with a test that counts, or those without any."""
    return rows.filter(Exists(_TESTS) if ever else ~Exists(_TESTS))


def _years_before(today: date, years: int) -> date:
    return today - timedelta(days=round(years * 365.25))


def fitting_of(device: Device) -> Fitting | None:
    """The stay that goes on: which pack the driver holds, and since when."""
    stays = Fitting.objects.filter(device=device, removed_on__isnull=True)
    return stays.select_related("pack__maker", "pack__for_type__maker", "device__device_type__maker").first()


def fitted_pack(device: Device) -> Pack | None:
    """The pack the driver holds; None when none is on record."""
    fitting = fitting_of(device)
    return fitting.pack if fitting else None


def tests() -> RuntimeTestQuerySet:
    """All runtime tests with what a page shows of them."""
    rows: RuntimeTestQuerySet = RuntimeTest.objects.select_related(
        "pack__for_type__maker", "device__device_type__maker", "device__home__site", "order"
    )
    return rows


def tests_of(pack: Pack) -> RuntimeTestQuerySet:
    """Every test made on a pack, also void ones, newest first."""
    return tests().filter(pack=pack)


def free_packs(device: Device, person: Person) -> QuerySet[Pack]:
    """Packs of the driver's type that are in no driver and not scrapped, as far as the person may know of them."""
    states = [Pack.State.STOCK, Pack.State.REMOVED]
    return Pack.objects.within(person).filter(for_type=device.device_type_id, state__in=states)


def last_syringe(device_type: DeviceType | None = None) -> Decimal | None:
    """The syringe size last used in a test (of one type's drivers), mL; None before the first."""
    rows = RuntimeTest.objects.order_by("-pk")
    if device_type is not None:
        rows = rows.filter(device__device_type=device_type)
    return rows.values_list("syringe_ml", flat=True).first()


def battery_order(device: Device) -> Order | None:
    """The open battery order of a driver, which a test made now belongs to."""
    return open_orders(device).filter(Q(kind=OrderKind.BATTERY)).order_by("-raised_at").first()


def order_at_work(device: Device) -> Order | None:
    """The order that a pack fitted now belongs to: the battery order, else the one being worked on."""
    begun = open_orders(device).filter(state=OrderState.STARTED.value)
    return battery_order(device) or begun.order_by("-received_at").first()


def cycles_made_in(device: Device) -> tuple[int, date | None]:
    """Charge cycles that the packs of a driver made in it, and the day of the last count; None without any.

    Of each stay what was counted since it began. A pack that nobody had counted before it was fitted counts from none,
    so that a total errs to the high side and a due to the early one.
    """
    total, last_on = 0, None
    for stay in device.fittings.select_related("pack").order_by("fitted_on", "pk"):
        counts = list(stay.pack.cycle_counts.order_by("counted_on").values_list("counted_on", "cycles"))
        before = [cycles for day, cycles in counts if day <= stay.fitted_on]
        within = [(day, cycles) for day, cycles in counts if stay.fitted_on < day <= (stay.removed_on or date.max)]
        if within:
            last_on, last = within[-1]
            total += last - (before[-1] if before else 0)
    return total, last_on
