"""The writers of parts and of where they are kept."""

from collections.abc import Mapping
from copy import copy
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change, refuse_changed
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.permissions import May
from fleet.registry.models import DeviceType, Place
from fleet.stores.models import Part, Shelf
from fleet.web import clock

#: What `add_part` takes and `edit_part` may change, besides the types it fits.
PART_FACTS: Final = frozenset(
    {"number", "name", "maker", "maker_number", "price", "reorder_quantity", "lead_days", "keeps_batch", "keeps_expiry"}
)
_KEPT_AT: Final = {Place.Kind.BENCH, Place.Kind.STORE}


@transaction.atomic
def add_part(facts: Mapping[str, Any], *, by: Actor, types: list[DeviceType] | None = None) -> Part:
    """Add a part with `facts` of PART_FACTS; without `types` it fits all. Raises BadValueError naming the field."""
    by.must(May.KEEP_STORE)
    _only_facts(facts)
    row = Part(**facts)
    _clean(row)
    row.save()
    row.types.set(types or [])
    told = {name: value for name, value in facts.items() if value not in ("", None, False)}
    record(
        Happening("added part to the store", row, after={**told, "types": [str(each) for each in types or []]}), by=by
    )
    return row


@transaction.atomic
def edit_part(
    part: Part,
    changes: Mapping[str, Any],
    *,
    by: Actor,
    types: list[DeviceType] | None = None,
    opened: str | None = None,
) -> Part:
    """Change facts of a part, and with `types` which types it fits; `opened` as the form was opened with.

    Raises ConflictError when somebody else changed the facts since, BadValueError for a value that does not fit.
    """
    by.must(May.KEEP_STORE)
    _only_facts(changes)
    row = _hold(part)
    refuse_changed(row, PART_FACTS, opened)
    changed = copy(row)
    for name, value in changes.items():
        setattr(changed, name, value)
    _clean(changed)
    before, after = change(row, **changes)
    before, after = _fit(row, types, before, after)
    if after:
        record(Happening("changed part", row, before=before, after=after), by=by)
    return row


def _fit(
    row: Part, types: list[DeviceType] | None, before: dict[str, Any], after: dict[str, Any]
) -> tuple[dict[str, Any], dict[str, Any]]:
    held = {each.pk: str(each) for each in row.types.all()}
    if types is None or {each.pk for each in types} == set(held):
        return before, after
    row.types.set(types)
    return {**before, "types": list(held.values())}, {**after, "types": [str(each) for each in types]}


@transaction.atomic
def drop_part(part: Part, why: str, *, by: Actor) -> Part:
    """Keep a part no more. Refused while some lie in stock: issue, move or scrap them first."""
    by.must(May.KEEP_STORE)
    row = _hold(part)
    if row.dropped_on is not None:
        raise MoveRefusedError(f"{row} is kept no more since {row.dropped_on:%d %b %Y} already.")
    if row.shelves.filter(stocks__quantity__gt=0).exists():
        raise MoveRefusedError(f"Some of {row} lie in stock yet. Use them up or scrap them, then drop the part.")
    if not why.strip():
        raise BadValueError("Say why it is kept no more.", field="why")
    before, after = change(row, dropped_on=clock.today(), dropped_why=why.strip())
    record(Happening("dropped part", row, before=before, after=after, why=why.strip()), by=by)
    return row


@transaction.atomic
def keep_at(part: Part, place: Place, *, by: Actor, minimum: int = 0, bin_: str = "") -> Shelf:
    """Keep a part at a bench or store, in a bin, with at least so many; said again, bin and minimum are changed."""
    by.must(May.KEEP_STORE)
    held = _hold(part)
    if held.dropped_on is not None:
        raise MoveRefusedError(f"{held} is kept no more.")
    if place.kind not in _KEPT_AT or place.closed_on is not None:
        raise BadValueError(f"Parts are kept at a bench or store in use; {place} is none.", field="place")
    stated: dict[str, Any] = {"bin": bin_.strip(), "minimum": minimum}
    row = Shelf.objects.select_for_update().filter(part=held, place=place).first()
    if row is None:
        row = Shelf(part=held, place=place, **stated)
        _clean(row)
        row.save()
        record(Happening("keeps part at", row, after={"place": place, **stated}), by=by)
        return row
    before, after = change(row, **stated)
    if after:
        record(Happening("changed shelf of part", row, before=before, after=after), by=by)
    return row


def _hold(part: Part) -> Part:
    return Part.objects.select_for_update().get(pk=part.pk)


def _only_facts(facts: Mapping[str, Any]) -> None:
    if wrong := sorted(set(facts) - PART_FACTS):
        raise BadValueError(f"“{wrong[0]}” of a part can't be set here.", field=wrong[0])


def _clean(row: Part | Shelf) -> None:
    try:
        row.full_clean()
    except ValidationError as error:
        name, messages = next(iter(error.message_dict.items()))
        raise BadValueError(" ".join(messages), field="" if name == "__all__" else name) from error
