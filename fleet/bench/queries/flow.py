"""Flow and occlusion tests of an order, the limits that hold for them, and how measured values stand against these."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from django.db.models import Q, QuerySet

from fleet.bench.models import DeliveryLimit, FlowTest, OcclusionTest, Order
from fleet.core.flow import Delivery
from fleet.registry.models import DeviceType
from fleet.web.phrases import quantity

#: A measured quantity as the smallest and the largest value that must lie within the limits; None: not measured.
Measured = Mapping[str, tuple[float, float] | None]
#: Measured values are sums of many floats; what differs in the ninth decimal is no difference.
_DECIMALS: Final = 9
_UNITS: Final = {
    DeliveryLimit.Quantity.ALARM_SECONDS: "s",
    DeliveryLimit.Quantity.PRESSURE: "kPa",
    DeliveryLimit.Quantity.BOLUS: "mL",
}


@dataclass(frozen=True, slots=True)
class Judged:
    """One limit and how a test stood against it. `verified` says who checked the limit, empty where nobody did."""

    quantity: str
    at_rate: str
    low: float | None
    high: float | None
    source: str
    verified: str
    verdict: str

    @property
    def words(self) -> str:
        """What was measured."""
        return str(DeliveryLimit.Quantity(self.quantity).label)

    @property
    def limits(self) -> str:
        """The bounds as a person reads them."""
        return bounds_in_words(self.low, self.high, unit_of(self.quantity))


def flow_tests() -> QuerySet[FlowTest]:
    """All flow tests with their order; not the logs, which are long."""
    return FlowTest.objects.select_related("order__device", "instrument").defer("log")


def occlusion_tests() -> QuerySet[OcclusionTest]:
    """All occlusion tests with their order."""
    return OcclusionTest.objects.select_related("order__device", "instrument")


def delivery_limits() -> QuerySet[DeliveryLimit]:
    """The limits that hold, by type."""
    standing = DeliveryLimit.objects.filter(dropped_at__isnull=True).select_related("device_type__maker")
    return standing.order_by("device_type__maker__name", "device_type__model", "quantity", "rate", "syringe_ml")


def failed_delivery(order: Order) -> list[FlowTest | OcclusionTest]:
    """The tests that stand as failed: not voided, and the last judged one at their rate and syringe (and level)."""
    last: dict[tuple[Any, ...], FlowTest | OcclusionTest] = {}
    flows = FlowTest.objects.filter(order=order, voided_at__isnull=True).exclude(verdict=FlowTest.Verdict.NONE)
    for flow in flows.defer("log", "result").order_by("taken_at", "pk"):
        last["flow", flow.rate, flow.syringe_ml] = flow
    closed = OcclusionTest.objects.filter(order=order, voided_at__isnull=True).exclude(verdict=FlowTest.Verdict.NONE)
    for test in closed.order_by("taken_at", "pk"):
        last["occlusion", test.rate, test.syringe_ml, test.level.casefold()] = test
    return [test for test in last.values() if test.verdict == FlowTest.Verdict.FAIL]


def limits_at(
    device_type: DeviceType, rate: Decimal, syringe_ml: Decimal, quantities: Iterable[str]
) -> list[DeliveryLimit]:
    """The limit of each quantity that holds at a rate with a syringe: one for both before one for any of either."""
    rows = DeliveryLimit.objects.filter(
        Q(rate=rate) | Q(rate__isnull=True),
        Q(syringe_ml=syringe_ml) | Q(syringe_ml__isnull=True),
        device_type=device_type,
        quantity__in=list(quantities),
        dropped_at__isnull=True,
    )
    chosen: dict[str, DeliveryLimit] = {}
    for row in sorted(rows, key=lambda row: (row.rate is not None, row.syringe_ml is not None)):
        chosen[row.quantity] = row
    return [chosen[name] for name in DeliveryLimit.Quantity.values if name in chosen]


def bounds_in_words(low: Decimal | float | None, high: Decimal | float | None, unit: str) -> str:
    """The bounds as a person reads them: "4 to 5 %", "at most 0.2 mL"."""
    if low is None:
        return f"at most {quantity(high, unit)}"
    return f"at least {quantity(low, unit)}" if high is None else f"{quantity(low)} to {quantity(high, unit)}"


def unit_of(name: str) -> str:
    """The unit of a quantity."""
    return _UNITS.get(DeliveryLimit.Quantity(name), "%")


def verified_words(limit: DeliveryLimit) -> str:
    """Who checked a limit against its source and when; empty where nobody did."""
    return f"{limit.verified_by}, {limit.verified_on:%Y-%m-%d}" if limit.verified_on else ""


def judged(limits: Iterable[DeliveryLimit], measured: Measured) -> list[Judged]:
    """Hold what was measured against each limit, bounds included; what was not measured is not judged."""
    return [
        Judged(
            limit.quantity,
            "" if limit.rate is None else f"{limit.rate.normalize():f}",
            None if limit.low is None else float(limit.low),
            None if limit.high is None else float(limit.high),
            f"{limit.source}, {limit.edition}" if limit.edition else limit.source,
            verified_words(limit),
            _verdict(limit, measured.get(limit.quantity)),
        )
        for limit in limits
    ]


def _verdict(limit: DeliveryLimit, span: tuple[float, float] | None) -> str:
    if span is None:
        return FlowTest.Verdict.NONE.value
    low, high = (round(value, _DECIMALS) for value in span)
    is_within = (limit.low is None or low >= limit.low) and (limit.high is None or high <= limit.high)
    return FlowTest.Verdict.PASS.value if is_within else FlowTest.Verdict.FAIL.value


def verdict_of(lines: Iterable[Judged]) -> FlowTest.Verdict:
    """One verdict: outside where one limit is missed, within where each is met, none where one could not be judged."""
    verdicts = {line.verdict for line in lines}
    if FlowTest.Verdict.FAIL.value in verdicts:
        return FlowTest.Verdict.FAIL
    return FlowTest.Verdict.PASS if verdicts == {FlowTest.Verdict.PASS.value} else FlowTest.Verdict.NONE


def verdict_words(verdict: str, lines: Iterable[Judged]) -> str:
    """The verdict in words; a test with a limit it could not be held against is told apart from one without limits."""
    if verdict == FlowTest.Verdict.NONE and any(lines):
        return "Not judged in full"
    return str(FlowTest.Verdict(verdict).label)


def measured_flow(delivery: Delivery) -> Measured:
    """What a flow test measured, by quantity of its limits."""
    spans: dict[str, tuple[float, float] | None] = {
        DeliveryLimit.Quantity.MEAN_ERROR.value: (delivery.mean_error, delivery.mean_error)
    }
    for window in delivery.windows:
        known = window.lowest is not None and window.highest is not None
        spans[f"w{window.minutes}"] = (window.lowest, window.highest) if known else None  # type: ignore[assignment] # both are known
    return spans
