"""Number series, parties and device types."""

from collections.abc import Collection, Mapping
from copy import copy
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import chain, count
from typing import Any, Final, TypeVar

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.db.models import F, Q
from django.utils.text import slugify

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change, refuse_changed
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.registry.models import Accessory, Counter, DeviceType, Party, RatedRuntime, TypeIdentifier
from fleet.web import clock


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


@dataclass(frozen=True, slots=True, kw_only=True)
class TypeChange:
    """A type as its page leaves it: fields of TYPE_FACTS, rate in mL/h -> hours, accessory -> how many."""

    facts: Mapping[str, Any]
    rated_runtimes: Mapping[Decimal, Decimal]
    accessories: Mapping[str, int]
    why: str = ""


def next_number(series: str) -> int:
    """Take the next number of a series. The row stays locked until the caller's transaction ends."""
    return next_numbers(series, 1)[0]


@transaction.atomic
def next_numbers(series: str, how_many: int) -> range:
    """Take several numbers of a series at once. The row stays locked until the caller's transaction ends."""
    taken = Counter.objects.filter(name=series)
    if not taken.update(last=F("last") + how_many):
        Counter.objects.get_or_create(name=series)
        taken.update(last=F("last") + how_many)
    last = taken.values_list("last", flat=True).get()
    return range(last + 1 - how_many, last + 1)


#: What `edit_party` may change.
PARTY_FACTS: Final = frozenset(
    {"name", "code", "makes", "supplies", "services", "contact", "email", "phone", "address"}
)  # fmt: skip


@transaction.atomic
def add_party(name: str, code: str = "", *, by: Actor, **facts: Any) -> Party:
    """Add a maker, supplier or service provider. Without a code one is made of the name."""
    by.must(May.EDIT_REGISTRY)
    party = Party(name=name, code=code or _free_code(name), **facts)
    _refuse_taken_party(party)
    party.save()
    record(Happening("added party", party, after={"name": name, "code": party.code}), by=by)
    return party


@transaction.atomic
def edit_party(
    party: Party, changes: Mapping[str, Any], *, by: Actor, why: str = "", opened: str | None = None
) -> Party:
    """Change what is kept of a maker, supplier or provider. `opened`: the fingerprint of PARTY_FACTS of its form."""
    by.must(May.EDIT_REGISTRY)
    row = Party.objects.select_for_update().get(pk=party.pk)
    refuse_changed(row, PARTY_FACTS, opened)
    changed = with_values(row, changes)
    _refuse_taken_party(changed)
    refuse_wrong(changed)
    before, after = change(row, **changes)
    if after:
        record(Happening("changed party", row, before=before, after=after, why=why), by=by)
    return row


def _refuse_taken_party(party: Party) -> None:
    others = Party.objects.exclude(pk=party.pk)
    for name, taken in (("name", others.filter(name__iexact=party.name)), ("code", others.filter(code=party.code))):
        if other := taken.first():
            msg = f"There is already a party named “{other.name}” with the code “{other.code}”."
            raise BadValueError(msg, field=name)


@transaction.atomic
def maker_named(name: str, *, by: Actor) -> Party:
    """The maker of this name, added if there is none yet."""
    by.must(May.EDIT_REGISTRY)
    known = Party.objects.filter(name__iexact=name, makes=True).first()
    return known or add_party(name, by=by, makes=True)


def _free_code(name: str) -> str:
    code = slugify(name)[:14] or "maker"
    taken = set(Party.objects.filter(code__startswith=code).values_list("code", flat=True))
    others = (f"{code}-{number}" for number in count(2))
    return next(free for free in chain([code], others) if free not in taken)


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
    refuse_wrong(device_type)
    device_type.save()
    RatedRuntime.objects.bulk_create(
        RatedRuntime(device_type=device_type, rate=rate, hours=hours, source=new.source)
        for rate, hours in new.rated_runtimes.items()
    )
    Accessory.objects.bulk_create(
        Accessory(device_type=device_type, name=name, quantity=many) for name, many in new.accessories.items()
    )
    after = {"rated runtimes": _in_words(new.rated_runtimes)}
    record(Happening("added device type", device_type, after=after), by=by)
    return device_type


