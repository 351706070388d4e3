"""The records of retirements: opened by the act, completed once with disposal and wiping, taken back the same day."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.bench.actions.holding import hold_device
from fleet.bench.actions.orders import raise_order
from fleet.bench.models import KeptPart, Order, OrderKind, RetentionRule, Retirement, RetirementMethod
from fleet.bench.queries import facts
from fleet.core.errors import BadValueError, ConflictError
from fleet.core.lifecycle import Move, WaitReason
from fleet.core.permissions import May
from fleet.registry import actions as registry
from fleet.registry.models import Device
from fleet.web import clock

_FROM_MEMORY: Final = "after NIST SP 800-88, from memory"
_OURS: Final = "our own words"
#: What an empty list begins with. Reference data: nobody has verified it, and whoever keeps the register changes it.
_STARTERS: Final = (
    (RetirementMethod.Kind.WIPING, "Clear", "Reset or overwritten; ordinary means recover nothing", _FROM_MEMORY),
    (RetirementMethod.Kind.WIPING, "Purge", "Erased so that no laboratory recovers anything", _FROM_MEMORY),
    (RetirementMethod.Kind.WIPING, "Destroy", "The memory itself is destroyed", _FROM_MEMORY),
    (RetirementMethod.Kind.DISPOSAL, "Scrapped", "Given to whoever takes electrical waste, by local policy", _OURS),
    (RetirementMethod.Kind.DISPOSAL, "Returned", "Given back to supplier or owner", _OURS),
    (RetirementMethod.Kind.DISPOSAL, "Taken apart", "Kept in pieces as parts", _OURS),
    (RetirementMethod.Kind.DISPOSAL, "Not in our hands", "Lost, stolen or destroyed elsewhere", _OURS),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Kept:
    """A part kept."""

    name: str
    quantity: int = 1
    part_number: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Disposal:
    """What became of a retired driver. Either `wiping` with who, when and how verified, or why nothing was there."""

    disposal: RetirementMethod
    disposal_words: str = ""
    wiping: RetirementMethod | None = None
    no_data_why: str = ""
    wiped: Sequence[str] = ()
    wiped_by_name: str = ""
    wiped_on: date | None = None
    wiping_verified: str = ""
    parts: Sequence[Kept] = ()


@transaction.atomic
def ensure_retirement_methods(by: Actor) -> int:
    """State the starter methods where no method is on record yet; how many were added."""
    if RetirementMethod.objects.exists():
        return 0
    for kind, words, explains, source in _STARTERS:
        add_retirement_method(kind, words, explains=explains, source=source, by=by)
    return len(_STARTERS)


@transaction.atomic
def add_retirement_method(
    kind: RetirementMethod.Kind, words: str, *, explains: str = "", source: str = "", by: Actor
) -> RetirementMethod:
    """Add a way to dispose of drivers or to wipe them."""
    by.must(May.EDIT_REGISTRY)
    name = words.strip()
    if not name:
        raise BadValueError("Say it in a word.", field="words")
    if RetirementMethod.objects.filter(kind=kind, words__iexact=name, dropped_at=None).exists():
        raise BadValueError(f"“{name}” is on the list already.", field="words")
    row = RetirementMethod.objects.create(kind=kind, words=name, explains=explains.strip(), source=source.strip())
    record(Happening("added retirement method", row, after={"kind": kind.value, "words": name}), by=by)
    return row


@transaction.atomic
def verify_retirement_method(method: RetirementMethod, *, by: Actor) -> RetirementMethod:
    """Say that one has read the source and that the list says the same."""
    by.must(May.EDIT_REGISTRY)
    row = RetirementMethod.objects.select_for_update().get(pk=method.pk)
    before, after = change(row, verified_by_name=by.name[:120], verified_on=clock.today())
    record(Happening("verified retirement method", row, before=before, after=after), by=by)
    return row


@transaction.atomic
def drop_retirement_method(method: RetirementMethod, *, by: Actor) -> RetirementMethod:
    """Take a method off the list; records that name it keep it."""
    by.must(May.EDIT_REGISTRY)
    row = RetirementMethod.objects.select_for_update().get(pk=method.pk)
    if row.dropped_at is None:
        before, after = change(row, dropped_at=clock.now())
        record(Happening("dropped retirement method", row, before=before, after=after), by=by)
    return row


def open_record(device: Device, *, reason: str, why: str, answered: Sequence[Order], by: Actor) -> Retirement:
    """Write down a retirement with its authoriser. Only the act that retires calls it, under its locks."""
    by.must(May.RETIRE_DEVICE)
    row = Retirement.objects.create(
        device=device,
        reason=reason,
        words=why,
        retired_at=clock.now(),
        authorised_by_id=by.person_id,
        authorised_name=by.name[:120],
        answered=[_told(order) for order in answered],
    )
    after = {"reason": reason, "authorised_name": row.authorised_name, "answered": row.answered}
    record(Happening("authorised retirement", row, device_id=device.pk, after=after, why=why), by=by)
    return row


def _told(order: Order) -> str:
    tag = f", tag {order.tag.written}" if order.tag else ""
    return f"order {order} ({order.get_kind_display().lower()}{tag})"


@transaction.atomic
def state_disposal(retirement: Retirement, given: Disposal, *, by: Actor) -> Retirement:
    """Complete the record of a retirement, once: what became of driver, data and parts. Then it is read-only."""
    by.must(May.WORK_ON_BENCH)
    row = Retirement.objects.select_for_update(of=("self",)).select_related("device").get(pk=retirement.pk)
    if row.stated_at or row.taken_back_at:
        state = "was taken back" if row.taken_back_at else f"is complete, stated by {row.stated_by_name}"
        raise ConflictError(f"This record {state}; nothing in it is changed any more.")
    _check(given)
    values = {name: getattr(given, name) for name in _STATED} | {"wiped": [*given.wiped]}
    before, after = change(row, **values, stated_at=clock.now(), stated_by_name=by.name[:120])
    KeptPart.objects.bulk_create(
        KeptPart(retirement=row, name=part.name, quantity=part.quantity, part_number=part.part_number, note=part.note)
        for part in given.parts
    )
    told = {name: str(value) if name in {"disposal", "wiping"} else value for name, value in after.items()}
    told["parts kept"] = [f"{part.quantity} x {part.name}" for part in given.parts]
    record(Happening("stated disposal", row, device_id=row.device_id, before=before, after=told), by=by)
    return row


_STATED: Final = (
    "disposal", "disposal_words", "wiping", "no_data_why", "wiped_by_name", "wiped_on", "wiping_verified",
)  # fmt: skip


def _check(given: Disposal) -> None:
    if given.wiping is None and not given.no_data_why.strip():
        message = "Say how patient and network data were wiped, or why there was nothing to wipe."
        raise BadValueError(message, field="wiping")
    if given.wiping is not None:
        _check_wiping(given)
    elif given.wiped:
        raise BadValueError("Say how it was wiped.", field="wiping")
    for part in given.parts:
        if not part.name.strip() or part.quantity < 1:
            raise BadValueError("Each part kept has a name and a number from 1 on.", field="parts")


def _check_wiping(given: Disposal) -> None:
    if not given.wiped or set(given.wiped) - set(Retirement.Data):
        raise BadValueError("Say what was wiped: logs, credentials, library, patient history.", field="wiped")
    if given.no_data_why.strip():
        raise BadValueError("It was wiped, or there was nothing to wipe: say one of both.", field="no_data_why")
    for name, words in (("wiped_by_name", "Say who wiped it."), ("wiping_verified", "Say how that was verified.")):
        if not getattr(given, name).strip():
            raise BadValueError(words, field=name)
    if given.wiped_on is None or given.wiped_on > clock.today():
        raise BadValueError("Give the day it was wiped on, today or before.", field="wiped_on")


@transaction.atomic
def state_retention(years: int, decided_by: str, decided_on: date, source: str, *, by: Actor) -> RetentionRule:
    """State for how many years at least the records of a retired driver are kept. Nothing is deleted by it."""
    by.must(May.RETIRE_DEVICE)
    if years < 1:
        raise BadValueError("Give 1 year or more.", field="years")
    for name, words in (("decided_by", decided_by), ("source", source)):
        if not words.strip():
            raise BadValueError("Say who decided it, and by which policy or law.", field=name)
    if decided_on > clock.today():
        raise BadValueError("That day has not come yet.", field="decided_on")
    values = {
        "years": years,
        "decided_by": decided_by.strip(),
        "decided_on": decided_on,
        "source": source.strip(),
        "stated_at": clock.now(),
        "stated_by_name": by.name[:120],
    }
    row, fresh = RetentionRule.objects.select_for_update().get_or_create(pk=RetentionRule.ONLY, defaults=values)
    before, after = ({}, values) if fresh else change(row, **values)
    record(Happening("stated retention of records", row, before=before, after=after), by=by)
    return row


@transaction.atomic
def take_back_retirement(device: Device, *, why: str, by: Actor) -> Device:
    """Take back a retirement of today that was a mistake: the driver waits for acceptance, and only that returns it.

    Its asset number was never free. What the retirement answered is told in the acceptance order, so that the bench
    looks into it.
    """
    by.must(May.RETIRE_DEVICE)
    row = hold_device(device)
    held = Retirement.objects.select_for_update().filter(device=row, taken_back_at=None).first()
    counted = replace(facts(row), has_reason=bool(why.strip()), retired_today=row.retired_on == clock.today())
    row = registry.move(row, Move.TAKE_BACK, counted, by=by, wait_reason=WaitReason.ACCEPTANCE, why=why.strip())
    answered: list[str] = []
    if held is not None:
        answered = held.answered
        change(held, taken_back_at=clock.now(), taken_back_by_name=by.name[:120], taken_back_why=why.strip()[:200])
        happening = Happening("took back retirement", held, device_id=row.pk, why=why.strip())
        record(happening, by=by)
    reported = f"Its retirement was taken back: {why.strip()}"
    if answered:
        reported += f"\nThe retirement had answered {', '.join(answered)}: look into what was reported there."
    raise_order(row, OrderKind.ACCEPTANCE, reported=reported, by=by)
    return hold_device(row)
