"""The only writers of contracts: added or renewed, put right, ended early."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, Final

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change, refuse_changed
from fleet.contracts.models import Contract
from fleet.core.errors import BadValueError, ConflictError
from fleet.core.permissions import May
from fleet.registry.actions.reference import refuse_wrong, with_values
from fleet.registry.models import Device, DeviceType, Place
from fleet.web import clock

#: What `add_contract` takes and `edit_contract` may change.
FACTS: Final = (
    "name", "reference", "kind", "party", "terms", "cost_a_year", "currency", "begins_on", "ends_on", "notice_days",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Covers:
    """Which drivers: those of the types (at the sites, or everywhere), and those on the list."""

    device_types: Sequence[DeviceType] = ()
    sites: Sequence[Place] = ()
    devices: Sequence[Device] = ()

    def told(self) -> dict[str, list[str]]:
        """What is covered, in words."""
        every = {"types": self.device_types, "sites": self.sites, "drivers": self.devices}
        return {name: sorted(map(str, rows)) for name, rows in every.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class NewContract:
    """A contract as it is added or put right; a new one may renew another, which is then decided on."""

    covers: Covers
    facts: Mapping[str, Any] = field(default_factory=dict)
    renews: Contract | None = None


@transaction.atomic
def add_contract(new: NewContract, *, by: Actor) -> Contract:
    """Add a contract, or the one that renews another."""
    by.must(May.EDIT_REGISTRY)
    before = _held(new.renews) if new.renews else None
    if before is not None and hasattr(before, "renewal"):
        raise ConflictError(f"{before} was renewed by {before.renewal} already.")
    row = Contract(**new.facts, renews=before, added_at=clock.now(), added_by_name=by.name[:120])
    _check(row, new.covers)
    row.decide_by = row.ends_on - timedelta(days=row.notice_days)
    row.save()
    _cover(row, new.covers)
    told = {name: str(value) for name, value in new.facts.items() if value not in ("", None)}
    if before is not None:
        told["renews"] = str(before)
    record(Happening("added contract", row, after={**told, **new.covers.told()}), by=by)
    return row


@transaction.atomic
def edit_contract(
    contract: Contract, given: NewContract, *, by: Actor, why: str = "", opened: str | None = None
) -> Contract:
    """Put right what is kept of a contract; `opened`: the fingerprint of FACTS that its form was opened with."""
    by.must(May.EDIT_REGISTRY)
    changes, covers = given.facts, given.covers
    row = _held(contract)
    refuse_changed(row, FACTS, opened)
    if wrong := sorted(set(changes) - set(FACTS)):
        raise BadValueError(f"“{wrong[0]}” of a contract can't be changed.", field=wrong[0])
    changed = with_values(row, changes)
    _check(changed, covers)
    decide_by = changed.ends_on - timedelta(days=changed.notice_days)
    before, after = change(row, **changes, decide_by=decide_by)
    was, now = _covers_of(row).told(), covers.told()
    _cover(row, covers)
    if after or was != now:
        happening = Happening(
            "changed contract",
            row,
            before={**_plain(before), **{name: held for name, held in was.items() if held != now[name]}},
            after={**_plain(after), **{name: held for name, held in now.items() if held != was[name]}},
            why=why,
        )
        record(happening, by=by)
    return row


@transaction.atomic
def end_contract(contract: Contract, on: date, *, why: str, by: Actor) -> Contract:
    """End a contract before its last day, with the reason."""
    by.must(May.EDIT_REGISTRY)
    row = _held(contract)
    if row.ended_on is not None:
        raise ConflictError(f"{row} was ended on {row.ended_on:%d %b %Y} already.")
    if not why.strip():
        raise BadValueError("Say why it ends early.", field="why")
    if not row.begins_on <= on <= row.ends_on:
        raise BadValueError("Give a day from its first day to its last.", field="on")
    before, after = change(row, ended_on=on, ended_why=why.strip(), ended_by_name=by.name[:120])
    record(Happening("ended contract", row, before=before, after=after, why=why.strip()), by=by)
    return row


def _plain(facts: Mapping[str, Any]) -> dict[str, Any]:
    return {name: str(value) for name, value in facts.items()}


def _held(contract: Contract) -> Contract:
    return Contract.objects.select_for_update(of=("self",)).get(pk=contract.pk)


def _covers_of(row: Contract) -> Covers:
    return Covers(device_types=[*row.device_types.all()], sites=[*row.sites.all()], devices=[*row.devices.all()])


def _cover(row: Contract, covers: Covers) -> None:
    row.device_types.set(covers.device_types)
    row.sites.set(covers.sites)
    row.devices.set(covers.devices)


def _check(row: Contract, covers: Covers) -> None:
    if not covers.device_types and not covers.devices:
        raise BadValueError("Say which drivers it covers: a type, or their numbers.", field="device_types")
    if covers.sites and not covers.device_types:
        raise BadValueError("Sites narrow the types it covers: choose a type too.", field="device_types")
    if row.cost_a_year is not None and not row.currency:
        raise BadValueError("Give the currency of the cost, three letters.", field="currency")
    if row.ends_on < row.begins_on:
        raise BadValueError("The last day comes before the first.", field="ends_on")
    refuse_wrong(row, besides=("decide_by", "renews", "party"))