def _check_runtimes(reference_rate: Decimal, hours_at: Mapping[Decimal, Decimal]) -> None:
    if reference_rate not in hours_at:
        msg = f"State the rated runtime at the reference rate of {reference_rate:f} mL/h too."
        raise BadValueError(msg, field="rated_runtimes")
    if min(hours_at) <= 0 or min(hours_at.values()) <= 0:
        msg = "Rates and hours of the rated runtimes must be above zero."
        raise BadValueError(msg, field="rated_runtimes")


def _check_type(new: NewType) -> None:
    _check_runtimes(new.reference_rate, new.rated_runtimes)
    configuration = new.facts.get("configuration", "")
    if DeviceType.objects.filter(maker=new.maker, model__iexact=new.model, configuration=configuration).exists():
        msg = f"{new.maker} {new.model} is already there. Give another configuration, or edit the one there."
        raise BadValueError(msg, field="model")


M = TypeVar("M", bound=models.Model)
#: What `edit_device_type` may change. The maker, model and configuration say which type it is.
TYPE_FACTS: Final = frozenset(
    {
        "kind", "nomenclature_scheme", "nomenclature_version", "nomenclature_code", "di", "life_support", "power",
        "supply", "protection", "applied_part", "chemistry", "pack_part_number", "charging_hours", "reference_rate",
        "replacement_level", "temperature_coefficient", "reference_temperature_c", "service_life_months",
        "end_of_support", "price", "source",
    }
)  # fmt: skip


@transaction.atomic
def edit_device_type(
    device_type: DeviceType, changes: Mapping[str, Any], *, by: Actor, why: str = "", opened: str | None = None
) -> DeviceType:
    """Change a type's facts. Devices that do not override them follow.

    `opened` is the fingerprint of TYPE_FACTS that the form was opened with. Raises ConflictError or BadValueError.
    """
    row = _with_facts(device_type, changes, why, opened, by)
    _check_runtimes(row.reference_rate, _hours_at(row))
    return row


@transaction.atomic
def update_type(device_type: DeviceType, new: TypeChange, *, by: Actor, opened: str | None = None) -> DeviceType:
    """Change a type's facts, rated runtimes and accessories together, or nothing of it."""
    row = _with_facts(device_type, new.facts, new.why, opened, by)
    state_runtimes(row, new.rated_runtimes, by=by)
    state_accessories(row, new.accessories, by=by)
    return row


def _with_facts(
    device_type: DeviceType, changes: Mapping[str, Any], why: str, opened: str | None, by: Actor
) -> DeviceType:
    by.must(May.EDIT_REGISTRY)
    row = DeviceType.objects.select_for_update().get(pk=device_type.pk)
    refuse_changed(row, TYPE_FACTS, opened)
    refuse_wrong(with_values(row, changes))
    before, after = change(row, **changes)
    if after:
        record(Happening("changed device type", row, before=before, after=after, why=why), by=by)
    return row


@transaction.atomic
def state_runtimes(device_type: DeviceType, hours_at: Mapping[Decimal, Decimal], *, by: Actor) -> None:
    """State a type's rated runtimes anew: rate in mL/h -> hours. One of them is at the reference rate."""
    by.must(May.EDIT_REGISTRY)
    row = DeviceType.objects.select_for_update().get(pk=device_type.pk)
    _check_runtimes(row.reference_rate, hours_at)
    before = _hours_at(row)
    if before == hours_at:
        return
    changed = {rate for rate in {*before, *hours_at} if before.get(rate) != hours_at.get(rate)}
    row.rated_runtimes.filter(rate__in=changed).update(dropped_at=clock.now())
    RatedRuntime.objects.bulk_create(
        RatedRuntime(device_type=row, rate=rate, hours=hours_at[rate], source=row.source[:120])
        for rate in sorted(changed & hours_at.keys())
    )
    record(Happening("stated rated runtimes", row, before=_in_words(before), after=_in_words(hours_at)), by=by)


