"""Reading retirements: those whose record is not complete, the records, and what an order tells of the wiping."""

from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from django.db.models import Q
from django.utils.timezone import localtime

from fleet.bench.models import Order, OrderKind, Reading, RetentionRule, Retirement, RetirementQuerySet, Step
from fleet.core.due import add_months
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceQuerySet


def retirements(person: Person) -> RetirementQuerySet:
    """All retirements at the person's places, latest first, with what a page shows of them."""
    rows: RetirementQuerySet = Retirement.objects.select_related(
        "device__device_type__maker", "device__home", "disposal", "wiping"
    ).within(person)
    return rows.prefetch_related("parts")


def not_wiped(rows: RetirementQuerySet) -> RetirementQuerySet:
    """Those that stand and have no record of disposal and wiping yet."""
    return rows.filter(stated_at=None, taken_back_at=None)


def retirements_named(rows: RetirementQuerySet, words: str) -> RetirementQuerySet:
    """The retirements that an asset or serial number, a type or the reason's words name."""
    driver = Q(device__asset_number__icontains=words) | Q(device__serial_number__icontains=words)
    return rows.filter(driver | Q(device__device_type__model__icontains=words) | Q(words__icontains=words))


def retention_rule() -> RetentionRule | None:
    """For how long records are kept at least; None where nobody has decided that."""
    return RetentionRule.objects.filter(pk=RetentionRule.ONLY).first()


def past_retention(person: Person, on: date) -> DeviceQuerySet:
    """The retired drivers whose records are past their least time, the longest retired first; none without a rule.

    It is told and nothing follows from it here: the program deletes no record.
    """
    rule = retention_rule()
    rows: DeviceQuerySet = Device.objects.within(person).select_related("device_type__maker").order_by("retired_on")
    return rows.filter(retired_on__lte=add_months(on, -12 * rule.years)) if rule else rows.none()


def retirement_of(device: Device) -> Retirement | None:
    """The retirement of a driver that stands."""
    return Retirement.objects.filter(device=device, taken_back_at=None).first()


#: The steps of a retirement that tell of the wiping, whoever wrote them: “wiped”, “wiping”, “wipe”.
_WIPING: Final = "wip"


@dataclass(frozen=True, slots=True)
class Wiped:
    """What the order of a retirement tells of the wiping: its steps that passed, and those that did not."""

    order: Order
    passed: list[Reading]
    open: list[Step]

    @property
    def initial(self) -> dict[str, Any]:
        """What it proposes for the record; nothing while a step of the wiping has not passed."""
        if self.open or not self.passed:
            return {}
        last = max(self.passed, key=lambda reading: reading.taken_at)
        proofs = [reading.chosen for reading in self.passed if reading.chosen]
        words = ", ".join([f"Order {self.order}", *proofs])
        return {
            "wiped_by_name": str(last.by or ""),
            "wiped_on": localtime(last.taken_at).date(),
            "wiping_verified": words[:200],
        }


def wiped_by_order(retirement: Retirement) -> Wiped | None:
    """What the last order that worked the retirement procedure tells; None where none did."""
    begun = Order.objects.filter(kind=OrderKind.RETIREMENT, received_at__isnull=False, procedure_version__isnull=False)
    order = begun.filter(device=retirement.device, raised_at__lte=retirement.retired_at).order_by("-raised_at").first()
    if order is None:
        return None
    steps = Step.objects.filter(version=order.procedure_version_id or 0, words__icontains=_WIPING)
    passing = Reading.objects.filter(order=order, latest=True, verdict=Reading.Verdict.PASS, step__in=steps)
    passed = list(passing.select_related("step", "by").order_by("step__position"))
    met = {reading.step_id for reading in passed}
    return Wiped(order, passed, [step for step in steps.filter(required=True) if step.pk not in met])


def proposed(retirement: Retirement) -> dict[str, Any]:
    """What the record's form begins with: nothing where no order tells of the wiping, or the record is complete."""
    wiped = None if retirement.stated_at else wiped_by_order(retirement)
    return wiped.initial if wiped else {}
