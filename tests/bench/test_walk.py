"""Random acts on the real database never put a driver into service that was not checked, nor change what was signed."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, event, given, settings
from hypothesis import strategies as st

from fleet.bench import actions as bench
from fleet.bench.actions.flow import add_delivery_limit, record_occlusion_test, void_occlusion_test
from fleet.bench.models import DeliveryLimit, OcclusionTest, Order, OrderKind, PartUse, Reading, Step
from fleet.bench.queries import devices_in_doubt, harm_linked, signatures, workers
from fleet.bench.queries.facts import OPEN
from fleet.bench.queries.flow import failed_delivery
from fleet.core.errors import BenchwardError
from fleet.core.lifecycle import WaitReason
from fleet.core.orders import ABSENT_OUTCOMES, Outcome
from fleet.people.roles import Role
from fleet.registry.models import Device
from fleet.tags import actions as tags
from fleet.tags.models import Quarantine, Tag
from tests.bench.builders import ALL_KINDS, a_procedure, again, as_actor, asked_codes, good, procedures
from tests.bench.test_flow import CLOSED
from tests.builders import BY, a_bench, a_device, a_new_device, a_person, a_site, a_type, a_ward
from tests.stores.builders import an_instrument, found_out
from tests.tags.builders import a_report

pytestmark = [pytest.mark.django_db, pytest.mark.slow]

Draw = Callable[[st.SearchStrategy], object]


class Walk:
    """Two drivers, two technicians and a manager; each method is one act that may be refused."""

    def __init__(self, draw: Draw) -> None:
        self.draw = draw
        self.devices = [a_device(), a_new_device()]
        self.people = [
            as_actor(a_person(role, places=(a_site(),))) for role in (Role.TECHNICIAN, Role.TECHNICIAN, Role.MANAGER)
        ]
        self.analyser = an_instrument()
        self.sent = 0
        alarm = DeliveryLimit(device_type=a_type(), quantity="alarm", rate=5, syringe_ml=50, high=300, source="memory")
        add_delivery_limit(alarm, by=BY)

    def device(self) -> Device:
        return again(self.draw(st.sampled_from(self.devices)))

    def by(self) -> object:
        return self.draw(st.sampled_from(self.people))

    def order(self) -> Order | None:
        orders = list(Order.objects.filter(state__in=OPEN).order_by("pk"))
        return self.draw(st.sampled_from(orders)) if orders else None

    def report(self) -> None:
        harm = self.draw(st.sampled_from(["no", "no", "not_sure"]))
        tags.raise_tag(self.device(), a_report(harm=harm), by=self.by())

    def receive(self) -> None:
        kind = self.draw(st.sampled_from([None, *OrderKind.values]))
        bench.receive(self.device(), bench=a_bench(), by=self.by(), kind=kind)

    def raise_order(self) -> None:
        bench.raise_order(self.device(), self.draw(st.sampled_from(OrderKind.values)), by=self.by())

    def answer_all(self) -> None:
        if order := self.order():
            steps = Step.objects.filter(version=order.procedure_version)
            bench.answer_many(order, [(step, good(step)) for step in steps], by=self.by())

    def answer_one(self) -> None:
        if (order := self.order()) and order.procedure_version:
            step = self.draw(st.sampled_from(list(order.procedure_version.steps.all())))
            bad = bench.Answer(value="99", passed=False, note="bad")
            given_answer = self.draw(st.sampled_from([good(step), bad, bench.Answer(na=True, note="no lead")]))
            bench.answer(order, step, given_answer, revision=order.revision, by=self.by())

    def answer_again(self) -> None:
        """An answer whose reply was lost: sent again after whatever came between."""
        if (order := self.order()) and order.procedure_version:
            step = self.draw(st.sampled_from(list(order.procedure_version.steps.all())))
            bad = bench.Answer(value="99", passed=False, note="bad", instrument=self.instrument(step))
            given_answer = self.draw(st.sampled_from([bad, good(step)]))
            sent, by = bench.Sent(order.revision, key=f"key {self.sent}"), self.by()
            self.sent += 1
            bench.answer_once(order, step, given_answer, sent, by=by)
            self.meddle()
            bench.answer_once(order, step, given_answer, sent, by=by)

    def instrument(self, step: Step) -> object:
        return self.analyser if step.kind == Step.Kind.READING else None

    def test_delivery(self) -> None:
        if order := self.order():
            seconds = self.draw(st.sampled_from([288, 400]))
            record_occlusion_test(order, replace(CLOSED, seconds_to_alarm=seconds), by=self.by())

    def void_test(self) -> None:
        if test := OcclusionTest.objects.order_by("-pk").first():
            void_occlusion_test(test, "wrong syringe", by=self.by())

    def doubt(self) -> None:
        """The analyser is found out of its limits; what it measured is rechecked."""
        calibration = found_out(self.analyser)
        in_doubt = [device for device in self.devices if device.pk in devices_in_doubt(calibration)]
        bench.raise_rechecks(calibration, in_doubt, by=self.by())

    def use_part(self) -> None:
        if order := self.order():
            bench.add_part(order, bench.Part(name="Clamp"), by=self.by())

    def take_part_back(self) -> None:
        if use := PartUse.objects.order_by("-pk").first():
            bench.take_back(use, 1, by=self.by())

    def run_clock(self) -> None:
        if order := self.order():
            bench.start_clock(order, by=self.by())

    def stop_clock(self) -> None:
        if order := Order.objects.order_by("-pk").first():
            bench.stop_clock(order, by=self.by())

    def quarantine(self) -> None:
        tags.open_quarantine(self.device(), reason="It ran on after its end", by=self.by())

    def retire(self) -> None:
        if self.draw(st.integers(0, 5)) == 0:
            bench.retire(self.device(), why="worn out", by=self.people[2])

    def take_back_retirement(self) -> None:
        bench.take_back_retirement(self.device(), why="the wrong one", by=self.people[2])

    def sign_work(self) -> None:
        if order := self.order():
            bench.sign_work(order, revision=order.revision, by=self.by())

    def complete(self) -> None:
        if order := self.order():
            outcome = self.draw(st.sampled_from([Outcome.REPAIRED, Outcome.NO_FAULT_FOUND, *Outcome]))
            stays = self.draw(st.booleans())
            given_end = bench.Completion(outcome=outcome, stays=stays, action_taken="done", **asked_codes(order))
            bench.complete(order, given_end, revision=order.revision, by=self.by())

    def as_it_should_be(self) -> None:
        """Received, worked and returned by one technician, with another's act in the midst of it."""
        by, device = self.people[0], self.device()
        order = bench.receive(device, bench=a_bench(), by=by, kind=None if device.accepted_on else "acceptance")
        self.meddle()
        steps = Step.objects.filter(version=order.procedure_version)
        bench.answer_many(order, [(step, good(step)) for step in steps], by=by)
        self.slip(order)
        self.meddle()
        outcome = self.draw(st.sampled_from([Outcome.REPAIRED, Outcome.NO_FAULT_FOUND]))
        end = bench.Completion(outcome=outcome, action_taken="done", **asked_codes(order))
        bench.complete(order, end, revision=Order.objects.get(pk=order.pk).revision, by=by)

    def slip(self, order: Order) -> None:
        """Often one step is answered as failed after all, or a test fails; sometimes that is put right."""
        slips = self.draw(st.sampled_from(["none", "step", "test"]))
        if slips == "test":
            record_occlusion_test(order, replace(CLOSED, seconds_to_alarm=400), by=self.by())
        if slips == "step":
            step = self.draw(st.sampled_from(list(order.procedure_version.steps.filter(required=True))))
            answers = [bench.Answer(value="99", passed=False, note="bad"), good(step)]
            for given_answer in answers[: self.draw(st.integers(1, 2))]:
                bench.answer_many(order, [(step, given_answer)], by=self.by())

    def meddle(self) -> None:
        if act := self.draw(st.sampled_from([None, *MEDDLING])):
            with suppress(BenchwardError):
                act(self)

    def pause(self) -> None:
        if order := self.order():
            bench.set_aside(order, WaitReason.PARTS, by=self.by())

    def resume(self) -> None:
        if order := self.order():
            bench.resume(order, by=self.by())

    def hold_back(self) -> None:
        if order := self.order():
            bench.hold_back(order, why="kept", by=self.by())

    def cancel(self) -> None:
        if order := self.order():
            bench.cancel(order, "not needed", by=self.by())

    def lift(self) -> None:
        if quarantine := Quarantine.objects.filter(lifted_at=None).first():
            tags.lift_quarantine(quarantine, why="released", by=self.by())

    def lose(self) -> None:
        tags.report_missing(self.device(), why="searched", by=self.by())

    def find(self) -> None:
        tags.report_found(self.device(), a_ward(), by=self.by())


