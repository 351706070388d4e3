"""The only writers of libraries: releases, what places require, what drivers were seen to carry, the daily counts."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError, ConflictError
from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.libraries.models import Carried, CoverageSnapshot, Library, LibraryVersion, Requirement
from fleet.libraries.queries import State, coverage
from fleet.registry.actions.devices import locked
from fleet.registry.models import Device, Place
from fleet.schedules import actions as schedules
from fleet.web import clock
from fleet.web.phrases import day as spoken

_COUNTED = (State.CURRENT, State.BEHIND, State.UNKNOWN, State.NOT_SEEN)


@transaction.atomic
def add_library(name: str, code: str, *, by: Actor) -> Library:
    """Add a named library."""
    by.must(May.EDIT_REGISTRY)
    if Library.objects.filter(name__iexact=name).exists():
        raise BadValueError(f"There is already a library “{name}”.", field="name")
    if Library.objects.filter(code=code).exists():
        raise BadValueError(
            f"The short code “{code}” belongs to another library. Choose one that is free.", field="code"
        )
    library = Library.objects.create(name=name, code=code)
    record(Happening("added library", library, after={"name": name, "code": code}), by=by)
    return library


@transaction.atomic
def release(library: Library, number: str, released_on: date, *, by: Actor, note: str = "") -> LibraryVersion:
    """Add a version. No place requires it by that."""
    by.must(May.EDIT_REGISTRY)
    if not number.strip():
        raise BadValueError("Give the version its number, as drivers show it.", field="number")
    if library.versions.filter(number=number.strip()).exists():
        raise BadValueError(f"{library} {number} is on record already.", field="number")
    version = LibraryVersion.objects.create(
        library=library, number=number.strip(), released_on=released_on, note=note.strip()
    )
    record(Happening("released library version", version, after={"released_on": released_on}), by=by)
    return version


@transaction.atomic
def withdraw(version: LibraryVersion, *, on: date, why: str, by: Actor) -> LibraryVersion:
    """Mark a version as withdrawn: drivers that carry it count as behind from now on."""
    by.must(May.EDIT_REGISTRY)
    if not why.strip():
        raise BadValueError("Give the reason for withdrawing this version.", field="why")
    row = _locked_version(version)
    if row.withdrawn_on is not None:
        raise ConflictError(f"{row} was withdrawn on {spoken(row.withdrawn_on)} already.")
    if not row.released_on <= on <= clock.today():
        msg = f"Give a day from its release, {spoken(row.released_on)}, to today."
        raise BadValueError(msg, field="on")
    before, after = change(row, withdrawn_on=on)
    record(Happening("withdrew library version", row, before=before, after=after, why=why), by=by)
    return row


def _locked_version(version: LibraryVersion) -> LibraryVersion:
    return LibraryVersion.objects.select_for_update(of=("self",)).select_related("library").get(pk=version.pk)


@transaction.atomic
def require(place: Place, version: LibraryVersion, from_day: date, *, by: Actor) -> Requirement:
    """Require a version at a place, and below it, from a day on. A later requirement takes its place."""
    by.must(May.EDIT_REGISTRY)
    held = _locked_version(version)
    if held.withdrawn_on is not None:
        msg = f"{held} was withdrawn on {spoken(held.withdrawn_on)}; choose a version that stands."
        raise BadValueError(msg, field="version")
    if from_day < held.released_on:
        msg = f"{held} is released on {spoken(held.released_on)}; give that day or a later one."
        raise BadValueError(msg, field="from_day")
    row, fresh = Requirement.objects.get_or_create(place=place, version=held, from_day=from_day)
    if since := Requirement.objects.filter(place=place, from_day=from_day, pk__gt=row.pk).order_by("-pk").first():
        msg = f"{place} was given {since.version} for the same day after this one, and that holds. Give a later day."
        raise BadValueError(msg, field="from_day")
    if fresh:
        after = {"place": str(place), "version": str(held), "from_day": from_day}
        record(Happening("required library version", row, after=after), by=by)
    return row


@transaction.atomic
def carries(device: Device, version: LibraryVersion, *, seen_at: datetime, source: str, by: Actor) -> Carried:
    """Record the version a driver was seen to carry. An older sight than the one on record changes nothing."""
    by.must(May.UPDATE_LIBRARY)
    row = locked(device)
    if seen_at > clock.now():
        raise BadValueError("This time is still to come; give when the version was seen.", field="seen_at")
    if row.condition == Condition.RETIRED.value:
        raise BadValueError(f"{row} is retired; check the number.", field="device")
    before: dict[str, Any] = {}
    values: dict[str, Any] = {"version": version, "seen_at": seen_at, "seen_source": source}
    held = Carried.objects.select_for_update(of=("self",)).select_related("version__library").filter(device=row).first()
    if held is None:
        held = Carried.objects.create(device=row, **values)
        after = values
    elif held.seen_at >= seen_at:
        return held
    else:
        held.device = row
        before, after = change(held, **values)
    record(Happening("library seen", held, device_id=row.pk, before=before, after=after, done_at=seen_at), by=by)
    return held


@transaction.atomic
def carry_all(
    devices: Sequence[Device], version: LibraryVersion, *, seen_at: datetime, source: str, by: Actor
) -> list[Carried]:
    """Record one version for several drivers seen together, all or none. One that was not located is found by that."""
    for device in devices:
        schedules.scanned(device, "a scan of its library", at=seen_at, by=by)
    return [carries(device, version, seen_at=seen_at, source=source, by=by) for device in devices]


@transaction.atomic
def snapshot(day: date) -> dict[str, int]:
    """Keep the day's counts of each place that requires a version. Run again it writes them anew, never twice."""
    rows = [
        CoverageSnapshot(day=day, place=row.place, **{state.value: row.counts[state] for state in _COUNTED})
        for row in coverage(None, day)
        if row.total
    ]
    CoverageSnapshot.objects.bulk_create(
        rows,
        update_conflicts=True,
        unique_fields=["day", "place"],
        update_fields=[state.value for state in _COUNTED],
    )
    return {"places": len(rows), "behind": sum(row.behind for row in rows)}
