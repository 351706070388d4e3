"""Two visit rounds: a building a week ago, with drivers in use, kept and not found, and a ward begun this morning.

That morning another ward says of two of its drivers whether they are in use.
"""

from datetime import timedelta
from functools import partial
from itertools import cycle
from typing import Final

from fleet.core.lifecycle import Condition
from fleet.management.demo.diary import local, working_day
from fleet.management.demo.world import World
from fleet.registry.models import Device
from fleet.rounds import actions
from fleet.rounds.models import RoundStop
from fleet.rounds.queries import round_page
from fleet.tags.actions import say_use
from fleet.web import clock

_WALKED: Final = "mg-harbour"
_BEGUN: Final = "mg-w2"
#: The ward that said which of its drivers are idle and which in use.
_SPEAKS: Final = "mg-w4"
_ANSWERS: Final = (RoundStop.What.IN_USE, RoundStop.What.REFUSED, RoundStop.What.IN_USE, RoundStop.What.NOT_FOUND)
_MOST: Final = 6


def plan_rounds(world: World) -> None:
    """Plan both; only drivers that play no case are answered, so that chance goes on as it would."""
    walked = working_day(clock.local_day(world.diary.end) - timedelta(days=9))
    world.diary.plan(local(walked, 10), partial(_walk, world))
    world.diary.plan(world.diary.end - timedelta(minutes=20), partial(_begin, world))


def _begin(world: World) -> None:
    actions.begin(world.hospital.places[_BEGUN], clock.today(), by=world.crew.second_technician)
    in_service = Device.objects.filter(place=world.hospital.places[_SPEAKS], condition=Condition.IN_SERVICE)
    for device, in_use in zip(in_service.order_by("asset_number"), (False, True), strict=False):
        say_use(device, in_use=in_use, by=world.crew.nurses[_SPEAKS])


def _walk(world: World) -> None:
    by = world.crew.technicians[0]
    visit = actions.begin(world.hospital.places[_WALKED], clock.today(), by=by)
    free = {driver.device.pk for driver in world.drivers if driver.free}
    due = [each.device for each in round_page(visit).left if each.device.pk in free and not each.device.quarantined]
    for device, what in zip(due[:_MOST], cycle(_ANSWERS), strict=False):
        actions.stop(visit, device, what, by=by)
    actions.end(visit, by=by)