MEDDLING = [
    Walk.report, Walk.receive, Walk.raise_order, Walk.answer_all, Walk.answer_one, Walk.complete, Walk.pause,
    Walk.resume, Walk.hold_back, Walk.cancel, Walk.lift, Walk.lose, Walk.find, Walk.answer_again, Walk.test_delivery,
    Walk.void_test, Walk.doubt, Walk.use_part, Walk.take_part_back, Walk.run_clock, Walk.stop_clock, Walk.quarantine,
    Walk.retire, Walk.take_back_retirement, Walk.sign_work,
]  # fmt: skip
ACTS = [*MEDDLING, *[Walk.as_it_should_be] * 10]


def assert_safe(device: Device) -> None:
    """What must hold of a driver, whatever was done."""
    if device.condition != "in_service":
        return
    assert device.accepted_on is not None
    assert not device.quarantined
    assert not Quarantine.objects.filter(device=device, lifted_at=None).exists()
    assert not Tag.objects.filter(device=device, cleared_at=None).exists()
    assert not Order.objects.filter(device=device, state__in=["started", "waiting"]).exists()
    # What failed before it was lost, work of that kind has looked at since, or an acceptance.
    done = Order.objects.filter(device=device, state="done")
    for lost in done.filter(outcome=Outcome.NOT_LOCATED):
        if failed_and_not_passed_since(lost):
            since = done.filter(kind__in=[lost.kind, "acceptance"], completed_at__gt=lost.completed_at)
            assert since.exclude(outcome__in=ABSENT_OUTCOMES).exists()


