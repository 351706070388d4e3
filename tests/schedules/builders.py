"""Plans and dues for tests."""

from contextlib import AbstractContextManager
from datetime import UTC, date, datetime, time
from decimal import Decimal
from typing import Any

from fleet.registry.models import Device, DeviceType, Place
from fleet.schedules.actions import Asked, NewPlan, add_plan, open_dues, propose
from fleet.schedules.models import Due, Levelling, Plan
from fleet.web import clock
from tests.builders import BY, a_device, a_type

ACCEPTED = date(2027, 1, 31)
#: All that must stand beside a schedule other than the maker's, but for the two intervals.
REASONED: dict[str, Any] = {
    "basis": "alternative",
    "basis_reason": "Ten years without a finding.",
    "basis_evidence": "12 services in 40 device-years found nothing",
    "basis_by": "M. Ferrant",
    "basis_on": date(2027, 1, 5),
    "basis_review_on": date(2028, 1, 5),
}


def on(day: date, hour: int = 9) -> AbstractContextManager[None]:
    """Hold the clock at an hour of a day."""
    return clock.at(datetime.combine(day, time(hour), tzinfo=UTC))


def a_plan(
    device_type: DeviceType | None = None, name: str = "Yearly service", months: int | None = 12, **facts: Any
) -> Plan:
    """A plan of the type: every 12 months, window of 30 days before and after, floating."""
    kind, counted = facts.pop("kind", Plan.Kind.SERVICE), {"every_hours": facts.pop("hours", None)}
    counted["every_cycles"] = facts.pop("cycles", None)
    if facts.get("basis", Plan.Basis.MAKER) == Plan.Basis.MAKER and "maker_months" not in facts:
        facts |= {
            "maker_months": months,
            "maker_hours": counted["every_hours"],
            "maker_cycles": counted["every_cycles"],
        }
    new = NewPlan(
        device_type=device_type or a_type(), name=name, kind=kind, every_months=months, facts=facts, **counted
    )
    return add_plan(new, by=BY)


def a_due(device: Device | None = None, **plan_facts: Any) -> Due:
    """The due of a driver accepted on 31 Jan 2027, for a plan made on that day."""
    with on(ACCEPTED):
        plan = a_plan(**plan_facts)
        driver = device or a_device(accepted_on=ACCEPTED)
        open_dues(driver, by=BY)
    return Due.objects.select_related("plan", "device").get(device=driver, plan=plan)


def a_proposal(place: Place | None = None, *, hours: int = 10, most_away: str = "1", **minutes: int) -> Levelling:
    """A levelling proposed for a place (for all places when none is named): an hour a service, half a battery test."""
    taken = {"service": 60, "battery": 30, **minutes}
    asked = Asked(place=place, hours_a_week=Decimal(hours), most_away=Decimal(most_away), minutes=taken)
    return propose(asked, by=BY)


def stored(device: Device) -> tuple[date | None, date | None, date | None]:
    """The due columns on the driver, as the database has them."""
    return Device.objects.values_list("next_due", "next_due_closes", "late_since").get(pk=device.pk)
