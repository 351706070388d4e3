"""Two safety notices: one of last year, carried out and closed, and one that the benches are in the middle of."""

from datetime import timedelta
from functools import partial
from typing import Any, Final

from fleet.core.matching import natural_key
from fleet.management.demo.diary import local, working_day
from fleet.management.demo.world import Driver, World
from fleet.notices import actions, queries
from fleet.notices.models import Affected, Notice, Standing
from fleet.web import clock

_MODEL: Final = "TW-10"
_CLOSED_DAYS: Final = 205
_OPEN_DAYS: Final = 6
_LISTED: Final = 5
#: One driver in so many is left open.
_LEFT: Final = 3


def plan_notices(world: World) -> None:
    """Plan both. They change no driver and raise no order, so that chance goes on as it would."""
    end = clock.local_day(world.diary.end)
    for days, act in (
        (_CLOSED_DAYS, _open_listed),
        (_CLOSED_DAYS - 20, _carry_out),
        (_OPEN_DAYS, _open_range),
        (_OPEN_DAYS - 3, _answer_some),
    ):
        world.diary.plan(local(working_day(end - timedelta(days=days)), 11), partial(act, world))


def _drivers(world: World) -> list[Driver]:
    of_model = [driver for driver in world.drivers if driver.model is world.hospital.models[_MODEL]]
    return sorted(of_model, key=lambda driver: natural_key(driver.device.serial_number))


def _opened(world: World, narrows: dict[str, Any], **said: Any) -> None:
    by, kind = world.crew.manager, world.hospital.models[_MODEL].kind
    today = clock.today()
    dates = {"issued_on": today - timedelta(days=8), "received_on": today - timedelta(days=1)}
    usual = {"issuer": str(kind.maker), "gravity": "some", "source": "by e-mail, from the maker", **dates}
    notice = actions.begin({**usual, **said}, by=by)
    actions.add_criterion(notice.editions.get(), actions.Which(device_type=kind, **narrows), by=by)
    actions.open_notice(notice, by=by)


def _open_listed(world: World) -> None:
    serials = tuple(driver.device.serial_number for driver in _drivers(world)[:_LISTED])
    _opened(
        world,
        {"serials": serials},
        title="Pole clamp screw may work loose",
        reference="TI-2-2",
        action="part",
        words="Replace the screw of the pole clamp with the one that came with the notice.",
        by_when=clock.today() + timedelta(days=60),
        on_the_spot=True,
        take_along="Clamp screws and a 3 mm hexagon key",
    )


def _carry_out(world: World) -> None:
    notice = Notice.objects.get(edition__reference="TI-2-2")
    lines = queries.lines().filter(notice=notice).so(Standing.OPEN)
    given = actions.Answer(state=Affected.State.DONE, what="Screw replaced", evidence="Screw set CS-3")
    actions.answer(lines, given, by=world.crew.technicians[0])
    actions.close(
        notice, Notice.Closed.DONE, why="Every clamp that was found has its new screw.", by=world.crew.manager
    )


def _open_range(world: World) -> None:
    known = _drivers(world)
    first, last = known[len(known) // 4], known[-len(known) // 4]
    _opened(
        world,
        {"serial_from": first.device.serial_number, "serial_to": last.device.serial_number},
        title="Syringe holder may not close fully",
        reference="TI-3-1",
        action="inspect",
        words="Close the holder on an empty syringe of each size and pull. Where it gives, tag the driver out of use.",
        by_when=clock.today() + timedelta(days=30),
        on_the_spot=True,
        take_along="One empty syringe of each size",
    )


def _answer_some(world: World) -> None:
    notice = Notice.objects.get(edition__reference="TI-3-1")
    lines = list(queries.lines().filter(notice=notice).so(Standing.OPEN))
    by = world.crew.technicians[0]
    looked_at = [line for number, line in enumerate(lines) if number % _LEFT]
    if looked_at:
        other = actions.Answer(state=Affected.State.NOT_APPLYING, what="Has the holder of the later series")
        actions.answer(looked_at[:1], other, by=by)
    if looked_at[1:]:
        actions.answer(looked_at[1:], actions.Answer(state=Affected.State.DONE, what="Holds on every size"), by=by)
