"""Number series, parties, places and device types."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.registry.models import Accessory, Counter, DeviceType, Party, Place, RatedRuntime

# Which kinds may stand in which: a site stands alone, a building in a site, the rest in a site or a building.
_MAY_STAND_IN = {
    Place.Kind.SITE: (),
    Place.Kind.BUILDING: (Place.Kind.SITE,),
    Place.Kind.WARD: (Place.Kind.SITE, Place.Kind.BUILDING),
    Place.Kind.BENCH: (Place.Kind.SITE, Place.Kind.BUILDING),
    Place.Kind.STORE: (Place.Kind.SITE, Place.Kind.BUILDING),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class NewType:
    """A device type with its rated runtimes (rate in mL/h -> hours) and accessories (name -> quantity)."""

    maker: Party
    model: str
    charging_hours: Decimal
    reference_rate: Decimal
    rated_runtimes: Mapping[Decimal, Decimal]
    accessories: Mapping[str, int] = field(default_factory=dict)
    facts: Mapping[str, Any] = field(default_factory=dict)
    source: str = ""


def next_number(series: str) -> int:
    """Take the next number of a series. The row stays locked until the caller's transaction ends."""
    with transaction.atomic():
        Counter.objects.get_or_create(name=series)
        counter = Counter.objects.select_for_update().get(name=series)
        counter.last += 1
        counter.save(update_fields=["last"])
        return counter.last


@transaction.atomic
def add_party(name: str, code: str, *, by: Actor, **facts: Any) -> Party:
    """Add a maker, supplier or service provider."""
    by.must(May.EDIT_REGISTRY)
    if Party.objects.filter(name__iexact=name).exists() or Party.objects.filter(code=code).exists():
        msg = f"There is already a party named “{name}” or with the code “{code}”."
        raise BadValueError(msg, field="name")
    party = Party.objects.create(name=name, code=code, **facts)
    record(Happening("added party", party, after={"name": name, "code": code}), by=by)
    return party


@transaction.atomic
def add_place(kind: Place.Kind, name: str, code: str, parent: Place | None = None, *, by: Actor, **facts: Any) -> Place:
    """Add a place below its parent (a site has none)."""
    by.must(May.EDIT_REGISTRY)
    _check_place(Place.Kind(kind), name, code, parent)
    place = Place.objects.create(kind=kind, name=name, code=code, parent=parent, **facts)
    place.path = f"{parent.path if parent else '/'}{place.pk}/"
    place.site = place if parent is None else parent.site
    place.save(update_fields=["path", "site"])
    record(Happening("added place", place, after={"kind": str(kind), "name": name, "in": str(parent or "")}), by=by)
    return place


def _check_place(kind: Place.Kind, name: str, code: str, parent: Place | None) -> None:
    homes = _MAY_STAND_IN[kind]
    if (parent.kind if parent else None) not in (homes or (None,)):
        inside = " or a ".join(home.label.lower() for home in homes)
        msg = f"A {kind.label.lower()} stands in a {inside}." if homes else "A site stands in no other place."
        raise BadValueError(msg, field="parent")
    if Place.objects.filter(code=code).exists():
        msg = f"The short code “{code}” belongs to another place. Choose one that is free."
        raise BadValueError(msg, field="code")
    if Place.objects.filter(parent=parent, name__iexact=name).exists():
        msg = f"There is already a “{name}” there."
        raise BadValueError(msg, field="name")


@transaction.atomic
def add_device_type(new: NewType, *, by: Actor) -> DeviceType:
    """Add a device type. It needs a rated runtime at its reference rate, since every test is measured by it."""
    by.must(May.EDIT_REGISTRY)
    _check_type(new)
    device_type = DeviceType(
        maker=new.maker,
        model=new.model,
        charging_hours=new.charging_hours,
        reference_rate=new.reference_rate,
        source=new.source,
        **new.facts,
    )
    device_type.full_clean()
    device_type.save()
    RatedRuntime.objects.bulk_create(
        RatedRuntime(device_type=device_type, rate=rate, hours=hours, source=new.source)
        for rate, hours in new.rated_runtimes.items()
    )
    Accessory.objects.bulk_create(
        Accessory(device_type=device_type, name=name, quantity=count) for name, count in new.accessories.items()
    )
    rated = {str(rate): str(hours) for rate, hours in new.rated_runtimes.items()}
    record(Happening("added device type", device_type, after={"rated runtimes": rated}), by=by)
    return device_type


def _check_type(new: NewType) -> None:
    if new.reference_rate not in new.rated_runtimes:
        msg = f"State the rated runtime at the reference rate of {new.reference_rate} mL/h."
        raise BadValueError(msg, field="rated_runtimes")
    if min(new.rated_runtimes) <= 0 or min(new.rated_runtimes.values()) <= 0:
        msg = "Rates and hours of the rated runtimes must be above zero."
        raise BadValueError(msg, field="rated_runtimes")
    configuration = new.facts.get("configuration", "")
    if DeviceType.objects.filter(maker=new.maker, model__iexact=new.model, configuration=configuration).exists():
        msg = f"{new.maker} {new.model} is already there. Give another configuration, or edit the one there."
        raise BadValueError(msg, field="model")


@transaction.atomic
def edit_device_type(device_type: DeviceType, changes: Mapping[str, Any], *, by: Actor, why: str = "") -> DeviceType:
    """Change a type's facts. Devices that do not override them follow."""
    by.must(May.EDIT_REGISTRY)
    row = DeviceType.objects.select_for_update().get(pk=device_type.pk)
    before, after = change(row, **changes)
    row.full_clean()
    if after:
        record(Happening("changed device type", row, before=before, after=after, why=why), by=by)
    return row
