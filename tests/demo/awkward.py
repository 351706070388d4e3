"""What each awkward case of the demonstration must show, and the words by which the command lists it."""

from collections.abc import Callable
from datetime import timedelta

from django.db.models import F

from fleet.accessories.models import Missing
from fleet.alerts.models import Alert
from fleet.batteries.models import Fitting, Forecast, RuntimeTest
from fleet.bench.models import FlowTest, Order, Reading, Retirement
from fleet.bench.queries.judging import judgement_of
from fleet.bench.queries.reference import policy_at
from fleet.core.due import add_months
from fleet.core.judging import Acceptance
from fleet.core.lifecycle import Condition, WaitReason
from fleet.core.safety import Quantity
from fleet.libraries.models import Carried
from fleet.loans.models import Loan
from fleet.registry.models import Device
from fleet.schedules.models import Due, DueAttempt
from fleet.tags.models import CustodyEntry, Tag
from tests.demo.built import UNTIL


def _service(device: Device) -> Due:
    return Due.objects.get(device=device, plan__kind="service")


def _waits(device: Device, reason: WaitReason) -> bool:
    return (device.condition, device.wait_reason) == (Condition.WAITING, reason)


def _failed(device: Device) -> bool:
    failed = Reading.objects.filter(order__device=device, order__state__in=["started", "waiting"], latest=True)
    return failed.filter(verdict=Reading.Verdict.FAIL, step__required=True).exists()


def _tests(device: Device) -> list[RuntimeTest]:
    return list(RuntimeTest.objects.filter(device=device).order_by("-started_at"))


def _past_life(device: Device) -> bool:
    life, accepted = device.service_life_months, device.accepted_on
    return life is not None and accepted is not None and add_months(accepted, life) < UNTIL


def _leakage_jumped(device: Device) -> bool:
    readings = Reading.objects.filter(order__device=device, step__quantity=Quantity.EQUIPMENT, latest=True)
    last = readings.latest("taken_at")
    assert last.value is not None
    return last.verdict == Reading.Verdict.PASS and judgement_of(last).has_jumped(last.value)


def _only_the_trumpet_is_out(device: Device) -> bool:
    test = FlowTest.objects.get(order__device=device, order__state="started")
    verdicts = {line["quantity"]: line["verdict"] for line in test.result["judged"]}
    on_bench = device.condition == Condition.ON_BENCH and test.verdict == FlowTest.Verdict.FAIL
    return on_bench and verdicts == {"mean": "pass", "w2": "fail", "w11": "pass"}


CHECKS: dict[str, Callable[[Device], bool]] = {
    "training-overdue": lambda device: device.pool == Device.Pool.TRAINING and _service(device).late_since is not None,
    "past-service-life": _past_life,
    "never-on-network": lambda device: not Carried.objects.filter(device=device).exists(),
    "too-little-data": lambda device: (
        Forecast.objects.get(device=device).basis in {Forecast.Basis.BORROWED, Forecast.Basis.ASSUMED}
    ),
    "tagged-twice": lambda device: Tag.objects.get(device=device, cleared_at=None).reports.count() == 2,
    "waiting-for-parts": lambda device: _waits(device, WaitReason.PARTS) and _failed(device),
    "quarantined": lambda device: (
        device.quarantined
        and CustodyEntry.objects.filter(quarantine__device=device, quarantine__lifted_at=None).count() >= 3
    ),
    "not-located": lambda device: (
        device.condition == Condition.NOT_LOCATED
        and DueAttempt.objects.filter(due=_service(device), due_on=_service(device).due_on).count() == 3
    ),
    "deferred": lambda device: _service(device).deferred_from is not None and bool(_service(device).deferred_why),
    "failed-step": lambda device: device.condition == Condition.ON_BENCH and _failed(device),
    "pack-swapped-twice": lambda device: (
        Fitting.objects.filter(device=device, removed_on__gt=UNTIL - timedelta(days=60)).count() == 2
    ),
    "early-stopped": lambda device: [test.stop for test in _tests(device)[:2]] == ["by_hand", "by_hand"],
    "voided-test": lambda device: any(test.voided_at and test.voided_why for test in _tests(device)),
    "outlier-test": lambda device: _tests(device)[0].voided_at is None and _tests(device)[0].fraction < 0.6,
    "at-the-maker": lambda device: (
        _waits(device, WaitReason.MAKER)
        and Order.objects.get(device=device, state="waiting").service_provider == device.device_type.maker
    ),
    "decontamination": lambda device: _waits(device, WaitReason.DECONTAMINATION),
    "asked-for-maintenance": lambda device: (
        device.condition == Condition.IN_SERVICE
        and Alert.objects.filter(device=device, closed_at=None, kind__asks_for_service=True).exists()
        and _service(device).asked_by_device
    ),
    "found-again": lambda device: device.condition == Condition.OUT_OF_USE and device.place != device.home,
    "retired": lambda device: (
        device.condition == Condition.RETIRED
        and not Due.objects.filter(device=device, suspended=False).exists()
        and bool(Retirement.objects.get(device=device).wiping)
    ),
    "leakage-jumped": _leakage_jumped,
    "fault-after-service": lambda device: Order.objects.filter(
        device=device, caused_by_work="yes", work_before__kind="planned"
    ).exists(),
    "trumpet-outside": _only_the_trumpet_is_out,
    "not-proven": lambda device: (
        device.condition == Condition.ON_BENCH
        and policy_at(device.home).rule is Acceptance.GUARDED
        and Reading.objects.filter(order__device=device, latest=True, verdict=Reading.Verdict.NOT_PROVEN).count() == 1
    ),
    "late-loan": lambda device: Loan.objects.get(device=device, returned_at=None).due_back < UNTIL,
    "missing-lead": lambda device: Missing.objects.filter(device=device, ended_at=None).exists(),
    "wandering": lambda device: Device.objects.filter(pk=device.pk).exclude(last_seen_place=F("home")).exists(),
    "tagged-today": lambda device: Tag.objects.get(device=device, cleared_at=None).reports.count() == 1,
}
WORDS = {
    "training-overdue": "in the skills room",
    "past-service-life": "past the service life",
    "never-on-network": "never seen on the network",
    "too-little-data": "of a new type",
    "tagged-twice": "reported a second time",
    "waiting-for-parts": "waits for parts",
    "quarantined": "quarantined",
    "not-located": "not located after three visits",
    "deferred": "put off by the manager",
    "failed-step": "on the bench with a failed required step",
    "pack-swapped-twice": "swapped twice",
    "early-stopped": "stopped early by hand",
    "voided-test": "voided with the reason",
    "outlier-test": "far off its line",
    "at-the-maker": "at its maker for",
    "decontamination": "to be decontaminated",
    "asked-for-maintenance": "asked for maintenance",
    "found-again": "found again",
    "retired": "retired: ",
    "leakage-jumped": "its leakage passes",
    "fault-after-service": "which had caused the fault",
    "trumpet-outside": "its trumpet curve outside",
    "not-proven": "but not proven by the rule of",
    "late-loan": "should have brought it back",
    "missing-lead": "lacks its lead",
    "wandering": "belongs to",
    "tagged-today": "tagged in the last hours",
}
