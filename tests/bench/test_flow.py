"""Flow and occlusion tests on an order: kept, judged by the type's limits, and a bar to service while they fail."""

import zlib
from dataclasses import replace
from decimal import Decimal

import pytest

from fleet.bench.actions.flow import (
    Occluded,
    Weighed,
    add_delivery_limit,
    drop_delivery_limit,
    record_flow_test,
    record_occlusion_test,
    verify_delivery_limit,
    void_flow_test,
    void_occlusion_test,
)
from fleet.bench.models import DeliveryLimit, FlowTest, Order
from fleet.bench.queries.flow import delivery_limits, limits_at
from fleet.core.errors import BadValueError, MoveRefusedError, NotAllowedError, NotEnoughDataError
from fleet.core.flow import Period, PressureUnit
from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.people.roles import Role
from fleet.stores.models import Instrument
from fleet.tags.actions import open_quarantine
from fleet.web import clock
from tests.bench.builders import again, as_actor, finish, fresh, put, received, verbs, work
from tests.bench.builders import good as good_answer
from tests.builders import BY, a_bench, a_device, a_person

pytestmark = pytest.mark.django_db

Verdict = FlowTest.Verdict
Quantity = DeliveryLimit.Quantity


def log_at(flow: float, minutes: int = 60) -> str:
    """A steady log of water, a reading each 30 s."""
    return "seconds,grams\n" + "\n".join(f"{at * 30},{at * flow * 0.998 / 120:.6f}" for at in range(minutes * 2 + 1))


GOOD = Weighed(
    rate=Decimal(5), syringe_ml=Decimal(50), log=log_at(5.0), log_name="a.csv", density=Decimal("0.998"),
    period=Period(0),
)  # fmt: skip
BAD = replace(GOOD, log=log_at(4.5))
CLOSED = Occluded(
    rate=Decimal(5), syringe_ml=Decimal(50), level="P3", seconds_to_alarm=288, pressure="5,8", unit=PressureUnit.PSI,
    bolus_ml=Decimal("0.15"),
)  # fmt: skip


@pytest.fixture
def order(technician: Person) -> Order:
    """A repair on the bench with all its steps passed."""
    return work(received(a_device(), technician, kind="corrective"), technician)


def a_limit(order: Order, quantity: str = Quantity.MEAN_ERROR, rate: str = "", **facts: object) -> DeliveryLimit:
    """A limit of the order's type: 5 % of error either way."""
    given = {"low": Decimal(-5), "high": Decimal(5), "source": "common practice, from memory", **facts}
    at = Decimal(rate) if rate else None
    row = DeliveryLimit(device_type=order.device.device_type, quantity=quantity, rate=at, **given)
    return add_delivery_limit(row, by=BY)


def flow(order: Order, given: Weighed, by: Person) -> FlowTest:
    return record_flow_test(order, given, by=as_actor(by))


def test_a_flow_test_is_kept_with_its_log_as_it_came(order: Order, technician: Person) -> None:
    """Numbers, period and log are on record, with who and when; the trail tells of it."""
    test = flow(order, GOOD, technician)
    kept = FlowTest.objects.get(pk=test.pk)
    assert zlib.decompress(kept.log).decode() == GOOD.log
    assert kept.result["mean_error"] == pytest.approx(0, abs=1e-3)
    assert [window["count"] for window in kept.result["windows"]] == [117, 111, 99, 83, 59]
    assert (kept.period, kept.by, kept.by_name) == ("after_0", technician, technician.display_name)
    assert kept.verdict == Verdict.NONE
    assert verbs(order)[-1] == "recorded flow test"
    assert fresh(order).revision == order.revision + 1


@pytest.mark.parametrize(("given", "verdict"), [(GOOD, Verdict.PASS), (BAD, Verdict.FAIL)])
def test_the_types_limits_judge(given: Weighed, verdict: str, order: Order, technician: Person) -> None:
    """Within 5 % passes, 10 % too little fails; the limit is kept with the test, as not verified."""
    a_limit(order)
    a_limit(order, Quantity.WINDOW_2)
    test = flow(order, given, technician)
    assert test.verdict == verdict
    assert [line["verdict"] for line in test.result["judged"]] == [verdict, verdict]
    assert {line["verified"] for line in test.result["judged"]} == {""}


