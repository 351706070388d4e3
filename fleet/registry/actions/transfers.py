"""The lasting transfer of a driver to another home, with its condition on record."""

from dataclasses import dataclass
from datetime import date

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.permissions import May
from fleet.registry.actions.devices import locked, refuse_retired
from fleet.registry.models import Device, Place, Transfer
from fleet.web import clock


@dataclass(frozen=True, slots=True, kw_only=True)
class Handover:
    """Where a driver goes for good, on which day, in which condition and why; `cost_centre` where that changes."""

    to_place: Place
    on: date
    state: str
    why: str
    cost_centre: str = ""


@transaction.atomic
def transfer(device: Device, given: Handover, *, by: Actor) -> Transfer:
    """Give a driver another home for good. Its plans, dues and history go with it; the new home's library holds.

    A driver that stands at its old home is on record at the new one from then on; one on the bench stays there.
    """
    by.must(May.EDIT_REGISTRY)
    row = locked(device)
    refuse_retired(row)
    if row.quarantined:
        raise MoveRefusedError(f"{row} is under quarantine: it stays where it is kept until that is lifted.")
    _check(row, given)
    before_home = row.home
    moved = {"place": given.to_place} if row.place_id == row.home_id else {}
    centre = {"cost_centre": given.cost_centre.strip()} if given.cost_centre.strip() else {}
    before, after = change(row, home=given.to_place, **moved, **centre)
    done = Transfer.objects.create(
        device=row,
        from_place=before_home,
        to_place=given.to_place,
        on=given.on,
        state=given.state.strip(),
        why=given.why.strip(),
        cost_centre=given.cost_centre.strip(),
        entered_at=clock.now(),
        by_name=by.name[:120],
    )
    told = {**after, "handed over on": given.on, "condition when handed over": done.state}
    record(Happening("transferred", row, device_id=row.pk, before=before, after=told, why=done.why), by=by)
    return done


def _check(row: Device, given: Handover) -> None:
    if given.to_place.pk == row.home_id:
        raise BadValueError(f"{given.to_place} is its home already.", field="to_place")
    if given.to_place.closed_on is not None:
        raise BadValueError(f"{given.to_place} is closed. Choose a place that is open.", field="to_place")
    if given.on > clock.today():
        raise BadValueError("Give the day it was handed over on, today or before.", field="on")
    for name, words in (("state", "Say in which condition it was handed over."), ("why", "Say why it goes there.")):
        if not getattr(given, name).strip():
            raise BadValueError(words, field=name)