def failed_and_not_passed_since(order: Order) -> list[Step]:
    """The required steps of an order with a failure after which no answer passed, whatever else was answered."""
    answers = Reading.objects.filter(order=order)
    failed = answers.filter(step__required=True, verdict=Reading.Verdict.FAIL).select_related("step")
    return [each.step for each in failed if not answers.filter(step=each.step, verdict="pass", pk__gt=each.pk).exists()]


def assert_released_rightly(order: Order) -> None:
    """An order that released its driver had every required step answered, none failed and one passed.

    Also where the driver stayed for another order: that one would not look at what this one left out.
    """
    verdicts = dict(Reading.objects.filter(order=order, latest=True).values_list("step", "verdict"))
    required = order.procedure_version.steps.filter(required=True)
    found = [verdicts.get(step.pk) for step in required]
    assert None not in found
    assert Reading.Verdict.PASS in found
    assert not failed_and_not_passed_since(order)
    assert failed_delivery(order) == []
    if order.outcome == Outcome.NO_FAULT_FOUND and harm_linked(order):
        assert order.completed_by_id not in workers(order)


# Shrinking walks of this length takes minutes; the failing example is readable as it is.
@settings(
    max_examples=30, deadline=None, phases=(Phase.explicit, Phase.generate), suppress_health_check=list(HealthCheck)
)
@given(data=st.data())
def test_no_path_returns_a_driver_that_was_not_checked(data: st.DataObject) -> None:
    """After any acts, allowed or refused, each driver in service is accepted, untagged, free and checked.

    And every order that ended is signed, and nothing that was done later changed what was signed.
    """
    with transaction.atomic():
        for kind in (OrderKind.CORRECTIVE, OrderKind.ACCEPTANCE):
            a_procedure(kind, ALL_KINDS)
        procedures()
        walk = Walk(data.draw)
        for act in data.draw(st.lists(st.sampled_from(ACTS), min_size=10, max_size=35)):
            with suppress(BenchwardError):
                act(walk)
            for device in walk.devices:
                assert_safe(again(device))
        ended = Order.objects.filter(state="done")
        for order in ended:
            if order.outcome not in ABSENT_OUTCOMES:
                assert_released_rightly(order)
            end = [each for each in signatures(order) if "the order" in each.signature.parts]
            assert [each.holds for each in end] == [True]
        event(f"orders that returned their driver: {ended.filter(returned_to__isnull=False).count()}")
        transaction.set_rollback(True)