def test_a_limit_is_met_at_its_very_bound(order: Order, technician: Person) -> None:
    """4.75 of 5 mL/h is -5 % and passes."""
    a_limit(order)
    exact = "\n".join(f"{at * 30};{at * Decimal('4.75') / 120}" for at in range(0, 121, 1))
    assert flow(order, replace(GOOD, log=exact, density=Decimal(1)), technician).verdict == Verdict.PASS


def test_a_limit_for_the_rate_holds_before_one_for_any(order: Order) -> None:
    """At 5 mL/h its own limit holds, at 1 mL/h the one for any rate, and a dropped one never."""
    wide, own = a_limit(order), a_limit(order, rate="5", low=Decimal(-2), high=Decimal(2))
    kind = order.device.device_type
    assert limits_at(kind, Decimal("5.00"), Decimal(50), [Quantity.MEAN_ERROR]) == [own]
    assert limits_at(kind, Decimal(1), Decimal(50), [Quantity.MEAN_ERROR]) == [wide]
    drop_delivery_limit(own, "A newer manual", by=BY)
    assert limits_at(kind, Decimal(5), Decimal(50), [Quantity.MEAN_ERROR]) == [wide]


def test_a_limit_that_could_not_be_judged_is_no_pass(order: Order, technician: Person) -> None:
    """A log of 20 min has no window of 31 min: with a limit there, the test neither passes nor fails."""
    a_limit(order)
    a_limit(order, Quantity.WINDOW_31)
    assert flow(order, replace(GOOD, log=log_at(5.0, 20)), technician).verdict == Verdict.NONE
    assert flow(order, replace(BAD, log=log_at(4.5, 20)), technician).verdict == Verdict.FAIL


def test_a_failed_flow_test_keeps_the_driver_from_service(order: Order, technician: Person) -> None:
    """The return is refused and says why, although every step passed."""
    a_limit(order)
    flow(order, BAD, technician)
    with pytest.raises(MoveRefusedError, match="1 flow or occlusion test has failed"):
        finish(order, technician)
    assert again(order.device).condition == Condition.ON_BENCH


@pytest.mark.parametrize(
    ("later", "frees"),
    [
        (GOOD, True),
        (replace(GOOD, rate=Decimal(1), log=log_at(1.0)), False),
        (replace(GOOD, syringe_ml=Decimal(20)), False),
        (BAD, False),
    ],
)
def test_a_later_passing_test_at_the_same_rate_and_syringe_frees_it(
    later: Weighed, *, frees: bool, order: Order, technician: Person
) -> None:
    """Only the same set-up shows that the fault is gone."""
    a_limit(order)
    flow(order, BAD, technician)
    flow(order, later, technician)
    if frees:
        finish(order, technician)
        assert again(order.device).condition == Condition.IN_SERVICE
    else:
        with pytest.raises(MoveRefusedError, match="failed"):
            finish(order, technician)


def test_a_later_test_without_a_verdict_frees_nothing(order: Order, technician: Person) -> None:
    """A test that no limit judges any more does not undo a failed one; a pass before it does not either."""
    limit = a_limit(order)
    flow(order, GOOD, technician)
    flow(order, BAD, technician)
    drop_delivery_limit(limit, "To see", by=BY)
    assert flow(order, GOOD, technician).verdict == Verdict.NONE
    with pytest.raises(MoveRefusedError, match="failed"):
        finish(order, technician)


def test_a_voided_test_frees_it_and_stays_on_record(order: Order, technician: Person) -> None:
    """Voiding needs a reason, happens once, and is told to the trail."""
    a_limit(order)
    test = flow(order, BAD, technician)
    with pytest.raises(BadValueError, match="why"):
        void_flow_test(test, "  ", by=as_actor(technician))
    voided = void_flow_test(test, "The vessel was knocked", by=as_actor(technician))
    assert (voided.voided_why, voided.verdict) == ("The vessel was knocked", Verdict.FAIL)
    with pytest.raises(BadValueError, match="already"):
        void_flow_test(test, "Again", by=as_actor(technician))
    assert verbs(order)[-1] == "voided flow test"
    finish(order, technician)


def test_voiding_the_passing_test_brings_the_failed_one_back(order: Order, technician: Person) -> None:
    """What had freed the driver counts no longer."""
    a_limit(order)
    flow(order, BAD, technician)
    void_flow_test(flow(order, GOOD, technician), "Wrong syringe named", by=as_actor(technician))
    with pytest.raises(MoveRefusedError, match="failed"):
        finish(order, technician)