@transaction.atomic
def state_accessories(device_type: DeviceType, counts: Mapping[str, int], *, by: Actor) -> None:
    """State anew what belongs to each driver of a type: name -> how many."""
    by.must(May.EDIT_REGISTRY)
    row = DeviceType.objects.select_for_update().get(pk=device_type.pk)
    standing = {accessory.name: accessory for accessory in row.accessories.all()}
    before = {name: accessory.quantity for name, accessory in standing.items()}
    if before == counts:
        return
    changed = {name for name in {*before, *counts} if before.get(name) != counts.get(name)}
    row.accessories.filter(name__in=changed).update(dropped_at=clock.now())
    Accessory.objects.bulk_create(
        _stated_anew(row, name, counts[name], standing.get(name)) for name in sorted(changed & counts.keys())
    )
    record(Happening("stated accessories", row, before=before, after=counts), by=by)


def _stated_anew(row: DeviceType, name: str, quantity: int, before: Accessory | None) -> Accessory:
    """An accessory in another number keeps its part number and what to do when it is missing."""
    kept = {"part_number": before.part_number, "if_missing": before.if_missing} if before else {}
    return Accessory(device_type=row, name=name, quantity=quantity, **kept)


@transaction.atomic
def describe_accessory(accessory: Accessory, *, part_number: str, if_missing: str, by: Actor) -> Accessory:
    """Say an accessory's part number and what to do when it is missing."""
    by.must(May.EDIT_REGISTRY)
    row = Accessory.objects.select_for_update().get(pk=accessory.pk)
    before, after = change(row, part_number=part_number.strip(), if_missing=if_missing.strip())
    if after:
        record(Happening("described accessory", row, before=before, after=after), by=by)
    return row


@transaction.atomic
def learn_identifier(device_type: DeviceType, di: str, *, by: Actor) -> TypeIdentifier:
    """Remember which type a UDI device identifier belongs to. Refused when another type has it."""
    by.must(May.HAND_OVER)
    other = DeviceType.objects.filter(Q(di=di) | Q(identifiers__di=di)).exclude(pk=device_type.pk).first()
    if other is not None:
        raise BadValueError(f"The identifier {di} belongs to {other}. Choose that type.", field="device_type")
    facts = {"device_type": device_type, "learned_at": clock.now(), "by_name": by.name[:120]}
    row, fresh = TypeIdentifier.objects.get_or_create(di=di, defaults=facts)
    if fresh:
        record(Happening("learned identifier", device_type, after={"UDI device identifier": di}), by=by)
    return row


def refuse_wrong(row: models.Model, *, besides: Collection[str] = ()) -> None:
    """Raise BadValueError for the first field of the row whose value can't stand; `besides` are not looked at."""
    try:
        row.full_clean(exclude=besides)
    except ValidationError as error:
        name, messages = next(iter(error.message_dict.items()))
        raise BadValueError(f"{name.replace('_', ' ').capitalize()}: {messages[0]}", field=name) from error


def with_values(row: M, changes: Mapping[str, Any]) -> M:
    """A copy of the row as the changes would leave it, to be checked before anything is written."""
    trial = copy(row)
    for name, value in changes.items():
        setattr(trial, name, value)
    return trial


def _hours_at(device_type: DeviceType) -> dict[Decimal, Decimal]:
    return {runtime.rate: runtime.hours for runtime in device_type.rated_runtimes.all()}


def _in_words(hours_at: Mapping[Decimal, Decimal]) -> dict[str, str]:
    return {f"{rate} mL/h": f"{hours} h" for rate, hours in hours_at.items()}
