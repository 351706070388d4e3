"""Places: adding, changing, closing and opening again."""

from collections.abc import Mapping
from typing import Any, Final

from django.db import transaction
from django.db.models import Q

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change, refuse_changed
from fleet.core.errors import BadValueError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.registry.models import Device, Place
from fleet.web import clock

#: What `edit_place` may change. The kind and what it stands in decide who sees it: add another place instead.
PLACE_FACTS: Final = frozenset({"name", "code", "critical", "phone"})

_NAMED: Final = 5
# Which kinds may stand in which: a site stands alone, a building in a site, the rest in a site or a building.
_MAY_STAND_IN = {
    Place.Kind.SITE: (),
    Place.Kind.BUILDING: (Place.Kind.SITE,),
    Place.Kind.WARD: (Place.Kind.SITE, Place.Kind.BUILDING),
    Place.Kind.BENCH: (Place.Kind.SITE, Place.Kind.BUILDING),
    Place.Kind.STORE: (Place.Kind.SITE, Place.Kind.BUILDING),
}


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
    if parent and parent.closed_on:
        msg = f"{parent} is closed. Choose an open place, or open it again."
        raise BadValueError(msg, field="parent")
    _refuse_taken(Place(parent=parent), name, code)


@transaction.atomic
def edit_place(
    place: Place, changes: Mapping[str, Any], *, by: Actor, why: str = "", opened: str | None = None
) -> Place:
    """Change a place's facts. `opened`: the fingerprint of PLACE_FACTS that the form was opened with."""
    by.must(May.EDIT_REGISTRY)
    if wrong := set(changes) - PLACE_FACTS:
        msg = f"The {min(wrong)} of a place stays. Close it and add another."
        raise BadValueError(msg, field=min(wrong))
    row = _locked(place)
    refuse_changed(row, PLACE_FACTS, opened)
    _refuse_taken(row, changes.get("name", row.name), changes.get("code", row.code))
    before, after = change(row, **changes)
    if after:
        record(Happening("changed place", row, before=before, after=after, why=why), by=by)
    return row


@transaction.atomic
def close_place(place: Place, *, why: str, by: Actor) -> Place:
    """Close a place that holds no driver and no open place, so that nothing new is sent there. Its history stays."""
    by.must(May.EDIT_REGISTRY)
    row = _locked(place)
    if not why.strip():
        msg = "Say why the place is closed."
        raise BadValueError(msg, field="why")
    _refuse_occupied(row)
    before, after = change(row, closed_on=clock.today())
    record(Happening("closed place", row, before=before, after=after, why=why), by=by)
    return row


@transaction.atomic
def reopen_place(place: Place, *, why: str, by: Actor) -> Place:
    """Open a closed place again. What it stands in must be open."""
    by.must(May.EDIT_REGISTRY)
    row = _locked(place)
    if row.parent and row.parent.closed_on:
        msg = f"{row.parent} is closed. Open it first."
        raise BadValueError(msg)
    before, after = change(row, closed_on=None)
    record(Happening("opened place again", row, before=before, after=after, why=why), by=by)
    return row


def _locked(place: Place) -> Place:
    return Place.objects.select_for_update(of=("self",)).select_related("parent").get(pk=place.pk)


def _refuse_taken(place: Place, name: str, code: str) -> None:
    others = Place.objects.exclude(pk=place.pk)
    if others.filter(code=code).exists():
        msg = f"The short code “{code}” belongs to another place. Choose one that is free."
        raise BadValueError(msg, field="code")
    if others.filter(parent=place.parent_id, name__iexact=name).exists():
        msg = f"There is already a “{name}” there."
        raise BadValueError(msg, field="name")


def _refuse_occupied(place: Place) -> None:
    if inside := place.children.filter(closed_on__isnull=True).first():
        msg = f"{inside} stands in {place} and is open. Close it first."
        raise BadValueError(msg)
    drivers = Device.objects.filter(Q(home=place) | Q(place=place)).exclude(condition=Condition.RETIRED.value)
    if (held := drivers.count()) > 0:
        named = ", ".join(drivers.values_list("asset_number", flat=True)[:_NAMED])
        more = " and others" if held > _NAMED else ""
        msg = f"{held} driver{'s belong' if held > 1 else ' belongs'} to {place} or stands there ({named}{more}). "
        raise BadValueError(msg + "Give each another home and record where it is, then close the place.")