def test_nothing_is_recorded_on_an_order_that_is_not_worked_on(technician: Person) -> None:
    """Not after its end, not while it waits, not under quarantine; and a test of a finished order is not voided."""
    order = work(received(a_device(), technician, kind="corrective"), technician)
    test = flow(order, GOOD, technician)
    finish(order, technician)
    with pytest.raises(MoveRefusedError):
        flow(order, GOOD, technician)
    with pytest.raises(MoveRefusedError):
        void_flow_test(test, "Too late", by=as_actor(technician))
    held = received(a_device(), technician, kind="corrective")
    open_quarantine(held.device, reason="A pump ran on after its end", by=BY)
    with pytest.raises(MoveRefusedError, match="quarantine"):
        flow(held, GOOD, technician)


def test_only_the_bench_records(order: Order, ward_nurse: Person) -> None:
    """A ward's nurse has not the duty."""
    with pytest.raises(NotAllowedError):
        flow(order, GOOD, ward_nurse)
    with pytest.raises(NotAllowedError):
        record_occlusion_test(order, CLOSED, by=as_actor(ward_nurse))


@pytest.mark.parametrize(
    ("given", "error"),
    [
        (replace(GOOD, log="0,0\n1,x\n"), BadValueError),
        (replace(GOOD, period=Period(60)), NotEnoughDataError),
        (replace(GOOD, rate=Decimal(0)), BadValueError),
        (replace(GOOD, syringe_ml=Decimal("1000.0")), BadValueError),
        (replace(GOOD, density=Decimal(0)), BadValueError),
    ],
)
def test_a_refused_test_leaves_nothing_behind(
    given: Weighed, error: type[Exception], order: Order, technician: Person
) -> None:
    """No row and no trail of what could not be read."""
    before = verbs(order)
    with pytest.raises(error):
        flow(order, given, technician)
    assert not FlowTest.objects.exists()
    assert verbs(order) == before


@pytest.mark.parametrize("refused", [True, False])
def test_an_instrument_never_calibrated_is_refused_or_marked(
    *, refused: bool, order: Order, technician: Person
) -> None:
    """As its own policy says."""
    balance = Instrument.objects.create(
        number="B-1", name="Balance", kind=Instrument.Kind.BALANCE, place=a_bench(), refused_when_overdue=refused
    )
    given = replace(GOOD, instrument=balance)
    if refused:
        with pytest.raises(BadValueError, match="never calibrated"):
            flow(order, given, technician)
    else:
        assert flow(order, given, technician).result["instrument_overdue"] is True


def test_an_occlusion_test_is_judged_and_blocks_at_its_level(order: Order, technician: Person) -> None:
    """Pressure is kept as typed and in kPa; an alarm too late blocks until a passing one at the same level."""
    a_limit(order, Quantity.ALARM_SECONDS, rate="5", syringe_ml=Decimal(50), low=None, high=Decimal(290))
    a_limit(order, Quantity.PRESSURE, low=Decimal(30), high=Decimal(50))
    passed = record_occlusion_test(order, CLOSED, by=as_actor(technician))
    assert (passed.verdict, passed.as_typed, passed.pressure_kpa) == (Verdict.PASS, "5,8 psi", Decimal("39.99"))
    late = record_occlusion_test(order, replace(CLOSED, seconds_to_alarm=291), by=as_actor(technician))
    assert late.verdict == Verdict.FAIL
    record_occlusion_test(order, replace(CLOSED, level="P5"), by=as_actor(technician))
    with pytest.raises(MoveRefusedError, match="failed"):
        finish(order, technician)
    void_occlusion_test(late, "The clamp slipped", by=as_actor(technician))
    assert verbs(order)[-1] == "voided occlusion test"
    finish(order, technician)


def test_a_bolus_that_was_not_measured_is_not_judged(order: Order, technician: Person) -> None:
    """With a limit of the bolus, a test without one is no pass."""
    a_limit(order, Quantity.BOLUS, low=None, high=Decimal("0.2"))
    unmeasured = record_occlusion_test(order, replace(CLOSED, bolus_ml=None), by=as_actor(technician))
    assert unmeasured.verdict == Verdict.NONE
    assert record_occlusion_test(order, CLOSED, by=as_actor(technician)).verdict == Verdict.PASS


