"""The awkward cases: each is given to one driver some weeks before the end, and played by the same actions as all else.

`CASES` is the list: how the case is called, how long before the end its driver is chosen, which drivers may play it,
and the script. The drivers end up on the list "worth a look" that the command prints.
"""

from collections.abc import Callable, Iterator
from datetime import timedelta
from functools import partial
from typing import Final, NamedTuple

from fleet.core.due import add_months
from fleet.management.demo import measured, scripts
from fleet.management.demo.drivers import NEW_TYPE
from fleet.management.demo.world import Driver, Notable, World
from fleet.registry.models import Device
from fleet.web import clock

#: Days since its service under which nothing falls due before the end.
_LATELY: Final = 200
#: Runtime fraction of a pack that is good for years.
_GOOD: Final = 0.9
#: What the cases are about, in the order in which they are listed.
_BENCH: Final = "tagged, on the bench or back from it"
_DUE: Final = "services and service life"
_PACK: Final = "batteries"
_WHERE: Final = "where drivers are and what they carry"
SUBJECTS: Final = (_BENCH, _DUE, _PACK, _WHERE)
Chooser = Callable[[World, Driver], bool]


class Case(NamedTuple):
    """One awkward case, listed under `subject`. `anybody`: if no free driver fits quite, another plays it."""

    subject: str
    name: str
    days_before: int
    may_play: Chooser
    script: Callable[[World, Driver], None]
    how_many: Callable[[int], int] = lambda _devices: 1
    anybody: bool = True


def _served_lately(_world: World, driver: Driver) -> bool:
    """Whether nothing falls due before the end, so that only the case itself is awkward."""
    return (clock.today() - driver.served_on).days < _LATELY and driver.device.pool == Device.Pool.CLINICAL


def _on_ward_4(world: World, driver: Driver) -> bool:
    """On the ward of the demonstration's nurse, so that her page shows it."""
    return driver.home.code == "mg-w4" and _served_lately(world, driver)


def _in_critical_care(world: World, driver: Driver) -> bool:
    return driver.home.critical and _served_lately(world, driver)


def _is_due(world: World, driver: Driver) -> bool:
    """Whether its yearly service falls due shortly before the end."""
    due_on = add_months(driver.served_on, 12)
    return timedelta(days=5) <= clock.local_day(world.diary.end) - due_on <= timedelta(days=29)


def _in_training(_world: World, driver: Driver) -> bool:
    return driver.device.pool == Device.Pool.TRAINING and driver.on_network


def _of_new_type(world: World, driver: Driver) -> bool:
    return driver.model is world.hospital.models[NEW_TYPE]


def _never_on_network(_world: World, driver: Driver) -> bool:
    return driver.model.networked and not driver.on_network


def _past_its_life(_world: World, driver: Driver) -> bool:
    life, accepted = driver.device.service_life_months, driver.device.accepted_on
    return bool(life and accepted and add_months(accepted, life) < clock.today())


def _young_pack(world: World, driver: Driver) -> bool:
    """Whether its pack is good for years, so that a low test stands out."""
    return (
        _served_lately(world, driver)
        and driver.cell.fraction(clock.today()) > _GOOD
        and not _of_new_type(world, driver)
    )


def _many(share: int, least: int) -> Callable[[int], int]:
    return lambda devices: max(least, devices // share)


CASES: Final = (
    Case(_DUE, "training-overdue", 500, _in_training, scripts.training_overdue, anybody=False),
    Case(_DUE, "past-service-life", 70, _past_its_life, scripts.past_service_life, anybody=False),
    Case(_WHERE, "never-on-network", 69, _never_on_network, scripts.never_on_network, _many(200, 1), anybody=False),
    Case(_PACK, "too-little-data", 68, _of_new_type, scripts.too_little_data, anybody=False),
    Case(_BENCH, "tagged-twice", 67, _on_ward_4, scripts.tagged_twice),
    Case(_BENCH, "waiting-for-parts", 66, _on_ward_4, scripts.waiting_for_parts),
    Case(_BENCH, "quarantined", 65, _served_lately, scripts.quarantined),
    Case(_DUE, "not-located", 64, _is_due, scripts.not_located),
    Case(_DUE, "deferred", 63, _is_due, scripts.deferred),
    Case(_BENCH, "failed-step", 62, _is_due, scripts.failed_step),
    Case(_PACK, "pack-swapped-twice", 61, _served_lately, scripts.pack_swapped_twice),
    Case(_PACK, "early-stopped", 60, _served_lately, scripts.early_stopped),
    Case(_PACK, "voided-test", 59, _young_pack, scripts.voided_test),
    Case(_PACK, "outlier-test", 58, _young_pack, scripts.outlier_test),
    Case(_BENCH, "at-the-maker", 57, _served_lately, scripts.at_the_maker),
    Case(_BENCH, "decontamination", 56, _served_lately, scripts.decontamination),
    Case(_DUE, "asked-for-maintenance", 55, _served_lately, scripts.asked_for_maintenance),
    Case(_WHERE, "found-again", 54, _served_lately, scripts.found_again),
    Case(_DUE, "retired", 53, _served_lately, scripts.retired),
    Case(_WHERE, "wandering", 52, _served_lately, scripts.wandering),
    Case(_BENCH, "tagged-today", 51, _served_lately, scripts.tagged_today, _many(70, 3)),
    Case(_BENCH, "leakage-jumped", 50, _served_lately, measured.leakage_jumped),
    Case(_BENCH, "fault-after-service", 49, _served_lately, measured.fault_after_service),
    Case(_BENCH, "trumpet-outside", 14, _served_lately, measured.trumpet_outside),
    Case(_BENCH, "not-proven", 13, _in_critical_care, measured.not_proven),
    Case(_WHERE, "late-loan", 12, _served_lately, scripts.late_loan),
    Case(_WHERE, "missing-lead", 6, _on_ward_4, scripts.missing_lead),
)


def worth_a_look(world: World) -> Iterator[tuple[str, list[Notable]]]:
    """Each subject with the drivers that play its cases, those of one case together; none without any."""
    of = {case.name: case.subject for case in CASES}
    for subject in SUBJECTS:
        if found := sorted(each for each in world.notable if of[each.case] == subject):
            yield subject, found


def plan_cases(world: World) -> None:
    """Plan the choosing of each case's drivers."""
    for case in CASES:
        world.diary.plan(world.diary.end - timedelta(days=case.days_before), partial(_give, world, case))


def _give(world: World, case: Case) -> None:
    """Give the case to free drivers that fit, or nearly; its script plans what happens to them."""
    played = {notable.asset for notable in world.notable}
    free = [driver for driver in world.drivers if driver.free and driver.device.asset_number not in played]
    chosen = [driver for driver in free if case.may_play(world, driver)]
    if case.anybody:
        chosen += [driver for driver in free if driver not in chosen and not _in_training(world, driver)]
    if not chosen:
        world.diary.plan(clock.now() + timedelta(days=1), partial(_give, world, case))
    for driver in chosen[: case.how_many(len(world.drivers))]:
        driver.kept_for = case.name
        case.script(world, driver)
