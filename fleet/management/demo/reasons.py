"""Why the hospital plans as it does: risk scores, an interval longer than the maker's, and days not worked."""

from datetime import date, timedelta
from functools import partial
from typing import Final

from fleet.core.due import add_months
from fleet.core.risk import Scale
from fleet.management.demo.diary import local
from fleet.management.demo.hospital import SITES
from fleet.management.demo.world import World
from fleet.schedules.actions import close_days, edit_plan, score_type, set_calendar
from fleet.schedules.models import Plan, RiskClass
from fleet.schedules.queries.risk import history_from
from fleet.web import clock

#: Days after the beginning on which the committee scored the types and looked at the intervals.
_MET: Final = 40
_YEAR: Final = 12
_COUNTRY: Final = "IE"
#: Days after the end on which the theatres close.
_CLOSED_IN: Final = 20
_THERAPEUTIC, _WARD = "Surgical and intensive care (therapeutic)", "Physical therapy and treatment"
_CLASSES: Final = {
    Scale.RISK: "Patient death",
    Scale.MAINTENANCE: "Average: performance verification and safety test",
}
#: Used in homes and on wards for comfort; the others stand in critical care too.
_PALLIATIVE: Final = "Lento 3"


def plan_reasons(world: World) -> None:
    """Plan the committee's meeting."""
    day = clock.today() + timedelta(days=_MET)
    world.diary.plan(local(day, 15), partial(_decide, world, day))


def _decide(world: World, day: date) -> None:
    for name, model in world.hospital.models.items():
        function = _WARD if name == _PALLIATIVE else _THERAPEUTIC
        labels = {Scale.FUNCTION: function, **_CLASSES}
        chosen = {scale: RiskClass.objects.get(scale=scale.value, label=label) for scale, label in labels.items()}
        score_type(model.kind, chosen, note="As used with us", by=world.crew.manager)
    _calendar(world)
    for plan in Plan.objects.filter(kind=Plan.Kind.BATTERY, every_months__gt=_YEAR):
        since = history_from(plan.device_type)
        if since is None or since > day:  # as in a demo of few drivers
            continue
        edit_plan(plan, _alternative(day), by=world.crew.manager, why="Decided by the device committee")


def _calendar(world: World) -> None:
    """Public holidays of a country that the invented group is set in, and theatres closed soon for their cleaning."""
    for code in SITES:
        set_calendar(world.hospital.places[code], country=_COUNTRY, season=(None, None), by=world.crew.manager)
    first = clock.local_day(world.diary.end) + timedelta(days=_CLOSED_IN)
    place = world.hospital.places["mg-theatres"]
    close_days(place, first, first + timedelta(days=11), "Deep cleaning of the theatres", by=world.crew.manager)


def _alternative(day: date) -> dict[str, object]:
    """An interval other than the maker's, with all that an inspector would ask for."""
    return {
        "basis": Plan.Basis.ALTERNATIVE,
        "maker_months": _YEAR,
        "document": "Service manual, issue 4 (invented)",
        "basis_reason": "Packs of this type lost under 0.05 a year in our own tests; two years leave reserve enough.",
        "basis_evidence": "212 runtime tests of four years, none under 0.80 before its third year (invented).",
        "basis_by": "Maud Ferrant",
        "basis_on": day,
        "basis_review_on": add_months(day, 4 * _YEAR),
    }