@pytest.mark.parametrize("pressure", ["", "x", "-5", "1,234"])
def test_a_pressure_that_cannot_be_read_is_refused(pressure: str, order: Order, technician: Person) -> None:
    """Nothing is guessed."""
    with pytest.raises(BadValueError):
        record_occlusion_test(order, replace(CLOSED, pressure=pressure), by=as_actor(technician))


def test_an_answer_typed_meanwhile_is_not_refused(order: Order, technician: Person, second_technician: Person) -> None:
    """A flow test recorded by a colleague is no conflict for a step that was open."""
    opened = fresh(order).revision
    flow(order, GOOD, second_technician)
    step = order.procedure_version.steps.get(position=1)
    assert put(order, 1, good_answer(step), technician, revision=opened).verdict == "pass"


def test_a_test_taken_over_by_no_person_is_kept_with_a_name(order: Order) -> None:
    """A job or an import has a name and is nobody."""
    test = record_flow_test(order, GOOD, by=BY)
    assert (test.by, test.by_name) == (None, BY.name)
    assert record_occlusion_test(order, CLOSED, by=BY).by_name == BY.name


def test_a_limit_stands_once_and_has_bounds_in_order(order: Order) -> None:
    """A second for the same type, quantity and rate is refused, as are bounds that are none; dropped, it makes room."""
    limit = a_limit(order)
    for facts in ({}, {"quantity": Quantity.WINDOW_2, "low": None, "high": None},
                  {"quantity": Quantity.WINDOW_2, "low": Decimal(5), "high": Decimal(-5)}):  # fmt: skip
        with pytest.raises(BadValueError):
            a_limit(order, **facts)
    with pytest.raises(BadValueError):
        drop_delivery_limit(limit, " ", by=BY)
    drop_delivery_limit(limit, "A newer manual", by=BY)
    with pytest.raises(BadValueError, match="dropped already"):
        verify_delivery_limit(limit, by=BY)
    new = a_limit(order)
    assert list(delivery_limits()) == [new]


def test_a_time_to_alarm_is_limited_at_its_rate_and_syringe_only(order: Order) -> None:
    """0.4 mL stored is 48 min at 0.5 mL/h and 4.8 min at 5 mL/h: neither is left out; elsewhere it judges nothing."""
    for facts in ({}, {"rate": "5"}, {"syringe_ml": Decimal(50)}):
        with pytest.raises(BadValueError, match="without its rate and syringe"):
            a_limit(order, Quantity.ALARM_SECONDS, low=None, high=Decimal(300), **facts)
    limit = a_limit(order, Quantity.ALARM_SECONDS, rate="5", syringe_ml=Decimal(50), low=None, high=Decimal(300))
    kind = order.device.device_type
    for rate, syringe, held in (("5", "50", [limit]), ("0.5", "50", []), ("5", "20", [])):
        assert limits_at(kind, Decimal(rate), Decimal(syringe), [Quantity.ALARM_SECONDS]) == held


def test_who_stated_a_limit_does_not_verify_it(order: Order, manager: Person) -> None:
    """It takes a second person, and an edition of the source to hold it against."""
    given = DeliveryLimit(
        device_type=order.device.device_type, quantity=Quantity.WINDOW_5, high=Decimal(5), source="The maker's manual"
    )
    limit = add_delivery_limit(given, by=as_actor(manager))
    with pytest.raises(BadValueError, match="Somebody else verifies it"):
        verify_delivery_limit(limit, by=as_actor(manager))
    with pytest.raises(BadValueError, match="names no edition"):
        verify_delivery_limit(limit, by=as_actor(a_person(Role.MANAGER)))


def test_a_limit_is_verified_by_name_and_day(order: Order, technician: Person, manager: Person) -> None:
    """Whoever keeps the registry says that it was checked; a technician may not."""
    limit = a_limit(order, edition="Edition C")
    with pytest.raises(NotAllowedError):
        verify_delivery_limit(limit, by=as_actor(technician))
    row = verify_delivery_limit(limit, by=as_actor(manager))
    assert (row.verified_by, row.verified_on) == (manager.display_name, clock.today())
    test = flow(order, GOOD, technician)
    assert test.result["judged"][0]["verified"].startswith(manager.display_name)
