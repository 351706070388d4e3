"""The bench's people: their training on record, one of them away, and an order that was given away for that."""

from datetime import date, timedelta
from functools import partial
from typing import Final

from fleet.bench.actions import assign
from fleet.bench.models import Order
from fleet.core.orders import OrderState
from fleet.management.demo.hospital import BY
from fleet.management.demo.world import World
from fleet.people.actions import note_absence
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import DeviceType
from fleet.staff.actions import Trained, record_training
from fleet.web import clock

#: Days from the end of the story until which a person's training on the type of that place in the list counts, where
#: it is another than everybody's: one has ended, one ends soon.
_OWN_ENDS: Final = {("technician2", 1): -200, ("p.marrack", 0): 30}
_USUAL_END: Final = 400
_TECHNICIANS: Final = ("technician", "p.marrack", "technician2", "o.tindell")


def plan_team(world: World) -> None:
    """Record everybody's training before they begin, and plan who is away at the end."""
    end = clock.local_day(world.diary.end)
    people = {person.username: person for person in Person.objects.filter(username__in=_TECHNICIANS)}
    for at, model in enumerate(world.hospital.models.values()):
        for username in _TECHNICIANS:
            days = _OWN_ENDS.get((username, at), _USUAL_END)
            _train(people[username], model.kind, end + timedelta(days=days))
    world.diary.plan(world.diary.end - timedelta(days=1), partial(_leave, people["p.marrack"], people["technician"]))


def _train(person: Person, kind: DeviceType, until: date) -> None:
    trained = Trained(
        types=(kind,),
        trained_on=clock.today() - timedelta(days=60),
        ends_on=until,
        by_whom=str(kind.maker),
        evidence="Signed attendance list",
    )
    record_training([person], trained, by=BY)


def _leave(away: Person, stays: Person) -> None:
    """Somebody goes on leave and gives an order of theirs to a colleague."""
    today, by = clock.today(), actor_for(away)
    note_absence(away, today, today + timedelta(days=10), by=by)
    note_absence(stays, today + timedelta(days=30), today + timedelta(days=34), by=actor_for(stays))
    held = Order.objects.within(stays).filter(state=OrderState.STARTED.value).exclude(assigned_to=stays)
    mine = held.filter(assigned_to=away).first() or held.first()
    if mine is not None:
        assign(mine, stays, by=by, note="I am away from today; the steps go on where I stopped.")
